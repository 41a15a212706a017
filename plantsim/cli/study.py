"""`plantsim study`: run a plant many times over ranges, distributions, seeds and scenarios, and read what came out."""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

from plantsim.cli.tables import duration, number, table

if TYPE_CHECKING:
    from plantsim.analysis.studies.plan import Plan

_MOST = 25  # figures shown


def add(commands: Any, shared: argparse.ArgumentParser) -> None:
    """Add the command to a parser."""
    p = commands.add_parser(
        "study", parents=[shared], help="run a plant many times over ranges and seeds, and read what came out",
        description="Run the plant of a study file many times, keep one row for each run in a table, and write a page "
                    "that reads it. Stopped by Ctrl-C or killed, it goes on with --resume.",
    )  # fmt: skip
    p.add_argument("file", metavar="FILE", help="the study (YAML)")
    p.add_argument("--workers", type=int, metavar="N", help="runs at a time (the cores of this machine)")
    p.add_argument("--resume", action="store_true", help="go on with a study that was stopped")
    p.add_argument("--engine", choices=("local", "dask"), default="local",
                   help="where runs are made: on this machine, or on a dask cluster (needs the extra 'cluster')")
    p.add_argument("--cluster", default="", metavar="ADDRESS",
                   help="scheduler of a running dask cluster, such as tcp://127.0.0.1:8786; left out: one is started")
    p.add_argument("--set", action="append", default=[], metavar="KEY=VALUE", dest="overrides",
                   help="replace one value of the study file, such as samples=20; may be repeated")
    p.add_argument("--out", metavar="DIR", help="folder of the study (study-NAME in the folder of all runs)")
    p.add_argument("--replay", metavar="CASE",
                   help="run one case of the finished study again and keep it as a run: its number, most:FIGURE, "
                        "least:FIGURE, worst:CHECK or failed")
    p.add_argument("--json", action="store_true", help="print one JSON object instead of tables")
    p.set_defaults(execute=execute)


def execute(args: argparse.Namespace) -> int:
    """Do it."""
    from plantsim.analysis.studies.plan import prove_keys, read_plan
    from plantsim.analysis.studies.sampling import StudyError
    from plantsim.store.folder import runs_folder

    if args.workers is not None and args.workers < 1:
        raise StudyError(f"--workers: found {args.workers}; allowed: 1 or more")
    if args.cluster and args.engine != "dask":
        raise StudyError("--cluster: found an address without --engine dask; allowed: both together")
    plan = read_plan(args.file, args.overrides)
    folder = Path(args.out) if args.out else runs_folder() / f"study-{Path(args.file).stem}"
    if args.replay is not None:
        return _replay(args, plan, folder)
    prove_keys(plan)
    from plantsim.cli.run import COMPILE_WORDS, kernel_is_compiled

    if not kernel_is_compiled():
        print(COMPILE_WORDS, file=sys.stderr, flush=True)
        _compile(plan)
    from plantsim.analysis.studies.engine import run_study
    from plantsim.analysis.studies.results import Journal, write_table

    journal = Journal(folder, plan, args.resume)
    progress = Progress(len(journal.rows)) if sys.stderr.isatty() else None
    try:
        rows = run_study(plan, journal, args.workers, args.engine, args.cluster, progress)
    except KeyboardInterrupt:
        raise KeyboardInterrupt(f"stopped by Ctrl-C with {len(journal.rows)} of {len(plan.cases())} runs done; "
                                "--resume goes on with them") from None  # fmt: skip
    finally:
        journal.close()
        if progress is not None:
            progress.clear()
    write_table(folder, plan, rows)
    return _tell(args, plan, folder)


def _compile(plan: Plan) -> None:
    """Compile the kernel before workers start, so that they do not all do it at once."""
    from plantsim.analysis.studies.case import build
    from plantsim.sim.simulation import Simulation

    Simulation(build(plan, plan.cases()[0]))


