"""How the controllers of a plant are tuned, as data: laws of their gains, how they are judged, what upsets them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from plantsim.plant.assemble import Assembly
from plantsim.plant.fields import nearest, quoted
from plantsim.plant.laws import Law, read_law
from plantsim.plant.program_variables import value_of
from plantsim.plant.programs import chosen, connected, shipped_programs
from plantsim.plant.tree import Tree
from plantsim.units import QuantityError, sentence

NORMAL = "normal"
"""Name of the operating point of a loop that names none."""


@dataclass(frozen=True)
class Part:
    """One gain: its law and the parameter that is turned to set it.

    Parameters
    ----------
    law : Law
        Value from the program's variables [output-unit/measured-unit] or [s]
    by : str
        The parameter, in small letters.
    """

    law: Law
    by: str


@dataclass(frozen=True)
class CaseAct:
    """One act of a case, as `plantsim.plant.acts.Act` takes it; times in s."""

    after: float
    target: str
    to: str
    ramp: float
    lasts: float | None
    by: str
    note: str


@dataclass(frozen=True)
class Case:
    """One upset: its name, what it is, and what is done."""

    name: str
    note: str
    acts: tuple[CaseAct, ...]


@dataclass(frozen=True)
class Predictor:
    """Dead-time compensation: the variable that switches it on, and the laws of its model's gain, lag and delay."""

    on: str
    gain: Law
    lag: Law
    delay: Law

    @property
    def names(self) -> frozenset[str]:
        """Variables it looks at."""
        return self.gain.names | self.lag.names | self.delay.names | {self.on}


@dataclass(frozen=True)
class Tune:
    """How one loop is tuned; see `plantsim.plant.tune_section` for what each word means.

    `ready` tells whether the program in force is the one the laws are written for.
    """

    controller: str
    program: str
    ready: bool
    form: str
    gain: Part
    integral: Part | None
    derivative: Part | None
    setpoint: str
    output: str
    models: tuple[str, ...]
    steps: tuple[str, ...]
    points: Mapping[str, float]
    gain_range: float
    dead_time_range: float
    most_ms: float
    settle: float
    horizon: float
    judged: str
    judged_while: str
    above: float | None
    below: float | None
    chemical: str
    travel: str
    averaging: tuple[float, float] | None
    cases: tuple[Case, ...]
    choices: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    predictor: Predictor | None = None
    search: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    conditions: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    @property
    def parts(self) -> dict[str, Part]:
        """The gains it has, by name: Kc, Ti, Td."""
        named = {"Kc": self.gain, "Ti": self.integral, "Td": self.derivative}
        return {name: part for name, part in named.items() if part is not None}

    @property
    def variables(self) -> list[str]:
        """All variables the laws look at, and the set point, each once."""
        names = {name for part in self.parts.values() for name in (*part.law.names, part.by)}
        if self.predictor is not None:
            names |= self.predictor.names
        return sorted(names | set(self.search) | {self.setpoint} | ({self.output} if self.output else set()))


def make_tune(a: Assembly, programs: Mapping[str, Any], t: Tree) -> Tune | None:
    """The `tune` part of a loop; what does not fit is a finding.

    Parameters
    ----------
    a : Assembly
        The plant as it is put together.
    programs : mapping
        Control programs at work by name: `plantsim.plant.programs.Instance`.
    t : Tree
        The part.

    Returns
    -------
    Tune or None
        None when something does not fit.
    """
    name = str(t.controller)
    if name not in programs:
        return None  # the reference is a finding already, or the program could not be read
    block = a.tree.control[name]
    in_force = block.program or str(block.file)
    wanted = t.program or in_force
    if t.program is not None and t.program not in shipped_programs():
        t.finding("program", sentence(quoted(t.program), "a shipped program",
                                      nearest(t.program, shipped_programs())))  # fmt: skip
        return None
    ready = wanted == in_force
    parts = {key: _part(t[key], key) for key in ("gain", "integral", "derivative") if t[key] is not None}
    predictor = _predictor(t.predictor) if t.predictor is not None else None
    good = all(part is not None for part in parts.values()) and (t.predictor is None or predictor is not None)
    search: dict[str, tuple[float, float]] = {}
    if ready and good:
        good = _fits(t, programs[name].program, connected(block), parts, predictor)
        search = _search(t, programs[name].program, connected(block))
    if not good or parts["gain"] is None:
        return None
    cases = tuple(
        Case(case, c.note or "", tuple(CaseAct(x.after, x["set"], x.to, x.ramp, x.for_, x.by, x.note or "")
                                       for x in c.acts)) for case, c in t.cases.items()
    )  # fmt: skip
    return Tune(
        name, wanted, ready, t.form, parts["gain"], parts.get("integral"), parts.get("derivative"),
        t.setpoint.casefold(), (t.output or "").casefold(), tuple(t.models), tuple(t.steps),
        dict(t.points.items()) or {NORMAL: 1.0}, t.gain_range, t.dead_time_range, t.most_ms, t.settle, t.horizon,
        t.judged or "", t.judged_while or "", t.above, t.below, t.chemical or "", str(t.travel or ""),
        None if t.averaging is None else (t.averaging.swing, t.averaging.allowed), cases,
        {choice: {key.casefold(): text for key, text in values.items()} for choice, values in t.choices.items()},
        predictor, search,
        {name: tuple(values) for name, values in t.conditions.items()},
    )  # fmt: skip


