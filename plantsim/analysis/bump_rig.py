"""A plant on the test bench: made quiet, settled at an operating point, one loop put by hand.

Everything done is said in the journal, so that a test can be judged by what it did.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from plantsim.analysis.identify.record import Record, make_record, noise
from plantsim.errors import PlantsimError
from plantsim.plant.fields import nearest
from plantsim.plant.model import Loop, Model, Point
from plantsim.plant.plans import ALWAYS, ActPlan, DipPlan, FacePlan, FailurePlan, Plan, ShiftPlan, Start, Write
from plantsim.plant.program_variables import spelled
from plantsim.sim.act import take
from plantsim.sim.simulation import SavePoint, Simulation
from plantsim.units import sentence

LOOK = 60.0
"""Time between two looks at a running test [s]."""
WINDOW = 1200.0
"""Least time over which a measurement is averaged to see whether it stands still [s]."""


class BumpError(PlantsimError, ValueError):
    """Raised when a loop cannot be tested as asked, in one sentence."""


@dataclass(frozen=True)
class OperatingPoint:
    """Where a loop is tested.

    Parameters
    ----------
    output : float or None
        What is moved, before the test, in its unit; None: where the plant stands by itself. For a tag that is the
        mean over the last hour in automatic, for a parameter its value.
    feed : float
        Feed of all wash plants, as a share of that of the plant file [-]
    automatic : float
        Time in which the plant runs by its own programs before anything is touched [s]
    settle : float or None
        Longest time by hand until the test begins; None: the `longest` of the loop [s]
    """

    output: float | None = None
    feed: float = 1.0
    automatic: float = 4.0 * 3600.0
    settle: float | None = None


def quieten(model: Model) -> list[str]:
    """Take out of a plant what would disturb a test; noise of instruments stays.

    The wander of the feed is put off, sources run outside their calendar too, digging faces stay, and random
    failures, dips and acts do not happen.

    Parameters
    ----------
    model : Model
        The plant, not yet running.

    Returns
    -------
    list of str
        What was done, in words.
    """
    model.arena.source_p["wander_feed"] = 0.0
    model.arena.source_p["wander_fines"] = 0.0
    done = ["the wander of the feed is off"]
    still: list[Plan] = []
    words = {
        ShiftPlan: "{} runs outside its calendar", FacePlan: "the digging face of {} stays",
        FailurePlan: "{} does not fail", DipPlan: "the voltage of {} does not dip",
    }  # fmt: skip
    for plan in model.plans.items:
        if isinstance(plan, ShiftPlan):
            still.append(replace(plan, spans=ALWAYS))
        elif isinstance(plan, FacePlan):
            still.append(replace(plan, mean_time=math.inf))
        elif isinstance(plan, FailurePlan | DipPlan):
            still.append(replace(plan, mean_up=math.inf))
        elif isinstance(plan, ActPlan):
            still.append(replace(plan, start=Start(math.inf, math.inf)))
            done.append(f"the act does not happen: {plan.words}")
        else:
            still.append(plan)
        if type(plan) in words:
            done.append(words[type(plan)].format(getattr(plan, "name", "")))
    model.plans.items[:] = still
    return done


def loop_named(model: Model, name: str) -> Loop:
    """Loop of a plant by its tag.

    Parameters
    ----------
    model : Model
        The plant.
    name : str
        Tag of the loop.

    Returns
    -------
    Loop

    Raises
    ------
    BumpError
        If there is none; names the nearest.
    """
    if name in model.loops:
        return model.loops[name]
    known = ", ".join(model.loops) or "none, as the plant file has no 'loops:'"
    raise BumpError(sentence(f"loop '{name}'", f"a loop of the plant file: {known}", nearest(name, model.loops)))


def suspend(model: Model, point: Point) -> str:
    """Keep the program that writes a tag from writing it, so that it can be put by hand.

    Parameters
    ----------
    model : Model
        The plant.
    point : Point
        A tag.

    Returns
    -------
    str
        What was done, in words; empty when nobody writes it.

    Notes
    -----
    The list of what a program writes is part of the plant's memory, so a save point taken before gives the loop back.
    """
    if not point.writer:
        return ""
    kind, number = model.units[point.writer]
    assert kind == "program"
    if take(model.arena, number, point.tag):
        return f"{point.name} is taken out of the hands of program {point.writer}, which runs on"
    return ""


class Rig:
    """One plant settled with one loop by hand, ready to be moved from a save point.

    Parameters
    ----------
    model : Model
        A plant, not yet running; it is changed.
    loop : str
        Tag of the loop.
    at : OperatingPoint
        Where it is tested.
    seed : int
        Seed of noise and weather.
    quiet : bool
        Whether the plant is made quiet, see `quieten`.
    tell : callable, optional
        Told every line of the journal as it is written.
    """

    def __init__(self, model: Model, loop: str, at: OperatingPoint, seed: int = 1, quiet: bool = True,
                 tell: Callable[[str], None] | None = None) -> None:  # fmt: skip
        self.model, self.at = model, at
        self.loop = loop_named(model, loop)
        self.journal: list[str] = []
        self._tell = tell
        if not at.feed > 0.0:
            raise BumpError(f"found a feed of {at.feed:g} of the file's; allowed: a share above 0")
        if quiet:
            self.note("made quiet: " + "; ".join(quieten(model)))
        self.sim = Simulation(model, seed)
        model.arena.source_s["feed_factor"] *= at.feed
        self.every = model.record_every * model.step
        self.column = [c.name for c in model.channels].index(self.loop.measures.name)
        self.sources = [(i, c.name.removesuffix(".running")) for i, c in enumerate(model.channels)
                        if c.name.endswith(".running") and model.units[c.name[:-8]][0] == "source"]  # fmt: skip
        number = model.units[self.loop.measures.name][1]
        meter = model.arena.instrument_p
        self.span = float(meter["high"][number] - meter["low"][number])
        self.output = math.nan
        self.starved = False  # a wash plant stood: no fault of the operating point
        self._settle()

    # --- getting there ---

    def note(self, words: str) -> None:
        """Write a line of the journal."""
        self.journal.append(words)
        if self._tell is not None:
            self._tell(words)

    def _settle(self) -> None:
        sim, loop, at = self.sim, self.loop, self.at
        share = "" if at.feed == 1.0 else f" at {100.0 * at.feed:.4g} % of the feed"
        sim.run(self.whole(max(at.automatic, 3600.0)))
        self.note(f"ran {spelled(sim.seconds)} by the plant's own programs{share}")
        output = self._present() if at.output is None else at.output
        if not loop.low <= output <= loop.high:
            if at.output is not None:
                raise BumpError(f"found an output of {self.shown(output)}; allowed: {loop.low:g} to {loop.high:g}, the "
                                f"limits of {loop.name}")  # fmt: skip
            output = min(max(output, loop.low), loop.high)
        for point, value, words in loop.hold:
            taken = suspend(self.model, point)
            self.sim.write(Write(point.cell, point.integer, value))
            self.note(f"{point.name} held at {words}" + (f" ({taken})" if taken else ""))
        taken = suspend(self.model, loop.moves)
        self.put(output)
        self.note(f"{loop.moves.name} by hand at {self.shown(self.output)}" + (f" ({taken})" if taken else ""))
        taken_over = sim.save()
        began = sim.seconds
        broken, still = self._rest(began)
        if at.output is None and not still and not self.starved:
            self._balance(taken_over, began, broken)
            broken, still = self._rest(began, self.transit() + 3.0 * self.window())
        since = sim.seconds - began
        if broken:
            advice = "a test needs feed throughout" if self.starved else "choose another operating point"
            raise BumpError(f"{loop.name}: {broken} {spelled(since)} after it was put by hand at "
                            f"{self.shown(self.output)}; {advice}")  # fmt: skip
        y = self.measured(max(began, sim.seconds - self.window()))
        self.rest = float(y.mean())
        self.sigma = noise(np.arange(len(y)) * self.every, y)
        words = "stands still" if still else "still moves"
        line = f"; transit of {loop.through} {spelled(round(self.transit()))}" if loop.through else ""
        self.note(f"{loop.measures.name} {words} at {self.rest:.4g} {loop.measures.unit} after {spelled(since)} by "
                  f"hand (noise {self.sigma:.2g}){line}")  # fmt: skip
        self.point: SavePoint = sim.save()

    def _rest(self, began: float, longest: float | None = None) -> tuple[str, bool]:
        """Run until the measurement stands still: why that was broken off, or nothing; and whether it does."""
        if longest is None:
            longest = self.loop.longest if self.at.settle is None else self.at.settle
        least = min(longest, self.transit() + 3.0 * self.window())
        while True:
            broken = self.step()
            since = self.sim.seconds - began
            still = not broken and self.still(began, 0.0025 * self.span)
            if broken or (since >= least and still) or since >= longest:
                return broken, still

    def _balance(self, start: SavePoint, began: float, broken: str) -> None:
        """Find the output at which a measurement that runs away stands: secants on its slope, each from one state."""
        loop, first = self.loop, self.output
        self.note(f"{loop.measures.name} does not stand at {self.shown(first)}"
                  + (f" ({broken})" if broken else "") + ": the output that balances it is sought")  # fmt: skip
        tolerance = 0.0025 * self.span / self.window()

        def slope(output: float) -> float:
            self.sim.restore(start)
            self.put(output)
            while not self.step() and self.sim.seconds - began < 3.0 * self.window() - 1e-9:
                pass
            y = self.measured(max(began, self.sim.seconds - 2.0 * self.window()))
            return float(np.polyfit(np.arange(len(y)) * self.every, y, 1)[0])

        reach = 0.05 * (loop.high - loop.low) if math.isfinite(loop.high - loop.low) else 0.05 * abs(first)
        one, other = first, first - reach if first + reach > loop.high else first + reach
        rate, tried = slope(one), 1
        for _ in range(6):
            if abs(rate) <= tolerance:
                break
            beyond, tried = slope(other), tried + 1
            if beyond == rate:
                break
            following = other - beyond * (other - one) / (beyond - rate)
            one, rate = other, beyond
            other = min(max(following, loop.low), loop.high)
            if other == one:
                break
        if abs(rate) > tolerance:
            one = other
        self.sim.restore(start)
        self.put(one)
        self.note(f"{loop.moves.name} by hand at {self.shown(self.output)} instead, found in {tried} trials")

    def _present(self) -> float:
        """What is moved, as the plant has it by itself."""
        point = self.loop.moves
        if point.tag >= 0:
            column = [c.name for c in self.model.channels].index(point.name)
            rows = max(1, round(3600.0 / self.every))
            return float(self.sim.recorder.rows[-rows:, column].mean())
        return float(self.model.arena.mem[point.cell])

    # --- moving and looking ---

    def back(self) -> None:
        """Go back to the save point, where the loop is settled by hand."""
        self.sim.restore(self.point)
        self.output = float(self.model.arena.mem[self.loop.moves.cell])

    def put(self, output: float) -> float:
        """Put what is moved at a value; gives the value the plant takes, which of a REAL is rounded."""
        if self.loop.moves.tag < 0:
            from plantsim.st.arithmetic import single

            output = single(output)
        self.sim.write(Write(self.loop.moves.cell, self.loop.moves.integer, output))
        self.output = output
        return output

    def whole(self, seconds: float) -> float:
        """A time rounded up to whole rows of the record [s]."""
        return math.ceil(seconds / self.every - 1e-9) * self.every

    def step(self, seconds: float = LOOK) -> str:
        """Run on for a time; gives why the test must be broken off (a limit, no feed), or nothing."""
        before = self.sim.seconds
        self.sim.run(before + self.whole(seconds))
        y = self.measured(before)
        unit, name = self.loop.measures.unit, self.loop.measures.name
        if y.min() < self.loop.stop_below:
            return f"{name} fell below {self.loop.stop_below:g} {unit}"
        if y.max() > self.loop.stop_above:
            return f"{name} rose above {self.loop.stop_above:g} {unit}"
        rows = self.sim.recorder.rows[round(before / self.every) + 1:]
        for column, source in self.sources:
            if (rows[:, column] < 0.5).any():
                self.starved = True
                return f"{source} stopped"
        return ""

    def measured(self, since: float) -> np.ndarray:
        """Measurements of the rows from a time [s] to now, in the unit of the instrument."""
        return self.sim.recorder.rows[round(since / self.every):, self.column]

    def transit(self) -> float:
        """Present transit of the line the answer comes through [s]; 0 when there is none."""
        return float(self.model.value(f"{self.loop.through}.transit")) if self.loop.through else 0.0

    def window(self) -> float:
        """Time over which a measurement is averaged to see whether it stands still [s]."""
        return self.whole(min(max(WINDOW, self.transit()), self.loop.longest / 6.0))

    def still(self, since: float, tolerance: float) -> bool:
        """Whether the means of the last two windows differ by no more than a tolerance, or than noise makes."""
        rows = round(self.window() / self.every)
        y = self.measured(since)
        if len(y) < 2 * rows:
            return False
        late, early = y[-rows:], y[-2 * rows:-rows]
        sigma = noise(np.arange(rows) * self.every, late) * math.sqrt(2.0 / rows)
        return bool(abs(late.mean() - early.mean()) <= max(tolerance, 3.0 * sigma))

    def record(self, since: float, moves: list[tuple[float, float]], name: str) -> Record:
        """Record from a time to now: `moves` gives times and values of the output, the first one before all rows."""
        y = self.measured(since)
        time = np.arange(len(y)) * self.every
        at = np.searchsorted([t for t, _ in moves], since + time + 0.5 * self.model.step, side="right") - 1
        u = np.array([value for _, value in moves])[np.maximum(at, 0)]
        made = make_record(time, u, y.copy(), self.loop.moves.unit, self.loop.measures.unit, name)
        return replace(made, start=self.sim.when(round(since / self.model.step)))

    def shown(self, value: float) -> str:
        """A value of what is moved, in words."""
        unit = self.loop.moves.unit
        return f"{value:.4g}" + (f" {unit}" if unit != "1" else "")
