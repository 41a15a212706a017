"""Sump against pump cycling by formula: active volume, starts, rest, drain-back, overflow, what governs.

The steady formulas take a constant capacity, a fast motor, a line that stays full and an inflow that does not change.
`sump_bench` simulates the same case, and then what they leave out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from plantsim.analysis.sizing.result import (
    BALANCE,
    PRACTICE,
    Line,
    NotSized,
    Plot,
    Result,
    Sheet,
    inputs,
    largest,
    positive,
)
from plantsim.errors import ConfigError
from plantsim.physics.cycling import (
    cycle_time,
    drawdown_capacity,
    lag_volumes,
    minimum_cycle_time,
    required_volume,
    starts_per_pump,
)
from plantsim.physics.motors import allowed_starts, minimum_cycle, minimum_rest
from plantsim.physics.pumps import minimum_submergence

MIL = "MIL-HDBK-1005/9A, Industrial and Oily Wastewater Control, par. 2.5.3.6"
UFC = "EI 11C201 / UFC 3-240-04A, Wastewater Collection and Pumping (1997), par. 7"
NEMA = "NEMA MG 10, Table 2-3"
MOTOR_CAUTION = "the motor and starter makers' own limits go before any table"
H = 3600.0


@dataclass(frozen=True)
class SumpDuty:
    """What a sump and its pumps have to do.

    Attributes
    ----------
    volume : float
        Between start and stop level of the lead pump as it stands, or 0 where it is to be found, [m3]
    capacities : tuple of float
        Flow of the line with 1, 2, ... pumps (or series groups) running, rising, [m3/s]
    inflow : float
        Greatest lasting inflow, [m3/s]
    alternating : int
        Pumps that take turns; 1: none, [-]
    motor_kw : float
        Rated power of one motor, [kW]
    poles : int
        Of the motor, [-]
    inertia : float
        Of its load, at the motor shaft; 0: not known to limit, [kg*m2]
    starts_limit : float or None
        Starts an hour by the maker; None: the table, [1/h]
    rest : float or None
        Rest between stop and start by the maker; None: the table, [s]
    spare_volume : float
        From the start level to the overflow, [m3]
    drain_back : float
        Content of the line that comes back at each stop, [m3]
    area : float
        Plan area between the levels, [m2]; 0: unknown
    stop_level : float
        [m]
    sand : float
        Part of the volume between the levels taken by settled sand, [-]
    """

    volume: float
    capacities: tuple[float, ...]
    inflow: float
    alternating: int = 1
    motor_kw: float = 15.0
    poles: int = 4
    inertia: float = 0.0
    starts_limit: float | None = None
    rest: float | None = None
    spare_volume: float = 0.0
    drain_back: float = 0.0
    area: float = 0.0
    stop_level: float = 0.0
    sand: float = 0.0

    def __post_init__(self) -> None:
        if not self.capacities:
            raise NotSized("found no pump capacity; allowed: the flow of the line with one pump, at least")
        positive(pump_capacity=self.capacities[0], inflow=self.inflow, motor_power=self.motor_kw)
        if any(b <= a for a, b in zip(self.capacities, self.capacities[1:])):
            raise NotSized("found a further pump that adds no flow; allowed: flows that rise with each pump")
        if self.inflow >= self.capacities[-1]:
            raise NotSized(
                f"found an inflow of {H * self.inflow:.4g} m3/h, and {H * self.capacities[-1]:.4g} m3/h with all pumps "
                "running; allowed: an inflow below what the pumps carry: no sump is large enough otherwise"
            )
        if self.alternating < 1 or not 0.0 <= self.sand < 1.0 or min(self.volume, self.drain_back, self.area) < 0.0:
            raise NotSized("found fewer than one pump, a share of sand outside 0 to 1, or a volume or area below 0")

    @property
    def worst(self) -> float:
        """Inflow up to the greatest that gives most starts of the lead pump [m3/s]."""
        return min(self.inflow, 0.5 * self.capacities[0])


# ---------------------------------------------------------------------------------------------- closed forms
def cycle(volume: float, capacity: float, inflow: float) -> Result:
    """Time from start to start at a steady inflow, :math:`t = V/q + V/(Q - q)`.

    Examples
    --------
    >>> [cycle(3.408, 0.0568, q).text() for q in (0.0142, 0.0284, 0.0426)]
    ['320 s', '240 s', '320 s']
    """
    positive(volume=volume, capacity=capacity, inflow=inflow)
    return Result("cycle", "time from start to start", float(cycle_time(volume, capacity, inflow)), "s",
                  "t = V/q + V/(Q - q)",
                  inputs(("volume V", volume, "m3", "m3"), ("capacity Q", capacity, "m3/s", "m3/h"),
                         ("inflow q", inflow, "m3/s", "m3/h")), f"{MIL}, Eq. 1", (), "s")  # fmt: skip


def least_cycle(volume: float, capacity: float) -> Result:
    """Shortest time from start to start, at half the capacity: :math:`t = 4V/Q`."""
    positive(volume=volume, capacity=capacity)
    return Result("least_cycle", "shortest time from start to start", float(minimum_cycle_time(volume, capacity)), "s",
                  "t = 4 V/Q",
                  inputs(("volume V", volume, "m3", "m3"), ("capacity Q", capacity, "m3/s", "m3/h")), f"{MIL}, Eq. 2",
                  ("met when the inflow is half the capacity of the pump",), "min")  # fmt: skip


def starts(key: str, name: str, volume: float, capacity: float, inflow: float, pumps: int = 1) -> Result:
    """Starts of each pump in an hour at a steady inflow, :math:`N = q(Q - q)/(VQn)`.

    Examples
    --------
    >>> starts("n", "starts", 3.408, 0.0568, 0.0284).text(), starts("n", "starts", 3.408, 0.0568, 0.0284, 2).text()
    ('15 1/h', '7.5 1/h')
    """
    positive(volume=volume, capacity=capacity, inflow=inflow, pumps=pumps)
    value = float(starts_per_pump(volume, capacity, inflow, pumps))
    return Result(key, name, value / H, "1/s", "N = q (Q - q)/(V Q n)",
                  inputs(("inflow q", inflow, "m3/s", "m3/h"), ("capacity Q", capacity, "m3/s", "m3/h"),
                         ("volume V", volume, "m3", "m3"), ("pumps in turn n", float(pumps), "-")),
                  f"{MIL}, Eq. 1; turns: {UFC}", (), "1/h")  # fmt: skip


def volume_for_starts(capacity: float, cycle_least: float, pumps: int = 1) -> Result:
    """Volume between levels that keeps a least time between starts of each pump, :math:`V = tQ/(4n)`.

    Examples
    --------
    >>> volume_for_starts(0.0568, 240.0).text(), volume_for_starts(0.045, 600.0, 2).text()
    ('3.408 m3', '3.375 m3')
    """
    positive(capacity=capacity, least_time_between_starts=cycle_least, pumps=pumps)
    value = float(required_volume(cycle_least, capacity, pumps))
    return Result("volume_starts", "volume for the starts allowed", value, "m3", "V = t Q/(4 n)",
                  inputs(("least time between starts t", cycle_least, "s", "min"),
                         ("capacity Q", capacity, "m3/s", "m3/h"), ("pumps in turn n", float(pumps), "-")), UFC, (),
                  "m3")  # fmt: skip


def lag_steps(capacities: Sequence[float], cycle_least: float) -> list[Result]:
    """Volume each further pump's levels add, :math:`V_k = t(Q_k - Q_{k-1})/4`.

    Examples
    --------
    >>> [step.text() for step in lag_steps([0.04, 0.06], 600.0)]
    ['6 m3', '3 m3']
    """
    positive(least_time_between_starts=cycle_least)
    try:
        volumes = lag_volumes(capacities, cycle_least)
    except ValueError:
        raise NotSized("found a further pump that adds no flow; allowed: flows that rise with each pump") from None
    out = []
    before = 0.0
    for k, (volume, flow) in enumerate(zip(volumes, capacities), 1):
        out.append(Result(f"lag_volume_{k}", f"volume between start and stop of pump {k}, no turns", volume, "m3",
                          "V_k = t (Q_k - Q_(k-1))/4",
                          inputs(("least time between starts t", cycle_least, "s", "min"),
                                 ("flow with it Q_k", flow, "m3/s", "m3/h"),
                                 ("flow without it", before, "m3/s", "m3/h")), UFC, (), "m3"))  # fmt: skip
        before = flow
    return out


LEAST_BAND = 0.2
"""Least height between start and stop level of a further pump [m]: a level transmitter on a moving surface needs it."""
LAG_BELOW = 0.05
"""A further pump stops this far below the start level of the one before it [m], so that one pump goes on alone."""


def pump_levels(stop: float, start: float, area: float, volumes: Sequence[float]) -> list[tuple[float, float]]:
    """Start and stop level of each pump, lead pump first.

    Parameters
    ----------
    stop, start : float
        Levels of the lead pump, [m]
    area : float
        Plan area at these levels, [m2]
    volumes : sequence of float
        Between start and stop level of each further pump, [m3]

    Returns
    -------
    list of (float, float)
        Start and stop level, [m], [m]

    Examples
    --------
    >>> [(round(on, 2), round(off, 2)) for on, off in pump_levels(0.8, 1.4, 10.0, [3.0, 1.0])]
    [(1.4, 0.8), (1.65, 1.35), (1.8, 1.6)]
    """
    out = [(start, stop)]
    for volume in volumes:
        off = out[-1][0] - min(LAG_BELOW, 0.25 * (out[-1][0] - stop))
        out.append((off + max(volume / area, LEAST_BAND), off))
    return out


def level_results(duty: SumpDuty, needed: float, steps: Sequence[Result]) -> list[Result]:
    """Start and stop levels of all pumps at the volume that is needed, ready to be set."""
    out = []
    lead = duty.stop_level + needed / duty.area
    top = duty.stop_level + (duty.volume + duty.spare_volume) / duty.area
    found = pump_levels(duty.stop_level, lead, duty.area, [step.value / (1.0 - duty.sand) for step in steps[1:]])
    for k, (on, off) in enumerate(found, 1):
        given = inputs(("stop level of the lead pump", duty.stop_level, "m", "m"), ("area A", duty.area, "m2", "m2"),
                       ("volume between its levels", needed if k == 1 else steps[k - 1].value, "m3", "m3"))  # fmt: skip
        fits = None if duty.spare_volume <= 0.0 else on < top
        word = "lead" if k == 1 else f"lag {k}"
        source = "geometry"
        told: tuple[str, ...] = ("a level far above the stop level lets sand settle meanwhile",)
        if k > 1:
            source = f"{UFC} for the volume; {LEAST_BAND:g} m at least, {LAG_BELOW:g} m below the start before it: "
            source, told = source + PRACTICE, ()
        out.append(Result(f"start_level_{k}", f"start level of the {word} pump", on, "m", "h_on = h_off + V_k/A", given,
                          source, told, "m", "" if fits is None else f"overflow at {top:.3g} m", fits))  # fmt: skip
        out.append(Result(f"stop_level_{k}", f"stop level of the {word} pump", off, "m",
                          "as it stands" if k == 1 else "h_off below the start level of the pump before", given,
                          source if k > 1 else "the level control of the plant file", (), "m"))  # fmt: skip
    return out


def volume_for_rest(rest: float, inflow: float, pumps: int, drain_back: float) -> Result:
    """Volume so that a pump has rested before its start level is reached again.

    The sump fills in :math:`(V - V_d)/q`; with n pumps in turn at least n fillings lie between stop and start of one.
    """
    return Result("volume_rest", "volume for the rest between stop and start", rest * inflow / pumps + drain_back, "m3",
                  "V = t_r q/n + V_d",
                  inputs(("rest t_r", rest, "s", "s"), ("inflow q", inflow, "m3/s", "m3/h"),
                         ("pumps in turn n", float(pumps), "-"), ("drain-back V_d", drain_back, "m3", "m3")),
                  f"{NEMA} for the rest; {BALANCE}", (), "m3")  # fmt: skip


def cycle_with_drain_back(volume: float, capacity: float, inflow: float, drained: float) -> Result:
    """Time from start to start when the line runs empty at each stop, :math:`t = (V - V_d)/q + V/(Q - q)`.

    Raises
    ------
    NotSized
        When the line's content alone reaches the start level: the pumps would start each other for ever.
    """
    positive(volume=volume, capacity=capacity, inflow=inflow)
    if drained >= volume:
        raise NotSized(
            f"found {drained:.4g} m3 that drains back into {volume:.4g} m3 between the levels; allowed: less than "
            "that, or a check valve: the pump would restart on its own water"
        )
    value = (volume - drained) / inflow + volume / (capacity - inflow) if inflow < capacity else math.inf
    return Result("cycle_drain_back", "time from start to start with drain-back", value, "s",
                  "t = (V - V_d)/q + V/(Q - q)",
                  inputs(("volume V", volume, "m3", "m3"), ("drain-back V_d", drained, "m3", "m3"),
                         ("inflow q", inflow, "m3/s", "m3/h"), ("capacity Q", capacity, "m3/s", "m3/h")), BALANCE,
                  ("a line that drains back turns stopped pumps backwards; a start then may break a shaft",),
                  "min")  # fmt: skip


def volume_with_drain_back(capacity: float, inflow: float, cycle_least: float, drained: float, pumps: int) -> Result:
    r"""Volume that keeps a least time between starts of each pump of a line that runs empty at each stop.

    From :math:`t/n = (V - V_d)/q + V/(Q - q)`: :math:`V = (qt/n + V_d)(Q - q)/Q`, largest at
    :math:`q = (Q - nV_d/t)/2` or at the greatest inflow if that is smaller.
    """
    positive(capacity=capacity, inflow=inflow, least_time_between_starts=cycle_least, pumps=pumps)
    t = cycle_least / pumps
    q = min(inflow, max(0.5 * (capacity - drained / t), 0.0))
    return Result("volume_drain_back", "volume for the starts allowed, line draining back",
                  (q * t + drained) * (capacity - q) / capacity, "m3", "V = (q t/n + V_d) (Q - q)/Q, largest over q",
                  inputs(("governing inflow q", q, "m3/s", "m3/h"), ("capacity Q", capacity, "m3/s", "m3/h"),
                         ("least time between starts t", cycle_least, "s", "min"),
                         ("pumps in turn n", float(pumps), "-"), ("drain-back V_d", drained, "m3", "m3")),
                  BALANCE, (), "m3")  # fmt: skip


def overflow_time(spare: float, inflow: float, drained: float = 0.0) -> Result:
    """Time from a trip of all pumps at the start level to the overflow."""
    positive(inflow=inflow)
    left = max(0.0, spare - drained)
    return Result("overflow_time", "time to overflow after a trip at the start level", left / inflow, "s",
                  "t = (V_s - V_d)/q",
                  inputs(("start level to overflow V_s", spare, "m3", "m3"), ("drain-back V_d", drained, "m3", "m3"),
                         ("inflow q", inflow, "m3/s", "m3/h")), BALANCE,
                  ("a trip at a higher level leaves less; water on its way still comes after the wash plant stops",),
                  "min")  # fmt: skip


def capacity_by_drawdown(area: float, fall: float, time: float, inflow: float = 0.0) -> Result:
    """Capacity of a pump from the fall of the level in a timed run."""
    positive(area=area, fall=fall, time=time)
    return Result("drawdown_capacity", "capacity by draw-down", float(drawdown_capacity(area, fall, time, inflow)),
                  "m3/s", "Q = A dh/t + q",
                  inputs(("area A", area, "m2", "m2"), ("fall dh", fall, "m", "m"), ("time t", time, "s", "min"),
                         ("inflow q", inflow, "m3/s", "m3/h")), BALANCE, (), "m3/h")  # fmt: skip


def submergence(bell: float, velocity: float) -> Result:
    """Depth of an intake below the surface against vortices, :math:`S = D(1 + 2.3V/\\sqrt{gD})`.

    Examples
    --------
    >>> submergence(0.6, 1.5).text()
    '1.453 m'
    """
    positive(bell=bell, velocity=velocity)
    return Result("submergence", "least submergence of the intake", float(minimum_submergence(bell, velocity)), "m",
                  "S = D (1 + 2.3 V/sqrt(g D))",
                  inputs(("mouth D", bell, "m", "mm"), ("velocity V", velocity, "m/s", "m/s")),
                  "ANSI/HI 9.8 (Hecker 1987), Hydraulic Institute Engineering Data Book, Eq. 1.E.1", (),
                  "m")  # fmt: skip


# ---------------------------------------------------------------------------------------------- limits of motors
def starts_allowed(duty: SumpDuty) -> Result:
    """Starts an hour that the motor takes: the maker's figure, else the published table."""
    if duty.starts_limit is not None:
        positive(starts_limit=duty.starts_limit)
        return Result("starts_allowed", "starts allowed in an hour", duty.starts_limit / H, "1/s", "given", (),
                      "given with the motor", (MOTOR_CAUTION,), "1/h")  # fmt: skip
    try:
        value = allowed_starts(duty.motor_kw, duty.poles, duty.inertia)
    except ConfigError as error:
        raise NotSized(str(error)) from None
    return Result("starts_allowed", "starts allowed in an hour", value / H, "1/s", "N = min(A, B/J)",
                  inputs(("motor", 1000.0 * duty.motor_kw, "W", "kW"), ("poles", float(duty.poles), "-"),
                         ("inertia of the load J", duty.inertia, "kg.m2")), NEMA,
                  (MOTOR_CAUTION, "started direct on line; a drive that ramps may allow more: ask its maker"),
                  "1/h")  # fmt: skip


