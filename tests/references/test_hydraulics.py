"""Pipe flow against textbook examples, exact Colebrook, and an independent open library (fluids)."""

import math

import fluids
import numpy as np
import pytest
from iapws import IAPWS97
from scipy.optimize import brentq

from plantsim.jit import kernel
from plantsim.physics import hydraulics as hy

INCH = 0.0254
FOOT = 0.3048
GPM = 3.785411784e-3 / 60.0

# Cengel & Cimbala, Fluid Mechanics, Ex. 8-3 (p. 360): water in a stainless pipe.
EX83 = {"rho": 999.0, "mu": 1.138e-3, "d": 0.05, "eps": 2e-6}
V83 = 0.006 / hy.area(0.05)


def test_book_pipe_reynolds_and_velocity():
    assert pytest.approx(3.0558, abs=5e-5) == V83
    assert hy.reynolds(V83, 0.05, 999.0, 1.138e-3) == pytest.approx(1.341e5, rel=5e-4)


def test_book_pipe_loss_and_power():
    """Book values f 0.0172, 96.5 kPa, 9.85 m, 579 W carry the rounded velocity of 3.06 m/s."""
    gradient = hy.pressure_gradient(V83, **EX83)
    dp = gradient * 60.0
    f = hy.friction_factor(hy.reynolds(V83, 0.05, 999.0, 1.138e-3), 2e-6 / 0.05)
    assert f == pytest.approx(0.0172, rel=5e-3)
    assert dp == pytest.approx(96.5e3, rel=5e-3)
    assert hy.head_loss(f, 60.0, 0.05, V83, 9.81) == pytest.approx(9.85, rel=5e-3)
    assert dp * 0.006 == pytest.approx(579.0, rel=5e-3)


def test_book_pipe_exact():
    """The same with exact Colebrook (independently computed): 0.017188, 96.20 kPa, 9.817 m, 577.2 W."""
    f = hy.colebrook_exact(hy.reynolds(V83, 0.05, 999.0, 1.138e-3), 2e-6 / 0.05)
    assert f == pytest.approx(0.017188, abs=5e-7)
    assert hy.pressure_gradient(V83, **EX83) * 60.0 == pytest.approx(96.20e3, rel=1e-4)
    assert hy.head_loss(f, 60.0, 0.05, V83, 9.81) == pytest.approx(9.817, rel=1e-4)
    assert hy.pressure_gradient(V83, **EX83) * 60.0 * 0.006 == pytest.approx(577.2, rel=1e-4)


@pytest.mark.parametrize(
    ("formula", "f"), [(hy.swamee_jain, 0.017102), (hy.churchill, 0.017112), (hy.haaland, 0.016980)]
)
def test_explicit_forms_on_the_book_pipe(formula, f):
    assert formula(hy.reynolds(V83, 0.05, 999.0, 1.138e-3), 2e-6 / 0.05) == pytest.approx(f, abs=1e-6)


@pytest.mark.parametrize(
    ("formula", "f", "z", "tol"),
    [
        (hy.friction_factor, 0.0315, 31.8, 0.1),  # printed
        (hy.colebrook_exact, 0.031519, 31.82, 0.01),
        (hy.swamee_jain, 0.031752, 32.02, 0.01),
    ],
)
def test_reservoir_with_minor_losses(formula, f, z, tol):
    """Cengel & Cimbala, Ex. 8-8 (p. 377): level that drives 6 L/s through 89 m of cast iron."""
    re = hy.reynolds(V83, 0.05, 999.7, 1.307e-3)
    assert re == pytest.approx(1.1687e5, rel=1e-4)
    factor = formula(re, 0.26 / 50.0)
    k = 0.5 + 2 * 0.3 + 0.2 + 1.06
    level = 4.0 + hy.head_loss(factor, 89.0, 0.05, V83, 9.81) + hy.minor_loss(k, V83, 9.81)
    assert factor == pytest.approx(f, abs=5e-5)
    assert level == pytest.approx(z, abs=tol)


def test_diameter_and_flow_direct():
    """Cengel & Cimbala, Ex. 8-4 (D 0.271 m) and Ex. 8-5 (Q 0.237 m3/s)."""
    assert hy.diameter_for_flow(0.35, 150.0, 20.0, 1.655e-5, 0.0, 9.81) == pytest.approx(0.271, abs=1e-3)
    assert hy.diameter_for_flow(0.35, 150.0, 20.0, 1.655e-5, 0.0, 9.81) == pytest.approx(0.27078, abs=1e-5)
    q = hy.flow_for_head(0.267, 300.0, 20.0, 1.655e-5, 0.0, 9.81)
    assert q == pytest.approx(0.237, abs=1e-3)
    assert 0.35 - q == pytest.approx(0.11, abs=5e-3)


