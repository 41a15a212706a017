"""Settling and compression laws as the tables a clarifier's kernel reads, and the step they allow.

A law is data: whatever its form, the kernel sees f(C) = C v(C) and A(C), the integral of the compression
coefficient, on an even grid of C, the settleable solids (coarse and fines) in kg/m3, at 20 degC and without
polymer.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from plantsim.errors import ConfigError
from plantsim.physics.settling import (
    velocity_power,
    velocity_richardson_zaki,
    velocity_takacs,
    velocity_vesilind,
)
from plantsim.physics.stress import stress_exponential_slope, stress_log_slope, stress_power_slope
from plantsim.physics.water import GRAVITY

Law = Callable[[float], float]

# law -> parameters, in the order in which they are named to the user
VELOCITY_LAWS: dict[str, tuple[str, ...]] = {
    "richardson-zaki": ("v0", "n"),
    "vesilind": ("v0", "r"),
    "takacs": ("v0", "r_h", "r_p", "c_min", "v_max"),
    "power": ("v0", "c_half", "q"),
}
"""Velocity laws, their parameters: v0, v_max [m/s]; r, r_h, r_p [m3/kg]; c_min, c_half [kg/m3]; n, q [-]."""
STRESS_LAWS: dict[str, tuple[str, ...]] = {
    "power": ("sigma0", "k"),
    "exponential": ("sigma0", "k"),
    "log": ("a", "b"),
}
"""Effective-stress laws above the gel point: sigma0, a [Pa]; k [-]; b [kg/m3]."""
PACKING = 0.02
"""Last part of the tables over which the flux is led to 0, so that no layer packs beyond `c_max`."""


@dataclass(frozen=True)
class SettlingTable:
    """Tables of one material in one clarifier, on an even grid of C from 0 to `c_max`.

    Attributes
    ----------
    flux : ndarray
        f(C) [kg/m2/s]; 0 at both ends, led to 0 over the last 2 % of the grid: a layer at `c_max` takes
        nothing more.
    compression : ndarray
        A(C), integral of the compression coefficient from the gel point [kg/(m s)].
    c_max : float
        Last concentration of the grid [kg/m3].
    c_hat : float
        Concentration of the greatest flux, a point of the grid [kg/m3].
    c_gel : float
        Gel point [kg/m3]; 0: no bed, no compression.
    """

    flux: np.ndarray
    compression: np.ndarray
    c_max: float
    c_hat: float
    c_gel: float

    @property
    def spacing(self) -> float:
        """Distance of the grid points [kg/m3]."""
        return self.c_max / (len(self.flux) - 1)

    def _speeds(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """For every stretch of the grid: the speed of a change of concentration (or of the solids, where that is
        greater) [m/s], the same of the compression [m2/s], and the part of its speed the coarse slips at [-]."""
        c = np.linspace(0.0, self.c_max, len(self.flux))
        wave = np.maximum(np.abs(np.diff(self.flux)) / self.spacing, self.flux[1:] / c[1:])
        spread = np.maximum(np.diff(self.compression) / self.spacing, self.compression[1:] / c[1:])
        free = 1.0 - c[:-1] / self.c_gel if self.c_gel > 0.0 else np.ones(len(c) - 1)
        return wave, spread, np.maximum(free, 0.0) ** 3

    def largest_step(
        self,
        height: float,
        bulk: float = 0.0,
        factor: float = 1.0,
        coarse_velocity: float = 0.0,
        shape: float = 1.0,
    ) -> float:
        """Longest step [s] for which the explicit scheme is monotone, hence stable.

        dt [shape max_C(s |f'| + 2 s a/h + w (1 - C/c_gel)^3) / h + q/h] <= 1: the condition of Buerger, Karlsen
        and Towers (2005) with the settling factor s, the slip of the coarse w and the bulk speed q. All terms are
        those of one layer, which has one concentration C: the greatest sum counts, not the sum of the greatest.
        Where f/C is above |f'|, or A/C above a, it takes its place, so that no layer loses more than it holds.

        Parameters
        ----------
        height : float
            Height of a layer [m].
        bulk : float
            Greatest outflow of a layer by bulk flow times its height over its volume [m/s].
        factor : float
            Greatest settling factor, floc over viscosity [-].
        coarse_velocity : float
            Free settling speed of the coarse in the warmest water [m/s].
        shape : float
            Greatest interface area times layer height over the volume of a layer beside it: 1 in a cylinder,
            more in a cone [-].

        Returns
        -------
        float
            Bound on the step [s]; inf if nothing moves.
        """
        if height <= 0.0:
            raise ConfigError(f"a layer's height must be above 0 m, got {height:g}")
        wave, spread, free = self._speeds()
        speed = factor * (wave + 2.0 * spread / height) + coarse_velocity * free
        total = shape * float(np.max(speed)) + bulk
        return height / total if total > 0.0 else math.inf

    def check_step(self, dt: float, height: float, **limits: float) -> None:
        """Refuse a step beyond `largest_step`, and state the bound.

        Raises
        ------
        ConfigError
            If `dt` is beyond the bound.
        """
        bound = self.largest_step(height, **limits)
        if dt > bound:
            raise ConfigError(
                f"a step of {dt:g} s is too long for layers of {height:g} m: at most {bound:.4g} s; "
                "take a shorter step or fewer layers"
            )


def velocity_law(name: str, params: Mapping[str, float], solids_density: float) -> Law:
    """A named velocity law as a function of C [kg/m3], giving m/s.

    Parameters
    ----------
    name : str
        One of `VELOCITY_LAWS`.
    params : mapping
        Its parameters, SI.
    solids_density : float
        Density of the solids [kg/m3]; only Richardson and Zaki's law, which is in volume fraction, needs it.

    Raises
    ------
    ConfigError
        If the law is unknown or a parameter is missing, unknown or out of range.
    """
    values = _parameters("velocity law", name, params, VELOCITY_LAWS)
    if name == "richardson-zaki":
        v0, n = values
        return lambda c: velocity_richardson_zaki(c / solids_density, v0, n)
    if name == "vesilind":
        v0, r = values
        return lambda c: velocity_vesilind(c, v0, r)
    if name == "takacs":
        v0, r_h, r_p, c_min, v_max = values
        return lambda c: velocity_takacs(c, v0, r_h, r_p, c_min, v_max)
    v0, c_half, q = values
    return lambda c: velocity_power(c, v0, c_half, q)


def velocity_points(concentrations: Sequence[float], velocities: Sequence[float]) -> Law:
    """A velocity law through measured points: straight lines in (C, ln v), so that v falls smoothly.

    The first value holds below the first point, the last slope goes on beyond the last.

    Parameters
    ----------
    concentrations : sequence of float
        Rising, at least two [kg/m3].
    velocities : sequence of float
        Initial settling speeds at them, above 0 and never rising [m/s].

    Raises
    ------
    ConfigError
        If the points do not make a law.
    """
    c = np.asarray(concentrations, float)
    v = np.asarray(velocities, float)
    if c.ndim != 1 or c.shape != v.shape or len(c) < 2:
        raise ConfigError(f"settling points: need two or more pairs, got {c.size} and {v.size} numbers")
    if c[0] < 0.0 or np.any(np.diff(c) <= 0.0):
        raise ConfigError("settling points: concentrations must rise from 0 or above")
    if np.any(v <= 0.0) or np.any(np.diff(v) > 0.0):
        raise ConfigError("settling points: speeds must be above 0 and never rise with concentration")
    logs = np.log(v)
    slope = (logs[-1] - logs[-2]) / (c[-1] - c[-2])

    def law(x: float) -> float:
        if x > c[-1]:
            return math.exp(logs[-1] + slope * (x - c[-1]))
        return math.exp(float(np.interp(x, c, logs)))

    return law


def stress_slope(name: str, params: Mapping[str, float], c_gel: float, solids_density: float) -> Law:
    """Slope of a named effective-stress law [Pa per kg/m3] as a function of C [kg/m3].

    Parameters
    ----------
    name : str
        One of `STRESS_LAWS`. The exponential law is exp(k phi) in the volume fraction.
    params : mapping
        Its parameters, SI.
    c_gel : float
        Gel point, above 0 [kg/m3].
    solids_density : float
        Density of the solids [kg/m3].

    Raises
    ------
    ConfigError
        If the law is unknown or a parameter is missing, unknown or out of range.
    """
    values = _parameters("stress law", name, params, STRESS_LAWS)
    if c_gel <= 0.0:
        raise ConfigError(f"an effective-stress law needs a gel point above 0 kg/m3, got {c_gel:g}")
    one, two = values
    if name == "power":
        return lambda c: stress_power_slope(c, c_gel, one, two)
    if name == "exponential":
        rho = solids_density
        return lambda c: stress_exponential_slope(c / rho, c_gel / rho, one, two) / rho
    return lambda c: stress_log_slope(c, c_gel, one, two)


def build_table(
    velocity: Law,
    *,
    c_max: float,
    solids_density: float,
    fluid_density: float = 998.2,
    c_gel: float = 0.0,
    stress: Law | None = None,
    points: int = 1025,
    gravity: float = GRAVITY,
) -> SettlingTable:
    r"""Tabulate a velocity law and a stress slope.

    .. math:: f(C) = C v(C), \quad A(C) = \int_{C_g}^{C} \frac{f \sigma_e' \rho_s}{\Delta\rho\, g\, c}\, dc

    Parameters
    ----------
    velocity : callable
        v(C) [m/s], see `velocity_law` and `velocity_points`.
    c_max : float
        Densest packing: end of the tables [kg/m3].
    solids_density, fluid_density : float
        Densities [kg/m3].
    c_gel : float
        Gel point; 0: none [kg/m3].
    stress : callable, optional
        Slope of the effective stress [Pa per kg/m3], see `stress_slope`; none: no compression.
    points : int
        Points of each table.
    gravity : float
        Acceleration of free fall [m/s2].

    Returns
    -------
    SettlingTable
        Tables for the kernel.

    Raises
    ------
    ConfigError
        If the flux has more than one hump, never rises, or a number is out of range.

    Notes
    -----
    The integral is taken by Simpson's rule over each interval of the grid; within the interval that holds the
    gel point it starts there, so that the jump of the coefficient costs no accuracy.

    References
    ----------
    .. [1] Buerger, R., Karlsen, K. H., Towers, J. D. (2005), SIAM J. Appl. Math. 65(3), 882-940.
    """
    if points < 8:
        raise ConfigError(f"a settling table needs 8 points or more, got {points}")
    if not 0.0 < c_max <= solids_density:
        raise ConfigError(f"c_max must be above 0 and at most the solids density, got {c_max:g} kg/m3")
    if not 0.0 <= c_gel < c_max:
        raise ConfigError(f"the gel point must be from 0 to below c_max = {c_max:g}, got {c_gel:g} kg/m3")
    if solids_density <= fluid_density:
        raise ConfigError(
            f"solids of {solids_density:g} kg/m3 do not settle in a fluid of {fluid_density:g} kg/m3"
        )
    grid = np.linspace(0.0, c_max, points)
    flux = np.array([c * velocity(float(c)) for c in grid])
    if not np.all(np.isfinite(flux)) or np.any(flux < 0.0):
        raise ConfigError("the settling speed must be finite and never negative from 0 to c_max")
    flux *= np.minimum((1.0 - grid / c_max) / PACKING, 1.0)
    peak = int(np.argmax(flux))
    if peak == 0:
        raise ConfigError("the settling speed is nowhere above 0")
    if np.any(np.diff(flux[: peak + 1]) < 0.0) or np.any(np.diff(flux[peak:]) > 0.0):
        raise ConfigError(
            "the settling flux C v(C) must rise to one greatest value and fall from there; this law has more "
            "than one hump, so its speeds do not come from one material"
        )
    compression = np.zeros(points)
    if stress is not None:
        scale = solids_density / ((solids_density - fluid_density) * gravity)

        def coefficient(c: float) -> float:
            return velocity(c) * stress(c) * scale

        for i in range(1, points):
            if grid[i] > c_gel:
                # a hair above the gel point, where the slope is that of the bed
                low = max(float(grid[i - 1]), c_gel * (1.0 + 1e-12))
                high = float(grid[i])
                mean = coefficient(low) + 4.0 * coefficient(0.5 * (low + high)) + coefficient(high)
                compression[i] = compression[i - 1] + (high - low) * mean / 6.0
    return SettlingTable(flux, compression, float(c_max), float(grid[peak]), float(c_gel))


def _parameters(
    what: str, name: str, params: Mapping[str, float], laws: Mapping[str, tuple[str, ...]]
) -> list[float]:
    """Values of a law's parameters in its order; every finding at once."""
    if name not in laws:
        raise ConfigError(f"no such {what}: {name!r}; allowed: {', '.join(laws)}")
    wanted = laws[name]
    findings = [f"{what} {name}: {key} is missing" for key in wanted if key not in params]
    findings += [
        f"{what} {name}: no such parameter {key!r}; allowed: {', '.join(wanted)}"
        for key in params
        if key not in wanted
    ]
    findings += [
        f"{what} {name}: {key} must be a finite number of at least 0, got {params[key]}"
        for key in wanted
        if key in params and not (math.isfinite(params[key]) and params[key] >= 0.0)
    ]
    if findings:
        raise ConfigError(findings)
    return [float(params[key]) for key in wanted]
