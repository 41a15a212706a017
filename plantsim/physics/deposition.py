"""Velocity below which solids settle out in a slurry line, and the extra gradient of settling solids."""

from __future__ import annotations

import math

from plantsim.jit import formula
from plantsim.physics.hydraulics import G

__all__ = [
    "durand_velocity",
    "limiting_velocity",
    "newitt_gradient",
    "very_fine_limit",
    "wasp_velocity",
    "wilson_ceiling",
    "wilson_fit",
]


@formula
def durand_velocity(fl: float, d: float, s: float, g: float = G) -> float:
    r"""Limit deposit velocity after Durand [1]_.

    .. math:: V_c = F_L\sqrt{2gD(S - 1)}

    Parameters
    ----------
    fl : float
        Durand's factor from his chart; 1.34 for coarse, narrowly graded solids (from memory), [-]
    d : float
        Bore, [m]
    s : float
        Density of the solids over that of the liquid, [-]
    g : float
        Gravity, [m/s2]

    Returns
    -------
    v : float
        Limit deposit velocity, [m/s]

    References
    ----------
    .. [1] Durand, R., Basic relationships of the transportation of solids in pipes - experimental research,
       Proceedings of the Minnesota International Hydraulics Convention, 1953.

    Examples
    --------
    >>> round(durand_velocity(1.34, 0.2, 2.65), 2)
    3.41
    """
    return fl * math.sqrt(2.0 * g * d * (s - 1.0))


@formula
def wasp_velocity(cv: float, d_particle: float, d: float, s: float, g: float = G) -> float:
    r"""Limit deposit velocity after Wasp, Kenny & Gandhi [1]_.

    .. math:: V = 3.116\,C_v^{0.186}\sqrt{2gD(S - 1)}\,(d/D)^{1/6}

    Parameters
    ----------
    cv : float
        Solids by volume, [-]
    d_particle : float
        Particle size, [m]
    d : float
        Bore, [m]
    s : float
        Density of the solids over that of the liquid, [-]
    g : float
        Gravity, [m/s2]

    Returns
    -------
    v : float
        Limit deposit velocity, [m/s]

    Notes
    -----
    Constants 3.116 and 0.186 from memory.

    References
    ----------
    .. [1] Wasp, E. J., Kenny, J. P. and Gandhi, R. L., Solid-Liquid Flow: Slurry Pipeline Transportation,
       Trans Tech Publications, 1977.
    """
    if cv <= 0.0:
        return 0.0
    return 3.116 * cv**0.186 * math.sqrt(2.0 * g * d * (s - 1.0)) * (d_particle / d) ** (1.0 / 6.0)


@formula
def very_fine_limit(nu: float, s: float, f: float, g: float = G) -> float:
    r"""Limit deposit velocity of very fine solids, those that lie within the viscous sublayer (Miedema [1]_).

    .. math:: V = 1.4\,[\nu(S - 1)g]^{1/3}\sqrt{8/f}

    Parameters
    ----------
    nu : float
        Kinematic viscosity of the carrier, [m2/s]
    s : float
        Density of the solids over that of the liquid, [-]
    f : float
        Darcy friction factor, [-]
    g : float
        Gravity, [m/s2]

    Returns
    -------
    v : float
        Limit deposit velocity, [m/s]

    References
    ----------
    .. [1] Miedema, S. A., Slurry Transport: Fundamentals, a Historical Overview and the Delft Head Loss &
       Limit Deposit Velocity Framework, Delft University of Technology, sec. 8.11.2.
    """
    return 1.4 * (nu * (s - 1.0) * g) ** (1.0 / 3.0) * math.sqrt(8.0 / f)


@formula
def wilson_ceiling(f: float, d: float, s: float, g: float = G) -> float:
    r"""Greatest velocity at which a stationary bed can stand, whatever the particle size (Wilson [1]_).

    .. math:: V_{sm,max} = (0.018/f)^{0.13}\sqrt{2gD(S - 1)}

    Parameters
    ----------
    f : float
        Darcy friction factor of the carrier liquid, [-]
    d : float
        Bore, [m]
    s : float
        Density of the solids over that of the liquid, [-]
    g : float
        Gravity, [m/s2]

    Returns
    -------
    v : float
        Velocity, [m/s]

    Notes
    -----
    Coefficients from memory.

    References
    ----------
    .. [1] Wilson, K. C., Influence of particle properties on solids effect, Proceedings Hydrotransport, BHRA,
       1992.
    """
    return (0.018 / f) ** 0.13 * math.sqrt(2.0 * g * d * (s - 1.0))


