/* The bed of a clarifier: levels and sums of the column, the rake, channels through it, what it offers; as
 * plantsim/kernels/bed.py. */
#define MUD 10.0
#define MERGE 0.4
#define GRAVITY 9.80665

/* Layer just above the bed: where channelled water comes from. */
static int64_t clear_layer_of(const struct clarifier_p *p, struct clarifier_s *restrict s) {
    int64_t inside = p->layers - 1 - (int64_t)(s->bed_level / p->height);
    return min(max(inside - 1, s->top), p->layers - 1);
}

/* Height in layers above the bottom at which solids, seen from above, first reach a threshold. */
static double bed_crossing(const struct clarifier_p *p, struct clarifier_s *restrict s,
                           const double *restrict tables, const double *restrict total, double threshold,
                           int64_t j) {
    int64_t n = p->layers;
    if (j == n) {
        return 0.5 * total[n - 1] / threshold;
    }
    if (j == s->top) {
        return n - 1 - j + s->top_volume / tables[p->volumes + j];
    }
    return n - j - 0.5 + (total[j] - threshold) / (total[j] - total[j - 1]);
}

/* Totals over the column and the levels in it; returns warning bits. */
static int64_t column(const struct clarifier_p *p, struct clarifier_s *restrict s, const struct material *m,
                      const double *restrict tables, double *restrict layers) {
    int64_t n = p->layers;
    int64_t top = s->top;
    double gel = p->c_gel;
    double *restrict total = layers + p->pool;
    double *restrict coarse = layers + p->pool + COARSE * n;
    double *restrict fines = layers + p->pool + FINES * n;
    double *restrict colloid = layers + p->pool + COLLOID * n;
    const double *restrict held = tables + p->volumes;
    double densest = p->c_max;
    int64_t packed = 0;
    for (int64_t j = 0; j < n; j++) {
        total[j] = coarse[j] + fines[j];
    }
    for (int64_t j = 0; j < n; j++) {
        packed += total[j] >= densest ? 1 : 0;
    }
    /* four partial sums each, so that an addition need not wait for the one before */
    double mass0 = 0.0, mass1 = 0.0, mass2 = 0.0, mass3 = 0.0;
    double high0 = 0.0, high1 = 0.0, high2 = 0.0, high3 = 0.0;
    double bed0 = 0.0, bed1 = 0.0, bed2 = 0.0, bed3 = 0.0;
    for (int64_t j = 0; j < n - 3; j += 4) {
        double c = total[j];
        double x = c * held[j];
        mass0 += x + colloid[j] * held[j];
        high0 += c;
        bed0 += c >= gel ? x : 0.0;
        c = total[j + 1];
        x = c * held[j + 1];
        mass1 += x + colloid[j + 1] * held[j + 1];
        high1 += c;
        bed1 += c >= gel ? x : 0.0;
        c = total[j + 2];
        x = c * held[j + 2];
        mass2 += x + colloid[j + 2] * held[j + 2];
        high2 += c;
        bed2 += c >= gel ? x : 0.0;
        c = total[j + 3];
        x = c * held[j + 3];
        mass3 += x + colloid[j + 3] * held[j + 3];
        high3 += c;
        bed3 += c >= gel ? x : 0.0;
    }
    for (int64_t j = n - n % 4; j < n; j++) {
        double c = total[j];
        double x = c * held[j];
        mass0 += x + colloid[j] * held[j];
        high0 += c;
        bed0 += c >= gel ? x : 0.0;
    }
    double odd = s->top_volume - held[top]; /* the top layer may hold more or less than a layer */
    s->inventory = mass0 + mass1 + (mass2 + mass3) + (total[top] + colloid[top]) * odd;
    double high = high0 + high1 + (high2 + high3) + total[top] * odd / held[top];
    double water = water_density(layers[p->pool + HEAT * n + n - 1]);
    s->bed_pressure = GRAVITY * p->height * high * (1.0 - water / m->solids_density);
    s->level = p->height * (n - 1 - top + s->top_volume / held[top]);
    int64_t j = top;
    double low = (gel <= 0.0 || gel > MUD) ? MUD : gel;
    while (j < n && total[j] < low) {
        j++;
    }
    int64_t i = j;
    while (i < n && total[i] < MUD) {
        i++;
    }
    s->mud_level = p->height * bed_crossing(p, s, tables, total, MUD, i);
    double bed = 0.0;
    double mass = 0.0;
    if (gel > 0.0) {
        while (j < n && total[j] < gel) {
            j++;
        }
        bed = bed_crossing(p, s, tables, total, gel, j);
        mass = bed0 + bed1 + (bed2 + bed3);
        if (j == top) {
            mass += total[j] * odd;
        } else if (j < n) {
            /* the bed's top lies between the middles of layers j and j - 1 */
            double part = bed - (n - j);
            mass += part * (part < 0.0 ? total[j] * held[j] : total[j - 1] * held[j - 1]);
        } else {
            mass = bed * total[n - 1] * held[n - 1];
        }
    }
    s->bed_level = p->height * bed;
    s->bed_mass = mass;
    s->temperature = layers[p->pool + HEAT * n + top];
    s->overflow_solids = total[top] + colloid[top];
    s->turbidity = turbidity(coarse[top], fines[top], colloid[top], m);
    return packed > 0 ? WARN_PACKED : 0;
}

