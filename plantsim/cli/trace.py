"""`plantsim trace`: one scan of a control program, line by line, with its values."""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING, Any

from plantsim.cli.tables import table

if TYPE_CHECKING:
    from plantsim.plant.model import Model
    from plantsim.sim.trace import Point, ScanTrace
    from plantsim.sim.tracer import TraceLine

_WIDE = 76  # signs of a statement shown


def add(commands: Any, shared: argparse.ArgumentParser) -> None:
    """Add the command to a parser."""
    p = commands.add_parser(
        "trace", parents=[shared], help="show one scan of a control program line by line",
        description="Run a plant up to a time and show the next scan of one control program: each line executed with "
                    "the values it read and wrote, then inputs and outputs with their tags.",
    )  # fmt: skip
    p.add_argument("file", metavar="FILE", help="configuration of the plant (YAML)")
    p.add_argument("--at", required=True, metavar="TIME", help="time since the start, such as 3h12m or 90min")
    p.add_argument("--program", metavar="NAME", help="control program of the plant (its first)")
    p.add_argument("--inside", action="store_true", help="show the lines of functions and function blocks too")
    p.add_argument("--seed", type=int, default=1, metavar="N", help="seed of everything random (1)")
    p.add_argument("--set", action="append", default=[], metavar="KEY=VALUE", dest="overrides",
                   help="replace one value of the file; may be repeated")  # fmt: skip
    p.set_defaults(execute=execute)


def execute(args: argparse.Namespace) -> int:
    """Do it."""
    from plantsim.cli.run import COMPILE_WORDS, kernel_is_compiled
    from plantsim.errors import UnitError
    from plantsim.plant.build import load_model
    from plantsim.units import to_si

    try:
        at = to_si(args.at, "time")
    except UnitError as error:
        raise UnitError(f"--at: {error}") from None
    if at < 0.0:
        raise UnitError(f"--at: found '{args.at}'; allowed: a time from 0 s on")
    model = load_model(args.file, args.overrides)
    from plantsim.sim.simulation import Simulation
    from plantsim.sim.trace import program_named, trace_at

    name = program_named(model, args.program)
    if not kernel_is_compiled():
        print(COMPILE_WORDS, file=sys.stderr, flush=True)
    trace = trace_at(Simulation(model, args.seed), at, name, args.inside)
    print(head(trace, model, chosen=args.program is not None))
    print()
    print(table([_row(line, trace) for line in trace.lines], ["line", "statement", "read and written"]))
    if trace.left_out:
        print(f"(and {trace.left_out} more lines executed)")
    print()
    print(points("inputs and parameters", trace.inputs, both=False))
    print()
    print(points("outputs", trace.outputs, both=True))
    if trace.differing:
        print(f"the compiled machine leaves another value in {', '.join(trace.differing)}: a fault of the program")
    if trace.fault:
        print(f"the scan stops here: {trace.fault}")
    return int(bool(trace.fault or trace.differing))


def head(trace: ScanTrace, model: Model, chosen: bool) -> str:
    """Which program, which scan, what time."""
    import datetime as dt

    from plantsim.plant.program_variables import spelled

    when = model.start + dt.timedelta(seconds=trace.seconds)
    text = (f"program {trace.program} ({trace.filename}), scan {trace.scan}, every {spelled(trace.every)}, "
            f"at {spelled(trace.seconds)} ({when})")  # fmt: skip
    others = [name for name in model.programs if name != trace.program]
    return text if chosen or not others else f"{text}\nother programs (--program NAME): {', '.join(others)}"


def _row(line: TraceLine, trace: ScanTrace) -> list[str]:
    text = "  " * line.depth + line.text
    text = text if len(text) <= _WIDE else text[: _WIDE - 3] + "..."
    number = str(line.line) if line.filename == trace.filename else f"{line.filename}:{line.line}"
    values = ", ".join(f"{name}={value}" for name, value in line.read.items())
    result = ", ".join([line.outcome] * bool(line.outcome) + [f"{name}={value}" for name, value in line.wrote.items()])
    return [number, text, f"{values} -> {result}".strip() if result else values]


def points(title: str, shown: list[Point], both: bool) -> str:
    """A table of inputs or outputs; `both` shows the value before the scan too."""
    rows = [
        [p.name, *([p.before] if both else []), p.value, p.tag, p.tag_value, p.meaning] for p in shown
    ]  # fmt: skip
    columns = [title, *(["before"] if both else []), "after" if both else "value", "tag", "in the tag", "meaning"]
    return table(rows, columns)
