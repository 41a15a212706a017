/* The control-program machine: runs compiled Structured Text, as plantsim/kernels/machine.py. */
#define SIGN INT64_MIN

/* Sums and products wrap in 64 bits, which C promises only for unsigned numbers. */
static inline int64_t wrap_add(int64_t x, int64_t y) {
    return (int64_t)((uint64_t)x + (uint64_t)y);
}
static inline int64_t wrap_sub(int64_t x, int64_t y) {
    return (int64_t)((uint64_t)x - (uint64_t)y);
}
static inline int64_t wrap_mul(int64_t x, int64_t y) {
    return (int64_t)((uint64_t)x * (uint64_t)y);
}

/* Quotient toward zero of two signed integers, y not zero; the lowest value over -1 wraps. */
static inline int64_t machine_divide(int64_t x, int64_t y) {
    return y == -1 ? wrap_sub(0, x) : x / y;
}

/* Quotient of two unsigned integers held as signed bits, y not zero. */
static inline int64_t machine_divide_unsigned(int64_t x, int64_t y) {
    return (int64_t)((uint64_t)x / (uint64_t)y);
}

/* Integer power by repeated squaring, wrapping; for n < 0 the quotient 1 / x**-n toward zero. */
static int64_t machine_power(int64_t x, int64_t n) {
    if (n < 0) {
        if (x == 1) return 1;
        if (x == -1) return 1 - ((n & 1) << 1);
        return 0;
    }
    int64_t result = 1;
    while (n > 0) {
        if (n & 1) result = wrap_mul(result, x);
        x = wrap_mul(x, x);
        n >>= 1;
    }
    return result;
}

/* Shift right without sign; 0 outside 0..63. */
static inline int64_t machine_shift_right(int64_t x, int64_t n) {
    return n < 0 || n > 63 ? 0 : (int64_t)((uint64_t)x >> n);
}

/* Rotate the low `width` bits of x left by n, any sign of n. */
static int64_t machine_rotate(int64_t x, int64_t n, int64_t width) {
    n = (n % width + width) % width;
    if (n == 0) return x;
    int64_t high = (int64_t)((uint64_t)x << n);
    if (width < 64) high &= ((int64_t)1 << width) - 1;
    return high | machine_shift_right(x, width - n);
}

/* Round half to even and hold within low..high; not-a-number gives 0. */
static int64_t machine_to_integer(double x, int64_t low, int64_t high) {
    if (x != x) return 0;
    double r = rint(x);
    if (r <= (double)low) return low;
    if (r >= (double)high) return high;
    return (int64_t)r;
}

/* Round half to even and hold within 0..2**64-1 (as signed bits); not-a-number gives 0. */
static int64_t machine_to_unsigned(double x) {
    if (x != x) return 0;
    double r = rint(x);
    if (r <= 0.0) return 0;
    if (r >= 18446744073709551616.0) return -1;
    if (r >= 9223372036854775808.0) return (int64_t)(r - 9223372036854775808.0) ^ SIGN;
    return (int64_t)r;
}

/* Run an up-counter, down-counter or up-down counter whose frame starts at f. */
static void machine_counter(cell_bits *imem, int64_t f, int code, int64_t low, int64_t high) {
    cell_bits *cell = imem + f;
    if (code == OP_CTU) {
        if (cell[2])
            cell[5] = 0;
        else if (cell[1] && !cell[6] && cell[5] < high)
            cell[5]++;
        cell[6] = cell[1];
        cell[4] = cell[5] >= cell[3];
    } else if (code == OP_CTD) {
        if (cell[2])
            cell[5] = cell[3];
        else if (cell[1] && !cell[6] && cell[5] > low)
            cell[5]--;
        cell[6] = cell[1];
        cell[4] = cell[5] <= 0;
    } else {
        int up = cell[1] && !cell[9];
        int down = cell[2] && !cell[10];
        if (cell[3])
            cell[8] = 0;
        else if (cell[4])
            cell[8] = cell[5];
        else if (up && !down && cell[8] < high)
            cell[8]++;
        else if (down && !up && cell[8] > low)
            cell[8]--;
        cell[9] = cell[1];
        cell[10] = cell[2];
        cell[6] = cell[8] >= cell[5];
        cell[7] = cell[8] <= 0;
    }
}

