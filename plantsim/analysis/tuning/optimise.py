"""Gains found on the plant itself: least cost over upsets and operating points, within a limit on Ms; a whole front.

Every candidate is first judged by its margins over all processes found, exactly and at once; only what keeps the limit
runs on the plant. Searched are several ways to use the control program side by side (as the file has it, and with each
of its choices), so that what each of them is worth can be said.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np

from plantsim.analysis.tuning.candidates import Range
from plantsim.analysis.tuning.controller import Choice, Controller
from plantsim.analysis.tuning.front import Evolution, Score, non_dominated
from plantsim.analysis.tuning.margins import Margins
from plantsim.analysis.tuning.models import Process, TuningError
from plantsim.analysis.tuning.predictor import loop_margins, quick_ms
from plantsim.analysis.tuning.settings import Settings

REACH = 8.0
"""The gains are searched between so many times less and so many times more than they are."""
AS_IS = "as the file"
"""Name of the way without any choice."""
LOST = 100.0
"""Violation of a loop that is unstable: more than that of any that is not."""
NOTHING = 0.02
"""Savings below this share of the cost are no reason for anything."""


class TrialLike(Protocol):
    """What a run on the plant gives; see `plantsim.analysis.tuning.trials.Trial`."""

    @property
    def iae(self) -> float: ...
    @property
    def out_of_spec(self) -> float: ...
    @property
    def peak(self) -> float: ...
    @property
    def chemical(self) -> float: ...
    @property
    def travel(self) -> float: ...


class StandLike(Protocol):
    """A settled plant with one upset ready; see `plantsim.analysis.tuning.trials.Stand`."""

    def run(self, choice: Choice) -> TrialLike:
        """Run the upset with parameters of the controller."""


@dataclass(frozen=True)
class Prices:
    """What the parts of the cost count, in any money: invented, to be replaced by those of the site.

    Parameters
    ----------
    out_of_spec : float
        An hour out of spec [1/h]
    error : float
        An error of one unit for an hour [1/(measured-unit h)]
    chemical : float
        Chemical [1/kg]
    travel : float
        Travel of the actuator [1/its unit]
    """

    out_of_spec: float = 100.0
    error: float = 1.0
    chemical: float = 0.5
    travel: float = 0.005

    def __post_init__(self) -> None:
        for name in ("out_of_spec", "error", "chemical", "travel"):
            value = getattr(self, name)
            if not (math.isfinite(value) and value >= 0.0):
                raise TuningError(f"price {name}: found {value:g}; allowed: 0 or more")


@dataclass(frozen=True)
class Knob:
    """A parameter that is turned, from `low` to `high`, in ratios where both are above 0."""

    name: str
    low: float
    high: float

    def value(self, x: float) -> float:
        """Value at a place from 0 to 1.

        >>> Knob("band", 10.0, 1000.0).value(0.5), Knob("bias", -1.0, 1.0).value(0.25)
        (100.0, -0.5)
        """
        if self.low > 0.0:
            return float(f"{self.low * (self.high / self.low) ** x:.12g}")
        return self.low + x * (self.high - self.low)

    def place(self, value: float) -> float:
        """Place of a value, from 0 to 1."""
        if self.low > 0.0:
            share = math.log(max(value, 1e-300) / self.low) / math.log(self.high / self.low)
        else:
            share = (value - self.low) / (self.high - self.low)
        return min(max(share, 0.0), 1.0)


@dataclass(frozen=True)
class Way:
    """One way to use the program: parameters that are set, those that are turned, and where these begin."""

    name: str
    fixed: Choice
    knobs: tuple[Knob, ...]
    begin: Choice

    def choice(self, x: Iterable[float], controller: Controller) -> Choice:
        """Parameters at places from 0 to 1, rounded as they are written down."""
        turned = {knob.name: controller.rounded(knob.name, knob.value(float(v))) for knob, v in zip(self.knobs, x)}
        return Choice.of({**self.fixed.mapping, **turned})

    def places(self, values: Mapping[str, float]) -> np.ndarray:
        """Places of given values."""
        return np.array([knob.place(values[knob.name]) for knob in self.knobs])


@dataclass(frozen=True)
class Figures:
    """What a candidate does on the plant, added up over all trials.

    Parameters
    ----------
    ms : float
        Greatest Ms over all processes found [-]
    out_of_spec : float
        Time out of spec [h]
    iae : float
        Integral of the error's size [measured-unit h]
    chemical : float
        Chemical used [kg]
    travel : float
        Travel of the actuator [its unit]
    peak : float
        Greatest error [measured-unit]
    """

    ms: float
    out_of_spec: float
    iae: float
    chemical: float
    travel: float
    peak: float

    def quality(self, prices: Prices) -> float:
        """Cost of time out of spec and of error."""
        return prices.out_of_spec * self.out_of_spec + prices.error * self.iae

    def cost(self, prices: Prices) -> float:
        """Cost of everything that is counted."""
        chemical = prices.chemical * self.chemical if math.isfinite(self.chemical) else 0.0
        return self.quality(prices) + chemical + prices.travel * self.travel


@dataclass(frozen=True)
class Tried:
    """A candidate that ran on the plant.

    Parameters
    ----------
    way : str
        Way to use the program.
    number : int
        Which of that way's candidates, from 0.
    choice : Choice
        Its parameters.
    figures : Figures
        What it did.
    """

    way: str
    number: int
    choice: Choice
    figures: Figures


@dataclass(frozen=True)
class Limit:
    """Processes a loop must hold, the values of the laws' variables at their points, and the limit on Ms."""

    controller: Controller
    values: Mapping[str, Mapping[str, float]]
    over: Sequence[Range]
    most_ms: float
    _known: dict[Choice, tuple[float, float]] = field(default_factory=dict, repr=False, compare=False)

    def margins(self, choice: Choice, stretched: bool = False) -> dict[str, Margins]:
        """Margins on every process with the gains, and the predictor, in force at its point."""
        return {
            one.name: margins_at(self.controller, {**self.values[one.point], **choice.mapping},
                                 one.stretched if stretched else one.process)
            for one in self.over
        }  # fmt: skip

    def broken(self, choice: Choice) -> tuple[float, float]:
        """By how much the limit is broken, and the greatest Ms: found processes keep it, stretched ones are stable."""
        if choice not in self._known:
            ms, lost = 1.0, 0
            for one in self.over:
                values = {**self.values[one.point], **choice.mapping}
                settings = self.controller.settings(values, math.copysign(1.0, one.process.factors().gain))
                model = self.controller.predictor(values)
                ms = max(ms, quick_ms(settings, one.process, model, self.controller.scan))
                lost += math.isinf(quick_ms(settings, one.stretched, model, self.controller.scan))
            beyond = LOST if math.isinf(ms) else min(max(0.0, ms - self.most_ms), LOST)
            self._known[choice] = (beyond + lost, ms)
        return self._known[choice]


