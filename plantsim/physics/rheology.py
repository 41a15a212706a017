"""Pipe flow of yield-stress and power-law muds: laminar, transition, turbulent; yield stress against solids.

Friction factors in this module are Fanning factors, one quarter of the Darcy factor, as in the sources.
"""

from __future__ import annotations

import math

from plantsim.jit import formula
from plantsim.physics.hydraulics import pressure_gradient

__all__ = [
    "bingham_centreline_velocity",
    "bingham_from_two_points",
    "bingham_gradient",
    "bingham_laminar_gradient",
    "bingham_velocity",
    "bingham_wall_stress",
    "darby_melson",
    "darby_melson_turbulent",
    "hanks_critical_reynolds",
    "hedstrom",
    "herschel_bulkley_laminar_gradient",
    "herschel_bulkley_velocity",
    "herschel_bulkley_wall_stress",
    "metzner_reed",
    "plastic_viscosity",
    "power_law_centreline_ratio",
    "power_law_laminar_gradient",
    "power_law_velocity",
    "start_gradient",
    "yield_stress",
]

#: Constant of the turbulent branch of Darby & Melson. It is printed both as -1.47 and as -1.378. The second
#: is taken: on the one measured point at hand (de Nevers, Ex. 13.5) it lies 5 % below the data, the first 24
#: %.
DARBY_MELSON_A = -1.378


@formula
def yield_stress(phi: float, a: float, b: float) -> float:
    r"""Yield stress of a mud from its solids, as a power of the volume fraction.

    .. math:: \tau_y = a\,\phi^b

    Parameters
    ----------
    phi : float
        Solids by volume, [-]
    a : float
        Factor, fitted to the mud at hand, [Pa]
    b : float
        Exponent, some 3 to 5 for flocculated clay, [-]

    Returns
    -------
    ty : float
        Yield stress, [Pa]

    Notes
    -----
    A fit to vane or pipe tests, used within the solids range of the tests. Range of the exponent from memory.
    """
    if phi <= 0.0:
        return 0.0
    return a * phi**b


@formula
def plastic_viscosity(phi: float, mu: float, c: float) -> float:
    r"""Plastic viscosity of a mud from its solids, as an exponential of the volume fraction.

    .. math:: \mu_p = \mu\,e^{c\phi}

    Parameters
    ----------
    phi : float
        Solids by volume, [-]
    mu : float
        Viscosity of the carrier liquid, [Pa*s]
    c : float
        Fitted exponent; 2.5 recovers Einstein's dilute limit, muds need several times as much, [-]

    Returns
    -------
    mu_p : float
        Plastic viscosity, [Pa*s]

    Notes
    -----
    A fit to tests of the mud. Einstein 1906 gives the slope 2.5 at zero solids for hard spheres.
    """
    return mu * math.exp(c * phi)


@formula
def start_gradient(ty: float, d: float) -> float:
    r"""Pressure gradient below which a yield-stress mud stays at rest in a pipe.

    .. math:: \frac{dp}{dx} = 4\tau_y/D

    Parameters
    ----------
    ty : float
        Yield stress, [Pa]
    d : float
        Bore, [m]

    Returns
    -------
    gradient : float
        Gradient that starts the flow, [Pa/m]

    Notes
    -----
    A mud that has stood gels and may ask for a multiple of it.
    """
    return 4.0 * ty / d


