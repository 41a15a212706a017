"""Clarifier sizes against worked examples of the literature, closed forms and exact batch solutions."""

import json
import math

import numpy as np
import pytest

from plantsim.analysis.lab.data import Curve
from plantsim.analysis.lab.fits import fit_flux_law, kynch_points
from plantsim.analysis.sizing.clarifier import (
    Duty,
    NotSized,
    area_coe_clevenger,
    area_coe_clevenger_law,
    area_kynch,
    area_rise,
    area_talmage_fitch,
    bed_depth,
    dilution,
    flux_plot,
    flux_results,
    limiting_flux,
    rake_torque,
    rise_rate,
    size_clarifier,
    solids_loading,
)
from plantsim.analysis.sizing.result import Result, Sheet, inputs, show
from plantsim.physics.kynch import batch_vesilind
from plantsim.physics.water import viscosity
from plantsim.plant.settling_table import velocity_points

# A measured curve of wash water (coursehero 23943069): minutes, cm; 2 g/L, 7500 m3/d.
MINUTES = np.array([0, 1, 2, 3, 4, 5, 6, 7, 8, 10, 12, 14, 16, 18, 20, 26], float)
CM = np.array([48, 28, 23.4, 20.6, 18.4, 16.8, 15.7, 14.8, 14, 12.8, 11.8, 11.2, 10.6, 10.4, 10.2, 10])
WASH = Curve("wash", "wash.csv:2", 60.0 * MINUTES, 0.01 * CM, 2.0)


def exact_curve(C0=3.0, v0=7 / 3600, r=0.35, height=1.0, temperature=20.0):
    slow = viscosity(temperature) / viscosity(20.0)
    exact = batch_vesilind(C0, height, v0 / slow, r)
    t = np.concatenate([np.linspace(0.0, exact.t1, 6), np.geomspace(exact.t1, 130 * exact.t1, 400)[1:]])
    return Curve("exact", "lab:1", t, np.array([exact.interface_height(x) for x in t]), C0, temperature=temperature)


def vesilind(v0=7 / 3600, r=0.35):
    return lambda c: v0 * math.exp(-r * c)


# ---------------------------------------------------------------------------------------------- worked examples
def test_coulson_and_richardson_5_1():
    # Coulson & Richardson, Chemical Engineering vol. 2, Ex. 5.1 p. 264: 1.33 kg/s from 5 to 1.5 kg of water per kg.
    y, v = [5.0, 4.2, 3.7, 3.1, 2.5], [2.00e-4, 1.20e-4, 0.94e-4, 0.70e-4, 0.50e-4]
    np.testing.assert_allclose([(a - 1.5) / b for a, b in zip(y, v)], [17500, 22500, 23404, 22857, 20000], atol=0.5)
    area = area_coe_clevenger(1.33, y, v, 1.5)
    assert area.value == pytest.approx(31.13, abs=0.005)
    assert {i.name: i.value for i in area.inputs}["governing dilution Y"] == 3.7
    assert "Coe, H. S." in area.source


def test_aziz_tutorial_7_question_2():
    # Aziz, Particle Technology tutorial 7 (2022), Q2: 2 kg/s, Y 1.5 to 0.5, U = 0.5; answer recomputed, 11.67 m2.
    area = area_coe_clevenger(2.0, [1.5, 1.2, 1.0, 0.8, 0.5], [2.00e-4, 1.20e-4, 0.94e-4, 0.70e-4, 0.50e-4], 0.5)
    assert area.value == pytest.approx(11.67, abs=0.005)
    # the feed of 40 % by weight and relative density 1.336 is Y = 1.5: solids of 2693.5 kg/m3
    assert dilution(0.4 * 1336.0, 2693.5, 1000.0) == pytest.approx(1.5, rel=1e-3)


@pytest.mark.parametrize("v0, r, C_u, C_L, J_L", [
    (7.0, 0.35, 20.0, 16.54654, 2.048594),
    (6.495, 0.4025, 12.0, 8.48723, 6.184134),  # Daigger (1995) at SVI 150, from memory
])  # fmt: skip
def test_limiting_flux_meets_the_closed_form(v0, r, C_u, C_L, J_L):
    # C_L = (C_u/2)(1 + sqrt(1 - 4/(r C_u))), J_L = r C_L^2 v0 exp(-r C_L); m/h and kg/(m2 h).
    found = limiting_flux(vesilind(v0 / 3600, r), 3.0, C_u)
    assert found[0] == pytest.approx(C_L, rel=1e-5)
    assert 3600 * found[1] == pytest.approx(J_L, rel=1e-6)


