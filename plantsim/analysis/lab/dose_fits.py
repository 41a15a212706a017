"""Dose responses, turbidity and yield stress from tables: coagulant with overdose, polymer, pH, a phi^b."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from plantsim.analysis.lab.data import DoseSeries, JarTest, PHSeries, TurbidityTest, YieldTest
from plantsim.analysis.lab.regression import Fit, FitRefused, Parameter, Unknown, regress
from plantsim.physics.slurry import volume_fraction_from_mass_fraction

RESTABILISATION = "Stumm, W., O'Melia, C. R. (1968), J. AWWA 60(5), 514-539 (mechanism; Gaussian by choice)"
BRIDGING = "La Mer, V. K., Healy, T. W. (1963), Rev. Pure Appl. Chem. 13, 112-133 (form, from memory)"
WIDEST = 3.0
"""A shape parameter whose interval reaches further than this factor is not used."""


def fit_coagulant(test: JarTest) -> Fit:
    r"""Coagulant response with overdose: demand, window and strength from one jar test.

    .. math:: N(D) = N_0\exp\{-s\exp[-((1-D/D_0)/w)^2]\}

    Parameters
    ----------
    test : JarTest
        Five or more jars, on both sides of the best dose.

    Returns
    -------
    Fit
        Parameters N0 [NTU], demand [kg/m3], window [-] and strength [-]. Whether window and strength are sharp
        enough to be used is told by their intervals (see `usable`).

    Raises
    ------
    FitRefused
        When the jars cannot carry the demand.
    """
    d, n = test.doses, test.turbidity
    what = f"coagulant response of {test.label}"
    if len(d) < 5:
        raise FitRefused(
            what,
            f"{len(d)} jars cannot carry demand, window and strength",
            "a jar test of six or more doses: none, three below the best and two above it",
        )
    if np.any(n <= 0.0):
        raise FitRefused(what, "a jar reads 0 NTU", "that jar with an instrument of finer range")
    best = int(np.argmin(n))
    if best >= len(d) - 1 or n[-1] < 1.1 * n[best]:
        raise FitRefused(
            what,
            f"turbidity does not rise again up to {1e3 * d[-1]:g} mg/L: no overdose was reached, so "
            "the best dose and its window stay open",
            f"jars at {1.5e3 * d[-1]:.3g} and {2e3 * d[-1]:.3g} mg/L",
        )
    if best == 0 or n[0] < 1.1 * n[best]:
        raise FitRefused(
            what,
            f"turbidity does not fall below {1e3 * d[0]:g} mg/L as dose rises: the best dose lies at "
            "the lowest jar or under it",
            f"jars without coagulant, at {3e2 * d[0]:.3g} and {6e2 * d[0]:.3g} mg/L"
            if d[0] > 0
            else "jars between none and the second dose",
        )

    def left(dose: np.ndarray, p: Sequence[float]) -> np.ndarray:
        z = (1.0 - dose / p[1]) / p[2]
        return p[0] * np.exp(-p[3] * np.exp(-z * z))

    top, low = float(np.max(n)), float(n[best])
    unknowns = (
        Unknown("N0", "NTU", "turbidity far from the best dose", 1.3 * top),
        Unknown("demand", "kg/m3", "dose of charge balance", float(d[best])),
        Unknown("window", "-", "width of the window, in demands", 0.5),
        Unknown("strength", "-", "collisions in the jar", max(math.log(1.3 * top / low), 0.2)),
    )
    starts = [
        (f * top, float(d[best]), w, max(math.log(f * top / low), 0.2))
        for f, w in ((1.05, 0.4), (2.0, 0.8), (3.0, 0.3))
    ]
    fit = regress(
        "coagulant response with overdose",
        left,
        d,
        n,
        unknowns,
        tests=[test.label],
        formula="N = N0 exp(-s exp(-((1 - D/demand)/window)^2))",
        source=RESTABILISATION,
        add="further jars on both sides of the best dose, and one without coagulant",
        relative=True,
        starts=starts,
    )
    demand = fit["demand"]
    if demand.factor > 1.5 or not d[0] <= demand.value <= d[-1]:
        raise FitRefused(
            what,
            f"the demand is known within a factor {demand.factor:.3g} only",
            f"jars close to {1e3 * float(d[best]):.3g} mg/L on both sides, in steps of a tenth",
        )
    weak = [fit[name].meaning for name in ("window", "strength") if not usable(fit[name])]
    if weak:
        return fit.with_cautions(
            f"{' and '.join(weak)} not sharp enough to be used; add jars far below and far above the "
            "best dose, one without coagulant among them"
        )
    return fit


def usable(parameter: Parameter, factor: float = WIDEST) -> bool:
    """Whether a parameter's interval is narrow enough for use: within a factor either way."""
    return parameter.factor <= factor


