"""The coach: knows upsets and lessons, begins sessions, gives hints when their time has come, and judges at the end."""

from __future__ import annotations

import json
import threading
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from plantsim.analysis.checks import NameRefusal, SentenceError, needs, parse
from plantsim.errors import ConfigError, PlantsimError
from plantsim.live.causes import make_cause, make_lesson, make_upset
from plantsim.live.desk import Refusal
from plantsim.live.lessons import Lesson, read_lesson, shipped_lessons
from plantsim.live.plant import LivePlant, Maker
from plantsim.live.score import is_right
from plantsim.live.session import Material, Session, Sitting
from plantsim.plant.build import load_model
from plantsim.plant.fields import nearest, quoted
from plantsim.plant.model import Model
from plantsim.plant.upsets import read_upset, shipped_upsets
from plantsim.store.files import write_text
from plantsim.store.folder import RunFolder
from plantsim.units import sentence

FAR = 1 << 60
DEBRIEFS = "debriefs.json"
MAKERS: dict[str, Maker] = {"upset": make_upset, "cause": make_cause, "lesson": make_lesson}


def build_plant(sitting: Sitting) -> LivePlant:
    """The plant of a sitting, run up to where its session begins."""
    lesson = lesson_of(sitting)
    overrides = (*sitting.overrides, *(lesson.overrides if lesson else ()))
    seed = sitting.seed if lesson is None or lesson.seed is None else lesson.seed
    plant = LivePlant(load_model(sitting.file, overrides), seed, MAKERS)
    if lesson is not None and lesson.after > 0.0:
        plant.advance(round(lesson.after / plant.model.step))
    return plant


def lesson_of(sitting: Sitting) -> Lesson | None:
    """The lesson of a sitting: shipped, or a file of one's own."""
    if not sitting.lesson:
        return None
    return find_lesson(sitting.lesson)


def find_lesson(name: str) -> Lesson:
    """A lesson by its name, or by the path of its file.

    Raises
    ------
    ConfigError
        If it cannot be read.
    """
    shipped = shipped_lessons()
    if name not in shipped and not Path(name).is_file():
        known = f"a lesson that ships ({', '.join(shipped)}), or a file of your own"
        raise ConfigError(sentence(quoted(name), known, nearest(name, shipped)))
    return read_lesson(shipped[name] if name in shipped else Path(name))


def judgeable(model: Model, lesson: Lesson) -> None:
    """See that a plant has everything the goals of a lesson speak of.

    Raises
    ------
    ConfigError
        If it has not.
    """
    known = {c.name: "1" if c.unit in ("-", "") else c.unit for c in model.channels}
    for text in lesson.goals:
        try:
            needs(parse(text), known)
        except (SentenceError, NameRefusal) as error:
            raise ConfigError(f"goal '{text}': {error}") from None


