"""Figures of merit of an alarm system, counted from the changes of state of a run.

**Windows.** Shares of time (periods with many alarms, floods) are counted in fixed periods of ten minutes, and hours,
from the start of the run, as ISA-18.2 counts them; a last period that is cut short counts as one. Where alarms crowd
together whatever the clock says (most in ten minutes, chattering) the window slides.

**Annunciated** is every entry into the state unacknowledged: a new alarm, and one that comes again after it returned.
An alarm on the shelf, suppressed by design or out of service does not count.

References
----------
ANSI/ISA-18.2-2016, Management of alarm systems for the process industries, clause 16 (monitoring and assessment);
IEC 62682; the definitions are given from memory. Neither gives a number for chattering or fleeting: those here are
common practice, no source.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from plantsim import records
from plantsim.plant.model import Alarm
from plantsim.sim.alarms import AlarmNote

PERIOD, HOUR, DAY = 600.0, 3600.0, 86400.0
FLOOD_BEGINS, FLOOD_ENDS = 10, 5
"""A flood begins with the first period of at least so many alarms, and ends with the first of fewer than so many.
Texts on the standard differ on whether ten or eleven begin one: ten do here."""
MANY = 10
"""A period of more than so many is one with many alarms."""
MANY_IN_HOUR = 30
CHATTER, CHATTER_TIME = 3, 60.0
"""An alarm chatters that comes so often in so short a time [s]."""
FLEETING_TIME = 60.0
"""An alarm that returns by itself within this [s], before it is acknowledged, is fleeting."""
STALE_TIME = DAY
"""An alarm whose condition stands for longer than this [s] is stale."""

(_NORMAL, _UNACKED, _ACKED, _RETURNED, _LATCHED_UNACKED, _LATCHED_ACKED, _SHELVED, _SUPPRESSED,
 _OUT) = records.ALARM_STATES  # fmt: skip
_WAITING = (_UNACKED, _RETURNED, _LATCHED_UNACKED)
_TRUE = (_UNACKED, _ACKED)


@dataclass(frozen=True)
class Flood:
    """One flood: from the start of its first period to the end of its last, [s], and the alarms in it."""

    start: float
    stop: float
    count: int


@dataclass(frozen=True)
class AlarmFigures:
    """Figures of merit of an alarm system in one run.

    Parameters
    ----------
    seconds : float
        Length of the run, [s]
    annunciated : int
        Alarms annunciated.
    by_alarm : dict of str to int
        The same by alarm, the most frequent first.
    most_in_period, most_in_any_period, most_in_hour : int
        Most in a fixed period of ten minutes, in any ten minutes, in a fixed hour.
    periods_over, hours_over : float
        Share of periods with more than 10 alarms, and of hours with more than 30, [%]
    floods : tuple of Flood
        Floods.
    flood_share : float
        Time in flood, [%]
    top_share : float
        Share of the ten most frequent alarms; not a number when ten alarms or fewer came at all, [%]
    chattering : dict of str to int
        Alarms that chatter, and the most times one came in a minute.
    fleeting : dict of str to int
        Alarms that returned by themselves within a minute, and how often; those that chatter are left out.
    stale : dict of str to float
        Alarms that stood for more than a day, and their longest time, [s]
    standing : dict of str to float
        Alarms whose condition stands at the end, and for how long, [s]
    split : dict of str to float
        Share of annunciated alarms by priority, [%]
    configured : dict of str to float
        Share of all alarms of the list by priority, [%]
    acknowledged : int
        Times an operator acknowledged.
    late : int
        Of those, later than the time to respond.
    mean_time, longest_time : float
        Mean and longest time until an alarm was acknowledged; not a number when none was, [s]
    waiting : tuple of str
        Alarms not acknowledged at the end.
    shelved, suppressed, out : dict of str to float
        Alarms that were shelved, suppressed by design or out of service, and for how long in all, [s]
    """

    seconds: float
    annunciated: int
    by_alarm: dict[str, int]
    most_in_period: int
    most_in_any_period: int
    most_in_hour: int
    periods_over: float
    hours_over: float
    floods: tuple[Flood, ...]
    flood_share: float
    top_share: float
    chattering: dict[str, int]
    fleeting: dict[str, int]
    stale: dict[str, float]
    standing: dict[str, float]
    split: dict[str, float]
    configured: dict[str, float]
    acknowledged: int
    late: int
    mean_time: float
    longest_time: float
    waiting: tuple[str, ...]
    shelved: dict[str, float]
    suppressed: dict[str, float]
    out: dict[str, float]

    @property
    def per_day(self) -> float:
        """Alarms annunciated in a day, on average [1/d]."""
        return self.annunciated * DAY / self.seconds

    @property
    def per_hour(self) -> float:
        """Alarms annunciated in an hour, on average [1/h]."""
        return self.annunciated * HOUR / self.seconds

    @property
    def per_period(self) -> float:
        """Alarms annunciated in ten minutes, on average [-]."""
        return self.annunciated * PERIOD / self.seconds


def alarm_figures(alarms: Sequence[Alarm], notes: Sequence[AlarmNote], seconds: float) -> AlarmFigures:
    """Count the figures of merit of an alarm system.

    Parameters
    ----------
    alarms : sequence of Alarm
        The list of alarms.
    notes : sequence of AlarmNote
        Every change of state, in order.
    seconds : float
        Length of the run, [s]

    Returns
    -------
    AlarmFigures
    """
    called = [note for note in notes if note.annunciated]
    times = [note.seconds for note in called]
    counts = Counter(note.alarm for note in called)
    by_alarm = dict(sorted(counts.items(), key=lambda item: (-item[1], item[0])))
    periods, hours = in_windows(times, seconds, PERIOD), in_windows(times, seconds, HOUR)
    floods = find_floods(periods, seconds)
    chattering = _chattering(called)
    stays = {alarm.name: _stays([n for n in notes if n.alarm == alarm.name], seconds) for alarm in alarms}
    true = {name: _true_spans(spans) for name, spans in stays.items()}
    longest = {name: max((stop - start for start, stop in spans), default=0.0) for name, spans in true.items()}
    answers, waiting = _answers(alarms, notes)
    delays = [delay for _, delay in answers]
    allowed = {alarm.name: alarm.respond_within for alarm in alarms}
    priorities = {alarm.name: alarm.priority for alarm in alarms}
    return AlarmFigures(
        seconds=seconds, annunciated=len(called), by_alarm=by_alarm, most_in_period=max(periods, default=0),
        most_in_any_period=most_in(times, PERIOD), most_in_hour=max(hours, default=0),
        periods_over=_share(sum(n > MANY for n in periods), len(periods)),
        hours_over=_share(sum(n > MANY_IN_HOUR for n in hours), len(hours)), floods=floods,
        flood_share=_share(sum(flood.stop - flood.start for flood in floods), seconds),
        top_share=_share(sum(list(by_alarm.values())[:10]), len(called)) if len(by_alarm) > 10 else math.nan,
        chattering=chattering, fleeting=_fleeting(notes, chattering),
        stale={name: time for name, time in longest.items() if time > STALE_TIME},
        standing={name: seconds - spans[-1][0] for name, spans in true.items() if spans and spans[-1][1] >= seconds},
        split=_split(priorities[note.alarm] for note in called), configured=_split(priorities.values()),
        acknowledged=len(answers), late=sum(delay > allowed[name] for name, delay in answers),
        mean_time=sum(delays) / len(delays) if delays else math.nan, longest_time=max(delays, default=math.nan),
        waiting=waiting, shelved=_held_back(stays, _SHELVED), suppressed=_held_back(stays, _SUPPRESSED),
        out=_held_back(stays, _OUT),
    )  # fmt: skip


def in_windows(times: Iterable[float], seconds: float, length: float) -> list[int]:
    """Count moments in fixed windows from zero; a moment on an edge belongs to the window that begins there.

    >>> in_windows([0.0, 599.0, 600.0, 1250.0], 1300.0, 600.0)
    [2, 1, 1]
    """
    counts = [0] * max(1, math.ceil(seconds / length - 1e-9))
    for time in times:
        counts[min(int(time // length), len(counts) - 1)] += 1
    return counts


def most_in(times: Sequence[float], length: float) -> int:
    """Most moments within any span shorter than a length; times in order.

    >>> most_in([0.0, 590.0, 595.0, 600.0, 1195.0], 600.0)
    3
    """
    most = first = 0
    for last in range(len(times)):
        while times[last] - times[first] >= length:
            first += 1
        most = max(most, last - first + 1)
    return most


def find_floods(periods: Sequence[int], seconds: float) -> tuple[Flood, ...]:
    """Floods from the counts of fixed periods.

    >>> find_floods([3, 12, 5, 4, 10], 2800.0)
    (Flood(start=600.0, stop=1800.0, count=17), Flood(start=2400.0, stop=2800.0, count=10))
    """
    floods: list[Flood] = []
    start = -1
    for k, count in enumerate((*periods, 0)):
        if start < 0 and count >= FLOOD_BEGINS:
            start = k
        elif start >= 0 and count < FLOOD_ENDS:
            floods.append(Flood(start * PERIOD, min(k * PERIOD, seconds), sum(periods[start:k])))
            start = -1
    return tuple(floods)


def _share(part: float, whole: float) -> float:
    return 100.0 * part / whole if whole else 0.0


def _split(priorities: Iterable[str]) -> dict[str, float]:
    counts = Counter(priorities)
    return {name: _share(n, sum(counts.values())) for name, n in counts.items()}


def _chattering(called: Sequence[AlarmNote]) -> dict[str, int]:
    """Alarms that come often within a minute."""
    found: dict[str, int] = {}
    for name in {note.alarm for note in called}:
        most = most_in([note.seconds for note in called if note.alarm == name], CHATTER_TIME)
        if most >= CHATTER:
            found[name] = most
    return dict(sorted(found.items(), key=lambda item: (-item[1], item[0])))


def _fleeting(notes: Sequence[AlarmNote], chattering: Mapping[str, int]) -> dict[str, int]:
    """Alarms that returned by themselves too soon for anybody to act."""
    came: dict[str, float] = {}
    counts: Counter[str] = Counter()
    for note in notes:
        if note.annunciated:
            came[note.alarm] = note.seconds
        elif note.before == _UNACKED and note.after in (_RETURNED, _LATCHED_UNACKED):
            counts[note.alarm] += note.seconds - came[note.alarm] <= FLEETING_TIME
    return {name: n for name, n in sorted(counts.items(), key=lambda c: (-c[1], c[0])) if n and name not in chattering}


def _stays(notes: Sequence[AlarmNote], seconds: float) -> list[tuple[str, float, float]]:
    """States of one alarm in order of time: state, from, to [s]."""
    stays, state, since = [], _NORMAL, 0.0
    for note in notes:
        stays.append((note.before, since, note.seconds))
        state, since = note.after, note.seconds
    stays.append((state, since, seconds))
    return stays


def _true_spans(stays: Sequence[tuple[str, float, float]]) -> list[tuple[float, float]]:
    """Spans in which the condition of an alarm stood."""
    spans: list[tuple[float, float]] = []
    for state, start, stop in stays:
        if state not in _TRUE:
            continue
        if spans and spans[-1][1] == start:
            spans[-1] = (spans[-1][0], stop)
        else:
            spans.append((start, stop))
    return spans


def _answers(alarms: Sequence[Alarm], notes: Sequence[AlarmNote]) -> tuple[list[tuple[str, float]], tuple[str, ...]]:
    """Alarm and time to acknowledge of each answer, from the first call it answers; and what waits at the end."""
    called: dict[str, float] = {}
    answers: list[tuple[str, float]] = []
    for note in notes:
        if note.annunciated:
            called.setdefault(note.alarm, note.seconds)
        elif note.by == "operator" and note.before in _WAITING and note.after not in (_SHELVED, _OUT):
            answers.append((note.alarm, note.seconds - called.pop(note.alarm)))
        elif note.after not in _WAITING:
            called.pop(note.alarm, None)
    return answers, tuple(alarm.name for alarm in alarms if alarm.name in called)


def _held_back(stays: Mapping[str, Sequence[tuple[str, float, float]]], state: str) -> dict[str, float]:
    """Alarms that were in a state that holds them back, and for how long in all."""
    found = {name: sum(stop - start for s, start, stop in spans if s == state) for name, spans in stays.items()}
    return {name: time for name, time in found.items() if time > 0.0}
