"""From the configuration's calendars and failures to plans."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from plantsim.arena import Arena
from plantsim.errors import ConfigError
from plantsim.plant.assemble import Assembly, celsius
from plantsim.plant.fields import nearest
from plantsim.plant.plans import (
    ALWAYS,
    CrewPlan,
    DeliveryPlan,
    DipPlan,
    FacePlan,
    FailurePlan,
    Plans,
    RepairPlan,
    RoundsPlan,
    ShiftPlan,
    WeatherPlan,
    Week,
    Write,
)
from plantsim.plant.program_variables import forcing
from plantsim.plant.programs import connected
from plantsim.plant.sections import MONTHS
from plantsim.plant.signals import quantity
from plantsim.plant.tree import Tree
from plantsim.plant.weather import MonthlyMeans, Weather, WeatherTable

WEEK = 7 * 86400.0


def week_of(shifts: Any) -> Week:
    """Spans of the week of a calendar, in order, merged where they touch."""
    spans: list[tuple[float, float]] = []
    for shift in shifts:
        for day in shift.days:
            start, stop = day * 86400.0 + shift.start, day * 86400.0 + shift.end
            spans += [(start, stop)] if stop <= WEEK else [(start, WEEK), (0.0, stop - WEEK)]
    merged: list[tuple[float, float]] = []
    for start, stop in sorted(spans):
        if merged and start <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(stop, merged[-1][1]))
        else:
            merged.append((start, stop))
    return tuple(merged)


def without(spans: Week, pauses: Week) -> Week:
    """Spans with pauses cut out."""
    left = list(spans)
    for start, stop in pauses:
        cut: list[tuple[float, float]] = []
        for a, b in left:
            if stop <= a or start >= b:
                cut.append((a, b))
                continue
            if a < start:
                cut.append((a, start))
            if stop < b:
                cut.append((stop, b))
        left = cut
    return tuple(left)


def make_plans(a: Assembly, arena: Arena) -> Plans:
    """All plans of a plant, in the order of the configuration."""
    tree, plans = a.tree, Plans()
    weather = make_weather(tree)
    if weather is not None:
        plans.add(WeatherPlan(weather))
    hours = week_of(tree.crew.hours) if tree.crew is not None else None
    deliveries = week_of(tree.deliveries) if tree.deliveries else hours or ALWAYS
    for name, u in tree.units.items():
        kind, index = a.units[name]
        if kind == "source":
            _source_plans(plans, name, index, u)
        elif kind == "doser" and u.tote is not None and u.from_ is None:
            plans.add(DeliveryPlan(f"{name} tote", arena.cell("doser_s", index, "store"), u.tote.volume,
                                   u.tote.reorder, u.tote.lead, deliveries))  # fmt: skip
        elif kind == "makedown":
            plans.add(DeliveryPlan(f"{name} powder", arena.cell("makedown_s", index, "powder"), u.store,
                                   u.reorder, u.lead, deliveries))  # fmt: skip
        elif kind == "bank" and (u.crew is not None or hours is not None):
            cells = tuple(a.units[c][1] for c in u.cells)
            plans.add(CrewPlan(cells, tuple(u.cells), week_of(u.crew) if u.crew is not None else hours or ALWAYS))
    for name, bus in tree.power.items():
        if bus.dips is not None:
            d = bus.dips
            plans.add(DipPlan(name, a.buses[name], d.mean_time, d.shortest, max(d.longest, d.shortest)))
    for name, f in tree.failures.items():
        write = _write(a, arena, f, "what", f.what, f.value, True)
        if write is not None:
            plans.add(FailurePlan(f"{name} ({f.what})", write, f.mean_up, f.mean_down, hours is not None))
    if hours is not None and tree.failures:
        plans.add(RepairPlan(tree.crew.number, hours))
    lines = [(n, a.units[n][1]) for n, u in tree.units.items() if u.kind == "line"]
    if tree.rounds is not None and lines:
        plans.add(RoundsPlan(tuple(i for _, i in lines), tuple(n for n, _ in lines), 3600.0, week_of(tree.rounds)))
    return plans


def _source_plans(plans: Plans, name: str, index: int, u: Tree) -> None:
    if u.shifts is not None:
        spans = week_of(u.shifts)
        if u.pauses is not None:
            spans = without(spans, week_of(u.pauses))
        plans.add(ShiftPlan(index, name, spans))
    if u.faces is not None:
        plans.add(FacePlan(index, name, u.faces.mean_time, u.faces.low, u.faces.high))


def make_weather(tree: Tree) -> Callable[[int], Weather | WeatherTable] | None:
    """Weather of the site as a function of the seed, or None when none is given.

    Months left out lie on the line between their neighbours that are given.
    """
    w = tree.weather
    if w.table is not None:
        base = w.source.parent if w.source else Path.cwd()
        if not (base / w.table).is_file():
            w.finding("table", f"found '{w.table}', but there is no such file; allowed: a CSV file of hourly weather, "
                               "its path as seen from the plant file")  # fmt: skip
            return None
        try:
            table = WeatherTable.read(base / w.table, w.latitude, w.elevation)
        except ConfigError as error:
            for finding in error.findings:
                w.finding("table", finding)
            return None
        return lambda seed: table
    given = {m: w[m] for m in MONTHS if w[m] is not None}
    if not given:
        return None
    columns = {
        key: _round_the_year([given[m][key] if m in given else np.nan for m in MONTHS])
        for key in ("temperature", "swing", "rain", "rain_days", "humidity", "wind", "sunshine")
    }
    columns["temperature"] = tuple(celsius(t) for t in columns["temperature"])
    monthly = MonthlyMeans(**columns)
    return lambda seed: Weather(monthly, w.latitude, w.elevation, seed & 0x7FFFFFFF)


def _round_the_year(values: list[float]) -> tuple[float, ...]:
    known = [i for i, v in enumerate(values) if not np.isnan(v)]
    x = np.array([i + 12 * turn for turn in (-1, 0, 1) for i in known])
    y = np.array([values[i] for _ in range(3) for i in known])
    return tuple(float(np.interp(i, x, y)) for i in range(12))


def _write(
    a: Assembly, arena: Arena, where: Tree, key: str, path: str, value: float, held: bool
) -> Write | None:
    """Write of a number to a tag, a unit's quantity or a program's variable; `held`: it shall stay for a time."""
    if "." not in path:
        if path in a.tags:
            return Write(arena.cell("tags", a.tags[path]), False, value)
        near = nearest(path, a.tags)
        where.finding(key, f"found '{path}'; allowed: unit.quantity, program.variable or a tag"
                           + (f" (did you mean '{near}'?)" if near else ""))  # fmt: skip
        return None
    program = path.partition(".")[0]
    if program in a.programs:
        return forcing(a.programs, arena, where, key, path, value, held, connected(a.tree.control[program]))
    found = quantity(a, where, key, path)
    if found is None:
        return None
    array, index, field, _ = found
    return Write(arena.cell(array, index, field), arena.is_integer(array, field), value)
