"""Polymer make-down: batches of dry or liquid polymer, their ageing, and the day tank they feed.

Polymer in a tank is in one of three states: not yet aged, active, and worthless (decayed, or never dissolved:
fish-eyes). POLY holds the active part; POLY_SPENT the other two together, of which `unaged` can still come
good. Ageing and decay are first order, solved exactly as a chain (Bateman 1910):

    unaged -> active at 1/(age_time * viscosity ratio of the water),
    active -> worthless at ln 2/half_life * 2^((T - 20)/10).

Cold water is more viscous and swells the polymer more slowly; decay doubling for 10 degC is the usual rule of
thumb for reaction rates. Both are common practice, no source; half-life and ageing time are the user's.
Ageing goes on in the day tank. What is unaged when it is pumped away counts as spent for good.

The volume that dissolved polymer takes (a few parts per thousand) is neglected; its mass is booked as it
enters the batch (ledger row `chemical`), so powder in the store is outside the balance until then, and a
delivery only raises the store.
"""

from __future__ import annotations

import math

from plantsim.jit import part
from plantsim.kernels.rows import no_flow, part_gone, relative_fluidity
from plantsim.records import (
    FILL,
    HEAT,
    IDLE,
    IN_CHEMICAL,
    IN_SUPPLY,
    MIX,
    NS,
    OFFER_DENSITY,
    OFFER_LEVEL,
    POLY,
    POLY_SPENT,
    REACTION,
    READY,
    TRANSFER,
    VOLUME,
    WARN_LOW,
    WET,
)

_LN2 = 0.6931471805599453
_LATE = 1e-6  # slack [s] so that rounding of the timer does not add a step
_EMPTY = 1e-9  # m3
_WHISKER = 1.0 - 1e-9


@part
def age(row, unaged, p, ledger, dt):
    """Age the polymer of a tank over one step, in place; returns what is still unaged [kg]."""
    active = row[POLY]
    if row[VOLUME] < _EMPTY or (unaged <= 0.0 and active <= 0.0):
        return unaged
    temperature = row[HEAT] / row[VOLUME]
    gain = dt / p.age_time * relative_fluidity(temperature) if p.age_time > 0.0 else 1e3
    loss = 0.0
    if p.half_life > 0.0:
        loss = _LN2 * dt / p.half_life * math.exp(_LN2 * 0.1 * (temperature - 20.0))
    kept = 1.0 - part_gone(loss)
    still = 1.0 - part_gone(gain)
    made = 0.0
    if unaged > 0.0:
        # part of the unaged that is active at the end of the step; the limit where both rates are alike
        span = gain - loss
        made = unaged * (gain * kept if abs(span) < 1e-7 else gain / span * (kept - still))
    change = active * kept + made - active
    row[POLY] += change
    row[POLY_SPENT] -= change
    ledger[REACTION, POLY] += change
    ledger[REACTION, POLY_SPENT] -= change
    return unaged * still


@part
def refresh_makedown(p, s, offers):
    """Offer what the day tank holds and form its figures."""
    day = s.day
    volume = day[VOLUME]
    s.level = volume / p.day_tank
    polymer = day[POLY] + day[POLY_SPENT]
    s.activity = day[POLY] / polymer if polymer > 0.0 else 0.0
    offers[p.offer, OFFER_LEVEL] = s.level
    offers[p.offer, OFFER_DENSITY] = 1000.0
    if volume < _EMPTY:
        offers[p.offer, VOLUME] = 0.0
        return
    offers[p.offer, VOLUME] = volume * _WHISKER
    inverse = 1.0 / volume
    for k in range(1, NS):
        offers[p.offer, k] = day[k] * inverse


@part
def _fill(p, s, streams, offers, ledger, dt):
    """Run water into the batch tank; returns warning bits."""
    tank = s.tank
    flow = min(p.fill_flow, (p.batch - tank[VOLUME]) / dt)
    flags = 0
    if p.water_offer >= 0:
        most = max(0.0, offers[p.water_offer, VOLUME]) / dt
        if flow > most:
            flow = most
            flags = WARN_LOW
        offers[p.water_offer, VOLUME] -= flow * dt
        streams[p.water_draw, VOLUME] = flow
        tank[VOLUME] += flow * dt
        for k in range(1, NS):
            rate = flow * offers[p.water_offer, k]
            streams[p.water_draw, k] = rate
            tank[k] += rate * dt
    else:
        tank[VOLUME] += flow * dt
        tank[HEAT] += flow * p.water_temperature * dt
        ledger[IN_SUPPLY, VOLUME] += flow * dt
        ledger[IN_SUPPLY, HEAT] += flow * p.water_temperature * dt
    return flags


