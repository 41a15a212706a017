"""Random shifts: the inflow of a sump over weeks or a year, drawn from a seed, as sites are run.

The calendar is the plant file's. What a calendar does not say is drawn: how many wash streams run in a shift, late
starts, shifts that fall out, stops in between, the slow wander of the feed; and what comes beside the dirty water:
wash-down after each shift, rain on paved ground, water let off the mud cells. None of this has a published source: the
shares are common practice and to be replaced by a site's own log. Settled solids are not in it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from plantsim.analysis.sizing.result import NotSized, positive

Week = tuple[tuple[float, float], ...]
WEEK = 7 * 86400.0
HOUR = 3600.0
GRID = 120.0
"""Time between two values of the inflow [s]; between them it is a straight line."""
DAY_LAG = 86400.0
"""Mean delay of the water that mud cells let off [s]."""
LONGEST_SHIFT = 10.0 * HOUR
"""A span of the calendar longer than this is more than one shift [s]."""


@dataclass(frozen=True)
class Shifts:
    """How a sump is fed.

    Attributes
    ----------
    full : float
        Dirty water with every wash stream running, [m3/s]
    calendar, pauses : tuple
        Spans of a week, from Monday 0:00; an empty calendar washes always, [s]
    begin : float
        Start of the run within its week, [s]
    streams : int
        Wash streams that can run alone, each an equal part, [-]
    part_load : float
        Share of the shifts that run with fewer than all streams, [-]
    wander, wander_time : float
        Standard deviation of the slow wander of the feed and its time constant, [-], [s]
    stop_every, stop_time : float
        Mean washing time between stops of a stream and mean length of one, [s]
    late : float
        Greatest delay of a shift's start, [s]
    idle : float
        Share of the shifts that fall out, [-]
    wash_down, wash_down_time : float
        Hose water after a shift as a part of the full flow, and how long, [-], [s]
    decant : float
        Water let off the mud cells for each part of dirty water, after a mean delay of a day, [-]
    paved : float
        Ground whose rain runs into the sump, [m2]
    rain : callable or None
        Rain [m/s] at a time [s] from the start of the run
    """

    full: float
    calendar: Week = ()
    pauses: Week = ()
    begin: float = 0.0
    streams: int = 2
    part_load: float = 0.3
    wander: float = 0.06
    wander_time: float = 2400.0
    stop_every: float = 4.0 * HOUR
    stop_time: float = 10.0 * 60.0
    late: float = 20.0 * 60.0
    idle: float = 0.03
    wash_down: float = 0.1
    wash_down_time: float = 30.0 * 60.0
    decant: float = 0.0
    paved: float = 0.0
    rain: Callable[[float], float] | None = field(default=None, compare=False)

    def __post_init__(self) -> None:
        positive(dirty_water=self.full, wander_time=self.wander_time, stop_every=self.stop_every,
                 stop_time=self.stop_time)  # fmt: skip
        if not 1 <= self.streams <= 6:
            raise NotSized(f"found {self.streams} wash streams; allowed: 1 to 6")
        if not (0.0 <= self.part_load <= 1.0 and 0.0 <= self.idle < 1.0):
            raise NotSized("found a share of shifts outside 0 to 1; allowed: 0 % to 100 %")
        if min(self.wander, self.late, self.wash_down, self.wash_down_time, self.decant, self.paved) < 0.0:
            raise NotSized("found a wander, delay, wash-down, decant or paved ground below 0; allowed: 0 or more")


@dataclass(frozen=True)
class Inflow:
    """Inflow over time, straight between its values: seconds from the start of the run, and flow [m3/s]."""

    time: np.ndarray
    flow: np.ndarray

    def at(self, seconds: float) -> float:
        """Flow at a time [m3/s]."""
        return float(np.interp(seconds, self.time, self.flow))

    def bends(self) -> Inflow:
        """The same flow with few values: none that lies within a thousandth of the peak of a line already begun."""
        allowed = 1e-3 * float(self.flow.max())
        kept = [0]
        low, high = -np.inf, np.inf
        for k in range(1, len(self.time)):
            first = kept[-1]
            span = self.time[k] - self.time[first]
            slope = (self.flow[k] - self.flow[first]) / span
            if not low <= slope <= high:
                kept.append(k - 1)
                first = k - 1
                span = self.time[k] - self.time[first]
                slope = (self.flow[k] - self.flow[first]) / span
                low, high = -np.inf, np.inf
            low, high = max(low, slope - allowed / span), min(high, slope + allowed / span)
        kept.append(len(self.time) - 1)
        return Inflow(self.time[kept], self.flow[kept])


def draw(plan: Shifts, seconds: float, seed: int = 1) -> Inflow:
    """Draw the inflow of a sump.

    Parameters
    ----------
    plan : Shifts
        How it is fed.
    seconds : float
        Time to draw, [s]
    seed : int
        Key of the random shifts; the same seed draws the same.

    Returns
    -------
    Inflow
        On a grid of two minutes, [s], [m3/s]
    """
    positive(time_drawn=seconds)
    if seed < 0:
        raise NotSized(f"found seed {seed}; allowed: 0 or more")
    random = np.random.default_rng([seed, 0x5B1F7])
    time = GRID * np.arange(int(np.ceil(seconds / GRID)) + 1)
    running = np.zeros(len(time))
    hose = np.zeros(len(time))
    for start, end in _shifts(plan, float(time[-1])):
        if random.random() < plan.idle:
            continue
        start += plan.late * random.random()
        count = plan.streams
        if plan.streams > 1 and random.random() < plan.part_load:
            count = int(random.integers(1, plan.streams))
        for _ in range(count):
            for a, b in _without_stops(random, start, end, plan):
                running[_span(a, b)] += 1.0 / plan.streams
        hose[_span(end, end + plan.wash_down_time)] = plan.wash_down
    clock = (plan.begin + time) % WEEK
    for a, b in plan.pauses:
        running[(clock >= a) & (clock < b)] = 0.0
    washed = plan.full * np.minimum(running, 1.0) * _wander(random, plan, len(time))
    flow = washed + plan.full * hose
    if plan.decant > 0.0:
        flow += plan.decant * _delayed(washed, DAY_LAG)
    if plan.rain is not None and plan.paved > 0.0:
        hours = np.array([plan.rain(HOUR * k) for k in range(int(time[-1] // HOUR) + 1)])
        flow += plan.paved * hours[(time // HOUR).astype(int)]
    return Inflow(time, flow)


def _span(a: float, b: float) -> slice:
    return slice(max(0, int(np.ceil(a / GRID))), max(0, int(np.ceil(b / GRID))))


def _shifts(plan: Shifts, seconds: float) -> list[tuple[float, float]]:
    """Start and end of each shift, in time from the start of the run."""
    calendar = plan.calendar or ((0.0, WEEK),)
    out = []
    for week in range(int((plan.begin + seconds) // WEEK) + 1):
        for a, b in calendar:
            n = int(np.ceil((b - a) / LONGEST_SHIFT))
            for k in range(n):
                start = week * WEEK + a + (b - a) * k / n - plan.begin
                end = start + (b - a) / n
                if end > 0.0 and start < seconds:
                    out.append((start, end))
    return out


def _without_stops(
    random: np.random.Generator, start: float, end: float, plan: Shifts
) -> list[tuple[float, float]]:  # fmt: skip
    """A shift of one stream, with its stops cut out."""
    out = []
    at = start
    while at < end:
        stop = at + random.exponential(plan.stop_every)
        out.append((at, min(stop, end)))
        at = stop + random.exponential(plan.stop_time)
    return out


def _wander(random: np.random.Generator, plan: Shifts, n: int) -> np.ndarray:
    """Slow wander of the feed about 1 (Ornstein and Uhlenbeck 1930, exact discrete form)."""
    from scipy.signal import lfilter

    a = float(np.exp(-GRID / plan.wander_time))
    noise = plan.wander * np.sqrt(1.0 - a * a) * random.standard_normal(n)
    return np.maximum(0.0, 1.0 + np.asarray(lfilter([1.0], [1.0, -a], noise)))


def _delayed(flow: np.ndarray, lag: float) -> np.ndarray:
    """First-order lag, started in its mean."""
    from scipy.signal import lfilter

    a = float(np.exp(-GRID / lag))
    return np.asarray(lfilter([1.0 - a], [1.0, -a], flow, zi=[a * float(flow.mean())])[0])
