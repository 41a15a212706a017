"""Lines: trips, drain-back, check valves, shut ends, sand and mud, leaks, injection, books."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from line_rig import CURVE, LineRig

from plantsim.kernels.line import _bingham_friction, wall_stress
from plantsim.physics.rheology import bingham_gradient, bingham_wall_stress
from plantsim.records import (
    COARSE,
    FINES,
    OUT_SPILL,
    POLY,
    VOLUME,
    WARN_CURVE,
    WARN_LOW,
    WARN_SLOW,
    WARN_SUCTION,
)

G = 9.80665


def running(branches=(1,), level=1.0, **rig):
    """A line that has run to its steady state, all pumps at full speed."""
    line = LineRig(branches, **rig)
    line.offer(level=level)
    line.speed(*[1.0] * sum(branches))
    line.run(900)
    return line


@pytest.mark.parametrize("seed", range(4))
def test_books_close_to_rounding_whatever_happens(seed):
    rng = np.random.default_rng(seed)
    line = LineRig(
        (1, 2), check_valve=0, branch_check=seed % 2, gate=0, valve=0, valve_kv=400.0, deposit_factor=1.2,
        lift=8.0, length=120.0, injections=0, n_injections=1,
    )  # fmt: skip
    a = line.arena
    a.line_p["gate"][0] = a.cell("tags", 0)
    a.plug_p["mixing"][0] = 0.2 * (seed % 2)
    before = line.store()
    flags = 0
    for _ in range(250):
        line.offer(
            level=rng.uniform(0.0, 2.0), temperature=rng.uniform(2.0, 30.0), coarse=rng.uniform(0.0, 60.0),
            fines=rng.uniform(0.0, 60.0), colloid=rng.uniform(0.0, 3.0), clay=rng.uniform(0.0, 1.0),
            coagulant=rng.uniform(0.0, 0.05),
        )  # fmt: skip
        line.available = rng.choice([1e9, 0.02, 0.0], p=[0.8, 0.1, 0.1])
        a.tags[0] = rng.random() < 0.9
        a.actuator_s["position"][0] = rng.choice([1.0, 0.3, 0.0], p=[0.7, 0.2, 0.1])
        line.f["leak"] = rng.choice([0.0, 0.2])
        line.f["block"] = rng.choice([0.0, 0.3])
        line.speed(*rng.choice([0.0, 0.6, 1.0], 3))
        a.streams[2] = 0.0
        a.streams[2, VOLUME] = rng.choice([0.0, 1e-4])
        a.streams[2, POLY] = 0.5 * a.streams[2, VOLUME]
        line.s["plugged"] = 0.0
        flags |= line.run(int(rng.integers(1, 60)), books=True)
        assert line.arena.plug_s["filled"][0] <= line.volume * (1 + 1e-9)
    line.check_books(before)
    assert flags & WARN_LOW and flags & WARN_SLOW
    assert line.s["drained"] > 0.0 and line.s["deposit"] > 0.0
    assert a.ledger[OUT_SPILL, VOLUME] > 0.0
    assert (a.parcels[:-1] >= 0.0).all()  # the last row is for mixing the inlet
    assert np.isfinite(a.mem).all()


def test_what_comes_back_is_what_went_up_last():
    line = LineRig((1,), check_valve=0, branch_check=0, length=200.0, lift=15.0)
    line.speed(1.0)
    line.offer(level=0.0, fines=1.0)
    line.run(900)
    line.offer(level=0.0, fines=9.0)
    line.run(20)
    line.speed(0.0)
    while line.s["flow"] >= 0.0:
        line.run(1)
    line.run(3)
    back = line.arena.streams[0]
    assert back[VOLUME] == pytest.approx(line.s["flow"])
    assert back[FINES] / back[VOLUME] == pytest.approx(9.0, rel=1e-6)
    assert line.s["delivered"] == 0.0
    # the young water is gone after its volume, then the old comes
    line.run(120)
    assert back[FINES] / back[VOLUME] == pytest.approx(1.0, rel=1e-6)


def test_drain_back_volume():
    # the line climbs evenly: what stands above the level of the source drains, the rest stays
    line = LineRig((1,), check_valve=0, branch_check=0, length=400.0, lift=20.0)
    line.speed(0.0)
    line.offer(level=2.0)
    before = line.store()
    line.run(4000, books=True)
    line.check_books(before)
    assert line.arena.plug_s["filled"][0] == pytest.approx(line.volume * 2.0 / 20.0, rel=2e-3)
    assert line.got[0, VOLUME] == pytest.approx(-line.volume * 0.9, rel=2e-3)
    assert abs(line.s["velocity"]) < 1e-3
    # started again, it delivers nothing until it is full, and the first water needs less head
    line.speed(1.0)
    line.run(10)
    assert line.s["flow"] > 0.0
    assert line.s["delivered"] == 0.0
    assert line.s["static_head"] < 10.0
    missing = line.volume - line.arena.plug_s["filled"][0]
    while line.s["delivered"] == 0.0:
        missing -= line.s["flow"]
        line.run(1)
    assert missing == pytest.approx(0.0, abs=0.2)


@pytest.mark.parametrize("where", ["line", "branch"])
def test_a_check_valve_keeps_the_column(where):
    line = LineRig((1,), check_valve=int(where == "line"), branch_check=int(where == "branch"))
    line.speed(1.0)
    line.run(600)
    line.speed(0.0)
    line.run(200, books=True)
    assert line.s["flow"] == 0.0
    assert (line.got[0] >= 0.0).all()
    assert line.arena.plug_s["filled"][0] == pytest.approx(line.volume)
    assert line.s["standing"] > 150.0


def test_column_keeps_moving_for_a_while_when_the_pump_stops():
    # without static head nothing but friction stops it: dv/dt = -g h_f / L, the first second's loss
    line = running(lift=0.0, level=0.0)
    v, loss = float(line.s["velocity"]), float(line.s["friction_head"])
    line.arena.pump_p["stopped_k"][0] = 0.0
    line.speed(0.0)
    line.run(1, dt=0.1)
    assert (v - line.s["velocity"]) / 0.1 == pytest.approx(G * loss / 1000.0, rel=0.02)
    line.run(100)
    assert 0.0 < line.s["velocity"] < 0.5 * v


def test_when_one_of_a_series_pair_trips_the_other_does_not_beat_the_lift():
    line = running((2,), lift=60.0)
    assert line.s["flow"] > 0.02
    line.speed(1.0, 0.0)
    line.run(300)
    assert line.s["flow"] == 0.0
    assert line.s["pump_head"] == pytest.approx(45.0)
    assert line.s["pressure"] == pytest.approx(line.s["density"] * G * (1.0 + 45.0))
    # on a low lift it goes on, through the standing one
    line = running((2,), lift=20.0)
    both = float(line.s["flow"])
    line.speed(1.0, 0.0)
    line.run(300)
    assert 0.3 * both < line.s["flow"] < both
    assert line.arena.pump_s["head"][1] == pytest.approx(-2000.0 * line.s["flow"] ** 2, rel=1e-9)


def test_standby_behind_its_check_valve_and_without():
    line = running((1, 1))
    line.speed(1.0, 0.0)
    line.run(600)
    alone = running((1,))
    assert line.s["flow"] == pytest.approx(alone.s["flow"], rel=1e-6)
    assert line.arena.branch_s["flow"][1] == 0.0
    # without check valves water runs round through the standing pump, H = k q^2, and the line gets the rest
    leaky = running((1, 1), branch_check=0, k=1e5)
    leaky.speed(1.0, 0.0)
    leaky.run(600)
    out, back = leaky.arena.branch_s["flow"]
    assert back == pytest.approx(-np.sqrt(leaky.s["pump_head"] / 1e5), rel=1e-6)
    assert out + back == pytest.approx(leaky.s["flow"], rel=1e-9)
    assert 0.0 < leaky.s["flow"] < 0.9 * alone.s["flow"]
    assert leaky.s["pump_head"] == pytest.approx(np.interp(out, *CURVE[:2]), rel=1e-6)


@pytest.mark.parametrize("shut", [False, True])
def test_water_runs_round_while_the_line_stands(shut):
    # so easy a way round that the pump cannot keep up the lift; the line's own check valve closes
    leaky = running((1, 1), branch_check=0, k=1e4, lift=40.0)
    leaky.s["plugged"] = float(shut)
    leaky.speed(1.0, 0.0)
    leaky.run(600)
    assert leaky.s["flow"] == 0.0
    out, back = leaky.arena.branch_s["flow"]
    assert out == pytest.approx(-back, rel=1e-9)
    assert leaky.s["pump_head"] == pytest.approx(1e4 * back**2, rel=1e-6)
    assert leaky.s["pump_head"] == pytest.approx(np.interp(out, *CURVE[:2]), rel=1e-6)


def test_unlike_branches_meet_at_one_head():
    line = running((2, 1, 1), lift=30.0)
    line.arena.pump_f["wear"][3] = 0.1
    line.run(300)
    heads = [np.interp(q, CURVE[0], CURVE[1]) for q in line.arena.branch_s["flow"]]
    weight = [2.0, 1.0, 0.9]
    for head, times, flow in zip(heads, weight, line.arena.branch_s["flow"]):
        if flow > 0.0:
            assert head * times == pytest.approx(line.s["pump_head"], rel=1e-6)
        else:
            assert 45.0 * times <= line.s["pump_head"]
    assert (line.arena.branch_s["flow"] > 0.0).sum() >= 1


def test_affinity_wear_clog_and_solids():
    base = running()
    flow = base.s["flow"]

    def head(q, n=1.0):
        return n * n * np.interp(q / n, CURVE[0], CURVE[1])

    assert base.s["pump_head"] == pytest.approx(head(flow), rel=1e-9)
    slow = LineRig((1,))
    slow.offer(level=1.0)
    slow.speed(0.85)
    slow.run(900)
    assert slow.s["pump_head"] == pytest.approx(head(slow.s["flow"], 0.85), rel=1e-9)
    base.f, pump = base.arena.line_f[0], base.arena.pump_f[0]
    pump["wear"] = 0.1
    base.run(300)
    assert base.s["pump_head"] == pytest.approx(0.9 * head(base.s["flow"]), rel=1e-9)
    pump["wear"], pump["clog"] = 0.0, 0.5
    base.run(300)
    assert base.s["pump_head"] == pytest.approx(head(2.0 * base.s["flow"]), rel=1e-9)
    pump["clog"] = 0.0
    base.arena.pump_p["derate"][0] = 1.5
    base.offer(level=1.0, fines=265.0)  # a tenth by volume
    base.run(900)
    assert base.s["pump_head"] == pytest.approx(0.85 * head(base.s["flow"]), rel=1e-9)


def test_power_grows_with_density():
    line = running()
    q = line.s["flow"]
    eta = np.interp(q, CURVE[0], CURVE[2])
    assert line.arena.pump_s["power"][0] == pytest.approx(line.s["density"] * G * q * line.s["pump_head"] / eta)
    assert line.arena.pump_s["efficiency"][0] == pytest.approx(eta)
    line.arena.line_p["gate"][0] = line.arena.cell("tags", 0)  # shut: the power near shut-off is not zero
    line.run(5)
    assert line.s["flow"] == 0.0
    p1, p2 = 0.02 * 44.0 / 0.45, 0.04 * 40.0 / 0.65
    assert line.arena.pump_s["power"][0] == pytest.approx(line.s["density"] * G * (2.0 * p1 - p2))
    line.arena.pump_p["min_flow"][0] = 0.01
    line.run(7)
    assert line.arena.pump_s["low_flow_time"][0] == 7.0


def test_a_heavy_column_needs_more_head_than_the_pump_sees_at_first():
    # water behind a column of slurry: the pump's head counts in water, the column in slurry
    line = LineRig((1,))
    line.offer(level=0.0, fines=300.0)
    line.speed(1.0)
    line.run(2000)
    slurry = line.s["density"]
    line.speed(0.0)
    line.run(300)
    line.offer(level=1.0)
    line.run(1)
    water = line.s["density"]
    assert line.s["static_head"] == pytest.approx(20.0 - water / slurry * 1.0, rel=1e-6)
    assert slurry / water > 1.15


def test_short_of_suction_head():
    line = running(level=1.0)
    good = float(line.s["flow"])
    # the requirement raised to 12 m at all flows
    line.arena.tables[15:20] = 12.0
    flags = line.run(600)
    assert flags & WARN_SUCTION
    assert line.s["suction_margin"] < 0.0
    assert line.s["flow"] < good
    lost = line.arena.pump_s["cavitation"][0]
    assert lost == pytest.approx(-line.s["suction_margin"] / 6.0, rel=1e-3)
    assert line.s["pump_head"] == pytest.approx((1 - lost) * np.interp(line.s["flow"], *CURVE[:2]), rel=1e-3)
    assert line.arena.pump_s["cavitation_time"][0] == 600.0
    line.arena.tables[15:20] = 3.0
    line.run(600)
    assert line.run(1) == 0
    assert line.s["flow"] == pytest.approx(good, rel=1e-6)


def test_beyond_the_end_of_the_curve():
    line = running(lift=0.0, length=20.0, level=0.0)
    assert line.s["flow"] > 0.08
    assert line.run(1) & WARN_CURVE
    assert 0.0 < line.s["pump_head"] < 22.0


def test_source_gives_out():
    line = running()
    line.available = 0.01
    assert line.run(1) & WARN_LOW
    assert line.s["flow"] == pytest.approx(0.01)
    assert line.arena.offers[0, VOLUME] == pytest.approx(0.0, abs=1e-15)
    line.available = 0.0
    assert line.run(1) & WARN_LOW
    assert line.s["flow"] == 0.0
    line.available = 1e9
    line.run(600)
    assert line.s["flow"] > 0.05


def test_leak_goes_to_the_ground():
    line = running(parcel=0.2)
    line.offer(level=1.0, fines=5.0)
    line.run(2000)
    line.f["leak"] = 0.25
    spilled = line.arena.ledger[OUT_SPILL].copy()
    line.run(100)
    lost = line.arena.ledger[OUT_SPILL] - spilled
    assert lost[VOLUME] == pytest.approx(0.25 * line.s["delivered"] * 100, rel=1e-6)
    assert lost[FINES] == pytest.approx(5.0 * lost[VOLUME], rel=1e-6)
    assert line.arena.streams[1, VOLUME] == pytest.approx(0.75 * line.s["delivered"])


def test_readings_at_the_outlet_come_after_the_dead_time():
    line = running()
    start = float(line.s["pumped"])
    line.offer(level=1.0, fines=20.0)
    while line.s["out_solids"] < 10.0:
        line.run(1)
    assert line.s["pumped"] - start == pytest.approx(line.volume, abs=0.6)
    line.run(30)
    assert line.s["out_solids"] == pytest.approx(20.0)
    assert line.s["transit"] == pytest.approx(line.volume / line.s["flow"], rel=0.02)
    assert line.s["out_density"] == pytest.approx(line.s["density"], rel=1e-9)


@pytest.mark.parametrize("how", ["gate", "valve", "plugged", "block"])
def test_a_shut_line_passes_nothing_and_sends_injection_back(how):
    line = running(injections=0, n_injections=1, valve=0 if how == "valve" else -1, valve_kv=500.0)
    a = line.arena
    if how == "valve":
        a.actuator_s["position"][0] = 1.0
        line.run(600)
        assert line.s["flow"] > 0.0
        a.actuator_s["position"][0] = 0.0
    elif how == "gate":
        a.line_p["gate"][0] = a.cell("tags", 0)
    elif how == "plugged":
        line.s["plugged"] = 1.0
    else:
        line.f["block"] = 1.0
    a.streams[2, VOLUME] = 1e-4
    a.streams[2, POLY] = 3e-5
    before = line.store()
    line.got[:] = 0.0
    line.run(100, books=True)
    assert line.s["flow"] == 0.0
    assert line.s["pump_head"] == pytest.approx(45.0)  # against the shut end
    assert not a.streams[1].any()
    assert a.streams[0, VOLUME] == pytest.approx(-1e-4)
    line.check_books(before)
    assert line.store() == pytest.approx(before)


def test_injection_enters_a_standing_line_and_leaves_at_its_end():
    line = LineRig((1,), injections=0, n_injections=1)
    line.arena.streams[2, VOLUME] = 2e-4
    line.arena.streams[2, POLY] = 1e-4
    before = line.store()
    line.run(500, books=True)
    line.check_books(before)
    assert line.s["delivered"] == pytest.approx(2e-4, rel=1e-9)
    assert line.store()[POLY] == pytest.approx(0.05, rel=1e-9)
    line.arena.streams[2] = 0.0
    line.run(2)
    assert not line.arena.streams[1].any()


def sandy(**rig):
    line = LineRig((1,), deposit_factor=1.0, length=100.0, lift=15.0, **rig)
    line.offer(level=1.0, coarse=40.0)
    return line


def test_sand_settles_below_the_limit_velocity_and_is_picked_up_above_it():
    line = sandy(diameter=0.25, plug_fraction=0.0)
    before = line.store()
    line.speed(0.66)
    flags = line.run(600, books=True)
    line.check_books(before)
    assert 0.0 < line.s["velocity"] < line.s["limit_velocity"]
    assert flags & WARN_SLOW
    assert line.s["slow_time"] > 500.0
    bed = float(line.s["deposit"])
    assert bed > 10.0
    # pore water 0.4 of the bulk
    bulk = bed / 2650.0 / 0.6
    assert line.s["deposit_water"] == pytest.approx(0.4 * bulk, rel=1e-9)
    line.run(1)
    assert line.s["blockage"] == pytest.approx(bulk / line.volume, rel=0.02)
    # what reaches the end is short of what the bed took
    assert line.arena.streams[1, COARSE] < 0.999 * line.arena.streams[0, COARSE]
    # twice the speed and clean water: picked up, to the last grain
    before = line.store()
    line.got[:] = 0.0
    line.offer(level=1.0)
    line.arena.line_p["deposit_factor"][0] = 0.5
    line.arena.line_p["lift_rate"][0] = 0.05
    line.speed(1.0)
    line.run(3000, books=True)
    line.check_books(before)
    assert (line.s["deposit"], line.s["deposit_water"], line.s["blockage"]) == (0.0, 0.0, 0.0)


def test_a_bed_narrows_the_bore_until_it_holds_itself():
    # the bed grows until the velocity in what is left comes up to the limit velocity
    line = sandy(diameter=0.22, plug_fraction=0.0)
    line.arena.line_p["deposit_factor"][0] = 0.85
    line.speed(0.75)
    line.run(200)
    assert line.s["velocity"] < 0.98 * line.s["limit_velocity"]
    line.run(40000)
    assert line.s["velocity"] == pytest.approx(line.s["limit_velocity"], rel=0.01)
    assert 0.01 < line.s["blockage"] < 0.6


def test_a_bed_that_grows_past_the_limit_plugs_the_line_until_reset():
    line = sandy(diameter=0.25, plug_fraction=0.05)
    line.speed(0.66)
    while line.s["plugged"] == 0.0:
        line.run(1)
        assert line.now < 20000.0
    assert line.s["deposit"] / 2650.0 / 0.6 >= 0.05 * line.volume
    line.run(100)
    assert line.s["flow"] == 0.0
    assert line.s["delivered"] == 0.0
    line.speed(1.0)
    line.run(100)
    assert line.s["flow"] == 0.0
    line.offer(level=1.0)  # flushed with water
    line.s["plugged"] = 0.0
    line.run(5)
    assert line.s["flow"] > 0.0


def test_no_limit_velocity_without_coarse():
    line = LineRig((1,), deposit_factor=5.0)
    line.offer(level=1.0, fines=50.0)
    line.speed(1.0)
    assert line.run(50) == 0
    assert line.s["limit_velocity"] == 0.0
    assert line.s["slow_time"] == 0.0


@pytest.mark.parametrize(("solids", "sets"), [(700.0, True), (300.0, False)])
def test_thick_mud_that_stands_ten_minutes_sets(solids, sets):
    line = LineRig((), bingham=1, length=50.0, diameter=0.15, lift=0.0, gate=0, yield_limit=50.0)
    line.arena.line_p["gate"][0] = line.arena.cell("tags", 0)
    line.arena.tags[0] = 1.0
    line.offer(level=30.0, fines=solids)
    line.run(3000)
    assert line.s["flow"] > 0.0
    line.arena.tags[0] = 0.0
    line.run(599)
    assert line.s["plugged"] == 0.0
    line.run(2)
    assert bool(line.s["plugged"]) is sets
    line.arena.tags[0] = 1.0
    line.run(60)
    assert bool(line.s["flow"] > 0.0) is not sets
    line.s["plugged"] = 0.0
    line.run(60)
    assert line.s["flow"] > 0.0


def test_wall_stress_from_any_guess_is_the_root_of_the_quartic():
    for v, d, ty, mu in (
        (1.0, 0.1, 10.0, 0.02),
        (0.01, 0.15, 200.0, 0.005),
        (3.0, 0.3, 0.01, 0.1),
        (1.0, 0.1, 0.0, 0.02),
    ):
        exact = bingham_wall_stress(v, d, ty, mu)
        for guess in (0.0, 0.5, 0.999, 1.0, 1.0001, 1.2, 7.0, 1e6):
            assert wall_stress(v, d, ty, mu, guess * exact) == pytest.approx(exact, rel=1e-13)


def test_friction_of_a_mud_is_the_head_of_its_formula_whatever_was_before():
    line = LineRig((), bingham=1)
    bore, rho, length = 0.15, 1300.0, 100.0
    area = 0.25 * np.pi * bore**2
    rng = np.random.default_rng(4)
    for _ in range(300):
        v, ty, mu = 10.0 ** rng.uniform((-1.9, -1.0, -3.0), (0.7, 2.0, -0.5))
        linear, square, hold = _bingham_friction(line.s, v, length, bore, area, 5e-5, mu, rho, ty)
        flow = v * area
        head = hold + linear * flow + square * flow * flow
        exact = bingham_gradient(v, bore, rho, ty, mu, 5e-5) * length / (rho * G)
        assert head == pytest.approx(exact, rel=2e-6)


def test_rest_is_the_same_step_short_cut_or_not():
    # a line at rest takes a short cut; a line kept from it by a whisker of injection sees the same world
    short, full = LineRig((1, 1)), LineRig((1, 1), injections=0, n_injections=1)
    full.arena.streams[2, VOLUME] = 1e-15
    for line in (short, full):
        line.offer(level=1.7, temperature=11.0, fines=3.0)
        line.run(50)
    for name in ("flow", "velocity", "static_head", "friction_head", "suction_pressure", "suction_margin",
                 "pump_head", "pressure", "standing", "density", "solids"):  # fmt: skip
        assert short.s[name] == pytest.approx(full.s[name], abs=1e-9), name


def rough_day() -> str:
    """A short day with everything in it; returns the fingerprint of the memory at its end."""
    line = LineRig((1, 2), check_valve=0, branch_check=0, deposit_factor=1.2, lift=8.0, length=60.0, parcel=0.4,
                   bingham=1, injections=0, n_injections=1)  # fmt: skip
    line.arena.plug_p["mixing"][0] = 0.1
    line.arena.streams[2, VOLUME] = 1e-4
    line.arena.streams[2, POLY] = 3e-5
    for step in range(40):
        line.offer(level=1.0, temperature=12.0, coarse=20.0 * (step % 3), fines=60.0 + step, coagulant=0.03)
        line.speed(1.0 * (step % 20 < 8), 0.9 * (step % 20 < 6), 1.0 * (step % 20 < 5))
        line.run(3)
    return hashlib.sha256(line.arena.save()).hexdigest()


def test_compiled_and_interpreted_kernels_agree_to_the_last_bit():
    here = Path(__file__).parent
    code = "import sys; sys.path.insert(0, sys.argv[1]); import test_line; print(test_line.rough_day())"
    plain = subprocess.run(
        [sys.executable, "-c", code, str(here)],
        env={**os.environ, "NUMBA_DISABLE_JIT": "1"}, cwd=here.parents[1], capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert plain.stdout.strip() == rough_day()
