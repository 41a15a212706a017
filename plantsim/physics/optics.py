"""Light in turbid water: what absorbance and turbidity instruments see of the solids."""

from __future__ import annotations

import math

from plantsim.jit import formula

LN10 = math.log(10.0)


@formula
def attenuation(C: float, rho_s: float, d: float, efficiency: float = 2.0) -> float:
    r"""Return the attenuation of a light beam by grains of one size, :math:`c = 1.5QC/(\rho_sd)` [1]_.

    Parameters
    ----------
    C : float
        Solids concentration, [kg/m3]
    rho_s : float
        Density of the solids, [kg/m3]
    d : float
        Diameter, [m]
    efficiency : float
        Extinction efficiency Q, 2 for grains large against the wavelength, [-]

    Returns
    -------
    c : float
        Attenuation coefficient, [1/m]

    Notes
    -----
    Q = 2 for diameters above some 2 um in visible light; single scattering only. The finer the solids, the
    more light a given mass takes.

    Examples
    --------
    >>> round(attenuation(0.1, 2650.0, 10e-6), 2)
    11.32

    References
    ----------
    .. [1] van de Hulst, H. C. (1957), Light Scattering by Small Particles, Wiley.
    """
    return 1.5 * efficiency * C / (rho_s * d)


@formula
def transmittance(c: float, path: float) -> float:
    r"""Return the share of light that passes, :math:`T = e^{-cL}` (Beer-Lambert) [1]_.

    Parameters
    ----------
    c : float
        Attenuation coefficient, [1/m]
    path : float
        Length of the light path, [m]

    Returns
    -------
    T : float
        Transmittance, [-]

    Notes
    -----
    Valid while scattered light misses the detector.

    References
    ----------
    .. [1] van de Hulst, H. C. (1957), Light Scattering by Small Particles, Wiley.
    """
    return math.exp(-c * path)


@formula
def absorbance(c: float, path: float) -> float:
    r"""Return the decadic absorbance, :math:`A = cL/\ln 10 = -\log_{10}T` (Beer-Lambert) [1]_.

    Parameters
    ----------
    c : float
        Attenuation coefficient, [1/m]
    path : float
        Length of the light path, [m]

    Returns
    -------
    A : float
        Absorbance, [-]

    Notes
    -----
    Valid while scattered light misses the detector; see `absorbance_read` for the reading.

    References
    ----------
    .. [1] van de Hulst, H. C. (1957), Light Scattering by Small Particles, Wiley.
    """
    return c * path / LN10


@formula
def absorbance_read(A: float, stray: float) -> float:
    r"""Return the absorbance read with stray light, :math:`-\log_{10}[(10^{-A}+s)/(1+s)]` [1]_.

    Parameters
    ----------
    A : float
        True absorbance, [-]
    stray : float
        Stray light over the light sent out, [-]

    Returns
    -------
    A_read : float
        Absorbance read, saturating at log10((1 + s)/s), [-]

    Notes
    -----
    Stray light of 1 % caps the reading at 2.004.

    References
    ----------
    .. [1] Standard stray-light relation of spectrophotometry (from memory).
    """
    return -math.log10((10.0**-A + stray) / (1.0 + stray))


@formula
def turbidity(
    coarse: float, fines: float, colloid: float, per_coarse: float, per_fines: float, per_colloid: float
) -> float:
    r"""Return the turbidity of suspended solids, linear in each class, :math:`\sum k_iC_i` [1]_.

    Parameters
    ----------
    coarse : float
        Coarse solids, [kg/m3]
    fines : float
        Fine solids, [kg/m3]
    colloid : float
        Colloidal solids, [kg/m3]
    per_coarse : float
        Turbidity per coarse solids, [NTU*m3/kg]
    per_fines : float
        Turbidity per fine solids, [NTU*m3/kg]
    per_colloid : float
        Turbidity per colloidal solids, [NTU*m3/kg]

    Returns
    -------
    ntu : float
        Turbidity, [NTU]

    Notes
    -----
    No relation is universal: calibrate at the site. Rivers show 1 to 2.5 mg/L per NTU, that is 400 to 1000
    NTU m^3/kg.

    References
    ----------
    .. [1] Ruegner, H., and others (2013), "Turbidity as a proxy for total suspended solids", Environ. Earth
       Sci. 69, 373-380.
    """
    return per_coarse * coarse + per_fines * fines + per_colloid * colloid


@formula
def solids_from_turbidity_power(ntu: float, factor: float = 1e-3, exponent: float = 1.32) -> float:
    r"""Return suspended solids from turbidity by a power law, :math:`C = a\,NTU^b` [1]_.

    Parameters
    ----------
    ntu : float
        Turbidity, [NTU]
    factor : float
        Solids at 1 NTU, [kg/m3]
    exponent : float
        Exponent, [-]

    Returns
    -------
    C : float
        Suspended solids, [kg/m3]

    Notes
    -----
    The defaults are those of lowland streams (r2 = 0.96), good to a factor of two there. Calibrate at the
    site.

    References
    ----------
    .. [1] University of Washington report on turbidity and suspended solids of Puget Lowland streams.
    """
    if ntu <= 0.0:
        return 0.0
    return factor * ntu**exponent


@formula
def detector_reading(ntu: float, saturation: float) -> float:
    r"""Return the reading of a saturating turbidity detector, :math:`S(1-e^{-N/S})` [1]_.

    Parameters
    ----------
    ntu : float
        True turbidity (linear in solids), [NTU]
    saturation : float
        Reading that is never passed, [NTU]

    Returns
    -------
    reading : float
        Reading before noise and range, [NTU]

    Notes
    -----
    A thick sample hides part of its own scattered light, so that a sample diluted 5:1 reads more than a
    fifth. Form by common practice, no source. Detectors without ratio correction even fall again when
    overloaded.

    References
    ----------
    .. [1] Common practice, no source for the form.
    """
    return -saturation * math.expm1(-ntu / saturation)


@formula
def turbidity_behind_reading(reading: float, saturation: float) -> float:
    r"""Return the true turbidity behind a saturating reading, :math:`-S\ln(1-R/S)` [1]_.

    Parameters
    ----------
    reading : float
        Reading, [NTU]
    saturation : float
        Reading that is never passed, [NTU]

    Returns
    -------
    ntu : float
        True turbidity, infinite at and above saturation, [NTU]

    Notes
    -----
    Inverse of `detector_reading`; near saturation a small error of the reading is a large one of the result.

    References
    ----------
    .. [1] As `detector_reading`.
    """
    if reading >= saturation:
        return math.inf
    return -saturation * math.log1p(-reading / saturation)
