"""Mixing and spreading: plug flow with dispersion, tanks in series, fully mixed volumes."""

from __future__ import annotations

import math

from plantsim.jit import formula

__all__ = [
    "erfcx",
    "fill_mixing",
    "ogata_banks",
    "peclet",
    "step_mixing",
    "tanks_in_series",
    "taylor_dispersion",
    "transit_spread",
]


@formula
def erfcx(x: float) -> float:
    r"""Scaled complementary error function for x not below zero.

    .. math:: \mathrm{erfcx}(x) = e^{x^2}\mathrm{erfc}(x)

    Parameters
    ----------
    x : float
        Argument, not below zero, [-]

    Returns
    -------
    y : float
        Value, from 1 at zero falling to zero, [-]

    Notes
    -----
    The product up to 5, where both factors are safe, then Laplace's continued fraction evaluated backwards,
    which never overflows. Relative error below 1e-13.

    Examples
    --------
    >>> round(erfcx(10.0), 12)
    0.056140992744
    """
    if x < 5.0:
        return math.exp(x * x) * math.erfc(x)
    tail = 0.0
    for k in range(60, 0, -1):
        tail = 0.5 * k / (x + tail)
    return 1.0 / (math.sqrt(math.pi) * (x + tail))


@formula
def ogata_banks(x: float, t: float, v: float, dispersion: float) -> float:
    r"""Concentration behind a step at the inlet of a long line with axial dispersion (Ogata & Banks [1]_).

    .. math:: \frac{C}{C_0} = \tfrac12\left[\mathrm{erfc}\frac{x - vt}{2\sqrt{Dt}}
              + e^{vx/D}\,\mathrm{erfc}\frac{x + vt}{2\sqrt{Dt}}\right]

    Parameters
    ----------
    x : float
        Distance from the inlet, [m]
    t : float
        Time since the step, [s]
    v : float
        Velocity, [m/s]
    dispersion : float
        Axial dispersion coefficient, above zero, [m2/s]

    Returns
    -------
    ratio : float
        Concentration over inlet concentration, [-]

    Notes
    -----
    Clean, semi-infinite line; inlet held at C0. The second term is written with the scaled function, for its
    factors overflow and underflow one by one at Peclet numbers above about 700.

    References
    ----------
    .. [1] Ogata, A. and Banks, R. B., A solution of the differential equation of longitudinal dispersion in
       porous media, U.S. Geological Survey Professional Paper 411-A, 1961.

    Examples
    --------
    >>> round(ogata_banks(100.0, 100.0, 1.0, 0.5), 6)
    0.519898
    """
    if t <= 0.0:
        return 0.0
    width = 2.0 * math.sqrt(dispersion * t)
    a = (x - v * t) / width
    b = (x + v * t) / width
    return 0.5 * (math.erfc(a) + math.exp(-a * a) * erfcx(b))


@formula
def tanks_in_series(n: int, theta: float) -> float:
    r"""Answer of N equal mixed tanks in series to a step, against time over total residence time.

    .. math:: F = 1 - e^{-N\theta}\sum_{k=0}^{N-1}\frac{(N\theta)^k}{k!}

    Parameters
    ----------
    n : int
        Number of tanks, [-]
    theta : float
        Time over the residence time of all tanks, [-]

    Returns
    -------
    f : float
        Outlet concentration over inlet concentration, [-]

    Notes
    -----
    Good to N of about 500; beyond, the first term underflows. Levenspiel, Chemical Reaction Engineering,
    tanks-in-series model.

    Examples
    --------
    >>> round(tanks_in_series(2, 1.0), 6)
    0.593994
    """
    if theta <= 0.0:
        return 0.0
    a = n * theta
    term = math.exp(-a)
    total = term
    for k in range(1, n):
        term *= a / k
        total += term
    return max(0.0, 1.0 - total)