def _tell(args: argparse.Namespace, plan: Plan, folder: Path) -> int:
    from plantsim.analysis.studies.reading import chances, summaries
    from plantsim.analysis.studies.results import TABLE, read_table
    from plantsim.cli import words
    from plantsim.report.study import write_study

    columns, units = read_table(folder)
    pages = write_study(plan, columns, units, folder)
    failed = int((columns["status"] != "done").sum())
    found, checks = summaries(columns, units), chances(columns, units)
    if args.json:
        import json

        print(json.dumps({
            "folder": str(folder), "runs": len(columns["case"]), "failed": failed,
            "figures": [vars(s) for s in found], "checks": [vars(c) for c in checks], "caution": words.CAUTION,
        }, indent=1))  # fmt: skip
        return 0
    print(f"{plan.title}: {len(columns['case'])} runs of {duration(plan.until)}, {failed} failed")
    if failed:
        reasons: dict[str, int] = {}
        for reason in columns["reason"][columns["status"] != "done"]:
            reasons[reason] = reasons.get(reason, 0) + 1
        for reason, count in sorted(reasons.items(), key=lambda item: -item[1])[:5]:
            print(f"  {count} x {reason}")
    if checks:
        print()
        rows = [[c.name, f"{100 * c.share:.1f} %", f"{100 * c.low:.1f} to {100 * c.high:.1f} %",
                 f"{c.held} of {c.judged}", f"{number(c.worst_margin)} {c.unit if c.unit != '1' else ''}".strip(),
                 str(c.worst_case)]
                for c in checks]  # fmt: skip
        print(table(rows, ["check", "met", "95 % interval", "runs", "worst margin", "case"], right=[1, 3]))
    shown = found if plan.figures else [s for s in found if words.is_key(s.name)] or found
    if shown:
        print()
        rows = [[s.name, s.unit, number(s.mean), number(s.p5), number(s.p50), number(s.p95), number(s.most),
                 str(s.most_case)] for s in shown[:_MOST]]  # fmt: skip
        head = ["figure", "unit", "mean", "5 %", "median", "95 %", "most", "case"]
        print(table(rows, head, right=[2, 3, 4, 5, 6, 7]))
    missing = [name for name in plan.figures if name not in columns]
    if missing:
        print(f"\nno run has the figure {', '.join(missing)}: 'plantsim show RUN' lists the figures of a run")
    print(f"\ntable {folder / TABLE}, page {pages[0]}")
    here = f" --out {args.out}" if args.out else ""
    print(f"one of its runs again: plantsim study {args.file}{here} --replay CASE (or most:FIGURE, worst:CHECK)")
    print(words.CAUTION)
    return 0


def _replay(args: argparse.Namespace, plan: Plan, folder: Path) -> int:
    """Run one case again with the command that keeps runs."""
    from plantsim.analysis.studies.reading import pick_case
    from plantsim.analysis.studies.results import read_table
    from plantsim.cli import run

    columns, _ = read_table(folder)
    wanted = pick_case(columns, args.replay)
    case = next(case for case in plan.cases() if case.number == wanted)
    if not args.json:
        print(f"case {case.number} of {plan.title}, seed {case.seed}")
        for s, text in zip(plan.spreads, case.values):
            print(f"  {s.name} {text}  ({', '.join(s.paths)})")
        print()
    words = ["run", plan.plant, "--until", f"{plan.until:g} s", "--seed", str(case.seed)]
    if case.scenario:
        words += ["--scenario", case.scenario]
    for override in case.overrides:
        words += ["--set", override]
    if args.json:
        words.append("--json")
    from plantsim.cli.main import parser

    return run.execute(parser().parse_args(words))


class Progress:
    """A line on the terminal: rows done, failed, and the time left."""

    def __init__(self, before: int) -> None:
        self._before, self._start, self._longest = before, time.monotonic(), 0

    def __call__(self, done: int, whole: int, failed: int) -> None:
        line = f"{done} of {whole} runs, {failed} failed"
        fresh = done - self._before
        if fresh > 0 and done < whole:
            left = (time.monotonic() - self._start) / fresh * (whole - done)
            line += f", {duration(max(1.0, round(left)))} left"
        self._longest = max(self._longest, len(line))
        sys.stderr.write("\r" + line.ljust(self._longest))
        sys.stderr.flush()

    def clear(self) -> None:
        """Wipe the line."""
        if self._longest:
            sys.stderr.write("\r" + " " * self._longest + "\r")
