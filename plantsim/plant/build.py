"""From a plant file to a plant ready to run: read, number, lay out, fill."""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from plantsim import records
from plantsim.arena import Arena
from plantsim.plant.acts import Places, make_acts
from plantsim.plant.alarms import add_alarms
from plantsim.plant.assemble import Assembly
from plantsim.plant.loops import make_loops
from plantsim.plant.model import Channel, Limit, Model, Tag, Upset
from plantsim.plant.program_variables import watch_channels
from plantsim.plant.programs import add_programs
from plantsim.plant.reader import dump, examine
from plantsim.plant.scenario import acts_of, happenings, open_scenario
from plantsim.plant.schedule import make_plans
from plantsim.plant.sections import PLANT
from plantsim.plant.signals import add_actuators, add_flags, add_instruments, collect_tags
from plantsim.plant.tree import Tree

DAY = 86400.0

# what is recorded of each kind of unit, in the unit it is shown in
RECORDED: dict[str, tuple[tuple[str, str], ...]] = {
    "source": (("running", "-"), ("flow", "m3/h"), ("solids", "t/h"), ("concentration", "g/L"), ("clay", "%"),
               ("washed", "t")),
    "supply": (("flow", "m3/h"), ("total", "m3")),
    "vessel": (("level", "m"), ("active", "m3"), ("inflow", "m3/h"), ("outflow", "m3/h"), ("overflow", "m3/h"),
               ("spilled", "m3"), ("solids", "g/L"), ("turbidity", "NTU"), ("temperature", "degC"), ("charge", "-"),
               ("sand", "t")),
    "line": (("flow", "m3/h"), ("delivered", "m3/h"), ("velocity", "m/s"), ("pump_head", "m"), ("static_head", "m"),
             ("friction_head", "m"), ("density", "kg/m3"), ("solids_fraction", "%"), ("out_solids", "g/L"),
             ("limit_velocity", "m/s"), ("deposit", "kg"), ("blockage", "%"), ("plugged", "-"), ("transit", "min"),
             ("suction_margin", "m"), ("charge", "-"), ("pumped", "m3"), ("drained", "m3")),
    "pump": (("flow", "m3/h"), ("head", "m"), ("power", "kW"), ("efficiency", "%")),
    "motor": (("running", "-"), ("speed", "%"), ("power", "kW"), ("energy", "kWh"), ("starts", "-"),
              ("starts_hour", "1/h"), ("run_time", "h"), ("tripped", "-")),
    "actuator": (("position", "%"),),
    "doser": (("neat", "L/h"), ("water", "m3/h"), ("dose", "kg/h"), ("dosed", "kg"), ("store", "m3")),
    "makedown": (("state", "-"), ("level", "%"), ("activity", "%"), ("powder", "kg")),
    "splitter": (("flow", "m3/h"),),
    "clarifier": (("feed_flow", "m3/h"), ("feed_solids", "t/h"), ("overflow", "m3/h"), ("underflow", "m3/h"),
                  ("overflow_solids", "g/m3"), ("turbidity", "NTU"), ("underflow_solids", "g/L"),
                  ("underflow_fraction", "%"), ("underflow_density", "kg/m3"), ("bed_level", "m"),
                  ("mud_level", "m"), ("bed_mass", "t"), ("bed_pressure", "kPa"), ("torque", "%"), ("channel", "%"),
                  ("packing", "%"), ("settling_factor", "-"), ("temperature", "degC"), ("level", "m"),
                  ("out_volume", "m3"), ("under_volume", "m3"), ("under_solids", "t"), ("solids_lost", "t")),
    "bank": (("opening", "-"), ("filling", "-"), ("decant_flow", "m3/h"), ("ready", "-"), ("overtopped", "m3")),
    "cell": (("state", "-"), ("height", "m"), ("mud_height", "m"), ("solids_fraction", "%"), ("strength", "kPa"),
             ("fills", "-")),
    "press": (("state", "-"), ("flow", "m3/h"), ("filtrate_flow", "m3/h"), ("cycles", "-"), ("cake", "t")),
}  # fmt: skip

PUMPED = ("pump_head", "suction_margin")
"""What a line without pumps has none of."""


