"""`plantsim tune`: what it tells, its page, its JSON, gains written back, and what is refused before anything runs."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pytest

from plantsim.cli.main import main

ROOT = Path(__file__).resolve().parents[2]
FILE = ROOT / "configs" / "gravel-pit.yaml"
sys.path.insert(0, str(ROOT / "tests" / "analysis"))

from tuning_plants import SUMP, shorter  # noqa: E402

SET = [word for text in SUMP for word in ("--set", text)]


def test_it_tells_the_whole_job_and_writes_page_and_file(tmp_path, capsys):
    plant, page = tmp_path / "pit.yaml", tmp_path / "sump.html"
    plant.write_text(shorter(FILE.read_text(encoding="utf-8")), encoding="utf-8")
    before = plant.read_text(encoding="utf-8")
    assert main(["tune", str(plant), "--loop", "LIC-101", "--write", "--page", str(page)]) == 0
    told = capsys.readouterr().out
    for part in ("bump from", "== models found", "averaging PI *", "== before and after", "restart", "settings sheet",
                 "approved by", "bump tests on site", "control.sump-level.set.band: 1.8 m (was 1.2 m)",
                 "control.sump-level.set.reset_time", "added: the program's default held before"):  # fmt: skip
        assert part in told, part
    after = plant.read_text(encoding="utf-8")
    assert "band: 1.8 m" in after and after.count("\n") == before.count("\n")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["pit.yaml", "sump.html"]
    shown = page.read_text(encoding="utf-8")
    assert "Written into the plant file" in shown and "Settings sheet" in shown and shown.count("<img") == 1
    assert main(["check", str(plant)]) == 0


def test_json_holds_rules_trials_and_sheet_and_the_file_stays(tmp_path, capsys):
    before = FILE.read_bytes()
    assert main(["tune", str(FILE), "--loop", "LIC-101", *SET, "--rule", "SIMC PI", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["verdict"]["chosen"] == "SIMC PI" and found["verdict"]["recommended"] == "averaging PI"
    rules = {one["name"]: one for one in found["rules"]}
    assert rules["present"]["parameters"] == {} and set(rules["SIMC PI"]["parameters"]) == {"band", "reset_time"}
    assert [t["case"] for t in rules["SIMC PI"]["trials"]] == ["set-point", "load", "surge", "clay", "restart"]
    assert rules["SIMC PI"]["nominal"]["Ms"] == pytest.approx(1.7, abs=0.05)  # Skogestad 2003, table 1: integrating
    assert any(line["what"] == "approved by" and line["value"] == "" for line in found["sheet"])
    assert found["written"] is None and "bump tests on site" in found["caution"] and FILE.read_bytes() == before


@pytest.mark.parametrize(
    "words, said",
    [
        (["--loop", "AIC-210"], "did you mean 'AIC-201'"),
        (["--loop", "LIC-101", "--write", "--output", "x.yaml"], "--write and --output together"),
        (["--loop", "LIC-101", *SET, "--write"], "to write gains found for the plant file as it stands"),
        (["--loop", "LIC-101", "--page", "nowhere/page.html"], "--page: found 'nowhere/page.html'"),
        (["--loop", "LIC-101", "--threads", "0"], "found --threads 0; allowed: 1 or more"),
        (["--loop", "LIC-101", "--optimise", "--page", "page.html"], "--optimise with neither"),
        (["--loop", "LIC-101", "--set", "loops.LIC-101.tune={}"], "loops.LIC-101.tune"),
    ],
)  # fmt: skip
def test_what_cannot_be_done_is_said_before_anything_runs(words, said, capsys):
    assert main(["tune", str(FILE), *words]) == 2
    told = capsys.readouterr()
    assert said in told.err and "ran 4h" not in told.out and "Traceback" not in told.err


def test_a_loop_without_laws_is_told_where_they_belong(tmp_path, capsys):
    plant = tmp_path / "pit.yaml"
    text = FILE.read_text(encoding="utf-8")
    head, mark, tail = text.partition("  LIC-101:\n")
    start = tail.index("    tune:\n")
    plant.write_text(head + mark + tail[:start] + tail[tail.index("\nrounds:"):], encoding="utf-8")
    assert main(["tune", str(plant), "--loop", "LIC-101"]) == 2
    assert "loops.TAG.tune" in capsys.readouterr().err
