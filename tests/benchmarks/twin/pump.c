/* Centrifugal pumps in series and in parallel branches, and the flow they drive through a line; as
 * plantsim/kernels/pump.py. */
#define STANDING 0.001
#define LEAST_SLOPE 1.0
#define BREAKDOWN 0.5
#define BREAKDOWN_TIME 2.0
#define PASSES 60
#define ENOUGH 1e-4
#define WALL 1e+18

/* Head [m] of a pump at a flow, and how fast it falls with flow [s/m2] (never below a small number). */
static inline struct tangent pump_tangent(const struct pump_p *p, struct pump_s *restrict s,
                                          const struct pump_f *f, double speed, double flow, double phi,
                                          const double *tables) {
    int64_t first = p->curve;
    int64_t last = first + p->points - 1;
    double k = p->stopped_k;
    if (speed < STANDING) {
        /* the slope of a square vanishes at rest: a tenth of the end flow keeps the step finite */
        return (struct tangent){-k * flow * fabs(flow),
                                max(2.0 * k * max(fabs(flow), 0.1 * tables[last]), LEAST_SLOPE)};
    }
    double factor = (1.0 - f->wear) * (1.0 - p->derate * phi) * (1.0 - s->cavitation);
    factor = max(factor, 0.0) * speed * speed;
    double scale = speed * max(1.0 - f->clog, 0.001);
    double x = flow / scale;
    double head;
    double slope;
    if (x < tables[first]) {
        head = factor * tables[first + p->points];
        if (flow >= 0.0) {
            return (struct tangent){head, LEAST_SLOPE};
        }
        slope = max(2.0 * k * max(-flow, 0.1 * tables[last]), LEAST_SLOPE);
        return (struct tangent){head + k * flow * flow, slope};
    }
    int64_t i = first;
    while (i < last - 1 && x >= tables[i + 1]) {
        i++;
    }
    int64_t h = i + p->points;
    double fall = (tables[h] - tables[h + 1]) / (tables[i + 1] - tables[i]);
    head = factor * (tables[h] - fall * (x - tables[i]));
    slope = max(factor * fall / scale, LEAST_SLOPE);
    double beyond = flow - scale * tables[last];
    if (beyond > 0.0) {
        head -= k * beyond * beyond;
        slope += 2.0 * k * beyond;
    }
    return (struct tangent){head, slope};
}

/* Head and fall of head of the pumps of one branch together, in series. */
static inline struct tangent branch_tangent(const struct branch_p *b, double flow, double phi,
                                            const struct pump_p *pump_p, struct pump_s *pump_s,
                                            const struct pump_f *pump_f, struct motor_s *motor_s,
                                            const double *tables) {
    double head = 0.0;
    double slope = 0.0;
    for (int64_t i = b->pump; i < b->pump + b->n_pumps; i++) {
        double speed = motor_s[pump_p[i].motor].speed;
        const struct tangent found =
            pump_tangent(&pump_p[i], &pump_s[i], &pump_f[i], speed, flow, phi, tables);
        double h = found.head;
        double m = found.slope;
        head += h;
        slope += m;
    }
    return (struct tangent){head, slope};
}

/* Whether all pumps of a branch stand. */
static inline int64_t branch_stands(const struct branch_p *b, const struct pump_p *pump_p,
                                    const struct motor_s *motor_s) {
    for (int64_t i = b->pump; i < b->pump + b->n_pumps; i++) {
        if (motor_s[pump_p[i].motor].speed >= STANDING) {
            return 0;
        }
    }
    return 1;
}

/* Flow that balances drive = linear Q + square Q|Q| + hold sgn(Q); zero while |drive| is below `hold`. */
static inline double quadratic_flow(double drive, double linear, double square, double hold) {
    if (drive > hold) {
        double rest = drive - hold;
        return 2.0 * rest / (linear + sqrt(linear * linear + 4.0 * square * rest));
    }
    if (drive < -hold) {
        double rest = -drive - hold;
        return -2.0 * rest / (linear + sqrt(linear * linear + 4.0 * square * rest));
    }
    return 0.0;
}

/* `pumped_flow` for one branch, whose flow is that of the line: the tangent needs no adding up. */
static inline struct duty pump_single_flow(const struct line_p *line, double drive, double linear,
                                           double square, double hold, double ratio, double phi,
                                           const struct branch_p *branch_p, struct branch_s *branch_s,
                                           const struct pump_p *pump_p, struct pump_s *pump_s,
                                           const struct pump_f *pump_f, struct motor_s *motor_s,
                                           const double *tables) {
    const struct branch_p *b = &branch_p[line->branch];
    struct branch_s *s = &branch_s[line->branch];
    double flow = s->flow;
    double head = 0.0;
    double m;
    for (int64_t turn = 0; turn < PASSES; turn++) {
        const struct tangent found = branch_tangent(b, flow, phi, pump_p, pump_s, pump_f, motor_s, tables);
        double h = found.head;
        m = found.slope;
        double new = quadratic_flow(drive + ratio * (h + m * flow), linear + ratio * m, square, hold);
        if (turn >= 8) {
            new = 0.5 * (new + flow);
        }
        if (new < 0.0 && b->check_valve != 0) {
            new = 0.0;
        }
        double change = fabs(new - flow);
        head = h + m * (flow - new);
        flow = new;
        if (change <= ENOUGH * fabs(new) + 1e-12) {
            break;
        }
    }
    s->flow = flow;
    s->head = head;
    s->slope = m;
    return (struct duty){flow, head};
}

