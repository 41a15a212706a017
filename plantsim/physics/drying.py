"""How mud in a cell dries and gains strength.

SAFETY: a strength computed here is never permission to enter a cell, on foot or with a machine. Drying mud
carries a crust over a core that has not dried, and a crust breaks without warning. Entry is decided on
site by a competent person, by test, under local law.
"""

from __future__ import annotations

import math

from plantsim.jit import formula


@formula
def void_ratio_first_stage_end(liquid_limit: float, G_s: float) -> float:
    r"""Return the void ratio at which free drying ends and cracks begin, :math:`e_{SL} = 1.8\,LL\,G_s` [1]_.

    Parameters
    ----------
    liquid_limit : float
        Liquid limit as a water content, [-]
    G_s : float
        Density of the grains over that of water, [-]

    Returns
    -------
    e : float
        Void ratio, [-]

    Notes
    -----
    Rule for dredged fines, from memory; replace by drying tests of your own mud.

    References
    ----------
    .. [1] Cargill, K. W. (1985), Mathematical model of the consolidation/desiccation processes in dredged
       material, USACE WES Technical Report D-85-4; EM 1110-2-5027 (1987), ch. 5 (both from memory).
    """
    return 1.8 * liquid_limit * G_s


@formula
def void_ratio_second_stage_end(plastic_limit: float, G_s: float) -> float:
    r"""Return the void ratio at which drying ends, :math:`e_{DL} = 1.2\,PL\,G_s` [1]_.

    Parameters
    ----------
    plastic_limit : float
        Plastic limit as a water content, [-]
    G_s : float
        Density of the grains over that of water, [-]

    Returns
    -------
    e : float
        Void ratio, [-]

    Notes
    -----
    Rule for dredged fines, from memory; replace by drying tests of your own mud.

    References
    ----------
    .. [1] Cargill (1985); EM 1110-2-5027 (1987), ch. 5 (both from memory).
    """
    return 1.2 * plastic_limit * G_s


@formula
def drying_factor(e: float, e_first: float, e_end: float) -> float:
    r"""Return the evaporation over the potential one in two stages [1]_.

    1 while :math:`e \ge e_1`, then falling linearly, :math:`(e-e_2)/(e_1-e_2)`, to 0 at :math:`e_2`.

    Parameters
    ----------
    e : float
        Void ratio now (a water content does as well), [-]
    e_first : float
        Void ratio at the end of the first stage, [-]
    e_end : float
        Void ratio at which drying ends, below e_first, [-]

    Returns
    -------
    factor : float
        Evaporation over potential evaporation, 0 to 1, [-]

    Notes
    -----
    Linear second stage from memory of the source.

    Examples
    --------
    >>> drying_factor(3.0, 2.0, 1.0), drying_factor(1.25, 2.0, 1.0), drying_factor(0.9, 2.0, 1.0)
    (1.0, 0.25, 0.0)

    References
    ----------
    .. [1] Cargill (1985), as above (from memory).
    """
    if e >= e_first:
        return 1.0
    if e <= e_end:
        return 0.0
    return (e - e_end) / (e_first - e_end)


@formula
def drying_step(water: float, water_first: float, water_end: float, potential: float, dt: float) -> float:
    r"""Return the depth of water in a drying layer after a time step, exact over both stages [1]_.

    The first stage takes the potential rate; in the second :math:`dW/dt = -E(W-W_2)/(W_1-W_2)`, so the excess
    over :math:`W_2` decays as an exponential.

    Parameters
    ----------
    water : float
        Depth of water in the layer, [m]
    water_first : float
        Depth at the end of the first stage, [m]
    water_end : float
        Depth at which drying ends, below water_first, [m]
    potential : float
        Potential evaporation less rain, [m/s]
    dt : float
        Time step, [s]

    Returns
    -------
    water_next : float
        Depth of water after the step, [m]

    Notes
    -----
    A negative potential (rain) wets the layer at its full rate. Two half steps equal one whole.

    References
    ----------
    .. [1] Integral of `drying_factor`.
    """
    if potential <= 0.0:
        return water - potential * dt
    if water <= water_end:
        return water
    left = dt
    if water > water_first:
        first = (water - water_first) / potential
        if first >= left:
            return water - potential * left
        left -= first
        water = water_first
    return water_end + (water - water_end) * math.exp(-potential * left / (water_first - water_end))


@formula
def liquidity_index(water_content: float, plastic_limit: float, liquid_limit: float) -> float:
    r"""Return the liquidity index, :math:`LI = (w-PL)/(LL-PL)` [1]_.

    Parameters
    ----------
    water_content : float
        Mass of water per mass of dry solids, [-]
    plastic_limit : float
        Plastic limit, [-]
    liquid_limit : float
        Liquid limit, above the plastic one, [-]

    Returns
    -------
    LI : float
        Liquidity index: 0 at the plastic limit, 1 at the liquid limit, [-]

    Notes
    -----
    For plastic (clayey) mud only; clean rock flour has no plastic limit.

    References
    ----------
    .. [1] Wroth, C. P., Wood, D. M. (1978), Can. Geotech. J. 15(2), 137-145.
    """
    return (water_content - plastic_limit) / (liquid_limit - plastic_limit)


