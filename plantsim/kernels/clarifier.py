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
* **Pace**: a tank changes slowly, so its layers, bed and rake are stepped once in `every` ticks, as long a step
  as is stable. What is fed and drawn meanwhile is added up and moved then; what flows over the weir is found at
  the start of those ticks and is even over them. What is between the streams and the layers is part of what the
  tank holds (`store_clarifier`), so balances close at every tick.

Two calls in each step: `spill_clarifier` before all other flows, `step_clarifier` after them.
`refresh_clarifier` once before the first step and after any change from outside. The bed is in `bed`.
"""

from __future__ import annotations

from plantsim.jit import kernel, part
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
from plantsim.kernels.rows import gather, no_flow, relative_fluidity, slurry_density
from plantsim.records import (
    CLAY,
    COAG,
    COAG_BOUND,
    COARSE,
    COLLOID,
    FINES,
    HEAT,
    IN_RAIN,
    MOST_LAYERS,
    NS,
    OUT_EVAPORATION,
    OUT_SPILL,
    POLY,
    POLY_BOUND,
    POLY_SPENT,
    REACTION,
    VOLUME,
    WARN_COURANT,
    WARN_LOW,
)

SPLIT = 0.5
"""A thick top layer is split when it holds a layer and this part of the next."""

# Where the work stands in `scratch` (`records.N_SCRATCH` numbers): two rows, then arrays of one width, an odd number
# of cache lines so that they do not crowd one another out of the cache. All offsets are constants, which tells the
# compiler that these arrays do not overlap: only then does it vectorise a loop over many of them without a test at
# run time. Every array has a number before its first that stays zero, and room for one behind its last.
_FEED, _UNDER = 0, 16
_WIDTH = 424
(_ROOM, _DOWN, _UP, _FALL, _RISE, _COARSE, _SPEED, _TAKE, _SEND, _STRESS, _HELD, _AREA, _INVERSE,
 _UPWARD) = range(40, 40 + 14 * _WIDTH, _WIDTH)  # fmt: skip
_OLD = 40 + 14 * _WIDTH  # of component k, at the start of the step: _OLD + k * _WIDTH; of 0 the solids


@part
def spill_clarifier(p, s, tables, streams, layers, dt):
    """Flow over the weir until the layers' next step: what stands above it at the start; writes the overflow stream."""
    if s.waited > 0:
        return
    flow = 0.0
    if s.top == 0:
        flow = max(0.0, (s.top_volume - tables[p.volumes]) / (dt * max(p.every, 1)))
    s.overflow = flow
    if p.overflow < 0:
        return
    if flow == 0.0:
        no_flow(streams, p.overflow)
        return
    streams[p.overflow, VOLUME] = flow
    for k in range(1, NS):
        streams[p.overflow, k] = flow * layers[p.pool + k * p.layers]


@part
def _collect(p, s, links, streams, dt):
    """Add up what passes the tank's boundary between two steps of its layers; returns the ticks since the last."""
    for i in range(p.inlets, p.inlets + p.n_inlets):
        stream = links[i]
        for k in range(NS):
            s.fed[k] += streams[stream, k] * dt
    for i in range(p.outlets, p.outlets + p.n_outlets):
        stream = links[i]
        if streams[stream, VOLUME] != 0.0:
            for k in range(NS):
                s.drawn[k] += streams[stream, k] * dt
    s.spilt += s.overflow * dt
    s.waited += 1
    return s.waited


@part
def step_clarifier(
    p, s, f, m, weather, motor_s, actuator_s, links, tables, streams, offers, layers, ledger, scratch, dt
):
    """Take in the streams of one tick and, when it is time, move the layers, bed, rake and channel; returns
    warning bits."""
    if p.every > 1 and _collect(p, s, links, streams, dt) < p.every:
        return 0
    return _step_layers(
        p, s, f, m, weather, motor_s, actuator_s, links, tables, streams, offers, layers, ledger, scratch,
        dt * max(p.every, 1),
    )  # fmt: skip


