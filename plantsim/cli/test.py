"""`plantsim test`: run the tests of control programs."""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING, Any

from plantsim.cli.tables import table

if TYPE_CHECKING:
    from plantsim.analysis.program_tests import SheetResult

COMPILE_WORDS = "compiling the machine of control programs for this computer, once: some seconds"


def add(commands: Any, shared: argparse.ArgumentParser) -> None:
    """Add the command to a parser."""
    p = commands.add_parser(
        "test", parents=[shared], help="run the tests of control programs",
        description="Run a table of inputs over time and expected outputs on a control program, on the compiled "
                    "machine and on a plain interpreter, which have to agree. Exit code 1 when a test fails.",
    )  # fmt: skip
    p.add_argument("files", metavar="FILE", nargs="+",
                   help="file of program tests (YAML), a folder of them, or the name of a shipped program")  # fmt: skip
    p.add_argument("--json", action="store_true", help="print one JSON object instead of tables")
    p.set_defaults(execute=execute)


def execute(args: argparse.Namespace) -> int:
    """Do it."""
    from plantsim.analysis.program_tests import run_sheet, sheets_in
    from plantsim.cli.run import kernel_is_compiled
    from plantsim.errors import ConfigError, ProgramError
    from plantsim.plant.program_sheet import read_sheet

    sheets, findings = [], []
    for path in (path for file in args.files for path in sheets_in(file)):
        try:
            sheets.append(read_sheet(path))
        except (ConfigError, ProgramError) as error:
            findings += error.findings
    if findings:
        raise ConfigError(findings)
    if not kernel_is_compiled("bench.scan_alone"):
        print(COMPILE_WORDS, file=sys.stderr, flush=True)
    results = [run_sheet(sheet) for sheet in sheets]
    passed = all(result.passed for result in results)
    if args.json:
        print(as_json(results))
        return int(not passed)
    for result in results:
        for warning in result.warnings:
            print(warning, file=sys.stderr)
        print(words(result, whole=len(results) == 1))
    if len(results) > 1:
        failed = sum(not result.passed for result in results)
        print(f"{len(results)} files, {failed} with a failed test" if failed else f"{len(results)} files, all passed")
    return int(not passed)


def words(result: SheetResult, whole: bool) -> str:
    """Outcome of one file: all expectations when `whole`, else those that failed, and one line to sum up."""
    from plantsim.plant.program_variables import spelled

    rows = []
    problems = []
    for test in result.tests:
        rows += [
            ["ok" if check.passed else "FAILED", test.name, spelled(check.at), check.variable, check.expected,
             check.found]
            for check in test.checks
            if whole or not check.passed
        ]  # fmt: skip
        problems += [f"FAILED  {test.name}: {problem}" for problem in test.problems]
    tests = _count(len(result.tests), "test")
    missed = sum(not check.passed for test in result.tests for check in test.checks)
    outcome = f"{missed} of {_count(result.checks, 'expectation')} in {tests} not met"
    if result.passed:
        outcome = f"{tests}, {_count(result.checks, 'expectation')}, all passed"
    head = f"{result.path}: program {result.program}, every {spelled(result.every)}"
    agree = "" if problems else f"; machine and interpreter agree in {_count(result.scans, 'scan')}"
    parts = [table(rows, ["", "test", "time", "variable", "expected", "found"])] if rows else []
    return "\n".join([f"{head}: {outcome}{agree}", *parts, *problems])


def _count(number: int, word: str) -> str:
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


def as_json(results: list[SheetResult]) -> str:
    """Outcome of all files as one JSON object."""
    import json

    files = [
        {
            "file": str(result.path), "program": result.program, "every": result.every, "passed": result.passed,
            "tests": [
                {
                    "name": test.name, "passed": test.passed, "scans": test.scans, "problems": test.problems,
                    "checks": [
                        {"time": check.at, "variable": check.variable, "expected": check.expected,
                         "found": check.found, "passed": check.passed} for check in test.checks
                    ],
                } for test in result.tests
            ],
        } for result in results
    ]  # fmt: skip
    return json.dumps({"passed": all(result.passed for result in results), "files": files}, indent=1)
