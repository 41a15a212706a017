"""Figures of each unit of a plant: what a clarifier, a pump, a dosing skid, a bank of cells has done."""

from __future__ import annotations

import math

import numpy as np

from plantsim import records
from plantsim.analysis.closure import amounts, clarifier_content
from plantsim.analysis.course import Course, longest, ratio

TURBIDITY_LIMIT = 80.0
"""Overflow turbidity [NTU] taken as the limit when the plant states none: within the 50 to 150 NTU usual for
water that is washed with again (common practice, no source)."""
HIGH = 0.8
"""Part of a limit above which bed and torque count as high (common practice, no source)."""
KWH = 3.6e6
_FLOWS = 0.01  # part of the greatest flow above which a weir or an underflow counts as running


def source(course: Course, name: str, index: int) -> None:
    """What a wash plant washed, and how often it stood for want of water."""
    hours = course.gained("source_s", index, "run_time") / 3600.0
    washed = course.gained("source_s", index, "washed") / 1000.0
    course.add(f"{name}.run_time", hours, "h", "time washing")
    course.add(f"{name}.washed", washed, "t", "dry feed washed")
    course.add(f"{name}.washed_rate", ratio(washed, hours), "t/h", "dry feed washed in an hour of washing")
    course.add(f"{name}.water_stops", course.gained("source_s", index, "dry_stops"), "1",
               "stoppages for want of water")  # fmt: skip
    course.add(f"{name}.water_stop_time", course.gained("source_s", index, "dry_time") / 60.0, "min",
               "time stopped for want of water, within the calendar")  # fmt: skip


def supply(course: Course, name: str, index: int) -> None:
    """Water let in from outside."""
    course.add(f"{name}.volume", course.gained("supply_s", index, "total"), "m3", "water let in from outside")


def clarifier(course: Course, name: str, index: int) -> None:
    """Clarity, mud, water recovery, bed and rake of a clarifier."""
    _clarity(course, name, index)
    _underflow(course, name, index)
    _bed(course, name, index)


def _clarity(course: Course, name: str, index: int) -> None:
    volume = course.gained("clarifier_s", index, "out_volume")
    lost = course.gained("clarifier_s", index, "solids_lost")
    course.add(f"{name}.overflow", volume, "m3", "clean water over the weir")
    course.add(f"{name}.overflow_solids", 1000.0 * ratio(lost, volume), "mg/L",
               "solids in the overflow, mean over the water")  # fmt: skip
    turbidity, flow = course.rows(f"{name}.turbidity"), course.rows(f"{name}.overflow")
    if turbidity is None or flow is None:
        return
    running = flow > _FLOWS * flow.max()
    if not running.any():
        return
    seen = turbidity[running]
    course.add(f"{name}.overflow_turbidity_mean", seen.mean(), "NTU", "turbidity of the overflow while it runs")
    course.add(f"{name}.overflow_turbidity_p95", np.percentile(seen, 95.0), "NTU",
               "turbidity it stays below for 95 % of that time")  # fmt: skip
    stated = course.limit_si(f"{name}.turbidity")
    limit = TURBIDITY_LIMIT if stated is None else stated
    over = running & (turbidity > limit)
    words = f"{limit:g} NTU, " + ("the plant's own limit" if stated is not None else "a usual limit for reuse")
    course.add(f"{name}.turbidity_over_limit", 100.0 * over.sum() / running.sum(), "%",
               f"running time with the overflow above {words}")  # fmt: skip
    # a spell goes on while the weir stands still between two dirty rows
    course.add(f"{name}.turbidity_longest_spell", longest(over[running]) * course.every / 60.0, "min",
               f"longest unbroken running time with the overflow above {limit:g} NTU")  # fmt: skip


def _underflow(course: Course, name: str, index: int) -> None:
    volume = course.gained("clarifier_s", index, "under_volume")
    mass = course.gained("clarifier_s", index, "under_solids")
    course.add(f"{name}.mud", volume, "m3", "mud drawn")
    course.add(f"{name}.mud_solids", mass / 1000.0, "t", "dry solids drawn with the mud")
    course.add(f"{name}.mud_per_t", 1000.0 * ratio(volume, mass), "m3/t", "mud drawn for a tonne of dry solids")
    fraction, flow = course.rows(f"{name}.underflow_fraction"), course.rows(f"{name}.underflow")
    if fraction is not None and flow is not None and flow.max() > 0.0:
        drawn = 100.0 * fraction[flow > _FLOWS * flow.max()]
        course.add(f"{name}.underflow_solids_mean", drawn.mean(), "%", "solids by mass in the mud while it is drawn")
        course.add(f"{name}.underflow_solids_sd", drawn.std(), "%", "standard deviation of that")
    over = course.gained("clarifier_s", index, "out_volume")
    over -= course.gained("clarifier_s", index, "solids_lost") / course.density
    under = volume - mass / course.density
    held = [amounts(clarifier_content(a, index), course.density)["water"] for a in (course.start, course.end)]
    course.add(f"{name}.water_recovery", 100.0 * ratio(over, over + under + held[1] - held[0]), "%",
               "water over the weir for the water fed, rain included")  # fmt: skip


