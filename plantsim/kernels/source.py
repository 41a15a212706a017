"""Where water and solids come from: the wash plant, a measured series in its place, and outside supplies.

What the wash plant does to the water it takes: the fines, colloid and coarse washed off go in (ledger row
`feed`), the moisture of the washed product goes out (row `product`). That moisture carries what is
dissolved in the wash water (coagulant, polymer in the water) in proportion; the suspended solids and what
is bound to them stay with the dirty water, since the fines figures are those washed off for good.
"""

from __future__ import annotations

import math

from plantsim.jit import part
from plantsim.kernels.random import advance_state, normal
from plantsim.kernels.rows import no_flow
from plantsim.records import (
    CLAY,
    COAG,
    COARSE,
    COLLOID,
    FINES,
    HEAT,
    IN_FEED,
    IN_SUPPLY,
    NS,
    OUT_PRODUCT,
    POLY,
    POLY_SPENT,
    VOLUME,
    WARN_LOW,
)

WANDER_GRID = 60.0
"""Grid [s] of simulated time on which the wander moves, so that it does not depend on the step."""


@part
def _wander(p, s, clock):
    """Move the wander up to the present grid point.

    Mean-reverting (Ornstein and Uhlenbeck 1930), in its exact discrete form
    x' = a x + sd sqrt(1 - a^2) n, a = exp(-grid/time).
    """
    grid = int(clock.tick * clock.dt / WANDER_GRID + 1e-9)
    if clock.calm != 0:
        s.wander_feed = 0.0
        s.wander_fines = 0.0
        s.wander_steps = grid
        return
    if s.wander_steps >= grid:
        return
    a = math.exp(-WANDER_GRID / p.wander_time)
    b = math.sqrt(1.0 - a * a)
    while s.wander_steps < grid:
        s.random = advance_state(s.random)
        s.wander_feed = a * s.wander_feed + b * p.wander_feed * normal(s.random)
        s.random = advance_state(s.random)
        s.wander_fines = a * s.wander_fines + b * p.wander_fines * normal(s.random)
        s.wander_steps += 1


@part
def _may_run(p, s, tags, offers, dt):
    """Whether the plant washes in this step: calendar, permit, and water with hysteresis."""
    if s.on == 0 or (p.permit >= 0 and tags[p.permit] <= 0.5):
        return False
    if p.offer >= 0:
        water = offers[p.offer, VOLUME]
        if s.dry != 0:
            if water >= max(p.back_water, p.low_water):
                s.dry = 0
        elif water < p.low_water:
            s.dry = 1
            s.dry_stops += 1
        if s.dry != 0:
            s.dry_time += dt
            return False
    s.run_time += dt
    return True


@part
def _measured(p, s, time, tables):
    """Move to the row of the series for this time; returns the weight of the next row."""
    last = p.series_rows - 1
    while s.row < last and time >= tables[p.series + 3 * (s.row + 1)]:
        s.row += 1
    if s.row >= last:
        return 0.0
    begin = tables[p.series + 3 * s.row]
    if time <= begin:
        return 0.0
    return (time - begin) / (tables[p.series + 3 * (s.row + 1)] - begin)


