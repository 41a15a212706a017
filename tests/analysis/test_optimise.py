"""The search for gains: its limit, its ways, its front, and that a search broken off goes on as if it never had been.

The stands here are formulas, so that every figure can be worked out; the plant itself is in the slow tests.
"""

from __future__ import annotations

import json
import math
import threading
import time
from dataclasses import dataclass
from types import SimpleNamespace

import pytest

from plantsim.analysis.tuning.candidates import Range
from plantsim.analysis.tuning.controller import Choice
from plantsim.analysis.tuning.margins import margins
from plantsim.analysis.tuning.models import FOPDT, TuningError
from plantsim.analysis.tuning.optimise import (
    AS_IS,
    LOST,
    Figures,
    Knob,
    Limit,
    Prices,
    Search,
    Worth,
    added,
    margins_at,
    ways_of,
)
from plantsim.analysis.tuning.optimise_runs import Runs, State
from plantsim.analysis.tuning.predictor import smith_margins
from plantsim.analysis.tuning.settings import Settings
from plantsim.plant.laws import read_law
from plantsim.plant.tuned import Part, Predictor

PROCESS = FOPDT(-2.0, 40.0, 90.0)
SLOW = FOPDT(-3.0, 40.0, 140.0)
PRICES = Prices(100.0, 1.0, 0.5, 0.01)


class Stiff:
    """A controller with the laws Kc = 10/band, Ti = reset, as `Controller` shows itself to the search."""

    scan = 5.0

    def __init__(self, choices=None, search=None) -> None:
        self.loop = SimpleNamespace(name="AIC-1")
        parts = {"Kc": Part(read_law("10 / band"), "band"), "Ti": Part(read_law("reset"), "reset")}
        self.tune = SimpleNamespace(
            parts=parts, gain=parts["Kc"], integral=parts["Ti"], derivative=None, choices=choices or {},
            search=search or {}, most_ms=2.0,
            predictor=Predictor("smith", read_law("-fall"), read_law("lag"), read_law("late")),
        )  # fmt: skip

    def settings(self, values, sign, rule=""):
        return Settings(math.copysign(10.0 / values["band"], sign), values["reset"])

    def predictor(self, values):
        one = self.tune.predictor
        on = values[one.on] > 0.5
        return FOPDT(one.gain.value(values), one.lag.value(values), one.delay.value(values)) if on else None

    def rounded(self, name, value):
        return float(f"{value:.3g}")


VALUES = {"band": 200.0, "reset": 60.0, "smith": 0.0, "fall": 2.0, "lag": 40.0, "late": 90.0, "share": 0.5}


def limit_of(controller, most=2.0):
    over = [Range("normal +1", "normal", PROCESS, SLOW), Range("low +1", "low", SLOW, SLOW)]
    return Limit(controller, {"normal": VALUES, "low": {**VALUES, "late": 140.0}}, over, most)


@dataclass
class Bench:
    """A stand whose figures are formulas of the parameters; it may break or wait."""

    weight: float
    calls: int = 0
    breaks_at: int = -1
    busy: int = 0

    def run(self, choice: Choice):
        assert self.busy == 0, "two threads on one stand"
        self.busy = 1
        time.sleep(0.0005)
        self.calls += 1
        self.busy = 0
        if self.calls == self.breaks_at:
            raise KeyboardInterrupt
        v = {**VALUES, **choice.mapping}
        error = self.weight * (v["band"] / 100.0) ** 2 + 1000.0 / v["reset"] + (0.0 if v["smith"] else 5.0)
        return SimpleNamespace(iae=error, out_of_spec=0.01 * error, peak=error, chemical=100.0 + 10.0 * v["share"],
                               travel=4000.0 / v["band"])  # fmt: skip


