"""`plantsim prove`: put a plant and its control logic to the test, sentence by sentence."""

from __future__ import annotations

import argparse
import math
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from plantsim.cli.tables import duration, number, table

if TYPE_CHECKING:
    from plantsim.analysis.checks import Verdict
    from plantsim.analysis.checks.proof import Outcome, Proof

CAUTION = (
    "Simulated. No evidence for safety functions (IEC 61511): those, and interlocks, are proved on the real plant by "
    "qualified people."
)
BESIDE = "-acceptance.yaml"


def add(commands: Any, shared: argparse.ArgumentParser) -> None:
    """Add the command to a parser."""
    p = commands.add_parser(
        "prove", parents=[shared], help="prove a plant's control logic by sentences in plain words",
        description="Run all cases of an acceptance file on the plant of a configuration file, side by side, and judge "
                    "their sentences. Exit code 1 when one fails or is never put to the test, so that it can stand "
                    "before a change of logic.",
    )  # fmt: skip
    p.add_argument("file", metavar="FILE", nargs="?", help="configuration of the plant (YAML)")
    p.add_argument("--checks", metavar="C.yaml", help=f"acceptance file (beside the plant: PLANT{BESIDE})")
    p.add_argument("--only", action="append", default=[], metavar="NAME",
                   help="one case, or one sentence in all cases; may be repeated")  # fmt: skip
    p.add_argument("--workers", type=int, default=2, metavar="N", help="runs at one time (2)")
    p.add_argument("--set", action="append", default=[], metavar="KEY=VALUE", dest="overrides",
                   help="replace one value of the plant file; may be repeated")  # fmt: skip
    p.add_argument("--page", metavar="OUT.html", help="write the sheet to be signed, which holds everything")
    p.add_argument("--json", action="store_true", help="print one JSON object instead of a table")
    p.add_argument("--grammar", action="store_true", help="print what a sentence may say, and stop")
    p.set_defaults(execute=execute)


def execute(args: argparse.Namespace) -> int:
    """Do it."""
    if args.grammar:
        from plantsim.analysis.checks import grammar

        assert grammar.__doc__ is not None
        print(grammar.__doc__.partition("\n")[2].strip())
        return 0
    from plantsim.analysis.checks import read_acceptance
    from plantsim.analysis.checks.proof import prove
    from plantsim.cli.run import COMPILE_WORDS, kernel_is_compiled

    file, checks = files(args.file, args.checks)
    page = _page(args.page)
    acceptance = read_acceptance(checks)
    if file is None:
        file = acceptance.plant
    if file is None:
        raise _usage("found no plant file; allowed: FILE, or 'plant:' in the acceptance file")
    if args.workers < 1:
        raise _usage(f"--workers: found {args.workers}; allowed: a whole number from 1")
    if not kernel_is_compiled():
        print(COMPILE_WORDS, file=sys.stderr, flush=True)
    tell = _Told(sum(len(case.seeds) for case in acceptance.cases)) if sys.stderr.isatty() else None
    try:
        proof = prove(file, acceptance, args.overrides, args.only, args.workers, tell)
    finally:
        if tell is not None:
            tell.clear()
    if page is not None:
        from plantsim.report.proof import render

        page.write_text(render(proof, str(file)), encoding="utf-8", newline="\n")
    print(as_json(proof, str(file)) if args.json else words(proof, str(file), args.page))
    return int(not proof.passed)


def files(file: str | None, checks: str | None) -> tuple[Path | None, Path]:
    """Plant file and acceptance file: each can be found from the other."""
    plant = None if file is None else Path(file)
    if checks is not None:
        return plant, Path(checks)
    if plant is None:
        raise _usage("found neither a plant file nor --checks; allowed: one of them, or both")
    beside = plant.with_name(plant.stem + BESIDE)
    if plant.is_file() and not beside.is_file():
        raise _usage(f"found no acceptance file {beside}; allowed: that file, or --checks C.yaml")
    return plant, beside


def _page(asked: str | None) -> Path | None:
    if asked is None:
        return None
    page = Path(asked)
    if not page.parent.is_dir() or page.is_dir():
        raise _usage(f"--page: found '{asked}'; allowed: a file in a folder that is there")
    return page


