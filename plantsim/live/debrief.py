"""Judges an attempt: runs it again beside no action and the best response, and keeps score and page among the runs.

All three are run headless at full speed from the same start, with the same seed and the same causes at the same ticks,
so what differs is what was done.
"""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from plantsim.live.coach import build_plant
from plantsim.live.journal import Entry
from plantsim.live.lessons import Lesson
from plantsim.live.plant import LivePlant
from plantsim.live.score import CAUSES, PART_WORDS, Score, score
from plantsim.live.session import Material, Sitting
from plantsim.live.views import bands_of
from plantsim.sim.simulation import SavePoint

SCORE, PAGE = "score.json", "debrief.html"
PICTURES = 6
"""Most quantities drawn."""


def run_again(
    sitting: Sitting, entries: list[Entry], ends: int, ready: LivePlant | None = None
) -> tuple[LivePlant, SavePoint]:
    """A plant of a sitting with these acts, up to a tick; and the plant before them."""
    plant = ready or build_plant(sitting)
    opening = plant.sim.save()
    plant.replay(entries, ends)
    return plant, opening


def without_operator(entries: list[Entry]) -> list[Entry]:
    """Only what was done to the plant, not what was done about it."""
    return [e for e in entries if e.act in (*CAUSES, "end-upset")]


def with_best(entries: list[Entry], lesson: Lesson | None) -> list[Entry]:
    """The causes, and the best response: the lesson's own, or the answers the upsets themselves give."""
    best = []
    for entry in without_operator(entries):
        data = dict(entry.data)
        if entry.act == "lesson" and lesson is not None and not lesson.best:
            data["upsets"] = [{**block, "respond": "yes"} for block in data.get("upsets", [])]
        elif entry.act == "lesson" and lesson is not None:
            data["acts"] = [*data.get("acts", []), *_by_operator(lesson)]
        elif entry.act == "upset":
            data["respond"] = True
        best.append(replace(entry, data=data))
    if lesson is not None and lesson.best and not any(e.act == "lesson" for e in best):
        first = next((e for e in entries if e.act == "lesson-begins"), None)
        if first is not None:
            best.insert(0, replace(first, act="lesson", data={"upsets": [], "acts": _by_operator(lesson)}))
    return best


def _by_operator(lesson: Lesson) -> list[dict[str, Any]]:
    return [{**block, "by": "operator"} for block in lesson.best]


def judge_session(material: Material, lesson: Lesson | None) -> Path:
    """Judge an attempt and write its page.

    Parameters
    ----------
    material : Material
        The attempt.
    lesson : Lesson or None
        What was taught.

    Returns
    -------
    Path
        The page, in a run folder of its own that holds the whole attempt.
    """
    from plantsim.report.debrief import render
    from plantsim.store.collect import from_simulation
    from plantsim.store.files import write_text
    from plantsim.store.folder import RunFolder

    mine, opening = run_again(material.sitting, material.entries, material.ends)
    none, _ = run_again(material.sitting, without_operator(material.entries), material.ends)
    best, _ = run_again(material.sitting, with_best(material.entries, lesson), material.ends)
    begun = [mine.begun(e.number) for e in material.entries if e.act in CAUSES]
    cause = min((tick for tick in begun if tick is not None), default=None)
    if lesson is not None and lesson.scoring.cause > 0.0:
        cause = material.begins + round(lesson.scoring.cause / mine.model.step)
    found = score(mine, none, best, material.entries, material.begins, cause, lesson)
    folder = RunFolder(
        f"{lesson.name if lesson else 'training'}-attempt-{material.attempt}",
        material.path.parent,
        {"title": lesson.title if lesson else "training session", "session": material.path.name},
    )
    write_text(folder.path / SCORE, json.dumps(plain(found), indent=1) + "\n")
    page = render(sheet(material, lesson, found, mine), pictures(mine, none, best, material.begins))
    write_text(folder.path / PAGE, page)
    folder.finish(from_simulation(mine.sim, opening, folder.name))
    return folder.path / PAGE


def plain(found: Score) -> dict[str, Any]:
    """A score as plain data, without what JSON has no word for."""

    def number(value: float | None) -> float | None:
        return None if value is None or not math.isfinite(value) else float(value)

    return {
        "total": number(found.total),
        "cause": found.cause,
        "noticed": found.noticed,
        "acted": found.acted,
        "needless": found.needless,
        "per_dead_time": found.per_dead_time,
        "parts": [vars(p) for p in found.parts],
        "figures": [
            {**vars(f), "mine": number(f.mine), "none": number(f.none), "best": number(f.best)} for f in found.figures
        ],
        "goals": [{"sentence": v.sentence, "outcome": v.outcome, "words": v.words} for v in found.verdicts],
    }


