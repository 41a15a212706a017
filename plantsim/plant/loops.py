"""Control loops of a plant file: what each measures and moves, tied to the plant's memory."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from plantsim.arena import Arena
from plantsim.plant.assemble import Assembly
from plantsim.plant.fields import nearest, quoted
from plantsim.plant.model import Loop, Point, Tag
from plantsim.plant.program_variables import find, forcing, unit_of, value_of
from plantsim.plant.programs import chosen, connected
from plantsim.plant.tree import Tree
from plantsim.plant.tuned import make_tune
from plantsim.units import QuantityError, sentence


def make_loops(a: Assembly, arena: Arena, programs: Mapping[str, Any], tags: Mapping[str, Tag]) -> dict[str, Loop]:
    """All loops of a plant by name; what does not fit is a finding.

    Parameters
    ----------
    a : Assembly
        The plant as it is put together.
    arena : Arena
        Its memory: addresses only are taken.
    programs : mapping
        Control programs at work by name: `plantsim.plant.programs.Instance`.
    tags : mapping
        Points of the I/O image by name.

    Returns
    -------
    dict of str to Loop
    """
    return {
        name: loop for name, t in a.tree.loops.items()
        if (loop := _loop(a, arena, programs, tags, name, t)) is not None
    }  # fmt: skip


def _loop(
    a: Assembly, arena: Arena, programs: Mapping[str, Any], tags: Mapping[str, Tag], name: str, t: Tree
) -> Loop | None:
    measured = tags.get(str(t.measures))
    if measured is not None and measured.role != "instrument":
        instruments = [tag.name for tag in tags.values() if tag.role == "instrument"]
        t.finding("measures", sentence(f"'{measured.name}', which no instrument writes", "the tag of an instrument",
                                       nearest(measured.name, instruments)))  # fmt: skip
        measured = None
    moved = _point(a, arena, programs, tags, t, "moves", t.moves)
    if moved is not None and moved.tag < 0 and moved.integer:
        t.finding("moves", sentence(f"'{t.moves}', which is no number that can be moved by steps",
                                    "a parameter of type REAL, or the tag of an actuator"))  # fmt: skip
    held = []
    for path, text in t.hold.items():
        point = _point(a, arena, programs, tags, t, f"hold.{path}", path)
        value = _value(programs, tags, t, path, text) if point is not None else None
        if point is not None and value is not None:
            held.append((point, value, text))
    for low, high in (("low", "high"), ("stop_below", "stop_above")):
        if t[low] is not None and t[high] is not None and t[high] <= t[low]:
            t.finding(high, f"found {t[high]:g}; allowed: more than {low}, {t[low]:g}")
    if measured is None or moved is None:
        return None
    return Loop(
        name, measured, moved, tuple(held), _or(t.low, -math.inf), _or(t.high, math.inf),
        _or(t.stop_below, -math.inf), _or(t.stop_above, math.inf), str(t.through) if t.through is not None else "",
        t.longest, t.note or "", make_tune(a, programs, t.tune) if t.tune is not None else None,
    )  # fmt: skip


def _or(value: float | None, otherwise: float) -> float:
    return otherwise if value is None else value


def _point(
    a: Assembly, arena: Arena, programs: Mapping[str, Any], tags: Mapping[str, Tag], t: Tree, key: str, path: str
) -> Point | None:
    if "." in path:
        program = path.partition(".")[0]
        if program in a.unsure:
            return None
        wiring = connected(a.tree.control[program]) if program in programs else {}
        write = forcing(programs, arena, t, key, path, 0.0, True, wiring)
        if write is None:
            return None
        instance, variable = find(programs, path)
        return Point(f"{instance.name}.{variable.name}", unit_of(variable), write.cell, write.integer)
    tag = tags.get(path)
    if tag is None or tag.role in ("instrument", "switch"):
        known = [name for name, one in tags.items() if one.role not in ("instrument", "switch")]
        found = quoted(path) if tag is None else f"{quoted(path)}, which an instrument writes"
        t.finding(key, sentence(found, "program.variable, or the tag of an actuator, a drive or a flag",
                                nearest(path, known)))  # fmt: skip
        return None
    return Point(tag.name, tag.unit, arena.cell("tags", tag.index), False, tag.index, _writer(a, programs, tag.name))


def _writer(a: Assembly, programs: Mapping[str, Any], tag: str) -> str:
    """Program one of whose outputs is connected to a tag; empty when there is none."""
    for name, instance in programs.items():
        outputs = {v.name.casefold() for v in instance.program.outputs}
        for block in chosen(a.tree.control[name]):
            if any(str(ref) == tag and point.casefold() in outputs for point, ref in block.connect.items()):
                return str(name)
    return ""


def _value(programs: Mapping[str, Any], tags: Mapping[str, Tag], t: Tree, path: str, text: str) -> float | None:
    """Number of a held value; TIME in milliseconds, as programs keep it."""
    try:
        if "." in path:
            from plantsim.st.arithmetic import single

            variable = find(programs, path)[1]
            value = value_of(variable, text)
            return single(value) if variable.type == "REAL" else float(value)
        words = {"on": 1.0, "yes": 1.0, "off": 0.0, "no": 0.0}
        if tags[path].unit == "1" and text.casefold() in words:
            return words[text.casefold()]
        number = text.removesuffix(tags[path].unit).strip() if tags[path].unit != "1" else text
        return float(number)
    except QuantityError as error:
        t.finding(f"hold.{path}", str(error))
    except ValueError:
        unit = tags[path].unit
        allowed = "on, off or a number" if unit == "1" else f"a number in {unit}"
        t.finding(f"hold.{path}", sentence(quoted(text), allowed))
    return None
