"""The dosing skid: settings of the pump, faults, tote, filter, dispersion, dosing line, balance."""

import numpy as np
import pytest

from plantsim import records as r
from plantsim.arena import Arena
from plantsim.jit import kernel
from plantsim.kernels.doser import step_doser
from plantsim.kernels.plug import add_content, plug_rows


@kernel
def run(
    steps, dt, start, p, s, f, m, weather, motors, actuators, tags, plugs, plug_states, parcels, streams, offers,
    ledger, moved, log,
):  # fmt: skip
    flags = 0
    for i in range(steps):
        flags |= step_doser(
            p, s, f, m, weather, motors, actuators, tags, plugs, plug_states, parcels, streams, offers, ledger,
            start + i * dt, dt,
        )  # fmt: skip
        for j in range(3):
            for k in range(r.NS):
                moved[j, k] += streams[j, k] * dt
        if i < log.shape[0]:
            log[i] = s.dose
    return flags


class Rig:
    """100 L/h neat pump. Streams: 0 delivered, 1 drawn from the day tank, 2 dilution water drawn."""

    def __init__(self, dt=1.0, line=0.0, **parameters):
        rows = plug_rows(line, line / 50.0) if line else 1
        a = self.arena = Arena(
            {"doser_p": 1, "doser_s": 1, "doser_f": 1, "motor_s": 1, "actuator_s": 1, "streams": 3, "offers": 2,
             "tags": 1, "plug_p": 1, "plug_s": 1, "parcels": rows}
        )  # fmt: skip
        self.dt, self.now = dt, 0.0
        a.material["solids_density"] = 2650.0
        a.weather["water"] = 10.0
        a.motor_s["speed"], a.actuator_s["position"] = 1.0, 1.0
        defaults = {
            "out": 0, "substance": r.COAG, "offer": -1, "draw": -1, "stroke": 0, "capacity": 0.1 / 3600.0,
            "calibration": 1.0, "strength": 1300.0, "tote": 1.0, "plug": 0 if line else -1, "water_offer": -1,
            "water_draw": -1, "filter_actuator": -1, "purity": 0.4,
        }  # fmt: skip
        for name, value in {**defaults, **parameters}.items():
            a.doser_p[name] = value
        if line:
            a.plug_p["rows"], a.plug_p["volume"], a.plug_p["parcel"] = rows, line, line / 50.0
        a.doser_s["store"] = 1.0
        a.doser_f["calibration"], a.doser_f["filter_factor"] = 1.0, 1.0
        a.offers[:, r.VOLUME] = 1e6
        for name, value in {"POLY": 2.2, "POLY_SPENT": 0.3, "FINES": 0.01, "HEAT": 15.0}.items():
            a.offers[0, getattr(r, name)] = value
        for name, value in {
            "COARSE": 0.002, "FINES": 0.04, "COLLOID": 0.02, "CLAY": 0.01, "COAG": 0.003, "COAG_BOUND": 6e-4,
            "POLY": 1e-4, "POLY_BOUND": 3e-5, "POLY_SPENT": 2e-5, "HEAT": 12.0,
        }.items():  # fmt: skip
            a.offers[1, getattr(r, name)] = value
        self.moved, self.log = np.zeros((3, r.NS)), np.zeros(0)

    @property
    def s(self):
        return self.arena.doser_s[0]

    def run(self, seconds):
        a = self.arena
        steps = round(seconds / self.dt)
        self.log = np.zeros(steps)
        flags = run(
            steps, self.dt, self.now, a.doser_p[0], a.doser_s[0], a.doser_f[0], a.material[0], a.weather[0],
            a.motor_s, a.actuator_s, a.tags, a.plug_p, a.plug_s, a.parcels, a.streams, a.offers, a.ledger,
            self.moved, self.log,
        )  # fmt: skip
        self.now += seconds
        return flags


POLYMER = {
    "substance": r.POLY, "offer": 0, "draw": 1, "water_offer": 1, "water_draw": 2, "water_flow": 1e-3 / 3.6,
    "capacity": 0.1e-3 / 3.6, "good_dilution": 10.0,
}  # fmt: skip


def test_flow_is_speed_times_stroke():
    rig = Rig()
    for speed, stroke in ((1.0, 1.0), (0.5, 1.0), (0.5, 0.4), (0.0, 1.0), (1.0, 0.0)):
        rig.arena.motor_s["speed"], rig.arena.actuator_s["position"] = speed, stroke
        rig.run(1.0)
        assert rig.s["neat"] == pytest.approx(0.1 / 3600.0 * speed * stroke)
        assert rig.s["dose"] == pytest.approx(0.1 / 3600.0 * speed * stroke * 1300.0)
    rig = Rig(stroke=-1)
    rig.arena.motor_s["speed"] = 0.3
    rig.run(1.0)
    assert rig.s["neat"] == pytest.approx(0.03 / 3600.0)


