"""Least squares of a process model on the whole of a record, with intervals that allow for slow noise.

The answer is linear in gains, offset and drift; those are solved for exactly at every trial of the others (variable
projection: Golub, Pereyra, SIAM J. Numer. Anal. 10 (1973), 413-432), so the search has one to three dimensions only
and starts from a coarse grid of them, beside the graphical methods.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np
from scipy import stats
from scipy.optimize import least_squares

from plantsim.analysis.identify.intervals import descend, profile, rise
from plantsim.analysis.identify.models import Model, Modes, answer
from plantsim.analysis.identify.noise import Colour, colour, long_run
from plantsim.analysis.identify.record import Record

LONGEST = 20.0
"""Longest time constant tried, in lengths of the record: beyond it a lag cannot be told from an integrator."""
ZETA = (0.2, 12.0)
"""Range of the damping tried; 12 stands for two lags 574 times apart."""


@dataclass(frozen=True)
class Estimate:
    """A parameter with its interval.

    The intervals of all parameters of the model hold together in 95 of 100 records, each by itself oftener: a model
    is right only when all of it is (Bonferroni; Miller, Simultaneous Statistical Inference, 1981, from memory).
    """

    value: float
    low: float
    high: float
    error: float
    unit: str


@dataclass(frozen=True)
class Problem:
    """A record made ready for fits: measurements, and one or more outputs as their changes."""

    time: np.ndarray
    y: np.ndarray
    at: np.ndarray
    sizes: tuple[np.ndarray, ...]
    interval: float
    strokes: tuple[float, ...] = ()

    @property
    def span(self) -> float:
        """Length of the record [s]."""
        return float(self.time[-1] - self.time[0])


def problem(record: Record, sizes: Sequence[np.ndarray] | None = None, strokes: Sequence[float] = ()) -> Problem:
    """Make a record ready for fits.

    Parameters
    ----------
    record : Record
        The record.
    sizes : sequence of ndarray, optional
        Sizes of the changes of several outputs in place of the recorded one, at its times; each gets its own gain.
    strokes : sequence of float
        Times [s] at which something else stepped, through the same lag but no dead time; each has its own factor.
    """
    t, y = record.samples()
    at, size = record.changes()
    zero = float(record.time[0])
    return Problem(t - zero, y, at - zero, (size,) if sizes is None else tuple(sizes), record.interval, tuple(strokes))


@dataclass(frozen=True)
class Fit:
    """A fitted model.

    Parameters
    ----------
    model : Model
        Which.
    parameters : dict of str to Estimate
        By name: the model's own, then offset and drift.
    factors : ndarray
        Factors of the linear columns, in their order.
    time, y, fitted : ndarray
        Samples and the model at them; time from the start of the record [s].
    sigma : float
        Standard deviation of the residuals.
    vaf : float
        Share of the variance of the measurement the model accounts for (R2).
    colour : Colour
        How the residuals hang together.
    effective : float
        Number of independent samples that carry as much as these.
    rss : float
        Sum of squared residuals.
    count : int
        Number of fitted parameters.
    answered : float
        Largest move of the fitted answer, offset and drift aside.
    """

    model: Model
    parameters: dict[str, Estimate]
    factors: np.ndarray
    time: np.ndarray
    y: np.ndarray
    fitted: np.ndarray
    sigma: float
    vaf: float
    colour: Colour
    effective: float
    rss: float
    count: int
    answered: float
    drift: bool
    units: tuple[str, str] = field(default=("1", "1"))

    def __getitem__(self, name: str) -> float:
        return self.parameters[name].value

    @property
    def residuals(self) -> np.ndarray:
        """Measurement less model."""
        return self.y - self.fitted

    @property
    def lags(self) -> tuple[float, ...]:
        """Time constants, longest first [s]; both lags alike where the answer rings."""
        p = self.parameters
        if "tau" in p:
            if p["zeta"].value <= 1.0:
                return (p["tau"].value, p["tau"].value)
            spread = p["zeta"].value + math.sqrt(p["zeta"].value ** 2 - 1.0)
            return (p["tau"].value * spread, p["tau"].value / spread)
        return (p["T"].value,) if "T" in p else ()

    def polynomials(self) -> tuple[list[float], list[float], float]:
        """Numerator and denominator in falling powers of s, and dead time [s]."""
        return self.model.polynomials({name: e.value for name, e in self.parameters.items()})

    def step(self, time: np.ndarray) -> np.ndarray:
        """Answer to a unit step at time 0, dead time included."""
        shape = np.array([self[name] for name in self.model.shape])
        one = np.ones(1)
        columns = self.model.columns(shape)
        return sum((f * answer(m, self["L"], 0.0 * one, one, time)[0] for f, m in zip(self.factors, columns)),
                   np.zeros(len(time)))  # fmt: skip

    def aicc(self, effective: float) -> float:
        """Corrected information criterion with a given number of independent samples.

        `n ln(RSS / n) + 2 k + 2 k (k + 1) / (n - k - 1)` with the variance among the k; smaller is better
        (Hurvich, Tsai, Biometrika 76 (1989), 297-307). Coloured residuals carry less than their number, so n is
        the effective number, the same for all models compared.
        """
        k = self.count + 1
        spare = max(effective - k - 1.0, 0.5)
        mean_square = max(self.rss / len(self.y), 1e-24 * float(np.var(self.y)), 1e-300)
        return effective * math.log(mean_square) + 2.0 * k + 2.0 * k * (k + 1.0) / spare


def fit(
    record: Record, model: Model, drift: bool = False, starts: Sequence[tuple[float, float]] = (),
    given: Problem | None = None, exact: bool = True, grid: bool = True,
) -> Fit:  # fmt: skip
    """Fit one model to a record.

    Parameters
    ----------
    record : Record
        The record; the process is taken as at rest (or on its steady drift) where it begins.
    model : Model
        The model.
    drift : bool
        Whether a straight line in time is fitted too. Integrating models always have one: the slope at the first
        output, as such a process is seldom in balance.
    starts : sequence of (float, float)
        Time constant and dead time [s] to start from, beside the grid.
    given : Problem, optional
        The record made ready in another way (several outputs, strokes of something else).
    exact : bool
        Whether intervals of dead time and time constants come from the profile of the sum of squares (slower); the
        linearised ones otherwise.

    grid : bool
        Whether the search also starts from a grid; without it only from `starts`, which must be close.

    Returns
    -------
    Fit
    """
    p = given or problem(record)
    drift = drift or model.integrating
    trial = _Trial(p, model, drift)
    best = None
    for start in trial.starts(starts, grid):
        found = least_squares(trial.residuals, start, bounds=trial.bounds, jac="3-point", x_scale=trial.scale,
                              xtol=1e-10, ftol=1e-12, gtol=1e-12, max_nfev=100)  # fmt: skip
        if best is None or found.cost < best.cost:
            best = found
    assert best is not None
    return _result(record, p, trial, best.x, exact)


ALLOWANCE = 1.1
"""Widening of all intervals: the search may put the kink of the dead time between whichever two samples suit the noise
best, which the theory of smooth models does not count. On records of first order with 20 samples in a time constant
the dead time scattered 3 % more than the theory says over 400 seeds, the time constant 6 %, and 8 % in slow noise."""


class _Trial:
    """Residuals as a function of dead time and the logarithms of the shape parameters."""

    def __init__(self, p: Problem, model: Model, drift: bool) -> None:
        self.p, self.model, self.drift = p, model, drift
        self.z: float | None = None  # of the inverse response, where it is held
        fixed = [np.ones(len(p.time))]
        if drift:
            fixed.append((p.time - 0.5 * p.span) / p.span)
        self.fixed = np.column_stack(fixed)
        self.base = np.linalg.qr(self.fixed)[0]
        self.y = p.y - self.base @ (self.base.T @ p.y)
        last = float(p.at[0]) if len(p.at) else 0.0
        self.most = max(p.time[-1] - last, p.interval)
        low, high = math.log(0.05 * p.interval), math.log(LONGEST * p.span)
        limits = {"T": (low, high), "tau": (low, high), "zeta": (math.log(ZETA[0]), math.log(ZETA[1]))}
        both = [(0.0, 0.95 * self.most), *(limits[name] for name in model.shape)]
        self.bounds = ([b[0] for b in both], [b[1] for b in both])
        self.scale = [max(0.02 * self.most, 0.2 * p.interval), *(0.3 for _ in model.shape)]

    def columns(self, x: np.ndarray) -> list[np.ndarray]:
        """Answer for each factor, output by output."""
        modes = self.model.columns(np.exp(x[1:]))
        if self.z is not None:
            gain, rate = (self.column(m, float(x[0]), self.p.sizes[0]) for m in modes)
            return [gain - self.z * rate]
        found = [self.column(m, float(x[0]), size) for size in self.p.sizes for m in modes]
        if self.p.strokes:
            one = np.ones(1)
            found += [answer(modes[0], 0.0, at * one, one, self.p.time)[0] for at in self.p.strokes]
        return found

    def column(self, modes: Modes, dead: float, size: np.ndarray) -> np.ndarray:
        return answer(modes, dead, self.p.at, size, self.p.time)[0]

    def residuals(self, x: np.ndarray) -> np.ndarray:
        columns = self.columns(x)
        if len(columns) == 1:
            one = columns[0] - self.base @ (self.base.T @ columns[0])
            square = float(one @ one)
            return self.y - one * (float(one @ self.y) / square) if square > 0.0 else self.y.copy()
        free = np.column_stack(columns)
        free -= self.base @ (self.base.T @ free)
        q, r = np.linalg.qr(free)
        size = np.abs(np.diag(r))
        q = q[:, size > 1e-12 * max(size.max(), 1e-300)]
        return self.y - q @ (q.T @ self.y)

    def starts(self, asked: Sequence[tuple[float, float]], coarse: bool) -> list[np.ndarray]:
        """The best few places of a coarse grid, if wanted, and those asked for, inside the bounds."""
        grid = []
        deads = self.most * np.array([0.0, 0.01, 0.02, 0.04, 0.07, 0.1, 0.15, 0.2, 0.27, 0.35, 0.45, 0.6])
        times = np.geomspace(max(self.p.interval, 0.003 * self.most), 4.0 * self.most, 12)
        if self.model.shape == ():
            grid = [np.array([d]) for d in deads]
        elif self.model.shape == ("T",):
            grid = [np.array([d, math.log(t)]) for d in deads for t in times]
        else:
            grid = [np.array([d, math.log(t), math.log(z)]) for d in deads[::2] for t in times[::2]
                    for z in (0.6, 1.0, 2.0)]  # fmt: skip
        if not coarse:
            grid = []
        for constant, dead in asked:
            if constant > 0 and math.isfinite(constant) and math.isfinite(dead):
                shape = {"T": constant, "tau": 0.5 * constant, "zeta": 1.1}
                grid.append(np.array([max(dead, 0.0), *(math.log(shape[name]) for name in self.model.shape)]))
        low, high = np.array(self.bounds)
        grid = [np.clip(x, low + 1e-6 * (high - low), high - 1e-6 * (high - low)) for x in grid]
        costs = [float(np.sum(self.residuals(x) ** 2)) for x in grid]
        chosen: list[np.ndarray] = []
        for i in np.argsort(costs):
            if all(np.max(np.abs(grid[i] - c) / np.array(self.scale)) > 3.0 for c in chosen):
                chosen.append(grid[i])
            if len(chosen) == 2:
                break
        return chosen


def _result(record: Record, p: Problem, trial: _Trial, x: np.ndarray, exact: bool) -> Fit:
    model, drift = trial.model, trial.drift
    free = trial.columns(x)
    whole = np.column_stack([*free, trial.fixed])
    norms = np.maximum(np.linalg.norm(whole, axis=0), 1e-300)
    solved = np.linalg.lstsq(whole / norms, p.y, rcond=1e-13)[0] / norms
    fitted = whole @ solved
    residuals = p.y - fitted
    rss = float(residuals @ residuals)
    count = len(x) + len(solved)
    cov, wider, colour_, effective = _covariance(p, trial, x, solved, whole, residuals)
    estimates = _estimates(record, p, trial, x, solved, cov, effective)
    if exact and len(p.sizes) == 1:
        _profiles(trial, x, estimates, cov, wider, effective, rss)
    spread = float(np.sum((p.y - p.y.mean()) ** 2))
    own = len(free) - len(p.strokes)
    dynamic = np.column_stack(free[:own]) @ solved[:own]
    return Fit(
        model, estimates, solved[: len(free)], p.time, p.y, fitted,
        math.sqrt(rss / max(len(p.y) - count, 1)), 1.0 - rss / spread if spread > 0 else 0.0, colour_, effective, rss,
        count, float(np.max(np.abs(dynamic))), drift, (record.u_unit, record.y_unit),
    )  # fmt: skip


def _covariance(
    p: Problem, trial: _Trial, x: np.ndarray, solved: np.ndarray, whole: np.ndarray, residuals: np.ndarray
) -> tuple[np.ndarray, np.ndarray, Colour, float]:
    """Covariance of (x, factors) as the sandwich of the linearised model with the colour of the residuals.

    The second array is the variance the rise of the sum of squares stands for, by parameter: that of white noise
    times the factor by which the colour widens it.
    """
    modes = trial.model.columns(np.exp(x[1:]))
    n_free = len(modes) * len(p.sizes)
    factors = solved[:n_free]
    rates = [answer(m, float(x[0]), p.at, size, p.time)[1] for size in p.sizes for m in modes]
    columns = [-np.column_stack(rates) @ factors]
    factors = solved[: n_free + len(p.strokes)]
    for i in range(1, len(x)):
        step = np.zeros(len(x))
        step[i] = 1e-5
        up, down = np.column_stack(trial.columns(x + step)), np.column_stack(trial.columns(x - step))
        columns.append((up - down) @ factors / 2e-5)
    jac = np.column_stack([*columns, whole])
    size = np.maximum(np.linalg.norm(jac, axis=0), 1e-300)
    scaled = jac / size
    bread = np.linalg.pinv(scaled.T @ scaled, rcond=1e-13, hermitian=True)
    found = colour(p.time, residuals, jac.shape[1])
    effective = found.effective(len(residuals))
    # each parameter takes the share 1 / n_eff of the variance with it
    kept = 1.0 - min(jac.shape[1] / effective, 0.6)
    variance = float(np.mean(residuals**2)) / kept
    cov = bread @ (variance * long_run(p.time, scaled, found)) @ bread
    wider = np.diag(cov) / np.maximum(np.diag(bread), 1e-300)
    return cov / np.outer(size, size), wider, found, effective


def _profiles(
    trial: _Trial, x: np.ndarray, estimates: dict[str, Estimate], cov: np.ndarray, wider: np.ndarray,
    effective: float, rss: float,
) -> None:  # fmt: skip
    """Widen the intervals of all that the answer is not linear in to the ends of the profile."""
    n = len(x)
    t = _quantile(effective, len(cov), trial.model.parameters)
    rise_at = rise(trial.residuals, x, trial.bounds, trial.scale, rss, cov[:n, :n])
    for i, name in enumerate(("L", *trial.model.shape)):
        edges = (trial.bounds[0][i], trial.bounds[1][i])
        span = edges[1] - edges[0]
        step = float(np.clip(t * math.sqrt(max(cov[i, i], 0.0)), 1e-6 * span, 0.5 * span))
        low, high = profile(partial(rise_at, i), float(x[i]), step, max(t * t * wider[i], 1e-300), edges)
        if name != "L":
            high = math.inf if high >= edges[1] else math.exp(high)
            low = 0.0 if low <= edges[0] else math.exp(low)
        was = estimates[name]
        estimates[name] = replace(was, low=min(low, was.low), high=max(high, was.high))
    if "z" in estimates:
        excess = t * t * wider[n + 1]
        z = estimates["z"]
        low, high = _profile_of_z(trial, x, z.value, t * z.error, rss, excess)
        estimates["z"] = replace(z, low=min(low, max(z.low, -2.0 * trial.most)), high=high)
        if estimates["z"].low <= 0.0:
            _other_branch(trial, estimates, rss, t * t * max(wider[0], wider[n + 1]), excess)


def _profile_of_z(
    trial: _Trial, start: np.ndarray, value: float, step: float, least: float, excess: float
) -> tuple[float, float]:  # fmt: skip
    """Ends of the profile of the inverse response from one place of the others on."""
    fixed = _Trial(trial.p, trial.model, trial.drift)
    low, high = np.array(fixed.bounds[0]), np.array(fixed.bounds[1])

    def rise_of_z(at: float) -> float:
        fixed.z = at
        return descend(fixed.residuals, start.copy(), np.arange(len(start)), low, high,
                       1e-4 * np.array(fixed.scale)) - least  # fmt: skip

    step = min(max(step, 0.02 * abs(value)), 2.0 * trial.most)
    return profile(rise_of_z, value, step, max(excess, 1e-300), (-2.0 * trial.most, 4.0 * trial.most))


def _other_branch(
    trial: _Trial, estimates: dict[str, Estimate], rss: float, excess: float, excess_of_z: float
) -> None:  # fmt: skip
    """Widen dead time and inverse response to what fits as well on the other side of z = 0.

    Where an inverse response is not shown, a lead with a long dead time and an inverse response with a short one are
    two valleys of the sum of squares; a profile that starts in one of them does not see the other.
    """
    n = 1 + len(trial.model.shape)
    low_, high_ = np.array(trial.bounds[0]), np.array(trial.bounds[1])
    dead, z = estimates["L"], estimates["z"]
    free, step = np.arange(1, n), 1e-4 * np.array(trial.scale)
    nearest, place = math.inf, None
    for value in np.linspace(0.0, dead.low, BRANCH_POINTS, endpoint=False):
        starts = [np.array([value, math.log(tau * trial.most), 0.1]) for tau in (0.02, 0.05, 0.1, 0.2)]
        starts = [np.clip(one, low_, high_) for one in starts]
        best = min(starts, key=lambda one: float(np.sum(trial.residuals(one) ** 2)))
        found: list[np.ndarray] = []
        risen = descend(trial.residuals, best, free, low_, high_, step, found) - rss
        if risen <= excess:
            dead = replace(dead, low=min(dead.low, float(value)))
        if risen < nearest:
            nearest, place = risen, found[0]
    estimates["L"] = dead
    if place is None or nearest > excess_of_z:
        return
    columns = np.column_stack([*trial.columns(place), trial.fixed])
    factors = np.linalg.lstsq(columns, trial.p.y, rcond=1e-13)[0]
    if factors[0] != 0.0:
        there = float(np.clip(-factors[1] / factors[0], -2.0 * trial.most, 4.0 * trial.most))
        low, high = _profile_of_z(trial, place, there, 0.5 * abs(there), rss, excess_of_z)
        estimates["z"] = replace(z, low=min(z.low, low), high=max(z.high, high))


BRANCH_POINTS = 8
"""Dead times looked at below the interval for an inverse response in place of a lead."""


def _quantile(effective: float, count: int, together: int) -> float:
    """Student's t at which the intervals of so many parameters hold together in 95 of 100 records (Bonferroni)."""
    return ALLOWANCE * float(stats.t.ppf(1.0 - 0.025 / together, max(effective - count, 2.0)))


