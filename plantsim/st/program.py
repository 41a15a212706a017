"""A compiled program: code, memory image, variables, lines."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from plantsim.errors import ProgramError
from plantsim.opcodes import FAULT_TEXT

from . import blocks
from . import types as t
from .arithmetic import single
from .compiler import compile_units
from .joining import join
from .source import Source, nearest
from .units import Pou, Symbol


@dataclass(frozen=True, slots=True)
class Variable:
    """One cell of a program seen by name.

    Parameters
    ----------
    name : str
        Dotted name as declared, array indexes in brackets.
    type : str
        Name of the type.
    cell : int
        Cell counted from the program's first [-].
    section : str
        input, output, in_out, local or retain; parts have the section of the whole.
    unit : str or None
        Text of the unit pragma.
    comment : str
        Text of the comment beside the declaration.
    initial : float or int
        Value at the start.
    is_real : bool
        Whether the value stands in the float view.
    bits : int
        Width of the type [bit].
    signed : bool
        Whether an integer is signed.
    choices : dict
        Integer values of an enumeration by name; empty for other types.
    constant : bool
        Whether it is a CONSTANT.
    operator : tuple of float, or None
        Least and most value an operator may give it, in its unit; None when it is not for operators.
    """

    name: str
    type: str
    cell: int
    section: str
    unit: str | None
    comment: str
    initial: float | int
    is_real: bool
    bits: int = 64
    signed: bool = True
    choices: dict[str, int] = field(default_factory=dict)
    constant: bool = False
    operator: tuple[float, float] | None = None

    def read(self, mem: np.ndarray, base: int = 0) -> float | int:
        """Value in a memory whose program starts at cell `base`."""
        if self.is_real:
            return float(mem[base + self.cell])
        value = int(mem.view(np.int64)[base + self.cell])
        return value if self.signed else value & ((1 << self.bits) - 1)

    def write(self, mem: np.ndarray, value: float | int, base: int = 0) -> None:
        """Store a value; REAL is rounded to 32 bits, an integer wraps to its width."""
        if self.is_real:
            mem[base + self.cell] = single(float(value)) if self.bits == 32 else float(value)
            return
        number = int(value) & ((1 << self.bits) - 1)
        if self.signed and self.bits > 1 and number >> (self.bits - 1):
            number -= 1 << self.bits
        mem.view(np.int64)[base + self.cell] = number - (1 << 64) if number >> 63 and number > 0 else number


class Place(NamedTuple):
    """A line of program text."""

    filename: str
    line: int
    text: str

    def __str__(self) -> str:
        return f"{self.filename}:{self.line}: {self.text.strip()}"


class Program:
    """A compiled program.

    Attributes
    ----------
    name, source, filename : str
        Name of the PROGRAM, its text and where the text came from.
    code : int32[n, 4]
        Rows for the machine; jumps are relative and cells count from the program's first.
    size : int
        Cells of memory [-].
    initial : float64[size]
        Memory at the start; view as int64 for all that is not REAL or LREAL.
    warnings : list of str
        What is suspicious but runs.
    scratch : int[:]
        Cells that hold call links and temporaries, of no meaning between scans.
    """

    def __init__(self, pou: Pou, source: Source, warnings: list[str]) -> None:
        self.pou = pou
        self.name = pou.name
        self.source = source.text
        self.filename = source.filename
        self.warnings = warnings
        self.size = pou.size
        self.initial = np.array(pou.image, dtype=np.int64).view(np.float64)
        self.scratch = np.array(sorted(pou.scratch), dtype=np.int64)
        self._places: list[tuple[Source, int]] = []
        #: the unit each row was made from
        self.row_pous: list[Pou] = []
        self.code = self._link()

    def _link(self) -> np.ndarray:
        order: list[Pou] = [self.pou]
        starts: dict[int, int] = {id(self.pou): 0}
        end = len(self.pou.rows)
        for pou in order:  # grows while it runs
            for row in pou.rows:
                if isinstance(row[1], Pou) and id(row[1]) not in starts:
                    starts[id(row[1])] = end
                    end += len(row[1].rows)
                    order.append(row[1])
        rows = []
        for pou in order:
            for number, (row, pos) in enumerate(zip(pou.rows, pou.positions)):
                if isinstance(row[1], Pou):
                    here = starts[id(pou)] + number
                    row = [row[0], starts[id(row[1])] - here - 1, *row[2:]]
                rows.append(list(row))
                self._places.append((pou.source, pos))
                self.row_pous.append(pou)
        join(rows)
        return np.array(rows, dtype=np.int32)

    # -- names -----------------------------------------------------------------------------------------------

    @cached_property
    def variables(self) -> dict[str, Variable]:
        """All variables by dotted name, those of blocks inside included."""
        found: dict[str, Variable] = {}
        for symbol in self.pou.symbols.values():
            for variable in self._expand(symbol):
                found[variable.name] = variable
        return found

    @cached_property
    def inputs(self) -> list[Variable]:
        """Cells the controller writes before a scan, in the order declared: VAR_INPUT and VAR_IN_OUT."""
        return [v for v in self.variables.values() if v.section in ("input", "in_out")]

    @cached_property
    def outputs(self) -> list[Variable]:
        """Cells the controller reads after a scan, in the order declared: VAR_OUTPUT and VAR_IN_OUT."""
        return [v for v in self.variables.values() if v.section in ("output", "in_out")]

    @cached_property
    def _by_key(self) -> dict[str, Variable]:
        return {name.upper(): variable for name, variable in self.variables.items()}

    def variable(self, name: str) -> Variable:
        """A variable by its dotted name in any case; raises ProgramError naming the nearest."""
        found = self._by_key.get(name.replace(" ", "").upper())
        if found is None:
            raise ProgramError(f"{self.name} has no variable {name!r}{nearest(name, self.variables)}")
        return found

    def _expand(self, symbol: Symbol) -> Iterator[Variable]:
        section = symbol.section
        if section in ("temp", "external"):
            section = "local"
        if symbol.retain and section == "local":
            section = "retain"
        top = (section, symbol.constant)
        cells = self._cells(symbol.name, symbol.type, symbol.cell, symbol.unit, symbol.comment, top)
        if section == "input" and symbol.operator is not None:
            cells = (replace(cell, operator=symbol.operator) for cell in cells)
        yield from cells

    def _cells(
        self, name: str, kind: t.Type, cell: int, unit: str | None, comment: str, top: tuple[str, bool]
    ) -> Iterator[Variable]:
        if isinstance(kind, t.ArrayType):
            size = kind.element.size
            indexes = [""]
            for low, high in kind.bounds:
                indexes = [f"{lead},{at}" if lead else str(at) for lead in indexes for at in range(low, high + 1)]
            for at, index in enumerate(indexes):
                yield from self._cells(f"{name}[{index}]", kind.element, cell + at * size, unit, comment, top)
        elif isinstance(kind, t.StructType):
            for part in kind.fields.values():
                where = (f"{name}.{part.name}", part.type, cell + part.offset)
                yield from self._cells(*where, part.unit or unit, part.comment or comment, top)
        elif isinstance(kind, Pou):
            for symbol in kind.symbols.values():
                if not symbol.pointer and not symbol.name.startswith("_"):
                    where = (f"{name}.{symbol.name}", symbol.type, cell + symbol.cell)
                    yield from self._cells(*where, symbol.unit, symbol.comment, top)
        else:
            yield self._one(name, kind, cell, unit, comment, top)

    def _one(
        self, name: str, kind: t.Type, cell: int, unit: str | None, comment: str, top: tuple[str, bool]
    ) -> Variable:
        base = t.strip(kind)
        choices: dict[str, int] = {}
        real, bits, signed = False, 64, True
        if isinstance(base, t.EnumType):
            choices = {base.spelling[key]: value for key, value in base.members.items()}
        elif isinstance(base, t.Elementary):
            real, bits, signed = base.is_real, base.bits, base.signed
        initial: float | int = float(self.initial[cell])
        if not real:
            initial = int(self.initial.view(np.int64)[cell])
            if not signed:
                initial &= (1 << bits) - 1
        return Variable(
            name, kind.name, cell, top[0], unit, comment, initial, real, bits, signed, choices, top[1]
        )

    # -- lines -----------------------------------------------------------------------------------------------

    def line_of(self, pc: int) -> Place:
        """Line of program text a row was made from; of a library file for a library block's row."""
        source, pos = self._places[pc]
        line = source.line(pos)
        return Place(source.filename, line, source.line_text(line) if source.text else "")

    def fault_text(self, status: int) -> str:
        """A scan's fault in one sentence with its source line; empty when there was none."""
        if status == 0:
            return ""
        return f"{self.line_of(int(status) >> 8)}: {FAULT_TEXT[int(status) & 255]}"

    def memory(self) -> np.ndarray:
        """A fresh copy of the initial memory."""
        return self.initial.copy()


