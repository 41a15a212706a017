"""The course of an upset: when each symptom is first seen, against the same run in which nothing is done.

Both runs go on from one save point with one seed, so noise, weather, failures and the wander of the feed are alike in
both to the last bit: what differs is the upset's doing. A quantity has departed when it differs from the undisturbed
run by more than the amount stated for its symptom.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np

from plantsim.analysis.checks import Check, Record, Verdict, judge, parse
from plantsim.analysis.checks import from_simulation as record_of
from plantsim.analysis.checks.names import in_unit
from plantsim.analysis.checks.sentence import Amount
from plantsim.errors import PlantsimError
from plantsim.plant.acts import Act, Places, acting, make_acts
from plantsim.plant.fields import nearest, quoted
from plantsim.plant.model import Model, Upset, UpsetSymptom
from plantsim.plant.plans import Start
from plantsim.plant.program_variables import spelled
from plantsim.plant.upsets import read_upset, shipped_upsets, stage
from plantsim.sim.simulation import SavePoint, Simulation
from plantsim.units import sentence


class UpsetError(PlantsimError, ValueError):
    """Raised when an upset cannot be followed as asked, in one sentence."""


@dataclass(frozen=True)
class Departure:
    """When a symptom was first seen.

    Parameters
    ----------
    symptom : UpsetSymptom
        What was looked for.
    after : float
        Time from the cause to the first departure [s]; not a number: it never came.
    amount : float
        Greatest departure in the direction looked for, in `unit`.
    unit : str
        Unit of the quantity.
    """

    symptom: UpsetSymptom
    after: float
    amount: float
    unit: str

    @property
    def seen(self) -> bool:
        """Whether it came at all."""
        return math.isfinite(self.after)

    def in_window(self, slack: float = 0.0) -> bool:
        """Whether it came when it was said to come, give or take some seconds."""
        s = self.symptom
        return self.seen and s.earliest - slack <= self.after <= s.latest + slack

    @property
    def words(self) -> str:
        """What was found, in one line."""
        s = self.symptom
        when = f"after {spelled(round(self.after))}" if self.seen else \
            f"not seen (at most {self.amount:.4g} {self.unit})"  # fmt: skip
        return f"{s.of} {s.goes} {s.by}".rstrip() + f": {when}, said {spelled(s.earliest)} to {spelled(s.latest)}"


def departure(calm: Any, upset: Any, symptom: UpsetSymptom, cause: float) -> Departure:
    """First departure of one quantity.

    Parameters
    ----------
    calm, upset : Recording
        The undisturbed run and the other; rows of the same times.
    symptom : UpsetSymptom
        What is looked for.
    cause : float
        Time of the cause [s]

    Returns
    -------
    Departure

    Raises
    ------
    UpsetError
        If the quantity is not recorded, or its amount is in a unit of something else.
    """
    if symptom.of not in upset.series:
        raise UpsetError(f"found the symptom '{symptom.of}', which is not recorded; allowed: what a run records")
    one = upset.series[symptom.of]
    time = np.asarray(upset.time)
    before, now = np.asarray(calm.series[symptom.of].values), np.asarray(one.values)
    if symptom.goes in ("on", "off"):
        amount, unit = 0.5, "1"
    else:
        amount, unit = _amount(symptom, one.unit), one.unit
    every = float(time[1] - time[0]) if len(time) > 1 else 1.0
    if symptom.mean > 0.0:
        before, now = (_trailing(y, max(1, round(symptom.mean / every))) for y in (before, now))
    change = now - before
    if symptom.goes in ("down", "off"):
        change = -change
    elif symptom.goes == "away":
        change = np.abs(change)
    after = time > cause + 1e-9
    reached = (change >= amount) & after
    rows = max(1, round(symptom.held / every) + 1)
    at = math.nan
    if rows > 1:
        reached = _lasting(reached, rows)
    if reached.any():
        at = float(time[int(np.argmax(reached))]) - cause
    greatest = float(np.max(change[after])) if after.any() else math.nan
    return Departure(symptom, at, greatest, unit)


def _amount(symptom: UpsetSymptom, unit: str) -> float:
    number, _, own = symptom.by.strip().partition(" ")
    if number.endswith("%") and not own:
        number, own = number[:-1], "%"
    try:
        return abs(in_unit(Amount(float(number), own.strip() or "1"), unit, difference=True))
    except (ValueError, PlantsimError) as error:
        raise UpsetError(f"the symptom {symptom.of} by {symptom.by}: {error}") from None


def _trailing(y: np.ndarray, rows: int) -> np.ndarray:
    """Mean over the last rows, of fewer where the record begins."""
    total = np.cumsum(np.insert(y, 0, 0.0))
    last = np.arange(1, len(y) + 1)
    first = np.maximum(last - rows, 0)
    return (total[last] - total[first]) / (last - first)


def _lasting(on: np.ndarray, rows: int) -> np.ndarray:
    """Rows from which a condition is true for so many rows."""
    total = np.cumsum(np.insert(on.astype(float), 0, 0.0))
    found = np.zeros_like(on)
    n = len(on) - rows + 1
    if n > 0:
        found[:n] = total[rows:] - total[:-rows] > rows - 0.5
    return found


def out_of_order(departures: Sequence[Departure], slack: float = 0.0) -> list[tuple[Departure, Departure]]:
    """Neighbours of which the second was seen before the first, by more than some seconds."""
    seen = [d for d in departures if d.seen]
    return [(a, b) for a, b in pairwise(seen) if b.after < a.after - slack]


# --- running it ---

HOWS = ("calm", "missed", "responded")
"""The three runs of an upset: nothing is done; the causes alone; the causes and the operator's answer."""


