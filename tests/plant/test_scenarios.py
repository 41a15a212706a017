"""Scenario files: upsets with times, parameters, parts and answers, further acts, and what is wrong with them."""

from __future__ import annotations

from pathlib import Path

import pytest

from plantsim.errors import ConfigError
from plantsim.plant.acts import Places
from plantsim.plant.build import load_model
from plantsim.plant.plans import ActPlan, Start
from plantsim.plant.reader import read
from plantsim.plant.scenario import open_scenario, scenario_of
from plantsim.plant.scenario_sections import UPSET
from plantsim.plant.upsets import read_upset, shipped_upsets, stage
from plantsim.sim.simulation import Simulation

CONFIGS = Path(__file__).resolve().parents[2] / "configs"
PIT, SAND = CONFIGS / "gravel-pit.yaml", CONFIGS / "small-sand.yaml"

GOOD = """\
title: a bad afternoon (invented)
upsets:
  - upset: duty-pump-trip
    at: 3 h
    for: 20 min
    parts: {duty: P-101}
    respond: no
  - upset: feed-surge
    between: [4 h, 6 h]
    with: {surge: x1.2}
acts:
  - {at: 90 min, set: sump-level.setpoint, to: 2 m, for: 1 h, by: operator, note: a higher set point}
"""


def acts_of(model) -> list[ActPlan]:
    return [plan for plan in model.plans.items if isinstance(plan, ActPlan)]


