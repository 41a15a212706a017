"""Does what is asked for: each act of `desk` in one method, in the engine's thread, between two ticks."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from plantsim.live import desk
from plantsim.live.coach import Coach
from plantsim.live.desk import TRAINER, Refusal, number_of, one_of, request_of, text_of
from plantsim.live.pacing import FASTEST, SLOWEST
from plantsim.plant.program_variables import spelled

if TYPE_CHECKING:
    from plantsim.live.engine import Engine


class Requests:
    """Judges and does requests.

    Parameters
    ----------
    coach : Coach
        Knows the lessons and the upsets, begins sessions, and keeps an eye on the lesson at work.
    """

    def __init__(self, coach: Coach) -> None:
        self.coach = coach
        self.engine: Engine
        self._acts: dict[str, Callable[[str, str, dict[str, Any]], Any]] = {
            "set": self._set,
            "ack": self._ack,
            "alarm-reset": self._alarm_reset,
            "shelve": self._shelve,
            "unshelve": self._unshelve,
            "field": self._field,
            "note": self._note,
            "upset": self._upset,
            "end-upset": self._end_upset,
            "cause": self._cause,
            "run": self._run,
            "pause": self._pause,
            "minute": self._minute,
            "speed": self._speed,
            "save": self._save,
            "back": self._back,
            "lesson": self._lesson,
            "finish": self._finish,
            "reveal": self._reveal,
        }

    def do(self, role: str, who: str, body: Any) -> Any:
        """Do one request and give the answer.

        Raises
        ------
        Refusal
            If it is not allowed, makes no sense, or cannot be done now.
        """
        act = desk.allowed(role, body)
        return self._acts[act](role, who, body)

    # ------------------------------------------------------------------ the engine asks
    def until(self) -> int:
        """Tick at which the plant has to stand: the end of the lesson."""
        return self.coach.ends(self.engine.session)

    def over(self) -> bool:
        """Whether the lesson's time is up; then time stands."""
        return self.engine.session.plant.tick >= self.until()

    def watch(self) -> None:
        """Look after the lesson, after every pass."""
        if self.over() and self.engine.pace.running:
            self.engine.pace.pause(self.engine.session.plant.tick)
            self._journal("lesson", "lesson", "pause", {}, "the lesson's time is up")
        for words in self.coach.due_hints(self.engine.session):
            self._journal("lesson", "lesson", "hint", {}, f"hint: {words}")

    def lesson_state(self) -> dict[str, Any] | None:
        """The lesson as pages are told."""
        return self.coach.state(self.engine.session)

    # ------------------------------------------------------------------ acts of operator and trainer
    def _journal(self, role: str, who: str, act: str, data: dict[str, Any], words: str, hidden: bool = False) -> int:
        return self.engine.session.do(role, who, act, data, words, hidden).number

    def _set(self, role: str, who: str, body: Any) -> int:
        plant = self.engine.session.plant
        given = request_of(
            body, {"path": lambda v: one_of(v, plant.points, "path"), "value": lambda v: v}, ("path", "value")
        )
        point = plant.points[given["path"]]
        value = point.fit(given["value"])
        if point.kind == "press":
            if not plant.room:
                raise Refusal("no room for more acts in this session", 409)
            return self._journal(role, who, "set", {"path": point.path, "value": 1.0}, f"{point.path} pressed")
        was = plant.value(point.path)
        words = f"{point.path} {point.shown(was)} -> {point.shown(value)}"
        return self._journal(role, who, "set", {"path": point.path, "value": value, "was": was}, words)

    def _names(self, body: Any) -> list[str]:
        known = {a.name: a for a in self.engine.session.plant.model.alarms}

        def read(value: Any) -> list[str]:
            if not isinstance(value, list) or len(value) > 500:
                raise Refusal("names: a list of alarms")
            return [one_of(v, known, "alarm") for v in value]

        return list(request_of(body, {"names": read}, ("names",))["names"])

    def _ack(self, role: str, who: str, body: Any) -> int:
        names = self._names(body)
        return self._journal(role, who, "ack", {"names": names}, f"{', '.join(names) or 'all alarms'} acknowledged")

    def _alarm_reset(self, role: str, who: str, body: Any) -> int:
        names = self._names(body)
        return self._journal(role, who, "alarm-reset", {"names": names}, f"{', '.join(names) or 'all alarms'} reset")

    def _shelve(self, role: str, who: str, body: Any) -> int:
        known = {a.name: a for a in self.engine.session.plant.model.alarms}
        given = request_of(
            body,
            {"name": lambda v: one_of(v, known, "name"), "minutes": lambda v: number_of(v, "minutes")},
            ("name", "minutes"),
        )
        if not 1.0 <= given["minutes"] <= 480.0:
            raise Refusal(f"minutes: found {given['minutes']:g}; allowed: 1 to 480")
        seconds = given["minutes"] * 60.0
        return self._journal(
            role,
            who,
            "shelve",
            {"name": given["name"], "seconds": seconds},
            f"{given['name']} shelved for {spelled(seconds)}",
        )

    def _unshelve(self, role: str, who: str, body: Any) -> int:
        known = {a.name: a for a in self.engine.session.plant.model.alarms}
        given = request_of(body, {"name": lambda v: one_of(v, known, "name")}, ("name",))
        return self._journal(role, who, "unshelve", given, f"{given['name']} taken off the shelf")

    def _field(self, role: str, who: str, body: Any) -> int:
        plant = self.engine.session.plant
        given = request_of(body, {"work": lambda v: one_of(v, plant.works, "work")}, ("work",))
        work = plant.works[given["work"]]
        if plant.room < len(work.writes):
            raise Refusal("no room for more acts in this session", 409)
        return self._journal(role, who, "field", given, f"crew asked to {work.words} (about {spelled(work.takes)})")

    def _note(self, role: str, who: str, body: Any) -> int:
        given = request_of(body, {"text": lambda v: text_of(v, "text"), "hidden": bool}, ("text",))
        hidden = role == TRAINER and given.get("hidden", False)
        return self._journal(role, who, "note", {"text": given["text"]}, given["text"], hidden)

    # ------------------------------------------------------------------ acts of the trainer
    def _upset(self, role: str, who: str, body: Any) -> int:
        given = request_of(
            body,
            {
                "upset": lambda v: one_of(v, self.coach.upset_names(), "upset"),
                "after": lambda v: text_of(v, "after", 40),
                "within": lambda v: text_of(v, "within", 40),
                "with": _texts,
                "parts": _texts,
                "hidden": bool,
            },
            ("upset",),
        )
        hidden = bool(given.pop("hidden", False))
        return self._cause_of("upset", role, who, given, self.coach.upset_words(given), hidden)

    def _cause(self, role: str, who: str, body: Any) -> int:
        given = request_of(
            body,
            {
                "set": lambda v: text_of(v, "set", 80),
                "to": lambda v: text_of(v, "to", 40),
                "after": lambda v: text_of(v, "after", 40),
                "ramp": lambda v: text_of(v, "ramp", 40),
                "for": lambda v: text_of(v, "for", 40),
                "hidden": bool,
            },
            ("set", "to"),
        )
        hidden = bool(given.pop("hidden", True))
        rest = "".join(f" {key} {given[key]}" for key in ("after", "ramp", "for") if key in given)
        return self._cause_of("cause", role, who, given, f"{given['set']} to {given['to']}{rest}", hidden)

    def _cause_of(self, act: str, role: str, who: str, data: dict[str, Any], words: str, hidden: bool) -> int:
        plant = self.engine.session.plant
        plans = plant.makers[act](plant.model, data, plant.tick)  # refused before it is written down
        if plant.room < len(plans):
            raise Refusal("no room for more acts in this session", 409)
        return self._journal(role, who, act, data, words, hidden)

    def _end_upset(self, role: str, who: str, body: Any) -> int:
        mine = {str(e.number): e for e in self.engine.session.attempt.entries if e.act in ("upset", "cause")}
        given = request_of(body, {"entry": lambda v: int(number_of(v, "entry"))}, ("entry",))
        entry = mine.get(str(given["entry"]))
        if entry is None:
            raise Refusal(f"entry: found {given['entry']}; allowed: an upset of this attempt")
        return self._journal(role, who, "end-upset", given, f"ended: {entry.words}", entry.hidden)

    def _run(self, role: str, who: str, body: Any) -> int:
        request_of(body, {}, ())
        if self.over():
            raise Refusal("the lesson's time is up: finish it, or go back", 409)
        number = self._journal(role, who, "run", {}, f"time runs at {self.engine.pace.speed:g}x")
        self.engine.pace.run(self.engine.session.plant.tick)
        return number

    def _pause(self, role: str, who: str, body: Any) -> int:
        request_of(body, {}, ())
        self.engine.pace.pause(self.engine.session.plant.tick)
        number = self._journal(role, who, "pause", {}, "time stands")
        self.engine.session.checkpoint()
        return number

    def _minute(self, role: str, who: str, body: Any) -> int:
        request_of(body, {}, ())
        plant = self.engine.session.plant
        number = self._journal(role, who, "minute", {}, "a single minute")
        goal = min(plant.tick + max(1, round(60.0 / plant.model.step)), self.until())
        plant.advance(goal)
        self.engine.pace.pause(plant.tick)
        return number

    def _speed(self, role: str, who: str, body: Any) -> int:
        given = request_of(body, {"speed": lambda v: number_of(v, "speed")}, ("speed",))
        if not SLOWEST <= given["speed"] <= FASTEST:
            raise Refusal(f"speed: found {given['speed']:g}; allowed: {SLOWEST:g} to {FASTEST:g}")
        self.engine.pace.change(self.engine.session.plant.tick, given["speed"])
        return self._journal(role, who, "speed", given, f"speed {given['speed']:g}x")

    def _save(self, role: str, who: str, body: Any) -> int:
        given = request_of(body, {"name": lambda v: text_of(v, "name", 60)}, ("name",))
        number = self._journal(role, who, "save", given, f"save point: {given['name']}")
        self.engine.session.checkpoint()
        return number

    def _back(self, role: str, who: str, body: Any) -> int:
        session = self.engine.session
        given = request_of(body, {"seconds": lambda v: number_of(v, "seconds")}, ("seconds",))
        tick = round(given["seconds"] / session.plant.model.step)
        earliest = max(session.plant.earliest, session.begins)
        if not earliest <= tick < session.plant.tick:
            low, high = (spelled(t * session.plant.model.step) for t in (earliest, session.plant.tick))
            raise Refusal(f"seconds: found {given['seconds']:g} s; allowed: from {low} to before {high}")
        self.engine.pace.pause(session.plant.tick)
        words = f"back to {spelled(tick * session.plant.model.step)}: attempt {session.attempt.number + 1} begins"
        number = self._journal(role, who, "back", {"tick": tick}, words)
        self.engine.pace.pause(session.plant.tick)
        self.engine.fault = ""
        return number

    def _lesson(self, role: str, who: str, body: Any) -> str:
        given = request_of(body, {"name": lambda v: one_of(v, self.coach.lesson_names(), "name")}, ("name",))
        old = self.engine.session
        session = self.coach.begin_lesson(given["name"], who)
        old.checkpoint()
        self.engine.take(session)
        return session.path.name

    def _finish(self, role: str, who: str, body: Any) -> int:
        given = request_of(body, {"attempt": lambda v: int(number_of(v, "attempt"))}, ())
        session = self.engine.session
        self.engine.pace.pause(session.plant.tick)
        number = self.coach.finish(session, given.get("attempt", 0))
        self._journal(role, who, "finish", {"attempt": number}, f"attempt {number} is judged")
        return number

    def _reveal(self, role: str, who: str, body: Any) -> int:
        request_of(body, {}, ())
        hidden = [e for e in self.engine.session.attempt.entries if e.hidden and e.act in ("upset", "cause")]
        words = "; ".join(e.words for e in hidden) or "nothing was hidden"
        return self._journal(role, who, "note", {}, f"what was hidden: {words}")


def _texts(value: Any) -> dict[str, str]:
    """A small table of texts."""
    if not isinstance(value, dict) or len(value) > 20:
        raise Refusal("found no table of names and values; allowed: up to 20 of them")
    return {text_of(k, "name", 60): text_of(v, "value", 60) for k, v in value.items()}
