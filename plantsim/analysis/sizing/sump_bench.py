"""Simulated cycling of a sump and its pumps: first as the formula assumes it, then with what the formula leaves out.

A small plant is built from the sump, the line and the pumps of a plant file and run in the compiled kernel, under the
shipped on/off level control. Nothing else of the plant is in it.
"""

from __future__ import annotations

import math
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from plantsim.analysis.sizing.result import Line, NotSized, Plot, Result, Sheet, inputs
from plantsim.analysis.sizing.shifts import Inflow
from plantsim.physics.cycling import cycle_time, starts_per_pump
from plantsim.plant.reader import dump
from plantsim.units import to_si

H = 3600.0
PROGRAM = "shipped on/off level control with alternation, in the compiled plant"
SIMULATED = "simulation of the sump, line and pumps of the plant file"


@dataclass(frozen=True)
class Case:
    """One case to simulate.

    Attributes
    ----------
    vessel, pipe : dict
        The sump and the pipe as a plant file writes them.
    groups : tuple
        Pumps that start together, each a list of (tag, pump as a plant file writes it); at most two groups.
    capacities : tuple of float
        Flow of the line with 1 (and 2) groups at the mean level, [m3/s]
    start, stop : float
        Levels of the lead pump, [m]
    volume : float
        Between them, [m3]
    top : float
        Overflow level, [m]
    alternating : int
        Groups that take turns, 1 or 2, [-]
    lag_start, lag_stop : float or None
        Levels of the second pump; None: it stays out, [m]
    """

    vessel: dict[str, Any]
    pipe: dict[str, Any]
    groups: tuple[tuple[tuple[str, dict[str, Any]], ...], ...]
    capacities: tuple[float, ...]
    start: float
    stop: float
    volume: float
    top: float
    alternating: int = 1
    lag_start: float | None = None
    lag_stop: float | None = None
    source: dict[str, Any] | None = None
    """Wash plant of the file, for the inflow by the hour."""
    site_start: str = "2027-04-05 00:00"


@dataclass(frozen=True)
class Cycling:
    """What a simulated case did: cycle [s], starts of a pump in an hour and most in any [1/h], highest level [m]."""

    cycle: float
    starts_hour: float
    most_in_hour: float
    highest: float
    spilled: float
    held: float
    """Time a start was held back by rest or allowed starts [s]."""


def upright(capacity: float, head: float) -> list[list[str]]:
    """Curve of a pump of constant capacity, as the formula assumes it."""
    q = capacity * H
    return [["0 m3/h", f"{60.0 * head:.6g} m", "0 %", "0 m"], [f"{q:.9g} m3/h", f"{1.05 * head:.6g} m", "70 %", "0 m"],
            [f"{1.0002 * q:.9g} m3/h", "0 m", "70 %", "0 m"]]  # fmt: skip


def ideal(case: Case) -> Case:
    """The case as the formula assumes it: constant capacity, no ramps, no column to speed up, no rest."""
    head = 10.0
    flows = [case.capacities[0]]
    if len(case.groups) > 1:
        second = case.capacities[0]
        if case.lag_start is not None and len(case.capacities) > 1:
            second = case.capacities[1] - case.capacities[0]
        flows.append(second)
    groups = tuple(
        ((f"P-{k}", {"curve": upright(q, head), "motor": {"power": "1000 kW", "ramp_up": "0 s", "ramp_down": "0 s"}}),)
        for k, q in enumerate(flows, 1)
    )
    bore = math.sqrt(4.0 * sum(flows) / (math.pi * 0.8))  # slow, so that the lift is all there is
    pipe = {"length": "5 m", "diameter": f"{min(bore, 2.0):.4g} m", "lift": f"{head:.4g} m", "fittings": 0,
            "parcels": 4}  # fmt: skip
    return replace(case, pipe=pipe, groups=groups)


def bare_motors(case: Case, **changes: Any) -> Case:
    """The case with something changed in every motor, such as ramps or rest."""
    groups = tuple(
        tuple((tag, {**pump, "motor": {**pump["motor"], **changes}}) for tag, pump in group) for group in case.groups
    )
    return replace(case, groups=groups)


