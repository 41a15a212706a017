"""`plantsim runs` and `plantsim show`: what has been run, and what one run gave."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from plantsim.cli.tables import duration, table

if TYPE_CHECKING:
    from plantsim.store.data import RunData


def add(commands: Any, shared: argparse.ArgumentParser) -> None:
    """Add the commands to a parser."""
    p = commands.add_parser("runs", parents=[shared], help="list the runs kept",
                            description="List the runs kept, the oldest first.")  # fmt: skip
    p.add_argument("--out", metavar="DIR", help="folder of all runs ($PLANTSIM_RUNS, or runs)")
    p.set_defaults(execute=runs)
    p = commands.add_parser("show", parents=[shared], help="show the figures of a run",
                            description="Show figures, balances, warnings and journal of a run.")  # fmt: skip
    p.add_argument("run", metavar="RUN", help="name of the run, its beginning, its folder, or 'last'")
    p.add_argument("--out", metavar="DIR", help="folder of all runs ($PLANTSIM_RUNS, or runs)")
    p.add_argument("--json", action="store_true", help="print one JSON object instead of tables")
    p.set_defaults(execute=show)


def runs(args: argparse.Namespace) -> int:
    """List the runs."""
    from plantsim.store.folder import list_runs, runs_folder

    found = list_runs(args.out)
    if not found:
        print(f"no runs in {runs_folder(args.out)}; 'plantsim run FILE' makes one")
        return 0
    rows = [
        [info.name, duration(info.seconds) if info.finished else "", str(info.seed), info.title,
         info.status + (f": {info.reason}" if info.reason else "")]
        for info in found
    ]  # fmt: skip
    print(table(rows, ["run", "length", "seed", "plant", "status"], right=[1, 2]))
    return 0


def show(args: argparse.Namespace) -> int:
    """Show one run."""
    from plantsim.cli import words
    from plantsim.store.folder import find_run, read_run

    path = find_run(args.run, args.out)
    data = read_run(path)
    finished(data)
    if args.json:
        print(words.as_json(data, folder=str(path)))
        return 0
    print(f"{data.run}: {data.title}")
    print(f"{duration(data.seconds)} from {data.start}, step {data.step:g} s, seed {data.seed}")
    print(f"built from {data.source_file}")
    print()
    print(words.figures_table(data))
    print()
    watched = words.watched_table(data)
    if watched:
        print(watched)
        print()
    print(words.closure_table(data))
    if data.journal:
        print()
        print(table([[str(data.when(at)), kind, text] for at, kind, text in data.journal[-20:]]))
        if len(data.journal) > 20:
            print(f"(the last 20 of {len(data.journal)} lines of journal.csv)")
    print()
    for warning in data.warnings:
        print(f"warning: {warning}")
    print(words.CAUTION)
    return 0


def finished(data: RunData) -> None:
    """Refuse a run that is not whole.

    Raises
    ------
    StoreError
        If it is unfinished.
    """
    from plantsim.errors import StoreError

    if data.unfinished:
        raise StoreError(f"{data.run} is unfinished ({data.reason}): it has no figures")
