"""The cause-and-effect matrix: what fails, and that what is listed is what the plant and its logic do.

Expected reactions are read from the logic itself (delays of its programs, its wiring), not from an earlier matrix.
"""

import time
from pathlib import Path

import pytest

from plantsim.analysis.failures import failures_of
from plantsim.analysis.matrix import ACTED, ALARMED, FOLLOWED, NO_TRACE, NOTHING, sweep
from plantsim.plant.build import load_model

PLANT = Path(__file__).parents[2] / "configs/gravel-pit.yaml"
AT, LASTS = 2.0 * 3600.0, 3.2 * 3600.0
"""From 07:30, over the pause from 10:00 to 10:30."""


@pytest.fixture(scope="module")
def matrix():
    only = ["P-101", "P-103", "LT-101", "FT-102", "AT-201", "PT-201", "YS-101", "LT-401", "FV-316", "mains"]
    return sweep(load_model(PLANT), AT, LASTS, only=only)


@pytest.fixture(scope="module")
def rows(matrix):
    return {row.failure.name: row for row in matrix.rows}


def reaction(row, tag):
    return next((one for one in row.reactions if one.tag == tag), None)


def test_every_instrument_switch_actuator_drive_supply_and_bus_fails_each_way():
    model = load_model(PLANT)
    found = failures_of(model)
    names = [one.name for one in found]
    assert len(set(names)) == len(names)
    by_tag = {}
    for one in found:
        by_tag.setdefault(one.of, []).append(one.mode)
    for tag in model.tags.values():
        if tag.role == "instrument":
            assert by_tag[tag.name] == ["lost", "stuck", "high", "low"]
        elif tag.role == "switch":
            assert by_tag[tag.name] == ["open", "stuck", "made"]
        elif tag.role == "actuator":
            assert by_tag[tag.name][0] == "stuck"
    motors = [name.removesuffix("-motor") for name, (kind, _) in model.units.items() if kind == "motor"]
    assert len(motors) == 7
    assert all(by_tag[name] == ["trips", "no start", "no stop"] for name in motors)
    assert by_tag["well"] == ["gone"]
    assert by_tag["mains"] == ["dead"]
    for one in found:
        for array, index, field, _ in one.puts:
            assert field in (model.arena.arrays[array].dtype.names or ())
            assert 0 <= index < len(model.arena.arrays[array])


def test_the_standby_starts_within_its_fail_time(rows):
    # the program waits fail_time, 8 s, for the running signal, scans each 2 s and starts the next at once
    row = rows["P-101 trips"]
    assert row.grade == ACTED
    started = [one for one in row.reactions if one.tag in ("YC-102", "YC-103") and one.change == "on" and one.answers]
    assert started
    assert min(one.after for one in started) <= 10.0
    assert reaction(row, "YC-101").change == "off"


def test_a_pump_that_stands_is_told_by_its_alarm_alone(rows):
    # the third pump is not asked for in these hours
    assert rows["P-103 trips"].grade == ALARMED
    assert rows["P-103 trips"].alarms[0] == ("YA-103", 0.0)
    assert rows["P-103 trips"].effects == ()


def test_a_high_level_takes_the_permit_and_starts_another_pump(rows):
    row = rows["LT-101 high"]
    # interlocks are scanned each second, the level program each 2 s
    assert reaction(row, "XC-131").after <= 3.0
    assert reaction(row, "XC-100").after <= 4.0
    assert reaction(row, "XC-100").answers
    assert any("wash-plant stands" in words for words in row.effects)


def test_a_lost_flow_stops_both_chemicals(rows):
    # dosing programs are scanned each 5 s
    row = rows["FT-102 lost"]
    for tag in ("YC-111", "YC-201"):
        assert (reaction(row, tag).change, reaction(row, tag).answers) == ("off", True)
        assert reaction(row, tag).after <= 6.0


def test_a_lost_level_stops_the_pumps_and_the_sump_spills(rows):
    # reads below low-low: the pumps stop at once; nothing takes the permit of the wash plant. A finding, not a wish
    row = rows["LT-101 lost"]
    assert reaction(row, "XC-131") is None
    assert any(words.startswith("sump spills") for words in row.effects)
    assert not row.uncaught


def test_an_instrument_no_program_reads_is_caught_by_nothing(rows):
    # the bed's pressure is used by another underflow program than the one at work
    assert rows["PT-201 high"].grade == NOTHING
    assert rows["PT-201 high"].uncaught
    assert rows["PT-201 high"].reactions == ()


def test_a_low_turbidity_is_followed_by_the_trim_and_told_by_nothing(rows):
    row = rows["AT-201 low"]
    assert row.grade == FOLLOWED
    assert row.first is None
    assert reaction(row, "SC-111") is not None


def test_what_never_comes_to_the_test_is_said_so(rows):
    # cell 6 is not filled in these hours: its valve is never asked to move
    assert rows["FV-316 stuck"].grade == NO_TRACE
    assert not rows["FV-316 stuck"].uncaught


def test_low_water_holds_the_wash_plant(rows):
    row = rows["LT-401 low"]
    assert reaction(row, "XC-133").after <= 12.0  # scanned each 10 s, sampled each 2 s
    assert reaction(row, "FV-401").change == "on"
    assert reaction(row, "FV-401").role == "valve"


def test_failures_share_one_moment_and_leave_the_plant_as_it_was(matrix):
    model = load_model(PLANT)
    before = model.arena.save()
    again = sweep(model, AT, LASTS, only=["LT-401", "P-103"], workers=1)
    assert model.arena.save() == before
    assert again.rows == [row for row in matrix.rows if row.failure.of in ("LT-401", "P-103")]
    assert again.at == AT


def test_counts_add_up(matrix):
    assert matrix.count(ACTED, ALARMED, FOLLOWED, NOTHING, NO_TRACE) == len(matrix.rows)
    assert {role for _, role in matrix.outputs} <= {"drive", "permit", "flag", "actuator"}
    assert ("HS-202", "flag") in matrix.outputs
    assert ("XC-100", "permit") in matrix.outputs


@pytest.mark.slow
def test_the_whole_plant_is_swept_in_less_than_three_minutes():
    began = time.monotonic()
    whole = sweep(load_model(PLANT))
    assert time.monotonic() - began < 180.0
    assert len(whole.rows) == len(failures_of(whole.model)) > 140
    assert whole.count(NO_TRACE) < len(whole.rows) / 4