def dose_window(fit: Fit, rise: float = 0.5) -> Parameter:
    """Doses [kg/m3] between which a fitted jar test stays within a rise over its least turbidity.

    Parameters
    ----------
    fit : Fit
        Of `fit_coagulant`.
    rise : float
        Allowed rise over the least turbidity, [-]

    Returns
    -------
    Parameter
        The best dose, and the two ends of the window as its limits.
    """
    demand = fit.value("demand")
    least = float(fit.predict([demand])[0])
    grid = demand * np.linspace(0.0, 4.0, 8001)
    inside = grid[fit.predict(grid) <= (1.0 + rise) * least]
    return Parameter(
        "dose",
        demand,
        float(inside[0]),
        float(inside[-1]),
        "kg/m3",
        "best dose",
        f"window for {100 * rise:g} % above the least turbidity,",
    )


def fit_polymer(test: DoseSeries) -> Fit:
    r"""Polymer response by bridging: best dose and gain over no polymer, from one dose series.

    .. math:: v = v_m[1/g + (1-1/g)4\theta(1-\theta)], \quad \theta = \min(1, D/(2D_{opt}))

    Parameters
    ----------
    test : DoseSeries
        Five or more rates with one without polymer and one or more beyond the best.

    Returns
    -------
    Fit
        Parameters v_max [m/s], optimum [kg/kg] and gain [-].

    Raises
    ------
    FitRefused
        When the doses cannot carry optimum or gain.
    """
    d, v = test.rate_doses, test.rates
    what = f"polymer response of {test.label}"
    if len(d) == 0:
        raise FitRefused(what, "it has no settling rates", "initial settling rates at five or more doses")
    if len(d) < 5:
        raise FitRefused(
            what,
            f"{len(d)} doses cannot carry optimum and gain",
            "cylinders at five or more doses: none, two below the best, the best, and one well above",
        )
    if np.any(v <= 0.0):
        raise FitRefused(what, "a rate of 0", "that cylinder over a longer time, until its interface has moved")
    best = int(np.argmax(v))
    if best == len(d) - 1:
        raise FitRefused(
            what,
            f"the rate still rises at {1e6 * d[-1]:g} g/t: the best dose lies beyond",
            f"cylinders at {1.5e6 * d[-1]:.3g} and {2e6 * d[-1]:.3g} g/t",
        )
    if best == 0:
        raise FitRefused(what, "the rate never rises with dose", "another polymer, or doses below the first")
    if d[0] > 0.0:
        raise FitRefused(
            what,
            f"no cylinder without polymer (first dose {1e6 * d[0]:g} g/t), so the gain has no base",
            "a cylinder of the same sample without polymer, read for hours if need be",
        )

    def rate(dose: np.ndarray, p: Sequence[float]) -> np.ndarray:
        theta = np.minimum(1.0, 0.5 * dose / p[1])
        return p[0] * (1.0 / p[2] + (1.0 - 1.0 / p[2]) * 4.0 * theta * (1.0 - theta))

    unknowns = (
        Unknown("v_max", "m/s", "rate at the best dose", float(v[best])),
        Unknown("optimum", "kg/kg", "dose of the fastest settling", float(d[best])),
        Unknown("gain", "-", "rate at the best dose over that without polymer", max(float(v[best] / v[0]), 1.05)),
    )
    fit = regress(
        "polymer response by bridging",
        rate,
        d,
        v,
        unknowns,
        tests=[test.label],
        formula="v = v_max (1/gain + (1 - 1/gain) 4 th (1 - th)), th = min(1, D/(2 optimum))",
        source=BRIDGING,
        add="cylinders close to the best dose on both sides",
        relative=True,
        starts=[(float(v[best]), f * float(d[best]), max(float(v[best] / v[0]), 1.05)) for f in (0.75, 1.3)],
    )
    if fit["optimum"].factor > 2.0 or fit["gain"].factor > WIDEST:
        raise FitRefused(
            what,
            f"the optimum is known within a factor {fit['optimum'].factor:.2g} and the gain within "
            f"{fit['gain'].factor:.2g} only",
            "two more cylinders close to the best dose, and a repeat of each",
        )
    return fit


