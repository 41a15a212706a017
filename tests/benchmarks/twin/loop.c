/* The loop that runs a plant: the fixed order of work inside one tick, as plantsim/kernels/loop.py. */
#define FAULT_PROGRAM 1
#define FAULT_NUMBER 2

/* Power, motors, instruments, control scan, alarms and actuators of one tick. Returns a status. */
static inline int64_t step_signals(const struct plant *plant, int64_t tick, double now, double dt) {
    for (int64_t i = 0; i < plant->n_bus_s; i++) step_bus(&plant->bus_s[i], dt);
    for (int64_t i = 0; i < plant->n_motor_p; i++)
        step_motor(&plant->motor_p[i], &plant->motor_s[i], &plant->motor_f[i], plant->tags, plant->actuator_s,
                   plant->bus_s, now, dt);
    for (int64_t i = 0; i < plant->n_instrument_p; i++) {
        if (tick >= plant->instrument_s[i].due)
            step_instrument(&plant->instrument_p[i], &plant->instrument_s[i], &plant->instrument_f[i], tick,
                            dt, plant->clock->calm, plant->mem, plant->imem, plant->tags);
    }
    for (int64_t i = 0; i < plant->n_program_p; i++) {
        if (tick >= plant->program_s[i].due) {
            int64_t every = plant->program_p[i].every;
            plant->program_s[i].due = tick + every - tick % every;
            int64_t status = scan_program(&plant->program_p[i], &plant->program_s[i], plant->copy_p,
                                          plant->tags, plant->code, plant->mem, plant->imem);
            if (status != 0) return FAULT_PROGRAM + 256 * i;
        }
    }
    for (int64_t i = 0; i < plant->n_alarm_p; i++)
        if (tick >= plant->alarm_s[i].due) step_alarm(i, plant, tick);
    for (int64_t i = 0; i < plant->n_actuator_p; i++)
        step_actuator(&plant->actuator_p[i], &plant->actuator_s[i], &plant->actuator_f[i], plant->tags,
                      plant->bus_s, dt);
    return 0;
}

/* Everything that moves material in one tick, from the state at its start. Returns warning bits. */
static inline int64_t step_flows(const struct plant *plant, double now, double dt) {
    int64_t flags = 0;
    const struct material *m = plant->material;
    double (*streams)[NS] = plant->streams;
    double (*offers)[NO] = plant->offers;
    double (*ledger)[NS] = plant->ledger;
    for (int64_t i = 0; i < plant->n_vessel_p; i++)
        spill_vessel(&plant->vessel_p[i], &plant->vessel_s[i], m, streams, offers, dt);
    for (int64_t i = 0; i < plant->n_clarifier_p; i++)
        spill_clarifier(&plant->clarifier_p[i], &plant->clarifier_s[i], plant->tables, streams, plant->layers,
                        dt);
    for (int64_t i = 0; i < plant->n_source_p; i++)
        flags |= step_source(&plant->source_p[i], &plant->source_s[i], m, plant->clock, plant->tags,
                             plant->tables, streams, offers, ledger, dt);
    for (int64_t i = 0; i < plant->n_supply_p; i++)
        flags |= step_supply(&plant->supply_p[i], &plant->supply_s[i], plant->weather, plant->actuator_s,
                             streams, ledger, dt);
    for (int64_t i = 0; i < plant->n_doser_p; i++)
        flags |= step_doser(&plant->doser_p[i], &plant->doser_s[i], &plant->doser_f[i], m, plant->weather,
                            plant->motor_s, plant->actuator_s, plant->tags, plant->plug_p, plant->plug_s,
                            plant->parcels, streams, offers, ledger, now, dt);
    for (int64_t i = 0; i < plant->n_line_p; i++)
        flags |= step_line(&plant->line_p[i], &plant->line_s[i], &plant->line_f[i], plant->plug_p,
                           plant->plug_s, plant->branch_p, plant->branch_s, plant->pump_p, plant->pump_s,
                           plant->pump_f, plant->motor_s, plant->actuator_s, plant->links, plant->tables,
                           streams, offers, plant->parcels, plant->mem, m, ledger, now, dt);
    for (int64_t i = 0; i < plant->n_makedown_p; i++)
        flags |= step_makedown(&plant->makedown_p[i], &plant->makedown_s[i], &plant->makedown_f[i],
                               plant->tags, plant->links, streams, offers, ledger, dt);
    for (int64_t i = 0; i < plant->n_press_p; i++)
        flags |= step_press(&plant->press_p[i], &plant->press_s[i], m, plant->motor_s, plant->tags, streams,
                            offers, ledger, dt);
    for (int64_t k = 0; k < plant->n_order; k++) {
        int64_t i = plant->order[k];
        step_splitter(&plant->splitter_p[i], &plant->splitter_s[i], plant->links, plant->tables,
                      plant->actuator_s, streams);
    }
    return flags;
}

