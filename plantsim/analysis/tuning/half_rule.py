"""Half rule: the shortest model that tunes as well as the long chain of lags behind it.

Source: S. Skogestad, Simple analytic rules for model reduction and PID controller tuning,
J. Process Control 13 (2003) 291-309, sections 2 and 2.2 (rule texts from memory; the settings of its Table 4
are the check).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from plantsim.analysis.tuning.models import (
    FOPDT,
    SOPDT,
    DoubleIntegrating,
    Integrating,
    Process,
    PureDelay,
    TuningError,
)


@dataclass(frozen=True)
class Reduction:
    """A short model and how it came about.

    Parameters
    ----------
    model : Process
        FOPDT, SOPDT, Integrating, PureDelay or DoubleIntegrating.
    notes : tuple of str
        What was taken for what.
    """

    model: Process
    notes: tuple[str, ...] = field(default=())


def half_rule(process: Process, order: int = 1, scan: float = 0.0) -> Reduction:
    """First or second order model with dead time by the half rule of Skogestad (2003).

    First order: T1 = t1 + t2/2, L = delay + t2/2 + t3 + t4 + ... + inverse zeros + scan/2. Second order:
    T1 = t1, T2 = t2 + t3/2, L = delay + t3/2 + t4 + ... An integrator counts as the greatest lag of all.
    Leads (zeros on the left) are first taken together with a neighbouring lag, rules T1 to T3 of the paper.

    Parameters
    ----------
    process : Process
        The full model; second-order terms must not swing (damping at least 1).
    order : int
        1 for PI, 2 for PID [-]
    scan : float
        Time between two scans of the controller; half of it is dead time [s]

    Returns
    -------
    Reduction
        Short model and notes.

    References
    ----------
    S. Skogestad, J. Process Control 13 (2003) 291-309.

    Examples
    --------
    >>> from plantsim.analysis.tuning.models import Chain
    >>> half_rule(Chain(1.0, lags=(1.0, 0.2, 0.04, 0.008)), order=2).model
    SOPDT(K=1.0, T1=1.0, T2=0.22, L=0.028)
    """
    if order not in (1, 2):
        raise TuningError(f"The half rule gives a model of order 1 or 2, not {order}.")
    chain = process.chain()
    if chain.integrators > 1 and (chain.lags or chain.swings or chain.leads):
        raise TuningError("The half rule holds for one integrator at most.")
    lags = list(chain.lags)
    for T, zeta in chain.swings:
        if zeta < 1.0:
            raise TuningError(f"The half rule holds for lags only; this process swings (damping {zeta:g}).")
        slow = T * (zeta + math.sqrt(zeta * zeta - 1.0))
        lags += [slow, T * T / slow]
    lags.sort(reverse=True)
    extra = chain.delay - sum(z for z in chain.leads if z < 0.0) + 0.5 * scan
    leads = sorted((z for z in chain.leads if z > 0.0), reverse=True)
    if chain.integrators == 2:
        return Reduction(DoubleIntegrating(chain.gain, extra))
    notes: list[str] = []
    gain, left = chain.gain, lags
    if leads:
        gain, left, notes = _settle(chain.gain, lags, leads, extra, order, chain.integrators)
    first, second, rest = _split(left, order, chain.integrators)
    delay = extra + rest
    if scan > 0.0:
        notes.append(f"Half the scan time, {0.5 * scan:g} s, counts as dead time.")
    if chain.integrators:
        return Reduction(Integrating(gain, delay, second), tuple(notes))
    if first == 0.0:
        return Reduction(PureDelay(gain, delay), tuple(notes))
    if order == 1 or second == 0.0:
        return Reduction(FOPDT(gain, first, delay), tuple(notes))
    return Reduction(SOPDT(gain, max(first, second), min(first, second), delay), tuple(notes))


def _split(lags: list[float], order: int, integrators: int) -> tuple[float, float, float]:
    """First and second time constant (0: none) and what the rest adds to the dead time."""
    line = [math.inf] * integrators + sorted(lags, reverse=True)
    kept, rest = line[:order], line[order:]
    if rest and kept:
        kept[-1] += 0.5 * rest[0]
    first = kept[0] if kept else 0.0
    second = kept[1] if len(kept) > 1 else 0.0
    return first, second, sum(rest) - (0.5 * rest[0] if rest else 0.0)


def _settle(
    gain: float, lags: list[float], leads: list[float], extra: float, order: int, integrators: int
) -> tuple[float, list[float], list[str]]:
    """Gain and lags with all leads taken in, at a dead time that the rules for leads lead back to.

    The dead time looked for is itself in those rules, so it is iterated; more than one may be consistent. With
    dead time in the process the search starts from it, the fastest the loop can be. Without, it starts from the
    slow end: a fast answer would rest on the smallest lags alone, which nobody knows well.
    """
    slow = extra + _split(lags, order, integrators)[2]
    found: list[tuple[float, tuple[float, list[float], list[str]]]] = []
    for theta in (extra, slow) if extra > 0.0 else (slow, 0.0):
        for _ in range(50):
            taken = _take_leads(gain, lags, leads, theta, integrators)
            last, theta = theta, extra + _split(taken[1], order, integrators)[2]
            if math.isclose(last, theta, rel_tol=1e-12):
                found.append((theta, taken))
                break
    if not found:
        raise TuningError("The rules for leads settle on no dead time: fit a short model to the step response.")
    theta, (gain, left, notes) = found[0]
    for other, _ in found[1:]:
        if not math.isclose(other, theta, rel_tol=1e-9):
            notes.append(f"The rules for leads would also agree with a dead time of {other:g} s.")
    return gain, left, notes


def _take_leads(
    gain: float, lags: list[float], leads: list[float], theta: float, integrators: int
) -> tuple[float, list[float], list[str]]:
    """Each lead (T0 s + 1) taken with one lag (t0 s + 1), as rules T1, T1a, T1b, T2 and T3 say."""
    left, notes = list(lags), []
    for T0 in leads:
        larger = [lag for lag in left if lag >= T0]
        smaller = [lag for lag in left if lag < T0]
        if not larger and (integrators or not smaller):
            raise TuningError(f"No lag is left that the lead of {T0:g} s could be taken with.")
        if larger:
            t0 = min(larger)
            near = max(smaller, default=0.0)
            if near and T0 / near < t0 / T0 and T0 / near < 1.6 - 1e-9:
                t0 = near
        else:
            t0 = max(smaller)
        left.remove(t0)
        short = min(t0, 5.0 * theta)
        if t0 <= T0:  # rules T1, T1a, T1b
            factor = T0 / t0 if t0 >= theta else (T0 / theta if theta <= T0 else 1.0)
            gain *= factor
            notes.append(f"({T0:g} s + 1)/({t0:g} s + 1) was taken for {factor:g}.")
        elif 5.0 * theta <= T0:  # rule T2
            gain *= T0 / t0
            notes.append(f"({T0:g} s + 1)/({t0:g} s + 1) was taken for {T0 / t0:g}.")
        else:  # rule T3
            gain *= short / t0
            if short > T0:
                left.append(short - T0)
            notes.append(
                f"({T0:g} s + 1)/({t0:g} s + 1) was taken for {short / t0:g}/({short - T0:g} s + 1)."
            )
    return gain, left, notes
