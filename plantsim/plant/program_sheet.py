"""Tests of a control program as a table: what is set at which time, and what has to come out; read and checked.

A file of tests reads like a cause-and-effect sheet::

    program: sump-on-off
    every: 1 s
    set: {start_level: 2.0 m, stop_level: 0.8 m}
    follow: {running_1: run_1}
    tests:
      starts-late-enough:
        rows:
          - {at: 0 s, set: {level: 2.1 m}, expect: {run_1: off}}
          - {at: 5 s, expect: {run_1: on, speed_1: 100 % +- 1 %}}
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from plantsim.errors import ProgramError
from plantsim.plant.fields import quoted
from plantsim.plant.program_variables import nearest, unit_of, value_of
from plantsim.plant.programs import shipped_programs
from plantsim.plant.reader import examine
from plantsim.plant.schema import ListOf, MapOf, Maybe, Name, Quantity, Section, Text
from plantsim.plant.tree import Tree
from plantsim.st import Program, Variable, compile_program
from plantsim.units import QuantityError, sentence


@dataclass(frozen=True)
class _Path(Name):
    """A variable of a program, with the parts of blocks and arrays: `timer.ET`, `level[2]`."""

    def allowed(self) -> str:
        return "a variable of the program"

    def parse(self, text: str) -> str:
        return text


_VALUES = MapOf(Text(), key=_Path(""), doc="inputs and parameters, with units")
ROW = Section(
    "One row of a table.",
    at=Quantity("time", lo="0 s", doc="time of a scan, counted from the first one at 0 s"),
    until=Maybe(Quantity("time"), doc="time of the last scan up to which it is expected; left out: at one scan only"),
    set=MapOf(Text(), key=_Path(""), doc="inputs written before the scan, with units; they stay"),
    expect=MapOf(Text(), key=_Path(""),
                 doc="what the scan has to leave: on, off, 60 %, 60 % +- 1 %, > 2 m, 1 m to 2 m"),
    note=Maybe(Text(), doc="why"),
)  # fmt: skip
TEST = Section(
    "One test: a program that has never run, and a table.",
    note=Maybe(Text(), doc="what it shows"),
    set=_VALUES,
    rows=ListOf(ROW, least=1, doc="the table, in the order of time"),
)
SHEET = Section(
    "Tests of one control program.",
    program=Maybe(Text(), doc="name of a shipped program"),
    file=Maybe(Text(), doc="or a file of Structured Text of your own, seen from this file"),
    every=Quantity("time", "1 s", lo="0.001 s", hi="1 h", doc="task interval"),
    note=Maybe(Text(), doc="what it is about"),
    set=_VALUES,
    follow=MapOf(Text(), key=_Path(""),
                 doc="inputs that take the value an output had after the scan before, as a running signal does; in "
                     "'set' the word 'follow' lets one go on after it was set"),
    tests=MapOf(TEST, key=Name(""), least=1, doc="tests by name"),
)  # fmt: skip


@dataclass(frozen=True)
class Expected:
    """What a variable has to be: within bounds, each belonging to the range or not."""

    variable: Variable
    text: str
    low: float = -math.inf
    high: float = math.inf
    open_low: bool = False
    open_high: bool = False

    def holds(self, value: float | int) -> bool:
        """Whether a value is as expected; not-a-number never is."""
        above = value > self.low if self.open_low else value >= self.low
        below = value < self.high if self.open_high else value <= self.high
        return bool(above and below)


@dataclass(frozen=True)
class Write:
    """A value for an input; None lets it follow an output again."""

    variable: Variable
    value: float | int | None


@dataclass(frozen=True)
class Row:
    """One row: scans counted from 0, values as the program holds them."""

    first: int
    last: int
    writes: tuple[Write, ...]
    expected: tuple[Expected, ...]


@dataclass(frozen=True)
class Test:
    """One test of a program that has never run."""

    __test__ = False  # pytest shall not take it for one of its own

    name: str
    writes: tuple[Write, ...]
    rows: tuple[Row, ...]


@dataclass
class Sheet:
    """All tests of one file.

    Parameters
    ----------
    path : Path
        The file.
    program : Program
        The compiled program, and `name` by which the file calls it.
    every : float
        Task interval [s].
    follow : dict
        Input to output it follows.
    tests : list of Test
        In the order of the file.
    """

    path: Path
    name: str
    program: Program
    every: float
    follow: dict[str, tuple[Variable, Variable]] = field(default_factory=dict)
    tests: list[Test] = field(default_factory=list)


def read_sheet(path: Path | str) -> Sheet:
    """Read a file of program tests.

    Parameters
    ----------
    path : Path or str
        The YAML file.

    Returns
    -------
    Sheet

    Raises
    ------
    ConfigError
        With every finding, each with file, line, key, what was found and what is allowed.
    ProgramError
        If the program itself is wrong.
    """
    path = Path(path)
    tree = examine(path, SHEET)
    tree.raise_findings()
    source = _source(tree, path)
    tree.raise_findings()
    assert source is not None
    try:
        text = source.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        tree.finding("file", sentence(quoted(str(source)), "a file of Structured Text that can be read"))
        tree.raise_findings()
    try:
        program = compile_program(text, source.name)
    except ProgramError as error:
        raise ProgramError([f"{path}: {source.name} is wrong", *error.findings]) from None
    sheet = Sheet(path, tree.program or source.stem, program, tree.every)
    names = {v.name.casefold(): v for v in program.variables.values()}
    sheet.follow = _follow(tree, program, names)
    given = _writes(tree, tree["set"], "set", sheet, names)
    for name, test in tree.tests.items():
        own = _writes(test, test["set"], "set", sheet, names)
        sheet.tests.append(Test(name, (*given, *own), tuple(_rows(test, sheet, names))))
    tree.raise_findings()
    return sheet


def _source(tree: Tree, path: Path) -> Path | None:
    if (tree.program is None) == (tree.file is None):
        tree.finding("", "found both or neither of 'program' and 'file'; allowed: exactly one of them")
        return None
    if tree.file is not None:
        return path.parent / tree.file
    shipped = shipped_programs()
    if tree.program not in shipped:
        tree.finding("program", sentence(quoted(tree.program), ", ".join(shipped), nearest(tree.program, shipped)))
        return None
    return shipped[tree.program]


def _follow(tree: Tree, program: Program, names: Mapping[str, Variable]) -> dict[str, tuple[Variable, Variable]]:
    found = {}
    for point, output in tree.follow.items():
        here = f"follow.{point}"
        target, source = names.get(point.casefold()), names.get(output.casefold())
        if target is None or target.section not in ("input", "in_out"):
            tree.finding(here, _unknown(point, [v.name for v in program.inputs]))
        elif source is None:
            tree.finding(here, _unknown(output, [v.name for v in program.outputs]))
        elif source.type != target.type:
            tree.finding(here, sentence(f"'{output}', which is {source.type}, but {point} is {target.type}",
                                        "a variable of the same type"))  # fmt: skip
        else:
            found[target.name] = (target, source)
    return found


def _writes(where: Tree, block: Tree, key: str, sheet: Sheet, names: Mapping[str, Variable]) -> tuple[Write, ...]:
    writes = []
    for name, text in block.items():
        variable = names.get(name.casefold())
        if variable is None or variable.section not in ("input", "in_out") or variable.constant:
            word = quoted(name) if variable is None else f"'{name}', which is no input"
            known = [v.name for v in sheet.program.inputs]
            hint = nearest(name, known) if variable is None else None
            where.finding(f"{key}.{name}", sentence(word, ", ".join(known), hint))
            continue
        if text == "follow":
            if variable.name not in sheet.follow:
                allowed = f"an input named under 'follow', or a value for {name}"
                where.finding(f"{key}.{name}", sentence("'follow'", allowed))
                continue
            writes.append(Write(variable, None))
            continue
        try:
            writes.append(Write(variable, value_of(variable, text)))
        except QuantityError as error:
            where.finding(f"{key}.{name}", str(error))
    return tuple(writes)


def _rows(test: Tree, sheet: Sheet, names: Mapping[str, Variable]) -> list[Row]:
    rows: list[Row] = []
    for row in test.rows:
        first = _scan(row, "at", row["at"], sheet.every)
        last = first if row.until is None else _scan(row, "until", row.until, sheet.every)
        if rows and first is not None and first <= rows[-1].first:
            row.finding("at", sentence(f"{row['at']:g} s after {rows[-1].first * sheet.every:g} s",
                                       "times that rise from row to row"))  # fmt: skip
        if first is not None and last is not None and last < first:
            row.finding("until", sentence(f"{row.until:g} s", f"a time not before 'at', {row['at']:g} s"))
        if not row["set"] and not row.expect:
            row.finding("", sentence("a row that sets and expects nothing", "'set', 'expect' or both"))
        if row.until is not None and not row.expect:
            row.finding("until", sentence("'until' without 'expect'", "something that is expected up to then"))
        writes = _writes(row, row["set"], "set", sheet, names)
        expected = tuple(_expected(row, sheet.program, names))
        rows.append(Row(first or 0, last or first or 0, writes, expected))
    return rows


def _scan(row: Tree, key: str, seconds: float, every: float) -> int | None:
    """Number of the scan at a time."""
    number = round(seconds / every)
    if abs(number * every - seconds) > 1e-6 * every:
        row.finding(key, sentence(f"{seconds:g} s, at which there is no scan", f"a multiple of {every:g} s"))
        return None
    return number


def _expected(row: Tree, program: Program, names: Mapping[str, Variable]) -> list[Expected]:
    found = []
    for name, text in row.expect.items():
        variable = names.get(name.replace(" ", "").casefold())
        if variable is None:
            known = [v.name for v in program.outputs]
            hint = nearest(name, known) or nearest(name, program.variables)
            row.finding(f"expect.{name}", sentence(quoted(name), ", ".join(known) + ", or another variable", hint))
            continue
        try:
            found.append(expectation(variable, text))
        except QuantityError as error:
            row.finding(f"expect.{name}", str(error))
    return found


def _unknown(word: str, known: list[str]) -> str:
    return sentence(quoted(word), ", ".join(known), nearest(word, known))


_COMPARED = re.compile(r"(<=|>=|<|>)\s*(.+)")
_WITHIN = re.compile(r"(.+?)\s*(?:\+-|\+/-|±)\s*(.+)")
_BETWEEN = re.compile(r"(.+?)\s+to\s+(.+)")
_DIGITS = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")
_ROUNDING = 1e-6
"""Part by which a REAL may part from a number given without tolerance: it is held in 24 binary digits."""


def expectation(variable: Variable, text: str) -> Expected:
    """Read what a variable is expected to be.

    Parameters
    ----------
    variable : Variable
        The variable; units are those of its dimension.
    text : str
        `on`, `60 %`, `60 % +- 1 %`, `> 2 m`, `1 m to 2 m` and the like. A REAL without tolerance may part by one
        part in a million.

    Raises
    ------
    QuantityError
        If it is none of these.

    Examples
    --------
    >>> p = compile_program("PROGRAM P VAR_OUTPUT v : REAL; {unit '%'} t : TIME; END_VAR END_PROGRAM")
    >>> e = expectation(p.variable("v"), "60 % +- 1 %")
    >>> e.low, e.high, e.holds(60.5), e.holds(61.5)
    (59.0, 61.0, True, False)
    >>> expectation(p.variable("t"), "< 2 min").holds(119999)
    True
    """
    text = " ".join(text.split())
    ordered = variable.type != "BOOL" and not variable.choices
    compared, within, between = (form.fullmatch(text) for form in (_COMPARED, _WITHIN, _BETWEEN))
    if (compared or within or between) and not ordered:
        words = ", ".join(variable.choices) or "on, off"
        raise QuantityError(quoted(text), words)
    if compared:
        bound = float(value_of(variable, compared[2]))
        if compared[1].startswith(">"):
            return Expected(variable, text, low=bound, open_low=compared[1] == ">")
        return Expected(variable, text, high=bound, open_high=compared[1] == "<")
    if within:
        middle, reach = float(value_of(variable, within[1])), _tolerance(variable, within[2])
        return Expected(variable, text, middle - reach, middle + reach)
    if between:
        low, high = float(value_of(variable, between[1])), float(value_of(variable, between[2]))
        if high < low:
            raise QuantityError(quoted(text), "the lower value first")
        return Expected(variable, text, low, high)
    value = float(value_of(variable, text))
    reach = _ROUNDING * abs(value) if variable.is_real else 0.0
    return Expected(variable, text, value - reach, value + reach)


def _tolerance(variable: Variable, text: str) -> float:
    """A tolerance in the variable's unit: a difference, so that the zero of a scale does not matter."""
    try:
        if variable.type == "TIME" or unit_of(variable) != "1":
            zero = _DIGITS.sub("0", text, count=1)
            reach = float(value_of(variable, text)) - float(value_of(variable, zero))
        else:
            reach = float(text)
    except (QuantityError, ValueError) as error:
        allowed = error.allowed if isinstance(error, QuantityError) else "a number without unit"
        raise QuantityError(f"'{text}' as tolerance", allowed) from None
    if reach < 0.0:
        raise QuantityError(f"'{text}' as tolerance", "0 or more")
    return reach
