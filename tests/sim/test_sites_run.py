"""A working morning of each invented site: it does what its comments say, in the ranges of the trade.

Ranges are common practice, no source, unless one is named.
"""

from __future__ import annotations

import functools

import numpy as np
import pytest
from nonsense import complaints_of
from plants import HOUR, column, named

from plantsim.analysis.closure import close, inventory
from plantsim.sim.simulation import Simulation

SITES = ("gravel-pit", "small-sand", "high-lift")
HOURS = 6.0
"""From half an hour before the shift to past the first break."""


@functools.cache
def morning(site):
    """A site after its morning, and what it held at the start."""
    sim = Simulation(named(site))
    start = inventory(sim.model.arena)
    sim.run(HOURS * HOUR)
    return sim, start


def of(site, name, begin=0.0, end=HOURS):
    """A recorded channel between two hours, SI."""
    series = column(morning(site)[0], name)
    return series[round(begin * 360) : round(end * 360) + 1]


@pytest.mark.parametrize("site", SITES)
def test_it_closes_and_holds_nothing_impossible(site):
    sim, start = morning(site)
    assert complaints_of(sim.model) == []
    assert max(row["gap"] for row in close(start, sim.model.arena).values()) < 1e-9


@pytest.mark.parametrize("site", SITES)
def test_it_washes_when_its_shift_says(site):
    """Nothing for half an hour, then all the time but the break; no interlock stops it."""
    running = of(site, "wash-plant.running")
    assert not running[:179].any()
    assert running[181:].sum() / 360.0 == pytest.approx(HOURS - 0.5 - 0.5, abs=0.02)


@pytest.mark.parametrize("site", SITES)
def test_clear_water_and_thick_mud(site):
    """Settled in: overflow fit for reuse (50 to 150 NTU), underflow 35 to 55 % solids, bed and torque in bounds."""
    names = [n for n, (kind, _) in morning(site)[0].model.units.items() if kind == "clarifier"]
    assert len(names) == (2 if site == "high-lift" else 1)
    for name in names:
        assert np.median(of(site, f"{name}.turbidity", 3.0, 4.4)) < 80.0
        drawn = of(site, f"{name}.underflow", 1.0) > 1.0 / HOUR
        mud = of(site, f"{name}.underflow_fraction", 1.0)[drawn]
        assert drawn.sum() > 60 and mud.min() > 0.35 and mud.max() < 0.55
        bed, torque = of(site, f"{name}.bed_level"), of(site, f"{name}.torque", 0.1)
        assert bed.min() > 0.6 and bed.max() < 3.0
        assert torque.min() > 0.05 and torque.max() < 0.5


def test_feed_of_high_lift_is_shared_alike():
    one, two = (of("high-lift", f"clarifier-{i}.feed_flow") for i in (1, 2))
    assert one.max() > 150.0 / HOUR
    np.testing.assert_allclose(one, two, rtol=1e-9)


def test_high_lift_runs_at_the_heads_of_its_design():
    """About 76 m in all, near 38 m a pump, at 320 to 350 m3/h: the sum of static head and Darcy friction."""
    flow = of("high-lift", "lift-line.flow", 2.0, 4.4)
    assert flow.min() * HOUR > 300.0 and flow.max() * HOUR < 370.0
    one, two = (of("high-lift", f"P-10{i}.head", 2.0, 4.4) for i in (1, 2))
    assert one.min() > 36.0 and one.max() < 40.0
    np.testing.assert_allclose(one, two, atol=0.3)
    static, friction = (of("high-lift", f"lift-line.{part}", 2.0, 4.4) for part in ("static_head", "friction_head"))
    # what is left moves the column: L/(g A) dQ/dt, 0.7 m for a m3/h in every second
    assert np.median(np.abs(one + two - static - friction)) < 0.1
    np.testing.assert_allclose(one + two, static + friction, atol=0.7)


def test_water_takes_ten_minutes_through_the_high_lift():
    """Transit is volume over flow: 58.9 m3, at the mean flow of the time it took."""
    sim = morning("high-lift")[0]
    transit = column(sim, "lift-line.transit")
    pumped = column(sim, "lift-line.pumped")
    for hour in (2.5, 3.5, 4.0):
        i = round(hour * 360)
        back = transit[i] / 10.0  # rows
        before = np.interp(i - back, np.arange(len(pumped)), pumped)
        assert pumped[i] - before == pytest.approx(np.pi / 4.0 * 0.25**2 * 1200.0, rel=0.02)
        assert 9.0 * 60.0 < transit[i] < 12.5 * 60.0


