"""Coagulation and flocculation: what a dose does to colloid and to the settling of fines.

The forms follow the mechanisms of the literature (charge neutralisation with restabilisation; polymer
bridging with an optimum coverage). Their numbers differ from water to water: fit them to jar tests and
settling cylinders of your own water. Take the handling of coagulants and polymers from their safety data
sheets: coagulants are corrosive, spilt polymer is extremely slippery.
"""

from __future__ import annotations

import math

from plantsim.jit import formula
from plantsim.physics.water import viscosity


@formula
def dose_ratio(dose: float, demand: float) -> float:
    r"""Return the coagulant dose over the dose that balances the charge, :math:`r = D/D_0` [1]_.

    Parameters
    ----------
    dose : float
        Coagulant product bound or dosed, [kg/m3]
    demand : float
        Dose that leaves no charge, [kg/m3]

    Returns
    -------
    r : float
        Dose ratio, 0 where there is no demand, [-]

    Notes
    -----
    Both may as well be per mass of solids. The demand rises with solids and with clay (stoichiometry).

    References
    ----------
    .. [1] Stumm, W., O'Melia, C. R. (1968), "Stoichiometry of coagulation", J. AWWA 60(5), 514-539.
    """
    if demand <= 0.0:
        return 0.0
    return dose / demand


@formula
def collision_efficiency(r: float, width: float) -> float:
    r"""Return the share of colloid collisions that stick, :math:`\alpha = \exp(-[(1-r)/w]^2)` [1]_, [2]_.

    The residual charge is 1 - r: whole without coagulant, none at r = 1, reversed beyond. So the efficiency
    is best at r = 1 and falls again on overdose (restabilisation), where more coagulant makes more turbidity.

    Parameters
    ----------
    r : float
        Dose over demand, [-]
    width : float
        Residual charge at which the efficiency falls to 1/e, [-]

    Returns
    -------
    alpha : float
        Collision efficiency, 0 to 1, [-]

    Notes
    -----
    The Gaussian is a fit, not a derivation: it is symmetric, real windows need not be. Sweep flocculation at
    high doses of metal salts, which can hide the restabilisation, is not in it.

    Examples
    --------
    >>> collision_efficiency(1.0, 0.5)
    1.0
    >>> collision_efficiency(1.5, 0.5) == collision_efficiency(0.5, 0.5)
    True

    References
    ----------
    .. [1] Stumm, W., O'Melia, C. R. (1968), J. AWWA 60(5), 514-539 (mechanism).
    .. [2] Gregory, J. (2006), Particles in Water, CRC Press (mechanism).
    """
    z = (1.0 - r) / width
    return math.exp(-z * z)


@formula
def first_order_step(x: float, target: float, rate: float, dt: float) -> float:
    r"""Return a first-order quantity after a time step, :math:`x_\infty + (x-x_\infty)e^{-k\Delta t}` [1]_.

    Parameters
    ----------
    x : float
        Value at the start of the step, [-]
    target : float
        Value it tends to, [-]
    rate : float
        Rate constant, [1/s]
    dt : float
        Time step, [s]

    Returns
    -------
    x_next : float
        Value at the end of the step, [-]

    Notes
    -----
    Exact for constant rate and target, at any step: two half steps equal one whole.

    References
    ----------
    .. [1] Solution of the linear equation dx/dt = k (target - x).
    """
    return x + (x - target) * math.expm1(-rate * dt)


@formula
def colloid_left(alpha: float, rate: float, time: float) -> float:
    r"""Return the share of colloid not yet joined to fines, :math:`e^{-\alpha kt}` [1]_.

    Parameters
    ----------
    alpha : float
        Collision efficiency, [-]
    rate : float
        Rate of joining when every collision sticks, [1/s]
    time : float
        Time since dosing, [s]

    Returns
    -------
    share : float
        Colloid left over colloid at the start, [-]

    Notes
    -----
    First order in colloid, as for its capture by a constant stock of fines.

    References
    ----------
    .. [1] O'Melia, C. R. (1972), "Coagulation and flocculation", in Weber, Physicochemical Processes for
       Water Quality Control, Wiley (orthokinetic capture at first order).
    """
    return math.exp(-alpha * rate * time)


