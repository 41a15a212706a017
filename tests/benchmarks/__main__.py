"""`python -m tests.benchmarks`: time the kernel beside its C twin, a library integrator and plain Python, whole runs,
workers, and the share of every unit."""

from __future__ import annotations

import argparse
import json
import os
import platform
import sys
from pathlib import Path
from typing import Any

REPEATS = 9


def main(arguments: list[str] | None = None) -> int:
    """Measure and print; 0 when all went well."""
    p = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__)
    p.add_argument("--json", action="store_true", help="print one JSON object instead of the table")
    p.add_argument("--repeats", type=int, default=REPEATS, metavar="N", help=f"repeats of each measurement ({REPEATS})")
    p.add_argument("--brief", action="store_true", help="the step and the whole run only: no unit, layer or scan costs")
    p.add_argument("--year", action="store_true", help="also time `plantsim run` of a year: a minute or two")
    p.add_argument("--cold", action="store_true", help="also time a first run ever, in a process with an empty cache")
    args = p.parse_args(arguments)
    if args.repeats < 1:
        p.error("--repeats: at least 1")
    found = measure(args.repeats, args.brief, args.cold, args.year)
    if args.json:
        print(json.dumps(found))
    else:
        from .table import table

        print(table(found))
    return 0


def measure(repeats: int, brief: bool, cold: bool, year: bool = False) -> dict[str, Any]:
    """All measurements as one plain object."""
    from . import measure as m
    from .plants import Shift
    from .solo import WAYS, measured
    from .twin_library import NO_COMPILER, Twin, compiler
    from .workers import worker_costs

    say("building the plant; compiles the kernel where the cache is empty")
    shift = Shift()
    command = compiler()
    twin = Twin(command) if command else None
    say("timing steps")
    cost = m.step_cost(shift, twin, repeats)
    day = m.day_cost(twin)
    found: dict[str, Any] = {
        "machine": machine(command),
        "repeats": repeats,
        "ns_per_step": cost["kernel"]["median"],
        "ns_per_step_best": cost["kernel"]["best"],
        "twin_ns_per_step": None,
        "twin_ns_per_step_best": None,
        "ratio_to_c": None,
        "ratio_to_scipy": None,
        "day_ns_per_step": day["kernel"],
        "twin_day_ns_per_step": day.get("twin"),
        "no_twin": None if twin else NO_COMPILER,
    }
    if twin is not None:
        found["twin_ns_per_step"] = cost["twin"]["median"]
        found["twin_ns_per_step_best"] = cost["twin"]["best"]
        found["ratio_to_c"] = cost["kernel"]["median"] / cost["twin"]["median"]
    if not brief:
        say("timing every way of stepping in a process of its own")
        ways = [way for way in WAYS if way != "twin" or twin is not None]
        found["ways"] = {way: measured(way, shift.saved) for way in ways}
        found["ratio_to_scipy"] = found["ways"]["kernel"]["ns"] / found["ways"]["scipy"]["ns"]
        found["ratio_to_python"] = found["ways"]["kernel"]["ns"] / found["ways"]["python"]["ns"]
        say("timing workers")
        found["workers"] = worker_costs(shift, repeats)
    say("timing whole runs")
    m.whole_run()
    warm = m.whole_run()
    found["run_seconds"], found["run_peak_mb"] = warm["seconds"], warm["peak_mb"]
    if cold:
        say("timing a first run with an empty cache: less than a minute")
        first = m.whole_run(cold=True)
        found["first_run_seconds"] = first["seconds"]
        found["compile_seconds"] = first["seconds"] - warm["seconds"]
    if year:
        say("timing a year")
        long = m.whole_run(until="365d")
        found["year_seconds"], found["year_peak_mb"] = long["seconds"], long["peak_mb"]
    if not brief:
        say("timing units, layers and scans; compiles their drivers where the cache is empty")
        found["control_instructions_per_step"] = m.instructions_a_step(shift)
        found["units"] = m.unit_costs(shift, twin, repeats)
        found["counts"] = m.unit_counts(shift)
        found["layers"] = m.layer_costs(twin, repeats)
        found["scans"] = m.scan_costs(twin, repeats)
    return found


def machine(command: list[str] | None) -> dict[str, Any]:
    """What the figures were measured on."""
    import llvmlite
    import numba
    import numpy as np

    from .twin_library import FLAGS, version

    model = platform.processor() or platform.machine()
    cpus = Path("/proc/cpuinfo")
    if cpus.exists():
        names = [line for line in cpus.read_text().splitlines() if line.startswith("model name")]
        model = names[0].split(":", 1)[1].strip() if names else model
    return {
        "processor": model, "cores": os.cpu_count(), "load": os.getloadavg()[0], "system": platform.platform(),
        "python": platform.python_version(), "numpy": np.__version__, "numba": numba.__version__,
        "llvmlite": llvmlite.__version__, "compiler": version(command) if command else None,
        "compiler_flags": " ".join(FLAGS) if command else None,
    }  # fmt: skip


def say(words: str) -> None:
    """Progress, for people only."""
    if sys.stderr.isatty():
        print(words, file=sys.stderr, flush=True)


if __name__ == "__main__":
    sys.exit(main())
