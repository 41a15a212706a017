"""The engine: simulated time right to the tick, requests between two ticks, states for both roles."""

from __future__ import annotations

import json
import random
import time

import pytest
from live_rig import HOUR, engine, plant

from plantsim.live.desk import Refusal


def states(e):
    """Collect what an engine tells, by role."""
    told = {"operator": [], "trainer": []}
    e.listen(lambda role, text: told[role].append(json.loads(text)))
    return told


def test_simulated_time_is_right_to_the_tick_through_an_afternoon(tmp_path) -> None:
    e, clock = engine(tmp_path)
    e.requests.do("trainer", "T", {"act": "speed", "speed": 60})
    e.requests.do("trainer", "T", {"act": "run"})
    chance = random.Random(3)
    while clock.now < 300.0:
        clock.now = min(300.0, clock.now + chance.uniform(0.001, 0.4))
        e.turn()
    assert e.session.plant.tick == 300 * 60 and e.pace.given_up == 0.0
    alone = plant()
    alone.advance(300 * 60)
    assert alone.sim.save().memory == e.session.plant.sim.save().memory  # pacing does nothing to the plant


def test_a_request_takes_effect_at_the_tick_of_its_moment(tmp_path) -> None:
    e, clock = engine(tmp_path)
    e.requests.do("trainer", "T", {"act": "speed", "speed": 600})
    e.requests.do("trainer", "T", {"act": "run"})
    clock.now += 1.5
    future = e.ask("operator", "Ann", {"act": "set", "path": "underflow.setpoint", "value": 1.2})
    e._answer(*e._queue.get())
    assert e.session.journal.entries[future.result() - 1].tick == 900
    wrong = e.ask("operator", "Ann", {"act": "run"})
    e._answer(*e._queue.get())
    with pytest.raises(Refusal, match="for the trainer"):
        wrong.result()


def test_states_are_told_four_times_a_second_without_a_gap(tmp_path) -> None:
    e, clock = engine(tmp_path)
    told = states(e)
    e.requests.do("trainer", "T", {"act": "run"})
    for _ in range(100):
        clock.now += 0.05
        e.turn()
    assert len(told["operator"]) >= 15
    assert [s["n"] for s in told["operator"]] == list(range(1, len(told["operator"]) + 1))


def test_the_operator_is_not_told_what_is_hidden(tmp_path) -> None:
    e, _clock = engine(tmp_path)
    told = states(e)
    e.requests.do("trainer", "T", {"act": "cause", "set": "AT-201.bias", "to": "8 %"})
    e.requests.do("trainer", "T", {"act": "note", "text": "they will not see it", "hidden": True})
    e.publish(0.0)
    operator, trainer = told["operator"][-1], told["trainer"][-1]
    assert "upsets" not in operator and trainer["upsets"][0]["words"].startswith("AT-201.bias")
    assert operator["journal"] == [] and len(trainer["journal"]) == 2
    assert len(trainer["v"]) > len(operator["v"])
    names = [p["n"] for p in e.view.site("operator")["points"]]
    assert len(names) == len(operator["v"]) and not any(n.endswith(".true") for n in names)
    assert "sump.level" not in names and "AT-201" in names
    hidden = e.view.trend("operator", ["sump.level", "AT-201.true", "LT-101"], 0.0, 60.0)["series"]
    assert set(hidden) == {"LT-101"}
    assert "bias" not in json.dumps([operator, e.view.site("operator")["works"]])
    e.requests.do("trainer", "T", {"act": "reveal"})
    e.publish(1.0)
    assert "AT-201.bias to 8 %" in told["operator"][-1]["journal"][0]["words"]


def test_minute_save_point_and_back(tmp_path) -> None:
    e, _clock = engine(tmp_path)
    do = lambda **body: e.requests.do("trainer", "T", body)  # noqa: E731
    do(act="minute")
    assert e.session.plant.tick == 60 and not e.pace.running
    e.session.plant.advance(HOUR)
    do(act="save", name="before")
    e.session.plant.advance(2 * HOUR)
    do(act="back", seconds=HOUR)
    assert e.session.plant.tick == HOUR and e.session.attempt.number == 2
    do(act="set", path="underflow.setpoint", value=1.1)
    e.session.plant.advance(HOUR + 60)
    do(act="back", seconds=HOUR)  # to the very tick of that act: it is left to be done otherwise
    assert e.session.plant.value("underflow.setpoint") == pytest.approx(1.4)
    state = e.view.state("trainer")
    assert [a["ends"] for a in state["attempts"]] == [2 * HOUR, HOUR + 60, HOUR]
    other = e.view.trend("trainer", ["sump.level"], 0.0, 9 * HOUR, attempt=1)
    assert other["t"][-1] == 2 * HOUR and len(other["t"]) <= 700
    for seconds in (-1.0, HOUR + 1.0, 1e9):
        with pytest.raises(Refusal, match="allowed: from"):
            do(act="back", seconds=seconds)
    with pytest.raises(Refusal, match="1 to 600"):
        do(act="speed", speed=1e6)


