"""Conditions and events of a sentence on a record: what is true at each row, by how much, and when it becomes so."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from plantsim.analysis.checks import sentence as s
from plantsim.analysis.checks.names import compare_series, counter_series, in_unit, state_series
from plantsim.analysis.checks.recording import Recording

_FIRST = {"cause": "act", "upset": "act", "act": "act", "response": "operator"}
"""Moments found in the journal when a record names none: the first line of this kind."""


@dataclass(frozen=True)
class Truth:
    """A condition at each row.

    Parameters
    ----------
    on : ndarray of bool
        Whether it is true.
    known : ndarray of bool
        Whether that can be said: the record has numbers there.
    room : ndarray or None
        For one comparison: how far the quantity lies on the right side of its limit, negative when not.
    unit : str
        Unit of `room`.
    values : ndarray or None
        The quantity itself, for a comparison.
    """

    on: np.ndarray
    known: np.ndarray
    room: np.ndarray | None = None
    unit: str = ""
    values: np.ndarray | None = None


@dataclass
class Moments:
    """A record seen by the conditions of sentences; each condition is worked out once.

    Parameters
    ----------
    record : Recording
        The record.
    """

    record: Recording
    units: Mapping[str, str] = field(init=False)
    _seen: dict[s.Condition, Truth] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.time = np.asarray(self.record.time, dtype=float)
        self.units = {name: one.unit for name, one in self.record.series.items()}
        self.weights = np.diff(self.time, prepend=self.time[:1])

    # --- conditions ---

    def truth(self, condition: s.Condition) -> Truth:
        """A condition at each row."""
        if condition not in self._seen:
            self._seen[condition] = self._truth(condition)
        return self._seen[condition]

    def _truth(self, condition: s.Condition) -> Truth:
        match condition:
            case s.Compare():
                return self._compare(condition)
            case s.State():
                values = self.values(state_series(condition, self.units))
                known = np.isfinite(values)
                return Truth((np.nan_to_num(values) > 0.5) == condition.wanted, known)
            case s.Not():
                part = self.truth(condition.part)
                room = None if part.room is None else -part.room
                return Truth(~part.on, part.known, room, part.unit, part.values)
            case s.Both():
                parts = [self.truth(one) for one in condition.parts]
                join = np.logical_and if condition.join == "and" else np.logical_or
                return Truth(join.reduce([one.on for one in parts]), np.logical_and.reduce([x.known for x in parts]))
            case s.Held():
                part = self.truth(condition.part)
                return Truth(held(part.on & part.known, self.time, condition.seconds), part.known)
        raise TypeError(condition)

    def values(self, name: str) -> np.ndarray:
        """A series, in the unit it is shown in."""
        return np.asarray(self.record.series[name].values, dtype=float)

    def _compare(self, limit: s.Compare) -> Truth:
        compare_series(limit, self.units)
        name = limit.name
        values, unit = self.values(name), self.units[name]
        room, on = compared(limit, values, unit, self.values(limit.other) if limit.other else None)
        return Truth(on, np.isfinite(room), room, unit, values)

    # --- events ---

    def events(self, event: s.Event) -> list[float]:
        """Moments at which something happens [s]."""
        match event:
            case s.Line(words):
                return [at for at, _, line in self.record.journal if words.casefold() in line.casefold()]
            case s.Mark(name):
                marks = getattr(self.record, "marks", {})
                if name in marks:
                    return sorted(marks[name])
                return [at for at, kind, _ in self.record.journal if kind == _FIRST.get(name, "")][:1]
        truth = self.truth(event)
        on = truth.on & truth.known
        return [float(t) for t in self.time[1:][on[1:] & ~on[:-1]]]

    def first(self, event: s.Event, since: float) -> float:
        """First moment, not before `since` [s], at which something is true or happens; inf when it never does."""
        if isinstance(event, s.Line | s.Mark):
            return next((t for t in self.events(event) if t >= since), math.inf)
        truth = self.truth(event)
        rows = np.flatnonzero(truth.on & truth.known & (self.time >= since - 1e-9))
        return float(self.time[rows[0]]) if len(rows) else math.inf

    def lasted(self, condition: s.Held, since: float) -> float:
        """First moment at which something has been true for a time, counted from `since` [s] at the earliest."""
        part = self.truth(condition.part)
        on = part.on & part.known & (self.time >= since - 1e-9)
        rows = np.flatnonzero(held(on, self.time, condition.seconds))
        return float(self.time[rows[0]]) if len(rows) else math.inf

    def starts(self, unit: str) -> list[float]:
        """Moments at which a motor started [s]; by its counter, so that no start between two rows is missed."""
        name = counter_series(unit, "starts", self.units)
        values = self.values(name)
        if name.endswith(".starts"):
            rises = np.maximum(np.diff(values), 0.0)
            return [float(t) for t, n in zip(self.time[1:], rises, strict=True) for _ in range(round(n))]
        return [float(t) for t in self.time[1:][(values[1:] > 0.5) & (values[:-1] <= 0.5)]]

    # --- times ---

    def washing(self) -> np.ndarray:
        """Rows at which a wash plant washed; a row stands for the interval that ends at it."""
        on = np.zeros(len(self.time), dtype=bool)
        for start, stop in self.record.running:
            on |= (self.time > start + 1e-9) & (self.time <= stop + 1e-9)
        return on

    def spells(self, on: np.ndarray) -> list[tuple[float, float]]:
        """Unbroken spells of rows as start and stop [s]; each row stands for the interval that ends at it."""
        edges = np.flatnonzero(np.diff(np.concatenate(([False], on, [False])).astype(np.int8))).reshape(-1, 2)
        return [(float(self.time[max(a - 1, 0)]), float(self.time[b - 1])) for a, b in edges]


def compared(
    limit: s.Compare, values: np.ndarray, unit: str, other: np.ndarray | None = None
) -> tuple[np.ndarray, np.ndarray]:  # fmt: skip
    """How far values lie on the right side of a limit, in their unit, and whether they do.

    Parameters
    ----------
    limit : Compare
        The limit.
    values : ndarray
        The values, in `unit`.
    unit : str
        Their unit.
    other : ndarray, optional
        Values of the other quantity, for 'near'.

    Returns
    -------
    tuple of ndarray
        Room (negative: how far on the wrong side), and whether the comparison holds.
    """
    first = math.nan if limit.low is None else in_unit(limit.low, unit)
    with np.errstate(invalid="ignore"):
        match limit.how:
            case "under":
                return first - values, values < first
            case "at most":
                return first - values, values <= first
            case "over":
                return values - first, values > first
            case "at least":
                return values - first, values >= first
        assert limit.high is not None
        second = in_unit(limit.high, unit, limit.how == "near")
        if limit.how == "near":
            room = second - np.abs(values - (first if other is None else other))
        else:
            room = np.minimum(values - first, second - values)
        return room, room >= 0.0


def held(on: np.ndarray, time: np.ndarray, seconds: float) -> np.ndarray:
    """Rows at which something has been true, without a break, for a time [s]: an on-delay timer.

    >>> held(np.array([False, True, True, True]), np.array([0.0, 1.0, 2.0, 3.0]), 2.0).tolist()
    [False, False, False, True]
    """
    since = np.where(on, 0.0, -np.inf)
    begins = on & ~np.concatenate(([False], on[:-1]))
    since = np.maximum.accumulate(np.where(begins, time, -np.inf))
    return on & (time - since >= seconds - 1e-9)
