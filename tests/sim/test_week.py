"""A week of every demo without nonsense: no store below nothing, no level beyond its vessel, nothing frozen."""

from __future__ import annotations

import fnmatch

import numpy as np
import pytest
from plants import DEMOS, column, week

# What may stand still for a week, and why. Everything else that is recorded must move.
MAY_STAND = {
    "*.tripped": "no fault was set",
    "*.plugged": "a healthy line",
    "*.blockage": "a healthy line",
    "*.deposit": "a line kept above its limit velocity",
    "*.limit_velocity": "a line without coarse",
    "*.drained": "a line with check valve",
    "*.overflow": "a tank that is never full",
    "*.spilled": "a tank that is never full",
    "*.overtopped": "cells kept below their walls",
    "*.channel": "a bed drawn gently",
    "*.packing": "a rake that never stands",
    "*.charge": "a line that carries no coagulant",
    "*.sand": "no coarse",
    "*.store": "a skid that draws on a polymer plant",
    "*.water": "a skid without dilution",
    "*.solids_fraction": "a cell never used",
    "*.strength": "a cell never used",
    "*.mud_height": "a cell never used",
    "*.state": "a cell whose turn did not come",
    "*.fills": "a cell whose turn did not come",
    "ZC-*": "a rake that is not lifted",
    "FV-*": "the valve of a cell whose turn did not come",
    "XV-*": "the valve of a cell whose turn did not come",
    "HS-*": "a hand switch nobody touches",
    "XC-*": "a permit that is never taken away",
    "XS-*": "a permit that is never taken away",
    "LSH-*": "a high switch that is never reached",
    "KC-*": "a trim at rest",
}


@pytest.mark.parametrize("demo", DEMOS)
def test_nothing_is_below_nothing_or_beyond_the_brim(demo):
    """Looked at every four hours: stores, parcels, layers, cells; finite numbers everywhere."""
    assert week(demo).complaints == ()


@pytest.mark.parametrize("demo", DEMOS)
def test_every_recorded_number_of_the_week_is_finite(demo):
    rows = week(demo).sim.recorder.rows
    assert rows.shape[0] == 7 * 8640 + 1
    assert np.isfinite(rows).all()


@pytest.mark.parametrize("demo", DEMOS)
def test_levels_stay_within_their_vessels(demo):
    model = week(demo).model
    arena = model.arena
    vessels = 0
    for name, (kind, index) in model.units.items():
        if kind == "vessel":
            p = arena.vessel_p[index]
            rim = arena.tables[int(p["table"]) + int(p["n_table"]) - 1]
            level = column(week(demo).sim, f"{name}.level")
            assert level.min() >= 0.0 and level.max() <= rim, name
            vessels += 1
    assert vessels >= 2


@pytest.mark.parametrize("demo", DEMOS)
def test_nothing_is_frozen_that_should_move(demo):
    sim = week(demo).sim
    still = {c.name for i, c in enumerate(sim.recorder.channels) if np.ptp(sim.recorder.rows[:, i]) == 0.0}
    frozen = sorted(n for n in still if not any(fnmatch.fnmatch(n, pattern) for pattern in MAY_STAND))
    assert frozen == []


@pytest.mark.parametrize("demo", DEMOS)
def test_counters_never_run_backward(demo):
    """Volumes, energy, starts, hours and doses are sums of what is not negative."""
    sim = week(demo).sim
    counters = {"total", "spilled", "pumped", "drained", "energy", "starts", "run_time", "dosed", "washed",
                "out_volume", "under_volume", "under_solids", "solids_lost", "fills", "cycles", "cake"}  # fmt: skip
    checked = 0
    for i, channel in enumerate(sim.recorder.channels):
        if channel.name.rpartition(".")[2] in counters:
            assert np.diff(sim.recorder.rows[:, i]).min() >= 0.0, channel.name
            checked += 1
    assert checked > 10


@pytest.mark.parametrize("demo", DEMOS)
def test_the_plant_did_its_work(demo):
    """It washed on working days, mud left the clarifier, and what came over the weir was cleaner than the feed."""
    sim = week(demo).sim
    units = week(demo).model.units
    source = next(name for name, (kind, _) in units.items() if kind == "source")
    clarifiers = [name for name, (kind, _) in units.items() if kind == "clarifier"]
    washed = column(sim, f"{source}.washed")
    for day in range(5):
        assert washed[(day + 1) * 8640] - washed[day * 8640] > 0.0, f"day {day}"
    fed = column(sim, f"{source}.solids").mean() * 7 * 86400.0
    drawn = sum(column(sim, f"{name}.under_solids")[-1] for name in clarifiers)
    lost = sum(column(sim, f"{name}.solids_lost")[-1] for name in clarifiers)
    assert 0.7 * fed < drawn < 1.3 * fed
    assert lost < 0.02 * fed
