"""The sump over weeks or a year of random shifts: the smallest volume that holds in all scenarios, and what governs.

The scenarios are a steady inflow at the worst rate, the formulas of rest, guidance and drain-back, and the random
shifts, in which the second pump joins and leaves, shifts run at part load and nothing stays steady. Each volume is run
in the compiled plant over the same shifts, so a smaller sump meets the same inflow.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from plantsim.analysis.sizing.result import PRACTICE, Input, Line, NotSized, Plot, Result, Sheet, inputs
from plantsim.analysis.sizing.shifts import Inflow, Shifts, draw
from plantsim.analysis.sizing.sump import pump_levels
from plantsim.analysis.sizing.sump_bench import (
    PROGRAM,
    SIMULATED,
    Case,
    Cycling,
    bare_motors,
    holding,
    level_for,
    simulate,
)
from plantsim.physics.cycling import starts_per_pump

H = 3600.0
DAY = 86400.0
STEP = 2.0
"""Plant step and scan interval of the long runs [s]: half a per cent of the shortest cycle."""
FINER = 1.03
"""Factor between one volume tried and the next."""
MOST_TRIES = 12
LESS = 0.8
"""Part of the volume that has to fail, to show that the rest is needed."""


@dataclass(frozen=True)
class Tried:
    """One volume run through the random shifts.

    Attributes
    ----------
    volume : float
        Between start and stop level of the lead pump, [m3]
    done : Cycling
        What it did.
    starts_kept, rest_kept : bool
        No hour with more starts of a pump than allowed; no start that had to wait for the rest.
    """

    volume: float
    done: Cycling
    starts_kept: bool
    rest_kept: bool

    @property
    def holds(self) -> bool:
        """Whether the volume holds."""
        return self.starts_kept and self.rest_kept


@dataclass(frozen=True)
class Trial:
    """What the volumes are tried on.

    Attributes
    ----------
    case : Case
        Sump, line and pumps.
    inflow : Inflow
        The shifts.
    seconds : float
        Time of each run, [s]
    limit : float
        Starts allowed of one pump, [1/s]
    rest : float
        Between stop and start, [s]
    lag_volume : float
        Between start and stop level of the second pump; 0: it stays out, [m3]
    drains : bool
        The line of the plant file runs back when its pumps stop; here it does not.
    """

    case: Case
    inflow: Inflow
    seconds: float
    limit: float
    rest: float
    lag_volume: float
    drains: bool = False

    @property
    def whole(self) -> float:
        """Most starts in one hour that keep the limit: starts evenly spread at the limit put so many in some hour."""
        return math.ceil(self.limit * H - 1e-6)

    def at(self, volume: float) -> Case:
        """The case with another volume between the levels, the stop level standing."""
        case = self.case
        start = level_for(case, volume)
        if len(case.groups) > 1 and self.lag_volume > 0.0:
            area = case.volume / (case.start - case.stop)
            _, (on, off) = pump_levels(case.stop, start, area, [self.lag_volume])
            case = replace(case, lag_start=on, lag_stop=off)
        return replace(case, start=start, volume=volume)

    def run(self, volume: float) -> Tried:
        """Run one volume through the shifts."""
        done = simulate(self.at(volume), self.inflow, self.seconds, STEP)
        return Tried(volume, done, done.most_in_hour <= self.whole, done.held <= 0.0)


def trial(
    case: Case, plan: Shifts, seconds: float, seed: int, limit: float, rest: float, lag_volume: float
) -> Trial:  # fmt: skip
    """Draw the shifts and make the pumps ready: check valves that hold, starts counted and not refused, rest kept."""
    ready = holding(bare_motors(case, min_rest=f"{rest:g} s", max_starts=None))
    ready = replace(ready, pipe={**ready.pipe, "parcels": 4})  # clear water: what travels in the line is no matter
    drains = str(case.pipe.get("check_valve", "yes")) in ("no", "False")
    return Trial(ready, draw(plan, seconds, seed), seconds, limit, rest, lag_volume, drains)


def search(one: Trial, first: float) -> tuple[list[Tried], Tried]:
    """Smallest volume from `first` upward that holds over the shifts, and the run of a fifth less.

    Raises
    ------
    NotSized
        When no volume the sump has room for holds.
    """
    tried = []
    volume = first
    for _ in range(MOST_TRIES):
        try:
            found = one.run(volume)
        except NotSized as reason:
            raise NotSized(f"no volume holds over the random shifts: {reason}") from None
        tried.append(found)
        if found.holds:
            return tried, one.run(LESS * volume)
        volume *= FINER
    last = tried[-1]
    raise NotSized(
        f"found {last.done.most_in_hour:.0f} starts of a pump in an hour and {last.done.held:.0f} s of starts waiting "
        f"for rest with {last.volume:.4g} m3, over the random shifts; allowed: {one.whole:.0f} and none. The levels of "
        "the second pump or more pumps in turn have to help"
    )


def random_shifts(
    one: Trial, plan: Shifts, seed: int, steady: float, others: Sequence[Result]
) -> Sheet:  # fmt: skip
    """The sheet: scenarios, the smallest volume that holds in all of them, what governs, and the proof.

    Parameters
    ----------
    one : Trial
        What volumes are tried on.
    plan : Shifts
        How the shifts were drawn.
    seed : int
        Their key.
    steady : float
        Smallest volume by simulation at the worst steady inflow, [m3]
    others : sequence of Result
        Volumes by the formulas of criteria the simulation does not hold: guidance, rest, drain-back, [m3]
    """
    span = "a year" if one.seconds >= 364.5 * DAY else f"{one.seconds / DAY:g} days"
    sheet = Sheet(f"Simulated over random shifts: {span}, seed {seed}", cautions=[
        "Simulated values: confirm by counting starts on the real sump. Another seed is another year.",
        "The shares of part load, stops, wash-down and rain are common practice, no source: put in your own log.",
    ])  # fmt: skip
    if one.drains:
        sheet.cautions.append("Run with check valves that hold: what draining back needs is in it by formula.")
    name, first = "worst steady inflow", steady
    for other in others:
        if other.value > first:
            name, first = other.name, other.value
    tried, less = search(one, first)
    best = tried[-1]
    if len(tried) > 1:
        before = tried[-2]
        name = "random shifts, by the starts of a pump in an hour" if not before.starts_kept else (
            "random shifts, by the rest between stop and start")  # fmt: skip
    sheet.add(*_inflow_results(one, plan))
    source = f"{SIMULATED}; {PROGRAM}"
    given = inputs(("time simulated", one.seconds, "s", "d"), ("starts allowed", one.limit, "1/s", "1/h"),
                   ("rest", one.rest, "s", "s"), ("pumps in turn", float(_turns(one.case)), "-"))  # fmt: skip
    sheet.add(Result("scenario_steady", "scenario: worst steady inflow, smallest volume", steady, "m3",
                     "volume at which the simulated starts are those allowed", given, source, (), "m3"))  # fmt: skip
    for other in others:
        sheet.add(Result(f"scenario_{other.key}", f"scenario: {other.name.removeprefix('volume ')}, by formula",
                         other.value, "m3", other.formula, other.inputs, other.source, (), "m3"))  # fmt: skip
    sheet.add(Result(
        "recommended", "smallest volume that holds in all scenarios", best.volume, "m3",
        f"volumes raised by {100.0 * (FINER - 1.0):.0f} % until the random shifts hold", given, source, (), "m3",
        f"governed by the {name}; {one.case.volume:.4g} m3 stand, "
        + ("enough" if one.case.volume >= best.volume * (1.0 - 1e-9) else "too little"),
        one.case.volume >= best.volume * (1.0 - 1e-9)))  # fmt: skip
    sheet.add(*_level_results(one, best.volume, given, source))
    volume = Input("volume between levels", best.volume, "m3", "m3")
    sheet.add(
        Result("shifts_starts", "most starts of one pump in any hour, with it", best.done.most_in_hour / H, "1/s",
               "counted over a sliding hour", (*given, volume), source, (), "1/h",
               f"{one.whole:.0f} allowed", best.starts_kept),
        Result("shifts_rest", "starts that had to wait for the rest, with it", best.done.held, "s",
               "time a start was held back", (*given, volume), source, (), "s", "none allowed", best.rest_kept),
        Result("shifts_level", "highest level, with it", best.done.highest, "m", "largest of the samples",
               (*given, volume), source, (), "m",
               f"overflow at {one.case.top:.3g} m; {best.done.spilled:.3g} m3 spilt"
               + ("" if best.done.spilled <= 0.0 else ": a matter of pumps and freeboard, not of the volume between"),
               best.done.spilled <= 0.0),
        Result("shifts_less", "most starts of one pump in any hour, with a fifth less", less.done.most_in_hour / H,
               "1/s", "counted over a sliding hour", (*given, Input("volume", less.volume, "m3", "m3")), source, (),
               "1/h", "above the starts allowed: the volume is needed" if not less.starts_kept else
               "starts wait for the rest: the volume is needed" if not less.rest_kept else
               f"still within: these shifts do not need it, what governs does: the {name}"),
    )  # fmt: skip
    sheet.plots += [_starts_plot(one, [*tried, less], best), _week_plot(one)]
    return sheet


def _turns(case: Case) -> int:
    return case.alternating if len(case.groups) > 1 else 1


def _inflow_results(one: Trial, plan: Shifts) -> list[Result]:
    given = inputs(
        ("dirty water with all streams", plan.full, "m3/s", "m3/h"), ("wash streams", float(plan.streams), "-"),
        ("shifts at part load", plan.part_load, "-", "%"), ("wander of the feed", plan.wander, "-", "%"),
        ("washing between stops", plan.stop_every, "s", "h"), ("length of a stop", plan.stop_time, "s", "min"),
        ("latest start", plan.late, "s", "min"), ("shifts that fall out", plan.idle, "-", "%"),
        ("wash-down, part of the full flow", plan.wash_down, "-", "%"), ("for", plan.wash_down_time, "s", "min"),
        ("off the mud cells, of the dirty water", plan.decant, "-", "%"), ("paved ground", plan.paved, "m2", "m2"),
    )  # fmt: skip
    flow = one.inflow.flow[: max(2, int(one.seconds / (one.inflow.time[1] - one.inflow.time[0])))]
    share = float(flow.max()) / one.case.capacities[-1]
    near = float(((flow > 0.4 * one.case.capacities[0]) & (flow < 0.6 * one.case.capacities[0])).mean())
    source = f"shifts drawn from the seed; shares: {PRACTICE}"
    return [
        Result("shifts_peak", "greatest inflow of the shifts", float(flow.max()), "m3/s", "largest drawn", given,
               source, (), "m3/h", f"{share:.2g} of what the pumps carry together"),
        Result("shifts_mean", "mean inflow of the shifts", float(flow.mean()), "m3/s", "mean of all hours", given,
               source, (), "m3/h"),
        Result("shifts_near", "time near half the capacity of the lead pump", near * one.seconds, "s",
               "0.4 Q < q < 0.6 Q", given, source, (), "h",
               "where starts are most" if near > 0.0 else "never: these shifts cannot try the volume"),
    ]  # fmt: skip


def _level_results(one: Trial, volume: float, given: tuple[Input, ...], source: str) -> list[Result]:
    case = one.at(volume)
    out = [
        Result("level_start", "start level of the lead pump", case.start, "m", "that volume above the stop level",
               given, "geometry", (), "m"),
        Result("level_stop", "stop level of the lead pump", case.stop, "m", "as it stands", given,
               "the level control of the plant file", (), "m"),
    ]  # fmt: skip
    if case.lag_start is not None and case.lag_stop is not None:
        fits = case.lag_start < case.top
        out += [
            Result("level_lag_start", "start level of the lag pump", case.lag_start, "m", "h_on = h_off + V_2/A", given,
                   source, (), "m", f"overflow at {case.top:.3g} m", fits),
            Result("level_lag_stop", "stop level of the lag pump", case.lag_stop, "m",
                   "below the start level of the lead pump", given, source, (), "m"),
        ]  # fmt: skip
    return out


def _starts_plot(one: Trial, tried: Sequence[Tried], best: Tried) -> Plot:
    points = sorted(tried, key=lambda t: t.volume)
    most = tuple(t.done.most_in_hour / H for t in points)
    low, high = 0.95 * points[0].volume, 1.05 * points[-1].volume
    capacity, turns = one.case.capacities[0], _turns(one.case)
    curve = [low + (high - low) * k / 20.0 for k in range(21)]
    formula = tuple(float(starts_per_pump(v, capacity, 0.5 * capacity, turns)) / H for v in curve)
    return Plot("shifts_volume", "volume between levels against starts, over the random shifts", "volume", "m3", "m3",
                "most starts in an hour", "1/s", "1/h",
                (Line("formula, worst steady inflow", tuple(curve), formula),
                 Line("simulated, most in any hour", tuple(t.volume for t in points), most, True),
                 Line("smallest that holds", (best.volume,), (best.done.most_in_hour / H,), True),
                 Line("starts allowed", (low, high), (one.whole / H, one.whole / H))))  # fmt: skip


def _week_plot(one: Trial) -> Plot:
    keep = one.inflow.time <= min(one.seconds, 7.0 * DAY)
    time, flow = one.inflow.time[keep][::5], one.inflow.flow[keep][::5]
    ends = (float(time[0]), float(time[-1]))
    lines = [Line("inflow", tuple(map(float, time)), tuple(map(float, flow)))]
    for k, capacity in enumerate(one.case.capacities, 1):
        lines.append(Line(f"{k} pump{'s' if k > 1 else ''}", ends, (capacity, capacity)))
    return Plot("shifts_week", "inflow of the first week of the shifts", "time", "s", "d", "flow", "m3/s", "m3/h",
                tuple(lines))  # fmt: skip
