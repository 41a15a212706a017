"""A study as a file: the plant, what is varied and how, what is kept of each run.

The plan is plain data, so it can be sent to a worker on another machine; every case of it (one row of the table)
is fixed by its number alone.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from plantsim.analysis.checks import Check, NameRefusal, SentenceError, needs, parse
from plantsim.analysis.studies import spread
from plantsim.analysis.studies.sampling import METHODS, StudyError, shares
from plantsim.analysis.studies.spread import SHAPES, Spread
from plantsim.errors import ConfigError
from plantsim.plant.fields import REQUIRED, Refusal, nearest, quoted
from plantsim.plant.reader import examine
from plantsim.plant.schema import Choice, Integer, ListOf, MapOf, Maybe, Name, OneOf, Quantity, Section, Text
from plantsim.plant.tree import Tree
from plantsim.units import sentence

KEY = r"[A-Za-z][\w.-]*"
FORM = "a key of the plant file, such as units.wash-plant.clay"


@dataclass(frozen=True)
class _Key(Name):
    """A dotted key of the plant file, as a key of a block."""

    default: Any = REQUIRED

    def allowed(self) -> str:
        return FORM

    def parse(self, text: str) -> str:
        if not re.fullmatch(KEY, text):
            raise Refusal(quoted(text), FORM)
        return text


_KEY = Text(pattern=KEY, form=FORM)
PARAMETER = Section(
    "One thing that is varied: a range (`from`, `to`), a normal distribution (`mean`, `deviation`) or `values`.",
    set=OneOf((_KEY, ListOf(_KEY, least=1)), doc="key of the plant file that takes the value, or a list of keys"),
    from_=Maybe(Text(), doc="lower end, with unit; or a calendar time"),
    to=Maybe(Text(), doc="upper end"),
    spread=Choice(SHAPES, "even", doc="how a range is spread: even, log, normal or triangle"),
    mean=Maybe(Text(), doc="mean of a normal distribution; `from` and `to` cut it off"),
    deviation=Maybe(Text(), doc="its standard deviation"),
    mode=Maybe(Text(), doc="peak of a triangle; left out: the middle"),
    every=Maybe(Text(), doc="width of even steps from `from` on; left out: any number of the range"),
    values=ListOf(Text(), doc="the values it is drawn from"),
)
STUDY = Section(
    "A study: one plant run many times.",
    study=Text(doc="its title"),
    note=Maybe(Text(), doc="a line about it"),
    plant=Text(doc="the plant file, its path as seen from this file"),
    until=Quantity("time", "24 h", above="0 s", hi="800 d", doc="length of every run"),
    record_every=Quantity("time", "60 s", lo="1 s", hi="1 h", doc="time between recorded rows, from which means and "
                                                                  "percentiles come"),
    set=MapOf(Text(), key=_Key("key"), doc="keys of the plant file with the value they have in every run"),
    parameters=MapOf(PARAMETER, key=Name("parameter"), doc="what is varied, by name"),
    sampling=Choice(METHODS, "latin hypercube", doc="how samples are drawn"),
    samples=Integer(100, lo=1, hi=1_000_000, doc="samples; for 'sensitivity' its base number N, for 'grid' not used"),
    levels=Integer(5, lo=2, hi=1000, doc="values of each range in a grid"),
    seed=Integer(1, lo=0, hi=2**31 - 1, doc="seed of the samples, and of the runs"),
    seeds=Integer(0, lo=0, hi=10_000, doc="runs of every sample, each with a seed of its own, the same seeds for all "
                                          "samples; 0: one run of each sample, every run with its own seed"),
    scenarios=ListOf(Text(), doc="scenario files; each sample is run with each of them"),
    figures=ListOf(Text(), doc="figures kept of each run, such as clarifier.overflow_turbidity_p95; left out: all"),
    checks=MapOf(Text(), key=Name("check"), doc="acceptance sentences judged on every run, by name, such as "
                                                "'clarifier.turbidity under 80 NTU for 95 % of running time'"),
)  # fmt: skip


@dataclass(frozen=True)
class Case:
    """One run of a study.

    Parameters
    ----------
    number : int
        Its row.
    seed : int
        Seed of the run.
    scenario : str
        Path of its scenario; empty for none.
    values : tuple of str
        Value of each parameter, as it stands in the plant file.
    overrides : tuple of str
        All `key=value` of the run.
    """

    number: int
    seed: int
    scenario: str
    values: tuple[str, ...]
    overrides: tuple[str, ...]


@dataclass(frozen=True)
class Plan:
    """A study that has been read.

    Parameters
    ----------
    title, note : str
        Words.
    plant : str
        Path of the plant file.
    until, record_every : float
        Length of a run and interval of its record [s].
    fixed : tuple of str
        `key=value` of every run.
    spreads : tuple of Spread
        What is varied.
    method, samples, levels, seed, seeds
        How samples are drawn, see `plantsim.analysis.studies.sampling`.
    scenarios : tuple of str
        Paths of scenarios; one empty path when there are none.
    figures : tuple of str
        Figures kept; empty for all.
    checks : tuple of (str, str)
        Acceptance checks: name and sentence.
    mark : str
        Digest of everything the results depend on: plan, plant file and the files beside it that are named here.
    """

    title: str
    note: str
    plant: str
    until: float
    record_every: float
    fixed: tuple[str, ...]
    spreads: tuple[Spread, ...]
    method: str
    samples: int
    levels: int
    seed: int
    seeds: int
    scenarios: tuple[str, ...]
    figures: tuple[str, ...]
    checks: tuple[tuple[str, str], ...]
    mark: str

    def shares(self) -> np.ndarray:
        """Shares of the samples, shape (samples, parameters)."""
        return shares(self.spreads, self.method, self.samples, self.seed, self.levels)

    def cases(self) -> list[Case]:
        """All runs, in the order of their numbers: samples, then scenarios, then seeds."""
        found: list[Case] = []
        for row in self.shares():
            for scenario in self.scenarios:
                for repeat in range(max(1, self.seeds)):
                    seed = self.seed + (repeat if self.seeds else len(found))
                    found.append(self.case(len(found), row, scenario, seed))
        return found

    def sentences(self) -> list[Check]:
        """The acceptance checks, parsed."""
        return [Check(name, parse(text)) for name, text in self.checks]

    def case(self, number: int, row: np.ndarray, scenario: str, seed: int) -> Case:
        """One run: its number, the shares of its parameters, its scenario and seed."""
        values = tuple(s.text(float(u)) for s, u in zip(self.spreads, row))
        varied = (f"{path}={text}" for s, text in zip(self.spreads, values) for path in s.paths)
        return Case(number, seed, scenario, values,
                    (f"site.record_every={self.record_every:g} s", *self.fixed, *varied))  # fmt: skip


def read_plan(path: Path | str, overrides: Sequence[str] = ()) -> Plan:
    """Read a study from its file, and build its plant once to see that every key is right.

    Parameters
    ----------
    path : Path or str
        The YAML file.
    overrides : sequence of str
        `key=value` texts that replace values of the study file, such as `samples=20`.

    Returns
    -------
    Plan

    Raises
    ------
    ConfigError
        With every finding, each with file, line, key, what was found and what is allowed.
    """
    path = Path(path)
    tree = examine(path, STUDY, overrides)
    tree.raise_findings()
    spreads = tuple(s for name, t in tree.parameters.items() if (s := _spread(name, t)) is not None)
    plant = _beside(tree, path, "plant", tree.plant)
    for name, text in tree.checks.items():
        try:
            parse(text)
        except SentenceError as error:
            tree.finding(f"checks.{name}", str(error))
    scenarios = [_beside(tree, path, f"scenarios.{i}", text) for i, text in enumerate(tree.scenarios)]
    _twice(tree)
    tree.raise_findings()
    if tree.sampling == "sensitivity" and len(scenarios) * max(1, tree.seeds) > 1:
        tree.finding("sampling", "found 'sensitivity' with several scenarios or seeds; allowed: one run of each "
                                 "sample, as the indices need")  # fmt: skip
        tree.raise_findings()
    head = dict(
        title=tree.study, note=tree.note or "", plant=str(plant), until=tree.until,
        record_every=tree.record_every, fixed=tuple(f"{k}={v}" for k, v in tree["set"].items()), method=tree.sampling,
        samples=tree.samples, levels=tree.levels, seed=tree.seed, seeds=tree.seeds,
        scenarios=tuple(str(s) for s in scenarios) or ("",), figures=tuple(tree.figures),
        checks=tuple(tree.checks.items()),
    )  # fmt: skip
    plan = Plan(spreads=spreads, mark=_mark(tree, [plant, *scenarios]), **head)
    try:
        plan.shares()
    except StudyError as error:
        tree.finding("samples", str(error).removeprefix("samples: "))
        tree.raise_findings()
    return plan


def prove_keys(plan: Plan) -> None:
    """Build the plant at the middle and at both ends of all ranges, so that a wrong key or range shows before any run.

    Raises
    ------
    ConfigError
        With the findings of the plant file.
    """
    from plantsim.analysis.studies.case import build

    for share in (0.5, 0.0, 1.0):
        for scenario in plan.scenarios:
            model = build(plan, plan.case(0, np.full(len(plan.spreads), share), scenario, plan.seed))
    known = {channel.name: "1" if channel.unit in ("-", "") else channel.unit for channel in model.channels}
    findings = []
    for check in plan.sentences():
        try:
            needs(check.sentence, known)
        except NameRefusal as error:
            findings.append(f"checks.{check.name}: {error}")
    units = {name.partition(".")[0] for name in (*model.units, "plant.")}
    for name in plan.figures:
        unit = name.partition(".")[0]
        if unit not in units:
            findings.append("figures: " + sentence(f"'{name}'", "unit.figure, as 'plantsim show RUN' lists them",
                                                   nearest(unit, units)))  # fmt: skip
    if findings:
        raise ConfigError(findings)


def _mark(tree: Tree, files: Sequence[Path]) -> str:
    digest = hashlib.sha256(json.dumps(tree.plain(), sort_keys=True, default=str).encode())
    for file in files:
        digest.update(file.read_bytes())
    return digest.hexdigest()


def _beside(tree: Tree, path: Path, key: str, text: str) -> Path:
    file = path.parent / text
    if not file.is_file():
        tree.finding(key, f"found '{text}', but there is no such file; allowed: a file, its path as seen from "
                          f"{path.name}")  # fmt: skip
    return file


def _twice(tree: Tree) -> None:
    """Findings on keys that are set by two parameters, or fixed and varied."""
    seen = {key: "set" for key in tree["set"]}
    for name, t in tree.parameters.items():
        for key in _paths(t):
            if key in seen:
                tree.finding(f"parameters.{name}.set", f"found '{key}', which {seen[key]} sets too; allowed: each key "
                                                       "once")  # fmt: skip
            seen[key] = name


def _paths(t: Tree) -> tuple[str, ...]:
    return (t["set"],) if isinstance(t["set"], str) else tuple(t["set"])


def _spread(name: str, t: Tree) -> Spread | None:
    """Spread of one parameter; what is wrong with it becomes a finding."""
    paths = _paths(t)
    given = [key for key in ("from", "to", "mean", "deviation", "values", "mode", "every") if t.given(key)]

    try:
        if "values" in given:
            if len(given) > 1:
                others = ", ".join(key for key in given if key != "values")
                raise Refusal(f"values with {others}", "a list of values alone")
            return spread.of_list(name, paths, tuple(t["values"]))
        if "mean" in given or t.spread == "normal":
            if not {"mean", "deviation"} <= set(given):
                raise Refusal("only a part of a normal distribution", "mean and deviation together")
            return spread.of_normal(name, paths, t.mean, t.deviation, t.from_, t.to)
        if not {"from", "to"} <= set(given):
            raise Refusal("no range, distribution or list", "from and to; mean and deviation; or values")
        return spread.of_range(name, paths, t.from_, t.to, t.spread, t.mode, t.every)
    except Refusal as error:
        key = next((k for k in given if k != "values" and str(t[k]) in str(error)), given[0] if given else "set")
        t.finding(key, str(error))
        return None





def head_of(plan: Plan) -> dict[str, Any]:
    """What a results file says of its study, as plain data."""
    return {
        "title": plan.title, "plant": plan.plant, "until_s": plan.until, "record_every_s": plan.record_every,
        "sampling": plan.method, "seed": plan.seed, "mark": plan.mark,
        "parameters": {s.name: {"unit": s.unit, "set": list(s.paths), "low": s.low, "high": s.high,
                                "values": list(s.values)} for s in plan.spreads},
    }  # fmt: skip