@formula
def strength_vardanega_haigh(LI: float, strength_liquid: float = 1700.0, ratio: float = 35.0) -> float:
    r"""Return the undrained strength, :math:`c_u = c_L35^{1-LI}` [1]_.

    Never permission to enter a cell: see the warning at the head of this module.

    Parameters
    ----------
    LI : float
        Liquidity index, [-]
    strength_liquid : float
        Strength at the liquid limit, [Pa]
    ratio : float
        Strength at the plastic over that at the liquid limit, [-]

    Returns
    -------
    c_u : float
        Undrained strength of remoulded mud, [Pa]

    Notes
    -----
    Valid for LI from 0.2 to 1.1: 641 fall-cone tests on 101 soils. Strength at the liquid limit from memory.

    Examples
    --------
    >>> round(strength_vardanega_haigh(0.5))
    10057

    References
    ----------
    .. [1] Vardanega, P. J., Haigh, S. K. (2014), "The undrained strength-liquidity index relationship", Can.
       Geotech. J. 51(9), 1073-1086.
    """
    return strength_liquid * ratio ** (1.0 - LI)


@formula
def strength_wroth_wood(LI: float) -> float:
    r"""Return the undrained strength, :math:`c_u = 170e^{-4.6LI}` kPa [1]_.

    Never permission to enter a cell: see the warning at the head of this module.

    Parameters
    ----------
    LI : float
        Liquidity index, [-]

    Returns
    -------
    c_u : float
        Undrained strength of remoulded mud, [Pa]

    Notes
    -----
    Valid for LI from 0 to 1. It assumes a hundredfold rise from liquid to plastic limit, where tests show
    about thirty-five-fold: it overstates the strength of half-dried mud. Constants from memory.

    References
    ----------
    .. [1] Wroth, C. P., Wood, D. M. (1978), "The correlation of index properties with some basic engineering
       properties of soils", Can. Geotech. J. 15(2), 137-145.
    """
    return 170e3 * math.exp(-4.6 * LI)


@formula
def strength_leroueil(LI: float) -> float:
    r"""Return the undrained strength, :math:`c_u = 1/(LI-0.21)^2` kPa [1]_.

    Never permission to enter a cell: see the warning at the head of this module.

    Parameters
    ----------
    LI : float
        Liquidity index, held at 0.5 from below, [-]

    Returns
    -------
    c_u : float
        Undrained strength of remoulded mud, [Pa]

    Notes
    -----
    Valid for LI from 0.5 to 2.5; the law is without bound near 0.21, hence the hold. Equation from memory.

    References
    ----------
    .. [1] Leroueil, S., Tavenas, F., Le Bihan, J.-P. (1983), "Proprietes caracteristiques des argiles de
       l'est du Canada", Can. Geotech. J. 20(4), 681-705.
    """
    x = max(LI, 0.5) - 0.21
    return 1e3 / (x * x)


@formula
def strength_water_ratio(ratio: float) -> float:
    r"""Return the undrained strength, :math:`\log_{10}c_u = 2.720 - 2.585w/w_L` in kPa [1]_.

    Never permission to enter a cell: see the warning at the head of this module.

    Parameters
    ----------
    ratio : float
        Water content over liquid limit, [-]

    Returns
    -------
    c_u : float
        Undrained strength of remoulded mud, [Pa]

    Notes
    -----
    Valid for ratios of about 0.7 to 1.3 (r2 = 0.935, 27 tests). Needs no plastic limit.

    References
    ----------
    .. [1] Discussion of Kuriakose and others (2017), Geotech. Geol. Eng., doi 10.1007/s10706-017-0290-0,
       eq. 1.
    """
    return 1e3 * 10.0 ** (2.720 - 2.585 * ratio)


@formula
def bearing_capacity_strip(c_u: float) -> float:
    r"""Return the ultimate bearing pressure of soft clay under a strip, :math:`q = (2+\pi)c_u` [1]_.

    Never permission to enter a cell: see the warning at the head of this module.

    Parameters
    ----------
    c_u : float
        Undrained strength, uniform to depth, [Pa]

    Returns
    -------
    q : float
        Ultimate bearing pressure, without factor of safety, [Pa]

    Notes
    -----
    Uniform strength and level ground. A crust over soft mud fails by punching at far less.

    References
    ----------
    .. [1] Prandtl, L. (1921), Z. Angew. Math. Mech. 1(1), 15-20.
    """
    return (2.0 + math.pi) * c_u


@formula
def strength_needed(pressure: float, safety: float) -> float:
    r"""Return the strength a track pressure asks for, :math:`c_u = F\,p/(2+\pi)` [1]_.

    Never permission to enter a cell: see the warning at the head of this module.

    Parameters
    ----------
    pressure : float
        Pressure under the track, [Pa]
    safety : float
        Factor of safety, [-]

    Returns
    -------
    c_u : float
        Undrained strength, uniform to depth, [Pa]

    Notes
    -----
    Inverse of `bearing_capacity_strip`, and as limited.

    References
    ----------
    .. [1] Prandtl, L. (1921), Z. Angew. Math. Mech. 1(1), 15-20.
    """
    return safety * pressure / (2.0 + math.pi)
