"""Demonstration plants settled once in a process, and upsets run on them from there: calm, missed, responded."""

from __future__ import annotations

import functools
from pathlib import Path

from plantsim.analysis import upset_course
from plantsim.analysis.upset_course import Staged, UpsetRun
from plantsim.plant.build import load_model
from plantsim.plant.model import Model
from plantsim.plant.upsets import read_upset, shipped_upsets
from plantsim.sim.simulation import SavePoint

CONFIGS = Path(__file__).resolve().parents[2] / "configs"
LEAD = 600.0
"""Time from the save point to the cause [s]."""
ROW = 2.0
"""Time between two rows of the record [s]: a symptom is seen at most so late."""


@functools.cache
def plant(site: str) -> Model:
    """A demonstration plant, recorded finely; never run itself."""
    return load_model(CONFIGS / f"{site}.yaml", [f"site.record_every={ROW:g} s"])


@functools.cache
def bench(site: str, seconds: float, seed: int = 1) -> SavePoint:
    """The plant settled by its own programs for a time."""
    return upset_course.settle(plant(site), seconds, seed)


def upsets() -> list[tuple[str, str]]:
    """Every shipped upset with every plant it is shown on."""
    return [(name, site) for name, path in shipped_upsets().items() for site in read_upset(path).shown_on]


@functools.cache
def staged(name: str, site: str) -> Staged:
    """An upset tied to a plant."""
    return upset_course.staged(plant(site), name)


@functools.cache
def run(name: str, site: str, how: str) -> UpsetRun:
    """One run: 'calm' (nothing is done), 'missed' (the causes alone) or 'responded'."""
    one = staged(name, site)
    cause = one.upset.start.low
    if how == "calm":
        record = _calm(site, cause, one.upset.horizon).record
        return UpsetRun(record, upset_course.judged(one.upset, record), cause)
    return upset_course.follow(plant(site), one, how, bench(site, cause - LEAD))


@functools.cache
def _calm(site: str, cause: float, horizon: float) -> UpsetRun:
    """The undisturbed run, one for all upsets of the same times."""
    name = next(n for n, s in upsets() if s == site and (staged(n, s).upset.start.low, staged(n, s).upset.horizon)
                == (cause, horizon))  # fmt: skip
    return upset_course.follow(plant(site), staged(name, site), "calm", bench(site, cause - LEAD))
