"""Flow of a Newtonian liquid in a full round pipe: Reynolds number, friction factor, losses.

All friction factors here are Darcy (Moody) factors, four times the Fanning factor. The rheology module works
with Fanning factors where its sources do, and says so.
"""

from __future__ import annotations

import math

from plantsim.jit import formula

__all__ = [
    "G",
    "area",
    "churchill",
    "colebrook_exact",
    "diameter_for_flow",
    "flow_for_head",
    "friction_factor",
    "haaland",
    "head_loss",
    "laminar_friction",
    "minor_loss",
    "pressure_gradient",
    "reynolds",
    "serghides",
    "sudden_enlargement_loss",
    "swamee_jain",
]

#: Standard gravity, 3rd CGPM 1901, [m/s2]
G = 9.80665

RE_LAMINAR = 2000.0
RE_TURBULENT = 4000.0


@formula
def area(d: float) -> float:
    r"""Cross-section of a round bore.

    .. math:: A = \pi d^2 / 4

    Parameters
    ----------
    d : float
        Bore, [m]

    Returns
    -------
    a : float
        Area, [m2]
    """
    return 0.25 * math.pi * d * d


@formula
def reynolds(v: float, d: float, rho: float, mu: float) -> float:
    r"""Reynolds number of pipe flow; never negative.

    .. math:: Re = \rho |v| d / \mu

    Parameters
    ----------
    v : float
        Mean velocity, of either sign, [m/s]
    d : float
        Bore, [m]
    rho : float
        Density, [kg/m3]
    mu : float
        Dynamic viscosity, [Pa*s]

    Returns
    -------
    re : float
        Reynolds number, [-]

    Examples
    --------
    >>> reynolds(2.0, 0.1, 1000.0, 1e-3)
    200000.0
    """
    return rho * abs(v) * d / mu


@formula
def laminar_friction(re: float) -> float:
    r"""Darcy friction factor of laminar flow (Hagen 1839, Poiseuille 1840).

    .. math:: f = 64 / Re

    Parameters
    ----------
    re : float
        Reynolds number, above zero, [-]

    Returns
    -------
    f : float
        Darcy friction factor, [-]

    Notes
    -----
    Valid below Re of about 2000. The caller keeps Re above zero; `pressure_gradient` needs no such care.
    """
    return 64.0 / re


@formula
def swamee_jain(re: float, rough: float) -> float:
    r"""Darcy friction factor of turbulent flow after Swamee & Jain [1]_.

    .. math:: f = 0.25 / [\log_{10}(\epsilon/(3.7 D) + 5.74/Re^{0.9})]^2

    Parameters
    ----------
    re : float
        Reynolds number, [-]
    rough : float
        Relative roughness, roughness over bore, [-]

    Returns
    -------
    f : float
        Darcy friction factor, [-]

    Notes
    -----
    Valid for 5000 < Re < 1e8 and 1e-6 < rough < 0.01; within about 1 % of Colebrook in most of it, 3 % at
    the low end.

    References
    ----------
    .. [1] Swamee, P. K. and Jain, A. K., Explicit equations for pipe-flow problems, Journal of the Hydraulics
       Division ASCE 102 (1976) 657-664.
    """
    x = math.log10(rough / 3.7 + 5.74 / re**0.9)
    return 0.25 / (x * x)


@formula
def haaland(re: float, rough: float) -> float:
    r"""Darcy friction factor of turbulent flow after Haaland [1]_.

    .. math:: 1/\sqrt f = -1.8 \log_{10}[(\epsilon/(3.7 D))^{1.11} + 6.9/Re]

    Parameters
    ----------
    re : float
        Reynolds number, [-]
    rough : float
        Relative roughness, [-]

    Returns
    -------
    f : float
        Darcy friction factor, [-]

    Notes
    -----
    Within about 2 % of Colebrook for 4000 < Re < 1e8 and rough < 0.05.

    References
    ----------
    .. [1] Haaland, S. E., Simple and explicit formulas for the friction factor in turbulent pipe flow,
       Journal of Fluids Engineering 105 (1983) 89-90.
    """
    x = -1.8 * math.log10((rough / 3.7) ** 1.11 + 6.9 / re)
    return 1.0 / (x * x)


@formula
def churchill(re: float, rough: float) -> float:
    r"""Darcy friction factor for every regime in one expression after Churchill [1]_.

    .. math:: f = 8[(8/Re)^{12} + (A + B)^{-1.5}]^{1/12}

    with :math:`A = \{2.457\ln[1/((7/Re)^{0.9} + 0.27\epsilon/D)]\}^{16}` and :math:`B = (37530/Re)^{16}`.

    Parameters
    ----------
    re : float
        Reynolds number, above zero, [-]
    rough : float
        Relative roughness, [-]

    Returns
    -------
    f : float
        Darcy friction factor, [-]

    Notes
    -----
    An independent check of `friction_factor`; near Re = 3000 the two differ, as measurements do.

    References
    ----------
    .. [1] Churchill, S. W., Friction factor equation spans all fluid flow regimes, Chemical Engineering 84
       (1977) 91-92.
    """
    a = (2.457 * math.log(1.0 / ((7.0 / re) ** 0.9 + 0.27 * rough))) ** 16
    b = (37530.0 / re) ** 16
    return 8.0 * ((8.0 / re) ** 12 + (a + b) ** -1.5) ** (1.0 / 12.0)