def _usage(words: str) -> Exception:
    from plantsim.errors import ConfigError

    return ConfigError(words)


class _Told:
    """A line on the terminal that says how many runs are over."""

    def __init__(self, runs: int) -> None:
        self.runs, self.done, self.longest = runs, 0, 0

    def __call__(self, outcome: Outcome) -> None:
        self.done += 1
        line = f"{self.done} of at most {self.runs} runs: {outcome.case}"
        self.longest = max(self.longest, len(line))
        sys.stderr.write("\r" + line.ljust(self.longest))
        sys.stderr.flush()

    def clear(self) -> None:
        """Wipe the line."""
        sys.stderr.write("\r" + " " * self.longest + "\r")


def margin_words(verdict: Verdict) -> str:
    """The margin with its sign and unit.

    >>> from plantsim.analysis.checks import Verdict
    >>> margin_words(Verdict("a", "b", "ok", 2.0, "s")), margin_words(Verdict("a", "b", "failed", -1.0, "1"))
    ('+2 s', '-1')
    """
    if math.isnan(verdict.margin):
        return ""
    unit = "" if verdict.unit in ("", "1") else f" {verdict.unit}"
    return f"{'+' if verdict.margin >= 0 else ''}{number(verdict.margin, 3)}{unit}"


def moment(seconds: float) -> str:
    """A time after the start as hours, minutes and seconds.

    >>> moment(3661.0), moment(float("nan")), moment(97262.5)
    ('1:01:01', '', '27:01:02')
    """
    if math.isnan(seconds):
        return ""
    whole = int(seconds)
    return f"{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}"


def words(proof: Proof, file: str, page: str | None) -> str:
    """The whole outcome as a table."""
    rows = []
    for one in proof.sentences:
        mark = {"ok": "ok", "failed": "FAILED", "not tested": "NOT TESTED"}[one.worst.outcome]
        if one.passed and mark != "ok":
            mark = "untested"
        case = one.case + (f" (seed {one.seed})" if one.seed != 1 else "")
        rows.append([mark, one.check.name, margin_words(one.worst), moment(one.worst.when), case, one.worst.words])
    passed = sum(one.passed for one in proof.sentences)
    runs = len(proof.outcomes)
    lines = [
        f"{proof.acceptance.title}: {file} with {proof.acceptance.path}",
        "",
        table(rows, ["", "sentence", "margin", "at", "worst in case", "seen"], right=[2, 3]),
        "",
    ]
    for run in proof.outcomes:
        if run.fault:
            lines.append(f"FAILED  {run.case}, seed {run.seed}: {run.fault}")
    broken = [one for one in proof.sentences if not one.passed]
    for one in broken:
        lines.append(f"{one.check.name}: {one.check.sentence.text}")
    verdict = "PROVED" if proof.passed else "NOT PROVED"
    lines.append(f"{verdict}: {passed} of {len(proof.sentences)} sentences kept in {runs} runs, "
                 f"{duration(proof.simulated)} of plant time")  # fmt: skip
    if page is not None:
        lines.append(f"sheet: {page}")
    return "\n".join([*lines, CAUTION])


def as_json(proof: Proof, file: str) -> str:
    """The whole outcome as one JSON object."""
    import json

    def verdict(one: Verdict) -> dict[str, Any]:
        return {
            "outcome": one.outcome, "margin": None if math.isnan(one.margin) else one.margin, "unit": one.unit,
            "when": None if math.isnan(one.when) else one.when, "words": one.words,
        }  # fmt: skip

    whole = {
        "passed": proof.passed, "file": file, "checks": str(proof.acceptance.path), "title": proof.acceptance.title,
        "sentences": [
            {"name": one.check.name, "sentence": one.check.sentence.text, "passed": one.passed, "case": one.case,
             "seed": one.seed, "tested": one.tested, "runs": one.runs, **verdict(one.worst)}
            for one in proof.sentences
        ],
        "runs": [
            {"case": run.case, "seed": run.seed, "seconds": run.seconds, "fault": run.fault,
             "verdicts": {v.name: verdict(v) for v in run.verdicts}}
            for run in proof.outcomes
        ],
        "caution": CAUTION,
    }  # fmt: skip
    return json.dumps(whole, indent=1, allow_nan=False)
