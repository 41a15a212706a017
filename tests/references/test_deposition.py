"""Deposition velocities from the published equations, and one worked slurry example."""

import pytest
from scipy.optimize import brentq

from plantsim.jit import kernel
from plantsim.physics import deposition as dp
from plantsim.physics import hydraulics as hy


@pytest.mark.parametrize(
    ("d", "fl", "v"),
    [(0.1, 1.34, 2.411), (0.2, 1.34, 3.410), (0.2, 0.8, 2.036), (0.15, 1.0, 2.204), (0.3, 1.34, 4.176)],
)
def test_durand(d, fl, v):
    """Durand 1953, F_L = V/(2 g D (S - 1))^0.5 as defined in Miedema, Slurry Transport, 8.11; solids of
    2.65.
    """
    assert dp.durand_velocity(fl, d, 2.65, 9.81) == pytest.approx(v, rel=1e-3)


def test_very_fine():
    """Miedema, Slurry Transport, 8.11.2: (nu Rsd g)^(1/3) = 0.025296 m/s; 0.818 m/s at friction 0.015."""
    assert dp.very_fine_limit(1e-6, 2.65, 8 * 1.4**2, 9.81) == pytest.approx(0.025296, abs=5e-7)
    assert dp.very_fine_limit(1e-6, 2.65, 0.015, 9.81) == pytest.approx(0.818, rel=2e-3)


@pytest.mark.parametrize(("d_particle", "cv", "v"), [(2e-4, 0.10, 1.634), (1e-4, 0.20, 1.656)])
def test_wasp(d_particle, cv, v):
    """Wasp, Kenny & Gandhi 1977, constants from memory; 0.2 m bore, solids of 2.65."""
    assert dp.wasp_velocity(cv, d_particle, 0.2, 2.65, 9.81) == pytest.approx(v, rel=1e-3)
    assert dp.wasp_velocity(0.0, d_particle, 0.2, 2.65) == 0.0


@pytest.mark.parametrize(("f", "v"), [(0.012, 2.682), (0.018, 2.545), (0.025, 2.438)])
def test_wilson_ceiling(f, v):
    """Wilson 1992, coefficients from memory; 0.2 m bore, solids of 2.65."""
    assert dp.wilson_ceiling(f, 0.2, 2.65, 9.81) == pytest.approx(v, rel=1e-3)


@pytest.mark.parametrize(
    ("d", "mm", "v"), [(0.2, 0.2, 2.687), (0.2, 0.5, 3.537), (0.2, 1.0, 3.281), (0.3, 0.7, 4.500)]
)
def test_wilson_fit(d, mm, v):
    """Fit to the nomograph of Wilson, Addie, Sellgren & Clift, equation from memory; solids of 2.65."""
    assert dp.wilson_fit(mm * 1e-3, d, 2.65) == pytest.approx(v, rel=1e-3)


def test_any_size():
    """Silt takes the very-fine limit; sand takes the fit, and the ceiling where the fit passes it."""
    args = (0.2, 2.65, 1e-6, 0.018)
    assert dp.limiting_velocity(1e-5, *args) == dp.very_fine_limit(1e-6, 2.65, 0.018)
    assert dp.limiting_velocity(1.3e-4, *args) == dp.wilson_fit(1.3e-4, 0.2, 2.65)
    assert dp.limiting_velocity(5e-4, *args) == dp.wilson_ceiling(0.018, 0.2, 2.65)


def test_sand_in_a_small_line():
    """Coulson & Richardson vol. 1, Ex. 5.2 (p. 212): C = 0.30, sand 0.56 kg/s or 2.0 t/h.

    Sand 0.2 mm, 2600 kg/m3, settling 0.0239 m/s; water 0.5 kg/s, 25 mm bore, 100 m, 300 kN/m2; phi 0.0046 is
    one eighth of the Darcy factor.
    """
    d, s, u0 = 0.025, 2.6, 0.0239
    v = 0.5 / 1000.0 / hy.area(d)
    assert v == pytest.approx(1.0186, abs=5e-5)
    i_water = hy.head_loss(8 * 0.0046, 1.0, d, v, 9.81)
    assert i_water == pytest.approx(0.07784, rel=1e-3)
    i_limit = 300e3 / (1000.0 * 9.81) / 100.0
    assert i_limit == pytest.approx(0.30581, rel=1e-4)
    c = brentq(lambda c: dp.newitt_gradient(i_water, c, v, d, s, u0, 9.81) - i_limit, 0.0, 0.6)
    assert c == pytest.approx(0.30, rel=0.01)
    sand = c / (1.0 - c) * 0.5 / 1000.0 * 2600.0
    assert sand == pytest.approx(0.56, rel=0.01)
    assert sand * 3.6 == pytest.approx(2.0, rel=0.01)


def test_compiled_equals_plain():
    @kernel
    def run(x):
        return dp.limiting_velocity(x, 0.2, 2.65, 1e-6, 0.018) + dp.wasp_velocity(0.1, x, 0.2, 2.65)

    for x in (1e-5, 2e-4, 1e-3):
        assert run(x) == pytest.approx(run.py_func(x), rel=1e-13)