def draining(case: Case) -> Case:
    """The case with a line that runs back when the pump stops: one pump, for through a second the flow would return."""
    groups = tuple(tuple((tag, {**pump, "check_valve": "no"}) for tag, pump in group) for group in case.groups[:1])
    return replace(case, pipe={**case.pipe, "check_valve": "no"}, groups=groups, alternating=1)


def holding(case: Case) -> Case:
    """The case with check valves that hold."""
    groups = tuple(tuple((tag, {**pump, "check_valve": "yes"}) for tag, pump in group) for group in case.groups)
    return replace(case, pipe={**case.pipe, "check_valve": "yes"}, groups=groups)


SERIES = "inflow.csv"


def series_text(inflow: Inflow) -> str:
    """The inflow as a measured series of clear water."""
    few = inflow.bends()
    rows = [f"{t:.8g},{H * q:.7g},0" for t, q in zip(few.time, few.flow)]
    return "\n".join(["time [s],flow [m3/h],solids [g/L]", *rows, ""])


def plant_text(case: Case, inflow: float | Inflow | None, step: float) -> str:
    """The small plant as YAML; `inflow` None: the wash plant of the file."""
    pumps: dict[str, Any] = {}
    switches: dict[str, Any] = {}
    connect = {"level": "LT-1"}
    for k, group in enumerate(case.groups[:2], 1):
        for tag, pump in group:
            motor = {key: value for key, value in pump["motor"].items() if key not in ("reset", "speed", "bus", "run")}
            pumps[tag] = {**pump, "branch": k, "motor": {**_given(motor), "run": f"YC-{k}"}}
        switches[f"YS-{k}"] = {"measures": f"{group[0][0]}.running"}
        connect[f"running_{k}"], connect[f"run_{k}"] = f"YS-{k}", f"YC-{k}"
    both = len(case.groups) > 1
    lag_on = case.lag_start if case.lag_start is not None else 2.0 * case.top + 1.0
    lag_off = case.lag_stop if case.lag_stop is not None else case.stop
    vessel = {**_given(case.vessel), "kind": "vessel", "overflow": "spill", "open_to_sky": "no", "shear": "0 1/s",
              "start_level": f"{case.stop:.6g} m"}  # fmt: skip
    if inflow is None:
        if case.source is None:
            raise NotSized("found no wash plant that feeds the sump; allowed: one, for an inflow by the hour")
        feed = {**_given(case.source), "kind": "source", "to": "sump", "faces": None, "permit": None, "from": None}
        feed = _given(feed)
    elif isinstance(inflow, Inflow):
        feed = {"kind": "source", "to": "sump", "production": "1 t/h", "series": SERIES}
    else:
        feed = {"kind": "supply", "to": "sump", "flow": f"{H * inflow:.10g} m3/h", "temperature": "10 degC"}
    every = f"{step:g} s"
    plant = {
        "site": {"name": "sump on the bench", "start": case.site_start, "step": every, "record_every": "1 h",
                 "quiet": "no" if inflow is None else "yes"},
        "units": {
            "inflow": feed,
            "sump": vessel,
            "line": {"kind": "line", "from": "sump", "to": "far", "pipe": _given(case.pipe), "pumps": pumps},
            "far": {"kind": "vessel", "shape": {"form": "cylinder", "diameter": "20 m", "depth": "3 m"},
                    "overflow": "discharge", "open_to_sky": "no"},
        },
        "instruments": {"LT-1": {"measures": "sump.level", "unit": "m", "high": 1.2 * case.top + 1.0, "every": every}},
        "switches": {name: {**value, "every": every} for name, value in switches.items()},
        "control": {"pumps": {
            "program": "sump-on-off", "every": every, "connect": connect,
            "set": {"pumps": str(2 if (both and case.alternating > 1) or case.lag_start is not None else 1),
                    "start_level": f"{case.start:.6g} m", "stop_level": f"{case.stop:.6g} m",
                    "lag_level": f"{lag_on:.6g} m", "lag_off_level": f"{lag_off:.6g} m",
                    "low_low_level": f"{0.5 * case.stop:.6g} m", "high_high_level": f"{2.0 * case.top + 2.0:.6g} m",
                    "permit_level": f"{2.0 * case.top + 1.0:.6g} m", "debounce": "0 s", "start_gap": "0 s",
                    "fail_time": "10 h", "retry": "1 s"},
        }},
    }  # fmt: skip
    return dump(plant)


