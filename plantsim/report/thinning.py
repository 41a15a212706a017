"""Long series made short enough to draw without losing a spike."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Thinned:
    """A series in spans: the middle, mean, least and greatest of each; of equal length."""

    time: np.ndarray
    mean: np.ndarray
    low: np.ndarray
    high: np.ndarray

    @property
    def banded(self) -> bool:
        """Whether least and greatest differ enough from each other to be seen."""
        spread = self.high - self.low
        if not np.isfinite(spread).any():
            return False
        span = np.nanmax(self.high) - np.nanmin(self.low)
        return bool(np.nanmax(spread) > 0.004 * span > 0)


def thin(time: np.ndarray, values: np.ndarray, most: int) -> Thinned:
    """Divide a series into at most `most` spans of equal numbers of rows and keep mean, least and greatest of each.

    Parameters
    ----------
    time : ndarray, shape (rows,)
        Rising times, [s]
    values : ndarray, shape (rows,)
        Values; NaN where there is none, [any]
    most : int
        Most spans wanted: the pixels of the picture, [-]

    Returns
    -------
    Thinned
        The rows themselves when there are no more than `most`, [s, any]

    Notes
    -----
    A mean alone would hide a spike of one row, and every n-th row would show it or not by luck; the least and
    greatest of each span keep it. A span without a value is NaN in all three.

    Examples
    --------
    >>> t = thin(np.arange(6.0), np.array([0.0, 0.0, 0.0, 9.0, 0.0, 0.0]), 2)
    >>> t.high.tolist(), t.mean.tolist()
    ([0.0, 9.0], [0.0, 3.0])
    """
    time = np.asarray(time, float)
    values = np.asarray(values, float)
    rows = len(values)
    if rows <= most:
        return Thinned(time, values, values, values)
    edges = np.unique(np.linspace(0, rows, most + 1).astype(int))[:-1]
    counts = np.diff(np.append(edges, rows))
    known = np.isfinite(values)
    kept = np.where(known, values, np.nan)
    number = np.add.reduceat(known.astype(float), edges)
    total = np.add.reduceat(np.where(known, values, 0.0), edges)
    mean = np.where(number > 0, total / np.maximum(number, 1.0), np.nan)
    middle = np.add.reduceat(time, edges) / counts
    return Thinned(middle, mean, np.fmin.reduceat(kept, edges), np.fmax.reduceat(kept, edges))


def thin_columns(time: np.ndarray, table: np.ndarray, most: int) -> tuple[np.ndarray, np.ndarray]:
    """Average the rows of a table over at most `most` spans: for profiles drawn as an image.

    Parameters
    ----------
    time : ndarray, shape (rows,)
        Rising times, [s]
    table : ndarray, shape (rows, columns)
        Values; NaN where there is none, [any]
    most : int
        Most spans wanted, [-]

    Returns
    -------
    edges, means : ndarray, ndarray
        Times at which spans begin and end, one more than spans, and the mean of each span, [s, any]
    """
    time = np.asarray(time, float)
    table = np.asarray(table, float)
    rows = len(table)
    step = (time[-1] - time[0]) / (rows - 1) if rows > 1 else 1.0
    starts = np.unique(np.linspace(0, rows, min(rows, most) + 1).astype(int))[:-1]
    known = np.isfinite(table)
    number = np.add.reduceat(known.astype(float), starts, axis=0)
    total = np.add.reduceat(np.where(known, table, 0.0), starts, axis=0)
    means = np.where(number > 0, total / np.maximum(number, 1.0), np.nan)
    return np.append(time[starts], time[-1] + step), means
