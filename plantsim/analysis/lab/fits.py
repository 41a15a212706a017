"""Every fit a laboratory file can carry, and for each other one the test it lacks.

The fits themselves live in `settling_fits` and `dose_fits`; they are named here so that one import serves.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from plantsim.analysis.lab.clarity_fit import fit_clarity
from plantsim.analysis.lab.data import Curve, Lab
from plantsim.analysis.lab.dose_fits import (
    dose_window,
    fit_coagulant,
    fit_ph,
    fit_polymer,
    fit_turbidity,
    fit_yield,
    usable,
)
from plantsim.analysis.lab.regression import Fit, FitRefused, Parameter
from plantsim.analysis.lab.settling_fits import (
    InitialRate,
    compression_point,
    fit_compression,
    fit_flux_law,
    fit_whole_curve,
    gel_bracket,
    initial_rate,
    kynch_points,
)

__all__ = [
    "Fit", "FitRefused", "InitialRate", "LabFits", "Parameter", "compression_point", "dose_window", "fit_all",
    "fit_clarity", "fit_coagulant", "fit_compression", "fit_flux_law", "fit_ph", "fit_polymer", "fit_turbidity",
    "fit_whole_curve", "fit_yield", "gel_bracket", "initial_rate", "kynch_points", "like_treated", "usable",
]  # fmt: skip

DEFAULT_SOLIDS_DENSITY = 2650.0


@dataclass
class LabFits:
    """All that came out of one laboratory file.

    `fits` by kind: settling, whole_curve, compression, coagulant, ph, polymer, clarity, turbidity, yield;
    `gel` brackets by
    curve; `refused` what the data could not carry.
    """

    lab: Lab
    fits: dict[str, list[Fit]] = field(default_factory=dict)
    gel: list[tuple[Curve, Parameter]] = field(default_factory=list)
    refused: list[FitRefused] = field(default_factory=list)

    def best(self, kind: str) -> Fit | None:
        """The fit of a kind with the smallest spread, or None."""
        return min(self.fits.get(kind, []), key=lambda fit: fit.spread, default=None)

    @property
    def solids_density(self) -> float:
        """Density of the solids as measured, or the default of the trade, [kg/m3]."""
        return self.lab.solids_density or DEFAULT_SOLIDS_DENSITY


def like_treated(curves: tuple[Curve, ...]) -> list[Curve]:
    """The largest group of curves with one treatment: polymer within a tenth, and told apart by `as_treated`."""
    groups: list[list[Curve]] = []
    for curve in curves:
        for group in groups:
            first = group[0]
            near = abs(curve.polymer - first.polymer) <= 0.1 * max(curve.polymer, first.polymer)
            if near and curve.as_treated == first.as_treated:
                group.append(curve)
                break
        else:
            groups.append([curve])
    return max(groups, key=len, default=[])


def fit_all(lab: Lab) -> LabFits:
    """Fit all the tests of a laboratory file; what cannot be carried is listed with the test to add.

    Parameters
    ----------
    lab : Lab
        As read by `read_lab`.

    Returns
    -------
    LabFits
    """
    out = LabFits(lab)
    rho = out.solids_density

    def attempt(kind: str, work: Callable[[], Fit]) -> None:
        try:
            out.fits.setdefault(kind, []).append(work())
        except FitRefused as refusal:
            out.refused.append(refusal)

    group = like_treated(lab.curves)
    if len(group) > 1:
        attempt("settling", lambda: fit_flux_law(group, "vesilind", rho))
        attempt("settling", lambda: fit_flux_law(group, "richardson-zaki", rho))
    for curve in lab.curves:
        for law in ("vesilind", "richardson-zaki"):
            attempt("whole_curve", lambda curve=curve, law=law: fit_whole_curve(curve, law, rho))  # type: ignore[misc]
        try:
            out.gel.append((curve, gel_bracket(curve)))
        except FitRefused as refusal:
            out.refused.append(refusal)
    for rest in lab.rest_heights:
        attempt("compression", lambda rest=rest: fit_compression(rest, rho))  # type: ignore[misc]
    for jars in lab.jar_tests:
        attempt("coagulant", lambda jars=jars: fit_coagulant(jars))  # type: ignore[misc]
    for series in lab.ph_series:
        attempt("ph", lambda series=series: fit_ph(series))  # type: ignore[misc]
    for doses in lab.dose_series:
        if len(doses.rate_doses):
            attempt("polymer", lambda doses=doses: fit_polymer(doses))  # type: ignore[misc]
        if len(doses.clarity_doses):
            attempt("clarity", lambda doses=doses: fit_clarity(doses))  # type: ignore[misc]
    for turbid in lab.turbidity:
        attempt("turbidity", lambda turbid=turbid: fit_turbidity(turbid))  # type: ignore[misc]
    for vane in lab.yields:
        attempt("yield", lambda vane=vane: fit_yield(vane, rho))  # type: ignore[misc]
    # the two laws of one curve are refused for one reason: once is enough
    seen: set[str] = set()
    out.refused = [r for r in out.refused if not (str(r) in seen or seen.add(str(r)))]  # type: ignore[func-returns-value]
    return out