@formula
def taylor_dispersion(d: float, v: float, f: float) -> float:
    r"""Axial dispersion coefficient of turbulent pipe flow after Taylor [1]_.

    .. math:: E = 10.1\,a\,u_*, \quad u_* = |v|\sqrt{f/8}

    Parameters
    ----------
    d : float
        Bore, twice the radius a, [m]
    v : float
        Mean velocity, [m/s]
    f : float
        Darcy friction factor, [-]

    Returns
    -------
    e : float
        Dispersion coefficient, [m2/s]

    Notes
    -----
    Fully turbulent, long straight pipe; bends and a valve add to it, solids settling changes it. Coefficient
    10.1 from memory.

    References
    ----------
    .. [1] Taylor, G. I., The dispersion of matter in turbulent flow through a pipe, Proceedings of the Royal
       Society A 223 (1954) 446-468.
    """
    return 10.1 * 0.5 * d * abs(v) * math.sqrt(f / 8.0)


@formula
def peclet(v: float, length: float, dispersion: float) -> float:
    r"""Peclet number of a line.

    .. math:: Pe = vL/E

    Parameters
    ----------
    v : float
        Velocity, [m/s]
    length : float
        Length, [m]
    dispersion : float
        Axial dispersion coefficient, [m2/s]

    Returns
    -------
    pe : float
        Peclet number, [-]
    """
    return v * length / dispersion


@formula
def transit_spread(v: float, length: float, dispersion: float) -> float:
    r"""Standard deviation of the arrival time at the end of a line.

    .. math:: \sigma_t = \sqrt{2EL/v^3}

    Parameters
    ----------
    v : float
        Velocity, above zero, [m/s]
    length : float
        Length, [m]
    dispersion : float
        Axial dispersion coefficient, [m2/s]

    Returns
    -------
    sigma : float
        Standard deviation, [s]

    Notes
    -----
    For Peclet numbers above about 100 (Levenspiel, small extent of dispersion).
    """
    return math.sqrt(2.0 * dispersion * length / (v * v * v))


@formula
def step_mixing(c: float, c_in: float, q: float, volume: float, dt: float) -> float:
    r"""Concentration of a fully mixed volume after a step with constant flow through it: the exact solution.

    .. math:: C = C_{in} + (C_0 - C_{in})e^{-Q\Delta t/V}

    Parameters
    ----------
    c : float
        Concentration now, [kg/m3]
    c_in : float
        Concentration of the inflow, [kg/m3]
    q : float
        Flow through, [m3/s]
    volume : float
        Volume, above zero, [m3]
    dt : float
        Step, [s]

    Returns
    -------
    c_new : float
        Concentration after the step, [kg/m3]

    Examples
    --------
    >>> round(step_mixing(0.0, 1.0, 0.1, 10.0, 100.0), 6)
    0.632121
    """
    return c_in + (c - c_in) * math.exp(-q * dt / volume)


@formula
def fill_mixing(c: float, c_in: float, q_in: float, q_out: float, volume: float, dt: float) -> float:
    r"""Concentration of a fully mixed volume that fills or empties during a step: the exact solution.

    .. math:: C = C_{in} + (C_0 - C_{in})\left(\frac{V_0}{V_0 + (Q_i - Q_o)\Delta t}\right)^{Q_i/(Q_i - Q_o)}

    Parameters
    ----------
    c : float
        Concentration now, [kg/m3]
    c_in : float
        Concentration of the inflow, [kg/m3]
    q_in : float
        Inflow, [m3/s]
    q_out : float
        Outflow, at the concentration of the volume, [m3/s]
    volume : float
        Volume now, [m3]
    dt : float
        Step, short enough that some volume is left, [s]

    Returns
    -------
    c_new : float
        Concentration after the step, [kg/m3]

    Notes
    -----
    From V dC/dt = Qi (Cin - C). With equal flows it is `step_mixing`. An empty volume takes the concentration
    of what comes in.

    Examples
    --------
    >>> round(fill_mixing(0.0, 1.0, 0.1, 0.0, 10.0, 100.0), 6)
    0.5
    """
    if q_in <= 0.0:
        return c
    if volume <= 0.0:
        return c_in
    change = (q_in - q_out) * dt / volume
    if change <= -1.0:
        return c_in
    bend = math.log1p(change) / change if change != 0.0 else 1.0
    return c_in + (c - c_in) * math.exp(-q_in * dt / volume * bend)
