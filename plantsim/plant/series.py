"""Measured input: a CSV of time, flow and solids with units in its header, checked row by row."""

from __future__ import annotations

import csv
import datetime as dt
import math
from pathlib import Path

import numpy as np

from plantsim.plant.fields import nearest
from plantsim.plant.tree import Tree
from plantsim.units import DIMENSIONS, QuantityError, unit_factor

COLUMNS = {"time": "time", "flow": "flow", "solids": "concentration"}
MOST_FINDINGS = 20


def read_series(path: Path, where: Tree, key: str) -> np.ndarray | None:
    """Read a measured series for a source.

    The header names the columns with their units: `time [min], flow [m3/h], solids [g/L]`, in any order;
    further columns are ignored. Time is a number with a unit, or an ISO 8601 date and time (`time` without a
    unit). An empty flow or solids is a gap and is bridged by a straight line; a row that cannot be read is a
    finding with its line.

    Parameters
    ----------
    path : Path
        The file.
    where, key : Tree, str
        Place in the configuration that names it; findings are reported there.

    Returns
    -------
    ndarray, shape (rows, 3), or None
        Time [s] from the first row, flow [m3/s], solids [kg/m3]; None when there were findings.
    """
    def find(line: int, message: str) -> None:
        where.finding(key, f"{path.name}:{line}: {message}" if line else message)

    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        reason = "there is no such file" if isinstance(error, FileNotFoundError) else "it is not readable text"
        find(0, f"found '{path.name}', but {reason}; allowed: a CSV file of time, flow and solids, its path as seen "
                "from the plant file")  # fmt: skip
        return None
    rows = list(csv.reader(text.splitlines()))
    filled = sum(any(cell.strip() for cell in row) for row in rows[1:])
    if filled < 2:
        find(0, f"found {('nothing', 'one row')[filled]} under the header of {path.name}; allowed: at least two rows")
        return None
    header = _header(rows[0], find)
    if header is None:
        return None
    values: list[tuple[float, float, float]] = []
    findings = 0
    before = -math.inf
    for line, row in enumerate(rows[1:], start=2):
        if not row or all(not cell.strip() for cell in row):
            continue
        try:
            t = _time(row, *header["time"])
            q = _number(row, "flow", *header["flow"])
            c = _number(row, "solids", *header["solids"])
            if t <= before:
                raise ValueError("found a time not later than the row before; allowed: times that rise")
            before = t
            values.append((t, q, c))
        except ValueError as error:
            findings += 1
            if findings <= MOST_FINDINGS:
                find(line, str(error))
    if findings > MOST_FINDINGS:
        find(0, f"found {findings - MOST_FINDINGS} further rows of {path.name} that cannot be read")
    if findings:
        return None
    table = np.array(values)
    table[:, 0] -= table[0, 0]
    for column, name in ((1, "flow"), (2, "solids")):
        known = np.isfinite(table[:, column])
        if known.sum() < 2:
            find(0, f"found {('no row', 'one row')[known.sum()]} with {name} in {path.name}; allowed: at least two")
            return None
        table[:, column] = np.interp(table[:, 0], table[known, 0], table[known, column])
    return table


def _header(cells: list[str], find) -> dict[str, tuple[int, float, float]] | None:  # type: ignore[no-untyped-def]
    found: dict[str, tuple[int, float, float]] = {}
    good = True
    for i, cell in enumerate(cells):
        name, _, unit = cell.partition("[")
        name, unit = name.strip().casefold(), unit.strip().rstrip("]").strip()
        if name not in COLUMNS:
            continue
        if name in found:
            find(1, f"found a second column '{name}'; allowed: each once")
            good = False
            continue
        if not unit:
            usual = next(iter(DIMENSIONS[COLUMNS[name]].units))
            if name == "time":
                found[name] = (i, 0.0, 0.0)
                continue
            find(1, f"found '{cell.strip()}' without a unit; allowed: a unit in brackets, such as '{name} [{usual}]'")
            good = False
            continue
        try:
            scale, offset, _ = unit_factor(unit, COLUMNS[name])
            found[name] = (i, scale, offset)
        except QuantityError as error:
            find(1, f"column {name}: {error}")
            good = False
    for name in COLUMNS:
        if name not in found and good:
            near = nearest(name, [c.partition("[")[0].strip() for c in cells])
            hint = f" (did you mean '{near}'?)" if near else ""
            find(1, f"found no column '{name}'; allowed: time, flow and solids, each with its unit{hint}")
            good = False
    return found if good else None


def _time(row: list[str], column: int, scale: float, offset: float) -> float:
    text = row[column].strip() if column < len(row) else ""
    if scale == 0.0:
        try:
            moment = dt.datetime.fromisoformat(text)
        except ValueError:
            raise ValueError(f"found time '{text}'; allowed: a date and time such as 2027-04-05 06:00") from None
        # without an offset from UTC it is local time, in which only differences count
        return (moment if moment.tzinfo else moment.replace(tzinfo=dt.UTC)).timestamp()
    try:
        value = float(text) * scale + offset
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise ValueError(f"found time '{text}'; allowed: a number")
    return value


def _number(row: list[str], name: str, column: int, scale: float, offset: float) -> float:
    text = row[column].strip() if column < len(row) else ""
    if not text or text.casefold() in ("nan", "na", "null"):
        return math.nan
    try:
        value = float(text) * scale + offset
    except ValueError:
        raise ValueError(f"found {name} '{text}'; allowed: a number, or nothing for a gap") from None
    if not math.isfinite(value) or value < 0:
        raise ValueError(f"found {name} '{text}'; allowed: a finite number, at least 0")
    return value
