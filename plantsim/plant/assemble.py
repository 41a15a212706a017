"""From the checked configuration of each unit to its records: one function for each kind."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from plantsim import records
from plantsim.physics import vessels
from plantsim.physics.flocculation import shear_factor
from plantsim.plant.parts import Parts
from plantsim.plant.series import read_series
from plantsim.plant.settling_table import (
    SettlingTable,
    build_table,
    stress_slope,
    velocity_law,
    velocity_points,
)
from plantsim.plant.tree import Tree

LEVEL_POINTS = 257
DISPERSION_VELOCITY = 1.5
"""Velocity [m/s] for which a line's dispersion is stated; in turbulent flow it grows with velocity (Taylor
1954), so the exchange for each parcel moved does not depend on the velocity."""
ENDS = dict(inlets=0, n_inlets=0, outlets=0, n_outlets=0)
"""Links at both ends of a unit: known only when every unit has been added."""


class Assembly:
    """A plant in the making: the parts list, and the numbers by which parts find each other."""

    def __init__(self, tree: Tree) -> None:
        self.tree = tree
        self.parts = Parts()
        self.units: dict[str, tuple[str, int]] = {}
        self.tags: dict[str, int] = {}
        self.actuators: dict[str, int] = {}
        self.buses: dict[str, int] = {}
        self.offers: dict[str, int] = {}
        self.programs: dict[str, Any] = {}
        """Control programs at work by name."""
        self.unsure: set[str] = set()
        """Instruments and programs with a finding: what hangs on them cannot be judged, so it is no finding."""
        self.first_fill: list[Callable[[Any], None]] = []
        """Writes of the starting state, done when the memory is laid out."""

    # ------------------------------------------------------------------ names to numbers
    def tag(self, ref: Any) -> int:
        """Number of a tag; -1 for none."""
        return -1 if ref is None else self.tags[str(ref)]

    def actuator(self, where: Tree, key: str) -> int:
        """Number of an actuator named by a key; -1 for none. A tag of another kind is a finding."""
        ref = where[key]
        if ref is None:
            return -1
        if str(ref) not in self.actuators:
            where.finding(key, f"found '{ref}', which is no actuator; allowed: a tag under actuators")
            return -1
        return self.actuators[str(ref)]

    def bus(self, ref: Any) -> int:
        """Number of a bus; the first one when left out, -1 when there is none."""
        if ref is None:
            return 0 if self.buses else -1
        return self.buses[str(ref)]

    def kind(self, name: str) -> str:
        """Kind of a unit by name."""
        return self.tree.units[name].kind

    def inlet(self, where: Tree, key: str, words: str, drawn_from: str | None = None) -> int:
        """Stream from here to the unit a key names; -1 (with a finding) when it cannot take one."""
        target = where[key].name
        if self.kind(target) == "line" and where.kind not in ("source", "supply", "doser"):
            where.finding(key, f"found '{target}', a line; allowed: a unit that can store or divide "
                               "(only sources, supplies and dosers can feed into a line)")  # fmt: skip
        if target == _name(where):
            where.finding(key, f"found '{target}', the unit itself; allowed: another unit")
        return self.parts.stream(words, target, drawn_from)

    # ------------------------------------------------------------------ shared pieces
    def motor(self, name: str, tree: Tree) -> int:
        """Add a motor; it is known by the name of what it drives."""
        index = self.parts.add(
            "motor_p",
            run_tag=self.tags[tree.run] if tree.run is not None else -1,
            reset_tag=self.tag(tree.reset), speed_actuator=self.actuator(tree, "speed"),
            bus=self.bus(tree.bus), ramp_up=tree.ramp_up, ramp_down=tree.ramp_down,
            ride_through=tree.ride_through, restart=int(tree.restart == "by itself"),
            restart_delay=tree.restart_delay, min_rest=tree.min_rest, max_starts=tree.max_starts or 0.0,
            rated=tree.power, efficiency=tree.efficiency, idle=tree.idle,
        )  # fmt: skip
        self.units[name + "-motor"] = ("motor", index)
        self.first_fill.append(lambda arena: _rested(arena, index))
        return index

    def plug(self, volume: float, parcels: int, mixing: float, filled: bool, temperature: float) -> int:
        """Add a plug, full of clean water or empty."""
        from plantsim.kernels.plug import plug_rows

        parcel = volume / parcels
        rows = plug_rows(volume, parcel)
        pool = self.parts.pool("parcels", rows)
        # the explicit scheme is most accurate at an exchange of 1/6: sweep as seldom as that allows
        every = max(1, min(parcels // 8, int(1.0 / (6.0 * mixing)))) if mixing > 0.0 else 1
        index = self.parts.add(
            "plug_p", pool=pool, rows=rows, volume=volume, parcel=parcel, mixing=mixing * every, every=every
        )

        def fill(arena: Any) -> None:
            if not filled:
                return
            rows_ = arena.parcels[pool : pool + parcels]
            rows_[:, records.VOLUME] = parcel
            rows_[:, records.HEAT] = temperature
            arena.plug_s["count"][index] = parcels
            arena.plug_s["filled"][index] = volume

        self.first_fill.append(fill)
        return index

    # ------------------------------------------------------------------ units
    def source(self, name: str, u: Tree) -> None:
        tank = u.from_.name if u.from_ is not None else None
        series, rows = -1, 0
        if u.series is not None:
            base = u.source.parent if u.source else Path.cwd()
            table = read_series(base / u.series, u, "series")
            if table is not None:
                series, rows = self.parts.table(table.ravel()), len(table)
        index = self.parts.add(
            "source_p",
            offer=self.offers[tank] if tank else -1,
            draw=self.parts.stream(f"{name} wash water", drawn_from=tank) if tank else -1,
            out=self.inlet(u, "to", f"{name} dirty water"), permit=self.tag(u.permit),
            production=u.production, wash_ratio=u.wash_ratio, fines=u.fines, coarse=u.coarse,
            colloid=u.colloid, moisture=u.moisture / 1000.0, ramp=u.ramp, low_water=u.low_water,
            back_water=u.back_water, temperature=celsius(u.temperature), wander_feed=u.wander_feed,
            wander_fines=u.wander_fines, wander_time=u.wander_time, series=series, series_rows=rows,
        )  # fmt: skip
        self.units[name] = ("source", index)

        def fill(arena: Any) -> None:
            arena.source_s["on"][index] = 1
            arena.source_s["clay"][index] = u.clay
            arena.source_s["feed_factor"][index] = 1.0
            arena.source_s["fines_factor"][index] = 1.0

        self.first_fill.append(fill)

    def supply(self, name: str, u: Tree) -> None:
        index = self.parts.add(
            "supply_p",
            out=self.inlet(u, "to", f"{name} water"), actuator=self.actuator(u, "valve"), capacity=u.flow,
            temperature=-100.0 if u.temperature is None else celsius(u.temperature), fines=u.fines, colloid=u.colloid,
        )  # fmt: skip
        self.units[name] = ("supply", index)
        self.first_fill.append(lambda arena: arena.supply_s["available"].__setitem__(index, 1.0))

    def vessel(self, name: str, u: Tree) -> None:
        levels, volume, area = level_table(u.shape)
        rim = levels[-1]
        weir = max(rim - 0.2, 0.5 * rim) if u.weir_level is None else u.weir_level
        for key, value in (("start_level", u.start_level), ("suction_level", u.suction_level), ("weir_level", weir)):
            if value > rim + 1e-9:
                u.finding(key, f"found {value:g} m; allowed: at most the rim, {rim:g} m above the floor")
        spill, ledger = -1, records.OUT_SPILL
        if u.overflow == "discharge":
            ledger = records.OUT_DISCHARGE
        elif u.overflow != "spill":
            spill = self.inlet(u, "overflow", f"{name} overflow")
        index = self.parts.add(
            "vessel_p",
            **ENDS,
            spill=spill, spill_ledger=ledger, offer=self.offers[name],
            table=self.parts.table(levels), n_table=len(levels), volume=volume, floor_area=area,
            open_area=area if u.open_to_sky else 0.0, suction_level=u.suction_level, weir_level=weir,
            weir_factor=1.84, weir_width=u.weir_width, mixing=u.mixing, ambient_rate=1.0 / u.drift_time,
            shear=u.shear,
        )  # fmt: skip
        self.units[name] = ("vessel", index)

        def fill(arena: Any) -> None:
            content = arena.vessel_s["content"][index]
            content[records.VOLUME] = np.interp(u.start_level, levels, np.linspace(0.0, volume, len(levels)))
            content[records.HEAT] = content[records.VOLUME] * celsius(u.temperature)

        self.first_fill.append(fill)

    def line(self, name: str, u: Tree) -> None:
        pipe = u.pipe
        upstream = u.from_.name
        volume = 0.25 * math.pi * pipe.diameter**2 * pipe.length
        dx = pipe.length / pipe.parcels
        mixing = pipe.dispersion / (DISPERSION_VELOCITY * dx)
        if mixing > 0.5:
            most = math.floor(0.5 * DISPERSION_VELOCITY * pipe.length / pipe.dispersion)
            u.finding("pipe.parcels", f"found {pipe.parcels}, too fine for this dispersion (the exchange between "
                                      f"neighbours would be unstable); allowed: at most {most}")  # fmt: skip
        branches: dict[int, list[str]] = {}
        own = 1000
        for tag, pump in u.pumps.items():
            if pump.branch:
                branches.setdefault(pump.branch, []).append(tag)
            else:
                own += 1
                branches[own] = [tag]
        first_branch = len(self.parts.records["branch_p"])
        for number in sorted(branches):
            tags = branches[number]
            self.parts.add(
                "branch_p", pump=len(self.parts.records["pump_p"]), n_pumps=len(tags),
                check_valve=int(any(u.pumps[tag].check_valve for tag in tags)),
            )  # fmt: skip
            for tag in tags:
                self._pump(tag, u.pumps[tag])
        gate: Any = -1
        if self.kind(u.to.name) == "bank":
            gate = lambda arena: arena.cell("bank_s", self.units[u.to.name][1], "opening")  # noqa: E731
        if not u.pumps and pipe.lift > 0:
            u.finding("pipe.lift", f"found {pipe.lift:g} m, a climb, in a line without pumps; allowed: pumps, or at "
                                   "most 0 m: discharge no higher than the floor of what it draws from")  # fmt: skip
        index = self.parts.add(
            "line_p",
            offer=self.offers[upstream], suction=self.parts.stream(f"{name} draw", drawn_from=upstream),
            out=self.inlet(u, "to", f"{name} delivery"), injections=0, n_injections=0,
            plug=self.plug(volume, pipe.parcels, mixing, bool(pipe.check_valve), 10.0),
            branch=first_branch, n_branches=len(branches),
            valve=self.actuator(u.valve, "actuator") if u.valve else -1, gate=gate,
            check_valve=int(pipe.check_valve), length=pipe.length, diameter=pipe.diameter,
            roughness=pipe.roughness, lift=pipe.lift, minor=pipe.fittings,
            valve_kv=u.valve.kv if u.valve else 0.0, valve_range=u.valve.rangeability if u.valve else 0.0,
            bingham=int(pipe.mud), deposit_factor=pipe.deposit_factor, lift_rate=0.002,
            plug_fraction=pipe.plug_fraction, yield_limit=pipe.plug_stress,
        )  # fmt: skip
        self.units[name] = ("line", index)

    def _pump(self, tag: str, pump: Tree) -> None:
        motor = self.motor(tag, pump.motor)
        columns = np.array(pump.curve).T
        last = columns[0][-1]
        index = self.parts.add(
            "pump_p", motor=motor, curve=self.parts.table(columns.ravel()), points=columns.shape[1],
            derate=pump.derating, stopped_k=pump.stopped_loss / last**2 if last > 0 else 1e9,
            min_flow=pump.min_flow,
        )  # fmt: skip
        self.units[tag] = ("pump", index)

    def doser(self, name: str, u: Tree) -> None:
        polymer = u.product == "polymer"
        if u.from_ is None and u.tote is None:
            u.finding("", "found neither 'from' nor 'tote'; allowed: one of them, to say what it draws on")
        if u.from_ is not None and not polymer:
            u.finding("from", "found a polymer plant for coagulant; allowed: product: polymer, or a tote")
        stock = u.from_.name if u.from_ is not None else None
        dilution = u.dilution
        water = dilution.from_.name if dilution is not None else None
        tote = u.tote
        index = self.parts.add(
            "doser_p",
            out=self.inlet(u, "to", f"{name} dose"), substance=records.POLY if polymer else records.COAG,
            offer=self.offers[stock] if stock else -1,
            draw=self.parts.stream(f"{name} stock", drawn_from=stock) if stock else -1,
            motor=self.motor(name, u.motor), stroke=self.actuator(u, "stroke"), capacity=u.capacity,
            turndown=u.turndown, resolution=u.resolution, calibration=u.calibration,
            strength=tote.strength if tote else 0.0, tote=tote.volume if tote else 0.0,
            plug=self.plug(u.line_volume, 16, 0.0, True, 10.0) if u.line_volume > 0 else -1,
            water_offer=self.offers[water] if water else -1,
            water_draw=self.parts.stream(f"{name} dilution", drawn_from=water) if water else -1,
            water_flow=dilution.flow if dilution else 0.0, water_ratio=dilution.ratio if dilution else 0.0,
            filter_load=dilution.filter_load if dilution else 1.0,
            filter_actuator=self.tag(dilution.filter_change) if dilution else -1,
            good_dilution=dilution.good_ratio if dilution else 0.0, purity=tote.purity if tote else 1.0,
        )  # fmt: skip
        self.units[name] = ("doser", index)

        def fill(arena: Any) -> None:
            arena.doser_s["store"][index] = tote.volume * tote.start if tote else 0.0
            arena.doser_f["calibration"][index] = 1.0
            arena.doser_f["filter_factor"][index] = 1.0

        self.first_fill.append(fill)

    def makedown(self, name: str, u: Tree) -> None:
        water = u.water.name if u.water is not None else None
        index = self.parts.add(
            "makedown_p",
            offer=self.offers[name], outlets=0, n_outlets=0,
            water_offer=self.offers[water] if water else -1,
            water_draw=self.parts.stream(f"{name} water", drawn_from=water) if water else -1,
            permit=self.tag(u.permit), batch=u.batch, strength=u.strength, fill_flow=u.fill_flow,
            wet_time=u.wet_time, mix_time=u.mix_time, transfer_flow=u.transfer_flow, day_tank=u.day_tank,
            start_level=u.start_level, age_time=u.age_time, half_life=u.half_life, store=u.store,
            water_temperature=celsius(u.water_temperature), liquid=int(u.form == "liquid"),
        )  # fmt: skip
        self.units[name] = ("makedown", index)

        def fill(arena: Any) -> None:
            s = arena.makedown_s
            s["powder"][index] = u.store
            day = s["day"][index]
            day[records.VOLUME] = 0.9 * u.day_tank
            day[records.HEAT] = day[records.VOLUME] * celsius(u.water_temperature)
            day[records.POLY] = 0.9 * u.strength * day[records.VOLUME]
            day[records.POLY_SPENT] = 0.1 * u.strength * day[records.VOLUME]
            s["day_unaged"][index] = day[records.POLY_SPENT]
            arena.makedown_f["mix_factor"][index] = 1.0

        self.first_fill.append(fill)

    def splitter(self, name: str, u: Tree) -> None:
        outs = [self.inlet(way, "unit", f"{name} to {way.unit.name}") if self._takes(u, i, way) else 0
                for i, way in enumerate(u.to)]  # fmt: skip
        gates = [self.actuator(way, "gate") for way in u.to]
        index = self.parts.add(
            "splitter_p", inlets=0, n_inlets=0, outs=self.parts.link(outs), n_outs=len(outs),
            weights=self.parts.table(way.weight for way in u.to),
            actuators=self.parts.link(gates) if any(g >= 0 for g in gates) else -1,
        )  # fmt: skip
        self.units[name] = ("splitter", index)

    def _takes(self, u: Tree, i: int, way: Tree) -> bool:
        if self.kind(way.unit.name) == "line":
            u.finding(f"to.{i}.unit", f"found '{way.unit.name}', a line; allowed: a unit that can store or divide")
            return False
        return True

    def clarifier(self, name: str, u: Tree) -> None:
        n, water = u.layers, self.tree.water
        height = u.depth / n
        faces, volumes = cone_geometry(u)
        feed_layer = min(int(u.feed_depth / height), n - 2)
        if u.feed_depth >= u.depth:
            u.finding("feed_depth", f"found {u.feed_depth:g} m; allowed: less than the depth, {u.depth:g} m")
        if u.cone > u.depth:
            u.finding("cone", f"found {u.cone:g} m; allowed: at most the depth, {u.depth:g} m")
        if u.start_bed > u.depth:
            u.finding("start_bed", f"found {u.start_bed:g} m; allowed: at most the depth, {u.depth:g} m")
        table = self._settling(u)
        if u.start_bed_solids > table.c_max:
            u.finding("start_bed_solids", f"found {u.start_bed_solids:g} g/L; allowed: at most the densest packing, "
                                          f"{table.c_max:g} g/L")  # fmt: skip
        overflow = -1
        if u.overflow != "discharge":
            overflow = self.inlet(u, "overflow", f"{name} overflow")
        rake = u.rake
        pool = self.parts.pool("layers", records.NS * n)
        index = self.parts.add(
            "clarifier_p",
            **ENDS, overflow=overflow, offer=self.offers[name],
            layers=n, feed_layer=feed_layer, pool=pool, areas=self.parts.table(faces),
            volumes=self.parts.table(volumes), height=height, radius=0.5 * u.diameter,
            flux=self.parts.table(table.flux), compression=self.parts.table(table.compression),
            n_flux=len(table.flux), c_max=table.c_max, c_hat=table.c_hat, c_gel=table.c_gel, capture=u.capture,
            feedwell=u.feedwell, shear=u.feedwell_shear,
            broken=1.0 - shear_factor(u.feedwell_shear, water.floc_shear, water.floc_strength),
            rake_motor=self.motor(name, rake.motor) if rake else -1,
            rake_lift=self.actuator(rake, "lift") if rake else -1, rake_blade=rake.blade if rake else 0.0,
            rake_travel=0.5, rake_period=600.0, torque_limit=rake.torque if rake else 0.0,
            torque_trip=rake.trip if rake else 1e9, channel_flux=u.channel_speed, channel_time=u.channel_time,
            heal_time=u.heal_time, pack_time=u.pack_time, pack_gain=u.pack_gain,
            ambient_rate=1.0 / u.drift_time, open_area=float(faces[0]), rigid=0,
        )  # fmt: skip
        self.units[name] = ("clarifier", index)

        def fill(arena: Any) -> None:
            layers = arena.layers[pool : pool + records.NS * n].reshape(records.NS, n)
            layers[records.HEAT] = celsius(u.temperature)
            middle = u.depth - (np.arange(n) + 0.5) * height
            bed = middle < u.start_bed
            layers[records.FINES, bed] = u.start_bed_solids
            layers[0, bed] = u.start_bed_solids
            layers[records.CLAY, bed] = 0.15 * u.start_bed_solids
            layers[records.POLY_BOUND, bed] = 0.6 * self.tree.water.polymer_optimum * u.start_bed_solids
            layers[records.COAG_BOUND, bed] = 0.8 * self.tree.water.coagulant_demand * u.start_bed_solids
            arena.clarifier_s["top_volume"][index] = volumes[0]

        self.first_fill.append(fill)
        widest = np.maximum(faces[:-1], faces[1:])
        self.bounds.append((name, table, height, float(np.max(widest * height / volumes))))

    def _settling(self, u: Tree) -> SettlingTable:
        water = self.tree.water
        rho = water.solids_density
        law = u.settling or water.settling
        gel = water.gel if u.gel is None else u.gel
        bed = u.stress or water.stress
        densest = water.densest if u.densest is None else u.densest
        if law.law == "points":
            concentrations, speeds = np.array(law.points).T
            velocity = velocity_points(concentrations, speeds)
        elif law.law == "richardson-zaki":
            velocity = velocity_law("richardson-zaki", {"v0": law.v0, "n": law.n}, rho)
        elif law.law == "vesilind":
            velocity = velocity_law("vesilind", {"v0": law.v0, "r": 1.0 / law.cs}, rho)
        else:
            velocity = velocity_law("power", {"v0": law.v0, "c_half": law.ch, "q": law.q}, rho)
        stress = stress_slope(bed.law, {"sigma0": bed.s0, "k": bed.k}, gel, rho)
        return build_table(velocity, c_max=densest, solids_density=rho, c_gel=gel, stress=stress)

    def bank(self, name: str, u: Tree) -> None:
        rho = self.tree.water.solids_density
        first = len(self.parts.records["cell_p"])
        for cell, c in u.cells.items():
            if c.mud > c.depth:
                c.finding("mud", f"found {c.mud:g} m; allowed: at most the depth of the cell, {c.depth:g} m")
            index = self.parts.add(
                "cell_p",
                valve=self.actuator(c, "valve"), area=c.area, depth=c.depth, freeboard=u.freeboard, lift=u.lift,
                decant_rate=1.0 / u.decant_time, decant_solids=u.decant_solids, consolidation=u.consolidation,
                final_void=u.final_void, shrink_void=u.shrink_void, dry_void=u.dry_void,
                liquid_limit=u.liquid_limit, plastic_limit=u.plastic_limit, liquid_strength=u.liquid_strength,
                dig_strength=u.dig_strength, dig_rate=u.dig_rate, seep=u.seep, drain_time=u.drain_time,
            )  # fmt: skip
            self.units[cell] = ("cell", index)
            self.first_fill.append(_cell_fill(index, c, u, rho))
        decant = self.inlet(u, "decant", f"{name} released water") if u.decant is not None else -1
        index = self.parts.add(
            "bank_p", inlet=-1, decant=decant, cell=first, n_cells=len(u.cells),
            every=max(1, round(60.0 / self.tree.site.step)),
        )  # fmt: skip
        self.units[name] = ("bank", index)

    def press(self, name: str, u: Tree) -> None:
        tank = u.from_.name
        index = self.parts.add(
            "press_p",
            offer=self.offers[tank], draw=self.parts.stream(f"{name} mud", drawn_from=tank),
            filtrate=self.inlet(u, "filtrate", f"{name} filtrate"), permit=self.tag(u.permit),
            motor=self.motor(name, u.motor), chambers=u.chambers, area=u.area, pressure=u.pressure,
            max_flow=u.max_flow, cake_resistance=u.cake_resistance, cloth_resistance=u.cloth_resistance,
            cake_fraction=u.cake_fraction, squeeze_time=u.squeeze_time, open_time=u.open_time,
            fill_limit=u.fill_limit, start_volume=u.start_volume, filtrate_solids=u.filtrate_solids,
        )  # fmt: skip
        self.units[name] = ("press", index)

    # ------------------------------------------------------------------ closing the list
    bounds: list[tuple[str, SettlingTable, float, float]]
    """Clarifiers with their settling table, layer height, and how much wider a layer's face is than its mean."""

    def connect(self) -> None:
        """Add every unit, then tie streams to the units at their ends and put the boxes in order."""
        self.bounds = []
        for name, u in self.tree.units.items():
            if u.kind in ("vessel", "clarifier", "makedown"):
                self.offers[name] = self.parts.offer(name)
        for name, u in self.tree.units.items():
            getattr(self, u.kind)(name, u)
        for name, u in self.tree.units.items():
            kind, index = self.units[name]
            record = self.parts.records[kind + "_p"][index]
            inlets, outlets = self.parts.inlets[name], self.parts.outlets[name]
            if "n_inlets" in record:
                record["inlets"], record["n_inlets"] = self.parts.link(inlets), len(inlets)
            if "n_outlets" in record:
                record["outlets"], record["n_outlets"] = self.parts.link(outlets), len(outlets)
            if kind == "line":
                record["injections"], record["n_injections"] = self.parts.link(inlets), len(inlets)
            if kind == "bank":
                self._check_fed_by_one_line(name, u, inlets)
                record["inlet"] = inlets[0] if inlets else -1
            self._check_connected(name, u, kind, inlets, outlets)
        self._put_in_order()

    def _check_fed_by_one_line(self, name: str, u: Tree, inlets: list[int]) -> None:
        """The valves of a bank's cells hold back what one line brings; anything else they could not stop."""
        lines = [n for n, other in self.tree.units.items() if other.kind == "line" and other.to.name == name]
        if len(lines) == 1 and len(inlets) == 1:
            return
        found = f"{len(inlets)} streams that come here" if inlets else "nothing that comes here"
        found += f" ({', '.join(self.parts.streams[i] for i in inlets)})" if inlets else ""
        u.finding("", f"found {found}; allowed: one line with 'to: {name}', and nothing else")

    def _check_connected(self, name: str, u: Tree, kind: str, inlets: list[int], outlets: list[int]) -> None:
        if kind in ("vessel", "clarifier", "splitter") and not inlets:
            u.finding("", f"found nothing that flows into {name}; allowed: a unit that names it as its 'to' (or as its "
                          "'overflow', 'decant' or 'filtrate')")  # fmt: skip
        if kind == "clarifier" and not outlets:
            u.finding("", f"found no line that draws the underflow of {name}; allowed: a line with 'from: {name}'")
        if kind == "makedown" and not outlets:
            u.finding("", f"found no doser that draws from {name}; allowed: a doser with 'from: {name}'")

    def _put_in_order(self) -> None:
        """Splitters pass on in the same step what they get, so they work in the order water runs through."""
        waiting = [n for n, u in self.tree.units.items() if u.kind == "splitter"]
        while waiting:
            fed = {way.unit.name for n in waiting for way in self.tree.units[n].to}
            free = [n for n in waiting if n not in fed]
            if not free:
                self.tree.finding(f"units.{waiting[0]}", "found splitters that feed each other in a ring: "
                                  f"{', '.join(waiting)}; allowed: a vessel somewhere in the ring")  # fmt: skip
                return
            self.parts.order.append(self.units[free[0]][1])
            waiting.remove(free[0])


