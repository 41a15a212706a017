"""Exact frequency response of a product of simple factors and a dead time: gain and phase without wrapping.

Processes and controllers of this package are all products of a gain, integrators, lags, leads, second-order
terms and a dead time. Kept as factors, the phase is a sum of arctangents: it never has to be unwrapped, and
the dead time is exact at every frequency (no Pade approximation).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Reals = NDArray[np.float64]


@dataclass(frozen=True)
class Factors:
    """gain e^(-delay s) prod(z s + 1) prod(a2 s^2 + a1 s + 1) / (s^n prod(T s + 1) prod(b2 s^2 + b1 s + 1)).

    Parameters
    ----------
    gain : float
        Gain left when integrators are taken out; either sign [output-unit/input-unit/s^n]
    integrators : int
        Number n of integrators [-]
    delay : float
        Dead time [s]
    lags, leads : tuple of float
        Time constants below and above the line; a negative lead is an inverse response [s]
    over, under : tuple of (float, float)
        Second-order terms (a2, a1) above and below the line, all coefficients positive [s^2, s]
    """

    gain: float
    integrators: int = 0
    delay: float = 0.0
    lags: tuple[float, ...] = ()
    leads: tuple[float, ...] = ()
    over: tuple[tuple[float, float], ...] = ()
    under: tuple[tuple[float, float], ...] = ()

    def times(self, other: Factors) -> Factors:
        """Product of two, one after the other."""
        return Factors(
            self.gain * other.gain, self.integrators + other.integrators, self.delay + other.delay,
            self.lags + other.lags, self.leads + other.leads, self.over + other.over, self.under + other.under,
        )  # fmt: skip

    def log_gain(self, frequency: Reals) -> Reals:
        """Natural logarithm of the amplitude ratio.

        Parameters
        ----------
        frequency : array of float
            Angular frequency, above 0 [rad/s]

        Returns
        -------
        array of float
            ln of the amplitude ratio [-]
        """
        w = frequency
        out = math.log(abs(self.gain)) - self.integrators * np.log(w)
        for lead in self.leads:
            out = out + 0.5 * np.log1p((lead * w) ** 2)
        for lag in self.lags:
            out = out - 0.5 * np.log1p((lag * w) ** 2)
        for a2, a1 in self.over:
            out = out + np.log(np.hypot(1.0 - a2 * w * w, a1 * w))
        for a2, a1 in self.under:
            out = out - np.log(np.hypot(1.0 - a2 * w * w, a1 * w))
        return out

    def phase(self, frequency: Reals) -> Reals:
        """Phase, continuous in frequency (never wrapped); a negative gain counts as -pi.

        Parameters
        ----------
        frequency : array of float
            Angular frequency, above 0 [rad/s]

        Returns
        -------
        array of float
            Phase [rad]
        """
        w = frequency
        out = -self.delay * w - 0.5 * math.pi * self.integrators - (math.pi if self.gain < 0.0 else 0.0)
        for lead in self.leads:
            out = out + np.arctan(lead * w)
        for lag in self.lags:
            out = out - np.arctan(lag * w)
        for a2, a1 in self.over:
            out = out + np.arctan2(a1 * w, 1.0 - a2 * w * w)
        for a2, a1 in self.under:
            out = out - np.arctan2(a1 * w, 1.0 - a2 * w * w)
        return out

    def response(self, frequency: ArrayLike) -> NDArray[np.complex128]:
        """Complex frequency response.

        Parameters
        ----------
        frequency : array of float
            Angular frequency, above 0 [rad/s]

        Returns
        -------
        array of complex
            Response [output-unit/input-unit]
        """
        w = np.asarray(frequency, dtype=float)
        s = 1j * w
        out = self.gain * np.exp(-self.delay * s) / s**self.integrators
        for lead in self.leads:
            out = out * (lead * s + 1.0)
        for lag in self.lags:
            out = out / (lag * s + 1.0)
        for a2, a1 in self.over:
            out = out * (a2 * s * s + a1 * s + 1.0)
        for a2, a1 in self.under:
            out = out / (a2 * s * s + a1 * s + 1.0)
        return np.asarray(out, dtype=complex)

    def roll_off(self) -> tuple[int, float]:
        """High-frequency asymptote |G| = beta / w^m of the amplitude ratio.

        Returns
        -------
        (int, float)
            Order m (0: the gain stays finite; below 0: it grows without limit) and beta.
        """
        order = self.integrators + len(self.lags) + 2 * len(self.under) - len(self.leads) - 2 * len(self.over)
        above = math.prod(abs(z) for z in self.leads) * math.prod(a2 for a2, _ in self.over)
        below = math.prod(self.lags) * math.prod(a2 for a2, _ in self.under)
        return order, abs(self.gain) * above / below

    def corners(self) -> list[float]:
        """Frequencies at which something happens: break points, resonances, where the asymptotes cross 1.

        Returns
        -------
        list of float
            Angular frequencies, in rising order [rad/s]
        """
        found = [1.0 / abs(constant) for constant in (*self.lags, *self.leads)]
        for a2, a1 in (*self.over, *self.under):
            found += [1.0 / math.sqrt(a2), 1.0 / a1, a1 / a2]
        if self.delay > 0.0:
            found.append(1.0 / self.delay)
        if self.integrators > 0:
            found.append(abs(self.gain) ** (1.0 / self.integrators))
        order, beta = self.roll_off()
        if order > 0:
            found.append(beta ** (1.0 / order))
        return sorted(found) or [1.0]

    def grid(self, points_per_decade: int = 100, beyond: float = 3.0) -> Reals:
        """Frequencies between which amplitude ratio and phase are both monotone.

        Parameters
        ----------
        points_per_decade : int
            Fineness of the logarithmic grid [1/decade]
        beyond : float
            Decades below the lowest and above the highest corner [-]

        Returns
        -------
        array of float
            Angular frequencies: a logarithmic grid, the corners, and every extremum of gain and phase [rad/s]
        """
        corners = self.corners()
        low, high = (
            math.log(corners[0]) - beyond * math.log(10.0),
            math.log(corners[-1]) + beyond * math.log(10.0),
        )
        count = math.ceil((high - low) / math.log(10.0) * points_per_decade) + 1
        extra = list(np.log(corners))
        for a2, a1 in (*self.over, *self.under):  # a resonance can be narrower than the grid
            width = a1 / math.sqrt(a2)
            if width < 0.5:
                extra += [-0.5 * math.log(a2) + width * step for step in np.linspace(-4.0, 4.0, 81)]
        x = np.unique(np.concatenate([np.linspace(low, high, count), np.clip(extra, low, high)]))
        for curve in (self.log_gain, self.phase):
            x = np.unique(np.concatenate([x, _extrema(lambda at, curve=curve: curve(np.exp(at)), x)]))  # type: ignore[misc]
        return np.exp(x)


def _extrema(curve, x: Reals) -> Reals:  # type: ignore[no-untyped-def]
    """Positions of the local extrema of a curve on the grid `x`, each refined within its two cells."""
    y = curve(x)
    step = np.diff(y)
    noise = 1e-13 * (1.0 + np.abs(y[1:-1]))
    for sign in (1.0, -1.0):
        at = np.nonzero((sign * step[:-1] > noise) & (sign * step[1:] < -noise))[0] + 1
        if at.size:
            x = np.concatenate([x, peak(lambda v, sign=sign: sign * curve(v), x[at - 1], x[at + 1])])  # type: ignore[misc]
    return np.asarray(np.unique(x))


def peak(curve, low: Reals, high: Reals, rounds: int = 48) -> Reals:  # type: ignore[no-untyped-def]
    """Positions of the greatest values of a curve between many pairs of bounds at once (golden section).

    Parameters
    ----------
    curve : callable
        Vectorised function, with one peak in each bracket.
    low, high : array of float
        Brackets, in the unit of the curve's argument.
    rounds : int
        Rounds; each makes the brackets 0.618 times as long [-]

    Returns
    -------
    array of float
        Positions.
    """
    ratio = 0.5 * (math.sqrt(5.0) - 1.0)
    a, b = low.copy(), high.copy()
    c, d = b - ratio * (b - a), a + ratio * (b - a)
    at_c, at_d = curve(c), curve(d)
    for _ in range(rounds):
        left = at_c >= at_d
        a, b = np.where(left, a, c), np.where(left, d, b)
        inner = np.where(left, b - ratio * (b - a), a + ratio * (b - a))
        value = curve(inner)
        c, d = np.where(left, inner, d), np.where(left, c, inner)
        at_c, at_d = np.where(left, value, at_d), np.where(left, at_c, value)
    return np.asarray(0.5 * (a + b))


def roots(curve, low: Reals, high: Reals, rounds: int = 60) -> Reals:  # type: ignore[no-untyped-def]
    """Roots of a curve between many pairs of bounds at once (bisection to rounding).

    Parameters
    ----------
    curve : callable
        Vectorised function whose sign differs at the two ends of each bracket.
    low, high : array of float
        Brackets, in the unit of the curve's argument.
    rounds : int
        Halvings [-]

    Returns
    -------
    array of float
        Roots.
    """
    a, b = low.copy(), high.copy()
    rising = curve(b) > curve(a)
    for _ in range(rounds):
        middle = 0.5 * (a + b)
        above = (curve(middle) >= 0.0) == rising
        a, b = np.where(above, a, middle), np.where(above, middle, b)
    return np.asarray(0.5 * (a + b))