/* TON: Q follows IN when IN has been TRUE for PT. State 0 idle, 1 timing, 2 done. */
static void machine_on_delay(cell_bits *imem, int64_t f, int64_t now) {
    cell_bits *cell = imem + f;
    if (!cell[1]) {
        cell[3] = 0;
        cell[4] = 0;
        cell[6] = 0;
        return;
    }
    if (cell[6] == 0) {
        cell[5] = now;
        cell[6] = 1;
    }
    if (cell[6] == 1) {
        int64_t elapsed = now - cell[5];
        if (elapsed >= cell[2]) {
            elapsed = max_i(cell[2], 0);
            cell[3] = 1;
            cell[6] = 2;
        }
        cell[4] = elapsed;
    }
}

/* TOF: Q drops when IN has been FALSE for PT. State 0 armed, 1 timing, 2 done. */
static void machine_off_delay(cell_bits *imem, int64_t f, int64_t now) {
    cell_bits *cell = imem + f;
    if (cell[1]) {
        cell[3] = 1;
        cell[4] = 0;
        cell[6] = 0;
        return;
    }
    if (cell[3]) {
        if (cell[6] == 0) {
            cell[5] = now;
            cell[6] = 1;
        }
        int64_t elapsed = now - cell[5];
        if (elapsed >= cell[2]) {
            elapsed = max_i(cell[2], 0);
            cell[3] = 0;
            cell[6] = 2;
        }
        cell[4] = elapsed;
    }
}

/* TP: one pulse of length PT from a rising IN. State 0 idle, 1 in the pulse, 2 waiting for IN to fall. */
static void machine_pulse(cell_bits *imem, int64_t f, int64_t now) {
    cell_bits *cell = imem + f;
    if (cell[6] == 0 && cell[1]) {
        cell[5] = now;
        cell[6] = 1;
    }
    if (cell[6] == 1) {
        int64_t elapsed = now - cell[5];
        cell[3] = 1;
        if (elapsed >= cell[2]) {
            elapsed = max_i(cell[2], 0);
            cell[3] = 0;
            cell[6] = 2;
        }
        cell[4] = elapsed;
    }
    if (cell[6] == 2 && !cell[1]) {
        cell[4] = 0;
        cell[6] = 0;
    }
}

/* Run one scan of one program; 0, or the fault kind in the low byte and the row, counted from pc0, above it.
 */
