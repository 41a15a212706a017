/* Plug flow by displaced volume: a ring of parcels that move without smearing into one another; as
 * plantsim/kernels/plug.py. */
#define STALE 0.1
#define FULL (1.0 - 1e-09)

static inline void push_mixed(const struct plug_p *p, struct plug_s *restrict s,
                              double (*restrict parcels)[PARCEL], double now);
static inline void plug_settle_empty(struct plug_s *restrict s);

/* Row of the pool in which what enters in this step is mixed, as amounts, before `push`. */
static inline int64_t inlet_row(const struct plug_p *p) {
    return p->pool + p->rows - 1;
}

/* Take the amounts of the inlet row in at the inlet; the row is left as concentrations. */
static inline void push(const struct plug_p *p, struct plug_s *restrict s, double (*restrict parcels)[PARCEL],
                        double now) {
    int64_t inlet = p->pool + p->rows - 1;
    double volume = parcels[inlet][VOLUME];
    if (volume > 0.0) {
        double inverse = 1.0 / volume;
        for (int64_t k = 1; k < NS; k++) {
            parcels[inlet][k] *= inverse;
        }
        push_mixed(p, s, parcels, now);
    }
}

/* Take the volume of the inlet row in at the inlet, at the concentrations and temperature in that row. */
static inline void push_mixed(const struct plug_p *p, struct plug_s *restrict s,
                              double (*restrict parcels)[PARCEL], double now) {
    int64_t inlet = p->pool + p->rows - 1;
    double rest = parcels[inlet][VOLUME];
    s->filled += rest;
    s->solids += rest * (parcels[inlet][COARSE] + parcels[inlet][FINES] + parcels[inlet][COLLOID]);
    int64_t ring = p->rows - 1;
    int64_t newest = s->head + s->count - 1;
    if (newest >= ring) {
        newest -= ring;
    }
    while (rest > 0.0) {
        int64_t row = p->pool + newest;
        double taken;
        if (s->count == 0 || (s->count < ring && parcels[row][VOLUME] >= p->parcel * FULL)) {
            newest = s->head + s->count;
            if (newest >= ring) {
                newest -= ring;
            }
            s->count++;
            row = p->pool + newest;
            taken = s->count == ring ? rest : min(rest, p->parcel);
            parcels[row][VOLUME] = taken;
            for (int64_t k = 1; k < NS; k++) {
                parcels[row][k] = parcels[inlet][k];
            }
            parcels[row][PARCEL_TIME] = now;
            parcels[row][PARCEL_SEEN] = now;
        } else {
            double held = parcels[row][VOLUME];
            taken = s->count == ring ? rest : min(rest, p->parcel - held);
            double weight = taken / (held + taken);
            parcels[row][VOLUME] = held + taken;
            for (int64_t k = 1; k < NS; k++) {
                parcels[row][k] += weight * (parcels[inlet][k] - parcels[row][k]);
            }
            parcels[row][PARCEL_TIME] += weight * (now - parcels[row][PARCEL_TIME]);
            parcels[row][PARCEL_SEEN] += weight * (now - parcels[row][PARCEL_SEEN]);
        }
        rest -= taken;
    }
}

/* Let a parcel react for its unbooked time. Returns warning bits. */
static int64_t plug_bring_up_to_date(double (*restrict parcels)[PARCEL], int64_t row, double now,
                                     const struct material *m, double (*restrict ledger)[NS]) {
    double unbooked = now - parcels[row][PARCEL_SEEN];
    parcels[row][PARCEL_SEEN] = now;
    double volume = parcels[row][VOLUME];
    parcels[row][VOLUME] = 1.0; /* as concentrations: the ledger gets them times the volume */
    int64_t flags = react(parcels[row], unbooked, m, ledger, volume);
    parcels[row][VOLUME] = volume;
    return flags;
}

/* Book a volume of one parcel, times a factor, on a stream; the plug holds that much less. */
static inline void plug_leave(const struct plug_p *p, struct plug_s *restrict s,
                              double (*restrict parcels)[PARCEL], int64_t row, double taken,
                              double (*restrict streams)[NS], int64_t stream, double factor) {
    double moved = taken * factor;
    streams[stream][VOLUME] += moved;
    for (int64_t k = 1; k < NS; k++) {
        streams[stream][k] += moved * parcels[row][k];
    }
    s->filled -= taken;
    s->solids -= taken * (parcels[row][COARSE] + parcels[row][FINES] + parcels[row][COLLOID]);
}

