"""Figures of merit of alarms on scripted journals whose answers are worked by hand.

Definitions and targets: ANSI/ISA-18.2-2016, clause 16, and IEC 62682 (from memory). Three in a minute for chattering
and a minute for fleeting are common practice, no source.
"""

from __future__ import annotations

import math

import pytest

from plantsim import records
from plantsim.analysis.alarm_figures import Flood, alarm_figures, find_floods, in_windows, most_in
from plantsim.analysis.alarm_targets import BAD, BEARABLE, GOOD, NONE, as_figures, judge_alarms
from plantsim.plant.model import Alarm
from plantsim.sim.alarms import AlarmNote

A, B, C, D, E, F, G, H, I = records.ALARM_STATES
MIN, HOUR, DAY = 60.0, 3600.0, 86400.0


def made(name: str, priority: str = "low", respond_within: float = 600.0) -> Alarm:
    return Alarm(name, 0, "LT-1", "level", "above", 3.0, 0.1, "m", 1.0, 0.0, 0.0, 0.0, priority, "c", "a",
                 respond_within)  # fmt: skip


def notes(*changes: tuple) -> list[AlarmNote]:
    """Changes given as time, alarm, before, after (and who)."""
    ordered = sorted(changes, key=lambda c: c[0])
    return [
        AlarmNote(k, int(c[0]), float(c[0]), c[1], c[2], c[3], False, 0.0, c[4] if len(c) > 4 else "plant")
        for k, c in enumerate(ordered)
    ]


def calls(times: list[float], name: str = "LAH-1") -> list[tuple]:
    """An alarm that comes at these times and returns one second later each time."""
    found: list[tuple] = []
    for k, time in enumerate(times):
        found += [(time, name, A if k == 0 else D, B), (time + 1.0, name, B, D)]
    return found


# ------------------------------------------------------------------------------------ floods, by hand
def test_a_scripted_shift_of_two_hours():
    """Two hours in 12 periods of ten minutes.

    ===========  =======================================  ====  ========================================
    period       alarms at                                 n     flood
    ===========  =======================================  ====  ========================================
    1 (0-10)     0, 300 s                                  2     no
    2 (10-20)    every 50 s from 600 to 1150 s            12     begins: at least 10
    3 (20-30)    every 100 s from 1200 to 1700 s           6     goes on: not below 5
    4 (30-40)    every 120 s from 1800 to 2280 s           5     goes on: 5 is not below 5
    5 (40-50)    2400, 2500, 2600, 2700 s                  4     over: below 5
    6 (50-60)    9 from 3000 s every 60 s (to 3480 s)      9     none: below 10
    7 (60-70)    10 from 3600 s every 60 s (to 4140 s)    10     begins: exactly 10
    8 (70-80)    none                                      0     over
    9-12         none                                      0     no
    ===========  =======================================  ====  ========================================

    So 48 alarms; floods from 600 to 2400 s (12 + 6 + 5 = 23 alarms) and from 3600 to 4200 s (10); in flood 2400 of
    7200 s, a third. Of 12 periods one has more than 10, of 2 hours one (38 alarms) has more than 30. In any ten
    minutes: the densest stretch is 600 to 1199 s with 12; from 650 s: 11 up to 1150 and 1200 s, 12 again.
    """
    times = [0.0, 300.0]
    times += [600.0 + 50.0 * k for k in range(12)]
    times += [1200.0 + 100.0 * k for k in range(6)]
    times += [1800.0 + 120.0 * k for k in range(5)]
    times += [2400.0, 2500.0, 2600.0, 2700.0]
    times += [3000.0 + 60.0 * k for k in range(9)]
    times += [3600.0 + 60.0 * k for k in range(10)]
    assert in_windows(times, 2 * HOUR, 600.0) == [2, 12, 6, 5, 4, 9, 10, 0, 0, 0, 0, 0]
    f = alarm_figures([made("LAH-1")], notes(*calls(times)), 2 * HOUR)
    assert f.annunciated == 48
    assert (f.per_hour, f.per_period, f.per_day) == (24.0, 4.0, 576.0)
    assert f.floods == (Flood(600.0, 2400.0, 23), Flood(3600.0, 4200.0, 10))
    assert f.flood_share == pytest.approx(100.0 / 3.0)
    assert (f.most_in_period, f.most_in_any_period, f.most_in_hour) == (12, 12, 38)
    assert f.periods_over == pytest.approx(100.0 / 12.0)
    assert f.hours_over == 50.0
    verdicts = {j.name: j.verdict for j in judge_alarms(f)}
    assert verdicts["annunciated in a day, on average"] == BAD
    assert verdicts["most in 10 min"] == BAD
    assert verdicts["time in flood"] == BAD


