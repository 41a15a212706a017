"""Relay tests: describing function, exact limit cycles with dead time, bias, and what a test tells of the process.

Sign convention: the relay gives +d while the error (set point less measurement) is above the hysteresis band and
-d below it; for a process of negative gain the relay is turned round, so only |K| matters here. Amplitude is half
of peak to peak.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from plantsim.analysis.tuning.factors import roots
from plantsim.analysis.tuning.models import FOPDT, Integrating, Process, TuningError
from plantsim.analysis.tuning.rules_classic import Ultimate


def _relay(relay: float, hysteresis: float) -> None:
    if not relay > 0.0 or hysteresis < 0.0:
        raise TuningError(
            f"A relay has an amplitude above 0 and a hysteresis of 0 or more, not {relay:g} and {hysteresis:g}."
        )


def describing_function(amplitude: float, relay: float, hysteresis: float = 0.0) -> complex:
    """Describing function of a relay: N = 4 d/(pi a) [sqrt(1 - (eps/a)^2) - j eps/a].

    Parameters
    ----------
    amplitude : float
        Amplitude a of the swing at the relay's input, not below the hysteresis [output-unit]
    relay : float
        Half the step of the relay, d [input-unit]
    hysteresis : float
        Half the width of the band, eps [output-unit]

    Returns
    -------
    complex
        Equivalent gain [input-unit/output-unit]

    References
    ----------
    K. J. Astrom and T. Hagglund, Automatica 20 (1984) 645-651 (hysteresis from memory).
    """
    _relay(relay, hysteresis)
    if not amplitude > 0.0 or amplitude < hysteresis:
        raise TuningError(
            f"The swing ({amplitude:g}) must be above the hysteresis ({hysteresis:g}), or the relay stands still."
        )
    share = hysteresis / amplitude
    return 4.0 * relay / (math.pi * amplitude) * complex(math.sqrt(1.0 - share * share), -share)


def ultimate_from_relay(amplitude: float, period: float, relay: float, hysteresis: float = 0.0) -> Ultimate:
    """Ultimate point from a relay test: Ku = 4 d/(pi sqrt(a^2 - eps^2)), Pu = period.

    Parameters
    ----------
    amplitude : float
        Half of peak to peak of the measurement, a [output-unit]
    period : float
        Period of the swing [s]
    relay : float
        Half the step of the output, d [input-unit]
    hysteresis : float
        Half the width of the band, eps [output-unit]

    Returns
    -------
    Ultimate
        Estimate of the ultimate gain (above 0) and period.

    Notes
    -----
    An estimate: on first order plus dead time the gain is 11 to 18 % low where lag rules and 22 % high at
    L/T = 10. `fopdt_from_cycle` is exact for that model.

    References
    ----------
    K. J. Astrom and T. Hagglund, Automatica 20 (1984) 645-651.

    Examples
    --------
    >>> round(ultimate_from_relay(1.5, 140.0, 20.0).Ku, 5)
    16.97653
    """
    _relay(relay, hysteresis)
    if not amplitude > hysteresis or not period > 0.0:
        raise TuningError("A relay test needs a swing above the hysteresis and a period above 0.")
    return Ultimate(4.0 * relay / (math.pi * math.sqrt(amplitude**2 - hysteresis**2)), period)


@dataclass(frozen=True)
class Cycle:
    """One period of a limit cycle under a relay.

    Parameters
    ----------
    high, low : float
        Greatest and least measurement, from the middle of the relay's band [output-unit]
    time_up, time_down : float
        Time in which the relay pushes the measurement up, and down [s]
    """

    high: float
    low: float
    time_up: float
    time_down: float

    @property
    def amplitude(self) -> float:
        """Half of peak to peak [output-unit]."""
        return 0.5 * (self.high - self.low)

    @property
    def period(self) -> float:
        """Period [s]."""
        return self.time_up + self.time_down

    @property
    def asymmetry(self) -> float:
        """Difference of the two parts of the period, by the period; 0 for a symmetric swing [-]."""
        return (self.time_up - self.time_down) / self.period


def _drives(
    gain: float, relay: float, hysteresis: float, bias: float, self_regulating: bool
) -> tuple[float, float]:
    """Drive up and drive down of the measurement, as |gain| times input; refused where no swing comes about."""
    _relay(relay, hysteresis)
    up, down = abs(gain) * (relay + bias), abs(gain) * (relay - bias)
    least = hysteresis if self_regulating else 0.0
    if up <= least or down <= least:
        raise TuningError(
            "No swing comes about: the relay does not carry the measurement through its band in both directions "
            f"(drive {up:g} up, {down:g} down, hysteresis {hysteresis:g}). "
            "Raise the relay or move its middle to the load."
        )
    return up, down


def exact_cycle(
    process: FOPDT | Integrating, relay: float, hysteresis: float = 0.0, bias: float = 0.0
) -> Cycle:
    """Exact limit cycle of first order, or integrating, plus dead time under a relay; closed form.

    First order: high = K d+ - (K d+ - eps) e^(-L/T), time down = L + T ln((K d- + high)/(K d- - eps)), and the
    same the other way round, with d+- = d +- bias. Without bias a = K d - (K d - eps) e^(-L/T) and
    P = 2 L + 2 T ln((K d + a)/(K d - eps)). Integrating: high = eps + k d+ L, time down = L + (high + eps)/(k d-).

    Parameters
    ----------
    process : FOPDT or Integrating
        Process with dead time; an integrating one without lag.
    relay : float
        Half the step of the relay, d [input-unit]
    hysteresis : float
        Half the width of the band, eps [output-unit]
    bias : float
        Load that the middle of the relay does not carry, seen at the input, pushing up [input-unit]

    Returns
    -------
    Cycle
        Peaks and times.

    References
    ----------
    K. J. Astrom and T. Hagglund, PID Controllers, 2nd ed., ISA 1995; derived again here.

    Examples
    --------
    >>> found = exact_cycle(FOPDT(1.0, 5.0, 1.0), 1.0)
    >>> round(found.amplitude, 9), round(found.period, 9)
    (0.181269247, 3.665894934)
    """
    if not process.L > 0.0 and hysteresis == 0.0:
        raise TuningError("Without dead time and hysteresis the relay chatters: there is no limit cycle.")
    L = process.L
    if isinstance(process, Integrating):
        if process.T > 0.0:
            raise TuningError("The closed form holds for an integrating process without lag.")
        up, down = _drives(process.k, relay, hysteresis, bias, False)
        high, low = hysteresis + up * L, -hysteresis - down * L
        return Cycle(high, low, L + (hysteresis - low) / up, L + (high + hysteresis) / down)
    up, down = _drives(process.K, relay, hysteresis, bias, True)
    decay, T = math.exp(-L / process.T), process.T
    high = up - (up - hysteresis) * decay
    low = -down + (down - hysteresis) * decay
    time_up = L + T * math.log((up - low) / (up - hysteresis))
    time_down = L + T * math.log((down + high) / (down - hysteresis))
    return Cycle(high, low, time_up, time_down)


def fopdt_from_cycle(
    cycle: Cycle, gain: float, relay: float, hysteresis: float = 0.0, bias: float = 0.0
) -> FOPDT:
    """First order plus dead time from a relay test and a known static gain: the exact cycle turned round.

    L/T = ln((K d+ - eps)/(K d+ - high)), and the same from the low peak; T from the period. Without bias
    T = P/(2 ln((K d + a)/(K d - a))).

    Parameters
    ----------
    cycle : Cycle
        Measured cycle.
    gain : float
        Static gain, from a bump test or `static_gain` [output-unit/input-unit]
    relay, hysteresis, bias : float
        As for `exact_cycle`.

    Returns
    -------
    FOPDT
        Process.

    Notes
    -----
    Exact for that model only; the two peaks are averaged. Refused where the swing is above what the gain allows.

    References
    ----------
    Derived from the exact limit cycle; see `exact_cycle`.
    """
    up, down = _drives(gain, relay, hysteresis, bias, True)
    if not (hysteresis < cycle.high < up and hysteresis < -cycle.low < down):
        raise TuningError(
            "The peaks do not lie between the hysteresis and gain times relay: wrong gain, or another process."
        )
    after_up = math.log((up - hysteresis) / (up - cycle.high))
    after_down = math.log((down - hysteresis) / (down + cycle.low))
    ratio = 0.5 * (after_up + after_down)
    logs = math.log((up - cycle.low) / (up - hysteresis)) + math.log(
        (down + cycle.high) / (down - hysteresis)
    )
    T = cycle.period / (2.0 * ratio + logs)
    return FOPDT(gain, T, ratio * T)


def fundamental(cycle: Cycle, relay: float) -> float:
    """Amplitude of the first harmonic of an asymmetric relay: (4 d/pi) sin(pi t_up/P).

    Parameters
    ----------
    cycle : Cycle
        Measured cycle.
    relay : float
        Half the step of the relay, d [input-unit]

    Returns
    -------
    float
        Amplitude of the first harmonic; 4 d/pi for a symmetric swing [input-unit]

    References
    ----------
    Fourier series of a rectangular wave.
    """
    return 4.0 * relay / math.pi * math.sin(math.pi * cycle.time_up / cycle.period)


def bias_found(cycle: Cycle, relay: float, gain: float, mean: float = 0.0) -> float:
    """Load at the input that the relay's middle does not carry, from the asymmetry of a test.

    In a settled cycle the mean of the measurement is the gain times the mean input: bias = mean/K - d (t_up -
    t_down)/P.

    Parameters
    ----------
    cycle : Cycle
        Measured cycle.
    relay : float
        Half the step of the relay, d [input-unit]
    gain : float
        Static gain; an infinite one stands for an integrating process [output-unit/input-unit]
    mean : float
        Mean of the measurement over whole periods, from the middle of the band [output-unit]

    Returns
    -------
    float
        Bias: take it off the middle of the relay to make the swing symmetric [input-unit]

    References
    ----------
    C.-C. Yu, Autotuning of PID Controllers, Springer, ch. on load disturbance (from memory); the balance is exact.
    """
    return mean / abs(gain) - relay * cycle.asymmetry


def static_gain(mean_measured: float, mean_input: float) -> float:
    """Static gain from an asymmetric relay test: mean of the measurement by mean of the input, over whole periods.

    Parameters
    ----------
    mean_measured : float
        Mean change of the measurement from rest [output-unit]
    mean_input : float
        Mean change of the input from rest [input-unit]

    Returns
    -------
    float
        Static gain of a self-regulating process [output-unit/input-unit]

    Notes
    -----
    Refused for a mean input of 0: a symmetric test does not hold the static gain.

    References
    ----------
    S.-H. Shen, J.-S. Wu and C.-C. Yu, AIChE Journal 42 (1996) 1174-1180 (from memory); the balance is exact.
    """
    if mean_input == 0.0:
        raise TuningError(
            "A symmetric relay test does not hold the static gain: bias the relay or do a bump test."
        )
    return mean_measured / mean_input


def predicted_cycle(process: Process, relay: float, hysteresis: float = 0.0) -> tuple[float, float]:
    """Limit cycle that the describing function predicts: G(j w) = -1/N(a), the exact dead time in G.

    Parameters
    ----------
    process : Process
        Process with at most one integrator.
    relay : float
        Half the step of the relay, d [input-unit]
    hysteresis : float
        Half the width of the band, eps [output-unit]

    Returns
    -------
    (float, float)
        Amplitude [output-unit] and period [s]

    Notes
    -----
    An approximation: it takes the process to pass the first harmonic only.

    References
    ----------
    K. J. Astrom and T. Hagglund, Automatica 20 (1984) 645-651.
    """
    _relay(relay, hysteresis)
    f = process.factors()
    if f.integrators > 1:
        raise TuningError("A process of two integrators does not swing steadily under a relay.")
    sign = math.copysign(1.0, f.gain)
    height = math.pi * hysteresis / (4.0 * relay)  # -1/N runs along Im = -pi eps/(4 d)
    x = np.log(f.grid())
    x = np.interp(np.linspace(0.0, 1.0, 20 * x.size), np.linspace(0.0, 1.0, x.size), x)

    def over(v):  # type: ignore[no-untyped-def]
        return sign * f.response(np.exp(v)).imag + height

    value = over(x)
    cells = np.nonzero((value[:-1] < 0.0) & (value[1:] >= 0.0))[0]
    if cells.size:
        w = np.exp(roots(over, x[cells], x[cells + 1]))
        real = sign * f.response(w).real
        if (real < 0.0).any():
            first = int(np.argmax(real < 0.0))
            return math.hypot(hysteresis, 4.0 * relay / math.pi * float(real[first])), 2.0 * math.pi / float(
                w[first]
            )
    raise TuningError("The describing function predicts no limit cycle for this process and relay.")
