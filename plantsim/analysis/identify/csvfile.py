"""Reading a recorded bump test from CSV, row by row, each fault with its line."""

from __future__ import annotations

import csv
import datetime as dt
import difflib
import math
from dataclasses import dataclass, replace
from pathlib import Path

from plantsim.analysis.identify.record import Record, RecordError, make_record
from plantsim.units import QuantityError, spell, unit_factor

NAMES = {
    "time": ("time", "timestamp", "date", "seconds", "t"),
    "output": ("output", "out", "op", "co", "cv", "u", "mv"),
    "measurement": ("measurement", "measured", "pv", "y"),
}
"""Names a column may have when none is asked for; those of the trade, in small letters."""
MISSING = ("", "nan", "na", "n/a", "null", "none", "-", "---", "bad")
MOST_FINDINGS = 20


@dataclass(frozen=True)
class _Column:
    index: int
    unit: str
    scale: float


def read_record(path: Path, columns: dict[str, str] | None = None, skip_bad: bool = False) -> Record:
    """Read a bump test from CSV.

    The header names the columns with their units in brackets: `time [min], output [%], measurement [NTU]`, in any
    order; further columns are ignored. Time is a number with a unit, or an ISO 8601 date and time (no unit). Commas
    between columns and points in numbers, or semicolons and commas. An empty cell, `nan`, `bad` and the like is a
    gap: a row without a measurement is left out of the fit, a row without an output keeps the output before it.

    Parameters
    ----------
    path : Path
        The file.
    columns : dict of str to str, optional
        Names of the columns for `time`, `output` or `measurement`, where they have other names.
    skip_bad : bool
        Whether rows that cannot be read are left out, with a note, rather than refused.

    Returns
    -------
    Record
        Time from the first row [s]; output and measurement in their own units.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        reason = "no such file" if isinstance(error, FileNotFoundError) else "it is not readable text"
        raise RecordError(f"found '{path}', but {reason}; allowed: a CSV file of time, output and "
                          "measurement") from None  # fmt: skip
    lines = text.splitlines()
    semicolons = bool(lines) and lines[0].count(";") >= 2
    rows = list(csv.reader(lines, delimiter=";" if semicolons else ","))
    if len(rows) < 4:
        raise RecordError(f"{path.name}: found {max(len(rows) - 1, 0)} rows; allowed: a header and at least three rows")
    header = _header(path.name, rows[0], columns or {})
    times: list[float] = []
    outputs: list[float] = []
    measured: list[float] = []
    bad: list[str] = []
    start: dt.datetime | None = None
    for line, row in enumerate(rows[1:], start=2):
        if all(not cell.strip() for cell in row):
            continue
        try:
            t, clock = _time(row, header["time"], semicolons)
            u = _value(row, "output", header["output"], semicolons)
            y = _value(row, "measurement", header["measurement"], semicolons)
            if times and t <= times[-1]:
                raise ValueError("found a time not later than the row before; allowed: times that rise")
            if not times and math.isnan(u):
                raise ValueError("found no output in the first row; allowed: a number, as gaps keep the one before")
        except ValueError as error:
            bad.append(f"{path.name}:{line}: {error}")
            continue
        start = start or clock
        times.append(t)
        outputs.append(u)
        measured.append(y)
    if bad and not skip_bad:
        left = len(bad) - MOST_FINDINGS
        raise RecordError(bad[:MOST_FINDINGS]
                          + ([f"{path.name}: {left} further rows cannot be read"] if left > 0 else []))  # fmt: skip
    if not times:
        raise RecordError(f"{path.name}: found no row that can be read; allowed: at least three")
    record = make_record([t - times[0] for t in times], outputs, measured, header["output"].unit,
                         header["measurement"].unit, path.name)  # fmt: skip
    notes = []
    if bad:
        where = ", ".join(entry.split(":")[1] for entry in bad[:5]) + (" ..." if len(bad) > 5 else "")
        notes.append(f"{len(bad)} rows that cannot be read were left out (line {where})")
    holes = sum(map(math.isnan, measured))
    if holes:
        notes.append(f"{holes} rows without a measurement were left out of the fit")
    kept = sum(map(math.isnan, outputs))
    if kept:
        notes.append(f"{kept} rows without an output keep the output before them")
    return replace(record, start=start, notes=tuple(notes))


def _header(name: str, cells: list[str], asked: dict[str, str]) -> dict[str, _Column]:
    parts = [cell.partition("[") for cell in cells]
    names = [part[0].strip() for part in parts]
    units = [part[2].strip().rstrip("]").strip() for part in parts]
    found: dict[str, _Column] = {}
    findings = []
    for role, usual in NAMES.items():
        index = _place(names, (asked[role],) if role in asked else usual)
        if index is None:
            wanted = asked.get(role, role)
            near = difflib.get_close_matches(wanted, names, 1)
            hint = f" (did you mean '{near[0]}'?)" if near else ""
            findings.append(f"{name}:1: found no column '{wanted}'; allowed: time, output and measurement, each with "
                            f"its unit, or other columns of the file named for them{hint}")  # fmt: skip
            continue
        unit = units[index]
        if role == "time" and not unit:
            found[role] = _Column(index, "", 0.0)
            continue
        if not unit:
            example = {"time": "s", "output": "%", "measurement": "NTU"}[role]
            findings.append(f"{name}:1: found '{cells[index].strip()}' without a unit; allowed: a unit in brackets, "
                            f"such as '{names[index]} [{example}]'")  # fmt: skip
            continue
        try:
            scale, _, _ = unit_factor(unit, "time" if role == "time" else None)
            found[role] = _Column(index, spell(unit), scale)
        except QuantityError as error:
            findings.append(f"{name}:1: column {names[index]}: {error}")
    if findings:
        raise RecordError(findings)
    return found


def _place(names: list[str], wanted: tuple[str, ...]) -> int | None:
    folded = [n.casefold() for n in names]
    return next((folded.index(w.casefold()) for w in wanted if w.casefold() in folded), None)


def _time(row: list[str], column: _Column, commas: bool) -> tuple[float, dt.datetime | None]:
    text = row[column.index].strip() if column.index < len(row) else ""
    if column.scale == 0.0:
        try:
            clock = dt.datetime.fromisoformat(text)
        except ValueError:
            raise ValueError(f"found time '{text}'; allowed: a date and time such as 2027-04-05 06:00:10, or a number "
                             "with the unit in the header: 'time [s]'") from None  # fmt: skip
        aware = clock if clock.tzinfo else clock.replace(tzinfo=dt.UTC)
        return aware.timestamp(), clock
    try:
        value = float(text.replace(",", ".") if commas else text) * column.scale
    except ValueError:
        raise ValueError(f"found time '{text}'; allowed: a number") from None
    if not math.isfinite(value):
        raise ValueError(f"found time '{text}'; allowed: a finite number")
    return value, None


def _value(row: list[str], role: str, column: _Column, commas: bool) -> float:
    text = row[column.index].strip() if column.index < len(row) else ""
    if text.casefold() in MISSING:
        return math.nan
    try:
        value = float(text.replace(",", ".") if commas else text)
    except ValueError:
        raise ValueError(f"found {role} '{text}'; allowed: a number, or nothing for a gap") from None
    if not math.isfinite(value):
        raise ValueError(f"found {role} '{text}'; allowed: a finite number, or nothing for a gap")
    return value
