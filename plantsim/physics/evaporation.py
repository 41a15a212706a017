"""How much water the weather can take: reference evaporation after FAO-56, from what a station measures.

The equations are those of FAO Irrigation and Drainage Paper 56 [1]_ with pressures in Pa, radiation as daily
mean in W/m^2 and evaporation in m/s (FAO: kPa, MJ/m^2/day, mm/day). They hold for daily to monthly means.

.. [1] Allen, R. G., Pereira, L. S., Raes, D., Smith, M. (1998), Crop evapotranspiration, FAO Irrigation and
   Drainage Paper 56, Rome.
"""

from __future__ import annotations

import math

from plantsim.jit import formula

W_PER_MJ_DAY = 1e6 / 86400.0  # 1 MJ/m2/day as W/m2
MM_PER_DAY = 1e-3 / 86400.0  # 1 mm/day as m/s


@formula
def air_pressure(z: float) -> float:
    r"""Return the mean air pressure at a height, :math:`101.3[(293-0.0065z)/293]^{5.26}` kPa [1]_.

    Parameters
    ----------
    z : float
        Height above sea level, [m]

    Returns
    -------
    P : float
        Air pressure, [Pa]

    Notes
    -----
    Standard lapse rate at 20 C.

    References
    ----------
    .. [1] FAO-56, eq. 7.
    """
    return 101300.0 * ((293.0 - 0.0065 * z) / 293.0) ** 5.26


@formula
def psychrometric_constant(P: float) -> float:
    r"""Return the psychrometric constant, :math:`\gamma = 0.665\cdot10^{-3}P` (FAO-56 eq. 8) [1]_.

    Parameters
    ----------
    P : float
        Air pressure, [Pa]

    Returns
    -------
    gamma : float
        Psychrometric constant, [Pa/K]

    Notes
    -----
    Latent heat of 2.45 MJ/kg.

    References
    ----------
    .. [1] FAO-56, eq. 8.
    """
    return 0.665e-3 * P


@formula
def saturation_pressure(T_C: float) -> float:
    r"""Return the saturation vapour pressure, :math:`0.6108e^{17.27T/(T+237.3)}` kPa (FAO-56 eq. 11) [1]_.

    Parameters
    ----------
    T_C : float
        Air temperature; the dew point gives the actual pressure (eq. 14), [degC]

    Returns
    -------
    e : float
        Saturation vapour pressure, [Pa]

    Notes
    -----
    Valid 0 to 50 C. `water.vapour_pressure` is more exact; this form belongs to the method.

    References
    ----------
    .. [1] FAO-56, eqs. 11 and 14.
    """
    return 610.8 * math.exp(17.27 * T_C / (T_C + 237.3))


@formula
def mean_saturation_pressure(T_min: float, T_max: float) -> float:
    r"""Return the mean saturation pressure of a day, :math:`[e(T_{min})+e(T_{max})]/2` (FAO-56 eq. 12) [1]_.

    Parameters
    ----------
    T_min : float
        Lowest air temperature, [degC]
    T_max : float
        Highest air temperature, [degC]

    Returns
    -------
    es : float
        Mean saturation vapour pressure, [Pa]

    Notes
    -----
    Taking the pressure of the mean temperature instead would understate the evaporation.

    References
    ----------
    .. [1] FAO-56, eq. 12.
    """
    return 0.5 * (saturation_pressure(T_min) + saturation_pressure(T_max))


@formula
def saturation_slope(T_C: float) -> float:
    r"""Return the slope of the saturation curve, :math:`\Delta = 4098e/(T+237.3)^2` (FAO-56 eq. 13) [1]_.

    Parameters
    ----------
    T_C : float
        Air temperature, [degC]

    Returns
    -------
    delta : float
        Slope, [Pa/K]

    Notes
    -----
    Valid 0 to 50 C.

    References
    ----------
    .. [1] FAO-56, eq. 13.
    """
    return 4098.0 * saturation_pressure(T_C) / (T_C + 237.3) ** 2


