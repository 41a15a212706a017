"""Fill-and-draw cycling of a sump by pumps of constant speed: cycle time, starts, volumes, draw-down."""

from __future__ import annotations

import math
from collections.abc import Sequence

from plantsim.jit import formula

__all__ = [
    "cycle_time",
    "drawdown_capacity",
    "lag_volumes",
    "minimum_cycle_time",
    "required_volume",
    "starts_per_hour",
    "starts_per_pump",
]


@formula
def cycle_time(volume: float, capacity: float, inflow: float) -> float:
    r"""Time from one start of the pump to the next [1]_.

    .. math:: t = V/q + V/(Q - q)

    Parameters
    ----------
    volume : float
        Volume between start and stop level, [m3]
    capacity : float
        Pump capacity, [m3/s]
    inflow : float
        Steady inflow, [m3/s]

    Returns
    -------
    t : float
        Cycle time; infinite when the pump never starts or never stops, [s]

    References
    ----------
    .. [1] MIL-HDBK-1005/9A, Industrial and Oily Wastewater Control, par. 2.5.3.6, Eq. 1.

    Examples
    --------
    >>> round(cycle_time(3.408, 0.0568, 0.0284))
    240
    """
    if inflow <= 0.0 or inflow >= capacity:
        return math.inf
    return volume / inflow + volume / (capacity - inflow)


@formula
def minimum_cycle_time(volume: float, capacity: float) -> float:
    r"""Shortest cycle, met when the inflow is half the pump capacity [1]_.

    .. math:: t = 4V/Q

    Parameters
    ----------
    volume : float
        Volume between start and stop level, [m3]
    capacity : float
        Pump capacity, [m3/s]

    Returns
    -------
    t : float
        Cycle time, [s]

    References
    ----------
    .. [1] MIL-HDBK-1005/9A, par. 2.5.3.6, Eq. 2.
    """
    return 4.0 * volume / capacity


@formula
def starts_per_hour(volume: float, capacity: float, inflow: float) -> float:
    r"""Starts of the pump in an hour.

    .. math:: N = 3600\,q(Q - q)/(VQ)

    Parameters
    ----------
    volume : float
        Volume between start and stop level, [m3]
    capacity : float
        Pump capacity, [m3/s]
    inflow : float
        Steady inflow, [m3/s]

    Returns
    -------
    n : float
        Starts in an hour; 0 when the pump never starts or never stops, [1/h]

    Examples
    --------
    >>> round(starts_per_hour(3.408, 0.0568, 0.0284), 6)
    15.0
    """
    if inflow <= 0.0 or inflow >= capacity:
        return 0.0
    return 3600.0 * inflow * (capacity - inflow) / (volume * capacity)


@formula
def starts_per_pump(volume: float, capacity: float, inflow: float, pumps: int) -> float:
    r"""Starts of each pump in an hour when like pumps take turns, one start each [1]_.

    .. math:: N_1 = N/n

    Parameters
    ----------
    volume : float
        Volume between start and stop level, [m3]
    capacity : float
        Capacity of one pump, [m3/s]
    inflow : float
        Steady inflow, below the capacity of one pump, [m3/s]
    pumps : int
        Pumps in the rotation, [-]

    Returns
    -------
    n : float
        Starts of one pump in an hour, [1/h]

    References
    ----------
    .. [1] EI 11C201 / UFC 3-240-04A (1997), par. 7: with two alternating pumps half the volume serves.
    """
    return starts_per_hour(volume, capacity, inflow) / pumps


@formula
def required_volume(t_min: float, capacity: float, pumps: int) -> float:
    r"""Volume between levels that keeps the cycle of each pump above a least time [1]_.

    .. math:: V = tQ/(4n)

    Parameters
    ----------
    t_min : float
        Least time between starts of one pump, [s]
    capacity : float
        Capacity of one pump, or the gain in flow when a further pump joins, [m3/s]
    pumps : int
        Like pumps that take turns; 1 without alternation, [-]

    Returns
    -------
    volume : float
        Volume between start and stop level, [m3]

    References
    ----------
    .. [1] EI 11C201 / UFC 3-240-04A (1997), par. 7.

    Examples
    --------
    >>> required_volume(600.0, 0.045, 1), required_volume(600.0, 0.045, 2)
    (6.75, 3.375)
    """
    return t_min * capacity / (4.0 * pumps)


@formula
def drawdown_capacity(area: float, fall: float, time: float, inflow: float) -> float:
    r"""Pump capacity from the fall of the level in a timed run.

    .. math:: Q = A\,\Delta h/t + q

    Parameters
    ----------
    area : float
        Plan area of the well, [m2]
    fall : float
        Fall of the level, [m]
    time : float
        Duration, [s]
    inflow : float
        Inflow during the test, 0 when it is shut, [m3/s]

    Returns
    -------
    q : float
        Pump capacity, [m3/s]
    """
    return area * fall / time + inflow


def lag_volumes(combined: Sequence[float], t_min: float) -> list[float]:
    r"""Volume each start level adds when pumps join one after the other [1]_.

    .. math:: V_k = t\,(Q_k - Q_{k-1})/4

    Parameters
    ----------
    combined : sequence of float
        Flow with 1, 2, 3, ... pumps on the common line, rising, [m3/s]
    t_min : float
        Least time between starts of one pump, [s]

    Returns
    -------
    volumes : list of float
        Volume for each pump: the first above the common stop level, each further one above the level before,
        [m3]

    Notes
    -----
    Pumps on one line add less and less flow, so each further pump needs less volume.

    References
    ----------
    .. [1] EI 11C201 / UFC 3-240-04A (1997), par. 7: q is the pump capacity or its increment.

    Examples
    --------
    >>> [round(v, 6) for v in lag_volumes([0.04, 0.06], 600.0)]
    [6.0, 3.0]
    """
    volumes = []
    before = 0.0
    for flow in combined:
        if flow <= before:
            raise ValueError("each further pump must add flow")
        volumes.append(required_volume(t_min, flow - before, 1))
        before = flow
    return volumes
