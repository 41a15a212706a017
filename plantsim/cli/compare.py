"""`plantsim compare`: two runs side by side, and what was configured differently."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from plantsim.cli.tables import duration, number, table

if TYPE_CHECKING:
    from plantsim.store.data import RunData

_MOST = 100  # differing keys shown


def add(commands: Any, shared: argparse.ArgumentParser) -> None:
    """Add the command to a parser."""
    p = commands.add_parser(
        "compare", parents=[shared], help="show two runs side by side",
        description="Show the figures of two runs side by side with their differences, and the keys of the "
                    "configuration that differ.",
    )  # fmt: skip
    p.add_argument("runs", metavar="RUN", nargs=2, help="name of a run, its beginning, its folder, or 'last'")
    p.add_argument("--out", metavar="DIR", help="folder of all runs ($PLANTSIM_RUNS, or runs)")
    p.add_argument("--page", metavar="FILE", help="write a page that lays the two over each other")
    p.set_defaults(execute=execute)


def execute(args: argparse.Namespace) -> int:
    """Do it."""
    from plantsim.cli.listing import finished
    from plantsim.store.folder import find_run, read_run

    first, second = (read_run(find_run(text, args.out)) for text in args.runs)
    finished(first)
    finished(second)
    print(f"A  {first.run}: {duration(first.seconds)}, seed {first.seed}, {first.title}")
    print(f"B  {second.run}: {duration(second.seconds)}, seed {second.seed}, {second.title}")
    print()
    figures = figure_rows(first, second)
    print(table(figures, ["figure", "unit", "A", "B", "B - A", "%"], right=[2, 3, 4, 5]))
    print()
    keys = differing(first, second)
    if args.page:
        from plantsim.report.comparison import write_comparison

        print(f"page written: {write_comparison(first, second, figures, keys, Path(args.page))}")
    if not keys:
        print("the configurations are alike")
        return 0
    print(table(keys[:_MOST], ["configuration", "A", "B"]))
    if len(keys) > _MOST:
        print(f"(the first {_MOST} of {len(keys)} keys that differ)")
    return 0


def figure_rows(first: RunData, second: RunData) -> list[list[str]]:
    """Figure, unit, both values, difference and difference in per cent; a figure only one run has stays blank."""
    rows = []
    for name in dict.fromkeys([*first.figures, *second.figures]):
        a, b = first.figures.get(name), second.figures.get(name)
        unit = (a or b).unit if (a or b) else ""  # type: ignore[union-attr]
        change = per_cent = ""
        if a is not None and b is not None and a.unit == b.unit:
            change = number(b.value - a.value)
            per_cent = f"{100.0 * (b.value - a.value) / abs(a.value):+.1f}" if a.value else ""
        rows.append([name, unit, number(a.value) if a else "", number(b.value) if b else "", change, per_cent])
    return rows


def differing(first: RunData, second: RunData) -> list[list[str]]:
    """Keys of the configuration that differ, with both values; a key only one has stays blank on the other side."""
    a, b = flat(first.resolved), flat(second.resolved)
    return [[key, a.get(key, ""), b.get(key, "")] for key in dict.fromkeys([*a, *b]) if a.get(key) != b.get(key)]


def flat(text: str) -> dict[str, str]:
    """A configuration as dotted keys and texts; items of lists by their name or number."""
    from plantsim.plant.reader import compose

    found: dict[str, str] = {}
    if text.strip():
        _flatten(compose(text, "plant.yaml"), "", found)
    return found


def _flatten(node: Any, path: str, found: dict[str, str]) -> None:
    if node.id == "mapping":
        for key, value in node.value:
            _flatten(value, f"{path}.{key.value}" if path else key.value, found)
    elif node.id == "sequence":
        for i, item in enumerate(node.value):
            name = str(i)
            if item.id == "mapping":
                name = next((v.value for k, v in item.value if k.value == "name" and v.id == "scalar"), name)
            _flatten(item, f"{path}.{name}", found)
    else:
        found[path] = node.value
