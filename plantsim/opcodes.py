"""Instruction set of the control-program machine: the one table the compiler and the kernel share.

A program is an int32 array with four columns: opcode, a, b, c. A *cell* operand is an index into the
memory of the running frame (program, function or function block); a *jump* is counted from the following
row, so a program can be moved and concatenated freely. Floats live in the float64 view of the memory;
everything else lives in the int64 view of the same bytes.

The numbers are dense from zero so that the machine's chain of comparisons becomes one jump table. Suffixes:
`_I` signed 64-bit, `_U` unsigned 64-bit, `_F` 64-bit float, `_R` 64-bit operation rounded to 32 bits,
`_X` address relative to the frame, `_P` address relative to the program (a pointer).

The last eleven do the work of several rows that stand together, to save the machine the way from one to the next
(`plantsim.st.joining`). The rows they take in stay where they are: a jump into their midst finds them as they were.
"""

from __future__ import annotations

from typing import NamedTuple


class Opcode(NamedTuple):
    """One row of the instruction table."""

    name: str
    operands: str  # one letter each for a, b, c: see OPERAND_KINDS
    meaning: str


#: what an operand letter means: d written cell, s read cell, m read and written cell, k first of two or three
#: read cells, f first cell of a function-block frame, j jump from the next row, n plain number, . unused
OPERAND_KINDS = "dsmkfjn."