/* Balance every store over the streams of this tick. Returns warning bits. */
static inline int64_t step_stores(const struct plant *plant, int64_t tick, double dt) {
    int64_t flags = 0;
    const struct material *m = plant->material;
    double (*streams)[NS] = plant->streams;
    double (*offers)[NO] = plant->offers;
    double (*ledger)[NS] = plant->ledger;
    for (int64_t i = 0; i < plant->n_clarifier_p; i++)
        flags |= step_clarifier(&plant->clarifier_p[i], &plant->clarifier_s[i], &plant->clarifier_f[i], m,
                                plant->weather, plant->motor_s, plant->actuator_s, plant->links,
                                plant->tables, streams, offers, plant->layers, ledger, plant->scratch, dt);
    for (int64_t i = 0; i < plant->n_vessel_p; i++)
        flags |= step_vessel(&plant->vessel_p[i], &plant->vessel_s[i], m, plant->weather, plant->links,
                             plant->tables, streams, offers, ledger, dt);
    for (int64_t i = 0; i < plant->n_bank_p; i++)
        flags |= step_bank(&plant->bank_p[i], &plant->bank_s[i], plant->cell_p, plant->cell_s, plant->cell_f,
                           plant->actuator_s, m, plant->weather, streams, ledger, tick, dt);
    return flags;
}

/* Write one row of the record. */
static void record(const double *mem, const cell_bits *imem, double *rows, int64_t n_rows,
                   const int64_t *cells, const int64_t *integer, int64_t n_cells, int64_t row) {
    if (row >= n_rows) return;
    for (int64_t c = 0; c < n_cells; c++)
        rows[row * n_cells + c] = integer[c] != 0 ? (double)imem[cells[c]] : mem[cells[c]];
}

/* Whether what every unit gives is still a number. */
static int finite_rows(const struct plant *plant) {
    double total = 0.0;
    for (int64_t i = 0; i < plant->n_streams; i++)
        for (int k = 0; k < NS; k++) total += plant->streams[i][k];
    for (int64_t i = 0; i < plant->n_offers; i++)
        for (int k = 0; k < NO; k++) total += plant->offers[i][k];
    return isfinite(total);
}

/* Run a plant for some ticks and record it; 0, or the fault that stopped the run. */
int64_t advance(const struct plant *plant, int64_t ticks, double *rows, int64_t n_rows, const int64_t *cells,
                const int64_t *integer, int64_t n_cells, int64_t every) {
    struct clock *clock = plant->clock;
    double dt = clock->dt;
    int64_t shown = (clock->tick + every - 1) / every * every; /* tick of the next row */
    int64_t room = plant->n_alarm_log - plant->n_alarm_p;
    for (int64_t turn = 0; turn < ticks; turn++) {
        int64_t tick = clock->tick;
        double now = tick * dt;
        if (tick == shown) {
            record(plant->mem, plant->imem, rows, n_rows, cells, integer, n_cells, tick / every);
            shown += every;
        }
        int64_t status = step_signals(plant, tick, now, dt);
        if (status != 0) {
            clock->status = status;
            return status;
        }
        int64_t flags = step_flows(plant, now, dt);
        clock->warned |= flags | step_stores(plant, tick, dt);
        clock->tick = tick + 1;
        if (clock->notes - clock->notes_read > room) break;
    }
    if (clock->tick % every == 0)
        record(plant->mem, plant->imem, rows, n_rows, cells, integer, n_cells, clock->tick / every);
    if (!finite_rows(plant)) {
        clock->status = FAULT_NUMBER;
        return FAULT_NUMBER;
    }
    return 0;
}
