"""Read an upset in the record of a run: what began it, what was seen in which order, and what answered it.

A quantity's **band** is what it did in the time before the cause, a little wider; what went along a straight line, such
as a cell that fills, has its band along that line. Its first departure is the moment
from which it stays outside that band for a while. Quantities of one unit that leave together are told together. The
calendar bounds both times: a shift that starts or stops is no symptom.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from plantsim.analysis.checks.recording import Recording
from plantsim.errors import PlantsimError

CAUSES = ("act", "failure", "power")
"""Kinds of lines of the journal that begin an upset."""
WIDER = 0.15
"""Part of its own width by which a band is widened on either side (common practice, no source)."""
LEAST = 0.02
"""Least half-width of a band, part of the greatest value before the cause (common practice, no source)."""
STRAIGHT = 0.95
"""Part of its variance before the cause that a straight line must explain for a quantity to count as going along it."""
HELD = 60.0
"""Time a quantity must stay outside its band [s]."""
TRIFLE = 1e-6
"""What never has more than this, in its own unit, is no more than rounding and traces."""
TOGETHER = 90.0
"""Quantities of one unit that leave within this time are told together [s]."""
SETTLE = 1200.0
"""Time after a shift's start that is no measure of what is usual [s], where the record has more."""
_TELLING = ("level", "flow", "turbidity", "running", "torque", "bed_level", "underflow_density", "solids", "density",
            "dose", "neat", "height", "feed_flow", "overflow", "underflow", "charge")  # fmt: skip
"""Quantities that stand for those that leave with them, the most telling first."""
_NO_SYMPTOM = ("position", "starts", "starts_hour", "washed", "total", "pumped", "drained", "energy", "run_time",
               "dosed", "out_volume", "under_volume", "under_solids", "solids_lost", "fills", "cycles",
               "cake")  # fmt: skip
"""What is told as an action of the logic, or counts up."""
_COUNTS = ("spilled", "overtopped")
"""Counters that are told when they rise."""


class ExplainError(PlantsimError, ValueError):
    """Raised when a run holds nothing to explain, in one sentence."""


@dataclass(frozen=True)
class Departure:
    """A quantity that left its band.

    Parameters
    ----------
    name, unit : str
        The quantity.
    after : float
        Time from the cause [s].
    up : bool
        Whether it rose.
    low, high : float
        Its band, in its unit.
    farthest : float
        Value farthest from the band in the time looked at.
    also : tuple of str
        Quantities of the same unit that left with it.
    """

    name: str
    unit: str
    after: float
    up: bool
    low: float
    high: float
    farthest: float
    also: tuple[str, ...] = ()

    @property
    def telling(self) -> bool:
        """Whether it is one of the quantities a plant is read by."""
        return _rank(self.name) < len(_TELLING)


@dataclass(frozen=True)
class Action:
    """An output of the logic that was switched or moved.

    `role` is 'drive', 'permit', 'valve' or 'actuator'; `usual`: it was switched before the cause too.
    """

    tag: str
    role: str
    after: float
    words: str
    usual: bool = False


@dataclass(frozen=True)
class Called:
    """An alarm that came after the cause, and when it was gone or answered [s]; infinite: not in this time."""

    alarm: str
    after: float
    until: float = math.inf


@dataclass
class Explanation:
    """An upset laid out in time; all times count from the cause [s].

    Parameters
    ----------
    at : float
        Time of the cause after the start of the run [s].
    cause : str
        Its words.
    before, after : float
        Time that gave the bands, and time looked at [s].
    ends : str
        Why it is not looked at longer, in words.
    """

    at: float
    cause: str
    before: float
    after: float
    ends: str
    causes: list[tuple[float, str]] = field(default_factory=list)
    answers: list[tuple[float, str]] = field(default_factory=list)
    symptoms: list[Departure] = field(default_factory=list)
    alarms: list[Called] = field(default_factory=list)
    actions: list[Action] = field(default_factory=list)


