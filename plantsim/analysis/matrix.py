"""The cause-and-effect matrix of a plant: fail everything once, one at a time, and see what the logic does.

All failures begin from one save point, with the same noise, weather and calendar; so whatever differs from the
undisturbed run comes of the failure. What the logic did is read from its outputs: drives asked on or off, permits
taken or given, actuators moved; and from its alarms. What neither an alarm nor a discrete action answered is what the
matrix is for.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from plantsim.analysis.checks.recording import factors
from plantsim.analysis.failures import Failure, failures_of
from plantsim.errors import RunFault

if TYPE_CHECKING:
    from plantsim.plant.model import Channel, Model
    from plantsim.sim.simulation import SavePoint, Simulation

ACTED, ALARMED, FOLLOWED, NOTHING, NO_TRACE = "acted", "alarm only", "followed", "nothing", "no trace"
GRADES = {
    ACTED: "a drive, permit or valve was switched at once, or into a state it has not in the undisturbed run",
    ALARMED: "an alarm came that the undisturbed run has not; the logic did nothing about it",
    FOLLOWED: "outputs moved, or switched at other times than else: the logic went after the wrong signal",
    NOTHING: "no alarm and no output told of it",
    NO_TRACE: "nothing differs from the undisturbed run: not put to the test in this time",
}
UNCAUGHT = (FOLLOWED, NOTHING)
"""Grades of failures that nothing caught."""
PROMPT = 60.0
"""A switching so soon after the first trace of a failure answers it [s]; later ones may only be other times of a cycle
(common practice, no source)."""
MOVED = 0.02
"""Part of its range an analogue output must move by to count: well above its deadband (common practice, no source)."""
HELD = 3.0
"""Time a difference must last to count [s]: shorter than any action, longer than one scan."""
_LONGER = 300.0
"""Time past a limit, beyond that of the undisturbed run, that counts as an effect [s]."""


@dataclass(frozen=True)
class Reaction:
    """One output that went another way than in the undisturbed run.

    Parameters
    ----------
    tag, role : str
        The tag; 'drive', 'permit', 'flag', 'valve' (an actuator that only opens and closes) or 'actuator'.
    after : float
        Time from the failure [s].
    change : str
        What it did first.
    answers : bool
        It was switched soon after the first trace of the failure, or into a state it has not in the undisturbed run.
    """

    tag: str
    role: str
    after: float
    change: str
    answers: bool


@dataclass(frozen=True)
class Row:
    """What became of one failure.

    Parameters
    ----------
    failure : Failure
        What failed.
    grade : str
        One of `GRADES`.
    reactions : tuple of Reaction
        Outputs that changed, the first first.
    alarms : tuple of (str, float)
        New alarms and when they came after the failure [s].
    effects : tuple of str
        Limits passed, water spilled, washing lost, in words.
    """

    failure: Failure
    grade: str
    reactions: tuple[Reaction, ...] = ()
    alarms: tuple[tuple[str, float], ...] = ()
    effects: tuple[str, ...] = ()

    @property
    def uncaught(self) -> bool:
        """Whether neither an alarm nor an answer of the logic told of it."""
        return self.grade in UNCAUGHT

    @property
    def first(self) -> float | None:
        """Time from the failure to the first alarm or answer of the logic [s]."""
        times = [one.after for one in self.reactions if one.answers] + [after for _, after in self.alarms]
        return min(times, default=None)


@dataclass
class Matrix:
    """All failures of a plant.

    Parameters
    ----------
    model : Model
        The plant, not run.
    at, lasts : float
        Time of the failures, and how long each was followed [s].
    seed : int
        Seed of everything random.
    outputs : list of (str, str)
        Tags that can react, with their roles, in the order of the plant file.
    rows : list of Row
        One for each failure.
    """

    model: Model
    at: float
    lasts: float
    seed: int
    outputs: list[tuple[str, str]]
    rows: list[Row] = field(default_factory=list)

    def count(self, *grades: str) -> int:
        """Failures with one of these grades."""
        return sum(row.grade in grades for row in self.rows)


def sweep(
    model: Model, at: float = 27.0 * 3600.0, lasts: float = 3.0 * 3600.0, seed: int = 1, only: Sequence[str] = (),
    workers: int = 2, tell: Callable[[Row], None] | None = None,
) -> Matrix:  # fmt: skip
    """Fail everything once and note what the logic does.

    Parameters
    ----------
    model : Model
        A plant, not yet running; it is not changed.
    at : float
        Time of the failures after the start [s].
    lasts : float
        Time each is followed [s]; it should hold a stop and a start of the plant, or drives are not put to the test.
    seed : int
        Seed of everything random.
    only : sequence of str
        Tags or units that fail; all when empty.
    workers : int
        Runs at one time.
    tell : callable, optional
        Told of every failure that is done.

    Returns
    -------
    Matrix
    """
    bench = _Bench(model, at, lasts, seed)
    chosen = [one for one in failures_of(model) if not only or one.of in only]
    matrix = Matrix(model, at, lasts, seed, bench.outputs)
    with ThreadPoolExecutor(max(1, workers)) as pool:
        for row in pool.map(bench.row, chosen):
            matrix.rows.append(row)
            if tell is not None:
                tell(row)
    return matrix


class _Bench:
    """The undisturbed run, and the save point from which every failure begins."""

    def __init__(self, model: Model, at: float, lasts: float, seed: int) -> None:
        self.plain = replace(model, channels=_channels(model), record_every=max(1, round(1.0 / model.step)))
        self.seed, self.lasts = seed, lasts
        self._own = threading.local()
        sim = self._simulation()
        sim.run(at)
        self.point: SavePoint = sim.save()
        self.at = sim.seconds
        sim.run(at + lasts)
        self.names = [channel.name for channel in self.plain.channels]
        every = sim.recorder.every
        self.first = self.point.tick // every
        self.time = (np.arange(self.first, len(sim.recorder.rows)) * every - self.point.tick) * model.step
        self.rows = sim.recorder.rows[self.first:].copy()
        self.alarms = {(note.alarm, note.tick) for note in sim.alarm_log if note.annunciated}
        self.outputs = [(tag.name, _role(model, tag.name)) for tag in model.tags.values()
                        if _role(model, tag.name) in ("drive", "permit", "flag", "actuator")]  # fmt: skip

    def _simulation(self) -> Simulation:
        from plantsim.plant.acts import acting
        from plantsim.sim.simulation import Simulation

        return Simulation(acting(self.plain, ()), self.seed)

    def row(self, failure: Failure) -> Row:
        """Run one failure from the save point."""
        sim: Simulation | None = getattr(self._own, "sim", None)
        if sim is None:
            sim = self._own.sim = self._simulation()
        sim.restore(self.point)
        for array, index, name, value in failure.puts:
            sim.model.arena.arrays[array][name][index] = value
        fault = ""
        try:
            sim.run(self.at + self.lasts)
        except RunFault as error:
            fault = f"the run stopped: {error}"
        seen = sim.recorder.rows[self.first:][: len(self.rows)]
        before = self.rows[: len(seen)]
        alarms = self._alarms(sim)
        differs = np.any(~np.isclose(before, seen, rtol=1e-9, atol=1e-12, equal_nan=True), axis=1)
        traces = self.time[: len(seen)][differs]
        onset = float(traces[0]) if len(traces) else 0.0
        reactions = tuple(sorted(self._reactions(before, seen, onset), key=lambda one: (one.after, one.tag)))
        effects = (*self._effects(before, seen), *([fault] if fault else []))
        return Row(failure, _grade(reactions, alarms, bool(len(traces))), reactions, alarms, effects)

    def _alarms(self, sim: Simulation) -> tuple[tuple[str, float], ...]:
        """Alarms that came here and not, at that time, in the undisturbed run: the first of each name."""
        found: dict[str, float] = {}
        for note in sim.alarm_log:
            if note.annunciated and note.tick >= self.point.tick and (note.alarm, note.tick) not in self.alarms:
                found.setdefault(note.alarm, (note.tick - self.point.tick) * sim.model.step)
        usual = {name for name, tick in self.alarms if tick >= self.point.tick}
        # an alarm the undisturbed run has too, only at another time, tells an operator nothing of the failure
        return tuple((name, after) for name, after in found.items() if name not in usual)

    def _reactions(self, before: np.ndarray, seen: np.ndarray, onset: float) -> list[Reaction]:
        found = []
        for name, role in self.outputs:
            column = self.names.index(name)
            was, now = before[:, column], seen[:, column]
            if role == "actuator" and _only_ends(was) and _only_ends(now):
                role = "valve"
            full = 1.0 if role in ("drive", "permit", "flag") else 100.0
            differs = np.abs(now - was) > (MOVED if role == "actuator" else 0.5) * full
            start = _lasting(differs, self.time[: len(seen)])
            if start is None:
                continue
            after = float(self.time[start])
            if role == "actuator":
                found.append(Reaction(name, role, after, f"{now[start]:.0f} % for {was[start]:.0f} %", False))
                continue
            on = bool(now[start] > 0.5 * full)
            new = not np.any((self.rows[:, column] > 0.5 * full) == on)
            found.append(Reaction(name, role, after, "on" if on else "off", new or after - onset <= PROMPT))
        return found

    def _effects(self, before: np.ndarray, seen: np.ndarray) -> list[str]:
        """Limits passed for longer than in the undisturbed run, water spilled, washing lost."""
        model, effects = self.plain, []
        step = float(self.time[1] - self.time[0]) if len(self.time) > 1 else 0.0
        for limit in model.limits:
            if limit.kind != "limit" or limit.channel not in self.names:
                continue
            channel = model.channels[self.names.index(limit.channel)]
            scale, offset = factors(channel)
            was, now = (x[:, self.names.index(limit.channel)] * scale + offset for x in (before, seen))
            side = np.median(was) > limit.value
            longer = step * (np.count_nonzero((now > limit.value) != side)
                             - np.count_nonzero((was > limit.value) != side))  # fmt: skip
            if longer >= _LONGER:
                unit = "" if channel.unit in ("-", "1") else f" {channel.unit}"
                word = "below" if side else "above"
                effects.append(f"{limit.channel} {word} {limit.value:g}{unit} ({limit.words}) for "
                               f"{longer / 60.0:.0f} min longer")  # fmt: skip
        for i, name in enumerate(self.names):
            if name.endswith((".spilled", ".overtopped")):
                more = (seen[-1, i] - seen[0, i]) - (before[-1, i] - before[0, i])
                if more > 0.05:
                    effects.append(f"{name.rpartition('.')[0]} spills {more:.3g} m3")
            elif name.endswith(".running") and model.units.get(name[:-8], ("",))[0] == "source":
                lost = step * (np.count_nonzero(before[:, i] > 0.5) - np.count_nonzero(seen[:, i] > 0.5))
                if lost >= _LONGER:
                    effects.append(f"{name[:-8]} stands {lost / 60.0:.0f} min longer")
        return effects


def _channels(model: Model) -> list[Channel]:
    """What is recorded: all tags, motors, what limits are drawn for, counters of spills, wash plants."""
    limited = {limit.channel for limit in model.limits}
    return [
        channel for channel in model.channels
        if channel.name in model.tags or channel.name in limited
        or channel.name.endswith((".running", ".tripped", ".spilled", ".overtopped", ".position"))
        or (channel.name.endswith(".flow") and ".profile" not in channel.name)
    ]  # fmt: skip


def _role(model: Model, tag: str) -> str:
    """Role of a tag: a flag of unit 1 that a program writes is a permit, one of another unit no output at all."""
    one = model.tags[tag]
    if one.role != "flag":
        return one.role
    if one.unit != "1":
        return "value"
    written = {int(copy["tag"]) for program in model.arena.program_p
               for copy in model.arena.copy_p[int(program["copies_out"]):][: int(program["n_out"])]}  # fmt: skip
    return "permit" if one.index in written else "flag"


def _lasting(on: np.ndarray, time: np.ndarray) -> int | None:
    """First row from which something is true for `HELD`; None when it never is."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], on, [False])).astype(np.int8))).reshape(-1, 2)
    for start, stop in edges:
        if time[stop - 1] - time[start] >= HELD or stop == len(on):
            return int(start)
    return None


def _only_ends(values: np.ndarray) -> bool:
    """Whether an actuator is only ever asked to be shut or wide open."""
    return bool(np.all((values <= 0.0) | (values >= 100.0)))


def _grade(reactions: Sequence[Reaction], alarms: Sequence[tuple[str, float]], traced: bool) -> str:
    if any(one.answers for one in reactions):
        return ACTED
    if alarms:
        return ALARMED
    if reactions:
        return FOLLOWED
    return NOTHING if traced else NO_TRACE