@formula
def bingham_wall_stress(v: float, d: float, ty: float, mu_p: float) -> float:
    r"""Wall stress of laminar Bingham pipe flow: the full quartic of Buckingham and Reiner [1]_, solved.

    .. math:: \frac{8V\mu_p}{D} = \tau_w\left(1 - \tfrac43 x + \tfrac13 x^4\right), \quad x = \tau_y/\tau_w

    Parameters
    ----------
    v : float
        Mean speed, not below zero, [m/s]
    d : float
        Bore, [m]
    ty : float
        Yield stress, [Pa]
    mu_p : float
        Plastic viscosity, above zero, [Pa*s]

    Returns
    -------
    tw : float
        Wall stress; the yield stress itself at rest, [Pa]

    Notes
    -----
    With :math:`s = \tau_w/\tau_y - 1` and :math:`N = 8V\mu_p/(D\tau_y)` the quartic is :math:`N = s^2(6 + 8s
    + 3s^2)/(3(1 + s)^3)`, free of cancellation, convex and rising. Newton's method
    from above the root closes in from one side, in three to seven steps to the last bits.

    References
    ----------
    .. [1] Buckingham, E., On plastic flow through capillary tubes, Proceedings ASTM 21 (1921) 1154-1161;
       Reiner, M., Ueber die Stroemung einer elastischen Fluessigkeit durch eine Kapillare,
       Kolloid-Zeitschrift 39 (1926) 80-87.

    Examples
    --------
    >>> round(bingham_wall_stress(1.0, 0.1, 10.0, 0.02), 5)
    13.61157
    """
    newton = 8.0 * mu_p * v / d
    if ty <= 1e-12 * newton:
        return newton + 4.0 / 3.0 * ty
    if newton <= 0.0:
        return ty
    n = newton / ty
    s = min(n + 1.0 / 3.0, math.sqrt(0.5 * n) + 1.5 * n)
    for _ in range(30):
        u = 1.0 + s
        excess = s * s * (6.0 + s * (8.0 + 3.0 * s)) / (3.0 * u * u * u) - n
        slope = s * (4.0 + s * (6.0 + s * (4.0 + s))) / (u * u * u * u)
        step = excess / slope
        s -= step
        if abs(step) <= 1e-14 * s:
            break
    return ty * (1.0 + s)


@formula
def bingham_laminar_gradient(v: float, d: float, ty: float, mu_p: float) -> float:
    r"""Pressure gradient of laminar Bingham pipe flow (Buckingham 1921, Reiner 1926), signed.

    .. math:: \frac{dp}{dx} = 4\tau_w/D

    Parameters
    ----------
    v : float
        Mean velocity, [m/s]
    d : float
        Bore, [m]
    ty : float
        Yield stress, [Pa]
    mu_p : float
        Plastic viscosity, [Pa*s]

    Returns
    -------
    gradient : float
        Pressure lost for each metre, zero at rest, [Pa/m]

    Notes
    -----
    At rest the pipe can hold any gradient up to `start_gradient`, so the function jumps there.

    Examples
    --------
    >>> round(bingham_laminar_gradient(1.0, 0.1, 10.0, 0.02), 3)
    544.463
    """
    if v == 0.0:
        return 0.0
    return math.copysign(4.0 * bingham_wall_stress(abs(v), d, ty, mu_p) / d, v)


@formula
def bingham_velocity(gradient: float, d: float, ty: float, mu_p: float) -> float:
    r"""Mean velocity of laminar Bingham pipe flow under a pressure gradient (Buckingham 1921, Reiner 1926).

    .. math:: V = \frac{D\tau_w}{8\mu_p}\left(1 - \tfrac43 x + \tfrac13 x^4\right)

    Parameters
    ----------
    gradient : float
        Pressure gradient, not below zero, [Pa/m]
    d : float
        Bore, [m]
    ty : float
        Yield stress, [Pa]
    mu_p : float
        Plastic viscosity, [Pa*s]

    Returns
    -------
    v : float
        Mean velocity, zero below the start gradient, [m/s]
    """
    tw = 0.25 * gradient * d
    if tw <= ty:
        return 0.0
    x = ty / tw
    return d * tw / (8.0 * mu_p) * (1.0 - 4.0 / 3.0 * x + x * x * x * x / 3.0)


@formula
def bingham_centreline_velocity(gradient: float, d: float, ty: float, mu_p: float) -> float:
    r"""Velocity of the plug in laminar Bingham pipe flow.

    .. math:: u = \frac{(dp/dx)\,r^2}{4\mu_p}(1 - x)^2, \quad x = \tau_y/\tau_w

    Parameters
    ----------
    gradient : float
        Pressure gradient, [Pa/m]
    d : float
        Bore, twice the radius r, [m]
    ty : float
        Yield stress, [Pa]
    mu_p : float
        Plastic viscosity, [Pa*s]

    Returns
    -------
    u : float
        Velocity on the axis, [m/s]
    """
    tw = 0.25 * gradient * d
    if tw <= ty:
        return 0.0
    x = ty / tw
    return gradient * d * d / (16.0 * mu_p) * (1.0 - x) * (1.0 - x)


