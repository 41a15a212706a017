"""Interpreter of the checked tree in plain Python: the oracle the machine is tested against.

It works on the same memory layout and must leave the same bits in every cell but the scratch cells
(temporaries and call links), which it does not use. It also serves as a tracer: `on_statement` is told of
each statement before it runs.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress

import numpy as np

from plantsim import opcodes as op

from . import ir
from . import types as t
from .arithmetic import Fault, apply
from .program import Program
from .source import Source
from .units import Pou


class _Exit(Exception):
    """EXIT on its way to its loop."""


class _Continue(Exception):
    """CONTINUE on its way to its loop."""


class _Return(Exception):
    """RETURN on its way out of its unit."""


class Reference:
    """Runs a program's tree.

    Parameters
    ----------
    program : Program
        The compiled program.
    on_statement : callable, optional
        Called with (source, statement, frame) before each statement, for tracing.
    """

    def __init__(
        self, program: Program, on_statement: Callable[[Source, ir.Statement, int], None] | None = None
    ) -> None:
        self.program = program
        self.on_statement = on_statement
        self.fault_line: tuple[str, int] | None = None

    def scan(self, mem: np.ndarray, base: int = 0, cycle_ms: int = 100, budget: int = 100_000) -> int:
        """Run one scan and return 0 or the fault kind; `fault_line` then holds file and line."""
        self.mem = mem
        self.imem = mem.view(np.int64)
        self.base = base
        self.cycle_ms = cycle_ms
        self.budget = budget
        self.fault_line = None
        self.at: tuple[Source, int] = (self.program.pou.source, 0)
        if self.imem[base]:
            self.imem[base + op.CLOCK] += cycle_ms
        try:
            self._run(self.program.pou, base)
        except Fault as fault:
            source, pos = self.at
            self.fault_line = (source.filename, source.line(pos))
            return fault.kind
        self.imem[base] = 1
        return 0

    # -- cells -----------------------------------------------------------------------------------------------

    def _read(self, cell: int, kind: t.Type) -> int | float:
        if isinstance(kind, t.Elementary):
            if kind.is_real:
                return float(self.mem[cell])
            value = int(self.imem[cell])
            return value & 0xFFFF_FFFF_FFFF_FFFF if kind.unsigned64 else value
        return int(self.imem[cell])

    def _write(self, cell: int, kind: t.Type, value: int | float) -> None:
        if isinstance(kind, t.Elementary) and kind.is_real:
            self.mem[cell] = value
        else:
            number = int(value) & 0xFFFF_FFFF_FFFF_FFFF
            self.imem[cell] = number - (1 << 64) if number >> 63 else number

    def _cell(self, place: ir.Place, frame: int) -> int:
        offset = 0
        for step in place.steps:
            index = int(self._value(step.value, frame)) - step.low
            if not 0 <= index < step.count:
                raise Fault(op.FAULT_INDEX)
            offset += index * step.stride
        if place.pointer:
            return self.base + int(self.imem[frame + place.cell]) + place.offset + offset
        return frame + place.cell + offset

    # -- expressions -----------------------------------------------------------------------------------------

    def _value(self, node: ir.Expr, frame: int) -> int | float:
        if isinstance(node, ir.Const):
            return node.value
        if isinstance(node, ir.Load):
            return self._read(self._cell(node.place, frame), node.type)
        if isinstance(node, ir.Op):
            args = [self._value(arg, frame) for arg in node.args]
            return apply(node.name, node.type, node.operand, args)
        if isinstance(node, ir.Logic):
            left = self._value(node.left, frame)
            return self._value(node.right, frame) if bool(left) == node.both else left
        assert isinstance(node, ir.Call)
        self._call(node, frame)
        return self._read(frame + node.result.cell, node.type)

    def _cells(self, node: ir.Expr, frame: int) -> int:
        """First cell of an array or structure value."""
        if isinstance(node, ir.Call):
            self._call(node, frame)
            return frame + node.result.cell
        assert isinstance(node, ir.Place)
        return self._cell(node, frame)

    def _call(self, node: ir.Call, frame: int) -> None:
        # arguments that call functions could overwrite the frame being filled, so all are evaluated first
        nested = any(ir.calls_function(argument.value) for argument in node.arguments)
        ready: list[tuple[ir.Argument, int | float | np.ndarray]] = []
        for argument in node.arguments:
            value: int | float | np.ndarray
            if isinstance(argument, ir.Store):
                value = self._value(argument.value, frame)
                self._check(argument, value)
            elif isinstance(argument, ir.Bind):
                value = self._cell(argument.value, frame) - self.base
            else:
                start = self._cells(argument.value, frame)
                value = self.imem[start : start + argument.place.type.size].copy()
            if nested:
                ready.append((argument, value))
            else:
                self._hand_over(argument, value, frame)
        for argument, value in ready:
            self._hand_over(argument, value, frame)
        at = self.at
        self._run(node.pou, frame + node.frame)
        self.at = at
        self._block(node.outputs, frame, at[0])
        self.at = at

    def _hand_over(self, argument: ir.Argument, value: int | float | np.ndarray, frame: int) -> None:
        """Store one argument in the frame of the function."""
        cell = self._cell(argument.place, frame)
        if isinstance(value, np.ndarray):
            self.imem[cell : cell + len(value)] = value
        else:
            self._write(cell, t.strip(argument.place.type), value)

    @staticmethod
    def _check(node: ir.Store, value: int | float) -> None:
        if node.limits is not None and not node.limits[0] <= value <= node.limits[1]:
            raise Fault(op.FAULT_RANGE)

    # -- statements ------------------------------------------------------------------------------------------

    def _run(self, pou: Pou, frame: int) -> None:
        for symbol in pou.symbols.values():
            if symbol.section == "external":
                first = int(self.imem[self.base] == 0)
                self.imem[frame + symbol.cell] = self.cycle_ms if symbol.type is t.TIME else first
            elif symbol.section == "temp" or (symbol.section == "output" and pou.kind == "FUNCTION"):
                start = frame + symbol.cell
                self.imem[start : start + len(symbol.image)] = symbol.image
        with suppress(_Return):
            self._block(pou.body, frame, pou.source)

    def _block(self, nodes: list, frame: int, source: Source) -> None:
        for node in nodes:
            self.at = (source, node.pos)
            if self.on_statement is not None:
                self.on_statement(source, node, frame)
            getattr(self, f"_{type(node).__name__.lower()}")(node, frame)

    def _store(self, node: ir.Store, frame: int) -> None:
        value = self._value(node.value, frame)
        self._check(node, value)
        self._write(self._cell(node.place, frame), t.strip(node.place.type), value)

    def _copy(self, node: ir.Copy, frame: int) -> None:
        start = self._cells(node.value, frame)
        cell = self._cell(node.place, frame)
        size = node.place.type.size
        self.imem[cell : cell + size] = self.imem[start : start + size].copy()

    def _bind(self, node: ir.Bind, frame: int) -> None:
        pointer = self._cell(node.value, frame) - self.base
        self.imem[self._cell(node.place, frame)] = pointer

    def _callalone(self, node: ir.CallAlone, frame: int) -> None:
        self._call(node.call, frame)

    def _invoke(self, node: ir.Invoke, frame: int) -> None:
        source = self.at[0]
        self._block(node.arguments, frame, source)
        self.at = (source, node.pos)
        instance = self._cell(node.instance, frame)
        if node.pou.opcode:
            standard_block(node.pou, self.imem, instance, int(self.imem[self.base + op.CLOCK]))
        else:
            self._run(node.pou, instance)
        self._block(node.outputs, frame, source)

    def _if(self, node: ir.If, frame: int) -> None:
        source = self.at[0]
        for condition, body in node.branches:
            self.at = (source, condition.pos)
            if self._value(condition, frame):
                self._block(body, frame, source)
                return
        self._block(node.otherwise, frame, source)

    def _case(self, node: ir.Case, frame: int) -> None:
        source = self.at[0]
        value = self._value(node.selector, frame)
        for ranges, body in node.groups:
            if any(low <= value <= high for low, high in ranges):
                self._block(body, frame, source)
                return
        self._block(node.otherwise, frame, source)

    def _pass(self, source: Source, pos: int) -> None:
        self.budget -= 1
        if self.budget < 0:
            self.at = (source, pos)
            raise Fault(op.FAULT_BUDGET)

    def _body(self, body: list[ir.Statement], frame: int, source: Source) -> bool:
        """Run a loop's body; False after EXIT."""
        try:
            self._block(body, frame, source)
        except _Continue:
            pass
        except _Exit:
            return False
        return True

    def _for(self, node: ir.For, frame: int) -> None:
        source = self.at[0]
        kind = node.variable.type
        assert isinstance(kind, t.Elementary)
        cell = frame + node.variable.cell
        first, last, step = (int(self._value(part, frame)) for part in (node.first, node.last, node.step))
        self._write(cell, kind, first)
        if (step >= 0 and first > last) or (step < 0 and first < last):
            return
        while self._body(node.body, frame, source):
            following = int(self._read(cell, kind)) + step
            self._write(cell, kind, kind.wrap(following))
            if following > last if step >= 0 else following < last:
                return
            self._pass(source, node.pos)

    def _while(self, node: ir.While, frame: int) -> None:
        source = self.at[0]
        while self._value(node.condition, frame):
            if not self._body(node.body, frame, source):
                return
            self._pass(source, node.pos)
            self.at = (source, node.pos)

    def _repeat(self, node: ir.Repeat, frame: int) -> None:
        source = self.at[0]
        while self._body(node.body, frame, source):
            self.at = (source, node.condition.pos)
            if self._value(node.condition, frame):
                return
            self._pass(source, node.pos)

    def _jump(self, node: ir.Jump, frame: int) -> None:
        raise {"EXIT": _Exit, "CONTINUE": _Continue, "RETURN": _Return}[node.kind]


