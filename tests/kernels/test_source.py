"""The wash plant and supplies: balances, stops for water, ramp, wander statistics, measured series."""

import math

import numpy as np
import pytest

from plantsim import records as r
from plantsim.arena import Arena
from plantsim.jit import kernel
from plantsim.kernels.source import step_source, step_supply


@kernel
def run(steps, dt, p, s, m, clock, tags, tables, streams, offers, ledger, out, draw, log):
    """Step a source; sums what left and was drawn, and logs flow, both wanders and the load of each step."""
    flags = 0
    for i in range(steps):
        flags |= step_source(p, s, m, clock, tags, tables, streams, offers, ledger, dt)
        for k in range(r.NS):
            out[k] += streams[0, k] * dt
            draw[k] += streams[1, k] * dt
        if i < log.shape[0]:
            log[i, 0] = s.flow
            log[i, 1] = s.wander_feed
            log[i, 2] = s.wander_fines
            log[i, 3] = s.load
        clock.tick += 1
    return flags


class Rig:
    """A plant of 100 t/h with 2 m3/t: dirty water on stream 0, drawn as stream 1 from offer 0."""

    def __init__(self, dt=1.0, **parameters):
        a = self.arena = Arena(
            {"source_p": 1, "source_s": 1, "tables": 12, "streams": 2, "offers": 1, "tags": 1}
        )
        a.material["solids_density"] = 2650.0
        a.clock["dt"] = self.dt = dt
        defaults = {
            "offer": 0, "draw": 1, "out": 0, "permit": -1, "production": 100e3 / 3600, "wash_ratio": 2e-3,
            "fines": 0.08, "coarse": 0.02, "colloid": 0.1, "moisture": 1e-4, "temperature": 11.0,
            "wander_time": 1800.0, "series": -1,
        }  # fmt: skip
        for name, value in {**defaults, **parameters}.items():
            a.source_p[name] = value
        for name, value in {"on": 1, "feed_factor": 1.0, "fines_factor": 1.0, "random": 12345}.items():
            a.source_s[name] = value
        a.source_s["clay"] = 0.3
        self.offer(1e6)
        self.out, self.draw, self.log = np.zeros(r.NS), np.zeros(r.NS), np.zeros((0, 4))

    def offer(self, volume):
        self.arena.offers[0, :] = 0.0
        self.arena.offers[0, r.VOLUME] = volume
        for name, value in {
            "COARSE": 0.01, "FINES": 0.2, "COLLOID": 0.05, "CLAY": 0.04, "COAG": 0.003, "COAG_BOUND": 0.001,
            "POLY": 1e-4, "POLY_BOUND": 5e-5, "POLY_SPENT": 2e-5, "HEAT": 14.0,
        }.items():  # fmt: skip
            self.arena.offers[0, getattr(r, name)] = value

    @property
    def s(self):
        return self.arena.source_s[0]

    def run(self, seconds, log=0):
        a = self.arena
        self.log = np.zeros((log, 4))
        return run(
            round(seconds / self.dt), self.dt, a.source_p[0], a.source_s[0], a.material[0], a.clock[0],
            a.tags, a.tables, a.streams, a.offers, a.ledger, self.out, self.draw, self.log,
        )  # fmt: skip


@pytest.mark.parametrize("parameters", [
    {}, {"offer": -1, "draw": -1}, {"wander_feed": 0.2, "wander_fines": 0.3, "ramp": 120.0},
    {"series": 0, "series_rows": 3},
])  # fmt: skip
def test_conserves_every_component(parameters):
    rig = Rig(**parameters)
    rig.arena.tables[:9] = [0.0, 0.05, 50.0, 1000.0, 0.08, 90.0, 2000.0, 0.02, 10.0]
    rig.run(3000.0)
    inside = r.LEDGER_SIGN @ rig.arena.ledger
    error = rig.out - rig.draw - inside
    scale = np.abs(rig.out) + np.abs(rig.draw) + np.abs(rig.arena.ledger).sum(axis=0)
    assert (np.abs(error) <= 1e-12 * scale).all()
    assert rig.out[r.FINES] > 0.0


def test_figures_of_a_full_load():
    """Hand balance: 100 t/h feed, 8 % fines (10 % of it colloid), 2 % coarse, 2 m3/t wash, 0.1 m3/t kept."""
    rig = Rig(offer=-1, draw=-1)
    rig.run(3600.0)
    feed = 100.0e3
    assert rig.s["washed"] == pytest.approx(feed)
    assert rig.out[r.FINES] == pytest.approx(feed * 0.072)
    assert rig.out[r.COLLOID] == pytest.approx(feed * 0.008)
    assert rig.out[r.CLAY] == pytest.approx(feed * 0.072 * 0.3)
    assert rig.out[r.COARSE] == pytest.approx(feed * 0.02)
    assert rig.out[r.VOLUME] == pytest.approx(200.0 - 10.0 + 10_000.0 / 2650.0)
    assert rig.s["concentration"] == pytest.approx(10_000.0 / (190.0 + 10_000.0 / 2650.0))
    assert rig.arena.ledger[r.OUT_PRODUCT, r.VOLUME] == pytest.approx(10.0)
    assert rig.s["run_time"] == 3600.0