@part
def _step_layers(
    p, s, f, m, weather, motor_s, actuator_s, links, tables, streams, offers, layers, ledger, scratch, dt
):
    """Move the layers, bed, rake and channel over one step of theirs, `dt`; returns warning bits."""
    n = max(1, min(p.layers, MOST_LAYERS))
    flags = 0
    feed = scratch[_FEED : _FEED + NS]
    under = scratch[_UNDER : _UNDER + NS]
    if p.every > 1:
        per_second = 1.0 / dt
        for k in range(NS):
            feed[k] = s.fed[k] * per_second
            under[k] = s.drawn[k] * per_second
            s.fed[k] = 0.0
            s.drawn[k] = 0.0
        s.spilt = 0.0
        s.waited = 0
    else:
        gather(links, p.inlets, p.n_inlets, streams, feed)
        gather(links, p.outlets, p.n_outlets, streams, under)
    flow = feed[VOLUME]
    if flow > 0.0 and p.rigid == 0:
        if p.shear > 0.0 and p.feedwell > 0.0:
            bound = feed[POLY_BOUND]
            flags |= react(feed, p.feedwell / flow, m, ledger, dt)
            if p.broken > 0.0:
                bound = p.broken * (feed[POLY_BOUND] - bound)
                feed[POLY_BOUND] -= bound
                feed[POLY_SPENT] += bound
                ledger[REACTION, POLY_BOUND] -= bound * dt
                ledger[REACTION, POLY_SPENT] += bound * dt
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
    coarse = layers[p.pool + COARSE * n : p.pool + (COARSE + 1) * n]
    fines = layers[p.pool + FINES * n : p.pool + (FINES + 1) * n]
    colloid = layers[p.pool + COLLOID * n : p.pool + (COLLOID + 1) * n]
    clay = layers[p.pool + CLAY * n : p.pool + (CLAY + 1) * n]
    coag = layers[p.pool + COAG * n : p.pool + (COAG + 1) * n]
    coag_bound = layers[p.pool + COAG_BOUND * n : p.pool + (COAG_BOUND + 1) * n]
    poly = layers[p.pool + POLY * n : p.pool + (POLY + 1) * n]
    poly_bound = layers[p.pool + POLY_BOUND * n : p.pool + (POLY_BOUND + 1) * n]
    poly_spent = layers[p.pool + POLY_SPENT * n : p.pool + (POLY_SPENT + 1) * n]
    heat = layers[p.pool + HEAT * n : p.pool + (HEAT + 1) * n]
    total = layers[p.pool : p.pool + n]
    f_table = tables[p.flux : p.flux + p.n_flux]
    a_table = tables[p.compression : p.compression + p.n_flux]
    drift = p.ambient_rate * dt
    drift /= 1.0 + drift
    _keep(
        n, scratch, total, coarse, fines, colloid, clay, coag, coag_bound, poly, poly_bound, poly_spent, heat,
        top, clear_layer, drift, weather.water,
    )  # fmt: skip
    _look_up(p, n, f_table, a_table, scratch)
    _speeds(p, n, m, f_table, scratch)
    held = tables[p.volumes : p.volumes + n]
    areas = tables[p.areas : p.areas + n]
    _flows(
        n, top, s.top_volume - held[top] - over, held, areas, scratch, feed_layer, clear_layer, feed[VOLUME],
        under[VOLUME] - channelled, channelled, dt,
    )  # fmt: skip
    slip = 0.0
    if p.rigid == 0 and p.c_gel > 0.0:
        slip = m.coarse_velocity * relative_fluidity(scratch[_OLD + HEAT * _WIDTH + feed_layer])
    flags |= _settle(p, n, top, scratch, slip)

    stays = s.top_volume - over
    after = stays + feed[VOLUME] - under[VOLUME] + (rain - evaporation)
    if after < 0.01 * stays:
        # more was drawn than was offered: amounts stay exact, the level no longer means anything
        flags |= WARN_LOW
        after = 0.01 * stays
    warmth = rain * weather.air - evaporation * scratch[_OLD + HEAT * _WIDTH + top]
    scratch[_INVERSE + top] = 1.0 / after
    _transport(n, scratch, coarse, fines, colloid, clay, coag, coag_bound, poly, poly_bound, poly_spent, heat)
    _ends(p, n, layers, scratch, top, feed_layer, clear_layer, channelled, (stays - after) / after)
    heat[top] += warmth / after
    s.volume += after - s.top_volume
    s.top_volume = after
    if after < MERGE * tables[p.volumes + top] or (top > 0 and after > tables[p.volumes + top]):
        _regrid(p, s, tables, layers)
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
    # what the layers have not seen yet; over a weir that leaves the plant it is booked when they have
    for k in range(NS):
        row[k] += s.fed[k] - s.drawn[k]
    if p.overflow >= 0 and s.spilt > 0.0:
        row[VOLUME] -= s.spilt
        for k in range(1, NS):
            row[k] -= s.spilt * layers[p.pool + k * n]


