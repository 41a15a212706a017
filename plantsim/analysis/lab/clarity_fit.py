"""Clarity of the water above the mud against polymer dose: from one dose series."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from plantsim.analysis.lab.data import DoseSeries
from plantsim.analysis.lab.regression import Fit, FitRefused, Unknown, regress

BRIDGED_CLARITY = (
    "bridging 4 th (1 - th) by La Mer and Healy (1963), Rev. Pure Appl. Chem. 13, 112-133 (form, from memory); "
    "turbidity left falls exponentially with it: first-order collection, by choice"
)  # fmt: skip


def fit_clarity(test: DoseSeries) -> Fit:
    r"""Turbidity left against polymer dose, with overdose, from one dose series.

    .. math:: N(D) = N_0\exp[-s\,4\theta(1-\theta)], \quad \theta = \min(1, D/(2D_{opt}))

    Parameters
    ----------
    test : DoseSeries
        Five or more doses with turbidity, on both sides of the clearest.

    Returns
    -------
    Fit
        Parameters N0 [NTU], optimum [kg/kg] and strength [-].

    Raises
    ------
    FitRefused
        When the doses cannot carry the clearest dose.

    Notes
    -----
    Fast settling and clear water need not come at one dose: a floc that falls fast may leave its finest behind.
    """
    d, n = test.clarity_doses, test.clarity
    what = f"clarity against polymer of {test.label}"
    if len(d) == 0:
        raise FitRefused(what, "it has no turbidity", "turbidity of the water above the mud at five or more doses")
    if len(d) < 5:
        raise FitRefused(
            what,
            f"{len(d)} doses cannot carry clearest dose, strength and an error",
            "cylinders at five or more doses: none, two below the clearest, the clearest, and one well above",
        )
    if np.any(n <= 0.0):
        raise FitRefused(what, "a cylinder reads 0 NTU", "that cylinder with an instrument of finer range")
    best = int(np.argmin(n))
    if best == len(d) - 1 or n[-1] < 1.1 * n[best]:
        raise FitRefused(
            what,
            f"turbidity does not rise again up to {1e6 * d[-1]:g} g/t: the clearest dose stays open",
            f"cylinders at {1.5e6 * d[-1]:.3g} and {2e6 * d[-1]:.3g} g/t",
        )
    if best == 0:
        raise FitRefused(what, "turbidity never falls with dose", "another polymer, coagulant first, or lower doses")

    def left(dose: np.ndarray, p: Sequence[float]) -> np.ndarray:
        theta = np.minimum(1.0, 0.5 * dose / p[1])
        return np.asarray(p[0] * np.exp(-p[2] * 4.0 * theta * (1.0 - theta)))

    top = float(np.max(n))
    strength = max(math.log(top / float(n[best])), 0.2)
    fit = regress(
        "clarity against polymer dose",
        left,
        d,
        n,
        (
            Unknown("N0", "NTU", "turbidity without polymer", top),
            Unknown("optimum", "kg/kg", "dose of the clearest water", float(d[best])),
            Unknown("strength", "-", "fall of its logarithm at the clearest dose", strength),
        ),
        tests=[test.label],
        formula="N = N0 exp(-s 4 th (1 - th)), th = min(1, D/(2 optimum))",
        source=BRIDGED_CLARITY,
        add="cylinders close to the clearest dose on both sides",
        relative=True,
        starts=[(top, f * float(d[best]), strength) for f in (0.75, 1.0, 1.3)],
    )
    if fit["optimum"].factor > 2.0:
        raise FitRefused(
            what,
            f"the clearest dose is known within a factor {fit['optimum'].factor:.2g} only",
            "two more cylinders close to the clearest dose, and a repeat of each",
        )
    return fit
