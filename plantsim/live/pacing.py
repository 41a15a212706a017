"""Which tick a live plant should have reached, by the wall clock.

The tick is counted from an anchor, a pair of wall time and tick, never from the pass before: rounding does not add
up, so simulated time keeps to speed times wall time however often it is asked.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable

SLOWEST, FASTEST = 1.0, 600.0
"""Least and most simulated seconds in one second."""
BEHIND = 2.0
"""Time the plant may fall behind before the rest is given up [s]: a machine that is too slow says so, and does not
run after the clock in one long bound."""


class Pace:
    """Simulated against wall time.

    Parameters
    ----------
    step : float
        Length of a tick, [s]
    clock : callable
        Wall clock [s]; never goes back.
    """

    def __init__(self, step: float, clock: Callable[[], float] = time.monotonic) -> None:
        self.step = step
        self.speed = 1.0
        self.running = False
        self.given_up = 0.0
        """Wall time lost because the machine was too slow [s]."""
        self._clock = clock
        self._tick = 0
        self._wall = clock()
        self._stop: int | None = None

    def anchor(self, tick: int) -> None:
        """Count from this tick on."""
        self._tick, self._wall = tick, self._clock()

    def run(self, tick: int, until: int | None = None) -> None:
        """Let time run from a tick, for good or until another one."""
        self.anchor(tick)
        self.running, self._stop = True, until

    def pause(self, tick: int) -> None:
        """Let time stand."""
        self.anchor(tick)
        self.running, self._stop = False, None

    def change(self, tick: int, speed: float) -> None:
        """Another speed from this tick on."""
        if not SLOWEST <= speed <= FASTEST:
            raise ValueError(f"a speed of {speed:g}; allowed: {SLOWEST:g} to {FASTEST:g}")
        self.anchor(tick)
        self.speed = speed

    def due(self, tick: int) -> int:
        """Tick the plant should be at now; `tick` is where it is."""
        if not self.running:
            return tick
        per_tick = self.step / self.speed
        goal = self._tick + math.floor((self._clock() - self._wall) / per_tick + 1e-9)
        behind = (goal - tick) * per_tick
        if behind > BEHIND:
            self.given_up += behind - BEHIND
            goal = tick + math.floor(BEHIND / per_tick)
            self._tick, self._wall = goal, self._clock()
        if self._stop is not None and goal >= self._stop:
            goal = self._stop
        return max(goal, tick)

    def arrived(self, tick: int) -> bool:
        """Whether a run with an end has come to it; then time stands."""
        if self.running and self._stop is not None and tick >= self._stop:
            self.pause(tick)
            return True
        return False
