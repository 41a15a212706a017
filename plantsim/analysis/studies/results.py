"""Results of a study on disk: a journal that grows row by row and survives a kill, and one table when it is whole.

==================  ====================================================================================
file                what it holds
==================  ====================================================================================
study.json          what is studied, with a digest of everything the results depend on
rows.jsonl          one line for each finished run, in the order they ended; the last may be torn
results.parquet     the table: one row for each run, its inputs, figures, checks and reason
==================  ====================================================================================
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np

from plantsim.analysis.studies.case import Row
from plantsim.analysis.studies.plan import Plan, head_of
from plantsim.analysis.studies.sampling import StudyError

HEAD, ROWS, TABLE = "study.json", "rows.jsonl", "results.parquet"


class Journal:
    """The growing journal of a study.

    Parameters
    ----------
    folder : Path
        Its folder, made if need be.
    plan : Plan
        The study.
    resume : bool
        Whether to go on with what is there.

    Raises
    ------
    StudyError
        If the folder holds an unfinished study and `resume` is off, or one of another study.
    """

    def __init__(self, folder: Path, plan: Plan, resume: bool) -> None:
        self.folder = folder
        self.rows: dict[int, Row] = {}
        head = folder / HEAD
        if head.exists():
            known = _json(head)
            if known.get("mark") != plan.mark:
                raise StudyError(f"{folder} holds another study, or an earlier state of this one or of its plant file; "
                                 "allowed: another folder by --out, or a folder that is not there")  # fmt: skip
            if not resume:
                raise StudyError(f"{folder} holds this study already; allowed: --resume to go on with it, or another "
                                 "folder by --out")  # fmt: skip
            self.rows = {row["case"]: row for row in _whole_rows(folder / ROWS)}
        elif folder.exists() and any(folder.iterdir()):
            raise StudyError(f"{folder} is not empty and holds no study; allowed: a new or empty folder")
        try:
            folder.mkdir(parents=True, exist_ok=True)
            if not head.exists():
                _write(head, json.dumps(head_of(plan), indent=1) + "\n")
            self._file = (folder / ROWS).open("a", encoding="utf-8")
        except OSError as error:
            raise StudyError(f"cannot write into {folder}: {error.strerror or error}") from None

    def add(self, row: Row) -> None:
        """Keep a row; when this returns it is on the disk."""
        self._file.write(json.dumps(row, allow_nan=False) + "\n")
        self._file.flush()
        os.fsync(self._file.fileno())
        self.rows[row["case"]] = row

    def close(self) -> None:
        """Close the file."""
        self._file.close()

    def ordered(self) -> list[Row]:
        """Rows in the order of their numbers."""
        return [self.rows[number] for number in sorted(self.rows)]


def _whole_rows(path: Path) -> list[Row]:
    """Rows of a journal; a torn last line, left by a kill, is cut off so that the next row begins on its own line."""
    if not path.exists():
        return []
    raw = path.read_bytes()
    whole = raw[: raw.rfind(b"\n") + 1]
    if len(whole) < len(raw):
        with path.open("rb+") as file:
            file.truncate(len(whole))
    try:
        return [json.loads(line) for line in whole.decode().splitlines()]
    except ValueError:
        raise StudyError(f"{path} is damaged: a line before the last is no JSON") from None


def _json(path: Path) -> dict[str, Any]:
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        raise StudyError(f"{path} is damaged or cannot be read") from None
    return found if isinstance(found, dict) else {}


def _write(path: Path, text: str) -> None:
    part = path.with_name(f".{path.name}.part")
    part.write_text(text, encoding="utf-8", newline="\n")
    os.replace(part, path)


# --- the table ---


def columns(plan: Plan, rows: Iterable[Row]) -> tuple[dict[str, list[Any]], dict[str, str]]:
    """The table of a study by columns, and the unit of each column of numbers.

    Parameters
    ----------
    plan : Plan
        The study.
    rows : iterable of Row
        Its rows.

    Returns
    -------
    columns : dict of str to list
        `case`, `seed`, `scenario`, `status`, `reason`; `in.NAME` for parameters; figures by their names;
        `check.NAME` (`ok`, `failed`, `not tested`) and `margin.NAME`.
    units : dict of str to str
    """
    rows = list(rows)
    table: dict[str, list[Any]] = {key: [row[key] for row in rows] for key in
                                   ("case", "seed", "scenario", "status", "reason")}  # fmt: skip
    units: dict[str, str] = {}
    for s in plan.spreads:
        texts = [row["values"][s.name] for row in rows]
        if s.values or s.unit == "moment":
            table[f"in.{s.name}"] = texts
        else:
            table[f"in.{s.name}"] = [s.number(text) for text in texts]
            units[f"in.{s.name}"] = s.unit or "1"
    for name in dict.fromkeys(name for row in rows for name in row["figures"]):
        table[name] = [row["figures"].get(name) for row in rows]
        units[name] = next(row["units"][name] for row in rows if name in row["units"])
    for name in dict.fromkeys(name for row in rows for name in row["checks"]):
        table[f"check.{name}"] = [row["checks"].get(name, {}).get("outcome") for row in rows]
        table[f"margin.{name}"] = [row["checks"].get(name, {}).get("margin") for row in rows]
        units[f"margin.{name}"] = next((u for row in rows if (u := row["checks"].get(name, {}).get("unit"))), "1")
    return table, units


def write_table(folder: Path, plan: Plan, rows: Iterable[Row]) -> Path:
    """Write the table as Parquet, units in the metadata of each column; the same rows give the same bytes."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    table, units = columns(plan, rows)
    fields, arrays = [], []
    for name, values in table.items():
        number = name not in ("case", "seed") and all(v is None or isinstance(v, float | int) for v in values)
        kind = pa.float64() if number else pa.int64() if name in ("case", "seed") else pa.string()
        arrays.append(pa.array([float(v) if number and v is not None else v for v in values], kind))
        fields.append(pa.field(name, kind, metadata={"unit": units[name]} if name in units else None))
    schema = pa.schema(fields, metadata={"study": plan.title, "note": "simulated values; no measurement",
                                         "mark": plan.mark})  # fmt: skip
    path = folder / TABLE
    part = path.with_name(f".{TABLE}.part")
    pq.write_table(pa.Table.from_arrays(arrays, schema=schema), part, compression="zstd")
    os.replace(part, path)
    return path


def read_table(folder: Path) -> tuple[dict[str, np.ndarray], dict[str, str]]:
    """Columns of a finished study and their units.

    Raises
    ------
    StudyError
        If there is none.
    """
    import pyarrow.parquet as pq

    path = folder / TABLE if folder.is_dir() else folder
    if not path.is_file():
        raise StudyError(f"{folder} holds no {TABLE}: no study has been finished there")
    table = pq.read_table(path)
    units = {f.name: f.metadata[b"unit"].decode() for f in table.schema if f.metadata and b"unit" in f.metadata}
    return {name: table[name].to_numpy(zero_copy_only=False) for name in table.column_names}, units
