"""How fast solids settle: one particle, a crowd of them, and the stress a settled bed carries.

Velocities are positive downwards. ``phi`` is a volume fraction, ``C`` a dry concentration in kg/m^3.
The exact batch solutions that these laws obey are in `plantsim.physics.kynch`.
"""

from __future__ import annotations

import math

from plantsim.jit import formula
from plantsim.physics.water import GRAVITY


@formula
def velocity_stokes(d: float, rho_s: float, rho_l: float, mu: float, g: float = GRAVITY) -> float:
    r"""Return the creeping-flow settling velocity of a sphere, :math:`v = (\rho_s-\rho_l)gd^2/(18\mu)` [1]_.

    Parameters
    ----------
    d : float
        Diameter, [m]
    rho_s : float
        Density of the particle, [kg/m3]
    rho_l : float
        Density of the liquid, [kg/m3]
    mu : float
        Dynamic viscosity of the liquid, [Pa*s]
    g : float
        Acceleration of free fall, [m/s2]

    Returns
    -------
    v : float
        Settling velocity, [m/s]

    Notes
    -----
    Valid for a particle Reynolds number below about 0.3 (`in_stokes_range`); quartz in water to some 60 um.

    Examples
    --------
    >>> round(velocity_stokes(100e-6, 2600.0, 1000.0, 1e-3, 9.81), 5)
    0.00872

    References
    ----------
    .. [1] Stokes, G. G. (1851), Trans. Cambridge Phil. Soc. 9, 8-106.
    """
    return (rho_s - rho_l) * g * d * d / (18.0 * mu)


@formula
def particle_reynolds(v: float, d: float, rho_l: float, mu: float) -> float:
    r"""Return the particle Reynolds number, :math:`Re = \rho_l v d/\mu` [1]_.

    Parameters
    ----------
    v : float
        Velocity relative to the liquid, [m/s]
    d : float
        Diameter, [m]
    rho_l : float
        Density of the liquid, [kg/m3]
    mu : float
        Dynamic viscosity of the liquid, [Pa*s]

    Returns
    -------
    re : float
        Particle Reynolds number, [-]

    Notes
    -----
    Exact by definition.

    References
    ----------
    .. [1] Clift, R., Grace, J. R., Weber, M. E. (1978), Bubbles, Drops, and Particles, Academic Press.
    """
    return rho_l * abs(v) * d / mu


@formula
def in_stokes_range(re: float) -> bool:
    r"""Return whether the law of Stokes is within 5 % at this Reynolds number, :math:`Re \le 0.3` [1]_.

    Parameters
    ----------
    re : float
        Particle Reynolds number, [-]

    Returns
    -------
    valid : bool
        True inside the range, [-]

    Notes
    -----
    At 0.3 the standard drag curve exceeds Stokes by 4.7 %, the form of Schiller and Naumann by 6.6 %; some
    texts allow Re up to 1 (13 to 15 %).

    References
    ----------
    .. [1] Clift, Grace and Weber (1978), ch. 5.
    """
    return re <= 0.3


@formula
def drag_schiller_naumann(re: float) -> float:
    r"""Return the drag coefficient of a sphere, :math:`C_D = 24/Re\,(1 + 0.15Re^{0.687})` [1]_.

    Parameters
    ----------
    re : float
        Particle Reynolds number, above 0, [-]

    Returns
    -------
    cd : float
        Drag coefficient, [-]

    Notes
    -----
    Valid for Re below about 800 to 1000. Constants from memory.

    References
    ----------
    .. [1] Schiller, L., Naumann, A. (1933), Z. Ver. Dtsch. Ing. 77, 318-320.
    """
    return 24.0 / re * (1.0 + 0.15 * re**0.687)


@formula
def drag_haider_levenspiel(re: float) -> float:
    r"""Return the drag coefficient of a sphere over the whole subcritical range [1]_.

    .. math:: C_D = \frac{24}{Re}(1 + 0.1806Re^{0.6459}) + \frac{0.4251}{1 + 6880.95/Re}

    Parameters
    ----------
    re : float
        Particle Reynolds number, above 0, [-]

    Returns
    -------
    cd : float
        Drag coefficient, [-]

    Notes
    -----
    Valid for Re below 260 000.

    References
    ----------
    .. [1] Haider, A., Levenspiel, O. (1989), "Drag coefficient and terminal velocity of spherical and
       nonspherical particles", Powder Technol. 58(1), 63-70.
    """
    return 24.0 / re * (1.0 + 0.1806 * re**0.6459) + 0.4251 / (1.0 + 6880.95 / re)


