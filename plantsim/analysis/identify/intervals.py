"""Confidence intervals by the profile of the sum of squares.

The interval of a parameter holds every value at which the best fit of all the others is not significantly worse:
`RSS(value) <= RSS_min + t^2 c sigma^2` (Bates, Watts, Nonlinear Regression Analysis and Its Applications, 1988,
chapter 6: from memory). `c` is the factor by which slow noise widens the variance of that parameter. Unlike the
usual plus and minus it stays right where a dead time makes the sum of squares kink at each sample, where two
parameters can stand in for each other, and at the edge of what is possible.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

MOST_TRIES = 14


def profile(
    rss_at: Callable[[float], float], value: float, step: float, excess: float, edges: tuple[float, float]
) -> tuple[float, float]:  # fmt: skip
    """Find where a profile has risen by so much, on both sides.

    Parameters
    ----------
    rss_at : callable
        Smallest rise of the sum of squares over all other parameters at a value of this one.
    value : float
        Best value.
    step : float
        First guess of the half-width, above 0.
    excess : float
        Rise looked for.
    edges : (float, float)
        Range of the parameter.

    Returns
    -------
    float, float
        Lower and upper end; an edge where the profile stays below up to there.
    """
    return (_one_side(rss_at, value, -step, excess, edges[0]), _one_side(rss_at, value, step, excess, edges[1]))


def _one_side(rss_at: Callable[[float], float], value: float, step: float, excess: float, edge: float) -> float:
    room = abs(edge - value)
    sign = math.copysign(1.0, step)
    inside, outside, root_in, root_out = 0.0, math.inf, 0.0, math.inf
    reach = min(abs(step), room)
    for _ in range(MOST_TRIES):
        if reach <= 0.0:
            return value
        # the root of the rise is nearly straight: its secant finds the end in a few tries
        root = math.sqrt(max(rss_at(value + sign * reach), 0.0) / excess)
        if abs(root - 1.0) < 0.01:
            break
        if root < 1.0:
            inside, root_in = reach, root
            if reach >= room:
                return edge
        else:
            outside, root_out = reach, root
        if math.isinf(outside):
            reach = min(reach * (min(max(1.02 / root, 1.1), 3.0) if root > 0 else 3.0), room)
        else:
            part = (1.0 - root_in) / (root_out - root_in)
            reach = inside + min(max(part, 0.1), 0.9) * (outside - inside)
    return value + sign * reach


def rise(
    residuals: Callable[[np.ndarray], np.ndarray], best: np.ndarray, bounds: tuple[list[float], list[float]],
    scale: list[float], least: float, cov: np.ndarray,
) -> Callable[[int, float], float]:  # fmt: skip
    """Make the function that fixes one of the searched parameters and fits the others.

    Parameters
    ----------
    residuals : callable
        Residuals at a vector of parameters.
    best : ndarray
        Where they are least.
    bounds, scale : lists
        Ranges and scales of the parameters.
    least : float
        Sum of squares at `best`.
    cov : ndarray
        Linearised covariance of the parameters: tells where the others go when one is moved.

    Returns
    -------
    callable
        Index and value to the rise of the sum of squares.
    """
    low, high = np.array(bounds[0]), np.array(bounds[1])

    def at(index: int, value: float) -> float:
        x = best.copy()
        x[index] = value
        others = np.flatnonzero(np.arange(len(best)) != index)
        if not len(others):
            return float(np.sum(residuals(x) ** 2)) - least
        along = cov[others, index] / max(cov[index, index], 1e-300) * (value - best[index])
        reach = 0.25 * (high - low)[others]
        x[others] = np.clip(best[others] + np.clip(along, -reach, reach), low[others], high[others])
        return descend(residuals, x, others, low, high, 1e-4 * np.array(scale)) - least

    return at


def descend(
    residuals: Callable[[np.ndarray], np.ndarray], x: np.ndarray, free: np.ndarray, low: np.ndarray, high: np.ndarray,
    step: np.ndarray, found: list[np.ndarray] | None = None,
) -> float:  # fmt: skip
    """Least sum of squares over some parameters: damped Gauss-Newton steps, cut at the bounds.

    A small one of our own: it is called some twenty times for every interval, always from close by. `found` gets the
    place of the least sum.
    """
    r = residuals(x)
    cost, damping = float(r @ r), 1e-3
    for _ in range(12):
        jac = np.empty((len(r), len(free)))
        for j, i in enumerate(free):
            aside = x.copy()
            aside[i] += step[i] if x[i] + step[i] <= high[i] else -step[i]
            jac[:, j] = (residuals(aside) - r) / (aside[i] - x[i])
        normal, slope = jac.T @ jac, jac.T @ r
        gained = 0.0
        for _ in range(6):
            lifted = normal + damping * np.diag(np.maximum(np.diag(normal), 1e-300))
            trial = x.copy()
            trial[free] = np.clip(x[free] - np.linalg.lstsq(lifted, slope, rcond=1e-14)[0], low[free], high[free])
            tried = residuals(trial)
            gained = cost - float(tried @ tried)
            if gained > 0.0:
                x, r, cost, damping = trial, tried, cost - gained, max(0.2 * damping, 1e-9)
                break
            damping *= 8.0
        if gained <= 3e-5 * cost / len(r):
            break
    if found is not None:
        found.append(x)
    return cost
