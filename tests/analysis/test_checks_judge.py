"""Verdicts on acceptance sentences, against numbers worked by hand and against pandas.

Nothing here is compared with what the judge gave before: every expected number is counted on paper from the series
written in the test, or comes from pandas' own rolling and masking.
"""

import math

import numpy as np
import pandas as pd
import pytest

from plantsim.analysis.checks import FAILED, OK, UNTESTED, Check, NameRefusal, Record, Values, judge, parse
from plantsim.analysis.checks.judge import windowed
from plantsim.analysis.checks.moments import held
from plantsim.analysis.course import Figure


def verdict(text, record):
    return judge([Check("one", parse(text))], record)[0]


def steps(every, *spans):
    """A series of 0 and 1 from (value, rows) pairs, with its times."""
    values = np.concatenate([np.full(n, float(v)) for v, n in spans])
    return np.arange(len(values)) * every, values


@pytest.fixture
def minute():
    """Rows each minute for 10 min; each row stands for the minute that ends at it, the first for none."""
    time = np.arange(11) * 60.0
    return Record(time, {
        "c.turbidity": Values(np.array([90.0, 70, 70, 85, 70, 90, 70, 70, 70, 70, 70]), "NTU"),
        "FT": Values(np.array([0.0, 0, 0, 0, 100, 100, 100, 100, 50, 50, 50]), "m3/h"),
        "YC": Values(np.array([0.0, 0, 0, 0, 1, 1, 1, 1, 1, 1, 0])),
        "LT": Values(np.array([1.0, 1.1, 1.2, 1.3, 1.4, 1.3, 1.2, 1.1, 1.0, 0.9, 0.8]), "m"),
        "sump.spilled": Values(np.array([2.0, 2, 2, 2, 2.5, 2.5, 2.5, 2.5, 2.5, 2.5, 2.5]), "m3"),
    }, running=[(120.0, 540.0)])  # fmt: skip


class TestLimits:
    def test_the_worst_value_its_room_and_its_time(self, minute):
        found = verdict("c.turbidity under 95 NTU", minute)
        assert (found.outcome, found.margin, found.unit, found.when) == (OK, 5.0, "NTU", 0.0)

    def test_a_limit_passed_has_a_negative_margin(self, minute):
        found = verdict("c.turbidity under 80 NTU from 1 min to 4 min", minute)
        assert (found.outcome, found.margin, found.when) == (FAILED, -5.0, 180.0)

    def test_under_leaves_out_the_limit_itself_and_at_most_does_not(self, minute):
        assert verdict("c.turbidity under 90 NTU", minute).outcome == FAILED
        assert verdict("c.turbidity at most 90 NTU", minute).outcome == OK

    def test_another_unit_of_the_same_dimension_is_converted(self, minute):
        # 4.921 ft are 1.5 m by the international foot of 1959, 0.3048 m
        found = verdict("LT under 4.92126 ft", minute)
        assert found.outcome == OK
        assert found.margin == pytest.approx(0.1, abs=1e-6)
        assert found.unit == "m"

    def test_a_range_gives_the_room_to_its_nearer_end(self, minute):
        found = verdict("LT between 0.7 m and 1.45 m", minute)
        assert found.margin == pytest.approx(0.05)
        assert found.when == 240.0

    def test_near_a_value_counts_the_distance(self, minute):
        found = verdict("LT within 0.4 m of 1.1 m", minute)
        assert found.margin == pytest.approx(0.1)

    def test_a_state_broken_gives_its_longest_spell_in_seconds(self, minute):
        # YC is on in rows 4 to 9; FT is under 60 in rows 8, 9 (and 0 to 3, with YC off): two minutes together
        found = verdict("no YC while FT under 60 m3/h", minute)
        assert (found.outcome, found.margin, found.unit, found.when) == (FAILED, -120.0, "s", 480.0)

    def test_a_delay_of_the_condition_forgives_so_long(self, minute):
        # FT falls below 60 in the row at 480 s: for 2 min only from 600 s on, where YC is off again
        assert verdict("no YC while FT under 60 m3/h for 2 min", minute).outcome == OK
        assert verdict("no YC while FT under 60 m3/h for 1 min", minute).outcome == FAILED

    def test_a_condition_that_never_holds_proves_nothing(self, minute):
        found = verdict("no YC while FT over 500 m3/h", minute)
        assert found.outcome == UNTESTED
        assert not found.ok

    def test_a_window_beyond_the_record_proves_nothing_unless_broken_within_it(self, minute):
        assert verdict("LT under 2 m from 0 s to 1 h", minute).outcome == UNTESTED
        assert verdict("LT under 1.35 m from 0 s to 1 h", minute).outcome == FAILED

    def test_numbers_that_are_missing_are_not_judged(self):
        record = Record(np.arange(3.0), {"x": Values(np.array([np.nan, 1.0, np.nan]), "m")})
        assert verdict("x under 2 m", record).outcome == OK
        nothing = Record(np.arange(3.0), {"x": Values(np.full(3, np.nan), "m")})
        assert verdict("x under 2 m", nothing).outcome == UNTESTED


