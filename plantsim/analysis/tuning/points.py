"""Operating points of a tuning job: bump tests at each, about the set point, and the process models they give."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from plantsim.analysis.bump import STEPS, Bump, BumpTest, bump
from plantsim.analysis.bump_rig import BumpError, OperatingPoint, Rig, quieten
from plantsim.analysis.identify import Fit, Identification, RecordError, identify
from plantsim.analysis.tuning.controller import Controller, Tell
from plantsim.analysis.tuning.half_rule import half_rule
from plantsim.analysis.tuning.models import (
    FOPDT,
    SOPDT,
    Integrating,
    InverseResponse,
    Process,
    SecondOrder,
    TuningError,
)
from plantsim.plant.model import Model
from plantsim.sim.simulation import Simulation

Factory = Callable[[list[str]], Model]
"""Gives the plant, new, with so many variables of programs recorded."""
NEAR = 0.1
"""A test begins about the set point when the measurement rests within this part of it."""
TRIALS = 5
NOTHING = 1e-3
"""A fitted dead time or lag below this is none: no record can tell [s]."""
LAST = 3600.0
"""Time over which the values in automatic are averaged [s]."""


@dataclass(frozen=True)
class Found:
    """What one bump says.

    Parameters
    ----------
    name : str
        Operating point and step, in words.
    bump : Bump
        The bump.
    identification : Identification or None
        None when the record cannot be taken at all.
    refusals : tuple of str
        Why there is no model; empty when there is one.
    process, short, corner : Process or None
        The model; the same with first-order lag for rules; and the model with gain and dead time at the upper ends of
        their intervals.
    """

    name: str
    bump: Bump
    identification: Identification | None
    refusals: tuple[str, ...]
    process: Process | None = None
    short: FOPDT | Integrating | None = None
    corner: Process | None = None

    @property
    def warnings(self) -> list[str]:
        """What to know before the model is used."""
        return self.identification.warnings if self.identification is not None else []

    @property
    def gain(self) -> float:
        """Gain, of an integrating process its slope; not a number without a model."""
        return math.nan if self.short is None else gain_of(self.short)


@dataclass(frozen=True)
class Tested:
    """One operating point, tested.

    Parameters
    ----------
    name : str
        Its name.
    share : float
        Feed, as a share of the plant file's [-]
    values : dict of str to float
        Variables of the laws, in automatic at this point.
    setpoint : float
        Set point in automatic [measured-unit]
    test : BumpTest
        Bumps and journal.
    found : list of Found
        One for each bump.
    """

    name: str
    share: float
    values: dict[str, float]
    setpoint: float
    test: BumpTest
    found: list[Found]

    @property
    def processes(self) -> dict[str, Process]:
        """Models by the names of their bumps."""
        return {one.name: one.process for one in self.found if one.process is not None}


def gain_of(process: Process) -> float:
    """Gain of a process, or slope of an integrating one."""
    return float(process.factors().gain)


def process_of(fit: Fit, high: bool = False) -> Process:
    """The tuning bench's process of a fitted model.

    Parameters
    ----------
    fit : Fit
        Fitted model.
    high : bool
        Gain and dead time at the upper ends of their intervals (of a negative gain: the lower), at most half more.

    Returns
    -------
    Process
    """

    def at(name: str) -> float:
        e = fit.parameters[name]
        if name in ("L", "T") and e.value < NOTHING:
            return 0.0
        if not high or name not in ("K", "k", "L"):
            return e.value
        end = e.low if e.value < 0.0 else e.high
        return e.value + math.copysign(min(abs(end - e.value), 0.5 * abs(e.value)), e.value)

    name = fit.model.name
    if name == "first":
        return FOPDT(at("K"), max(at("T"), NOTHING), at("L"))
    if name == "integrating":
        return Integrating(at("k"), at("L"))
    if name == "integrating-lag":
        return Integrating(at("k"), at("L"), at("T"))
    tau, zeta = at("tau"), at("zeta")
    if name == "inverse":
        spread = zeta + math.sqrt(zeta * zeta - 1.0) if zeta > 1.0 else 1.0
        return InverseResponse(at("K"), at("z"), tau * spread, tau / spread, at("L"))
    if zeta >= 1.0:
        spread = zeta + math.sqrt(zeta * zeta - 1.0)
        return SOPDT(at("K"), tau * spread, tau / spread, at("L"))
    return SecondOrder(at("K"), tau, zeta, at("L"))


def shortened(process: Process, found: Identification) -> FOPDT | Integrating | None:
    """Model of first order for rules: by the half rule, or as fitted where the process swings."""
    try:
        short = half_rule(process, 1).model
    except TuningError:
        if "first" not in found.fits:
            return None
        short = process_of(found.fits["first"])
    return short if isinstance(short, FOPDT | Integrating) else None


def test_point(factory: Factory, controller: Controller, name: str, share: float, seed: int, tell: Tell) -> Tested:
    """Bump a loop at one operating point, about its set point, and identify it.

    Parameters
    ----------
    factory : callable
        Gives the plant, new.
    controller : Controller
        The controller of the loop.
    name : str
        Name of the point.
    share : float
        Feed, as a share of the plant file's [-]
    seed : int
        Seed of noise and weather.
    tell : callable
        Told every line of the journal.

    Returns
    -------
    Tested
    """
    loop, tune = controller.loop, controller.tune

    def say(words: str) -> None:
        tell(f"{name}: {words}")

    values = automatic(factory, controller, share, seed)
    setpoint = values[tune.setpoint]
    output = values.get(tune.output) if tune.output else None
    if tune.output:
        say(f"in automatic {loop.moves.name} is {output:.4g} {loop.moves.unit}, by {tune.output}")
    integrating = bool(tune.models) and all(kind.startswith("integrating") for kind in tune.models)
    if not integrating:
        output = at_setpoint(factory, controller, share, output, setpoint, seed, say)
    point = OperatingPoint(output=output, feed=share)
    test = bump(lambda: factory([]), loop.name, point, seed=seed, tell=say, usual=tune.steps or STEPS)
    found = [_identified(one, f"{name} {_step(one, loop.moves.unit)}", controller) for one in test.bumps]
    for one in found:
        for refusal in one.refusals:
            say(f"step {_step(one.bump, loop.moves.unit)}: refused: {refusal}")
    return Tested(name, share, values, setpoint, test, found)


test_point.__test__ = False  # type: ignore[attr-defined]


def automatic(factory: Factory, controller: Controller, share: float, seed: int) -> dict[str, float]:
    """Values of the laws' variables when the plant has run by its own programs: means of the last hour."""
    model = factory(controller.watched())
    quieten(model)
    sim = Simulation(model, seed)
    model.arena.source_s["feed_factor"] *= share
    sim.run(max(controller.tune.settle, 2.0 * LAST))
    rows = max(1, round(LAST / (model.record_every * model.step)))
    columns = {c.name: i for i, c in enumerate(model.channels)}
    found = {}
    for variable in controller.tune.variables:
        column = columns[f"{controller.tune.controller}.{controller.names[variable]}"]
        size = 0.001 if model.channels[column].si_unit == "ms" else 1.0
        found[variable] = size * float(np.mean(sim.recorder.rows[-rows:, column]))
    for part in controller.tune.parts.values():
        found[part.by] = controller.read(model, part.by)  # a parameter: exactly
    found[controller.tune.setpoint] = controller.read(model, controller.tune.setpoint)
    return found