def test_bore_by_root_finding():
    """Cengel & Cimbala, Ex. 8-4: the exact answer 0.267 m, f 0.0180, Re 1.008e5."""

    def miss(d: float) -> float:
        v = 0.35 / hy.area(d)
        return hy.head_loss(hy.friction_factor(v * d / 1.655e-5, 0.0), 150.0, d, v, 9.81) - 20.0

    d = brentq(miss, 0.1, 1.0)
    re = 0.35 / hy.area(d) * d / 1.655e-5
    assert d == pytest.approx(0.267, abs=5e-4)
    assert re == pytest.approx(1.008e5, rel=2e-3)
    assert hy.friction_factor(re, 0.0) == pytest.approx(0.0180, abs=5e-5)


GRID = [
    (1e5, 1e-3, 0.022175, 0.022342, 0.022343),
    (1e6, 1e-4, 0.013441, 0.013508, 0.013508),
    (1e4, 0.0, 0.030883, 0.030972, 0.031002),
    (1e7, 1e-2, 0.037910, 0.037917, 0.037897),
]


@pytest.mark.parametrize(("re", "rough", "colebrook", "swamee", "churchill"), GRID)
def test_friction_grid(re, rough, colebrook, swamee, churchill):
    """Independent values of the three published equations, to 1e-6."""
    assert hy.colebrook_exact(re, rough) == pytest.approx(colebrook, abs=1e-6)
    assert hy.swamee_jain(re, rough) == pytest.approx(swamee, abs=1e-6)
    assert hy.churchill(re, rough) == pytest.approx(churchill, abs=1e-6)
    assert hy.friction_factor(re, rough) == pytest.approx(colebrook, rel=1e-4)


def test_laminar():
    """Hagen-Poiseuille, f = 64/Re; Churchill joins it."""
    assert hy.friction_factor(1000.0, 1e-3) == 0.064
    assert hy.laminar_friction(1000.0) == 0.064
    assert hy.churchill(1000.0, 0.0) == pytest.approx(0.0640, abs=1e-5)
    # 32 mu V / D2 of Poiseuille
    assert hy.pressure_gradient(0.01, 0.05, 1000.0, 1e-3, 0.0) == pytest.approx(32 * 1e-3 * 0.01 / 0.05**2)


def test_fast_form_is_within_a_tenth_of_a_percent_of_colebrook():
    """Serghides against the exact root over the whole turbulent chart; the library agrees with the root."""
    worst = 0.0
    for re in np.logspace(math.log10(4000.0), 8.0, 45).tolist():
        for rough in [0.0, 1e-6, 1e-5, 1e-4, 1e-3, 1e-2, 5e-2]:
            exact = hy.colebrook_exact(re, rough)
            assert exact == pytest.approx(fluids.friction.Colebrook(re, rough), rel=1e-10)
            worst = max(worst, abs(hy.friction_factor(re, rough) / exact - 1.0))
    assert worst < 1e-4


@pytest.mark.parametrize("re", [1e12, 1e16, 1e30])
def test_fully_rough_flow_has_no_zero_over_zero(re):
    """Von Karman's rough limit f = [2 log10(3.7 D/eps)]^-2 (Nikuradse 1933)."""
    assert hy.serghides(re, 0.02) == pytest.approx((2.0 * math.log10(3.7 / 0.02)) ** -2, rel=1e-6)


@pytest.mark.parametrize(
    ("name", "formula"),
    [
        ("Swamee_Jain_1976", hy.swamee_jain),
        ("Haaland", hy.haaland),
        ("Churchill_1977", hy.churchill),
        ("Serghides_1", hy.serghides),
    ],
)
def test_explicit_forms_equal_the_library(name, formula):
    other = getattr(fluids.friction, name)
    for re in [5e3, 4e4, 1e6, 5e7]:
        for rough in [1e-6, 1e-4, 1e-2]:
            assert formula(re, rough) == pytest.approx(other(re, rough), rel=2e-4)


@pytest.mark.parametrize("rough", [0.0, 1e-4, 1e-2])
def test_blend_is_continuous_smooth_and_rising(rough):
    """No jump in factor or slope at 2000 and 4000, and the loss rises with the velocity throughout."""
    for edge in (2000.0, 4000.0):
        below, at, above = (hy.friction_factor(edge + x, rough) for x in (-0.01, 0.0, 0.01))
        assert below == pytest.approx(at, rel=1e-5)
        assert above == pytest.approx(at, rel=1e-5)
        assert (at - below) == pytest.approx(above - at, rel=2e-3)
    re = np.linspace(1000.0, 6000.0, 2001)
    loss = [hy.friction_factor(x, rough) * x * x for x in re]
    assert np.all(np.diff(loss) > 0.0)