def _given(block: dict[str, Any]) -> dict[str, Any]:
    return {key: "yes" if value is True else "no" if value is False else value
            for key, value in block.items() if value is not None}  # fmt: skip


def simulate(
    case: Case, inflow: float | Inflow | None, seconds: float, step: float = 1.0, seed: int = 1
) -> Cycling:  # fmt: skip
    """Run a case.

    Parameters
    ----------
    case : Case
        What to run.
    inflow : float, Inflow or None
        Steady inflow, inflow over time, or None for the wash plant of the file, [m3/s]
    seconds : float
        Time simulated, [s]
    step : float
        Plant step, [s]
    seed : int
        Of the random inflow.
    """
    from plantsim.plant.build import load_model
    from plantsim.sim.simulation import Simulation

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "bench.yaml"
        path.write_text(plant_text(case, inflow, step), encoding="utf-8")
        if isinstance(inflow, Inflow):
            (path.parent / SERIES).write_text(series_text(inflow), encoding="utf-8")
        model = load_model(path)
    sim = Simulation(model, seed)
    highest, at = 0.0, 0.0
    piece = max(60.0, min(seconds / 400.0, 1200.0))
    while at < seconds:  # the level is looked at often enough to see its peaks
        at = min(seconds, at + piece)
        sim.run(at)
        highest = max(highest, model.value("sump.level"))
    tags = [group[0][0] for group in case.groups[:2]]
    motors = [model.arena.motor_s[model.units[f"{tag}-motor"][1]] for tag in tags]
    busiest = max(motors, key=lambda m: float(m["starts"]))
    count = int(busiest["starts"])
    times = np.sort(np.asarray(busiest["start_times"])[: min(count, len(busiest["start_times"]))])
    gap = float(np.diff(times)[1:].mean()) if len(times) > 2 else math.inf
    turns = 2 if len(tags) > 1 and float(min(m["starts"] for m in motors)) > 0.4 * count and count > 2 else 1
    rate = H / gap if math.isfinite(gap) else 0.0
    return Cycling(gap / turns, rate, max(float(m["hour_max"]) for m in motors), highest,
                   model.value("sump.spilled"), max(float(m["held_time"]) for m in motors))  # fmt: skip


def steady(case: Case, ratio: float, cycles: int = 8) -> Cycling:
    """Run a case at an inflow of a part of the lead pump's capacity for some cycles."""
    q = ratio * case.capacities[0]
    turns = case.alternating if len(case.groups) > 1 else 1
    expected = float(cycle_time(case.volume, case.capacities[0], q))
    if not math.isfinite(expected):
        raise NotSized(f"found an inflow of {ratio:g} of the capacity; allowed: above 0 and below 1")
    step = max(0.05, min(1.0, math.floor(expected / 1500.0 * 20.0) / 20.0))
    return simulate(case, q, (cycles + 1) * turns * expected, step)


def steady_lag(case: Case, inflow: float, volume: float, cycles: int = 8) -> Cycling:
    """Run a lead/lag case at an inflow between the flows of one and of two pumps."""
    low, high = case.capacities[0], case.capacities[1]
    if not low < inflow < high:
        raise NotSized("found an inflow outside the flows of one and two pumps; allowed: between them")
    expected = float(cycle_time(volume, high - low, inflow - low))
    step = max(0.05, min(1.0, math.floor(expected / 1500.0 * 20.0) / 20.0))
    ramp = 3.0 * (case.volume + volume) / (inflow - low)
    return simulate(case, inflow, ramp + (cycles + 1) * expected, step)


