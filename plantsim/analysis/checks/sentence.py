"""What an acceptance sentence says, as plain data: conditions, requirements, and when they are looked at.

Times are in seconds; every other number keeps the unit it was written with, and is turned into the unit of a
recorded series when it meets one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Amount:
    """A number with the unit it was written in; '1' for a plain number."""

    value: float
    unit: str = "1"

    def __str__(self) -> str:
        return f"{self.value:g}" + ("" if self.unit == "1" else f" {self.unit}")


# --- conditions: true or false at every moment ---


@dataclass(frozen=True)
class Compare:
    """A quantity beside a limit.

    `how` is 'under', 'over', 'at most', 'at least', 'between' (`low` and `high` belong to it), or 'near', where
    `high` is how far it may be from `low` or, with `other`, from another quantity.
    """

    name: str
    how: str
    low: Amount | None = None
    high: Amount | None = None
    other: str = ""


@dataclass(frozen=True)
class State:
    """Something on or off. `kind`: 'on', 'runs', 'trips', or '' for a tag or whatever of these there is."""

    name: str
    kind: str = ""
    wanted: bool = True


@dataclass(frozen=True)
class Both:
    """Several conditions joined by 'and' or 'or'."""

    parts: tuple[Condition, ...]
    join: str = "and"


@dataclass(frozen=True)
class Not:
    """The contrary of a condition."""

    part: Condition


@dataclass(frozen=True)
class Held:
    """A condition that has been true without a break for a time [s]."""

    part: Condition
    seconds: float


Condition = Compare | State | Both | Not | Held


# --- moments ---


@dataclass(frozen=True)
class Line:
    """Moments at which the journal has a line with these words."""

    words: str


@dataclass(frozen=True)
class Mark:
    """Moments a record has a name for, such as 'the cause' of an upset."""

    name: str


Event = Condition | Line | Mark
"""A condition happens at the moments at which it becomes true."""


# --- requirements ---


@dataclass(frozen=True)
class Always:
    """True at every moment looked at."""

    condition: Condition


@dataclass(frozen=True)
class Share:
    """True for at least (`least`) or at most a percentage of the time; `running`: of the washing time alone."""

    condition: Condition
    percent: float
    least: bool = True
    running: bool = False


@dataclass(frozen=True)
class Spell:
    """True for at most or at least (`least`) a time [s], in all or (`single`) in one unbroken spell."""

    condition: Condition
    seconds: float
    least: bool = False
    single: bool = True


@dataclass(frozen=True)
class Within:
    """True at some moment not later than a time [s] after the event."""

    condition: Condition
    seconds: float


@dataclass(frozen=True)
class Count:
    """An event happens at most or at least (`least`) so often; `per`: in any such time [s]. `starts`: of a motor."""

    event: Event | None
    most: float
    per: float = math.inf
    least: bool = False
    starts: str = ""


@dataclass(frozen=True)
class Rise:
    """What a counter of a unit, such as the volume spilled, rises by."""

    unit: str
    what: str
    limit: Compare


@dataclass(frozen=True)
class Statistic:
    """One number of a quantity over the moments looked at: mean, highest, lowest, swing, rise."""

    which: str
    limit: Compare


@dataclass(frozen=True)
class FigureLimit:
    """A figure of the run beside a limit."""

    limit: Compare


@dataclass(frozen=True)
class Closure:
    """The worst gap of the balances, relative."""

    most: float


@dataclass(frozen=True)
class Says:
    """The journal has, or (`wanted` false) has not, a line with these words."""

    words: str
    wanted: bool = True


@dataclass(frozen=True)
class Order:
    """Steps that have to happen one after the other, the last not later than a time [s] after the event."""

    steps: tuple[Event, ...]
    within: float = math.inf


Requirement = (
    Always | Share | Spell | Within | Count | Rise | Statistic | FigureLimit | Closure | Says | Order
)  # fmt: skip


@dataclass(frozen=True)
class Sentence:
    """One acceptance sentence.

    Parameters
    ----------
    text : str
        As it was written.
    requirement : Requirement
        What has to hold.
    anchor : Event or None
        Event it is counted from; None: the start of the run.
    side : str
        'after' or 'before' the event.
    start, stop : float
        Window from the anchor; before an event `start` reaches back [s].
    given : Condition or None
        Looked at only while this is true.
    """

    text: str
    requirement: Requirement
    anchor: Event | None = None
    side: str = "after"
    start: float = 0.0
    stop: float = math.inf
    given: Condition | None = None


@dataclass(frozen=True)
class Check:
    """A sentence with its name.

    `untested_ok`: it may go without a case in which it is put to the test. `why` is a line for the sheet, `key` the
    place of the sentence in its file.
    """

    name: str
    sentence: Sentence
    why: str = ""
    untested_ok: bool = False
    key: str = ""
