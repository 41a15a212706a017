"""`plantsim export`: the series of a run as a table that any spreadsheet opens."""

from __future__ import annotations

import argparse
import csv
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO

if TYPE_CHECKING:
    from plantsim.store.data import RunData


def add(commands: Any, shared: argparse.ArgumentParser) -> None:
    """Add the command to a parser."""
    p = commands.add_parser(
        "export", parents=[shared], help="write the series of a run as CSV",
        description="Write everything recorded in a run as CSV, units in the header: to a file, or to the terminal "
                    "or pipe when none is named.",
    )  # fmt: skip
    p.add_argument("run", metavar="RUN", help="name of the run, its beginning, its folder, or 'last'")
    p.add_argument("--csv", nargs="?", const="-", required=True, metavar="FILE", help="write CSV, to FILE if named")
    p.add_argument("--out", metavar="DIR", help="folder of all runs ($PLANTSIM_RUNS, or runs)")
    p.set_defaults(execute=execute)


def execute(args: argparse.Namespace) -> int:
    """Do it."""
    from plantsim.cli.listing import finished
    from plantsim.errors import StoreError
    from plantsim.store.files import write_whole
    from plantsim.store.folder import find_run, read_run

    data = read_run(find_run(args.run, args.out))
    finished(data)
    if args.csv == "-":
        write_csv(data, sys.stdout)
        return 0

    def write(path: Path) -> None:
        with path.open("w", newline="", encoding="utf-8") as file:
            write_csv(data, file)

    try:
        write_whole(Path(args.csv), write)
    except OSError as error:
        raise StoreError(f"cannot write {args.csv}: {error.strerror or error}") from None
    print(f"{len(data.time)} rows written to {args.csv}", file=sys.stderr)
    return 0


def write_csv(data: RunData, file: TextIO) -> None:
    """Write time, series and profiles, one row for each time."""
    import numpy as np

    head = ["time", "seconds"]
    columns = []
    for name, series in data.series.items():
        head.append(f"{name} [{series.unit}]")
        columns.append(series.values)
    for name, profile in data.profiles.items():
        for k, height in enumerate(profile.heights):
            head.append(f"{name} solids at {height:.3f} m [kg/m3]")
            columns.append(profile.values[:, k])
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow(head)
    block = np.column_stack(columns) if columns else np.zeros((len(data.time), 0))
    for at, row in zip(data.time.tolist(), block.tolist(), strict=True):
        writer.writerow([data.when(at).isoformat(" "), f"{at:.12g}", *(f"{v:.7g}" for v in row)])
