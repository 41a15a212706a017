"""Consolidation against the published table and worked examples of Das."""

import math

import numpy as np
import pytest
from numba import njit
from scipy.integrate import solve_ivp

from plantsim.physics import consolidation as co

DAY = 86400.0
# Terzaghi's solution, exact series (2000 terms, recomputed independently), and as printed in textbooks.
EXACT = [
    (0.10, 0.00785), (0.20, 0.03142), (0.30, 0.07069), (0.40, 0.12567), (0.50, 0.19673), (0.60, 0.28640),
    (0.70, 0.40285), (0.80, 0.56716), (0.90, 0.84809), (0.95, 1.12901), (0.99, 1.78129),
]  # fmt: skip
PRINTED = [0.008, 0.031, 0.071, 0.126, 0.197, 0.286, 0.403, 0.567, 0.848, 1.129, 1.781]


@pytest.mark.parametrize("row, printed", zip(EXACT, PRINTED))
def test_table(row, printed):
    u, t = row
    assert co.time_factor(u) == pytest.approx(t, abs=6e-6)
    assert co.time_factor(u) == pytest.approx(printed, abs=6e-4)
    assert co.degree(co.time_factor(u)) == pytest.approx(u, rel=1e-12)
    # The law in two branches, as Casagrande fitted it: within half a per cent.
    assert co.time_factor_fitted(u) == pytest.approx(t, rel=5e-3)
    assert co.degree_fitted(co.time_factor_fitted(u)) == pytest.approx(u, rel=1e-12)


@pytest.mark.parametrize(
    "t, u",
    [
        (0.01, 0.11284), (0.05, 0.25231), (0.1, 0.35682), (0.2, 0.50409), (0.4, 0.69788), (0.6, 0.81556),
        (0.8, 0.88740), (1.0, 0.93126), (1.5, 0.97998), (2.0, 0.99417),
    ],
)  # fmt: skip
def test_degree(t, u):
    assert co.degree(t) == pytest.approx(u, abs=6e-6)
    assert co.degree_fitted(t) == pytest.approx(u, rel=3e-3)


def test_degree_joins_its_short_time_form():
    assert co.degree(0.01 * (1 - 1e-12)) == pytest.approx(co.degree(0.01), rel=1e-10)
    assert co.degree(0.0) == 0.0 and co.time_factor(0.0) == 0.0
    assert co.time_factor(1.0) == math.inf and co.time_factor_fitted(1.0) == math.inf
    assert co.degree(1e3) == 1.0


@pytest.mark.parametrize(
    "t, base, quarter",
    [
        (0.1, 0.94931, 0.73565), (0.2, 0.77231, 0.55318), (0.5, 0.37078, 0.26219),
        (0.848, 0.15711, 0.11110), (1.0, 0.10798, 0.07635),
    ],
)  # fmt: skip
def test_excess_pressure(t, base, quarter):
    # The same series at the impervious face and half-way to it (the quarter depth of a layer drained twice).
    assert co.excess_pressure_ratio(1.0, t) == pytest.approx(base, abs=6e-6)
    assert co.excess_pressure_ratio(0.5, t) == pytest.approx(quarter, abs=6e-6)
    assert co.excess_pressure_ratio(0.0, t) == pytest.approx(0.0, abs=1e-12)


def test_published_branches():
    # Open course script: pi/4 U^2 for small U, -0.933 log10(1-U) - 0.085 beyond.
    for u in (0.1, 0.3, 0.5):
        assert co.time_factor_fitted(u) == pytest.approx(math.pi / 4 * u * u, rel=1e-12)
    for u in (0.6, 0.8, 0.95):
        assert co.time_factor_fitted(u) == pytest.approx(-0.933 * math.log10(1 - u) - 0.085, abs=5e-4)
    join = co.BRANCH_DEGREE
    below, above = co.time_factor_fitted(join * (1 - 1e-12)), co.time_factor_fitted(join)
    assert below == pytest.approx(above, rel=1e-10)