def test_product_moisture_takes_dissolved_only():
    rig = Rig()
    rig.run(3600.0)
    product = rig.arena.ledger[r.OUT_PRODUCT]
    assert product[r.COAG] == pytest.approx(10.0 * 0.003)
    assert product[r.POLY] == pytest.approx(10.0 * 1e-4)
    assert product[r.FINES] == 0.0 and product[r.POLY_BOUND] == 0.0


def test_factors_set_by_events():
    rig = Rig(offer=-1, draw=-1)
    rig.arena.source_s["feed_factor"], rig.arena.source_s["fines_factor"] = 0.5, 2.0
    rig.run(3600.0)
    assert rig.out[r.COARSE] == pytest.approx(1000.0)
    assert rig.out[r.FINES] + rig.out[r.COLLOID] == pytest.approx(8000.0)


def test_fines_never_exceed_the_feed():
    rig = Rig(offer=-1, draw=-1, fines=0.9)
    rig.arena.source_s["fines_factor"] = 5.0
    rig.run(100.0)
    assert rig.out[r.FINES] + rig.out[r.COLLOID] + rig.out[r.COARSE] == pytest.approx(rig.s["washed"])


def test_stops_for_water_with_hysteresis():
    rig = Rig(low_water=50.0, back_water=120.0)
    for water, running, stops in ((60.0, 1, 0), (49.0, 0, 1), (60.0, 0, 1), (119.0, 0, 1), (121.0, 1, 1),
                                  (49.9, 0, 2)):  # fmt: skip
        rig.offer(water)
        rig.run(1.0)
        assert (rig.s["running"], rig.s["dry_stops"]) == (running, stops)
    assert rig.s["dry_time"] == 4.0 and rig.s["run_time"] == 2.0
    assert rig.s["flow"] == 0.0 and (rig.arena.streams == 0.0).all()


@pytest.mark.parametrize("by", ["calendar", "permit"])
def test_calendar_and_permit(by):
    rig = Rig(permit=0)
    rig.arena.tags[0] = 1.0
    rig.run(5.0)
    assert rig.s["running"] == 1 and rig.s["flow"] > 0.0
    if by == "calendar":
        rig.arena.source_s["on"] = 0
    else:
        rig.arena.tags[0] = 0.0
    rig.run(1.0)
    assert rig.s["running"] == 0 and rig.s["flow"] == 0.0


def test_ramp_is_first_order():
    """Load after one time constant of a start: 1 - 1/e, whatever the step."""
    for dt in (1.0, 10.0, 60.0):
        rig = Rig(dt=dt, ramp=120.0)
        rig.run(120.0)
        assert rig.s["load"] == pytest.approx(1.0 - math.exp(-1.0), abs=1e-12)
    rig.arena.source_s["on"] = 0
    rig.run(3600.0)
    assert rig.s["load"] == 0.0 and rig.s["flow"] == 0.0


def test_takes_no_more_water_than_there_is():
    rig = Rig()
    rig.offer(0.02)  # wants 0.0556 m3/s
    assert rig.run(1.0) == r.WARN_LOW
    assert rig.draw[r.VOLUME] == pytest.approx(0.02)
    # everything else goes down with the water: 2 m3/t wash, 0.1 m3/t kept, 10 % washed off
    assert rig.s["washed"] == pytest.approx(10.0)
    assert rig.arena.ledger[r.OUT_PRODUCT, r.VOLUME] == pytest.approx(0.001)
    assert rig.arena.ledger[r.IN_FEED, r.COARSE] == pytest.approx(0.2)
    assert rig.arena.offers[0, r.VOLUME] == pytest.approx(0.0, abs=1e-15)
    rig.run(1.0)
    assert rig.draw[r.VOLUME] == pytest.approx(0.02)


