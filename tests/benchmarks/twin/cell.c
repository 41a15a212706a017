/* Mud cells: diked ponds that take the underflow in lifts, let the mud settle and dry, and are dug out; as
 * plantsim/kernels/cell.py. */
#define FILM 0.005
#define LOST_VOLUME 1.0
#define AMBIENT_TIME 86400.0

static void cell_let_off(struct cell_s *restrict c, int64_t decant, double (*restrict ledger)[NS], double dt);
static void cell_collect(const struct bank_p *p, struct bank_s *restrict s, struct cell_s *cell_s,
                         double (*restrict streams)[NS]);
static int64_t cell_step_cell(const struct cell_p *p, struct cell_s *restrict c, const struct cell_f *f,
                              const struct material *material, const struct weather *weather,
                              double (*restrict ledger)[NS], int64_t fed, double interval);
static void cell_enter(struct cell_s *restrict c, int64_t state);
static void cell_leak(const struct cell_p *p, struct cell_s *restrict c, const struct cell_f *f,
                      double (*restrict ledger)[NS], double density, double interval);
static void cell_next_state(const struct cell_p *p, struct cell_s *restrict c, int64_t fed);
static void cell_open_weir(const struct cell_p *p, struct cell_s *restrict c, double interval);
static void cell_describe(const struct cell_p *p, struct cell_s *restrict c, double density,
                          double temperature);
static void cell_meet_weather(const struct cell_p *p, struct cell_s *restrict c,
                              const struct weather *weather, double (*restrict ledger)[NS], double density,
                              double interval);
static void cell_remove(double *restrict row, double volume, double (*restrict ledger)[NS], int64_t out);
static void cell_settle(const struct cell_p *p, struct cell_s *restrict c, double density, double interval);
static void cell_join(const struct cell_p *p, struct cell_s *restrict c, double density);
static void cell_set_free(const struct cell_p *p, struct cell_s *restrict c, double water, double density);
static void cell_filter(double *restrict row, double part, double water, double (*restrict ledger)[NS]);
static void cell_evaporate(double *restrict row, double water, double (*restrict ledger)[NS]);

/* Step a bank of mud cells fed by one mud line. */
static int64_t step_bank(const struct bank_p *p, struct bank_s *restrict s, const struct cell_p *cell_p,
                         struct cell_s *cell_s, const struct cell_f *cell_f, struct actuator_s *actuator_s,
                         const struct material *material, const struct weather *weather,
                         double (*restrict streams)[NS], double (*restrict ledger)[NS], int64_t tick,
                         double dt) {
    int64_t first = p->cell;
    int64_t last = p->cell + p->n_cells;
    double opening = 0.0;
    int64_t filling = 0;
    for (int64_t i = first; i < last; i++) {
        double position = actuator_s[cell_p[i].valve].position;
        opening += position;
        if (filling == 0 && position > 0.0) {
            filling = i - first + 1;
        }
    }
    if (streams[p->inlet][VOLUME] > 0.0) {
        if (opening > 0.0) {
            for (int64_t i = first; i < last; i++) {
                double position = actuator_s[cell_p[i].valve].position;
                if (position > 0.0) {
                    double share = position / opening * dt;
                    double *row = cell_s[i].buffer;
                    for (int64_t k = 0; k < NS; k++) {
                        row[k] += streams[p->inlet][k] * share;
                    }
                }
            }
        } else {
            double *row = cell_s[first + max((int64_t)s->filling - 1, 0)].buffer;
            for (int64_t k = 0; k < NS; k++) {
                row[k] += streams[p->inlet][k] * dt;
            }
        }
    }
    s->opening = opening;
    if (opening > 0.0 || streams[p->inlet][VOLUME] <= 0.0) {
        s->filling = filling;
    }
    if (s->decant_flow > 0.0) {
        for (int64_t i = first; i < last; i++) {
            if (cell_s[i].release[VOLUME] > 0.0) {
                cell_let_off(&cell_s[i], p->decant, ledger, dt);
            }
        }
    }
    if (s->due == 0) {
        s->due = p->every;
    }
    if (tick + 1 < s->due) {
        return 0;
    }
    s->due = tick + 1 + p->every;
    int64_t flags = 0;
    int64_t ready = 0;
    double interval = p->every * dt;
    for (int64_t i = first; i < last; i++) {
        int64_t fed = actuator_s[cell_p[i].valve].position > 0.0;
        double before = cell_s[i].overtopped;
        flags |= cell_step_cell(&cell_p[i], &cell_s[i], &cell_f[i], material, weather, ledger, fed, interval);
        if (cell_s[i].ready > 0.5) {
            ready++;
        }
        s->overtopped += cell_s[i].overtopped - before;
    }
    s->ready = ready;
    cell_collect(p, s, cell_s, streams);
    return flags;
}

