"""A laboratory table as CSV, with units in its header, turned into the same shape a YAML file has.

So both kinds of file go through one check and complain in the same words, each reading at its own line. The
columns tell what the table is; a column `test` parts it into several tests.
"""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from pathlib import Path

from plantsim.plant.fields import nearest, quoted
from plantsim.plant.nodes import BlockNode, ListNode, Node, TextNode
from plantsim.plant.tree import Findings, Where
from plantsim.units import QuantityError, dimension_of, sentence, unit_factor

COLUMNS: dict[str, tuple[str, ...]] = {
    "time": ("time",), "height": ("length",), "filled height": ("length",), "rest height": ("length",),
    "solids": ("concentration", "fraction"), "dose": ("dose_per_volume",), "polymer": ("dose_per_mass",),
    "turbidity": ("turbidity",), "rate": ("velocity",), "stress": ("stress",), "size": ("length",),
    "passing": ("fraction",), "temperature": ("temperature",), "ph": (), "as treated": (), "test": (),
}  # fmt: skip
"""Columns a table may have, and the dimensions their unit may be of; none: no unit."""


@dataclass(frozen=True)
class Kind:
    """One kind of table: where it goes, which columns are readings and which hold for a whole test."""

    words: str
    section: str
    key: str
    rows: tuple[str, ...]
    fixed: dict[str, str]


KINDS = (
    Kind("a settling curve", "settling_curves", "points", ("time", "height"),
         {"solids": "solids", "polymer": "polymer", "temperature": "temperature", "as treated": "as_treated"}),
    Kind("heights of mud at rest", "rest_heights", "points", ("filled height", "solids", "rest height"), {}),
    Kind("a jar test", "jar_tests", "points", ("dose", "turbidity"),
         {"solids": "solids", "temperature": "temperature", "ph": "ph"}),
    Kind("jars at different pH", "ph_series", "points", ("ph", "turbidity"), {"dose": "dose"}),
    Kind("a polymer dose series", "dose_series", "rates", ("polymer", "rate"),
         {"solids": "solids", "temperature": "temperature"}),
    Kind("clarity against polymer dose", "dose_series", "clarity", ("polymer", "turbidity"),
         {"solids": "solids", "temperature": "temperature"}),
    Kind("yield stress against solids", "yield_stress", "by_weight", ("solids", "stress"), {}),
    Kind("turbidity against solids", "turbidity", "points", ("solids", "turbidity"), {}),
    Kind("particle sizes", "solids", "sizes", ("size", "passing"), {}),
)  # fmt: skip


def csv_block(text: str, label: str, findings: Findings) -> BlockNode | None:
    """Turn a CSV text into the block a YAML file of the same tests would give; None when that cannot be."""
    lines = text.splitlines()
    head = next((line for line in lines if line.strip()), "")
    if not head:
        findings.add(Where(label), "", sentence("an empty file", "a header with units, and rows of readings"))
        return None
    delimiter = max(",;\t", key=head.count)
    reader = csv.reader(lines, delimiter=delimiter)
    rows = [(reader.line_num, [cell.strip() for cell in row]) for row in reader if any(cell.strip() for cell in row)]
    columns = _columns(rows[0], label, findings)
    if columns is None:
        return None
    if len(rows) < 2:
        findings.add(Where(label, rows[0][0]), "", sentence("a header without rows", "a row for each reading"))
        return None
    kinds = _kinds(set(columns), columns)
    if not kinds:
        known = "; ".join(f"{kind.words} ({', '.join(kind.rows)})" for kind in KINDS)
        findings.add(
            Where(label, rows[0][0]),
            "",
            sentence(f"the columns {', '.join(columns)}, which make no table", f"those of {known}"),
        )
        return None
    return _Table(columns, rows[1:], label, findings).block(kinds)


def _columns(row: tuple[int, list[str]], label: str, findings: Findings) -> dict[str, tuple[int, str, str]] | None:
    """Give for each column its place, unit and dimension."""
    line, cells = row
    where = Where(label, line)
    found: dict[str, tuple[int, str, str]] = {}
    before = len(findings)
    for place, cell in enumerate(cells):
        match = re.fullmatch(r"([^\[(]*)(?:[\[(](.*)[\])])?\s*", cell)
        name = " ".join((match[1] if match else cell).split()).casefold()
        unit = (match[2] or "").strip() if match else ""
        if name not in COLUMNS:
            findings.add(where, "", sentence(f"the column {quoted(cell)}", ", ".join(COLUMNS), nearest(name, COLUMNS)))
            continue
        if name in found:
            findings.add(where, "", sentence(f"the column '{name}' a second time", "each column once"))
            continue
        dimensions = COLUMNS[name]
        if not dimensions:
            found[name] = (place, "", "")
            continue
        fits = [dimension for dimension in dimensions if unit and _is(unit, dimension)]
        if fits:
            found[name] = (place, unit, fits[0])
        elif not unit:
            findings.add(
                where,
                name,
                sentence(
                    "a column without a unit",
                    f"a unit in brackets, such as '{name} [{_example(dimensions[0])}]'",
                ),
            )
        else:
            try:
                unit_factor(unit, dimensions[0])
            except QuantityError as error:
                findings.add(where, name, str(error))
    return found if len(findings) == before else None


