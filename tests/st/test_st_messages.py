"""Wrong programs and the message each must give; suspicious programs and their warnings.

What a message must hold (place, what was found, what could stand there, the line with a caret) is our own rule; the
mistakes are the usual ones of the trade, no source.
"""

from __future__ import annotations

import pytest

from plantsim.errors import ProgramError
from plantsim.st import compile_program

HEAD = (
    "PROGRAM P\nVAR x, y : INT; r : REAL; flag : BOOL; level : REAL; w : WORD; t : TON; "
    "a : ARRAY [1..5] OF INT; END_VAR\n"
)
BLOCK = "FUNCTION_BLOCK B VAR_IN_OUT q : INT; END_VAR q := 1; END_FUNCTION_BLOCK "

# (statements on line 3, line, column, found, hint or what could stand there)
STATEMENTS = [
    ("x := 5", 4, 1, "found keyword END_PROGRAM", "expected ';' after the assignment"),
    ("x = 5;", 3, 3, "found '='", "':=' assigns"),
    ("lvel := 2.0;", 3, 1, "unknown name 'lvel'", "did you mean level?"),
    ("x := r;", 3, 6, "found a REAL, expected INT", "REAL_TO_INT"),
    ("x := 1 + flag;", 3, 8, "+ cannot join", "SEL("),
    ("IF x THEN y := 1; END_IF;", 3, 4, "must be BOOL", "found INT"),
    ("IF flag THEN x := 1;\nEND_WHILE;", 4, 1, "found keyword END_WHILE", "expected END_IF to close IF of line 3"),
    ("t(IN := flag, TP := T#5s);", 3, 15, "no parameter 'TP'", "IN, PT, Q, ET"),
    ("t(IN := flag, PT := 5);", 3, 21, "found number 5, expected a TIME", "T#5s"),
    ("t.Q := TRUE;", 3, 3, "Q is an output of TON", "cannot be assigned"),
    ("flag := t.M;", 3, 11, "M of TON does not exist", "it has IN, PT, Q, ET"),
    ("flag := t(IN := flag);", 3, 9, "a block call gives no value", "t.Q"),
    ("r := SQTR(r);", 3, 6, "unknown function 'SQTR'", "did you mean SQRT?"),
    ("a[6] := 1;", 3, 3, "index 6", "outside 1..5"),
    ("a[1, 2] := 1;", 3, 2, "2 index(es)", "has 1"),
    ("x := 70000;", 3, 6, "70000 does not fit INT", "-32768..32767"),
    ("x := 1 / 0;", 3, 8, "division by zero", ""),
    ("EXIT;", 3, 1, "EXIT stands outside any loop", "FOR, WHILE or REPEAT"),
    ("FOR x := 1 TO 5 DO x := 2; END_FOR;", 3, 20, "counter of the FOR loop", "cannot be assigned"),
    ("CASE r OF 1: x := 1; END_CASE;", 3, 6, "found REAL", "integer or enumeration"),
    ("CASE x OF y: x := 1; END_CASE;", 3, 11, "CASE label", "must be a constant"),
    ("x := w + 1;", 3, 8, "+ cannot join WORD", "WORD_TO_UINT"),
    ("x := 'abc';", 3, 6, "found string 'abc'", "STRING is not supported"),
    ("x := %IX0.0;", 3, 6, "direct address %IX0.0 is not supported", "by name"),
    ("flag := x.3;", 3, 11, "single bit is not supported", "mask"),
    ("t(PT := T#5m3h);", 3, 9, "T#5m3h", "units must descend"),
    ("x := 2#12;", 3, 6, "2#12", "not a number in base 2"),
    ("x := (1 + 2;", 3, 12, "found ';'", "expected )"),
    ("x := y + ;", 3, 10, "found ';'", "expected a value"),
    ("y := LIMIT(1, 2);", 3, 6, "LIMIT needs MN, IN, MX", "MX missing"),
    ("r := 1E5;", 3, 6, "found '1E5'", "1.0E5"),
    ("flag := x AND y;", 3, 11, "AND takes BOOL or bit strings", "found INT and INT"),
    ("WHILE flag x := 1; END_WHILE;", 3, 12, "found 'x'", "expected DO"),
    ("REPEAT x := 1; END_REPEAT;", 3, 16, "found keyword END_REPEAT", "expected UNTIL"),
    ("x := y := 1;", 3, 8, "cannot be chained", ""),
    ("r := STRING_TO_REAL(x);", 3, 6, "STRING is not supported", ""),
    ("x := STEP;", 3, 6, "STEP is a keyword of the standard", "CASE over an enumeration"),
    ("t(EN := flag);", 3, 3, "EN and ENO are not supported", ""),
    ("x();", 3, 1, "an INT cannot be called", "expected a block instance"),
    ("x := ABS(3, 4);", 3, 13, "ABS takes 1 argument", ""),
]
TEXTS = [
    ("PROGRAM P VAR x : STRING; END_VAR END_PROGRAM", 1, 19, "type STRING is not supported", ""),
    ("PROGRAM P VAR x : INTT; END_VAR END_PROGRAM", 1, 19, "unknown type 'INTT'", "did you mean INT?"),
    ("PROGRAM P VAR x : INT; x : BOOL; END_VAR END_PROGRAM", 1, 24, "x is declared twice", ""),
    ("PROGRAM P VAR_GLOBAL x : INT; END_VAR END_PROGRAM", 1, 11, "VAR_GLOBAL is not supported", "VAR_INPUT"),
    ("PROGRAM P VAR x AT %IX0 : INT; END_VAR END_PROGRAM", 1, 17, "AT is not supported", "by name"),
    ("PROGRAM P VAR CONSTANT k : INT; END_VAR END_PROGRAM", 1, 24, "constant k needs a value", "k : INT := ..."),
    ("PROGRAM P VAR CONSTANT k : INT := 1; END_VAR k := 2; END_PROGRAM", 1, 46, "k is a CONSTANT", ""),
    ("PROGRAM P VAR_INPUT k : INT; END_VAR k := 2; END_PROGRAM", 1, 38, "k is a VAR_INPUT", ""),
    ("FUNCTION F : INT F := F(); END_FUNCTION PROGRAM P END_PROGRAM", 1, 23, "F calls itself", "recursion"),
    ("FUNCTION_BLOCK B VAR b : B; END_VAR END_FUNCTION_BLOCK PROGRAM P END_PROGRAM", 1, 22, "B contains itself", ""),
    ("", 1, 1, "found no PROGRAM", "expected PROGRAM"),
    ("PROGRAM A END_PROGRAM PROGRAM B END_PROGRAM", 1, 23, "more than one PROGRAM", "A, B"),
    ("PROGRAM P VAR x : ARRAY [5..1] OF INT; END_VAR END_PROGRAM", 1, 26, "lower bound 5 is above", ""),
    ("TYPE E : (A, B, A); END_TYPE PROGRAM P END_PROGRAM", 1, 17, "A stands twice", ""),
    ("TYPE E : (A, B); END_TYPE PROGRAM P VAR e : E; END_VAR e := 3; END_PROGRAM", 1, 61, "a value of E", "A, B"),
    ("PROGRAM P VAR_EXTERNAL cycle_tim : TIME; END_VAR END_PROGRAM", 1, 24, "no external variable", "CYCLE_TIME"),
    ("PROGRAM P VAR x : INT (1..5); END_VAR x := 7; END_PROGRAM", 1, 44, "7 is outside 1..5", ""),
    ("PROGRAM P (* never closed", 1, 11, "comment opened with (* is never closed", ""),
    ("CLASS C END_CLASS", 1, 1, "CLASS is not supported", ""),
    (BLOCK + "PROGRAM P VAR b : B; END_VAR b(q := 5); END_PROGRAM", 1, 104, "needs a variable", ""),
    (BLOCK + "PROGRAM P VAR b : B; END_VAR b(); END_PROGRAM", 1, 102, "B needs its VAR_IN_OUT q", ""),
]
CASES = [(f"{HEAD}{text}\nEND_PROGRAM", *rest) for text, *rest in STATEMENTS] + TEXTS


