"""How much area a thickener needs: flux limits in closed form, and the batch-curve constructions.

The constructions on a measured curve are plain Python; they are sizing tools, never part of a simulation
step. Their areas are ideal: a design adds the scale-up factors of the trade and its engineer's judgement.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq
from scipy.special import lambertw

from plantsim.jit import formula


@formula
def coe_clevenger_unit_area(dilution: float, underflow_dilution: float, v: float, rho_l: float) -> float:
    r"""Return the area per solids rate at one dilution, :math:`(Y-U)/(v\rho_l)` [1]_.

    Parameters
    ----------
    dilution : float
        Mass of water per mass of solids at the layer, [-]
    underflow_dilution : float
        The same in the underflow, [-]
    v : float
        Settling velocity at that dilution, [m/s]
    rho_l : float
        Density of the liquid, [kg/m3]

    Returns
    -------
    unit_area : float
        Area per solids rate, [m2*s/kg]

    Notes
    -----
    Exact balance of the water that must rise past the layer.

    References
    ----------
    .. [1] Coe, H. S., Clevenger, G. H. (1916), "Methods for determining the capacities of slime-settling
       tanks", Trans. AIME 55, 356-384.
    """
    return (dilution - underflow_dilution) / (v * rho_l)


def coe_clevenger_area(
    solids_rate: float,
    dilutions: Sequence[float],
    underflow_dilution: float,
    velocities: Sequence[float],
    rho_l: float = 1000.0,
) -> float:
    r"""Return the thickener area, :math:`A = \dot m\max_i (Y_i-U)/(v_i\rho_l)` [1]_.

    Parameters
    ----------
    solids_rate : float
        Dry solids fed, [kg/s]
    dilutions : sequence of float
        Mass of water per mass of solids, from the feed to the underflow, [-]
    underflow_dilution : float
        The same in the underflow, [-]
    velocities : sequence of float
        Settling velocity at each dilution, [m/s]
    rho_l : float
        Density of the liquid, [kg/m3]

    Returns
    -------
    area : float
        Area without any factor of safety, [m2]

    Notes
    -----
    Takes the settling velocity to depend on concentration only: flocculated feeds need tests at the feed's
    own dose.

    References
    ----------
    .. [1] Coe, H. S., Clevenger, G. H. (1916), Trans. AIME 55, 356-384.
    """
    if len(dilutions) != len(velocities):
        raise ValueError(f"{len(dilutions)} dilutions but {len(velocities)} velocities")
    return solids_rate * max(
        coe_clevenger_unit_area(y, underflow_dilution, v, rho_l) for y, v in zip(dilutions, velocities)
    )


@formula
def limiting_flux_vesilind(v0: float, r: float, C_u: float) -> tuple[float, float]:
    r"""Return the limiting concentration and flux for :math:`v = v_0e^{-rC}` and a given underflow [1]_.

    .. math:: C_L = \tfrac{C_u}{2}\left(1 + \sqrt{1 - 4/(rC_u)}\right), \quad J_L = rC_L^2v_0e^{-rC_L}

    Parameters
    ----------
    v0 : float
        Velocity at no concentration, [m/s]
    r : float
        Hindrance, [m3/kg]
    C_u : float
        Concentration of the underflow, [kg/m3]

    Returns
    -------
    C_L : float
        Limiting concentration, [kg/m3]
    J_L : float
        Limiting solids flux, [kg/m2/s]

    Notes
    -----
    Needs r C_u > 4: a thinner underflow meets no bottleneck, and both results are nan.

    References
    ----------
    .. [1] Yoshioka, N., Hotta, Y., Tanaka, S., Naito, S., Tsugami, S. (1957), Chem. Eng. Jpn. 21, 66-74
       (construction, from memory); the closed form is its tangent.
    """
    root = 1.0 - 4.0 / (r * C_u)
    if root < 0.0:
        return math.nan, math.nan
    C_L = 0.5 * C_u * (1.0 + math.sqrt(root))
    return C_L, r * C_L * C_L * v0 * math.exp(-r * C_L)


def limiting_flux_vesilind_from_rate(v0: float, r: float, q: float) -> tuple[float, float]:
    r"""Return the limiting concentration and flux for a given underflow rate per area [1]_.

    .. math:: C_L = \frac{1 - W_{-1}(-qe/v_0)}{r}, \quad J_L = C_L(v_0e^{-rC_L} + q)

    Parameters
    ----------
    v0 : float
        Velocity at no concentration, [m/s]
    r : float
        Hindrance, [m3/kg]
    q : float
        Underflow per area, [m/s]

    Returns
    -------
    C_L : float
        Limiting concentration, [kg/m3]
    J_L : float
        Limiting solids flux, [kg/m2/s]

    Notes
    -----
    Needs q up to v0/e^2: a faster underflow meets no bottleneck, which raises ValueError. W is Lambert's
    function.

    References
    ----------
    .. [1] Minimum of the total flux curve, after Yoshioka and others (1957).
    """
    if not 0.0 < q <= v0 / math.e**2:
        raise ValueError(f"q must lie between 0 and v0/e^2 = {v0 / math.e**2:.6g}, got {q:.6g}")
    C_L = (1.0 - float(lambertw(-q * math.e / v0, -1).real)) / r
    return C_L, C_L * (v0 * math.exp(-r * C_L) + q)


@formula
def state_point(C_f: float, Q_f: float, Q_u: float, area: float) -> tuple[float, float, float, float]:
    r"""Return the state point of a clarifier-thickener and its two lines [1]_.

    .. math:: J_f = C_fQ_e/A, \; q_e = Q_e/A, \; q_u = Q_u/A, \; C_u = C_fQ_f/Q_u, \; Q_e = Q_f-Q_u

    Parameters
    ----------
    C_f : float
        Concentration of the feed, [kg/m3]
    Q_f : float
        Flow of the feed, [m3/s]
    Q_u : float
        Flow of the underflow, [m3/s]
    area : float
        Area, [m2]

    Returns
    -------
    flux : float
        Flux at the state point (C_f, flux), [kg/m2/s]
    q_e : float
        Slope of the overflow line, [m/s]
    q_u : float
        Minus the slope of the underflow line, [m/s]
    C_u : float
        Where the underflow line meets the axis: the ideal underflow concentration, [kg/m3]

    Notes
    -----
    The settler holds when the state point lies under the settling flux curve and the underflow line does not
    cross its falling limb.

    References
    ----------
    .. [1] Keinath, T. M. (1985), "Operational dynamics and control of secondary clarifiers", J. WPCF 57(7),
       770-776 (from memory).
    """
    q_e = (Q_f - Q_u) / area
    return C_f * q_e, q_e, Q_u / area, C_f * Q_f / Q_u


class BatchCurve:
    """A measured settling curve: time against height of the interface, joined without overshoot.

    Parameters
    ----------
    times : sequence of float
        Times, rising from 0, in s.
    heights : sequence of float
        Heights of the interface, never rising, in m.
    C0 : float
        Uniform concentration at the start, in kg/m^3.

    Notes
    -----
    Piecewise cubic Hermite interpolation (monotone: the interface never rises between two readings).
    """

    def __init__(self, times: Sequence[float], heights: Sequence[float], C0: float) -> None:
        t = np.asarray(times, dtype=float)
        z = np.asarray(heights, dtype=float)
        if t.size != z.size or t.size < 3:
            raise ValueError("a batch curve needs three or more pairs of time and height")
        if np.any(np.diff(t) <= 0.0) or np.any(np.diff(z) > 0.0):
            raise ValueError("times must rise and heights must not")
        self.times, self.heights, self.C0 = t, z, C0
        self._curve = PchipInterpolator(t, z)
        self._slope = self._curve.derivative()

    def height(self, t: float) -> float:
        """Return the height of the interface at time `t`, in m."""
        return float(self._curve(t))

    def velocity(self, t: float) -> float:
        """Return the fall velocity of the interface at time `t`, in m/s."""
        return -float(self._slope(t))

    def concentration(self, t: float) -> float:
        r"""Return the concentration under the interface by Kynch's tangent, :math:`C_0H/z_i`, in kg/m^3.

        The tangent at `t` meets the height axis at z_i = z + v t.
        """
        return self.C0 * self.heights[0] / (self.height(t) + self.velocity(t) * t)

    def underflow_time(self, C_u: float, compression_time: float) -> float:
        r"""Return the time t_u of Talmage and Fitch, in s.

        The tangent at the compression point meets the height :math:`z_u = C_0H/C_u` at t_u. If the curve
        passes z_u before the compression point, the curve itself gives the time.

        Raises
        ------
        ValueError
            When the test never came down to z_u: this curve cannot tell of so thick an underflow.
        """
        z_u = self.C0 * self.heights[0] / C_u
        if z_u <= self.heights[-1]:
            raise ValueError(
                f"underflow of {C_u:g} kg/m3 means an interface at {z_u:.4g} m, "
                f"but the test ended at {self.heights[-1]:.4g} m: it gives no area for it"
            )
        z_c = self.height(compression_time)
        if z_c > z_u:
            return compression_time + (z_c - z_u) / self.velocity(compression_time)
        return float(brentq(lambda t: self.height(t) - z_u, self.times[0], compression_time))

    def unit_area(self, C_u: float, compression_time: float) -> float:
        r"""Return the area per solids rate of Talmage and Fitch, :math:`t_u/(C_0H)`, in m^2 s/kg.

        References
        ----------
        Talmage, W. P., Fitch, E. B. (1955), "Determining thickener unit areas", Ind. Eng. Chem. 47(1), 38-41.
        """
        return self.underflow_time(C_u, compression_time) / (self.C0 * float(self.heights[0]))
