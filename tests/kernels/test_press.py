"""The filter press: Ruth's straight line, cycle times, a hand balance, conservation."""

import numpy as np
import pytest

from plantsim import records as r
from plantsim.arena import Arena
from plantsim.jit import kernel
from plantsim.kernels.press import VISCOSITY_20, step_press


@kernel
def run(steps, dt, p, s, m, motors, tags, streams, offers, ledger, moved, log):
    flags = 0
    for i in range(steps):
        flags |= step_press(p, s, m, motors, tags, streams, offers, ledger, dt)
        for k in range(r.NS):
            moved[0, k] += streams[0, k] * dt
            moved[1, k] += streams[1, k] * dt
        if i < log.shape[0]:
            log[i, 0] = s.state
            log[i, 1] = moved[1, r.VOLUME]
            log[i, 2] = s.flow
    return flags


class Rig:
    """100 m2 and 2 m3 of chambers at 7 bar, mud of 300 kg/m3; draw on stream 0, filtrate on stream 1."""

    def __init__(self, dt=1.0, solids=300.0, **parameters):
        a = self.arena = Arena(
            {"press_p": 1, "press_s": 1, "motor_s": 1, "streams": 2, "offers": 1, "tags": 1}
        )
        self.dt = dt
        a.material["solids_density"] = 2650.0
        a.motor_s["speed"] = 1.0
        defaults = {
            "draw": 0, "filtrate": 1, "permit": -1, "chambers": 2.0, "area": 100.0, "pressure": 7e5,
            "max_flow": 1.0, "cake_resistance": 1e12, "cloth_resistance": 5e10, "cake_fraction": 0.75,
            "squeeze_time": 300.0, "open_time": 900.0, "fill_limit": 7200.0, "start_volume": 5.0,
        }  # fmt: skip
        for name, value in {**defaults, **parameters}.items():
            a.press_p[name] = value
        a.offers[0, r.VOLUME] = 1e6
        for name, value in {
            "COARSE": 0.1 * solids, "FINES": 0.88 * solids, "COLLOID": 0.02 * solids, "CLAY": 0.2 * solids,
            "COAG": 0.02, "COAG_BOUND": 3.0, "POLY": 0.001, "POLY_BOUND": 0.03, "POLY_SPENT": 0.002,
            "HEAT": 20.0,
        }.items():  # fmt: skip
            a.offers[0, getattr(r, name)] = value
        self.moved, self.log = np.zeros((2, r.NS)), np.zeros((0, 3))

    @property
    def s(self):
        return self.arena.press_s[0]

    def run(self, seconds):
        a = self.arena
        steps = round(seconds / self.dt)
        self.log = np.zeros((steps, 3))
        return run(
            steps, self.dt, a.press_p[0], a.press_s[0], a.material[0], a.motor_s, a.tags, a.streams, a.offers,
            a.ledger, self.moved, self.log,
        )  # fmt: skip


def cake_per_filtrate(solids=300.0, fraction=0.75):
    """Dry cake per filtrate volume [kg/m3] by hand: the cake keeps 1/3 kg of water per kg of solids."""
    water = 1.0 - solids / 2650.0 - solids * (1.0 - fraction) / fraction / 998.207
    return solids / water


@pytest.mark.parametrize("dt", [0.5, 5.0, 60.0])
def test_ruth_straight_line(dt):
    """t/V = mu alpha c / (2 A^2 dp) V + mu R / (A dp), at any step.

    The textbook form of constant-pressure cake filtration (Ruth 1935; McCabe, Smith & Harriott, Unit
    Operations of Chemical Engineering, chapter on mechanical separations, from memory).
    """
    rig = Rig(dt=dt, chambers=20.0)
    rig.run(dt + 1800.0)  # the first step only opens the valves
    t = np.arange(1, len(rig.log)) * dt
    volume = rig.log[1:, 1]
    slope, intercept = np.polyfit(volume, t / volume, 1)
    assert slope == pytest.approx(VISCOSITY_20 * 1e12 * cake_per_filtrate() / (2 * 100.0**2 * 7e5), rel=1e-4)
    assert intercept == pytest.approx(VISCOSITY_20 * 5e10 / (100.0 * 7e5), rel=2e-3)
    residual = t / volume - (slope * volume + intercept)
    assert np.abs(residual).max() < 1e-6 * (t / volume).max()


def test_doubling_the_time_gives_root_two():
    """With a clean cloth V grows with the root of time (and with the root of the pressure)."""
    volumes = []
    for seconds, pressure, speed in ((900.0, 7e5, 1.0), (1800.0, 7e5, 1.0), (900.0, 14e5, 1.0), (900.0, 7e5, 0.5)):
        rig = Rig(chambers=20.0, cloth_resistance=0.0, pressure=pressure)
        rig.arena.motor_s["speed"] = speed
        rig.run(1.0 + seconds)
        volumes.append(rig.log[-1, 1])
    assert volumes[1] / volumes[0] == pytest.approx(2**0.5, rel=1e-9)
    assert volumes[2] / volumes[0] == pytest.approx(2**0.5, rel=1e-9)
    # affinity law of the feed pump: pressure with the square of its speed, so half the volume at half speed
    assert volumes[3] / volumes[0] == pytest.approx(0.5, rel=1e-9)


