"""Random control programs: the machine against the plain interpreter bit by bit, and mutated texts.

The oracle is `plantsim.st.reference`, which shares the parser and checker with the compiler but neither the code
generator nor the machine. What the language itself means is tested against the standard in tests/st.
"""

from __future__ import annotations

import random
import re

import numpy as np
import pytest

from plantsim.errors import ProgramError
from plantsim.kernels.machine import scan
from plantsim.st import Program, compile_program
from plantsim.st import types as t
from plantsim.st.disassembler import disassemble, verify
from plantsim.st.reference import Reference
from plantsim.st.units import Pou

SIGNED = ["SINT", "INT", "DINT", "LINT"]
UNSIGNED = ["USINT", "UINT", "UDINT", "ULINT"]
BITS = ["BYTE", "WORD", "DWORD", "LWORD"]
REALS = ["REAL", "LREAL"]
FUNCTIONS = ["ABS", "SQRT", "LN", "LOG", "EXP", "SIN", "COS", "TAN", "ASIN", "ACOS", "ATAN"]
TYPES = ["BOOL", *SIGNED, *UNSIGNED, *BITS, *REALS, "TIME"]

HELPERS = """
TYPE
    Colour : (Red, Green := 4, Blue);
    Point : STRUCT x : REAL; n : DINT; END_STRUCT;
    Small : INT (-50..50);
END_TYPE
FUNCTION Blend : REAL
VAR_INPUT a : REAL; b : REAL := 2.5; END_VAR
VAR_OUTPUT half : REAL; END_VAR
VAR k : INT; END_VAR
    FOR k := 1 TO 3 DO Blend := Blend * 0.5 + a; END_FOR;
    half := b / 2.0;
    IF a > b THEN RETURN; END_IF;
    Blend := Blend - b;
END_FUNCTION
FUNCTION Bump : DINT
VAR_INPUT more : DINT; END_VAR
VAR_IN_OUT what : DINT; END_VAR
    what := what + more;
    Bump := what - 1;
END_FUNCTION
FUNCTION Middle : Point
VAR_INPUT p, q : Point; END_VAR
    Middle.x := (p.x + q.x) / 2.0;
    Middle.n := p.n + q.n;
END_FUNCTION
FUNCTION_BLOCK Totaliser
VAR_INPUT x : REAL; on : BOOL; END_VAR
VAR_IN_OUT sum : REAL; END_VAR
VAR_OUTPUT n : INT; late : BOOL; END_VAR
VAR delay : TON; END_VAR
    IF on THEN sum := sum + x; n := n + 1; END_IF;
    delay(IN := on, PT := T#250ms, Q => late);
END_FUNCTION_BLOCK
"""


ODD = ["16#FFFFFFFFFFFFFFFFFF", "T#", "1.0E999", "(*", "{", "[", "'", "..", "%IX0", "(((", "END_IF", "-", "^"]


