"""Mud cells: sharing of the mud, the life of a cell, and closure of every component through all of it."""

import math

import numpy as np
import pytest

from plantsim.arena import Arena
from plantsim.jit import kernel
from plantsim.kernels.cell import FILM, step_bank
from plantsim.records import (
    CELL_DIG,
    CELL_DRAIN,
    CELL_DRY,
    CELL_FILL,
    CELL_LOST,
    CELL_READY,
    CLAY,
    COAG,
    COAG_BOUND,
    COARSE,
    FINES,
    HEAT,
    IN_RAIN,
    LEDGER_SIGN,
    NS,
    OUT_DISCHARGE,
    OUT_DUG,
    OUT_EVAPORATION,
    OUT_SEEP,
    OUT_SPILL,
    POLY,
    POLY_BOUND,
    VOLUME,
    WARN_CELL,
)

DAY = 86400.0
# invented mud of 35 % solids by mass, 447 kg/m3, with dissolved and bound chemicals: amounts per m3
MUD = np.array([1.0, 20.0, 427.0, 0.0, 120.0, 0.02, 0.4, 0.004, 0.12, 0.01, 15.0])


@kernel
def _run(p, s, cell_p, cell_s, cell_f, actuator_s, material, weather, streams, ledger, tick, steps, dt, given, taken):
    """Step the bank as a receiver upstream in the order of work sees it; returns the warnings met."""
    flags = 0
    for i in range(steps):
        for k in range(NS):
            given[k] += streams[p[0].inlet, k] * dt
            if p[0].decant >= 0:
                taken[k] += streams[p[0].decant, k] * dt
        flags |= step_bank(
            p[0], s[0], cell_p, cell_s, cell_f, actuator_s, material[0], weather[0], streams, ledger, tick + i, dt
        )  # fmt: skip
    return flags


class Yard:
    """A bank of invented cells: 400 m2, 1.2 m deep, of a clayey mud; 20 degC."""

    def __init__(self, cells=2, dt=10.0, every=6, decant=True, **parameters):
        a = self.arena = Arena(
            {"bank_p": 1, "bank_s": 1, "cell_p": cells, "cell_s": cells, "cell_f": cells,
             "actuator_s": cells, "streams": 2}
        )  # fmt: skip
        a.bank_p["decant"] = 1 if decant else -1
        a.bank_p["n_cells"], a.bank_p["every"] = cells, every
        values = {
            "area": 400.0, "depth": 1.2, "freeboard": 0.3, "lift": 0.4, "decant_rate": 1.0 / DAY,
            "decant_solids": 1e-3, "consolidation": 2e-8, "gel_void": 7.0, "final_void": 2.3, "shrink_void": 2.1,
            "dry_void": 0.8, "liquid_limit": 0.45, "plastic_limit": 0.25, "liquid_strength": 1700.0,
            "dig_strength": 5000.0, "dig_rate": 0.02, "drain_time": 3.0 * DAY,
        }  # fmt: skip
        for name, value in {**values, **parameters}.items():
            a.cell_p[name] = value
        a.cell_p["valve"] = np.arange(cells)
        a.material["solids_density"] = 2650.0
        a.weather["air"], a.weather["water"] = 20.0, 18.0
        self.dt, self.tick = dt, 0
        self.given, self.taken = np.zeros(NS), np.zeros(NS)
        self.flags = 0

    def valves(self, *positions):
        self.arena.actuator_s["position"] = positions

    def mud(self, flow, row=MUD):
        self.arena.streams[0] = flow * row

    def run(self, seconds):
        a = self.arena
        steps = round(seconds / self.dt)
        self.flags |= _run(
            a.bank_p, a.bank_s, a.cell_p, a.cell_s, a.cell_f, a.actuator_s, a.material, a.weather,
            a.streams, a.ledger, self.tick, steps, self.dt, self.given, self.taken,
        )  # fmt: skip
        self.tick += steps
        return self

    @property
    def cell(self):
        return self.arena.cell_s[0]

    def stores(self):
        c = self.arena.cell_s
        return c["mud"].sum(axis=0) + c["pond"].sum(axis=0) + c["buffer"].sum(axis=0)

    def closure(self):
        """Largest gap of any component over its throughput."""
        crossed = (LEDGER_SIGN[:, None] * self.arena.ledger).sum(axis=0)
        gap = self.stores() - self.given + self.taken - crossed
        through = self.given + np.abs(self.arena.ledger).sum(axis=0) + 1e-300
        return float(np.max(np.abs(gap[:HEAT]) / through[:HEAT]))


