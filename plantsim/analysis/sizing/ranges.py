"""Quick what-ifs: one value of the plant file or of the bench over a range, and every result that moves with it."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from plantsim.analysis.sizing.result import Line, NotSized, Plot, Result, Sheet
from plantsim.errors import PlantsimError

_RANGE = re.compile(r"\s*(?P<low>.+?)\s*\.\.\s*(?P<high>.+?)\s*:\s*(?P<count>[^:]*?)\s*")
_NUMBER = re.compile(r"([-+]?\d+(?:\.\d*)?(?:[eE][-+]?\d+)?)\s*(.*)")
MOST = 25
"""Most values of one range."""
MOST_PLAIN = 4
"""Most pictures where no result has a limit."""
ALLOWED = "LOW..HIGH:COUNT, such as 2 m..6 m:5"


@dataclass(frozen=True)
class Range:
    """Values of one key, as text ready to be set and as plain numbers of their unit."""

    key: str
    values: tuple[str, ...]
    numbers: tuple[float, ...]
    unit: str


@dataclass(frozen=True)
class Column:
    """What one value of the range gave: its sheets, or why it gave none."""

    value: str
    sheets: tuple[Sheet, ...]
    reason: str = ""


def parse(assignment: str) -> Range | None:
    """Read `key=low..high:count`; None when it is no range.

    Examples
    --------
    >>> parse("units.sump.shape.width=2m..6m:5").values
    ('2 m', '3 m', '4 m', '5 m', '6 m')
    >>> parse("size.poles=4") is None
    True
    """
    key, _, text = assignment.partition("=")
    if ".." not in text:
        return None
    found = _RANGE.fullmatch(text)
    if found is None:
        raise NotSized(f"--set: {key.strip()}: found '{text.strip()}'; allowed: {ALLOWED}")
    low, high = _NUMBER.fullmatch(found["low"]), _NUMBER.fullmatch(found["high"])
    if low is None or high is None:
        raise NotSized(f"--set: {key.strip()}: found '{text.strip()}'; allowed: {ALLOWED}")
    unit = high[2].strip()
    if low[2].strip() not in ("", unit):
        raise NotSized(
            f"--set: {key.strip()}: found '{low[2].strip()}' and '{unit}' in one range; allowed: one unit for both ends"
        )
    count = found["count"]
    if not count.isdigit() or not 2 <= int(count) <= MOST:
        raise NotSized(f"--set: {key.strip()}: found {count or 'nothing'} as count; allowed: 2 to {MOST} values")
    a, b, n = float(low[1]), float(high[1]), int(count)
    if a == b:
        raise NotSized(f"--set: {key.strip()}: found a range from {a:g} to {b:g}; allowed: two different ends")
    numbers = tuple(a + (b - a) * k / (n - 1) for k in range(n))
    return Range(key.strip(), tuple(f"{v:.6g} {unit}".strip() for v in numbers), numbers, unit)


def split(assignments: Sequence[str]) -> tuple[Range | None, list[str]]:
    """Tell the range from the plain assignments.

    Raises
    ------
    NotSized
        When there is more than one range.
    """
    ranges, rest = [], []
    for text in assignments:
        one = parse(text)
        if one is None:
            rest.append(text)
        else:
            ranges.append(one)
    if len(ranges) > 1:
        raise NotSized(
            f"--set: found {len(ranges)} ranges, {', '.join(r.key for r in ranges)}; allowed: one, the others as values"
        )
    return (ranges[0] if ranges else None), rest


def sweep(spread: Range, size: Callable[[str], Sequence[Sheet]]) -> list[Column]:
    """Size for every value; a value that cannot be sized says why, and one at least has to be.

    Parameters
    ----------
    spread : Range
        Key and values.
    size : callable
        Sheets for one assignment `key=value`.
    """
    out = []
    errors: list[PlantsimError] = []
    for value in spread.values:
        try:
            out.append(Column(value, tuple(size(f"{spread.key}={value}"))))
        except PlantsimError as error:
            errors.append(error)
            out.append(Column(value, (), str(error)))
    if len(errors) == len(out):
        raise errors[0]
    return out


def table(spread: Range, columns: Sequence[Column]) -> Sheet:
    """A sheet of all results that change over the range, with pictures of those that have a limit.

    Its `table` holds a row for each result and a column for each value; a result whose limit is not kept is marked.
    """
    found: dict[tuple[int, str], list[Result | None]] = {}
    for k, column in enumerate(columns):
        for number, sheet in enumerate(column.sheets):
            for result in sheet.results:
                found.setdefault((number, result.key), [None] * len(columns))[k] = result
    sheet = Sheet(f"What if: {spread.key}", table=[["what", *spread.values]])
    same = 0
    moving = []
    for row in found.values():
        texts = ["not sized" if r is None else r.text() + (" (!)" if r.holds is False else "") for r in row]
        if len(set(texts)) == 1:
            same += 1
            continue
        name = next(r for r in row if r is not None).name
        sheet.table.append([name, *texts])
        moving.append(row)
    limited = [row for row in moving if any(r is not None and r.holds is not None for r in row)]
    sheet.plots += [_plot(spread, row) for row in limited or moving[:MOST_PLAIN]]
    if any("(!)" in text for row in sheet.table for text in row):
        sheet.cautions.append("(!) a limit is not kept: size that value alone to read which one and by how much.")
    sheet.left_out += [f"{spread.key} = {column.value}: {column.reason}" for column in columns if column.reason]
    if same:
        sheet.table.append([f"({same} results do not change over this range)", *("" for _ in columns)])
    return sheet


def _plot(spread: Range, row: Sequence[Result | None]) -> Plot:
    points = [(x, r) for x, r in zip(spread.numbers, row) if r is not None]
    first = points[0][1]
    lines = [Line(first.name, tuple(x for x, _ in points), tuple(r.value for _, r in points))]
    for holds, name in ((True, "limit kept"), (False, "limit not kept")):
        some = [(x, r) for x, r in points if r.holds is holds]
        if some:
            lines.append(Line(name, tuple(x for x, _ in some), tuple(r.value for _, r in some), True))
    name = f"{spread.key}, {spread.unit}" if spread.unit else spread.key
    return Plot(f"range_{first.key}", first.name, name, "-", "", first.name, first.unit, first.shown, tuple(lines))
