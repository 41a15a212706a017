"""The trade's figures of a run: water, mud, chemicals, pumps and energy, each with its unit and its meaning.

A figure whose measure has no meaning in a run (mud per tonne where nothing was drawn) is left out, never
zero. Names are `<unit>.<figure>`; figures of the whole plant begin with `plant.`.
"""

from __future__ import annotations

import math

from plantsim import records
from plantsim.analysis import unit_figures
from plantsim.analysis.closure import amounts, inventory
from plantsim.analysis.course import Course, Figure, ratio, solids, spans, washing
from plantsim.analysis.unit_figures import KWH

__all__ = ["Course", "Figure", "figures"]

_WORKING = ("vessel", "plug", "line", "clarifier")
"""Stores whose water goes round; mud in cells and presses is on its way out."""
_UNITS = {
    "source": unit_figures.source, "supply": unit_figures.supply, "clarifier": unit_figures.clarifier,
    "doser": unit_figures.doser, "makedown": unit_figures.makedown, "line": unit_figures.line,
    "pump": unit_figures.pump, "bank": unit_figures.bank, "press": unit_figures.press,
}  # fmt: skip


def figures(course: Course) -> dict[str, Figure]:
    """All figures of a run.

    Parameters
    ----------
    course : Course
        What the run left behind.

    Returns
    -------
    dict of str to Figure
        By name: the whole plant first, then its units in their order.
    """
    _feed_and_water(course)
    _chemicals(course)
    _energy(course)
    for name, (kind, index) in course.model.units.items():
        if kind in _UNITS:
            _UNITS[kind](course, name, index)
    return course.figures


def _dry(course: Course) -> float:
    """Dry solids [kg] that came in with feed and supplies."""
    return solids(course.booked(records.IN_FEED)) + solids(course.booked(records.IN_SUPPLY))


def _dirty_water(course: Course) -> float:
    """Volume of dirty water [m3] from all sources; not a number when their flow is not recorded."""
    total = 0.0
    for name, (kind, _) in course.model.units.items():
        if kind == "source":
            flow = course.rows(f"{name}.flow")
            if flow is None:
                return math.nan
            total += float(flow.sum()) * course.every
    return total


def _wash_water(course: Course) -> float:
    """Water [m3] that the wash plants took; not a number when it cannot be known.

    A plant by production takes its wash ratio for each kilogram washed; what a measured series stands for
    took the water of its dirty water.
    """
    total = 0.0
    for name, (kind, index) in course.model.units.items():
        if kind != "source":
            continue
        p = course.end.source_p[index]
        if p["series"] < 0:
            total += course.gained("source_s", index, "washed") * float(p["wash_ratio"])
            continue
        flow, dry = course.rows(f"{name}.flow"), course.rows(f"{name}.solids")
        if flow is None or dry is None:
            return math.nan
        total += float((flow - dry / course.density).sum()) * course.every
    return total


def _feed_and_water(course: Course) -> None:
    dry = _dry(course)
    running = washing(course)
    hours = math.nan
    if running is not None:
        hours = sum(stop - start for start, stop in spans(running, course.every)) / 3600.0
        course.add("plant.washing_time", hours, "h", "time in which a wash plant ran")
    course.add("plant.feed_solids", dry / 1000.0, "t", "dry solids washed into the water")
    course.add("plant.feed_solids_rate", ratio(dry / 1000.0, hours), "t/h",
               "dry solids washed into the water in an hour of washing")  # fmt: skip
    used = _wash_water(course)
    held = [amounts(inventory(arena, _WORKING), course.density)["water"] for arena in (course.start, course.end)]
    # rain is left out: most of it falls on mud cells and never comes near the wash water
    entering = (records.IN_FEED, records.IN_SUPPLY, records.IN_CHEMICAL)
    outside = sum(amounts(course.booked(row), course.density)["water"] for row in entering)
    course.add("plant.water_used", used, "m3", "water the wash plants took")
    course.add("plant.water_returned", 100.0 * ratio(used - outside + held[1] - held[0], used), "%",
               "water used that was neither let in nor taken from what the tanks held")  # fmt: skip
    for name, row, words in (
        ("make_up", records.IN_SUPPLY, "water let in from outside, fresh polymer water included"),
        ("rain", records.IN_RAIN, "rain on tanks, clarifiers and cells"),
        ("spill", records.OUT_SPILL, "spilled over weirs, walls and leaks"),
        ("discharge", records.OUT_DISCHARGE, "let off the site"),
        ("evaporation", records.OUT_EVAPORATION, "evaporated"),
        ("mud_dug", records.OUT_DUG, "mud dug out of cells"),
    ):
        course.add(f"plant.{name}", float(course.booked(row)[records.VOLUME]), "m3", words)
    drawn = [
        course.gained("clarifier_s", i, quantity)
        for quantity in ("under_volume", "under_solids")
        for i in range(len(course.end.clarifier_s))
    ]
    n = len(course.end.clarifier_s)
    course.add("plant.mud_per_t", 1000.0 * ratio(sum(drawn[:n]), sum(drawn[n:])), "m3/t",
               "mud drawn for a tonne of dry solids")  # fmt: skip


def _chemicals(course: Course) -> None:
    dry = _dry(course) / 1000.0
    water = _dirty_water(course)
    doses = {records.COAG: 0.0, records.POLY: 0.0}
    for i in range(len(course.end.doser_p)):
        doses[int(course.end.doser_p["substance"][i])] += course.gained("doser_s", i, "dosed")
    present = set(course.end.doser_p["substance"].tolist())
    if records.COAG in present:
        course.add("plant.coagulant_per_m3", 1000.0 * ratio(doses[records.COAG], water), "g/m3",
                   "coagulant product for a cubic metre of dirty water")  # fmt: skip
        course.add("plant.coagulant_per_t", 1000.0 * ratio(doses[records.COAG], dry), "g/t",
                   "coagulant product for a tonne of dry solids")  # fmt: skip
    if records.POLY in present:
        course.add("plant.polymer_per_t", 1000.0 * ratio(doses[records.POLY], dry), "g/t",
                   "dry polymer for a tonne of dry solids")  # fmt: skip


def _energy(course: Course) -> None:
    n = len(course.end.motor_s)
    if not n:
        return
    energy = sum(course.gained("motor_s", i, "energy") for i in range(n)) / KWH
    course.add("plant.energy", energy, "kWh", "electric energy of all motors")
    course.add("plant.energy_per_m3", ratio(energy, _dirty_water(course)), "kWh/m3",
               "energy of all motors for a cubic metre of dirty water")  # fmt: skip
    course.add("plant.energy_per_t", ratio(energy, _dry(course) / 1000.0), "kWh/t",
               "energy of all motors for a tonne of dry solids")  # fmt: skip
