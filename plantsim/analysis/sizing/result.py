"""A sized number and where it comes from, ready to be shown as a table, a page or JSON."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from plantsim.errors import PlantsimError
from plantsim.units import QuantityError, format_si

PRACTICE = "common practice, no source"
"""What stands as source of a fact of the trade that no publication was found for."""


BALANCE = "mass balance"
"""What stands as source of what only has to balance."""


class NotSized(PlantsimError, ValueError):
    """Raised when what is given cannot tell a size; says what was found and what is allowed, or missing."""


@dataclass(frozen=True)
class Input:
    """One number that went into a result: SI value, SI unit, and the unit it is shown in."""

    name: str
    value: float
    unit: str
    shown: str = ""

    def text(self, digits: int = 4) -> str:
        """Value and unit as shown."""
        return show(self.value, self.unit, self.shown, digits)


@dataclass(frozen=True)
class Result:
    """One sized number, traced.

    Attributes
    ----------
    key : str
        Short name for programs.
    name : str
        What it is, for people.
    value, unit : float, str
        SI value and SI unit; a count or ratio has the unit "-".
    formula : str
        The formula in words and letters.
    inputs : tuple of Input
        What went in.
    source : str
        Publication, or `PRACTICE`.
    cautions : tuple of str
        What the user must know before using it.
    shown : str
        Unit it is shown in; left out: the SI unit.
    verdict : str
        What the number means against a limit, in words; empty when there is none.
    holds : bool or None
        Whether the limit is kept; None without limit.
    """

    key: str
    name: str
    value: float
    unit: str
    formula: str
    inputs: tuple[Input, ...]
    source: str
    cautions: tuple[str, ...] = ()
    shown: str = ""
    verdict: str = ""
    holds: bool | None = None

    def text(self, digits: int = 4) -> str:
        """Value and unit as shown."""
        return show(self.value, self.unit, self.shown, digits)

    def trace(self) -> str:
        """Formula, inputs and source in one line."""
        given = ", ".join(f"{item.name} {item.text()}" for item in self.inputs)
        return f"{self.formula}; {given}; {self.source}" if given else f"{self.formula}; {self.source}"

    def as_dict(self) -> dict[str, Any]:
        """Plain data for JSON; a number that is not finite becomes None."""
        return {
            "key": self.key, "name": self.name, "value": _finite(self.value), "unit": self.unit, "text": self.text(),
            "formula": self.formula,
            "inputs": [{"name": i.name, "value": _finite(i.value), "unit": i.unit,
            "text": i.text()} for i in self.inputs],
            "source": self.source, "cautions": list(self.cautions), "verdict": self.verdict, "holds": self.holds,
        }  # fmt: skip


@dataclass(frozen=True)
class Line:
    """One line or set of marks of a plot, SI values."""

    name: str
    x: tuple[float, ...]
    y: tuple[float, ...]
    marks: bool = False


@dataclass(frozen=True)
class Plot:
    """Data of one plot: axes with SI unit and the unit they are shown in, and lines."""

    key: str
    title: str
    x_name: str
    x_unit: str
    x_shown: str
    y_name: str
    y_unit: str
    y_shown: str
    lines: tuple[Line, ...]

    def as_dict(self) -> dict[str, Any]:
        """Plain data for JSON."""
        axes = {"x": [self.x_name, self.x_unit, self.x_shown], "y": [self.y_name, self.y_unit, self.y_shown]}
        return {
            "key": self.key,
            "title": self.title,
            **axes,
            "lines": [
                {
                    "name": line.name,
                    "marks": line.marks,
                    "x": [_finite(v) for v in line.x],
                    "y": [_finite(v) for v in line.y],
                }
                for line in self.lines
            ],
        }


@dataclass
class Sheet:
    """The results of one subject in their order, with plots and the cautions that hold for all of them."""

    title: str
    results: list[Result] = field(default_factory=list)
    plots: list[Plot] = field(default_factory=list)
    cautions: list[str] = field(default_factory=list)
    left_out: list[str] = field(default_factory=list)
    """What could not be sized, with the reason."""
    table: list[list[str]] = field(default_factory=list)
    """Rows of a plain table, its head first; empty: none."""

    def add(self, *results: Result) -> None:
        """Take in results; a key stands once."""
        for result in results:
            if any(result.key == known.key for known in self.results):
                raise ValueError(f"the result {result.key!r} stands on the sheet already")
            self.results.append(result)

    def __getitem__(self, key: str) -> Result:
        for result in self.results:
            if result.key == key:
                return result
        raise KeyError(key)

    def __contains__(self, key: str) -> bool:
        return any(result.key == key for result in self.results)

    def failing(self) -> list[Result]:
        """Results whose limit is not kept."""
        return [result for result in self.results if result.holds is False]

    def rows(self, digits: int = 4) -> list[tuple[str, str, str, str]]:
        """Rows of a table: name, value, trace, verdict and cautions."""
        return [
            (r.name, r.text(digits), r.trace(), "; ".join(filter(None, (r.verdict, *r.cautions)))) for r in self.results
        ]

    def as_dict(self) -> dict[str, Any]:
        """Plain data for JSON."""
        return {
            "title": self.title,
            "results": [r.as_dict() for r in self.results],
            "plots": [p.as_dict() for p in self.plots],
            "cautions": list(self.cautions),
            "left_out": list(self.left_out),
            "table": [list(row) for row in self.table],
        }


def show(value: float, unit: str, shown: str = "", digits: int = 4) -> str:
    """Write an SI value in the unit wanted.

    >>> show(0.0972222, "m3/s", "m3/h"), show(3.0, "-"), show(23403.6, "m2.s/kg")
    ('350 m3/h', '3', '2.34e+04 m2.s/kg')
    """
    if shown and math.isfinite(value):
        try:
            return format_si(value, shown, digits)
        except QuantityError:
            raise ValueError(f"no unit {shown!r} to show a number in") from None
    number = f"{value:.{digits}g}"
    return number if unit == "-" else f"{number} {unit}"


def largest(results: Iterable[Result]) -> Result:
    """The result with the largest value: the one that governs among areas or volumes."""
    return max(results, key=lambda result: result.value)


def inputs(*items: Sequence[Any]) -> tuple[Input, ...]:
    """Make inputs of (name, value, unit) or (name, value, unit, shown)."""
    return tuple(Input(*item) for item in items)


def _finite(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def positive(**values: float) -> None:
    """Refuse numbers that are not finite and above 0, by the names they are given under."""
    for name, value in values.items():
        if not (math.isfinite(value) and value > 0.0):
            raise NotSized(f"found {name.replace('_', ' ')} {value:g}; allowed: above 0")
