"""The same file and seed give the same bytes: in two processes, however it is recorded and in whatever pieces."""

from __future__ import annotations

import numpy as np
import pytest
from plants import DAY, HOUR, fingerprint, finish, named, start_process

from plantsim.sim.simulation import Simulation

PLANTS = ("eventful", "gravel-pit")


@pytest.mark.parametrize("name", PLANTS)
def test_two_processes_give_the_same_bytes(name):
    """Memory, recorded rows and journal of a day; the order of Python's sets and dicts plays no part."""
    here = fingerprint(name, 7, DAY)  # first, so that the kernel is compiled once and found by the others
    first = start_process(name, 7, DAY, PYTHONHASHSEED="1")
    second = start_process(name, 7, DAY, PYTHONHASHSEED="2")
    assert finish(first) == here
    assert finish(second) == here


@pytest.mark.parametrize("name", PLANTS)
def test_another_seed_gives_another_day(name):
    one, other = fingerprint(name, 7, 8 * HOUR), fingerprint(name, 8, 8 * HOUR)
    assert one["memory"] != other["memory"]
    assert one["rows"] != other["rows"]


@pytest.mark.parametrize("name", PLANTS)
@pytest.mark.parametrize("chunk", [1, 77, 10_000])
def test_the_length_of_kernel_calls_leaves_no_trace(name, chunk):
    until = 2.5 * HOUR if chunk == 1 else 14 * HOUR
    whole, pieces = Simulation(named(name), 3), Simulation(named(name), 3, chunk=chunk)
    whole.run(until)
    pieces.run(until)
    assert pieces.save().memory == whole.save().memory
    assert np.array_equal(pieces.recorder.rows, whole.recorder.rows)
    assert pieces.journal == whole.journal


@pytest.mark.parametrize("name", PLANTS)
def test_the_recording_interval_leaves_no_trace(name):
    often, seldom = Simulation(named(name), 3), Simulation(named(name, "site.record_every=60 s"), 3)
    often.run(14 * HOUR)
    seldom.run(14 * HOUR)
    assert seldom.save().memory == often.save().memory
    assert np.array_equal(seldom.recorder.rows, often.recorder.rows[::6])


@pytest.mark.parametrize("name", PLANTS)
def test_stops_on_the_way_leave_no_trace(name):
    """A run told to go on in odd pieces, ends of which fall before, at and after events."""
    whole, pieces = Simulation(named(name), 3), Simulation(named(name), 3)
    whole.run(12 * HOUR)
    for until in (1.0, 1799.0, 1800.0, 1801.0, 3600.0, 7200.0, 7200.0, 36000.0, 36001.0, 12 * HOUR):
        pieces.run(until)
        assert pieces.seconds == until
    assert pieces.save().memory == whole.save().memory
    assert np.array_equal(pieces.recorder.rows, whole.recorder.rows)
    assert pieces.journal == whole.journal
