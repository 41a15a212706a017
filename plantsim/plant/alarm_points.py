"""What an alarm can look at (a tag, a quantity of a unit, a variable of a program), its values as people write them."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from plantsim import records
from plantsim.plant.assemble import Assembly
from plantsim.plant.fields import nearest, quoted
from plantsim.plant.model import Tag
from plantsim.plant.program_variables import PLAIN, find, homes, unit_of
from plantsim.plant.signals import conversion, dimensions_of, quantity
from plantsim.plant.tree import Tree
from plantsim.units import DIMENSIONS, QuantityError, sentence, unit_factor

_NUMBER = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?)\s*(.*)")


@dataclass(frozen=True)
class WatchPoint:
    """One cell of the plant's memory that an alarm looks at.

    Parameters
    ----------
    cell : callable
        Gives its address in an arena.
    integer : bool
        It holds an integer.
    binary : bool
        It is on or off.
    unit : str
        Unit people know it by.
    meaning : str
        What it is, in words.
    letter : str
        First letter of the instrument's tag; nothing where it is none.
    range : tuple of float, or None
        Ends of the instrument's range, in its unit.
    to_kept : callable
        Scale and offset from a unit to the unit kept, or None.
    usual : str
        Units that may be written.
    """

    cell: Callable[[Any], int]
    integer: bool
    binary: bool
    unit: str
    meaning: str
    letter: str
    range: tuple[float, float] | None
    to_kept: Callable[[str], tuple[float, float] | None]
    usual: str

    def shown(self, text: str) -> tuple[str, float, float]:
        """Unit of a text, and scale and offset from kept values to it: people see a value in the unit they wrote."""
        match = _NUMBER.fullmatch(text.strip())
        unit = match[2] if match is not None else ""
        factors = self.to_kept(unit) if unit else None
        return (unit, 1.0 / factors[0], -factors[1] / factors[0]) if factors is not None else ("", 1.0, 0.0)

    def value(self, text: str) -> float:
        """A value as kept.

        Raises
        ------
        QuantityError
            If the text is none of this unit.
        """
        number, scale, offset = self._read(text)
        return float(f"{number * scale + offset:.15g}")

    def difference(self, text: str) -> float:
        """A difference of two values as kept.

        Raises
        ------
        QuantityError
            If the text is none of this unit.
        """
        number, scale, _ = self._read(text)
        return float(f"{number * scale:.15g}")

    def _read(self, text: str) -> tuple[float, float, float]:
        match = _NUMBER.fullmatch(text.strip())
        allowed = f"a number in {self.usual}" if self.usual else "a number without unit"
        if match is None:
            raise QuantityError(quoted(text), allowed)
        number, unit = float(match[1]), match[2]
        if not unit:
            if self.usual and self.unit not in PLAIN:
                raise QuantityError(f"{quoted(text)} (no unit)", allowed, f"{match[1]} {self.usual.split(',')[0]}")
            return number, 1.0, 0.0
        factors = self.to_kept(unit)
        if factors is None:
            raise QuantityError(quoted(text), allowed)
        return number, *factors


def watch_point(
    a: Assembly, tags: Mapping[str, Tag], programs: Mapping[str, Any], t: Tree, key: str, path: str
) -> WatchPoint | None:
    """What a path names; None where it names nothing, with a finding unless one has been made elsewhere."""
    if "." not in path:
        if path not in tags:
            near = nearest(path, tags)
            t.finding(key, sentence(quoted(path), "a tag, unit.quantity or program.variable", near))
            return None
        return None if path in a.unsure else _of_tag(a, tags[path])
    owner = path.partition(".")[0]
    if owner in a.unsure:
        return None
    if owner in programs:
        try:
            return _of_variable(*find(programs, path))
        except QuantityError as error:
            t.finding(key, str(error))
            return None
    found = quantity(a, t, key, path)
    if found is None:
        return None
    array, index, field, si = found
    dtype = records.DTYPES[array]
    assert isinstance(dtype, np.dtype)
    if dtype[field].shape:
        t.finding(key, f"found '{path}', which is a row of numbers; allowed: a quantity that is one number")
        return None
    return _of_quantity(array, index, field, si, bool(dtype[field].base.kind == "i"))


def _of_tag(a: Assembly, tag: Tag) -> WatchPoint:
    unit = "1" if tag.unit in PLAIN else tag.unit
    instrument = a.tree.instruments.get(tag.name)
    meaning = _what(a, tag)
    return WatchPoint(
        lambda arena: arena.cell("tags", tag.index), False, unit == "1", unit,
        meaning, tag.name[0] if instrument is not None else "",
        None if instrument is None else (instrument.low, instrument.high), lambda text: _between(text, unit),
        "" if unit == "1" else _usual(unit),
    )  # fmt: skip


def _what(a: Assembly, tag: Tag) -> str:
    """What a tag stands for, in words a person reads in a list."""
    if tag.role == "instrument" or tag.role == "switch":
        block = a.tree.instruments if tag.role == "instrument" else a.tree.switches
        return str(block[tag.name].measures)
    return tag.meaning


def _of_variable(instance: Any, variable: Any) -> WatchPoint:
    unit = unit_of(variable)
    kept_in_a_second = 1000.0 if variable.type == "TIME" else 1.0
    cell = instance.base + variable.cell

    def to_kept(text: str) -> tuple[float, float] | None:
        found = _between(text, unit)
        return None if found is None else (found[0] * kept_in_a_second, found[1] * kept_in_a_second)

    return WatchPoint(
        lambda arena: arena.cell("control", cell), not variable.is_real, variable.type == "BOOL", unit,
        variable.comment or variable.name, "", None, to_kept, "" if unit == "1" else _usual(unit),
    )  # fmt: skip


def _of_quantity(array: str, index: int, field: str, si: str, integer: bool) -> WatchPoint:
    dimensions = dimensions_of(si)
    usual = DIMENSIONS[dimensions[0]].usual() if dimensions and si != "-" else "%" if si == "-" and not integer else ""

    def to_kept(text: str) -> tuple[float, float] | None:
        found = conversion(text, si)
        return None if found is None else (1.0 / found[0], -found[1] / found[0])

    meaning = records.FIELD_UNITS[array][field][1]
    return WatchPoint(
        lambda arena: arena.cell(array, index, field), integer, si == "-", si, meaning, "", None, to_kept, usual
    )


def _usual(unit: str) -> str:
    """Units that go with one, itself first."""
    known = homes(unit)
    others = [u for u in DIMENSIONS[known[0]].units if u != unit][:4] if known else []
    return ", ".join([unit, *others])


def _between(text: str, unit: str) -> tuple[float, float] | None:
    """Scale and offset from one unit to another; None when they do not go together."""
    if text == unit:
        return 1.0, 0.0
    if unit == "1":
        return None
    for dimension in homes(unit):
        try:
            of, of_offset, _ = unit_factor(text, dimension)
            to, to_offset, _ = unit_factor(unit, dimension)
        except QuantityError:
            continue
        return of / to, (of_offset - to_offset) / to
    return None
