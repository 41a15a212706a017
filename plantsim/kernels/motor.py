"""Motors and power buses: from a run request to a speed, with everything that can stand between.

A request energises the motor unless it is tripped, without voltage, short of rest or has used up its starts
of the sliding hour; then it is **held** and starts by itself as soon as it may. The speed follows its
reference (an actuator, or full speed) along the starter's ramp.

**Voltage dips.** A running motor rides through a dip not longer than `ride_through`. A longer one drops it
out: with `restart` 0 it is tripped and waits for a reset, with `restart` 1 it comes back after
`restart_delay` of sound voltage, if still asked to run. Coming back counts as a start.

**Trips.** A trip clears on the rising edge of its reset tag; without a reset tag, when the run request drops.
It cannot be cleared while its cause stands.

**Current** over rated: sqrt(i0^2 + (1 - i0^2) (P/P_rated)^2) with a magnetising part i0 = 0.3, and 6 while
a direct-on-line motor runs up (both common practice, no source). It is an estimate for alarms, not for
protection.
"""

from __future__ import annotations

import math

from plantsim.jit import part
from plantsim.records import N_STARTS

HOUR = 3600.0
_MAGNETISING2 = 0.09
_STARTING = 6.0
_RUN_UP = 0.9  # below this speed a direct-on-line motor still draws its starting current


@part
def step_bus(s, dt):
    """Begin a step of a power bus: its motors add their power afterwards. Returns warning bits (none)."""
    s.power = 0.0
    if s.live == 0:
        s.dead_time += dt
    return 0


@part
def _forget_old_starts(s, now):
    """Drop starts that are an hour old from the count; the ring keeps at most N_STARTS."""
    while s.starts_hour > 0.0:
        oldest = s.next_start - int(s.starts_hour)
        if oldest < 0:
            oldest += N_STARTS
        if s.start_times[oldest] > now - HOUR:
            return
        s.starts_hour -= 1.0


@part
def _note_start(s, now):
    """Count a start. Beyond N_STARTS in one hour the hour's count stays there."""
    s.start_times[s.next_start] = now
    s.next_start += 1
    if s.next_start == N_STARTS:
        s.next_start = 0
    s.starts += 1
    if s.starts_hour < N_STARTS:
        s.starts_hour += 1.0
    if s.starts_hour > s.hour_max:
        s.hour_max = s.starts_hour


@part
def _stop(s):
    """Take the voltage off."""
    s.running = 0
    s.stopped_for = 0.0


@part
def _decide(p, s, f, request, live, now, dt):
    """Whether the motor is energised in this step."""
    if live:
        s.dip_time = 0.0
    else:
        s.dip_time += dt
        if s.wait > 0.0:
            s.wait = p.restart_delay
        if s.running and s.dip_time > p.ride_through + 1e-9:
            _stop(s)
            if p.restart == 0:
                s.tripped = 1
            s.wait = p.restart_delay
    if f.trip != 0:
        s.tripped = 1
    s.held = 0
    if s.tripped:
        if s.running:
            _stop(s)
        return
    if s.running:
        if not request and f.stuck_on == 0:
            _stop(s)
        return
    if not request or not live or f.no_start != 0:
        return
    # 1e-9 so that whole steps are not lengthened by rounding
    rested = s.starts == 0 or s.stopped_for + 1e-9 >= p.min_rest
    if rested and s.wait <= 1e-9 and (p.max_starts <= 0.0 or s.starts_hour + 1.0 <= p.max_starts):
        s.running = 1
        _note_start(s, now)
    else:
        s.held = 1
        s.held_time += dt


@part
def step_motor(p, s, f, tags, actuator_s, bus_s, now, dt):
    """One step of a motor; adds its power to its bus. Returns warning bits (none).

    `s.load`, the shaft power, is set by what the motor drives; `s.tripped` may be set from outside too (the
    torque trip of a rake). `p.run_tag` below 0: always asked to run; `p.bus` below 0: voltage always there.
    """
    request = p.run_tag < 0 or tags[p.run_tag] > 0.5
    if p.reset_tag >= 0:
        reset = 1 if tags[p.reset_tag] > 0.5 else 0
        if reset != s.last_reset:
            s.last_reset = reset
            if reset:
                s.tripped = 0
    elif not request:
        s.tripped = 0
    s.last_run = 1 if request else 0
    if s.starts_hour > 0.0:
        _forget_old_starts(s, now)
    live = p.bus < 0 or bus_s[p.bus].live != 0
    if not request and s.running == 0 and s.speed == 0.0 and live and f.trip == 0 and s.wait <= 0.0:
        # at rest, nothing asked: the usual state of most motors
        s.stopped_for += dt
        s.power = 0.0
        s.current = 0.0
        s.dip_time = 0.0
        s.held = 0
        return 0
    _decide(p, s, f, request, live, now, dt)
    if s.running:
        s.run_time += dt
        if live:
            wanted = 1.0
            if p.speed_actuator >= 0:
                wanted = max(0.0, actuator_s[p.speed_actuator].position)
            if s.speed < wanted:
                s.speed = min(wanted, s.speed + dt / p.ramp_up) if p.ramp_up > 0.0 else wanted
            elif s.speed > wanted:
                s.speed = max(wanted, s.speed - dt / p.ramp_down) if p.ramp_down > 0.0 else wanted
            shaft = s.load if s.load > 0.0 else p.idle
            s.power = shaft / p.efficiency
            s.energy += s.power * dt
            if p.bus >= 0:
                bus_s[p.bus].power += s.power
            if p.speed_actuator < 0 and s.speed < _RUN_UP:
                s.current = _STARTING
            else:
                part = shaft / p.rated
                s.current = math.sqrt(_MAGNETISING2 + (1.0 - _MAGNETISING2) * part * part)
            return 0
        # riding through a dip: the drive keeps the speed from its stored energy
    else:
        s.stopped_for += dt
        if live and s.wait > 0.0:
            s.wait = max(0.0, s.wait - dt)
        if s.speed > 0.0:
            s.speed = max(0.0, s.speed - dt / p.ramp_down) if p.ramp_down > 0.0 else 0.0
    s.power = 0.0
    s.current = 0.0
    return 0
