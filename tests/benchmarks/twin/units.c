/* One kind of unit stepped again and again from a saved memory, to find its share; as drivers.py beside it.
 */
#include <string.h>

enum {
    MOTORS,
    INSTRUMENTS,
    CONTROL,
    ACTUATORS,
    WEIRS,
    SOURCES,
    DOSERS,
    LINES,
    MAKEDOWNS,
    PRESSES,
    SPLITTERS,
    CLARIFIERS,
    VESSELS,
    CELLS,
    ALARMS
};

/* Step all units of a kind `steps` times from the saved memory, `repeats` times over. */
int64_t repeat_units(const struct plant *plant, const double *saved, int64_t cells, int64_t which,
                     int64_t repeats, int64_t steps) {
    int64_t flags = 0;
    struct clock *clock = plant->clock;
    const struct material *m = plant->material;
    double dt = clock->dt;
    for (int64_t turn = 0; turn < repeats; turn++) {
        memcpy(plant->mem, saved, cells * sizeof *saved);
        for (int64_t step = 0; step < steps; step++) {
            int64_t tick = clock->tick;
            double now = tick * dt;
            switch (which) {
            case MOTORS:
                for (int64_t i = 0; i < plant->n_bus_s; i++) step_bus(&plant->bus_s[i], dt);
                for (int64_t i = 0; i < plant->n_motor_p; i++)
                    step_motor(&plant->motor_p[i], &plant->motor_s[i], &plant->motor_f[i], plant->tags,
                               plant->actuator_s, plant->bus_s, now, dt);
                break;
            case INSTRUMENTS:
                for (int64_t i = 0; i < plant->n_instrument_p; i++)
                    if (tick >= plant->instrument_s[i].due)
                        step_instrument(&plant->instrument_p[i], &plant->instrument_s[i],
                                        &plant->instrument_f[i], tick, dt, clock->calm, plant->mem,
                                        plant->imem, plant->tags);
                break;
            case CONTROL:
                for (int64_t i = 0; i < plant->n_program_p; i++)
                    if (tick >= plant->program_s[i].due) {
                        int64_t every = plant->program_p[i].every;
                        plant->program_s[i].due = tick + every - tick % every;
                        flags |= scan_program(&plant->program_p[i], &plant->program_s[i], plant->copy_p,
                                              plant->tags, plant->code, plant->mem, plant->imem);
                    }
                break;
            case ACTUATORS:
                for (int64_t i = 0; i < plant->n_actuator_p; i++)
                    step_actuator(&plant->actuator_p[i], &plant->actuator_s[i], &plant->actuator_f[i],
                                  plant->tags, plant->bus_s, dt);
                break;
            case WEIRS:
                for (int64_t i = 0; i < plant->n_vessel_p; i++)
                    spill_vessel(&plant->vessel_p[i], &plant->vessel_s[i], m, plant->streams, plant->offers,
                                 dt);
                for (int64_t i = 0; i < plant->n_clarifier_p; i++)
                    spill_clarifier(&plant->clarifier_p[i], &plant->clarifier_s[i], plant->tables,
                                    plant->streams, plant->layers, dt);
                break;
            case SOURCES:
                for (int64_t i = 0; i < plant->n_source_p; i++)
                    flags |= step_source(&plant->source_p[i], &plant->source_s[i], m, clock, plant->tags,
                                         plant->tables, plant->streams, plant->offers, plant->ledger, dt);
                for (int64_t i = 0; i < plant->n_supply_p; i++)
                    flags |= step_supply(&plant->supply_p[i], &plant->supply_s[i], plant->weather,
                                         plant->actuator_s, plant->streams, plant->ledger, dt);
                break;
            case DOSERS:
                for (int64_t i = 0; i < plant->n_doser_p; i++)
                    flags |= step_doser(&plant->doser_p[i], &plant->doser_s[i], &plant->doser_f[i], m,
                                        plant->weather, plant->motor_s, plant->actuator_s, plant->tags,
                                        plant->plug_p, plant->plug_s, plant->parcels, plant->streams,
                                        plant->offers, plant->ledger, now, dt);
                break;
            case LINES:
                for (int64_t i = 0; i < plant->n_line_p; i++)
                    flags |= step_line(&plant->line_p[i], &plant->line_s[i], &plant->line_f[i], plant->plug_p,
                                       plant->plug_s, plant->branch_p, plant->branch_s, plant->pump_p,
                                       plant->pump_s, plant->pump_f, plant->motor_s, plant->actuator_s,
                                       plant->links, plant->tables, plant->streams, plant->offers,
                                       plant->parcels, plant->mem, m, plant->ledger, now, dt);
                break;
            case MAKEDOWNS:
                for (int64_t i = 0; i < plant->n_makedown_p; i++)
                    flags |= step_makedown(&plant->makedown_p[i], &plant->makedown_s[i],
                                           &plant->makedown_f[i], plant->tags, plant->links, plant->streams,
                                           plant->offers, plant->ledger, dt);
                break;
            case PRESSES:
                for (int64_t i = 0; i < plant->n_press_p; i++)
                    flags |= step_press(&plant->press_p[i], &plant->press_s[i], m, plant->motor_s,
                                        plant->tags, plant->streams, plant->offers, plant->ledger, dt);
                break;
            case SPLITTERS:
                for (int64_t k = 0; k < plant->n_order; k++) {
                    int64_t i = plant->order[k];
                    step_splitter(&plant->splitter_p[i], &plant->splitter_s[i], plant->links, plant->tables,
                                  plant->actuator_s, plant->streams);
                }
                break;
            case CLARIFIERS:
                for (int64_t i = 0; i < plant->n_clarifier_p; i++)
                    flags |= step_clarifier(&plant->clarifier_p[i], &plant->clarifier_s[i],
                                            &plant->clarifier_f[i], m, plant->weather, plant->motor_s,
                                            plant->actuator_s, plant->links, plant->tables, plant->streams,
                                            plant->offers, plant->layers, plant->ledger, plant->scratch, dt);
                break;
            case VESSELS:
                for (int64_t i = 0; i < plant->n_vessel_p; i++)
                    flags |=
                        step_vessel(&plant->vessel_p[i], &plant->vessel_s[i], m, plant->weather, plant->links,
                                    plant->tables, plant->streams, plant->offers, plant->ledger, dt);
                break;
            case CELLS:
                for (int64_t i = 0; i < plant->n_bank_p; i++)
                    flags |= step_bank(&plant->bank_p[i], &plant->bank_s[i], plant->cell_p, plant->cell_s,
                                       plant->cell_f, plant->actuator_s, m, plant->weather, plant->streams,
                                       plant->ledger, tick, dt);
                break;
            case ALARMS:
                for (int64_t i = 0; i < plant->n_alarm_p; i++)
                    if (tick >= plant->alarm_s[i].due) step_alarm(i, plant, tick);
                break;
            }
            clock->tick = tick + 1;
        }
    }
    return flags;
}

/* Scan one program again and again. */
int64_t repeat_scan(const int32_t (*code)[4], double *mem, cell_bits *imem, int64_t repeats) {
    int64_t status = 0;
    for (int64_t turn = 0; turn < repeats; turn++) status |= scan(code, mem, imem, 0, 0, 100, 10000);
    return status;
}
