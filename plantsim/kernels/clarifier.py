"""A clarifier/thickener in layers: settling, compression, bulk flow and level.

The one-dimensional conservation law of continuous sedimentation with compression, on finite volumes:

    d(A C)/dt + d/dz [A (q C + s f(C) - s dA_c(C)/dz)] = feed

with z downward, A the plan area, q the bulk speed (upward above the feed, downward below it), f = C v(C) the
batch settling flux, A_c the integral of the compression coefficient and s the local settling factor: what the
floc makes of the settling speed (and of the bed's permeability alike) over the viscosity of the water.
References: R. Buerger, K. H. Karlsen, J. D. Towers, SIAM J. Appl. Math. 65 (2005) 882-940; R. Buerger,
S. Diehl, I. Nopens, Water Res. 45 (2011) 2247-2260. Settling and compression come as tables of C, the sum of
coarse and fines (`plantsim.plant.settling_table`).

* **Settling flux**: Godunov's for a flux with one hump, as the least of what the upper layer can send,
  s_u f(min(C_u, c_hat)), and what the lower can take, s_l f(max(C_l, c_hat)). Bulk flow upwind, explicit
  Euler: first order in space and time, and monotone within the step bound of the settling table.
* **Classes**: the flux of C carries the composition of the layer it leaves; clay, bound coagulant and bound
  polymer ride with the fines. Coarse slips down faster by its own speed, hindered as (1 - C/c_gel)^3 and gone
  at the gel point (an empirical cubic in place of Richardson and Zaki's power).
* **Haze**: below `capture` flocs are too few to sweep the fines, and the flux is multiplied by
  C/(C + capture), C held at c_hat. An empirical form in the spirit of I. Takacs, G. G. Patry, D. Nolasco,
  Water Res. 25 (1991) 1263-1271, for the poorly flocculated rest; not theirs.
* **Water and what is in it** (colloid, coagulant, polymer, heat) move with the bulk flow only: the return
  flow of the water that sinking solids push up is neglected for them. Nothing reacts but the feed, once, in
  the feedwell.
* **Level**: layers above `top` are empty. The top layer takes up every change of volume, is merged into the
  next below 0.4 of a layer and split above a layer and a half. Water stands in the highest layer up to the
  weir; what is above it flows over in the next step, so that the row of the overflow is known before all
  other flows.
* **Underflow**: what the outlets drew is taken out exactly: from the bottom layer and, for the part that has
  channelled, from the layer just above the bed.

Two calls in each step: `spill_clarifier` before all other flows, `step_clarifier` after them.
`refresh_clarifier` once before the first step and after any change from outside. The bed is in `bed`.
"""

from __future__ import annotations

from plantsim.jit import kernel
from plantsim.kernels.bed import (
    MERGE,
    clear_layer_of,
    column,
    offer_underflow,
    open_channel,
    turn_rake,
    yield_at,
)
from plantsim.kernels.chemistry import react, settling_factor
from plantsim.kernels.rows import gather, no_flow, relative_viscosity, slurry_density
from plantsim.records import (
    CLAY,
    COAG_BOUND,
    COARSE,
    COLLOID,
    FINES,
    HEAT,
    IN_RAIN,
    NS,
    OUT_EVAPORATION,
    OUT_SPILL,
    POLY_BOUND,
    VOLUME,
    WARN_COURANT,
    WARN_LOW,
)

SPLIT = 0.5
"""A thick top layer is split when it holds a layer and this part of the next."""

# where the work arrays stand in `scratch`: two rows, then arrays of a width of whole cache lines
_ROW, _UNDER = 0, 16
_ROOM, _DOWN, _UP, _FALL, _RISE, _COARSE, _SPEED, _TAKE, _SEND, _STRESS = range(1, 11)
_INVERSE = 12
_FLUX = _SPEED  # five arrays for the transport take the place of those the settling no longer needs


@kernel
def _wide(n):
    """Width of a work array: n + 1 numbers, in whole cache lines."""
    return (n + 39) // 8 * 8


@kernel
def spill_clarifier(p, s, tables, streams, layers, dt):
    """Flow over the weir in this step: what stands above it at its start; writes the overflow stream."""
    flow = 0.0
    if s.top == 0:
        flow = max(0.0, (s.top_volume - tables[p.volumes]) / dt)
    s.overflow = flow
    if p.overflow < 0:
        return
    if flow == 0.0:
        no_flow(streams, p.overflow)
        return
    streams[p.overflow, VOLUME] = flow
    for k in range(1, NS):
        streams[p.overflow, k] = flow * layers[p.pool + k * p.layers]