@pytest.mark.parametrize(("text", "line", "column", "found", "hint"), CASES, ids=[str(n) for n in range(len(CASES))])
def test_wrong_program_gives_its_message(text: str, line: int, column: int, found: str, hint: str) -> None:
    with pytest.raises(ProgramError) as caught:
        compile_program(text, "wrong.st")
    matching = [f for f in caught.value.findings if f.startswith(f"wrong.st:{line}:{column}: ")]
    assert matching, caught.value.findings
    head, shown, caret = matching[0].split("\n")
    assert found in head and hint in head
    assert shown[4:] == text.split("\n")[line - 1]
    assert caret.index("^") == 4 + column - 1
    assert len(caught.value.findings) <= 2  # one mistake must not drag a row of others behind it


def test_all_errors_are_reported_not_only_the_first() -> None:
    text = "PROGRAM P\nVAR x : INT; b : BOOL; END_VAR\nx := ;\nIF x THEN b := 3; END_IF;\ny := 1;\nx := b\n;END_PROGRAM"
    with pytest.raises(ProgramError) as caught:
        compile_program(text, "p.st")
    places = [f.split(": ")[0] for f in caught.value.findings]
    assert places == ["p.st:3:6", "p.st:4:4", "p.st:4:16", "p.st:5:1", "p.st:6:6"]
    assert str(caught.value).count("^") >= 5


