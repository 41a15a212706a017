/* A clarifier/thickener in layers: settling, compression, bulk flow and level; as
 * plantsim/kernels/clarifier.py. */
#define SPLIT 0.5
#define AT_ROW 0
#define AT_UNDER 16
#define AT_ROOM 1
#define AT_DOWN 2
#define AT_UP 3
#define AT_FALL 4
#define AT_RISE 5
#define AT_COARSE 6
#define AT_SPEED 7
#define AT_TAKE 8
#define AT_SEND 9
#define AT_STRESS 10
#define AT_INVERSE 12
#define AT_FLUX (AT_SPEED)

static void clarifier_regrid(const struct clarifier_p *p, struct clarifier_s *restrict s,
                             const double *restrict tables, double *restrict layers);
static void clarifier_book(const struct clarifier_p *p, struct clarifier_s *restrict s,
                           double *restrict layers, double (*restrict ledger)[NS], double *restrict under,
                           const struct material *m, double rain, double evaporation, double air, double dt);
static void clarifier_flows(const struct clarifier_p *p, struct clarifier_s *restrict s,
                            const double *restrict tables, double *restrict scratch, int64_t feed_layer,
                            int64_t clear_layer, double feed, double drawn, double channelled, double over);
static void clarifier_drift(const struct clarifier_p *p, struct clarifier_s *restrict s, double water,
                            double *restrict layers, int64_t clear_layer, double dt);
static int64_t clarifier_settle(const struct clarifier_p *p, struct clarifier_s *restrict s,
                                const struct material *m, const double *restrict tables,
                                double *restrict layers, double *restrict scratch, double slip, double dt);
static void clarifier_transport(const struct clarifier_p *p, const double *restrict tables,
                                double *restrict layers, double *restrict scratch, int64_t top,
                                int64_t feed_layer, int64_t clear_layer, double channelled, double stays,
                                double after, int64_t first, int64_t end);

/* Width of a work array: n + 1 numbers, in whole cache lines. */
static int64_t clarifier_wide(int64_t n) {
    return (n + 39) / 8 * 8;
}

/* Flow over the weir until the layers' next step: what stands above it at the start; writes the stream. */
static void spill_clarifier(const struct clarifier_p *p, struct clarifier_s *restrict s,
                            const double *restrict tables, double (*restrict streams)[NS],
                            double *restrict layers, double dt) {
    if (s->waited > 0) {
        return;
    }
    double flow = 0.0;
    if (s->top == 0) {
        flow = max(0.0, (s->top_volume - tables[p->volumes]) / (dt * max(p->every, (int64_t)1)));
    }
    s->overflow = flow;
    if (p->overflow < 0) {
        return;
    }
    if (flow == 0.0) {
        no_flow(streams, p->overflow);
        return;
    }
    streams[p->overflow][VOLUME] = flow;
    for (int64_t k = 1; k < NS; k++) {
        streams[p->overflow][k] = flow * layers[p->pool + k * p->layers];
    }
}

/* Add up what passes the tank's boundary between two steps of its layers; returns the ticks since the last. */
static int64_t clarifier_collect(const struct clarifier_p *p, struct clarifier_s *restrict s,
                                 const int64_t *links, double (*restrict streams)[NS], double dt) {
    for (int64_t i = p->inlets; i < p->inlets + p->n_inlets; i++) {
        const double *restrict row = streams[links[i]];
        for (int64_t k = 0; k < NS; k++) {
            s->fed[k] += row[k] * dt;
        }
    }
    for (int64_t i = p->outlets; i < p->outlets + p->n_outlets; i++) {
        const double *restrict row = streams[links[i]];
        if (row[VOLUME] != 0.0) {
            for (int64_t k = 0; k < NS; k++) {
                s->drawn[k] += row[k] * dt;
            }
        }
    }
    s->spilt += s->overflow * dt;
    s->waited += 1;
    return s->waited;
}