@kernel
def step_clarifier(
    p, s, f, m, weather, motor_s, actuator_s, links, tables, streams, offers, layers, ledger, scratch, dt
):
    """Move the layers, bed, rake and channel over one step; returns warning bits."""
    n = p.layers
    flags = 0
    feed = scratch[_ROW : _ROW + NS]
    under = scratch[_UNDER : _UNDER + NS]
    gather(links, p.inlets, p.n_inlets, streams, feed)
    gather(links, p.outlets, p.n_outlets, streams, under)
    flow = feed[VOLUME]
    if flow > 0.0 and p.rigid == 0:
        if p.shear > 0.0 and p.feedwell > 0.0:
            flags |= react(feed, p.feedwell / flow, m, ledger, dt)
        s.settling_factor = settling_factor(feed[FINES], feed[CLAY], feed[POLY_BOUND], m)
    s.feed_flow = flow
    s.feed_solids = feed[COARSE] + feed[FINES] + feed[COLLOID]
    drawn = under[VOLUME]
    s.underflow = drawn

    rain = 0.0
    evaporation = 0.0
    if p.open_area > 0.0:
        rain = weather.rain * p.open_area * dt
        evaporation = min(weather.evaporation * p.open_area * dt, 0.1 * s.top_volume)

    _book(p, s, layers, ledger, under, m, rain, evaporation, weather.air, dt)
    for k in range(NS):
        feed[k] *= dt
        under[k] *= dt
    top = s.top
    feed_layer = min(max(p.feed_layer, top), n - 1)
    clear_layer = clear_layer_of(p, s)
    channelled = s.channel * drawn * dt if drawn > 0.0 else 0.0
    over = s.overflow * dt
    slip = 0.0
    if p.rigid == 0 and p.c_gel > 0.0:
        slip = m.coarse_velocity * dt / relative_viscosity(layers[p.pool + HEAT * n + feed_layer])
    _flows(p, s, tables, scratch, feed_layer, clear_layer, feed[VOLUME], under[VOLUME], channelled, over)
    flags |= _settle(p, s, m, tables, layers, scratch, slip, dt)

    stays = s.top_volume - over
    after = stays + feed[VOLUME] - under[VOLUME] + (rain - evaporation)
    if after < 0.01 * stays:
        # more was drawn than was offered: amounts stay exact, the level no longer means anything
        flags |= WARN_LOW
        after = 0.01 * stays
    heat = rain * weather.air - evaporation * layers[p.pool + HEAT * n + top]
    _transport(p, tables, layers, scratch, top, feed_layer, clear_layer, channelled, stays, after, 1, 6)
    _transport(p, tables, layers, scratch, top, feed_layer, clear_layer, channelled, stays, after, 6, NS)
    layers[p.pool + HEAT * n + top] += heat / after
    s.volume += after - s.top_volume
    s.top_volume = after
    if after < MERGE * tables[p.volumes + top] or (top > 0 and after > tables[p.volumes + top]):
        _regrid(p, s, tables, layers)
    if p.ambient_rate > 0.0:
        _drift(p, s, weather.water, layers, clear_layer, dt)
    flags |= column(p, s, m, tables, layers)
    turn_rake(p, s, f, m, motor_s, actuator_s, layers, dt)
    open_channel(p, s, tables, layers, dt)
    offer_underflow(p, s, m, tables, offers, layers)
    return flags


@kernel
def refresh_clarifier(p, s, m, tables, offers, layers):
    """Form everything that follows from the layers, and the offer; returns warning bits."""
    n = p.layers
    s.volume = s.top_volume
    for j in range(s.top + 1, n):
        s.volume += tables[p.volumes + j]
    flags = column(p, s, m, tables, layers)
    if s.settling_factor == 0.0:
        s.settling_factor = 1.0
    s.yield_stress = yield_at(p, m, layers, n - 1)
    offer_underflow(p, s, m, tables, offers, layers)
    return flags


@kernel
def fill_clarifier(p, s, tables, layers, row):
    """Fill the whole tank with one mixture: `row` holds concentrations, the temperature in place of HEAT."""
    s.top = 0
    s.top_volume = tables[p.volumes]
    for k in range(1, NS):
        for j in range(p.layers):
            layers[p.pool + k * p.layers + j] = row[k]


