/* A pipe run with its pumps and valve: how much flows, what it carries, and what stays behind; as
 * plantsim/kernels/line.py. */
#define SAME 1e-5
#define SAME_MUD 1e-4
#define ATMOSPHERE 101325.0
#define STAND_LIMIT 600.0
#define MU20 0.0010016
#define KV (100000.0 * 3600.0 * 3600.0 / (1000.0 * G))
#define CRAWL 0.01
#define LEAST_FILL 0.01
#define COLEBROOK (2.0 / log(10.0))
#define NOTHING 1e-12
#define SLOW_BED 0.005
#define BRIM (1.0 - 1e-09)

/* Pressure of water vapour [Pa], polynomial of Lowe (1977, J. Appl. Meteorol. 16, 100-103; from memory). */
static inline double vapour_pressure(double temperature) {
    double t = temperature;
    double c = 3.031240396e-06 + t * (2.034080948e-08 + t * 6.136820929e-11);
    return 100.0 * (6.107799961 + t * (0.4436518521 + t * (0.01428945805 + t * (0.0002650648471 + t * c))));
}

/* Loss factor of the valve [s2/m5], below 0 when it is shut. */
static double line_valve_loss(const struct line_p *p, struct actuator_s *actuator_s) {
    double position = actuator_s[p->valve].position;
    if (position <= 1e-06) {
        return -1.0;
    }
    if (p->valve_kv <= 0.0) {
        return 0.0;
    }
    double kv;
    if (p->valve_range > 0.0) {
        kv = p->valve_kv * pow(p->valve_range, position - 1.0);
    } else {
        kv = p->valve_kv * position;
    }
    return KV / (kv * kv);
}

/* Part of the bore a bed of this much sand and pore water fills. */
static inline double line_bed_part(struct line_s *restrict s, double volume,
                                   const struct material *material) {
    return (s->deposit / material->solids_density + s->deposit_water) / volume;
}

/* Bring the friction factor of the line up to the present Reynolds number. */
static inline void line_update_friction(struct line_s *restrict s, double re, double rough) {
    double change = fabs(re - s->reynolds);
    if (change <= SAME * re) {
        return;
    }
    if (re > RE_TURBULENT && s->reynolds > RE_TURBULENT && change < 0.02 * re) {
        double y = 1.0 / sqrt(s->friction_factor);
        double b = 2.51 / re;
        double inner = rough / 3.7 + b * y;
        y -= (y + COLEBROOK * log(inner)) / (1.0 + COLEBROOK * b / inner);
        s->friction_factor = 1.0 / (y * y);
    } else {
        s->friction_factor = friction_factor(re, rough);
    }
    s->reynolds = re;
}

/* Darcy friction of a Newtonian mixture as (linear, square) factors of Q [s/m2, s2/m5]. */
static inline struct friction line_newton_friction(struct line_s *restrict s, double speed, double length,
                                                   double bore, double area, double rough, double mu,
                                                   double rho) {
    double re = rho * speed * bore / mu;
    if (re <= RE_LAMINAR) {
        s->friction_factor = re > 1e-06 ? 64.0 / re : 0.0;
        s->reynolds = re;
        return (struct friction){32.0 * mu * length / (rho * G * bore * bore * area), 0.0, 0.0};
    }
    line_update_friction(s, re, rough / bore);
    return (struct friction){0.0, s->friction_factor * length / (2.0 * G * bore * area * area), 0.0};
}

/* Friction of a Bingham mud as (linear, square, hold) factors of Q [s/m2, s2/m5, m]. */
static struct friction line_bingham_friction(struct line_s *restrict s, double speed, double length,
                                             double bore, double area, double rough, double mu, double rho,
                                             double ty) {
    double hold = start_gradient(ty, bore) * length / (rho * G);
    double v = max(speed, CRAWL);
    double re = rho * v * bore / mu;
    double flow = v * area;
    double wall = bingham_wall_stress(v, bore, ty, mu);
    double laminar = 4.0 * wall / bore * length / (rho * G);
    double head = laminar;
    if (re > 10000.0 || wall < 0.05 * (0.5 * rho * v * v)) {
        head = bingham_gradient(v, bore, rho, ty, mu, rough) * length / (rho * G);
    }
    s->friction_factor = head * 2.0 * G * bore / (length * v * v);
    s->reynolds = re;
    if (head > 1.02 * laminar) {
        return (struct friction){0.0, head / (flow * flow), 0.0};
    }
    return (struct friction){max(head - hold, 0.0) / flow, 0.0, hold};
}

