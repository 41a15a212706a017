"""Run folders: begun, finished, listed, found and read.

A folder is begun before the run and says so: its `run.json` has status `unfinished`, with the process that
works on it. When the run is over every file is written under a temporary name, brought to the disk and
renamed, and `run.json` with status `finished` comes last. Whatever happens in between, a power cut included,
leaves a folder that says it is unfinished, never a half that reads as a whole.

======================  ================================================================================
file                    what it holds
======================  ================================================================================
run.json                status, seed, versions, figures, closure, balance, warnings
plant.yaml              the configuration as it was used
series.nc               everything recorded over time (netCDF), units as attributes
journal.csv             what happened when
alarms.csv              every change of state of an alarm, of a plant that has alarms
======================  ================================================================================
"""

from __future__ import annotations

import datetime as dt
import json
import math
import os
import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from plantsim.errors import StoreError

if TYPE_CHECKING:
    from plantsim.store.data import RunData

__all__ = ["RunFolder", "RunInfo", "find_run", "list_runs", "read_run", "runs_folder", "slug"]

FORMAT = 1
"""Number of the format of run folders; a reader refuses one it does not know."""
HEAD = "run.json"


def runs_folder(given: Path | str | None = None) -> Path:
    """The folder of all runs: the one given, else PLANTSIM_RUNS, else `runs` in the present folder."""
    return Path(given or os.environ.get("PLANTSIM_RUNS") or "runs")


def slug(text: str) -> str:
    """A text as part of a file name.

    >>> slug("Gravel pit, 2nd face (invented)")
    'gravel-pit-2nd-face-invented'
    """
    return re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-")[:40].strip("-") or "plant"


@dataclass(frozen=True)
class RunInfo:
    """What the list of runs says of one run."""

    name: str
    path: Path
    title: str
    status: str
    """'finished' or 'unfinished'."""
    created: str
    seconds: float
    seed: int
    reason: str
    """Why it is unfinished, as far as anybody can tell."""

    @property
    def finished(self) -> bool:
        """Whether the run is whole."""
        return self.status == "finished"


class RunFolder:
    """A run folder at work: made empty and unfinished, then finished at once.

    Parameters
    ----------
    site : str
        What the name begins with.
    out : Path or str, optional
        Folder of all runs, made if need be.
    head : dict, optional
        What is known before the run, kept in `run.json`: title, seed and the like.

    Raises
    ------
    StoreError
        If the folder cannot be made.
    """

    def __init__(self, site: str, out: Path | str | None = None, head: dict[str, Any] | None = None) -> None:
        parent = runs_folder(out)
        started = dt.datetime.now(dt.UTC).replace(microsecond=0)
        try:
            parent.mkdir(parents=True, exist_ok=True)
            self.path = self._make(parent, f"{slug(site)}-{started:%Y%m%d-%H%M%S}")
        except OSError as error:
            raise StoreError(f"cannot make a run folder in {parent}: {_why(error)}") from None
        self._head = {**(head or {}), "format": FORMAT, "run": self.name, "status": "unfinished",
                      "pid": os.getpid(), "started": started.isoformat()}  # fmt: skip
        self._kept = False
        self._write_head(self._head)

    @staticmethod
    def _make(parent: Path, stem: str) -> Path:
        number = 1
        while True:
            path = parent / f"{stem}-{number}"
            try:
                path.mkdir()
            except FileExistsError:
                number += 1
                continue
            return path

    @property
    def name(self) -> str:
        """Name of the run."""
        return self.path.name

    def _write_head(self, head: dict[str, Any]) -> None:
        from plantsim.store.files import write_text

        try:
            write_text(self.path / HEAD, json.dumps(head, indent=1, allow_nan=False) + "\n")
        except OSError as error:
            raise StoreError(f"cannot write {self.path / HEAD}: {_why(error)}") from None

    def abandon(self, reason: str) -> None:
        """Note why the run will not be finished."""
        self._write_head({**self._head, "reason": reason})

    def finish(self, data: RunData) -> None:
        """Write everything that `keep` has not written yet; the run is whole when this returns.

        Parameters
        ----------
        data : RunData
            The run.

        Raises
        ------
        StoreError
            If something cannot be written; the folder then stays unfinished.
        """
        if not self._kept:
            self.keep(data)
        self._write_head({**self._head, **_head_of(data), "run": self.name, "status": "finished"})

    def keep(self, data: RunData) -> None:
        """Write the files of the run but not yet that it is whole.

        Raises
        ------
        StoreError
            If something cannot be written; the folder then stays unfinished.
        """
        from plantsim.store.files import alarms_text, journal_text, sync_folder, write_series, write_text

        try:
            write_text(self.path / "plant.yaml", data.resolved)
            write_series(self.path / "series.nc", data)
            write_text(self.path / "journal.csv", journal_text(data))
            if data.alarms:
                write_text(self.path / "alarms.csv", alarms_text(data))
            sync_folder(self.path.parent)
        except OSError as error:
            raise StoreError(f"cannot write the run into {self.path}: {_why(error)}") from None
        self._kept = True