def search_of(state: State, benches, most=None, until=math.inf, generations=99, starts=()):
    controller = Stiff({"smith": {"smith": "yes"}}, {"fall": (1.0, 5.0), "share": (0.0, 1.0)})
    ways = ways_of(controller, {"smith": Choice.of({"smith": 1.0})}, VALUES)
    limit = limit_of(controller)
    search = Search(controller, ways, limit, PRICES, 6, 7, starts)
    runs = Runs(benches, state, lambda choice: limit.broken(choice)[1], 2, None, until, most)
    asked = [0]

    def more(tried: int) -> bool:
        asked[0] += 1
        return asked[0] <= 2 * generations and (most is None or tried < most)

    try:
        search.go(runs, more)
    finally:
        runs.close()
    return search, runs


# --- limit ---


def test_limit_is_the_greatest_ms_over_the_range_and_stability_over_the_stretched_one():
    controller = Stiff()
    limit = limit_of(controller)
    tame = Choice.of({"band": 200.0})
    each = [margins(Settings(-0.05, 60.0), p, 5.0).Ms for p in (PROCESS, SLOW)]
    beyond, ms = limit.broken(tame)
    assert ms == pytest.approx(max(each), rel=3e-3) and beyond == max(0.0, ms - 2.0)
    assert {name: m.Ms for name, m in limit.margins(tame).items()} == dict(zip(("normal +1", "low +1"), each))
    wild = limit.broken(Choice.of({"band": 10.0}))
    assert wild == (LOST + 2, math.inf)


def test_margins_take_the_predictor_in_where_it_is_switched_on():
    controller = Stiff()
    on = margins_at(controller, {**VALUES, "smith": 1.0, "band": 25.0}, PROCESS)
    assert on == smith_margins(Settings(-0.4, 60.0), PROCESS, FOPDT(-2.0, 40.0, 90.0), 5.0)
    off = margins_at(controller, {**VALUES, "band": 25.0}, PROCESS)
    assert off == margins(Settings(-0.4, 60.0), PROCESS, 5.0)
    assert on.Ms < off.Ms  # what the compensation is for


def test_candidates_beyond_the_limit_never_run():
    benches = [Bench(1.0)]
    search, runs = search_of(State(None, {}), benches, generations=4)
    assert search.screened > 0 and benches[0].calls == len(search.tried) == runs.ran
    assert all(search.limit.broken(one.choice)[0] == 0.0 for one in search.tried)
    assert all(one.figures.ms <= 2.0 for one in search.tried)


# --- ways and knobs ---


def test_ways_turn_what_belongs_to_them():
    controller = Stiff({"smith": {"smith": "yes"}, "flat": {"share": "0.2"}}, {"fall": (1.0, 5.0), "share": (0.0, 1.0)})
    choices = {"smith": Choice.of({"smith": 1.0}), "flat": Choice.of({"share": 0.2})}
    ways = {way.name: way for way in ways_of(controller, choices, VALUES)}
    assert list(ways) == [AS_IS, "smith", "flat", "smith + flat"]
    named = {name: " ".join(knob.name for knob in way.knobs) for name, way in ways.items()}
    assert named == {AS_IS: "band reset", "smith": "band reset fall", "flat": "band reset share",
                     "smith + flat": "band reset fall share"}  # fmt: skip
    assert ways["smith"].fixed.mapping == {"smith": 1.0} and not ways["flat"].fixed.values
    assert ways["flat"].begin.mapping == {"band": 200.0, "reset": 60.0, "share": 0.2}


def test_choices_that_set_the_same_do_not_go_together():
    controller = Stiff({"a": {"share": "0.1"}, "b": {"share": "0.9"}})
    choices = {"a": Choice.of({"share": 0.1}), "b": Choice.of({"share": 0.9})}
    assert [way.name for way in ways_of(controller, choices, VALUES)] == [AS_IS, "a", "b"]


def test_knob_places_and_values_are_each_others_inverse():
    for knob in (Knob("band", 25.0, 1600.0), Knob("share", 0.0, 1.0)):
        for x in (0.0, 0.3, 1.0):
            assert knob.place(knob.value(x)) == pytest.approx(x, abs=1e-9)
    assert Knob("band", 25.0, 1600.0).value(0.5) == pytest.approx(200.0)


