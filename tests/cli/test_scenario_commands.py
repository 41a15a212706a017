"""Scenarios and upsets from the command line: runs that keep what was done, the list of upsets, and what is refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from plantsim.cli.main import main
from plantsim.plant.upsets import read_upset, shipped_upsets
from plantsim.store.folder import list_runs, read_run

ROOT = Path(__file__).resolve().parents[2]
PIT, SAND = (str(ROOT / "configs" / name) for name in ("gravel-pit.yaml", "small-sand.yaml"))


@pytest.fixture(autouse=True)
def _own_runs(tmp_path, monkeypatch):
    monkeypatch.setenv("PLANTSIM_RUNS", str(tmp_path / "runs"))


def go(capsys, *argv: str) -> tuple[int, str, str]:
    """Exit code, output and error stream of one command."""
    code = main(argv)
    captured = capsys.readouterr()
    return code, captured.out, captured.err


def test_a_run_with_an_upset_says_what_was_done_and_can_do_it_again(capsys, tmp_path):
    code, _, err = go(capsys, "run", PIT, "--until", "90min", "--no-page", "--upset", "duty-pump-trip@1h", "--respond")
    assert code == 0, err
    (info,) = list_runs()
    data = read_run(info.path)
    done = [(at, words) for at, kind, words in data.journal if kind in ("act", "operator")]
    assert (3600.0, "the duty pump trips") in done
    assert any(words.startswith("the further standby is") for _, words in done)
    again = tmp_path / "again.yaml"
    again.write_text(data.resolved, encoding="utf-8")
    assert go(capsys, "run", str(again), "--until", "90min", "--no-page")[0] == 0
    second = read_run(list_runs()[-1].path)
    assert second.journal == data.journal
    assert {n: f.value for n, f in second.figures.items()} == {n: f.value for n, f in data.figures.items()}


def test_a_scenario_file_runs(capsys, tmp_path):
    path = tmp_path / "afternoon.yaml"
    path.write_text("acts: [{at: 10 min, set: wash-plant.feed_factor, to: x1.2, note: more feed}]\n", encoding="utf-8")
    assert go(capsys, "run", SAND, "--until", "30min", "--no-page", "--scenario", str(path))[0] == 0
    assert (600.0, "act", "more feed") in read_run(list_runs()[0].path).journal


def test_the_demonstration_scenario_runs_as_it_says(capsys):
    """Every line of the file is in the journal at its time."""
    path = ROOT / "configs" / "scenarios" / "gravel-pit-afternoon.yaml"
    code, _, err = go(capsys, "run", PIT, "--until", "10h", "--no-page", "--scenario", str(path))
    assert code == 0, err
    said = {words: at / 3600.0 for at, kind, words in read_run(list_runs()[0].path).journal
            if kind in ("act", "operator")}  # fmt: skip
    assert said["the wash plant is driven up"] == 6.0
    assert 7.0 <= said["the coagulant pump loses its prime"] <= 8.0
    waited = said["draw-down test, then bled"] - said["the coagulant pump loses its prime"]
    assert waited == pytest.approx(0.2, abs=1e-3)
    assert said["a shower"] == 9.0 and said["the rake is put up by hand"] == 6.5


def test_a_scenario_is_checked_without_a_run(capsys, tmp_path):
    path = ROOT / "configs" / "scenarios" / "gravel-pit-afternoon.yaml"
    code, out, err = go(capsys, "check", PIT, "--scenario", str(path))
    assert (code, err) == (0, "") and out.splitlines()[-1].endswith("nothing wrong found; 6 acts, 2 upsets")
    code, out, err = go(capsys, "check", SAND, "--scenario", str(path))
    assert (code, out) == (2, "")
    assert len(err.splitlines()) >= 1 and all(line.startswith(f"{path}:") for line in err.splitlines())
    assert list_runs() == []


@pytest.mark.parametrize(("words", "message"), [
    (("--upset", "duty-pump-trip"), "--upset: found 'duty-pump-trip'; allowed: NAME@TIME"),
    (("--upset", "duty-pump-tripp@1h"), "(did you mean 'duty-pump-trip'?)"),
    (("--upset", "duty-pump-trip@1"), "upsets.0.at: found '1' (no unit)"),
    (("--upset", "duty-pump-trip@3h"), "duty-pump-trip: found 'the standby is away for repair' at 3 h; allowed: before "
     "the end of the run, 1.5 h (--until)"),
    (("--respond",), "--respond: found it without --upset"),
    (("--upset", "duty-pump-trip@1h", "--scenario", "s.yaml"), "--upset: found it beside --scenario"),
    (("--scenario", "nowhere.yaml"), "nowhere.yaml: found no such file"),
])  # fmt: skip
def test_what_is_wrong_is_told_in_one_sentence_and_nothing_is_kept(capsys, words, message):
    code, out, err = go(capsys, "run", PIT, "--until", "90min", "--no-page", *words)
    assert (code, out) == (2, "")
    assert message in err and "Traceback" not in err
    assert list_runs() == []


def test_the_list_has_every_upset_and_leaves_out_what_a_plant_has_not(capsys):
    code, out, err = go(capsys, "upsets")
    assert (code, err) == (0, "")
    assert [line.split()[1] for line in out.splitlines()[1:]] == list(shipped_upsets())
    code, out, _ = go(capsys, "upsets", "--plant", SAND)
    assert code == 0
    assert "not on this plant: polymer-runout: found 'polymer-runout', which needs a make-down plant" in out


@pytest.mark.parametrize("plant", [(), ("--plant", PIT)])
def test_every_upset_explains_itself(capsys, plant):
    for name, path in shipped_upsets().items():
        code, out, err = go(capsys, "upsets", name, *plant)
        assert (code, err) == (0, "")
        tree = read_upset(path)
        assert f"{name} ({tree.number}): {tree.title}" in out
        for words in ("what is done", "what is seen, in this order", "the answer", "if nobody acts", "cautions",
                      f"--upset {name}@", "Simulated values"):  # fmt: skip
            assert words in out


def test_an_upset_is_followed_on_a_plant(capsys):
    code, out, err = go(capsys, "upsets", "duty-pump-trip", "--plant", PIT, "--follow", "--at", "7h")
    assert (code, err) == (0, "")
    lines = out.splitlines()
    assert lines[0] == ("duty-pump-trip on Alder Fold gravel pit: The duty pump trips while its standby is away for "
                        "repair, at 7h, seed 1")
    seen = [line.split()[0] for line in lines[3:8]]
    assert seen[0] == "2s" and "not" not in seen
    (verdict,) = [line for line in lines if line.startswith("wash-plant for 50 % of the time")]
    assert verdict.split()[-3:] == ["ok", "failed", "ok"]


@pytest.mark.parametrize(("words", "message"), [
    (("duty-pump-trip", "--follow"), "--follow: found it without NAME and --plant"),
    (("duty-pump-trip", "--at", "7h"), "--at: found it without --follow"),
    (("duty-pump-trip", "--plant", PIT, "--follow", "--at", "7"), "--at: found '7' (no unit)"),
    (("duty-pump-trip", "--plant", SAND, "--follow"), "allowed:"),
])  # fmt: skip
def test_following_asks_for_all_it_needs(capsys, words, message):
    code, out, err = go(capsys, "upsets", *words)
    assert (code, out) == (2, "")
    assert message in err


def test_an_upset_nobody_has_is_refused(capsys):
    code, out, err = go(capsys, "upsets", "duty-pump-tirp")
    assert (code, out) == (2, "")
    assert "(did you mean 'duty-pump-trip'?)" in err
