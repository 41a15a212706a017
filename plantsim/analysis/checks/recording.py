"""What sentences are judged on: times, series by name in their shown units, the journal, figures, balances.

The data of a kept run has this shape already; `from_simulation` gives it for a simulation that has run.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np

if TYPE_CHECKING:
    from plantsim.sim.simulation import SavePoint, Simulation


class Recording(Protocol):
    """The least a record has to offer.

    `time` are the times of the rows [s]; a row stands for the interval that ends at it. Series have `values` and
    `unit`, figures `value` and `unit`. `journal` are seconds, kind and words. `closure` gives for each material a
    dict with its relative `gap`. `running` are spans in which a wash plant washed [s].
    """

    @property
    def time(self) -> np.ndarray: ...
    @property
    def series(self) -> Mapping[str, Any]: ...
    @property
    def journal(self) -> Sequence[tuple[float, str, str]]: ...
    @property
    def figures(self) -> Mapping[str, Any]: ...
    @property
    def closure(self) -> Mapping[str, Mapping[str, float]]: ...
    @property
    def running(self) -> Sequence[tuple[float, float]]: ...


@dataclass(frozen=True)
class Values:
    """One recorded quantity in the unit it is shown in."""

    values: np.ndarray
    unit: str = "1"


@dataclass
class Record:
    """A record in memory; see `Recording`. `marks` names moments [s], such as those of an upset."""

    time: np.ndarray
    series: Mapping[str, Any] = field(default_factory=dict)
    journal: Sequence[tuple[float, str, str]] = ()
    figures: Mapping[str, Any] = field(default_factory=dict)
    closure: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    running: Sequence[tuple[float, float]] = ()
    marks: Mapping[str, Sequence[float]] = field(default_factory=dict)


def from_simulation(
    sim: Simulation, opening: SavePoint | None = None, names: Iterable[str] | None = None,
    marks: Mapping[str, Sequence[float]] | None = None,
) -> Record:  # fmt: skip
    """Record of a simulation that has run.

    Parameters
    ----------
    sim : Simulation
        The simulation after its run.
    opening : SavePoint, optional
        The plant before it; with it there are figures and balances, without it there are none.
    names : iterable of str, optional
        Series wanted; all when left out.
    marks : mapping of str to list of float, optional
        Moments that have a name [s].

    Returns
    -------
    Record
    """
    from plantsim.analysis.course import spans, washing

    recorder = sim.recorder
    rows = recorder.rows
    wanted = None if names is None else set(names)
    series = {}
    for i, channel in enumerate(recorder.channels):
        if wanted is None or channel.name in wanted:
            scale, offset = factors(channel)
            values = rows[:, i] if scale == 1.0 and offset == 0.0 else rows[:, i] * scale + offset
            series[channel.name] = Values(values, "1" if channel.unit in ("-", "") else channel.unit)
    course = _course(sim, opening)
    on = washing(course)
    record = Record(
        recorder.time, series, [(note.tick * sim.model.step, note.kind, note.words) for note in sim.journal],
        running=[] if on is None else spans(on, course.every), marks=marks or {},
    )  # fmt: skip
    if opening is not None:
        from plantsim.analysis.closure import close, inventory
        from plantsim.analysis.figures import figures

        record.figures = figures(course)
        record.closure = close(inventory(course.start), sim.model.arena, course.start.ledger)
    return record


def factors(channel: Any) -> tuple[float, float]:
    """Scale and offset from SI to the unit a channel is shown in."""
    from plantsim.plant.signals import shown_in

    return shown_in(channel) or (math.nan, math.nan)


def _course(sim: Simulation, opening: SavePoint | None) -> Any:
    from plantsim.analysis.course import Course
    from plantsim.arena import Arena

    model, recorder = sim.model, sim.recorder
    start, began = model.arena, 0
    if opening is not None:
        start, began = Arena(model.arena.counts), opening.tick
        start.restore(opening.memory)
    rows = recorder.rows
    si = {channel.name: rows[:, i] for i, channel in enumerate(recorder.channels)}
    shown = {channel.name: factors(channel) for channel in recorder.channels}
    return Course(model, start, recorder.every * recorder.step, sim.seconds - began * model.step, si, shown.__getitem__)
