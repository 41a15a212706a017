"""First-order models read off a step answer: two points, two other points, areas, and slopes.

They serve as starts of the least squares and as checks of it: they need a single step from rest to rest, and noise
or drift goes straight into them, which is why they are not the answer.
"""

from __future__ import annotations

import math

import numpy as np

from plantsim.analysis.identify.record import Move, Record

SMITH = (1.0 - math.exp(-1.0 / 3.0), 1.0 - math.exp(-1.0))
"""Fractions of the two-point method, 28.3 % and 63.2 %, unrounded: exact for first order + dead time."""


def crossing(time: np.ndarray, share: np.ndarray, level: float) -> float:
    """Time at which a noisy rise passes a level: midway between its first time above and its last below.

    Parameters
    ----------
    time : ndarray
        Times [s].
    share : ndarray
        Answer as a share of its final value.
    level : float
        Share asked for.

    Returns
    -------
    float
        Time [s]; not a number when the level is not passed.
    """
    above = share >= level
    if above.all() or not above.any() or above[0]:
        return math.nan
    first = int(np.argmax(above))
    below_last = len(above) - 1 - int(np.argmax(~above[::-1]))
    if below_last + 1 >= len(above):
        below_last = first - 1

    def between(i: int) -> float:
        return float(time[i] + (level - share[i]) / (share[i + 1] - share[i]) * (time[i + 1] - time[i]))

    return 0.5 * (between(first - 1) + between(below_last))


def two_point(time: np.ndarray, share: np.ndarray, at: tuple[float, float] = SMITH) -> tuple[float, float]:
    """Time constant and dead time from the times of 28.3 % and 63.2 % of the answer.

    `T = 1.5 (t63 - t28)`, `L = t63 - T`.

    Parameters
    ----------
    time : ndarray
        Times since the step [s].
    share : ndarray
        Answer as a share of its final value.
    at : (float, float)
        The two shares.

    Returns
    -------
    float, float
        T, L [s]; exact for first order + dead time, an approximation for anything else.

    References
    ----------
    C. L. Smith, Digital Computer Process Control, 1972 (attribution from memory).
    """
    low, high = crossing(time, share, at[0]), crossing(time, share, at[1])
    constant = 1.5 * (high - low)
    return constant, high - constant


def two_point_late(time: np.ndarray, share: np.ndarray) -> tuple[float, float]:
    """Time constant and dead time from the times of 35.3 % and 85.3 % of the answer.

    `T = 0.67 (t85 - t35)`, `L = 1.3 t35 - 0.29 t85`; the rounded factors leave 1 % in T and 4 % in L of a true
    first order.

    Parameters
    ----------
    time : ndarray
        Times since the step [s].
    share : ndarray
        Answer as a share of its final value.

    Returns
    -------
    float, float
        T, L [s].

    References
    ----------
    Sundaresan, Krishnaswamy, Can. J. Chem. Eng. 56 (1978), 257-261 (from memory).
    """
    low, high = crossing(time, share, 0.353), crossing(time, share, 0.853)
    return 0.67 * (high - low), 1.3 * low - 0.29 * high


def areas(time: np.ndarray, share: np.ndarray) -> tuple[float, float]:
    """Time constant and dead time from two areas of the answer: least touched by noise.

    `L + T` is the area between the answer and its final value; `T = e A` with the area A under the answer up to
    the time L + T.

    Parameters
    ----------
    time : ndarray
        Times since the step, from 0 [s].
    share : ndarray
        Answer as a share of its final value.

    Returns
    -------
    float, float
        T, L [s]; exact for first order + dead time.

    References
    ----------
    Astrom, Hagglund, PID Controllers: Theory, Design, and Tuning, 2nd ed. 1995, chapter 2 (from memory).
    """
    residence = float(np.trapezoid(1.0 - share, time))
    if not time[0] < residence < time[-1]:
        return math.nan, math.nan
    inside = time < residence
    t = np.append(time[inside], residence)
    early = float(np.trapezoid(np.append(share[inside], np.interp(residence, time, share)), t))
    constant = math.e * early
    return constant, residence - constant