def test_the_mud_is_shared_by_the_openings():
    yard = Yard(cells=3, every=1000)
    yard.valves(0.25, 0.0, 0.75)
    yard.mud(0.02)
    yard.run(600.0)
    received = yard.arena.cell_s["buffer"]
    np.testing.assert_allclose(received[0], 0.25 * 600 * 0.02 * MUD, rtol=1e-12)
    np.testing.assert_allclose(received[2], 0.75 * 600 * 0.02 * MUD, rtol=1e-12)
    assert np.all(received[1] == 0.0)
    assert yard.arena.bank_s["opening"][0] == 1.0
    assert yard.arena.bank_s["filling"][0] == 1.0


def test_mud_on_its_way_when_the_valve_shuts_goes_where_it_went():
    yard = Yard(cells=3, every=1000)
    yard.valves(0.0, 1.0, 0.0)
    yard.mud(0.02)
    yard.run(100.0)
    yard.valves(0.0, 0.0, 0.0)
    yard.run(10.0)
    assert yard.arena.bank_s["opening"][0] == 0.0
    assert yard.arena.cell_s["buffer"][1, VOLUME] == pytest.approx(110 * 0.02, rel=1e-12)
    yard.mud(0.0)
    yard.run(10.0)
    assert yard.arena.bank_s["filling"][0] == 0.0
    assert yard.closure() < 1e-14


def _life(decant=True, **parameters):
    """Fill a first lift and a second, drain, dry, dig out; the states met and the days each began."""
    yard = Yard(decant=decant, seep=1e-9, **parameters)
    yard.arena.weather["evaporation"] = 6e-3 / DAY
    seen = []

    def pass_days(days):
        for _ in range(round(days * 24)):
            yard.run(3600.0)
            if not seen or seen[-1][0] != yard.cell["state"]:
                seen.append((int(yard.cell["state"]), yard.tick * yard.dt / DAY))

    yard.valves(1.0, 0.0)
    yard.mud(0.003)
    pass_days(0.5)
    yard.valves(0.0, 0.0)
    yard.mud(0.0)
    pass_days(12.0)
    yard.valves(1.0, 0.0)
    yard.mud(0.002)
    pass_days(0.5)
    yard.valves(0.0, 0.0)
    yard.mud(0.0)
    yard.arena.weather["rain"] = 12e-3 / DAY
    pass_days(1.0)
    yard.arena.weather["rain"] = 0.0
    while yard.cell["strength"] < 5000.0 and yard.tick * yard.dt < 120 * DAY:
        pass_days(1.0)
    yard.arena.cell_s["digging"][0] = 1
    pass_days(1.0)
    return yard, seen


