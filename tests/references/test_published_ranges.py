"""Published ranges, limits and single rows that belong to no one formula: where our laws and defaults have to stand."""

from pathlib import Path

import pytest

from plantsim.analysis.sizing import cells
from plantsim.analysis.sizing.bench import Bench, water_law
from plantsim.analysis.sizing.choices import Choices
from plantsim.analysis.sizing.sump import SumpDuty, size_sump, volume_for_starts
from plantsim.physics import drying, evaporation, settling, slurry
from plantsim.physics.flocculation import bridging_factor
from plantsim.physics.pumps import affinity_flow, affinity_head, slurry_head_reduction
from plantsim.physics.rheology import yield_stress
from plantsim.plant.sections import BANK, WATER

PIT = Path(__file__).resolve().parents[2] / "configs" / "gravel-pit.yaml"
GPM = 3.785411784e-3 / 60.0
SHORT_TON = 907.18474


def default(section, key):
    kind = section.fields[key]
    return float(kind.parse(str(kind.default)))


def test_slurry_flow_of_the_data_book():
    # HI Engineering Data Book, "Solids and Slurries", Eq. 2.B.4 (also The Practical Pumping Handbook, p. 150): 2400
    # short tons a day of 2.7 at 30 % by weight: 1084 gpm printed, with Sm rounded to
    # 1.23 and 4 gpm for each short ton an hour, which is 3.99
    dry = 2400.0 * SHORT_TON / 86400.0
    mixture = slurry.density_from_mass_fraction(0.30, 2700.0, 1000.0)
    assert mixture / 1000.0 == pytest.approx(1.23, abs=0.005)
    flow = dry / slurry.concentration_from_mass_fraction(0.30, 2700.0, 1000.0)
    assert flow / GPM == pytest.approx(1084.0, rel=4e-3)
    assert 3600.0 * flow == pytest.approx(246.0, rel=4e-3)
    assert 3600.0 * dry == pytest.approx(100.0 * SHORT_TON, rel=1e-12)


def test_affinity_row_with_a_slip_in_print():
    # HI Data Book, "Pump Curves", Ex. 1, 1740 to 1566 rpm: 1800 gpm at 135 ft becomes 1620 gpm; the table prints
    # 108 ft, but 135 x 0.81 is 109.35
    n = 1566.0 / 1740.0
    assert affinity_flow(1800.0, n) == pytest.approx(1620.0)
    assert affinity_head(135.0, n) == pytest.approx(109.35)


def test_exponent_lies_between_the_branches_of_experiment():
    # "The Hindered Settling Function at Low Re Has Two Branches" (arXiv:1710.09314): 4.48 +/- 0.04 for large spheres,
    # 5.6 +/- 0.1 for Brownian ones; Richardson and Zaki's 4.65 came from experiments of both kinds
    for exponent in (settling.exponent_richardson_zaki(0.01), settling.exponent_rowe(0.01)):
        assert 4.48 < exponent < 5.6


def test_head_lost_to_solids_stays_in_the_measured_range():
    # Sellgren, Addie and Scott (2000), Can. J. Chem. Eng. (abstract): sands of 0.64 to 2.2 mm at up to 35 % by volume
    # in a pump of 0.625 m took up to 30 % of head. The chart of the Pump Handbook for the worst of them, 14 % at 15 %:
    assert slurry_head_reduction(0.14, 0.20, 2.65, 0.0) < 0.30
    # and clay cuts it by about a third (same): a fifth of fines by the factor (1 - X)^2
    assert slurry_head_reduction(0.14, 0.15, 2.65, 0.2) / 0.14 == pytest.approx(2.0 / 3.0, abs=0.05)


@pytest.mark.parametrize("capacity", [0.03, 0.1])
def test_limit_of_a_utility(capacity):
    # Silver Lake Water and Sewer District Code 6.20.460: two pumps in turn at most four times an hour each
    volume = volume_for_starts(capacity, 900.0, 2).value
    assert volume == pytest.approx(900.0 * capacity / 8.0)
    sheet = size_sump(SumpDuty(volume, (capacity,), 0.5 * capacity, 2, 15.0, starts_limit=4.0, rest=0.0))
    assert 3600.0 * sheet["starts_most"].value == pytest.approx(4.0)