def fit_ph(test: PHSeries) -> Fit:
    """Best pH of a coagulant at one dose: a parabola through the logarithm of the turbidity left.

    Returns
    -------
    Fit
        Parameters least [NTU], optimum [pH] and curvature [1/pH2]. A parabola is common practice, no source.

    Raises
    ------
    FitRefused
        When no best pH lies between the readings.
    """
    x, n = test.ph, test.turbidity
    what = f"best pH of {test.label}"
    add = "jars over a wider range of pH, in steps of 0.5, on both sides of the clearest"
    if len(x) < 4:
        raise FitRefused(what, f"{len(x)} jars are too few", add)
    if np.any(n <= 0.0):
        raise FitRefused(what, "a jar reads 0 NTU", "that jar with an instrument of finer range")
    best = int(np.argmin(n))
    if best in (0, len(x) - 1):
        raise FitRefused(what, "the clearest jar is at the end of the range", add)
    curve = float(np.polyfit(x, np.log(n), 2)[0])
    return regress(
        "best pH",
        lambda ph, p: p[0] * np.exp(p[2] * (ph - p[1]) ** 2),
        x,
        n,
        (
            Unknown("least", "NTU", "turbidity at the best pH", float(n[best])),
            Unknown("optimum", "-", "best pH", float(x[best]), positive=False),
            Unknown("curvature", "1/pH2", "curvature", max(curve, 0.05)),
        ),
        tests=[test.label],
        formula="N = least exp(curvature (pH - optimum)^2)",
        source="common practice, no source",
        add=add,
        relative=True,
    )


def fit_turbidity(test: TurbidityTest, law: str = "linear") -> Fit:
    """Turbidity against suspended solids: NTU = k C ("linear") or a C^b ("power").

    Parameters
    ----------
    test : TurbidityTest
        Four or more solids over a factor of three.
    law : str
        "linear" or "power".

    Returns
    -------
    Fit
        Parameter k [NTU m3/kg]; or a [NTU at 1 kg/m3] and b [-].

    Raises
    ------
    FitRefused
        When the solids cannot carry it.
    """
    c, n = test.solids, test.turbidity
    what = f"turbidity of {test.label}"
    add = "a dilution series of four or more steps, each half of the one before, with water of the same sample"
    keep = c > 0.0
    c, n = c[keep], n[keep]
    if len(c) < 4:
        raise FitRefused(what, f"{len(c)} readings with solids are too few", add)
    if c[-1] < 3.0 * c[0]:
        raise FitRefused(what, f"solids from {1e3 * c[0]:g} to {1e3 * c[-1]:g} mg/L are too near each other", add)
    source = "linear by common practice; no relation is universal: Ruegner and others (2013), Environ. Earth "
    "Sci. 69, 373-380"
    slope = float(np.exp(np.mean(np.log(np.maximum(n, 1e-9) / c))))
    power = regress(
        "turbidity a C^b",
        lambda x, p: p[0] * x ** p[1],
        c,
        n,
        (
            Unknown("a", "NTU", "turbidity at 1 kg/m3", slope),
            Unknown("b", "-", "exponent", 1.0, positive=False),
        ),
        tests=[test.label],
        formula="NTU = a C^b",
        source=source,
        add=add,
        relative=True,
    )
    if law == "power":
        return power
    if law != "linear":
        raise ValueError(f"no law {law!r}; allowed: linear, power")
    fit = regress(
        "turbidity k C",
        lambda x, p: p[0] * x,
        c,
        n,
        (Unknown("k", "NTU.m3/kg", "turbidity per solids", slope),),
        tests=[test.label],
        formula="NTU = k C",
        source=source,
        add=add,
        relative=True,
    )
    b = power["b"]
    if not b.low <= 1.0 <= b.high:
        sense = (
            "a detector that saturates, or flocs in the thick samples"
            if b.value < 1.0
            else "water with colour or fines"
        )
        return fit.with_cautions(
            f"not in proportion: the exponent is {b.text()}; {sense}; use the power law, or thinner samples"
        )
    return fit