@kernel
def store_clarifier(p, s, tables, layers, row):
    """What the tank holds, as a store row: volume, then amounts."""
    n = p.layers
    for k in range(NS):
        row[k] = 0.0
    for j in range(s.top, n):
        volume = s.top_volume if j == s.top else tables[p.volumes + j]
        row[VOLUME] += volume
        for k in range(1, NS):
            row[k] += volume * layers[p.pool + k * n + j]


@kernel
def _flows(p, s, tables, scratch, feed_layer, clear_layer, feed, drawn, channelled, over):
    """Bulk flow through every interface and what each layer can still lose by settling [m3 in this step]."""
    n = p.layers
    wide = _wide(n)
    room = scratch[_ROOM * wide : _ROOM * wide + n]
    down = scratch[_DOWN * wide : _DOWN * wide + n + 1]
    up = scratch[_UP * wide : _UP * wide + n + 1]
    held = tables[p.volumes : p.volumes + n]
    top = s.top
    bottom = drawn - channelled
    for i in range(n):
        q = bottom
        q += channelled if i <= clear_layer else 0.0
        q -= feed if i <= feed_layer else 0.0
        q = q if i > top else 0.0
        fall = q if q > 0.0 else 0.0
        down[i] = fall
        up[i] = fall - q
    down[n] = 0.0  # the underflow itself is taken out as a row
    up[n] = 0.0
    for j in range(n):
        room[j] = held[j] - down[j + 1] - up[j]
    room[top] += s.top_volume - held[top] - over
    room[clear_layer] -= channelled
    room[n - 1] -= max(bottom, 0.0)
    for j in range(top):
        room[j] = 0.0


@kernel
def _speeds(p, m, layers, scratch):
    """Settling factor of every layer over the viscosity of its water, in one sweep.

    `chemistry.settling_factor` written out with two divisions, and the polynomial of
    `rows.relative_viscosity` turned over, so that it vectorises; a test holds it to those two.
    """
    n = p.layers
    wide = _wide(n)
    speed = scratch[_SPEED * wide : _SPEED * wide + n]
    fines = layers[p.pool + FINES * n : p.pool + (FINES + 1) * n]
    clay = layers[p.pool + CLAY * n : p.pool + (CLAY + 1) * n]
    bound = layers[p.pool + POLY_BOUND * n : p.pool + (POLY_BOUND + 1) * n]
    heat = layers[p.pool + HEAT * n : p.pool + (HEAT + 1) * n]
    gain = 4.0 * (m.poly_gain - 1.0)
    best = m.poly_optimum
    stick = m.poly_optimum_clay
    slow = m.clay_slowing - 1.0
    for j in range(n):
        some = fines[j]
        inverse = 1.0 / (some if some > 1e-9 else 1e-9)
        share = clay[j] * inverse
        share = share if share < 1.0 else 1.0
        optimum = best * (1.0 + stick * share)
        drag = 1.0 + slow * share
        both = 1.0 / (optimum * drag)
        cover = 0.5 * bound[j] * inverse * drag * both
        cover = cover if cover < 1.0 else 1.0
        factor = (1.0 + gain * cover * (1.0 - cover)) * optimum * both
        factor = factor if some > 1e-9 else 1.0
        d = heat[j] - 20.0
        speed[j] = factor * (1.0 + d * (2.450403e-2 + d * (1.169955e-4 + d * -3.086845e-7)))


