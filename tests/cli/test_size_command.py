"""`plantsim size`: tables, JSON, the design page, and its messages."""

from __future__ import annotations

import html.parser
import json
from pathlib import Path

import pytest

from plantsim.cli.main import main

CONFIGS = Path(__file__).resolve().parents[2] / "configs"
PIT = str(CONFIGS / "gravel-pit.yaml")
VOID = {"meta", "img", "br", "col", "link"}


class Parser(html.parser.HTMLParser):
    """Checks that tags are closed in order, and keeps what matters."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.images: list[str] = []
        self.tags: list[str] = []
        self.text = ""

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        if tag not in VOID:
            self.open.append(tag)
        for name, value in attrs:
            assert name != "href" or value.startswith("#"), "nothing is loaded"
            if tag == "img" and name == "src":
                self.images.append(value)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.text += data


def test_pumping_as_tables(capsys):
    assert main(["size", PIT, "pumping"]) == 0
    out = capsys.readouterr().out
    assert "no design" in out and "Joukowsky" in out and "specialist" in out and "NPSH_a" in out


def test_water_as_json(capsys):
    assert main(["size", PIT, "water", "--json"]) == 0
    shown = json.loads(capsys.readouterr().out)
    results = {r["key"]: r for r in shown["sheets"][0]["results"]}
    assert results["wash_water"]["text"] == "350 m3/h"
    for r in results.values():
        assert r["formula"] and r["source"], "every number is traced"
    assert "licensed" in shown["caution"]


def test_a_choice_and_a_value_of_the_file(capsys):
    def loss(*more: str) -> float:
        assert main(["size", PIT, "water", "--json", *more]) == 0
        found = json.loads(capsys.readouterr().out)["sheets"][0]["results"]
        return next(r["value"] for r in found if r["key"] == "mud_water")

    assert loss("--set", "size.underflow=600 g/L") < loss()
    assert loss("--set", "units.wash-plant.fines=15 %") > loss()


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    """The design page of the gravel pit, all subjects."""
    path = tmp_path_factory.mktemp("design") / "design.html"
    assert main(["size", PIT, "all", "--page", str(path)]) == 0
    parser = Parser()
    parser.feed(path.read_text(encoding="utf-8"))
    parser.close()
    assert not parser.open
    return parser


def test_the_page_holds_everything(page):
    assert "script" not in page.tags
    assert len(page.images) >= 5 and all(src.startswith("data:image/png;base64,") for src in page.images)
    for words in ("Sump and pumps", "Simulated cycling", "Pumps and pipeline", "Clarifier", "Chemicals", "Mud cells",
                  "Water", "MIL-HDBK-1005/9A", "NEMA MG 10", "Joukowsky"):  # fmt: skip
        assert words in page.text


def test_the_page_carries_its_cautions_beside_the_numbers(page):
    for words in ("invented", "licensed practice", "confined spaces", "Never permission to enter",
                  "a transient study is a specialist's work", "corrosive"):  # fmt: skip
        assert words in page.text
    assert page.text.count("Caution: ") > 30
    assert "safe to enter" not in page.text


@pytest.mark.parametrize("words, said", [
    (["size", PIT, "sumps"], "invalid choice"),
    (["size", PIT, "water", "--set", "size.underflw=600 g/L"], "did you mean 'size.underflow'"),
    (["size", PIT, "water", "--set", "size.underflow=600 m"], "size.underflow"),
    (["size", PIT, "sump", "--set", "size.sump=pond"], "allowed: clean-tank, sump"),
    (["size", PIT, "sump", "--set", "size.start_level=0.5 m"], "stop < start"),
    (["size", PIT, "sump", "--set", "size.poles=five"], "a number"),
    (["size", PIT, "sump", "--seed", "-1"], "size.seed: found -1; allowed: a whole number"),
    (["size", PIT, "sump", "--set", "size.streams=2.5"], "size.streams: found 2.5"),
    (["size", PIT, "sump", "--set", "size.days=-3 d"], "size.days: found -3 d"),
    (["size", PIT, "sump", "--set", "size.inflow=900 m3/h"], "below what the pumps carry"),
    (["size", str(CONFIGS / "small-sand.yaml"), "cells"], "no bank of mud cells"),
    (["size", PIT, "water", "--page", "/nowhere/out.html"], "in a folder that is there"),
    (["size", "absent.yaml", "water"], "absent.yaml"),
])  # fmt: skip
def test_messages(words, said, capsys):
    assert main(words) == 2
    assert said in capsys.readouterr().err


@pytest.mark.parametrize("file", ["small-sand", "high-lift"])
@pytest.mark.parametrize("subject", ["pumping", "clarifier", "chemicals", "water"])
def test_other_sites(file, subject, capsys):
    assert main(["size", str(CONFIGS / f"{file}.yaml"), subject]) == 0
    assert "where the numbers come from" in capsys.readouterr().out


LAB = """
settling_curves:
  thin: {solids: 30 g/L, polymer: 60 g/t, points: [[0 min, 40 cm], [0.5 min, 27 cm], [1 min, 16 cm], [1.5 min, 9 cm],
         [2 min, 6.5 cm], [4 min, 4.6 cm], [8 min, 3.6 cm], [20 min, 2.7 cm], [60 min, 2.3 cm]]}
  feed: {solids: 60 g/L, polymer: 60 g/t, points: [[0 min, 40 cm], [1 min, 31 cm], [2 min, 22 cm], [3 min, 15 cm],
         [5 min, 10.5 cm], [8 min, 8.2 cm], [15 min, 6.6 cm], [30 min, 5.6 cm], [120 min, 4.6 cm]]}
  thick: {solids: 100 g/L, polymer: 60 g/t, points: [[0 min, 40 cm], [2 min, 34 cm], [5 min, 25.5 cm], [8 min, 19 cm],
          [15 min, 14 cm], [30 min, 10.8 cm], [60 min, 9.2 cm], [240 min, 7.6 cm]]}
