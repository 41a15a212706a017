"""Mixtures of solids and water: how their measures convert, and how much thicker they are than water.

Mass fraction ``w`` is what the trade calls solids by weight, volume fraction ``phi`` solids by volume,
concentration ``C`` the dry mass in a cubic metre of slurry. Volumes are taken to add up.
"""

from __future__ import annotations

import math

from plantsim.jit import formula


@formula
def density_from_mass_fraction(w: float, rho_s: float, rho_l: float) -> float:
    r"""Return the slurry density, :math:`1/\rho_m = w/\rho_s + (1-w)/\rho_l` [1]_.

    Parameters
    ----------
    w : float
        Mass fraction of solids, [-]
    rho_s : float
        Density of the solids, [kg/m3]
    rho_l : float
        Density of the liquid, [kg/m3]

    Returns
    -------
    rho_m : float
        Density of the slurry, [kg/m3]

    Notes
    -----
    Valid 0 to 1; additive volumes.

    Examples
    --------
    >>> round(density_from_mass_fraction(0.30, 2500.0, 1000.0), 2)
    1219.51

    References
    ----------
    .. [1] Mass and volume balance.
    """
    return 1.0 / (w / rho_s + (1.0 - w) / rho_l)


@formula
def density_from_volume_fraction(phi: float, rho_s: float, rho_l: float) -> float:
    r"""Return the slurry density, :math:`\rho_m = \phi\rho_s + (1-\phi)\rho_l` [1]_.

    Parameters
    ----------
    phi : float
        Volume fraction of solids, [-]
    rho_s : float
        Density of the solids, [kg/m3]
    rho_l : float
        Density of the liquid, [kg/m3]

    Returns
    -------
    rho_m : float
        Density of the slurry, [kg/m3]

    Notes
    -----
    Valid 0 to 1; additive volumes.

    References
    ----------
    .. [1] Mass and volume balance.
    """
    return phi * rho_s + (1.0 - phi) * rho_l


@formula
def density_from_concentration(C: float, rho_s: float, rho_l: float) -> float:
    r"""Return the slurry density, :math:`\rho_m = \rho_l + C(1-\rho_l/\rho_s)` [1]_.

    Parameters
    ----------
    C : float
        Dry mass per volume of slurry, [kg/m3]
    rho_s : float
        Density of the solids, [kg/m3]
    rho_l : float
        Density of the liquid, [kg/m3]

    Returns
    -------
    rho_m : float
        Density of the slurry, [kg/m3]

    Notes
    -----
    Valid for C from 0 to rho_s; additive volumes.

    References
    ----------
    .. [1] Mass and volume balance.
    """
    return rho_l + C * (1.0 - rho_l / rho_s)


@formula
def volume_fraction_from_mass_fraction(w: float, rho_s: float, rho_l: float) -> float:
    r"""Return the volume fraction, :math:`\phi = (w/\rho_s)/(w/\rho_s + (1-w)/\rho_l)` [1]_.

    Parameters
    ----------
    w : float
        Mass fraction of solids, [-]
    rho_s : float
        Density of the solids, [kg/m3]
    rho_l : float
        Density of the liquid, [kg/m3]

    Returns
    -------
    phi : float
        Volume fraction of solids, [-]

    Notes
    -----
    Valid 0 to 1; additive volumes.

    References
    ----------
    .. [1] Mass and volume balance.
    """
    solids = w / rho_s
    return solids / (solids + (1.0 - w) / rho_l)


@formula
def volume_fraction_from_concentration(C: float, rho_s: float) -> float:
    r"""Return the volume fraction, :math:`\phi = C/\rho_s` [1]_.

    Parameters
    ----------
    C : float
        Dry mass per volume of slurry, [kg/m3]
    rho_s : float
        Density of the solids, [kg/m3]

    Returns
    -------
    phi : float
        Volume fraction of solids, [-]

    Notes
    -----
    Valid for C from 0 to rho_s.

    References
    ----------
    .. [1] Definition.
    """
    return C / rho_s


@formula
def concentration_from_mass_fraction(w: float, rho_s: float, rho_l: float) -> float:
    r"""Return the concentration, :math:`C = w\rho_m` [1]_.

    Parameters
    ----------
    w : float
        Mass fraction of solids, [-]
    rho_s : float
        Density of the solids, [kg/m3]
    rho_l : float
        Density of the liquid, [kg/m3]

    Returns
    -------
    C : float
        Dry mass per volume of slurry, [kg/m3]

    Notes
    -----
    Valid 0 to 1; additive volumes.

    References
    ----------
    .. [1] Mass and volume balance.
    """
    return w * density_from_mass_fraction(w, rho_s, rho_l)


