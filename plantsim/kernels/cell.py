"""Mud cells: diked ponds that take the underflow in lifts, let the mud settle and dry, and are dug out.

Two paces. Every step the mud arriving is shared among the open cells and the water let off leaves their
ponds. Every `every` steps the slow physics of a cell is worked: sedimentation, consolidation, rain,
evaporation, seepage, strength, digging and the state of the cell.

Order of one slow step: what arrived joins the mud, water the mud sets free joins the pond, rain falls,
the sun dries, the floor and a damaged wall leak, what stands above the wall runs over, the crew digs, the
weir of the pond is set for the next interval.

Solids, and the coagulant and polymer they hold, stay with the mud but for the small part `decant_solids`;
dissolved coagulant and polymer go where the water goes and stay behind when it evaporates.

The strength is a mean over the mud's depth, from its water content alone. It is never a permission to
enter: a crust may lie on liquid mud.
"""

from __future__ import annotations

import math

from plantsim.jit import kernel, part
from plantsim.kernels.rows import solids_of, temperature_of, water_density
from plantsim.physics.consolidation import advance_degree
from plantsim.physics.drying import drying_step, liquidity_index, strength_vardanega_haigh
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
    FINES,
    HEAT,
    IN_RAIN,
    NS,
    OUT_DISCHARGE,
    OUT_DUG,
    OUT_EVAPORATION,
    OUT_SEEP,
    OUT_SPILL,
    POLY,
    POLY_BOUND,
    POLY_SPENT,
    VOLUME,
    WARN_CELL,
)

FILM = 5e-3
"""Depth [m] of ponded water below which only puddles are left: drying is counted, a digger can work."""
LOST_VOLUME = 1.0
"""Volume [m3] over the wall beyond which a cell is lost: less is a splash to report. It adds up until an
event that rebuilds the wall sets `overtopped` back."""
AMBIENT_TIME = 86400.0
"""Time [s] in which a shallow pond takes the weather's water temperature (common practice, no source)."""


@part
def step_bank(
    p, s, cell_p, cell_s, cell_f, actuator_s, material, weather, streams, ledger, tick, dt
):  # fmt: skip
    """Step a bank of mud cells fed by one mud line.

    Parameters
    ----------
    p, s : record
        The bank.
    cell_p, cell_s, cell_f : array of records
        All cells of the plant; the bank's are `p.cell` to `p.cell + p.n_cells`.
    actuator_s : array of records
        All actuators; the cells' inlet valves are among them.
    material, weather : record
        Solids and weather.
    streams, ledger : array
        Stream rows and what crossed the boundary.
    tick : int
        Steps done since the start, [-]
    dt : float
        Length of one step, [s]

    Returns
    -------
    flags : int
        WARN_CELL when mud or water went over a wall, [-]

    Notes
    -----
    The stream of released water is even over a slow interval, so its row is rewritten only at the slow step
    and stands until the next. When that is due is fixed at the slow step, so the pond can always give it.
    Mud that still arrives in the step in which the last valve closed goes to the cell that was open.
    """
    first = p.cell
    last = p.cell + p.n_cells
    opening = 0.0
    filling = 0
    for i in range(first, last):
        position = actuator_s[cell_p[i].valve].position
        opening += position
        if filling == 0 and position > 0.0:
            filling = i - first + 1
    if streams[p.inlet, VOLUME] > 0.0:
        if opening > 0.0:
            for i in range(first, last):
                position = actuator_s[cell_p[i].valve].position
                if position > 0.0:
                    share = position / opening * dt
                    row = cell_s[i].buffer
                    for k in range(NS):
                        row[k] += streams[p.inlet, k] * share
        else:
            row = cell_s[first + max(int(s.filling) - 1, 0)].buffer
            for k in range(NS):
                row[k] += streams[p.inlet, k] * dt
    s.opening = opening
    if opening > 0.0 or streams[p.inlet, VOLUME] <= 0.0:
        s.filling = filling
    if s.decant_flow > 0.0:
        for i in range(first, last):
            if cell_s[i].release[VOLUME] > 0.0:
                _let_off(cell_s[i], p.decant, ledger, dt)
    if s.due == 0:
        s.due = p.every
    if tick + 1 < s.due:
        return 0
    s.due = tick + 1 + p.every
    flags = 0
    ready = 0
    interval = p.every * dt
    for i in range(first, last):
        fed = actuator_s[cell_p[i].valve].position > 0.0
        before = cell_s[i].overtopped
        flags |= _step_cell(cell_p[i], cell_s[i], cell_f[i], material, weather, ledger, fed, interval)
        if cell_s[i].ready > 0.5:
            ready += 1
        s.overtopped += cell_s[i].overtopped - before
    s.ready = ready
    _collect(p, s, cell_s, streams)
    return flags


