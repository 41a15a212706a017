"""simpy's clock laid over the plant's: before each event the kernel brings the plant up to its tick."""

from __future__ import annotations

from collections.abc import Callable

import simpy


class PlantEnvironment(simpy.Environment):
    """A simpy environment whose time is the plant's integer tick.

    Only `step` is changed: it advances the plant to the time of the next event, then lets the event
    happen, so every event sees the plant at its own tick.

    Parameters
    ----------
    tick : int
        Tick to begin at.
    advance : callable
        Brings the plant to a tick.
    """

    def __init__(self, tick: int, advance: Callable[[int], None]) -> None:
        super().__init__(initial_time=tick)
        self._advance = advance

    def step(self) -> None:
        """Advance the plant to the next event, then process it."""
        due = self.peek()
        if due > self.now and due != float("inf"):
            self._advance(int(due))
        super().step()
