/* Motors and power buses: from a run request to a speed, with everything that can stand between; as
 * plantsim/kernels/motor.py. */
#define HOUR 3600.0
#define MAGNETISING2 0.09
#define STARTING 6.0
#define RUN_UP 0.9

/* Begin a step of a power bus: its motors add their power afterwards. Returns warning bits (none). */
static inline int64_t step_bus(struct bus_s *restrict s, double dt) {
    s->power = 0.0;
    if (s->live == 0) {
        s->dead_time += dt;
    }
    return 0;
}

/* Drop starts that are an hour old from the count; the ring keeps at most N_STARTS. */
static inline void motor_forget_old_starts(struct motor_s *restrict s, double now) {
    while (s->starts_hour > 0.0) {
        int64_t oldest = s->next_start - (int64_t)s->starts_hour;
        if (oldest < 0) {
            oldest += N_STARTS;
        }
        if (s->start_times[oldest] > now - HOUR) {
            return;
        }
        s->starts_hour -= 1.0;
    }
}

/* Count a start. Beyond N_STARTS in one hour the hour's count stays there. */
static inline void motor_note_start(struct motor_s *restrict s, double now) {
    s->start_times[s->next_start] = now;
    s->next_start++;
    if (s->next_start == N_STARTS) {
        s->next_start = 0;
    }
    s->starts++;
    if (s->starts_hour < N_STARTS) {
        s->starts_hour += 1.0;
    }
    if (s->starts_hour > s->hour_max) {
        s->hour_max = s->starts_hour;
    }
}

/* Take the voltage off. */
static inline void motor_stop(struct motor_s *restrict s) {
    s->running = 0;
    s->stopped_for = 0.0;
}

/* Whether the motor is energised in this step. */
static inline void motor_decide(const struct motor_p *p, struct motor_s *restrict s, const struct motor_f *f,
                                int64_t request, int64_t live, double now, double dt) {
    if (live) {
        s->dip_time = 0.0;
    } else {
        s->dip_time += dt;
        if (s->wait > 0.0) {
            s->wait = p->restart_delay;
        }
        if (s->running && s->dip_time > p->ride_through + 1e-09) {
            motor_stop(s);
            if (p->restart == 0) {
                s->tripped = 1;
            }
            s->wait = p->restart_delay;
        }
    }
    if (f->trip != 0) {
        s->tripped = 1;
    }
    s->held = 0;
    if (s->tripped) {
        if (s->running) {
            motor_stop(s);
        }
        return;
    }
    if (s->running) {
        if (!request && f->stuck_on == 0) {
            motor_stop(s);
        }
        return;
    }
    if (!request || !live || f->no_start != 0) {
        return;
    }
    /* 1e-9 so that whole steps are not lengthened by rounding */
    int64_t rested = s->starts == 0 || s->stopped_for + 1e-09 >= p->min_rest;
    if (rested && s->wait <= 1e-09 && (p->max_starts <= 0.0 || s->starts_hour + 1.0 <= p->max_starts)) {
        s->running = 1;
        motor_note_start(s, now);
    } else {
        s->held = 1;
        s->held_time += dt;
    }
}

/* One step of a motor; adds its power to its bus. Returns warning bits (none). */
static inline int64_t step_motor(const struct motor_p *p, struct motor_s *restrict s, const struct motor_f *f,
                                 double *tags, struct actuator_s *actuator_s, struct bus_s *bus_s, double now,
                                 double dt) {
    int64_t request = p->run_tag < 0 || tags[p->run_tag] > 0.5;
    if (p->reset_tag >= 0) {
        int64_t reset = tags[p->reset_tag] > 0.5 ? 1 : 0;
        if (reset != s->last_reset) {
            s->last_reset = reset;
            if (reset) {
                s->tripped = 0;
            }
        }
    } else if (!request) {
        s->tripped = 0;
    }
    s->last_run = request ? 1 : 0;
    if (s->starts_hour > 0.0) {
        motor_forget_old_starts(s, now);
    }
    int64_t live = p->bus < 0 || bus_s[p->bus].live != 0;
    if (!request && s->running == 0 && s->speed == 0.0 && live && f->trip == 0 && s->wait <= 0.0) {
        /* at rest, nothing asked: the usual state of most motors */
        s->stopped_for += dt;
        s->power = 0.0;
        s->current = 0.0;
        s->dip_time = 0.0;
        s->held = 0;
        return 0;
    }
    motor_decide(p, s, f, request, live, now, dt);
    if (s->running) {
        s->run_time += dt;
        if (live) {
            double wanted = 1.0;
            if (p->speed_actuator >= 0) {
                wanted = max(0.0, actuator_s[p->speed_actuator].position);
            }
            if (s->speed < wanted) {
                s->speed = p->ramp_up > 0.0 ? min(wanted, s->speed + dt / p->ramp_up) : wanted;
            } else if (s->speed > wanted) {
                s->speed = p->ramp_down > 0.0 ? max(wanted, s->speed - dt / p->ramp_down) : wanted;
            }
            double shaft = s->load > 0.0 ? s->load : p->idle;
            s->power = shaft / p->efficiency;
            s->energy += s->power * dt;
            if (p->bus >= 0) {
                bus_s[p->bus].power += s->power;
            }
            if (p->speed_actuator < 0 && s->speed < RUN_UP) {
                s->current = STARTING;
            } else {
                double part = shaft / p->rated;
                s->current = sqrt(MAGNETISING2 + (1.0 - MAGNETISING2) * part * part);
            }
            return 0;
        }
    } else {
        /* riding through a dip: the drive keeps the speed from its stored energy */
        s->stopped_for += dt;
        if (live && s->wait > 0.0) {
            s->wait = max(0.0, s->wait - dt);
        }
        if (s->speed > 0.0) {
            s->speed = p->ramp_down > 0.0 ? max(0.0, s->speed - dt / p->ramp_down) : 0.0;
        }
    }
    s->power = 0.0;
    s->current = 0.0;
    return 0;
}
