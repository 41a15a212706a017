"""Centrifugal pumps in series and in parallel branches, and the flow they drive through a line.

A pump is a piecewise-linear curve (columns flow, head, efficiency, suction head required), moved by the
affinity laws: H = c n^2 H0(x), x = Q / (n (1 - clog)), with c = (1 - wear)(1 - derate phi)(1 - cavitation).
Outside its curve it turns smoothly into the resistance of a standing pump, which it is exactly at no speed:

* beyond the last point: along the last segment, less k (Q - Q_end)^2;
* reverse flow: the head of the first point, plus k Q^2;
* standing: -k Q|Q|.

The suction head required goes with the square of the speed (affinity; ANSI/HI 9.6.1, from memory). Where
the suction falls short the head breaks down in proportion, to nothing at half the required head, with a lag
of two seconds: a choice of ours, for the true breakdown depends on the machine.

Power is rho g Q H / eta at the water curve, so that it grows with the density of the slurry and not with
derating (Wilson, Addie, Sellgren & Clift, Slurry Transport Using Centrifugal Pumps: head and efficiency
fall alike; from memory). Near shut-off, where the efficiency is zero, it is the line through the next two
points of the curve, as `physics.pumps.power_curve` has it.
"""

from __future__ import annotations

import math

from plantsim.jit import kernel, part
from plantsim.physics.hydraulics import G
from plantsim.records import WARN_CURVE, WARN_SUCTION

STANDING = 1e-3  # speed below which a pump counts as standing
_LEAST_SLOPE = 1.0  # [s/m2] keeps a level stretch of a curve solvable; real slopes are a hundred times this
_BREAKDOWN = 0.5  # part of the required suction head at which no head is left
_BREAKDOWN_TIME = 2.0
_PASSES = 60
_ENOUGH = 1e-4
"""Last change of a flow, relative, after which Newton's method is left: what is still wrong goes with its square."""
_WALL = 1e18  # [s/m2] resistance of a line that lets nothing through


@part
def pump_tangent(p, s, f, speed, flow, phi, tables):
    """Head [m] of a pump at a flow, and how fast it falls with flow [s/m2] (never below a small number)."""
    first = p.curve
    last = first + p.points - 1
    k = p.stopped_k
    if speed < STANDING:
        # the slope of a square vanishes at rest: a tenth of the end flow keeps the step finite
        return -k * flow * abs(flow), max(2.0 * k * max(abs(flow), 0.1 * tables[last]), _LEAST_SLOPE)
    factor = (1.0 - f.wear) * (1.0 - p.derate * phi) * (1.0 - s.cavitation)
    factor = max(factor, 0.0) * speed * speed
    scale = speed * max(1.0 - f.clog, 1e-3)
    x = flow / scale
    if x < tables[first]:
        head = factor * tables[first + p.points]
        if flow >= 0.0:
            return head, _LEAST_SLOPE
        slope = max(2.0 * k * max(-flow, 0.1 * tables[last]), _LEAST_SLOPE)
        return head + k * flow * flow, slope
    i = first
    while i < last - 1 and x >= tables[i + 1]:
        i += 1
    h = i + p.points
    fall = (tables[h] - tables[h + 1]) / (tables[i + 1] - tables[i])
    head = factor * (tables[h] - fall * (x - tables[i]))
    slope = max(factor * fall / scale, _LEAST_SLOPE)
    beyond = flow - scale * tables[last]
    if beyond > 0.0:
        head -= k * beyond * beyond
        slope += 2.0 * k * beyond
    return head, slope


@part
def branch_tangent(b, flow, phi, pump_p, pump_s, pump_f, motor_s, tables):
    """Head and fall of head of the pumps of one branch together, in series."""
    head = 0.0
    slope = 0.0
    for i in range(b.pump, b.pump + b.n_pumps):
        speed = motor_s[pump_p[i].motor].speed
        h, m = pump_tangent(pump_p[i], pump_s[i], pump_f[i], speed, flow, phi, tables)
        head += h
        slope += m
    return head, slope


@part
def branch_stands(b, pump_p, motor_s):
    """Whether all pumps of a branch stand."""
    standing = True
    for i in range(b.pump, b.pump + b.n_pumps):
        standing = standing and motor_s[pump_p[i].motor].speed < STANDING
    return standing


@part
def quadratic_flow(drive, linear, square, hold):
    """Flow that balances drive = linear Q + square Q|Q| + hold sgn(Q); zero while |drive| is below `hold`."""
    if drive > hold:
        rest = drive - hold
        return 2.0 * rest / (linear + math.sqrt(linear * linear + 4.0 * square * rest))
    if drive < -hold:
        rest = -drive - hold
        return -2.0 * rest / (linear + math.sqrt(linear * linear + 4.0 * square * rest))
    return 0.0


