"""Bump tests of a loop in other states of its plant: cold water, another clay, whatever the plant file names.

Flow is covered by the operating points of a tuning job; temperature and clay change settling and the demand of
coagulant, and with them gain and lag. Each condition is a set of values of the plant file, tested at the feed of the
first operating point, so that margins can be judged over all of them together.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from plantsim.analysis.tuning.controller import Choice, Controller
from plantsim.analysis.tuning.margins import Margins
from plantsim.analysis.tuning.optimise import margins_at
from plantsim.analysis.tuning.points import Tested, test_point
from plantsim.analysis.tuning.predictor import Worst, worst_of
from plantsim.plant.build import load_model


def survey(
    file: Path | str, controller: Controller, overrides: Sequence[str] = (), seed: int = 1,
    tell: Callable[[str], None] | None = None, workers: int = 2,
) -> list[Tested]:  # fmt: skip
    """Bump a loop in every condition its plant file names.

    Parameters
    ----------
    file : Path or str
        The plant file.
    controller : Controller
        The controller of the loop.
    overrides : sequence of str
        `key.path=value` texts for all conditions alike.
    seed : int
        Seed of noise and weather.
    tell : callable, optional
        Told every line of the journals.
    workers : int
        Threads.

    Returns
    -------
    list of Tested
        One for each condition, in the order of the file.
    """
    tune = controller.tune
    share = next(iter(tune.points.values()))

    def one(item: tuple[str, tuple[str, ...]]) -> Tested:
        name, values = item
        return test_point(lambda watch: load_model(file, [*overrides, *values], watch), controller, name, share, seed,
                          tell or (lambda words: None))  # fmt: skip

    with ThreadPoolExecutor(workers) as pool:
        return list(pool.map(one, tune.conditions.items()))


def over_range(
    controller: Controller, tested: Sequence[Tested], choice: Choice, dead_times: Mapping[str, float] | None = None
) -> dict[str, Margins]:  # fmt: skip
    """Exact margins on every process found, with the gains and the dead-time compensation in force at each point.

    Parameters
    ----------
    controller : Controller
        The controller.
    tested : sequence of Tested
        Operating points and conditions.
    choice : Choice
        Parameters; none: those of the plant file.
    dead_times : mapping of str to float, optional
        Factors on the dead time, by words for them [-]; only 1 when left out.

    Returns
    -------
    dict of str to Margins
        By point and step; with the words of the dead time behind, where it is not as found.
    """
    from dataclasses import replace

    found: dict[str, Margins] = {}
    for point in tested:
        values = {**point.values, **choice.mapping}
        for name, process in point.processes.items():
            for words, factor in (dead_times or {"": 1.0}).items():
                chain = process.chain()
                late = process if factor == 1.0 else replace(chain, delay=chain.delay * factor)
                found[f"{name}, {words}" if words else name] = margins_at(controller, values, late)
    return found


def worst_over(
    controller: Controller, tested: Sequence[Tested], choice: Choice, dead_times: Mapping[str, float] | None = None
) -> Worst:  # fmt: skip
    """The worst of each margin over the range; see `over_range`."""
    return worst_of(over_range(controller, tested, choice, dead_times))
