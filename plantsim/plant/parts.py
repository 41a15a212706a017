"""The parts list of a plant while it is put together: records, streams, offers, links and tables by number."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable
from typing import Any

import numpy as np

from plantsim.arena import NAMES, Arena


class Parts:
    """Collects records until the counts are known and the memory can be laid out.

    Values that are addresses in that memory cannot be known before; they are given as functions of the
    arena and filled in last.
    """

    def __init__(self) -> None:
        self.records: dict[str, list[dict[str, Any]]] = defaultdict(list)
        self.tables: list[float] = []
        self.links: list[int] = []
        self.order: list[int] = []
        self.streams: list[str] = []
        self.offers: list[str] = []
        self.inlets: dict[str, list[int]] = defaultdict(list)
        """Streams that arrive at a unit, by its name."""
        self.outlets: dict[str, list[int]] = defaultdict(list)
        """Streams drawn from a unit, by its name."""
        self.rows: dict[str, int] = defaultdict(int)
        """Rows or numbers asked of the state pools."""

    def add(self, name: str, **fields: Any) -> int:
        """Add one record of a kind; returns its number."""
        self.records[name].append(fields)
        return len(self.records[name]) - 1

    def stream(self, words: str, to: str | None = None, drawn_from: str | None = None) -> int:
        """Add a stream, noted at the units at its two ends; returns its row."""
        self.streams.append(words)
        row = len(self.streams) - 1
        if to is not None:
            self.inlets[to].append(row)
        if drawn_from is not None:
            self.outlets[drawn_from].append(row)
        return row

    def offer(self, words: str) -> int:
        """Add an offer; returns its row."""
        self.offers.append(words)
        return len(self.offers) - 1

    def table(self, values: Iterable[float]) -> int:
        """Add numbers to the table pool; returns the place of the first."""
        start = len(self.tables)
        self.tables.extend(float(v) for v in values)
        return start

    def link(self, rows: Iterable[int]) -> int:
        """Add a run of links; returns the place of the first."""
        start = len(self.links)
        self.links.extend(rows)
        return start

    def pool(self, name: str, count: int) -> int:
        """Ask rows of a state pool; returns the first."""
        start = self.rows[name]
        self.rows[name] += count
        return start

    def allocate(self) -> Arena:
        """Lay out the memory and fill in every record."""
        counts = {name: len(records) for name, records in self.records.items()}
        for name in NAMES:  # state and fault records stand beside their parameters
            stem = name[:-2]
            if name.endswith(("_s", "_f")) and stem + "_p" in NAMES:
                counts[name] = counts.get(stem + "_p", 0)
        counts.update(self.rows)
        counts.update(tables=len(self.tables), links=len(self.links), order=len(self.order),
                      streams=len(self.streams), offers=len(self.offers))  # fmt: skip
        arena = Arena(counts)
        arena.tables[:] = self.tables
        arena.links[:] = self.links
        arena.order[:] = self.order
        late: list[tuple[np.ndarray, str, int, Callable[[Arena], Any]]] = []
        for name, records in self.records.items():
            array = arena.arrays[name]
            for i, fields in enumerate(records):
                for field, value in fields.items():
                    if callable(value):
                        late.append((array, field, i, value))
                    else:
                        array[field][i] = value
        for array, field, i, value in late:
            array[field][i] = value(arena)
        return arena
