"""Draw the page of a run in a process beside: its drawing library loads while the plant is simulated.

Half of a short run's time goes into loading the drawing library and drawing. On a machine with a processor to spare
another process does the loading meanwhile, waits for the run, and writes the same page, byte for byte. Where there is
none, or anything at all goes wrong there, the page is written as ever.
"""

from __future__ import annotations

import gc
import os
import pickle
import subprocess
import sys
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from plantsim.report.page import Pictures
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
            # piece by piece: one pickle of it all would hold every piece's bytes until its end
            for piece in (replace(run, series={}, profiles={}), Path(folder).resolve(), len(run.series),
                          *run.series.items(), *run.profiles.items()):  # fmt: skip
                pickle.dump(piece, self._process.stdin, pickle.HIGHEST_PROTOCOL)
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


class Forked:
    """The pictures of the beds, drawn by a fork of this process while it draws the trends.

    Parameters
    ----------
    run : RunData
        The run, whose beds are drawn.
    """

    def __init__(self, run: RunData) -> None:
        self._run = run
        self._pid = 0
        self._pipe = -1
        if not hasattr(os, "fork") or not run.profiles:
            return
        self._pipe, mouth = os.pipe()
        try:
            self._pid = os.fork()
        except OSError:
            os.close(mouth)
            os.close(self._pipe)
            return
        if self._pid == 0:
            self._draw(mouth)
        os.close(mouth)

    def _draw(self, mouth: int) -> None:
        """What the fork does: it ends here whatever happens, and what it has not sent is drawn by the other."""
        code = 1
        try:
            from plantsim.report.page import bed_pictures

            with os.fdopen(mouth, "wb") as pipe:
                pickle.dump(bed_pictures(self._run), pipe)
            code = 0
        finally:
            os._exit(code)

    def __call__(self, run: RunData) -> Pictures:
        """The pictures: from the fork, or else drawn here."""
        from plantsim.report.page import bed_pictures

        if self._pid <= 0:
            return bed_pictures(run)
        with os.fdopen(self._pipe, "rb") as pipe:
            sent = pipe.read()
        pid, self._pid = self._pid, 0
        if os.waitpid(pid, 0)[1] != 0:
            return bed_pictures(run)
        pictures: Pictures = pickle.loads(sent)
        return pictures


def warm() -> None:
    """Draw a picture of nothing while there is time: it loads the font, the picture's format and the page's form."""
    from plantsim.report import page, style

    with style.looks():
        figure = style.new_figure(3.0)
        axes = style.axes_at(figure, 0.5, 2.0)
        axes.plot([0.0, 1.0], [1.0, 2.0], label="m\u00b3/h")
        axes.twinx().set_ylabel("0123456789")
        axes.legend(loc="upper left")
        axes.set_title("Abc")
    style.png(figure, "")
    page.template(page.PAGE)


def _received() -> tuple[RunData, Path]:
    """The run handed over, and its folder."""
    pieces = sys.stdin.buffer
    run, folder, count = (pickle.load(pieces) for _ in range(3))
    run.series.update(pickle.load(pieces) for _ in range(count))
    with suppress(EOFError):
        while True:
            run.profiles.update([pickle.load(pieces)])
    return run, folder


def main() -> int:
    """Load what drawing needs, wait for a run, write its page; 1 when no run comes."""
    gc.disable()  # one page, then the end: nothing is worth collecting
    from plantsim.report.page import write_page

    warm()
    try:
        run, folder = _received()
    except EOFError:
        return 1
    write_page(run, folder, Forked(run))
    return 0


if __name__ == "__main__":
    sys.exit(main())
