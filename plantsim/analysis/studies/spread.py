"""How one parameter of a study is spread: a range, a distribution or a list, from a share to a text with its unit.

A share is a number from 0 to 1, as samplers give it: the value is the one below which that share of the
distribution lies (the inverse of the cumulative distribution), so every sampler serves every distribution.
"""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Any

from plantsim.plant.fields import Refusal, quoted

SHAPES = ("even", "log", "normal", "triangle")
_NUMBER = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*?)\s*")
_MOMENTS = ("%Y-%m-%d %H:%M", "%Y-%m-%d")
TAIL = 1e-6
"""Share cut off at each end of a distribution that has no end: a plant has no infinite values."""


@dataclass(frozen=True)
class Spread:
    """One parameter of a study.

    Parameters
    ----------
    name : str
        Its name in tables.
    paths : tuple of str
        Keys of the plant file that take its value.
    unit : str
        Unit of its numbers; empty for a plain number, `words` for a list of texts, `moment` for calendar times.
    values : tuple of str
        The list it is drawn from; empty for a range.
    low, high : float
        Ends of the range in `unit`; for a normal distribution those of the shares `TAIL` and 1 - `TAIL`.
        Calendar times are seconds since 1970.
    inverse : callable or None
        Value of a share, for a range.
    """

    name: str
    paths: tuple[str, ...]
    unit: str
    values: tuple[str, ...] = ()
    low: float = 0.0
    high: float = 1.0
    inverse: Callable[[float], float] | None = None

    def text(self, share: float) -> str:
        """Value of a share, as it would stand in the plant file."""
        if self.values:
            return self.values[min(int(share * len(self.values)), len(self.values) - 1)]
        assert self.inverse is not None
        number = self.inverse(share)
        if self.unit == "moment":
            return (dt.datetime(1970, 1, 1) + dt.timedelta(minutes=round(number / 60.0))).strftime(_MOMENTS[0])
        return f"{number:.12g} {self.unit}".strip()

    def number(self, text: str) -> float:
        """A value as a number to reckon with: in the parameter's unit, or its place in the list."""
        if self.values:
            return float(self.values.index(text))
        if self.unit == "moment":
            return moment(text)
        return split(text)[0]


def split(text: str) -> tuple[float, str]:
    """Number and unit of a text.

    Raises
    ------
    Refusal
        If it begins with no number.

    Examples
    --------
    >>> split("5 %"), split("1e-3 m2/s"), split("0.4")
    ((5.0, '%'), (0.001, 'm2/s'), (0.4, ''))
    """
    match = _NUMBER.fullmatch(text)
    if match is None:
        raise Refusal(quoted(text), "a number with its unit")
    return float(match[1]), match[2]


def moment(text: str) -> float:
    """Seconds from 1970 to a calendar time.

    Raises
    ------
    Refusal
        If it is none.

    Examples
    --------
    >>> moment("1970-01-02 06:00")
    108000.0
    """
    for form in _MOMENTS:
        try:
            return (dt.datetime.strptime(text.strip(), form) - dt.datetime(1970, 1, 1)).total_seconds()
        except ValueError:
            continue
    raise Refusal(quoted(text), "a calendar time such as 2027-01-04 06:00")


def is_moment(text: str) -> bool:
    """Whether a text is a calendar time."""
    try:
        moment(text)
    except Refusal:
        return False
    return True


