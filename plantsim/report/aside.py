"""Draw the page of a run in a process beside: its drawing library loads while the plant is simulated.

Half of a short run's time goes into loading the drawing library and drawing. On a machine with a processor to spare
another process does the loading meanwhile, waits for the run, and writes the same page, byte for byte. Where there is
none, or anything at all goes wrong there, the page is written as ever.
"""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from plantsim.store.data import RunData


def worth_while() -> bool:
    """Whether a second processor is there, and the compiler's library not loaded yet: a process just begun."""
    spare = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else (os.cpu_count() or 1)
    return spare > 1 and "numba" not in sys.modules and bool(sys.executable)


class Aside:
    """The process beside; `leave` it, or use it in a `with`.

    Parameters
    ----------
    begin : bool
        Start it; False gives one that has the page written here.
    """

    def __init__(self, begin: bool = True) -> None:
        self._process: subprocess.Popen[bytes] | None = None
        if begin:
            try:
                self._process = subprocess.Popen(
                    [sys.executable, "-m", "plantsim.report.aside"],
                    stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
                )  # fmt: skip
            except OSError:
                self._process = None

    def __enter__(self) -> Aside:
        return self

    def __exit__(self, *_: object) -> None:
        self.leave()

    def hand_over(self, run: RunData, folder: Path) -> None:
        """Hand the run over; drawing begins."""
        if self._process is None or self._process.stdin is None:
            return
        try:
            pickle.dump((run, Path(folder).resolve()), self._process.stdin, pickle.HIGHEST_PROTOCOL)
            self._process.stdin.close()
        except OSError:
            self.leave()

    def finish(self, run: RunData, folder: Path) -> None:
        """Return when the page is written: there, or else here."""
        if self._process is not None:
            done = self._process.wait() == 0
            self._process = None
            if done:
                return
        from plantsim.report import write_page

        write_page(run, folder)

    def leave(self) -> None:
        """Let the process go, whatever it does."""
        if self._process is None:
            return
        process, self._process = self._process, None
        process.kill()
        if process.stdin is not None and not process.stdin.closed:
            with suppress(OSError):
                process.stdin.close()
        process.wait()


def main() -> int:
    """Load what drawing needs, wait for a run, write its page; 1 when no run comes."""
    from plantsim.report.page import write_page

    try:
        run, folder = pickle.load(sys.stdin.buffer)
    except EOFError:
        return 1
    write_page(run, folder)
    return 0


if __name__ == "__main__":
    sys.exit(main())