@formula
def terminal_velocity_schiller_naumann(
    d: float, rho_s: float, rho_l: float, mu: float, g: float = GRAVITY
) -> float:
    r"""Return the terminal velocity of a sphere with the drag of Schiller and Naumann [1]_.

    Solves :math:`C_D(Re)Re^2 = \tfrac{4}{3}Ar` with :math:`Ar = d^3\rho_l|\rho_s-\rho_l|g/\mu^2` by Newton's
    method on the logarithm of Re, where the left side is monotone with a slope between 1 and 1.69.

    Parameters
    ----------
    d : float
        Diameter, [m]
    rho_s : float
        Density of the particle, [kg/m3]
    rho_l : float
        Density of the fluid, [kg/m3]
    mu : float
        Dynamic viscosity of the fluid, [Pa*s]
    g : float
        Acceleration of free fall, [m/s2]

    Returns
    -------
    v : float
        Terminal velocity, negative for a particle lighter than the fluid, [m/s]

    Notes
    -----
    Valid for Re below about 800 to 1000.

    Examples
    --------
    >>> round(terminal_velocity_schiller_naumann(100e-6, 2650.0, 998.207, 1.0016e-3), 7)
    0.0079653

    References
    ----------
    .. [1] Schiller, L., Naumann, A. (1933), Z. Ver. Dtsch. Ing. 77, 318-320.
    """
    difference = rho_s - rho_l
    if d <= 0.0 or difference == 0.0:
        return 0.0
    target = math.log(d * d * d * rho_l * abs(difference) * g / (mu * mu) / 18.0)  # ln Re in creeping flow
    y = target
    for _ in range(60):
        p = 0.15 * math.exp(0.687 * y)
        step = (y + math.log(1.0 + p) - target) / (1.0 + 0.687 * p / (1.0 + p))
        y -= step
        if abs(step) < 1e-14:
            break
    v = math.exp(y) * mu / (rho_l * d)
    return v if difference > 0.0 else -v


@formula
def terminal_velocity_haider_levenspiel(
    d: float, rho_s: float, rho_l: float, mu: float, g: float = GRAVITY
) -> float:
    r"""Return the terminal velocity of a sphere with the drag of Haider and Levenspiel [1]_.

    Solves :math:`C_D(Re)Re^2 = \tfrac{4}{3}Ar` as `terminal_velocity_schiller_naumann` does.

    Parameters
    ----------
    d : float
        Diameter, [m]
    rho_s : float
        Density of the particle, [kg/m3]
    rho_l : float
        Density of the fluid, [kg/m3]
    mu : float
        Dynamic viscosity of the fluid, [Pa*s]
    g : float
        Acceleration of free fall, [m/s2]

    Returns
    -------
    v : float
        Terminal velocity, negative for a particle lighter than the fluid, [m/s]

    Notes
    -----
    Valid for Re below 260 000. It is 4 % slower than Stokes at Re = 0.1, 1 % at 0.01.

    References
    ----------
    .. [1] Haider, A., Levenspiel, O. (1989), Powder Technol. 58(1), 63-70.
    """
    difference = rho_s - rho_l
    if d <= 0.0 or difference == 0.0:
        return 0.0
    target = math.log(d * d * d * rho_l * abs(difference) * g / (mu * mu) / 18.0)
    y = target
    for _ in range(60):
        re = math.exp(y)
        viscous = 0.1806 * re**0.6459
        inertial = 0.4251 / 24.0 * re * re / (re + 6880.95)
        factor = 1.0 + viscous + inertial
        slope = 1.0 + (0.6459 * viscous + inertial * (2.0 - re / (re + 6880.95))) / factor
        step = (y + math.log(factor) - target) / slope
        y -= step
        if abs(step) < 1e-14:
            break
    v = math.exp(y) * mu / (rho_l * d)
    return v if difference > 0.0 else -v


