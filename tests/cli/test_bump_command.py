"""`plantsim bump`: its words, its record, which `plantsim identify` reads back, and its JSON."""

from __future__ import annotations

import json
from pathlib import Path

from plantsim.cli.main import main

FILE = str(Path(__file__).resolve().parents[2] / "configs" / "gravel-pit.yaml")


def test_it_says_what_it_did_and_writes_records_that_identify_reads(tmp_path, capsys):
    csv, png = tmp_path / "sump.csv", tmp_path / "sump.png"
    code = main(["bump", FILE, "--loop", "LIC-101", "--step", "3", "--feed", "85%", "--wait", "20 min",
                 "--csv", str(csv), "--picture", str(png)])  # fmt: skip
    told = capsys.readouterr().out
    assert code == 0
    for part in ("SC-101 by hand at", "LT-101 has not settled 20min later", "+3 %", "-3 %", "bump tests on site"):
        assert part in told
    assert (tmp_path / "sump-1.png").read_bytes()[:4] == b"\x89PNG"
    assert main(["identify", str(tmp_path / "sump-2.csv"), "--model", "integrating", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["units"] == {"time": "s", "output": "%", "measurement": "m"}
    assert found["model"]["parameters"]["k"]["value"] < 0.0


def test_json_holds_the_journal_and_every_model(capsys):
    assert main(["bump", FILE, "--loop", "LIC-101", "--step=-3", "--wait", "20min", "--feed", "85%", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert (found["loop"], found["measures"], found["moves"]) == ("LIC-101", "LT-101", "SC-101")
    assert found["bumps"][0]["change"] > 0.1 and found["bumps"][0]["identification"]["moves"]
    assert any("bump from" in line for line in found["journal"])


def test_a_relay_test_shows_its_swings(capsys):
    code = main(["bump", FILE, "--loop", "LIC-101", "--relay", "--step", "3", "--feed", "85%", "--hysteresis", "0.1"])
    assert code == 0
    told = capsys.readouterr().out
    assert "LT-101 falls with SC-101" in told and "band of 0.1 m" in told and "the last two alike" in told


def test_a_wrong_loop_names_the_nearest(capsys):
    assert main(["bump", FILE, "--loop", "AIC-210"]) == 2
    assert "did you mean 'AIC-201'?" in capsys.readouterr().err


def test_steps_that_disagree_about_the_gain_are_said_to():
    """First order on both sides, three times as steep above: no one model holds."""
    import numpy as np

    from plantsim.analysis.identify import identify, make_record
    from plantsim.cli.bump import _unlike

    time = np.arange(400) * 5.0
    rise = -np.expm1(-np.maximum(time - 300.0, 0.0) / 100.0)
    noise = np.random.default_rng(1).normal(0.0, 0.1, 400)
    models = [identify(make_record(time, np.where(time >= 260.0, 10.0, 5.0), gain * 5.0 * rise + noise), ["first"])
              for gain in (3.0, 1.0)]  # fmt: skip
    (text,) = _unlike([*models, "refused"])
    assert "differs by a factor of 3 between" in text or "differs by a factor of 3.0 between" in text
    assert _unlike([models[0], models[0]]) == [] and _unlike([]) == []
