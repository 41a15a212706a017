"""The instruction table against the machine, relocation of programs, and the pictures a program gives of itself."""

from __future__ import annotations

import ast
import copy
import inspect
from pathlib import Path

import numpy as np
import pytest

from plantsim import opcodes
from plantsim.errors import ProgramError
from plantsim.kernels import machine
from plantsim.kernels.machine import scan
from plantsim.st import compile_program
from plantsim.st.disassembler import disassemble, verify


def branches() -> dict[str, list[ast.stmt]]:
    """The machine's branches by opcode name, read from its source."""
    tree = ast.parse(inspect.getsource(machine))
    body = next(n for n in tree.body if isinstance(n, ast.FunctionDef) and n.name == "scan")
    loop = next(n for n in ast.walk(body) if isinstance(n, ast.While))
    node = next(n for n in loop.body if isinstance(n, ast.If))
    found: dict[str, list[ast.stmt]] = {}
    while True:
        test = node.test
        assert isinstance(test, ast.Compare) and isinstance(test.comparators[0], ast.Attribute)
        name = test.comparators[0].attr
        assert name not in found
        found[name] = node.body
        if len(node.orelse) != 1 or not isinstance(node.orelse[0], ast.If):
            return found
        node = node.orelse[0]


def test_table_numbers_and_machine_branches_are_one_set() -> None:
    names = [row.name for row in opcodes.TABLE]
    assert len(set(names)) == len(names) and set(branches()) == set(names)
    assert [getattr(opcodes, name) for name in names] == list(range(len(names)))
    for row in opcodes.TABLE:
        assert len(row.operands) == 3 and set(row.operands) <= set(opcodes.OPERAND_KINDS) and row.meaning


def test_machine_writes_only_the_operands_the_table_calls_written() -> None:
    views = {"a": 0, "b": 1, "c": 2}
    for name, body in branches().items():
        operands = opcodes.TABLE[opcodes.NUMBER[name]].operands
        for node in ast.walk(ast.Module(body, [])):
            if not isinstance(node, ast.Subscript) or not isinstance(node.slice, ast.Name):
                continue
            if node.slice.id not in views:
                continue
            letter = operands[views[node.slice.id]]
            if isinstance(node.ctx, ast.Store) and name not in ("CALL",):
                assert letter in "dm", (name, node.slice.id)
            elif isinstance(node.ctx, ast.Load):
                assert letter in "smk", (name, node.slice.id)
        used = {n.id for n in ast.walk(ast.Module(body, [])) if isinstance(n, ast.Name)}
        for column, letter in enumerate(operands):
            names = ({"a", "ra"}, {"b", "rb"}, {"c", "rc"})[column]
            assert bool(names & used) == (letter != "."), (name, column)


def test_two_programs_in_one_memory_do_not_touch_each_other() -> None:
    one = compile_program(
        "FUNCTION_BLOCK B VAR_IN_OUT q : DINT; END_VAR VAR t : TON; END_VAR t(IN := TRUE, PT := T#1s); "
        "IF t.Q THEN q := q + 1; END_IF; END_FUNCTION_BLOCK "
        "PROGRAM One VAR_OUTPUT n : DINT; END_VAR VAR b : ARRAY [1..2] OF B; i : INT; END_VAR "
        "FOR i := 1 TO 2 DO b[i](q := n); END_FOR; END_PROGRAM"
    )
    two = compile_program("PROGRAM Two VAR_OUTPUT y : REAL; END_VAR y := y + 0.5; END_PROGRAM")
    code = np.concatenate([two.code, one.code])
    bases = (3, 3 + one.size, 3 + 2 * one.size)
    memory = np.concatenate([[7.0, 7.0, 7.0], one.initial, one.initial, two.initial, [9.0]])
    imem = memory.view(np.int64)
    for step in range(30):
        assert scan(code, memory, imem, len(two.code), bases[0], 100, 1000) == 0
        if step % 2:
            assert scan(code, memory, imem, len(two.code), bases[1], 100, 1000) == 0
        assert scan(code, memory, imem, 0, bases[2], 100, 1000) == 0
    n = one.variable("n")
    assert (n.read(memory, bases[0]), n.read(memory, bases[1])) == (2 * 20, 2 * 5)
    assert two.variable("y").read(memory, bases[2]) == 15.0
    assert memory[:3].tolist() == [7.0] * 3 and memory[-1] == 9.0


def test_unknown_opcode_is_a_fault_with_its_row() -> None:
    program = compile_program("PROGRAM P VAR_OUTPUT y : INT; END_VAR y := y + 1; END_PROGRAM")
    code = program.code.copy()
    code[1, 0] = len(opcodes.TABLE)
    memory = program.memory()
    status = scan(code, memory, memory.view(np.int64), 0, 0, 100, 1000)
    assert (status & 255, status >> 8) == (opcodes.FAULT_OPCODE, 1)


