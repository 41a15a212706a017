"""A journal of thousands of entries told in rows that can be read: alike entries as one, with their count."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

MOST_ROWS = 30
"""Rows shown of one kind of entry."""
MOST_KINDS = 20
"""Kinds of entry shown."""

_NUMBER = re.compile(r"(?<![\w-])[-+]?\d+(?:[.,]\d+)*(?:e[-+]?\d+)?(?![\w-])")
# a number that stands alone: that of a tag such as P-101 belongs to the name


@dataclass
class EventRow:
    """Alike entries: the words of the first, how many there are, and when the first and last came [s]."""

    words: str
    count: int
    first: float
    last: float


@dataclass(frozen=True)
class EventGroup:
    """Entries of one kind: rows in order of time, and how many entries in how many rows are not shown."""

    kind: str
    count: int
    rows: tuple[EventRow, ...]
    hidden_rows: int
    hidden: int


def group_events(journal: Sequence[tuple[float, str, str]]) -> tuple[list[EventGroup], int]:
    """Group a journal by kind and by wording.

    Parameters
    ----------
    journal : sequence of (float, str, str)
        Time, kind and words of each entry, [s]

    Returns
    -------
    groups, hidden : list of EventGroup, int
        Kinds in the order in which they first came, and how many entries of further kinds are left out, [-]

    Examples
    --------
    >>> groups, _ = group_events([(5.0, "pump", "P-1 starts at 2.1 m"), (9.0, "pump", "P-1 starts at 2.2 m")])
    >>> groups[0].rows
    (EventRow(words='P-1 starts at 2.1 m', count=2, first=5.0, last=9.0),)
    """
    kinds: dict[str, dict[str, EventRow]] = {}
    for seconds, kind, words in sorted(journal, key=lambda entry: entry[0]):
        rows = kinds.setdefault(kind, {})
        wording = _NUMBER.sub("#", words)
        row = rows.get(wording)
        if row is None:
            rows[wording] = EventRow(words, 1, seconds, seconds)
        else:
            row.count += 1
            row.last = seconds
    groups = []
    for kind, found in list(kinds.items())[:MOST_KINDS]:
        rows_in_time = list(found.values())
        rest = rows_in_time[MOST_ROWS:]
        groups.append(
            EventGroup(kind, sum(row.count for row in rows_in_time), tuple(rows_in_time[:MOST_ROWS]), len(rest),
                       sum(row.count for row in rest))
        )  # fmt: skip
    left_out = sum(row.count for found in list(kinds.values())[MOST_KINDS:] for row in found.values())
    return groups, left_out
