"""Relay test on the simulated plant: a relay with hysteresis in place of the controller, and the swing it makes."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from plantsim.analysis.bump import steps_of
from plantsim.analysis.bump_rig import BumpError, OperatingPoint, Rig
from plantsim.analysis.identify.record import Record
from plantsim.analysis.tuning.describing import Cycle, ultimate_from_relay
from plantsim.analysis.tuning.rules_classic import Ultimate
from plantsim.plant.model import Loop, Model
from plantsim.plant.program_variables import spelled

SMOOTH = 5
"""Rows averaged before peaks are read."""
ALIKE = 0.1
"""Swings that differ by no more than this part in period and amplitude are steady."""


@dataclass(frozen=True)
class RelayTest:
    """A relay test of one loop.

    Parameters
    ----------
    loop : Loop
        The loop.
    output, rest : float
        Middle of the relay and of its band, each in its own unit.
    relay, hysteresis : float
        Half the step of the output, and half the width of the band.
    gain_sign : int
        Whether the measurement rises with what is moved (1) or falls (-1).
    cycles : list of Cycle
        Full swings, in order, the first one left out: it carries the start.
    cycle : Cycle or None
        Mean of the last two that are alike; of all of them when none are; None without a swing.
    steady : bool
        Whether the last two swings are alike.
    ultimate : Ultimate or None
        Ultimate gain and period, from that cycle by the describing function.
    record : Record
        The record.
    journal : list of str
        What was done, in words.
    """

    loop: Loop
    output: float
    rest: float
    relay: float
    hysteresis: float
    gain_sign: int
    cycles: list[Cycle]
    cycle: Cycle | None
    steady: bool
    ultimate: Ultimate | None
    record: Record
    journal: list[str]


def relay(
    model_factory: Callable[[], Model], loop: str, at: OperatingPoint | None = None, amplitude: str | float = "10%",
    hysteresis: float | None = None, gain_sign: int | None = None, swings: int = 4, seed: int = 1, quiet: bool = True,
    tell: Callable[[str], None] | None = None,
) -> RelayTest:  # fmt: skip
    """Put a relay with hysteresis in place of a loop's controller, and read the swing that comes about.

    Parameters
    ----------
    model_factory : callable
        Gives the plant, new.
    loop : str
        Tag of the loop.
    at : OperatingPoint, optional
        Where; where the plant stands by itself when left out.
    amplitude : str or float
        Half the step of the relay: `10%` of the output, or in the unit of what is moved.
    hysteresis : float, optional
        Half the width of its band, in the unit of the instrument; left out: four standard deviations of the noise,
        and at least 0.25 % of the instrument's span.
    gain_sign : int, optional
        1 when the measurement rises with what is moved, -1 when it falls; left out: found by a bump first.
    swings : int
        Most full swings after the first; the test ends before when two are alike.
    seed, quiet, tell
        As for `plantsim.analysis.bump.bump`.

    Returns
    -------
    RelayTest

    Raises
    ------
    BumpError
        If the loop cannot be tested so.

    Notes
    -----
    A loop whose gain changes with its output swings to one side: `Cycle.asymmetry` tells it. The describing function
    takes the process to pass the first harmonic only.

    References
    ----------
    K. J. Astrom and T. Hagglund, Automatica 20 (1984) 645-651.
    """
    rig = Rig(model_factory(), loop, at or OperatingPoint(), seed, quiet, tell)
    size = abs(steps_of([amplitude], rig.output, rig.loop)[0])
    steps_of([size, -size], rig.output, rig.loop)
    band = max(4.0 * rig.sigma, 0.0025 * rig.span) if hysteresis is None else hysteresis
    if not band >= 0.0:
        raise BumpError(f"found a hysteresis of {band:g}; allowed: 0 or more")
    if gain_sign is None:
        gain_sign = _sign(rig, size)
    elif gain_sign not in (-1, 1):
        raise BumpError(f"found a gain sign of {gain_sign}; allowed: 1, -1")
    output, record, switches, broken = _swing(rig, size, band, gain_sign, swings)
    cycles = _cycles(record, switches, rig.rest)
    alike = len(cycles) >= 2 and _alike(*cycles[-2:])
    cycle = _mean(cycles[-2:] if alike else cycles) if cycles else None
    ultimate = None
    if cycle is not None and cycle.amplitude > band:
        ultimate = ultimate_from_relay(cycle.amplitude, cycle.period, size, band)
    words = _words(rig, cycle, cycles, alike, ultimate, broken, record)
    rig.note(words)
    record = replace(record, notes=(words,))
    return RelayTest(rig.loop, output, rig.rest, size, band, gain_sign, cycles, cycle, alike, ultimate, record,
                     rig.journal)  # fmt: skip


def _sign(rig: Rig, size: float) -> int:
    """Sign of the gain, by a bump of the relay's size until the measurement has plainly moved."""
    rig.back()
    began = rig.sim.seconds
    rig.put(rig.output + size)
    rows = max(1, round(300.0 / rig.every))
    plain = max(0.0025 * rig.span, 6.0 * rig.sigma / math.sqrt(rows))
    while rig.sim.seconds - began < rig.loop.longest:
        broken = rig.step()
        off = float(rig.measured(began)[-rows:].mean()) - rig.rest
        if abs(off) > plain:
            rig.note(f"{rig.loop.measures.name} {'rises' if off > 0.0 else 'falls'} with {rig.loop.moves.name}: seen "
                     f"{spelled(rig.sim.seconds - began)} after a bump of {rig.shown(size)}")  # fmt: skip
            return 1 if off > 0.0 else -1
        if broken:
            break
    raise BumpError(f"{rig.loop.name}: a bump of {rig.shown(size)} does not move {rig.loop.measures.name} by "
                    f"more than {plain:.3g} {rig.loop.measures.unit}; raise the amplitude")  # fmt: skip