/* Let coarse of the inlet row settle into the bed, or pick it up again. Returns 1 when the bed grew. */
static int64_t line_drop_or_lift(const struct line_p *p, struct line_s *restrict s, double excess,
                                 double (*restrict parcels)[PARCEL], int64_t inlet,
                                 const struct material *material, double dt) {
    double pores = material->sand_porosity / (1.0 - material->sand_porosity) / material->solids_density;
    if (excess < 0.0) {
        double sand = -excess * parcels[inlet][COARSE];
        double water = sand * pores;
        double bulk = sand / material->solids_density + water;
        double held = parcels[inlet][VOLUME];
        if (sand <= 0.0 || bulk >= held) {
            return 0;
        }
        parcels[inlet][COARSE] -= sand;
        parcels[inlet][VOLUME] = held - bulk;
        parcels[inlet][HEAT] *= 1.0 - bulk / held;
        s->deposit += sand;
        s->deposit_water += water;
        return 1;
    }
    double part = min(p->lift_rate * excess * dt, 1.0);
    if (s->deposit > 0.0 && part > 0.0 && parcels[inlet][VOLUME] > 0.0) {
        double sand = part * s->deposit;
        double water = part * s->deposit_water;
        double bulk = sand / material->solids_density + water;
        double temperature = parcels[inlet][HEAT] / parcels[inlet][VOLUME];
        parcels[inlet][COARSE] += sand;
        parcels[inlet][VOLUME] += bulk;
        parcels[inlet][HEAT] += bulk * temperature;
        s->deposit -= sand;
        s->deposit_water -= water;
        if (s->deposit < 1e-03) { /* the last gram: a bed would else thin out for ever */
            parcels[inlet][COARSE] += s->deposit;
            parcels[inlet][VOLUME] += s->deposit / material->solids_density + s->deposit_water;
            s->deposit = 0.0;
            s->deposit_water = 0.0;
        }
    }
    return 0;
}

/* What the outlet shows, from the stream that leaves. */
static inline void line_read_outlet(const struct line_p *p, struct line_s *restrict s,
                                    double (*restrict streams)[NS], const struct material *material) {
    double volume = streams[p->out][VOLUME];
    if (volume <= 0.0) {
        return;
    }
    double inverse = 1.0 / volume;
    double solids = (streams[p->out][COARSE] + streams[p->out][FINES] + streams[p->out][COLLOID]) * inverse;
    s->out_solids = solids;
    s->out_density = slurry_density(solids, material->solids_density, streams[p->out][HEAT] * inverse);
    double bound = streams[p->out][COAG_BOUND];
    if (bound > 0.0 || s->charge != 0.0) {
        s->charge = charge_of(streams[p->out], material);
    }
    s->out_coag = (streams[p->out][COAG] + bound) * inverse;
}

