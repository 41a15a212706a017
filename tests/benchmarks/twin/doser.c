/* A dosing skid: neat pump, dilution water through a filter, and the dosing line's dead volume; as
 * plantsim/kernels/doser.py. */
#define WORST_LOSS 0.5

/* Fraction of full capacity the neat pump is set to: 0 below its turndown. */
static double pump_fraction(const struct doser_p *p, struct motor_s *motors, struct actuator_s *actuators) {
    double fraction = motors[p->motor].speed;
    if (p->stroke >= 0) {
        fraction *= actuators[p->stroke].position;
    }
    if (p->resolution > 0.0) {
        fraction = floor(fraction / p->resolution + 0.5) * p->resolution;
    }
    return fraction >= p->turndown ? fraction : 0.0;
}

/* Put in a clean filter on the rising edge of its tag. */
static void doser_change_filter(const struct doser_p *p, struct doser_s *restrict s, double *tags,
                                double (*restrict ledger)[NS]) {
    if (p->filter_actuator < 0) {
        return;
    }
    int64_t tag = tags[p->filter_actuator] > 0.5 ? 1 : 0;
    if (tag != 0 && s->filter_tag == 0) {
        s->filter = 0.0;
        for (int64_t k = 0; k < NS; k++) {
            ledger[OUT_CAKE][k] += s->filtered[k];
            s->filtered[k] = 0.0;
        }
    }
    s->filter_tag = tag;
}

/* Pump neat product as amounts into `row` (the out stream, times the step); returns warning bits. */
static int64_t doser_neat(const struct doser_p *p, struct doser_s *restrict s, const struct doser_f *f,
                          double fraction, const struct weather *weather, double (*restrict streams)[NS],
                          double (*restrict offers)[NO], double *restrict row, double (*restrict ledger)[NS],
                          double dt) {
    int64_t flags = 0;
    double flow = 0.0;
    if (f->air_lock == 0) {
        flow = p->capacity * fraction * p->calibration * f->calibration;
    }
    int64_t own = p->offer < 0;
    double most = (own ? s->store : max(0.0, offers[p->offer][VOLUME])) / dt;
    if (flow > most) {
        flow = most;
        flags = WARN_LOW;
    }
    double volume = flow * dt;
    row[VOLUME] = volume;
    if (own) {
        for (int64_t k = 1; k < NS; k++) {
            row[k] = 0.0;
        }
        s->store -= volume;
        s->strength = p->strength;
        double product = volume * p->strength;
        row[HEAT] = volume * weather->water;
        if (p->substance == COAG) {
            row[COAG] = product;
        } else {
            row[POLY] = product * p->purity;
            row[POLY_SPENT] = product - row[POLY];
        }
        for (int64_t k = 0; k < NS; k++) {
            ledger[IN_CHEMICAL][k] += row[k];
        }
    } else {
        offers[p->offer][VOLUME] -= volume;
        streams[p->draw][VOLUME] = flow;
        for (int64_t k = 1; k < NS; k++) {
            streams[p->draw][k] = flow * offers[p->offer][k];
            row[k] = streams[p->draw][k] * dt;
        }
        s->strength = offers[p->offer][POLY] + offers[p->offer][POLY_SPENT];
    }
    s->neat = flow;
    s->spent += volume;
    s->dosed += volume * s->strength;
    return flags;
}

