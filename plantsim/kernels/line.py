"""A pipe run with its pumps and valve: how much flows, what it carries, and what stays behind.

**Flow.** The water in the line is a rigid column (Streeter & Wylie, Fluid Mechanics: establishment of flow):

    L/(g A) dQ/dt = (rho_in / rho_line) (H_pumps + z_source) - z_line - h_friction - h_fittings - h_valve

in metres of what stands in the line; pump head and source level weigh with the density of what is drawn.
One backward-Euler step takes the losses, quadratic in the new flow, with the friction factor of the present
velocity; so the step is stable at any length and the steady state is that of the exact equations. The
friction factor is Colebrook's (Serghides), with the density and viscosity (Batchelor) of the solids held on
average in the line. A Bingham mud has the wall stress of `physics.rheology`: a part that holds (no flow
while the drive is below the yield head 4 tau_y L / (rho g D)) and a secant resistance for the rest.

**Height.** The line is taken to climb evenly: z_line = lift times the filled part. A line that has drained
back so needs less head at first, and drains until its column stands level with the source. A falling line
(lift below 0) works with its full fall at once. Friction and inertia, too, are those of the filled part.

**Sand.** Below the limit velocity (Durand) coarse drops out of the incoming row, in the part (1 -
V/V_limit) of its coarse, with pore water; above it the bed is picked up at `lift_rate` (V/V_limit - 1). The
bed is lumped: it narrows the bore along the whole length, which raises the velocity until it holds itself,
or plugs the line. Coarse standing in a stopped line stays in its parcels. Mud of more than the yield limit
that has stood ten minutes plugs a Bingham line too (the ten minutes are a choice of ours). A plugged line
passes nothing until an event sets `plugged` to 0; what then remains of the bed is still there.

**Injection.** Streams injected at the inlet come from displacement pumps: they enter whatever the flow is.
A line that is shut sends them back to the unit it draws from.
"""

from __future__ import annotations

import math

from plantsim.jit import kernel, part
from plantsim.kernels.chemistry import charge_of
from plantsim.kernels.plug import age, disperse, inlet_row, pop, push, push_mixed, take_back
from plantsim.kernels.pump import STANDING, finish_branches, pumped_flow, quadratic_flow, stop_branches
from plantsim.kernels.rows import no_flow, relative_viscosity, slurry_density, water_density
from plantsim.physics.deposition import durand_velocity
from plantsim.physics.hydraulics import RE_LAMINAR, RE_TURBULENT, G, friction_factor
from plantsim.physics.rheology import (
    bingham_gradient,
    bingham_wall_stress,
    plastic_viscosity,
    start_gradient,
    yield_stress,
)
from plantsim.physics.slurry import relative_viscosity_batchelor
from plantsim.records import (
    COAG,
    COAG_BOUND,
    COARSE,
    COLLOID,
    FINES,
    HEAT,
    NS,
    OFFER_DENSITY,
    OFFER_LEVEL,
    OUT_SPILL,
    VOLUME,
    WARN_LOW,
    WARN_SLOW,
)

ATMOSPHERE = 101325.0
STAND_LIMIT = 600.0  # [s] mud above its yield limit that has stood so long sets
_MU20 = 1.0016e-3  # viscosity of water at 20 degC [Pa s], IAPWS R12-08
_KV = 1e5 * 3600.0 * 3600.0 / (1000.0 * G)  # head [m] = _KV (Q / kv)^2, kv in m3/h at 1 bar (IEC 60534-1)
_CRAWL = 0.01  # [m/s] velocity below which a mud's secant resistance is taken at this velocity
_LEAST_FILL = 0.01  # filled part below which friction and inertia stay those of this part
_COLEBROOK = 2.0 / math.log(10.0)
SLOW_BED = 0.005  # part of the bore filled from which slow flow is worth a warning: every start passes through it
_NOTHING = 1e-12
_SAME = 1e-5
"""Relative change of the Reynolds number below which the friction factor stays: it goes with the power -1/4 at most."""
_SAME_MUD = 1e-4
"""Relative change of a mud's solids below which its yield stress and thickening stay: wrong by four times that at the
most, a tenth of a good meter's noise."""
_BRIM = 1.0 - 1e-9  # filled part from which a line counts as full