"""
"""Three cylinders of invented wash water."""


def test_laboratory_tests_size_the_clarifier(tmp_path, capsys):
    path = tmp_path / "lab.yaml"
    path.write_text(LAB)
    assert main(["size", PIT, "clarifier", "--lab", str(path), "--json"]) == 0
    (sheet,) = json.loads(capsys.readouterr().out)["sheets"]
    keys = {r["key"] for r in sheet["results"]}
    assert {"area_coe_clevenger", "area_talmage_fitch", "area_kynch", "area_rise", "area"} <= keys
    assert not any("not a test" in words for words in sheet["cautions"])


def test_bad_laboratory_tests_are_said(tmp_path, capsys):
    path = tmp_path / "lab.yaml"
    path.write_text(LAB.replace("[1 min, 31 cm]", "[3 min, 31 cm]"))
    assert main(["size", PIT, "clarifier", "--lab", str(path)]) == 2
    assert "allowed: time rising" in capsys.readouterr().err


def test_a_range_is_a_table_of_what_changes(capsys, tmp_path):
    path = tmp_path / "range.html"
    words = ["size", PIT, "water", "--set", "size.underflow=400..600 g/L:3", "--page", str(path)]
    assert main(words) == 0
    out = capsys.readouterr().out
    assert "What if: size.underflow" in out and "400 g/L" in out and "500 g/L" in out and "600 g/L" in out
    assert "results do not change over this range" in out
    parser = Parser()
    parser.feed(path.read_text(encoding="utf-8"))
    parser.close()
    assert not parser.open and "500 g/L" in parser.text and parser.images
    assert main([*words[:5], "--json"]) == 0
    shown = json.loads(capsys.readouterr().out)
    assert shown["range"]["key"] == "size.underflow" and shown["range"]["unit"] == "g/L"
    lost = [next(r["value"] for r in v["sheets"][0]["results"] if r["key"] == "mud_water")
            for v in shown["range"]["values"]]  # fmt: skip
    assert lost == sorted(lost, reverse=True) and lost[0] > lost[-1]


def test_a_value_of_a_range_that_cannot_be_says_why(capsys):
    assert main(["size", PIT, "water", "--set", "size.underflow=2000..3000 g/L:2"]) == 0
    out = capsys.readouterr().out
    assert "size.underflow = 3000 g/L:" in out and "not sized" in out
    assert main(["size", PIT, "water", "--set", "size.underflow=3000..4000 g/L:2"]) == 2
    assert "thinner" in capsys.readouterr().err


@pytest.mark.parametrize("value, said", [
    ("400..600 g/L", "LOW..HIGH:COUNT"), ("400..600 g/L:1", "2 to 25"), ("400..600 g/L:many", "2 to 25"),
    ("400 g/m3..600 g/L:3", "one unit"), ("low..high:3", "LOW..HIGH:COUNT"), ("400..400 g/L:3", "different ends"),
    ("400..600 furlong:3", "size.underflow"),
])  # fmt: skip
def test_messages_of_ranges(value, said, capsys):
    assert main(["size", PIT, "water", "--set", f"size.underflow={value}"]) == 2
    assert said in capsys.readouterr().err


def test_two_ranges_are_refused(capsys):
    assert main(["size", PIT, "water", "--set", "size.underflow=4..6 g/L:2", "--set", "size.leaks=1..2 m3/h:2"]) == 2
    assert "found 2 ranges" in capsys.readouterr().err


def test_a_fifth_less_than_the_smallest_volume_does_not_hold(capsys):
    assert main(["size", PIT, "sump", "--json", "--set", "size.days=0 d"]) == 0
    formula, simulated = json.loads(capsys.readouterr().out)["sheets"]
    sized = {r["key"]: r for sheet in (formula, simulated) for r in sheet["results"]}
    assert sized["volume"]["holds"] and "governed by" in sized["volume"]["verdict"]
    assert sized["fifth_less"]["value"] > sized["starts_allowed"]["value"]
    assert 0.7 < sized["proved_volume"]["value"] / sized["volume"]["value"] < 1.05
