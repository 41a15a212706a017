"""Sump and pump cycling: handbook examples through the sizing functions, and the simulation beside the formula."""

from dataclasses import replace

import numpy as np
import pytest

from plantsim.analysis.sizing import sump as s
from plantsim.analysis.sizing import sump_bench as b
from plantsim.analysis.sizing.result import NotSized
from plantsim.physics.cycling import cycle_time

H = 3600.0
GALLON_US = 3.785411784e-3
FOOT = 0.3048


# ---------------------------------------------------------------------------------------------- worked examples
def test_published_station():
    # "Pumping Station and Rising Main Calculations", a design appendix: 28.4 L/s inflow, pump of twice that, 15 starts
    # an hour: 3.408 m3, 0.48 m deep in a well 3 m across
    volume = s.volume_for_starts(0.0568, 240.0)
    assert volume.value == pytest.approx(3.408, rel=1e-3)
    assert volume.value / (np.pi * 3.0**2 / 4.0) == pytest.approx(0.48, abs=0.005)


@pytest.mark.parametrize("inflow, seconds", [(0.0142, 320.0), (0.0284, 240.0), (0.0426, 320.0)])
def test_cycle_of_the_published_station(inflow, seconds):
    # MIL-HDBK-1005/9A, par. 2.5.3.6, Eq. 1, for the same well
    assert s.cycle(3.408, 0.0568, inflow).value == pytest.approx(seconds, rel=1e-3)


@pytest.mark.parametrize("part, per_hour", [(0.1, 5.40), (0.25, 11.25), (0.5, 15.0), (0.75, 11.25), (0.9, 5.40)])
def test_starts_of_the_published_station(part, per_hour):
    # the same Eq. 1 turned round
    assert H * s.starts("n", "n", 3.408, 0.0568, part * 0.0568).value == pytest.approx(per_hour, rel=1e-3)


@pytest.mark.parametrize("part, minutes", [(0.5, 10.0), (0.25, 13.33)])
def test_cycle_of_the_military_handbook(part, minutes):
    # MIL-HDBK-1005/9A, Eq. 1 with V/D = 2.5 min
    assert s.cycle(150.0, 1.0, part).value / 60.0 == pytest.approx(minutes, rel=1e-3)
    assert s.least_cycle(150.0, 1.0).value == 600.0


@pytest.mark.parametrize("pumps, litres", [(1, 6750.0), (2, 3375.0)])
def test_upper_size_of_the_army_guidance(pumps, litres):
    # EI 11C201 / UFC 3-240-04A (1997), par. 7: 45 L/s, 10 min; half of it when two pumps alternate
    assert 1000.0 * s.volume_for_starts(0.045, 600.0, pumps).value == pytest.approx(litres, rel=1e-3)


def test_two_in_turn():
    # the same rule: at the same volume each starts half as often, and half the volume brings back all of them
    one = s.starts("n", "n", 3.408, 0.0568, 0.0284, 2)
    assert one.text() == "7.5 1/h"
    assert s.starts("n", "n", 0.5 * 3.408, 0.0568, 0.0284, 2).text() == "15 1/h"


@pytest.mark.parametrize("area, fall, minutes, gpm, tolerance", [
    (10 * 9, 2.2, 5.0, 296.2, 2e-3),  # operator-training text, Example 11.1: 10 ft x 9 ft, 2.2 ft in 5 min
    (15 * 12, 3.0, 30.0, 134.64, 4e-4),  # operator examination, "Time for math" 33, Q3: 7.48 gal/ft3
    (3.14 * 10**2 / 4, 0.5, 2.0, 146.8, 1e-3),  # the same, Q1, with pi = 3.14
])  # fmt: skip
def test_drawdown(area, fall, minutes, gpm, tolerance):
    found = s.capacity_by_drawdown(area * FOOT**2, fall * FOOT, 60.0 * minutes)
    assert found.value / GALLON_US * 60.0 == pytest.approx(gpm, rel=tolerance)


@pytest.mark.parametrize("per_hour, litres", [(4, 225), (6, 150), (10, 90), (15, 60)])
def test_volume_for_each_litre_a_second(per_hour, litres):
    # V = TQ/4 (UFC 3-240-04A), for 1 L/s
    assert 1e3 * s.volume_for_starts(1e-3, H / per_hour).value == pytest.approx(litres)


def test_submergence():
    # ANSI/HI 9.8 (Hecker 1987), S = D (1 + 2.3 Fd): D = 0.6 m, V = 1.5 m/s
    assert s.submergence(0.6, 1.5).value == pytest.approx(1.453, rel=1e-3)


# ---------------------------------------------------------------------------------------------- motors
def duty(**changes):
    given = dict(volume=8.0, capacities=(0.0568,), inflow=0.05, motor_kw=18.5, poles=4)
    return s.SumpDuty(**{**given, **changes})


