"""The high-lift demo: its pair of pumps against curves worked out apart, and what one pump's trip brings back."""

from __future__ import annotations

import functools
import math

import numpy as np
import pytest
from plants import HOUR, column, named
from scipy.optimize import brentq

from plantsim.sim.simulation import Simulation

G = 9.80665  # standard gravity, CGPM 1901
LENGTH, DIAMETER, ROUGHNESS, FITTINGS, LIFT, DERATING = 1200.0, 0.25, 0.1e-3, 12.0, 60.0, 0.9
CURVE = np.array([[0, 54], [100, 53], [200, 51], [300, 47.5], [400, 42], [500, 34]], float)  # m3/h, m
AREA = 0.25 * math.pi * DIAMETER**2
VOLUME = AREA * LENGTH


@functools.cache
def tripped() -> tuple[dict[str, float], Simulation]:
    """A quiet Monday until 08:30; what stood then; the booster trips, and the pair stays locked out for two hours."""
    model = named("high-lift", "site.quiet=yes", "control.lift-pumps.set.lockout_time=2 h")
    sim = Simulation(model)
    sim.run(3.0 * HOUR)
    paths = ("lift-line.flow", "lift-line.solids", "lift-line.density", "sump.level", "sump.temperature", "P-101.speed",
             "P-102.speed", "lift-line.drained", "lift-line.static_head", "lift-line.pump_head")  # fmt: skip
    before = {path: model.value(path) for path in paths}
    model.arena.motor_f["trip"][model.units["P-102-motor"][1]] = 1
    sim.run(4.9 * HOUR)
    return before, sim


def filled(sim: Simulation) -> float:
    arena = sim.model.arena
    return float(arena.plug_s["filled"][arena.line_p["plug"][sim.model.units["lift-line"][1]]])


def test_the_pair_runs_where_curve_and_line_cross():
    """Affinity laws, derating with solids, Colebrook (1939); Batchelor (1977, J. Fluid Mech. 83, 97-117) for viscosity.

    Water at 9 to 12 degC: 1.3059e-3 Pa s at 10 degC (IAPWS R12-08), 2.6 % less for each degree more.
    """
    before, _ = tripped()
    phi = before["lift-line.solids"] / 2650.0
    speed = before["P-101.speed"]
    assert before["P-102.speed"] == pytest.approx(speed, abs=0.01)
    viscosity = 1.3059e-3 * (1.0 - 0.026 * (before["sump.temperature"] - 10.0)) * (1.0 + 2.5 * phi + 6.2 * phi**2)

    def pumps(q: float) -> float:
        one = speed**2 * float(np.interp(q * 3600.0 / speed, CURVE[:, 0], CURVE[:, 1]))
        return 2.0 * one * (1.0 - DERATING * phi)

    def line(q: float) -> float:
        v = q / AREA
        re = before["lift-line.density"] * v * DIAMETER / viscosity
        x = brentq(lambda x: x + 2.0 * math.log10(ROUGHNESS / DIAMETER / 3.7 + 2.51 * x / re), 1.0, 50.0)
        return LIFT - before["sump.level"] + (LENGTH / DIAMETER / x**2 + FITTINGS) * v**2 / (2.0 * G)

    flow = brentq(lambda q: pumps(q) - line(q), 1e-3, 500.0 / 3600.0)
    assert before["lift-line.flow"] == pytest.approx(flow, rel=0.01)


def test_one_pump_could_not_hold_the_lift():
    """54 m at no flow against 60 m: whatever it does, the line runs back."""
    assert CURVE[:, 1].max() < LIFT - 3.8


def test_when_the_booster_trips_the_whole_line_comes_back():
    before, sim = tripped()
    model = sim.model
    assert model.value("P-101.running") == model.value("P-102.running") == 0.0
    assert abs(model.value("lift-line.flow")) * 3600.0 < 0.5
    level = model.value("sump.level")
    assert filled(sim) == pytest.approx(VOLUME * level / LIFT, rel=0.03)
    back = model.value("lift-line.drained") - before["lift-line.drained"]
    assert back == pytest.approx(VOLUME - filled(sim), rel=0.02)
    assert back > 0.9 * VOLUME, "all but what stands level with the sump"


def test_the_sump_takes_what_comes_back_without_spilling():
    """The wash plant still runs until the high level holds it; nothing goes over the weir in the next ten minutes.

    (Here the pair then stays out for two hours, and what the mud cells let off does reach the weir at last.)
    """
    _, sim = tripped()
    start = 3 * 360
    level = column(sim, "sump.level")[start : start + 60]
    assert level.max() - level[0] > 0.9 * VOLUME / 60.0
    assert column(sim, "sump.spilled")[start + 60] == 0.0


def test_it_comes_back_within_minutes():
    """Most of it at once: the column of 60 m drives it through two standing pumps (25 m at 500 m3/h each)."""
    _, sim = tripped()
    drained = column(sim, "lift-line.drained")
    start = 3 * 360
    after = drained[start:] - drained[start]
    half = np.argmax(after > 0.5 * VOLUME) * 10.0
    # 29 m3 at no more than the flow at which friction and pumps take the whole 60 m
    k = 2.0 * 25.0 / (500.0 / 3600.0) ** 2
    fastest = brentq(lambda q: k * q**2 + (0.017 * LENGTH / DIAMETER + FITTINGS) * (q / AREA) ** 2 / (2 * G) - LIFT,
                     1e-3, 1.0)  # fmt: skip
    assert 0.5 * VOLUME / fastest < half < 4.0 * 0.5 * VOLUME / fastest
