"""Candidates of a tuning job: every rule as the program can be set to it, with its margins over the whole range.

A rule is worked out from the model found where the loop normally stands. Its gains are turned into parameters of the
program and rounded; what is judged are the gains these parameters give, at every operating point those in force there.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from plantsim.analysis.tuning.controller import Choice, Controller
from plantsim.analysis.tuning.margins import Margins
from plantsim.analysis.tuning.models import FOPDT, Integrating, Process, TuningError
from plantsim.analysis.tuning.points import Found, Tested
from plantsim.analysis.tuning.predictor import loop_margins
from plantsim.analysis.tuning.robust import RULE as GREATEST
from plantsim.analysis.tuning.robust import greatest_integral_gain
from plantsim.analysis.tuning.rules import every_rule
from plantsim.analysis.tuning.rules_level import smooth_level
from plantsim.analysis.tuning.settings import Settings

PRESENT = "present"
"""Name of the candidate that is the plant file as it stands."""
AVERAGING = "averaging PI"
"""Name of the rule for a level that may swing."""


@dataclass(frozen=True)
class Range:
    """What a loop has to live with: a process and the operating point it was found at.

    Parameters
    ----------
    name : str
        Point and step, in words.
    point : str
        Operating point.
    process : Process
        As found.
    stretched : Process
        With gain and dead time at the ends of the allowed range.
    """

    name: str
    point: str
    process: Process
    stretched: Process


@dataclass(frozen=True)
class Candidate:
    """One way to set the controller.

    Parameters
    ----------
    name : str
        Rule, or how it was chosen.
    asked : Settings
        What the rule asks for; of the present parameters the same as `settings`.
    choice : Choice
        Parameters of the program, rounded; empty for the present ones.
    settings : Settings
        What these give where the loop normally stands.
    nominal : Margins
        There, on the model the rules were worked out from.
    each : dict of str to Margins
        On every process found, with the gains in force at its point.
    stretched : dict of str to Margins
        The same with gain and dead time at the ends of the allowed range.
    rule, way : str
        The rule, and the way the program is used when it is not that of the plant file (a choice of it).
    """

    name: str
    asked: Settings
    choice: Choice
    settings: Settings
    nominal: Margins
    each: dict[str, Margins]
    stretched: dict[str, Margins]
    rule: str = ""
    way: str = ""

    @property
    def governs(self) -> str:
        """Name of the process with the greatest Ms."""
        return max(self.each, key=lambda name: self.each[name].Ms)

    @property
    def worst(self) -> Margins:
        """Margins on that process."""
        return self.each[self.governs]

    @property
    def worst_ms(self) -> float:
        """Greatest Ms on the processes found; infinite when one loop is unstable [-]"""
        return self.worst.Ms

    @property
    def holds(self) -> bool:
        """Whether it is stable over the whole stretched range too."""
        return all(m.stable for m in self.stretched.values())


def nominal(points: Sequence[Tested]) -> Found:
    """The model rules are worked out from: of those found where the loop normally stands, the one of middle gain.

    With an even number of models the larger of the two in the middle is taken: a gain too high is the safer mistake.

    Raises
    ------
    TuningError
        If no bump there gave a model.
    """
    usable = sorted((one for one in points[0].found if one.short is not None), key=lambda one: abs(one.gain))
    if not usable:
        why = "; ".join(f"{one.name}: {one.refusals[0] if one.refusals else 'no first-order model'}"
                        for one in points[0].found)  # fmt: skip
        raise TuningError(f"no bump at the point '{points[0].name}' gave a model to tune by ({why})")
    signs = {math.copysign(1.0, one.gain) for one in usable}
    if len(signs) > 1:
        raise TuningError(f"the process gain changes its sign at the point '{points[0].name}': the loop stands at an "
                          "optimum, which no controller of this kind can hold; choose another set point")  # fmt: skip
    return usable[len(usable) // 2]


def ranges(points: Sequence[Tested], gain: float, dead_time: float) -> list[Range]:
    """All processes found, each with its stretched partner; those of the other sign are left out.

    Parameters
    ----------
    points : sequence of Tested
        Operating points.
    gain, dead_time : float
        Factors of the allowed range [-]
    """
    sign = math.copysign(1.0, nominal(points).gain)
    found = []
    for point in points:
        for one in point.found:
            if one.process is not None and sign * one.gain > 0.0:
                found.append(Range(one.name, point.name, one.process, stretch(one.process, gain, dead_time)))
    return found


def stretch(process: Process, gain: float, dead_time: float) -> Process:
    """A process with so many times its gain and dead time."""
    c = process.chain()
    return replace(c, gain=c.gain * gain, delay=c.delay * dead_time)


def make(
    controller: Controller, points: Sequence[Tested], name: str, asked: Settings, choice: Choice,
    over: Sequence[Range], base: Process, way: str = "",
) -> Candidate:  # fmt: skip
    """A candidate with its margins.

    Parameters
    ----------
    controller : Controller
        The controller.
    points : sequence of Tested
        Operating points; the first is where the loop normally stands.
    name : str
        Name of the rule.
    asked : Settings
        What the rule asked for.
    choice : Choice
        Parameters.
    over : sequence of Range
        Processes to hold.
    base : Process
        Process the rules were worked out from.
    way : str
        Name of the choice of the plant file that is part of it; empty: none.
    """
    sign = math.copysign(1.0, base.factors().gain)
    known = {p.name: {**p.values, **choice.mapping} for p in points}
    force = {point: controller.settings(values, sign, name) for point, values in known.items()}
    ahead = {point: controller.predictor(values) for point, values in known.items()}

    def judged(point: str, process: Process) -> Margins:
        return loop_margins(force[point], process, ahead[point], controller.scan)

    each = {r.name: judged(r.point, r.process) for r in over}
    wide = {r.name: judged(r.point, r.stretched) for r in over}
    first = points[0].name
    here = replace(force[first], source=asked.source, notes=asked.notes, warnings=asked.warnings)
    title = f"{name}, {way}" if way else name
    return Candidate(title, asked, choice, here, judged(first, base), each, wide, name, way)


def other_ways(
    controller: Controller, points: Sequence[Tested], table: Sequence[Candidate], over: Sequence[Range],
    base: Process, choices: Mapping[str, Mapping[str, float]],
) -> list[Candidate]:  # fmt: skip
    """Rules with the program used in the other ways of the plant file, as far as margins allow them at all.

    Parameters
    ----------
    controller : Controller
        The controller.
    points : sequence of Tested
        Operating points.
    table : sequence of Candidate
        The present parameters first, then all rules.
    over : sequence of Range
        Processes to hold.
    base : Process
        Process the rules were worked out from.
    choices : mapping
        Parameters of each way, by name; ways with dead-time compensation are left out, as rules do not reckon with it.

    Returns
    -------
    list of Candidate
        Stable on every process, stretched too.
    """
    predictor = controller.tune.predictor
    found = []
    for way, extra in choices.items():
        if predictor is not None and predictor.on in extra:
            continue
        for one in table[1:]:
            if one.nominal.stable and one.nominal.Ms <= controller.tune.most_ms:
                try:
                    choice = controller.choose(one.asked, points[0].values, extra)
                    made = make(controller, points, one.name, one.asked, choice, over, base, way)
                except TuningError:
                    continue
                found += [made] if made.holds else []
    return found


def rule_names() -> list[str]:
    """Names of all rules there are, whatever the process."""
    usual = (FOPDT(1.0, 100.0, 50.0), Integrating(0.01, 50.0, 0.0))
    found = [*(settings.rule for process in usual for settings in every_rule(process)), AVERAGING, GREATEST]
    return list(dict.fromkeys(found))


def candidates(
    controller: Controller, points: Sequence[Tested]
) -> tuple[list[Candidate], list[tuple[str, str]], list[Range]]:
    """The present parameters and every rule, with margins; and which rules the program cannot follow, and why.

    Parameters
    ----------
    controller : Controller
        The controller.
    points : sequence of Tested
        Operating points, the first where the loop normally stands.

    Returns
    -------
    tuple
        Candidates, the present first; (rule, reason) of those left out; processes to hold.
    """
    tune, first = controller.tune, nominal(points)
    assert first.short is not None and first.process is not None
    over = ranges(points, tune.gain_range, tune.dead_time_range)
    values, sign = points[0].values, math.copysign(1.0, first.gain)
    now = controller.settings(values, sign, PRESENT)
    table = [make(controller, points, PRESENT, now, Choice(()), over, first.process)]
    out: list[tuple[str, str]] = []
    for asked in _asked(controller, points, first, over, out):
        try:
            choice = controller.choose(asked, values)
            table.append(make(controller, points, asked.rule, asked, choice, over, first.process))
        except TuningError as error:
            out.append((asked.rule, str(error)))
    return table, out, over


def _asked(
    controller: Controller, points: Sequence[Tested], first: Found, over: Sequence[Range], out: list[tuple[str, str]]
) -> list[Settings]:  # fmt: skip
    tune, scan = controller.tune, controller.scan
    assert first.short is not None
    found = every_rule(first.short, scan=scan)
    if isinstance(first.short, Integrating) and tune.averaging is not None:
        swing, allowed = tune.averaging
        found.append(replace(smooth_level(first.short, swing, allowed), rule=AVERAGING))
    if tune.integral is not None:
        try:
            found.append(greatest_integral_gain(
                {r.name: r.process for r in over}, tune.most_ms, scan, _in_force(controller, points, first)))
        except TuningError as error:
            out.append((GREATEST, str(error)))
    return found


def _in_force(
    controller: Controller, points: Sequence[Tested], first: Found
) -> Callable[[str, Settings], Settings]:
    """Gains in force on a process, for gains where the loop normally stands: the law's ratio of the two points."""
    sign = math.copysign(1.0, first.gain)
    here = controller.settings(points[0].values, sign)
    ratio: dict[str, tuple[float, float]] = {}
    for point in points:
        there = controller.settings(point.values, sign)
        longer = there.Ti / here.Ti if math.isfinite(here.Ti) else 1.0
        ratio.update({one.name: (there.Kc / here.Kc, longer) for one in point.found})

    def given(name: str, settings: Settings) -> Settings:
        gain, time = ratio[name]
        return replace(settings, Kc=settings.Kc * gain, Ti=settings.Ti * time)

    return given
