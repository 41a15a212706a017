"""The ring of parcels: books, draining back, reaction once and for the whole stay, a full ring."""

from __future__ import annotations

import numpy as np
import pytest

from plantsim import records
from plantsim.arena import Arena
from plantsim.jit import entry
from plantsim.kernels.chemistry import react
from plantsim.kernels.plug import (
    add_content,
    age,
    disperse,
    fill,
    inlet_row,
    next_temperature,
    plug_rows,
    pop,
    push,
    take_back,
)
from plantsim.records import COAG, COAG_BOUND, COARSE, COLLOID, FINES, HEAT, NS, POLY, REACTION, VOLUME


@entry
def _push(p, s, parcels, row, now):
    for k in range(NS):
        parcels[inlet_row(p), k] = row[k]
    push(p, s, parcels, now)


@entry
def _disperse(p, s, parcels, moved):
    disperse(p, s, parcels, moved)


@entry
def _leave(back, p, s, parcels, volume, streams, factor, reacts, now, m, ledger):
    if back:
        return take_back(p, s, parcels, volume, streams, 0, factor, reacts, now, m, ledger)
    return pop(p, s, parcels, volume, streams, 0, factor, reacts, now, m, ledger)


@entry
def _first(p, s, parcels, now):
    return age(p, s, parcels, now), next_temperature(p, s, parcels, -1.0)


class Plug:
    def __init__(self, volume=10.0, parcel=0.5, mixing=0.0, rows=None):
        rows = rows or plug_rows(volume, parcel)
        self.a = a = Arena(dict(plug_p=1, plug_s=1, parcels=rows + 3, streams=1))
        # not at the start of the pool, so that the offset is tried as well
        for name, value in dict(pool=3, rows=rows, volume=volume, parcel=parcel, mixing=mixing).items():
            a.plug_p[name][0] = value
        for name, value in dict(
            solids_density=2650.0, coag_demand=1e-3, coag_width=0.4, coag_capacity=2.0, coag_mix_time=20.0,
            coag_time=120.0, poly_optimum=1e-4, poly_gain=10.0, poly_time=15.0, poly_capacity=3.0,
            poly_best_solids=1e3, poly_solids_width=0.7, clay_slowing=2.0,
        ).items():  # fmt: skip
            a.material[name][0] = value
        self.p, self.s = a.plug_p[0], a.plug_s[0]

    def push(self, row, now=0.0):
        _push(self.p, self.s, self.a.parcels, np.asarray(row, float), now)

    def leave(self, volume, now=0.0, back=False, reacts=False):
        self.a.streams[0] = 0.0
        _leave(
            back, self.p, self.s, self.a.parcels, volume, self.a.streams, 1.0, reacts, now, self.a.material[0],
            self.a.ledger,
        )  # fmt: skip
        return self.a.streams[0].copy()

    def content(self):
        row = np.zeros(NS)
        add_content(self.p, self.s, self.a.parcels, row)
        return row


def liquid(volume, **classes):
    row = np.zeros(NS)
    row[VOLUME] = volume
    row[HEAT] = 20.0 * volume
    for name, value in classes.items():
        row[records.ROW_NAMES.index(name)] = value * volume
    return row


@pytest.mark.parametrize("mixing", [0.0, 0.3, 0.5])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_books_close_over_any_coming_and_going(mixing, seed):
    rng = np.random.default_rng(seed)
    plug = Plug(mixing=mixing)
    total_in, total_out = np.zeros(NS), np.zeros(NS)
    for step in range(3000):
        row = rng.uniform(0.0, 5.0, NS)
        row[VOLUME] = rng.uniform(0.0, 1.2) if rng.random() < 0.8 else 0.0
        row[1:] *= row[VOLUME]
        total_in += row
        plug.push(row, float(step))
        _disperse(plug.p, plug.s, plug.a.parcels, row[VOLUME])
        if rng.random() < 0.2:
            total_out += plug.leave(rng.uniform(0.0, 4.0), step, back=True, reacts=True)
        over = plug.s["filled"] - 10.0
        if over > 0.0:
            total_out += plug.leave(over, step, reacts=True)
        assert plug.s["filled"] <= 10.0 + 1e-9
        assert plug.s["count"] < plug.p["rows"]
    held = plug.content()
    gained = plug.a.ledger[REACTION]
    assert np.abs((total_in + gained - total_out - held) / total_in)[:HEAT].max() < 1e-12
    assert held[VOLUME] == pytest.approx(plug.s["filled"], rel=1e-11)
    assert held[COARSE] + held[FINES] + held[COLLOID] == pytest.approx(plug.s["solids"], rel=1e-9)
    assert (plug.a.parcels[:-1] >= 0.0).all()  # the last row is for mixing the inlet


