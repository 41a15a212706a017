"""Weirs and orifices against textbook examples, standards' equations and an independent open library
(fluids).
"""

import math

import fluids.open_flow as library
import pytest
from scipy.optimize import brentq

from plantsim.jit import kernel
from plantsim.physics import weirs as ws

FOOT = 0.3048
CFS = FOOT**3
GPM = 3.785411784e-3 / 60.0
G_BRITISH = 32.2 * FOOT


def test_suppressed_weir():
    """J. Lal, Hydraulics, Ex. 4.5 (p. 108): 7.573 ft, 1.2 ft: 33.02 cfs with 0.62, 33.15 with Francis."""
    q = ws.rectangular_weir(0.62, 7.573 * FOOT, 1.2 * FOOT, G_BRITISH)
    assert q / CFS == pytest.approx(33.02, rel=1e-3)
    assert ws.francis_weir(7.573 * FOOT, 1.2 * FOOT, 0) / CFS == pytest.approx(33.15, rel=1e-3)
    assert ws.rectangular_weir_head(0.62, 7.573 * FOOT, q, G_BRITISH) == pytest.approx(1.2 * FOOT, rel=1e-12)


def test_contracted_weir():
    """Brasch & Whyman, Problems in Fluid Flow, Ex. 5.5 (p. 91): 0.46 m, 0.355 m3/s: 0.720 m.

    The head is beyond a third of the crest, outside the formula's range: a check of the arithmetic only.
    """
    head = brentq(lambda h: ws.francis_weir(0.46, h, 2) - 0.355, 0.1, 1.0)
    assert head == pytest.approx(0.720, rel=2e-3)


@pytest.mark.parametrize(("contractions", "q"), [(0, 0.16457), (2, 0.15799)])
def test_francis(contractions, q):
    """Francis, Q = 3.33 (L - 0.1 n H) H^1.5 in feet, in metres 1.84; 1 m crest, 0.2 m head."""
    assert ws.francis_weir(1.0, 0.2, contractions) == pytest.approx(q, rel=1e-3)


def test_full_width_weir():
    """0.3 m over a crest 0.4 m high and 2 m long: Kindsvater-Carter 0.64156, Rehbock 0.64869, Ackers
    0.64896.
    """
    carter = ws.kindsvater_carter_weir(2.0, 2.0, 0.3, 0.4)
    rehbock = ws.rehbock_weir(2.0, 0.3, 0.4)
    assert carter == pytest.approx(0.64156, rel=1e-3)
    assert rehbock == pytest.approx(0.64869, rel=1e-3)
    assert carter == pytest.approx(library.Q_weir_rectangular_full_Kindsvater_Carter(0.3, 0.4, 2.0), rel=1e-3)
    assert rehbock == pytest.approx(library.Q_weir_rectangular_full_Rehbock(0.3, 0.4, 2.0), rel=1e-3)
    assert library.Q_weir_rectangular_full_Ackers(0.3, 0.4, 2.0) == pytest.approx(rehbock, rel=0.012)


@pytest.mark.parametrize("head", [0.15, 0.3])
def test_contracted_kindsvater_carter(head):
    """A narrow notch in a wide channel against the library's contracted form and against Francis.

    The library adds 0.1 mm to the head where Kindsvater & Carter add 1 mm: 1 % at these heads, more below.
    """
    q = ws.kindsvater_carter_weir(1.0, 10.0, head, 0.6)
    assert q == pytest.approx(library.Q_weir_rectangular_Kindsvater_Carter(head, 0.6, 1.0), rel=0.012)
    assert q == pytest.approx(ws.francis_weir(1.0, head, 2), rel=0.06)


def test_v_notch():
    """Schaschke, Fluid Mechanics: Worked Examples, Ex. 7.10 (p. 186): 0.03 m, 90 degrees, 0.62:
    0.000228 m3/s.
    """
    assert ws.v_notch_weir(0.62, math.pi / 2, 0.03, 9.81) == pytest.approx(0.000228, rel=2e-3)