# ---------------------------------------------------------------------------------------------- helpers
def celsius(kelvin: float) -> float:
    """Temperature as the plant keeps it [degC]; rounded so that 10 degC stays 10."""
    return round(kelvin - 273.15, 9)


def _name(where: Tree) -> str:
    return where.path.removeprefix("units.").split(".")[0]


def _rested(arena: Any, index: int) -> None:
    """A motor that has stood for long: no rest time holds it at the start."""
    arena.motor_s["stopped_for"][index] = 1e6


def _cell_fill(index: int, c: Tree, u: Tree, rho: float) -> Callable[[Any], None]:
    def fill(arena: Any) -> None:
        if c.mud <= 0:
            arena.cell_s["ready"][index] = 1.0
            return
        s = arena.cell_s
        volume = c.mud * c.area
        mud = s["mud"][index]
        mud[records.VOLUME] = volume
        mud[records.FINES] = volume * rho / (1.0 + u.final_void)
        mud[records.CLAY] = 0.15 * mud[records.FINES]
        mud[records.HEAT] = volume * 10.0
        s["state"][index] = records.CELL_DRY
        s["mud_height"][index] = s["height"][index] = c.mud
        s["start_void"][index] = s["end_void"][index] = s["void"][index] = u.final_void
        s["consolidated"][index] = 1.0

    return fill


