"""Syntax tree of Structured Text, as the parser leaves it: names not yet looked up, no types."""

from __future__ import annotations

from dataclasses import dataclass, field

from .source import Source


@dataclass(slots=True)
class Node:
    """Base of all nodes; `pos` is the offset in the text."""

    pos: int


@dataclass(slots=True)
class Number(Node):
    """Untyped integer or real literal."""

    value: int | float


@dataclass(slots=True)
class TypedLiteral(Node):
    """INT#5, REAL#1.0, BOOL#1, TIME literals (type TIME), TRUE and FALSE (type BOOL), Colour#Red."""

    type: str
    value: int | float | str


@dataclass(slots=True)
class Name(Node):
    """An identifier; `name` in capitals, `raw` as written."""

    name: str
    raw: str


@dataclass(slots=True)
class Member(Node):
    """Element of a structure or variable of a block."""

    of: Expr
    name: str
    raw: str


@dataclass(slots=True)
class Index(Node):
    """Array element."""

    of: Expr
    indexes: list[Expr]


@dataclass(slots=True)
class Unary(Node):
    """-x or NOT x."""

    op: str
    of: Expr


@dataclass(slots=True)
class Binary(Node):
    """x op y."""

    op: str
    left: Expr
    right: Expr


@dataclass(slots=True)
class Argument(Node):
    """One argument of a call: `name := value`, `name => value`, or a value alone."""

    name: str | None
    raw: str
    output: bool
    value: Expr


@dataclass(slots=True)
class Call(Node):
    """Call of a function or a block instance."""

    of: Expr
    arguments: list[Argument]


@dataclass(slots=True)
class InitList(Node):
    """Initial values of an array, structure or block: positional with repeats, or by name."""

    items: list[tuple[int, str | None, Expr | None]]  # repeat, field name, value


@dataclass(slots=True)
class Bad(Node):
    """Stands where an expression could not be read."""


Expr = Number | TypedLiteral | Name | Member | Index | Unary | Binary | Call | InitList | Bad


@dataclass(slots=True)
class Assign(Node):
    """target := value;"""

    target: Expr
    value: Expr


@dataclass(slots=True)
class CallStatement(Node):
    """A call that stands alone."""

    call: Call


@dataclass(slots=True)
class If(Node):
    """IF, ELSIF..., ELSE."""

    branches: list[tuple[Expr, list[Statement]]]
    otherwise: list[Statement]


@dataclass(slots=True)
class Case(Node):
    """CASE; a label is a value or a range."""

    selector: Expr
    groups: list[tuple[list[tuple[Expr, Expr | None]], list[Statement]]]
    otherwise: list[Statement]


@dataclass(slots=True)
class For(Node):
    """FOR v := first TO last BY step."""

    variable: Expr
    first: Expr
    last: Expr
    step: Expr | None
    body: list[Statement]


@dataclass(slots=True)
class While(Node):
    """WHILE condition DO."""

    condition: Expr
    body: list[Statement]


@dataclass(slots=True)
class Repeat(Node):
    """REPEAT ... UNTIL condition."""

    body: list[Statement]
    condition: Expr


@dataclass(slots=True)
class Jump(Node):
    """EXIT, CONTINUE or RETURN."""

    kind: str


Statement = Assign | CallStatement | If | Case | For | While | Repeat | Jump


@dataclass(slots=True)
class TypeName(Node):
    """A type given by its name, with bounds when it is a subrange."""

    name: str
    raw: str
    bounds: tuple[Expr, Expr] | None = None


@dataclass(slots=True)
class ArrayOf(Node):
    """ARRAY [..] OF element."""

    bounds: list[tuple[Expr, Expr]]
    element: TypeExpr


@dataclass(slots=True)
class EnumOf(Node):
    """(A, B := 5, C)"""

    members: list[tuple[int, str, Expr | None]]


@dataclass(slots=True)
class StructOf(Node):
    """STRUCT ... END_STRUCT"""

    fields: list[Declaration]


TypeExpr = TypeName | ArrayOf | EnumOf | StructOf


@dataclass(slots=True)
class Declaration(Node):
    """One declared name."""

    name: str
    type: TypeExpr
    initial: Expr | None = None
    unit: str | None = None
    comment: str = ""
    section: str = "local"
    constant: bool = False
    retain: bool = False
    operator: tuple[float, float] | None = None


@dataclass(slots=True)
class Unit(Node):
    """A program, function or function block."""

    kind: str  # PROGRAM, FUNCTION, FUNCTION_BLOCK
    name: str
    result: TypeExpr | None
    declarations: list[Declaration]
    body: list[Statement]
    source: Source
    end_pos: int = 0


@dataclass(slots=True)
class TypeDeclaration(Node):
    """One entry of TYPE ... END_TYPE."""

    name: str
    type: TypeExpr
    initial: Expr | None
    source: Source


@dataclass(slots=True)
class File:
    """Everything a text declares, in order."""

    source: Source
    units: list[Unit] = field(default_factory=list)
    types: list[TypeDeclaration] = field(default_factory=list)