@part
def _single_flow(
    line, drive, linear, square, hold, ratio, phi,
    branch_p, branch_s, pump_p, pump_s, pump_f, motor_s, tables,
):  # fmt: skip
    """`pumped_flow` for one branch, whose flow is that of the line: the tangent needs no adding up."""
    b = branch_p[line.branch]
    s = branch_s[line.branch]
    flow = s.flow
    head = 0.0
    for turn in range(_PASSES):
        h, m = branch_tangent(b, flow, phi, pump_p, pump_s, pump_f, motor_s, tables)
        new = quadratic_flow(drive + ratio * (h + m * flow), linear + ratio * m, square, hold)
        if turn >= 8:
            new = 0.5 * (new + flow)
        if new < 0.0 and b.check_valve != 0:
            new = 0.0
        change = abs(new - flow)
        head = h + m * (flow - new)
        flow = new
        if change <= _ENOUGH * abs(new) + 1e-12:
            break
    s.flow = flow
    s.head = head
    s.slope = m
    return flow, head


@part
def pumped_flow(
    line, head, drive, linear, square, hold, ratio, phi,
    branch_p, branch_s, pump_p, pump_s, pump_f, motor_s, tables,
):  # fmt: skip
    """Flow [m3/s] and pump head [m] where the branches and the line meet.

    The line balances drive + ratio H = linear Q + square Q|Q| + hold sgn(Q); `head` is the first guess of H.
    Newton's method on the branch flows: every branch is replaced by its tangent, the tangents add up to one
    straight line H = a - b Q, and the quadratic that is left is solved exactly. For piecewise-linear curves
    that is exact as soon as the segments are right, which from one step to the next they mostly are. Branches
    shut by a check valve take part only while their shut-off head exceeds H.
    """
    if line.n_branches == 1:
        return _single_flow(
            line, drive, linear, square, hold, ratio, phi,
            branch_p, branch_s, pump_p, pump_s, pump_f, motor_s, tables,
        )  # fmt: skip
    flow = 0.0
    n = line.n_branches
    first = line.branch
    for turn in range(_PASSES):
        spread = 0.0
        total = 0.0
        for i in range(first, first + n):
            s = branch_s[i]
            if (
                branch_p[i].check_valve != 0
                and s.flow <= 0.0
                and head >= 0.0
                and branch_stands(branch_p[i], pump_p, motor_s)
            ):
                s.head = 0.0  # a standing pump gives no head, and its valve is held shut
                s.flow = 0.0
                s.slope = 0.0
                continue
            h, m = branch_tangent(branch_p[i], s.flow, phi, pump_p, pump_s, pump_f, motor_s, tables)
            s.head = h
            if branch_p[i].check_valve != 0 and s.flow <= 0.0 and h <= head:
                s.flow = 0.0
                s.slope = 0.0
            else:
                s.slope = m
                spread += 1.0 / m
                total += s.flow + h / m
        if spread > 0.0:
            b = 1.0 / spread
            a = total * b
            flow = quadratic_flow(drive + ratio * a, linear + ratio * b, square, hold)
            head = a - b * flow
        else:
            flow = 0.0
            head = -drive / ratio
        change = 0.0
        for i in range(first, first + n):
            s = branch_s[i]
            if s.slope > 0.0:
                new = s.flow + (s.head - head) / s.slope
                if turn >= 8:
                    new = 0.5 * (new + s.flow)  # a curve with a hump may throw the tangents to and fro
                if new < 0.0 and branch_p[i].check_valve != 0:
                    new = 0.0
                change = max(change, abs(new - s.flow) - _ENOUGH * abs(new))
                s.flow = new
            elif s.head > head:
                change = 1.0  # its check valve opens: once more with it
        if change <= 1e-12:
            break
    return flow, head


@kernel
def stop_branches(line, phi, branch_p, branch_s, pump_p, pump_s, pump_f, motor_s, tables):
    """Let the branches work against a line without flow; returns the head [m] they keep up there.

    A branch without check valve may still let water run round, back through its standing pumps.
    """
    if line.n_branches > 1:
        _, head = pumped_flow(
            line, 0.0, 0.0, _WALL, 0.0, 0.0, 1.0, phi,
            branch_p, branch_s, pump_p, pump_s, pump_f, motor_s, tables,
        )  # fmt: skip
        for i in range(line.branch, line.branch + line.n_branches):
            if abs(branch_s[i].flow) < 1e-9:
                branch_s[i].flow = 0.0
        return head
    if line.n_branches == 1:
        s = branch_s[line.branch]
        s.flow = 0.0
        s.head, s.slope = branch_tangent(
            branch_p[line.branch], 0.0, phi, pump_p, pump_s, pump_f, motor_s, tables
        )
        return s.head
    return 0.0