def _is(unit: str, dimension: str) -> bool:
    try:
        unit_factor(unit, dimension)
    except QuantityError:
        return False
    return True


def _example(dimension: str) -> str:
    return next(iter(dimension_of(dimension).units))


def _kinds(names: set[str], columns: dict[str, tuple[int, str, str]]) -> list[Kind]:
    """Give the kinds of test a table holds: one, but for a dose series with both rate and turbidity."""
    fitting = [kind for kind in KINDS if set(kind.rows) <= names and names <= {*kind.rows, *kind.fixed, "test"}]
    if fitting:
        return fitting[:1]
    both = [kind for kind in KINDS if kind.section == "dose_series"]
    rows = {name for kind in both for name in kind.rows}
    return both if rows <= names and names <= {*rows, *both[0].fixed, "test"} else []


class _Table:
    """The rows of one file."""

    def __init__(
        self,
        columns: dict[str, tuple[int, str, str]],
        rows: list[tuple[int, list[str]]],
        label: str,
        findings: Findings,
    ) -> None:
        self._columns, self._rows, self._label, self._findings = columns, rows, label, findings

    def block(self, kinds: list[Kind]) -> BlockNode:
        """Give all tests of the table."""
        top = Where(self._label, self._rows[0][0])
        groups: dict[str, list[tuple[int, list[str]]]] = {}
        for line, cells in self._rows:
            groups.setdefault(self._name(line, cells), []).append((line, cells))
        tests: dict[str, tuple[Where, Node]] = {}
        for name, rows in groups.items():
            where = Where(self._label, rows[0][0])
            entries: dict[str, tuple[Where, Node]] = {}
            for kind in kinds:
                key = (
                    "by_concentration"
                    if kind.key == "by_weight" and self._columns["solids"][2] != "fraction"
                    else kind.key
                )
                entries[key] = (
                    where,
                    ListNode(where, [self._row(kind, line, cells) for line, cells in rows]),
                )
                entries |= self._fixed(kind, rows)
            tests[name] = (where, BlockNode(where, entries))
        if kinds[0].section == "solids":
            return BlockNode(top, {"solids": next(iter(tests.values()))})
        return BlockNode(top, {kinds[0].section: (top, BlockNode(top, tests))})

    def _name(self, line: int, cells: list[str]) -> str:
        if "test" in self._columns:
            given = self._cell("test", cells)
            if given:
                return given
            self._findings.add(Where(self._label, line), "test", sentence("nothing", "the name of the test"))
        stem = re.sub(r"[^A-Za-z0-9_-]+", "-", Path(self._label).stem).strip("-")[:40]
        return stem if stem[:1].isalpha() else f"test-{stem}"[:40]

    def _cell(self, name: str, cells: list[str]) -> str:
        place = self._columns[name][0]
        return cells[place] if place < len(cells) else ""

    def _text(self, name: str, line: int, cells: list[str]) -> TextNode:
        where = Where(self._label, line)
        text = self._cell(name, cells)
        if not text:
            self._findings.add(where, name, sentence("an empty cell", "a number, or no row at all"))
        return TextNode(where, f"{text} {self._columns[name][1]}".strip())

    def _row(self, kind: Kind, line: int, cells: list[str]) -> Node:
        return ListNode(Where(self._label, line), [self._text(name, line, cells) for name in kind.rows])

    def _fixed(self, kind: Kind, rows: list[tuple[int, list[str]]]) -> dict[str, tuple[Where, Node]]:
        """What holds for a whole test: given in its first row, and the same wherever it is given again."""
        entries: dict[str, tuple[Where, Node]] = {}
        for name, key in kind.fixed.items():
            if name not in self._columns:
                continue
            given = [(line, cells) for line, cells in rows if self._cell(name, cells)]
            if not given:
                continue
            first = self._text(name, *given[0])
            entries[key] = (first.where, first)
            for line, cells in given[1:]:
                if self._cell(name, cells) != self._cell(name, given[0][1]):
                    self._findings.add(
                        Where(self._label, line),
                        name,
                        sentence(
                            f"{quoted(self._cell(name, cells))} after {quoted(self._cell(name, given[0][1]))}",
                            f"one value of {name} for each test",
                        ),
                    )
                    break
        return entries
