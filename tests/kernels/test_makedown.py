"""Polymer make-down: sequence and its times, ageing and decay against closed forms, balance, faults."""

import math

import numpy as np
import pytest

from plantsim import records as r
from plantsim.arena import Arena
from plantsim.jit import kernel
from plantsim.kernels.makedown import age, refresh_makedown, step_makedown


@kernel
def run(steps, dt, draw, p, s, f, tags, links, streams, offers, ledger, drawn, log):
    """Step a makedown with `draw` [m3/s] taken from its day tank; logs the state after each step."""
    flags = 0
    for i in range(steps):
        flow = min(draw, offers[0, r.VOLUME] / dt)
        offers[0, r.VOLUME] -= flow * dt
        streams[0, r.VOLUME] = flow
        for k in range(1, r.NS):
            streams[0, k] = flow * offers[0, k]
        flags |= step_makedown(p, s, f, tags, links, streams, offers, ledger, dt)
        for k in range(r.NS):
            drawn[0, k] += streams[0, k] * dt
            drawn[1, k] += streams[1, k] * dt
        if i < log.shape[0]:
            log[i, 0] = s.state
            log[i, 1] = s.tank[r.VOLUME]
            log[i, 2] = s.day[r.VOLUME]
            log[i, 3] = s.tank[r.POLY]
    return flags


class Rig:
    """2 m3 batches at 0.25 % into a day tank of 5 m3; stream 0 drawn, stream 1 its water if from offer 1."""

    def __init__(self, dt=1.0, **parameters):
        a = self.arena = Arena(
            {"makedown_p": 1, "makedown_s": 1, "makedown_f": 1, "links": 1, "streams": 2, "offers": 2,
             "tags": 1}
        )  # fmt: skip
        self.dt = dt
        defaults = {
            "n_outlets": 1, "water_offer": -1, "water_draw": -1, "permit": -1, "batch": 2.0, "strength": 2.5,
            "fill_flow": 0.005, "wet_time": 300.0, "mix_time": 3600.0, "transfer_flow": 0.004,
            "day_tank": 5.0, "start_level": 0.3, "age_time": 1200.0, "half_life": 48 * 3600.0, "store": 500.0,
            "water_temperature": 20.0,
        }  # fmt: skip
        for name, value in {**defaults, **parameters}.items():
            a.makedown_p[name] = value
        a.makedown_s["powder"] = 500.0
        a.makedown_f["mix_factor"] = 1.0
        self.drawn, self.log = np.zeros((2, r.NS)), np.zeros((0, 4))
        refresh_makedown(a.makedown_p[0], a.makedown_s[0], a.offers)

    @property
    def s(self):
        return self.arena.makedown_s[0]

    def run(self, seconds, draw=0.0, log=True):
        a = self.arena
        steps = round(seconds / self.dt)
        self.log = np.zeros((steps if log else 0, 4))
        return run(
            steps, self.dt, draw, a.makedown_p[0], a.makedown_s[0], a.makedown_f[0], a.tags, a.links,
            a.streams, a.offers, a.ledger, self.drawn, self.log,
        )  # fmt: skip

    def times(self):
        """Steps spent in each state, in the order they came."""
        states = self.log[:, 0].astype(int)
        cuts = np.flatnonzero(np.diff(states)) + 1
        return [(int(part[0]), len(part)) for part in np.split(states, cuts)]


def test_sequence_and_its_times():
    """2 m3 at 5 L/s fill in 400 s, 300 s wetting, 60 min mixing, 2 m3 at 4 L/s out in 500 s: by hand."""
    rig = Rig()
    rig.run(6000.0)
    assert rig.times()[:6] == [
        (r.FILL, 400), (r.WET, 300), (r.MIX, 3600), (r.READY, 1), (r.TRANSFER, 500), (r.IDLE, 1199),
    ]  # fmt: skip
    assert rig.s["batches"] == 1
    assert rig.s["powder"] == pytest.approx(495.0, abs=1e-9)
    assert rig.arena.ledger[r.IN_CHEMICAL, r.POLY_SPENT] == pytest.approx(5.0, rel=1e-12)
    assert rig.s["day"][r.VOLUME] == pytest.approx(2.0, rel=1e-12)
    # stock within the usual 0.1 to 0.5 %
    polymer = rig.s["day"][r.POLY] + rig.s["day"][r.POLY_SPENT]
    assert polymer / rig.s["day"][r.VOLUME] == pytest.approx(2.5, rel=1e-12)


@pytest.mark.parametrize("dt", [0.5, 5.0, 30.0])
def test_times_do_not_drift_with_the_step(dt):
    rig = Rig(dt=dt, fill_flow=2.0 / 600.0, transfer_flow=2.0 / 600.0)
    rig.run(6000.0)
    times = [(state, steps * dt) for state, steps in rig.times()[:5]]
    assert times == [(r.FILL, 600), (r.WET, 300), (r.MIX, 3600), (r.READY, dt), (r.TRANSFER, 600)]
    assert rig.s["powder"] == pytest.approx(495.0, abs=1e-9)


