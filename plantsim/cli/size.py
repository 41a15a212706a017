"""`plantsim size`: size a plant by the formulas of the trade, with every number traced."""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from plantsim.analysis.sizing.result import Sheet

SUBJECTS = ("sump", "pumping", "clarifier", "chemicals", "cells", "water", "all")
CAUTION = (
    "Sizing by formula and simulation is no design: a licensed engineer, local codes and the makers decide. "
    "Demonstration sites are invented."
)
_WIDTH = 108


def add(commands: Any, shared: argparse.ArgumentParser) -> None:
    """Add the command to a parser."""
    p = commands.add_parser(
        "size", parents=[shared], help="size sump, pumps, clarifier, chemicals, cells or water, every number traced",
        description="Size parts of a plant from its file by formulas of the trade, and simulate beside them: the\n"
                    "cycling of the sump, random shifts, the clarifier. Every number has its formula, inputs, source.",
        epilog=_choices(), formatter_class=argparse.RawDescriptionHelpFormatter,
    )  # fmt: skip
    p.add_argument("file", metavar="FILE", help="configuration of the plant (YAML)")
    p.add_argument("subject", metavar="SUBJECT", choices=SUBJECTS, help="what to size: " + ", ".join(SUBJECTS))
    p.add_argument("--json", action="store_true", help="print one JSON object instead of tables")
    p.add_argument("--page", metavar="OUT.html", help="write one design page that holds everything")
    p.add_argument("--lab", metavar="LAB.yaml", help="laboratory tests of the water, for the clarifier")
    p.add_argument("--set", action="append", default=[], metavar="KEY=VALUE", dest="overrides",
                   help="replace one value of the file, or choose size.KEY of the bench; may be repeated; one of "
                        "them may be a range LOW..HIGH:COUNT for a table of what changes, such as "
                        "units.sump.shape.width=2m..6m:5")  # fmt: skip
    p.add_argument(
        "--year", action="store_true", help="run the sump over a year of random shifts, not a week (about two minutes)"
    )
    p.add_argument(
        "--prove",
        action="store_true",
        help="run the whole plant for a day at five corners of its design, to prove the clarifier",
    )
    p.add_argument("--seed", type=int, default=None, metavar="N", help="key of the random shifts (default: 1)")
    p.set_defaults(execute=execute)


def _choices() -> str:
    from plantsim.analysis.sizing.choices import KEYS, PREFIX

    width = max(len(key) for key in KEYS) + len(PREFIX)
    rows = [f"  {(PREFIX + key).ljust(width)}  {words}" + (f" ({default})" if default else "")
            for key, (_, default, words) in KEYS.items()]  # fmt: skip
    return "choices for --set:\n" + "\n".join(rows)


def execute(args: argparse.Namespace) -> int:
    """Do it: exit code 0 whatever the limits say; what fails is said in the tables."""
    from pathlib import Path

    from plantsim.analysis.sizing import ranges
    from plantsim.analysis.sizing.bench import Bench
    from plantsim.analysis.sizing.choices import split
    from plantsim.analysis.sizing.result import NotSized

    if args.page is not None and not Path(args.page).parent.is_dir():
        raise NotSized(f"--page: found '{args.page}'; allowed: a file in a folder that is there")
    given = list(args.overrides)
    if args.year:
        given.append("size.days=365 d")
    if args.prove:
        given.append("size.prove=24 h")
    if args.seed is not None:
        given.append(f"size.seed={args.seed}")
    spread, given = ranges.split(given)
    if spread is not None and not any(text.startswith("size.days") for text in given):
        given.append("size.days=0 d")  # quick: the long runs only when they are asked for

    def size(*more: str) -> tuple[str, list[Sheet]]:
        bench = Bench(args.file, *split([*given, *more]), args.lab)
        return bench.tree.site.name, bench.sheets(args.subject)

    if args.subject in ("sump", "all"):
        from plantsim.cli.run import COMPILE_WORDS, kernel_is_compiled

        if not kernel_is_compiled():
            print(COMPILE_WORDS, file=sys.stderr, flush=True)
    columns: list[ranges.Column] = []
    if spread is None:
        site, sheets = size()
    else:
        site = Bench(args.file, *split(given), args.lab).tree.site.name
        columns = ranges.sweep(spread, lambda text: size(text)[1])
        sheets = [ranges.table(spread, columns)]
    if args.page is not None:
        from plantsim.report.design import render

        Path(args.page).write_text(render(site, str(args.file), sheets), encoding="utf-8", newline="\n")
    if args.json:
        import json

        shown: dict[str, Any] = {"file": str(args.file), "site": site, "caution": CAUTION,
                 "sheets": [sheet.as_dict() for sheet in sheets]}  # fmt: skip
        if spread is not None:
            shown["range"] = {"key": spread.key, "unit": spread.unit, "values": [
                {"value": c.value, "number": n, "reason": c.reason, "sheets": [s.as_dict() for s in c.sheets]}
                for c, n in zip(columns, spread.numbers)
            ]}  # fmt: skip
        print(json.dumps(shown, indent=1, allow_nan=False))
        return 0
    print(CAUTION)
    for sheet in sheets:
        print()
        print(words(sheet))
    if args.page is not None:
        print(f"\npage: {args.page}")
    return 0


def words(sheet: Sheet) -> str:
    """One sheet as plain tables: values with what they mean, then where each comes from."""
    import textwrap

    from plantsim.cli.tables import table

    def wrapped(text: str, first: str, then: str) -> str:
        return "\n".join(textwrap.wrap(text, _WIDTH, initial_indent=first, subsequent_indent=then))

    lines = [f"== {sheet.title}"]
    if sheet.results:
        rows = []
        for number, r in enumerate(sheet.results, 1):
            mark = {True: "ok", False: "NOT KEPT", None: ""}[r.holds]
            rows.append([str(number), r.name, r.text(), mark, r.verdict])
        lines.append(table(rows, ["", "what", "value", "limit", "means"], right=[0]))
        lines.append("\nwhere the numbers come from:")
        lines += [wrapped(r.trace(), f"{number:>3}  ", "     ") for number, r in enumerate(sheet.results, 1)]
    if sheet.table:
        lines.append(table(sheet.table[1:], sheet.table[0], right=range(1, len(sheet.table[0]))))
    if sheet.left_out:
        lines.append("\nnot sized:")
        lines += [wrapped(reason, "  - ", "    ") for reason in sheet.left_out]
    told: dict[str, list[int]] = {}
    for number, r in enumerate(sheet.results, 1):
        for caution in r.cautions:
            told.setdefault(caution, []).append(number)
    if told or sheet.cautions:
        lines.append("\ncautions:")
        lines += [wrapped(caution, "  - ", "    ") for caution in sheet.cautions]
        lines += [wrapped(f"({', '.join(map(str, numbers))}) {caution}", "  - ", "    ")
                  for caution, numbers in told.items()]  # fmt: skip
    return "\n".join(lines)
