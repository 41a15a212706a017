"""Which settings a tuning job recommends, and why, in words a reader can check against the tables."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from plantsim.analysis.tuning.candidates import PRESENT, Candidate
from plantsim.analysis.tuning.controller import Controller
from plantsim.analysis.tuning.trials import Trial

KEEP = 0.98
"""Present parameters are kept unless the error falls below this part of theirs: less is within what seeds make."""


@dataclass(frozen=True)
class Verdict:
    """What is recommended.

    Parameters
    ----------
    chosen : str
        Name of the candidate; the present parameters when nothing is better.
    recommended : str
        What the bench would choose by itself.
    reason : str
        Why, in words.
    better, worse : tuple of str
        Cases with less and with more error than before, with figures.
    remarks : tuple of str
        What to know: one gain for all flows, dead-time compensation and so on.
    """

    chosen: str
    recommended: str
    reason: str
    better: tuple[str, ...]
    worse: tuple[str, ...]
    remarks: tuple[str, ...]


def fit_to_serve(controller: Controller, one: Candidate) -> bool:
    """Whether margins allow a candidate: its Ms where the loop normally stands, and stable over the whole range."""
    return one.nominal.stable and one.nominal.Ms <= controller.tune.most_ms and one.holds


def total(trials: Sequence[Trial]) -> float:
    """Error over all trials [measured-unit h]"""
    return sum(trial.iae for trial in trials)


def cost(controller: Controller, trials: Sequence[Trial]) -> float:
    """What is compared: the error; of a level that shall take the surges the travel, while it stays in bounds."""
    if controller.tune.averaging is None:
        return total(trials)
    over = max(trial.peak for trial in trials) / controller.tune.averaging[1]
    travel = sum(trial.travel for trial in trials)
    return travel if over <= 1.0 else math.inf if travel == 0.0 else 1e9 * over


def decide(
    controller: Controller, table: Sequence[Candidate], trials: Mapping[str, Sequence[Trial]], asked: str | None,
    ways: Sequence[Candidate] | None,
) -> Verdict:  # fmt: skip
    """Choose among candidates.

    Parameters
    ----------
    controller : Controller
        The controller.
    table : sequence of Candidate
        The present parameters first.
    trials : mapping of str to sequence of Trial
        Trials by candidate. Only those tried wherever the present parameters were are compared.
    asked : str or None
        The rule to take whatever the bench thinks.
    ways : sequence of Candidate or None
        Other ways to use the program, for remarks; None: not tried yet.

    Returns
    -------
    Verdict
    """
    full = len(trials[PRESENT])
    able = [one for one in table[1:] if len(trials[one.name]) == full and fit_to_serve(controller, one)]
    before = cost(controller, trials[PRESENT])
    best = min(able, key=lambda one: cost(controller, trials[one.name]), default=None)
    sound = fit_to_serve(controller, table[0])
    what, unit = _figure(controller)
    if best is None:
        recommended = PRESENT
        reason = (f"No rule keeps Ms within {controller.tune.most_ms:g} and stays stable over the whole range: the "
                  "present parameters are left as they are.")  # fmt: skip
    elif cost(controller, trials[best.name]) > KEEP * before and sound:
        recommended = PRESENT
        reason = (f"The present parameters are kept: the best rule that margins allow, {best.name}, gives "
                  f"{_figures(controller, trials[best.name])} {unit} of {what} over all upsets and operating points, "
                  f"they give {_figures(controller, trials[PRESENT])}.")  # fmt: skip
    else:
        recommended = best.name
        given = "" if sound else " The present parameters are beyond those limits."
        reason = (f"{best.name}: of the rules with Ms within {controller.tune.most_ms:g} where the loop normally "
                  f"stands ({best.nominal.Ms:.2f}) and stable over the whole range, it gives the least {what} over all "
                  f"upsets and operating points: {_figures(controller, trials[best.name])} {unit}, against "
                  f"{_figures(controller, trials[PRESENT])} {unit} of the present parameters.{given}")  # fmt: skip
    chosen = recommended if asked is None else asked
    if chosen != recommended:
        reason = f"{chosen} was asked for. The bench would take: {reason}"
    better, worse = compared(controller, trials, chosen)
    return Verdict(chosen, recommended, reason, better, worse, _remarks(controller, table, trials, chosen, ways or ()))


def compared(
    controller: Controller, trials: Mapping[str, Sequence[Trial]], chosen: str
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Cases with less and with more error than the present parameters, in words; of an averaging level, of travel."""
    figure, unit = "iae", f"{controller.loop.measures.unit} h"
    if controller.tune.averaging is not None:
        figure, unit = "travel", controller.loop.moves.unit
    after = {(t.point, t.case): t for t in trials[chosen]}
    better: list[str] = []
    worse: list[str] = []
    for old in trials[PRESENT]:
        new = after.get((old.point, old.case))
        if new is None:
            continue
        was, now = getattr(old, figure), getattr(new, figure)
        if now != was:
            share = f" ({100.0 * (now / was - 1.0):+.0f} %)" if was > 0.0 else ""
            words = f"{old.case} at {old.point}: {now:.3g} {unit} for {was:.3g}{share}"
            (better if now < was else worse).append(words)
    return tuple(better), tuple(worse)


