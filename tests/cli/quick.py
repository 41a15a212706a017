"""The command line with the kernel taken out: time passes, rows are recorded, nothing flows.

Run as a script it is the command itself: `python quick.py run FILE ...`. With QUICK_SLEEP in the environment
every piece of simulated time takes so many seconds, so that a test can end the process in the middle of a run.
"""

from __future__ import annotations

import os
import sys
import time
from typing import Any

import numpy as np

from plantsim.cli import run
from plantsim.sim.simulation import Simulation


def advance(sim: Any, tick: int) -> None:
    """Stand in for the kernel: move the clock, record, show progress."""
    arena = sim.model.arena
    rows, cells, integer, every = sim.recorder.target()
    whole = arena.mem.view(np.int64)
    while sim.tick < tick:
        reached = min(tick, sim.tick + 600)
        for t in range(-(-sim.tick // every) * every, reached + 1, every):
            rows[t // every] = np.where(integer != 0, whole[cells], arena.mem[cells])
        arena.clock["tick"] = reached
        if sim.progress is not None:
            sim.progress(reached)
        time.sleep(float(os.environ.get("QUICK_SLEEP", "0")))


def without_kernel(put: Any) -> None:
    """Take the kernel out, with `put(object, name, value)` as `setattr` or pytest's `monkeypatch.setattr`."""
    put(Simulation, "_advance", advance)
    put(Simulation, "_initialise", lambda sim: None)
    put(run, "kernel_is_compiled", lambda: True)


if __name__ == "__main__":
    from plantsim.cli.main import main

    without_kernel(setattr)
    sys.exit(main())
