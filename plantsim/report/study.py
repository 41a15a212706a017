"""The page of a study: chances of the acceptance checks, spread of the figures, what moves them, maps."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from plantsim.analysis.checks.names import in_unit
from plantsim.analysis.checks.sentence import Always, Compare
from plantsim.analysis.studies import reading
from plantsim.analysis.studies.sampling import StudyError
from plantsim.report import cautions, style
from plantsim.report.page import embedded, template
from plantsim.report.words import number_words as number

if TYPE_CHECKING:
    from plantsim.analysis.studies.plan import Plan

PAGE = "study.html"
MOST_FIGURES = 6
"""Figures that get pictures when the study names none; all that it names do."""
_HEIGHT = 3.4


def write_study(plan: Plan, table: Mapping[str, np.ndarray], units: Mapping[str, str], folder: Path) -> list[Path]:
    """Write the page of a study and its pictures.

    Parameters
    ----------
    plan : Plan
        The study, [-]
    table, units : mapping
        Its table and the unit of each column, [-]
    folder : Path
        Where the files go, [-]

    Returns
    -------
    list of Path
        `study.html`, then `map-N.png` and `tornado-N.png`, [-]
    """
    found = reading.summaries(table, units)
    wanted = [s for s in found if not plan.figures or s.name in plan.figures]
    drawn = [s for s in wanted if s.deviation > 0.0][: len(plan.figures) or MOST_FIGURES]
    topics, pictures = [], {}
    for i, summary in enumerate(drawn, 1):
        swings = reading.tornado(plan, table, summary.name)
        topic: dict[str, Any] = {"summary": summary, "swings": swings, "pictures": [], "indices": [], "why": ""}
        if swings:
            name = f"tornado-{i}.png"
            pictures[name] = style.png(draw_tornado(plan, summary, swings), f"What moves {summary.name}")
            topic["pictures"].append((f"What moves {summary.name}", embedded(pictures[name])))
        if len(swings) > 1 and not any(s.values for s in plan.spreads if s.name in {x.parameter for x in swings[:2]}):
            pair = [swing.parameter for swing in swings[:2]]
            try:
                shape = reading.surface(plan, table, pair[0], pair[1], summary.name)
            except StudyError as error:
                topic["why"] = str(error)
            else:
                name = f"map-{i}.png"
                limit = limit_of(plan, summary)
                pictures[name] = style.png(draw_map(plan, table, summary, pair, shape, limit), f"Map of {summary.name}")
                topic["pictures"].append((f"{summary.name} over {pair[0]} and {pair[1]}", embedded(pictures[name])))
        if plan.method == "sensitivity":
            try:
                values = table[summary.name].astype(float)
                topic["indices"] = reading.sobol_indices([s.name for s in plan.spreads], values, plan.seed)
            except StudyError as error:
                topic["why"] = str(error)
        topics.append(topic)
    paths = []
    for name, data in pictures.items():
        path = folder / name
        path.write_bytes(data)
        paths.append(path)
    failed = np.flatnonzero(table["status"] != "done")
    page = folder / PAGE
    page.write_text(template(PAGE).render(
        plan=plan, runs=len(table["case"]), failed=[(int(table["case"][i]), table["reason"][i]) for i in failed[:20]],
        failures=len(failed), summaries=wanted, chances=reading.chances(table, units), topics=topics,
        parameters=[(s, range_words(s)) for s in plan.spreads], number=number, cautions=cautions,
    ), encoding="utf-8", newline="\n")  # fmt: skip
    return [page, *paths]


def range_words(spread: Any) -> str:
    """What a parameter was drawn from, in words."""
    if spread.values:
        return ", ".join(spread.values)
    if spread.unit == "moment":
        return f"{spread.text(0.0)} to {spread.text(1.0)}"
    return f"{number(spread.low)} to {number(spread.high)} {spread.unit}".strip()


def limit_of(plan: Plan, summary: reading.Summary) -> float | None:
    """Limit that an acceptance check of the study sets to a figure, in its unit; None when it sets none."""
    for check in plan.sentences():
        requirement = check.sentence.requirement
        limit = requirement.condition if isinstance(requirement, Always) else None
        if isinstance(limit, Compare) and limit.name == summary.name:
            amount = limit.high or limit.low
            return None if amount is None else in_unit(amount, summary.unit)
    return None


def draw_tornado(plan: Plan, summary: reading.Summary, swings: Sequence[reading.Swing]) -> style.Figure:
    """Bars from the mean at the low end of each parameter to that at its high end, the widest on top."""
    with style.looks():
        height = 0.42 * len(swings) + 0.5
        figure = style.new_figure(height + 1.1)
        axes = style.axes_at(figure, 0.5, height)
        box = axes.get_position()
        names = 0.085 * max(len(swing.parameter) for swing in swings) / style.WIDTH  # room for them beside the bars
        axes.set_position([box.x0 + names, box.y0, box.width - names, box.height])
        low, high = style.LINES[0][0], style.LINES[1][0]
        for row, swing in enumerate(reversed(swings)):
            for start, colour, hatch in ((swing.low, low, ""), (swing.high, high, "///")):
                axes.barh(row, start - summary.mean, left=summary.mean, height=0.6, color=colour, hatch=hatch,
                          edgecolor="white", linewidth=0.4)  # fmt: skip
        axes.set_yticks(range(len(swings)), [style.drawable(s.parameter) for s in reversed(swings)])
        ends = [value for swing in swings for value in (swing.low, swing.high, summary.mean)]
        room = 0.06 * (max(ends) - min(ends)) or 1.0
        axes.set_xlim(min(ends) - room, max(ends) + room)
        axes.axvline(summary.mean, color=style.INK, linewidth=0.8)
        axes.set_xlabel(style.drawable(_axis(summary)))
        axes.set_title(style.drawable(f"What moves {summary.name}"))
        axes.grid(True, axis="x")
        handles = [axes.barh(0, 0, color=low), axes.barh(0, 0, color=high, hatch="///", edgecolor="white")]
        axes.legend(handles, ["mean at the parameter's\nlow end", "mean at its high end"], loc="upper left",
                    bbox_to_anchor=(1.01, 1.0))  # fmt: skip
        for side in ("top", "right"):
            axes.spines[side].set_visible(False)
    return figure


def draw_map(
    plan: Plan, table: Mapping[str, np.ndarray], summary: reading.Summary, pair: Sequence[str],
    shape: reading.Surface, limit: float | None,
) -> style.Figure:  # fmt: skip
    """A figure over two parameters as filled contours, the runs as dots, the limit as a heavy line."""
    with style.looks():
        figure = style.new_figure(_HEIGHT + 1.2)
        axes = style.axes_at(figure, 0.5, _HEIGHT, style.AXES_WIDTH - 0.2)
        if shape.exact and min(shape.values.shape) < 3:
            filled = axes.pcolormesh(shape.x, shape.y, shape.values, cmap="cividis", shading="nearest")
        else:
            filled = axes.contourf(shape.x, shape.y, shape.values, 12, cmap="cividis")
            if limit is not None and np.nanmin(shape.values) < limit < np.nanmax(shape.values):
                lines = axes.contour(shape.x, shape.y, shape.values, [limit], colors="white", linewidths=2.4)
                axes.clabel(lines, fmt=f"limit {limit:g}", fontsize=8.5)
        x, y = (reading.parameter(plan, table, name) for name in pair)
        axes.plot(x, y, linestyle="none", marker=".", markersize=2.0, color="#000000", alpha=0.35)
        axes.set_xlim(shape.x[0], shape.x[-1])
        axes.set_ylim(shape.y[0], shape.y[-1])
        for name, axis, label in ((pair[0], axes.xaxis, axes.set_xlabel), (pair[1], axes.yaxis, axes.set_ylabel)):
            spread = next(s for s in plan.spreads if s.name == name)
            if spread.unit == "moment":
                axis.set_major_formatter(lambda v, _: f"{dt.datetime(1970, 1, 1) + dt.timedelta(seconds=v):%d %b}")
                label(style.drawable(name))
            else:
                label(style.drawable(f"{name}, {spread.unit}" if spread.unit else name))
        bar = figure.colorbar(filled, ax=None, cax=figure.add_axes(_beside(axes)))
        bar.set_label(style.drawable(_axis(summary)))
        axes.set_title("Mean of the runs at each place" if shape.exact else "Kernel mean of the runs near by")
    return figure


def _beside(axes: Any) -> tuple[float, float, float, float]:
    box = axes.get_position()
    return (box.x1 + 0.02, box.y0, 0.018, box.height)


def _axis(summary: reading.Summary) -> str:
    return summary.name if summary.unit in ("1", "-", "") else f"{summary.name}, {summary.unit}"
