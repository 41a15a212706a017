/* A tank or sump: what flows in and out, what spills over its weir, what settles on its floor; as
 * plantsim/kernels/vessel.py. */
#define EMPTY 1e-09
#define WHISKER (1.0 - 1e-09)

static inline int64_t vessel_derive(const struct vessel_p *p, struct vessel_s *restrict s,
                                    const struct material *m, const double *tables,
                                    double (*restrict offers)[NO]);
static inline void vessel_settle(const struct vessel_p *p, struct vessel_s *restrict s,
                                 const struct material *m, double volume, double dt);

/* Level [m] of the surface at a volume [m3], linear in the table and beyond its last point. */
static inline double level_at(double volume, const struct vessel_p *p, const double *tables) {
    double x = volume / p->volume * (p->n_table - 1);
    int64_t i = min(max((int64_t)x, 0), p->n_table - 2);
    double low = tables[p->table + i];
    return low + (x - i) * (tables[p->table + i + 1] - low);
}

/* Flow over the weir in this step, from the level at its start; writes the spill stream, if there is one. */
static inline void spill_vessel(const struct vessel_p *p, struct vessel_s *restrict s,
                                const struct material *m, double (*restrict streams)[NS],
                                double (*restrict offers)[NO], double dt) {
    double held = s->content[VOLUME];
    double head = s->level - p->weir_level;
    if (head <= 0.0 || held < EMPTY) {
        if (s->overflow != 0.0) {
            s->overflow = 0.0;
            if (p->spill >= 0) {
                no_flow(streams, p->spill);
            }
        }
        return;
    }
    double above = held - s->crest;
    if (s->sand > 0.0) {
        above += s->sand_water + s->sand / m->solids_density;
    }
    double flow = p->weir_factor * p->weir_width * head * sqrt(head);
    flow = min(flow, max(0.0, min(above, held * WHISKER)) / dt);
    s->overflow = flow;
    /* what spills can no longer be drawn in this step */
    offers[p->offer][VOLUME] = max(0.0, offers[p->offer][VOLUME] - flow * dt);
    if (p->spill >= 0) {
        double share = flow / held;
        for (int64_t k = 0; k < NS; k++) {
            streams[p->spill][k] = s->content[k] * share;
        }
    }
}

/* Balance a vessel over one step; returns warning bits. */
static inline int64_t step_vessel(const struct vessel_p *p, struct vessel_s *restrict s,
                                  const struct material *m, const struct weather *weather,
                                  const int64_t *links, const double *tables, double (*restrict streams)[NS],
                                  double (*restrict offers)[NO], double (*restrict ledger)[NS], double dt) {
    double *content = s->content;
    if (s->overflow > 0.0) {
        if (p->spill >= 0) {
            for (int64_t k = 0; k < NS; k++) {
                content[k] -= streams[p->spill][k] * dt;
            }
        } else {
            double share = s->overflow / content[VOLUME];
            int64_t row = p->spill_ledger;
            for (int64_t k = 0; k < NS; k++) {
                double amount = content[k] * share * dt;
                content[k] -= amount;
                ledger[row][k] += amount;
            }
        }
        s->spilled += s->overflow * dt;
    }
    double flow = 0.0;
    for (int64_t i = p->inlets; i < p->inlets + p->n_inlets; i++) {
        int64_t stream = links[i];
        flow += streams[stream][VOLUME];
        for (int64_t k = 0; k < NS; k++) {
            content[k] += streams[stream][k] * dt;
        }
    }
    s->inflow = flow;
    flow = 0.0;
    for (int64_t i = p->outlets; i < p->outlets + p->n_outlets; i++) {
        int64_t stream = links[i];
        flow += streams[stream][VOLUME];
        for (int64_t k = 0; k < NS; k++) {
            content[k] -= streams[stream][k] * dt;
        }
    }
    s->outflow = flow;
    if (p->open_area > 0.0) {
        if (weather->rain > 0.0) {
            double amount = weather->rain * p->open_area * dt;
            content[VOLUME] += amount;
            content[HEAT] += amount * weather->air;
            ledger[IN_RAIN][VOLUME] += amount;
            ledger[IN_RAIN][HEAT] += amount * weather->air;
        }
        if (weather->evaporation > 0.0 && content[VOLUME] > EMPTY) {
            /* only water leaves, never more than half of it in a step */
            double water =
                content[VOLUME] - (content[COARSE] + content[FINES] + content[COLLOID]) / m->solids_density;
            double amount = min(weather->evaporation * p->open_area * dt, 0.5 * max(water, 0.0));
            double heat = amount * content[HEAT] / content[VOLUME];
            content[VOLUME] -= amount;
            content[HEAT] -= heat;
            ledger[OUT_EVAPORATION][VOLUME] += amount;
            ledger[OUT_EVAPORATION][HEAT] += heat;
            s->evaporated += amount;
        }
    }
    double volume = content[VOLUME];
    int64_t flags = 0;
    if (volume > EMPTY) {
        if (p->mixing < 1.0 && content[COARSE] > 0.0 && p->floor_area > 0.0) {
            vessel_settle(p, s, m, volume, dt);
            volume = content[VOLUME];
        }
        if (p->shear > 0.0) {
            flags = react(content, dt, m, ledger, 1.0);
        }
        if (p->ambient_rate > 0.0) {
            double x = p->ambient_rate * dt;
            content[HEAT] += (weather->water * volume - content[HEAT]) * (x / (1.0 + x));
        }
    }
    return flags | vessel_derive(p, s, m, tables, offers);
}

