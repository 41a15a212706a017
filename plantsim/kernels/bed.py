"""The bed of a clarifier: levels and sums of the column, the rake, channels through it, what it offers."""

from __future__ import annotations

import math

from plantsim.jit import part
from plantsim.kernels.rows import slurry_density, turbidity, water_density
from plantsim.records import (
    COARSE,
    COLLOID,
    FINES,
    HEAT,
    NS,
    OFFER_DENSITY,
    OFFER_LEVEL,
    VOLUME,
    WARN_PACKED,
)

MUD = 10.0
"""Solids [kg/m3] that count as mud for `mud_level`; common practice, no source."""
MERGE = 0.4
"""Part of a layer below which the top layer is merged into the next."""
GRAVITY = 9.80665


@part
def clear_layer_of(p, s):
    """Layer just above the bed: where channelled water comes from."""
    inside = p.layers - 1 - int(s.bed_level / p.height)
    return min(max(inside - 1, s.top), p.layers - 1)


@part
def _crossing(p, s, tables, total, threshold, j):
    """Height in layers above the bottom at which solids, seen from above, first reach a threshold.

    Linear between the middles of layers, so that it moves without steps. `j` is the layer in which they do.
    """
    n = p.layers
    if j == n:
        return 0.5 * total[n - 1] / threshold
    if j == s.top:
        return n - 1 - j + s.top_volume / tables[p.volumes + j]
    return n - j - 0.5 + (total[j] - threshold) / (total[j] - total[j - 1])


@part
def _look_over(n, top, coarse, fines, total, densest, gel):
    """Form the solids of every layer; returns how many are packed, and the first from the top with mud and with
    a bed that carries itself (`n`: none)."""
    packed = 0
    mud = n
    bed = n
    for j in range(n):
        c = coarse[j] + fines[j]
        total[j] = c
        packed += 1 if c >= densest else 0
        here = j if c >= MUD else n
        here = here if j >= top else n
        mud = here if here < mud else mud
        here = j if c >= gel else n
        here = here if j >= top else n
        bed = here if here < bed else bed
    return packed, mud, bed


@part
def column(p, s, m, tables, layers):
    """Totals over the column and the levels in it; returns warning bits."""
    n = max(1, p.layers)
    top = s.top
    gel = p.c_gel
    total = layers[p.pool : p.pool + n]
    coarse = layers[p.pool + COARSE * n : p.pool + (COARSE + 1) * n]
    fines = layers[p.pool + FINES * n : p.pool + (FINES + 1) * n]
    colloid = layers[p.pool + COLLOID * n : p.pool + (COLLOID + 1) * n]
    held = tables[p.volumes : p.volumes + n]
    packed, mud_layer, bed_layer = _look_over(n, top, coarse, fines, total, p.c_max, gel)
    # four partial sums each, so that an addition need not wait for the one before
    mass0 = mass1 = mass2 = mass3 = 0.0
    high0 = high1 = high2 = high3 = 0.0
    for j in range(0, n - 3, 4):
        mass0 += (total[j] + colloid[j]) * held[j]
        high0 += total[j]
        mass1 += (total[j + 1] + colloid[j + 1]) * held[j + 1]
        high1 += total[j + 1]
        mass2 += (total[j + 2] + colloid[j + 2]) * held[j + 2]
        high2 += total[j + 2]
        mass3 += (total[j + 3] + colloid[j + 3]) * held[j + 3]
        high3 += total[j + 3]
    for j in range(n - n % 4, n):
        mass0 += (total[j] + colloid[j]) * held[j]
        high0 += total[j]
    odd = s.top_volume - held[top]  # the top layer may hold more or less than a layer
    s.inventory = (mass0 + mass1) + (mass2 + mass3) + (total[top] + colloid[top]) * odd
    high = (high0 + high1) + (high2 + high3) + total[top] * odd / held[top]
    water = water_density(layers[p.pool + HEAT * n + n - 1])
    s.bed_pressure = GRAVITY * p.height * high * (1.0 - water / m.solids_density)
    s.level = p.height * (n - 1 - top + s.top_volume / held[top])

    s.mud_level = p.height * _crossing(p, s, tables, total, MUD, mud_layer)
    bed = 0.0
    mass = 0.0
    if gel > 0.0:
        j = bed_layer
        bed = _crossing(p, s, tables, total, gel, j)
        for i in range(bed_layer, n):
            mass += total[i] * held[i] if total[i] >= gel else 0.0
        if j == top:
            mass += total[j] * odd
        elif j < n:
            # the bed's top lies between the middles of layers j and j - 1
            over = bed - (n - j)
            mass += over * (total[j] * held[j] if over < 0.0 else total[j - 1] * held[j - 1])
        else:
            mass = bed * total[n - 1] * held[n - 1]
    s.bed_level = p.height * bed
    s.bed_mass = mass
    s.temperature = layers[p.pool + HEAT * n + top]
    s.overflow_solids = total[top] + colloid[top]
    s.turbidity = turbidity(coarse[top], fines[top], colloid[top], m)
    return WARN_PACKED if packed > 0 else 0


