"""Simulated against wall time: counted from an anchor, so that rounding never adds up."""

from __future__ import annotations

import random

import pytest

from plantsim.live.pacing import BEHIND, Pace


class Clock:
    def __init__(self) -> None:
        self.now = 1000.0

    def __call__(self) -> float:
        return self.now


def walk(pace: Pace, clock: Clock, seconds: float, seed: int = 1) -> int:
    """Ask at uneven moments, as a busy machine does, and always go where the clock wants it."""
    chance, tick, end = random.Random(seed), 0, clock.now + seconds
    while clock.now < end:
        clock.now = min(end, clock.now + chance.uniform(0.001, 0.3))
        tick = pace.due(tick)
    return tick


@pytest.mark.parametrize(("speed", "step"), [(1.0, 1.0), (7.3, 1.0), (60.0, 0.5), (333.0, 1.0), (600.0, 0.25)])
def test_an_hour_of_uneven_looks_is_right_to_the_tick(speed: float, step: float) -> None:
    clock = Clock()
    pace = Pace(step, clock)
    pace.change(0, speed)
    pace.run(0)
    assert walk(pace, clock, 3600.0) == int(3600.0 * speed / step + 1e-6)
    assert pace.given_up == 0.0


def test_a_pause_and_another_speed_count_from_where_the_plant_is() -> None:
    clock = Clock()
    pace = Pace(1.0, clock)
    pace.change(0, 10.0)
    pace.run(0)
    clock.now += 1.5
    assert pace.due(0) == 15
    pace.pause(15)
    clock.now += 500.0
    assert pace.due(15) == 15
    pace.change(15, 60.0)
    pace.run(15)
    clock.now += 1.0
    assert pace.due(15) == 75


def test_a_run_with_an_end_stands_there() -> None:
    clock = Clock()
    pace = Pace(1.0, clock)
    pace.run(40, until=100)
    clock.now += 1.9
    assert pace.due(40) == 41
    clock.now += 58.1
    assert pace.due(99) == 100 and pace.arrived(100) and not pace.running


def test_a_machine_too_slow_says_so_and_does_not_run_after_the_clock() -> None:
    clock = Clock()
    pace = Pace(1.0, clock)
    pace.change(0, 100.0)
    pace.run(0)
    clock.now += 30.0  # the machine slept
    tick = pace.due(0)
    assert tick == pytest.approx(BEHIND * 100.0, abs=1)
    assert pace.given_up == pytest.approx(30.0 - BEHIND, abs=0.02)
    clock.now += 1.0
    assert pace.due(tick) == pytest.approx(tick + 100, abs=1)


def test_a_speed_beyond_the_range_is_refused() -> None:
    for speed in (0.5, 601.0):
        with pytest.raises(ValueError, match="allowed: 1 to 600"):
            Pace(1.0).change(0, speed)
