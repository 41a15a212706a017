"""Instruments: from a true value of the plant to what the control room reads.

A measurement passes through the same stages in the same order as a transmitter has them: sensor lag, film
on the window, optical saturation, errors of the electronics (drift, bias, noise), disturbances (bubbles,
spikes), the limits of a 4-20 mA signal, the steps of the converter.
"""

from __future__ import annotations

import math

from plantsim.jit import part, shared_part
from plantsim.kernels.random import advance_state, normal, uniform
from plantsim.physics.optics import detector_reading
from plantsim.records import SENSE_DIGITAL, SENSE_OPTICAL

# NAMUR NE 43 (limits from memory): a 4-20 mA signal carries measurement between 3.8 and 20.5 mA; 3.6 mA and
# less (or 21 mA and more) means failure. As parts of the 16 mA span, counted from 4 mA:
UNDER_RANGE = -0.2 / 16.0
OVER_RANGE = 16.5 / 16.0
# a lost signal reads as 3.0 mA, clear of the 3.6 mA failure limit, so that no rounding can hide it
LOST_SIGNAL = -1.0 / 16.0


@shared_part
def step_instrument(p, s, f, tick, dt, calm, mem, imem, tags):
    """Take a sample when one is due and write the tag.

    Parameters
    ----------
    p, s, f : record
        Parameters, state and faults of the instrument.
    tick : int
        Steps done since the start, [-]
    dt : float
        Length of one step, [s]
    calm : int
        1: no noise, [-]
    mem, imem : array
        The plant's memory as float64 and as int64.
    tags : array
        Tag image the control programs see.

    Returns
    -------
    flags : int
        Warning bits; none here, [-]

    Notes
    -----
    Between samples the tag keeps its value. The lag is exact for a true value that was constant over the
    sample interval, so a reading depends on the sample interval, never on the step. Three random numbers
    belong to every sample whether used or not: two runs that differ by a fault still see the same noise.
    Faults (spikes, bubbles) act in a calm run too: they are asked for.
    """
    if tick >= s.due:  # the test alone is small enough to be inlined: most steps take no sample
        s.due = tick + p.every
        _sample(p, s, f, dt, calm, mem, imem, tags)
    return 0


@shared_part
def _sample(p, s, f, dt, calm, mem, imem, tags):
    """Take one sample."""
    interval = p.every * dt
    if p.integer != 0:
        raw = float(imem[p.cell])
    else:
        raw = mem[p.cell]
    draw_noise = advance_state(s.random)
    draw_spike = advance_state(draw_noise)
    draw_bubble = advance_state(draw_spike)
    s.random = draw_bubble
    digital = p.kind == SENSE_DIGITAL
    # a switch is set in SI, so it needs no scale
    true = raw if digital else raw * p.scale + p.offset
    s.true = true
    if s.started == 0:
        s.started = 1
        s.lagged = true
    else:
        if p.lag > 0.0:
            if s.gain_lag != p.lag or s.gain_every != p.every:
                s.gain_lag = p.lag
                s.gain_every = p.every
                s.gain = -math.expm1(-interval / p.lag)
            s.lagged += (true - s.lagged) * s.gain
        else:
            s.lagged = true
        s.drift += f.drift_rate * interval
        s.cleaned += interval
        s.fouling += p.fouling_rate * f.fouling_factor * interval
        if p.clean_every > 0.0 and s.cleaned > p.clean_every - 0.5 * dt:
            s.fouling = 0.0
            s.cleaned = 0.0
    if digital:
        reading = _switch(p, s, f, draw_spike)
    else:
        reading = _transmit(p, s, f, calm, mem, draw_noise, draw_spike, draw_bubble)
    if f.stuck == 0:
        s.reading = reading
    tags[p.tag] = s.reading


@part
def _switch(p, s, f, draw_spike):
    """Contact of a level, flow or pressure switch: on above the threshold, off below it less the deadband."""
    if s.lagged > p.threshold:
        s.contact = 1
    elif s.lagged < p.threshold - p.deadband:
        s.contact = 0
    if f.lost != 0:
        return 0.0  # an open circuit looks like an open contact
    on = s.contact
    if f.spikes > 0.0 and uniform(draw_spike) < f.spikes:
        on = 1 - on  # a bouncing contact
    return float(on)


@shared_part
def _transmit(p, s, f, calm, mem, draw_noise, draw_spike, draw_bubble):
    """Reading of an analogue transmitter, in the tag's unit."""
    span = p.high - p.low
    if f.lost != 0:
        return p.low + LOST_SIGNAL * span
    # the film lies before the detector: it adds light lost or scattered, and saturates with the rest
    x = s.lagged + s.fouling * span
    if p.kind == SENSE_OPTICAL and p.saturation > 0.0:
        x = detector_reading(x, p.saturation)
    x += (s.drift + f.bias) * span
    if calm == 0 and p.noise > 0.0:
        x += normal(draw_noise) * p.noise * f.noise_factor * span
    if f.spikes > 0.0:
        u = uniform(draw_spike)
        if u < f.spikes:
            # where the number fell inside the chance gives the size: up to a span, either way
            x += (2.0 * u / f.spikes - 1.0) * span
    if f.bubbles > 0.0 and (p.flow_cell < 0 or mem[p.flow_cell] < p.flow_low):
        u = uniform(draw_bubble)
        if u < f.bubbles:
            # air scatters light: always upwards, a tenth to a whole span (common practice, no source)
            x += (0.1 + 0.9 * u / f.bubbles) * span
    least = p.low + UNDER_RANGE * span
    most = p.low + OVER_RANGE * span
    if not x > least:  # also catches a value that is no number
        x = least
    elif x > most:
        x = most
    if p.resolution > 0.0:
        step = p.resolution * span
        x = p.low + step * math.floor((x - p.low) / step + 0.5)
    return x