@formula
def serghides(re: float, rough: float) -> float:
    r"""Darcy friction factor of turbulent flow, explicit form of Colebrook after Serghides [1]_.

    .. math:: f = [A - (B - A)^2/(C - 2B + A)]^{-2}

    with :math:`A = -2\log_{10}(\epsilon/(3.7D) + 12/Re)`, :math:`B = -2\log_{10}(\epsilon/(3.7D) + 2.51A/Re)`
    and :math:`C = -2\log_{10}(\epsilon/(3.7D) + 2.51B/Re)`: three fixed-point steps and Steffensen's
    acceleration.

    Parameters
    ----------
    re : float
        Reynolds number, above about 1000, [-]
    rough : float
        Relative roughness, [-]

    Returns
    -------
    f : float
        Darcy friction factor, [-]

    Notes
    -----
    Within 0.01 % of the exact root for 4000 <= Re <= 1e8 and rough <= 0.05. In fully rough flow the three
    steps agree to the last bit and the acceleration would be 0/0; then the last step is the answer.

    References
    ----------
    .. [1] Serghides, T. K., Estimate friction factor accurately, Chemical Engineering 91 (1984) 63-64.
    """
    k = rough / 3.7
    a = -2.0 * math.log10(k + 12.0 / re)
    b = -2.0 * math.log10(k + 2.51 * a / re)
    c = -2.0 * math.log10(k + 2.51 * b / re)
    bend = c - 2.0 * b + a
    x = c
    if abs(bend) > 1e-12:
        x = a - (b - a) * (b - a) / bend
    return 1.0 / (x * x)


@formula
def friction_factor(re: float, rough: float) -> float:
    r"""Darcy friction factor for every regime: 64/Re, then a smooth blend, then Colebrook (Serghides 1984).

    .. math:: f = (1 - w) f_{lam}(Re) + w f_{turb}(Re), \quad w = s^2(3 - 2s), \quad s = (Re - 2000)/2000

    Parameters
    ----------
    re : float
        Reynolds number, above zero, [-]
    rough : float
        Relative roughness, [-]

    Returns
    -------
    f : float
        Darcy friction factor, [-]

    Notes
    -----
    Laminar up to Re 2000, turbulent from 4000. Between them no formula is right, for the flow itself is not
    settled; the blend is ours. It is continuous with its slope at both ends, and the loss rises steadily with
    the velocity, so a solver never meets a jump or a second root.

    Cost: three logarithms in turbulent flow, none in laminar flow.
    The simulation calls it once for each line and step.

    Examples
    --------
    >>> friction_factor(1000.0, 0.0)
    0.064
    >>> round(friction_factor(1e5, 1e-3), 6)
    0.022175
    """
    if re <= RE_LAMINAR:
        return 64.0 / re
    turbulent = serghides(re, rough)
    if re >= RE_TURBULENT:
        return turbulent
    s = (re - RE_LAMINAR) / (RE_TURBULENT - RE_LAMINAR)
    w = s * s * (3.0 - 2.0 * s)
    return (1.0 - w) * 64.0 / re + w * turbulent


@formula
def head_loss(f: float, length: float, d: float, v: float, g: float = G) -> float:
    r"""Friction head of a pipe by Darcy-Weisbach, with the sign of the velocity.

    .. math:: h = f \frac{L}{D}\frac{v|v|}{2g}

    Parameters
    ----------
    f : float
        Darcy friction factor, [-]
    length : float
        Length, [m]
    d : float
        Bore, [m]
    v : float
        Mean velocity, [m/s]
    g : float
        Gravity, [m/s2]

    Returns
    -------
    h : float
        Head loss in metres of the flowing liquid, [m]

    Examples
    --------
    >>> round(head_loss(0.02, 100.0, 0.1, 1.0), 4)
    1.0197
    """
    return f * length / d * v * abs(v) / (2.0 * g)


@formula
def minor_loss(k: float, v: float, g: float = G) -> float:
    r"""Head lost in fittings, with the sign of the velocity.

    .. math:: h = K \frac{v|v|}{2g}

    Parameters
    ----------
    k : float
        Sum of loss coefficients, [-]
    v : float
        Mean velocity to which the coefficients refer, [m/s]
    g : float
        Gravity, [m/s2]

    Returns
    -------
    h : float
        Head loss, [m]
    """
    return k * v * abs(v) / (2.0 * g)


@formula
def sudden_enlargement_loss(v_in: float, v_out: float, g: float = G) -> float:
    r"""Head lost where a pipe widens suddenly (Borda 1766, Carnot).

    .. math:: h = (v_1 - v_2)^2/(2g)

    Parameters
    ----------
    v_in : float
        Velocity in the narrow bore, [m/s]
    v_out : float
        Velocity in the wide bore, [m/s]
    g : float
        Gravity, [m/s2]

    Returns
    -------
    h : float
        Head loss, [m]
    """
    dv = v_in - v_out
    return dv * dv / (2.0 * g)


