/* Scalar laws the kernels use, as in plantsim.physics; sources and ranges are named there. */
/* ---- hydraulics ---- */
#define G 9.80665
#define RE_LAMINAR 2000.0
#define RE_TURBULENT 4000.0

/* Darcy friction factor of turbulent flow, explicit form of Colebrook after Serghides [1]_. */
static inline double serghides(double re, double rough) {
    double k = rough / 3.7;
    double a = -2.0 * log10(k + 12.0 / re);
    double b = -2.0 * log10(k + 2.51 * a / re);
    double c = -2.0 * log10(k + 2.51 * b / re);
    double bend = c - 2.0 * b + a;
    double x = c;
    if (fabs(bend) > 1e-12) {
        x = a - (b - a) * (b - a) / bend;
    }
    return 1.0 / (x * x);
}

/* Darcy friction factor for every regime: 64/Re, then a smooth blend, then Colebrook (Serghides 1984). */
static inline double friction_factor(double re, double rough) {
    if (re <= RE_LAMINAR) {
        return 64.0 / re;
    }
    double turbulent = serghides(re, rough);
    if (re >= RE_TURBULENT) {
        return turbulent;
    }
    double s = (re - RE_LAMINAR) / (RE_TURBULENT - RE_LAMINAR);
    double w = s * s * (3.0 - 2.0 * s);
    return (1.0 - w) * 64.0 / re + w * turbulent;
}

/* Friction pressure gradient of a Newtonian liquid, with the sign of the velocity and safe at rest. */
static inline double pressure_gradient(double v, double d, double rho, double mu, double eps) {
    double re = rho * fabs(v) * d / mu;
    if (re <= RE_LAMINAR) {
        return 32.0 * mu * v / (d * d);
    }
    return friction_factor(re, eps / d) * rho * v * fabs(v) / (2.0 * d);
}
/* ---- rheology ---- */
#define DARBY_MELSON_A (-1.378)

/* Yield stress of a mud from its solids, as a power of the volume fraction. */
static inline double yield_stress(double phi, double a, double b) {
    if (phi <= 0.0) {
        return 0.0;
    }
    return a * pow(phi, b);
}

/* Plastic viscosity of a mud from its solids, as an exponential of the volume fraction. */
static inline double plastic_viscosity(double phi, double mu, double c) {
    return mu * exp(c * phi);
}

/* Pressure gradient below which a yield-stress mud stays at rest in a pipe. */
static inline double start_gradient(double ty, double d) {
    return 4.0 * ty / d;
}

/* Wall stress of laminar Bingham pipe flow: the full quartic of Buckingham and Reiner [1]_, solved. */
static inline double bingham_wall_stress(double v, double d, double ty, double mu_p) {
    double newton = 8.0 * mu_p * v / d;
    if (ty <= 1e-12 * newton) {
        return newton + 4.0 / 3.0 * ty;
    }
    if (newton <= 0.0) {
        return ty;
    }
    double n = newton / ty;
    double s = min(n + 1.0 / 3.0, sqrt(0.5 * n) + 1.5 * n);
    for (int64_t turn = 0; turn < 30; turn++) {
        double u = 1.0 + s;
        double excess = s * s * (6.0 + s * (8.0 + 3.0 * s)) / (3.0 * u * u * u) - n;
        double slope = s * (4.0 + s * (6.0 + s * (4.0 + s))) / (u * u * u * u);
        double step = excess / slope;
        s -= step;
        if (fabs(step) <= 1e-14 * s) {
            break;
        }
    }
    return ty * (1.0 + s);
}

/* Hedstrom number. */
static inline double hedstrom(double d, double rho, double ty, double mu_p) {
    return rho * ty * d * d / (mu_p * mu_p);
}

/* Fanning friction factor of turbulent Bingham flow in smooth pipe (Darby & Melson [1]_). */
static inline double darby_melson_turbulent(double re, double he, double constant) {
    double a = constant * (1.0 + 0.146 * exp(-2.9e-05 * he));
    return pow(10.0, a) * pow(re, -0.193);
}

/* Fanning friction factor of Bingham flow for all regimes (Darby & Melson [1]_). */
static inline double darby_melson(double re, double he, double laminar, double constant) {
    double turbulent = darby_melson_turbulent(re, he, constant);
    double m = 1.7 + 40000.0 / re;
    double big = max(laminar, turbulent);
    double small = min(laminar, turbulent);
    return big * pow(1.0 + pow(small / big, m), 1.0 / m);
}