class Writer:
    """Draws a program from the grammar, well typed by construction."""

    def __init__(self, seed: int) -> None:
        self.rng = random.Random(seed)
        self.free_counters = ["c0", "c1", "c2"]
        self.in_loop = False

    def pick(self, options: list[str]) -> str:
        return self.rng.choice(options)

    def literal(self, kind: str) -> str:
        rng = self.rng
        if kind == "BOOL":
            return self.pick(["TRUE", "FALSE", "BOOL#1"])
        if kind in REALS:
            value = self.pick(["0.0", "1.0", "-1.0", "0.1", "1.0E30", "-2.5E-7", "3.0E38", "1_000.5", "16.0"])
            return f"{kind}#{value}" if kind == "LREAL" or rng.random() < 0.5 else value
        if kind == "TIME":
            return self.pick(["T#0s", "T#1h2m3.5s", "T#-14ms", "T#250ms", "TIME#25h15m"])
        spec = t.ELEMENTARY[kind]
        value = rng.choice([0, 1, 2, 3, 7, spec.high, spec.low, rng.randint(spec.low, spec.high)])
        if value >= 0 and rng.random() < 0.3:
            return f"{kind}#16#{value:X}"
        return f"{kind}#{value}"

    def leaf(self, kind: str) -> str:
        rng = self.rng
        if rng.random() < 0.3:
            return self.literal(kind)
        if kind == "DINT" and rng.random() < 0.3:
            return self.pick([f"arr[{self.index(1, 4)}, {self.index(0, 1)}]", "pts[2].n", "p.n"])
        if kind == "REAL" and rng.random() < 0.3:
            return self.pick([f"pts[{self.index(1, 3)}].x", "p.x", "s1", "q.x"])
        if kind == "BOOL" and rng.random() < 0.3:
            return self.pick(["ton1.Q", "ctu1.Q", "tot.late", "r1.Q", "(colour = Green)", "sr1.Q1", "tots[1].late"])
        if kind == "TIME" and rng.random() < 0.3:
            return self.pick(["ton1.ET", "tp1.ET", "CYCLE_TIME"])
        return f"{kind.lower()}{rng.randint(1, 3)}"

    def index(self, low: int, high: int) -> str:
        rng = self.rng
        if rng.random() < 0.5:
            return str(rng.randint(low, high))
        if rng.random() < 0.9:
            return f"{low} + ABS(usint1 MOD {high - low + 1})"
        return "int1"  # mostly outside: a fault in both

    def expr(self, kind: str, depth: int = 3) -> str:
        rng = self.rng
        if depth <= 0 or rng.random() < 0.15:
            return self.leaf(kind)
        one = lambda k=kind: self.expr(k, depth - 1)  # noqa: E731
        options = [
            lambda: f"SEL({one('BOOL')}, {one()}, {one()})",
            lambda: f"MUX(usint2 MOD 3, {one()}, {one()}, {one()})",
            lambda: f"({one()})",
            lambda: f"MOVE({one()})",
        ]
        if kind == "BOOL":
            other = rng.choice(TYPES)
            sign = self.pick(["=", "<>", "<", ">", "<=", ">="])
            options += [
                lambda: f"({one(other)} {sign} {one(other)})",
                lambda: f"({one()} {self.pick(['AND', 'OR', 'XOR', '&'])} {one()})",
                lambda: f"NOT ({one()})",
                lambda: f"{other}_TO_BOOL({one(other)})" if other != "BOOL" else one(),
                lambda: f"{self.pick(['AND', 'OR'])}({one()}, {one()}, {one()})",
                lambda: f"GE({one(other)}, {one(other)}, {one(other)})",
            ]
        elif kind in SIGNED + UNSIGNED:
            other = rng.choice([x for x in TYPES if x != kind])
            options += [
                lambda: f"({one()} {self.pick(['+', '-', '*', '/', 'MOD', '*', '-'])} {one()})",
                lambda: f"{self.pick(['MIN', 'MAX', 'ADD', 'MUL'])}({one()}, {one()})",
                lambda: f"LIMIT({one()}, {one()}, {one()})",
                lambda: f"ABS({one()})",
                lambda: f"{other}_TO_{kind}({one(other)})",
            ] * 2
            if kind in SIGNED:
                options += [lambda: f"-({one()})"]
            if kind != "ULINT":
                options += [lambda: f"({one()} ** {kind}#{rng.randint(0, 5)})"]
            if kind == "DINT":
                options += [lambda: f"Bump(more := {one()}, what := dint2)", lambda: f"TRUNC({one('REAL')})"]
                options += [lambda: f"({one('INT')} + {one('UINT')})", lambda: f"(dint2 - Bump({one()}, dint2))"]
        elif kind in BITS:
            other = rng.choice([x for x in TYPES if x != kind and x not in REALS])
            options += [
                lambda: f"({one()} {self.pick(['AND', 'OR', 'XOR'])} {one()})",
                lambda: f"NOT ({one()})",
                lambda: f"{self.pick(['SHL', 'SHR', 'ROL', 'ROR'])}({one()}, {one('SINT')})",
                lambda: f"{other}_TO_{kind}({one(other)})",
                lambda: f"MAX({one()}, {one()})",
            ]
        elif kind in REALS:
            other = rng.choice([x for x in TYPES if x != kind and x not in BITS])
            options += [
                lambda: f"({one()} {self.pick(['+', '-', '*', '/', '*', '+'])} {one()})",
                lambda: f"({one()} ** {one()})",
                lambda: f"{self.pick(['MIN', 'MAX', 'ATAN2'])}({one()}, {one()})",
                lambda: f"LIMIT({one()}, {one()}, {one()})",
                lambda: f"{self.pick(FUNCTIONS)}({one()})",
                lambda: f"{other}_TO_{kind}({one(other)})",
                lambda: f"-({one()})",
            ] * 2
            if kind == "REAL":
                options += [
                    lambda: f"Blend({one()})",
                    lambda: f"Blend(a := {one()}, b := {one()}, half => real3)",
                    lambda: f"({one('INT')} * {one()})",
                ]
        else:
            options += [
                lambda: f"({one()} {self.pick(['+', '-'])} {one()})",
                lambda: f"({one()} * {one('INT')})",
                lambda: f"({one()} / {one('DINT')})",
                lambda: f"({one()} * {one('REAL')})",
                lambda: f"MAX({one()}, {one()})",
                lambda: f"LREAL_TO_TIME({one('LREAL')})",
                lambda: f"-({one()})",
            ]
        return rng.choice(options)()

    def target(self) -> tuple[str, str]:
        rng = self.rng
        if rng.random() < 0.2:
            return self.pick([f"arr[{self.index(1, 4)}, {self.index(0, 1)}]", f"pts[{self.index(1, 3)}].n"]), "DINT"
        if rng.random() < 0.1:
            return f"pts[{self.index(1, 3)}].x", "REAL"
        kind = rng.choice(TYPES)
        return f"{kind.lower()}{rng.randint(1, 3)}", kind

    def statement(self, depth: int) -> str:
        rng = self.rng
        draw = rng.random()
        if depth <= 0 or draw < 0.45:
            name, kind = self.target()
            return f"{name} := {self.expr(kind)};"
        if draw < 0.60:
            inner = self.body(depth - 1)
            other = self.body(depth - 1)
            return (
                f"IF {self.expr('BOOL', 2)} THEN\n{inner}\nELSIF {self.expr('BOOL', 2)} THEN\n{other}\n"
                f"ELSE\n{self.body(depth - 1)}\nEND_IF;"
            )
        if draw < 0.68:
            kind = rng.choice(["INT", "USINT", "BYTE", "ULINT"])
            return (
                f"CASE {self.expr(kind, 2)} OF\n0, 7: {self.body(depth - 1)}\n1..3, 100..127: {self.body(depth - 1)}\n"
                f"ELSE {self.body(depth - 1)}\nEND_CASE;"
            )
        if draw < 0.72:
            return "CASE colour OF Red: colour := Green; Green: colour := Blue; Blue: colour := Colour#Red; END_CASE;"
        if draw < 0.88 and self.free_counters:
            return self.loop(depth)
        return self.call()

    def loop(self, depth: int) -> str:
        rng = self.rng
        counter = self.free_counters.pop()
        outer, self.in_loop = self.in_loop, True
        body = self.body(depth - 1)
        self.in_loop = outer
        self.free_counters.append(counter)
        draw = rng.random()
        if draw < 0.5:
            first, last = rng.randint(-3, 5), rng.randint(-3, 8)
            limit = self.pick([str(last), f"{last} + usint1 MOD 2", "32767" if first > 3 and depth < 2 else "4"])
            step = self.pick(["", " BY 2", " BY -1", f" BY {counter}x"])
            return f"FOR {counter} := {first} TO {limit}{step} DO\n{body}\nEND_FOR;"
        if draw < 0.75:
            return f"{counter}x := 0;\nWHILE {counter}x < 4 DO\n{counter}x := {counter}x + 1;\n{body}\nEND_WHILE;"
        return f"{counter}x := 0;\nREPEAT\n{counter}x := {counter}x + 1;\n{body}\nUNTIL {counter}x >= 3\nEND_REPEAT;"

    def call(self) -> str:
        e = self.expr
        return self.pick(
            [
                f"ton1(IN := {e('BOOL', 2)}, PT := {e('TIME', 1)});",
                f"tp1(IN := {e('BOOL', 2)}, PT := T#150ms);",
                f"tof1(IN := {e('BOOL', 2)}, PT := T#200ms, Q => bool2);",
                f"ctu1(CU := {e('BOOL', 2)}, R := {e('BOOL', 1)}, PV := {e('INT', 1)}, CV => dint3);",
                f"ctd1(CD := {e('BOOL', 2)}, LD := {e('BOOL', 1)}, PV := 3);",
                f"ctud1(CU := {e('BOOL', 1)}, CD := {e('BOOL', 1)}, R := FALSE, LD := {e('BOOL', 1)}, PV := 5);",
                f"sr1({e('BOOL', 1)}, {e('BOOL', 1)});",
                f"rs1(S := {e('BOOL', 1)}, R1 := {e('BOOL', 1)}, Q1 => bool3);",
                f"r1(CLK := {e('BOOL', 1)}); f1(CLK := {e('BOOL', 1)});",
                f"tot(x := {e('REAL', 1)}, on := {e('BOOL', 1)}, sum := s1);",
                f"tots[{self.index(0, 2)}](x := {e('REAL', 1)}, on := bool3, sum := pts[{self.index(1, 3)}].x);",
                f"tons[{self.index(0, 2)}](IN := {e('BOOL', 1)}, PT := T#100ms);",
                f"p := Middle(q, pts[{self.index(1, 3)}]);",
                f"pts[{self.index(1, 3)}] := Middle(Middle(p, q), q);",
                f"q := pts[{self.index(1, 3)}];",
                "copy := arr;",
                f"small := LIMIT(-60, int1 + {e('INT', 1)}, 60);" if self.rng.random() < 0.2 else "small := small / 2;",
                "Bump(3, dint1);",
                "IF bool1 THEN EXIT; END_IF;" if self.in_loop else "IF FIRST_SCAN THEN RETURN; END_IF;",
                "IF bool1 THEN CONTINUE; END_IF;" if self.in_loop else "first := first + 1;",
            ]
        )

    def body(self, depth: int) -> str:
        return "\n".join(self.statement(depth) for _ in range(self.rng.randint(1, 3)))

    def program(self) -> str:
        declared = "\n".join(
            f"{kind.lower()}{n} : {kind} := {self.literal(kind)};" for kind in TYPES for n in (1, 2, 3)
        )
        body = "\n".join(self.statement(2) for _ in range(self.rng.randint(3, 10)))
        return f"""{HELPERS}
PROGRAM Drawn
VAR_EXTERNAL CYCLE_TIME : TIME; FIRST_SCAN : BOOL; END_VAR
VAR
{declared}
c0, c1, c2 : INT; c0x, c1x, c2x : INT := 1; first : DINT;
arr, copy : ARRAY [1..4, 0..1] OF DINT := [1, 2, 3(7)];
pts : ARRAY [1..3] OF Point; p, q : Point := (x := 1.5, n := 2);
colour : Colour; small : Small; s1 : REAL;
ton1 : TON; tp1 : TP; tof1 : TOF; ctu1 : CTU_DINT; ctd1 : CTD; ctud1 : CTUD; sr1 : SR; rs1 : RS;
r1 : R_TRIG; f1 : F_TRIG; tot : Totaliser; tots : ARRAY [0..2] OF Totaliser; tons : ARRAY [0..2] OF TON;
END_VAR
{body}
END_PROGRAM
"""


