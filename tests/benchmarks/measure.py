"""What is measured: each function gives plain numbers, in nanoseconds unless its name says otherwise."""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from typing import Any

import numpy as np

from plantsim.kernels import loop
from plantsim.plant.build import load_model
from plantsim.sim.simulation import Simulation

from . import drivers
from .plants import SITE, Shift, control_program, rows_run, with_layers
from .twin_library import Twin

LAYERS = (10, 20, 40, 80, 160)
LOOPS = (3, 10, 30, 100)
COUNTED = {
    "motors": ("motor_p",), "instruments": ("instrument_p",), "control": ("program_p",), "actuators": ("actuator_p",),
    "weirs": ("vessel_p", "clarifier_p"), "sources": ("source_p", "supply_p"), "dosers": ("doser_p",),
    "lines": ("line_p",), "makedowns": ("makedown_p",), "presses": ("press_p",), "splitters": ("splitter_p",),
    "clarifiers": ("clarifier_p",), "vessels": ("vessel_p",), "cells": ("cell_p",), "alarms": ("alarm_p",),
}  # fmt: skip
"""Arrays that hold the units of each kind of `drivers.UNITS`."""
DAY = 86400.0


def side_by_side(runs: dict[str, Callable[[], object]], before: Callable[[], None], repeats: int, per: float) -> Any:
    """Time several runs in turn, A B A B; returns name -> list of ns per `per`.

    Time is that of this thread on the processor, so that other work on the machine counts only for what it takes
    from caches and clock.
    """
    times: dict[str, list[float]] = {name: [] for name in runs}
    for _ in range(repeats):
        for name, run in runs.items():
            before()
            start = time.thread_time_ns()
            run()
            times[name].append((time.thread_time_ns() - start) / per)
    return times


def summary(times: list[float]) -> dict[str, float]:
    """Median and best."""
    return {"median": statistics.median(times), "best": min(times)}


def step_cost(shift: Shift, twin: Twin | None, repeats: int) -> dict[str, dict[str, float]]:
    """Cost of a step in the washing shift, recording included: kernel and twin in turn in one process."""
    runs: dict[str, Callable[[], object]] = {"kernel": lambda: loop.advance(shift.plant, shift.ticks, *shift.record())}
    if twin is not None:
        runs["twin"] = lambda: twin.advance(shift.plant, shift.ticks, *shift.record())
    side_by_side(runs, shift.restore, 1, 1.0)  # once unmeasured
    times = side_by_side(runs, shift.restore, repeats, shift.ticks)
    shift.restore()
    return {name: summary(values) for name, values in times.items()}


def day_cost(twin: Twin | None) -> dict[str, float]:
    """Mean cost of a step over a whole day from the start, with its nights, breaks and events."""
    costs: dict[str, float] = {}
    compiled = loop.advance
    for name in ("kernel", "twin") if twin is not None else ("kernel",):
        sim = Simulation(load_model(SITE), seed=1)
        spent = 0

        def timed(plant: Any, ticks: int, *record: Any, _name: str = name) -> int:
            nonlocal spent
            start = time.thread_time_ns()
            run = compiled if _name == "kernel" or twin is None else twin.advance
            status = run(plant, ticks, *record)
            spent += time.thread_time_ns() - start
            return int(status)

        loop.advance = timed
        try:
            sim.run(DAY)
        finally:
            loop.advance = compiled
        costs[name] = spent / sim.tick
    return costs


def unit_costs(shift: Shift, twin: Twin | None, repeats: int) -> dict[str, dict[str, float]]:
    """Cost of all units of each kind in one step, each kind alone on a warm cache, less that of the driver."""
    rounds, steps = 100, 60
    found: dict[str, dict[str, float]] = {}
    empty: dict[str, float] = {}
    for which in (drivers.NOTHING, *range(len(drivers.UNITS))):
        runs: dict[str, Callable[[], object]] = {
            "kernel": lambda w=which: drivers.repeat_units(shift.plant, shift.saved, w, rounds, steps)  # type: ignore[misc]
        }
        if twin is not None:
            runs["twin"] = lambda w=which: twin.repeat_units(shift.plant, shift.saved, w, rounds, steps)  # type: ignore[misc]
        side_by_side(runs, shift.restore, 1, 1.0)
        times = side_by_side(runs, shift.restore, repeats, rounds * steps)
        best = {name: min(values) for name, values in times.items()}
        if which == drivers.NOTHING:
            empty = best
        else:
            found[drivers.UNITS[which]] = {name: max(best[name] - empty[name], 0.0) for name in best}
    shift.restore()
    return found


