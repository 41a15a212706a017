/* A chamber filter press fed from a mud tank: fill, squeeze, open, wait; as plantsim/kernels/press.py. */
#define VISCOSITY_20 0.0010016
#define LATE 1e-06

static int64_t press_fill(const struct press_p *p, struct press_s *restrict s, const struct material *m,
                          struct motor_s *motors, double (*restrict streams)[NS],
                          double (*restrict offers)[NO], double dt);
static double press_filtration(const struct press_p *p, struct press_s *restrict s, double speed,
                               double temperature, double kept, double filtrate, double dt);

/* Run the press for one step; returns warning bits. */
static int64_t step_press(const struct press_p *p, struct press_s *restrict s, const struct material *m,
                          struct motor_s *motors, double *tags, double (*restrict streams)[NS],
                          double (*restrict offers)[NO], double (*restrict ledger)[NS], double dt) {
    s->timer += dt;
    int64_t state = s->state;
    if (state == PRESS_FILL) {
        int64_t flags = press_fill(p, s, m, motors, streams, offers, dt);
        if (s->held[VOLUME] >= p->chambers * (1.0 - 1e-09) || s->timer >= p->fill_limit - LATE) {
            s->state = PRESS_SQUEEZE;
            s->timer = 0.0;
        }
        return flags;
    }
    if (s->flow != 0.0) {
        s->flow = 0.0;
        s->filtrate_flow = 0.0;
        no_flow(streams, p->draw);
        no_flow(streams, p->filtrate);
    }
    if (state == PRESS_WAIT) {
        if ((p->permit < 0 || tags[p->permit] > 0.5) && offers[p->offer][VOLUME] >= p->start_volume) {
            s->state = PRESS_FILL;
            s->timer = 0.0;
        }
    } else if (state == PRESS_SQUEEZE) {
        if (s->timer >= p->squeeze_time - LATE) {
            s->cake += s->held[COARSE] + s->held[FINES] + s->held[COLLOID];
            s->cake_volume += s->held[VOLUME];
            s->cycles++;
            for (int64_t k = 0; k < NS; k++) {
                ledger[OUT_CAKE][k] += s->held[k];
                s->held[k] = 0.0;
            }
            s->state = PRESS_OPEN;
            s->timer = 0.0;
        }
    } else if (s->timer >= p->open_time - LATE) {
        s->state = PRESS_WAIT;
        s->timer = 0.0;
    }
    return 0;
}

/* Pump mud into the chambers for one step; returns warning bits. */
static int64_t press_fill(const struct press_p *p, struct press_s *restrict s, const struct material *m,
                          struct motor_s *motors, double (*restrict streams)[NS],
                          double (*restrict offers)[NO], double dt) {
    int64_t offer = p->offer;
    double *held = s->held;
    double speed = motors[p->motor].speed;
    /* one cubic metre of mud: what of it stays in the cake */
    double coarse = offers[offer][COARSE];
    double fines = offers[offer][FINES];
    double colloid = offers[offer][COLLOID];
    double kept = coarse + (fines + colloid) * (1.0 - p->filtrate_solids);
    double temperature = offers[offer][HEAT];
    double water = 1.0 - (coarse + fines + colloid) / m->solids_density;
    double moisture =
        min(water, kept * (1.0 - p->cake_fraction) / (p->cake_fraction * water_density(temperature)));
    double bulk = kept / m->solids_density + moisture;
    double passed = (fines + colloid) * p->filtrate_solids / m->solids_density;
    if (moisture >= water) {
        /* thicker than the cake: no water is left to carry anything through the cloth */
        passed = 0.0;
        bulk = 1.0;
    }
    double filtrate = water - moisture + passed;
    double flow = p->max_flow * speed;
    if (filtrate > 0.0 && flow > 0.0) {
        flow = min(flow, press_filtration(p, s, speed, temperature, kept, filtrate, dt));
    }
    /* no more than the chambers still take, or the tank has */
    flow = bulk > 0.0 ? min(flow, max(0.0, p->chambers - held[VOLUME]) / (bulk * dt)) : flow;
    int64_t flags = 0;
    double most = max(0.0, offers[offer][VOLUME]) / dt;
    if (flow > most) {
        flow = most;
        flags = WARN_LOW;
    }
    offers[offer][VOLUME] -= flow * dt;
    int64_t draw = p->draw;
    int64_t out = p->filtrate;
    streams[draw][VOLUME] = flow;
    for (int64_t k = 1; k < NS; k++) {
        streams[draw][k] = flow * offers[offer][k];
    }
    double wet = water > 0.0 ? (water - moisture) / water : 0.0;
    double through = passed > 0.0 ? p->filtrate_solids : 0.0;
    streams[out][VOLUME] = flow * filtrate;
    streams[out][COARSE] = 0.0;
    for (int each = 0; each < 5; each++) {
        const int k = (const int[]){FINES, COLLOID, CLAY, COAG_BOUND, POLY_BOUND}[each];
        streams[out][k] = streams[draw][k] * through;
    }
    for (int each = 0; each < 3; each++) {
        const int k = (const int[]){COAG, POLY, POLY_SPENT}[each];
        streams[out][k] = streams[draw][k] * wet;
    }
    streams[out][HEAT] = streams[draw][HEAT] * filtrate;
    for (int64_t k = 0; k < NS; k++) {
        held[k] += (streams[draw][k] - streams[out][k]) * dt;
    }
    s->flow = flow;
    s->filtrate_flow = flow * filtrate;
    return flags;
}

/* Mean mud flow [m3/s] over a step that the pressure drives through cake and cloth. */
static double press_filtration(const struct press_p *p, struct press_s *restrict s, double speed,
                               double temperature, double kept, double filtrate, double dt) {
    double drive = p->area * p->pressure * speed * speed / (VISCOSITY_20 * relative_viscosity(temperature));
    double cake = s->held[COARSE] + s->held[FINES] + s->held[COLLOID];
    double resistance = p->cake_resistance * cake / p->area + p->cloth_resistance;
    double growth = 2.0 * p->cake_resistance / p->area * kept / filtrate * drive * dt;
    /* (sqrt(r^2 + growth) - r) / growth written without cancellation; it also covers clear water, growth = 0
     */
    double root = sqrt(resistance * resistance + growth);
    return root + resistance > 0.0 ? 2.0 * drive / (filtrate * (root + resistance)) : p->max_flow;
}