/* Flow [m3/s] and pump head [m] where the branches and the line meet. */
static inline struct duty pumped_flow(const struct line_p *line, double head, double drive, double linear,
                                      double square, double hold, double ratio, double phi,
                                      const struct branch_p *branch_p, struct branch_s *branch_s,
                                      const struct pump_p *pump_p, struct pump_s *pump_s,
                                      const struct pump_f *pump_f, struct motor_s *motor_s,
                                      const double *tables) {
    if (line->n_branches == 1) {
        return pump_single_flow(line, drive, linear, square, hold, ratio, phi, branch_p, branch_s, pump_p,
                                pump_s, pump_f, motor_s, tables);
    }
    double flow = 0.0;
    int64_t n = line->n_branches;
    int64_t first = line->branch;
    for (int64_t turn = 0; turn < PASSES; turn++) {
        double spread = 0.0;
        double total = 0.0;
        for (int64_t i = first; i < first + n; i++) {
            struct branch_s *s = &branch_s[i];
            if (branch_p[i].check_valve != 0 && s->flow <= 0.0 && head >= 0.0 &&
                branch_stands(&branch_p[i], pump_p, motor_s)) {
                s->head = 0.0; /* a standing pump gives no head, and its valve is held shut */
                s->flow = 0.0;
                s->slope = 0.0;
                continue;
            }
            const struct tangent found =
                branch_tangent(&branch_p[i], s->flow, phi, pump_p, pump_s, pump_f, motor_s, tables);
            double h = found.head;
            double m = found.slope;
            s->head = h;
            if (branch_p[i].check_valve != 0 && s->flow <= 0.0 && h <= head) {
                s->flow = 0.0;
                s->slope = 0.0;
            } else {
                s->slope = m;
                spread += 1.0 / m;
                total += s->flow + h / m;
            }
        }
        if (spread > 0.0) {
            double b = 1.0 / spread;
            double a = total * b;
            flow = quadratic_flow(drive + ratio * a, linear + ratio * b, square, hold);
            head = a - b * flow;
        } else {
            flow = 0.0;
            head = -drive / ratio;
        }
        double change = 0.0;
        for (int64_t i = first; i < first + n; i++) {
            struct branch_s *s = &branch_s[i];
            if (s->slope > 0.0) {
                double new = s->flow + (s->head - head) / s->slope;
                if (turn >= 8) {
                    new = 0.5 * (new + s->flow); /* a curve with a hump may throw the tangents to and fro */
                }
                if (new < 0.0 && branch_p[i].check_valve != 0) {
                    new = 0.0;
                }
                change = max(change, fabs(new - s->flow) - ENOUGH * fabs(new));
                s->flow = new;
            } else if (s->head > head) {
                change = 1.0; /* its check valve opens: once more with it */
            }
        }
        if (change <= 1e-12) {
            break;
        }
    }
    return (struct duty){flow, head};
}

/* Let the branches work against a line without flow; returns the head [m] they keep up there. */
static double stop_branches(const struct line_p *line, double phi, const struct branch_p *branch_p,
                            struct branch_s *branch_s, const struct pump_p *pump_p, struct pump_s *pump_s,
                            const struct pump_f *pump_f, struct motor_s *motor_s, const double *tables) {
    if (line->n_branches > 1) {
        const struct duty found = pumped_flow(line, 0.0, 0.0, WALL, 0.0, 0.0, 1.0, phi, branch_p, branch_s,
                                              pump_p, pump_s, pump_f, motor_s, tables);
        double head = found.head;
        for (int64_t i = line->branch; i < line->branch + line->n_branches; i++) {
            if (fabs(branch_s[i].flow) < 1e-09) {
                branch_s[i].flow = 0.0;
            }
        }
        return head;
    }
    if (line->n_branches == 1) {
        struct branch_s *s = &branch_s[line->branch];
        s->flow = 0.0;
        const struct tangent found2 =
            branch_tangent(&branch_p[line->branch], 0.0, phi, pump_p, pump_s, pump_f, motor_s, tables);
        s->head = found2.head;
        s->slope = found2.slope;
        return s->head;
    }
    return 0.0;
}

