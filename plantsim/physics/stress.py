"""Effective solids stress: what a network of solids carries above its gel point, and its rest state.

Three laws in common use, each with its derivative (a compression term needs the slope), and the closed-form
state in which a column under its own weight comes to rest.
"""

from __future__ import annotations

import math

from plantsim.jit import formula
from plantsim.physics.water import GRAVITY


@formula
def stress_power(phi: float, phi_c: float, sigma0: float, k: float) -> float:
    r"""Return the effective stress of the power law, :math:`\sigma_e = \sigma_0[(\phi/\phi_c)^k - 1]` [1]_.

    Parameters
    ----------
    phi : float
        Volume fraction of solids, [-]
    phi_c : float
        Gel point, [-]
    sigma0 : float
        Stress scale, [Pa]
    k : float
        Exponent, above 1, [-]

    Returns
    -------
    sigma : float
        Effective solids stress, 0 below the gel point, [Pa]

    Notes
    -----
    Continuous at the gel point. ``phi`` and ``phi_c`` may both be concentrations instead.

    References
    ----------
    .. [1] Buerger, R., Karlsen, K. H., Towers, J. D. (2005), "A model of continuous sedimentation of
       flocculated suspensions in clarifier-thickener units", SIAM J. Appl. Math. 65(3), 882-940.
    """
    if phi <= phi_c:
        return 0.0
    return sigma0 * ((phi / phi_c) ** k - 1.0)


@formula
def stress_power_slope(phi: float, phi_c: float, sigma0: float, k: float) -> float:
    r"""Return the slope of the power law, :math:`(k\sigma_0/\phi_c)(\phi/\phi_c)^{k-1}` [1]_.

    Parameters
    ----------
    phi : float
        Volume fraction of solids, [-]
    phi_c : float
        Gel point, [-]
    sigma0 : float
        Stress scale, [Pa]
    k : float
        Exponent, above 1, [-]

    Returns
    -------
    slope : float
        Slope of the stress, 0 at and below the gel point, [Pa]

    Notes
    -----
    Jumps from 0 at the gel point: the compression term is degenerate there.

    References
    ----------
    .. [1] Buerger, R., Karlsen, K. H., Towers, J. D. (2005), SIAM J. Appl. Math. 65(3), 882-940.
    """
    if phi <= phi_c:
        return 0.0
    return k * sigma0 / phi_c * (phi / phi_c) ** (k - 1.0)


@formula
def stress_exponential(phi: float, phi_c: float, sigma0: float, k: float) -> float:
    r"""Return the effective stress of the exponential law, :math:`\sigma_e = \sigma_0e^{k\phi}` [1]_.

    Parameters
    ----------
    phi : float
        Volume fraction of solids, [-]
    phi_c : float
        Gel point, [-]
    sigma0 : float
        Stress scale, [Pa]
    k : float
        Exponent, [-]

    Returns
    -------
    sigma : float
        Effective solids stress, 0 at and below the gel point, [Pa]

    Notes
    -----
    The law as published jumps at the gel point from 0 to sigma0 exp(k phi_c), for it was fitted above it.

    References
    ----------
    .. [1] Becker (1982) as quoted in Buerger, R., and others (2000), Chem. Eng. J. 80, 91-104.
    """
    if phi <= phi_c:
        return 0.0
    return sigma0 * math.exp(k * phi)


@formula
def stress_exponential_slope(phi: float, phi_c: float, sigma0: float, k: float) -> float:
    r"""Return the slope of the exponential law, :math:`d\sigma_e/d\phi = k\sigma_0e^{k\phi}` [1]_.

    Parameters
    ----------
    phi : float
        Volume fraction of solids, [-]
    phi_c : float
        Gel point, [-]
    sigma0 : float
        Stress scale, [Pa]
    k : float
        Exponent, [-]

    Returns
    -------
    slope : float
        Slope of the stress, 0 at and below the gel point, [Pa]

    Notes
    -----
    The jump of the stress at the gel point is not part of the slope.

    References
    ----------
    .. [1] Buerger, R., and others (2000), Chem. Eng. J. 80, 91-104.
    """
    return k * stress_exponential(phi, phi_c, sigma0, k)


@formula
def stress_log(C: float, C_c: float, a: float, b: float) -> float:
    r"""Return the effective stress of the logarithmic law, :math:`\sigma_e = a\ln[(C-C_c+b)/b]` [1]_.

    Parameters
    ----------
    C : float
        Concentration, [kg/m3]
    C_c : float
        Concentration at the gel point, [kg/m3]
    a : float
        Stress scale, [Pa]
    b : float
        Concentration scale, [kg/m3]

    Returns
    -------
    sigma : float
        Effective solids stress, 0 below the gel point, [Pa]

    Notes
    -----
    Fitted to activated sludge; continuous at the gel point.

    References
    ----------
    .. [1] Buerger, R., Diehl, S., Faras, S., Nopens, I., Torfs, E. (2013), "A consistent modelling
       methodology for secondary settling tanks", Water Sci. Technol. 68(1), 192-208.
    """
    if C - C_c <= 0.0:
        return 0.0
    return a * math.log((C - C_c + b) / b)


