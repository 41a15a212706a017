"""A plant in steady work: a wash plant that never stops, a clarifier, mud drawn at a set rate.

The feed is the reference case of the trade (computed from solids of 2650 kg/m3): 350 m3/h at 57 g/L, which is
20 t/h of dry fines in 342.45 m3/h of water.
"""

from __future__ import annotations

import numpy as np
from plants import build

from plantsim.plant.model import Model

SOLIDS, FEED, DENSITY = 20.0, 350.0, 2.65  # t/h, m3/h, t/m3
WATER = FEED - SOLIDS / DENSITY

TEXT = """
site: {name: Steady wash (invented), start: 2027-04-05 00:00, record_every: 60 s, quiet: yes}
water: {solids_density: 2650 kg/m3}
units:
  wash:
    kind: source
    to: clarifier
    production: 200 t/h
    wash_ratio: WASH m3/t
    fines: 10 %
    coarse: 0 %
    colloid: 0 %
    moisture: 0 %
    clay: 10 %
    ramp: 60 s
  polymer:
    kind: doser
    product: polymer
    to: clarifier
    tote: {volume: 500 m3, strength: 2.5 g/L, start: 100 %}
    capacity: 480 L/h
    motor: {}
  clarifier:
    kind: clarifier
    diameter: DIAMETER m
    depth: 6 m
    cone: 1.5 m
    cone_diameter: 1.5 m
    layers: 40
    feed_depth: 1.8 m
    stress: {law: power, s0: STRESS Pa, k: 6}
    channel_speed: 200 m/h
    start_bed: 1.6 m
    start_bed_solids: 500 g/L
  mud-line:
    kind: line
    from: clarifier
    to: mud-pond
    pipe: {length: 10 m, diameter: 150 mm, lift: 8 m, fittings: 2, parcels: 4, deposit_factor: 0}
    pumps:
      P-301:
        curve:                     # almost upright: it draws what it is sized for
          - [0 m3/h, 900 m, 0 %, 1 m]
          - [DRAWN m3/h, 4 m, 50 %, 1 m]
          - [BEYOND m3/h, 0 m, 50 %, 1 m]
  mud-pond:
    kind: vessel
    shape: {form: prism, length: 10 m, width: 10 m, depth: 3 m}
    overflow: discharge
    open_to_sky: no
"""


def steady_plant(drawn: float, *overrides: str, stress: float = 12.0, diameter: float = 9.0) -> Model:
    """The plant with its mud drawn at a rate [m3/h]; `stress` says how stiff its bed is [Pa]."""
    text = TEXT.replace("WASH", f"{WATER / 200.0:.6f}").replace("STRESS", f"{stress:g}")
    text = text.replace("DIAMETER", f"{diameter:g}")
    return build(text.replace("DRAWN", f"{drawn:g}").replace("BEYOND", f"{drawn * 1.01:g}"), *overrides)


def recovery_by_hand(fraction: float) -> float:
    """Part of the feed's water that comes over the weir when the mud has a mass fraction of solids.

    The mud takes (1 - f)/f tonnes of water for each tonne of solids.
    """
    return 1.0 - SOLIDS * (1.0 - fraction) / fraction / WATER


def underflow_by_hand(fraction: float) -> float:
    """Mud [m3/h] that carries all the solids at a mass fraction."""
    return SOLIDS / DENSITY + SOLIDS * (1.0 - fraction) / fraction


def hourly(values: np.ndarray) -> np.ndarray:
    """Means over the hours of a series recorded every minute."""
    return values[1:].reshape(-1, 60).mean(axis=1)
