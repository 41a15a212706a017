"""The shipped lessons: each can be lost by doing nothing, and be won by its best response."""

from __future__ import annotations

import pytest
from live_rig import ROOT

from plantsim.errors import ConfigError
from plantsim.live.coach import build_plant
from plantsim.live.debrief import run_again, with_best, without_operator
from plantsim.live.journal import Entry
from plantsim.live.lessons import WEIGHTS, read_lesson, shipped_lessons
from plantsim.live.score import fading, is_right, needless_acts, score
from plantsim.live.session import Sitting

LESSONS = {name: read_lesson(path) for name, path in shipped_lessons().items()}
PAIRS = [(name, site) for name, lesson in LESSONS.items() for site in lesson.plants]


def test_ten_ship_in_their_order() -> None:
    assert [lesson.number for lesson in LESSONS.values()] == list(range(1, 11))


@pytest.mark.parametrize(("name", "site"), PAIRS, ids=[f"{n}-{s}" for n, s in PAIRS])
def test_no_action_loses_and_the_best_response_wins(name: str, site: str) -> None:
    lesson = LESSONS[name]
    sitting = Sitting(str(ROOT / "configs" / f"{site}.yaml"), (), 1, name)
    none = build_plant(sitting)
    begins = none.tick
    ends = begins + round(lesson.limit / none.model.step)
    entries = [
        Entry(1, begins, "", "lesson", "l", "lesson-begins", {"name": name}),
        Entry(2, begins, "", "lesson", "l", "lesson", dict(lesson.causes)),
    ]
    run_again(sitting, without_operator(entries), ends, none)
    best, _ = run_again(sitting, with_best(entries, lesson), ends)
    cause = none.begun(2)
    lost = score(none, none, best, [], begins, cause, lesson)
    won = score(best, none, best, [], begins, cause, lesson)
    assert [v.outcome for v in won.verdicts] == ["ok"] * len(lesson.goals), won.verdicts
    assert "failed" in [v.outcome for v in lost.verdicts], lost.verdicts
    assert sum(lesson.scoring.weights.values()) == pytest.approx(100.0)
    shares = {p.name: p.share for p in won.parts}
    assert shares["goals"] == 1.0 and shares["losses"] in (None, 1.0)
    assert {p.name for p in won.parts} == set(WEIGHTS)
    assert lost.total is not None and won.total is not None and lost.total < won.total
    # the operator has something to notice it by, and every pattern of a right act means something on this plant
    names = {*none.points, *none.works}
    for pattern in lesson.right:
        acts = [Entry(1, 0, "", "operator", "", "field" if n in none.works else "set",
                      {"work": n} if n in none.works else {"path": n, "value": v, "was": 1.0 - v})
                for n in names for v in (0.0, 1.0)]  # fmt: skip
        one = type(lesson)(**{**vars(lesson), "right": (pattern,)})
        assert any(is_right(one, act) for act in acts), pattern


def do(tick: int, path: str, value: float = 1.0, was: float = 0.0) -> Entry:
    return Entry(1, tick, "", "operator", "Ann", "set", {"path": path, "value": value, "was": was})


def test_needless_is_what_does_not_answer_or_comes_again_too_soon() -> None:
    lesson = LESSONS["double-dose"]  # a dead time of 35 min; more of either chemical answers it
    up = "coagulant-dosing.dose"
    first, again = do(0, up, 50, 38), do(1200, up, 60, 50)
    later, wrong = do(1200 + 2101, up, 65, 60), do(10, "underflow.enable", 0.0, 1.0)
    less = do(5000, up, 30, 65)
    found = needless_acts([first, wrong, again, later, less], lesson, 1.0)
    assert found == [wrong, again, less]


def test_patterns_of_right_acts() -> None:
    lesson = LESSONS["duty-pump-trip"]
    repair = Entry(1, 0, "", "operator", "", "field", {"work": "repair P-103"})
    assert is_right(lesson, repair) and is_right(lesson, do(0, "sump-level.hand_pumps", 2.0))
    assert not is_right(lesson, do(0, "underflow.enable"))
    assert not is_right(lesson, Entry(1, 0, "", "operator", "", "note", {"text": "repair P-103"}))
    start = LESSONS["first-start-up"]
    assert is_right(start, do(0, "rake.enable", 1.0)) and not is_right(start, do(0, "rake.enable", 0.0, 1.0))


def test_marks_fade_from_the_good_time_to_three_times_it() -> None:
    assert [fading(t, 600.0) for t in (0, 600, 1200, 1800, 1e9)] == [1.0, 1.0, 0.5, 0.0, 0.0]


def test_a_lesson_that_is_wrong_is_told_with_its_line(tmp_path) -> None:
    text = (ROOT / "plantsim" / "lessons" / "duty-pump-trip.yaml").read_text()
    (tmp_path / "mine.yaml").write_text(text.replace("dead_time: 8 min", "dead_time: 8 m, weights: {calmness: 3}"))
    with pytest.raises(ConfigError) as error:
        read_lesson(tmp_path / "mine.yaml")
    findings = "\n".join(error.value.findings)
    assert "mine.yaml:" in findings and "dead_time" in findings