@part
def _let_off(c, decant, ledger, dt):
    """Take one step's released water out of the pond."""
    release = c.release
    pond = c.pond
    for k in range(NS):
        pond[k] -= release[k] * dt
    if decant < 0:
        for k in range(NS):
            ledger[OUT_DISCHARGE, k] += release[k] * dt


@kernel
def _collect(p, s, cell_s, streams):
    """Write the stream of released water: the sum over the cells."""
    flow = 0.0
    for i in range(p.cell, p.cell + p.n_cells):
        flow += cell_s[i].release[VOLUME]
    s.decant_flow = flow
    if p.decant < 0:
        return
    for k in range(NS):
        total = 0.0
        for i in range(p.cell, p.cell + p.n_cells):
            total += cell_s[i].release[k]
        streams[p.decant, k] = total


@kernel
def _step_cell(p, c, f, material, weather, ledger, fed, interval):
    """Slow physics of one cell over an interval [s]; returns warning bits."""
    mud = c.mud
    pond = c.pond
    buffer = c.buffer
    density = material.solids_density
    fed = fed or buffer[VOLUME] > 0.0
    if buffer[VOLUME] > 0.0:
        _join(p, c, density)
    _settle(p, c, density, interval)
    _meet_weather(p, c, weather, ledger, density, interval)
    _leak(p, c, f, ledger, density, interval)
    flags = 0
    excess = mud[VOLUME] + pond[VOLUME] - p.area * p.depth
    if excess > 0.0:
        over = min(excess, pond[VOLUME])
        _remove(pond, over, ledger, OUT_SPILL)
        _remove(mud, excess - over, ledger, OUT_SPILL)
        c.overtopped += excess
        flags = WARN_CELL
    _describe(p, c, density, weather.water)
    c.timer += interval
    _next_state(p, c, fed)
    if c.state == CELL_DIG and c.digging != 0 and pond[VOLUME] <= FILM * p.area:
        _remove(mud, min(p.dig_rate * interval, mud[VOLUME]), ledger, OUT_DUG)
        if mud[VOLUME] <= 1e-9 * p.area:
            _remove(mud, mud[VOLUME], ledger, OUT_DUG)
            _enter(c, CELL_READY)
        _describe(p, c, density, weather.water)
    _open_weir(p, c, interval)
    return flags


@kernel
def _pore_water(row, density):
    """Volume of water in a row [m3], and never below zero by rounding."""
    return max(row[VOLUME] - solids_of(row) / density, 0.0)


@kernel
def _void_ratio(row, density):
    """Volume of water over that of the solids; 0 where there are none."""
    solids = solids_of(row) / density
    return max(row[VOLUME] - solids, 0.0) / solids if solids > 1e-12 else 0.0


@kernel
def _join(p, c, density):
    """Let what arrived join the mud as fresh, unconsolidated mud.

    The void ratios at which consolidation began and will end are averaged over the solids, so that the
    settlement still to come is the sum of that of the old mud and the new. Water beyond the gel point is not
    held by the mud: it settles out at tenths of a millimetre per second, within the hour, and is taken as
    settled out at once.
    """
    mud = c.mud
    buffer = c.buffer
    old = solids_of(mud) / density
    new = solids_of(buffer) / density
    if c.void <= c.end_void:
        # the old mud is done, or dried beyond it: it neither adds to the settlement to come nor takes from it
        c.start_void = c.void
        c.end_void = c.void
    for k in range(NS):
        mud[k] += buffer[k]
        buffer[k] = 0.0
    fresh = _pore_water(mud, density)
    if p.gel_void > 0.0:
        # the old mud holds less than the gel point's water, so the whole is a fair test of the new
        held = p.gel_void * new + c.void * old
        if fresh > held:
            _set_free(p, c, fresh - held, density)
    solids = old + new
    if solids > 1e-12:
        arrived = max(_pore_water(mud, density) - c.void * old, 0.0)
        c.start_void = (c.start_void * old + arrived) / solids
        c.end_void = (c.end_void * old + p.final_void * new) / solids