# ---------------------------------------------------------------------------------------------- results
def compare(
    case: Case,
    limit: float,
    rest: float = 0.0,
    ratios: Sequence[float] = (0.25, 0.5, 0.75),
    days: float = 7.0,
    lag: tuple[float, float] | None = None,
    inflow: float = 0.0,
    sand: float = 0.0,
) -> Sheet:
    """Formula, simulation of the same case, and simulation with what the formula leaves out.

    Parameters
    ----------
    case : Case
        Sump, line and pumps as the file has them.
    limit : float
        Starts allowed of one pump, [1/s]
    rest : float
        Rest between stop and start, [s]
    ratios : sequence of float
        Inflow over the capacity of the lead pump, [-]
    days : float
        Time of the run with the inflow by the hour; 0: none, [-]
    lag : (float, float), optional
        Start and stop level of the second pump in that run; left out: it stays out, [m]
    inflow : float
        Greatest lasting inflow, for a trip of all pumps; 0: none is simulated, [m3/s]
    sand : float
        Part of the volume between the levels taken by settled sand, [-]
    """
    sheet = Sheet("Simulated cycling", cautions=[
        "Simulated values: confirm by a timed draw-down and a count of starts on the real sump.",
    ])  # fmt: skip
    turns = case.alternating if len(case.groups) > 1 else 1
    Q = case.capacities[0]
    names = ("assumptions kept", "own curve and line, no ramps", "with ramps", "one pump on a line that drains back",
             "with rest and starts allowed")  # fmt: skip
    why = (
        "level is looked at once a step",
        "capacity changes with the level, and the column in the line has to be speeded up",
        "a pump on its ramp carries less or nothing below the lift",
        "what drains back fills part of the volume, and the line has to be filled before anything arrives",
        "ramps, and starts held back that let the level rise above the start level",
    )
    own = holding(bare_motors(case, ramp_up="0 s", ramp_down="0 s", min_rest="0 s", max_starts=None))
    locked = bare_motors(case, min_rest=f"{rest:g} s", max_starts=max(0.5, limit * H))
    cases = (ideal(own), own, holding(bare_motors(case, min_rest="0 s", max_starts=None)),
             draining(bare_motors(case, min_rest="0 s", max_starts=None)), locked)  # fmt: skip
    table: dict[str, list[float]] = {name: [] for name in names}
    bore, length = to_si(case.pipe["diameter"], "length"), to_si(case.pipe["length"], "length")
    content = 0.25 * math.pi * bore * bore * length
    for k, (name, one) in enumerate(zip(names, cases)):
        if k == 3 and content >= 0.9 * case.volume:
            sheet.left_out.append(
                f"a line that drains back: found {content:.4g} m3 in the line for {case.volume:.4g} m3 between the "
                "levels; allowed: less, by a good margin: without a check valve that holds, the pumps restart on what "
                "comes back"
            )
            continue
        for ratio in ratios if k < 2 else (0.5,):
            done = steady(one, ratio)
            table[name].append(done.starts_hour)
            if abs(ratio - 0.5) < 1e-9:
                own_turns = one.alternating if len(one.groups) > 1 else 1
                sheet.add(_row(f"simulated_{k}", name, done, case, ratio, own_turns, why[k], limit))
    if turns > 1:
        single = ideal(replace(own, groups=own.groups[:1], alternating=1))
        done = steady(single, 0.5)
        words = "one pump alone, the others out of service, assumptions kept"
        sheet.add(_row("simulated_single", words, done, case, 0.5, 1, why[0], limit))
    if lag is not None and len(case.groups) > 1 and len(case.capacities) > 1:
        sheet.add(lag_row(own, lag, limit))
    if sand > 0.0:
        done = steady(silted(cases[2], sand), 0.5)
        sheet.add(_row("simulated_5", f"{100.0 * sand:.3g} % of the volume taken by sand", done, case, 0.5, turns,
                       "sand takes up volume, and ramps as above", limit))  # fmt: skip
    if inflow > 0.0:
        sheet.add(trip(case, inflow))
    marks = [Line("formula", tuple(float(r) * Q for r in np.linspace(0.02, 0.98, 49)),
                  tuple(float(starts_per_pump(case.volume, Q, float(r) * Q, turns)) / H
                        for r in np.linspace(0.02, 0.98, 49)))]  # fmt: skip
    for name in names[:2]:
        marks.append(Line(name, tuple(r * Q for r in ratios), tuple(v / H for v in table[name]), True))
    marks.append(Line("starts allowed", (0.0, Q), (limit, limit)))
    sheet.plots.append(Plot("starts_inflow", "starts of one pump against inflow", "inflow", "m3/s", "m3/h", "starts",
                            "1/s", "1/h", tuple(marks)))  # fmt: skip
    if days > 0.0 and case.source is not None:
        on, off = lag if lag is not None else (None, None)
        sheet.add(*by_the_hour(replace(case, lag_start=on, lag_stop=off), limit, days))
    elif days > 0.0:
        sheet.left_out.append("inflow by the hour: no wash plant feeds this sump")
    return sheet