@formula
def actual_pressure_humidity(T_min: float, T_max: float, rh_min: float, rh_max: float) -> float:
    r"""Return the vapour pressure from humidity, :math:`[e(T_{min})RH_{max}+e(T_{max})RH_{min}]/2` [1]_.

    Parameters
    ----------
    T_min : float
        Lowest air temperature, [degC]
    T_max : float
        Highest air temperature, [degC]
    rh_min : float
        Lowest relative humidity, 0 to 1, [-]
    rh_max : float
        Highest relative humidity, 0 to 1, [-]

    Returns
    -------
    ea : float
        Actual vapour pressure, [Pa]

    Notes
    -----
    Pairs the driest air with the warmest hour.

    References
    ----------
    .. [1] FAO-56, eq. 17.
    """
    return 0.5 * (saturation_pressure(T_min) * rh_max + saturation_pressure(T_max) * rh_min)


@formula
def actual_pressure_wet_bulb(T_wet: float, T_dry: float, P: float, a_psy: float = 0.000662) -> float:
    r"""Return the vapour pressure from a wet bulb, :math:`e(T_{wet}) - a_{psy}P(T_{dry}-T_{wet})` [1]_.

    Parameters
    ----------
    T_wet : float
        Wet-bulb temperature, [degC]
    T_dry : float
        Dry-bulb temperature, [degC]
    P : float
        Air pressure, [Pa]
    a_psy : float
        Coefficient of the instrument, 0.000662 when ventilated at 5 m/s, [1/K]

    Returns
    -------
    ea : float
        Actual vapour pressure, [Pa]

    Notes
    -----
    0.000800 for natural ventilation, 0.001200 indoors.

    References
    ----------
    .. [1] FAO-56, eqs. 15 and 16.
    """
    return saturation_pressure(T_wet) - a_psy * P * (T_dry - T_wet)


@formula
def wind_at_2m(u: float, z: float) -> float:
    r"""Return the wind speed at 2 m from another height, :math:`u_2 = 4.87u/\ln(67.8z-5.42)` [1]_.

    Parameters
    ----------
    u : float
        Wind speed measured, [m/s]
    z : float
        Height of the measurement above ground, above 0.1 m, [m]

    Returns
    -------
    u2 : float
        Wind speed at 2 m, [m/s]

    Notes
    -----
    Logarithmic profile above short grass.

    References
    ----------
    .. [1] FAO-56, eq. 47.
    """
    return u * 4.87 / math.log(67.8 * z - 5.42)


@formula
def sunset_angle(latitude: float, day: float) -> float:
    r"""Return the sunset hour angle, :math:`\omega_s = \arccos(-\tan\varphi\tan\delta)` [1]_.

    Parameters
    ----------
    latitude : float
        Latitude, north positive, [rad]
    day : float
        Day of the year, 1 to 366, [-]

    Returns
    -------
    omega : float
        Sunset hour angle, 0 in polar night and pi in polar day, [rad]

    Notes
    -----
    Declination 0.409 sin(2 pi J/365 - 1.39).

    References
    ----------
    .. [1] FAO-56, eqs. 24 and 25.
    """
    declination = 0.409 * math.sin(2.0 * math.pi / 365.0 * day - 1.39)
    return math.acos(max(-1.0, min(1.0, -math.tan(latitude) * math.tan(declination))))


@formula
def extraterrestrial_radiation(latitude: float, day: float) -> float:
    r"""Return the sunshine at the top of the air, daily mean (FAO-56 eq. 21) [1]_.

    .. math:: R_a = \frac{24\cdot60}{\pi}G_{sc}d_r[\omega_s\sin\varphi\sin\delta
        + \cos\varphi\cos\delta\sin\omega_s], \quad G_{sc} = 0.0820\ \mathrm{MJ/m^2/min}

    Parameters
    ----------
    latitude : float
        Latitude, north positive, [rad]
    day : float
        Day of the year, 1 to 366, [-]

    Returns
    -------
    Ra : float
        Extraterrestrial radiation, daily mean, [W/m2]

    Notes
    -----
    Daily values; the middle of the month stands for a month within 1 %.

    References
    ----------
    .. [1] FAO-56, eqs. 21 to 25.
    """
    declination = 0.409 * math.sin(2.0 * math.pi / 365.0 * day - 1.39)
    nearness = 1.0 + 0.033 * math.cos(2.0 * math.pi / 365.0 * day)
    omega = sunset_angle(latitude, day)
    height = omega * math.sin(latitude) * math.sin(declination)
    height += math.cos(latitude) * math.cos(declination) * math.sin(omega)
    return W_PER_MJ_DAY * 24.0 * 60.0 / math.pi * 0.0820 * nearness * height


