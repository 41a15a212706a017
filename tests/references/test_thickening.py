"""Thickener areas and limiting fluxes against worked examples and exact solutions."""

import math

import numpy as np
import pytest
from numba import njit
from scipy.optimize import minimize_scalar

from plantsim.physics import thickening
from plantsim.physics.kynch import batch_vesilind

VELOCITIES = [2.00e-4, 1.20e-4, 0.94e-4, 0.70e-4, 0.50e-4]


def test_coe_clevenger_coulson_richardson():
    # Coulson & Richardson vol. 2, Ex. 5.1 p. 264: (Y-U)/u = 17500, 22500, 23404, 22857, 20000 s/m; 31.12 m2
    # with the maximum rounded to 23400.
    dilutions = [5.0, 4.2, 3.7, 3.1, 2.5]
    found = [
        1000.0 * thickening.coe_clevenger_unit_area(y, 1.5, u, 1000.0) for y, u in zip(dilutions, VELOCITIES)
    ]
    assert found == pytest.approx([17500.0, 22500.0, 23404.0, 22857.0, 20000.0], rel=1e-4)
    assert thickening.coe_clevenger_area(1.33, dilutions, 1.5, VELOCITIES) == pytest.approx(31.12, rel=2e-3)


def test_coe_clevenger_tutorial():
    # Aziz, Particle Technology tutorial 7 (2022), Q2 (inputs; the answer recomputed): 5833 s/m at Y = 1.2.
    area = thickening.coe_clevenger_area(2.0, [1.5, 1.2, 1.0, 0.8, 0.5], 0.5, VELOCITIES)
    assert area == pytest.approx(11.67, rel=2e-3)
    assert thickening.coe_clevenger_unit_area(1.2, 0.5, 1.2e-4, 1.0) == pytest.approx(5833.0, rel=1e-4)
    with pytest.raises(ValueError, match="2 dilutions but 1 velocities"):
        thickening.coe_clevenger_area(2.0, [1.5, 1.2], 0.5, [1e-4])


# Tangent, numeric minimum and Lambert W, recomputed independently. Second row: Daigger, Water Environ.
# Res. 67 (1995), SVI 150 (parameters from memory). Units m/h and kg/(m2 h).
@pytest.mark.parametrize(
    "v0, r, c_u, c_l, j_l, q",
    [
        (7.0, 0.35, 20.0, 16.54654, 2.048594, 0.102430),
        (math.exp(1.871), 0.1646 + 0.001586 * 150, 12.0, 8.48723, 6.184134, 0.515345),
    ],
)
def test_limiting_flux(v0, r, c_u, c_l, j_l, q):
    # The second row's inputs are printed rounded (6.495, 0.4025): 1e-4 covers the rounding.
    tol = 1e-5 if c_u == 20.0 else 3e-4
    found = thickening.limiting_flux_vesilind(v0, r, c_u)
    assert found == pytest.approx((c_l, j_l), rel=tol)
    assert found[1] / c_u == pytest.approx(q, rel=tol)
    again = thickening.limiting_flux_vesilind_from_rate(v0, r, found[1] / c_u)
    assert again == pytest.approx(found, rel=1e-9)
    # Independent: the least total flux between the peak and the underflow.
    low = minimize_scalar(
        lambda c: c * (v0 * math.exp(-r * c) + found[1] / c_u), bounds=(2.0 / r, c_u), method="bounded"
    )
    assert low.fun == pytest.approx(found[1], rel=1e-8)


def test_no_bottleneck():
    # r C_u < 4, or q > v0/e^2: the total flux curve has no minimum.
    assert all(math.isnan(x) for x in thickening.limiting_flux_vesilind(7.0, 0.35, 11.0))
    with pytest.raises(ValueError, match="v0/e"):
        thickening.limiting_flux_vesilind_from_rate(7.0, 0.35, 1.0)


def test_state_point_bsm1():
    # BSM1 settler (Alex and others, 2008): feed 3.269837 kg/m3, 36892 m3/d in, 18831 m3/d down, 1500 m2; per
    # day. Values recomputed independently.
    found = thickening.state_point(3.269837, 36892.0, 18831.0, 1500.0)
    assert found[0] == pytest.approx(3.269837 * 12.04067, rel=1e-6)
    assert found[1:] == pytest.approx((12.04067, 12.55400, 6.40597), rel=1e-6)
    # Solids applied per area: overflow and underflow line together.
    assert 3.269837 * (found[1] + found[2]) == pytest.approx(80.4205, rel=1e-5)


