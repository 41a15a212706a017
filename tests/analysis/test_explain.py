"""Reading an upset: departures, alarms and actions in a record written by hand, every moment known beforehand."""

from dataclasses import dataclass

import numpy as np
import pytest

from plantsim import records
from plantsim.analysis.checks import Record
from plantsim.analysis.explain import ExplainError, band, explain
from plantsim.sim.alarms import AlarmNote

NAMES = records.ALARM_STATES


@dataclass
class Shown:
    values: np.ndarray
    unit: str = "1"
    meaning: str = ""


def made(journal=None):
    """Two hours of rows each 10 s; the cause at 3600 s."""
    t = np.arange(721) * 10.0
    level = 1.0 + 0.1 * np.sin(t / 100.0) + np.where(t > 3900.0, 0.001 * (t - 3900.0), 0.0)
    flow = np.where(t >= 3620.0, 0.0, 300.0 + 10.0 * np.sin(t / 70.0))
    blip = np.where((t >= 4000.0) & (t < 4030.0), 50.0, 20.0)
    record = Record(t, {
        "sump.level": Shown(level, "m"),
        "sump.active": Shown(24.0 * level, "m3"),
        "line.flow": Shown(flow, "m3/h"),
        "line.velocity": Shown(flow / 177.0, "m/s"),
        "clarifier.turbidity": Shown(blip, "NTU"),
        "sump.spilled": Shown(np.maximum(t - 5000.0, 0.0) / 100.0, "m3"),
        "line.pumped": Shown(t / 10.0, "m3"),
        "cell.height": Shown(1.0 - t / 20000.0, "m"),
        "cell.mud_height": Shown(0.5 + np.minimum(t, 4500.0) / 20000.0, "m"),
        "weather.air": Shown(np.where(t > 3700.0, 40.0, 10.0), "degC"),
        "YC-1": Shown((t < 3630.0).astype(float), "1", "asks P-1 to run"),
        "YC-2": Shown((t // 600 % 2).astype(float), "1", "asks P-2 to run"),
        "XC-1": Shown((t < 4200.0).astype(float), "1", "the wash plant may run"),
        "SC-1": Shown(np.where(t < 3650.0, 60.0 + np.sin(t / 50.0), 90.0), "%", "command in per cent of travel"),
        "FV-1": Shown(np.where(t < 3700.0, 0.0, 100.0), "%", "command in per cent of travel"),
        "YS-1": Shown((t < 3620.0).astype(float), "1", "P-1.running above 0.5"),
        "LT-1": Shown(level, "m", "sump.level"),
    }, journal if journal is not None else [
        (10.0, "shift", "wash-plant starts by its calendar"), (3600.0, "act", "the pump trips"),
        (3600.0, "act", "and its standby too"), (5400.0, "operator", "standby made ready")])  # fmt: skip
    record.alarm_log = [
        AlarmNote(0, 300, 3000.0, "LAL", NAMES[0], NAMES[records.ALARM_UNACKED], True, 0.0),
        AlarmNote(1, 368, 3680.0, "FAL", NAMES[0], NAMES[records.ALARM_UNACKED], True, 0.0),
        AlarmNote(2, 410, 4100.0, "LAH", NAMES[0], NAMES[records.ALARM_UNACKED], True, 1.2),
        AlarmNote(3, 420, 4200.0, "LAH", NAMES[records.ALARM_UNACKED], NAMES[records.ALARM_ACKED], False, 1.3),
        AlarmNote(4, 500, 5000.0, "LAH", NAMES[records.ALARM_ACKED], NAMES[records.ALARM_NORMAL], False, 1.1),
    ]
    return record


def test_symptoms_come_in_the_order_in_which_they_left_their_bands():
    found = explain(made())
    assert found.cause == "the pump trips; and its standby too"
    assert [one.name for one in found.symptoms] == ["line.flow", "sump.level", "cell.mud_height", "sump.spilled"]
    flow, level, _, spilled = found.symptoms
    assert (flow.after, flow.up, flow.also) == (20.0, False, ("velocity",))
    assert level.also == ("active",)
    assert level.up
    assert spilled.after == pytest.approx(5010.0 - 3600.0)


def test_the_band_is_what_it_did_before_a_little_wider():
    # 290 to 310 m3/h before; wider by 15 % of its width, or by 2 % of its greatest value where that is more
    low, high = band(np.array([290.0, 310.0]))
    assert (low, high) == (pytest.approx(290.0 - 6.2), pytest.approx(310.0 + 6.2))
    level = explain(made()).symptoms[1]
    # 0.9 to 1.1 m before: the band ends at 1.1 + 0.15 * 0.2 m, which the rising swing first passes for a minute when
    # its crest does; the crest of 1.1 m + 0.001 m/s after 3900 s is above 1.13 m only from 30 s on
    assert level.high == pytest.approx(1.13, abs=0.001)
    assert level.after > 330.0


def test_what_goes_on_along_its_line_is_no_symptom_and_what_leaves_the_line_is():
    found = {one.name: one for one in explain(made()).symptoms}
    assert "cell.height" not in found
    # filled at 1/20000 m/s until 4500 s, then stands: the band's half-width is 15 % of the rise in the hour before,
    # 0.027 m, which the line leaves behind 540 s later. The first 20 min of the shift give no band: 2400 s, 0.018 m
    cell = found["cell.mud_height"]
    assert not cell.up
    assert 4500.0 - 3600.0 < cell.after <= 4500.0 - 3600.0 + 560.0


def test_a_blip_and_a_counter_and_the_weather_are_no_symptoms():
    names = [one.name for one in explain(made()).symptoms]
    assert "clarifier.turbidity" not in names
    assert "line.pumped" not in names
    assert "weather.air" not in names


def test_alarms_after_the_cause_and_when_they_were_gone():
    found = explain(made()).alarms
    assert [(one.alarm, one.after) for one in found] == [("FAL", 80.0), ("LAH", 500.0)]
    assert found[0].until == np.inf
    assert found[1].until == 1400.0


def test_actions_of_the_logic_in_time_and_what_was_usual():
    found = {one.tag: one for one in explain(made()).actions}
    assert set(found) == {"YC-1", "SC-1", "FV-1", "XC-1", "YC-2"}
    assert (found["YC-1"].after, found["YC-1"].words, found["YC-1"].usual) == (30.0, "goes off", False)
    assert (found["SC-1"].role, found["SC-1"].after, found["SC-1"].words) == ("actuator", 50.0, "rises to 90 %")
    assert (found["FV-1"].role, found["FV-1"].words) == ("valve", "opens")
    assert (found["XC-1"].role, found["XC-1"].after) == ("permit", 600.0)
    assert found["YC-2"].usual


def test_what_the_operator_did():
    assert explain(made()).answers == [(1800.0, "standby made ready")]


def test_the_calendar_bounds_what_is_looked_at():
    journal = [(1000.0, "shift", "starts"), (3600.0, "failure", "P-1 fails"), (4500.0, "shift", "stops")]
    found = explain(made(journal))
    assert found.after == 900.0
    assert "shift" in found.ends
    # the shift began 2600 s before the cause: its first 20 min are no measure
    assert found.before == 1400.0
    assert [one.name for one in found.symptoms] == ["line.flow", "sump.level"]


def test_another_cause_can_be_named():
    found = explain(made(), at=5400.0)
    assert found.cause == "standby made ready"
    assert found.at == 5400.0


@pytest.mark.parametrize(("journal", "at", "words"), [([], None, "no act, failure or loss of power"),
                                                      (None, 9e9, "within the record"),
                                                      (None, 0.0, "within the record"),
                                                      (None, 15.0, "rows before the cause")])  # fmt: skip
def test_runs_with_nothing_to_explain_say_so(journal, at, words):
    with pytest.raises(ExplainError, match=words):
        explain(made(journal), at)
