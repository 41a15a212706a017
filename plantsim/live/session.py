"""One sitting at a live plant: what was done, on disk; the attempts; and the way on after an interruption.

The folder of a session lies among the runs:

==================  ================================================================================
file                what it holds
==================  ================================================================================
run.json            status `unfinished` until the session is ended
session.json        plant file, overrides, seed, lesson: what the session is of
journal.jsonl       every act, on the disk before it is done
save.point          the plant's memory, every few seconds; the tick and acts it belongs to in front
debriefs.json       where the debrief of each judged attempt is
==================  ================================================================================

A session that was killed is built anew from its plant file and seed, and all acts are done again at their ticks. The
save point is the check: its bytes must come out again. When they do not (another version of the plant or of plantsim),
the session goes on from the save point itself, and says so.
"""

from __future__ import annotations

import datetime as dt
import json
import os
import struct
from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from plantsim.errors import StoreError
from plantsim.live.journal import Entry, Journal, read_journal
from plantsim.live.plant import LivePlant
from plantsim.sim.alarms import AlarmNote
from plantsim.sim.simulation import SavePoint

HEAD, JOURNAL, POINT = "session.json", "journal.jsonl", "save.point"
MAGIC = b"plantsim save 1\n"
LESSON_ACTS = ("lesson-begins", "lesson")
MOST_ATTEMPTS = 8
"""Attempts kept for comparison; the oldest but the first is forgotten."""


@dataclass(frozen=True)
class Sitting:
    """What a session is of: enough to build its plant anew.

    Parameters
    ----------
    file : str
        Plant file.
    overrides : tuple of str
        `key=value` texts.
    seed : int
        Seed of everything random.
    lesson : str
        Name or file of the lesson; empty: none.
    """

    file: str
    overrides: tuple[str, ...] = ()
    seed: int = 1
    lesson: str = ""


@dataclass
class Attempt:
    """One way the plant went.

    Parameters
    ----------
    number : int
        Counted from 1.
    begins : int
        Tick at which it leaves the attempt before it.
    ends : int
        Last tick; of the attempt at work, the present one.
    entries : list of Entry
        All acts of its past, those it shares with earlier attempts too.
    rows : ndarray or None
        Its record; None for the attempt at work.
    alarms : list of AlarmNote
        Changes of alarms.
    """

    number: int
    begins: int
    ends: int
    entries: list[Entry]
    rows: np.ndarray | None = None
    alarms: list[AlarmNote] = field(default_factory=list)


@dataclass(frozen=True)
class Material:
    """Everything an attempt is judged by.

    Parameters
    ----------
    path : Path
        Folder of the session.
    sitting : Sitting
        What it is of.
    begins, ends : int
        Ticks between which it is judged.
    attempt : int
        Its number.
    entries : list of Entry
        All acts of its past.
    """

    path: Path
    sitting: Sitting
    begins: int
    ends: int
    attempt: int
    entries: list[Entry]


