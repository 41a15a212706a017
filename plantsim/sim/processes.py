"""What makes the plans of a plant happen: shifts, weather, failures, dips, digging, deliveries, faces, rounds."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from plantsim import records
from plantsim.plant import plans
from plantsim.sim.act import Act
from plantsim.sim.failure import Failure, Repair
from plantsim.sim.process import Process, draw, inside, until_edge, until_open, week_seconds

if TYPE_CHECKING:
    from plantsim.sim.simulation import Simulation

class Shift(Process):
    """Switches a source on and off by its calendar."""

    plan: plans.ShiftPlan

    def fire(self, sim: Simulation, tick: int) -> int:
        now = week_seconds(sim.when(tick))
        on = int(inside(self.plan.spans, now))
        states = sim.model.arena.source_s
        if states["on"][self.plan.source] != on:
            states["on"][self.plan.source] = on
            sim.note(tick, "shift", f"{self.plan.name} {'starts' if on else 'stops'} by its calendar")
        return self.later(sim, tick, until_edge(self.plan.spans, now))


class WeatherChange(Process):
    """Reads the weather at every full hour."""

    plan: plans.WeatherPlan
    weather: Any = None

    def fire(self, sim: Simulation, tick: int) -> int:
        if self.weather is None:
            self.weather = self.plan.make(sim.seed)
        now = sim.when(tick)
        second = (now - dt.datetime(now.year, 1, 1)).total_seconds()
        air, rain, evaporation, water = self.weather.hour(second)
        arena = sim.model.arena
        for field, value in (("air", air), ("rain", rain), ("evaporation", evaporation), ("water", water)):
            sim.put(plans.Write(arena.cell("weather", 0, field), False, value))
        return self.later(sim, tick, 3600.0 - second % 3600.0)


class Dip(Process):
    """Takes the voltage of a bus away for a moment, at random."""

    plan: plans.DipPlan

    def first(self, sim: Simulation) -> int:
        return self.later(sim, 0, draw(sim.seed, self.number, (1 << 39) - 1).exponential(self.plan.mean_up))

    def fire(self, sim: Simulation, tick: int) -> int:
        arena = sim.model.arena
        live = arena.bus_s["live"][self.plan.bus]
        arena.bus_s["live"][self.plan.bus] = 0 if live else 1
        sim.note(tick, "power", f"{self.plan.name}: voltage {'lost' if live else 'back'}")
        random = self.random(sim)
        if live:
            return self.later(sim, tick, random.uniform(self.plan.shortest, self.plan.longest))
        return self.later(sim, tick, random.exponential(self.plan.mean_up))


class Crew(Process):
    """Sends the digger, a single shared resource, to the strongest cell that can be dug."""

    plan: plans.CrewPlan

    def fire(self, sim: Simulation, tick: int) -> int:
        arena = sim.model.arena
        now = week_seconds(sim.when(tick))
        at_work = inside(self.plan.spans, now)
        cells = arena.cell_s
        busy = [c for c in self.plan.cells if cells["digging"][c]]
        if not at_work:
            for c in busy:
                cells["digging"][c] = 0
            return self.later(sim, tick, until_open(self.plan.spans, now))
        if not busy:
            fit = [
                c for c in self.plan.cells
                if cells["state"][c] in (records.CELL_DRY, records.CELL_DIG)
                and cells["strength"][c] >= arena.cell_p["dig_strength"][c]
            ]  # fmt: skip
            if fit:
                # a cell once begun is finished first
                best = max(fit, key=lambda c: (cells["state"][c], cells["strength"][c]))
                cells["digging"][best] = 1
                sim.note(tick, "crew", f"digging at {self.plan.names[self.plan.cells.index(best)]}")
        return self.later(sim, tick, min(1800.0, until_edge(self.plan.spans, now)))


class Delivery(Process):
    """Looks at a store every hour in working time; orders when low; fills it when the lorry comes."""

    plan: plans.DeliveryPlan

    def fire(self, sim: Simulation, tick: int) -> int:
        arena = sim.model.arena
        store = arena.mem[self.plan.cell]
        ordered = arena.agenda["mark"][self.number] > 0.5
        now = week_seconds(sim.when(tick))
        if ordered:
            arena.mem[self.plan.cell] = self.plan.full
            arena.agenda["mark"][self.number] = 0.0
            sim.note(tick, "delivery", f"{self.plan.name} filled, {self.plan.full - store:.3g} added")
        elif store < self.plan.reorder * self.plan.full and inside(self.plan.spans, now):
            arena.agenda["mark"][self.number] = 1.0
            sim.note(tick, "delivery", f"{self.plan.name} ordered")
            wait = self.plan.lead
            return self.later(sim, tick, wait + until_open(self.plan.spans, now + wait))
        return self.later(sim, tick, max(3600.0, until_open(self.plan.spans, now)))


class Face(Process):
    """Changes the clay of a source as the digging face moves on."""

    plan: plans.FacePlan

    def first(self, sim: Simulation) -> int:
        wait = draw(sim.seed, self.number, (1 << 39) - 1).exponential(self.plan.mean_time)
        return self.later(sim, 0, wait)

    def fire(self, sim: Simulation, tick: int) -> int:
        random = self.random(sim)
        clay = random.uniform(self.plan.low, self.plan.high)
        sim.put(plans.Write(sim.model.arena.cell("source_s", self.plan.source, "clay"), False, clay))
        sim.note(tick, "face", f"{self.plan.name}: new face, {100 * clay:.0f} % of the fines sticky clay")
        return self.later(sim, tick, random.exponential(self.plan.mean_time))


class Rounds(Process):
    """Clears plugged lines by hand, some time after they plugged, in working hours."""

    plan: plans.RoundsPlan

    def fire(self, sim: Simulation, tick: int) -> int:
        arena = sim.model.arena
        now = week_seconds(sim.when(tick))
        if inside(self.plan.spans, now):
            for line, name in zip(self.plan.lines, self.plan.names, strict=True):
                if arena.line_s["plugged"][line] > 0.5:
                    arena.line_s["plugged"][line] = 0.0
                    arena.line_s["standing"][line] = 0.0
                    sim.note(tick, "rounds", f"{name} rodded clear")
        return self.later(sim, tick, max(self.plan.every, until_open(self.plan.spans, now + self.plan.every)))


PROCESSES: dict[type, type[Process]] = {
    plans.ShiftPlan: Shift,
    plans.WeatherPlan: WeatherChange,
    plans.FailurePlan: Failure,
    plans.RepairPlan: Repair,
    plans.DipPlan: Dip,
    plans.CrewPlan: Crew,
    plans.DeliveryPlan: Delivery,
    plans.FacePlan: Face,
    plans.RoundsPlan: Rounds,
    plans.ActPlan: Act,
}