@part
def _add_polymer(p, s, wanted, good, ledger):
    """Add polymer [kg] from the store to the batch; `good` is the part that can dissolve."""
    mass = min(wanted, s.powder)
    s.powder -= mass
    s.tank[POLY_SPENT] += mass
    s.unaged += mass * good
    ledger[IN_CHEMICAL, POLY_SPENT] += mass


@part
def _go(s, state):
    """Enter a state."""
    s.state = state
    s.timer = 0.0


@part
def step_makedown(p, s, f, tags, links, streams, offers, ledger, dt):
    """Run the batch sequence and the day tank for one step; returns warning bits.

    IDLE until the day tank is below its start level, the permit tag (if any) is on and there is polymer in
    the store; FILL with water; WET: powder at an even rate for the wetting time, less what bridges in the
    hopper (liquid polymer goes in at once, without bridging or fish-eyes); MIX; READY until the day tank has
    room or calls; TRANSFER. Figures of the trade: stock of 0.1 to 0.5 %, about 60 min of mixing and ageing,
    good for hours to a day (common practice, as preparation notes for dry polymer give it).
    """
    flags = 0
    for i in range(p.outlets, p.outlets + p.n_outlets):
        stream = links[i]
        drawn = streams[stream, VOLUME]
        if drawn != 0.0:
            if s.day[VOLUME] > 0.0:
                s.day_unaged -= s.day_unaged * min(1.0, drawn * dt / s.day[VOLUME])
            for k in range(NS):
                s.day[k] -= streams[stream, k] * dt
    s.unaged = age(s.tank, s.unaged, p, ledger, dt)
    s.day_unaged = age(s.day, s.day_unaged, p, ledger, dt)

    s.timer += dt
    state = s.state
    if state != FILL and p.water_draw >= 0 and streams[p.water_draw, VOLUME] != 0.0:
        no_flow(streams, p.water_draw)
    if state == IDLE:
        called = s.level < p.start_level and s.powder > 0.0
        if called and (p.permit < 0 or tags[p.permit] > 0.5):
            _go(s, FILL)
    elif state == FILL:
        flags = _fill(p, s, streams, offers, ledger, dt)
        if s.tank[VOLUME] >= p.batch * _WHISKER:
            _end_fill(p, s, f, ledger)
    elif state == WET:
        fed = min(dt, p.wet_time - (s.timer - dt))
        if fed > 0.0:
            rate = p.strength * p.batch / p.wet_time
            _add_polymer(p, s, rate * fed * (1.0 - f.bridging), 1.0 - f.fish_eyes, ledger)
        if s.timer >= p.wet_time - _LATE:
            _go(s, MIX)
    elif state == MIX:
        if s.timer >= p.mix_time * f.mix_factor - _LATE:
            s.batches += 1
            _go(s, READY)
    elif state == READY:
        room = p.day_tank - s.day[VOLUME]
        if room >= s.tank[VOLUME] or s.day[VOLUME] < p.start_level * p.day_tank:
            _go(s, TRANSFER)
    else:
        _transfer(p, s, dt)

    if s.day[VOLUME] < 1e-3 * p.day_tank:
        s.starved += dt
    refresh_makedown(p, s, offers)
    return flags


@part
def _end_fill(p, s, f, ledger):
    """The batch tank is full of water: shut it off and go on to the polymer."""
    if p.liquid != 0 or p.wet_time <= 0.0:
        good = 1.0 if p.liquid != 0 else 1.0 - f.fish_eyes
        lost = 0.0 if p.liquid != 0 else f.bridging
        _add_polymer(p, s, p.strength * p.batch * (1.0 - lost), good, ledger)
        _go(s, MIX)
    else:
        _go(s, WET)


@part
def _transfer(p, s, dt):
    """Pump the batch into the day tank, as far as there is room."""
    held = s.tank[VOLUME]
    volume = min(p.transfer_flow * dt, max(0.0, p.day_tank - s.day[VOLUME]))
    if volume >= held * _WHISKER:
        # the last of it: everything goes, so that the tank is truly empty
        for k in range(NS):
            s.day[k] += s.tank[k]
            s.tank[k] = 0.0
        s.day_unaged += s.unaged
        s.unaged = 0.0
        _go(s, IDLE)
    elif volume > 0.0:
        share = volume / held
        for k in range(NS):
            amount = s.tank[k] * share
            s.tank[k] -= amount
            s.day[k] += amount
        moved = s.unaged * share
        s.unaged -= moved
        s.day_unaged += moved
