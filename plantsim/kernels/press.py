"""A chamber filter press fed from a mud tank: fill, squeeze, open, wait.

Filling is cake filtration at constant pressure (Ruth 1935; in every textbook of filtration):

    dV/dt = A dp / (mu (alpha M / A + R)),

V the filtrate, M the dry cake on the area A, alpha its specific resistance, R that of the cloth, mu the
viscosity of the filtrate. With M = c V this gives the straight line t/V = a V + b by which alpha and R are
measured. A step is solved exactly (it is quadratic in M), so an empty press on clean cloth needs no
special care. The feed pump's largest flow at its present speed caps the flow.

What enters splits at once: the cake keeps the solids (less the part of the fines and colloid that passes the
cloth) and water up to its mass fraction of solids; the rest is filtrate. Dissolved substances go with the
water, bound ones with the fines. Mud thicker than the cake gives no filtrate and fills the chambers as it is.
"""

from __future__ import annotations

import math

from plantsim.jit import kernel
from plantsim.kernels.rows import no_flow, relative_viscosity, water_density
from plantsim.records import (
    CLAY,
    COAG,
    COAG_BOUND,
    COARSE,
    COLLOID,
    FINES,
    HEAT,
    NS,
    OUT_CAKE,
    POLY,
    POLY_BOUND,
    POLY_SPENT,
    PRESS_FILL,
    PRESS_OPEN,
    PRESS_SQUEEZE,
    PRESS_WAIT,
    VOLUME,
    WARN_LOW,
)

VISCOSITY_20 = 1.0016e-3
"""Viscosity of water at 20 degC [Pa s], IAPWS R12-08."""
_LATE = 1e-6  # slack [s] so that rounding of the timer does not add a step


@kernel
def step_press(p, s, m, motors, tags, streams, offers, ledger, dt):
    """Run the press for one step; returns warning bits.

    A cycle starts when the permit tag (if any) is on and the tank holds enough. Filling ends when the cake
    fills the chambers or at the time limit; the cake drops (ledger row `cake`, with its moisture) when the
    press opens.
    """
    s.timer += dt
    state = s.state
    if state == PRESS_FILL:
        flags = _fill(p, s, m, motors, streams, offers, dt)
        if s.held[VOLUME] >= p.chambers * (1.0 - 1e-9) or s.timer >= p.fill_limit - _LATE:
            s.state = PRESS_SQUEEZE
            s.timer = 0.0
        return flags
    if s.flow != 0.0:
        s.flow = 0.0
        s.filtrate_flow = 0.0
        no_flow(streams, p.draw)
        no_flow(streams, p.filtrate)
    if state == PRESS_WAIT:
        if (p.permit < 0 or tags[p.permit] > 0.5) and offers[p.offer, VOLUME] >= p.start_volume:
            s.state = PRESS_FILL
            s.timer = 0.0
    elif state == PRESS_SQUEEZE:
        if s.timer >= p.squeeze_time - _LATE:
            s.cake += s.held[COARSE] + s.held[FINES] + s.held[COLLOID]
            s.cake_volume += s.held[VOLUME]
            s.cycles += 1
            for k in range(NS):
                ledger[OUT_CAKE, k] += s.held[k]
                s.held[k] = 0.0
            s.state = PRESS_OPEN
            s.timer = 0.0
    elif s.timer >= p.open_time - _LATE:
        s.state = PRESS_WAIT
        s.timer = 0.0
    return 0


@kernel
def _fill(p, s, m, motors, streams, offers, dt):
    """Pump mud into the chambers for one step; returns warning bits."""
    offer = p.offer
    held = s.held
    speed = motors[p.motor].speed
    # one cubic metre of mud: what of it stays in the cake
    coarse = offers[offer, COARSE]
    fines = offers[offer, FINES]
    colloid = offers[offer, COLLOID]
    kept = coarse + (fines + colloid) * (1.0 - p.filtrate_solids)
    temperature = offers[offer, HEAT]
    water = 1.0 - (coarse + fines + colloid) / m.solids_density
    moisture = min(water, kept * (1.0 - p.cake_fraction) / (p.cake_fraction * water_density(temperature)))
    bulk = kept / m.solids_density + moisture
    passed = (fines + colloid) * p.filtrate_solids / m.solids_density
    if moisture >= water:
        # thicker than the cake: no water is left to carry anything through the cloth
        passed = 0.0
        bulk = 1.0
    filtrate = water - moisture + passed

    flow = p.max_flow * speed
    if filtrate > 0.0 and flow > 0.0:
        flow = min(flow, _filtration(p, s, speed, temperature, kept, filtrate, dt))
    # no more than the chambers still take, or the tank has
    flow = min(flow, max(0.0, p.chambers - held[VOLUME]) / (bulk * dt)) if bulk > 0.0 else flow
    flags = 0
    most = max(0.0, offers[offer, VOLUME]) / dt
    if flow > most:
        flow = most
        flags = WARN_LOW
    offers[offer, VOLUME] -= flow * dt

    draw = p.draw
    out = p.filtrate
    streams[draw, VOLUME] = flow
    for k in range(1, NS):
        streams[draw, k] = flow * offers[offer, k]
    wet = (water - moisture) / water if water > 0.0 else 0.0
    through = p.filtrate_solids if passed > 0.0 else 0.0
    streams[out, VOLUME] = flow * filtrate
    streams[out, COARSE] = 0.0
    for k in (FINES, COLLOID, CLAY, COAG_BOUND, POLY_BOUND):
        streams[out, k] = streams[draw, k] * through
    for k in (COAG, POLY, POLY_SPENT):
        streams[out, k] = streams[draw, k] * wet
    streams[out, HEAT] = streams[draw, HEAT] * filtrate
    for k in range(NS):
        held[k] += (streams[draw, k] - streams[out, k]) * dt
    s.flow = flow
    s.filtrate_flow = flow * filtrate
    return flags


@kernel
def _filtration(p, s, speed, temperature, kept, filtrate, dt):
    """Mean mud flow [m3/s] over a step that the pressure drives through cake and cloth.

    From M(t): alpha/(2 A) (M1^2 - M0^2) + R (M1 - M0) = A dp dt c / mu with c the dry cake per filtrate.
    The pump's pressure goes with the square of its speed.
    """
    drive = p.area * p.pressure * speed * speed / (VISCOSITY_20 * relative_viscosity(temperature))
    cake = s.held[COARSE] + s.held[FINES] + s.held[COLLOID]
    resistance = p.cake_resistance * cake / p.area + p.cloth_resistance
    growth = 2.0 * p.cake_resistance / p.area * kept / filtrate * drive * dt
    # (sqrt(r^2 + growth) - r) / growth written without cancellation; it also covers clear water, growth = 0
    root = math.sqrt(resistance * resistance + growth)
    return 2.0 * drive / (filtrate * (root + resistance)) if root + resistance > 0.0 else p.max_flow
