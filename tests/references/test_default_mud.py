"""The default mud against two facts of the trade: what keeps its shape, and what four good days of rest make of it.

* Mud that keeps the shape of the hole where it lands is 50 to 55 % solids by weight: common practice, no source. What
  yield stress that takes is published: a cylinder of height h slumps by s/h = 1 - 2 T (1 - ln(2 T)),
  T = tau_y/(rho g h) (Pashias, N., Boger, D. V., Summers, J., Glenister, D. J. (1996), J. Rheol. 40(6), 1179-1189), and
  a wall of height h stands by itself up to h = 4 tau_y/(rho g) (critical height of a vertical cut in clay, Terzaghi
  (1943), Theoretical Soil Mechanics, undrained, from memory).
* A cell of such mud has borne a machine after as few as four days of rest in good weather: common practice, no source.
  The simulated cell must not be quicker than that. 5 kPa is the first step of a regulator's trafficability (Alberta
  Directive 074 (2009), from memory), and far from a permission: no cell is ever called safe to enter.
"""

import math

import pytest

from plantsim.arena import Arena
from plantsim.jit import kernel
from plantsim.kernels.cell import step_bank
from plantsim.physics.rheology import yield_stress
from plantsim.physics.slurry import density_from_mass_fraction, volume_fraction_from_mass_fraction
from plantsim.plant.sections import BANK, WATER
from plantsim.records import FINES, HEAT, VOLUME

DAY, G, GRAINS = 86400.0, 9.81, 2650.0
LIGHT_PLANT = 5e3
# FAO-56, Table 2 (from memory): reference evaporation of warm arid days 6 to 8 mm; open water a tenth more
GOOD_WEATHER = 8.8e-3 / DAY


def default(section, key):
    kind = section.fields[key]
    return float(kind.parse(str(kind.default)))


def stress_at(weight):
    phi = volume_fraction_from_mass_fraction(weight, GRAINS, 1000.0)
    return yield_stress(phi, default(WATER, "yield_a"), default(WATER, "yield_b"))


def slump(weight, height):
    """Part of its height by which a cylinder slumps (Pashias and others 1996)."""
    t = stress_at(weight) / (density_from_mass_fraction(weight, GRAINS, 1000.0) * G * height)
    return 0.0 if t >= 0.5 else 1.0 - 2.0 * t * (1.0 - math.log(2.0 * t))


@pytest.mark.parametrize("weight", [0.50, 0.55])
def test_mud_that_keeps_its_shape_has_the_stress_for_it(weight):
    # thickened tailings that stand as a paste: 100 to 200 Pa and more (design bands, from memory); slump tests agree
    # with vanes up to about 200 Pa (Canadian Geotechnical Journal, abstract)
    assert 100.0 < stress_at(weight) < 250.0
    # the rim of the hole a thrown lump leaves, three to six centimetres, stands by itself
    rim = 4.0 * stress_at(weight) / (density_from_mass_fraction(weight, GRAINS, 1000.0) * G)
    assert 0.03 < rim < 0.07
    # a cylinder of 10 cm keeps about half its height or more
    assert slump(weight, 0.10) < 0.55


def test_thinner_mud_does_not_keep_it():
    # the mud of a thickener, 35 to 40 %, runs out flat
    for weight in (0.35, 0.40):
        assert stress_at(weight) < 30.0, "conventional underflow: below 30 Pa (design bands, from memory)"
        assert slump(weight, 0.10) > 0.8


# ---------------------------------------------------------------------------------------------- four days of rest
@kernel
def _rest(p, s, cell_p, cell_s, cell_f, actuator_s, material, weather, streams, ledger, steps, dt):
    for i in range(steps):
        step_bank(p[0], s[0], cell_p, cell_s, cell_f, actuator_s, material[0], weather[0], streams, ledger, i, dt)


def strength_after(days, weight, height):
    """Strength [Pa] of a lift of default mud after some days of rest in good weather."""
    a = Arena({"bank_p": 1, "bank_s": 1, "cell_p": 1, "cell_s": 1, "cell_f": 1, "actuator_s": 1, "streams": 2})
    a.bank_p["decant"], a.bank_p["n_cells"], a.bank_p["every"] = 1, 1, 1
    a.cell_p["area"], a.cell_p["depth"] = 1000.0, 10.0
    for key in ("consolidation", "final_void", "shrink_void", "dry_void", "liquid_limit", "plastic_limit",
                "liquid_strength", "seep"):  # fmt: skip
        a.cell_p[key] = default(BANK, key)
    a.cell_p["decant_rate"] = 1.0 / default(BANK, "decant_time")
    a.cell_p["dig_strength"] = 1e9
    a.material["solids_density"] = GRAINS
    a.weather["air"] = a.weather["water"] = 25.0
    a.weather["evaporation"] = GOOD_WEATHER
    void = GRAINS / 1000.0 * (1.0 - weight) / weight
    volume = 1000.0 * height
    a.cell_s["mud"][0, [VOLUME, FINES, HEAT]] = volume, volume / (1.0 + void) * GRAINS, 25.0 * volume
    a.cell_s["void"] = a.cell_s["start_void"] = void
    a.cell_s["end_void"] = min(void, default(BANK, "final_void"))
    _rest(a.bank_p, a.bank_s, a.cell_p, a.cell_s, a.cell_f, a.actuator_s, a.material, a.weather, a.streams, a.ledger,
          round(days * 144.0), 600.0)  # fmt: skip
    return float(a.cell_s["strength"][0])


@pytest.mark.parametrize("weight", [0.50, 0.55])
@pytest.mark.parametrize("height", [0.15, 0.3, 0.4])
def test_four_good_days_do_not_bear_light_plant(weight, height):
    assert strength_after(4.0, weight, height) < LIGHT_PLANT
    # and it does gain by rest in the end, or the test would say nothing
    assert strength_after(90.0, weight, height) > LIGHT_PLANT


def test_it_is_quickest_thick_and_thin():
    found = [strength_after(12.0, weight, height) for weight in (0.50, 0.55) for height in (0.4, 0.15)]
    assert found[1] > found[0] and found[3] > found[2] and found[3] > found[1]
