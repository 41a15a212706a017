"""`plantsim loops`: health of the control loops of a run."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from plantsim.cli.tables import number, table

if TYPE_CHECKING:
    from plantsim.analysis.loop_health import Health

CAUTION = ("Figures of a simulated record. On site the same figures only point at a loop: look at valve, meter and "
           "process before its gains are changed, with qualified people.")  # fmt: skip


def add(commands: Any, shared: argparse.ArgumentParser) -> None:
    """Add the command to a parser."""
    p = commands.add_parser(
        "loops", parents=[shared], help="judge the control loops of a run",
        description="Judge every control loop of a run by its record: errors, travel, swings, nearness to the best "
                    "control there can be, time at limits and by hand, and the signature of a sticking valve. Each "
                    "figure names its source; what the record cannot carry is refused. Loops stand in the plant file "
                    "under 'loops:'.",
    )  # fmt: skip
    p.add_argument("run", metavar="RUN", help="name of the run, its beginning, its folder, or 'last'")
    p.add_argument("--loop", action="append", default=[], metavar="TAG", dest="loops",
                   help="a loop; may be repeated; all when left out")  # fmt: skip
    p.add_argument("--dead-time", action="append", default=[], metavar="TAG=TIME",
                   help="dead time of a loop, for its Harris index (the transit of its line)")  # fmt: skip
    p.add_argument("--after", default="0 s", metavar="TIME", help="leave the record before this time out (0 s)")
    p.add_argument("--out", metavar="DIR", help="folder of all runs ($PLANTSIM_RUNS, or runs)")
    p.add_argument("--json", action="store_true", help="print one JSON object instead of tables")
    p.set_defaults(execute=execute)


def execute(args: argparse.Namespace) -> int:
    """Do it."""
    from plantsim.cli.listing import finished
    from plantsim.errors import UnitError
    from plantsim.store.folder import find_run, read_run
    from plantsim.units import to_si

    path = find_run(args.run, args.out)
    data = read_run(path)
    finished(data)
    try:
        after = to_si(args.after, "time")
    except UnitError as error:
        raise UnitError(f"--after: {error}") from None
    found = judge(path, data, args.loops, _dead_times(args.dead_time), after)
    if args.json:
        print(as_json(found, str(path)))
        return 0
    if not found:
        print(f"{data.run}: its plant file has no loops")
        return 0
    print(f"{data.run}: {data.title}")
    for one in found:
        print()
        print(in_words(one))
    print()
    print(CAUTION)
    return 0


def _dead_times(asked: list[str]) -> dict[str, float]:
    from plantsim.errors import UnitError
    from plantsim.units import sentence, to_si

    found = {}
    for text in asked:
        tag, equals, time = text.partition("=")
        if not equals:
            raise UnitError(sentence(f"--dead-time '{text}'", "TAG=TIME, such as AIC-201=35min"))
        try:
            found[tag.strip()] = to_si(time, "time")
        except UnitError as error:
            raise UnitError(f"--dead-time {tag}: {error}") from None
        if found[tag.strip()] < 0.0:
            raise UnitError(sentence(f"--dead-time '{text}'", "a time of 0 s or more"))
    return found


def judge(path: Path, data: Any, wanted: list[str], dead_times: dict[str, float], after: float) -> list[Health]:
    """Health of the wanted loops of a run, from its folder and its data."""
    from plantsim.analysis.bump_rig import loop_named
    from plantsim.analysis.loop_health import channels_of, health
    from plantsim.errors import StoreError
    from plantsim.plant.build import load_model
    from plantsim.plant.programs import connected
    from plantsim.plant.reader import examine
    from plantsim.plant.sections import PLANT

    file = path / "plant.yaml"
    model = load_model(file)
    for tag in (*wanted, *dead_times):
        loop_named(model, tag)
    if not len(data.time) or after >= data.time[-1]:
        raise StoreError(f"--after: found {after:g} s; allowed: less than the length of {data.run}, {data.seconds:g} s")
    tree = examine(file, PLANT)
    series = {name: one.values for name, one in data.series.items()}
    found = []
    for name, loop in model.loops.items():
        if wanted and name not in wanted:
            continue
        wiring = connected(tree.control[loop.tune.controller]) if loop.tune is not None else {}
        found.append(health(loop, channels_of(model, loop, wiring, series), data.time, series, dead_times.get(name),
                            after))  # fmt: skip
    return found


def in_words(one: Health) -> str:
    """A loop's figures as a table with its notes."""
    c = one.channels
    parts = [f"{c.measured} by {c.output}" if c.output else c.measured, f"{one.service / 3600.0:.4g} h in service"]
    if one.stretch < one.service:
        parts.append(f"{one.stretch / 3600.0:.4g} h of them without a break")
    rows = [[i.name, "" if i.value is None else number(i.value), i.unit, i.words, i.source] for i in one.indices]
    lines = [f"{one.loop}: {', '.join(parts)}"]
    if rows:
        lines += ["", table(rows, ["figure", "value", "unit", "says", "source"], right=[1])]
    return "\n".join([*lines, *(f"note: {text}" for text in one.notes)])


def as_json(found: list[Health], folder: str) -> str:
    """All loops as one JSON object; times in seconds."""
    import json
    import math
    from dataclasses import asdict

    loops = []
    for one in found:
        channels = asdict(one.channels)
        if isinstance(channels["setpoint"], float) and math.isnan(channels["setpoint"]):
            channels["setpoint"] = None
        loops.append({"loop": one.loop, "channels": channels, "in_service": one.service, "unbroken": one.stretch,
                      "figures": [asdict(i) for i in one.indices], "notes": one.notes})  # fmt: skip
    return json.dumps({"folder": folder, "loops": loops, "caution": CAUTION}, indent=1, allow_nan=False)