@formula
def concentration_from_density(rho_m: float, rho_s: float, rho_l: float) -> float:
    r"""Return the concentration behind a density, :math:`C = \rho_s(\rho_m-\rho_l)/(\rho_s-\rho_l)` [1]_.

    Parameters
    ----------
    rho_m : float
        Density of the slurry, [kg/m3]
    rho_s : float
        Density of the solids, [kg/m3]
    rho_l : float
        Density of the liquid, [kg/m3]

    Returns
    -------
    C : float
        Dry mass per volume of slurry, [kg/m3]

    Notes
    -----
    Valid for rho_m from rho_l to rho_s. At low solids a small error of the gauge is a large one of C.

    References
    ----------
    .. [1] Mass and volume balance.
    """
    return rho_s * (rho_m - rho_l) / (rho_s - rho_l)


@formula
def mass_fraction_from_concentration(C: float, rho_s: float, rho_l: float) -> float:
    r"""Return the mass fraction, :math:`w = C/\rho_m` [1]_.

    Parameters
    ----------
    C : float
        Dry mass per volume of slurry, [kg/m3]
    rho_s : float
        Density of the solids, [kg/m3]
    rho_l : float
        Density of the liquid, [kg/m3]

    Returns
    -------
    w : float
        Mass fraction of solids, [-]

    Notes
    -----
    Valid for C from 0 to rho_s; additive volumes.

    References
    ----------
    .. [1] Mass and volume balance.
    """
    return C / density_from_concentration(C, rho_s, rho_l)


@formula
def mass_fraction_from_density(rho_m: float, rho_s: float, rho_l: float) -> float:
    r"""Return the mass fraction a density gauge implies [1]_.

    .. math:: w = \rho_s(\rho_m-\rho_l)/(\rho_m(\rho_s-\rho_l))

    Parameters
    ----------
    rho_m : float
        Density of the slurry, [kg/m3]
    rho_s : float
        Density of the solids, [kg/m3]
    rho_l : float
        Density of the liquid, [kg/m3]

    Returns
    -------
    w : float
        Mass fraction of solids, [-]

    Notes
    -----
    Valid for rho_m from rho_l to rho_s.

    References
    ----------
    .. [1] Mass and volume balance.
    """
    return concentration_from_density(rho_m, rho_s, rho_l) / rho_m


@formula
def mass_fraction_from_volume_fraction(phi: float, rho_s: float, rho_l: float) -> float:
    r"""Return the mass fraction, :math:`w = \phi\rho_s/\rho_m` [1]_.

    Parameters
    ----------
    phi : float
        Volume fraction of solids, [-]
    rho_s : float
        Density of the solids, [kg/m3]
    rho_l : float
        Density of the liquid, [kg/m3]

    Returns
    -------
    w : float
        Mass fraction of solids, [-]

    Notes
    -----
    Valid 0 to 1; additive volumes.

    References
    ----------
    .. [1] Mass and volume balance.
    """
    return phi * rho_s / density_from_volume_fraction(phi, rho_s, rho_l)


@formula
def solids_density_from_slurry(w: float, rho_m: float, rho_l: float) -> float:
    r"""Return the density of the solids from a weighed sample [1]_.

    .. math:: 1/\rho_s = (1/\rho_m - (1-w)/\rho_l)/w

    Parameters
    ----------
    w : float
        Mass fraction of solids, above 0, [-]
    rho_m : float
        Density of the slurry, [kg/m3]
    rho_l : float
        Density of the liquid, [kg/m3]

    Returns
    -------
    rho_s : float
        Density of the solids, [kg/m3]

    Notes
    -----
    Additive volumes. Badly conditioned for thin slurries: use a sample of 20 % or more.

    References
    ----------
    .. [1] Mass and volume balance.
    """
    return w / (1.0 / rho_m - (1.0 - w) / rho_l)


@formula
def void_ratio_from_volume_fraction(phi: float) -> float:
    r"""Return the void ratio of a saturated mud, :math:`e = (1-\phi)/\phi` [1]_.

    Parameters
    ----------
    phi : float
        Volume fraction of solids, above 0, [-]

    Returns
    -------
    e : float
        Volume of voids per volume of solids, [-]

    Notes
    -----
    Exact for a saturated mud, where voids are water.

    References
    ----------
    .. [1] Definition of soil mechanics.
    """
    return (1.0 - phi) / phi


@formula
def volume_fraction_from_void_ratio(e: float) -> float:
    r"""Return the volume fraction of solids, :math:`\phi = 1/(1+e)` [1]_.

    Parameters
    ----------
    e : float
        Volume of voids per volume of solids, [-]

    Returns
    -------
    phi : float
        Volume fraction of solids, [-]

    Notes
    -----
    Exact.

    References
    ----------
    .. [1] Definition of soil mechanics.
    """
    return 1.0 / (1.0 + e)


