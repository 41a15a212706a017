"""Dispersion and mixing against the closed solutions, evaluated independently with scipy."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.special import erfcx, gammainc

from plantsim.jit import kernel
from plantsim.physics import hydraulics as hy
from plantsim.physics import mixing as mx

# Ogata & Banks 1961, at theta = t v/x.
OGATA = [
    (1.0, 1.0, 0.1, [(0.25, 0.000648), (0.5, 0.080067), (0.75, 0.327898), (1.0, 0.585289), (1.5, 0.874525),
                     (2.0, 0.966220), (3.0, 0.997751)]),
    (100.0, 1.0, 0.5, [(0.8, 0.014297), (0.9, 0.157321), (0.95, 0.321418), (1.0, 0.519898), (1.05, 0.704867),
                       (1.1, 0.842438), (1.2, 0.969798)]),
    (1000.0, 2.0, 1.0, [(0.95, 0.054070), (0.98, 0.266593), (1.0, 0.506306),
                         (1.02, 0.739599), (1.05, 0.940506)]),
]  # fmt: skip


@pytest.mark.parametrize(
    ("x", "v", "dispersion", "theta", "c"),
    [(x, v, d, theta, c) for x, v, d, points in OGATA for theta, c in points],
)
def test_breakthrough(x, v, dispersion, theta, c):
    """Ogata & Banks 1961, U.S. Geological Survey Professional Paper 411-A."""
    assert mx.ogata_banks(x, theta * x / v, v, dispersion) == pytest.approx(c, abs=1e-6)


@pytest.mark.parametrize(
    ("x", "c"), [(4.0, 0.867910), (4.5, 0.728124), (5.0, 0.539507), (5.5, 0.341771), (6.0, 0.180475)]
)
def test_profile(x, c):
    """The same solution along the line: 0.5 m/s, 0.05 m2/s, after 10 s."""
    assert mx.ogata_banks(x, 10.0, 0.5, 0.05) == pytest.approx(c, abs=1e-6)


def test_breakthrough_at_a_great_peclet_number_is_finite():
    """Both factors of the second term leave the number range alone; their product does not."""
    assert mx.ogata_banks(1e4, 1e4, 1.0, 1e-3) == pytest.approx(0.5, abs=1e-3)
    assert mx.ogata_banks(1e4, 0.0, 1.0, 1e-3) == 0.0
    assert mx.ogata_banks(1e4, 1.1e4, 1.0, 1e-3) == 1.0


@given(st.floats(0.0, 1e6))
def test_scaled_error_function_against_scipy(x):
    assert mx.erfcx(x) == pytest.approx(erfcx(x), rel=2e-13)


TANKS = [
    (1, 0.5, 0.393469), (1, 1.0, 0.632121), (1, 2.0, 0.864665),
    (2, 0.5, 0.264241), (2, 1.0, 0.593994), (2, 2.0, 0.908422),
    (5, 0.5, 0.108822), (5, 1.0, 0.559507), (5, 2.0, 0.970747),
    (10, 0.5, 0.031828), (10, 1.0, 0.542070), (10, 2.0, 0.995005),
    (50, 1.0, 0.518808),
]  # fmt: skip


@pytest.mark.parametrize(("n", "theta", "f"), TANKS)
def test_tanks_in_series(n, theta, f):
    """Regularised lower incomplete gamma function P(N, N theta) (Levenspiel, tanks-in-series model)."""
    assert mx.tanks_in_series(n, theta) == pytest.approx(f, abs=1e-6)
    assert mx.tanks_in_series(n, theta) == pytest.approx(gammainc(n, n * theta), abs=1e-13)
    assert mx.tanks_in_series(n, 0.0) == 0.0


@pytest.mark.parametrize(
    ("d", "v", "eps", "e", "sigma"),
    [(0.2, 2.0, 45e-6, 0.09025, 4.75), (0.1, 1.5, 45e-6, 0.03704, 4.69), (0.3, 2.0, 1.5e-6, 0.12127, 5.51)],
)
def test_taylor_dispersion(d, v, eps, e, sigma):
    """Taylor 1954 (coefficient 10.1 from memory), water, over 1000 m."""
    f = hy.friction_factor(v * d / 1e-6, eps / d)
    dispersion = mx.taylor_dispersion(d, v, f)
    assert dispersion == pytest.approx(e, rel=5e-3)
    assert mx.transit_spread(v, 1000.0, dispersion) == pytest.approx(sigma, rel=5e-3)


def test_taylor_dispersion_details():
    """The first case in full: f 0.015968, shear velocity 0.089354 m/s, Peclet number 22 161."""
    f = hy.friction_factor(4e5, 45e-6 / 0.2)
    assert f == pytest.approx(0.015968, abs=1e-6)
    assert 2.0 * math.sqrt(f / 8.0) == pytest.approx(0.089354, abs=3e-6)
    assert mx.peclet(2.0, 1000.0, mx.taylor_dispersion(0.2, 2.0, f)) == pytest.approx(22161.0, rel=1e-3)


def test_mixed_volume_is_one_tank():
    """A step into a mixed volume is the tank-in-series answer with one tank."""
    for theta in (0.1, 1.0, 3.0):
        assert mx.step_mixing(0.0, 1.0, 0.2, 50.0, theta * 250.0) == pytest.approx(
            mx.tanks_in_series(1, theta)
        )
    assert mx.step_mixing(3.0, 7.0, 0.0, 50.0, 100.0) == 3.0


@pytest.mark.parametrize(
    ("q_in", "q_out"), [(0.3, 0.1), (0.1, 0.3), (0.2, 0.2), (0.2, 0.2 + 1e-12), (0.0, 0.3)]
)
def test_filling_mixed_volume_against_integration(q_in, q_out):
    """Both balances, d(VC)/dt and dV/dt, integrated by an independent solver."""

    def rates(_, y):
        return [q_in - q_out, q_in * 7.0 - q_out * y[1] / y[0]]

    run = solve_ivp(rates, (0.0, 100.0), [40.0, 40.0 * 2.0], rtol=1e-10, atol=1e-12)
    volume, mass = run.y[:, -1]
    assert mx.fill_mixing(2.0, 7.0, q_in, q_out, 40.0, 100.0) == pytest.approx(mass / volume, rel=1e-8)


def test_filling_an_empty_volume():
    assert mx.fill_mixing(2.0, 7.0, 0.3, 0.1, 0.0, 10.0) == 7.0
    assert mx.fill_mixing(2.0, 7.0, 0.1, 1.0, 5.0, 10.0) == 7.0


def test_compiled_equals_plain():
    @kernel
    def run(x, out):
        out[0] = mx.ogata_banks(x, 10.0, 0.5, 0.05)
        out[1] = mx.tanks_in_series(7, x)
        out[2] = mx.fill_mixing(1.0, 2.0, x, 0.5, 40.0, 3.0)
        out[3] = mx.step_mixing(1.0, 2.0, x, 40.0, 3.0)
        out[4] = mx.taylor_dispersion(0.2, x, 0.02)

    for x in (0.3, 0.5, 5.0, 30.0):
        out, plain = np.zeros(5), np.zeros(5)
        run(x, out)
        run.py_func(x, plain)
        np.testing.assert_allclose(out, plain, rtol=1e-12)
