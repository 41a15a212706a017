"""Batch settling without compression, solved exactly: the yardstick of every layered solver.

Plain Python (root finding), never called from the simulation kernel. Heights are measured from the
bottom; a velocity given as negative points up.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from scipy.optimize import brentq

from plantsim.jit import formula


@formula
def shock_velocity(flux_above: float, C_above: float, flux_below: float, C_below: float) -> float:
    r"""Return the velocity of a concentration jump, :math:`s = (f_b-f_a)/(C_b-C_a)` (Rankine-Hugoniot) [1]_.

    Parameters
    ----------
    flux_above : float
        Downward solids flux above the jump, [kg/m2/s]
    C_above : float
        Concentration above the jump, [kg/m3]
    flux_below : float
        Downward solids flux below the jump, [kg/m2/s]
    C_below : float
        Concentration below the jump, [kg/m3]

    Returns
    -------
    s : float
        Velocity of the jump, positive downwards, [m/s]

    Notes
    -----
    Exact mass balance over the jump; volume fractions with volume fluxes give the same velocity.

    References
    ----------
    .. [1] Kynch, G. J. (1952), "A theory of sedimentation", Trans. Faraday Soc. 48, 166-176.
    """
    return (flux_below - flux_above) / (C_below - C_above)


@formula
def richardson_zaki_peak_flux(v0: float, n: float) -> tuple[float, float]:
    r"""Return where the flux :math:`\phi v_0(1-\phi)^n` peaks, :math:`\phi = 1/(n+1)`, and the peak [1]_.

    Parameters
    ----------
    v0 : float
        Velocity of the single particle, [m/s]
    n : float
        Exponent, [-]

    Returns
    -------
    phi : float
        Volume fraction at the peak, [-]
    flux : float
        Volume flux of solids at the peak, [m/s]

    Notes
    -----
    Exact.

    References
    ----------
    .. [1] Coulson, J. M., Richardson, J. F., Chemical Engineering vol. 2, 5th ed., Ex. 5.3, p. 275.
    """
    phi = 1.0 / (n + 1.0)
    return phi, v0 * phi * (1.0 - phi) ** n


@dataclass(frozen=True)
class BatchSolution:
    """The exact course of one batch settling test after Kynch; made by the functions of this module.

    Attributes
    ----------
    C0, height : float
        Concentration at the start and height of the column.
    fall_velocity : float
        Velocity of the interface until ``t1``, downwards.
    C_star : float
        Concentration just above which the first wave from the bottom arrives.
    wave_velocity : float
        Velocity of that wave, negative for upwards.
    t1, h1 : float
        Time and height at which interface and wave meet.
    """

    C0: float
    height: float
    fall_velocity: float
    C_star: float
    wave_velocity: float
    t1: float
    h1: float
    C_max: float
    velocity: Callable[[float], float]
    slope: Callable[[float], float]
    pure_shock: bool

    def interface_concentration(self, t: float) -> float:
        """Return the concentration just under the interface at time ``t``."""
        if t <= self.t1:
            return self.C0
        if self.pure_shock:
            return self.C_max

        def late(C: float) -> float:
            return -self.slope(C) * C * C * t - self.C0 * self.height

        return float(brentq(late, self.C_star, self.C_max, xtol=1e-15, rtol=1e-14))

    def interface_height(self, t: float) -> float:
        """Return the height of the interface between clear water and suspension at time ``t``."""
        if t <= self.t1:
            return self.height - self.fall_velocity * t
        if self.pure_shock:
            return self.h1
        C = self.interface_concentration(t)
        return -(self.velocity(C) + C * self.slope(C)) * t


def solve_batch(
    velocity: Callable[[float], float],
    slope: Callable[[float], float],
    C0: float,
    height: float,
    inflection: float,
    C_max: float,
) -> BatchSolution:
    r"""Solve batch settling for a flux :math:`f = Cv(C)` with at most one inflection, after Kynch [1]_, [2]_.

    The interface falls with :math:`v(C_0)`. From the bottom a contact rises with :math:`|f'(C^*)|`, where
    :math:`f'(C^*)(C^*-C_0) = f(C^*)-f(C_0)`. They meet at :math:`t_1 = H/(v(C_0)+|f'(C^*)|)`. From then on
    :math:`t = C_0H/(-C^2v'(C))`, :math:`h = -f'(C)t`.

    Parameters
    ----------
    velocity : callable
        Settling velocity as a function of concentration, [m/s]
    slope : callable
        Its derivative, [m4/kg/s]
    C0 : float
        Uniform concentration at the start, [kg/m3]
    height : float
        Height of the column, [m]
    inflection : float
        Concentration where the flux turns from concave to convex; C_max if it never does, [kg/m3]
    C_max : float
        Concentration at which settling ends, [kg/m3]

    Returns
    -------
    solution : BatchSolution
        The solution with its interface as a function of time, [-]

    Notes
    -----
    No compression, uniform start, vertical walls. Volume fractions may stand for concentrations.

    References
    ----------
    .. [1] Kynch, G. J. (1952), Trans. Faraday Soc. 48, 166-176.
    .. [2] Bustos, M. C., Concha, F., Buerger, R., Tory, E. M. (1999), Sedimentation and Thickening, Kluwer.
    """
    if not 0.0 < C0 < C_max:
        raise ValueError(f"C0 must lie between 0 and C_max = {C_max}, got {C0}")

    def flux(C: float) -> float:
        return C * velocity(C)

    def flux_slope(C: float) -> float:
        return velocity(C) + C * slope(C)

    def touch(C: float) -> float:
        return flux_slope(C) * (C - C0) - (flux(C) - flux(C0))

    pure_shock = inflection >= C_max
    if pure_shock:
        C_star = C_max
        wave = (flux(C_max) - flux(C0)) / (C_max - C0)
    elif C0 - inflection >= 0.0:
        C_star = C0  # a fan without a contact: every concentration above C0 leaves the bottom at once
        wave = flux_slope(C0)
    else:
        C_star = float(brentq(touch, inflection, C_max, xtol=1e-15, rtol=1e-14))
        wave = flux_slope(C_star)
    fall = velocity(C0)
    t1 = height / (fall - wave)
    return BatchSolution(
        C0=C0,
        height=height,
        fall_velocity=fall,
        C_star=C_star,
        wave_velocity=wave,
        t1=t1,
        h1=height - fall * t1,
        C_max=C_max,
        velocity=velocity,
        slope=slope,
        pure_shock=pure_shock,
    )


def batch_richardson_zaki(phi0: float, height: float, v0: float, n: float) -> BatchSolution:
    r"""Solve batch settling for :math:`v = v_0(1-\phi)^n` exactly [1]_.

    After `t1`, :math:`t = \phi_0H/[\phi^2nv_0(1-\phi)^{n-1}]` and :math:`h = \phi_0H((n+1)\phi-1)/(n\phi^2)`.

    Parameters
    ----------
    phi0 : float
        Uniform volume fraction at the start, [-]
    height : float
        Height of the column, [m]
    v0 : float
        Velocity of the single particle, [m/s]
    n : float
        Exponent, 1 or more, [-]

    Returns
    -------
    solution : BatchSolution
        The solution with its interface as a function of time, [-]

    Notes
    -----
    As `solve_batch`; settling ends at phi = 1 only, for the law knows no closest packing.

    References
    ----------
    .. [1] Kynch, G. J. (1952), Trans. Faraday Soc. 48, 166-176.
    """
    return solve_batch(
        lambda p: v0 * (1.0 - p) ** n,
        lambda p: -n * v0 * (1.0 - p) ** (n - 1.0),
        phi0,
        height,
        2.0 / (n + 1.0),
        1.0,
    )


def batch_vesilind(C0: float, height: float, v0: float, r: float) -> BatchSolution:
    r"""Solve batch settling for :math:`v = v_0e^{-rC}` exactly [1]_.

    After `t1`, :math:`t = C_0H/[rC^2v_0e^{-rC}]` and :math:`h = C_0H(rC-1)/(rC^2)`.

    Parameters
    ----------
    C0 : float
        Uniform concentration at the start, [kg/m3]
    height : float
        Height of the column, [m]
    v0 : float
        Velocity at no concentration, [m/s]
    r : float
        Hindrance, [m3/kg]

    Returns
    -------
    solution : BatchSolution
        The solution with its interface as a function of time, [-]

    Notes
    -----
    As `solve_batch`; concentrations up to 100/r are followed, where settling has ended for every purpose.

    References
    ----------
    .. [1] Kynch, G. J. (1952), Trans. Faraday Soc. 48, 166-176.
    """
    return solve_batch(
        lambda c: v0 * math.exp(-r * c),
        lambda c: -r * v0 * math.exp(-r * c),
        C0,
        height,
        2.0 / r,
        100.0 / r,
    )


def batch_quadratic(phi0: float, height: float, v0: float, phi_max: float) -> BatchSolution:
    r"""Solve batch settling for the flux :math:`f = v_0\phi(1-\phi/\phi_m)`: two shocks [1]_.

    Parameters
    ----------
    phi0 : float
        Uniform volume fraction at the start, [-]
    height : float
        Height of the column, [m]
    v0 : float
        Velocity of the single particle, [m/s]
    phi_max : float
        Volume fraction of the settled bed, [-]

    Returns
    -------
    solution : BatchSolution
        The solution with its interface as a function of time, [-]

    Notes
    -----
    As `solve_batch`; the shocks meet at H/v0 and the interface rests at H phi0/phi_max from then on.

    References
    ----------
    .. [1] Kynch, G. J. (1952), Trans. Faraday Soc. 48, 166-176.
    """
    return solve_batch(
        lambda p: v0 * (1.0 - p / phi_max), lambda p: -v0 / phi_max, phi0, height, phi_max, phi_max
    )
