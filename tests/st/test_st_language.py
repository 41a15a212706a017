"""The language against IEC 61131-3: precedence, types, literals, conversions, statements, calls.

Sources: IEC 61131-3:2003, Table 55 and annex B.3.1 (precedence, worked example of 3.3.1), Table 7 (time literals),
3.3.2 (statements), Table 13 (defaults), Table 24 (arithmetic), 2.5.1.5.1 (conversions). Facts of the third edition
are from memory.
"""

from __future__ import annotations

import math
import struct

import pytest

from plantsim.opcodes import FAULT_BUDGET, FAULT_DIVISION, FAULT_INDEX, FAULT_RANGE

ABCD = (
    "a : INT := 1; b : INT := 2; c : INT := 3; d : INT := 4; t, u : BOOL := TRUE; f : BOOL; "
    "two : INT := 2; three : INT := 3;"
)


def test_precedence(values) -> None:
    # 3.3.1: A+B-C*ABS(D) = -9 and (A+B-C)*ABS(D) = 0 for 1, 2, 3, 4; the rest follows from the grammar of B.3.1
    assert values(
        "INT", "a+b-c*ABS(d)", "(a+b-c)*ABS(d)", "-two**2", "two**three**two", "-2**2", "2**3**2", "20/two*three",
        "7-three-two", "17 MOD 5*2", declare=ABCD
    ) == [-9, 0, 4, 64, 4, 64, 30, 2, 4]  # fmt: skip
    assert values(
        "BOOL", "a<b = c<d", "t OR f AND f", "NOT f AND f", "NOT (f AND f)", "t OR u XOR t AND u", "f XOR t AND t",
        "t & f OR t", "a + b >= c AND a <> b", declare=ABCD
    ) == [1, 1, 0, 1, 1, 1, 1, 1]  # fmt: skip


@pytest.mark.parametrize("values_of", range(8))
def test_or_binds_weaker_than_xor_and_xor_weaker_than_and(values, values_of: int) -> None:
    a, b, c = (bool(values_of >> n & 1) for n in range(3))
    declare = f"a : BOOL := {a}; b : BOOL := {b}; c : BOOL := {c};".upper()
    assert values("BOOL", "a OR b XOR c AND a", "a XOR b OR c AND b", declare=declare) == [
        a or (b != (c and a)), (a != b) or (c and b)
    ]  # fmt: skip