def _row(
    key: str, name: str, done: Cycling, case: Case, ratio: float, turns: int, why: str, limit: float
) -> Result:  # fmt: skip
    q = ratio * case.capacities[0]
    formula = float(starts_per_pump(case.volume, case.capacities[0], q, turns))
    change = 100.0 * (done.starts_hour / formula - 1.0)
    small = abs(change) < 1.0
    words = f"{abs(change):.2g} % {'more' if change > 0 else 'fewer'} than the formula's {formula:.4g} 1/h"
    if key == "simulated_4" and done.held <= 0.0:
        words += "; no start had to be held back" + ("" if small else ": it departs as without them")
    elif not small:
        words += f": {why}"
    if done.held > 0.0:
        words += f"; starts held back for {done.held:.0f} s, level up to {done.highest:.3g} m"
    return Result(key, f"simulated starts at half the capacity, {name}", done.starts_hour / H, "1/s",
                  "counted over whole cycles",
                  inputs(("inflow", q, "m3/s", "m3/h"), ("volume between levels", case.volume, "m3", "m3"),
                         ("pumps in turn", float(turns), "-"), ("starts allowed", limit, "1/s", "1/h")),
                  f"{SIMULATED}; {PROGRAM}", (), "1/h", words, done.starts_hour / H <= limit * 1.01)  # fmt: skip


def lag_row(case: Case, lag: tuple[float, float], limit: float) -> Result:
    """The second pump joining and leaving at half of what it adds, as the formula of increments assumes it."""
    on, off = lag
    band = (on - off) * case.volume / (case.start - case.stop)
    low, high = case.capacities[0], case.capacities[1]
    inflow = 0.5 * (low + high)
    done = steady_lag(ideal(replace(case, lag_start=on, lag_stop=off, alternating=2)), inflow, band)
    formula = H / float(cycle_time(band, high - low, inflow - low))
    change = 100.0 * (done.starts_hour / formula - 1.0)
    words = f"{abs(change):.2g} % {'more' if change > 0 else 'fewer'} than the formula's {formula:.4g} 1/h"
    if abs(change) >= 1.0:
        words += ": level is looked at once a step"
    return Result("simulated_lag", "simulated starts of the lag pump at half of what it adds, assumptions kept",
                  done.starts_hour / H, "1/s", "counted over whole cycles; formula t = 4 V_2/(Q_2 - Q_1)",
                  inputs(("inflow", inflow, "m3/s", "m3/h"), ("volume between its levels V_2", band, "m3", "m3"),
                         ("flow with one pump", low, "m3/s", "m3/h"), ("with two", high, "m3/s", "m3/h")),
                  f"{SIMULATED}; {PROGRAM}", (), "1/h", words, done.starts_hour / H <= limit * 1.01)  # fmt: skip


def silted(case: Case, sand: float) -> Case:
    """The case with sand on the floor up to above the stop level: it takes a part of the volume between the levels."""
    return replace(case, stop=case.start - (1.0 - sand) * (case.start - case.stop), volume=(1.0 - sand) * case.volume)