def test_verify_finds_damage() -> None:
    program = compile_program("PROGRAM P VAR_OUTPUT y : INT; END_VAR WHILE y < 3 DO y := y + 1; END_WHILE; END_PROGRAM")
    assert verify(program) == []
    for column, value in ((0, 500), (1, program.size), (1, -1)):
        damaged = copy.deepcopy(program)
        row = next(r for r in range(len(damaged.code)) if damaged.code[r, 0] == opcodes.ADD_I16)
        damaged.code[row, column] = value
        assert len(verify(damaged)) == 1
    damaged = copy.deepcopy(program)
    row = next(r for r in range(len(damaged.code)) if damaged.code[r, 0] == opcodes.LOOP)
    damaged.code[row, 1] = -99
    assert len(verify(damaged)) == 1


def test_listing_names_variables_and_lines() -> None:
    text = (
        "FUNCTION Twice : REAL VAR_INPUT x : REAL; END_VAR Twice := 2.0 * x; END_FUNCTION\n"
        "PROGRAM P VAR_OUTPUT y : REAL; END_VAR\ny := Twice(y);\nEND_PROGRAM"
    )
    program = compile_program(text, "p.st")
    listing = disassemble(program)
    assert "MUL_R" in listing and "Twice.x" in listing and len(listing.splitlines()) == len(program.code)
    lines = {program.line_of(pc).line for pc in range(len(program.code))}
    assert lines == {1, 3, 4} and str(program.line_of(0)) == "p.st:3: y := Twice(y);"


def test_variables_tell_section_unit_and_initial_value() -> None:
    program = compile_program(
        "TYPE M : (Off, On); END_TYPE PROGRAM P VAR_INPUT level : REAL := 1.5; {unit 'm'} // sump level\nEND_VAR "
        "VAR_OUTPUT run : BOOL; END_VAR VAR_IN_OUT total : LREAL; END_VAR "
        "VAR RETAIN hours : UDINT := 4_000_000_000; END_VAR "
        "VAR CONSTANT k : INT := 3; END_VAR VAR m : M := On; t : TON; a : ARRAY [1..2] OF INT; END_VAR "
        "run := level > 1.0; m := Off; t(IN := run); total := total + k; hours := hours + 1; END_PROGRAM"
    )
    v = program.variables
    assert list(v) == ["level", "run", "total", "hours", "k", "m", "t.IN", "t.PT", "t.Q", "t.ET", "a[1]", "a[2]"]
    level = v["level"]
    assert (level.unit, level.comment, level.initial, level.is_real) == ("m", "sump level", 1.5, True)
    assert [v[n].section for n in ("level", "run", "total", "hours", "k", "t.Q")] == [
        "input", "output", "in_out", "retain", "local", "local"
    ]  # fmt: skip
    assert v["hours"].initial == 4_000_000_000 and v["k"].constant and v["m"].choices == {"Off": 0, "On": 1}
    assert [x.name for x in program.inputs] == ["level", "total"]
    assert [x.name for x in program.outputs] == ["run", "total"]
    memory = program.memory()
    single = float(np.float32(0.1))
    cases = (("hours", -1, 2**32 - 1), ("a[1]", 40_000, -25_536), ("run", 1, 1), ("level", 0.1, single))
    for name, value, kept in cases:
        program.variable(name.upper()).write(memory, value)
        assert v[name].read(memory) == kept
    with pytest.raises(ProgramError, match="did you mean level"):
        program.variable("levle")


def test_program_is_chosen_by_name() -> None:
    text = (
        "PROGRAM A VAR_OUTPUT x : INT; END_VAR x := 1; END_PROGRAM "
        "PROGRAM B VAR_OUTPUT y : INT; END_VAR y := 2; END_PROGRAM"
    )
    assert compile_program(text, program="b").outputs[0].name == "y"
    with pytest.raises(ProgramError, match="no PROGRAM 'C'"):
        compile_program(text, program="C")


def test_library_folder_of_ones_own(tmp_path: Path) -> None:
    (tmp_path / "mine.st").write_text(
        "TYPE Pair : STRUCT a, b : INT; END_STRUCT; END_TYPE\n"
        "FUNCTION Total : INT VAR_INPUT p : Pair; END_VAR Total := p.a + p.b; END_FUNCTION\n"
        "FUNCTION_BLOCK Broken VAR x : NOTYPE; END_VAR END_FUNCTION_BLOCK\n"
    )
    text = "PROGRAM P VAR_OUTPUT y : INT; END_VAR VAR p : Pair := (a := 2, b := 3); END_VAR y := Total(p); END_PROGRAM"
    program = compile_program(text, library=tmp_path)
    memory = program.memory()
    assert scan(program.code, memory, memory.view(np.int64), 0, 0, 100, 1000) == 0
    assert program.variable("y").read(memory) == 5
    # what is not used is not compiled; what is used and wrong is reported with its own file
    with pytest.raises(ProgramError, match=r"mine\.st:3:31: unknown type 'NOTYPE'"):
        compile_program("PROGRAM P VAR b : Broken; END_VAR b(); END_PROGRAM", library=tmp_path)


def test_kernel_package_is_not_needed_to_compile() -> None:
    import subprocess
    import sys

    script = (
        "import sys; from plantsim.st import compile_program; "
        "compile_program('PROGRAM P END_PROGRAM'); "
        "print([m for m in sys.modules if m.startswith(('plantsim.kernels', 'numba'))])"
    )
    result = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert result.stdout.strip() == "[]"