@part
def vapour_pressure(temperature):
    """Pressure of water vapour [Pa], polynomial of Lowe (1977, J. Appl. Meteorol. 16, 100-103; from memory).

    Within 0.2 % of IAPWS-95 from 0 to 40 degC, which a test shows; cheaper than an exponential.
    """
    t = temperature
    c = 3.031240396e-6 + t * (2.034080948e-8 + t * 6.136820929e-11)
    return 100.0 * (6.107799961 + t * (4.436518521e-1 + t * (1.428945805e-2 + t * (2.650648471e-4 + t * c))))


@kernel
def _valve_loss(p, actuator_s):
    """Loss factor of the valve [s2/m5], below 0 when it is shut."""
    position = actuator_s[p.valve].position
    if position <= 1e-6:
        return -1.0
    if p.valve_kv <= 0.0:
        return 0.0
    if p.valve_range > 0.0:
        kv = p.valve_kv * p.valve_range ** (position - 1.0)
    else:
        kv = p.valve_kv * position
    return _KV / (kv * kv)


@part
def _bed_part(s, volume, material):
    """Part of the bore a bed of this much sand and pore water fills."""
    return (s.deposit / material.solids_density + s.deposit_water) / volume


@part
def _update_friction(s, re, rough):
    """Bring the friction factor of the line up to the present Reynolds number.

    Within 1e-5 of the Reynolds number it was found for it stays (it follows that number to the power -1/4 at
    the most); near it one Newton step of Colebrook's equation from the old factor is exact to 1e-7; else the
    full formula.
    """
    change = abs(re - s.reynolds)
    if change <= _SAME * re:
        return
    if re > RE_TURBULENT and s.reynolds > RE_TURBULENT and change < 0.02 * re:
        y = 1.0 / math.sqrt(s.friction_factor)
        b = 2.51 / re
        inner = rough / 3.7 + b * y
        y -= (y + _COLEBROOK * math.log(inner)) / (1.0 + _COLEBROOK * b / inner)
        s.friction_factor = 1.0 / (y * y)
    else:
        s.friction_factor = friction_factor(re, rough)
    s.reynolds = re


@part
def _newton_friction(s, speed, length, bore, area, rough, mu, rho):
    """Darcy friction of a Newtonian mixture as (linear, square) factors of Q [s/m2, s2/m5]."""
    re = rho * speed * bore / mu
    if re <= RE_LAMINAR:
        s.friction_factor = 64.0 / re if re > 1e-6 else 0.0
        s.reynolds = re
        return 32.0 * mu * length / (rho * G * bore * bore * area), 0.0
    _update_friction(s, re, rough / bore)
    return 0.0, s.friction_factor * length / (2.0 * G * bore * area * area)


@part
def wall_stress(v, d, ty, mu, guess):
    """`physics.rheology.bingham_wall_stress` from a guess of it [Pa], good to 1e-14: from one step to the next one
    or two passes of Newton's method are enough."""
    newton = 8.0 * mu * v / d
    if not ty * 1.000001 < guess < 10.0 * (ty + newton):
        return bingham_wall_stress(v, d, ty, mu)
    n = newton / ty
    s = guess / ty - 1.0
    for _ in range(30):
        u = 1.0 + s
        per = 1.0 / u
        per3 = per * per * per
        excess = s * s * (6.0 + s * (8.0 + 3.0 * s)) * (per3 / 3.0) - n
        step = excess * u / (s * (4.0 + s * (6.0 + s * (4.0 + s))) * per3)
        if not step < s:
            return bingham_wall_stress(v, d, ty, mu)
        s -= step
        # the error left is about the square of the last step
        if abs(step) <= 1e-8 * s:
            return ty * (1.0 + s)
    return bingham_wall_stress(v, d, ty, mu)