def margins_at(controller: Controller, values: Mapping[str, float], process: Process) -> Margins:
    """Margins of a controller on a process, with the dead-time compensation its program has switched on.

    Parameters
    ----------
    controller : Controller
        The controller.
    values : mapping
        Values of the laws' variables at the operating point.
    process : Process
        Process.
    """
    settings: Settings = controller.settings(values, math.copysign(1.0, process.factors().gain))
    return loop_margins(settings, process, controller.predictor(values), controller.scan)


def ways_of(controller: Controller, choices: Mapping[str, Choice], values: Mapping[str, float]) -> list[Way]:
    """Ways to use the program: as the file has it, with each choice, and with all that go together.

    Parameters
    ----------
    controller : Controller
        The controller.
    choices : mapping
        Choices of the plant file by name.
    values : mapping
        Present values of all parameters.
    """
    tune = controller.tune
    found = [_way(controller, AS_IS, Choice(()), values)]
    found += [_way(controller, name, choice, values) for name, choice in choices.items()]
    together: dict[str, float] = {}
    for choice in choices.values():
        if together.keys().isdisjoint(choice.mapping):
            together.update(choice.mapping)
    names = [name for name, choice in choices.items() if choice.mapping.items() <= together.items()]
    if len(names) > 1:
        found.append(_way(controller, " + ".join(names), Choice.of(together), values))
    if not any(way.knobs for way in found):
        raise TuningError(f"{controller.loop.name}: nothing to turn; allowed: a 'tune:' with a gain above 0"
                          f"{'' if tune.search else ', or a search:'}")  # fmt: skip
    return found


def _way(controller: Controller, name: str, chosen: Choice, values: Mapping[str, float]) -> Way:
    """A way: its gains are turned, and what may be searched: a parameter that some choice sets only in its own ways."""
    tune, known = controller.tune, {**values, **chosen.mapping}
    compensated = tune.predictor is not None and known[tune.predictor.on] > 0.5
    model = tune.predictor.names if tune.predictor is not None else frozenset()
    elsewhere = {key for one in tune.choices.values() for key in one} | (frozenset() if compensated else model)
    knobs = [Knob(part.by, known[part.by] / REACH, known[part.by] * REACH) for part in tune.parts.values()
             if part.by not in chosen.mapping and part.by not in tune.search and known[part.by] > 0.0]  # fmt: skip
    knobs += [Knob(key, low, high) for key, (low, high) in tune.search.items()
              if key in chosen.mapping or key not in elsewhere]  # fmt: skip
    turned = {knob.name for knob in knobs}
    fixed = Choice.of({key: value for key, value in chosen.mapping.items() if key not in turned})
    begin = {knob.name: known[knob.name] for knob in knobs}
    return Way(name, fixed, tuple(knobs), Choice.of(begin))


Run = Callable[[Sequence[tuple[str, int, Choice]]], Sequence[Figures | None]]
"""Runs candidates (way, number, parameters), all of which keep the limit; None for those the budget left out."""