@kernel
def _point_power(p, j, tables):
    """Q H / eta of the water curve [m4/s] at a point, from its two neighbours where that is undefined."""
    eta = tables[j + 2 * p.points]
    if tables[j] > 0.0 and eta > 0.0:
        return tables[j] * tables[j + p.points] / eta
    way = 1 if j == p.curve else -1
    if p.points < 3:
        eta = tables[j + way + 2 * p.points]
        return tables[j + way] * tables[j + way + p.points] / eta if eta > 0.0 else 0.0
    a = j + way
    b = a + way
    near = tables[a] * tables[a + p.points] / tables[a + 2 * p.points]
    far = tables[b] * tables[b + p.points] / tables[b + 2 * p.points]
    return max(near + (far - near) * (tables[j] - tables[a]) / (tables[b] - tables[a]), 0.0)


@part
def finish_pump(p, s, f, speed, flow, phi, rho, available, tables, motor_s, dt):
    """Head, power, efficiency and times of one pump at the flow found.

    Returns its head, the suction margin (1e30 for a pump that does not pump) and warning bits.
    """
    s.flow = flow
    if speed < STANDING:
        head = -p.stopped_k * flow * abs(flow)
        s.head = head
        s.power = 0.0
        s.efficiency = 0.0
        motor_s[p.motor].load = 0.0
        s.cavitation = 0.0
        return head, 1e30, 0
    head, _ = pump_tangent(p, s, f, speed, flow, phi, tables)
    s.head = head
    flags = 0
    first = p.curve
    last = first + p.points - 1
    scale = speed * max(1.0 - f.clog, 1e-3)
    x = max(flow, 0.0) / scale
    if x > tables[last] * (1.0 + 1e-9):
        if head > 0.0 and motor_s[p.motor].running != 0:  # running down, it is driven by the column: no duty
            flags |= WARN_CURVE
        x = tables[last]
    i = first
    while i < last - 1 and x >= tables[i + 1]:
        i += 1
    w = max((x - tables[i]) / (tables[i + 1] - tables[i]), 0.0)
    h = i + p.points
    e = h + p.points
    if tables[e] > 0.0 and tables[e + 1] > 0.0 and tables[i] > 0.0:
        water = x * (tables[h] + w * (tables[h + 1] - tables[h]))
        water = max(water, 0.0) / (tables[e] + w * (tables[e + 1] - tables[e]))
    else:
        near = _point_power(p, i, tables)
        water = near + w * (_point_power(p, i + 1, tables) - near)
    s.power = rho * G * speed * speed * scale * water * (1.0 - s.cavitation)
    motor_s[p.motor].load = s.power
    s.efficiency = rho * G * flow * head / s.power if flow > 0.0 and head > 0.0 and s.power > 0.0 else 0.0
    if flow < p.min_flow * speed:
        s.low_flow_time += dt
    n = e + p.points
    required = (tables[n] + w * (tables[n + 1] - tables[n])) * speed * speed
    margin = available - required
    if margin < 0.0 and flow > 0.0:
        flags |= WARN_SUCTION
        s.cavitation_time += dt
        gone = _BREAKDOWN * required
        shortage = -margin / gone if -margin < gone else 1.0
        s.cavitation += (shortage - s.cavitation) * dt / (_BREAKDOWN_TIME + dt)
    elif s.cavitation > 0.0:
        s.cavitation *= _BREAKDOWN_TIME / (_BREAKDOWN_TIME + dt)
        if s.cavitation < 1e-9:
            s.cavitation = 0.0
    return head, margin, flags


@part
def finish_branches(
    line, phi, rho, available, branch_p, branch_s, pump_p, pump_s, pump_f, motor_s, tables, dt
):  # fmt: skip
    """Bring all pumps of a line up to date; returns the least suction margin [m] and warning bits.

    A pump behind another has that one's head added to what the suction offers.
    """
    flags = 0
    least = 1e30
    for i in range(line.branch, line.branch + line.n_branches):
        flow = branch_s[i].flow
        head = available
        for j in range(branch_p[i].pump, branch_p[i].pump + branch_p[i].n_pumps):
            speed = motor_s[pump_p[j].motor].speed
            h, margin, bits = finish_pump(
                pump_p[j], pump_s[j], pump_f[j], speed, flow, phi, rho, head, tables, motor_s, dt
            )
            head += h
            least = min(least, margin)
            flags |= bits
    return least if least < 1e30 else available, flags
