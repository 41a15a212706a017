"""`plantsim train` at the command line: one clear sentence for each mistake, and nothing written."""

from __future__ import annotations

import os
import socket

import pytest
from live_rig import ROOT, SAND

from plantsim.cli.main import main
from plantsim.cli.train import _session


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "neither FILE nor --resume"),
        ([SAND, "--resume", "x"], "both FILE and --resume"),
        (["--resume", "x"], "holds no training session"),
        (["no-such.yaml"], "no such file"),
        ([SAND, "--lesson", "level-that-stand"], "did you mean 'level-that-stands'?"),
        ([SAND, "--lesson", "series-pump-trip"], "booster"),
        ([SAND, "--lesson", "packed-bed", "--set", "site.step=2 parsecs"], "site.step"),
        ([SAND, "--port", "99999"], "0 to 65535"),
        ([SAND, "--host", "203.0.113.9"], "a free port"),
    ],
)
def test_a_mistake_is_told_in_a_sentence(words, said, tmp_path, capsys) -> None:
    assert main(["train", "--port", "0", "--out", str(tmp_path / "runs"), *words]) == 2
    error = capsys.readouterr().err
    assert said in error and "Traceback" not in error
    assert not (tmp_path / "runs").exists()


def test_a_port_that_is_taken_is_told(tmp_path, capsys) -> None:
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        s.listen()
        assert main(["train", SAND, "--port", str(s.getsockname()[1]), "--out", str(tmp_path / "runs")]) == 2
    assert "a free port" in capsys.readouterr().err and not (tmp_path / "runs").exists()


def test_the_youngest_session_is_found(tmp_path) -> None:
    for name, when in (("a", 2000), ("b", 3000), ("c", 1000)):
        (tmp_path / name).mkdir()
        (tmp_path / name / "session.json").write_text("{}")
        os.utime(tmp_path / name / "session.json", (when, when))
    assert _session("last", tmp_path) == tmp_path / "b"
    assert _session("a", tmp_path) == tmp_path / "a" and _session(str(tmp_path / "c"), tmp_path) == tmp_path / "c"


def test_the_lessons_are_listed(capsys) -> None:
    assert main(["train", "--lessons"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == 10 and "double-dose" in lines[2] and "high-lift" in lines[3]


def test_a_lesson_of_ones_own_is_judged_before_it_begins(tmp_path, capsys) -> None:
    text = (ROOT / "plantsim" / "lessons" / "level-that-stands.yaml").read_text()
    mine = tmp_path / "mine.yaml"
    mine.write_text(text.replace("no spill from sump", "no spill from sumpp"))
    assert main(["train", SAND, "--lesson", str(mine), "--port", "0", "--out", str(tmp_path / "runs")]) == 2
    assert "goal 'no spill from sumpp'" in capsys.readouterr().err and not (tmp_path / "runs").exists()
