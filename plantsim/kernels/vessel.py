"""A tank or sump: what flows in and out, what spills over its weir, what settles on its floor.

Balances are explicit Euler on the state at the start of the step and exact to rounding: a litre leaves only
by a stream row or a ledger row. An overfull vessel is emptied by its weir alone; nothing is clipped.

Two calls in each step: `spill_vessel` before all other flows, so that the row of the overflow is the same
for the one that gives it and the one that gets it, whatever the order of the units; `step_vessel` after
them. `refresh_vessel` once before the first step and after a change of parameters.
"""

from __future__ import annotations

import math

from plantsim.jit import part
from plantsim.kernels.chemistry import charge_of, react
from plantsim.kernels.rows import no_flow, relative_fluidity, slurry_density, turbidity
from plantsim.records import (
    COAG,
    COAG_BOUND,
    COARSE,
    COLLOID,
    FINES,
    HEAT,
    IN_RAIN,
    NS,
    OFFER_DENSITY,
    OFFER_LEVEL,
    OUT_EVAPORATION,
    VOLUME,
    WARN_TEMPERATURE,
)

EMPTY = 1e-9
"""Contents [m3] below which concentrations are no longer formed: rounding would rule them."""
_WHISKER = 1.0 - 1e-9  # part of a store that may be drawn, so that rounding never takes it below nothing


@part
def level_at(volume, p, tables):
    """Level [m] of the surface at a volume [m3], linear in the table and beyond its last point."""
    x = volume / p.volume * (p.n_table - 1)
    i = min(max(int(x), 0), p.n_table - 2)
    low = tables[p.table + i]
    return low + (x - i) * (tables[p.table + i + 1] - low)


@part
def volume_at(level, p, tables):
    """Volume [m3] below a level [m]: the inverse of `level_at`."""
    i = 0
    while i < p.n_table - 2 and tables[p.table + i + 1] < level:
        i += 1
    low = tables[p.table + i]
    x = i + (level - low) / (tables[p.table + i + 1] - low)
    return max(x, 0.0) * p.volume / (p.n_table - 1)


@part
def refresh_vessel(p, s, m, tables, offers):
    """Form everything that follows from the content: level, what can be drawn, properties, the offer."""
    s.dead = volume_at(p.suction_level, p, tables)
    s.crest = volume_at(p.weir_level, p, tables)
    return _derive(p, s, m, tables, offers)


@part
def spill_vessel(p, s, m, streams, offers, dt):
    """Flow over the weir in this step, from the level at its start; writes the spill stream, if there is one.

    Q = factor * width * head^1.5, the law of the full-width weir; factor 1.84 m^0.5/s is Francis's (1855)
    for a suppressed crest, good for heads up to a third of the width. The flow is held to what stands
    above the crest, so that a long step never empties the vessel below it.
    """
    held = s.content[VOLUME]
    head = s.level - p.weir_level
    if head <= 0.0 or held < EMPTY:
        if s.overflow != 0.0:
            s.overflow = 0.0
            if p.spill >= 0:
                no_flow(streams, p.spill)
        return
    above = held - s.crest
    if s.sand > 0.0:
        above += s.sand_water + s.sand / m.solids_density
    flow = p.weir_factor * p.weir_width * head * math.sqrt(head)
    flow = min(flow, max(0.0, min(above, held * _WHISKER)) / dt)
    s.overflow = flow
    # what spills can no longer be drawn in this step
    offers[p.offer, VOLUME] = max(0.0, offers[p.offer, VOLUME] - flow * dt)
    if p.spill >= 0:
        share = flow / held
        for k in range(NS):
            streams[p.spill, k] = s.content[k] * share


