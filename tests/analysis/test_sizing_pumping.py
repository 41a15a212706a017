"""Pumps and pipeline of the sizing bench against textbook and handbook examples."""

import numpy as np
import pytest

from plantsim.analysis.sizing import pumping as p
from plantsim.analysis.sizing.lines import Line, PumpCurve, duty, in_series
from plantsim.analysis.sizing.result import NotSized

GPM = 3.785411784e-3 / 60.0
FOOT = 0.3048
H = 3600.0
ETA = (0.0, 0.45, 0.65, 0.7)

# Hydraulic Institute Engineering Data Book, "System Curves" and "Combined curves": head in ft, flow in gpm.
_Q = np.linspace(0.0, 400.0, 801)
BOOK = PumpCurve(tuple(GPM * _Q), tuple(FOOT * (380.0 - 0.06 * _Q - 0.0018 * _Q**2)))


def book_system(q: float) -> float:
    return FOOT * (265.0 + 7.75e-4 * (q / GPM) ** 2)


def test_operating_point_of_the_data_book():
    found = duty([[BOOK]], book_system)  # Eq. 1.C.12: 200.0 gpm, 296.0 ft
    assert found.flow / GPM == pytest.approx(200.0, rel=1e-3)
    assert found.head / FOOT == pytest.approx(296.0, rel=1e-3)


def test_two_like_pumps_of_the_data_book():
    # worked by hand from the same curves
    parallel = duty([[BOOK], [BOOK]], book_system)
    assert (parallel.flow / GPM, parallel.head / FOOT) == pytest.approx((294.39, 332.17), rel=1e-4)
    series = duty([[BOOK, BOOK]], book_system)
    assert (series.flow / GPM, series.head / FOOT) == pytest.approx((322.93, 345.82), rel=1e-4)
    assert parallel.branches[0] == pytest.approx(parallel.flow / 2.0)


@pytest.mark.parametrize("speed, flow, head", [(0.95, 163.27, 285.66), (0.90, 118.86, 275.95), (0.85, 51.80, 267.08)])
def test_reduced_speed(speed, flow, head):
    found = duty([[BOOK]], book_system, speed)  # worked by hand, affinity laws on the same curves
    assert (found.flow / GPM, found.head / FOOT) == pytest.approx((flow, head), rel=1e-4)


def test_no_flow_below_the_lift():
    assert duty([[BOOK]], book_system, 0.83) is None  # limit sqrt(265/380) = 0.8351
    assert duty([[BOOK]], book_system, 0.84) is not None


def test_system_curve_of_the_data_book():
    # HI Data Book, "System Curves", Calc. 1.A.1-3: 4 in schedule 40, 1255 ft, K = 3.79, 265 ft; 273, 296, 335 ft at
    # 100, 200, 300 gpm, all with f = 0.02, which a pipe of 0.06 to 0.09 mm has only somewhere in this range
    low, high = (Line(1255 * FOOT, 4.026 * 0.0254, 265 * FOOT, eps, 3.79) for eps in (2e-5, 1e-4))
    for q, feet in ((100.0, 273.0), (200.0, 296.0), (300.0, 335.0)):
        assert low.head(q * GPM) / FOOT - 0.5 < feet < high.head(q * GPM) / FOOT + 0.5
    friction = 1255 * FOOT / (4.026 * 0.0254) * 0.02 + 3.79  # the book's factor: its own table to half a foot
    for q, feet in ((100.0, 273.0), (200.0, 296.0), (300.0, 335.0)):
        v = low.velocity(q * GPM)
        assert 265.0 + friction * v * v / (2 * 9.80665) / FOOT == pytest.approx(feet, abs=0.5)


def test_friction_of_a_steel_pipe():
    # Cengel and Cimbala, Fluid Mechanics, Ex. 8-3: 9.85 m in 60 m of 50 mm stainless at 6 L/s, water of 15 degC
    line = Line(60.0, 0.05, 0.0, 2e-6, temperature=15.0)
    assert line.velocity(0.006) == pytest.approx(3.06, abs=0.005)
    assert line.friction(0.006) == pytest.approx(9.85, rel=0.005)


def test_operating_point_of_a_table():
    # Coulson and Richardson, Vol. 1, Ex. 8.8 (p. 370): 0.0054 m3/s and 1.74 kW at an efficiency of 0.5
    pump = PumpCurve((2.8e-3, 3.9e-3, 5.0e-3, 5.6e-3, 5.9e-3), (23.2, 21.3, 18.9, 15.2, 11.0))
    found = duty([[pump]], lambda q: 10.0 + 2.205e5 * q * q)
    assert found.flow == pytest.approx(0.0054, rel=0.01)
    power = p.power_result("p", "power", found.flow, found.head, 1000.0, 0.5)
    assert power.value == pytest.approx(1740.0, rel=0.01)