def test_a_whole_life_closes_every_component():
    yard, seen = _life()
    assert [state for state, _ in seen] == [
        CELL_FILL, CELL_DRAIN, CELL_DRY, CELL_FILL, CELL_DRAIN, CELL_DRY, CELL_DIG, CELL_READY,
    ]  # fmt: skip
    cell, ledger = yard.cell, yard.arena.ledger
    assert cell["fills"] == 2 and cell["digging"] == 0 and yard.flags == 0
    assert yard.arena.bank_s["ready"][0] == 2.0
    for row in (IN_RAIN, OUT_EVAPORATION, OUT_SEEP, OUT_DUG):
        assert ledger[row, VOLUME] > 0.0
    assert ledger[OUT_SPILL, VOLUME] == 0.0
    assert yard.closure() < 1e-12
    # all coarse left with the digger; the fines too but for what the decanted water carried
    assert ledger[OUT_DUG, COARSE] == pytest.approx(yard.given[COARSE], rel=1e-12)
    assert ledger[OUT_DUG, FINES] + yard.taken[FINES] + cell["pond"][FINES] == pytest.approx(
        yard.given[FINES], rel=1e-12
    )
    assert 0.0 < yard.taken[FINES] < 1e-3 * yard.given[FINES]
    # dug mud holds its pore water, at about the strength asked for
    water = ledger[OUT_DUG, VOLUME] - (ledger[OUT_DUG, COARSE] + ledger[OUT_DUG, FINES]) / 2650.0
    assert 0.3 < 998.0 * water / (ledger[OUT_DUG, COARSE] + ledger[OUT_DUG, FINES]) < 0.45
    # dissolved matter went with the water, what the solids hold stayed with them
    assert ledger[OUT_DUG, POLY_BOUND] / yard.given[POLY_BOUND] > 0.999
    assert ledger[OUT_DUG, COAG_BOUND] / yard.given[COAG_BOUND] > 0.999
    assert yard.taken[COAG] / yard.given[COAG] > 0.05
    assert ledger[OUT_EVAPORATION, 1:HEAT].sum() == 0.0
    assert ledger[OUT_SEEP, COAG] > 0.0 and ledger[OUT_SEEP, FINES] == 0.0


def test_water_let_off_outside_the_plant_is_a_discharge():
    inside, _ = _life()
    outside, _ = _life(decant=False)
    assert outside.closure() < 1e-12
    np.testing.assert_allclose(outside.arena.ledger[OUT_DISCHARGE], inside.taken, rtol=1e-9)
    assert np.all(inside.arena.ledger[OUT_DISCHARGE] == 0.0)


def test_overtopping_takes_the_pond_first_and_loses_the_cell():
    yard = Yard(cells=1, decant_rate=0.0)
    yard.valves(1.0)
    yard.mud(0.01)
    capacity = 400.0 * 1.2
    yard.run(0.99 * capacity / 0.01)
    assert yard.flags == 0 and yard.cell["full"] == 1.0 and yard.cell["state"] == CELL_FILL
    assert yard.cell["height"] == pytest.approx(0.99 * 1.2, rel=2e-3)
    pond = float(yard.cell["pond"][VOLUME])
    assert pond > 0.0
    yard.run(0.01 * capacity / 0.01 + 60.0)
    assert yard.flags == WARN_CELL  # a splash is said at once
    assert 0.0 < yard.cell["overtopped"] < 1.0 and yard.cell["state"] == CELL_FILL
    yard.run(300.0)
    assert yard.cell["state"] == CELL_LOST
    spill = yard.arena.ledger[OUT_SPILL]
    assert spill[COARSE] == 0.0  # so far only pond water
    yard.run(2.0 * DAY)
    assert yard.arena.ledger[OUT_SPILL, COARSE] > 0.0  # then the mud itself
    assert yard.cell["height"] == pytest.approx(1.2, rel=1e-9)
    assert yard.cell["overtopped"] == pytest.approx(spill[VOLUME], rel=1e-12)
    assert yard.arena.bank_s["overtopped"][0] == pytest.approx(spill[VOLUME], rel=1e-12)
    assert yard.closure() < 1e-12
    # once lost, closing the valve does not bring it back
    yard.valves(0.0)
    yard.mud(0.0)
    yard.run(10 * DAY)
    assert yard.cell["state"] == CELL_LOST and yard.arena.bank_s["ready"][0] == 0.0
    # an event that rebuilds the wall does
    yard.arena.cell_s["overtopped"], yard.arena.cell_s["state"] = 0.0, CELL_DRAIN
    yard.run(DAY)
    assert yard.cell["state"] == CELL_DRAIN