@kernel
def _bingham_friction(s, speed, length, bore, area, rough, mu, rho, ty):
    """Friction of a Bingham mud as (linear, square, hold) factors of Q [s/m2, s2/m5, m].

    The head at `speed` is that of `physics.rheology.bingham_gradient`; its form is hold plus linear while the
    yield stress rules, a square when the flow is turbulent, so that both are right at the point where the flow
    settles. Below Re 10 000 a laminar Fanning factor above 0.05 is all there is: the turbulent part of the
    blend of Darby and Melson is then below 0.006 and, to the power m of at least 5.7, adds less than 1e-6; and a
    Newtonian liquid has a Darcy factor of at most 0.1 where it is turbulent, where laminar the smaller one.
    """
    per_head = length / (rho * G)
    hold = start_gradient(ty, bore) * per_head
    v = max(speed, _CRAWL)
    re = rho * v * bore / mu
    flow = v * area
    dynamic = 0.5 * rho * v * v
    wall = wall_stress(v, bore, ty, mu, 0.25 * s.friction_factor * dynamic)
    laminar = 4.0 * wall / bore * per_head
    head = laminar
    if re > 10000.0 or wall < 0.05 * dynamic:
        head = bingham_gradient(v, bore, rho, ty, mu, rough) * per_head
    s.friction_factor = head * 2.0 * G * bore / (length * v * v)
    s.reynolds = re
    if head > 1.02 * laminar:
        return 0.0, head / (flow * flow), 0.0
    return max(head - hold, 0.0) / flow, 0.0, hold


@kernel
def _drop_or_lift(p, s, excess, parcels, inlet, material, dt):
    """Let coarse of the inlet row settle into the bed, or pick it up again. Returns 1 when the bed grew.

    `excess` is V / V_limit - 1. Sand moves with the water in its pores, so volume moves too.
    """
    pores = material.sand_porosity / (1.0 - material.sand_porosity) / material.solids_density
    if excess < 0.0:
        sand = -excess * parcels[inlet, COARSE]
        water = sand * pores
        bulk = sand / material.solids_density + water
        held = parcels[inlet, VOLUME]
        if sand <= 0.0 or bulk >= held:
            return 0
        parcels[inlet, COARSE] -= sand
        parcels[inlet, VOLUME] = held - bulk
        parcels[inlet, HEAT] *= 1.0 - bulk / held
        s.deposit += sand
        s.deposit_water += water
        return 1
    part = min(p.lift_rate * excess * dt, 1.0)
    if s.deposit > 0.0 and part > 0.0 and parcels[inlet, VOLUME] > 0.0:
        sand = part * s.deposit
        water = part * s.deposit_water
        bulk = sand / material.solids_density + water
        temperature = parcels[inlet, HEAT] / parcels[inlet, VOLUME]
        parcels[inlet, COARSE] += sand
        parcels[inlet, VOLUME] += bulk
        parcels[inlet, HEAT] += bulk * temperature
        s.deposit -= sand
        s.deposit_water -= water
        if s.deposit < 1e-3:  # the last gram: a bed would else thin out for ever
            parcels[inlet, COARSE] += s.deposit
            parcels[inlet, VOLUME] += s.deposit / material.solids_density + s.deposit_water
            s.deposit = 0.0
            s.deposit_water = 0.0
    return 0


@part
def _read_outlet(p, s, streams, material):
    """What the outlet shows, from the stream that leaves."""
    volume = streams[p.out, VOLUME]
    if volume <= 0.0:
        return
    inverse = 1.0 / volume
    solids = (streams[p.out, COARSE] + streams[p.out, FINES] + streams[p.out, COLLOID]) * inverse
    s.out_solids = solids
    s.out_density = slurry_density(solids, material.solids_density, streams[p.out, HEAT] * inverse)
    bound = streams[p.out, COAG_BOUND]
    if bound > 0.0 or s.charge != 0.0:
        s.charge = charge_of(streams[p.out], material)
    s.out_coag = (streams[p.out, COAG] + bound) * inverse


