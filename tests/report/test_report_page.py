"""The page of a run: whole, safe, self-contained, with the cautions where they belong."""

import base64
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
from invented_runs import gravel
from test_report_pictures import HOSTILE, crowded, size_of

from plantsim.report import cautions
from plantsim.report.page import write_page
from plantsim.store.data import Figure, RunData

VOID = {"meta", "img", "col", "br", "link", "hr", "input"}


class Page(HTMLParser):
    """A page as a reader meets it; a tag closed out of turn is an error."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[tuple[str, str]] = []
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if data.strip():
            self.words.append((self.open[-1] if self.open else "", " ".join(data.split())))

    @property
    def text(self) -> str:
        """All words, but not those of the style sheet."""
        return " ".join(words for tag, words in self.words if tag != "style")


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> tuple[Page, str, list[Path], RunData]:
    """The page of the gravel site's day."""
    folder = tmp_path_factory.mktemp("day")
    run = gravel()
    paths = write_page(run, folder)
    text = (folder / "report.html").read_text(encoding="utf-8")
    return Page(text), text, paths, run


def test_the_files_of_a_report(page: tuple[Page, str, list[Path], RunData]) -> None:
    """All are named, all are there, the pictures are pictures, the page embeds the very same bytes."""
    parsed, _, paths, _ = page
    assert [path.name for path in paths] == ["trends.png", "bed-clarifier.png", "report.html"]
    assert sorted(path.name for path in paths[0].parent.iterdir()) == sorted(path.name for path in paths)
    images = [attributes for tag, attributes in parsed.tags if tag == "img"]
    assert len(images) == 2
    for path, attributes in zip(paths, images):
        kind, _, data = (attributes["src"] or "").partition(",")
        assert kind == "data:image/png;base64" and attributes["alt"]
        assert base64.b64decode(data) == path.read_bytes()
        assert size_of(path.read_bytes())[0] > 900


def test_the_page_needs_nothing_from_outside(page: tuple[Page, str, list[Path], RunData]) -> None:
    """No script, no link but to itself, nothing the style sheet fetches; every place linked to exists."""
    parsed, text, _, _ = page
    places = {attributes.get("id") for _, attributes in parsed.tags}
    for tag, attributes in parsed.tags:
        assert tag not in ("script", "link", "iframe", "object", "base", "form")
        assert not any(name.startswith("on") for name in attributes)
        if "href" in attributes:
            assert (attributes["href"] or "").removeprefix("#") in places and attributes["href"][:1] == "#"
        if "src" in attributes:
            assert (attributes["src"] or "").startswith("data:image/png;base64,")
    without_images = re.sub(r"base64,[A-Za-z0-9+/=]+", "", text)
    assert "://" not in without_images and "url(" not in without_images and "@import" not in without_images
    assert text.startswith("<!DOCTYPE html>") and len(text) < 2_000_000


def test_the_head_says_what_it_is(page: tuple[Page, str, list[Path], RunData]) -> None:
    """Site, invented, seed, period, versions."""
    head = page[0].text.split(" Key figures ")[0]
    for words in ("Invented gravel site, cold valley", cautions.TRANSFER, cautions.INVENTED, "2027-04-05-gravel-1",
                  "Mon 5 Apr 2027 05:00 to Tue 6 Apr 2027 05:00, 24 h", "seed 7", "configs/gravel-pit.yaml",
                  "plantsim 0.1.0, numpy 2.1.0", "a line with coarse in it ran below its limit velocity"):  # fmt: skip
        assert words in head


def test_every_figure_stands_with_unit_and_meaning(page: tuple[Page, str, list[Path], RunData]) -> None:
    """None is lost on the way into its group; the cautions of a group come before the next group."""
    parsed, _, _, run = page
    text = parsed.text
    for name, figure in run.figures.items():
        meaning = figure.meaning[0].upper() + figure.meaning[1:]
        assert meaning in text and name.split(".")[1].replace("_", " ") in text
    assert "92.94 % Clean water returned" in text and "kWh/m³" in text
    mud = text[text.index("cell-3 strength 4.1 kPa") :]
    for caution in cautions.CAUTIONS["mud"]:
        assert 0 < mud.index(caution) < mud.index(" Trends ")
    dosing = text[text.index("polymer-skid dose solids 51 g/t") :]
    assert dosing.index(cautions.CAUTIONS["dosing"][1]) < dosing.index("cell-3 strength")


def test_the_cautions_are_there(page: tuple[Page, str, list[Path], RunData]) -> None:
    """What people have been hurt by, each in words that cannot be missed, and once more all together."""
    text = page[0].text
    for words in ("bump tests", "qualified review", "tested interlocks", "look solid and are not",
                  "confined spaces", "never permission to enter", "Local codes and licensed practice", "locked out",
                  "slippery"):  # fmt: skip
        assert words in text
    together = text[text.rindex(" Cautions ") :]
    for topic, items in cautions.CAUTIONS.items():
        assert all(item in (text if topic == "control" else together) for item in items)
    trends = text[text.rindex(" Trends ") : text.rindex(" Bed over time ")]
    assert cautions.CAUTIONS["mud"][0] in trends and cautions.CAUTIONS["control"][0] in trends


