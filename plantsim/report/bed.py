"""Solids in a clarifier over height and time, as an image with the bed level on it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.colors import LinearSegmentedColormap, PowerNorm
from matplotlib.lines import Line2D

from plantsim.report import style
from plantsim.report.clock import ticks
from plantsim.report.thinning import thin, thin_columns
from plantsim.report.trends import NOTE, mark_time
from plantsim.report.words import clipped, factor, wrapped

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from plantsim.store.data import RunData

_HEIGHT, _TOP, _BOTTOM = 2.9, 0.64, 0.62
_SPANS = 700
_COLOURS = LinearSegmentedColormap.from_list(
    "settling", ["#F4F8FB", "#BFD6E0", "#C9B58B", "#8A6A3B", "#4A3519", "#1E1408"]
)
"""Clear water to dense mud: lightness falls all the way, so it reads without colour too."""
_EMPTY = "#FFFFFF"
_OVER: tuple[tuple[str, str, str, Any, float], ...] = (
    ("bed_level", "top of the bed", "#FFFFFF", "-", 1.4),
    ("mud_level", "first haze (10 kg/m³)", "#D55E00", (0, (3, 1.5)), 1.1),
)


def draw_bed(run: RunData, clarifier: str) -> Figure:
    """Draw the solids profile of one clarifier over time.

    Parameters
    ----------
    run : RunData
        The run, [-]
    clarifier : str
        Its name in `run.profiles`, [-]

    Returns
    -------
    Figure
        Height above the cone bottom over time, with a colour bar, [-]

    Notes
    -----
    The colour scale is stretched at its low end (square root), so that haze of a few kg/m3 can be told from
    clear water beside a bed of some hundred.
    """
    profile = run.profiles[clarifier]
    order = np.argsort(profile.heights)
    heights = np.asarray(profile.heights, float)[order]
    times = np.asarray(run.time, float)[: len(profile.values)]
    spans, image = thin_columns(times, np.asarray(profile.values, float)[:, order], _SPANS)
    edges = _edges(heights)
    with style.looks():
        figure = style.new_figure(_TOP + _HEIGHT + _BOTTOM)
        axes = style.axes_at(figure, _TOP, _HEIGHT)
        axes.set_facecolor(_EMPTY)
        known = image[np.isfinite(image)]
        most = float(known.max()) if len(known) and known.max() > 0 else 1.0
        mesh = axes.pcolormesh(spans, edges, np.ma.masked_invalid(image.T), cmap=_COLOURS, shading="flat",
                               norm=PowerNorm(0.5, 0.0, most), antialiased=False, linewidth=0)  # fmt: skip
        handles, words = _levels(axes, run, clarifier)
        axes.set_ylim(min(0.0, edges[0]), edges[-1])
        axes.set_ylabel("height above the cone bottom, m", labelpad=3.0)
        mark_time(axes, ticks(run.start, run.seconds), run.seconds, labelled=True)
        total = _TOP + _HEIGHT + _BOTTOM
        left = style.LEFT / style.WIDTH
        title = style.drawable(clipped(f"Solids in {clarifier}", 54))
        figure.text(left, 1 - 0.13 / total, title, size=11.5, weight="bold", va="top")
        figure.text(left, 1 - 0.345 / total, NOTE, size=8.6, va="top",
                    color=style.SETPOINT)  # fmt: skip
        bar_left = (style.LEFT + style.AXES_WIDTH + 0.25) / style.WIDTH
        bar = figure.colorbar(mesh, cax=figure.add_axes((bar_left, _BOTTOM / total, 0.018, 0.72 * _HEIGHT / total)))
        bar.set_label("solids, kg/m³")
        bar.set_ticks(_colour_ticks(most))
        bar.outline.set_linewidth(0.5)
        bar.ax.minorticks_off()
        if handles:
            figure.legend(handles, [wrapped(w, 26) for w in words], loc="upper left", borderaxespad=0.0,
                          bbox_to_anchor=(bar_left, 1 - _TOP / total), handlelength=2.1, labelspacing=0.25,
                          borderpad=0.0)  # fmt: skip
    return figure


def _edges(heights: np.ndarray) -> np.ndarray:
    """Edges of layers from the heights of their middles."""
    if len(heights) == 1:
        return np.array([0.0, 2.0 * heights[0] or 1.0])
    middle = (heights[1:] + heights[:-1]) / 2.0
    return np.concatenate(([heights[0] - (middle[0] - heights[0])], middle, [2.0 * heights[-1] - middle[-1]]))


def _levels(axes: Any, run: RunData, clarifier: str) -> tuple[list[Any], list[str]]:
    from matplotlib.patheffects import Normal, Stroke

    handles, words = [], []
    for quantity, name, colour, dash, width in _OVER:
        one = run.series.get(f"{clarifier}.{quantity}")
        scaled = factor(one.unit, "m") if one is not None else None
        if one is None or scaled is None:
            continue
        short = thin(run.time, np.asarray(one.values, float) * scaled[0] + scaled[1], _SPANS)
        outline = [Stroke(linewidth=width + 1.0, foreground=style.INK), Normal()]
        axes.plot(short.time, short.mean, color=colour, linestyle=dash, linewidth=width, path_effects=outline)
        handles.append(Line2D([], [], color=colour, linestyle=dash, linewidth=width, path_effects=outline))
        words.append(name)
    return handles, words


def _colour_ticks(most: float) -> list[float]:
    """Even-looking marks of a square-root scale."""
    nice = [1, 2, 5, 10, 20, 50, 100, 200, 300, 400, 600, 800, 1000, 1200, 1500]
    shown = [0.0]
    for value in nice:
        if value <= most and (value / most) ** 0.5 - (shown[-1] / most) ** 0.5 > 0.09:
            shown.append(float(value))
    return shown
