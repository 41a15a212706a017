"""The picture of an identification: measurement and model, output, residuals."""

from __future__ import annotations

from plantsim.analysis.identify import Identification
from plantsim.analysis.identify.checks import unit_of_time
from plantsim.report.style import FAINT, INK, LINES, axes_at, drawable, looks, new_figure, png

_HEIGHTS = (2.6, 1.2, 1.2)
_TOP, _BETWEEN, _BOTTOM = 0.6, 0.42, 0.6


def picture(found: Identification) -> bytes:
    """Draw record, fit and residuals, one below the other.

    Parameters
    ----------
    found : Identification
        What was found; it must have a fit.

    Returns
    -------
    bytes
        PNG.
    """
    best, record = found.best, found.record
    assert best is not None
    size, unit = unit_of_time(record.duration)
    with looks():
        figure = new_figure(_TOP + sum(_HEIGHTS) + 2 * _BETWEEN + _BOTTOM)
        tops = [_TOP + sum(_HEIGHTS[:i]) + i * _BETWEEN for i in range(3)]
        axes = [axes_at(figure, top, height) for top, height in zip(tops, _HEIGHTS)]
        t = best.time / size
        axes[0].plot(t, best.y, linestyle="none", marker=".", markersize=2.5, color=FAINT, label="measured")
        axes[0].plot(t, best.fitted, color=LINES[0][0], linewidth=1.6, label="model")
        axes[0].set_ylabel(drawable(record.y_unit))
        state = "" if found.accepted else " - NOT to be used: see the refusals"
        axes[0].set_title(drawable(f"{record.name}: {best.model.title}{state}"))
        axes[1].step((record.time - record.time[0]) / size, record.u, where="post", color=LINES[1][0], linewidth=1.4,
                     label="output")  # fmt: skip
        axes[1].set_ylabel(drawable(record.u_unit))
        axes[2].axhline(0.0, color=INK, linewidth=0.7)
        axes[2].plot(t, best.residuals, linestyle="none", marker=".", markersize=2.5, color=LINES[2][0],
                     label="measured less model")  # fmt: skip
        axes[2].set_ylabel(drawable(record.y_unit))
        axes[2].set_xlabel(f"time from the start [{unit}]")
        for one in axes:
            one.grid(True)
            one.set_xlim(0.0, record.duration / size)
            one.legend(loc="center left", bbox_to_anchor=(1.02, 0.5))
    return png(figure, f"identification of {record.name}")
