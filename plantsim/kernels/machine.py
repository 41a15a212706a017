"""The control-program machine: runs compiled Structured Text inside the simulation kernel.

`scan` interprets the rows of `plantsim.opcodes` over plant memory. Dispatch is one chain of comparisons on
the opcode, which LLVM turns into a jump table; every row is typed, so there is no run-time type test.
Nothing is allocated and nothing is raised: a fault ends the scan with a status.

Source: the operations follow IEC 61131-3, third edition (2013), clauses 6.6.2.5 (standard functions), 6.6.3.5
(standard function blocks) and 7.3.3 (statements), as recalled; the choices it leaves open are listed in
`plantsim.st`.
"""

from __future__ import annotations

import math

import numpy as np

from plantsim import opcodes as op
from plantsim.jit import kernel, part, shared

_SIGN = np.int64(-(2**63))
_U1 = np.uint64(1)
_U2 = np.uint64(2)
_U3 = np.uint64(3)
_U4 = np.uint64(4)
_U5 = np.uint64(5)
_U7 = np.uint64(7)
_U11 = np.uint64(11)


@kernel
def _divide(x, y):
    """Quotient toward zero of two signed integers, y not zero; the lowest value over -1 wraps."""
    if y == -1:
        return -x
    q = x // y
    if q * y != x and (x < 0) != (y < 0):
        q += 1
    return q