/* Move the contents by this step's flow; writes both stream rows. Returns warning bits. */
static inline int64_t line_transport(const struct line_p *p, struct line_s *restrict s,
                                     const struct line_f *f, const struct plug_p *pp,
                                     struct plug_s *restrict ps, double flow, double excess, double coarse,
                                     const int64_t *links, double (*restrict streams)[NS],
                                     double (*restrict offers)[NO], double (*restrict parcels)[PARCEL],
                                     double capacity, int64_t shut, const struct material *material,
                                     double (*restrict ledger)[NS], double now, double dt) {
    int64_t flags = 0;
    int64_t inlet = inlet_row(pp);
    double per_second = 1.0 / dt;
    no_flow(streams, p->out);
    double taken = 0.0;
    if (flow > 0.0) {
        taken = flow * dt;
        streams[p->suction][VOLUME] = flow;
        for (int64_t k = 1; k < NS; k++) {
            streams[p->suction][k] = flow * offers[p->offer][k];
        }
        offers[p->offer][VOLUME] -= taken;
    } else {
        no_flow(streams, p->suction);
    }
    int64_t grew = 0;
    if (p->n_injections == 0 && s->deposit == 0.0 && (coarse == 0.0 || excess >= 0.0)) {
        /* the usual case: what is drawn enters as it is */
        parcels[inlet][VOLUME] = taken;
        if (taken > 0.0) {
            for (int64_t k = 1; k < NS; k++) {
                parcels[inlet][k] = offers[p->offer][k];
            }
            push_mixed(pp, ps, parcels, now);
        }
    } else {
        parcels[inlet][VOLUME] = taken;
        for (int64_t k = 1; k < NS; k++) {
            parcels[inlet][k] = taken * offers[p->offer][k];
        }
        for (int64_t i = p->injections; i < p->injections + p->n_injections; i++) {
            for (int64_t k = 0; k < NS; k++) {
                if (shut) {
                    streams[p->suction][k] -= streams[links[i]][k];
                } else {
                    parcels[inlet][k] += streams[links[i]][k] * dt;
                }
            }
        }
        if (flow > 0.0) {
            grew = line_drop_or_lift(p, s, excess, parcels, inlet, material, dt);
        }
        push(pp, ps, parcels, now);
        if (s->deposit > 0.0) {
            double bed = line_bed_part(s, pp->volume, material);
            capacity = pp->volume * (1.0 - bed);
            if (grew && p->plug_fraction > 0.0 && bed + f->block >= p->plug_fraction) {
                s->plugged = 1.0;
            }
        } else {
            capacity = pp->volume;
        }
    }
    double moved = parcels[inlet][VOLUME];
    if (flow < 0.0) {
        flags |= take_back(pp, ps, parcels, -flow * dt, streams, p->suction, -per_second, 1, now, material,
                           ledger);
        s->drained -= flow * dt;
        moved -= flow * dt;
    }
    if (pp->mixing > 0.0) {
        disperse(pp, ps, parcels, moved);
    }
    double leaving = ps->filled - capacity;
    s->delivered = 0.0;
    if (leaving > 0.0) {
        s->transit = plug_age(pp, ps, parcels, now);
        flags |= pop(pp, ps, parcels, leaving, streams, p->out, per_second, 1, now, material, ledger);
        s->delivered = leaving * per_second;
        s->pumped += leaving;
        line_read_outlet(p, s, streams, material);
        if (f->leak > 0.0) {
            for (int64_t k = 0; k < NS; k++) {
                double lost = f->leak * streams[p->out][k];
                ledger[OUT_SPILL][k] += lost * dt;
                streams[p->out][k] -= lost;
            }
        }
    }
    return flags;
}

/* Whether all pumps stand, behind a check valve, and are known to: then a lifting line rests. */
static inline int64_t line_pumps_rest(const struct line_p *p, const struct branch_p *branch_p,
                                      const struct pump_p *pump_p, struct pump_s *pump_s,
                                      struct motor_s *motor_s) {
    for (int64_t i = p->branch; i < p->branch + p->n_branches; i++) {
        if (p->check_valve == 0 && branch_p[i].check_valve == 0) {
            return 0;
        }
        for (int64_t j = branch_p[i].pump; j < branch_p[i].pump + branch_p[i].n_pumps; j++) {
            if (motor_s[pump_p[j].motor].speed >= STANDING || pump_s[j].power != 0.0) {
                return 0;
            }
        }
    }
    return 1;
}

/* Count the time without flow; mud above its yield limit sets when that time is up. */
static inline void line_stand(const struct line_p *p, struct line_s *restrict s, double ty, double dt) {
    if (p->bingham && s->standing < STAND_LIMIT && STAND_LIMIT <= s->standing + dt && ty > p->yield_limit &&
        p->yield_limit > 0.0) {
        s->plugged = 1.0;
    }
    s->standing += dt;
}

