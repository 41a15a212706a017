"""The pattern of everything that happens now and then: a process says when it is due next, and acts when it is.

All memory is in the agenda records of the process: the next due tick, the count of events so far, and one
number. Random draws are keyed by seed, process number and count, so they need no state of their own, and a
run restored from a save point goes on exactly as it would have.
"""

from __future__ import annotations

import datetime as dt
import math
from abc import ABC, abstractmethod
from bisect import bisect_right
from typing import TYPE_CHECKING, Any

import numpy as np

from plantsim.plant import plans

if TYPE_CHECKING:
    from plantsim.sim.simulation import Simulation

NEVER = -1
WEEK = 7 * 86400.0


def draw(seed: int, number: int, count: int) -> np.random.Generator:
    """Random generator of one event of one process."""
    return np.random.Generator(np.random.Philox(key=[seed & (2**64 - 1), (number << 40) + count]))


def week_seconds(when: dt.datetime) -> float:
    """Seconds since Monday 00:00."""
    return when.weekday() * 86400.0 + when.hour * 3600.0 + when.minute * 60.0 + when.second


def inside(spans: plans.Week, second: float) -> bool:
    """Whether a second of the week lies in one of the spans."""
    second %= WEEK
    return any(start <= second < stop for start, stop in spans)


def until_edge(spans: plans.Week, second: float) -> float:
    """Seconds from a second of the week to the next start or stop of a span."""
    second %= WEEK
    edges = sorted({e % WEEK for span in spans for e in span})
    if not edges:
        return math.inf
    i = bisect_right(edges, second + 1e-6)
    return (edges[i] if i < len(edges) else edges[0] + WEEK) - second


def until_open(spans: plans.Week, second: float) -> float:
    """Seconds from a second of the week until a span is open (0 when it is)."""
    second %= WEEK
    if inside(spans, second):
        return 0.0
    starts = sorted(start for start, _ in spans)
    later = [start for start in starts if start > second]
    return (later[0] if later else starts[0] + WEEK) - second


class Process(ABC):
    """One plan at work."""

    def __init__(self, plan: Any, number: int) -> None:
        self.plan = plan
        self.number = number

    def first(self, sim: Simulation) -> int:
        """Tick of the first event."""
        return 0

    @abstractmethod
    def fire(self, sim: Simulation, tick: int) -> int:
        """Act; return the tick of the next event, or NEVER."""

    def later(self, sim: Simulation, tick: int, seconds: float) -> int:
        """Tick some seconds on, at least one step ahead."""
        if math.isinf(seconds):
            return NEVER
        return tick + max(1, round(seconds / sim.model.step))

    def random(self, sim: Simulation) -> np.random.Generator:
        return draw(sim.seed, self.number, int(sim.model.arena.agenda["count"][self.number]))
