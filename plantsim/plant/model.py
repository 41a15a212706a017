"""A plant ready to run: its memory, its control code, and the names by which people know its parts."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from plantsim import records
from plantsim.arena import Arena
from plantsim.plant.plans import Plans, Start

if TYPE_CHECKING:
    from plantsim.plant.tuned import Tune


@dataclass(frozen=True)
class Tag:
    """One point of the I/O image."""

    name: str
    index: int
    unit: str
    meaning: str
    role: str
    """'instrument', 'actuator', 'drive', 'permit' or 'flag'."""


@dataclass(frozen=True)
class Channel:
    """One recorded quantity: where it lives and how it is shown."""

    name: str
    cell: int
    integer: bool
    si_unit: str
    unit: str
    meaning: str


@dataclass(frozen=True)
class Limit:
    """A line to draw on a trend: a set point, an alarm limit, an overflow level (in the channel's unit)."""

    channel: str
    value: float
    words: str
    kind: str
    """'setpoint' or 'limit'."""


@dataclass(frozen=True)
class Point:
    """One value that can be put by hand: a parameter of a program, or a tag of the I/O image.

    `writer` is the program whose output writes a tag at every scan, or nothing.
    """

    name: str
    unit: str
    cell: int
    integer: bool
    tag: int = -1
    writer: str = ""


@dataclass(frozen=True)
class Loop:
    """A control loop: what it measures and moves, and what is held while it is tested.

    `hold` gives each point held, the number written, and the value in words. Limits are in the units of what is
    moved and measured. `tune` says how its controller is tuned, when the plant file does.
    """

    name: str
    measures: Tag
    moves: Point
    hold: tuple[tuple[Point, float, str], ...] = ()
    low: float = -math.inf
    high: float = math.inf
    stop_below: float = -math.inf
    stop_above: float = math.inf
    through: str = ""
    longest: float = 14400.0
    note: str = ""
    tune: Tune | None = None


@dataclass(frozen=True)
class Alarm:
    """One alarm with its rationalisation.

    Parameters
    ----------
    name : str
        Its tag.
    index : int
        Its number in `alarm_p` and `alarm_s`.
    on, watches : str
        What it looks at as the plant file names it, and in words.
    compare : str
        When it comes: 'above', 'below', 'on' or 'off'.
    limit : float or None
        Value beyond which it comes, in `unit`; None for on and off.
    deadband : float
        How far the value must come back, in `unit`.
    unit : str
        Unit it is shown in; empty for none.
    scale, offset : float
        Shown value = value of the cell times scale plus offset.
    on_delay, off_delay, respond_within, suppressed_after : float
        Delays, the time an operator has, and how long suppression stays after its condition [s].
    priority : str
        'critical', 'high', 'medium' or 'low'.
    consequence, action : str
        What happens when nobody acts, and what an operator does.
    suppressed_while, group : str
        Condition that suppresses it by design, and its first-out group; empty for none.
    latching : bool
        It stands until it is reset.
    """

    name: str
    index: int
    on: str
    watches: str
    compare: str
    limit: float | None
    deadband: float
    unit: str
    scale: float
    offset: float
    on_delay: float
    off_delay: float
    priority: str
    consequence: str
    action: str
    respond_within: float
    suppressed_while: str = ""
    suppressed_after: float = 0.0
    group: str = ""
    latching: bool = False

    @property
    def condition(self) -> str:
        """When it comes, in words: `LT-101 above 3.1 m`."""
        if self.limit is None:
            return f"{self.on} is {self.compare}"
        return f"{self.on} {self.compare} {self.limit:g} {self.unit}".rstrip()


@dataclass(frozen=True)
class UpsetSymptom:
    """What is seen of an upset: how a quantity departs from the run in which nothing is done.

    `goes` is 'up', 'down', 'away', 'on' or 'off'; `by` the departure that counts, in words with its unit; `held`,
    `mean`, `earliest` and `latest` are times [s]: how long it lasts, over what means are taken, and the window after
    the cause.
    """

    of: str
    goes: str
    by: str
    held: float
    mean: float
    earliest: float
    latest: float
    words: str


@dataclass(frozen=True)
class Upset:
    """An upset on this plant: when, what is seen of it, and the sentences that fail when nobody acts."""

    name: str
    title: str
    start: Start
    horizon: float
    symptoms: tuple[UpsetSymptom, ...]
    missed: tuple[str, ...]
    cautions: tuple[str, ...]
    consequence: str
    responded: bool


@dataclass
class Model:
    """Everything a simulation needs, built from one configuration.

    `units` maps a unit's name to (kind, index) where kind is the stem of its arrays: 'vessel' for
    `vessel_p`, `vessel_s`.
    """

    title: str
    arena: Arena
    code: np.ndarray
    start: dt.datetime
    step: float
    units: dict[str, tuple[str, int]]
    tags: dict[str, Tag]
    channels: list[Channel]
    plans: Plans
    programs: dict[str, Any] = field(default_factory=dict)
    limits: list[Limit] = field(default_factory=list)
    loops: dict[str, Loop] = field(default_factory=dict)
    alarms: list[Alarm] = field(default_factory=list)
    upsets: list[Upset] = field(default_factory=list)
    record_every: int = 10
    resolved: str = ""
    source_file: str = ""
    warnings: list[str] = field(default_factory=list)

    def cell(self, path: str) -> tuple[int, bool]:
        """Address of `unit.quantity`, and whether it holds an integer.

        Raises
        ------
        KeyError
            If there is no such unit or quantity.
        """
        unit, _, quantity = path.partition(".")
        found = locate(self.units, unit, quantity)
        if found is None:
            raise KeyError(path)
        array, index, field_name = found
        return self.arena.cell(array, index, field_name), self.arena.is_integer(array, field_name)

    def value(self, path: str) -> float:
        """Present value of `unit.quantity`, SI."""
        cell, integer = self.cell(path)
        return float(self.arena.mem.view(np.int64)[cell] if integer else self.arena.mem[cell])


def locate(units: dict[str, tuple[str, int]], unit: str, quantity: str) -> tuple[str, int, str] | None:
    """Array, record and field of a unit's quantity; what a unit lacks is looked for at its motor.

    Parameters
    ----------
    units : dict
        Unit name to (kind, index).
    unit, quantity : str
        Names.

    Returns
    -------
    tuple or None
        Array such as 'vessel_s', record, field.
    """
    for name in (unit, f"{unit}-motor"):
        if name not in units:
            continue
        kind, index = units[name]
        for part in ("_s", "_f", "_p"):
            if quantity in records.FIELD_UNITS.get(kind + part, {}):
                return kind + part, index, quantity
    return None
