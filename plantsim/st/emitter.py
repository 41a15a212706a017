"""Rows under construction: labels, constants, temporaries, and the frame's final layout."""

from __future__ import annotations

from plantsim.opcodes import LINK, NUMBER, TABLE

from . import types as t
from .units import Pou, bits_of

_CONSTANT = 1 << 28
_TEMPORARY = 1 << 29
_CELL_LETTERS = frozenset("dsmkf")
_OPERANDS = [row.operands for row in TABLE]


class Label:
    """A place in the code that jumps may name before it is known."""

    def __init__(self) -> None:
        self.row: int | None = None
        self.waiting: list[tuple[int, int]] = []


class Emitter:
    """Rows of one unit. Constants and temporaries are numbered apart until `finish` gives them cells."""

    def __init__(self, pou: Pou) -> None:
        self.pou = pou
        self.pos = 0
        self.rows: list[list] = []
        self.positions: list[int] = []
        self.temporaries = 0
        self.most_temporaries = 0
        self.pool: list[int] = []
        self._known: dict[tuple[int, ...], int] = {}

    def emit(self, name: str, a: object = 0, b: object = 0, c: object = 0) -> int:
        """Append a row and return its number."""
        self.rows.append([NUMBER[name], a, b, c])
        self.positions.append(self.pos)
        return len(self.rows) - 1

    def jump(self, name: str, label: Label, a: int = 0, b: int = 0) -> None:
        """Append a jump to a label."""
        column = _OPERANDS[NUMBER[name]].index("j") + 1
        operands: list[object] = [a, b, 0]
        operands[column - 1] = 0
        row = self.emit(name, *operands)
        if label.row is None:
            label.waiting.append((row, column))
        else:
            self.rows[row][column] = label.row - row - 1

    def put(self, label: Label) -> None:
        """Let a label name the next row."""
        label.row = len(self.rows)
        for row, column in label.waiting:
            self.rows[row][column] = label.row - row - 1

    def constants(self, bits: tuple[int, ...]) -> int:
        """Cell of the first of consecutive constants given as bits."""
        found = self._known.get(bits)
        if found is None:
            found = len(self.pool)
            self.pool += [bits_of(b, t.LINT) for b in bits]
            self._known[bits] = found
        return _CONSTANT + found

    def constant(self, value: float | int, kind: t.Type) -> int:
        """Cell of a constant."""
        return self.constants((bits_of(value, kind),))

    def block(self, count: int) -> int:
        """First of consecutive temporaries."""
        start = self.temporaries
        self.temporaries += count
        self.most_temporaries = max(self.most_temporaries, self.temporaries)
        return _TEMPORARY + start

    def temporary(self) -> int:
        """A temporary."""
        return self.block(1)

    @staticmethod
    def is_variable(cell: int) -> bool:
        """Whether a cell belongs to a variable, which a function call may change."""
        return cell < _CONSTANT


def finish(emitter: Emitter) -> None:
    """Give constants and temporaries their cells and lay out the frame's initial memory."""
    pou = emitter.pou
    constants = pou.top
    temporaries = constants + len(emitter.pool)
    pou.size = temporaries + emitter.most_temporaries
    for row in emitter.rows:
        letters = _OPERANDS[row[0]]
        for column in (1, 2, 3):
            value = row[column]
            if letters[column - 1] in _CELL_LETTERS and isinstance(value, int) and value >= _CONSTANT:
                row[column] = (
                    value - _TEMPORARY + temporaries if value >= _TEMPORARY else value - _CONSTANT + constants
                )
            elif letters[column - 1] == "n" and TABLE[row[0]].name == "ADDRESS" and value >= _CONSTANT:
                raise AssertionError("the address of a constant or temporary was taken")
    image = [0] * pou.size
    for symbol in pou.symbols.values():
        if not symbol.pointer:
            image[symbol.cell : symbol.cell + len(symbol.image)] = symbol.image
    own = {symbol.cell for symbol in pou.symbols.values()}
    for cell, callee in pou.frames:
        if cell not in own:
            image[cell : cell + callee.size] = callee.image
    image[constants:temporaries] = emitter.pool
    pou.image = image
    pou.rows = emitter.rows
    pou.positions = emitter.positions
    scratch = [] if pou.kind == "PROGRAM" else [LINK]
    for symbol in pou.symbols.values():
        if not symbol.pointer:
            scratch += _scratch(symbol.type, symbol.cell)
    for cell, callee in pou.frames:
        if cell not in own:
            scratch += [cell + s for s in callee.scratch]
    pou.scratch = scratch + list(range(temporaries, pou.size))


def _scratch(kind: t.Type, start: int) -> list[int]:
    """Cells of a variable that hold no value of the program: call links and temporaries of blocks in it."""
    if isinstance(kind, Pou):
        return [start + s for s in kind.scratch]
    if isinstance(kind, t.StructType):
        return [s for f in kind.fields.values() for s in _scratch(f.type, start + f.offset)]
    if isinstance(kind, t.ArrayType) and not isinstance(kind.element, t.Elementary):
        size = max(kind.element.size, 1)
        return [s for at in range(0, kind.size, size) for s in _scratch(kind.element, start + at)]
    return []
