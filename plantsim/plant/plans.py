"""What happens now and then, as plain data: shifts, weather, deliveries, failures, digging, events.

The configuration is turned into these plans; `plantsim.sim.processes` makes them happen. A plan never
remembers anything: all memory is in the plant's `agenda` records, so a save point holds it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

Week = tuple[tuple[float, float], ...]
"""Spans of a week, seconds since Monday 00:00, in order, not overlapping."""

ALWAYS: Week = ((0.0, 7 * 86400.0),)


@dataclass(frozen=True)
class ShiftPlan:
    """A source washes during these spans of the week."""

    source: int
    name: str
    spans: Week


@dataclass(frozen=True)
class WeatherPlan:
    """Weather is read anew every hour; `make` gives it for a seed."""

    make: Callable[[int], Any]


@dataclass(frozen=True)
class Write:
    """One number written to one memory cell."""

    cell: int
    integer: bool
    value: float


@dataclass(frozen=True)
class Event:
    """Writes at one time after the start [s], with the words for the journal."""

    at: float
    writes: tuple[Write, ...]
    words: str


@dataclass(frozen=True)
class EventPlan:
    """Events at fixed times, in order."""

    events: tuple[Event, ...]


@dataclass(frozen=True)
class FailurePlan:
    """Something fails at random and is repaired: exponential times [s] (common practice, no source)."""

    name: str
    write: Write
    mean_up: float
    mean_down: float


@dataclass(frozen=True)
class DipPlan:
    """Voltage of a bus dips at random: mean time between dips [s], shortest and longest dip [s]."""

    name: str
    bus: int
    mean_up: float
    shortest: float
    longest: float


@dataclass(frozen=True)
class CrewPlan:
    """One digging crew for these cells, in working hours: it takes the strongest ready cell, one at a time."""

    cells: tuple[int, ...]
    names: tuple[str, ...]
    spans: Week


@dataclass(frozen=True)
class DeliveryPlan:
    """A store is refilled [amount] a lead time after it fell below a fraction, in working hours."""

    name: str
    cell: int
    full: float
    reorder: float
    lead: float
    spans: Week


@dataclass(frozen=True)
class FacePlan:
    """The sticky-clay share of a source changes at random as the digging face moves on."""

    source: int
    name: str
    mean_time: float
    low: float
    high: float


@dataclass(frozen=True)
class RoundsPlan:
    """An operator walks round in working hours and clears what waits for a hand: plugged lines."""

    lines: tuple[int, ...]
    names: tuple[str, ...]
    every: float
    spans: Week


Plan = (
    ShiftPlan | WeatherPlan | EventPlan | FailurePlan | DipPlan | CrewPlan | DeliveryPlan | FacePlan | RoundsPlan
)


@dataclass
class Plans:
    """All plans of a plant, in the fixed order in which same-tick events happen."""

    items: list[Plan] = field(default_factory=list)

    def add(self, plan: Plan) -> None:
        self.items.append(plan)

    def __len__(self) -> int:
        return len(self.items)
