"""Joined rows: the same memory, to the bit, as the rows they stand for, in every cell and after every scan."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import plantsim.strategies
from plantsim import opcodes as op
from plantsim.kernels.machine import scan
from plantsim.st import compile_program
from plantsim.st import program as linked
from plantsim.st.disassembler import verify

STRATEGIES = sorted(Path(plantsim.strategies.__path__[0]).glob("*.st"))
JOINED = {
    op.MOVES, op.MOVE_TON, op.MAX_MIN, op.NOT_AND, op.INDEX_LOAD, op.INDEX_TEST, op.SEEK, op.MOVE_TEST, op.MOVE_PICK,
    op.NOT_TON, op.LE_TON,
}  # fmt: skip

LOOPS = """
PROGRAM P
VAR_INPUT n : INT; x : REAL; on : BOOL; END_VAR
VAR_OUTPUT y, z : REAL; late : BOOL; sum : INT; END_VAR
VAR i, k : INT; used : ARRAY [1..4] OF BOOL := [TRUE, FALSE, TRUE, TRUE]; much : ARRAY [1..4] OF INT := [1, 2, 3, 4];
    a, b, c : REAL; t, u, v : TON; found : INT; END_VAR
    sum := 0;
    FOR i := 1 TO n DO
        IF used[i] THEN sum := sum + much[i]; END_IF;
        k := much[i];
    END_FOR;
    y := LIMIT(-1.0, x, 1.0);
    a := x; b := a; c := b;
    t(IN := on, PT := T#250ms);
    late := NOT t.Q AND on;
    u(IN := NOT on, PT := T#150ms);
    v(IN := x <= 1.0, PT := T#350ms);
    found := 0;
    FOR i := n TO 4 DO IF used[i] THEN found := i; EXIT; END_IF; END_FOR;
    FOR i := 4 TO n BY -1 DO IF used[i] AND late THEN found := found + i; END_IF; END_FOR;
    IF used[2] THEN found := 9; END_IF;
    z := SEL(late, x, y);
    b := z;
    IF u.Q THEN b := 3.0; END_IF;
    IF x > 2.0 THEN a := 1.0; b := 2.0; z := a + c; END_IF;
END_PROGRAM
"""


def plain(text: str, monkeypatch: pytest.MonkeyPatch) -> np.ndarray:
    """Code of a program without joined rows."""
    with monkeypatch.context() as m:
        m.setattr(linked, "join", lambda rows: None)
        return compile_program(text, "apart").code  # another name: one text is compiled once


def scan_both(text: str, monkeypatch: pytest.MonkeyPatch, scans: int, seed: int) -> set[int]:
    """Scan with and without joining on the same random inputs; returns the joined opcodes met in the code."""
    program = compile_program(text)
    apart = plain(text, monkeypatch)
    assert verify(program) == [] and len(apart) == len(program.code)
    changed = program.code[:, 0] != apart[:, 0]
    assert set(program.code[changed, 0].tolist()) <= JOINED and not set(apart[:, 0].tolist()) & JOINED
    rng = np.random.default_rng(seed)
    one, two = program.memory(), program.memory()
    for _ in range(scans):
        for variable in program.inputs:
            value = rng.choice([0.0, 1.0, 2.0, 3.0, 60.0, rng.uniform(-5.0, 5.0)])
            bits = one.view(np.int64)
            if type(variable.read(one)) is float:
                one[variable.cell] = np.float32(value)
            else:
                bits[variable.cell] = int(abs(value)) % (2 if type(variable.read(one)) is bool else 4)
            two[variable.cell] = one[variable.cell]
        states = [scan(code, m, m.view(np.int64), 0, 0, 100, 10_000) for code, m in ((program.code, one), (apart, two))]
        assert states[0] == states[1]
        assert one.tobytes() == two.tobytes()
    return set(program.code[:, 0].tolist()) & JOINED


@pytest.mark.parametrize("path", STRATEGIES, ids=lambda path: path.stem)
def test_shipped_programs_leave_the_same_bits(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    met = scan_both(path.read_text(encoding="utf-8"), monkeypatch, 200, 1)
    assert met or path.stem == "press_cycle"  # the one with nothing to join


def test_every_joined_row_leaves_the_same_bits_and_the_same_fault(monkeypatch: pytest.MonkeyPatch) -> None:
    met = scan_both(LOOPS, monkeypatch, 300, 2)
    assert met == JOINED
    program, apart = compile_program(LOOPS), plain(LOOPS, monkeypatch)
    memory = program.memory()
    memory.view(np.int64)[program.variable("n").cell] = 5  # beyond both arrays
    other = memory.copy()
    status = scan(program.code, memory, memory.view(np.int64), 0, 0, 100, 10_000)
    assert status & 255 == op.FAULT_INDEX
    assert status == scan(apart, other, other.view(np.int64), 0, 0, 100, 10_000)
    assert memory.tobytes() == other.tobytes()


def test_a_jump_into_a_group_finds_its_rows_as_they_were() -> None:
    """Moves after the label of an IF belong to the run of moves before it, and are reached by the jump too."""
    text = "PROGRAM P VAR_INPUT on : BOOL; END_VAR VAR_OUTPUT a, b, c : INT; END_VAR VAR i : INT := 7; END_VAR "
    text += "IF NOT on THEN a := i; END_IF; b := i; c := i; i := i + 1; END_PROGRAM"
    program = compile_program(text)
    assert op.MOVES in program.code[:, 0]
    for on, want in ((1, (0, 7, 7)), (0, (7, 7, 7))):
        memory = program.memory()
        memory.view(np.int64)[program.variable("on").cell] = on
        assert scan(program.code, memory, memory.view(np.int64), 0, 0, 100, 1000) == 0
        assert tuple(program.variable(name).read(memory) for name in "abc") == want
