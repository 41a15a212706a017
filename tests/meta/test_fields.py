"""Everything a plant file may say is explained, has a default it would accept itself, and is read by the builder."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

from plantsim import records
from plantsim.plant.build import RECORDED
from plantsim.plant.schema import ListOf, MapOf, Maybe, OneOf, Section, Variant
from plantsim.plant.sections import PLANT
from plantsim.plant.signals import conversion

ROOT = Path(__file__).resolve().parents[2]


def walk(field, path: str = "", found: dict | None = None) -> dict[str, object]:
    """Every declared key by its path, whatever section, list or variant it stands in."""
    found = {} if found is None else found
    if isinstance(field, Section):
        for name, inner in field.fields.items():
            found[f"{path}.{name}".lstrip(".")] = inner
            walk(inner, f"{path}.{name}", found)
    elif isinstance(field, Variant):
        for word, section in field.sections.items():
            walk(section, f"{path}<{word}>", found)
    elif isinstance(field, (Maybe, MapOf, ListOf)):
        walk(field.item, path, found)
    elif isinstance(field, OneOf):
        for inner in field.items:
            walk(inner, path, found)
    return found


KEYS = walk(PLANT)


def names_read() -> set[str]:
    """Attributes and texts of the modules that turn a configuration into a plant."""
    words: set[str] = set()
    for path in (ROOT / "plantsim" / "plant").glob("*.py"):
        if path.name in ("sections.py", "schema.py", "fields.py"):
            continue
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Attribute):
                words.add(node.attr.removesuffix("_"))
            elif isinstance(node, ast.Constant) and isinstance(node.value, str):
                words.add(node.value)
    return words


def test_there_is_much_to_say():
    assert len(KEYS) > 250


@pytest.mark.parametrize("path", KEYS)
def test_a_key_is_explained(path):
    doc = KEYS[path].doc
    assert len(doc) >= 5
    assert doc == doc.strip()
    assert "TODO" not in doc


def test_every_key_is_read_by_the_builder():
    """A key that may be written and changes nothing would be a promise not kept."""
    words = names_read()
    months = {"jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"}
    words |= months  # read in a loop
    dead = sorted(path for path in KEYS if path.replace(">", ".").rpartition(".")[2] not in words)
    assert dead == []


@pytest.mark.parametrize("kind", RECORDED)
def test_what_is_recorded_exists_and_can_be_shown_in_its_unit(kind):
    table = records.FIELD_UNITS[kind + "_s"]
    for field, unit in RECORDED[kind]:
        si, _ = table[field]
        assert conversion(unit, si) is not None, f"{kind}.{field}: {si} as {unit}"


def test_every_kind_of_unit_is_recorded():
    kinds = set(KEYS) and {word for word in PLANT.fields["units"].item.sections}
    assert kinds <= set(RECORDED)
