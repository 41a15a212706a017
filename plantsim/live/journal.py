"""What was done to a live plant, on disk before it is done: one JSON object a line.

Each line is written, flushed and brought to the disk before the act reaches the plant. A process that is killed, or a
machine that loses power, leaves at most a torn last line of an act that was never done; the reader leaves it out.
"""

from __future__ import annotations

import json
import os
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from plantsim.errors import StoreError

MOST_BYTES = 64_000_000
"""Size a journal may reach: some hundred thousand acts."""


@dataclass(frozen=True)
class Entry:
    """One act.

    Parameters
    ----------
    number : int
        Counted from the start of the session.
    tick : int
        Tick of the plant at which it takes effect.
    wall : str
        Time of the day, ISO 8601, UTC.
    role, who : str
        'trainer', 'operator' or 'lesson', and the name given.
    act : str
        What: 'set', 'upset', 'ack', 'back' ...
    data : dict
        Its particulars, as numbers and words.
    words : str
        What people read.
    hidden : bool
        The operator does not see it.
    attempt : int
        Attempt it belongs to, counted from 1.
    """

    number: int
    tick: int
    wall: str
    role: str
    who: str
    act: str
    data: dict[str, Any] = field(default_factory=dict)
    words: str = ""
    hidden: bool = False
    attempt: int = 1


class Journal:
    """The journal of one session.

    Parameters
    ----------
    path : Path
        Its file; what it holds already is read and kept.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.entries = read_journal(path)
        try:
            # a torn last line is cut off, so that the next act begins a line of its own
            whole = _whole_bytes(path)
            if whole is not None:
                os.truncate(path, whole)
        except OSError as error:
            raise StoreError(f"cannot write the journal {path}: {error.strerror or error}") from None

    def append(self, entry: Entry) -> None:
        """Write an act, and return only when it is on the disk."""
        line = json.dumps(asdict(entry), separators=(",", ":"), allow_nan=False) + "\n"
        try:
            with self.path.open("a", encoding="utf-8") as file:
                if file.tell() + len(line) > MOST_BYTES:
                    raise StoreError(f"the journal {self.path} is full; begin another session")
                file.write(line)
                file.flush()
                os.fsync(file.fileno())
        except OSError as error:
            raise StoreError(f"cannot write the journal {self.path}: {error.strerror or error}") from None
        self.entries.append(entry)


def _whole_bytes(path: Path) -> int | None:
    """Bytes up to the end of the last whole line; None when there is no file."""
    if not path.exists():
        return None
    return path.read_bytes().rfind(b"\n") + 1


def read_journal(path: Path) -> list[Entry]:
    """All whole lines of a journal; none when there is no such file.

    Raises
    ------
    StoreError
        If a line in the middle is no act: the file was changed by something else.
    """
    if not path.exists():
        return []
    lines = path.read_bytes().split(b"\n")
    entries: list[Entry] = []
    for number, line in enumerate(lines[:-1], 1):  # what stands behind the last line's end was never finished
        try:
            entry = Entry(**json.loads(line))
        except (ValueError, TypeError):
            raise StoreError(f"{path}, line {number}: no act of a journal") from None
        if entry.number != len(entries) + 1:
            raise StoreError(f"{path}, line {number}: act {entry.number} where {len(entries) + 1} comes next")
        entries.append(entry)
    return entries