def fit_yield(test: YieldTest, solids_density: float, water_density: float = 998.2) -> Fit:
    """Yield stress of mud, a phi^b, from tests at different solids.

    Parameters
    ----------
    test : YieldTest
        Four or more solids.
    solids_density, water_density : float
        Densities, [kg/m3]

    Returns
    -------
    Fit
        Yield stress against volume fraction; parameters a [Pa] and b [-].

    Raises
    ------
    FitRefused
        When the solids cannot carry it.
    """
    what = f"yield stress of {test.label}"
    add = "vane or slump tests of four or more dilutions of one mud, over 10 % solids by weight or more"
    phi = np.array(
        [volume_fraction_from_mass_fraction(w, solids_density, water_density) for w in test.solids]
        if test.by_weight
        else test.solids / solids_density
    )
    if len(phi) < 4:
        raise FitRefused(what, f"{len(phi)} readings are too few", add)
    if phi[0] <= 0.0 or phi[-1] < 1.2 * phi[0]:
        raise FitRefused(what, "solids by volume are too near each other for an exponent", add)
    if np.any(test.stress <= 0.0):
        raise FitRefused(what, "a yield stress of 0 has no relative error", "leave that row out, or test thicker mud")
    middle = float(np.exp(np.mean(np.log(phi))))
    fit = regress(
        "yield stress a phi^b",
        lambda x, p: p[0] * (x / middle) ** p[1],
        phi,
        test.stress,
        (
            Unknown(
                "at_middle",
                "Pa",
                "yield stress at the middle solids",
                float(np.exp(np.mean(np.log(test.stress)))),
            ),
            Unknown("b", "-", "exponent", 4.0, positive=False),
        ),
        tests=[test.label],
        formula="tau = a phi^b",
        source="power law of muds, common practice, no source",
        add=add,
        relative=True,
    )
    b = fit["b"]
    if b.low <= 0.0 or b.factor > 2.0:
        raise FitRefused(what, f"the exponent stays open: {b.text()}", add)
    # a = tau_m phi_m^-b: its interval follows from the two, which are fitted apart so that they do not mix
    ln_a = math.log(fit.value("at_middle")) - b.value * math.log(middle)
    cov = fit.covariance
    slope = np.array([1.0, -math.log(middle)])
    from plantsim.analysis.lab.regression import _quantile

    half = _quantile(fit.dof) * math.sqrt(max(float(slope @ cov @ slope), 0.0))
    a = Parameter("a", math.exp(ln_a), math.exp(ln_a - half), math.exp(ln_a + half), "Pa", "factor")
    return _with(fit, (a, b)).with_cautions(
        f"use it from {100 * phi[0]:.3g} to {100 * phi[-1]:.3g} % solids by volume; "
        "a vane, a slump and a pipe test of one mud may differ by a third"
    )


def _with(fit: Fit, parameters: tuple[Parameter, ...]) -> Fit:
    return Fit(**{**fit.__dict__, "parameters": parameters})
