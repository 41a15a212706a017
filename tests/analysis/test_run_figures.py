"""Figures of a run against sums done by hand."""

from __future__ import annotations

import numpy as np
import pytest
from plant_by_hand import DENSITY, LAYERS, arena, course

from plantsim import records
from plantsim.analysis.course import longest, spans, washing
from plantsim.analysis.figures import figures
from plantsim.plant.model import Limit

HOUR = 3600.0


def test_water_recovery_and_mud_of_the_reference_balance():
    """A sizing case by hand: 350 m3/h of dirty water at 57 g/L, underflow of 45 % by mass, solids 2.65 t/m3.

    Slurry of 45 %: 1 / (0.45/2.65 + 0.55) = 1.389 t/m3, so 625 g/L; 19.95 t/h leave with 31.9 m3/h of mud that
    holds 24.4 m3/h of water, out of 342.5 m3/h: 92.9 % come back (water 1.0 t/m3).
    """
    start, end = arena(), arena()
    hours, feed, solids = 10.0, 350.0, 57.0 * 350.0
    slurry = 1.0 / (0.45 / 2.65 + 0.55)
    assert slurry == pytest.approx(1.389, abs=5e-4)
    mud = solids / 1000.0 / (0.45 * slurry)
    s = end.clarifier_s
    s["under_volume"], s["under_solids"] = mud * hours, solids * hours
    s["out_volume"] = (feed - mud) * hours
    found = figures(course(start, end, hours * HOUR))
    assert found["clarifier.water_recovery"].value == pytest.approx(92.9, abs=0.05)
    assert found["clarifier.water_recovery"].unit == "%"
    assert found["clarifier.mud"].value / hours == pytest.approx(32.0, abs=0.1)
    assert found["clarifier.mud_per_t"].value == pytest.approx(1.6, abs=0.005)
    assert found["plant.mud_per_t"].value == found["clarifier.mud_per_t"].value


@pytest.mark.parametrize(("percent", "recovery"), [(35, 89.2), (40, 91.2), (45, 92.9), (50, 94.2), (55, 95.2)])
def test_thicker_mud_gives_more_water_back(percent, recovery):
    """By hand from the same case: water kept by the mud is solids times (1 - x)/x."""
    start, end = arena(), arena()
    x = percent / 100.0
    solids = 20_000.0
    s = end.clarifier_s
    s["under_volume"], s["under_solids"] = solids * (1 / DENSITY + (1 - x) / x / 1000.0), solids
    s["out_volume"] = 350.0 - float(s["under_volume"][0])
    found = figures(course(start, end, HOUR))
    assert found["clarifier.water_recovery"].value == pytest.approx(recovery, abs=0.06)


def test_water_that_stays_in_the_tank_counts_as_fed():
    start, end = arena(), arena()
    start.clarifier_s["top_volume"] = 4.0  # six cubic metres less than at the end
    end.clarifier_s["out_volume"] = 94.0
    found = figures(course(start, end, HOUR))
    assert found["clarifier.water_recovery"].value == pytest.approx(94.0)


def test_turbidity_is_judged_while_water_runs_over():
    start, end = arena(), arena()
    turbidity = np.array([999.0, 10.0, 100.0, 100.0, 500.0, 100.0, 20.0])
    flow = np.array([999.0, 1.0, 1.0, 1.0, 0.0, 1.0, 1.0])
    series = {"clarifier.turbidity": turbidity, "clarifier.overflow": flow}
    found = figures(course(start, end, 60.0, series))
    seen = [10.0, 100.0, 100.0, 100.0, 20.0]
    assert found["clarifier.overflow_turbidity_mean"].value == pytest.approx(np.mean(seen))
    assert found["clarifier.overflow_turbidity_p95"].value == pytest.approx(100.0)
    assert found["clarifier.turbidity_over_limit"].value == pytest.approx(60.0)
    assert "80 NTU" in found["clarifier.turbidity_over_limit"].meaning
    assert found["clarifier.turbidity_longest_spell"].value == pytest.approx(0.5)


def test_the_plants_own_limit_is_taken_and_a_set_point_is_not():
    start, end = arena(), arena()
    series = {"clarifier.turbidity": np.array([0.0, 40.0, 60.0]), "clarifier.overflow": np.ones(3)}
    limits = [Limit("clarifier.turbidity", 10.0, "aim", "setpoint"),
              Limit("clarifier.turbidity", 50.0, "permit", "limit")]  # fmt: skip
    found = figures(course(start, end, 20.0, series, limits=limits))
    assert found["clarifier.turbidity_over_limit"].value == pytest.approx(50.0)
    assert "50 NTU, the plant's own limit" in found["clarifier.turbidity_over_limit"].meaning


