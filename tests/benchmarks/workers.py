"""Batches of runs in threads of one process: the kernel holds no lock of the interpreter, so they run at once."""

from __future__ import annotations

import os
import time
from concurrent.futures import ThreadPoolExecutor
from typing import Any

from plantsim.kernels.loop import advance

from .plants import Shift


def worker_costs(shift: Shift, repeats: int) -> list[dict[str, float]]:
    """Cost of a step by the clock on the wall, and steps a second, for one worker up to twice the processors.

    Every worker steps a plant of its own through the same washing shift; the best of some repeats counts, for other
    work on the machine takes processors away.
    """
    most = 2 * (os.cpu_count() or 1)
    plants = [Shift(saved=shift.saved) for _ in range(most)]
    rows = []
    count = 1
    while count <= most:
        best = float("inf")
        for _ in range(repeats):
            for plant in plants[:count]:
                plant.restore()
            with ThreadPoolExecutor(count) as pool:
                start = time.perf_counter_ns()
                states = list(pool.map(_shift, plants[:count]))
                best = min(best, time.perf_counter_ns() - start)
            assert not any(states)
        steps = count * shift.ticks
        rows.append({"workers": count, "ns": best / steps, "speedup": 0.0})
        count *= 2
    for row in rows:
        row["speedup"] = rows[0]["ns"] / row["ns"]
    return rows


def _shift(plant: Any) -> int:
    return int(advance(plant.plant, plant.ticks, *plant.record()))