@formula
def wilson_fit(d_particle: float, d: float, s: float) -> float:
    r"""Velocity at the limit of stationary deposition, fit to the nomograph of Wilson et al. [1]_.

    .. math:: V_{sm} = \frac{8.8[0.55(S - 1)/0.66]^{0.55}D^{0.7}d^{1.75}}{d^2 + 0.11D^{0.7}}, \quad
              d\,[\mathrm{mm}]

    Parameters
    ----------
    d_particle : float
        Particle size, [m]
    d : float
        Bore, [m]
    s : float
        Density of the solids over that of the liquid, [-]

    Returns
    -------
    v : float
        Velocity, [m/s]

    Notes
    -----
    0.55 is the mechanical friction coefficient. Narrowly graded sand and coarser, to be capped by
    `wilson_ceiling`; for silt and clay it tends to zero and `very_fine_limit` takes over. Equation from
    memory.

    References
    ----------
    .. [1] Wilson, K. C., Addie, G. R., Sellgren, A. and Clift, R., Slurry Transport Using Centrifugal Pumps,
       3rd ed., Springer, 2006.
    """
    mm = 1000.0 * d_particle
    bore = d**0.7
    return 8.8 * (0.55 * (s - 1.0) / 0.66) ** 0.55 * bore * mm**1.75 / (mm * mm + 0.11 * bore)


@formula
def limiting_velocity(d_particle: float, d: float, s: float, nu: float, f: float, g: float = G) -> float:
    r"""Limit deposit velocity for any particle size, from Wilson's fit, its ceiling and the very-fine limit.

    .. math:: V = \max[V_{fine}, \min(V_{sm}, V_{sm,max})]

    Parameters
    ----------
    d_particle : float
        Particle size, [m]
    d : float
        Bore, [m]
    s : float
        Density of the solids over that of the liquid, above 1, [-]
    nu : float
        Kinematic viscosity of the carrier, [m2/s]
    f : float
        Darcy friction factor of the carrier, [-]
    g : float
        Gravity, [m/s2]

    Returns
    -------
    v : float
        Limit deposit velocity, [m/s]

    Notes
    -----
    The composition is ours, from `very_fine_limit`, `wilson_fit` and `wilson_ceiling`; expect 20 % either
    way, and run the line above it with a margin.
    """
    coarse = min(wilson_fit(d_particle, d, s), wilson_ceiling(f, d, s, g))
    return max(very_fine_limit(nu, s, f, g), coarse)


@formula
def newitt_gradient(i_water: float, c: float, v: float, d: float, s: float, u0: float, g: float = G) -> float:
    r"""Hydraulic gradient of heterogeneous slurry (Newitt et al. [1]_, as given by Coulson & Richardson).

    .. math:: \frac{i - i_w}{C i_w} = 1100\,\frac{gD(S - 1)}{V^2}\frac{u_0}{V}

    Parameters
    ----------
    i_water : float
        Gradient of clear water at the same velocity, [m/m]
    c : float
        Solids by volume, [-]
    v : float
        Mean velocity, above zero, [m/s]
    d : float
        Bore, [m]
    s : float
        Density of the solids over that of the liquid, [-]
    u0 : float
        Settling velocity of a single particle, [m/s]
    g : float
        Gravity, [m/s2]

    Returns
    -------
    i : float
        Gradient of the slurry in metres of water for each metre, [m/m]

    Notes
    -----
    For sand between the homogeneous regime and the moving bed.

    References
    ----------
    .. [1] Newitt, D. M., Richardson, J. F., Abbott, M. and Turtle, R. B., Hydraulic conveying of solids in
       horizontal pipes, Transactions of the Institution of Chemical Engineers 33 (1955) 93-113.
    """
    return i_water * (1.0 + 1100.0 * c * g * d * (s - 1.0) * u0 / (v * v * v))