def sheet(material: Material, lesson: Lesson | None, found: Score, plant: LivePlant) -> dict[str, Any]:
    """All words of the page."""
    sim = plant.sim

    def clock(seconds: float | None) -> str:
        return "-" if seconds is None else sim.when(round(seconds / plant.model.step)).strftime("%a %H:%M")

    def later(seconds: float | None) -> str:
        if seconds is None or found.cause is None:
            return "never" if found.cause is not None else "-"
        return f"{(seconds - found.cause) / 60.0:.1f} min after the cause"

    return {
        "site": plant.model.title,
        "title": lesson.title if lesson else "Training session",
        "attempt": material.attempt,
        "session": material.path.name,
        "span": f"{clock(material.begins * plant.model.step)} to {clock(sim.seconds)}",
        "total": None if found.total is None else f"{found.total:.0f}",
        "parts": [
            {
                "words": p.words,
                "weight": f"{p.weight:g}",
                "why": p.why,
                "share": "not judged" if p.share is None else f"{100.0 * p.share:.0f} %",
            }
            for p in found.parts
        ],
        "facts": [
            ("cause", clock(found.cause)),
            ("noticed", later(found.noticed)),
            ("first right act", later(found.acted)),
            ("needless acts", f"{found.needless}, {found.per_dead_time:.2f} a dead time" if lesson else "not judged"),
        ],
        "figures": [
            {
                "name": f.name,
                "unit": f.unit,
                "counts": f.counts,
                **{
                    k: "-" if not math.isfinite(v) else f"{v:.4g}"
                    for k, v in (("mine", f.mine), ("none", f.none), ("best", f.best))
                },
            }
            for f in found.figures
        ],
        "goals": [(v.sentence, v.outcome, v.words) for v in found.verdicts],
        "why": lesson.why if lesson else "",
        "briefing": list(lesson.briefing) if lesson else [],
        "timeline": timeline(material, plant),
        "explained": PART_WORDS,
    }


def timeline(material: Material, plant: LivePlant) -> list[tuple[str, str, str]]:
    """Causes, alarms and acts in order: time, kind and words."""
    step = plant.model.step
    lines: list[tuple[int, int, str, str]] = []
    for e in material.entries:
        if e.tick < material.begins or e.act in ("run", "pause", "minute", "speed", "save"):
            continue
        if e.act in CAUSES:
            begun = plant.begun(e.number)
            lines.append((e.tick if begun is None else begun, 0, "cause", e.words))
        else:
            kind = {
                "note": "note",
                "hint": "hint",
                "ack": "answer",
                "shelve": "answer",
                "unshelve": "answer",
                "alarm-reset": "answer",
            }.get(e.act, "act")
            lines.append(
                (e.tick, 2, kind if e.role != "lesson" or kind == "hint" else "lesson", f"{e.who}: {e.words}")
            )
    for note in plant.sim.alarm_log:
        if note.tick >= material.begins and note.by == "plant" and note.after in ("unacknowledged", "normal"):
            words = f"{note.alarm} comes" if note.annunciated else f"{note.alarm} goes"
            lines.append((note.tick, 1, "alarm", words))
    for line in plant.sim.journal:
        if line.tick >= material.begins and line.kind not in ("operator", "act", "alarm"):
            lines.append((line.tick, 3, "plant", line.words))
    for sample, value in plant.found:
        lines.append((sample.tick, 1, "sample", f"beside {sample.tag}: {value:.4g}"))
    lines.sort(key=lambda line: line[:2])
    return [
        (plant.sim.when(tick).strftime("%a %H:%M:%S"), kind, words)
        for tick, _, kind, words in lines
        if tick * step >= 0
    ]


def pictures(mine: LivePlant, none: LivePlant, best: LivePlant, begins: int) -> list[dict[str, Any]]:
    """What is drawn: quantities with an alarm, the attempt beside no action and the best response."""
    from plantsim.store.collect import factors

    bands = bands_of(mine.model.alarms)
    first = begins // mine.sim.recorder.every
    hours = mine.sim.recorder.time[first:] / 3600.0
    ways = (("this attempt", mine), ("no action", none), ("best response", best))
    drawn: list[tuple[bool, dict[str, Any]]] = []
    for i, channel in enumerate(mine.sim.recorder.channels):
        tag = mine.model.tags.get(channel.name)
        if channel.name not in bands or tag is None or tag.role != "instrument":
            continue
        scale, offset = factors(channel)
        lines = {words: way.sim.recorder.rows[first:, i] * scale + offset for words, way in ways}
        low, high = (limit if limit is not None else sign * np.inf for limit, sign in zip(bands[tag.name], (-1, 1)))
        quiet = all(bool(np.all((v >= low) & (v <= high))) for v in lines.values())
        drawn.append(
            (
                quiet,
                {
                    "name": tag.name,
                    "unit": channel.unit,
                    "meaning": channel.meaning,
                    "band": bands[tag.name],
                    "hours": hours,
                    "lines": lines,
                },
            )
        )
    # what left its band comes first
    return [picture for _, picture in sorted(drawn, key=lambda item: item[0])[:PICTURES]]