@formula
def hedstrom(d: float, rho: float, ty: float, mu_p: float) -> float:
    r"""Hedstrom number.

    .. math:: He = \rho\tau_y D^2/\mu_p^2

    Parameters
    ----------
    d : float
        Bore, [m]
    rho : float
        Density, [kg/m3]
    ty : float
        Yield stress, [Pa]
    mu_p : float
        Plastic viscosity, [Pa*s]

    Returns
    -------
    he : float
        Hedstrom number, [-]
    """
    return rho * ty * d * d / (mu_p * mu_p)


@formula
def hanks_critical_reynolds(he: float) -> float:
    r"""Reynolds number at which Bingham pipe flow leaves the laminar regime, after Hanks [1]_.

    .. math:: Re_c = \frac{He}{8x_c}\left(1 - \tfrac43 x_c + \tfrac13 x_c^4\right), \quad
              \frac{x_c}{(1 - x_c)^3} = \frac{He}{16\,800}

    Parameters
    ----------
    he : float
        Hedstrom number, [-]

    Returns
    -------
    re_c : float
        Critical Reynolds number on the plastic viscosity, 2100 without a yield stress, [-]

    Notes
    -----
    Equation from memory. Newton's method from below on a concave function: no overshoot.

    References
    ----------
    .. [1] Hanks, R. W., The laminar-turbulent transition for fluids with a yield stress, AIChE Journal 9
       (1963) 306-309.

    Examples
    --------
    >>> round(hanks_critical_reynolds(325000.0))
    10291
    """
    a = he / 16800.0
    if a <= 1e-12:
        return 2100.0
    x = max(a / (1.0 + 3.0 * a), 1.0 - a ** (-1.0 / 3.0))
    for _ in range(50):
        y = 1.0 - x
        step = (x - a * y * y * y) / (1.0 + 3.0 * a * y * y)
        x -= step
        if abs(step) <= 1e-14 * x:
            break
    return he / (8.0 * x) * (1.0 - 4.0 / 3.0 * x + x * x * x * x / 3.0)


@formula
def darby_melson_turbulent(re: float, he: float, constant: float = DARBY_MELSON_A) -> float:
    r"""Fanning friction factor of turbulent Bingham flow in smooth pipe (Darby & Melson [1]_).

    .. math:: f_T = 10^a Re^{-0.193}, \quad a = A(1 + 0.146 e^{-2.9\cdot10^{-5} He})

    Parameters
    ----------
    re : float
        Reynolds number on the plastic viscosity, above zero, [-]
    he : float
        Hedstrom number, [-]
    constant : float
        A: -1.378 here; printed elsewhere as -1.47, [-]

    Returns
    -------
    f : float
        Fanning friction factor, [-]

    Notes
    -----
    For Hedstrom numbers above about 1e4: without a yield stress it falls well short of a Newtonian liquid.

    References
    ----------
    .. [1] Darby, R. and Melson, J., How to predict the friction factor for flow of Bingham plastics, Chemical
       Engineering 88 (1981) 59-61; Darby, R., Chemical Engineering Fluid Mechanics, 2nd ed., 2001.
    """
    a = constant * (1.0 + 0.146 * math.exp(-2.9e-5 * he))
    return 10.0**a * re**-0.193


