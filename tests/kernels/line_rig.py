"""A line on a bench: one source, one line with its pumps, a place to deliver to, and the books of all three."""

from __future__ import annotations

import math

import numpy as np

from plantsim import records
from plantsim.arena import Arena
from plantsim.jit import entry
from plantsim.kernels.line import step_line
from plantsim.kernels.plug import add_content, fill, plug_rows
from plantsim.kernels.rows import slurry_density
from plantsim.records import NS, OFFER_DENSITY, OFFER_LEVEL, VOLUME

MATERIAL = dict(
    solids_density=2650.0, coag_demand=1e-3, coag_demand_clay=1.0, coag_width=0.4, coag_capacity=2.0,
    coag_mix_time=20.0, coag_time=120.0, poly_optimum=1e-4, poly_gain=10.0, poly_time=15.0, poly_capacity=3.0,
    poly_best_solids=30.0, poly_solids_width=0.7, clay_slowing=2.0, yield_a=2e4, yield_b=3.5, plastic_a=15.0,
    sand_porosity=0.4,
)  # fmt: skip
LINE = dict(
    offer=0, suction=0, out=1, valve=-1, gate=-1, check_valve=1, length=1000.0, diameter=0.2, roughness=5e-5,
    lift=20.0, minor=3.0, lift_rate=0.01, plug_fraction=0.6, yield_limit=50.0,
)  # fmt: skip
# an invented slurry pump: flows [m3/s], heads [m], efficiencies, suction heads required [m]
CURVE = (
    (0.0, 0.02, 0.04, 0.06, 0.08),
    (45.0, 44.0, 40.0, 33.0, 22.0),
    (0.0, 0.45, 0.65, 0.7, 0.6),
    (2.0, 2.0, 2.5, 3.0, 4.0),
)


@entry
def _run(
    n, books, got, p, s, f, plug_p, plug_s, branch_p, branch_s, pump_p, pump_s, pump_f, motor_s, actuator_s,
    links, tables, streams, offers, parcels, mem, material, ledger, now, dt, available,
):  # fmt: skip
    flags = 0
    for i in range(n):
        offers[0, VOLUME] = available
        flags |= step_line(
            p, s, f, plug_p, plug_s, branch_p, branch_s, pump_p, pump_s, pump_f, motor_s, actuator_s,
            links, tables, streams, offers, parcels, mem, material, ledger, now + i * dt, dt,
        )  # fmt: skip
        if books:
            for k in range(NS):
                got[0, k] += (streams[0, k] + streams[2, k]) * dt
                got[1, k] += streams[1, k] * dt
    return flags


class LineRig:
    """One line; `branches` gives the number of pumps in series of each parallel branch."""

    def __init__(self, branches=(1,), curve=CURVE, parcel=0.5, full=True, branch_check=1, k=2000.0, **line):
        p = {**LINE, **line}
        volume = 0.25 * math.pi * p["diameter"] ** 2 * p["length"]
        parcel = min(parcel, volume / 4.0)
        rows = plug_rows(volume, parcel)
        pumps, points = sum(branches), len(curve[0])
        self.arena = a = Arena(
            dict(plug_p=1, plug_s=1, line_p=1, line_s=1, line_f=1, branch_p=len(branches), branch_s=len(branches),
                 pump_p=pumps, pump_s=pumps, pump_f=pumps, motor_s=max(pumps, 1), actuator_s=1, links=1,
                 tables=4 * points, streams=3, offers=1, parcels=rows, tags=1)
        )  # fmt: skip
        for column, values in enumerate(curve):
            a.tables[column * points : (column + 1) * points] = values
        for name, value in MATERIAL.items():
            a.material[name][0] = value
        for name, value in p.items():
            a.line_p[name][0] = value
        a.line_p["n_branches"][0] = len(branches)
        a.links[0] = 2
        first = 0
        for i, count in enumerate(branches):
            a.branch_p["pump"][i], a.branch_p["n_pumps"][i] = first, count
            a.branch_p["check_valve"][i] = branch_check
            first += count
        a.pump_p["motor"] = np.arange(pumps)
        a.pump_p["points"] = points
        a.pump_p["stopped_k"] = k
        a.plug_p["rows"][0], a.plug_p["volume"][0], a.plug_p["parcel"][0] = rows, volume, parcel
        self.now = 0.0
        self.got = np.zeros((2, NS))
        self.s, self.f, self.p = a.line_s[0], a.line_f[0], a.line_p[0]
        self.available = 1e9
        self.offer()
        if full:
            fill(a.plug_p[0], a.plug_s[0], a.parcels, volume, a.offers[0], 0.0)

    @property
    def volume(self) -> float:
        return float(self.arena.plug_p["volume"][0])

    def offer(self, level=0.0, temperature=20.0, **classes):
        """Set what the source offers: level [m], temperature [degC], concentrations by name [kg/m3]."""
        row = self.arena.offers[0]
        row[:] = 0.0
        for name, value in classes.items():
            row[records.ROW_NAMES.index(name)] = value
        row[records.HEAT] = temperature
        row[OFFER_LEVEL] = level
        solids = row[records.COARSE] + row[records.FINES] + row[records.COLLOID]
        row[OFFER_DENSITY] = slurry_density(solids, self.arena.material["solids_density"][0], temperature)

    def speed(self, *speeds):
        self.arena.motor_s["speed"][: len(speeds)] = speeds
        self.arena.motor_s["running"][: len(speeds)] = np.asarray(speeds) > 0.0

    def run(self, steps, dt=1.0, books=False) -> int:
        a = self.arena
        flags = _run(
            steps, books, self.got, a.line_p[0], a.line_s[0], a.line_f[0], a.plug_p, a.plug_s, a.branch_p,
            a.branch_s, a.pump_p, a.pump_s, a.pump_f, a.motor_s, a.actuator_s, a.links, a.tables, a.streams,
            a.offers, a.parcels, a.mem, a.material[0], a.ledger, self.now, dt, self.available,
        )  # fmt: skip
        self.now += steps * dt
        return flags

    def store(self) -> np.ndarray:
        """All the line holds: parcels, and the bed with the water in its pores."""
        a = self.arena
        row = np.zeros(NS)
        add_content(a.plug_p[0], a.plug_s[0], a.parcels, row)
        row[records.COARSE] += self.s["deposit"]
        row[VOLUME] += self.s["deposit"] / a.material["solids_density"][0] + self.s["deposit_water"]
        return row

    def check_books(self, before: np.ndarray) -> None:
        """What came in, less what went out, is what is there: to 1e-12 of what went through."""
        ledger = self.arena.ledger
        gained = self.got[0] - self.got[1] - ledger[records.OUT_SPILL] + ledger[records.REACTION]
        through = np.maximum(np.abs(self.got).sum(axis=0) + np.abs(before), 1e-6)
        off = (self.store() - before - gained)[: records.HEAT] / through[: records.HEAT]
        assert np.abs(off).max() < 1e-12, off