# A measured curve of wash water: minutes, cm; 2 g/L at the start. Kynch concentrations by spline tangents,
# 10 % (coursehero 23943069: data read, values recomputed).
MINUTES = [0, 1, 2, 3, 4, 5, 6, 7, 8, 10, 12, 14, 16, 18, 20, 26]
CM = [48, 28, 23.4, 20.6, 18.4, 16.8, 15.7, 14.8, 14, 12.8, 11.8, 11.2, 10.6, 10.4, 10.2, 10]


@pytest.mark.parametrize("t, c", [(2, 3.17), (4, 3.71), (6, 4.44), (8, 4.91)])
def test_wash_water_curve(t, c):
    curve = thickening.BatchCurve([60.0 * m for m in MINUTES], [0.01 * z for z in CM], 2.0)
    assert curve.concentration(60.0 * t) == pytest.approx(c, rel=0.1)


def test_wash_water_curve_gives_no_area_for_a_thick_underflow():
    # The same test asks for 20 g/L, that is 4.8 cm; the mud never came below 10 cm.
    curve = thickening.BatchCurve([60.0 * m for m in MINUTES], [0.01 * z for z in CM], 2.0)
    with pytest.raises(ValueError, match=r"0\.048 m, but the test ended at 0\.1 m"):
        curve.unit_area(20.0, 600.0)


def vesilind_curve():
    exact = batch_vesilind(3.0, 1.0, 7.0, 0.35)
    times = np.concatenate([np.linspace(0.0, exact.t1, 5), np.geomspace(exact.t1, 40.0, 400)[1:]])
    return exact, thickening.BatchCurve(list(times), [exact.interface_height(t) for t in times], 3.0)


@pytest.mark.parametrize("t", [0.1, 0.5, 1.0, 3.0, 10.0])
def test_tangents_recover_the_settling_law(t):
    # Kynch's theorem on his own exact solution: the tangent gives concentration and velocity of the law.
    exact, curve = vesilind_curve()
    c = curve.concentration(t)
    assert c == pytest.approx(exact.interface_concentration(t), rel=1e-3)
    assert curve.velocity(t) == pytest.approx(7.0 * math.exp(-0.35 * c), rel=2e-3)


def test_talmage_fitch_meets_the_limiting_flux():
    # Without compression the unit area is the inverse of the limiting flux (closed form at 20 kg/m3).
    _, curve = vesilind_curve()
    assert curve.unit_area(20.0, 39.0) == pytest.approx(1.0 / 2.048594, rel=1e-4)
    # A compression point above z_u: the tangent there, found by hand on the exact law.
    exact = batch_vesilind(3.0, 1.0, 7.0, 0.35)
    c = exact.interface_concentration(1.0)
    by_hand = 1.0 + (exact.interface_height(1.0) - 3.0 / 20.0) / (7.0 * math.exp(-0.35 * c))
    assert curve.underflow_time(20.0, 1.0) == pytest.approx(by_hand, rel=1e-3)


def test_bad_curves_are_refused():
    with pytest.raises(ValueError, match="times must rise"):
        thickening.BatchCurve([0.0, 2.0, 1.0], [3.0, 2.0, 1.0], 2.0)
    with pytest.raises(ValueError, match="times must rise"):
        thickening.BatchCurve([0.0, 1.0, 2.0], [3.0, 2.0, 2.5], 2.0)
    with pytest.raises(ValueError, match="three or more"):
        thickening.BatchCurve([0.0, 1.0], [3.0, 2.0], 2.0)


def test_compiled_equals_python():
    def everything():
        a, b = thickening.limiting_flux_vesilind(7.0, 0.35, 20.0)
        c, d, e, f = thickening.state_point(3.27, 36892.0, 18831.0, 1500.0)
        return a, b, c, d, e, f, thickening.coe_clevenger_unit_area(5.0, 1.5, 2e-4, 1000.0)

    np.testing.assert_allclose(njit(error_model="numpy")(everything)(), everything(), rtol=1e-13)
