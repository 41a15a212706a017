"""A controller for the tests: every scan runs on the machine and on the plain interpreter, which must agree."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from plantsim.kernels.machine import scan
from plantsim.opcodes import FAULT_BUDGET
from plantsim.st import Program, compile_program
from plantsim.st.disassembler import verify
from plantsim.st.reference import Reference


class Controller:
    """One program with its memory; variables are set and read by name."""

    def __init__(self, text: str) -> None:
        self.program: Program = compile_program(text)
        assert verify(self.program) == []
        self.memory = self.program.memory()
        self.oracle = self.program.memory()
        self.reference = Reference(self.program)
        self.status = 0

    def __setitem__(self, name: str, value: float | int) -> None:
        for memory in (self.memory, self.oracle):
            self.program.variable(name).write(memory, value)

    def __getitem__(self, name: str) -> float | int:
        return self.program.variable(name).read(self.memory)

    def scan(self, cycle_ms: int = 10, budget: int = 100_000) -> int:
        """Run one scan on both and return the fault kind, 0 for none."""
        self.status = int(
            scan(self.program.code, self.memory, self.memory.view(np.int64), 0, 0, cycle_ms, budget)
        )
        kind = self.reference.scan(self.oracle, 0, cycle_ms, budget)
        assert self.status & 255 == kind
        same = self.memory.view(np.int64) == self.oracle.view(np.int64)
        same |= np.isnan(self.memory) & np.isnan(self.oracle)
        same[self.program.scratch] = True
        assert same.all(), np.nonzero(~same)
        if kind:
            place = self.program.line_of(self.status >> 8)
            assert (place.filename, place.line) == self.reference.fault_line
        assert kind != FAULT_BUDGET or budget < 100_000
        return kind


@pytest.fixture
def controller() -> Callable[[str], Controller]:
    """Compile a text for machine and interpreter."""
    return Controller


@pytest.fixture
def values() -> Callable[..., list]:
    """Evaluate expressions of one type in a program of their own, after optional declarations."""

    def evaluate(kind: str, *expressions: str, declare: str = "") -> list:
        body = "\n".join(f"out[{n}] := {text};" for n, text in enumerate(expressions))
        c = Controller(
            f"PROGRAM P VAR_OUTPUT out : ARRAY [0..{len(expressions) - 1}] OF {kind}; END_VAR\n"
            f"VAR {declare} END_VAR\n{body}\nEND_PROGRAM"
        )
        assert c.scan() == 0
        return [c[f"out[{n}]"] for n in range(len(expressions))]

    return evaluate