@kernel
def _settle(p, s, m, tables, layers, scratch, slip, dt):
    """Settling and compression, added to the bulk flow of the solids; returns warning bits.

    A flux J of solids leaving a layer of concentration C moves the volume J/C of its mixture, so every class
    moves by the same volumes. They are held to what the layer can lose: within the step bound that never
    bites, beyond it concentrations stay non-negative and the warning bit tells. `slip` is the distance the
    coarse would sink freely in this step [m].

    Many short loops instead of a few long ones: the compiler vectorises a loop only if it has few arrays.
    """
    n = p.layers
    wide = _wide(n)
    room = scratch[_ROOM * wide : _ROOM * wide + n]
    down = scratch[_DOWN * wide : _DOWN * wide + n]
    up = scratch[_UP * wide : _UP * wide + n]
    fall = scratch[_FALL * wide : _FALL * wide + n]
    rise = scratch[_RISE * wide : _RISE * wide + n]
    coarse = scratch[_COARSE * wide : _COARSE * wide + n]
    speed = scratch[_SPEED * wide : _SPEED * wide + n]
    take = scratch[_TAKE * wide : _TAKE * wide + n]
    send = scratch[_SEND * wide : _SEND * wide + n]
    stress = scratch[_STRESS * wide : _STRESS * wide + n]
    total = layers[p.pool : p.pool + n]
    held = tables[p.volumes : p.volumes + n]
    areas = tables[p.areas : p.areas + n]
    f_table = tables[p.flux : p.flux + p.n_flux]
    a_table = tables[p.compression : p.compression + p.n_flux]
    last = p.n_flux - 2
    per = (p.n_flux - 1) / p.c_max
    c_hat = p.c_hat
    capture = p.capture
    if p.rigid == 0:
        _speeds(p, m, layers, scratch)
    else:
        for j in range(n):
            speed[j] = 1.0
    for j in range(n):
        x = total[j] * per
        i = int(x)
        i = i if i < last else last
        i = i if i > 0 else 0
        x -= i
        x = x if x < 1.0 else 1.0
        take[j] = f_table[i] + x * (f_table[i + 1] - f_table[i])
        stress[j] = a_table[i] + x * (a_table[i + 1] - a_table[i])
    x = c_hat * per
    i = min(int(x), last)
    greatest = f_table[i] + (x - i) * (f_table[i + 1] - f_table[i])

    # what each layer can send down and what it can take
    haze = c_hat / (c_hat + capture)
    capture += 1e-30
    for j in range(n):
        c = total[j]
        low = c if c < c_hat else c_hat
        f = take[j]
        send[j] = speed[j] * (f if c < c_hat else greatest) * (low / (low + capture))
        take[j] = speed[j] * (f if c > c_hat else greatest) * haze
    per_height = 0.5 / p.height
    for i in range(1, n):
        g = send[i - 1] if send[i - 1] < take[i] else take[i]
        pull = (speed[i - 1] + speed[i]) * (stress[i] - stress[i - 1]) * per_height
        fall[i] = (g - pull) * areas[i] * dt
    # from solids to volumes of mixture, held to what the layers can lose
    for i in range(1, n):
        g = fall[i]
        moved = g / ((total[i - 1] if g > 0.0 else total[i]) + 1e-30)
        fall[i] = moved if moved > 0.0 else 0.0
        back = fall[i] - moved
        rise[i] = back if back < room[i] else room[i]
    for i in range(s.top + 1):
        fall[i] = 0.0
        rise[i] = 0.0
    for i in range(1, n):
        left = room[i - 1] - rise[i - 1]
        left = left if left > 0.0 else 0.0
        fall[i] = fall[i] if fall[i] < left else left
        send[i] = left - fall[i]  # what is left for the slip of the coarse
    per_gel = 1.0 / p.c_gel if p.c_gel > 0.0 else 0.0
    per_max = 1.0 / p.c_max
    for i in range(1, n):
        free = 1.0 - total[i - 1] * per_gel
        free = free if free > 0.0 else 0.0
        below = 1.0 - total[i] * per_max
        below = below if below > 0.0 else 0.0
        extra = slip * areas[i] * (free * free * free) * below
        coarse[i] = extra if extra < send[i] else send[i]
    for i in range(s.top + 1):
        coarse[i] = 0.0
    near = 0
    for i in range(1, n):
        near += 1 if send[i] - coarse[i] < 0.1 * held[i - 1] else 0
    for i in range(s.top + 1):
        near -= 1 if i > 0 and send[i] - coarse[i] < 0.1 * held[i - 1] else 0
    for i in range(n):
        fall[i] += down[i]
        coarse[i] += fall[i]
    spare = room[n - 1] - rise[n - 1]
    for i in range(n):
        rise[i] += up[i]
    if near > 0 or spare < 0.1 * held[n - 1]:
        return WARN_COURANT
    return 0


