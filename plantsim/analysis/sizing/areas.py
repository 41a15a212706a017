"""Areas of a clarifier from settling tests, and the flux that limits it.

Areas by formula are ideal: no safety factor is in them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq, minimize_scalar

from plantsim.analysis.lab.data import Curve
from plantsim.analysis.lab.settling_fits import compression_point
from plantsim.analysis.sizing.result import PRACTICE, NotSized, Result, inputs
from plantsim.physics.thickening import BatchCurve, coe_clevenger_area
from plantsim.physics.water import viscosity

COE_CLEVENGER = "Coe, H. S., Clevenger, G. H. (1916), Trans. AIME 55, 356-384"
TALMAGE_FITCH = "Talmage, W. P., Fitch, E. B. (1955), Ind. Eng. Chem. 47(1), 38-41"
KYNCH = "Kynch, G. J. (1952), Trans. Faraday Soc. 48, 166-176"

Law = Callable[[float], float]
"""Settling speed [m/s] of dry solids per volume [kg/m3]."""


@dataclass(frozen=True)
class Duty:
    """What the clarifier has to do.

    Attributes
    ----------
    feed_flow : float
        Greatest lasting feed, [m3/s]
    feed_solids : float
        Its dry solids, [kg/m3]
    underflow_solids : float
        Wanted of the underflow, [kg/m3]
    solids_density, liquid_density : float
        Densities, [kg/m3]
    safety : float
        Factor on the area, [-]
    rise_factor : float
        Rise rate allowed over the settling speed of the feed, [-]
    yield_stress : float or None
        Of the underflow, [Pa]
    coldest : float
        Coldest water in which it has to hold this duty, [degC]
    """

    feed_flow: float
    feed_solids: float
    underflow_solids: float
    solids_density: float = 2650.0
    liquid_density: float = 998.2
    safety: float = 1.5
    rise_factor: float = 0.5
    yield_stress: float | None = None
    coldest: float = 20.0

    def __post_init__(self) -> None:
        if not (self.feed_flow > 0.0 and self.feed_solids > 0.0):
            raise NotSized(
                f"found a feed of {self.feed_flow:g} m3/s with {self.feed_solids:g} kg/m3; allowed: both above 0"
            )
        if self.underflow_solids <= self.feed_solids:
            raise NotSized(
                f"found an underflow of {self.underflow_solids:g} kg/m3 from a feed of {self.feed_solids:g}; "
                "allowed: an underflow thicker than the feed"
            )
        if self.safety < 1.0:
            raise NotSized(f"found a safety factor of {self.safety:g}; allowed: 1 or more")
        if not 0.0 < self.rise_factor <= 1.0:
            raise NotSized(f"found a rise factor of {self.rise_factor:g}; allowed: above 0, at most 1")

    @property
    def cold_factor(self) -> float:
        """How much slower mud settles in the coldest water than at 20 degC: the ratio of viscosities [-]."""
        return max(1.0, float(viscosity(self.coldest) / viscosity(20.0)))

    @property
    def solids_rate(self) -> float:
        """Dry solids fed [kg/s]."""
        return self.feed_flow * self.feed_solids

    @property
    def underflow(self) -> float:
        """Underflow at full capture [m3/s]."""
        return self.solids_rate / self.underflow_solids

    @property
    def overflow(self) -> float:
        """Clear water off [m3/s]."""
        return self.feed_flow - self.underflow


def dilution(solids: float, solids_density: float, liquid_density: float) -> float:
    """Mass of water per mass of solids of a slurry of dry solids per volume, [-]."""
    return (1.0 / solids - 1.0 / solids_density) * liquid_density


# ---------------------------------------------------------------------------------------------- areas
def area_coe_clevenger(
    solids_rate: float,
    dilutions: Sequence[float],
    velocities: Sequence[float],
    underflow_dilution: float,
    liquid_density: float = 1000.0,
) -> Result:
    r"""Area from settling speeds measured at several dilutions, :math:`A = \dot m\max(Y-U)/(v\rho)`.

    Parameters
    ----------
    solids_rate : float
        Dry solids fed, [kg/s]
    dilutions, velocities : sequence of float
        Water per solids [-] from the feed's to the underflow's, and settling speed there, [m/s]
    underflow_dilution : float
        Water per solids of the underflow, [-]
    liquid_density : float
        Density of the liquid, [kg/m3]

    Returns
    -------
    Result
        Area without safety factor.

    Examples
    --------
    >>> area_coe_clevenger(1.33, [5.0, 4.2, 3.7, 3.1, 2.5], [2e-4, 1.2e-4, 0.94e-4, 0.7e-4, 0.5e-4], 1.5).text()
    '31.13 m2'
    """
    area = coe_clevenger_area(solids_rate, dilutions, underflow_dilution, velocities, liquid_density)
    ratios = [(y - underflow_dilution) / v for y, v in zip(dilutions, velocities)]
    at = int(np.argmax(ratios))
    return Result(
        "area_coe_clevenger", "area by Coe and Clevenger", area, "m2", "A = m max((Y - U)/(v rho))",
        inputs(("solids fed m", solids_rate, "kg/s", "t/h"), ("governing dilution Y", dilutions[at], "-"),
               ("its speed v", velocities[at], "m/s", "m/h"), ("underflow dilution U", underflow_dilution, "-"),
               ("density of water rho", liquid_density, "kg/m3", "kg/m3")),
        COE_CLEVENGER, ("takes settling speed to depend on solids alone: flocculated feeds need tests at their "
        "own dose",),
        "m2",
    )  # fmt: skip


def area_coe_clevenger_law(duty: Duty, law: Law) -> Result:
    """Area by Coe and Clevenger from a fitted settling law, over all solids from the feed's to the underflow's."""
    C_L, flux = limiting_flux(law, duty.feed_solids, duty.underflow_solids)
    return Result(
        "area_coe_clevenger", "area by Coe and Clevenger", duty.solids_rate / flux, "m2",
        "A = m max((1/C - 1/C_u)/v(C)), C from feed to underflow",
        inputs(("solids fed m", duty.solids_rate, "kg/s", "t/h"), ("governing solids C", C_L, "kg/m3", "g/L"),
               ("its speed v", law(C_L), "m/s", "m/h"), ("underflow solids C_u", duty.underflow_solids, "kg/m3",
               "g/L")),
        COE_CLEVENGER, ("takes settling speed to depend on solids alone",), "m2",
    )  # fmt: skip


def batch_curve(curve: Curve) -> BatchCurve:
    """A laboratory curve as the constructions of thickening read it."""
    return BatchCurve(list(curve.times), list(curve.heights), curve.solids)


def area_talmage_fitch(duty: Duty, curve: Curve, compression_time: float | None = None) -> Result:
    r"""Area from one curve by the tangent at the compression point, :math:`A = \dot m t_u/(C_0H)`.

    Parameters
    ----------
    duty : Duty
        What it has to do.
    curve : Curve
        Settling curve at or near the feed's solids.
    compression_time : float, optional
        Time at which compression begins; left out: by the bisector of the end tangents, [s]

    Raises
    ------
    NotSized
        When the curve never came down to the underflow's solids.
    """
    batch = batch_curve(curve)
    t_c = compression_point(curve)[0] if compression_time is None else compression_time
    try:
        t_u = batch.underflow_time(duty.underflow_solids, t_c)
    except ValueError as error:
        raise NotSized(f"Talmage and Fitch on {curve.label}: {error}") from None
    load = curve.solids * float(curve.heights[0])
    cautions = (
        ()
        if compression_time is not None
        else ("compression point by construction on the drawing; it depends on the scales of the axes: give your own",)
    )
    return Result(
        "area_talmage_fitch", "area by Talmage and Fitch", duty.solids_rate * t_u / load, "m2", "A = m t_u/(C0 H)",
        inputs(("solids fed m", duty.solids_rate, "kg/s", "t/h"), ("compression point t_c", t_c, "s", "min"),
               ("underflow time t_u", t_u, "s", "min"), ("filled solids C0", curve.solids, "kg/m3", "g/L"),
               ("filled height H", float(curve.heights[0]), "m", "m")),
        TALMAGE_FITCH, cautions, "m2",
    )  # fmt: skip


def area_kynch(duty: Duty, curve: Curve) -> Result:
    r"""Area from the tangents all along one curve, :math:`A = \dot m t_u/(C_0H)` after Kynch.

    Each tangent gives the solids under the interface and their speed, so one curve stands for many cylinders. On a
    curve that bends one way the largest of :math:`(1/C_i - 1/C_u)/v_i` over all tangents is the time t_u in which
    the curve itself comes down to :math:`C_0H/C_u`, over C0 H: so the time is read, and no slope of scattered
    readings goes in.

    Raises
    ------
    NotSized
        When the curve never came down to the underflow's solids.
    """
    load = curve.solids * float(curve.heights[0])
    t_u = time_to(curve, duty.underflow_solids, "Kynch on")
    return Result(
        "area_kynch",
        "area by Kynch",
        duty.solids_rate * t_u / load,
        "m2",
        "A = m t_u/(C0 H), the largest (1/C_i - 1/C_u)/v_i of all tangents",
        inputs(
            ("solids fed m", duty.solids_rate, "kg/s", "t/h"),
            ("time to the underflow's solids t_u", t_u, "s", "min"),
            ("filled solids C0", curve.solids, "kg/m3", "g/L"),
            ("filled height H", float(curve.heights[0]), "m", "m"),
        ),
        KYNCH,
        ("no compression in the theory: in a mud that compresses it overstates the area",),
        "m2",
    )


def time_to(curve: Curve, underflow_solids: float, what: str) -> float:
    """Time [s] in which the interface comes down to the height of the underflow's solids.

    Raises
    ------
    NotSized
        When the curve never came down so far.
    """
    z_u = curve.solids * float(curve.heights[0]) / underflow_solids
    if z_u <= curve.heights[-1]:
        raise NotSized(
            f"{what} {curve.label}: underflow of {underflow_solids:g} kg/m3 means an interface at {z_u:.4g} m, but the "
            f"test ended at {curve.heights[-1]:.4g} m: it gives no area for it"
        )
    batch = batch_curve(curve)
    return float(brentq(lambda t: batch.height(t) - z_u, curve.times[0], curve.times[-1]))


def area_rise(duty: Duty, settling_rate: float) -> Result:
    """Area from the rise rate: overflow over a part of the settling speed of the feed.

    Parameters
    ----------
    duty : Duty
        With `rise_factor`; 0.3 to 0.6 are usual.
    settling_rate : float
        Settling speed at the feed's solids and dose, [m/s]
    """
    return Result(
        "area_rise", "area by rise rate", duty.overflow / (duty.rise_factor * settling_rate), "m2", "A = Q_e/(f v)",
        inputs(("overflow Q_e", duty.overflow, "m3/s", "m3/h"), ("factor f", duty.rise_factor, "-"),
               ("settling speed of the feed v", settling_rate, "m/s", "m/h")),
        f"overflow rate below the settling speed: Coe and Clevenger (1916); factor 0.3 to 0.6: {PRACTICE}",
        ("a cylinder settles in still water, a clarifier does not: the factor covers inlet, wind and cold",), "m2",
    )  # fmt: skip


def limiting_flux(law: Law, feed_solids: float, underflow_solids: float) -> tuple[float, float]:
    """Solids [kg/m3] and flux [kg/m2/s] of the bottleneck between feed and underflow solids.

    The least of :math:`v(C)/(1/C - 1/C_u)`: the tangent of Yoshioka where it lies inside the range, else the feed.
    """
    grid = np.geomspace(feed_solids, underflow_solids * (1.0 - 1e-6), 400)

    def total(c: float) -> float:
        return law(c) / (1.0 / c - 1.0 / underflow_solids)

    values = [total(float(c)) for c in grid]
    k = int(np.argmin(values))
    low, high = float(grid[max(k - 1, 0)]), float(grid[min(k + 1, len(grid) - 1)])
    found = minimize_scalar(total, bounds=(low, high), method="bounded", options={"xatol": 1e-10 * high})
    if found.fun < values[k]:
        return float(found.x), float(found.fun)
    return float(grid[k]), values[k]
