"""Margins of a loop with dead-time compensation (Smith predictor) whose model is not the process; worst of a range.

The controller sees the measurement plus what its model without dead time is ahead of its model with it. Where the
model is wrong the compensation is too: that is what these margins show. Dead times are exact at every frequency.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from plantsim.analysis.tuning.margins import Margins, margins
from plantsim.analysis.tuning.models import FOPDT, Process, TuningError
from plantsim.analysis.tuning.settings import Settings

_POINTS_PER_DECADE = 120
_STEP = 0.05
"""Most phase of a dead time between two frequencies of the grid [rad]."""
_MOST = 60_000


def smith_margins(settings: Settings, process: Process, model: FOPDT, scan: float = 0.0) -> Margins:
    """Margins of a PI or PID loop with a Smith predictor on a process its model does not match.

    With controller C, process G, and model M with dead time, M0 without, the loop is that of
    `L = C G/(1 + C (M0 - M))`: greater gain and more dead time of the process act on L as on any open loop. It is
    stable when `1 + C (M0 - M + G)` has no zero in the right half-plane.

    Parameters
    ----------
    settings : Settings
        Controller, with integral action.
    process : Process
        Self-regulating process.
    model : FOPDT
        Model in the predictor.
    scan : float
        Time between scans; half of it counts as dead time of the process [s]

    Returns
    -------
    Margins
        As of `margins`; accurate to about 1e-3, as the curves are looked at on a grid.

    Raises
    ------
    TuningError
        Without integral action, or for an integrating process.

    References
    ----------
    O. J. M. Smith, Chem. Eng. Progress 53 (1957) 217-219; Z. J. Palmor, Int. J. Control 32 (1980) 937-949, for what
    a wrong model does (from memory).

    Examples
    --------
    >>> process = FOPDT(1.0, 1.0, 3.0)
    >>> round(smith_margins(Settings(2.0, 1.0), process, process).Mt, 3)  # a true model: T = e^(-3 s)/(0.5 s + 1)
    1.0
    """
    f, c, m = process.factors(), settings.factors(), model.factors()
    if f.integrators or c.integrators != 1:
        raise TuningError("A Smith predictor is judged here for self-regulating processes under integral action.")
    if f.gain * c.gain <= 0.0:
        return _lost(scan, "the controller acts the wrong way")
    delay = f.delay + 0.5 * scan
    w = _grid([*f.corners(), *c.corners(), *m.corners()], max(delay, model.L))
    s = 1j * w
    C, M = c.response(w), m.response(w)
    G = f.response(w) * np.exp(-0.5 * scan * s)
    ahead = C * (M * np.exp(model.L * s) - M)
    back = 1.0 + ahead + C * G
    # p = s/(s + a) (1 + C (M0 - M + G)) has no pole in the right half-plane, is above 0 at both ends of the axis, and
    # so turns round the origin once for each two zeros there
    turned = np.unwrap(np.angle(back * s / (s + w[len(w) // 2])))
    poles = round(abs(float(turned[-1] - turned[0])) / math.pi)
    if poles:
        return _lost(scan, "the loop is unstable", float(poles))
    L = C * G / (1.0 + ahead)
    # |S| = |1 + ahead| / |back| and |T| = |C G| / |back|
    S, T = np.abs(1.0 + ahead) / np.abs(back), np.abs(C * G) / np.abs(back)
    return _measured(w, L, S, T, scan)


def quick_ms(settings: Settings, process: Process, model: FOPDT | None = None, scan: float = 0.0) -> float:
    """Sensitivity peak on a grid of frequencies, for searches that look at thousands of loops.

    Parameters
    ----------
    settings : Settings
        Controller.
    process : Process
        Process.
    model : FOPDT, optional
        Model of a dead-time compensation; none when left out.
    scan : float
        Time between scans [s]

    Returns
    -------
    float
        Ms, within 0.3 % of `margins` and `smith_margins` while it is below 5; infinite for an unstable loop [-]

    Notes
    -----
    Stable is a loop whose `1 + C (M0 - M + G)`, its poles at 0 taken out, does not turn round the origin from frequency
    0 to infinity (Nyquist).

    Examples
    --------
    >>> round(quick_ms(Settings(0.5, 1.0), FOPDT(1.0, 1.0, 1.0)), 2), quick_ms(Settings(9.0, 1.0), FOPDT(1.0, 1.0, 1.0))
    (1.59, inf)
    """
    f, c = process.factors(), settings.factors()
    if f.gain * c.gain <= 0.0:
        return math.inf
    delay = f.delay + 0.5 * scan
    corners = [*f.corners(), *c.corners(), *(model.factors().corners() if model is not None else [])]
    w = _grid(corners, max(delay, model.L if model is not None else 0.0))
    s = 1j * w
    C = c.response(w)
    front: np.ndarray | float = 1.0
    if model is not None:
        M = model.factors().response(w)
        front = 1.0 + C * (M * np.exp(model.L * s) - M)
    back = front + C * f.response(w) * np.exp(-0.5 * scan * s)
    whole = back * (s / (s + w[len(w) // 2])) ** (c.integrators + f.integrators)
    turned = np.unwrap(np.angle(whole))
    if round(abs(float(turned[-1] - turned[0])) / math.pi):
        return math.inf
    return max(1.0, float((np.abs(front) / np.abs(back)).max()))


def _grid(corners: list[float], delay: float) -> np.ndarray:
    """Logarithmic grid, with even steps where a dead time turns the phase faster than that."""
    low, high = 1e-3 * min(corners), 1e2 * max(corners)
    count = math.ceil(math.log10(high / low) * _POINTS_PER_DECADE) + 1
    w = np.geomspace(low, high, count)
    if delay <= 0.0:
        return w
    last = min(high, 60.0 / delay)  # beyond, lags have taken the gain away or the loop is judged by its ends
    even = np.arange(_STEP / delay, last, _STEP / delay)
    return np.unique(np.concatenate([w, even[:_MOST]]))


def _lost(scan: float, why: str, poles: float = 1.0) -> Margins:
    nan = math.nan
    return Margins(False, poles, nan, 0.0, nan, 0.0, math.inf, math.inf, nan, nan, nan, nan, nan, (), (), 0.5 * scan,
                   (f"Dead-time compensation: {why}.",))  # fmt: skip


def _measured(w: np.ndarray, L: np.ndarray, S: np.ndarray, T: np.ndarray, scan: float) -> Margins:
    gain = np.log(np.abs(L))
    phase = np.unwrap(np.angle(L))
    at = np.flatnonzero((gain[:-1] >= 0.0) != (gain[1:] >= 0.0))
    part = gain[at] / (gain[at] - gain[at + 1])
    crossings = w[at] * (w[at + 1] / w[at]) ** part
    lag = np.mod(phase[at] + part * (phase[at + 1] - phase[at]) + math.pi, 2.0 * math.pi)
    near = np.where(lag > math.pi, 2.0 * math.pi - lag, lag)
    down = np.floor((phase + math.pi) / (2.0 * math.pi))
    cut = np.flatnonzero(down[:-1] != down[1:])
    level = np.maximum(down[cut], down[cut + 1]) * 2.0 * math.pi - math.pi
    share = (phase[cut] - level) / (phase[cut] - phase[cut + 1])
    heights = gain[cut] + share * (gain[cut + 1] - gain[cut])
    below = heights <= 0.0
    gain_margin, phase_crossover = math.inf, math.nan
    if below.any():
        worst = int(np.argmax(np.where(below, heights, -math.inf)))
        gain_margin, phase_crossover = math.exp(-heights[worst]), float(w[cut[worst]])
    above = heights[heights > 0.0]
    reduction = math.exp(-float(above.min())) if len(above) else 0.0
    phase_margin = delay_margin = math.inf
    gain_crossover = delay_crossover = math.nan
    if len(crossings):
        worst = int(np.argmin(near))
        phase_margin, gain_crossover = math.degrees(float(near[worst])), float(crossings[worst])
        worst = int(np.argmin(lag / crossings))
        delay_margin, delay_crossover = float(lag[worst] / crossings[worst]), float(crossings[worst])
    s, t = int(np.argmax(S)), int(np.argmax(T))
    return Margins(
        True, 0.0, gain_margin, reduction, phase_margin, delay_margin, float(S[s]), max(float(T[t]), 1.0), float(w[s]),
        float(w[t]), gain_crossover, phase_crossover, delay_crossover, tuple(float(v) for v in crossings),
        tuple(float(v) for v in w[cut]), 0.5 * scan, (),
    )  # fmt: skip


def loop_margins(settings: Settings, process: Process, model: FOPDT | None, scan: float = 0.0) -> Margins:
    """Margins with the predictor where there is a model of it, without it where there is none."""
    return margins(settings, process, scan) if model is None else smith_margins(settings, process, model, scan)


@dataclass(frozen=True)
class Worst:
    """The worst of each margin over a range of processes, each with the name of the process it is found on.

    Parameters
    ----------
    stable : bool
        Whether the loop is stable on all.
    gain_margin, phase_margin, delay_margin, Ms, Mt : (float, str)
        Value [-], [deg], [s], [-], [-], and where.
    """

    stable: bool
    gain_margin: tuple[float, str]
    phase_margin: tuple[float, str]
    delay_margin: tuple[float, str]
    Ms: tuple[float, str]
    Mt: tuple[float, str]


def worst_of(each: Mapping[str, Margins]) -> Worst:
    """The worst of each margin; of an unstable loop gain, phase and delay margin count as 1, 0 and 0.

    Parameters
    ----------
    each : mapping of str to Margins
        Margins by the name of the process, not empty.

    Returns
    -------
    Worst

    Examples
    --------
    >>> gains = {"weak": 0.5, "strong": 2.0}
    >>> table = {name: margins(Settings(0.5, 1.0), FOPDT(gain, 1.0, 1.0)) for name, gain in gains.items()}
    >>> worst = worst_of(table)
    >>> worst.Ms[1], round(worst.gain_margin[0], 3)
    ('strong', 1.571)
    """

    def least(name: str, lost: float) -> tuple[float, str]:
        return min((getattr(m, name) if m.stable else lost, key) for key, m in each.items())

    def most(name: str) -> tuple[float, str]:
        return max((getattr(m, name), key) for key, m in each.items())

    return Worst(all(m.stable for m in each.values()), least("gain_margin", 1.0), least("phase_margin", 0.0),
                 least("delay_margin", 0.0), most("Ms"), most("Mt"))  # fmt: skip
