"""Thinning, time marks, words and the choice of panels."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest
from invented_runs import START, gravel

from plantsim.report import style
from plantsim.report.clock import ticks
from plantsim.report.events import MOST_KINDS, MOST_ROWS, group_events
from plantsim.report.panels import MOST_LINES, PANELS, choose_panels, kinds_of
from plantsim.report.thinning import thin, thin_columns
from plantsim.report.words import factor, mark_words, number_words, wrapped
from plantsim.store.data import Limit, Series


@pytest.mark.parametrize("rows", [701, 8640, 100_003])
@pytest.mark.parametrize("where", [0, 1, 5000, -1])
def test_a_spike_of_one_row_survives_thinning(rows: int, where: int) -> None:
    """Both ways, wherever it stands."""
    values = np.sin(np.arange(rows) / 50.0)
    where = where % rows
    for spike in (40.0, -40.0):
        spiked = values.copy()
        spiked[where] = spike
        short = thin(np.arange(rows) * 10.0, spiked, 700)
        assert len(short.time) <= 700
        assert (short.high.max() if spike > 0 else short.low.min()) == spike
        at = int(np.argmax(np.abs(short.high + short.low)))
        assert abs(short.time[at] - where * 10.0) <= 10.0 * (rows / 700 + 1)


def test_thinning_keeps_the_mean_and_the_gaps() -> None:
    """The mean of equal spans is the mean of the rows; a span without any value stays empty, not zero."""
    values = np.random.default_rng(5).normal(size=7000)
    short = thin(np.arange(7000.0), values, 700)
    assert short.mean.mean() == pytest.approx(values.mean(), abs=1e-14)
    assert (short.low <= short.mean).all() and (short.mean <= short.high).all()
    values[100:400] = np.nan
    short = thin(np.arange(7000.0), values, 700)
    assert np.isnan(short.mean).sum() == np.isnan(short.high).sum() == 30
    assert np.isnan(thin(np.arange(3000.0), np.full(3000, np.nan), 700).high).all()


def test_few_rows_are_drawn_as_they_are() -> None:
    """No band where nothing was thinned."""
    short = thin(np.arange(5.0), np.arange(5.0), 700)
    assert short.mean.tolist() == [0, 1, 2, 3, 4] and not short.banded


def test_profiles_are_averaged_over_even_spans() -> None:
    """Each column on its own; edges cover the whole run."""
    table = np.column_stack([np.arange(1000.0), np.full(1000, 7.0)])
    edges, means = thin_columns(np.arange(1000) * 60.0, table, 100)
    assert len(edges) == 101 and edges[0] == 0.0 and edges[-1] == 60_000.0
    assert means[:, 1].tolist() == [7.0] * 100
    assert means[:, 0].tolist() == [10.0 * k + 4.5 for k in range(100)]


def test_hours_up_to_three_days_and_calendar_days_beyond() -> None:
    """5 April 2027 is a Monday (ISO 8601 calendar, by the standard library)."""
    assert START.isoweekday() == 1
    day = ticks(START, 86400.0)
    assert day.words[0] == "06:00\nMon 5 Apr" and day.at[0] == 3600.0
    assert "00:00\nTue 6 Apr" in day.words and "hours" in day.axis
    assert "hours" in ticks(START, 3 * 86400.0).axis
    week = ticks(START, 7 * 86400.0)
    assert week.words[0] == "Tue 6 Apr" and week.at[0] == 19 * 3600.0 and len(week.at) == 7
    assert "days" in week.axis


@pytest.mark.parametrize("seconds", [60.0, 600.0, 5000.0, 86400.0, 3 * 86400.0, 8 * 86400.0, 30 * 86400.0,
                                     120 * 86400.0, 400 * 86400.0, 3000 * 86400.0])  # fmt: skip
@pytest.mark.parametrize("start", [START, dt.datetime(2027, 12, 31, 23, 59, 30), dt.datetime(2028, 2, 1)])
def test_every_length_has_a_few_marks_that_name_their_time(seconds: float, start: dt.datetime) -> None:
    """Rising, inside the run, no more than fit; a mark says the calendar time it stands at."""
    marks = ticks(start, seconds)
    assert 1 <= len(marks.at) <= 11
    assert list(marks.at) == sorted(set(marks.at))
    assert marks.at[0] >= 0 and marks.at[-1] <= seconds + 1e-6
    for at, words in zip(marks.at, marks.words):
        moment = start + dt.timedelta(seconds=at)
        if ":" in words:
            assert words.startswith(moment.strftime("%H:%M"))
        else:
            assert moment.hour == moment.minute == 0
            assert str(moment.day if seconds < 300 * 86400 else moment.year) in words


def test_numbers_are_rounded_right_and_units_convert() -> None:
    """Conversion factors: a metre is 1/0.3048 ft; 32 degF is 0 degC (NIST SP 811, appendix B.8)."""
    assert number_words(999.96) == "1\u202f000" and number_words(-0.04567) == "-0.04567"
    assert number_words(1234567.0) == "1\u202f235\u202f000"
    scale = factor("m", "ft")
    assert scale is not None and scale[0] == pytest.approx(1 / 0.3048, rel=1e-15)
    celsius = factor("degF", "degC")
    assert celsius is not None and 32.0 * celsius[0] + celsius[1] == pytest.approx(0.0, abs=1e-12)
    assert factor("1", "%") == (100.0, 0.0) and factor("m", "m3/h") is None


def test_words_beside_a_panel_are_wrapped_and_cut() -> None:
    """Never more than three lines, never a word outside."""
    text = wrapped("x" * 200, 25)
    assert text.count("\n") == 2 and text.endswith("...") and max(map(len, text.split("\n"))) <= 26
    assert wrapped("", 25) == ""
    assert max(len(mark_words(v)) for v in (-99999.0, -1.234e-12, 1e300, -0.0012345)) <= 9


def test_kinds_are_told_by_quantities_and_not_by_names() -> None:
    """Whatever people call their units."""
    names = ["lump.bed_level", "lump.level", "z.velocity", "z.flow", "q.level", "q.inflow", "k.dose", "k.speed",
             "k.running", "c.mud_height", "c.height", "w.washed", "w.flow", "w.running", "p.head", "p.speed",
             "rake.speed", "s.flow", "weather.air"]  # fmt: skip
    assert kinds_of(dict.fromkeys(names)) == {
        "lump": "clarifier", "z": "line", "q": "vessel", "k": "doser", "c": "cell", "w": "source", "p": "pump",
    }  # fmt: skip


def test_panels_of_the_gravel_site() -> None:
    """Each quantity in its panel, in its unit, on its side; nothing twice."""
    panels = {panel.key: panel for panel in choose_panels(gravel())}
    assert list(panels) == [spec.key for spec in PANELS]
    shown = {key: [(line.channel, line.right) for line in panel.lines] for key, panel in panels.items()}
    assert shown["flows"] == [("wash-plant.flow", False), ("sump-line.flow", False)]
    assert shown["sump"] == [("sump.level", False)]
    assert [name for name, _ in shown["pumps"]] == ["P-101.speed", "P-102.speed", "P-103.speed"]
    assert shown["turbidity"] == [("clarifier.turbidity", False), ("AT-301", False)]
    assert shown["dose"] == [("coagulant-skid.dose", False), ("polymer-skid.dose", True)]
    assert shown["bed"] == [("clarifier.bed_level", False), ("clarifier.torque", True)]
    assert shown["underflow"] == [("clarifier.underflow_fraction", False), ("clarifier.underflow", True)]
    assert shown["clean"] == [("clean-tank.level", False)]
    assert len(shown["mud"]) == 6
    assert panels["underflow"].units == ["%", "m3/h"]
    assert [(x.value, x.kind) for x in panels["sump"].limits] == [(3.2, "limit"), (2.0, "setpoint")]
    assert [(x.value, x.right) for x in panels["bed"].limits] == [(80.0, True), (2.6, False)]
    assert panels["mud"].title == "Height in the mud cells"
    everything = [line.channel for panel in panels.values() for line in panel.lines]
    assert len(everything) == len(set(everything))


def test_only_what_a_plant_has_is_drawn() -> None:
    """A plant without clarifier, dosing or cells has no such panels; without anything, none."""
    run = gravel()
    few = {name: one for name, one in run.series.items() if name.split(".")[0] in ("sump", "sump-line")}
    assert [panel.key for panel in choose_panels(replace(run, series=few))] == ["flows", "sump"]
    assert choose_panels(replace(run, series={})) == []


def test_a_limit_on_an_instrument_is_drawn_where_it_measures_in_the_unit_of_the_axis() -> None:
    """Set points are often written for the tag."""
    run = gravel()
    reading = Series(run.series["sump.level"].values / 0.3048, "ft", "sump.level")
    limits = [Limit("LT-102", 10.0, "pump start", "setpoint"), Limit("nothing.here", 1.0, "x", "limit")]
    run = replace(run, series={**run.series, "LT-102": reading}, limits=limits)
    panel = next(panel for panel in choose_panels(run) if panel.key == "sump")
    assert [line.channel for line in panel.lines] == ["sump.level", "LT-102"]
    assert panel.lines[1].values == pytest.approx(panel.lines[0].values, rel=1e-12)
    assert [x.value for x in panel.limits] == [pytest.approx(3.048, rel=1e-12)]


def test_many_units_are_counted_and_not_crammed() -> None:
    """Twenty pumps: the first seven are lines, the rest is a number."""
    run = gravel()
    pumps = {f"P-{k}.{q}": Series(np.full(len(run.time), k), "%", q) for k in range(20) for q in ("head", "speed")}
    panel = choose_panels(replace(run, series=pumps))[0]
    assert (len(panel.lines), panel.left_out) == (MOST_LINES, 20 - MOST_LINES)
    names = [f"c{k}.{q}" for k in range(9) for q in ("bed_level", "torque")]
    clarifiers = {name: Series(np.full(len(run.time), 1.0), "m", "") for name in names}
    panel = choose_panels(replace(run, series=clarifiers))[0]
    assert len(panel.lines) == MOST_LINES and {line.right for line in panel.lines} == {True, False}


def test_lines_differ_by_colour_and_by_style() -> None:
    """So that neither colour vision nor a colour printer is needed."""
    assert len({colour for colour, _ in style.LINES}) == len({dash for _, dash in style.LINES}) == MOST_LINES


def test_alike_events_are_one_row_and_many_are_capped() -> None:
    """Every entry is counted once: shown, hidden in its kind, or in a kind left out."""
    journal = [(float(k), "drive", f"P-101 started at {k} m") for k in range(5000)]
    journal += [(float(k), "drive", f"P-{k} tripped") for k in range(100)]
    journal += [(1.0, f"kind {k}", "once") for k in range(50)]
    groups, left_out = group_events(journal)
    assert groups[0].rows[0].count == 5000 and groups[0].rows[0].words == "P-101 started at 0 m"
    assert (groups[0].rows[0].first, groups[0].rows[0].last) == (0.0, 4999.0)
    assert len(groups) == MOST_KINDS and all(len(group.rows) <= MOST_ROWS for group in groups)
    shown = sum(row.count for group in groups for row in group.rows)
    assert shown + sum(group.hidden for group in groups) + left_out == len(journal)