@formula
def darby_melson(re: float, he: float, laminar: float, constant: float = DARBY_MELSON_A) -> float:
    r"""Fanning friction factor of Bingham flow for all regimes (Darby & Melson [1]_).

    .. math:: f = (f_L^m + f_T^m)^{1/m}, \quad m = 1.7 + 40\,000/Re

    Parameters
    ----------
    re : float
        Reynolds number on the plastic viscosity, above zero, [-]
    he : float
        Hedstrom number, [-]
    laminar : float
        Laminar Fanning factor of Buckingham and Reiner, [-]
    constant : float
        Constant of the turbulent branch, see `darby_melson_turbulent`, [-]

    Returns
    -------
    f : float
        Fanning friction factor, [-]

    Notes
    -----
    Smooth pipe. The larger term is taken out of the sum, for m runs into the thousands at small Re.

    References
    ----------
    .. [1] Darby, R. and Melson, J., How to predict the friction factor for flow of Bingham plastics, Chemical
       Engineering 88 (1981) 59-61.
    """
    turbulent = darby_melson_turbulent(re, he, constant)
    m = 1.7 + 40000.0 / re
    big = max(laminar, turbulent)
    small = min(laminar, turbulent)
    return big * (1.0 + (small / big) ** m) ** (1.0 / m)


@formula
def bingham_gradient(v: float, d: float, rho: float, ty: float, mu_p: float, eps: float) -> float:
    r"""Pressure gradient of a Bingham mud in a pipe at any velocity, signed.

    .. math:: \frac{dp}{dx} = \max\left(\frac{2 f_{DM}\rho V^2}{D}, \frac{f(Re,\epsilon/D)\rho V^2}{2D}\right)

    Parameters
    ----------
    v : float
        Mean velocity, [m/s]
    d : float
        Bore, [m]
    rho : float
        Density of the mud, [kg/m3]
    ty : float
        Yield stress, [Pa]
    mu_p : float
        Plastic viscosity, [Pa*s]
    eps : float
        Roughness, [m]

    Returns
    -------
    gradient : float
        Pressure lost for each metre, zero at rest, [Pa/m]

    Notes
    -----
    The larger of two: Darby & Melson's blend of the Buckingham-Reiner laminar and their smooth turbulent
    factor; and the Newtonian liquid of the same density and plastic viscosity in the rough pipe. The second
    gives roughness and makes the yield stress fade out without a jump; it is the usual upper estimate for
    turbulent mud. Taking the larger is our choice: on the measured point of de Nevers (Ex. 13.5: 11 069 Pa/m)
    it gives 11 % too much where Darby & Melson alone give 5 % too little.

    Examples
    --------
    >>> round(bingham_gradient(1.0, 0.1, 1300.0, 10.0, 0.02, 0.0), 2)
    544.49
    >>> bingham_gradient(0.0, 0.1, 1300.0, 10.0, 0.02, 0.0)
    0.0
    """
    if v == 0.0:
        return 0.0
    newton = pressure_gradient(v, d, rho, mu_p, eps)
    if ty <= 0.0:
        return newton
    speed = abs(v)
    re = rho * speed * d / mu_p
    dynamic = 0.5 * rho * speed * speed
    wall = bingham_wall_stress(speed, d, ty, mu_p)
    # At a crawl the laminar factor grows without bound while its stress stays finite: skip the blend there.
    if re > 10.0:
        wall = darby_melson(re, hedstrom(d, rho, ty, mu_p), wall / dynamic) * dynamic
    return math.copysign(max(4.0 * wall / d, abs(newton)), v)


@formula
def herschel_bulkley_velocity(gradient: float, d: float, ty: float, k: float, n: float) -> float:
    r"""Mean velocity of laminar Herschel-Bulkley pipe flow under a pressure gradient (Govier & Aziz [1]_).

    .. math:: \frac{8V}{D} = \frac{4n\,s^{(n+1)/n}}{K^{1/n}\tau_w^3}
              \left[\frac{s^2}{3n+1} + \frac{2\tau_y s}{2n+1} + \frac{\tau_y^2}{n+1}\right], \quad s = \tau_w
              - \tau_y

    Parameters
    ----------
    gradient : float
        Pressure gradient, not below zero, [Pa/m]
    d : float
        Bore, [m]
    ty : float
        Yield stress, [Pa]
    k : float
        Consistency, [Pa*s^n]
    n : float
        Flow index, [-]

    Returns
    -------
    v : float
        Mean velocity, zero below the start gradient, [m/s]

    References
    ----------
    .. [1] Govier, G. W. and Aziz, K., The Flow of Complex Mixtures in Pipes, Van Nostrand Reinhold, 1972.
    """
    tw = 0.25 * gradient * d
    s = tw - ty
    if s <= 0.0:
        return 0.0
    bracket = s * s / (3.0 * n + 1.0) + 2.0 * ty * s / (2.0 * n + 1.0) + ty * ty / (n + 1.0)
    return 0.5 * d * n * s * (s / k) ** (1.0 / n) / (tw * tw * tw) * bracket