def test_draining_back_returns_the_newest_and_leaves_the_outlet_empty():
    plug = Plug(volume=10.0, parcel=0.5)
    for i in range(20):
        plug.push(liquid(0.5, coarse=float(i)))
    # the newest come back first: 19, 18, then half of 17
    back = plug.leave(1.25, back=True)
    assert back[VOLUME] == pytest.approx(1.25, rel=1e-14)
    assert back[COARSE] == pytest.approx(0.5 * 19 + 0.5 * 18 + 0.25 * 17, rel=1e-14)
    assert plug.s["filled"] == pytest.approx(8.75)
    # refilled: the half parcel is topped up first; then the oldest leave, unchanged
    plug.push(liquid(1.25, coarse=100.0))
    assert plug.s["filled"] == pytest.approx(10.0)
    assert plug.leave(0.75)[COARSE] == pytest.approx(0.5 * 0 + 0.25 * 1, abs=1e-12)


def test_draining_back_empties_and_stays_empty():
    plug = Plug()
    plug.push(liquid(3.3, fines=2.0))
    back = plug.leave(5.0, back=True)
    assert back[VOLUME] == pytest.approx(3.3)
    assert (plug.s["count"], plug.s["filled"], plug.s["solids"]) == (0, 0.0, 0.0)
    assert plug.leave(1.0)[VOLUME] == 0.0
    assert _first(plug.p, plug.s, plug.a.parcels, 10.0) == (0.0, -1.0)


def reacted(seconds, **classes):
    """One cubic metre that has reacted for some seconds in one go."""
    plug = Plug()
    row = liquid(1.0, **classes)
    react(row, seconds, plug.a.material[0], np.zeros((records.N_LEDGER, NS)), 1.0)
    return row


CHEMICALS = dict(fines=8.0, colloid=1.0, coagulant=0.008, polymer=5e-4)


def test_a_parcel_reacts_once_for_its_whole_stay():
    plug = Plug(volume=10.0, parcel=1.0)
    for i in range(10):
        plug.push(liquid(1.0, **CHEMICALS), now=10.0 * i)
    now = 100.0
    # the oldest entered at 0 and leaves in four bites within one instant: 100 s of reaction in all of them
    whole = reacted(100.0, **CHEMICALS)
    for _ in range(4):
        got = plug.leave(0.25, now, reacts=True)
        assert got[1:] == pytest.approx(0.25 * whole[1:], rel=1e-12)
    gained = plug.a.ledger[REACTION]
    assert gained[COAG_BOUND] == pytest.approx(whole[COAG_BOUND], rel=1e-12)
    assert gained[COAG] == pytest.approx(-whole[COAG_BOUND], rel=1e-12)
    # the newest, taken back, has had its 10 s
    back = plug.leave(0.5, now, back=True, reacts=True)
    assert back[1:] == pytest.approx(0.5 * reacted(10.0, **CHEMICALS)[1:], rel=1e-12)


def test_a_parcel_that_leaves_slowly_goes_on_reacting_to_within_a_tenth():
    # binding of coagulant is first order, 1 - exp(-t / 20 s) of what was there
    plug = Plug(volume=10.0, parcel=10.0)
    plug.push(liquid(10.0, fines=8.0, coagulant=0.004), now=0.0)
    for now in range(1, 80):
        got = plug.leave(0.1, float(now), reacts=True)
        bound = got[COAG_BOUND] / (got[COAG] + got[COAG_BOUND])
        late, soon = 1.0 - np.exp(-0.9 * now / 20.0), 1.0 - np.exp(-now / 20.0)
        assert late - 1e-9 <= bound <= soon + 1e-9


def test_a_dosing_line_does_not_react():
    plug = Plug(volume=5.0)
    plug.push(liquid(5.0, **CHEMICALS))
    got = plug.leave(2.0, 500.0, reacts=False)
    assert got[POLY] == pytest.approx(2.0 * CHEMICALS["polymer"], rel=1e-14)
    assert not plug.a.ledger.any()


def test_a_full_ring_blurs_but_loses_nothing():
    plug = Plug(volume=10.0, parcel=0.5, rows=6)  # far too few rows
    pushed = 0.0
    for i in range(40):
        plug.push(liquid(0.25, coarse=float(i)))
        pushed += 0.25 * i
    assert plug.s["count"] == 5
    assert plug.content()[COARSE] == pytest.approx(pushed, rel=1e-13)


def test_age_and_temperature_of_what_leaves_next():
    plug = Plug(parcel=0.5)
    plug.push(liquid(0.5), now=10.0)
    plug.push(liquid(0.5), now=20.0)
    assert _first(plug.p, plug.s, plug.a.parcels, 110.0) == (100.0, pytest.approx(20.0))
    plug.leave(0.5)
    assert _first(plug.p, plug.s, plug.a.parcels, 110.0) == (90.0, pytest.approx(20.0))


def test_fill():
    plug = Plug(volume=7.3, parcel=0.5)
    row = np.zeros(NS)
    row[FINES], row[HEAT] = 3.0, 12.0
    fill(plug.p, plug.s, plug.a.parcels, 7.3, row, 5.0)
    assert plug.content()[[VOLUME, FINES, HEAT]] == pytest.approx([7.3, 21.9, 87.6], rel=1e-13)
    assert plug.s["count"] == 15