@pytest.mark.parametrize(
    ("periods", "floods"),
    [
        ([9] * 6, []),
        ([10, 4], [(0, 1, 10)]),
        ([10, 5, 5, 4], [(0, 3, 20)]),
        ([10, 4, 10, 4], [(0, 1, 10), (2, 3, 10)]),
        ([0, 11, 9], [(1, 3, 20)]),  # lasts to the end of the run
        ([], []),
    ],
)
def test_a_flood_begins_at_ten_and_ends_below_five(periods, floods):
    found = find_floods(periods, 600.0 * len(periods))
    assert found == tuple(Flood(600.0 * a, 600.0 * b, n) for a, b, n in floods)


def test_ten_alarms_across_an_edge_are_a_crowd_but_no_flood():
    """Five at the end of a period and five at the start of the next: ten within ten minutes by a sliding window, five
    and five by fixed ones. The standard counts fixed periods; both are told."""
    times = [590.0 + k for k in range(5)] + [601.0 + k for k in range(5)]
    f = alarm_figures([made("LAH-1")], notes(*calls(times)), HOUR)
    assert (f.most_in_any_period, f.most_in_period, f.floods) == (10, 5, ())


def test_a_sliding_window_is_half_open():
    assert most_in([0.0, 600.0], 600.0) == 1
    assert most_in([0.0, 599.0], 600.0) == 2


def test_a_period_cut_short_counts_as_one():
    assert in_windows([1250.0, 1299.0], 1300.0, 600.0) == [0, 0, 2]
    f = alarm_figures([made("LAH-1")], notes(*calls([float(k) for k in range(1201, 1213)])), 1300.0)
    assert f.floods == (Flood(1200.0, 1300.0, 12),)
    assert f.flood_share == pytest.approx(100.0 / 13.0)


# ------------------------------------------------------------------------------------ single alarms, by hand
def test_chattering_and_fleeting():
    """Three calls in less than 60 s chatter; three in exactly 60 s do not. Back within 60 s by itself is fleeting."""
    log = calls([0.0, 29.0, 59.0], "LAH-1") + calls([0.0, 30.0, 60.0], "LAH-2")
    log += [(0.0, "LAH-3", A, B), (60.0, "LAH-3", B, D)]
    log += [(0.0, "LAH-4", A, B), (61.0, "LAH-4", B, D)]
    log += [(0.0, "LAH-5", A, B), (5.0, "LAH-5", B, C, "operator"), (6.0, "LAH-5", C, A)]  # somebody answered
    log += [(0.0, "LAH-6", A, B), (5.0, "LAH-6", B, E)]
    f = alarm_figures([made(f"LAH-{k}") for k in range(1, 7)], notes(*log), HOUR)
    assert f.chattering == {"LAH-1": 3}
    assert f.fleeting == {"LAH-2": 3, "LAH-3": 1, "LAH-6": 1}


def test_stale_and_standing():
    """Stale is a condition that stands for more than 24 h without a break, acknowledged or not."""
    log = [
        (0.0, "LAH-1", A, B), (HOUR, "LAH-1", B, C, "operator"), (DAY + 1.0, "LAH-1", C, A),
        (0.0, "LAH-2", A, B), (DAY, "LAH-2", B, D),
        (0.0, "LAH-3", A, B), (20 * HOUR, "LAH-3", B, D), (21 * HOUR, "LAH-3", D, B),  # two spells
        (2 * HOUR, "LAH-4", A, B), (4 * HOUR, "LAH-4", B, C, "operator"),
        (1 * HOUR, "LAH-5", A, B), (2 * HOUR, "LAH-5", B, E),  # latched: the condition has gone
    ]  # fmt: skip
    f = alarm_figures([made(f"LAH-{k}") for k in range(1, 6)], notes(*log), 2 * DAY - 4 * HOUR)
    assert f.stale == {"LAH-1": DAY + 1.0, "LAH-4": 42 * HOUR}
    assert f.standing == {"LAH-3": 23 * HOUR, "LAH-4": 42 * HOUR}
    assert f.waiting == ("LAH-2", "LAH-3", "LAH-5")


