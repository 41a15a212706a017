"""Properties of clean water at atmospheric pressure, 0 to 60 C.

The temperature argument is in degrees Celsius, as every instrument and table gives it; results are SI.
"""

from __future__ import annotations

import math

from plantsim.jit import formula

GRAVITY = 9.80665  # standard acceleration of free fall, m/s2 (exact by definition)


@formula
def density(T_C: float) -> float:
    r"""Return the density of air-free water after Kell [1]_.

    .. math:: \rho = \frac{\sum_{i=0}^{5} a_i T^i}{1 + bT}

    Parameters
    ----------
    T_C : float
        Temperature, [degC]

    Returns
    -------
    rho : float
        Density, [kg/m3]

    Notes
    -----
    Valid 0 to 100 C at 101325 Pa. The coefficients were recalled from memory; the tests hold them to
    IAPWS-95 within 0.01 kg/m^3 over 0 to 60 C.

    Examples
    --------
    >>> round(density(20.0), 1)
    998.2

    References
    ----------
    .. [1] Kell, G. S. (1975), "Density, thermal expansivity, and compressibility of liquid water from
       0 to 150 C", J. Chem. Eng. Data 20(1), 97-105.
    """
    top = 999.83952 + T_C * (
        16.945176 + T_C * (-7.9870401e-3 + T_C * (-46.170461e-6 + T_C * (105.56302e-9 - T_C * 280.54253e-12)))
    )
    return top / (1.0 + 16.879850e-3 * T_C)


@formula
def viscosity(T_C: float) -> float:
    r"""Return the dynamic viscosity of water at 0.1 MPa after Patek and others [1]_.

    .. math:: \mu = 10^{-6} \sum_{i=1}^{4} a_i (T/300)^{b_i}

    Parameters
    ----------
    T_C : float
        Temperature, [degC]

    Returns
    -------
    mu : float
        Dynamic viscosity, [Pa*s]

    Notes
    -----
    Valid -20 to 110 C. IAPWS supplementary release SR6-08 recommends the equation. The coefficients were
    recalled from memory; the tests hold them to IAPWS R12-08 within 0.1 % over 0 to 60 C.

    Examples
    --------
    >>> round(1e3 * viscosity(20.0), 4)
    1.0016

    References
    ----------
    .. [1] Patek, J., Hruby, J., Klomfar, J., Souckova, M., Harvey, A. H. (2009), "Reference correlations
       for thermophysical properties of liquid water at 0.1 MPa", J. Phys. Chem. Ref. Data 38(1), 21-29.
    """
    t = (T_C + 273.15) / 300.0
    return 1e-6 * (280.68 * t**-1.9 + 511.45 * t**-7.7 + 61.131 * t**-19.6 + 0.45903 * t**-40.0)


@formula
def kinematic_viscosity(T_C: float) -> float:
    r"""Return the kinematic viscosity of water, :math:`\nu = \mu/\rho` [1]_.

    Parameters
    ----------
    T_C : float
        Temperature, [degC]

    Returns
    -------
    nu : float
        Kinematic viscosity, [m2/s]

    Notes
    -----
    Valid 0 to 100 C at atmospheric pressure, by `viscosity` and `density`.

    References
    ----------
    .. [1] Definition; Patek and others (2009) and Kell (1975) for its two parts.
    """
    return viscosity(T_C) / density(T_C)


@formula
def vapour_pressure(T_C: float) -> float:
    r"""Return the saturation pressure of water vapour after Wagner and Pruss [1]_.

    .. math:: \ln\frac{p}{p_c} = \frac{T_c}{T}\left(a_1\tau + a_2\tau^{1.5} + a_3\tau^3 + a_4\tau^{3.5}
        + a_5\tau^4 + a_6\tau^{7.5}\right), \quad \tau = 1 - T/T_c

    Parameters
    ----------
    T_C : float
        Temperature, [degC]

    Returns
    -------
    p : float
        Saturation vapour pressure, [Pa]

    Notes
    -----
    Valid from the triple point (0.01 C) to the critical point (373.95 C). The coefficients were recalled
    from memory; the tests hold them to IAPWS-95 within 0.1 %.

    Examples
    --------
    >>> round(vapour_pressure(20.0))
    2339

    References
    ----------
    .. [1] Wagner, W., Pruss, A. (1993), "International equations for the saturation properties of
       ordinary water substance", J. Phys. Chem. Ref. Data 22(3), 783-787.
    """
    t_critical = 647.096
    t = T_C + 273.15
    tau = 1.0 - t / t_critical
    s = math.sqrt(tau)
    series = (
        -7.85951783 * tau
        + 1.84408259 * tau * s
        - 11.7866497 * tau**3
        + 22.6807411 * tau**3 * s
        - 15.9618719 * tau**4
        + 1.80122502 * tau**7 * s
    )
    return 22.064e6 * math.exp(t_critical / t * series)
