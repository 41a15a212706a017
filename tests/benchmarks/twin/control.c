/* One scan of a control program: read the tag image, run the program, write it; as
 * plantsim/kernels/control.py. */

/* Nearest integer as a float, halves away from zero. */
static inline double math_round(double value) {
    return value >= 0.0 ? floor(value + 0.5) : ceil(value - 0.5);
}

/* Scan a program once per task interval, or several times per step when it is faster. */
static int64_t scan_program(const struct program_p *p, struct program_s *s, const struct copy_p *copies,
                            double *tags, const int32_t (*code)[4], double *mem, cell_bits *imem) {
    if (s->status != 0) return s->status;
    for (int64_t turn = 0; turn < p->repeat; turn++) {
        for (int64_t i = p->copies_in; i < p->copies_in + p->n_in; i++) {
            double value = tags[copies[i].tag] * copies[i].scale + copies[i].offset;
            int64_t cell = copies[i].cell;
            if (copies[i].kind == COPY_REAL)
                mem[cell] = (float)value;
            else if (copies[i].kind == COPY_BOOL)
                imem[cell] = value > 0.5;
            else
                imem[cell] = (int64_t)math_round(value);
        }
        int64_t status = scan(code, mem, imem, p->pc, p->base, p->cycle_ms, p->budget);
        s->scans++;
        if (status != 0) {
            s->status = status;
            return status;
        }
        for (int64_t i = p->copies_out; i < p->copies_out + p->n_out; i++) {
            int64_t cell = copies[i].cell;
            double value = copies[i].kind == COPY_REAL ? mem[cell] : (double)imem[cell];
            tags[copies[i].tag] = (value - copies[i].offset) / copies[i].scale;
        }
    }
    return 0;
}