def test_percentile_of_a_straight_line():
    start, end = arena(), arena()
    series = {"clarifier.turbidity": np.arange(0.0, 102.0), "clarifier.overflow": np.ones(102)}
    found = figures(course(start, end, 1010.0, series))
    assert found["clarifier.overflow_turbidity_p95"].value == pytest.approx(96.0)


def test_underflow_solids_while_it_is_drawn():
    start, end = arena(), arena()
    series = {"clarifier.underflow_fraction": np.array([0.9, 0.40, 0.01, 0.50]),
              "clarifier.underflow": np.array([1.0, 0.01, 0.0, 0.01])}  # fmt: skip
    found = figures(course(start, end, 30.0, series))
    assert found["clarifier.underflow_solids_mean"].value == pytest.approx(45.0)
    assert found["clarifier.underflow_solids_sd"].value == pytest.approx(5.0)


def test_bed_and_torque_margins():
    start, end = arena(), arena()
    # four layers of half a metre, fed into the second: the feed stands 1.5 m above the cone, 80 % of it is 1.2 m
    series = {"clarifier.bed_level": np.array([9.0, 0.5, 1.25, 1.3]),
              "clarifier.torque": np.array([9.0, 0.3, 0.85, 0.5])}  # fmt: skip
    found = figures(course(start, end, 3 * HOUR, series, every=HOUR))
    assert LAYERS == 4
    assert found["clarifier.bed_level_mean"].value == pytest.approx((0.5 + 1.25 + 1.3) / 3)
    assert found["clarifier.bed_level_max"].value == 1.3
    assert found["clarifier.bed_high_time"].value == pytest.approx(2.0)
    assert found["clarifier.torque_max"].value == pytest.approx(85.0)
    assert found["clarifier.torque_high_time"].value == pytest.approx(1.0)


def test_doses_per_tonne_and_per_cubic_metre():
    """By hand: 50 g of polymer per tonne on 20 t/h is 1 kg/h; 40 g/m3 of coagulant on 350 m3/h is 14 kg/h."""
    start, end = arena(), arena()
    end.ledger[records.IN_FEED, [records.COARSE, records.FINES, records.COLLOID]] = (600.0, 18_600.0, 800.0)
    end.doser_s["dosed"] = (14.0, 1.0)
    series = {"wash.flow": np.full(361, 350.0 / HOUR)}
    found = figures(course(start, end, HOUR, series))
    assert found["plant.polymer_per_t"].value == pytest.approx(50.0)
    assert found["plant.coagulant_per_m3"].value == pytest.approx(40.0)
    assert found["plant.coagulant_per_t"].value == pytest.approx(700.0)
    assert found["coagulant.dosed"].value == 14.0
    assert "coagulant" in found["coagulant.dosed"].meaning
    assert "polymer" in found["polymer.dosed"].meaning


def test_pumps_and_specific_energy():
    """120 kW for 350 m3/h is 0.343 kWh/m3, and 6 kWh/t on 20 t/h."""
    start, end = arena(), arena()
    m = end.motor_s
    m["starts"], m["run_time"], m["hour_max"] = (12, 0, 0), (4 * HOUR, 0.0, 0.0), (7.0, 0.0, 0.0)
    m["energy"] = (120.0 * 3.6e6, 0.0, 10.0 * 3.6e6)
    start.motor_s["starts"] = (4, 0, 0)
    end.line_s["pumped"] = (350.0, 0.0)
    end.ledger[records.IN_FEED, records.FINES] = 20_000.0
    found = figures(course(start, end, 8 * HOUR, {"wash.flow": np.full(9, 350.0 / 8 / HOUR)}, every=HOUR))
    assert found["P-101.starts_per_hour"].value == pytest.approx(1.0)
    assert found["P-101.starts_per_hour_max"].value == 7.0
    assert found["P-101.run_time_share"].value == pytest.approx(50.0)
    assert found["P-102.run_time_share"].value == 0.0
    assert found["P-101.energy"].value == pytest.approx(120.0)
    assert found["rising.energy_per_m3"].value == pytest.approx(120.0 / 350.0)
    assert "mud-line.energy_per_m3" not in found
    assert found["plant.energy_per_m3"].value == pytest.approx(130.0 / 350.0)
    assert found["plant.energy_per_t"].value == pytest.approx(6.5)