@pytest.mark.parametrize(
    ("body", "declare", "warning"),
    [
        ("x := 1;", "x : INT;", "x is written but never read"),
        ("y := x;", "x : INT;", "x is read but never written"),
        ("y := 1;", "x : INT;", "x is never used"),
        ("RETURN; y := 1;", "", "can never be reached"),
        ("IF FALSE THEN y := 1; END_IF;", "", "its condition is always FALSE"),
        ("IF TRUE THEN y := 1; ELSE y := 2; END_IF;", "", "this ELSE can never be reached"),
        ("WHILE FALSE DO y := 1; END_WHILE;", "", "this loop can never be entered"),
        ("WHILE TRUE DO y := y + 1; END_WHILE; y := 0;", "", "can never be reached"),
        ("FOR x := 1 TO 3 DO EXIT; y := 1; END_FOR;", "x : INT;", "can never be reached"),
        ("CASE y OF 1..5: y := 2; 3: y := 1; END_CASE;", "", "overlaps an earlier one"),
        ("y := x; x := y;", "END_VAR VAR_TEMP x : INT;", "x may be read before it is written"),
        ("IF y > 1 THEN x := 1; END_IF; y := x;", "END_VAR VAR_TEMP x : INT;", "x may be read before it is written"),
        ("r := 1/2;", "END_VAR VAR_OUTPUT r : REAL;", "1/2 of integers is 0"),
        ("y := 1;", "x : INT; {colour 'red'}", "pragma {colour 'red'} is not known"),
        ("y := x;", "x : INT := 1; {operator 0..2}", "counts only for a VAR_INPUT"),
        ("t := T#1.5ms;", "END_VAR VAR_OUTPUT t : TIME;", "rounded to 2 ms"),
        ("y := LIMIT(5, y, 1);", "", "lower limit 5 is above upper limit 1"),
        ("y := F();", "END_VAR END_PROGRAM FUNCTION F : INT VAR", "F never assigns its result"),
    ],
)
def test_warnings(body: str, declare: str, warning: str) -> None:
    text = f"PROGRAM P VAR_OUTPUT y : INT; END_VAR VAR {declare} END_VAR\n{body}\nEND_PROGRAM"
    if "FUNCTION F" in declare:
        text = (
            "PROGRAM P VAR_OUTPUT y : INT; END_VAR\ny := F();\nEND_PROGRAM "
            "FUNCTION F : INT VAR_INPUT k : INT; END_VAR ; END_FUNCTION"
        )
    program = compile_program(text, "p.st")
    assert any(warning in w for w in program.warnings), program.warnings
    assert all(w.startswith("p.st:") and "warning: " in w and "^" in w for w in program.warnings)


def test_a_clean_program_gives_no_warning() -> None:
    text = (
        "PROGRAM P VAR_INPUT level : REAL; END_VAR VAR_OUTPUT run : BOOL; n : INT; END_VAR "
        "VAR t : TON; k : INT; END_VAR "
        "VAR_TEMP high : BOOL; END_VAR high := level > 2.0; t(IN := high, PT := T#5s); run := t.Q; "
        "IF run THEN k := k + 1; ELSE k := 0; END_IF; n := k; END_PROGRAM"
    )
    assert compile_program(text).warnings == []


def test_deep_nesting_is_refused_not_a_crash() -> None:
    for text in ("(" * 5000, "NOT " * 5000, "IF TRUE THEN " * 5000, "-" * 5000 + "1"):
        with pytest.raises(ProgramError, match="nested deeper"):
            compile_program(f"PROGRAM P VAR x : INT; END_VAR x := {text}; END_PROGRAM".replace("x := IF", "IF"))
