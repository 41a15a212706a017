/* Polymer make-down: batches of dry or liquid polymer, their ageing, and the day tank they feed; as
 * plantsim/kernels/makedown.py. */
#define LN2 0.6931471805599453
#define LATE 1e-06
#define EMPTY 1e-09
#define WHISKER (1.0 - 1e-09)

static void makedown_end_fill(const struct makedown_p *p, struct makedown_s *restrict s,
                              const struct makedown_f *f, double (*restrict ledger)[NS]);
static void makedown_transfer(const struct makedown_p *p, struct makedown_s *restrict s, double dt);

/* Age the polymer of a tank over one step, in place; returns what is still unaged [kg]. */
static double makedown_age(double *restrict row, double unaged, const struct makedown_p *p,
                           double (*restrict ledger)[NS], double dt) {
    double active = row[POLY];
    if (row[VOLUME] < EMPTY || (unaged <= 0.0 && active <= 0.0)) {
        return unaged;
    }
    double temperature = row[HEAT] / row[VOLUME];
    double gain = p->age_time > 0.0 ? dt / p->age_time * relative_fluidity(temperature) : 1000.0;
    double loss = 0.0;
    if (p->half_life > 0.0) {
        loss = LN2 * dt / p->half_life * exp(LN2 * 0.1 * (temperature - 20.0));
    }
    double kept = 1.0 - part_gone(loss);
    double still = 1.0 - part_gone(gain);
    double made = 0.0;
    if (unaged > 0.0) {
        /* part of the unaged that is active at the end of the step; the limit where both rates are alike */
        double span = gain - loss;
        made = unaged * (fabs(span) < 1e-07 ? gain * kept : gain / span * (kept - still));
    }
    double change = active * kept + made - active;
    row[POLY] += change;
    row[POLY_SPENT] -= change;
    ledger[REACTION][POLY] += change;
    ledger[REACTION][POLY_SPENT] -= change;
    return unaged * still;
}

/* Offer what the day tank holds and form its figures. */
static void refresh_makedown(const struct makedown_p *p, struct makedown_s *restrict s,
                             double (*restrict offers)[NO]) {
    double *day = s->day;
    double volume = day[VOLUME];
    s->level = volume / p->day_tank;
    double polymer = day[POLY] + day[POLY_SPENT];
    s->activity = polymer > 0.0 ? day[POLY] / polymer : 0.0;
    offers[p->offer][OFFER_LEVEL] = s->level;
    offers[p->offer][OFFER_DENSITY] = 1000.0;
    if (volume < EMPTY) {
        offers[p->offer][VOLUME] = 0.0;
        return;
    }
    offers[p->offer][VOLUME] = volume * WHISKER;
    double inverse = 1.0 / volume;
    for (int64_t k = 1; k < NS; k++) {
        offers[p->offer][k] = day[k] * inverse;
    }
}

/* Run water into the batch tank; returns warning bits. */
static int64_t makedown_fill(const struct makedown_p *p, struct makedown_s *restrict s,
                             double (*restrict streams)[NS], double (*restrict offers)[NO],
                             double (*restrict ledger)[NS], double dt) {
    double *tank = s->tank;
    double flow = min(p->fill_flow, (p->batch - tank[VOLUME]) / dt);
    int64_t flags = 0;
    if (p->water_offer >= 0) {
        double most = max(0.0, offers[p->water_offer][VOLUME]) / dt;
        if (flow > most) {
            flow = most;
            flags = WARN_LOW;
        }
        offers[p->water_offer][VOLUME] -= flow * dt;
        streams[p->water_draw][VOLUME] = flow;
        tank[VOLUME] += flow * dt;
        for (int64_t k = 1; k < NS; k++) {
            double rate = flow * offers[p->water_offer][k];
            streams[p->water_draw][k] = rate;
            tank[k] += rate * dt;
        }
    } else {
        tank[VOLUME] += flow * dt;
        tank[HEAT] += flow * p->water_temperature * dt;
        ledger[IN_SUPPLY][VOLUME] += flow * dt;
        ledger[IN_SUPPLY][HEAT] += flow * p->water_temperature * dt;
    }
    return flags;
}

/* Add polymer [kg] from the store to the batch; `good` is the part that can dissolve. */
static void makedown_add_polymer(const struct makedown_p *p, struct makedown_s *restrict s, double wanted,
                                 double good, double (*restrict ledger)[NS]) {
    double mass = min(wanted, s->powder);
    s->powder -= mass;
    s->tank[POLY_SPENT] += mass;
    s->unaged += mass * good;
    ledger[IN_CHEMICAL][POLY_SPENT] += mass;
}

