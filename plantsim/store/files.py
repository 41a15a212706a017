"""The files of a run folder: series as netCDF, journal as CSV, both written so that no half is ever seen."""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Callable
from pathlib import Path

import numpy as np

from plantsim.store.data import AlarmNote, Profile, RunData, Series


def write_whole(path: Path, write: Callable[[Path], None]) -> None:
    """Write a file under a temporary name, bring it to the disk, and only then give it its name.

    Parameters
    ----------
    path : Path
        Name of the finished file.
    write : callable
        Writes the file at the path it is given.
    """
    part = path.with_name(f".{path.name}.part")
    try:
        write(part)
        handle = os.open(part, os.O_RDWR)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
        os.replace(part, path)
    except BaseException:
        part.unlink(missing_ok=True)
        raise
    sync_folder(path.parent)


def sync_folder(folder: Path) -> None:
    """Bring the names in a folder to the disk, where the system can."""
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:  # a system that opens no folders
        return
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def write_text(path: Path, text: str) -> None:
    """Write a text file as a whole."""

    def write(part: Path) -> None:
        part.write_bytes(text.encode())

    write_whole(path, write)


def write_series(path: Path, data: RunData) -> None:
    """Write series and profiles as netCDF (classic format, 64-bit offset), the names and units as attributes."""
    write_whole(path, lambda part: _write_netcdf(part, data))


def _write_netcdf(path: Path, data: RunData) -> None:
    from scipy.io import netcdf_file  # slow to load

    with netcdf_file(path, "w", version=2) as file:
        file.title = data.title.encode()
        file.source = b"simulated values; no measurement"
        file.createDimension("time", len(data.time))
        time = file.createVariable("time", "f8", ("time",))
        time[:] = data.time
        time.units = f"seconds since {data.start:%Y-%m-%d %H:%M:%S}".encode()
        time.long_name = b"time"
        for name, series in data.series.items():
            variable = file.createVariable(name, "f4", ("time",))
            variable[:] = series.values
            variable.units = series.unit.encode()
            variable.long_name = series.meaning.encode() or name.encode()
        for name, profile in data.profiles.items():
            dimension = f"{name}.height"
            file.createDimension(dimension, len(profile.heights))
            heights = file.createVariable(dimension, "f8", (dimension,))
            heights[:] = profile.heights
            heights.units = b"m"
            heights.long_name = b"height of the middle of a layer above the cone bottom"
            variable = file.createVariable(f"{name}.profile", "f4", ("time", dimension))
            variable[:] = profile.values
            variable.units = b"kg/m3"
            variable.long_name = b"coarse and fines in a layer"


def read_series(path: Path) -> tuple[np.ndarray, dict[str, Series], dict[str, Profile]]:
    """Read time, series and profiles back."""
    series: dict[str, Series] = {}
    profiles: dict[str, Profile] = {}
    from scipy.io import netcdf_file

    with netcdf_file(path, "r", mmap=False) as file:
        time = np.array(file.variables["time"][:], np.float64)
        for name, variable in file.variables.items():
            values = np.array(variable[:], np.float64)
            if name == "time" or name in file.dimensions:
                continue
            if values.ndim == 2:
                heights = np.array(file.variables[variable.dimensions[1]][:], np.float64)
                profiles[name.removesuffix(".profile")] = Profile(heights, values)
            else:
                series[name] = Series(values, variable.units.decode(), variable.long_name.decode())
    return time, series, profiles


def journal_text(data: RunData) -> str:
    """The journal as CSV: seconds, calendar time, kind, words."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["seconds", "time", "kind", "words"])
    for seconds, kind, words in data.journal:
        writer.writerow([f"{seconds:.12g}", data.when(seconds).isoformat(" "), kind, words])
    return text.getvalue()


_ALARM_COLUMNS = ("seconds", "time", "alarm", "before", "after", "first", "value", "unit", "by", "tick", "number")


def alarms_text(data: RunData) -> str:
    """Every change of state of an alarm as CSV."""
    units = {alarm.name: alarm.unit or "1" for alarm in data.alarms}
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(_ALARM_COLUMNS)
    for n in data.alarm_log:
        writer.writerow([f"{n.seconds:.12g}", data.when(n.seconds).isoformat(" "), n.alarm, n.before, n.after,
                         int(n.first), repr(n.value), units[n.alarm], n.by, n.tick, n.number])  # fmt: skip
    return text.getvalue()


def read_alarms(path: Path) -> list[AlarmNote]:
    """Read the changes of alarms back."""
    with path.open(newline="", encoding="utf-8") as file:
        return [
            AlarmNote(int(row["number"]), int(row["tick"]), float(row["seconds"]), row["alarm"], row["before"],
                      row["after"], row["first"] == "1", float(row["value"]), row["by"])
            for row in csv.DictReader(file)
        ]  # fmt: skip


def read_journal(path: Path) -> list[tuple[float, str, str]]:
    """Read the journal back."""
    with path.open(newline="", encoding="utf-8") as file:
        return [(float(row["seconds"]), row["kind"], row["words"]) for row in csv.DictReader(file)]