def explain(
    record: Recording, at: float | None = None, before: float = 7200.0, after: float = 10800.0
) -> Explanation:  # fmt: skip
    """Lay out the upset of a run.

    Parameters
    ----------
    record : Recording
        The run; an `alarm_log` is read where it has one.
    at : float, optional
        Time of the cause [s]; the first act, failure or loss of power in the journal when left out.
    before : float
        Longest time before the cause that gives the bands [s].
    after : float
        Longest time after it that is looked at [s].

    Raises
    ------
    ExplainError
        If the journal has no cause, or the record nothing before it.
    """
    time = np.asarray(record.time, dtype=float)
    journal = list(record.journal)
    if at is None:
        found = [(t, words) for t, kind, words in journal if kind in CAUSES]
        if not found:
            raise ExplainError("found no act, failure or loss of power in the journal; allowed: a run with an upset, "
                               "or the time of the cause by --at")  # fmt: skip
        at = found[0][0]
        cause = "; ".join(words for t, words in found if t == at)
    else:
        near = [(t, words) for t, kind, words in journal if abs(t - at) < 60.0 and kind != "shift"]
        cause = near[0][1] if near else "what began at the time asked for"
    if not len(time) or not time[0] < at < time[-1]:
        raise ExplainError(f"found a cause at {at:g} s; allowed: a time within the record, with something before it")
    shifts = [t for t, kind, _ in journal if kind == "shift"]
    start = max([time[0], at - before, *(_settled(t, at) for t in shifts if t < at)])
    stop, ends = min(time[-1], at + after), ""
    later = [t for t in shifts if at < t < stop]
    if later:
        stop, ends = later[0], "a shift begins or ends there, which changes everything by itself"
    past = (time >= start) & (time < at)
    if past.sum() < 3:
        raise ExplainError(f"found {int(past.sum())} rows before the cause; allowed: at least 3, so choose --before")
    then = (time >= at) & (time <= stop)
    made = Explanation(at, cause, at - start, stop - at, ends)
    made.causes = [(t - at, words) for t, kind, words in journal if kind in CAUSES and at <= t <= stop]
    made.answers = [(t - at, words) for t, kind, words in journal if kind == "operator" and at <= t <= stop]
    made.symptoms = _symptoms(record, time, past, then, at)
    made.actions = _actions(record, time, past, then, at)
    made.alarms = _alarms(getattr(record, "alarm_log", ()), at, stop)
    return made


def _settled(shift: float, at: float) -> float:
    """When the time after a shift's start counts as usual: sooner where there is little of it."""
    return shift + min(SETTLE, 0.5 * (at - shift))


def band(values: np.ndarray) -> tuple[float, float]:
    """What a quantity did, a little wider.

    >>> band(np.array([1.0, 2.0, 3.0]))
    (0.7, 3.3)
    """
    low, high = float(values.min()), float(values.max())
    room = max(WIDER * (high - low), LEAST * max(abs(low), abs(high)))
    return low - room, high + room


def _symptoms(record: Recording, time: np.ndarray, past: np.ndarray, then: np.ndarray, at: float) -> list[Departure]:
    found = []
    for name, series in record.series.items():
        if "." not in name or name.startswith("weather.") or name.rpartition(".")[2] in _NO_SYMPTOM:
            continue
        values = np.asarray(series.values, dtype=float)
        if not np.isfinite(values[past | then]).all() or np.abs(values[past | then]).max() < TRIFLE:
            continue
        counts = name.rpartition(".")[2] in _COUNTS
        one = _left(name, series, values, time, past, then, at)
        if one is not None and not (counts and not one.up):
            found.append(one)
    return _together(sorted(found, key=lambda one: (one.after, _rank(one.name), one.name)))


def _left(
    name: str, series: Any, values: np.ndarray, time: np.ndarray, past: np.ndarray, then: np.ndarray, at: float
) -> Departure | None:  # fmt: skip
    trend = _trend(time, values, past)
    low, high = band(values[past])
    if trend is not None:  # what goes on as it did is no departure: the band goes on with it
        room = values[past].min() - low
        rest = (values - trend)[past]
        low, high = float(rest.min()) - room, float(rest.max()) + room
    moments, seen = time[then], (values if trend is None else values - trend)[then]
    risen, fallen = _lasting(seen > high, moments), _lasting(seen < low, moments)
    if risen is None and fallen is None:
        return None
    up = fallen is None or (risen is not None and risen <= fallen)
    first = risen if up else fallen
    assert first is not None
    base = 0.0 if trend is None else float(trend[then][first])
    far = values[then][first:]
    return Departure(name, series.unit, float(moments[first]) - at, up, low + base, high + base,
                     float(far.max() if up else far.min()))  # fmt: skip


