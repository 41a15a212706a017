"""`plantsim explain` on a run that is kept: tables, JSON, picture, and one clear sentence for what is wrong."""

import json
from pathlib import Path

import pytest

from plantsim.cli.main import main

PLANT = Path(__file__).parents[2] / "configs/gravel-pit.yaml"


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    folder = tmp_path_factory.mktemp("runs")
    words = ["run", str(PLANT), "--until", "9h", "--upset", "duty-pump-trip@7h", "--no-page", "--out", str(folder)]
    assert main(words) == 0
    return folder


def run(capsys, kept, *words):
    code = main(["explain", "last", "--out", str(kept), *map(str, words)])
    out, err = capsys.readouterr()
    return code, out, err


def test_cause_symptoms_alarms_and_actions_are_told_in_their_order(capsys, kept):
    code, out, err = run(capsys, kept)
    assert (code, err) == (0, "")
    assert "the duty pump trips" in out
    places = [out.index(words) for words in ("causes:", "symptoms, in order", "sump-line.flow", "sump.level", "alarms:",
                                             "what the logic did:")]  # fmt: skip
    assert places == sorted(places)
    assert "Simulated values" in out


def test_json_has_the_same_and_the_order_is_that_of_the_water(capsys, kept):
    code, out, _ = run(capsys, kept, "--json")
    found = json.loads(out)
    assert code == 0
    assert found["at"] == 7 * 3600.0
    after = {one["quantity"]: one["after"] for one in found["symptoms"]}
    # the pump coasts down within seconds; the sump takes 350 m3/h on 24 m2, 0.24 m a minute
    assert after["sump-line.flow"] <= 30.0
    assert 30.0 < after["sump.level"] < 300.0
    assert {"alarm": "YA-102", "after": 0.0, "until": None} in found["alarms"]
    did = {one["tag"]: one for one in found["actions"]}
    assert did["XC-100"]["did"] == "goes off"
    assert did["XC-100"]["after"] > after["sump.level"]


def test_the_picture(capsys, kept, tmp_path):
    path = tmp_path / "upset.png"
    code, out, _ = run(capsys, kept, "--picture", path)
    assert code == 0
    assert f"picture: {path}" in out
    data = path.read_bytes()
    assert data.startswith(b"\x89PNG")
    run(capsys, kept, "--picture", tmp_path / "again.png")
    assert (tmp_path / "again.png").read_bytes() == data


def test_the_picture_goes_into_the_run_when_no_name_is_given(capsys, kept):
    assert run(capsys, kept, "--picture")[0] == 0
    assert len(list(kept.glob("*/explain.png"))) == 1


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (["--at", "3"], "--at: found '3' (no unit)"),
        (["--at", "20h"], "found a cause at 72000 s; allowed: a time within the record"),
        (["--before", "0 s"], "--before: found '0 s'"),
        (["--picture", "/nowhere/x.png"], "--picture: found '/nowhere/x.png'"),
    ],
)
def test_wrong_words_are_answered_in_one_sentence(capsys, kept, words, expected):
    code, out, err = run(capsys, kept, *words)
    assert code == 2
    assert out == ""
    assert expected in err
    assert "Traceback" not in err
