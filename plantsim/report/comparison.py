"""One page that lays two runs over each other: trends, figures, and what was configured differently."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from plantsim.report import cautions, style
from plantsim.report.page import embedded, template
from plantsim.report.panels import Line, Panel, choose_panels
from plantsim.report.trends import draw_panels

if TYPE_CHECKING:
    from plantsim.store.data import RunData

PAGE = "comparison.html"
MOST_PAIRS = 3
"""Quantities of one panel that are laid over each other; more could not be told apart."""


def write_comparison(
    first: RunData, second: RunData, figures: Sequence[Sequence[str]], keys: Sequence[Sequence[str]], path: Path
) -> Path:
    """Write the page that compares two runs.

    Parameters
    ----------
    first, second : RunData
        The runs, called A and B, [-]
    figures : sequence of rows of six texts
        Figure, unit, value of A, of B, difference, per cent, [-]
    keys : sequence of rows of three texts
        Configuration key, value in A, in B, [-]
    path : Path
        File to write, [-]

    Returns
    -------
    Path
        The file, [-]
    """
    panels = overlaid(first, second)
    picture = ""
    if panels:
        figure = draw_panels(first, panels, f"A {first.run}   B {second.run}")
        picture = embedded(style.png(figure, f"{first.run} and {second.run}"))
    path.write_text(
        template(PAGE).render(first=first, second=second, figures=figures, keys=keys, picture=picture,
                              cautions=cautions),
        encoding="utf-8", newline="\n",
    )  # fmt: skip
    return path


def overlaid(first: RunData, second: RunData) -> list[Panel]:
    """Panels that hold each quantity twice, of A and of B, on the time axis of A.

    Parameters
    ----------
    first, second : RunData
        The runs; B is shown from its own start, as far as A lasts, [-]

    Returns
    -------
    list of Panel
        Only panels and quantities both runs have, [-]
    """
    if not len(first.time) or not len(second.time):
        return []
    others = {(p.key, line.channel, line.right): (p, line) for p in choose_panels(second) for line in p.lines}
    panels = []
    for panel in choose_panels(first):
        pairs: list[Line] = []
        for line in [x for x in panel.lines if not x.reading][:MOST_PAIRS]:
            twin = others.get((panel.key, line.channel, line.right))
            if twin is None or twin[0].units[line.right] != panel.units[line.right]:
                continue
            values = np.interp(first.time, second.time, twin[1].values, right=np.nan)
            pairs.append(Line(f"A {line.label}", line.channel, line.values, line.right))
            pairs.append(Line(f"B {line.label}", line.channel, values, line.right))
        if pairs:
            panels.append(Panel(panel.key, panel.title, panel.wide, pairs, panel.limits, panel.units))
    return panels