@part
def _flows(n, top, odd, held, areas, scratch, feed_layer, clear_layer, feed, bottom, channelled, dt):
    """Bulk flow through every interface and what each layer can still lose by settling [m3 in this step].

    `odd` is what the top layer can lose more than its nominal volume, `bottom` what is drawn from the last.
    """
    for i in range(n):
        # through the upper and the lower face of the layer; the underflow itself is taken out as a row
        above = bottom + (channelled if i <= clear_layer else 0.0) - (feed if i <= feed_layer else 0.0)
        below = bottom + (channelled if i < clear_layer else 0.0) - (feed if i < feed_layer else 0.0)
        above = above if i > top else 0.0
        below = below if i >= top and i < n - 1 else 0.0
        down = above if above > 0.0 else 0.0
        up = down - above
        volume = held[i]
        room = volume - (below if below > 0.0 else 0.0) - up
        scratch[_DOWN + i] = down
        scratch[_UP + i] = up
        scratch[_ROOM + i] = room if i >= top else 0.0
        scratch[_HELD + i] = volume
        scratch[_INVERSE + i] = 1.0 / volume
        scratch[_AREA + i] = areas[i] * dt
    scratch[_DOWN + n] = 0.0
    scratch[_UP + n] = 0.0
    scratch[_ROOM + top] += odd
    scratch[_ROOM + clear_layer] -= channelled
    scratch[_ROOM + n - 1] -= max(bottom, 0.0)


@part
def _keep(
    n, scratch, total, coarse, fines, colloid, clay, coag, coag_bound, poly, poly_bound, poly_spent, heat,
    top, clear_layer, drift, water,
):  # fmt: skip
    """Copy the layers to where the work is done; the clear zone drifts to the temperature of the weather's water.

    `drift` is the part of the way it goes in this step.
    """
    for j in range(n):
        scratch[_OLD + j] = total[j]
        scratch[_OLD + COARSE * _WIDTH + j] = coarse[j]
        scratch[_OLD + FINES * _WIDTH + j] = fines[j]
        scratch[_OLD + COLLOID * _WIDTH + j] = colloid[j]
        scratch[_OLD + CLAY * _WIDTH + j] = clay[j]
        scratch[_OLD + COAG * _WIDTH + j] = coag[j]
        scratch[_OLD + COAG_BOUND * _WIDTH + j] = coag_bound[j]
        scratch[_OLD + POLY * _WIDTH + j] = poly[j]
        scratch[_OLD + POLY_BOUND * _WIDTH + j] = poly_bound[j]
        scratch[_OLD + POLY_SPENT * _WIDTH + j] = poly_spent[j]
        warm = heat[j]
        way = drift if top <= j else 0.0
        way = way if j <= clear_layer else 0.0
        scratch[_OLD + HEAT * _WIDTH + j] = warm + way * (water - warm)


@part
def _look_up(p, n, f_table, a_table, scratch):
    """Settling flux and compression of every layer, linear in their tables.

    In most layers one of the two needs no table: clear water stands before its second point, and nothing is
    compressed below the gel point.
    """
    last = p.n_flux - 2
    per = (p.n_flux - 1) / p.c_max
    per_height = 0.5 / p.height
    first_f = f_table[0]
    first_rise = f_table[1] - first_f
    loose = max(0, min(int(p.c_gel * per), last + 1))
    if a_table[loose] != 0.0:
        loose = 0
    for j in range(n):
        x = scratch[_OLD + j] * per
        i = int(x)
        if i <= 0:
            scratch[_TAKE + j] = first_f + x * first_rise
        else:
            i = i if i < last else last
            x -= i
            x = x if x < 1.0 else 1.0
            scratch[_TAKE + j] = f_table[i] + x * (f_table[i + 1] - f_table[i])
        if i < loose:
            scratch[_STRESS + j] = 0.0
        else:
            scratch[_STRESS + j] = (a_table[i] + x * (a_table[i + 1] - a_table[i])) * per_height