/* Take one step's released water out of the pond. */
static void cell_let_off(struct cell_s *restrict c, int64_t decant, double (*restrict ledger)[NS],
                         double dt) {
    double *release = c->release;
    double *pond = c->pond;
    for (int64_t k = 0; k < NS; k++) {
        pond[k] -= release[k] * dt;
    }
    if (decant < 0) {
        for (int64_t k = 0; k < NS; k++) {
            ledger[OUT_DISCHARGE][k] += release[k] * dt;
        }
    }
}

/* Write the stream of released water: the sum over the cells. */
static void cell_collect(const struct bank_p *p, struct bank_s *restrict s, struct cell_s *cell_s,
                         double (*restrict streams)[NS]) {
    double flow = 0.0;
    for (int64_t i = p->cell; i < p->cell + p->n_cells; i++) {
        flow += cell_s[i].release[VOLUME];
    }
    s->decant_flow = flow;
    if (p->decant < 0) {
        return;
    }
    for (int64_t k = 0; k < NS; k++) {
        double total = 0.0;
        for (int64_t i = p->cell; i < p->cell + p->n_cells; i++) {
            total += cell_s[i].release[k];
        }
        streams[p->decant][k] = total;
    }
}

/* Slow physics of one cell over an interval [s]; returns warning bits. */
static int64_t cell_step_cell(const struct cell_p *p, struct cell_s *restrict c, const struct cell_f *f,
                              const struct material *material, const struct weather *weather,
                              double (*restrict ledger)[NS], int64_t fed, double interval) {
    double *mud = c->mud;
    double *pond = c->pond;
    double *buffer = c->buffer;
    double density = material->solids_density;
    fed = fed || buffer[VOLUME] > 0.0;
    if (buffer[VOLUME] > 0.0) {
        cell_join(p, c, density);
    }
    cell_settle(p, c, density, interval);
    cell_meet_weather(p, c, weather, ledger, density, interval);
    cell_leak(p, c, f, ledger, density, interval);
    int64_t flags = 0;
    double excess = mud[VOLUME] + pond[VOLUME] - p->area * p->depth;
    if (excess > 0.0) {
        double over = min(excess, pond[VOLUME]);
        cell_remove(pond, over, ledger, OUT_SPILL);
        cell_remove(mud, excess - over, ledger, OUT_SPILL);
        c->overtopped += excess;
        flags = WARN_CELL;
    }
    cell_describe(p, c, density, weather->water);
    c->timer += interval;
    cell_next_state(p, c, fed);
    if (c->state == CELL_DIG && c->digging != 0 && pond[VOLUME] <= FILM * p->area) {
        cell_remove(mud, min(p->dig_rate * interval, mud[VOLUME]), ledger, OUT_DUG);
        if (mud[VOLUME] <= 1e-09 * p->area) {
            cell_remove(mud, mud[VOLUME], ledger, OUT_DUG);
            cell_enter(c, CELL_READY);
        }
        cell_describe(p, c, density, weather->water);
    }
    cell_open_weir(p, c, interval);
    return flags;
}

/* Volume of water in a row [m3], and never below zero by rounding. */
static double cell_pore_water(double *row, double density) {
    return max(row[VOLUME] - solids_of(row) / density, 0.0);
}

/* Volume of water over that of the solids; 0 where there are none. */
static double cell_void_ratio(double *row, double density) {
    double solids = solids_of(row) / density;
    return solids > 1e-12 ? max(row[VOLUME] - solids, 0.0) / solids : 0.0;
}