@formula
def daylight(latitude: float, day: float) -> float:
    r"""Return the longest possible sunshine of a day, :math:`N = 24\omega_s/\pi` hours [1]_.

    Parameters
    ----------
    latitude : float
        Latitude, north positive, [rad]
    day : float
        Day of the year, 1 to 366, [-]

    Returns
    -------
    N : float
        Daylight, [s]

    Notes
    -----
    Flat horizon.

    References
    ----------
    .. [1] FAO-56, eq. 34.
    """
    return 86400.0 / math.pi * sunset_angle(latitude, day)


@formula
def solar_radiation(Ra: float, sunshine: float, a: float = 0.25, b: float = 0.50) -> float:
    r"""Return the sunshine at the ground, :math:`R_s = (a + b\,n/N)R_a` (Angstrom, FAO-56 eq. 35) [1]_.

    Parameters
    ----------
    Ra : float
        Extraterrestrial radiation, [W/m2]
    sunshine : float
        Hours of bright sun over the longest possible, n/N, [-]
    a : float
        Share that passes on overcast days, [-]
    b : float
        Further share that passes on clear days, [-]

    Returns
    -------
    Rs : float
        Solar radiation, [W/m2]

    Notes
    -----
    The defaults are those advised where no calibration exists.

    References
    ----------
    .. [1] FAO-56, eq. 35.
    """
    return (a + b * sunshine) * Ra


@formula
def clear_sky_radiation(Ra: float, z: float) -> float:
    r"""Return the sunshine at the ground on a clear day, :math:`R_{so} = (0.75+2\cdot10^{-5}z)R_a` [1]_.

    Parameters
    ----------
    Ra : float
        Extraterrestrial radiation, [W/m2]
    z : float
        Height above sea level, [m]

    Returns
    -------
    Rso : float
        Clear-sky radiation, [W/m2]

    Notes
    -----
    For want of calibrated a and b.

    References
    ----------
    .. [1] FAO-56, eq. 37.
    """
    return (0.75 + 2e-5 * z) * Ra


@formula
def net_shortwave(Rs: float, albedo: float = 0.23) -> float:
    r"""Return the sunshine kept, :math:`R_{ns} = (1-\alpha)R_s` (FAO-56 eq. 38) [1]_.

    Parameters
    ----------
    Rs : float
        Solar radiation, [W/m2]
    albedo : float
        Share thrown back, 0.23 for the reference grass, [-]

    Returns
    -------
    Rns : float
        Net shortwave radiation, [W/m2]

    Notes
    -----
    Open water throws back some 0.05 to 0.08 (from memory).

    References
    ----------
    .. [1] FAO-56, eq. 38.
    """
    return (1.0 - albedo) * Rs


@formula
def net_longwave(T_min: float, T_max: float, ea: float, clearness: float) -> float:
    r"""Return the heat radiated away (FAO-56 eq. 39) [1]_.

    .. math:: R_{nl} = \sigma\frac{T_{max}^4+T_{min}^4}{2}(0.34-0.14\sqrt{e_a})(1.35R_s/R_{so}-0.35)

    with :math:`e_a` in kPa and :math:`\sigma = 4.903\cdot10^{-9}` MJ/K^4/m^2/day.

    Parameters
    ----------
    T_min : float
        Lowest air temperature, [degC]
    T_max : float
        Highest air temperature, [degC]
    ea : float
        Actual vapour pressure, [Pa]
    clearness : float
        Solar over clear-sky radiation, held at 1, [-]

    Returns
    -------
    Rnl : float
        Net longwave radiation, upwards, [W/m2]

    Notes
    -----
    Daily to monthly means.

    References
    ----------
    .. [1] FAO-56, eq. 39.
    """
    mean = 0.5 * ((T_max + 273.16) ** 4 + (T_min + 273.16) ** 4)
    humid = 0.34 - 0.14 * math.sqrt(1e-3 * ea)
    cloudy = 1.35 * min(clearness, 1.0) - 0.35
    return W_PER_MJ_DAY * 4.903e-9 * mean * humid * cloudy


