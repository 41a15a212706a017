"""Sheets of the sizing bench from a plant file: which units, which numbers, and what is missing."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from plantsim.analysis.lab.data import Lab, read_lab
from plantsim.analysis.sizing import cells as cell_sizing
from plantsim.analysis.sizing import water as water_sizing
from plantsim.analysis.sizing.areas import Duty as ClarifierDuty
from plantsim.analysis.sizing.areas import Law
from plantsim.analysis.sizing.chemicals import ChemicalsDuty, size_chemicals
from plantsim.analysis.sizing.choices import Choices
from plantsim.analysis.sizing.clarifier import size_clarifier
from plantsim.analysis.sizing.clarifier_bench import prove
from plantsim.analysis.sizing.lines import Line, PumpCurve, branches_of, duty, in_series
from plantsim.analysis.sizing.pumping import Site, size_pumping
from plantsim.analysis.sizing.result import NotSized, Sheet
from plantsim.analysis.sizing.shifts import Shifts
from plantsim.analysis.sizing.sump import SumpDuty, pump_levels, rest_of, size_sump, starts_allowed
from plantsim.analysis.sizing.sump_bench import Case, bare_motors, compare, holding, proved_volume
from plantsim.analysis.sizing.sump_year import random_shifts, trial
from plantsim.physics.rheology import yield_stress
from plantsim.plant.assemble import level_table
from plantsim.plant.reader import read
from plantsim.plant.schedule import make_weather, week_of, without
from plantsim.plant.sections import PLANT
from plantsim.plant.weather import Weather
from plantsim.units import to_si

SUBJECTS = ("sump", "pumping", "clarifier", "chemicals", "cells", "water")
WEEK = 7 * 86400.0


class Bench:
    """A plant file on the sizing bench.

    Parameters
    ----------
    path : Path or str
        The plant file.
    choices : Choices
        What the user chose on top of it.
    overrides : sequence of str
        Values of the file replaced.
    lab : Path or str, optional
        Laboratory tests of the water.
    """

    def __init__(self, path: Path | str, choices: Choices, overrides: Any = (), lab: Path | str | None = None) -> None:
        self.path, self.overrides = Path(path), tuple(overrides)
        self.tree = read(self.path, PLANT, overrides)
        self.choices = choices
        self.lab: Lab | None = read_lab(lab) if lab is not None else None

    # ------------------------------------------------------------------------------------------ units by kind
    def of_kind(self, kind: str) -> list[str]:
        """Names of the units of a kind, in the order of the file."""
        return [name for name, unit in self.tree.units.items() if unit.kind == kind]

    def named(self, key: str, kind: str, words: str, usual: Callable[[], str | None]) -> str:
        """Unit that is chosen, or the usual one."""
        name = self.choices[key]
        known = self.of_kind(kind)
        if name is None:
            name = usual()
            if name is None:
                raise NotSized(f"found no {words} in the plant file; allowed: one, to size it")
        elif name not in known:
            raise NotSized(f"size.{key}: found '{name}'; allowed: {', '.join(known) or f'no {kind} in this file'}")
        return str(name)

    @property
    def source(self) -> Any:
        """The wash plant.

        Raises
        ------
        NotSized
            When there is none.
        """
        names = self.of_kind("source")
        if not names:
            raise NotSized("found no wash plant in the plant file; allowed: one, which sets flows and solids")
        return self.tree.units[names[0]]

    @property
    def seed(self) -> int:
        """Key of everything random."""
        return self.choices.whole("seed", 0, 2**31 - 1)

    def sump(self) -> str:
        """Name of the sump."""

        def usual() -> str | None:
            vessels = self.of_kind("vessel")
            fed = [self.source.to.name] if self.of_kind("source") else []
            return next((name for name in [*fed, *vessels] if name in vessels), None)

        return self.named("sump", "vessel", "sump", usual)

    def line(self) -> str:
        """Name of the pumped line."""

        def usual() -> str | None:
            pumped = [n for n in self.of_kind("line") if self.tree.units[n].pumps]
            sump = self.sump() if self.of_kind("vessel") else ""
            ours = [n for n in pumped if self.tree.units[n].from_.name == sump]
            return next(iter(ours), None) if self.choices["sump"] else next(iter([*ours, *pumped]), None)

        return self.named("line", "line", "line with pumps from the sump", usual)

    # ------------------------------------------------------------------------------------------ numbers
    def hours(self) -> float:
        """Running time of a week [s]."""
        s = self.source
        if s.shifts is None:
            return WEEK
        return sum(b - a for a, b in without(week_of(s.shifts), week_of(s.pauses or ())))

    def longest_day(self) -> float:
        """Running time of the longest day [s]."""
        s = self.source
        if s.shifts is None:
            return 86400.0
        spans = without(week_of(s.shifts), week_of(s.pauses or ()))
        days = [sum(max(0.0, min(b, 86400.0 * (d + 1)) - max(a, 86400.0 * d)) for a, b in spans) for d in range(7)]
        return max(days)

    def flow(self, deviations: float = 0.0) -> float:
        """Dirty water [m3/s], some standard deviations of its wander off the mean."""
        s = self.source
        return float(s.production * s.wash_ratio * (1.0 + deviations * s.wander_feed))

    def solids(self) -> float:
        """Dry solids of the dirty water [kg/m3]."""
        given = self.choices["solids"]
        s = self.source
        return float(s.fines + s.coarse) / s.wash_ratio if given is None else given

    def inflow(self) -> float:
        """Greatest lasting inflow of the sump [m3/s]."""
        given = self.choices["inflow"]
        return self.flow(2.0) if given is None else float(given)

    def pipeline(self, name: str) -> tuple[Line, list[list[PumpCurve]], float]:
        """A line with what it carries, its branches of pumps, and the level of the liquid above the pumps' floor."""
        u = self.tree.units[name]
        p, w = u.pipe, self.tree.water
        origin = self.tree.units[u.from_.name]
        if origin.kind == "vessel":
            level = 0.5 * sum(self.levels(u.from_.name))
            solids = self.solids()
        else:
            level, solids = origin.depth, self.choices["underflow"]
        line = Line(p.length, p.diameter, p.lift - level, p.roughness, p.fittings, solids, w.solids_density,
                    self.choices["temperature"], bool(p.mud), w.yield_a, w.yield_b, w.plastic_a, p.deposit_factor,
                    name)  # fmt: skip
        return line, branches_of(u), level

    def levels(self, sump: str) -> tuple[float, float]:
        """Start and stop level of the lead pump [m], chosen or by the level control of the file."""
        start, stop = self.choices["start_level"], self.choices["stop_level"]
        u = self.tree.units[sump]
        watched = {tag for tag, i in self.tree.instruments.items() if i.measures == f"{sump}.level"}
        for control in (self.tree.control or {}).values():
            if start is not None and stop is not None:
                break
            given = dict(control["set"]) if "set" in control else {}
            if watched & {str(getattr(v, "name", v)) for v in dict(control["connect"]).values()}:
                start = to_si(given["start_level"], "length") if start is None and "start_level" in given else start
                stop = to_si(given["stop_level"], "length") if stop is None and "stop_level" in given else stop
        top = self.top(sump)
        stop = u.suction_level + 0.2 if stop is None else stop
        start = 0.5 * (top + stop) if start is None else start
        if not u.suction_level < stop < start < top:
            raise NotSized(
                f"found start level {start:g} m, stop level {stop:g} m; allowed: suction level {u.suction_level:g} m < "
                f"stop < start < overflow {top:g} m"
            )
        return float(start), float(stop)

    def top(self, sump: str) -> float:
        """Overflow level of a vessel [m]."""
        u = self.tree.units[sump]
        rim = float(level_table(u.shape)[0][-1])
        return float(u.weir_level) if u.weir_level is not None else max(rim - 0.2, 0.5 * rim)

    def volume_to(self, sump: str, level: float) -> float:
        """Content of a vessel up to a level [m3]."""
        levels, volume, _ = level_table(self.tree.units[sump].shape)
        return float(np.interp(level, levels, np.linspace(0.0, volume, len(levels))))

    def climate(self) -> water_sizing.Climate:
        """Monthly weather of the file.

        Raises
        ------
        NotSized
            When the file has no monthly weather.
        """
        make = make_weather(self.tree)
        weather = make(0) if make is not None else None
        if not isinstance(weather, Weather):
            raise NotSized("found no monthly weather in the plant file; allowed: months under weather, to size by it")
        m = weather.monthly
        evaporation, day = [], 0
        for k, n in enumerate(water_sizing.MONTH_DAYS):
            depth = sum(weather.day_evaporation(d) for d in range(day, day + n)) * 86400.0
            evaporation.append(max(0.0, depth) if m.temperature[k] > 0.0 else 0.0)
            day += n
        return water_sizing.Climate(m.temperature, m.rain, tuple(evaporation))

    # ------------------------------------------------------------------------------------------ sheets
    def sheets(self, subject: str) -> list[Sheet]:
        """Sheets of one subject, or of all that this file allows."""
        if subject == "all":
            out = []
            for one in SUBJECTS:
                try:
                    out += self.sheets(one)
                except NotSized as reason:
                    out.append(Sheet(one.capitalize(), left_out=[str(reason)]))
            return out
        makers: dict[str, Callable[[], list[Sheet]]] = {
            "sump": self.size_sump, "pumping": self.size_pumping, "clarifier": self.size_clarifier,
            "chemicals": self.size_chemicals, "cells": self.size_cells, "water": self.size_water,
        }  # fmt: skip
        return makers[subject]()

    def size_sump(self) -> list[Sheet]:
        """Sump by formula, then simulated."""
        c = self.choices
        sump, name = self.sump(), self.line()
        seed = self.seed  # what is wrong with it is said before anything is run
        u = self.tree.units[name]
        if u.from_.name != sump:
            raise NotSized(f"found the line {name}, which draws from {u.from_.name}; allowed: one from {sump}")
        start, stop = self.levels(sump)
        line, branches, _ = self.pipeline(name)
        line = replace(line, static=u.pipe.lift - 0.5 * (start + stop))
        flows: list[float] = []
        for n in range(1, len(branches) + 1):
            found = duty(branches[:n], line.head, 1.0, line.fraction)
            if found is not None and (not flows or found.flow > flows[-1] * 1.001):
                flows.append(found.flow)
        motor = next(iter(u.pumps.values())).motor
        turns = int(c["pumps_in_turn"] or min(2, len(branches)))
        if turns > len(branches):
            raise NotSized(f"found {turns} pumps in turn; allowed: at most the {len(branches)} of the line {name}")
        between = self.volume_to(sump, start) - self.volume_to(sump, stop)
        top = self.top(sump)
        given = SumpDuty(
            between, tuple(flows), self.inflow(), turns, motor.power / 1000.0, int(c["poles"]), c["inertia"],
            c["starts"] or motor.max_starts, c["rest"] if c["rest"] is not None else (motor.min_rest or None),
            self.volume_to(sump, top) - self.volume_to(sump, start), 0.0 if u.pipe.check_valve else line.volume,
            between / (start - stop), stop, c["sand"],
        )  # fmt: skip
        sheet = size_sump(given)
        sheet.title = f"Sump and pumps: {sump}, {name}"
        limit = starts_allowed(given).value
        plain = u.plain()
        tags = {pump.name: plain["pumps"][pump.name] for branch in branches for pump in branch}
        groups = tuple(((branch[0].name, as_one(branch, tags)),) for branch in branches[:2])
        # the bench carries water, so its capacity is that of water
        water = line.carrying(0.0)
        bare = tuple(d.flow for n in range(1, min(2, len(branches)) + 1) if (d := duty(branches[:n], water.head)))
        feeds = [s for s in self.of_kind("source") if self.tree.units[s].to.name == sump]
        case = Case(self.tree.units[sump].plain(), plain["pipe"], groups, bare, start, stop, between, top,
                    min(turns, 2), source=self.tree.units[feeds[0]].plain() if feeds else None,
                    site_start=f"{self.tree.site.start:%Y-%m-%d %H:%M}")  # fmt: skip
        rest = rest_of(given)
        lag = sheet["lag_volume_2"].value if "lag_volume_2" in sheet and len(bare) > 1 else 0.0
        joins = pump_levels(stop, start, given.area, [lag])[1] if lag > 0.0 else None
        bench = compare(
            case,
            limit,
            rest,
            days=min(c.length("days") / 86400.0, 28.0),
            lag=joins,
            inflow=given.inflow,
            sand=given.sand,
        )
        try:
            still = holding(bare_motors(case, min_rest="0 s", max_starts=None))
            bench.add(*proved_volume(still, bare[0] / (4.0 * limit * min(turns, 2)), limit))
        except NotSized as reason:
            bench.left_out.append(f"smallest volume by simulation: {reason}")
            return [sheet, bench]
        if c.length("days") <= 0.0 or not feeds:
            return [sheet, bench]
        plan = self.shifts(sump)
        others = [r for r in sheet.results if r.key in ("volume_guidance", "volume_rest", "volume_drain_back")]
        try:
            one = trial(case, plan, c.length("days"), seed, limit, rest, lag)
            shifts = random_shifts(one, plan, seed, bench["proved_volume"].value, others)
        except NotSized as reason:
            bench.left_out.append(f"random shifts: {reason}")
            return [sheet, bench]
        return [sheet, bench, shifts]

    def shifts(self, sump: str) -> Shifts:
        """How the wash plant of the file feeds the sump over random shifts."""
        c, s, w = self.choices, self.source, self.tree.water
        solids = (s.fines + s.coarse) * s.production
        full = s.production * (s.wash_ratio - s.moisture / 1000.0) + solids / w.solids_density
        decant = c["decant"]
        if decant is None:
            banks = [self.tree.units[n] for n in self.of_kind("bank")]
            banks = [u for u in banks if getattr(u.decant, "name", "") == sump]
            mud = solids * (1.0 / c["underflow"] - 1.0 / w.solids_density)
            decant = self.set_free(banks[0]) * mud / full if banks else 0.0
        rain, begin = None, self.tree.site.start
        year = (begin - begin.replace(month=1, day=1, hour=0, minute=0, second=0, microsecond=0)).total_seconds()
        make = make_weather(self.tree)
        if make is not None:
            weather = make(self.seed)

            def rain(seconds: float) -> float:
                return float(weather.hour(year + seconds)[1])

        day = begin.weekday() * 86400.0 + begin.hour * 3600.0 + begin.minute * 60.0
        return Shifts(
            full, week_of(s.shifts) if s.shifts is not None else (), week_of(s.pauses) if s.pauses is not None else (),
            day, c.whole("streams", 1, 6), c["part_load"], s.wander_feed, s.wander_time, c["stop_every"], decant=decant,
            wash_down=c["wash_down"], paved=c["paved"] if rain is not None else 0.0, rain=rain,
        )  # fmt: skip

    def set_free(self, bank: Any) -> float:
        """Part of the underflow's water that settling in a cell sets free."""
        densest, wanted = self.tree.water.solids_density, self.choices["underflow"]
        if wanted >= densest:
            raise NotSized(f"size.underflow: found {wanted:g} g/L; allowed: thinner than the solids, {densest:g} g/L")
        arriving = densest / wanted - 1.0
        return float(max(0.0, (arriving - bank.final_void) / arriving))

    def size_pumping(self) -> list[Sheet]:
        """Pumps and pipeline."""
        c = self.choices
        name = self.line()
        line, branches, level = self.pipeline(name)
        site = Site(level, c["suction_loss"], wall=c["wall"], young=c["young"])
        flows = None
        if self.of_kind("source") and name == self._first_line():
            flows = (self.flow(-2.0), self.flow(2.0))
        low, high = c["flow_least"], c["flow_most"]
        if low is not None or high is not None:
            low, high = low or (flows or (high, high))[0], high or (flows or (low, low))[1]
            flows = (float(low), float(high))
        return [size_pumping(line, branches, site, flows, margin=c["velocity_margin"])]

    def _first_line(self) -> str | None:
        sump = self.source.to.name
        return next((n for n in self.of_kind("line") if self.tree.units[n].from_.name == sump), None)

    def size_clarifier(self) -> list[Sheet]:
        """Clarifier from laboratory tests, or from the water of the file."""
        c, w = self.choices, self.tree.water
        name = self.named("clarifier", "clarifier", "clarifier", lambda: next(iter(self.of_kind("clarifier")), None))
        share = len(self.of_kind("clarifier"))
        u = self.tree.units[name]
        flow = self.inflow() / share
        fraction = c["underflow"] / w.solids_density
        given = ClarifierDuty(
            flow, self.solids(), c["underflow"], w.solids_density, safety=c["safety"], rise_factor=c["rise_factor"],
            yield_stress=float(yield_stress(fraction, w.yield_a, w.yield_b)), coldest=c["coldest"],
        )  # fmt: skip
        area = 0.25 * math.pi * u.diameter**2
        if self.lab is not None:
            from plantsim.analysis.lab.fits import fit_all, like_treated  # slow to import
            from plantsim.analysis.lab.settling_law import tested_law

            fits = fit_all(self.lab)
            curves = like_treated(self.lab.curves)
            tested = tested_law(fits, curves)
            if curves and given.underflow_solids > tested.reach:
                raise NotSized(
                    f"size.underflow: found {given.underflow_solids:.4g} g/L, but the mud of these tests came to "
                    f"{tested.reach:.4g} g/L only; allowed: up to that. Tests to add: the same cylinders read until "
                    "the mud rests, or filled with thicker mud"
                )
            sheet = size_clarifier(given, curves, tested.law, tested.words, area)
            governs = next((r.inputs[1].value for r in sheet.results if r.key == "area_coe_clevenger"), 0.0)
            for what, solids in (("the feed", given.feed_solids), ("the governing layer", governs)):
                if solids > 0.0 and not tested.low * 0.99 <= solids <= tested.high * 1.01:
                    sheet.cautions.append(
                        f"The settling law was tested from {tested.low:.4g} to {tested.high:.4g} g/L; {what} has "
                        f"{solids:.4g} g/L: the law is drawn out beyond its tests there. Test at those solids."
                    )
            sheet.left_out += [str(reason) for reason in fits.refused]
        else:
            law = water_law(u.settling or w.settling, w)
            sheet = size_clarifier(given, [], law, "water of the plant file, best dose", area)
            sheet.cautions.append("The settling law is the plant file's at the best dose, not a test: give --lab.")
        sheet.title = f"Clarifier: {name}" + (f", one of {share}" if share > 1 else "")
        if c.length("prove") <= 0.0:
            sheet.left_out.append("proof by simulation at the corners of the design: not asked for; give --prove")
            return [sheet]
        proof = prove(self.path, self.overrides, self.tree, name, c["coldest"], c.length("prove"), self.seed)
        return [sheet, proof]

    def size_chemicals(self) -> list[Sheet]:
        """Coagulant and polymer plant."""
        c, w, s = self.choices, self.tree.water, self.source
        clay = (s.faces.low, s.faces.high) if s.faces is not None else (s.clay, s.clay)
        fines = float(s.fines) / s.wash_ratio
        coag = tuple(w.coagulant_demand * (1.0 + w.coagulant_demand_clay * k) * fines for k in clay)
        poly = tuple(w.polymer_optimum * (1.0 + w.polymer_optimum_clay * k) for k in clay)
        flow = (self.flow(-2.0), self.flow(2.0))
        more: dict[str, Any] = {"store_days": c["store"] / 86400.0}
        for unit in self.tree.units.values():
            if unit.kind == "makedown":
                more |= {"stock_strength": unit.strength, "fill_flow": unit.fill_flow,
                         "transfer_flow": unit.transfer_flow, "wet_time": unit.wet_time,
                         "mix_time": unit.mix_time}  # fmt: skip
            if unit.kind == "doser" and unit.product == "coagulant" and unit.tote is not None:
                more["coagulant_strength"] = unit.tote.strength
            if unit.kind == "doser" and unit.product == "polymer" and unit.dilution is not None:
                more["filter_load"] = unit.dilution.filter_load
                if unit.dilution.ratio > 0.0:
                    more["dilution_ratio"] = unit.dilution.ratio
        solids = (flow[0] * fines, flow[1] * fines)
        given = ChemicalsDuty(flow, solids, self.longest_day(), (coag[0], coag[1]), (poly[0], poly[1]), **more)
        return [size_chemicals(given)]

    def size_cells(self) -> list[Sheet]:
        """Mud cells."""
        c, w = self.choices, self.tree.water
        name = self.named("bank", "bank", "bank of mud cells", lambda: next(iter(self.of_kind("bank")), None))
        u = self.tree.units[name]
        share = len(self.of_kind("bank"))
        areas = [cell.area for cell in u.cells.values()]
        crew = sum(b - a for a, b in week_of(u.crew)) if u.crew is not None else 0.0
        given = cell_sizing.CellsDuty(
            self.flow() * self.solids() / share, self.hours(), c["underflow"], sum(areas) / len(areas),
            c["lift"] or u.lift, w.solids_density, u.final_void, u.shrink_void, u.dry_void, u.liquid_limit,
            u.plastic_limit, u.liquid_strength, u.dig_strength, u.consolidation, u.drain_time, u.seep, u.dig_rate, crew,
            c["rain_kept"], len(areas), w.yield_a, w.yield_b,
        )  # fmt: skip
        sheet = cell_sizing.size_cells(given, self.climate())
        sheet.title = f"Mud cells: {name}" + (f", one bank of {share}" if share > 1 else "")
        return [sheet]

    def size_water(self) -> list[Sheet]:
        """Water balance and make-up."""
        c, w, s = self.choices, self.tree.water, self.source
        returned = c["returned"]
        if returned is None:
            banks = [self.tree.units[n] for n in self.of_kind("bank")]
            returned = self.set_free(banks[0]) if banks and banks[0].decant is not None else 0.0
        open_area = 0.0
        for unit in self.tree.units.values():
            if unit.kind == "vessel" and unit.open_to_sky:
                open_area += float(level_table(unit.shape)[2])
            elif unit.kind == "clarifier":
                open_area += 0.25 * math.pi * unit.diameter**2
        supply = sum(self.tree.units[n].flow for n in self.of_kind("supply"))
        given = water_sizing.WaterDuty(
            self.hours(), s.production, s.wash_ratio, s.moisture, self.flow() * self.solids(), c["underflow"],
            w.solids_density, c["feed_moisture"], returned, open_area, c["leaks"], supply,
        )  # fmt: skip
        return [water_sizing.size_water(given, self.climate())]


