"""Alarms of the demonstration plants: few on a day as it should be, the right ones when something breaks."""

from __future__ import annotations

import tempfile
from pathlib import Path

import pytest
from plants import DAY, HOUR, ROOT, named

from plantsim.analysis.alarm_figures import alarm_figures
from plantsim.plant.build import load_model
from plantsim.sim.simulation import Simulation


@pytest.mark.parametrize("name", ["gravel-pit", "small-sand", "high-lift"])
def test_a_working_day_keeps_the_targets_of_the_standard(name):
    """Far below one alarm an hour, and none that chatters, flits, floods or stays (ISA-18.2: about 144 a day)."""
    sim = Simulation(named(name), 1)
    sim.run(DAY)
    f = alarm_figures(sim.model.alarms, sim.alarm_log, DAY)
    assert f.annunciated <= 12
    assert (f.chattering, f.fleeting, f.floods, f.stale, f.standing) == ({}, {}, (), {}, {})
    assert f.most_in_any_period <= 4
    # what is suppressed by design speaks when the plant works: no alarm is silent all day
    assert all(time < 0.98 * DAY for time in f.suppressed.values()), f.suppressed


def test_lost_pumps_call_in_the_order_in_which_it_goes_wrong():
    """Three pumps trip within minutes of each other at 08:00: first the trips, then the level, then the held plant."""
    text = (ROOT / "configs" / "gravel-pit.yaml").read_text()
    acts = "".join(f"  - {{at: {150 + k} min, set: P-10{k + 1}.trip, to: on}}\n" for k in range(3))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "pit.yaml"
        path.write_text(f"{text}\nacts:\n{acts}")
        sim = Simulation(load_model(path), 1)
    sim.run(2.4 * HOUR)
    before = len(sim.alarm_log)
    sim.run(3.0 * HOUR)
    called = [(n.seconds / 60.0, n.alarm) for n in sim.alarm_log[before:] if n.annunciated]
    names = [name for _, name in called]
    assert names[:3] == ["YA-101", "YA-102", "YA-103"]
    assert [minutes for minutes, _ in called[:3]] == pytest.approx([150.0, 151.0, 152.0], abs=2.0 / 60.0)
    assert names.index("LAH-101") < names.index("LAHH-101")
    assert sim.alarms.first_out("sump") == "YA-101"
    assert sim.alarms.first_out("wash-stop") == "LAHH-101"
    assert sim.model.arena.source_s["running"][0] == 0  # and the wash plant has been held