def test_the_high_lift_drains_back_into_its_sump():
    """After the pair has stopped the 58.9 m3 come back, but what stands level with the sump: a metre on 60 m2."""
    sim = morning("high-lift")[0]
    running, flow = column(sim, "P-101.running"), column(sim, "lift-line.flow")
    level, drained = column(sim, "sump.level"), column(sim, "lift-line.drained")
    stop = next(i for i in range(round(4.5 * 360), len(running)) if running[i] < 0.5)
    again = next(i for i in range(stop, len(running)) if running[i] > 0.5)
    assert again > stop + 18, "the lockout of three minutes holds"
    assert flow[stop:again].min() < -200.0 / HOUR
    back = drained[again - 1] - drained[stop]
    assert back == pytest.approx(58.9, abs=5.0)
    inflow = np.trapezoid(column(sim, "wash-plant.flow")[stop:again], dx=10.0)
    inflow += sum(np.trapezoid(column(sim, f"cells-{i}.decant_flow")[stop:again], dx=10.0) for i in (1, 2))
    rise = (level[again - 1] - level[stop]) * 60.0
    assert rise == pytest.approx(back + inflow, abs=2.0)


def test_the_on_off_pump_cycles_as_volume_and_flows_say():
    """T = V/inflow + V/(outflow - inflow) between the levels at which it starts and stops (wet-well design)."""
    running = of("small-sand", "P-101.running", 1.0, 5.4)
    starts = np.flatnonzero(np.diff(running) > 0)
    assert len(starts) >= 8
    measured = np.diff(starts).mean() * 10.0
    inflow = of("small-sand", "sump.inflow", 1.0, 5.4).mean()
    pumping = running > 0.5
    outflow = of("small-sand", "rising-main.flow", 1.0, 5.4)[pumping].mean()
    level = of("small-sand", "sump.level", 1.0, 5.4)
    volume = 4.0 * 2.5 * (np.percentile(level, 99) - np.percentile(level, 1))
    assert measured == pytest.approx(volume / inflow + volume / (outflow - inflow), rel=0.15)


def test_the_header_tank_smooths_what_the_pump_does():
    """The pump gives all or nothing; the gravity line swings by about a fifth about its mean."""
    pumped, fed = (of("small-sand", f"{line}.flow", 2.0, 5.4) for line in ("rising-main", "feed-line"))
    assert pumped.min() == 0.0 and pumped.max() > 130.0 / HOUR
    assert fed.min() > 60.0 / HOUR and fed.std() < 0.2 * fed.mean()
    assert of("small-sand", "header-tank.overflow").max() == 0.0


def test_the_press_works_in_batches():
    """Whole cycles of 20 to 90 min, and a full chamber of cake each: 1.6 m3 at 78 % solids hold 2.43 t."""
    sim = morning("small-sand")[0]
    cycles, cake = column(sim, "press.cycles")[-1], column(sim, "press.cake")[-1]
    assert cycles >= 2
    assert cake / cycles == pytest.approx(2430.0, rel=0.02)
    state = column(sim, "press.state")
    assert set(np.unique(state)) == {0.0, 1.0, 2.0, 3.0}
    begun = np.flatnonzero((state[1:] == 1.0) & (state[:-1] != 1.0))
    dropped = np.flatnonzero((state[1:] != 3.0) & (state[:-1] == 3.0))
    first = [(dropped[dropped > b][0] - b) / 6.0 for b in begun if (dropped > b).any()]
    assert min(first) > 20.0 and max(first) < 90.0


def test_small_sand_without_coagulant_is_murky():
    """Polymer alone sweeps the flocs and leaves the colloid: why one dosed coagulant in the first place."""
    sim = Simulation(named("small-sand", "flags.HS-111.start=0"))
    sim.run(4.0 * HOUR)
    murky = np.median(column(sim, "clarifier.turbidity")[1080:])
    clear = np.median(of("small-sand", "clarifier.turbidity", 3.0, 4.0))
    assert column(sim, "coagulant.dosed")[-1] == 0.0
    assert murky > 10.0 * clear and murky > 400.0
