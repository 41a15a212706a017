/* Actuators: what lies between a command and a position; as plantsim/kernels/actuator.py. */

/* Move an actuator for one step. Returns warning bits (none). */
static inline int64_t step_actuator(const struct actuator_p *p, struct actuator_s *restrict s,
                                    const struct actuator_f *f, double *tags, struct bus_s *bus_s,
                                    double dt) {
    int64_t failed = f->lost_air != 0;
    if (p->bus >= 0 && bus_s[p->bus].live == 0) {
        failed = 1;
    }
    if (failed) {
        if (p->fail < 0.0) {
            s->moving = 0;
            return 0;
        }
        s->target = p->fail;
    } else if (p->tag >= 0) {
        double command = tags[p->tag] * p->scale;
        if (!(command > 0.0)) { /* also what is not a number */
            command = 0.0;
        } else if (command > 1.0) {
            command = 1.0;
        }
        if (p->resolution > 0.0 && command < 1.0) {
            command = floor(command / p->resolution + 0.5) * p->resolution;
            command = min(command, 1.0);
        }
        if (0.0 < command && command < p->minimum) {
            command = p->minimum;
        }
        if (fabs(command - s->target) > p->deadband || command <= 0.0 || command >= 1.0) {
            s->target = command;
        }
    }
    double way = s->target - s->position;
    if (way == 0.0) {
        s->moving = 0;
        return 0;
    }
    if (f->stuck != 0) {
        s->moving = 0;
        return 0;
    }
    if (s->moving == 0) {
        if (fabs(way) <= p->stiction && !failed) {
            return 0;
        }
        s->moving = 1;
    }
    double direction = way > 0.0 ? 1.0 : -1.0;
    double reach = p->rate * dt;
    if (reach > 0.0 && fabs(way) > reach) {
        s->position += direction * reach;
        s->travel += reach;
    } else {
        s->position = s->target;
        s->travel += fabs(way);
        s->moving = 0;
    }
    if (direction != s->direction) {
        if (s->direction != 0.0) {
            s->reversals++;
        }
        s->direction = direction;
    }
    return 0;
}
