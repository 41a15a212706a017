"""A vessel against closed forms: conservation, step response, order in the step, sand, weather, overflow."""

import itertools
import math

import numpy as np
import pytest

from plantsim import records as r
from plantsim.arena import Arena
from plantsim.jit import kernel
from plantsim.kernels.vessel import level_at, refresh_vessel, spill_vessel, step_vessel, volume_at


@kernel
def run(steps, dt, p, s, m, weather, links, tables, streams, offers, ledger, draws, flow):
    """Step a vessel; the first `draws` outlets take `flow` each of what is offered, as far as it goes."""
    flags = 0
    for _ in range(steps):
        spill_vessel(p, s, m, streams, offers, dt)
        for i in range(draws):
            stream = links[p.outlets + i]
            taken = min(flow, offers[p.offer, r.VOLUME] / dt)
            offers[p.offer, r.VOLUME] -= taken * dt
            streams[stream, r.VOLUME] = taken
            for k in range(1, r.NS):
                streams[stream, k] = taken * offers[p.offer, k]
        flags |= step_vessel(p, s, m, weather, links, tables, streams, offers, ledger, dt)
    return flags


class Rig:
    """One prismatic vessel of 20 m2 and 5 m, one inlet (stream 0), one outlet (1), spill to the ledger."""

    def __init__(self, **parameters):
        a = self.arena = Arena(
            {"vessel_p": 1, "vessel_s": 1, "links": 2, "tables": 11, "streams": 3, "offers": 1}
        )
        a.links[:] = [0, 1]
        a.tables[:] = np.linspace(0.0, 5.0, 11)
        m = a.material
        m["solids_density"], m["sand_porosity"] = 2650.0, 0.4
        m["coarse_velocity"] = 0.003
        m["coag_demand"], m["coag_capacity"], m["coag_mix_time"], m["coag_time"] = 0.01, 1.5, 30.0, 300.0
        m["coag_width"] = 0.5
        m["poly_optimum"], m["poly_capacity"], m["poly_time"] = 1e-4, 2.0, 20.0
        m["poly_best_solids"], m["poly_solids_width"] = 30.0, 1.0
        m["ntu_fines"], m["ntu_colloid"], m["ntu_coarse"] = 1000.0, 3000.0, 50.0
        defaults = {
            "n_inlets": 1, "outlets": 1, "n_outlets": 1, "spill": -1, "spill_ledger": r.OUT_SPILL,
            "n_table": 11, "volume": 100.0, "floor_area": 20.0, "weir_level": 4.5, "weir_factor": 1.84,
            "weir_width": 2.0, "mixing": 1.0,
        }  # fmt: skip
        for name, value in {**defaults, **parameters}.items():
            a.vessel_p[name] = value
        self.fed = np.zeros(r.NS)

    @property
    def s(self):
        return self.arena.vessel_s[0]

    def fill(self, volume, **content):
        row = self.arena.vessel_s["content"][0]
        row[:] = 0.0
        row[r.VOLUME] = volume
        row[r.HEAT] = volume * content.pop("temperature", 20.0)
        for name, value in content.items():
            row[getattr(r, name)] = value
        a = self.arena
        refresh_vessel(a.vessel_p[0], a.vessel_s[0], a.material[0], a.tables, a.offers)

    def feed(self, flow, **concentrations):
        row = self.arena.streams[0]
        row[:] = 0.0
        row[r.VOLUME] = flow
        row[r.HEAT] = flow * concentrations.pop("temperature", 20.0)
        for name, value in concentrations.items():
            row[getattr(r, name)] = flow * value

    def run(self, seconds, dt=1.0, draw=None):
        a = self.arena
        steps = round(seconds / dt)
        draws = 0 if draw is None else 1
        self.fed += a.streams[0] * (steps * dt)
        return run(
            steps, dt, a.vessel_p[0], a.vessel_s[0], a.material[0], a.weather[0], a.links, a.tables,
            a.streams, a.offers, a.ledger, draws, draw or 0.0,
        )  # fmt: skip

    def held(self):
        s, m = self.arena.vessel_s[0], self.arena.material[0]
        total = s["content"].copy()
        total[r.VOLUME] += s["sand_water"] + s["sand"] / m["solids_density"]
        total[r.COARSE] += s["sand"]
        return total


