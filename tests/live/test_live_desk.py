"""What each role may ask for, and what is refused before it comes near a plant."""

from __future__ import annotations

import math

import pytest
from live_rig import ROOT, engine, model, plant

from plantsim.live.desk import MAY, OPERATOR, TRAINER, Refusal, allowed, number_of, operator_points, text_of
from plantsim.plant.build import load_model


def test_what_an_operator_may_change_is_marked_in_the_programs() -> None:
    points = plant().points
    assert {"sump-level.hand", "underflow.setpoint", "coagulant-dosing.dose", "HS-202"} <= set(points)
    # read from a tag at every scan, or not marked, or written by a program: not for the operator
    assert not {"coagulant-dosing.enable", "sump-level.high_high_level", "XC-131", "LT-101"} & set(points)
    assert points["wash-interlocks.reset"].kind == "press"
    assert points["underflow.setpoint"].unit == "m" and points["underflow.setpoint"].high == 5.0


@pytest.mark.parametrize("site", ["gravel-pit", "small-sand", "high-lift"])
def test_every_drive_has_a_hand_mode_in_its_program(site: str) -> None:
    m = load_model(ROOT / "configs" / f"{site}.yaml")
    points = operator_points(m)
    for tag in m.tags.values():
        if tag.role != "drive":
            continue
        writer = next(
            name for name, instance in m.programs.items()
            for i in range(int(m.arena.program_p["copies_out"][m.units[name][1]]),
                           int(m.arena.program_p["copies_out"][m.units[name][1]])
                           + int(m.arena.program_p["n_out"][m.units[name][1]]))
            if int(m.arena.copy_p["tag"][i]) == tag.index
        )  # fmt: skip
        assert f"{writer}.hand" in points or f"{writer}.enable" in points, (tag.name, writer)


@pytest.mark.parametrize("act", sorted(MAY[TRAINER] - MAY[OPERATOR]))
def test_an_operator_may_not_do_a_trainers_act(act: str) -> None:
    with pytest.raises(Refusal) as refusal:
        allowed(OPERATOR, {"act": act})
    assert refusal.value.status == 403
    assert allowed(TRAINER, {"act": act}) == act


NONSENSE = [None, [], "set", 3, {}, {"act": 3}, {"act": "eval"}, {"act": "__class__"}, {"act": "SET"}]


@pytest.mark.parametrize("body", NONSENSE)
def test_nonsense_is_refused(body) -> None:
    for role in (OPERATOR, TRAINER):
        with pytest.raises(Refusal):
            allowed(role, body)
    with pytest.raises(Refusal):
        allowed("nobody", {"act": "set"})


@pytest.mark.parametrize("value", ["1", None, True, math.nan, math.inf, -math.inf, 1e300, [], {}])
def test_a_number_is_a_number(value) -> None:
    with pytest.raises(Refusal):
        number_of(value, "x")


def test_a_text_is_short_and_plain() -> None:
    assert text_of("  pump \x00\x1b[31m noisy\n", "note") == "pump [31m noisy"
    for value in ("", "   ", "x" * 401, 3, None):
        with pytest.raises(Refusal):
            text_of(value, "note")


@pytest.mark.parametrize(
    ("body", "words"),
    [
        ({"act": "set", "path": "underflow.setpoint", "value": 9.0}, "0.2 to 5 m"),
        ({"act": "set", "path": "underflow.setpoint", "value": "2"}, "a number"),
        ({"act": "set", "path": "underflow.setpiont", "value": 2.0}, "underflow.setpoint"),
        ({"act": "set", "path": "sump-level.hand", "value": 2}, "on or off"),
        ({"act": "set", "path": "sump-level.hand_pumps", "value": 0.5}, "whole"),
        ({"act": "set", "path": "sump-level.high_high_level", "value": 3.0}, "path"),
        ({"act": "set", "path": "LT-101", "value": 3.0}, "path"),
        ({"act": "set", "path": "underflow.setpoint"}, "missing"),
        ({"act": "set", "path": "underflow.setpoint", "value": 1.0, "who": "me"}, "who"),
        ({"act": "ack", "names": "all"}, "list"),
        ({"act": "ack", "names": ["LAH-999"]}, "LAH"),
        ({"act": "shelve", "name": "LAH-101", "minutes": 1e6}, "1 to 480"),
        ({"act": "field", "work": "rm -rf"}, "work"),
    ],
)
def test_a_request_that_makes_no_sense_is_refused_in_words(tmp_path, body, words) -> None:
    e, _ = engine(tmp_path)
    with pytest.raises(Refusal, match=words):
        e.requests.do(OPERATOR, "Ann", body)
    assert not e.session.journal.entries


def test_what_is_done_goes_through_the_programs_own_interlocks(tmp_path) -> None:
    e, _ = engine(tmp_path)
    p = e.session.plant
    for path, value in (("underflow.hand", True), ("underflow.hand_run", True), ("underflow.hand_speed", 70.0)):
        e.requests.do(OPERATOR, "Ann", {"act": "set", "path": path, "value": value})
    p.advance(60)
    assert p.value("SC-301") == 70.0 and p.value("P-301.running") == 1.0
    p.model.arena.tags[p.model.tags["XC-301"].index] = 0.0  # no tank takes the mud
    p.advance(65)
    assert p.value("P-301.running") == 0.0
    assert model() is not p.model
