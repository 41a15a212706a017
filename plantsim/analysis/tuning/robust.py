"""PI settings with the greatest integral gain for a given robustness, over all processes a loop has to live with."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

import numpy as np

from plantsim.analysis.tuning.margins import loop, margins
from plantsim.analysis.tuning.models import Process, TuningError
from plantsim.analysis.tuning.settings import Settings

SOURCE = ("K. J. Astrom, H. Panagopoulos and T. Hagglund, Automatica 34 (1998) 585-601, the limit here held over "
          "all processes")  # fmt: skip
RULE = "greatest integral gain PI"
_TIMES = 15
_ROUNDS = 40
_POINTS = 400


def greatest_integral_gain(
    processes: Mapping[str, Process], most_ms: float, scan: float = 0.0,
    in_force: Callable[[str, Settings], Settings] | None = None,
) -> Settings:  # fmt: skip
    """PI settings with the greatest Kc/Ti whose sensitivity peak stays within a limit on every process.

    The integral of the error after a step of load is Ti/Kc, so the greatest integral gain works a load off best; the
    limit on Ms keeps it from swinging.

    Parameters
    ----------
    processes : mapping of str to Process
        All processes, by name; all with gains of one sign.
    most_ms : float
        Most Ms allowed [-]
    scan : float
        Time between scans; half of it counts as dead time [s]
    in_force : callable, optional
        Gives the settings in force on the process of a name, for settings at the reference point (gains by flow);
        by default the same everywhere.

    Returns
    -------
    Settings
        PI settings of the ISA standard form.

    Raises
    ------
    TuningError
        If no PI settings keep the limit.

    References
    ----------
    K. J. Astrom, H. Panagopoulos and T. Hagglund, Automatica 34 (1998) 585-601 (from memory): one process there.

    Examples
    --------
    >>> from plantsim.analysis.tuning.models import FOPDT
    >>> found = greatest_integral_gain({"plant": FOPDT(1.0, 1.0, 1.0)}, 1.6)
    >>> round(margins(found, FOPDT(1.0, 1.0, 1.0)).Ms, 2)
    1.6
    """
    if not processes:
        raise TuningError("The greatest integral gain of no process at all was asked for.")
    if not most_ms > 1.0:
        raise TuningError(f"The limit on Ms must be above 1, not {most_ms:g}.")
    signs = {math.copysign(1.0, p.factors().gain) for p in processes.values()}
    if len(signs) > 1:
        raise TuningError("The process gain changes its sign over the range: no linear controller holds it.")
    given = in_force or (lambda _, settings: settings)
    sign = signs.pop()
    times = [_time(p, scan) for p in processes.values()]
    best: Settings | None = None
    for Ti in np.geomspace(0.2 * min(times), 6.0 * max(times), _TIMES):
        found = _largest(processes, most_ms, scan, given, sign, float(Ti))
        if found is not None and (best is None or abs(found.Ki) > abs(best.Ki)):
            best = found
    if best is None:
        raise TuningError(f"No PI settings keep Ms within {most_ms:g} on all processes.")
    for factor in (0.84, 0.92, 1.09, 1.19):  # once more about the best
        found = _largest(processes, most_ms, scan, given, sign, factor * best.Ti)
        if found is not None and abs(found.Ki) > abs(best.Ki):
            best = found
    notes = (f"Ms {most_ms:g} at most on {len(processes)} processes",)
    return Settings(best.Kc, best.Ti, rule=RULE, source=SOURCE, notes=notes)


def _time(process: Process, scan: float) -> float:
    """Dead time and lags together: the time in which a process answers [s]."""
    f = process.factors()
    lags = sum(abs(t) for t in (*f.lags, *f.leads)) + sum(b for _, b in (*f.over, *f.under))
    return f.delay + 0.5 * scan + lags or 1.0


def _largest(
    processes: Mapping[str, Process], most_ms: float, scan: float, given: Callable[[str, Settings], Settings],
    sign: float, Ti: float,
) -> Settings | None:  # fmt: skip
    """PI settings of this integral time with the largest gain that keeps the limit; None when none does."""
    gain = math.inf
    for name, process in processes.items():
        at_one = given(name, Settings(sign, Ti))
        small = Settings(math.copysign(1e-6 * abs(at_one.Kc) / abs(process.factors().gain), at_one.Kc), at_one.Ti)
        edge = margins(small, process, scan)
        if not edge.stable:
            return None
        limit = 1e-6 / abs(process.factors().gain) * edge.gain_margin  # of the gain at the reference point
        gain = min(gain, _within(at_one, process, scan, most_ms, min(limit, gain)))
    return Settings(sign * gain, Ti) if gain > 0.0 and math.isfinite(gain) else None


def _within(at_one: Settings, process: Process, scan: float, most_ms: float, limit: float) -> float:
    """Largest factor on settings, below the limit of stability, that keeps Ms on a grid of frequencies."""
    f = loop(at_one, process, scan)
    about = 1.0 / _time(process, scan)
    w = np.geomspace(1e-3 * about, 1e2 * about, _POINTS)
    response = f.response(w)

    def ms(factor: float) -> float:
        return float(1.0 / np.abs(1.0 + factor * response).min())

    high = limit if math.isfinite(limit) else 1e6
    if ms(0.999 * high) <= most_ms:
        return 0.999 * high
    low = 0.0
    for _ in range(_ROUNDS):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if ms(middle) <= most_ms else (low, middle)
    return low