_ROWS = """
END        ...  the scan is complete
JUMP       j..  go on at the target
LOOP       j..  go back to the target; one loop pass of the scan budget
FOR_TEST   skj  leave the loop when a is past limit b[0] in the direction of step b[1]
FOR_NEXT   mkj  a := a + step b[1]; go back unless past limit b[0]; one loop pass
JUMP_TRUE  s.j  go to the target when a is TRUE
JUMP_FALSE s.j  go to the target when a is FALSE
JUMP_EQ_I  ssj  go to the target when a = b
JUMP_NE_I  ssj  go to the target when a <> b
JUMP_LT_I  ssj  go to the target when a < b
JUMP_LE_I  ssj  go to the target when a <= b
JUMP_LT_U  ssj  go to the target when a < b
JUMP_LE_U  ssj  go to the target when a <= b
JUMP_EQ_F  ssj  go to the target when a = b
JUMP_NE_F  ssj  go to the target when a <> b
JUMP_LT_F  ssj  go to the target when a < b
JUMP_LE_F  ssj  go to the target when a <= b
JUMP_NLT_F ssj  go to the target unless a < b (taken for not-a-number)
JUMP_NLE_F ssj  go to the target unless a <= b (taken for not-a-number)
CALL       jf.  run the body at the target with the frame at b
CALL_X     jsn  run the body at the target with the frame at offset b + c from this frame
CALL_P     jsn  run the body at the target with the frame at pointer b + c
RETURN     ...  go on behind the call
MOVE       ds.  a := b
LOAD_X     dsn  a := cell at offset b + c
STORE_X    ssn  cell at offset b + c := a
LOAD_P     dsn  a := cell at pointer b + c
STORE_P    ssn  cell at pointer b + c := a
ADDRESS    d.n  a := pointer to cell c
ADDRESS_X  dsn  a := pointer to offset b + c
COPY       dsn  c cells from b to a
COPY_P     ssn  c cells from pointer b to pointer a
INDEX      dsk  a := (b - lower c[0]) * stride c[2]; fault unless below count c[1]
INDEX_ADD  msk  a := a + (b - lower c[0]) * stride c[2]; fault unless below count c[1]
CHECK      sk.  fault unless b[0] <= a <= b[1]
ADD_I      dss  a := b + c
SUB_I      dss  a := b - c
MUL_I      dss  a := b * c
DIV_I      dss  a := b / c toward zero; fault when c = 0
MOD_I      dss  a := b MOD c, 0 when c = 0
DIV_U      dss  a := b / c; fault when c = 0
MOD_U      dss  a := b MOD c, 0 when c = 0
POW_I      dss  a := b ** c; fault for 0 to a negative power
NEG_I      ds.  a := -b
ABS_I      ds.  a := ABS(b)
ADD_I16    dss  a := b + c in 16 bits
SUB_I16    dss  a := b - c in 16 bits
MUL_I16    dss  a := b * c in 16 bits
ADD_I32    dss  a := b + c in 32 bits
SUB_I32    dss  a := b - c in 32 bits
MUL_I32    dss  a := b * c in 32 bits
WRAP_8     ds.  a := b as signed 8 bits
WRAP_16    ds.  a := b as signed 16 bits
WRAP_32    ds.  a := b as signed 32 bits
MIN_I      dss  a := MIN(b, c)
MAX_I      dss  a := MAX(b, c)
MIN_U      dss  a := MIN(b, c)
MAX_U      dss  a := MAX(b, c)
MIN_F      dss  a := c when c < b, else b
MAX_F      dss  a := c when c > b, else b
EQ_I       dss  a := b = c
NE_I       dss  a := b <> c
LT_I       dss  a := b < c
LE_I       dss  a := b <= c
LT_U       dss  a := b < c
LE_U       dss  a := b <= c
EQ_F       dss  a := b = c
NE_F       dss  a := b <> c
LT_F       dss  a := b < c
LE_F       dss  a := b <= c
AND_I      dss  a := b AND c, bit by bit
OR_I       dss  a := b OR c, bit by bit
XOR_I      dss  a := b XOR c, bit by bit
NOT_B      ds.  a := NOT b for BOOL
SHL        dss  a := b shifted left by c, 0 outside 0..63
SHR        dss  a := b shifted right by c without sign, 0 outside 0..63
ROL_8      dss  a := b rotated left by c in 8 bits
ROL_16     dss  a := b rotated left by c in 16 bits
ROL_32     dss  a := b rotated left by c in 32 bits
ROL_64     dss  a := b rotated left by c in 64 bits
SELECT     mss  a := c when b is TRUE
ADD_F      dss  a := b + c
SUB_F      dss  a := b - c
MUL_F      dss  a := b * c
DIV_F      dss  a := b / c, infinite or not-a-number when c = 0
POW_F      dss  a := b ** c
ADD_R      dss  a := b + c
SUB_R      dss  a := b - c
MUL_R      dss  a := b * c
DIV_R      dss  a := b / c, infinite or not-a-number when c = 0
POW_R      dss  a := b ** c
NEG_F      ds.  a := -b
ABS_F      ds.  a := ABS(b)
ROUND_R    ds.  a := b rounded to 32 bits
SQRT_F     ds.  a := SQRT(b)
LN_F       ds.  a := LN(b)
LOG_F      ds.  a := LOG(b), base 10
EXP_F      ds.  a := EXP(b)
SIN_F      ds.  a := SIN(b)
COS_F      ds.  a := COS(b)
TAN_F      ds.  a := TAN(b)
ASIN_F     ds.  a := ASIN(b)
ACOS_F     ds.  a := ACOS(b)
ATAN_F     ds.  a := ATAN(b)
ATAN2_F    dss  a := ATAN2(b, c)
I_TO_F     ds.  a := signed b as float
U_TO_F     ds.  a := unsigned b as float
F_TO_I     dsk  a := b rounded half to even, held within c[0]..c[1], 0 for not-a-number
F_TO_U     ds.  a := b rounded half to even, held within 0..2**64-1, 0 for not-a-number
TRUNC_F    ds.  a := b without its fraction
CYCLE      d..  a := time since the scan before, in ms
FIRST      d..  a := TRUE in the first scan
SR         f..  set-dominant bistable at a
RS         f..  reset-dominant bistable at a
R_TRIG     f..  rising-edge detector at a
F_TRIG     f..  falling-edge detector at a
CTU        fk.  up-counter at a, counting up to b[1]
CTD        fk.  down-counter at a, counting down to b[0]
CTUD       fk.  up-down counter at a, counting within b[0]..b[1]
TP         f..  pulse timer at a
TON        f..  on-delay timer at a
TOF        f..  off-delay timer at a
MOVES      dsn  a := b, and so on for the c MOVE rows that follow
MOVE_TON   ds.  a := b, then the TON of the next row
MAX_MIN    dss  a := c when c > b, else b; then the MIN_F of the next row
NOT_AND    ds.  a := NOT b for BOOL; then the AND_I of the next row
INDEX_LOAD dsk  a := (b - lower c[0]) * stride c[2], then the LOAD_X of the next row; fault unless below count c[1]
INDEX_TEST dsk  INDEX_LOAD, then the JUMP_FALSE of the row after
SEEK       dsk  INDEX_TEST whose jump leads to a FOR_NEXT that comes back to it: the loop up to the first TRUE
MOVE_TEST  ds.  a := b, then the JUMP_FALSE of the next row
MOVE_PICK  ds.  a := b, then the SELECT of the next row
NOT_TON    ds.  a := NOT b for BOOL; then the MOVE and the TON of the next two rows
LE_TON     dss  a := b <= c; then the MOVE and the TON of the next two rows
"""