@part
def step_source(p, s, m, clock, tags, tables, streams, offers, ledger, dt):
    """Wash for one step; returns warning bits.

    The plant runs when the calendar and the permit tag say so and the tank holds water; its load follows
    with a first-order ramp. A measured series (time since the start, flow, solids; linear between its rows,
    its last row holds on) takes the place of production, ramp and wander; calendar, permit and water still
    apply. Solids that come back with the wash water are part of a measured concentration.
    """
    wanders = p.wander_feed > 0.0 or p.wander_fines > 0.0
    if wanders:
        _wander(p, s, clock)
    run = _may_run(p, s, tags, offers, dt)
    s.running = 1 if run else 0
    target = 1.0 if run else 0.0
    if s.load != target:
        s.load = target + (s.load - target) * math.exp(-dt / p.ramp) if p.ramp > 0.0 else target
        if abs(s.load - target) < 1e-6:
            s.load = target
    measured = p.series >= 0
    if (measured and not run) or (not measured and s.load <= 0.0):
        if s.flow != 0.0:
            s.flow = 0.0
            s.solids = 0.0
            s.concentration = 0.0
            no_flow(streams, p.out)
            if p.draw >= 0:
                no_flow(streams, p.draw)
        return 0

    inside = p.offer >= 0
    carried = 0.0  # solids that come with the wash water [kg/m3]
    if inside:
        carried = offers[p.offer, COARSE] + offers[p.offer, FINES] + offers[p.offer, COLLOID]
    inverse_density = 1.0 / m.solids_density
    if measured:
        part = _measured(p, s, clock.tick * clock.dt, tables)
        cell = p.series + 3 * s.row
        flow = tables[cell + 1]
        solids = tables[cell + 2]
        if part > 0.0:
            flow += part * (tables[cell + 4] - flow)
            solids += part * (tables[cell + 5] - solids)
        flow *= s.feed_factor
        solids *= s.fines_factor
        added = max(0.0, flow * (solids - carried) / (1.0 - carried * inverse_density))
        water = flow - added * inverse_density
        moisture = 0.0
        total = p.fines + p.coarse
        feed = added / total if total > 0.0 else 0.0
        fines = feed * p.fines
        coarse = feed * p.coarse
    else:
        feed = p.production * s.feed_factor * s.load * max(0.0, 1.0 + s.wander_feed)
        fines = feed * p.fines * s.fines_factor * max(0.0, 1.0 + s.wander_fines)
        coarse = feed * p.coarse
        fines = min(fines, feed - min(coarse, feed))
        water = feed * p.wash_ratio
        moisture = min(feed * p.moisture, water)

    flags = 0
    if inside:
        most = max(0.0, offers[p.offer, VOLUME]) / dt
        if water > most:
            flags = WARN_LOW
            cut = most / water
            water = most
            moisture *= cut
            feed *= cut
            fines *= cut
            coarse *= cut
    out = p.out
    streams[out, VOLUME] = water
    if inside:
        offers[p.offer, VOLUME] -= water * dt
        for k in range(1, NS):
            streams[out, k] = water * offers[p.offer, k]
        if p.draw >= 0:
            for k in range(NS):
                streams[p.draw, k] = streams[out, k]
        temperature = offers[p.offer, HEAT]
    else:
        temperature = p.temperature
        for k in range(1, NS):
            streams[out, k] = 0.0
        streams[out, HEAT] = water * temperature
        ledger[IN_SUPPLY, VOLUME] += water * dt
        ledger[IN_SUPPLY, HEAT] += water * temperature * dt

    if moisture > 0.0:
        streams[out, VOLUME] -= moisture
        streams[out, HEAT] -= moisture * temperature
        ledger[OUT_PRODUCT, VOLUME] += moisture * dt
        ledger[OUT_PRODUCT, HEAT] += moisture * temperature * dt
        if inside:
            for k in (COAG, POLY, POLY_SPENT):
                lost = moisture * offers[p.offer, k]
                streams[out, k] -= lost
                ledger[OUT_PRODUCT, k] += lost * dt

    colloid = fines * p.colloid
    fines -= colloid
    clay = fines * s.clay
    solid_volume = (coarse + fines + colloid) * inverse_density
    streams[out, VOLUME] += solid_volume
    streams[out, COARSE] += coarse
    streams[out, FINES] += fines
    streams[out, COLLOID] += colloid
    streams[out, CLAY] += clay
    streams[out, HEAT] += solid_volume * temperature
    ledger[IN_FEED, VOLUME] += solid_volume * dt
    ledger[IN_FEED, COARSE] += coarse * dt
    ledger[IN_FEED, FINES] += fines * dt
    ledger[IN_FEED, COLLOID] += colloid * dt
    ledger[IN_FEED, CLAY] += clay * dt
    ledger[IN_FEED, HEAT] += solid_volume * temperature * dt

    s.flow = streams[out, VOLUME]
    s.solids = streams[out, COARSE] + streams[out, FINES] + streams[out, COLLOID]
    s.concentration = s.solids / s.flow if s.flow > 0.0 else 0.0
    s.washed += feed * dt
    return flags


@part
def step_supply(p, s, weather, actuators, streams, ledger, dt):
    """Let in outside water: capacity times valve position, while the outside source holds."""
    flow = p.capacity * s.available
    if p.actuator >= 0:
        flow *= actuators[p.actuator].position
    if flow <= 0.0:
        if s.flow != 0.0:
            s.flow = 0.0
            no_flow(streams, p.out)
        return 0
    s.flow = flow
    s.total += flow * dt
    temperature = p.temperature if p.temperature >= -90.0 else weather.water
    row = p.out
    streams[row, VOLUME] = flow
    streams[row, FINES] = flow * p.fines
    streams[row, COLLOID] = flow * p.colloid
    streams[row, HEAT] = flow * temperature
    ledger[IN_SUPPLY, VOLUME] += flow * dt
    ledger[IN_SUPPLY, FINES] += streams[row, FINES] * dt
    ledger[IN_SUPPLY, COLLOID] += streams[row, COLLOID] * dt
    ledger[IN_SUPPLY, HEAT] += streams[row, HEAT] * dt
    return 0
