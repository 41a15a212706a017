"""What a plant holds and whether its balances close, on stores and ledgers made by hand."""

from __future__ import annotations

import numpy as np
import pytest
from plant_by_hand import DENSITY, LAYERS, arena

from plantsim import records
from plantsim.analysis.closure import MATERIALS, PROMISE, amounts, balance, close, inventory
from plantsim.records import COARSE, COLLOID, FINES, NS, VOLUME

ROW = np.array([2.0, 10.0, 20.0, 3.0, 4.0, 0.5, 0.25, 0.125, 0.0625, 0.03125, 24.0])
"""Two cubic metres with something of everything in them."""


def test_empty_plant_holds_only_its_clarifier_water():
    a = arena()
    held = inventory(a)
    assert held[VOLUME] == 10.0 + 10.0 + 8.0 + 4.0
    assert not held[1:].any()


@pytest.mark.parametrize(
    ("array", "field"),
    [("vessel_s", "content"), ("makedown_s", "tank"), ("makedown_s", "day"), ("doser_s", "filtered"),
     ("cell_s", "mud"), ("cell_s", "pond"), ("cell_s", "buffer"), ("press_s", "held")],
)  # fmt: skip
def test_every_store_counts_once(array, field):
    a = arena()
    before = inventory(a)
    a.arrays[array][field][-1] = ROW
    np.testing.assert_allclose(inventory(a) - before, ROW, rtol=1e-15)


def test_water_let_off_a_cell_is_not_owed():
    """The weir takes water from the pond in the step in which it arrives elsewhere: the rate is no store."""
    a = arena()
    before = inventory(a)
    a.cell_s["release"][0] = ROW
    np.testing.assert_array_equal(inventory(a), before)


@pytest.mark.parametrize(("array", "sand", "water"), [("vessel_s", "sand", "sand_water"),
                                                      ("line_s", "deposit", "deposit_water")])  # fmt: skip
def test_sand_counts_with_its_own_volume_and_its_pore_water(array, sand, water):
    a = arena()
    before = inventory(a)
    a.arrays[array][sand][0] = 265.0
    a.arrays[array][water][0] = 0.07
    change = inventory(a) - before
    assert change[COARSE] == 265.0
    assert change[VOLUME] == pytest.approx(0.1 + 0.07, rel=1e-12)
    assert amounts(change, DENSITY)["water"] == pytest.approx(0.07, rel=1e-12)


def test_parcels_of_a_ring_that_wraps_count_once_and_the_inlet_row_not_at_all():
    a = arena()
    a.plug_p["pool"][1], a.plug_p["rows"][1] = 8, 8  # ring of seven rows, 8..14; row 15 mixes the inlet
    a.plug_s["head"][1], a.plug_s["count"][1] = 5, 4  # rows 13, 14, 8, 9
    for i, row in enumerate((13, 14, 8, 9)):
        a.parcels[row, VOLUME] = 0.5
        a.parcels[row, FINES] = 10.0 * (i + 1)
    a.parcels[10] = 99.0  # left over from before: outside the ring's parcels
    a.parcels[15] = 99.0
    held = inventory(a, ("plug",))
    assert held[VOLUME] == 2.0
    assert held[FINES] == pytest.approx(0.5 * (10 + 20 + 30 + 40))


def test_clarifier_counts_its_partly_filled_top_layer_and_nothing_above():
    a = arena()
    a.clarifier_s["top"], a.clarifier_s["top_volume"] = 1, 6.0
    layers = a.layers.reshape(records.NS, LAYERS)
    layers[FINES] = (99.0, 1.0, 2.0, 3.0)  # the first layer is empty, whatever stands in it
    layers[COLLOID] = (99.0, 0.5, 0.5, 0.5)
    layers[0] = 77.0  # the sum of solids, no volume
    held = inventory(a, ("clarifier",))
    assert held[VOLUME] == 6.0 + 8.0 + 4.0
    assert held[FINES] == 6.0 * 1.0 + 8.0 * 2.0 + 4.0 * 3.0
    assert held[COLLOID] == 0.5 * 18.0


def test_amounts_follow_the_definitions():
    given = amounts(ROW, DENSITY)
    assert given["water"] == pytest.approx(2.0 - 33.0 / 2650.0, rel=1e-15)
    assert (given["coarse"], given["fines"], given["colloid"]) == (10.0, 20.0, 3.0)
    assert given["coagulant"] == 0.75
    assert given["polymer"] == 0.125 + 0.0625 + 0.03125


def _moved(amount: float = 1.0):
    """A plant that took in `ROW`, lost a quarter of it, and let some colloid join the fines."""
    a = arena()
    start = inventory(a)
    a.ledger[records.IN_FEED] = ROW
    a.ledger[records.OUT_SPILL] = 0.25 * ROW
    a.ledger[records.REACTION, [FINES, COLLOID]] = (1.5, -1.5)
    a.vessel_s["content"][0] = 0.75 * ROW * amount
    a.vessel_s["content"][0][[FINES, COLLOID]] += (1.5, -1.5)
    return start, a


def test_a_sound_ledger_closes():
    closed = close(*_moved())
    assert tuple(closed) == MATERIALS
    for name, row in closed.items():
        assert row["gap"] < 1e-15, name
    assert closed["coarse"] == {"in": 10.0, "out": 2.5, "reaction": 0.0, "change": 7.5, "gap": 0.0}
    assert closed["fines"]["reaction"] == 1.5
    assert closed["fines"]["change"] == pytest.approx(20.0 - 5.0 + 1.5)
    assert closed["water"]["in"] == pytest.approx(2.0 - 33.0 / 2650.0)


def test_a_millionth_lost_is_seen_and_measured_by_what_went_through():
    closed = close(*_moved(1.0 - 1e-6))
    assert closed["coarse"]["gap"] == pytest.approx(1e-6 * 7.5 / 10.0, rel=1e-6)
    assert all(row["gap"] > PROMISE for row in closed.values())


def test_gap_is_measured_by_what_is_held_when_little_moves():
    a = arena()
    a.vessel_s["content"][0, FINES] = 1000.0
    start = inventory(a)
    a.vessel_s["content"][0, FINES] = 1001.0
    assert close(start, a)["fines"]["gap"] == pytest.approx(1.0 / 1001.0)


def test_closure_and_balance_can_begin_at_a_later_ledger():
    start, a = _moved()
    ledger = a.ledger.copy()
    start = inventory(a)
    a.ledger[records.IN_SUPPLY, VOLUME] += 3.0
    a.vessel_s["content"][0, VOLUME] += 3.0
    closed = close(start, a, ledger)
    assert closed["water"]["in"] == 3.0
    assert closed["water"]["gap"] < 1e-15
    assert balance(a, ledger)["feed"]["solids"] == 0.0


def test_balance_lists_every_way_over_the_boundary():
    _, a = _moved()
    listed = balance(a)
    assert tuple(listed) == records.LEDGER_ROWS[:-1]
    assert listed["feed"]["solids"] == 33.0
    assert listed["spill"]["solids"] == 33.0 / 4
    assert listed["supply"] == dict.fromkeys((*MATERIALS, "solids"), 0.0)
    entered = sum(listed[name]["fines"] for name in ("feed", "supply", "chemical", "rain"))
    assert entered == close(np.zeros(NS), a)["fines"]["in"]
