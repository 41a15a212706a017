"""Least squares with confidence intervals, and the courage to refuse what the data cannot carry.

Intervals are those of the linearised model with Student's t [1]_; a parameter that must be positive is fitted by
its logarithm, so that its interval never crosses zero.

References
----------
.. [1] Bates, D. M., Watts, D. G. (1988), Nonlinear Regression Analysis and Its Applications, Wiley, ch. 2.
.. [2] Wald, A., Wolfowitz, J. (1940), "On a test whether two samples are from the same population", Ann. Math.
   Stat. 11, 147-162 (number of runs).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import least_squares
from scipy.stats import t as student

from plantsim.errors import PlantsimError

LEVEL = 0.95
Law = Callable[[np.ndarray, Sequence[float]], np.ndarray]


class FitRefused(PlantsimError, ValueError):
    """Raised when the data cannot carry a fit; says why, and which test to add.

    Parameters
    ----------
    what : str
        The fit and the tests it was asked of.
    why : str
        What the data lack.
    add : str
        The test that would carry it.
    """

    def __init__(self, what: str, why: str, add: str) -> None:
        self.what, self.why, self.add = what, why, add
        super().__init__(f"{what}: {why}; test to add: {add}")


@dataclass(frozen=True)
class Parameter:
    """One fitted number with its interval; `log` says that it is fitted by its logarithm."""

    name: str
    value: float
    low: float
    high: float
    unit: str
    meaning: str
    kind: str = "95 % interval"

    @property
    def factor(self) -> float:
        """How far the interval reaches, as a factor: 1.1 is about plus or minus 10 %; inf if it holds 0."""
        if self.low <= 0.0 < self.value:
            return math.inf
        return max(self.high / self.value, self.value / self.low)

    def text(self) -> str:
        """Value and interval in words."""
        unit = "" if self.unit == "-" else f" {self.unit}"
        return f"{self.value:.4g}{unit} ({self.kind} {self.low:.4g} to {self.high:.4g})"


@dataclass(frozen=True)
class Unknown:
    """A parameter to be fitted: its unit and meaning, where to begin, and whether it must be positive."""

    name: str
    unit: str
    meaning: str
    start: float
    positive: bool = True


@dataclass(frozen=True)
class Fit:
    """A law fitted to data.

    Attributes
    ----------
    law, formula, source : str
        Name, formula in words, and source of the law.
    parameters : tuple of Parameter
        With their intervals.
    x, y : ndarray
        The data fitted, SI.
    r2, spread : float
        Share of the variance explained; standard error of one reading (relative if `relative`) .
    checks : tuple of str
        What the residuals say, in words.
    cautions : tuple of str
        What the user must know.
    tests : tuple of str
        The tables the data came from.
    """

    law: str
    formula: str
    source: str
    parameters: tuple[Parameter, ...]
    x: np.ndarray
    y: np.ndarray
    r2: float
    spread: float
    relative: bool
    dof: int
    checks: tuple[str, ...]
    tests: tuple[str, ...]
    cautions: tuple[str, ...] = ()
    model: Law = field(default=lambda x, p: x, repr=False)
    theta: np.ndarray = field(default_factory=lambda: np.zeros(0), repr=False)
    covariance: np.ndarray = field(default_factory=lambda: np.zeros((0, 0)), repr=False)
    positive: tuple[bool, ...] = ()

    def __getitem__(self, name: str) -> Parameter:
        for parameter in self.parameters:
            if parameter.name == name:
                return parameter
        raise KeyError(name)

    def value(self, name: str) -> float:
        """Value of a parameter."""
        return self[name].value

    def predict(self, x: Sequence[float] | np.ndarray) -> np.ndarray:
        """Value of the law at `x`."""
        return self.model(np.asarray(x, float), _values(self.theta, self.positive))

    def band(self, x: Sequence[float] | np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """95 % confidence band of the law at `x`: lower and upper curve."""
        x = np.asarray(x, float)
        middle = self.predict(x)
        slopes = np.empty((len(x), len(self.theta)))
        for i in range(len(self.theta)):
            step = 1e-5 * max(1.0, abs(self.theta[i]))
            up, down = self.theta.copy(), self.theta.copy()
            up[i] += step
            down[i] -= step
            slopes[:, i] = (self.model(x, _values(up, self.positive)) - self.model(x, _values(down, self.positive))) / (
                2.0 * step
            )
        half = _quantile(self.dof) * np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", slopes, self.covariance, slopes), 0.0))
        if self.relative:
            ratio = np.exp(half / np.maximum(np.abs(middle), 1e-300))
            return middle / ratio, middle * ratio
        return middle - half, middle + half

    def with_cautions(self, *cautions: str) -> Fit:
        """The same fit with further cautions."""
        return Fit(**{**self.__dict__, "cautions": self.cautions + cautions})


def _quantile(dof: int) -> float:
    return float(student.ppf(0.5 + 0.5 * LEVEL, dof))


def _values(theta: np.ndarray, positive: Sequence[bool]) -> list[float]:
    return [math.exp(min(max(t, -600.0), 600.0)) if log else float(t) for t, log in zip(theta, positive)]


def regress(
    law: str,
    model: Law,
    x: np.ndarray,
    y: np.ndarray,
    unknowns: Sequence[Unknown],
    *,
    tests: Sequence[str],
    formula: str,
    source: str,
    add: str,
    relative: bool = False,
    starts: Sequence[Sequence[float]] = (),
    span: float = math.log(30.0),
) -> Fit:
    """Fit a law by least squares.

    Parameters
    ----------
    law : str
        Its name, for messages.
    model : callable
        `model(x, values)` gives the law at `x`.
    x, y : ndarray
        Readings.
    unknowns : sequence of Unknown
        What is sought.
    tests, formula, source : sequence of str, str, str
        Where the readings and the law come from.
    add : str
        The test to add when the readings cannot carry the fit.
    relative : bool
        True: errors in proportion to the reading (residuals of the logarithm); all readings above 0.
    starts : sequence of sequences
        Further places to begin at.
    span : float
        How far a positive parameter may go from its start, in ln.

    Returns
    -------
    Fit

    Raises
    ------
    FitRefused
        When there are too few readings, or the readings leave a parameter free.
    """
    what = f"{law} of {', '.join(tests)}"
    x, y = np.asarray(x, float), np.asarray(y, float)
    n, count = len(y), len(unknowns)
    if n <= count:
        raise FitRefused(what, f"{n} readings cannot carry {count} parameters and an error", add)
    if relative and np.any(y <= 0.0):
        raise FitRefused(
            what,
            "a reading of 0 has no relative error",
            "a reading with an instrument of finer range, or leave that row out",
        )
    positive = tuple(u.positive for u in unknowns)
    target = np.log(y) if relative else y
    scale = 1.0 if relative else max(float(np.std(y)), 1e-12 * max(1.0, float(np.max(np.abs(y)))))

    def residuals(theta: np.ndarray) -> np.ndarray:
        found = model(x, _values(theta, positive))
        if relative:
            found = np.log(np.maximum(found, 1e-300))
        return (np.nan_to_num(found, nan=1e6, posinf=1e6, neginf=-1e6) - target) / scale

    def internal(values: Sequence[float]) -> np.ndarray:
        return np.array([math.log(v) if log else v for v, log in zip(values, positive)])

    best = None
    home = internal([u.start for u in unknowns])
    for start in (home, *(internal(values) for values in starts)):
        low = np.array([s - span if log else -np.inf for s, log in zip(start, positive)])
        high = np.array([s + span if log else np.inf for s, log in zip(start, positive)])
        found = least_squares(residuals, start, bounds=(low, high), x_scale="jac", max_nfev=600)
        if best is None or found.cost < best.cost * (1.0 - 1e-9):
            best = found
    assert best is not None
    dof = n - count
    _, singular, right = np.linalg.svd(best.jac, full_matrices=False)
    free = singular < 1e-7 * singular[0]
    if np.any(free) or np.any(best.active_mask != 0):
        at = int(np.argmax(np.abs(right[-1]))) if np.any(free) else int(np.flatnonzero(best.active_mask)[0])
        raise FitRefused(what, f"the readings leave {unknowns[at].meaning} free", add)
    variance = 2.0 * best.cost / dof
    covariance = (right.T / singular**2) @ right * variance
    half = _quantile(dof) * np.sqrt(np.diag(covariance))
    parameters = []
    for u, t, h in zip(unknowns, best.x, half):
        if u.positive:
            h = min(h, 300.0)
            ends = math.exp(t), math.exp(t - h), math.exp(t + h)
        else:
            ends = float(t), float(t - h), float(t + h)
        parameters.append(Parameter(u.name, *ends, u.unit, u.meaning))
    error = best.fun * scale
    total = float(np.sum((target - np.mean(target)) ** 2))
    r2 = 1.0 - float(np.sum(error**2)) / total if total > 0.0 else math.nan
    spread = math.sqrt(float(np.sum(error**2)) / dof)
    # the covariance is that of the parameters, whose readings may have been scaled: the scale falls out
    return Fit(
        law,
        formula,
        source,
        tuple(parameters),
        x,
        y,
        r2,
        spread,
        relative,
        dof,
        tuple(residual_checks(x, error, best.jac)),
        tuple(tests),
        (),
        model,
        best.x,
        covariance,
        positive,
    )


def residual_checks(x: np.ndarray, error: np.ndarray, jac: np.ndarray) -> list[str]:
    """What residuals say: whether they follow each other in sign, and which reading stands off.

    Parameters
    ----------
    x : ndarray
        Places of the readings, which give their order.
    error : ndarray
        Residuals.
    jac : ndarray
        Their slopes by the parameters, for the leverage of each reading.

    Returns
    -------
    list of str
        One sentence each; the first says that nothing was found, if so.
    """
    n, count = jac.shape
    found = []
    signs = np.sign(error[np.argsort(x, kind="stable")])
    signs = signs[signs != 0]
    up, down = int(np.sum(signs > 0)), int(np.sum(signs < 0))
    if n < 8:
        found.append(f"{n} readings are too few for a test of the order of residuals")
    elif up and down:
        runs = 1 + int(np.sum(np.diff(signs) != 0))
        mean = 2.0 * up * down / (up + down) + 1.0
        var = (mean - 1.0) * (mean - 2.0) / (up + down - 1.0)
        if var > 0.0 and (runs - mean) / math.sqrt(var) < -1.96:
            found.append(
                f"residuals follow each other in sign ({runs} runs, {mean:.1f} expected): the law misses the "
                "shape of the data"
            )
    scale = float(np.sqrt(np.sum(error**2) / max(n - count, 1)))
    if scale > 0.0 and n - count >= 3:
        q, _ = np.linalg.qr(jac)
        leverage = np.clip(np.sum(q**2, axis=1), 0.0, 1.0 - 1e-9)
        inner = np.abs(error) / (scale * np.sqrt(1.0 - leverage))
        dof = n - count
        # externally studentised, held against t with Bonferroni's share for the worst of n readings
        outer = inner * np.sqrt((dof - 1.0) / np.maximum(dof - inner**2, 1e-12))
        worst = int(np.argmax(outer))
        if outer[worst] > student.ppf(1.0 - 0.025 / n, dof - 1):
            found.append(f"reading {worst + 1} (at {x[worst]:.4g}) stands off the others: look at it again")
    return found or ["residuals without order and without outliers"]