def chain(t, gain, loss):
    """Active part of unaged -> active -> dead from all unaged at t = 0: Bateman (1910)."""
    return gain / (gain - loss) * (math.exp(-loss * t) - math.exp(-gain * t))


@pytest.mark.parametrize("temperature, viscosity_ratio, doubling", [(20.0, 1.0, 1.0), (5.0, 1.5158, 2**-1.5)])
@pytest.mark.parametrize("dt", [1.0, 60.0, 7200.0])
def test_ageing_and_decay_follow_the_chain(temperature, viscosity_ratio, doubling, dt):
    """Exact at any step. Water at 5 and 20 degC: 1.5182 and 1.0016 mPa s (IAPWS R12-08), ratio 1.516."""
    rig = Rig()
    a = rig.arena
    row = np.zeros(r.NS)
    row[r.VOLUME], row[r.HEAT], row[r.POLY_SPENT] = 2.0, 2.0 * temperature, 5.0
    unaged, gain, loss = 5.0, 1.0 / (1200.0 * viscosity_ratio), math.log(2.0) / (48 * 3600.0) * doubling
    for i in range(round(14400.0 / dt)):
        unaged = age(row, unaged, a.makedown_p[0], a.ledger, dt)
        t = (i + 1) * dt
        if i % 40 == 0 or t == 14400.0:
            assert row[r.POLY] == pytest.approx(5.0 * chain(t, gain, loss), rel=1e-3)
    assert row[r.POLY] + row[r.POLY_SPENT] == pytest.approx(5.0, rel=1e-13)
    assert unaged == pytest.approx(5.0 * math.exp(-gain * 14400.0), rel=0.02)


def test_equal_rates_have_their_limit():
    """With equal rates the chain is k t exp(-k t): the formula's singular case, met exactly and closely."""
    for near in (1.0, 1.0 + 1e-9, 1.0 + 1e-5):
        rig = Rig(age_time=1000.0 * near, half_life=1000.0 * math.log(2.0))
        row = np.zeros(r.NS)
        row[r.VOLUME], row[r.HEAT], row[r.POLY_SPENT] = 1.0, 20.0, 1.0
        unaged = 1.0
        for _ in range(100):
            unaged = age(row, unaged, rig.arena.makedown_p[0], rig.arena.ledger, 10.0)
        assert row[r.POLY] == pytest.approx(math.exp(-1.0), rel=1e-3)


def test_activity_after_an_hour_and_a_day():
    """About 60 min of ageing makes it ready (95 % at an ageing time of 20 min); it holds for hours, not days.

    Common practice (preparation notes for dry polymer): 60 min agitation, anionic stock good for about 8 h at
    room temperature; half-life 24 to 72 h for the decay.
    """
    rig = Rig()
    rig.run(700.0 + 3600.0)
    ready = rig.log[-1, 3] / 5.0
    assert 0.93 < ready < 0.97
    rig.run(1000.0)
    rig.arena.makedown_s["powder"] = 0.0
    rig.run(8 * 3600.0, log=False)
    assert 0.85 < rig.s["activity"] < 0.95
    rig.run(48 * 3600.0, log=False)
    assert rig.s["activity"] < 0.5


def test_drawn_before_it_is_aged():
    """Half-aged polymer pumped away is spent for good: the outlet carries it as POLY_SPENT."""
    rig = Rig(mix_time=10.0)
    rig.run(1300.0, log=False)
    early = rig.s["activity"]
    assert 0.3 < early < 0.6
    rig.run(100.0, draw=0.001)
    part = rig.drawn[0, r.POLY] / (rig.drawn[0, r.POLY] + rig.drawn[0, r.POLY_SPENT])
    assert early < part < early + 0.1
    left = rig.s["day_unaged"] / rig.s["day"][r.VOLUME]
    assert left == pytest.approx(2.5 - 2.5 * rig.s["activity"], rel=0.05)  # what is left still ages
    rig.run(3600.0)
    assert rig.s["activity"] > 0.94


def water_offer(rig):
    a = rig.arena
    a.offers[1] = 0.0
    for name, value in {
        "COARSE": 0.001, "FINES": 0.1, "COLLOID": 0.02, "CLAY": 0.03, "COAG": 0.004, "COAG_BOUND": 0.001,
        "POLY": 2e-4, "POLY_BOUND": 1e-4, "POLY_SPENT": 5e-5, "HEAT": 12.0,
    }.items():  # fmt: skip
        a.offers[1, getattr(r, name)] = value
    a.offers[1, r.VOLUME] = 1e5