/* Add dilution water, less what its filter holds back, to the amounts in `row`; returns warning bits. */
static int64_t doser_dilute(const struct doser_p *p, struct doser_s *restrict s, const struct doser_f *f,
                            const struct material *m, double (*restrict streams)[NS],
                            double (*restrict offers)[NO], double *restrict row, double dt) {
    int64_t offer = p->water_offer;
    s->filter_drop = p->filter_load > 0.0 ? 1.0 + s->filter / p->filter_load : 1.0;
    double flow;
    if (p->water_ratio > 0.0) {
        flow = s->neat * p->water_ratio;
        if (p->water_flow > 0.0) {
            /* a ratio valve makes up for the filter as long as the supply lasts */
            flow = min(flow, p->water_flow / s->filter_drop);
        } else {
            flow /= s->filter_drop;
        }
    } else {
        flow = p->water_flow / s->filter_drop;
    }
    int64_t flags = 0;
    double most = max(0.0, offers[offer][VOLUME]) / dt;
    if (flow > most) {
        flow = most;
        flags = WARN_LOW;
    }
    s->water = flow;
    offers[offer][VOLUME] -= flow * dt;
    streams[p->water_draw][VOLUME] = flow;
    for (int64_t k = 1; k < NS; k++) {
        streams[p->water_draw][k] = flow * offers[offer][k];
    }
    for (int64_t k = 0; k < NS; k++) {
        row[k] += streams[p->water_draw][k] * dt;
    }
    if (p->filter_load > 0.0) {
        int64_t draw = p->water_draw;
        double caught = (streams[draw][COARSE] + streams[draw][FINES]) * dt;
        if (caught > 0.0) {
            s->filter += caught * f->filter_factor;
            double solid = caught / m->solids_density;
            row[VOLUME] -= solid;
            double heat = solid * offers[offer][HEAT];
            row[HEAT] -= heat;
            s->filtered[VOLUME] += solid;
            s->filtered[HEAT] += heat;
            for (int each = 0; each < 3; each++) {
                const int k = (const int[]){COARSE, FINES, CLAY}[each];
                double held = streams[draw][k] * dt;
                row[k] -= held;
                s->filtered[k] += held;
            }
            /* the bound part is shared with the colloid, which passes */
            double part = streams[draw][FINES] / (streams[draw][FINES] + streams[draw][COLLOID] + 1e-300);
            for (int each = 0; each < 2; each++) {
                const int k = (const int[]){COAG_BOUND, POLY_BOUND}[each];
                double held = streams[draw][k] * dt * part;
                row[k] -= held;
                s->filtered[k] += held;
            }
        }
    }
    return flags;
}

/* Waste the part of the active polymer that too little dilution leaves badly dispersed. */
static void doser_disperse(const struct doser_p *p, struct doser_s *restrict s, double *restrict row,
                           double (*restrict ledger)[NS]) {
    if (s->neat <= 0.0) {
        return;
    }
    double ratio = s->water / s->neat;
    if (ratio >= p->good_dilution) {
        return;
    }
    double lost = row[POLY] * WORST_LOSS * (1.0 - ratio / p->good_dilution);
    row[POLY] -= lost;
    row[POLY_SPENT] += lost;
    ledger[REACTION][POLY] -= lost;
    ledger[REACTION][POLY_SPENT] += lost;
}

/* Dose for one step; returns warning bits. */
static int64_t step_doser(const struct doser_p *p, struct doser_s *restrict s, const struct doser_f *f,
                          const struct material *m, const struct weather *weather, struct motor_s *motors,
                          struct actuator_s *actuators, double *tags, const struct plug_p *plugs,
                          struct plug_s *plug_states, double (*restrict parcels)[PARCEL],
                          double (*restrict streams)[NS], double (*restrict offers)[NO],
                          double (*restrict ledger)[NS], double now, double dt) {
    doser_change_filter(p, s, tags, ledger);
    double fraction = pump_fraction(p, motors, actuators);
    if (fraction <= 0.0) {
        if (s->neat != 0.0 || s->water != 0.0 || s->dose != 0.0 || streams[p->out][VOLUME] != 0.0) {
            s->neat = 0.0;
            s->water = 0.0;
            s->dose = 0.0;
            no_flow(streams, p->out);
            if (p->offer >= 0) {
                no_flow(streams, p->draw);
            }
            if (p->water_offer >= 0) {
                no_flow(streams, p->water_draw);
            }
        }
        return 0;
    }
    int64_t line = p->plug >= 0;
    double *row;
    if (line) {
        row = parcels[inlet_row(&plugs[p->plug])];
    } else {
        row = streams[p->out];
    }
    int64_t flags = doser_neat(p, s, f, fraction, weather, streams, offers, row, ledger, dt);
    if (p->water_offer >= 0) {
        flags |= doser_dilute(p, s, f, m, streams, offers, row, dt);
    }
    if (p->good_dilution > 0.0 && row[POLY] > 0.0) {
        doser_disperse(p, s, row, ledger);
    }
    double per_second = 1.0 / dt;
    if (line) {
        push(&plugs[p->plug], &plug_states[p->plug], parcels, now);
        no_flow(streams, p->out);
        double over = plug_states[p->plug].filled - plugs[p->plug].volume;
        if (over > 0.0) {
            pop(&plugs[p->plug], &plug_states[p->plug], parcels, over, streams, p->out, per_second, 0, now, m,
                ledger);
        }
    } else {
        for (int64_t k = 0; k < NS; k++) {
            row[k] *= per_second;
        }
    }
    int64_t out = p->out;
    if (p->substance == COAG) {
        s->dose = streams[out][COAG];
    } else {
        s->dose = streams[out][POLY] + streams[out][POLY_SPENT];
    }
    return flags;
}