/* Move the layers, bed, rake and channel over one step of theirs; returns warning bits. */
static int64_t clarifier_layers(const struct clarifier_p *p, struct clarifier_s *restrict s,
                                const struct clarifier_f *f, const struct material *m,
                                const struct weather *weather, struct motor_s *motor_s,
                                struct actuator_s *actuator_s, const int64_t *links,
                                const double *restrict tables, double (*restrict streams)[NS],
                                double (*restrict offers)[NO], double *restrict layers,
                                double (*restrict ledger)[NS], double *restrict scratch, double dt) {
    int64_t n = p->layers;
    int64_t flags = 0;
    double *feed = scratch + AT_ROW;
    double *under = scratch + AT_UNDER;
    if (p->every > 1) {
        double per_second = 1.0 / dt;
        for (int64_t k = 0; k < NS; k++) {
            feed[k] = s->fed[k] * per_second;
            under[k] = s->drawn[k] * per_second;
            s->fed[k] = 0.0;
            s->drawn[k] = 0.0;
        }
        s->spilt = 0.0;
        s->waited = 0;
    } else {
        gather(links, p->inlets, p->n_inlets, streams, feed);
        gather(links, p->outlets, p->n_outlets, streams, under);
    }
    double flow = feed[VOLUME];
    if (flow > 0.0 && p->rigid == 0) {
        if (p->shear > 0.0 && p->feedwell > 0.0) {
            double bound = feed[POLY_BOUND];
            flags |= react(feed, p->feedwell / flow, m, ledger, dt);
            if (p->broken > 0.0) {
                bound = p->broken * (feed[POLY_BOUND] - bound);
                feed[POLY_BOUND] -= bound;
                feed[POLY_SPENT] += bound;
                ledger[REACTION][POLY_BOUND] -= bound * dt;
                ledger[REACTION][POLY_SPENT] += bound * dt;
            }
        }
        s->settling_factor = settling_factor(feed[FINES], feed[CLAY], feed[POLY_BOUND], m);
    }
    s->feed_flow = flow;
    s->feed_solids = feed[COARSE] + feed[FINES] + feed[COLLOID];
    double drawn = under[VOLUME];
    s->underflow = drawn;
    double rain = 0.0;
    double evaporation = 0.0;
    if (p->open_area > 0.0) {
        rain = weather->rain * p->open_area * dt;
        evaporation = min(weather->evaporation * p->open_area * dt, 0.1 * s->top_volume);
    }
    clarifier_book(p, s, layers, ledger, under, m, rain, evaporation, weather->air, dt);
    for (int64_t k = 0; k < NS; k++) {
        feed[k] *= dt;
        under[k] *= dt;
    }
    int64_t top = s->top;
    int64_t feed_layer = min(max(p->feed_layer, top), n - 1);
    int64_t clear_layer = clear_layer_of(p, s);
    double channelled = drawn > 0.0 ? s->channel * drawn * dt : 0.0;
    double over = s->overflow * dt;
    if (p->ambient_rate > 0.0) {
        clarifier_drift(p, s, weather->water, layers, clear_layer, dt);
    }
    double slip = 0.0;
    if (p->rigid == 0 && p->c_gel > 0.0) {
        slip = m->coarse_velocity * dt * relative_fluidity(layers[p->pool + HEAT * n + feed_layer]);
    }
    clarifier_flows(p, s, tables, scratch, feed_layer, clear_layer, feed[VOLUME], under[VOLUME], channelled,
                    over);
    flags |= clarifier_settle(p, s, m, tables, layers, scratch, slip, dt);
    double stays = s->top_volume - over;
    double after = stays + feed[VOLUME] - under[VOLUME] + (rain - evaporation);
    if (after < 0.01 * stays) {
        /* more was drawn than was offered: amounts stay exact, the level no longer means anything */
        flags |= WARN_LOW;
        after = 0.01 * stays;
    }
    double heat = rain * weather->air - evaporation * layers[p->pool + HEAT * n + top];
    clarifier_transport(p, tables, layers, scratch, top, feed_layer, clear_layer, channelled, stays, after, 1,
                        6);
    clarifier_transport(p, tables, layers, scratch, top, feed_layer, clear_layer, channelled, stays, after, 6,
                        NS);
    layers[p->pool + HEAT * n + top] += heat / after;
    s->volume += after - s->top_volume;
    s->top_volume = after;
    if (after < MERGE * tables[p->volumes + top] || (top > 0 && after > tables[p->volumes + top])) {
        clarifier_regrid(p, s, tables, layers);
    }
    flags |= column(p, s, m, tables, layers);
    turn_rake(p, s, f, m, motor_s, actuator_s, layers, dt);
    open_channel(p, s, tables, layers, dt);
    offer_underflow(p, s, m, tables, offers, layers);
    return flags;
}

