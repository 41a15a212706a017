"""Level, volume and free surface of vessels, each way: prism, cylinders, cones, sphere, table.

Levels are measured from the lowest inside point. A level below zero counts as empty. Closed shapes
(horizontal cylinder, sphere) hold no more than their full volume; open ones go on upward with the section at
their top.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from plantsim.jit import formula
from plantsim.physics.tables import table_at, table_slope

__all__ = [
    "cone_bottom_level",
    "cone_bottom_surface",
    "cone_bottom_volume",
    "frustum_level",
    "frustum_surface",
    "frustum_volume",
    "horizontal_level",
    "horizontal_surface",
    "horizontal_volume",
    "prism_level",
    "prism_volume",
    "segment_angle_term",
    "sphere_level",
    "sphere_surface",
    "sphere_volume",
    "table_level",
    "table_surface",
    "table_volume",
    "vertical_cylinder_level",
    "vertical_cylinder_volume",
]


@formula
def prism_volume(level: float, area: float) -> float:
    r"""Volume in a vessel with upright walls.

    .. math:: V = A h

    Parameters
    ----------
    level : float
        Level, [m]
    area : float
        Plan area, [m2]

    Returns
    -------
    volume : float
        Volume, [m3]
    """
    return area * max(0.0, level)


@formula
def prism_level(volume: float, area: float) -> float:
    r"""Level in a vessel with upright walls.

    .. math:: h = V/A

    Parameters
    ----------
    volume : float
        Volume, [m3]
    area : float
        Plan area, [m2]

    Returns
    -------
    level : float
        Level, [m]
    """
    return max(0.0, volume) / area


@formula
def vertical_cylinder_volume(level: float, d: float) -> float:
    r"""Volume in an upright cylinder with a flat bottom.

    .. math:: V = \pi d^2 h/4

    Parameters
    ----------
    level : float
        Level, [m]
    d : float
        Inside diameter, [m]

    Returns
    -------
    volume : float
        Volume, [m3]
    """
    return 0.25 * math.pi * d * d * max(0.0, level)


@formula
def vertical_cylinder_level(volume: float, d: float) -> float:
    r"""Level in an upright cylinder with a flat bottom.

    .. math:: h = 4V/(\pi d^2)

    Parameters
    ----------
    volume : float
        Volume, [m3]
    d : float
        Inside diameter, [m]

    Returns
    -------
    level : float
        Level, [m]
    """
    return max(0.0, volume) / (0.25 * math.pi * d * d)


@formula
def frustum_surface(level: float, r_bottom: float, r_top: float, height: float) -> float:
    r"""Free surface in an upright cone frustum.

    .. math:: A = \pi[r_0 + (r_1 - r_0)h/H]^2

    Parameters
    ----------
    level : float
        Level, [m]
    r_bottom : float
        Radius at the bottom; 0 for a cone that comes to a point, [m]
    r_top : float
        Radius at the top, [m]
    height : float
        Height of the frustum, [m]

    Returns
    -------
    area : float
        Free surface, [m2]
    """
    r = r_bottom + (r_top - r_bottom) * min(max(level / height, 0.0), 1.0)
    return math.pi * r * r


@formula
def frustum_volume(level: float, r_bottom: float, r_top: float, height: float) -> float:
    r"""Volume in an upright cone frustum.

    .. math:: V = \frac{\pi h}{3}(r_0^2 + r_0 r + r^2), \quad r = r_0 + (r_1 - r_0)h/H

    Parameters
    ----------
    level : float
        Level, [m]
    r_bottom : float
        Radius at the bottom, [m]
    r_top : float
        Radius at the top, [m]
    height : float
        Height of the frustum, [m]

    Returns
    -------
    volume : float
        Volume; above the frustum the wall goes on upright, [m3]
    """
    h = min(max(level, 0.0), height)
    r = r_bottom + (r_top - r_bottom) * h / height
    body = math.pi * h / 3.0 * (r_bottom * r_bottom + r_bottom * r + r * r)
    return body + math.pi * r_top * r_top * max(0.0, level - height)


@formula
def frustum_level(volume: float, r_bottom: float, r_top: float, height: float) -> float:
    r"""Level in an upright cone frustum: the closed inverse of `frustum_volume`.

    .. math:: r^3 = r_0^3 + 3kV/\pi, \quad k = (r_1 - r_0)/H, \quad h = (r - r_0)/k

    Parameters
    ----------
    volume : float
        Volume, [m3]
    r_bottom : float
        Radius at the bottom, [m]
    r_top : float
        Radius at the top, [m]
    height : float
        Height of the frustum, [m]

    Returns
    -------
    level : float
        Level, [m]

    Notes
    -----
    Written as V over the mean section so that a nearly upright wall loses no digits.
    """
    full = math.pi * height / 3.0 * (r_bottom * r_bottom + r_bottom * r_top + r_top * r_top)
    if volume <= 0.0:
        return 0.0
    if volume >= full:
        return height + (volume - full) / (math.pi * r_top * r_top)
    k = (r_top - r_bottom) / height
    r = max(0.0, r_bottom * r_bottom * r_bottom + 3.0 * k * volume / math.pi) ** (1.0 / 3.0)
    return 3.0 * volume / (math.pi * (r_bottom * r_bottom + r_bottom * r + r * r))


@formula
def cone_bottom_surface(level: float, d: float, cone: float, r_outlet: float) -> float:
    r"""Free surface in an upright cylinder on a cone.

    .. math:: A = \pi r(h)^2

    Parameters
    ----------
    level : float
        Level above the outlet, [m]
    d : float
        Inside diameter of the cylinder, [m]
    cone : float
        Height of the cone, above zero, [m]
    r_outlet : float
        Radius of the flat at the foot of the cone, 0 for a point, [m]

    Returns
    -------
    area : float
        Free surface, [m2]
    """
    return frustum_surface(level, r_outlet, 0.5 * d, cone)


@formula
def cone_bottom_volume(level: float, d: float, cone: float, r_outlet: float) -> float:
    r"""Volume in an upright cylinder on a cone.

    .. math:: V = V_{cone}(\min(h, h_c)) + \frac{\pi d^2}{4}\max(0, h - h_c)

    Parameters
    ----------
    level : float
        Level above the outlet, [m]
    d : float
        Inside diameter of the cylinder, [m]
    cone : float
        Height of the cone, above zero, [m]
    r_outlet : float
        Radius of the flat at the foot of the cone, 0 for a point, [m]

    Returns
    -------
    volume : float
        Volume, [m3]

    Examples
    --------
    >>> round(cone_bottom_volume(3.0, 4.0, 2.0, 0.0), 4)
    20.944
    """
    return frustum_volume(level, r_outlet, 0.5 * d, cone)


@formula
def cone_bottom_level(volume: float, d: float, cone: float, r_outlet: float) -> float:
    r"""Level in an upright cylinder on a cone: the closed inverse of `cone_bottom_volume`.

    .. math:: V(h) = V

    Parameters
    ----------
    volume : float
        Volume, [m3]
    d : float
        Inside diameter of the cylinder, [m]
    cone : float
        Height of the cone, above zero, [m]
    r_outlet : float
        Radius of the flat at the foot of the cone, 0 for a point, [m]

    Returns
    -------
    level : float
        Level above the outlet, [m]
    """
    return frustum_level(volume, r_outlet, 0.5 * d, cone)


@formula
def segment_angle_term(t: float) -> float:
    r"""Area of a circular segment over the radius squared, from half its angle.

    .. math:: t - \sin t\cos t

    Parameters
    ----------
    t : float
        Half the angle the segment subtends at the centre, 0 to pi, [rad]

    Returns
    -------
    term : float
        Segment area over the radius squared, [-]

    Notes
    -----
    Below 0.03 by its power series, for there the difference would lose the digits.

    Examples
    --------
    >>> segment_angle_term(math.pi) == math.pi
    True
    """
    if t < 0.03:
        x = t * t
        return t * x * (2.0 / 3.0 - x * (2.0 / 15.0 - x * (4.0 / 315.0 - x * 2.0 / 2835.0)))
    return t - 0.5 * math.sin(2.0 * t)


@formula
def horizontal_surface(level: float, d: float, length: float, head: float) -> float:
    r"""Free surface in a lying cylinder with flat or ellipsoidal ends.

    .. math:: A = 2L\sqrt{h(d - h)} + \pi a h(2 - h/r)

    Parameters
    ----------
    level : float
        Level, [m]
    d : float
        Inside diameter, [m]
    length : float
        Length of the cylindrical part, [m]
    head : float
        Depth of each end, 0 for flat ends, [m]

    Returns
    -------
    area : float
        Free surface, [m2]
    """
    h = min(max(level, 0.0), d)
    return 2.0 * length * math.sqrt(h * (d - h)) + math.pi * head * h * (2.0 - 2.0 * h / d)


@formula
def horizontal_volume(level: float, d: float, length: float, head: float) -> float:
    r"""Volume in a lying cylinder with flat or ellipsoidal ends.

    .. math:: V = L r^2(t - \sin t\cos t) + \pi a h^2\left(1 - \frac{h}{3r}\right), \quad h = r(1 - \cos t)

    Parameters
    ----------
    level : float
        Level, [m]
    d : float
        Inside diameter, [m]
    length : float
        Length of the cylindrical part, [m]
    head : float
        Depth of each of the two ends, 0 for flat ends, [m]

    Returns
    -------
    volume : float
        Volume, [m3]

    Examples
    --------
    >>> round(horizontal_volume(0.75, 3.0, 10.0, 0.0), 5)
    13.81916
    """
    r = 0.5 * d
    h = min(max(level, 0.0), d)
    segment = r * r * segment_angle_term(2.0 * math.asin(min(1.0, math.sqrt(h / d))))
    return length * segment + math.pi * head * h * h * (1.0 - h / (3.0 * r))


@formula
def horizontal_level(volume: float, d: float, length: float, head: float) -> float:
    r"""Level in a lying cylinder with flat or ellipsoidal ends: the inverse of `horizontal_volume`.

    .. math:: V(h) = V

    Parameters
    ----------
    volume : float
        Volume, [m3]
    d : float
        Inside diameter, [m]
    length : float
        Length of the cylindrical part, [m]
    head : float
        Depth of each of the two ends, 0 for flat ends, [m]

    Returns
    -------
    level : float
        Level, [m]

    Notes
    -----
    Newton's method held inside a shrinking bracket, on the angle rather than the level, for the volume is
    smooth in it at the bottom and at the top.
    """
    r = 0.5 * d
    full = math.pi * r * r * length + 4.0 / 3.0 * math.pi * head * r * r
    if volume <= 0.0:
        return 0.0
    if volume >= full:
        return d
    low = 0.0
    high = math.pi
    t = 0.5 * math.pi
    for _ in range(100):
        sine = math.sin(t)
        h = 2.0 * r * math.sin(0.5 * t) ** 2
        ends = math.pi * head * h * h * (1.0 - h / (3.0 * r))
        excess = length * r * r * segment_angle_term(t) + ends - volume
        if excess > 0.0:
            high = t
        else:
            low = t
        slope = r * sine * (2.0 * length * r * sine + math.pi * head * h * (2.0 - h / r))
        new = 0.5 * (low + high)
        if slope > 0.0:
            newton = t - excess / slope
            if low < newton < high:
                new = newton
        if abs(new - t) <= 1e-15 * t:
            t = new
            break
        t = new
    return 2.0 * r * math.sin(0.5 * t) ** 2


@formula
def sphere_surface(level: float, d: float) -> float:
    r"""Free surface in a sphere.

    .. math:: A = \pi h(d - h)

    Parameters
    ----------
    level : float
        Level, [m]
    d : float
        Inside diameter, [m]

    Returns
    -------
    area : float
        Free surface, [m2]
    """
    h = min(max(level, 0.0), d)
    return math.pi * h * (d - h)


@formula
def sphere_volume(level: float, d: float) -> float:
    r"""Volume in a sphere.

    .. math:: V = \pi h^2(3r - h)/3

    Parameters
    ----------
    level : float
        Level, [m]
    d : float
        Inside diameter, [m]

    Returns
    -------
    volume : float
        Volume, [m3]
    """
    h = min(max(level, 0.0), d)
    return math.pi * h * h * (1.5 * d - h) / 3.0


@formula
def sphere_level(volume: float, d: float) -> float:
    r"""Level in a sphere: the closed inverse of `sphere_volume` (cubic by the sine of a third of an angle).

    .. math:: h = r\left[1 - 2\sin\left(\tfrac13\arcsin(1 - 2V/V_{full})\right)\right]

    Parameters
    ----------
    volume : float
        Volume, [m3]
    d : float
        Inside diameter, [m]

    Returns
    -------
    level : float
        Level, [m]

    Notes
    -----
    Near empty and full the closed form keeps about half the digits, some 1e-8 of the diameter; two Newton
    steps mend it.
    """
    full = math.pi * d * d * d / 6.0
    if volume <= 0.0:
        return 0.0
    if volume >= full:
        return d
    h = 0.5 * d * (1.0 - 2.0 * math.sin(math.asin(1.0 - 2.0 * volume / full) / 3.0))
    if h <= 1e-6 * d:
        h = math.sqrt(volume / (0.5 * math.pi * d))
    for _ in range(2):
        slope = math.pi * h * (d - h)
        if slope > 0.0:
            h -= (math.pi * h * h * (1.5 * d - h) / 3.0 - volume) / slope
    return min(max(h, 0.0), d)


@formula
def table_volume(level: float, levels: Sequence[float], volumes: Sequence[float], count: int) -> float:
    r"""Volume in a vessel given by a table of levels and volumes (linear between points).

    .. math:: V = V_i + (V_{i+1} - V_i)\frac{h - h_i}{h_{i+1} - h_i}

    Parameters
    ----------
    level : float
        Level, [m]
    levels : sequence of float
        Levels, rising, [m]
    volumes : sequence of float
        Volumes, rising, [m3]
    count : int
        Points in use, at least 2, [-]

    Returns
    -------
    volume : float
        Volume; not below the first, and above the last on along the last segment, [m3]
    """
    return max(volumes[0], table_at(level, levels, volumes, count, False))


@formula
def table_level(volume: float, levels: Sequence[float], volumes: Sequence[float], count: int) -> float:
    r"""Level in a vessel given by a table of levels and volumes: the inverse of `table_volume`.

    .. math:: h = h_i + (h_{i+1} - h_i)\frac{V - V_i}{V_{i+1} - V_i}

    Parameters
    ----------
    volume : float
        Volume, [m3]
    levels : sequence of float
        Levels, rising, [m]
    volumes : sequence of float
        Volumes, rising strictly, [m3]
    count : int
        Points in use, at least 2, [-]

    Returns
    -------
    level : float
        Level, [m]
    """
    return max(levels[0], table_at(volume, volumes, levels, count, False))


@formula
def table_surface(level: float, levels: Sequence[float], volumes: Sequence[float], count: int) -> float:
    r"""Free surface in a vessel given by a table: the slope of volume against level.

    .. math:: A = \frac{V_{i+1} - V_i}{h_{i+1} - h_i}

    Parameters
    ----------
    level : float
        Level, [m]
    levels : sequence of float
        Levels, rising, [m]
    volumes : sequence of float
        Volumes, rising, [m3]
    count : int
        Points in use, at least 2, [-]

    Returns
    -------
    area : float
        Mean free surface of the segment, [m2]
    """
    return table_slope(level, levels, volumes, count)
