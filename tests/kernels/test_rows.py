"""The kernel's short formulas of water and of small exponentials, held to the ones they stand for."""

from __future__ import annotations

import math

import numpy as np
import pytest
from iapws import IAPWS95

from plantsim.kernels.line import vapour_pressure
from plantsim.kernels.rows import part_gone, relative_fluidity, relative_viscosity, water_density

CELSIUS = np.linspace(0.02, 40.0, 41)
ATMOSPHERE = 0.101325


def test_fluidity_is_that_of_iapws_within_five_in_ten_thousand() -> None:
    """Dynamic viscosity by IAPWS R12-08 (2008), as the open library `iapws` computes it."""
    at_20 = IAPWS95(T=293.15, P=ATMOSPHERE).mu
    for t in CELSIUS:
        ratio = IAPWS95(T=273.15 + t, P=ATMOSPHERE).mu / at_20
        assert relative_viscosity(t) == pytest.approx(ratio, rel=5e-4)
        assert relative_fluidity(t) * relative_viscosity(t) == pytest.approx(1.0, rel=1e-15)


def test_density_is_that_of_iapws_within_two_hundredths() -> None:
    """IAPWS-95 at atmospheric pressure, by the same library."""
    for t in CELSIUS:
        assert water_density(t) == pytest.approx(IAPWS95(T=273.15 + t, P=ATMOSPHERE).rho, abs=0.02)


def test_vapour_pressure_is_that_of_iapws_within_two_in_a_thousand() -> None:
    """Saturation pressure of IAPWS-95, by the same library."""
    for t in CELSIUS:
        assert vapour_pressure(t) == pytest.approx(1e6 * IAPWS95(T=273.15 + t, x=0).P, rel=2e-3)


@pytest.mark.parametrize("x", [0.0, 1e-12, 1e-3, 0.0499999, 0.05, 0.0500001, 0.3, 2.0, 50.0, 1e3])
def test_part_gone_is_one_less_the_exponential(x: float) -> None:
    assert part_gone(x) == pytest.approx(-math.expm1(-x), rel=4e-12)