/* Take in the streams of one tick and, when it is time, step the layers; returns warning bits. */
static int64_t step_clarifier(const struct clarifier_p *p, struct clarifier_s *restrict s,
                              const struct clarifier_f *f, const struct material *m,
                              const struct weather *weather, struct motor_s *motor_s,
                              struct actuator_s *actuator_s, const int64_t *links,
                              const double *restrict tables, double (*restrict streams)[NS],
                              double (*restrict offers)[NO], double *restrict layers,
                              double (*restrict ledger)[NS], double *restrict scratch, double dt) {
    if (p->every > 1 && clarifier_collect(p, s, links, streams, dt) < p->every) {
        return 0;
    }
    return clarifier_layers(p, s, f, m, weather, motor_s, actuator_s, links, tables, streams, offers, layers,
                            ledger, scratch, dt * max(p->every, (int64_t)1));
}

/* Bulk flow through every interface and what each layer can still lose by settling [m3 in this step]. */
static void clarifier_flows(const struct clarifier_p *p, struct clarifier_s *restrict s,
                            const double *restrict tables, double *restrict scratch, int64_t feed_layer,
                            int64_t clear_layer, double feed, double drawn, double channelled, double over) {
    int64_t n = p->layers;
    int64_t wide = clarifier_wide(n);
    double *restrict room = scratch + AT_ROOM * wide;
    double *restrict down = scratch + AT_DOWN * wide;
    double *restrict up = scratch + AT_UP * wide;
    const double *restrict held = tables + p->volumes;
    int64_t top = s->top;
    double bottom = drawn - channelled;
    for (int64_t i = 0; i < n; i++) {
        double q = bottom;
        q += i <= clear_layer ? channelled : 0.0;
        q -= i <= feed_layer ? feed : 0.0;
        q = i > top ? q : 0.0;
        double fall = q > 0.0 ? q : 0.0;
        down[i] = fall;
        up[i] = fall - q;
    }
    down[n] = 0.0; /* the underflow itself is taken out as a row */
    up[n] = 0.0;
    for (int64_t j = 0; j < n; j++) {
        room[j] = held[j] - down[j + 1] - up[j];
    }
    room[top] += s->top_volume - held[top] - over;
    room[clear_layer] -= channelled;
    room[n - 1] -= max(bottom, 0.0);
    for (int64_t j = 0; j < top; j++) {
        room[j] = 0.0;
    }
}

/* Settling factor of every layer over the viscosity of its water, in one sweep. */
static void clarifier_speeds(const struct clarifier_p *p, const struct material *m, double *restrict layers,
                             double *restrict scratch) {
    int64_t n = p->layers;
    int64_t wide = clarifier_wide(n);
    double *restrict speed = scratch + AT_SPEED * wide;
    double *restrict fines = layers + p->pool + FINES * n;
    double *restrict clay = layers + p->pool + CLAY * n;
    double *restrict bound = layers + p->pool + POLY_BOUND * n;
    double *restrict heat = layers + p->pool + HEAT * n;
    double gain = 4.0 * (m->poly_gain - 1.0);
    double best = m->poly_optimum;
    double stick = m->poly_optimum_clay;
    double slow = m->clay_slowing - 1.0;
    for (int64_t j = 0; j < n; j++) {
        double some = fines[j];
        double inverse = 1.0 / (some > 1e-09 ? some : 1e-09);
        double share = clay[j] * inverse;
        share = share < 1.0 ? share : 1.0;
        double optimum = best * (1.0 + stick * share);
        double drag = 1.0 + slow * share;
        double both = 1.0 / (optimum * drag);
        double cover = 0.5 * bound[j] * inverse * drag * both;
        cover = cover < 1.0 ? cover : 1.0;
        double factor = (1.0 + gain * cover * (1.0 - cover)) * optimum * both;
        factor = some > 1e-09 ? factor : 1.0;
        double d = heat[j] - 20.0;
        speed[j] = factor * (1.0 + d * (0.02450403 + d * (0.0001169955 + d * -3.086845e-07)));
    }
}