/* Pressure gradient of a Bingham mud in a pipe at any velocity, signed. */
static inline double bingham_gradient(double v, double d, double rho, double ty, double mu_p, double eps) {
    if (v == 0.0) {
        return 0.0;
    }
    double newton = pressure_gradient(v, d, rho, mu_p, eps);
    if (ty <= 0.0) {
        return newton;
    }
    double speed = fabs(v);
    double re = rho * speed * d / mu_p;
    double dynamic = 0.5 * rho * speed * speed;
    double wall = bingham_wall_stress(speed, d, ty, mu_p);
    /* At a crawl the laminar factor grows without bound while its stress stays finite: skip the blend there.
     */
    if (re > 10.0) {
        wall = darby_melson(re, hedstrom(d, rho, ty, mu_p), wall / dynamic, DARBY_MELSON_A) * dynamic;
    }
    return copysign(max(4.0 * wall / d, fabs(newton)), v);
}
/* ---- deposition ---- */

/* Limit deposit velocity after Durand [1]_. */
static inline double durand_velocity(double fl, double d, double s, double g) {
    return fl * sqrt(2.0 * g * d * (s - 1.0));
}
/* ---- slurry ---- */

/* Return the viscosity ratio to second order, :math:`1 + 2.5\phi + \alpha\phi^2` [1]_. */
static inline double relative_viscosity_batchelor(double phi, double alpha) {
    return 1.0 + 2.5 * phi + alpha * phi * phi;
}
/* ---- consolidation ---- */
#define BRANCH_DEGREE 0.5208093752098394

/* Return the time factor of the two-branch law in closed form [1]_. */
static inline double time_factor_fitted(double U) {
    if (U <= 0.0) {
        return 0.0;
    }
    if (U >= 1.0) {
        return INFINITY;
    }
    if (U < BRANCH_DEGREE) {
        return 0.25 * PI * U * U;
    }
    return -4.0 / (PI * PI) * log(PI * PI / 8.0 * (1.0 - U));
}

/* Return the degree of consolidation of the two-branch law: the inverse of `time_factor_fitted` [1]_. */
static inline double degree_fitted(double T_v) {
    if (T_v <= 0.0) {
        return 0.0;
    }
    if (T_v < 0.25 * PI * BRANCH_DEGREE * BRANCH_DEGREE) {
        return 2.0 * sqrt(T_v / PI);
    }
    return 1.0 - 8.0 / (PI * PI) * exp(-0.25 * PI * PI * T_v);
}

/* Return the degree of consolidation after a step of the time factor, exact for the two-branch law [1]_. */
static inline double advance_degree(double U, double dT_v) {
    if (U >= 1.0) {
        return 1.0;
    }
    return degree_fitted(time_factor_fitted(U) + dT_v);
}
/* ---- drying ---- */

/* Return the depth of water in a drying layer after a time step, exact over both stages [1]_. */
static inline double drying_step(double water, double water_first, double water_end, double potential,
                                 double dt) {
    if (potential <= 0.0) {
        return water - potential * dt;
    }
    if (water <= water_end) {
        return water;
    }
    double left = dt;
    if (water > water_first) {
        double first = (water - water_first) / potential;
        if (first >= left) {
            return water - potential * left;
        }
        left -= first;
        water = water_first;
    }
    return water_end + (water - water_end) * exp(-potential * left / (water_first - water_end));
}

/* Return the liquidity index, :math:`LI = (w-PL)/(LL-PL)` [1]_. */
static inline double liquidity_index(double water_content, double plastic_limit, double liquid_limit) {
    return (water_content - plastic_limit) / (liquid_limit - plastic_limit);
}

/* Return the undrained strength, :math:`c_u = c_L35^{1-LI}` [1]_. */
static inline double strength_vardanega_haigh(double LI, double strength_liquid, double ratio) {
    return strength_liquid * pow(ratio, 1.0 - LI);
}
/* ---- optics ---- */

/* Return the reading of a saturating turbidity detector, :math:`S(1-e^{-N/S})` [1]_. */
static inline double detector_reading(double ntu, double saturation) {
    return -saturation * expm1(-ntu / saturation);
}
