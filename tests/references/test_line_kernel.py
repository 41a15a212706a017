"""The line kernel against published duty points, flows, losses and the rigid water column."""

from __future__ import annotations

import math
import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "kernels"))

from line_rig import LineRig

from plantsim.physics.rheology import bingham_gradient
from plantsim.physics.water import density, vapour_pressure

FT, GPM, G = 0.3048, 3.785411784e-3 / 60.0, 9.80665


# Hydraulic Institute Engineering Data Book, "Pump Curves" and "System Curves": pump H = 380 - 0.06 Q - 0.0018 Q^2,
# system H = 265 + 7.75e-4 Q^2, ft and US gpm. The line is so short that its loss is all in the fittings.
def hydraulic_institute(branches, q_last=330.0, **rig):
    q = np.arange(0.0, q_last, 2.0)
    head = 380.0 - 0.06 * q - 0.0018 * q * q
    curve = (q * GPM, head * FT, np.full_like(q, 0.5), np.zeros_like(q))
    d = 0.1
    area = 0.25 * math.pi * d * d
    minor = 7.75e-4 * FT / GPM**2 * 2.0 * G * area * area
    rig = LineRig(
        branches, curve, length=0.01, diameter=d, lift=265.0 * FT, minor=minor, roughness=0.0, **rig
    )
    return rig


def duty(rig, *speeds):
    rig.speed(*speeds)
    rig.run(300)
    return rig.s["flow"] / GPM, rig.s["pump_head"] / FT


def test_duty_point_of_one_pump():
    # "Combined curves", Eq. 1.C.12: 200.0 gpm at 296.0 ft
    flow, head = duty(hydraulic_institute((1,)), 1.0)
    assert flow == pytest.approx(200.0, rel=1e-3)
    assert head == pytest.approx(296.0, rel=1e-3)


def exact(series=1, parallel=1, n=1.0):
    """Duty point of like pumps on the same curves, by the quadratic formula [gpm, ft]."""
    # series * (380 n^2 - 0.06 n Q/m - 0.0018 (Q/m)^2) = 265 + 7.75e-4 Q^2
    a = 7.75e-4 + series * 0.0018 / parallel**2
    b = series * 0.06 * n / parallel
    c = 265.0 - series * 380.0 * n * n
    q = (-b + math.sqrt(b * b - 4.0 * a * c)) / (2.0 * a)
    return q, 265.0 + 7.75e-4 * q * q


@pytest.mark.parametrize(
    ("branches", "kind", "published"),
    [((1, 1), dict(parallel=2), (294.39, 332.17)), ((2,), dict(series=2), (322.93, 345.82))],
)
def test_two_like_pumps_in_parallel_and_in_series(branches, kind, published):
    # the same curves; figures recomputed with the quadratic formula
    flow, head = duty(hydraulic_institute(branches), 1.0, 1.0)
    assert (flow, head) == pytest.approx(exact(**kind), rel=1e-4)
    assert (flow, head) == pytest.approx(published, rel=1e-4)


def test_branches_share_the_flow_and_series_pumps_the_head():
    rig = hydraulic_institute((1, 1))
    flow, _ = duty(rig, 1.0, 1.0)
    assert rig.arena.branch_s["flow"] / GPM == pytest.approx([flow / 2, flow / 2], rel=1e-9)
    rig = hydraulic_institute((2,))
    _, head = duty(rig, 1.0, 1.0)
    assert rig.arena.pump_s["head"] / FT == pytest.approx([head / 2, head / 2], rel=1e-9)


@pytest.mark.parametrize(
    ("n", "flow", "head"), [(0.95, 163.27, 285.66), (0.90, 118.86, 275.95), (0.85, 51.80, 267.08)]
)
def test_reduced_speed(n, flow, head):
    # affinity laws on the same curves
    assert duty(hydraulic_institute((1,)), n) == pytest.approx((flow, head), rel=2e-4)
    assert (flow, head) == pytest.approx(exact(n=n), rel=1e-4)


def test_no_flow_below_the_speed_that_just_carries_the_lift():
    limit = math.sqrt(265.0 / 380.0)  # 0.8351
    flow, head = duty(hydraulic_institute((1,)), limit - 2e-4)
    assert flow == 0.0
    assert head == pytest.approx(380.0 * (limit - 2e-4) ** 2, rel=1e-9)  # shut-off head against the check valve
    assert duty(hydraulic_institute((1,)), limit + 2e-4)[0] > 1.0
    # without check valves the same pump lets the water fall back through itself
    rig = hydraulic_institute((1,), branch_check=0, check_valve=0)
    rig.speed(limit - 0.05)
    rig.run(1)
    assert rig.s["flow"] < 0.0


def test_one_of_a_series_pair_alone_does_not_beat_the_lift():
    rig = hydraulic_institute((2,))
    duty(rig, 0.9, 0.9)
    assert rig.s["flow"] > 0.0
    rig.speed(0.0, 0.8)
    rig.run(60)
    assert rig.s["flow"] == 0.0


