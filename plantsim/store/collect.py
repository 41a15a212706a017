"""From a simulation that has run to the data of a run."""

from __future__ import annotations

import datetime as dt
import importlib.metadata
import platform
import re
from dataclasses import replace

import numpy as np

from plantsim import records
from plantsim.analysis.alarm_figures import alarm_figures
from plantsim.analysis.alarm_targets import as_figures
from plantsim.analysis.closure import balance, close, inventory
from plantsim.analysis.course import spans, washing
from plantsim.analysis.figures import Course, figures
from plantsim.arena import Arena
from plantsim.plant.model import Channel
from plantsim.plant.signals import shown_in
from plantsim.sim.simulation import SavePoint, Simulation
from plantsim.store.data import Profile, RunData, Series

_PROFILE = re.compile(r"(.+)\.profile\.(\d+)")
_PACKAGES = ("plantsim", "numpy", "scipy", "numba", "simpy")


def versions() -> dict[str, str]:
    """Versions of what computes a run."""
    found = {"python": platform.python_version()}
    for name in _PACKAGES:
        try:
            found[name] = importlib.metadata.version(name)
        except importlib.metadata.PackageNotFoundError:
            found[name] = "not installed as a package"
    return found


def factors(channel: Channel) -> tuple[float, float]:
    """Scale and offset from SI to the unit a channel is shown in (shown = SI times scale plus offset)."""
    found = shown_in(channel)
    if found is None:
        raise ValueError(f"{channel.name} cannot be shown in {channel.unit}: its unit is {channel.si_unit}")
    return found


def from_simulation(sim: Simulation, opening: SavePoint, run: str = "", last: bool = False) -> RunData:
    """Collect all there is to know of a run.

    Parameters
    ----------
    sim : Simulation
        The simulation after its run.
    opening : SavePoint
        The plant before it: `sim.save()` ahead of the first `sim.run()`. Balances and totals are counted
        from there.
    run : str
        Name of the run.
    last : bool
        Nobody asks the simulation for its record any more: it is taken over rather than copied, which halves the
        memory of a long run.

    Returns
    -------
    RunData
    """
    model = sim.model
    start = Arena(model.arena.counts)
    start.restore(opening.memory)
    recorder = sim.recorder
    rows, time = recorder.rows, recorder.time
    si = {channel.name: rows[:, i] for i, channel in enumerate(recorder.channels)}
    shown = {channel.name: factors(channel) for channel in recorder.channels}
    course = Course(model, start, recorder.every * recorder.step, sim.seconds - opening.tick * model.step, si,
                    shown.__getitem__)  # fmt: skip
    running = washing(course)
    found = figures(course)
    every = course.every
    if last:
        del course, si
        rows = recorder.take()
    series, profiles = _split(sim, rows if last else rows.copy(), shown)
    notes = [note for note in sim.alarm_log if note.tick >= opening.tick]
    if model.alarms:
        began = opening.tick * model.step
        counted = [replace(note, seconds=note.seconds - began) for note in notes]
        found |= as_figures(alarm_figures(model.alarms, counted, sim.seconds - began))
    return RunData(
        run=run, title=model.title, source_file=model.source_file, seed=sim.seed, start=model.start,
        step=model.step, seconds=sim.seconds, unfinished=False,
        created=dt.datetime.now(dt.UTC).replace(microsecond=0), versions=versions(), time=time, series=series,
        profiles=profiles,
        journal=[(note.tick * model.step, note.kind, note.words) for note in sim.journal],
        alarms=list(model.alarms), alarm_log=notes, figures=found,
        closure=close(inventory(start), model.arena, start.ledger),
        balance=balance(model.arena, start.ledger), limits=list(model.limits),
        running=[] if running is None else spans(running, every), warnings=_warnings(sim),
        resolved=model.resolved,
    )  # fmt: skip


def _split(
    sim: Simulation, rows: np.ndarray, shown: dict[str, tuple[float, float]]
) -> tuple[dict[str, Series], dict[str, Profile]]:
    """Part the recorded rows into series, in their shown units, and profiles: all are views of the rows, changed."""
    series: dict[str, Series] = {}
    layers: dict[str, dict[int, int]] = {}
    scales, offsets = np.ones(rows.shape[1]), np.full(rows.shape[1], -0.0)  # times 1 and plus -0: not a bit changes
    for i, channel in enumerate(sim.recorder.channels):
        match = _PROFILE.fullmatch(channel.name)
        if match:
            layers.setdefault(match[1], {})[int(match[2])] = i
            continue
        scales[i], offsets[i] = shown[channel.name]
        unit = "1" if channel.unit in ("-", "") else channel.unit
        series[channel.name] = Series(rows[:, i], unit, channel.meaning)
    rows *= scales
    rows += offsets
    profiles = {}
    for name, columns in layers.items():
        p = sim.model.arena.clarifier_p[sim.model.units[name][1]]
        order = np.array(sorted(columns))
        heights = (int(p["layers"]) - order - 0.5) * float(p["height"])
        places = [columns[k] for k in order]
        first, end = places[0], places[-1] + 1
        side_by_side = places == list(range(first, end))
        profiles[name] = Profile(heights, rows[:, first:end] if side_by_side else rows[:, places])
    return series, profiles


def _warnings(sim: Simulation) -> list[str]:
    """Sentences for every warning bit met, after those of the configuration."""
    flags = int(sim.model.arena.clock["warned"][0])
    met = [words for bit, (_, words) in enumerate(records.WARNINGS) if flags >> bit & 1]
    return [*sim.model.warnings, *(f"In this run {words}." for words in met)]
