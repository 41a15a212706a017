"""`plantsim matrix`: the table, the page, JSON, and one clear sentence for what is wrong."""

import json
from pathlib import Path

import pytest
from pages import Page

from plantsim.cli.main import main

PLANT = Path(__file__).parents[2] / "configs/gravel-pit.yaml"
SHORT = ["--at", "2h", "--for", "20 min", "--only", "FT-102", "--only", "PT-201", "--only", "P-101"]


def run(capsys, *words):
    code = main(["matrix", *map(str, words)])
    out, err = capsys.readouterr()
    return code, out, err


def test_the_table_and_the_page(capsys, tmp_path):
    page = tmp_path / "matrix.html"
    code, out, err = run(capsys, PLANT, *SHORT, "--page", page)
    assert (code, err) == (0, "")
    assert "11 failures, each at 2 h, followed for 20 min, seed 1" in out
    rows = {tuple(line.split()[:2]): line for line in out.splitlines()}
    assert "YC-111 off" in rows["FT-102", "lost"]
    assert "nothing" in rows["PT-201", "high"]
    assert "YA-101" in rows["P-101", "trips"]
    assert "no evidence for safety functions (IEC 61511)" in out
    html = page.read_text(encoding="utf-8")
    found = Page(html)
    assert found.loads == []
    words = " ".join(" ".join(found.texts).split())
    for text in ("cause and effect", "not a hazard study", "signal lost", "YC-111 drive",
                 "by qualified people", "Nothing caught, no effect seen in this time"):  # fmt: skip
        assert text in words, text
    run(capsys, PLANT, *SHORT, "--page", tmp_path / "again.html", "--workers", "1")
    assert (tmp_path / "again.html").read_text(encoding="utf-8") == html


def test_only_what_nothing_caught_and_json(capsys):
    code, out, _ = run(capsys, PLANT, *SHORT, "--uncaught")
    assert code == 0
    assert "PT-201" in out
    assert "\n" + " " * 2 + "FT-102  lost" not in out
    code, out, _ = run(capsys, PLANT, *SHORT, "--json")
    found = json.loads(out)
    assert (found["at"], found["followed"]) == (7200.0, 1200.0)
    by_name = {(one["of"], one["mode"]): one for one in found["failures"]}
    assert by_name["PT-201", "lost"]["uncaught"] is True
    assert by_name["P-101", "trips"]["alarms"][0] == {"alarm": "YA-101", "after": 0.0}
    assert by_name["FT-102", "lost"]["first"] <= 6.0


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (["nowhere.yaml"], "nowhere.yaml: found no such file"),
        ([PLANT, "--at", "3"], "--at: found '3' (no unit)"),
        ([PLANT, "--for", "0 s"], "--for: found '0 s'"),
        ([PLANT, "--only", "LT-110"], "--only: found 'LT-110'"),
        ([PLANT, "--workers", "0"], "--workers: found 0"),
        ([PLANT, "--page", "/nowhere/x.html"], "--page: found '/nowhere/x.html'"),
    ],
)
def test_wrong_words_are_answered_in_one_sentence(capsys, words, expected):
    code, out, err = run(capsys, *words)
    assert code == 2
    assert out == ""
    assert expected in err
    assert "Traceback" not in err