@dataclass
class Search:
    """The search over all ways, generation by generation and way by way.

    Parameters
    ----------
    controller : Controller
        The controller.
    ways : list of Way
        Ways to use the program.
    limit : Limit
        The limit.
    prices : Prices
        Prices.
    population : int
        Candidates of a generation of one way.
    seed : int
        Seed.
    starts : list of Choice
        Parameters to begin with, beside the present ones, as far as a way turns them.
    ceiling : float
        Cost beyond which a candidate is of no use, whatever it saves in one respect.
    """

    controller: Controller
    ways: Sequence[Way]
    limit: Limit
    prices: Prices
    population: int
    seed: int
    starts: Sequence[Choice] = ()
    ceiling: float = math.inf
    tried: list[Tried] = field(default_factory=list)
    screened: int = 0

    def go(self, run: Run, more: Callable[[int], bool]) -> None:
        """Search as long as `more`, told the number of candidates tried on the plant, says so before each generation.

        Parameters
        ----------
        run : callable
            Runs candidates.
        more : callable
            Whether to go on.
        """
        searches = {way.name: self._evolution(i, way) for i, way in enumerate(self.ways)}
        counts = dict.fromkeys(searches, 0)
        while True:
            for way in self.ways:
                if not more(len(self.tried)):
                    return
                evolution = searches[way.name]
                asked = [way.choice(x, self.controller) for x in evolution.ask()]
                broken = [self.limit.broken(choice)[0] for choice in asked]
                within = [i for i, violation in enumerate(broken) if violation == 0.0]
                self.screened += len(asked) - len(within)
                jobs = [(way.name, counts[way.name] + k, asked[i]) for k, i in enumerate(within)]
                counts[way.name] += len(within)
                found = {i: one for i, one in zip(within, run(jobs), strict=True) if one is not None}
                done = [(job, found[i]) for job, i in zip(jobs, within, strict=True) if i in found]
                self.tried += [Tried(name, number, choice, figures) for (name, number, choice), figures in done]
                if len(found) < len(jobs):
                    return
                evolution.tell([self._score(violation, found.get(i)) for i, violation in enumerate(broken)])

    def _evolution(self, number: int, way: Way) -> Evolution:
        given = [way.places({**way.begin.mapping, **one.mapping}) for one in (Choice(()), *self.starts)]
        return Evolution(len(way.knobs), self.population, self.seed + 1000 * number, given)

    def _score(self, violation: float, figures: Figures | None) -> Score:
        if figures is None:
            return Score(violation)
        aims = [figures.quality(self.prices), figures.travel]
        if math.isfinite(figures.chemical):
            aims.insert(1, figures.chemical)
        # a front through places nobody would go is of no use: beyond the ceiling the way down comes first
        cost = figures.cost(self.prices)
        return Score(0.001 * (cost / self.ceiling - 1.0) if cost > self.ceiling else 0.0, tuple(aims))

    # --- what came of it ---

    def front(self) -> list[Tried]:
        """Candidates that no other beats in quality, chemical and travel together, the best quality first."""
        chosen = non_dominated([self._score(0.0, one.figures) for one in self.tried])
        return sorted((self.tried[i] for i in chosen), key=lambda one: one.figures.quality(self.prices))

    def best(self, way: str = "") -> Tried | None:
        """Candidate of least cost, of one way or of all."""
        of = [one for one in self.tried if way in ("", one.way)]
        return min(of, key=lambda one: one.figures.cost(self.prices), default=None)

    def worths(self) -> list[Worth]:
        """What each way saves against the file's own, by the best of each."""
        plain = self.best(AS_IS)
        found = []
        for way in self.ways:
            best = self.best(way.name)
            if way.name == AS_IS:
                continue
            found.append(Worth(way.name, None if best is None or plain is None
                               else plain.figures.cost(self.prices) - best.figures.cost(self.prices),
                               math.nan if plain is None else plain.figures.cost(self.prices)))  # fmt: skip
        return found


@dataclass(frozen=True)
class Worth:
    """What a way saves against the file's own, each at its best.

    Parameters
    ----------
    way : str
        The way.
    saving : float or None
        Cost saved; below 0 when it costs more; None when one of the two never kept the limit.
    cost : float
        Cost of the file's own way at its best.
    """

    way: str
    saving: float | None
    cost: float

    @property
    def words(self) -> str:
        """Whether it is worth having."""
        if self.saving is None:
            return "no candidate kept the limit on Ms: nothing can be said"
        share = self.saving / self.cost if self.cost > 0.0 else 0.0
        if abs(share) < NOTHING:
            return f"makes no difference ({100.0 * share:+.1f} % saved)"
        if share > 0.0:
            return f"worth having: saves {self.saving:.4g} of {self.cost:.4g} ({100.0 * share:.1f} %)"
        return f"not worth having: costs {-self.saving:.4g} more than {self.cost:.4g} ({-100.0 * share:.1f} %)"


def added(trials: Sequence[TrialLike], ms: float) -> Figures:
    """Figures of a candidate from its trials."""
    return Figures(
        ms, sum(t.out_of_spec for t in trials), sum(t.iae for t in trials), sum(t.chemical for t in trials),
        sum(t.travel for t in trials), max((t.peak for t in trials), default=0.0),
    )  # fmt: skip
