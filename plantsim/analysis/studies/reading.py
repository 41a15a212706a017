"""Reading a study: how likely each check is met, what moves a figure, how it lies over two parameters, the worst run.

References
----------
.. [1] Wilson, J. Amer. Statist. Assoc. 22 (1927) 209-212: interval of a share.
.. [2] Sobol', Math. Comput. Simul. 55 (2001) 271-280; Saltelli et al., Comput. Phys. Commun. 181 (2010) 259-270:
   first-order and total indices and their estimators.
.. [3] Nadaraya, Theory Probab. Appl. 9 (1964) 141-142; Watson, Sankhya A 26 (1964) 359-372: kernel mean; width after
   Scott, "Multivariate Density Estimation", 1992, section 6.3.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from plantsim.analysis.checks import FAILED, OK
from plantsim.analysis.studies.plan import Plan
from plantsim.analysis.studies.sampling import StudyError

FIXED = ("case", "seed", "scenario", "status", "reason")
BINS = 5
"""Parts of a parameter's range whose means a tornado compares."""


@dataclass(frozen=True)
class Summary:
    """A figure over all runs: mean, standard deviation, percentiles, ends, and the rows of the ends."""

    name: str
    unit: str
    count: int
    mean: float
    deviation: float
    p5: float
    p50: float
    p95: float
    least: float
    most: float
    least_case: int
    most_case: int


@dataclass(frozen=True)
class Chance:
    """How often a check was met: runs that met it, runs judged, share and its 95 % interval, and the worst run."""

    name: str
    held: int
    judged: int
    share: float
    low: float
    high: float
    worst_margin: float
    unit: str
    worst_case: int


@dataclass(frozen=True)
class Swing:
    """What a parameter does to a figure.

    Parameters
    ----------
    parameter : str
        Its name.
    low, high : float
        Mean of the figure in the lowest and the highest part of the parameter's range.
    rank : float
        Spearman's rank correlation; not a number for a list of words.
    noise : float
        Standard error of the difference of the two means.
    """

    parameter: str
    low: float
    high: float
    rank: float
    noise: float

    @property
    def size(self) -> float:
        """Difference of the two means, without sign."""
        return abs(self.high - self.low)


@dataclass(frozen=True)
class Index:
    """Sobol index of a parameter: first order and total, each with the half width of its 95 % interval."""

    parameter: str
    first: float
    first_half: float
    total: float
    total_half: float


@dataclass(frozen=True)
class Surface:
    """A figure over two parameters: `x`, `y` ascending, `values[j, i]` at `x[i]`, `y[j]`; NaN where no run is near."""

    x: np.ndarray
    y: np.ndarray
    values: np.ndarray
    exact: bool
    """A grid: every value is a run, or the mean of runs; else a kernel mean of runs near by."""


def figures_of(table: Mapping[str, np.ndarray]) -> list[str]:
    """Names of the figures in a table."""
    return [name for name in table if name not in FIXED and not name.startswith(("in.", "check.", "margin."))]


def summaries(table: Mapping[str, np.ndarray], units: Mapping[str, str]) -> list[Summary]:
    """Every figure over all runs that have it."""
    found = []
    for name in figures_of(table):
        values = table[name].astype(float)
        here = np.flatnonzero(np.isfinite(values))
        if not len(here):
            continue
        v = values[here]
        case = table["case"][here]
        p5, p50, p95 = np.percentile(v, (5, 50, 95))
        found.append(Summary(
            name, units.get(name, "1"), len(v), float(v.mean()), float(v.std(ddof=1)) if len(v) > 1 else 0.0,
            float(p5), float(p50), float(p95), float(v.min()), float(v.max()), int(case[v.argmin()]),
            int(case[v.argmax()]),
        ))  # fmt: skip
    return found