def test_nothing_to_turn_is_refused():
    controller = Stiff()
    with pytest.raises(TuningError, match="nothing to turn"):
        ways_of(controller, {}, {**VALUES, "band": 0.0, "reset": 0.0})


# --- cost and front ---


def test_cost_is_what_the_prices_say():
    figures = Figures(1.5, 2.0, 30.0, 40.0, 500.0, 9.0)
    assert figures.quality(PRICES) == 230.0 and figures.cost(PRICES) == 230.0 + 20.0 + 5.0
    with pytest.raises(TuningError, match="price travel: found -1; allowed: 0 or more"):
        Prices(travel=-1.0)


def test_beyond_the_ceiling_the_way_down_comes_first():
    search, _ = search_of(State(None, {}), [Bench(1.0)], generations=1)
    search.ceiling = 100.0
    dear, dearer = (search._score(0.0, Figures(1.5, 0.0, cost, 0.0, 0.0, 0.0)) for cost in (110.0, 400.0))
    cheap = search._score(0.0, Figures(1.5, 0.0, 99.0, 0.0, 1e9, 0.0))
    assert dear.beats(dearer) and 0.0 < dear.violation < dearer.violation < 0.01
    assert cheap.violation > 0.0  # its travel alone costs more
    assert search._score(0.0, Figures(1.5, 0.0, 99.0, 0.0, 0.0, 0.0)).violation == 0.0


def test_trials_add_up():
    one = SimpleNamespace(iae=1.0, out_of_spec=0.5, peak=7.0, chemical=10.0, travel=3.0)
    other = SimpleNamespace(iae=2.0, out_of_spec=0.0, peak=4.0, chemical=20.0, travel=5.0)
    assert added([one, other], 1.7) == Figures(1.7, 0.5, 3.0, 30.0, 8.0, 7.0)


def test_front_holds_only_what_nothing_beats():
    search, _ = search_of(State(None, {}), [Bench(1.0), Bench(2.0)], generations=8)
    front = search.front()
    assert front and front[0].figures.quality(PRICES) <= front[-1].figures.quality(PRICES)
    for one in front:
        for other in search.tried:
            worse = (other.figures.quality(PRICES) <= one.figures.quality(PRICES)
                     and other.figures.chemical < one.figures.chemical and other.figures.travel <= one.figures.travel)
            assert not worse
    best = search.best()
    assert best is not None and best.figures.cost(PRICES) == min(t.figures.cost(PRICES) for t in search.tried)


def test_search_comes_near_the_best_there_is():
    """With the formulas of the stand, least cost within the limit, by a fine grid over band and reset."""
    controller = Stiff({"smith": {"smith": "yes"}}, {"fall": (1.0, 5.0)})
    search, _ = search_of(State(None, {}), [Bench(1.0)], generations=15)
    limit, bench = limit_of(controller), Bench(1.0)
    grid = [Choice.of({"band": 25.0 * 1.2**i, "reset": 10.0 * 1.2**k}) for i in range(23) for k in range(21)]
    best = min(added([bench.run(c)], 1.0).cost(PRICES) for c in grid if limit.broken(c)[0] == 0.0)
    found = search.best(AS_IS)
    assert found is not None and found.figures.cost(PRICES) <= 1.02 * best


def test_worth_of_a_way_is_what_it_saves_at_its_best():
    search, _ = search_of(State(None, {}), [Bench(1.0)], generations=12)
    (worth,) = search.worths()
    plain, smith = search.best(AS_IS), search.best("smith")
    assert plain is not None and smith is not None
    assert worth.saving == plain.figures.cost(PRICES) - smith.figures.cost(PRICES) > 5.0
    assert worth.words.startswith("worth having: saves")
    assert Worth("x", -10.0, 100.0).words == "not worth having: costs 10 more than 100 (10.0 %)"
    assert "makes no difference" in Worth("x", 1.0, 100.0).words
    assert "nothing can be said" in Worth("x", None, 100.0).words