@kernel
def _set_free(p, c, water, density):
    """Move water [m3] from the mud to the pond, with what is dissolved in it and a little of the fines."""
    mud = c.mud
    pond = c.pond
    held = _pore_water(mud, density)
    if water <= 0.0 or held <= 0.0:
        return
    part = min(water / held, 1.0)
    water = part * held
    temperature = mud[HEAT] / mud[VOLUME]
    # fines leave at `decant_solids` times their concentration in the mud
    fines = min(p.decant_solids * water / mud[VOLUME], 1.0)
    volume = water + fines * mud[FINES] / density
    for k in range(1, NS):
        if k in (COAG, POLY, POLY_SPENT):
            moved = part * mud[k]
        elif k in (FINES, CLAY, COAG_BOUND, POLY_BOUND):
            moved = fines * mud[k]
        elif k == HEAT:
            moved = volume * temperature
        else:
            moved = 0.0
        mud[k] -= moved
        pond[k] += moved
    mud[VOLUME] -= volume
    pond[VOLUME] += volume


@kernel
def _forget(c):
    """No mud, no history."""
    c.void = 0.0
    c.start_void = 0.0
    c.end_void = 0.0
    c.consolidated = 0.0


@kernel
def _settle(p, c, density, interval):
    """Consolidate under own weight, drained upwards, by Terzaghi's law in its rate form.

    U follows from where the void ratio stands between start and end, so drying advances it, and the step
    is exact for any interval as long as the drainage path (the present height of mud) holds.
    """
    mud = c.mud
    if mud[VOLUME] <= 0.0:
        _forget(c)
        return
    solids = solids_of(mud) / density
    if solids <= 1e-9 * p.area:
        _set_free(p, c, _pore_water(mud, density), density)
        _forget(c)
        return
    void = _void_ratio(mud, density)
    settlement = c.start_void - c.end_void
    if settlement <= 0.0 or void <= c.end_void:
        c.consolidated = 1.0
        c.void = void
        return
    path = mud[VOLUME] / p.area
    degree = min(max((c.start_void - void) / settlement, 0.0), 1.0)
    degree = advance_degree(degree, p.consolidation * interval / (path * path))
    lower = c.start_void - degree * settlement
    if lower < void:
        _set_free(p, c, (void - lower) * solids, density)
        void = _void_ratio(mud, density)
    c.consolidated = degree
    c.void = void


@kernel
def _meet_weather(p, c, weather, ledger, density, interval):
    """Rain on the pond, evaporation from pond and mud, seepage through the floor."""
    mud = c.mud
    pond = c.pond
    rain = weather.rain * p.area * interval
    if rain > 0.0:
        pond[VOLUME] += rain
        heat = rain * max(weather.air, 0.0)
        pond[HEAT] += heat
        ledger[IN_RAIN, VOLUME] += rain
        ledger[IN_RAIN, HEAT] += heat
    if pond[VOLUME] > 0.0:
        pond[HEAT] += (pond[VOLUME] * weather.water - pond[HEAT]) * -math.expm1(-interval / AMBIENT_TIME)
    demand = weather.evaporation * p.area * interval
    if demand > 0.0:
        taken = min(demand, _pore_water(pond, density))
        if taken > 0.0:
            _evaporate(pond, taken, ledger)
        demand -= taken
        if demand > 0.0 and mud[VOLUME] > 0.0:
            # as depths of water: full rate down to the shrinkage void ratio, then declining
            depth = solids_of(mud) / density / p.area
            water = _pore_water(mud, density) / p.area
            potential = demand / (p.area * interval)
            left = drying_step(water, p.shrink_void * depth, p.dry_void * depth, potential, interval)
            taken = (water - left) * p.area
            if taken > 0.0:
                _evaporate(mud, taken, ledger)
    if p.seep > 0.0 and pond[VOLUME] > 0.0:
        water = _pore_water(pond, density)
        part = min(p.seep * p.area * interval / water, 1.0) if water > 0.0 else 0.0
        _filter(pond, part, part * water, ledger)
    if pond[VOLUME] > 0.0 and _pore_water(pond, density) <= 1e-9 * p.area:
        # a dry pond leaves what it held on the mud
        for k in range(NS):
            mud[k] += pond[k]
            pond[k] = 0.0


@kernel
def _evaporate(row, water, ledger):
    """Take pure water [m3] out of a row at its temperature."""
    heat = water * row[HEAT] / row[VOLUME]
    row[VOLUME] -= water
    row[HEAT] -= heat
    ledger[OUT_EVAPORATION, VOLUME] += water
    ledger[OUT_EVAPORATION, HEAT] += heat


