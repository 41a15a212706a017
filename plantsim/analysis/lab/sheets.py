"""Laboratory fits as sheets: parameters with their intervals, readings, laws and their confidence bands as plots."""

from __future__ import annotations

import math

import numpy as np

from plantsim.analysis.lab.fits import LabFits
from plantsim.analysis.lab.regression import Fit, Parameter
from plantsim.analysis.sizing.result import Input, Line, Plot, Result, Sheet

# kind: title; x name, SI unit, shown; y name, SI unit, shown
_AXES: dict[str, tuple[str, tuple[str, str, str], tuple[str, str, str]]] = {
    "settling": ("Settling speed against solids", ("solids", "kg/m3", "g/L"), ("settling speed", "m/s", "m/h")),
    "whole_curve": ("Interface of one cylinder", ("time", "s", "min"), ("interface", "m", "cm")),
    "compression": ("Heights at rest", ("solids per area", "kg/m2", ""), ("height at rest", "m", "cm")),
    "coagulant": ("Coagulant dose", ("dose", "kg/m3", "mg/L"), ("turbidity left", "NTU", "")),
    "ph": ("Best pH", ("pH", "-", ""), ("turbidity left", "NTU", "")),
    "polymer": ("Settling rate against polymer dose", ("dose", "kg/kg", "g/t"), ("initial rate", "m/s", "m/h")),
    "clarity": ("Clarity against polymer dose", ("dose", "kg/kg", "g/t"), ("turbidity left", "NTU", "")),
    "turbidity": ("Turbidity against solids", ("solids", "kg/m3", "mg/L"), ("turbidity", "NTU", "")),
    "yield": ("Yield stress against solids", ("solids by volume", "-", "%"), ("yield stress", "Pa", "Pa")),
}
_SHOWN = {"kg/m3": "g/L", "m/s": "m/h", "kg/kg": "g/t", "m": "cm", "Pa": "Pa"}
CAUTION = (
    "A test holds for its sample: another digging face, season or product is another water. Intervals are those of the "
    "readings, not of the sampling."
)  # fmt: skip


def fit_sheets(fits: LabFits) -> list[Sheet]:
    """A sheet for each kind of fit, and one of what the data could not carry.

    Parameters
    ----------
    fits : LabFits
        As made by `fit_all`.

    Returns
    -------
    list of Sheet
    """
    out = []
    for kind, (title, _, _) in _AXES.items():
        found = fits.fits.get(kind, ())
        if not found:
            continue
        sheet = Sheet(f"Laboratory: {title[0].lower()}{title[1:]}", cautions=[CAUTION])
        for number, fit in enumerate(found, 1):
            sheet.add(*(_result(f"{kind}_{number}_{p.name}", fit, p) for p in fit.parameters))
            sheet.plots.append(fit_plot(kind, number, fit))
        out.append(sheet)
    if fits.gel:
        sheet = Sheet("Laboratory: gel point", cautions=[CAUTION])
        for number, (curve, bracket) in enumerate(fits.gel, 1):
            sheet.add(_plain(f"gel_{number}", bracket, f"{bracket.meaning}, {curve.name}", "read off one cylinder",
                             curve.label))  # fmt: skip
        out.append(sheet)
    out.append(Sheet("Laboratory: what the data could not carry", cautions=[] if fits.refused else [
        "All that was tested could be fitted."], left_out=[str(refusal) for refusal in fits.refused]))  # fmt: skip
    return out


def fit_plot(kind: str, number: int, fit: Fit) -> Plot:
    """Readings, fitted law and its 95 % confidence band."""
    title, x, y = _AXES[kind]
    low, high = float(np.min(fit.x)), float(np.max(fit.x))
    grid = np.linspace(low, high + 0.02 * (high - low), 101)
    under, over = fit.band(grid)
    lines = (
        Line("readings", tuple(map(float, fit.x)), tuple(map(float, fit.y)), True),
        Line("law", tuple(map(float, grid)), tuple(map(float, fit.predict(grid)))),
        Line("95 % band, lower", tuple(map(float, grid)), tuple(float(max(v, 0.0)) for v in under)),
        Line("95 % band, upper", tuple(map(float, grid)), tuple(map(float, over))),
    )
    names = ", ".join(test.split(" (")[0].strip("'") for test in fit.tests)  # without the place in the file
    return Plot(f"{kind}_{number}", f"{title}: {names}, {fit.law}", *x, *y, lines)


def _result(key: str, fit: Fit, p: Parameter) -> Result:
    quality = f"r2 {fit.r2:.3f}, {len(fit.y)} readings"
    return _plain(key, p, p.meaning, f"{fit.formula}; {quality}; {'; '.join(fit.checks)}",
                  f"{', '.join(fit.tests)}; {fit.source}", fit.cautions)  # fmt: skip


def _plain(
    key: str, p: Parameter, name: str, formula: str, source: str, cautions: tuple[str, ...] = ()
) -> Result:  # fmt: skip
    shown = _SHOWN.get(p.unit, "")
    low, high = (_text(v, p, shown) for v in (p.low, p.high))
    return Result(key, f"{name} ({p.name})", p.value, p.unit, formula, (), source, cautions, shown,
                  f"{p.kind} {low} to {high}")  # fmt: skip


def _text(value: float, p: Parameter, shown: str) -> str:
    return Input("", value, p.unit, shown).text() if math.isfinite(value) else "without end"
