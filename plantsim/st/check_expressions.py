"""Checks expressions: names to cells, types, implicit conversions, folding of literals."""

from __future__ import annotations

from typing import TYPE_CHECKING

from . import arithmetic, ir, tree
from . import types as t
from .arithmetic import Fault
from .source import article, nearest
from .units import Pou, Symbol

if TYPE_CHECKING:
    from .compiler import Compiler

_COMPARISONS = {"=": "eq", "<>": "ne", "<": "lt", "<=": "le", ">": "gt", ">=": "ge"}
_ARITHMETIC = {"+": "add", "-": "sub", "*": "mul", "/": "div", "MOD": "mod", "**": "pow"}
_NUMERIC = ("int", "real", "any_int", "any_real")
_FLEXIBLE = ("any_int", "any_real")


def unknown(pos: int) -> ir.Const:
    """Stands for an expression that was already reported."""
    return ir.Const(pos, t.UNKNOWN, 0)


def is_unknown(node: ir.Expr) -> bool:
    """Whether the expression was already reported."""
    return node.type is t.UNKNOWN


class ExpressionChecker:
    """Expressions of one unit."""

    def __init__(self, compiler: Compiler, pou: Pou) -> None:
        self.compiler = compiler
        self.pou = pou
        self.function_frames: dict[int, int] = {}
        #: temporaries certainly written so far, to warn about reads before the first write
        self.assigned: set[int] | None = None
        self.loop_cells: list[int] = []

    def error(self, pos: int, message: str) -> None:
        """Note an error."""
        self.compiler.findings.error(self.pou.source, pos, message)

    def warn(self, pos: int, message: str) -> None:
        """Note a warning, unless the unit comes from the library."""
        if not self.pou.library:
            self.compiler.findings.warn(self.pou.source, pos, message)

    # -- places ----------------------------------------------------------------------------------------------

    def symbol(self, node: tree.Name) -> Symbol | None:
        """The variable of a name, or None after an error."""
        found = self.pou.symbols.get(node.name)
        if found is not None:
            return found
        if self.compiler.enum_members(node.name):
            self.error(node.pos, f"{node.raw} is a value of an enumeration, expected a variable")
        elif self.compiler.is_callable(node.name):
            self.error(node.pos, f"{node.raw} is a function or block type, expected a variable")
        else:
            names = [s.name for s in self.pou.symbols.values()] + list(self.compiler.enum_names())
            self.error(node.pos, f"unknown name {node.raw!r}{nearest(node.raw, names)}")
        return None

    def root(self, node: tree.Expr) -> Symbol | None:
        """The variable a place belongs to, without noting anything."""
        while isinstance(node, tree.Member | tree.Index):
            node = node.of
        return self.pou.symbols.get(node.name) if isinstance(node, tree.Name) else None

    def place(self, node: tree.Expr, *, write: bool = False) -> ir.Place | None:
        """Where a variable is, or None after an error."""
        if isinstance(node, tree.Name):
            symbol = self.symbol(node)
            if symbol is None:
                return None
            if symbol.type is t.UNKNOWN:
                symbol.read = symbol.written = True
                return None
            if write:
                symbol.written = True
            else:
                symbol.read = True
            return ir.Place(node.pos, symbol.type, symbol.cell, symbol.pointer)
        if isinstance(node, tree.Member):
            return self._member(node, write)
        if isinstance(node, tree.Index):
            return self._index(node, write)
        if isinstance(node, tree.Bad):
            return None
        self.error(node.pos, "expected a variable, not a value")
        return None

    def _member(self, node: tree.Member, write: bool) -> ir.Place | None:
        of = self.place(node.of, write=write)
        if of is None:
            return None
        if isinstance(of.type, t.StructType):
            entry = of.type.fields.get(node.name)
            if entry is None:
                hint = nearest(node.raw, [f.name for f in of.type.fields.values()])
                self.error(node.pos, f"{of.type.name} has no element {node.raw!r}{hint}")
                return None
            return self.part(of, node.pos, entry.type, entry.offset)
        if isinstance(of.type, Pou):
            symbol = of.type.symbols.get(node.name)
            visible = [s.name for s in of.type.symbols.values() if s.section in ("input", "output")]
            if symbol is None or symbol.section not in ("input", "output"):
                what = "is not visible from outside" if symbol else "does not exist"
                hint = nearest(node.raw, visible) or f"; it has {', '.join(visible)}"
                self.error(node.pos, f"{node.raw} of {of.type.name} {what}{hint}")
                return None
            if write and symbol.section == "output":
                self.error(node.pos, f"{symbol.name} is an output of {of.type.name} and cannot be assigned")
                return None
            if symbol.type is t.UNKNOWN:
                return None
            return self.part(of, node.pos, symbol.type, symbol.cell)
        self.error(node.pos, f"{article(of.type.name)} has no elements; found .{node.raw}")
        return None

    @staticmethod
    def part(of: ir.Place, pos: int, kind: t.Type, offset: int) -> ir.Place:
        """A part of a place, some cells further on."""
        if of.pointer:
            return ir.Place(pos, kind, of.cell, True, of.offset + offset, of.steps)
        return ir.Place(pos, kind, of.cell + offset, False, 0, of.steps)

    def _index(self, node: tree.Index, write: bool) -> ir.Place | None:
        of = self.place(node.of, write=write)
        if of is None:
            for index in node.indexes:
                self.expression(index)
            return None
        kind = of.type
        if not isinstance(kind, t.ArrayType):
            self.error(node.pos, f"{article(kind.name)} is not an array and takes no index")
            return None
        if len(node.indexes) != len(kind.bounds):
            self.error(node.pos, f"found {len(node.indexes)} index(es), {kind.name} has {len(kind.bounds)}")
            return None
        offset = 0
        steps = list(of.steps)
        stride = kind.element.size
        strides = []
        for low, high in reversed(kind.bounds):
            strides.append(stride)
            stride *= high - low + 1
        failed = False
        for index, (low, high), stride in zip(node.indexes, kind.bounds, reversed(strides)):
            value = self.settle(self.expression(index))
            if is_unknown(value):
                failed = True
                continue
            if not (isinstance(value.type, t.Elementary) and value.type.kind == "int") or value.type.unsigned64:
                self.error(index.pos, f"an index must be an integer, found {value.type.name}")
                failed = True
            elif isinstance(value, ir.Const):
                if not low <= value.value <= high:
                    self.error(index.pos, f"index {value.value} is outside {low}..{high}")
                    failed = True
                offset += int(value.value - low) * stride
            else:
                steps.append(ir.Step(value, low, high - low + 1, stride))
        if failed:
            return None
        place = self.part(of, node.pos, kind.element, offset)
        place.steps = steps
        return place

    # -- expressions -----------------------------------------------------------------------------------------

    def expression(self, node: tree.Expr, expected: t.Type | None = None) -> ir.Expr:
        """Check an expression; the result may be an untyped literal until `coerce` or `settle`."""
        if isinstance(node, tree.Number):
            kind = t.ANY_INT if isinstance(node.value, int) else t.ANY_REAL
            return ir.Const(node.pos, kind, node.value)
        if isinstance(node, tree.Name):
            return self._name(node, expected)
        if isinstance(node, tree.Binary):
            return self._binary(node, expected)
        if isinstance(node, tree.Unary):
            return self._unary(node, expected)
        if isinstance(node, tree.Call):
            return self.call(node, expected)
        if isinstance(node, tree.TypedLiteral):
            return self._typed_literal(node)
        if isinstance(node, tree.InitList):
            self.error(node.pos, "a list of initial values cannot stand here")
            return unknown(node.pos)
        place = self.place(node)
        return unknown(node.pos) if place is None else self._load(place, node)

    def _load(self, place: ir.Place, node: tree.Expr) -> ir.Expr:
        kind = t.strip(place.type)
        if isinstance(kind, Pou):
            outputs = [s.name for s in kind.symbols.values() if s.section == "output"]
            self.error(node.pos, f"a block has no value; read one of its outputs: {', '.join(outputs)}")
            return unknown(node.pos)
        if isinstance(kind, t.Elementary):
            return ir.Load(node.pos, kind, place)
        if isinstance(kind, t.EnumType):
            return ir.Load(node.pos, kind, place)  # type: ignore[arg-type]
        return place

    def _name(self, node: tree.Name, expected: t.Type | None) -> ir.Expr:
        symbol = self.pou.symbols.get(node.name)
        if symbol is None:
            members = self.compiler.enum_members(node.name)
            if expected in members:
                members = [expected]  # type: ignore[list-item]
            if len(members) == 1:
                return ir.Const(node.pos, members[0], members[0].members[node.name])  # type: ignore[arg-type]
            if members:
                choice = " or ".join(f"{m.name}#{node.raw}" for m in members)
                self.error(node.pos, f"{node.raw} belongs to more than one enumeration; write {choice}")
                return unknown(node.pos)
        place = self.place(node)
        if place is None:
            return unknown(node.pos)
        if symbol is not None and self._unwritten(symbol):
            self.warn(node.pos, f"{symbol.name} may be read before it is written")
            self.note_cell(symbol)
        return self._load(place, node)

    def _unwritten(self, symbol: Symbol) -> bool:
        if self.assigned is None or symbol.cell in self.assigned or symbol.initialised:
            return False
        return symbol.section == "temp" and isinstance(symbol.type, t.Elementary)

    def note_cell(self, symbol: Symbol) -> None:
        """Remember that a variable has a value now."""
        if self.assigned is not None:
            self.assigned.add(symbol.cell)

    def _typed_literal(self, node: tree.TypedLiteral) -> ir.Expr:
        kind = t.ELEMENTARY.get(node.type)
        if kind is None:
            enum = self.compiler.type_named(node.type)
            if enum is not None and isinstance(enum[0], t.EnumType):
                chosen = enum[0].members.get(str(node.value).upper())
                if chosen is None:
                    hint = nearest(str(node.value), enum[0].spelling.values())
                    self.error(node.pos, f"{enum[0].name} has no value {node.value!r}{hint}")
                    return unknown(node.pos)
                return ir.Const(node.pos, enum[0], chosen)  # type: ignore[arg-type]
            if node.type in t.UNSUPPORTED_TYPES or node.type in ("D", "TOD", "DT", "LD", "LTOD", "LDT"):
                self.error(node.pos, f"literals of type {node.type} are not supported")
            else:
                self.error(node.pos, f"unknown type {node.type!r}{nearest(node.type, self.compiler.type_names())}")
            return unknown(node.pos)
        value = node.value
        if isinstance(value, str):
            self.error(node.pos, f"{value!r} is not a value of {kind.name}")
            return unknown(node.pos)
        if isinstance(value, float) and not kind.is_real:
            self.error(node.pos, f"{value} is not a value of {kind.name}, which has no decimals")
            return unknown(node.pos)
        if kind is t.TIME:
            return ir.Const(node.pos, kind, value)
        flexible = ir.Const(node.pos, t.ANY_INT if isinstance(value, int) else t.ANY_REAL, value)
        return self.coerce(flexible, kind)

    def _unary(self, node: tree.Unary, expected: t.Type | None) -> ir.Expr:
        of = self.expression(node.of, expected)
        if is_unknown(of):
            return of
        kind = of.type
        if node.op == "NOT":
            if kind is t.ANY_INT and expected is not None:
                of = self.coerce(of, expected)
                kind = of.type
            if not isinstance(kind, t.Elementary) or kind.kind not in ("bool", "bits"):
                self.error(node.pos, f"NOT takes BOOL or a bit string, found {kind.name}")
                return unknown(node.pos)
            return self.operation(node.pos, "not", kind, kind, [of])
        if not isinstance(kind, t.Elementary) or kind.kind not in (*_NUMERIC, "time") or not kind.signed:
            self.error(node.pos, f"'-' takes a signed number or TIME, found {kind.name}")
            return unknown(node.pos)
        return self.operation(node.pos, "neg", kind, kind, [of])

    def _binary(self, node: tree.Binary, expected: t.Type | None) -> ir.Expr:
        hint = expected if node.op not in _COMPARISONS else None
        left = self.expression(node.left, hint)
        wanted = left.type if isinstance(left.type, t.EnumType) else hint
        right = self.expression(node.right, wanted)
        if isinstance(right.type, t.EnumType) and is_unknown(left) is False and left.type is not right.type:
            left = self.expression(node.left, right.type)
        if is_unknown(left) or is_unknown(right):
            return unknown(node.pos)
        return self.binary(node.pos, node.op, left, right)

    def binary(self, pos: int, op: str, left: ir.Expr, right: ir.Expr) -> ir.Expr:
        """Check `left op right`, both checked already."""
        a, b = left.type, right.type
        if not isinstance(a, t.Elementary) or not isinstance(b, t.Elementary):
            if a is b and isinstance(a, t.EnumType) and op in ("=", "<>"):
                return self.operation(pos, _COMPARISONS[op], t.BOOL, t.DINT, [left, right])
            self.error(pos, f"{op} cannot join {a.name} and {b.name}")
            return unknown(pos)
        if op in ("AND", "OR", "XOR"):
            return self._logic(pos, op, left, right)
        if "time" in (a.kind, b.kind):
            return self._time(pos, op, left, right)
        kind = self._common(left, right)
        if kind is None or (op in _ARITHMETIC and kind.kind not in _NUMERIC):
            self.error(pos, f"{op} cannot join {a.name} and {b.name}{self._advice(op, a, b)}")
            return unknown(pos)
        if op == "**" and kind.unsigned64:
            self.error(pos, "** of ULINT is not supported; convert with ULINT_TO_LINT(...)")
            return unknown(pos)
        if op == "MOD" and kind.kind not in ("int", "any_int"):
            self.error(pos, f"MOD takes integers, found {a.name} and {b.name}")
            return unknown(pos)
        args = [self.coerce(left, kind), self.coerce(right, kind)]
        if op in _COMPARISONS:
            return self.operation(pos, _COMPARISONS[op], t.BOOL, kind, args)
        return self.operation(pos, _ARITHMETIC[op], kind, kind, args)

    @staticmethod
    def _advice(op: str, a: t.Elementary, b: t.Elementary) -> str:
        kinds = {a.kind, b.kind}
        if "bool" in kinds and op in _ARITHMETIC:
            return "; SEL(condition, value, value) gives a number from a BOOL"
        if "bits" in kinds:
            bits, other = (a, b) if a.kind == "bits" else (b, a)
            return f"; convert with {bits.name}_TO_{other.name if other.kind == 'int' else 'UINT'}(...)"
        if a.kind in _NUMERIC and b.kind in _NUMERIC:
            return f"; convert one of them, for example with {a.name}_TO_{b.name}(...)"
        return ""

    def _common(self, left: ir.Expr, right: ir.Expr) -> t.Elementary | None:
        a, b = left.type, right.type
        assert isinstance(a, t.Elementary) and isinstance(b, t.Elementary)
        if a.kind in _FLEXIBLE and b.kind in _FLEXIBLE:
            return t.ANY_REAL if "any_real" in (a.kind, b.kind) else t.ANY_INT
        for literal, other in ((left, b), (right, a)):
            if isinstance(literal, ir.Const) and literal.type.kind in _FLEXIBLE:
                if literal.type is t.ANY_REAL:
                    if other.kind == "int":
                        return t.REAL if t.widens(other, t.REAL) else t.LREAL
                    return other if other.is_real else None
                if other.kind in ("real", "bits", "bool"):
                    return other
                if other.kind == "int":
                    if other.low <= literal.value <= other.high:
                        return other
                    return t.common(other, self.settle(literal).type)  # type: ignore[arg-type]
                return None
        return t.common(a, b)

    def _logic(self, pos: int, op: str, left: ir.Expr, right: ir.Expr) -> ir.Expr:
        kind = self._common(left, right)
        if kind is None or kind.kind not in ("bool", "bits", "any_int"):
            names = f"{left.type.name} and {right.type.name}"
            self.error(pos, f"{op} takes BOOL or bit strings, found {names}")
            return unknown(pos)
        args = [self.coerce(left, kind), self.coerce(right, kind)]
        if kind is t.BOOL and op != "XOR" and not all(isinstance(a, ir.Const) for a in args):
            return ir.Logic(pos, t.BOOL, op == "AND", args[0], args[1])
        return self.operation(pos, op.lower(), kind, kind, args)

    def _time(self, pos: int, op: str, left: ir.Expr, right: ir.Expr) -> ir.Expr:
        a, b = left.type, right.type
        if a is t.TIME and b is t.TIME:
            if op in _COMPARISONS:
                return self.operation(pos, _COMPARISONS[op], t.BOOL, t.TIME, [left, right])
            if op in ("+", "-"):
                return self.operation(pos, _ARITHMETIC[op], t.TIME, t.TIME, [left, right])
        time, other = (left, right) if a is t.TIME else (right, left)
        kind = other.type
        assert isinstance(kind, t.Elementary)
        if op == "*" or (op == "/" and a is t.TIME):
            name = _ARITHMETIC[op]
            if kind.kind in ("int", "any_int") and not kind.unsigned64:
                factor = self.coerce(other, t.LINT, force=True)
                args = [time, factor] if a is t.TIME else [factor, time]
                return self.operation(pos, name, t.TIME, t.TIME, args)
            if kind.kind in ("real", "any_real"):
                ms = self.operation(pos, "convert", t.LREAL, t.TIME, [time])
                factor = self.coerce(other, t.LREAL)
                args = [ms, factor] if a is t.TIME else [factor, ms]
                product = self.operation(pos, name, t.LREAL, t.LREAL, args)
                return self.operation(pos, "convert", t.TIME, t.LREAL, [product])
        hint = "; a time is written T#5s" if kind.kind in _FLEXIBLE else ""
        self.error(pos, f"{op} cannot join {a.name} and {b.name}{hint}")
        return unknown(pos)

    def operation(
        self, pos: int, name: str, result: t.Elementary, operand: t.Elementary, args: list[ir.Expr]
    ) -> ir.Expr:
        """An operation node, folded when all arguments are literals."""
        values = []
        for arg in args:
            if not isinstance(arg, ir.Const):
                return ir.Op(pos, result, name, operand, args)
            values.append(arg.value)
        try:
            if name == "pow" and result is t.ANY_INT:
                base, exponent = int(values[0]), int(values[1])
                if exponent > 128 and abs(base) > 1:
                    raise OverflowError
                value: int | float = base**exponent if exponent >= 0 else arithmetic.integer_power(base, exponent)
                if abs(value) >= 1 << 64:
                    raise OverflowError
            else:
                value = arithmetic.apply(name, result, operand, values)
        except Fault:
            self.error(pos, "division by zero")
            return unknown(pos)
        except OverflowError:
            self.error(pos, "the value of these literals is too large for any integer type")
            return unknown(pos)
        if name == "div" and result is t.ANY_INT and values[0] % values[1]:
            self.warn(
                pos, f"{values[0]}/{values[1]} of integers is {value}; write {values[0]}.0/{values[1]}.0 for a real"
            )
        return ir.Const(pos, result, value)

    # -- types -----------------------------------------------------------------------------------------------

    def settle(self, node: ir.Expr) -> ir.Expr:
        """Give an untyped literal the smallest of INT, DINT, LINT, ULINT that holds it, or REAL."""
        if node.type is t.ANY_INT and isinstance(node, ir.Const):
            for kind in (t.INT, t.DINT, t.LINT, t.ULINT):
                if kind.low <= node.value <= kind.high:
                    return ir.Const(node.pos, kind, node.value)
            self.error(node.pos, f"{node.value} is too large for any integer type")
            return unknown(node.pos)
        if node.type is t.ANY_REAL and isinstance(node, ir.Const):
            return self.coerce(node, t.REAL)
        return node

    def coerce(self, node: ir.Expr, target: t.Type, *, force: bool = False) -> ir.Expr:
        """Make an expression a value of `target` by an implicit conversion, or note an error."""
        source = node.type
        if source is target or source is t.UNKNOWN or target is t.UNKNOWN:
            return node
        if isinstance(target, t.Subrange):
            result = self.coerce(node, target.base)
            known = isinstance(result, ir.Const) and result.type is not t.UNKNOWN
            if known and not target.low <= result.value <= target.high:  # type: ignore[union-attr]
                self.error(node.pos, f"{result.value} is outside {target.low}..{target.high}")  # type: ignore[union-attr]
            return result
        if isinstance(target, t.Elementary) and isinstance(source, t.Elementary):
            if isinstance(node, ir.Const) and source.kind in _FLEXIBLE:
                return self._literal(node, target)
            if force or t.widens(source, target):
                return self.operation(node.pos, "convert", target, source, [node])
            advice = self._conversion(source, target)
            self.error(node.pos, f"found {article(source.name)}, expected {target.name}{advice}")
        elif t.same_type(source, target):
            return node
        elif isinstance(target, t.EnumType):
            choice = ", ".join(list(target.spelling.values())[:6])
            self.error(node.pos, f"found {source.name}, expected a value of {target.name}: {choice}")
        else:
            self.error(node.pos, f"found {source.name}, expected {target.name}")
        return unknown(node.pos)

    @staticmethod
    def _conversion(source: t.Elementary, target: t.Elementary) -> str:
        if t.TIME in (source, target):
            return f"; convert with {source.name}_TO_{target.name}(...), which counts milliseconds"
        return f"; convert with {source.name}_TO_{target.name}(...)"

    def _literal(self, node: ir.Const, target: t.Elementary) -> ir.Expr:
        value = node.value
        if target.kind == "real":
            number = float(value)
            return ir.Const(node.pos, target, arithmetic.single(number) if target is t.REAL else number)
        if target.kind in _FLEXIBLE:
            return ir.Const(node.pos, target, float(value) if target is t.ANY_REAL else value)
        if target is t.TIME:
            self.error(node.pos, f"found number {value}, expected a TIME; write it with a unit: T#{value}s")
        elif node.type is t.ANY_REAL:
            self.error(node.pos, f"found real number {value}, expected {target.name}")
        elif target is t.BOOL and value not in (0, 1):
            self.error(node.pos, f"found number {value}, expected a BOOL: TRUE or FALSE")
        elif not target.low <= value <= target.high:
            self.error(node.pos, f"{value} does not fit {target.name}, which holds {target.low}..{target.high}")
        else:
            return ir.Const(node.pos, target, value)
        return unknown(node.pos)

    def value(self, node: tree.Expr, target: t.Type) -> ir.Expr:
        """Check an expression that must give a value of `target`."""
        return self.coerce(self.expression(node, target), target)

    def call(self, node: tree.Call, expected: t.Type | None = None) -> ir.Expr:
        """Check a call inside an expression; see `CallChecker`."""
        raise NotImplementedError