def _swing(
    rig: Rig, size: float, band: float, sign: int, swings: int
) -> tuple[float, Record, list[tuple[float, int]], str]:
    """Let the relay swing: middle of the output, record, its switches (time in the record, direction), why it ended."""
    rig.back()
    middle, began = rig.output, rig.sim.seconds
    moves = [(began, middle)]
    switches: list[tuple[float, int]] = []
    broken = rig.step(rig.window())
    up = 1  # pushes the measurement up
    since = rig.sim.seconds
    moves.append((since, rig.put(middle + sign * size)))
    switches.append((since - began, up))
    while not broken and rig.sim.seconds - since < 2.0 * rig.loop.longest:
        # the relay looks at every row, as a slow controller would
        broken = rig.step(rig.every)
        off = float(rig.measured(rig.sim.seconds)[-1]) - rig.rest
        if (up > 0 and off > band) or (up < 0 and off < -band):
            up, since = -up, rig.sim.seconds
            moves.append((since, rig.put(middle + sign * up * size)))
            switches.append((since - began, up))
            record = rig.record(began, moves, "")
            found = _cycles(record, switches, rig.rest)
            if len(found) >= swings or (len(found) >= 2 and _alike(*found[-2:])):
                break
    name = f"{rig.loop.name} relay {rig.shown(size)}"
    return middle, rig.record(began, moves, name), switches, broken


def _cycles(record: Record, switches: Sequence[tuple[float, int]], rest: float) -> list[Cycle]:
    """Full swings between switches of one direction, without the first, which carries the start."""
    y = np.convolve(np.pad(record.y, SMOOTH // 2, mode="edge"), np.full(SMOOTH, 1.0 / SMOOTH), mode="valid") - rest
    found = []
    for (first, up), (turn, _), (last, _) in zip(switches[1:], switches[2:], switches[3:], strict=False):
        if up < 0:
            continue
        inside = (record.time >= first) & (record.time <= last)
        found.append(Cycle(float(y[inside].max()), float(y[inside].min()), turn - first, last - turn))
    return found


def _alike(one: Cycle, other: Cycle) -> bool:
    return all(
        math.isclose(getattr(one, key), getattr(other, key), rel_tol=ALIKE) for key in ("period", "amplitude")
    )


def _mean(cycles: Sequence[Cycle]) -> Cycle:
    keys = ("high", "low", "time_up", "time_down")
    return Cycle(*(float(np.mean([getattr(c, key) for c in cycles])) for key in keys))


def _words(
    rig: Rig, cycle: Cycle | None, cycles: list[Cycle], alike: bool, ultimate: Ultimate | None, broken: str,
    record: Record,
) -> str:  # fmt: skip
    unit = rig.loop.measures.unit
    ended = f"relay test of {spelled(record.duration)}" + (f", broken off as {broken}" if broken else "")
    if cycle is None:
        return f"{ended}: no full swing came about; raise the amplitude, or move the operating point"
    text = (f"{ended}: {len(cycles)} full swings, {'the last two alike' if alike else 'not yet alike'}; period "
            f"{spelled(round(cycle.period))}, amplitude {cycle.amplitude:.4g} {unit}, asymmetry {cycle.asymmetry:+.2f}")
    if ultimate is None:
        return text + "; the swing does not leave the band by itself: no ultimate gain"
    return text + (f"; ultimate gain {ultimate.Ku:.4g} {rig.loop.moves.unit} per {unit}, ultimate period "
                   f"{spelled(round(ultimate.Pu))}")  # fmt: skip
