"""Alarms: each looks at one cell, waits out its delays, and walks through the states of the standard.

The states and the ways between them are those of the alarm state diagram of ANSI/ISA-18.2-2016 (clause 5, figure 3)
and IEC 62682, given from memory. What the process does is done here; what an operator does (acknowledge, reset,
shelve, take out of service) is done between kernel calls by `plantsim.sim.alarms`:

=======================  ============================  =================================================
from                     to                            when
=======================  ============================  =================================================
normal                   unacknowledged                the condition has held for the on-delay
unacknowledged           returned unacknowledged       it has been gone for the off-delay
unacknowledged           latched unacknowledged        the same, of an alarm that latches
acknowledged             normal                        the same
acknowledged             latched acknowledged          the same, of an alarm that latches
returned unacknowledged  unacknowledged                it comes again
latched (both)           unacknowledged                it comes again
any                      suppressed by design          its suppressing condition is true
shelved, suppressed,     normal or unacknowledged      nothing holds it back any more: by its condition
out of service
=======================  ============================  =================================================

Out of service goes before suppressed by design, and that before shelved, when more than one holds an alarm back. A
shelved alarm and one out of service keep their condition up to date, so they come back true; one suppressed by design
means nothing while the plant stands, so its condition begins anew and waits out its on-delay.
"""

from __future__ import annotations

from plantsim.jit import kernel, part, shared_part
from plantsim.records import (
    ALARM_ACKED,
    ALARM_LATCHED_ACKED,
    ALARM_LATCHED_UNACKED,
    ALARM_NORMAL,
    ALARM_OUT,
    ALARM_RETURNED,
    ALARM_SHELVED,
    ALARM_SUPPRESSED,
    ALARM_UNACKED,
)


@shared_part
def step_alarm(i, all_p, all_s, clock, log, tick, mem, imem):
    """Look at one alarm.

    Parameters
    ----------
    i : int
        Which alarm.
    all_p, all_s : array
        Parameters and states of all alarms.
    clock : record
        The plant's clock: counts the changes noted.
    log : array
        Ring of changes.
    tick : int
        Steps done since the start, [-]
    mem, imem : array
        The plant's memory as float64 and as int64.

    Notes
    -----
    Delays are exact to the tick at which the alarm is looked at: a condition first seen at tick t and never gone
    since brings the alarm at t plus the on-delay. A value exactly at the limit is no alarm.
    """
    p, s = all_p[i], all_s[i]
    s.due = tick + p.every
    hushing = False
    if p.hush >= 0:
        by = float(imem[p.hush]) if p.hush_integer != 0 else mem[p.hush]
        hushing = p.hush_sign * by > p.hush_limit
    value = float(imem[p.cell]) if p.integer != 0 else mem[p.cell]
    quiet = s.state == ALARM_NORMAL and s.since < 0 and s.out == 0 and s.shelved_until == 0
    # nearly always: nothing is wrong, nothing was, and nothing holds it back
    if quiet and not hushing and tick >= s.hushed_until and not p.sign * value > p.limit:
        return
    _walk(i, all_p, all_s, clock, log, tick, value, hushing)


@kernel
def _walk(i, all_p, all_s, clock, log, tick, value, hushing):
    """Bring condition and state of one alarm up to date."""
    p, s = all_p[i], all_s[i]
    if hushing:
        s.hushed_until = tick + p.every + p.hush_after
    hushed = tick < s.hushed_until
    if s.shelved_until <= tick:
        s.shelved_until = 0
    if hushed:
        s.active = 0
        s.since = -1
    else:
        _judge(p, s, tick, p.sign * value)
    before = s.state
    after = before
    if s.out != 0:
        after = ALARM_OUT
    elif hushed:
        after = ALARM_SUPPRESSED
    elif s.shelved_until > 0:
        after = ALARM_SHELVED
    elif before >= ALARM_SHELVED:
        after = ALARM_UNACKED if s.active != 0 else ALARM_NORMAL
    elif s.active != 0:
        if before != ALARM_ACKED:
            after = ALARM_UNACKED
    elif before == ALARM_UNACKED:
        after = ALARM_LATCHED_UNACKED if p.latching != 0 else ALARM_RETURNED
    elif before == ALARM_ACKED:
        after = ALARM_LATCHED_ACKED if p.latching != 0 else ALARM_NORMAL
    if after != before:
        s.state = after
        s.changed = tick
        if after == ALARM_UNACKED:
            s.count += 1
            if before == ALARM_NORMAL or before >= ALARM_SHELVED:
                _first_out(i, all_p, all_s)
        _note(clock, log, tick, i, before, after, s.first, value)


@part
def _judge(p, s, tick, value):
    """Condition with deadband and delays; `value` is taken times the sign of the alarm."""
    beyond = 1 if value > (p.clear if s.active != 0 else p.limit) else 0
    if beyond == s.active:
        s.since = -1
        return
    if s.since < 0:
        s.since = tick
    if tick - s.since >= (p.off_delay if s.active != 0 else p.on_delay):
        s.active = beyond
        s.since = -1


@part
def _first_out(i, all_p, all_s):
    """Mark an alarm as the first of its group when nothing else of the group stands.

    Of alarms that come in the same tick the one that stands first in the plant file is the first.
    """
    group = all_p[i].group
    if group < 0:
        return
    for k in range(len(all_p)):
        if k != i and all_p[k].group == group and ALARM_NORMAL < all_s[k].state < ALARM_SHELVED:
            all_s[i].first = 0
            return
    for k in range(len(all_p)):
        if all_p[k].group == group:
            all_s[k].first = 0
    all_s[i].first = 1


@part
def _note(clock, log, tick, i, before, after, first, value):
    """Note a change in the ring; one that finds it full is counted as lost."""
    if clock.notes - clock.notes_read >= len(log):
        clock.notes_lost += 1
        return
    row = log[clock.notes % len(log)]
    row.tick = tick
    row.alarm = i
    row.before = before
    row.after = after
    row.first = first
    row.value = value
    clock.notes += 1