@formula
def herschel_bulkley_wall_stress(v: float, d: float, ty: float, k: float, n: float) -> float:
    r"""Wall stress of laminar Herschel-Bulkley pipe flow: the form of Govier & Aziz [1]_ solved for it.

    .. math:: \frac{8V}{D} = \frac{4n\,s^{(n+1)/n}}{K^{1/n}\tau_w^3}
              \left[\frac{s^2}{3n+1} + \frac{2\tau_y s}{2n+1} + \frac{\tau_y^2}{n+1}\right], \quad s = \tau_w
              - \tau_y

    Parameters
    ----------
    v : float
        Mean speed, not below zero, [m/s]
    d : float
        Bore, [m]
    ty : float
        Yield stress, [Pa]
    k : float
        Consistency, above zero, [Pa*s^n]
    n : float
        Flow index, above zero, [-]

    Returns
    -------
    tw : float
        Wall stress; the yield stress itself at rest, [Pa]

    Notes
    -----
    Newton's method in logarithms of both sides, where the curve is nearly straight: its slope only goes from
    (n + 1)/n to 1/n. Some four to eight steps.

    References
    ----------
    .. [1] Govier, G. W. and Aziz, K., The Flow of Complex Mixtures in Pipes, Van Nostrand Reinhold, 1972.

    Examples
    --------
    >>> round(herschel_bulkley_wall_stress(1.0, 0.1, 10.0, 0.5, 0.6), 5)
    19.78479
    """
    if v <= 0.0:
        return max(0.0, ty)
    power = k * (2.0 * v / d * (3.0 * n + 1.0) / n) ** n
    if ty <= 0.0:
        return power
    target = math.log(2.0 * v / (d * n)) + math.log(k) / n
    a = 1.0 / (3.0 * n + 1.0)
    b = 2.0 * ty / (2.0 * n + 1.0)
    c = ty * ty / (n + 1.0)
    y = math.log(power)
    for _ in range(60):
        s = math.exp(y)
        bracket = c + s * (b + a * s)
        value = (n + 1.0) / n * y + math.log(bracket) - 3.0 * math.log(s + ty)
        slope = (n + 1.0) / n + s * (2.0 * a * s + b) / bracket - 3.0 * s / (s + ty)
        step = (value - target) / slope
        y -= step
        if abs(step) <= 1e-14:
            break
    return ty + math.exp(y)


@formula
def herschel_bulkley_laminar_gradient(v: float, d: float, ty: float, k: float, n: float) -> float:
    r"""Pressure gradient of laminar Herschel-Bulkley pipe flow (Govier & Aziz 1972), signed.

    .. math:: \frac{dp}{dx} = 4\tau_w/D

    Parameters
    ----------
    v : float
        Mean velocity, [m/s]
    d : float
        Bore, [m]
    ty : float
        Yield stress, [Pa]
    k : float
        Consistency, [Pa*s^n]
    n : float
        Flow index, [-]

    Returns
    -------
    gradient : float
        Pressure lost for each metre, zero at rest, [Pa/m]

    Notes
    -----
    Laminar only: thick mud. At rest the pipe can hold any gradient up to `start_gradient`.
    """
    if v == 0.0:
        return 0.0
    return math.copysign(4.0 * herschel_bulkley_wall_stress(abs(v), d, ty, k, n) / d, v)


