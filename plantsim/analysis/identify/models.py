"""The process models a bump test is fitted with, and their exact answers to a held output.

Every model is a sum of modes: its answer to a unit step, dead time aside, is `c0 + c1 s + sum r_i exp(-p_i s)` with
the time s since the step. An output that holds between its changes is a sum of steps, so the answer at any time,
evenly sampled or not and with any dead time, is exact: no integration, no rounding of the dead time to samples.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

APART = 1e-10
"""Poles nearer than this (as |zeta^2 - 1|) are moved apart: two modes at one place cannot be told apart."""


@dataclass(frozen=True)
class Modes:
    """A step answer as constant, ramp and decaying modes."""

    constant: float
    ramp: float
    poles: tuple[complex, ...]
    weights: tuple[complex, ...]


def answer(
    modes: Modes, dead: float, at: np.ndarray, size: np.ndarray, time: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Answer of a model, at rest before, to an output that moves by `size` at the times `at`; and its rate.

    Parameters
    ----------
    modes : Modes
        The model without its dead time.
    dead : float
        Dead time [s].
    at, size : ndarray
        Times [s] and sizes of the changes of the output.
    time : ndarray
        Times of the answer [s].

    Returns
    -------
    ndarray, ndarray
        Answer, and its rate of change in time [1/s]; the derivative to the dead time is the rate with its sign
        turned.
    """
    if not len(at):
        return np.zeros(len(time)), np.zeros(len(time))
    index = np.searchsorted(at + dead, time, side="right") - 1
    seen = index >= 0
    last = np.maximum(index, 0)
    total = np.cumsum(size)
    moved = np.where(seen, total[last], 0.0)
    value = modes.constant * moved
    rate = modes.ramp * moved
    if modes.ramp:
        value = value + modes.ramp * (moved * (time - dead) - np.where(seen, np.cumsum(size * at)[last], 0.0))
    since = np.where(seen, time - dead - at[last], 0.0)
    for pole, weight in zip(modes.poles, modes.weights):
        left = _left_over(pole, at, size)
        part = np.where(seen, left[last], 0.0) * np.exp(-pole * since) * weight
        value = value + part.real
        rate = rate - (pole * part).real
    return value, rate


def _left_over(pole: complex, at: np.ndarray, size: np.ndarray) -> np.ndarray:
    """What of all steps so far is left in one mode, just after each step."""
    fades = np.exp(-pole * np.diff(at)).tolist()
    left, sum_ = [], 0j if isinstance(pole, complex) else 0.0
    for fade, step in zip([0.0, *fades], size.tolist()):
        sum_ = sum_ * fade + step
        left.append(sum_)
    return np.array(left)


def _first(shape: np.ndarray) -> list[Modes]:
    return [Modes(1.0, 0.0, (1.0 / shape[0],), (-1.0,))]


def _poles(shape: np.ndarray) -> tuple[complex, complex]:
    tau, zeta = float(shape[0]), float(shape[1])
    if zeta < 1.0:
        turn = math.sqrt(max(1.0 - zeta * zeta, APART))
        return complex(zeta, -turn) / tau, complex(zeta, turn) / tau
    spread = zeta + math.sqrt(max(zeta * zeta - 1.0, APART))
    return 1.0 / (tau * spread), spread / tau


def _second(shape: np.ndarray) -> list[Modes]:
    slow, fast = _poles(shape)
    return [Modes(1.0, 0.0, (slow, fast), (-fast / (fast - slow), slow / (fast - slow)))]


def _inverse(shape: np.ndarray) -> list[Modes]:
    # (1 - z s) G: the step answer of G less z times its rate, so both are columns of a linear problem
    slow, fast = _poles(shape)
    rate = slow * fast / (fast - slow)
    return [*_second(shape), Modes(0.0, 0.0, (slow, fast), (rate, -rate))]


def _integrating(shape: np.ndarray) -> list[Modes]:
    return [Modes(0.0, 1.0, (), ())]


def _integrating_lag(shape: np.ndarray) -> list[Modes]:
    lag = float(shape[0])
    return [Modes(-lag, 1.0, (1.0 / lag,), (lag,))]


@dataclass(frozen=True)
class Model:
    """A process model: its parameters, and the columns whose sum with unknown factors is its answer.

    Parameters
    ----------
    name, title, formula : str
        Key, words and transfer function.
    shape : tuple of str
        Parameters that form the answer, besides the dead time.
    factors : tuple of str
        Parameters the answer is linear in.
    columns : callable
        From the shape parameters to one `Modes` for each factor.
    integrating : bool
        Whether the answer to a step never settles.
    """

    name: str
    title: str
    formula: str
    shape: tuple[str, ...]
    factors: tuple[str, ...]
    columns: Callable[[np.ndarray], list[Modes]]
    integrating: bool = False

    @property
    def parameters(self) -> int:
        """Number of parameters, without offset and drift."""
        return len(self.shape) + len(self.factors) + 1

    def polynomials(self, values: Mapping[str, float]) -> tuple[list[float], list[float], float]:
        """Numerator and denominator in falling powers of s, and dead time [s].

        >>> MODELS["first"].polynomials({"K": 2.0, "T": 10.0, "L": 3.0})
        ([2.0], [10.0, 1.0], 3.0)
        """
        gain = values["k"] if self.integrating else values["K"]
        lags = [values["T"], 1.0] if "T" in values else [1.0]
        if "tau" in values:
            lags = [values["tau"] ** 2, 2.0 * values["zeta"] * values["tau"], 1.0]
        top = [-gain * values["z"], gain] if "z" in values else [gain]
        return top, [*lags, 0.0] if self.integrating else lags, values["L"]


MODELS: dict[str, Model] = {
    model.name: model
    for model in (
        Model("first", "first order + dead time", "K exp(-L s) / (T s + 1)", ("T",), ("K",), _first),
        Model("second", "second order + dead time", "K exp(-L s) / (tau^2 s^2 + 2 zeta tau s + 1)", ("tau", "zeta"),
              ("K",), _second),
        Model("inverse", "inverse response + dead time", "K (1 - z s) exp(-L s) / (tau^2 s^2 + 2 zeta tau s + 1)",
              ("tau", "zeta"), ("K", "Kz"), _inverse),
        Model("integrating", "integrating + dead time", "k exp(-L s) / s", (), ("k",), _integrating, True),
        Model("integrating-lag", "integrating with lag + dead time", "k exp(-L s) / (s (T s + 1))", ("T",), ("k",),
              _integrating_lag, True),
    )
}  # fmt: skip
"""All models by name."""

MEANING = {
    "K": "gain", "k": "gain, in a time", "T": "time constant", "tau": "time constant of both lags together",
    "zeta": "damping (1: two equal lags; above: two lags; below: it rings)", "z": "time of the inverse response",
    "L": "dead time", "T1": "longer lag", "T2": "shorter lag", "y0": "measurement at the start",
    "slope": "drift",
}  # fmt: skip
"""What each parameter is."""
