/* Instruments: from a true value of the plant to what the control room reads; as
 * plantsim/kernels/instrument.py. */
#define UNDER_RANGE (-0.2 / 16.0)
#define OVER_RANGE (16.5 / 16.0)
#define LOST_SIGNAL (-1.0 / 16.0)

static void instrument_sample(const struct instrument_p *p, struct instrument_s *s,
                              const struct instrument_f *f, double dt, int64_t calm, double *mem,
                              cell_bits *imem, double *tags);
static double instrument_transmit(const struct instrument_p *p, struct instrument_s *s,
                                  const struct instrument_f *f, int64_t calm, double *mem, int64_t draw_noise,
                                  int64_t draw_spike, int64_t draw_bubble);
static double instrument_switch(const struct instrument_p *p, struct instrument_s *s,
                                const struct instrument_f *f, int64_t draw_spike);

/* Take a sample when one is due and write the tag. */
static int64_t step_instrument(const struct instrument_p *p, struct instrument_s *s,
                               const struct instrument_f *f, int64_t tick, double dt, int64_t calm,
                               double *mem, cell_bits *imem, double *tags) {
    if (tick >= s->due) { /* the test alone is small enough to be inlined: most steps take no sample */
        s->due = tick + p->every;
        instrument_sample(p, s, f, dt, calm, mem, imem, tags);
    }
    return 0;
}

/* Take one sample. */
static void instrument_sample(const struct instrument_p *p, struct instrument_s *s,
                              const struct instrument_f *f, double dt, int64_t calm, double *mem,
                              cell_bits *imem, double *tags) {
    double interval = p->every * dt;
    double raw;
    if (p->integer != 0) {
        raw = (double)imem[p->cell];
    } else {
        raw = mem[p->cell];
    }
    int64_t draw_noise = advance_state(s->random);
    int64_t draw_spike = advance_state(draw_noise);
    int64_t draw_bubble = advance_state(draw_spike);
    s->random = draw_bubble;
    int64_t digital = p->kind == SENSE_DIGITAL;
    /* a switch is set in SI, so it needs no scale */
    double true = digital ? raw : raw * p->scale + p->offset;
    s->true = true;
    if (s->started == 0) {
        s->started = 1;
        s->lagged = true;
    } else {
        if (p->lag > 0.0) {
            if (s->gain_lag != p->lag || s->gain_every != p->every) {
                s->gain_lag = p->lag;
                s->gain_every = p->every;
                s->gain = -expm1(-interval / p->lag);
            }
            s->lagged += (true - s->lagged) * s->gain;
        } else {
            s->lagged = true;
        }
        s->drift += f->drift_rate * interval;
        s->cleaned += interval;
        s->fouling += p->fouling_rate * f->fouling_factor * interval;
        if (p->clean_every > 0.0 && s->cleaned > p->clean_every - 0.5 * dt) {
            s->fouling = 0.0;
            s->cleaned = 0.0;
        }
    }
    double reading;
    if (digital) {
        reading = instrument_switch(p, s, f, draw_spike);
    } else {
        reading = instrument_transmit(p, s, f, calm, mem, draw_noise, draw_spike, draw_bubble);
    }
    if (f->stuck == 0) {
        s->reading = reading;
    }
    tags[p->tag] = s->reading;
}

/* Contact of a level, flow or pressure switch: on above the threshold, off below it less the deadband. */
static double instrument_switch(const struct instrument_p *p, struct instrument_s *s,
                                const struct instrument_f *f, int64_t draw_spike) {
    if (s->lagged > p->threshold) {
        s->contact = 1;
    } else if (s->lagged < p->threshold - p->deadband) {
        s->contact = 0;
    }
    if (f->lost != 0) {
        return 0.0; /* an open circuit looks like an open contact */
    }
    int64_t on = s->contact;
    if (f->spikes > 0.0 && uniform(draw_spike) < f->spikes) {
        on = 1 - on; /* a bouncing contact */
    }
    return (double)on;
}

/* Reading of an analogue transmitter, in the tag's unit. */
static double instrument_transmit(const struct instrument_p *p, struct instrument_s *s,
                                  const struct instrument_f *f, int64_t calm, double *mem, int64_t draw_noise,
                                  int64_t draw_spike, int64_t draw_bubble) {
    double span = p->high - p->low;
    if (f->lost != 0) {
        return p->low + LOST_SIGNAL * span;
    }
    /* the film lies before the detector: it adds light lost or scattered, and saturates with the rest */
    double x = s->lagged + s->fouling * span;
    if (p->kind == SENSE_OPTICAL && p->saturation > 0.0) {
        x = detector_reading(x, p->saturation);
    }
    x += (s->drift + f->bias) * span;
    if (calm == 0 && p->noise > 0.0) {
        x += normal(draw_noise) * p->noise * f->noise_factor * span;
    }
    if (f->spikes > 0.0) {
        double u = uniform(draw_spike);
        if (u < f->spikes) {
            /* where the number fell inside the chance gives the size: up to a span, either way */
            x += (2.0 * u / f->spikes - 1.0) * span;
        }
    }
    if (f->bubbles > 0.0 && (p->flow_cell < 0 || mem[p->flow_cell] < p->flow_low)) {
        double u = uniform(draw_bubble);
        if (u < f->bubbles) {
            /* air scatters light: always upwards, a tenth to a whole span (common practice, no source) */
            x += (0.1 + 0.9 * u / f->bubbles) * span;
        }
    }
    double least = p->low + UNDER_RANGE * span;
    double most = p->low + OVER_RANGE * span;
    if (!(x > least)) { /* also catches a value that is no number */
        x = least;
    } else if (x > most) {
        x = most;
    }
    if (p->resolution > 0.0) {
        double step = p->resolution * span;
        x = p->low + step * floor((x - p->low) / step + 0.5);
    }
    return x;
}