def test_a_leak_empties_the_pond_and_runs_mud_only_while_it_is_liquid():
    yard = Yard(cells=1, decant_rate=0.0)
    yard.valves(1.0)
    yard.mud(0.005)
    yard.run(0.5 * DAY)
    yard.valves(0.0)
    yard.mud(0.0)
    yard.run(DAY)
    yard.arena.cell_f["leak"] = 2e-3
    pond = float(yard.cell["pond"][VOLUME])
    yard.run(60.0 * round(0.5 * pond / 2e-3 / 60.0))
    spill = yard.arena.ledger[OUT_SPILL]
    assert spill[VOLUME] == pytest.approx(0.5 * pond, rel=0.02) and spill[COARSE] == 0.0
    yard.run(2 * DAY)
    assert spill[COARSE] > 0.0 and yard.closure() < 1e-12
    # dried below its liquid limit it stands: e < LL Gs
    stiff = Yard(cells=1)
    stiff.arena.cell_s["mud"][0] = [100.0 * 2.0, 0.0, 265000.0, 0, 0, 0, 0, 0, 0, 0, 3000.0]
    stiff.arena.cell_s["void"], stiff.arena.cell_s["start_void"], stiff.arena.cell_s["end_void"] = 1.0, 1.0, 1.0
    stiff.arena.cell_f["leak"] = 2e-3
    stiff.run(DAY)
    assert np.all(stiff.arena.ledger[OUT_SPILL] == 0.0)


def test_thin_mud_sheds_its_water_and_clear_water_leaves_no_mud():
    # 40 kg/m3, as when an underflow valve draws water through a hole in the bed
    yard = Yard(cells=1, decant_rate=0.0)
    thin = MUD * 40.0 / 447.0
    thin[VOLUME] = 1.0
    yard.valves(1.0)
    yard.mud(0.02, thin)
    yard.run(3600.0)
    assert yard.cell["void"] <= 7.0
    assert yard.cell["pond"][VOLUME] > 0.8 * yard.given[VOLUME]
    assert yard.closure() < 1e-13
    water = Yard(cells=1, decant_rate=0.0)
    clear = np.zeros(NS)
    clear[VOLUME], clear[HEAT] = 1.0, 15.0
    water.valves(1.0)
    water.mud(0.02, clear)
    water.run(3600.0)
    assert water.cell["mud"][VOLUME] < 1e-12
    assert water.cell["pond"][VOLUME] == pytest.approx(72.0, rel=1e-12)
    assert water.cell["strength"] == 0.0


def test_a_new_lift_on_dry_mud_consolidates_from_its_own_start():
    yard = Yard(cells=1, decant_solids=0.0, area=2000.0)
    solids = 100.0
    yard.arena.cell_s["mud"][0, [VOLUME, FINES]] = solids * 2.0, solids * 2650.0  # e = 1, dried
    yard.arena.cell_s["void"] = 1.0
    yard.arena.cell_s["start_void"], yard.arena.cell_s["end_void"] = 6.0, 2.3
    yard.valves(1.0)
    new = np.zeros(NS)
    new[[VOLUME, FINES]] = 1.0, 2650.0 / 6.0  # e = 5
    yard.mud(6.0 * solids / 60.0, new)  # as much solids again in one interval
    yard.run(60.0)
    c = yard.cell
    assert c["start_void"] == pytest.approx(3.0, rel=1e-9)  # mean of 1 and 5
    assert c["end_void"] == pytest.approx(1.65, rel=1e-9)  # mean of 1 and 2.3
    yard.valves(0.0)
    yard.mud(0.0)
    yard.arena.cell_p["consolidation"] = 1.0  # in no time
    yard.run(60.0)
    assert c["void"] == pytest.approx(1.65, rel=1e-9)
    # the old mud was not wetted or pressed further: all the water came from the new, (5 - 2.3) per solids
    released = yard.stores()[VOLUME] - float(yard.cell["mud"][VOLUME]) + yard.taken[VOLUME]
    assert released == pytest.approx(2.7 * solids, rel=1e-9)


