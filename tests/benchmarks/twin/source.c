/* Where water and solids come from: the wash plant, a measured series in its place, and outside supplies; as
 * plantsim/kernels/source.py. */
#define WANDER_GRID 60.0

/* Move the wander up to the present grid point. */
static void source_wander(const struct source_p *p, struct source_s *restrict s,
                          struct clock *restrict clock) {
    int64_t grid = (int64_t)(clock->tick * clock->dt / WANDER_GRID + 1e-09);
    if (clock->calm != 0) {
        s->wander_feed = 0.0;
        s->wander_fines = 0.0;
        s->wander_steps = grid;
        return;
    }
    if (s->wander_steps >= grid) {
        return;
    }
    double a = exp(-WANDER_GRID / p->wander_time);
    double b = sqrt(1.0 - a * a);
    while (s->wander_steps < grid) {
        s->random = advance_state(s->random);
        s->wander_feed = a * s->wander_feed + b * p->wander_feed * normal(s->random);
        s->random = advance_state(s->random);
        s->wander_fines = a * s->wander_fines + b * p->wander_fines * normal(s->random);
        s->wander_steps++;
    }
}

/* Whether the plant washes in this step: calendar, permit, and water with hysteresis. */
static int64_t source_may_run(const struct source_p *p, struct source_s *restrict s, double *tags,
                              double (*restrict offers)[NO], double dt) {
    if (s->on == 0 || (p->permit >= 0 && tags[p->permit] <= 0.5)) {
        return 0;
    }
    if (p->offer >= 0) {
        double water = offers[p->offer][VOLUME];
        if (s->dry != 0) {
            if (water >= max(p->back_water, p->low_water)) {
                s->dry = 0;
            }
        } else if (water < p->low_water) {
            s->dry = 1;
            s->dry_stops++;
        }
        if (s->dry != 0) {
            s->dry_time += dt;
            return 0;
        }
    }
    s->run_time += dt;
    return 1;
}

/* Move to the row of the series for this time; returns the weight of the next row. */
static double source_measured(const struct source_p *p, struct source_s *restrict s, double time,
                              const double *tables) {
    int64_t last = p->series_rows - 1;
    while (s->row < last && time >= tables[p->series + 3 * (s->row + 1)]) {
        s->row++;
    }
    if (s->row >= last) {
        return 0.0;
    }
    double begin = tables[p->series + 3 * s->row];
    if (time <= begin) {
        return 0.0;
    }
    return (time - begin) / (tables[p->series + 3 * (s->row + 1)] - begin);
}