/* Settling and compression, added to the bulk flow of the solids; returns warning bits. */
static int64_t clarifier_settle(const struct clarifier_p *p, struct clarifier_s *restrict s,
                                const struct material *m, const double *restrict tables,
                                double *restrict layers, double *restrict scratch, double slip, double dt) {
    int64_t n = p->layers;
    int64_t wide = clarifier_wide(n);
    double *restrict room = scratch + AT_ROOM * wide;
    double *restrict down = scratch + AT_DOWN * wide;
    double *restrict up = scratch + AT_UP * wide;
    double *restrict fall = scratch + AT_FALL * wide;
    double *restrict rise = scratch + AT_RISE * wide;
    double *restrict coarse = scratch + AT_COARSE * wide;
    double *restrict speed = scratch + AT_SPEED * wide;
    double *restrict take = scratch + AT_TAKE * wide;
    double *restrict send = scratch + AT_SEND * wide;
    double *restrict stress = scratch + AT_STRESS * wide;
    double *restrict total = layers + p->pool;
    const double *restrict held = tables + p->volumes;
    const double *restrict areas = tables + p->areas;
    const double *restrict f_table = tables + p->flux;
    const double *restrict a_table = tables + p->compression;
    int64_t last = p->n_flux - 2;
    double per = (p->n_flux - 1) / p->c_max;
    double c_hat = p->c_hat;
    double capture = p->capture;
    if (p->rigid == 0) {
        clarifier_speeds(p, m, layers, scratch);
    } else {
        for (int64_t j = 0; j < n; j++) {
            speed[j] = 1.0;
        }
    }
    double x;
    int64_t i;
    for (int64_t j = 0; j < n; j++) {
        x = total[j] * per;
        i = (int64_t)x;
        i = i < last ? i : last;
        i = i > 0 ? i : 0;
        x -= i;
        x = x < 1.0 ? x : 1.0;
        take[j] = f_table[i] + x * (f_table[i + 1] - f_table[i]);
        stress[j] = a_table[i] + x * (a_table[i + 1] - a_table[i]);
    }
    x = c_hat * per;
    i = min((int64_t)x, last);
    double greatest = f_table[i] + (x - i) * (f_table[i + 1] - f_table[i]);
    /* what each layer can send down and what it can take */
    double haze = c_hat / (c_hat + capture);
    capture += 1e-30;
    for (int64_t j = 0; j < n; j++) {
        double c = total[j];
        double low = c < c_hat ? c : c_hat;
        double f = take[j];
        send[j] = speed[j] * (c < c_hat ? f : greatest) * (low / (low + capture));
        take[j] = speed[j] * (c > c_hat ? f : greatest) * haze;
    }
    double per_height = 0.5 / p->height;
    for (int64_t i = 1; i < n; i++) {
        double g = send[i - 1] < take[i] ? send[i - 1] : take[i];
        double pull = (speed[i - 1] + speed[i]) * (stress[i] - stress[i - 1]) * per_height;
        fall[i] = (g - pull) * areas[i] * dt;
    }
    /* from solids to volumes of mixture, held to what the layers can lose */
    for (int64_t i = 1; i < n; i++) {
        double g = fall[i];
        double moved = g / ((g > 0.0 ? total[i - 1] : total[i]) + 1e-30);
        fall[i] = moved > 0.0 ? moved : 0.0;
        double back = fall[i] - moved;
        rise[i] = back < room[i] ? back : room[i];
    }
    for (int64_t i = 0; i < s->top + 1; i++) {
        fall[i] = 0.0;
        rise[i] = 0.0;
    }
    for (int64_t i = 1; i < n; i++) {
        double left = room[i - 1] - rise[i - 1];
        left = left > 0.0 ? left : 0.0;
        fall[i] = fall[i] < left ? fall[i] : left;
        send[i] = left - fall[i]; /* what is left for the slip of the coarse */
    }
    double per_gel = p->c_gel > 0.0 ? 1.0 / p->c_gel : 0.0;
    double per_max = 1.0 / p->c_max;
    for (int64_t i = 1; i < n; i++) {
        double free = 1.0 - total[i - 1] * per_gel;
        free = free > 0.0 ? free : 0.0;
        double below = 1.0 - total[i] * per_max;
        below = below > 0.0 ? below : 0.0;
        double extra = slip * areas[i] * (free * free * free) * below;
        coarse[i] = extra < send[i] ? extra : send[i];
    }
    for (int64_t i = 0; i < s->top + 1; i++) {
        coarse[i] = 0.0;
    }
    int64_t near = 0;
    for (int64_t i = 1; i < n; i++) {
        near += send[i] - coarse[i] < 0.1 * held[i - 1] ? 1 : 0;
    }
    for (int64_t i = 0; i < s->top + 1; i++) {
        near -= (i > 0 && send[i] - coarse[i] < 0.1 * held[i - 1]) ? 1 : 0;
    }
    for (int64_t i = 0; i < n; i++) {
        fall[i] += down[i];
        coarse[i] += fall[i];
    }
    double spare = room[n - 1] - rise[n - 1];
    for (int64_t i = 0; i < n; i++) {
        rise[i] += up[i];
    }
    if (near > 0 || spare < 0.1 * held[n - 1]) {
        return WARN_COURANT;
    }
    return 0;
}

