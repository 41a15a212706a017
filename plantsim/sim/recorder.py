"""Dense recording: the kernel writes rows into an array laid out beforehand."""

from __future__ import annotations

import numpy as np

from plantsim.plant.model import Channel, Model

MOST_ROWS = 70_000
"""Rows of the longest record: a week at 10 s. Of a year they come every 10 minutes, so memory stays bounded."""
_ROUND = (1.0, 2.0, 5.0, 10.0, 20.0, 30.0, 60.0, 120.0, 300.0, 600.0, 1200.0, 1800.0, 3600.0)


def thin(model: Model, seconds: float) -> str:
    """Lengthen the interval of recording where a run is too long for it.

    Parameters
    ----------
    model : Model
        The plant, not yet running; its `record_every` may be changed.
    seconds : float
        Length of the run [s].

    Returns
    -------
    str
        What was done, in a sentence; empty when nothing was.

    Notes
    -----
    Rows are moments, not means: totals and counters of the plant are exact at any interval, percentiles and shares
    of time are those of the rows.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> year = SimpleNamespace(step=1.0, record_every=10)
    >>> thin(year, 365 * 86400.0)
    'Recorded every 600 s instead of every 10 s, as the run is long; totals stay exact.'
    >>> thin(SimpleNamespace(step=1.0, record_every=10), 7 * 86400.0)
    ''
    """
    asked = model.record_every * model.step
    if seconds / asked <= MOST_ROWS:
        return ""
    every = next((r for r in _ROUND if r > asked and seconds / r <= MOST_ROWS), seconds / MOST_ROWS)
    model.record_every = max(1, round(every / model.step))
    return (f"Recorded every {model.record_every * model.step:g} s instead of every {asked:g} s, as the run is long; "
            "totals stay exact.")  # fmt: skip


class Recorder:
    """Rows of all channels at an even interval of ticks; no state of the plant, and no effect on it.

    Parameters
    ----------
    model : Model
        The plant; its `channels` and `record_every` say what and how often.
    """

    def __init__(self, model: Model) -> None:
        self.channels: list[Channel] = model.channels
        self.every = model.record_every
        self.step = model.step
        self._cells = np.array([c.cell for c in model.channels], np.int64)
        self._integer = np.array([c.integer for c in model.channels], np.int64)
        self._rows = np.zeros((0, len(model.channels)))
        self._clock = model.arena.clock

    def reserve(self, tick: int) -> None:
        """Make room for every row up to a tick."""
        rows = tick // self.every + 1
        if rows > len(self._rows):
            grown = np.full((rows, len(self.channels)), np.nan)
            grown[: len(self._rows)] = self._rows
            self._rows = grown

    def target(self) -> tuple[np.ndarray, np.ndarray, np.ndarray, int]:
        """What the kernel is handed: rows, cells, which cells hold integers, ticks between rows."""
        return self._rows, self._cells, self._integer, self.every

    @property
    def rows(self) -> np.ndarray:
        """Recorded rows so far, shape (rows, channels), SI."""
        return self._rows[: int(self._clock["tick"][0]) // self.every + 1]

    def take(self) -> np.ndarray:
        """The recorded rows for good: the taker may change them, and the recorder has none any more."""
        rows, self._rows = self.rows, np.zeros((0, len(self.channels)))
        return rows

    @property
    def time(self) -> np.ndarray:
        """Time of each row [s]."""
        return np.arange(len(self.rows)) * (self.every * self.step)

    def series(self, name: str) -> np.ndarray:
        """One channel in SI.

        Raises
        ------
        KeyError
            If it is not recorded.
        """
        for i, channel in enumerate(self.channels):
            if channel.name == name:
                return self.rows[:, i]
        raise KeyError(name)
