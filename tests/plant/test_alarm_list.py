"""The alarms section of a plant file: what each key becomes, what is refused, and the list that is made of it.

Usual deadbands and delays by kind of signal are those of guidance on ISA-18.2 and EEMUA 191 (from memory).
"""

from __future__ import annotations

import csv
import io
import math
import tempfile
from pathlib import Path

import pytest

from plantsim.analysis.alarm_list import HEAD, list_csv, listed, priority_words
from plantsim.errors import ConfigError
from plantsim.plant.build import load_model
from plantsim.plant.model import Model

CONFIGS = Path(__file__).resolve().parents[2] / "configs"
PLANT = """\
site: {name: Alarm pit (invented), start: 2027-04-05 00:00, step: 0.5 s}
units:
  well: {kind: supply, to: tank, flow: 1 m3/h}
  tank: {kind: vessel, shape: {form: cylinder, diameter: 8 m, depth: 4 m}, start_level: 1 m}
instruments:
  LT-101: {measures: tank.level, unit: m, high: 4}
  FT-101: {measures: tank.inflow, unit: m3/h, high: 200}
  PT-101: {measures: tank.level, unit: m, high: 4}
  TT-101: {measures: tank.temperature, unit: degC, low: -10, high: 40}
  AT-101: {measures: tank.turbidity, unit: NTU, high: 1000}
flags:
  HS-101: {start: 0}
control:
  guard: {file: guard.st}
alarms:
"""
GUARD = """
PROGRAM guard
VAR_OUTPUT flow : REAL; {unit 'm3/h'} wait : TIME; n : INT; trip : BOOL; END_VAR
trip := FALSE;
END_PROGRAM
"""
REASONS = "    priority: low\n    consequence: c\n    action: a\n    respond_within: 1 h\n"


def load(text: str) -> Model:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "pit.yaml"
        path.write_text(PLANT + text)
        (Path(folder) / "guard.st").write_text(GUARD)
        return load_model(path)


def one(name: str, *lines: str, reasons: str = REASONS) -> str:
    return f"  {name}:\n" + "".join(f"    {line}\n" for line in lines) + reasons


def record(text: str) -> dict:
    model = load(text)
    p = model.arena.alarm_p
    return {name: p[name][0].item() for name in p.dtype.names}


def complaint(text: str) -> list[str]:
    with pytest.raises(ConfigError) as error:
        load(text)
    return [line.split(": ", 1)[1] for line in error.value.findings]


# ------------------------------------------------------------------------------------ what keys become
def test_values_are_read_in_any_unit_and_kept_in_that_of_the_cell():
    r = record(one("LAH-1", "on: LT-101", "above: 250 cm", "deadband: 1 ft", "on_delay: 10 s", "off_delay: 0 s"))
    assert (r["sign"], r["limit"]) == (1.0, 2.5)
    assert r["clear"] == pytest.approx(2.5 - 0.3048, abs=1e-12)  # foot: international yard and pound, 1959
    assert (r["on_delay"], r["off_delay"], r["every"]) == (20, 0, 2)  # in ticks of half a second
    r = record(one("FAL-1", "on: well.flow", "below: 1800 L/h", "deadband: 360 L/h"))
    assert (r["sign"], r["limit"], r["clear"]) == (-1.0, -0.0005, pytest.approx(-0.0006))
    r = record(one("TAH-1", "on: tank.temperature", "above: 86 degF", "deadband: 9 degF"))
    assert (r["limit"], r["clear"]) == (pytest.approx(30.0), pytest.approx(25.0))  # a difference has no offset
    r = record(one("FAH-1", "on: guard.flow", "above: 5 L/s"))
    assert r["limit"] == pytest.approx(18.0)
    r = record(one("KAH-1", "on: guard.wait", "above: 2 min"))
    assert (r["limit"], r["integer"]) == (120000.0, 1)  # programs keep TIME in milliseconds
    r = record(one("QAH-1", "on: guard.n", "above: 3"))
    assert (r["limit"], r["integer"]) == (3.0, 1)


def test_the_value_is_shown_in_the_unit_it_was_written_in():
    (a,) = load(one("LAH-1", "on: tank.level", "above: 250 cm", "deadband: 10 cm")).alarms
    assert (a.condition, a.limit, a.deadband, a.unit) == ("tank.level above 250 cm", 250.0, 10.0, "cm")
    assert 1.5 * a.scale + a.offset == pytest.approx(150.0)
    (a,) = load(one("TAH-1", "on: TT-101", "above: 86 degF")).alarms
    assert 30.0 * a.scale + a.offset == pytest.approx(86.0)