def standard_block(pou: Pou, imem: np.ndarray, frame: int, now: int) -> None:
    """One call of a standard function block, written pin by pin after the standard's tables and diagrams."""
    cell = {name: frame + symbol.cell for name, symbol in pou.symbols.items()}
    pin = {name: int(imem[at]) for name, at in cell.items()}
    kind = pou.opcode
    if kind == "SR":
        pin["Q1"] = int(pin["S1"] or (not pin["R"] and pin["Q1"]))
    elif kind == "RS":
        pin["Q1"] = int(not pin["R1"] and bool(pin["S"] or pin["Q1"]))
    elif kind == "R_TRIG":
        pin["Q"] = int(pin["CLK"] and not pin["_M"])
        pin["_M"] = pin["CLK"]
    elif kind == "F_TRIG":
        pin["Q"] = int(not pin["CLK"] and not pin["_M"])
        pin["_M"] = int(not pin["CLK"])
    elif kind in ("CTU", "CTD", "CTUD"):
        _count(kind, pin)
    else:
        _time(kind, pin, now)
    for name, at in cell.items():
        imem[at] = pin[name]


def _count(kind: str, pin: dict[str, int]) -> None:
    up_memory, down_memory = ("_MU", "_MD") if kind == "CTUD" else ("_M", "_M")
    up = bool(pin.get("CU") and not pin[up_memory])
    down = bool(pin.get("CD") and not pin[down_memory])
    step = int(up) - int(down)
    if pin.get("R"):
        pin["CV"] = 0
    elif pin.get("LD"):
        pin["CV"] = pin["PV"]
    elif pin["_LOW"] <= pin["CV"] + step <= pin["_HIGH"]:
        pin["CV"] += step
    if "CU" in pin:
        pin[up_memory] = pin["CU"]
    if "CD" in pin:
        pin[down_memory] = pin["CD"]
    reached, empty = int(pin["CV"] >= pin["PV"]), int(pin["CV"] <= 0)
    if kind == "CTUD":
        pin["QU"], pin["QD"] = reached, empty
    else:
        pin["Q"] = reached if kind == "CTU" else empty


def _time(kind: str, pin: dict[str, int], now: int) -> None:
    idle, timing, done = 0, 1, 2
    running = {"TON": bool(pin["IN"]), "TOF": not pin["IN"] and bool(pin["Q"]), "TP": False}[kind]
    if kind == "TP":
        running = pin["_STATE"] == timing or (pin["_STATE"] == idle and bool(pin["IN"]))
    if kind == "TON" and not pin["IN"]:
        pin["Q"], pin["ET"], pin["_STATE"] = 0, 0, idle
    if kind == "TOF" and pin["IN"]:
        pin["Q"], pin["ET"], pin["_STATE"] = 1, 0, idle
    if running and pin["_STATE"] != done:
        if pin["_STATE"] == idle:
            pin["_START"], pin["_STATE"] = now, timing
        over = now - pin["_START"] >= pin["PT"]
        pin["ET"] = max(pin["PT"], 0) if over else now - pin["_START"]
        if kind == "TP":
            pin["Q"] = int(not over)
        elif over:
            pin["Q"] = int(kind == "TON")
        if over:
            pin["_STATE"] = done
    if kind == "TP" and pin["_STATE"] == done and not pin["IN"]:
        pin["ET"], pin["_STATE"] = 0, idle
