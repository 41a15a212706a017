"""The list of upsets as a whole: complete, in order, in plain words, explained for every plant that has the parts."""

from __future__ import annotations

import functools
import re
from pathlib import Path

import pytest
from upset_bench import CONFIGS

from plantsim.cli import upsets as command
from plantsim.cli.main import main
from plantsim.plant.acts import Places
from plantsim.plant.build import load_model
from plantsim.plant.upsets import read_upset, shipped_upsets

TREES = {name: read_upset(path) for name, path in shipped_upsets().items()}
SITES = sorted(path.stem for path in CONFIGS.glob("*.yaml") if "\nunits:\n" in path.read_text(encoding="utf-8"))
"""The demonstration plants: beside them lie files of sentences, scenarios and studies."""

KNOWN_CAPITALS = {"NTU", "UV", "PE"}
"""Capitals that readers of the trade know from the numbers they stand behind."""
SLIPS = re.compile(
    r"\b(setpoint|config|kernel|boolean|booleans|timestep|tick|ticks|array|null|callback|codebase|dataset|runtime|"
    r"utili[sz]e[sd]?|leverage[sd]?|robust|seamless(ly)?|simply|holistic|e\.g|i\.e|etc|todo|fixme|tbd)\b",
    re.IGNORECASE,
)
"""Words of programmers and of brochures, and marks of what is not finished."""


def texts(name: str) -> list[tuple[str, str]]:
    """Every text of an upset that is read by people, with the place it stands in."""
    tree = TREES[name]
    found = [("title", tree.title), ("cause", tree.cause), ("consequence", tree.consequence)]
    found += [("note", tree.note)] if tree.note else []
    found += [("caution", words) for words in tree.cautions]
    found += [("part", part.words) for part in tree.parts.values() if part.words]
    found += [("parameter", one.words) for one in tree.parameters.values()]
    found += [("act", act.note) for act in (*tree.acts, *tree.respond) if act.note]
    found += [("symptom", one.words) for one in tree.symptoms]
    return found + [("note of a symptom", one.note) for one in tree.symptoms if one.note]


@functools.cache
def places(file: str) -> Places:
    """A plant's named things, built once."""
    return Places.of(load_model(Path(file)))


@pytest.fixture
def shown(capsys, monkeypatch):
    """What `plantsim upsets` prints; plants are built once in a process."""
    monkeypatch.setattr(command, "_places", places)

    def show(*words: str) -> str:
        code = main(["upsets", *words])
        out, err = capsys.readouterr()
        assert (code, err) == (0, "")
        return out

    return show


def test_the_list_has_every_number_once():
    assert len(SITES) >= 3
    assert sorted(tree.number for tree in TREES.values()) == list(range(1, 34))
    assert len({tree.title for tree in TREES.values()}) == len(TREES)


def test_the_command_lists_them_all_in_their_order(shown):
    lines = shown().splitlines()[1:]
    rows = [(int(number), name, title) for number, name, title in (line.split(maxsplit=2) for line in lines)]
    assert rows == sorted((tree.number, name, tree.title) for name, tree in TREES.items())
    assert max(map(len, lines)) <= 100


@pytest.mark.parametrize("name", TREES)
def test_its_texts_are_plain_words_in_one_form(name):
    wrong = []
    for place, text in texts(name):
        capitals = set(re.findall(r"\b[A-Z]{2,}\b(?!-\d)", text)) - KNOWN_CAPITALS
        sentence = place in ("title", "caution")
        if (
            capitals or SLIPS.search(text) or "_" in text or "  " in text.strip() or "!" in text or "$" in text
            or len(text.strip()) < 3 or text[0].isupper() != (sentence or re.match(r"[A-Z]+\b", text) is not None)
            or text.rstrip().endswith(".") != (place == "caution")
        ):  # fmt: skip
            wrong.append(f"{place}: {text}")
    assert not wrong, "\n".join(wrong)
    for tree_part in (TREES[name].acts, TREES[name].respond):
        assert any(act.note for act in tree_part), "nothing says what is done"


@pytest.mark.parametrize("name", TREES)
def test_it_is_explained_for_every_plant_that_has_the_parts(name, shown):
    tree = TREES[name]
    for site in SITES:
        file = str(CONFIGS / f"{site}.yaml")
        listed = {line.split()[1] for line in shown("--plant", file).splitlines()[1:] if line.split()[0].isdigit()}
        out = shown(name, "--plant", file)
        assert ("not on this plant" in out) == (name not in listed)
        assert out.startswith(f"{name} ({tree.number}): {tree.title}\n")
        for head in ("what is done", "what is seen, in this order, after the cause", "the answer", "if nobody acts",
                     "then these no longer hold", "cautions"):  # fmt: skip
            assert f"\n{head}\n" in out
        if site in tree.shown_on:
            assert name in listed
        flat = " ".join(out.split())
        sure = [one.words for one in tree.symptoms if not tree.parts[one.of.partition(".")[0]].optional]
        for words in (tree.cause, tree.consequence, *tree.cautions, *sure):
            assert " ".join(words.split()) in flat


def test_every_plant_has_upsets_and_says_what_it_lacks_for_the_others(shown):
    for site in SITES:
        lines = shown("--plant", str(CONFIGS / f"{site}.yaml")).splitlines()[1:]
        lacking = [line for line in lines if line.startswith("not on this plant: ")]
        assert len(lines) == len(TREES)
        assert len(lines) - len(lacking) >= 10
        assert all(len(line.split(": ", 2)) == 3 for line in lacking)