def test_the_journal_is_on_the_disk_before_the_plant_knows(tmp_path, monkeypatch) -> None:
    e, _ = engine(tmp_path)
    seen = []
    monkeypatch.setattr(e.session.plant, "apply", lambda entry: seen.append(len(e.session.journal.path.read_text())))
    e.requests.do("operator", "Ann", {"act": "set", "path": "underflow.setpoint", "value": 1.2})
    assert seen and seen[0] > 50


def test_the_thread_keeps_time_and_answers(tmp_path) -> None:
    e, _ = engine(tmp_path)
    e._clock = e.pace._clock = time.monotonic
    e.start()
    try:
        e.ask("trainer", "T", {"act": "speed", "speed": 600}).result(5)
        e.ask("trainer", "T", {"act": "run"}).result(5)
        began = time.monotonic()
        time.sleep(1.0)
        e.ask("trainer", "T", {"act": "pause"}).result(5)
        took = time.monotonic() - began
        assert 600 * 0.9 <= e.session.plant.tick <= 600 * (took + 0.1)
    finally:
        e.stop()
    assert (e.session.path / "save.point").exists()


def test_a_lesson_is_timed_hinted_and_judged(tmp_path) -> None:
    from plantsim.live.debrief import judge_session

    e, clock = engine(tmp_path, lesson="level-that-stands")
    coach = e.requests.coach
    coach.judge = judge_session
    begins = e.session.begins
    assert begins == 3 * HOUR and e.session.journal.entries[1].hidden
    told = states(e)
    e.requests.do("trainer", "T", {"act": "speed", "speed": 600})
    e.requests.do("trainer", "T", {"act": "run"})
    for _ in range(40):
        clock.now += 0.1
        e.turn()
    assert any(x.words.startswith("hint: A level that does not move") for x in e.session.journal.entries)
    for path, value in (("sump-level.hand_pumps", 1), ("sump-level.hand", True)):
        e.requests.do("operator", "Ann", {"act": "set", "path": path, "value": value})
    for _ in range(200):
        clock.now += 0.1
        e.turn()
    assert e.session.plant.tick == begins + 90 * 60 and not e.pace.running
    with pytest.raises(Refusal, match="time is up"):
        e.requests.do("trainer", "T", {"act": "run"})
    e.requests.do("trainer", "T", {"act": "back", "seconds": float(begins)})
    assert [x.act for x in e.session.attempt.entries] == ["lesson-begins", "lesson"]  # its causes come again
    e.session.plant.advance(begins + 1800)
    assert e.session.plant.begun(2) == begins + 600
    for path, value in (("sump-level.hand_pumps", 1), ("sump-level.hand", True)):
        e.requests.do("operator", "Ann", {"act": "set", "path": path, "value": value})
    number = e.requests.do("trainer", "T", {"act": "finish"})
    name = e.session.path.name
    coach._working[name].join(60)
    assert number == 2 and not coach.failed, coach.failed
    pages = coach.debriefs(e.session)
    page = pages[2].read_text()
    for words in ("A level that stands: debrief", "Simulated values only", "no action", "best response", "Timeline",
                  "sump-level.hand off -&gt; on", "What was behind it"):  # fmt: skip
        assert words in page
    assert "<script" not in page and "http" not in page.replace("http-equiv", "")
    found = json.loads((pages[2].parent / "score.json").read_text())
    assert found["acted"] is not None and 0.0 <= found["total"] <= 100.0
    assert len(found["goals"]) == 2 and {p["name"] for p in found["parts"]} >= {"notice", "action", "calm"}
    assert pages[2].parent.joinpath("series.nc").exists()
    # the attempt before can be judged too, and both are found again after an interruption
    e.requests.do("trainer", "T", {"act": "finish", "attempt": 1})
    coach._working[name].join(60)
    assert sorted(pages) == [1, 2] and pages[1] != pages[2]
    coach._debriefs.clear()
    assert sorted(coach.debriefs(e.session)) == [1, 2]
    with pytest.raises(Refusal, match="still kept"):
        e.requests.do("trainer", "T", {"act": "finish", "attempt": 9})
    e.publish(1e9)
    assert told["trainer"][-1]["lesson"]["debriefs"] == [1, 2]


def test_a_fault_stands_the_plant_and_leaves_a_way_back(tmp_path, monkeypatch) -> None:
    e, _ = engine(tmp_path)
    e._clock = e.pace._clock = time.monotonic
    e.start()
    try:
        e.ask("trainer", "T", {"act": "speed", "speed": 600}).result(5)
        e.ask("trainer", "T", {"act": "run"}).result(5)
        time.sleep(0.3)
        with monkeypatch.context() as broken:
            broken.setattr(e.session.plant, "advance", lambda tick: 1 / 0)
            time.sleep(0.3)
            assert "ZeroDivisionError" in e.fault and not e.pace.running
        e.ask("trainer", "T", {"act": "back", "seconds": 0.0}).result(5)
        assert e.fault == "" and e.session.plant.tick == 0
    finally:
        e.stop()
