"""Pumps and pipeline on one sheet: duty points, velocity against deposition, suction, power, surge, fault cases."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from plantsim.analysis.sizing.lines import Duty, PumpCurve, duty
from plantsim.analysis.sizing.lines import Line as Pipeline
from plantsim.analysis.sizing.result import PRACTICE, NotSized, Plot, Result, Sheet, inputs, positive
from plantsim.analysis.sizing.result import Line as Curve
from plantsim.physics.deposition import durand_velocity
from plantsim.physics.hydraulics import G
from plantsim.physics.pumps import (
    npsh_available,
    shaft_power,
    slurry_efficiency_reduction,
    slurry_head_reduction,
)
from plantsim.physics.surge import joukowsky_pressure, wave_speed
from plantsim.physics.water import vapour_pressure

ATMOSPHERE = 101325.0
BULK = 2.2e9
"""Bulk modulus of water, [Pa]: Subramanya, 1000 Solved Problems in Fluid Mechanics, Ex. 14.13."""
COMBINED = 'pump and system curves: Hydraulic Institute Engineering Data Book, "Combined curves"'
FRICTION = "Darcy-Weisbach with Colebrook's factor; mud: Buckingham-Reiner and Darby-Melson"
DURAND = "Durand (1953), V = F_L sqrt(2 g D (S - 1))"
SURGE_CAUTION = (
    "an upper bound for one sudden stop, not a design: column separation, check-valve slam and reflections can exceed "
    "or outlast it; a transient study is a specialist's work"
)
DEADHEAD_CAUTION = (
    "a pump run between closed valves heats what it holds until it flashes; casings have burst and killed: low-flow "
    "trip, relief, lockout before work"
)


@dataclass(frozen=True)
class Site:
    """What the pumps stand on: pressure on the liquid [Pa], its level above the pump [m], suction loss [m]."""

    level: float = 1.0
    suction_loss: float = 0.0
    pressure: float = ATMOSPHERE
    wall: float | None = None
    """Wall of the pipe [m]; left out: a rigid pipe, the upper bound."""
    young: float = 2.07e11
    """Modulus of the pipe, [Pa]."""


# ---------------------------------------------------------------------------------------------- single results
def power_result(key: str, name: str, q: float, h: float, rho: float, eta: float) -> Result:
    """Shaft power of a duty, :math:`P = \\rho g Q H/\\eta`; head in metres of the liquid pumped.

    Examples
    --------
    >>> power_result("p", "power", 246.0 / 3600.0, 30.48, 1230.0, 0.65).text(3)
    '38.7 kW'
    """
    positive(flow=q, head=h, density=rho, efficiency=eta)
    if eta > 1.0:
        raise NotSized(f"found an efficiency of {eta:g}; allowed: above 0, at most 1")
    return Result(key, name, float(shaft_power(q, h, rho, eta)), "W", "P = rho g Q H/eta",
                  inputs(("flow Q", q, "m3/s", "m3/h"), ("head H", h, "m", "m"), ("density rho", rho, "kg/m3", "kg/m3"),
                         ("efficiency eta", eta, "-")),
                  "Hydraulic Institute Engineering Data Book, Eq. 1.B.4", (), "kW")  # fmt: skip


def suction_result(available: float, required: float, least: float = 1.0) -> Result:
    """Suction margin: what is there less what the maker asks for.

    Parameters
    ----------
    available, required : float
        Suction head, [m]
    least : float
        Margin wanted, [m]
    """
    margin = available - required
    return Result("suction_margin", "suction margin", margin, "m", "NPSH_a - NPSH_r",
                  inputs(("available", available, "m", "m"), ("required at this flow", required, "m", "m"),
                         ("margin wanted", least, "m", "m")),
                  f"definition of net positive suction head; margin wanted: {PRACTICE}",
                  ("the maker's curve is for water: air, solids and wear ask for more",
                   "a line between sump and pump takes its loss off the suction head: give it as suction_loss"), "m",
                  f"{'at least' if margin >= least else 'below'} the margin wanted", margin >= least)  # fmt: skip


def available_suction(site: Site, line: Pipeline) -> float:
    """Suction head available [m of the liquid], :math:`(p - p_v)/(\\rho g) + z - h_L`."""
    p_v = float(vapour_pressure(line.temperature))
    return float(npsh_available(site.pressure, p_v, line.density, site.level, site.suction_loss))


def surge_result(line: Pipeline, q: float, site: Site) -> list[Result]:
    """Upper bound of the pressure rise when the flow is stopped at once (Joukowsky)."""
    stiff = site.wall is None
    wall = 1.0 if site.wall is None else site.wall
    young = 1e30 if stiff else site.young
    a = float(wave_speed(BULK, line.density, line.diameter, wall, young, 1.0))
    v = line.velocity(q)
    given = [("bulk modulus K", BULK, "Pa", "MPa"), ("density rho", line.density, "kg/m3", "kg/m3")]
    if not stiff:
        given += [("bore D", line.diameter, "m", "mm"), ("wall t", wall, "m", "mm"), ("modulus E", young, "Pa", "MPa")]
    dp = float(joukowsky_pressure(line.density, a, v))
    return [
        Result("wave_speed", "speed of a pressure wave", a, "m/s",
               "a = sqrt(K/rho), rigid pipe" if stiff else "a = sqrt((K/rho)/(1 + K D/(E t)))", inputs(*given),
               "Subramanya, 1000 Solved Problems in Fluid Mechanics, ch. 14", (), "m/s"),
        Result("surge", "upper bound of surge pressure", dp, "Pa", "dp = rho a dv",
               inputs(("density rho", line.density, "kg/m3", "kg/m3"), ("wave speed a", a, "m/s", "m/s"),
                      ("velocity stopped dv", v, "m/s", "m/s")),
               "Joukowsky (1898)", (SURGE_CAUTION,), "bar"),
        Result("surge_period", "stops slower than this surge less", 2.0 * line.length / a, "s", "t = 2 L/a",
               inputs(("length L", line.length, "m", "m"), ("wave speed a", a, "m/s", "m/s")),
               "travel of the wave there and back", (SURGE_CAUTION,), "s"),
    ]  # fmt: skip


def slurry_derating(
    chart: float, cv: float, ss: float, fines: float, impeller: float, large_ratio: float = 1.0
) -> list[Result]:
    """Part of head and efficiency that solids take from a slurry pump.

    Parameters
    ----------
    chart : float
        Head reduction read at 15 % by volume and solids of 2.65, [-]
    cv : float
        Solids by volume, [-]
    ss : float
        Density of the solids over water, [-]
    fines : float
        Part finer than 75 um, [-]
    impeller : float
        Diameter, [m]
    large_ratio : float
        Efficiency over head reduction of impellers from 0.4 m, [-]

    Examples
    --------
    >>> [r.text(1) for r in slurry_derating(0.14, 0.06, 4.4, 0.08, 0.914)]
    ['8 %', '8 %']
    """
    if not (0.0 <= chart < 1.0 and 0.0 <= cv < 0.6 and 0.0 <= fines <= 1.0):
        raise NotSized("found a share outside its range; allowed: chart and fines from 0 to 1, solids below 60 %")
    positive(solids_density_ratio=ss, impeller=impeller)
    rh = float(slurry_head_reduction(chart, cv, ss, fines))
    source = "Pump Handbook (Karassik, Messina, Cooper, Heald), slurry pumps, Fig. 12; exponent 0.65 from memory"
    cautions = ("measured reductions of crushed, angular solids have been well above the computed ones",
                "solids above 15 to 20 % by volume: the rule is a guess")  # fmt: skip
    given = inputs(("chart reduction", chart, "-"), ("solids by volume C_v", cv, "-"), ("solids density S_s", ss, "-"),
                   ("finer than 75 um X_h", fines, "-"))  # fmt: skip
    return [
        Result("head_reduction", "head taken by solids", rh, "-",
               "R_H = R_chart (C_v/0.15) ((S_s - 1)/1.65)^0.65 (1 - X_h)^2", given, source, cautions, "%"),
        Result("efficiency_reduction", "efficiency taken by solids",
               float(slurry_efficiency_reduction(rh, impeller, large_ratio)), "-",
               "R_eta = R_H below 0.4 m, r R_H from there on",
               (*given, *inputs(("impeller", impeller, "m", "mm"), ("ratio r", large_ratio, "-"))), source, cautions,
               "%"),
    ]  # fmt: skip


def limit_velocity(line: Pipeline) -> float:
    """Velocity [m/s] below which coarse drops out in this line (Durand)."""
    s = line.solids_density / line.water_density
    return float(durand_velocity(line.deposit_factor, line.diameter, s))


def deposition_results(line: Pipeline, flows: tuple[float, float], margin: float = 1.2) -> list[Result]:
    """Limit velocity, the flow that keeps it with a margin, and the margin over the range of flows.

    Parameters
    ----------
    line : Line
        The line.
    flows : tuple of float
        Least and greatest flow, [m3/s]
    margin : float
        Least velocity over the limit velocity, [-]
    """
    v_l = limit_velocity(line)
    least = margin * v_l * line.area
    factor = ("limit-velocity factor F_L", line.deposit_factor, "-")
    out = [
        Result("limit_velocity", "limit velocity of the coarse", v_l, "m/s", "V_L = F_L sqrt(2 g D (S - 1))",
               inputs(factor, ("bore D", line.diameter, "m", "mm"),
                      ("solids density", line.solids_density, "kg/m3", "kg/m3")), DURAND,
               ("F_L depends on the size and share of the coarse: about 0.3 to 0.5 for silt, 0.8 to 1.34 for sand "
                "(Durand and Condolios chart, from memory); take your own sieve test",), "m/s"),
        Result("least_flow", "least flow against deposition", least, "m3/s", "Q = m V_L A",
               inputs(("margin m", margin, "-"), ("limit velocity V_L", v_l, "m/s", "m/s"),
                      ("area A", line.area, "m2", "cm2")), f"{DURAND}; margin: {PRACTICE}", (), "m3/h"),
    ]  # fmt: skip
    for key, words, q in (("velocity_ratio", "least", flows[0]), ("velocity_ratio_most", "greatest", flows[1])):
        value = line.velocity(q) / v_l if v_l > 0.0 else math.inf
        out.append(
            Result(key, f"velocity over the limit at the {words} flow", value, "-", "V/V_L",
                   inputs(("flow", q, "m3/s", "m3/h"), ("velocity V", line.velocity(q), "m/s", "m/s"),
                          ("limit velocity V_L", v_l, "m/s", "m/s"), ("margin wanted", margin, "-")), DURAND, (), "",
                   f"{'at least' if value >= margin else 'below'} the margin of {margin:g}", value >= margin)
        )  # fmt: skip
    return out


# ---------------------------------------------------------------------------------------------- pipe sizes
def pipe_choices(
    flow: float,
    length: float,
    lift: float,
    bores: Sequence[float],
    in_series: int = 1,
    solids: float = 0.0,
    fittings: float = 0.0,
) -> list[tuple[float, float, float, float]]:
    """Velocity, total head and head of each pump for bores of a pipe.

    Parameters
    ----------
    flow : float
        Duty, [m3/s]
    length, lift : float
        Of the line, [m]
    bores : sequence of float
        Inner diameters, [m]
    in_series : int
        Pumps in series, [-]
    solids : float
        Dry solids carried, [kg/m3]
    fittings : float
        Sum of loss coefficients, [-]

    Returns
    -------
    list of tuple
        Bore [m], velocity [m/s], total head [m], head of each pump [m].

    Examples
    --------
    >>> [(d, round(v, 2), round(h), round(each)) for d, v, h, each in pipe_choices(230 / 3600, 800, 45, [0.2], 2)]
    [(0.2, 2.03, 59, 29)]
    """
    positive(flow=flow, length=length, pumps_in_series=in_series)
    out = []
    for d in bores:
        one = Pipeline(length, d, lift, solids=solids, fittings=fittings)
        h = one.head(flow)
        out.append((d, one.velocity(flow), h, h / in_series))
    return out


# ---------------------------------------------------------------------------------------------- the sheet
def curve_plot(branches: Sequence[Sequence[PumpCurve]], line: Pipeline, speeds: Sequence[float]) -> Plot:
    """Pump curves over speeds and numbers of branches, with the system curve of what is carried."""
    found = [duty(branches[:n], line.head, 1.0, line.fraction) for n in range(1, len(branches) + 1)]
    known = [d for d in found if d is not None]
    shut = sum(p.head(0.0) for p in branches[0])
    top = 1.15 * max([max(b[0].flows[-1] for b in branches), *(d.flow for d in known)])
    lines: list[Curve] = []

    def add(name: str, n: int, speed: float) -> None:
        heads = np.linspace(0.0, speed**2 * sum(p.head(0.0, 1.0, line.fraction) for p in branches[0]), 120)
        points = [(q, h) for h in heads if 0.0 <= (q := _flow_at(branches[:n], float(h), speed, line.fraction)) <= top]
        lines.append(Curve(name, tuple(q for q, _ in points), tuple(float(h) for _, h in points)))

    for n in range(1, len(branches) + 1):
        add("one branch" if n == 1 else f"{n} branches", n, 1.0)
    for speed in speeds:
        if speed < 1.0:
            add(f"one branch at {100 * speed:.3g} %", 1, speed)
    flows = tuple(float(q) for q in np.linspace(0.0, 0.95 * top, 40))
    asked = [(q, h) for q in flows if (h := line.head(q)) <= 1.3 * shut]
    lines.append(Curve("line", tuple(q for q, _ in asked), tuple(h for _, h in asked)))
    lines.append(Curve("duty points", tuple(d.flow for d in known), tuple(d.head for d in known), True))
    return Plot("pump_curves", f"pumps and {line.name}", "flow", "m3/s", "m3/h", "head", "m", "m", tuple(lines))


def _flow_at(branches: Sequence[Sequence[PumpCurve]], h: float, speed: float, fraction: float) -> float:
    found = duty(branches, lambda q: h, speed, fraction)
    return 0.0 if found is None else found.flow


def duty_result(key: str, name: str, found: Duty | None, line: Pipeline, speed: float, words: str) -> Result:
    """The flow of a duty point, with head and speed as inputs; 0 when the pumps do not reach the lift."""
    given = [("static head", line.static, "m", "m"), ("speed n", speed, "-"), ("solids", line.solids, "kg/m3", "g/L"),
             ("length", line.length, "m", "m"), ("bore", line.diameter, "m", "mm")]  # fmt: skip
    if found is None:
        return Result(key, name, 0.0, "m3/s", "H_pump(Q) = H_line(Q)", inputs(*given), f"{COMBINED}; {FRICTION}", (),
                      "m3/h", f"the pumps do not reach the static head: {words} carries nothing", False)  # fmt: skip
    given.append(("head there", found.head, "m", "m"))
    return Result(key, name, found.flow, "m3/s", "H_pump(Q) = H_line(Q)", inputs(*given), f"{COMBINED}; {FRICTION}", (),
                  "m3/h", f"{words}: {found.head:.3g} m, {line.velocity(found.flow):.3g} m/s")  # fmt: skip


def size_pumping(
    line: Pipeline,
    branches: Sequence[Sequence[PumpCurve]],
    site: Site | None = None,
    flows: tuple[float, float] | None = None,
    speeds: Sequence[float] = (0.9, 0.8, 0.7),
    duty_branches: int = 1,
    margin: float = 1.2,
) -> Sheet:
    """Pumps and pipeline on one sheet.

    Parameters
    ----------
    line : Line
        Pipe and what it carries.
    branches : sequence of sequence of PumpCurve
        Branches in parallel, each of pumps in series.
    site : Site, optional
        Suction side and pipe wall.
    flows : tuple of float, optional
        Least and greatest flow; left out: one branch at the least of `speeds` that carries, and the duty, [m3/s]
    speeds : sequence of float
        Speeds over full speed shown, [-]
    duty_branches : int
        Branches that run together at the duty, [-]
    margin : float
        Least velocity over the limit velocity, [-]
    """
    site = site or Site()
    if not 1 <= duty_branches <= len(branches):
        raise NotSized(f"found {duty_branches} branches at duty; allowed: 1 to {len(branches)}")
    sheet = Sheet(f"Pumps and pipeline: {line.name}", cautions=[
        "Curves of new pumps on a smooth line: wear, scale and air take head away with time.",
        "Isolate and lock out before work on a pump or line; a line that drains back turns a stopped pump backwards.",
        "Sizing is no design: a licensed engineer, local codes and the pump maker decide.",
    ])  # fmt: skip
    phi = line.fraction
    found: dict[int, Duty | None] = {}
    for n in range(1, len(branches) + 1):
        found[n] = duty(branches[:n], line.head, 1.0, phi)
        words = "one branch" if n == 1 else f"{n} branches together"
        sheet.add(duty_result(f"duty_{n}", f"flow of {words} at full speed", found[n], line, 1.0, words))
    slow: list[float] = []
    for speed in speeds:
        positive(speed=speed)
        at = duty(branches[:1], line.head, speed, phi)
        percent = f"{100 * speed:.4g}"
        sheet.add(duty_result(f"duty_at_{percent}", f"flow of one branch at {percent} % speed", at, line, speed,
                              "one branch"))  # fmt: skip
        if at is not None:
            slow.append(at.flow)
    sheet.plots.append(curve_plot(branches, line, speeds))
    main = found[duty_branches]
    if main is None:
        sheet.left_out.append("power, suction, deposition and surge: the pumps do not reach the static head")
        return sheet
    each = main.branches[0]
    pumps = branches[0]
    sheet.add(Result("friction", "head lost in pipe and fittings", line.friction(main.flow), "m",
                     "f (L/D) V^2/(2 g) + K V^2/(2 g)",
                     inputs(("flow", main.flow, "m3/s", "m3/h"), ("bore", line.diameter, "m", "mm"),
                            ("length", line.length, "m", "m"), ("roughness", line.roughness, "m", "mm"),
                            ("loss coefficients K", line.fittings, "-")), FRICTION, (), "m"))  # fmt: skip
    sheet.add(Result("derating", "head the pump keeps in this slurry", pumps[0].factor(phi), "-", "c = 1 - d phi",
                     inputs(("derating d", pumps[0].derating, "-"), ("solids by volume phi", phi, "-")),
                     "head reduction in proportion to solids: Pump Handbook (Karassik et al.), slurry pumps",
                     ("crushed, angular solids take more than computed: test before relying on a margin",),
                     "%"))  # fmt: skip
    for i, pump in enumerate(pumps):
        if pump.efficiencies:
            sheet.add(_motor_power(pump, each, line, str(i + 1) if len(pumps) > 1 else ""))
    if pumps[0].npsh:
        sheet.add(suction_result(available_suction(site, line), pumps[0].npsh_required(each)))
    reached = [*slow, *(d.flow for d in found.values() if d is not None)]
    low, high = flows or (min(reached), max(reached))
    if low > high:
        raise NotSized(f"found flows from {low:g} down to {high:g}; allowed: least first")
    sheet.add(*deposition_results(line, (low, high), margin))
    sheet.add(*surge_result(line, max(*reached, high), site))  # an upper bound stops the greatest flow there can be
    sheet.add(*deadhead(pumps, line))
    sheet.add(*single_of_pair(pumps, branches, line, site))
    return sheet


def _motor_power(pump: PumpCurve, q: float, line: Pipeline, number: str) -> Result:
    power = pump.shaft_power(q, line.density)
    rated = pump.motor
    holds = None if rated <= 0.0 else power <= rated
    verdict = "" if rated <= 0.0 else f"{'within' if holds else 'above'} the {rated / 1000:g} kW of the motor"
    return Result(f"power{number}", f"shaft power of {pump.name} at duty", power, "W",
                  "P = (rho/rho_w) P_water(Q)",
                  inputs(("flow of the pump", q, "m3/s", "m3/h"), ("density", line.density, "kg/m3", "kg/m3"),
                         ("efficiency on water", pump.efficiency(q), "-"), ("rated power", rated, "W", "kW")),
                  "Hydraulic Institute Engineering Data Book, Eq. 1.B.4",
                  ("starting with a full line of settled slurry asks for more",), "kW", verdict, holds)  # fmt: skip


def deadhead(pumps: Sequence[PumpCurve], line: Pipeline) -> list[Result]:
    """Pressure and power of a branch run against a closed valve."""
    head = sum(p.head(0.0, 1.0, line.fraction) for p in pumps)
    out = [
        Result("deadhead_pressure", "pressure against a closed valve", line.density * G * head, "Pa", "p = rho g H(0)",
               inputs(("shut-off head H(0)", head, "m", "m"), ("density", line.density, "kg/m3", "kg/m3"),
                      ("pumps in series", float(len(pumps)), "-")), "hydrostatics", (DEADHEAD_CAUTION,), "bar"),
    ]  # fmt: skip
    if all(p.efficiencies for p in pumps):
        heat = sum(p.shaft_power(0.0, line.density) for p in pumps)
        out.append(Result("deadhead_power", "heat into the liquid against a closed valve", heat, "W",
                          "P_water(0) rho/rho_w", inputs(("pumps in series", float(len(pumps)), "-")),
                          "power curve carried on to zero flow along its first points", (DEADHEAD_CAUTION,),
                          "kW"))  # fmt: skip
    return out


def single_of_pair(
    pumps: Sequence[PumpCurve], branches: Sequence[Sequence[PumpCurve]], line: Pipeline, site: Site
) -> list[Result]:
    """What one pump does when its partner stands: of a pair in series, or of several in parallel."""
    out: list[Result] = []
    if len(pumps) > 1:
        alone = duty([pumps[:1]], line.head, 1.0, line.fraction)
        result = duty_result("single_of_series", "flow of one pump of the series alone", alone, line, 1.0,
                             "one pump, the other passed freely")  # fmt: skip
        v_l = limit_velocity(line)
        if alone is not None and line.velocity(alone.flow) < v_l:
            verdict = f"{line.velocity(alone.flow):.3g} m/s, below the limit velocity: the line sands up"
            result = Result(**{**result.__dict__, "verdict": verdict, "holds": False})
        out.append(result)
    if len(branches) > 1 and pumps[0].npsh:
        alone = duty(branches[:1], line.head, 1.0, line.fraction)
        if alone is not None:
            margin = available_suction(site, line) - pumps[0].npsh_required(alone.flow)
            out.append(Result("single_suction", "suction margin of one branch alone", margin, "m", "NPSH_a - NPSH_r",
                              inputs(("flow of one alone", alone.flow, "m3/s", "m3/h")),
                              "one pump alone runs out along its curve: more flow than when sharing",
                              (), "m", "" if margin >= 1.0 else "below a margin of 1 m", margin >= 1.0))  # fmt: skip
    return out
