"""On the gravel pit: gains tuned at the normal flow alone fail at low flow, gains by flow and compensation hold.

The dead time of the coagulant loop is water moved, not time: at 70 % of the feed it is longer, and the gain of the
clarifier is larger.
"""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from plantsim.analysis.tuning.candidates import nominal
from plantsim.analysis.tuning.conditions import over_range, worst_over
from plantsim.analysis.tuning.controller import Choice, Controller
from plantsim.analysis.tuning.points import test_point as bump_point
from plantsim.analysis.tuning.rules import simc
from plantsim.analysis.tuning.trials import Settled, Stand
from plantsim.plant.build import load_model

FILE = str(Path(__file__).resolve().parents[2] / "configs" / "gravel-pit.yaml")
ONE_GAIN = {"gain_low": 1.0, "flow_reference": 1.0}

pytestmark = pytest.mark.slow


def plant(watch: list[str]):
    return load_model(FILE, [], watch)


@pytest.fixture(scope="module")
def bench():
    """Controller, bump tests at normal and low flow, and SIMC settings (Skogestad 2003) from the normal flow alone."""
    model = plant([])
    controller = Controller(model, model.loops["AIC-201"])
    points = [bump_point(plant, controller, name, share, 1, lambda words: None)
              for name, share in (("normal", 1.0), ("low", 0.7))]  # fmt: skip
    first = nominal(points)
    assert first.short is not None
    return controller, points, simc(first.short, scan=controller.scan), first


def test_dead_time_is_longer_and_gain_larger_at_low_flow(bench):
    """70 % of the flow: plug flow alone makes the dead time 1/0.7 of what it was; what mixes makes it less."""
    _, points, _, _ = bench
    mean = {}
    for point in points:
        shorts = [one.short for one in point.found if one.short is not None]
        mean[point.name] = [sum(abs(getattr(s, name)) for s in shorts) / len(shorts) for name in ("K", "L")]
    assert mean["low"][0] > 1.3 * mean["normal"][0]
    assert 1.1 * mean["normal"][1] < mean["low"][1] < 1.6 * mean["normal"][1]


def test_nominal_tuning_fails_at_low_flow_and_gains_by_flow_hold(bench):
    controller, points, asked, first = bench
    values = points[0].values
    one_gain = controller.choose(asked, values, ONE_GAIN)
    by_flow = controller.choose(asked, values)
    steeper = controller.choose(asked, values, {"gain_low": 0.3})
    fixed = over_range(controller, points, one_gain)
    # where it was tuned it is as SIMC promises (Ms 1.59 on a first order with dead time, Skogestad 2003, table 1)
    assert fixed[first.name].Ms == pytest.approx(1.59, abs=0.15)
    assert not worst_over(controller, points, one_gain).stable
    assert worst_over(controller, points, one_gain).Ms[1].startswith("low")
    held = worst_over(controller, points, by_flow)
    assert held.stable and held.Ms[0] < 4.0
    assert worst_over(controller, points, steeper).Ms[0] < 2.5


def test_compensation_holds_at_low_flow_where_the_same_gains_without_it_fail(bench):
    """The same gains with and without a Smith predictor of the normal model, whose delay follows the flow."""
    controller, points, asked, first = bench
    s = first.short
    model = {"model_fall": abs(s.K) * points[0].values["dose"] * points[0].values["trim_limit"] / 100.0,
             "model_lag": s.T, "line_volume": s.L * points[0].values["flow"] / 3600.0}  # fmt: skip
    quick = {"trim_band": 0.76 * controller.choose(asked, points[0].values).mapping["trim_band"], "reset_time": s.T}
    plain = worst_over(controller, points, Choice.of(quick))
    smith = worst_over(controller, points, Choice.of({**quick, **model, "smith": 1.0}))
    assert smith.stable and smith.Ms[0] < 3.5
    assert not plain.stable or plain.Ms[0] > 1.5 * smith.Ms[0]


def test_the_plant_says_the_same(bench):
    """15 % more fines at 70 % feed: with one gain the turbidity swings on for hours, with gains by flow it comes to
    rest, and its error is smaller."""
    controller, points, asked, _ = bench
    values = points[0].values
    settled = Settled(plant, controller, "low", 0.7, 1)
    load = next(case for case in controller.tune.cases if case.name == "load")
    stand = Stand(settled, load)
    fixed = stand.run(controller.choose(asked, values, ONE_GAIN))
    by_flow = stand.run(controller.choose(asked, values))
    assert fixed.unrest > 1.5 * by_flow.unrest
    assert fixed.iae > 1.15 * by_flow.iae
    assert math.isfinite(fixed.peak)
