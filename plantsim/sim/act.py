"""Acts: numbers written to the plant at given times, at once or along a ramp, for a time or for good.

**Several acts on one cell** lie over each other like sheets: the one that began last is seen. When an act ends, what
lay beneath it is seen again; when one beneath ends or moves, only the sheet above learns of it. So acts that overlap
give back what was there before any of them, in whatever order they end.

**The operator's hand.** A tag that a program writes at every scan is taken out of the program's hands by an operator's
act, and given back when the last such act on it ends. The program runs on meanwhile, as one whose output is in manual.

Memory of an act, in its two agenda records: the value beneath it (`mark` of the first), whether it is at work (`count`
of the second: 0 not begun, 1 at work, 2 over) and the value it began from (`mark` of the second). A save point in the
middle of a ramp therefore goes on as the unbroken run.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from plantsim.plant import plans
from plantsim.sim.process import NEVER, Process, draw

if TYPE_CHECKING:
    from plantsim.sim.simulation import Simulation

RAMP_EVERY = 5.0
"""Time between two writes of a ramp [s]."""
DRAWN = 1 << 22
"""Added to the key of a drawn start: apart from the numbers of all processes."""
_WORKING, _OVER = 1, 2


class Act(Process):
    """One act at work."""

    plan: plans.ActPlan

    def begins(self, sim: Simulation) -> int:
        """Tick at which it begins; NEVER when it does not."""
        start = self.plan.start
        at = start.low
        if start.high > start.low:
            at = draw(sim.seed, DRAWN + start.key, 0).uniform(start.low, start.high)
        at += start.after
        return NEVER if math.isinf(at) else round(at / sim.model.step)

    def first(self, sim: Simulation) -> int:
        return self.begins(sim)

    def fire(self, sim: Simulation, tick: int) -> int:
        plan, agenda, n = self.plan, sim.model.arena.agenda, self.number
        if agenda["count"][n + 1] == 0:
            agenda["mark"][n] = agenda["mark"][n + 1] = self._read(sim)
            agenda["count"][n + 1] = _WORKING
            if plan.hand is not None and plan.by == "operator":
                take(sim.model.arena, plan.hand[0], plan.tag)
            sim.note(tick, "operator" if plan.by == "operator" else "act", plan.words)
            if plan.ramp <= 0.0:
                self._show(sim, self._goal(sim))
        elapsed = (tick - self.begins(sim)) * sim.model.step
        if elapsed > plan.lasts - 0.5 * sim.model.step:
            self._end(sim, tick)
            return NEVER
        if plan.ramp > 0.0 and elapsed > 0.0:
            start, share = float(agenda["mark"][n + 1]), min(elapsed / plan.ramp, 1.0)
            self._show(sim, start + share * (self._goal(sim) - start) if share < 1.0 else self._goal(sim))
        if elapsed < plan.ramp:
            following = min(elapsed + RAMP_EVERY, plan.ramp, plan.lasts)
        else:
            following = plan.lasts
        return self.later(sim, tick, following - elapsed)

    # --- the value ---

    def _goal(self, sim: Simulation) -> float:
        return self.plan.factor * float(sim.model.arena.agenda["mark"][self.number + 1]) + self.plan.number

    def _read(self, sim: Simulation) -> float:
        mem = sim.model.arena.mem
        return float(mem.view(np.int64)[self.plan.cell] if self.plan.kind == "integer" else mem[self.plan.cell])

    def _show(self, sim: Simulation, value: float) -> None:
        """Let a value be seen: in the cell, or beneath the act that lies over this one."""
        if self.plan.kind == "integer":
            value = float(round(value))
        elif self.plan.kind == "single":
            value = float(np.float32(value))
        above = self._above(sim)
        if above is not None:
            sim.model.arena.agenda["mark"][above.number] = value
        else:
            sim.write(plans.Write(self.plan.cell, self.plan.kind == "integer", value))

    def _end(self, sim: Simulation, tick: int) -> None:
        plan, agenda, n = self.plan, sim.model.arena.agenda, self.number
        beneath = float(agenda["mark"][n])
        agenda["count"][n + 1] = _OVER
        in_hand = plan.hand is not None and plan.by == "operator"
        if in_hand and not any(other.plan.by == "operator" for other in self._others(sim)):
            assert plan.hand is not None
            give_back(sim.model.arena, *plan.hand, plan.tag)
            sim.note(tick, "operator", f"{plan.words}: given back to program {plan.back}")
            return
        self._show(sim, beneath)
        sim.note(tick, "operator" if plan.by == "operator" else "act", f"{plan.words}: back as before")

    # --- what else writes this cell ---

    def holds(self, sim: Simulation) -> bool:
        """Whether it holds its cell for a time just now."""
        return bool(sim.model.arena.agenda["count"][self.number + 1] == _WORKING) and math.isfinite(self.plan.lasts)

    def slip_under(self, sim: Simulation, value: float) -> None:
        """Lay a value of the plant's own course beneath the acts on this cell."""
        lowest = min([self, *self._others(sim)], key=lambda p: (p.begins(sim), p.number))
        sim.model.arena.agenda["mark"][lowest.number] = value

    def _others(self, sim: Simulation) -> list[Act]:
        """Other acts at work on this cell, the lowest first."""
        count = sim.model.arena.agenda["count"]
        found = [p for p in sim.processes if isinstance(p, Act) and p is not self and p.plan.cell == self.plan.cell
                 and count[p.number + 1] == _WORKING]  # fmt: skip
        return sorted(found, key=lambda p: (p.begins(sim), p.number))

    def _above(self, sim: Simulation) -> Act | None:
        mine = (self.begins(sim), self.number)
        return next((p for p in self._others(sim) if (p.begins(sim), p.number) > mine), None)


def take(arena: Any, program: int, tag: int) -> bool:
    """Take a tag out of the hands of the program that writes it, so that it can be put by hand.

    Parameters
    ----------
    arena : Arena
        Memory of the plant.
    program : int
        Number of the program.
    tag : int
        Number of the tag.

    Returns
    -------
    bool
        Whether the program wrote it until now.

    Notes
    -----
    The copy from the program's output to the tag is put behind those that are done, and the number of those falls by
    one; the program runs on. The list of copies is part of the plant's memory, so a save point holds it.
    """
    first, count = int(arena.program_p["copies_out"][program]), int(arena.program_p["n_out"][program])
    for i in range(first, first + count):
        if int(arena.copy_p["tag"][i]) == tag:
            _swap(arena.copy_p, i, first + count - 1)
            arena.program_p["n_out"][program] = count - 1
            return True
    return False


def give_back(arena: Any, program: int, outputs: int, tag: int) -> bool:
    """Give a tag back to the program that writes it; `outputs` is how many tags it writes when it has all."""
    first, count = int(arena.program_p["copies_out"][program]), int(arena.program_p["n_out"][program])
    for i in range(first + count, first + outputs):
        if int(arena.copy_p["tag"][i]) == tag:
            _swap(arena.copy_p, i, first + count)
            arena.program_p["n_out"][program] = count + 1
            return True
    return False


def _swap(copies: np.ndarray, i: int, j: int) -> None:
    one, other = copies[i].copy(), copies[j].copy()
    copies[i], copies[j] = other, one
