"""Time as a reader of a trend wants it: clock hours for a few days, calendar days beyond."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
# written out here and not left to the locale: the same run gives the same picture everywhere

HOURS_UP_TO = 3 * 86400.0
"""Longest run shown in clock hours [s]."""

_MOST_HOURS, _MOST_DAYS = 10, 8
_CLOCK_STEPS = (60, 120, 300, 600, 900, 1800, 3600, 7200, 10800, 21600, 43200)
_DAY_STEPS = (1, 2, 7, 14, 28)
_MONTH_STEPS = (1, 2, 3, 6, 12)


@dataclass(frozen=True)
class Ticks:
    """Where a time axis is marked [s after the start], with which words, and the words of the axis."""

    at: tuple[float, ...]
    words: tuple[str, ...]
    axis: str


def day_words(moment: dt.datetime, year: bool = False) -> str:
    """Name a day: `Mon 5 Apr`, with the year where it is wanted."""
    words = f"{DAYS[moment.weekday()]} {moment.day} {MONTHS[moment.month - 1]}"
    return f"{words} {moment.year}" if year else words


def moment_words(moment: dt.datetime) -> str:
    """Name a day and minute: `Mon 5 Apr 06:10`."""
    return f"{day_words(moment)} {moment:%H:%M}"


def length_words(seconds: float) -> str:
    """Say how long something lasts in the unit a person would use.

    Examples
    --------
    >>> length_words(86400.0), length_words(5400.0), length_words(30.0), length_words(7 * 86400.0)
    ('24 h', '1.5 h', '30 s', '7 days')
    """
    if seconds < 120:
        return f"{seconds:g} s"
    if seconds < 3600:
        return f"{seconds / 60:.3g} min"
    if seconds <= 2 * 86400:
        return f"{seconds / 3600:.3g} h"
    return f"{seconds / 86400:.4g} days"


def ticks(start: dt.datetime, seconds: float) -> Ticks:
    """Marks of a time axis that begins at `start`.

    Parameters
    ----------
    start : datetime
        Calendar time of zero, [-]
    seconds : float
        Length of the axis, [s]

    Returns
    -------
    Ticks
        Clock-aligned marks: hours up to three days, else days, weeks or months, [s]
    """
    midnight = start.replace(hour=0, minute=0, second=0, microsecond=0)
    if seconds <= HOURS_UP_TO:
        return _clock_ticks(start, midnight, seconds)
    days = seconds / 86400.0
    if days / _DAY_STEPS[-1] <= _MOST_DAYS:
        return _day_ticks(start, midnight, seconds)
    return _month_ticks(start, midnight, seconds)


def _clock_ticks(start: dt.datetime, midnight: dt.datetime, seconds: float) -> Ticks:
    step = next((s for s in _CLOCK_STEPS if seconds / s <= _MOST_HOURS), _CLOCK_STEPS[-1])
    offset = (start - midnight).total_seconds()
    first = -(-offset // step) * step
    at: list[float] = []
    words: list[str] = []
    position = first
    while position <= offset + seconds + 1e-6:
        moment = midnight + dt.timedelta(seconds=position)
        day = not at or (moment.hour == 0 and moment.minute == 0)
        at.append(position - offset)
        words.append(f"{moment:%H:%M}\n{day_words(moment)}" if day else f"{moment:%H:%M}")
        position += step
    return Ticks(tuple(at), tuple(words), f"clock hours, from {day_words(start, True)} {start:%H:%M}")


def _day_ticks(start: dt.datetime, midnight: dt.datetime, seconds: float) -> Ticks:
    step = next(s for s in _DAY_STEPS if seconds / 86400.0 / s <= _MOST_DAYS)
    offset = (start - midnight).total_seconds()
    day = 0 if offset == 0 else 1
    if step >= 7:  # weeks begin on Mondays
        day += -(midnight + dt.timedelta(days=day)).weekday() % 7
    at: list[float] = []
    words: list[str] = []
    while day * 86400.0 - offset <= seconds + 1e-6:
        moment = midnight + dt.timedelta(days=day)
        at.append(day * 86400.0 - offset)
        words.append(day_words(moment))
        day += step
    return Ticks(tuple(at), tuple(words), f"calendar days (marks at midnight), from {day_words(start, True)}")


def _month_ticks(start: dt.datetime, midnight: dt.datetime, seconds: float) -> Ticks:
    months = seconds / 86400.0 / 30.44
    step = next((s for s in _MONTH_STEPS if months / s <= _MOST_DAYS), _MONTH_STEPS[-1])
    number = midnight.year * 12 + midnight.month - 1
    at: list[float] = []
    words: list[str] = []
    while True:
        moment = midnight.replace(year=number // 12, month=number % 12 + 1, day=1)
        position = (moment - start).total_seconds()
        if position > seconds:
            break
        if position >= 0:
            at.append(position)
            words.append(f"{MONTHS[moment.month - 1]} {moment.year}")
        number += step
    return Ticks(tuple(at), tuple(words), f"months (marks at the first day), from {day_words(start, True)}")
