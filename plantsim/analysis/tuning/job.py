"""A whole tuning job on a loop of a plant file: bump, identify, rules, margins, trials of upsets, and a verdict.

Everything is done on the simulated plant: on site the settings are proved by bump tests, by qualified people, after
limits and interlocks have been tested.
"""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

from plantsim.analysis.bump_rig import BumpError, loop_named
from plantsim.analysis.tuning.candidates import (
    PRESENT,
    Candidate,
    Range,
    candidates,
    make,
    nominal,
    other_ways,
    rule_names,
)
from plantsim.analysis.tuning.controller import Controller, Tell, needed_overrides, tuned_loop
from plantsim.analysis.tuning.models import Process, TuningError
from plantsim.analysis.tuning.points import Found, Tested, test_point
from plantsim.analysis.tuning.trials import Settled, Stand, Trial
from plantsim.analysis.tuning.verdict import Verdict, cost, decide, fit_to_serve
from plantsim.plant.build import load_model
from plantsim.plant.fields import nearest
from plantsim.plant.model import Model
from plantsim.plant.tuned import Case
from plantsim.units import sentence

Progress = Callable[[float, str], None]
"""Takes the part done [-] and what is being done."""
SHORTLIST = 3
"""Rules tried at the other operating points too, besides the present parameters and the one asked for."""


@dataclass(frozen=True)
class TuningJob:
    """What a tuning job did and found.

    Parameters
    ----------
    site, file : str
        The plant.
    overrides : list of str
        What was replaced in the plant file, the needed program included.
    controller : Controller
        The controller tuned.
    points : list of Tested
        Operating points with their bump tests and models, the first where rules are worked out.
    base : Found
        The model rules were worked out from.
    over : list of Range
        Processes the loop has to hold.
    candidates : list of Candidate
        The present parameters first, then all rules.
    left_out : list of (str, str)
        Rules the program cannot follow, and why.
    trials : dict of str to list of Trial
        By name of the candidate: all at the first point; present, shortlist and chosen one at all.
    ways : list of Candidate
        The chosen rule with the program used in other ways; their trials are among `trials`.
    verdict : Verdict
        What is recommended and why.
    journal : list of str
        What the bench did, in words.
    seconds : float
        How long it took [s]
    """

    site: str
    file: str
    overrides: list[str]
    controller: Controller
    points: list[Tested]
    base: Found
    over: list[Range]
    candidates: list[Candidate]
    left_out: list[tuple[str, str]]
    trials: dict[str, list[Trial]]
    ways: list[Candidate]
    verdict: Verdict
    journal: list[str]
    seconds: float

    def candidate(self, name: str) -> Candidate:
        """A candidate or way by its name."""
        return next(one for one in (*self.candidates, *self.ways) if one.name == name)

    @property
    def present(self) -> Candidate:
        """The parameters of the plant file."""
        return self.candidates[0]

    @property
    def chosen(self) -> Candidate:
        """What is recommended, or was asked for."""
        return self.candidate(self.verdict.chosen)

    def before_and_after(self) -> list[tuple[Trial, Trial]]:
        """Trials of the present parameters and the chosen ones, case by case, point by point."""
        after = {(t.point, t.case): t for t in self.trials[self.verdict.chosen]}
        return [(t, after[t.point, t.case]) for t in self.trials[PRESENT] if (t.point, t.case) in after]


def tune(
    file: Path | str, loop: str, overrides: Sequence[str] = (), rule: str | None = None, seed: int = 1,
    tell: Tell | None = None, progress: Progress | None = None, workers: int | None = None,
    horizon: float | None = None,
) -> TuningJob:  # fmt: skip
    """Tune a loop of a plant file on the simulated plant.

    Parameters
    ----------
    file : Path or str
        The plant file; it is not changed.
    loop : str
        Tag of the loop.
    overrides : sequence of str
        `key.path=value` texts that replace values of the file.
    rule : str, optional
        The rule to take; the recommended one when left out.
    seed : int
        Seed of noise and weather.
    tell : callable, optional
        Told every line of the journal as it is written.
    progress : callable, optional
        Told how far the job is.
    workers : int, optional
        Threads; as many as there are processors when left out.
    horizon : float, optional
        Time a case is judged, in place of the plant file's [s]

    Returns
    -------
    TuningJob

    Raises
    ------
    TuningError, BumpError
        If the loop cannot be tuned so, in one sentence.
    """
    return _Job(file, loop, overrides, rule, seed, tell, progress, workers, horizon).run()