@pytest.mark.parametrize("setting, given", [
    (0.044, 0.0), (0.0499, 0.05), (0.05, 0.05), (0.104, 0.1), (0.106, 0.11), (0.994, 0.99), (1.0, 1.0),
])  # fmt: skip
def test_turndown_and_resolution(setting, given):
    """Steps of 1 %, nothing below 1:20; 4.99 % rounds to 5 % and is held, 4.4 % is not."""
    rig = Rig(turndown=0.05 - 1e-12, resolution=0.01)
    rig.arena.actuator_s["position"] = setting
    rig.run(1.0)
    assert rig.s["neat"] == pytest.approx(given * 0.1 / 3600.0)


def test_calibration_errors_multiply():
    rig = Rig(calibration=1.1)
    rig.arena.doser_f["calibration"] = 0.8
    rig.run(3600.0)
    assert rig.s["spent"] == pytest.approx(0.088)
    assert rig.s["dosed"] == pytest.approx(0.088 * 1300.0)


def test_air_lock_gives_nothing():
    rig = Rig(**POLYMER)
    rig.arena.doser_f["air_lock"] = 1
    assert rig.run(10.0) == 0
    assert rig.s["neat"] == 0.0 and rig.moved[1, r.VOLUME] == 0.0
    assert rig.s["water"] > 0.0  # the pump runs, so its dilution water does
    rig.arena.doser_f["air_lock"] = 0
    rig.run(1.0)
    assert rig.s["dose"] > 0.0


def test_tote_runs_empty():
    """What the tote loses is what was dosed; empty, the pump runs dry and says so."""
    rig = Rig()
    rig.arena.doser_s["store"] = 0.05
    assert rig.run(1700.0) == 0
    assert rig.s["store"] == pytest.approx(0.05 - 0.1 * 1700.0 / 3600.0)
    assert rig.run(200.0) == r.WARN_LOW
    assert rig.s["store"] == pytest.approx(0.0, abs=1e-18) and rig.s["store"] >= 0.0
    assert rig.moved[0, r.COAG] == pytest.approx(0.05 * 1300.0, rel=1e-12)
    assert rig.arena.ledger[r.IN_CHEMICAL, r.COAG] == pytest.approx(65.0, rel=1e-12)
    assert rig.s["dose"] == 0.0
    rig.arena.doser_s["store"] += 1.0  # a delivery
    rig.run(1.0)
    assert rig.s["dose"] > 0.0


def test_polymer_from_a_tote_has_its_purity():
    rig = Rig(substance=r.POLY, strength=500.0)
    rig.run(3600.0)
    assert rig.moved[0, r.POLY] == pytest.approx(0.1 * 500.0 * 0.4)
    assert rig.moved[0, r.POLY_SPENT] == pytest.approx(0.1 * 500.0 * 0.6)


def test_dilution():
    """0.25 % stock with ten parts of water to one is 0.25/11 = 0.023 %; enough water wastes nothing."""
    rig = Rig(**POLYMER)
    rig.run(3600.0)
    assert rig.s["water"] / rig.s["neat"] == pytest.approx(10.0)
    polymer = rig.moved[0, r.POLY] + rig.moved[0, r.POLY_SPENT]
    assert polymer / rig.moved[0, r.VOLUME] == pytest.approx(2.5 / 11.0, rel=1e-3)
    assert rig.arena.ledger[r.REACTION, r.POLY] == 0.0


@pytest.mark.parametrize("ratio, lost", [(10.0, 0.0), (20.0, 0.0), (5.0, 0.25), (2.0, 0.4), (0.0, 0.5)])
def test_too_little_dilution_wastes_polymer(ratio, lost):
    flow = POLYMER["capacity"] * ratio
    rig = Rig(**{**POLYMER, "water_flow": flow})
    rig.arena.offers[1, r.POLY] = 0.0
    rig.run(100.0)
    active = rig.moved[1, r.POLY]
    assert rig.moved[0, r.POLY] == pytest.approx(active * (1.0 - lost))
    assert -rig.arena.ledger[r.REACTION, r.POLY] == pytest.approx(active * lost, abs=1e-15)
    assert rig.arena.ledger[r.REACTION, r.POLY_SPENT] == pytest.approx(active * lost, abs=1e-15)


