"""Health of the control loops of a run: what each loop's record says of it, and what it cannot say.

Every run records all tags, so any run will do; the plant file kept with it says which tags belong to a loop. A
variable of a program that was watched (`--watch`) is used where it is nearer to the controller than a tag.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from plantsim.analysis import loop_figures as figures
from plantsim.analysis.loop_figures import Oscillation, Reals, Refused
from plantsim.plant.model import Loop, Model
from plantsim.plant.program_variables import find

STILL = 5
"""Rows an output must stand exactly still to count as by hand or frozen."""


@dataclass(frozen=True)
class Index:
    """One figure of a loop.

    Parameters
    ----------
    name : str
        What it is.
    value : float or None
        Its value; None when the record cannot carry it.
    unit : str
        Its unit; empty for a pure number.
    words : str
        What it says, or why there is none.
    source : str
        Where it was published.
    """

    name: str
    value: float | None
    unit: str
    words: str
    source: str


@dataclass(frozen=True)
class Channels:
    """Where the record of a loop is found in a run, by names of recorded series.

    Parameters
    ----------
    measured : str
        Measurement.
    output : str
        Output of the controller, as near to it as is recorded; empty when nothing is.
    actuator : str
        Actuator whose travel is counted; empty when none is recorded.
    setpoint : float or str
        The set point [measured-unit], or the series that holds it; not a number when the loop names none.
    service : str
        Series above 0 while the loop is in service; empty for always.
    """

    measured: str
    output: str
    actuator: str
    setpoint: float | str
    service: str


@dataclass(frozen=True)
class Health:
    """What the record says of one loop.

    Parameters
    ----------
    loop : str
        Its tag.
    channels : Channels
        What was looked at.
    service, stretch : float
        Time in service, and its longest piece without a break [s]
    indices : list of Index
        Its figures.
    notes : list of str
        What to know of them.
    """

    loop: str
    channels: Channels
    service: float
    stretch: float
    indices: list[Index] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def channels_of(model: Model, loop: Loop, wiring: Mapping[str, str], series: Mapping[str, Any]) -> Channels:
    """Find the record of a loop.

    Parameters
    ----------
    model : Model
        The plant, new: parameters are read from it.
    loop : Loop
        The loop.
    wiring : mapping
        Tags of the connected points of its controller, names in small letters; empty when the file names none.
    series : mapping
        Recorded series by name.

    Returns
    -------
    Channels
    """
    tune = loop.tune
    actuator = loop.moves.name if loop.moves.tag >= 0 else ""
    if tune is None or not tune.ready:  # without a program its laws are written for the loop has no set point
        return Channels(loop.measures.name, actuator, actuator, math.nan, "")
    actuator = tune.travel or actuator
    watched = f"{tune.controller}.{tune.output}".casefold()
    names = {name.casefold(): name for name in series}
    output = names.get(watched, "") if tune.output else ""
    if not output and loop.moves.tag < 0:
        # a program that shows its controller's output shows it in a flag with a unit
        flags = [tag for tag in wiring.values() if model.tags[tag].role == "flag" and model.tags[tag].unit != "1"]
        output = flags[0] if flags else ""
    setpoint: float | str = names.get(f"{tune.controller}.{tune.setpoint}".casefold(), "")
    if not setpoint:
        instance, variable = find(model.programs, f"{tune.controller}.{tune.setpoint}")
        setpoint = float(model.arena.mem[model.arena.cell("control", instance.base + variable.cell)])
    service = tune.judged_while if tune.judged_while in series else ""
    return Channels(loop.measures.name, output or actuator, actuator, setpoint, service)


def health(loop: Loop, channels: Channels, time: Reals, series: Mapping[str, Reals],
           dead_time: float | None = None, after: float = 0.0) -> Health:  # fmt: skip
    """Judge one loop by its record.

    Parameters
    ----------
    loop : Loop
        The loop.
    channels : Channels
        Where its record is.
    time : array of float
        Times of the rows, even [s]
    series : mapping
        Recorded series by name, in the units of their tags.
    dead_time : float, optional
        Dead time of the process; when left out, the mean transit of the line it goes through [s]
    after : float
        Rows before are left out: a start is no record of a loop [s]

    Returns
    -------
    Health
    """
    rows = time >= after
    interval = float(np.median(np.diff(time)))
    measured = series[channels.measured][rows]
    setpoint = series[channels.setpoint][rows] if isinstance(channels.setpoint, str) else channels.setpoint
    service = series[channels.service][rows] > 0.0 if channels.service else np.ones(int(rows.sum()), dtype=bool)
    stretch = longest_stretch(service)
    found = Health(loop.name, channels, float(service.sum()) * interval, (stretch.stop - stretch.start) * interval)
    if not service.any():
        found.notes.append("never in service: nothing can be said of it")
        return found
    if isinstance(setpoint, float) and math.isnan(setpoint):
        found.notes.append("no set point is known (loops.TAG.tune names none, or another program was in force): errors "
                           "are from the mean")  # fmt: skip
        setpoint = float(measured[service].mean())
    error = setpoint - measured
    unit = loop.measures.unit
    absolute, square = figures.integrals(error[service], interval)
    hours = found.service / 3600.0
    source = "definition (Seborg, Edgar, Mellichamp, ch. 12)"
    add = found.indices.append
    add(Index("IAE", absolute / 3600.0, f"{unit} h", f"{absolute / 3600.0 / hours:.3g} {unit} off on average", source))
    root = math.sqrt(square / found.service)
    add(Index("ISE", square / 3600.0, f"{unit}^2 h", f"root mean square {root:.3g} {unit}", source))
    if channels.actuator in series:
        add(_travel(channels.actuator, series[channels.actuator][rows], service, hours))
    swing = _oscillation(found, error[stretch], interval)
    _harris(found, loop, series, rows, error[stretch], interval, dead_time)
    if channels.output in series:
        output = series[channels.output][rows]
        _limits(found, loop, channels, output[service])
        _sticking(found, loop, output[stretch], measured[stretch], swing, interval)
    else:
        found.notes.append("no output of the controller is recorded: limits, hand and sticking cannot be judged; "
                           "watch it in the run (--watch program.variable)")  # fmt: skip
    return found


def longest_stretch(service: NDArray[np.bool_]) -> slice:
    """Longest unbroken piece of the rows in service.

    >>> longest_stretch(np.array([True, False, True, True, False]))
    slice(2, 4, None)
    """
    edges = np.flatnonzero(np.diff(np.concatenate([[0], service.astype(int), [0]])))
    if not len(edges):
        return slice(0, 0)
    starts, ends = edges[::2], edges[1::2]
    longest = int(np.argmax(ends - starts))
    return slice(int(starts[longest]), int(ends[longest]))


def _travel(name: str, output: Reals, service: NDArray[np.bool_], hours: float) -> Index:
    # what moves when the plant stops and starts is no work of the controller
    both = service[1:] & service[:-1]
    moves = np.where(both, np.diff(output), 0.0)
    way, reversals = figures.travel(np.concatenate([[0.0], np.cumsum(moves)]))
    return Index("travel", way, "%", f"{name}: {way / hours:.3g} % and {reversals / hours:.3g} reversals an hour",
                 "common practice, no source")  # fmt: skip


def _refusing(found: Health, name: str, source: str, make: Callable[[], Index]) -> None:
    try:
        found.indices.append(make())
    except Refused as why:
        found.indices.append(Index(name, None, "", f"refused: {why}", source))


def _oscillation(found: Health, error: Reals, interval: float) -> Oscillation | None:
    source = "Thornhill, Huang, Zhang 2003; Hagglund 1995"
    seen: list[Oscillation] = []

    def make() -> Index:
        one = figures.oscillation(error, interval)
        seen.append(one)
        minutes = one.period / 60.0
        words = (f"swings with a period of {minutes:.3g} min (above 1 is regular)" if one.swinging
                 else "does not swing regularly (1 or less, or lost in the rest)")  # fmt: skip
        return Index("oscillation", one.regularity, "", words, source)

    _refusing(found, "oscillation", source, make)
    return seen[0] if seen else None


def _harris(
    found: Health, loop: Loop, series: Mapping[str, Reals], rows: NDArray[np.bool_], error: Reals, interval: float,
    dead_time: float | None,
) -> None:  # fmt: skip
    source = "Harris 1989; Desborough, Harris 1992"
    stated = f"a stated dead time of {dead_time / 60.0:.3g} min" if dead_time is not None else ""
    transit = f"{loop.through}.transit"
    if dead_time is None and loop.through and transit in series:
        moving = series[transit][rows]
        moving = moving[np.isfinite(moving) & (moving > 0.0)]
        if len(moving):
            dead_time = float(moving.mean())
            stated = (f"the transit of {loop.through}, {dead_time / 60.0:.3g} min, the least the dead time can be: "
                      "state it for a fair index")  # fmt: skip

    def make() -> Index:
        one = figures.harris(error, interval, math.nan if dead_time is None else dead_time)
        words = (f"{one.found:.3g} against {one.least:.3g} {loop.measures.unit} root mean square under the best "
                 f"control there can be (1 is that); for {stated}")  # fmt: skip
        return Index("Harris index", one.index, "", words, source)

    _refusing(found, "Harris index", source, make)


def _limits(found: Health, loop: Loop, channels: Channels, output: Reals) -> None:
    low, high = (loop.low, loop.high) if channels.output == loop.moves.name else (-math.inf, math.inf)
    if not math.isfinite(low):
        low, high = _extremes(output)
    free = np.ones(len(output), dtype=bool)
    for limit in (low, high):
        if math.isfinite(limit):
            free &= np.abs(output - limit) > 1e-3 * max(float(np.ptp(output)), 1e-12)
    at = figures.at_limits(output, low, high)
    source = "common practice, no source"
    where = " and ".join(f"{limit:.4g}" for limit in (low, high) if math.isfinite(limit))
    words = f"{channels.output} at {where}" if where else f"{channels.output} never stands at an end of its way"
    found.indices.append(Index("at limit", 100.0 * at, "% of time", words, source))
    still = figures.standing(output, free, STILL)
    found.indices.append(Index("by hand or frozen", 100.0 * still, "% of time",
                               f"{channels.output} stands exactly still off its limits", source))  # fmt: skip


def _extremes(output: Reals) -> tuple[float, float]:
    """Ends of an output where nobody says its limits: its extremes, if it stands at one for some rows together."""
    ends = []
    for value in (float(output.min()), float(output.max())):
        inside = longest_stretch(output == value)
        ends.append(value if inside.stop - inside.start >= STILL and np.ptp(output) > 0.0 else math.nan)
    low, high = ends
    return (-math.inf if math.isnan(low) else low, math.inf if math.isnan(high) else high)


def _sticking(found: Health, loop: Loop, output: Reals, measured: Reals, swing: Oscillation | None,
              interval: float) -> None:  # fmt: skip
    source = "Horch 1999"
    kinds = loop.tune.models if loop.tune is not None else ()

    def make() -> Index:
        if kinds and all(kind.startswith("integrating") for kind in kinds):
            raise Refused("the process integrates, and shifts by a quarter of a period by itself")
        if swing is None or not swing.swinging:
            raise Refused("the loop does not swing, so a sticking valve would not show")
        one = figures.sticking(output, measured, swing.period / interval)
        words = {"sticking": "the signature of a sticking valve: look at it before the gains are touched",
                 "not sticking": "the swing comes from outside or from too high a gain, not from the valve",
                 "undecided": "between the two signatures: put the loop by hand and see whether it goes on"}
        return Index("sticking", one.shift, "", words[one.verdict], source)

    _refusing(found, "sticking", source, make)