def _bed(course: Course, name: str, index: int) -> None:
    hours = course.every / 3600.0
    level = course.rows(f"{name}.bed_level")
    p = course.end.clarifier_p[index]
    if level is not None:
        top = course.limit_si(f"{name}.bed_level")
        words = "its limit"
        if top is None:
            top = float((p["layers"] - p["feed_layer"]) * p["height"])
            words = "the height of the feed"
        course.add(f"{name}.bed_level_mean", level.mean(), "m", "bed level above the cone bottom")
        course.add(f"{name}.bed_level_max", level.max(), "m", "highest bed level")
        course.add(f"{name}.bed_high_time", (level > HIGH * top).sum() * hours, "h",
                   f"time with the bed above {100 * HIGH:.0f} % of {words}, {top:.3g} m")  # fmt: skip
    torque = course.rows(f"{name}.torque")
    if torque is not None and p["torque_limit"] > 0.0:
        course.add(f"{name}.torque_max", 100.0 * torque.max(), "%", "highest rake torque, of its limit")
        course.add(f"{name}.torque_high_time", (torque > HIGH).sum() * hours, "h",
                   f"time with the rake torque above {100 * HIGH:.0f} % of its limit")  # fmt: skip


def doser(course: Course, name: str, index: int) -> None:
    """What a dosing skid pumped."""
    coagulant = course.end.doser_p["substance"][index] == records.COAG
    course.add(f"{name}.dosed", course.gained("doser_s", index, "dosed"), "kg",
               "coagulant product pumped" if coagulant else "dry polymer pumped")  # fmt: skip


def makedown(course: Course, name: str, index: int) -> None:
    """Batches of polymer, and whether the day tank ran dry."""
    course.add(f"{name}.batches", course.gained("makedown_s", index, "batches"), "1", "polymer batches made")
    course.add(f"{name}.starved_time", course.gained("makedown_s", index, "starved") / 3600.0, "h",
               "time with an empty day tank")  # fmt: skip


def pump_motors(course: Course, line: int) -> list[int]:
    """Motors of the pumps of a line, by number."""
    a = course.end
    branches = range(int(a.line_p["branch"][line]), int(a.line_p["branch"][line] + a.line_p["n_branches"][line]))
    return [
        int(a.pump_p["motor"][i])
        for b in branches
        for i in range(int(a.branch_p["pump"][b]), int(a.branch_p["pump"][b] + a.branch_p["n_pumps"][b]))
    ]


def line(course: Course, name: str, index: int) -> None:
    """What a line delivered, and the energy its pumps took for it."""
    pumped = course.gained("line_s", index, "pumped")
    course.add(f"{name}.delivered", pumped, "m3", "volume delivered")
    if course.gained("line_s", index, "drained") > 0.0:
        course.add(f"{name}.drained", course.gained("line_s", index, "drained"), "m3", "volume drained back")
    motors = pump_motors(course, index)
    if motors:
        energy = sum(course.gained("motor_s", i, "energy") for i in motors) / KWH
        course.add(f"{name}.energy_per_m3", ratio(energy, pumped), "kWh/m3", "energy of its pumps for a cubic metre")


def pump(course: Course, name: str, index: int) -> None:
    """How often and how long a pump ran, and what it took."""
    motor = int(course.end.pump_p["motor"][index])
    hours = course.seconds / 3600.0
    run = course.gained("motor_s", motor, "run_time") / 3600.0
    course.add(f"{name}.starts_per_hour", ratio(course.gained("motor_s", motor, "starts"), hours), "1/h",
               "starts of the motor in an hour, mean over the run")  # fmt: skip
    course.add(f"{name}.starts_per_hour_max", float(course.end.motor_s["hour_max"][motor]), "1/h",
               "most starts of the motor in any hour")  # fmt: skip
    course.add(f"{name}.run_time_share", 100.0 * ratio(run, hours), "%", "part of the run it ran")
    course.add(f"{name}.energy", course.gained("motor_s", motor, "energy") / KWH, "kWh", "electric energy taken")


def bank(course: Course, name: str, index: int) -> None:
    """Mud taken by a bank of cells, and how often they were filled and dug out."""
    a = course.end
    p = a.bank_p[index]
    lines = np.flatnonzero(a.line_p["out"] == p["inlet"])
    course.add(f"{name}.mud", sum(course.gained("line_s", int(i), "pumped") for i in lines), "m3", "mud to the cells")
    cells = range(int(p["cell"]), int(p["cell"] + p["n_cells"]))
    course.add(f"{name}.cells_filled", sum(course.gained("cell_s", i, "fills") for i in cells), "1",
               "fillings of cells begun")  # fmt: skip
    numbers = {i: cell for cell, (kind, i) in course.model.units.items() if kind == "cell"}
    dug = 0
    for i in cells:
        state = course.rows(f"{numbers.get(i, '')}.state")
        if state is None:
            return
        dug += int(np.sum((state[:-1] == records.CELL_DIG) & (state[1:] == records.CELL_READY)))
    course.add(f"{name}.cells_dug", dug, "1", "cells dug out to the floor")


def press(course: Course, name: str, index: int) -> None:
    """Cycles of a press and the cake it dropped."""
    volume = course.gained("press_s", index, "cake_volume")
    mass = course.gained("press_s", index, "cake")
    course.add(f"{name}.cycles", course.gained("press_s", index, "cycles"), "1", "press cycles done")
    course.add(f"{name}.cake", mass / 1000.0, "t", "dry solids dropped as cake")
    course.add(f"{name}.cake_per_t", 1000.0 * ratio(volume, mass) if volume else math.nan, "m3/t",
               "cake for a tonne of dry solids")  # fmt: skip