def test_given_settings_are_tried_first():
    start = Choice.of({"band": 321.0, "reset": 123.0})
    search, _ = search_of(State(None, {}), [Bench(1.0)], generations=1, starts=(start,))
    assert any(one.choice.mapping.get("band") == 321.0 and one.choice.mapping["reset"] == 123.0
               for one in search.tried)  # fmt: skip


# --- breaking off and going on ---


def everything(search) -> str:
    """All that came of a search, to the last bit."""
    return json.dumps([[one.way, one.number, one.choice.values, repr(one.figures)] for one in search.tried])


@pytest.mark.parametrize("broken", [1, 7, 20])
def test_search_goes_on_as_the_unbroken_one_to_the_bit(tmp_path, broken):
    whole, _ = search_of(State(tmp_path / "whole.json", {"seed": 7}), [Bench(1.0), Bench(2.0)], most=40)
    first = State(tmp_path / "part.json", {"seed": 7})
    _, runs = search_of(first, [Bench(1.0), Bench(2.0)], most=broken)
    assert runs.ran == broken
    again = State(tmp_path / "part.json", {"seed": 7})
    again.load()
    assert len(again.results) == broken
    benches = [Bench(1.0), Bench(2.0)]
    rest, runs = search_of(again, benches, most=40)
    assert everything(rest) == everything(whole)
    assert runs.ran == 40 - broken and benches[0].calls == benches[1].calls == 40 - broken  # nothing ran twice
    assert (tmp_path / "part.json").read_bytes() == (tmp_path / "whole.json").read_bytes()


def test_ctrl_c_keeps_what_was_found(tmp_path):
    state = State(tmp_path / "kept.json", {"seed": 7})
    with pytest.raises(KeyboardInterrupt):
        search_of(state, [Bench(1.0), Bench(2.0, breaks_at=9)])
    again = State(tmp_path / "kept.json", {"seed": 7})
    again.load()
    assert 1 <= len(again.results) <= 9
    rest, _ = search_of(again, [Bench(1.0), Bench(2.0)], most=30)
    whole, _ = search_of(State(None, {}), [Bench(1.0), Bench(2.0)], most=30)
    assert everything(rest) == everything(whole)
    assert threading.active_count() < 20


def test_time_that_is_up_ends_the_search_within_a_generation(tmp_path):
    search, runs = search_of(State(None, {}), [Bench(1.0)], until=time.monotonic() - 1.0)
    assert runs.ran == 0 and not search.tried


def test_state_of_another_search_is_refused(tmp_path):
    path = tmp_path / "state.json"
    search_of(State(path, {"seed": 7, "plant": "a"}), [Bench(1.0)], most=2)
    with pytest.raises(TuningError, match="of a search with another plant and seed; allowed: the same plant file"):
        State(path, {"seed": 8, "plant": "b"}).load()
    path.write_text("{}", encoding="utf-8")
    with pytest.raises(TuningError, match="which is no state of a search"):
        State(path, {}).load()
    with pytest.raises(TuningError, match="which cannot be read"):
        State(tmp_path / "none.json", {}).load()
    with pytest.raises(TuningError, match="cannot be written"):
        State(tmp_path / "no" / "state.json", {}).save()


def test_chemical_that_is_not_counted_is_no_aim(tmp_path):
    class Without(Bench):
        def run(self, choice):
            found = super().run(choice)
            found.chemical = math.nan
            return found

    search, _ = search_of(State(tmp_path / "s.json", {}), [Without(1.0)], most=10)
    assert len(search.tried) == 10 and all(math.isnan(one.figures.chemical) for one in search.tried)
    again = State(tmp_path / "s.json", {})
    again.load()
    assert all(math.isnan(one.chemical) for one in again.results.values())
