"""The list of alarms of a plant as rows of words, for a terminal, a spreadsheet and a page."""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from plantsim.plant.model import Alarm
from plantsim.plant.program_variables import spelled

HEAD = (
    "alarm", "priority", "comes when", "deadband", "on-delay", "off-delay", "respond within", "when nobody acts",
    "what to do", "suppressed while", "group", "latching",
)  # fmt: skip
"""Columns of the list."""


@dataclass(frozen=True)
class ListedAlarm:
    """One row of the list, every cell in words."""

    alarm: str
    priority: str
    condition: str
    deadband: str
    on_delay: str
    off_delay: str
    respond_within: str
    consequence: str
    action: str
    suppressed: str
    group: str
    latching: str

    @property
    def cells(self) -> tuple[str, ...]:
        """The cells in the order of `HEAD`."""
        return tuple(vars(self).values())


def listed(alarms: Sequence[Alarm]) -> list[ListedAlarm]:
    """Rows of the list, in the order of the plant file."""
    return [_listed(alarm) for alarm in alarms]


def _listed(a: Alarm) -> ListedAlarm:
    suppressed = a.suppressed_while
    if a.suppressed_after > 0.0:
        suppressed += f", and {time_words(a.suppressed_after)} after"
    return ListedAlarm(
        a.name, a.priority, a.condition, f"{a.deadband:g} {a.unit}".rstrip() if a.deadband else "",
        time_words(a.on_delay), time_words(a.off_delay), time_words(a.respond_within), a.consequence, a.action,
        suppressed, a.group, "latches" if a.latching else "",
    )  # fmt: skip


def time_words(seconds: float) -> str:
    """A length of time as it is read; nothing for none.

    >>> time_words(5400.0), time_words(20.0), time_words(0.0)
    ('1 h 30 min', '20 s', '')
    """
    return re.sub(r"([\d.]+)([a-z]+)", r"\1 \2 ", spelled(seconds)).strip() if seconds else ""


def priority_words(alarms: Sequence[Alarm]) -> str:
    """How many alarms there are, and of which priority.

    >>> priority_words([])
    'no alarms'
    """
    counts = Counter(alarm.priority for alarm in alarms)
    parts = [f"{counts[name]} {name}" for name in ("critical", "high", "medium", "low") if counts[name]]
    if not parts:
        return "no alarms"
    return f"{len(alarms)} {'alarm' if len(alarms) == 1 else 'alarms'}: {', '.join(parts)}"


def list_csv(alarms: Sequence[Alarm]) -> str:
    """The list as CSV."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(HEAD)
    writer.writerows(row.cells for row in listed(alarms))
    return text.getvalue()