def unit_counts(shift: Shift) -> dict[str, int]:
    """How many units of each kind the plant has."""
    counts = shift.arena.counts
    return {name: sum(counts[array] for array in COUNTED[name]) for name in drivers.UNITS}


def layer_costs(twin: Twin | None, repeats: int) -> list[dict[str, float]]:
    """Cost of the clarifier alone against its number of layers."""
    rows = []
    for layers in LAYERS:
        shift = with_layers(layers)
        cost = unit_costs(shift, twin, repeats)["clarifiers"]
        rows.append({"layers": layers, "step_s": shift.step, **cost})
    return rows


def scan_costs(twin: Twin | None, repeats: int) -> list[dict[str, float]]:
    """Cost of one scan of a control program against the instructions it runs through."""
    from plantsim.st import compile_program

    rows = []
    for loops in LOOPS:
        program = compile_program(control_program(loops))
        memory = program.memory()
        start = memory.copy()
        bits = memory.view(np.int64)
        times = 20_000 // loops

        def restore(memory: np.ndarray = memory, start: np.ndarray = start) -> None:
            memory[:] = start

        runs: dict[str, Callable[[], object]] = {
            "kernel": lambda p=program, m=memory, b=bits, n=times: drivers.repeat_scan(p.code, m, b, n)  # type: ignore[misc]
        }
        if twin is not None:
            code = np.ascontiguousarray(program.code)
            runs["twin"] = lambda c=code, m=memory, b=bits, n=times: twin.repeat_scan(c, m, b, n)  # type: ignore[misc]
        side_by_side(runs, restore, 1, 1.0)
        took = side_by_side(runs, restore, repeats, times)
        ran = rows_run(program.code, memory)
        rows.append({"instructions": ran, **{name: min(values) for name, values in took.items()}})
    return rows


def instructions_a_step(shift: Shift) -> float:
    """Instructions the gravel pit's control programs run through in one step, on average."""
    shift.restore()
    total = 0.0
    p = shift.arena.program_p
    starts = [*sorted(int(pc) for pc in p["pc"]), len(shift.plant.code)]
    for i in range(len(p)):
        pc = int(p["pc"][i])
        length = starts[starts.index(pc) + 1] - pc
        rows = rows_run(shift.plant.code, shift.saved, pc, int(p["base"][i]), length, int(p["cycle_ms"][i]))
        total += rows * int(p["repeat"][i]) / int(p["every"][i])
    return total


def whole_run(cold: bool = False, until: str = "24h") -> dict[str, float]:
    """Wall time [s] and peak memory [MB] of `plantsim run`, all included, in a process of its own.

    `cold`: with an empty cache, as on the first run ever.
    """
    environment = dict(os.environ)
    with tempfile.TemporaryDirectory(prefix="plantsim-benchmark-") as folder:
        if cold:
            environment.pop("NUMBA_CACHE_DIR", None)
            environment["XDG_CACHE_HOME"] = folder
        command = [sys.executable, "-c", _RUN, "run", str(SITE), "--until", until, "--out", folder, "--json"]
        start = time.perf_counter()
        said = subprocess.run(
            command, env=environment, cwd=SITE.parents[1], check=False,
            stdout=subprocess.DEVNULL, stderr=subprocess.PIPE,
        )  # fmt: skip
        seconds = time.perf_counter() - start
        words = said.stderr.decode().strip()
        if said.returncode != 0:
            raise RuntimeError(f"plantsim run failed: {words}")
    return {"seconds": seconds, "peak_mb": float(words.rsplit("\n", 1)[-1])}


_RUN = """
import sys
from plantsim.cli.main import main
from tests.benchmarks.solo import peak_mb
status = main(sys.argv[1:])
print(f"\\n{peak_mb()}", file=sys.stderr)
sys.exit(status)
"""
