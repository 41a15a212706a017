"""Judge acceptance sentences on a record: kept, broken, or never put to the test; by how much, and when.

A row stands for the interval that ends at it, as in the figures of a run. A sentence whose event never comes,
whose `while` is never true, or whose window goes beyond the record without being broken, is not tested: that is
no proof. The worst of several events is the verdict.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from plantsim.analysis.checks import sentence as s
from plantsim.analysis.checks.moments import Moments, compared
from plantsim.analysis.checks.names import counter_series, figure_of
from plantsim.analysis.checks.recording import Recording

OK, FAILED, UNTESTED = "ok", "failed", "not tested"
_ORDER = {FAILED: 0, UNTESTED: 1, OK: 2}


@dataclass(frozen=True)
class Verdict:
    """What became of one sentence.

    Parameters
    ----------
    name, sentence : str
        Of the check.
    outcome : str
        'ok', 'failed' or 'not tested'.
    margin : float
        Room left at the worst moment, in `unit`; negative: how far the limit was passed; not a number: there is none.
    unit : str
        Unit of the margin.
    when : float
        When that was [s]; not a number: at no one moment.
    words : str
        What was seen.
    """

    name: str
    sentence: str
    outcome: str
    margin: float = math.nan
    unit: str = ""
    when: float = math.nan
    words: str = ""

    @property
    def ok(self) -> bool:
        """Whether it was tested and kept."""
        return self.outcome == OK


@dataclass(frozen=True)
class _Found:
    """Outcome of a requirement over one window."""

    status: str
    margin: float | None = None
    unit: str = ""
    at: float | None = None
    words: str = ""


def _room(found: _Found) -> float:
    return math.inf if found.margin is None else found.margin


def judge(checks: Sequence[s.Check], record: Recording) -> list[Verdict]:
    """Judge sentences on a record.

    Parameters
    ----------
    checks : sequence of Check
        The sentences.
    record : Recording
        The record; its series have to hold what the sentences name.

    Returns
    -------
    list of Verdict
        One for each check, in their order.

    Raises
    ------
    NameRefusal
        If a sentence names what the record has not.
    """
    moments = Moments(record)
    return [judge_one(check, moments) for check in checks]


def judge_one(check: s.Check, moments: Moments) -> Verdict:
    """Judge one sentence; see `judge`."""
    said = check.sentence
    found = _whole(said, moments)
    margin, when = (math.nan if x is None or not math.isfinite(x) else float(x) for x in (found.margin, found.at))
    return Verdict(check.name, said.text, found.status, margin, found.unit, when, found.words)


def _whole(said: s.Sentence, moments: Moments) -> _Found:
    requirement = said.requirement
    if isinstance(requirement, s.Closure):
        return _closure(requirement, moments.record)
    if isinstance(requirement, s.Always) and figure_of(said, moments.units, bool(moments.record.figures)):
        assert isinstance(requirement.condition, s.Compare)
        return _figure(requirement.condition, moments.record)
    if not len(moments.time):
        return _Found(UNTESTED, words="the record is empty")
    end = float(moments.time[-1])
    if said.anchor is None:
        anchors = [float(moments.time[0])]
    else:
        anchors = [t for t in moments.events(said.anchor) if t <= end]
        if not anchors:
            return _Found(UNTESTED, words="the event never came")
    found = [_around(said, moments, t) for t in anchors]
    worst = min(found, key=lambda one: (_ORDER[one.status], _room(one)))
    if worst.status == UNTESTED and any(one.status == OK for one in found):
        # one event too near to the end, or with nothing to look at after it, does not undo the others
        worst = min((one for one in found if one.status == OK), key=_room)
    if said.anchor is not None and len(anchors) > 1:
        count = f"the worst of {len(anchors)} events" + (f": {worst.words}" if worst.words else "")
        worst = _Found(worst.status, worst.margin, worst.unit, worst.at, count)
    return worst


def _around(said: s.Sentence, moments: Moments, anchor: float) -> _Found:
    """Judge the requirement in the window of one event."""
    time, requirement = moments.time, said.requirement
    if said.side == "before":
        low, high = anchor - said.stop, anchor - said.start
        mask = (time >= low - 1e-9) & (time < high - 1e-9)
        cut = low < time[0] - 1e-9
    else:
        low, high = anchor + said.start, anchor + said.stop
        mask = (time >= low - 1e-9) & (time <= high + 1e-9)
        cut = math.isfinite(high) and high > time[-1] + 1e-9
    if isinstance(requirement, s.Within | s.Order):
        found = _timed(requirement, moments, max(low, anchor))
        return found
    if said.given is not None:
        given = moments.truth(said.given)
        mask &= given.on & given.known
        if not mask.any():
            return _Found(UNTESTED, words="its condition was never true")
    if not mask.any():
        return _Found(UNTESTED, words="the record has nothing in its window")
    found = _JUDGES[type(requirement)](requirement, moments, mask)
    if cut and found.status == OK:
        return _Found(UNTESTED, found.margin, found.unit, found.at, "the record is shorter than its window")
    return found


# --- one judge for each kind of requirement ---


def _always(r: s.Always, m: Moments, mask: np.ndarray) -> _Found:
    truth = m.truth(r.condition)
    seen = mask & truth.known
    if not seen.any():
        return _Found(UNTESTED, words="the record has no numbers for it")
    if truth.room is not None:
        room = np.where(seen, truth.room, np.inf)
        i = int(np.argmin(room))
        assert truth.values is not None
        status = OK if bool(truth.on[seen].all()) else FAILED
        return _Found(status, float(room[i]), truth.unit, float(m.time[i]),
                      f"at worst {shown(float(truth.values[i]), truth.unit)}")  # fmt: skip
    broken = seen & ~truth.on
    if not broken.any():
        return _Found(OK, words=f"kept throughout {lasting(float(m.weights[seen].sum()))}")
    spells = m.spells(broken)
    start = float(m.time[np.flatnonzero(broken)[0]])
    total = float(m.weights[broken].sum())
    longest = max(stop - begin for begin, stop in spells)
    words = f"broken for {lasting(total)}" + (f" in {len(spells)} spells" if len(spells) > 1 else "")
    return _Found(FAILED, -longest, "s", start, words)


def _share(r: s.Share, m: Moments, mask: np.ndarray) -> _Found:
    truth = m.truth(r.condition)
    seen = mask & truth.known
    if r.running:
        seen &= m.washing()
    whole = float(m.weights[seen].sum())
    if whole <= 0.0:
        return _Found(UNTESTED, words="no washing in this time" if r.running else "no time to count")
    percent = 100.0 * float(m.weights[seen & truth.on].sum()) / whole
    room = percent - r.percent if r.least else r.percent - percent
    bad = seen & (~truth.on if r.least else truth.on)
    spells = m.spells(bad)
    at = max(spells, key=lambda span: span[1] - span[0])[0] if spells else None
    return _Found(OK if room >= -1e-9 else FAILED, room, "% of the time", at,
                  f"{percent:.4g} % of {lasting(whole)}")  # fmt: skip


def _spell(r: s.Spell, m: Moments, mask: np.ndarray) -> _Found:
    truth = m.truth(r.condition)
    on = mask & truth.known & truth.on
    spells = m.spells(on)
    longest = max(spells, key=lambda span: span[1] - span[0], default=(math.nan, math.nan))
    length = (longest[1] - longest[0] if spells else 0.0) if r.single else float(m.weights[on].sum())
    room = length - r.seconds if r.least else r.seconds - length
    words = f"at most {lasting(length)} at a time" if r.single else f"{lasting(length)} in all"
    return _Found(OK if room >= -1e-9 else FAILED, room, "s", longest[0] if spells else None, words)


def _count(r: s.Count, m: Moments, mask: np.ndarray) -> _Found:
    low, high = float(m.time[mask][0]), float(m.time[mask][-1])
    times = m.starts(r.starts) if r.starts else m.events(r.event) if r.event is not None else []
    times = [t for t in times if low <= t <= high and mask[min(int(np.searchsorted(m.time, t)), len(mask) - 1)]]
    found, at = windowed(times, r.per, high, r.least, low)
    room = found - r.most if r.least else r.most - found
    per = "" if math.isinf(r.per) else f" in any {lasting(r.per)}"
    if r.least and high - low < r.per and math.isfinite(r.per):
        return _Found(UNTESTED, words="the record is shorter than the time it counts in")
    words = f"{'least' if r.least else 'most'} {found}{per}"
    return _Found(OK if room >= 0 else FAILED, float(room), "times", at, words)


def windowed(times: Sequence[float], per: float, end: float, least: bool = False,
             start: float = 0.0) -> tuple[int, float | None]:  # fmt: skip
    """Most (or least) events in any time of a given length, and when that time ends.

    Parameters
    ----------
    times : sequence of float
        Events in order [s].
    per : float
        Length of the time [s]; infinite: the whole record.
    end, start : float
        Of the record [s].
    least : bool
        Whether the fewest are sought, not the most.

    Returns
    -------
    tuple of int and (float or None)

    Notes
    -----
    A time (t - per, t] is open at its start: an event counts for `per` and no longer, as starts of a motor do.

    >>> windowed([0.0, 1800.0, 3599.0, 3600.0], 3600.0, 7200.0)
    (3, 3599.0)
    """
    if math.isinf(per):
        return len(times), times[-1] if times else None
    t = np.asarray(times, dtype=float)
    if least:
        ends = np.concatenate(([start + per], t[(t >= start + per)] - 1e-6, t[t + per <= end] + per, [end]))
        counts = np.searchsorted(t, ends, "right") - np.searchsorted(t, ends - per, "right")
        i = int(np.argmin(counts))
        return int(counts[i]), float(ends[i])
    if not len(t):
        return 0, None
    counts = np.arange(1, len(t) + 1) - np.searchsorted(t, t - per, "right")
    i = int(np.argmax(counts))
    return int(counts[i]), float(t[i])


def _rise(r: s.Rise, m: Moments, mask: np.ndarray) -> _Found:
    name = counter_series(r.unit, r.what, m.units)
    values, time = m.values(name)[mask], m.time[mask]
    rise, unit = values - values[0], m.units[name]
    room, on = compared(r.limit, rise[-1:], unit)
    over = np.flatnonzero(rise > 1e-9)
    return _Found(OK if bool(on[0]) else FAILED, float(room[0]), unit, float(time[over[0]]) if len(over) else None,
                  f"{shown(float(rise[-1]), unit)} in all" if len(over) else "none")  # fmt: skip


_STATISTICS: dict[str, Callable[[np.ndarray, np.ndarray], float]] = {
    "mean": lambda x, w: float((x * w).sum() / w.sum()) if w.sum() > 0.0 else float(x.mean()),
    "highest": lambda x, w: float(x.max()),
    "lowest": lambda x, w: float(x.min()),
    "swing": lambda x, w: float(x.max() - x.min()),
    "rise": lambda x, w: float(x[-1] - x[0]),
}


def _statistic(r: s.Statistic, m: Moments, mask: np.ndarray) -> _Found:
    values = m.values(r.limit.name)
    seen = mask & np.isfinite(values)
    if not seen.any():
        return _Found(UNTESTED, words="the record has no numbers for it")
    value = _STATISTICS[r.which](values[seen], m.weights[seen])
    room, on = compared(r.limit, np.array([value]), m.units[r.limit.name])
    at = {"highest": np.argmax, "lowest": np.argmin}.get(r.which)
    when = float(m.time[seen][int(at(values[seen]))]) if at is not None else None
    unit = m.units[r.limit.name]
    return _Found(OK if bool(on[0]) else FAILED, float(room[0]), unit, when, f"{r.which} {shown(value, unit)}")


def _says(r: s.Says, m: Moments, mask: np.ndarray) -> _Found:
    low, high = float(m.time[mask][0]), float(m.time[mask][-1])
    times = [t for t in m.events(s.Line(r.words)) if low <= t <= high]
    words = f"{len(times)} such lines" if times else "no such line"
    return _Found(OK if bool(times) == r.wanted else FAILED, None, "", times[0] if times else None, words)


_JUDGES: dict[type, Callable[..., _Found]] = {
    s.Always: _always, s.Share: _share, s.Spell: _spell, s.Count: _count, s.Rise: _rise, s.Statistic: _statistic,
    s.Says: _says,
}  # fmt: skip


def _timed(r: s.Within | s.Order, m: Moments, anchor: float) -> _Found:
    """An answer, or steps in order, after one event."""
    end = float(m.time[-1])
    if isinstance(r, s.Within):
        at = m.lasted(r.condition, anchor) if isinstance(r.condition, s.Held) else m.first(r.condition, anchor)
        if math.isinf(at):
            if end < anchor + r.seconds - 1e-9:
                return _Found(UNTESTED, words="the record ends before the time is over")
            return _Found(FAILED, r.seconds - (end - anchor), "s", anchor, "no answer in the record")
        return _Found(OK if at - anchor <= r.seconds + 1e-9 else FAILED, r.seconds - (at - anchor), "s", anchor,
                      f"after {lasting(at - anchor)}")  # fmt: skip
    times = [m.first(step, anchor) for step in r.steps]
    words = ", ".join("never" if math.isinf(t) else f"+{lasting(t - anchor)}" for t in times)
    for earlier, later in itertools.pairwise(times):
        if later < earlier:
            lead = (earlier if math.isfinite(earlier) else end) - later
            return _Found(FAILED, -lead, "s", later, f"out of order: {words}")
    last = times[-1]
    if math.isinf(last):
        if math.isfinite(r.within) and end < anchor + r.within - 1e-9:
            return _Found(UNTESTED, words="the record ends before the time is over")
        return _Found(FAILED, (r.within - (end - anchor)) if math.isfinite(r.within) else None, "s", anchor, words)
    room = r.within - (last - anchor)
    return _Found(OK if room >= -1e-9 else FAILED, room if math.isfinite(room) else None,
                  "s" if math.isfinite(room) else "", anchor, words)  # fmt: skip


def _figure(limit: s.Compare, record: Recording) -> _Found:
    figure = record.figures.get(limit.name)
    if figure is None:
        return _Found(UNTESTED, words="this run has no such figure")
    room, on = compared(limit, np.array([figure.value]), figure.unit)
    return _Found(OK if bool(on[0]) else FAILED, float(room[0]), figure.unit, None, shown(figure.value, figure.unit))


def _closure(r: s.Closure, record: Recording) -> _Found:
    gaps = {name: abs(row["gap"]) for name, row in record.closure.items() if math.isfinite(row["gap"])}
    if not gaps:
        return _Found(UNTESTED, words="the record has no balances")
    worst = max(gaps, key=lambda name: gaps[name])
    return _Found(OK if gaps[worst] <= r.most else FAILED, r.most - gaps[worst], "1", None,
                  f"{gaps[worst]:.1e} for {worst}")  # fmt: skip


# --- words ---


def shown(value: float, unit: str) -> str:
    """A value with its unit.

    >>> shown(72.3456, "NTU"), shown(0.0, "1")
    ('72.35 NTU', '0')
    """
    return f"{value:.4g}" + ("" if unit in ("1", "-", "") else f" {unit}")


def lasting(seconds: float) -> str:
    """A length of time in the unit that reads best.

    >>> lasting(9.0), lasting(90.0), lasting(5400.0), lasting(259200.0)
    ('9 s', '1.5 min', '1.5 h', '3 d')
    """
    for size, unit in ((86400.0, "d"), (3600.0, "h"), (60.0, "min")):
        if seconds >= size:
            return f"{seconds / size:.3g} {unit}"
    return f"{seconds:.3g} s"
