"""Measured input: times, units, gaps, and what cannot be read, row by row."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plantsim.plant.series import MOST_FINDINGS, read_series


class Place:
    """Stands for the place in a configuration that names the file: it keeps the findings."""

    def __init__(self):
        self.found = []

    def finding(self, key, message):
        assert key == "series"
        self.found.append(message)


def read(tmp_path, text):
    """The table of a text, which must be good."""
    path = tmp_path / "feed.csv"
    path.write_text(text, encoding="utf-8")
    place = Place()
    table = read_series(path, place, "series")
    assert place.found == []
    return table


def refused(tmp_path, text):
    """The findings of a text, which must be bad."""
    path = tmp_path / "feed.csv"
    if isinstance(text, bytes):
        path.write_bytes(text)
    else:
        path.write_text(text, encoding="utf-8")
    place = Place()
    assert read_series(path, place, "series") is None
    return place.found


def test_units_are_turned_to_si(tmp_path):
    """360 m3/h are 0.1 m3/s and 5,700 mg/L are 5.7 kg/m3; times count from the first row."""
    table = read(tmp_path, "time [min],flow [m3/h],solids [mg/L]\n10,360,5700\n12.5,180,0\n")
    assert table == pytest.approx(np.array([[0.0, 0.1, 5.7], [150.0, 0.05, 0.0]]))


def test_us_units(tmp_path):
    """A US gallon is 3.785411784 L, a pound in a cubic foot 16.01846 kg/m3: NIST SP 811, appendix B.8."""
    table = read(tmp_path, "time [h],flow [gpm],solids [lb/ft3]\n0,1540,1\n1,1540,2\n")
    assert table[0, 1] == pytest.approx(1540 * 3.785411784e-3 / 60.0, rel=1e-12)
    assert table[1, 2] == pytest.approx(2 * 16.01846, rel=1e-6)


def test_columns_in_any_order_among_others_and_blank_rows(tmp_path):
    table = read(tmp_path, "\ufeffsolids [g/L], note ,Flow [L/s], TIME [s]\n30,dry day,20,0\n\n"
                           " , , ,\n40,wet day,25,60\n")  # fmt: skip
    assert table == pytest.approx(np.array([[0.0, 0.02, 30.0], [60.0, 0.025, 40.0]]))


def test_gaps_are_bridged_by_a_straight_line(tmp_path):
    """Between 100 and 200 at a third of the way stands 133.3; before the first and behind the last the value holds."""
    table = read(tmp_path, "time [min],flow [L/s],solids [g/L]\n0,100,\n10,,30\n20,NaN,\n30,200,60\n40,,\n")
    assert table[:, 1] * 1000.0 == pytest.approx([100.0, 400 / 3, 500 / 3, 200.0, 200.0])
    assert table[:, 2] == pytest.approx([30.0, 30.0, 45.0, 60.0, 60.0])


def test_a_row_that_ends_early_is_a_gap(tmp_path):
    assert read(tmp_path, "time [s],flow [L/s],solids [g/L]\n0,10,1\n5\n10,20,3\n")[1].tolist() == [5.0, 0.015, 2.0]


def test_dates_without_an_offset_are_local_time(tmp_path):
    table = read(tmp_path, "time,flow [L/s],solids [g/L]\n2027-04-05 06:00,1,1\n2027-04-05T07:30:30,1,1\n"
                           "2027-04-06,1,1\n")  # fmt: skip
    assert table[:, 0].tolist() == [0.0, 5430.0, 18 * 3600.0]


def test_dates_with_an_offset_keep_the_hours_of_the_change_to_summer_time(tmp_path):
    """On 27 March 2022 clocks in the EU went from 02:00 (+01:00) to 03:00 (+02:00): one hour passed, not two."""
    table = read(tmp_path, "time,flow [L/s],solids [g/L]\n2022-03-27T01:00:00+01:00,1,1\n"
                           "2022-03-27T03:00:00+02:00,1,1\n2022-03-27T04:00:00+02:00,1,1\n"
                           "2022-03-27T03:00:00Z,1,1\n")  # fmt: skip
    assert table[:, 0].tolist() == [0.0, 3600.0, 7200.0, 10800.0]


@pytest.mark.parametrize(("rows", "expected"), [
    ("5,1,1\n5,1,1\n", ["feed.csv:3: found a time not later than the row before; allowed: times that rise"]),
    ("0,1,1\nlater,1,1\n,1,1\n",
     ["feed.csv:3: found time 'later'; allowed: a number", "feed.csv:4: found time ''; allowed: a number"]),
    ("0,1,1\nnan,1,1\ninf,1,1\n3,1,1\n",
     ["feed.csv:3: found time 'nan'; allowed: a number", "feed.csv:4: found time 'inf'; allowed: a number"]),
    ("0,1,1\n1,inf,1\n2,1,-0.5\n3,1 m3/h,1\n",
     ["feed.csv:3: found flow 'inf'; allowed: a finite number, at least 0",
      "feed.csv:4: found solids '-0.5'; allowed: a finite number, at least 0",
      "feed.csv:5: found flow '1 m3/h'; allowed: a number, or nothing for a gap"]),
    ("0,,1\n1,,1\n2,,1\n", ["found no row with flow in feed.csv; allowed: at least two"]),
    ("0,1,1\n1,1,\n2,1,\n", ["found one row with solids in feed.csv; allowed: at least two"]),
    ("", ["found nothing under the header of feed.csv; allowed: at least two rows"]),
    ("0,1,1\n\n\n", ["found one row under the header of feed.csv; allowed: at least two rows"]),
])  # fmt: skip
def test_rows_that_cannot_be_read(tmp_path, rows, expected):
    assert refused(tmp_path, f"time [min],flow [m3/h],solids [g/L]\n{rows}") == expected


@pytest.mark.parametrize(("header", "expected"), [
    ("time [min],flow,solids", [
        "feed.csv:1: found 'flow' without a unit; allowed: a unit in brackets, such as 'flow [m3/h]'",
        "feed.csv:1: found 'solids' without a unit; allowed: a unit in brackets, such as 'solids [g/L]'"]),
    ("time [min],flow [m3],solids [%]", [
        "feed.csv:1: column flow: found 'm3'; allowed: a unit of a flow: m3/h, L/s, m3/s, gpm, L/h, cfs (did "
        "you mean 'm3/s'?)",
        "feed.csv:1: column solids: found '%'; allowed: a unit of a concentration: g/L, mg/L, kg/m3, g/m3, lb/ft3, "
        "lb/gal"]),
    ("time [min],flow [m3/h],flow [L/s]", [
        "feed.csv:1: found a second column 'flow'; allowed: each once"]),
    ("tim [min],flow [m3/h],solids [g/L]", [
        "feed.csv:1: found no column 'time'; allowed: time, flow and solids, each with its unit (did you mean "
        "'tim'?)"]),
])  # fmt: skip
def test_headers_that_cannot_be_read(tmp_path, header, expected):
    assert refused(tmp_path, f"{header}\n0,1,1\n1,1,1\n") == expected


def test_many_bad_rows_are_counted(tmp_path):
    rows = "".join(f"{i},x,1\n" for i in range(MOST_FINDINGS + 7))
    found = refused(tmp_path, f"time [min],flow [m3/h],solids [g/L]\n{rows}")
    assert len(found) == MOST_FINDINGS + 1
    assert found[-1] == "found 7 further rows of feed.csv that cannot be read"


def test_what_is_no_text(tmp_path):
    assert refused(tmp_path, b"\xff\xfe\x00") == [
        "found 'feed.csv', but it is not readable text; allowed: a CSV file of time, flow and solids, its path as seen "
        "from the plant file"
    ]


@settings(max_examples=50, deadline=None)
@given(st.lists(st.tuples(st.integers(1, 10**6), st.floats(0, 1e4), st.floats(0, 500)), min_size=2, max_size=30))
def test_what_is_written_is_read(tmp_path_factory, steps):
    """Any rising times and amounts come back as they were, whichever way the time is written."""
    seconds = np.cumsum([s for s, _, _ in steps])
    start = dt.datetime(2027, 1, 1, tzinfo=dt.UTC)
    as_number = "".join(f"{t},{q!r},{c!r}\n" for t, (_, q, c) in zip(seconds, steps, strict=True))
    as_date = "".join(f"{(start + dt.timedelta(seconds=int(t))).isoformat()},{q!r},{c!r}\n"
                      for t, (_, q, c) in zip(seconds, steps, strict=True))  # fmt: skip
    folder = Path(tmp_path_factory.mktemp("series"))
    for head, rows in (("time [s]", as_number), ("time", as_date)):
        table = read(folder, f"{head},flow [m3/s],solids [kg/m3]\n{rows}")
        assert table[:, 0].tolist() == (seconds - seconds[0]).tolist()
        assert table[:, 1:].tolist() == [[q, c] for _, q, c in steps]
