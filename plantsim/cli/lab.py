"""`plantsim lab`: laws fitted to laboratory tests, with intervals, and a water file for a plant."""

from __future__ import annotations

import argparse
from typing import Any

CAUTION = (
    "Fits to laboratory tests: no design. A test holds for its sample; prove doses, rates and strengths on the plant. "
    "Have settings reviewed by qualified people."
)  # fmt: skip


def add(commands: Any, shared: argparse.ArgumentParser) -> None:
    """Add the command to a parser."""
    p = commands.add_parser(
        "lab", parents=[shared], help="fit laboratory tests of the water, and write a water file for a plant",
        description="Fit settling cylinders, jar tests, dose series, heights at rest, yield stress and turbidity,\n"
                    "with 95 % intervals. What the data cannot carry is refused, with the test to add. A plant uses\n"
                    "the result by 'water: {file: OUT.yaml}'; 'plantsim size FILE clarifier --lab LAB' sizes by it.",
        epilog="The tests stand in YAML, or in CSV with units in the head of each column, such as\n"
               "  time [min],height [cm],solids [g/L]\n  0,48,2\n  1,28,\n  ...",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )  # fmt: skip
    p.add_argument("files", metavar="LAB", nargs="+", help="laboratory tests (YAML or CSV); several are joined")
    p.add_argument("--water", metavar="OUT.yaml", help="write a water file: every value with its interval and tests")
    p.add_argument("--page", metavar="OUT.html", help="write one page with every fit and its confidence band")
    p.add_argument("--json", action="store_true", help="print one JSON object instead of tables")
    p.set_defaults(execute=execute)


def execute(args: argparse.Namespace) -> int:
    """Do it."""
    from pathlib import Path

    from plantsim.analysis.sizing.result import NotSized

    for flag, path in (("--water", args.water), ("--page", args.page)):
        if path is not None and not Path(path).parent.is_dir():
            raise NotSized(f"{flag}: found '{path}'; allowed: a file in a folder that is there")
    from plantsim.analysis.lab.data import read_lab
    from plantsim.analysis.lab.fits import fit_all
    from plantsim.analysis.lab.sheets import fit_sheets

    fits = fit_all(read_lab(*args.files))
    sheets = fit_sheets(fits)
    left: list[tuple[str, str]] = []
    written: list[str] = []
    if args.water is not None:
        from plantsim.analysis.lab.water_file import make_water

        water = make_water(fits)
        if not water.keys():
            raise NotSized(
                "--water: found nothing in these tests that a water file can hold; allowed: tests that carry a fit. "
                + "; ".join(str(reason) for reason in fits.refused)
            )
        water.write(args.water)
        written, left = water.keys(), water.left_out
    if args.page is not None:
        from plantsim.report.design import render

        names = ", ".join(Path(f).name for f in args.files)
        text = render(fits.lab.sample or "Laboratory tests", names, sheets, "laboratory file", "laboratory")
        Path(args.page).write_text(text, encoding="utf-8", newline="\n")
    if args.json:
        import json

        shown = {"files": list(args.files), "caution": CAUTION, "sheets": [sheet.as_dict() for sheet in sheets],
                 "water": written, "left_out": [{"key": k, "why": why} for k, why in left]}  # fmt: skip
        print(json.dumps(shown, indent=1, allow_nan=False))
        return 0
    from plantsim.cli.size import words

    print(CAUTION)
    for sheet in sheets:
        if sheet.results or sheet.left_out:
            print()
            print(words(sheet))
    if args.water is not None:
        print(f"\nwater file: {args.water} ({', '.join(written)}); a plant uses it by 'water: {{file: {args.water}}}'")
        for key, why in left:
            print(f"  left to the plant's default: {key}: {why}")
    if args.page is not None:
        print(f"\npage: {args.page}")
    return 0
