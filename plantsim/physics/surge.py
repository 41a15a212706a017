"""Water hammer in a full line: wave speed, sudden stop, slow closure.

Estimates that show whether a line deserves a surge study, never a substitute for one.
"""

from __future__ import annotations

import math

from plantsim.jit import formula
from plantsim.physics.hydraulics import G

__all__ = ["joukowsky_pressure", "michaud_head", "surge_head", "wave_speed"]


@formula
def wave_speed(bulk: float, rho: float, d: float, wall: float, young: float, restraint: float) -> float:
    r"""Speed of a pressure wave in a liquid-filled elastic pipe (Korteweg 1878) [1]_.

    .. math:: a = \sqrt{\frac{K/\rho}{1 + c K D/(E t)}}

    Parameters
    ----------
    bulk : float
        Bulk modulus of the liquid, [Pa]
    rho : float
        Density, [kg/m3]
    d : float
        Bore, [m]
    wall : float
        Wall thickness, [m]
    young : float
        Young's modulus of the wall, infinite for a rigid pipe, [Pa]
    restraint : float
        1 for expansion joints throughout, 1 less Poisson's ratio squared for a pipe anchored throughout, [-]

    Returns
    -------
    a : float
        Wave speed, [m/s]

    Notes
    -----
    Thin walls (bore over wall above about 25). A little free gas lowers the speed greatly.

    References
    ----------
    .. [1] Wylie, E. B. and Streeter, V. L., Fluid Transients in Systems, Prentice Hall, 1993.

    Examples
    --------
    >>> round(wave_speed(1.43e9, 798.4, 2.5, 0.02, 2.07e11, 1.0), 1)
    980.4
    """
    return math.sqrt(bulk / rho / (1.0 + restraint * bulk * d / (young * wall)))


@formula
def joukowsky_pressure(rho: float, a: float, dv: float) -> float:
    r"""Pressure rise when the velocity drops faster than the wave returns (Joukowsky 1898).

    .. math:: \Delta p = \rho a\,\Delta v

    Parameters
    ----------
    rho : float
        Density, [kg/m3]
    a : float
        Wave speed, [m/s]
    dv : float
        Drop in velocity, [m/s]

    Returns
    -------
    dp : float
        Pressure rise, [Pa]

    Notes
    -----
    For stops quicker than 2L/a. Column separation and its closing can exceed it.
    """
    return rho * a * dv


@formula
def surge_head(a: float, dv: float, g: float = G) -> float:
    r"""Head rise when the velocity drops faster than the wave returns (Joukowsky 1898).

    .. math:: \Delta h = a\,\Delta v/g

    Parameters
    ----------
    a : float
        Wave speed, [m/s]
    dv : float
        Drop in velocity, [m/s]
    g : float
        Gravity, [m/s2]

    Returns
    -------
    dh : float
        Head rise, [m]
    """
    return a * dv / g


@formula
def michaud_head(length: float, v: float, a: float, t_close: float, g: float = G) -> float:
    r"""Head rise of a closure, slow or quick: Michaud's, never above Joukowsky's.

    .. math:: \Delta h = \min\left(\frac{2LV}{g t_c}, \frac{aV}{g}\right)

    Parameters
    ----------
    length : float
        Length of the line, [m]
    v : float
        Velocity before the closure, [m/s]
    a : float
        Wave speed, [m/s]
    t_close : float
        Time the flow takes to stop, [s]
    g : float
        Gravity, [m/s2]

    Returns
    -------
    dh : float
        Head rise, [m]

    Notes
    -----
    The two meet at a closing time of 2L/a. Linear stop of the flow; a valve stops most of it late in its
    stroke, so count only the effective part. Michaud 1878, form from memory.
    """
    quick = a * v / g
    if t_close <= 2.0 * length / a:
        return quick
    return 2.0 * length * v / (g * t_close)
