"""What every unit does with rows of material: gather, draw, offer, and read off properties."""

from __future__ import annotations

import math

from plantsim.jit import part
from plantsim.records import (
    COARSE,
    COLLOID,
    FINES,
    HEAT,
    NS,
    VOLUME,
)

_THIRD, _SIXTH = 1.0 / 3.0, 1.0 / 6.0  # a division costs four products


@part
def part_gone(x):
    """1 - exp(-x): the part of something that has gone after x time constants.

    Within a step x is small, and there its series, good to 3e-12 below 0.05, costs a tenth of the library's;
    above, the difference loses at most four of the last bits and is cheaper than `expm1`.
    """
    if x < 0.05:
        return x * (1.0 - 0.5 * x * (1.0 - _THIRD * x * (1.0 - 0.25 * x * (1.0 - 0.2 * x * (1.0 - _SIXTH * x)))))
    return 1.0 - math.exp(-x)


@part
def gather(links, first, count, streams, row):
    """Sum the linked streams into `row` [per s]."""
    for k in range(NS):
        row[k] = 0.0
    for i in range(first, first + count):
        stream = links[i]
        for k in range(NS):
            row[k] += streams[stream, k]


@part
def draw(offers, offer, flow, streams, stream):
    """Book a draw of `flow` [m3/s] from an offer as a stream: flow times the offered concentrations."""
    streams[stream, VOLUME] = flow
    for k in range(1, NS):
        streams[stream, k] = flow * offers[offer, k]


@part
def no_flow(streams, stream):
    """Book a stream as empty in this step."""
    for k in range(NS):
        streams[stream, k] = 0.0


@part
def water_density(temperature):
    """Density of water [kg/m3], cubic about 4 degC: within 0.02 kg/m3 of IAPWS-95 from 0 to 40 degC.

    The kernel needs it several times a step; the accurate formula is `physics.water.density`, and a test
    holds the two together.
    """
    d = temperature - 3.98
    return 999.975 - d * d * (7.53106e-3 - 4.32804e-5 * d)


@part
def relative_fluidity(temperature):
    """One over the viscosity of water, over that at 20 degC: a cubic fitted to IAPWS R12-08, 0 to 40 degC.

    Within 0.05 % there, which a test shows. No exponential: this runs in every unit, every step.
    """
    d = temperature - 20.0
    return 1.0 + d * (2.450403e-2 + d * (1.169955e-4 + d * -3.086845e-7))


@part
def relative_viscosity(temperature):
    """Viscosity of water over that at 20 degC."""
    return 1.0 / relative_fluidity(temperature)


@part
def slurry_density(solids, solids_density, temperature):
    """Density [kg/m3] of water carrying `solids` [kg/m3]: rho_w + C (1 - rho_w / rho_s)."""
    rho = water_density(temperature)
    return rho + solids * (1.0 - rho / solids_density)


@part
def solids_of(row):
    """All suspended solids of a row [kg or kg/s or kg/m3]."""
    return row[COARSE] + row[FINES] + row[COLLOID]


@part
def turbidity(coarse, fines, colloid, material):
    """Turbidity [NTU] of water with these solids [kg/m3]: linear in each class."""
    return material.ntu_coarse * coarse + material.ntu_fines * fines + material.ntu_colloid * colloid


@part
def temperature_of(row, otherwise):
    """Temperature of a store or stream [degC]; `otherwise` when it is empty."""
    if row[VOLUME] > 1e-12:
        return row[HEAT] / row[VOLUME]
    return otherwise
