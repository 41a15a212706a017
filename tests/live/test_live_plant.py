"""A plant with acts not known beforehand: the same acts at the same ticks give the same bytes, on every way there."""

from __future__ import annotations

import numpy as np
import pytest
from live_rig import HOUR, plant

from plantsim.live.desk import Refusal
from plantsim.live.journal import Entry


def acts(*items: tuple[int, str, dict]) -> list[Entry]:
    return [Entry(i, tick, "", "operator", "Ann", act, data) for i, (tick, act, data) in enumerate(items, 1)]


DAY = acts(
    (1000, "set", {"path": "sump-level.hand", "value": 1.0}),
    (1000, "set", {"path": "sump-level.hand_pumps", "value": 1}),
    (2 * HOUR, "cause", {"set": "AT-201.bias", "to": "5 %", "ramp": "20 min", "for": "2 h"}),
    (2 * HOUR + 10, "field", {"work": "sample AT-201"}),
    (3 * HOUR, "set", {"path": "sump-level.reset", "value": 1}),
    (3 * HOUR, "set", {"path": "sump-level.hand", "value": 0.0}),
    (4 * HOUR, "cause", {"set": "P-101.trip", "to": "on"}),
    (5 * HOUR, "field", {"work": "repair P-101"}),
    (5 * HOUR, "end-upset", {"entry": 7}),
    (6 * HOUR, "ack", {"names": []}),
)
END = 8 * HOUR


@pytest.fixture(scope="module")
def done():
    p = plant()
    p.replay(DAY, END)
    return p, p.sim.save().memory, p.sim.recorder.rows.copy(), list(p.sim.alarm_log)


def test_the_same_acts_give_the_same_bytes(done) -> None:
    other = plant()
    other.replay(DAY, END)
    assert other.sim.save().memory == done[1]
    np.testing.assert_array_equal(other.sim.recorder.rows, done[2])


def test_other_seeds_and_no_acts_give_others(done) -> None:
    for other, entries in ((plant(2), DAY), (plant(), [])):
        other.replay(entries, END)
        assert other.sim.save().memory != done[1]


@pytest.mark.parametrize("tick", [1000, 2 * HOUR + 601, 4 * HOUR, 5 * HOUR + 1, 7 * HOUR])
def test_the_way_back_and_on_again_gives_the_same_bytes(done, tick: int) -> None:
    p, memory, rows, alarms = done
    p.go_back(tick, [e for e in DAY if e.tick < tick])
    assert p.tick == tick
    p.replay([e for e in DAY if e.tick >= tick], END)
    assert p.sim.save().memory == memory
    np.testing.assert_array_equal(p.sim.recorder.rows, rows)
    assert p.sim.alarm_log == alarms


def test_what_lasts_ends_and_what_is_ended_is_over(done) -> None:
    p = plant()
    p.replay(DAY, 4 * HOUR - 1)
    cell, _ = p.model.cell("AT-201.bias")
    assert p.model.arena.mem[cell] == 0.05 and p.at_work(3) and p.begun(3) == 2 * HOUR
    p.replay([e for e in DAY if e.tick >= 4 * HOUR], 4 * HOUR + 5)
    assert p.model.arena.mem[cell] == 0.0 and not p.at_work(3)
    assert p.value("P-101.tripped") == 1.0 and p.value("P-101.running") == 0.0
    p.advance(5 * HOUR - 1)
    p.replay([e for e in DAY if e.tick >= 5 * HOUR], 6 * HOUR)
    assert not p.at_work(7) and p.value("P-101.tripped") == 0.0


def test_a_press_falls_back_by_itself() -> None:
    p = plant()
    p.replay(acts((100, "set", {"path": "wash-interlocks.reset", "value": 1.0})), 101)
    assert p.value("wash-interlocks.reset") == 1.0
    p.advance(110)
    assert p.value("wash-interlocks.reset") == 0.0


def test_a_hand_sample_tells_the_true_value_when_its_time_has_come(done) -> None:
    p = plant()
    p.replay(DAY, 2 * HOUR + 609)
    assert not p.found
    p.advance(2 * HOUR + 610)
    (sample, value), = p.found
    assert (sample.tag, sample.tick) == ("AT-201", 2 * HOUR + 610)
    assert value == pytest.approx(p.value("AT-201.true"))


def test_a_cause_that_does_not_fit_is_refused_in_words() -> None:
    p = plant()
    make = p.makers["cause"]
    for data, words in (
        ({"set": "AT-201.bia", "to": "5 %"}, "bias"), ({"set": "P-1011.trip", "to": "on"}, "P-101"),
        ({"set": "AT-201.bias", "to": "5 m"}, "m"), ({"set": "AT-201.bias", "to": "5 %", "for": "soon"}, "for"),
    ):  # fmt: skip
        with pytest.raises(Refusal, match=words):
            make(p.model, data, 0)


def test_the_spare_acts_run_out_without_harm() -> None:
    p = plant()
    many = acts(*[(i, "set", {"path": "rake.reset", "value": 1.0}) for i in range(300)])
    p.replay(many, 400)
    assert p.room == 0 and p.tick == 400
