"""The list of changes: nothing lost when many alarms come at once, and the same however a run is cut in pieces."""

from __future__ import annotations

import json
import os
import subprocess
import sys

import numpy as np
from alarm_bench import Bench, alarm, busy, busy_model, fingerprint, model

from plantsim import records
from plantsim.kernels.loop import advance
from plantsim.plant.alarms import RING_LEAST
from plantsim.sim.simulation import Simulation

TOGGLING = """
PROGRAM toggling
VAR_OUTPUT level : REAL; {unit 'm'} END_VAR
level := SEL(level > 2.0, 4.0, 0.0);
END_PROGRAM
"""
CONTROL = "control:\n  toggling: {file: busy.st, every: 1 s, connect: {level: LY-101}}"
MANY = [alarm(f"LAH-{k}") for k in range(1, 101)]


def test_nothing_is_lost_when_a_hundred_alarms_change_in_every_tick():
    bench = Bench(*MANY, more=CONTROL, program=TOGGLING)
    assert len(bench.sim.model.arena.alarm_log) == 800
    bench.go(500)  # fifty thousand changes in what would be one kernel call
    log = bench.sim.alarm_log
    assert len(log) == 50_000
    assert [n.number for n in log] == list(range(50_000))
    assert [n.tick for n in log] == [tick for tick in range(500) for _ in MANY]
    assert [n.alarm for n in log] == [f"LAH-{k}" for _ in range(500) for k in range(1, 101)]
    calls = bench.sim.model.arena.alarm_s["count"]
    assert np.array_equal(calls, np.full(100, 250))
    assert sum(n.annunciated for n in log) == int(calls.sum())
    # and the kernel's early returns cost the record no row
    assert len(bench.sim.recorder.rows) == 51
    assert np.all(np.diff(bench.sim.recorder.series("tank.level")) > 0.0)


def test_a_small_plant_has_the_least_ring():
    assert len(Bench(alarm("LAH-1")).sim.model.arena.alarm_log) == RING_LEAST


def test_a_plant_without_alarms_has_no_ring_and_never_stops_for_it():
    sim = Simulation(model(more="control: {}"))
    sim.run(3600.0)
    assert (len(sim.model.arena.alarm_log), sim.tick, sim.alarm_log) == (0, 3600, [])


def test_a_loss_is_told_loudly():
    """Only a caller that never takes the changes out can lose any; then it is counted, noted and warned of."""
    sim = Simulation(busy_model())
    sim.recorder.reserve(1000)
    plant = sim.model.arena.plant(sim.model.code)
    while int(sim.model.arena.clock["notes_lost"][0]) == 0:
        assert advance(plant, 50, *sim.recorder.target()) == 0
    kept = len(sim.model.arena.alarm_log)
    sim.alarms.drain()
    assert [n.number for n in sim.alarm_log] == list(range(kept))
    (note,) = sim.journal
    assert note.kind == "alarm" and "were lost" in note.words
    assert sim.model.warnings == [note.words]
    assert sim.model.arena.clock["notes_lost"][0] == 0


def test_the_busy_plant_goes_every_way():
    ways = {(n.before, n.after) for n in busy(400.0).alarm_log}
    assert len(ways) >= 20
    assert {after for _, after in ways} == set(records.ALARM_STATES)


def test_the_same_log_however_the_run_is_cut():
    whole = fingerprint(400.0)
    assert fingerprint(400.0, chunk=7) == whole
    assert fingerprint(400.0) == whole


def test_interpreted_and_compiled_give_the_same_log():
    here = os.path.dirname(__file__)
    process = subprocess.run(
        [sys.executable, "-W", "error", os.path.join(here, "alarm_bench.py")], text=True, capture_output=True,
        env={**os.environ, "NUMBA_DISABLE_JIT": "1"}, cwd=os.path.join(here, "..", ".."), check=False,
    )  # fmt: skip
    assert process.returncode == 0, process.stderr
    assert json.loads(process.stdout) == fingerprint(400.0)


def test_a_restored_run_goes_on_as_the_unbroken_one():
    whole = busy(400.0)
    sim = Simulation(busy_model())
    sim.run(170.0)
    point = sim.save()
    before = list(sim.alarm_log)
    sim.run(400.0)
    after = list(sim.alarm_log)
    sim.restore(point)
    assert sim.alarm_log == before
    sim.run(400.0)
    assert sim.alarm_log == after
    fresh = Simulation(busy_model())
    fresh.restore(point)
    fresh.run(400.0)
    assert fresh.alarm_log == after[len(before):]
    assert len(whole.alarm_log) != len(after)  # what the operator did made a difference


def test_what_an_operator_did_before_a_save_point_is_kept_and_after_it_forgotten():
    bench = Bench(alarm("LAH-1"), alarm("LAH-2"))
    bench.level(3.5)
    bench.desk.acknowledge("LAH-1")
    point = bench.sim.save()
    bench.desk.acknowledge("LAH-2")
    assert len(bench.sim.alarm_log) == 4
    bench.sim.restore(point)
    assert [(n.alarm, n.by) for n in bench.sim.alarm_log] == [
        ("LAH-1", "plant"), ("LAH-2", "plant"), ("LAH-1", "operator")]  # fmt: skip
    assert bench.desk.states() == {"LAH-1": "acknowledged", "LAH-2": "unacknowledged"}


def test_an_act_takes_an_alarm_out_of_service_for_a_time():
    acts = "acts:\n  - {at: 10 s, set: LAH-1.out, to: on, for: 20 s, by: operator}"
    bench = Bench(alarm("LAH-1"), alarm("LAH-2"), more=acts)
    bench.level(1.0, 15)
    bench.level(3.5, 25)
    log = [(n.tick, n.alarm, n.after) for n in bench.sim.alarm_log]
    assert log == [(10, "LAH-1", "out of service"), (15, "LAH-2", "unacknowledged"), (30, "LAH-1", "unacknowledged")]