@part
def _speeds(p, n, m, f_table, scratch):
    """What every layer can send down and what it can take of its upper neighbour [kg/(m2 s)].

    The settling factor over the viscosity of the water is `chemistry.settling_factor` written out with two
    divisions, times `rows.relative_fluidity`, so that the sweep vectorises; a test holds it to those two.
    """
    c_hat = p.c_hat
    capture = p.capture
    last = p.n_flux - 2
    x = c_hat * ((p.n_flux - 1) / p.c_max)
    i = min(int(x), last)
    greatest = f_table[i] + (x - i) * (f_table[i + 1] - f_table[i])
    haze = c_hat / (c_hat + capture)
    capture += 1e-30
    rigid = p.rigid != 0
    gain = 4.0 * (m.poly_gain - 1.0)
    best = m.poly_optimum
    stick = m.poly_optimum_clay
    slow = m.clay_slowing - 1.0
    for j in range(n):
        some = scratch[_OLD + FINES * _WIDTH + j]
        inverse = 1.0 / (some if some > 1e-9 else 1e-9)
        share = scratch[_OLD + CLAY * _WIDTH + j] * inverse
        share = share if share < 1.0 else 1.0
        optimum = best * (1.0 + stick * share)
        drag = 1.0 + slow * share
        both = 1.0 / (optimum * drag)
        cover = 0.5 * scratch[_OLD + POLY_BOUND * _WIDTH + j] * inverse * drag * both
        cover = cover if cover < 1.0 else 1.0
        factor = (1.0 + gain * cover * (1.0 - cover)) * optimum * both
        factor = factor if some > 1e-9 else 1.0
        d = scratch[_OLD + HEAT * _WIDTH + j] - 20.0
        speed = factor * (1.0 + d * (2.450403e-2 + d * (1.169955e-4 + d * -3.086845e-7)))
        speed = 1.0 if rigid else speed
        c = scratch[_OLD + j]
        low = c if c < c_hat else c_hat
        f = scratch[_TAKE + j]
        scratch[_SPEED + j] = speed
        scratch[_SEND + j] = speed * (f if c < c_hat else greatest) * (low / (low + capture))
        scratch[_TAKE + j] = speed * (f if c > c_hat else greatest) * haze


@part
def _settle(p, n, top, scratch, slip):
    """Settling and compression, added to the bulk flow of the solids; returns warning bits.

    A flux J of solids leaving a layer of concentration C moves the volume J/C of its mixture, so every class
    moves by the same volumes. They are held to what the layer can lose: within the step bound that never
    bites, beyond it concentrations stay non-negative and the warning bit tells. `slip` is the speed at which
    the coarse would sink freely [m/s].
    """
    for i in range(n):
        send = scratch[_SEND + i - 1]
        take = scratch[_TAKE + i]
        g = send if send < take else take
        pull = (scratch[_SPEED + i - 1] + scratch[_SPEED + i]) * (scratch[_STRESS + i] - scratch[_STRESS + i - 1])
        g = (g - pull) * scratch[_AREA + i]
        # from solids to volumes of mixture, held to what the layers can lose
        above = scratch[_OLD + i - 1]
        here = scratch[_OLD + i]
        moved = g / ((above if g > 0.0 else here) + 1e-30)
        fall = moved if moved > 0.0 else 0.0
        rise = fall - moved
        room = scratch[_ROOM + i]
        rise = rise if rise < room else room
        scratch[_FALL + i] = fall if i > top else 0.0
        scratch[_RISE + i] = rise if i > top else 0.0
    per_gel = 1.0 / p.c_gel if p.c_gel > 0.0 else 0.0
    per_max = 1.0 / p.c_max
    near = 0
    for i in range(n):
        left = scratch[_ROOM + i - 1] - scratch[_RISE + i - 1]
        left = left if left > 0.0 else 0.0
        fall = scratch[_FALL + i]
        fall = fall if fall < left else left
        left -= fall
        free = 1.0 - scratch[_OLD + i - 1] * per_gel
        free = free if free > 0.0 else 0.0
        below = 1.0 - scratch[_OLD + i] * per_max
        below = below if below > 0.0 else 0.0
        extra = slip * scratch[_AREA + i] * (free * free * free) * below
        extra = extra if extra < left else left
        extra = extra if i > top else 0.0
        short = 1 if left - extra < 0.1 * scratch[_HELD + i - 1] else 0
        near += short if i > top else 0
        fall += scratch[_DOWN + i]
        scratch[_FALL + i] = fall
        scratch[_COARSE + i] = fall + extra
        scratch[_UPWARD + i] = scratch[_RISE + i] + scratch[_UP + i]
    scratch[_FALL + n] = 0.0
    scratch[_COARSE + n] = 0.0
    scratch[_UPWARD + n] = 0.0
    spare = scratch[_ROOM + n - 1] - scratch[_RISE + n - 1]
    if near > 0 or spare < 0.1 * scratch[_HELD + n - 1]:
        return WARN_COURANT
    return 0


