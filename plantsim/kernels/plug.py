"""Plug flow by displaced volume: a ring of parcels that move without smearing into one another.

What enters fills the newest parcel up to its nominal volume, then starts another; what leaves is eaten off
the oldest, to the exact volume displaced. Nothing moves in memory, so a step costs the same for a long line
as for a short one, and a front stays sharp to within one parcel however long the line is.

**Draining back.** The newest parcels are eaten instead. The outlet end then stands empty (`filled` is less
than the volume) and nothing leaves there until the line is full again.

**Reaction.** A parcel reacts when somebody looks at it: on reaching the outlet, or on being taken back, for
all the time not yet booked. Time is booked once, so a parcel that leaves over several steps does not react
twice. Within one parcel that stays at the outlet the reaction is brought up to date when its unbooked time
exceeds a tenth of its age; the reactions are first order, so the error is of the order of that tenth of one
parcel's time.

**Dispersion.** With `mixing` = D / (v dx) above zero, neighbours exchange that part of a parcel for each
parcel's volume moved: the explicit scheme of the dispersion equation at Courant number one, where the
advection is exact (G. D. Smith, Numerical Solution of Partial Differential Equations, 3rd ed. 1985, ch. 2;
from memory). It is stable and positive up to `mixing` = 0.5; the plant builder refuses more. Its error,
D dx^2 (1/12 - mixing/2) times the fourth derivative, is second order in the parcel count and vanishes at
`mixing` = 1/6. A sweep goes over all parcels once for each parcel moved. Both ends are closed to dispersion.
"""

from __future__ import annotations

import math

from plantsim.jit import kernel, part
from plantsim.kernels.chemistry import react
from plantsim.records import COARSE, COLLOID, FINES, HEAT, NS, PARCEL_SEEN, PARCEL_TIME, VOLUME

_STALE = 0.1  # part of its age a parcel may go unbooked before it reacts again
_FULL = 1.0 - 1e-9  # a parcel this full takes no more


def plug_rows(volume: float, parcel: float) -> int:
    """Rows a plug needs in the parcel pool: whole parcels, both part-filled ends, the inlet row, one spare.

    Parameters
    ----------
    volume : float
        Volume when full, [m3]
    parcel : float
        Nominal volume of a parcel, [m3]

    Returns
    -------
    rows : int
        Rows, [-]
    """
    return math.ceil(volume / parcel) + 4


@part
def inlet_row(p):
    """Row of the pool in which what enters in this step is mixed, as amounts, before `push`."""
    return p.pool + p.rows - 1


@part
def push(p, s, parcels, now):
    """Take the amounts of the inlet row in at the inlet; the row is left as concentrations."""
    inlet = p.pool + p.rows - 1
    volume = parcels[inlet, VOLUME]
    if volume > 0.0:
        inverse = 1.0 / volume
        for k in range(1, NS):
            parcels[inlet, k] *= inverse
        push_mixed(p, s, parcels, now)


@part
def push_mixed(p, s, parcels, now):
    """Take the volume of the inlet row in at the inlet, at the concentrations and temperature in that row.

    A ring without a free row puts the rest into its newest parcel: the front blurs, nothing is lost.
    """
    inlet = p.pool + p.rows - 1
    rest = parcels[inlet, VOLUME]
    s.filled += rest
    s.solids += rest * (parcels[inlet, COARSE] + parcels[inlet, FINES] + parcels[inlet, COLLOID])
    ring = p.rows - 1
    newest = s.head + s.count - 1
    if newest >= ring:
        newest -= ring
    while rest > 0.0:
        row = p.pool + newest
        if s.count == 0 or (s.count < ring and parcels[row, VOLUME] >= p.parcel * _FULL):
            newest = s.head + s.count
            if newest >= ring:
                newest -= ring
            s.count += 1
            row = p.pool + newest
            taken = rest if s.count == ring else min(rest, p.parcel)
            parcels[row, VOLUME] = taken
            for k in range(1, NS):
                parcels[row, k] = parcels[inlet, k]
            parcels[row, PARCEL_TIME] = now
            parcels[row, PARCEL_SEEN] = now
        else:
            held = parcels[row, VOLUME]
            taken = rest if s.count == ring else min(rest, p.parcel - held)
            weight = taken / (held + taken)
            parcels[row, VOLUME] = held + taken
            for k in range(1, NS):
                parcels[row, k] += weight * (parcels[inlet, k] - parcels[row, k])
            parcels[row, PARCEL_TIME] += weight * (now - parcels[row, PARCEL_TIME])
            parcels[row, PARCEL_SEEN] += weight * (now - parcels[row, PARCEL_SEEN])
        rest -= taken


@kernel
def _bring_up_to_date(parcels, row, now, m, ledger):
    """Let a parcel react for its unbooked time. Returns warning bits."""
    unbooked = now - parcels[row, PARCEL_SEEN]
    parcels[row, PARCEL_SEEN] = now
    volume = parcels[row, VOLUME]
    parcels[row, VOLUME] = 1.0  # as concentrations: the ledger gets them times the volume
    flags = react(parcels[row], unbooked, m, ledger, volume)
    parcels[row, VOLUME] = volume
    return flags


@part
def _leave(p, s, parcels, row, taken, streams, stream, factor):
    """Book a volume of one parcel, times a factor, on a stream; the plug holds that much less."""
    moved = taken * factor
    streams[stream, VOLUME] += moved
    for k in range(1, NS):
        streams[stream, k] += moved * parcels[row, k]
    s.filled -= taken
    s.solids -= taken * (parcels[row, COARSE] + parcels[row, FINES] + parcels[row, COLLOID])


