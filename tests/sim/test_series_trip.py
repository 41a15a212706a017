"""Two pumps in series on a long line: what is left when one of them trips.

Checked against pump curve and system curve worked out apart from the package, in `pumped`.
"""

from __future__ import annotations

import numpy as np
import pytest
from pumped import CURVE, VOLUME, column_of, duty_flow, long_line, order


def started(lift: float, check_valve: bool):
    """Both pumps at full speed for half an hour: the line is full and the flow steady."""
    model, sim = long_line(lift, check_valve)
    order(model, YC_101=1.0, YC_102=1.0)
    sim.run(1800.0)
    return model, sim


def static(model, lift: float) -> float:
    return lift - model.value("sump.level")


@pytest.mark.parametrize("lift", [20.0, 40.0, 60.0])
def test_the_pair_runs_where_the_curves_cross(lift):
    model, _sim = started(lift, False)
    wanted = duty_flow(2, 0, static(model, lift))
    assert model.value("line.flow") == pytest.approx(wanted, rel=2e-3)
    assert model.value("line.delivered") == pytest.approx(model.value("line.flow"), rel=1e-6)


def test_the_reference_line_at_60_m_carries_the_reference_flow():
    """Common practice, no source: 60 m of lift and 16 m of friction at 350 m3/h ask for two pumps of 38 m.

    Friction here is by Colebrook for 0.05 mm and with the fittings, so the flow comes out within 3 %.
    """
    model, _ = started(60.0, False)
    assert model.value("line.flow") * 3600.0 == pytest.approx(350.0, rel=0.03)
    assert model.value("line.friction_head") == pytest.approx(16.0, rel=0.15)


@pytest.mark.parametrize("lift", [15.0, 20.0, 25.0])
def test_at_a_low_lift_one_pump_alone_finds_its_own_duty_point(lift):
    """The tripped pump stands in the way: its resistance is part of the curve."""
    model, sim = started(lift, False)
    both = model.value("line.flow")
    model.arena.motor_f["trip"][model.units["P-102-motor"][1]] = 1
    sim.run(3600.0)
    assert model.value("P-102.speed") == 0.0
    wanted = duty_flow(1, 1, static(model, lift))
    assert 0.3 * both < wanted < 0.9 * both
    assert model.value("line.flow") == pytest.approx(wanted, rel=0.01)
    assert model.value("line.flow") == pytest.approx(wanted, rel=2e-3)


def test_at_60_m_one_pump_cannot_hold_the_line_which_runs_back_until_its_column_stands():
    """Its shut-off head of 46 m and 2 m of level hold 48 of 60 m: a fifth of the line comes back."""
    lift = 60.0
    model, sim = started(lift, False)
    before = model.value("line.drained")
    stored = model.value("sump.active")
    model.arena.motor_f["trip"][model.units["P-102-motor"][1]] = 1
    sim.run(1800.0 + 5400.0)
    held = CURVE[0, 1] + model.value("sump.level")
    assert abs(model.value("line.flow")) * 3600.0 < 0.5
    back = model.value("line.drained") - before
    filled = column_of(model) / VOLUME
    assert filled == pytest.approx(held / lift, abs=0.005)
    assert model.value("line.delivered") == 0.0
    assert model.value("sump.active") > stored
    # it swings about that height while it comes to rest, so more than the difference runs back and forth
    assert back >= VOLUME * (1.0 - held / lift) * 0.99


def test_with_both_stopped_the_whole_line_above_the_sump_comes_back():
    lift = 60.0
    model, sim = started(lift, False)
    before, stored = model.value("line.drained"), model.value("sump.active")
    full = column_of(model)
    assert full == pytest.approx(VOLUME, rel=1e-9)
    order(model, YC_101=0.0, YC_102=0.0)
    sim.run(1800.0 + 7200.0)
    left = column_of(model)
    assert left == pytest.approx(VOLUME * model.value("sump.level") / lift, rel=0.02)
    assert abs(model.value("line.flow")) * 3600.0 < 0.5
    # what is gone from the line is in the sump, less what the pumps' last seconds sent over the top; the well,
    # too, gave 1 m3/h
    came = model.value("sump.active") - stored - 2.0
    assert came == pytest.approx(VOLUME - left, rel=0.02)
    assert model.value("line.drained") - before == pytest.approx(VOLUME - left, rel=0.02)


def test_a_check_valve_keeps_the_line_full():
    model, sim = started(60.0, True)
    order(model, YC_101=0.0, YC_102=0.0)
    sim.run(3600.0)
    assert model.value("line.drained") == 0.0
    assert column_of(model) == pytest.approx(VOLUME, rel=1e-9)
    assert model.value("line.flow") == 0.0


def test_flow_comes_up_and_dies_down_with_the_inertia_of_the_column():
    """Rigid column: without friction dQ/dt = g A dH / L (Streeter & Wylie, Fluid Mechanics, from memory).

    With full pumps on a full line at rest the first seconds show it.
    """
    model, sim = long_line(20.0, True)
    model.arena.motor_p["ramp_up"][:] = 0.0
    order(model, YC_101=1.0, YC_102=1.0)
    sim.run(4.0)
    flow = sim.recorder.series("line.flow")
    steps = np.diff(flow)[1:3]
    surplus = 2.0 * CURVE[0, 1] - 20.0 + model.value("sump.level")
    free = 9.80665 * 0.25 * np.pi * 0.25**2 * surplus / 1200.0
    assert 0.8 * free < steps[0] < free