def rest_of(duty: SumpDuty) -> float:
    """Rest between stop and start [s]: the maker's, else the published table's, else none."""
    if duty.rest is not None:
        return duty.rest
    try:
        return float(minimum_rest(duty.motor_kw, duty.poles))
    except ConfigError:
        return 0.0


def guidance_cycle(duty: SumpDuty) -> Result | None:
    """Least time between starts of the published station guidance; None above its range."""
    try:
        low, high = minimum_cycle(duty.motor_kw)
    except ConfigError:
        return None
    return Result("guidance_cycle", "least time between starts by station guidance", low, "s",
                  f"table by power, {low / 60:g} to {high / 60:g} min",
                  inputs(("motor", 1000.0 * duty.motor_kw, "W", "kW")), f"{UFC}, Table 7-1", (), "min")  # fmt: skip


# ---------------------------------------------------------------------------------------------- the sheet
def volume_plot(duty: SumpDuty, limit: float, needed: float) -> Plot:
    """Volume against starts, with the limit drawn and the volumes that stand and are needed."""
    top = 2.5 * max(needed, duty.volume)
    volumes = [float(v) for v in np.geomspace(0.1 * top, top, 60)]
    q, n = duty.worst, duty.alternating

    def rate(v: float, turns: int) -> float:
        return float(starts_per_pump(v, duty.capacities[0], q, turns)) / H

    lines = [Line("one pump", tuple(volumes), tuple(rate(v, 1) for v in volumes))]
    if n > 1:
        lines.append(Line(f"each of {n} in turn", tuple(volumes), tuple(rate(v, n) for v in volumes)))
    lines.append(Line("starts allowed", (volumes[0], volumes[-1]), (limit, limit)))
    lines.append(Line("smallest that holds", (needed,), (rate(needed, n),), True))
    if duty.volume > 0.0:
        lines.append(Line("as it stands", (duty.volume,), (rate(duty.volume, n),), True))
    return Plot("volume_starts", "volume between levels against starts", "volume", "m3", "m3", "starts", "1/s", "1/h",
                tuple(lines))  # fmt: skip


