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
    double *real = mem + base; /* the running frame, as numbers and as integers */
    cell_bits *whole = imem + base;
    for (;; pc++) {
        int64_t ra = code[pc][1], rb = code[pc][2], rc = code[pc][3];
        int64_t a = ra, b = rb, c = rc;
        int64_t k, step, to, source, link;
        int again;
        double x, y;
        switch (code[pc][0]) {
        case OP_MOVE:
            whole[a] = whole[b];
            break;
        case OP_ADD_R:
            real[a] = (float)(real[b] + real[c]);
            break;
        case OP_SUB_R:
            real[a] = (float)(real[b] - real[c]);
            break;
        case OP_MUL_R:
            real[a] = (float)(real[b] * real[c]);
            break;
        case OP_DIV_R:
            real[a] = (float)(real[b] / real[c]);
            break;
        case OP_ADD_F:
            real[a] = real[b] + real[c];
            break;
        case OP_SUB_F:
            real[a] = real[b] - real[c];
            break;
        case OP_MUL_F:
            real[a] = real[b] * real[c];
            break;
        case OP_DIV_F:
            real[a] = real[b] / real[c];
            break;
        case OP_MIN_F:
            real[a] = real[c] < real[b] ? real[c] : real[b];
            break;
        case OP_MAX_F:
            real[a] = real[c] > real[b] ? real[c] : real[b];
            break;
        case OP_NEG_F:
            real[a] = -real[b];
            break;
        case OP_ABS_F:
            real[a] = fabs(real[b]);
            break;
        case OP_ROUND_R:
            real[a] = (float)(real[b]);
            break;
        case OP_JUMP:
            pc += ra;
            break;
        case OP_JUMP_TRUE:
            if (whole[a]) {
                pc += rc;
            }
            break;
        case OP_JUMP_FALSE:
            if (!whole[a]) {
                pc += rc;
            }
            break;
        case OP_JUMP_EQ_I:
            if (whole[a] == whole[b]) {
                pc += rc;
            }
            break;
        case OP_JUMP_EQ_F:
            if (real[a] == real[b]) {
                pc += rc;
            }
            break;
        case OP_EQ_I:
            whole[a] = whole[b] == whole[c];
            break;
        case OP_EQ_F:
            whole[a] = real[b] == real[c];
            break;
        case OP_JUMP_NE_I:
            if (whole[a] != whole[b]) {
                pc += rc;
            }
            break;
        case OP_JUMP_NE_F:
            if (real[a] != real[b]) {
                pc += rc;
            }
            break;
        case OP_NE_I:
            whole[a] = whole[b] != whole[c];
            break;
        case OP_NE_F:
            whole[a] = real[b] != real[c];
            break;
        case OP_JUMP_LT_I:
            if (whole[a] < whole[b]) {
                pc += rc;
            }
            break;
        case OP_JUMP_LT_F:
            if (real[a] < real[b]) {
                pc += rc;
            }
            break;
        case OP_LT_I:
            whole[a] = whole[b] < whole[c];
            break;
        case OP_LT_F:
            whole[a] = real[b] < real[c];
            break;
        case OP_JUMP_LT_U:
            if ((whole[a] ^ SIGN) < (whole[b] ^ SIGN)) {
                pc += rc;
            }
            break;
        case OP_LT_U:
            whole[a] = (whole[b] ^ SIGN) < (whole[c] ^ SIGN);
            break;
        case OP_JUMP_NLT_F:
            if (!(real[a] < real[b])) {
                pc += rc;
            }
            break;
        case OP_JUMP_LE_I:
            if (whole[a] <= whole[b]) {
                pc += rc;
            }
            break;
        case OP_JUMP_LE_F:
            if (real[a] <= real[b]) {
                pc += rc;
            }
            break;
        case OP_LE_I:
            whole[a] = whole[b] <= whole[c];
            break;
        case OP_LE_F:
            whole[a] = real[b] <= real[c];
            break;
        case OP_JUMP_LE_U:
            if ((whole[a] ^ SIGN) <= (whole[b] ^ SIGN)) {
                pc += rc;
            }
            break;
        case OP_LE_U:
            whole[a] = (whole[b] ^ SIGN) <= (whole[c] ^ SIGN);
            break;
        case OP_JUMP_NLE_F:
            if (!(real[a] <= real[b])) {
                pc += rc;
            }
            break;
        case OP_AND_I:
            whole[a] = whole[b] & whole[c];
            break;
        case OP_OR_I:
            whole[a] = whole[b] | whole[c];
            break;
        case OP_XOR_I:
            whole[a] = whole[b] ^ whole[c];
            break;
        case OP_NOT_B:
            whole[a] = whole[b] == 0;
            break;
        case OP_SELECT:
            if (whole[b]) {
                whole[a] = whole[c];
            }
            break;
        case OP_ADD_I:
            whole[a] = wrap_add(whole[b], whole[c]);
            break;
        case OP_ADD_I16:
            whole[a] = (int16_t)wrap_add(whole[b], whole[c]);
            break;
        case OP_ADD_I32:
            whole[a] = (int32_t)wrap_add(whole[b], whole[c]);
            break;
        case OP_SUB_I:
            whole[a] = wrap_sub(whole[b], whole[c]);
            break;
        case OP_SUB_I16:
            whole[a] = (int16_t)wrap_sub(whole[b], whole[c]);
            break;
        case OP_SUB_I32:
            whole[a] = (int32_t)wrap_sub(whole[b], whole[c]);
            break;
        case OP_MUL_I:
            whole[a] = wrap_mul(whole[b], whole[c]);
            break;
        case OP_MUL_I16:
            whole[a] = (int16_t)wrap_mul(whole[b], whole[c]);
            break;
        case OP_MUL_I32:
            whole[a] = (int32_t)wrap_mul(whole[b], whole[c]);
            break;
        case OP_WRAP_8:
            whole[a] = (int8_t)whole[b];
            break;
        case OP_WRAP_16:
            whole[a] = (int16_t)whole[b];
            break;
        case OP_WRAP_32:
            whole[a] = (int32_t)whole[b];
            break;
        case OP_LOAD_X:
            whole[a] = whole[whole[b] + rc];
            break;
        case OP_STORE_X:
            whole[whole[b] + rc] = whole[a];
            break;
        case OP_LOAD_P:
            whole[a] = imem[base0 + whole[b] + rc];
            break;
        case OP_STORE_P:
            imem[base0 + whole[b] + rc] = whole[a];
            break;
        case OP_ADDRESS:
            whole[a] = base - base0 + rc;
            break;
        case OP_ADDRESS_X:
            whole[a] = base - base0 + whole[b] + rc;
            break;
        case OP_COPY:
            for (int64_t i = 0; i < rc; i++) {
                whole[a + i] = whole[b + i];
            }
            break;
        case OP_COPY_P:
            to = base0 + whole[a];
            source = base0 + whole[b];
            for (int64_t i = 0; i < rc; i++) {
                imem[to + i] = imem[source + i];
            }
            break;
        case OP_INDEX:
            k = whole[b] - whole[c];
            if (k < 0 || k >= whole[c + 1]) {
                kind = FAULT_INDEX;
                goto fault;
            }
            whole[a] = k * whole[c + 2];
            break;
        case OP_INDEX_ADD:
            k = whole[b] - whole[c];
            if (k < 0 || k >= whole[c + 1]) {
                kind = FAULT_INDEX;
                goto fault;
            }
            whole[a] += k * whole[c + 2];
            break;
        case OP_CHECK:
            if (whole[a] < whole[b] || whole[a] > whole[b + 1]) {
                kind = FAULT_RANGE;
                goto fault;
            }
            break;
        case OP_CALL:
            whole[b] = rb * ((int64_t)1 << 32) | (pc - pc0);
            base += rb;
            real = mem + base;
            whole = imem + base;
            pc += ra;
            break;
        case OP_CALL_X:
            step = whole[b] + rc;
            base += step;
            real = mem + base;
            whole = imem + base;
            whole[0] = step * ((int64_t)1 << 32) | (pc - pc0);
            pc += ra;
            break;
        case OP_CALL_P:
            step = base0 + whole[b] + rc - base;
            base += step;
            real = mem + base;
            whole = imem + base;
            whole[0] = step * ((int64_t)1 << 32) | (pc - pc0);
            pc += ra;
            break;
        case OP_RETURN:
            link = whole[0];
            whole[0] = 0;
            pc = pc0 + (link & 0xFFFFFFFF);
            base -= link >> 32;
            real = mem + base;
            whole = imem + base;
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
            if ((whole[b + 1] >= 0 && whole[a] > whole[b]) || (whole[b + 1] < 0 && whole[a] < whole[b])) {
                pc += rc;
            }
            break;
        case OP_FOR_NEXT:
            step = whole[b + 1];
            k = wrap_add(whole[a], step);
            whole[a] = k;
            if (step >= 0) {
                again = k <= whole[b] && k >= wrap_sub(k, step);
            } else {
                again = k >= whole[b] && k <= wrap_sub(k, step);
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
            if (whole[c] == 0) {
                kind = FAULT_DIVISION;
                goto fault;
            }
            whole[a] = machine_divide(whole[b], whole[c]);
            break;
        case OP_DIV_U:
            if (whole[c] == 0) {
                kind = FAULT_DIVISION;
                goto fault;
            }
            whole[a] = machine_divide_unsigned(whole[b], whole[c]);
            break;
        case OP_MOD_I:
            if (whole[c] == 0) {
                whole[a] = 0;
            } else {
                whole[a] = wrap_sub(whole[b], wrap_mul(machine_divide(whole[b], whole[c]), whole[c]));
            }
            break;
        case OP_MOD_U:
            if (whole[c] == 0) {
                whole[a] = 0;
            } else {
                whole[a] = (int64_t)((uint64_t)whole[b] % (uint64_t)whole[c]);
            }
            break;
        case OP_POW_I:
            if (whole[b] == 0 && whole[c] < 0) {
                kind = FAULT_DIVISION;
                goto fault;
            }
            whole[a] = machine_power(whole[b], whole[c]);
            break;
        case OP_NEG_I:
            whole[a] = wrap_sub(0, whole[b]);
            break;
        case OP_ABS_I:
            whole[a] = whole[b] < 0 ? wrap_sub(0, whole[b]) : whole[b];
            break;
        case OP_MIN_I:
            whole[a] = min_i(whole[b], whole[c]);
            break;
        case OP_MAX_I:
            whole[a] = max_i(whole[b], whole[c]);
            break;
        case OP_MIN_U:
            whole[a] = (whole[c] ^ SIGN) < (whole[b] ^ SIGN) ? whole[c] : whole[b];
            break;
        case OP_MAX_U:
            whole[a] = (whole[c] ^ SIGN) > (whole[b] ^ SIGN) ? whole[c] : whole[b];
            break;
        case OP_SHL:
            whole[a] = 0 <= whole[c] && whole[c] <= 63 ? (int64_t)((uint64_t)whole[b] << whole[c]) : 0;
            break;
        case OP_SHR:
            whole[a] = machine_shift_right(whole[b], whole[c]);
            break;
        case OP_ROL_8:
            whole[a] = machine_rotate(whole[b], whole[c], 8);
            break;
        case OP_ROL_16:
            whole[a] = machine_rotate(whole[b], whole[c], 16);
            break;
        case OP_ROL_32:
            whole[a] = machine_rotate(whole[b], whole[c], 32);
            break;
        case OP_ROL_64:
            whole[a] = machine_rotate(whole[b], whole[c], 64);
            break;
        case OP_POW_F:
            real[a] = pow(real[b], real[c]);
            break;
        case OP_POW_R:
            real[a] = (float)(pow(real[b], real[c]));
            break;
        case OP_SQRT_F:
            real[a] = sqrt(real[b]);
            break;
        case OP_LN_F:
            real[a] = log(real[b]);
            break;
        case OP_LOG_F:
            real[a] = log10(real[b]);
            break;
        case OP_EXP_F:
            real[a] = exp(real[b]);
            break;
        case OP_SIN_F:
            real[a] = sin(real[b]);
            break;
        case OP_COS_F:
            real[a] = cos(real[b]);
            break;
        case OP_TAN_F:
            real[a] = tan(real[b]);
            break;
        case OP_ASIN_F:
            real[a] = asin(real[b]);
            break;
        case OP_ACOS_F:
            real[a] = acos(real[b]);
            break;
        case OP_ATAN_F:
            real[a] = atan(real[b]);
            break;
        case OP_ATAN2_F:
            real[a] = atan2(real[b], real[c]);
            break;
        case OP_I_TO_F:
            real[a] = (double)(whole[b]);
            break;
        case OP_U_TO_F:
            real[a] = (double)((uint64_t)(whole[b]));
            break;
        case OP_F_TO_I:
            whole[a] = machine_to_integer(real[b], whole[c], whole[c + 1]);
            break;
        case OP_F_TO_U:
            whole[a] = machine_to_unsigned(real[b]);
            break;
        case OP_TRUNC_F:
            real[a] = trunc(real[b]);
            break;
        case OP_CYCLE:
            whole[a] = cycle_ms;
            break;
        case OP_FIRST:
            whole[a] = imem[base0] == 0;
            break;
        case OP_SR:
            whole[a + 3] = whole[a + 1] | (whole[a + 3] & (whole[a + 2] ^ 1));
            break;
        case OP_RS:
            whole[a + 3] = (whole[a + 2] ^ 1) & (whole[a + 1] | whole[a + 3]);
            break;
        case OP_R_TRIG:
            whole[a + 2] = whole[a + 1] & (whole[a + 3] ^ 1);
            whole[a + 3] = whole[a + 1];
            break;
        case OP_F_TRIG:
            whole[a + 2] = (whole[a + 1] | whole[a + 3]) ^ 1;
            whole[a + 3] = whole[a + 1] ^ 1;
            break;
        case OP_CTU:
            machine_counter(whole, a, OP_CTU, whole[b], whole[b + 1]);
            break;
        case OP_CTD:
            machine_counter(whole, a, OP_CTD, whole[b], whole[b + 1]);
            break;
        case OP_CTUD:
            machine_counter(whole, a, OP_CTUD, whole[b], whole[b + 1]);
            break;
        case OP_TP:
            machine_pulse(whole, a, imem[base0 + OP_CLOCK]);
            break;
        case OP_TON:
            machine_on_delay(whole, a, imem[base0 + OP_CLOCK]);
            break;
        case OP_TOF:
            machine_off_delay(whole, a, imem[base0 + OP_CLOCK]);
            break;
        case OP_MOVES:
            whole[a] = whole[b];
            for (int64_t i = pc + 1; i <= pc + rc; i++) {
                whole[code[i][1]] = whole[code[i][2]];
            }
            pc += rc;
            break;
        case OP_MOVE_TON:
            whole[a] = whole[b];
            pc++;
            machine_on_delay(whole, code[pc][1], imem[base0 + OP_CLOCK]);
            break;
        case OP_MAX_MIN:
            real[a] = real[c] > real[b] ? real[c] : real[b];
            pc++;
            x = real[code[pc][2]];
            y = real[code[pc][3]];
            real[code[pc][1]] = y < x ? y : x;
            break;
        case OP_NOT_AND:
            whole[a] = whole[b] == 0;
            pc++;
            whole[code[pc][1]] = whole[code[pc][2]] & whole[code[pc][3]];
            break;
        case OP_INDEX_LOAD:
        case OP_INDEX_TEST:
            k = whole[b] - whole[c];
            if (k < 0 || k >= whole[c + 1]) {
                kind = FAULT_INDEX;
                goto fault;
            }
            k *= whole[c + 2];
            whole[a] = k;
            again = code[pc][0] == OP_INDEX_TEST;
            pc++;
            k = whole[k + code[pc][3]];
            whole[code[pc][1]] = k;
            if (again) {
                pc++;
                if (!k) {
                    pc += code[pc][3];
                }
            }
            break;
        case OP_SEEK: {
            const int32_t *next = code[pc + 3 + code[pc + 2][3]]; /* the FOR_NEXT */
            int64_t load = code[pc + 1][1], offset = code[pc + 1][3];
            for (;;) {
                k = whole[b] - whole[c];
                if (k < 0 || k >= whole[c + 1]) {
                    kind = FAULT_INDEX;
                    goto fault;
                }
                k *= whole[c + 2];
                whole[a] = k;
                k = whole[k + offset];
                whole[load] = k;
                if (k) {
                    pc += 2;
                    break;
                }
                step = whole[next[2] + 1];
                k = wrap_add(whole[next[1]], step);
                whole[next[1]] = k;
                if (step >= 0) {
                    again = k <= whole[next[2]] && k >= wrap_sub(k, step);
                } else {
                    again = k >= whole[next[2]] && k <= wrap_sub(k, step);
                }
                if (again) budget -= 1;
                if (!again || budget < 0) {
                    pc += 3 + code[pc + 2][3];
                    if (!again) break;
                    kind = FAULT_BUDGET;
                    goto fault;
                }
            }
            break;
        }
        case OP_MOVE_TEST:
            whole[a] = whole[b];
            pc++;
            if (!whole[code[pc][1]]) {
                pc += code[pc][3];
            }
            break;
        case OP_MOVE_PICK:
            whole[a] = whole[b];
            pc++;
            if (whole[code[pc][2]]) {
                whole[code[pc][1]] = whole[code[pc][3]];
            }
            break;
        case OP_NOT_TON:
        case OP_LE_TON:
            whole[a] = code[pc][0] == OP_NOT_TON ? whole[b] == 0 : real[b] <= real[c];
            pc++;
            whole[code[pc][1]] = whole[code[pc][2]];
            pc++;
            machine_on_delay(whole, code[pc][1], imem[base0 + OP_CLOCK]);
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
