"""The page of a cause-and-effect matrix: failures down, outputs across, what nothing caught in colour."""

from __future__ import annotations

from typing import TYPE_CHECKING

from plantsim.analysis.matrix import ACTED, ALARMED, FOLLOWED, GRADES, NO_TRACE, NOTHING
from plantsim.report import cautions
from plantsim.report.clock import length_words, moment_words
from plantsim.report.page import template

if TYPE_CHECKING:
    from plantsim.analysis.matrix import Matrix, Row

PAGE = "matrix.html"
NOT_A_STUDY = (
    "One failure at a time, from one moment of one simulated run: not a hazard study, and no evidence for a safety "
    "function (IEC 61511). Alarms, interlocks and trips are proved on the real plant, by qualified people."
)
_CSS = {ACTED: "acted", ALARMED: "alarmed", FOLLOWED: "followed", NOTHING: "nothing", NO_TRACE: "trace"}
_HEADINGS = {"power": "Power", "supply": "Water from outside", "instrument": "Instruments", "switch": "Switches",
             "actuator": "Actuators", "drive": "Drives"}  # fmt: skip


def render(matrix: Matrix, file: str) -> str:
    """Fill the page.

    Parameters
    ----------
    matrix : Matrix
        All failures of a plant, [-]
    file : str
        Its plant file, [-]

    Returns
    -------
    str
        HTML of the whole page; the same matrix gives the same bytes, [-]
    """
    moved = {one.tag for row in matrix.rows for one in row.reactions}
    order = {"permit": 0, "drive": 1, "flag": 2, "actuator": 3}
    columns = sorted((pair for pair in matrix.outputs if pair[0] in moved), key=lambda pair: order[pair[1]])
    groups = [
        (heading, [_cells(row, columns) for row in matrix.rows if row.failure.kind == kind])
        for kind, heading in _HEADINGS.items()
    ]
    import datetime as dt

    return str(template(PAGE).render(
        matrix=matrix, file=file, columns=columns, groups=[(h, rows) for h, rows in groups if rows],
        counts=[(matrix.count(grade), grade, GRADES[grade], _CSS[grade]) for grade in GRADES],
        modes=list(dict.fromkeys((row.failure.mode, row.failure.words) for row in matrix.rows)),
        harm=[row for row in matrix.rows if row.uncaught and row.effects],
        quiet=[row for row in matrix.rows if row.uncaught and not row.effects],
        spills=[row for row in matrix.rows if not row.uncaught and any("spills" in words for words in row.effects)],
        at=f"{moment_words(matrix.model.start + dt.timedelta(seconds=matrix.at))}, {length_words(matrix.at)} "
           "after the start",
        lasts=length_words(matrix.lasts), cautions=cautions, not_a_study=NOT_A_STUDY, length=length_words,
    ))  # fmt: skip


def _cells(row: Row, columns: list[tuple[str, str]]) -> dict[str, object]:
    """One row of the matrix: what each output did, in a few signs."""
    by_tag = {one.tag: one for one in row.reactions}
    cells = []
    for tag, _ in columns:
        one = by_tag.get(tag)
        if one is None:
            cells.append(("", "", ""))
        else:
            change = one.change if one.role != "actuator" else ("up" if _rises(one.change) else "down")
            cells.append((change, length_words(round(one.after)), "answer" if one.answers else "later"))
    return {
        "row": row, "cells": cells, "css": _CSS[row.grade],
        "alarms": ", ".join(f"{name} {length_words(round(after))}" for name, after in row.alarms),
    }  # fmt: skip


def _rises(change: str) -> bool:
    """Whether '40 % for 22 %' is more than in the undisturbed run."""
    now, _, was = change.partition(" for ")
    return float(now.removesuffix(" %")) > float(was.removesuffix(" %"))