def test_released_water_carries_the_stated_fines_with_their_share_of_clay_and_chemicals():
    yard = Yard(cells=1, decant_rate=0.0, consolidation=1.0, gel_void=0.0)
    yard.valves(1.0)
    yard.mud(1.0)
    yard.run(60.0)
    pond = yard.cell["pond"]
    water = pond[VOLUME] - pond[FINES] / 2650.0
    assert pond[FINES] / water == pytest.approx(1e-3 * 427.0, rel=1e-9)
    assert pond[CLAY] / pond[FINES] == pytest.approx(120.0 / 427.0, rel=1e-12)
    assert pond[COAG_BOUND] / pond[FINES] == pytest.approx(0.4 / 427.0, rel=1e-12)
    assert pond[COARSE] == 0.0
    # dissolved matter is as strong in the pond as in the pores
    pores = yard.cell["mud"][VOLUME] - (yard.cell["mud"][COARSE] + yard.cell["mud"][FINES]) / 2650.0
    assert pond[COAG] / water == pytest.approx(yard.cell["mud"][COAG] / pores, rel=1e-9)
    assert pond[POLY] / water == pytest.approx(yard.cell["mud"][POLY] / pores, rel=1e-9)


def test_the_pond_is_let_off_at_first_order_and_evenly():
    yard = Yard(cells=1, dt=60.0, every=60)  # an hour between slow steps
    yard.arena.cell_s["pond"][0, VOLUME] = 40.0
    yard.run(3600.0)  # the weir is set at the first slow step
    yard.run(DAY)
    # dV/dt = -V / day for one day
    assert yard.cell["pond"][VOLUME] == pytest.approx(40.0 * math.exp(-1.0), rel=1e-12)
    assert yard.taken[VOLUME] == pytest.approx(40.0 * (1.0 - math.exp(-1.0)), rel=1e-12)
    flow = float(yard.arena.bank_s["decant_flow"][0])
    yard.run(1800.0)
    assert yard.arena.bank_s["decant_flow"][0] == flow == yard.arena.streams[1, VOLUME]


def test_digging_waits_for_strength_for_puddles_and_for_the_crew():
    yard = Yard(cells=1, decant_rate=0.0)
    solids = 60.0
    yard.arena.cell_s["mud"][0, [VOLUME, FINES, HEAT]] = solids * 2.1, solids * 2650.0, solids * 2.1 * 18.0
    yard.arena.cell_s["void"] = yard.arena.cell_s["start_void"] = yard.arena.cell_s["end_void"] = 1.1
    yard.arena.cell_s["state"] = CELL_DRY
    yard.arena.cell_s["digging"] = 1
    yard.run(3600.0)
    assert 1000.0 < yard.cell["strength"] < 5000.0 and yard.cell["state"] == CELL_DRY  # too soft
    yard.arena.cell_p["dig_strength"] = 1000.0
    yard.run(60.0)
    assert yard.cell["state"] == CELL_DIG
    yard.arena.cell_s["digging"] = 0  # the shift ends
    before = float(yard.cell["mud"][VOLUME])
    yard.run(3600.0)
    assert yard.cell["state"] == CELL_DIG and yard.cell["mud"][VOLUME] == before
    yard.arena.cell_s["digging"] = 1
    yard.arena.cell_s["pond"][0, VOLUME] = 2.0 * FILM * 400.0
    yard.run(3600.0)
    assert yard.cell["mud"][VOLUME] == before  # under water
    yard.arena.cell_s["pond"][0, VOLUME] = 0.0
    yard.run(3600.0)
    assert before - yard.cell["mud"][VOLUME] == pytest.approx(72.0, rel=1e-9)  # 0.02 m3/s
    yard.valves(1.0)
    yard.run(60.0)
    assert yard.cell["state"] == CELL_FILL and yard.cell["digging"] == 0  # nobody digs where mud may flow