@formula
def temperature_factor(T_C: float, reference_C: float = 20.0) -> float:
    r"""Return the speed of viscosity-ruled processes over a reference, :math:`\mu(T_0)/\mu(T)` [1]_.

    Parameters
    ----------
    T_C : float
        Temperature, [degC]
    reference_C : float
        Temperature for which the rate is given, [degC]

    Returns
    -------
    factor : float
        Rate over the rate at the reference, [-]

    Notes
    -----
    Valid 0 to 60 C, for settling, diffusion and the dissolving of polymer alike as far as viscosity rules.

    References
    ----------
    .. [1] Smoluchowski, M. (1917), Z. Phys. Chem. 92, 129-168 (collision rate inverse to viscosity).
    """
    return viscosity(reference_C) / viscosity(T_C)


@formula
def polymer_coverage(dose: float, dose_optimum: float) -> float:
    r"""Return the share of the surface that polymer covers, :math:`\theta = \min(1, D/(2D_{opt}))` [1]_.

    Parameters
    ----------
    dose : float
        Polymer bound per mass of solids, [kg/kg]
    dose_optimum : float
        Dose of the fastest settling, at which half the surface is covered, [kg/kg]

    Returns
    -------
    theta : float
        Coverage, 0 to 1, [-]

    Notes
    -----
    All bound polymer lies on the surface until it is full.

    References
    ----------
    .. [1] La Mer, V. K., Healy, T. W. (1963), "Adsorption-flocculation reactions of macromolecules at the
       solid-liquid interface", Rev. Pure Appl. Chem. 13, 112-133 (from memory).
    """
    if dose <= 0.0:
        return 0.0
    return min(1.0, 0.5 * dose / dose_optimum)


@formula
def bridging_factor(dose: float, dose_optimum: float, factor_max: float) -> float:
    r"""Return the settling velocity over that without polymer, :math:`F = 1+(F_m-1)4\theta(1-\theta)` [1]_.

    A bridge needs covered surface on one grain and bare surface on the other, hence the product.

    Parameters
    ----------
    dose : float
        Polymer bound per mass of solids, [kg/kg]
    dose_optimum : float
        Dose of the fastest settling, [kg/kg]
    factor_max : float
        Velocity at the optimum over that without polymer, [-]

    Returns
    -------
    factor : float
        Velocity over that without polymer, 1 at no dose and at twice the optimum and beyond, [-]

    Notes
    -----
    The form is of La Mer and Healy; that velocity is linear in it is a modelling choice, to be fitted.

    Examples
    --------
    >>> bridging_factor(30e-6, 30e-6, 20.0), bridging_factor(60e-6, 30e-6, 20.0)
    (20.0, 1.0)

    References
    ----------
    .. [1] La Mer, V. K., Healy, T. W. (1963), Rev. Pure Appl. Chem. 13, 112-133 (from memory).
    """
    theta = polymer_coverage(dose, dose_optimum)
    return 1.0 + (factor_max - 1.0) * 4.0 * theta * (1.0 - theta)


@formula
def thick_feed_factor(C: float, C_best: float, width: float) -> float:
    r"""Return the share of polymer that still bridges in a thick feed, :math:`\exp(-[\ln(C/C_b)/w]^2)` [1]_.

    Parameters
    ----------
    C : float
        Solids of the feed where the polymer meets it, [kg/m3]
    C_best : float
        Solids at and below which nothing is lost, [kg/m3]
    width : float
        Log excess at which the share falls to 1/e, [-]

    Returns
    -------
    share : float
        Share, 1 at and below C_best, [-]

    Notes
    -----
    Above the best solids polymer is caught by the first grains it meets. Form by common practice, no source;
    fit C_best and width to settling cylinders at several dilutions.

    References
    ----------
    .. [1] Common practice, no source for the form; that settling falls as feed solids rise: Bian, J., Wang,
       H., Xiao, C., Zhang, D. (2018), PLoS ONE 13(9), e0204230.
    """
    if C - C_best <= 0.0:
        return 1.0
    x = math.log(C / C_best) / width
    return math.exp(-x * x)