class TestShares:
    def test_share_of_the_time_counts_minutes_not_rows(self, minute):
        # dirty in the minutes that end at 180 s and 300 s; the first row stands for no time: 8 of 10 minutes
        found = verdict("c.turbidity under 80 NTU for 75 % of the time", minute)
        assert (found.outcome, found.margin) == (OK, pytest.approx(5.0))

    def test_share_of_running_time_counts_washing_alone(self, minute):
        # washing from 120 s to 540 s: 7 minutes, 2 of them dirty: 71.43 % clean
        found = verdict("c.turbidity under 80 NTU for 95 % of running time", minute)
        assert found.outcome == FAILED
        assert found.margin == pytest.approx(100.0 * 5 / 7 - 95.0)

    def test_a_share_may_be_bounded_from_above(self, minute):
        found = verdict("c.turbidity over 80 NTU for at most 25 % of the time", minute)
        assert (found.outcome, found.margin) == (OK, pytest.approx(5.0))

    def test_no_washing_proves_nothing(self, minute):
        minute.running = []
        assert verdict("c.turbidity under 80 NTU for 95 % of running time", minute).outcome == UNTESTED

    def test_share_under_a_condition_as_pandas_has_it(self):
        rng = np.random.default_rng(7)
        n = 20_000
        frame = pd.DataFrame({"x": rng.normal(50.0, 20.0, n).round(1), "flow": rng.uniform(0.0, 10.0, n)})
        record = Record(np.arange(n) * 10.0, {"x": Values(frame.x.to_numpy(), "NTU"),
                                              "f": Values(frame.flow.to_numpy(), "m3/h")})  # fmt: skip
        rows = frame.iloc[1:]
        expected = 100.0 * (rows.x[rows.flow > 2.5] < 80.0).mean()
        found = verdict("x under 80 NTU for 90 % of the time while f over 2.5 m3/h", record)
        assert found.margin == pytest.approx(expected - 90.0, abs=1e-9)

    def test_uneven_rows_weigh_by_the_time_they_stand_for(self):
        # high for 1 s of 101 s
        record = Record(np.array([0.0, 1.0, 101.0]), {"x": Values(np.array([0.0, 5.0, 0.0]), "m")})
        found = verdict("x over 4 m for at most 2 % of the time", record)
        assert found.margin == pytest.approx(2.0 - 100.0 / 101.0)

    def test_longest_spell_and_sum_of_spells(self, minute):
        # YC on from the minute ending at 240 s to that ending at 540 s: 6 minutes in one
        assert verdict("YC on for at most 6 min at a time", minute).outcome == OK
        assert verdict("YC on for at most 5 min at a time", minute).margin == -60.0
        # dirty: two spells of one minute
        assert verdict("c.turbidity over 80 NTU for at most 1 min at a time", minute).outcome == OK
        found = verdict("c.turbidity over 80 NTU for at most 1 min in all", minute)
        assert (found.outcome, found.margin) == (FAILED, -60.0)
        assert verdict("YC on for at least 5 min at a time", minute).margin == 60.0