def compile_program(
    text: str,
    filename: str = "<text>",
    library: Path | str | Sequence[Path | str] | None = None,
    *,
    program: str | None = None,
) -> Program:
    """Compile Structured Text (IEC 61131-3, third edition) for the control-program machine.

    Parameters
    ----------
    text : str
        One or more PROGRAM, FUNCTION, FUNCTION_BLOCK and TYPE declarations.
    filename : str
        Name shown in messages.
    library : path or list of paths, optional
        Folders of further `.st` files, searched besides the built-in library.
    program : str, optional
        Which PROGRAM to run when the text holds more than one.

    Returns
    -------
    Program
        Code and memory image, ready to run; one for all who compile the same text, so not to be changed.

    Raises
    ------
    ProgramError
        With every finding: file, line, column, what was found, what could stand there.

    Examples
    --------
    >>> p = compile_program("PROGRAM P VAR_OUTPUT y : INT; END_VAR y := y + 1; END_PROGRAM")
    >>> p.outputs[0].name, p.size >= 3
    ('y', True)
    """
    folders = blocks.folders(library)
    return _compiled(text, filename, folders, blocks.stamp(folders), program)


@lru_cache(maxsize=128)
def _compiled(text: str, filename: str, folders: tuple[Path, ...], stamp: Any, program: str | None) -> Program:
    """Compile a text once in a process, as long as its library stays as it is: studies build one plant many times."""
    compiler, pou, source = compile_units(text, filename, folders, program)
    return Program(pou, source, compiler.findings.warnings)