@part
def pop(p, s, parcels, volume, streams, stream, factor, reacts, now, m, ledger):
    """Let exactly `volume` [m3], as far as held, leave at the outlet: added to a stream row times `factor`.

    `factor` is 1/dt for a stream, 1 for amounts. With `reacts` false the chemistry is left alone (a dosing
    line). Returns warning bits.
    """
    flags = 0
    left = volume
    while left > 0.0 and s.count > 0:
        row = p.pool + s.head
        if reacts and now - parcels[row, PARCEL_SEEN] > _STALE * (now - parcels[row, PARCEL_TIME]):
            flags |= _bring_up_to_date(parcels, row, now, m, ledger)
        held = parcels[row, VOLUME]
        if left >= held:
            _leave(p, s, parcels, row, held, streams, stream, factor)
            left -= held
            s.head += 1
            if s.head == p.rows - 1:
                s.head = 0
            s.count -= 1
        else:
            _leave(p, s, parcels, row, left, streams, stream, factor)
            parcels[row, VOLUME] = held - left
            left = 0.0
    _settle_empty(s)
    return flags


@part
def take_back(p, s, parcels, volume, streams, stream, factor, reacts, now, m, ledger):
    """Let `volume` [m3], as far as held, run back out of the inlet: added to a stream row times `factor`.

    `factor` is -1/dt for the stream of the draw, which counts away from the unit drawn from. Returns warning
    bits.
    """
    flags = 0
    left = volume
    while left > 0.0 and s.count > 0:
        newest = s.head + s.count - 1
        if newest >= p.rows - 1:
            newest -= p.rows - 1
        row = p.pool + newest
        if reacts and now - parcels[row, PARCEL_SEEN] > _STALE * (now - parcels[row, PARCEL_TIME]):
            flags |= _bring_up_to_date(parcels, row, now, m, ledger)
        held = parcels[row, VOLUME]
        if left >= held:
            _leave(p, s, parcels, row, held, streams, stream, factor)
            left -= held
            s.count -= 1
        else:
            _leave(p, s, parcels, row, left, streams, stream, factor)
            parcels[row, VOLUME] = held - left
            left = 0.0
    _settle_empty(s)
    return flags


@part
def _settle_empty(s):
    """An empty plug holds exactly nothing, whatever rounding has left in the sums."""
    if s.count == 0:
        s.filled = 0.0
        s.solids = 0.0
        s.head = 0


@kernel
def _sweep(p, s, parcels):
    """One exchange between all neighbours, from the outlet to the inlet; the inlet row carries the fluxes."""
    carry = p.pool + p.rows - 1
    for k in range(1, NS):
        parcels[carry, k] = 0.0
    ring = p.rows - 1
    place = s.head
    row = p.pool + place
    inverse = 1.0 / parcels[row, VOLUME]
    for _ in range(s.count - 1):
        place += 1
        if place == ring:
            place = 0
        after = p.pool + place
        share = p.mixing * min(parcels[row, VOLUME], parcels[after, VOLUME])
        for k in range(1, NS):
            exchanged = share * (parcels[after, k] - parcels[row, k])
            parcels[row, k] += (exchanged - parcels[carry, k]) * inverse
            parcels[carry, k] = exchanged
        row = after
        inverse = 1.0 / parcels[row, VOLUME]
    for k in range(1, NS):
        parcels[row, k] -= parcels[carry, k] * inverse


@part
def disperse(p, s, parcels, moved):
    """Exchange between neighbours, once for each `every` nominal parcels moved since the last time.

    The exchange is that of the smaller of two neighbours, so part-filled ends stay stable; every flux is
    taken from the state before the sweep and booked on both sides. The inlet row is used up.
    """
    if p.mixing > 0.0:
        s.moved += moved
        lot = p.parcel * max(p.every, 1)
        while s.moved >= lot:
            s.moved -= lot
            if s.count > 1:
                _sweep(p, s, parcels)


@kernel
def fill(p, s, parcels, volume, row, now):
    """Fill an empty plug with `volume` [m3] of one liquid: concentrations and temperature in `row`."""
    inlet = p.pool + p.rows - 1
    s.head = 0
    s.count = 0
    s.filled = 0.0
    s.moved = 0.0
    s.solids = 0.0
    parcels[inlet, VOLUME] = volume
    for k in range(1, NS):
        parcels[inlet, k] = row[k] * volume
    push(p, s, parcels, now)


@kernel
def add_content(p, s, parcels, row):
    """Add all the plug holds to a row of amounts."""
    place = s.head
    for _ in range(s.count):
        parcel = p.pool + place
        row[VOLUME] += parcels[parcel, VOLUME]
        for k in range(1, NS):
            row[k] += parcels[parcel, VOLUME] * parcels[parcel, k]
        place += 1
        if place == p.rows - 1:
            place = 0


@part
def age(p, s, parcels, now):
    """Time [s] since the parcel next to leave entered; 0 when empty."""
    return now - parcels[p.pool + s.head, PARCEL_TIME] if s.count > 0 else 0.0


@part
def next_temperature(p, s, parcels, otherwise):
    """Temperature [degC] of the parcel next to leave; `otherwise` when empty."""
    return parcels[p.pool + s.head, HEAT] if s.count > 0 else otherwise