def test_balances_and_their_closure(page: tuple[Page, str, list[Path], RunData]) -> None:
    """Ways in and out with their sums, what nothing took left out, gaps as they are."""
    text = page[0].text
    # feed 10, supply 20, chemical 30, rain 40 m3 in; discharge 60, evaporation 70, product 80 m3 out
    assert "all in 100 " in text and "all out 210 " in text
    assert "in: rain 40" in text and "spilt" not in text
    assert "water m³ 100 60 0 40 3.1e-13" in text and "does not close" not in text
    run = gravel()
    open_run = replace(run, closure={"fines": {"in": 5.0, "out": 1.0, "reaction": 0.0, "change": 3.0, "gap": 0.2}})
    rows = write_text(open_run)
    assert "(does not close)" in rows


def write_text(run: RunData) -> str:
    """The page of a run without its pictures."""
    from plantsim.report.page import render

    return render(run, {"trends.png": b""}, [])


def test_the_journal_is_told_in_few_rows(page: tuple[Page, str, list[Path], RunData]) -> None:
    """Hundreds of starts are one row; a huge journal stays a small page."""
    text = page[0].text
    assert "Mon 5 Apr 05:00 206 P-102 started, level 1.800 m Tue 6 Apr 04:55" in text
    run = gravel()
    flood = [(float(k), f"kind {k % 90}", f"thing {chr(97 + k % 26)}{k % 7919}x happened") for k in range(40_000)]
    flooded = write_text(replace(run, journal=flood))
    assert flooded.count("<tr>") < 800 and len(flooded) < 250_000
    assert "40000 entries" in flooded and "entries of further kinds" in flooded


def test_the_configuration_is_folded(page: tuple[Page, str, list[Path], RunData]) -> None:
    """Whole, word for word, inside the one element that opens on demand."""
    _, text, _, run = page
    folded = re.search(r"<details>.*?<pre>(.*?)</pre>\s*</details>", text, re.DOTALL)
    assert folded is not None and folded.group(1) == run.resolved


def test_hostile_names_are_words_and_not_markup(tmp_path: Path) -> None:
    """Everything a user or a file can name."""
    evil = "<script>alert(1)</script>\"'><img src=x onerror=y>{{ 7*7 }}"
    run = crowded()
    run = replace(
        run, title=evil, run=evil, source_file=evil, versions={evil: evil}, resolved=f"a: {evil}\n", warnings=[evil],
        unfinished=True, reason=evil, journal=[(0.0, evil, evil)], balance={evil: {"water": 1.0}},
        closure={evil: {}}, profiles={evil: run.profiles["clarifier"], "../../x": run.profiles["clarifier"],
                                      HOSTILE: run.profiles["clarifier"]},
        figures={f"{evil}.{evil}": Figure(float("nan"), evil, evil), "plain": Figure(1.0, "1", evil)},
    )  # fmt: skip
    paths = write_page(run, tmp_path)
    assert {path.parent for path in paths} == {tmp_path} and len({path.name for path in paths}) == 5
    parsed = Page((tmp_path / "report.html").read_text(encoding="utf-8"))
    assert not any(tag == "script" or "onerror" in attributes for tag, attributes in parsed.tags)
    assert len([1 for tag, _ in parsed.tags if tag == "img"]) == 4
    assert parsed.text.count(evil) >= 14 and "49" not in parsed.text
    assert "Unfinished run." in parsed.text and "no value" in parsed.text


def test_an_empty_run_has_a_page_too(tmp_path: Path) -> None:
    """Killed at once: what is known is said, what is not is said to be missing."""
    run = replace(gravel(), unfinished=True, time=np.zeros(0), series={}, profiles={}, journal=[], figures={},
                  closure={}, balance={}, limits=[], running=[], warnings=[], resolved="", versions={},
                  seconds=0.0)  # fmt: skip
    assert [path.name for path in write_page(run, tmp_path)] == ["trends.png", "report.html"]
    text = Page((tmp_path / "report.html").read_text(encoding="utf-8")).text
    for words in ("Unfinished run.", "holds no figures", "holds no balance", "journal is empty", "No model left",
                  cautions.TRANSFER):  # fmt: skip
        assert words in text


def test_the_same_week_gives_the_same_files(tmp_path: Path) -> None:
    """Byte for byte."""
    run = gravel(7 * 86400.0, 60.0)
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    first, second = write_page(run, tmp_path / "a"), write_page(run, tmp_path / "b")
    assert [path.read_bytes() for path in first] == [path.read_bytes() for path in second]


def _luminance(colour: str) -> float:
    # relative luminance: W3C Web Content Accessibility Guidelines 2.1, definition of "relative luminance"
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


@pytest.mark.parametrize("ink", ["ink", "soft", "line"])
@pytest.mark.parametrize("ground", ["paper", "ground", "warn"])
def test_words_stand_out_from_the_page(page: tuple[Page, str, list[Path], RunData], ink: str, ground: str) -> None:
    """Contrast of at least 4.5 to 1 (W3C Web Content Accessibility Guidelines 2.1, success criterion 1.4.3)."""
    colours = dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", page[1]))
    light, dark = sorted((_luminance(colours[ground]), _luminance(colours[ink])), reverse=True)
    assert (light + 0.05) / (dark + 0.05) >= 4.5