@pytest.mark.parametrize(
    ("tag", "limit", "deadband", "delay"),
    [("LT-101", "3 m", 0.2, 60.0), ("FT-101", "100 m3/h", 10.0, 15.0), ("PT-101", "3 m", 0.08, 15.0),
     ("TT-101", "30 degC", 0.5, 60.0), ("AT-101", "100 NTU", 0.0, 0.0), ("tank.level", "3 m", 0.0, 0.0)],
)  # fmt: skip
def test_usual_deadband_and_delay_by_the_kind_of_signal(tag, limit, deadband, delay):
    (a,) = load(one(f"{tag[0].upper()}AH-1", f"on: {tag}", f"above: {limit}")).alarms
    assert (a.deadband, a.on_delay, a.off_delay) == (pytest.approx(deadband), delay, delay)


def test_the_off_delay_is_the_on_delay_when_it_is_left_out():
    (a,) = load(one("LAH-1", "on: LT-101", "above: 3 m", "on_delay: 20 s")).alarms
    assert (a.on_delay, a.off_delay) == (20.0, 20.0)


def test_groups_are_numbered_in_the_order_of_the_file():
    model = load("".join(one(f"LAH-{k}", "on: LT-101", "above: 3 m", f"group: {g}") for k, g in enumerate("baab")))
    assert model.arena.alarm_p["group"].tolist() == [0, 1, 1, 0]
    assert [a.index for a in model.alarms] == [0, 1, 2, 3]
    assert model.units["LAH-2"] == ("alarm", 2)


# ------------------------------------------------------------------------------------ what is refused
NONSENSE = [
    (one("LAH-1", "on: LT-102", "above: 3 m"),
     "alarms.LAH-1.on: found 'LT-102'; allowed: a tag, unit.quantity or program.variable (did you mean 'LT-101'?)"),
    (one("LAH-1", "on: tank.levels", "above: 3 m"), "(did you mean 'tank.level'?)"),
    (one("LAH-1", "on: guard.tripp", "is: on"), "(did you mean 'guard.trip'?)"),
    (one("LAH-1", "on: tank.content", "above: 3"),
     "alarms.LAH-1.on: found 'tank.content', which is a row of numbers; allowed: a quantity that is one number"),
    (one("LAH-1", "on: LT-101"),
     "alarms.LAH-1: found none of 'above', 'below' and 'is'; allowed: one of them, to say when the alarm comes"),
    (one("LAH-1", "on: LT-101", "above: 3 m", "below: 1 m"), "found 'above' and 'below'; allowed: one of them"),
    (one("LAH-1", "on: LT-101", "above: 3"),
     "alarms.LAH-1.above: found '3' (no unit); allowed: a number in m, mm, cm, km, ft (did you mean '3 m'?)"),
    (one("LAH-1", "on: LT-101", "above: 3 m3/h"), "alarms.LAH-1.above: found '3 m3/h'; allowed: a number in m"),
    (one("LAH-1", "on: LT-101", "above: high"), "alarms.LAH-1.above: found 'high'; allowed: a number in m"),
    (one("QAH-1", "on: guard.n", "above: 3 m"), "alarms.QAH-1.above: found '3 m'; allowed: a number without unit"),
    (one("LAH-1", "on: LT-101", "above: 9 m"),
     "alarms.LAH-1.above: found '9 m', which LT-101 never passes; allowed: a value within the range of LT-101, "
     "0 to 4 m"),
    (one("LAH-1", "on: LT-101", "above: 3 m", "deadband: 5 m"),
     "alarms.LAH-1.deadband: found a deadband after which the alarm returns only at -2 m; allowed: a value within the "
     "range of LT-101, 0 to 4 m"),
    (one("LAH-1", "on: LT-101", "above: 3 m", "deadband: -10 cm"),
     "alarms.LAH-1.deadband: found '-10 cm', which would return the alarm on the wrong side of its limit; allowed: 0 "
     "or more"),
    (one("LAH-1", "on: LT-101", "above: 3 m", "deadband: 1 NTU"), "alarms.LAH-1.deadband: found '1 NTU'; allowed: a"),
    (one("LAH-1", "on: LT-101", "is: on"),
     "alarms.LAH-1.is: found 'on' of LT-101, which is a number in m; allowed: above or below, with a value"),
    (one("YA-1", "on: HS-101", "is: on", "deadband: 1"), "alarms.YA-1.deadband: found a deadband of an alarm that is"),
    (one("LAL-1", "on: LT-101", "above: 3 m"),
     "alarms.LAL-1.above: found 'above' for an alarm called 'LAL-1'; allowed: H in a name for 'above', such as LAH-1"),
    (one("LAHH-1", "on: LT-101", "below: 1 m"), "allowed: L in a name for 'below', such as LALL-1"),
    (one("LT-1", "on: LT-101", "above: 3 m"),
     "alarms.LT-1: found 'LT-1'; allowed: ISA-5.1 letters of an alarm: what is measured, A, then H, HH, L or LL where "
     "it is high or low, such as LAH-101, FAL-102 or YA-101"),
    (one("HS-101", "on: LT-101", "above: 3 m"),
     "alarms.HS-101: found 'HS-101', which stands at flags.HS-101"),
    (one("LAH-1", "on: LT-101", "above: 3 m", "on_delay: 2 h"),
     "alarms.LAH-1.on_delay: found 7200 s; allowed: less than respond_within, 3600 s: the delay is taken from the time "
     "to respond"),
    (one("LAH-1", "on: LT-101", "above: 3 m", "suppressed_while: HS-101"),
     "alarms.LAH-1.suppressed_while: found 'HS-101'; allowed: a tag, unit.quantity or program.variable with 'is on', "
     "'is off', 'above VALUE' or 'below VALUE' (did you mean 'HS-101 is off'?)"),
    (one("LAH-1", "on: LT-101", "above: 3 m", "suppressed_while: HS-102 is on"), "(did you mean 'HS-101'?)"),
    (one("LAH-1", "on: LT-101", "above: 3 m", "suppressed_while: LT-101 is on"),
     "alarms.LAH-1.suppressed_while: found 'LT-101', a number in m; allowed: above or below a value of it"),
    (one("LAH-1", "on: LT-101", "above: 3 m", "suppressed_while: LT-101 below 3 NTU"), "found '3 NTU'; allowed: a"),
    (one("LAH-1", "on: LT-101", "above: 3 m", "suppressed_after: 5 min"),
     "alarms.LAH-1.suppressed_after: found no suppressed_while; allowed: both, or neither"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "sentence"), NONSENSE, ids=[sentence[:60] for _, sentence in NONSENSE])
