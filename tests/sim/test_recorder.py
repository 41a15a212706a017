"""What is recorded: the state at every tick of the interval, both ends included, in SI, and nothing invented."""

from __future__ import annotations

import numpy as np
import pytest
from plants import EVENTFUL, build, column

from plantsim.sim.simulation import Simulation


def test_rows_stand_at_even_times_with_both_ends():
    sim = Simulation(build(EVENTFUL), 1)
    sim.run(600.0)
    assert sim.recorder.rows.shape == (61, len(sim.model.channels))
    assert sim.recorder.time.tolist() == [10.0 * k for k in range(61)]
    sim.run(605.0)
    assert len(sim.recorder.rows) == 61
    sim.run(610.0)
    assert len(sim.recorder.rows) == 62
    assert np.isfinite(sim.recorder.rows).all()


def test_the_first_row_is_the_start():
    sim = Simulation(build(EVENTFUL), 1)
    level = sim.model.value("sump.level")
    sim.run(10.0)
    assert column(sim, "sump.level")[0] == level == pytest.approx(1.5)


def test_each_row_is_the_state_at_its_tick():
    """Integers too: what the memory holds as a whole number is recorded as that number."""
    watched = Simulation(build(EVENTFUL, "site.start=2027-04-05 09:00"), 1)
    stepped = Simulation(build(EVENTFUL, "site.start=2027-04-05 09:00"), 1)
    watched.run(3600.0)
    for k in (1, 7, 120, 360):
        stepped.run(10.0 * k)
        arena = stepped.model.arena
        for i, channel in enumerate(stepped.model.channels):
            held = arena.mem.view(np.int64)[channel.cell] if channel.integer else arena.mem[channel.cell]
            assert watched.recorder.rows[k, i] == float(held), channel.name
    assert {c.integer for c in stepped.model.channels} == {True, False}
    assert column(watched, "P-101.running").max() == 1.0
    assert column(watched, "P-101.starts").max() >= 1.0


def test_an_unknown_channel_is_refused():
    sim = Simulation(build(EVENTFUL), 1)
    with pytest.raises(KeyError):
        sim.recorder.series("sump.colour")


def test_channels_have_names_of_their_own_and_units():
    channels = build(EVENTFUL).channels
    names = [c.name for c in channels]
    assert len(set(names)) == len(names)
    assert all(c.unit and c.si_unit and c.meaning for c in channels)
    assert sum(name.startswith("clarifier.profile.") for name in names) == 20


def test_progress_is_told_and_a_fault_names_the_time():
    from plantsim.errors import RunFault

    sim = Simulation(build(EVENTFUL), 1, chunk=500)
    told: list[int] = []
    sim.progress = told.append
    sim.run(2000.0)
    assert told == sorted(told) and told[-1] == 2000
    assert max(np.diff([0, *told])) <= 500
    sim.model.arena.vessel_s["content"][0, 0] = np.nan
    with pytest.raises(RunFault, match=r"no longer finite at 2\d\d\d s"):
        sim.run(4000.0)