def at_setpoint(factory: Factory, controller: Controller, share: float, output: float | None, setpoint: float,
                seed: int, say: Tell) -> float | None:  # fmt: skip
    """Output at which the measurement rests at its set point with the loop by hand: a few trials by secants."""
    loop = controller.loop
    if output is not None:
        output = min(max(output, loop.low), loop.high)
    try:
        rig = Rig(factory([]), loop.name, OperatingPoint(output=output, feed=share), seed)
    except BumpError:
        return output  # the bump test says why, in its own words
    tolerance = max(NEAR * abs(setpoint), 0.005 * rig.span)
    one, rest = rig.output, rig.rest
    tried = [(abs(rest - setpoint), one)]
    if abs(rest - setpoint) <= tolerance:
        return one
    following = one * 0.92
    for _ in range(TRIALS):
        following = min(max(following, loop.low), loop.high)
        if following == one:
            break
        beyond = _rest_at(rig, following)
        if beyond is None:
            break
        tried.append((abs(beyond - setpoint), following))
        if abs(beyond - setpoint) <= tolerance or beyond == rest:
            break
        step = (setpoint - beyond) * (following - one) / (beyond - rest)
        one, rest = following, beyond
        following = one + math.copysign(min(abs(step), 0.2 * abs(one)), step)
    miss, best = min(tried)
    say(f"rests {miss:.3g} {loop.measures.unit} from the set point {setpoint:.4g} {loop.measures.unit} at "
        f"{loop.moves.name} {rig.shown(best)}, found in {len(tried)} trials by hand")  # fmt: skip
    return best


def _rest_at(rig: Rig, output: float) -> float | None:
    """Where the measurement comes to rest; None when the test must be broken off."""
    rig.back()
    rig.put(output)
    began = rig.sim.seconds
    while rig.sim.seconds - began < rig.loop.longest:
        if rig.step():
            return None
        if rig.sim.seconds - began >= rig.transit() + 3.0 * rig.window() and rig.still(began, 0.0025 * rig.span):
            break
    return float(rig.measured(rig.sim.seconds - rig.window()).mean())


def _step(one: Bump, unit: str) -> str:
    return f"{one.size:+.4g}" + ("" if unit == "1" else f" {unit}")


def _identified(one: Bump, name: str, controller: Controller) -> Found:
    loop, kinds = controller.loop, controller.tune.models
    u_range = (0.0, 100.0) if loop.moves.tag >= 0 and loop.moves.unit == "%" else None
    try:
        identification = identify(one.record, kinds, u_range=u_range)
    except RecordError as error:
        return Found(name, one, None, (str(error),))
    best = identification.best
    if best is None or not identification.accepted:
        return Found(name, one, identification, tuple(identification.refusals) or ("no model fits",))
    try:
        process, corner = process_of(best), process_of(best, True)
    except TuningError as error:
        return Found(name, one, identification, (str(error),))
    return Found(name, one, identification, (), process, shortened(process, identification), corner)
