"""Settling laws and compression from cylinders: initial rates, whole curves after Kynch, heights at rest.

Speeds are brought to 20 degC by the viscosity of water. They are those of the sample as it was tested, polymer
included: `water_file` takes the polymer's share out where a dose series tells it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import t as student

from plantsim.analysis.lab.data import Curve, RestHeights
from plantsim.analysis.lab.regression import Fit, FitRefused, Parameter, Unknown, regress
from plantsim.physics.kynch import batch_richardson_zaki, batch_vesilind
from plantsim.physics.stress import equilibrium_power
from plantsim.physics.thickening import BatchCurve
from plantsim.physics.water import density

VESILIND = "Vesilind, P. A. (1968), Water Sewage Works 115, 302-307"
RICHARDSON_ZAKI = "Richardson, J. F., Zaki, W. N. (1954), Trans. Inst. Chem. Eng. 32, 35-53"
KYNCH = "Kynch, G. J. (1952), Trans. Faraday Soc. 48, 166-176"


@dataclass(frozen=True)
class InitialRate:
    """Settling speed of the straight part of a curve [m/s], at the test's temperature, with its interval.

    `readings` on the straight part; `resolved` is False when the curve bends before a third reading, so that the
    speed is a lower bound only.
    """

    value: float
    low: float
    high: float
    readings: int
    resolved: bool
    start: float
    end: float


def initial_rate(curve: Curve) -> InitialRate:
    """Speed of the straight part of a settling curve.

    Among all runs of three or more readings that a straight line meets within 1.5 % of the fall (2 mm at least),
    the one with the longest fall is taken; slow wetting at the start is so left out. It must begin before a third
    of the fall is gone. Common practice, no source for the limits.

    Parameters
    ----------
    curve : Curve
        Readings.

    Returns
    -------
    InitialRate
        At the temperature of the test.
    """
    t, z = curve.times, curve.heights
    fall = z[0] - z[-1]
    limit = max(0.015 * fall, 0.002)
    best: tuple[float, int, int, float, float] | None = None
    for i in range(len(t) - 2):
        if z[0] - z[i] > fall / 3.0:
            break
        for j in range(i + 3, len(t) + 1):
            slope, level = np.polyfit(t[i:j], z[i:j], 1)
            off = z[i:j] - (slope * t[i:j] + level)
            if np.max(np.abs(off)) > limit:
                break
            length = z[i] - z[j - 1]
            if best is None or length > best[0] * (1.0 + 1e-12):
                se = math.sqrt(float(off @ off) / (j - i - 2) / float(np.sum((t[i:j] - np.mean(t[i:j])) ** 2)))
                best = (length, i, j, -float(slope), float(student.ppf(0.975, j - i - 2)) * se)
    if best is None or best[0] < 0.15 * fall or best[3] <= 0.0:
        steps = -np.diff(z) / np.diff(t)
        k = int(np.argmax(steps))
        return InitialRate(float(steps[k]), float(steps[k]), math.inf, 2, False, float(t[k]), float(t[k + 1]))
    _, i, j, rate, half = best
    return InitialRate(rate, rate - half, rate + half, j - i, True, float(t[i]), float(t[j - 1]))


def _same_treatment(curves: Sequence[Curve], what: str) -> None:
    doses = [c.polymer for c in curves]
    if max(doses) > 1.1 * min(doses) + 1e-9 or len({c.as_treated for c in curves}) > 1:
        listed = ", ".join(f"{1e6 * d:g}" for d in sorted(set(doses)))
        raise FitRefused(
            what,
            f"the cylinders differ in treatment (polymer {listed} g/t), so their speeds differ by more than solids",
            "cylinders at three or more solids, all with the same polymer dose",
        )


def fit_flux_law(curves: Sequence[Curve], law: str = "vesilind", solids_density: float = 2650.0) -> Fit:
    r"""Settling law from the initial rates of several cylinders, at 20 degC.

    Parameters
    ----------
    curves : sequence of Curve
        Cylinders at three or more solids, treated alike.
    law : str
        "vesilind", :math:`v_0e^{-rC}` with v0 [m/s] and r [m3/kg]; or "richardson-zaki",
        :math:`v_0(1-C/\rho_s)^n` with n [-].
    solids_density : float
        Density of the solids, [kg/m3]

    Returns
    -------
    Fit
        Speed against solids.

    Raises
    ------
    FitRefused
        When the cylinders cannot carry it.
    """
    tests = [c.label for c in curves]
    what = f"settling law from initial rates of {', '.join(tests) or 'no cylinder'}"
    solids = sorted(c.solids for c in curves)
    apart = [a for i, a in enumerate(solids) if i == 0 or a > 1.05 * solids[i - 1]]
    add = "cylinders at three or more solids over a factor of two, thickest at or above the feed's"
    if solids:
        add += f", such as {', '.join(f'{f * solids[0]:.3g}' for f in (1, 1.5, 2, 3))} g/L"
    if len(apart) < 3:
        raise FitRefused(what, f"it needs three solids, found {len(apart)}", add)
    if solids[-1] < 1.5 * solids[0]:
        raise FitRefused(what, f"solids from {solids[0]:g} to {solids[-1]:g} g/L are too near each other", add)
    _same_treatment(curves, what)
    rates = [initial_rate(c) for c in curves]
    short = [c.label for c, rate in zip(curves, rates) if not rate.resolved]
    if short:
        raise FitRefused(
            what,
            f"the straight part of {', '.join(short)} has fewer than three readings",
            "the same cylinders read every 5 to 15 s until the interface has fallen a third",
        )
    v = np.array([rate.value * c.viscosity_ratio for c, rate in zip(curves, rates)])
    x = np.array([c.solids for c in curves])
    fit = _velocity_fit(law, x, v, tests, solids_density, add)
    second = fit.parameters[1]
    if second.low <= 0.0:
        raise FitRefused(
            what,
            "speeds do not surely fall with solids (the interval of "
            f"{second.meaning}, {second.low:.3g} to {second.high:.3g}, holds 0)",
            add,
        )
    return fit


def _velocity_fit(law: str, x: np.ndarray, v: np.ndarray, tests: Sequence[str], rho: float, add: str) -> Fit:
    slope = max(-np.polyfit(x, np.log(v), 1)[0], 1e-6) if len(x) > 1 else 0.01
    start = float(np.exp(np.mean(np.log(v) + slope * x)))
    v0 = Unknown("v0", "m/s", "speed at no solids, 20 degC", start)
    if law == "vesilind":
        unknowns = (v0, Unknown("r", "m3/kg", "hindrance", float(slope), positive=False))
        return regress(
            "settling law v0 exp(-r C)",
            lambda c, p: p[0] * np.exp(-p[1] * c),
            x,
            v,
            unknowns,
            tests=tests,
            formula="v = v0 exp(-r C)",
            source=VESILIND,
            add=add,
            relative=True,
        )
    if law == "richardson-zaki":
        unknowns = (v0, Unknown("n", "-", "exponent", float(slope * rho), positive=False))
        return regress(
            "settling law v0 (1 - phi)^n",
            lambda c, p: p[0] * (1.0 - c / rho) ** p[1],
            x,
            v,
            unknowns,
            tests=tests,
            formula="v = v0 (1 - C/rho_s)^n",
            source=RICHARDSON_ZAKI,
            add=add,
            relative=True,
        )
    raise ValueError(f"no law {law!r}; allowed: vesilind, richardson-zaki")


def fit_whole_curve(curve: Curve, law: str = "vesilind", solids_density: float = 2650.0) -> Fit:
    """Settling law from one whole curve: the exact batch solution of Kynch, laid through the readings.

    Parameters
    ----------
    curve : Curve
        A cylinder read well beyond the bend.
    law : str
        "vesilind" or "richardson-zaki", as `fit_flux_law`.
    solids_density : float
        Density of the solids, [kg/m3]

    Returns
    -------
    Fit
        Height of the interface against time; v0 at 20 degC. A caution tells when the readings lie far off, as
        they do where the mud compresses.

    Raises
    ------
    FitRefused
        When the curve never bends, or the readings cannot carry it.
    """
    what = f"settling law from the whole curve of {curve.label}"
    t, z = curve.times, curve.heights
    add = "the same cylinder read until the interface falls less than a tenth as fast as at first"
    steps = -np.diff(z) / np.diff(t)
    if len(t) < 6:
        raise FitRefused(
            what,
            f"{len(t)} readings are too few for a whole curve",
            "the same cylinder with ten or more readings, close together at first, to the rest height",
        )
    if steps[-1] > 0.3 * np.max(steps):
        raise FitRefused(what, "the interface still falls nearly as fast as at first: the curve has not bent", add)
    # the readings at rest say how far the mud packs, not how fast it falls: the first of them is kept
    resting = np.flatnonzero(z <= z[-1] + 0.01 * (z[0] - z[-1]))
    used = slice(0, int(resting[0]) + 1)
    t, z = t[used], z[used]
    height, C0 = float(z[0]), curve.solids
    ratio = curve.viscosity_ratio
    vesilind = law == "vesilind"
    C_end = C0 * height / max(float(z[-1]), 1e-6 * height)
    v_start = float(np.max(steps)) * ratio
    if vesilind:
        start2, name2, unit2, meaning2 = 2.5 / (0.5 * (C0 + C_end)), "r", "m3/kg", "hindrance"
        start1 = v_start * math.exp(min(start2 * C0, 20.0))
    elif law == "richardson-zaki":
        start2, name2, unit2, meaning2 = 2.5 * solids_density / (0.5 * (C0 + C_end)), "n", "-", "exponent"
        start1 = v_start * math.exp(min(start2 * C0 / solids_density, 20.0))
    else:
        raise ValueError(f"no law {law!r}; allowed: vesilind, richardson-zaki")

    def heights(times: np.ndarray, p: Sequence[float]) -> np.ndarray:
        v0 = p[0] / ratio
        try:
            exact = (
                batch_vesilind(C0, height, v0, p[1])
                if vesilind
                else batch_richardson_zaki(C0 / solids_density, height, v0, max(p[1], 1.01))
            )
            return np.array([exact.interface_height(float(x)) for x in times])
        except ValueError:  # so thick at the start that the law cannot follow: as if it never settled
            return np.full(len(times), height)

    unknowns = (
        Unknown("v0", "m/s", "speed at no solids, 20 degC", start1),
        Unknown(name2, unit2, meaning2, start2),
    )
    fit = regress(
        f"whole-curve settling law ({law})",
        heights,
        t,
        z,
        unknowns,
        tests=[curve.label],
        formula="interface of Kynch's batch solution for "
        + ("v = v0 exp(-r C)" if vesilind else "v = v0 (1 - C/rho_s)^n"),
        source=KYNCH,
        add=add,
        starts=[(2.0 * start1, 1.4 * start2), (0.6 * start1, 0.6 * start2)],
    )
    if fit.parameters[1].factor > 2.0 or fit.parameters[0].factor > 4.0:
        raise FitRefused(
            what,
            f"its parameters stay open (v0 within a factor {fit.parameters[0].factor:.2g}, "
            f"{name2} within {fit.parameters[1].factor:.2g})",
            add + ", or cylinders at other solids",
        )
    cautions = ["one cylinder alone: a second at other solids would prove the law"]
    if fit.spread > 0.02 * height:
        cautions.append(
            f"readings lie {100 * fit.spread / height:.1f} % of the filled height off the law (standard "
            "error): mud that compresses, or a curve too coarse at its start"
        )
    return fit.with_cautions(*cautions)


def kynch_points(curve: Curve) -> tuple[np.ndarray, np.ndarray]:
    """Settling speeds against solids from the tangents of one curve, for use as a table without a fitted form.

    Parameters
    ----------
    curve : Curve
        A cylinder read beyond the bend.

    Returns
    -------
    solids : ndarray
        Rising from the filled solids, [kg/m3]
    speeds : ndarray
        Falling, at 20 degC, [m/s]

    Notes
    -----
    Tangents that break the order (solids rising, speeds falling, a flux of one hump with straight lines of the
    logarithm of speed between points) are left out: they are noise of the readings, or compression.

    Raises
    ------
    FitRefused
        When fewer than three points are left.
    """
    smooth = BatchCurve(list(curve.times), list(curve.heights), curve.solids)
    solids, speeds = [curve.solids], [initial_rate(curve).value]
    for t in curve.times[1:-1]:
        c, v = smooth.concentration(float(t)), smooth.velocity(float(t))
        if c <= 1.02 * solids[-1] or not 0.0 < v < 0.98 * speeds[-1]:
            continue
        falling = len(solids) > 1 and solids[-1] * speeds[-1] < solids[-2] * speeds[-2]
        # once the flux falls, the speed has to fall at least as 1/C all along the line to the next point
        steep = math.log(speeds[-1] / v) / (c - solids[-1])
        if falling and steep * solids[-1] < 1.0:
            continue
        solids.append(c)
        speeds.append(v)
    if len(solids) < 3:
        raise FitRefused(
            f"settling speeds from tangents of {curve.label}",
            "the curve gives fewer than three points in order",
            "the same cylinder with ten or more readings around its bend",
        )
    return np.array(solids), np.array(speeds) * curve.viscosity_ratio


def compression_point(curve: Curve) -> tuple[float, float]:
    """Time [s] and height [m] at which the interface enters compression, by the bisector of the end tangents.

    The lines of the initial rate and of the last quarter of the time cross; the bisector of their angle, drawn with
    both axes at full scale, meets the curve at the compression point.

    Notes
    -----
    A construction by eye of the handbooks, which depends on the scales of the drawing; give your own point where
    your judgement differs. Described in Metcalf & Eddy, Wastewater Engineering (from memory).
    """
    t, z = curve.times, curve.heights
    smooth = BatchCurve(list(t), list(z), curve.solids)
    first = initial_rate(curve)
    T, H = float(t[-1] - t[0]), float(z[0])
    last = max(0, len(t) - 3) if np.sum(t >= t[0] + 0.75 * T) < 2 else int(np.flatnonzero(t >= t[0] + 0.75 * T)[0])
    slope_last, level_last = np.polyfit(t[last:], z[last:], 1)
    # in the drawing: x = t/T, y = z/H
    a1, b1 = -first.value * T / H, (smooth.height(first.start) + first.value * first.start) / H
    a2, b2 = float(slope_last) * T / H, float(level_last) / H
    x0 = (b2 - b1) / (a1 - a2) if a1 != a2 else 0.5
    y0 = a1 * x0 + b1
    # the bisector leads from the crossing into the angle the curve lies in, up and to the right
    u1 = np.array([-1.0, -a1]) / math.hypot(1.0, a1)
    u2 = np.array([1.0, a2]) / math.hypot(1.0, a2)
    way = u1 + u2
    if np.hypot(*way) < 1e-9:
        way = np.array([0.0, 1.0])
    grid = np.linspace(float(t[0]), float(t[-1]), 4001)
    heights = np.array([smooth.height(x) for x in grid])
    off = (grid / T - x0) * way[1] - (heights / H - y0) * way[0]
    near = int(np.argmin(np.abs(off)))
    return float(grid[near]), float(heights[near])


def gel_bracket(curve: Curve) -> Parameter:
    """Bracket of the gel point from the end of one curve.

    From below: Kynch's concentration at the interface where compression begins. From above: the mean solids of the
    mud at the end, which is the gel point itself when nothing has compressed. No confidence interval.

    Raises
    ------
    FitRefused
        When the interface still fell at the end.
    """
    what = f"gel point from the end of {curve.label}"
    t, z = curve.times, curve.heights
    fall = z[0] - z[-1]
    end_rate = (z[-2] - z[-1]) / (t[-1] - t[-2])
    if end_rate > 0.02 * initial_rate(curve).value or fall <= 0.0:
        raise FitRefused(
            what,
            "the interface still fell at the last reading",
            "the same cylinder left 24 h, or until two readings an hour apart agree",
        )
    smooth = BatchCurve(list(t), list(z), curve.solids)
    t_c, _ = compression_point(curve)
    high = curve.solids * float(z[0]) / float(z[-1])
    low = min(smooth.concentration(t_c), 0.999 * high)
    return Parameter("gel", math.sqrt(low * high), low, high, "kg/m3", "gel point", "bracket, no interval:")


def fit_compression(test: RestHeights, solids_density: float, temperature: float = 20.0, k: float | None = None) -> Fit:
    r"""Gel point and effective stress of mud from heights at rest of cylinders filled to different loads.

    The rest height of a load m = C0 H under its own buoyant weight with the stress
    :math:`\sigma_0[(C/C_g)^k - 1]` is known in closed form; gel point, stress scale and exponent are fitted.

    Parameters
    ----------
    test : RestHeights
        Three or more loads over a factor of three (k given), five or more (k fitted).
    solids_density : float
        Density of the solids, [kg/m3]
    temperature : float
        Of the water, [degC]
    k : float, optional
        Exponent held fixed; left out: fitted with five or more loads, else held at 6, a value of common practice.

    Returns
    -------
    Fit
        Rest height against load; parameters gel [kg/m3], s0 [Pa] and, if fitted, k [-].

    Raises
    ------
    FitRefused
        When the loads cannot carry it.
    """
    what = f"gel point and compression of {test.label}"
    load = test.filled * test.solids
    mean = load / test.rest
    add = (
        "cylinders of the same mud filled to loads over a factor of five or more, such as 0.1, 0.2, 0.5 and 1 m deep, "
        "left 24 h or until they rest"
    )
    if np.max(load) < 3.0 * np.min(load):
        raise FitRefused(
            what, f"loads from {np.min(load):.3g} to {np.max(load):.3g} kg/m2 are too near each other", add
        )
    if np.max(mean) < 1.03 * np.min(mean):
        raise FitRefused(what, "mean solids at rest hardly rise with the load, so the stress stays open", add)
    held = k if k is not None else None if len(load) >= 5 else 6.0
    delta = solids_density - float(density(temperature))

    def rest(m: np.ndarray, p: Sequence[float]) -> np.ndarray:
        gel, s0 = p[0], p[1]
        expo = held if held is not None else p[2]
        if expo <= 1.001:
            return np.full(len(m), 1e3)
        return np.array(
            [equilibrium_power(x / solids_density, 1.0, gel / solids_density, s0, expo, delta)[1] for x in m]
        )

    unknowns = [
        Unknown("gel", "kg/m3", "gel point", 0.9 * float(np.min(mean))),
        Unknown("s0", "Pa", "stress scale", max(9.81 * delta / solids_density * float(np.median(load)) / 3.0, 0.1)),
    ]
    if held is None:
        unknowns.append(Unknown("k", "-", "stress exponent", 6.0))
    fit = regress(
        "gel point and compression",
        rest,
        load,
        test.rest,
        unknowns,
        tests=[test.label],
        formula="rest height of a column under its own weight, sigma = s0 ((C/gel)^k - 1)"
        + ("" if held is None else f" with k = {held:g} held"),
        source="Bustos, Concha, Buerger and Tory (1999), Sedimentation and Thickening, Kluwer (closed form)",
        add=add,
        relative=True,
    )
    if fit["gel"].factor > 1.5 or fit["s0"].factor > 10.0:
        raise FitRefused(
            what,
            f"the gel point is known within a factor {fit['gel'].factor:.2g} and the stress scale "
            f"within {fit['s0'].factor:.2g} only",
            add,
        )
    return (
        fit
        if held is None or k is not None
        else fit.with_cautions(f"exponent held at {held:g} (common practice, no source): fewer than five loads")
    )