def _estimates(
    record: Record, p: Problem, trial: _Trial, x: np.ndarray, solved: np.ndarray, cov: np.ndarray, effective: float
) -> dict[str, Estimate]:
    model = trial.model
    t = _quantile(effective, len(cov), model.parameters)
    gain_unit = record.gain_unit

    def plain(value: float, variance: float, unit: str, least: float = -math.inf) -> Estimate:
        error = math.sqrt(max(variance, 0.0))
        return Estimate(value, max(value - t * error, least), value + t * error, error, unit)

    def positive(value: float, log_variance: float, unit: str) -> Estimate:
        # the logarithm of a time constant is nearer to a normal spread than the constant itself
        error = math.sqrt(max(log_variance, 0.0))
        wide = math.exp(min(t * error, 500.0))
        return Estimate(value, value / wide, value * wide, value * min(error, 1e300), unit)

    found: dict[str, Estimate] = {}
    at = len(x)
    if len(p.sizes) == 1:
        found[model.factors[0]] = plain(float(solved[0]), cov[at, at],
                                        f"{gain_unit}/s" if model.integrating else gain_unit)  # fmt: skip
    for i, name in enumerate(model.shape, start=1):
        found[name] = positive(math.exp(x[i]), cov[i, i], "1" if name == "zeta" else "s")
    if "tau" in model.shape and found["zeta"].low > 1.0:
        found.update(_two_lags(found, cov[1:3, 1:3], positive))
    if "Kz" in model.factors and len(p.sizes) == 1 and solved[0] != 0.0:
        z = -float(solved[1] / solved[0])
        grad = np.array([-z, -1.0]) / solved[0]
        found["z"] = plain(z, float(grad @ cov[at : at + 2, at : at + 2] @ grad), "s")
    dead = float(x[0]) if x[0] > 1e-6 * p.interval else 0.0  # the search stops just short of the end of its range
    found["L"] = plain(dead, cov[0, 0], "s", least=0.0)
    first = at + len(model.factors) * len(p.sizes) + len(p.strokes)
    found["y0"] = plain(float(solved[first - at]), cov[first, first], record.y_unit)
    if trial.drift:
        slope, var = float(solved[first - at + 1]) / p.span, cov[first + 1, first + 1] / p.span**2
        # the column of the drift is nothing at mid-record; the offset meant is that of the start
        half = np.array([1.0, -0.5])
        found["y0"] = plain(float(half @ solved[first - at : first - at + 2]),
                            float(half @ cov[first : first + 2, first : first + 2] @ half), record.y_unit)  # fmt: skip
        found["slope"] = plain(slope, float(var), f"{record.y_unit}/s")
    return found


def _two_lags(found: dict[str, Estimate], cov: np.ndarray, positive) -> dict[str, Estimate]:  # type: ignore[no-untyped-def]
    """Both lags of an overdamped answer, by linearised propagation from ln tau and ln zeta."""
    zeta = found["zeta"].value
    root = math.sqrt(zeta * zeta - 1.0)
    spread = zeta + root
    lags = {}
    for name, sign in (("T1", 1.0), ("T2", -1.0)):
        grad = np.array([1.0, sign * zeta / root])
        lags[name] = positive(found["tau"].value * spread**sign, float(grad @ cov @ grad), "s")
    return lags