def step_answer(record: Record, move: Move, points: int = 400) -> tuple[np.ndarray, np.ndarray, float] | None:
    """The answer to one move on an even grid, smoothed and scaled to its final value.

    The start is the mean of the last third of the hold before the move, the end that of the last sixth of the hold
    after it.

    Parameters
    ----------
    record : Record
        The record.
    move : Move
        The move.
    points : int
        Points of the grid.

    Returns
    -------
    (ndarray, ndarray, float) or None
        Times since the move [s], shares of the final value, gain; None where there is too little to see.
    """
    t, y = record.time[record.known], record.y[record.known]
    earlier = [m for m in record.moves() if m.time < move.time]
    since = earlier[-1].time if earlier else float(record.time[0])
    end = move.time + move.hold
    before = y[(t >= move.time - (move.time - since) / 3.0) & (t <= move.time)]
    late = y[(t > end - move.hold / 6.0) & (t <= end)]
    inside = (t >= move.time) & (t <= end)
    if len(before) < 1 or len(late) < 3 or inside.sum() < 10:
        return None
    start, final = float(before.mean()), float(late.mean())
    if final == start:
        return None
    grid = np.linspace(0.0, move.hold, points)
    curve = np.interp(grid, t[inside] - move.time, (y[inside] - start) / (final - start))
    return grid, _smooth(curve, _width(record, move, points)), (final - start) / move.size


def _width(record: Record, move: Move, points: int) -> int:
    """Points to average over: nothing without noise, up to a thirtieth of the hold with much of it."""
    sigma, span = record.noise(), float(np.ptp(record.y[record.known]))
    if not sigma > 1e-3 * span:
        return 1
    return min(max(int(3 * record.interval / move.hold * points), 3), points // 30) | 1


def _smooth(curve: np.ndarray, width: int) -> np.ndarray:
    if width < 3:
        return curve
    half = width // 2
    return np.convolve(np.pad(curve, half, mode="edge"), np.full(width, 1.0 / width), mode="valid")


def slopes(record: Record, move: Move) -> tuple[float, float]:
    """Gain in a time and dead time of an integrating process, from the slopes before and late after a move.

    Parameters
    ----------
    record : Record
        The record.
    move : Move
        The move.

    Returns
    -------
    float, float
        k [y_unit/u_unit/s], L with any lag in it [s]; not a number where there is too little to see.
    """
    t, y = record.time[record.known], record.y[record.known]
    earlier = [m for m in record.moves() if m.time < move.time]
    since = earlier[-1].time if earlier else float(record.time[0])
    before = (t >= since + (move.time - since) / 2.0 * bool(earlier)) & (t <= move.time)
    after = (t >= move.time + move.hold / 2.0) & (t <= move.time + move.hold)
    if before.sum() < 3 or after.sum() < 3:
        return math.nan, math.nan
    slope_0, base_0 = np.polyfit(t[before] - move.time, y[before], 1)
    slope_1, base_1 = np.polyfit(t[after] - move.time, y[after], 1)
    if slope_1 == slope_0:
        return math.nan, math.nan
    return float((slope_1 - slope_0) / move.size), float((base_0 - base_1) / (slope_1 - slope_0))


def cross_checks(record: Record, move: Move, integrating: bool) -> list[tuple[str, dict[str, float]]]:
    """All methods of this module on one move: name and parameters of each that gives an answer."""
    if integrating:
        k, dead = slopes(record, move)
        return [("slopes", {"k": k, "L": dead})] if math.isfinite(k) else []
    curve = step_answer(record, move)
    if curve is None:
        return []
    t, share, gain = curve
    constant, dead = two_point(t, share)
    if constant > 0:  # what comes long after the answer adds only noise to the areas
        early = t <= max(dead, 0.0) + 6.0 * constant
        t, share = t[early], share[early]
    found = (("two points, 28 and 63 %", two_point(t, share)), ("two points, 35 and 85 %", two_point_late(t, share)),
             ("areas", areas(t, share)))  # fmt: skip
    return [(name, {"K": gain, "T": constant, "L": dead}) for name, (constant, dead) in found
            if math.isfinite(constant) and constant > 0]  # fmt: skip
