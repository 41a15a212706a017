"""The plain interpreter with a pencil: notes each statement it executes and the values it reads and writes."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from plantsim.plant.program_variables import shown, spelled
from plantsim.st import Program, Variable, ir
from plantsim.st import types as t
from plantsim.st.reference import Reference
from plantsim.st.source import Source
from plantsim.st.units import Pou

MOST_LINES = 2000
"""Lines kept of one scan; loops can make any number."""
_WIDE = 8  # cells of an array or structure that are shown
_COMMENT = re.compile(r"\(\*.*?\*\)|/\*.*?\*/|//[^\n]*", re.DOTALL)
_WHOLE = re.compile(r";|\b(?:THEN|DO|OF|ELSE|REPEAT)\b", re.IGNORECASE)


@dataclass
class TraceLine:
    """One statement executed.

    Parameters
    ----------
    filename : str
        File of its text.
    line : int
        Line number, counted from 1.
    text : str
        The statement without comments and line breaks.
    depth : int
        0 in the program, one more in each block or function called.
    read, wrote : dict of str to str
        Variables and their values in words, in the order first read and last written.
    outcome : str
        `true` or `false` of a condition.
    """

    filename: str
    line: int
    text: str
    depth: int
    read: dict[str, str] = field(default_factory=dict)
    wrote: dict[str, str] = field(default_factory=dict)
    outcome: str = ""


class Tracer(Reference):
    """The plain interpreter, which notes what it does.

    Parameters
    ----------
    program : Program
        The compiled program.
    inside : bool
        Note the lines of functions and function blocks too.

    Attributes
    ----------
    lines : list of TraceLine
        Lines of the scans done so far.
    left_out : int
        Lines beyond the most that are kept.
    """

    def __init__(self, program: Program, inside: bool = False) -> None:
        super().__init__(program, self._statement)
        self.inside = inside
        self.lines: list[TraceLine] = []
        self.left_out = 0
        self._variables = {variable.cell: variable for variable in program.variables.values()}
        self._frames = dict(_frames(program.pou, 0, ""))
        self._line: TraceLine | None = None
        self._depth = -1
        self._units: list[Pou] = []
        self._bases: list[int] = []
        self._quiet = False
        self._owners: dict[int, TraceLine | None] = {}
        self._arguments: set[int] = set()
        self._filling = False
        self._loops: list[int] = []
        self._mute = False

    # -- lines -----------------------------------------------------------------------------------------------

    def _statement(self, source: Source, node: ir.Statement, frame: int) -> None:
        if not self._quiet:
            self._begin(source, node.pos)

    def _begin(self, source: Source, pos: int, again: bool = False) -> None:
        """Begin a line; a further statement on the line at hand goes with it."""
        if self._depth > 0 and not self.inside:
            self._line = None
            return
        number, last = source.line(pos), self._line
        if last is not None and not again and (last.line, last.depth, last.filename) == (
            number, self._depth, source.filename,
        ):  # fmt: skip
            return
        if len(self.lines) >= MOST_LINES:
            self.left_out += 1
            self._line = None
            return
        self._line = TraceLine(source.filename, number, statement_text(source, number), self._depth)
        self.lines.append(self._line)

    def _run(self, pou: Pou, frame: int) -> None:
        before = self._quiet, self._filling, self._loops
        self._quiet, self._filling, self._loops = False, False, []
        self._depth += 1
        self._units.append(pou)
        self._bases.append(frame)
        try:
            super()._run(pou, frame)
        finally:
            self._units.pop()
            self._bases.pop()
            self._depth -= 1
            self._quiet, self._filling, self._loops = before

    def _block(self, nodes: list, frame: int, source: Source) -> None:
        before = self._quiet, self._filling
        if id(nodes) in self._owners:  # arguments and outputs of a call stand on the line of the call
            self._quiet, self._line = True, self._owners[id(nodes)]
            self._filling = id(nodes) in self._arguments
        try:
            super()._block(nodes, frame, source)
        finally:
            self._quiet, self._filling = before

    # -- values ----------------------------------------------------------------------------------------------

    def _value(self, node: ir.Expr, frame: int) -> int | float:
        if isinstance(node, ir.Load) and self._line is not None:
            cell = self._cell(node.place, frame)
            value = self._read(cell, node.type)
            self._line.read.setdefault(self._name(cell, frame), self._words(cell, node.type, value))
            return value
        return super()._value(node, frame)

    def _write(self, cell: int, kind: t.Type, value: int | float) -> None:
        super()._write(cell, kind, value)
        if self._line is not None and not self._mute:
            name = self._name(cell, self._bases[-1])
            self._line.wrote.pop(name, None)
            self._line.wrote[name] = self._words(cell, kind, self._read(cell, kind))

    def _wrote_cells(self, cell: int, size: int, name: str) -> None:
        """Note a variable, or the first cells of an array or structure."""
        first = cell - self.base
        cells = [self._variables[at] for at in range(first, first + size) if at in self._variables]
        if self._line is not None and cells:
            values = [shown(variable, variable.read(self.mem, self.base)) for variable in cells[:_WIDE]]
            text = f"[{', '.join(values)}{', ...' if len(cells) > _WIDE else ''}]" if size > 1 else values[0]
            self._line.wrote[name] = text

    def _name(self, cell: int, frame: int) -> str:
        """Name of a cell; of a variable of the function at hand when it belongs to none of the program."""
        variable = self._variables.get(cell - self.base)
        if variable is not None:
            return self._local(variable)
        for symbol in self._units[-1].symbols.values() if self._units else ():
            if symbol.cell <= cell - frame < symbol.cell + symbol.cells:
                return symbol.name
        return f"cell {cell - self.base}"

    def _local(self, variable: Variable) -> str:
        """Name of a variable as seen from the block at hand."""
        path = self._frames.get(self._bases[-1] - self.base, "") if self._bases else ""
        return variable.name.removeprefix(path + ".") if path else variable.name

    def _words(self, cell: int, kind: t.Type, value: int | float) -> str:
        variable = self._variables.get(cell - self.base)
        if variable is not None:
            return shown(variable, value)
        if kind is t.BOOL:
            return "on" if value else "off"
        return spelled(value / 1000.0) if kind is t.TIME else f"{value:.7g}" if isinstance(value, float) else str(value)

    # -- statements ------------------------------------------------------------------------------------------

    def _if(self, node: ir.If, frame: int) -> None:
        source = self.at[0]
        for number, (condition, body) in enumerate(node.branches):
            self.at = (source, condition.pos)
            if number:
                self._begin(source, condition.pos)
            line = self._line
            taken = bool(self._value(condition, frame))
            self._line = line
            if line is not None:
                line.outcome = "true" if taken else "false"
            if taken:
                self._block(body, frame, source)
                return
        self._block(node.otherwise, frame, source)

    def _store(self, node: ir.Store, frame: int) -> None:
        # an argument that is a variable is seen in what was read
        self._mute = self._filling and isinstance(node.value, ir.Load)
        super()._store(node, frame)
        self._mute = False

    def _copy(self, node: ir.Copy, frame: int) -> None:
        super()._copy(node, frame)
        cell = self._cell(node.place, frame)
        first = self._variables.get(cell - self.base)
        if first is not None and not self._filling:
            self._wrote_cells(cell, node.place.type.size, self._local(first).rpartition("[")[0] or self._local(first))

    def _call(self, node: ir.Call, frame: int) -> None:
        line = self._line
        if node.outputs:
            self._owners[id(node.outputs)] = line
        super()._call(node, frame)
        self._line = line

    def _hand_over(self, argument: ir.Argument, value: int | float | np.ndarray, frame: int) -> None:
        self._mute = True  # the values of a function's arguments are seen in what was read
        super()._hand_over(argument, value, frame)
        self._mute = False

    def _invoke(self, node: ir.Invoke, frame: int) -> None:
        line = self._line
        self._owners[id(node.arguments)] = self._owners[id(node.outputs)] = line
        self._arguments.add(id(node.arguments))
        super()._invoke(node, frame)
        self._line = line
        instance = self._cell(node.instance, frame)
        path = self._frames.get(instance - self.base, "")
        here = self._frames.get(self._bases[-1] - self.base, "")
        path = path.removeprefix(f"{here}.") if here else path
        for symbol in node.pou.symbols.values():
            if symbol.section == "output" and not symbol.pointer:
                self._wrote_cells(instance + symbol.cell, symbol.type.size, f"{path}.{symbol.name}")

    def _for(self, node: ir.For, frame: int) -> None:
        self._loop(node.pos, lambda: Reference._for(self, node, frame))

    def _while(self, node: ir.While, frame: int) -> None:
        self._loop(node.pos, lambda: Reference._while(self, node, frame))

    def _repeat(self, node: ir.Repeat, frame: int) -> None:
        self._loop(node.condition.pos, lambda: Reference._repeat(self, node, frame))

    def _loop(self, pos: int, run: Any) -> None:
        self._loops.append(pos)
        try:
            run()
        finally:
            self._loops.pop()

    def _body(self, body: list[ir.Statement], frame: int, source: Source) -> bool:
        goes_on = super()._body(body, frame, source)
        if goes_on:
            self._begin(source, self._loops[-1], again=True)  # counter and condition of the next pass
        return goes_on


def _frames(pou: Pou, cell: int, path: str) -> Iterator[tuple[int, str]]:
    """First cell and dotted name of every block instance."""
    for symbol in pou.symbols.values():
        if not symbol.pointer:
            name = f"{path}.{symbol.name}" if path else symbol.name
            yield from _instances(symbol.type, cell + symbol.cell, name)


def _instances(kind: t.Type, cell: int, name: str) -> Iterator[tuple[int, str]]:
    if isinstance(kind, Pou):
        yield cell, name
        yield from _frames(kind, cell, name)
    elif isinstance(kind, t.ArrayType) and isinstance(kind.element, Pou | t.ArrayType | t.StructType):
        for at, index in enumerate(_indexes(kind)):
            yield from _instances(kind.element, cell + at * kind.element.size, f"{name}[{index}]")
    elif isinstance(kind, t.StructType):
        for part in kind.fields.values():
            yield from _instances(part.type, cell + part.offset, f"{name}.{part.name}")


def _indexes(kind: t.ArrayType) -> list[str]:
    indexes = [""]
    for low, high in kind.bounds:
        indexes = [f"{lead},{at}" if lead else str(at) for lead in indexes for at in range(low, high + 1)]
    return indexes


def statement_text(source: Source, line: int) -> str:
    """Text of the statements that begin on a line: without comments, to the first end that comes, on one line.

    Examples
    --------
    >>> statement_text(Source("x := MAX(a, // left\\n   b); y := 1;\\nz := 2;", "t"), 1)
    'x := MAX(a, b); y := 1;'
    """
    if not source.text:
        return ""
    first = source.line_text(line)
    start = source.text.index(first, _start_of(source, line))
    rest = _COMMENT.sub(lambda match: re.sub(r"[^\n]", " ", match[0]), source.text[start : start + 4000])
    lines = rest.split("\n")
    text = lines[0]
    for following in lines[1:]:
        if _WHOLE.search(text):
            break
        text += " " + following
    return " ".join(text.split())


def _start_of(source: Source, line: int) -> int:
    start = 0
    for _ in range(line - 1):
        start = source.text.index("\n", start) + 1
    return start
