"""First departures of an upset, on series worked out by hand, and the whole course of one on a plant."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from plantsim.analysis.checks import Record, Values
from plantsim.analysis.upset_course import UpsetError, course, departure, out_of_order, staged
from plantsim.plant.build import load_model
from plantsim.plant.model import UpsetSymptom

PIT = Path(__file__).resolve().parents[2] / "configs" / "gravel-pit.yaml"
TIME = np.arange(0.0, 3600.0, 10.0)
CAUSE = 600.0


def record(values: np.ndarray, unit: str = "m", name: str = "sump.level") -> Record:
    return Record(TIME, {name: Values(values, unit)})


def symptom(goes: str, by: str = "", held: float = 0.0, mean: float = 0.0, of: str = "sump.level") -> UpsetSymptom:
    return UpsetSymptom(of, goes, by, held, mean, 60.0, 1200.0, "seen")


CALM = 1.5 + 0.3 * np.sin(TIME / 200.0)
RAMP = np.maximum(TIME - CAUSE, 0.0) * 1e-3  # a millimetre each second from the cause on


@pytest.mark.parametrize(("change", "goes", "by", "after"), [
    (RAMP, "up", "0.1 m", 100.0),           # 0.1 m after 100 s
    (RAMP, "up", "25 cm", 250.0),           # in the unit it was written in
    (-RAMP, "down", "0.3 m", 300.0),
    (RAMP, "down", "0.1 m", math.nan),      # the wrong way
    (-RAMP, "away", "0.1 m", 100.0),        # either way
    (RAMP * 0.0, "up", "0.1 m", math.nan),
    (np.where((TIME > 900) & (TIME < 1000), 1.0, 0.0), "up", "0.5 m", 310.0),
    (np.where(TIME < 500, 1.0, 0.0), "up", "0.5 m", math.nan),  # before the cause is not of it
])  # fmt: skip
def test_departures_are_first_differences_beyond_the_amount(change, goes, by, after):
    found = departure(record(CALM), record(CALM + change), symptom(goes, by), CAUSE)
    assert found.after == pytest.approx(after, nan_ok=True)
    assert found.seen == math.isfinite(after)


def test_a_departure_that_must_last_waits_for_one_that_does():
    """A spike of one minute at 900 s does not count where three minutes are asked; the step at 2000 s does."""
    change = np.where((TIME >= 900) & (TIME < 960), 1.0, 0.0) + np.where(TIME >= 2000, 1.0, 0.0)
    assert departure(record(CALM), record(CALM + change), symptom("up", "0.5 m"), CAUSE).after == 300.0
    assert departure(record(CALM), record(CALM + change), symptom("up", "0.5 m", held=180.0), CAUSE).after == 1400.0


def test_means_are_compared_where_a_quantity_swings():
    """A pump that runs half of the time: its mean over 200 s reaches half of the step after 100 s more."""
    swing = (np.floor(TIME / 100.0) % 2.0) * 100.0
    step = swing + np.where(TIME >= 1000.0, 40.0, 0.0)
    calm, upset = record(swing, "m3/h"), record(step, "m3/h")
    found = departure(calm, upset, symptom("up", "20 m3/h", mean=200.0), CAUSE)
    assert found.after == pytest.approx(1000.0 - CAUSE + 90.0)


def test_switches_go_on_and_off():
    """The one goes off at 1000 s, the other at 1400 s: between them they differ."""
    late, early = record(1.0 - (TIME >= 1400.0), "1"), record(1.0 - (TIME >= 1000.0), "1")
    assert departure(late, early, symptom("off"), CAUSE).after == 400.0
    assert departure(early, late, symptom("on"), CAUSE).after == 400.0
    assert not departure(late, early, symptom("on"), CAUSE).seen


def test_windows_and_order():
    early = departure(record(CALM), record(CALM + RAMP), symptom("up", "0.03 m"), CAUSE)
    right = departure(record(CALM), record(CALM + RAMP), symptom("up", "0.3 m"), CAUSE)
    never = departure(record(CALM), record(CALM), symptom("up", "0.3 m"), CAUSE)
    assert (early.in_window(), right.in_window(), never.in_window()) == (False, True, False)
    assert early.in_window(slack=30.0)
    assert out_of_order([early, never, right]) == [] and out_of_order([right, early]) == [(right, early)]
    assert "after 5min" in right.words and "not seen (at most 0 m)" in never.words


@pytest.mark.parametrize(("asked", "message"), [
    (symptom("up", "0.1 m", of="sump.levl"), "'sump.levl', which is not recorded"),
    (symptom("up", "0.1 kg"), "sump.level by 0.1 kg"),
    (symptom("up", "much"), "sump.level by much"),
])  # fmt: skip
def test_symptoms_of_nothing_are_refused(asked, message):
    with pytest.raises(UpsetError, match=message):
        departure(record(CALM), record(CALM), asked, CAUSE)


def test_a_course_is_three_runs_from_one_point():
    model = load_model(PIT)
    before = model.arena.save()
    found = course(model, "duty-pump-trip", at=2.0 * 3600.0)
    assert model.arena.save() == before
    assert set(found.runs) == {"calm", "missed", "responded"}
    records = [run.record for run in found.runs.values()]
    assert all(np.array_equal(one.time, records[0].time) for one in records)
    lead = records[0].time <= 7200.0
    assert lead.sum() == 61
    for name, one in records[0].series.items():
        assert np.array_equal(one.values[lead], records[1].series[name].values[lead]), name
    assert found.departures[0].symptom.of == "P-102.running"


def test_upsets_that_are_not_there_or_do_not_fit_are_refused():
    model = load_model(PIT)
    with pytest.raises(UpsetError, match="did you mean 'duty-pump-trip'"):
        staged(model, "duty-pump-tripp")
    with pytest.raises(UpsetError, match="allowed"):
        staged(model, "series-pair-trip")