def of_range(name: str, paths: tuple[str, ...], low: str, high: str, shape: str = "even", mode: str | None = None,
             every: str | None = None) -> Spread:  # fmt: skip
    """A range of numbers, evenly or otherwise spread.

    Parameters
    ----------
    name, paths
        See `Spread`.
    low, high : str
        Ends, with one and the same unit, or calendar times.
    shape : str
        `even`, `log` (even in the logarithm) or `triangle`.
    mode : str, optional
        Where a triangle has its peak; the middle when left out.
    every : str, optional
        Width of even steps from `low` on; without it every number of the range can come. For calendar times in
        days, hours or minutes.

    Raises
    ------
    Refusal
        If the ends are no range, units differ, or a logarithm meets a number that is not above zero.
    """
    if is_moment(low) and is_moment(high):
        a, b, unit = moment(low), moment(high), "moment"
    else:
        (a, unit), (b, other) = split(low), split(high)
        if unit != other:
            raise Refusal(f"{quoted(low)} and {quoted(high)}", "one unit for both ends")
    if not b > a:
        raise Refusal(f"{quoted(low)} to {quoted(high)}", "a second end above the first")
    if every is not None:
        return Spread(name, paths, unit, (), a, b, _stepped(a, b, _width(every, unit)))
    if shape == "log":
        if not a > 0.0:
            raise Refusal(quoted(low), "ends above zero for a logarithmic range")
        return Spread(name, paths, unit, (), a, b, lambda u: math.exp(math.log(a) + u * (math.log(b) - math.log(a))))
    if shape == "triangle":
        peak = 0.5 * (a + b) if mode is None else moment(mode) if unit == "moment" else _in(mode, unit)
        if not a <= peak <= b:
            raise Refusal(quoted(mode or ""), f"a peak from {low} to {high}")
        c = (peak - a) / (b - a)

        def triangle(u: float) -> float:
            left = math.sqrt(u * c) if c > 0.0 else 0.0
            return a + (b - a) * (left if u < c else 1.0 - math.sqrt((1.0 - u) * (1.0 - c)))

        return Spread(name, paths, unit, (), a, b, triangle)
    return Spread(name, paths, unit, (), a, b, lambda u: a + u * (b - a))


def of_normal(name: str, paths: tuple[str, ...], mean: str, deviation: str, low: str | None = None,
              high: str | None = None) -> Spread:  # fmt: skip
    """A normal distribution, cut off at ends where a number beyond them makes no sense.

    Raises
    ------
    Refusal
        If units differ or the ends do not lie around numbers that can come.
    """
    (mu, unit), sigma = split(mean), _in(deviation, split(mean)[1])
    if not sigma > 0.0:
        raise Refusal(quoted(deviation), "a deviation above zero")
    below = TAIL if low is None else max(TAIL, float(_normal().cdf((_in(low, unit) - mu) / sigma)))
    above = 1.0 - TAIL if high is None else min(1.0 - TAIL, float(_normal().cdf((_in(high, unit) - mu) / sigma)))
    if not above > below:
        raise Refusal(f"{quoted(low or '')} to {quoted(high or '')}", "ends that leave a part of the distribution")

    def inverse(u: float) -> float:
        return float(mu + sigma * _normal().ppf(below + u * (above - below)))

    return Spread(name, paths, unit, (), inverse(0.0), inverse(1.0), inverse)


def of_list(name: str, paths: tuple[str, ...], values: tuple[str, ...]) -> Spread:
    """A list of texts, each as likely as any other."""
    return Spread(name, paths, "words", values)


@cache
def _normal() -> Any:
    from scipy.stats import norm

    return norm


def _in(text: str, unit: str) -> float:
    number, other = split(text)
    if other != unit:
        raise Refusal(quoted(text), f"the unit of the rest, '{unit}'" if unit else "a number without unit, as the rest")
    return number


def _width(text: str, unit: str) -> float:
    if unit != "moment":
        return _in(text, unit)
    number, other = split(text)
    seconds = {"d": 86400.0, "day": 86400.0, "days": 86400.0, "h": 3600.0, "min": 60.0, "week": 604800.0,
               "weeks": 604800.0}  # fmt: skip
    if other not in seconds:
        raise Refusal(quoted(text), "a number of min, h, d or weeks")
    return number * seconds[other]


def _stepped(low: float, high: float, width: float) -> Callable[[float], float]:
    if not 0.0 < width <= high - low:
        raise Refusal(f"steps of {width:g}", "steps above zero, not wider than the range")
    count = math.floor((high - low) / width * (1.0 + 1e-12)) + 1
    return lambda u: low + width * min(int(u * count), count - 1)