def _trend(time: np.ndarray, values: np.ndarray, past: np.ndarray) -> np.ndarray | None:
    """Straight line through what a quantity did before the cause; None when it did not go along one."""
    t, y = time[past] - time[past][0], values[past]
    if np.ptp(y) <= 0.0:
        return None
    slope, start = np.polyfit(t, y, 1)
    if 1.0 - np.var(y - start - slope * t) / np.var(y) < STRAIGHT:
        return None
    return np.asarray(start + slope * (time - time[past][0]))


def _lasting(on: np.ndarray, time: np.ndarray) -> int | None:
    """First row from which something is true for `HELD`, or to the end of the record; None when it never is."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], on, [False])).astype(np.int8))).reshape(-1, 2)
    for start, stop in edges:
        if stop == len(on) or time[stop - 1] - time[start] >= HELD:
            return int(start)
    return None


def _rank(name: str) -> int:
    quantity = name.rpartition(".")[2]
    return _TELLING.index(quantity) if quantity in _TELLING else len(_TELLING)


def _together(found: Sequence[Departure]) -> list[Departure]:
    """Quantities of one unit that left together as one, which the most telling stands for."""
    groups: list[list[Departure]] = []
    for one in found:
        unit = one.name.partition(".")[0]
        home = next((group for group in groups if group[0].name.partition(".")[0] == unit
                     and one.after - group[0].after <= TOGETHER), None)  # fmt: skip
        if home is None:
            groups.append([one])
        else:
            home.append(one)
    made = []
    for group in groups:
        best = min(group, key=lambda one: (_rank(one.name), one.after))
        also = tuple(one.name.partition(".")[2] for one in group if one is not best)
        made.append(Departure(best.name, best.unit, best.after, best.up, best.low, best.high, best.farthest, also))
    return sorted(made, key=lambda one: one.after)


def role(name: str, series: Any) -> str:
    """Role of a tag, by what its series says of itself; empty for what is no output of the logic."""
    meaning = series.meaning
    if "." in name:
        return ""
    if meaning.startswith("asks "):
        return "drive"
    if meaning == "command in per cent of travel":
        return "actuator"
    return "permit" if series.unit == "1" and " above " not in meaning else ""


def _actions(record: Recording, time: np.ndarray, past: np.ndarray, then: np.ndarray, at: float) -> list[Action]:
    found = []
    for name, series in record.series.items():
        kind = role(name, series)
        if not kind:
            continue
        values = np.asarray(series.values, dtype=float)
        full = 100.0 if kind == "actuator" else 1.0
        if kind == "actuator" and np.isin(values[past | then], (0.0, 100.0)).all():
            kind = "valve"
        if kind == "actuator":
            one = _left(name, series, values, time, past, then, at)
            if one is not None:
                words = f"{'rises' if one.up else 'falls'} to {one.farthest:.0f} %"
                found.append(Action(name, kind, one.after, words))
            continue
        on = values > 0.5 * full
        was = bool(on[past][-1])
        changed = np.flatnonzero(on[then] != was)
        if len(changed):
            usual = bool((on[past] != was).any())
            words = ("shuts" if was else "opens") if kind == "valve" else ("goes off" if was else "goes on")
            found.append(Action(name, kind, float(time[then][changed[0]]) - at, words, usual))
    return sorted(found, key=lambda one: (one.after, one.tag))


def _alarms(log: Sequence[Any], at: float, stop: float) -> list[Called]:
    """Alarms that came after the cause, each once, and when its state was normal or returned again."""
    found: dict[str, Called] = {}
    for note in log:
        if not at <= note.seconds <= stop:
            continue
        if note.annunciated and note.alarm not in found:
            found[note.alarm] = Called(note.alarm, note.seconds - at)
        elif note.alarm in found and math.isinf(found[note.alarm].until) and _gone(note.after):
            found[note.alarm] = Called(note.alarm, found[note.alarm].after, note.seconds - at)
    return list(found.values())


def _gone(state: str) -> bool:
    from plantsim import records

    names = records.ALARM_STATES
    return state in (names[records.ALARM_NORMAL], names[records.ALARM_RETURNED])
