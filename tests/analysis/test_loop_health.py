"""Health of loops from records whose answer is known, and from a run of the plant."""

from __future__ import annotations

import dataclasses
import json
import math
from pathlib import Path

import numpy as np
import pytest

from plantsim.analysis.loop_health import Channels, health, longest_stretch
from plantsim.cli.main import main
from plantsim.plant.model import Loop, Point, Tag

FILE = str(Path(__file__).resolve().parents[2] / "configs" / "gravel-pit.yaml")
ROWS = np.arange(8640) * 10.0
LOOP = Loop("TIC-1", Tag("TT-1", 0, "degC", "", "instrument"), Point("FV-1", "%", 0, False, 3), low=0.0, high=100.0,
            through="pipe")  # fmt: skip
CHANNELS = Channels("TT-1", "FV-1", "FV-1", 50.0, "")


def judged(series: dict[str, np.ndarray], channels: Channels = CHANNELS, loop: Loop = LOOP, **more):
    found = health(loop, channels, ROWS, series, **more)
    return found, {one.name: one for one in found.indices}


def swinging(phase: float) -> dict[str, np.ndarray]:
    """A swing of 2 degC in 20 min, and an output of 5 % shifted to it by some part of a period."""
    turn = 2.0 * np.pi * ROWS / 1200.0
    return {"TT-1": 50.0 + 2.0 * np.sin(turn), "FV-1": 40.0 + 5.0 * np.sin(turn + 2.0 * np.pi * phase)}


def test_figures_of_a_swing():
    """Mean of |sin| is 2/pi, of its square 1/2; four amplitudes of travel a period, three periods an hour."""
    found, one = judged(swinging(0.5), dead_time=120.0)
    assert found.service == found.stretch == 86400.0
    assert one["IAE"].value == pytest.approx(24.0 * 2.0 * 2.0 / math.pi, rel=1e-3) and one["IAE"].unit == "degC h"
    assert one["ISE"].value == pytest.approx(24.0 * 2.0, rel=1e-3)
    assert one["travel"].value == pytest.approx(72 * 20.0, rel=2e-3)
    assert "60 % and 6 reversals an hour" in one["travel"].words.replace("5.99", "6")
    assert "swings with a period of 20 min" in one["oscillation"].words
    assert one["at limit"].value == 0.0 and one["by hand or frozen"].value == 0.0
    assert "not from the valve" in one["sticking"].words


def test_swing_a_quarter_of_a_period_apart_is_sticking():
    assert "signature of a sticking valve" in judged(swinging(0.25))[1]["sticking"].words


def test_integrating_process_is_refused_a_judgement_of_its_valve():
    class Kinds:
        models = ("integrating", "integrating-lag")

    loop = dataclasses.replace(LOOP, tune=Kinds())  # type: ignore[arg-type]
    one = judged(swinging(0.25), loop=loop)[1]["sticking"]
    assert one.value is None and "shifts by a quarter of a period by itself" in one.words


def test_output_at_its_limit_and_by_hand():
    series = swinging(0.5)
    series["FV-1"][1000:2000] = 100.0
    series["FV-1"][3000:3432] = 37.5
    one = judged(series)[1]
    assert one["at limit"].value == pytest.approx(100.0 * 1000 / 8640, abs=0.05)
    assert one["by hand or frozen"].value == pytest.approx(5.0, abs=0.1)


def test_limits_nobody_states_are_taken_from_an_output_that_stands_at_its_ends():
    series = swinging(0.5)
    series["KC-1"] = np.clip(series["FV-1"] - 40.0, -30.0, 4.0)
    one = judged(series, dataclasses.replace(CHANNELS, output="KC-1"))[1]
    share = 2.0 * (math.pi / 2.0 - math.asin(0.8)) / (2.0 * math.pi)
    assert one["at limit"].value == pytest.approx(100.0 * share, abs=1.0)
    assert one["at limit"].words == "KC-1 at 4"


