"""The score of an attempt: what was noticed and done, when, and what it cost, against no action and the best response.

Each part gives a share from 0 to 1 of its weight; parts that a session has nothing to judge by are left out, and the
weights of the others stand for the whole. The lesson file says weights, times and dead time (`lessons.Scoring`).

==========  ===========================================================================================================
part        share
==========  ===========================================================================================================
notice      1 within the time to notice, 0 at three times that, in between evenly; noticed is: a new alarm acknowledged,
            or a first right act, after the cause
action      the same for the first right act
calm        needless acts beyond the spare ones cost a fifth each; needless is: not one of the right acts, or the same
            thing again within one dead time, before the last change could be seen
goals       kept acceptance sentences of those put to the test
losses      mean over water, solids and time without permit of (none - mine) / (none - best), between 0 and 1
==========  ===========================================================================================================

Source of the idea of judging dead times between acts: common practice, no source.
"""

from __future__ import annotations

import fnmatch
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from plantsim import records
from plantsim.analysis.checks import Check, Record, Values, Verdict, judge, parse
from plantsim.live.journal import Entry
from plantsim.live.lessons import WEIGHTS, Lesson, Scoring
from plantsim.live.plant import LivePlant
from plantsim.live.views import bands_of
from plantsim.plant.model import Channel, Model
from plantsim.sim.alarms import AlarmNote
from plantsim.store.collect import factors

ACTS = ("set", "field")
"""Acts that change the plant by an operator's hand."""
CAUSES = ("lesson", "upset", "cause")
PART_WORDS = {
    "notice": "time to notice",
    "action": "first right act",
    "calm": "no needless acts",
    "goals": "goals kept",
    "losses": "losses, between no action and the best response",
}


@dataclass(frozen=True)
class Figure:
    """One figure of an attempt beside those of no action and of the best response; NaN where there is none."""

    name: str
    unit: str
    mine: float
    none: float
    best: float
    counts: bool = False
    """Whether it counts for the losses."""


@dataclass(frozen=True)
class Part:
    """One part of the score: its share of its weight, and why; no share: there was nothing to judge by."""

    name: str
    words: str
    weight: float
    share: float | None
    why: str


@dataclass
class Score:
    """All that is said of an attempt; times in seconds since the start of the plant."""

    parts: list[Part] = field(default_factory=list)
    figures: list[Figure] = field(default_factory=list)
    verdicts: list[Verdict] = field(default_factory=list)
    cause: float | None = None
    noticed: float | None = None
    acted: float | None = None
    needless: int = 0
    per_dead_time: float = 0.0

    @property
    def total(self) -> float | None:
        """Points of 100; None when there was nothing to judge by."""
        judged = [p for p in self.parts if p.share is not None and p.weight > 0.0]
        weight = sum(p.weight for p in judged)
        if weight <= 0.0:
            return None
        return 100.0 * sum(p.weight * (p.share or 0.0) for p in judged) / weight


# ------------------------------------------------------------------ acts
def is_right(lesson: Lesson, entry: Entry) -> bool:
    """Whether an act answers a lesson.

    A pattern is a path or a crew's work, `*` standing for anything; `on`, `off`, `up` or `down` behind it ask for that
    change.
    """
    return entry.act in ACTS and any(_fits(pattern, entry) for pattern in lesson.right)


def _fits(pattern: str, entry: Entry) -> bool:
    name = str(entry.data.get("path") or entry.data.get("work") or "")
    words = pattern.split()
    change = words[-1] if len(words) > 1 and words[-1] in ("on", "off", "up", "down") else ""
    wanted = " ".join(words[:-1]) if change else pattern
    if not fnmatch.fnmatchcase(name, wanted):
        return False
    value, was = float(entry.data.get("value", 0.0)), float(entry.data.get("was", 0.0))
    return {"": True, "on": value > 0.5, "off": value < 0.5, "up": value > was, "down": value < was}[change]


def needless_acts(entries: list[Entry], lesson: Lesson, step: float) -> list[Entry]:
    """Acts that do not answer, or come again within one dead time of the same."""
    last: dict[str, int] = {}
    wait = round(lesson.scoring.dead_time / step)
    found = []
    for entry in entries:
        if entry.act not in ACTS:
            continue
        name = str(entry.data.get("path") or entry.data.get("work"))
        program = name.partition(".")[0]
        again = name in last and entry.tick - last[name] < wait
        # choosing hand and its values is one change, not three
        again = again and not name.startswith(f"{program}.hand")
        if again or not is_right(lesson, entry):
            found.append(entry)
        last[name] = entry.tick
    return found


