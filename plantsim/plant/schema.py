"""The kinds of fields a configuration is declared with: what may stand at each key, said once.

A schema is plain data, written with small frozen objects::

    SUMP = Section(
        "A sump that takes the wash water.",
        depth=Quantity("length", "3.5 m", above="0 m", hi="20 m", doc="floor to rim"),
        level=Maybe(Tag(letters=("LT", "LIT")), doc="tag of the level transmitter"),
        overflow=Reference(("tank", "sump"), port="in", doc="where the spill goes"),
    ).with_ports(inlets=("feed",), outlets=("suction",))
    PLANT = Section(
        "A plant.",
        units=MapOf(Variant("kind", {"sump": SUMP, ...}), key=Name("unit"), doc="all units by name"),
    )

The reader checks a file against it, `describe` writes the template and the tables of the handbook from it.
Field names that are Python keywords take a trailing underscore (``from_`` is the key ``from``).
Defaults are written as a user would write them, and are checked when the schema is made.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any, ClassVar

from plantsim.plant.fields import (
    REQUIRED,
    Choice,
    Clock,
    Field,
    Flag,
    Integer,
    Moment,
    Name,
    Number,
    Quantity,
    Ref,
    Reference,
    Refusal,
    Scalar,
    Shift,
    Tag,
    Text,
    Times,
)

__all__ = [
    "REQUIRED", "Choice", "Clock", "Field", "Flag", "Include", "Integer", "ListOf", "MapOf", "Maybe", "Moment", "Name",
    "Number", "OneOf", "Points", "Quantity", "Ref", "Reference", "Refusal", "Scalar", "Section", "Shift",
    "Tag", "Text", "Times", "Variant"]

_ORDERS: dict[str, Callable[[float, float], bool]] = {
    "rising": lambda a, b: b > a, "falling": lambda a, b: b < a,
    "not falling": lambda a, b: b >= a, "not rising": lambda a, b: b <= a}


@dataclass(frozen=True)
class Points(Field):
    """Rows of quantities, such as a pump curve: `[0 m3/h, 40 m]`.

    `columns` are dimensions, or "number"; `order` gives for each column None, "rising", "falling",
    "not rising" or "not falling"; `names` are the words of the columns for messages; `lo` and `hi` are texts
    for each column.
    """

    shapes: ClassVar[frozenset[str]] = frozenset({"list"})
    columns: tuple[str, ...]
    default: Any = REQUIRED
    order: tuple[str | None, ...] = ("rising",)
    names: tuple[str, ...] = ()
    lo: tuple[str | None, ...] = ()
    hi: tuple[str | None, ...] = ()
    least: int = 2

    def __post_init__(self) -> None:
        for order in self.order:
            if order is not None and order not in _ORDERS:
                raise ValueError(f"no order {order!r}")
        self.cells()

    def cells(self) -> tuple[Scalar, ...]:
        """Give the field of each column."""
        def pick(texts: tuple[str | None, ...], column: int) -> Any:
            return texts[column] if column < len(texts) else None

        return tuple(
            Number(lo=pick(self.lo, i), hi=pick(self.hi, i)) if dimension == "number"
            else Quantity(dimension, lo=pick(self.lo, i), hi=pick(self.hi, i))
            for i, dimension in enumerate(self.columns))

    def words(self) -> tuple[str, ...]:
        """Give the words for the columns."""
        return self.names or tuple(name.replace("_", " ") for name in self.columns)

    def allowed(self) -> str:
        return f"at least {self.least} rows of [{', '.join(self.words())}]"

    def keeps_order(self, column: int, before: float, after: float) -> bool:
        """Tell whether two values in neighbouring rows keep the order of their column."""
        order = self.order[column] if column < len(self.order) else None
        return order is None or _ORDERS[order](before, after)


@dataclass(frozen=True)
class ListOf(Field):
    """A list of one kind of thing; items that are sections can be named by their key `name`."""

    shapes: ClassVar[frozenset[str]] = frozenset({"list"})
    item: Field
    default: Any = None
    least: int = 0
    most: int | None = None

    def __post_init__(self) -> None:
        if self.default is None:
            object.__setattr__(self, "default", REQUIRED if self.least else ())

    def allowed(self) -> str:
        count = f" with at least {self.least} items" if self.least else ""
        count += f"{' and' if count else ' with'} at most {self.most} items" if self.most is not None else ""
        return f"a list{count}, each {_short(self.item)}"


@dataclass(frozen=True)
class MapOf(Field):
    """A block of free names, each with one kind of thing; `key` is `Name(kind)` or `Tag()`."""

    shapes: ClassVar[frozenset[str]] = frozenset({"map"})
    item: Field
    key: Name = field(default_factory=Name)
    least: int = 0

    def required(self) -> bool:
        return self.least > 0

    def allowed(self) -> str:
        count = f"{self.least} or more " if self.least else ""
        return f"{count}names, each with {_short(self.item)}"


def _short(item: Field) -> str:
    return "its own keys" if "map" in item.shapes else item.allowed()


@dataclass(frozen=True)
class Include(Text):
    """The path of a file of the same keys as the block it stands in; the file's values come first.

    Only a block at the top of a configuration can include one. A path is relative to the file that names it.
    Once read the values stand in the block itself, so a resolved configuration needs no second file.
    """

    form: str = "the path of a YAML file"


class Section(Field):
    """A block of known keys, its doc text first; sections named next lend their keys."""

    shapes = frozenset({"map"})
    fields: Mapping[str, Field]
    rules: tuple[Callable[[Any], None], ...]
    inlets: tuple[str, ...]
    outlets: tuple[str, ...]

    def __init__(self, doc: str, /, *others: Section, **fields: Field) -> None:
        known: dict[str, Field] = {}
        for other in others:
            known.update(other.fields)
        known.update((name.removesuffix("_"), kind) for name, kind in fields.items())
        for name, kind in known.items():
            if not isinstance(kind, Field):
                raise TypeError(f"{name!r} is no field")
            if not kind.doc:
                raise ValueError(f"the field {name!r} has no doc text")
        rules = tuple(rule for other in others for rule in other.rules)
        self._set(doc=doc, example=None, fields=MappingProxyType(known), rules=rules, inlets=(), outlets=())

    def _set(self, **values: Any) -> None:
        for name, value in values.items():
            object.__setattr__(self, name, value)

    def _copy(self, **values: Any) -> Section:
        twin = object.__new__(Section)
        twin._set(**{**self.__dict__, **values})
        return twin

    __eq__ = object.__eq__
    __hash__ = object.__hash__

    def __repr__(self) -> str:
        return f"Section({self.doc!r}, {', '.join(self.fields)})"

    def about(self, doc: str) -> Section:
        """Give the same section with other doc text."""
        return self._copy(doc=doc)

    def with_ports(self, inlets: tuple[str, ...] = (), outlets: tuple[str, ...] = ()) -> Section:
        """Give the same section as a thing that has ports to connect."""
        return self._copy(inlets=tuple(inlets), outlets=tuple(outlets))

    def with_rule(self, rule: Callable[[Any], None]) -> Section:
        """Give the same section with a check across its keys.

        The rule is called with the checked tree when its keys are right one by one, and reports by
        ``tree.finding(key, message)``.
        """
        return self._copy(rules=(*self.rules, rule))

    def required(self) -> bool:
        return any(kind.required() for kind in self.fields.values())

    def allowed(self) -> str:
        return f"keys with values: {', '.join(self.fields)}"


@dataclass(frozen=True)
class Variant(Field):
    """A section that differs by one of its words: the key `key` says which."""

    shapes: ClassVar[frozenset[str]] = frozenset({"map"})
    key: str
    sections: Mapping[str, Section]
    default: str | None = None

    def __post_init__(self) -> None:
        if any(self.key in section.fields for section in self.sections.values()):
            raise ValueError(f"the key {self.key!r} tells the sections apart and cannot be a field of one")

    __hash__ = object.__hash__

    def required(self) -> bool:
        return self.default is None or self.sections[self.default].required()

    def allowed(self) -> str:
        return f"keys with values, and {self.key}: one of {', '.join(self.sections)}"


@dataclass(frozen=True)
class Maybe(Field):
    """A thing that may be left out; the value is then None, whatever the thing would need."""

    item: Field

    def __post_init__(self) -> None:
        object.__setattr__(self, "shapes", self.item.shapes)
        object.__setattr__(self, "doc", self.doc or self.item.doc)

    def allowed(self) -> str:
        return self.item.allowed()


@dataclass(frozen=True)
class OneOf(Field):
    """One of several kinds of thing, told apart by what stands there."""

    items: tuple[Field, ...]
    default: Any = REQUIRED

    def __post_init__(self) -> None:
        object.__setattr__(self, "shapes", frozenset().union(*(item.shapes for item in self.items)))

    def allowed(self) -> str:
        return "; or ".join(item.allowed() for item in self.items)
