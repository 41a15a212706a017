"""How often an electric motor may start: the published table, cycle times, counting over a sliding hour.

The motor maker's own limit goes before anything here.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from plantsim.errors import ConfigError

__all__ = [
    "HP_KW",
    "POUND_FOOT2",
    "START_LIMITS",
    "StartLimit",
    "allowed_starts",
    "minimum_cycle",
    "minimum_rest",
    "start_allowed",
    "start_limit",
    "starts_in_window",
]

#: Mechanical horsepower, [kW]
HP_KW = 0.745699872
#: One pound foot squared, [kg*m2]
POUND_FOOT2 = 0.45359237 * 0.3048**2


class StartLimit(NamedTuple):
    """One row of the table of starts for one number of poles (NEMA MG 10, Table 2-3).

    Parameters
    ----------
    hp : float
        Rated power, [hp]
    starts : float
        A: most starts in an hour, [1/h]
    inertia_starts : float
        B: most product of starts in an hour and load inertia, in pound feet squared, [lb*ft2/h]
    rest : float
        C: least time at rest between starts, [s]
    """

    hp: float
    starts: float
    inertia_starts: float
    rest: float


# Power, then A / B / C for 2, 4 and 6 poles: NEMA MG 10, Table 2-3, Design A and B motors. Conditions:
# voltage and frequency within the standard's limits, load torque with the square of the speed, load inertia
# within the standard.
_ROWS = (
    (1.0, 15.0, 1.2, 75, 30.0, 5.8, 38, 34.0, 15.0, 33),
    (1.5, 12.9, 1.8, 76, 25.7, 8.6, 38, 29.1, 23.0, 34),
    (2.0, 11.5, 2.4, 77, 23.0, 11.0, 39, 26.1, 30.0, 35),
    (3.0, 9.9, 3.5, 80, 19.8, 17.0, 40, 22.4, 44.0, 36),
    (5.0, 8.1, 5.7, 83, 16.3, 27.0, 42, 18.4, 71.0, 37),
    (7.5, 7.0, 8.3, 88, 13.9, 39.0, 44, 15.8, 104.0, 39),
    (10.0, 6.2, 11.0, 92, 12.5, 51.0, 46, 14.2, 137.0, 41),
    (15.0, 5.4, 16.0, 100, 10.7, 75.0, 50, 12.1, 200.0, 44),
    (20.0, 4.8, 21.0, 110, 9.6, 99.0, 55, 10.9, 262.0, 48),
    (25.0, 4.4, 26.0, 115, 8.8, 122.0, 58, 10.0, 324.0, 51),
    (30.0, 4.1, 31.0, 120, 8.2, 144.0, 60, 9.3, 384.0, 53),
    (40.0, 3.7, 40.0, 130, 7.4, 189.0, 65, 8.4, 503.0, 57),
    (50.0, 3.4, 49.0, 145, 6.8, 232.0, 72, 7.7, 620.0, 64),
    (60.0, 3.2, 58.0, 170, 6.3, 275.0, 85, 7.2, 735.0, 75),
    (75.0, 2.9, 71.0, 180, 5.8, 338.0, 90, 6.6, 904.0, 79),
    (100.0, 2.6, 92.0, 220, 5.2, 441.0, 110, 5.9, 1181.0, 97),
    (125.0, 2.4, 113.0, 275, 4.8, 542.0, 140, 5.4, 1452.0, 120),
    (150.0, 2.2, 133.0, 320, 4.5, 640.0, 160, 5.1, 1719.0, 140),
    (200.0, 2.0, 172.0, 600, 4.0, 831.0, 300, 4.5, 2238.0, 265),
    (250.0, 1.8, 210.0, 1000, 3.7, 1017.0, 500, 4.2, 2744.0, 440),
)

#: Rows of the table by number of poles, power rising.
START_LIMITS: dict[int, tuple[StartLimit, ...]] = {
    poles: tuple(StartLimit(row[0], row[i], row[i + 1], float(row[i + 2])) for row in _ROWS)
    for poles, i in ((2, 1), (4, 4), (6, 7))
}


def start_limit(kw: float, poles: int) -> StartLimit:
    r"""Row of the table of starts for a motor [1]_.

    Parameters
    ----------
    kw : float
        Rated power, [kW]
    poles : int
        Number of poles: 2, 4 or 6, [-]

    Returns
    -------
    limit : StartLimit
        The row of this power or, between rows, of the next larger motor, which is allowed fewer starts, [-]

    Notes
    -----
    A motor below 1 hp takes the row of 1 hp. Within 1 % a power counts as that of the row, for metric ratings
    are rounded (110 kW for 150 hp, which is 111.9 kW).

    References
    ----------
    .. [1] NEMA MG 10, Energy Management Guide for Selection and Use of Fixed Frequency Medium AC
       Squirrel-Cage Polyphase Induction Motors, Table 2-3.

    Examples
    --------
    >>> start_limit(18.5, 4)
    StartLimit(hp=25.0, starts=8.8, inertia_starts=122.0, rest=58.0)
    """
    if poles not in START_LIMITS:
        raise ConfigError(f"motor with {poles} poles: the table of starts covers 2, 4 and 6 poles")
    if not kw > 0.0:
        raise ConfigError(f"motor of {kw} kW: the power must be above zero")
    hp = kw / HP_KW
    for row in START_LIMITS[poles]:
        if hp <= 1.01 * row.hp:
            return row
    raise ConfigError(f"motor of {kw} kW: the table of starts ends at 250 hp; give the maker's limit")


def allowed_starts(kw: float, poles: int, inertia: float) -> float:
    r"""Most starts in an hour for a motor with its load (NEMA MG 10, Table 2-3).

    .. math:: N = \min(A, B/J)

    Parameters
    ----------
    kw : float
        Rated power, [kW]
    poles : int
        Number of poles: 2, 4 or 6, [-]
    inertia : float
        Inertia of the load, seen at the motor shaft, [kg*m2]

    Returns
    -------
    starts : float
        Starts in an hour, [1/h]

    Examples
    --------
    >>> allowed_starts(18.5, 4, 0.42)
    8.8
    """
    limit = start_limit(kw, poles)
    if inertia <= 0.0:
        return limit.starts
    return min(limit.starts, limit.inertia_starts / (inertia / POUND_FOOT2))


def minimum_rest(kw: float, poles: int) -> float:
    r"""Least time at rest between starts of a motor (NEMA MG 10, Table 2-3).

    Parameters
    ----------
    kw : float
        Rated power, [kW]
    poles : int
        Number of poles: 2, 4 or 6, [-]

    Returns
    -------
    rest : float
        Time at rest, [s]

    Examples
    --------
    >>> minimum_rest(18.5, 4)
    58.0
    """
    return start_limit(kw, poles).rest


def minimum_cycle(kw: float) -> tuple[float, float]:
    r"""Least cycle time of a squirrel-cage pump motor, lower and upper figure of the guidance [1]_.

    Parameters
    ----------
    kw : float
        Rated power, [kW]

    Returns
    -------
    cycle : tuple of float
        Lower and upper figure of the least time between starts, [s]

    References
    ----------
    .. [1] EI 11C201 / UFC 3-240-04A, Wastewater Collection and Pumping (1997), Table 7-1.

    Examples
    --------
    >>> minimum_cycle(11.0)
    (600.0, 900.0)
    """
    if not kw > 0.0:
        raise ConfigError(f"motor of {kw} kW: the power must be above zero")
    if kw < 15.0:
        return 600.0, 900.0
    if kw <= 75.0:
        return 900.0, 1200.0
    if kw <= 185.0:
        return 1200.0, 1800.0
    raise ConfigError(f"motor of {kw} kW: above 185 kW the cycle time is the maker's to give")


def starts_in_window(starts: Iterable[float], now: float, window: float = 3600.0) -> int:
    r"""Number of starts within the time just past.

    Parameters
    ----------
    starts : iterable of float
        Times of starts, [s]
    now : float
        Present time, [s]
    window : float
        Width of the sliding window, [s]

    Returns
    -------
    count : int
        Starts later than `now - window` and not later than `now`, [-]

    Examples
    --------
    >>> starts_in_window([0.0, 1000.0, 3000.0], 3600.0)
    2
    """
    return sum(1 for start in starts if now - window < start <= now)


def start_allowed(starts: Iterable[float], last_stop: float, now: float, limit: float, rest: float) -> bool:
    r"""Whether a motor may start now: enough rest, and the sliding hour not full.

    Parameters
    ----------
    starts : iterable of float
        Times of starts so far, [s]
    last_stop : float
        When it last stopped, minus infinity when it never ran, [s]
    now : float
        Present time, [s]
    limit : float
        Most starts in an hour, [1/h]
    rest : float
        Least time at rest, [s]

    Returns
    -------
    allowed : bool
        True when one more start keeps both limits, [-]

    Notes
    -----
    A limit such as 8.8 admits 8 starts in any one hour.

    Examples
    --------
    >>> start_allowed([0.0, 1200.0, 2400.0], 2900.0, 3000.0, 3.0, 60.0)
    False
    >>> start_allowed([0.0, 1200.0, 2400.0], 2900.0, 3600.0, 3.0, 60.0)
    True
    """
    return now - last_stop >= rest and starts_in_window(starts, now) + 1 <= limit