@kernel
def _divide_unsigned(x, y):
    """Quotient of two unsigned integers held as signed bits, y not zero."""
    return np.int64(np.uint64(x) // np.uint64(y))


@kernel
def _power(x, n):
    """Integer power by repeated squaring, wrapping in 64 bits; for n < 0 the quotient 1 / x**-n toward zero."""
    if n < 0:
        if x == 1:
            return np.int64(1)
        if x == -1:
            return np.int64(1) - ((n & 1) << 1)
        return np.int64(0)
    result = np.int64(1)
    while n > 0:
        if n & 1:
            result = result * x
        x = x * x
        n >>= 1
    return result


@kernel
def _shift_right(x, n):
    """Shift right without sign; 0 outside 0..63."""
    if n < 0 or n > 63:
        return np.int64(0)
    if n == 0:
        return x
    return (x >> n) & ((np.int64(1) << (64 - n)) - 1)


@kernel
def _rotate(x, n, width):
    """Rotate the low `width` bits of x left by n, any sign of n."""
    n = n % width
    if n == 0:
        return x
    high = x << n
    if width < 64:
        high &= (np.int64(1) << width) - 1
    return high | _shift_right(x, width - n)


@kernel
def _to_integer(x, low, high):
    """Round half to even and hold within low..high; not-a-number gives 0."""
    if x != x:
        return np.int64(0)
    r = np.rint(x)
    if r <= np.float64(low):
        return np.int64(low)
    if r >= np.float64(high):
        return np.int64(high)
    return np.int64(r)


@kernel
def _to_unsigned(x):
    """Round half to even and hold within 0..2**64-1 (as signed bits); not-a-number gives 0."""
    if x != x:
        return np.int64(0)
    r = np.rint(x)
    if r <= 0.0:
        return np.int64(0)
    if r >= 18446744073709551616.0:
        return np.int64(-1)
    if r >= 9223372036854775808.0:
        return np.int64(r - 9223372036854775808.0) ^ _SIGN
    return np.int64(r)


@kernel
def _counter(imem, f, code, low, high):
    """Run an up-counter, down-counter or up-down counter whose frame starts at f."""
    if code == op.CTU:
        if imem[f + 2]:
            imem[f + 5] = 0
        elif imem[f + 1] and not imem[f + 6] and imem[f + 5] < high:
            imem[f + 5] += 1
        imem[f + 6] = imem[f + 1]
        imem[f + 4] = imem[f + 5] >= imem[f + 3]
    elif code == op.CTD:
        if imem[f + 2]:
            imem[f + 5] = imem[f + 3]
        elif imem[f + 1] and not imem[f + 6] and imem[f + 5] > low:
            imem[f + 5] -= 1
        imem[f + 6] = imem[f + 1]
        imem[f + 4] = imem[f + 5] <= 0
    else:
        up = imem[f + 1] and not imem[f + 9]
        down = imem[f + 2] and not imem[f + 10]
        if imem[f + 3]:
            imem[f + 8] = 0
        elif imem[f + 4]:
            imem[f + 8] = imem[f + 5]
        elif up and not down and imem[f + 8] < high:
            imem[f + 8] += 1
        elif down and not up and imem[f + 8] > low:
            imem[f + 8] -= 1
        imem[f + 9] = imem[f + 1]
        imem[f + 10] = imem[f + 2]
        imem[f + 6] = imem[f + 8] >= imem[f + 5]
        imem[f + 7] = imem[f + 8] <= 0


@part
def _on_delay(imem, f, now):
    """TON: Q follows IN when IN has been TRUE for PT. State 0 idle, 1 timing, 2 done."""
    if not imem[f + 1]:
        imem[f + 3] = 0
        imem[f + 4] = 0
        imem[f + 6] = 0
        return
    if imem[f + 6] == 0:
        imem[f + 5] = now
        imem[f + 6] = 1
    if imem[f + 6] == 1:
        elapsed = now - imem[f + 5]
        if elapsed >= imem[f + 2]:
            elapsed = max(imem[f + 2], 0)
            imem[f + 3] = 1
            imem[f + 6] = 2
        imem[f + 4] = elapsed


@kernel
def _off_delay(imem, f, now):
    """TOF: Q drops when IN has been FALSE for PT. State 0 armed, 1 timing, 2 done."""
    if imem[f + 1]:
        imem[f + 3] = 1
        imem[f + 4] = 0
        imem[f + 6] = 0
        return
    if imem[f + 3]:
        if imem[f + 6] == 0:
            imem[f + 5] = now
            imem[f + 6] = 1
        elapsed = now - imem[f + 5]
        if elapsed >= imem[f + 2]:
            elapsed = max(imem[f + 2], 0)
            imem[f + 3] = 0
            imem[f + 6] = 2
        imem[f + 4] = elapsed


@kernel
def _pulse(imem, f, now):
    """TP: one pulse of length PT from a rising IN. State 0 idle, 1 in the pulse, 2 waiting for IN to fall."""
    if imem[f + 6] == 0 and imem[f + 1]:
        imem[f + 5] = now
        imem[f + 6] = 1
    if imem[f + 6] == 1:
        elapsed = now - imem[f + 5]
        imem[f + 3] = 1
        if elapsed >= imem[f + 2]:
            elapsed = max(imem[f + 2], 0)
            imem[f + 3] = 0
            imem[f + 6] = 2
        imem[f + 4] = elapsed
    if imem[f + 6] == 2 and not imem[f + 1]:
        imem[f + 4] = 0
        imem[f + 6] = 0


@shared
def scan(code, mem, imem, pc0, base, cycle_ms, budget):
    """Run one scan of one program.

    Parameters
    ----------
    code : int32[n, 4]
        Rows of all programs.
    mem, imem : float64[:], int64[:]
        Memory of the whole plant and the integer view of the same bytes.
    pc0 : int
        First row of this program in `code` [-].
    base : int
        First cell of this program's frame in `mem` [-].
    cycle_ms : int
        Time since the program's scan before [ms].
    budget : int
        Backward jumps allowed in this scan [-].

    Returns
    -------
    int64
        0, or the fault kind in the low byte and the row, counted from pc0, above it [-].
    """
    base0 = base
    if imem[base]:
        imem[base + op.CLOCK] += cycle_ms
    rows = code.reshape(code.size)
    pc = np.int64(pc0)
    kind = 0
    while True:
        at = np.uint64(pc << 2)
        o = rows[at]
        ra = np.int64(rows[at | _U1])
        rb = np.int64(rows[at | _U2])
        rc = np.int64(rows[at | _U3])
        a = np.uint64(base + ra)  # unsigned, so that no index is tested for counting from the end
        b = np.uint64(base + rb)
        c = np.uint64(base + rc)
        if o == op.MOVE:
            imem[a] = imem[b]
        elif o == op.ADD_R:
            mem[a] = np.float64(np.float32(mem[b] + mem[c]))
        elif o == op.SUB_R:
            mem[a] = np.float64(np.float32(mem[b] - mem[c]))
        elif o == op.MUL_R:
            mem[a] = np.float64(np.float32(mem[b] * mem[c]))
        elif o == op.DIV_R:
            mem[a] = np.float64(np.float32(mem[b] / mem[c]))
        elif o == op.ADD_F:
            mem[a] = mem[b] + mem[c]
        elif o == op.SUB_F:
            mem[a] = mem[b] - mem[c]
        elif o == op.MUL_F:
            mem[a] = mem[b] * mem[c]
        elif o == op.DIV_F:
            mem[a] = mem[b] / mem[c]
        elif o == op.MIN_F:
            mem[a] = mem[c] if mem[c] < mem[b] else mem[b]
        elif o == op.MAX_F:
            mem[a] = mem[c] if mem[c] > mem[b] else mem[b]
        elif o == op.NEG_F:
            mem[a] = -mem[b]
        elif o == op.ABS_F:
            mem[a] = abs(mem[b])
        elif o == op.ROUND_R:
            mem[a] = np.float64(np.float32(mem[b]))
        elif o == op.JUMP:
            pc += ra
        elif o == op.JUMP_TRUE:
            if imem[a]:
                pc += rc
        elif o == op.JUMP_FALSE:
            if not imem[a]:
                pc += rc
        elif o == op.JUMP_EQ_I:
            if imem[a] == imem[b]:
                pc += rc
        elif o == op.JUMP_EQ_F:
            if mem[a] == mem[b]:
                pc += rc
        elif o == op.EQ_I:
            imem[a] = imem[b] == imem[c]
        elif o == op.EQ_F:
            imem[a] = mem[b] == mem[c]
        elif o == op.JUMP_NE_I:
            if imem[a] != imem[b]:
                pc += rc
        elif o == op.JUMP_NE_F:
            if mem[a] != mem[b]:
                pc += rc
        elif o == op.NE_I:
            imem[a] = imem[b] != imem[c]
        elif o == op.NE_F:
            imem[a] = mem[b] != mem[c]
        elif o == op.JUMP_LT_I:
            if imem[a] < imem[b]:
                pc += rc
        elif o == op.JUMP_LT_F:
            if mem[a] < mem[b]:
                pc += rc
        elif o == op.LT_I:
            imem[a] = imem[b] < imem[c]
        elif o == op.LT_F:
            imem[a] = mem[b] < mem[c]
        elif o == op.JUMP_LT_U:
            if (imem[a] ^ _SIGN) < (imem[b] ^ _SIGN):
                pc += rc
        elif o == op.LT_U:
            imem[a] = (imem[b] ^ _SIGN) < (imem[c] ^ _SIGN)
        elif o == op.JUMP_NLT_F:
            if not (mem[a] < mem[b]):
                pc += rc
        elif o == op.JUMP_LE_I:
            if imem[a] <= imem[b]:
                pc += rc
        elif o == op.JUMP_LE_F:
            if mem[a] <= mem[b]:
                pc += rc
        elif o == op.LE_I:
            imem[a] = imem[b] <= imem[c]
        elif o == op.LE_F:
            imem[a] = mem[b] <= mem[c]
        elif o == op.JUMP_LE_U:
            if (imem[a] ^ _SIGN) <= (imem[b] ^ _SIGN):
                pc += rc
        elif o == op.LE_U:
            imem[a] = (imem[b] ^ _SIGN) <= (imem[c] ^ _SIGN)
        elif o == op.JUMP_NLE_F:
            if not (mem[a] <= mem[b]):
                pc += rc
        elif o == op.AND_I:
            imem[a] = imem[b] & imem[c]
        elif o == op.OR_I:
            imem[a] = imem[b] | imem[c]
        elif o == op.XOR_I:
            imem[a] = imem[b] ^ imem[c]
        elif o == op.NOT_B:
            imem[a] = imem[b] == 0
        elif o == op.SELECT:
            if imem[b]:
                imem[a] = imem[c]
        elif o == op.ADD_I:
            imem[a] = imem[b] + imem[c]
        elif o == op.ADD_I16:
            imem[a] = np.int64(np.int16(imem[b] + imem[c]))
        elif o == op.ADD_I32:
            imem[a] = np.int64(np.int32(imem[b] + imem[c]))
        elif o == op.SUB_I:
            imem[a] = imem[b] - imem[c]
        elif o == op.SUB_I16:
            imem[a] = np.int64(np.int16(imem[b] - imem[c]))
        elif o == op.SUB_I32:
            imem[a] = np.int64(np.int32(imem[b] - imem[c]))
        elif o == op.MUL_I:
            imem[a] = imem[b] * imem[c]
        elif o == op.MUL_I16:
            imem[a] = np.int64(np.int16(imem[b] * imem[c]))
        elif o == op.MUL_I32:
            imem[a] = np.int64(np.int32(imem[b] * imem[c]))
        elif o == op.WRAP_8:
            imem[a] = np.int64(np.int8(imem[b]))
        elif o == op.WRAP_16:
            imem[a] = np.int64(np.int16(imem[b]))
        elif o == op.WRAP_32:
            imem[a] = np.int64(np.int32(imem[b]))
        elif o == op.LOAD_X:
            imem[a] = imem[np.uint64(base + imem[b] + rc)]
        elif o == op.STORE_X:
            imem[np.uint64(base + imem[b] + rc)] = imem[a]
        elif o == op.LOAD_P:
            imem[a] = imem[base0 + imem[b] + rc]
        elif o == op.STORE_P:
            imem[base0 + imem[b] + rc] = imem[a]
        elif o == op.ADDRESS:
            imem[a] = base - base0 + rc
        elif o == op.ADDRESS_X:
            imem[a] = base - base0 + imem[b] + rc
        elif o == op.COPY:
            for i in range(rc):
                imem[a + i] = imem[b + i]
        elif o == op.COPY_P:
            to = base0 + imem[a]
            source = base0 + imem[b]
            for i in range(rc):
                imem[to + i] = imem[source + i]
        elif o == op.INDEX:
            k = imem[b] - imem[c]
            if k < 0 or k >= imem[c + 1]:
                kind = op.FAULT_INDEX
                break
            imem[a] = k * imem[c + 2]
        elif o == op.INDEX_ADD:
            k = imem[b] - imem[c]
            if k < 0 or k >= imem[c + 1]:
                kind = op.FAULT_INDEX
                break
            imem[a] += k * imem[c + 2]
        elif o == op.CHECK:
            if imem[a] < imem[b] or imem[a] > imem[b + 1]:
                kind = op.FAULT_RANGE
                break
        elif o == op.CALL:
            imem[b] = (rb << 32) | (pc - pc0)
            base += rb
            pc += ra
        elif o == op.CALL_X:
            step = imem[b] + rc
            base += step
            imem[base] = (step << 32) | (pc - pc0)
            pc += ra
        elif o == op.CALL_P:
            step = base0 + imem[b] + rc - base
            base += step
            imem[base] = (step << 32) | (pc - pc0)
            pc += ra
        elif o == op.RETURN:
            link = imem[base]
            imem[base] = 0
            pc = pc0 + (link & 0xFFFFFFFF)
            base -= link >> 32
        elif o == op.LOOP:
            budget -= 1
            if budget < 0:
                kind = op.FAULT_BUDGET
                break
            pc += ra
        elif o == op.FOR_TEST:
            if (imem[b + 1] >= 0 and imem[a] > imem[b]) or (imem[b + 1] < 0 and imem[a] < imem[b]):
                pc += rc
        elif o == op.FOR_NEXT:
            step = imem[b + 1]
            k = imem[a] + step
            imem[a] = k
            if step >= 0:
                again = k <= imem[b] and k >= k - step
            else:
                again = k >= imem[b] and k <= k - step
            if again:
                budget -= 1
                if budget < 0:
                    kind = op.FAULT_BUDGET
                    break
                pc += rc
        elif o == op.DIV_I:
            if imem[c] == 0:
                kind = op.FAULT_DIVISION
                break
            imem[a] = _divide(imem[b], imem[c])
        elif o == op.DIV_U:
            if imem[c] == 0:
                kind = op.FAULT_DIVISION
                break
            imem[a] = _divide_unsigned(imem[b], imem[c])
        elif o == op.MOD_I:
            if imem[c] == 0:
                imem[a] = 0
            else:
                imem[a] = imem[b] - _divide(imem[b], imem[c]) * imem[c]
        elif o == op.MOD_U:
            if imem[c] == 0:
                imem[a] = 0
            else:
                imem[a] = imem[b] - _divide_unsigned(imem[b], imem[c]) * imem[c]
        elif o == op.POW_I:
            if imem[b] == 0 and imem[c] < 0:
                kind = op.FAULT_DIVISION
                break
            imem[a] = _power(imem[b], imem[c])
        elif o == op.NEG_I:
            imem[a] = -imem[b]
        elif o == op.ABS_I:
            imem[a] = abs(imem[b])
        elif o == op.MIN_I:
            imem[a] = min(imem[b], imem[c])
        elif o == op.MAX_I:
            imem[a] = max(imem[b], imem[c])
        elif o == op.MIN_U:
            imem[a] = imem[c] if (imem[c] ^ _SIGN) < (imem[b] ^ _SIGN) else imem[b]
        elif o == op.MAX_U:
            imem[a] = imem[c] if (imem[c] ^ _SIGN) > (imem[b] ^ _SIGN) else imem[b]
        elif o == op.SHL:
            imem[a] = imem[b] << imem[c] if 0 <= imem[c] <= 63 else 0
        elif o == op.SHR:
            imem[a] = _shift_right(imem[b], imem[c])
        elif o == op.ROL_8:
            imem[a] = _rotate(imem[b], imem[c], 8)
        elif o == op.ROL_16:
            imem[a] = _rotate(imem[b], imem[c], 16)
        elif o == op.ROL_32:
            imem[a] = _rotate(imem[b], imem[c], 32)
        elif o == op.ROL_64:
            imem[a] = _rotate(imem[b], imem[c], 64)
        elif o == op.POW_F:
            mem[a] = math.pow(mem[b], mem[c])
        elif o == op.POW_R:
            mem[a] = np.float64(np.float32(math.pow(mem[b], mem[c])))
        elif o == op.SQRT_F:
            mem[a] = math.sqrt(mem[b])
        elif o == op.LN_F:
            mem[a] = math.log(mem[b])
        elif o == op.LOG_F:
            mem[a] = math.log10(mem[b])
        elif o == op.EXP_F:
            mem[a] = math.exp(mem[b])
        elif o == op.SIN_F:
            mem[a] = math.sin(mem[b])
        elif o == op.COS_F:
            mem[a] = math.cos(mem[b])
        elif o == op.TAN_F:
            mem[a] = math.tan(mem[b])
        elif o == op.ASIN_F:
            mem[a] = math.asin(mem[b])
        elif o == op.ACOS_F:
            mem[a] = math.acos(mem[b])
        elif o == op.ATAN_F:
            mem[a] = math.atan(mem[b])
        elif o == op.ATAN2_F:
            mem[a] = math.atan2(mem[b], mem[c])
        elif o == op.I_TO_F:
            mem[a] = np.float64(imem[b])
        elif o == op.U_TO_F:
            mem[a] = np.float64(np.uint64(imem[b]))
        elif o == op.F_TO_I:
            imem[a] = _to_integer(mem[b], imem[c], imem[c + 1])
        elif o == op.F_TO_U:
            imem[a] = _to_unsigned(mem[b])
        elif o == op.TRUNC_F:
            mem[a] = np.trunc(mem[b])
        elif o == op.CYCLE:
            imem[a] = cycle_ms
        elif o == op.FIRST:
            imem[a] = imem[base0] == 0
        elif o == op.SR:
            imem[a + 3] = imem[a + 1] | (imem[a + 3] & (imem[a + 2] ^ 1))
        elif o == op.RS:
            imem[a + 3] = (imem[a + 2] ^ 1) & (imem[a + 1] | imem[a + 3])
        elif o == op.R_TRIG:
            imem[a + 2] = imem[a + 1] & (imem[a + 3] ^ 1)
            imem[a + 3] = imem[a + 1]
        elif o == op.F_TRIG:
            imem[a + 2] = (imem[a + 1] | imem[a + 3]) ^ 1
            imem[a + 3] = imem[a + 1] ^ 1
        elif o == op.CTU:
            _counter(imem, np.int64(a), op.CTU, imem[b], imem[b + 1])
        elif o == op.CTD:
            _counter(imem, np.int64(a), op.CTD, imem[b], imem[b + 1])
        elif o == op.CTUD:
            _counter(imem, np.int64(a), op.CTUD, imem[b], imem[b + 1])
        elif o == op.TP:
            _pulse(imem, np.int64(a), imem[base0 + op.CLOCK])
        elif o == op.TON:
            _on_delay(imem, np.int64(a), imem[base0 + op.CLOCK])
        elif o == op.TOF:
            _off_delay(imem, np.int64(a), imem[base0 + op.CLOCK])
        elif o == op.MOVES:
            imem[a] = imem[b]
            for _ in range(rc):
                at += _U4
                imem[np.uint64(base + rows[at | _U1])] = imem[np.uint64(base + rows[at | _U2])]
            pc += rc
        elif o == op.MOVE_TON:
            imem[a] = imem[b]
            _on_delay(imem, np.int64(base + rows[at + _U5]), imem[base0 + op.CLOCK])
            pc += 1
        elif o == op.MAX_MIN:
            mem[a] = mem[c] if mem[c] > mem[b] else mem[b]
            at += _U4
            x = mem[np.uint64(base + rows[at | _U2])]
            y = mem[np.uint64(base + rows[at | _U3])]
            mem[np.uint64(base + rows[at | _U1])] = y if y < x else x
            pc += 1
        elif o == op.NOT_AND:
            imem[a] = imem[b] == 0
            at += _U4
            k = imem[np.uint64(base + rows[at | _U2])] & imem[np.uint64(base + rows[at | _U3])]
            imem[np.uint64(base + rows[at | _U1])] = k
            pc += 1
        elif o == op.INDEX_LOAD:
            k = imem[b] - imem[c]
            if k < 0 or k >= imem[c + 1]:
                kind = op.FAULT_INDEX
                break
            k *= imem[c + 2]
            imem[a] = k
            at += _U4
            imem[np.uint64(base + rows[at | _U1])] = imem[np.uint64(base + k + rows[at | _U3])]
            pc += 1
        elif o == op.INDEX_TEST:
            k = imem[b] - imem[c]
            if k < 0 or k >= imem[c + 1]:
                kind = op.FAULT_INDEX
                break
            k *= imem[c + 2]
            imem[a] = k
            at += _U4
            k = imem[np.uint64(base + k + rows[at | _U3])]
            imem[np.uint64(base + rows[at | _U1])] = k
            pc += 2
            if not k:
                pc += rows[(at + _U4) | _U3]
        elif o == op.SEEK:
            to = np.uint64(base + rows[at + _U5])
            source = base + rows[at + _U7]
            far = pc + 3 + rows[at + _U11]  # row of the FOR_NEXT
            at = np.uint64(far << 2)
            counter = np.uint64(base + rows[at | _U1])
            limit = np.uint64(base + rows[at | _U2])
            while True:
                k = imem[b] - imem[c]
                if k < 0 or k >= imem[c + 1]:
                    kind = op.FAULT_INDEX
                    break
                k *= imem[c + 2]
                imem[a] = k
                k = imem[np.uint64(source + k)]
                imem[to] = k
                if k:
                    pc += 2
                    break
                step = imem[limit + 1]
                k = imem[counter] + step
                imem[counter] = k
                if step >= 0:
                    again = k <= imem[limit] and k >= k - step
                else:
                    again = k >= imem[limit] and k <= k - step
                if not again:
                    pc = far
                    break
                budget -= 1
                if budget < 0:
                    kind = op.FAULT_BUDGET
                    pc = far
                    break
            if kind != 0:
                break
        elif o == op.MOVE_TEST:
            imem[a] = imem[b]
            at += _U4
            pc += 1
            if not imem[np.uint64(base + rows[at | _U1])]:
                pc += rows[at | _U3]
        elif o == op.MOVE_PICK:
            imem[a] = imem[b]
            at += _U4
            if imem[np.uint64(base + rows[at | _U2])]:
                imem[np.uint64(base + rows[at | _U1])] = imem[np.uint64(base + rows[at | _U3])]
            pc += 1
        elif o == op.NOT_TON:
            imem[a] = imem[b] == 0
            at += _U4
            imem[np.uint64(base + rows[at | _U1])] = imem[np.uint64(base + rows[at | _U2])]
            _on_delay(imem, np.int64(base + rows[at + _U5]), imem[base0 + op.CLOCK])
            pc += 2
        elif o == op.LE_TON:
            imem[a] = mem[b] <= mem[c]
            at += _U4
            imem[np.uint64(base + rows[at | _U1])] = imem[np.uint64(base + rows[at | _U2])]
            _on_delay(imem, np.int64(base + rows[at + _U5]), imem[base0 + op.CLOCK])
            pc += 2
        elif o == op.END:
            imem[base0] = 1
            return np.int64(0)
        else:
            kind = op.FAULT_OPCODE
            break
        pc += 1
    return np.int64(kind) | ((pc - pc0) << 8)