def load_model(path: Path | str, overrides: Sequence[str] = (), watch: Sequence[str] = (),
               scenario: Path | str | Tree | None = None) -> Model:  # fmt: skip
    """Build a plant from its file.

    Parameters
    ----------
    path : Path or str
        The YAML file.
    overrides : sequence of str
        `key.path=value` texts that replace values of the file.
    watch : sequence of str
        `program.variable` texts: variables of control programs that are recorded with the rest.
    scenario : Path, str or Tree, optional
        What is done to the plant: a scenario file, or one read by `plantsim.plant.scenario.open_scenario`. It takes
        the place of the scenario that the plant file may hold.

    Returns
    -------
    Model

    Raises
    ------
    ConfigError
        With every finding, each with file, line, key, what was found and what is allowed.
    """
    tree = examine(Path(path), PLANT, overrides)
    tree.raise_findings()
    a = Assembly(tree)
    for i, name in enumerate(tree.power or {"mains": None}):
        a.buses[name] = i
        a.parts.add("bus_s", live=1)
        a.units[name] = ("bus", i)
    tags = collect_tags(a)
    add_actuators(a)
    a.connect()
    add_instruments(a)
    add_flags(a)
    instances, code = add_programs(a, {n: replace(t, unit="1") if n in a.unsure else t for n, t in tags.items()})
    alarms = add_alarms(a, tags, instances)
    a.parts.pool("tags", len(tags))
    _check_step(a, tree)
    arena = a.parts.allocate()
    limits = _limits(tree, {channel.name for channel in _channels(a, arena, tags)})
    loops = make_loops(a, arena, instances, tags)
    make_plans(a, arena)  # once for what is wrong with them: memory may be filled only when nothing is
    places = Places(a.units, tags, instances, arena, frozenset(a.unsure))
    told = tree.scenario if scenario is None else scenario if isinstance(scenario, Tree) else open_scenario(scenario)
    acts, upsets = acts_of(tree.acts), list[Upset]()
    if told is not None:
        if told is not tree.scenario:
            told.raise_findings()
        more, upsets = happenings(places, told)
        acts += more
    doings = make_acts(places, acts)
    tree.raise_findings()
    if told is not None:
        told.raise_findings()
    _fill(a, arena)
    plans = make_plans(a, arena)
    plans.items += doings
    # only now is the number of plans known; their memory comes last, so addresses stay as they are
    a.parts.pool("agenda", plans.slots)
    arena = a.parts.allocate()
    _fill(a, arena)
    channels = _channels(a, arena, tags) + watch_channels(instances, arena, watch)
    return Model(
        title=tree.site.name, arena=arena, code=code, start=tree.site.start, step=tree.site.step,
        units=a.units, tags=tags, channels=channels, plans=plans, programs=dict(instances), limits=limits,
        loops=loops, alarms=alarms,
        record_every=max(1, round(tree.site.record_every / tree.site.step)), upsets=upsets,
        resolved=dump(tree.plain() | ({"scenario": told.plain()} if told is not None else {})),
        source_file=str(path), warnings=[],
    )  # fmt: skip


def _fill(a: Assembly, arena: Arena) -> None:
    """Write parameters of the whole plant and the starting state."""
    site, water = a.tree.site, a.tree.water
    arena.clock["dt"][0] = site.step
    arena.clock["calm"][0] = int(site.quiet)
    arena.weather["air"][0] = arena.weather["water"][0] = 10.0
    m = arena.material
    per_mg_l = 1000.0  # NTU per mg/L to NTU per kg/m3
    values = dict(
        solids_density=water.solids_density, coag_demand=water.coagulant_demand,
        coag_demand_clay=water.coagulant_demand_clay, coag_width=water.coagulant_window,
        coag_capacity=water.coagulant_capacity, coag_mix_time=water.coagulant_mix_time,
        coag_time=water.coagulant_time, poly_optimum=water.polymer_optimum,
        poly_optimum_clay=water.polymer_optimum_clay, poly_gain=water.polymer_gain, poly_time=water.polymer_time,
        poly_capacity=water.polymer_capacity, poly_best_solids=water.polymer_best_solids,
        poly_solids_width=water.polymer_solids_width, clay_slowing=water.clay_slowing,
        ntu_fines=water.turbidity_fines * per_mg_l, ntu_colloid=water.turbidity_colloid * per_mg_l,
        ntu_coarse=water.turbidity_coarse * per_mg_l, coarse_velocity=water.coarse_velocity,
        coarse_size=water.coarse_size, yield_a=water.yield_a, yield_b=water.yield_b, plastic_a=water.plastic_a,
        sand_porosity=water.sand_porosity,
    )  # fmt: skip
    for field, value in values.items():
        m[field][0] = value
    for fill in a.first_fill:
        fill(arena)


