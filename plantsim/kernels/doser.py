"""A dosing skid: neat pump, dilution water through a filter, and the dosing line's dead volume.

* The neat pump gives capacity * fraction * calibration, fraction = motor speed * stroke, rounded to its
  resolution and zero below its turndown. Air-locked or with nothing to draw it runs and gives nothing.
* The tote is outside the plant's balance: product enters when pumped (ledger row `chemical`), and a delivery
  only raises `store`. Polymer from a makedown is drawn from its day tank as it is, active and spent.
* Dilution water runs while the pump runs, at a fixed flow or a ratio to the neat flow. Its filter holds back
  coarse and fines with what is bound to them; colloid, finer than any cartridge, passes. Flow through the
  filter falls as 1/(1 + load/filter_load). Changing it (rising edge of the tag) takes what it holds out of
  the plant: ledger row `cake`, the row of solids carried off dewatered.
* Polymer too little diluted is badly dispersed: the part (1 - ratio/good_dilution)/2 of the active polymer is
  spent (ledger row `reaction`). Undiluted stock so works half as well. Common practice, no source: a
  clogged dilution filter is said to raise the polymer demand by 20 to 50 %.
"""

from __future__ import annotations

import math

from plantsim.jit import part
from plantsim.kernels.plug import inlet_row, pop, push
from plantsim.kernels.rows import no_flow
from plantsim.records import (
    CLAY,
    COAG,
    COAG_BOUND,
    COARSE,
    COLLOID,
    FINES,
    HEAT,
    IN_CHEMICAL,
    NS,
    OUT_CAKE,
    POLY,
    POLY_BOUND,
    POLY_SPENT,
    REACTION,
    VOLUME,
    WARN_LOW,
)

WORST_LOSS = 0.5
"""Part of the active polymer wasted without any dilution: common practice, no source."""


@part
def pump_fraction(p, motors, actuators):
    """Fraction of full capacity the neat pump is set to: 0 below its turndown."""
    fraction = motors[p.motor].speed
    if p.stroke >= 0:
        fraction *= actuators[p.stroke].position
    if p.resolution > 0.0:
        fraction = math.floor(fraction / p.resolution + 0.5) * p.resolution
    return fraction if fraction >= p.turndown else 0.0


@part
def _change_filter(p, s, tags, ledger):
    """Put in a clean filter on the rising edge of its tag."""
    if p.filter_actuator < 0:
        return
    tag = 1 if tags[p.filter_actuator] > 0.5 else 0
    if tag != 0 and s.filter_tag == 0:
        s.filter = 0.0
        for k in range(NS):
            ledger[OUT_CAKE, k] += s.filtered[k]
            s.filtered[k] = 0.0
    s.filter_tag = tag


@part
def _neat(p, s, f, fraction, weather, streams, offers, row, ledger, dt):
    """Pump neat product as amounts into `row` (the out stream, times the step); returns warning bits."""
    flags = 0
    flow = 0.0
    if f.air_lock == 0:
        flow = p.capacity * fraction * p.calibration * f.calibration
    own = p.offer < 0
    most = (s.store if own else max(0.0, offers[p.offer, VOLUME])) / dt
    if flow > most:
        flow = most
        flags = WARN_LOW
    volume = flow * dt
    row[VOLUME] = volume
    if own:
        for k in range(1, NS):
            row[k] = 0.0
        s.store -= volume
        s.strength = p.strength
        product = volume * p.strength
        row[HEAT] = volume * weather.water
        if p.substance == COAG:
            row[COAG] = product
        else:
            row[POLY] = product * p.purity
            row[POLY_SPENT] = product - row[POLY]
        for k in range(NS):
            ledger[IN_CHEMICAL, k] += row[k]
    else:
        offers[p.offer, VOLUME] -= volume
        streams[p.draw, VOLUME] = flow
        for k in range(1, NS):
            streams[p.draw, k] = flow * offers[p.offer, k]
            row[k] = streams[p.draw, k] * dt
        s.strength = offers[p.offer, POLY] + offers[p.offer, POLY_SPENT]
    s.neat = flow
    s.spent += volume
    s.dosed += volume * s.strength
    return flags


