"""Data types of Structured Text, their sizes in cells and which converts into which by itself.

Source: IEC 61131-3, third edition (2013), Table 10 (elementary types) and Figure 11 (implicit
conversions), from memory.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache
from typing import Any

from .source import words


class Type:
    """Base of all types. `size` is counted in cells."""

    name: str
    size: int


@dataclass(frozen=True, eq=False)
class Elementary(Type):
    """BOOL, an integer, a bit string, a real or TIME. Kinds: bool, int, bits, real, time, any."""

    name: str
    kind: str
    bits: int
    signed: bool = False
    size: int = 1

    @property
    def low(self) -> int:
        """Lowest value of an integer-like type [-]."""
        return -(1 << (self.bits - 1)) if self.signed else 0

    @property
    def high(self) -> int:
        """Highest value of an integer-like type [-]."""
        return (1 << (self.bits - 1)) - 1 if self.signed else (1 << self.bits) - 1

    @property
    def is_real(self) -> bool:
        """Whether values live in the float view."""
        return self.kind == "real"

    @property
    def unsigned64(self) -> bool:
        """Whether comparisons and divisions must be unsigned ones."""
        return self.bits == 64 and not self.signed and self.kind in ("int", "bits")

    def wrap(self, value: int) -> int:
        """Value reduced to the type's bits, as overflow does."""
        value &= (1 << self.bits) - 1
        if self.signed and value >> (self.bits - 1):
            value -= 1 << self.bits
        return value


BOOL = Elementary("BOOL", "bool", 1)
SINT = Elementary("SINT", "int", 8, True)
INT = Elementary("INT", "int", 16, True)
DINT = Elementary("DINT", "int", 32, True)
LINT = Elementary("LINT", "int", 64, True)
USINT = Elementary("USINT", "int", 8)
UINT = Elementary("UINT", "int", 16)
UDINT = Elementary("UDINT", "int", 32)
ULINT = Elementary("ULINT", "int", 64)
BYTE = Elementary("BYTE", "bits", 8)
WORD = Elementary("WORD", "bits", 16)
DWORD = Elementary("DWORD", "bits", 32)
LWORD = Elementary("LWORD", "bits", 64)
REAL = Elementary("REAL", "real", 32, True)
LREAL = Elementary("LREAL", "real", 64, True)
TIME = Elementary("TIME", "time", 64, True)
ANY_INT = Elementary("integer literal", "any_int", 64, True)
ANY_REAL = Elementary("real literal", "any_real", 64, True)
VOID = Elementary("nothing", "void", 0)
#: stands for the type of something already reported, so that one mistake gives one finding
UNKNOWN = Elementary("unknown", "unknown", 0)

ELEMENTARY: dict[str, Elementary] = {
    t.name: t
    for t in (
        BOOL, SINT, INT, DINT, LINT, USINT, UINT, UDINT, ULINT, BYTE, WORD, DWORD, LWORD, REAL, LREAL, TIME
    )
}  # fmt: skip

#: words of the standard that are refused by name
UNSUPPORTED_TYPES = {
    word: "is not supported; BOOL, the integer and bit-string types, REAL, LREAL and TIME are"
    for word in words("STRING WSTRING CHAR WCHAR DATE LDATE TIME_OF_DAY TOD LTOD LTIME_OF_DAY DATE_AND_TIME DT LDT "
        "LDATE_AND_TIME LTIME REF_TO")
}


@dataclass(eq=False)
class EnumType(Type):
    """Named values; a cell holds the integer value."""

    name: str
    members: dict[str, int]  # key upper case
    spelling: dict[str, str]
    size: int = 1


@dataclass(eq=False)
class Subrange(Type):
    """An integer type with a narrower range, checked at each store."""

    name: str
    base: Elementary
    low: int
    high: int
    size: int = 1


@dataclass(eq=False)
class ArrayType(Type):
    """Array with bounds for each dimension, last index fastest."""

    bounds: tuple[tuple[int, int], ...]
    element: Type
    name: str = ""
    size: int = 0

    def __post_init__(self) -> None:
        count = 1
        for low, high in self.bounds:
            count *= high - low + 1
        self.size = count * self.element.size
        if not self.name:
            dims = ", ".join(f"{low}..{high}" for low, high in self.bounds)
            self.name = f"ARRAY [{dims}] OF {self.element.name}"

    def same(self, other: Type) -> bool:
        """Whether values can be copied as a whole."""
        if not isinstance(other, ArrayType):
            return False
        shape = [h - l for l, h in self.bounds] == [h - l for l, h in other.bounds]
        return shape and same_type(self.element, other.element)


@dataclass(eq=False)
class Field:
    """One element of a structure, or one variable of a block seen from outside."""

    name: str
    type: Type
    offset: int
    section: str = "local"
    initial: Any = None
    unit: str | None = None
    comment: str = ""


@dataclass(eq=False)
class StructType(Type):
    """Structure; fields by upper-case name."""

    name: str
    fields: dict[str, Field] = field(default_factory=dict)
    size: int = 0


def same_type(a: Type, b: Type) -> bool:
    """Whether two types are one, for whole copies and VAR_IN_OUT."""
    return a is b or (isinstance(a, ArrayType) and a.same(b))


_WIDER: dict[str, tuple[str, ...]] = {
    "SINT": ("INT", "REAL"),
    "INT": ("DINT", "REAL"),
    "DINT": ("LINT", "LREAL"),
    "USINT": ("UINT", "INT"),
    "UINT": ("UDINT", "DINT", "REAL"),
    "UDINT": ("ULINT", "LINT", "LREAL"),
    "REAL": ("LREAL",),
    "BOOL": ("BYTE",),
    "BYTE": ("WORD",),
    "WORD": ("DWORD",),
    "DWORD": ("LWORD",),
}


@cache
def _reach(name: str) -> frozenset[str]:
    found = {name}
    for wider in _WIDER.get(name, ()):
        found |= _reach(wider)
    return frozenset(found)


def widens(source: Elementary, target: Elementary) -> bool:
    """Whether a value of `source` becomes a `target` without being asked for.

    >>> widens(INT, REAL), widens(DINT, REAL)
    (True, False)
    """
    return target.name in _reach(source.name)


_ORDER = [SINT, USINT, INT, UINT, DINT, UDINT, LINT, ULINT, REAL, LREAL, BOOL, BYTE, WORD, DWORD, LWORD]


def common(a: Elementary, b: Elementary) -> Elementary | None:
    """The smallest type both become by themselves, or None."""
    if a is b:
        return a
    for candidate in _ORDER:
        if widens(a, candidate) and widens(b, candidate):
            return candidate
    return None


def strip(kind: Type) -> Type:
    """The type a value has once read: a subrange reads as its base type."""
    return kind.base if isinstance(kind, Subrange) else kind
