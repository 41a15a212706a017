"""Readable listing of machine code, and a check that every operand is where it may be."""

from __future__ import annotations

from plantsim.opcodes import OPERAND_KINDS, TABLE

from .program import Program


def disassemble(program: Program) -> str:
    """One line for each row: number, operation, operands by name where a variable stands there, meaning.

    >>> from plantsim.st import compile_program
    >>> p = compile_program("PROGRAM P VAR_OUTPUT y : INT; END_VAR y := y + 1; END_PROGRAM")
    >>> disassemble(p).splitlines()[0].split()[:4]
    ['0', 'ADD_I16', 'y,', 'y,']
    """
    of_main = {variable.cell: name for name, variable in program.variables.items()}
    lines = []
    for pc, (number, *operands) in enumerate(program.code.tolist()):
        row = TABLE[number]
        pou = program.row_pous[pc]
        names = of_main
        if pou is not program.pou:
            names = {symbol.cell: f"{pou.name}.{symbol.name}" for symbol in pou.symbols.values()}
        texts = []
        for letter, value in zip(row.operands, operands):
            if letter == "j":
                texts.append(f"->{pc + 1 + value}")
            elif letter == "n":
                texts.append(str(value))
            elif letter != ".":
                texts.append(names.get(value, f"#{value}"))
        lines.append(f"{pc:5d}  {row.name:<10} {', '.join(texts):<40} {row.meaning}")
    return "\n".join(lines)


def verify(program: Program) -> list[str]:
    """What is wrong with a program's rows: unknown opcodes, jumps outside the code, cells outside the memory."""
    wrong = []
    rows = len(program.code)
    for pc, (number, *operands) in enumerate(program.code.tolist()):
        if not 0 <= number < len(TABLE):
            wrong.append(f"row {pc}: opcode {number} is unknown")
            continue
        for letter, value in zip(TABLE[number].operands, operands):
            assert letter in OPERAND_KINDS
            if letter == "j" and not 0 <= pc + 1 + value < rows:
                wrong.append(f"row {pc}: {TABLE[number].name} jumps to {pc + 1 + value} of {rows}")
            elif letter in "dsmkf" and not 0 <= value < program.size:
                wrong.append(f"row {pc}: {TABLE[number].name} uses cell {value} of {program.size}")
            elif letter == "." and value:
                wrong.append(f"row {pc}: {TABLE[number].name} has a stray operand {value}")
    return wrong