/* Q H / eta of the water curve [m4/s] at a point, from its two neighbours where that is undefined. */
static double pump_point_power(const struct pump_p *p, int64_t j, const double *tables) {
    double eta = tables[j + 2 * p->points];
    if (tables[j] > 0.0 && eta > 0.0) {
        return tables[j] * tables[j + p->points] / eta;
    }
    int64_t way = j == p->curve ? 1 : -1;
    if (p->points < 3) {
        eta = tables[j + way + 2 * p->points];
        return eta > 0.0 ? tables[j + way] * tables[j + way + p->points] / eta : 0.0;
    }
    int64_t a = j + way;
    int64_t b = a + way;
    double near = tables[a] * tables[a + p->points] / tables[a + 2 * p->points];
    double far = tables[b] * tables[b + p->points] / tables[b + 2 * p->points];
    return max(near + (far - near) * (tables[j] - tables[a]) / (tables[b] - tables[a]), 0.0);
}

/* Head, power, efficiency and times of one pump at the flow found. */
static inline struct finished finish_pump(const struct pump_p *p, struct pump_s *restrict s,
                                          const struct pump_f *f, double speed, double flow, double phi,
                                          double rho, double available, const double *tables,
                                          struct motor_s *motor_s, double dt) {
    s->flow = flow;
    if (speed < STANDING) {
        double head = -p->stopped_k * flow * fabs(flow);
        s->head = head;
        s->power = 0.0;
        s->efficiency = 0.0;
        motor_s[p->motor].load = 0.0;
        s->cavitation = 0.0;
        return (struct finished){head, 1e+30, 0};
    }
    const struct tangent found = pump_tangent(p, s, f, speed, flow, phi, tables);
    double head = found.head;
    s->head = head;
    int64_t flags = 0;
    int64_t first = p->curve;
    int64_t last = first + p->points - 1;
    double scale = speed * max(1.0 - f->clog, 0.001);
    double x = max(flow, 0.0) / scale;
    if (x > tables[last] * (1.0 + 1e-09)) {
        if (head > 0.0 && motor_s[p->motor].running != 0) {
            flags |= WARN_CURVE;
        }
        x = tables[last];
    }
    int64_t i = first;
    while (i < last - 1 && x >= tables[i + 1]) {
        i++;
    }
    double w = max((x - tables[i]) / (tables[i + 1] - tables[i]), 0.0);
    int64_t h = i + p->points;
    int64_t e = h + p->points;
    double water;
    if (tables[e] > 0.0 && tables[e + 1] > 0.0 && tables[i] > 0.0) {
        water = x * (tables[h] + w * (tables[h + 1] - tables[h]));
        water = max(water, 0.0) / (tables[e] + w * (tables[e + 1] - tables[e]));
    } else {
        double near = pump_point_power(p, i, tables);
        water = near + w * (pump_point_power(p, i + 1, tables) - near);
    }
    s->power = rho * G * speed * speed * scale * water * (1.0 - s->cavitation);
    motor_s[p->motor].load = s->power;
    s->efficiency = (flow > 0.0 && head > 0.0 && s->power > 0.0) ? rho * G * flow * head / s->power : 0.0;
    if (flow < p->min_flow * speed) {
        s->low_flow_time += dt;
    }
    int64_t n = e + p->points;
    double required = (tables[n] + w * (tables[n + 1] - tables[n])) * speed * speed;
    double margin = available - required;
    if (margin < 0.0 && flow > 0.0) {
        flags |= WARN_SUCTION;
        s->cavitation_time += dt;
        double gone = BREAKDOWN * required;
        double shortage = -margin < gone ? -margin / gone : 1.0;
        s->cavitation += (shortage - s->cavitation) * dt / (BREAKDOWN_TIME + dt);
    } else if (s->cavitation > 0.0) {
        s->cavitation *= BREAKDOWN_TIME / (BREAKDOWN_TIME + dt);
        if (s->cavitation < 1e-09) {
            s->cavitation = 0.0;
        }
    }
    return (struct finished){head, margin, flags};
}

/* Bring all pumps of a line up to date; returns the least suction margin [m] and warning bits. */
static inline struct suction finish_branches(const struct line_p *line, double phi, double rho,
                                             double available, const struct branch_p *branch_p,
                                             struct branch_s *branch_s, const struct pump_p *pump_p,
                                             struct pump_s *pump_s, const struct pump_f *pump_f,
                                             struct motor_s *motor_s, const double *tables, double dt) {
    int64_t flags = 0;
    double least = 1e+30;
    for (int64_t i = line->branch; i < line->branch + line->n_branches; i++) {
        double flow = branch_s[i].flow;
        double head = available;
        for (int64_t j = branch_p[i].pump; j < branch_p[i].pump + branch_p[i].n_pumps; j++) {
            double speed = motor_s[pump_p[j].motor].speed;
            const struct finished found = finish_pump(&pump_p[j], &pump_s[j], &pump_f[j], speed, flow, phi,
                                                      rho, head, tables, motor_s, dt);
            double h = found.head;
            double margin = found.margin;
            int64_t bits = found.flags;
            head += h;
            least = min(least, margin);
            flags |= bits;
        }
    }
    return (struct suction){least < 1e+30 ? least : available, flags};
}
