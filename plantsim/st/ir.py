"""Checked program: every name resolved to a cell, every expression with one type, every conversion written out.

Both the code generator and the reference interpreter work from this form. Cells count from the frame of the
program, function or block they stand in.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from .types import Elementary, Type

if TYPE_CHECKING:
    from .units import Pou


@dataclass(slots=True)
class Step:
    """One array index: (value - low) * stride, with value - low below count."""

    value: Expr
    low: int
    count: int
    stride: int


@dataclass(slots=True)
class Place:
    """Where a variable or a part of one is: a cell of the frame, or an offset from a pointer cell."""

    pos: int
    type: Type
    cell: int
    pointer: bool = False
    offset: int = 0
    steps: list[Step] = field(default_factory=list)


@dataclass(slots=True)
class Const:
    """A literal or folded value."""

    pos: int
    type: Elementary
    value: int | float


@dataclass(slots=True)
class Load:
    """Value of an elementary place."""

    pos: int
    type: Elementary
    place: Place


@dataclass(slots=True)
class Op:
    """An operation of `plantsim.st.arithmetic`; `operand` is the type its arguments have."""

    pos: int
    type: Elementary
    name: str
    operand: Elementary
    args: list[Expr]


@dataclass(slots=True)
class Logic:
    """AND or OR of BOOL, whose right side is evaluated only when it matters."""

    pos: int
    type: Elementary
    both: bool  # AND when True
    left: Expr
    right: Expr


@dataclass(slots=True)
class Call:
    """Call of a function whose frame starts at `frame`: arguments in, run, outputs out."""

    pos: int
    type: Type
    pou: Pou
    frame: int
    arguments: list[Argument]
    outputs: list[Transfer]

    @property
    def result(self) -> Place:
        """Where the result stands after the call."""
        return Place(self.pos, self.type, self.frame + self.pou.result_offset)


Expr = Const | Load | Op | Logic | Call | Place


@dataclass(slots=True)
class Store:
    """place := value; `limits` are a subrange's."""

    pos: int
    place: Place
    value: Expr
    limits: tuple[int, int] | None = None


@dataclass(slots=True)
class Copy:
    """Copy of a whole array or structure."""

    pos: int
    place: Place
    value: Expr


@dataclass(slots=True)
class Bind:
    """Set a VAR_IN_OUT pointer to a variable."""

    pos: int
    place: Place
    value: Place


Transfer = Store | Copy
Argument = Store | Copy | Bind


@dataclass(slots=True)
class Invoke:
    """Call of a block instance: each argument evaluated and stored in turn, run, outputs out."""

    pos: int
    pou: Pou
    instance: Place
    arguments: list[Argument]
    outputs: list[Transfer]


@dataclass(slots=True)
class CallAlone:
    """A function called as a statement."""

    pos: int
    call: Call


@dataclass(slots=True)
class If:
    """Branches in order; the conditions are BOOL."""

    pos: int
    branches: list[tuple[Expr, list[Statement]]]
    otherwise: list[Statement]


@dataclass(slots=True)
class Case:
    """The first group with the value runs; labels are inclusive ranges."""

    pos: int
    selector: Expr
    groups: list[tuple[list[tuple[int, int]], list[Statement]]]
    otherwise: list[Statement]


@dataclass(slots=True)
class For:
    """Counted loop over an integer cell."""

    pos: int
    variable: Place
    first: Expr
    last: Expr
    step: Expr
    body: list[Statement]


@dataclass(slots=True)
class While:
    """Loop tested before each pass."""

    pos: int
    condition: Expr
    body: list[Statement]


@dataclass(slots=True)
class Repeat:
    """Loop tested after each pass."""

    pos: int
    body: list[Statement]
    condition: Expr


@dataclass(slots=True)
class Jump:
    """EXIT, CONTINUE or RETURN."""

    pos: int
    kind: str


Statement = Store | Copy | Invoke | CallAlone | If | Case | For | While | Repeat | Jump


def calls_function(node: Expr) -> bool:
    """Whether evaluating an expression runs a user function, which may change variables."""
    if isinstance(node, Call):
        return True
    if isinstance(node, Op):
        return any(calls_function(a) for a in node.args)
    if isinstance(node, Logic):
        return calls_function(node.left) or calls_function(node.right)
    if isinstance(node, Load):
        return any(calls_function(s.value) for s in node.place.steps)
    if isinstance(node, Place):
        return any(calls_function(s.value) for s in node.steps)
    return False


def may_fault(node: Expr) -> bool:
    """Whether evaluating an expression can stop the scan or change anything."""
    if isinstance(node, Call):
        return True
    if isinstance(node, Op):
        if node.name == "mux" or (node.name in ("div", "pow") and not node.operand.is_real):
            return True
        return any(may_fault(a) for a in node.args)
    if isinstance(node, Logic):
        return may_fault(node.left) or may_fault(node.right)
    if isinstance(node, Load):
        return bool(node.place.steps)
    return False