def level_table(shape: Tree) -> tuple[np.ndarray, float, float]:
    """Level on an even grid of volume, the volume at the rim, and the plan area at the rim.

    Parameters
    ----------
    shape : Tree
        Form of a vessel, as configured.

    Returns
    -------
    levels : ndarray, shape (LEVEL_POINTS,)
        Levels [m] at volumes from 0 to the rim.
    volume : float
        Volume at the rim [m3].
    area : float
        Largest plan area [m2].
    """
    form = shape.form
    if form == "table":
        points = np.array(shape.points)
        if points[0, 1] > 0.0:
            points = np.vstack([[0.0, 0.0], points]) if points[0, 0] > 0 else points
        volume = float(points[-1, 1])
        grid = np.linspace(0.0, volume, LEVEL_POINTS)
        area = float(np.max(np.diff(points[:, 1]) / np.diff(points[:, 0])))
        return np.interp(grid, points[:, 1], points[:, 0]), volume, area
    if form == "prism":
        area = shape.length * shape.width
        return np.linspace(0.0, shape.depth, LEVEL_POINTS), area * shape.depth, area
    if form == "cylinder":
        area = 0.25 * math.pi * shape.diameter**2
        return np.linspace(0.0, shape.depth, LEVEL_POINTS), area * shape.depth, area
    if form == "cone":
        volume = vessels.cone_bottom_volume(shape.depth, shape.diameter, shape.cone, 0.0)
        grid = np.linspace(0.0, volume, LEVEL_POINTS)
        levels = [vessels.cone_bottom_level(v, shape.diameter, shape.cone, 0.0) for v in grid]
        return np.array(levels), volume, 0.25 * math.pi * shape.diameter**2
    volume = vessels.horizontal_volume(shape.diameter, shape.diameter, shape.length, 0.0)
    grid = np.linspace(0.0, volume, LEVEL_POINTS)
    levels = [vessels.horizontal_level(v, shape.diameter, shape.length, 0.0) for v in grid]
    levels[-1] = shape.diameter
    return np.array(levels), volume, shape.diameter * shape.length


def cone_geometry(u: Tree) -> tuple[np.ndarray, np.ndarray]:
    """Plan areas at the layers' faces (top first) and volumes between them, exact for wall and cone."""
    depths = np.linspace(0.0, u.depth, u.layers + 1)
    top = 0.5 * u.diameter
    bottom = min(0.5 * u.cone_diameter, top)

    def below(depth: float) -> float:
        """Volume under a depth."""
        height = u.depth - depth
        if height <= u.cone:
            return vessels.frustum_volume(height, bottom, top, u.cone) if u.cone > 0 else 0.0
        cone = vessels.frustum_volume(u.cone, bottom, top, u.cone) if u.cone > 0 else 0.0
        return cone + math.pi * top**2 * (height - u.cone)

    def radius(depth: float) -> float:
        height = u.depth - depth
        return top if height >= u.cone else bottom + (top - bottom) * height / u.cone

    faces = np.array([math.pi * radius(d) ** 2 for d in depths])
    under = np.array([below(d) for d in depths])
    return faces, under[:-1] - under[1:]