@kernel
def _transport(
    p, tables, layers, scratch, top, feed_layer, clear_layer, channelled, stays, after, first, end
):
    """Carry the components first..end-1 (at most five) over one step, in flux form: what leaves one layer
    enters the next, to the last bit of it. Feed and underflow rows are amounts in this step; `stays` is what
    the top layer keeps of its volume after the overflow, `after` what it holds at the end of the step."""
    n = p.layers
    wide = _wide(n)
    inverse = scratch[_INVERSE * wide : _INVERSE * wide + n]
    if first == 1:
        held = tables[p.volumes : p.volumes + n]
        for j in range(n):
            inverse[j] = 1.0 / held[j]
    per_after = 1.0 / after
    for k in range(first, end):
        c = layers[p.pool + k * n : p.pool + (k + 1) * n]
        slot = (_FLUX + k - first) * wide
        flux = scratch[slot : slot + n + 1]
        d = _DOWN
        u = _UP
        if k == COARSE:
            d = _COARSE
            u = _RISE
        elif k in (FINES, CLAY, COAG_BOUND, POLY_BOUND):
            d = _FALL
            u = _RISE
        down = scratch[d * wide : d * wide + n]
        up = scratch[u * wide : u * wide + n]
        flux[0] = 0.0
        flux[n] = 0.0
        for i in range(1, n):
            flux[i] = down[i] * c[i - 1] - up[i] * c[i]
    for k in range(first, end):
        c = layers[p.pool + k * n : p.pool + (k + 1) * n]
        slot = (_FLUX + k - first) * wide
        flux = scratch[slot : slot + n + 1]
        highest = c[top]
        from_clear = channelled * c[clear_layer]
        for j in range(n):
            c[j] += inverse[j] * (flux[j] - flux[j + 1])
        c[top] = (highest * stays + (flux[top] - flux[top + 1])) * per_after
        c[feed_layer] += (per_after if feed_layer == top else inverse[feed_layer]) * scratch[_ROW + k]
        c[clear_layer] -= (per_after if clear_layer == top else inverse[clear_layer]) * from_clear
        c[n - 1] -= (per_after if top == n - 1 else inverse[n - 1]) * (scratch[_UNDER + k] - from_clear)


@kernel
def _book(p, s, layers, ledger, under, m, rain, evaporation, air, dt):
    """Write down what passes the tank's boundary in this step, from the state at its start."""
    if rain > 0.0:
        ledger[IN_RAIN, VOLUME] += rain
        ledger[IN_RAIN, HEAT] += rain * air
    if evaporation > 0.0:
        ledger[OUT_EVAPORATION, VOLUME] += evaporation
        ledger[OUT_EVAPORATION, HEAT] += evaporation * layers[p.pool + HEAT * p.layers + s.top]
    if s.overflow > 0.0:
        over = s.overflow * dt
        s.out_volume += over
        s.solids_lost += over * s.overflow_solids
        if p.overflow < 0:
            ledger[OUT_SPILL, VOLUME] += over
            for k in range(1, NS):
                ledger[OUT_SPILL, k] += over * layers[p.pool + k * p.layers]
    drawn = under[VOLUME]
    if drawn > 0.0:
        solids = under[COARSE] + under[FINES] + under[COLLOID]
        s.under_volume += drawn * dt
        s.under_solids += solids * dt
        s.underflow_solids = solids / drawn
        s.underflow_density = slurry_density(s.underflow_solids, m.solids_density, under[HEAT] / drawn)
        s.underflow_fraction = s.underflow_solids / s.underflow_density


@kernel
def _regrid(p, s, tables, layers):
    """Merge a thin top layer into the next, or split a thick one: amounts stay."""
    n = p.layers
    while s.top < n - 1 and s.top_volume < MERGE * tables[p.volumes + s.top]:
        top = s.top
        below = tables[p.volumes + top + 1]
        whole = s.top_volume + below
        share = s.top_volume / whole
        for k in range(NS):
            a = p.pool + k * n + top
            layers[a + 1] += share * (layers[a] - layers[a + 1])
            layers[a] = 0.0
        s.top = top + 1
        s.top_volume = whole
    while s.top > 0 and s.top_volume > tables[p.volumes + s.top] + SPLIT * tables[p.volumes + s.top - 1]:
        top = s.top - 1
        for k in range(NS):
            a = p.pool + k * n + top
            layers[a] = layers[a + 1]
        s.top_volume -= tables[p.volumes + top + 1]
        s.top = top


@kernel
def _drift(p, s, water, layers, clear_layer, dt):
    """Let the clear zone drift to the temperature of the weather's water."""
    n = p.layers
    heat = layers[p.pool + HEAT * n : p.pool + (HEAT + 1) * n]
    x = p.ambient_rate * dt
    x = x / (1.0 + x)
    for j in range(n):
        heat[j] += x * (water - heat[j]) if s.top <= j <= clear_layer else 0.0