/* Let exactly `volume` [m3], as far as held, leave at the outlet: added to a stream row times `factor`. */
static inline int64_t pop(const struct plug_p *p, struct plug_s *restrict s,
                          double (*restrict parcels)[PARCEL], double volume, double (*restrict streams)[NS],
                          int64_t stream, double factor, int64_t reacts, double now, const struct material *m,
                          double (*restrict ledger)[NS]) {
    int64_t flags = 0;
    double left = volume;
    while (left > 0.0 && s->count > 0) {
        int64_t row = p->pool + s->head;
        if (reacts && now - parcels[row][PARCEL_SEEN] > STALE * (now - parcels[row][PARCEL_TIME])) {
            flags |= plug_bring_up_to_date(parcels, row, now, m, ledger);
        }
        double held = parcels[row][VOLUME];
        if (left >= held) {
            plug_leave(p, s, parcels, row, held, streams, stream, factor);
            left -= held;
            s->head++;
            if (s->head == p->rows - 1) {
                s->head = 0;
            }
            s->count--;
        } else {
            plug_leave(p, s, parcels, row, left, streams, stream, factor);
            parcels[row][VOLUME] = held - left;
            left = 0.0;
        }
    }
    plug_settle_empty(s);
    return flags;
}

/* Let `volume` [m3], as far as held, run back out of the inlet: added to a stream row times `factor`. */
static inline int64_t take_back(const struct plug_p *p, struct plug_s *restrict s,
                                double (*restrict parcels)[PARCEL], double volume,
                                double (*restrict streams)[NS], int64_t stream, double factor, int64_t reacts,
                                double now, const struct material *m, double (*restrict ledger)[NS]) {
    int64_t flags = 0;
    double left = volume;
    while (left > 0.0 && s->count > 0) {
        int64_t newest = s->head + s->count - 1;
        if (newest >= p->rows - 1) {
            newest -= p->rows - 1;
        }
        int64_t row = p->pool + newest;
        if (reacts && now - parcels[row][PARCEL_SEEN] > STALE * (now - parcels[row][PARCEL_TIME])) {
            flags |= plug_bring_up_to_date(parcels, row, now, m, ledger);
        }
        double held = parcels[row][VOLUME];
        if (left >= held) {
            plug_leave(p, s, parcels, row, held, streams, stream, factor);
            left -= held;
            s->count--;
        } else {
            plug_leave(p, s, parcels, row, left, streams, stream, factor);
            parcels[row][VOLUME] = held - left;
            left = 0.0;
        }
    }
    plug_settle_empty(s);
    return flags;
}

/* An empty plug holds exactly nothing, whatever rounding has left in the sums. */
static inline void plug_settle_empty(struct plug_s *restrict s) {
    if (s->count == 0) {
        s->filled = 0.0;
        s->solids = 0.0;
        s->head = 0;
    }
}

/* One exchange between all neighbours, from the outlet to the inlet; the inlet row carries the fluxes. */
static void plug_sweep(const struct plug_p *p, struct plug_s *restrict s,
                       double (*restrict parcels)[PARCEL]) {
    int64_t carry = p->pool + p->rows - 1;
    for (int64_t k = 1; k < NS; k++) {
        parcels[carry][k] = 0.0;
    }
    int64_t ring = p->rows - 1;
    int64_t place = s->head;
    int64_t row = p->pool + place;
    double inverse = 1.0 / parcels[row][VOLUME];
    for (int64_t turn = 0; turn < s->count - 1; turn++) {
        place++;
        if (place == ring) {
            place = 0;
        }
        int64_t after = p->pool + place;
        double share = p->mixing * min(parcels[row][VOLUME], parcels[after][VOLUME]);
        for (int64_t k = 1; k < NS; k++) {
            double exchanged = share * (parcels[after][k] - parcels[row][k]);
            parcels[row][k] += (exchanged - parcels[carry][k]) * inverse;
            parcels[carry][k] = exchanged;
        }
        row = after;
        inverse = 1.0 / parcels[row][VOLUME];
    }
    for (int64_t k = 1; k < NS; k++) {
        parcels[row][k] -= parcels[carry][k] * inverse;
    }
}

/* Exchange between neighbours, once for each `every` nominal parcels moved since the last time. */
static inline void disperse(const struct plug_p *p, struct plug_s *restrict s,
                            double (*restrict parcels)[PARCEL], double moved) {
    if (p->mixing > 0.0) {
        s->moved += moved;
        double lot = p->parcel * max(p->every, 1);
        while (s->moved >= lot) {
            s->moved -= lot;
            if (s->count > 1) {
                plug_sweep(p, s, parcels);
            }
        }
    }
}

/* Time [s] since the parcel next to leave entered; 0 when empty. */
static inline double plug_age(const struct plug_p *p, struct plug_s *restrict s,
                              double (*restrict parcels)[PARCEL], double now) {
    return s->count > 0 ? now - parcels[p->pool + s->head][PARCEL_TIME] : 0.0;
}
