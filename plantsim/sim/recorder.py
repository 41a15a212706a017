"""Dense recording: the kernel writes rows into an array laid out beforehand."""

from __future__ import annotations

import numpy as np

from plantsim.plant.model import Channel, Model


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