@pytest.mark.parametrize("mains", [True, False])
@pytest.mark.parametrize("liquid", [0, 1])
def test_conserves_every_component(mains, liquid):
    rig = Rig(liquid=liquid, **({} if mains else {"water_offer": 1, "water_draw": 1}))
    water_offer(rig)
    rig.arena.makedown_f["fish_eyes"], rig.arena.makedown_f["bridging"] = 0.1, 0.05
    rig.run(12 * 3600.0, draw=3e-4)
    s, ledger = rig.s, rig.arena.ledger
    assert s["batches"] >= 5
    held = s["tank"] + s["day"]
    error = held - (r.LEDGER_SIGN @ ledger + rig.drawn[1] - rig.drawn[0])
    scale = np.abs(ledger).sum(axis=0) + rig.drawn.sum(axis=0)
    assert (np.abs(error) <= 1e-12 * scale + 1e-300).all()
    assert ledger[r.IN_CHEMICAL, r.POLY_SPENT] == pytest.approx(500.0 - s["powder"], rel=1e-9)
    assert (ledger[r.IN_SUPPLY, r.VOLUME] > 0.0) == mains
    assert (rig.drawn[1, r.VOLUME] > 0.0) == (not mains)
    assert 0.0 <= s["unaged"] <= s["tank"][r.POLY_SPENT] + 1e-12
    assert 0.0 <= s["day_unaged"] <= s["day"][r.POLY_SPENT] + 1e-12


def test_water_draw_stops_with_the_filling():
    rig = Rig(water_offer=1, water_draw=1)
    water_offer(rig)
    rig.run(800.0)
    assert rig.drawn[1, r.VOLUME] == pytest.approx(2.0, rel=1e-12)
    assert (rig.arena.streams[1] == 0.0).all()
    # and a short supply is waited for
    dry = Rig(water_offer=1, water_draw=1)
    water_offer(dry)
    dry.arena.offers[1, r.VOLUME] = 0.5
    assert dry.run(800.0) == r.WARN_LOW
    assert dry.s["state"] == r.FILL and dry.s["tank"][r.VOLUME] == pytest.approx(0.5)


def test_permit():
    rig = Rig(permit=0)
    rig.run(1000.0)
    assert rig.s["state"] == r.IDLE and rig.s["tank"][r.VOLUME] == 0.0
    rig.arena.tags[0] = 1.0
    rig.run(2.0)
    assert rig.s["state"] == r.FILL
    rig.arena.tags[0] = 0.0  # a batch begun is finished
    rig.run(6000.0)
    assert rig.s["batches"] == 1 and rig.s["state"] == r.IDLE


def test_waits_for_room_in_the_day_tank():
    rig = Rig(start_level=0.5)
    rig.run(20 * 3600.0)
    # two batches bring it above half; then it rests
    assert rig.s["batches"] == 2 and rig.s["state"] == r.IDLE
    assert rig.log[:, 2].max() <= 5.0 + 1e-9
    small = Rig(day_tank=1.5, start_level=0.5)
    small.run(20 * 3600.0)
    assert small.log[:, 2].max() == pytest.approx(1.5)
    assert small.s["state"] == r.TRANSFER and small.s["tank"][r.VOLUME] == pytest.approx(0.5)
    small.run(4000.0, draw=2e-4)
    assert small.s["tank"][r.VOLUME] < 0.5


def test_runs_out():
    """Without powder no batch starts; an empty day tank is counted as starved."""
    rig = Rig()
    rig.run(6000.0)
    rig.arena.makedown_s["powder"] = 0.0
    before = rig.s["starved"]
    rig.run(40 * 3600.0, draw=1e-3)
    assert rig.s["batches"] <= 2
    assert rig.arena.offers[0, r.VOLUME] == pytest.approx(0.0, abs=1e-6)
    assert rig.s["starved"] - before > 35 * 3600.0
    assert (rig.s["day"] >= -1e-12).all()


def test_faults_of_the_powder_feed():
    """Bridging: less powder per batch. Fish-eyes: that part never comes good. Mix factor: a longer mixing."""
    bridged = Rig()
    bridged.arena.makedown_f["bridging"] = 0.4
    bridged.run(900.0)
    assert 500.0 - bridged.s["powder"] == pytest.approx(3.0, rel=1e-9)
    lumpy = Rig(half_life=0.0)  # no decay
    lumpy.arena.makedown_f["fish_eyes"] = 0.3
    lumpy.arena.makedown_f["mix_factor"] = 5.0
    lumpy.run(700.0 + 5 * 3600.0 - 2.0)
    assert lumpy.s["state"] == r.MIX
    assert lumpy.log[-1, 3] == pytest.approx(0.7 * 5.0, rel=1e-4)
    lumpy.run(10.0)
    assert lumpy.s["state"] != r.MIX


def test_liquid_has_no_wetting():
    rig = Rig(liquid=1, mix_time=900.0, age_time=300.0)
    rig.arena.makedown_f["fish_eyes"], rig.arena.makedown_f["bridging"] = 0.5, 0.5
    rig.run(3000.0)
    assert [state for state, _ in rig.times()[:4]] == [r.FILL, r.MIX, r.READY, r.TRANSFER]
    assert 500.0 - rig.s["powder"] == pytest.approx(5.0)
    assert rig.s["activity"] > 0.95