@formula
def stress_log_slope(C: float, C_c: float, a: float, b: float) -> float:
    r"""Return the slope of the logarithmic law, :math:`d\sigma_e/dC = a/(C-C_c+b)` [1]_.

    Parameters
    ----------
    C : float
        Concentration, [kg/m3]
    C_c : float
        Concentration at the gel point, [kg/m3]
    a : float
        Stress scale, [Pa]
    b : float
        Concentration scale, [kg/m3]

    Returns
    -------
    slope : float
        Slope of the stress, 0 at and below the gel point, [m2/s2]

    Notes
    -----
    Pa per kg/m^3 is m^2/s^2.

    References
    ----------
    .. [1] Buerger, R., and others (2013), Water Sci. Technol. 68(1), 192-208.
    """
    if C - C_c <= 0.0:
        return 0.0
    return a / (C - C_c + b)


@formula
def equilibrium_power(
    phi0: float, height: float, phi_c: float, sigma0: float, k: float, delta_rho: float, g: float = GRAVITY
) -> tuple[float, float]:
    r"""Return the rest state of a settled column with the power law of stress [1]_.

    .. math:: \phi_b = \phi_c[1 + \Delta\rho g\phi_0H/\sigma_0]^{1/k}, \quad
        h = \frac{\sigma_0k}{(k-1)\phi_c^k\Delta\rho g}(\phi_b^{k-1} - \phi_c^{k-1})

    Parameters
    ----------
    phi0 : float
        Uniform volume fraction at the start, [-]
    height : float
        Height of the column, [m]
    phi_c : float
        Gel point, [-]
    sigma0 : float
        Stress scale, [Pa]
    k : float
        Exponent, above 1, [-]
    delta_rho : float
        Density of the solids above that of the liquid, [kg/m3]
    g : float
        Acceleration of free fall, [m/s2]

    Returns
    -------
    phi_bottom : float
        Volume fraction at the bottom, [-]
    bed_height : float
        Height of the bed, [m]

    Notes
    -----
    From the balance of the solids' buoyant weight and the slope of the stress. A bed height at or above
    ``height`` means that the column carries itself and does not settle.

    References
    ----------
    .. [1] Bustos, M. C., Concha, F., Buerger, R., Tory, E. M. (1999), Sedimentation and Thickening, Kluwer
       (the balance; the closed form follows by integration).
    """
    weight = delta_rho * g
    phi_bottom = phi_c * (1.0 + weight * phi0 * height / sigma0) ** (1.0 / k)
    bed = sigma0 * k / ((k - 1.0) * phi_c**k * weight) * (phi_bottom ** (k - 1.0) - phi_c ** (k - 1.0))
    return phi_bottom, bed


@formula
def equilibrium_log(
    C0: float,
    height: float,
    C_c: float,
    a: float,
    b: float,
    rho_s: float,
    rho_l: float,
    g: float = GRAVITY,
) -> tuple[float, float]:
    r"""Return the rest state of a settled column with the logarithmic law of stress [1]_.

    .. math:: C_b = C_c - b + be^{\sigma_b/a}, \quad \sigma_b = \gamma C_0H, \quad
        \gamma = g(1 - \rho_l/\rho_s), \quad h = \frac{a}{\gamma}\int_{C_c}^{C_b}\frac{dC}{C(C-C_c+b)}

    Parameters
    ----------
    C0 : float
        Uniform concentration at the start, [kg/m3]
    height : float
        Height of the column, [m]
    C_c : float
        Concentration at the gel point, [kg/m3]
    a : float
        Stress scale, [Pa]
    b : float
        Concentration scale, [kg/m3]
    rho_s : float
        Density of the solids, [kg/m3]
    rho_l : float
        Density of the liquid, [kg/m3]
    g : float
        Acceleration of free fall, [m/s2]

    Returns
    -------
    C_bottom : float
        Concentration at the bottom, [kg/m3]
    bed_height : float
        Height of the bed, [m]

    Notes
    -----
    A bed height at or above ``height`` means that the column carries itself and does not settle.

    References
    ----------
    .. [1] Balance as in Bustos and others (1999); law of Buerger and others (2013).
    """
    gamma = g * (1.0 - rho_l / rho_s)
    shift = C_c - b
    C_bottom = shift + b * math.exp(gamma * C0 * height / a)
    if abs(shift) < 1e-9 * C_c:
        integral = 1.0 / C_c - 1.0 / C_bottom  # the limit of the general form
    else:
        integral = (math.log((C_bottom - shift) / C_bottom) - math.log(b / C_c)) / shift
    return C_bottom, a / gamma * integral
