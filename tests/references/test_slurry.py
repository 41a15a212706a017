"""Slurry conversions and relative viscosities against published tables."""

import math

import numpy as np
import pytest
from numba import njit

from plantsim.physics import slurry

# Solids by weight [%]; for solids of 2500, 2650 and 2700 kg/m3 in water of 1000 kg/m3: density kg/m3, solids
# by volume [%], g/L. Recomputed independently from the mass balance.
TABLE = [
    (1, (1006.04, 0.402, 10.06), (1006.27, 0.380, 10.06), (1006.34, 0.373, 10.06)),
    (5, (1030.93, 2.062, 51.55), (1032.13, 1.947, 51.61), (1032.50, 1.912, 51.63)),
    (10, (1063.83, 4.255, 106.38), (1066.40, 4.024, 106.64), (1067.19, 3.953, 106.72)),
    (20, (1136.36, 9.091, 227.27), (1142.24, 8.621, 228.45), (1144.07, 8.475, 228.81)),
    (30, (1219.51, 14.634, 365.85), (1229.70, 13.921, 368.91), (1232.88, 13.699, 369.86)),
    (40, (1315.79, 21.053, 526.32), (1331.66, 20.101, 532.66), (1336.63, 19.802, 534.65)),
    (50, (1428.57, 28.571, 714.29), (1452.05, 27.397, 726.03), (1459.46, 27.027, 729.73)),
    (60, (1562.50, 37.500, 937.50), (1596.39, 36.145, 957.83), (1607.14, 35.714, 964.29)),
    (70, (1724.14, 48.276, 1206.90), (1772.58, 46.823, 1240.80), (1788.08, 46.358, 1251.66)),
]
CASES = [(w, rho_s, *row[i]) for w, *row in TABLE for i, rho_s in enumerate((2500.0, 2650.0, 2700.0))]


@pytest.mark.parametrize("w_pct, rho_s, rho_m, phi_pct, c", CASES)
def test_conversion_table(w_pct, rho_s, rho_m, phi_pct, c):
    w, rho_l = w_pct / 100, 1000.0
    assert slurry.density_from_mass_fraction(w, rho_s, rho_l) == pytest.approx(rho_m, abs=0.006)
    assert 100 * slurry.volume_fraction_from_mass_fraction(w, rho_s, rho_l) == pytest.approx(
        phi_pct, abs=6e-4
    )
    assert slurry.concentration_from_mass_fraction(w, rho_s, rho_l) == pytest.approx(c, abs=0.006)


@pytest.mark.parametrize("w", [0.01, 0.2, 0.55])
def test_conversions_close(w):
    rho_s, rho_l = 2650.0, 998.2
    rho_m = slurry.density_from_mass_fraction(w, rho_s, rho_l)
    c = slurry.concentration_from_mass_fraction(w, rho_s, rho_l)
    phi = slurry.volume_fraction_from_mass_fraction(w, rho_s, rho_l)
    assert slurry.density_from_volume_fraction(phi, rho_s, rho_l) == pytest.approx(rho_m, rel=1e-12)
    assert slurry.density_from_concentration(c, rho_s, rho_l) == pytest.approx(rho_m, rel=1e-12)
    assert slurry.volume_fraction_from_concentration(c, rho_s) == pytest.approx(phi, rel=1e-12)
    assert slurry.concentration_from_density(rho_m, rho_s, rho_l) == pytest.approx(c, rel=1e-11)
    assert slurry.mass_fraction_from_concentration(c, rho_s, rho_l) == pytest.approx(w, rel=1e-12)
    assert slurry.mass_fraction_from_density(rho_m, rho_s, rho_l) == pytest.approx(w, rel=1e-11)
    assert slurry.mass_fraction_from_volume_fraction(phi, rho_s, rho_l) == pytest.approx(w, rel=1e-12)
    assert slurry.solids_density_from_slurry(w, rho_m, rho_l) == pytest.approx(rho_s, rel=1e-11)
    e = slurry.void_ratio_from_volume_fraction(phi)
    assert slurry.volume_fraction_from_void_ratio(e) == pytest.approx(phi, rel=1e-12)
    # Soil mechanics: void ratio of a saturated soil is water content times the grains' relative density.
    assert e == pytest.approx(slurry.water_content_from_mass_fraction(w) * rho_s / rho_l, rel=1e-12)


def test_slurry_density_handbook():
    # Engineering ToolBox, "Slurry - Density": 30 wt%, 2500/1000 kg/m3 -> 1220 kg/m3.
    assert slurry.density_from_mass_fraction(0.30, 2500.0, 1000.0) == pytest.approx(1220.0, rel=1e-3)