FULL = {
    "COARSE": 30.0, "FINES": 300.0, "COLLOID": 40.0, "CLAY": 60.0, "COAG": 2.0, "COAG_BOUND": 0.5,
    "POLY": 0.02, "POLY_BOUND": 0.01, "POLY_SPENT": 0.005,
}  # fmt: skip


@pytest.mark.parametrize("spill", [-1, 2])
def test_conserves_every_component(spill):
    """Balance of the ten conserved columns with everything going on at once: 1e-12 of what passed."""
    rig = Rig(spill=spill, mixing=0.3, shear=50.0, open_area=25.0, ambient_rate=1e-5, suction_level=0.5)
    rig.fill(88.0, **FULL)
    a = rig.arena
    a.weather["rain"], a.weather["evaporation"], a.weather["air"], a.weather["water"] = 1e-5, 2e-7, 8.0, 12.0
    start = rig.held()
    spilled, drawn = np.zeros(r.NS), np.zeros(r.NS)
    rng = np.random.default_rng(5)
    for _ in range(1500):
        flow, draw = rng.uniform(0.0, 0.3, 2)
        rig.feed(flow, COARSE=2.0, FINES=40.0, COLLOID=5.0, CLAY=9.0, COAG=0.1, POLY=0.003, POLY_SPENT=0.001)
        rig.run(1.0, draw=draw)
        spilled += a.streams[2]
        drawn += a.streams[1]
    inside = r.LEDGER_SIGN @ a.ledger
    error = rig.held() - start - (rig.fed + inside - drawn - spilled)
    scale = start + rig.fed + np.abs(a.ledger).sum(axis=0)
    assert (np.abs(error[: r.HEAT]) <= 1e-12 * scale[: r.HEAT]).all()
    # and everything did go on
    assert rig.s["sand"] > 50.0 and rig.s["spilled"] > 1.0 and rig.s["evaporated"] > 0.005
    assert a.ledger[r.IN_RAIN, r.VOLUME] == pytest.approx(1e-5 * 25.0 * 1500)
    assert a.ledger[r.REACTION, r.COAG_BOUND] > 0.0 and a.ledger[r.REACTION, r.POLY_BOUND] > 0.0
    assert (spilled[r.VOLUME] > 0.0) == (spill == 2)
    assert (a.ledger[r.OUT_SPILL, r.VOLUME] > 0.0) == (spill == -1)


def test_heat_of_a_spill_and_a_mix():
    """Two equal volumes of 10 and 30 degC mix to 20 degC: heat moves with the volume."""
    rig = Rig()
    rig.fill(30.0, temperature=10.0)
    rig.feed(0.5, temperature=30.0)
    rig.run(60.0)
    assert rig.s["temperature"] == pytest.approx(20.0, abs=1e-9)


def step_response(dt, tau=200.0, volume=40.0):
    """Concentration after one time constant of a stirred tank whose feed steps from 0 to 10 kg/m3."""
    rig = Rig()
    rig.fill(volume)
    rig.feed(volume / tau, FINES=10.0)
    rig.run(tau, dt=dt, draw=volume / tau)
    assert rig.s["content"][r.VOLUME] == pytest.approx(volume, rel=1e-9)
    return rig.s["solids"]


def test_step_response_is_exponential():
    """Stirred tank, c = c_in (1 - exp(-t/tau)) (Levenspiel, Chemical Reaction Engineering): 0.6321 at tau."""
    assert step_response(0.05) / 10.0 == pytest.approx(0.632121, abs=1e-4)


