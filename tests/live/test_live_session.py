"""A sitting on disk: what was done survives a kill at any moment, and comes out again to the byte."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from live_rig import HOUR, SAND, engine, resumed

from plantsim.errors import StoreError
from plantsim.live.session import HEAD, JOURNAL, POINT, read_point, read_sitting


def sit(tmp_path: Path):
    """A session with acts of both roles, an attempt gone back from, and a save point on the disk."""
    e, _clock = engine(tmp_path)
    p = e.session.plant
    e.requests.do("trainer", "Tom", {"act": "cause", "set": "AT-201.bias", "to": "8 %", "ramp": "10 min"})
    p.advance(2 * HOUR)
    e.requests.do("operator", "Ann", {"act": "set", "path": "coagulant-dosing.trim", "value": False})
    e.requests.do("operator", "Ann", {"act": "field", "work": "sample AT-201"})
    p.advance(3 * HOUR)
    e.requests.do("trainer", "Tom", {"act": "back", "seconds": 1.5 * HOUR})
    p.advance(2 * HOUR)
    e.requests.do("operator", "Bo", {"act": "set", "path": "underflow.setpoint", "value": 1.1})
    e.requests.do("operator", "Bo", {"act": "ack", "names": []})
    p.advance(2 * HOUR + 77)
    e.session.checkpoint()
    return e.session


def test_a_killed_session_goes_on_where_it_was(tmp_path: Path) -> None:
    was = sit(tmp_path)
    memory, rows = was.plant.sim.save().memory, was.plant.sim.recorder.rows.copy()
    now = resumed(was.path)  # nothing was closed: as after a kill
    assert now.plant.tick == 2 * HOUR + 77 and now.plant.sim.save().memory == memory and not now.warnings
    assert (now.plant.sim.recorder.rows == rows).all()
    assert [a.number for a in now.attempts] == [1, 2] and now.attempts[0].ends == 3 * HOUR
    assert now.attempts[0].rows is not None and was.attempts[0].rows is not None
    assert (now.attempts[0].rows == was.attempts[0].rows).all()
    assert [e.words for e in now.attempt.entries] == [e.words for e in was.attempt.entries]
    assert now.plant.sim.alarm_log == was.plant.sim.alarm_log
    for other in (was, now):
        other.plant.advance(4 * HOUR)
    assert now.plant.sim.save().memory == was.plant.sim.save().memory


def test_an_act_after_the_last_save_point_is_not_lost(tmp_path: Path) -> None:
    was = sit(tmp_path)
    was.plant.advance(2 * HOUR + 500)
    was.do("operator", "Ann", "set", {"path": "underflow.setpoint", "value": 1.5}, "later")
    now = resumed(was.path)
    assert now.plant.tick == 2 * HOUR + 500 and now.plant.value("underflow.setpoint") == 1.5
    assert now.plant.sim.save().memory == was.plant.sim.save().memory


def test_without_any_save_point_the_journal_is_enough(tmp_path: Path) -> None:
    was = sit(tmp_path)
    (was.path / POINT).unlink()
    assert resumed(was.path).plant.tick == 2 * HOUR  # the last act


def test_another_plant_than_saved_goes_on_from_the_save_point_and_says_so(tmp_path: Path) -> None:
    was = sit(tmp_path)
    shutil.copy(SAND, tmp_path / "site.yaml")
    head = json.loads((was.path / HEAD).read_text())
    text = (tmp_path / "site.yaml").read_text()
    (tmp_path / "site.yaml").write_text(text.replace("production: 50 t/h", "production: 51 t/h"))
    (was.path / HEAD).write_text(json.dumps({**head, "file": str(tmp_path / "site.yaml")}))
    now = resumed(was.path)
    assert now.warnings and "did not come out again" in now.warnings[0]
    assert now.plant.sim.save().memory == was.plant.sim.save().memory


def test_a_save_point_is_whole_or_none(tmp_path: Path) -> None:
    was = sit(tmp_path)
    raw = (was.path / POINT).read_bytes()
    point, entries = read_point(was.path / POINT) or (None, 0)
    assert point is not None and point.tick == 2 * HOUR + 77 and entries == len(was.journal.entries)
    (tmp_path / "torn").write_bytes(raw[:20])
    assert read_point(tmp_path / "torn") is None and read_point(tmp_path / "no") is None


def test_a_folder_without_session_is_refused(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="no training session"):
        read_sitting(tmp_path)
    (tmp_path / HEAD).write_text("{}")
    with pytest.raises(StoreError, match="cannot read"):
        read_sitting(tmp_path)


def test_the_journal_lies_beside_it_in_words(tmp_path: Path) -> None:
    was = sit(tmp_path)
    lines = [json.loads(line) for line in (was.path / JOURNAL).read_text().splitlines()]
    assert [line["act"] for line in lines] == ["cause", "set", "field", "back", "set", "ack"]
    assert lines[0]["hidden"] and lines[0]["role"] == "trainer" and lines[1]["who"] == "Ann"
    assert lines[4]["words"] == "underflow.setpoint 1.4 m -> 1.1 m" and lines[4]["attempt"] == 2
