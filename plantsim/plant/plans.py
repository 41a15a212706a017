"""What happens now and then, as plain data: shifts, weather, deliveries, failures, digging, acts.

The configuration is turned into these plans; `plantsim.sim.processes` makes them happen. A plan never
remembers anything: all memory is in the plant's `agenda` records, so a save point holds it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import accumulate
from typing import Any, ClassVar

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
class Start:
    """When an act begins: between two times after the start of the run [s], drawn evenly by the seed, and later.

    `low` and `high` are alike for a fixed time. Acts with one `key` share one draw, so that what belongs together
    keeps its distances: `after` is the time from that draw to the act [s].
    """

    low: float
    high: float
    key: int = 0
    after: float = 0.0

    @property
    def latest(self) -> float:
        """Latest time it can begin [s]."""
        return self.high + self.after


@dataclass(frozen=True)
class ActPlan:
    """One act: a number written to one cell of the plant, at once or along a ramp, for a time or for good.

    Parameters
    ----------
    start : Start
        When it begins.
    cell : int
        Cell of the memory.
    kind : str
        What the cell holds: 'real', 'single' (a REAL of a program) or 'integer'.
    factor, number : float
        What is written: factor times the value found at the start, plus number.
    ramp : float
        Time in which it gets there [s]
    lasts : float
        Time after which the value beneath comes back [s]; infinite: it stays
    words : str
        What is done, for the journal.
    by : str
        'cause' or 'operator'.
    hand : tuple of int or None
        Program that writes this tag, and how many outputs it writes: the operator's act takes the tag out of its
        hands; None: no program writes here.
    back : str
        Name of that program, for the journal.
    origin : str
        'plant', 'scenario' or the name of the upset it belongs to.
    """

    slots: ClassVar[int] = 2

    start: Start
    cell: int
    kind: str
    factor: float
    number: float
    ramp: float
    lasts: float
    words: str
    by: str = "cause"
    hand: tuple[int, int] | None = None
    tag: int = -1
    back: str = ""
    origin: str = "plant"


@dataclass(frozen=True)
class FailurePlan:
    """Something fails at random and is repaired: exponential times [s] (common practice, no source).

    `crew`: it waits until the repair crew has time for it; without, somebody begins at once.
    """

    name: str
    write: Write
    mean_up: float
    mean_down: float
    crew: bool = False

    @property
    def slots(self) -> int:
        """Agenda records: with a crew, one more for its place in the queue."""
        return 2 if self.crew else 1


@dataclass(frozen=True)
class RepairPlan:
    """Repair crews that take failures in the order in which they came, in working hours."""

    number: int
    spans: Week


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
    ShiftPlan | WeatherPlan | FailurePlan | RepairPlan | DipPlan | CrewPlan | DeliveryPlan | FacePlan | RoundsPlan
    | ActPlan
)


@dataclass
class Plans:
    """All plans of a plant, in the fixed order in which same-tick events happen.

    Acts come last: the numbers of all other plans, which key their random draws, do not depend on what is done to
    the plant.
    """

    items: list[Plan] = field(default_factory=list)

    def add(self, plan: Plan) -> None:
        self.items.append(plan)

    def __len__(self) -> int:
        return len(self.items)

    def numbers(self) -> list[int]:
        """Number of each plan: its first agenda record."""
        return list(accumulate((slots_of(p) for p in self.items), initial=0))[:-1]

    @property
    def slots(self) -> int:
        """Agenda records of all plans together."""
        return sum(slots_of(p) for p in self.items)


def slots_of(plan: Plan) -> int:
    """Agenda records a plan needs for its memory."""
    return getattr(plan, "slots", 1)