def test_starts_of_a_motor_by_the_table():
    # NEMA MG 10, Table 2-3: 25 hp, 4 poles, Wk2 = 10 lb ft2: min(8.8, 122/10) = 8.8; off for 58 s
    found = s.starts_allowed(duty(inertia=10 * 0.45359237 * FOOT**2))
    assert found.text() == "8.8 1/h"
    sheet = s.size_sump(duty(inflow=0.05))
    assert sheet["volume_rest"].value == pytest.approx(58.0 * 0.05)


@pytest.mark.parametrize("kw, minutes", [(14.0, 10.0), (50.0, 15.0), (120.0, 20.0)])
def test_least_cycle_by_power(kw, minutes):
    # EI 11C201 / UFC 3-240-04A, Table 7-1: below 15 kW 10 min, to 75 kW 15 min, to 185 kW 20 min
    assert s.guidance_cycle(duty(motor_kw=kw)).value == 60.0 * minutes
    assert s.guidance_cycle(duty(motor_kw=190.0)) is None


def test_inertia_can_govern():
    # the same table: B/J below A
    assert H * s.starts_allowed(duty(inertia=20 * 0.45359237 * FOOT**2)).value == pytest.approx(122.0 / 20.0)


def test_what_governs_and_what_stands():
    sheet = s.size_sump(duty(starts_limit=15.0, rest=0.0, capacities=(0.0568, 0.08), inflow=0.07, volume=3.0))
    assert sheet["volume"].value == pytest.approx(3.408)
    assert sheet["volume"].holds is False and not sheet["starts_most"].holds
    assert sheet["lag_volume_2"].value == pytest.approx(240.0 * (0.08 - 0.0568) / 4.0)  # tq/4 of the increment
    big = s.size_sump(duty(starts_limit=15.0, rest=0.0, volume=3.41))
    assert big["volume"].holds and big["starts_most"].holds
    rest = s.size_sump(duty(starts_limit=15.0, rest=120.0))
    assert "rest" in rest["volume"].verdict


def test_drain_back_takes_from_the_cycle():
    drained = s.cycle_with_drain_back(10.0, 0.1, 0.05, 4.0)
    assert drained.value == pytest.approx(6.0 / 0.05 + 10.0 / 0.05)
    needed = s.volume_with_drain_back(0.1, 0.09, 600.0, 4.0, 1)
    grid = np.linspace(1e-3, 0.09, 4000)
    assert needed.value == pytest.approx(((grid * 600.0 + 4.0) * (0.1 - grid) / 0.1).max(), rel=1e-6)


def test_time_to_overflow():
    sheet = s.size_sump(duty(spare_volume=30.0, drain_back=3.0))
    assert sheet["overflow_time"].value == pytest.approx(27.0 / 0.05)
    assert sheet["overflow_response"].holds is False


@pytest.mark.parametrize("changes, words", [
    (dict(inflow=0.06), "below what the pumps carry"),
    (dict(capacities=()), "no pump capacity"),
    (dict(capacities=(0.06, 0.06)), "adds no flow"),
    (dict(inflow=-1.0), "allowed: above 0"),
    (dict(sand=1.0), "share of sand"),
])  # fmt: skip
def test_what_cannot_be(changes, words):
    with pytest.raises(NotSized, match=words):
        duty(**changes)


def test_line_longer_than_the_sump():
    with pytest.raises(NotSized, match="check valve"):
        s.cycle_with_drain_back(3.0, 0.1, 0.05, 4.0)
    with pytest.raises(NotSized, match="2, 4 and 6 poles"):
        s.starts_allowed(duty(poles=8))


# ---------------------------------------------------------------------------------------------- simulated
PUMP = {"curve": [["0 m3/h", "50 m", "0 %", "2 m"], ["300 m3/h", "42 m", "70 %", "3 m"],
                  ["500 m3/h", "28 m", "65 %", "5 m"]],
        "motor": {"power": "75 kW", "ramp_up": "10 s", "ramp_down": "10 s"}}  # fmt: skip
CASE = b.Case(
    {"shape": {"form": "prism", "length": "6 m", "width": "4 m", "depth": "3.5 m"}, "suction_level": "0.4 m"},
    {"length": "200 m", "diameter": "250 mm", "lift": "24 m", "fittings": 12.0}, ((("P-1", PUMP),), (("P-2", PUMP),)),
    (0.1, 0.14), 2.0, 0.8, 28.8, 3.3)  # fmt: skip


@pytest.mark.parametrize("turns", [1, 2])
@pytest.mark.parametrize("part", [0.1, 0.25, 0.5, 0.75, 0.9])
def test_simulated_cycle_is_that_of_the_handbook(turns, part):
    # MIL-HDBK-1005/9A, Eq. 1 and 2; each of two in turn half as often: UFC 3-240-04A, par. 7
    done = b.steady(b.ideal(replace(CASE, alternating=turns)), part)
    expected = cycle_time(28.8, 0.1, part * 0.1)
    assert done.cycle == pytest.approx(expected, rel=0.01)
    assert done.starts_hour == pytest.approx(H / expected / turns, rel=0.01)
    assert done.highest == pytest.approx(2.0, abs=0.02)