def _remarks(
    controller: Controller, table: Sequence[Candidate], trials: Mapping[str, Sequence[Trial]], chosen: str,
    ways: Sequence[Candidate],
) -> tuple[str, ...]:  # fmt: skip
    here = next(one for one in table if one.name == chosen)
    found = []
    if here.worst_ms > controller.tune.most_ms:
        found.append(f"On the process '{here.governs}' its Ms is {_ms(here.worst_ms)}: there it is lively, and it has "
                     "less in hand than where it normally stands.")  # fmt: skip
    unit = controller.loop.measures.unit
    for way in ways:
        mine, other = trials[chosen], trials[way.name]
        calm, wild = max(t.unrest for t in mine), max(other, key=lambda t: t.unrest)
        swing = ""
        if wild.unrest > 2.0 * calm:
            swing = (f"; it still swings by {wild.unrest:.3g} {unit} at the end of '{wild.case}' at {wild.point}, the "
                     f"chosen one by {calm:.3g} {unit} at most")  # fmt: skip
        share = 100.0 * (total(other) / total(mine) - 1.0) if total(mine) > 0.0 else 0.0
        found.append(f"{way.name}: {total(other):.4g} {unit} h of error over all trials, {abs(share):.0f} % "
                     f"{'more' if share > 0.0 else 'less'} than the chosen way's {total(mine):.4g}; "
                     f"{_range_held(way)}{swing}.")  # fmt: skip
    return tuple(found)


def _range_held(one: Candidate) -> str:
    """What margins say of a candidate over the whole range, in words."""
    lost = [name for name, m in one.each.items() if not m.stable]
    if lost:
        return f"it is unstable on {', '.join(lost[:3])}"
    lost = [name for name, m in one.stretched.items() if not m.stable]
    edge = f", but at the end of the range it is unstable on {', '.join(lost[:3])}" if lost else ""
    return f"its worst Ms is {one.worst_ms:.2f}{edge}"


def _ms(value: float) -> str:
    return f"{value:.2f}" if math.isfinite(value) else "without limit"


def _figure(controller: Controller) -> tuple[str, str]:
    if controller.tune.averaging is None:
        return "error", f"{controller.loop.measures.unit} h"
    return "travel", controller.loop.moves.unit


def _figures(controller: Controller, trials: Sequence[Trial]) -> str:
    if controller.tune.averaging is None:
        return f"{total(trials):.4g}"
    return (f"{sum(t.travel for t in trials):.4g} (farthest off {max(t.peak for t in trials):.3g} of "
            f"{controller.tune.averaging[1]:g} {controller.loop.measures.unit} allowed)")  # fmt: skip