@part
def step_vessel(p, s, m, weather, links, tables, streams, offers, ledger, dt):
    """Balance a vessel over one step; returns warning bits.

    In this order: overflow, streams, rain and evaporation, settling of the coarse, reaction, drift of the
    temperature. Settling follows dM/dt = -(1 - mixing) v A C (a floor under a mixed liquid, as in a grit
    chamber), v the free speed of the coarse corrected for the water's viscosity; it is taken implicitly and
    so never takes more than there is. Settled sand keeps clean pore water by its porosity: what is dissolved
    or suspended stays in the liquid.
    """
    content = s.content
    if s.overflow > 0.0:
        if p.spill >= 0:
            for k in range(NS):
                content[k] -= streams[p.spill, k] * dt
        else:
            share = s.overflow / content[VOLUME]
            row = p.spill_ledger
            for k in range(NS):
                amount = content[k] * share * dt
                content[k] -= amount
                ledger[row, k] += amount
        s.spilled += s.overflow * dt
    flow = 0.0
    for i in range(p.inlets, p.inlets + p.n_inlets):
        stream = links[i]
        flow += streams[stream, VOLUME]
        for k in range(NS):
            content[k] += streams[stream, k] * dt
    s.inflow = flow
    flow = 0.0
    for i in range(p.outlets, p.outlets + p.n_outlets):
        stream = links[i]
        flow += streams[stream, VOLUME]
        for k in range(NS):
            content[k] -= streams[stream, k] * dt
    s.outflow = flow

    if p.open_area > 0.0:
        if weather.rain > 0.0:
            amount = weather.rain * p.open_area * dt
            content[VOLUME] += amount
            content[HEAT] += amount * weather.air
            ledger[IN_RAIN, VOLUME] += amount
            ledger[IN_RAIN, HEAT] += amount * weather.air
        if weather.evaporation > 0.0 and content[VOLUME] > EMPTY:
            # only water leaves, never more than half of it in a step
            water = content[VOLUME] - (content[COARSE] + content[FINES] + content[COLLOID]) / m.solids_density
            amount = min(weather.evaporation * p.open_area * dt, 0.5 * max(water, 0.0))
            heat = amount * content[HEAT] / content[VOLUME]
            content[VOLUME] -= amount
            content[HEAT] -= heat
            ledger[OUT_EVAPORATION, VOLUME] += amount
            ledger[OUT_EVAPORATION, HEAT] += heat
            s.evaporated += amount

    volume = content[VOLUME]
    flags = 0
    if volume > EMPTY:
        if p.mixing < 1.0 and content[COARSE] > 0.0 and p.floor_area > 0.0:
            _settle(p, s, m, volume, dt)
            volume = content[VOLUME]
        if p.shear > 0.0:
            flags = react(content, dt, m, ledger, 1.0)
        if p.ambient_rate > 0.0:
            x = p.ambient_rate * dt
            content[HEAT] += (weather.water * volume - content[HEAT]) * (x / (1.0 + x))
    return flags | _derive(p, s, m, tables, offers)


@part
def _settle(p, s, m, volume, dt):
    """Move settling coarse, and the water its pores hold, from the liquid to the floor."""
    content = s.content
    inverse = 1.0 / volume
    x = (1.0 - p.mixing) * m.coarse_velocity * p.floor_area * dt * inverse
    x *= relative_fluidity(content[HEAT] * inverse)
    mass = content[COARSE] * (x / (1.0 + x))
    solid = mass / m.solids_density
    pores = solid * m.sand_porosity / (1.0 - m.sand_porosity)
    room = 0.5 * volume
    if solid + pores > room:
        # nothing left but sand: it settles as far as there is water to fill its pores
        cut = room / (solid + pores)
        mass *= cut
        solid *= cut
        pores *= cut
    content[HEAT] -= content[HEAT] * ((solid + pores) * inverse)
    content[COARSE] -= mass
    content[VOLUME] -= solid + pores
    s.sand += mass
    s.sand_water += pores


@part
def _derive(p, s, m, tables, offers):
    """Everything that follows from the content; returns warning bits."""
    content = s.content
    held = content[VOLUME]
    bed = 0.0
    if s.sand > 0.0:
        bed = s.sand_water + s.sand / m.solids_density
    s.level = level_at(held + bed, p, tables)
    if held < EMPTY:
        # too little left to form concentrations: the last ones stand
        s.active = 0.0
        offers[p.offer, VOLUME] = 0.0
        offers[p.offer, OFFER_LEVEL] = s.level
        return 0
    # above the suction level, and of the liquid only: sand fills the dead volume first, then takes from this
    s.active = max(0.0, min(held, held + bed - s.dead)) * _WHISKER
    inverse = 1.0 / held
    coarse = content[COARSE] * inverse
    fines = content[FINES] * inverse
    colloid = content[COLLOID] * inverse
    s.solids = coarse + fines + colloid
    s.temperature = content[HEAT] * inverse
    s.density = slurry_density(s.solids, m.solids_density, s.temperature)
    s.turbidity = turbidity(coarse, fines, colloid, m)
    s.free_coag = content[COAG] * inverse
    s.charge = charge_of(content, m) if content[COAG_BOUND] > 0.0 else 0.0
    offer = p.offer
    offers[offer, VOLUME] = s.active
    for k in range(1, NS):
        offers[offer, k] = content[k] * inverse
    offers[offer, OFFER_LEVEL] = s.level
    offers[offer, OFFER_DENSITY] = s.density
    return WARN_TEMPERATURE if s.temperature < 0.0 or s.temperature > 40.0 else 0
