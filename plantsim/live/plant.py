"""A plant that people act on while it runs: one simulation, the acts done to it, and the way back.

No clock and no thread: given the same acts at the same ticks it gives the same bytes, so the journal of a session is
the session. Going back restores a save point and does again what was done from there to the tick asked for.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from plantsim.live.desk import FieldWork, OperatorPoint, field_works, operator_points
from plantsim.live.journal import Entry
from plantsim.live.points import Reading, points_of
from plantsim.plant.acts import acting
from plantsim.plant.model import Model
from plantsim.plant.plans import ActPlan, Start
from plantsim.plant.program_variables import find
from plantsim.sim.act import Act
from plantsim.sim.process import NEVER
from plantsim.sim.simulation import SavePoint, Simulation
from plantsim.st.arithmetic import single

SPARE = 240
"""Acts that can be done to a plant between its start and its end, beside those that are instant."""
SAVE_EVERY = 600.0
"""Simulated time between two save points of the ring [s]."""
RING = 400
"""Save points kept: the older half is thinned when it is full, so the first stays for ever."""
_IDLE = ActPlan(Start(math.inf, math.inf), 0, "real", 1.0, 0.0, 0.0, math.inf, "")

Maker = Callable[[Model, dict[str, Any], int], list[ActPlan]]
"""Makes the acts of an upset or of a single cause from its particulars, at a tick."""


@dataclass(frozen=True)
class _Kept:
    """A save point of the ring, and how many spare acts were taken when it was made."""

    point: SavePoint
    taken: int


@dataclass(frozen=True)
class Sample:
    """A hand sample: when its value is known, beside which instrument, and for which act."""

    tick: int
    tag: str
    entry: int


class LivePlant:
    """A simulation with acts that are not known beforehand.

    Parameters
    ----------
    model : Model
        The plant; it is copied with room for acts.
    seed : int
        Seed of everything random.
    makers : dict
        What makes acts of an 'upset' and of a 'cause'.
    """

    def __init__(self, model: Model, seed: int, makers: dict[str, Maker] | None = None) -> None:
        self.model = acting(model, [_IDLE] * SPARE)
        self.sim = Simulation(self.model, seed)
        self.makers = makers or {}
        self.points: dict[str, OperatorPoint] = operator_points(self.model)
        self.works: dict[str, FieldWork] = field_works(model)
        self.reading = Reading(self.model, points_of(self.model))
        self.samples: list[Sample] = []
        self.found: list[tuple[Sample, float]] = []
        """Samples whose value is known."""
        self._spare = [p.number for p in self.sim.processes[len(self.sim.processes) - SPARE :]]
        self._slot = {p.number: i for i, p in enumerate(self.sim.processes)}
        self._acts: dict[int, Act] = {}
        self._taken: list[tuple[int, int]] = []  # of each spare act: its entry's number and its slot
        self._every = max(1, round(SAVE_EVERY / self.model.step))
        self._ring: list[_Kept] = [_Kept(self.sim.save(), 0)]
        self._reserve()

    # ------------------------------------------------------------------ time
    @property
    def tick(self) -> int:
        """Steps done."""
        return self.sim.tick

    def advance(self, tick: int) -> None:
        """Bring the plant to a tick.

        Raises
        ------
        RunFault
            If the plant cannot go on.
        """
        while self.sim.tick < tick:
            self._reserve()
            goal = min(tick, (self.sim.tick // self._every + 1) * self._every)
            due = [s.tick for s in self.samples if s.tick > self.sim.tick]
            goal = min([goal, *due])
            self.sim.run(goal * self.model.step)
            self._take_samples()
            if self.sim.tick % self._every == 0:
                self._keep()

    def _reserve(self) -> None:
        """Make room in the record ahead of time, some hours at once: it is copied when it grows."""
        ahead = self.sim.tick + round(6 * 3600.0 / self.model.step)
        if ahead // self.model.record_every + 1 > len(self.sim.recorder.target()[0]):
            self.sim.recorder.reserve(self.sim.tick + round(24 * 3600.0 / self.model.step))

    def _keep(self) -> None:
        if self._ring[-1].point.tick >= self.sim.tick:
            return
        self._ring.append(_Kept(self.sim.save(), len(self._taken)))
        if len(self._ring) > RING:
            half = len(self._ring) // 2
            self._ring = self._ring[:1] + self._ring[1:half:2] + self._ring[half:]

    @property
    def earliest(self) -> int:
        """Earliest tick there is a way back to."""
        return self._ring[0].point.tick

    def go_back(self, tick: int, past: Iterable[Entry]) -> None:
        """Go back to a tick: the save point before it, and all acts of the past done again.

        Parameters
        ----------
        tick : int
            Where to.
        past : iterable of Entry
            Acts that have been done when it is reached, in order.
        """
        if not self.earliest <= tick <= self.sim.tick:
            raise ValueError(f"no way back to tick {tick}")
        place = bisect_right([k.point.tick for k in self._ring], tick) - 1
        kept = self._ring[place]
        self._restore(kept)
        del self._ring[place + 1 :]
        self.replay([e for e in past if kept.point.tick <= e.tick <= tick], tick)

    def _restore(self, kept: _Kept) -> None:
        self.sim.restore(kept.point)
        for _, number in self._taken[: kept.taken]:
            self._put(self._acts[number])  # whole again, when it has been ended since
        for _, number in self._taken[kept.taken :]:
            self._put(Act(_IDLE, number))
        del self._taken[kept.taken :]
        self.samples = [s for s in self.samples if s.tick > kept.point.tick]
        self.found = [(s, v) for s, v in self.found if s.tick <= kept.point.tick]

    def _put(self, act: Act) -> None:
        self.sim.processes[self._slot[act.number]] = act

    def replay(self, entries: Iterable[Entry], tick: int) -> None:
        """Do acts again at their ticks, and go on to a tick.

        Every save point of the ring is made before the acts at its own tick.
        """
        for entry in entries:
            if entry.tick > tick:
                break
            self.advance(entry.tick)
            self.apply(entry)
        self.advance(tick)

    # ------------------------------------------------------------------ acts
    def apply(self, entry: Entry) -> None:
        """Do what an entry says, now. Acts that do not touch the plant do nothing here."""
        data = entry.data
        if entry.act == "set":
            self._set(entry, data["path"], float(data["value"]))
        elif entry.act in ("upset", "cause", "lesson"):
            self._take(entry, self.makers[entry.act](self.model, data, self.sim.tick))
        elif entry.act == "end-upset":
            self._end(int(data["entry"]))
        elif entry.act == "field":
            self._field(entry, self.works[data["work"]])
        elif entry.act == "ack":
            self.sim.alarms.acknowledge(*data["names"])
        elif entry.act == "alarm-reset":
            self.sim.alarms.reset(*data["names"])
        elif entry.act == "shelve":
            self.sim.alarms.shelve(data["name"], float(data["seconds"]))
        elif entry.act == "unshelve":
            self.sim.alarms.unshelve(data["name"])

    def value(self, path: str) -> float:
        """Present value of an operator's point, as shown."""
        return float(self.reading.values()[self.reading.index[path]])

    def _set(self, entry: Entry, path: str, value: float) -> None:
        point = self.points[path]
        if not point.program:
            self.model.arena.tags[self.model.tags[path].index] = value
            return
        instance, variable = find(self.model.programs, path)
        if variable.type == "TIME":
            value = round(value * 1000.0)
        cell = self.model.arena.cell("control", instance.base + variable.cell)
        if point.kind == "press":
            lasts = max(2.0 * point.every, self.model.step)
            start = self.sim.tick * self.model.step
            self._take(
                entry, [ActPlan(Start(start, start), cell, "integer", 0.0, 1.0, 0.0, lasts, entry.words, "operator")]
            )
        elif variable.is_real:
            self.model.arena.mem[cell] = single(value) if variable.type == "REAL" else value
        else:
            self.model.arena.mem.view(np.int64)[cell] = int(value)

    def _field(self, entry: Entry, work: FieldWork) -> None:
        at = self.sim.tick * self.model.step + work.takes
        plans = []
        for cell, integer, value in work.writes:
            plans.append(
                ActPlan(
                    Start(at, at),
                    cell,
                    "integer" if integer else "real",
                    0.0,
                    value,
                    0.0,
                    math.inf,
                    f"crew: {work.words}, done",
                    "operator",
                )
            )
        self._take(entry, plans)
        if work.sample:
            self.samples.append(Sample(round(at / self.model.step), work.sample, entry.number))

    def _take_samples(self) -> None:
        for sample in [s for s in self.samples if s.tick <= self.sim.tick]:
            self.samples.remove(sample)
            self.found.append((sample, self.value(f"{sample.tag}.true")))

    @property
    def room(self) -> int:
        """Spare acts left."""
        return SPARE - len(self._taken)

    def _take(self, entry: Entry, plans: list[ActPlan]) -> None:
        """Give acts to spare processes."""
        for plan in plans[: self.room]:
            number = self._spare[len(self._taken)]
            self._acts[number] = Act(plan, number)
            self._put(self._acts[number])
            agenda = self.model.arena.agenda
            agenda["due"][number] = max(self._acts[number].first(self.sim), self.sim.tick)
            agenda["count"][number : number + 2] = 0
            self._taken.append((entry.number, number))
        self.sim.reschedule()

    def _end(self, entry: int) -> None:
        """End acts of an entry: what lies beneath them is seen again; those not begun never begin."""
        agenda = self.model.arena.agenda
        for owner, number in self._taken:
            if owner != entry or (agenda["due"][number] == NEVER and agenda["count"][number + 1] != 1):
                continue
            act = self._acts[number]
            if agenda["count"][number + 1] == 1:
                lasts = (self.sim.tick - act.begins(self.sim)) * self.model.step
                self._put(Act(replace(act.plan, lasts=lasts), number))
                agenda["due"][number] = self.sim.tick
            else:
                agenda["due"][number] = NEVER
        self.sim.reschedule()

    def begun(self, entry: int) -> int | None:
        """Tick at which the first act of an entry has begun; None when none has."""
        agenda = self.model.arena.agenda
        ticks = [
            self._acts[number].begins(self.sim)
            for owner, number in self._taken
            if owner == entry and agenda["count"][number + 1] != 0
        ]
        return min(ticks, default=None)

    def at_work(self, entry: int) -> bool:
        """Whether an act of an entry is at work, or still to come."""
        agenda = self.model.arena.agenda
        return any(
            owner == entry and (agenda["count"][number + 1] == 1 or agenda["due"][number] != NEVER)
            for owner, number in self._taken
        )
