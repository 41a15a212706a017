"""Trials of a loop in automatic on the simulated plant: one upset after another, each from one settled state.

Judged is what the instrument measures without its errors, so that noise and fouling are no credit and no blame.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from plantsim.analysis.bump_rig import quieten
from plantsim.analysis.tuning.controller import Choice, Controller
from plantsim.analysis.tuning.models import TuningError
from plantsim.plant.acts import Act, Places, acting, make_acts
from plantsim.plant.model import Model
from plantsim.plant.plans import Start
from plantsim.plant.signals import conversion
from plantsim.plant.tuned import Case
from plantsim.sim.simulation import Simulation

Factory = Callable[[list[str]], Model]
LEAD = 0.25
"""Part of the settling time that a trial runs with its own parameters before the case begins."""
SHOWN = 360
"""Rows kept of a trial for its picture."""


@dataclass(frozen=True)
class Course:
    """A trial's course for a picture: times from the beginning of the case [h], the rest in units of the loop."""

    time: np.ndarray
    measured: np.ndarray
    setpoint: np.ndarray
    moved: np.ndarray
    counts: np.ndarray


@dataclass(frozen=True)
class Trial:
    """One case with one set of parameters at one operating point.

    Parameters
    ----------
    case, point : str
        Names.
    iae : float
        Integral of the error's size [measured-unit h]
    out_of_spec : float
        Time out of spec [h]
    peak : float
        Greatest distance from the set point [measured-unit]
    overshoot : float
        Greatest distance on the other side of it, after the peak [measured-unit]
    unrest : float
        Half the swing over the last quarter of the case [measured-unit]
    chemical : float
        Chemical used; not a number without a counter [kg]
    travel : float
        Travel of the actuator [its unit]
    course : Course
        For a picture.
    """

    case: str
    point: str
    iae: float
    out_of_spec: float
    peak: float
    overshoot: float
    unrest: float
    chemical: float
    travel: float
    course: Course = field(repr=False, compare=False)


@dataclass(frozen=True)
class _Columns:
    """Columns of the record, each with the factor and offset that bring it to its unit."""

    judged: tuple[int, float, float]
    setpoint: int
    moved: int
    counts: int
    chemical: int
    travel: int


class Settled:
    """A plant settled in automatic at one operating point with the parameters of its file.

    Parameters
    ----------
    factory : callable
        Gives the plant, new.
    controller : Controller
        Controller of the loop that is tried.
    point : str
        Name of the operating point.
    share : float
        Feed, as a share of the plant file's [-]
    seed : int
        Seed of noise and weather: the same for all parameters tried.
    """

    def __init__(self, factory: Factory, controller: Controller, point: str, share: float, seed: int) -> None:
        self.controller, self.point, self.seed = controller, point, seed
        self.model = factory(controller.watched())
        quieten(self.model)
        self.model.arena.source_s["feed_factor"] *= share
        sim = Simulation(self.model, seed)
        sim.run(controller.tune.settle)
        self.state = sim.save()


class Stand:
    """A settled plant, ready for one case with any parameters.

    Parameters
    ----------
    settled : Settled
        The plant; it is not changed.
    case : Case
        The case.

    Notes
    -----
    It may be used by one thread at a time.
    """

    def __init__(self, settled: Settled, case: Case) -> None:
        self.controller, self.case, self.point = settled.controller, case, settled.point
        self.begins = self.controller.tune.settle * (1.0 + LEAD)
        model = acting(settled.model, make_acts(Places.of(settled.model), self._acts()))
        self.sim = Simulation(model, settled.seed)
        self.sim.join(settled.state)
        self._settled = self.sim.save()
        self._columns = _columns(model, self.controller)
        self.every = model.record_every * model.step

    def _acts(self) -> list[Act]:
        def report(key: str, words: str) -> None:
            raise TuningError(f"loops.{self.controller.loop.name}.tune.cases.{self.case.name}: {key}: {words}")

        found = []
        for one in self.case.acts:
            at = self.begins + one.after
            lasts = math.inf if one.lasts is None else one.lasts
            found.append(Act(Start(at, at), one.target, one.to, report, one.ramp, lasts, one.by, one.note, "tuning"))
        return found

    def run(self, choice: Choice) -> Trial:
        """Run the case with parameters of the controller, from the settled state.

        Parameters
        ----------
        choice : Choice
            Parameters; none: those of the plant file.
        """
        sim, tune = self.sim, self.controller.tune
        sim.restore(self._settled)
        for write in self.controller.writes(choice):
            sim.write(write)
        sim.run(self.begins + tune.horizon)
        return self._judge(sim.recorder.rows[round(self.begins / self.every):])

    def _judge(self, rows: np.ndarray) -> Trial:
        c, tune = self._columns, self.controller.tune
        column, scale, offset = c.judged
        y = rows[:, column] * scale + offset
        sp = rows[:, c.setpoint]
        counts = rows[:, c.counts] > 0.0 if c.counts >= 0 else np.ones(len(y), dtype=bool)
        step = self.every / 3600.0
        error = np.where(counts, y - sp, 0.0)
        out = np.zeros(len(y), dtype=bool)
        if tune.above is not None:
            out |= counts & (y > tune.above)
        if tune.below is not None:
            out |= counts & (y < tune.below)
        at = int(np.argmax(np.abs(error)))
        other = -np.sign(error[at]) * error[at:]
        last = y[-len(y) // 4:][counts[-len(y) // 4:]]
        chemical = float(rows[-1, c.chemical] - rows[0, c.chemical]) if c.chemical >= 0 else math.nan
        kept = np.unique(np.linspace(0, len(y) - 1, SHOWN).astype(int))
        course = Course(kept * step, y[kept], sp[kept], rows[kept, c.moved], counts[kept])
        return Trial(
            self.case.name, self.point, float(np.abs(error[1:]).sum()) * step, float(out[1:].sum()) * step,
            float(abs(error[at])), float(max(0.0, other.max(initial=0.0))),
            0.5 * float(np.ptp(last)) if len(last) else 0.0, chemical,
            float(np.abs(np.diff(rows[:, c.travel])).sum()), course,
        )  # fmt: skip


def _columns(model: Model, controller: Controller) -> _Columns:
    loop, tune = controller.loop, controller.tune
    names = {c.name: i for i, c in enumerate(model.channels)}

    def column(name: str, key: str) -> int:
        if name not in names:
            raise TuningError(f"loops.{loop.name}.tune.{key}: found '{name}'; allowed: a recorded quantity, as "
                              "'plantsim export' lists them")  # fmt: skip
        return names[name]

    truth = tune.judged or loop.measures.meaning  # of an instrument that is the quantity it measures
    judged = (column(loop.measures.name, "judged"), 1.0, 0.0)
    if tune.judged or truth in names:
        place = column(truth, "judged")
        scale = conversion(loop.measures.unit, model.channels[place].si_unit)
        if scale is None:
            raise TuningError(f"loops.{loop.name}.tune.judged: found '{truth}', which is not measured in "
                              f"{loop.measures.unit}; allowed: a quantity of that kind")  # fmt: skip
        judged = (place, *scale)
    moved = loop.moves.name
    if tune.output:
        moved = f"{tune.controller}.{controller.names[tune.output]}"
    return _Columns(
        judged, column(f"{tune.controller}.{controller.names[tune.setpoint]}", "setpoint"), column(moved, "output"),
        column(tune.judged_while, "judged_while") if tune.judged_while else -1,
        column(tune.chemical, "chemical") if tune.chemical else -1, column(tune.travel or moved, "travel"),
    )  # fmt: skip
