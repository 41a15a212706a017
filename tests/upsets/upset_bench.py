"""Demonstration plants settled once in a process, and upsets run on them from there: calm, missed, responded."""

from __future__ import annotations

import functools
from dataclasses import dataclass
from pathlib import Path

from plantsim.analysis.upset_course import UpsetRun, go_on, judged, since
from plantsim.plant.acts import Act, Places
from plantsim.plant.build import load_model
from plantsim.plant.model import Model, Upset
from plantsim.plant.plans import Start
from plantsim.plant.tree import Tree
from plantsim.plant.upsets import read_upset, shipped_upsets, stage
from plantsim.sim.simulation import SavePoint, Simulation

CONFIGS = Path(__file__).resolve().parents[2] / "configs"
LEAD = 600.0
"""Time from the save point to the cause [s]."""
ROW = 2.0
"""Time between two rows of the record [s]: a symptom is seen at most so late."""
TIMES = ("calm", "missed", "responded")


@functools.cache
def plant(site: str) -> Model:
    """A demonstration plant, recorded finely; never run itself."""
    return load_model(CONFIGS / f"{site}.yaml", [f"site.record_every={ROW:g} s"])


@functools.cache
def bench(site: str, seconds: float, seed: int = 1) -> SavePoint:
    """The plant settled by its own programs for a time."""
    from plantsim.plant.acts import acting

    sim = Simulation(acting(plant(site), []), seed)
    sim.run(seconds)
    return sim.save()


def upsets() -> list[tuple[str, str]]:
    """Every shipped upset with every plant it is shown on."""
    return [(name, site) for name, path in shipped_upsets().items() for site in read_upset(path).shown_on]


@dataclass(frozen=True)
class Staged:
    """An upset on a plant: its description, what is done without and with the answer, and what is said of it."""

    tree: Tree
    upset: Upset
    causes: tuple[Act, ...]
    answers: tuple[Act, ...]


@functools.cache
def staged(name: str, site: str) -> Staged:
    """An upset tied to a plant."""
    tree = read_upset(shipped_upsets()[name])
    start = Start(tree.begin, tree.begin)
    found = stage(Places.of(plant(site)), tree, name, start)
    tree.raise_findings()
    assert found is not None
    acts, upset, answers = found
    return Staged(tree, upset, tuple(acts), tuple(answers))


@functools.cache
def run(name: str, site: str, how: str) -> UpsetRun:
    """One run: 'calm' (nothing is done), 'missed' (the causes alone) or 'responded'."""
    one = staged(name, site)
    cause = one.upset.start.low
    point = bench(site, cause - LEAD)
    acts = {"calm": (), "missed": one.causes, "responded": one.causes + one.answers}[how]
    if how == "calm":
        record = calm(site, cause, one.upset.horizon)
        return UpsetRun(record, judged(one.upset, record), cause)
    sim = go_on(plant(site), acts, point, cause + one.upset.horizon)
    record = since(sim, point, {"upset": [cause], "cause": [cause]})
    return UpsetRun(record, judged(one.upset, record), cause)


@functools.cache
def calm(site: str, cause: float, horizon: float):
    """The undisturbed run, one for all upsets of the same times."""
    point = bench(site, cause - LEAD)
    return since(go_on(plant(site), (), point, cause + horizon), point, {"upset": [cause], "cause": [cause]})
