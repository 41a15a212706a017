"""Structured Text after IEC 61131-3, third edition (2013): compiler, messages, reference interpreter.

What the standard leaves to the implementer is settled here as follows (clause numbers from memory).

* **REAL** is 32 bits wide: every operation is done in 64 bits and its result rounded to 32, half to even. A
  REAL cell holds that value as a 64-bit float, so the plant may also put an unrounded measurement there; the
  first operation on it rounds. LREAL is 64 bits. Both follow IEC 60559: division by zero and SQRT of a
  negative number give infinity or not-a-number and never stop a scan.
* **Integers wrap** on overflow, in their own width. Division by zero stops the scan with a fault that names
  the line; MOD by zero gives 0, as the standard says. Division rounds toward zero. `a ** b` of integers is an
  integer; a negative exponent gives 0 (1 or -1 for a base of 1 or -1), a fault for base 0.
* **Conversions** from REAL round half to even and stop at the ends of the target's range (not-a-number gives
  0); TRUNC cuts. Conversions between integers keep the low bits. TIME counts milliseconds, also in X_TO_TIME
  and TIME_TO_X. An implicit conversion is made only where the standard's Figure 11 has one.
* **AND and OR of BOOL stop early**: the right side is evaluated only when it matters. The function forms
  AND(a, b) and OR(a, b) evaluate everything.
* **Arrays**: an index outside its bounds, and a MUX selector without an input, stop the scan with a fault. So
  does a value outside its subrange, checked when it is stored.
* **FOR**: limits are evaluated once. The counter may not be assigned in the loop; after the loop it stands at
  the first value past the limit, wrapped to its width.
* **Loops** share a budget of backward jumps for each scan; when it is used up, the scan stops with a fault at
  the loop. Recursion is refused, so that nothing else can run for ever.
* **Time** is that of the controller: timers measure from the scan's start, however often they are called. A
  preset changed while a timer runs counts at once; after it has run out, only the next start counts it. A
  negative preset counts as zero. CYCLE_TIME (TIME since the scan before) and FIRST_SCAN (BOOL) are there
  through VAR_EXTERNAL.
* **Edges**: R_TRIG with CLK TRUE and F_TRIG with CLK FALSE give Q in the first call, as their bodies in the
  standard do. CTUD does not count when both inputs rise together. Counters stop at the ends of their type.
* **VAR_IN_OUT** of a function or block is a reference. A block's inputs may be assigned from outside, its
  outputs only read, its other variables neither.
* **A unit** is given by a pragma behind the declaration, `level : REAL; {unit 'm'} // text`; the comment is
  kept as the variable's description.
* **What an operator may change** while the program runs is marked by another pragma, `{operator}`, or with its
  range in that unit: `setpoint : REAL := 1.8; {unit 'm'} {operator 0.5..4}`. It changes no code.

Not supported, and refused by name: STRING and characters, dates, LTIME, references, direct addresses, bit
access, EN/ENO, edge qualifiers, VAR_GLOBAL, configurations, object orientation, sequential function charts.
"""

from .program import Place, Program, Variable, compile_program

__all__ = ["Place", "Program", "Variable", "compile_program"]
