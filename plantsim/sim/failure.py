"""Random failures, and the crews that repair them: one queue, first come first served, in working hours.

Without a crew a failure is repaired after an exponential time, and the availability of a thing is
MTBF / (MTBF + MTTR) (Barlow and Proschan 1965, Mathematical Theory of Reliability, chapter on renewal processes).
With one, it waits until a crew is free and at work: N things and c crews at work day and night are the machine repair
model of queueing theory. A repair that is not done when the shift ends goes on in the next one.

Memory of a failure with a crew, in its two agenda records: whether it has failed (`mark` of the first), its place
(`count` of the second: 0 at work, 1 waiting, 2 in repair) and the tick at which it failed (`mark` of the second). The
crew remembers nothing: who is in repair is its work in hand.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from plantsim.plant import plans
from plantsim.sim.process import NEVER, WEEK, Process, draw, inside, until_edge, until_open, week_seconds

if TYPE_CHECKING:
    from plantsim.sim.simulation import Simulation

_UP, _WAITING, _REPAIR = 0, 1, 2


class Failure(Process):
    """Fails and is repaired, both after exponential times."""

    plan: plans.FailurePlan

    def first(self, sim: Simulation) -> int:
        up = draw(sim.seed, self.number, (1 << 39) - 1).exponential(self.plan.mean_up)
        return self.later(sim, 0, up)

    def fire(self, sim: Simulation, tick: int) -> int:
        failed = sim.model.arena.agenda["mark"][self.number] > 0.5
        write = self.plan.write
        sim.put(plans.Write(write.cell, write.integer, 0.0 if failed else write.value))
        sim.model.arena.agenda["mark"][self.number] = 0.0 if failed else 1.0
        sim.note(tick, "failure", f"{self.plan.name} {'repaired' if failed else 'fails'}")
        if self.plan.crew:
            self._stand(sim, _UP if failed else _WAITING, tick)
            _call_crew(sim, tick)
            if not failed:
                return NEVER  # until the crew has done it
        mean = self.plan.mean_up if failed else self.plan.mean_down
        return self.later(sim, tick, self.random(sim).exponential(mean))

    def _stand(self, sim: Simulation, place: int, tick: int) -> None:
        sim.model.arena.agenda["count"][self.number + 1] = place
        sim.model.arena.agenda["mark"][self.number + 1] = float(tick)

    def place(self, sim: Simulation) -> int:
        """Where it stands: at work, waiting, in repair."""
        return int(sim.model.arena.agenda["count"][self.number + 1])

    def since(self, sim: Simulation) -> float:
        """Tick at which it failed, while it waits."""
        return float(sim.model.arena.agenda["mark"][self.number + 1])

    def begin(self, sim: Simulation, tick: int, spans: plans.Week) -> None:
        """Be taken in hand by a crew that works in these spans of the week."""
        # apart from the draw of the time up, which this count keys when the repair is done
        count = int(sim.model.arena.agenda["count"][self.number])
        work = draw(sim.seed, self.number, (1 << 38) + count).exponential(self.plan.mean_down)
        seconds = working(spans, week_seconds(sim.when(tick)), work)
        sim.model.arena.agenda["count"][self.number + 1] = _REPAIR
        sim.model.arena.agenda["due"][self.number] = self.later(sim, tick, seconds)
        waited = (tick - self.since(sim)) * sim.model.step
        sim.note(tick, "repair", f"{self.plan.name} taken in hand, {waited / 3600.0:.3g} h after it failed")


class Repair(Process):
    """Gives waiting failures to free crews."""

    plan: plans.RepairPlan

    def first(self, sim: Simulation) -> int:
        return NEVER

    def fire(self, sim: Simulation, tick: int) -> int:
        things = _things(sim)
        waiting = sorted((p for p in things if p.place(sim) == _WAITING), key=lambda p: (p.since(sim), p.number))
        free = self.plan.number - sum(p.place(sim) == _REPAIR for p in things)
        if not waiting or free <= 0:
            return NEVER  # called by the next failure, or when a repair is done
        now = week_seconds(sim.when(tick))
        if not inside(self.plan.spans, now):
            return self.later(sim, tick, until_open(self.plan.spans, now))
        for thing in waiting[:free]:
            thing.begin(sim, tick, self.plan.spans)
        return NEVER


def _things(sim: Simulation) -> list[Failure]:
    return [p for p in sim.processes if isinstance(p, Failure) and p.plan.crew]


def _call_crew(sim: Simulation, tick: int) -> None:
    """Have the crew look at once: it comes after all failures in the order of processes."""
    for process in sim.processes:
        if isinstance(process, Repair):
            sim.model.arena.agenda["due"][process.number] = tick


def working(spans: plans.Week, second: float, work: float) -> float:
    """Time until so much work is done, begun in a span of the week, nights and week-ends included.

    Parameters
    ----------
    spans : tuple of (float, float)
        Working hours, seconds of the week [s]
    second : float
        Second of the week at which it begins [s]
    work : float
        Time of the work itself [s]

    Returns
    -------
    float
        Time until it is done [s]

    Notes
    -----
    Spans that touch over the end of the week count as one.

    Examples
    --------
    Six hours of work begun at 14:00 in a day from 8 to 16: two today, four tomorrow.

    >>> days = tuple((d * 86400.0 + 8 * 3600.0, d * 86400.0 + 16 * 3600.0) for d in range(7))
    >>> working(days, 14 * 3600.0, 6 * 3600.0) / 3600.0
    22.0
    """
    elapsed, weekly = 0.0, sum(stop - start for start, stop in spans)
    if weekly > 0.0:
        whole = math.floor(work / weekly)
        elapsed, work = whole * WEEK, work - whole * weekly
    while True:
        now = second + elapsed
        elapsed += until_open(spans, now)
        left = until_edge(spans, second + elapsed)
        if work <= left:
            return elapsed + work
        work -= left
        elapsed += left
