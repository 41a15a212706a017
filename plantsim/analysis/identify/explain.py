"""What else could have moved the measurement: a gain that differs up and down, a sticking valve, a disturbance.

Each is fitted beside the plain model, with the same dynamics, and counts only when the corrected information
criterion is clearly better. The one with the best criterion is reported, not all three: they stand in for each other.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import stats

from plantsim.analysis.identify.fitting import Fit, Problem, fit, problem
from plantsim.analysis.identify.models import answer
from plantsim.analysis.identify.record import Move, Record

CLEAR = 10.0
"""Gain in the criterion that counts: at least 150 to 1 in odds."""

ALIKE = 6.0
"""Causes within so much of the best cannot be told apart by the record."""
ORDER = ("sign", "gain", "play", "stick", "disturbance")


@dataclass(frozen=True)
class Explanation:
    """A cause that explains the record better than a plain model.

    Parameters
    ----------
    kind : str
        `gain`, `sign`, `play`, `stick` or `disturbance`.
    gain : float
        By how much the information criterion is better.
    values : dict of str to float
        Figures of the cause.
    closer : Fit
        The fit that allows for it.
    """

    kind: str
    gain: float
    values: dict[str, float]
    closer: Fit


def play(u: np.ndarray, width: float, start: float) -> np.ndarray:
    """Position of a part driven through a gap (play, backlash).

    Parameters
    ----------
    u : ndarray
        Where it is driven to.
    width : float
        Width of the gap, in the unit of `u`.
    start : float
        Where in the gap the part lies at first: 1 where it follows upwards at once, -1 downwards, 0 midway.

    Returns
    -------
    ndarray
        Position.
    """
    half = 0.5 * width
    now = float(u[0]) - start * half
    found = np.empty(len(u))
    for i, driven in enumerate(u.tolist()):
        now = min(max(now, driven - half), driven + half)
        found[i] = now
    return found


def stick(u: np.ndarray, width: float) -> np.ndarray:
    """Position of a valve that stays until it is driven by more than `width`, then slips all the way.

    Parameters
    ----------
    u : ndarray
        Where it is driven to.
    width : float
        Width it stands, in the unit of `u`.

    Returns
    -------
    ndarray
        Position.
    """
    now = float(u[0])
    found = np.empty(len(u))
    for i, driven in enumerate(u.tolist()):
        if abs(driven - now) > width:
            now = driven
        found[i] = now
    return found


def explanations(record: Record, best: Fit, moves: list[Move], bases: Sequence[Fit] = ()) -> list[Explanation]:
    """All causes that explain a record clearly better than its best plain model, the best one first.

    Parameters
    ----------
    record : Record
        The record.
    best : Fit
        Best plain model.
    moves : list of Move
        Moves of its output.
    bases : sequence of Fit
        Other plain fits whose dynamics are tried too: the best plain model of a record that is not plain may be an
        odd one.

    Returns
    -------
    list of Explanation
    """
    found: list[Explanation] = []
    for base in (best, *bases):
        found += _gains(record, best, base, moves)
        if best.colour.share > 0.0:  # white residuals leave nothing for the costly searches to find
            found += [*_sticking(record, best, base, moves), *_disturbance(record, best, base)]
    found = sorted((e for e in found if e.gain > CLEAR), key=lambda e: -e.gain)
    # causes that cannot be told apart: the one that can be looked for first
    return sorted(found, key=lambda e: (found[0].gain - e.gain > ALIKE, ORDER.index(e.kind)))


def _better(best: Fit, other: Fit, searched: int = 0) -> float:
    """Gain of the criterion, with parameters that were searched for outside the fit."""
    k = best.count + 1
    penalty = 2.0 * (other.count + searched - best.count)
    n = other.effective
    floor = (1e-6 * max(best.answered, other.answered)) ** 2
    fall = n * math.log((best.rss / len(best.y) + floor) / (other.rss / len(other.y) + floor))
    return fall - penalty if n > k + 4 else -math.inf


def _gains(record: Record, best: Fit, base: Fit, moves: list[Move]) -> list[Explanation]:
    """Another gain above the first output than below it."""
    _, size = record.changes()
    path = np.concatenate([[0.0], np.cumsum(size)])
    sides = [np.diff(np.maximum(path, 0.0)), np.diff(np.minimum(path, 0.0))]
    least = 0.2 * max(abs(m.size) for m in moves)
    if min(path.max(), -path.min()) < least or len(base.model.factors) > 1:
        return []
    split = fit(record, base.model, base.drift, given=problem(record, sides), exact=False)
    gain_up, gain_down = float(split.factors[0]), float(split.factors[1])
    errors = _factor_errors(record, split, sides)
    sure = float(stats.norm.ppf(0.975))
    signs = gain_up * gain_down < 0 and abs(gain_up) > sure * errors[0] and abs(gain_down) > sure * errors[1]
    small, large = sorted((abs(gain_up), abs(gain_down)))
    if not signs and large < 1.25 * small:
        return []
    values = {"up": gain_up, "down": gain_down}
    return [Explanation("sign" if signs else "gain", _better(best, split), values, split)]


MOST_CHANGES = 100
"""An output that changes oftener is noise or a loop in automatic: sticking is not looked for in it."""
LEAST_SHARE = 0.15
"""Disturbances smaller than this share of the answer are not reported."""
TURNS = 4
"""Most turns between the place of a cause and the dynamics that go with it."""


def _factor_errors(record: Record, split: Fit, sizes: list[np.ndarray]) -> np.ndarray:
    """Standard errors of the gains of several outputs, dynamics taken as known."""
    p = problem(record, sizes)
    columns = np.column_stack([*(_column(split, p, s) for s in sizes), np.ones(len(p.time))])
    bread = np.linalg.pinv(columns.T @ columns)
    spread = split.sigma**2 * len(p.y) / max(split.effective, 1.0)
    return np.sqrt(np.maximum(np.diag(bread) * spread, 0.0))


def _column(found: Fit, p: Problem, size: np.ndarray) -> np.ndarray:
    shape = np.array([found[name] for name in found.model.shape])
    return answer(found.model.columns(shape)[0], found["L"], p.at, size, p.time)[0]


def _sticking(record: Record, best: Fit, base: Fit, moves: list[Move]) -> list[Explanation]:
    """A valve with play, or one that sticks and slips: width by grid, dynamics and width in turns."""
    if not 2 <= len(record.changes()[0]) <= MOST_CHANGES or len(moves) < 2 or len(base.model.factors) > 1:
        return []
    largest = max(abs(m.size) for m in moves)
    _, size = record.changes()
    driven = float(record.u[0]) + np.concatenate([[0.0], np.cumsum(size)])
    paths = []
    for width in largest * np.linspace(0.04, 0.96, 47):
        paths += [("play", float(width), np.diff(play(driven, width, start))) for start in (-1.0, 0.0, 1.0)]
        paths.append(("stick", float(width), np.diff(stick(driven, width))))
    paths = [row for row in paths if np.any(row[2]) and not np.array_equal(row[2], size)]
    if not paths:
        return []
    # dynamics fitted to a valve that did not move are too slow and too late: quicker ones are tried first
    tries = [_quicker(base, lag, dead) for lag in (1.0, 0.5, 0.25) for dead in (1.0, 0.6)]
    closer = min(tries, key=lambda one: min(_quick(record, one, steps) for _, _, steps in paths))
    now = -1
    for _ in range(TURNS):
        costs = [_quick(record, closer, steps) for _, _, steps in paths]
        if int(np.argmin(costs)) == now:
            break
        now = int(np.argmin(costs))
        closer = _refit(record, closer, problem(record, [paths[now][2]]))
    kind, width, _ = paths[now]
    same = [w for (k, w, _), c in zip(paths, costs) if k == kind and c <= costs[now] * (1.0 + 1e-9)]
    values = {"width": 0.5 * (min(same) + max(same)) if kind == "stick" else width, "largest": largest}
    return [Explanation(kind, _better(best, closer, searched=2), values, closer)]


def _quicker(base: Fit, lag: float, dead: float) -> Fit:
    parts = {"T": lag, "tau": lag, "L": dead}
    return replace(base, parameters={
        name: replace(e, value=e.value * parts.get(name, 1.0)) for name, e in base.parameters.items()
    })  # fmt: skip


def _refit(record: Record, base: Fit, given: Problem) -> Fit:
    start = [(sum(base.lags) or 1.0, base["L"])]
    start += [(0.5 * lag, dead) for lag, dead in start]
    return fit(record, base.model, base.drift, start, given, exact=False, grid=False)


def _quick(record: Record, base: Fit, steps: np.ndarray) -> float:
    """Sum of squares with the dynamics of a fit and another path of the output."""
    p = problem(record, [steps])
    return _rest(p, base, [_column(base, p, steps)])[0]


def _rest(p: Problem, base: Fit, columns: list[np.ndarray]) -> tuple[float, np.ndarray]:
    """Sum of squares and factors of columns, beside offset and drift."""
    fixed = [np.ones(len(p.time))] + ([p.time / p.span] if base.drift else [])
    whole = np.column_stack([*columns, *fixed])
    solved = np.linalg.lstsq(whole, p.y, rcond=None)[0]
    rest = p.y - whole @ solved
    return float(rest @ rest), solved[: len(columns)]


def _disturbance(record: Record, best: Fit, base: Fit) -> list[Explanation]:
    """A step of something else through the same lag, or a step and its end."""
    if len(base.model.factors) > 1:
        return []
    p = problem(record)
    found: list[Explanation] = []
    closer: Fit = base
    strokes: list[float] = []
    for _ in range(2):
        now = math.nan
        for _ in range(TURNS):
            own = [_column(closer, p, size) for size in p.sizes] + [_stroke(closer, p, at) for at in strokes]
            grid = np.linspace(0.02, 0.95, 63) * p.span
            if math.isfinite(now):
                grid = np.clip(now + np.linspace(-0.05, 0.05, 41) * p.span, 0.0, 0.97 * p.span)
            costs = [_rest(p, closer, [*own, _stroke(closer, p, at)])[0] for at in grid]
            place = float(grid[int(np.argmin(costs))])
            if place == now:
                break
            now = place
            closer = _refit(record, closer, problem(record, strokes=[*strokes, now]))
        strokes.append(now)
        own = [_column(closer, p, size) for size in p.sizes]
        extra = [_stroke(closer, p, at) for at in strokes]
        factors = _rest(p, closer, [*own, *extra])[1][len(own) :]
        reach = float(np.max(np.abs(np.column_stack(extra) @ factors)))
        share = reach / max(closer.answered, 1e-300)
        if share > LEAST_SHARE:
            values = {"time": strokes[int(np.argmax(np.abs(factors)))], "reach": reach, "share": share}
            # a second stroke must be as clearly there as the first
            gain = _better(best, closer, searched=len(strokes)) - CLEAR * (len(strokes) - 1)
            found.append(Explanation("disturbance", gain, values, closer))
    return found


def _stroke(base: Fit, p: Problem, at: float) -> np.ndarray:
    shape = np.array([base[name] for name in base.model.shape])
    return answer(base.model.columns(shape)[0], 0.0, np.array([at]), np.ones(1), p.time)[0]