@dataclass(frozen=True)
class UpsetRun:
    """One run of an upset: what was recorded from its save point on, and the verdicts on its sentences."""

    record: Record
    verdicts: list[Verdict]
    cause: float


@dataclass(frozen=True)
class Staged:
    """An upset tied to a plant: what is done without and with the answer, and what is said of it."""

    upset: Upset
    causes: tuple[Act, ...]
    answers: tuple[Act, ...]

    def acts(self, how: str) -> tuple[Act, ...]:
        """What is done in one of the three runs."""
        return {"calm": (), "missed": self.causes, "responded": self.causes + self.answers}[how]


def staged(model: Model, name: str, at: float | None = None) -> Staged:
    """Tie a shipped upset to a plant.

    Parameters
    ----------
    model : Model
        The plant; it is not changed.
    name : str
        Name of the upset.
    at : float, optional
        Time of its cause [s]; that of its description when left out.

    Returns
    -------
    Staged

    Raises
    ------
    UpsetError
        If there is no such upset, or the plant lacks a part of it.
    """
    shipped = shipped_upsets()
    if name not in shipped:
        raise UpsetError(sentence(quoted(name), "a name that `plantsim upsets` lists", nearest(name, shipped)))
    tree = read_upset(shipped[name])
    begin = tree.begin if at is None else at
    findings: list[str] = []
    found = stage(Places.of(model), tree, name, Start(begin, begin), report=lambda key, words: findings.append(words))
    if found is None or findings:
        raise UpsetError(findings[0])
    causes, upset, answers = found
    return Staged(upset, tuple(causes), tuple(answers))


def settle(model: Model, seconds: float, seed: int = 1) -> SavePoint:
    """A plant run by its own programs for a time [s]; it is not changed itself."""
    sim = Simulation(acting(model, ()), seed)
    sim.run(seconds)
    return sim.save()


def follow(model: Model, one: Staged, how: str, point: SavePoint) -> UpsetRun:
    """One of the three runs of an upset, from a save point before its cause to its horizon.

    Parameters
    ----------
    model : Model
        The plant; it is not changed.
    one : Staged
        The upset on this plant.
    how : str
        'calm', 'missed' or 'responded'.
    point : SavePoint
        Where the run goes on from, see `settle`.

    Returns
    -------
    UpsetRun
    """
    cause = one.upset.start.low
    findings: list[str] = []
    acts = [replace(act, report=lambda key, words: findings.append(words)) for act in one.acts(how)]
    plans = make_acts(Places.of(model), acts)
    if findings:
        raise UpsetError(findings[0])
    sim = Simulation(acting(model, plans), point.seed)
    sim.join(point)
    sim.run(cause + one.upset.horizon)
    record = since(sim, point, {"upset": [cause], "cause": [cause]})
    return UpsetRun(record, judged(one.upset, record), cause)


def since(sim: Simulation, point: SavePoint, marks: Mapping[str, Sequence[float]] | None = None) -> Record:
    """What a simulation has recorded since a save point."""
    whole = record_of(sim, None, None, marks)
    first = -(-point.tick // sim.recorder.every)
    series = {name: type(one)(one.values[first:], one.unit) for name, one in whole.series.items()}
    return Record(whole.time[first:], series, whole.journal, running=whole.running, marks=whole.marks)


def judged(upset: Upset, record: Record) -> list[Verdict]:
    """Verdicts on the sentences that fail when nobody acts."""
    return judge([Check(text, parse(text)) for text in upset.missed], record)


@dataclass(frozen=True)
class Course:
    """An upset followed on a plant: its departures when nobody acts, and the verdicts of the three runs."""

    upset: Upset
    departures: list[Departure]
    runs: Mapping[str, UpsetRun]


def course(model: Model, name: str, at: float | None = None, seed: int = 1, lead: float = 600.0) -> Course:
    """Follow an upset on a plant: calm, missed and responded, from one save point with one seed.

    Parameters
    ----------
    model : Model
        The plant; it is not changed.
    name : str
        Name of a shipped upset.
    at : float, optional
        Time of its cause [s]; that of its description when left out.
    seed : int
        Seed of everything random.
    lead : float
        Time between the save point and the cause [s]

    Returns
    -------
    Course
    """
    one = staged(model, name, at)
    point = settle(model, max(one.upset.start.low - lead, 0.0), seed)
    runs = {how: follow(model, one, how, point) for how in HOWS}
    cause = one.upset.start.low
    found = [departure(runs["calm"].record, runs["missed"].record, s, cause) for s in one.upset.symptoms]
    return Course(one.upset, found, runs)