def test_integer_division_and_modulo_round_toward_zero(values) -> None:
    # Table 24: -7/2 = -3, -7 MOD 2 = -1; MOD by zero gives 0
    declare = "m : INT := -7; n : INT := 2; z : INT; big : ULINT := 16#FFFF_FFFF_FFFF_FFFF; w : ULINT := 10;"
    assert values("INT", "m/n", "m MOD n", "7/(-n)", "7 MOD (-n)", "m MOD z", declare=declare) == [-3, -1, -3, 1, 0]
    assert values("ULINT", "big / w", "big MOD w", declare=declare) == [(2**64 - 1) // 10, 5]


def test_integers_wrap_in_their_own_width(values) -> None:
    for kind, bits, signed in (
        ("SINT", 8, 1), ("INT", 16, 1), ("DINT", 32, 1), ("LINT", 64, 1),
        ("USINT", 8, 0), ("UINT", 16, 0), ("UDINT", 32, 0), ("ULINT", 64, 0),
    ):  # fmt: skip
        high = 2 ** (bits - signed) - 1
        low = -(2 ** (bits - 1)) if signed else 0
        declare = f"h : {kind} := {high}; l : {kind} := {low}; o : {kind} := 1;"
        assert values(kind, "h + o", "l - o", declare=declare) == [low, high]
        if signed:
            assert values(kind, "-l", "ABS(l)", "l / (l / h)", declare=declare) == [low, low, low]


def test_literals(values) -> None:
    assert values("DINT", "1_000", "16#FF", "2#1010_1010", "8#17", "INT#16#7F", "DINT#-5", "+3") == [
        1000, 255, 170, 15, 127, -5, 3
    ]  # fmt: skip
    assert values("LREAL", "1.0E-3", "LREAL#2.5", "1_0.5E+2", "3") == [0.001, 2.5, 1050.0, 3.0]
    assert values("BOOL", "BOOL#1", "BOOL#FALSE", "TRUE", "1") == [1, 0, 1, 1]


def test_time_literals(values) -> None:
    # Table 7; 5 d 14 h 12 m 18 s 3.5 ms = 483138003.5 ms, kept as whole milliseconds (half to even)
    assert values(
        "TIME", "T#14ms", "T#-14ms", "T#14.7s", "t#25h15m", "TIME#1.5h", "t#5d14h12m18s", "T#1h2m3.5s",
        "t#5d_14h_12m_18s_3.5ms", "T#14m7s"
    ) == [14, -14, 14_700, 90_900_000, 5_400_000, 483_138_000, 3_723_500, 483_138_004, 847_000]  # fmt: skip


def test_real_is_rounded_to_32_bits_and_lreal_is_not(values) -> None:
    single = lambda x: struct.unpack("f", struct.pack("f", x))[0]  # noqa: E731
    declare = (
        "a : REAL := 0.1; b : REAL := 0.2; c : LREAL := 0.1; d : LREAL := 0.2; h : REAL := 3.0E38; "
        "z : REAL; n : REAL := -1.0;"
    )
    assert values("REAL", "a", "a + b", "a * b", "h * 10", declare=declare) == [
        single(0.1), single(single(0.1) + single(0.2)), single(single(0.1) * single(0.2)), math.inf
    ]  # fmt: skip
    assert values("LREAL", "c + d", "a", declare=declare) == [0.1 + 0.2, single(0.1)]
    # IEC 60559: division by zero and functions outside their domain
    results = values("REAL", "a / z", "-a / z", "z / z", "SQRT(n)", "LN(z)", "LOG(n)", declare=declare)
    assert results[0] == math.inf and results[1] == -math.inf and results[4] == -math.inf
    assert all(math.isnan(results[n]) for n in (2, 3, 5))


def test_conversions(values) -> None:
    # 2.5.1.5.1: to the nearest integer, ties to even; TRUNC toward zero. Out of range: held (choice made here)
    declare = "a : REAL := 1.5; b : REAL := 2.5; c : REAL := -1.5; d : REAL := 2.9; h : REAL := 1.0E12; z : REAL;"
    assert values(
        "INT", "REAL_TO_INT(a)", "REAL_TO_INT(b)", "REAL_TO_INT(c)", "DINT_TO_INT(TRUNC(d))", "REAL_TRUNC_INT(c)",
        "REAL_TO_INT(h)", "REAL_TO_INT(-h)", "REAL_TO_INT(z / z)", "TO_INT(d)", declare=declare
    ) == [2, 2, -2, 2, -1, 32767, -32768, 0, 3]  # fmt: skip
    declare = "i : DINT := 70000; m : INT := -1; w : WORD := 16#FFFF; t : TIME := T#2.5s; r : REAL := 1.5;"
    assert values("INT", "DINT_TO_INT(i)", "WORD_TO_INT(w)", "BOOL_TO_INT(i > 3)", declare=declare) == [4464, -1, 1]
    assert values("WORD", "INT_TO_WORD(m)", declare=declare) == [0xFFFF]
    assert values("DINT", "TIME_TO_DINT(t)", declare=declare) == [2500]
    assert values("TIME", "DINT_TO_TIME(i)", "t * 2", "2 * t", "t / 2", "t * r", declare=declare) == [
        70_000, 5000, 5000, 1250, 3750
    ]  # fmt: skip
    assert values("BOOL", "DINT_TO_BOOL(i)", "REAL_TO_BOOL(0.0)", declare=declare) == [1, 0]
    assert values("ULINT", "LREAL_TO_ULINT(1.0E19)", "LREAL_TO_ULINT(-1.0)") == [10**19, 0]


def test_implicit_conversions_widen_only(values) -> None:
    declare = "s : SINT := -3; u : USINT := 200; r : REAL := 0.5; i : INT := 4; w : BYTE := 16#A5;"
    assert values("LINT", "s", "u", "s + u", declare=declare) == [-3, 200, 197]
    assert values("LREAL", "r * i", "i / r", declare=declare) == [2.0, 8.0]
    assert values("DWORD", "w", declare=declare) == [0xA5]


def test_standard_functions(values) -> None:
    declare = (
        "a : REAL := 0.5; i : INT := -4; k : INT := 2; b : BYTE := 2#1001_0110; g : BOOL := TRUE; "
        "w : WORD := 16#8001;"
    )
    results = values(
        "LREAL", "SQRT(LREAL#2.0)", "LN(LREAL#2.0)", "LOG(LREAL#1000.0)", "EXP(LREAL#1.0)", "SIN(LREAL#0.5)",
        "COS(LREAL#0.5)", "TAN(LREAL#0.5)", "ASIN(LREAL#0.5)", "ACOS(LREAL#0.5)", "ATAN(LREAL#0.5)",
        "EXPT(LREAL#2.0, 0.5)", "ATAN2(Y := LREAL#1.0, X := LREAL#-1.0)"
    )  # fmt: skip
    expected = [
        2**0.5, math.log(2), 3.0, math.e, math.sin(0.5), math.cos(0.5), math.tan(0.5), math.asin(0.5), math.acos(0.5),
        math.atan(0.5), 2**0.5, 3 * math.pi / 4,
    ]  # fmt: skip
    assert results == pytest.approx(expected, rel=1e-15)
    assert values(
        "INT", "ABS(i)", "MIN(i, k, 7)", "MAX(i, k, 7)", "LIMIT(-1, i, 1)", "LIMIT(MN := 0, IN := k, MX := 5)",
        "SEL(g, 1, 2)", "SEL(G := NOT g, IN0 := 1, IN1 := 2)", "MUX(k, 10, 11, 12)", "ADD(i, k, 1)", "SUB(i, k)",
        "MUL(i, k)", "DIV(i, k)", "MOD(i, 3)", "MOVE(i)", "EXPT(k, 5)", declare=declare
    ) == [4, -4, 7, -1, 2, 2, 1, 12, -1, -6, -8, -2, -1, -4, 32]  # fmt: skip
    shifted = values("BYTE", "SHL(b, 1)", "SHR(b, 1)", "ROL(b, 1)", "ROR(b, 1)", "NOT b", "b AND 16#F", declare=declare)
    assert shifted == [
        0b0010_1100, 0b0100_1011, 0b0010_1101, 0b0100_1011, 0b0110_1001, 0b0110
    ]  # fmt: skip
    turned = values("WORD", "ROR(w, 1)", "ROL(w, 17)", "SHL(w, 16)", "XOR(w, 1)", declare=declare)
    assert turned == [0xC000, 3, 0, 0x8000]
    assert values("BOOL", "GT(3, 2, 1)", "GT(3, 1, 2)", "LE(1, 1, 2)", "EQ(i, -4)", "NE(i, 4)", declare=declare) == [
        1, 0, 1, 1, 1
    ]  # fmt: skip


def test_defaults(controller) -> None:
    # Table 13 and 2.3.3.2: zero and FALSE; an enumeration starts at its first value, a subrange at its lower limit
    c = controller(
        "TYPE E : (Red := 3, Green); F : (Up, Down) := Down; S : STRUCT a : INT := 7; b : REAL; END_STRUCT; "
        "R : INT (-5..5); D : REAL := 2.5; END_TYPE "
        "PROGRAM P VAR e : E; f : F; s : S; s2 : S := (b := 1.0); r : R; d : D; x : ARRAY [0..4] OF INT := [1, 2(9)]; "
        "p : ARRAY [1..2] OF S := [(a := 1), (a := 2)]; END_VAR END_PROGRAM"
    )
    names = ("e", "f", "s.a", "s.b", "s2.a", "s2.b", "r", "d", "x[0]", "x[1]", "x[2]", "x[3]", "p[1].a", "p[2].a")
    assert [c[n] for n in names] == [3, 1, 7, 0.0, 7, 1.0, -5, 2.5, 1, 9, 9, 0, 1, 2]


def test_case_takes_the_first_group_with_the_value(controller) -> None:
    # 3.3.2.3: the first matching group, ELSE when none matches
    c = controller(
        "PROGRAM P VAR_INPUT n : INT; END_VAR VAR_OUTPUT y : INT; END_VAR VAR CONSTANT k : INT := 9; END_VAR "
        "CASE n OF 1, 5: y := 1; 2..4: y := 2; -3..-1: y := 3; k: y := 4; 4..6: y := 5; "
        "ELSE y := 0; END_CASE; END_PROGRAM"
    )
    seen = []
    for n in (1, 5, 3, 4, 6, -2, 9, 100):
        c["n"] = n
        c.scan()
        seen.append(c["y"])
    assert seen == [1, 1, 2, 2, 5, 3, 4, 0]


def test_loops(controller) -> None:
    # 3.3.2.4: FOR tests before each pass, counts by 1 unless BY says otherwise, EXIT leaves the innermost loop
    c = controller(
        "PROGRAM P VAR i, j, a, b, d, e, f, g : INT; s : SINT; u : USINT; h : LINT; END_VAR "
        "FOR i := 1 TO 4 DO a := a + i; END_FOR; FOR i := 5 TO 1 DO a := 99; END_FOR; "
        "FOR i := 10 TO 1 BY -3 DO b := b + i; END_FOR; "
        "FOR i := 1 TO 3 DO FOR j := 1 TO 3 DO IF j = 2 THEN EXIT; END_IF; d := d + 1; END_FOR; END_FOR; "
        "FOR i := 1 TO 5 DO IF i MOD 2 = 0 THEN CONTINUE; END_IF; e := e + i; END_FOR; "
        "WHILE f < 7 DO f := f + 2; END_WHILE; REPEAT g := g + 1; UNTIL TRUE END_REPEAT; "
        "FOR s := 125 TO 127 DO h := h + 1; END_FOR; FOR u := 253 TO 255 DO h := h + 1; END_FOR; END_PROGRAM"
    )
    c.scan()
    assert [c[n] for n in "abdefgh"] == [10, 22, 3, 9, 8, 1, 6]


def test_and_or_stop_early(controller) -> None:
    # 3.3.1 permits it; here it is promised, so that a test may guard what stands right of it
    c = controller(
        "PROGRAM P VAR_INPUT n : INT; END_VAR VAR_OUTPUT y, z : BOOL; n2 : INT; END_VAR "
        "y := n <> 0 AND 10 / n > 2; z := n = 0 OR 10 / n > 2; "
        "IF n <> 0 AND 10 / n > 2 THEN n2 := 1; END_IF; END_PROGRAM"
    )
    assert c.scan() == 0 and (c["y"], c["z"], c["n2"]) == (0, 1, 0)
    c["n"] = 3
    assert c.scan() == 0 and (c["y"], c["z"], c["n2"]) == (1, 1, 1)


@pytest.mark.parametrize(
    ("body", "kind", "line"),
    [
        ("y := 1;\ny := y / z;", FAULT_DIVISION, 4),
        ("y := 1;\n\ny := a[z];", FAULT_INDEX, 5),
        ("a[z + 10] := 1;", FAULT_INDEX, 3),
        ("y := MUX(z + 3, 1, 2);", FAULT_INDEX, 3),
        ("small := z + 11;", FAULT_RANGE, 3),
        ("y := 5;\nWHILE TRUE DO\ny := y + 1;\nEND_WHILE;", FAULT_BUDGET, 4),
        ("FOR y := 1 TO 9 BY z DO ; END_FOR;", FAULT_BUDGET, 3),
        ("REPEAT y := y + 1; UNTIL y < 0 END_REPEAT;", FAULT_BUDGET, 3),
        ("y := z ** -1;", FAULT_DIVISION, 3),
        ("y := F(z);", FAULT_DIVISION, 9),
    ],
)
def test_faults_name_their_line(controller, body: str, kind: int, line: int) -> None:
    text = (
        "PROGRAM P VAR y : INT; z : INT; a : ARRAY [1..9] OF INT;\nsmall : INT (1..10); END_VAR\n"
        f"{body}\nEND_PROGRAM"
    )
    text += "\n" * (8 - text.count("\n")) + "FUNCTION F : INT VAR_INPUT n : INT; END_VAR F := 1 / n; END_FUNCTION"
    c = controller(text)
    assert c.scan(budget=50) == kind
    assert c.program.line_of(c.status >> 8).line == line
    assert f":{line}:" in c.program.fault_text(c.status)


def test_calls(controller) -> None:
    c = controller(
        "FUNCTION Area : REAL VAR_INPUT w, h : REAL := 2.0; END_VAR VAR_OUTPUT around : REAL; END_VAR "
        "Area := w * h; around := 2 * (w + h); END_FUNCTION "
        "FUNCTION Swap VAR_IN_OUT a, b : INT; END_VAR VAR t : INT; END_VAR t := a; a := b; b := t; END_FUNCTION "
        "FUNCTION_BLOCK Acc VAR_INPUT x : REAL; END_VAR VAR_OUTPUT sum : REAL; END_VAR sum := sum + x; "
        "END_FUNCTION_BLOCK "
        "PROGRAM P VAR p, q, r, s : REAL; m : INT := 1; n : INT := 2; v : ARRAY [1..2] OF INT := [7, 8]; k : INT := 1; "
        "one, two : Acc; END_VAR "
        "p := Area(3.0, 4.0); q := Area(h := 5.0); r := Area(Area(1.0, 3.0), Area(w := 1.0), around => s); "
        "Swap(m, n); Swap(a := v[k], b := v[k + 1]); one(x := 1.5); one(); two.x := 10.0; two(); END_PROGRAM"
    )
    c.scan()
    assert [c[n] for n in ("p", "q", "r", "s", "m", "n", "v[1]", "v[2]", "one.sum", "two.sum")] == [
        12.0, 10.0, 6.0, 10.0, 2, 1, 8, 7, 3.0, 10.0
    ]  # fmt: skip


def test_function_keeps_nothing_between_calls_and_block_does(controller) -> None:
    c = controller(
        "FUNCTION F : INT VAR n : INT := 5; END_VAR n := n + 1; F := F + n; END_FUNCTION "
        "FUNCTION_BLOCK B VAR_OUTPUT n : INT; END_VAR VAR_TEMP k : INT := 1; END_VAR "
        "k := k + 1; n := n + k; END_FUNCTION_BLOCK "
        "PROGRAM P VAR y : INT; b : B; END_VAR y := F(); b(); END_PROGRAM"
    )
    for _ in range(3):
        c.scan()
    assert (c["y"], c["b.n"]) == (6, 6)


def test_blocks_arrays_and_structures_inside_each_other(controller) -> None:
    c = controller(
        "TYPE Unit : STRUCT delay : TON; speeds : ARRAY [0..1] OF ARRAY [1..2] OF INT; END_STRUCT; END_TYPE "
        "FUNCTION_BLOCK Runner VAR_IN_OUT t : TON; u : Unit; v : ARRAY [1..3] OF INT; END_VAR "
        "VAR_INPUT k : INT; END_VAR VAR_OUTPUT q : BOOL; END_VAR t(IN := TRUE, PT := T#30ms, Q => q); "
        "u.delay(IN := q, PT := T#20ms); u.speeds[k][k + 1] := v[k + 1] + 1; v[3] := v[3] + 1; END_FUNCTION_BLOCK "
        "FUNCTION Third : INT VAR_INPUT a : INT; END_VAR VAR w : ARRAY [1..4] OF INT := [5, 6, 7, 8]; END_VAR "
        "w[a] := w[a] + 10; Third := w[a] + w[3]; END_FUNCTION "
        "PROGRAM P VAR CONSTANT n : INT := 2; END_VAR VAR units : ARRAY [1..n] OF Unit; ts : ARRAY [1..n] OF TON; "
        "r : ARRAY [1..n] OF Runner; v : ARRAY [1..3] OF INT := [4, 5, 6]; i, x, y : INT; END_VAR "
        "FOR i := 1 TO n DO r[i](t := ts[i], u := units[n + 1 - i], v := v, k := i - 1); END_FOR; "
        "x := Third(3); y := Third(1); units[1].delay.PT := T#9s; END_PROGRAM"
    )
    for _ in range(6):
        assert c.scan(10) == 0
    assert (c["ts[1].Q"], c["ts[2].ET"], c["r[2].q"]) == (1, 30, 1)
    assert (c["units[1].delay.Q"], c["units[2].delay.ET"], c["units[1].delay.PT"]) == (1, 20, 9000)
    assert (c["units[2].speeds[0][1]"], c["units[1].speeds[1][2]"], c["v[3]"]) == (5, 6, 18)
    assert (c["x"], c["y"]) == (34, 22)


def test_controller_globals(controller) -> None:
    c = controller(
        "PROGRAM P VAR_EXTERNAL CYCLE_TIME : TIME; FIRST_SCAN : BOOL; END_VAR VAR_OUTPUT t : TIME; n : INT; END_VAR "
        "t := CYCLE_TIME; IF FIRST_SCAN THEN n := n + 1; END_IF; END_PROGRAM"
    )
    for cycle in (100, 250):
        c.scan(cycle)
        assert (c["t"], c["n"]) == (cycle, 1)


def test_case_of_letters_comments_and_pragmas(controller) -> None:
    c = controller(
        "program p var_input (* outer (* inner *) still *) Level : Real := 2.0; {unit 'm'} // sump level\n"
        "sp : REAL; (* setpoint *)\n END_VAR /* c */ VAR_OUTPUT Y : REAL; {unit 'm3/h'} END_VAR "
        "y := LEVEL * 2.0; End_Program"
    )
    c.scan()
    level, sp = c.program.inputs
    assert c["Y"] == 4.0
    assert (level.name, level.unit, level.comment, level.initial) == ("Level", "m", "sump level", 2.0)
    assert (sp.unit, sp.comment, c.program.outputs[0].unit) == (None, "setpoint", "m3/h")


def test_what_an_operator_may_change_is_marked(controller) -> None:
    c = controller(
        "PROGRAM P VAR_INPUT sp : REAL := 1.8; {unit 'm'} {operator 0.5..4} // set point\n"
        "on : BOOL; {operator}\n level : REAL; {unit 'm'}\n END_VAR VAR_OUTPUT y : REAL; END_VAR "
        "y := SEL(on, level, sp); END_PROGRAM"
    )
    sp, on, level = c.program.inputs
    assert (sp.operator, sp.unit, sp.comment) == ((0.5, 4.0), "m", "set point")
    assert on.operator == (-math.inf, math.inf) and level.operator is None