@part
def _transport(
    p, s, f, pp, ps, flow, excess, coarse, links, streams, offers, parcels, capacity, shut,
    material, ledger, now, dt,
):  # fmt: skip
    """Move the contents by this step's flow; writes both stream rows. Returns warning bits."""
    flags = 0
    inlet = inlet_row(pp)
    per_second = 1.0 / dt
    no_flow(streams, p.out)
    taken = 0.0
    if flow > 0.0:
        taken = flow * dt
        streams[p.suction, VOLUME] = flow
        for k in range(1, NS):
            streams[p.suction, k] = flow * offers[p.offer, k]
        offers[p.offer, VOLUME] -= taken
    else:
        no_flow(streams, p.suction)
    grew = 0
    if p.n_injections == 0 and s.deposit == 0.0 and (coarse == 0.0 or excess >= 0.0):
        # the usual case: what is drawn enters as it is
        parcels[inlet, VOLUME] = taken
        if taken > 0.0:
            for k in range(1, NS):
                parcels[inlet, k] = offers[p.offer, k]
            push_mixed(pp, ps, parcels, now)
    else:
        parcels[inlet, VOLUME] = taken
        for k in range(1, NS):
            parcels[inlet, k] = taken * offers[p.offer, k]
        for i in range(p.injections, p.injections + p.n_injections):
            for k in range(NS):
                if shut:
                    streams[p.suction, k] -= streams[links[i], k]
                else:
                    parcels[inlet, k] += streams[links[i], k] * dt
        if flow > 0.0:
            grew = _drop_or_lift(p, s, excess, parcels, inlet, material, dt)
        push(pp, ps, parcels, now)
        if s.deposit > 0.0:
            bed = _bed_part(s, pp.volume, material)
            capacity = pp.volume * (1.0 - bed)
            if grew and p.plug_fraction > 0.0 and bed + f.block >= p.plug_fraction:
                s.plugged = 1.0
        else:
            capacity = pp.volume
    moved = parcels[inlet, VOLUME]
    if flow < 0.0:
        flags |= take_back(pp, ps, parcels, -flow * dt, streams, p.suction, -per_second, True, now, material, ledger)
        s.drained -= flow * dt
        moved -= flow * dt
    if pp.mixing > 0.0:
        disperse(pp, ps, parcels, moved)
    leaving = ps.filled - capacity
    s.delivered = 0.0
    if leaving > 0.0:
        s.transit = age(pp, ps, parcels, now)
        flags |= pop(pp, ps, parcels, leaving, streams, p.out, per_second, True, now, material, ledger)
        s.delivered = leaving * per_second
        s.pumped += leaving
        _read_outlet(p, s, streams, material)
        if f.leak > 0.0:
            for k in range(NS):
                lost = f.leak * streams[p.out, k]
                ledger[OUT_SPILL, k] += lost * dt
                streams[p.out, k] -= lost
    return flags


@part
def _pumps_rest(p, branch_p, pump_p, pump_s, motor_s):
    """Whether all pumps stand, behind a check valve, and are known to: then a lifting line rests."""
    for i in range(p.branch, p.branch + p.n_branches):
        if p.check_valve == 0 and branch_p[i].check_valve == 0:
            return False
        for j in range(branch_p[i].pump, branch_p[i].pump + branch_p[i].n_pumps):
            if motor_s[pump_p[j].motor].speed >= STANDING or pump_s[j].power != 0.0:
                return False
    return True


@part
def _stand(p, s, ty, dt):
    """Count the time without flow; mud above its yield limit sets when that time is up."""
    if p.bingham and s.standing < STAND_LIMIT <= s.standing + dt and ty > p.yield_limit > 0.0:
        s.plugged = 1.0
    s.standing += dt