def _check_step(a: Assembly, tree: Tree) -> None:
    """Refuse a step beyond the stability bound of any clarifier, and state the bound; let its layers wait for as
    many steps as the bound, and what the file wants, allow."""
    water = tree.water
    for name, table, height, shape in a.bounds:
        u = tree.units[name]
        area = 0.785398 * u.diameter**2
        bulk = 3.0 * _feed_of(tree) / area
        bound = table.largest_step(height, bulk=bulk, factor=water.polymer_gain * 1.6,
                                   coarse_velocity=1.6 * water.coarse_velocity, shape=shape)  # fmt: skip
        if tree.site.step > bound:
            tree.site.finding("step", f"found {tree.site.step:g} s, too long for the {u.layers} layers of {name}; "
                                      f"allowed: at most {bound:.3g} s (or fewer layers)")  # fmt: skip
        longest = min(bound, u.layer_step) / tree.site.step
        a.parts.records["clarifier_p"][a.units[name][1]]["every"] = max(1, int(longest + 1e-9))


def _feed_of(tree: Tree) -> float:
    """All wash water of the site [m3/s]: an upper bound of any clarifier's feed."""
    flows = [u.production * u.wash_ratio for u in tree.units.values() if u.kind == "source"]
    return max(sum(flows), 1e-3)


def _recorded(a: Assembly, name: str, kind: str) -> list[tuple[str, str]]:
    """What is recorded of one unit, with the unit each is shown in."""
    bare = kind == "line" and not a.tree.units[name].pumps
    return [pair for pair in RECORDED.get(kind, ()) if not (bare and pair[0] in PUMPED)]


def _channels(a: Assembly, arena: Arena, tags: dict[str, Tag]) -> list[Channel]:
    channels: list[Channel] = []
    for name, (kind, index) in a.units.items():
        shown = name.removesuffix("-motor") if kind == "motor" else name
        for field, unit in _recorded(a, name, kind):
            array = kind + "_s"
            si, meaning = records.FIELD_UNITS[array][field]
            full = f"{shown}.{field}"
            if kind == "motor" and field in _recorded_of(a, shown):
                full = f"{shown}.motor_{field}"  # a pump's shaft power beside the electric power of its motor
            channels.append(Channel(full, arena.cell(array, index, field), arena.is_integer(array, field), si, unit,
                                    meaning))  # fmt: skip
        if kind == "clarifier":
            pool, n = a.parts.records["clarifier_p"][index]["pool"], a.tree.units[name].layers
            channels += [
                Channel(f"{name}.profile.{k}", arena.cell("layers", pool + k), False, "kg/m3", "g/L",
                        "solids of one layer, top first") for k in range(n)
            ]  # fmt: skip
    for tag in tags.values():
        channels.append(Channel(tag.name, arena.cell("tags", tag.index), False, tag.unit, tag.unit, tag.meaning))
    for field, unit in (("air", "degC"), ("rain", "mm/h"), ("evaporation", "mm/d"), ("water", "degC")):
        si, meaning = records.FIELD_UNITS["weather"][field]
        channels.append(Channel(f"weather.{field}", arena.cell("weather", 0, field), False, si, unit, meaning))
    return channels


def _recorded_of(a: Assembly, unit: str) -> set[str]:
    """Fields recorded of a unit itself, its motor left out."""
    kind = a.units[unit][0] if unit in a.units else ""
    return {field for field, _ in RECORDED.get(kind, ())}


def _limits(tree: Tree, names: set[str]) -> list[Limit]:
    limits: list[Limit] = []
    for i, limit in enumerate(tree.limits):
        if limit.on not in names:
            near = difflib.get_close_matches(limit.on, names, 1, 0.5)
            tree.finding(f"limits.{i}.on", f"found '{limit.on}'; allowed: a recorded quantity"
                                           + (f" (did you mean '{near[0]}'?)" if near else ""))  # fmt: skip
        limits.append(Limit(limit.on, limit.at, limit.words, limit.kind))
    return limits