TABLE: tuple[Opcode, ...] = tuple(
    Opcode(*(part.strip() for part in row.split(None, 2))) for row in _ROWS.strip().splitlines()
)
NUMBER: dict[str, int] = {row.name: number for number, row in enumerate(TABLE)}

# The numbers by name, for the machine, which needs plain integer globals.
(
    END, JUMP, LOOP, FOR_TEST, FOR_NEXT, JUMP_TRUE, JUMP_FALSE, JUMP_EQ_I, JUMP_NE_I, JUMP_LT_I, JUMP_LE_I,
    JUMP_LT_U, JUMP_LE_U, JUMP_EQ_F, JUMP_NE_F, JUMP_LT_F, JUMP_LE_F, JUMP_NLT_F, JUMP_NLE_F, CALL, CALL_X,
    CALL_P, RETURN, MOVE, LOAD_X, STORE_X, LOAD_P, STORE_P, ADDRESS, ADDRESS_X, COPY, COPY_P, INDEX,
    INDEX_ADD, CHECK, ADD_I, SUB_I, MUL_I, DIV_I, MOD_I, DIV_U, MOD_U, POW_I, NEG_I, ABS_I, ADD_I16,
    SUB_I16, MUL_I16, ADD_I32, SUB_I32, MUL_I32, WRAP_8, WRAP_16, WRAP_32, MIN_I, MAX_I, MIN_U, MAX_U,
    MIN_F, MAX_F, EQ_I, NE_I, LT_I, LE_I, LT_U, LE_U, EQ_F, NE_F, LT_F, LE_F, AND_I, OR_I, XOR_I, NOT_B,
    SHL, SHR, ROL_8, ROL_16, ROL_32, ROL_64, SELECT, ADD_F, SUB_F, MUL_F, DIV_F, POW_F, ADD_R, SUB_R, MUL_R,
    DIV_R, POW_R, NEG_F, ABS_F, ROUND_R, SQRT_F, LN_F, LOG_F, EXP_F, SIN_F, COS_F, TAN_F, ASIN_F, ACOS_F,
    ATAN_F, ATAN2_F, I_TO_F, U_TO_F, F_TO_I, F_TO_U, TRUNC_F, CYCLE, FIRST, SR, RS, R_TRIG, F_TRIG, CTU,
    CTD, CTUD, TP, TON, TOF, MOVES, MOVE_TON, MAX_MIN, NOT_AND, INDEX_LOAD, INDEX_TEST, SEEK, MOVE_TEST,
    MOVE_PICK, NOT_TON, LE_TON,
) = range(133)

# Fault kinds: the low byte of a scan's status; the row (counted from the program's first) stands above it.
FAULT_DIVISION = 1
FAULT_INDEX = 2
FAULT_BUDGET = 3
FAULT_RANGE = 4
FAULT_OPCODE = 5
FAULT_TEXT = {
    FAULT_DIVISION: "integer division by zero",
    FAULT_INDEX: "array index (or MUX selector) outside its bounds",
    FAULT_BUDGET: "the loop used up the scan's budget of loop passes",
    FAULT_RANGE: "value outside its subrange",
    FAULT_OPCODE: "unknown instruction: the program memory is damaged",
}

# Frame header. Cell 0 holds the way back of a call; in a program's own frame it tells that a scan was done,
# and cell 1 is the program's clock in ms.
LINK = 0
CLOCK = 1
PROGRAM_HEADER = 2
BLOCK_HEADER = 1

# Cells of the standard function blocks, counted from the frame: inputs, outputs, then hidden state.
BLOCK_CELLS: dict[str, tuple[str, ...]] = {
    "SR": ("S1", "R", "Q1"),
    "RS": ("S", "R1", "Q1"),
    "R_TRIG": ("CLK", "Q", "_M"),
    "F_TRIG": ("CLK", "Q", "_M"),
    "CTU": ("CU", "R", "PV", "Q", "CV", "_M", "_LOW", "_HIGH"),
    "CTD": ("CD", "LD", "PV", "Q", "CV", "_M", "_LOW", "_HIGH"),
    "CTUD": ("CU", "CD", "R", "LD", "PV", "QU", "QD", "CV", "_MU", "_MD", "_LOW", "_HIGH"),
    "TP": ("IN", "PT", "Q", "ET", "_START", "_STATE"),
    "TON": ("IN", "PT", "Q", "ET", "_START", "_STATE"),
    "TOF": ("IN", "PT", "Q", "ET", "_START", "_STATE"),
}