def test_two_inch_plastic_pipe():
    """Crane TP-410M, Ex. 7-1: 200 L/min of water at 30 C in 50 mm (52.48 mm bore): Re 100 600, f 0.0179."""
    water = IAPWS97(T=303.15, P=0.101325)
    d = fluids.nearest_pipe(NPS=2, schedule="40")[1]
    v = 0.2 / 60.0 / hy.area(d)
    re = hy.reynolds(v, d, water.rho, water.mu)
    assert re == pytest.approx(100600.0, rel=0.012)
    assert hy.friction_factor(re, 0.0) == pytest.approx(0.0179, rel=0.012)


def test_sudden_enlargement():
    """Coulson & Richardson vol. 1, Ex. 3.6 (p. 88): 7.2 m3/h from 40 to 50 mm costs 16.7 mm of water."""
    q = 7.2 / 3600.0
    loss = hy.sudden_enlargement_loss(q / hy.area(0.04), q / hy.area(0.05), 9.81)
    assert loss * 1000.0 == pytest.approx(16.7, abs=0.1)


@pytest.mark.parametrize(("gpm", "head_ft"), [(100.0, 273.0), (200.0, 296.0), (300.0, 335.0)])
def test_system_curve(gpm, head_ft):
    """Hydraulic Institute Engineering Data Book, "System Curves", Calc. 1.A.1-3 and table: 265 +
    7.75e-4 Q2.
    """
    d = 4.026 * INCH
    v = gpm * GPM / hy.area(d)
    k = 2 * 0.31 + 2.0 + 0.17 + 1.0
    head = 265.0 * FOOT + hy.head_loss(0.02, 1255.0 * FOOT, d, v) + hy.minor_loss(k, v)
    assert head / FOOT == pytest.approx(head_ft, abs=0.5)
    assert head / FOOT == pytest.approx(265.0 + 7.75e-4 * gpm**2, abs=0.1)


def test_gravity_flow_through_fittings():
    """Crane TP-410, Ex. 7-19: 11.5 ft of head, 10 ft of 3 in and 20 ft of 2 in pipe, 137 gpm.

    Fittings from memory: entrance 0.5, mitre bend 60 fT, reduction, gate valve 8 fT, exit 1.
    """
    d3, d2, eps, nu = 3.068 * INCH, 2.067 * INCH, 0.00015 * FOOT, 1.13e-6
    beta2 = (d2 / d3) ** 2

    def miss(q: float) -> float:
        v3, v2 = q / hy.area(d3), q / hy.area(d2)
        loss = hy.minor_loss(0.5 + 60 * 0.018, v3) + hy.minor_loss(0.5 * (1 - beta2) + 8 * 0.019 + 1.0, v2)
        loss += hy.head_loss(hy.friction_factor(v3 * d3 / nu, eps / d3), 10 * FOOT, d3, v3)
        loss += hy.head_loss(hy.friction_factor(v2 * d2 / nu, eps / d2), 20 * FOOT, d2, v2)
        return loss - 11.5 * FOOT

    assert brentq(miss, 1e-4, 0.1) / GPM == pytest.approx(137.0, rel=0.01)


def test_losses_carry_the_sign_of_the_flow():
    assert hy.pressure_gradient(-2.0, 0.1, 1000.0, 1e-3, 0.0) == -hy.pressure_gradient(
        2.0, 0.1, 1000.0, 1e-3, 0.0
    )
    assert hy.pressure_gradient(0.0, 0.1, 1000.0, 1e-3, 0.0) == 0.0
    assert hy.minor_loss(2.0, -1.0) == -hy.minor_loss(2.0, 1.0) < 0.0
    assert hy.head_loss(0.02, 10.0, 0.1, -1.0) < 0.0


def test_compiled_equals_plain():
    @kernel
    def run(v, out):
        out[0] = hy.pressure_gradient(v, 0.1, 1100.0, 2e-3, 4e-5)
        out[1] = hy.friction_factor(3000.0 * v, 1e-3)
        out[2] = hy.head_loss(0.02, 10.0, 0.1, v)
        out[3] = hy.flow_for_head(0.2, 100.0, v, 1e-6, 1e-5)

    for v in (0.5, 0.9, 3.0):
        out = np.zeros(4)
        run(v, out)
        plain = np.zeros(4)
        run.py_func(v, plain)
        np.testing.assert_allclose(out, plain, rtol=1e-13)
