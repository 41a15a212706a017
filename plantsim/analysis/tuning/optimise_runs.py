"""Candidates of an optimiser run on the plant: in threads, each result kept in a file from which a search goes on.

The file is written whole after every candidate. A search that goes on asks again for what it had asked for (it is the
same to the bit) and finds it here, so nothing runs twice.
"""

from __future__ import annotations

import hashlib
import json
import os
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from plantsim.analysis.tuning.controller import Choice
from plantsim.analysis.tuning.models import TuningError
from plantsim.analysis.tuning.optimise import Figures, StandLike, added

FORMAT = 1
WHAT = "plantsim: state of a search for gains"


def fingerprint(text: str) -> str:
    """Short name of a text: two texts that differ have different ones."""
    return hashlib.sha256(text.encode()).hexdigest()[:16]


@dataclass
class State:
    """Results so far, by way, number and parameters, and what they belong to.

    Parameters
    ----------
    path : Path or None
        The file; None keeps nothing.
    head : dict
        What the search belongs to: plant, loop, seed, prices and so on, as plain data.
    """

    path: Path | None
    head: Mapping[str, Any]
    results: dict[str, Figures] = field(default_factory=dict)

    @staticmethod
    def key(way: str, number: int, choice: Choice) -> str:
        """Name of a candidate; its parameters stand in it to the last bit."""
        return json.dumps([way, number, choice.values])

    def load(self) -> None:
        """Read the file.

        Raises
        ------
        TuningError
            If it cannot be read, or belongs to another search; says in what.
        """
        assert self.path is not None
        try:
            whole = json.loads(self.path.read_text(encoding="utf-8"))
            head, results = whole["search"], whole["results"]
            good = whole["what"] == WHAT and whole["format"] == FORMAT
            found = {key: Figures(*(float("nan") if v is None else float(v) for v in row)) for key, row in results}
        except OSError as error:
            raise TuningError(f"--resume: found '{self.path}', which cannot be read ({error.strerror}); allowed: the "
                              "state file of a search") from None  # fmt: skip
        except (ValueError, KeyError, TypeError):
            good, head, found = False, {}, {}
        if not good:
            raise TuningError(f"--resume: found '{self.path}', which is no state of a search; allowed: a file that "
                              "'plantsim tune --optimise' wrote")  # fmt: skip
        now = json.loads(json.dumps(dict(self.head)))
        other = [name for name in sorted({*now, *head}) if now.get(name) != head.get(name)]
        if other:
            raise TuningError(f"--resume: found '{self.path}' of a search with another {' and '.join(other)}; allowed: "
                              "the same plant file, loop and options")  # fmt: skip
        self.results = found

    def save(self) -> None:
        """Write the file whole, or leave it as it was."""
        if self.path is None:
            return
        rows = [[key, [None if v != v else v for v in asdict(figures).values()]]
                for key, figures in sorted(self.results.items())]  # fmt: skip
        text = json.dumps({"what": WHAT, "format": FORMAT, "search": dict(self.head), "results": rows}, indent=0)
        place = self.path.with_name(self.path.name + ".new")
        try:
            place.write_text(text, encoding="utf-8")
            os.replace(place, self.path)
        except OSError as error:
            raise TuningError(f"found '{self.path}', which cannot be written ({error.strerror}); allowed: a file in a "
                              "folder that exists") from None  # fmt: skip


class Runs:
    """Runs candidates on all stands.

    Parameters
    ----------
    stands : sequence
        Settled plants, each with an upset; a stand works for one thread at a time.
    state : State
        Results so far.
    ms_of : callable
        Greatest Ms of a choice.
    threads : int
        Threads; the kernel lets others work beside it.
    progress : callable, optional
        Told after every candidate: how many have run here, and its figures.
    until : float
        Time of the clock `time.monotonic` after which no further candidate is begun [s]
    most : int or None
        Most candidates in all, those of the file included.
    """

    def __init__(
        self, stands: Sequence[StandLike], state: State, ms_of: Callable[[Choice], float], threads: int = 2,
        progress: Callable[[int, Figures], None] | None = None, until: float = float("inf"), most: int | None = None,
    ) -> None:  # fmt: skip
        self.stands, self.state, self.ms_of = list(stands), state, ms_of
        self.progress, self.until, self.most = progress, until, most
        self.ran = 0
        self._locks = [threading.Lock() for _ in self.stands]
        self._pool = ThreadPoolExecutor(threads, thread_name_prefix="trial")

    def __call__(self, jobs: Sequence[tuple[str, int, Choice]]) -> list[Figures | None]:
        """Figures of candidates in their order; None from the first on for which time or number did not suffice."""
        pending: list[tuple[str, Choice, list[Future[Any]]]] = []
        for way, number, choice in jobs:
            key = State.key(way, number, choice)
            if key in self.state.results:
                continue
            if self._spent(len(pending)):
                break
            pending.append((key, choice, [self._pool.submit(self._one, i, choice) for i in range(len(self.stands))]))
        try:
            for key, choice, futures in pending:
                if time.monotonic() >= self.until and not futures[0].running() and not futures[0].done():
                    break
                self.state.results[key] = added([f.result() for f in futures], self.ms_of(choice))
                self.ran += 1
                self.state.save()
                if self.progress is not None:
                    self.progress(self.ran, self.state.results[key])
        finally:
            for _, _, futures in pending:
                for one in futures:
                    one.cancel()
        return [self.state.results.get(State.key(*job)) for job in jobs]

    def _spent(self, waiting: int) -> bool:
        if self.most is not None and len(self.state.results) + waiting >= self.most:
            return True
        return time.monotonic() >= self.until

    def _one(self, number: int, choice: Choice) -> Any:
        with self._locks[number]:
            return self.stands[number].run(choice)

    def close(self) -> None:
        """Let the threads end."""
        self._pool.shutdown(wait=True, cancel_futures=True)