def _why(error: OSError) -> str:
    return error.strerror or str(error)


def _head_of(data: RunData) -> dict[str, Any]:
    return {
        "title": data.title, "source_file": data.source_file, "seed": data.seed,
        "start": data.start.isoformat(), "step": data.step, "seconds": data.seconds,
        "created": data.created.isoformat(), "versions": data.versions, "warnings": data.warnings,
        "figures": {
            name: {"value": figure.value, "unit": figure.unit, "meaning": figure.meaning}
            for name, figure in data.figures.items()
        },
        "closure": data.closure, "balance": data.balance,
        "limits": [vars(limit) for limit in data.limits], "running": data.running,
        "alarms": [vars(alarm) for alarm in data.alarms],
    }  # fmt: skip


def _load_head(folder: Path) -> dict[str, Any]:
    """The head of a run folder.

    Raises
    ------
    StoreError
        If there is none, or it is none of ours.
    """
    path = folder / HEAD
    try:
        head = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise StoreError(f"{folder} is no run folder: it holds no {HEAD}") from None
    except OSError as error:
        raise StoreError(f"cannot read {path}: {_why(error)}") from None
    except ValueError:
        raise StoreError(f"{path} is damaged: it is no JSON") from None
    if not isinstance(head, dict) or head.get("status") not in ("finished", "unfinished"):
        raise StoreError(f"{path} is damaged: it has no status")
    if head.get("format") != FORMAT:
        raise StoreError(f"{path} has format {head.get('format')}; this version reads format {FORMAT}")
    return head


def _info(folder: Path) -> RunInfo:
    try:
        head = _load_head(folder)
    except StoreError as error:
        if not re.fullmatch(r".+-\d{8}-\d{6}-\d+", folder.name):
            raise
        # killed between the making of the folder and its first file
        return RunInfo(folder.name, folder, "", "unfinished", "", 0.0, 0, str(error))
    return RunInfo(
        folder.name, folder, str(head.get("title", "")), head["status"],
        str(head.get("created") or head.get("started") or ""), float(head.get("seconds") or 0.0),
        int(head.get("seed") or 0), "" if head["status"] == "finished" else _reason(head),
    )  # fmt: skip


def _reason(head: dict[str, Any]) -> str:
    """Why a run is unfinished: what it noted itself, or whether its process is still there."""
    if head.get("reason"):
        return str(head["reason"])
    pid = int(head.get("pid") or 0)
    return f"process {pid} is at work on it" if pid > 0 and _alive(pid) else "killed before its end"


def _alive(pid: int) -> bool:
    """Whether a process of this number exists on this machine."""
    if os.name != "posix":  # no harmless way to ask
        return False
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True


def list_runs(folder: Path | str | None = None) -> list[RunInfo]:
    """All runs in a folder, the oldest first, unfinished ones included.

    Folders that are no run folders are passed over. A folder that does not exist holds no runs.
    """
    parent = runs_folder(folder)
    found = []
    try:
        children = sorted(parent.iterdir()) if parent.exists() else []
    except OSError as error:
        raise StoreError(f"cannot list {parent}: {_why(error)}") from None
    for child in children:
        if child.is_dir():
            try:
                found.append(_info(child))
            except StoreError:
                continue
    return sorted(found, key=_age)