def trip(case: Case, inflow: float) -> Result:
    """All pumps trip at the start level with the greatest inflow: the time until water is lost over the weir."""
    spare = case.volume * (case.top - case.start) / (case.start - case.stop)
    expected = spare / inflow
    seconds = 2.0 * expected + 600.0
    dead = replace(case, stop=case.start, start=3.0 * case.top, lag_start=None, lag_stop=None)
    done = simulate(dead, inflow, seconds)
    found = seconds - done.spilled / inflow
    change = 100.0 * (found / expected - 1.0)
    more = "more" if change > 0 else "less"
    words = f"{abs(change):.2g} % {more} than {expected / 60.0:.4g} min by volume over inflow"
    if abs(change) >= 1.0:
        words += ": water stands above the crest before all of it runs over"
    return Result("simulated_trip", "simulated time to overflow after a trip at the start level", found, "s",
                  "time simulated less water spilt over inflow",
                  inputs(("inflow", inflow, "m3/s", "m3/h"), ("start level", case.start, "m", "m"),
                         ("overflow level", case.top, "m", "m"), ("water spilt", done.spilled, "m3", "m3")), SIMULATED,
                  ("an interlock has to stop the wash plant by itself; prove it on the real plant",), "min",
                  words)  # fmt: skip


def by_the_hour(case: Case, limit: float, days: float) -> list[Result]:
    """A run with the wash plant's own shifts, pauses and wander."""
    done = simulate(case, None, days * 24.0 * H)
    given = inputs(("time simulated", days * 24.0 * H, "s", "d"), ("volume between levels", case.volume, "m3", "m3"))
    most = done.most_in_hour / H
    within = done.most_in_hour <= limit * H + 1.0 - 1e-9
    return [
        Result("hourly_starts", "most starts of one pump in any hour, inflow by the hour", most, "1/s",
               "counted over a sliding hour", given, f"{SIMULATED}, shifts and wander of its wash plant; {PROGRAM}",
               ("another seed is another week",), "1/h",
               f"{'within' if within else 'above'} the starts allowed (an hour may hold one more than the mean)",
               within),
        Result("hourly_level", "highest level, inflow by the hour", done.highest, "m", "largest of the samples", given,
               f"{SIMULATED}, shifts and wander of its wash plant", (), "m",
               f"overflow at {case.top:.3g} m; {done.spilled:.3g} m3 spilt", done.spilled <= 0.0),
    ]  # fmt: skip


def level_for(case: Case, volume: float) -> float:
    """Start level [m] that gives a volume above the stop level, from the ratio of the volume that stands.

    Raises
    ------
    NotSized
        When the sump is not deep enough for it.
    """
    level = case.stop + (case.start - case.stop) * volume / case.volume
    if level > case.top:
        raise NotSized(
            f"found {volume:.4g} m3 wanted between the levels; allowed: at most "
            f"{case.volume * (case.top - case.stop) / (case.start - case.stop):.4g} m3 in this sump"
        )
    return level


def proved_volume(case: Case, volume: float, limit: float) -> list[Result]:
    """Smallest volume by simulation, started from that of the formula, and a fifth less to show that it matters."""
    turns = case.alternating if len(case.groups) > 1 else 1
    found = volume
    for _ in range(4):
        one = replace(case, start=level_for(case, found), volume=found)
        done = steady(one, 0.5)
        if abs(done.starts_hour / H / limit - 1.0) < 0.004:
            break
        found *= done.starts_hour / H / limit
    less = replace(case, start=level_for(case, 0.8 * found), volume=0.8 * found)
    fewer = steady(less, 0.5)
    given = inputs(("volume by formula", volume, "m3", "m3"), ("starts allowed", limit, "1/s", "1/h"),
                   ("pumps in turn", float(turns), "-"))  # fmt: skip
    return [
        Result("proved_volume", "smallest volume by simulation at half the capacity", found, "m3",
               "volume at which the simulated starts are those allowed", given, f"{SIMULATED}; {PROGRAM}", (), "m3",
               f"{100.0 * (found / volume - 1.0):+.2g} % against the formula", None),
        Result("fifth_less", "simulated starts with a fifth less volume", fewer.starts_hour / H, "1/s",
               "counted over whole cycles", given, f"{SIMULATED}; {PROGRAM}", (), "1/h",
               "above the starts allowed: the volume is needed" if fewer.starts_hour / H > limit else "still within",
               None),
    ]  # fmt: skip