@formula
def ground_heat_two_months(T_before: float, T_after: float) -> float:
    r"""Return the monthly heat into the ground, :math:`G = 0.07(T_{i+1}-T_{i-1})` (FAO-56 eq. 43) [1]_.

    Parameters
    ----------
    T_before : float
        Mean air temperature of the month before, [degC]
    T_after : float
        Mean air temperature of the month after, [degC]

    Returns
    -------
    G : float
        Heat flux into the ground, [W/m2]

    Notes
    -----
    Monthly means. For a day take 0 (eq. 42).

    References
    ----------
    .. [1] FAO-56, eq. 43.
    """
    return W_PER_MJ_DAY * 0.07 * (T_after - T_before)


@formula
def ground_heat_one_month(T_before: float, T_month: float) -> float:
    r"""Return the monthly heat into the ground, :math:`G = 0.14(T_i-T_{i-1})` (FAO-56 eq. 44) [1]_.

    Parameters
    ----------
    T_before : float
        Mean air temperature of the month before, [degC]
    T_month : float
        Mean air temperature of the month, [degC]

    Returns
    -------
    G : float
        Heat flux into the ground, [W/m2]

    Notes
    -----
    Where the month after is not known yet.

    References
    ----------
    .. [1] FAO-56, eq. 44.
    """
    return W_PER_MJ_DAY * 0.14 * (T_month - T_before)


@formula
def reference_evaporation(
    Rn: float, G: float, T_C: float, u2: float, es: float, ea: float, delta: float, gamma: float
) -> float:
    r"""Return the reference evaporation by Penman and Monteith (FAO-56 eq. 6) [1]_.

    .. math:: ET_0 = \frac{0.408\Delta(R_n-G)+\gamma\frac{900}{T+273}u_2(e_s-e_a)}{\Delta+\gamma(1+0.34u_2)}

    Parameters
    ----------
    Rn : float
        Net radiation, [W/m2]
    G : float
        Heat flux into the ground, [W/m2]
    T_C : float
        Mean air temperature, [degC]
    u2 : float
        Wind speed at 2 m, [m/s]
    es : float
        Mean saturation vapour pressure, [Pa]
    ea : float
        Actual vapour pressure, [Pa]
    delta : float
        Slope of the saturation curve, [Pa/K]
    gamma : float
        Psychrometric constant, [Pa/K]

    Returns
    -------
    ET0 : float
        Reference evaporation, [m/s]

    Notes
    -----
    That of well-watered short grass. Wet mud and water take up to some 10 to 20 % more (from memory): apply a
    coefficient of your own. Negative values mean dew.

    References
    ----------
    .. [1] FAO-56, eq. 6.
    """
    sun = 0.408 * delta * (Rn - G) / W_PER_MJ_DAY
    wind = gamma * 900.0 / (T_C + 273.0) * u2 * 1e-3 * (es - ea)
    return MM_PER_DAY * (sun + wind) / (delta + gamma * (1.0 + 0.34 * u2))


@formula
def pan_coefficient_green(u2: float, humidity: float, fetch: float) -> float:
    r"""Return the coefficient of a Class A pan with a green fetch (FAO-56 table 7, regression) [1]_.

    .. math:: K_p = 0.108 - 0.0286u_2 + 0.0422\ln F + 0.1434\ln RH - 0.000631(\ln F)^2\ln RH

    Parameters
    ----------
    u2 : float
        Wind speed at 2 m, 1 to 8 m/s, [m/s]
    humidity : float
        Mean relative humidity, 0.30 to 0.84, [-]
    fetch : float
        Length of green ground upwind, 1 to 1000 m, [m]

    Returns
    -------
    Kp : float
        Reference over pan evaporation, [-]

    Notes
    -----
    RH in per cent in the equation. Typically about 0.7.

    References
    ----------
    .. [1] FAO-56, table 7.
    """
    f = math.log(fetch)
    h = math.log(100.0 * humidity)
    return 0.108 - 0.0286 * u2 + 0.0422 * f + 0.1434 * h - 0.000631 * f * f * h
