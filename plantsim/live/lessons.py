"""Lessons: what is taught, from which state, by which upsets, with which hints and goals, and how it is scored."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from plantsim.plant.fields import nearest, quoted
from plantsim.plant.reader import examine
from plantsim.plant.scenario_sections import ACT, SCENARIO
from plantsim.plant.schema import Flag, Integer, ListOf, MapOf, Maybe, Name, Number, Quantity, Section, Text
from plantsim.plant.tree import Tree
from plantsim.units import sentence

FOLDER = Path(__file__).resolve().parent.parent / "lessons"

WEIGHTS = {"notice": 15.0, "action": 20.0, "calm": 15.0, "goals": 30.0, "losses": 20.0}
"""Usual share of each part of the score [%]."""

_UPSETS = SCENARIO.fields["upsets"]
assert isinstance(_UPSETS, ListOf)
_UPSET = _UPSETS.item

LESSON = Section(
    "A lesson of the training page.",
    number=Integer(lo=1, doc="place among the lessons"),
    title=Text(doc="what it is called"),
    plants=ListOf(Text(), least=1, doc="demonstration plants it is written for, by the names of their files"),
    briefing=ListOf(Text(), least=1, doc="what is read before it begins, a paragraph each"),
    start=Section(
        "The state it begins from.",
        after=Quantity("time", "0 s", lo="0 s", hi="7 d", doc="time the plant has run by itself before"),
        set_=ListOf(Text(), doc="values of the plant file replaced: key.path=value texts, as with --set"),
        seed=Maybe(Integer(lo=0, doc="seed of everything random"), doc="left out: that of the command"),
    ),
    limit=Quantity("time", above="0 s", hi="3 d", doc="time the operator has"),
    speed=Number(60.0, lo=1.0, hi=600.0, doc="simulated seconds in one second, at the start"),
    upsets=ListOf(_UPSET, doc="upsets; times count from the start of the lesson"),
    acts=ListOf(ACT, doc="further causes"),
    hidden=Flag(True, doc="yes: the operator is not told what was done"),
    hints=ListOf(
        Section(
            "A hint, given when its time has come and the right thing has not been done.",
            at=Quantity("time", lo="0 s", doc="time after the start of the lesson"),
            words=Text(doc="the hint"),
        ),
        doc="hints, in the order of their times",
    ),
    goals=ListOf(Text(), least=1, doc="acceptance sentences judged over the lesson"),
    right=ListOf(Text(), least=1, doc="acts that answer it: program.variable, hand switch or crew's work; * for any"),
    why=Text(doc="what was behind it, for the debrief"),
    best=ListOf(ACT, doc="the best response, times from the start of the lesson; left out: the upsets' own answers"),
    scoring=Section(
        "How the score is made.",
        weights=MapOf(Number(lo=0.0, hi=100.0), key=Name(), doc=f"share of each part: {', '.join(WEIGHTS)}"),
        cause=Quantity("time", "0 s", lo="0 s", doc="time of the cause, from which noticing is counted"),
        notice=Quantity(
            "time", "10 min", above="0 s", doc="noticed within this: full marks; in thrice the time: none"
        ),
        action=Quantity("time", "20 min", above="0 s", doc="the same for the first right act"),
        dead_time=Quantity(
            "time", "15 min", above="0 s", doc="time until an act shows: more than one in it is needless"
        ),
        spare=Integer(2, lo=0, hi=100, doc="needless acts that cost nothing"),
    ),
)


@dataclass(frozen=True)
class Scoring:
    """How a lesson is scored; times in seconds.

    Parameters
    ----------
    weights : dict
        Share of each part, [%]
    cause, notice, action, dead_time : float
        See the lesson's own words, [s]
    spare : int
        Needless acts that cost nothing, [-]
    """

    weights: dict[str, float] = field(default_factory=lambda: dict(WEIGHTS))
    cause: float = 0.0
    notice: float = 600.0
    action: float = 1200.0
    dead_time: float = 900.0
    spare: int = 2


@dataclass(frozen=True)
class Hint:
    """A hint and its time after the start of the lesson [s]."""

    at: float
    words: str


@dataclass(frozen=True)
class Lesson:
    """One lesson; times in seconds.

    Parameters
    ----------
    name, title : str
        Name of its file, and what it is called.
    plants : tuple of str
        Demonstration plants it is written for.
    briefing : tuple of str
        Paragraphs.
    after, limit, speed : float
        Time run before [s], time the operator has [s], speed at the start [-]
    overrides : tuple of str
        `key=value` texts.
    seed : int or None
        Seed; None: that of the command.
    causes : dict
        Scenario of upsets and acts, as texts; times from the start of the lesson.
    best : list of dict
        Acts of the best response.
    hidden : bool
        Whether the operator is not told.
    hints, goals, right : tuple
        Hints, acceptance sentences, patterns of right acts.
    why : str
        What was behind it.
    scoring : Scoring
        How the score is made.
    """

    name: str
    number: int
    title: str
    plants: tuple[str, ...]
    briefing: tuple[str, ...]
    after: float
    limit: float
    speed: float
    overrides: tuple[str, ...]
    seed: int | None
    causes: dict[str, list[dict[str, Any]]]
    best: list[dict[str, Any]]
    hidden: bool
    hints: tuple[Hint, ...]
    goals: tuple[str, ...]
    right: tuple[str, ...]
    why: str
    scoring: Scoring


def shipped_lessons() -> dict[str, Path]:
    """Name to file of every shipped lesson, in their order."""
    found = {path.stem: path for path in FOLDER.glob("*.yaml")}
    return dict(sorted(found.items(), key=lambda item: (read_lesson(item[1]).number, item[0])))


_CACHE: dict[Path, tuple[float, Lesson]] = {}


def read_lesson(path: Path) -> Lesson:
    """A lesson from its file; read again only when the file has changed.

    Raises
    ------
    ConfigError
        With every finding.
    """
    stamp = path.stat().st_mtime if path.exists() else 0.0
    if path not in _CACHE or _CACHE[path][0] != stamp:
        _CACHE[path] = stamp, _read(path)
    return _CACHE[path][1]


def _read(path: Path) -> Lesson:
    tree = examine(path, LESSON)
    for key in tree.scoring.weights:
        if key not in WEIGHTS:
            tree.finding(f"scoring.weights.{key}", sentence(quoted(key), ", ".join(WEIGHTS), nearest(key, WEIGHTS)))
    tree.raise_findings()
    s = tree.scoring
    return Lesson(
        path.stem,
        tree.number,
        tree.title,
        tuple(tree.plants),
        tuple(tree.briefing),
        tree.start.after,
        tree.limit,
        tree.speed,
        tuple(tree.start["set"]),
        tree.start.seed,
        {"upsets": [_plain(b) for b in tree.upsets], "acts": [_plain(b) for b in tree.acts]},
        [_plain(b) for b in tree.best],
        tree.hidden,
        tuple(Hint(h.at, h.words) for h in tree.hints),
        tuple(tree.goals),
        tuple(tree.right),
        tree.why,
        Scoring({**WEIGHTS, **dict(s.weights)}, s.cause, s.notice, s.action, s.dead_time, s.spare),
    )


def _plain(block: Tree) -> dict[str, Any]:
    """A block as it can be written again, times in seconds, without what is left out."""
    plain = block.plain()
    return {key: value for key, value in plain.items() if value not in (None, {}, [])}


def shifted(blocks: list[dict[str, Any]], by: float) -> list[dict[str, Any]]:
    """Blocks of a scenario begun later [s]: their `at` and `between` count from the start of the plant.

    Examples
    --------
    >>> shifted([{"upset": "x", "at": "10 min"}], 3600.0)
    [{'upset': 'x', 'at': '4200 s'}]
    """
    from plantsim.units import to_si

    def later(text: Any) -> str:
        return f"{to_si(str(text), 'time') + by:.10g} s"

    moved = []
    for block in blocks:
        copy = dict(block)
        if copy.get("at") is not None:
            copy["at"] = later(copy["at"])
        if copy.get("between"):
            copy["between"] = [later(text) for text in copy["between"]]
        moved.append(copy)
    return moved