# Same page: solids by volume as printed for copper concentrate, limestone, magnetite and coal.
@pytest.mark.parametrize(
    "rho_s, w, phi_pct",
    [
        (4300, 0.60, 26), (4300, 0.65, 30), (2700, 0.60, 36), (2700, 0.65, 41),
        (4900, 0.60, 23), (4900, 0.65, 27), (1400, 0.45, 37), (1400, 0.55, 47),
    ],
)  # fmt: skip
def test_solids_by_volume_handbook(rho_s, w, phi_pct):
    assert 100 * slurry.volume_fraction_from_mass_fraction(w, rho_s, 1000.0) == pytest.approx(
        phi_pct, abs=0.5
    )


def test_solids_density_from_feed():
    # Aziz, Particle Technology tutorial 7 (2022), Q2: 40 wt% feed of relative density 1.336.
    assert slurry.solids_density_from_slurry(0.40, 1336.0, 1000.0) == pytest.approx(2693.5, rel=5e-3)


PHI = (0.02, 0.05, 0.10, 0.20, 0.30, 0.40, 0.50)
# Einstein, Batchelor, Brinkman, Krieger-Dougherty: forms of Entropy 23 (2021) 979, Table 6; Thomas,
# J. Colloid Sci. 20 (1965) 267 (from memory). Values recomputed independently.
VISCOSITY = [
    (slurry.relative_viscosity_einstein, (), (1.0500, 1.1250, 1.2500, 1.5000, 1.7500, 2.0000, 2.2500)),
    (slurry.relative_viscosity_batchelor, (6.2,), (1.0525, 1.1405, 1.3120, 1.7480, 2.3080, 2.9920, 3.8000)),
    (slurry.relative_viscosity_brinkman, (), (1.0518, 1.1368, 1.3013, 1.7469, 2.4392, 3.5861, 5.6569)),
    (slurry.relative_viscosity_thomas, (), (1.0578, 1.1564, 1.3649, 1.9775, 3.0516, 5.6967, 15.7477)),
    (
        slurry.relative_viscosity_krieger_dougherty,
        (0.64, 2.5),
        (1.0521, 1.1390, 1.3124, 1.8212, 2.7512, 4.8034, 11.3784),
    ),
    (
        slurry.relative_viscosity_krieger_dougherty,
        (0.60, 2.5),
        (1.0522, 1.1394, 1.3145, 1.8371, 2.8284, 5.1962, 14.6969),
    ),
]


@pytest.mark.parametrize("law, args, values", VISCOSITY)
def test_relative_viscosity(law, args, values):
    for phi, value in zip(PHI, values):
        assert law(phi, *args) == pytest.approx(value, abs=6e-5)


def test_relative_viscosity_limits():
    assert slurry.relative_viscosity_thomas(0.0) == pytest.approx(1.00273, rel=1e-12)
    assert slurry.relative_viscosity_krieger_dougherty(0.64, 0.64) == math.inf
    # All forms share Einstein's slope in the dilute limit (Thomas only within its exponential: 2.5453).
    for law in (
        slurry.relative_viscosity_batchelor,
        slurry.relative_viscosity_brinkman,
        slurry.relative_viscosity_krieger_dougherty,
    ):
        assert (law(1e-6) - law(0.0)) / 1e-6 == pytest.approx(2.5, rel=1e-4)


def test_compiled_equals_python():
    def everything(w, s, l):
        rho = slurry.density_from_mass_fraction(w, s, l)
        c = slurry.concentration_from_mass_fraction(w, s, l)
        phi = slurry.volume_fraction_from_concentration(c, s)
        return (
            rho, c, phi,
            slurry.density_from_volume_fraction(phi, s, l),
            slurry.density_from_concentration(c, s, l),
            slurry.volume_fraction_from_mass_fraction(w, s, l),
            slurry.concentration_from_density(rho, s, l),
            slurry.mass_fraction_from_concentration(c, s, l),
            slurry.mass_fraction_from_density(rho, s, l),
            slurry.mass_fraction_from_volume_fraction(phi, s, l),
            slurry.solids_density_from_slurry(w, rho, l),
            slurry.void_ratio_from_volume_fraction(phi),
            slurry.volume_fraction_from_void_ratio(3.0),
            slurry.water_content_from_mass_fraction(w),
            slurry.relative_viscosity_einstein(phi),
            slurry.relative_viscosity_batchelor(phi),
            slurry.relative_viscosity_brinkman(phi),
            slurry.relative_viscosity_thomas(phi),
            slurry.relative_viscosity_krieger_dougherty(phi),
        )  # fmt: skip

    args = (0.3, 2650.0, 998.2)
    np.testing.assert_allclose(njit(error_model="numpy")(everything)(*args), everything(*args), rtol=1e-13)