@formula
def shear_factor(G: float, G_free: float, gamma: float) -> float:
    r"""Part of the bridging that survives the shear of the feedwell, from the strength law of flocs [1]_.

    .. math:: d \propto G^{-\gamma}, \quad v \propto d^2 \quad\Rightarrow\quad
              \min\left(1, (G_0/G)^{2\gamma}\right)

    Parameters
    ----------
    G : float
        Mean velocity gradient, [1/s]
    G_free : float
        Gradient up to which flocs grow to full size, above zero, [1/s]
    gamma : float
        Exponent of the strength law, 0.4 to 1 for most flocs, [-]

    Returns
    -------
    factor : float
        Settling speed over that at full size, 0 to 1, [-]

    Notes
    -----
    The strength law is an empirical one for flocs in equilibrium with the shear; that settling speed goes with the
    square of size is Stokes's law for flocs of one density, so the factor is a lower estimate for open flocs. Both
    from memory.

    References
    ----------
    .. [1] Parker, D. S., Kaufman, W. J., Jenkins, D., Floc breakup in turbulent flocculation processes, J. Sanitary
       Engineering Division ASCE 98 (1972) 79-99; Jarvis, P., Jefferson, B., Gregory, J., Parsons, S. A., A review of
       floc strength and breakage, Water Research 39 (2005) 3121-3137.

    Examples
    --------
    >>> shear_factor(30.0, 60.0, 0.5), shear_factor(120.0, 60.0, 0.5)
    (1.0, 0.5)
    """
    if G_free >= G:
        return 1.0
    return (G_free / G) ** (2.0 * gamma)


@formula
def polymer_activity(age: float, tau: float, onset: float, half_life: float) -> float:
    r"""Return the activity of a polymer solution, :math:`(1-e^{-t/\tau})\,2^{-\max(0,t-t_0)/t_{1/2}}` [1]_.

    Parameters
    ----------
    age : float
        Time since wetting, [s]
    tau : float
        Time constant of dissolving, [s]
    onset : float
        Age at which the decay begins, [s]
    half_life : float
        Time in which activity then halves, [s]

    Returns
    -------
    activity : float
        Active over dry polymer, 0 to 1, [-]

    Notes
    -----
    Ageing of 40 to 60 minutes and a life of some 6 (cationic) to 8 hours (anionic) at room temperature are
    common practice; the two exponentials are a modelling choice.

    References
    ----------
    .. [1] Common practice of dry polymer preparation; no source for the form.
    """
    if age <= 0.0:
        return 0.0
    decay = 2.0 ** (-(age - onset) / half_life) if age > onset else 1.0
    return -math.expm1(-age / tau) * decay


@formula
def dose_per_solids(dose: float, C: float) -> float:
    r"""Return a dose per dry solids from one per volume, :math:`D/C`; 1e-6 kg/kg is 1 g/t [1]_.

    Parameters
    ----------
    dose : float
        Chemical per volume of slurry, [kg/m3]
    C : float
        Dry solids per volume of slurry, [kg/m3]

    Returns
    -------
    specific : float
        Chemical per mass of dry solids, 0 where there are none, [kg/kg]

    Notes
    -----
    Exact. Works as well with both taken per mass of slurry.

    References
    ----------
    .. [1] Definition.
    """
    if C <= 0.0:
        return 0.0
    return dose / C


@formula
def alkalinity_used_by_alum(alum: float, hydrate_water: float = 18.0) -> float:
    r"""Return the alkalinity alum uses up, as calcium carbonate: three moles per mole of alum [1]_.

    Parameters
    ----------
    alum : float
        Dose of Al2(SO4)3.nH2O, [kg/m3]
    hydrate_water : float
        Moles of water n in the product, [-]

    Returns
    -------
    alkalinity : float
        Alkalinity used up, as CaCO3, [kg/m3]

    Notes
    -----
    Stoichiometric: Al2(SO4)3 + 3 Ca(HCO3)2 gives 2 Al(OH)3 + 3 CaSO4 + 6 CO2. 0.45 kg/kg for n = 18.

    References
    ----------
    .. [1] Davis, M. L., Water and Wastewater Engineering, McGraw-Hill, ch. 6.
    """
    return alum * 3.0 * 100.087 / (342.151 + 18.0153 * hydrate_water)