def real_cells(pou: Pou, base: int = 0) -> set[int]:
    """Cells in which one not-a-number is as good as another."""

    def of(kind: t.Type, cell: int) -> set[int]:
        if isinstance(kind, Pou):
            return real_cells(kind, cell)
        if isinstance(kind, t.StructType):
            return {c for f in kind.fields.values() for c in of(f.type, cell + f.offset)}
        if isinstance(kind, t.ArrayType):
            return {c for at in range(0, kind.size, kind.element.size) for c in of(kind.element, cell + at)}
        return {cell} if isinstance(kind, t.Elementary) and kind.is_real else set()

    found = {c for s in pou.symbols.values() if not s.pointer for c in of(s.type, base + s.cell)}
    for cell, callee in pou.frames:
        found |= real_cells(callee, base + cell)
    return found


def differing(program: Program, machine: np.ndarray, oracle: np.ndarray) -> list[int]:
    """Cells whose bits differ, scratch cells and not-a-number payloads apart."""
    apart = machine.view(np.int64) != oracle.view(np.int64)
    apart[program.scratch] = False
    reals = real_cells(program.pou)
    return [
        int(c) for c in np.nonzero(apart)[0]
        if not (int(c) in reals and np.isnan(machine[c]) and np.isnan(oracle[c]))
    ]  # fmt: skip


