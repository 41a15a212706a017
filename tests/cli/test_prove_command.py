"""`plantsim prove`: the table, the sheet, JSON, exit codes, and one clear sentence for what is wrong."""

import json
from pathlib import Path

import pytest
from pages import Page

from plantsim.cli.main import main

PLANT = Path(__file__).parents[2] / "configs/gravel-pit.yaml"
GOOD = """\
title: A short look
checks:
  sump-holds: no spill from sump
cases:
  trip:
    until: 30 min
    every: 5 s
    acts: [{at: 20 min, set: AT-201.bias, to: 95 %, for: 5 min, note: a blinded window}]
    checks:
      reading-jumps: after the upset, AT-201 over 800 NTU within 1 min
      washed: {say: wash-plant runs from 0 s to 30 min, why: only the calendar stands before it, untested_ok: yes}
"""


@pytest.fixture
def checks(tmp_path):
    def write(text=GOOD):
        path = tmp_path / "checks.yaml"
        path.write_text(text, encoding="utf-8")
        return path

    return write


def run(capsys, *words):
    code = main(["prove", *map(str, words)])
    out, err = capsys.readouterr()
    return code, out, err


def test_what_fails_is_named_with_its_margin_and_stands_before_the_change(capsys, checks):
    # the wash plant begins half an hour after the start of the file: for 30 min it cannot run
    code, out, err = run(capsys, PLANT, "--checks", checks())
    assert code == 1
    assert err == ""
    rows = {line.split()[1]: line for line in out.splitlines() if line.startswith(("ok", "FAILED", "NOT"))}
    assert rows["sump-holds"].startswith("ok")
    assert rows["washed"].startswith("FAILED")
    assert "-1800 s" in rows["washed"]
    assert "NOT PROVED: 2 of 3 sentences kept in 1 runs, 30 min of plant time" in out
    assert "washed: wash-plant runs from 0 s to 30 min" in out
    assert "IEC 61511" in out


def test_what_is_kept_exits_with_nought_and_says_so_in_json_too(capsys, checks):
    text = GOOD.replace("wash-plant runs from 0 s to 30 min", "not wash-plant")
    code, out, _ = run(capsys, PLANT, "--checks", checks(text), "--json")
    found = json.loads(out)
    assert code == 0
    assert found["passed"] is True
    by_name = {one["name"]: one for one in found["sentences"]}
    assert by_name["sump-holds"]["outcome"] == "ok"
    assert by_name["reading-jumps"]["unit"] == "s"
    # the reading is behind a lag of 20 s with a sample each 5 s, and the rows are 5 s apart; the bias is not lagged
    assert by_name["reading-jumps"]["margin"] >= 50.0
    assert found["runs"][0]["verdicts"].keys() == by_name.keys()


def test_not_tested_is_not_proved(capsys, checks):
    code, out, _ = run(capsys, PLANT, "--checks", checks(GOOD.replace("the upset", "P-101 trips")), "--only",
                       "reading-jumps")  # fmt: skip
    assert code == 1
    assert "NOT TESTED  reading-jumps" in out
    assert "the event never came" in out
    assert "sump-holds" not in out


def test_the_sheet_holds_everything_and_loads_nothing(capsys, checks, tmp_path):
    page = tmp_path / "sheet.html"
    code, out, _ = run(capsys, PLANT, "--checks", checks(), "--page", page)
    assert code == 1
    assert f"sheet: {page}" in out
    html = page.read_text(encoding="utf-8")
    found = Page(html)
    words = " ".join(" ".join(found.texts).split())
    assert found.loads == []
    for text in ("Not proved: 2 of 3 sentences kept", "no evidence for a safety function", "IEC 61511",
                 "by qualified people", "Signed off by", "a blinded window", "only the calendar stands before it",
                 "at 20min: AT-201.bias set to 95 %, for 5min"):  # fmt: skip
        assert text in words, text
    run(capsys, PLANT, "--checks", checks(), "--page", tmp_path / "again.html")
    assert (tmp_path / "again.html").read_text(encoding="utf-8") == html


def test_the_plant_file_can_be_named_by_the_acceptance_file(capsys, checks, tmp_path):
    (tmp_path / "pit.yaml").write_text(PLANT.read_text(encoding="utf-8"), encoding="utf-8")
    path = tmp_path / "pit-acceptance.yaml"
    path.write_text("plant: pit.yaml\n" + GOOD, encoding="utf-8")
    assert run(capsys, "--checks", path)[0] == 1
    assert run(capsys, tmp_path / "pit.yaml", "--only", "sump-holds")[0] == 0


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (["nowhere.yaml", "--checks", "C"], "nowhere.yaml: found no such file"),
        ([PLANT, "--checks", "no.yaml"], "no.yaml: found no such file"),
        ([], "found neither a plant file nor --checks"),
        ([PLANT.with_name("high-lift.yaml")], "found no acceptance file"),
        ([PLANT, "--checks", "C", "--only", "sump-hold"], "(did you mean 'sump-holds'?)"),
        ([PLANT, "--checks", "C", "--workers", "0"], "--workers: found 0"),
        ([PLANT, "--checks", "C", "--page", "/nowhere/x.html"], "--page: found '/nowhere/x.html'"),
        ([PLANT, "--checks", "C", "--set", "site.stepp=2 s"], "--set: site.stepp: found 'stepp'"),
        (["--checks", "C"], "found no plant file"),
    ],
)
def test_wrong_words_are_answered_in_one_sentence(capsys, checks, words, expected):
    path = checks()
    code, out, err = run(capsys, *[path if word == "C" else word for word in words])
    assert code == 2
    assert out == ""
    assert expected in err
    assert "Traceback" not in err


def test_a_wrong_sentence_shows_its_place(capsys, checks):
    code, _, err = run(capsys, PLANT, "--checks", checks(GOOD.replace("no spill from sump", "no spill frm sump")))
    assert code == 2
    assert "checks.yaml:3: checks.sump-holds: found 'frm'" in err
    assert "    no spill frm sump\n             ^^^" in err


def test_the_grammar_is_printed_for_who_asks(capsys):
    code, out, _ = run(capsys, "--grammar")
    assert code == 0
    assert "after EVENT, CONDITION within 15 s" in out
