"""Code of expressions: values, conditions, conversions, places and function calls."""

from __future__ import annotations

from . import ir
from . import types as t
from .emitter import Emitter, Label
from .source import words

_SWAPPED = {"gt": "lt", "ge": "le"}
_UNARY_REAL = frozenset(words("sqrt ln log exp sin cos tan asin acos atan"))


class ValueGenerator(Emitter):
    """Expressions of one unit."""

    def store_argument(self, node: ir.Argument) -> None:
        """One argument of a function call; see `Generator`."""
        raise NotImplementedError

    def settled(self, cell: int) -> int:
        """The value now, safe from later changes of the variable."""
        if not self.is_variable(cell):
            return cell
        kept = self.temporary()
        self.emit("MOVE", kept, cell)
        return kept

    def values(self, nodes: list[ir.Expr]) -> list[int]:
        """Cells of values evaluated left to right."""
        cells: list[int] = []
        for at, node in enumerate(nodes):
            cell = self.value(node)
            if self.is_variable(cell) and any(ir.calls_function(later) for later in nodes[at + 1 :]):
                cell = self.settled(cell)
            cells.append(cell)
        return cells

    def move_block(self, to: int, start: int, size: int) -> None:
        """Copy cells of this frame."""
        if size <= 3:
            for at in range(size):
                self.emit("MOVE", to + at, start + at)
        else:
            self.emit("COPY", to, start, size)

    # -- places ----------------------------------------------------------------------------------------------

    def _offset(self, steps: list[ir.Step]) -> int:
        """Cell holding the sum of the array steps."""
        total = self.temporary()
        for at, step in enumerate(steps):
            index = self.value(step.value)
            limits = self.constants((step.low, step.count, step.stride))
            self.emit("INDEX_ADD" if at else "INDEX", total, index, limits)
        return total

    def _reach(self, place: ir.Place) -> tuple[str, int, int]:
        """Addressing suffix, base cell and offset of a place that is not simply a cell."""
        if not place.steps:
            return "P", place.cell, place.offset
        offset = self._offset(place.steps)
        if not place.pointer:
            return "X", offset, place.cell
        self.emit("ADD_I", offset, offset, place.cell)
        return "P", offset, place.offset

    def load(self, place: ir.Place, to: int | None) -> int:
        """Cell holding the value of an elementary place."""
        if not place.pointer and not place.steps:
            if to is None or to == place.cell:
                return place.cell
            self.emit("MOVE", to, place.cell)
            return to
        suffix, base, offset = self._reach(place)
        to = self.temporary() if to is None else to
        self.emit(f"LOAD_{suffix}", to, base, offset)
        return to

    def store(self, place: ir.Place, cell: int) -> None:
        """Store a cell's value into a place."""
        if not place.pointer and not place.steps:
            self.emit("MOVE", place.cell, cell)
            return
        suffix, base, offset = self._reach(place)
        self.emit(f"STORE_{suffix}", cell, base, offset)

    def address(self, place: ir.Place, to: int | None = None) -> int:
        """Cell holding a pointer to a place."""
        if not place.pointer and not place.steps:
            to = self.temporary() if to is None else to
            self.emit("ADDRESS", to, 0, place.cell)
            return to
        suffix, base, offset = self._reach(place)
        to = self.temporary() if to is None else to
        if suffix == "X":
            self.emit("ADDRESS_X", to, base, offset)
        elif offset:
            self.emit("ADD_I", to, base, self.constant(offset, t.LINT))
        else:
            self.emit("MOVE", to, base)
        return to

    def aggregate(self, node: ir.Expr) -> ir.Place:
        """Place of an array or structure value."""
        if isinstance(node, ir.Call):
            self.call(node)
            return node.result
        assert isinstance(node, ir.Place)
        return node

    # -- values ----------------------------------------------------------------------------------------------

    def value(self, node: ir.Expr, to: int | None = None) -> int:
        """Cell holding a value; it is `to` when that is given."""
        if isinstance(node, ir.Const):
            cell = self.constant(node.value, node.type)
            if to is None:
                return cell
            self.emit("MOVE", to, cell)
            return to
        if isinstance(node, ir.Load):
            return self.load(node.place, to)
        if isinstance(node, ir.Logic):
            return self._logic(node, to)
        if isinstance(node, ir.Call):
            self.call(node)
            to = self.temporary() if to is None else to
            self.emit("MOVE", to, node.result.cell)
            return to
        assert isinstance(node, ir.Op)
        return self._operation(node, to)

    def _logic(self, node: ir.Logic, to: int | None) -> int:
        if not ir.may_fault(node.right):
            a, b = self.values([node.left, node.right])
            to = self.temporary() if to is None else to
            self.emit("AND_I" if node.both else "OR_I", to, a, b)
            return to
        result = self.temporary()
        end = Label()
        self.value(node.left, result)
        self.jump("JUMP_FALSE" if node.both else "JUMP_TRUE", end, result)
        self.value(node.right, result)
        self.put(end)
        if to is None:
            return result
        self.emit("MOVE", to, result)
        return to

    def _operation(self, node: ir.Op, to: int | None) -> int:
        name = node.name
        if name == "convert":
            return self._convert(node, to)
        cells = self.values(node.args)
        if name == "select":
            return self._select(cells, to)
        if name == "mux":
            return self._mux(cells, to)
        to = self.temporary() if to is None else to
        operand, result = node.operand, node.type
        if name in _SWAPPED:
            name, cells = _SWAPPED[name], cells[::-1]
        if name in ("eq", "ne", "lt", "le"):
            suffix = "F" if operand.is_real else "U" if operand.unsigned64 and name in ("lt", "le") else "I"
            self.emit(f"{name.upper()}_{suffix}", to, *cells)
        elif name == "trunc":
            whole = self.temporary()
            self.emit("TRUNC_F", whole, cells[0])
            self._to_integer(whole, to, result)
        elif operand.is_real:
            self._real(name, result, to, cells)
        else:
            self._integer(name, operand, to, cells)
        return to

    def _real(self, name: str, kind: t.Elementary, to: int, cells: list[int]) -> None:
        if name in ("add", "sub", "mul", "div", "pow"):
            self.emit(f"{name.upper()}_{'R' if kind is t.REAL else 'F'}", to, *cells)
            return
        self.emit(f"{name.upper()}_F", to, *cells)
        if kind is t.REAL and (name in _UNARY_REAL or name == "atan2"):
            self.emit("ROUND_R", to, to)

    def _integer(self, name: str, kind: t.Elementary, to: int, cells: list[int]) -> None:
        if name in ("add", "sub", "mul"):
            if kind.signed and kind.bits in (16, 32):
                self.emit(f"{name.upper()}_I{kind.bits}", to, *cells)
                return
            self.emit(f"{name.upper()}_I", to, *cells)
            self.narrow(kind, to)
        elif name in ("div", "mod"):
            self.emit(f"{name.upper()}_{'U' if kind.unsigned64 else 'I'}", to, *cells)
            if kind.signed and name == "div":
                self.narrow(kind, to)
        elif name in ("pow", "neg", "abs"):
            self.emit(f"{name.upper()}_I", to, *cells)
            self.narrow(kind, to)
        elif name in ("min", "max"):
            self.emit(f"{name.upper()}_{'U' if kind.unsigned64 else 'I'}", to, *cells)
        elif name in ("and", "or", "xor"):
            self.emit(f"{name.upper()}_I", to, *cells)
        elif name == "not":
            if kind is t.BOOL:
                self.emit("NOT_B", to, cells[0])
            else:
                self.emit("XOR_I", to, cells[0], self.constant(kind.high, t.LINT))
        elif name in ("shl", "shr"):
            self.emit(name.upper(), to, *cells)
            if name == "shl":
                self.narrow(kind, to)
        elif name == "rol":
            self.emit(f"ROL_{kind.bits}", to, *cells)
        else:
            assert name == "ror", name
            count = self.temporary()
            self.emit("NEG_I", count, cells[1])
            self.emit(f"ROL_{kind.bits}", to, cells[0], count)

    def narrow(self, kind: t.Elementary, cell: int) -> None:
        """Wrap a 64-bit result to the bits of its type."""
        if kind.bits >= 64:
            return
        if kind.signed:
            self.emit(f"WRAP_{kind.bits}", cell, cell)
        else:
            self.emit("AND_I", cell, cell, self.constant(kind.high, t.LINT))

    def _select(self, cells: list[int], to: int | None) -> int:
        gate, low, high = cells
        result = to if to is not None and to not in (gate, high) else self.temporary()
        if result != low:
            self.emit("MOVE", result, low)
        self.emit("SELECT", result, gate, high)
        if to is not None and result != to:
            self.emit("MOVE", to, result)
            return to
        return result

    def _mux(self, cells: list[int], to: int | None) -> int:
        selector, *inputs = cells
        checked = self.temporary()
        self.emit("INDEX", checked, selector, self.constants((0, len(inputs), 1)))
        result, chosen = self.temporary(), self.temporary()
        self.emit("MOVE", result, inputs[0])
        for at, cell in enumerate(inputs[1:], 1):
            self.emit("EQ_I", chosen, checked, self.constant(at, t.LINT))
            self.emit("SELECT", result, chosen, cell)
        if to is None:
            return result
        self.emit("MOVE", to, result)
        return to

    def _to_integer(self, cell: int, to: int, kind: t.Elementary) -> None:
        if kind.unsigned64:
            self.emit("F_TO_U", to, cell)
        else:
            self.emit("F_TO_I", to, cell, self.constants((kind.low, kind.high)))

    def _convert(self, node: ir.Op, to: int | None) -> int:
        source, target = node.operand, node.type
        if not self._changes(source, target):
            return self.value(node.args[0], to)
        cell = self.value(node.args[0])
        to = self.temporary() if to is None else to
        if target.is_real:
            if source.is_real:
                self.emit("ROUND_R", to, cell)
            else:
                self.emit("U_TO_F" if source.unsigned64 else "I_TO_F", to, cell)
                if target is t.REAL and source.bits > 16:
                    self.emit("ROUND_R", to, to)
        elif target is t.BOOL:
            zero = self.constant(0, t.LINT)
            self.emit("NE_F" if source.is_real else "NE_I", to, cell, zero)
        elif source.is_real:
            self._to_integer(cell, to, target)
        elif target.signed:
            self.emit(f"WRAP_{target.bits}", to, cell)
        else:
            self.emit("AND_I", to, cell, self.constant(target.high, t.LINT))
        return to

    @staticmethod
    def _changes(source: t.Elementary, target: t.Elementary) -> bool:
        """Whether a conversion changes the bits of the cell."""
        if source.is_real or target.is_real:
            return not (source.is_real and target is t.LREAL)
        if target.bits == 64 or source is t.BOOL:
            return False
        return not (target.low <= source.low and source.high <= target.high)

    # -- conditions ------------------------------------------------------------------------------------------

    def branch(self, node: ir.Expr, label: Label, sense: bool) -> None:
        """Jump to a label when a condition has the given value."""
        if isinstance(node, ir.Const):
            if bool(node.value) == sense:
                self.jump("JUMP", label)
            return
        if isinstance(node, ir.Logic):
            if node.both == sense:
                # AND that must be TRUE, or OR that must be FALSE: both sides must agree
                past = Label()
                self.branch(node.left, past, not sense)
                self.branch(node.right, label, sense)
                self.put(past)
            else:
                self.branch(node.left, label, sense)
                self.branch(node.right, label, sense)
            return
        if isinstance(node, ir.Op) and node.name == "not" and node.operand is t.BOOL:
            self.branch(node.args[0], label, not sense)
            return
        if isinstance(node, ir.Op) and node.name in ("eq", "ne", "lt", "le", "gt", "ge"):
            self._compare(node, label, sense)
            return
        self.jump("JUMP_TRUE" if sense else "JUMP_FALSE", label, self.value(node))

    def _compare(self, node: ir.Op, label: Label, sense: bool) -> None:
        a, b = self.values(node.args)
        name = node.name
        if name in _SWAPPED:
            name, a, b = _SWAPPED[name], b, a
        if name in ("eq", "ne"):
            equal = (name == "eq") == sense
            self.jump(f"JUMP_{'EQ' if equal else 'NE'}_{'F' if node.operand.is_real else 'I'}", label, a, b)
        elif node.operand.is_real:
            self.jump(f"JUMP_{'' if sense else 'N'}{name.upper()}_F", label, a, b)
        else:
            if not sense:
                name, a, b = ("le" if name == "lt" else "lt"), b, a
            self.jump(f"JUMP_{name.upper()}_{'U' if node.operand.unsigned64 else 'I'}", label, a, b)

    # -- calls -----------------------------------------------------------------------------------------------

    def call(self, node: ir.Call) -> None:
        """Run a function; its result then stands in `node.result`."""
        nested = any(ir.calls_function(a.value) for a in node.arguments)
        if nested:
            stores: list[tuple[ir.Argument, int]] = []
            for argument in node.arguments:
                if isinstance(argument, ir.Store):
                    cell = self.settled(self.value(argument.value))
                    if argument.limits is not None:
                        self.emit("CHECK", cell, self.constants(argument.limits))
                elif isinstance(argument, ir.Bind):
                    cell = self.address(argument.value)
                else:
                    cell = self._kept(argument.value, argument.place.type.size)
                stores.append((argument, cell))
            for argument, cell in stores:
                size = argument.place.type.size if isinstance(argument, ir.Copy) else 1
                self.move_block(argument.place.cell, cell, size)
        else:
            for argument in node.arguments:
                self.store_argument(argument)
        self.emit("CALL", node.pou, node.frame)
        pos = self.pos
        for output in node.outputs:
            self.pos = output.pos
            self.store_argument(output)
        self.pos = pos

    def _kept(self, node: ir.Expr, size: int) -> int:
        """Temporaries holding a copy of an array or structure."""
        source = self.aggregate(node)
        kept = self.block(size)
        if not source.pointer and not source.steps:
            self.move_block(kept, source.cell, size)
            return kept
        suffix, base, offset = self._reach(source)
        for at in range(size):
            self.emit(f"LOAD_{suffix}", kept + at, base, offset + at)
        return kept