def test_first_order_in_the_step():
    """Explicit Euler: the error against the closed form halves with the step."""
    exact = 10.0 * (1.0 - math.exp(-1.0))
    errors = [step_response(dt) - exact for dt in (4.0, 2.0, 1.0, 0.5)]
    ratios = [a / b for a, b in itertools.pairwise(errors)]
    assert ratios == pytest.approx([2.0] * 3, rel=0.02)


def test_never_drawn_below_suction_or_empty():
    rig = Rig(suction_level=1.0)
    rig.fill(40.0, FINES=400.0)
    rig.run(500.0, draw=0.2)
    assert rig.s["level"] == pytest.approx(1.0, abs=1e-6)
    assert rig.s["level"] >= 1.0
    assert rig.s["active"] == pytest.approx(0.0, abs=1e-6)
    bottomless = Rig()
    bottomless.fill(40.0, FINES=400.0)
    bottomless.run(500.0, draw=0.2)
    assert 0.0 <= bottomless.s["content"][r.VOLUME] < 1e-6
    assert (bottomless.s["content"] >= 0.0).all()
    assert bottomless.s["solids"] == pytest.approx(10.0, rel=1e-6)


def test_sand_takes_active_volume():
    """A still floor under 3 mm/s sand: loss rate v A/V, bulk volume M/(rho (1 - n)) lost to the pump."""
    rig = Rig(mixing=0.0)
    rig.fill(60.0, COARSE=600.0)
    before = rig.s["active"]
    dt, seconds = 0.5, 500.0
    rig.run(seconds, dt=dt)
    rate = 0.003 * 20.0 / 60.0
    # the volume of the liquid shrinks by 0.6 %: 1 % covers it and the first-order step
    assert rig.s["sand"] == pytest.approx(600.0 * (1.0 - math.exp(-rate * seconds)), rel=0.01)
    bulk = rig.s["sand"] / 2650.0 / 0.6
    assert rig.s["sand_water"] + rig.s["sand"] / 2650.0 == pytest.approx(bulk, rel=1e-12)
    assert before - rig.s["active"] == pytest.approx(bulk, rel=1e-6)
    assert rig.s["level"] == pytest.approx(3.0, abs=1e-9)  # settling does not move the surface
    cold = Rig(mixing=0.0)
    cold.fill(60.0, COARSE=600.0, temperature=0.5)
    cold.run(100.0)
    warm = Rig(mixing=0.0)
    warm.fill(60.0, COARSE=600.0)
    warm.run(100.0)
    assert cold.s["sand"] < 0.65 * warm.s["sand"]  # viscosity ratio 1.76 between 0.5 and 20 degC (IAPWS)
    stirred = Rig(mixing=1.0)
    stirred.fill(60.0, COARSE=600.0)
    stirred.run(100.0)
    assert stirred.s["sand"] == 0.0


def test_a_vessel_of_nothing_but_sand():
    """A slurry thicker than settled sand cannot settle below the water its pores need."""
    rig = Rig(mixing=0.0)
    rig.fill(1.0, COARSE=2000.0)
    rig.run(50_000.0, dt=10.0)
    assert rig.s["content"][r.VOLUME] >= 0.0 and (rig.s["content"] >= 0.0).all()
    assert rig.held()[r.COARSE] == pytest.approx(2000.0, rel=1e-13)
    assert rig.held()[r.VOLUME] == pytest.approx(1.0, rel=1e-13)


def test_overfull_leaves_only_over_the_weir():
    """A huge inflow stacks above the rim: no mass is clipped, and the weir brings it down to the crest."""
    rig = Rig()
    rig.fill(80.0)
    rig.feed(5.0)
    rig.run(20.0)
    assert rig.s["level"] > 5.0
    assert rig.held()[r.VOLUME] + rig.s["spilled"] == pytest.approx(180.0, rel=1e-13)
    rig.feed(0.0)
    rig.run(4000.0)
    assert 4.5 <= rig.s["level"] < 4.51