def test_wander_statistics():
    """Ornstein-Uhlenbeck: mean 0, variance sd^2, correlation exp(-lag/time), within sampling error.

    A record of length L of correlation time T holds about L/(2 T) independent values (Bendat & Piersol,
    Random Data, on the statistical errors of estimates, from memory); 4 standard errors are allowed.
    """
    sd, time, points = 0.15, 1800.0, 60_000
    rig = Rig(dt=60.0, wander_feed=sd, wander_fines=sd, wander_time=time)
    rig.run(60.0 * points, log=points)
    # the variance of the estimate of a variance has half the correlation time, the bound below covers both
    independent = points * 60.0 / (2.0 * time)
    for column in (1, 2):
        x = rig.log[100:, column]
        assert abs(x.mean()) < 4.0 * sd / math.sqrt(independent)
        assert x.var() == pytest.approx(sd * sd, rel=4.0 * math.sqrt(2.0 / independent))
        for lag in (5, 30, 60):
            correlation = np.mean(x[:-lag] * x[lag:]) / x.var()
            exact = math.exp(-lag * 60.0 / time)
            assert correlation == pytest.approx(exact, abs=4.0 / math.sqrt(independent))
        assert abs(np.mean((x / sd) ** 3)) < 0.3  # symmetric
    cross = np.corrcoef(rig.log[:, 1], rig.log[:, 2])[0, 1]
    assert abs(cross) < 4.0 / math.sqrt(independent)


def test_wander_does_not_depend_on_the_step():
    """Same seed, same simulated time: the same wander, bit for bit, for steps below and above its grid."""
    values = []
    for dt in (0.1, 1.0, 7.5, 60.0, 300.0):
        rig = Rig(dt=dt, wander_feed=0.2, wander_fines=0.1)
        rig.run(3000.0 + dt)  # the last step begins at 3000 s
        values.append((float(rig.s["wander_feed"]), float(rig.s["wander_fines"]), int(rig.s["random"])))
    assert len(set(values)) == 1 and values[0][0] != 0.0


def test_calm_turns_the_wander_off():
    rig = Rig(wander_feed=0.2, wander_fines=0.2)
    rig.arena.clock["calm"] = 1
    rig.run(3600.0)
    assert rig.s["washed"] == pytest.approx(100e3)
    rig.arena.clock["calm"] = 0
    rig.run(600.0)
    assert rig.s["wander_feed"] != 0.0


def test_measured_series():
    """Linear between rows, first value before them, last value after them; solids are the total measured."""
    rig = Rig(series=0, series_rows=3)
    rig.arena.tables[:9] = [100.0, 0.05, 50.0, 200.0, 0.07, 90.0, 300.0, 0.02, 10.0]
    rig.run(500.0, log=500)
    flow = rig.log[:, 0]
    expected = np.interp(np.arange(500.0), [100.0, 200.0, 300.0], [0.05, 0.07, 0.02])
    assert flow == pytest.approx(expected, rel=1e-12)
    assert rig.s["concentration"] == pytest.approx(10.0, rel=1e-12)  # the wash water's own 0.26 included
    ours = rig.arena.ledger[r.IN_FEED]
    assert ours[r.COARSE] / (ours[r.FINES] + ours[r.COLLOID]) == pytest.approx(0.02 / 0.08)
    saved = rig.arena.save()
    rig.run(100.0)
    after = rig.arena.save()
    rig.arena.restore(saved)
    rig.run(100.0)
    assert rig.arena.save() == after


@kernel
def run_supply(steps, dt, p, s, weather, actuators, streams, ledger):
    for _ in range(steps):
        step_supply(p, s, weather, actuators, streams, ledger, dt)


def test_supply():
    a = Arena({"supply_p": 1, "supply_s": 1, "actuator_s": 1, "streams": 1})
    for name, value in {
        "out": 0, "actuator": 0, "capacity": 0.02, "temperature": -99.0, "fines": 0.05, "colloid": 0.01,
    }.items():  # fmt: skip
        a.supply_p[name] = value
    a.weather["water"] = 9.0
    a.supply_s["available"] = 1.0
    a.actuator_s["position"] = 0.25

    def go(steps):
        run_supply(steps, 1.0, a.supply_p[0], a.supply_s[0], a.weather[0], a.actuator_s, a.streams, a.ledger)

    go(100)
    assert a.supply_s["flow"][0] == pytest.approx(0.005)
    assert a.supply_s["total"][0] == pytest.approx(0.5)
    assert a.ledger[r.IN_SUPPLY] == pytest.approx(a.streams[0] * 100.0, rel=1e-12)
    assert a.streams[0, r.HEAT] == pytest.approx(0.005 * 9.0)
    assert a.streams[0, r.FINES] == pytest.approx(0.005 * 0.05)
    a.supply_p["temperature"] = 15.0
    go(1)
    assert a.streams[0, r.HEAT] == pytest.approx(0.005 * 15.0)
    a.supply_s["available"] = 0.0
    go(1)
    assert a.supply_s["flow"][0] == 0.0 and (a.streams == 0.0).all()
    a.supply_s["available"], a.supply_p["actuator"] = 1.0, -1
    go(1)
    assert a.supply_s["flow"][0] == pytest.approx(0.02)
