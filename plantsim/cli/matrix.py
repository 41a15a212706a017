"""`plantsim matrix`: the cause-and-effect matrix of a plant, found by failing everything once."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from plantsim.cli.tables import duration, table

if TYPE_CHECKING:
    from plantsim.analysis.matrix import Matrix, Row

CAUTION = (
    "Simulated, one failure at a time, from one moment: not a hazard study, and no evidence for safety functions "
    "(IEC 61511). Prove alarms and interlocks on the real plant, by qualified people."
)
_SHOWN = 3
"""Reactions and alarms shown in one row of the table; the page and --json have all."""


def add(commands: Any, shared: argparse.ArgumentParser) -> None:
    """Add the command to a parser."""
    p = commands.add_parser(
        "matrix", parents=[shared], help="fail everything once and see what the logic does",
        description="Fail every instrument, switch, actuator, drive, supply and bus of a plant in every way, one at a "
                    "time, each from the same moment of the same run, and list what logic and alarms did and after how "
                    "long. Shows what nothing caught.",
    )  # fmt: skip
    p.add_argument("file", metavar="FILE", help="configuration of the plant (YAML)")
    p.add_argument("--at", default="27h", metavar="TIME", help="time of the failures after the start (27h)")
    p.add_argument("--for", dest="lasts", default="3h", metavar="TIME",
                   help="time each is followed (3h): with a pause of the wash plant in it, drives stop and start")
    p.add_argument("--only", action="append", default=[], metavar="TAG", help="fail this alone; may be repeated")
    p.add_argument("--uncaught", action="store_true", help="list only what nothing caught")
    p.add_argument("--seed", type=int, default=1, metavar="N", help="seed of noise and weather (1)")
    p.add_argument("--workers", type=int, default=2, metavar="N", help="runs at one time (2)")
    p.add_argument("--set", action="append", default=[], metavar="KEY=VALUE", dest="overrides",
                   help="replace one value of the plant file; may be repeated")  # fmt: skip
    p.add_argument("--page", metavar="OUT.html", help="write the matrix as a page that holds everything")
    p.add_argument("--json", action="store_true", help="print one JSON object instead of a table")
    p.set_defaults(execute=execute)


def execute(args: argparse.Namespace) -> int:
    """Do it."""
    from plantsim.analysis.failures import failures_of
    from plantsim.analysis.matrix import sweep
    from plantsim.cli.run import COMPILE_WORDS, kernel_is_compiled
    from plantsim.errors import ConfigError
    from plantsim.plant.build import load_model
    from plantsim.plant.fields import nearest
    from plantsim.units import sentence

    at, lasts = _time("--at", args.at), _time("--for", args.lasts)
    if args.workers < 1:
        raise ConfigError(f"--workers: found {args.workers}; allowed: a whole number from 1")
    if args.page is not None and (not Path(args.page).parent.is_dir() or Path(args.page).is_dir()):
        raise ConfigError(f"--page: found '{args.page}'; allowed: a file in a folder that is there")
    model = load_model(args.file, args.overrides)
    known = {one.of for one in failures_of(model)}
    for word in args.only:
        if word not in known:
            what = "an instrument, switch, actuator, drive, supply or bus of the plant"
            raise ConfigError("--only: " + sentence(f"'{word}'", what, nearest(word, known)))
    if not kernel_is_compiled():
        print(COMPILE_WORDS, file=sys.stderr, flush=True)
    count = sum(one.of in args.only or not args.only for one in failures_of(model))
    tell = _Told(count) if sys.stderr.isatty() else None
    try:
        matrix = sweep(model, at, lasts, args.seed, args.only, args.workers, tell)
    finally:
        if tell is not None:
            tell.clear()
    if args.page is not None:
        from plantsim.report.matrix import render

        Path(args.page).write_text(render(matrix, str(args.file)), encoding="utf-8", newline="\n")
    print(as_json(matrix, str(args.file)) if args.json else words(matrix, str(args.file), args.uncaught, args.page))
    return 0


def _time(option: str, text: str) -> float:
    from plantsim.errors import UnitError
    from plantsim.units import to_si

    try:
        seconds = to_si(text, "time")
    except UnitError as error:
        raise UnitError(f"{option}: {error}") from None
    if not seconds > 0.0:
        raise UnitError(f"{option}: found '{text}'; allowed: a length of time above 0 s")
    return seconds


class _Told:
    """A line on the terminal that says how many failures are done."""

    def __init__(self, count: int) -> None:
        self.count, self.done, self.longest = count, 0, 0

    def __call__(self, row: Row) -> None:
        self.done += 1
        line = f"{self.done} of {self.count} failures: {row.failure.name}"
        self.longest = max(self.longest, len(line))
        sys.stderr.write("\r" + line.ljust(self.longest))
        sys.stderr.flush()

    def clear(self) -> None:
        """Wipe the line."""
        sys.stderr.write("\r" + " " * self.longest + "\r")


def words(matrix: Matrix, file: str, uncaught: bool, page: str | None) -> str:
    """The whole matrix as a table, and what nothing caught."""
    from plantsim.analysis.matrix import ACTED, ALARMED, FOLLOWED, GRADES, NO_TRACE, NOTHING

    shown = [row for row in matrix.rows if row.uncaught or not uncaught]
    rows = []
    for row in shown:
        mark = "UNCAUGHT" if row.uncaught and row.effects else ""
        after = "" if row.first is None else duration(row.first)
        rows.append([mark, row.failure.of, row.failure.mode, row.grade, after,
                     _some([f"{r.tag} {r.change}" + ("" if r.answers else " later") for r in _answers_first(row)]),
                     _some([name for name, _ in row.alarms]), "; ".join(row.effects)])  # fmt: skip
    head = ["", "fails", "how", "caught", "after", "outputs", "new alarms", "effects against the undisturbed run"]
    lines = [
        f"{matrix.model.title}: {len(matrix.rows)} failures, each at {duration(matrix.at)}, followed for "
        f"{duration(matrix.lasts)}, seed {matrix.seed}",
        "",
        table(rows, head, right=[4]) if rows else "nothing to list",
        "",
    ]  # fmt: skip
    for grade in (ACTED, ALARMED, FOLLOWED, NOTHING, NO_TRACE):
        if matrix.count(grade):
            lines.append(f"{matrix.count(grade):4} {grade}: {GRADES[grade]}")
    harm = [row.failure.name for row in matrix.rows if row.uncaught and row.effects]
    if harm:
        lines += ["", f"nothing caught, and the plant is the worse for it: {', '.join(harm)}"]
    if page is not None:
        lines.append(f"page: {page}")
    return "\n".join([*lines, CAUTION])


def _answers_first(row: Row) -> list[Any]:
    return sorted(row.reactions, key=lambda one: (not one.answers, one.role == "actuator", one.after))


def _some(texts: list[str]) -> str:
    more = len(texts) - _SHOWN
    return ", ".join(texts[:_SHOWN]) + (f" and {more} more" if more > 0 else "")


def as_json(matrix: Matrix, file: str) -> str:
    """The whole matrix as one JSON object."""
    import json

    whole = {
        "file": file, "plant": matrix.model.title, "at": matrix.at, "followed": matrix.lasts, "seed": matrix.seed,
        "outputs": [{"tag": tag, "role": role} for tag, role in matrix.outputs],
        "failures": [
            {
                "kind": row.failure.kind, "of": row.failure.of, "mode": row.failure.mode, "words": row.failure.words,
                "grade": row.grade, "uncaught": row.uncaught, "first": row.first,
                "reactions": [{"tag": r.tag, "role": r.role, "after": r.after, "change": r.change, "answers": r.answers}
                              for r in row.reactions],
                "alarms": [{"alarm": name, "after": after} for name, after in row.alarms],
                "effects": list(row.effects),
            }
            for row in matrix.rows
        ],
        "caution": CAUTION,
    }  # fmt: skip
    return json.dumps(whole, indent=1, allow_nan=False)
