"""A plant of one sump, pumps, a long line and a pond, on clean water; and the same hydraulics worked out apart.

The line is the reference case of the trade: 1200 m of DN 250, 350 m3/h, two pumps in series of 38 m each. The
working here shares nothing with the package: Colebrook's equation solved as it stands (Colebrook 1939, J. ICE
11, 133-156), Darcy-Weisbach, curves between their points by straight lines.
"""

from __future__ import annotations

import math

import numpy as np
from plants import build
from scipy.optimize import brentq

from plantsim.plant.model import Model
from plantsim.sim.simulation import Simulation

G = 9.80665  # standard gravity, CGPM 1901
VISCOSITY = 1.3059e-3  # water at 10 degC [Pa s], IAPWS R12-08
DENSITY = 999.70  # water at 10 degC [kg/m3], IAPWS R6-95
LENGTH, DIAMETER, ROUGHNESS, FITTINGS = 1200.0, 0.25, 0.05e-3, 10.0
AREA = 0.25 * math.pi * DIAMETER**2
VOLUME = AREA * LENGTH
PARCELS = 240
CURVE = np.array([[0.0, 46.0], [200.0, 43.0], [350.0, 38.0], [450.0, 33.0], [550.0, 26.0]])
STANDING_LOSS = 25.0
"""Head it takes to push the curve's last flow through a standing pump, as the file says [m]."""

PUMP = """
        curve:
          - [0 m3/h, 46 m, 0 %, 2 m]
          - [200 m3/h, 43 m, 60 %, 2 m]
          - [350 m3/h, 38 m, 72 %, 3 m]
          - [450 m3/h, 33 m, 70 %, 4 m]
          - [550 m3/h, 26 m, 62 %, 6 m]
        stopped_loss: 25 m
        branch: 1
        check_valve: no
        motor: {run: YC-NUMBER, speed: SC-NUMBER, ramp_up: 5 s, ramp_down: 5 s}
"""
TEXT = """
site: {name: Long line (invented), start: 2027-04-05 00:00, record_every: 1 s, quiet: yes}
units:
  well: {kind: supply, to: sump, flow: 1 m3/h, temperature: 10 degC}
  sump:
    kind: vessel
    shape: {form: prism, length: 60 m, width: 50 m, depth: 3 m}
    start_level: 2 m
    open_to_sky: no
  line:
    kind: line
    from: sump
    to: pond
    pipe: {length: 1200 m, diameter: 250 mm, roughness: 0.05 mm, lift: LIFT m, fittings: 10, parcels: 240,
           check_valve: CHECK}
    pumps:
      P-101: PUMP1
      P-102: PUMP2
  dose:
    kind: doser
    product: coagulant
    to: line
    tote: {volume: 1 m3}
    capacity: 20 L/h
    motor: {run: YC-111, ramp_up: 0 s, ramp_down: 0 s}
  pond:
    kind: vessel
    shape: {form: prism, length: 60 m, width: 50 m, depth: 3 m}
    overflow: discharge
    open_to_sky: no
actuators:
  SC-101: {stroke_time: 5 s, start: 100 %}
  SC-102: {stroke_time: 5 s, start: 100 %}
"""


def long_line(lift: float, check_valve: bool) -> tuple[Model, Simulation]:
    """The plant with a lift [m], its pumps at rest."""
    text = TEXT.replace("LIFT", f"{lift:g}").replace("CHECK", "yes" if check_valve else "no")
    text = text.replace("PUMP1", PUMP.replace("NUMBER", "101")).replace("PUMP2", PUMP.replace("NUMBER", "102"))
    model = build(text)
    return model, Simulation(model)


def order(model: Model, **tags: float) -> None:
    """Write tags: YC_101=1 asks pump 101 to run, SC_101=80 sets its speed."""
    for name, value in tags.items():
        model.arena.tags[model.tags[name.replace("_", "-")].index] = value


def friction_factor(reynolds: float) -> float:
    """Darcy friction factor by Colebrook's equation, solved by bracketing."""

    def gap(x: float) -> float:
        return x + 2.0 * math.log10(ROUGHNESS / DIAMETER / 3.7 + 2.51 * x / reynolds)

    return brentq(gap, 1.0, 50.0, xtol=1e-12) ** -2


def loss(flow: float) -> float:
    """Head lost in the line [m] at a flow [m3/s]."""
    velocity = flow / AREA
    f = friction_factor(DENSITY * velocity * DIAMETER / VISCOSITY)
    return (f * LENGTH / DIAMETER + FITTINGS) * velocity**2 / (2.0 * G)


def head(flow: float) -> float:
    """Head of one running pump [m]."""
    return float(np.interp(flow * 3600.0, CURVE[:, 0], CURVE[:, 1]))


def duty_flow(running: int, standing: int, static: float) -> float:
    """Flow [m3/s] at which pumps in series and the line agree."""
    through = STANDING_LOSS / (CURVE[-1, 0] / 3600.0) ** 2

    def surplus(flow: float) -> float:
        return running * head(flow) - standing * through * flow**2 - static - loss(flow)

    return brentq(surplus, 1e-3, CURVE[-1, 0] / 3600.0)


def column_of(model: Model) -> float:
    """What stands in the line [m3]."""
    return float(model.arena.plug_s["filled"][model.arena.line_p["plug"][0]])
