"""Random shifts of a sump, and the smallest volume that holds over them on the gravel pit.

Shares of part load, stops, wash-down and rain: common practice, no source. What is tested against the outside is the
count of starts: a volume that holds keeps each motor at its starts an hour, a fifth less does not.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from plantsim.analysis.sizing.bench import Bench
from plantsim.analysis.sizing.choices import split
from plantsim.analysis.sizing.result import NotSized
from plantsim.analysis.sizing.shifts import DAY_LAG, Inflow, Shifts, draw
from plantsim.physics.cycling import starts_per_pump

H, DAY, WEEK = 3600.0, 86400.0, 7 * 86400.0
PIT = Path(__file__).resolve().parents[2] / "configs" / "gravel-pit.yaml"
CALENDAR = tuple((DAY * d + 6 * H, DAY * d + 22 * H) for d in range(5))
PLAN = Shifts(0.1, CALENDAR, tuple((DAY * d + 10 * H, DAY * d + 10.5 * H) for d in range(5)))
CALM = replace(PLAN, part_load=0.0, wander=0.0, stop_every=1e12, late=0.0, idle=0.0, wash_down=0.0)


def test_without_chance_the_calendar_stands():
    found = draw(CALM, 4 * WEEK, 3)
    assert set(np.round(found.flow, 9)) == {0.0, 0.1}
    # 5 days of 16 h less half an hour
    assert found.flow[:-1].mean() / 0.1 == pytest.approx(5 * 15.5 / 168.0, rel=1e-3)
    assert found.at(8 * H) == 0.1 and found.at(10.25 * H) == 0.0 and found.at(23 * H) == 0.0
    shifted = draw(replace(CALM, begin=2 * H), WEEK, 3)
    assert shifted.at(6 * H) == 0.1 and shifted.at(3.9 * H) == 0.0


def test_a_seed_draws_its_own_shifts_and_no_other():
    one, again, other = draw(PLAN, 2 * WEEK, 1), draw(PLAN, 2 * WEEK, 1), draw(PLAN, 2 * WEEK, 2)
    assert np.array_equal(one.flow, again.flow)
    assert not np.array_equal(one.flow, other.flow)
    assert one.flow.min() >= 0.0


def test_part_load_is_its_share_of_the_shifts():
    found = draw(replace(CALM, part_load=0.3, streams=2), 200 * WEEK, 5)
    running = found.flow[found.flow > 0.0]
    assert set(np.round(running, 9)) == {0.05, 0.1}
    # 2000 shifts: the share is known to about one per cent of all (binomial)
    assert (running < 0.07).mean() == pytest.approx(0.3, abs=0.04)


def test_stops_take_their_share():
    found = draw(replace(CALM, stop_every=4 * H, stop_time=600.0, streams=1), 100 * WEEK, 5)
    # running 4 h, standing 10 min: 24 parts of 25
    assert found.flow.mean() / draw(CALM, 100 * WEEK).flow.mean() == pytest.approx(24.0 / 25.0, abs=0.01)


def test_wander_has_its_deviation():
    always = draw(replace(CALM, wander=0.06, calendar=(), pauses=()), 100 * WEEK, 2)
    assert always.flow.std() / 0.1 == pytest.approx(0.06, abs=0.003)


def test_water_comes_back_a_day_later_and_rain_when_it_falls():
    decant = draw(replace(CALM, decant=0.1), 8 * WEEK).flow - draw(CALM, 8 * WEEK).flow
    assert decant.mean() == pytest.approx(0.1 * draw(CALM, 8 * WEEK).flow.mean(), rel=0.02)
    assert decant[-1] > 0.0, "on a Sunday too"
    assert DAY_LAG == DAY
    rain = draw(replace(CALM, paved=1000.0, rain=lambda s: 1e-5 if 3 * H <= s < 4 * H else 0.0), DAY)
    assert rain.at(3.5 * H) == pytest.approx(0.01) and rain.at(5 * H) == 0.0


def test_few_values_tell_the_same_flow():
    found = draw(PLAN, 2 * WEEK, 1)
    few = found.bends()
    assert len(few.time) < 0.8 * len(found.time)
    assert np.abs(np.interp(found.time, few.time, few.flow) - found.flow).max() <= 1.001e-3 * found.flow.max()
    line = Inflow(np.arange(5.0), np.arange(5.0)).bends()
    assert list(line.time) == [0.0, 4.0]


@pytest.mark.parametrize("changes, words", [
    (dict(full=0.0), "above 0"), (dict(streams=0), "1 to 6"), (dict(part_load=1.5), "0 to 1"),
    (dict(decant=-0.1), "below 0"),
])  # fmt: skip
def test_shifts_that_cannot_be(changes, words):
    with pytest.raises(NotSized, match=words):
        replace(PLAN, **changes)
    with pytest.raises(NotSized, match="seed"):
        draw(PLAN, DAY, -1)


# ---------------------------------------------------------------------------------------------- the gravel pit
def pit(*words: str):
    choices, overrides = split(list(words))
    return Bench(PIT, choices, overrides).sheets("sump")


def holds_and_is_needed(words):
    formula, simulated, shifts = pit(*words)
    limit = formula["starts_allowed"].value * H
    assert limit == 6.0, "the motors of the plant file"
    assert shifts["shifts_near"].value > 0.02 * shifts["shifts_near"].inputs[0].value, "the worst inflow occurs"
    assert H * shifts["shifts_starts"].value <= limit and shifts["shifts_starts"].holds
    assert shifts["shifts_rest"].value == 0.0 and shifts["shifts_level"].holds
    assert H * shifts["shifts_less"].value > limit, "a fifth less breaks the limit"
    # MIL-HDBK-1005/9A, Eq. 1: what holds is near the volume of the formula for two pumps in turn
    capacity, volume = simulated["simulated_0"].inputs[0].value * 2.0, shifts["recommended"].value
    assert 0.8 * limit < H * float(starts_per_pump(volume, capacity, 0.5 * capacity, 2)) / H < 1.2 * limit
    assert shifts["recommended"].value >= simulated["proved_volume"].value
    assert "governed by" in shifts["recommended"].verdict
    assert shifts["level_lag_start"].value > shifts["level_start"].value > shifts["level_lag_stop"].value
    return shifts


def test_a_week_of_random_shifts_holds_and_a_fifth_less_does_not():
    shifts = holds_and_is_needed([])
    assert [plot.key for plot in shifts.plots] == ["shifts_volume", "shifts_week"]


def test_a_line_without_check_valves_says_how_it_was_run():
    choices, overrides = split(["size.days=2 d"])
    sheets = Bench(PIT.with_name("high-lift.yaml"), choices, overrides).sheets("sump")
    assert any("check valves that hold" in words for words in sheets[-1].cautions)
    assert "rest" in sheets[-1]["recommended"].verdict or "drain" in sheets[-1]["recommended"].verdict


@pytest.mark.slow
@pytest.mark.parametrize("seed", [1, 2])
def test_a_year_of_random_shifts_holds_and_a_fifth_less_does_not(seed):
    holds_and_is_needed(["size.days=365 d", f"size.seed={seed}"])