class Session:
    """A live plant with its journal and attempts.

    Parameters
    ----------
    path : Path
        Its folder, made beforehand.
    sitting : Sitting
        What it is of.
    build : callable
        Builds the plant of a sitting, warmed up to where the session begins.
    """

    def __init__(self, path: Path, sitting: Sitting, build: Callable[[Sitting], LivePlant]) -> None:
        self.path = path
        self.sitting = sitting
        self.plant = build(sitting)
        self.begins = self.plant.tick
        self.journal = Journal(path / JOURNAL)
        self.warnings: list[str] = []
        self.attempts = [Attempt(1, self.begins, self.begins, [])]
        _write_whole(path / HEAD, json.dumps({"format": 1, **asdict(sitting)}, indent=1).encode() + b"\n")

    @classmethod
    def resume(cls, path: Path, build: Callable[[Sitting], LivePlant]) -> Session:
        """A session again, as it stood when it was interrupted.

        Raises
        ------
        StoreError
            If the folder holds no session.
        """
        sitting = read_sitting(path)
        session = cls(path, sitting, build)
        session._do_again(read_journal(path / JOURNAL))
        return session

    @property
    def attempt(self) -> Attempt:
        """The attempt at work."""
        return self.attempts[-1]

    # ------------------------------------------------------------------ acts
    def do(self, role: str, who: str, act: str, data: dict[str, Any], words: str, hidden: bool = False) -> Entry:
        """Write an act in the journal, then do it."""
        now = dt.datetime.now(dt.UTC).isoformat(timespec="milliseconds")
        entry = Entry(
            len(self.journal.entries) + 1,
            self.plant.tick,
            now,
            role,
            who,
            act,
            data,
            words,
            hidden,
            self.attempt.number,
        )
        self.journal.append(entry)
        self._do(entry)
        return entry

    def _do(self, entry: Entry) -> None:
        if entry.act == "back":
            self._go_back(int(entry.data["tick"]))
            return
        self.attempt.entries.append(entry)
        self.plant.apply(entry)

    def _go_back(self, tick: int) -> None:
        """Close the attempt at work and begin another one at an earlier tick."""
        old = self.attempt
        old.ends = self.plant.tick
        old.rows = self.plant.sim.recorder.rows.copy()
        old.alarms = list(self.plant.sim.alarm_log)
        # what was done at that very tick is left to be done otherwise, but a lesson keeps its causes
        past = [e for e in old.entries if e.tick < tick or (e.tick == tick and e.act in LESSON_ACTS)]
        self.plant.go_back(tick, past)
        self.attempts.append(Attempt(old.number + 1, tick, tick, past))
        if len(self.attempts) > MOST_ATTEMPTS:
            del self.attempts[1]

    def material(self, number: int = 0) -> Material:
        """What an attempt is judged by; 0: the one at work.

        Raises
        ------
        KeyError
            If there is no such attempt, or no longer.
        """
        found = {a.number: a for a in self.attempts}[number or self.attempt.number]
        ends = self.plant.tick if found is self.attempt else found.ends
        return Material(self.path, self.sitting, self.begins, ends, found.number, list(found.entries))

    # ------------------------------------------------------------------ save points on disk
    def checkpoint(self) -> None:
        """Put a save point on the disk, whole or not at all."""
        point = self.plant.sim.save()
        head = struct.pack("<qqq", point.tick, point.seed, len(self.journal.entries))
        _write_whole(self.path / POINT, MAGIC + head + point.memory)

    def _do_again(self, entries: list[Entry]) -> None:
        kept = read_point(self.path / POINT)
        checked = kept is None
        for entry in entries:
            if kept is not None and not checked and kept[1] == entry.number - 1:
                checked = self._check(kept[0])
            self.plant.advance(entry.tick)
            self._do(entry)
        if kept is not None and not checked:
            self._check(kept[0])

    def _check(self, point: SavePoint) -> bool:
        """Compare with the save point; the plant is brought to it, by its bytes if need be."""
        if point.tick < self.plant.tick:
            return True  # the plant is further on already: a later act tells more
        self.plant.advance(point.tick)
        if self.plant.sim.save().memory != point.memory:
            try:
                self.plant.sim.restore(point)
                self.warnings.append(
                    "the plant did not come out again as it was saved (another version?): going on from the save point"
                )
            except ValueError:
                raise StoreError(f"{self.path / POINT} is of another plant than {self.sitting.file}") from None
        return True


def read_sitting(path: Path) -> Sitting:
    """What a session folder is of.

    Raises
    ------
    StoreError
        If it is none.
    """
    try:
        head = json.loads((path / HEAD).read_text(encoding="utf-8"))
        return Sitting(str(head["file"]), tuple(map(str, head["overrides"])), int(head["seed"]), str(head["lesson"]))
    except FileNotFoundError:
        raise StoreError(f"{path} holds no training session") from None
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise StoreError(f"cannot read {path / HEAD}: {error}") from None


def read_point(path: Path) -> tuple[SavePoint, int] | None:
    """A save point from the disk and the number of acts done before it; None when there is none that is whole."""
    try:
        raw = path.read_bytes()
    except OSError:
        return None
    size = struct.calcsize("<qqq")
    if not raw.startswith(MAGIC) or len(raw) < len(MAGIC) + size:
        return None
    tick, seed, entries = struct.unpack_from("<qqq", raw, len(MAGIC))
    return SavePoint(tick, seed, raw[len(MAGIC) + size :]), entries


def _write_whole(path: Path, raw: bytes) -> None:
    """Write a file under another name and rename it."""
    other = path.with_suffix(".new")
    try:
        with other.open("wb") as file:
            file.write(raw)
            file.flush()
            os.fsync(file.fileno())
        os.replace(other, path)
    except OSError as error:
        raise StoreError(f"cannot write {path}: {error.strerror or error}") from None