def test_duty_point_and_power_of_a_tabled_curve():
    # Coulson & Richardson, Chemical Engineering vol. 1, Ex. 8.8 (p. 370): 0.0054 m3/s and 1.74 kW
    q = np.array([2.8, 3.9, 5.0, 5.6, 5.9]) * 1e-3
    curve = (q, [23.2, 21.3, 18.9, 15.2, 11.0], [0.5] * 5, [0.0] * 5)
    d = 0.1
    minor = 2.205e5 * 2.0 * G * (0.25 * math.pi * d * d) ** 2
    rig = LineRig((1,), curve, length=0.01, diameter=d, lift=10.0, minor=minor, roughness=0.0)
    rig.speed(1.0)
    rig.run(200)
    assert rig.s["flow"] == pytest.approx(0.0054, rel=0.01)
    assert rig.s["flow"] == pytest.approx(5.400e-3, rel=1e-3)  # straight between the points
    assert rig.s["pump_head"] == pytest.approx(16.43, rel=1e-3)
    assert rig.arena.pump_s["power"][0] == pytest.approx(1740.0, rel=0.01)
    assert rig.arena.motor_s["load"][0] == rig.arena.pump_s["power"][0]


def settle(rig, level, temperature, steps=600):
    rig.offer(level=level, temperature=temperature)
    rig.run(steps)
    return rig.s


def test_reservoir_flow_with_fittings():
    # Cengel & Cimbala, Fluid Mechanics, Ex. 8-8 (p. 377): 6 L/s with z1 = 31.8 m, f = 0.0315, discharge at 4 m,
    # 10 degC; the exit loss of 1.06 is among the loss coefficients
    rig = LineRig((), length=89.0, diameter=0.05, roughness=0.26e-3, lift=4.0, minor=2.36)
    s = settle(rig, 31.82, 10.0)
    assert s["flow"] == pytest.approx(0.006, rel=1e-3)
    assert s["friction_factor"] == pytest.approx(0.0315, abs=5e-5)


def test_friction_head():
    # Cengel & Cimbala, Ex. 8-3 (p. 360): 6 L/s of water at 15 degC through 60 m of 50 mm stainless pipe
    # (roughness 2 um) loses 9.817 m with the exact Colebrook factor 0.017188 (printed: 9.85 m, 0.0172)
    rig = LineRig((), length=60.0, diameter=0.05, roughness=2e-6, lift=0.0, minor=0.0)
    s = settle(rig, 9.817, 15.0)
    assert s["flow"] == pytest.approx(0.006, rel=5e-4)
    assert s["friction_factor"] == pytest.approx(0.017188, rel=1e-3)
    assert s["friction_head"] == pytest.approx(9.817, rel=1e-6)


def test_laminar_flow_is_hagen_poiseuille():
    # V = rho g h D^2 / (32 mu L), Hagen 1839 and Poiseuille 1840; mu of water at 20 degC 1.0016 mPa s
    # (IAPWS R12-08)
    rig = LineRig((), length=50.0, diameter=0.02, lift=0.0, minor=0.0)
    s = settle(rig, 0.01, 20.0)
    assert s["velocity"] == pytest.approx(density(20.0) * G * 0.01 * 0.02**2 / (32 * 1.0016e-3 * 50.0), rel=1e-4)


def test_valve_passes_its_coefficient():
    # Kv: flow in m3/h at 1 bar (IEC 60534-1). Kv 10 at 0.25 bar: 5.0 m3/h; equal percentage of rangeability 50 at
    # half travel: 0.14142 of that
    rig = LineRig((), length=0.1, diameter=0.1, lift=0.0, minor=0.0, valve=0, valve_kv=10.0)
    level = 0.25e5 / (1000.0 * G)
    rig.arena.actuator_s["position"][0] = 1.0
    assert settle(rig, level, 20.0)["flow"] * 3600.0 == pytest.approx(5.0, rel=1e-4)
    rig.arena.actuator_s["position"][0] = 0.5
    assert settle(rig, level, 20.0)["flow"] * 3600.0 == pytest.approx(2.5, rel=1e-4)
    rig.arena.line_p["valve_range"][0] = 50.0
    assert settle(rig, level, 20.0)["flow"] * 3600.0 == pytest.approx(5.0 * 0.14142, rel=1e-4)
    rig.arena.actuator_s["position"][0] = 0.0
    assert settle(rig, level, 20.0, 1)["flow"] == 0.0


def column(dt, time, h=5.0, length=200.0, d=0.5, minor=40.0):
    """Velocity after a valve is opened on a resting column; the loss is a constant times v^2 (rough pipe)."""
    rig = LineRig((), length=length, diameter=d, roughness=0.05 * d, lift=0.0, minor=minor)
    rig.offer(level=h)
    velocities = []
    for _ in range(len(time)):
        rig.run(round((time[1] - time[0]) / dt), dt)
        velocities.append(rig.s["velocity"])
    return np.array(velocities)


