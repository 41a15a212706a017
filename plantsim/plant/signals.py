"""The I/O image: tags, and the instruments, switches and actuators that write and follow them."""

from __future__ import annotations

import difflib
from typing import Any

import numpy as np

from plantsim import records
from plantsim.plant.assemble import Assembly
from plantsim.plant.model import Channel, Tag, locate
from plantsim.plant.tree import Tree
from plantsim.units import DIMENSIONS, QuantityError, unit_factor

# which dimension a field's SI unit stands for, so that its readings can be shown in another unit of it
_BY_SI = {
    "m": "length", "m3": "volume", "m3/s": "flow", "kg/m3": "concentration", "kg": "mass", "kg/s": "mass_flow",
    "NTU": "turbidity", "degC": "temperature", "Pa": "pressure", "m/s": "velocity", "W": "power", "J": "energy",
    "s": "time", "-": "fraction", "1/h": "rate", "m2": "area", "N m": "torque",
}  # fmt: skip
_ALSO = {"concentration": ("density", "dose_per_volume"), "pressure": ("stress",), "velocity": ("evaporation",)}


def dimensions_of(si_unit: str) -> tuple[str, ...]:
    """Dimensions a field with this SI unit may be shown in."""
    first = _BY_SI.get(si_unit)
    return () if first is None else (first, *_ALSO.get(first, ()))


def conversion(unit: str, si_unit: str) -> tuple[float, float] | None:
    """Scale and offset from SI to a unit (shown = si * scale + offset); None when they do not go together."""
    if unit in ("1", "-", "") or unit == si_unit:
        return 1.0, 0.0
    if si_unit == "ms":  # control programs count TIME in milliseconds
        found = conversion(unit, "s")
        return None if found is None else (found[0] / 1000.0, found[1])
    for dimension in dimensions_of(si_unit):
        try:
            scale, offset, _ = unit_factor(unit, dimension)
        except QuantityError:
            continue
        if si_unit == "degC":
            offset -= 273.15  # the plant keeps degrees Celsius
        if si_unit == "1/h":
            scale *= 3600.0  # and counts starts by the hour
        return 1.0 / scale, -offset / scale
    return None


def shown_in(channel: Channel) -> tuple[float, float] | None:
    """Scale and offset from SI to the unit a channel is shown in; None when they do not go together."""
    return (1.0, 0.0) if channel.unit == channel.si_unit else conversion(channel.unit, channel.si_unit)


def collect_tags(a: Assembly) -> dict[str, Tag]:
    """Number every tag of the configuration."""
    tags: dict[str, Tag] = {}

    def add(name: str, unit: str, meaning: str, role: str) -> None:
        if name not in tags:
            tags[name] = Tag(name, len(tags), unit, meaning, role)

    tree = a.tree
    for name, t in tree.instruments.items():
        add(name, t.unit, t.measures, "instrument")
    for name, t in tree.switches.items():
        add(name, "1", f"{t.measures} above {t.above:g} {t.unit if t.unit != '1' else ''}".strip(), "switch")
    for name in tree.actuators:
        add(name, "%", "command in per cent of travel", "actuator")
    for name, t in tree.flags.items():
        add(name, t.unit, t.note or "", "flag")
    for unit, u in tree.units.items():
        for what, motor in _motors(unit, u):
            if motor.run is not None:
                add(motor.run, "1", f"asks {what} to run", "drive")
    a.tags = {name: tag.index for name, tag in tags.items()}
    return tags


def _motors(unit: str, u: Tree) -> list[tuple[str, Tree]]:
    if u.kind == "line":
        return [(tag, pump.motor) for tag, pump in u.pumps.items()]
    if u.kind == "clarifier":
        return [(f"{unit} rake", u.rake.motor)] if u.rake is not None else []
    return [(unit, u.motor)] if u.kind in ("doser", "press") else []


def add_actuators(a: Assembly) -> None:
    """Add every actuator."""
    fail = {"stays": -1.0, "opens": 1.0, "closes": 0.0}
    for name, t in a.tree.actuators.items():
        index = a.parts.add(
            "actuator_p", tag=a.tags[name], scale=0.01, rate=1.0 / max(t.stroke_time, 1e-3), deadband=t.deadband,
            stiction=t.stiction, resolution=t.resolution, minimum=t.minimum, fail=fail[t.fail],
            bus=a.bus(t.bus) if t.bus is not None else -1,
        )  # fmt: skip
        a.actuators[name] = index
        a.units[name] = ("actuator", index)
        a.first_fill.append(_start_at(index, t.start, a.tags[name]))


def _start_at(index: int, start: float, tag: int) -> Any:
    def fill(arena: Any) -> None:
        arena.actuator_s["position"][index] = arena.actuator_s["target"][index] = start
        arena.tags[tag] = 100.0 * start

    return fill


