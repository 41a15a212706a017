/* What every unit does with rows of material: gather, draw, offer, and read off properties; as
 * plantsim/kernels/rows.py. */

#define THIRD (1.0 / 3.0)
#define SIXTH (1.0 / 6.0)

/* 1 - exp(-x): the part of something that has gone after x time constants. */
static inline double part_gone(double x) {
    if (x < 0.05) {
        return x * (1.0 - 0.5 * x * (1.0 - THIRD * x * (1.0 - 0.25 * x * (1.0 - 0.2 * x * (1.0 - SIXTH * x)))));
    }
    return 1.0 - exp(-x);
}

/* Sum the linked streams into `row` [per s]. */
static inline void gather(const int64_t *links, int64_t first, int64_t count, double (*restrict streams)[NS],
                          double *restrict row) {
    for (int64_t k = 0; k < NS; k++) {
        row[k] = 0.0;
    }
    for (int64_t i = first; i < first + count; i++) {
        int64_t stream = links[i];
        for (int64_t k = 0; k < NS; k++) {
            row[k] += streams[stream][k];
        }
    }
}

/* Book a stream as empty in this step. */
static inline void no_flow(double (*restrict streams)[NS], int64_t stream) {
    for (int64_t k = 0; k < NS; k++) {
        streams[stream][k] = 0.0;
    }
}

/* Density of water [kg/m3], cubic about 4 degC: within 0.02 kg/m3 of IAPWS-95 from 0 to 40 degC. */
static inline double water_density(double temperature) {
    double d = temperature - 3.98;
    return 999.975 - d * d * (0.00753106 - 4.32804e-05 * d);
}

/* One over the viscosity of water, over that at 20 degC: a cubic fitted to IAPWS R12-08, 0 to 40 degC. */
static inline double relative_fluidity(double temperature) {
    double d = temperature - 20.0;
    return 1.0 + d * (0.02450403 + d * (0.0001169955 + d * -3.086845e-07));
}

/* Viscosity of water over that at 20 degC. */
static inline double relative_viscosity(double temperature) { return 1.0 / relative_fluidity(temperature); }

/* Density [kg/m3] of water carrying `solids` [kg/m3]: rho_w + C (1 - rho_w / rho_s). */
static inline double slurry_density(double solids, double solids_density, double temperature) {
    double rho = water_density(temperature);
    return rho + solids * (1.0 - rho / solids_density);
}

/* All suspended solids of a row [kg or kg/s or kg/m3]. */
static inline double solids_of(double *row) {
    return row[COARSE] + row[FINES] + row[COLLOID];
}

/* Turbidity [NTU] of water with these solids [kg/m3]: linear in each class. */
static inline double turbidity(double coarse, double fines, double colloid, const struct material *material) {
    return material->ntu_coarse * coarse + material->ntu_fines * fines + material->ntu_colloid * colloid;
}

/* Temperature of a store or stream [degC]; `otherwise` when it is empty. */
static inline double temperature_of(double *row, double otherwise) {
    if (row[VOLUME] > 1e-12) {
        return row[HEAT] / row[VOLUME];
    }
    return otherwise;
}