def test_rate_integrates_to_the_table():
    # The rate as a function of U alone, integrated by an outside solver from nearly nothing.
    start = 1e-3
    t0 = math.pi / 4 * start**2
    times = [t for _, t in EXACT]
    run = solve_ivp(
        lambda _, u: [co.degree_rate(u[0])], (t0, 2.0), [start], t_eval=times, rtol=1e-9, atol=1e-12
    )
    for (u, _), found in zip(EXACT, run.y[0]):
        assert found == pytest.approx(u, rel=5e-3)


@pytest.mark.parametrize("steps", [1, 7, 400])
def test_state_advances_exactly_at_any_step(steps):
    for u, t in EXACT:
        state = 0.0
        for _ in range(steps):
            state = co.advance_degree(state, t / steps)
        assert state == pytest.approx(u, rel=5e-3)
        assert state == pytest.approx(co.degree_fitted(t), rel=1e-11)
    assert co.advance_degree(1.0, 0.1) == 1.0


@pytest.mark.parametrize("u", [0.05, 0.3, 0.5, 0.55, 0.8, 0.97])
def test_rate_is_the_derivative(u):
    h = 1e-6
    slope = (co.time_factor_fitted(u + h) - co.time_factor_fitted(u - h)) / (2 * h)
    assert co.degree_rate(u) == pytest.approx(1.0 / slope, rel=1e-6)
    assert co.degree_rate(1.0) == 0.0 and math.isfinite(co.degree_rate(0.0))


def test_das_laboratory_to_field():
    # Das, Principles of Geotechnical Engineering, Ex. 11.7 and 11.8 (p. 336): t50 = 140 s of a 25 mm specimen
    # drained twice; 3 m of clay over rock: 93.3 d to 50 %, 33.6 d to 30 %.
    c_v = co.coefficient_from_test(0.5, 140.0, 0.0125)
    assert co.time_to_degree(0.5, c_v, 3.0) / DAY == pytest.approx(93.3, abs=0.1)
    assert co.time_to_degree(0.3, c_v, 3.0) / DAY == pytest.approx(33.6, abs=0.1)


def test_das_coefficient():
    # Das, Ex. 11.9: 90 % in 75 d over a path of 1.5 m: 0.00294 cm2/s.
    assert 1e4 * co.coefficient_from_test(0.9, 75 * DAY, 1.5) == pytest.approx(0.00294, rel=0.01)


@pytest.mark.parametrize(
    "u, path, years", [(0.5, 1.0, 0.0984), (0.5, 2.0, 0.3935), (0.9, 1.0, 0.4240), (0.9, 2.0, 1.6962)]
)
def test_drainage_path(u, path, years):
    # 2 m2/yr, 2 m thick, drained twice or once (recomputed independently).
    assert co.time_to_degree(u, 2.0, path) == pytest.approx(years, rel=1e-3)


def test_das_settlement():
    # Das, Principles of Foundation Engineering, Ex. 1.7 (p. 38): 87.5 mm; 40 mm reached in 31.6 d.
    s = co.settlement(2.8, 0.92, 0.86)
    assert s == pytest.approx(0.0875, rel=5e-3)
    c_v = co.coefficient_from_test(0.5, 4.5 * 60.0, 0.0127)
    assert co.time_to_degree(0.040 / s, c_v, 1.4) / DAY == pytest.approx(31.6, rel=5e-3)


def test_compiled_equals_python():
    def everything():
        return (
            co.degree(0.3),
            co.time_factor(0.4),
            co.time_factor(0.9),
            co.excess_pressure_ratio(0.7, 0.2),
            co.time_factor_fitted(0.7),
            co.degree_fitted(0.5),
            co.degree_rate(0.4),
            co.advance_degree(0.4, 0.3),
            co.time_to_degree(0.5, 1e-7, 1.0),
            co.coefficient_from_test(0.5, 140.0, 0.0125),
            co.settlement(2.8, 0.92, 0.86),
        )

    np.testing.assert_allclose(njit(error_model="numpy")(everything)(), everything(), rtol=1e-12)
