"""Pump curves, system curves and where they meet: one pump, series, parallel, any speed, water or slurry."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from plantsim.analysis.sizing.result import NotSized, positive
from plantsim.physics.hydraulics import G, area, friction_factor, head_loss, minor_loss, reynolds
from plantsim.physics.pumps import (
    efficiency_at,
    flow_at,
    head_at,
    parallel_duty_point,
    power_at,
    power_curve,
)
from plantsim.physics.rheology import bingham_gradient, plastic_viscosity, yield_stress
from plantsim.physics.slurry import relative_viscosity_batchelor
from plantsim.physics.tables import table_at
from plantsim.physics.water import density, viscosity

System = Callable[[float], float]
"""Head asked for [m] at a flow [m3/s]."""


@dataclass(frozen=True)
class PumpCurve:
    """A pump's curve on water at full speed.

    Attributes
    ----------
    flows, heads : tuple of float
        Flow, rising [m3/s], and head, falling [m]
    efficiencies : tuple of float
        Pump efficiency [-]; empty: unknown
    npsh : tuple of float
        Suction head required [m]; empty: unknown
    derating : float
        Part of the head lost per volume fraction of solids, [-]
    motor : float
        Rated shaft power of its motor [W]; 0: unknown
    name : str
        Tag.
    """

    flows: tuple[float, ...]
    heads: tuple[float, ...]
    efficiencies: tuple[float, ...] = ()
    npsh: tuple[float, ...] = ()
    derating: float = 0.0
    motor: float = 0.0
    name: str = "pump"

    def __post_init__(self) -> None:
        n = len(self.flows)
        if n < 2 or len(self.heads) != n or any(len(c) not in (0, n) for c in (self.efficiencies, self.npsh)):
            raise NotSized(f"found a curve of {self.name} with {n} flows and {len(self.heads)} heads; allowed: two or "
                           "more points, every column as long")  # fmt: skip
        if any(b <= a for a, b in zip(self.flows, self.flows[1:])):
            raise NotSized(f"found flows of {self.name} that do not rise; allowed: flows that rise")
        if any(b > a for a, b in zip(self.heads, self.heads[1:])):
            raise NotSized(f"found heads of {self.name} that rise with the flow; allowed: heads that fall")

    def factor(self, fraction: float) -> float:
        """What solids of a volume fraction leave of the head, [-]."""
        return max(0.0, 1.0 - self.derating * fraction)

    def head(self, q: float, speed: float = 1.0, fraction: float = 0.0) -> float:
        """Head [m of the liquid pumped] at a flow [m3/s]."""
        return float(head_at(q, speed, self.flows, self.heads, len(self.flows), self.factor(fraction)))

    def efficiency(self, q: float, speed: float = 1.0) -> float:
        """Efficiency on water [-]."""
        return float(efficiency_at(q, speed, self.flows, self.efficiencies, len(self.flows)))

    def npsh_required(self, q: float, speed: float = 1.0) -> float:
        """Suction head required [m]; with the square of the speed as heads go."""
        return float(speed**2 * table_at(q / speed, self.flows, self.npsh, len(self.flows), True))

    def shaft_power(self, q: float, rho: float, speed: float = 1.0) -> float:
        """Shaft power [W] in a liquid of a density [kg/m3]; head and efficiency fall alike with solids."""
        powers = power_curve(self.flows, self.heads, self.efficiencies, 1000.0)
        return float(power_at(q, speed, self.flows, powers, len(self.flows), rho / 1000.0))


def in_series(pumps: Sequence[PumpCurve], fraction: float = 0.0) -> PumpCurve:
    """One curve of pumps in series: heads add at a common flow, solids taken off each."""
    flows = tuple(sorted({q for pump in pumps for q in pump.flows}))
    heads = tuple(sum(pump.head(q, 1.0, fraction) for pump in pumps) for q in flows)
    return PumpCurve(flows, heads, name=" + ".join(pump.name for pump in pumps))


@dataclass(frozen=True)
class Duty:
    """Where pumps and line meet: flow [m3/s], head [m], flow of each branch."""

    flow: float
    head: float
    branches: tuple[float, ...]


def duty(
    branches: Sequence[Sequence[PumpCurve]], system: System, speed: float = 1.0, fraction: float = 0.0
) -> Duty | None:
    r"""Duty point of branches in parallel, each of one pump or several in series.

    Heads add in series at a common flow, flows add in parallel at a common head; each curve follows the affinity
    laws, :math:`H = c\,n^2H_0(Q/n)`.

    Parameters
    ----------
    branches : sequence of sequence of PumpCurve
        Pumps in series of each branch.
    system : callable
        Head asked for [m of the liquid pumped] at a flow [m3/s].
    speed : float
        Speed over full speed, [-]
    fraction : float
        Solids by volume, [-]

    Returns
    -------
    Duty or None
        None when the pumps do not reach the static head.

    References
    ----------
    Hydraulic Institute Engineering Data Book, "Combined curves".

    Examples
    --------
    >>> pump = PumpCurve((0.0, 0.1), (40.0, 20.0))
    >>> found = duty([[pump]], lambda q: 10.0 + 2000.0 * q * q)
    >>> round(found.flow, 4), round(found.head, 2)
    (0.0823, 23.54)
    """
    if not branches or any(not branch for branch in branches):
        raise NotSized("found no pump; allowed: at least one in each branch")
    positive(speed=speed)
    whole = [in_series(branch, fraction) for branch in branches]

    def flow(curve: PumpCurve) -> Callable[[float], float]:
        return lambda h: float(flow_at(h, speed, curve.flows, curve.heads, len(curve.flows), 1.0))

    flows = [flow(curve) for curve in whole]
    top = max(speed**2 * curve.heads[0] for curve in whole)
    found = parallel_duty_point(flows, system, top)
    if found is None:
        return None
    return Duty(found[0], found[1], tuple(one(found[1]) for one in flows))


@dataclass(frozen=True)
class Line:
    """A run of pipe and what it carries.

    Attributes
    ----------
    length, diameter, roughness : float
        Pipe, [m]
    static : float
        Discharge above the liquid it draws from, [m]
    fittings : float
        Sum of loss coefficients, [-]
    solids : float
        Dry solids carried, [kg/m3]
    solids_density : float
        [kg/m3]
    temperature : float
        [degC]
    mud : bool
        Friction of a Bingham mud
    yield_a, yield_b, plastic_a : float
        Its yield stress a phi^b [Pa] and the exponent of its plastic viscosity
    deposit_factor : float
        Limit-velocity factor F_L of its coarse, [-]
    name : str
        For the sheet
    """

    length: float
    diameter: float
    static: float
    roughness: float = 5e-5
    fittings: float = 0.0
    solids: float = 0.0
    solids_density: float = 2650.0
    temperature: float = 20.0
    mud: bool = False
    yield_a: float = 40000.0
    yield_b: float = 4.5
    plastic_a: float = 14.0
    deposit_factor: float = 1.34
    name: str = "line"

    def __post_init__(self) -> None:
        positive(length=self.length, diameter=self.diameter, solids_density=self.solids_density)
        if not 0.0 <= self.solids < self.solids_density:
            raise NotSized(f"found solids of {self.solids:g} kg/m3; allowed: from 0 to below the solids' own density")
        if not (math.isfinite(self.static) and self.fittings >= 0.0 and self.roughness >= 0.0):
            raise NotSized("found a static head that is no number, or a loss or roughness below 0")

    @property
    def fraction(self) -> float:
        """Solids by volume [-]."""
        return self.solids / self.solids_density

    @property
    def water_density(self) -> float:
        """Density of the water [kg/m3]."""
        return float(density(self.temperature))

    @property
    def density(self) -> float:
        """Density of the mixture [kg/m3]."""
        return self.solids + (1.0 - self.fraction) * self.water_density

    @property
    def viscosity(self) -> float:
        """Viscosity of mixture (Batchelor), or plastic viscosity of mud [Pa.s]."""
        mu = float(viscosity(self.temperature))
        if self.mud:
            return float(plastic_viscosity(self.fraction, mu, self.plastic_a))
        return mu * float(relative_viscosity_batchelor(self.fraction))

    @property
    def area(self) -> float:
        """Area of the bore [m2]."""
        return float(area(self.diameter))

    @property
    def volume(self) -> float:
        """Volume of the bore [m3]."""
        return self.area * self.length

    def velocity(self, q: float) -> float:
        """Mean velocity [m/s]."""
        return q / self.area

    def friction(self, q: float) -> float:
        """Head lost in pipe and fittings [m of what it carries]."""
        v = self.velocity(q)
        if v <= 0.0:
            return 0.0
        if self.mud:
            ty = float(yield_stress(self.fraction, self.yield_a, self.yield_b))
            gradient = bingham_gradient(v, self.diameter, self.density, ty, self.viscosity, self.roughness)
            loss = float(gradient) * self.length / (self.density * G)
        else:
            re = reynolds(v, self.diameter, self.density, self.viscosity)
            loss = float(head_loss(friction_factor(re, self.roughness / self.diameter), self.length, self.diameter, v))
        return loss + float(minor_loss(self.fittings, v))

    def head(self, q: float) -> float:
        """Head asked for at a flow [m of what it carries]; the static part does not count below 0 flow."""
        return self.static + self.friction(q)

    def carrying(self, solids: float) -> Line:
        """The same line with other solids [kg/m3]."""
        return replace(self, solids=solids)


def pump_of(tag: str, tree: Any) -> PumpCurve:
    """A pump of a plant file as a curve."""
    q, h, eta, npsh = zip(*tree.curve)
    return PumpCurve(q, h, eta, npsh, tree.derating, tree.motor.power, tag)


def branches_of(tree: Any) -> list[list[PumpCurve]]:
    """Pumps of a line of a plant file by branch, as the plant numbers them."""
    grouped: dict[Any, list[PumpCurve]] = {}
    for tag, pump in tree.pumps.items():
        grouped.setdefault(pump.branch or tag, []).append(pump_of(tag, pump))
    return list(grouped.values())