def test_operating_point_of_schaschke():
    # Schaschke, Fluid Mechanics: Worked Examples, Ex. 9.10 (p. 255): 0.0066 m3/s, read off a drawing
    pump = PumpCurve((0.0, 0.002, 0.004, 0.006, 0.008, 0.010), (40.0, 39.5, 38.0, 35.0, 30.0, 20.0))
    assert duty([[pump]], lambda q: 10.0 + 5.42e5 * q * q).flow == pytest.approx(0.0066, rel=0.02)


def test_affinity_of_a_trade_manual():
    # Crane TP-410, Ex. 7-33: 126 ft and 400 gpm at 3500 rpm are 29.7 ft and 194 gpm at 1700 rpm
    pump = PumpCurve((0.0, 400 * GPM, 600 * GPM), (140 * FOOT, 126 * FOOT, 90 * FOOT))
    n = 1700.0 / 3500.0
    assert pump.head(194.286 * GPM, n) / FOOT == pytest.approx(29.7, abs=0.05)


def test_power_of_the_data_book():
    # HI Data Book, Eq. 1.B.4: 246 m3/h, 30.48 m, specific gravity 1.23, efficiency 0.65: 38.70 kW
    assert p.power_result("p", "power", 246 / H, 30.48, 1230.0, 0.65).value == pytest.approx(38.70e3, rel=2e-3)
    # Crane TP-410, Ex. 7-34: 700 gpm, 428 ft, 0.707: 107.0 hp
    shaft = p.power_result("p", "power", 700 * GPM, 428 * FOOT, 998.9, 0.707).value
    assert shaft / 745.7 == pytest.approx(107.0, rel=2e-3)


def test_derating_of_the_pump_handbook():
    # Karassik et al., Pump Handbook, slurry section, Fig. 12: chart 14 %, Ss = 4.4, Xh = 0.08: 19 % at Cv = 15 %, 8 %
    # at Cv = 6 %
    full = p.slurry_derating(0.14, 0.15, 4.4, 0.08, 0.914)
    thin = p.slurry_derating(0.14, 0.06, 4.4, 0.08, 0.914)
    assert full[0].value == pytest.approx(0.19, abs=0.005) and thin[0].value == pytest.approx(0.08, abs=0.005)
    small = p.slurry_derating(0.14, 0.06, 4.4, 0.08, 0.3, 0.5)
    assert small[1].value == small[0].value, "below 0.4 m efficiency falls as much as head"


def test_mixture_of_the_data_book():
    # HI Data Book, "Solids and Slurries", Eq. 2.B.4: Ss = 2.7, 30 % by weight: specific gravity 1.23
    by_volume = 0.13699
    line = Line(100.0, 0.2, 0.0, solids=2700.0 * by_volume, solids_density=2700.0)
    assert line.density / line.water_density == pytest.approx(1.23, abs=0.005)


@pytest.mark.parametrize("bore, factor, velocity", [(0.1, 1.34, 2.411), (0.2, 1.34, 3.410), (0.2, 0.8, 2.036),
                                                    (0.15, 1.0, 2.204), (0.3, 1.34, 4.176)])  # fmt: skip
def test_durand(bore, factor, velocity):
    # Durand (1953), F_L sqrt(2 g D (S - 1)) at S = 2.65
    line = Line(100.0, bore, 0.0, solids_density=2650.0 * 0.9982, deposit_factor=factor)
    assert p.limit_velocity(line) == pytest.approx(velocity, rel=1e-3)


@pytest.mark.parametrize("modulus, wall, mpa", [(None, None, 3.05), (2.1e11, 0.005, 2.48)])
def test_surge_upper_bound(modulus, wall, mpa):
    # Subramanya, 1000 Solved Problems in Fluid Mechanics, Ex. 14.15: 3.040 and 2.482 MPa at 2.1 m/s, D/t = 50, with
    # K = 2.1e9; here K = 2.2e9, so up to 2.4 % more
    line = Line(500.0, 0.25, 0.0)
    q = 2.1 * line.area
    site = p.Site(wall=wall, young=modulus or 2.07e11)
    dp = next(r for r in p.surge_result(line, q, site) if r.key == "surge")
    assert 1.0 <= dp.value / 1e6 / (3.040 if wall is None else 2.482) < 1.03
    assert dp.value / 1e6 == pytest.approx(mpa, rel=0.025)
    assert "specialist" in dp.cautions[0]


def test_available_suction():
    # Crane TP-410, Ex. 7-32: 5 psig, Pv 0.256 psi (water of 15.3 degC), 25 ft below, loss 6 ft: 13.9 ft
    psi = 6894.757
    line = Line(10.0, 0.1, 0.0, temperature=15.3)
    found = p.available_suction(p.Site(-25 * FOOT, 6 * FOOT, (14.696 + 5.0) * psi), line)
    assert found / FOOT == pytest.approx(13.9, abs=0.1)
    assert not p.suction_result(found, 20 * FOOT).holds