/* Carry the components first..end-1 (at most five) over one step, in flux form: what leaves one layer enters
 * the next, to the last bit of it. Feed and underflow rows are amounts in this step; `stays` is what the top
 * layer keeps of its volume after the overflow, `after` what it holds at the end of the step. */
static void clarifier_transport(const struct clarifier_p *p, const double *restrict tables,
                                double *restrict layers, double *restrict scratch, int64_t top,
                                int64_t feed_layer, int64_t clear_layer, double channelled, double stays,
                                double after, int64_t first, int64_t end) {
    int64_t n = p->layers;
    int64_t wide = clarifier_wide(n);
    double *restrict inverse = scratch + AT_INVERSE * wide;
    if (first == 1) {
        const double *restrict held = tables + p->volumes;
        for (int64_t j = 0; j < n; j++) {
            inverse[j] = 1.0 / held[j];
        }
    }
    double per_after = 1.0 / after;
    for (int64_t k = first; k < end; k++) {
        double *restrict c = layers + p->pool + k * n;
        int64_t slot = (AT_FLUX + k - first) * wide;
        double *restrict flux = scratch + slot;
        int64_t d = AT_DOWN;
        int64_t u = AT_UP;
        if (k == COARSE) {
            d = AT_COARSE;
            u = AT_RISE;
        } else if ((k == FINES || k == CLAY || k == COAG_BOUND || k == POLY_BOUND)) {
            d = AT_FALL;
            u = AT_RISE;
        }
        double *restrict down = scratch + d * wide;
        double *restrict up = scratch + u * wide;
        flux[0] = 0.0;
        flux[n] = 0.0;
        for (int64_t i = 1; i < n; i++) {
            flux[i] = down[i] * c[i - 1] - up[i] * c[i];
        }
    }
    for (int64_t k = first; k < end; k++) {
        double *restrict c = layers + p->pool + k * n;
        int64_t slot = (AT_FLUX + k - first) * wide;
        double *restrict flux = scratch + slot;
        double highest = c[top];
        double from_clear = channelled * c[clear_layer];
        for (int64_t j = 0; j < n; j++) {
            c[j] += inverse[j] * (flux[j] - flux[j + 1]);
        }
        c[top] = (highest * stays + (flux[top] - flux[top + 1])) * per_after;
        c[feed_layer] += (feed_layer == top ? per_after : inverse[feed_layer]) * scratch[AT_ROW + k];
        c[clear_layer] -= (clear_layer == top ? per_after : inverse[clear_layer]) * from_clear;
        c[n - 1] -= (top == n - 1 ? per_after : inverse[n - 1]) * (scratch[AT_UNDER + k] - from_clear);
    }
}

