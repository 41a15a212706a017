"""Spreads, samplers and readings of studies, against scipy's distributions and published values."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from plantsim.analysis.studies import reading, spread
from plantsim.analysis.studies.plan import Plan
from plantsim.analysis.studies.sampling import StudyError, shares
from plantsim.analysis.studies.spread import TAIL, of_list, of_normal, of_range
from plantsim.plant.fields import Refusal

SHARES = (0.0, 0.001, 0.2, 0.5, 0.77, 0.999, 1.0)


def plan(*spreads, method="random") -> Plan:
    return Plan("t", "", "", 1.0, 60.0, (), tuple(spreads), method, 8, 5, 1, 0, ("",), (), (), "")


# --- spreads: inverse distributions against scipy.stats ---


@pytest.mark.parametrize(("made", "reference"), [
    (of_range("p", (), "5 %", "35 %"), stats.uniform(5, 30)),
    (of_range("p", (), "15 min", "120 min", "log"), stats.loguniform(15, 120)),
    (of_range("p", (), "2", "10", "triangle", "3"), stats.triang(1 / 8, 2, 8)),
    (of_range("p", (), "2", "10", "triangle", "2"), stats.triang(0.0, 2, 8)),
    (of_normal("p", (), "38 g/m3", "5 g/m3", "25 g/m3", "50 g/m3"), stats.truncnorm(-2.6, 2.4, 38, 5)),
])  # fmt: skip
def test_a_share_gives_the_value_below_which_it_lies(made, reference):
    for u in SHARES:
        assert made.inverse(u) == pytest.approx(reference.ppf(u), rel=1e-9)
    assert made.number(made.text(0.3)) == pytest.approx(reference.ppf(0.3), rel=1e-9)


def test_an_endless_normal_distribution_is_cut_off_far_out():
    made = of_normal("p", (), "10 m", "1 m")
    assert made.low == pytest.approx(10 + stats.norm.ppf(TAIL)) and math.isfinite(made.inverse(1.0))


def test_texts_stand_as_in_a_plant_file():
    assert of_range("p", (), "5 %", "35 %").text(0.5) == "20 %"
    assert of_range("p", (), "0.5", "1.5").text(0.25) == "0.75"
    assert of_list("p", (), ("by itself", "by reset")).text(0.99) == "by reset"
    weeks = of_range("p", (), "2027-01-04 06:00", "2027-01-18 06:00", every="1 week")
    assert [weeks.text(u) for u in (0.0, 0.34, 0.99)] == ["2027-01-04 06:00", "2027-01-11 06:00", "2027-01-18 06:00"]
    assert [of_range("p", (), "1 m", "2 m", every="0.5 m").text(u) for u in (0.1, 0.5, 0.9)] == ["1 m", "1.5 m", "2 m"]


@pytest.mark.parametrize("wrong", [
    lambda: of_range("p", (), "5 %", "0.3"), lambda: of_range("p", (), "5 %", "5 %"),
    lambda: of_range("p", (), "0 m", "1 m", "log"), lambda: of_range("p", (), "low", "high"),
    lambda: of_range("p", (), "1", "2", "triangle", "3"), lambda: of_range("p", (), "1 m", "2 m", every="3 m"),
    lambda: of_normal("p", (), "3 m", "0 m"), lambda: of_normal("p", (), "3 m", "1 m", "5 m", "4 m"),
])  # fmt: skip
def test_what_is_no_spread_is_refused_with_what_is_allowed(wrong):
    with pytest.raises(Refusal, match="allowed"):
        wrong()


# --- samplers ---


def test_a_latin_hypercube_fills_every_slice_once():
    # the definition: McKay, Beckman, Conover, Technometrics 21 (1979) 239-245
    got = shares([of_range(n, (), "0", "1") for n in "abc"], "latin hypercube", 50, seed=3)
    for column in got.T:
        assert sorted(np.floor(column * 50).astype(int)) == list(range(50))


def test_a_grid_has_every_combination_ends_included():
    got = shares([of_range("a", (), "0", "1"), of_list("b", (), ("x", "y"))], "grid", 0, 1, levels=3)
    assert got[:, 0].tolist() == [0, 0, 0.5, 0.5, 1, 1] and got[:, 1].tolist() == [0.25, 0.75] * 3


def test_a_sobol_sequence_is_more_even_than_chance():
    # discrepancy by scipy.stats.qmc, Hickernell 1998
    two = [of_range(n, (), "0", "1") for n in "ab"]
    even, rough = (stats.qmc.discrepancy(shares(two, how, 256, seed=1)) for how in ("sobol", "random"))
    assert even < 0.1 * rough


@pytest.mark.parametrize("method", ["random", "latin hypercube", "sobol", "sensitivity"])
def test_the_same_seed_gives_the_same_samples(method):
    two = [of_range(n, (), "0", "1") for n in "ab"]
    first, again, other = (shares(two, method, 16, seed) for seed in (5, 5, 6))
    assert (first == again).all() and not (first == other).all()


def test_indices_need_a_power_of_two():
    with pytest.raises(StudyError, match=r"found 100; allowed .* such as 128"):
        shares([of_range("a", (), "0", "1")], "sensitivity", 100, 1)


# --- readings ---


def test_sobol_indices_of_the_ishigami_function():
    """Ishigami and Homma 1990 with a = 7, b = 0.1; indices as in Saltelli et al., "Global Sensitivity Analysis: The
    Primer", 2008 (analytic: V = a^2/8 + b pi^4/5 + b^2 pi^8/18 + 1/2), printed there as 0.314, 0.442, 0 and totals
    0.558, 0.442, 0.244 (from memory; checked against the analytic variances here)."""
    a, b, pi = 7.0, 0.1, math.pi
    three = [of_range(n, (), "-3.14159265358979", "3.14159265358979") for n in ("x1", "x2", "x3")]
    got = shares(three, "sensitivity", 8192, seed=1)
    assert len(got) == 8192 * 5
    x = np.array([[s.inverse(u) for s, u in zip(three, row)] for row in got])
    y = np.sin(x[:, 0]) + a * np.sin(x[:, 1]) ** 2 + b * x[:, 2] ** 4 * np.sin(x[:, 0])
    whole = a**2 / 8 + b * pi**4 / 5 + b**2 * pi**8 / 18 + 0.5
    first = [(b * pi**4 / 5 + b**2 * pi**8 / 50 + 0.5) / whole, a**2 / 8 / whole, 0.0]
    total = [first[0] + 8 * b**2 * pi**8 / 225 / whole, first[1], 8 * b**2 * pi**8 / 225 / whole]
    assert first == pytest.approx([0.314, 0.442, 0.0], abs=5e-4)
    assert total == pytest.approx([0.558, 0.442, 0.244], abs=5e-4)
    for index, s1, st in zip(reading.sobol_indices(["x1", "x2", "x3"], y), first, total):
        assert index.first == pytest.approx(s1, abs=max(1.5 * index.first_half, 0.01))
        assert index.total == pytest.approx(st, abs=max(1.5 * index.total_half, 0.01))


def test_sobol_indices_refuse_gaps_and_constants():
    with pytest.raises(StudyError, match="1 of 6 gave no result"):
        reading.sobol_indices(["a"], np.array([1.0, 2.0, np.nan, 4.0, 5.0, 6.0]))
    with pytest.raises(StudyError, match="one and the same"):
        reading.sobol_indices(["a"], np.ones(6))


@pytest.mark.parametrize(("met", "runs", "low", "high"), [
    (81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718),
])  # fmt: skip
def test_chances_have_wilsons_interval(met, runs, low, high):
    # Newcombe, Statistics in Medicine 17 (1998) 857-872, table I, method 3 (from memory)
    outcome = np.array(["ok"] * met + ["failed"] * (runs - met) + ["not tested"] * 3, dtype=object)
    margin = np.linspace(1.0, -1.0, len(outcome))
    table = {"case": np.arange(len(outcome)), "check.c": outcome, "margin.c": margin}
    (chance,) = reading.chances(table, {"margin.c": "NTU"})
    assert (chance.held, chance.judged, chance.unit) == (met, runs, "NTU")
    assert (chance.low, chance.high) == pytest.approx((low, high), abs=5e-5)
    assert chance.worst_case == runs - 1  # those not tested have no margin that counts


def made_table(n=400):
    """A figure that is 3 x + y with x and y even from 0 to 1: its means, ends and ranks are known."""
    rng = np.random.default_rng(2)
    x, y = rng.random(n), rng.random(n)
    return {"case": np.arange(n), "status": np.array(["done"] * n, dtype=object), "in.x": x, "in.y": y,
            "f.v": 3 * x + y}  # fmt: skip


def test_a_tornado_ranks_parameters_by_the_difference_of_their_ends():
    two = plan(of_range("x", (), "0", "1"), of_range("y", (), "0", "1"))
    first, second = reading.tornado(two, made_table(), "f.v")
    assert (first.parameter, second.parameter) == ("x", "y")
    # the mean of the highest fifth less that of the lowest is 0.8 of the slope
    assert first.high - first.low == pytest.approx(2.4, abs=4 * first.noise)
    assert second.high - second.low == pytest.approx(0.8, abs=4 * second.noise)
    assert first.rank > 0.9 > second.rank > 0.1


def test_a_map_of_a_grid_is_exact_and_of_scattered_runs_near():
    two = plan(of_range("x", (), "0", "1"), of_range("y", (), "0", "1"))
    table = made_table()
    smooth = reading.surface(two, table, "x", "y", "f.v", points=5)
    assert not smooth.exact
    assert smooth.values[2, 2] == pytest.approx(2.0, abs=0.15)  # a plane keeps its value in the middle
    x, y = (v.ravel() for v in np.meshgrid([0.0, 0.5, 1.0], [0.0, 1.0]))
    grid = {**table, "in.x": x, "in.y": y, "f.v": 3 * x + y, "case": np.arange(6)}
    exact = reading.surface(two, grid, "x", "y", "f.v")
    assert exact.exact and exact.values.tolist() == [[0.0, 1.5, 3.0], [1.0, 2.5, 4.0]]


def test_a_run_is_picked_by_number_end_or_margin():
    table = {**made_table(), "margin.c": np.arange(400.0)}
    assert reading.pick_case(table, "17") == 17
    assert reading.pick_case(table, "most:f.v") == int(table["f.v"].argmax())
    assert reading.pick_case(table, "worst:c") == 0
    wrong_ones = {"400": "0 to 399", "most:f.w": "did you mean 'f.v'", "failed": "no run", "best": "allowed"}
    for wrong, words in wrong_ones.items():
        with pytest.raises(StudyError, match=words):
            reading.pick_case(table, wrong)


def test_summaries_are_numpys():
    table = made_table()
    (s,) = reading.summaries(table, {"f.v": "m"})
    assert (s.p5, s.p50, s.p95) == tuple(np.percentile(table["f.v"], (5, 50, 95)))
    assert s.deviation == pytest.approx(table["f.v"].std(ddof=1)) and table["f.v"][s.most_case] == s.most
    assert spread.split("3 m") == (3.0, "m")
