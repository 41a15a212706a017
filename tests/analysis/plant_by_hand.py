"""A plant laid out by hand, without configuration or kernel: one clarifier with all that stands around it."""

from __future__ import annotations

import datetime as dt

import numpy as np

from plantsim import records
from plantsim.analysis.figures import Course
from plantsim.arena import Arena
from plantsim.plant.model import Limit, Model
from plantsim.plant.plans import Plans

DENSITY = 2650.0
LAYERS = 4
UNITS = {
    "wash": ("source", 0), "well": ("supply", 0), "sump": ("vessel", 0), "rising": ("line", 0),
    "mud-line": ("line", 1), "P-101": ("pump", 0), "P-102": ("pump", 1), "P-101-motor": ("motor", 0),
    "P-102-motor": ("motor", 1), "rake-motor": ("motor", 2), "coagulant": ("doser", 0), "polymer": ("doser", 1),
    "makedown": ("makedown", 0), "clarifier": ("clarifier", 0), "cells": ("bank", 0), "east": ("cell", 0),
    "west": ("cell", 1), "press": ("press", 0),
}  # fmt: skip


def arena() -> Arena:
    """An empty plant: two pumps in parallel on a line to a clarifier, whose mud goes to two cells."""
    counts = {"motor_p": 3, "motor_s": 3, "pump_p": 2, "pump_s": 2, "branch_p": 2, "branch_s": 2, "line_p": 2,
              "line_s": 2, "plug_p": 2, "plug_s": 2, "doser_p": 2, "doser_s": 2, "cell_p": 2, "cell_s": 2,
              "parcels": 16, "layers": records.NS * LAYERS, "tables": LAYERS}  # fmt: skip
    for kind in ("source", "supply", "vessel", "clarifier", "bank", "press", "makedown"):
        counts[kind + "_p"] = counts[kind + "_s"] = 1
    a = Arena(counts)
    a.material["solids_density"] = DENSITY
    a.source_p["series"] = -1
    a.source_p["wash_ratio"] = 1.75e-3
    a.pump_p["motor"] = (0, 1)
    a.branch_p["pump"] = (0, 1)
    a.branch_p["n_pumps"] = 1
    a.line_p["branch"] = (0, 2)
    a.line_p["n_branches"] = (2, 0)
    a.line_p["out"] = (3, 7)
    a.bank_p["inlet"] = 7
    a.bank_p["n_cells"] = 2
    a.doser_p["substance"] = (records.COAG, records.POLY)
    a.clarifier_p["layers"] = LAYERS
    a.clarifier_p["feed_layer"] = 1
    a.clarifier_p["height"] = 0.5
    a.clarifier_p["torque_limit"] = 25e3
    a.tables[:] = (10.0, 10.0, 8.0, 4.0)
    a.clarifier_s["top_volume"] = 10.0
    a.plug_p["pool"] = (0, 8)
    a.plug_p["rows"] = 8
    return a


def model(a: Arena, limits: list[Limit] | None = None) -> Model:
    """The plant of an arena."""
    return Model(
        title="By hand (invented)", arena=a, code=np.zeros((1, 4), np.int32), start=dt.datetime(2027, 4, 5, 6),
        step=1.0, units=dict(UNITS), tags={}, channels=[], plans=Plans(), limits=limits or [],
    )  # fmt: skip


def course(
    start: Arena, end: Arena, seconds: float, series: dict[str, np.ndarray] | None = None, every: float = 10.0,
    limits: list[Limit] | None = None,
) -> Course:  # fmt: skip
    """A run of the plant from one state to another."""
    return Course(model(end, limits), start, every, seconds, series or {}, lambda name: (1.0, 0.0))