def test_nonsense_gets_one_clear_sentence(text, sentence):
    (found,) = complaint(text)
    assert sentence in found


@pytest.mark.parametrize("key", ["priority", "consequence", "action", "respond_within"])
def test_no_alarm_without_its_rationalisation(key):
    """The standard wants consequence, action, time to respond and priority of each alarm (ISA-18.2, clause 9)."""
    reasons = "".join(line for line in REASONS.splitlines(True) if key not in line)
    (found,) = complaint(one("LAH-1", "on: LT-101", "above: 3 m", reasons=reasons))
    assert f"alarms.LAH-1.{key}" in found or f"'{key}'" in found


def test_all_findings_come_at_once_with_their_lines():
    with pytest.raises(ConfigError) as error:
        load(one("LAH-1", "on: LT-101", "above: 9 m") + one("LAH-2", "on: LT-109", "above: 3 m"))
    assert [line.split(":")[1] for line in error.value.findings] == ["18", "24"]


def test_failed_signals_can_be_watched():
    """A 4-20 mA transmitter that fails reads 3.6 mA or less (NAMUR NE 43, from memory): below its range."""
    assert record(one("XA-1", "on: LT-101", "below: -0.1 m", "deadband: 2 cm"))["limit"] == 0.1


# ------------------------------------------------------------------------------------ the list
def test_the_list_says_everything_in_words():
    model = load(one("LAH-1", "on: LT-101", "above: 3.1 m", "deadband: 10 cm", "on_delay: 90 s", "off_delay: 0 s",
                     "suppressed_while: HS-101 is on", "suppressed_after: 2 min", "group: g", "latching: yes")
                 + one("YA-2", "on: HS-101", "is: off"))  # fmt: skip
    first, second = (row.cells for row in listed(model.alarms))
    assert first == ("LAH-1", "low", "LT-101 above 3.1 m", "0.1 m", "1 min 30 s", "", "1 h", "c", "a",
                     "HS-101 is on, and 2 min after", "g", "latches")  # fmt: skip
    assert second == ("YA-2", "low", "HS-101 is off", "", "", "", "1 h", "c", "a", "", "", "")
    assert priority_words(model.alarms) == "2 alarms: 2 low"
    rows = list(csv.reader(io.StringIO(list_csv(model.alarms))))
    assert rows == [list(HEAD), list(first), list(second)]


@pytest.mark.parametrize("site", ["gravel-pit", "small-sand", "high-lift"])
def test_the_lists_of_the_demonstration_plants_are_lists_an_operator_can_use(site):
    """ISA-18.2: few of high priority, the most of low; a time to respond that leaves some after the delay."""
    model = load_model(CONFIGS / f"{site}.yaml")
    alarms = model.alarms
    share = {p: sum(a.priority == p for a in alarms) / len(alarms) for p in ("critical", "high", "medium", "low")}
    assert 18 <= len(alarms) <= 40
    assert share["low"] >= 0.6 and share["high"] <= 0.12 and share["critical"] <= 0.05
    for a in alarms:
        assert a.respond_within >= 2.0 * a.on_delay, a.name
        assert len(a.consequence) > 15 and len(a.action) > 15, a.name
        assert math.isfinite(a.scale)
        if a.on in model.tags and model.tags[a.on].role == "instrument":
            assert a.deadband > 0.0 and a.on_delay > 0.0, a.name  # noise makes a bare limit chatter