@formula
def power_law_laminar_gradient(v: float, d: float, k: float, n: float) -> float:
    r"""Pressure gradient of laminar power-law pipe flow (Rabinowitsch 1929, Mooney 1931), signed.

    .. math:: \frac{dp}{dx} = \frac{4K}{D}\left(\frac{3n + 1}{4n}\frac{8V}{D}\right)^n

    Parameters
    ----------
    v : float
        Mean velocity, [m/s]
    d : float
        Bore, [m]
    k : float
        Consistency, [Pa*s^n]
    n : float
        Flow index, [-]

    Returns
    -------
    gradient : float
        Pressure lost for each metre, [Pa/m]
    """
    if v == 0.0:
        return 0.0
    return math.copysign(4.0 * k / d * ((3.0 * n + 1.0) / n * 2.0 * abs(v) / d) ** n, v)


@formula
def power_law_velocity(gradient: float, d: float, k: float, n: float) -> float:
    r"""Mean velocity of laminar power-law pipe flow under a gradient (Rabinowitsch 1929, Mooney 1931).

    .. math:: V = \frac{D}{8}\frac{4n}{3n + 1}\left(\frac{\tau_w}{K}\right)^{1/n}

    Parameters
    ----------
    gradient : float
        Pressure gradient, not below zero, [Pa/m]
    d : float
        Bore, [m]
    k : float
        Consistency, [Pa*s^n]
    n : float
        Flow index, [-]

    Returns
    -------
    v : float
        Mean velocity, [m/s]
    """
    return 0.5 * d * n / (3.0 * n + 1.0) * (0.25 * gradient * d / k) ** (1.0 / n)


@formula
def power_law_centreline_ratio(n: float) -> float:
    r"""Velocity on the axis over mean velocity in laminar power-law pipe flow.

    .. math:: u/V = (3n + 1)/(n + 1)

    Parameters
    ----------
    n : float
        Flow index, [-]

    Returns
    -------
    ratio : float
        2 for a Newtonian liquid, towards 1 for plug flow, [-]
    """
    return (3.0 * n + 1.0) / (n + 1.0)


@formula
def metzner_reed(v: float, d: float, rho: float, k: float, n: float) -> float:
    r"""Reynolds number of a power-law fluid for which laminar flow has f = 16/Re (Metzner & Reed [1]_).

    .. math:: Re_{MR} = \frac{\rho V^{2-n}D^n}{8^{n-1}K[(3n+1)/(4n)]^n}

    Parameters
    ----------
    v : float
        Mean speed, not below zero, [m/s]
    d : float
        Bore, [m]
    rho : float
        Density, [kg/m3]
    k : float
        Consistency, [Pa*s^n]
    n : float
        Flow index, [-]

    Returns
    -------
    re : float
        Generalised Reynolds number, [-]

    References
    ----------
    .. [1] Metzner, A. B. and Reed, J. C., Flow of non-Newtonian fluids - correlation of the laminar,
       transition and turbulent-flow regions, AIChE Journal 1 (1955) 434-440.
    """
    return rho * v ** (2.0 - n) * d**n / (8.0 ** (n - 1.0) * k * ((3.0 * n + 1.0) / (4.0 * n)) ** n)


def bingham_from_two_points(
    rate1: float, stress1: float, rate2: float, stress2: float
) -> tuple[float, float]:
    r"""Yield stress and plastic viscosity of the straight line through two points of a flow curve.

    .. math:: \mu_p = \frac{\tau_2 - \tau_1}{\dot\gamma_2 - \dot\gamma_1}, \quad
              \tau_y = \tau_1 - \mu_p\dot\gamma_1

    Parameters
    ----------
    rate1 : float
        First shear rate, [1/s]
    stress1 : float
        Its stress, [Pa]
    rate2 : float
        Second shear rate, [1/s]
    stress2 : float
        Its stress, [Pa]

    Returns
    -------
    fit : tuple of float
        Yield stress in Pa and plastic viscosity in Pa*s, [-]

    Examples
    --------
    >>> bingham_from_two_points(10.0, 15.0, 50.0, 25.0)
    (12.5, 0.25)
    """
    mu_p = (stress2 - stress1) / (rate2 - rate1)
    return stress1 - mu_p * rate1, mu_p