def quantity(a: Assembly, where: Tree, key: str, path: str) -> tuple[str, int, str, str] | None:
    """Array, record, field and SI unit of `unit.quantity`; a finding with the nearest word when there is none."""
    unit, _, field = path.partition(".")
    if unit in a.unsure:
        return None
    if unit not in a.units:
        near = difflib.get_close_matches(unit, a.units, 1, 0.5)
        where.finding(key, f"found '{path}', but there is no unit '{unit}'; allowed: unit.quantity"
                           + (f" (did you mean '{near[0]}.{field}'?)" if near else ""))  # fmt: skip
        return None
    found = locate(a.units, unit, field)
    if found is not None:
        return (*found, records.FIELD_UNITS[found[0]][found[2]][0])
    kind = a.units[unit][0]
    names = [n for part in ("_s", "_f") for n in records.FIELD_UNITS.get(kind + part, {})]
    if f"{unit}-motor" in a.units:
        names += [n for part in ("_s", "_f") for n in records.FIELD_UNITS["motor" + part]]
    near = difflib.get_close_matches(field, names, 1, 0.4)
    shown = ", ".join(names[:12])
    where.finding(key, f"found '{path}', but a {kind} has no quantity '{field}'; allowed: {shown} ..."
                       + (f" (did you mean '{unit}.{near[0]}'?)" if near else ""))  # fmt: skip
    return None


def add_instruments(a: Assembly) -> None:
    """Add every instrument and switch."""
    step = a.tree.site.step
    for name, t in a.tree.instruments.items():
        found = quantity(a, t, "measures", t.measures)
        if t.high <= t.low:
            t.finding("high", f"found {t.high:g}; allowed: more than low, {t.low:g}")
        scale = conversion(t.unit, found[3]) if found is not None else None
        if found is None or scale is None:
            if found is not None:
                _no_unit(t, found[3])
            a.unsure.add(name)
            continue
        array, index, field, _ = found
        flow: Any = -1
        if t.sample_flow is not None:
            found_flow = quantity(a, t, "sample_flow", t.sample_flow)
            if found_flow is not None:
                flow = _address(*found_flow[:3])
        span_day = 86400.0
        a.parts.add(
            "instrument_p",
            kind=records.SENSE_OPTICAL if t.saturation > 0 else records.SENSE_LINEAR,
            cell=_address(array, index, field), integer=_is_integer(array, field), tag=a.tags[name],
            scale=scale[0], offset=scale[1], low=t.low, high=t.high, every=max(1, round(t.every / step)),
            lag=t.lag, noise=t.noise, resolution=t.resolution, saturation=t.saturation,
            fouling_rate=t.fouling / span_day, clean_every=t.clean_every, flow_cell=flow, flow_low=t.sample_low,
        )  # fmt: skip
        _known(a, name)
    for name, t in a.tree.switches.items():
        found = quantity(a, t, "measures", t.measures)
        scale = conversion(t.unit, found[3]) if found is not None else None
        if found is None or scale is None:
            if found is not None:
                _no_unit(t, found[3])
            a.unsure.add(name)
            continue
        array, index, field, _ = found
        a.parts.add(
            "instrument_p", kind=records.SENSE_DIGITAL, cell=_address(array, index, field),
            integer=_is_integer(array, field), tag=a.tags[name], scale=1.0, offset=0.0, low=0.0, high=1.0,
            every=max(1, round(t.every / step)), threshold=(t.above - scale[1]) / scale[0],
            deadband=t.deadband / scale[0], flow_cell=-1,
        )  # fmt: skip
        _known(a, name)


def _no_unit(t: Tree, si: str) -> None:
    """Finding on a unit that does not go with what is measured."""
    usual = DIMENSIONS[dimensions_of(si)[0]].usual() if dimensions_of(si) else "1"
    t.finding("unit", f"found '{t.unit}', which is no unit of {t.measures}; allowed: {usual}")


def _known(a: Assembly, name: str) -> None:
    index = len(a.parts.records["instrument_p"]) - 1
    a.units[name] = ("instrument", index)

    def fill(arena: Any) -> None:
        arena.instrument_f["fouling_factor"][index] = 1.0
        arena.instrument_f["noise_factor"][index] = 1.0

    a.first_fill.append(fill)


def _address(array: str, index: int, field: str) -> Any:
    return lambda arena: arena.cell(array, index, field)


def _is_integer(array: str, field: str) -> int:
    dtype = records.DTYPES[array]
    assert isinstance(dtype, np.dtype)
    return int(dtype[field].base.kind == "i")


def add_flags(a: Assembly) -> None:
    """Put the starting values of the flags in the image."""
    for name, t in a.tree.flags.items():
        a.first_fill.append(_set_tag(a.tags[name], t.start))


def _set_tag(index: int, value: float) -> Any:
    return lambda arena: arena.tags.__setitem__(index, value)