@pytest.mark.parametrize(
    ("h", "q"), [(0.06, 1.2470e-3), (0.1, 4.4095e-3), (0.2, 0.024682), (0.3, 0.067776), (0.38, 0.122204)]
)
def test_kindsvater_shen(h, q):
    """ISO 1438 / USBR Water Measurement Manual, Eq. 7-3, with Ce 0.578 and kh 0.85 mm at 90 degrees."""
    assert ws.kindsvater_shen_weir(math.pi / 2, h, 9.81) == pytest.approx(q, rel=3e-3)


@pytest.mark.parametrize(("h", "q"), [(0.2, 0.0460), (0.5, 0.4463), (1.0, 2.490), (1.25, 4.330)])
def test_kindsvater_shen_against_cone(h, q):
    """USBR Water Measurement Manual, ch. 7: Cone's Q = 2.49 h^2.48 in feet (equation from memory)."""
    assert 2.49 * h**2.48 == pytest.approx(q, rel=2e-3)
    assert ws.kindsvater_shen_weir(math.pi / 2, h * FOOT) / CFS == pytest.approx(q, rel=8e-3)


def test_notch_coefficients_at_90_degrees():
    """USBR: Ce 0.578, kh 0.0029 ft at 90 degrees; two heads give both back."""

    def unit(h: float) -> float:
        q = ws.kindsvater_shen_weir(math.pi / 2, h, 9.81)
        return (q / (8.0 / 15.0 * math.sqrt(2 * 9.81))) ** 0.4

    slope = (unit(0.3) - unit(0.1)) / 0.2
    assert slope**2.5 == pytest.approx(0.578, abs=5e-4)
    assert unit(0.1) / slope - 0.1 == pytest.approx(0.0029 * FOOT, rel=0.02)


def test_orifice():
    """Torricelli with Cd 0.61, 50 mm under 2 m: 7.5015 L/s."""
    assert ws.orifice_flow(0.61, math.pi / 4 * 0.05**2, 2.0) == pytest.approx(7.5015e-3, rel=1e-3)


def test_orifice_meter():
    """Crane TP-410, Ex. 7-23: 2 in orifice in 4 in pipe, 4.4 in of mercury under water, C 0.625: 106 gpm."""
    rho = 999.0
    dp = (13.57 - 1.0) * rho * 9.80665 * 4.4 * 0.0254
    area = math.pi / 4 * (2 * 0.0254) ** 2
    assert ws.orifice_meter_flow(0.625, area, dp, rho) / GPM == pytest.approx(106.0, rel=7e-3)
    assert ws.orifice_meter_flow(0.6261, area, dp, rho) / GPM == pytest.approx(105.74, rel=5e-3)


def test_no_head_no_flow():
    for q in (
        ws.rectangular_weir(0.62, 1.0, -0.1), ws.francis_weir(1.0, -0.1, 2), ws.rehbock_weir(1.0, -0.1, 0.5),
        ws.kindsvater_carter_weir(1.0, 2.0, -0.1, 0.5), ws.v_notch_weir(0.6, 1.5, -0.1),
        ws.kindsvater_shen_weir(1.5, -0.1), ws.orifice_flow(0.6, 1.0, -0.1),
        ws.orifice_meter_flow(0.6, 1.0, -5.0, 1000.0), ws.rectangular_weir_head(0.62, 1.0, -0.1),
    ):  # fmt: skip
        assert q == 0.0


def test_compiled_equals_plain():
    @kernel
    def run(h):
        return (
            ws.kindsvater_carter_weir(1.0, 2.2, h, 0.5)
            + 10.0 * ws.kindsvater_shen_weir(1.5, h)
            + 100.0 * ws.orifice_flow(0.6, 0.01, h)
            + ws.rehbock_weir(1.0, h, 0.4)
            + ws.rectangular_weir_head(0.6, 2.0, h)
        )

    for h in (-0.1, 0.05, 0.3):
        assert run(h) == pytest.approx(run.py_func(h), rel=1e-13)
