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
