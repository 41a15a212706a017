"""Pumps against handbook examples: operating points, affinity, suction, power, slurry derating."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from plantsim.jit import kernel
from plantsim.physics import pumps as pp

INCH = 0.0254
FOOT = 0.3048
GPM = 3.785411784e-3 / 60.0
HP = 745.699872
PSI = 6894.757293
LB_FT3 = 0.45359237 / FOOT**3


# Hydraulic Institute Engineering Data Book, "Combined curves", Eq. 1.C.12, in gpm and ft.
def hi_pump(q: float) -> float:
    return 380.0 - 0.06 * q - 0.0018 * q * q


def hi_pump_flow(h: float) -> float:
    if h >= 380.0:
        return 0.0
    return (-0.06 + math.sqrt(0.06**2 + 4 * 0.0018 * (380.0 - h))) / (2 * 0.0018)


def hi_system(q: float) -> float:
    return 265.0 + 7.75e-4 * q * q


def at_speed(n: float):
    return lambda q: pp.affinity_head(hi_pump(q / n), n)


def test_operating_point():
    """HI Data Book, "Combined curves", Eq. 1.C.12: 200.0 gpm at 296.0 ft."""
    q, h = pp.duty_point(hi_pump, hi_system, 1000.0)
    assert q == pytest.approx(200.0, rel=1e-3)
    assert h == pytest.approx(296.0, rel=1e-3)


def test_two_pumps_on_the_same_system():
    """The same curves, solved independently: parallel 294.39 gpm at 332.17 ft, series 322.93 at 345.82."""
    q, h = pp.parallel_duty_point([hi_pump_flow, hi_pump_flow], hi_system, 380.0)
    assert (q, h) == (pytest.approx(294.39, rel=1e-4), pytest.approx(332.17, rel=1e-4))
    q, h = pp.series_duty_point([hi_pump, hi_pump], hi_system, 1000.0)
    assert (q, h) == (pytest.approx(322.93, rel=1e-4), pytest.approx(345.82, rel=1e-4))


@pytest.mark.parametrize(
    ("n", "gpm", "feet"), [(0.95, 163.27, 285.66), (0.90, 118.86, 275.95), (0.85, 51.80, 267.08)]
)
def test_reduced_speed(n, gpm, feet):
    """The same curves at reduced speed, solved independently."""
    q, h = pp.duty_point(at_speed(n), hi_system, 1000.0)
    assert (q, h) == (pytest.approx(gpm, rel=1e-4), pytest.approx(feet, rel=1e-4))


def test_no_flow_below_the_speed_that_lifts():
    """Affinity: no flow below sqrt(265/380) = 0.8351 of rated speed."""
    assert math.sqrt(265.0 / 380.0) == pytest.approx(0.8351, abs=5e-5)
    assert pp.duty_point(at_speed(0.8350), hi_system, 1000.0) is None
    assert pp.duty_point(at_speed(0.8352), hi_system, 1000.0) is not None
    assert pp.parallel_duty_point([hi_pump_flow], lambda q: 400.0 + q, 380.0) is None


def test_one_of_a_series_pair_cannot_lift_alone():
    def system(q: float) -> float:
        return 400.0 + 7.75e-4 * q * q

    assert pp.series_duty_point([hi_pump], system, 1000.0) is None
    assert pp.series_duty_point([hi_pump, hi_pump], system, 1000.0)[0] > 0.0


def test_search_range_too_short_is_refused():
    with pytest.raises(ValueError, match="largest flow"):
        pp.duty_point(hi_pump, hi_system, 100.0)


def test_operating_point_from_points():
    """Coulson & Richardson vol. 1, Ex. 8.8 (p. 370): 0.0054 m3/s, 1.74 kW at 50 %."""
    q_points = np.array([2.8, 3.9, 5.0, 5.6, 5.9]) * 1e-3
    h_points = np.array([23.2, 21.3, 18.9, 15.2, 11.0])
    q, h = pp.duty_point(
        lambda q: pp.head_at(q, 1.0, q_points, h_points, 5, 1.0), lambda q: 10.0 + 2.205e5 * q * q, 0.0059
    )
    assert q == pytest.approx(0.0054, rel=0.01)
    assert h == pytest.approx(16.43, abs=0.01)
    assert pp.shaft_power(q, h, 1000.0, 0.5, 9.81) == pytest.approx(1740.0, rel=0.01)


def test_operating_point_from_points_with_shutoff():
    """Schaschke, Fluid Mechanics: Worked Examples, Ex. 9.10 (p. 255): 0.0066 m3/s."""
    q_points = np.array([0.0, 2.0, 4.0, 6.0, 8.0, 10.0]) * 1e-3
    h_points = np.array([40.0, 39.5, 38.0, 35.0, 30.0, 20.0])
    q, h = pp.duty_point(
        lambda q: pp.head_at(q, 1.0, q_points, h_points, 6, 1.0), lambda q: 10.0 + 5.42e5 * q * q, 0.01
    )
    assert q == pytest.approx(0.0066, rel=0.02)
    assert (q, h) == (pytest.approx(0.006589, abs=1e-6), pytest.approx(33.53, abs=0.01))
    assert pp.flow_at(h, 1.0, q_points, h_points, 6, 1.0) == pytest.approx(q, rel=1e-12)


def test_affinity_speed():
    """Crane TP-410, Ex. 7-33: 126 ft, 400 gpm, 17.5 bhp at 3500 rpm; at 1700 rpm 29.7 ft, 194 gpm, 2.0
    bhp.
    """
    n = 1700.0 / 3500.0
    assert pp.affinity_flow(400.0, n) == pytest.approx(194.0, rel=2e-3)
    assert pp.affinity_head(126.0, n) == pytest.approx(29.7, rel=1e-3)
    assert pp.affinity_power(17.5, n) == pytest.approx(2.0, rel=3e-3)


@pytest.mark.parametrize(
    ("q", "h", "h_new"), [(0.0, 213.0, 173.0), (200.0, 206.0, 167.0), (400.0, 198.0, 160.0)]
)
def test_affinity_table(q, h, h_new):
    """HI Data Book, "Pump Curves", Ex. 1: 1740 to 1566 rpm, rows printed at 0, 180 and 360 gpm."""
    n = 1566.0 / 1740.0
    assert pp.affinity_flow(q, n) == pytest.approx(q * 0.9, rel=1e-12)
    assert pp.head_at(
        pp.affinity_flow(q, n), n, [0.0, 200.0, 400.0], [213.0, 206.0, 198.0], 3, 1.0
    ) == pytest.approx(h_new, abs=0.5)
    assert pp.affinity_head(h, n) == pytest.approx(h_new, abs=0.5)


def test_affinity_trim():
    """HI Data Book, "Pump Curves", Ex. 2: 10.625 in, 2000 gpm, 80 to 67 ft: 9.72 in (9.75 taken), 1835
    gpm.
    """
    d = pp.trimmed_diameter(10.625, 67.0 / 80.0)
    assert d == pytest.approx(9.72, rel=3e-3)
    assert pp.affinity_flow(2000.0, 9.75 / 10.625) == pytest.approx(1835.0, rel=3e-3)
    assert pp.affinity_flow(454.2, 247.0 / 270.0) == pytest.approx(416.8, rel=4e-3)


def test_suction_head():
    """Crane TP-410, Ex. 7-32: 13.89 ft, short of the 20 ft required."""
    npsh = pp.npsh_available(
        (14.696 + 5.0) * PSI, 0.256 * PSI, 62.364 * LB_FT3, -25.0 * FOOT, 6.0 * FOOT, 9.80665
    )
    assert npsh / FOOT == pytest.approx(13.89, abs=0.05)


def test_suction_lift():
    """Munson et al., Fundamentals of Fluid Mechanics, Ex. 12.3 (p. 702): 7.65 ft."""
    g = 32.2 * FOOT
    v = 0.5 * FOOT**3 / (math.pi / 4.0 * (4.0 * INCH) ** 2)
    loss = 20.0 * v * v / (2.0 * g)
    z = pp.suction_lift_limit(14.7 * PSI, 0.5069 * PSI, 62.22 * LB_FT3, loss, 15.0 * FOOT, 9.80665)
    assert z / FOOT == pytest.approx(7.65, abs=0.05)


def test_submergence():
    """ANSI/HI 9.8 relation (Hecker): 0.6 m mouth, 1.5 m/s: 1.453 m."""
    assert pp.minimum_submergence(0.6, 1.5, 9.81) == pytest.approx(1.453, rel=1e-3)


def test_power_and_cost():
    """Crane TP-410, Ex. 7-34: 107.0 bhp, 117.3 electrical hp, $83 970 a year."""
    bhp = pp.shaft_power(700.0 * GPM, 428.0 * FOOT, 999.0, 0.707) / HP
    electrical = bhp / 0.95 / 0.96
    assert bhp == pytest.approx(107.0, rel=2e-3)
    assert electrical == pytest.approx(117.3, rel=2e-3)
    assert electrical * 0.7457 * 0.12 * 8000.0 == pytest.approx(83970.0, rel=2e-3)


def test_power_at_a_total_head():
    """Crane TP-410, Ex. 7-15: 100 gpm at 421 ft, 70 %: 15.2 hp."""
    assert pp.shaft_power(100.0 * GPM, 421.0 * FOOT, 998.0, 0.70) / HP == pytest.approx(15.2, rel=3e-3)


def test_power_formula_in_metric_trade_units():
    """HI Data Book, Eq. 1.B.4: P[kW] = Q H s/(366.6 eta); 246 m3/h, 30.48 m, 1.23, 0.65."""
    p = pp.shaft_power(246.0 / 3600.0, 30.48, 1230.0, 0.65) / 1000.0
    assert p == pytest.approx(246.0 * 30.48 * 1.23 / (366.6 * 0.65), rel=2e-3)
    assert p == pytest.approx(38.65, rel=1e-3)


def test_slurry_derating():
    """Pump Handbook (Karassik et al.), Fig. 12: 14 % on the chart becomes 19 %; 8 % at 6 % by volume."""
    assert 100 * pp.slurry_head_reduction(0.14, 0.15, 4.4, 0.08) == pytest.approx(19.0, abs=0.5)
    assert 100 * pp.slurry_head_reduction(0.14, 0.06, 4.4, 0.08) == pytest.approx(8.0, abs=0.5)


def test_slurry_derating_factors():
    """The same figure: density factor 1.6 at 4.4, fines factor 0.85 at 8 %; proportional to the solids."""
    base = pp.slurry_head_reduction(0.1, 0.15, 2.65, 0.0)
    assert base == pytest.approx(0.1, rel=1e-12)
    assert pp.slurry_head_reduction(0.1, 0.15, 4.4, 0.0) / base == pytest.approx(1.6, abs=0.005)
    assert pp.slurry_head_reduction(0.1, 0.15, 2.65, 0.08) / base == pytest.approx(0.85, abs=0.005)
    assert pp.slurry_head_reduction(0.1, 0.05, 2.65, 0.0) == pytest.approx(base / 3.0, rel=1e-12)
    assert pp.slurry_head_reduction(0.1, 0.0, 2.65, 0.0) == 0.0


def test_slurry_efficiency():
    """Pump Handbook: small pumps (impeller under 0.4 m) lose efficiency as head, larger ones less."""
    assert pp.slurry_efficiency_reduction(0.1, 0.3, 0.5) == 0.1
    assert pp.slurry_efficiency_reduction(0.1, 0.6, 0.5) == 0.05
    assert pp.slurry_efficiency_reduction(0.1, 0.6, 2.0) == 0.1


CURVE_Q = np.array([0.0, 0.03, 0.06, 0.09, 0.0, 0.0])
CURVE_H = np.array([45.0, 43.0, 38.0, 29.0, 0.0, 0.0])
CURVE_ETA = np.array([0.0, 0.55, 0.72, 0.70, 0.0, 0.0])


@given(st.floats(0.0, 0.12), st.floats(0.3, 1.1), st.floats(0.6, 1.0))
def test_flow_is_the_inverse_of_head(q, n, factor):
    """A definition, held over the whole curve and past its last point."""
    h = pp.head_at(q, n, CURVE_Q, CURVE_H, 4, factor)
    assert pp.flow_at(h, n, CURVE_Q, CURVE_H, 4, factor) == pytest.approx(q, abs=1e-10)


def test_curve_outside_its_points():
    """Past the last point on along the last segment; reverse flow keeps the shut-off head; check valve
    view.
    """
    assert pp.head_at(0.12, 1.0, CURVE_Q, CURVE_H, 4, 1.0) == pytest.approx(29.0 - 9.0)
    assert pp.head_at(0.20, 1.0, CURVE_Q, CURVE_H, 4, 1.0) < 0.0
    assert pp.head_at(-0.05, 1.0, CURVE_Q, CURVE_H, 4, 1.0) == 45.0
    assert pp.flow_at(45.1, 1.0, CURVE_Q, CURVE_H, 4, 1.0) == 0.0
    assert pp.flow_at(44.0, 1.0, CURVE_Q, CURVE_H, 4, 0.9) == 0.0
    assert pp.head_at(0.05, 0.0, CURVE_Q, CURVE_H, 4, 1.0) == 0.0
    assert pp.flow_at(1.0, 0.0, CURVE_Q, CURVE_H, 4, 1.0) == 0.0
    assert pp.flow_at(40.0, 1.0, np.array([0.0, 1.0, 2.0]), np.array([40.0, 40.0, 30.0]), 3, 1.0) == 1.0


def test_standing_pump_is_a_resistance_both_ways():
    assert pp.stopped_loss(0.1, 4000.0) == pytest.approx(40.0)
    assert pp.stopped_loss(-0.1, 4000.0) == pytest.approx(-40.0)


def test_power_table_follows_efficiency_and_affinity():
    """P = rho g Q H/eta at every point with flow; n cubed along a parabola; density as a factor."""
    powers = pp.power_curve(CURVE_Q[:4], CURVE_H[:4], CURVE_ETA[:4])
    assert powers[2] == pytest.approx(1000.0 * 9.80665 * 0.06 * 38.0 / 0.72)
    assert 0.0 < powers[0] < powers[1]
    table = np.array(powers)
    assert pp.power_at(0.03, 0.5, CURVE_Q, table, 4, 1.2) == pytest.approx(1.2 * powers[2] / 8.0)
    assert pp.power_at(0.03, 0.0, CURVE_Q, table, 4, 1.2) == 0.0
    with pytest.raises(ValueError, match="two points"):
        pp.power_curve([0.0, 0.1], [40.0, 30.0], [0.0, 0.7])


def test_efficiency_curve():
    assert pp.efficiency_at(0.03, 0.5, CURVE_Q, CURVE_ETA, 4) == pytest.approx(0.72)
    assert pp.efficiency_at(0.5, 1.0, CURVE_Q, CURVE_ETA, 4) == 0.70
    assert pp.efficiency_at(-0.1, 1.0, CURVE_Q, CURVE_ETA, 4) == 0.0


def test_compiled_equals_plain():
    @kernel
    def run(q, n, cq, ch, ce, out):
        out[0] = pp.head_at(q, n, cq, ch, 4, 0.9)
        out[1] = pp.flow_at(0.9 * out[0], n, cq, ch, 4, 0.9)
        out[2] = pp.efficiency_at(q, n, cq, ce, 4)
        out[3] = pp.shaft_power(q, out[0], 1100.0, 0.6)
        out[4] = pp.npsh_available(1e5, 2e3, 1000.0, 1.0, 0.5)
        out[5] = pp.slurry_head_reduction(0.1, 0.1, 2.65, 0.3)
        out[6] = pp.stopped_loss(q, 4000.0)
        out[7] = pp.power_at(q, n, cq, ch, 4, 1.1)
        out[8] = pp.minimum_submergence(0.3, 1.5)

    for q, n in [(0.05, 1.0), (0.1, 0.7), (-0.02, 0.5)]:
        out, plain = np.zeros(9), np.zeros(9)
        run(q, n, CURVE_Q, CURVE_H, CURVE_ETA, out)
        run.py_func(q, n, CURVE_Q, CURVE_H, CURVE_ETA, plain)
        np.testing.assert_allclose(out, plain, rtol=1e-13)
