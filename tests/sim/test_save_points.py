"""A run restored from a save point goes on exactly as the unbroken one, with everything random in it at work."""

from __future__ import annotations

import functools

import numpy as np
import pytest
from plants import EVENTFUL, HOUR, build, named

from plantsim.sim.simulation import SavePoint, Simulation

# at 36000 a shift ends, the weather turns, two events and the hourly looks of three processes are due;
# the others lie before, after and between events
TICKS = (1, 3599, 3600, 36000, 36001, 48100, 52345)


@functools.cache
def unbroken(name: str) -> tuple[bytes, np.ndarray, list]:
    """Memory, rows and journal of twenty hours in one piece."""
    sim = Simulation(named(name), 3)
    sim.run(20 * HOUR)
    return sim.save().memory, sim.recorder.rows, sim.journal


@functools.cache
def saved(name: str, tick: int) -> tuple[SavePoint, tuple]:
    """A save point, and the journal up to it."""
    sim = Simulation(named(name), 3)
    sim.run(tick)
    return sim.save(), tuple(sim.journal)


def test_much_is_at_work():
    kinds = {note.kind for note in unbroken("eventful")[2]}
    assert kinds == {"shift", "face", "failure", "power", "delivery", "act", "rounds", "crew"}
    due = [note for note in unbroken("eventful")[2] if note.tick == 36000]
    assert len(due) >= 3


@pytest.mark.parametrize("tick", TICKS)
@pytest.mark.parametrize("name", ["eventful", "gravel-pit"])
def test_a_fresh_plant_restored_goes_on_as_the_unbroken_run(name, tick):
    memory, rows, journal = unbroken(name)
    point, before = saved(name, tick)
    sim = Simulation(named(name), 3)
    sim.restore(point)
    assert sim.tick == tick
    sim.run(20 * HOUR)
    assert sim.save().memory == memory
    first = -(-tick // 10)
    assert np.array_equal(sim.recorder.rows[first:], rows[first:])
    assert [*before, *sim.journal] == journal


@pytest.mark.parametrize("name", ["eventful", "gravel-pit"])
def test_one_plant_taken_back_runs_the_same_way_again(name):
    memory, rows, journal = unbroken(name)
    sim = Simulation(named(name), 3)
    sim.run(36000.0)
    point = sim.save()
    sim.run(15 * HOUR)
    sim.restore(point)
    assert sim.tick == 36000
    sim.run(20 * HOUR)
    assert sim.save().memory == memory
    assert np.array_equal(sim.recorder.rows, rows)
    assert sim.journal == journal


def test_a_save_point_is_no_window_on_the_running_plant():
    sim = Simulation(build(EVENTFUL), 3)
    sim.run(600.0)
    point = sim.save()
    kept = bytes(point.memory)
    sim.run(1200.0)
    assert point.memory == kept
    assert sim.save().memory != kept


def test_a_save_point_of_another_plant_is_refused():
    point, _ = saved("gravel-pit", 36000)
    with pytest.raises(ValueError, match="does not fit"):
        Simulation(build(EVENTFUL), 3).restore(point)