/* One step of a line; writes its two stream rows and the load of its motors. Returns warning bits. */
static inline int64_t
step_line(const struct line_p *p, struct line_s *restrict s, const struct line_f *f,
          const struct plug_p *plug_p, struct plug_s *plug_s, const struct branch_p *branch_p,
          struct branch_s *branch_s, const struct pump_p *pump_p, struct pump_s *pump_s,
          const struct pump_f *pump_f, struct motor_s *motor_s, struct actuator_s *actuator_s,
          const int64_t *links, const double *tables, double (*restrict streams)[NS],
          double (*restrict offers)[NO], double (*restrict parcels)[PARCEL], double *mem,
          const struct material *material, double (*restrict ledger)[NS], double now, double dt) {
    int64_t flags = 0;
    const struct plug_p *pp = &plug_p[p->plug];
    struct plug_s *ps = &plug_s[p->plug];
    int64_t offer = p->offer;
    double level = offers[offer][OFFER_LEVEL];
    double rho_in = offers[offer][OFFER_DENSITY];
    double temperature = offers[offer][HEAT];
    s->density = rho_in;
    s->solids = offers[offer][COARSE] + offers[offer][FINES] + offers[offer][COLLOID];
    s->solids_fraction = rho_in > 0.0 ? s->solids / rho_in : 0.0;
    s->suction_pressure = rho_in * G * level;
    double injected = 0.0;
    for (int64_t i = p->injections; i < p->injections + p->n_injections; i++) {
        injected += streams[links[i]][VOLUME];
    }
    /* the bore that is left, and how far the line is filled */
    double full = 0.25 * PI * p->diameter * p->diameter;
    double area = full;
    double bore = p->diameter;
    double capacity = pp->volume;
    s->blockage = f->block;
    if (s->deposit > 0.0) {
        double bed = line_bed_part(s, pp->volume, material);
        capacity *= 1.0 - bed;
        s->blockage += bed;
    }
    if (s->blockage > 0.0) {
        double left = max(1.0 - s->blockage, 1e-06);
        area *= left;
        bore *= sqrt(left);
    }
    double filled = ps->filled < capacity * BRIM ? min(ps->filled / capacity, 1.0) : 1.0;
    double valve = p->valve >= 0 ? line_valve_loss(p, actuator_s) : 0.0;
    int64_t shut =
        valve < 0.0 || s->plugged > 0.0 || s->blockage >= 0.999 || (p->gate >= 0 && !(mem[p->gate] > 0.0));
    double held = s->solids;
    if (ps->solids > 0.0 || s->solids > 0.0) {
        held = ps->filled > 0.0 ? ps->solids / ps->filled : s->solids;
    }
    double water = water_density(temperature);
    double per_density = 1.0 / material->solids_density;
    double rho = water + held * (1.0 - water * per_density);
    double phi = held * per_density;
    double phi_in = s->solids * per_density;
    double ratio = rho_in > 0.0 ? rho_in / rho : 1.0;
    double static_ = (p->lift > 0.0 ? p->lift * filled : p->lift) - ratio * level;
    s->static_head = static_;
    double ty = 0.0;
    if (p->bingham) {
        if (fabs(phi - s->mud) > SAME_MUD * phi || s->mud_thickening == 0.0) {
            s->mud = phi;
            s->mud_yield = yield_stress(phi, material->yield_a, material->yield_b);
            s->mud_thickening = plastic_viscosity(phi, 1.0, material->plastic_a);
        }
        ty = s->mud_yield;
    }
    double old = s->flow;
    if (old == 0.0 && injected == 0.0 && s->delivered == 0.0 && streams[p->suction][VOLUME] == 0.0) {
        int64_t idle = shut && p->n_branches == 0;
        if (p->n_branches > 0 && (shut || static_ > 0.0)) {
            idle = line_pumps_rest(p, branch_p, pump_p, pump_s, motor_s);
        }
        if (idle) {
            s->friction_head = 0.0;
            s->pump_head = 0.0;
            s->velocity = 0.0;
            s->pressure = s->suction_pressure;
            s->suction_margin = level + (ATMOSPHERE - vapour_pressure(temperature)) / (max(rho_in, 1.0) * G);
            line_stand(p, s, ty, dt);
            return flags;
        }
    }
    double flow = 0.0;
    double head = 0.0;
    double per_area = 1.0 / area;
    s->friction_head = 0.0;
    if (shut) {
        head = stop_branches(p, phi_in, branch_p, branch_s, pump_p, pump_s, pump_f, motor_s, tables);
    } else {
        double mu = MU20 * relative_viscosity(temperature);
        if (p->bingham) {
            mu *= s->mud_thickening;
        } else {
            mu *= relative_viscosity_batchelor(phi, 6.2);
        }
        double length = p->length * max(filled, LEAST_FILL);
        double inertia = length / (G * full * dt);
        double climb = (p->lift > 0.0 && filled < 1.0) ? p->lift * dt / pp->volume : 0.0;
        double drive = inertia * old - static_;
        double minor = p->minor * per_area * per_area / (2.0 * G);
        double guess = old;
        double hold;
        double linear;
        double square;
        for (int64_t turn = 0; turn < 3; turn++) {
            double speed = fabs(guess) * per_area;
            hold = 0.0;
            if (p->bingham && ty > 0.0) {
                const struct friction found =
                    line_bingham_friction(s, speed, length, bore, area, p->roughness, mu, rho, ty);
                linear = found.linear;
                square = found.square;
                hold = found.hold;
            } else {
                const struct friction found2 =
                    line_newton_friction(s, speed, length, bore, area, p->roughness, mu, rho);
                linear = found2.linear;
                square = found2.square;
            }
            square += minor;
            if (p->n_branches > 0) {
                double first = old != 0.0 ? s->pump_head : -drive / ratio;
                const struct duty found3 =
                    pumped_flow(p, first, drive, linear + inertia + climb, square + valve, hold, ratio,
                                phi_in, branch_p, branch_s, pump_p, pump_s, pump_f, motor_s, tables);
                flow = found3.flow;
                head = found3.head;
            } else {
                flow = quadratic_flow(drive, linear + inertia + climb, square + valve, hold);
            }
            /* a flow that has changed much in one step has another friction: once more with that */
            if (turn == 2 || fabs(flow - guess) <= 0.1 * fabs(flow) + 1e-09) {
                break;
            }
            guess = flow;
        }
        double found = flow;
        if (flow < 0.0) {
            if (p->check_valve) {
                flow = 0.0;
            } else {
                flow = max(flow, -(ps->filled / dt + injected));
            }
        } else if (flow * dt > offers[offer][VOLUME]) {
            flow = max(offers[offer][VOLUME], 0.0) / dt;
            flags |= WARN_LOW;
        }
        if (fabs(flow) < NOTHING) {
            flow = 0.0;
        }
        if (flow == 0.0) {
            head = stop_branches(p, phi_in, branch_p, branch_s, pump_p, pump_s, pump_f, motor_s, tables);
        } else {
            if (flow != found) {
                for (int64_t i = p->branch; i < p->branch + p->n_branches; i++) {
                    branch_s[i].flow *= flow / found;
                }
            }
            s->friction_head = linear * flow + square * flow * fabs(flow) + copysign(hold, flow);
        }
    }
    s->flow = flow;
    s->velocity = flow * per_area;
    s->pump_head = head;
    s->pressure = rho_in * G * (level + head);
    /* the limit velocity matters while there is coarse to lose or a bed to hold */
    double coarse = offers[offer][COARSE];
    double excess = 0.0;
    s->limit_velocity = 0.0;
    if (p->deposit_factor > 0.0 && (coarse > 1e-06 || s->deposit > 0.0)) {
        s->limit_velocity = durand_velocity(p->deposit_factor, p->diameter, 1.0 / (per_density * water), G);
        excess = s->velocity / s->limit_velocity - 1.0;
        if (flow > 0.0 && excess < 0.0) {
            s->slow_time += dt;
            if (coarse > 1e-06 && s->blockage > SLOW_BED) {
                flags |= WARN_SLOW;
            }
        }
    }
    if (flow != 0.0 || injected != 0.0) {
        flags |= line_transport(p, s, f, pp, ps, flow, excess, coarse, links, streams, offers, parcels,
                                capacity, shut, material, ledger, now, dt);
    } else if (old != 0.0 || s->delivered != 0.0 || streams[p->suction][VOLUME] != 0.0) {
        no_flow(streams, p->suction);
        no_flow(streams, p->out);
        s->delivered = 0.0;
    }
    if (flow != 0.0) {
        s->standing = 0.0;
    } else {
        line_stand(p, s, ty, dt);
    }
    /* suction: no suction pipe is modelled, the pumps stand at the floor of the unit they draw from */
    if (p->n_branches > 0) {
        double available = level;
        if (rho_in > 0.0) {
            available += (ATMOSPHERE - vapour_pressure(temperature)) / (rho_in * G);
        }
        const struct suction found4 = finish_branches(p, phi_in, rho_in, available, branch_p, branch_s,
                                                      pump_p, pump_s, pump_f, motor_s, tables, dt);
        double margin = found4.margin;
        int64_t bits = found4.flags;
        s->suction_margin = margin;
        flags |= bits;
    }
    return flags;
}