@formula
def equal_settling_diameter(d: float, rho_s: float, rho_other: float, rho_l: float) -> float:
    r"""Return the diameter of another solid that settles as fast in creeping flow [1]_.

    .. math:: d_2 = d\sqrt{(\rho_s-\rho_l)/(\rho_2-\rho_l)}

    Parameters
    ----------
    d : float
        Diameter of the first solid, [m]
    rho_s : float
        Density of the first solid, [kg/m3]
    rho_other : float
        Density of the other solid, [kg/m3]
    rho_l : float
        Density of the liquid, [kg/m3]

    Returns
    -------
    d_other : float
        Diameter of the other solid, [m]

    Notes
    -----
    Valid in the range of Stokes, both solids denser than the liquid.

    References
    ----------
    .. [1] Geankoplis, C. J., Transport Processes and Unit Operations, 3rd ed., sect. 14.3, Ex. 14.3-3.
    """
    return d * math.sqrt((rho_s - rho_l) / (rho_other - rho_l))


@formula
def exponent_richardson_zaki(re: float) -> float:
    r"""Return the exponent n of Richardson and Zaki without the wall term [1]_.

    4.65 below Re 0.2, :math:`4.35Re^{-0.03}` to 1, :math:`4.45Re^{-0.1}` to 500, 2.39 above.

    Parameters
    ----------
    re : float
        Reynolds number of the single particle, [-]

    Returns
    -------
    n : float
        Exponent, [-]

    Notes
    -----
    Rigid grains of one size in a wide vessel. The pieces do not join exactly: 2 % apart at Re = 1.
    Constants from memory.

    References
    ----------
    .. [1] Richardson, J. F., Zaki, W. N. (1954), Trans. Inst. Chem. Eng. 32, 35-53.
    """
    if re < 0.2:
        return 4.65
    if re < 1.0:
        return 4.35 * re**-0.03
    if re < 500.0:
        return 4.45 * re**-0.1
    return 2.39


@formula
def exponent_garside_al_dibouni(re: float) -> float:
    r"""Return the exponent n by Garside and Al-Dibouni, :math:`(5.1-n)/(n-2.7) = 0.1Re^{0.9}` [1]_.

    Parameters
    ----------
    re : float
        Reynolds number of the single particle, [-]

    Returns
    -------
    n : float
        Exponent, [-]

    Notes
    -----
    Valid for Re from 0.001 to 30 000. Constants from memory.

    References
    ----------
    .. [1] Garside, J., Al-Dibouni, M. R. (1977), Ind. Eng. Chem. Process Des. Dev. 16(2), 206-214.
    """
    x = 0.1 * re**0.9
    return (5.1 + 2.7 * x) / (1.0 + x)


@formula
def exponent_rowe(re: float) -> float:
    r"""Return the exponent n by Rowe, :math:`n = 2.35(2+0.175Re^{0.75})/(1+0.175Re^{0.75})` [1]_.

    Parameters
    ----------
    re : float
        Reynolds number of the single particle, [-]

    Returns
    -------
    n : float
        Exponent, [-]

    Notes
    -----
    Valid over the whole range; a smooth form of Richardson and Zaki. Constants from memory.

    References
    ----------
    .. [1] Rowe, P. N. (1987), "A convenient empirical equation for estimation of the Richardson-Zaki
       exponent", Chem. Eng. Sci. 42(11), 2795-2796.
    """
    x = 0.175 * re**0.75
    return 2.35 * (2.0 + x) / (1.0 + x)


@formula
def velocity_richardson_zaki(phi: float, v0: float, n: float) -> float:
    r"""Return the hindered settling velocity, :math:`v = v_0(1-\phi)^n` [1]_.

    Parameters
    ----------
    phi : float
        Volume fraction of solids, [-]
    v0 : float
        Velocity of the single particle, [m/s]
    n : float
        Exponent, [-]

    Returns
    -------
    v : float
        Settling velocity, 0 at and above phi = 1, [m/s]

    Notes
    -----
    Valid for rigid grains of one size; for flocs phi is the volume of the flocs, water within them included.

    Examples
    --------
    >>> round(1e3 * velocity_richardson_zaki(0.2, 1.1e-3, 4.65), 4)
    0.3897

    References
    ----------
    .. [1] Richardson, J. F., Zaki, W. N. (1954), Trans. Inst. Chem. Eng. 32, 35-53.
    """
    if phi >= 1.0:
        return 0.0
    return v0 * (1.0 - phi) ** n


