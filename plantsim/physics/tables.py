"""Piecewise-linear tables held in arrays of fixed capacity, of which the first `count` entries count.

The capacity is part of the compiled type and the count is data, so a table with another number of points
recompiles nothing.
"""

from __future__ import annotations

from collections.abc import Sequence

from plantsim.jit import formula

__all__ = ["table_at", "table_slope"]


@formula
def table_at(x: float, xs: Sequence[float], ys: Sequence[float], count: int, clamp: bool) -> float:
    r"""Value of a piecewise-linear table (linear interpolation between points).

    .. math:: y = y_i + (y_{i+1} - y_i)\frac{x - x_i}{x_{i+1} - x_i}

    Parameters
    ----------
    x : float
        Where the table is read, [-]
    xs : sequence of float
        Abscissae, rising strictly over the first `count` entries, [-]
    ys : sequence of float
        Ordinates, [-]
    count : int
        Number of points in use, at least 1, [-]
    clamp : bool
        True: hold the end values outside the table; False: go on along the end segments, [-]

    Returns
    -------
    y : float
        Ordinate, [-]

    Notes
    -----
    The units are those of the table; a table of one point is a constant.

    Examples
    --------
    >>> table_at(1.5, [0.0, 1.0, 2.0], [0.0, 10.0, 30.0], 3, True)
    20.0
    >>> table_at(3.0, [0.0, 1.0, 2.0], [0.0, 10.0, 30.0], 3, False)
    50.0
    """
    last = count - 1
    if last <= 0:
        return ys[0]
    if clamp:
        if x <= xs[0]:
            return ys[0]
        if x >= xs[last]:
            return ys[last]
    i = 0
    while i < last - 1 and x > xs[i + 1]:
        i += 1
    return ys[i] + (ys[i + 1] - ys[i]) * (x - xs[i]) / (xs[i + 1] - xs[i])


@formula
def table_slope(x: float, xs: Sequence[float], ys: Sequence[float], count: int) -> float:
    r"""Slope of the segment of a piecewise-linear table in which `x` lies (end segments outside).

    .. math:: y' = \frac{y_{i+1} - y_i}{x_{i+1} - x_i}

    Parameters
    ----------
    x : float
        Where the slope is wanted, [-]
    xs : sequence of float
        Abscissae, rising strictly over the first `count` entries, [-]
    ys : sequence of float
        Ordinates, [-]
    count : int
        Number of points in use, at least 1, [-]

    Returns
    -------
    slope : float
        Change of the ordinate for each unit of the abscissa, [-]

    Notes
    -----
    At a point of the table the slope of the segment before it is given. A table of one point has slope 0.

    Examples
    --------
    >>> table_slope(1.5, [0.0, 1.0, 2.0], [0.0, 10.0, 30.0], 3)
    20.0
    """
    last = count - 1
    if last <= 0:
        return 0.0
    i = 0
    while i < last - 1 and x > xs[i + 1]:
        i += 1
    return (ys[i + 1] - ys[i]) / (xs[i + 1] - xs[i])
