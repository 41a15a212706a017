"""Coagulant and polymer at work in any row of material.

The state of the treatment rides on the solids as mass: coagulant bound over demand is the charge, polymer
bound per fines is the floc. So a floc made by yesterday's dose settles by yesterday's dose, wherever it is.

Laws (each with its own formula, source and range in `physics.flocculation`):

* coagulant binds at first order up to what the solids can hold; the rest stays in the water and comes
  back with it;
* colloid joins the fines at first order, with a sticking efficiency exp(-((1 - r)/w)^2) in the charge r:
  best at balance, falling again on overdose (restabilisation: the loop gain changes sign);
* polymer binds at first order; too thick a feed wastes part of it.
"""

from __future__ import annotations

import math

from plantsim.jit import part
from plantsim.kernels.rows import part_gone, relative_fluidity
from plantsim.records import (
    CLAY,
    COAG,
    COAG_BOUND,
    COARSE,
    COLLOID,
    FINES,
    HEAT,
    POLY,
    POLY_BOUND,
    POLY_SPENT,
    REACTION,
    VOLUME,
    WARN_CHARGE,
    WARN_DOSE,
)


@part
def demand(fines, colloid, clay, m):
    """Coagulant product [kg] that balances the charge of these solids [kg]."""
    share = clay / fines if fines > 0.0 else 0.0
    return m.coag_demand * (1.0 + m.coag_demand_clay * share) * (fines + colloid)


@part
def charge_of(row, m):
    """Bound coagulant over demand of a row; 1 is balance, 0 where there is nothing to bind to."""
    need = demand(row[FINES], row[COLLOID], row[CLAY], m)
    return row[COAG_BOUND] / need if need > 1e-12 else 0.0


@part
def settling_factor(fines, clay, poly_bound, m):
    """Settling speed over that of unflocculated fines, from the polymer they hold.

    F = (1 + (gain - 1) 4 th (1 - th)) / (1 + (slowing - 1) clay share), th = dose / (2 optimum), held at 1:
    the bridging law of La Mer and Healy (1963), zero gain at twice the optimum and beyond.
    """
    if fines <= 1e-9:
        return 1.0
    share = min(clay / fines, 1.0)
    optimum = m.poly_optimum * (1.0 + m.poly_optimum_clay * share)
    cover = min(0.5 * poly_bound / (fines * optimum), 1.0)
    return (1.0 + (m.poly_gain - 1.0) * 4.0 * cover * (1.0 - cover)) / (1.0 + (m.clay_slowing - 1.0) * share)


@part
def react(row, seconds, m, ledger, scale):
    """Let a row react for some seconds, in place; books the transfers (times `scale`) in the ledger.

    `row` may hold amounts (scale 1) or concentrations with VOLUME 1 (scale: the volume they stand for).
    Returns warning bits.
    """
    flags = 0
    fines = row[FINES]
    colloid = row[COLLOID]
    if row[VOLUME] <= 0.0 or fines + colloid <= 0.0:
        return flags
    if row[COAG] > 0.0 or row[COAG_BOUND] > 0.0:
        share = row[CLAY] / fines if fines > 0.0 else 0.0
        need = m.coag_demand * (1.0 + m.coag_demand_clay * share) * (fines + colloid)
        if row[COAG] > 0.0:
            room = m.coag_capacity * need - row[COAG_BOUND]
            if room > 0.0:
                bound = min(row[COAG], room) * part_gone(seconds / m.coag_mix_time)
                row[COAG] -= bound
                row[COAG_BOUND] += bound
                ledger[REACTION, COAG] -= bound * scale
                ledger[REACTION, COAG_BOUND] += bound * scale
            # in nearly clear water any trace of product is a multiple of the demand, and means nothing
            if row[COAG] + row[COAG_BOUND] > 3.0 * need and fines + colloid > 0.5 * row[VOLUME]:
                flags = WARN_CHARGE
        if colloid > 0.0:
            z = (need - row[COAG_BOUND]) / (need * m.coag_width)
            if z < 5.0:
                rate = math.exp(-z * z) * relative_fluidity(row[HEAT] / row[VOLUME])
                joined = colloid * part_gone(rate * (seconds / m.coag_time))
                row[COLLOID] = colloid - joined
                row[FINES] = fines + joined
                row[CLAY] += joined * share
                ledger[REACTION, COLLOID] -= joined * scale
                ledger[REACTION, FINES] += joined * scale
                ledger[REACTION, CLAY] += joined * share * scale
    if row[POLY] > 0.0:
        fines = row[FINES]
        optimum = m.poly_optimum * (fines + m.poly_optimum_clay * row[CLAY])
        room = m.poly_capacity * optimum - row[POLY_BOUND]
        if room > 0.0:
            bound = min(row[POLY], room) * part_gone(seconds / m.poly_time)
            best = row[VOLUME] * m.poly_best_solids
            good = bound
            if row[COARSE] + fines > best:
                # a thick feed flocculates badly: part of the polymer binds without bridging
                x = math.log((row[COARSE] + fines) / best) / m.poly_solids_width
                good = bound * math.exp(-x * x)
            row[POLY] -= bound
            row[POLY_BOUND] += good
            row[POLY_SPENT] += bound - good
            ledger[REACTION, POLY] -= bound * scale
            ledger[REACTION, POLY_BOUND] += good * scale
            ledger[REACTION, POLY_SPENT] += (bound - good) * scale
        # the settling law ends at twice the optimum; in nearly clear water that is any trace of polymer
        if row[POLY_BOUND] > 2.0 * optimum and fines > 0.5 * row[VOLUME]:
            flags |= WARN_DOSE
    return flags
