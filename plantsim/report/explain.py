"""The timeline of an upset: trends of its first symptoms over bars of alarms and outputs, on one time axis."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from plantsim.report import style
from plantsim.report.clock import length_words

if TYPE_CHECKING:
    from plantsim.analysis.explain import Departure, Explanation
    from plantsim.store.data import RunData

MOST_TRENDS, ALIKE, MOST_BARS = 7, 2, 12
"""Symptoms drawn as trends, those of one quantity among them, and bars of one kind."""
_TREND, _BAR, _GAP, _TOP, _BOTTOM, _HEAD = 0.82, 0.2, 0.3, 0.72, 0.62, 0.26
_CAUSE, _OPERATOR, _ALARM, _DRIVE, _PERMIT = "#7A1F1F", "#0072B2", "#D55E00", "#009E73", "#56B4E9"


def picture(data: RunData, found: Explanation) -> bytes:
    """Draw an upset.

    Parameters
    ----------
    data : RunData
        The run, [-]
    found : Explanation
        What was found in it, [-]

    Returns
    -------
    bytes
        PNG, [-]
    """
    trends = _chosen(found)
    bars = _bars(data, found)
    size, unit = (3600.0, "h") if found.after > 5400.0 else (60.0, "min")
    height = _TOP + len(trends) * (_TREND + _GAP) + _HEAD + max(len(bars), 1) * _BAR + _BOTTOM
    with style.looks():
        figure = style.new_figure(height)
        title = style.drawable(_short(f"{data.run}: {found.cause}", 84))
        figure.text(style.LEFT / style.WIDTH, 1.0 - 0.2 / height, title,
                    fontsize=11, fontweight="bold", va="top")  # fmt: skip
        ends = f"; looked at no longer: {found.ends}" if found.ends else ""
        figure.text(style.LEFT / style.WIDTH, 1.0 - 0.42 / height, style.drawable(
            f"simulated; cause at {data.when(found.at)}, shaded: usual band of the {length_words(found.before)} before"
            + ends), fontsize=7.6, va="top", color=style.SETPOINT)  # fmt: skip
        left = -min(found.before, 0.25 * found.after)
        top = _TOP
        for k, one in enumerate(trends):
            axes = style.axes_at(figure, top, _TREND)
            _trend(axes, data, found, one, size, style.LINES[k % len(style.LINES)][0])
            _frame(axes, found, left, size)
            axes.tick_params(labelbottom=False)
            axes.text(1.02, 0.5, style.drawable(_told(one)), transform=axes.transAxes, va="center", fontsize=8.3)
            top += _TREND + _GAP
        axes = style.axes_at(figure, top + _HEAD - _GAP, max(len(bars), 1) * _BAR)
        _draw_bars(axes, bars, size)
        _frame(axes, found, left, size)
        axes.set_ylim(max(len(bars), 1) - 0.5, -0.5)
        axes.set_yticks([])
        axes.set_xlabel(f"time from the cause [{unit}]")
    return style.png(figure, f"upset in {data.run}")


def _chosen(found: Explanation) -> list[Departure]:
    """Symptoms drawn: the first of the telling ones, no more than a few of one quantity; what runs has a bar below."""
    chosen: list[Departure] = []
    for one in found.symptoms:
        quantity = one.name.rpartition(".")[2]
        alike = sum(other.name.rpartition(".")[2] == quantity for other in chosen)
        if one.telling and quantity != "running" and alike < ALIKE and len(chosen) < MOST_TRENDS:
            chosen.append(one)
    return chosen or found.symptoms[:MOST_TRENDS]


def _told(one: Departure) -> str:
    """Name of a symptom, how it goes and when it left its band."""
    unit = "" if one.unit in ("1", "-") else f" [{one.unit}]"
    also = f"\nwith it: {', '.join(one.also[:2])}" + (f" +{len(one.also) - 2}" if len(one.also) > 2 else "")
    return f"{one.name}{unit}\n{'rises' if one.up else 'falls'} after {length_words(round(one.after))}" \
        + (also if one.also else "")  # fmt: skip


def _trend(axes: Any, data: RunData, found: Explanation, one: Departure, size: float, colour: str) -> None:
    values = data.series[one.name].values
    t = data.time - found.at
    shown = (t >= -found.before) & (t <= found.after)
    axes.axhspan(one.low, one.high, color=style.SHADE, linewidth=0.0)
    axes.plot(t[shown] / size, values[shown], color=colour, linewidth=1.3)
    first = int(np.searchsorted(t, one.after))
    axes.plot([t[first] / size], [values[first]], marker="o", markersize=4.5, color=style.INK, linestyle="none")
    axes.locator_params(axis="y", nbins=3)


def _frame(axes: Any, found: Explanation, left: float, size: float) -> None:
    axes.set_xlim(left / size, found.after / size)
    for t, _ in found.causes or [(0.0, "")]:
        axes.axvline(t / size, color=_CAUSE, linewidth=1.2)
    for t, _ in found.answers:
        axes.axvline(t / size, color=_OPERATOR, linewidth=1.2, linestyle=(0, (4, 2)))
    axes.grid(True, axis="x")
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)


Bar = tuple[str, str, list[tuple[float, float]], float]
"""Words, colour, spans from the cause [s], and the moment that is marked; not a number: none."""


def _bars(data: RunData, found: Explanation) -> list[Bar]:
    """Causes, operator, alarms and outputs, one bar each, in the order in which they came."""
    made: list[Bar] = []
    for t, text in found.causes[:4]:
        made.append((text, _CAUSE, [], t))
    for t, text in found.answers[:4]:
        made.append((f"operator: {text}", _OPERATOR, [], t))
    for one in found.alarms[:MOST_BARS]:
        until = found.after if math.isinf(one.until) else one.until
        made.append((f"alarm {one.alarm}", _ALARM, [(one.after, until)], one.after))
    times = data.time - found.at
    shown = (times >= -found.before) & (times <= found.after)
    telling = sorted((one for one in found.actions if one.role != "actuator"), key=lambda one: one.usual)
    for action in telling[:MOST_BARS]:
        full = 100.0 if action.role == "valve" else 1.0
        on = (data.series[action.tag].values > 0.5 * full) & shown
        edges = np.flatnonzero(np.diff(np.concatenate(([False], on, [False])).astype(np.int8))).reshape(-1, 2)
        spans = [(float(times[a]), float(times[min(b, len(times) - 1)])) for a, b in edges]
        colour = _DRIVE if action.role == "drive" else _PERMIT
        words = f"{action.tag} {action.role} {action.words}" + (", as before too" if action.usual else "")
        made.append((words, colour, spans, action.after))
    return made


def _draw_bars(axes: Any, bars: list[Bar], size: float) -> None:
    for k, (words, colour, spans, at) in enumerate(bars):
        for start, stop in spans:
            axes.barh(k, (stop - start) / size, left=start / size, height=0.62, color=colour, linewidth=0.0)
        axes.plot([at / size], [k], marker="o", markersize=3.6, color=style.INK, linestyle="none")
        axes.text(1.02, k, style.drawable(_short(words)), transform=axes.get_yaxis_transform(), va="center",
                  fontsize=7.8)  # fmt: skip


def _short(words: str, most: int = 44) -> str:
    return words if len(words) <= most else words[: most - 3].rstrip() + "..."