class TestCounts:
    def test_hand_counted_hours(self):
        # four starts within the hour that ends at 3599 s; the one at 3600 s comes when the first is an hour old
        assert windowed([0.0, 600.0, 1200.0, 3599.0, 3600.0], 3600.0, 9000.0) == (4, 3599.0)
        assert windowed([], 3600.0, 9000.0) == (0, None)

    def test_the_fewest_in_any_time(self):
        # batches at 0, 1 h, 5 h in a 6 h record: nothing at all between 1 h and 4 h
        assert windowed([0.0, 3600.0, 18000.0], 3 * 3600.0, 6 * 3600.0, least=True)[0] == 0
        assert windowed([0.0, 3600.0, 7200.0, 10800.0], 7200.0, 10800.0, least=True)[0] == 2

    @pytest.mark.parametrize("seed", range(5))
    def test_sliding_counts_as_pandas_rolls_them(self, seed):
        rng = np.random.default_rng(seed)
        times = np.sort(rng.choice(86_400, 300, replace=False)).astype(float)
        ones = pd.Series(1.0, index=pd.to_datetime(times, unit="s"))
        expected = int(ones.rolling("1h", closed="right").sum().max())  # the window (t - 1 h, t]
        found, at = windowed(times.tolist(), 3600.0, 86_400.0)
        assert found == expected
        assert ((times > at - 3600.0) & (times <= at)).sum() == expected

    def test_starts_come_from_the_counter_even_between_rows(self):
        # the counter rises by two between two rows, while the motor runs at both
        record = Record(np.array([0.0, 60.0, 120.0]), {"P.starts": Values(np.array([4.0, 5.0, 7.0])),
                                                       "P.running": Values(np.ones(3))})  # fmt: skip
        found = verdict("starts of P at most 2 per hour", record)
        assert (found.outcome, found.margin, found.words) == (FAILED, -1.0, "most 3 in any 1 h")

    def test_how_often_a_condition_becomes_true(self, minute):
        # rises above 80 at 180 s and 300 s; at the first row it is above already: no rise is seen there
        assert verdict("c.turbidity over 80 NTU at most 2 times", minute).margin == 0.0
        assert verdict("c.turbidity over 80 NTU at most 1 times per 2 min", minute).outcome == OK
        assert verdict("c.turbidity over 80 NTU at most 1 times per 3 min", minute).outcome == FAILED

    def test_spill_is_what_the_counter_rose_by(self, minute):
        found = verdict("no spill from sump", minute)
        assert (found.outcome, found.margin, found.when) == (FAILED, -0.5, 240.0)
        assert verdict("spill from sump at most 1 m3", minute).margin == 0.5
        assert verdict("no spill from sump from 5 min to 10 min", minute).outcome == OK


class TestAnswers:
    @pytest.fixture
    def pumps(self):
        """P trips at 10 s and at 60 s; the standby runs from 19 s to 40 s, and from 78 s on."""
        time, trip = steps(1.0, (0, 10), (1, 20), (0, 30), (1, 60))
        run = np.where((time >= 19) & (time < 40) | (time >= 78), 1.0, 0.0)
        return Record(time, {"P.tripped": Values(trip), "S.running": Values(run), "L": Values(time / 100.0, "m")},
                      [(10.0, "event", "P trips"), (60.0, "event", "P trips")], marks={"upset": [60.0]})  # fmt: skip

    def test_the_slowest_answer_is_the_verdict(self, pumps):
        # after 9 s and after 18 s
        found = verdict("after P trips, S runs within 20 s", pumps)
        assert (found.outcome, found.margin, found.when) == (OK, 2.0, 60.0)
        found = verdict("after P trips, S runs within 15 s", pumps)
        assert (found.outcome, found.margin, found.when) == (FAILED, -3.0, 60.0)

    def test_the_same_by_the_journal_and_by_a_named_moment(self, pumps):
        assert verdict('after "p trips", S runs within 20 s', pumps).margin == 2.0
        assert verdict("after the upset, S runs within 20 s", pumps).margin == 2.0

    def test_no_event_proves_nothing(self, pumps):
        assert verdict("after L over 9 m, S runs within 20 s", pumps).outcome == UNTESTED
        assert verdict("after the response, S runs within 20 s", pumps).outcome == UNTESTED

    def test_no_answer_fails_and_a_record_too_short_proves_nothing(self, pumps):
        assert verdict("after the upset, L over 5 m within 30 s", pumps).outcome == FAILED
        assert verdict("after the upset, L over 5 m within 2 min", pumps).outcome == UNTESTED

    def test_windows_before_and_after(self, pumps):
        # L is 0.50 to 0.59 m in the ten seconds before 60 s, and 0.60 to 0.70 m in those after
        assert verdict("before the upset, L under 0.595 m for 10 s", pumps).margin == pytest.approx(0.005)
        assert verdict("after the upset, L at least 0.6 m for 10 s", pumps).margin == pytest.approx(0.0)
        assert verdict("after the upset, L under 0.69 m for 10 s", pumps).when == 70.0

    def test_an_answer_that_has_to_last(self, pumps):
        # after the first trip the standby has run for 10 s at 29 s, after the second at 88 s
        found = verdict("after P trips, S runs for 10 s within 30 s", pumps)
        assert (found.outcome, found.margin) == (OK, 2.0)

    def test_order_of_steps(self, pumps):
        in_order = "after the upset: L over 0.65 m, then L over 0.7 m, then S runs within 20 s"
        assert verdict(in_order, pumps).margin == 2.0
        found = verdict("after the upset: S runs, then L over 0.7 m within 1 min", pumps)
        # S runs at 78 s, but L passed 0.70 m at 71 s
        assert (found.outcome, found.margin, found.when) == (FAILED, -7.0, 71.0)
        assert verdict("after the upset: L over 0.7 m, then S runs within 10 s", pumps).outcome == FAILED
        assert verdict("after the upset: L over 0.7 m, then L over 9 m within 30 s", pumps).outcome == FAILED

    def test_on_delay_as_a_timer_has_it(self):
        # input on from 2 s to 4 s and from 6 s; preset 3 s: the first pulse is too short, then on at 9 s
        time, on = steps(1.0, (0, 2), (1, 3), (0, 1), (1, 6))
        assert np.flatnonzero(held(on > 0.5, time, 3.0)).tolist() == [9, 10, 11]


