"""The settling law that a laboratory file carries, where it was tested, and how thick the tests came."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from plantsim.analysis.lab.data import Curve
from plantsim.analysis.lab.fits import LabFits
from plantsim.analysis.lab.regression import Fit, FitRefused
from plantsim.analysis.lab.settling_fits import kynch_points

FITS_WELL = 0.02
"""Standard error of a whole curve over its filled height up to which its law is used."""


@dataclass(frozen=True)
class Tested:
    """A settling law as tested.

    Attributes
    ----------
    law : Fit, callable or None
        Speed at 20 degC [m/s] of solids [kg/m3]; None where no test carries one.
    words : str
        Where it comes from.
    low, high : float
        Solids it was tested at, [kg/m3]
    reach : float
        Thickest mud any of the tests came to, as the mean of a cylinder at its end, [kg/m3]
    """

    law: Fit | Callable[[float], float] | None
    words: str
    low: float
    high: float
    reach: float


def tested_law(fits: LabFits, curves: Sequence[Curve]) -> Tested:
    """Law of several cylinders; else a whole curve that fits; else the tangents of one curve, as a table.

    Parameters
    ----------
    fits : LabFits
        As made by `fit_all`.
    curves : sequence of Curve
        Cylinders of one treatment.
    """
    ends = [curve.solids * float(curve.heights[0]) / float(curve.heights[-1]) for curve in curves]
    reach = max(ends, default=0.0)
    labels = {curve.label for curve in curves}
    several = fits.best("settling")
    if several is not None and set(several.tests) <= labels:
        low, high = float(several.x.min()), float(several.x.max())
        return Tested(several, "", low, high, max(reach, high))
    by_label = {curve.label: curve for curve in curves}
    whole = [fit for fit in fits.fits.get("whole_curve", ()) if set(fit.tests) <= labels]
    whole = [fit for fit in whole if fit.spread <= FITS_WELL * float(fit.y[0])]
    if whole:
        best = min(whole, key=lambda fit: fit.spread)
        one = by_label[best.tests[0]]
        return Tested(best, "", one.solids, one.solids * float(one.heights[0]) / float(one.heights[-1]), reach)
    for curve in sorted(curves, key=lambda c: -len(c.times)):
        try:
            solids, speeds = kynch_points(curve)
        except FitRefused:
            continue
        words = f"tangents of {curve.label} after Kynch (1952), for no law fits it well enough"
        return Tested(table(solids, speeds), words, float(solids[0]), float(solids[-1]), reach)
    return Tested(None, "", math.inf, -math.inf, reach)


def table(solids: np.ndarray, speeds: np.ndarray) -> Callable[[float], float]:
    """Speed between points, its logarithm in straight lines; beyond the last point on the last line.

    Examples
    --------
    >>> law = table(np.array([2.0, 4.0, 8.0]), np.array([1.0, 0.1, 0.01]))
    >>> [round(law(c), 4) for c in (1.0, 3.0, 8.0, 12.0)]
    [1.0, 0.3162, 0.01, 0.001]
    """
    logs = np.log(speeds)
    slope = float((logs[-1] - logs[-2]) / (solids[-1] - solids[-2]))

    def law(c: float) -> float:
        if c > solids[-1]:
            return float(math.exp(logs[-1] + slope * (c - float(solids[-1]))))
        return float(math.exp(np.interp(c, solids, logs)))

    return law