class _Job:
    def __init__(
        self, file: Path | str, loop: str, overrides: Sequence[str], rule: str | None, seed: int, tell: Tell | None,
        progress: Progress | None, workers: int | None, horizon: float | None,
    ) -> None:  # fmt: skip
        self.began = time.monotonic()
        self.file, self.rule, self.seed = file, rule, seed
        self.overrides = list(overrides)
        first = tuned_loop(load_model(file, self.overrides), loop_named(load_model(file, self.overrides), loop))
        self.needed = needed_overrides(first)
        self.overrides += self.needed
        model = load_model(file, self.overrides)
        self.loop = tuned_loop(model, loop_named(model, loop))
        if horizon is not None and self.loop.tune is not None:
            self.loop = replace(self.loop, tune=replace(self.loop.tune, horizon=horizon))
        self.site = model.title
        self.controller = Controller(model, self.loop)
        self._know_rule()
        if not self.controller.tune.cases:
            raise TuningError(sentence(f"loops.{loop}.tune without 'cases'", "at least one upset to try gains on"))
        self.workers = workers or max(1, min(os.cpu_count() or 1, 8))
        self.journal: list[str] = []
        self._tell, self._progress = tell, progress
        self._lock = threading.Lock()
        self._done = 0.0
        self._stands: dict[tuple[str, str], Stand] = {}

    def factory(self, watch: list[str]) -> Model:
        return load_model(self.file, self.overrides, watch)

    # --- telling ---

    def say(self, words: str) -> None:
        with self._lock:
            self.journal.append(words)
            if self._tell is not None:
                self._tell(words)

    def advance(self, part: float, words: str) -> None:
        with self._lock:
            self._done = min(1.0, self._done + part)
            if self._progress is not None:
                self._progress(self._done, words)

    # --- the job ---

    def run(self) -> TuningJob:
        for override in self.needed:
            self.say(f"for this job: {override.replace('=', ': ')}")
        with ThreadPoolExecutor(self.workers) as pool:
            points = self._test(pool)
            base = nominal(points)
            self.say(f"rules are worked out from the bump '{base.name}', of middle gain among those at its point")
            table, out, over = candidates(self.controller, points)
            assert base.process is not None
            empty = self.factory([])
            choices = {name: self.controller.choice_of(name, empty).mapping for name in self.controller.tune.choices}
            more = other_ways(self.controller, points, table, over, base.process, choices)
            self._check_rule([*table, *more], out)
            self.advance(0.1, "rules and margins")
            trials, tried = self._try(pool, points, table, more)
            table += tried
            chosen = decide(self.controller, table, trials, self.rule, None)
            self.say(chosen.reason)
            ways = self._ways(pool, points, table, over, base.process, chosen.chosen, trials, choices)
            verdict = decide(self.controller, table, trials, self.rule, ways)
        self.advance(1.0, "done")
        return TuningJob(
            self.site, str(self.file), self.overrides, self.controller, points, base, over, table, out, trials, ways,
            verdict, self.journal, time.monotonic() - self.began,
        )  # fmt: skip

    def _test(self, pool: ThreadPoolExecutor) -> list[Tested]:
        named = list(self.controller.tune.points.items())

        def one(item: tuple[str, float]) -> Tested | str:
            lines: list[str] = []
            try:
                found = test_point(self.factory, self.controller, *item, self.seed, lines.append)
            except BumpError as error:
                if item == named[0]:
                    raise
                return f"{item[0]}: left out: {error}"
            finally:
                for line in lines:
                    self.say(line)
                self.advance(0.3 / len(named), "bump tests")
            return found

        made = list(pool.map(one, named))
        for words in made:
            if isinstance(words, str):
                self.say(words)
        points = [point for point in made if isinstance(point, Tested)]
        for point in points[1:]:
            if not point.processes:
                self.say(f"{point.name}: no bump gave a model; margins leave this point out, trials do not")
        return points

    def _try(
        self, pool: ThreadPoolExecutor, points: list[Tested], table: list[Candidate], more: list[Candidate]
    ) -> tuple[dict[str, list[Trial]], list[Candidate]]:
        """All rules at the first point; at the others the present parameters and the most promising.

        `more` are rules with the program used in other ways: where the loop normally stands they do what the rule
        does, so its trials there say how promising they are. Gives the trials, and which of `more` were tried.
        """
        trials: dict[str, list[Trial]] = {one.name: [] for one in table}
        self._run(pool, points[:1], table, trials, 0.3)
        able = [one for one in (*table[1:], *more) if fit_to_serve(self.controller, one)]
        promising = sorted(able, key=lambda one: (cost(self.controller, trials[one.rule]), one.worst_ms))[:SHORTLIST]
        promising += [one for one in (*table[1:], *more) if one.name == self.rule and one not in promising]
        tried = [one for one in promising if one.way]
        trials.update({one.name: [] for one in tried})
        self._run(pool, points[:1], tried, trials, 0.05)
        self._run(pool, points[1:], [table[0], *promising], trials, 0.15)
        return trials, tried

    def _run(
        self, pool: ThreadPoolExecutor, points: list[Tested], table: Sequence[Candidate],
        trials: dict[str, list[Trial]], part: float,
    ) -> None:  # fmt: skip
        """Run trials, one thread to a case: a stand serves one thread at a time."""
        if not points or not table:
            return
        cases = self.controller.tune.cases
        share = part / (len(points) * len(cases) * len(table))
        wanted: list[tuple[Tested, Case]] = [(point, case) for point in points for case in cases]
        missing = [point for point in points if (point.name, cases[0].name) not in self._stands]

        def settle(point: Tested) -> Settled:
            return Settled(self.factory, self.controller, point.name, point.share, self.seed)

        for settled in pool.map(settle, missing):
            for case in cases:
                self._stands[settled.point, case.name] = Stand(settled, case)

        def one(item: tuple[Tested, Case]) -> list[Trial]:
            stand = self._stands[item[0].name, item[1].name]
            found = []
            for candidate in table:
                found.append(stand.run(candidate.choice))
                self.advance(share, f"{stand.case.name} at {stand.point}")
            return found

        for row in pool.map(one, wanted):
            for candidate, trial in zip(table, row, strict=True):
                trials[candidate.name].append(trial)

    def _know_rule(self) -> None:
        """Refuse a rule there is not before anything is tested; whether it has an answer shows later."""
        base = (self.rule or "").partition(", ")[0]
        known = rule_names()
        if self.rule is not None and base not in known:
            raise TuningError(sentence(f"rule '{self.rule}'", ", ".join(known), nearest(base, known)))

    def _check_rule(self, table: list[Candidate], out: list[tuple[str, str]]) -> None:
        if self.rule is None or any(one.name == self.rule for one in table):
            return
        reasons = dict(out)
        if self.rule in reasons:
            raise TuningError(f"rule '{self.rule}': {reasons[self.rule]}")
        known = [one.name for one in table[1:]]
        raise TuningError(sentence(f"rule '{self.rule}'", ", ".join(known), nearest(self.rule, known)))

    def _ways(
        self, pool: ThreadPoolExecutor, points: list[Tested], table: list[Candidate], over: list[Range],
        base: Process, chosen: str, trials: dict[str, list[Trial]], choices: dict[str, dict[str, float]],
    ) -> list[Candidate]:  # fmt: skip
        """The chosen rule with every other way to use the program, beside the chosen way where both go together."""
        one = next(c for c in table if c.name == chosen)
        ways = []
        mine = choices.get(one.way, {})
        for name, values in choices.items():
            together = bool(one.way) and not mine.keys() & values.keys()
            way = f"{one.way} and {name}" if together else name
            extra = {**mine, **values} if together else values
            if name == one.way or f"{one.rule}, {way}" in trials:
                continue
            try:
                choice = self.controller.choose(one.asked, points[0].values, extra)
                ways.append(make(self.controller, points, one.rule, one.asked, choice, over, base, way))
            except TuningError as error:
                self.say(f"{one.rule}, {way}: {error}")
                continue
            trials[ways[-1].name] = []
        self._run(pool, points, ways, trials, 0.1)
        return ways
