"""Resolution of declared types and initial values."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from . import tree
from . import types as t
from .source import Source, nearest
from .units import Pou, bits_of

if TYPE_CHECKING:
    from .compiler import Compiler

_CELL_LIMIT = 1_000_000
#: evaluates a constant expression as a value of a type; None after a noted error
Evaluate = Callable[[tree.Expr, t.Type], "int | float | None"]


class TypeResolver:
    """Turns type expressions into types and default images, within one file."""

    def __init__(self, compiler: Compiler, source: Source, evaluate: Evaluate) -> None:
        self.compiler = compiler
        self.source = source
        self.evaluate = evaluate

    def error(self, pos: int, message: str) -> None:
        """Note an error."""
        self.compiler.findings.error(self.source, pos, message)

    def resolve(self, node: tree.TypeExpr, name: str = "") -> tuple[t.Type, list[int]]:
        """The type and its default image."""
        if isinstance(node, tree.TypeName):
            return self._named(node, name)
        if isinstance(node, tree.ArrayOf):
            return self._array(node)
        if isinstance(node, tree.EnumOf):
            return self._enum(node, name)
        return self._struct(node, name)

    def _named(self, node: tree.TypeName, name: str) -> tuple[t.Type, list[int]]:
        base = t.ELEMENTARY.get(node.name)
        if base is None:
            if node.name in t.UNSUPPORTED_TYPES:
                self.error(node.pos, f"type {node.name} {t.UNSUPPORTED_TYPES[node.name]}")
                return t.UNKNOWN, [0]
            found = self.compiler.type_named(node.name)
            if found is None:
                block = self.compiler.pou_named(node.name)
                if block is not None and block.kind == "FUNCTION_BLOCK":
                    return block, list(block.image) or [0] * block.size
                if block is not None:
                    self.error(node.pos, f"{node.raw} is a {block.kind}, expected a type or a FUNCTION_BLOCK")
                else:
                    hint = nearest(node.raw, self.compiler.type_names())
                    self.error(node.pos, f"unknown type {node.raw!r}{hint}")
                return t.UNKNOWN, [0]
            kind, image = found
            if node.bounds is not None:
                self.error(node.pos, f"{node.raw} takes no subrange; only the integer types do")
            return kind, list(image)
        if node.bounds is None:
            return base, [0]
        if base.kind != "int":
            self.error(node.pos, f"{base.name} takes no subrange; only the integer types do")
            return base, [0]
        limits = self._limits(node.bounds, base)
        if limits is None:
            return base, [0]
        return (
            t.Subrange(name or f"{base.name} ({limits[0]}..{limits[1]})", base, *limits),
            [bits_of(limits[0], base)],
        )

    def _limits(self, bounds: tuple[tree.Expr, tree.Expr], kind: t.Elementary) -> tuple[int, int] | None:
        low, high = (self.evaluate(bound, kind) for bound in bounds)
        if low is None or high is None:
            return None
        if low > high:
            self.error(bounds[0].pos, f"lower bound {low} is above upper bound {high}")
            return None
        return int(low), int(high)

    def _array(self, node: tree.ArrayOf) -> tuple[t.Type, list[int]]:
        element, image = self.resolve(node.element)
        limits = [self._limits(bounds, t.DINT) for bounds in node.bounds]
        if element is t.UNKNOWN or any(limit is None for limit in limits):
            return t.UNKNOWN, [0]
        count = max(element.size, 1)
        for low, high in (limit for limit in limits if limit is not None):
            count *= high - low + 1
        if count > _CELL_LIMIT:
            self.error(node.pos, f"this array takes {count} cells; at most {_CELL_LIMIT} are allowed")
            return t.UNKNOWN, [0]
        kind = t.ArrayType(tuple(limit for limit in limits if limit is not None), element)
        return kind, image * (kind.size // max(element.size, 1))

    def _enum(self, node: tree.EnumOf, name: str) -> tuple[t.Type, list[int]]:
        members: dict[str, int] = {}
        spelling: dict[str, str] = {}
        following = 0
        for pos, raw, value in node.members:
            if raw.upper() in members:
                self.error(pos, f"{raw} stands twice in this enumeration")
                continue
            if value is not None:
                given = self.evaluate(value, t.DINT)
                following = int(given) if given is not None else following
            members[raw.upper()] = following
            spelling[raw.upper()] = raw
            following += 1
        kind = t.EnumType(name or f"({', '.join(spelling.values())})", members, spelling)
        self.compiler.enums.append(kind)
        return kind, [next(iter(members.values()), 0)]

    def _struct(self, node: tree.StructOf, name: str) -> tuple[t.Type, list[int]]:
        kind = t.StructType(name or "STRUCT")
        whole: list[int] = []
        for declared in node.fields:
            if declared.name.upper() in kind.fields:
                self.error(declared.pos, f"{declared.name} stands twice in this structure")
                continue
            element, image = self.resolve(declared.type)
            if declared.initial is not None:
                image = self.initial(element, image, declared.initial)
            kind.fields[declared.name.upper()] = t.Field(
                declared.name, element, len(whole), unit=declared.unit, comment=declared.comment
            )
            whole += image
        kind.size = len(whole)
        if not whole:
            self.error(node.pos, "a structure needs at least one element")
            return t.UNKNOWN, [0]
        return kind, whole

    # -- initial values --------------------------------------------------------------------------------------

    def initial(self, kind: t.Type, default: list[int], node: tree.Expr) -> list[int]:
        """Image of a variable with an initial value."""
        if kind is t.UNKNOWN:
            return default
        if isinstance(node, tree.InitList):
            if isinstance(kind, t.ArrayType):
                return self._initial_array(kind, default, node)
            if isinstance(kind, t.StructType | Pou):
                return self._initial_parts(kind, default, node)
            self.error(node.pos, f"{kind.name} takes a single initial value")
            return default
        if isinstance(kind, t.ArrayType):
            self.error(node.pos, f"{kind.name} takes its initial values in brackets: [1, 2, 3(0)]")
            return default
        if isinstance(kind, t.StructType | Pou):
            self.error(node.pos, f"{kind.name} takes its initial values by name: (NAME := value)")
            return default
        value = self.evaluate(node, kind)
        return default if value is None else [bits_of(value, t.strip(kind))]

    def _initial_array(self, kind: t.ArrayType, default: list[int], node: tree.InitList) -> list[int]:
        size = kind.element.size
        image = list(default)
        at = 0
        for repeat, name, value in node.items:
            if name is not None:
                self.error(node.pos, "an array takes its initial values by position")
                return default
            if at + repeat * size > len(image):
                self.error(node.pos, f"more initial values than the {len(image) // size} elements of {kind.name}")
                return default
            for _ in range(repeat if value is not None else 0):
                image[at : at + size] = self.initial(kind.element, image[at : at + size], value)  # type: ignore[arg-type]
                at += size
            if value is None:
                at += repeat * size
        return image

    def _initial_parts(self, kind: t.StructType | Pou, default: list[int], node: tree.InitList) -> list[int]:
        image = list(default)
        for _, name, value in node.items:
            if name is None or value is None:
                self.error(node.pos, f"{kind.name} takes its initial values by name: (NAME := value)")
                return default
            if isinstance(kind, Pou):
                known = {k: s for k, s in kind.symbols.items() if s.section == "input"}
                symbol = known.get(name)
                part, offset = (symbol.type, symbol.cell) if symbol else (None, 0)
            else:
                entry = kind.fields.get(name)
                part, offset = (entry.type, entry.offset) if entry else (None, 0)
                known = kind.fields  # type: ignore[assignment]
            if part is None:
                names = [s.name for s in known.values()]
                self.error(value.pos, f"{kind.name} has no element {name}{nearest(name, names)}")
                continue
            size = part.size
            image[offset : offset + size] = self.initial(part, image[offset : offset + size], value)
        return image