static int64_t scan(const int32_t (*code)[4], double *mem, cell_bits *imem, int64_t pc0, int64_t base,
                    int64_t cycle_ms, int64_t budget) {
    int64_t base0 = base;
    if (imem[base]) imem[base + OP_CLOCK] += cycle_ms;
    int64_t pc = pc0;
    int64_t kind;
    for (;; pc++) {
        int64_t ra = code[pc][1], rb = code[pc][2], rc = code[pc][3];
        int64_t a = base + ra, b = base + rb, c = base + rc;
        int64_t k, step, to, source, link;
        int again;
        switch (code[pc][0]) {
        case OP_MOVE:
            imem[a] = imem[b];
            break;
        case OP_ADD_R:
            mem[a] = (float)(mem[b] + mem[c]);
            break;
        case OP_SUB_R:
            mem[a] = (float)(mem[b] - mem[c]);
            break;
        case OP_MUL_R:
            mem[a] = (float)(mem[b] * mem[c]);
            break;
        case OP_DIV_R:
            mem[a] = (float)(mem[b] / mem[c]);
            break;
        case OP_ADD_F:
            mem[a] = mem[b] + mem[c];
            break;
        case OP_SUB_F:
            mem[a] = mem[b] - mem[c];
            break;
        case OP_MUL_F:
            mem[a] = mem[b] * mem[c];
            break;
        case OP_DIV_F:
            mem[a] = mem[b] / mem[c];
            break;
        case OP_MIN_F:
            mem[a] = mem[c] < mem[b] ? mem[c] : mem[b];
            break;
        case OP_MAX_F:
            mem[a] = mem[c] > mem[b] ? mem[c] : mem[b];
            break;
        case OP_NEG_F:
            mem[a] = -mem[b];
            break;
        case OP_ABS_F:
            mem[a] = fabs(mem[b]);
            break;
        case OP_ROUND_R:
            mem[a] = (float)(mem[b]);
            break;
        case OP_JUMP:
            pc += ra;
            break;
        case OP_JUMP_TRUE:
            if (imem[a]) {
                pc += rc;
            }
            break;
        case OP_JUMP_FALSE:
            if (!imem[a]) {
                pc += rc;
            }
            break;
        case OP_JUMP_EQ_I:
            if (imem[a] == imem[b]) {
                pc += rc;
            }
            break;
        case OP_JUMP_EQ_F:
            if (mem[a] == mem[b]) {
                pc += rc;
            }
            break;
        case OP_EQ_I:
            imem[a] = imem[b] == imem[c];
            break;
        case OP_EQ_F:
            imem[a] = mem[b] == mem[c];
            break;
        case OP_JUMP_NE_I:
            if (imem[a] != imem[b]) {
                pc += rc;
            }
            break;
        case OP_JUMP_NE_F:
            if (mem[a] != mem[b]) {
                pc += rc;
            }
            break;
        case OP_NE_I:
            imem[a] = imem[b] != imem[c];
            break;
        case OP_NE_F:
            imem[a] = mem[b] != mem[c];
            break;
        case OP_JUMP_LT_I:
            if (imem[a] < imem[b]) {
                pc += rc;
            }
            break;
        case OP_JUMP_LT_F:
            if (mem[a] < mem[b]) {
                pc += rc;
            }
            break;
        case OP_LT_I:
            imem[a] = imem[b] < imem[c];
            break;
        case OP_LT_F:
            imem[a] = mem[b] < mem[c];
            break;
        case OP_JUMP_LT_U:
            if ((imem[a] ^ SIGN) < (imem[b] ^ SIGN)) {
                pc += rc;
            }
            break;
        case OP_LT_U:
            imem[a] = (imem[b] ^ SIGN) < (imem[c] ^ SIGN);
            break;
        case OP_JUMP_NLT_F:
            if (!(mem[a] < mem[b])) {
                pc += rc;
            }
            break;
        case OP_JUMP_LE_I:
            if (imem[a] <= imem[b]) {
                pc += rc;
            }
            break;
        case OP_JUMP_LE_F:
            if (mem[a] <= mem[b]) {
                pc += rc;
            }
            break;
        case OP_LE_I:
            imem[a] = imem[b] <= imem[c];
            break;
        case OP_LE_F:
            imem[a] = mem[b] <= mem[c];
            break;
        case OP_JUMP_LE_U:
            if ((imem[a] ^ SIGN) <= (imem[b] ^ SIGN)) {
                pc += rc;
            }
            break;
        case OP_LE_U:
            imem[a] = (imem[b] ^ SIGN) <= (imem[c] ^ SIGN);
            break;
        case OP_JUMP_NLE_F:
            if (!(mem[a] <= mem[b])) {
                pc += rc;
            }
            break;
        case OP_AND_I:
            imem[a] = imem[b] & imem[c];
            break;
        case OP_OR_I:
            imem[a] = imem[b] | imem[c];
            break;
        case OP_XOR_I:
            imem[a] = imem[b] ^ imem[c];
            break;
        case OP_NOT_B:
            imem[a] = imem[b] == 0;
            break;
        case OP_SELECT:
            if (imem[b]) {
                imem[a] = imem[c];
            }
            break;
        case OP_ADD_I:
            imem[a] = wrap_add(imem[b], imem[c]);
            break;
        case OP_ADD_I16:
            imem[a] = (int16_t)wrap_add(imem[b], imem[c]);
            break;
        case OP_ADD_I32:
            imem[a] = (int32_t)wrap_add(imem[b], imem[c]);
            break;
        case OP_SUB_I:
            imem[a] = wrap_sub(imem[b], imem[c]);
            break;
        case OP_SUB_I16:
            imem[a] = (int16_t)wrap_sub(imem[b], imem[c]);
            break;
        case OP_SUB_I32:
            imem[a] = (int32_t)wrap_sub(imem[b], imem[c]);
            break;
        case OP_MUL_I:
            imem[a] = wrap_mul(imem[b], imem[c]);
            break;
        case OP_MUL_I16:
            imem[a] = (int16_t)wrap_mul(imem[b], imem[c]);
            break;
        case OP_MUL_I32:
            imem[a] = (int32_t)wrap_mul(imem[b], imem[c]);
            break;
        case OP_WRAP_8:
            imem[a] = (int8_t)imem[b];
            break;
        case OP_WRAP_16:
            imem[a] = (int16_t)imem[b];
            break;
        case OP_WRAP_32:
            imem[a] = (int32_t)imem[b];
            break;
        case OP_LOAD_X:
            imem[a] = imem[base + imem[b] + rc];
            break;
        case OP_STORE_X:
            imem[base + imem[b] + rc] = imem[a];
            break;
        case OP_LOAD_P:
            imem[a] = imem[base0 + imem[b] + rc];
            break;
        case OP_STORE_P:
            imem[base0 + imem[b] + rc] = imem[a];
            break;
        case OP_ADDRESS:
            imem[a] = base - base0 + rc;
            break;
        case OP_ADDRESS_X:
            imem[a] = base - base0 + imem[b] + rc;
            break;
        case OP_COPY:
            for (int64_t i = 0; i < rc; i++) {
                imem[a + i] = imem[b + i];
            }
            break;
        case OP_COPY_P:
            to = base0 + imem[a];
            source = base0 + imem[b];
            for (int64_t i = 0; i < rc; i++) {
                imem[to + i] = imem[source + i];
            }
            break;
        case OP_INDEX:
            k = imem[b] - imem[c];
            if (k < 0 || k >= imem[c + 1]) {
                kind = FAULT_INDEX;
                goto fault;
            }
            imem[a] = k * imem[c + 2];
            break;
        case OP_INDEX_ADD:
            k = imem[b] - imem[c];
            if (k < 0 || k >= imem[c + 1]) {
                kind = FAULT_INDEX;
                goto fault;
            }
            imem[a] += k * imem[c + 2];
            break;
        case OP_CHECK:
            if (imem[a] < imem[b] || imem[a] > imem[b + 1]) {
                kind = FAULT_RANGE;
                goto fault;
            }
            break;
        case OP_CALL:
            imem[b] = rb * ((int64_t)1 << 32) | (pc - pc0);
            base += rb;
            pc += ra;
            break;
        case OP_CALL_X:
            step = imem[b] + rc;
            base += step;
            imem[base] = step * ((int64_t)1 << 32) | (pc - pc0);
            pc += ra;
            break;
        case OP_CALL_P:
            step = base0 + imem[b] + rc - base;
            base += step;
            imem[base] = step * ((int64_t)1 << 32) | (pc - pc0);
            pc += ra;
            break;
        case OP_RETURN:
            link = imem[base];
            imem[base] = 0;
            pc = pc0 + (link & 0xFFFFFFFF);
            base -= link >> 32;
            break;
        case OP_LOOP:
            budget -= 1;
            if (budget < 0) {
                kind = FAULT_BUDGET;
                goto fault;
            }
            pc += ra;
            break;
        case OP_FOR_TEST:
            if ((imem[b + 1] >= 0 && imem[a] > imem[b]) || (imem[b + 1] < 0 && imem[a] < imem[b])) {
                pc += rc;
            }
            break;
        case OP_FOR_NEXT:
            step = imem[b + 1];
            k = wrap_add(imem[a], step);
            imem[a] = k;
            if (step >= 0) {
                again = k <= imem[b] && k >= wrap_sub(k, step);
            } else {
                again = k >= imem[b] && k <= wrap_sub(k, step);
            }
            if (again) {
                budget -= 1;
                if (budget < 0) {
                    kind = FAULT_BUDGET;
                    goto fault;
                }
                pc += rc;
            }
            break;
        case OP_DIV_I:
            if (imem[c] == 0) {
                kind = FAULT_DIVISION;
                goto fault;
            }
            imem[a] = machine_divide(imem[b], imem[c]);
            break;
        case OP_DIV_U:
            if (imem[c] == 0) {
                kind = FAULT_DIVISION;
                goto fault;
            }
            imem[a] = machine_divide_unsigned(imem[b], imem[c]);
            break;
        case OP_MOD_I:
            if (imem[c] == 0) {
                imem[a] = 0;
            } else {
                imem[a] = wrap_sub(imem[b], wrap_mul(machine_divide(imem[b], imem[c]), imem[c]));
            }
            break;
        case OP_MOD_U:
            if (imem[c] == 0) {
                imem[a] = 0;
            } else {
                imem[a] = (int64_t)((uint64_t)imem[b] % (uint64_t)imem[c]);
            }
            break;
        case OP_POW_I:
            if (imem[b] == 0 && imem[c] < 0) {
                kind = FAULT_DIVISION;
                goto fault;
            }
            imem[a] = machine_power(imem[b], imem[c]);
            break;
        case OP_NEG_I:
            imem[a] = wrap_sub(0, imem[b]);
            break;
        case OP_ABS_I:
            imem[a] = imem[b] < 0 ? wrap_sub(0, imem[b]) : imem[b];
            break;
        case OP_MIN_I:
            imem[a] = min_i(imem[b], imem[c]);
            break;
        case OP_MAX_I:
            imem[a] = max_i(imem[b], imem[c]);
            break;
        case OP_MIN_U:
            imem[a] = (imem[c] ^ SIGN) < (imem[b] ^ SIGN) ? imem[c] : imem[b];
            break;
        case OP_MAX_U:
            imem[a] = (imem[c] ^ SIGN) > (imem[b] ^ SIGN) ? imem[c] : imem[b];
            break;
        case OP_SHL:
            imem[a] = 0 <= imem[c] && imem[c] <= 63 ? (int64_t)((uint64_t)imem[b] << imem[c]) : 0;
            break;
        case OP_SHR:
            imem[a] = machine_shift_right(imem[b], imem[c]);
            break;
        case OP_ROL_8:
            imem[a] = machine_rotate(imem[b], imem[c], 8);
            break;
        case OP_ROL_16:
            imem[a] = machine_rotate(imem[b], imem[c], 16);
            break;
        case OP_ROL_32:
            imem[a] = machine_rotate(imem[b], imem[c], 32);
            break;
        case OP_ROL_64:
            imem[a] = machine_rotate(imem[b], imem[c], 64);
            break;
        case OP_POW_F:
            mem[a] = pow(mem[b], mem[c]);
            break;
        case OP_POW_R:
            mem[a] = (float)(pow(mem[b], mem[c]));
            break;
        case OP_SQRT_F:
            mem[a] = sqrt(mem[b]);
            break;
        case OP_LN_F:
            mem[a] = log(mem[b]);
            break;
        case OP_LOG_F:
            mem[a] = log10(mem[b]);
            break;
        case OP_EXP_F:
            mem[a] = exp(mem[b]);
            break;
        case OP_SIN_F:
            mem[a] = sin(mem[b]);
            break;
        case OP_COS_F:
            mem[a] = cos(mem[b]);
            break;
        case OP_TAN_F:
            mem[a] = tan(mem[b]);
            break;
        case OP_ASIN_F:
            mem[a] = asin(mem[b]);
            break;
        case OP_ACOS_F:
            mem[a] = acos(mem[b]);
            break;
        case OP_ATAN_F:
            mem[a] = atan(mem[b]);
            break;
        case OP_ATAN2_F:
            mem[a] = atan2(mem[b], mem[c]);
            break;
        case OP_I_TO_F:
            mem[a] = (double)(imem[b]);
            break;
        case OP_U_TO_F:
            mem[a] = (double)((uint64_t)(imem[b]));
            break;
        case OP_F_TO_I:
            imem[a] = machine_to_integer(mem[b], imem[c], imem[c + 1]);
            break;
        case OP_F_TO_U:
            imem[a] = machine_to_unsigned(mem[b]);
            break;
        case OP_TRUNC_F:
            mem[a] = trunc(mem[b]);
            break;
        case OP_CYCLE:
            imem[a] = cycle_ms;
            break;
        case OP_FIRST:
            imem[a] = imem[base0] == 0;
            break;
        case OP_SR:
            imem[a + 3] = imem[a + 1] | (imem[a + 3] & (imem[a + 2] ^ 1));
            break;
        case OP_RS:
            imem[a + 3] = (imem[a + 2] ^ 1) & (imem[a + 1] | imem[a + 3]);
            break;
        case OP_R_TRIG:
            imem[a + 2] = imem[a + 1] & (imem[a + 3] ^ 1);
            imem[a + 3] = imem[a + 1];
            break;
        case OP_F_TRIG:
            imem[a + 2] = (imem[a + 1] | imem[a + 3]) ^ 1;
            imem[a + 3] = imem[a + 1] ^ 1;
            break;
        case OP_CTU:
            machine_counter(imem, a, OP_CTU, imem[b], imem[b + 1]);
            break;
        case OP_CTD:
            machine_counter(imem, a, OP_CTD, imem[b], imem[b + 1]);
            break;
        case OP_CTUD:
            machine_counter(imem, a, OP_CTUD, imem[b], imem[b + 1]);
            break;
        case OP_TP:
            machine_pulse(imem, a, imem[base0 + OP_CLOCK]);
            break;
        case OP_TON:
            machine_on_delay(imem, a, imem[base0 + OP_CLOCK]);
            break;
        case OP_TOF:
            machine_off_delay(imem, a, imem[base0 + OP_CLOCK]);
            break;
        case OP_END:
            imem[base0] = 1;
            return 0;
        default:
            kind = FAULT_OPCODE;
            goto fault;
        }
    }
fault:
    return kind | (int64_t)((uint64_t)(pc - pc0) << 8);
}