def test_only_time_in_service_counts():
    series = swinging(0.5)
    series["flow"] = np.where((ROWS > 20000.0) & (ROWS < 24000.0), 0.0, 100.0)
    series["TT-1"][series["flow"] == 0.0] = 500.0
    found, one = judged(series, dataclasses.replace(CHANNELS, service="flow"))
    assert found.service == pytest.approx(86400.0 - 4000.0, abs=20.0)
    assert found.stretch == pytest.approx(86400.0 - 24000.0, abs=20.0)
    assert one["IAE"].value == pytest.approx((86400.0 - 4000.0) / 3600.0 * 4.0 / math.pi, rel=5e-3)


def test_never_in_service_and_no_set_point():
    series = swinging(0.5) | {"flow": np.zeros(len(ROWS))}
    found, one = judged(series, dataclasses.replace(CHANNELS, service="flow"))
    assert not one and "never in service" in found.notes[0]
    found, one = judged(series, dataclasses.replace(CHANNELS, setpoint=math.nan))
    assert "errors are from the mean" in found.notes[0]
    assert one["ISE"].value == pytest.approx(48.0, rel=1e-3)


def test_transit_stands_in_for_the_dead_time_and_is_said_to():
    series = swinging(0.5)
    rng = np.random.default_rng(1)
    series["TT-1"] = 50.0 + np.convolve(rng.normal(size=len(ROWS)), np.ones(13), mode="same")
    without = judged(series)[1]["Harris index"]
    assert without.value is None and "no dead time is stated" in without.words
    series["pipe.transit"] = np.full(len(ROWS), 120.0)
    transit = judged(series)[1]["Harris index"]
    assert transit.value is not None and "the least the dead time can be" in transit.words
    stated = judged(series, dead_time=120.0)[1]["Harris index"]
    # a moving average of 13 rows is minimum variance control for a dead time of 12 rows and the hold
    assert stated.value == pytest.approx(1.0, abs=0.05)


def test_longest_stretch():
    assert longest_stretch(np.zeros(3, dtype=bool)) == slice(0, 0)
    assert longest_stretch(np.array([1, 1, 0, 1, 1, 1], dtype=bool)) == slice(3, 6)


def test_command_judges_the_loops_of_a_run(tmp_path, capsys):
    """Four hours of the gravel pit: every loop of its plant file, with its set point and output found by themselves."""
    out = str(tmp_path)
    assert main(["run", FILE, "--until", "4h", "--no-page", "--out", out]) == 0
    capsys.readouterr()
    assert main(["loops", "last", "--out", out, "--json", "--after", "1h"]) == 0
    whole = json.loads(capsys.readouterr().out)
    loops = {one["loop"]: one for one in whole["loops"]}
    assert list(loops) == ["AIC-201", "LIC-201", "LIC-101"]
    coagulant = loops["AIC-201"]
    assert coagulant["channels"] == {"measured": "AT-201", "output": "KC-111", "actuator": "SC-111", "setpoint": 45.0,
                                     "service": "clarifier.overflow"}  # fmt: skip
    assert {one["name"] for one in coagulant["figures"]} == {
        "IAE", "ISE", "travel", "oscillation", "Harris index", "at limit", "by hand or frozen", "sticking"}  # fmt: skip
    assert all(one["source"] for one in coagulant["figures"])
    assert main(["loops", "last", "--out", out, "--loop", "AIC-201", "--dead-time", "AIC-201=2min"]) == 0
    text = capsys.readouterr().out
    assert "AIC-201: AT-201 by KC-111" in text and "LIC-101" not in text
    assert "a stated dead time of 2 min" in text or "refused: " in text
    assert "qualified people" in text


@pytest.mark.parametrize(
    ("words", "said"),
    [(["--loop", "AIC-211"], "found loop 'AIC-211'; allowed: a loop of the plant file: AIC-201"),
     (["--dead-time", "AIC-201"], "TAG=TIME"), (["--dead-time", "AIC-201=5 m3"], "--dead-time AIC-201: "),
     (["--after", "3"], "--after: "), (["--after", "9h"], "less than the length")],
)  # fmt: skip
def test_command_says_what_is_wrong(words, said, tmp_path, capsys, one_run):
    assert main(["loops", "last", "--out", one_run, *words]) == 2
    assert said in capsys.readouterr().err


@pytest.fixture(scope="module")
def one_run(tmp_path_factory):
    out = str(tmp_path_factory.mktemp("runs"))
    assert main(["run", FILE, "--until", "1h", "--no-page", "--out", out]) == 0
    return out