def run_both(text: str, scans: int, budget: int = 2000) -> int:
    """Run a text on machine and oracle and compare after each scan; the number of scans without a fault."""
    try:
        program = compile_program(text)
    except ProgramError as error:
        # the writer may divide by a literal zero or call a function inside a chained comparison, both refused by name
        known = (": division by zero", " of more than two values is not supported")
        assert all(any(words in finding for words in known) for finding in error.findings), error
        return 0
    assert verify(program) == []
    machine, oracle = program.memory(), program.memory()
    reference = Reference(program)
    code = program.code
    good = 0
    for cycle in range(scans):
        status = scan(code, machine, machine.view(np.int64), 0, 0, 70 + cycle, budget)
        kind = reference.scan(oracle, 0, 70 + cycle, budget)
        assert int(status) & 255 == kind, (program.fault_text(status), kind, reference.fault_line, text)
        wrong = differing(program, machine, oracle)
        if wrong:
            names = {v.cell: n for n, v in program.variables.items()}
            what = [(names.get(c, c), machine[c], oracle[c]) for c in wrong]
            raise AssertionError(f"scan {cycle}: {what}\n{text}\n{disassemble(program)}")
        if kind:
            place = program.line_of(int(status) >> 8)
            assert (place.filename, place.line) == reference.fault_line, program.fault_text(status)
            machine[program.scratch] = program.initial[program.scratch]
        good += not kind
    return good