def scenario(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "s.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_scenario_becomes_acts_in_their_order_and_is_kept(tmp_path):
    model = load_model(PIT, scenario=scenario(tmp_path, GOOD))
    acts = acts_of(model)
    assert [a.origin for a in acts][:1] == ["scenario"] and {a.origin for a in acts} == {
        "scenario", "duty-pump-trip", "feed-surge"}  # fmt: skip
    trip = next(a for a in acts if a.origin == "duty-pump-trip" and a.words == "the duty pump trips")
    cell, _ = model.cell("P-101.trip")
    assert (trip.cell, trip.start.low, trip.lasts) == (cell, 3 * 3600.0, 1200.0)
    surge = next(a for a in acts if a.origin == "feed-surge")
    assert (surge.factor, surge.start.low, surge.start.high) == (1.2, 4 * 3600.0, 6 * 3600.0)
    assert [(u.name, u.responded) for u in model.upsets] == [("duty-pump-trip", False), ("feed-surge", False)]
    assert "scenario:" in model.resolved and "a bad afternoon (invented)" in model.resolved


def test_the_resolved_file_repeats_the_scenario(tmp_path):
    """What a run folder keeps is enough to do it all again."""
    first = load_model(PIT, scenario=scenario(tmp_path, GOOD))
    again_path = tmp_path / "again.yaml"
    again_path.write_text(first.resolved, encoding="utf-8")
    for name in CONFIGS.glob("*.st"):
        (tmp_path / name.name).write_text(name.read_text())
    again = load_model(again_path)
    assert acts_of(again) == acts_of(first) and again.upsets == first.upsets
    assert again.resolved == first.resolved


def test_all_acts_of_an_upset_keep_their_distance_from_a_drawn_time(tmp_path):
    text = "upsets:\n  - {upset: duty-pump-trip, between: [1 h, 2 h], respond: yes}\n"
    model = load_model(PIT, scenario=scenario(tmp_path, text))
    sim = Simulation(model, 5)
    sim.run(2.5 * 3600.0)
    said = {note.words: note.tick for note in sim.journal if note.kind in ("act", "operator")}
    trip = said["the duty pump trips"]
    assert 3600 <= trip <= 7200
    plans = {plan.words: plan.start.after for plan in acts_of(model)}
    assert {words: tick - trip for words, tick in said.items() if words in plans} == {
        words: round(after) for words, after in plans.items() if words in said}  # fmt: skip
    other = Simulation(load_model(PIT, scenario=scenario(tmp_path, text)), 6)
    other.run(2.5 * 3600.0)
    assert next(n.tick for n in other.journal if n.words == "the duty pump trips") != trip


def test_the_scenario_of_words_is_the_scenario_of_a_file():
    tree = open_scenario(scenario_of("duty-pump-trip@3h,feed-surge@5h30min", True), "--upset")
    tree.raise_findings()
    assert [(b.upset, b["at"], b.respond) for b in tree.upsets] == [
        ("duty-pump-trip", 3 * 3600.0, True), ("feed-surge", 5.5 * 3600.0, True)]  # fmt: skip
    with pytest.raises(ValueError, match="NAME@TIME"):
        scenario_of("duty-pump-trip")


@pytest.mark.parametrize(("text", "message"), [
    ("upsets: [{upset: duty-pump-tripp, at: 1 h}]", "upsets.0.upset: found 'duty-pump-tripp'; allowed: a name that "
     "`plantsim upsets` lists (did you mean 'duty-pump-trip'?)"),
    ("upsets: [{upset: duty-pump-trip}]", "upsets.0: found neither 'at' nor 'between'; allowed: one of them"),
    ("upsets: [{upset: duty-pump-trip, at: 1}]", "upsets.0.at: found '1' (no unit)"),
    ("upsets: [{upset: duty-pump-trip, at: 1 m}]", "upsets.0.at: found '1 m' (a length)"),
    ("upsets: [{upset: duty-pump-trip, at: 1 h, respnd: yes}]", "found 'respnd'; allowed: upset, at, between, for, "
     "with, parts, respond (did you mean 'respond'?)"),
    ("upsets: [{upset: duty-pump-trip, at: 1 h, parts: {duty: P-109}}]",
     "upsets.0.parts.duty: found 'P-109'; allowed: a pump: P-101, P-102, P-103, P-301"),
    ("upsets: [{upset: duty-pump-trip, at: 1 h, parts: {dutty: P-101}}]", "(did you mean 'duty'?)"),
    ("upsets: [{upset: feed-surge, at: 1 h, with: {surge: x9}}]", "upsets.0.with.surge: found 'x9'; allowed: x1.1 to"),
    ("upsets: [{upset: feed-surge, at: 1 h, with: {surge: 30 m3/h}}]", "upsets.0.with.surge: found '30 m3/h'; allowed"),
    ("upsets: [{upset: feed-surge, at: 1 h, with: {surg: x1.2}}]", "(did you mean 'surge'?)"),
    ("acts: [{at: 1 h, set: sump.levl, to: 1 m}]", "s.yaml:1: acts.0.set: found 'sump.levl'"),
    ("actz: []", "found 'actz'; allowed: title, note, upsets, acts (did you mean 'acts'?)"),
    ("", "found an empty file"),
])  # fmt: skip
def test_what_is_wrong_with_a_scenario_is_told_with_its_line(tmp_path, text, message):
    with pytest.raises(ConfigError) as caught:
        load_model(PIT, scenario=scenario(tmp_path, text))
    (finding,) = caught.value.findings
    assert message in finding and str(tmp_path / "s.yaml") in finding


def test_an_upset_of_a_part_the_plant_has_not_is_refused(tmp_path):
    with pytest.raises(ConfigError, match=r"'polymer-runout', which needs a make-down plant; allowed"):
        load_model(SAND, scenario=scenario(tmp_path, "upsets: [{upset: polymer-runout, at: 1 h}]"))


def test_a_scenario_that_is_not_there_is_told(tmp_path):
    with pytest.raises(ConfigError, match="found no such file"):
        load_model(PIT, scenario=tmp_path / "none.yaml")


# --- descriptions of upsets ---


@pytest.mark.parametrize(("old", "new", "message"), [
    ("set: duty.trip", "set: dutty.trip", "acts.2.set: found 'dutty.trip'; allowed: a part: duty, standby"),
    ("to: on, note: the duty pump trips", "to: $much, note: trips", "found '$much'; allowed: a parameter"),
    ("goes: down, by: 300 m3/h", "goes: down", "symptoms.1.by: found none with up, down or away"),
    ("number: 4", "number: four", "number: found 'four'; allowed: a whole number"),
    ("horizon: 90 min", "horizon: 90 m3", "horizon: found '90 m3' (a volume)"),
])  # fmt: skip
def test_slips_in_a_description_are_found(tmp_path, old, new, message):
    text = shipped_upsets()["duty-pump-trip"].read_text(encoding="utf-8")
    assert old in text
    path = tmp_path / "duty-pump-trip.yaml"
    path.write_text(text.replace(old, new), encoding="utf-8")
    with pytest.raises(ConfigError) as caught:
        read_upset(path)
    assert any(message in finding for finding in caught.value.findings), caught.value.findings


def test_a_part_is_found_by_name_by_what_it_measures_or_because_it_is_the_only_one(tmp_path):
    text = """\
number: 1
title: test
cause: test
shown_on: [gravel-pit]
parts:
  pump: {kind: pump, names: [P-102]}
  settler: {kind: clarifier}
  meter: {kind: instrument, measures: settler.turbidity}
  missing: {kind: press, optional: yes}
acts: [{set: meter.bias, to: 10 %}, {set: missing.fill_limit, to: 1 h}]
symptoms:
  - {of: meter, goes: up, by: 1 NTU, until: 1 min, words: reads more}
  - {of: missing.cake, goes: up, by: 1 t, until: 1 h, words: left out}
respond: [{set: meter.bias, to: 0 %}]
missed: [meter under 80 NTU while pump runs, missing.cake under 3 t]
consequence: test
"""
    tree = read(text, UPSET, name="text")
    acts, upset, answers = stage(Places.of(load_model(PIT)), tree, "test", Start(60.0, 60.0))
    assert [a.target for a in acts + answers] == ["AT-201.bias", "AT-201.bias"]
    assert [s.of for s in upset.symptoms] == ["AT-201"]
    assert upset.missed == ("AT-201 under 80 NTU while P-102 runs",)