def as_one(branch: list[PumpCurve], tags: dict[str, Any]) -> dict[str, Any]:
    """Pumps in series that start together as one pump, as a plant file writes it."""
    first = tags[branch[0].name]
    if len(branch) == 1:
        return dict(first)
    curve = in_series(branch)
    rows = [[f"{3600.0 * q:.8g} m3/h", f"{h:.8g} m", f"{100.0 * branch[0].efficiency(q):.4g} %",
             f"{branch[0].npsh_required(q):.4g} m"] for q, h in zip(curve.flows, curve.heads)]  # fmt: skip
    loss = sum(to_si(tags[pump.name]["stopped_loss"], "length") for pump in branch)
    power = sum(pump.motor for pump in branch)
    return {**first, "curve": rows, "stopped_loss": f"{loss:.6g} m",
            "motor": {**first["motor"], "power": f"{power / 1000.0:.6g} kW"}}  # fmt: skip


def water_law(settling: Any, water: Any) -> Law:
    """Settling speed [m/s] of solids [kg/m3] by the water of a plant file at the best dose."""
    gain = water.polymer_gain
    if settling.law == "vesilind":
        return lambda c: gain * settling.v0 * math.exp(-c / settling.cs)
    if settling.law == "power":
        return lambda c: gain * settling.v0 / (1.0 + (c / settling.ch) ** settling.q)
    if settling.law == "points":
        x, y = zip(*settling.points)
        return lambda c: gain * float(np.interp(c, x, y))
    return lambda c: gain * settling.v0 * max(1.0 - c / water.solids_density, 0.0) ** settling.n
