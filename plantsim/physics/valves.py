"""Control valves for liquids: flow coefficients, inherent and installed characteristics."""

from __future__ import annotations

import math

from plantsim.jit import formula

__all__ = [
    "cv_to_kv",
    "equal_percentage",
    "installed_flow",
    "kv_flow",
    "kv_from_loss",
    "kv_pressure_drop",
    "kv_to_cv",
    "linear_characteristic",
    "loss_from_kv",
    "piping_factor",
]

#: Kv over Cv, from the exact US gallon, psi and the definition with water at 1000 kg/m3, [-]
KV_PER_CV = 0.2271247070 / math.sqrt(0.0689475729)


@formula
def kv_flow(kv: float, dp: float, sg: float) -> float:
    r"""Flow of a liquid through a valve (IEC 60534-2-1, turbulent, not choked).

    .. math:: Q[\mathrm{m^3/h}] = K_v\sqrt{\Delta p[\mathrm{bar}]/G}

    Parameters
    ----------
    kv : float
        Flow coefficient at the present opening, [m3/h]
    dp : float
        Pressure difference, of either sign, [Pa]
    sg : float
        Density over that of water, [-]

    Returns
    -------
    q : float
        Flow with the sign of the pressure difference, [m3/s]

    Examples
    --------
    >>> round(kv_flow(10.0, 25000.0, 1.0) * 3600.0, 9)
    5.0
    """
    q = kv / 3600.0 * math.sqrt(abs(dp) * 1e-5 / sg)
    return math.copysign(q, dp)


@formula
def kv_pressure_drop(kv: float, q: float, sg: float) -> float:
    r"""Pressure lost in a valve at a flow: the inverse of `kv_flow`.

    .. math:: \Delta p[\mathrm{bar}] = G\,(Q[\mathrm{m^3/h}]/K_v)^2

    Parameters
    ----------
    kv : float
        Flow coefficient at the present opening, above zero, [m3/h]
    q : float
        Flow, [m3/s]
    sg : float
        Density over that of water, [-]

    Returns
    -------
    dp : float
        Pressure lost, with the sign of the flow, [Pa]
    """
    x = 3600.0 * q / kv
    return 1e5 * sg * x * abs(x)


@formula
def cv_to_kv(cv: float) -> float:
    r"""Metric flow coefficient from the US one.

    .. math:: K_v = 0.865\,C_v

    Parameters
    ----------
    cv : float
        Flow coefficient in US gallons a minute at 1 psi, [gpm]

    Returns
    -------
    kv : float
        Flow coefficient in cubic metres an hour at 1 bar, [m3/h]
    """
    return cv * KV_PER_CV


@formula
def kv_to_cv(kv: float) -> float:
    r"""US flow coefficient from the metric one.

    .. math:: C_v = K_v/0.865

    Parameters
    ----------
    kv : float
        Flow coefficient in cubic metres an hour at 1 bar, [m3/h]

    Returns
    -------
    cv : float
        Flow coefficient in US gallons a minute at 1 psi, [gpm]
    """
    return kv / KV_PER_CV


@formula
def kv_from_loss(k: float, d: float) -> float:
    r"""Flow coefficient of a fitting from its loss coefficient.

    .. math:: K_v = 3600 A\sqrt{2\cdot10^5/(1000 K)}

    Parameters
    ----------
    k : float
        Loss coefficient, above zero, [-]
    d : float
        Bore to which it refers, [m]

    Returns
    -------
    kv : float
        Flow coefficient, [m3/h]
    """
    return 3600.0 * 0.25 * math.pi * d * d * math.sqrt(200.0 / k)


@formula
def loss_from_kv(kv: float, d: float) -> float:
    r"""Loss coefficient of a valve from its flow coefficient.

    .. math:: K = 200\,(3600 A/K_v)^2

    Parameters
    ----------
    kv : float
        Flow coefficient, above zero, [m3/h]
    d : float
        Bore to which the loss coefficient shall refer, [m]

    Returns
    -------
    k : float
        Loss coefficient, [-]
    """
    x = 3600.0 * 0.25 * math.pi * d * d / kv
    return 200.0 * x * x


@formula
def piping_factor(kv: float, d: float, k_fittings: float) -> float:
    r"""What attached reducers leave of a valve's flow coefficient (IEC 60534-2-1).

    .. math:: F_P = \frac{1}{\sqrt{1 + \Sigma K/K_{valve}}}

    Parameters
    ----------
    kv : float
        Flow coefficient of the valve alone, [m3/h]
    d : float
        Nominal bore of the valve, [m]
    k_fittings : float
        Sum of the fittings' loss coefficients, referred to the bore of the valve, [-]

    Returns
    -------
    fp : float
        Factor on the flow coefficient, [-]
    """
    return 1.0 / math.sqrt(1.0 + k_fittings / loss_from_kv(kv, d))


@formula
def equal_percentage(lift: float, rangeability: float) -> float:
    r"""Inherent equal-percentage characteristic.

    .. math:: \phi = R^{l - 1}

    Parameters
    ----------
    lift : float
        Stem travel, 0 to 1, [-]
    rangeability : float
        Full over least controllable coefficient, 30 to 50 as a rule, [-]

    Returns
    -------
    phi : float
        Coefficient over full coefficient, [-]

    Notes
    -----
    At zero travel 1/R is left: a valve that must shut is given a seat by the caller.
    """
    return rangeability ** (min(max(lift, 0.0), 1.0) - 1.0)


@formula
def linear_characteristic(lift: float, leak: float) -> float:
    r"""Inherent linear characteristic.

    .. math:: \phi = \phi_0 + (1 - \phi_0)l

    Parameters
    ----------
    lift : float
        Stem travel, 0 to 1, [-]
    leak : float
        Coefficient over full coefficient at zero travel, 0 for a tight valve, [-]

    Returns
    -------
    phi : float
        Coefficient over full coefficient, [-]
    """
    return leak + (1.0 - leak) * min(max(lift, 0.0), 1.0)


@formula
def installed_flow(phi: float, authority: float) -> float:
    r"""Flow over full flow of a valve in a line that shares the pressure drop.

    .. math:: \frac{Q}{Q_{100}} = \frac{1}{\sqrt{1 - N + N/\phi^2}}

    Parameters
    ----------
    phi : float
        Coefficient over full coefficient, [-]
    authority : float
        Part of the total drop that the open valve takes, [-]

    Returns
    -------
    fraction : float
        Flow over the flow with the valve open, [-]

    Notes
    -----
    Constant total drop, all losses quadratic.
    """
    if phi <= 0.0:
        return 0.0
    return 1.0 / math.sqrt(1.0 - authority + authority / (phi * phi))
