"""The whole job of an optimiser: bump tests at all points, plants settled, the search, and a proof of what it found."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from plantsim.analysis.bump_rig import loop_named
from plantsim.analysis.tuning.candidates import nominal, ranges
from plantsim.analysis.tuning.controller import Choice, Controller, tuned_loop
from plantsim.analysis.tuning.models import TuningError
from plantsim.analysis.tuning.optimise import Figures, Limit, Prices, Search, Tried, Worth, added, ways_of
from plantsim.analysis.tuning.optimise_runs import Runs, State, fingerprint
from plantsim.analysis.tuning.points import Factory, Tested, test_point
from plantsim.analysis.tuning.rules import every_rule
from plantsim.analysis.tuning.trials import Settled, Stand

POPULATION = 8
THREADS = 2
RULES = 3
"""Rules a search begins with, beside the present parameters."""
FINALISTS = 6
"""Candidates that go through every case at every point in the end."""
CEILING = 1.5
"""Candidates that cost so many times what the present parameters cost are of no use."""


@dataclass(frozen=True)
class Budget:
    """When a search ends.

    Parameters
    ----------
    seconds : float
        Time for the search, bump tests and settling not counted; infinite for none [s]
    candidates : int or None
        Candidates tried on the plant; None for any number.
    """

    seconds: float = 300.0
    candidates: int | None = None


@dataclass(frozen=True)
class Proved:
    """A candidate, and what it does on every case at every point."""

    tried: Tried
    figures: Figures


@dataclass(frozen=True)
class Outcome:
    """What a search found.

    Parameters
    ----------
    loop : str
        Tag of the loop.
    search : Search
        The search: all candidates tried, front, best, and what each way is worth.
    points : list of Tested
        Bump tests at the operating points.
    trials : list of str
        What every candidate went through, in words.
    present : Figures
        The plant file's own parameters on the same trials.
    ran : int
        Candidates that ran this time; the others came from the state file.
    seconds : float
        Time the search took [s]
    travel_unit : str
        Unit of the actuator whose travel is counted.
    everywhere : Figures or None
        The plant file's own parameters on every case at every point; None where that was not asked for.
    proved : list of Proved
        The cheapest candidates on every case at every point, the cheapest there first.
    """

    loop: str
    search: Search
    points: list[Tested]
    trials: list[str]
    present: Figures
    ran: int
    seconds: float
    travel_unit: str
    everywhere: Figures | None = None
    proved: list[Proved] = field(default_factory=list)

    @property
    def chosen(self) -> Tried | None:
        """Candidate of least cost on every case at every point, or, where that was not looked at, of the search."""
        return self.proved[0].tried if self.proved else self.search.best()

    @property
    def worths(self) -> list[Worth]:
        """What each way saves."""
        return self.search.worths()


def usual_prices(controller: Controller, setpoint: float) -> Prices:
    """Prices when nobody states any: an error that reaches to the nearest limit costs a tenth of being beyond it.

    Parameters
    ----------
    controller : Controller
        The controller.
    setpoint : float
        Its set point [measured-unit]
    """
    tune = controller.tune
    ways = [abs(limit - setpoint) for limit in (tune.above, tune.below) if limit is not None and limit != setpoint]
    plain = Prices()
    return replace(plain, error=float(f"{0.1 * plain.out_of_spec / min(ways):.2g}")) if ways else plain


def optimise(
    factory: Factory, name: str, plant_text: str, budget: Budget | None = None, prices: Prices | None = None,
    seed: int = 1, population: int = POPULATION, state: Path | None = None, resume: bool = False,
    points: Sequence[Tested] | None = None, conditions: Sequence[Tested] = (),
    starts: Sequence[Choice] = (), tell: Callable[[str], None] = print,
    progress: Callable[[int, float, Figures], None] | None = None, prove: bool = True,
) -> Outcome:  # fmt: skip
    """Search gains of a loop on its plant.

    Parameters
    ----------
    factory : callable
        Gives the plant, new, with so many variables of programs recorded.
    name : str
        Tag of the loop; its plant file says how it is tuned.
    plant_text : str
        The plant as resolved text: a state file belongs to it.
    budget : Budget, optional
        When the search ends.
    prices : Prices, optional
        What the parts of the cost count.
    seed : int
        Seed of noise, weather and search.
    population : int
        Candidates of a generation of one way.
    state : Path, optional
        File that keeps every result.
    resume : bool
        Whether to go on from that file.
    points : sequence of Tested, optional
        Bump tests at all operating points; done here when left out.
    conditions : sequence of Tested
        Bump tests in other states of the plant, in which the limit has to be kept too.
    starts : sequence of Choice
        Parameters to begin with beside the present ones.
    tell : callable
        Told what is being done.
    progress : callable, optional
        Told after every candidate: how many have run, the time taken [s], its figures.
    prove : bool
        Whether the cheapest are run on every case at every point at the end.

    Returns
    -------
    Outcome
    """
    budget = budget or Budget()
    model = factory([])
    loop = tuned_loop(model, loop_named(model, name))
    tune = loop.tune
    assert tune is not None
    if not tune.cases:
        raise TuningError(f"loop {name}: found no cases; allowed: upsets to try it on (loops.{name}.tune.cases)")
    controller = Controller(model, loop)
    prices = prices or usual_prices(controller, controller.read(model, tune.setpoint))
    head = {
        "plant": fingerprint(plant_text), "loop": name, "seed": seed, "population": population,
        "prices": [prices.out_of_spec, prices.error, prices.chemical, prices.travel],
        "conditions": [one.name for one in conditions], "starts": [list(one.values) for one in starts],
    }  # fmt: skip
    kept = State(state, head)
    if resume:
        kept.load()
        tell(f"goes on from {state}: {len(kept.results)} candidates are known")
    if points is None:
        points = [test_point(factory, controller, point, share, seed, only_bumps(tell))
                  for point, share in tune.points.items()]  # fmt: skip
    everywhere = [*points, *conditions]
    limit = Limit(controller, {p.name: p.values for p in everywhere},
                  ranges(everywhere, tune.gain_range, tune.dead_time_range), tune.most_ms)  # fmt: skip
    choices = {choice: controller.choice_of(choice, model) for choice in tune.choices}
    begin = [*starts, *rule_starts(controller, points, limit)]
    search = Search(controller, ways_of(controller, choices, points[0].values), limit, prices, population, seed, begin)
    settled = {p.name: Settled(factory, controller, p.name, p.share, seed) for p in points}
    names = list(settled)
    stands = [Stand(settled[names[i % len(names)]], case) for i, case in enumerate(tune.cases)]
    words = [f"{stand.case.name} at {stand.point}" for stand in stands]
    tell("each candidate goes through: " + ", ".join(words))
    began = time.monotonic()
    runs = Runs(
        stands, kept, lambda choice: limit.broken(choice)[1], THREADS,
        None if progress is None else lambda n, figures: progress(n, time.monotonic() - began, figures),
        began + budget.seconds, budget.candidates,
    )  # fmt: skip
    try:
        present = added([stand.run(Choice(())) for stand in stands], limit.broken(Choice(()))[1])
        search.ceiling = CEILING * present.cost(prices)
        search.go(runs, lambda tried: (time.monotonic() < began + budget.seconds
                                       and (budget.candidates is None or tried < budget.candidates)))  # fmt: skip
    finally:
        runs.close()
    taken = time.monotonic() - began
    unit = model.tags[tune.travel].unit if tune.travel else loop.moves.unit
    found = Outcome(name, search, list(points), words, present, runs.ran, taken, unit)
    finalists = sorted(search.tried, key=lambda one: one.figures.cost(prices))[:FINALISTS]
    if not prove or not finalists:
        return found
    tell(f"the {len(finalists)} cheapest go through all {len(tune.cases)} cases at all {len(settled)} points")
    # each candidate of the search met each case at one point only: what is best there may be so by chance
    every = Runs([Stand(one, case) for one in settled.values() for case in tune.cases], State(None, {}),
                 lambda choice: limit.broken(choice)[1], THREADS)  # fmt: skip
    try:
        figures = every([("", i, one) for i, one in enumerate([Choice(()), *(one.choice for one in finalists)])])
    finally:
        every.close()
    judged = [Proved(one, of) for one, of in zip(finalists, figures[1:], strict=True) if of is not None]
    return replace(found, everywhere=figures[0], proved=sorted(judged, key=lambda one: one.figures.cost(prices)))


def rule_starts(controller: Controller, points: Sequence[Tested], limit: Limit) -> list[Choice]:
    """The rules within the limit that work a load off best (greatest integral gain), to begin a search with.

    Parameters
    ----------
    controller : Controller
        The controller.
    points : sequence of Tested
        Operating points, the first where the loop normally stands.
    limit : Limit
        The limit.
    """
    first = nominal(points)
    assert first.short is not None
    found: list[tuple[float, Choice]] = []
    for asked in every_rule(first.short, scan=controller.scan):
        try:
            choice = controller.choose(asked, points[0].values)
            broken = limit.broken(choice)[0]
        except TuningError:
            continue  # a rule the program cannot follow
        if broken == 0.0:
            found.append((abs(asked.Ki), choice))
    return [choice for _, choice in sorted(found, key=lambda one: -one[0])[:RULES]]


def only_bumps(tell: Callable[[str], None]) -> Callable[[str], None]:
    """Tell what each bump gave, not how the plant was made ready."""
    return lambda words: tell(words) if "bump from" in words or "refused" in words else None
