"""Size of a clarifier that thickens: areas from settling tests, flux and state point, rise rate, bed, rake.

Areas by formula are ideal: the safety factor is stated beside them, and the simulation of the plant is to prove
what they give. Results are for a designer who knows their limits; a licensed engineer and the maker of the machine
decide.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from scipy.integrate import quad

from plantsim.analysis.lab.data import Curve
from plantsim.analysis.lab.regression import Fit
from plantsim.analysis.lab.settling_fits import compression_point, initial_rate
from plantsim.analysis.sizing.areas import (
    Duty,
    Law,
    area_coe_clevenger,
    area_coe_clevenger_law,
    area_kynch,
    area_rise,
    area_talmage_fitch,
    batch_curve,
    dilution,
    limiting_flux,
    time_to,
)
from plantsim.analysis.sizing.result import PRACTICE, Line, NotSized, Plot, Result, Sheet, inputs, largest
from plantsim.physics.thickening import state_point

__all__ = [
    "Duty", "Law", "NotSized", "area_coe_clevenger", "area_coe_clevenger_law", "area_kynch", "area_rise",
    "area_talmage_fitch", "bed_depth", "curve_plot", "dilution", "flux_plot", "flux_results", "limiting_flux",
    "rake_torque", "rise_rate", "settling_speed", "size_clarifier", "solids_loading",
]  # fmt: skip

YOSHIOKA = "Yoshioka and others (1957), Chem. Eng. Jpn. 21, 66-74 (construction, from memory)"
KEINATH = "Keinath, T. M. (1985), J. WPCF 57(7), 770-776 (from memory)"

# Continuous torque over the square of the diameter, T = K D^2 [N/m]. Orders of magnitude of makers' tables for the
# duties, from memory; 1 lb/ft is 14.6 N/m. The class follows the yield stress of the underflow: below some 30 Pa
# conventional mud, to 100 Pa high-density, above it paste (bands from memory).
TORQUE_CLASSES: tuple[tuple[str, float, float], ...] = (
    ("light: thin mud", 10.0, 100.0),
    ("standard: conventional mud", 30.0, 200.0),
    ("heavy: high-density mud", 100.0, 600.0),
    ("extra heavy: paste", math.inf, 1500.0),
)


def flux_results(duty: Duty, law: Law, law_words: str, area: float) -> list[Result]:
    """Limiting flux, flux applied, and what the state point says of an area.

    Parameters
    ----------
    duty : Duty
        What it has to do.
    law : callable
        Settling speed [m/s] of solids [kg/m3].
    law_words : str
        Where the law comes from.
    area : float
        Area chosen, [m2]
    """
    C_L, J_L = limiting_flux(law, duty.feed_solids, duty.underflow_solids)
    common = (("underflow solids C_u", duty.underflow_solids, "kg/m3", "g/L"), ("area A", area, "m2", "m2"))
    flux, q_e, q_u, _ = state_point(duty.feed_solids, duty.feed_flow, duty.underflow, area)
    applied = duty.solids_rate / area
    clear = law(duty.feed_solids) * duty.feed_solids
    if flux > clear:
        verdict, holds = (
            "overloaded: the state point lies above the settling flux curve, so solids rise over the weir",
            False,
        )
    elif applied > J_L * (1.0 + 1e-9):
        verdict, holds = (
            ("overloaded in thickening: the underflow line cuts the falling limb of the flux curve, so the bed rises"),
            False,
        )
    else:
        verdict, holds = f"holds: the flux applied is {100 * applied / J_L:.0f} % of the limiting flux", True
    return [
        Result("limiting_flux", "limiting solids flux", J_L, "kg/m2/s", "J_L = min of v(C)/(1/C - 1/C_u)",
               inputs(("limiting solids C_L", C_L, "kg/m3", "g/L"), ("their speed", law(C_L), "m/s", "m/h"), common[0]),
               f"{YOSHIOKA}; law: {law_words}", (), "t/m2/h"),
        Result("applied_flux", "solids flux applied", applied, "kg/m2/s", "J = m/A",
               inputs(("solids fed m", duty.solids_rate, "kg/s", "t/h"), common[1]), "definition", (), "t/m2/h"),
        Result("state_point", "flux at the state point", flux, "kg/m2/s", "J = C_f Q_e/A",
               inputs(("feed solids C_f", duty.feed_solids, "kg/m3", "g/L"), ("overflow Q_e", duty.overflow, "m3/s",
               "m3/h"),
                      ("underflow line slope", q_u, "m/s", "m/h"), ("overflow line slope", q_e, "m/s", "m/h"),
                      common[1]),
               KEINATH, (), "t/m2/h", verdict, holds),
    ]  # fmt: skip


def flux_plot(duty: Duty, law: Law, area: float) -> Plot:
    """Settling flux curve, overflow and underflow line, state point and limiting tangent, for a plot."""
    C_L, J_L = limiting_flux(law, duty.feed_solids, duty.underflow_solids)
    flux, _, _, C_u = state_point(duty.feed_solids, duty.feed_flow, duty.underflow, area)
    c = np.linspace(0.0, 1.1 * C_u, 221)
    applied = duty.solids_rate / area
    return Plot("flux", "solids flux and state point", "solids", "kg/m3", "g/L", "flux", "kg/m2/s", "t/m2/h", (
        Line("settling flux", tuple(map(float, c)), tuple(float(x) * law(float(x)) if x > 0.0 else 0.0 for x in c)),
        Line("overflow line", (0.0, duty.feed_solids), (0.0, flux)),
        Line("underflow line", (0.0, C_u), (applied, 0.0)),
        Line("limiting tangent", (0.0, duty.underflow_solids), (J_L, 0.0)),
        Line("state point", (duty.feed_solids,), (flux,), True),
        Line("limiting solids", (C_L,), (C_L * law(C_L),), True),
    ))  # fmt: skip


# ---------------------------------------------------------------------------------------------- rise, bed, rake
def rise_rate(duty: Duty, area: float, settling_rate: float) -> Result:
    """Rise rate of an area, against the part of the settling speed that is allowed."""
    rise = duty.overflow / area
    limit = duty.rise_factor * settling_rate
    return Result(
        "rise_rate", "rise rate", rise, "m/s", "v_r = Q_e/A",
        inputs(("overflow Q_e", duty.overflow, "m3/s", "m3/h"), ("area A", area, "m2", "m2"),
               ("factor f", duty.rise_factor, "-"), ("settling speed of the feed v", settling_rate, "m/s", "m/h")),
        f"definition; limit f v: {PRACTICE}", (), "m/h",
        f"{'within' if rise <= limit * (1 + 1e-9) else 'above'} the {3600 * limit:.3g} m/h of f v",
        rise <= limit * (1 + 1e-9),
    )  # fmt: skip


def solids_loading(duty: Duty, area: float) -> Result:
    """Solids loading, with the range usual for quarry fines, 0.2 to 1.5 t/m2/h."""
    loading = duty.solids_rate / area
    shown = 3.6 * loading
    words = "within" if 0.2 <= shown <= 1.5 else "below" if shown < 0.2 else "above"
    return Result(
        "solids_loading",
        "solids loading",
        loading,
        "kg/m2/s",
        "m/A",
        inputs(("solids fed m", duty.solids_rate, "kg/s", "t/h"), ("area A", area, "m2", "m2")),
        f"definition; range 0.2 to 1.5 t/m2/h: {PRACTICE}",
        (),
        "t/m2/h",
        f"{words} the usual 0.2 to 1.5 t/m2/h of quarry fines",
    )


def bed_depth(duty: Duty, curve: Curve, area: float, compression_time: float | None = None) -> Result:
    r"""Depth of bed that gives the mud the time of compression, :math:`h = "
    "\frac{\dot m}{A}\int_{t_c}^{t_u}\frac{z}{C_0H}dt`.

    The mud under the interface of the test holds :math:`C_0H/z` on average; a bed fed with the duty's solids passes
    through the same solids in the same time.

    Raises
    ------
    NotSized
        When the curve never came down to the underflow's solids.
    """
    batch = batch_curve(curve)
    load = curve.solids * float(curve.heights[0])
    t_u = time_to(curve, duty.underflow_solids, "bed depth from")
    t_c = compression_point(curve)[0] if compression_time is None else compression_time
    span = max(t_u - t_c, 0.0)
    volume_time = quad(batch.height, t_c, t_u, limit=200)[0] / load if span > 0.0 else 0.0
    depth = duty.solids_rate * volume_time / area
    usual = "within" if 1.0 <= depth <= 4.0 else "below" if depth < 1.0 else "above"
    return Result(
        "bed_depth", "bed depth for compression", depth, "m", "h = (m/A) integral of z/(C0 H) dt from t_c to t_u",
        inputs(("solids fed m", duty.solids_rate, "kg/s", "t/h"), ("area A", area, "m2", "m2"),
               ("compression point t_c", t_c, "s", "min"), ("time to the underflow's solids t_u", t_u, "s", "min")),
        f"solids balance over the compression of the test, after Coe and Clevenger (1916); usual 1 to 4 m: {PRACTICE}",
        ("a deep bed compresses faster than a short cylinder and a raked one faster still; give 1 m at least",), "m",
        f"{usual} the usual 1 to 4 m",
    )  # fmt: skip


def rake_torque(duty: Duty, area: float) -> Result:
    """Continuous rake torque by :math:`T = KD^2`, with K by the yield stress of the underflow."""
    diameter = math.sqrt(4.0 * area / math.pi)
    stress = duty.yield_stress
    name, _, k = TORQUE_CLASSES[1] if stress is None else next(c for c in TORQUE_CLASSES if stress < c[1])
    items = [("factor K", k, "N/m"), ("diameter D", diameter, "m", "m")]
    if stress is not None:
        items.append(("yield stress of the underflow", stress, "Pa", "Pa"))
    cautions = [
        "K is an order of magnitude from memory: the maker's figure for the duty counts",
        "a bed that has stood or holds sand needs several times as much: lift, trip and a soft start",
    ]
    if stress is None:
        cautions.append("yield stress of the underflow not given: taken as conventional mud")
    elif stress > 200.0:
        cautions.append("above some 150 to 200 Pa mud hardly flows to a pump (common practice, no source)")
    return Result(
        "rake_torque",
        "continuous rake torque",
        k * diameter**2,
        "N.m",
        "T = K D^2",
        inputs(*items),
        f"K-factor rule of rake drives: {PRACTICE}, values from memory",
        tuple(cautions),
        "kN.m",
        f"class {name}",
    )


# ---------------------------------------------------------------------------------------------- all of it
def size_clarifier(
    duty: Duty,
    curves: Sequence[Curve],
    law: Fit | Law | None = None,
    law_words: str = "",
    area: float | None = None,
    compression_time: float | None = None,
) -> Sheet:
    """Size a clarifier by every method the tests allow.

    Parameters
    ----------
    duty : Duty
        What it has to do.
    curves : sequence of Curve
        Cylinders, treated as in the plant; the one nearest the feed's solids serves for the methods of one curve.
    law : Fit or callable, optional
        Settling law; speeds in m/s of solids in kg/m3, as tested.
    law_words : str
        Where a callable law comes from.
    area : float, optional
        Area of a clarifier that stands already; left out: the largest by the methods times the safety factor, [m2]
    compression_time : float, optional
        Own judgement of the compression point of that curve, [s]

    Returns
    -------
    Sheet
        Areas by method, area chosen, diameter, flux, rise rate, loading, bed, torque; what could not be sized stands
        in `left_out`.

    Raises
    ------
    NotSized
        When no method gives an area.
    """
    sheet = Sheet(
        "Clarifier",
        cautions=[
            "Formulas are ideal and steady: prove the size by simulation over the range of feeds, cold water and "
            "sticky faces.",
            "Sizing is no design: a licensed engineer, local codes and the maker of the machine decide.",
        ],
    )
    areas: list[Result] = []
    speed, words = _law(law, law_words, duty.solids_density)
    if speed is not None:
        areas.append(area_coe_clevenger_law(duty, speed))
    else:
        sheet.left_out.append(
            "area by Coe and Clevenger, flux and state point: no settling law; test to add: cylinders at "
            "three or more solids"
        )
    nearest = min(curves, key=lambda c: abs(math.log(c.solids / duty.feed_solids)), default=None)
    curve = at_20_degrees(nearest) if nearest is not None else None
    if nearest is not None and compression_time is not None:
        compression_time /= nearest.viscosity_ratio
    settling = speed(duty.feed_solids) if speed is not None else None
    if curve is not None:
        methods: list[Callable[[], Result]] = [
            lambda: area_talmage_fitch(duty, curve, compression_time),
            lambda: area_kynch(duty, curve),
        ]
        for method in methods:
            try:
                areas.append(method())
            except NotSized as reason:
                sheet.left_out.append(str(reason))
        if not 0.67 <= curve.solids / duty.feed_solids <= 1.5:
            sheet.cautions.append(
                f"The curve nearest to the feed, {curve.label}, has {curve.solids:g} g/L, the feed "
                f"{duty.feed_solids:g} g/L: test at the feed's own solids."
            )
        if settling is None:
            settling = initial_rate(curve).value
    if settling is not None:
        areas.append(area_rise(duty, settling))
    if not areas or settling is None:
        raise NotSized("found neither a settling law nor a curve; allowed: one of them, to size a clarifier from")
    governs = largest(areas)
    sheet.add(*areas)
    cold = duty.cold_factor
    chosen = duty.safety * cold * governs.value if area is None else area
    sheet.add(_chosen(duty, governs, chosen, area is None))
    sheet.add(
        Result(
            "diameter",
            "diameter",
            math.sqrt(4.0 * chosen / math.pi),
            "m",
            "D = sqrt(4 A/pi)",
            inputs(("area A", chosen, "m2", "m2")),
            "geometry",
            (),
            "m",
        )
    )
    if speed is not None:
        sheet.add(*flux_results(duty, speed, words, chosen))
        sheet.plots.append(flux_plot(duty, speed, chosen))
    sheet.add(rise_rate(duty, chosen, settling), solids_loading(duty, chosen))
    if curve is not None:
        try:
            sheet.add(bed_depth(duty, curve, chosen, compression_time))
        except NotSized as reason:
            sheet.left_out.append(str(reason))
        sheet.plots.append(curve_plot(duty, curve, compression_time))
    sheet.add(rake_torque(duty, chosen))
    return sheet


def at_20_degrees(curve: Curve) -> Curve:
    """The curve as it would have run at 20 degC: times by the ratio of viscosities."""
    return replace(curve, times=curve.times / curve.viscosity_ratio, temperature=20.0)


def _chosen(duty: Duty, governs: Result, area: float, sized: bool) -> Result:
    need = duty.safety * duty.cold_factor
    items = inputs(
        ("largest area, 20 degC", governs.value, "m2", "m2"),
        ("safety factor S", duty.safety, "-"),
        ("slower in the coldest water F", duty.cold_factor, "-"),
    )
    source = f"viscosity of water for F, safety factor: {PRACTICE}"
    if sized:
        verdict = f"governed by the {governs.name}"
        return Result(
            "area", "area to build", area, "m2", "A = S F max of the areas above", items, source, (), "m2", verdict
        )
    verdict = f"{area / governs.value:.3g} times the {governs.name}, which governs; {need:.3g} asked for"
    holds = area >= need * governs.value * (1.0 - 1e-9)
    return Result("area", "area as it stands", area, "m2", "given", items, source, (), "m2", verdict, holds)


def _law(law: Fit | Law | None, words: str, solids_density: float) -> tuple[Law | None, str]:
    if law is None or not isinstance(law, Fit):
        return law, words or "given"
    fit = law
    if [p.name for p in fit.parameters][:1] != ["v0"]:
        raise ValueError(f"{fit.law} is no settling law")
    return settling_speed(fit, solids_density), f"{fit.formula} of {', '.join(fit.tests)}"


def settling_speed(fit: Fit, solids_density: float = 2650.0) -> Law:
    """Speed [m/s] of solids [kg/m3] by a fitted settling law, from several cylinders or a whole curve alike."""
    v0, second = fit.value("v0"), fit.parameters[1]
    if second.name == "r":
        return lambda c: v0 * math.exp(-second.value * c)
    return lambda c: v0 * max(1.0 - c / solids_density, 0.0) ** second.value


def curve_plot(duty: Duty, curve: Curve, compression_time: float | None = None) -> Plot:
    """The settling curve with its compression point and the height of the underflow's solids, for a plot."""
    t_c = compression_point(curve)[0] if compression_time is None else compression_time
    z_u = curve.solids * float(curve.heights[0]) / duty.underflow_solids
    return Plot("settling_curve", f"settling curve {curve.label}", "time", "s", "min", "height", "m", "m", (
        Line("readings", tuple(map(float, curve.times)), tuple(map(float, curve.heights)), True),
        Line("compression point", (t_c,), (batch_curve(curve).height(t_c),), True),
        Line("height of the underflow's solids", (0.0, float(curve.times[-1])), (z_u, z_u)),
    ))  # fmt: skip
