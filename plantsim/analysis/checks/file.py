"""Acceptance files: sentences with names, and the cases in which they are put to the test.

::

    title: Alder Fold, acceptance of the control logic
    plant: gravel-pit.yaml
    checks:                                  # judged in every case
      sump-holds: no spill from sump
    cases:
      a-day:
        until: 24 h
        checks:
          reuse: clarifier.turbidity under 80 NTU for 95 % of running time
      pump-trips:
        until: 5 h
        acts:
          - {at: 3 h, set: P-101.trip, to: on, for: 30 min}
        checks:
          standby: after P-101 trips, P-102 runs within 30 s
        excused: [sump-holds]                # a sentence for all that this case may break
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from plantsim.analysis.checks.grammar import SentenceError, parse
from plantsim.analysis.checks.sentence import Check
from plantsim.plant.fields import nearest
from plantsim.plant.reader import examine
from plantsim.plant.schema import Flag, Integer, ListOf, MapOf, Maybe, Name, OneOf, Quantity, Section, Text
from plantsim.plant.tree import Tree
from plantsim.units import sentence

CHECK = OneOf(
    (
        Text(form="an acceptance sentence"),
        Section(
            "A sentence with what is to be said of it.",
            say=Text(doc="the sentence", form="an acceptance sentence"),
            why=Maybe(Text(), doc="why it has to hold: a line for the sheet"),
            untested_ok=Flag(False, doc="yes: it may go without a case that puts it to the test"),
        ),
    ),
    doc="an acceptance sentence, or its keys",
)


def _case() -> Section:
    from plantsim.plant.scenario_sections import SCENARIO

    return Section(
        "A run in which sentences are judged.",
        note=Maybe(Text(), doc="a line about it"),
        until=Quantity("time", "24 h", above="0 s", hi="366 d", doc="length of the run"),
        seeds=ListOf(Integer(lo=0), default=(1,), doc="seeds of everything random, one run for each"),
        every=Quantity("time", "1 s", lo="0.05 s", hi="1 h", doc="time between rows on which sentences are judged"),
        scenario=Maybe(Text(), doc="file of a scenario, its path as seen from this file"),
        upsets=SCENARIO.fields["upsets"],
        acts=SCENARIO.fields["acts"],
        set=ListOf(Text(form="key=value"), doc="values of the plant file that are different here"),
        checks=MapOf(CHECK, key=Name("check"), doc="sentences of this case"),
        excused=ListOf(Text(), doc="sentences for all cases that this one may break"),
    )


def schema() -> Section:
    """What may stand in an acceptance file."""
    return Section(
        "Acceptance of a plant.",
        title=Maybe(Text(), doc="what is accepted"),
        note=Maybe(Text(), doc="a line about it"),
        plant=Maybe(Text(), doc="plant file, its path as seen from this file"),
        checks=MapOf(CHECK, key=Name("check"), doc="sentences judged in every case"),
        cases=MapOf(_case(), key=Name("case"), doc="cases by name; left out: one undisturbed day"),
    )


@dataclass
class Case:
    """A run in which sentences are judged; `tree` holds its `upsets` and `acts`, None where nothing is done."""

    name: str
    note: str = ""
    until: float = 86400.0
    seeds: tuple[int, ...] = (1,)
    every: float = 1.0
    overrides: tuple[str, ...] = ()
    checks: list[Check] = field(default_factory=list)
    excused: frozenset[str] = frozenset()
    scenario: Path | None = None
    tree: Tree | None = field(default=None, repr=False)


@dataclass
class Acceptance:
    """An acceptance file: `checks` are judged in every case. `tree` takes further findings."""

    path: Path
    title: str
    note: str
    plant: Path | None
    checks: list[Check]
    cases: list[Case]
    tree: Tree = field(repr=False)

    def judged(self, case: Case) -> list[Check]:
        """All sentences judged in a case."""
        return [check for check in self.checks if check.name not in case.excused] + case.checks

    def every_check(self) -> list[Check]:
        """All sentences, those of every case first."""
        return [*self.checks, *(check for case in self.cases for check in case.checks)]


def read_acceptance(path: Path | str) -> Acceptance:
    """Read an acceptance file.

    Parameters
    ----------
    path : Path or str
        The YAML file.

    Returns
    -------
    Acceptance

    Raises
    ------
    ConfigError
        With every finding, each with file, line, key, what was found and what is allowed.
    """
    path = Path(path)
    tree = examine(path, schema())
    seen: set[str] = set()
    checks = _checks(tree, "checks", seen)
    common = set(seen)
    cases = [_read_case(tree.cases[name], name, path, seen, common) for name in tree.cases]
    if not tree.cases:
        cases = [Case("undisturbed-day", "nothing is done to the plant")]
    if not seen:
        tree.finding("", "found no sentence; allowed: at least one, under 'checks' or in a case")
    tree.raise_findings()
    plant = path.parent / tree.plant if tree.plant else None
    return Acceptance(path, tree.title or path.stem, tree.note or "", plant, checks, cases, tree)


def read_checks(path: Path | str) -> list[Check]:
    """Sentences of an acceptance file that are judged in every case.

    Parameters
    ----------
    path : Path or str
        The YAML file.

    Raises
    ------
    ConfigError
        If something in it is wrong, or it has no such sentence.
    """
    found = read_acceptance(path)
    if not found.checks:
        found.tree.finding("", "found no sentence for all cases; allowed: at least one under 'checks'")
        found.tree.raise_findings()
    return found.checks


def _checks(tree: Tree, key: str, seen: set[str]) -> list[Check]:
    """Sentences of a block, each read; that a name stands once in a file is seen to by the reader."""
    made = []
    block = tree[key]
    for name, given in block.items():
        seen.add(name)
        say = given.get("say") if isinstance(given, Tree) else given
        if say is None:  # a finding of the reader has told why
            continue
        place = f"{name}.say" if isinstance(given, Tree) else name
        try:
            said = parse(say)
        except SentenceError as error:
            block.finding(place, str(error))
            continue
        why, untested = (given.why or "", given.untested_ok) if isinstance(given, Tree) else ("", False)
        made.append(Check(name, said, why, untested, f"{block.path}.{place}"))
    return made


def _read_case(tree: Tree, name: str, path: Path, seen: set[str], common: set[str]) -> Case:
    for i, excused in enumerate(tree.excused):
        if excused not in common:
            tree.finding(f"excused.{i}", sentence(f"'{excused}'", "the name of a sentence for all cases",
                                                  nearest(excused, common)))  # fmt: skip
    if len(set(tree.seeds)) != len(tree.seeds):
        tree.finding("seeds", "found a seed twice; allowed: each once")
    scenario = path.parent / tree.scenario if tree.scenario else None
    if scenario is not None and not scenario.is_file():
        tree.finding("scenario", f"found '{tree.scenario}', but there is no such file; allowed: a scenario file")
    return Case(name, tree.note or "", tree.until, tuple(tree.seeds), tree.every, tuple(tree["set"]),
                _checks(tree, "checks", seen), frozenset(tree.excused), scenario, tree)  # fmt: skip