def test_rigid_column_starts_as_tanh():
    # Establishment of flow in a rigid column, v = v0 tanh(t/tau), v0 = sqrt(2 g h / K), tau = 2 L / (K v0): Streeter
    # & Wylie, Fluid Mechanics (from memory). K = f L/D + minor, f of a fully rough pipe (von Karman).
    length, d, minor, h = 200.0, 0.5, 40.0, 5.0
    f = 1.0 / (2.0 * math.log10(3.7 / 0.05)) ** 2
    k = f * length / d + minor
    v0 = math.sqrt(2.0 * G * h / k)
    tau = 2.0 * length / (k * v0)
    time = np.arange(1.0, 31.0)
    closed = v0 * np.tanh(time / tau)
    errors = []
    for dt in (0.1, 0.05, 0.025):
        errors.append(np.abs(column(dt, time) - closed).max() / v0)
    assert errors[-1] < 2e-3
    # backward Euler: halving the step halves the error, down to what is left of the Reynolds number
    assert 1.7 < errors[0] / errors[1] < 2.3
    assert 1.7 < errors[1] / errors[2] < 2.6


def test_steady_state_does_not_depend_on_the_step():
    flows = []
    for dt in (0.1, 1.0, 5.0):
        rig = LineRig((1,))
        rig.offer(level=1.0)
        rig.speed(1.0)
        rig.run(round(900 / dt), dt)
        flows.append(rig.s["flow"])
    assert flows == pytest.approx([flows[0]] * 3, rel=1e-6)


def bingham_rig(ty, mu_p, rho, d, length=500.0):
    """A line of mud whose solids give the wanted density, yield stress and plastic viscosity."""
    rig = LineRig((), length=length, diameter=d, lift=0.0, minor=0.0, bingham=1, roughness=0.0, full=False)
    m = rig.arena.material
    water = density(20.0)
    solids = (rho - water) / (1.0 - water / 2650.0)
    phi = solids / 2650.0
    m["yield_a"][0], m["yield_b"][0] = ty / phi, 1.0
    m["plastic_a"][0] = math.log(mu_p / 1.0016e-3) / phi
    return rig, solids


def mud_velocity(rig, solids, level, steps=2000):
    rig.offer(level=level, fines=solids)
    rig.run(steps)
    return rig.s["velocity"]


@pytest.mark.parametrize(
    ("d", "v", "ty", "mu_p", "rho", "gradient"),
    [(0.1, 1.0, 10.0, 0.02, 1300.0, 544.463), (0.15, 1.5, 25.0, 0.03, 1400.0, 842.968)],
)
def test_bingham_mud_in_laminar_flow(d, v, ty, mu_p, rho, gradient):
    # Buckingham 1921, Reiner 1926: root of the full quartic. The blend with the turbulent branch in
    # `bingham_gradient` adds at most 0.1 % here.
    rig, solids = bingham_rig(ty, mu_p, rho, d)
    got = mud_velocity(rig, solids, gradient * 500.0 / (rho * G))
    assert got == pytest.approx(v, rel=5e-3)
    assert bingham_gradient(got, d, rho, ty, mu_p, 0.0) == pytest.approx(gradient, rel=1e-4)


def test_bingham_mud_stands_below_its_yield_head():
    # wall stress D dp / (4 L) at the yield stress: 4 * 10 Pa / 0.1 m = 400 Pa/m
    for gradient, moves in ((399.0, False), (401.0, True)):
        rig, solids = bingham_rig(10.0, 0.02, 1300.0, 0.1)
        mud_velocity(rig, solids, 700.0 * 500.0 / (1300.0 * G), 4000)  # full of mud, and flowing
        assert rig.s["velocity"] > 1.0
        got = mud_velocity(rig, solids, gradient * 500.0 / (1300.0 * G), 3000)
        assert bool(got > 0.0) is moves
        assert got < 0.02


def test_limit_velocity_is_durands():
    # Durand 1953: F_L sqrt(2 g D (S - 1)); F_L 1.34, D 0.2 m, S 2.65 gives 3.410 m/s
    rig = LineRig((1,), deposit_factor=1.34)
    rig.arena.material["solids_density"][0] = 2.65 * density(20.0)
    rig.offer(level=1.0, coarse=1.0)
    rig.speed(1.0)
    rig.run(5)
    assert rig.s["limit_velocity"] == pytest.approx(3.410, rel=1e-3)


def test_suction_margin():
    # NPSH available = (p_atm - p_v) / (rho g) + level (ANSI/HI 9.6.1), vapour pressure by IAPWS-95
    rig = LineRig((1,))
    rig.offer(level=1.5, temperature=30.0)
    rig.speed(0.0)
    rig.run(1)
    available = (101325.0 - vapour_pressure(30.0)) / (density(30.0) * G) + 1.5
    assert rig.s["suction_margin"] == pytest.approx(available, rel=1e-4)
    rig.speed(1.0)
    rig.run(600)
    flow = rig.s["flow"]
    required = np.interp(flow, (0.0, 0.02, 0.04, 0.06, 0.08), (2.0, 2.0, 2.5, 3.0, 4.0))
    assert rig.s["suction_margin"] == pytest.approx(available - required, rel=1e-4)


def test_vapour_pressure_polynomial():
    from plantsim.kernels.line import vapour_pressure as fast

    for t in range(0, 41, 5):
        assert fast(float(t)) == pytest.approx(vapour_pressure(float(t)), rel=2e-3)