def test_a_thin_underflow_has_its_bottleneck_at_the_feed():
    # r C_u below 4: the total flux curve has no least value inside, so the feed's own solids govern
    C_L, J = limiting_flux(vesilind(), 2.0, 11.0)
    assert pytest.approx(2.0) == C_L
    assert pytest.approx(vesilind()(2.0) / (1 / 2.0 - 1 / 11.0), rel=1e-9) == J


def test_state_point_of_the_benchmark_settler():
    # BSM1 settler (Alex and others, 2008): 3.269837 kg/m3, 36892 m3/d in, 18831 m3/d down, 1500 m2: flux of the feed
    # over both lines 80.4205 kg/(m2 d), overflow line 12.04067, underflow line 12.55400 m/d, intercept 6.40597 kg/m3.
    duty = Duty(36892 / 86400, 3.269837, 3.269837 * 36892 / 18831)
    law = vesilind(474 / 86400, 0.576)
    results = {r.key: r for r in flux_results(duty, law, "Vesilind part of the benchmark's law", 1500.0)}
    point = results["state_point"]
    given = {i.name: i.value for i in point.inputs}
    assert 86400 * results["applied_flux"].value == pytest.approx(80.4205, rel=1e-5)
    assert 86400 * given["overflow line slope"] == pytest.approx(12.04067, rel=1e-6)
    assert 86400 * given["underflow line slope"] == pytest.approx(12.55400, rel=1e-6)
    assert 86400 * point.value == pytest.approx(3.269837 * 12.04067, rel=1e-6)
    underflow = flux_plot(duty, law, 1500.0).lines[2]
    assert underflow.x[1] == pytest.approx(6.40597, rel=1e-6)
    assert point.holds  # this settler is known to hold its blanket at these flows


# ---------------------------------------------------------------------------------------------- against each other
def test_all_methods_meet_on_a_mud_without_compression():
    # On Kynch's own exact curve the area is the solids rate over the limiting flux in closed form, by every method.
    duty, curve = Duty(1.0, 3.0, 20.0), exact_curve()
    truth = 3.0 * 3600 / 2.048594
    assert area_coe_clevenger_law(duty, vesilind()).value == pytest.approx(truth, rel=1e-6)
    assert area_kynch(duty, curve).value == pytest.approx(truth, rel=2e-3)
    # the compression point put behind the underflow's solids: the curve itself gives the time
    assert area_talmage_fitch(duty, curve, 0.9 * curve.times[-1]).value == pytest.approx(truth, rel=2e-3)
    # Coe and Clevenger as printed, with dilutions, is the same balance
    c = np.geomspace(3.0, 19.99, 2000)
    printed = area_coe_clevenger(
        3.0, [dilution(x, 2650, 998.2) for x in c], [vesilind()(x) for x in c], dilution(20.0, 2650, 998.2), 998.2
    )
    assert printed.value == pytest.approx(truth, rel=1e-4)


def test_talmage_and_fitch_by_hand():
    # A curve of two straight lines, 1 m at 1 mm/s to 0.4 m, then 0.1 mm/s; compression begins at the knee (600 s).
    t = np.array([0, 150, 300, 450, 600, 1600, 2600, 3600.0])
    z = np.array([1, 0.85, 0.7, 0.55, 0.4, 0.3, 0.2, 0.1])
    curve = Curve("lines", "lab:1", t, z, 10.0)
    duty = Duty(0.1, 10.0, 50.0)  # 1 kg/s; C_u is reached at 0.2 m
    # just behind the knee the tangent is the second line: t_u = 2600 s, A = m t_u/(C0 H) = 260 m2
    assert area_talmage_fitch(duty, curve, 1600.0).value == pytest.approx(260.0, rel=1e-6)
    # Kynch: the second line meets the height axis at 0.46 m, so solids of 21.74 g/L fall at 0.1 mm/s:
    # (1/21.74 - 1/50)/1e-4 = 260 m2 per kg/s as well
    assert area_kynch(duty, curve).value == pytest.approx((0.046 - 1 / 50) / 1e-4, rel=1e-6)
    # bed: integral of z dt from 600 to 2600 s is 600 m s over C0 H and 260 m2;
    # readings 1000 s apart are joined without a corner, which sags 2 % under the lines
    assert bed_depth(duty, curve, 260.0, 600.0).value == pytest.approx(600.0 / 10.0 / 260.0, rel=0.02)


