r"""One-dimensional consolidation of settled mud after Terzaghi, also as a law that carries its own state.

The time factor is :math:`T_v = c_vt/d^2`, with the drainage path d: the thickness for drainage to one side,
half of it for drainage to both. The theory takes small strains and constant properties; soft mud strains
much, so its first settlement is only indicated.
"""

from __future__ import annotations

import math

from plantsim.jit import formula

# Where the two branches of the fitted law meet: pi/4 U^2 = -(4/pi^2) ln[(pi^2/8)(1 - U)].
BRANCH_DEGREE = 0.5208093752098394


@formula
def degree(T_v: float) -> float:
    r"""Return the average degree of consolidation for a uniform initial excess pressure [1]_.

    .. math:: U = 1 - \sum_{m=0}^\infty \frac{2}{M^2}e^{-M^2T_v}, \quad M = \tfrac{\pi}{2}(2m+1)

    Parameters
    ----------
    T_v : float
        Time factor, [-]

    Returns
    -------
    U : float
        Average degree of consolidation, [-]

    Notes
    -----
    Exact to rounding; below 0.01 the short-time form :math:`2\sqrt{T_v/\pi}`, whose error is of order
    exp(-1/T_v), takes the place of the slow series.

    Examples
    --------
    >>> round(degree(0.848), 3)
    0.9

    References
    ----------
    .. [1] Terzaghi, K. (1943), Theoretical Soil Mechanics, Wiley, ch. 13.
    """
    if T_v <= 0.0:
        return 0.0
    if T_v < 0.01:
        return 2.0 * math.sqrt(T_v / math.pi)
    left = 0.0
    for m in range(200):
        M2 = (0.5 * math.pi * (2.0 * m + 1.0)) ** 2
        term = 2.0 / M2 * math.exp(-M2 * T_v)
        left += term
        if term < 1e-18:
            break
    return 1.0 - left


@formula
def time_factor(U: float) -> float:
    r"""Return the time factor at which a degree of consolidation is reached: the inverse of `degree` [1]_.

    Parameters
    ----------
    U : float
        Average degree of consolidation, below 1, [-]

    Returns
    -------
    T_v : float
        Time factor, infinite at U = 1, [-]

    Notes
    -----
    Newton's method from the fitted law, which is within 0.31 % to begin with.

    Examples
    --------
    >>> round(time_factor(0.5), 4)
    0.1967

    References
    ----------
    .. [1] Terzaghi, K. (1943), Theoretical Soil Mechanics, Wiley, ch. 13.
    """
    if U <= 0.0:
        return 0.0
    if U >= 1.0:
        return math.inf
    T_v = time_factor_fitted(U)
    if T_v < 0.01:
        return T_v
    for _ in range(30):
        slope = 0.0
        for m in range(200):
            term = 2.0 * math.exp(-((0.5 * math.pi * (2.0 * m + 1.0)) ** 2) * T_v)
            slope += term
            if term < 1e-18 * slope:
                break
        step = (degree(T_v) - U) / slope
        T_v -= step
        if abs(step) < 1e-13 * T_v:
            break
    return T_v


@formula
def excess_pressure_ratio(Z: float, T_v: float) -> float:
    r"""Return the excess pore pressure over its initial value at a depth [1]_.

    .. math:: u/u_0 = \sum_{m=0}^\infty \frac{2}{M}\sin(MZ)e^{-M^2T_v}

    Parameters
    ----------
    Z : float
        Distance from the drained face over the drainage path, 0 to 1, [-]
    T_v : float
        Time factor, above 0, [-]

    Returns
    -------
    ratio : float
        Excess pressure over initial excess pressure, [-]

    Notes
    -----
    Up to 400 terms: good to 1e-6 for T_v above 1e-4. Z = 1 is the impervious face or the middle.

    References
    ----------
    .. [1] Terzaghi, K. (1943), Theoretical Soil Mechanics, Wiley, ch. 13.
    """
    ratio = 0.0
    for m in range(400):
        M = 0.5 * math.pi * (2.0 * m + 1.0)
        size = 2.0 / M * math.exp(-M * M * T_v)
        ratio += size * math.sin(M * Z)
        if size < 1e-18:
            break
    return ratio


@formula
def time_factor_fitted(U: float) -> float:
    r"""Return the time factor of the two-branch law in closed form [1]_.

    :math:`T_v = \tfrac{\pi}{4}U^2` up to the meeting point, beyond it
    :math:`-\tfrac{4}{\pi^2}\ln[\tfrac{\pi^2}{8}(1-U)]` (that is -0.933 log10(1-U) - 0.085).

    Parameters
    ----------
    U : float
        Average degree of consolidation, [-]

    Returns
    -------
    T_v : float
        Time factor, infinite at U = 1, [-]

    Notes
    -----
    Within 0.31 % of the exact series. The branches meet at U = 0.5208; texts give 0.526 to 0.6.

    References
    ----------
    .. [1] Casagrande's fit, as in Das, B. M., Principles of Geotechnical Engineering, ch. 11.
    """
    if U <= 0.0:
        return 0.0
    if U >= 1.0:
        return math.inf
    if U < BRANCH_DEGREE:
        return 0.25 * math.pi * U * U
    return -4.0 / (math.pi * math.pi) * math.log(math.pi * math.pi / 8.0 * (1.0 - U))


