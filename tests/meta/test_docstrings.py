"""Every public formula of `plantsim.physics` says what its parameters are and in which unit, and says it right."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import re
from types import FunctionType, ModuleType

import pytest

import plantsim.physics

UNITS = {
    "-", "m", "m2", "m3", "s", "rad", "kg/s", "m/s", "m/s2", "m2/s", "m2/s2", "m3/s", "m3/h", "gpm", "kg/m3",
    "kg/kg", "m3/kg", "m4/kg/s", "kg/m2/s", "m2*s/kg", "kg*m2", "1/s", "1/h", "1/m", "1/K", "Pa", "Pa*s", "Pa*s^n",
    "Pa/m", "Pa/K", "W", "kW", "W/m2", "degC", "NTU", "NTU*m3/kg", "m/m", "s2/m5",
}  # fmt: skip
"""Units a formula may speak in: SI, and the few of the trade that a published formula is written for."""


def modules() -> list[ModuleType]:
    names = [info.name for info in pkgutil.iter_modules(plantsim.physics.__path__)]
    return [importlib.import_module(f"plantsim.physics.{name}") for name in names]


def formulas() -> list[tuple[str, FunctionType]]:
    """Public functions defined in each module of the package."""
    return [
        (f"{module.__name__.rpartition('.')[2]}.{name}", thing)
        for module in modules()
        for name, thing in sorted(vars(module).items())
        if inspect.isfunction(thing) and thing.__module__ == module.__name__ and not name.startswith("_")
    ]


def sections(doc: str) -> dict[str, str]:
    """Text of each underlined section of a docstring, and of what stands before the first."""
    parts = re.split(r"(?m)^([A-Z][A-Za-z ]+)\n-{3,}\n", doc)
    return {"": parts[0], **dict(zip(parts[1::2], parts[2::2], strict=True))}


def entries(text: str) -> list[tuple[list[str], str]]:
    """Names and whole text of each entry of a section of parameters."""
    found = []
    for entry in re.split(r"\n(?=\S)", text.strip()):
        if entry:
            names = entry.split("\n", 1)[0].split(":", 1)[0]
            found.append(([name.strip().lstrip("*") for name in names.split(",")], entry))
    return found


def unit_of(entry: str) -> str | None:
    """Unit in brackets at the end of an entry."""
    match = re.search(r"\[([^\]]*)\]\s*$", entry)
    return match[1] if match else None


FORMULAS = formulas()
IDS = [name for name, _ in FORMULAS]


def test_there_are_formulas_to_read():
    assert len(FORMULAS) > 200
    assert len(set(IDS)) == len(IDS)


@pytest.mark.parametrize("formula", [f for _, f in FORMULAS], ids=IDS)
def test_a_formula_names_every_parameter_with_its_unit(formula):
    doc = sections(inspect.getdoc(formula) or "")
    assert re.match(r"\S.*?\.( |\n|$)", doc[""], re.S), "it begins with a sentence"
    named = [name for names, _ in entries(doc.get("Parameters", "")) for name in names]
    assert named == list(inspect.signature(formula).parameters)
    assert "Returns" in doc
    for part in ("Parameters", "Returns"):
        for names, entry in entries(doc.get(part, "")):
            unit = unit_of(entry)
            assert unit is not None, f"{', '.join(names)} has no unit"
            assert unit in UNITS, f"{', '.join(names)}: [{unit}] is no unit of the list"


@pytest.mark.parametrize("formula", [f for _, f in FORMULAS], ids=IDS)
def test_a_formula_has_types(formula):
    signature = inspect.signature(formula)
    assert signature.return_annotation is not inspect.Signature.empty
    assert all(p.annotation is not inspect.Parameter.empty for p in signature.parameters.values())


@pytest.mark.parametrize("module", modules(), ids=lambda module: module.__name__)
def test_a_list_of_public_names_names_what_is_there(module):
    own = {name for name, thing in vars(module).items()
           if getattr(thing, "__module__", None) == module.__name__ and not name.startswith("_")
           and inspect.isfunction(thing)}  # fmt: skip
    listed = set(getattr(module, "__all__", own))
    assert all(hasattr(module, name) for name in listed)
    assert own <= listed


def test_every_unit_of_the_list_is_used():
    """A unit that nothing uses any more is struck off, so that the list stays a check on spelling."""
    used = {
        unit_of(entry)
        for _, formula in FORMULAS
        for part in ("Parameters", "Returns")
        for _, entry in entries(sections(inspect.getdoc(formula) or "").get(part, ""))
    }
    assert used == UNITS


def test_the_reader_of_docstrings_sees_what_is_wrong():
    def wrong(a: float, b: float) -> float:
        """Add.

        Parameters
        ----------
        a : float
            One, [furlong]

        Returns
        -------
        c : float
            Sum
        """
        return a + b

    doc = sections(inspect.getdoc(wrong) or "")
    assert [names for names, _ in entries(doc["Parameters"])] == [["a"]]
    assert unit_of(entries(doc["Parameters"])[0][1]) == "furlong"
    assert unit_of(entries(doc["Returns"])[0][1]) is None
