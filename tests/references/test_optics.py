"""Light in turbid water against Beer-Lambert values and published relations of turbidity."""

import math

import numpy as np
import pytest
from numba import njit

from plantsim.physics import optics


# van de Hulst (1957), large grains (Q = 2): 100 mg/L of 2650 kg/m3; transmittance over 1 cm. The form from
# memory, the values recomputed.
@pytest.mark.parametrize(
    "d_um, c, t",
    [
        (1, 113.21, 0.32236), (2, 56.60, 0.56777), (5, 22.64, 0.79739),
        (10, 11.32, 0.89297), (20, 5.66, 0.94497),
    ],
)  # fmt: skip
def test_large_grains(d_um, c, t):
    found = optics.attenuation(0.1, 2650.0, d_um * 1e-6)
    assert found == pytest.approx(c, rel=1e-3)
    assert optics.transmittance(found, 0.01) == pytest.approx(t, rel=1e-4)
    assert optics.absorbance(found, 0.01) == pytest.approx(-math.log10(t), rel=2e-4)


def test_stray_light_caps_absorbance():
    # Closed limits: no light passes -> log10((1+s)/s); clear -> 0; no stray light -> the true value.
    assert optics.absorbance_read(50.0, 0.01) == pytest.approx(math.log10(101.0), rel=1e-9)
    assert optics.absorbance_read(0.0, 0.01) == pytest.approx(0.0, abs=1e-15)
    assert optics.absorbance_read(1.3, 0.0) == pytest.approx(1.3, rel=1e-12)


def test_turbidity_slope_of_rivers():
    # Ruegner and others, Environ. Earth Sci. 69 (2013) 373-380: 1 to 2.5 mg/L per NTU, linear.
    for mg_per_ntu in (1.0, 2.5):
        assert optics.turbidity(0.0, 0.1, 0.0, 100.0, 1000.0 / mg_per_ntu, 3000.0) == pytest.approx(
            100.0 / mg_per_ntu
        )
    one = optics.turbidity(0.2, 0.1, 0.02, 100.0, 700.0, 3000.0)
    assert one == pytest.approx(20.0 + 70.0 + 60.0)
    assert optics.turbidity(0.4, 0.2, 0.04, 100.0, 700.0, 3000.0) == pytest.approx(2 * one)


def test_power_law_of_streams():
    # University of Washington, Puget Lowland streams: ln TSS[mg/L] = 1.32 ln NTU.
    for ntu in (1.0, 10.0, 300.0):
        assert math.log(1e3 * optics.solids_from_turbidity_power(ntu)) == pytest.approx(
            1.32 * math.log(ntu), abs=1e-9
        )
    assert optics.solids_from_turbidity_power(0.0) == 0.0


def test_slope_of_a_tidal_creek():
    # Field turbidimeter, 593 pairs: 1.584 mg/L per FTU +/- 50 %. The power law above meets it at 5 NTU.
    assert 1e3 * optics.solids_from_turbidity_power(5.0) / 5.0 == pytest.approx(1.584, rel=0.5)


def test_diluted_sample_reads_more_than_its_share():
    # Application note of instrument makers: a 500 NTU sample diluted 5:1 reads substantially above 100 NTU
    # (sign test).
    saturation = 1000.0
    true = optics.turbidity_behind_reading(500.0, saturation)
    assert optics.detector_reading(true, saturation) == pytest.approx(500.0, rel=1e-12)
    assert optics.detector_reading(true / 5.0, saturation) > 120.0
    assert optics.detector_reading(1.0, saturation) == pytest.approx(1.0, rel=1e-3)
    assert optics.detector_reading(1e6, saturation) == pytest.approx(saturation)
    assert optics.turbidity_behind_reading(saturation, saturation) == math.inf


def test_compiled_equals_python():
    def everything():
        return (
            optics.attenuation(0.1, 2650.0, 1e-5),
            optics.transmittance(11.0, 0.01),
            optics.absorbance(11.0, 0.01),
            optics.absorbance_read(1.3, 0.01),
            optics.turbidity(0.2, 0.1, 0.02, 100.0, 700.0, 3000.0),
            optics.solids_from_turbidity_power(30.0),
            optics.detector_reading(300.0, 1000.0),
            optics.turbidity_behind_reading(300.0, 1000.0),
        )

    np.testing.assert_allclose(njit(error_model="numpy")(everything)(), everything(), rtol=1e-13)
