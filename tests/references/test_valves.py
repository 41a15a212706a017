"""Valve formulas against the standard's definitions and handbook examples."""

import math

import numpy as np
import pytest
from fluids.fittings import Cv_to_Kv, K_to_Kv

from plantsim.jit import kernel
from plantsim.physics import valves as vv

INCH = 0.0254
GPM = 3.785411784e-3 / 60.0
PSI = 6894.757293


def test_kv_definition():
    """IEC 60534-1 (534-1) as in the Valve Selection Handbook, p. 46: Kv 10 at 0.25 bar passes 5.0 m3/h
    of water.
    """
    assert vv.kv_flow(10.0, 25e3, 1.0) * 3600.0 == pytest.approx(5.0, rel=1e-12)
    assert vv.kv_pressure_drop(10.0, 5.0 / 3600.0, 1.0) == pytest.approx(25e3, rel=1e-12)
    assert vv.kv_flow(10.0, -25e3, 1.0) * 3600.0 == pytest.approx(-5.0, rel=1e-12)
    assert vv.kv_pressure_drop(10.0, -5.0 / 3600.0, 1.0) == pytest.approx(-25e3, rel=1e-12)
    assert vv.kv_flow(10.0, 0.0, 1.0) == 0.0


def test_cv_to_kv():
    """0.865 in IEC 60534; 0.864978 in exact units; the library agrees."""
    assert vv.cv_to_kv(1.0) == pytest.approx(0.864978, abs=1e-6)
    assert vv.cv_to_kv(1.0) == pytest.approx(0.865, rel=1e-3)
    assert vv.cv_to_kv(20.0) == pytest.approx(Cv_to_Kv(20.0), rel=1e-6)
    assert vv.kv_to_cv(vv.cv_to_kv(80.0)) == pytest.approx(80.0, rel=1e-14)


def test_liquid_sizing():
    """Crane TP-410, Ex. 7-27: 250 gpm, 60.998 lb/ft3, 80.6 to 70.8 psia; 78.98 bare, 80.0 with reducers
    3 to 4 in.
    """
    sg = 60.998 / 62.364
    q, dp = 250.0 * GPM, (80.6 - 70.8) * PSI
    cv = 250.0 * math.sqrt(sg / 9.8)
    assert cv == pytest.approx(78.98, abs=0.01)
    assert vv.kv_flow(vv.cv_to_kv(cv), dp, sg) == pytest.approx(q, rel=1e-4)
    k = 1.5 * (1.0 - (3.0 / 4.0) ** 2) ** 2
    needed = cv
    for _ in range(20):
        needed = cv / vv.piping_factor(vv.cv_to_kv(needed), 3.0 * INCH, k)
    assert needed == pytest.approx(80.0, rel=2e-3)


def test_loss_coefficient():
    """Crane TP-410M, Ex. 7-3: K 2.475 on a 97.2 mm seat is Kv 240.2."""
    assert vv.kv_from_loss(2.475, 0.0972) == pytest.approx(240.2, rel=1e-3)
    assert vv.kv_from_loss(2.475, 0.0972) == pytest.approx(K_to_Kv(2.475, 0.0972), rel=2e-3)
    assert vv.loss_from_kv(vv.kv_from_loss(2.475, 0.0972), 0.0972) == pytest.approx(2.475, rel=1e-12)


@pytest.mark.parametrize(
    ("lift", "phi"), [(0.0, 0.02), (0.25, 0.05318), (0.5, 0.14142), (0.75, 0.37606), (1.0, 1.0)]
)
def test_equal_percentage(lift, phi):
    """Inherent form R^(l - 1), rangeability 50."""
    assert vv.equal_percentage(lift, 50.0) == pytest.approx(phi, abs=1e-5)


INSTALLED = [
    ("eq", 0.5, 0.0, 0.02828), ("eq", 0.5, 0.25, 0.07511),
    ("eq", 0.5, 0.5, 0.19803), ("eq", 0.5, 0.75, 0.49779),
    ("eq", 0.1, 0.0, 0.06313), ("eq", 0.1, 0.25, 0.16608),
    ("eq", 0.1, 0.5, 0.41169), ("eq", 0.1, 0.75, 0.78882),
    ("lin", 0.3, 0.1, 0.18048), ("lin", 0.3, 0.25, 0.42640),
    ("lin", 0.3, 0.5, 0.72548), ("lin", 0.3, 0.75, 0.90045),
]  # fmt: skip


@pytest.mark.parametrize(("plug", "authority", "lift", "fraction"), INSTALLED)
def test_installed(plug, authority, lift, fraction):
    """Two quadratic losses in series; and the same from the pressure balance with Kv."""
    phi = vv.equal_percentage(lift, 50.0) if plug == "eq" else vv.linear_characteristic(lift, 0.0)
    assert vv.installed_flow(phi, authority) == pytest.approx(fraction, abs=1e-5)
    q = vv.kv_flow(10.0, authority * 1e5, 1.0) * fraction
    line = (1.0 - authority) * 1e5 * fraction**2
    assert vv.kv_pressure_drop(10.0 * phi, q, 1.0) + line == pytest.approx(1e5, rel=2e-3)


def test_ends_of_travel():
    assert vv.installed_flow(0.0, 0.5) == 0.0
    assert vv.installed_flow(1.0, 0.3) == pytest.approx(1.0)
    assert vv.linear_characteristic(0.0, 0.02) == 0.02
    assert vv.linear_characteristic(2.0, 0.02) == 1.0
    assert vv.equal_percentage(-1.0, 50.0) == pytest.approx(0.02)


def test_compiled_equals_plain():
    @kernel
    def run(x, out):
        out[0] = vv.kv_flow(10.0, x * 1e5, 1.1)
        out[1] = vv.installed_flow(vv.equal_percentage(x, 50.0), 0.3)
        out[2] = vv.kv_pressure_drop(10.0, x, 1.1)
        out[3] = vv.piping_factor(60.0, 0.08, x * x)

    for x in (-0.5, 0.0, 0.4):
        out, plain = np.zeros(4), np.zeros(4)
        run(x, out)
        run.py_func(x, plain)
        np.testing.assert_allclose(out, plain, rtol=1e-13)