def test_wash_water_cannot_reach_20_g_per_litre():
    # The source asks for 20 g/L, an interface at 4.8 cm; the mud never came below 10 cm: no area may come out.
    duty = Duty(7500 / 86400, 2.0, 20.0)
    for method in (area_talmage_fitch, area_kynch):
        with pytest.raises(NotSized, match=r"interface at 0\.048 m, but the test ended at 0\.1 m"):
            method(duty, WASH)
    sheet = size_clarifier(duty, [WASH])
    assert len([words for words in sheet.left_out if "0.048 m" in words]) == 3
    assert [r.key for r in sheet.results if r.key.startswith("area_")] == ["area_rise"]


def test_wash_water_becomes_area_and_flux_plot():
    duty = Duty(7500 / 86400, 2.0, 8.0)
    law = velocity_points(*kynch_points(WASH))
    sheet = size_clarifier(duty, [WASH], law, "tangents of the curve")
    # read off the drawing by hand: z_u = 12 cm, reached at about 11.5 min: 0.1736 kg/s x 691 s / 0.96 kg/m2 = 125 m2
    by_hand = duty.solids_rate * 60 * 11.5 / (2.0 * 0.48)
    assert sheet["area_kynch"].value == pytest.approx(by_hand, rel=0.02)
    assert sheet["area_coe_clevenger"].value == pytest.approx(by_hand, rel=0.03)
    assert sheet["area"].value == pytest.approx(1.5 * max(r.value for r in sheet.results if r.key.startswith("area_")))
    assert sheet["diameter"].value == pytest.approx(math.sqrt(4 * sheet["area"].value / math.pi))
    assert sheet["state_point"].holds and "67 %" in sheet["state_point"].verdict
    assert {plot.key for plot in sheet.plots} == {"flux", "settling_curve"}
    json.dumps(sheet.as_dict(), allow_nan=False)


# ---------------------------------------------------------------------------------------------- checks of an area
def test_verdicts_of_the_state_point():
    law, duty = vesilind(), Duty(1.0, 3.0, 20.0)
    need = 3.0 * 3600 / 2.048594

    def verdict(area):
        return {r.key: r for r in flux_results(duty, law, "", area)}["state_point"]

    assert verdict(1.001 * need).holds and not verdict(0.99 * need).holds
    assert "thickening" in verdict(0.99 * need).verdict
    # the overflow faster than the feed settles: 0.85 m3/s over 0.000680 m/s
    clear = duty.overflow / law(3.0)
    assert "above the settling flux curve" in verdict(0.99 * clear).verdict


def test_rise_rate_and_loading():
    # 350 m3/h at 60 g/L to 500 g/L: 308 m3/h of clear water; mud of 12 m/h and half of it allowed: 51.3 m2.
    duty = Duty(350 / 3600, 60.0, 500.0)
    area = area_rise(duty, 12 / 3600)
    assert area.value == pytest.approx(308 / 6, rel=1e-9)
    rise = rise_rate(duty, area.value, 12 / 3600)
    assert rise.text() == "6 m/h" and rise.holds
    assert not rise_rate(duty, 0.9 * area.value, 12 / 3600).holds
    # 21 t/h over 51.3 m2 is 0.41 t/m2/h, within 0.2 to 1.5 (common practice, no source)
    loading = solids_loading(duty, area.value)
    assert loading.text(3) == "0.409 t/m2/h" and "within" in loading.verdict
    assert "above" in solids_loading(duty, 10.0).verdict and "below" in solids_loading(duty, 200.0).verdict


def test_rake_torque_class_follows_the_yield_stress():
    area = 0.25 * math.pi * 10.0**2
    torque = [rake_torque(Duty(0.1, 60, 500, yield_stress=y), area) for y in (5.0, 20.0, 60.0, 250.0)]
    assert [t.value for t in torque] == pytest.approx([10e3, 20e3, 60e3, 150e3])  # K D^2 at D = 10 m
    assert "class heavy" in torque[2].verdict and any("hardly flows" in c for c in torque[3].cautions)
    unknown = rake_torque(Duty(0.1, 60, 500), area)
    assert unknown.value == torque[1].value and "not given" in unknown.cautions[-1]
    assert all("maker's figure" in t.cautions[0] and "no source" in t.source for t in torque)


def test_cold_water_and_warm_tests():
    # a curve run at 8 degC sizes as the same mud run at 20 degC
    warm, cold = exact_curve(), exact_curve(temperature=8.0)
    duty = Duty(1.0, 3.0, 20.0)
    one, other = size_clarifier(duty, [warm]), size_clarifier(duty, [cold])
    assert other["area_kynch"].value == pytest.approx(one["area_kynch"].value, rel=1e-6)
    # water at 4 degC is 1.565 times as thick as at 20 degC (IAPWS R12-08: 1.56729 and 1.00160 mPa s)
    winter = size_clarifier(Duty(1.0, 3.0, 20.0, coldest=4.0), [warm])
    assert winter["area"].value / one["area"].value == pytest.approx(1.56729 / 1.00160, rel=0.01)


