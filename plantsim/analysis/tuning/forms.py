"""Controller settings in the form, the gain and the unit of time that a real controller asks for.

Every conversion here is exact for the algebra without derivative filter. With a filter of time constant Td/N
the two forms differ a little above N/Td, because Td itself differs; keep the filter's time constant, not N.

Source: K. J. Astrom and T. Hagglund, PID Controllers: Theory, Design, and Tuning, 2nd ed., ISA 1995, ch. 3
(from memory); S. Skogestad, J. Process Control 13 (2003) 291-309, for the series form.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from plantsim.analysis.tuning.models import TuningError
from plantsim.analysis.tuning.settings import Settings


@dataclass(frozen=True)
class Standard:
    """Kc (1 + 1/(Ti s) + Td s): the ISA standard form, also called ideal or non-interacting.

    Parameters
    ----------
    Kc : float
        Gain [input-unit/output-unit]
    Ti, Td : float
        Integral time (infinite: none) and derivative time [s]
    """

    Kc: float
    Ti: float = math.inf
    Td: float = 0.0


@dataclass(frozen=True)
class Parallel:
    """Kp + Ki/s + Kd s: the parallel form, three independent gains.

    Parameters
    ----------
    Kp : float
        Proportional gain [input-unit/output-unit]
    Ki : float
        Integral gain [input-unit/(output-unit s)]
    Kd : float
        Derivative gain [input-unit s/output-unit]
    """

    Kp: float
    Ki: float = 0.0
    Kd: float = 0.0


@dataclass(frozen=True)
class Series:
    """Kc (1 + 1/(Ti s)) (1 + Td s): the series form, also called cascade or interacting.

    Parameters
    ----------
    Kc : float
        Gain [input-unit/output-unit]
    Ti, Td : float
        Integral time (infinite: none) and derivative time [s]
    """

    Kc: float
    Ti: float = math.inf
    Td: float = 0.0


def standard(settings: Settings) -> Standard:
    """The three numbers of the standard form.

    Parameters
    ----------
    settings : Settings
        Outcome of a tuning rule.

    Returns
    -------
    Standard
        Kc, Ti, Td.
    """
    if settings.kind == "I":
        raise TuningError(
            "A pure integral controller has no standard or series form: its gain would be 0. Use the parallel form, "
            "or PI settings such as those of improved SIMC."
        )
    return Standard(settings.Kc, settings.Ti, settings.Td)


def standard_to_parallel(given: Standard) -> Parallel:
    """Kp = Kc, Ki = Kc/Ti, Kd = Kc Td (Astrom and Hagglund 1995).

    Parameters
    ----------
    given : Standard
        Settings of the standard form.

    Returns
    -------
    Parallel
        Settings of the parallel form.

    Examples
    --------
    >>> standard_to_parallel(Standard(2.5, 10.0, 1.6))
    Parallel(Kp=2.5, Ki=0.25, Kd=4.0)
    """
    return Parallel(given.Kc, given.Kc / given.Ti, given.Kc * given.Td)


def parallel_to_standard(given: Parallel) -> Standard:
    """Kc = Kp, Ti = Kp/Ki, Td = Kd/Kp (Astrom and Hagglund 1995).

    Parameters
    ----------
    given : Parallel
        Settings of the parallel form.

    Returns
    -------
    Standard
        Settings of the standard form.

    Notes
    -----
    Refused when Kp is 0, or when the three gains differ in sign.
    """
    if given.Kp == 0.0:
        raise TuningError(
            "Without a proportional gain there is no standard form: Ti and Td would be 0 or infinite."
        )
    if given.Ki * given.Kp < 0.0 or given.Kd * given.Kp < 0.0:
        raise TuningError("Gains of different sign have no standard form: Ti or Td would be below 0.")
    return Standard(given.Kp, given.Kp / given.Ki if given.Ki else math.inf, given.Kd / given.Kp)


def series_to_standard(given: Series) -> Standard:
    """Kc = K'(1 + Td'/Ti'), Ti = Ti' + Td', Td = Ti' Td'/(Ti' + Td') (Skogestad 2003).

    Parameters
    ----------
    given : Series
        Settings of the series form.

    Returns
    -------
    Standard
        Settings of the standard form; always exists.

    Examples
    --------
    >>> series_to_standard(Series(2.0, 8.0, 2.0))
    Standard(Kc=2.5, Ti=10.0, Td=1.6)
    """
    if not math.isfinite(given.Ti):
        return Standard(given.Kc, math.inf, given.Td)
    share = given.Td / given.Ti
    return Standard(given.Kc * (1.0 + share), given.Ti + given.Td, given.Td / (1.0 + share))


def standard_to_series(given: Standard) -> Series:
    """K' = Kc (1 + q)/2, Ti' = Ti (1 + q)/2, Td' = 2 Td/(1 + q), q = sqrt(1 - 4 Td/Ti) (Astrom, Hagglund 1995).

    Parameters
    ----------
    given : Standard
        Settings of the standard form.

    Returns
    -------
    Series
        Settings of the series form.

    Notes
    -----
    Refused when Ti < 4 Td: the standard form then has complex zeros, which no series controller has.

    Examples
    --------
    >>> standard_to_series(Standard(2.5, 10.0, 1.6))
    Series(Kc=2.0, Ti=8.0, Td=2.0)
    """
    root = 1.0 - 4.0 * given.Td / given.Ti
    if root < -1e-9:
        raise TuningError(
            f"No series controller does what these settings do: the integral time {given.Ti:g} s is below four times "
            f"the derivative time {given.Td:g} s. Lower Td to {0.25 * given.Ti:g} s or less, or use a standard form."
        )
    half = 0.5 * (1.0 + math.sqrt(max(root, 0.0)))
    return Series(given.Kc * half, given.Ti * half, given.Td / half)


def parallel(settings: Settings) -> Parallel:
    """Settings for a controller of the parallel form.

    Parameters
    ----------
    settings : Settings
        Outcome of a tuning rule; a pure integral controller too.

    Returns
    -------
    Parallel
        Kp, Ki, Kd.
    """
    if settings.kind == "I":
        return Parallel(0.0, settings.integral_only)
    return standard_to_parallel(standard(settings))


def series(settings: Settings) -> Series:
    """Settings for a controller of the series form; refused where none exists.

    Parameters
    ----------
    settings : Settings
        Outcome of a tuning rule.

    Returns
    -------
    Series
        Kc, Ti, Td of the series form.
    """
    return standard_to_series(standard(settings))


def percent_gain(gain: float, measured_span: float, output_span: float) -> float:
    """Gain of a controller that works in percent of its spans: gain times measured span by output span.

    Parameters
    ----------
    gain : float
        Gain in engineering units [input-unit/output-unit]
    measured_span : float
        Range of the measurement, above 0 [output-unit]
    output_span : float
        Range of the controller output, above 0 [input-unit]

    Returns
    -------
    float
        Gain in percent of output for each percent of measurement [-]

    Examples
    --------
    >>> percent_gain(0.5, 200.0, 50.0)
    2.0
    """
    if measured_span <= 0.0 or output_span <= 0.0:
        raise TuningError("Both spans must be above 0 to state a gain in percent.")
    return gain * measured_span / output_span


def proportional_band(gain: float) -> float:
    """Proportional band 100/|gain|: the percent of span that moves the output through its whole range.

    Parameters
    ----------
    gain : float
        Gain in percent by percent; its sign becomes the switch for action, not the band [-]

    Returns
    -------
    float
        Proportional band [%]

    Examples
    --------
    >>> proportional_band(-0.8)
    125.0
    """
    if gain == 0.0 or not math.isfinite(gain):
        raise TuningError("A controller without a proportional gain has no proportional band.")
    return 100.0 / abs(gain)


def gain_from_band(band: float) -> float:
    """Gain of a proportional band: 100/band.

    Parameters
    ----------
    band : float
        Proportional band, above 0 [%]

    Returns
    -------
    float
        Size of the gain in percent by percent; the action is set apart [-]
    """
    if band <= 0.0 or not math.isfinite(band):
        raise TuningError("A proportional band must be above 0 %.")
    return 100.0 / band


def minutes(seconds: float) -> float:
    """Seconds as minutes.

    Parameters
    ----------
    seconds : float
        Time [s]

    Returns
    -------
    float
        Time [min]
    """
    return seconds / 60.0


def seconds(minutes: float) -> float:
    """Minutes as seconds.

    Parameters
    ----------
    minutes : float
        Time [min]

    Returns
    -------
    float
        Time [s]
    """
    return minutes * 60.0


def repeats_per_minute(integral_time: float) -> float:
    """Reset rate of an integral time: how often a minute the proportional part is repeated.

    Parameters
    ----------
    integral_time : float
        Integral time, above 0; infinite gives 0 [s]

    Returns
    -------
    float
        Repeats a minute [1/min]

    Examples
    --------
    >>> repeats_per_minute(120.0)
    0.5
    """
    if integral_time <= 0.0:
        raise TuningError("An integral time must be above 0.")
    return 60.0 / integral_time


@dataclass(frozen=True)
class Entry:
    """One line of a settings sheet.

    Parameters
    ----------
    name : str
        What the line sets, in words.
    value : float
        Number to enter.
    unit : str
        Its unit.
    """

    name: str
    value: float
    unit: str


def entries(
    settings: Settings,
    form: str = "standard",
    time_unit: str = "s",
    spans: tuple[float, float] | None = None,
    band: bool = False,
) -> list[Entry]:
    """Lines to enter in a controller of a given form, gain and unit of time.

    Parameters
    ----------
    settings : Settings
        Outcome of a tuning rule.
    form : str
        "standard", "parallel" or "series".
    time_unit : str
        "s" or "min".
    spans : (float, float), optional
        Measured span and output span: the gain is then in percent by percent [output-unit, input-unit]
    band : bool
        Proportional band in place of the gain; needs spans, and not the parallel form.

    Returns
    -------
    list of Entry
        Action, gain and times; parts that are switched off are left out.
    """
    if time_unit not in ("s", "min"):
        raise TuningError(f"Times are entered in s or min, not {time_unit!r}.")
    if form not in ("standard", "parallel", "series"):
        raise TuningError(f"There are a standard, a parallel and a series form, but none called {form!r}.")
    if band and (spans is None or form == "parallel"):
        raise TuningError("A proportional band needs both spans, and a standard or series form.")
    scale = percent_gain(1.0, *spans) if spans else 1.0
    unit = "%/%" if spans else "input-unit/output-unit"
    length = 60.0 if time_unit == "min" else 1.0
    if form == "parallel":
        p = parallel(settings)
        sign = -1.0 if (p.Kp or p.Ki) < 0.0 else 1.0
        lines = [Entry("proportional gain", abs(p.Kp) * scale, unit)]
        if p.Ki:
            lines.append(Entry("integral gain", abs(p.Ki) * scale * length, f"{unit}/{time_unit}"))
        if p.Kd:
            lines.append(Entry("derivative gain", abs(p.Kd) * scale / length, f"{unit} {time_unit}"))
    else:
        q = standard(settings) if form == "standard" else series(settings)
        sign = math.copysign(1.0, q.Kc)
        gain = abs(q.Kc) * scale
        lines = [
            Entry("proportional band", proportional_band(gain), "%") if band else Entry("gain", gain, unit)
        ]
        if math.isfinite(q.Ti):
            lines.append(Entry("integral time", q.Ti / length, time_unit))
        if q.Td > 0.0:
            lines.append(Entry("derivative time", q.Td / length, time_unit))
    if settings.Td > 0.0 and math.isfinite(settings.N):
        lines.append(Entry("derivative filter time", settings.Td / settings.N / length, time_unit))
    action = "direct" if sign < 0.0 else "reverse"
    return [Entry(f"action: {action}", sign, "sign"), *lines]