/* Wash for one step; returns warning bits. */
static int64_t step_source(const struct source_p *p, struct source_s *restrict s, const struct material *m,
                           struct clock *restrict clock, double *tags, const double *tables,
                           double (*restrict streams)[NS], double (*restrict offers)[NO],
                           double (*restrict ledger)[NS], double dt) {
    int64_t wanders = p->wander_feed > 0.0 || p->wander_fines > 0.0;
    if (wanders) {
        source_wander(p, s, clock);
    }
    int64_t run = source_may_run(p, s, tags, offers, dt);
    s->running = run ? 1 : 0;
    double target = run ? 1.0 : 0.0;
    if (s->load != target) {
        s->load = p->ramp > 0.0 ? target + (s->load - target) * exp(-dt / p->ramp) : target;
        if (fabs(s->load - target) < 1e-06) {
            s->load = target;
        }
    }
    int64_t measured = p->series >= 0;
    if ((measured && !run) || (!measured && s->load <= 0.0)) {
        if (s->flow != 0.0) {
            s->flow = 0.0;
            s->solids = 0.0;
            s->concentration = 0.0;
            no_flow(streams, p->out);
            if (p->draw >= 0) {
                no_flow(streams, p->draw);
            }
        }
        return 0;
    }
    int64_t inside = p->offer >= 0;
    double carried = 0.0; /* solids that come with the wash water [kg/m3] */
    if (inside) {
        carried = offers[p->offer][COARSE] + offers[p->offer][FINES] + offers[p->offer][COLLOID];
    }
    double inverse_density = 1.0 / m->solids_density;
    double water;
    double moisture;
    double feed;
    double fines;
    double coarse;
    if (measured) {
        double part = source_measured(p, s, clock->tick * clock->dt, tables);
        int64_t cell = p->series + 3 * s->row;
        double flow = tables[cell + 1];
        double solids = tables[cell + 2];
        if (part > 0.0) {
            flow += part * (tables[cell + 4] - flow);
            solids += part * (tables[cell + 5] - solids);
        }
        flow *= s->feed_factor;
        solids *= s->fines_factor;
        double added = max(0.0, flow * (solids - carried) / (1.0 - carried * inverse_density));
        water = flow - added * inverse_density;
        moisture = 0.0;
        double total = p->fines + p->coarse;
        feed = total > 0.0 ? added / total : 0.0;
        fines = feed * p->fines;
        coarse = feed * p->coarse;
    } else {
        feed = p->production * s->feed_factor * s->load * max(0.0, 1.0 + s->wander_feed);
        fines = feed * p->fines * s->fines_factor * max(0.0, 1.0 + s->wander_fines);
        coarse = feed * p->coarse;
        fines = min(fines, feed - min(coarse, feed));
        water = feed * p->wash_ratio;
        moisture = min(feed * p->moisture, water);
    }
    int64_t flags = 0;
    if (inside) {
        double most = max(0.0, offers[p->offer][VOLUME]) / dt;
        if (water > most) {
            flags = WARN_LOW;
            double cut = most / water;
            water = most;
            moisture *= cut;
            feed *= cut;
            fines *= cut;
            coarse *= cut;
        }
    }
    int64_t out = p->out;
    streams[out][VOLUME] = water;
    double temperature;
    if (inside) {
        offers[p->offer][VOLUME] -= water * dt;
        for (int64_t k = 1; k < NS; k++) {
            streams[out][k] = water * offers[p->offer][k];
        }
        if (p->draw >= 0) {
            for (int64_t k = 0; k < NS; k++) {
                streams[p->draw][k] = streams[out][k];
            }
        }
        temperature = offers[p->offer][HEAT];
    } else {
        temperature = p->temperature;
        for (int64_t k = 1; k < NS; k++) {
            streams[out][k] = 0.0;
        }
        streams[out][HEAT] = water * temperature;
        ledger[IN_SUPPLY][VOLUME] += water * dt;
        ledger[IN_SUPPLY][HEAT] += water * temperature * dt;
    }
    if (moisture > 0.0) {
        streams[out][VOLUME] -= moisture;
        streams[out][HEAT] -= moisture * temperature;
        ledger[OUT_PRODUCT][VOLUME] += moisture * dt;
        ledger[OUT_PRODUCT][HEAT] += moisture * temperature * dt;
        if (inside) {
            for (int each = 0; each < 3; each++) {
                const int k = (const int[]){COAG, POLY, POLY_SPENT}[each];
                double lost = moisture * offers[p->offer][k];
                streams[out][k] -= lost;
                ledger[OUT_PRODUCT][k] += lost * dt;
            }
        }
    }
    double colloid = fines * p->colloid;
    fines -= colloid;
    double clay = fines * s->clay;
    double solid_volume = (coarse + fines + colloid) * inverse_density;
    streams[out][VOLUME] += solid_volume;
    streams[out][COARSE] += coarse;
    streams[out][FINES] += fines;
    streams[out][COLLOID] += colloid;
    streams[out][CLAY] += clay;
    streams[out][HEAT] += solid_volume * temperature;
    ledger[IN_FEED][VOLUME] += solid_volume * dt;
    ledger[IN_FEED][COARSE] += coarse * dt;
    ledger[IN_FEED][FINES] += fines * dt;
    ledger[IN_FEED][COLLOID] += colloid * dt;
    ledger[IN_FEED][CLAY] += clay * dt;
    ledger[IN_FEED][HEAT] += solid_volume * temperature * dt;
    s->flow = streams[out][VOLUME];
    s->solids = streams[out][COARSE] + streams[out][FINES] + streams[out][COLLOID];
    s->concentration = s->flow > 0.0 ? s->solids / s->flow : 0.0;
    s->washed += feed * dt;
    return flags;
}

/* Let in outside water: capacity times valve position, while the outside source holds. */
static int64_t step_supply(const struct supply_p *p, struct supply_s *restrict s,
                           const struct weather *weather, struct actuator_s *actuators,
                           double (*restrict streams)[NS], double (*restrict ledger)[NS], double dt) {
    double flow = p->capacity * s->available;
    if (p->actuator >= 0) {
        flow *= actuators[p->actuator].position;
    }
    if (flow <= 0.0) {
        if (s->flow != 0.0) {
            s->flow = 0.0;
            no_flow(streams, p->out);
        }
        return 0;
    }
    s->flow = flow;
    s->total += flow * dt;
    double temperature = p->temperature >= -90.0 ? p->temperature : weather->water;
    int64_t row = p->out;
    streams[row][VOLUME] = flow;
    streams[row][FINES] = flow * p->fines;
    streams[row][COLLOID] = flow * p->colloid;
    streams[row][HEAT] = flow * temperature;
    ledger[IN_SUPPLY][VOLUME] += flow * dt;
    ledger[IN_SUPPLY][FINES] += streams[row][FINES] * dt;
    ledger[IN_SUPPLY][COLLOID] += streams[row][COLLOID] * dt;
    ledger[IN_SUPPLY][HEAT] += streams[row][HEAT] * dt;
    return 0;
}
