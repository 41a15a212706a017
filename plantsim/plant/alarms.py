"""Alarms of a plant file: each tied to what it looks at, its rationalisation beside it.

An alarm is what an operator must answer in time (ANSI/ISA-18.2-2016, IEC 62682). So none can be written down without
its consequence, its action, the time to respond and its priority: what rationalisation asks for. Usual deadbands and
delays by the kind of signal are those of guidance on the standard: level 5 % of span and 60 s, flow 5 % and 15 s,
pressure 2 % and 15 s, temperature 1 % and 60 s (from memory); they stand in for what is left out.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from plantsim.plant.alarm_points import WatchPoint, watch_point
from plantsim.plant.assemble import Assembly
from plantsim.plant.fields import nearest, quoted
from plantsim.plant.model import Alarm, Tag
from plantsim.plant.tree import Tree
from plantsim.units import QuantityError, sentence

PRIORITIES = ("critical", "high", "medium", "low")
"""Priorities, the gravest first. The standard advises three or four; `critical` is for the few that stand apart."""
USUAL = {"L": (0.05, 60.0), "F": (0.05, 15.0), "P": (0.02, 15.0), "T": (0.01, 60.0)}
"""By first letter of the instrument: usual deadband as part of its span, and usual on- and off-delay [s]."""
RING_LEAST = 256
"""Least changes the ring between kernel and simulation holds."""
_LETTERS = re.compile(r"([A-Z])[DFKQS]?A(HH?|LL?|M|)[A-Z]?-")
_WHILE = re.compile(r"(\S+)\s+(?:is\s+)?(?:(on|off)|(above|below)\s+(.+))")


def add_alarms(a: Assembly, tags: Mapping[str, Tag], programs: Mapping[str, Any]) -> list[Alarm]:
    """Add every alarm of the configuration; what does not fit is a finding.

    Parameters
    ----------
    a : Assembly
        The plant as it is put together: instruments and programs must be there.
    tags : mapping
        Points of the I/O image by name.
    programs : mapping
        Control programs at work by name.

    Returns
    -------
    list of Alarm
        In the order of the configuration, which is the order in which they are looked at.
    """
    groups: dict[str, int] = {}
    alarms: list[Alarm] = []
    for name, t in a.tree.alarms.items():
        alarm = _alarm(a, tags, programs, groups, name, t)
        if alarm is not None:
            alarms.append(alarm)
    if alarms:
        a.parts.pool("alarm_log", max(RING_LEAST, 8 * len(alarms)))
    return alarms


def _alarm(
    a: Assembly, tags: Mapping[str, Tag], programs: Mapping[str, Any], groups: dict[str, int], name: str, t: Tree
) -> Alarm | None:
    point = watch_point(a, tags, programs, t, "on", t.on)
    compare = _compare(t)
    if point is None or compare is None:
        return None
    _check_letters(t, name, compare)
    sign, limit, clear = _limits(t, point, compare)
    text = t[compare] if compare in ("above", "below") else None
    unit, scale, offset = point.shown(text or "")
    on_delay = _on_delay(t, point)
    off_delay = on_delay if t.off_delay is None else t.off_delay
    if on_delay >= t.respond_within:
        t.finding("on_delay", f"found {on_delay:g} s; allowed: less than respond_within, {t.respond_within:g} s: the "
                              "delay is taken from the time to respond")  # fmt: skip
    hush = _suppression(a, tags, programs, t)
    if t.suppressed_while is None and t.suppressed_after > 0.0:
        t.finding("suppressed_after", "found no suppressed_while; allowed: both, or neither")
    step = a.tree.site.step
    group = -1
    if t.group is not None:
        group = groups.setdefault(t.group, len(groups))
    index = a.parts.add(
        "alarm_p",
        cell=point.cell, integer=int(point.integer), sign=sign, limit=limit, clear=clear,
        on_delay=round(on_delay / step), off_delay=round(off_delay / step), every=max(1, round(t.every / step)),
        hush_after=round(t.suppressed_after / step), latching=int(t.latching), group=group, **hush,
    )  # fmt: skip
    a.units[name] = ("alarm", index)
    a.first_fill.append(lambda arena: arena.alarm_s["since"].__setitem__(index, -1))
    return Alarm(
        name=name, index=index, on=t.on, watches=point.meaning, compare=compare,
        limit=None if text is None else shown(sign * limit * scale + offset),
        deadband=shown(abs((limit - clear) * scale)), unit=unit, scale=scale, offset=offset,
        on_delay=on_delay, off_delay=off_delay,
        priority=t.priority, consequence=t.consequence, action=t.action, respond_within=t.respond_within,
        suppressed_while=t.suppressed_while or "", suppressed_after=t.suppressed_after, group=t.group or "",
        latching=t.latching,
    )  # fmt: skip


def shown(value: float) -> float:
    """A value without the rounding errors of a change of unit."""
    return float(f"{value:.12g}")


def _compare(t: Tree) -> str | None:
    """The one of `above`, `below` and `is` that is given, in one word: above, below, on, off."""
    given = [key for key in ("above", "below", "is") if t[key] is not None]
    if len(given) != 1:
        found = " and ".join(f"'{key}'" for key in given) if given else "none of 'above', 'below' and 'is'"
        t.finding("", f"found {found}; allowed: one of them, to say when the alarm comes")
        return None
    return str(t["is"]) if given[0] == "is" else given[0]


def _check_letters(t: Tree, name: str, compare: str) -> None:
    """Letters after ISA-5.1: measured variable, A for alarm, then H or L as the alarm comes above or below."""
    match = _LETTERS.match(name)
    if match is None:
        t.finding("", f"found '{name}'; allowed: ISA-5.1 letters of an alarm: what is measured, A, then H, HH, L or LL "
                      "where it is high or low, such as LAH-101, FAL-102 or YA-101")  # fmt: skip
        return
    right = {"above": "H", "below": "L"}.get(compare)
    if right is not None and match[2][:1] in ("H", "L") and match[2][0] != right:
        other = name.replace("A" + match[2], "A" + right * len(match[2]), 1)
        t.finding(compare, f"found '{compare}' for an alarm called '{name}'; allowed: {right} in a name for "
                           f"'{compare}', such as {other}")  # fmt: skip


def _limits(t: Tree, point: WatchPoint, compare: str) -> tuple[float, float, float]:
    """Sign, and limit and clear value times the sign, as the kernel takes them."""
    if compare in ("on", "off"):
        if t.deadband is not None:
            t.finding("deadband", "found a deadband of an alarm that is on or off; allowed: none; on_delay and "
                                  "off_delay hold a bouncing contact")  # fmt: skip
        if not point.binary:
            t.finding("is", f"found '{compare}' of {t.on}, which is a number in {point.unit}; allowed: above or below, "
                            "with a value")  # fmt: skip
        sign = 1.0 if compare == "on" else -1.0
        return sign, 0.5 * sign, 0.5 * sign
    sign = 1.0 if compare == "above" else -1.0
    text = t[compare]
    try:
        limit = point.value(text)
    except QuantityError as error:
        t.finding(compare, str(error))
        return sign, 0.0, 0.0
    band = _deadband(t, point)
    clear = limit - sign * band
    if point.range is not None:
        low, high = point.range
        span = high - low
        allowed = f"a value within the range of {t.on}, {low:g} to {high:g} {point.unit}"
        # a 4-20 mA signal passes the ends of its range by a little, and falls below it when it fails
        if not low - span / 16.0 < limit < high + span / 32.0:
            t.finding(compare, sentence(f"{quoted(text)}, which {t.on} never passes", allowed))
        elif not low - span / 16.0 < clear < high + span / 32.0:
            t.finding("deadband", sentence(f"a deadband after which the alarm returns only at {clear:g} {point.unit}",
                                           allowed))  # fmt: skip
    return sign, sign * limit, sign * clear


def _deadband(t: Tree, point: WatchPoint) -> float:
    """Deadband in the unit of the cell; the usual part of span where it is left out of a transmitter's alarm."""
    if t.deadband is None:
        part = USUAL.get(point.letter, (0.0, 0.0))[0]
        return part * (point.range[1] - point.range[0]) if point.range is not None else 0.0
    try:
        band = point.difference(t.deadband)
    except QuantityError as error:
        t.finding("deadband", str(error))
        return 0.0
    if band < 0.0:
        t.finding("deadband", f"found {quoted(t.deadband)}, which would return the alarm on the wrong side of its "
                              "limit; allowed: 0 or more")  # fmt: skip
        return 0.0
    return band