def test_filter_clogs_by_its_load():
    """Flow Q0/(1 + x), dx/dt = c Q/L: x + x^2/2 = c Q0 t/L, solved by hand; changing it restores the flow."""
    rig = Rig(**{**POLYMER, "filter_load": 0.05, "filter_actuator": 0})
    clean = POLYMER["water_flow"]
    rig.run(2 * 3600.0)
    expected = np.sqrt(1.0 + 2.0 * 0.042 * clean * 7200.0 / 0.05) - 1.0
    assert rig.s["filter"] / 0.05 == pytest.approx(expected, rel=1e-3)
    assert rig.s["water"] == pytest.approx(clean / (1.0 + expected), rel=1e-3)
    assert rig.s["filtered"][r.FINES] + rig.s["filtered"][r.COARSE] == pytest.approx(rig.s["filter"])
    # coagulant bound to the solids is caught with the fines: 6e-4 on 0.04 fines and 0.02 colloid
    assert rig.s["filtered"][r.COAG_BOUND] / rig.s["filtered"][r.FINES] == pytest.approx(6e-4 / 0.06)
    assert rig.s["filtered"][r.COLLOID] == 0.0
    assert rig.arena.ledger[r.REACTION, r.POLY_SPENT] > 0.0
    held = rig.s["filtered"].copy()
    rig.arena.tags[0] = 1.0
    rig.run(1.0)
    assert rig.s["water"] == pytest.approx(clean, rel=1e-6)
    assert rig.arena.ledger[r.OUT_CAKE] == pytest.approx(held)
    rig.run(7200.0)  # held on, the tag changes nothing more
    assert rig.s["filter"] / 0.05 == pytest.approx(expected, rel=2e-3)
    fast = Rig(**{**POLYMER, "filter_load": 0.05})
    fast.arena.doser_f["filter_factor"] = 4.0
    fast.run(1800.0)
    assert fast.s["filter"] / 0.05 == pytest.approx(expected, rel=1e-3)


def test_ratio_valve_makes_up_until_the_supply_ends():
    rig = Rig(**{**POLYMER, "water_ratio": 5.0, "filter_load": 0.05})
    rig.run(10.0)
    assert rig.s["water"] == pytest.approx(5.0 * rig.s["neat"])
    rig.arena.doser_s["filter"] = 0.05 * 3.0
    rig.run(1.0)
    assert rig.s["water"] == pytest.approx(POLYMER["water_flow"] / 4.0, rel=1e-4)
    rig.arena.offers[1, r.VOLUME] = 1e-6
    assert rig.run(1.0) == r.WARN_LOW
    assert rig.s["water"] == pytest.approx(1e-6)


def test_dosing_line_is_a_delay_of_its_volume():
    """20 L of line at 100 L/h: nothing for 720 s on first filling; a stop keeps what stands in it."""
    rig = Rig(line=0.02)
    rig.run(719.0)
    assert (rig.log == 0.0).all()
    rig.run(3.0)
    assert rig.log[-1] == pytest.approx(0.1 / 3600.0 * 1300.0)
    rig.arena.motor_s["speed"] = 0.0
    rig.run(600.0)
    assert rig.moved[0, r.COAG] < 0.1 / 3600.0 * 1300.0 * 3.0
    rig.arena.motor_s["speed"] = 1.0
    rig.run(1.0)
    assert rig.s["dose"] == pytest.approx(0.1 / 3600.0 * 1300.0, rel=1e-9)


@pytest.mark.parametrize("line", [0.0, 0.005])
@pytest.mark.parametrize("kind", ["tote", "polymer tote", "makedown"])
def test_conserves_every_component(kind, line):
    water = {"water_offer": 1, "water_draw": 2, "water_flow": 2e-4, "filter_load": 0.01, "filter_actuator": 0}
    parameters = {
        "tote": water,
        "polymer tote": {**water, "substance": r.POLY, "good_dilution": 20.0},
        "makedown": {**POLYMER, **water},
    }[kind]
    rig = Rig(line=line, **parameters)
    a = rig.arena
    rng = np.random.default_rng(3)
    for i in range(60):
        a.motor_s["speed"] = rng.choice([0.0, 0.3, 1.0])
        a.tags[0] = float(i % 20 == 19)
        rig.run(50.0)
    held = rig.s["filtered"].copy()
    if line:
        add_content(a.plug_p[0], a.plug_s[0], a.parcels, held)
    inside = r.LEDGER_SIGN @ a.ledger
    error = held - (rig.moved[1] + rig.moved[2] - rig.moved[0] + inside)
    scale = rig.moved.sum(axis=0) + np.abs(a.ledger).sum(axis=0)
    assert (np.abs(error) <= 1e-12 * scale + 1e-300).all()
    assert a.ledger[r.OUT_CAKE, r.FINES] > 0.0