@formula
def single_velocity_richardson_zaki(v: float, phi: float, n: float) -> float:
    r"""Return the single-particle velocity behind a measured one, :math:`v_0 = v(1-\phi)^{-n}` [1]_.

    Parameters
    ----------
    v : float
        Measured settling velocity of the suspension, [m/s]
    phi : float
        Volume fraction of solids, below 1, [-]
    n : float
        Exponent, [-]

    Returns
    -------
    v0 : float
        Velocity of the single particle, [m/s]

    Notes
    -----
    Valid as `velocity_richardson_zaki`.

    References
    ----------
    .. [1] Richardson, J. F., Zaki, W. N. (1954), Trans. Inst. Chem. Eng. 32, 35-53.
    """
    return v * (1.0 - phi) ** -n


@formula
def hindered_factor_steinour(e: float) -> float:
    r"""Return the hindered over the Stokes velocity, :math:`\epsilon^2 10^{-1.82(1-\epsilon)}` [1]_, [2]_.

    Parameters
    ----------
    e : float
        Volume fraction of liquid, [-]

    Returns
    -------
    factor : float
        Settling velocity of the suspension over the Stokes velocity in the clear liquid, [-]

    Notes
    -----
    Valid for uniform spheres in creeping flow, e from 0.5 to 0.95.

    References
    ----------
    .. [1] Steinour, H. H. (1944), "Rate of sedimentation: nonflocculated suspensions of uniform spheres",
       Ind. Eng. Chem. 36(7), 618-624.
    .. [2] Geankoplis, C. J., Transport Processes and Unit Operations, 3rd ed., eqs. 14.3-16 to 14.3-18.
    """
    return e * e * 10.0 ** (-1.82 * (1.0 - e))


@formula
def velocity_vesilind(C: float, v0: float, r: float) -> float:
    r"""Return the exponential settling velocity, :math:`v = v_0e^{-rC}` [1]_.

    Parameters
    ----------
    C : float
        Concentration, [kg/m3]
    v0 : float
        Velocity at no concentration, [m/s]
    r : float
        Hindrance, [m3/kg]

    Returns
    -------
    v : float
        Settling velocity, [m/s]

    Notes
    -----
    Valid for flocculated suspensions in zone settling; it overstates dilute ones, where flocs fall singly.

    References
    ----------
    .. [1] Vesilind, P. A. (1968), "Design of prototype thickeners from batch settling tests", Water Sewage
       Works 115, 302-307.
    """
    return v0 * math.exp(-r * C)


@formula
def velocity_takacs(C: float, v0: float, r_h: float, r_p: float, C_min: float, v_max: float) -> float:
    r"""Return the double-exponential velocity with a cap after Takacs and others [1]_.

    .. math:: v = \max(0, \min(v_{max}, v_0[e^{-r_h(C-C_{min})} - e^{-r_p(C-C_{min})}]))

    Parameters
    ----------
    C : float
        Concentration, [kg/m3]
    v0 : float
        Vesilind velocity, [m/s]
    r_h : float
        Hindrance of the thick zone, [m3/kg]
    r_p : float
        Hindrance of the dilute zone, [m3/kg]
    C_min : float
        Concentration that never settles, [kg/m3]
    v_max : float
        Cap of the velocity, [m/s]

    Returns
    -------
    v : float
        Settling velocity, [m/s]

    Notes
    -----
    Fitted to activated sludge; the form holds for other flocs with other numbers.

    References
    ----------
    .. [1] Takacs, I., Patry, G. G., Nolasco, D. (1991), "A dynamic model of the clarification-thickening
       process", Water Res. 25(10), 1263-1271.
    """
    x = C - C_min
    return max(0.0, min(v_max, v0 * (math.exp(-r_h * x) - math.exp(-r_p * x))))


@formula
def velocity_power(C: float, v0: float, C_half: float, q: float) -> float:
    r"""Return the power-form settling velocity, :math:`v = v_0/(1 + (C/\bar C)^q)` [1]_.

    Parameters
    ----------
    C : float
        Concentration, [kg/m3]
    v0 : float
        Velocity at no concentration, [m/s]
    C_half : float
        Concentration at which the velocity is halved, [kg/m3]
    q : float
        Exponent, above 1, [-]

    Returns
    -------
    v : float
        Settling velocity, [m/s]

    Notes
    -----
    Valid from clear water to the gel point. Its slope vanishes at C = 0, unlike that of the exponential.

    References
    ----------
    .. [1] Diehl, S. (2015), "Numerical identification of constitutive functions in scalar nonlinear
       convection-diffusion equations with application to batch sedimentation", Appl. Numer. Math. 95,
       154-172 (citation from memory).
    """
    if C <= 0.0:
        return v0
    return v0 / (1.0 + (C / C_half) ** q)
