"""Indices of loop health from the record of a loop alone: each with its source, its range, and when it is refused.

They look at rows at even times. What a record cannot carry is refused by `Refused`, in one sentence.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from plantsim.errors import PlantsimError

Reals = NDArray[np.float64]


class Refused(PlantsimError, ValueError):
    """Raised when a record cannot carry an index; says why."""


def integrals(error: Reals, interval: float) -> tuple[float, float]:
    """Integrals of the absolute and of the squared error, by rectangles: `IAE = h sum|e|`, `ISE = h sum e^2`.

    Parameters
    ----------
    error : array of float
        Set point less measurement, at even times [unit]
    interval : float
        Time between two rows [s]

    Returns
    -------
    (float, float)
        IAE [unit s] and ISE [unit^2 s]

    References
    ----------
    D. E. Seborg, T. F. Edgar, D. A. Mellichamp, Process Dynamics and Control, ch. 12: definitions.

    Examples
    --------
    >>> integrals(np.array([1.0, -2.0, 0.0]), 10.0)
    (30.0, 50.0)
    """
    return interval * float(np.abs(error).sum()), interval * float((error * error).sum())


def travel(output: Reals) -> tuple[float, int]:
    """Way an output has gone, and how often it turned round.

    Parameters
    ----------
    output : array of float
        Output [output-unit]

    Returns
    -------
    (float, int)
        Sum of all moves, up and down [output-unit], and number of reversals [-]

    Notes
    -----
    Common practice, no source. Moves within one row are not seen.

    Examples
    --------
    >>> travel(np.array([40.0, 42.0, 42.0, 41.0, 45.0]))
    (7.0, 2)
    """
    moves = np.diff(output)
    signs = np.sign(moves[moves != 0.0])
    return float(np.abs(moves).sum()), int((np.diff(signs) != 0.0).sum())


def autocorrelation(values: Reals, lags: int) -> Reals:
    """Autocorrelation at lags of 0 to `lags` rows: `r_k = sum x_t x_(t+k) / sum x_t^2`, mean taken off.

    Parameters
    ----------
    values : array of float
        Rows at even times.
    lags : int
        Greatest lag, in rows [-]

    Returns
    -------
    array of float
        `lags` + 1 values, the first 1 [-]

    References
    ----------
    Box, Jenkins, Time Series Analysis, 1976, ch. 2: the biased estimate.
    """
    x = values - values.mean()
    size = 1 << (2 * len(x) - 1).bit_length()
    spectrum = np.fft.rfft(x, size)
    whole = np.fft.irfft(spectrum * spectrum.conj(), size)[: lags + 1]
    if not whole[0] > 0.0:
        raise Refused("the error does not change at all")
    return np.asarray(whole / whole[0])


@dataclass(frozen=True)
class Oscillation:
    """Whether a loop swings.

    Parameters
    ----------
    regularity : float
        Mean period by three times its scatter; above 1 the loop swings [-]
    period : float
        Mean period [s]
    swings : float
        Height of the autocorrelation one period on: 1 for a swing and nothing else [-]
    """

    regularity: float
    period: float
    swings: float

    @property
    def swinging(self) -> bool:
        """Whether it swings: periods are regular, and one period on the error is like itself."""
        return self.regularity > 1.0 and self.swings > LIKE_ITSELF


LIKE_ITSELF = 0.2
"""Least autocorrelation one period on of a loop that swings: below it the swing is lost in the rest."""
CROSSINGS = 11
RESOLUTION = 8
"""Rows a period must have."""


def oscillation(error: Reals, interval: float) -> Oscillation:
    """Regularity of the zero crossings of the autocorrelation of the error.

    `r = T / (3 s)` with mean `T` and standard deviation `s` of twice the time between crossings of zero of the
    autocorrelation, up to ten of them; `r > 1` is a swing. Noise is left behind at lag 0, which is why the
    autocorrelation is looked at and not the error.

    Parameters
    ----------
    error : array of float
        Error at even times [unit]
    interval : float
        Time between two rows [s]

    Returns
    -------
    Oscillation
        Regularity, period and height.

    Raises
    ------
    Refused
        Where the record holds fewer than four crossings in half its length, or a period less than eight rows.

    References
    ----------
    N. F. Thornhill, B. Huang, H. Zhang, J. Process Control 13 (2003) 91-100: regularity of crossings of the
    autocorrelation; T. Hagglund, Control Engineering Practice 3 (1995) 1543-1551: crossings as the mark of a swing.
    """
    r = autocorrelation(error, len(error) // 2)
    signs = np.where(r >= 0.0, 1, -1)
    at = np.flatnonzero(np.diff(signs))[:CROSSINGS]
    if len(at) < 4:
        raise Refused(f"only {len(at)} crossings of zero in the autocorrelation, and 4 are needed: a longer record "
                      "would do")  # fmt: skip
    where = at + r[at] / (r[at] - r[at + 1])
    periods = 2.0 * np.diff(where) * interval
    period, spread = float(periods.mean()), float(periods.std(ddof=1))
    if period < RESOLUTION * interval:
        # without structure the autocorrelation crosses at nearly every row: that is noise, and no swing
        return Oscillation(0.0, period, 0.0)
    floor = 0.05 * interval  # what interpolation between rows leaves
    rows = period / interval
    first, last = round(0.75 * rows), min(round(1.25 * rows), len(r) - 1)
    return Oscillation(period / (3.0 * max(spread, floor)), period, float(r[first : last + 1].max()))


@dataclass(frozen=True)
class Harris:
    """How near a loop is to the best any controller could do against what disturbs it.

    Parameters
    ----------
    index : float
        Least variance by the variance found: 1 is the best there can be [-]
    least, found : float
        Standard deviation under minimum variance control, and root mean square of the error [unit]
    delay : int
        Dead time in rows, the one of sample and hold included [-]
    interval : float
        Time between the rows looked at [s]
    """

    index: float
    least: float
    found: float
    delay: int
    interval: float


ORDER = 15
"""Terms of the regression."""
ROWS_FOR_DELAY = 8
"""Rows a dead time is looked at in, where there are as many."""
ROWS_EACH = 5
"""Rows needed for each number estimated."""


def harris(error: Reals, interval: float, dead_time: float, order: int = ORDER) -> Harris:
    """Harris index from routine data: least variance by the one found, for a stated dead time.

    What happens within the dead time no controller can help. The error is regressed on itself `b` and more rows
    before, `e_k = sum a_i e_(k-b-i+1)`; the variance left is the least there can be:
    `index = s_mv^2 / (s_e^2 + mean(e)^2)`, so an offset counts against the loop.

    Parameters
    ----------
    error : array of float
        Error at even times [unit]
    interval : float
        Time between two rows [s]
    dead_time : float
        Dead time of the process [s]
    order : int
        Terms of the regression [-]

    Returns
    -------
    Harris
        Index and what it is made of.

    Raises
    ------
    Refused
        Where there are fewer than five rows for each number estimated, or the error stands still.

    Notes
    -----
    Rows much closer than the dead time are averaged to an eighth of it first. 1 means minimum variance, which a
    robust loop neither reaches nor should: 0.3 to 0.7 is usual (common practice, no source).

    References
    ----------
    T. J. Harris, Can. J. Chem. Eng. 67 (1989) 856-861; L. Desborough, T. Harris, ibid. 70 (1992) 1186-1197 (their
    index is 1 less this one).
    """
    if not dead_time >= 0.0:
        raise Refused("no dead time is stated")
    together = max(1, math.floor(dead_time / ROWS_FOR_DELAY / interval))
    count = len(error) // together
    y = error[len(error) - count * together :].reshape(count, together).mean(axis=1)
    step = interval * together
    delay = math.floor(dead_time / step + 1e-9) + 1
    rows = count - delay - order + 1
    fewest = ROWS_EACH * (order + delay)
    if rows < fewest:
        need = ((ROWS_EACH + 1) * (order + delay) - 1) * step / 3600.0
        raise Refused(f"{max(rows, 0)} rows are left at a dead time of {dead_time / 60.0:.3g} min, and {fewest} are "
                      f"needed: a record of {need:.2g} h in service would do")  # fmt: skip
    centred = y - y.mean()
    total = float((y * y).mean())
    if not float((centred * centred).sum()) > 0.0:
        raise Refused("the error does not change at all")
    first = delay + order - 1
    past = np.column_stack([centred[first - delay - i : count - delay - i] for i in range(order)])
    target = centred[first:]
    found = np.linalg.lstsq(past, target, rcond=1e-12)[0]
    rest = target - past @ found
    least = float(rest @ rest) / (rows - order)
    return Harris(min(least / total, 1.0), math.sqrt(least), math.sqrt(total), delay, step)


@dataclass(frozen=True)
class Sticking:
    """What the cross-correlation of output and measurement says of a loop that swings.

    Parameters
    ----------
    verdict : str
        'sticking', 'not sticking' or 'undecided'.
    shift, height : float
        How odd the cross-correlation is, by the places of its crossings of zero and by its heights: 0 for an even
        one, 1 for an odd one [-]
    """

    verdict: str
    shift: float
    height: float


def sticking(output: Reals, measured: Reals, period: float) -> Sticking:
    """Signature of a sticking valve: output and measurement of a swinging loop shifted by a quarter of a period.

    A loop with integral action that swings because its valve sticks moves its output in a saw-tooth and its
    measurement in a rectangle or triangle, a quarter of a period apart: their cross-correlation is odd. A swing from
    outside, or from too high a gain, leaves them half a period apart: it is even. With the crossings of zero nearest
    to lag 0 at `-l` and `+r`, the correlation `c0` at lag 0 and `c1` the largest between them,
    `shift = |l - r|/(l + r)` and `height = ||c0| - |c1||/(|c0| + |c1|)`. Not sticking: at most 1/3 and 0.072; sticking:
    at least 2/3 and 1/3; else undecided. For two sines these are 30 and 60 degrees off half a period.

    Parameters
    ----------
    output, measured : array of float
        Output of the controller and measurement, at even times.
    period : float
        Period of the swing, in rows [-]

    Returns
    -------
    Sticking
        Verdict and both measures.

    Notes
    -----
    For self-regulating processes under PI control that swing, and outputs off their limits only: an integrating
    process shifts by a quarter of a period by itself.

    References
    ----------
    A. Horch, Control Engineering Practice 7 (1999) 1221-1231 (limits from memory; the angles follow from them).
    """
    u, y = output - output.mean(), measured - measured.mean()
    if not (u.std() > 0.0 and y.std() > 0.0):
        raise Refused("output or measurement stand still")
    reach = round(period)
    if len(u) < 3 * reach:
        raise Refused("fewer than three periods of the swing are recorded")
    size = 1 << (2 * len(u) - 1).bit_length()
    whole = np.fft.irfft(np.fft.rfft(u, size).conj() * np.fft.rfft(y, size), size) / (len(u) * u.std() * y.std())
    after, before = whole[: reach + 1], np.concatenate([whole[:1], whole[: -reach - 1 : -1]])
    right, left = _first_crossing(after), _first_crossing(before)
    if math.isnan(right) or math.isnan(left):
        raise Refused("the cross-correlation of output and measurement does not cross zero within a period")
    inside = np.concatenate([before[: math.floor(left) + 1], after[: math.floor(right) + 1]])
    c0, c1 = abs(float(whole[0])), float(np.abs(inside).max())
    shift = abs(left - right) / (left + right)
    height = abs(c0 - c1) / (c0 + c1)
    if shift <= 1.0 / 3.0 and height <= 0.072:
        verdict = "not sticking"
    elif shift >= 2.0 / 3.0 and height >= 1.0 / 3.0:
        verdict = "sticking"
    else:
        verdict = "undecided"
    return Sticking(verdict, shift, height)


def _first_crossing(side: Reals) -> float:
    """Lag, in rows, at which a correlation first has another sign than at lag 0."""
    other = np.flatnonzero(np.signbit(side) != np.signbit(side[0]))
    if not len(other):
        return math.nan
    k = int(other[0])
    return k - 1 + float(side[k - 1] / (side[k - 1] - side[k]))


def at_limits(output: Reals, low: float, high: float) -> float:
    """Share of the rows in which an output stands at one of its limits.

    Parameters
    ----------
    output : array of float
        Output [output-unit]
    low, high : float
        Limits; infinite where there is none [output-unit]

    Returns
    -------
    float
        Share [-]

    Notes
    -----
    Common practice, no source: within 0.1 % of the span, or of the value of the limit.

    Examples
    --------
    >>> at_limits(np.array([0.0, 50.0, 100.0, 99.95]), 0.0, 100.0)
    0.75
    """
    span = high - low if math.isfinite(high - low) else 0.0
    near = [
        np.abs(output - limit) <= 1e-3 * (span or abs(limit) or 1.0) for limit in (low, high) if math.isfinite(limit)
    ]  # fmt: skip
    return float(np.mean(np.logical_or.reduce(near))) if near else 0.0


def standing(output: Reals, free: NDArray[np.bool_], least: int) -> float:
    """Share of the rows in which an output that is free to move stands exactly still for long: by hand, or frozen.

    Parameters
    ----------
    output : array of float
        Output [output-unit]
    free : array of bool
        Rows in which it is not at a limit.
    least : int
        Fewest rows of the same value in a row that count [-]

    Returns
    -------
    float
        Share [-]

    Notes
    -----
    Common practice, no source. A controller with integral action moves at every row while there is an error.
    """
    edges = np.flatnonzero(np.diff(output) != 0.0) + 1
    starts = np.concatenate([[0], edges])
    lengths = np.diff(np.append(starts, len(output)))
    still = np.repeat(lengths >= least, lengths)
    return float(np.mean(still & free))
