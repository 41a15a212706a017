"""A bump test as it was recorded: times, output, measurement, and what can be seen in them before any model.

Resampling rule: there is none. The output holds from its row to the next (zero-order hold) and the measurement is
compared at its own times, however uneven; a row without a measurement is left out, a row without an output keeps
the output before it. Only records of more than `MOST_ROWS` rows are thinned, by averaging neighbouring
measurements in blocks; the moves of the output keep their times.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from plantsim.errors import PlantsimError

MOST_ROWS = 4000
"""Measurements a fit works on; longer records are averaged in blocks down to this many."""
GAP = 5.0
"""An interval so many times the usual one is a gap."""


class RecordError(PlantsimError, ValueError):
    """Raised when a record cannot be read; carries every finding, one sentence each.

    Parameters
    ----------
    findings : list of str
        Sentences: file, line, what was found, what is allowed.
    """

    def __init__(self, findings: list[str] | str) -> None:
        self.findings = [findings] if isinstance(findings, str) else list(findings)
        super().__init__("\n".join(self.findings))


@dataclass(frozen=True)
class Move:
    """One move of the output: when, from where to where, and how long it was then held."""

    time: float
    before: float
    after: float
    hold: float

    @property
    def size(self) -> float:
        """Signed size [unit of the output]."""
        return self.after - self.before


@dataclass(frozen=True)
class Record:
    """A recorded bump test.

    Parameters
    ----------
    time : ndarray
        Times of the rows, rising [s].
    u : ndarray
        Output of the controller, held from each row to the next [u_unit].
    y : ndarray
        Measurement; not a number where there is none [y_unit].
    u_unit, y_unit : str
        Units of output and measurement: values stay in them, so that gains come out as the controller shows them.
    name : str
        Where the record is from.
    start : datetime or None
        Clock time of `time` = 0, where the record has one.
    notes : tuple of str
        What was done to the record while reading it.
    """

    time: np.ndarray
    u: np.ndarray
    y: np.ndarray
    u_unit: str = "1"
    y_unit: str = "1"
    name: str = "record"
    start: dt.datetime | None = None
    notes: tuple[str, ...] = ()

    @property
    def gain_unit(self) -> str:
        """Unit of a gain: that of the measurement over that of the output."""
        if self.u_unit == "1":
            return self.y_unit
        over, under = (f"({unit})" if "/" in unit else unit for unit in (self.y_unit, self.u_unit))
        return f"{over}/{under}"

    @property
    def duration(self) -> float:
        """Time from the first row to the last [s]."""
        return float(self.time[-1] - self.time[0])

    @property
    def interval(self) -> float:
        """Usual (median) interval between rows [s]."""
        return float(np.median(np.diff(self.time)))

    @property
    def known(self) -> np.ndarray:
        """Rows that have a measurement."""
        return np.isfinite(self.y)

    def changes(self) -> tuple[np.ndarray, np.ndarray]:
        """Times [s] and sizes [u_unit] of every change of the output, however small."""
        delta = np.diff(self.u)
        at = np.flatnonzero(delta)
        return self.time[at + 1], delta[at]

    def window(self, start: float = -math.inf, end: float = math.inf) -> Record:
        """Part of the record between two times [s], both included."""
        inside = (self.time >= start) & (self.time <= end)
        if inside.sum() < 3:
            raise RecordError(f"{self.name}: found {int(inside.sum())} rows between the times asked for; "
                              "allowed: at least 3")  # fmt: skip
        return replace(self, time=self.time[inside], u=self.u[inside], y=self.y[inside])

    def without(self, rows: np.ndarray) -> Record:
        """The record with the measurements of some rows taken as missing."""
        return replace(self, y=np.where(rows, math.nan, self.y))

    def samples(self) -> tuple[np.ndarray, np.ndarray]:
        """Times [s] and values [y_unit] of the measurements a fit works on, thinned by the rule of this module."""
        t, y = self.time[self.known], self.y[self.known]
        block = -(-len(t) // MOST_ROWS)
        if block <= 1:
            return t, y
        firsts = np.arange(0, len(t), block)
        counts = np.diff(np.append(firsts, len(t)))
        return np.add.reduceat(t, firsts) / counts, np.add.reduceat(y, firsts) / counts

    def moves(self) -> list[Move]:
        """Moves of the output that stand out from its noise, ramps of a few rows taken as one; see `find_moves`."""
        return find_moves(self.time, self.u)

    def noise(self) -> float:
        """Standard deviation of the fast noise of the measurement [y_unit]; see `noise`."""
        return noise(self.time[self.known], self.y[self.known])

    def gaps(self) -> list[tuple[float, float]]:
        """Starts and lengths [s] of the gaps between measurements."""
        t = self.time[self.known]
        steps = np.diff(t)
        return [(float(t[i]), float(steps[i])) for i in np.flatnonzero(steps > GAP * np.median(steps))]

    def drift_before(self) -> tuple[float, float]:
        """Slope of the measurement before the first move, and its standard error [y_unit/s].

        Ordinary least squares on the rows before the first move; both are not a number with fewer than 8 of them.
        The error is that of white noise, so slow noise makes it too small.
        """
        moves = self.moves()
        rows = self.known & (self.time < moves[0].time) if moves else self.known
        t, y = self.time[rows], self.y[rows]
        if len(t) < 8:
            return math.nan, math.nan
        x = t - t.mean()
        slope = float(x @ y / (x @ x))
        rest = y - y.mean() - slope * x
        return slope, math.sqrt(float(rest @ rest) / (len(t) - 2) / float(x @ x))


def make_record(
    time: Sequence[float] | np.ndarray, u: Sequence[float] | np.ndarray, y: Sequence[float] | np.ndarray,
    u_unit: str = "1", y_unit: str = "1", name: str = "record",
) -> Record:  # fmt: skip
    """Build a record from arrays.

    Parameters
    ----------
    time : array_like
        Times, rising [s].
    u : array_like
        Output, held from each time to the next; not a number keeps the one before [u_unit].
    y : array_like
        Measurement; not a number is a gap [y_unit].
    u_unit, y_unit, name : str
        Units and name.

    Returns
    -------
    Record
    """
    t, out, meas = (np.array(values, dtype=float) for values in (time, u, y))
    if not t.ndim == out.ndim == meas.ndim == 1 or not len(t) == len(out) == len(meas):
        raise RecordError(f"{name}: found {t.shape}, {out.shape} and {meas.shape} values of time, output and "
                          "measurement; allowed: three lists of one length")  # fmt: skip
    if np.isfinite(meas).sum() < 3:
        raise RecordError(f"{name}: found {int(np.isfinite(meas).sum())} measurements; allowed: at least 3")
    if not np.isfinite(t).all() or (np.diff(t) <= 0).any():
        row = int(np.flatnonzero(~(np.diff(t) > 0))[0]) + 1
        raise RecordError(f"{name}: found at row {row} a time not later than the one before; allowed: times that rise")
    if not np.isfinite(out[0]):
        raise RecordError(f"{name}: found no output in the first row; allowed: a number, as later gaps keep the "
                          "output before them")  # fmt: skip
    held = np.maximum.accumulate(np.where(np.isfinite(out), np.arange(len(out)), 0))
    return Record(t, out[held], np.where(np.isfinite(meas), meas, math.nan), u_unit, y_unit, name)


def noise(time: np.ndarray, y: np.ndarray) -> float:
    """Estimate fast noise by how far each sample lies from the line between its neighbours.

    The deviation of white noise from that line has the variance (1 + a^2 + b^2) sigma^2 with the weights a, b of
    the neighbours (6/4 at even sampling: the classic second difference); the median of the deviations makes the
    estimate blind to steps, spikes and up to half of the record. Samples beside a gap are left out.

    Parameters
    ----------
    time : ndarray
        Times [s].
    y : ndarray
        Measurements.

    Returns
    -------
    float
        Standard deviation, in the unit of `y`.

    Notes
    -----
    Slow noise is not seen by neighbours, so the estimate is a lower bound when noise is coloured. Where the median
    is nothing, because a coarse transmitter repeats its values, the root mean square is taken instead.

    References
    ----------
    Gasser, Sroka, Jennen-Steinmetz, "Residual variance and residual pattern in nonlinear regression", Biometrika 73
    (1986), 625-633 (from memory).
    """
    if len(y) < 5:
        return math.nan
    left, right = np.diff(time)[:-1], np.diff(time)[1:]
    near = np.maximum(left, right) <= GAP * np.median(np.diff(time))
    a, b = right / (left + right), left / (left + right)
    off = ((y[1:-1] - a * y[:-2] - b * y[2:]) / np.sqrt(1.0 + a * a + b * b))[near]
    if not len(off):
        return math.nan
    robust = 1.4826 * float(np.median(np.abs(off)))
    return robust if robust > 0 else math.sqrt(float(np.mean(off * off)))


def find_moves(time: np.ndarray, u: np.ndarray) -> list[Move]:
    """Find the moves of an output that stand out from its own noise.

    A change from row to row counts when it is above five standard deviations of the noise of the output and above
    1 % of its span; where none does, every change above 1 % of the span counts. Changes of one direction with no
    more than three rows between them are one move: the ramp of a slow positioner, placed where it began.

    Parameters
    ----------
    time : ndarray
        Times [s].
    u : ndarray
        Output.

    Returns
    -------
    list of Move
        In order of time; before and after are medians of the holds.
    """
    delta = np.diff(u)
    off = np.abs(np.diff(u, 2))
    sigma = 1.4826 * float(np.median(off)) / math.sqrt(6.0) if len(off) else 0.0
    large = np.abs(delta) > max(5.0 * math.sqrt(2.0) * sigma, 0.01 * float(np.ptp(u)))
    if not large.any():  # an output that wanders has no steps that stand out: all its changes are its moves
        sigma, large = 0.0, np.abs(delta) > 0.01 * float(np.ptp(u))
    groups: list[list[int]] = []
    for i in np.flatnonzero(large):
        if groups and i - groups[-1][-1] <= 3 and delta[i] * delta[groups[-1][-1]] > 0 and sigma == 0.0:
            groups[-1].append(int(i))
        else:
            groups.append([int(i)])
    firsts = [group[0] + 1 for group in groups]
    lasts = [group[-1] + 1 for group in groups]
    moves = []
    for k, (first, last) in enumerate(zip(firsts, lasts)):
        begin = lasts[k - 1] if k else 0
        end = firsts[k + 1] if k + 1 < len(groups) else len(u)
        until = float(time[end] if end < len(u) else time[-1])
        moves.append(Move(float(time[first]), float(np.median(u[begin:first])), float(np.median(u[last:end])),
                          until - float(time[first])))  # fmt: skip
    return moves
