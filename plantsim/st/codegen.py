"""Code of statements, calls and places: checked units to machine rows."""

from __future__ import annotations

from plantsim.opcodes import NUMBER, TABLE

from . import ir
from . import types as t
from .codegen_values import ValueGenerator
from .emitter import Label, finish
from .units import Pou


class Generator(ValueGenerator):
    """Statements of one unit."""

    def __init__(self, pou: Pou) -> None:
        super().__init__(pou)
        self.loops: list[tuple[Label, Label]] = []  # where EXIT and CONTINUE go

    def unit(self) -> None:
        """The whole body: externals and temporaries first, then the statements, then the way back."""
        self.pos = self.pou.unit.pos if self.pou.unit else 0
        for symbol in self.pou.symbols.values():
            if symbol.section == "external":
                self.emit("CYCLE" if symbol.type is t.TIME else "FIRST", symbol.cell)
            elif symbol.section == "temp" or (symbol.section == "output" and self.pou.kind == "FUNCTION"):
                self.move_block(symbol.cell, self.constants(tuple(symbol.image)), len(symbol.image))
        self.statements(self.pou.body)
        self.pos = self.pou.unit.end_pos if self.pou.unit else 0
        self.leave()

    def leave(self) -> None:
        """End of the scan or of the call."""
        self.emit("END" if self.pou.kind == "PROGRAM" else "RETURN")

    def statements(self, nodes: list[ir.Statement]) -> None:
        """Statements in order; temporaries are free again after each."""
        for node in nodes:
            mark = self.temporaries
            self.pos = node.pos
            getattr(self, f"_{type(node).__name__.lower()}")(node)
            self.temporaries = mark

    def _store(self, node: ir.Store) -> None:
        place = node.place
        if node.limits is None and not place.pointer and not place.steps:
            self.value(node.value, place.cell)
            return
        cell = self.value(node.value)
        if node.limits is not None:
            self.emit("CHECK", cell, self.constants(node.limits))
        if any(ir.calls_function(step.value) for step in place.steps):
            cell = self.settled(cell)
        self.store(place, cell)

    def _copy(self, node: ir.Copy) -> None:
        source = self.aggregate(node.value)
        size = node.place.type.size
        if not (source.pointer or source.steps or node.place.pointer or node.place.steps):
            self.move_block(node.place.cell, source.cell, size)
            return
        start = self.address(source)
        self.emit("COPY_P", self.address(node.place), start, size)

    def _bind(self, node: ir.Bind) -> None:
        if node.place.pointer or node.place.steps:
            self.store(node.place, self.address(node.value))
        else:
            self.address(node.value, node.place.cell)

    def _callalone(self, node: ir.CallAlone) -> None:
        self.call(node.call)

    def _invoke(self, node: ir.Invoke) -> None:
        self.statements(node.arguments)  # type: ignore[arg-type]
        self.pos = node.pos
        place = node.instance
        pou = node.pou
        if not place.pointer and not place.steps:
            if pou.opcode:
                limits = place.cell + pou.symbols["_LOW"].cell if pou.counter is not None else 0
                self.emit(pou.opcode, place.cell, limits)
            else:
                self.emit("CALL", pou, place.cell)
        else:
            pointer = self.address(place)
            self.emit("CALL_P", pou, pointer, 0)
        self.statements(node.outputs)  # type: ignore[arg-type]

    # -- control flow ----------------------------------------------------------------------------------------

    def _if(self, node: ir.If) -> None:
        end = Label()
        for at, (condition, body) in enumerate(node.branches):
            following = Label()
            mark = self.temporaries
            self.pos = condition.pos
            self.branch(condition, following, False)
            self.temporaries = mark
            self.statements(body)
            if at + 1 < len(node.branches) or node.otherwise:
                self.jump("JUMP", end)
            self.put(following)
        self.statements(node.otherwise)
        self.put(end)

    def _case(self, node: ir.Case) -> None:
        selector = self.value(node.selector)
        end, otherwise = Label(), Label()
        unsigned = isinstance(node.selector.type, t.Elementary) and node.selector.type.unsigned64
        suffix = "U" if unsigned else "I"
        labels = []
        for ranges, _ in node.groups:
            label = Label()
            labels.append(label)
            for low, high in ranges:
                if low == high:
                    self.jump("JUMP_EQ_I", label, selector, self.constant(low, t.LINT))
                else:
                    below = Label()
                    self.jump(f"JUMP_LT_{suffix}", below, selector, self.constant(low, t.LINT))
                    self.jump(f"JUMP_LE_{suffix}", label, selector, self.constant(high, t.LINT))
                    self.put(below)
        self.jump("JUMP", otherwise)
        for label, (_, body) in zip(labels, node.groups):
            self.put(label)
            self.statements(body)
            self.jump("JUMP", end)
        self.put(otherwise)
        self.statements(node.otherwise)
        self.put(end)

    def _for(self, node: ir.For) -> None:
        kind = node.variable.type
        assert isinstance(kind, t.Elementary)
        cell = node.variable.cell
        if isinstance(node.last, ir.Const) and isinstance(node.step, ir.Const):
            limits = self.constants((int(node.last.value), int(node.step.value)))
            self.value(node.first, cell)
        else:
            limits = self.block(2)
            first = self.value(node.first)
            if ir.calls_function(node.last) or ir.calls_function(node.step):
                first = self.settled(first)
            self.value(node.last, limits)
            self.value(node.step, limits + 1)
            self.emit("MOVE", cell, first)
        top, onward, leave = Label(), Label(), Label()
        self.jump("FOR_TEST", leave, cell, limits)
        self.put(top)
        self._loop_body(node.body, leave, onward)
        self.pos = node.pos
        self.put(onward)
        self.jump("FOR_NEXT", top, cell, limits)
        self.narrow(kind, cell)
        self.put(leave)

    def _loop_body(self, body: list[ir.Statement], leave: Label, onward: Label) -> None:
        self.loops.append((leave, onward))
        self.statements(body)
        self.loops.pop()

    def _while(self, node: ir.While) -> None:
        top, leave = Label(), Label()
        self.put(top)
        mark = self.temporaries
        self.branch(node.condition, leave, False)
        self.temporaries = mark
        onward = Label()
        self._loop_body(node.body, leave, onward)
        self.pos = node.pos
        self.put(onward)
        self.jump("LOOP", top)
        self.put(leave)

    def _repeat(self, node: ir.Repeat) -> None:
        top, leave, onward = Label(), Label(), Label()
        self.put(top)
        self._loop_body(node.body, leave, onward)
        self.put(onward)
        self.pos = node.condition.pos
        self.branch(node.condition, leave, True)
        self.pos = node.pos
        self.jump("LOOP", top)
        self.put(leave)

    def _jump(self, node: ir.Jump) -> None:
        if node.kind == "RETURN":
            self.leave()
        else:
            self.jump("JUMP", self.loops[-1][0 if node.kind == "EXIT" else 1])

    def store_argument(self, node: ir.Argument) -> None:
        """One argument or output of a function call, which is part of the statement around it."""
        mark = self.temporaries
        getattr(self, f"_{type(node).__name__.lower()}")(node)
        self.temporaries = mark


def generate(pou: Pou) -> None:
    """Generate a unit's rows and lay out its constants, temporaries and initial memory."""
    generator = Generator(pou)
    generator.unit()
    finish(generator)
    assert all(0 <= row[0] < len(TABLE) for row in pou.rows) and pou.rows[-1][0] in (NUMBER["END"], NUMBER["RETURN"])
