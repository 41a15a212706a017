"""Run a plant: the compiled kernel for dense time, simpy for sparse time, one integer tick for both."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Generator
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from plantsim.errors import RunFault
from plantsim.plant.model import Model
from plantsim.plant.plans import Write
from plantsim.sim.act import Act
from plantsim.sim.alarms import AlarmDesk, AlarmNote
from plantsim.sim.environment import PlantEnvironment
from plantsim.sim.loading import no_collecting, spare_blas
from plantsim.sim.process import NEVER
from plantsim.sim.processes import PROCESSES
from plantsim.sim.recorder import Recorder


@dataclass(frozen=True)
class Note:
    """One line of the journal."""

    tick: int
    kind: str
    words: str


@dataclass(frozen=True)
class SavePoint:
    """The whole plant at one tick, with the seed its random events go on from."""

    tick: int
    seed: int
    memory: bytes = field(repr=False)


class Simulation:
    """A plant in time.

    Parameters
    ----------
    model : Model
        The plant. It is changed by running; build a new one for another run.
    seed : int
        Seed of everything random. The same configuration and seed give the same bytes.
    chunk : int
        Most ticks in one kernel call: between calls progress is shown and a stop is heard.
    """

    def __init__(self, model: Model, seed: int = 1, chunk: int = 200_000) -> None:
        self.model = model
        self.seed = int(seed)
        self.chunk = chunk
        self.journal: list[Note] = []
        self.recorder = Recorder(model)
        self.progress: Callable[[int], None] | None = None
        self.alarms = AlarmDesk(self)
        self._plant = model.arena.plant(model.code)
        self.processes = [PROCESSES[type(p)](p, n) for p, n in zip(model.plans.items, model.plans.numbers())]
        self._seed_records()
        self._initialise()
        agenda = model.arena.agenda
        agenda["due"] = NEVER
        for process in self.processes:
            agenda["due"][process.number] = process.first(self)
        self._env: PlantEnvironment | None = None

    def _seed_records(self) -> None:
        """Give every record that draws random numbers its own stream."""
        arena = self.model.arena
        for k, name in enumerate(("source_s", "instrument_s")):
            records = arena.arrays[name]
            if len(records):
                generator = np.random.Generator(np.random.Philox(key=[self.seed & (2**64 - 1), (1 << 60) + k]))
                records["random"] = generator.integers(-(2**63), 2**63 - 1, len(records))

    def _initialise(self) -> None:
        """Have the kernel ready and the offers of the starting state formed."""
        from plantsim.kernels.loop import advance, initialise

        # The first time on a machine this compiles. The compiler makes millions of objects that live on, and looking
        # through them for garbage would take an eighth of the time.
        spare_blas()
        with no_collecting():
            initialise(self._plant)
            advance(self._plant, 0, *self.recorder.target())

    @property
    def alarm_log(self) -> list[AlarmNote]:
        """Every change of state of an alarm so far, in order."""
        return self.alarms.log

    @property
    def tick(self) -> int:
        """Steps done."""
        return int(self.model.arena.clock["tick"][0])

    @property
    def seconds(self) -> float:
        """Simulated time since the start [s]."""
        return self.tick * self.model.step

    def when(self, tick: int) -> dt.datetime:
        """Calendar time of a tick."""
        return self.model.start + dt.timedelta(seconds=tick * self.model.step)

    def note(self, tick: int, kind: str, words: str) -> None:
        """Write a line in the journal."""
        self.journal.append(Note(tick, kind, words))

    def write(self, write: Write) -> None:
        """Write one number to one cell of the plant."""
        if write.integer:
            self._plant.imem[write.cell] = int(write.value)
        else:
            self._plant.mem[write.cell] = write.value

    def put(self, write: Write) -> None:
        """Write a number as the plant's own course has it: beneath an act that holds the cell for a time."""
        for process in self.processes:
            if isinstance(process, Act) and process.plan.cell == write.cell and process.holds(self):
                process.slip_under(self, write.value)
                return
        self.write(write)

    # ------------------------------------------------------------------------------------------
    def run(self, until: float) -> None:
        """Run until a simulated time [s] after the start.

        Raises
        ------
        RunFault
            If the kernel stops: a control program failed, or a number is no longer finite.
        """
        last = round(until / self.model.step)
        if last <= self.tick:
            return
        self.recorder.reserve(last)
        if self._env is None:
            self._env = PlantEnvironment(self.tick, self._advance)
            self._env.process(self._clerk(self._env))
        self._env.run(until=last)
        self._advance(last)

    def _clerk(self, env: PlantEnvironment) -> Generator[Any, Any, None]:
        """Call every process when it is due: at one tick in the order of their numbers."""
        due = self.model.arena.agenda["due"]
        while True:
            waiting = due[due != NEVER]
            if not len(waiting):
                return
            first = int(waiting.min())
            if first > env.now:
                yield env.timeout(first - env.now)
            for process in self.processes:
                if due[process.number] == first:
                    following = process.fire(self, first)
                    self.model.arena.agenda["count"][process.number] += 1
                    due[process.number] = following

    def _advance(self, tick: int) -> None:
        """Bring the plant to a tick by as few kernel calls as progress allows."""
        from plantsim.kernels.loop import advance

        while self.tick < tick:
            ticks = min(self.chunk, tick - self.tick)
            status = advance(self._plant, ticks, *self.recorder.target())
            self.alarms.drain()  # the kernel stops early rather than lose a change
            if status != 0:
                raise RunFault(self._explain(int(status)))
            if self.progress is not None:
                self.progress(self.tick)

    def _explain(self, status: int) -> str:
        from plantsim.kernels.loop import FAULT_PROGRAM

        kind, number = status & 255, status >> 8
        where = f"at {self.seconds:.0f} s (tick {self.tick})"
        if kind == FAULT_PROGRAM:
            names = list(self.model.programs)
            fault = int(self.model.arena.program_s["status"][number])
            program = self.model.programs[names[number]]
            return f"control program {names[number]} stopped {where}: {program.explain(fault)}"
        return f"the plant's numbers are no longer finite {where}; the step may be too long for this plant"

    def reschedule(self) -> None:
        """Look at the agenda anew: an act has been given to a process from outside, or taken from it."""
        self._env = None

    # ------------------------------------------------------------------------------------------
    def save(self) -> SavePoint:
        """A save point: the whole plant at this tick."""
        return SavePoint(self.tick, self.seed, self.model.arena.save())

    def restore(self, point: SavePoint) -> None:
        """Go back (or on) to a save point of this plant; the run goes on from there as it would have."""
        self.model.arena.restore(point.memory)
        self.seed = point.seed
        self.journal = [n for n in self.journal if n.tick < point.tick]
        self._env = None
        self.alarms.rewind()

    def join(self, point: SavePoint) -> None:
        """Go on from a save point of the same plant without the acts that this one has more.

        Raises
        ------
        ValueError
            If the point is of another plant, or one of the acts would have begun before it.
        """
        arena = self.model.arena
        more = (arena.mem.nbytes - len(point.memory)) // arena.agenda.itemsize
        records = arena.agenda[len(arena.agenda) - more:].copy()
        late = [p for p in self.processes if p.number >= len(arena.agenda) - more
                and 0 <= arena.agenda["due"][p.number] < point.tick]  # fmt: skip
        if late:
            raise ValueError(f"it should have begun before the save point: {late[0].plan.words}")
        arena.restore(point.memory + records.tobytes())
        self.seed = point.seed
        self.journal, self._env = [], None
        self.alarms.rewind()