@formula
def degree_fitted(T_v: float) -> float:
    r"""Return the degree of consolidation of the two-branch law: the inverse of `time_factor_fitted` [1]_.

    Parameters
    ----------
    T_v : float
        Time factor, [-]

    Returns
    -------
    U : float
        Average degree of consolidation, [-]

    Notes
    -----
    Within 0.2 % of the exact series.

    References
    ----------
    .. [1] As `time_factor_fitted`.
    """
    if T_v <= 0.0:
        return 0.0
    if T_v < 0.25 * math.pi * BRANCH_DEGREE * BRANCH_DEGREE:
        return 2.0 * math.sqrt(T_v / math.pi)
    return 1.0 - 8.0 / (math.pi * math.pi) * math.exp(-0.25 * math.pi * math.pi * T_v)


@formula
def degree_rate(U: float) -> float:
    r"""Return how fast the degree of consolidation grows, as a function of itself alone [1]_.

    .. math:: \frac{dU}{dT_v} = \frac{2}{\pi U} \;(U < 0.5208), \qquad \frac{\pi^2}{4}(1-U) \;(\text{beyond})

    A cell can so carry U as its state, and go on from it when the path or the coefficient changes.

    Parameters
    ----------
    U : float
        Average degree of consolidation, [-]

    Returns
    -------
    rate : float
        Growth per unit of time factor, [-]

    Notes
    -----
    The derivative of `degree_fitted`. It is infinite at U = 0, so it is held at its value for 1e-6 there;
    `advance_degree` needs no such care. At the meeting point it falls by 3 %, for the branches nearly but
    not wholly touch.

    References
    ----------
    .. [1] Derivative of Casagrande's fit (Das, Principles of Geotechnical Engineering, ch. 11).
    """
    if U >= 1.0:
        return 0.0
    if U < BRANCH_DEGREE:
        return 2.0 / (math.pi * max(U, 1e-6))
    return 0.25 * math.pi * math.pi * (1.0 - U)


@formula
def advance_degree(U: float, dT_v: float) -> float:
    r"""Return the degree of consolidation after a step of the time factor, exact for the two-branch law [1]_.

    Parameters
    ----------
    U : float
        Average degree of consolidation at the start of the step, [-]
    dT_v : float
        Step of the time factor, c_v dt / d^2, [-]

    Returns
    -------
    U_next : float
        Degree at the end of the step, [-]

    Notes
    -----
    The step may be of any size: two half steps equal one whole.

    References
    ----------
    .. [1] Integral of `degree_rate`.
    """
    if U >= 1.0:
        return 1.0
    return degree_fitted(time_factor_fitted(U) + dT_v)


@formula
def time_to_degree(U: float, c_v: float, path: float) -> float:
    r"""Return the time to reach a degree of consolidation, :math:`t = T_v(U)d^2/c_v` [1]_.

    Parameters
    ----------
    U : float
        Average degree of consolidation, [-]
    c_v : float
        Coefficient of consolidation, [m2/s]
    path : float
        Drainage path: thickness for one side, half of it for two, [m]

    Returns
    -------
    t : float
        Time, [s]

    Notes
    -----
    Constant coefficient, load put on at once.

    References
    ----------
    .. [1] Terzaghi, K. (1943), Theoretical Soil Mechanics, Wiley, ch. 13.
    """
    return time_factor(U) * path * path / c_v


@formula
def coefficient_from_test(U: float, t: float, path: float) -> float:
    r"""Return the coefficient of consolidation from a test, :math:`c_v = T_v(U)d^2/t` [1]_.

    Parameters
    ----------
    U : float
        Average degree of consolidation reached, [-]
    t : float
        Time it took, [s]
    path : float
        Drainage path of the specimen, [m]

    Returns
    -------
    c_v : float
        Coefficient of consolidation, [m2/s]

    Notes
    -----
    As `time_to_degree`.

    References
    ----------
    .. [1] Terzaghi, K. (1943), Theoretical Soil Mechanics, Wiley, ch. 13.
    """
    return time_factor(U) * path * path / t


@formula
def settlement(thickness: float, e0: float, e1: float) -> float:
    r"""Return the settlement of a layer whose void ratio falls, :math:`S = H(e_0-e_1)/(1+e_0)` [1]_.

    Parameters
    ----------
    thickness : float
        Thickness at the start, [m]
    e0 : float
        Void ratio at the start, [-]
    e1 : float
        Void ratio at the end, [-]

    Returns
    -------
    S : float
        Settlement, [m]

    Notes
    -----
    Exact for one-dimensional strain: the solids stay.

    References
    ----------
    .. [1] Das, B. M., Principles of Foundation Engineering, ch. 1.
    """
    return thickness * (e0 - e1) / (1.0 + e0)