def test_sand_below_the_suction_costs_nothing():
    """Sand fills the volume that cannot be drawn anyway before it takes active volume."""
    rig = Rig(suction_level=1.0)
    rig.fill(60.0)
    before = rig.s["active"]
    a = rig.arena
    for bulk, lost in ((5.0, 0.0), (20.0, 0.0), (30.0, 10.0)):
        a.vessel_s["sand"], a.vessel_s["sand_water"] = bulk * 0.6 * 2650.0, bulk * 0.4
        rig.fill(60.0 - bulk)
        assert before - rig.s["active"] == pytest.approx(lost, abs=1e-6)


def test_spilled_water_cannot_be_drawn_as_well():
    """A step so long that weir and pump both would take all they see."""
    rig = Rig(weir_width=50.0)
    rig.fill(99.0)
    rig.run(3600.0, dt=3600.0, draw=1.0)
    assert 0.0 <= rig.s["content"][r.VOLUME] < 1e-6
    assert rig.s["spilled"] == pytest.approx(9.0, rel=1e-9)


@pytest.mark.parametrize("dt", [1.0, 60.0, 3600.0])
def test_a_long_step_stops_at_the_crest(dt):
    rig = Rig(weir_width=50.0)
    rig.fill(99.0, FINES=100.0)
    rig.run(dt, dt=dt)
    assert rig.s["level"] >= 4.5 - 1e-12
    if dt > 1.0:
        assert rig.s["level"] == pytest.approx(4.5, abs=1e-9)
    assert rig.s["solids"] == pytest.approx(100.0 / 99.0, rel=1e-12)


def test_weather():
    """Rain and evaporation in mm of water over the open area; only water evaporates."""
    rig = Rig(open_area=20.0)
    rig.fill(50.0, FINES=100.0, COAG=1.0)
    w = rig.arena.weather
    w["evaporation"] = 0.004 / 86400
    rig.run(86400.0, dt=60.0)
    assert rig.s["level"] == pytest.approx(2.5 - 0.004, abs=1e-9)  # 4 mm in a day
    assert rig.s["content"][r.FINES] == 100.0 and rig.s["content"][r.COAG] == 1.0
    w["evaporation"], w["rain"], w["air"] = 0.0, 0.01 / 3600, 5.0
    rig.run(3600.0)
    assert rig.s["level"] == pytest.approx(2.5 - 0.004 + 0.01, abs=1e-9)
    assert rig.s["temperature"] == pytest.approx((49.92 * 20.0 + 0.2 * 5.0) / 50.12, abs=1e-9)


def test_temperature_drift_is_first_order():
    rig = Rig(ambient_rate=1e-4)
    rig.fill(50.0, temperature=25.0)
    rig.arena.weather["water"] = 5.0
    rig.run(10_000.0)
    assert rig.s["temperature"] == pytest.approx(5.0 + 20.0 * math.exp(-1.0), abs=1e-3)


def test_flags_water_outside_the_property_formulas():
    rig = Rig()
    rig.fill(50.0, temperature=45.0)
    assert rig.run(1.0) == r.WARN_TEMPERATURE
    rig.fill(50.0, temperature=35.0)
    assert rig.run(1.0) == 0


def test_reaction_follows_a_stirred_tank():
    """First-order binding in a fed tank at steady state: bound/free = residence time / binding time."""
    rig = Rig(shear=100.0)
    rig.fill(40.0, FINES=4000.0)
    rig.feed(0.4, FINES=100.0, COAG=0.01)
    rig.run(2000.0, dt=0.1, draw=0.4)
    tank = rig.s["content"]
    assert tank[r.COAG_BOUND] / tank[r.COAG] == pytest.approx(100.0 / 30.0, rel=5e-3)
    still = Rig(shear=0.0)
    still.fill(40.0, FINES=4000.0, COAG=1.0)
    still.run(100.0)
    assert still.s["content"][r.COAG_BOUND] == 0.0


