"""The debrief page of a training attempt: score, figures, goals, trends and the timeline, in one file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from plantsim.report import cautions, style
from plantsim.report.page import embedded, template

PAGE = "debrief.html"
_HEIGHT, _TOP, _BOTTOM = 1.55, 0.45, 0.45


def render(sheet: Mapping[str, Any], pictures: Sequence[Mapping[str, Any]]) -> str:
    """Fill the debrief page.

    Parameters
    ----------
    sheet : mapping
        Words of the page, as the training page gives them, [-]
    pictures : sequence of mapping
        Quantities to draw: `name`, `unit`, `meaning`, `band`, `hours` and `lines` by name, [-]

    Returns
    -------
    str
        HTML of the whole page, [-]
    """
    drawn = [(p["name"], p["meaning"], embedded(style.png(draw(p), str(p["name"])))) for p in pictures]
    return str(template(PAGE).render(sheet=sheet, pictures=drawn, cautions=cautions))


def draw(picture: Mapping[str, Any]) -> style.Figure:
    """Draw one quantity: the attempt beside no action and the best response, its band without alarm behind."""
    with style.looks():
        figure = style.new_figure(_HEIGHT + _TOP + _BOTTOM)
        axes = style.axes_at(figure, _TOP, _HEIGHT)
        hours = np.asarray(picture["hours"])
        for k, (name, values) in enumerate(picture["lines"].items()):
            colour, dashes = style.LINES[k]
            count = min(len(hours), len(values))
            axes.plot(hours[:count], np.asarray(values)[:count], color=colour, linestyle=dashes,
                      linewidth=1.8 if k == 0 else 1.2, label=name)  # fmt: skip
        low, high = picture["band"]
        bottom, top = axes.get_ylim()
        axes.axhspan(bottom if low is None else low, top if high is None else high, color=style.SHADE, zorder=0)
        axes.set_ylim(bottom, top)
        unit = "" if picture["unit"] in ("1", "-") else f" [{picture['unit']}]"
        axes.set_title(style.drawable(f"{picture['name']}{unit}: {picture['meaning']}"))
        axes.set_xlabel("hours since the start of the plant")
        axes.grid(True)
        axes.margins(x=0.0)
        for side in ("top", "right"):
            axes.spines[side].set_visible(False)
        axes.legend(loc="upper left", bbox_to_anchor=(1.01, 1.0))
    return figure