@part
def _dilute(p, s, f, m, streams, offers, row, dt):
    """Add dilution water, less what its filter holds back, to the amounts in `row`; returns warning bits."""
    offer = p.water_offer
    s.filter_drop = 1.0 + s.filter / p.filter_load if p.filter_load > 0.0 else 1.0
    if p.water_ratio > 0.0:
        flow = s.neat * p.water_ratio
        if p.water_flow > 0.0:
            # a ratio valve makes up for the filter as long as the supply lasts
            flow = min(flow, p.water_flow / s.filter_drop)
        else:
            flow /= s.filter_drop
    else:
        flow = p.water_flow / s.filter_drop
    flags = 0
    most = max(0.0, offers[offer, VOLUME]) / dt
    if flow > most:
        flow = most
        flags = WARN_LOW
    s.water = flow
    offers[offer, VOLUME] -= flow * dt
    streams[p.water_draw, VOLUME] = flow
    for k in range(1, NS):
        streams[p.water_draw, k] = flow * offers[offer, k]
    for k in range(NS):
        row[k] += streams[p.water_draw, k] * dt
    if p.filter_load > 0.0:
        draw = p.water_draw
        caught = (streams[draw, COARSE] + streams[draw, FINES]) * dt
        if caught > 0.0:
            s.filter += caught * f.filter_factor
            solid = caught / m.solids_density
            row[VOLUME] -= solid
            heat = solid * offers[offer, HEAT]
            row[HEAT] -= heat
            s.filtered[VOLUME] += solid
            s.filtered[HEAT] += heat
            for k in (COARSE, FINES, CLAY):
                held = streams[draw, k] * dt
                row[k] -= held
                s.filtered[k] += held
            # the bound part is shared with the colloid, which passes
            part = streams[draw, FINES] / (streams[draw, FINES] + streams[draw, COLLOID] + 1e-300)
            for k in (COAG_BOUND, POLY_BOUND):
                held = streams[draw, k] * dt * part
                row[k] -= held
                s.filtered[k] += held
    return flags


@part
def _disperse(p, s, row, ledger):
    """Waste the part of the active polymer that too little dilution leaves badly dispersed."""
    if s.neat <= 0.0:
        return
    ratio = s.water / s.neat
    if ratio >= p.good_dilution:
        return
    lost = row[POLY] * WORST_LOSS * (1.0 - ratio / p.good_dilution)
    row[POLY] -= lost
    row[POLY_SPENT] += lost
    ledger[REACTION, POLY] -= lost
    ledger[REACTION, POLY_SPENT] += lost


@part
def step_doser(
    p, s, f, m, weather, motors, actuators, tags, plugs, plug_states, parcels, streams, offers, ledger, now,
    dt,
):  # fmt: skip
    """Dose for one step; returns warning bits.

    With a dosing line (`plug` from 0) what is pumped displaces the line's content, and the line must first
    fill; without one it is delivered at once.
    """
    _change_filter(p, s, tags, ledger)
    fraction = pump_fraction(p, motors, actuators)
    if fraction <= 0.0:
        if s.neat != 0.0 or s.water != 0.0 or s.dose != 0.0 or streams[p.out, VOLUME] != 0.0:
            s.neat = 0.0
            s.water = 0.0
            s.dose = 0.0
            no_flow(streams, p.out)
            if p.offer >= 0:
                no_flow(streams, p.draw)
            if p.water_offer >= 0:
                no_flow(streams, p.water_draw)
        return 0
    line = p.plug >= 0
    if line:
        row = parcels[inlet_row(plugs[p.plug])]
    else:
        row = streams[p.out]
    flags = _neat(p, s, f, fraction, weather, streams, offers, row, ledger, dt)
    if p.water_offer >= 0:
        flags |= _dilute(p, s, f, m, streams, offers, row, dt)
    if p.good_dilution > 0.0 and row[POLY] > 0.0:
        _disperse(p, s, row, ledger)
    per_second = 1.0 / dt
    if line:
        push(plugs[p.plug], plug_states[p.plug], parcels, now)
        no_flow(streams, p.out)
        over = plug_states[p.plug].filled - plugs[p.plug].volume
        if over > 0.0:
            pop(
                plugs[p.plug], plug_states[p.plug], parcels, over, streams, p.out, per_second, False, now,
                m, ledger,
            )  # fmt: skip
    else:
        for k in range(NS):
            row[k] *= per_second
    out = p.out
    if p.substance == COAG:
        s.dose = streams[out, COAG]
    else:
        s.dose = streams[out, POLY] + streams[out, POLY_SPENT]
    return flags