/* Move settling coarse, and the water its pores hold, from the liquid to the floor. */
static inline void vessel_settle(const struct vessel_p *p, struct vessel_s *restrict s,
                                 const struct material *m, double volume, double dt) {
    double *content = s->content;
    double inverse = 1.0 / volume;
    double x = (1.0 - p->mixing) * m->coarse_velocity * p->floor_area * dt * inverse;
    x *= relative_fluidity(content[HEAT] * inverse);
    double mass = content[COARSE] * (x / (1.0 + x));
    double solid = mass / m->solids_density;
    double pores = solid * m->sand_porosity / (1.0 - m->sand_porosity);
    double room = 0.5 * volume;
    if (solid + pores > room) {
        /* nothing left but sand: it settles as far as there is water to fill its pores */
        double cut = room / (solid + pores);
        mass *= cut;
        solid *= cut;
        pores *= cut;
    }
    content[HEAT] -= content[HEAT] * ((solid + pores) * inverse);
    content[COARSE] -= mass;
    content[VOLUME] -= solid + pores;
    s->sand += mass;
    s->sand_water += pores;
}

/* Everything that follows from the content; returns warning bits. */
static inline int64_t vessel_derive(const struct vessel_p *p, struct vessel_s *restrict s,
                                    const struct material *m, const double *tables,
                                    double (*restrict offers)[NO]) {
    double *content = s->content;
    double held = content[VOLUME];
    double bed = 0.0;
    if (s->sand > 0.0) {
        bed = s->sand_water + s->sand / m->solids_density;
    }
    s->level = level_at(held + bed, p, tables);
    if (held < EMPTY) {
        /* too little left to form concentrations: the last ones stand */
        s->active = 0.0;
        offers[p->offer][VOLUME] = 0.0;
        offers[p->offer][OFFER_LEVEL] = s->level;
        return 0;
    }
    /* above the suction level, and of the liquid only: sand fills the dead volume first, then takes from this
     */
    s->active = max(0.0, min(held, held + bed - s->dead)) * WHISKER;
    double inverse = 1.0 / held;
    double coarse = content[COARSE] * inverse;
    double fines = content[FINES] * inverse;
    double colloid = content[COLLOID] * inverse;
    s->solids = coarse + fines + colloid;
    s->temperature = content[HEAT] * inverse;
    s->density = slurry_density(s->solids, m->solids_density, s->temperature);
    s->turbidity = turbidity(coarse, fines, colloid, m);
    s->free_coag = content[COAG] * inverse;
    s->charge = content[COAG_BOUND] > 0.0 ? charge_of(content, m) : 0.0;
    int64_t offer = p->offer;
    offers[offer][VOLUME] = s->active;
    for (int64_t k = 1; k < NS; k++) {
        offers[offer][k] = content[k] * inverse;
    }
    offers[offer][OFFER_LEVEL] = s->level;
    offers[offer][OFFER_DENSITY] = s->density;
    return (s->temperature < 0.0 || s->temperature > 40.0) ? WARN_TEMPERATURE : 0;
}