/* Let what arrived join the mud as fresh, unconsolidated mud. */
static void cell_join(const struct cell_p *p, struct cell_s *restrict c, double density) {
    double *mud = c->mud;
    double *buffer = c->buffer;
    double old = solids_of(mud) / density;
    double new = solids_of(buffer) / density;
    if (c->void_ <= c->end_void) {
        /* the old mud is done, or dried beyond it: it neither adds to the settlement to come nor takes from
         * it */
        c->start_void = c->void_;
        c->end_void = c->void_;
    }
    for (int64_t k = 0; k < NS; k++) {
        mud[k] += buffer[k];
        buffer[k] = 0.0;
    }
    double fresh = cell_pore_water(mud, density);
    if (p->gel_void > 0.0) {
        /* the old mud holds less than the gel point's water, so the whole is a fair test of the new */
        double held = p->gel_void * new + c->void_ * old;
        if (fresh > held) {
            cell_set_free(p, c, fresh - held, density);
        }
    }
    double solids = old + new;
    if (solids > 1e-12) {
        double arrived = max(cell_pore_water(mud, density) - c->void_ * old, 0.0);
        c->start_void = (c->start_void * old + arrived) / solids;
        c->end_void = (c->end_void * old + p->final_void * new) / solids;
    }
}

/* Move water [m3] from the mud to the pond, with what is dissolved in it and a little of the fines. */
static void cell_set_free(const struct cell_p *p, struct cell_s *restrict c, double water, double density) {
    double *mud = c->mud;
    double *pond = c->pond;
    double held = cell_pore_water(mud, density);
    if (water <= 0.0 || held <= 0.0) {
        return;
    }
    double part = min(water / held, 1.0);
    water = part * held;
    double temperature = mud[HEAT] / mud[VOLUME];
    /* fines leave at `decant_solids` times their concentration in the mud */
    double fines = min(p->decant_solids * water / mud[VOLUME], 1.0);
    double volume = water + fines * mud[FINES] / density;
    for (int64_t k = 1; k < NS; k++) {
        double moved;
        if ((k == COAG || k == POLY || k == POLY_SPENT)) {
            moved = part * mud[k];
        } else if ((k == FINES || k == CLAY || k == COAG_BOUND || k == POLY_BOUND)) {
            moved = fines * mud[k];
        } else if (k == HEAT) {
            moved = volume * temperature;
        } else {
            moved = 0.0;
        }
        mud[k] -= moved;
        pond[k] += moved;
    }
    mud[VOLUME] -= volume;
    pond[VOLUME] += volume;
}

/* No mud, no history. */
static void cell_forget(struct cell_s *restrict c) {
    c->void_ = 0.0;
    c->start_void = 0.0;
    c->end_void = 0.0;
    c->consolidated = 0.0;
}

/* Consolidate under own weight, drained upwards, by Terzaghi's law in its rate form. */
static void cell_settle(const struct cell_p *p, struct cell_s *restrict c, double density, double interval) {
    double *mud = c->mud;
    if (mud[VOLUME] <= 0.0) {
        cell_forget(c);
        return;
    }
    double solids = solids_of(mud) / density;
    if (solids <= 1e-09 * p->area) {
        cell_set_free(p, c, cell_pore_water(mud, density), density);
        cell_forget(c);
        return;
    }
    double void_ = cell_void_ratio(mud, density);
    double settlement = c->start_void - c->end_void;
    if (settlement <= 0.0 || void_ <= c->end_void) {
        c->consolidated = 1.0;
        c->void_ = void_;
        return;
    }
    double path = mud[VOLUME] / p->area;
    double degree = min(max((c->start_void - void_) / settlement, 0.0), 1.0);
    degree = advance_degree(degree, p->consolidation * interval / (path * path));
    double lower = c->start_void - degree * settlement;
    if (lower < void_) {
        cell_set_free(p, c, (void_ - lower) * solids, density);
        void_ = cell_void_ratio(mud, density);
    }
    c->consolidated = degree;
    c->void_ = void_;
}

