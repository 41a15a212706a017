"""What a page can show of a plant: every value with its cell, unit and words.

An operator sees what a control room sees: tags, whether drives run, and the programs. The true values behind the
instruments are the trainer's.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from plantsim import records
from plantsim.plant.model import Model, locate
from plantsim.plant.program_variables import unit_of
from plantsim.plant.signals import conversion
from plantsim.store.collect import factors


@dataclass(frozen=True)
class Point:
    """One value that can be shown.

    Parameters
    ----------
    name : str
        Tag, `unit.quantity`, `program.variable`, or a tag with `.true` behind it.
    kind : str
        'instrument', 'switch', 'actuator', 'drive', 'flag', 'motor', 'program' or 'true'.
    cell : int
        Cell of the plant's memory.
    integer : bool
        Whether it holds an integer.
    scale, offset : float
        Shown value = value of the cell times scale plus offset.
    unit, meaning : str
        Unit it is shown in, and words.
    """

    name: str
    kind: str
    cell: int
    integer: bool
    scale: float
    offset: float
    unit: str
    meaning: str

    @property
    def hidden(self) -> bool:
        """Whether it is the trainer's alone."""
        return self.kind == "true"


def points_of(model: Model) -> list[Point]:
    """Every point of a plant, those of the operator first."""
    found: dict[str, Point] = {}

    def add(point: Point) -> None:
        found.setdefault(point.name, point)

    arena = model.arena
    for tag in model.tags.values():
        add(Point(tag.name, tag.role, arena.cell("tags", tag.index), False, 1.0, 0.0, tag.unit, tag.meaning))
    for name, (kind, index) in model.units.items():
        if kind == "motor":
            drive = name.removesuffix("-motor")
            add(
                Point(
                    f"{drive}.running",
                    "motor",
                    arena.cell("motor_s", index, "running"),
                    True,
                    1.0,
                    0.0,
                    "1",
                    f"{drive} runs",
                )
            )
            add(
                Point(
                    f"{drive}.speed",
                    "motor",
                    arena.cell("motor_s", index, "speed"),
                    False,
                    100.0,
                    0.0,
                    "%",
                    f"speed of {drive}",
                )
            )
            add(
                Point(
                    f"{drive}.tripped",
                    "motor",
                    arena.cell("motor_s", index, "tripped"),
                    arena.is_integer("motor_s", "tripped"),
                    1.0,
                    0.0,
                    "1",
                    f"{drive} has tripped",
                )
            )
    for name, instance in model.programs.items():
        for variable in (*instance.program.inputs, *instance.program.outputs):
            scale = 0.001 if variable.type == "TIME" else 1.0
            add(
                Point(
                    f"{name}.{variable.name}",
                    "program",
                    arena.cell("control", instance.base + variable.cell),
                    not variable.is_real,
                    scale,
                    0.0,
                    unit_of(variable),
                    variable.comment,
                )
            )
    for tag in model.tags.values():
        if tag.role == "instrument":
            truth = _behind(model, tag.meaning, tag.unit)
            if truth is not None:
                cell, integer, scale, offset = truth
                add(
                    Point(
                        f"{tag.name}.true",
                        "true",
                        cell,
                        integer,
                        scale,
                        offset,
                        tag.unit,
                        f"true {tag.meaning}, behind {tag.name}",
                    )
                )
    for channel in model.channels:
        if channel.name not in found and ".profile." not in channel.name:
            scale, offset = factors(channel)
            add(
                Point(
                    channel.name, "true", channel.cell, channel.integer, scale, offset, channel.unit, channel.meaning
                )
            )
    return sorted(found.values(), key=lambda point: point.hidden)


def _behind(model: Model, path: str, unit: str) -> tuple[int, bool, float, float] | None:
    """Cell of what an instrument measures, and how its unit is got from SI."""
    name, _, quantity = path.partition(".")
    found = locate(model.units, name, quantity)
    if found is None:
        return None
    array, index, field = found
    scale = conversion(unit, records.FIELD_UNITS[array][field][0])
    if scale is None:
        return None
    return model.arena.cell(array, index, field), model.arena.is_integer(array, field), *scale


class Reading:
    """Reads many points at once.

    Parameters
    ----------
    model : Model
        The plant.
    points : list of Point
        What is read, in this order.
    """

    def __init__(self, model: Model, points: list[Point]) -> None:
        self.points = points
        self.index = {point.name: i for i, point in enumerate(points)}
        self.open = sum(not point.hidden for point in points)
        """Points at the beginning that an operator may see."""
        self._cells = np.array([p.cell for p in points], np.int64)
        self._integer = np.array([p.integer for p in points], bool)
        self._scale = np.array([p.scale for p in points])
        self._offset = np.array([p.offset for p in points])
        self._mem = model.arena.mem
        self._imem = model.arena.mem.view(np.int64)

    def values(self) -> np.ndarray:
        """Present values, as shown."""
        raw = np.where(self._integer, self._imem[self._cells], self._mem[self._cells])
        return raw * self._scale + self._offset

    def short(self) -> list[float | None]:
        """Present values with five figures; None for what is no number."""
        return [float(f"{v:.5g}") if math.isfinite(v) else None for v in self.values().tolist()]