/* Write down what passes the tank's boundary in this step, from the state at its start. */
static void clarifier_book(const struct clarifier_p *p, struct clarifier_s *restrict s,
                           double *restrict layers, double (*restrict ledger)[NS], double *restrict under,
                           const struct material *m, double rain, double evaporation, double air, double dt) {
    if (rain > 0.0) {
        ledger[IN_RAIN][VOLUME] += rain;
        ledger[IN_RAIN][HEAT] += rain * air;
    }
    if (evaporation > 0.0) {
        ledger[OUT_EVAPORATION][VOLUME] += evaporation;
        ledger[OUT_EVAPORATION][HEAT] += evaporation * layers[p->pool + HEAT * p->layers + s->top];
    }
    if (s->overflow > 0.0) {
        double over = s->overflow * dt;
        s->out_volume += over;
        s->solids_lost += over * s->overflow_solids;
        if (p->overflow < 0) {
            ledger[OUT_SPILL][VOLUME] += over;
            for (int64_t k = 1; k < NS; k++) {
                ledger[OUT_SPILL][k] += over * layers[p->pool + k * p->layers];
            }
        }
    }
    double drawn = under[VOLUME];
    if (drawn > 0.0) {
        double solids = under[COARSE] + under[FINES] + under[COLLOID];
        s->under_volume += drawn * dt;
        s->under_solids += solids * dt;
        s->underflow_solids = solids / drawn;
        s->underflow_density = slurry_density(s->underflow_solids, m->solids_density, under[HEAT] / drawn);
        s->underflow_fraction = s->underflow_solids / s->underflow_density;
    }
}

/* Merge a thin top layer into the next, or split a thick one: amounts stay. */
static void clarifier_regrid(const struct clarifier_p *p, struct clarifier_s *restrict s,
                             const double *restrict tables, double *restrict layers) {
    int64_t n = p->layers;
    while (s->top < n - 1 && s->top_volume < MERGE * tables[p->volumes + s->top]) {
        int64_t top = s->top;
        double below = tables[p->volumes + top + 1];
        double whole = s->top_volume + below;
        double share = s->top_volume / whole;
        for (int64_t k = 0; k < NS; k++) {
            int64_t a = p->pool + k * n + top;
            layers[a + 1] += share * (layers[a] - layers[a + 1]);
            layers[a] = 0.0;
        }
        s->top = top + 1;
        s->top_volume = whole;
    }
    while (s->top > 0 &&
           s->top_volume > tables[p->volumes + s->top] + SPLIT * tables[p->volumes + s->top - 1]) {
        int64_t top = s->top - 1;
        for (int64_t k = 0; k < NS; k++) {
            int64_t a = p->pool + k * n + top;
            layers[a] = layers[a + 1];
        }
        s->top_volume -= tables[p->volumes + top + 1];
        s->top = top;
    }
}

/* Let the clear zone drift to the temperature of the weather's water. */
static void clarifier_drift(const struct clarifier_p *p, struct clarifier_s *restrict s, double water,
                            double *restrict layers, int64_t clear_layer, double dt) {
    int64_t n = p->layers;
    double *restrict heat = layers + p->pool + HEAT * n;
    double x = p->ambient_rate * dt;
    x = x / (1.0 + x);
    for (int64_t j = 0; j < n; j++) {
        heat[j] += s->top <= j && j <= clear_layer ? x * (water - heat[j]) : 0.0;
    }
}
