"""How residuals hang together in time, and what that takes from the number of samples.

The autocorrelation of residuals is taken as `w exp(-h / c)` at lags h > 0: white noise of the instrument (share
1 - w) on a slow wander of the process with the correlation time c. That holds for uneven times too.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

LAGS = 12


@dataclass(frozen=True)
class Colour:
    """Autocorrelation of residuals."""

    first: float
    """Autocorrelation of neighbours."""
    share: float
    """Share of the variance that is slow; 0 for white residuals."""
    time: float
    """Correlation time of the slow share [s]."""
    interval: float
    """Usual interval of the samples [s]."""

    def effective(self, count: int) -> float:
        """Number of independent samples whose mean is as sure as that of so many of these."""
        if self.share <= 0.0:
            return float(count)
        fade = math.exp(-self.interval / self.time)
        return max(count / (1.0 + 2.0 * self.share * fade / (1.0 - fade)), 1.0)

    def squares(self, count: int) -> float:
        """Number of independent samples whose sum of squares is as sure as that of so many of these.

        A sum of squares forgets faster than a mean: its variance goes with the squared autocorrelation (Bartlett;
        Priestley, Spectral Analysis and Time Series, 1981, section 5.3, from memory). Models are compared by their
        sums of squares, so this is the number that counts there.
        """
        if self.share <= 0.0:
            return float(count)
        fade = math.exp(-2.0 * self.interval / self.time)
        return max(count / (1.0 + 2.0 * self.share**2 * fade / (1.0 - fade)), 1.0)


def autocorrelation(time: np.ndarray, residuals: np.ndarray, lags: int) -> np.ndarray:
    """Autocorrelation of residuals at lags of 1 ... `lags` samples, pairs across a gap left out.

    Parameters
    ----------
    time : ndarray
        Times [s].
    residuals : ndarray
        Residuals.
    lags : int
        Number of lags.
    """
    usual = float(np.median(np.diff(time)))
    square = float(residuals @ residuals)
    found = np.zeros(lags)
    if square <= 0.0:
        return found
    for k in range(1, lags + 1):
        near = time[k:] - time[:-k] <= 1.5 * k * usual + usual
        if near.any():
            pairs = residuals[k:][near] * residuals[:-k][near]
            found[k - 1] = pairs.mean() * len(residuals) / square
    return found


def colour(time: np.ndarray, residuals: np.ndarray, fitted: int) -> Colour:
    """Estimate the colour of residuals.

    Every fitted parameter takes some of the noise with it, of slow noise most: about `1 / n_eff` of the variance,
    at all short lags alike. That is put back, in turns with the effective number of samples.

    Parameters
    ----------
    time : ndarray
        Times [s].
    residuals : ndarray
        Residuals of a fit.
    fitted : int
        Number of fitted parameters.

    Returns
    -------
    Colour
        White when the autocorrelation of neighbours is within two standard errors of none.
    """
    count = len(residuals)
    usual = float(np.median(np.diff(time)))
    lags = min(LAGS, max(count // 4, 1))
    rho = autocorrelation(time, residuals, lags)
    first = float(rho[0])
    white = Colour(first, 0.0, usual, usual)
    if count < 8 or first + fitted / count <= 2.0 / math.sqrt(count):
        return white
    found = white
    for _ in range(6):
        taken = min(fitted / found.effective(count), 0.6)
        share, decay = _decay(rho * (1.0 - taken) + taken, count)
        found = Colour(first, share, usual * decay, usual)
    return found


def _decay(rho: np.ndarray, count: int) -> tuple[float, float]:
    """Share and correlation time, in samples, nearest to an autocorrelation."""
    k = np.arange(1, len(rho) + 1)
    decays = np.geomspace(0.3, max(0.1 * count, 2.0), 60)
    shapes = np.exp(-k / decays[:, None])
    shares = np.clip(shapes @ rho / np.sum(shapes * shapes, axis=1), 0.0, 1.0)
    best = int(np.argmin(np.sum((rho - shares[:, None] * shapes) ** 2, axis=1)))
    return float(shares[best]), float(decays[best])


def long_run(time: np.ndarray, columns: np.ndarray, found: Colour) -> np.ndarray:
    """`C' R C` for the correlation matrix R of residuals of a colour, without building R.

    Parameters
    ----------
    time : ndarray
        Times [s].
    columns : ndarray, shape (samples, p)
        Derivatives of the model.
    found : Colour
        The colour.

    Returns
    -------
    ndarray, shape (p, p)
    """
    plain = columns.T @ columns
    if found.share <= 0.0:
        return plain
    fades = np.exp(-np.diff(time) / found.time)
    behind = np.zeros_like(columns)
    for i, fade in enumerate(fades):
        behind[i + 1] = fade * (behind[i] + columns[i])
    side = columns.T @ behind
    return plain + found.share * (side + side.T)