def chances(table: Mapping[str, np.ndarray], units: Mapping[str, str]) -> list[Chance]:
    """Every acceptance check: how often it was met, by Wilson's interval [1]_."""
    from scipy.stats import binomtest

    found = []
    for column in table:
        if not column.startswith("check."):
            continue
        name = column.removeprefix("check.")
        outcome = table[column]
        judged = np.isin(outcome, (OK, FAILED))
        n, k = int(judged.sum()), int((outcome == OK).sum())
        if not n:
            continue
        interval = binomtest(k, n).proportion_ci(0.95, method="wilson")
        margin = np.where(judged, table[f"margin.{name}"].astype(float), np.nan)
        worst = int(np.nanargmin(margin)) if np.isfinite(margin).any() else int(np.flatnonzero(judged)[0])
        found.append(Chance(name, k, n, k / n, float(interval.low), float(interval.high), float(margin[worst]),
                            units.get(f"margin.{name}", "1"), int(table["case"][worst])))  # fmt: skip
    return found


def parameter(plan: Plan, table: Mapping[str, np.ndarray], name: str) -> np.ndarray:
    """Values of a parameter as numbers: its unit, seconds since 1970, or the place in its list.

    Raises
    ------
    StudyError
        If the study has no such parameter.
    """
    for s in plan.spreads:
        if s.name == name:
            column = table[f"in.{name}"]
            return np.array([s.number(text) for text in column]) if column.dtype == object else column.astype(float)
    raise StudyError(f"found parameter '{name}'; allowed: {', '.join(s.name for s in plan.spreads)}")


def tornado(plan: Plan, table: Mapping[str, np.ndarray], figure: str) -> list[Swing]:
    """What each parameter does to a figure, the strongest first.

    Parameters
    ----------
    plan : Plan
        The study.
    table : mapping of str to ndarray
        Its table.
    figure : str
        Name of a figure.

    Returns
    -------
    list of Swing
        Empty when too few runs have the figure to fill the parts of a range.
    """
    from scipy.stats import spearmanr

    if figure not in table:
        raise StudyError(f"found figure '{figure}'; allowed: {', '.join(figures_of(table))}")
    y = table[figure].astype(float)
    good = np.isfinite(y)
    found = []
    for s in plan.spreads:
        x = parameter(plan, table, s.name)[good]
        v = y[good]
        levels = np.unique(x)
        if len(levels) < 2 or len(v) < 2 * BINS:
            continue
        if len(levels) <= BINS:
            ends = v[x == levels[0]], v[x == levels[-1]]
        else:
            cut = np.quantile(x, (1.0 / BINS, 1.0 - 1.0 / BINS))
            ends = v[x <= cut[0]], v[x >= cut[1]]
        rank = math.nan if s.values or np.ptp(v) == 0.0 else float(spearmanr(x, v).statistic)
        noise = math.sqrt(sum(e.var(ddof=1) / len(e) if len(e) > 1 else 0.0 for e in ends))
        found.append(Swing(s.name, float(ends[0].mean()), float(ends[1].mean()), rank, noise))
    return sorted(found, key=lambda swing: -swing.size)


def sobol_indices(names: Sequence[str], values: np.ndarray, seed: int = 1) -> list[Index]:
    """First-order and total Sobol indices [2]_ of results on the Saltelli scheme.

    Parameters
    ----------
    names : sequence of str
        Parameters, in the order of the samples.
    values : ndarray, shape (N (k + 2),)
        Results in the order of the samples.
    seed : int
        Seed of the resampling that gives the intervals.

    Returns
    -------
    list of Index

    Raises
    ------
    StudyError
        If a result is missing: the scheme has no place for gaps; or if all results are one and the same.
    """
    from SALib.analyze import sobol

    if not np.isfinite(values).all():
        raise StudyError(f"Sobol indices need every run: {int((~np.isfinite(values)).sum())} of {len(values)} gave no "
                         "result")  # fmt: skip
    if np.ptp(values) == 0.0:
        raise StudyError("Sobol indices share out a variance: all results are one and the same")
    problem = {"num_vars": len(names), "names": list(names), "bounds": [[0.0, 1.0]] * len(names)}
    got = sobol.analyze(problem, values, calc_second_order=False, seed=seed, print_to_console=False)
    return [
        Index(name, float(got["S1"][i]), float(got["S1_conf"][i]), float(got["ST"][i]), float(got["ST_conf"][i]))
        for i, name in enumerate(names)
    ]


