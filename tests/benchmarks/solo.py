"""One way of stepping the plant in a process of its own: what a step costs, and how much memory the process takes.

`python -m tests.benchmarks.solo NAME MEMORY TICKS` with NAME one of `kernel`, `twin`, `scipy`, `python` (the last under
NUMBA_DISABLE_JIT=1) and MEMORY the file of a plant's memory in the washing shift. Prints one JSON object.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np

WAYS = ("kernel", "twin", "scipy", "python")
_TICKS = {"kernel": 7200, "twin": 7200, "scipy": 3600, "python": 40}


def measured(way: str, saved: np.ndarray) -> dict[str, Any]:
    """Run one way in a process of its own.

    Parameters
    ----------
    way : str
        One of `WAYS`.
    saved : ndarray
        Memory of the plant in the washing shift.

    Returns
    -------
    dict
        `ns` a step, `peak_mb` of the process, and what else the way says of itself.
    """
    environment = dict(os.environ)
    environment.pop("NUMBA_DISABLE_JIT", None)
    if way == "python":
        environment["NUMBA_DISABLE_JIT"] = "1"
    with tempfile.TemporaryDirectory(prefix="plantsim-benchmark-") as folder:
        memory = Path(folder) / "memory.npy"
        np.save(memory, saved)
        said = subprocess.run(
            [sys.executable, "-m", "tests.benchmarks.solo", way, str(memory), str(_TICKS[way])],
            env=environment, cwd=Path(__file__).parents[2], capture_output=True, text=True, check=False,
        )  # fmt: skip
    if said.returncode != 0:
        raise RuntimeError(f"the measurement of {way} failed: {said.stderr.strip()}")
    return dict(json.loads(said.stdout))


def peak_mb() -> float:
    """Most memory this program has had [MB]; that of what it was started from does not count, as it would in rusage."""
    status = Path("/proc/self/status")
    if status.exists():
        for line in status.read_text().splitlines():
            if line.startswith("VmHWM"):
                return float(line.split()[1]) / 1024.0
    import resource

    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def _run(way: str, memory: str, ticks: int) -> dict[str, Any]:
    from .plants import Shift

    shift = Shift(saved=np.load(memory))
    if way == "scipy":
        from .scipy_core import core_cost

        return core_cost(shift, ticks * shift.step)
    if way == "twin":
        from .twin_library import Twin, compiler

        command = compiler()
        assert command is not None
        advance: Any = Twin(command).advance
    else:
        from plantsim.kernels.loop import advance
    best = float("inf")
    for _ in range(3 if way == "python" else 9):
        shift.restore()
        start = time.thread_time_ns()
        status = advance(shift.plant, ticks, *shift.record())
        best = min(best, (time.thread_time_ns() - start) / ticks)
        assert status == 0
    return {"ns": best}


if __name__ == "__main__":
    found = _run(sys.argv[1], sys.argv[2], int(sys.argv[3]))
    print(json.dumps(found | {"peak_mb": peak_mb()}))
