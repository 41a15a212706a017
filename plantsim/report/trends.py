"""The main picture of a run: panels of trends over one time axis."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.legend_handler import HandlerPatch
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.ticker import FuncFormatter, LogLocator, MaxNLocator, NullLocator

from plantsim.report import style
from plantsim.report.clock import Ticks, ticks
from plantsim.report.panels import Panel, choose_panels
from plantsim.report.thinning import thin
from plantsim.report.words import clipped, mark_words, number_words, unit_words, wrapped

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from plantsim.store.data import RunData

NOTE = "simulated values, not measurements"
"""Stands in every picture: pictures are passed on without their page."""

_TOP, _BOTTOM, _GAP = 0.84, 0.62, 0.36
_LEAST_HEIGHT, _ROW = 1.22, 0.15
_WORDS_WIDTH = 25
_POINTS = 700
"""Spans a line is drawn in: about the pixels of the axes."""
_TOWERS = 25.0
"""Greatest over median value from which a panel that may do so turns logarithmic."""
_FAR = 5.0
"""A limit farther off than this times what is drawn is named but does not stretch the axis."""


def draw_trends(run: RunData) -> Figure:
    """Draw the trends of a run.

    Parameters
    ----------
    run : RunData
        The run, [-]

    Returns
    -------
    Figure
        Panels below each other over a common time axis; with a sentence instead when nothing was recorded, [-]
    """
    return draw_panels(run, choose_panels(run) if len(run.time) else [], NOTE)


def draw_panels(run: RunData, panels: list[Panel], note: str) -> Figure:
    """Draw panels below each other over the time axis of a run.

    Parameters
    ----------
    run : RunData
        The run whose title, time and shifts are shown, [-]
    panels : list of Panel
        What is drawn; their values belong to the run's times, [-]
    note : str
        Words under the title, [-]

    Returns
    -------
    Figure
        The picture, [-]
    """
    with style.looks():
        legends = [_legend(panel) for panel in panels]
        heights = [
            max(_LEAST_HEIGHT, _ROW * sum(words.count("\n") + 1 for _, words in legend) + 0.1) for legend in legends
        ]
        total = _TOP + sum(heights) + _GAP * (len(heights) - 1) + _BOTTOM if panels else 1.6
        figure = style.new_figure(total)
        _head(figure, run, bool(panels), note)
        marks = ticks(run.start, run.seconds)
        top = _TOP
        for number, (panel, height, legend) in enumerate(zip(panels, heights, legends, strict=True), start=1):
            axes = style.axes_at(figure, top, height)
            _draw_panel(axes, panel, run, legend)
            mark_time(axes, marks, run.seconds, labelled=number == len(panels))
            shade(axes, run.running)
            top += height + _GAP
    return figure


def _head(figure: Figure, run: RunData, drawn: bool, note: str) -> None:
    height = figure.get_size_inches()[1]
    left = style.LEFT / style.WIDTH
    title = clipped(run.title, 54)
    figure.text(left, 1 - 0.13 / height, style.drawable(title), size=11.5, weight="bold", va="top")
    figure.text(left, 1 - 0.345 / height, style.drawable(note), size=8.6, va="top",
                color=style.SETPOINT)  # fmt: skip
    if not drawn:
        figure.text(left, 0.35, "Nothing was recorded that a trend could show.", size=9.5)
    elif run.running:
        figure.legend(
            [Patch(facecolor=style.SHADE, edgecolor=style.FAINT, linewidth=0.5)], ["wash plant running"],
            loc="upper left", bbox_to_anchor=(_legend_left(), 1 - 0.1 / height), borderaxespad=0.0,
            handlelength=2.1, handler_map={Patch: HandlerPatch()},
        )  # fmt: skip


def _legend_left() -> float:
    return (style.WIDTH - style.LEGEND) / style.WIDTH


def _legend(panel: Panel) -> list[tuple[Any, str]]:
    """Handles and wrapped words of a panel, in drawing order."""
    rows: list[tuple[Any, str]] = []
    for number, line in enumerate(panel.lines):
        colour, dash = style.LINES[number % len(style.LINES)]
        words = f"{line.label} (right)" if line.right else line.label
        handle = Line2D([], [], color=colour, linestyle=dash, linewidth=_width(line.reading))
        rows.append((handle, wrapped(words, _WORDS_WIDTH)))
    low, high = _extent(panel, False), _extent(panel, True)
    for number, limit in enumerate(panel.limits):
        unit = unit_words(panel.units[limit.right])
        words = f"{clipped(limit.words, 44)}, {number_words(limit.value)}\u00a0{unit}".rstrip()
        words += " (right)" if limit.right else ""
        reach = high if limit.right else low
        if not _near(limit.value, reach):
            words += " (off the scale)"
        rows.append((Line2D([], [], **_limit_look(limit.kind, number)), wrapped(words, _WORDS_WIDTH)))
    if panel.left_out:
        words = f"and {panel.left_out} more in the series"
        rows.append((Line2D([], [], linestyle="none"), wrapped(words, _WORDS_WIDTH)))
    return rows


def _limit_look(kind: str, number: int) -> dict[str, Any]:
    """Look of the n-th limit or set point of a panel: always dashed, each its own way."""
    if kind == "setpoint":
        return {"color": style.SETPOINT, "linestyle": style.SETPOINT_DASHES[number % 3], "linewidth": 0.9}
    return {"color": style.LIMIT, "linestyle": style.LIMIT_DASHES[number % 3], "linewidth": 1.0}


def _width(reading: bool) -> float:
    return 0.8 if reading else 1.25


def _extent(panel: Panel, right: bool) -> tuple[float, float]:
    """Least and greatest value on one side."""
    values = [line.values for line in panel.lines if line.right == right]
    if not values:
        return 0.0, 1.0
    return min(float(np.nanmin(v)) for v in values), max(float(np.nanmax(v)) for v in values)


def _near(value: float, extent: tuple[float, float]) -> bool:
    low, high = extent
    reach = _FAR * max(abs(low), abs(high), 1e-12)
    return -reach <= value <= reach or high == low == 0.0


def _draw_panel(axes: Any, panel: Panel, run: RunData, legend: list[tuple[Any, str]]) -> None:
    sides = [axes, axes.twinx() if panel.two_sided else None]
    title = panel.title
    for right, side in enumerate(sides):
        if side is None:
            continue
        scale = _scale(panel, bool(right))
        if scale:
            title += " (logarithmic)"
        _set_reach(side, panel, bool(right), scale)
        side.set_ylabel(unit_words(panel.units[right]) or "-", labelpad=3.0)
        side.yaxis.set_label_coords(1 + 0.64 / style.AXES_WIDTH if right else -0.57 / style.AXES_WIDTH, 0.5)
        if right:
            side.yaxis.label.set_verticalalignment("center")
        side.spines["top"].set_visible(False)
    axes.spines["right"].set_visible(panel.two_sided)
    axes.set_title(title, y=1.0)
    axes.grid(True, axis="y")
    axes.set_axisbelow(True)
    for number, line in enumerate(panel.lines):
        colour, dash = style.LINES[number % len(style.LINES)]
        _draw_line(sides[line.right], run.time, line.values, colour, dash, _width(line.reading))
    for number, limit in enumerate(panel.limits):
        if _near(limit.value, _extent(panel, limit.right)):
            sides[limit.right].axhline(limit.value, zorder=2.5, **_limit_look(limit.kind, number))
    axes.legend(
        [handle for handle, _ in legend], [style.drawable(words) for _, words in legend], loc="upper left",
        bbox_to_anchor=(1 + style.AXIS_RIGHT / style.AXES_WIDTH, 1.02), borderaxespad=0.0, handlelength=2.1,
        handletextpad=0.5, labelspacing=0.18, borderpad=0.0,
    )  # fmt: skip


def _draw_line(axes: Any, time: np.ndarray, values: np.ndarray, colour: str, dash: Any, width: float) -> None:
    """Mean as a line; least and greatest as a band where they part, so that no spike is lost."""
    short = thin(time, values, _POINTS)
    if short.banded:
        axes.fill_between(short.time, short.low, short.high, facecolor=(colour, 0.25), edgecolor=(colour, 0.6),
                          linewidth=0.5)  # fmt: skip
    axes.plot(short.time, short.mean, color=colour, linestyle=dash, linewidth=width)


def _scale(panel: Panel, right: bool) -> bool:
    """Whether a side is better drawn logarithmically: a few values tower over the rest."""
    if not panel.wide or right:
        return False
    values = np.concatenate([line.values for line in panel.lines if not line.right])
    values = values[np.isfinite(values) & (values > 0)]
    return bool(len(values)) and float(values.max()) > _TOWERS * float(np.median(values))


def _set_reach(axes: Any, panel: Panel, right: bool, logarithmic: bool) -> None:
    low, high = extent = _extent(panel, right)
    for limit in panel.limits:
        if limit.right == right and _near(limit.value, extent):
            low, high = min(low, limit.value), max(high, limit.value)
    if logarithmic:
        values = np.concatenate([line.values for line in panel.lines])
        values = values[np.isfinite(values) & (values > 0)]
        bottom = max(float(values.min()), float(np.median(values)) / 100.0)
        axes.set_yscale("log", nonpositive="clip")
        axes.set_ylim(10.0 ** np.floor(np.log10(bottom)), high * 1.5)
        axes.yaxis.set_major_locator(LogLocator(10.0, numticks=6))
        axes.yaxis.set_minor_locator(NullLocator())
    else:
        least = 0.1 * max(abs(low), abs(high)) or 1.0  # a calm quantity shall look calm
        if high - low < least:
            middle = (low + high) / 2.0
            low, high = (0.0, 1.0) if low == high == 0 else (middle - least / 2.0, middle + least / 2.0)
        span = high - low
        rooted = 0 <= low < 0.5 * high
        # more room above on the right, so that a limit at the top of either side does not fall on the other's
        axes.set_ylim(0.0 if rooted else low - 0.08 * span, high + (0.2 if right else 0.08) * span)
        axes.yaxis.set_major_locator(MaxNLocator(4, steps=[1, 2, 2.5, 5, 10]))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: mark_words(value)))


def mark_time(axes: Any, marks: Ticks, seconds: float, labelled: bool) -> None:
    """Set the time axis of one panel; only the lowest carries its words."""
    axes.set_xlim(0.0, max(seconds, 1.0))
    # one collection instead of a tick with its own grid line and empty label per mark and panel: half the time
    stems = [[(at, 0.0), (at, 1.0)] for at in marks.at]
    axes.add_collection(
        LineCollection(stems, colors=[style.RC["grid.color"]], linewidths=style.RC["grid.linewidth"], zorder=0.5,
                       transform=axes.get_xaxis_transform()),
        autolim=False,
    )  # fmt: skip
    if labelled:
        # every label as many lines as the longest, or they would not stand on one height
        deep = any("\n" in words for words in marks.words)
        words = [w + "\n " if deep and "\n" not in w else w for w in marks.words]
        axes.set_xticks(marks.at, words)
        axes.set_xlabel(marks.axis, labelpad=2.0)
    else:
        axes.xaxis.set_visible(False)


def shade(axes: Any, running: list[tuple[float, float]]) -> None:
    """Shade the times in which a wash plant ran."""
    if running:
        corners = [[(a, 0.0), (b, 0.0), (b, 1.0), (a, 1.0)] for a, b in running]
        axes.add_collection(
            PolyCollection(corners, facecolor=style.SHADE, edgecolor="none", zorder=0.1,
                           transform=axes.get_xaxis_transform()),
            autolim=False,
        )  # fmt: skip