@part
def _transport(n, scratch, coarse, fines, colloid, clay, coag, coag_bound, poly, poly_bound, poly_spent, heat):
    """Carry every component over one step, in flux form: what leaves one layer enters the next, to the last
    bit of it, for both find it by the same operations on the same numbers."""
    for i in range(n):
        down = scratch[_DOWN + i]
        up = scratch[_UP + i]
        next_down = scratch[_DOWN + i + 1]
        next_up = scratch[_UP + i + 1]
        inverse = scratch[_INVERSE + i]
        above = scratch[_OLD + COLLOID * _WIDTH + i - 1]
        here = scratch[_OLD + COLLOID * _WIDTH + i]
        below = scratch[_OLD + COLLOID * _WIDTH + i + 1]
        colloid[i] = here + inverse * ((down * above - up * here) - (next_down * here - next_up * below))
        above = scratch[_OLD + COAG * _WIDTH + i - 1]
        here = scratch[_OLD + COAG * _WIDTH + i]
        below = scratch[_OLD + COAG * _WIDTH + i + 1]
        coag[i] = here + inverse * ((down * above - up * here) - (next_down * here - next_up * below))
        above = scratch[_OLD + POLY * _WIDTH + i - 1]
        here = scratch[_OLD + POLY * _WIDTH + i]
        below = scratch[_OLD + POLY * _WIDTH + i + 1]
        poly[i] = here + inverse * ((down * above - up * here) - (next_down * here - next_up * below))
        above = scratch[_OLD + POLY_SPENT * _WIDTH + i - 1]
        here = scratch[_OLD + POLY_SPENT * _WIDTH + i]
        below = scratch[_OLD + POLY_SPENT * _WIDTH + i + 1]
        poly_spent[i] = here + inverse * ((down * above - up * here) - (next_down * here - next_up * below))
        above = scratch[_OLD + HEAT * _WIDTH + i - 1]
        here = scratch[_OLD + HEAT * _WIDTH + i]
        below = scratch[_OLD + HEAT * _WIDTH + i + 1]
        heat[i] = here + inverse * ((down * above - up * here) - (next_down * here - next_up * below))
    for i in range(n):
        fall = scratch[_FALL + i]
        rise = scratch[_UPWARD + i]
        next_fall = scratch[_FALL + i + 1]
        next_rise = scratch[_UPWARD + i + 1]
        inverse = scratch[_INVERSE + i]
        quick = scratch[_COARSE + i]
        next_quick = scratch[_COARSE + i + 1]
        above = scratch[_OLD + COARSE * _WIDTH + i - 1]
        here = scratch[_OLD + COARSE * _WIDTH + i]
        below = scratch[_OLD + COARSE * _WIDTH + i + 1]
        coarse[i] = here + inverse * ((quick * above - rise * here) - (next_quick * here - next_rise * below))
        above = scratch[_OLD + FINES * _WIDTH + i - 1]
        here = scratch[_OLD + FINES * _WIDTH + i]
        below = scratch[_OLD + FINES * _WIDTH + i + 1]
        fines[i] = here + inverse * ((fall * above - rise * here) - (next_fall * here - next_rise * below))
        above = scratch[_OLD + CLAY * _WIDTH + i - 1]
        here = scratch[_OLD + CLAY * _WIDTH + i]
        below = scratch[_OLD + CLAY * _WIDTH + i + 1]
        clay[i] = here + inverse * ((fall * above - rise * here) - (next_fall * here - next_rise * below))
        above = scratch[_OLD + COAG_BOUND * _WIDTH + i - 1]
        here = scratch[_OLD + COAG_BOUND * _WIDTH + i]
        below = scratch[_OLD + COAG_BOUND * _WIDTH + i + 1]
        coag_bound[i] = here + inverse * ((fall * above - rise * here) - (next_fall * here - next_rise * below))
        above = scratch[_OLD + POLY_BOUND * _WIDTH + i - 1]
        here = scratch[_OLD + POLY_BOUND * _WIDTH + i]
        below = scratch[_OLD + POLY_BOUND * _WIDTH + i + 1]
        poly_bound[i] = here + inverse * ((fall * above - rise * here) - (next_fall * here - next_rise * below))


@part
def _ends(p, n, layers, scratch, top, feed_layer, clear_layer, channelled, change):
    """What is not alike in all layers: the top layer's change of volume, the feed, and what is drawn.

    Feed and underflow rows are amounts in this step; `change` is the part by which the top layer's volume falls
    by all but these and the flow to the layer below.
    """
    per_feed = scratch[_INVERSE + feed_layer]
    per_clear = channelled * scratch[_INVERSE + clear_layer]
    per_bottom = scratch[_INVERSE + n - 1]
    for k in range(1, NS):
        a = p.pool + k * n
        old = _OLD + k * _WIDTH
        clear = scratch[old + clear_layer]
        layers[a + top] += change * scratch[old + top]
        layers[a + feed_layer] += per_feed * scratch[_FEED + k]
        layers[a + clear_layer] -= per_clear * clear
        layers[a + n - 1] -= per_bottom * (scratch[_UNDER + k] - channelled * clear)


@part
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
