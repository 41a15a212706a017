"""Margins of a loop from its exact frequency response: gain, phase and delay margin, Ms, Mt, stability.

The dead time is exact at every frequency; there is no Pade approximation. A scanned controller with sample and
hold is taken into account as half the scan time of extra dead time, the usual first-order picture (K. J. Astrom
and B. Wittenmark, Computer-Controlled Systems, ch. 8, from memory); it holds while the gain crossover lies well
below the Nyquist frequency, and a note says where it does not.

Definitions: K. J. Astrom and R. M. Murray, Feedback Systems, ch. 10 and 13; S. Skogestad, J. Process Control 13
(2003) 291-309, table 1.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from plantsim.analysis.tuning.factors import Factors, peak, roots
from plantsim.analysis.tuning.models import Process, TuningError
from plantsim.analysis.tuning.rules_classic import Ultimate
from plantsim.analysis.tuning.settings import Settings

Reals = NDArray[np.float64]
_MOST_POINTS = 400_000
_MOST_CELLS = 500


@dataclass(frozen=True)
class Margins:
    """How far a loop is from swinging.

    Parameters
    ----------
    stable : bool
        Whether the closed loop is stable (Nyquist count).
    unstable_poles : float
        Closed-loop poles in the right half-plane; infinite for a loop that no dead time may meet [-]
    gain_margin : float
        Factor of gain that brings the loop to the limit of stability; infinite where none does. Of an unstable
        loop the factor, below 1, that would make it stable, if lowering the gain can [-]
    gain_reduction : float
        Factor below 1 at which a conditionally stable loop is lost; 0 where there is none [-]
    phase_margin : float
        Least distance of phase to -180 deg where the loop gain is 1; infinite where it never is [deg]
    delay_margin : float
        Extra dead time that brings the loop to the limit; 0 if it is unstable [s]
    Ms, Mt : float
        Greatest value of the sensitivity and the complementary sensitivity; infinite if unstable [-]
    Ms_frequency, Mt_frequency : float
        Where they are: 0 or infinite for a limit [rad/s]
    gain_crossover, phase_crossover, delay_crossover : float
        Frequencies that govern phase, gain and delay margin; nan where there is none [rad/s]
    gain_crossovers, phase_crossovers : tuple of float
        All frequencies of loop gain 1; those of phase -180 deg that had to be looked at [rad/s]
    extra_delay : float
        Dead time taken in for the scan: half its length [s]
    notes : tuple of str
        Remarks.
    """

    stable: bool
    unstable_poles: float
    gain_margin: float
    gain_reduction: float
    phase_margin: float
    delay_margin: float
    Ms: float
    Mt: float
    Ms_frequency: float
    Mt_frequency: float
    gain_crossover: float
    phase_crossover: float
    delay_crossover: float
    gain_crossovers: tuple[float, ...]
    phase_crossovers: tuple[float, ...]
    extra_delay: float
    notes: tuple[str, ...] = ()


def loop(settings: Settings, process: Process, scan: float = 0.0) -> Factors:
    """Open loop of controller, process and half a scan of dead time.

    Parameters
    ----------
    settings : Settings
        Controller.
    process : Process
        Process.
    scan : float
        Time between scans; 0: continuous [s]

    Returns
    -------
    Factors
        The loop; its response is that of error to measurement [-]
    """
    if scan < 0.0:
        raise TuningError(f"The scan time must not be below 0, not {scan:g} s.")
    return settings.factors().times(process.factors()).times(Factors(1.0, delay=0.5 * scan))


def _phase_levels(cells: NDArray[np.int64], floor: NDArray[np.int64]) -> tuple[NDArray[np.int64], Reals, Reals]:
    """Cell, phase and direction of every crossing of -pi - 2 pi k in the given cells of the grid."""
    moves = floor[cells + 1] - floor[cells]
    counts = np.abs(moves)
    cell = np.repeat(cells, counts)
    within = np.arange(cell.size) - np.repeat(np.cumsum(counts) - counts, counts)
    down = np.repeat(moves < 0, counts)
    level = np.where(down, floor[cell] - within, floor[cell] + 1 + within)
    return cell, level * 2.0 * math.pi - math.pi, np.where(down, -1.0, 1.0)


def _phase_crossings(f: Factors, w: Reals, gain: Reals, phase: Reals) -> tuple[Reals, Reals, Reals]:
    """Frequency, ln|L| and direction of the crossings of -180 deg that matter, limits at 0 and infinity included.

    All with |L| above 1 are found, and of the others those that can be the one with the greatest |L|: in a cell of
    the grid |L| lies between its end values, so a cell below the best so far need not be looked into.
    """
    floor = np.floor((phase + math.pi) / (2.0 * math.pi)).astype(np.int64)
    cells = np.nonzero(np.diff(floor))[0]
    top = np.maximum(gain[cells], gain[cells + 1])
    x = np.log(w)

    def solve(chosen: NDArray[np.int64]) -> tuple[Reals, Reals, Reals]:
        cell, level, way = _phase_levels(chosen, floor)
        if not cell.size:
            return np.empty(0), np.empty(0), np.empty(0)
        found = np.exp(roots(lambda v: f.phase(np.exp(v)) - level, x[cell], x[cell + 1]))
        return found, f.log_gain(found), way

    above, below = cells[top >= 0.0], cells[top < 0.0]
    parts = [solve(above)]
    if below.size:
        first = below[[int(np.argmax(np.minimum(gain[below], gain[below + 1])))]]
        parts.append(solve(first))
        height = np.maximum(gain[below], gain[below + 1])
        more = below[(height > np.max(parts[1][1])) & (below != first[0])]
        parts.append(solve(more[np.argsort(-np.maximum(gain[more], gain[more + 1]))][:_MOST_CELLS]))
    at, at_gain, way = (np.concatenate(column) for column in zip(*parts, strict=True))
    limits = []
    order, beta = f.roll_off()
    if order == 0:
        end = phase[-1] / math.pi
        if f.delay > 0.0 or (abs(end - round(end)) < 0.1 and round(end) % 2 == 1):
            limits.append((math.inf, math.log(beta)))
    if f.integrators == 0 and f.gain < 0.0:
        limits.append((0.0, math.log(-f.gain)))
    ways = np.append(way, np.zeros(len(limits)))
    for where, value in limits:
        at, at_gain = np.append(at, where), np.append(at_gain, value)
    return at, at_gain, ways


def _gain_crossings(f: Factors, w: Reals, gain: Reals) -> Reals:
    above = gain >= 0.0
    cells = np.nonzero(above[1:] != above[:-1])[0]
    if not cells.size:
        return np.empty(0)
    x = np.log(w)
    return np.exp(roots(lambda v: f.log_gain(np.exp(v)), x[cells], x[cells + 1]))


def _unstable_poles(f: Factors, w: Reals, gains: Reals, ways: Reals) -> float:
    """Closed-loop poles in the right half-plane of a loop without unstable parts (Nyquist count).

    The curve 1 + L turns by pi n/2 - pi Z from w = 0+ to infinity (n integrators, Z poles). Its turning is its
    argument at the end (0), less that at the start, less 2 pi for each passage of L over the axis left of -1 from
    below (phase falling).
    """
    order, beta = f.roll_off()
    if order == 0 and beta >= 1.0 and f.delay > 0.0:
        return math.inf
    passages = float(np.sum(ways[gains > 0.0]))
    start = float(np.angle(1.0 + f.response(w[:1])[0]))
    if order == 0 and f.delay == 0.0:
        last = complex(f.response(w[-1:])[0])
        if last.real <= -1.0:
            return math.inf
    return float(round((0.5 * math.pi * f.integrators + start) / math.pi - 2.0 * passages))


def _dense(w: Reals, phase: Reals, tail: Reals, floor: float) -> Reals:
    """Grid no coarser than 0.1 rad of phase, up to where the loop gain stays below `floor` for good."""
    stop = int(np.searchsorted(-tail, -math.log(floor))) + 1 if floor > 0.0 else w.size
    stop = min(max(stop, 2), w.size)
    x, turn = np.log(w[:stop]), np.abs(np.diff(phase[:stop]))
    counts = np.maximum(np.ceil(turn / 0.1), 1.0)
    if counts.sum() > _MOST_POINTS:
        counts = np.maximum(np.floor(counts * (_MOST_POINTS / counts.sum())), 1.0)
    whole = counts.astype(np.int64)
    cell = np.repeat(np.arange(stop - 1), whole)
    part = (np.arange(cell.size) - np.repeat(np.cumsum(whole) - whole, whole)) / counts[cell]
    return np.append(x[cell] + part * (x[cell + 1] - x[cell]), x[-1])


def _greatest(curve, x: Reals) -> tuple[float, float]:  # type: ignore[no-untyped-def]
    """Greatest value of a curve and its position: every promising local peak of the grid is refined."""
    y = curve(x)
    inner = np.nonzero((y[1:-1] >= y[:-2]) & (y[1:-1] >= y[2:]))[0] + 1
    inner = inner[np.argsort(-y[inner])][:64]
    at = np.array([x[int(np.argmax(y))]])
    if inner.size:
        at = np.append(at, peak(curve, x[inner - 1], x[inner + 1]))
    values = curve(at)
    best = int(np.argmax(values))
    return float(values[best]), float(at[best])


def _peaks(f: Factors, w: Reals, gain: Reals, phase: Reals) -> tuple[float, float, float, float]:
    """Ms, its frequency, Mt, its frequency, limits at 0 and infinity included."""

    def sensitivity(v: Reals) -> Reals:
        return 1.0 / np.abs(1.0 + f.response(np.exp(v)))

    def complementary(v: Reals) -> Reals:
        response = f.response(np.exp(v))
        return np.abs(response / (1.0 + response))

    tail = np.maximum.accumulate(gain[::-1])[::-1]
    order, beta = f.roll_off()
    x = np.log(w)
    # |S| <= 1/(1 - |L|) and |T| <= |L|/(1 - |L|): beyond a loop gain that keeps both below the peaks already
    # seen nothing greater can come
    seen_s = float(np.max(sensitivity(x)))
    seen_t = float(np.max(complementary(x)))
    floor = min(1.0 - 1.0 / seen_s if seen_s > 1.0 else 0.0, seen_t / (1.0 + seen_t))
    dense = _dense(w, phase, tail, floor)
    Ms, at_s = _greatest(sensitivity, dense)
    Mt, at_t = _greatest(complementary, dense)
    low_s, low_t = 0.0, 1.0
    if f.integrators == 0:
        low_s = 1.0 / abs(1.0 + f.gain)
        low_t = abs(f.gain) * low_s
    found_s = [(Ms, math.exp(at_s)), (low_s, 0.0), (1.0, math.inf)]
    found_t = [(Mt, math.exp(at_t)), (low_t, 0.0)]
    if order == 0:
        toward = -1.0 if f.delay > 0.0 else math.copysign(1.0, float(f.response(w[-1:])[0].real))
        found_s.append((1.0 / abs(1.0 + toward * beta), math.inf))
        found_t.append((beta / abs(1.0 + toward * beta), math.inf))
    # a limit is given only where it is more than what rounding makes of the grid
    (Ms, at_s), (Mt, at_t) = (max(found, key=lambda pair: pair[0] * (1.0 + 1e-12 * (pair[1] == 0.0)))
                              for found in (found_s, found_t))  # fmt: skip
    return Ms, at_s, Mt, at_t


def margins(settings: Settings, process: Process, scan: float = 0.0) -> Margins:
    """Exact margins of a P, PI, PD, PID or pure integral loop on a process with dead time.

    Crossovers come from bracketed roots on a fine logarithmic grid to which every extremum of gain and phase is
    added, so that both are monotone between two points; frequencies are good to 1e-9, margins too.

    Parameters
    ----------
    settings : Settings
        Controller (ISA standard form with derivative filter N).
    process : Process
        Process.
    scan : float
        Time between scans of the controller; half of it counts as dead time. 0: continuous [s]

    Returns
    -------
    Margins
        Margins, crossovers and stability.

    Notes
    -----
    Of several crossovers the worst governs. Of an unstable loop Ms and Mt are infinite and the delay margin is 0.
    Always GM >= Ms/(Ms - 1) and PM >= 2 asin(1/(2 Ms)).

    References
    ----------
    K. J. Astrom and R. M. Murray, Feedback Systems, ch. 10; S. Skogestad, J. Process Control 13 (2003), table 1.

    Examples
    --------
    >>> from plantsim.analysis.tuning.models import FOPDT
    >>> found = margins(Settings(0.5, 1.0), FOPDT(1.0, 1.0, 1.0))
    >>> round(found.gain_margin, 9), round(found.delay_margin, 9), round(found.Ms, 4)
    (3.141592654, 2.141592654, 1.5905)
    """
    f = loop(settings, process, scan)
    if f.gain == 0.0:
        raise TuningError("A controller with no gain at all has no loop to speak of.")
    if f.roll_off()[0] < 0:
        raise TuningError(
            "The loop gain grows without limit at high frequency: derivative action without filter on a process "
            "without lag. Set the filter N."
        )
    w = f.grid()
    gain, phase = f.log_gain(w), f.phase(w)
    at, at_gain, ways = _phase_crossings(f, w, gain, phase)
    poles = _unstable_poles(f, w, at_gain, ways)
    stable = poles == 0
    crossings = _gain_crossings(f, w, gain)
    return _report(
        f, stable, poles, at, at_gain, crossings, scan, _peaks(f, w, gain, phase) if stable else None
    )


def _report(
    f: Factors, stable: bool, poles: float, at: Reals, at_gain: Reals, crossings: Reals, scan: float,
    peaks: tuple[float, float, float, float] | None,
) -> Margins:  # fmt: skip
    gain_margin, reduction, phase_crossover = math.inf, 0.0, math.nan
    chosen = at_gain <= 0.0 if stable else np.ones(at.size, dtype=bool)
    if chosen.any():
        worst = int(np.argmax(np.where(chosen, at_gain, -math.inf)))
        gain_margin, phase_crossover = math.exp(-at_gain[worst]), float(at[worst])
    if stable and (at_gain > 0.0).any():
        reduction = math.exp(-float(np.min(at_gain[at_gain > 0.0])))
    phase_margin, delay_margin, gain_crossover, delay_crossover = math.inf, math.inf, math.nan, math.nan
    if crossings.size:
        lag = np.mod(f.phase(crossings) + math.pi, 2.0 * math.pi)  # further lag to -180 deg
        near = np.where(lag > math.pi, lag - 2.0 * math.pi, lag)
        if stable:
            near = np.abs(near)
        worst = int(np.argmin(near if not stable else np.abs(near)))
        phase_margin, gain_crossover = math.degrees(float(near[worst])), float(crossings[worst])
        worst = int(np.argmin(lag / crossings))
        delay_margin, delay_crossover = float(lag[worst] / crossings[worst]), float(crossings[worst])
    order, beta = f.roll_off()
    if not stable or (order == 0 and beta >= 1.0):
        delay_margin, delay_crossover = 0.0, (math.inf if stable else math.nan)
    notes: list[str] = []
    if scan > 0.0 and crossings.size and crossings[-1] * scan > 0.5:
        notes.append(
            "The scan is long against the crossover: half a scan of dead time is only a rough picture of it."
        )
    if not stable:
        notes.append("The loop is unstable; its margins say only how far it is from the limit.")
    Ms, at_s, Mt, at_t = peaks if peaks is not None else (math.inf, math.nan, math.inf, math.nan)
    return Margins(
        stable, poles, gain_margin, reduction, phase_margin, delay_margin, Ms, Mt, at_s, at_t, gain_crossover,
        phase_crossover, delay_crossover, tuple(float(v) for v in crossings),
        tuple(sorted(float(v) for v in at)), 0.5 * scan, tuple(notes),
    )  # fmt: skip


def ultimate(process: Process, scan: float = 0.0) -> Ultimate:
    """Ultimate gain and period of a process under proportional control, exact.

    Parameters
    ----------
    process : Process
        Process with at most one integrator.
    scan : float
        Time between scans; half of it counts as dead time [s]

    Returns
    -------
    Ultimate
        Ku with the sign of the process gain, and Pu.

    Notes
    -----
    Refused where proportional control never swings (one or two lags without dead time) or is never stable.

    References
    ----------
    J. G. Ziegler and N. B. Nichols, Trans. ASME 64 (1942) 759-768.

    Examples
    --------
    >>> from plantsim.analysis.tuning.models import Chain
    >>> found = ultimate(Chain(1.0, lags=(1.0, 1.0, 1.0)))
    >>> round(found.Ku, 9), round(found.Pu, 9)
    (8.0, 3.627598728)
    """
    f = process.factors()
    if f.integrators > 1:
        raise TuningError("A process of two integrators is never stable under proportional control alone.")
    f = Factors(abs(f.gain), f.integrators, f.delay + 0.5 * scan, f.lags, f.leads, f.over, f.under)
    w = f.grid()
    at, at_gain, _ = _phase_crossings(f, w, f.log_gain(w), f.phase(w))
    if not at.size:
        raise TuningError("Proportional control of this process never swings: it has no ultimate gain.")
    worst = int(np.argmax(at_gain))
    if not math.isfinite(at[worst]):
        raise TuningError("The phase reaches -180 deg only in the limit: the process has no ultimate period.")
    return Ultimate(
        math.copysign(math.exp(-at_gain[worst]), process.factors().gain), 2.0 * math.pi / float(at[worst])
    )


@dataclass(frozen=True)
class WorstCase:
    """Margins over a set of processes, and which process governs each.

    Parameters
    ----------
    each : dict of str to Margins
        Margins by the name of the process.
    governs : dict of str to str
        Name of the governing process by figure: gain_margin, phase_margin, delay_margin, Ms, Mt.
    unstable : tuple of str
        Processes on which the loop is unstable.
    """

    each: dict[str, Margins]
    governs: dict[str, str]
    unstable: tuple[str, ...]

    @property
    def stable(self) -> bool:
        """Whether the loop is stable on every process."""
        return not self.unstable

    def worst(self, figure: str) -> float:
        """Worst value of a figure.

        Parameters
        ----------
        figure : str
            A key of `governs`.

        Returns
        -------
        float
            Least margin or greatest peak [as the figure]
        """
        return float(getattr(self.each[self.governs[figure]], figure))


def worst_case(
    settings: Settings, processes: Mapping[str, Process] | Sequence[Process], scan: float = 0.0
) -> WorstCase:
    """Margins of one controller over all processes it has to live with.

    Parameters
    ----------
    settings : Settings
        Controller.
    processes : mapping of str to Process, or sequence of Process
        Processes by name (flow, temperature, clay); a sequence is numbered from 0.
    scan : float
        Time between scans of the controller [s]

    Returns
    -------
    WorstCase
        Margins of each and the governing process of each figure. An unstable process governs all figures.
    """
    named = (
        dict(processes) if isinstance(processes, Mapping) else {str(i): p for i, p in enumerate(processes)}
    )
    if not named:
        raise TuningError("The worst of no process at all was asked for.")
    each = {name: margins(settings, process, scan) for name, process in named.items()}
    governs = {}
    for figure in ("gain_margin", "phase_margin", "delay_margin", "Ms", "Mt"):
        sign = 1.0 if figure.startswith("M") else -1.0
        marks = {name: (not found.stable, sign * getattr(found, figure)) for name, found in each.items()}
        governs[figure] = max(marks, key=marks.__getitem__)
    return WorstCase(each, governs, tuple(name for name, found in each.items() if not found.stable))
