"""What a run left behind, and the ways to ask it: counters, ledger, recorded rows, limits.

Totals come from what the plant itself counts (volumes over weirs, starts, joules), as the difference between
two states of its memory, so they are exact whatever the interval of recording. Means, percentiles and spells
come from the recorded series: each row stands for the interval that ends at it, the first row for none.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np

from plantsim import records
from plantsim.arena import Arena
from plantsim.plant.model import Limit, Model


@dataclass(frozen=True)
class Figure:
    """One figure of a run.

    Parameters
    ----------
    value : float
        Its value, in `unit`.
    unit : str
        Unit; 1 for a plain number.
    meaning : str
        What it says, in one sentence without a full stop.
    """

    value: float
    unit: str
    meaning: str


@dataclass
class Course:
    """What a run left behind: the plant at its start and end, and its recorded series.

    Parameters
    ----------
    model : Model
        The plant at the end.
    start : Arena
        Memory of the plant at the start.
    every : float
        Interval of recording [s].
    seconds : float
        Length of the run [s].
    series : mapping of str to ndarray
        Recorded quantities by name, SI, one number a row.
    shown : callable
        Gives scale and offset from SI to the unit in which a series is shown, by its name.
    """

    model: Model
    start: Arena
    every: float
    seconds: float
    series: Mapping[str, np.ndarray]
    shown: Callable[[str], tuple[float, float]]
    figures: dict[str, Figure] = field(default_factory=dict)

    @property
    def end(self) -> Arena:
        """Memory of the plant at the end."""
        return self.model.arena

    @property
    def density(self) -> float:
        """Density of the solids [kg/m3]."""
        return float(self.end.material["solids_density"][0])

    def add(self, name: str, value: float, unit: str, meaning: str) -> None:
        """Note a figure, unless its value has no meaning."""
        if math.isfinite(value):
            self.figures[name] = Figure(float(value), unit, meaning)

    def gained(self, array: str, index: int, quantity: str) -> float:
        """What a counter of the plant rose by over the run."""
        return float(self.end.arrays[array][quantity][index] - self.start.arrays[array][quantity][index])

    def booked(self, row: int) -> np.ndarray:
        """What one row of the ledger took up over the run, as a row of material."""
        return self.end.ledger[row] - self.start.ledger[row]

    def rows(self, name: str) -> np.ndarray | None:
        """A series without its first row; None when it is not recorded or too short."""
        values = self.series.get(name)
        return values[1:] if values is not None and len(values) > 1 else None

    def limit(self, channel: str) -> Limit | None:
        """The first limit drawn for a quantity."""
        return next((x for x in self.model.limits if x.channel == channel and x.kind == "limit"), None)

    def limit_si(self, channel: str) -> float | None:
        """The same as a number in SI; None when there is none."""
        limit = self.limit(channel)
        if limit is None:
            return None
        scale, offset = self.shown(channel)
        return (limit.value - offset) / scale


def ratio(part: float, whole: float) -> float:
    """A part over a whole; not a number when there is no whole."""
    return part / whole if whole > 0.0 else math.nan


def longest(flags: np.ndarray) -> int:
    """Length of the longest unbroken stretch of true values.

    >>> longest(np.array([True, False, True, True]))
    2
    """
    best = here = 0
    for flag in flags:
        here = here + 1 if flag else 0
        best = max(best, here)
    return best


def spans(flags: np.ndarray, every: float) -> list[tuple[float, float]]:
    """Stretches of true values as (start, stop) [s]; row k stands for the interval that ends at k `every`.

    >>> spans(np.array([False, True, True, False, True]), 10.0)
    [(0.0, 20.0), (30.0, 40.0)]
    """
    edges = np.flatnonzero(np.diff(np.concatenate(([False], flags[1:].astype(bool), [False])).astype(np.int8)))
    return [(float(a) * every, float(b) * every) for a, b in edges.reshape(-1, 2)]


def washing(course: Course) -> np.ndarray | None:
    """Rows (the first included, false) in which any wash plant runs; None when that is not recorded."""
    together: np.ndarray | None = None
    for name, (kind, _) in course.model.units.items():
        if kind != "source":
            continue
        values = course.series.get(f"{name}.running")
        if values is None:
            values = course.series.get(f"{name}.flow")
        if values is None:
            return None
        on = values > 0.0
        together = on if together is None else together | on
    if together is not None and len(together):
        together = together.copy()
        together[0] = False
    return together


def solids(row: np.ndarray) -> float:
    """All solids of a row of material [kg]."""
    return float(row[records.COARSE] + row[records.FINES] + row[records.COLLOID])