@part
def yield_at(p, m, layers, j):
    """Yield stress [Pa] of the mud in layer j: a phi^b."""
    total = layers[p.pool + j]
    if total < 1.0:
        return 0.0
    return m.yield_a * math.exp(m.yield_b * math.log(total / m.solids_density))


@part
def turn_rake(p, s, f, m, motor_s, actuator_s, layers, dt):
    """Torque, trip, lift and packing of the rake.

    A disc of the rake's radius shears the mud on one face: T = (2 pi / 3) R^3 tau, tau the yield stress of
    the mud at the rake's height, times the part of its blade that stands in the bed and the stiffening of a
    bed that has set. The disc is common practice for an upper estimate, no source.
    """
    n = p.layers
    s.yield_stress = yield_at(p, m, layers, n - 1)
    if p.torque_limit <= 0.0:
        return
    motor = p.rake_motor
    speed = motor_s[motor].speed if motor >= 0 else 1.0
    running = speed > 0.0
    height = 0.0
    if p.rake_lift >= 0:
        height = actuator_s[p.rake_lift].position * p.rake_travel
    s.rake_height = height
    deep = s.bed_level - height
    work = 1.0 if deep > 0.0 else 0.0
    if p.rake_blade > 0.0:
        work = min(max(deep / p.rake_blade, 0.0), 1.0)
    torque = 0.0
    if running:
        stress = s.yield_stress
        lifted = int(height / p.height)
        if lifted > 0:
            stress = yield_at(p, m, layers, max(n - 1 - lifted, s.top))
        radius = p.radius
        torque = 2.0 * math.pi / 3.0 * radius * radius * radius * stress * work
        torque = torque * (1.0 + p.pack_gain * s.packing) / p.torque_limit
        if f.island > 0.0:
            torque += f.island * 0.5 * (1.0 - math.cos(2.0 * math.pi * s.rake_turn))
        if p.rake_period > 0.0:
            turn = s.rake_turn + speed * dt / p.rake_period
            s.rake_turn = turn - int(turn)
    s.torque = torque
    over = p.torque_trip > 0.0 and torque > p.torque_trip
    if motor >= 0:
        if s.torque_tripped == 1 and motor_s[motor].tripped == 0:
            s.torque_tripped = 0
        if over:
            s.torque_tripped = 1
            motor_s[motor].tripped = 1
        if p.rake_period > 0.0:
            motor_s[motor].load = torque * p.torque_limit * speed * (2.0 * math.pi / p.rake_period)
    else:
        s.torque_tripped = 1 if over else 0
    target = 1.0 if not running and layers[p.pool + n - 1] >= p.c_gel else 0.0
    if s.packing != target and p.pack_time > 0.0:
        s.packing += (target - s.packing) * (dt / (p.pack_time + dt))
        if s.packing < 1e-9:
            s.packing = 0.0


@part
def open_channel(p, s, tables, layers, dt):
    """Let a channel of clear water through the bed open or heal.

    The bed gives mud at no more than a downward speed `channel_flux` at the bottom; less when it is thinner
    than the rake's blade is high, less when its bottom is thinner than twice the gel point, and half as much
    through a channel already open. Drawn faster, the rest comes to be water: rat-holing as operators know it,
    in the simplest form that shows it and its hysteresis; common practice, no source.
    """
    if p.channel_flux <= 0.0 or p.rigid == 1:
        s.channel = 0.0
        return
    target = 0.0
    bottom = layers[p.pool + p.layers - 1]
    speed = s.underflow * p.height / tables[p.volumes + p.layers - 1]
    if speed > 0.0 and bottom >= p.c_gel and p.c_gel > 0.0:
        bound = p.channel_flux * min(0.5 * bottom / p.c_gel, 1.0) * (1.0 - 0.5 * s.channel)
        if p.rake_blade > 0.0:
            bound *= min(s.bed_level / p.rake_blade, 1.0)
        if speed > bound:
            target = 1.0 - bound / speed
    if target == s.channel:
        return
    time = p.channel_time if target > s.channel else p.heal_time
    s.channel += (target - s.channel) * (dt / (time + dt))
    if s.channel < 1e-9:
        s.channel = 0.0


@part
def offer_underflow(p, s, m, tables, offers, layers):
    """Offer the underflow: the bottom layer, mixed with what channels through from above the bed.

    Each outlet is offered its share of what stands above the last part layer, so that together they never
    draw the tank dry.
    """
    n = p.layers
    offer = p.offer
    if offer < 0:
        return
    share = s.channel
    clear = p.pool + clear_layer_of(p, s)
    bottom = p.pool + n - 1
    for k in range(1, NS):
        offers[offer, k] = (1.0 - share) * layers[bottom + k * n] + share * layers[clear + k * n]
    spare = s.volume - MERGE * tables[p.volumes + n - 1]
    if s.top == 0:
        spare -= max(s.top_volume - tables[p.volumes], 0.0)  # what spills in the next step
    offers[offer, VOLUME] = max(0.0, spare) / max(1, p.n_outlets)
    offers[offer, OFFER_LEVEL] = s.level
    solids = offers[offer, COARSE] + offers[offer, FINES] + offers[offer, COLLOID]
    offers[offer, OFFER_DENSITY] = slurry_density(solids, m.solids_density, offers[offer, HEAT])
