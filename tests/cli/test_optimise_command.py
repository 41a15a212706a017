"""The words of a search for gains: options, mistakes, tables, JSON and the picture; the plant itself in slow tests."""

from __future__ import annotations

import argparse
import json
import math
from dataclasses import replace
from pathlib import Path

import pytest

from plantsim.analysis.tuning.candidates import Range
from plantsim.analysis.tuning.controller import Choice, Controller
from plantsim.analysis.tuning.models import FOPDT
from plantsim.analysis.tuning.optimise import Figures, Knob, Limit, Prices, Search, Tried, Way, margins_at
from plantsim.analysis.tuning.optimise_job import Budget, Outcome, Proved, optimise, usual_prices
from plantsim.analysis.tuning.points import test_point
from plantsim.cli import optimise as command
from plantsim.errors import PlantsimError
from plantsim.plant.build import load_model
from plantsim.report.front import draw, picture

FILE = str(Path(__file__).resolve().parents[2] / "configs" / "gravel-pit.yaml")
PRICES = Prices(100.0, 0.3, 0.5, 0.005)


def words(*options: str) -> argparse.Namespace:
    parser = argparse.ArgumentParser()
    parser.add_argument("file")
    parser.add_argument("--loop")
    parser.add_argument("--set", action="append", default=[], dest="overrides")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--write", action="store_true")
    parser.add_argument("--output")
    command.add_options(parser)
    return parser.parse_args([FILE, "--loop", "AIC-201", "--optimise", *options])


@pytest.mark.parametrize(
    ("options", "said"),
    [(["--budget", "5"], "--budget: "), (["--candidates", "0"], "found --candidates 0; allowed: 1 or more"),
     (["--population", "3"], "found --population 3; allowed: 4 or more"),
     (["--price", "travle=1"], "did you mean 'travel'?"), (["--price", "travel=much"], "a number, 0 or more"),
     (["--price", "travel=-1"], "price travel: found -1; allowed: 0 or more"),
     (["--state", "nowhere/state.json"], "a file in a folder that exists")],
)  # fmt: skip
def test_mistakes_are_said_before_anything_runs(options, said):
    with pytest.raises(PlantsimError) as caught:
        command.execute(words(*options))
    assert said in str(caught.value)


def test_results_of_an_earlier_search_are_not_written_over(tmp_path):
    (tmp_path / "s.json").write_text("{}", encoding="utf-8")
    with pytest.raises(PlantsimError, match="the results of an earlier search; allowed: --resume"):
        command.execute(words("--state", str(tmp_path / "s.json")))
    assert (tmp_path / "s.json").read_text(encoding="utf-8") == "{}"


def test_usual_prices_take_the_way_to_the_limit():
    """Set point 45 NTU, limit 80 NTU: an error of 35 NTU for an hour costs a tenth of an hour out of spec."""
    model = load_model(FILE)
    controller = Controller(model, model.loops["AIC-201"])
    assert usual_prices(controller, 45.0).error == pytest.approx(0.1 * 100.0 / 35.0, rel=0.02)


def outcome(chemical: float = 480.0, worst: float = 1.9) -> Outcome:
    """An invented search of three ways, with numbers a reader can follow."""
    model = load_model(FILE)
    controller = Controller(model, model.loops["AIC-201"])
    knobs = (Knob("trim_band", 20.0, 1200.0),)
    ways = [Way(name, Choice(()), knobs, Choice(())) for name in ("as the file", "smith", "feedforward")]
    values = {name: controller.read(model, name) for name in controller.tune.variables} | {"flow": 350.0}
    over = [Range(name, "normal", process, process)
            for name, process in (("mild", FOPDT(-2.0, 500.0, 2000.0)), ("late", FOPDT(-4.0, 900.0, 2600.0)))]
    search = Search(controller, ways, Limit(controller, {"normal": values}, over, 2.0), PRICES, 8, 1)
    for i in range(8):
        for k, way in enumerate(ways[:2] if worst < 1.9 else ways):
            out = max(0.0, 1.4 - 0.6 * k - 0.05 * i)
            figures = Figures(1.2 + 0.1 * i, out, 250.0 - 10.0 * i, chemical + 2.0 * i - k,
                              2500.0 + 200.0 * i + 300.0 * k, 50.0)  # fmt: skip
            search.tried.append(Tried(way.name, i, Choice.of({"trim_band": 100.0 + 50.0 * i}), figures))
    present = Figures(6.0, 1.0, 200.0, chemical, 3900.0, 50.0)
    last = search.tried[-1]
    everywhere = Figures(6.0, 3.0, 600.0, 3.0 * chemical, 12000.0, 55.0)
    proved = [Proved(last, Figures(1.9, 0.5, 610.0, 3.0 * chemical - 6.0, 11000.0, 52.0))]
    return Outcome("AIC-201", search, [], ["load at low"], present, 24, 60.0, "%", everywhere, proved)


