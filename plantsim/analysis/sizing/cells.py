"""Mud cells: how many and how large, for mud that is filled in, drains, dries in the weather of each month and is dug.

Nothing here says that a cell may be entered. The strength is a mean over the depth, by water content alone: a crust
may lie on liquid mud.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from plantsim.analysis.sizing.result import BALANCE, PRACTICE, NotSized, Result, Sheet, inputs, positive
from plantsim.analysis.sizing.water import DAY, MONTH_DAYS, MONTHS, Climate, month_plot
from plantsim.physics.consolidation import time_to_degree
from plantsim.physics.drying import drying_step, liquidity_index, strength_vardanega_haigh
from plantsim.physics.rheology import yield_stress
from plantsim.physics.slurry import density_from_mass_fraction, volume_fraction_from_mass_fraction

DANGER = (
    "Never permission to enter, walk or drive on a cell: mud cells look solid and are not, people and machines have "
    "been lost in them; that takes a survey and a decision by a competent person on the day"
)
CYLINDER = 0.10
"""Height of the cylinder whose slump is told [m]."""
THIN_LIFT = "USACE Dredged Material Research Program, natural dewatering of dredged material (Bartos 1977, from memory)"
STRENGTH = "Vardanega and Haigh (2014), strength against liquidity index"
DRYING = "two-stage drying between void ratios; evaporation by FAO-56 Penman-Monteith and open water"
MOST_DAYS = 730


@dataclass(frozen=True)
class CellsDuty:
    """What the cells take and what their mud is like.

    Attributes
    ----------
    solids_rate : float
        Dry solids while the plant runs, [kg/s]
    hours : float
        Running time of a week, [s]
    underflow_solids : float
        Dry solids per volume as it arrives, [kg/m3]
    area : float
        Plan area of one cell, [m2]
    lift : float
        Thickness filled in at a time, [m]
    solids_density : float
        [kg/m3]
    final_void, shrink_void, dry_void : float
        Void ratio after self-weight consolidation, where drying slows, and where it ends, [-]
    liquid_limit, plastic_limit : float
        [-]
    liquid_strength, dig_strength : float
        At the liquid limit, and at which the digger starts, [Pa]
    consolidation : float
        Coefficient, [m2/s]
    drain_time : float
        Least rest after filling, [s]
    seep : float
        Through the floor, [m/s]
    dig_rate : float
        Bulk volume dug out in an hour of the crew, [m3/s]
    crew_hours : float
        Hours of the crew in a week, [s]; 0: nobody digs
    rain_kept : float
        Part of the rain that the weir does not let off, [-]
    number : int
        Cells that stand; 0: to be found, [-]
    yield_a, yield_b : float
        Yield stress of the mud, a phi^b; 0: not given, [Pa], [-]
    """

    solids_rate: float
    hours: float
    underflow_solids: float
    area: float = 3000.0
    lift: float = 0.4
    solids_density: float = 2650.0
    final_void: float = 2.6
    shrink_void: float = 1.9
    dry_void: float = 0.8
    liquid_limit: float = 0.5
    plastic_limit: float = 0.26
    liquid_strength: float = 1700.0
    dig_strength: float = 15000.0
    consolidation: float = 1e-7
    drain_time: float = 3 * DAY
    seep: float = 0.0
    dig_rate: float = 60.0 / 3600.0
    crew_hours: float = 40 * 3600.0
    rain_kept: float = 0.3
    number: int = 0
    yield_a: float = 0.0
    yield_b: float = 4.5

    def __post_init__(self) -> None:
        positive(solids_rate=self.solids_rate, running_time=self.hours, underflow_solids=self.underflow_solids,
                 area=self.area, lift=self.lift, consolidation=self.consolidation, dig_rate=self.dig_rate)  # fmt: skip
        if self.underflow_solids >= self.solids_density:
            raise NotSized("found an underflow as dense as its solids; allowed: thinner")
        if not self.dry_void < self.shrink_void:
            raise NotSized("found a void ratio where drying ends that is not below the one where it slows")
        if not 0.0 <= self.rain_kept <= 1.0:
            raise NotSized(f"found a kept part of the rain of {self.rain_kept:g}; allowed: from 0 to 1")
        if self.plastic_limit >= self.liquid_limit:
            raise NotSized("found a plastic limit not below the liquid limit")

    @property
    def solids_height(self) -> float:
        """Height of the solids of one lift without pores [m]."""
        return self.lift * self.underflow_solids / self.solids_density

    @property
    def arriving_void(self) -> float:
        """Void ratio of the underflow as it arrives [-]."""
        return self.solids_density / self.underflow_solids - 1.0


def strength_at(duty: CellsDuty, void: float) -> float:
    """Mean strength [Pa] at a void ratio; never permission to enter."""
    water = void * 1000.0 / duty.solids_density
    index = float(liquidity_index(water, duty.plastic_limit, duty.liquid_limit))
    return float(strength_vardanega_haigh(index, duty.liquid_strength))


def void_at_strength(duty: CellsDuty, strength: float) -> float:
    """Void ratio at which the mean strength is reached [-].

    Raises
    ------
    NotSized
        When mud dried to its end is still weaker.
    """
    low, high = duty.dry_void, max(duty.final_void, duty.arriving_void)
    if strength_at(duty, low * (1.0 + 1e-9)) < strength:
        raise NotSized(
            f"found a strength wanted of {strength / 1000:g} kPa, and {strength_at(duty, low) / 1000:.3g} kPa of mud "
            "dried to its end; allowed: less, or limits of your own mud"
        )
    for _ in range(80):
        middle = 0.5 * (low + high)
        if strength_at(duty, middle) < strength:
            high = middle
        else:
            low = middle
    return low


def drying_days(duty: CellsDuty, climate: Climate, month: int, void: float, target: float) -> int:
    """Days from the middle of a month until the mean void ratio is the target; `MOST_DAYS` when it never is."""
    depth = duty.solids_height
    water = void * depth
    m, day = month, MONTH_DAYS[month] // 2
    for days in range(MOST_DAYS):
        if water <= target * depth:
            return days
        n = MONTH_DAYS[m]
        evaporation = climate.evaporation[m] / n if climate.temperature[m] > 0.0 else 0.0
        kept = duty.rain_kept * climate.rain[m] / n
        potential = max(evaporation - kept, 0.0) / DAY
        water = float(drying_step(water, duty.shrink_void * depth, duty.dry_void * depth, potential, DAY))
        day += 1
        if day >= n:
            m, day = (m + 1) % 12, 0
    return MOST_DAYS


def cell_cycle(duty: CellsDuty, climate: Climate, month: int) -> tuple[float, float, float, float]:
    """Fill, drain, dry and dig time [s] of a lift whose drying begins in the middle of a month."""
    fill = duty.area * duty.lift * duty.underflow_solids / (duty.solids_rate * duty.hours / (7 * DAY))
    drain = max(duty.drain_time, float(time_to_degree(0.9, duty.consolidation, duty.lift)))
    target = void_at_strength(duty, duty.dig_strength)
    start = min(duty.final_void, duty.arriving_void)
    dry = DAY * drying_days(duty, climate, month, start, target)
    bulk = duty.area * duty.solids_height * (1.0 + target)
    dig = bulk / duty.dig_rate * 7 * DAY / duty.crew_hours if duty.crew_hours > 0.0 else math.inf
    return fill, drain, dry, dig


def shape_results(duty: CellsDuty) -> list[Result]:
    """Yield stress of mud at the solids at which it keeps the shape of the hole where it lands."""
    out = []
    for weight in (0.50, 0.55):
        phi = float(volume_fraction_from_mass_fraction(weight, duty.solids_density, 1000.0))
        density = float(density_from_mass_fraction(weight, duty.solids_density, 1000.0))
        stress = float(yield_stress(phi, duty.yield_a, duty.yield_b))
        t = stress / (density * 9.81 * CYLINDER)
        slump = 0.0 if t >= 0.5 else 1.0 - 2.0 * t * (1.0 - math.log(2.0 * t))
        percent = f"{100 * weight:.0f}"
        out.append(Result(
            f"shape_{percent}", f"yield stress of mud of {percent} % solids by weight", stress, "Pa",
            "tau = a phi^b", inputs(("factor a", duty.yield_a, "Pa"), ("exponent b", duty.yield_b, "-"),
                                    ("solids by volume phi", phi, "-")),
            f"power law of muds: {PRACTICE}; slump: Pashias and others (1996), J. Rheol. 40(6), 1179-1189", (DANGER,),
            "Pa", f"a cylinder of {100.0 * CYLINDER:.0f} cm slumps by {100.0 * slump:.0f} %; mud of 50 to 55 % keeps "
            f"the shape of the hole where it lands ({PRACTICE})"))  # fmt: skip
    return out


def size_cells(duty: CellsDuty, climate: Climate) -> Sheet:
    """Number and size of cells for fill, drain, dry and dig, month by month.

    Parameters
    ----------
    duty : CellsDuty
        What they take.
    climate : Climate
        Monthly weather.
    """
    sheet = Sheet("Mud cells", cautions=[
        f"{DANGER} (such as the UK Quarries Regulations 1999, MSHA 30 CFR 56).",
        "Mean weather and one lift at a time: prove number and order by simulation over wet years.",
        "A cell is a dam: walls, freeboard and spillway are for a licensed engineer and local codes.",
    ])  # fmt: skip
    weekly = duty.solids_rate * duty.hours / duty.underflow_solids
    target = void_at_strength(duty, duty.dig_strength)
    fill, drain, _, dig = cell_cycle(duty, climate, 6)
    solids = ("underflow solids", duty.underflow_solids, "kg/m3", "g/L")
    sheet.add(
        Result("weekly_mud", "underflow in a week", weekly, "m3", "V = m h/C_u",
               inputs(("solids m", duty.solids_rate, "kg/s", "t/h"), ("running time h", duty.hours, "s", "h"), solids),
               BALANCE, (), "m3"),
        Result("fill_time", "time to fill one lift", fill, "s", "t_f = A l/q",
               inputs(("area A", duty.area, "m2", "m2"), ("lift l", duty.lift, "m", "m"),
                      ("underflow in a week", weekly, "m3", "m3")), BALANCE, (), "d"),
        Result("lift", "thickness of one lift, for drying by the air", duty.lift, "m", "l <= 0.3 m",
               inputs(("lift l", duty.lift, "m", "m")), THIN_LIFT, (), "m",
               "as thin as the guidance asks" if duty.lift <= 0.3 + 1e-9 else
               "above the 0.3 m of the guidance: its lower part dries late; mud that is dug wet needs no such lift",
               duty.lift <= 0.3 + 1e-9),
        Result("drain_time", "time to settle and drain", drain, "s", "t = max(rest, T_v(0.9) l^2/c_v)",
               inputs(("least rest", duty.drain_time, "s", "d"), ("lift l", duty.lift, "m", "m"),
                      ("coefficient c_v", duty.consolidation, "m2/s")), "Terzaghi (1943), drained on one side", (),
               "d"),
        Result("dig_void", "void ratio at the digger's strength", target, "-", "from the liquidity index",
               inputs(("strength for digging", duty.dig_strength, "Pa", "kPa"),
                      ("liquid limit", duty.liquid_limit, "-"), ("plastic limit", duty.plastic_limit, "-")), STRENGTH,
               (DANGER,)),
        Result("dry_water", "water to dry off one lift", duty.solids_height *
               max(0.0, min(duty.final_void, duty.arriving_void) - target), "m", "h_s (e_f - e_d)",
               inputs(("height of solids h_s", duty.solids_height, "m", "mm"), ("void ratio settled e_f",
               min(duty.final_void, duty.arriving_void), "-"), ("void ratio to dig e_d", target, "-")), BALANCE, (),
               "mm"),
        Result("dig_time", "time to dig out one lift", dig, "s", "t = A h_s (1 + e_d)/(q_d k)",
               inputs(("dig rate q_d", duty.dig_rate, "m3/s", "m3/h"),
                      ("crew hours in a week", duty.crew_hours, "s", "h"), ("area A", duty.area, "m2", "m2")),
               BALANCE, (DANGER,), "d"),
    )  # fmt: skip
    if duty.yield_a > 0.0:
        sheet.add(*shape_results(duty))
    counts: list[float] = []
    dries: list[float] = []
    for k in range(12):
        fill, drain, dry, dig = cell_cycle(duty, climate, k)
        never = dry >= MOST_DAYS * DAY
        cycle = fill + drain + dry + dig
        count = float(math.ceil(cycle / fill - 1e-9)) if math.isfinite(cycle) and not never else math.inf
        counts.append(count)
        dries.append(dry)
        sheet.add(Result(f"dry_{k + 1:02d}", f"drying of a lift filled in {MONTHS[k]}", math.inf if never else dry, "s",
                         "days until the void ratio to dig, E - r R each day",
                         inputs(("evaporation in the month", climate.evaporation[k], "m", "mm"),
                                ("rain in the month", climate.rain[k], "m", "mm"),
                                ("rain kept r", duty.rain_kept, "-")),
                         f"{DRYING}; rain kept: {PRACTICE}", (DANGER,), "d",
                         "never in this weather: store or press" if never else
                         f"needs {count:.0f} cells"))  # fmt: skip
    worst = max(range(12), key=lambda k: counts[k])
    number = counts[worst]
    holds = None if duty.number <= 0 else duty.number >= number
    stands = "" if holds is None else f"; {duty.number} stand, {'enough' if holds else 'too few'} for one lift in turn"
    sheet.add(Result("cells", "cells needed", number, "-", "n = (t_f + t_d + t_dry + t_dig)/t_f, rounded up",
                     inputs(("fill t_f", fill, "s", "d"), ("drain t_d", drain, "s", "d"),
                            ("dry t_dry", dries[worst], "s", "d"), ("dig t_dig", dig, "s", "d"),
                            ("area of each", duty.area, "m2", "m2")), f"{BALANCE}; {DRYING}", (DANGER,), "",
                     f"governed by {MONTHS[worst]}{stands}", holds))  # fmt: skip
    if duty.crew_hours > 0.0:
        wet = float(math.ceil((fill + drain + dig) / fill - 1e-9))
        sheet.add(Result("cells_wet", "cells needed if the mud is dug as it has settled", wet, "-",
                         "n = (t_f + t_d + t_dig)/t_f, rounded up",
                         inputs(("fill t_f", fill, "s", "d"), ("drain t_d", drain, "s", "d"),
                                ("dig t_dig", dig, "s", "d"),
                                ("strength settled", strength_at(duty, min(duty.final_void, duty.arriving_void)), "Pa",
                                 "kPa")), BALANCE,
                         (DANGER, "wet mud is dug from firm ground outside the cell, and needs room to dry elsewhere"),
                         ""))  # fmt: skip
    if math.isfinite(number):
        sheet.add(Result("cells_area", "area of all cells", number * duty.area, "m2", "n A",
                         inputs(("cells n", number, "-"), ("area A", duty.area, "m2", "m2")), BALANCE, (),
                         "m2"))  # fmt: skip
    capacity = duty.crew_hours * duty.dig_rate
    bulk = duty.solids_rate * duty.hours / duty.solids_density * (1.0 + target)
    share = bulk / capacity if capacity > 0.0 else math.inf
    sheet.add(Result("dig_share", "digging needed over what the crew can", share, "-",
                     "m h (1 + e_d)/(rho_s q_d k)",
                     inputs(("mud to dig in a week", bulk, "m3", "m3"), ("crew digs in a week", capacity, "m3", "m3")),
                     BALANCE, (DANGER,), "%", "the crew keeps up" if bulk <= capacity else "the crew falls behind",
                     bulk <= capacity))  # fmt: skip
    sheet.plots.append(month_plot("drying", "drying of a lift by month of filling", "drying", "s", "d",
                                  {"drying": dries}))  # fmt: skip
    return sheet