def noticed_at(entries: list[Entry], alarms: list[AlarmNote], lesson: Lesson, cause: int) -> int | None:
    """Tick at which the operator noticed: acknowledged an alarm that came after the cause, or acted rightly."""
    came = {note.alarm: note.tick for note in reversed(alarms) if note.annunciated and note.tick >= cause}
    for entry in entries:
        if entry.tick < cause:
            continue
        if is_right(lesson, entry):
            return entry.tick
        if entry.act == "ack":
            names = entry.data["names"] or list(came)
            if any(came.get(name, entry.tick + 1) <= entry.tick for name in names):
                return entry.tick
    return None


def fading(taken: float, good: float) -> float:
    """Share for a time: 1 up to the good one, 0 from three times it on, evenly in between.

    >>> [fading(t, 10.0) for t in (5.0, 10.0, 20.0, 30.0, 99.0)]
    [1.0, 1.0, 0.5, 0.0, 0.0]
    """
    return max(0.0, min(1.0, (3.0 * good - taken) / (2.0 * good)))


# ------------------------------------------------------------------ figures
def _columns(plant: LivePlant) -> dict[str, tuple[int, Channel]]:
    return {c.name: (i, c) for i, c in enumerate(plant.sim.recorder.channels)}


def losses(plant: LivePlant, begins: int) -> dict[str, tuple[str, float, bool]]:
    """Figures of one way the plant went, from a tick on: unit, value, and whether it counts as a loss."""
    model, recorder = plant.model, plant.sim.recorder
    rows = recorder.rows[begins // recorder.every :]
    columns = _columns(plant)

    def shown(name: str) -> np.ndarray:
        at, channel = columns[name]
        scale, offset = factors(channel)
        return np.asarray(rows[:, at] * scale + offset)

    def gained(quantity: str, kinds: tuple[str, ...], fits: Callable[[int], bool] = lambda index: True) -> float:
        total = 0.0
        for name, (kind, index) in model.units.items():
            full = f"{name}.{quantity}"
            if kind in kinds and full in columns and len(rows) and fits(index):
                values = shown(full)
                total += float(values[-1] - values[0])
        return total

    def spills(index: int) -> bool:
        # what a vessel gives to another one, or lets out where it may, is no loss
        vessel = model.arena.vessel_p[index]
        return int(vessel["spill"]) < 0 and int(vessel["spill_ledger"]) == records.OUT_SPILL

    def gives(substance: int) -> Callable[[int], bool]:
        return lambda index: int(model.arena.doser_p["substance"][index]) == substance

    minutes = recorder.every * recorder.step / 60.0
    outside = np.zeros(len(rows), bool)
    for name, (low, high) in bands_of(model.alarms).items():
        if name in columns:
            values = shown(name)
            outside |= (values < (-np.inf if low is None else low)) | (values > (np.inf if high is None else high))
    return {
        "water spilled": ("m3", gained("spilled", ("vessel",), spills) + gained("overtopped", ("bank",)), True),
        "solids over the weir": ("t", gained("solids_lost", ("clarifier",)), True),
        "coagulant used": ("kg", gained("dosed", ("doser",), gives(records.COAG)), False),
        "polymer used": ("kg", gained("dosed", ("doser",), gives(records.POLY)), False),
        "stone washed": ("t", gained("washed", ("source",)), False),
        "wash plant without permit": (
            "min",
            minutes * float(np.sum(_refused(model, shown, columns, len(rows)))),
            True,
        ),
        "outside a band": ("min", minutes * float(np.sum(outside)), False),
    }


def _refused(model: Model, shown: Any, columns: dict[str, Any], count: int) -> np.ndarray:
    """Rows in which a wash plant had no permit."""
    held = np.zeros(count, bool)
    names = list(model.tags)
    for tag in model.arena.source_p["permit"]:
        if tag >= 0 and names[int(tag)] in columns:
            held |= shown(names[int(tag)]) < 0.5
    return held


def record_of(plant: LivePlant, begins: int, marks: dict[str, list[float]]) -> Record:
    """Record of one way the plant went from a tick on, as acceptance sentences are judged on it."""
    recorder = plant.sim.recorder
    first = begins // recorder.every
    rows, time = recorder.rows[first:], recorder.time[first:]
    series: dict[str, Any] = {}
    for i, channel in enumerate(recorder.channels):
        if ".profile." not in channel.name:
            scale, offset = factors(channel)
            series[channel.name] = Values(
                rows[:, i] * scale + offset, "1" if channel.unit in ("-", "") else channel.unit
            )
    running = np.zeros(len(time), bool)
    for name, (kind, _) in plant.model.units.items():
        if kind == "source" and f"{name}.running" in series:
            running |= series[f"{name}.running"].values > 0.5
    notes = [(n.tick * plant.model.step, n.kind, n.words) for n in plant.sim.journal if n.tick >= begins]
    return Record(time, series, notes, running=_spans(time, running), marks=marks)


def _spans(time: np.ndarray, on: np.ndarray) -> list[tuple[float, float]]:
    edges = np.flatnonzero(np.diff(np.concatenate(([False], on, [False])).astype(int)))
    return [
        (float(time[a]), float(time[min(b, len(time) - 1)])) for a, b in zip(edges[::2], edges[1::2], strict=True)
    ]


# ------------------------------------------------------------------ the whole
def score(
    mine: LivePlant,
    none: LivePlant | None,
    best: LivePlant | None,
    entries: list[Entry],
    begins: int,
    cause: int | None,
    lesson: Lesson | None,
) -> Score:
    """Judge an attempt.

    Parameters
    ----------
    mine, none, best : LivePlant
        The attempt, the same without the operator, and with the best response; None where there is none.
    entries : list of Entry
        Acts of the attempt.
    begins : int
        Tick from which it is judged.
    cause : int or None
        Tick of the first cause.
    lesson : Lesson or None
        What was taught; None: only figures are given.
    """
    found = Score()
    step = mine.model.step
    found.cause = None if cause is None else cause * step
    ours = losses(mine, begins)
    theirs = [losses(p, begins) if p is not None else {} for p in (none, best)]
    for name, (unit, value, counts) in ours.items():
        others = [t[name][1] if name in t else float("nan") for t in theirs]
        found.figures.append(Figure(name, unit, value, others[0], others[1], counts))
    if lesson is None:
        return found
    scoring = lesson.scoring
    acts = [e for e in entries if e.tick >= begins]
    first = next((e.tick for e in acts if is_right(lesson, e) and e.tick >= (cause or begins)), None)
    found.acted = None if first is None else first * step
    needless = needless_acts(acts, lesson, step)
    found.needless = len(needless)
    found.per_dead_time = len(needless) / max(1.0, (mine.tick - begins) * step / scoring.dead_time)
    marks = {
        "the upset": [] if cause is None else [cause * step],
        "the response": [] if first is None else [first * step],
    }
    checks = [Check(f"goal {i}", parse(text)) for i, text in enumerate(lesson.goals, 1)]
    found.verdicts = judge(checks, record_of(mine, begins, marks))
    if cause is not None:
        tick = noticed_at(acts, mine.sim.alarm_log, lesson, cause)
        found.noticed = None if tick is None else tick * step
    found.parts = _parts(found, scoring)
    return found


def _parts(found: Score, scoring: Scoring) -> list[Part]:
    parts = []

    def add(name: str, share: float | None, why: str) -> None:
        parts.append(Part(name, PART_WORDS[name], scoring.weights.get(name, WEIGHTS[name]), share, why))

    for name, at, good in (("notice", found.noticed, scoring.notice), ("action", found.acted, scoring.action)):
        if found.cause is None:
            add(name, None, "there was no cause")
        elif at is None:
            add(name, 0.0, "never")
        else:
            taken = at - found.cause
            add(
                name,
                fading(taken, good),
                f"after {taken / 60.0:.1f} min; full marks within {good / 60.0:g} min, "
                f"none from {good / 20.0:g} min on",
            )
    over = max(0, found.needless - scoring.spare)
    add(
        "calm",
        max(0.0, 1.0 - over / 5.0),
        f"{found.needless} needless acts, {found.per_dead_time:.2f} a dead time of "
        f"{scoring.dead_time / 60.0:g} min; {scoring.spare} cost nothing",
    )
    kept = sum(v.outcome == "ok" for v in found.verdicts)
    tested = sum(v.outcome != "not tested" for v in found.verdicts)
    add("goals", kept / tested if tested else None, f"{kept} of {tested} put to the test")
    shares = [_loss_share(f) for f in found.figures if f.counts]
    judged = [s for s in shares if s is not None]
    add(
        "losses",
        float(np.mean(judged)) if judged else None,
        f"{len(judged)} losses differ between no action and the best response" if judged else "nothing could be lost",
    )
    return parts


def _loss_share(figure: Figure) -> float | None:
    """How much of the loss that could be spared was spared; None when there was none to spare."""
    spared = figure.none - figure.best
    if not spared > max(0.02 * abs(figure.none), 1e-6):
        return None
    return max(0.0, min(1.0, (figure.none - figure.mine) / spared))