def test_level_table_and_its_inverse():
    """A cone-bottom tank as table: level of the volume and volume of the level return each other."""
    rig = Rig()
    a = rig.arena
    volumes = np.linspace(0.0, 100.0, 11)
    a.tables[:] = np.cbrt(volumes)
    p = a.vessel_p[0]
    for volume in (0.0, 3.0, 10.0, 57.0, 99.0, 100.0, 130.0):
        level = level_at(volume, p, a.tables)
        assert level == pytest.approx(np.interp(volume, volumes, a.tables), abs=1e-12) or volume > 100.0
        assert volume_at(level, p, a.tables) == pytest.approx(volume, abs=1e-9)
    assert level_at(130.0, p, a.tables) > a.tables[-1]


def test_properties_offered():
    """Density and turbidity of a known content; water at 20 degC is 998.207 kg/m3 (IAPWS-95)."""
    rig = Rig(suction_level=0.25)
    rig.fill(50.0, COARSE=50.0, FINES=2500.0, COLLOID=100.0, COAG=5.0, COAG_BOUND=13.0, temperature=20.0)
    s, offer = rig.s, rig.arena.offers[0]
    assert s["solids"] == pytest.approx(53.0)
    assert s["density"] == pytest.approx(998.207 + 53.0 * (1.0 - 998.207 / 2650.0), abs=0.02)
    assert s["turbidity"] == pytest.approx(50.0 * 1.0 + 1000.0 * 50.0 + 3000.0 * 2.0)
    assert s["free_coag"] == pytest.approx(0.1)
    assert s["charge"] == pytest.approx(13.0 / (0.01 * 2600.0))
    assert offer[r.VOLUME] == pytest.approx(45.0, rel=1e-8)
    assert offer[r.FINES] == pytest.approx(50.0)
    assert offer[r.HEAT] == pytest.approx(20.0)
    assert offer[r.OFFER_LEVEL] == pytest.approx(2.5)
    assert offer[r.OFFER_DENSITY] == s["density"]


@kernel
def run_pair(steps, dt, first, p, s, m, weather, links, tables, streams, offers, ledger):
    for _ in range(steps):
        for i in range(2):
            spill_vessel(p[i], s[i], m, streams, offers, dt)
        for i in range(2):
            j = i if first == 0 else 1 - i
            step_vessel(p[j], s[j], m, weather, links, tables, streams, offers, ledger, dt)


@pytest.mark.parametrize("first", [0, 1])
def test_spill_between_vessels_closes_in_any_order(first):
    """Two vessels that spill into one another, one overfull: nothing is on the way between two steps."""
    a = Arena({"vessel_p": 2, "vessel_s": 2, "links": 2, "tables": 2, "streams": 2, "offers": 2})
    a.links[:] = [1, 0]
    a.tables[:] = [0.0, 4.0]
    a.material["solids_density"] = 2650.0
    for name, value in {
        "inlets": [0, 1], "n_inlets": 1, "spill": [0, 1], "offer": [0, 1], "n_table": 2, "volume": 40.0,
        "weir_level": [2.0, 2.5], "weir_factor": 1.84, "weir_width": 1.0, "mixing": 1.0,
    }.items():  # fmt: skip
        a.vessel_p[name] = value
    content = a.vessel_s["content"]
    content[:, r.VOLUME] = [39.0, 24.0]
    content[0, r.FINES], content[1, r.COAG] = 50.0, 3.0
    for i in range(2):
        refresh_vessel(a.vessel_p[i], a.vessel_s[i], a.material[0], a.tables, a.offers)
    start = content.sum(axis=0)
    states = []
    for _ in range(50):
        run_pair(
            1, 2.0, first, a.vessel_p, a.vessel_s, a.material[0], a.weather[0], a.links, a.tables, a.streams,
            a.offers, a.ledger,
        )  # fmt: skip
        states.append(content.copy())
        assert content.sum(axis=0) == pytest.approx(start, rel=1e-13, abs=1e-300)
    assert a.vessel_s["spilled"].min() > 0.0
    assert states[0][0, r.VOLUME] < 39.0