@formula
def pressure_gradient(v: float, d: float, rho: float, mu: float, eps: float) -> float:
    r"""Friction pressure gradient of a Newtonian liquid, with the sign of the velocity and safe at rest.

    .. math:: \frac{dp}{dx} = f \frac{\rho v|v|}{2D}, \quad\text{laminar: } \frac{32 \mu v}{D^2}

    Parameters
    ----------
    v : float
        Mean velocity, [m/s]
    d : float
        Bore, [m]
    rho : float
        Density, [kg/m3]
    mu : float
        Dynamic viscosity, [Pa*s]
    eps : float
        Roughness, [m]

    Returns
    -------
    gradient : float
        Pressure lost for each metre, [Pa/m]

    Notes
    -----
    The laminar form is used as such up to Re 2000, so zero velocity needs no division by Re.

    Examples
    --------
    >>> pressure_gradient(0.0, 0.1, 1000.0, 1e-3, 0.0)
    0.0
    """
    re = rho * abs(v) * d / mu
    if re <= RE_LAMINAR:
        return 32.0 * mu * v / (d * d)
    return friction_factor(re, eps / d) * rho * v * abs(v) / (2.0 * d)


@formula
def diameter_for_flow(q: float, length: float, h: float, nu: float, eps: float, g: float = G) -> float:
    r"""Bore that carries a flow with a given friction head, turbulent, after Swamee & Jain [1]_.

    .. math:: D = 0.66[\epsilon^{1.25}(LQ^2/(gh))^{4.75} + \nu Q^{9.4}(L/(gh))^{5.2}]^{0.04}

    Parameters
    ----------
    q : float
        Flow, [m3/s]
    length : float
        Length, [m]
    h : float
        Friction head allowed, [m]
    nu : float
        Kinematic viscosity, [m2/s]
    eps : float
        Roughness, [m]
    g : float
        Gravity, [m/s2]

    Returns
    -------
    d : float
        Bore, [m]

    Notes
    -----
    Within about 2 % for 3000 < Re < 3e8.

    References
    ----------
    .. [1] Swamee, P. K. and Jain, A. K., Explicit equations for pipe-flow problems, Journal of the Hydraulics
       Division ASCE 102 (1976) 657-664.
    """
    s = length / (g * h)
    return 0.66 * (eps**1.25 * (s * q * q) ** 4.75 + nu * q**9.4 * s**5.2) ** 0.04


@formula
def flow_for_head(d: float, length: float, h: float, nu: float, eps: float, g: float = G) -> float:
    r"""Flow that a friction head drives through a pipe, turbulent, after Swamee & Jain [1]_.

    .. math:: Q = -0.965\sqrt{gD^5h/L}\,\ln[\epsilon/(3.7D) + \sqrt{3.17\nu^2L/(gD^3h)}]

    Parameters
    ----------
    d : float
        Bore, [m]
    length : float
        Length, [m]
    h : float
        Friction head, [m]
    nu : float
        Kinematic viscosity, [m2/s]
    eps : float
        Roughness, [m]
    g : float
        Gravity, [m/s2]

    Returns
    -------
    q : float
        Flow, [m3/s]

    Notes
    -----
    Valid above Re of about 2000; it is Colebrook solved for the flow, so its error is that of the constants.

    References
    ----------
    .. [1] Swamee, P. K. and Jain, A. K., Explicit equations for pipe-flow problems, Journal of the Hydraulics
       Division ASCE 102 (1976) 657-664.
    """
    rough = eps / (3.7 * d)
    smooth = math.sqrt(3.17 * nu * nu * length / (g * d * d * d * h))
    return -0.965 * math.sqrt(g * d**5 * h / length) * math.log(rough + smooth)


def colebrook_exact(re: float, rough: float) -> float:
    r"""Darcy friction factor of turbulent flow: the root of Colebrook's equation to machine accuracy [1]_.

    .. math:: 1/\sqrt f = -2\log_{10}[\epsilon/(3.7D) + 2.51/(Re\sqrt f)]

    Parameters
    ----------
    re : float
        Reynolds number, [-]
    rough : float
        Relative roughness, [-]

    Returns
    -------
    f : float
        Darcy friction factor, [-]

    Notes
    -----
    Newton's method on :math:`x = 1/\sqrt f`, in which the equation is nearly straight; for checks and tables,
    not for the simulation.

    References
    ----------
    .. [1] Colebrook, C. F., Turbulent flow in pipes, with particular reference to the transition region
       between the smooth and rough pipe laws, Journal of the Institution of Civil Engineers 11 (1939)
       133-156.

    Examples
    --------
    >>> round(colebrook_exact(1e6, 1e-4), 6)
    0.013441
    """
    k = rough / 3.7
    c = 2.51 / re
    x = 8.0
    for _ in range(50):
        inner = k + c * x
        step = (x + 2.0 * math.log10(inner)) / (1.0 + 2.0 * c / (inner * math.log(10.0)))
        x -= step
        if abs(step) <= 1e-15 * abs(x):
            break
    return 1.0 / (x * x)
