"""The picture of a search for gains: quality against chemical and travel, and what each way of control costs."""

from __future__ import annotations

import math
from typing import Any

from plantsim.analysis.tuning.optimise import Figures
from plantsim.analysis.tuning.optimise_job import Outcome
from plantsim.report.style import FAINT, INK, LIMIT, LINES, Figure, axes_at, drawable, looks, new_figure, png

_HEIGHT, _BARS, _TOP, _BETWEEN, _BOTTOM = 2.7, 0.34, 0.7, 0.78, 0.6
_MARKERS = ("o", "s", "^", "D", "v", "P", "X")
_PARTS = (("out of spec", "#0072B2", ""), ("error", "#56B4E9", "///"), ("chemical", "#E69F00", ""),
          ("travel", "#009E73", "..."))  # fmt: skip


def picture(found: Outcome) -> bytes:
    """Draw the front and the cost of the best of each way.

    Parameters
    ----------
    found : Outcome
        What a search found; at least one candidate was tried.

    Returns
    -------
    bytes
        PNG.
    """
    return png(draw(found), f"search for gains of {found.loop}")


def draw(found: Outcome) -> Figure:
    """The picture as a figure."""
    search = found.search
    with_chemical = math.isfinite(found.present.chemical)
    rows = [name for name in ("chemical", "travel") if name == "travel" or with_chemical]
    bars = _costs(found)
    with looks():
        height = _BARS * len(bars) + 0.3
        figure = new_figure(_TOP + len(rows) * (_HEIGHT + _BETWEEN) + height + _BOTTOM)
        for i, name in enumerate(rows):
            axes = axes_at(figure, _TOP + i * (_HEIGHT + _BETWEEN), _HEIGHT)
            _scatter(axes, found, name)
            words = {"chemical": "chemical used [kg]", "travel": f"travel of the actuator [{found.travel_unit}]"}
            axes.set_ylabel(words[name])
            axes.set_xlabel("cost of time out of spec and of error [money]")
            if i == 0:
                axes.set_title(drawable(
                    f"{found.loop}: {len(search.tried)} candidates within Ms {search.limit.most_ms:g} on the plant; "
                    "left and down is better"))  # fmt: skip
                axes.legend(loc="upper left", bbox_to_anchor=(1.02, 1.0))
        axes = axes_at(figure, _TOP + len(rows) * (_HEIGHT + _BETWEEN), height)
        _bars(axes, bars, found)
    return figure


def _scatter(axes: Any, found: Outcome, name: str) -> None:
    search = found.search
    chosen = {id(one) for one in search.front()}
    for i, way in enumerate(search.ways):
        colour, marker = LINES[i % len(LINES)][0], _MARKERS[i % len(_MARKERS)]
        own = [one for one in search.tried if one.way == way.name]
        for on_front in (False, True):
            part = [one.figures for one in own if (id(one) in chosen) is on_front]
            x = [figures.quality(search.prices) for figures in part]
            y = [getattr(figures, name) for figures in part]
            if on_front:
                axes.plot(x, y, linestyle="none", marker=marker, markersize=6.5, color=colour,
                          markeredgecolor=INK, markeredgewidth=0.7, label=drawable(way.name))  # fmt: skip
            else:
                axes.plot(x, y, linestyle="none", marker=marker, markersize=3.0, color=colour, alpha=0.35)
    present, best = found.present, search.best()
    ms = f"{present.ms:.3g}" if math.isfinite(present.ms) else "unstable"
    axes.plot([present.quality(search.prices)], [getattr(present, name)], linestyle="none", marker="x", markersize=9,
              markeredgewidth=2.2, color=LIMIT, label=f"present, Ms {ms}"
              + (" (beyond the limit)" if present.ms > search.limit.most_ms else ""))  # fmt: skip
    if best is not None:
        axes.plot([best.figures.quality(search.prices)], [getattr(best.figures, name)], linestyle="none", marker="*",
                  markersize=15, markerfacecolor="none", markeredgecolor=INK, label="least cost")  # fmt: skip
    # drawn is what the front spans and where the plant is now: what lies far off is of no use to anybody
    kept = [present, *(one.figures for one in search.tried if id(one) in chosen)]
    ends = [(min(v), max(v)) for v in ([f.quality(search.prices) for f in kept], [getattr(f, name) for f in kept])]
    for set_ends, (low, high) in zip((axes.set_xlim, axes.set_ylim), ends, strict=True):
        room = 0.08 * (high - low) or 0.05 * abs(high) or 1.0
        set_ends(low - room, high + room)
    axes.grid(True)


def _costs(found: Outcome) -> list[tuple[str, Figures | None]]:
    rows: list[tuple[str, Figures | None]] = [("present", found.present)]
    for way in found.search.ways:
        best = found.search.best(way.name)
        rows.append((way.name, None if best is None else best.figures))
    return rows


def _bars(axes: Any, rows: list[tuple[str, Figures | None]], found: Outcome) -> None:
    prices = found.search.prices
    box = axes.get_position()
    names = min(0.066 * max(len(name) for name, _ in rows) / 9.4, 0.24)
    axes.set_position([box.x0 + names, box.y0, box.width - names, box.height])
    for row, (_, figures) in enumerate(reversed(rows)):
        if figures is None:
            axes.text(0.0, row, " none kept the limit", va="center", color=LIMIT)
            continue
        parts = (prices.out_of_spec * figures.out_of_spec, prices.error * figures.iae,
                 prices.chemical * figures.chemical, prices.travel * figures.travel)  # fmt: skip
        left = 0.0
        for value, (_, colour, hatch) in zip(parts, _PARTS, strict=True):
            if math.isfinite(value):
                axes.barh(row, value, left=left, height=0.66, color=colour, hatch=hatch, edgecolor="white",
                          linewidth=0.4)  # fmt: skip
                left += value
        axes.text(left, row, f" {left:.4g}", va="center")
    handles = [axes.barh(0, 0, color=colour, hatch=hatch, edgecolor="white") for _, colour, hatch in _PARTS]
    axes.legend(handles, [name for name, _, _ in _PARTS], loc="upper left", bbox_to_anchor=(1.02, 1.0))
    axes.set_yticks(range(len(rows)), [drawable(name) for name, _ in reversed(rows)])
    axes.set_xlabel("cost of the best of each way, over all trials [money]")
    axes.margins(x=0.12)
    axes.set_xlim(left=0.0)
    axes.set_axisbelow(True)
    axes.grid(True, axis="x", color=FAINT, linewidth=0.4)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
