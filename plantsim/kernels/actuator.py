"""Actuators: what lies between a command and a position.

A command is scaled to a fraction of full travel, rounded to the positioner's resolution and lifted to the
least position. The positioner follows only changes above its deadband, except that fully shut and fully
open are always followed (tight shut-off: common practice, no source). A drive at rest breaks loose only
when the way to go exceeds its stiction, then runs at its rate until it is there. Losing air or power sends
it to its fail position, or leaves it where it is.
"""

from __future__ import annotations

import math

from plantsim.jit import part


@part
def step_actuator(p, s, f, tags, bus_s, dt):
    """Move an actuator for one step. Returns warning bits (none).

    `p.tag` below 0 leaves the target to events; `p.rate` of 0 means at once.
    """
    failed = f.lost_air != 0
    if p.bus >= 0 and bus_s[p.bus].live == 0:
        failed = True
    if failed:
        if p.fail < 0.0:
            s.moving = 0
            return 0
        s.target = p.fail
    elif p.tag >= 0:
        command = tags[p.tag] * p.scale
        if not command > 0.0:  # also what is not a number
            command = 0.0
        elif command > 1.0:
            command = 1.0
        if p.resolution > 0.0 and command < 1.0:
            command = math.floor(command / p.resolution + 0.5) * p.resolution
            command = min(command, 1.0)
        if 0.0 < command < p.minimum:
            command = p.minimum
        if abs(command - s.target) > p.deadband or command <= 0.0 or command >= 1.0:
            s.target = command
    way = s.target - s.position
    if way == 0.0:
        s.moving = 0
        return 0
    if f.stuck != 0:
        s.moving = 0
        return 0
    if s.moving == 0:
        if abs(way) <= p.stiction and not failed:
            return 0
        s.moving = 1
    direction = 1.0 if way > 0.0 else -1.0
    reach = p.rate * dt
    if reach > 0.0 and abs(way) > reach:
        s.position += direction * reach
        s.travel += reach
    else:
        s.position = s.target
        s.travel += abs(way)
        s.moving = 0
    if direction != s.direction:
        if s.direction != 0.0:
            s.reversals += 1
        s.direction = direction
    return 0