@part
def step_line(
    p, s, f, plug_p, plug_s, branch_p, branch_s, pump_p, pump_s, pump_f, motor_s, actuator_s,
    links, tables, streams, offers, parcels, mem, material, ledger, now, dt,
):  # fmt: skip
    """One step of a line; writes its two stream rows and the load of its motors. Returns warning bits.

    `s`, `f`: its state and faults; the plugs, branches, pumps, motors and actuators are whole arrays; `now`
    is the time at the start of the step [s].
    """
    flags = 0
    pp = plug_p[p.plug]
    ps = plug_s[p.plug]
    offer = p.offer
    level = offers[offer, OFFER_LEVEL]
    rho_in = offers[offer, OFFER_DENSITY]
    temperature = offers[offer, HEAT]
    s.density = rho_in
    s.solids = offers[offer, COARSE] + offers[offer, FINES] + offers[offer, COLLOID]
    s.solids_fraction = s.solids / rho_in if rho_in > 0.0 else 0.0
    s.suction_pressure = rho_in * G * level

    injected = 0.0
    for i in range(p.injections, p.injections + p.n_injections):
        injected += streams[links[i], VOLUME]

    # the bore that is left, and how far the line is filled
    full = 0.25 * math.pi * p.diameter * p.diameter
    area = full
    bore = p.diameter
    capacity = pp.volume
    s.blockage = f.block
    if s.deposit > 0.0:
        bed = _bed_part(s, pp.volume, material)
        capacity *= 1.0 - bed
        s.blockage += bed
    if s.blockage > 0.0:
        left = max(1.0 - s.blockage, 1e-6)
        area *= left
        bore *= math.sqrt(left)
    filled = min(ps.filled / capacity, 1.0) if ps.filled < capacity * _BRIM else 1.0

    valve = _valve_loss(p, actuator_s) if p.valve >= 0 else 0.0
    shut = valve < 0.0 or s.plugged > 0.0 or s.blockage >= 0.999 or (p.gate >= 0 and not mem[p.gate] > 0.0)

    held = s.solids
    if ps.solids > 0.0 or s.solids > 0.0:
        held = ps.solids / ps.filled if ps.filled > 0.0 else s.solids
    water = water_density(temperature)
    per_density = 1.0 / material.solids_density
    rho = water + held * (1.0 - water * per_density)
    phi = held * per_density
    phi_in = s.solids * per_density
    ratio = rho_in / rho if rho_in > 0.0 else 1.0
    static = (p.lift * filled if p.lift > 0.0 else p.lift) - ratio * level
    s.static_head = static
    ty = 0.0
    if p.bingham:
        if abs(phi - s.mud) > _SAME_MUD * phi or s.mud_thickening == 0.0:
            s.mud = phi
            s.mud_yield = yield_stress(phi, material.yield_a, material.yield_b)
            s.mud_thickening = plastic_viscosity(phi, 1.0, material.plastic_a)
        ty = s.mud_yield

    old = s.flow
    if old == 0.0 and injected == 0.0 and s.delivered == 0.0 and streams[p.suction, VOLUME] == 0.0:
        idle = shut and p.n_branches == 0
        if p.n_branches > 0 and (shut or static > 0.0):
            idle = _pumps_rest(p, branch_p, pump_p, pump_s, motor_s)
        if idle:
            s.friction_head = 0.0
            s.pump_head = 0.0
            s.velocity = 0.0
            s.pressure = s.suction_pressure
            s.suction_margin = level + (ATMOSPHERE - vapour_pressure(temperature)) / (max(rho_in, 1.0) * G)
            _stand(p, s, ty, dt)
            return flags

    flow = 0.0
    head = 0.0
    per_area = 1.0 / area
    s.friction_head = 0.0
    if shut:
        head = stop_branches(p, phi_in, branch_p, branch_s, pump_p, pump_s, pump_f, motor_s, tables)
    else:
        mu = _MU20 * relative_viscosity(temperature)
        if p.bingham:
            mu *= s.mud_thickening
        else:
            mu *= relative_viscosity_batchelor(phi)
        length = p.length * max(filled, _LEAST_FILL)
        inertia = length / (G * full * dt)
        climb = p.lift * dt / pp.volume if p.lift > 0.0 and filled < 1.0 else 0.0
        drive = inertia * old - static
        minor = p.minor * per_area * per_area / (2.0 * G)
        guess = old
        for turn in range(3):
            speed = abs(guess) * per_area
            hold = 0.0
            if p.bingham and ty > 0.0:
                linear, square, hold = _bingham_friction(s, speed, length, bore, area, p.roughness, mu, rho, ty)
            else:
                linear, square = _newton_friction(s, speed, length, bore, area, p.roughness, mu, rho)
            square += minor
            if p.n_branches > 0:
                first = s.pump_head if old != 0.0 else -drive / ratio
                flow, head = pumped_flow(
                    p, first, drive, linear + inertia + climb, square + valve, hold, ratio, phi_in,
                    branch_p, branch_s, pump_p, pump_s, pump_f, motor_s, tables,
                )  # fmt: skip
            else:
                flow = quadratic_flow(drive, linear + inertia + climb, square + valve, hold)
            # a flow that has changed much in one step has another friction: once more with that
            if turn == 2 or abs(flow - guess) <= 0.1 * abs(flow) + 1e-9:
                break
            guess = flow
        found = flow
        if flow < 0.0:
            if p.check_valve:
                flow = 0.0
            else:
                flow = max(flow, -(ps.filled / dt + injected))
        elif flow * dt > offers[offer, VOLUME]:
            flow = max(offers[offer, VOLUME], 0.0) / dt
            flags |= WARN_LOW
        if abs(flow) < _NOTHING:
            flow = 0.0
        if flow == 0.0:
            head = stop_branches(p, phi_in, branch_p, branch_s, pump_p, pump_s, pump_f, motor_s, tables)
        else:
            if flow != found:
                for i in range(p.branch, p.branch + p.n_branches):
                    branch_s[i].flow *= flow / found
            s.friction_head = linear * flow + square * flow * abs(flow) + math.copysign(hold, flow)
    s.flow = flow
    s.velocity = flow * per_area
    s.pump_head = head
    s.pressure = rho_in * G * (level + head)

    # the limit velocity matters while there is coarse to lose or a bed to hold
    coarse = offers[offer, COARSE]
    excess = 0.0
    s.limit_velocity = 0.0
    if p.deposit_factor > 0.0 and (coarse > 1e-6 or s.deposit > 0.0):
        s.limit_velocity = durand_velocity(p.deposit_factor, p.diameter, 1.0 / (per_density * water))
        excess = s.velocity / s.limit_velocity - 1.0
        if flow > 0.0 and excess < 0.0:
            s.slow_time += dt
            if coarse > 1e-6 and s.blockage > SLOW_BED:
                flags |= WARN_SLOW

    if flow != 0.0 or injected != 0.0:
        flags |= _transport(
            p, s, f, pp, ps, flow, excess, coarse, links, streams, offers, parcels, capacity, shut,
            material, ledger, now, dt,
        )  # fmt: skip
    elif old != 0.0 or s.delivered != 0.0 or streams[p.suction, VOLUME] != 0.0:
        no_flow(streams, p.suction)
        no_flow(streams, p.out)
        s.delivered = 0.0
    if flow != 0.0:
        s.standing = 0.0
    else:
        _stand(p, s, ty, dt)

    # suction: no suction pipe is modelled, the pumps stand at the floor of the unit they draw from
    if p.n_branches > 0:
        available = level
        if rho_in > 0.0:
            available += (ATMOSPHERE - vapour_pressure(temperature)) / (rho_in * G)
        margin, bits = finish_branches(
            p, phi_in, rho_in, available, branch_p, branch_s, pump_p, pump_s, pump_f, motor_s, tables, dt
        )
        s.suction_margin = margin
        flags |= bits
    return flags