/* Enter a state. */
static void makedown_go(struct makedown_s *restrict s, int64_t state) {
    s->state = state;
    s->timer = 0.0;
}

/* Run the batch sequence and the day tank for one step; returns warning bits. */
static int64_t step_makedown(const struct makedown_p *p, struct makedown_s *restrict s,
                             const struct makedown_f *f, double *tags, const int64_t *links,
                             double (*restrict streams)[NS], double (*restrict offers)[NO],
                             double (*restrict ledger)[NS], double dt) {
    int64_t flags = 0;
    for (int64_t i = p->outlets; i < p->outlets + p->n_outlets; i++) {
        int64_t stream = links[i];
        double drawn = streams[stream][VOLUME];
        if (drawn != 0.0) {
            if (s->day[VOLUME] > 0.0) {
                s->day_unaged -= s->day_unaged * min(1.0, drawn * dt / s->day[VOLUME]);
            }
            for (int64_t k = 0; k < NS; k++) {
                s->day[k] -= streams[stream][k] * dt;
            }
        }
    }
    s->unaged = makedown_age(s->tank, s->unaged, p, ledger, dt);
    s->day_unaged = makedown_age(s->day, s->day_unaged, p, ledger, dt);
    s->timer += dt;
    int64_t state = s->state;
    if (state != FILL && p->water_draw >= 0 && streams[p->water_draw][VOLUME] != 0.0) {
        no_flow(streams, p->water_draw);
    }
    if (state == IDLE) {
        int64_t called = s->level < p->start_level && s->powder > 0.0;
        if (called && (p->permit < 0 || tags[p->permit] > 0.5)) {
            makedown_go(s, FILL);
        }
    } else if (state == FILL) {
        flags = makedown_fill(p, s, streams, offers, ledger, dt);
        if (s->tank[VOLUME] >= p->batch * WHISKER) {
            makedown_end_fill(p, s, f, ledger);
        }
    } else if (state == WET) {
        double fed = min(dt, p->wet_time - (s->timer - dt));
        if (fed > 0.0) {
            double rate = p->strength * p->batch / p->wet_time;
            makedown_add_polymer(p, s, rate * fed * (1.0 - f->bridging), 1.0 - f->fish_eyes, ledger);
        }
        if (s->timer >= p->wet_time - LATE) {
            makedown_go(s, MIX);
        }
    } else if (state == MIX) {
        if (s->timer >= p->mix_time * f->mix_factor - LATE) {
            s->batches++;
            makedown_go(s, READY);
        }
    } else if (state == READY) {
        double room = p->day_tank - s->day[VOLUME];
        if (room >= s->tank[VOLUME] || s->day[VOLUME] < p->start_level * p->day_tank) {
            makedown_go(s, TRANSFER);
        }
    } else {
        makedown_transfer(p, s, dt);
    }
    if (s->day[VOLUME] < 0.001 * p->day_tank) {
        s->starved += dt;
    }
    refresh_makedown(p, s, offers);
    return flags;
}

/* The batch tank is full of water: shut it off and go on to the polymer. */
static void makedown_end_fill(const struct makedown_p *p, struct makedown_s *restrict s,
                              const struct makedown_f *f, double (*restrict ledger)[NS]) {
    if (p->liquid != 0 || p->wet_time <= 0.0) {
        double good = p->liquid != 0 ? 1.0 : 1.0 - f->fish_eyes;
        double lost = p->liquid != 0 ? 0.0 : f->bridging;
        makedown_add_polymer(p, s, p->strength * p->batch * (1.0 - lost), good, ledger);
        makedown_go(s, MIX);
    } else {
        makedown_go(s, WET);
    }
}

/* Pump the batch into the day tank, as far as there is room. */
static void makedown_transfer(const struct makedown_p *p, struct makedown_s *restrict s, double dt) {
    double held = s->tank[VOLUME];
    double volume = min(p->transfer_flow * dt, max(0.0, p->day_tank - s->day[VOLUME]));
    if (volume >= held * WHISKER) {
        /* the last of it: everything goes, so that the tank is truly empty */
        for (int64_t k = 0; k < NS; k++) {
            s->day[k] += s->tank[k];
            s->tank[k] = 0.0;
        }
        s->day_unaged += s->unaged;
        s->unaged = 0.0;
        makedown_go(s, IDLE);
    } else if (volume > 0.0) {
        double share = volume / held;
        for (int64_t k = 0; k < NS; k++) {
            double amount = s->tank[k] * share;
            s->tank[k] -= amount;
            s->day[k] += amount;
        }
        double moved = s->unaged * share;
        s->unaged -= moved;
        s->day_unaged += moved;
    }
}