class Coach:
    """Knows what can be taught on a plant.

    Parameters
    ----------
    sitting : Sitting
        Plant, overrides and seed; its lesson is that of the first session.
    out : Path or str, optional
        Folder of all runs.
    judge : callable, optional
        Judges a session and keeps the debrief; gives the path of its page.
    """

    def __init__(
        self,
        sitting: Sitting,
        out: Path | str | None = None,
        judge: Callable[[Material, Lesson | None], Path] | None = None,
    ) -> None:
        self.sitting = sitting
        self.out = out
        self.judge = judge
        self._debriefs: dict[str, dict[int, Path]] = {}
        self._hinted: dict[str, int] = {}
        self._upsets = shipped_upsets()
        self._lessons = shipped_lessons()
        self._working: dict[str, threading.Thread] = {}
        self.failed: dict[str, str] = {}

    # ------------------------------------------------------------------ what there is
    def upset_names(self) -> dict[str, Path]:
        """Shipped upsets."""
        return self._upsets

    def upsets(self) -> list[dict[str, Any]]:
        """Upsets as a page lists them; those shown on this plant come first."""
        stem = Path(self.sitting.file).stem
        listed = []
        for name, path in self._upsets.items():
            tree = read_upset(path)
            listed.append(
                {
                    "name": name,
                    "number": tree.number,
                    "title": tree.title,
                    "cause": tree.cause,
                    "consequence": tree.consequence,
                    "cautions": list(tree.cautions),
                    "here": stem in tree.shown_on,
                    "parameters": [
                        {"name": n, "value": p.value, "low": p.low or "", "high": p.high or "", "words": p.words}
                        for n, p in tree.parameters.items()
                    ],
                }
            )
        return sorted(listed, key=lambda one: not one["here"])

    def upset_words(self, given: dict[str, Any]) -> str:
        """What is journaled of an upset asked for."""
        words = f"upset: {read_upset(self._upsets[given['upset']]).title}"
        for key in ("after", "within"):
            if given.get(key):
                words += f", {key} {given[key]}"
        return words + "".join(f", {k} {v}" for k, v in given.get("with", {}).items())

    def lesson_names(self) -> dict[str, Path]:
        """Lessons that can be begun: shipped ones, and the one of the command line."""
        extra = {self.sitting.lesson: Path(self.sitting.lesson)} if self.sitting.lesson else {}
        return {**extra, **self._lessons}

    def lessons(self) -> list[dict[str, Any]]:
        """Lessons as a page lists them; those written for this plant come first."""
        stem = Path(self.sitting.file).stem
        listed = []
        for name in self._lessons:
            lesson = find_lesson(name)
            listed.append(
                {
                    "name": name,
                    "title": lesson.title,
                    "number": lesson.number,
                    "limit": lesson.limit,
                    "here": stem in lesson.plants,
                    "plants": list(lesson.plants),
                    "briefing": list(lesson.briefing),
                }
            )
        return sorted(listed, key=lambda one: (not one["here"], one["number"]))

    # ------------------------------------------------------------------ sessions
    def begin(self, sitting: Sitting, who: str = "") -> Session:
        """A new session, with the causes of its lesson journaled as its first act."""
        lesson = lesson_of(sitting)
        plant = build_plant(sitting)
        if lesson is not None:
            # what does not fit is said before anything is written
            MAKERS["lesson"](plant.model, dict(lesson.causes), plant.tick)
            judgeable(plant.model, lesson)
        stem = f"{Path(sitting.file).stem}-train" + (f"-{lesson.name}" if lesson else "")
        folder = RunFolder(
            stem,
            self.out,
            {
                "title": lesson.title if lesson else "training session",
                "source_file": sitting.file,
                "seed": sitting.seed,
                "kind": "training",
            },
        )
        folder.abandon(f"a training session, to go on: plantsim train --resume {folder.name}")
        session = Session(folder.path, sitting, lambda _: plant)
        if lesson is not None:
            words = f"lesson begins: {lesson.title}"
            session.do("lesson", who or "lesson", "lesson-begins", {"name": sitting.lesson}, words)
            if lesson.causes["upsets"] or lesson.causes["acts"]:
                title = "causes of the lesson: " + "; ".join(
                    [b["upset"] for b in lesson.causes["upsets"]]
                    + [f"{b['set']} to {b['to']}" for b in lesson.causes["acts"]]
                )
                session.do("lesson", "lesson", "lesson", dict(lesson.causes), title, lesson.hidden)
        session.checkpoint()
        return session

    def begin_lesson(self, name: str, who: str) -> Session:
        """Begin a lesson on this plant.

        Raises
        ------
        Refusal
            If it does not fit the plant.
        """
        try:
            return self.begin(replace(self.sitting, lesson=name), who)
        except PlantsimError as error:
            raise Refusal(f"the lesson does not fit this plant: {error}", 409) from None

    def ends(self, session: Session) -> int:
        """Tick at which the lesson's time is up."""
        lesson = lesson_of(session.sitting)
        return FAR if lesson is None else session.begins + round(lesson.limit / session.plant.model.step)

    def speed_of(self, session: Session) -> float:
        """Speed a session has: the last one asked for, or that of its lesson."""
        asked = [float(e.data["speed"]) for e in session.journal.entries if e.act == "speed"]
        lesson = lesson_of(session.sitting)
        return asked[-1] if asked else lesson.speed if lesson is not None else 1.0

    def due_hints(self, session: Session) -> list[str]:
        """Hints whose time has come and that have not been given in this attempt."""
        lesson = lesson_of(session.sitting)
        if lesson is None or not lesson.hints:
            return []
        now = (session.plant.tick - session.begins) * session.plant.model.step
        entries = session.attempt.entries
        given = {e.words for e in entries if e.act == "hint"}
        if any(is_right(lesson, e) for e in entries):
            return []
        return [h.words for h in lesson.hints if h.at <= now and f"hint: {h.words}" not in given]

    def state(self, session: Session) -> dict[str, Any] | None:
        """The lesson as pages are told; None without one."""
        lesson = lesson_of(session.sitting)
        name = session.path.name
        judged = {
            "judging": name in self._working and self._working[name].is_alive(),
            "debriefs": sorted(self.debriefs(session)),
            "failed": self.failed.get(name, ""),
        }
        if lesson is None:
            return {"name": "", **judged} if any(judged.values()) else None
        left = lesson.limit - (session.plant.tick - session.begins) * session.plant.model.step
        return {
            "name": lesson.name,
            "title": lesson.title,
            "briefing": list(lesson.briefing),
            "goals": list(lesson.goals),
            "limit": lesson.limit,
            "left": max(0.0, left),
            **judged,
            "hints": [e.words for e in session.attempt.entries if e.act == "hint"],
        }

    def debriefs(self, session: Session) -> dict[int, Path]:
        """Page of each attempt of a session that was judged, by its number."""
        name = session.path.name
        if name not in self._debriefs:
            try:
                kept = json.loads((session.path / DEBRIEFS).read_text(encoding="utf-8"))
                self._debriefs[name] = {int(number): Path(path) for number, path in kept.items()}
            except (OSError, ValueError, AttributeError):
                self._debriefs[name] = {}
        return self._debriefs[name]

    def finish(self, session: Session, attempt: int = 0) -> int:
        """Judge an attempt, in a thread of its own; the debrief comes when it is ready.

        Parameters
        ----------
        session : Session
            The session.
        attempt : int
            Number of the attempt; 0: the one at work.

        Returns
        -------
        int
            Number of the attempt.

        Raises
        ------
        Refusal
            If one is being judged already, or there is no such attempt.
        """
        name = session.path.name
        if name in self._working and self._working[name].is_alive():
            raise Refusal("an attempt is being judged already", 409)
        if self.judge is None:
            raise Refusal("nothing judges here", 409)
        judge, lesson = self.judge, lesson_of(session.sitting)
        try:
            material = session.material(attempt)
        except KeyError:
            raise Refusal(f"attempt: found {attempt}; allowed: an attempt that is still kept") from None
        pages = self.debriefs(session)

        def work() -> None:
            try:
                pages[material.attempt] = judge(material, lesson)
                kept = {str(number): str(path) for number, path in pages.items()}
                write_text(session.path / DEBRIEFS, json.dumps(kept, indent=1) + "\n")
                self.failed.pop(name, None)
            except Exception as error:
                self.failed[name] = f"{type(error).__name__}: {error}"

        pages.pop(material.attempt, None)
        self._working[name] = threading.Thread(target=work, name="judge", daemon=True)
        self._working[name].start()
        return material.attempt