def test_time_to_acknowledge_counts_from_the_first_call_it_answers():
    log = [
        (0.0, "LAH-1", A, B), (100.0, "LAH-1", B, C, "operator"),
        (0.0, "LAH-2", A, B), (50.0, "LAH-2", B, D), (80.0, "LAH-2", D, B), (300.0, "LAH-2", B, C, "operator"),
        (0.0, "LAH-3", A, B), (10.0, "LAH-3", B, D), (700.0, "LAH-3", D, A, "operator"),  # too late: 600 s allowed
        (0.0, "LAH-4", A, B), (10.0, "LAH-4", B, E), (60.0, "LAH-4", E, F, "operator"),
        (90.0, "LAH-4", F, A, "operator"),
        (0.0, "LAH-5", A, B), (40.0, "LAH-5", B, G, "operator"),  # shelved: no answer, and nothing waits
        (0.0, "LAH-6", A, B), (40.0, "LAH-6", B, H),
    ]  # fmt: skip
    f = alarm_figures([made(f"LAH-{k}") for k in range(1, 7)], notes(*log), HOUR)
    assert (f.acknowledged, f.late, f.waiting) == (4, 1, ())
    assert f.mean_time == pytest.approx((100.0 + 300.0 + 700.0 + 60.0) / 4.0)
    assert f.longest_time == 700.0
    assert as_figures(f)["alarms.time_to_acknowledge"].value == pytest.approx(290.0)
    judged = {j.name: (j.value, j.verdict) for j in judge_alarms(f)}
    assert judged["longest time to acknowledge"] == (700.0, NONE)
    assert judged["acknowledged later than the time to respond"] == (1.0, BAD)


def test_what_was_held_back_and_for_how_long():
    log = [
        (600.0, "LAH-1", A, G, "operator"), (900.0, "LAH-1", G, A), (1000.0, "LAH-1", A, G, "operator"),
        (1100.0, "LAH-1", G, H), (1200.0, "LAH-1", H, G),
        (0.0, "LAH-2", A, H), (1800.0, "LAH-2", H, A),
        (3000.0, "LAH-3", A, I, "operator"),
    ]  # fmt: skip
    f = alarm_figures([made(f"LAH-{k}") for k in range(1, 4)], notes(*log), HOUR)
    assert f.shelved == {"LAH-1": 300.0 + 100.0 + 2400.0}
    assert f.suppressed == {"LAH-1": 100.0, "LAH-2": 1800.0}
    assert f.out == {"LAH-3": 600.0}
    assert f.annunciated == 0


def test_priorities_and_the_most_frequent():
    """80 low, 15 medium, 5 high: the split the standard asks for, of annunciated alarms."""
    names = {"LAH-1": ("low", 80), "LAH-2": ("medium", 15), "LAH-3": ("high", 5)}
    log = [c for name, (_, n) in names.items() for c in calls([600.0 * k for k in range(n)], name)]
    f = alarm_figures([made(name, p) for name, (p, _) in names.items()], notes(*log), DAY)
    assert f.split == {"low": 80.0, "medium": 15.0, "high": 5.0}
    assert list(f.by_alarm.items()) == [("LAH-1", 80), ("LAH-2", 15), ("LAH-3", 5)]
    verdicts = {j.name: j.verdict for j in judge_alarms(f)}
    assert [verdicts[f"of them {p} priority"] for p in ("low", "medium", "high", "critical")] == [GOOD] * 4
    assert math.isnan(f.top_share)  # ten alarms or fewer: they are everything


def test_the_share_of_the_ten_most_frequent():
    log = [c for k in range(20) for c in calls([600.0 * j for j in range(1 + (k < 10))], f"LAH-{k}")]
    f = alarm_figures([made(f"LAH-{k}") for k in range(20)], notes(*log), DAY)
    assert f.top_share == pytest.approx(100.0 * 20.0 / 30.0)


# ------------------------------------------------------------------------------------ targets
@pytest.mark.parametrize(
    ("a_day", "verdict"), [(0, GOOD), (144, GOOD), (145, BEARABLE), (288, BEARABLE), (289, BAD)]
)  # fmt: skip
def test_targets_for_the_rate(a_day, verdict):
    """About 144 a day (one in ten minutes) very likely acceptable, about 288 the most that can be managed."""
    times = [k * DAY / max(a_day, 1) for k in range(a_day)]
    f = alarm_figures([made("LAH-1")], notes(*calls(times)), DAY)
    assert judge_alarms(f)[0].verdict == verdict
    assert judge_alarms(f)[0].value == pytest.approx(a_day)


def test_an_empty_log_is_judged_without_a_fuss():
    f = alarm_figures([], [], DAY)
    judged = {j.name: j for j in judge_alarms(f)}
    assert judged["annunciated in a day, on average"].verdict == GOOD
    assert judged["of them low priority"].verdict == NONE
    assert "nobody" in judged["acknowledged by an operator"].target
    assert "mean time to acknowledge" not in judged
    assert "alarms.time_to_acknowledge" not in as_figures(f)