def test_coarse_grains_settle_without_polymer():
    # CSIRO, page on flocculation of tailings: grains well over 40 um and denser than 2.5 settle faster than 10 m/h
    for size in (63e-6, 75e-6, 100e-6):
        assert 3600.0 * settling.terminal_velocity_haider_levenspiel(size, 2650.0, 998.2, 1.0016e-3) > 10.0
    assert 3600.0 * settling.terminal_velocity_haider_levenspiel(30e-6, 2650.0, 998.2, 1.0016e-3) < 10.0


def test_flocculated_feed_settles_as_fast_as_measured():
    # Unesi and others (2014), PPMP 50(2), 783-794: 2 to 6 mm/s for a clayey tailings feed, 18 to 23 mm/s for one of
    # little clay; the default water at the best dose, in a feed of 30 to 60 g/L, has to lie between
    tree = Bench(PIT, Choices({})).tree
    law = water_law(tree.water.settling, tree.water)
    for solids in (30.0, 45.0, 60.0):
        assert 2e-3 < law(solids) < 23e-3


def test_pan_coefficient_is_near_the_usual():
    # a class A pan reads about 1/0.70 of the reference evaporation (general reference text); FAO-56's formula for
    # moderate wind and humidity and some green around has to come near it
    assert evaporation.pan_coefficient_green(3.0, 0.55, 100.0) == pytest.approx(0.70, abs=0.08)


def test_default_yield_stress_lies_where_thickened_tailings_lie():
    # Mizani and Simms (2016), Minerals Eng. 98, 40-48: 18 to 125 Pa for one thickened tailings, by method
    for weight in (0.38, 0.44, 0.50):
        phi = slurry.volume_fraction_from_mass_fraction(weight, 2650.0, 1000.0)
        assert 18.0 < yield_stress(phi, default(WATER, "yield_a"), default(WATER, "yield_b")) < 125.0


def test_dewatered_mud_breaks_long_before_it_bears_plant():
    # Pinheiro, Proskin and Li (2017), Tailings and Mine Waste: plates on dewatered tailings broke in at 3 to 16 kPa.
    # By Prandtl's 5.14 c_u that is a strength of 0.6 to 3.1 kPa, below the 5 kPa that is asked for the lightest plant
    # (Alberta Directive 074, from memory)
    for pressure in (3e3, 16e3):
        strength = drying.strength_needed(pressure, 1.0)
        assert drying.bearing_capacity_strip(strength) == pytest.approx(pressure, rel=1e-9)
        assert strength < 5e3


def test_default_polymer_dose_is_that_of_clayey_fines():
    # nine mines, Adv. Civil Eng. 2022, 5449032, Table 1: 7.5 to 30 g/t for ores of 22 to 109 um; finer takes more.
    # Clay-rich aggregate fines 20 to 100 g/t (from memory)
    best = 1e6 * default(WATER, "polymer_optimum")
    assert 30.0 < best <= 100.0
    # up to the best dose more polymer settles faster, beyond it slower (Bian and others (2018), PLoS ONE 13(9)
    # e0204230, abstract: rises, then falls)
    gain = default(WATER, "polymer_gain")
    speeds = [bridging_factor(1e-6 * d, 1e-6 * best, gain) for d in (0.0, 0.5 * best, best, 1.5 * best)]
    assert speeds[0] < speeds[1] < speeds[2] > speeds[3]


def test_a_thick_lift_is_said_to_dry_late():
    # USACE, Dredged Material Research Program, natural dewatering of fine-grained dredged material (Bartos 1977, author
    # from memory), abstract: lifts of at most 0.3 m for drying by the air
    dry = cells_of(0.3)
    assert dry["lift"].holds
    thick = cells_of(default(BANK, "lift"))
    assert not thick["lift"].holds and "0.3 m" in thick["lift"].verdict


def cells_of(lift):
    from plantsim.analysis.sizing.water import Climate

    climate = Climate((10.0,) * 12, (0.02,) * 12, (0.12,) * 12)
    return cells.size_cells(cells.CellsDuty(5.0, 80 * 3600.0, 450.0, 3000.0, lift, number=4), climate)
