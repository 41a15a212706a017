"""The design page: sheets of the sizing bench with their plots and cautions, in one file that loads nothing."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from plantsim.report import cautions, style
from plantsim.report.page import embedded, template
from plantsim.units import from_si

if TYPE_CHECKING:
    from plantsim.analysis.sizing.result import Plot, Sheet

PAGE = "design.html"
_TOPICS = (("laboratory: coagulant", "dosing"), ("laboratory: yield", "mud"), ("laboratory", "dosing"),
           ("sump", "pumps"), ("pump", "pumps"), ("simulated", "water"), ("clarifier", "clarifier"),
           ("chemicals", "dosing"), ("mud", "mud"), ("cells", "mud"), ("water", "water"))  # fmt: skip
_HEIGHT, _TOP, _BOTTOM = 3.1, 0.5, 0.6


def render(
    site: str, file: str, sheets: Sequence[Sheet], kind: str = "plant file", topic: str = "sizing"
) -> str:  # fmt: skip
    """Fill the design page.

    Parameters
    ----------
    site, file : str
        Name of the site and of its plant file, [-]
    sheets : sequence of Sheet
        Sheets in their order, [-]
    kind, topic : str
        What the file is, and what the page is about, [-]

    Returns
    -------
    str
        HTML of the whole page, [-]
    """
    shown = [
        {
            "sheet": sheet, "topic": topic_of(sheet),
            "plots": [(plot.title, embedded(style.png(draw_plot(plot), plot.title))) for plot in sheet.plots],
        }
        for sheet in sheets
    ]  # fmt: skip
    return str(template(PAGE).render(site=site, file=file, sheets=shown, cautions=cautions, kind=kind, topic=topic))


def topic_of(sheet: Sheet) -> str:
    """Topic whose cautions belong beside a sheet."""
    title = sheet.title.casefold()
    return next((topic for word, topic in _TOPICS if title.startswith(word)), "water")


def draw_plot(plot: Plot) -> style.Figure:
    """Draw one plot of a sheet in the looks of the report."""
    with style.looks():
        figure = style.new_figure(_HEIGHT + _TOP + _BOTTOM)
        axes = style.axes_at(figure, _TOP, _HEIGHT)
        for k, line in enumerate(plot.lines):
            colour, dashes = style.LINES[k % len(style.LINES)]
            x = [_shown(v, plot.x_shown) for v in line.x]
            y = [_shown(v, plot.y_shown) for v in line.y]
            name = style.drawable(line.name)
            if line.marks:
                axes.plot(x, y, linestyle="none", marker="os^Dv"[k % 5], color=colour, markersize=5, label=name)
            else:
                axes.plot(x, y, color=colour, linestyle=dashes, linewidth=1.5, label=name)
        axes.set_title(style.drawable(plot.title))
        axes.set_xlabel(_axis(plot.x_name, plot.x_shown))
        axes.set_ylabel(_axis(plot.y_name, plot.y_shown))
        axes.set_ylim(bottom=min(0.0, axes.get_ylim()[0]), top=_ceiling(plot))
        axes.grid(True)
        for side in ("top", "right"):
            axes.spines[side].set_visible(False)
        axes.legend(loc="upper left", bbox_to_anchor=(1.01, 1.0))
    return figure


def _ceiling(plot: Plot) -> float | None:
    """Top of the axis: a curve that shoots up near one end must not press the rest flat."""
    values = sorted(_shown(v, plot.y_shown) for line in plot.lines for v in line.y)
    if not values or values[-1] <= 0.0:
        return None
    steady = values[min(len(values) - 1, round(0.93 * len(values)))]
    marks = max((_shown(v, plot.y_shown) for line in plot.lines if line.marks or len(line.y) < 3 for v in line.y),
                default=0.0)  # fmt: skip
    return 1.08 * (values[-1] if values[-1] < 3.0 * steady else max(steady, 1.2 * marks))


def _shown(value: float, unit: str) -> float:
    return from_si(value, unit) if unit else value


def _axis(name: str, unit: str) -> str:
    return style.drawable(f"{name}, {unit}" if unit else name)