def _age(info: RunInfo) -> tuple[str, int, str]:
    match = re.fullmatch(r".*-(\d{8}-\d{6})-(\d+)", info.name)
    return (match[1], int(match[2]), info.name) if match else ("", 0, info.name)


def find_run(text: str, folder: Path | str | None = None) -> Path:
    """Find a run by its name, the beginning of its name, its path, or `last` for the youngest finished one.

    Raises
    ------
    StoreError
        If there is none, or more than one.
    """
    parent = runs_folder(folder)
    runs = list_runs(parent)
    if text == "last":
        finished = [info for info in runs if info.finished]
        if not finished:
            raise StoreError(f"there is no finished run in {parent}; make one with 'plantsim run FILE'")
        return finished[-1].path
    exact = [info for info in runs if info.name == text]
    if exact:
        return exact[0].path
    path = Path(text)
    if os.sep in text or (path / HEAD).is_file():
        if not path.is_dir():
            raise StoreError(f"there is no folder {text}")
        return path
    matching = [info for info in runs if text and info.name.startswith(text)]
    if len(matching) == 1:
        return matching[0].path
    if not matching:
        raise StoreError(f"there is no run '{text}' in {parent}; 'plantsim runs' lists them")
    names = ", ".join(info.name for info in matching[:4]) + (" ..." if len(matching) > 4 else "")
    raise StoreError(f"'{text}' fits {len(matching)} runs: {names}; write more of the name")


def read_run(path: Path | str) -> RunData:
    """Read a run.

    Parameters
    ----------
    path : Path or str
        Its folder.

    Returns
    -------
    RunData
        As written, series and profiles in single precision. Of an unfinished run only what its head says, with
        `unfinished` set.

    Raises
    ------
    StoreError
        If it is no run folder, or a finished one of which something is missing or damaged.
    """
    import numpy as np

    from plantsim.plant.model import Alarm, Limit
    from plantsim.store.data import Figure, RunData
    from plantsim.store.files import read_alarms, read_journal, read_series

    folder = Path(path)
    head = _load_head(folder)
    unfinished = head["status"] != "finished"
    created = head.get("created") or head["started"]
    data = RunData(
        run=folder.name, title=head.get("title", ""), source_file=head.get("source_file", ""),
        seed=int(head.get("seed") or 0),
        start=dt.datetime.fromisoformat(head["start"]) if head.get("start") else dt.datetime.min,
        step=float(head.get("step") or math.nan), seconds=float(head.get("seconds") or 0.0),
        unfinished=unfinished, created=dt.datetime.fromisoformat(created), versions=head.get("versions", {}),
        time=np.zeros(0), reason=_reason(head) if unfinished else "",
    )  # fmt: skip
    if unfinished:
        return data
    try:
        data.time, data.series, data.profiles = read_series(folder / "series.nc")
        data.journal = read_journal(folder / "journal.csv")
        data.resolved = (folder / "plant.yaml").read_text(encoding="utf-8")
        data.figures = {name: Figure(**figure) for name, figure in head["figures"].items()}
        data.closure, data.balance = head["closure"], head["balance"]
        data.limits = [Limit(**limit) for limit in head["limits"]]
        data.running = [(a, b) for a, b in head["running"]]
        data.alarms = [Alarm(**alarm) for alarm in head.get("alarms", ())]
        data.alarm_log = read_alarms(folder / "alarms.csv") if data.alarms else []
        data.warnings = list(head["warnings"])
    except FileNotFoundError as error:
        raise StoreError(f"{folder} is damaged: {Path(error.filename).name} is missing") from None
    except (OSError, ValueError, KeyError, TypeError, AttributeError, IndexError) as error:
        raise StoreError(f"{folder} is damaged: {type(error).__name__} while reading it ({error})") from None
    return data
