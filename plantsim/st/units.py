"""Program organisation units while they are compiled: variables with their cells, and what code was made."""

from __future__ import annotations

import struct
from dataclasses import dataclass, field

from plantsim.opcodes import BLOCK_CELLS, BLOCK_HEADER, NUMBER, PROGRAM_HEADER

from . import ir, tree
from . import types as t
from .source import Source, words

_DOUBLE = struct.Struct("<d")
_LONG = struct.Struct("<q")


def bits_of(value: float | int, kind: t.Type) -> int:
    """The 64 bits of a cell, as a signed integer."""
    if isinstance(kind, t.Elementary) and kind.is_real:
        return _LONG.unpack(_DOUBLE.pack(float(value)))[0]
    value = int(value) & 0xFFFF_FFFF_FFFF_FFFF
    return value - (1 << 64) if value >> 63 else value


@dataclass(eq=False, slots=True)
class Symbol:
    """A declared variable."""

    name: str
    type: t.Type
    cell: int
    section: str  # input, output, in_out, local, temp, external
    pos: int = 0
    constant: bool = False
    retain: bool = False
    pointer: bool = False  # VAR_IN_OUT of a function or block: the cell holds a pointer
    unit: str | None = None
    comment: str = ""
    image: list[int] = field(default_factory=list)
    initialised: bool = False
    value: float | int | None = None  # of an elementary CONSTANT
    read: bool = False
    written: bool = False
    operator: tuple[float, float] | None = None  # range in which an operator may change it

    @property
    def cells(self) -> int:
        """Cells it takes in the frame."""
        return 1 if self.pointer else self.type.size


@dataclass(eq=False)
class Pou(t.Type):
    """A program, function or function block; a block is also the type of its instances."""

    name: str
    kind: str
    source: Source
    unit: tree.Unit | None = None
    library: bool = False
    symbols: dict[str, Symbol] = field(default_factory=dict)
    result: t.Type = t.VOID
    result_offset: int = 0
    opcode: str = ""  # of a standard block
    counter: t.Elementary | None = None
    size: int = 0
    frames: list[tuple[int, Pou]] = field(default_factory=list)  # of functions called and blocks declared
    body: list[ir.Statement] = field(default_factory=list)
    rows: list[list] = field(default_factory=list)  # opcode, a, b, c; a CALL's a is the Pou until linked
    positions: list[int] = field(default_factory=list)
    image: list[int] = field(default_factory=list)
    scratch: list[int] = field(default_factory=list)
    complete: bool = False
    #: first cell behind the variables, where code generation adds constants and temporaries
    top: int = 0

    @property
    def header(self) -> int:
        """Cells in front of the variables."""
        return PROGRAM_HEADER if self.kind == "PROGRAM" else BLOCK_HEADER

    def take(self, cells: int) -> int:
        """Reserve cells behind those reserved so far."""
        start = self.top
        self.top += cells
        return start


_BOOL_PINS = frozenset(words("S1 R Q1 S R1 CLK Q CU CD LD QU QD IN _M _MU _MD"))
_INPUTS = frozenset(words("S1 R S R1 CLK CU CD LD PV IN PT"))
_NOWHERE = Source("", "<standard>")


def _standard_block(name: str, opcode: str, counter: t.Elementary | None) -> Pou:
    block = Pou(name, "FUNCTION_BLOCK", _NOWHERE, library=True, opcode=opcode, counter=counter)
    block.top = block.header
    for pin in BLOCK_CELLS[opcode]:
        kind: t.Type = t.BOOL
        if pin not in _BOOL_PINS:
            kind = t.TIME if opcode in ("TP", "TON", "TOF") and pin != "_STATE" else counter or t.INT
        section = "local" if pin.startswith("_") else "input" if pin in _INPUTS else "output"
        image = [0]
        if counter is not None and pin in ("_LOW", "_HIGH"):
            image = [counter.low if pin == "_LOW" else counter.high]
        block.symbols[pin] = Symbol(pin, kind, block.take(1), section, image=image, read=True, written=True)
    block.size = block.top
    block.image = [0, *(bit for symbol in block.symbols.values() for bit in symbol.image)]
    limits = block.symbols["_LOW"].cell if counter is not None else 0
    block.rows = [[NUMBER[opcode], 0, limits, 0], [NUMBER["RETURN"], 0, 0, 0]]
    block.positions = [0, 0]
    block.scratch = [0]
    block.complete = True
    return block


def standard_blocks() -> dict[str, Pou]:
    """The standard function blocks by name."""
    blocks = {
        name: _standard_block(name, name, t.INT if name.startswith("CT") else None) for name in BLOCK_CELLS
    }
    for name in ("CTU", "CTD", "CTUD"):
        for counter in (t.INT, t.DINT, t.LINT, t.UDINT):
            full = f"{name}_{counter.name}"
            blocks[full] = _standard_block(full, name, counter)
    return blocks
