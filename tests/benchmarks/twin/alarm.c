/* Alarms: each looks at one cell, waits out its delays, and walks through the states of the standard; as
 * plantsim/kernels/alarm.py. */

/* Condition with deadband and delays; `value` is taken times the sign of the alarm. */
static inline void alarm_judge(const struct alarm_p *p, struct alarm_s *s, int64_t tick, double value) {
    int64_t beyond = value > (s->active != 0 ? p->clear : p->limit) ? 1 : 0;
    if (beyond == s->active) {
        s->since = -1;
        return;
    }
    if (s->since < 0) s->since = tick;
    if (tick - s->since >= (s->active != 0 ? p->off_delay : p->on_delay)) {
        s->active = beyond;
        s->since = -1;
    }
}

/* Mark an alarm as the first of its group when nothing else of the group stands. */
static inline void alarm_first_out(int64_t i, const struct alarm_p *all_p, struct alarm_s *all_s, int64_t n) {
    int64_t group = all_p[i].group;
    if (group < 0) return;
    for (int64_t k = 0; k < n; k++) {
        if (k != i && all_p[k].group == group && ALARM_NORMAL < all_s[k].state &&
            all_s[k].state < ALARM_SHELVED) {
            all_s[i].first = 0;
            return;
        }
    }
    for (int64_t k = 0; k < n; k++) {
        if (all_p[k].group == group) all_s[k].first = 0;
    }
    all_s[i].first = 1;
}

/* Note a change in the ring; one that finds it full is counted as lost. */
static inline void alarm_note(struct clock *clock, struct alarm_log *log, int64_t n_log, int64_t tick,
                              int64_t i, int64_t before, int64_t after, int64_t first, double value) {
    if (clock->notes - clock->notes_read >= n_log) {
        clock->notes_lost += 1;
        return;
    }
    struct alarm_log *row = &log[clock->notes % n_log];
    row->tick = tick;
    row->alarm = i;
    row->before = before;
    row->after = after;
    row->first = first;
    row->value = value;
    clock->notes += 1;
}

/* Bring condition and state of one alarm up to date. */
static __attribute__((noinline)) void alarm_walk(int64_t i, const struct plant *plant, int64_t tick,
                                                 double value, int hushing) {
    const struct alarm_p *p = &plant->alarm_p[i];
    struct alarm_s *s = &plant->alarm_s[i];
    if (hushing) s->hushed_until = tick + p->every + p->hush_after;
    int hushed = tick < s->hushed_until;
    if (s->shelved_until <= tick) s->shelved_until = 0;
    if (hushed) {
        s->active = 0;
        s->since = -1;
    } else {
        alarm_judge(p, s, tick, p->sign * value);
    }
    int64_t before = s->state;
    int64_t after = before;
    if (s->out != 0) {
        after = ALARM_OUT;
    } else if (hushed) {
        after = ALARM_SUPPRESSED;
    } else if (s->shelved_until > 0) {
        after = ALARM_SHELVED;
    } else if (before >= ALARM_SHELVED) {
        after = s->active != 0 ? ALARM_UNACKED : ALARM_NORMAL;
    } else if (s->active != 0) {
        if (before != ALARM_ACKED) after = ALARM_UNACKED;
    } else if (before == ALARM_UNACKED) {
        after = p->latching != 0 ? ALARM_LATCHED_UNACKED : ALARM_RETURNED;
    } else if (before == ALARM_ACKED) {
        after = p->latching != 0 ? ALARM_LATCHED_ACKED : ALARM_NORMAL;
    }
    if (after != before) {
        s->state = after;
        s->changed = tick;
        if (after == ALARM_UNACKED) {
            s->count += 1;
            if (before == ALARM_NORMAL || before >= ALARM_SHELVED)
                alarm_first_out(i, plant->alarm_p, plant->alarm_s, plant->n_alarm_p);
        }
        alarm_note(plant->clock, plant->alarm_log, plant->n_alarm_log, tick, i, before, after, s->first, value);
    }
}

/* Look at one alarm. */
static inline void step_alarm(int64_t i, const struct plant *plant, int64_t tick) {
    const struct alarm_p *p = &plant->alarm_p[i];
    struct alarm_s *s = &plant->alarm_s[i];
    s->due = tick + p->every;
    int hushing = 0;
    if (p->hush >= 0) {
        double by = p->hush_integer != 0 ? (double)plant->imem[p->hush] : plant->mem[p->hush];
        hushing = p->hush_sign * by > p->hush_limit;
    }
    double value = p->integer != 0 ? (double)plant->imem[p->cell] : plant->mem[p->cell];
    int quiet = s->state == ALARM_NORMAL && s->since < 0 && s->out == 0 && s->shelved_until == 0;
    /* nearly always: nothing is wrong, nothing was, and nothing holds it back */
    if (quiet && !hushing && tick >= s->hushed_until && !(p->sign * value > p->limit)) return;
    alarm_walk(i, plant, tick, value, hushing);
}
