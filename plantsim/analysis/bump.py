"""Bump tests on the simulated plant: settle, put a loop by hand, move it, wait, record; the same start for each.

The records are those `plantsim.analysis.identify` takes; what was done stands in a journal.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from plantsim.analysis.bump_rig import BumpError, OperatingPoint, Rig
from plantsim.analysis.identify.record import Record
from plantsim.plant.model import Loop, Model
from plantsim.plant.program_variables import spelled
from plantsim.units import sentence

__all__ = ["Bump", "BumpError", "BumpTest", "OperatingPoint", "bump", "steps_of", "write_record"]

STEPS = ("10%", "20%")
SETTLED = 0.03
"""An answer has settled when it moves less than this part of itself from one window to the next."""


@dataclass(frozen=True)
class Bump:
    """One bump.

    Parameters
    ----------
    before, after : float
        What is moved, before and after, in its unit.
    moved_at : float
        Time of the move in the record [s]
    record : Record
        The record, from some time before the move.
    settled : bool
        Whether the measurement stood still at the end.
    broken : str
        Why the test was broken off before; empty when it was not.
    change : float
        Mean measurement of the last window less that before the move, in the unit of the instrument.
    """

    before: float
    after: float
    moved_at: float
    record: Record
    settled: bool
    broken: str
    change: float

    @property
    def size(self) -> float:
        """Signed size of the move."""
        return self.after - self.before


@dataclass(frozen=True)
class BumpTest:
    """Bumps of one loop from one settled state.

    Parameters
    ----------
    loop : Loop
        The loop.
    output, rest : float
        What is moved and what is measured, settled, each in its own unit.
    transit : float
        Transit of the line the answer comes through; 0 without one [s]
    noise : float
        Standard deviation of the measurement's noise.
    bumps : list of Bump
        In the order asked for.
    journal : list of str
        What was done, in words.
    """

    loop: Loop
    output: float
    rest: float
    transit: float
    noise: float
    bumps: list[Bump]
    journal: list[str]

    @property
    def records(self) -> list[Record]:
        """Records of all bumps."""
        return [one.record for one in self.bumps]


def steps_of(asked: Sequence[str | float], output: float, loop: Loop) -> list[float]:
    """Signed sizes of steps, in the unit of what is moved.

    Parameters
    ----------
    asked : sequence of str or float
        `+20%` and `-20%` are shares of the present output; `+5 g/m3`, or a number alone, stands in its unit. Without
        a sign a text asks for both directions. For what is moved in %, `5 %` is a share too: write `5` for points.
    output : float
        Present output.
    loop : Loop
        The loop, for unit and limits.

    Returns
    -------
    list of float

    Raises
    ------
    BumpError
        If one cannot be read, or leaves no step within the limits of the loop.

    Examples
    --------
    >>> from plantsim.plant.model import Point, Tag
    >>> loop = Loop("AIC-1", Tag("AT-1", 0, "NTU", "", "instrument"), Point("dosing.dose", "g/m3", 0, False))
    >>> steps_of(["10%", "+5 g/m3", -2.5], 40.0, loop)
    [4.0, -4.0, 5.0, -2.5]
    """
    sizes: list[float] = []
    for one in asked:
        if isinstance(one, int | float):
            sizes.append(float(one))
            continue
        match = re.fullmatch(r"([+-]?)\s*(\d+(?:\.\d*)?|\.\d+)\s*(.*)", one.strip())
        unit = match[3].strip() if match else ""
        if match is None or unit not in ("", "%", loop.moves.unit):
            own = "" if loop.moves.unit in ("1", "%") else f", or in {loop.moves.unit}"
            raise BumpError(sentence(f"step '{one}'", f"a share of the present output such as +20%{own}, or a number "
                                                      "in its unit"))  # fmt: skip
        size = float(match[2]) * (0.01 * abs(output) if unit == "%" else 1.0)
        sizes += [size, -size] if not match[1] else [size if match[1] == "+" else -size]
    for size in sizes:
        if size == 0.0 or not math.isfinite(size):
            raise BumpError("found a step of nothing; allowed: a step other than 0")
        if not loop.low <= output + size <= loop.high:
            raise BumpError(f"found a step of {size:+.4g} from {output:.4g}; allowed: to stay within {loop.low:g} to "
                            f"{loop.high:g} {loop.moves.unit}, the limits of {loop.name}")  # fmt: skip
    return sizes


def bump(
    model_factory: Callable[[], Model], loop: str, at: OperatingPoint | None = None,
    steps: Sequence[str | float] | None = None, wait: float | None = None, seed: int = 1, quiet: bool = True,
    tell: Callable[[str], None] | None = None, usual: Sequence[str] = STEPS,
) -> BumpTest:  # fmt: skip
    """Bump a loop of a simulated plant, each time from the same settled state.

    Parameters
    ----------
    model_factory : callable
        Gives the plant, new.
    loop : str
        Tag of the loop.
    at : OperatingPoint, optional
        Where; where the plant stands by itself when left out.
    steps : sequence of str or float
        Sizes, see `steps_of`; when left out, the usual ones.
    wait : float, optional
        Time recorded after each move; when left out, until the measurement stands still, at most the `longest` of
        the loop [s]
    seed : int
        Seed of noise and weather.
    quiet : bool
        Whether wander, calendar, failures and acts are kept out; see `plantsim.analysis.bump_rig.quieten`.
    tell : callable, optional
        Told every line of the journal as it is written.
    usual : sequence of str
        Sizes to take as far as the limits of the loop allow: 10 % and 20 % of the output both ways.

    Returns
    -------
    BumpTest

    Raises
    ------
    BumpError
        If the loop cannot be tested so.
    """
    rig = Rig(model_factory(), loop, at or OperatingPoint(), seed, quiet, tell)
    sizes = steps_of(steps, rig.output, rig.loop) if steps is not None else _usual(rig, usual)
    transit = rig.transit()
    bumps = [_one(rig, size, wait) for size in sizes]
    return BumpTest(rig.loop, bumps[0].before, rig.rest, transit, rig.sigma, bumps, rig.journal)


def _usual(rig: Rig, steps: Sequence[str]) -> list[float]:
    """The usual steps, those beyond the limits of the loop left out."""
    low, high = rig.loop.low - rig.output, rig.loop.high - rig.output
    wanted = steps_of(steps, rig.output, replace(rig.loop, low=-math.inf, high=math.inf))
    inside = [size for size in wanted if low <= size <= high]
    for size in wanted:
        if size not in inside:
            rig.note(f"no step of {size:+.4g}: it would leave the limits {rig.loop.low:g} to {rig.loop.high:g} "
                     f"{rig.loop.moves.unit}")  # fmt: skip
    return inside or steps_of(steps, rig.output, rig.loop)


def _one(rig: Rig, size: float, wait: float | None) -> Bump:
    rig.back()
    loop, sim, began = rig.loop, rig.sim, rig.sim.seconds
    before = rig.output
    broken = rig.step(rig.window())
    moved = sim.seconds
    base = float(rig.measured(began).mean())
    after = rig.put(before + size)
    longest = loop.longest if wait is None else wait
    least = longest if wait is not None else min(longest, 1.5 * rig.transit() + 3.0 * rig.window())
    settled = False
    while not broken and sim.seconds - moved < longest - 1e-9:
        broken = rig.step(min(60.0, longest - (sim.seconds - moved)))
        change = float(rig.measured(sim.seconds - rig.window()).mean()) - base
        settled = rig.still(moved, SETTLED * abs(change))
        if settled and sim.seconds - moved >= least:
            break
    change = float(rig.measured(max(moved, sim.seconds - rig.window())).mean()) - base
    name = f"{loop.name} {size:+.4g}" + ("" if loop.moves.unit == "1" else f" {loop.moves.unit}")
    record = rig.record(began, [(began, before), (moved, after)], name)
    waited = spelled(sim.seconds - moved)
    end = f"stands still {waited} later" if settled else f"has not settled {waited} later"
    words = (f"bump from {rig.shown(before)} to {rig.shown(after)}: "
             + (f"broken off {waited} later as {broken}" if broken else f"{loop.measures.name} {end}")
             + f", {change:+.4g} {loop.measures.unit} from {base:.4g}")  # fmt: skip
    rig.note(words)
    return Bump(before, after, moved - began, replace(record, notes=(words,)), settled, broken, change)


def write_record(record: Record, path: Path | str) -> None:
    """Write a record as CSV that `plantsim identify` reads.

    Parameters
    ----------
    record : Record
        The record.
    path : Path or str
        The file; one that exists is replaced.

    Raises
    ------
    BumpError
        If it cannot be written.
    """
    lines = [f"time [s],output [{record.u_unit}],measurement [{record.y_unit}]"]
    lines += [f"{t:.10g},{u:.10g},{'' if math.isnan(y) else format(y, '.10g')}"
              for t, u, y in zip(record.time, record.u, record.y, strict=True)]  # fmt: skip
    try:
        Path(path).write_text("\n".join(lines) + "\n", encoding="utf-8")
    except OSError as error:
        raise BumpError(f"found '{path}', which cannot be written ({error.strerror}); allowed: a file in a folder that "
                        "exists") from None  # fmt: skip
