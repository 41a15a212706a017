"""A small live plant for tests: the sand site, which has alarms, a press and one pump."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import Any

from plantsim.live.coach import MAKERS, Coach, build_plant
from plantsim.live.engine import Engine
from plantsim.live.plant import LivePlant
from plantsim.live.requests import Requests
from plantsim.live.session import Session, Sitting
from plantsim.plant.build import load_model

ROOT = Path(__file__).resolve().parents[2]
SAND = str(ROOT / "configs" / "small-sand.yaml")
HOUR = 3600


class Clock:
    """A wall clock moved by hand."""

    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        return self.now


@lru_cache(maxsize=2)
def model(file: str = SAND) -> Any:
    """The plant file, read once; a live plant copies it."""
    return load_model(file)


def plant(seed: int = 1, file: str = SAND) -> LivePlant:
    return LivePlant(model(file), seed, MAKERS)


def engine(out: Path, lesson: str = "", file: str = SAND) -> tuple[Engine, Clock]:
    """An engine that runs in no thread: a test turns it."""
    clock = Clock()
    coach = Coach(Sitting(file, (), 1, lesson), out)
    return Engine(coach.begin(coach.sitting), Requests(coach), clock), clock


def resumed(path: Path) -> Session:
    return Session.resume(path, build_plant)