/* Rain on the pond, evaporation from pond and mud, seepage through the floor. */
static void cell_meet_weather(const struct cell_p *p, struct cell_s *restrict c,
                              const struct weather *weather, double (*restrict ledger)[NS], double density,
                              double interval) {
    double *mud = c->mud;
    double *pond = c->pond;
    double rain = weather->rain * p->area * interval;
    if (rain > 0.0) {
        pond[VOLUME] += rain;
        double heat = rain * max(weather->air, 0.0);
        pond[HEAT] += heat;
        ledger[IN_RAIN][VOLUME] += rain;
        ledger[IN_RAIN][HEAT] += heat;
    }
    if (pond[VOLUME] > 0.0) {
        pond[HEAT] += (pond[VOLUME] * weather->water - pond[HEAT]) * -expm1(-interval / AMBIENT_TIME);
    }
    double demand = weather->evaporation * p->area * interval;
    if (demand > 0.0) {
        double taken = min(demand, cell_pore_water(pond, density));
        if (taken > 0.0) {
            cell_evaporate(pond, taken, ledger);
        }
        demand -= taken;
        if (demand > 0.0 && mud[VOLUME] > 0.0) {
            /* as depths of water: full rate down to the shrinkage void ratio, then declining */
            double depth = solids_of(mud) / density / p->area;
            double water = cell_pore_water(mud, density) / p->area;
            double potential = demand / (p->area * interval);
            double left =
                drying_step(water, p->shrink_void * depth, p->dry_void * depth, potential, interval);
            taken = (water - left) * p->area;
            if (taken > 0.0) {
                cell_evaporate(mud, taken, ledger);
            }
        }
    }
    if (p->seep > 0.0 && pond[VOLUME] > 0.0) {
        double water = cell_pore_water(pond, density);
        double part = water > 0.0 ? min(p->seep * p->area * interval / water, 1.0) : 0.0;
        cell_filter(pond, part, part * water, ledger);
    }
    if (pond[VOLUME] > 0.0 && cell_pore_water(pond, density) <= 1e-09 * p->area) {
        /* a dry pond leaves what it held on the mud */
        for (int64_t k = 0; k < NS; k++) {
            mud[k] += pond[k];
            pond[k] = 0.0;
        }
    }
}

/* Take pure water [m3] out of a row at its temperature. */
static void cell_evaporate(double *restrict row, double water, double (*restrict ledger)[NS]) {
    double heat = water * row[HEAT] / row[VOLUME];
    row[VOLUME] -= water;
    row[HEAT] -= heat;
    ledger[OUT_EVAPORATION][VOLUME] += water;
    ledger[OUT_EVAPORATION][HEAT] += heat;
}

/* Take a part of a row's water through the floor, dissolved matter with it, solids left behind. */
static void cell_filter(double *restrict row, double part, double water, double (*restrict ledger)[NS]) {
    if (part <= 0.0) {
        return;
    }
    double heat = water * row[HEAT] / row[VOLUME];
    row[VOLUME] -= water;
    row[HEAT] -= heat;
    ledger[OUT_SEEP][VOLUME] += water;
    ledger[OUT_SEEP][HEAT] += heat;
    for (int each = 0; each < 3; each++) {
        const int k = (const int[]){COAG, POLY, POLY_SPENT}[each];
        double moved = part * row[k];
        row[k] -= moved;
        ledger[OUT_SEEP][k] += moved;
    }
}

/* Take a volume [m3] of a whole row out of the plant; the row ends at exactly zero if all is taken. */
static void cell_remove(double *restrict row, double volume, double (*restrict ledger)[NS], int64_t out) {
    if (volume <= 0.0) {
        return;
    }
    double part = min(volume / row[VOLUME], 1.0);
    for (int64_t k = 0; k < NS; k++) {
        double moved = part * row[k];
        row[k] -= moved;
        ledger[out][k] += moved;
    }
}

