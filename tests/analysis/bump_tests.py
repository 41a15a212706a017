"""Bump tests with a known process behind them, made by other means than the code they check."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy import signal
from scipy.interpolate import CubicSpline

from plantsim.analysis.identify import Record, make_record


def moved(time: np.ndarray, *moves: tuple[float, float], base: float = 40.0) -> np.ndarray:
    """Output that moves by so much at each time."""
    u = np.full(len(time), base)
    for at, size in moves:
        u[time >= at] += size
    return u


def step_of(top: list[float], bottom: list[float], longest: float) -> Callable[[np.ndarray], np.ndarray]:
    """Step answer of a transfer function, 0 before the step: scipy's, on a fine grid, read by a cubic in between."""
    fine = np.linspace(0.0, longest, 6001)
    curve = CubicSpline(fine, signal.step((top, bottom), T=fine)[1])
    return lambda since: np.where(since > 0.0, curve(np.maximum(since, 0.0)), 0.0)


def answered(time: np.ndarray, u: np.ndarray, top: list[float], bottom: list[float], dead: float) -> np.ndarray:
    """Answer to a held output: a sum of scipy's step answers."""
    step = step_of(top, bottom, float(time[-1] - time[0]) + 1.0)
    at = np.flatnonzero(np.diff(u))
    return sum(((u[k + 1] - u[k]) * step(time - time[k + 1] - dead) for k in at), np.zeros(len(time)))


def noisy(clean: np.ndarray, sigma: float, seed: int, memory: float = 0.0) -> np.ndarray:
    """Measurement about 50 with white noise, or with noise that remembers (first-order autoregression)."""
    e = np.random.default_rng(seed).normal(0.0, sigma, len(clean) + 300)
    if memory:
        e = signal.lfilter([np.sqrt(1.0 - memory**2)], [1.0, -memory], e)
    return 50.0 + clean + e[300:]


def bump(
    time: np.ndarray, u: np.ndarray, top: list[float], bottom: list[float], dead: float, sigma: float = 0.5,
    seed: int = 0, through: np.ndarray | None = None, beside: np.ndarray | float = 0.0,
) -> Record:  # fmt: skip
    """A recorded bump test; `through` is what the valve made of the output, `beside` what else moved."""
    clean = answered(time, u if through is None else through, top, bottom, dead)
    return make_record(time, u, noisy(clean + beside, sigma, seed), "%", "NTU")
