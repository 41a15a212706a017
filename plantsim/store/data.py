"""A finished run: the one shape in which it is handed to the store, the report and comparisons."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

import numpy as np

from plantsim.analysis.figures import Figure
from plantsim.plant.model import Alarm, Limit
from plantsim.sim.alarms import AlarmNote

__all__ = ["Alarm", "AlarmNote", "Figure", "Limit", "Profile", "RunData", "Series"]


@dataclass(frozen=True)
class Series:
    """One recorded quantity over time, in the unit it is shown in."""

    values: np.ndarray
    unit: str
    meaning: str


@dataclass(frozen=True)
class Profile:
    """Solids in a clarifier over height and time.

    Parameters
    ----------
    heights : ndarray
        Height of the middle of each layer above the cone bottom, top layer first, [m]
    values : ndarray, shape (time, layer)
        Coarse and fines, [kg/m3]
    """

    heights: np.ndarray
    values: np.ndarray


@dataclass
class RunData:
    """Everything that is known of a run when it is over.

    Parameters
    ----------
    run : str
        Its name: the name of its folder.
    title, source_file : str
        Title of the plant, and the file it was built from.
    seed : int
        Seed of everything random.
    start : datetime
        Calendar time at which the simulated time begins.
    step, seconds : float
        Step and length of the run, [s]
    unfinished : bool
        The run was stopped or killed: there may be nothing but the words at its head.
    created : datetime
        When it was made, UTC.
    versions : dict of str to str
        Versions of what computed it.
    time : ndarray
        Times of the rows, [s]
    series : dict of str to Series
        Recorded quantities by name, such as `sump.level`.
    profiles : dict of str to Profile
        Solids over height and time, by clarifier.
    journal : list of (float, str, str)
        Seconds, kind and words of what happened.
    alarms : list of Alarm
        Alarms of the plant, with their rationalisation.
    alarm_log : list of AlarmNote
        Every change of state of an alarm.
    figures : dict of str to Figure
        Figures of the run by name.
    closure : dict of str to dict
        By material (water [m3], coarse, fines, colloid, coagulant, polymer [kg]): `in`, `out`, `reaction`,
        `change` and the relative `gap`.
    balance : dict of str to dict
        By way over the plant's boundary (feed, supply, ..., seep): the amount of each material and of all
        `solids` together.
    limits : list of Limit
        Lines to draw on trends.
    running : list of (float, float)
        Times in which a wash plant ran: start and stop, [s]
    warnings : list of str
        Sentences: what left the range of a model, and what the configuration was warned of.
    resolved : str
        The configuration as it was used, as YAML.
    reason : str
        Why it is unfinished, if anybody could still write it down.
    """

    run: str
    title: str
    source_file: str
    seed: int
    start: dt.datetime
    step: float
    seconds: float
    unfinished: bool
    created: dt.datetime
    versions: dict[str, str]
    time: np.ndarray
    series: dict[str, Series] = field(default_factory=dict)
    profiles: dict[str, Profile] = field(default_factory=dict)
    journal: list[tuple[float, str, str]] = field(default_factory=list)
    alarms: list[Alarm] = field(default_factory=list)
    alarm_log: list[AlarmNote] = field(default_factory=list)
    figures: dict[str, Figure] = field(default_factory=dict)
    closure: dict[str, dict[str, float]] = field(default_factory=dict)
    balance: dict[str, dict[str, float]] = field(default_factory=dict)
    limits: list[Limit] = field(default_factory=list)
    running: list[tuple[float, float]] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)
    resolved: str = ""
    reason: str = ""

    def when(self, seconds: float) -> dt.datetime:
        """Calendar time of a simulated time [s]."""
        return self.start + dt.timedelta(seconds=seconds)