def _part(t: Tree, key: str) -> Part | None:
    try:
        law = read_law(t.is_)
    except QuantityError as error:
        t.finding("is", str(error))
        return None
    if t.by.casefold() not in law.names:
        t.finding("by", sentence(f"'{t.by}', which is not in its law", ", ".join(sorted(law.names))))
        return None
    return Part(law, t.by.casefold())


def _predictor(t: Tree) -> Predictor | None:
    laws: dict[str, Law] = {}
    for key in ("gain", "lag", "delay"):
        try:
            laws[key] = read_law(t[key])
        except QuantityError as error:
            t.finding(key, str(error))
    return Predictor(t.on.casefold(), laws["gain"], laws["lag"], laws["delay"]) if len(laws) == 3 else None


def _search(t: Tree, program: Any, wiring: Mapping[str, str]) -> dict[str, tuple[float, float]]:
    """Ranges of the parameters the optimiser turns; what is none is a finding."""
    known = {name.casefold(): variable for name, variable in program.variables.items()}
    found: dict[str, tuple[float, float]] = {}
    for key, text in t.search.items():
        variable, where = known.get(key.casefold()), f"search.{key}"
        if variable is None:
            t.finding(where, sentence(quoted(key), f"a parameter of program {program.name}", nearest(key, known)))
            continue
        if variable.section != "input" or key.casefold() in wiring or variable.type not in ("REAL", "LREAL", "TIME"):
            t.finding(where, sentence(f"'{key}', which cannot be turned",
                                      "a REAL or TIME input of the program that no tag is tied to"))  # fmt: skip
            continue
        low, dots, high = text.partition("..")
        size = 0.001 if variable.type == "TIME" else 1.0
        try:
            ends = (size * float(value_of(variable, low)), size * float(value_of(variable, high)))
        except QuantityError as error:
            t.finding(where, str(error))
            continue
        if not dots or not ends[0] < ends[1]:
            t.finding(where, sentence(quoted(text), "LOW .. HIGH, the lower first"))
            continue
        found[key.casefold()] = ends
    return found


def _fits(
    t: Tree, program: Any, wiring: Mapping[str, str], parts: Mapping[str, Part | None], predictor: Predictor | None
) -> bool:  # fmt: skip
    """Whether the program has all that is named; what it lacks is a finding."""
    known = {name.casefold(): variable for name, variable in program.variables.items()}
    good = True

    def must(where: Tree, key: str, name: str, turned: bool) -> None:
        nonlocal good
        variable = known.get(name)
        problem = None
        if variable is None:
            problem = sentence(quoted(name), f"a variable of program {program.name}", nearest(name, known))
        elif turned and (variable.section != "input" or name in wiring or variable.type == "BOOL"):
            problem = sentence(f"'{name}', which is no parameter", "an input of the program that no tag is tied to")
        if problem is not None:
            good = False
            where.finding(key, problem)

    for key, part in parts.items():
        if part is not None:
            must(t[key], "by", part.by, True)
            for name in sorted(part.law.names - {part.by}):
                must(t[key], "is", name, False)
    if predictor is not None:
        must(t.predictor, "on", predictor.on, False)
        for key, law in (("gain", predictor.gain), ("lag", predictor.lag), ("delay", predictor.delay)):
            for name in sorted(law.names):
                must(t.predictor, key, name, False)
    must(t, "setpoint", t.setpoint.casefold(), True)
    if t.output is not None:
        must(t, "output", t.output.casefold(), False)
    for choice, values in t.choices.items():
        for key, text in values.items():
            before = good
            must(t, f"choices.{choice}.{key}", key.casefold(), False)
            if good == before and key.casefold() in known:
                try:
                    value_of(known[key.casefold()], text)
                except QuantityError as error:
                    good = False
                    t.finding(f"choices.{choice}.{key}", str(error))
    return good


def parameter_home(a: Tree, controller: str, variable: str) -> str:
    """Path in a plant file where a parameter of a program is set, or would be: that of a variant where there is one.

    Parameters
    ----------
    a : Tree
        The whole plant file.
    controller, variable : str
        Block of `control:` and its parameter.

    Returns
    -------
    str
        Such as `control.underflow.variants.underflow-mass.set.pressure_band`.
    """
    block = a.control[controller]
    blocks = chosen(block)
    for one in blocks:
        for key in one["set"]:
            if key.casefold() == variable.casefold():
                inner = "" if one is block else f"variants.{block.program}."
                return f"control.{controller}.{inner}set.{key}"
    inner = "" if len(blocks) == 1 else f"variants.{block.program}."
    return f"control.{controller}.{inner}set.{variable}"