def test_table_tells_front_cost_and_worth():
    told = command.in_words(outcome(), Path("s.json"), "front.png")
    for part in ("24 candidates ran on the plant in 60 s", "0.3 an error of 1 NTU for an hour", "least cost",
                 "trim_band 450 NTU", "feedforward: worth having: saves", "every case at every one of",
                 "go on with --resume s.json", "picture: front.png", "limits and interlocks tested first"):  # fmt: skip
        assert part in told, part
    assert "3 to 0.5 h out of spec, 600 to 610 NTU h of error, 1440 to 1434 kg" in told
    assert "Ms over the range from 6 to 1.9" in told
    assert "--set 'control.coagulant-dosing.set.trim_band=450 NTU'" in told
    (line,) = [line for line in told.splitlines() if line.startswith("delay margin [min]")]
    assert line.count("late") == 2
    assert "smith: worth having" in told and "nothing within Ms" not in told


def test_it_says_when_nothing_beats_the_present_parameters():
    found = outcome(worst=1.0)
    found = replace(found, present=replace(found.present, out_of_spec=0.0, iae=0.0, chemical=0.0, travel=0.0))
    told = command.in_words(found, Path("s.json"), None)
    assert "nothing within Ms 2 was found that costs less than the present parameters, which break it (Ms 6)" in told


def test_it_says_when_the_present_parameters_stay():
    found = outcome()
    assert found.everywhere is not None
    found = replace(found, proved=[Proved(found.search.tried[0], found.everywhere)])
    assert "the present parameters are the cheapest found" in command.in_words(found, Path("s.json"), None)


def test_json_is_whole_without_a_counter_of_chemical():
    found = outcome(math.nan)
    whole = json.loads(command.as_json(found, Path("s.json"), None))
    assert whole["present"]["chemical"] is None and whole["best"]["way"] == "feedforward"
    present = margins_at(found.search.controller, found.search.limit.values["normal"], FOPDT(-4.0, 900.0, 2600.0))
    assert whole["worst_margins"]["present"]["Ms"] == {"value": present.Ms, "on": "late"}
    assert whole["units"]["travel"] == "%" and len(whole["front"]) == len(found.search.front())


def test_chosen_parameters_go_into_the_file(tmp_path):
    """A copy of the plant file gets the chosen band and nothing else; comments stay."""
    found = outcome()
    target = tmp_path / "tuned.yaml"
    args = words("--output", str(target))
    (told,) = command._written(found, args, [])
    assert f"{target}: line " in told and "trim_band: 450 NTU" in told
    old, new = (Path(name).read_text(encoding="utf-8").splitlines() for name in (FILE, target))
    changed = [(a, b) for a, b in zip(old, new, strict=True) if a != b]
    assert len(changed) == 1 and changed[0][1].replace(", trim_band: 450 NTU", "") == changed[0][0]
    assert load_model(target).loops["AIC-201"].note == load_model(FILE).loops["AIC-201"].note
    assert command._written(found, words(), []) == []


def test_dearer_parameters_are_not_written(tmp_path):
    found = outcome()
    dear = [Proved(found.search.tried[0], Figures(1.5, 99.0, 600.0, 1440.0, 1000.0, 9.0))]
    target = tmp_path / "tuned.yaml"
    (told,) = command._written(replace(found, proved=dear), words("--output", str(target)), [])
    assert "nothing cheaper than the present parameters was found" in told and not target.exists()


