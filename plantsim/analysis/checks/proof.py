"""Prove a plant: run every case of an acceptance file, judge its sentences, and say what is proved.

Cases run side by side in threads: the kernel lets go of the interpreter. Each has its own memory, made from the one
plant that was read; so the order in which they end changes nothing.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from plantsim.analysis.checks.file import Acceptance, Case
from plantsim.analysis.checks.judge import FAILED, OK, UNTESTED, Verdict, judge
from plantsim.analysis.checks.names import NameRefusal, Needs, figure_of, needs
from plantsim.analysis.checks.recording import from_simulation
from plantsim.analysis.checks.sentence import Check
from plantsim.errors import ConfigError, RunFault
from plantsim.plant.fields import nearest
from plantsim.units import sentence

if TYPE_CHECKING:
    from plantsim.plant.model import Model

_FIGURES = {
    "source": ("flow", "solids", "running"),
    "clarifier": ("turbidity", "overflow", "underflow", "underflow_fraction", "bed_level", "torque"),
    "cell": ("state",),
}
"""Series from which figures are worked out; counters and the ledger give the rest."""


@dataclass(frozen=True)
class Outcome:
    """What one run of one case gave; `fault` is why it stopped short."""

    case: str
    seed: int
    seconds: float
    verdicts: tuple[Verdict, ...]
    fault: str = ""


@dataclass(frozen=True)
class Proved:
    """One sentence over all its runs: the worst verdict, in which case and with which seed, out of `runs`."""

    check: Check
    worst: Verdict
    case: str
    seed: int
    tested: int
    runs: int

    @property
    def passed(self) -> bool:
        """Whether it is proved, or may go untested."""
        return self.worst.outcome == OK or (self.worst.outcome == UNTESTED and self.check.untested_ok)


@dataclass
class Proof:
    """A plant put to the test.

    Parameters
    ----------
    acceptance : Acceptance
        What had to hold.
    model : Model
        The plant, not run.
    outcomes : list of Outcome
        One for each case and seed, in the order of the file.
    sentences : list of Proved
        One for each sentence, in the order of the file.
    """

    acceptance: Acceptance
    model: Model
    outcomes: list[Outcome]
    sentences: list[Proved] = field(default_factory=list)

    @property
    def passed(self) -> bool:
        """Whether everything asked for is proved."""
        return all(one.passed for one in self.sentences) and not any(run.fault for run in self.outcomes)

    @property
    def simulated(self) -> float:
        """Plant time of all runs [s]."""
        return sum(run.seconds for run in self.outcomes)


@dataclass(frozen=True)
class _Job:
    """One run: its case, the plant with what happens to it, and what is wanted of the record."""

    case: Case
    seed: int
    model: Model
    checks: tuple[Check, ...]
    wants: Needs


def prove(
    plant: Path | str, acceptance: Acceptance, overrides: Sequence[str] = (), only: Sequence[str] = (),
    workers: int = 2, tell: Callable[[Outcome], None] | None = None,
) -> Proof:  # fmt: skip
    """Run all cases of an acceptance file on a plant and judge their sentences.

    Parameters
    ----------
    plant : Path or str
        The plant file.
    acceptance : Acceptance
        What has to hold.
    overrides : sequence of str
        `key.path=value` texts that replace values of the plant file.
    only : sequence of str
        Cases or sentences that are looked at; all when empty.
    workers : int
        Runs at one time.
    tell : callable, optional
        Told of every run that is over.

    Returns
    -------
    Proof

    Raises
    ------
    ConfigError
        If the plant file is wrong, or a sentence names what the plant has not.
    """
    cases, checks = _chosen(acceptance, only)
    plain, jobs = _jobs(plant, acceptance, overrides, cases, checks)
    outcomes: list[Outcome] = []
    with ThreadPoolExecutor(max(1, workers)) as pool:
        for outcome in pool.map(_run, jobs):
            outcomes.append(outcome)
            if tell is not None:
                tell(outcome)
    _check_figures(acceptance, jobs, outcomes, plain)
    return Proof(acceptance, plain, outcomes, _summed(cases, checks, acceptance, outcomes))


def _chosen(acceptance: Acceptance, only: Sequence[str]) -> tuple[list[Case], dict[str, list[Check]]]:
    """Cases looked at, and the sentences judged in each."""
    names = [case.name for case in acceptance.cases]
    known = {check.name for check in acceptance.every_check()}
    for word in only:
        if word not in names and word not in known:
            allowed = f"the name of a case or sentence of {acceptance.path}"
            raise ConfigError("--only: " + sentence(f"'{word}'", allowed, nearest(word, [*names, *known])))
    checks = {}
    for case in acceptance.cases:
        judged = acceptance.judged(case)
        if only and case.name not in only:
            judged = [check for check in judged if check.name in only]
        if judged:
            checks[case.name] = judged
    return [case for case in acceptance.cases if case.name in checks], checks


def _jobs(
    plant: Path | str, acceptance: Acceptance, overrides: Sequence[str], cases: list[Case],
    checks: dict[str, list[Check]],
) -> tuple[Model, list[_Job]]:  # fmt: skip
    """Everything that has to be run, checked before anything is."""
    from plantsim.plant.build import load_model

    plain = load_model(plant, overrides)
    made: dict[tuple[str, ...], Model] = {(): plain}
    jobs = []
    for case in cases:
        key = case.overrides
        if key not in made:
            made[key] = load_model(plant, [*overrides, *case.overrides])
        model, wants = made[key], _wants(acceptance, checks[case.name], made[key])
        for seed in case.seeds:
            jobs.append(_Job(case, seed, _acting(case, model, wants), tuple(checks[case.name]), wants))
    acceptance.tree.raise_findings()
    return plain, jobs


def _wants(acceptance: Acceptance, checks: list[Check], model: Model) -> Needs:
    """What the sentences of a case need; wrong names and units are findings."""
    known = _known(model)
    series: set[str] = set()
    figures: set[str] = set()
    closure = running = False
    for check in checks:
        try:
            one = needs(check.sentence, known)
        except NameRefusal as error:
            acceptance.tree.finding(check.key, f"{error}\n    in: {check.sentence.text}")
            continue
        series |= one.series
        figures |= one.figures
        closure, running = closure or one.closure, running or one.running
    wanted = _FIGURES if figures else {"source": ("running",)} if running else {}
    for name, (kind, _) in model.units.items():
        series |= {f"{name}.{field}" for field in wanted.get(kind, ())}
    return Needs(frozenset(series), frozenset(figures), closure, running)


def _acting(case: Case, model: Model, wants: Needs) -> Model:
    """The plant of one run: its own memory, the acts of the case, and only what is wanted recorded."""
    from plantsim.plant.acts import Places, acting, make_acts
    from plantsim.plant.scenario import happenings, open_scenario

    places = Places.of(model)
    plans = []
    if case.scenario is not None:
        told = open_scenario(case.scenario)
        told.raise_findings()
        plans += make_acts(places, happenings(places, told)[0])
        told.raise_findings()
    if case.tree is not None:
        plans += make_acts(places, happenings(places, case.tree)[0])
    every = case.every / model.step
    if abs(every - round(every)) > 1e-6 or round(every) < 1:
        assert case.tree is not None
        case.tree.finding("every", sentence(f"{case.every:g} s", f"whole steps of {model.step:g} s"))
    channels = [channel for channel in model.channels if channel.name in wants.series]
    return replace(acting(model, plans), channels=channels, record_every=max(1, round(every)))


def _run(job: _Job) -> Outcome:
    """One run, judged."""
    from plantsim.sim.simulation import Simulation

    sim = Simulation(job.model, job.seed)
    opening = sim.save() if job.wants.figures or job.wants.closure else None
    fault = ""
    try:
        sim.run(job.case.until)
    except RunFault as error:
        fault = str(error)
    record = from_simulation(sim, opening)
    verdicts = judge(job.checks, record)
    if fault:
        # a run that stopped short proves nothing, whatever it kept until then
        verdicts = [v if v.outcome == FAILED else replace(v, outcome=FAILED, words=f"the run stopped: {fault}")
                    for v in verdicts]  # fmt: skip
    return Outcome(job.case.name, job.seed, sim.seconds, tuple(verdicts), fault)


def _check_figures(acceptance: Acceptance, jobs: list[_Job], outcomes: list[Outcome], plain: Model) -> None:
    """A figure that no run has is most likely a slip of the pen."""
    for job in jobs:
        for check in job.checks:
            name = figure_of(check.sentence, _known(job.model), partial=True)
            if name and not any(v.outcome != UNTESTED for o in outcomes for v in o.verdicts if v.name == check.name):
                unit = name.partition(".")[0]
                near = nearest(name, [channel.name for channel in plain.channels if channel.name.startswith(unit)])
                acceptance.tree.finding(check.key, sentence(f"'{name}', which no run has", "a figure or a quantity",
                                                            near))  # fmt: skip
    acceptance.tree.raise_findings()


def _known(model: Model) -> dict[str, str]:
    return {c.name: "1" if c.unit in ("-", "") else c.unit for c in model.channels}


def _summed(
    cases: list[Case], checks: dict[str, list[Check]], acceptance: Acceptance, outcomes: list[Outcome]
) -> list[Proved]:  # fmt: skip
    """The worst verdict on every sentence over all runs; one that does not test it takes nothing from the others."""
    order = {FAILED: 0, OK: 1, UNTESTED: 2}
    judged = {check.name for case in cases for check in checks[case.name]}
    summed = []
    for check in acceptance.every_check():
        if check.name not in judged:
            continue
        found = [(v, o) for o in outcomes for v in o.verdicts if v.name == check.name]
        verdict, run = min(found, key=lambda one: (order[one[0].outcome], _room(one[0])))
        tested = sum(v.outcome != UNTESTED for v, _ in found)
        summed.append(Proved(check, verdict, run.case, run.seed, tested, len(found)))
    return summed


def _room(verdict: Verdict) -> float:
    return math.inf if math.isnan(verdict.margin) else verdict.margin
