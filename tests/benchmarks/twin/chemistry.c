/* Coagulant and polymer at work in any row of material; as plantsim/kernels/chemistry.py. */

/* Coagulant product [kg] that balances the charge of these solids [kg]. */
static inline double demand(double fines, double colloid, double clay, const struct material *m) {
    double share = fines > 0.0 ? clay / fines : 0.0;
    return m->coag_demand * (1.0 + m->coag_demand_clay * share) * (fines + colloid);
}

/* Bound coagulant over demand of a row; 1 is balance, 0 where there is nothing to bind to. */
static inline double charge_of(double *row, const struct material *m) {
    double need = demand(row[FINES], row[COLLOID], row[CLAY], m);
    return need > 1e-12 ? row[COAG_BOUND] / need : 0.0;
}

/* Settling speed over that of unflocculated fines, from the polymer they hold. */
static inline double settling_factor(double fines, double clay, double poly_bound, const struct material *m) {
    if (fines <= 1e-09) {
        return 1.0;
    }
    double share = min(clay / fines, 1.0);
    double optimum = m->poly_optimum * (1.0 + m->poly_optimum_clay * share);
    double cover = min(0.5 * poly_bound / (fines * optimum), 1.0);
    return (1.0 + (m->poly_gain - 1.0) * 4.0 * cover * (1.0 - cover)) /
           (1.0 + (m->clay_slowing - 1.0) * share);
}

/* Let a row react for some seconds, in place; books the transfers (times `scale`) in the ledger. */
static int64_t react(double *restrict row, double seconds, const struct material *m,
                     double (*restrict ledger)[NS], double scale) {
    int64_t flags = 0;
    double fines = row[FINES];
    double colloid = row[COLLOID];
    if (row[VOLUME] <= 0.0 || fines + colloid <= 0.0) {
        return flags;
    }
    if (row[COAG] > 0.0 || row[COAG_BOUND] > 0.0) {
        double share = fines > 0.0 ? row[CLAY] / fines : 0.0;
        double need = m->coag_demand * (1.0 + m->coag_demand_clay * share) * (fines + colloid);
        if (row[COAG] > 0.0) {
            double room = m->coag_capacity * need - row[COAG_BOUND];
            if (room > 0.0) {
                double bound = min(row[COAG], room) * part_gone(seconds / m->coag_mix_time);
                row[COAG] -= bound;
                row[COAG_BOUND] += bound;
                ledger[REACTION][COAG] -= bound * scale;
                ledger[REACTION][COAG_BOUND] += bound * scale;
            }
            /* in nearly clear water any trace of product is a multiple of the demand, and means nothing */
            if (row[COAG] + row[COAG_BOUND] > 3.0 * need && fines + colloid > 0.5 * row[VOLUME]) {
                flags = WARN_CHARGE;
            }
        }
        if (colloid > 0.0) {
            double z = (need - row[COAG_BOUND]) / (need * m->coag_width);
            if (z < 5.0) {
                double rate = exp(-z * z) * relative_fluidity(row[HEAT] / row[VOLUME]);
                double joined = colloid * part_gone(rate * (seconds / m->coag_time));
                row[COLLOID] = colloid - joined;
                row[FINES] = fines + joined;
                row[CLAY] += joined * share;
                ledger[REACTION][COLLOID] -= joined * scale;
                ledger[REACTION][FINES] += joined * scale;
                ledger[REACTION][CLAY] += joined * share * scale;
            }
        }
    }
    if (row[POLY] > 0.0) {
        fines = row[FINES];
        double optimum = m->poly_optimum * (fines + m->poly_optimum_clay * row[CLAY]);
        double room = m->poly_capacity * optimum - row[POLY_BOUND];
        if (room > 0.0) {
            double bound = min(row[POLY], room) * part_gone(seconds / m->poly_time);
            double best = row[VOLUME] * m->poly_best_solids;
            double good = bound;
            if (row[COARSE] + fines > best) {
                /* a thick feed flocculates badly: part of the polymer binds without bridging */
                double x = log((row[COARSE] + fines) / best) / m->poly_solids_width;
                good = bound * exp(-x * x);
            }
            row[POLY] -= bound;
            row[POLY_BOUND] += good;
            row[POLY_SPENT] += bound - good;
            ledger[REACTION][POLY] -= bound * scale;
            ledger[REACTION][POLY_BOUND] += good * scale;
            ledger[REACTION][POLY_SPENT] += (bound - good) * scale;
        }
        if (row[POLY_BOUND] > 2.0 * optimum && fines > 0.5 * row[VOLUME]) {
            flags |= WARN_DOSE;
        }
    }
    return flags;
}