@pytest.mark.parametrize("part", [0.1, 0.25, 0.5, 0.75, 0.9])
def test_simulated_lag_pump(part):
    # UFC 3-240-04A, par. 7: the increment of flow takes the place of the capacity
    lag = replace(CASE, lag_start=2.8, lag_stop=2.0, alternating=2)
    inflow = 0.1 + part * 0.04
    done = b.steady_lag(b.ideal(lag), inflow, 24.0 * 0.8)
    assert done.cycle == pytest.approx(cycle_time(24.0 * 0.8, 0.04, part * 0.04), rel=0.01)


def test_departures_have_the_right_sign():
    own = b.steady(b.bare_motors(CASE, ramp_up="0 s", ramp_down="0 s"), 0.5)
    slow = b.steady(b.bare_motors(CASE, ramp_up="60 s", ramp_down="60 s"), 0.5)
    assert slow.starts_hour < own.starts_hour, "a ramp makes cycles longer"
    back = b.steady(b.draining(CASE), 0.5)
    assert back.starts_hour > 1.02 * b.steady(CASE, 0.5).starts_hour, "what drains back fills part of the volume"
    held = b.steady(b.bare_motors(CASE, max_starts=1), 0.5)
    assert held.held > 0.0 and held.highest > 2.05, "a start held back lets the level rise"


def test_smallest_volume_by_simulation():
    limit = 4.0 / H
    proved, fewer = b.proved_volume(CASE, 0.1 / (4.0 * limit), limit)
    again = b.steady(replace(CASE, start=b.level_for(CASE, proved.value), volume=proved.value), 0.5)
    assert again.starts_hour == pytest.approx(4.0, rel=0.01)
    assert fewer.value > limit, "a fifth less does not hold"


def test_the_sheet_of_the_simulation_explains():
    sheet = b.compare(CASE, 4.0 / H, 30.0, ratios=(0.5,), days=0.0)
    assert abs(sheet["simulated_0"].value / (0.5 * 0.05 / 28.8) - 1.0) < 0.01
    assert "level" in sheet["simulated_3"].verdict or "drains back" in sheet["simulated_3"].verdict
    # each case that leaves the formula by a hundredth says by how much and why
    for k in range(5):
        found = sheet[f"simulated_{k}"]
        if abs(found.value / (0.5 * 0.05 / 28.8) - 1.0) >= 0.01:
            assert "than the formula's" in found.verdict and ": " in found.verdict, found.verdict
    assert sheet.cautions and sheet.plots[0].lines[0].name == "formula"


def test_all_three_forms_stand_on_the_sheet():
    # single, alternating: MIL-HDBK-1005/9A and UFC 3-240-04A, par. 7; increment of the second pump: the same paragraph
    sheet = b.compare(replace(CASE, alternating=2), 6.0 / H, 0.0, ratios=(0.5,), days=0.0, lag=(2.8, 1.95))
    single, turns, lag = (H * sheet[key].value for key in ("simulated_single", "simulated_0", "simulated_lag"))
    assert single == pytest.approx(H * 0.1 / (4 * 28.8), rel=0.01)
    assert turns == pytest.approx(H * 0.1 / (8 * 28.8), rel=0.01)
    assert lag == pytest.approx(H * 0.04 / (4 * 24.0 * 0.85), rel=0.01)


def test_a_trip_overflows_when_the_spare_volume_is_full():
    # mass balance: 24 m2 from 2.0 m to the overflow at 3.3 m is 31.2 m3; at 0.09 m3/s full after 347 s
    found = b.trip(CASE, 0.09)
    assert found.value == pytest.approx(24.0 * 1.3 / 0.09, rel=0.2) and found.value >= 24.0 * 1.3 / 0.09
    assert "prove it on the real plant" in found.cautions[0]


def test_sand_makes_more_starts():
    # V (1 - s) in T = 4 V/Q: a fifth of sand is a quarter more starts
    plain, sandy = (b.steady(b.ideal(case), 0.5) for case in (CASE, b.silted(CASE, 0.2)))
    assert sandy.starts_hour == pytest.approx(1.25 * plain.starts_hour, rel=0.01)
    sheet = b.compare(CASE, 4.0 / H, ratios=(0.5,), days=0.0, inflow=0.09, sand=0.2)
    assert "sand takes up volume" in sheet["simulated_5"].verdict and "simulated_trip" in sheet


def test_messages_of_the_bench():
    with pytest.raises(NotSized, match="above 0 and below 1"):
        b.steady(CASE, 1.0)
    with pytest.raises(NotSized, match="in this sump"):
        b.level_for(CASE, 100.0)
    with pytest.raises(NotSized, match="wash plant"):
        b.simulate(CASE, None, 3600.0)