/* Flow through a damaged wall: the pond first, then mud while it is wetter than its liquid limit. */
static void cell_leak(const struct cell_p *p, struct cell_s *restrict c, const struct cell_f *f,
                      double (*restrict ledger)[NS], double density, double interval) {
    if (f->leak <= 0.0) {
        return;
    }
    double *mud = c->mud;
    double volume = f->leak * interval;
    double taken = min(volume, c->pond[VOLUME]);
    cell_remove(c->pond, taken, ledger, OUT_SPILL);
    double liquid_void = p->liquid_limit * density * 0.001;
    if (volume > taken && mud[VOLUME] > 0.0 && cell_void_ratio(mud, density) > liquid_void) {
        cell_remove(mud, min(volume - taken, mud[VOLUME]), ledger, OUT_SPILL);
    }
}

/* Heights, water content and strength of what is in the cell now. */
static void cell_describe(const struct cell_p *p, struct cell_s *restrict c, double density,
                          double temperature) {
    double *mud = c->mud;
    c->mud_height = mud[VOLUME] / p->area;
    c->height = c->mud_height + c->pond[VOLUME] / p->area;
    c->full = c->height >= p->depth - p->freeboard ? 1.0 : 0.0;
    double solids = solids_of(mud);
    if (solids / density <= 1e-09 * p->area) {
        c->void_ = 0.0;
        c->water_content = 0.0;
        c->solids_fraction = 0.0;
        c->strength = 0.0;
        return;
    }
    c->void_ = cell_void_ratio(mud, density);
    double water = c->void_ * solids / density * water_density(temperature_of(mud, temperature));
    c->water_content = water / solids;
    c->solids_fraction = solids / (solids + water);
    double index = liquidity_index(c->water_content, p->plastic_limit, p->liquid_limit);
    c->strength = strength_vardanega_haigh(max(index, 0.0), p->liquid_strength, 35.0);
}

/* Enter a state and start its clock, unless already in it. */
static void cell_enter(struct cell_s *restrict c, int64_t state) {
    if (c->state != state) {
        c->state = state;
        c->timer = 0.0;
        if (state == CELL_FILL) {
            c->fills++;
        }
        if ((state == CELL_FILL || state == CELL_READY)) {
            c->digging = 0; /* the crew leaves an empty cell, and nobody digs where mud flows in */
        }
    }
}

/* The life of a cell; `fed`: its valve is open or mud arrived in the interval. */
static void cell_next_state(const struct cell_p *p, struct cell_s *restrict c, int64_t fed) {
    c->ready = 0.0;
    if (c->state == CELL_LOST) {
        return;
    }
    int64_t empty = c->mud[VOLUME] <= 1e-09 * p->area;
    if (c->overtopped > LOST_VOLUME) {
        cell_enter(c, CELL_LOST);
    } else if (fed) {
        cell_enter(c, CELL_FILL);
    } else if (empty) {
        cell_enter(c, CELL_READY);
    } else if (c->state == CELL_FILL) {
        cell_enter(c, CELL_DRAIN);
    } else if (c->state == CELL_DRAIN) {
        if (c->timer >= p->drain_time && c->pond[VOLUME] <= FILM * p->area) {
            cell_enter(c, CELL_DRY);
        }
    } else if (c->state == CELL_DRY && c->digging != 0 && c->strength >= p->dig_strength) {
        cell_enter(c, CELL_DIG);
    }
    int64_t room = c->mud_height + p->lift <= p->depth - p->freeboard;
    c->ready = (c->state == CELL_READY || (c->state == CELL_DRY && c->digging == 0 && room)) ? 1.0 : 0.0;
}

/* Let ponded water off at first order, evenly over the next interval. */
static void cell_open_weir(const struct cell_p *p, struct cell_s *restrict c, double interval) {
    double *pond = c->pond;
    double *release = c->release;
    if (p->decant_rate <= 0.0 || pond[VOLUME] <= 1e-09 * p->area) {
        for (int64_t k = 0; k < NS; k++) {
            release[k] = 0.0;
        }
        return;
    }
    /* never quite all of it, so that sixty subtractions cannot end below zero */
    double rate = min(-expm1(-p->decant_rate * interval), 1.0 - 1e-09) / interval;
    for (int64_t k = 0; k < NS; k++) {
        release[k] = pond[k] * rate;
    }
}