def test_random_lives_stay_closed_and_never_go_below_zero():
    rng = np.random.default_rng(20)
    for decant in (True, False):
        quick = {"consolidation": 5e-7, "drain_time": 6 * 3600.0, "dig_strength": 1e-3}
        yard = Yard(cells=3, decant=decant, seep=5e-9, area=150.0, **quick)
        for _ in range(150):
            positions = np.where(rng.random(3) < 0.15, rng.random(3), 0.0)
            yard.valves(*positions)
            row = MUD * rng.uniform(0.02, 2.0)
            row[[VOLUME, HEAT]] = 1.0, 15.0
            yard.mud(rng.uniform(0.0, 0.01) if positions.any() else 0.0, row)
            yard.arena.weather["rain"] = rng.choice([0.0, 0.0, 0.0, 20e-3 / DAY])
            yard.arena.weather["evaporation"] = rng.choice([0.0, 5e-3 / DAY, 60e-3 / DAY])
            yard.arena.cell_f["leak"] = np.where(rng.random(3) < 0.05, 1e-3, 0.0)
            yard.arena.cell_s["digging"] = rng.integers(0, 2, 3)
            if rng.random() < 0.3:
                yard.arena.cell_s["overtopped"], yard.arena.cell_s["state"] = 0.0, CELL_DRAIN
            yard.run(rng.integers(1, 4000) * 10.0)
            for store in ("mud", "pond", "buffer", "release"):
                assert np.all(yard.arena.cell_s[store] >= 0.0)
            assert all(np.all(np.isfinite(yard.arena.cell_s[name])) for name in yard.arena.cell_s.dtype.names)
        assert yard.closure() < 1e-12
        visited = yard.arena.ledger[[IN_RAIN, OUT_EVAPORATION, OUT_SEEP, OUT_DUG, OUT_SPILL], VOLUME]
        assert np.all(visited > 0.0)


def test_shorter_slow_steps_converge_at_first_order():
    def end(every):
        yard = Yard(cells=1, dt=60.0, every=every)
        yard.arena.cell_s["mud"][0, [VOLUME, FINES]] = 50 * 6.0, 50 * 2650.0
        yard.arena.cell_s["void"] = yard.arena.cell_s["start_void"] = 5.0
        yard.arena.cell_s["end_void"] = 2.3
        yard.arena.weather["evaporation"] = 6e-3 / DAY
        yard.run(20.0 * DAY)
        return float(yard.cell["void"])

    minute, hour, two, four = end(1), end(60), end(120), end(240)
    assert abs(hour - minute) < 1e-4 * minute
    assert (four - minute) / (two - minute) == pytest.approx(2.0, rel=0.1)
    assert (two - minute) / (hour - minute) == pytest.approx(2.0, rel=0.1)


def test_a_save_point_holds_the_whole_bank():
    yard = Yard(cells=2)
    yard.valves(1.0, 0.0)
    yard.mud(0.003)
    yard.arena.weather["evaporation"] = 6e-3 / DAY
    yard.run(DAY + 30.0)
    saved, tick = yard.arena.save(), yard.tick
    yard.run(DAY)
    after = yard.arena.save()
    yard.arena.restore(saved)
    yard.tick = tick
    yard.run(DAY)
    assert yard.arena.save() == after


def test_states_have_the_numbers_the_tests_read():
    assert (CELL_READY, CELL_FILL, CELL_DRAIN, CELL_DRY, CELL_DIG, CELL_LOST) == (0, 1, 2, 3, 4, 5)