class TestWholeRuns:
    def test_figures_and_balances(self):
        record = Record(np.arange(2.0), {"c.turbidity": Values(np.zeros(2), "NTU")},
                        figures={"c.turbidity_over_limit": Figure(3.5, "%", "time above")},
                        closure={"water": {"gap": 2e-12}, "fines": {"gap": -5e-10}})  # fmt: skip
        assert verdict("c.turbidity_over_limit at most 5 %", record).margin == 1.5
        assert verdict("closure at most 1e-9", record).margin == pytest.approx(5e-10)
        assert verdict("closure at most 1e-10", record).outcome == FAILED
        assert verdict("closure at most 1e-9", Record(np.arange(2.0))).outcome == UNTESTED

    def test_statistics(self, minute):
        # the mean is over the ten minutes, the first row standing for none: (8 x 70 + 85 + 90) / 10
        assert verdict("mean of c.turbidity under 80 NTU", minute).margin == pytest.approx(80.0 - 73.5)
        assert verdict("swing of LT at most 0.5 m", minute).margin == pytest.approx(-0.1)
        assert verdict("rise of LT at least -0.3 m", minute).margin == pytest.approx(0.1)
        assert verdict("highest of LT under 1.5 m", minute).when == 240.0
        assert verdict("lowest of LT over 0.7 m", minute).margin == pytest.approx(0.1)

    def test_lines_of_the_journal(self):
        record = Record(np.arange(100.0), journal=[(20.0, "rounds", "mud-line rodded clear")])
        assert verdict('journal says "rodded clear"', record).outcome == OK
        found = verdict('journal never says "RODDED"', record)
        assert (found.outcome, found.when) == (FAILED, 20.0)
        assert verdict('journal never says "rodded" from 30 s', record).outcome == OK

    def test_conditions_joined(self, minute):
        assert verdict("never YC on and FT under 60 m3/h", minute).outcome == FAILED
        assert verdict("not YC or FT over 40 m3/h", minute).outcome == OK

    @pytest.mark.parametrize(
        ("text", "words"),
        [
            ("c.turbidty under 80 NTU", "did you mean 'c.turbidity'"),
            ("c.turbidity under 80 m3/h", "goes with NTU"),
            ("c.turbidity under 80", "did you mean '80 NTU'"),
            ("YC under 1 m", "a plain number"),
            ("no spill from sumpf", "did you mean 'sump'"),
            ("no XC while LT over 1 m", "a tag, or what runs"),
            ("P-101 runs", "something that runs"),
            ("LT within 1 m of FT", "a quantity in m"),
        ],
    )
    def test_names_and_units_a_plant_has_not(self, minute, text, words):
        with pytest.raises(NameRefusal, match=words):
            verdict(text, minute)


def test_what_has_no_margin_says_so(minute):
    assert math.isnan(verdict('journal never says "x"', minute).margin)
    assert math.isnan(verdict("no YC from 0 s to 2 min", minute).margin)
    assert math.isnan(verdict("mean of LT under 2 m", minute).when)