def test_the_surge_bound_stops_the_greatest_flow_there_can_be():
    # Joukowsky (1898): the bound rises with the velocity stopped, so all branches together have to count
    sheet = p.size_pumping(Line(400.0, 0.2, 20.0), [[BOOK], [BOOK]], p.Site(1.0), margin=1.0)
    stopped = next(item.value for item in sheet["surge"].inputs if item.name.startswith("velocity"))
    assert stopped == pytest.approx(max(sheet["duty_1"].value, sheet["duty_2"].value) / (np.pi * 0.2**2 / 4.0))
    assert sheet["duty_2"].value > sheet["duty_1"].value


def test_two_slurry_pumps_in_series_is_an_ordinary_duty():
    """Two rubber-lined pumps in series carry about 230 m3/h through some 800 m up 45 m: common practice, no source.

    Ordinary: a bore of the common series 150 to 250 mm with 1.5 to 3 m/s, and a head for each pump that rubber takes,
    30 to 40 m (from memory).
    """
    choices = {d: (v, h, each) for d, v, h, each in
               p.pipe_choices(230 / H, 800.0, 45.0, (0.150, 0.200, 0.250), 2, solids=60.0, fittings=12.0)}  # fmt: skip
    ordinary = [d for d, (v, _, each) in choices.items() if 1.5 <= v <= 3.0 and each <= 40.0]
    assert ordinary == [0.200]
    velocity, head, each = choices[0.200]
    assert velocity == pytest.approx(2.03, abs=0.01) and 55.0 < head < 65.0 and 27.0 < each < 33.0
    # and a pump of such a curve, twice in series, does meet it
    pump = PumpCurve((0.0, 100 / H, 200 / H, 300 / H), (38.0, 36.5, 32.5, 26.0), ETA, (2.0,) * 4, 0.9, 55e3)
    line = Line(800.0, 0.2, 45.0, fittings=12.0, solids=60.0, deposit_factor=0.4, name="rising main")
    sheet = p.size_pumping(line, [[pump, pump]])
    assert sheet["duty_1"].value * H == pytest.approx(230.0, abs=15.0)
    assert sheet["power1"].holds and sheet["velocity_ratio_most"].holds
    assert not sheet["single_of_series"].holds, "one of the pair alone does not reach the lift"


def test_speeds_and_fault_cases_on_the_sheet():
    pump = PumpCurve((0.0, 100 / H, 200 / H, 300 / H), (38.0, 36.5, 32.5, 26.0), ETA, (2.0,) * 4, 0.9, 30e3)
    line = Line(300.0, 0.2, 18.0, solids=60.0, deposit_factor=0.4)
    sheet = p.size_pumping(line, [[pump], [pump]])
    assert sheet["duty_2"].value > sheet["duty_1"].value > sheet["duty_at_90"].value
    shut = 38.0 * (1 - 0.9 * 60 / 2650)
    assert sheet["deadhead_pressure"].value == pytest.approx(line.density * 9.80665 * shut, rel=1e-6)
    assert "single_suction" in sheet and "deadhead_power" in sheet
    assert any("closed valves" in c for c in sheet["deadhead_power"].cautions)
    assert {"one branch", "2 branches", "line", "duty points"} <= {curve.name for curve in sheet.plots[0].lines}


def test_series_curve_adds_heads():
    a = PumpCurve((0.0, 0.1), (40.0, 20.0))
    c = PumpCurve((0.0, 0.05, 0.1), (30.0, 28.0, 20.0))
    both = in_series([a, c])
    for q in (0.0, 0.02, 0.05, 0.08, 0.1):
        assert both.head(q) == pytest.approx(a.head(q) + c.head(q))


@pytest.mark.parametrize("make, words", [
    (lambda: PumpCurve((0.0,), (1.0,)), "two or more points"),
    (lambda: PumpCurve((0.1, 0.0), (2.0, 1.0)), "flows that rise"),
    (lambda: PumpCurve((0.0, 0.1), (1.0, 2.0)), "heads that fall"),
    (lambda: Line(-1.0, 0.2, 0.0), "allowed: above 0"),
    (lambda: Line(1.0, 0.2, 0.0, solids=3000.0), "below the solids"),
    (lambda: duty([], lambda q: 0.0), "no pump"),
    (lambda: p.power_result("p", "p", 1.0, 1.0, 1000.0, 1.2), "at most 1"),
    (lambda: p.slurry_derating(1.2, 0.1, 2.65, 0.1, 0.3), "share outside"),
    (lambda: p.size_pumping(Line(1.0, 0.2, 0.0), [[BOOK]], duty_branches=2), "1 to 1"),
])  # fmt: skip
def test_what_cannot_be(make, words):
    with pytest.raises(NotSized, match=words):
        make()