def test_random_programs_leave_the_same_bits_in_machine_and_reference() -> None:
    clean = sum(run_both(Writer(seed).program(), scans=4) for seed in range(120))
    assert clean > 120  # most of the 480 scans must not have ended in a fault at once


@pytest.mark.slow
def test_many_random_programs_leave_the_same_bits_in_machine_and_reference() -> None:
    for seed in range(1000, 5000):
        run_both(Writer(seed).program(), scans=5)


def mutate(rng: random.Random, text: str, words: list[str]) -> str:
    """Damage a text: most often one word for another of the same class, else cut, double or put in pieces."""
    for _ in range(rng.choice([1, 1, 2, 4])):
        at = rng.randrange(len(text))
        to = min(len(text), at + rng.randint(1, 20))
        draw = rng.randrange(10)
        if draw == 0:
            text = text[:at] + text[to:]
        elif draw == 1:
            text = text[:at] + text[at:to] * 2 + text[to:]
        elif draw == 2:
            text = text[:at] + " " + rng.choice(words) + " " + text[at:]
        elif draw == 3:
            text = text[:at] + chr(rng.choice([*range(9, 127), 0xE4, 0x3B1, 0])) + text[at:]
        elif draw == 4:
            text = text[:at] + rng.choice(ODD) + text[to:]
        else:
            spots = list(re.finditer(r"\d+|[A-Za-z_]\w*|[-+*/<>=]+", text))
            spot = rng.choice(spots)
            same = [w.group() for w in spots if w.group()[0].isalpha() == spot.group()[0].isalpha()]
            if spot.group()[0].isdigit():
                same = ["0", "1", "2", "3", "99", "32768"]
            elif not spot.group()[0].isalpha():
                same = ["+", "-", "*", "/", "<", ">=", "=", "<>", ":="]
            text = text[: spot.start()] + rng.choice(same) + text[spot.end() :]
        text = text or " "
    return text


def fuzz(count: int, seed: int) -> tuple[int, int]:
    """Compile and run mutated programs; how many ended in a message and how many ran."""
    rng = random.Random(seed)
    bases = [Writer(s).program() for s in range(12)]
    bases = sorted(bases, key=len)[:6]
    words = sorted({w for base in bases for w in base.split()})
    refused = ran = 0
    for at in range(count):
        text = mutate(rng, bases[at % len(bases)], words)
        try:
            program = compile_program(text)
        except ProgramError as error:
            assert error.findings and all(": " in f and "\n" in f for f in error.findings)
            refused += 1
            continue
        assert verify(program) == []
        memory = program.memory()
        scan(program.code, memory, memory.view(np.int64), 0, 0, 100, 500)
        ran += 1
    return refused, ran


def test_mutated_programs_end_in_a_message_or_a_run() -> None:
    refused, ran = fuzz(400, seed=1)
    assert refused > 200 and ran > 10


@pytest.mark.slow
def test_ten_thousand_mutated_programs_end_in_a_message_or_a_run() -> None:
    refused, ran = fuzz(10_000, seed=2)
    assert refused + ran == 10_000 and ran > 300
