"""Weirs and orifices: flow over a crest or through an opening under a head.

Heads are measured upstream, clear of the drawdown, above crest or notch; a head below zero gives no flow.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from plantsim.jit import formula
from plantsim.physics.hydraulics import G
from plantsim.physics.tables import table_at

__all__ = [
    "francis_weir",
    "kindsvater_carter_weir",
    "kindsvater_shen_weir",
    "orifice_flow",
    "orifice_meter_flow",
    "rectangular_weir",
    "rectangular_weir_head",
    "rehbock_weir",
    "v_notch_weir",
]

# Kindsvater & Carter 1957 as in ISO 1438, against notch width over channel width; values from memory.
_WIDTH_RATIO: Sequence[float] = (0.0, 0.2, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)
_ALPHA: Sequence[float] = (0.587, 0.589, 0.591, 0.592, 0.593, 0.595, 0.597, 0.599, 0.602)
_BETA: Sequence[float] = (-0.0023, -0.0018, 0.0058, 0.0100, 0.0180, 0.0300, 0.0450, 0.0640, 0.0750)
_KB: Sequence[float] = (0.0024, 0.0024, 0.0027, 0.0031, 0.0036, 0.0041, 0.0042, 0.0034, -0.0009)


@formula
def rectangular_weir(cd: float, width: float, head: float, g: float = G) -> float:
    r"""Flow over a sharp-crested rectangular weir (Poleni 1717).

    .. math:: Q = \tfrac23 C_d b\sqrt{2g}\,h^{3/2}

    Parameters
    ----------
    cd : float
        Discharge coefficient, about 0.62, [-]
    width : float
        Crest length, [m]
    head : float
        Head over the crest, [m]
    g : float
        Gravity, [m/s2]

    Returns
    -------
    q : float
        Flow, [m3/s]
    """
    if head <= 0.0:
        return 0.0
    return 2.0 / 3.0 * cd * width * math.sqrt(2.0 * g) * head * math.sqrt(head)


@formula
def rectangular_weir_head(cd: float, width: float, q: float, g: float = G) -> float:
    r"""Head over a sharp-crested rectangular weir at a flow: the inverse of `rectangular_weir`.

    .. math:: h = \left(\frac{3Q}{2C_d b\sqrt{2g}}\right)^{2/3}

    Parameters
    ----------
    cd : float
        Discharge coefficient, [-]
    width : float
        Crest length, [m]
    q : float
        Flow, [m3/s]
    g : float
        Gravity, [m/s2]

    Returns
    -------
    head : float
        Head over the crest, [m]
    """
    if q <= 0.0:
        return 0.0
    return (1.5 * q / (cd * width * math.sqrt(2.0 * g))) ** (2.0 / 3.0)


@formula
def francis_weir(width: float, head: float, contractions: int) -> float:
    r"""Flow over a sharp-crested rectangular weir after Francis [1]_.

    .. math:: Q = 1.84\,(b - 0.1 n h)\,h^{3/2}

    Parameters
    ----------
    width : float
        Crest length, [m]
    head : float
        Head over the crest, [m]
    contractions : int
        End contractions: 0 for a suppressed weir, 2 for a notch clear of both walls, [-]

    Returns
    -------
    q : float
        Flow, [m3/s]

    Notes
    -----
    For heads up to a third of the crest length. 1.84 is 3.33 in feet and seconds.

    References
    ----------
    .. [1] Francis, J. B., Lowell Hydraulic Experiments, 1855.

    Examples
    --------
    >>> round(francis_weir(1.0, 0.2, 0), 5)
    0.16457
    """
    if head <= 0.0:
        return 0.0
    return 1.84 * max(0.0, width - 0.1 * contractions * head) * head * math.sqrt(head)


@formula
def rehbock_weir(width: float, head: float, crest: float, g: float = G) -> float:
    r"""Flow over a full-width sharp-crested weir after Rehbock [1]_.

    .. math:: Q = \tfrac23\left(0.602 + 0.083\frac hP\right)\sqrt{2g}\,b\,(h + 0.0012)^{3/2}

    Parameters
    ----------
    width : float
        Crest length, equal to the channel width, [m]
    head : float
        Head over the crest, [m]
    crest : float
        Height of the crest above the channel floor, [m]
    g : float
        Gravity, [m/s2]

    Returns
    -------
    q : float
        Flow, [m3/s]

    Notes
    -----
    ISO 1438 form: 0.03 m to 0.75 m head, crest at least 0.1 m high, h/P not above 1. Coefficients from
    memory.

    References
    ----------
    .. [1] Rehbock, T., Wassermessung mit scharfkantigen Ueberfallwehren, Zeitschrift des VDI 73 (1929); ISO
       1438.
    """
    if head <= 0.0:
        return 0.0
    h = head + 0.0012
    return 2.0 / 3.0 * (0.602 + 0.083 * head / crest) * math.sqrt(2.0 * g) * width * h * math.sqrt(h)


@formula
def kindsvater_carter_weir(width: float, channel: float, head: float, crest: float, g: float = G) -> float:
    r"""Flow over a sharp-crested rectangular weir of any contraction after Kindsvater & Carter [1]_.

    .. math:: Q = \tfrac23 C_e\sqrt{2g}\,(b + k_b)(h + 0.001)^{3/2}, \quad C_e = \alpha + \beta h/P

    Parameters
    ----------
    width : float
        Crest length, [m]
    channel : float
        Width of the approach channel, [m]
    head : float
        Head over the crest, [m]
    crest : float
        Height of the crest above the channel floor, [m]
    g : float
        Gravity, [m/s2]

    Returns
    -------
    q : float
        Flow, [m3/s]

    Notes
    -----
    Coefficients by the ratio of crest length to channel width, linear between the tabled ratios, values from
    memory. Head above 0.03 m, crest at least 0.1 m high and 0.15 m long, h/P not above 2.5.

    References
    ----------
    .. [1] Kindsvater, C. E. and Carter, R. W., Discharge characteristics of rectangular thin-plate weirs,
       Journal of the Hydraulics Division ASCE 83 (1957); ISO 1438.
    """
    if head <= 0.0:
        return 0.0
    ratio = width / channel
    ce = table_at(ratio, _WIDTH_RATIO, _ALPHA, 9, True)
    ce += table_at(ratio, _WIDTH_RATIO, _BETA, 9, True) * head / crest
    b = width + table_at(ratio, _WIDTH_RATIO, _KB, 9, True)
    h = head + 0.001
    return 2.0 / 3.0 * ce * math.sqrt(2.0 * g) * b * h * math.sqrt(h)


@formula
def v_notch_weir(cd: float, angle: float, head: float, g: float = G) -> float:
    r"""Flow over a triangular notch with a given discharge coefficient.

    .. math:: Q = \tfrac{8}{15}C_d\sqrt{2g}\tan\frac\theta2\,h^{5/2}

    Parameters
    ----------
    cd : float
        Discharge coefficient, [-]
    angle : float
        Full angle of the notch, [rad]
    head : float
        Head above the notch, [m]
    g : float
        Gravity, [m/s2]

    Returns
    -------
    q : float
        Flow, [m3/s]
    """
    if head <= 0.0:
        return 0.0
    return 8.0 / 15.0 * cd * math.sqrt(2.0 * g) * math.tan(0.5 * angle) * head * head * math.sqrt(head)


@formula
def kindsvater_shen_weir(angle: float, head: float, g: float = G) -> float:
    r"""Flow over a fully contracted triangular notch after Kindsvater & Shen [1]_.

    .. math:: Q = \tfrac{8}{15}C_e\sqrt{2g}\tan\frac\theta2\,(h + k_h)^{5/2}

    Parameters
    ----------
    angle : float
        Full angle of the notch, [rad]
    head : float
        Head above the notch, [m]
    g : float
        Gravity, [m/s2]

    Returns
    -------
    q : float
        Flow, [m3/s]

    Notes
    -----
    Coefficient and head correction by polynomials in the angle, fitted to the curves of the manual, constants
    from memory; at 90 degrees they give 0.578 and 0.88 mm as published. Angles 25 to 100 degrees, head above
    0.06 m, tailwater at least 0.06 m below the notch.

    References
    ----------
    .. [1] U.S. Bureau of Reclamation, Water Measurement Manual, Eq. 7-3; ISO 1438; Shen, J., Discharge
       Characteristics of Triangular-Notch Thin-Plate Weirs, U.S. Geological Survey Water-Supply Paper 1617-B,
       1981.

    Examples
    --------
    >>> round(kindsvater_shen_weir(math.pi / 2.0, 0.2), 4)
    0.0247
    """
    if head <= 0.0:
        return 0.0
    deg = angle * 180.0 / math.pi
    ce = 0.607165052 - 8.74466963e-4 * deg + 6.10393334e-6 * deg * deg
    kh = 0.3048 * (0.0144902648 + deg * (-3.3955535e-4 + deg * (3.29819003e-6 - deg * 1.06215442e-8)))
    return v_notch_weir(ce, angle, head + kh, g)


@formula
def orifice_flow(cd: float, area: float, head: float, g: float = G) -> float:
    r"""Flow through an opening under a head (Torricelli 1643).

    .. math:: Q = C_d A\sqrt{2gh}

    Parameters
    ----------
    cd : float
        Discharge coefficient, about 0.61 for a sharp edge, [-]
    area : float
        Area of the opening, [m2]
    head : float
        Head over the centre of the opening, [m]
    g : float
        Gravity, [m/s2]

    Returns
    -------
    q : float
        Flow, [m3/s]
    """
    if head <= 0.0:
        return 0.0
    return cd * area * math.sqrt(2.0 * g * head)


@formula
def orifice_meter_flow(c: float, area: float, dp: float, rho: float) -> float:
    r"""Flow through an orifice plate in a pipe.

    .. math:: Q = C A\sqrt{2\Delta p/\rho}

    Parameters
    ----------
    c : float
        Flow coefficient, that is the discharge coefficient with the velocity of approach in it, [-]
    area : float
        Area of the orifice, [m2]
    dp : float
        Pressure difference, [Pa]
    rho : float
        Density, [kg/m3]

    Returns
    -------
    q : float
        Flow, [m3/s]
    """
    if dp <= 0.0:
        return 0.0
    return c * area * math.sqrt(2.0 * dp / rho)