def test_an_area_that_stands_is_judged():
    law = vesilind()
    duty = Duty(1.0, 3.0, 20.0, safety=1.25)
    need = 3.0 * 3600 / 2.048594
    enough = size_clarifier(duty, [], law, area=1.3 * need)
    assert enough["area"].holds and not enough.failing()
    short = size_clarifier(duty, [], law, area=1.1 * need)
    assert [r.key for r in short.failing()] == ["area"] and "1.25 asked for" in short["area"].verdict


def test_sizing_from_fitted_cylinders():
    curves = []
    for c in (2.0, 3.0, 5.0, 8.0):
        exact = batch_vesilind(c, 0.5, 7 / 3600, 0.35)
        t = np.concatenate([np.linspace(0, exact.t1, 7), np.geomspace(1.3 * exact.t1, 60 * exact.t1, 20)])
        curves.append(Curve(f"c{c:.0f}", "lab:1", t, np.array([exact.interface_height(x) for x in t]), c))
    sheet = size_clarifier(Duty(1.0, 3.0, 20.0), curves, fit_flux_law(curves))
    assert sheet["area_coe_clevenger"].value == pytest.approx(3.0 * 3600 / 2.048594, rel=0.01)
    assert "c3" in sheet.plots[1].title
    far = size_clarifier(Duty(1.0, 1.0, 20.0), curves[2:], fit_flux_law(curves))
    assert any("test at the feed's own solids" in c for c in far.cautions)
    # Richardson and Zaki's law goes the same way
    rz = fit_flux_law(curves, "richardson-zaki", 2650.0)
    again = size_clarifier(Duty(1.0, 3.0, 20.0), [], rz)
    assert again["area_coe_clevenger"].value == pytest.approx(sheet["area_coe_clevenger"].value, rel=0.01)


@pytest.mark.parametrize("numbers, words", [
    ((0.0, 60, 500), "found a feed of 0 m3/s with 60 kg/m3; allowed: both above 0"),
    ((0.1, 60, 50), "found an underflow of 50 kg/m3 from a feed of 60; allowed: an underflow thicker than the feed"),
])  # fmt: skip
def test_bad_duties(numbers, words):
    with pytest.raises(NotSized) as caught:
        Duty(*numbers)
    assert str(caught.value) == words


def test_bad_factors_and_nothing_to_size_from():
    with pytest.raises(NotSized, match=r"found a safety factor of 0\.9; allowed: 1 or more"):
        Duty(0.1, 60, 500, safety=0.9)
    with pytest.raises(NotSized, match=r"found a rise factor of 1\.2"):
        Duty(0.1, 60, 500, rise_factor=1.2)
    with pytest.raises(NotSized, match="found neither a settling law nor a curve"):
        size_clarifier(Duty(0.1, 60, 500), [])


# ---------------------------------------------------------------------------------------------- the traced result
def test_results_are_traced_and_go_to_json():
    sheet = size_clarifier(Duty(1.0, 3.0, 20.0), [exact_curve()], vesilind(), "given")
    for result in sheet.results:
        assert result.formula and result.source and (result.inputs or result.key == "area")
    plain = json.loads(json.dumps(sheet.as_dict(), allow_nan=False))
    assert plain["results"][0]["inputs"][0] == {
        "name": "solids fed m",
        "value": 3.0,
        "unit": "kg/s",
        "text": "10.8 t/h",
    }
    name, value, trace, _ = sheet.rows()[0]
    assert name == "area by Coe and Clevenger" and value == "5272 m2" and "10.8 t/h" in trace and "Trans. AIME" in trace


def test_sheet_keeps_keys_once_and_shows_units():
    result = Result("a", "a", 1.0, "m", "a", inputs(("b", 2.0, "m")), "s")
    sheet = Sheet("t", [result])
    with pytest.raises(ValueError, match="stands on the sheet already"):
        sheet.add(result)
    assert "a" in sheet and "b" not in sheet
    with pytest.raises(KeyError):
        sheet["b"]
    assert show(0.5, "-") == "0.5" and show(2.0, "m3/s", "m3/h") == "7200 m3/h" and show(math.inf, "m", "m") == "inf m"
    with pytest.raises(ValueError, match="no unit 'blorp'"):
        show(1.0, "m", "blorp")
    assert Result("n", "n", math.nan, "m", "", (), "").as_dict()["value"] is None