def test_cold_filtrate_is_slower():
    """Clean cloth: V ~ mu^-1/2; water at 5 and 20 degC 1.5182 and 1.0016 mPa s (IAPWS R12-08)."""
    volumes = []
    for temperature in (20.0, 5.0):
        rig = Rig(chambers=20.0, cloth_resistance=0.0)
        rig.arena.offers[0, r.HEAT] = temperature
        rig.run(901.0)
        volumes.append(rig.log[-1, 1])
    assert volumes[0] / volumes[1] == pytest.approx((1.5182 / 1.0016) ** 0.5, rel=1e-3)


def test_pump_caps_the_flow():
    """At first the pump sets the flow, later the cake does."""
    rig = Rig(max_flow=0.01)
    rig.run(700.0)
    assert rig.log[1, 2] == pytest.approx(0.01, rel=1e-12)
    assert rig.log[-1, 2] < 0.0075
    rig.arena.motor_s["speed"] = 0.0
    rig.run(1.0)
    assert rig.s["flow"] == 0.0 and rig.s["filtrate_flow"] == 0.0
    rig.arena.motor_s["speed"] = 0.3
    slow = Rig(max_flow=0.01)
    slow.arena.motor_s["speed"] = 0.3
    slow.run(3.0)
    assert slow.s["flow"] == pytest.approx(0.003, rel=1e-12)


def test_a_cycle_and_its_cake():
    """Hand balance of 2 m3 of cake at 75 % solids by mass: bulk density, dry mass and moisture; stage times."""
    rig = Rig(cake_resistance=2e11)
    rig.run(4000.0)
    changes = np.flatnonzero(np.diff(rig.log[:, 0]))
    states = [int(rig.log[0, 0])] + [int(rig.log[i + 1, 0]) for i in changes]
    assert states[:4] == [r.PRESS_FILL, r.PRESS_SQUEEZE, r.PRESS_OPEN, r.PRESS_WAIT]
    assert list(np.diff(changes)[:2]) == [300, 900]
    density = 1.0 / (0.75 / 2650.0 + 0.25 / 998.207)  # of the cake, 1876 kg/m3
    cycles = rig.s["cycles"]
    assert cycles >= 1
    assert rig.s["cake_volume"] == pytest.approx(2.0 * cycles, rel=1e-8)
    assert rig.s["cake"] == pytest.approx(2.0 * cycles * density * 0.75, rel=1e-4)
    cake = rig.arena.ledger[r.OUT_CAKE]
    assert cake[r.VOLUME] == pytest.approx(rig.s["cake_volume"])
    water = cake[r.VOLUME] - rig.s["cake"] / 2650.0
    assert water * 998.207 / (water * 998.207 + rig.s["cake"]) == pytest.approx(0.25, rel=1e-4)


@pytest.mark.parametrize("parameters", [
    {}, {"filtrate_solids": 0.02}, {"max_flow": 0.004}, {"fill_limit": 200.0}, {"solids": 900.0},
    {"solids": 1800.0}, {"solids": 0.0}, {"dt": 20.0, "filtrate_solids": 0.1},
])  # fmt: skip
def test_conserves_every_component(parameters):
    rig = Rig(**parameters)
    rig.run(20_000.0)
    ledger = r.LEDGER_SIGN @ rig.arena.ledger
    error = rig.s["held"] - (rig.moved[0] - rig.moved[1] + ledger)
    scale = rig.moved.sum(axis=0) + np.abs(ledger)
    assert (np.abs(error) <= 1e-12 * scale + 1e-300).all()
    assert rig.s["cycles"] > 1
    assert (rig.moved[1] >= 0.0).all() and (rig.arena.ledger[r.OUT_CAKE] >= 0.0).all()


def test_mud_thicker_than_the_cake_gives_no_filtrate():
    rig = Rig(solids=1500.0, filtrate_solids=0.1)
    rig.run(5000.0)
    assert rig.moved[1, r.VOLUME] == 0.0 and rig.moved[1, r.FINES] == 0.0
    assert rig.s["cycles"] >= 2


def test_what_passes_the_cloth():
    """2 % of the fines pass with what is bound to them; dissolved goes with the water, coarse stays."""
    rig = Rig(filtrate_solids=0.02)
    rig.run(200.0)
    taken, filtrate = rig.moved
    assert filtrate[r.FINES] == pytest.approx(0.02 * taken[r.FINES])
    assert filtrate[r.COAG_BOUND] == pytest.approx(0.02 * taken[r.COAG_BOUND])
    assert filtrate[r.CLAY] == pytest.approx(0.02 * taken[r.CLAY])
    assert filtrate[r.COARSE] == 0.0
    clear = filtrate[r.VOLUME] - (filtrate[r.FINES] + filtrate[r.COLLOID]) / 2650.0
    assert filtrate[r.COAG] / clear == pytest.approx(0.02 / (1.0 - 300.0 / 2650.0), rel=1e-12)


def test_waits_for_permit_and_mud():
    rig = Rig(permit=0)
    rig.run(100.0)
    assert rig.s["state"] == r.PRESS_WAIT
    rig.arena.tags[0] = 1.0
    rig.arena.offers[0, r.VOLUME] = 4.9
    rig.run(10.0)
    assert rig.s["state"] == r.PRESS_WAIT
    rig.arena.offers[0, r.VOLUME] = 5.0
    rig.run(1.0)
    assert rig.s["state"] == r.PRESS_FILL
    rig.arena.offers[0, r.VOLUME] = 0.01
    assert rig.run(10.0) == r.WARN_LOW
    assert rig.moved[0, r.VOLUME] == pytest.approx(0.01)
