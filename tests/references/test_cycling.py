"""Sump cycling against published sizing rules, one worked station, and timed draw-downs."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from plantsim.jit import kernel
from plantsim.physics import cycling as cy

FOOT = 0.3048
GAL = 3.785411784e-3


def test_worked_station():
    """ "Pumping Station and Rising Main Calculations" (student design appendix): 28.4 L/s in, 56.8 L/s out.

    15 starts an hour: 3.408 m3, 0.48 m in a 3 m well.
    """
    volume = cy.required_volume(240.0, 0.0568, 1)
    assert volume == pytest.approx(3.408, rel=1e-3)
    assert volume / (math.pi / 4 * 9.0) == pytest.approx(0.48, abs=5e-3)


@pytest.mark.parametrize(("inflow", "t"), [(0.0142, 320.0), (0.0284, 240.0), (0.0426, 320.0)])
def test_cycle_time(inflow, t):
    """MIL-HDBK-1005/9A, par. 2.5.3.6, in the same well."""
    assert cy.cycle_time(3.408, 0.0568, inflow) == pytest.approx(t, rel=1e-3)


@pytest.mark.parametrize(
    ("ratio", "n"), [(0.1, 5.40), (0.25, 11.25), (0.5, 15.0), (0.75, 11.25), (0.9, 5.40)]
)
def test_starts(ratio, n):
    """The same equation as starts in an hour."""
    assert cy.starts_per_hour(3.408, 0.0568, ratio * 0.0568) == pytest.approx(n, rel=1e-3)


@pytest.mark.parametrize(("ratio", "minutes"), [(0.5, 10.00), (0.25, 13.33)])
def test_handbook_equation(ratio, minutes):
    """MIL-HDBK-1005/9A, Eq. 1: t = (V/D)[1/(1 - Q/D) + 1/(Q/D)] with V/D of 2.5 min."""
    assert cy.cycle_time(150.0, 1.0, ratio) / 60.0 == pytest.approx(minutes, rel=1e-3)
    assert cy.cycle_time(150.0, 1.0, ratio) == pytest.approx(150.0 * (1 / (1 - ratio) + 1 / ratio))
    assert cy.minimum_cycle_time(150.0, 1.0) == pytest.approx(600.0)


def test_upper_size_limit():
    """EI 11C201, par. 7 and Table 7-1: 45 L/s at 10 min: 6750 L, 3375 L when two pumps alternate."""
    assert cy.required_volume(600.0, 0.045, 1) * 1000 == pytest.approx(6750.0, rel=1e-3)
    assert cy.required_volume(600.0, 0.045, 2) * 1000 == pytest.approx(3375.0, rel=1e-3)


def test_alternation():
    """EI 11C201, par. 7, halving rule: 7.5 starts an hour for each of two; 15 with half the volume."""
    assert cy.starts_per_pump(3.408, 0.0568, 0.0284, 2) == pytest.approx(7.5, rel=1e-3)
    assert cy.starts_per_pump(3.408 / 2, 0.0568, 0.0284, 2) == pytest.approx(15.0, rel=1e-3)


@pytest.mark.parametrize(("starts", "litres"), [(4, 225.0), (6, 150.0), (10, 90.0), (15, 60.0)])
def test_volume_for_each_litre_a_second(starts, litres):
    """V = TQ/4."""
    assert cy.required_volume(3600.0 / starts, 1e-3, 1) * 1000 == pytest.approx(litres, rel=1e-12)


def test_drawdown_rectangular():
    """Operator-training text, Ex. 11.1: 10 ft by 9 ft, 2.2 ft in 5 min, inflow shut: 296 gpm."""
    q = cy.drawdown_capacity(90.0 * FOOT**2, 2.2 * FOOT, 300.0, 0.0)
    assert q / GAL * 60 == pytest.approx(296.0, rel=2e-3)


def test_drawdown_second():
    """wastewater101.net (2019/08), question 3: 15 ft by 12 ft, 3 ft in 30 min: 134.64 gpm (7.48 gal/ft3)."""
    q = cy.drawdown_capacity(180.0 * FOOT**2, 3.0 * FOOT, 1800.0, 0.0)
    assert q / FOOT**3 * 7.48 * 60 == pytest.approx(134.64, abs=0.01)


def test_drawdown_round():
    """The same page, question 1: 10 ft round, 6 in in 2 min: 146.8 gpm (pi 3.14)."""
    q = cy.drawdown_capacity(math.pi / 4 * 100.0 * FOOT**2, 0.5 * FOOT, 120.0, 0.0)
    assert q / FOOT**3 * 7.48 * 60 == pytest.approx(146.8, rel=1e-3)


def test_drawdown_with_inflow():
    assert cy.drawdown_capacity(10.0, 0.5, 100.0, 0.02) == pytest.approx(0.07)


def test_lag_pumps():
    """EI 11C201, par. 7: each further pump by its increment of capacity."""
    volumes = cy.lag_volumes([0.060, 0.090, 0.105], 600.0)
    assert volumes == pytest.approx([9.0, 4.5, 2.25])
    with pytest.raises(ValueError, match="add flow"):
        cy.lag_volumes([0.06, 0.06], 600.0)


@given(st.floats(0.01, 0.99), st.floats(0.1, 100.0), st.floats(1e-3, 1.0))
def test_worst_inflow_is_half_the_capacity(ratio, volume, capacity):
    """The published worst case; and starts are the inverse of the cycle."""
    t = cy.cycle_time(volume, capacity, ratio * capacity)
    assert t >= cy.minimum_cycle_time(volume, capacity) * (1 - 1e-12)
    assert cy.starts_per_hour(volume, capacity, ratio * capacity) == pytest.approx(3600.0 / t)


def test_no_cycling():
    for inflow in (0.0, 0.06, 0.07):
        assert cy.starts_per_hour(3.0, 0.06, inflow) == 0.0
        assert cy.cycle_time(3.0, 0.06, inflow) == math.inf


def test_compiled_equals_plain():
    @kernel
    def run(q):
        return (
            cy.cycle_time(3.4, 0.06, q),
            cy.starts_per_pump(3.4, 0.06, q, 2),
            cy.required_volume(600.0, q, 2),
        )

    for q in (0.0, 0.02, 0.07):
        assert run(q) == run.py_func(q)
