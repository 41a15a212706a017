"""Centrifugal pumps: head, efficiency and power from points, affinity laws, suction, slurry derating.

A curve is a table of points measured with clear water at rated speed. A pump at speed ratio n (speed over
rated speed) follows the affinity laws; slurry and wear multiply the head by a factor.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from scipy.optimize import brentq

from plantsim.jit import formula
from plantsim.physics.hydraulics import G
from plantsim.physics.tables import table_at

__all__ = [
    "affinity_flow",
    "affinity_head",
    "affinity_power",
    "duty_point",
    "efficiency_at",
    "flow_at",
    "head_at",
    "minimum_submergence",
    "npsh_available",
    "parallel_duty_point",
    "power_at",
    "power_curve",
    "series_duty_point",
    "shaft_power",
    "slurry_efficiency_reduction",
    "slurry_head_reduction",
    "stopped_loss",
    "suction_lift_limit",
    "trimmed_diameter",
]

#: Speed ratio below which a pump counts as standing: it makes no head (under 0.01 % of its rated head).
STANDSTILL = 1e-2

Curve = Callable[[float], float]


@formula
def affinity_flow(q: float, n: float) -> float:
    r"""Flow of the same point of a pump curve at another speed (affinity laws).

    .. math:: Q = n Q_0

    Parameters
    ----------
    q : float
        Flow at rated speed, [m3/s]
    n : float
        Speed over rated speed, [-]

    Returns
    -------
    q_new : float
        Flow at the new speed, [m3/s]
    """
    return q * n


@formula
def affinity_head(h: float, n: float) -> float:
    r"""Head of the same point of a pump curve at another speed (affinity laws).

    .. math:: H = n^2 H_0

    Parameters
    ----------
    h : float
        Head at rated speed, [m]
    n : float
        Speed over rated speed, [-]

    Returns
    -------
    h_new : float
        Head at the new speed, [m]
    """
    return h * n * n


@formula
def affinity_power(p: float, n: float) -> float:
    r"""Shaft power of the same point of a pump curve at another speed (affinity laws).

    .. math:: P = n^3 P_0

    Parameters
    ----------
    p : float
        Power at rated speed, [W]
    n : float
        Speed over rated speed, [-]

    Returns
    -------
    p_new : float
        Power at the new speed, [W]
    """
    return p * n * n * n


@formula
def trimmed_diameter(d: float, head_ratio: float) -> float:
    r"""Impeller diameter that lowers the head to a given ratio (affinity laws with the diameter).

    .. math:: D_2 = D_1\sqrt{H_2/H_1}

    Parameters
    ----------
    d : float
        Impeller diameter now, [m]
    head_ratio : float
        Wanted head over head now, [-]

    Returns
    -------
    d_new : float
        Impeller diameter, [m]

    Notes
    -----
    Flow goes with the first power of the diameter. For trims beyond some 20 % the rule is poor: ask the
    maker.
    """
    return d * math.sqrt(head_ratio)


@formula
def head_at(
    q: float, n: float, curve_q: Sequence[float], curve_h: Sequence[float], count: int, factor: float
) -> float:
    r"""Head of a pump at a flow and speed, from its curve by the affinity laws.

    .. math:: H = c\,n^2 H_0(Q/n)

    Parameters
    ----------
    q : float
        Flow, [m3/s]
    n : float
        Speed over rated speed, [-]
    curve_q : sequence of float
        Flows of the curve at rated speed, rising, [m3/s]
    curve_h : sequence of float
        Heads of the curve at rated speed, falling, [m]
    count : int
        Points in use, [-]
    factor : float
        What slurry and wear leave of the head, 1 for a new pump in water, [-]

    Returns
    -------
    h : float
        Head in metres of the pumped liquid, [m]

    Notes
    -----
    Beyond the last point the head goes on falling along the last segment, below zero if need be: there the
    pump is a resistance. Below the first point (reverse flow through a running pump) the head stays that of
    the first point. A pump that stands (n under 0.01) makes no head; see `stopped_loss` for what it takes.

    Examples
    --------
    >>> head_at(0.05, 1.0, [0.0, 0.1], [40.0, 20.0], 2, 1.0)
    30.0
    >>> head_at(0.025, 0.5, [0.0, 0.1], [40.0, 20.0], 2, 1.0)
    7.5
    """
    if n < STANDSTILL:
        return 0.0
    x = max(q / n, curve_q[0])
    return factor * n * n * table_at(x, curve_q, curve_h, count, False)


@formula
def flow_at(
    h: float, n: float, curve_q: Sequence[float], curve_h: Sequence[float], count: int, factor: float
) -> float:
    r"""Flow of a pump against a head at a speed: the inverse of `head_at`.

    .. math:: Q = n\,Q_0(H/(c\,n^2))

    Parameters
    ----------
    h : float
        Head in metres of the pumped liquid, [m]
    n : float
        Speed over rated speed, [-]
    curve_q : sequence of float
        Flows of the curve at rated speed, rising, [m3/s]
    curve_h : sequence of float
        Heads of the curve at rated speed, falling, [m]
    count : int
        Points in use, at least 2, [-]
    factor : float
        What slurry and wear leave of the head, [-]

    Returns
    -------
    q : float
        Flow, never below the first point of the curve, [m3/s]

    Notes
    -----
    A head above the first point gives the first point's flow (zero as a rule): the pump runs against a closed
    check valve. The curve must fall; a level stretch gives its right end. A pump that stands gives no flow.

    Examples
    --------
    >>> flow_at(30.0, 1.0, [0.0, 0.1], [40.0, 20.0], 2, 1.0)
    0.05
    >>> flow_at(50.0, 1.0, [0.0, 0.1], [40.0, 20.0], 2, 1.0)
    0.0
    """
    if n < STANDSTILL or factor <= 0.0:
        return 0.0
    target = h / (factor * n * n)
    if target > curve_h[0]:
        return n * curve_q[0]
    i = 0
    while i < count - 2 and target <= curve_h[i + 1]:
        i += 1
    fall = curve_h[i] - curve_h[i + 1]
    if fall <= 0.0:
        return n * curve_q[i + 1]
    return n * (curve_q[i] + (curve_q[i + 1] - curve_q[i]) * (curve_h[i] - target) / fall)


@formula
def stopped_loss(q: float, k: float) -> float:
    r"""Head taken by a pump that stands while liquid passes through it, either way.

    .. math:: h = k\,Q|Q|

    Parameters
    ----------
    q : float
        Flow, [m3/s]
    k : float
        Resistance of the standing pump, [s2/m5]

    Returns
    -------
    h : float
        Head lost, with the sign of the flow, [m]

    Notes
    -----
    A quadratic resistance stands for the locked or free-wheeling rotor; a usual choice makes it the rated
    head at the rated flow (common practice, no source). Reverse rotation as a turbine is not followed.
    """
    return k * q * abs(q)


@formula
def efficiency_at(
    q: float, n: float, curve_q: Sequence[float], curve_eta: Sequence[float], count: int
) -> float:
    r"""Pump efficiency at a flow and speed, from its curve by the affinity laws.

    .. math:: \eta = \eta_0(Q/n)

    Parameters
    ----------
    q : float
        Flow, [m3/s]
    n : float
        Speed over rated speed, [-]
    curve_q : sequence of float
        Flows of the curve at rated speed, rising, [m3/s]
    curve_eta : sequence of float
        Efficiencies, [-]
    count : int
        Points in use, [-]

    Returns
    -------
    eta : float
        Efficiency, not below 0, [-]

    Notes
    -----
    The end values hold outside the table. That the efficiency keeps its value along an affinity parabola is
    fair down to about half speed; below it the real pump is worse.
    """
    if n < STANDSTILL or q <= 0.0:
        return 0.0
    return max(0.0, table_at(q / n, curve_q, curve_eta, count, True))


@formula
def shaft_power(q: float, h: float, rho: float, eta: float, g: float = G) -> float:
    r"""Power at the pump shaft.

    .. math:: P = \rho g Q H/\eta

    Parameters
    ----------
    q : float
        Flow, [m3/s]
    h : float
        Head in metres of the pumped liquid, [m]
    rho : float
        Density of the pumped liquid, [kg/m3]
    eta : float
        Pump efficiency, above zero, [-]
    g : float
        Gravity, [m/s2]

    Returns
    -------
    p : float
        Power, [W]

    Notes
    -----
    At zero flow head and efficiency give 0/0 while the real pump still takes a good part of its power: the
    simulation therefore uses the power table of `power_curve` with `power_at`.

    Examples
    --------
    >>> round(shaft_power(0.1, 20.0, 1000.0, 0.7))
    28019
    """
    return rho * g * q * h / eta


@formula
def power_at(
    q: float, n: float, curve_q: Sequence[float], curve_p: Sequence[float], count: int, sg: float
) -> float:
    r"""Shaft power at a flow and speed, from a power table by the affinity laws.

    .. math:: P = s\,n^3 P_0(Q/n)

    Parameters
    ----------
    q : float
        Flow, [m3/s]
    n : float
        Speed over rated speed, [-]
    curve_q : sequence of float
        Flows of the curve at rated speed, rising, [m3/s]
    curve_p : sequence of float
        Shaft powers in water at rated speed, [W]
    count : int
        Points in use, [-]
    sg : float
        Density of the pumped liquid over that of water, [-]

    Returns
    -------
    p : float
        Shaft power, [W]

    Notes
    -----
    The end values hold outside the table. With head and efficiency reduced alike by the solids, the power
    goes with the density alone.
    """
    if n < STANDSTILL:
        return 0.0
    return sg * n * n * n * table_at(q / n, curve_q, curve_p, count, True)


@formula
def npsh_available(
    p_abs: float, p_vapour: float, rho: float, level: float, loss: float, g: float = G
) -> float:
    r"""Net positive suction head at the pump.

    .. math:: NPSH = (p - p_v)/(\rho g) + z - h_L

    Parameters
    ----------
    p_abs : float
        Absolute pressure on the liquid surface, [Pa]
    p_vapour : float
        Vapour pressure of the liquid, [Pa]
    rho : float
        Density, [kg/m3]
    level : float
        Liquid surface above the pump, negative when it lies below, [m]
    loss : float
        Head lost in the suction line, [m]
    g : float
        Gravity, [m/s2]

    Returns
    -------
    npsh : float
        Head above vapour pressure, in metres of the liquid, [m]

    Examples
    --------
    >>> round(npsh_available(101325.0, 2339.0, 998.2, 1.5, 0.4), 2)
    11.21
    """
    return (p_abs - p_vapour) / (rho * g) + level - loss


@formula
def suction_lift_limit(
    p_abs: float, p_vapour: float, rho: float, loss: float, npsh_required: float, g: float = G
) -> float:
    r"""Height above the liquid at which the available suction head just equals the required one.

    .. math:: z = (p - p_v)/(\rho g) - h_L - NPSH_R

    Parameters
    ----------
    p_abs : float
        Absolute pressure on the liquid surface, [Pa]
    p_vapour : float
        Vapour pressure of the liquid, [Pa]
    rho : float
        Density, [kg/m3]
    loss : float
        Head lost in the suction line, [m]
    npsh_required : float
        Suction head the maker asks for, [m]
    g : float
        Gravity, [m/s2]

    Returns
    -------
    z : float
        Greatest lift, without any margin, [m]
    """
    return (p_abs - p_vapour) / (rho * g) - loss - npsh_required


@formula
def minimum_submergence(d: float, v: float, g: float = G) -> float:
    r"""Depth of an intake below the surface that keeps surface vortices away (ANSI/HI 9.8, Hecker [1]_).

    .. math:: S = D(1 + 2.3 F_D), \quad F_D = V/\sqrt{gD}

    Parameters
    ----------
    d : float
        Outside diameter of the intake bell or pipe mouth, [m]
    v : float
        Velocity at the mouth, [m/s]
    g : float
        Gravity, [m/s2]

    Returns
    -------
    s : float
        Least submergence, [m]

    Notes
    -----
    For even approach flow. Slurry sumps often run lower for short times and draw air.

    References
    ----------
    .. [1] Hecker, G. E., Conclusions, in Swirling Flow Problems at Intakes, IAHR, 1987; printed in ANSI/HI
       9.8 and in the Hydraulic Institute Engineering Data Book, "Submergence", Eq. 1.E.1-1.E.2.
    """
    return d * (1.0 + 2.3 * v / math.sqrt(g * d))


@formula
def slurry_head_reduction(chart: float, cv: float, ss: float, fines: float) -> float:
    r"""Part of the water head that solids take from a slurry pump [1]_.

    .. math:: R_H = R_{H,chart}\,\frac{C_v}{0.15}\left(\frac{S_s - 1}{1.65}\right)^{0.65}(1 - X_h)^2

    Parameters
    ----------
    chart : float
        Reduction read for this impeller and particle size at 15 % solids by volume and solids of 2.65, [-]
    cv : float
        Solids by volume, [-]
    ss : float
        Density of the solids over that of water, [-]
    fines : float
        Part of the solids finer than 75 um, [-]

    Returns
    -------
    rh : float
        Head reduction, from 0 to 1; the head factor is one less this, [-]

    Notes
    -----
    Proportional to the solids up to 15-20 % by volume; beyond, the true loss is a guess. The exponent 0.65 is
    from memory; it reproduces the printed factor 1.6 at 4.4. Measured losses of crushed, angular solids have
    exceeded the computed ones: test before you rely on a margin.

    References
    ----------
    .. [1] Karassik, Messina, Cooper and Heald, Pump Handbook, section on slurry pumps, Fig. 12.

    Examples
    --------
    >>> round(slurry_head_reduction(0.14, 0.06, 4.4, 0.08), 3)
    0.076
    """
    if cv <= 0.0 or ss <= 1.0:
        return 0.0
    rh = chart * cv / 0.15 * ((ss - 1.0) / 1.65) ** 0.65 * (1.0 - fines) * (1.0 - fines)
    return min(1.0, max(0.0, rh))


@formula
def slurry_efficiency_reduction(rh: float, d_impeller: float, large_ratio: float) -> float:
    r"""Part of the water efficiency that solids take from a slurry pump [1]_.

    .. math:: R_\eta = R_H \text{ for } D < 0.4\,\mathrm{m}, \quad R_\eta = r R_H \text{ otherwise}

    Parameters
    ----------
    rh : float
        Head reduction, [-]
    d_impeller : float
        Impeller diameter, [m]
    large_ratio : float
        Efficiency reduction over head reduction of a large pump, at most 1, [-]

    Returns
    -------
    r_eta : float
        Efficiency reduction, [-]

    Notes
    -----
    The source says only that large pumps lose less efficiency than head; the ratio is the user's, and 1 is
    the careful choice.

    References
    ----------
    .. [1] Karassik, Messina, Cooper and Heald, Pump Handbook, section on slurry pumps.
    """
    if d_impeller < 0.4:
        return rh
    return rh * min(1.0, large_ratio)


def power_curve(
    curve_q: Sequence[float], curve_h: Sequence[float], curve_eta: Sequence[float], rho: float = 1000.0
) -> list[float]:
    r"""Shaft power in water at each point of a pump curve, also where flow or efficiency is zero.

    .. math:: P_i = \rho g Q_i H_i/\eta_i

    Parameters
    ----------
    curve_q : sequence of float
        Flows, rising, [m3/s]
    curve_h : sequence of float
        Heads, [m]
    curve_eta : sequence of float
        Efficiencies; at least two points with flow must have one above zero, [-]
    rho : float
        Density of the test water, [kg/m3]

    Returns
    -------
    powers : list of float
        Shaft power at each point, [W]

    Notes
    -----
    A point without flow or efficiency gets the line through its two nearest defined points: near shut-off the
    power of a radial pump is close to straight. The result never falls below zero.

    Examples
    --------
    >>> [round(p) for p in power_curve([0.0, 0.05, 0.1], [40.0, 35.0, 25.0], [0.0, 0.6, 0.7])]
    [22182, 28603, 35024]
    """
    known = [
        (q, shaft_power(q, h, rho, eta))
        for q, h, eta in zip(curve_q, curve_h, curve_eta)
        if q > 0.0 and eta > 0.0
    ]
    if len(known) < 2:
        raise ValueError("a power curve needs two points with flow and efficiency above zero")
    powers = []
    for q, h, eta in zip(curve_q, curve_h, curve_eta):
        if q > 0.0 and eta > 0.0:
            powers.append(shaft_power(q, h, rho, eta))
            continue
        (q1, p1), (q2, p2) = sorted(sorted(known, key=lambda point: abs(point[0] - q))[:2])
        powers.append(max(0.0, p1 + (p2 - p1) * (q - q1) / (q2 - q1)))
    return powers


def duty_point(pump: Curve, system: Curve, q_max: float) -> tuple[float, float] | None:
    r"""Where a pump curve and a system curve meet.

    .. math:: H_{pump}(Q) = H_{system}(Q)

    Parameters
    ----------
    pump : callable
        Head of the pump at a flow, falling, [m]
    system : callable
        Head the system asks for at a flow, rising, [m]
    q_max : float
        Flow at which the pump certainly falls short, [m3/s]

    Returns
    -------
    duty : tuple of float, or None
        Flow in m3/s and head in m; None when the pump at zero flow does not beat the static lift, [-]

    Notes
    -----
    Any consistent units will do. With a curve that droops towards zero flow there may be two points; the
    search finds one of them, so give such a pump another way out.

    Examples
    --------
    >>> q, h = duty_point(lambda q: 40.0 - 1000.0 * q * q, lambda q: 30.0 + 1500.0 * q * q, 1.0)
    >>> round(q, 5), round(h, 3)
    (0.06325, 36.0)
    >>> duty_point(lambda q: 20.0 - q, lambda q: 30.0 + q, 1.0) is None
    True
    """
    if pump(0.0) <= system(0.0):
        return None
    if pump(q_max) > system(q_max):
        raise ValueError("the pump still beats the system at the largest flow given")
    q = float(brentq(lambda x: pump(x) - system(x), 0.0, q_max, xtol=1e-12, rtol=1e-14))
    return q, float(system(q))


def series_duty_point(pumps: Sequence[Curve], system: Curve, q_max: float) -> tuple[float, float] | None:
    r"""Duty point of pumps in series: the heads add at a common flow.

    .. math:: \sum_i H_i(Q) = H_{system}(Q)

    Parameters
    ----------
    pumps : sequence of callable
        Head of each pump at a flow, [m]
    system : callable
        Head the system asks for at a flow, [m]
    q_max : float
        Flow at which the pumps together certainly fall short, [m3/s]

    Returns
    -------
    duty : tuple of float, or None
        Flow and system head; None when all pumps together do not beat the static lift, [-]
    """
    return duty_point(lambda q: sum(pump(q) for pump in pumps), system, q_max)


def parallel_duty_point(flows: Sequence[Curve], system: Curve, h_max: float) -> tuple[float, float] | None:
    r"""Duty point of pumps in parallel: the flows add at a common head.

    .. math:: H_{system}(\sum_i Q_i(H)) = H

    Parameters
    ----------
    flows : sequence of callable
        Flow of each pump at a head, falling, and zero above its shut-off head (check valve), [m3/s]
    system : callable
        Head the system asks for at a flow, [m]
    h_max : float
        Greatest shut-off head of the pumps, [m]

    Returns
    -------
    duty : tuple of float, or None
        Flow and head; None when no pump beats the static lift, [-]
    """
    static = system(0.0)
    if h_max <= static:
        return None

    def excess(h: float) -> float:
        return system(sum(flow(h) for flow in flows)) - h

    h = float(brentq(excess, static, h_max, xtol=1e-12, rtol=1e-14))
    return sum(flow(h) for flow in flows), h