def surface(plan: Plan, table: Mapping[str, np.ndarray], first: str, second: str, figure: str,
            points: int = 41) -> Surface:  # fmt: skip
    """A figure over two parameters.

    Where both have few values each place is the mean of its runs; else a kernel mean [3]_, shown only where runs
    are near.
    """
    x, y = parameter(plan, table, first), parameter(plan, table, second)
    v = table[figure].astype(float)
    good = np.isfinite(v)
    x, y, v = x[good], y[good], v[good]
    if len(v) < 4 or np.ptp(x) == 0.0 or np.ptp(y) == 0.0:
        raise StudyError(f"{figure} over {first} and {second}: too few different runs for a map")
    ux, uy = np.unique(x), np.unique(y)
    if len(ux) * len(uy) <= len(v):
        values = np.array([[_mean(v[(x == a) & (y == b)]) for a in ux] for b in uy])
        return Surface(ux, uy, values, True)
    gx, gy = np.linspace(x.min(), x.max(), points), np.linspace(y.min(), y.max(), points)
    width = len(v) ** (-1.0 / 6.0)  # Scott's rule in two dimensions, in standard deviations
    zx = (gx[None, :, None] - x) / (width * x.std())
    zy = (gy[:, None, None] - y) / (width * y.std())
    weight = np.exp(-0.5 * (zx**2 + zy**2))
    total = weight.sum(axis=2)
    with np.errstate(invalid="ignore"):
        values = (weight * v).sum(axis=2) / total
    values[total < 1.0] = np.nan  # less than one run's worth near by
    return Surface(gx, gy, values, False)


def _mean(values: np.ndarray) -> float:
    return float(values.mean()) if len(values) else math.nan


def pick_case(table: Mapping[str, np.ndarray], wanted: str) -> int:
    """Number of the run that is meant.

    Parameters
    ----------
    table : mapping of str to ndarray
        The table of a study.
    wanted : str
        A case's number; `most:FIGURE` or `least:FIGURE`; `worst:CHECK` for the least margin of a check; `failed`
        for the first run that failed.

    Returns
    -------
    int

    Raises
    ------
    StudyError
        If there is none.
    """
    if wanted.isdecimal():
        if int(wanted) not in table["case"]:
            raise StudyError(f"found case {wanted}; allowed: 0 to {int(table['case'].max())}")
        return int(wanted)
    if wanted == "failed":
        bad = np.flatnonzero(table["status"] != "done")
        if not len(bad):
            raise StudyError("no run of this study failed")
        return int(table["case"][bad[0]])
    how, _, name = wanted.partition(":")
    if how in ("most", "least", "worst") and name:
        column: Any = f"margin.{name}" if how == "worst" else name
        if column in table:
            values = table[column].astype(float)
            if np.isfinite(values).any():
                place = np.nanargmax(values) if how == "most" else np.nanargmin(values)
                return int(table["case"][place])
        checks = [c.removeprefix("margin.") for c in table if c.startswith("margin.")]
        known = checks if how == "worst" else figures_of(table)
        from plantsim.plant.program_variables import nearest
        from plantsim.units import sentence

        raise StudyError(sentence(f"'{name}'", "a check of the study" if how == "worst" else "a figure of the study",
                                  nearest(name, known)))  # fmt: skip
    raise StudyError(f"found '{wanted}'; allowed: a case's number, most:FIGURE, least:FIGURE, worst:CHECK or failed")