def test_feed_rate_stoppages_and_water_that_came_round():
    start, end = arena(), arena()
    s = end.source_s
    s["washed"], s["run_time"], s["dry_time"], s["dry_stops"] = 400_000.0, 2 * HOUR, 900.0, 2
    end.ledger[records.IN_FEED, records.FINES] = 40_000.0
    end.ledger[records.IN_FEED, records.VOLUME] = 40_000.0 / DENSITY
    end.ledger[records.IN_SUPPLY, records.VOLUME] = 30.0
    end.supply_s["total"] = 30.0
    end.ledger[records.IN_RAIN, records.VOLUME] = 500.0  # on the mud cells
    start.vessel_s["content"][0, records.VOLUME] = 100.0
    end.vessel_s["content"][0, records.VOLUME] = 60.0
    running = {"wash.running": np.array([1.0, 1.0, 1.0, 0.0, 0.0])}
    found = figures(course(start, end, 4 * HOUR, running, every=HOUR))
    assert found["plant.washing_time"].value == pytest.approx(2.0)
    assert found["plant.feed_solids_rate"].value == pytest.approx(20.0)
    assert found["wash.washed_rate"].value == pytest.approx(200.0)
    assert found["wash.water_stops"].value == 2
    assert found["wash.water_stop_time"].value == pytest.approx(15.0)
    # 700 m3 used, 30 let in, 40 taken out of the tanks: 630 came round
    assert found["plant.water_used"].value == pytest.approx(700.0)
    assert found["plant.water_returned"].value == pytest.approx(90.0)
    assert found["plant.make_up"].value == pytest.approx(30.0)
    assert found["well.volume"].value == 30.0


def test_a_measured_feed_counts_the_water_of_its_dirty_water():
    start, end = arena(), arena()
    end.source_p["series"] = start.source_p["series"] = 0
    series = {"wash.flow": np.full(11, 0.1), "wash.solids": np.full(11, 5.3)}
    found = figures(course(start, end, 100.0, series))
    assert found["plant.water_used"].value == pytest.approx(100.0 * (0.1 - 5.3 / DENSITY))


def test_mud_cells_and_press():
    start, end = arena(), arena()
    end.line_s["pumped"] = (0.0, 320.0)
    end.cell_s["fills"] = (2, 1)
    start.cell_s["fills"] = (1, 0)
    end.press_s["cycles"], end.press_s["cake"], end.press_s["cake_volume"] = 5, 8000.0, 6.0
    end.ledger[records.OUT_DUG, records.VOLUME] = 12.0
    dig, ready = records.CELL_DIG, records.CELL_READY
    east = np.array([3, dig, dig, ready, ready, dig, ready], float)
    found = figures(course(start, end, 60.0, {"east.state": east, "west.state": np.zeros(7)}))
    assert found["cells.mud"].value == 320.0
    assert found["cells.cells_filled"].value == 2
    assert found["cells.cells_dug"].value == 2
    assert found["press.cycles"].value == 5
    assert found["press.cake"].value == 8.0
    assert found["press.cake_per_t"].value == pytest.approx(0.75)
    assert found["plant.mud_dug"].value == 12.0


def test_a_figure_without_a_meaning_is_left_out():
    found = figures(course(arena(), arena(), HOUR))
    for name in ("clarifier.mud_per_t", "clarifier.overflow_turbidity_mean", "plant.polymer_per_t",
                 "plant.energy_per_t", "rising.energy_per_m3", "press.cake_per_t", "cells.cells_dug"):  # fmt: skip
        assert name not in found
    assert all(np.isfinite(figure.value) for figure in found.values())
    assert all(figure.unit and figure.meaning for figure in found.values())


def test_figure_names_are_unit_and_snake_case():
    import re

    series = {"clarifier.turbidity": np.ones(4), "clarifier.overflow": np.ones(4), "wash.flow": np.ones(4)}
    found = figures(course(arena(), arena(), 30.0, series))
    assert all(re.fullmatch(r"[A-Za-z0-9-]+\.[a-z][a-z0-9_]*", name) for name in found)


def test_spells_and_spans():
    assert longest(np.zeros(0, bool)) == 0
    assert longest(np.array([True, True, False, True])) == 2
    # the first row is the state at the start and stands for no time
    assert spans(np.array([True, False, True, True]), 10.0) == [(10.0, 30.0)]
    assert spans(np.array([True, True]), 5.0) == [(0.0, 5.0)]
    assert spans(np.array([False]), 5.0) == []


def test_washing_is_any_source_at_work():
    c = course(arena(), arena(), 30.0, {"wash.flow": np.array([1.0, 0.0, 0.2, 0.0])})
    assert washing(c).tolist() == [False, False, True, False]
    c = course(arena(), arena(), 30.0, {})
    assert washing(c) is None