@kernel
def _filter(row, part, water, ledger):
    """Take a part of a row's water through the floor, dissolved matter with it, solids left behind."""
    if part <= 0.0:
        return
    heat = water * row[HEAT] / row[VOLUME]
    row[VOLUME] -= water
    row[HEAT] -= heat
    ledger[OUT_SEEP, VOLUME] += water
    ledger[OUT_SEEP, HEAT] += heat
    for k in (COAG, POLY, POLY_SPENT):
        moved = part * row[k]
        row[k] -= moved
        ledger[OUT_SEEP, k] += moved


@kernel
def _remove(row, volume, ledger, out):
    """Take a volume [m3] of a whole row out of the plant; the row ends at exactly zero if all is taken."""
    if volume <= 0.0:
        return
    part = min(volume / row[VOLUME], 1.0)
    for k in range(NS):
        moved = part * row[k]
        row[k] -= moved
        ledger[out, k] += moved


@kernel
def _leak(p, c, f, ledger, density, interval):
    """Flow through a damaged wall: the pond first, then mud while it is wetter than its liquid limit."""
    if f.leak <= 0.0:
        return
    mud = c.mud
    volume = f.leak * interval
    taken = min(volume, c.pond[VOLUME])
    _remove(c.pond, taken, ledger, OUT_SPILL)
    liquid_void = p.liquid_limit * density * 1e-3
    if volume > taken and mud[VOLUME] > 0.0 and _void_ratio(mud, density) > liquid_void:
        _remove(mud, min(volume - taken, mud[VOLUME]), ledger, OUT_SPILL)


@kernel
def _describe(p, c, density, temperature):
    """Heights, water content and strength of what is in the cell now."""
    mud = c.mud
    c.mud_height = mud[VOLUME] / p.area
    c.height = c.mud_height + c.pond[VOLUME] / p.area
    c.full = 1.0 if c.height >= p.depth - p.freeboard else 0.0
    solids = solids_of(mud)
    if solids / density <= 1e-9 * p.area:
        c.void = 0.0
        c.water_content = 0.0
        c.solids_fraction = 0.0
        c.strength = 0.0
        return
    c.void = _void_ratio(mud, density)
    water = c.void * solids / density * water_density(temperature_of(mud, temperature))
    c.water_content = water / solids
    c.solids_fraction = solids / (solids + water)
    index = liquidity_index(c.water_content, p.plastic_limit, p.liquid_limit)
    c.strength = strength_vardanega_haigh(max(index, 0.0), p.liquid_strength)


@kernel
def _enter(c, state):
    """Enter a state and start its clock, unless already in it."""
    if c.state != state:
        c.state = state
        c.timer = 0.0
        if state == CELL_FILL:
            c.fills += 1
        if state in (CELL_FILL, CELL_READY):
            c.digging = 0  # the crew leaves an empty cell, and nobody digs where mud flows in


@kernel
def _next_state(p, c, fed):
    """The life of a cell; `fed`: its valve is open or mud arrived in the interval.

    A lost cell stays lost until an event says that its wall has been rebuilt; its mud goes on drying.
    """
    c.ready = 0.0
    if c.state == CELL_LOST:
        return
    empty = c.mud[VOLUME] <= 1e-9 * p.area
    if c.overtopped > LOST_VOLUME:
        _enter(c, CELL_LOST)
    elif fed:
        _enter(c, CELL_FILL)
    elif empty:
        _enter(c, CELL_READY)
    elif c.state == CELL_FILL:
        _enter(c, CELL_DRAIN)
    elif c.state == CELL_DRAIN:
        if c.timer >= p.drain_time and c.pond[VOLUME] <= FILM * p.area:
            _enter(c, CELL_DRY)
    elif c.state == CELL_DRY and c.digging != 0 and c.strength >= p.dig_strength:
        _enter(c, CELL_DIG)
    room = c.mud_height + p.lift <= p.depth - p.freeboard
    c.ready = 1.0 if c.state == CELL_READY or (c.state == CELL_DRY and c.digging == 0 and room) else 0.0


@kernel
def _open_weir(p, c, interval):
    """Let ponded water off at first order, evenly over the next interval."""
    pond = c.pond
    release = c.release
    if p.decant_rate <= 0.0 or pond[VOLUME] <= 1e-9 * p.area:
        for k in range(NS):
            release[k] = 0.0
        return
    # never quite all of it, so that sixty subtractions cannot end below zero
    rate = min(-math.expm1(-p.decant_rate * interval), 1.0 - 1e-9) / interval
    for k in range(NS):
        release[k] = pond[k] * rate
