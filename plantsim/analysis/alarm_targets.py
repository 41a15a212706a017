"""Figures of merit of an alarm system against the published targets.

The targets are those of ANSI/ISA-18.2-2016, clause 16, and IEC 62682 for one operating position, given from memory:
a rate that is very likely acceptable, and the most that can be managed. The standard wants data of 30 days at least.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from plantsim.analysis.alarm_figures import AlarmFigures
from plantsim.analysis.course import Figure

SOURCE = "ANSI/ISA-18.2-2016 and IEC 62682, from memory"
WINDOW_DAYS = 30.0
"""Days of data the standard wants for its figures."""
SPLIT = {"low": 80.0, "medium": 15.0, "high": 5.0, "critical": 1.0}
"""Share of annunciated alarms by priority [%]; of a fourth, highest priority less than 1."""
SPLIT_BAND = 5.0
"""How far a share may be off [%] before it is said to be (common practice, no source)."""
TOP_SHARE = 5.0
"""Share of annunciated alarms that the ten most frequent should not pass [%]."""
GOOD, BEARABLE, BAD, NONE = "acceptable", "manageable", "too many", ""


@dataclass(frozen=True)
class Judged:
    """One figure beside its target.

    Parameters
    ----------
    name : str
        What is counted.
    value : float
        Its value, in `unit`; not a number where it has none.
    unit : str
        Its unit; empty for a plain number.
    target : str
        The target in words.
    verdict : str
        'acceptable', 'manageable', 'too many' or nothing.
    window : str
        How it is counted: fixed or sliding window, or nothing.
    """

    name: str
    value: float
    unit: str
    target: str
    verdict: str
    window: str = ""


def judge_alarms(figures: AlarmFigures) -> list[Judged]:
    """Every figure of merit beside its target.

    Parameters
    ----------
    figures : AlarmFigures
        Figures of a run.

    Returns
    -------
    list of Judged
    """
    f = figures
    rows = [
        _rate("annunciated in a day, on average", f.per_day, "1/d", 144.0, 288.0, "about 144, at most 288"),
        _rate("annunciated in an hour, on average", f.per_hour, "1/h", 6.0, 12.0, "about 6, at most 12"),
        _rate("annunciated in 10 min, on average", f.per_period, "", 1.0, 2.0, "about 1, at most 2"),
        _most("most in 10 min", f.most_in_any_period, "", 10.0, "at most 10", "sliding"),
        _most("most in a period of 10 min", f.most_in_period, "", 10.0, "at most 10", "fixed periods"),
        _most("10-min periods with more than 10", f.periods_over, "%", 1.0, "less than about 1 %", "fixed periods"),
        _most("hours with more than 30", f.hours_over, "%", 1.0, "less than about 1 %", "fixed hours"),
        Judged("floods", float(len(f.floods)), "", "begins at 10 in 10 min, ends below 5", NONE, "fixed periods"),
        _most("time in flood", f.flood_share, "%", 1.0, "less than about 1 %", "fixed periods"),
        _top(f),
        _most("chattering alarms", len(f.chattering), "", 0.0, "none; 3 in a minute", "sliding"),
        _most("fleeting alarms", len(f.fleeting), "", 0.0, "none; gone by itself within a minute", ""),
        _most("stale alarms", len(f.stale), "", 4.0, "fewer than 5 on any day; over 24 h", ""),
    ]
    rows += [_part(f, name) for name in SPLIT]
    rows += _answers(f)
    rows += [
        Judged("shelved at some time", float(len(f.shelved)), "", "each with an end and a reason", NONE),
        Judged("out of service at some time", float(len(f.out)), "", "each by the site's own procedure", NONE),
        Judged("suppressed by design at some time", float(len(f.suppressed)), "", "as the alarm list says", NONE),
    ]
    return rows


def _rate(name: str, value: float, unit: str, good: float, bearable: float, target: str) -> Judged:
    verdict = GOOD if value <= good else BEARABLE if value <= bearable else BAD
    return Judged(name, value, unit, target, verdict)


def _most(name: str, value: float, unit: str, most: float, target: str, window: str) -> Judged:
    return Judged(name, float(value), unit, target, GOOD if value <= most else BAD, window)


def _top(f: AlarmFigures) -> Judged:
    """Share of the ten most frequent: fewer than 200 different alarms cannot keep ten of them to 5 %."""
    judged = len(f.by_alarm) >= 10 * 100.0 / TOP_SHARE
    verdict = NONE if not judged else GOOD if f.top_share <= TOP_SHARE else BAD
    target = f"about 1 % to {TOP_SHARE:g} %" + ("" if judged else "; for lists of hundreds")
    return Judged("share of the ten most frequent", f.top_share, "%", target, verdict)


def _part(f: AlarmFigures, priority: str) -> Judged:
    """Share of one priority; a share of a handful of alarms says nothing and is not judged."""
    share, aim = f.split.get(priority, 0.0), SPLIT[priority]
    few = f.annunciated < 100.0 / SPLIT_BAND
    if priority == "critical":
        off, target = share > aim, "less than about 1 %"
    else:
        off, target = abs(share - aim) > SPLIT_BAND, f"about {aim:g} %"
    verdict = NONE if few else BAD if off and share > aim else "too few" if off else GOOD
    return Judged(f"of them {priority} priority", share if f.annunciated else math.nan, "%", target, verdict)


def _answers(f: AlarmFigures) -> list[Judged]:
    """How soon alarms were acknowledged; a run without an operator has one word on that."""
    if not f.acknowledged:
        return [Judged("acknowledged by an operator", 0.0, "", "nobody sat at the desk in this run", NONE)]
    return [
        Judged("acknowledged by an operator", float(f.acknowledged), "", "", NONE),
        Judged("mean time to acknowledge", f.mean_time, "s", "within the time to respond of each", NONE),
        Judged("longest time to acknowledge", f.longest_time, "s", "likewise", NONE),
        Judged("acknowledged later than the time to respond", float(f.late), "", "none", BAD if f.late else GOOD),
        Judged("not acknowledged at the end", float(len(f.waiting)), "", "", NONE),
    ]


def as_figures(figures: AlarmFigures) -> Mapping[str, Figure]:
    """Those figures of merit that belong among the figures of a run."""
    f = figures
    found = {
        "annunciated": Figure(f.annunciated, "1", "alarms annunciated to the operator"),
        "annunciated_per_day": Figure(f.per_day, "1/d", "the same in a day, on average"),
        "most_in_10_min": Figure(f.most_in_any_period, "1", "most alarms annunciated in any ten minutes"),
        "time_in_flood": Figure(f.flood_share, "%", "time from ten alarms in ten minutes until fewer than five"),
        "chattering": Figure(len(f.chattering), "1", "alarms that came three times or more within a minute"),
        "fleeting": Figure(len(f.fleeting), "1", "alarms that went by themselves within a minute"),
        "stale": Figure(len(f.stale), "1", "alarms that stood for more than a day"),
        "standing": Figure(len(f.standing), "1", "alarms whose condition stands at the end"),
    }
    if f.acknowledged:
        found["time_to_acknowledge"] = Figure(f.mean_time, "s", "mean time until an alarm was acknowledged")
    return {f"alarms.{name}": figure for name, figure in found.items()}