def _on_delay(t: Tree, point: WatchPoint) -> float:
    """On-delay [s]; the usual one of the kind of signal where it is left out."""
    if t.on_delay is not None:
        return float(t.on_delay)
    return USUAL.get(point.letter, (0.0, 0.0))[1] if point.range is not None else 0.0


def _suppression(a: Assembly, tags: Mapping[str, Tag], programs: Mapping[str, Any], t: Tree) -> dict[str, Any]:
    """Fields of the condition that suppresses an alarm by design."""
    none = dict(hush=-1, hush_integer=0, hush_sign=1.0, hush_limit=0.0)
    if t.suppressed_while is None:
        return none
    key = "suppressed_while"
    match = _WHILE.fullmatch(t.suppressed_while.strip())
    if match is None:
        hint = nearest(t.suppressed_while.split()[0], tags) if t.suppressed_while.split() else None
        allowed = "a tag, unit.quantity or program.variable with 'is on', 'is off', 'above VALUE' or 'below VALUE'"
        t.finding(key, sentence(quoted(t.suppressed_while), allowed, f"{hint} is off" if hint else None))
        return none
    point = watch_point(a, tags, programs, t, key, match[1])
    if point is None:
        return none
    if match[2]:
        if not point.binary:
            t.finding(key, f"found '{match[1]}', a number in {point.unit}; allowed: above or below a value of it")
        sign = 1.0 if match[2] == "on" else -1.0
        limit = 0.5
    else:
        sign = 1.0 if match[3] == "above" else -1.0
        try:
            limit = point.value(match[4])
        except QuantityError as error:
            t.finding(key, str(error))
            return none
    return dict(hush=point.cell, hush_integer=int(point.integer), hush_sign=sign, hush_limit=sign * limit)