def test_picture_shows_every_way(tmp_path):
    assert picture(outcome())[:4] == b"\x89PNG"
    figure = draw(outcome())
    assert len(figure.axes) == 3
    labels = [text.get_text() for text in figure.axes[0].get_legend().get_texts()]
    assert labels == ["as the file", "smith", "feedforward", "present, Ms 6 (beyond the limit)", "least cost"]
    assert len(draw(outcome(math.nan)).axes) == 2  # no chemical, no panel of it
    assert next(tick.get_text() for tick in draw(outcome(worst=1.0)).axes[2].get_yticklabels()) == "feedforward"


# --- on the plant ---


def small(watch: list[str]):
    """The gravel pit with two short cases, so that a candidate takes a part of a second."""
    model = load_model(FILE, [], watch)
    loop = model.loops["AIC-201"]
    assert loop.tune is not None
    tune = replace(loop.tune, settle=7200.0, horizon=7200.0, cases=loop.tune.cases[:2], points={"normal": 1.0},
                   steps=("+10%", "-10%"))  # fmt: skip
    model.loops["AIC-201"] = replace(loop, tune=tune)
    return model


@pytest.mark.slow
def test_search_on_the_plant_goes_on_to_the_bit(tmp_path):
    """Nine candidates at once, or three and then six more from the file: the same, to the last bit."""

    model = small([])
    points = [test_point(small, Controller(model, model.loops["AIC-201"]), "normal", 1.0, 1, lambda words: None)]

    def search(most: int, path: Path, resume: bool) -> Outcome:
        return optimise(small, "AIC-201", "plant", Budget(math.inf, most), population=4, state=path, resume=resume,
                        points=points, tell=lambda words: None, prove=False)  # fmt: skip

    whole = search(9, tmp_path / "whole.json", False)
    search(3, tmp_path / "part.json", False)
    rest = search(9, tmp_path / "part.json", True)
    assert rest.ran == 6 and whole.ran == 9
    assert [repr(one) for one in rest.search.tried] == [repr(one) for one in whole.search.tried]
    assert (tmp_path / "part.json").read_bytes() == (tmp_path / "whole.json").read_bytes()
    assert all(one.figures.ms <= 2.0 for one in whole.search.tried)


@pytest.mark.slow
def test_command_on_the_plant(tmp_path, capsys, monkeypatch):
    monkeypatch.setattr("plantsim.plant.build.load_model", lambda file, overrides=(), watch=(): small(list(watch)))
    state, png = tmp_path / "s.json", tmp_path / "front.png"
    args = words("--candidates", "6", "--points-only", "--state", str(state), "--front", str(png))
    assert command.execute(args) == 0
    told = capsys.readouterr().out
    assert "each candidate goes through: set-point at normal, load at normal" in told
    assert "6 candidates ran on the plant" in told and png.read_bytes()[:4] == b"\x89PNG"
    again = words("--candidates", "6", "--points-only", "--resume", str(state), "--json")
    assert command.execute(again) == 0
    whole = json.loads(capsys.readouterr().out)
    assert whole["ran"] == 0 and whole["tried"] == 6


def test_ctrl_c_says_how_to_go_on(tmp_path, capsys, monkeypatch):
    def stopped(*args, **more):
        (tmp_path / "s.json").write_text("{}", encoding="utf-8")
        raise KeyboardInterrupt

    monkeypatch.setattr("plantsim.analysis.tuning.optimise_job.optimise", stopped)
    with pytest.raises(KeyboardInterrupt, match="go on with --resume"):
        command.execute(words("--points-only", "--state", str(tmp_path / "s.json")))


@pytest.mark.slow
def test_conditions_of_the_plant_are_surveyed():
    """Gain and dead time in cold water and with two clays: all of one sign, and the worst margins named."""
    from plantsim.analysis.tuning.conditions import over_range, survey, worst_over

    model = load_model(FILE)
    controller = Controller(model, model.loops["AIC-201"])
    tested = survey(FILE, controller)
    assert [one.name for one in tested] == ["cold", "clay", "little-clay"]
    gains = [p.factors().gain for one in tested for p in one.processes.values()]
    assert len(gains) >= 8 and max(gains) < 0.0
    each = over_range(controller, tested, Choice(()), {"": 1.0, "a fifth more dead time": 1.2})
    worst = worst_over(controller, tested, Choice(()), {"": 1.0, "a fifth more dead time": 1.2})
    assert worst.Ms[0] == max(m.Ms for m in each.values()) and worst.delay_margin[1].endswith("more dead time")
