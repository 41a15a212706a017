"""The sheet of a proof: what was asked, what was seen, and lines for those who sign; one file that loads nothing."""

from __future__ import annotations

import hashlib
import math
from pathlib import Path
from typing import TYPE_CHECKING

from plantsim.report import cautions
from plantsim.report.clock import day_words, length_words
from plantsim.report.page import template

if TYPE_CHECKING:
    from plantsim.analysis.checks import Case, Verdict
    from plantsim.analysis.checks.proof import Proof, Proved
    from plantsim.plant.tree import Tree

PAGE = "proof.html"
NOT_SAFETY = (
    "This sheet is no evidence for a safety function. Safety instrumented functions are specified, built, verified and "
    "validated after IEC 61511 (or the code that holds at the site), apart from the process control shown here."
)
ON_SITE = (
    "Every interlock and trip has to be proved on the real plant by qualified people: loop by loop, with the real "
    "instrument, wire, controller and drive, before the logic is trusted and again after every change."
)


def render(proof: Proof, file: str) -> str:
    """Fill the sheet.

    Parameters
    ----------
    proof : Proof
        The plant put to the test, [-]
    file : str
        Its plant file, [-]

    Returns
    -------
    str
        HTML of the whole page; the same proof gives the same bytes, [-]
    """
    by_case: list[dict[str, object]] = []
    for case in proof.acceptance.cases:
        runs = [run for run in proof.outcomes if run.case == case.name]
        if not runs:
            continue
        own = {check.name for check in case.checks}
        rows = [_row(proof, one) for one in proof.sentences if one.check.name in own]
        by_case.append({
            "case": case, "rows": rows, "length": length_words(case.until), "every": length_words(case.every),
            "seeds": ", ".join(str(run.seed) for run in runs), "faults": [run.fault for run in runs if run.fault],
            "acts": _happens(case), "excused": sorted(case.excused), "sets": case.overrides,
        })  # fmt: skip
    owned = {check.name for case in proof.acceptance.cases for check in case.checks}
    common = [one for one in proof.sentences if one.check.name not in owned]
    return str(template(PAGE).render(
        proof=proof, file=file, common=[_row(proof, one) for one in common], cases=by_case,
        passed=sum(one.passed for one in proof.sentences), total=len(proof.sentences),
        broken=[_row(proof, one) for one in proof.sentences if not one.passed],
        simulated=length_words(proof.simulated),
        start=f"{day_words(proof.model.start, True)} {proof.model.start:%H:%M}",
        prints={name: fingerprint(path) for name, path in (("plant file", Path(file)),
                                                           ("acceptance file", proof.acceptance.path))},
        resolved=hashlib.sha256(proof.model.resolved.encode()).hexdigest()[:16], versions=_versions(),
        cautions=cautions, not_safety=NOT_SAFETY, on_site=ON_SITE,
    ))  # fmt: skip


def fingerprint(path: Path) -> str:
    """First sixteen digits of the SHA-256 of a file: what was proved is this text and no other."""
    return hashlib.sha256(path.read_bytes()).hexdigest()[:16] if path.is_file() else ""


def _versions() -> str:
    import plantsim

    return f"plantsim {plantsim.__version__}"


def _row(proof: Proof, one: Proved) -> dict[str, str]:
    mark = "kept" if one.worst.outcome == "ok" else one.worst.outcome
    if one.passed and mark != "kept":
        mark = "may go untested"
    return {
        "mark": mark, "css": "kept" if one.passed else "broken", "name": one.check.name,
        "text": one.check.sentence.text, "why": one.check.why, "margin": margin(one.worst), "seen": one.worst.words,
        "when": _when(proof, one.worst.when), "case": one.case, "seed": str(one.seed),
        "tested": f"{one.tested} of {one.runs}",
    }  # fmt: skip


def margin(verdict: Verdict) -> str:
    """Margin with sign and unit; a dash where there is none."""
    if math.isnan(verdict.margin):
        return "-"
    unit = "" if verdict.unit in ("", "1") else f" {verdict.unit}"
    return f"{verdict.margin:+.3g}{unit}"


def _when(proof: Proof, seconds: float) -> str:
    if math.isnan(seconds):
        return "-"
    import datetime as dt

    moment = proof.model.start + dt.timedelta(seconds=seconds)
    return f"{day_words(moment)} {moment:%H:%M:%S}"


def _happens(case: Case) -> list[str]:
    """What is done in a case, one line for each act and upset."""
    lines = [f"scenario {case.scenario.name}"] if case.scenario is not None else []
    if case.tree is not None:
        lines += [_upset(block) for block in case.tree.upsets]
        lines += [_act(block) for block in case.tree.acts]
    return lines


def _time(block: Tree) -> str:
    from plantsim.plant.program_variables import spelled

    if block["at"] is not None:
        return f"at {spelled(block['at'])}"
    low, high = block["between"]
    return f"between {spelled(low)} and {spelled(high)}, by the seed"


def _upset(block: Tree) -> str:
    """One upset as a line."""
    words = f"{_time(block)}: {block.upset}"
    given = [f"{name} {value}" for name, value in block["with"].items()]
    given += [f"{part} is {name}" for part, name in block.parts.items()]
    if given:
        words += f" ({', '.join(given)})"
    return words + (", answered by the operator" if block.respond else ", nobody answers")


def _act(block: Tree) -> str:
    """One act as a line."""
    from plantsim.plant.program_variables import spelled

    words = f"{_time(block)}: {block['set']} set to {block.to}"
    if block.ramp > 0.0:
        words += f" over {spelled(block.ramp)}"
    if block["for"] is not None:
        words += f", for {spelled(block['for'])}"
    if block.by == "operator":
        words += ", by an operator"
    return words + (f" ({block.note})" if block.note else "")