@formula
def water_content_from_mass_fraction(w: float) -> float:
    r"""Return the geotechnical water content, mass of water per mass of dry solids, :math:`(1-w)/w` [1]_.

    Parameters
    ----------
    w : float
        Mass fraction of solids, above 0, [-]

    Returns
    -------
    water_content : float
        Mass of water per mass of dry solids, [-]

    Notes
    -----
    Exact. Geotechnical water content may well exceed 1 (100 %).

    References
    ----------
    .. [1] Definition of soil mechanics.
    """
    return (1.0 - w) / w


@formula
def relative_viscosity_einstein(phi: float) -> float:
    r"""Return the viscosity ratio of a dilute suspension of spheres, :math:`1 + 2.5\phi` [1]_.

    Parameters
    ----------
    phi : float
        Volume fraction of solids, [-]

    Returns
    -------
    ratio : float
        Suspension viscosity over liquid viscosity, [-]

    Notes
    -----
    Valid below about phi = 0.02. Clays and flocs exceed it at once, for the water they hold counts as solid.

    References
    ----------
    .. [1] Einstein, A. (1906), Ann. Phys. 19, 289-306; (1911), 34, 591-592.
    """
    return 1.0 + 2.5 * phi


@formula
def relative_viscosity_batchelor(phi: float, alpha: float = 6.2) -> float:
    r"""Return the viscosity ratio to second order, :math:`1 + 2.5\phi + \alpha\phi^2` [1]_.

    Parameters
    ----------
    phi : float
        Volume fraction of solids, [-]
    alpha : float
        Coefficient of the pair term, 5.2 to 7.6, [-]

    Returns
    -------
    ratio : float
        Suspension viscosity over liquid viscosity, [-]

    Notes
    -----
    Valid below about phi = 0.15; spheres in Brownian motion.

    References
    ----------
    .. [1] Batchelor, G. K. (1977), J. Fluid Mech. 83, 97-117.
    """
    return 1.0 + 2.5 * phi + alpha * phi * phi


@formula
def relative_viscosity_brinkman(phi: float) -> float:
    r"""Return the viscosity ratio by growing dilution, :math:`(1-\phi)^{-2.5}` [1]_.

    Parameters
    ----------
    phi : float
        Volume fraction of solids, below 1, [-]

    Returns
    -------
    ratio : float
        Suspension viscosity over liquid viscosity, [-]

    Notes
    -----
    Valid below about phi = 0.2: it knows no closest packing.

    References
    ----------
    .. [1] Brinkman, H. C. (1952), J. Chem. Phys. 20, 571.
    """
    return (1.0 - phi) ** -2.5


@formula
def relative_viscosity_thomas(phi: float) -> float:
    r"""Return the viscosity ratio fitted to many data [1]_.

    .. math:: 1 + 2.5\phi + 10.05\phi^2 + 0.00273\exp(16.6\phi)

    Parameters
    ----------
    phi : float
        Volume fraction of solids, [-]

    Returns
    -------
    ratio : float
        Suspension viscosity over liquid viscosity, [-]

    Notes
    -----
    Valid to about phi = 0.6. It is 1.00273, not 1, at phi = 0. Constants from memory.

    References
    ----------
    .. [1] Thomas, D. G. (1965), "Transport characteristics of suspension: VIII", J. Colloid Sci. 20,
       267-277.
    """
    return 1.0 + 2.5 * phi + 10.05 * phi * phi + 0.00273 * math.exp(16.6 * phi)


@formula
def relative_viscosity_krieger_dougherty(phi: float, phi_max: float = 0.64, intrinsic: float = 2.5) -> float:
    r"""Return the viscosity ratio with a closest packing [1]_.

    .. math:: (1-\phi/\phi_{max})^{-[\eta]\phi_{max}}

    Parameters
    ----------
    phi : float
        Volume fraction of solids, [-]
    phi_max : float
        Volume fraction of closest packing, [-]
    intrinsic : float
        Intrinsic viscosity, 2.5 for spheres, [-]

    Returns
    -------
    ratio : float
        Suspension viscosity over liquid viscosity, infinite at and above phi_max, [-]

    Notes
    -----
    Valid below phi_max. The default packing is that of random spheres, from memory; fit your own mud.

    References
    ----------
    .. [1] Krieger, I. M., Dougherty, T. J. (1959), Trans. Soc. Rheol. 3, 137-152.
    """
    if phi >= phi_max:
        return math.inf
    return (1.0 - phi / phi_max) ** (-intrinsic * phi_max)
