"""Process models with dead time that tuning rules speak of, with exact frequency and step responses.

Gains are in output-unit per input-unit (integrating processes: per second as well), times in s. The output is
the measurement (NTU, m, kg/m3), the input what the controller moves (mL/min, %, m3/s). A gain may have either
sign; an unstable process has no model here.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import ArrayLike, NDArray

from plantsim.analysis.tuning.factors import Factors, peak
from plantsim.errors import PlantsimError

Reals = NDArray[np.float64]


class TuningError(PlantsimError, ValueError):
    """Raised when a tuning question has no answer; its text says why."""


def _finite(owner: object, names: str, positive: str = "", zero_or_more: str = "") -> None:
    for name in f"{names} {positive} {zero_or_more}".split():
        value = getattr(owner, name)
        if not math.isfinite(value):
            raise TuningError(f"{type(owner).__name__}: {name} must be a finite number, not {value}.")
        if name in positive.split() and value <= 0.0:
            raise TuningError(f"{type(owner).__name__}: {name} must be above 0, not {value}.")
        if name in zero_or_more.split() and value < 0.0:
            raise TuningError(f"{type(owner).__name__}: {name} must not be below 0, not {value}.")
        if name in names.split() and value == 0.0:
            raise TuningError(
                f"{type(owner).__name__}: {name} must not be 0: nothing can be controlled by it."
            )


class Process:
    """A process with dead time: what all models can do."""

    def factors(self) -> Factors:
        """The model as a product of factors.

        Returns
        -------
        Factors
            Gain, integrators, lags, leads, second-order terms and dead time.
        """
        raise NotImplementedError

    def chain(self) -> Chain:
        """The same process as a general chain.

        Returns
        -------
        Chain
            Gain, lags, leads, swings, integrators and dead time.
        """
        f = self.factors()
        swings = tuple((math.sqrt(b2), 0.5 * b1 / math.sqrt(b2)) for b2, b1 in f.under)
        return Chain(f.gain, f.lags, f.leads, f.delay, f.integrators, swings)

    def response(self, frequency: ArrayLike) -> NDArray[np.complex128]:
        """Exact frequency response, dead time included.

        Parameters
        ----------
        frequency : array of float
            Angular frequency, above 0 [rad/s]

        Returns
        -------
        array of complex
            Response [output-unit/input-unit]
        """
        return self.factors().response(frequency)

    def step(self, time: ArrayLike, size: float = 1.0) -> Reals:
        """Response to a step of the input at time 0, from rest.

        Parameters
        ----------
        time : array of float
            Times since the step; before the dead time nothing happens [s]
        size : float
            Size of the step [input-unit]

        Returns
        -------
        array of float
            Change of the output [output-unit]
        """
        t = np.asarray(time, dtype=float)
        since = t - self.factors().delay
        moved = self._rise(np.maximum(since, 0.0))
        return np.asarray(np.where(since >= 0.0, size * moved, 0.0))

    def _rise(self, x: Reals) -> Reals:
        """Unit step response without the dead time, by time `x` >= 0 since it passed."""
        return self.chain()._rise(x)

    def tangent(self) -> Integrating:
        """Steepest tangent of the step response: what the step method of Ziegler and Nichols reads off a chart.

        The tangent y = R (t - L) is returned as the integrating process k' = R with dead time L; then a = R L.

        Returns
        -------
        Integrating
            Slope R [output-unit/(input-unit s)] and apparent dead time L [s]

        Notes
        -----
        Refused where the steepest slope is at the very start (one lag, no second): L would be the dead time
        alone. Use the model itself then. Processes with inverse response or leads are read the same way.

        References
        ----------
        J. G. Ziegler and N. B. Nichols, Optimum settings for automatic controllers, Trans. ASME 64 (1942) 759-768.

        Examples
        --------
        >>> third = Chain(1.0, lags=(1.0, 1.0, 1.0)).tangent()
        >>> round(third.L, 6), round(third.k * third.L, 6)
        (0.805472, 0.218018)
        """
        chain = self.chain()
        f = chain.factors()
        if len(f.lags) + 2 * len(f.under) - len(f.leads) < 2 or f.integrators:
            raise TuningError(
                "The step response has no point of inflection: use the model's own dead time and slope."
            )
        sign = math.copysign(1.0, f.gain)
        times = [*f.lags, *(math.sqrt(b2) for b2, _ in f.under)]
        x = np.concatenate([[0.0], np.geomspace(1e-4 * min(times), 10.0 * sum(times), 200)])
        top = int(np.argmax(sign * chain._slope(x)))
        at = peak(lambda v: sign * chain._slope(v), x[top - 1 : top], x[top + 1 : top + 2])
        slope = float(chain._slope(at)[0])
        return Integrating(slope, float(at[0] - chain._rise(at)[0] / slope) + f.delay)


@dataclass(frozen=True)
class FOPDT(Process):
    """First order plus dead time: K e^(-L s)/(T s + 1).

    Parameters
    ----------
    K : float
        Gain [output-unit/input-unit]
    T : float
        Time constant [s]
    L : float
        Dead time [s]

    Examples
    --------
    >>> float(FOPDT(2.0, 10.0, 3.0).step(13.0).round(6))
    1.264241
    """

    K: float
    T: float
    L: float

    def __post_init__(self) -> None:
        _finite(self, "K", positive="T", zero_or_more="L")

    def factors(self) -> Factors:
        return Factors(self.K, delay=self.L, lags=(self.T,))

    def _rise(self, x: Reals) -> Reals:
        return np.asarray(-self.K * np.expm1(-x / self.T))


def _two_lags(x: Reals, slow: float, fast: float) -> tuple[Reals, Reals]:
    """Unit step and impulse response of 1/((slow s + 1)(fast s + 1)), exact for equal lags too."""
    first = np.exp(-x / slow)
    if fast == 0.0:
        return -np.expm1(-x / slow), first / slow
    delta = x * (slow - fast) / (slow * fast)
    mean = np.ones_like(x)
    np.divide(-np.expm1(-delta), delta, out=mean, where=delta > 0.0)
    return 1.0 - first * (1.0 + x / slow * mean), first * x / (slow * fast) * mean


@dataclass(frozen=True)
class SOPDT(Process):
    """Second order plus dead time, not oscillating: K e^(-L s)/((T1 s + 1)(T2 s + 1)).

    Parameters
    ----------
    K : float
        Gain [output-unit/input-unit]
    T1, T2 : float
        Time constants, T1 >= T2 >= 0 [s]
    L : float
        Dead time [s]
    """

    K: float
    T1: float
    T2: float
    L: float

    def __post_init__(self) -> None:
        _finite(self, "K", positive="T1", zero_or_more="T2 L")
        if self.T2 > self.T1:
            raise TuningError(f"SOPDT: T1 is the greater of the two lags, but {self.T1} < {self.T2}.")

    def factors(self) -> Factors:
        return Factors(self.K, delay=self.L, lags=(self.T1, self.T2) if self.T2 > 0.0 else (self.T1,))

    def _rise(self, x: Reals) -> Reals:
        return self.K * _two_lags(x, self.T1, self.T2)[0]


@dataclass(frozen=True)
class SecondOrder(Process):
    """Second order plus dead time with damping: K e^(-L s)/(T^2 s^2 + 2 zeta T s + 1).

    Parameters
    ----------
    K : float
        Gain [output-unit/input-unit]
    T : float
        Inverse of the natural frequency [s]
    zeta : float
        Damping ratio; below 1 it swings [-]
    L : float
        Dead time [s]
    """

    K: float
    T: float
    zeta: float
    L: float

    def __post_init__(self) -> None:
        _finite(self, "K", positive="T zeta", zero_or_more="L")

    def factors(self) -> Factors:
        return Factors(self.K, delay=self.L, under=((self.T**2, 2.0 * self.zeta * self.T),))

    def _rise(self, x: Reals) -> Reals:
        if self.zeta >= 1.0:
            slow = self.T * (self.zeta + math.sqrt(self.zeta**2 - 1.0))
            return self.K * _two_lags(x, slow, self.T**2 / slow)[0]
        turn = math.sqrt(1.0 - self.zeta**2) * x / self.T
        swing = np.cos(turn) + self.zeta * x / self.T * np.sinc(turn / math.pi)
        return np.asarray(self.K * (1.0 - np.exp(-self.zeta * x / self.T) * swing))


@dataclass(frozen=True)
class Integrating(Process):
    """Integrating process with dead time and, if T > 0, a lag: k e^(-L s)/(s (T s + 1)).

    Parameters
    ----------
    k : float
        Slope of the output for each unit of input [output-unit/(input-unit s)]
    L : float
        Dead time [s]
    T : float
        Lag; 0: none [s]
    """

    k: float
    L: float
    T: float = 0.0

    def __post_init__(self) -> None:
        _finite(self, "k", zero_or_more="L T")

    def factors(self) -> Factors:
        return Factors(self.k, 1, self.L, lags=(self.T,) if self.T > 0.0 else ())

    def _rise(self, x: Reals) -> Reals:
        if self.T == 0.0:
            return self.k * x
        return np.asarray(self.k * (x + self.T * np.expm1(-x / self.T)))


@dataclass(frozen=True)
class InverseResponse(Process):
    """First the wrong way: K (1 - T0 s) e^(-L s)/((T1 s + 1)(T2 s + 1)).

    Parameters
    ----------
    K : float
        Gain [output-unit/input-unit]
    T0 : float
        Inverse of the right half-plane zero, above 0 [s]
    T1, T2 : float
        Time constants, T1 >= T2 >= 0 [s]
    L : float
        Dead time [s]
    """

    K: float
    T0: float
    T1: float
    T2: float
    L: float

    def __post_init__(self) -> None:
        _finite(self, "K", positive="T0 T1", zero_or_more="T2 L")
        if self.T2 > self.T1:
            raise TuningError(
                f"InverseResponse: T1 is the greater of the two lags, but {self.T1} < {self.T2}."
            )

    def factors(self) -> Factors:
        lags = (self.T1, self.T2) if self.T2 > 0.0 else (self.T1,)
        return Factors(self.K, delay=self.L, lags=lags, leads=(-self.T0,))

    def _rise(self, x: Reals) -> Reals:
        rise, slope = _two_lags(x, self.T1, self.T2)
        return self.K * (rise - self.T0 * slope)


@dataclass(frozen=True)
class PureDelay(Process):
    """Dead time alone: K e^(-L s), such as a probe at the end of a pipe.

    Parameters
    ----------
    K : float
        Gain [output-unit/input-unit]
    L : float
        Dead time, above 0 [s]
    """

    K: float
    L: float

    def __post_init__(self) -> None:
        _finite(self, "K", positive="L")

    def factors(self) -> Factors:
        return Factors(self.K, delay=self.L)

    def _rise(self, x: Reals) -> Reals:
        return np.full_like(x, self.K)


@dataclass(frozen=True)
class DoubleIntegrating(Process):
    """Two integrators and dead time: k e^(-L s)/s^2.

    Parameters
    ----------
    k : float
        Acceleration of the output for each unit of input [output-unit/(input-unit s^2)]
    L : float
        Dead time [s]
    """

    k: float
    L: float

    def __post_init__(self) -> None:
        _finite(self, "k", zero_or_more="L")

    def factors(self) -> Factors:
        return Factors(self.k, 2, self.L)

    def _rise(self, x: Reals) -> Reals:
        return 0.5 * self.k * x * x


def _exponential_less_one(a: Reals, x: Reals) -> Reals:
    """exp(a x) - 1 of a small matrix for many x at once: Taylor series and doubling F <- F F + 2 F.

    Kept less one, so that nothing is lost while F is small. Many small matrices at once are no work for
    scipy.linalg.expm, whose threads get into each other's way.
    """
    most = float(np.max(np.sum(np.abs(a), axis=0)) * np.max(x, initial=0.0))
    doublings = max(0, math.ceil(math.log2(2.0 * most))) if most > 0.0 else 0
    small = a[None, :, :] * (x / 2.0**doublings)[:, None, None]
    term = small.copy()
    total = small.copy()
    for power in range(2, 17):  # norm at most 1/2: 0.5^17/17! is below rounding
        term = term @ small / power
        total += term
    for _ in range(doublings):
        total = total @ total + 2.0 * total
    return total


@dataclass(frozen=True)
class Chain(Process):
    """Any chain of lags, leads, swings and integrators with dead time: the full model behind a short one.

    Parameters
    ----------
    gain : float
        Gain left when integrators are taken out [output-unit/(input-unit s^n)]
    lags : tuple of float
        Time constants of the lags, all above 0 [s]
    leads : tuple of float
        Time constants of (z s + 1) above the line; below 0: inverse response; none is 0 [s]
    delay : float
        Dead time [s]
    integrators : int
        Number of integrators n [-]
    swings : tuple of (float, float)
        Inverse natural frequency and damping ratio of oscillating terms [s, -]
    """

    gain: float
    lags: tuple[float, ...] = ()
    leads: tuple[float, ...] = ()
    delay: float = 0.0
    integrators: int = 0
    swings: tuple[tuple[float, float], ...] = ()

    def __post_init__(self) -> None:
        for name in ("lags", "leads", "swings"):
            object.__setattr__(self, name, tuple(getattr(self, name)))
        _finite(self, "gain", zero_or_more="delay integrators")
        if any(not (math.isfinite(lag) and lag > 0.0) for lag in self.lags):
            raise TuningError(
                f"Chain: every lag must be above 0, not {self.lags}: an unstable process has no model."
            )
        if any(not math.isfinite(lead) or lead == 0.0 for lead in self.leads):
            raise TuningError(f"Chain: every lead must be a number other than 0, not {self.leads}.")
        if any(not (T > 0.0 and zeta > 0.0) for T, zeta in self.swings):
            raise TuningError(
                f"Chain: every swing must have a time and a damping above 0, not {self.swings}."
            )
        if len(self.leads) > len(self.lags) + 2 * len(self.swings) + self.integrators:
            raise TuningError("Chain: more leads than lags and integrators: no real process reacts so.")

    def factors(self) -> Factors:
        swings = tuple((T * T, 2.0 * zeta * T) for T, zeta in self.swings)
        return Factors(self.gain, self.integrators, self.delay, self.lags, self.leads, under=swings)

    def chain(self) -> Chain:
        return self

    def through(self, lag: float = 0.0, delay: float = 0.0) -> Chain:
        """The chain seen through a measuring filter or a sample line.

        Parameters
        ----------
        lag, delay : float
            Time constant and dead time added; 0: none [s]

        Returns
        -------
        Chain
            The longer chain.
        """
        lags = (*self.lags, lag) if lag > 0.0 else self.lags
        return Chain(self.gain, lags, self.leads, self.delay + delay, self.integrators, self.swings)

    def _states(self) -> tuple[Reals, Reals]:
        """Augmented matrix of the cascade with its unit step input as last state, and output row.

        Each lag carries at most one lead, each swing two, each integrator one: no term is ever improper.
        """
        leads = sorted(self.leads, key=abs)
        size = len(self.lags) + 2 * len(self.swings) + self.integrators + 1
        a = np.zeros((size, size))
        out = np.zeros(size)  # the signal passed on, as a row over the states
        out[-1] = self.gain
        row = 0
        for lag in sorted(self.lags):
            a[row] = out / lag
            a[row, row] -= 1.0 / lag
            part = leads.pop() / lag if leads else 0.0
            out = part * out
            out[row] += 1.0 - part
            row += 1
        for T, zeta in self.swings:
            a[row, row + 1] = 1.0
            a[row + 1] = out / T**2
            a[row + 1, row] -= 1.0 / T**2
            a[row + 1, row + 1] -= 2.0 * zeta / T
            first, second = (leads.pop() if leads else 0.0), (leads.pop() if leads else 0.0)
            # (z1 s + 1)(z2 s + 1) x = z1 z2 x'' + (z1 + z2) x' + x
            out = first * second * a[row + 1]
            out[row] += 1.0
            out[row + 1] += first + second
            row += 2
        for _ in range(self.integrators):
            a[row] = out
            out = (leads.pop() if leads else 0.0) * out
            out[row] += 1.0
            row += 1
        return a, out

    def _state(self, x: Reals) -> tuple[Reals, Reals, Reals]:
        a, out = self._states()
        state = _exponential_less_one(a, np.ravel(x))[:, :, -1]
        state[:, -1] += 1.0
        return a, out, state

    def _rise(self, x: Reals) -> Reals:
        _, out, state = self._state(x)
        return np.asarray((state @ out).reshape(np.shape(x)))

    def _slope(self, x: Reals) -> Reals:
        a, out, state = self._state(x)
        return np.asarray((state @ (out @ a)).reshape(np.shape(x)))


MODELS: dict[str, type[Process]] = {
    "fopdt": FOPDT, "sopdt": SOPDT, "second_order": SecondOrder, "integrating": Integrating,
    "inverse_response": InverseResponse, "pure_delay": PureDelay, "double_integrating": DoubleIntegrating,
}  # fmt: skip
"""Models by the name identification gives them."""


def from_identified(kind: str, parameters: Mapping[str, float]) -> Process:
    """Model from the parameters an identification found.

    Parameters
    ----------
    kind : str
        Name of the model: a key of `MODELS`.
    parameters : mapping of str to float
        Parameters by the names of the model's fields; two lags in either order.

    Returns
    -------
    Process
        The model.

    Examples
    --------
    >>> from_identified("fopdt", {"K": -0.4, "T": 300.0, "L": 900.0})
    FOPDT(K=-0.4, T=300.0, L=900.0)
    """
    if kind not in MODELS:
        raise TuningError(f"No process model is called {kind!r}; there are {', '.join(MODELS)}.")
    model = MODELS[kind]
    names = [field.name for field in fields(model)]  # type: ignore[arg-type]
    if unknown := sorted(set(parameters) - set(names)):
        raise TuningError(
            f"{model.__name__} has no parameter {', '.join(unknown)}; it has {', '.join(names)}."
        )
    values = {name: float(value) for name, value in parameters.items()}
    if "T1" in values and "T2" in values:
        values["T1"], values["T2"] = max(values["T1"], values["T2"]), min(values["T1"], values["T2"])
    try:
        return model(**values)
    except TypeError:
        missing = [name for name in names if name not in values]
        raise TuningError(f"{model.__name__} needs {', '.join(missing)} too.") from None