/* Yield stress [Pa] of the mud in layer j: a phi^b. */
static double yield_at(const struct clarifier_p *p, const struct material *m, double *restrict layers,
                       int64_t j) {
    double total = layers[p->pool + j];
    if (total < 1.0) {
        return 0.0;
    }
    return m->yield_a * exp(m->yield_b * log(total / m->solids_density));
}

/* Torque, trip, lift and packing of the rake. */
static void turn_rake(const struct clarifier_p *p, struct clarifier_s *restrict s,
                      const struct clarifier_f *f, const struct material *m, struct motor_s *motor_s,
                      struct actuator_s *actuator_s, double *restrict layers, double dt) {
    int64_t n = p->layers;
    s->yield_stress = yield_at(p, m, layers, n - 1);
    if (p->torque_limit <= 0.0) {
        return;
    }
    int64_t motor = p->rake_motor;
    double speed = motor >= 0 ? motor_s[motor].speed : 1.0;
    int64_t running = speed > 0.0;
    double height = 0.0;
    if (p->rake_lift >= 0) {
        height = actuator_s[p->rake_lift].position * p->rake_travel;
    }
    s->rake_height = height;
    double deep = s->bed_level - height;
    double work = deep > 0.0 ? 1.0 : 0.0;
    if (p->rake_blade > 0.0) {
        work = min(max(deep / p->rake_blade, 0.0), 1.0);
    }
    double torque = 0.0;
    if (running) {
        double stress = s->yield_stress;
        int64_t lifted = (int64_t)(height / p->height);
        if (lifted > 0) {
            stress = yield_at(p, m, layers, max(n - 1 - lifted, s->top));
        }
        double radius = p->radius;
        torque = 2.0 * PI / 3.0 * radius * radius * radius * stress * work;
        torque = torque * (1.0 + p->pack_gain * s->packing) / p->torque_limit;
        if (f->island > 0.0) {
            torque += f->island * 0.5 * (1.0 - cos(2.0 * PI * s->rake_turn));
        }
        if (p->rake_period > 0.0) {
            double turn = s->rake_turn + speed * dt / p->rake_period;
            s->rake_turn = turn - (int64_t)turn;
        }
    }
    s->torque = torque;
    int64_t over = p->torque_trip > 0.0 && torque > p->torque_trip;
    if (motor >= 0) {
        if (s->torque_tripped == 1 && motor_s[motor].tripped == 0) {
            s->torque_tripped = 0;
        }
        if (over) {
            s->torque_tripped = 1;
            motor_s[motor].tripped = 1;
        }
        if (p->rake_period > 0.0) {
            motor_s[motor].load = torque * p->torque_limit * speed * (2.0 * PI / p->rake_period);
        }
    } else {
        s->torque_tripped = over ? 1 : 0;
    }
    double target = (!running && layers[p->pool + n - 1] >= p->c_gel) ? 1.0 : 0.0;
    if (s->packing != target && p->pack_time > 0.0) {
        s->packing += (target - s->packing) * (dt / (p->pack_time + dt));
        if (s->packing < 1e-09) {
            s->packing = 0.0;
        }
    }
}

/* Let a channel of clear water through the bed open or heal. */
static void open_channel(const struct clarifier_p *p, struct clarifier_s *restrict s,
                         const double *restrict tables, double *restrict layers, double dt) {
    if (p->channel_flux <= 0.0 || p->rigid == 1) {
        s->channel = 0.0;
        return;
    }
    double target = 0.0;
    double bottom = layers[p->pool + p->layers - 1];
    double speed = s->underflow * p->height / tables[p->volumes + p->layers - 1];
    if (speed > 0.0 && bottom >= p->c_gel && p->c_gel > 0.0) {
        double bound = p->channel_flux * min(0.5 * bottom / p->c_gel, 1.0) * (1.0 - 0.5 * s->channel);
        if (p->rake_blade > 0.0) {
            bound *= min(s->bed_level / p->rake_blade, 1.0);
        }
        if (speed > bound) {
            target = 1.0 - bound / speed;
        }
    }
    if (target == s->channel) {
        return;
    }
    double time = target > s->channel ? p->channel_time : p->heal_time;
    s->channel += (target - s->channel) * (dt / (time + dt));
    if (s->channel < 1e-09) {
        s->channel = 0.0;
    }
}

/* Offer the underflow: the bottom layer, mixed with what channels through from above the bed. */
static void offer_underflow(const struct clarifier_p *p, struct clarifier_s *restrict s,
                            const struct material *m, const double *restrict tables,
                            double (*restrict offers)[NO], double *restrict layers) {
    int64_t n = p->layers;
    int64_t offer = p->offer;
    if (offer < 0) {
        return;
    }
    double part = s->channel;
    int64_t clear = p->pool + clear_layer_of(p, s);
    int64_t bottom = p->pool + n - 1;
    for (int64_t k = 1; k < NS; k++) {
        offers[offer][k] = (1.0 - part) * layers[bottom + k * n] + part * layers[clear + k * n];
    }
    double spare = s->volume - MERGE * tables[p->volumes + n - 1];
    if (s->top == 0) {
        spare -= max(s->top_volume - tables[p->volumes], 0.0); /* what spills in the next step */
    }
    offers[offer][VOLUME] = max(0.0, spare) / max(1, p->n_outlets);
    offers[offer][OFFER_LEVEL] = s->level;
    double solids = offers[offer][COARSE] + offers[offer][FINES] + offers[offer][COLLOID];
    offers[offer][OFFER_DENSITY] = slurry_density(solids, m->solids_density, offers[offer][HEAT]);
}
