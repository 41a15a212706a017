"""Water hammer against textbook examples."""

import math

import pytest

from plantsim.jit import kernel
from plantsim.physics import surge as sg

FOOT = 0.3048
PSI = 6894.757293


def test_rigid_pipe():
    """Subramanya, 1000 Solved Problems in Fluid Mechanics, Ex. 14.11 (p. 358): 1491.5 m/s."""
    assert sg.wave_speed(2.22e9, 998.0, 1.0, 0.01, math.inf, 1.0) == pytest.approx(1491.5, abs=0.1)


def test_elastic_pipe():
    """Subramanya, Ex. 14.12: K 1.43e9, SG 0.8, 2.5 m, 2 cm, E 2.07e11: 980.4 m/s."""
    assert sg.wave_speed(1.43e9, 0.8 * 998.0, 2.5, 0.02, 2.07e11, 1.0) == pytest.approx(980.4, abs=0.1)


@pytest.mark.parametrize(("young", "mpa"), [(math.inf, 3.040), (2.1e11, 2.482)])
def test_surge_pressure(young, mpa):
    """Subramanya, Ex. 14.15: K 2.1e9, D/t 50, 2.1 m/s stopped, rigid and elastic."""
    a = sg.wave_speed(2.1e9, 998.0, 0.5, 0.01, young, 1.0)
    assert sg.joukowsky_pressure(998.0, a, 2.1) / 1e6 == pytest.approx(mpa, rel=1e-3)


def test_partial_stop():
    """Subramanya, Ex. 14.13: K 2.2e9, rigid, 4 to 1 m/s: 4.445 MPa."""
    a = sg.wave_speed(2.2e9, 998.0, 1.0, 0.01, math.inf, 1.0)
    assert sg.joukowsky_pressure(998.0, a, 3.0) / 1e6 == pytest.approx(4.445, rel=1e-3)


@pytest.mark.parametrize(("cfs", "psi"), [(30.0, 102.9), (20.0, 68.6)])
def test_steel_main(cfs, psi):
    """Daugherty & Franzini, Ex. 13.4 (p. 462): 4 ft main, 3200 ft/s; 30 cfs stopped, and 30 cut to 10."""
    dv = cfs / (math.pi / 4.0 * 4.0**2) * FOOT
    rho = 1.94 * 515.378818
    assert sg.joukowsky_pressure(rho, 3200.0 * FOOT, dv) / PSI == pytest.approx(psi, abs=0.1)
    assert rho * 9.80665 * sg.surge_head(3200.0 * FOOT, dv) / PSI == pytest.approx(psi, abs=0.1)


@pytest.mark.parametrize(("t", "head"), [(2.0, 152.9), (5.0, 61.2), (10.0, 30.6)])
def test_slow_closure(t, head):
    """Michaud (form from memory): 1000 m, 1.5 m/s, 1000 m/s."""
    assert sg.michaud_head(1000.0, 1.5, 1000.0, t, 9.81) == pytest.approx(head, rel=1e-3)


def test_quick_closure_is_joukowsky():
    assert sg.michaud_head(1000.0, 1.5, 1000.0, 0.0, 9.81) == sg.surge_head(1000.0, 1.5, 9.81)
    assert sg.michaud_head(1000.0, 1.5, 1000.0, 2.0, 9.81) == pytest.approx(
        sg.michaud_head(1000.0, 1.5, 1000.0, 2.0 + 1e-9, 9.81), rel=1e-8
    )


def test_anchoring_quickens_the_wave():
    """Wylie & Streeter: 1 - Poisson's ratio squared for a pipe anchored throughout."""
    free = sg.wave_speed(2.2e9, 1000.0, 0.25, 0.01, 1e9, 1.0)
    assert sg.wave_speed(2.2e9, 1000.0, 0.25, 0.01, 1e9, 1.0 - 0.45**2) > free


def test_compiled_equals_plain():
    @kernel
    def run(t):
        a = sg.wave_speed(2.2e9, 1000.0, 0.25, 0.01, 1e9, 1.0)
        return sg.michaud_head(1200.0, 2.0, a, t) + sg.joukowsky_pressure(1000.0, a, 2.0)

    for t in (0.1, 30.0):
        assert run(t) == pytest.approx(run.py_func(t), rel=1e-14)
