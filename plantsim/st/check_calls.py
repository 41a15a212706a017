"""Checks calls: standard functions, user functions, block instances.

Source of the standard functions: IEC 61131-3, third edition (2013), Tables 22 to 36, from memory.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from itertools import pairwise

from . import ir, tree
from . import types as t
from .check_expressions import ExpressionChecker, is_unknown, unknown
from .source import article, nearest, words
from .units import Pou, Symbol

_CONVERSION = re.compile(r"(?:([A-Z]+)_)?(TO|TRUNC)_([A-Z]+)$")
_ONE_REAL = frozenset(words("SQRT LN LOG EXP SIN COS TAN ASIN ACOS ATAN"))
#: parameter names of the standard functions; '+' marks those that take two or more inputs
SIGNATURES: dict[str, str] = {
    **{name: "IN" for name in (*_ONE_REAL, "ABS", "NOT", "TRUNC", "MOVE")},
    **{name: "IN1 IN2 +" for name in ("ADD", "MUL", "AND", "OR", "XOR", "MIN", "MAX", "GT", "GE", "EQ", "LE", "LT")},
    **{name: "IN1 IN2" for name in ("SUB", "DIV", "MOD", "EXPT", "NE")},
    **{name: "IN N" for name in ("SHL", "SHR", "ROL", "ROR")},
    "ATAN2": "Y X",
    "SEL": "G IN0 IN1",
    "LIMIT": "MN IN MX",
    "MUX": "K IN0 IN1 +",
}
_OPERATOR = {
    "ADD": "+", "SUB": "-", "MUL": "*", "DIV": "/", "MOD": "MOD", "EXPT": "**", "AND": "AND", "OR": "OR", "XOR": "XOR",
    "GT": ">", "GE": ">=", "EQ": "=", "LE": "<=", "LT": "<", "NE": "<>",
}  # fmt: skip
_UNSUPPORTED = frozenset(words("LEN LEFT RIGHT MID CONCAT INSERT DELETE REPLACE FIND"))


class CallChecker(ExpressionChecker):
    """Adds calls to the expression checker."""

    def call(self, node: tree.Call, expected: t.Type | None = None) -> ir.Expr:
        """Check a call whose value is wanted."""
        if not isinstance(node.of, tree.Name):
            self.error(node.pos, "a block call gives no value; call it in a statement and read its outputs")
            return unknown(node.pos)
        name = node.of.name
        symbol = self.pou.symbols.get(name)
        if symbol is not None and not (name == self.pou.name.upper() and self.pou.kind == "FUNCTION"):
            if isinstance(symbol.type, Pou):
                outputs = [s.name for s in symbol.type.symbols.values() if s.section == "output"]
                self.error(
                    node.pos,
                    f"a block call gives no value; call {symbol.name}(...) in a statement and read "
                    f"{', '.join(f'{symbol.name}.{o}' for o in outputs)}",
                )
            elif symbol.type is not t.UNKNOWN:
                self.error(node.pos, f"{symbol.name} is a variable, not a function")
            return unknown(node.pos)
        pou = self.compiler.pou_named(name) if name not in SIGNATURES else None
        if pou is not None:
            if pou.kind != "FUNCTION":
                self.error(node.pos, f"{pou.name} is a {pou.kind}; declare an instance in VAR and call that")
                return unknown(node.pos)
            return self.function(node, pou)
        return self._standard(node, name, expected)

    # -- standard functions ----------------------------------------------------------------------------------

    def _standard(self, node: tree.Call, name: str, expected: t.Type | None) -> ir.Expr:
        conversion = _CONVERSION.match(name)
        if name not in SIGNATURES and conversion is None:
            assert isinstance(node.of, tree.Name)
            if name in _UNSUPPORTED:
                self.error(node.pos, f"function {name} is not supported: STRING is left out")
            elif name in ("AND_THEN", "OR_ELSE"):
                self.error(node.pos, f"{name} is not in the standard; AND and OR already stop early here")
            else:
                names = [*SIGNATURES, *self.compiler.callable_names()]
                self.error(node.pos, f"unknown function {node.of.raw!r}{nearest(name, names)}")
            for argument in node.arguments:
                self.expression(argument.value)
            return unknown(node.pos)
        values = self._bind(node, name, SIGNATURES.get(name, "IN"), expected)
        if values is None or any(is_unknown(v) for v in values):
            return unknown(node.pos)
        if conversion is not None and name not in SIGNATURES:
            return self._convert(node, name, conversion, values[0])
        for value in values:
            if not isinstance(value.type, t.Elementary | t.EnumType) and name not in ("MOVE",):
                self.error(value.pos, f"{name} takes elementary values, found {value.type.name}")
                return unknown(node.pos)
        method: Callable = getattr(self, f"_std_{name.lower()}", self._std_operator)
        if name in _ONE_REAL:
            method = self._std_real
        elif name in ("SHL", "SHR", "ROL", "ROR"):
            method = self._std_shift
        elif name in ("MIN", "MAX"):
            method = self._std_extreme
        return method(node, name, values)

    def _bind(self, node: tree.Call, name: str, signature: str, expected: t.Type | None) -> list[ir.Expr] | None:
        """Argument values in the order of the signature, or None after an error."""
        many = signature.endswith("+")
        names = signature.rstrip(" +").split()
        given: dict[str, ir.Expr] = {}
        hint = expected if name in ("SEL", "MUX", "LIMIT", "MIN", "MAX", "MOVE", "ADD", "SUB", "MUL", "DIV") else None
        ok = True
        for at, argument in enumerate(node.arguments):
            formal = argument.name
            if argument.output or formal in ("EN", "ENO"):
                self.error(argument.pos, f"{name} has no output to bind; EN and ENO are not supported")
                ok = False
                continue
            if formal is None:
                following = f"IN{at - len(names) + int(names[-1][2:] or 0) + 1}" if many else ""
                formal = names[at] if at < len(names) else following
            elif formal not in names and not (many and re.fullmatch(r"IN\d+", formal)):
                self.error(argument.pos, f"{name} has no parameter {argument.raw}; it takes {', '.join(names)}")
                ok = False
                continue
            if formal in given:
                self.error(argument.pos, f"parameter {formal} of {name} is given twice")
                ok = False
            if not formal:
                self.error(argument.pos, f"{name} takes {len(names)} argument(s): {', '.join(names)}")
                ok = False
                break
            given[formal] = self.expression(argument.value, hint if formal not in ("G", "K", "N") else None)
        if not ok:
            return None
        missing = [n for n in names if n not in given]
        if missing:
            self.error(node.pos, f"{name} needs {', '.join(names)}; {', '.join(missing)} missing")
            return None
        order = names + sorted((n for n in given if n not in names), key=lambda n: int(n[2:]))
        return [given[n] for n in order]

    def _convert(self, node: tree.Call, name: str, match: re.Match, value: ir.Expr) -> ir.Expr:
        source = t.ELEMENTARY.get(match.group(1) or "")
        target = t.ELEMENTARY.get(match.group(3))
        if target is None or (match.group(1) and source is None):
            word = match.group(3) if target is None else match.group(1)
            if word in t.UNSUPPORTED_TYPES or word == "BCD":
                self.error(node.pos, f"conversion {name}: {word} is not supported")
            else:
                self.error(node.pos, f"conversion {name}: unknown type {word!r}{nearest(word, t.ELEMENTARY)}")
            return unknown(node.pos)
        if isinstance(value.type, t.EnumType):
            self.error(node.pos, f"{name} takes a number, found {value.type.name}; use CASE")
            return unknown(node.pos)
        if not isinstance(value.type, t.Elementary):
            self.error(node.pos, f"{name} takes an elementary value, found {value.type.name}")
            return unknown(node.pos)
        value = self.coerce(value, source) if source is not None else self.settle(value)
        if is_unknown(value):
            return value
        source = value.type  # type: ignore[assignment]
        assert isinstance(source, t.Elementary)
        if match.group(2) == "TRUNC":
            if not source.is_real or target.kind != "int":
                self.error(node.pos, f"{name}: TRUNC goes from REAL or LREAL to an integer type")
                return unknown(node.pos)
            return self.operation(node.pos, "trunc", target, source, [value])
        if {"bits", "real"} == {source.kind, target.kind}:
            self.error(node.pos, f"{name} is not supported; go by way of an integer type")
            return unknown(node.pos)
        return self.operation(node.pos, "convert", target, source, [value]) if source is not target else value

    def _numbers(self, name: str, values: list[ir.Expr], kinds: tuple[str, ...]) -> tuple[t.Elementary, list] | None:
        """Bring arguments to their common type, which must be of one of the kinds."""
        kind = values[0].type
        result: t.Elementary | None = kind if isinstance(kind, t.Elementary) else None
        for value in values[1:]:
            if result is None:
                break
            if not isinstance(value.type, t.Elementary):
                result = None
            else:
                probe = ir.Const(value.pos, result, 0) if not isinstance(values[0], ir.Const) else values[0]
                if result is not values[0].type:
                    probe = ir.Const(value.pos, result, 0)
                result = self._common(probe, value)
        if result is None or result.kind not in kinds:
            found = ", ".join(v.type.name for v in values)
            self.error(values[0].pos, f"{name} cannot take {found}")
            return None
        if result.kind in ("any_int", "any_real") and not all(isinstance(v, ir.Const) for v in values):
            result = t.REAL if result is t.ANY_REAL else t.DINT
        return result, [self.coerce(v, result) for v in values]

    def _std_operator(self, node: tree.Call, name: str, values: list[ir.Expr]) -> ir.Expr:
        op = _OPERATOR[name]
        if name in ("GT", "GE", "EQ", "LE", "LT"):
            if any(ir.calls_function(value) for value in values[1:-1]):
                self.error(node.pos, f"a function call inside {name} of more than two values is not supported")
                return unknown(node.pos)
            result = self.binary(node.pos, op, values[0], values[1])
            for left, right in pairwise(values[1:]):
                following = self.binary(node.pos, op, left, right)
                if is_unknown(result) or is_unknown(following):
                    return unknown(node.pos)
                result = self.operation(node.pos, "and", t.BOOL, t.BOOL, [result, following])
            return result
        result = values[0]
        for value in values[1:]:
            if is_unknown(result):
                break
            if result.type is t.BOOL and value.type is t.BOOL and name in ("AND", "OR"):
                # the function form evaluates all its arguments
                result = self.operation(node.pos, name.lower(), t.BOOL, t.BOOL, [result, value])
            else:
                result = self.binary(node.pos, op, result, value)
        return result

    def _std_move(self, node: tree.Call, name: str, values: list[ir.Expr]) -> ir.Expr:
        return values[0]

    def _std_not(self, node: tree.Call, name: str, values: list[ir.Expr]) -> ir.Expr:
        kind = values[0].type
        if not isinstance(kind, t.Elementary) or kind.kind not in ("bool", "bits"):
            self.error(node.pos, f"NOT takes BOOL or a bit string, found {kind.name}")
            return unknown(node.pos)
        return self.operation(node.pos, "not", kind, kind, values)

    def _std_real(self, node: tree.Call, name: str, values: list[ir.Expr]) -> ir.Expr:
        value = values[0]
        kind = value.type
        if kind is t.ANY_INT:
            value, kind = self.coerce(value, t.ANY_REAL), t.ANY_REAL
        if isinstance(kind, t.Elementary) and kind.kind == "int":
            target = t.REAL if t.widens(kind, t.REAL) else t.LREAL
            if t.widens(kind, target):
                value, kind = self.coerce(value, target), target
        if not isinstance(kind, t.Elementary) or kind.kind not in ("real", "any_real"):
            self.error(node.pos, f"{name} takes REAL or LREAL, found {kind.name}")
            return unknown(node.pos)
        return self.operation(node.pos, name.lower(), kind, kind, [value])

    def _std_atan2(self, node: tree.Call, name: str, values: list[ir.Expr]) -> ir.Expr:
        bound = self._numbers(name, values, ("real", "any_real"))
        if bound is None:
            return unknown(node.pos)
        return self.operation(node.pos, "atan2", bound[0], bound[0], bound[1])

    def _std_abs(self, node: tree.Call, name: str, values: list[ir.Expr]) -> ir.Expr:
        kind = values[0].type
        if not isinstance(kind, t.Elementary) or kind.kind not in ("int", "real", "any_int", "any_real"):
            self.error(node.pos, f"ABS takes a number, found {kind.name}")
            return unknown(node.pos)
        if not kind.signed:
            return values[0]
        return self.operation(node.pos, "abs", kind, kind, values)

    def _std_trunc(self, node: tree.Call, name: str, values: list[ir.Expr]) -> ir.Expr:
        value = self.settle(values[0])
        if value.type not in (t.REAL, t.LREAL):
            self.error(node.pos, f"TRUNC takes REAL or LREAL, found {value.type.name}")
            return unknown(node.pos)
        target = t.DINT if value.type is t.REAL else t.LINT
        return self.operation(node.pos, "trunc", target, value.type, [value])  # type: ignore[arg-type]

    def _std_shift(self, node: tree.Call, name: str, values: list[ir.Expr]) -> ir.Expr:
        kind = values[0].type
        count = self.settle(values[1])
        if not isinstance(kind, t.Elementary) or kind.kind != "bits":
            self.error(node.pos, f"{name} takes a bit string (BYTE, WORD, DWORD, LWORD), found {kind.name}")
            return unknown(node.pos)
        if not isinstance(count.type, t.Elementary) or count.type.kind != "int" or count.type.unsigned64:
            self.error(node.pos, f"{name}: the count N must be an integer, found {count.type.name}")
            return unknown(node.pos)
        return self.operation(node.pos, name.lower(), kind, kind, [values[0], count])

    def _std_extreme(self, node: tree.Call, name: str, values: list[ir.Expr]) -> ir.Expr:
        bound = self._numbers(name, values, ("int", "real", "any_int", "any_real", "time", "bits", "bool"))
        if bound is None:
            return unknown(node.pos)
        kind, args = bound
        result = args[0]
        for arg in args[1:]:
            result = self.operation(node.pos, name.lower(), kind, kind, [result, arg])
        return result

    def _std_limit(self, node: tree.Call, name: str, values: list[ir.Expr]) -> ir.Expr:
        bound = self._numbers(name, values, ("int", "real", "any_int", "any_real", "time", "bits"))
        if bound is None:
            return unknown(node.pos)
        kind, (low, value, high) = bound
        if isinstance(low, ir.Const) and isinstance(high, ir.Const) and low.value > high.value:
            self.warn(node.pos, f"LIMIT: lower limit {low.value} is above upper limit {high.value}")
        raised = self.operation(node.pos, "max", kind, kind, [value, low])
        return self.operation(node.pos, "min", kind, kind, [raised, high])

    def _std_sel(self, node: tree.Call, name: str, values: list[ir.Expr]) -> ir.Expr:
        gate = self.coerce(values[0], t.BOOL)
        return self._choice(node, name, "select", gate, values[1:])

    def _std_mux(self, node: tree.Call, name: str, values: list[ir.Expr]) -> ir.Expr:
        selector = self.settle(values[0])
        if not isinstance(selector.type, t.Elementary) or selector.type.kind != "int" or selector.type.unsigned64:
            self.error(node.pos, f"MUX: the selector K must be an integer, found {selector.type.name}")
            return unknown(node.pos)
        return self._choice(node, name, "mux", selector, values[1:])

    def _choice(self, node: tree.Call, name: str, op: str, gate: ir.Expr, values: list[ir.Expr]) -> ir.Expr:
        if is_unknown(gate):
            return gate
        kind = values[0].type
        if isinstance(kind, t.EnumType) and all(v.type is kind for v in values):
            return ir.Op(node.pos, kind, op, kind, [gate, *values])  # type: ignore[arg-type]
        bound = self._numbers(name, values, ("int", "real", "any_int", "any_real", "time", "bits", "bool"))
        if bound is None:
            return unknown(node.pos)
        kind, args = bound
        if kind.kind in ("any_int", "any_real") and not isinstance(gate, ir.Const):
            # literals chosen at run time need one type now: the widest any of them needs
            settled = [self.settle(a) for a in args]
            wide: t.Elementary | None = settled[0].type  # type: ignore[assignment]
            for value in settled[1:]:
                if wide is not None and isinstance(value.type, t.Elementary):
                    wide = t.common(wide, value.type)
            kind = wide or t.LINT
            args = [self.coerce(a, kind) for a in args]
        return self.operation(node.pos, op, kind, kind, [gate, *args])

    # -- user functions and blocks ---------------------------------------------------------------------------

    def function(self, node: tree.Call, pou: Pou) -> ir.Expr:
        """Check a call of a user function."""
        self.compiler.complete(pou, self.pou, node.pos)
        frame = self.function_frames.get(id(pou))
        if frame is None:
            frame = self.pou.take(pou.size)
            self.function_frames[id(pou)] = frame
            self.pou.frames.append((frame, pou))
        base = ir.Place(node.pos, pou, frame)
        arguments, outputs = self.arguments(node, pou, base)
        return ir.Call(node.pos, pou.result, pou, frame, arguments, outputs)

    def arguments(
        self, node: tree.Call, pou: Pou, base: ir.Place
    ) -> tuple[list[ir.Argument], list[ir.Transfer]]:
        """Check the arguments of a user function or a block against its variables."""
        by_position = [s for s in pou.symbols.values() if s.section in ("input", "in_out")]
        if pou.kind == "FUNCTION":
            by_position = [s for s in pou.symbols.values() if s.section in ("input", "in_out", "output")]
        visible = [s.name for s in pou.symbols.values() if s.section in ("input", "in_out", "output")]
        arguments: list[ir.Argument] = []
        outputs: list[ir.Transfer] = []
        given: set[str] = set()
        for at, argument in enumerate(node.arguments):
            if argument.name in ("EN", "ENO") and argument.name not in pou.symbols:
                self.error(argument.pos, "EN and ENO are not supported; use IF")
                continue
            if argument.name is not None:
                symbol = pou.symbols.get(argument.name)
                if symbol is None or symbol.section not in ("input", "in_out", "output"):
                    hint = nearest(argument.raw, visible) or f"; it has {', '.join(visible) or 'none'}"
                    self.error(argument.pos, f"{pou.name} has no parameter {argument.raw!r}{hint}")
                    self.expression(argument.value)
                    continue
            elif at < len(by_position):
                symbol = by_position[at]
            else:
                self.error(argument.pos, f"{pou.name} takes {len(by_position)} argument(s), found more")
                break
            key = symbol.name.upper()
            if key in given:
                self.error(argument.pos, f"parameter {symbol.name} of {pou.name} is given twice")
            given.add(key)
            if symbol.section == "output" and (argument.output or argument.name is None):
                transfer = self._output(argument, symbol, base)
                if transfer is not None:
                    outputs.append(transfer)
            elif symbol.section == "output" or argument.output:
                arrow = "=>" if symbol.section == "output" else ":="
                self.error(argument.pos, f"{symbol.name} is an {symbol.section} of {pou.name}; bind it with {arrow}")
            elif symbol.section == "in_out":
                bind = self._reference(argument, symbol, base, pou)
                if bind is not None:
                    arguments.append(bind)
            else:
                arguments.append(self._input(argument, symbol, base))
        for symbol in pou.symbols.values():
            if symbol.name.upper() in given:
                continue
            if symbol.section == "in_out":
                self.error(node.pos, f"{pou.name} needs its VAR_IN_OUT {symbol.name}")
            elif symbol.section == "input" and pou.kind == "FUNCTION":
                arguments += self._default(node.pos, symbol, base)
        return arguments, outputs

    def _default(self, pos: int, symbol: Symbol, base: ir.Place) -> list[ir.Argument]:
        place = self.part(base, pos, symbol.type, symbol.cell)
        if isinstance(t.strip(symbol.type), t.Elementary | t.EnumType):
            kind = t.strip(symbol.type)
            return [ir.Store(pos, place, ir.Const(pos, kind, self.compiler.image_value(symbol, kind)))]  # type: ignore[arg-type]
        self.error(pos, f"the array or structure {symbol.name} must be given")
        return []

    def _input(self, argument: tree.Argument, symbol: Symbol, base: ir.Place) -> ir.Argument:
        value = self.value(argument.value, symbol.type)
        place = self.part(base, argument.pos, symbol.type, symbol.cell)
        if isinstance(value, ir.Place) or (isinstance(value, ir.Call) and not self.scalar(value.type)):
            return ir.Copy(argument.pos, place, value)
        limits = (symbol.type.low, symbol.type.high) if isinstance(symbol.type, t.Subrange) else None
        return ir.Store(argument.pos, place, value, limits)

    @staticmethod
    def scalar(kind: t.Type) -> bool:
        """Whether a type takes one cell as a value."""
        return isinstance(kind, t.Elementary | t.EnumType | t.Subrange)

    def _output(self, argument: tree.Argument, symbol: Symbol, base: ir.Place) -> ir.Transfer | None:
        if not self.may_write(argument.value):
            return None
        target = self.place(argument.value, write=True)
        if target is None or symbol.type is t.UNKNOWN:
            return None
        self.note_written(argument.value)
        source = self.part(base, argument.pos, symbol.type, symbol.cell)
        if not self.scalar(symbol.type):
            if not t.same_type(symbol.type, target.type):
                self.error(argument.pos, f"{symbol.name} is {article(symbol.type.name)}, found {target.type.name}")
            return ir.Copy(argument.pos, target, source)
        value = self.coerce(ir.Load(argument.pos, t.strip(symbol.type), source), target.type)  # type: ignore[arg-type]
        limits = (target.type.low, target.type.high) if isinstance(target.type, t.Subrange) else None
        return ir.Store(argument.pos, target, value, limits)

    def _reference(self, argument: tree.Argument, symbol: Symbol, base: ir.Place, pou: Pou) -> ir.Bind | None:
        if not isinstance(argument.value, tree.Name | tree.Member | tree.Index):
            self.error(argument.pos, f"VAR_IN_OUT {symbol.name} of {pou.name} needs a variable, not a value")
            return None
        if not self.may_write(argument.value):
            return None
        target = self.place(argument.value, write=True)
        root = self.root(argument.value)
        if root is not None:
            root.read = True
        if target is None or symbol.type is t.UNKNOWN:
            return None
        self.note_written(argument.value)
        if not t.same_type(symbol.type, target.type):
            self.error(
                argument.pos,
                f"VAR_IN_OUT {symbol.name} of {pou.name} is {article(symbol.type.name)}, found {target.type.name}; "
                "the types must be the same",
            )
            return None
        return ir.Bind(argument.pos, self.part(base, argument.pos, t.LINT, symbol.cell), target)

    def may_write(self, node: tree.Expr) -> bool:
        """Whether a variable may be assigned here; notes an error if not."""
        root = self.root(node)
        if root is None:
            return True
        what = None
        if root.constant:
            what = "is a CONSTANT"
        elif root.section == "external":
            what = "comes from the controller"
        elif root.section == "input" and not isinstance(root.type, Pou):
            what = "is a VAR_INPUT, is not changed inside"
        elif root.cell in self.loop_cells:
            what = "is the counter of the FOR loop around this"
        if what is None:
            return True
        while isinstance(node, tree.Member | tree.Index):
            node = node.of
        self.error(node.pos, f"{root.name} {what} and cannot be assigned")
        root.written = True
        return False

    def note_written(self, node: tree.Expr) -> None:
        """Remember that a whole variable has a value now."""
        symbol = self.pou.symbols.get(node.name) if isinstance(node, tree.Name) else None
        if symbol is not None:
            self.note_cell(symbol)