def size_sump(duty: SumpDuty) -> Sheet:
    """Size the volume between levels, and judge the one that stands.

    Parameters
    ----------
    duty : SumpDuty
        What sump and pumps have to do.

    Returns
    -------
    Sheet
        Starts, limits, volumes by criterion, the smallest that holds all and what governs, time to overflow.
    """
    sheet = Sheet("Sump and pumps", cautions=[
        "Steady formulas: constant capacity, fast motors, a full line, an inflow that does not change; the simulation "
        "beside them shows what that leaves out.",
        "Too small kills motors; too large sets hard: sand needs the mixing or flushing the volume cannot give.",
        "Sumps are confined spaces and drowning hazards: entry only under a permit.",
    ])  # fmt: skip
    n, Q = duty.alternating, duty.capacities[0]
    allowed = starts_allowed(duty)
    sheet.add(allowed)
    t_starts = 1.0 / allowed.value
    wanted = [volume_for_starts(Q, t_starts, n)]
    if duty.inflow < 0.5 * Q:
        exact = duty.inflow * (Q - duty.inflow) / (Q * n) * t_starts
        wanted = [Result("volume_starts", "volume for the starts allowed", exact, "m3", "V = t q (Q - q)/(Q n)",
                         inputs(("least time between starts t", t_starts, "s", "min"),
                                ("greatest inflow q, below Q/2", duty.inflow, "m3/s", "m3/h"),
                                ("capacity Q", Q, "m3/s", "m3/h"), ("pumps in turn n", float(n), "-")), f"{MIL}, Eq. 1",
                         (), "m3")]  # fmt: skip
    if duty.drain_back > 0.0:
        wanted.append(volume_with_drain_back(Q, duty.inflow, t_starts, duty.drain_back, n))
    guidance = guidance_cycle(duty)
    if guidance is not None:
        sheet.add(guidance)
        if duty.starts_limit is None:
            by = volume_for_starts(Q, guidance.value, n)
            wanted.append(Result(**{**by.__dict__, "key": "volume_guidance", "name": "volume by station guidance"}))
    else:
        sheet.left_out.append("station guidance: above 185 kW the time between starts is the maker's to give")
    rest = duty.rest
    if rest is None:
        try:
            rest = minimum_rest(duty.motor_kw, duty.poles)
        except ConfigError as error:
            sheet.left_out.append(f"rest between stop and start: {error}")
    if rest is not None and rest > 0.0:
        wanted.append(volume_for_rest(rest, min(duty.inflow, Q), n, duty.drain_back))
    sheet.add(*wanted)
    governs = largest(wanted)
    needed = governs.value / (1.0 - duty.sand)
    holds = None if duty.volume <= 0.0 else duty.volume >= needed * (1.0 - 1e-9)
    judged = "" if holds is None else f"; {duty.volume:.4g} m3 stand, {'enough' if holds else 'too little'}"
    sheet.add(Result("volume", "smallest volume that holds", needed, "m3", "V = max of the volumes above/(1 - s)",
                     inputs(("largest volume", governs.value, "m3", "m3"), ("part taken by sand s", duty.sand, "-")),
                     f"{BALANCE}; criteria as above", (), "m3", f"governed by the {governs.name}{judged}",
                     holds))  # fmt: skip
    if duty.area > 0.0:
        sheet.add(Result("level_difference", "start level above stop level", needed / duty.area, "m", "h = V/A",
                         inputs(("volume V", needed, "m3", "m3"), ("area A", duty.area, "m2", "m2")), "geometry", (),
                         "m"))  # fmt: skip
    steps = lag_steps(duty.capacities, t_starts)
    if len(steps) > 1:
        sheet.add(*steps)
    if duty.area > 0.0:
        sheet.add(*level_results(duty, needed, steps))
    stands = duty.volume if duty.volume > 0.0 else needed
    free = stands * (1.0 - duty.sand)
    sheet.add(least_cycle(free, Q))
    most = starts("starts_most", "most starts of each pump at any inflow up to the greatest", free, Q, duty.worst, n)
    ok = most.value <= allowed.value * (1.0 + 1e-9)
    sheet.add(Result(**{**most.__dict__, "verdict": f"{'within' if ok else 'above'} the starts allowed", "holds": ok}))
    if duty.inflow < Q:
        sheet.add(starts("starts_design", "starts of each pump at the greatest inflow", free, Q, duty.inflow, n))
    if duty.drain_back > 0.0:
        try:
            sheet.add(cycle_with_drain_back(free, Q, duty.worst, duty.drain_back))
        except NotSized as reason:
            sheet.left_out.append(f"time from start to start with drain-back: {reason}")
    sheet.add(overflow_time(duty.spare_volume, duty.inflow, duty.drain_back))
    sheet.add(Result("overflow_response", "time to overflow, against an answered alarm", sheet["overflow_time"].value,
                     "s", "time to overflow >= 10 min",
                     inputs(("time to overflow", sheet["overflow_time"].value, "s", "min")),
                     f"an operator needs some 10 min to answer: {PRACTICE}",
                     ("an interlock has to stop the wash plant by itself; prove it on the real plant",), "min",
                     "long enough to answer" if sheet["overflow_time"].value >= 600.0 else
                     "too short for a person: the interlock has to act",
                     sheet["overflow_time"].value >= 600.0))  # fmt: skip
    sheet.plots.append(volume_plot(duty, allowed.value, needed))
    return sheet
