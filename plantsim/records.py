"""The shape of a plant in memory: what every unit remembers, in SI, one table for each kind.

A plant is data. Each kind of unit is an array of records; parameters (`*_P`, changed only by events),
state (`*_S`, everything that evolves) and faults (`*_F`, switches set by events) are kept apart. All
fields are eight bytes wide (`f8` or `i8`), so any quantity of the plant can be addressed as one cell of
one flat memory: instruments, actuators, control programs and the recorder all work on such cells.

**Rows.** Material is always a row of `NS` numbers: volume first, then what it carries.

====  ============  =====================================================================
 no.  name          meaning (a store: amount; a stream: amount per second)
====  ============  =====================================================================
 0    VOLUME        whole volume, solids included [m3]
 1    COARSE        solids that settle freely: sand and silt [kg]
 2    FINES         solids that settle only when flocculated [kg]
 3    COLLOID       solids that never settle until coagulant lets them join the fines [kg]
 4    CLAY          marker: the part of FINES that is sticky clay; not a mass of its own [kg]
 5    COAG          coagulant product in the water [kg]
 6    COAG_BOUND    coagulant product held by the solids [kg]
 7    POLY          active polymer in the water [kg]
 8    POLY_BOUND    polymer bridging the fines: the floc of yesterday's dose [kg]
 9    POLY_SPENT    polymer that does not work: not yet aged, decayed, badly mixed [kg]
 10   HEAT          volume times temperature [m3 degC]
====  ============  =====================================================================

* a **store** row holds amounts, a **stream** row amounts per second (what moved in this step), an
  **offer** row what a unit can give next: available volume [m3], then concentrations [kg/m3] and the
  temperature in place of HEAT, then the level above the unit's floor [m] and the density [kg/m3].
* Streams are written by the unit that moves the material in this step and read by the unit that gets it
  (and the one that loses it), so both sides book the same number.
* Positive stream: away from the unit that offers. A line that drains back writes a negative row.

Order of work in one tick: power and motors, instruments, control scan, alarms, actuators, flows (sources,
supplies, dosers, makedowns, lines, presses), splitters, clarifiers, vessels, cells, ledger, log.
"""

from __future__ import annotations

import numpy as np

VOLUME, COARSE, FINES, COLLOID, CLAY = 0, 1, 2, 3, 4
COAG, COAG_BOUND, POLY, POLY_BOUND, POLY_SPENT, HEAT = 5, 6, 7, 8, 9, 10
NS = 11
OFFER_LEVEL, OFFER_DENSITY = NS, NS + 1
NO = NS + 2
ROW_NAMES = (
    "volume", "coarse", "fines", "colloid", "clay", "coagulant", "coagulant_bound",
    "polymer", "polymer_bound", "polymer_spent", "heat",
)  # fmt: skip
# a parcel of a plug: volume, concentrations, temperature, mean time it entered [s], time up to which its
# reactions are booked [s]
PARCEL = NS + 2
PARCEL_TIME, PARCEL_SEEN = NS, NS + 1

# ledger rows: what crossed the plant's boundary, and the transfers inside it
(IN_FEED, IN_SUPPLY, IN_CHEMICAL, IN_RAIN,
 OUT_SPILL, OUT_DISCHARGE, OUT_EVAPORATION, OUT_PRODUCT, OUT_DUG, OUT_CAKE, OUT_SEEP,
 REACTION) = range(12)  # fmt: skip
LEDGER_ROWS = (
    "feed", "supply", "chemical", "rain",
    "spill", "discharge", "evaporation", "product", "dug", "cake", "seep", "reaction",
)  # fmt: skip
N_LEDGER = 12
LEDGER_SIGN = np.array([1.0, 1.0, 1.0, 1.0, -1.0, -1.0, -1.0, -1.0, -1.0, -1.0, -1.0, 1.0])

_MEANINGS: list[dict[str, tuple[str, str]]] = []


def _record(_name: str, *fields: tuple) -> np.dtype:
    """Build an aligned dtype from (field, type, unit, meaning[, length]) rows and note the units."""
    spec = [(f[0], f[1]) if len(f) == 4 else (f[0], f[1], (f[4],)) for f in fields]
    dtype = np.dtype(spec, align=True)
    _MEANINGS.append({f[0]: (f[2], f[3]) for f in fields})
    _DTYPES.append(dtype)
    return dtype


_DTYPES: list[np.dtype] = []


CLOCK = _record(
    "clock",
    ("tick", "i8", "-", "steps done since the start"),
    ("dt", "f8", "s", "length of one step"),
    ("start", "f8", "s", "calendar time of tick 0, seconds since Monday 00:00 of week 0 of the year"),
    ("status", "i8", "-", "0 or the fault that stopped the kernel: kind + 256 * unit"),
    ("warned", "i8", "-", "bit set of warnings met: see WARNINGS"),
    ("calm", "i8", "-", "1 = random wander and instrument noise off"),
    ("notes", "i8", "-", "changes of alarms noted so far in the ring alarm_log"),
    ("notes_read", "i8", "-", "changes taken from that ring so far"),
    ("notes_lost", "i8", "-", "changes that found the ring full"),
)

WEATHER_S = _record(
    "weather",
    ("air", "f8", "degC", "air temperature"),
    ("rain", "f8", "m/s", "rain rate"),
    ("evaporation", "f8", "m/s", "open-water evaporation rate, zero when frozen"),
    ("water", "f8", "degC", "temperature that ponds and make-up water drift to"),
)

MATERIAL_P = _record(
    "material",
    ("solids_density", "f8", "kg/m3", "density of the solids, all classes"),
    ("coag_demand", "f8", "kg/kg", "coagulant product for charge balance per kg of fines and colloid"),
    ("coag_demand_clay", "f8", "-", "rise of the demand when all fines are sticky clay"),
    ("coag_width", "f8", "-", "width of the dose window: charge left at which sticking falls to 1/e"),
    ("coag_capacity", "f8", "-", "coagulant the solids can hold, in demands"),
    ("coag_mix_time", "f8", "s", "time for coagulant to bind"),
    ("coag_time", "f8", "s", "time for colloid to join at best dose, 20 degC"),
    ("poly_optimum", "f8", "kg/kg", "bound polymer per kg fines at the fastest settling"),
    ("poly_optimum_clay", "f8", "-", "rise of that optimum when all fines are sticky clay"),
    ("poly_gain", "f8", "-", "settling speed at the optimum over that without polymer"),
    ("poly_time", "f8", "s", "time for polymer to bind"),
    ("poly_capacity", "f8", "-", "polymer the solids can hold, in optima"),
    ("poly_best_solids", "f8", "kg/m3", "feed solids at which flocculation works best"),
    ("poly_solids_width", "f8", "-", "width of that optimum in ln(solids)"),
    ("clay_slowing", "f8", "-", "times slower the solids settle when all fines are sticky clay"),
    ("ntu_fines", "f8", "NTU m3/kg", "turbidity per fines"),
    ("ntu_colloid", "f8", "NTU m3/kg", "turbidity per colloid"),
    ("ntu_coarse", "f8", "NTU m3/kg", "turbidity per coarse"),
    ("coarse_velocity", "f8", "m/s", "free settling speed of the coarse, 20 degC"),
    ("coarse_size", "f8", "m", "size that governs deposition in lines"),
    ("yield_a", "f8", "Pa", "yield stress a phi^b: a"),
    ("yield_b", "f8", "-", "yield stress a phi^b: b"),
    ("plastic_a", "f8", "-", "plastic viscosity over water's = exp(a phi): a"),
    ("sand_porosity", "f8", "-", "pore volume of settled sand"),
)

SOURCE_P = _record(
    "source",
    ("offer", "i8", "-", "offer row of the tank it draws wash water from, -1: water from outside"),
    ("draw", "i8", "-", "stream row of that draw, -1 if from outside"),
    ("out", "i8", "-", "stream row of the dirty water"),
    ("permit", "i8", "-", "tag that must be on for the plant to run, -1: none"),
    ("production", "f8", "kg/s", "dry feed washed when running"),
    ("wash_ratio", "f8", "m3/kg", "wash water per dry feed"),
    ("fines", "f8", "kg/kg", "fines and colloid per dry feed"),
    ("coarse", "f8", "kg/kg", "coarse carried off with the dirty water per dry feed"),
    ("colloid", "f8", "-", "colloid part of the fines"),
    ("moisture", "f8", "m3/kg", "water leaving with the washed product per dry feed"),
    ("ramp", "f8", "s", "time constant of start and stop"),
    ("low_water", "f8", "m3", "least water in the tank for the plant to run"),
    ("back_water", "f8", "m3", "water in the tank at which a plant stopped for water restarts"),
    ("temperature", "f8", "degC", "temperature of outside water"),
    ("wander_feed", "f8", "-", "standard deviation of the feed's random wander"),
    ("wander_fines", "f8", "-", "standard deviation of the fines' random wander"),
    ("wander_time", "f8", "s", "time constant of the wander"),
    ("series", "i8", "-", "first row of a measured series in the table pool (time, flow, solids), -1: none"),
    ("series_rows", "i8", "-", "rows of the series"),
)
SOURCE_S = _record(
    "source",
    ("on", "i8", "-", "the calendar says run (set by events)"),
    ("dry", "i8", "-", "stopped for want of water"),
    ("running", "i8", "-", "washing now"),
    ("load", "f8", "-", "present part of full production, ramped"),
    ("clay", "f8", "-", "sticky-clay part of the fines (set by events)"),
    ("feed_factor", "f8", "-", "factor on production (set by events)"),
    ("fines_factor", "f8", "-", "factor on fines (set by events)"),
    ("wander_feed", "f8", "-", "present wander of the feed"),
    ("wander_fines", "f8", "-", "present wander of the fines"),
    ("wander_steps", "i8", "-", "grid points of the wander passed"),
    ("row", "i8", "-", "row of the measured series in use"),
    ("flow", "f8", "m3/s", "dirty water leaving"),
    ("solids", "f8", "kg/s", "solids leaving with it"),
    ("concentration", "f8", "kg/m3", "solids in the dirty water"),
    ("washed", "f8", "kg", "dry feed washed so far"),
    ("run_time", "f8", "s", "time running"),
    ("dry_time", "f8", "s", "time stopped for want of water"),
    ("dry_stops", "i8", "-", "stops for want of water"),
    ("random", "i8", "-", "random state"),
)

SUPPLY_P = _record(
    "supply",
    ("out", "i8", "-", "stream row"),
    ("actuator", "i8", "-", "actuator that opens it, -1: always open"),
    ("capacity", "f8", "m3/s", "flow when open"),
    ("temperature", "f8", "degC", "temperature; follows the weather's water when below -90"),
    ("fines", "f8", "kg/m3", "fines carried"),
    ("colloid", "f8", "kg/m3", "colloid carried"),
)
SUPPLY_S = _record(
    "supply",
    ("flow", "f8", "m3/s", "present flow"),
    ("available", "f8", "-", "1 normally; 0 when the outside source fails (set by events)"),
    ("total", "f8", "m3", "volume given so far"),
)

VESSEL_P = _record(
    "vessel",
    ("inlets", "i8", "-", "first link of its inlet streams"),
    ("n_inlets", "i8", "-", "number of inlet streams"),
    ("outlets", "i8", "-", "first link of the streams drawn from it"),
    ("n_outlets", "i8", "-", "number of streams drawn from it"),
    ("spill", "i8", "-", "stream row that takes its overflow, -1: leaves the plant"),
    ("spill_ledger", "i8", "-", "ledger row when it leaves the plant: OUT_SPILL or OUT_DISCHARGE"),
    ("offer", "i8", "-", "its offer row"),
    ("table", "i8", "-", "first cell of its level table: level [m] on an even grid of volume"),
    ("n_table", "i8", "-", "points of the level table"),
    ("volume", "f8", "m3", "volume at the last point of the table"),
    ("floor_area", "f8", "m2", "plan area on which coarse settles"),
    ("open_area", "f8", "m2", "surface open to rain and evaporation"),
    ("suction_level", "f8", "m", "level below which nothing can be drawn"),
    ("weir_level", "f8", "m", "overflow crest"),
    ("weir_factor", "f8", "m^0.5/s", "weir flow = factor * width * head^1.5"),
    ("weir_width", "f8", "m", "crest width"),
    ("mixing", "f8", "-", "1 well mixed .. 0 still: part of coarse settling held up"),
    ("ambient_rate", "f8", "1/s", "rate at which its temperature drifts to the weather's water"),
    ("shear", "f8", "1/s", "mean velocity gradient; 0 means no reaction here"),
)
VESSEL_S = _record(
    "vessel",
    ("content", "f8", "m3, kg", "what is in it, suspended", NS),
    ("sand", "f8", "kg", "coarse settled on the floor"),
    ("sand_water", "f8", "m3", "water in the pores of that sand"),
    ("level", "f8", "m", "level of the surface"),
    ("active", "f8", "m3", "volume that can still be drawn"),
    ("inflow", "f8", "m3/s", "sum of its inlets"),
    ("outflow", "f8", "m3/s", "sum of what is drawn"),
    ("overflow", "f8", "m3/s", "over the weir"),
    ("spilled", "f8", "m3", "over the weir so far"),
    ("solids", "f8", "kg/m3", "suspended solids"),
    ("density", "f8", "kg/m3", "density"),
    ("turbidity", "f8", "NTU", "turbidity"),
    ("temperature", "f8", "degC", "temperature"),
    ("free_coag", "f8", "kg/m3", "coagulant in the water"),
    ("charge", "f8", "-", "bound coagulant over demand; 1 is balance"),
    ("evaporated", "f8", "m3", "evaporated so far"),
    ("dead", "f8", "m3", "volume below the suction level (from the parameters, set by refresh)"),
    ("crest", "f8", "m3", "volume at the overflow crest (from the parameters, set by refresh)"),
)

PLUG_P = _record(
    "plug",
    ("pool", "i8", "-", "first row in the parcel pool"),
    ("rows", "i8", "-", "rows it owns: its ring of parcels and, last, the row in which its inlet is mixed"),
    ("volume", "f8", "m3", "volume when full"),
    ("parcel", "f8", "m3", "nominal parcel volume"),
    ("mixing", "f8", "-", "exchange with each neighbour in one sweep: dispersion * every / (velocity * parcel length)"),
    ("every", "i8", "-", "parcels moved between sweeps; below 1 counts as 1"),
)
PLUG_S = _record(
    "plug",
    ("head", "i8", "-", "row of the parcel nearest the outlet, counted in its ring"),
    ("count", "i8", "-", "parcels held"),
    ("filled", "f8", "m3", "volume held; less than full when drained back"),
    ("moved", "f8", "m3", "volume moved since the last exchange between neighbours"),
    ("solids", "f8", "kg", "coarse, fines and colloid held"),
)

LINE_P = _record(
    "line",
    ("offer", "i8", "-", "offer row of the unit it draws from"),
    ("suction", "i8", "-", "stream row of the draw"),
    ("out", "i8", "-", "stream row it delivers to"),
    ("injections", "i8", "-", "first link of streams injected at its inlet"),
    ("n_injections", "i8", "-", "number of those"),
    ("plug", "i8", "-", "its plug"),
    ("branch", "i8", "-", "first of its parallel pump branches"),
    ("n_branches", "i8", "-", "number of branches; 0: gravity"),
    ("valve", "i8", "-", "actuator of its valve, -1: none"),
    ("gate", "i8", "-", "memory cell that must be above 0 for flow to leave, -1: none"),
    ("check_valve", "i8", "-", "1: no flow back; 0: the line can drain back"),
    ("length", "f8", "m", "length"),
    ("diameter", "f8", "m", "inner diameter"),
    ("roughness", "f8", "m", "wall roughness"),
    ("lift", "f8", "m", "discharge above the floor of the unit it draws from; negative: falls"),
    ("minor", "f8", "-", "sum of loss coefficients"),
    ("valve_kv", "f8", "m3/h", "flow at 1 bar with the valve wide open"),
    ("valve_range", "f8", "-", "equal-percentage rangeability; 0: linear"),
    ("bingham", "i8", "-", "1: friction of a Bingham mud from the solids; 0: Newtonian slurry"),
    ("deposit_factor", "f8", "-", "limit-velocity factor F_L of the coarse"),
    ("lift_rate", "f8", "1/s", "rate at which a bed is picked up again per unit of excess speed"),
    ("plug_fraction", "f8", "-", "part of the bore filled at which the line is plugged"),
    ("yield_limit", "f8", "Pa", "yield stress of standing mud at which it can plug"),
)
LINE_S = _record(
    "line",
    ("flow", "f8", "m3/s", "flow in the line, positive to the outlet"),
    ("delivered", "f8", "m3/s", "flow leaving the outlet (zero until a drained line is full again)"),
    ("velocity", "f8", "m/s", "mean velocity"),
    ("pump_head", "f8", "m", "head given by the pumps"),
    ("static_head", "f8", "m", "head to lift the present column"),
    ("friction_head", "f8", "m", "head lost"),
    ("pressure", "f8", "Pa", "gauge pressure behind the pumps"),
    ("suction_pressure", "f8", "Pa", "gauge pressure before the pumps"),
    ("suction_margin", "f8", "m", "head available at the suction less the head required"),
    ("density", "f8", "kg/m3", "density of what the pumps take"),
    ("solids", "f8", "kg/m3", "solids of what the pumps take"),
    ("solids_fraction", "f8", "-", "mass fraction of solids of what the pumps take"),
    ("out_density", "f8", "kg/m3", "density leaving"),
    ("out_solids", "f8", "kg/m3", "solids leaving"),
    ("limit_velocity", "f8", "m/s", "velocity below which coarse settles in the line"),
    ("deposit", "f8", "kg", "coarse lying in the line"),
    ("deposit_water", "f8", "m3", "water in its pores"),
    ("blockage", "f8", "-", "part of the bore filled by the bed"),
    ("plugged", "f8", "-", "1 when plugged; needs flushing or rodding"),
    ("standing", "f8", "s", "time without flow"),
    ("transit", "f8", "s", "age of what is leaving now"),
    ("pumped", "f8", "m3", "volume delivered so far"),
    ("drained", "f8", "m3", "volume drained back so far"),
    ("slow_time", "f8", "s", "time flowing below the limit velocity"),
    ("friction_factor", "f8", "-", "Darcy friction factor of the last step"),
    ("reynolds", "f8", "-", "Reynolds number for which that factor was found"),
    ("mud", "f8", "-", "solids by volume for which the mud's yield stress and thickening were found"),
    ("mud_yield", "f8", "Pa", "yield stress of that mud"),
    ("mud_thickening", "f8", "-", "plastic viscosity of that mud over that of its water"),
    ("charge", "f8", "-", "bound coagulant over demand of what is leaving"),
    ("out_coag", "f8", "kg/m3", "coagulant, free and bound, leaving"),
)
LINE_F = _record(
    "line",
    ("block", "f8", "-", "extra blockage of the bore, 0..1"),
    ("leak", "f8", "-", "part of the delivered flow lost"),
)

BRANCH_P = _record(
    "branch",
    ("pump", "i8", "-", "first of its pumps, in series"),
    ("n_pumps", "i8", "-", "number of pumps in series"),
    ("check_valve", "i8", "-", "1: no flow back through this branch"),
)
BRANCH_S = _record(
    "branch",
    ("flow", "f8", "m3/s", "flow through the branch"),
    ("head", "f8", "m", "head given by its pumps together"),
    ("slope", "f8", "s/m2", "fall of that head with flow; 0: shut by its check valve"),
)
PUMP_P = _record(
    "pump",
    ("motor", "i8", "-", "its motor"),
    ("curve", "i8", "-", "first cell of its curve in the table pool: flows, heads, efficiencies, suction heads"),
    ("points", "i8", "-", "points of the curve; the four columns follow one another"),
    ("derate", "f8", "-", "head lost per volume fraction of solids"),
    ("stopped_k", "f8", "s2/m5", "head over flow squared of the stopped pump"),
    ("min_flow", "f8", "m3/s", "least flow for continuous running at full speed"),
)
PUMP_S = _record(
    "pump",
    ("flow", "f8", "m3/s", "flow"),
    ("head", "f8", "m", "head given"),
    ("power", "f8", "W", "shaft power"),
    ("efficiency", "f8", "-", "pump efficiency"),
    ("low_flow_time", "f8", "s", "time running below the least flow"),
    ("cavitation_time", "f8", "s", "time running short of suction head"),
    ("cavitation", "f8", "-", "part of the head lost to vapour"),
)
PUMP_F = _record(
    "pump",
    ("wear", "f8", "-", "head lost by wear, 0..1"),
    ("clog", "f8", "-", "flow lost by a clogged impeller, 0..1"),
)

MOTOR_P = _record(
    "motor",
    ("run_tag", "i8", "-", "tag that asks it to run"),
    ("reset_tag", "i8", "-", "tag that resets a trip, -1: none"),
    ("speed_actuator", "i8", "-", "actuator that gives the speed, -1: direct on line"),
    ("bus", "i8", "-", "power bus"),
    ("ramp_up", "f8", "s", "time from rest to full speed"),
    ("ramp_down", "f8", "s", "time from full speed to rest"),
    ("ride_through", "f8", "s", "longest dip it runs through"),
    ("restart", "i8", "-", "after a dip: 0 stays out until reset, 1 comes back by itself"),
    ("restart_delay", "f8", "s", "wait before it comes back"),
    ("min_rest", "f8", "s", "rest between stop and start"),
    ("max_starts", "f8", "1/h", "starts allowed in a sliding hour; a further one is held back; 0: no limit"),
    ("rated", "f8", "W", "rated shaft power"),
    ("efficiency", "f8", "-", "motor and drive efficiency"),
    ("idle", "f8", "W", "shaft power when it carries no computed load"),
)
N_STARTS = 32
MOTOR_S = _record(
    "motor",
    ("running", "i8", "-", "energised"),
    ("tripped", "i8", "-", "tripped, waits for reset"),
    ("held", "i8", "-", "asked to run but held by rest time, starts or restart delay"),
    ("speed", "f8", "-", "speed over rated"),
    ("load", "f8", "W", "shaft power asked by what it drives"),
    ("power", "f8", "W", "electric power"),
    ("current", "f8", "-", "current over rated"),
    ("energy", "f8", "J", "electric energy so far"),
    ("starts", "i8", "-", "starts so far"),
    ("run_time", "f8", "s", "time running"),
    ("stopped_for", "f8", "s", "time since the last stop"),
    ("dip_time", "f8", "s", "length of the present dip"),
    ("wait", "f8", "s", "restart delay left"),
    ("last_run", "i8", "-", "run request of the last step"),
    ("last_reset", "i8", "-", "reset request of the last step"),
    ("next_start", "i8", "-", "place in the ring of start times"),
    ("start_times", "f8", "s", "ring of the last start times", N_STARTS),
    ("starts_hour", "f8", "1/h", "starts in the last hour"),
    ("hour_max", "f8", "1/h", "most starts in any sliding hour so far"),
    ("held_time", "f8", "s", "time asked to run but held"),
)
MOTOR_F = _record(
    "motor",
    ("trip", "i8", "-", "1: trips now and cannot be reset while it stands"),
    ("no_start", "i8", "-", "1: does not start when asked"),
    ("stuck_on", "i8", "-", "1: does not stop when asked"),
)

BUS_S = _record(
    "bus",
    ("live", "i8", "-", "1: voltage is there (set by events)"),
    ("dead_time", "f8", "s", "time without voltage so far"),
    ("power", "f8", "W", "sum of its motors"),
)

ACTUATOR_P = _record(
    "actuator",
    ("tag", "i8", "-", "tag that holds its command"),
    ("scale", "f8", "-", "command in the tag's unit times this is a fraction of full travel"),
    ("rate", "f8", "1/s", "fastest travel"),
    ("deadband", "f8", "-", "smallest change it follows"),
    ("stiction", "f8", "-", "jump needed to break loose after rest"),
    ("resolution", "f8", "-", "step of its positioner"),
    ("minimum", "f8", "-", "least position when asked above zero"),
    ("fail", "f8", "-", "position it goes to without power or air; below 0: stays"),
    ("bus", "i8", "-", "power bus, -1: none"),
)
ACTUATOR_S = _record(
    "actuator",
    ("position", "f8", "-", "position, fraction of full travel"),
    ("target", "f8", "-", "command it follows now"),
    ("travel", "f8", "-", "sum of all movement"),
    ("reversals", "i8", "-", "changes of direction"),
    ("direction", "f8", "-", "direction of the last movement"),
    ("moving", "i8", "-", "1: broken loose and on its way; 0: at rest"),
)
ACTUATOR_F = _record(
    "actuator",
    ("stuck", "i8", "-", "1: does not move"),
    ("lost_air", "i8", "-", "1: goes to its fail position"),
)

# what an instrument looks at
SENSE_LINEAR, SENSE_DIGITAL, SENSE_OPTICAL = 0, 1, 2
INSTRUMENT_P = _record(
    "instrument",
    ("kind", "i8", "-", "SENSE_LINEAR, SENSE_DIGITAL (on above threshold) or SENSE_OPTICAL (saturates)"),
    ("cell", "i8", "-", "memory cell of the true value"),
    ("integer", "i8", "-", "1: that cell holds an integer"),
    ("tag", "i8", "-", "tag it writes"),
    ("scale", "f8", "-", "true value times scale plus offset is in the tag's unit"),
    ("offset", "f8", "-", "see scale"),
    ("low", "f8", "-", "lower end of range, tag's unit"),
    ("high", "f8", "-", "upper end of range, tag's unit"),
    ("every", "i8", "ticks", "sample interval"),
    ("lag", "f8", "s", "first-order lag"),
    ("noise", "f8", "-", "standard deviation, part of span"),
    ("resolution", "f8", "-", "step of its output, part of span"),
    ("threshold", "f8", "-", "switching point of a digital, SI"),
    ("deadband", "f8", "-", "switching hysteresis of a digital, SI"),
    ("saturation", "f8", "-", "optical: reading = saturation (1 - exp(-true/saturation)), tag's unit; 0: none"),
    ("fouling_rate", "f8", "1/s", "growth of fouling bias, part of span per second"),
    ("clean_every", "f8", "s", "automatic cleaning interval, 0: none"),
    ("flow_cell", "i8", "-", "memory cell of the flow in the sample line, -1: none; bubbles come at low flow"),
    ("flow_low", "f8", "-", "flow below which bubbles come"),
)
INSTRUMENT_S = _record(
    "instrument",
    ("true", "f8", "-", "true value, tag's unit"),
    ("lagged", "f8", "-", "true value behind the lag"),
    ("fouling", "f8", "-", "fouling bias, part of span"),
    ("drift", "f8", "-", "drift, part of span"),
    ("cleaned", "f8", "s", "time since cleaning"),
    ("reading", "f8", "-", "what it last wrote"),
    ("random", "i8", "-", "random state"),
    ("started", "i8", "-", "0 until the first sample"),
    ("contact", "i8", "-", "digital: 1 while its contact is made"),
    ("due", "i8", "ticks", "tick of the next sample"),
    ("gain", "f8", "-", "part of the way the lag goes in one sample, kept to save an exponential"),
    ("gain_lag", "f8", "s", "lag for which that holds"),
    ("gain_every", "i8", "ticks", "sample interval for which that holds"),
)
INSTRUMENT_F = _record(
    "instrument",
    ("stuck", "i8", "-", "1: holds its last reading"),
    ("lost", "i8", "-", "1: signal lost, reads below range"),
    ("drift_rate", "f8", "1/s", "drift, part of span per second"),
    ("bias", "f8", "-", "bias, part of span"),
    ("fouling_factor", "f8", "-", "factor on the fouling rate, 1 normally"),
    ("spikes", "f8", "-", "chance of a spike at each sample"),
    ("bubbles", "f8", "-", "chance of a bubble at each sample"),
    ("noise_factor", "f8", "-", "factor on the noise, 1 normally"),
)

DOSER_P = _record(
    "doser",
    ("out", "i8", "-", "stream row it delivers to"),
    ("substance", "i8", "-", "COAG: from its own tote; POLY: from a makedown or its own tote"),
    ("offer", "i8", "-", "offer row of the makedown it draws from, -1: its own tote"),
    ("draw", "i8", "-", "stream row of that draw, -1"),
    ("motor", "i8", "-", "its motor"),
    ("stroke", "i8", "-", "actuator of stroke or speed; motor speed when -1"),
    ("capacity", "f8", "m3/s", "neat flow at full stroke and speed"),
    ("turndown", "f8", "-", "least fraction it can hold; below it gives nothing"),
    ("resolution", "f8", "-", "step of the fraction"),
    ("calibration", "f8", "-", "true over nominal flow"),
    ("strength", "f8", "kg/m3", "product (coagulant) or dry polymer in the tote"),
    ("tote", "f8", "m3", "tote volume when full"),
    ("plug", "i8", "-", "plug of its dosing line, -1: none"),
    ("water_offer", "i8", "-", "offer row of its dilution water, -1: none"),
    ("water_draw", "i8", "-", "stream row of that draw"),
    ("water_flow", "f8", "m3/s", "dilution water flow with a clean filter"),
    ("water_ratio", "f8", "-", "dilution water per neat flow; 0: the fixed flow above"),
    ("filter_load", "f8", "kg", "solids that halve the dilution flow"),
    ("filter_actuator", "i8", "-", "tag whose rise changes the filter, -1: none"),
    ("good_dilution", "f8", "-", "dilution ratio for full dispersion; less wastes part of the polymer"),
    ("purity", "f8", "-", "active part of a polymer tote"),
)
DOSER_S = _record(
    "doser",
    ("store", "f8", "m3", "left in the tote"),
    ("neat", "f8", "m3/s", "neat flow"),
    ("water", "f8", "m3/s", "dilution water flow"),
    ("dose", "f8", "kg/s", "product delivered at the point of injection"),
    ("dosed", "f8", "kg", "product pumped so far"),
    ("filter", "f8", "kg", "clogging load of the dilution filter, in kg of ordinary solids"),
    ("filtered", "f8", "m3, kg", "what the dilution filter holds back", NS),
    ("filter_tag", "i8", "-", "filter-change tag of the last step"),
    ("filter_drop", "f8", "-", "flow resistance of the filter over clean"),
    ("strength", "f8", "kg/m3", "strength now pumped"),
    ("spent", "f8", "m3", "neat volume pumped so far"),
)
DOSER_F = _record(
    "doser",
    ("air_lock", "i8", "-", "1: loss of prime, runs but gives nothing"),
    ("calibration", "f8", "-", "further factor on the flow, 1 normally"),
    ("filter_factor", "f8", "-", "factor on filter clogging, 1 normally"),
)

# states of a batch
IDLE, FILL, WET, MIX, READY, TRANSFER = 0, 1, 2, 3, 4, 5
MAKEDOWN_P = _record(
    "makedown",
    ("offer", "i8", "-", "offer row of its day tank"),
    ("outlets", "i8", "-", "first link of the streams drawn from the day tank"),
    ("n_outlets", "i8", "-", "number of those"),
    ("water_offer", "i8", "-", "offer row of its water, -1: mains water from outside"),
    ("water_draw", "i8", "-", "stream row of that draw, -1"),
    ("permit", "i8", "-", "tag that allows a batch to start, -1: by itself on day-tank level"),
    ("batch", "f8", "m3", "batch volume"),
    ("strength", "f8", "kg/m3", "dry polymer per batch volume"),
    ("fill_flow", "f8", "m3/s", "water flow while filling"),
    ("wet_time", "f8", "s", "powder feed time"),
    ("mix_time", "f8", "s", "mixing and ageing time before transfer"),
    ("transfer_flow", "f8", "m3/s", "transfer flow"),
    ("day_tank", "f8", "m3", "day-tank volume"),
    ("start_level", "f8", "-", "day-tank fraction that calls for a batch"),
    ("age_time", "f8", "s", "time constant of ageing at 20 degC"),
    ("half_life", "f8", "s", "half-life of aged polymer at 20 degC"),
    ("store", "f8", "kg", "powder (or liquid polymer) in a full store"),
    ("water_temperature", "f8", "degC", "temperature of mains water"),
    ("liquid", "i8", "-", "1: liquid polymer, no wetting, short ageing"),
)
MAKEDOWN_S = _record(
    "makedown",
    ("state", "i8", "-", "IDLE, FILL, WET, MIX, READY, TRANSFER"),
    ("timer", "f8", "s", "time in this state"),
    ("powder", "f8", "kg", "left in the store"),
    ("tank", "f8", "m3, kg", "batch tank", NS),
    ("day", "f8", "m3, kg", "day tank", NS),
    ("unaged", "f8", "kg", "polymer in the batch tank that can still become active"),
    ("day_unaged", "f8", "kg", "the same in the day tank"),
    ("level", "f8", "-", "day-tank fraction"),
    ("activity", "f8", "-", "active part of the day tank's polymer"),
    ("batches", "i8", "-", "batches made"),
    ("starved", "f8", "s", "time with an empty day tank"),
)
MAKEDOWN_F = _record(
    "makedown",
    ("bridging", "f8", "-", "part of the powder feed lost to bridging, 0..1"),
    ("fish_eyes", "f8", "-", "part of the powder that never dissolves, 0..1"),
    ("mix_factor", "f8", "-", "factor on the mixing time, 1 normally"),
)

SPLITTER_P = _record(
    "splitter",
    ("inlets", "i8", "-", "first link of its inlet streams"),
    ("n_inlets", "i8", "-", "number of inlet streams"),
    ("outs", "i8", "-", "first link of its outlet streams"),
    ("n_outs", "i8", "-", "number of outlet streams"),
    ("weights", "i8", "-", "first cell of the fixed weights in the table pool"),
    ("actuators", "i8", "-", "first link of the actuators that scale the weights, -1: none"),
)
SPLITTER_S = _record("splitter", ("flow", "f8", "m3/s", "flow through it"))

MOST_LAYERS = 400  # of a clarifier
N_SCRATCH = 10752  # numbers of work space a clarifier of so many layers needs
CLARIFIER_P = _record(
    "clarifier",
    ("inlets", "i8", "-", "first link of its feed streams"),
    ("n_inlets", "i8", "-", "number of feed streams"),
    ("outlets", "i8", "-", "first link of the streams drawn as underflow"),
    ("n_outlets", "i8", "-", "number of those"),
    ("overflow", "i8", "-", "stream row of the overflow"),
    ("offer", "i8", "-", "offer row of the underflow"),
    ("layers", "i8", "-", "number of layers, top first"),
    ("feed_layer", "i8", "-", "layer that takes the feed"),
    ("pool", "i8", "-", "first cell in the layer pool: NS blocks of `layers` concentrations; block 0: coarse + fines"),
    ("areas", "i8", "-", "first cell of the layers' plan areas in the table pool: layers + 1 interfaces"),
    ("volumes", "i8", "-", "first cell of the layers' volumes in the table pool"),
    ("height", "f8", "m", "height of one layer"),
    ("radius", "f8", "m", "radius at the wall"),
    ("flux", "i8", "-", "first cell of the settling flux f(C) [kg/(m2 s)] at 20 degC without polymer"),
    ("compression", "i8", "-", "first cell of the compression function A(C) [kg/(m s)] at the same"),
    ("n_flux", "i8", "-", "points of each table, even in C from 0 to c_max"),
    ("c_max", "f8", "kg/m3", "last concentration of the tables"),
    ("c_hat", "f8", "kg/m3", "concentration of the greatest flux"),
    ("c_gel", "f8", "kg/m3", "gel point: the bed carries itself above it"),
    ("capture", "f8", "kg/m3", "solids below which flocs no longer sweep the fines: haze; 0: none"),
    ("feedwell", "f8", "m3", "volume in which polymer meets the feed"),
    ("shear", "f8", "1/s", "mean velocity gradient there; 0 means no reaction there"),
    ("broken", "f8", "-", "part of the polymer that the shear there keeps from bridging"),
    ("rake_motor", "i8", "-", "motor of the rake, -1: none"),
    ("rake_lift", "i8", "-", "actuator of the rake lift, -1: none"),
    ("rake_blade", "f8", "m", "height of bed the rake works in when down"),
    ("rake_travel", "f8", "m", "height to which the lift at full travel raises the rake"),
    ("rake_period", "f8", "s", "time of one turn of the rake"),
    ("torque_limit", "f8", "N m", "torque called 100 %; 0: no rake"),
    ("torque_trip", "f8", "-", "torque fraction at which the rake trips"),
    ("channel_flux", "f8", "m/s", "downward speed at the bottom above which water channels through"),
    ("channel_time", "f8", "s", "time for a channel to open"),
    ("heal_time", "f8", "s", "time for a channel to close"),
    ("pack_time", "f8", "s", "time for a bed to set when the rake stands"),
    ("pack_gain", "f8", "-", "torque factor of a bed fully set, less one"),
    ("ambient_rate", "f8", "1/s", "rate at which the clear zone drifts to the weather's water"),
    ("open_area", "f8", "m2", "surface open to rain and evaporation"),
    ("rigid", "i8", "-", "1: plain settler for numerical checks: no reaction, floc state or temperature effect"),
    ("every", "i8", "-", "ticks to one step of its layers; below 1 counts as 1"),
)
CLARIFIER_S = _record(
    "clarifier",
    ("top", "i8", "-", "highest layer that holds water"),
    ("top_volume", "f8", "m3", "volume in that layer"),
    ("feed_flow", "f8", "m3/s", "feed"),
    ("feed_solids", "f8", "kg/s", "solids fed"),
    ("overflow", "f8", "m3/s", "overflow"),
    ("underflow", "f8", "m3/s", "underflow drawn"),
    ("overflow_solids", "f8", "kg/m3", "suspended solids in the overflow"),
    ("turbidity", "f8", "NTU", "turbidity of the overflow"),
    ("underflow_solids", "f8", "kg/m3", "solids of the underflow"),
    ("underflow_fraction", "f8", "-", "mass fraction of solids of the underflow"),
    ("underflow_density", "f8", "kg/m3", "density of the underflow"),
    ("bed_level", "f8", "m", "top of the bed above the cone bottom"),
    ("mud_level", "f8", "m", "level of the first haze line: 10 kg/m3"),
    ("bed_mass", "f8", "kg", "solids in the bed"),
    ("inventory", "f8", "kg", "solids in the whole tank, colloid included"),
    ("volume", "f8", "m3", "what the whole tank holds"),
    ("bed_pressure", "f8", "Pa", "pressure at the bottom above that of clear water"),
    ("yield_stress", "f8", "Pa", "yield stress at the bottom"),
    ("torque", "f8", "-", "rake torque over its limit"),
    ("torque_tripped", "i8", "-", "1: rake stopped by torque; reset by the motor's reset"),
    ("channel", "f8", "-", "part of the underflow that is channelled water"),
    ("packing", "f8", "-", "how far the bed has set, 0..1"),
    ("rake_height", "f8", "m", "rake lifted above its lowest place"),
    ("rake_turn", "f8", "-", "where the rake stands in its turn, 0..1"),
    ("settling_factor", "f8", "-", "settling speed of the feed over that without polymer"),
    ("temperature", "f8", "degC", "temperature of the overflow"),
    ("level", "f8", "m", "water level above the cone bottom"),
    ("solids_lost", "f8", "kg", "solids over the weir so far"),
    ("out_volume", "f8", "m3", "overflow so far"),
    ("under_volume", "f8", "m3", "underflow so far"),
    ("under_solids", "f8", "kg", "solids drawn so far"),
    ("waited", "i8", "-", "ticks since the last step of its layers"),
    ("fed", "f8", "m3, kg", "what was fed since", NS),
    ("drawn", "f8", "m3, kg", "what was drawn as underflow since", NS),
    ("spilt", "f8", "m3", "what flowed over the weir since"),
)
CLARIFIER_F = _record(
    "clarifier",
    ("island", "f8", "-", "extra cyclic torque of mud stuck to the rake, part of the limit"),
)

# states of a mud cell
CELL_READY, CELL_FILL, CELL_DRAIN, CELL_DRY, CELL_DIG, CELL_LOST = 0, 1, 2, 3, 4, 5
BANK_P = _record(
    "bank",
    ("inlet", "i8", "-", "stream row of the mud"),
    ("decant", "i8", "-", "stream row of the released water, -1: leaves the plant"),
    ("cell", "i8", "-", "first of its cells"),
    ("n_cells", "i8", "-", "number of cells"),
    ("every", "i8", "ticks", "interval of the slow physics"),
)
BANK_S = _record(
    "bank",
    ("opening", "f8", "-", "sum of the cells' valve openings: the gate of the mud line"),
    ("filling", "f8", "-", "number of the cell being filled, 1 is the first; 0: none"),
    ("decant_flow", "f8", "m3/s", "water released now"),
    ("ready", "f8", "-", "cells that may be filled"),
    ("overtopped", "f8", "m3", "mud over the wall so far"),
    ("due", "i8", "ticks", "steps done when the next slow step falls due"),
)
CELL_P = _record(
    "cell",
    ("valve", "i8", "-", "actuator of its inlet valve"),
    ("area", "f8", "m2", "plan area"),
    ("depth", "f8", "m", "depth to the wall's crest"),
    ("freeboard", "f8", "m", "freeboard at which it counts as full"),
    ("lift", "f8", "m", "lift thickness wanted in one filling"),
    ("decant_rate", "f8", "1/s", "rate at which ponded water is let off"),
    ("decant_solids", "f8", "-", "fines in the water the mud sets free over fines in the mud, both per volume"),
    ("consolidation", "f8", "m2/s", "coefficient of consolidation"),
    ("gel_void", "f8", "-", "void ratio at which fresh mud carries itself: thinner sheds water at once; 0: any"),
    ("final_void", "f8", "-", "void ratio at the end of self-weight consolidation"),
    ("shrink_void", "f8", "-", "void ratio at which drying slows"),
    ("dry_void", "f8", "-", "void ratio at which drying ends"),
    ("liquid_limit", "f8", "-", "liquid limit, water mass per solids mass"),
    ("plastic_limit", "f8", "-", "plastic limit"),
    ("liquid_strength", "f8", "Pa", "undrained strength at the liquid limit"),
    ("dig_strength", "f8", "Pa", "strength at which the digger can start"),
    ("dig_rate", "f8", "m3/s", "bulk volume dug out"),
    ("seep", "f8", "m/s", "seepage through the floor while water stands"),
    ("drain_time", "f8", "s", "rest after filling before it counts as drying"),
)
CELL_S = _record(
    "cell",
    ("state", "i8", "-", "CELL_READY, FILL, DRAIN, DRY, DIG, LOST"),
    ("timer", "f8", "s", "time in this state"),
    ("mud", "f8", "m3, kg", "mud, its pore water included", NS),
    ("pond", "f8", "m3, kg", "free water on it", NS),
    ("buffer", "f8", "m3, kg", "mud received since the last slow step", NS),
    ("start_void", "f8", "-", "void ratio at which consolidation began, mean over the lifts"),
    ("end_void", "f8", "-", "void ratio at which it will end, mean over the lifts: less where an old lift is dry"),
    ("consolidated", "f8", "-", "degree of consolidation"),
    ("void", "f8", "-", "void ratio"),
    ("height", "f8", "m", "height of mud and pond"),
    ("mud_height", "f8", "m", "height of mud"),
    ("water_content", "f8", "-", "water mass per solids mass"),
    ("solids_fraction", "f8", "-", "mass fraction of solids"),
    ("strength", "f8", "Pa", "undrained strength; never a permission to enter"),
    ("digging", "i8", "-", "1: the crew is here (set by events)"),
    ("full", "f8", "-", "1: freeboard reached"),
    ("ready", "f8", "-", "1: may be filled: empty, or dried with room for another lift"),
    ("overtopped", "f8", "m3", "over the wall so far"),
    ("fills", "i8", "-", "fillings so far"),
    ("release", "f8", "m3/s, kg/s", "let off from the pond, even until the next slow step", NS),
)
CELL_F = _record(
    "cell",
    ("leak", "f8", "m3/s", "flow through a damaged wall"),
)

# states of a press
PRESS_WAIT, PRESS_FILL, PRESS_SQUEEZE, PRESS_OPEN = 0, 1, 2, 3
PRESS_P = _record(
    "press",
    ("offer", "i8", "-", "offer row of the mud tank it draws from"),
    ("draw", "i8", "-", "stream row of that draw"),
    ("filtrate", "i8", "-", "stream row of the filtrate"),
    ("permit", "i8", "-", "tag that allows a cycle to start, -1: always"),
    ("motor", "i8", "-", "motor of its feed pump"),
    ("chambers", "f8", "m3", "volume of the chambers"),
    ("area", "f8", "m2", "filter area"),
    ("pressure", "f8", "Pa", "feed pressure"),
    ("max_flow", "f8", "m3/s", "flow of the feed pump against no pressure"),
    ("cake_resistance", "f8", "m/kg", "specific cake resistance"),
    ("cloth_resistance", "f8", "1/m", "cloth resistance"),
    ("cake_fraction", "f8", "-", "mass fraction of solids in the cake"),
    ("squeeze_time", "f8", "s", "squeezing and blowing"),
    ("open_time", "f8", "s", "opening, dropping and closing"),
    ("fill_limit", "f8", "s", "longest filling"),
    ("start_volume", "f8", "m3", "mud in the tank that starts a cycle"),
    ("filtrate_solids", "f8", "-", "part of the fines that passes the cloth"),
)
PRESS_S = _record(
    "press",
    ("state", "i8", "-", "PRESS_WAIT, FILL, SQUEEZE, OPEN"),
    ("timer", "f8", "s", "time in this state"),
    ("held", "f8", "m3, kg", "what is in the chambers", NS),
    ("flow", "f8", "m3/s", "mud taken"),
    ("filtrate_flow", "f8", "m3/s", "filtrate given"),
    ("cycles", "i8", "-", "cycles done"),
    ("cake", "f8", "kg", "dry solids dropped so far"),
    ("cake_volume", "f8", "m3", "cake volume dropped so far"),
)

PROGRAM_P = _record(
    "program",
    ("pc", "i8", "-", "its first instruction"),
    ("base", "i8", "-", "its first memory cell"),
    ("every", "i8", "ticks", "task interval; at least one step"),
    ("repeat", "i8", "-", "scans per step when the task is faster than the plant step"),
    ("cycle_ms", "i8", "ms", "task interval it is told"),
    ("copies_in", "i8", "-", "first of its input copies"),
    ("n_in", "i8", "-", "number of input copies"),
    ("copies_out", "i8", "-", "first of its output copies"),
    ("n_out", "i8", "-", "number of output copies"),
    ("budget", "i8", "-", "most instructions in one scan"),
)
PROGRAM_S = _record(
    "program",
    ("status", "i8", "-", "0 or the fault that stopped it"),
    ("scans", "i8", "-", "scans done"),
    ("due", "i8", "-", "tick of its next scan"),
)
# how a copy between the tag image and a program's memory converts
COPY_REAL, COPY_BOOL, COPY_INT = 0, 1, 2
COPY_P = _record(
    "copy",
    ("tag", "i8", "-", "tag"),
    ("cell", "i8", "-", "memory cell of the program's variable"),
    ("kind", "i8", "-", "COPY_REAL (single precision), COPY_BOOL, COPY_INT"),
    ("scale", "f8", "-", "tag value times scale plus offset is the program's value (in); inverse (out)"),
    ("offset", "f8", "-", "see scale"),
)

# states of an alarm, as in the state diagram of ISA-18.2 and IEC 62682
(ALARM_NORMAL, ALARM_UNACKED, ALARM_ACKED, ALARM_RETURNED, ALARM_LATCHED_UNACKED, ALARM_LATCHED_ACKED,
 ALARM_SHELVED, ALARM_SUPPRESSED, ALARM_OUT) = range(9)  # fmt: skip
ALARM_STATES = (
    "normal", "unacknowledged", "acknowledged", "returned unacknowledged", "latched unacknowledged",
    "latched acknowledged", "shelved", "suppressed by design", "out of service",
)  # fmt: skip
ALARM_P = _record(
    "alarm",
    ("cell", "i8", "-", "memory cell it looks at"),
    ("integer", "i8", "-", "1: that cell holds an integer"),
    ("sign", "f8", "-", "1: comes above its limit; -1: below; limit and clear are taken times this"),
    ("limit", "f8", "-", "limit times sign, in the unit of the cell: the condition is true beyond it"),
    ("clear", "f8", "-", "limit less deadband, likewise: once active the condition is true beyond this"),
    ("on_delay", "i8", "ticks", "time the condition must hold before the alarm comes"),
    ("off_delay", "i8", "ticks", "time the condition must be gone before the alarm returns"),
    ("every", "i8", "ticks", "interval at which it is looked at"),
    ("hush", "i8", "-", "memory cell whose condition suppresses it by design, -1: none"),
    ("hush_integer", "i8", "-", "1: that cell holds an integer"),
    ("hush_sign", "f8", "-", "1: suppressed while above hush_limit; -1: below; hush_limit is taken times this"),
    ("hush_limit", "f8", "-", "limit of that condition times hush_sign"),
    ("hush_after", "i8", "ticks", "time for which it stays suppressed when that condition has gone"),
    ("latching", "i8", "-", "1: stands after the condition has gone, until it is reset"),
    ("group", "i8", "-", "first-out group, -1: none"),
)
ALARM_S = _record(
    "alarm",
    ("due", "i8", "ticks", "steps done when it is looked at next"),
    ("state", "i8", "-", "ALARM_NORMAL .. ALARM_OUT"),
    ("active", "i8", "-", "1: its condition is true, delays counted"),
    ("since", "i8", "ticks", "tick since which the condition differs from `active`; -1: it does not"),
    ("out", "i8", "-", "1: taken out of service"),
    ("shelved_until", "i8", "ticks", "tick at which it comes off the shelf; 0: not shelved"),
    ("hushed_until", "i8", "ticks", "tick up to which it is suppressed by design, as known so far"),
    ("first", "i8", "-", "1: came first in its group, when the group last began"),
    ("changed", "i8", "ticks", "tick of the last change of state"),
    ("count", "i8", "-", "times it was annunciated so far"),
)
ALARM_LOG = _record(
    "alarm_log",
    ("tick", "i8", "ticks", "tick of the change"),
    ("alarm", "i8", "-", "which alarm"),
    ("before", "i8", "-", "state before"),
    ("after", "i8", "-", "state after"),
    ("first", "i8", "-", "1: it is the first of its group"),
    ("value", "f8", "-", "what it looked at, in the unit of the cell"),
)
AGENDA_S = _record(
    "agenda",
    ("due", "i8", "ticks", "tick of the next event of this process; -1: none"),
    ("count", "i8", "-", "events done: with the seed and the process number it keys the random draw"),
    ("mark", "f8", "-", "one number a process may keep"),
)

KINDS: tuple[tuple[str, str, np.dtype | int], ...] = tuple(
    (name, segment, dtype)
    for name, segment, dtype in (
        ("clock", "state", CLOCK),
        ("weather", "state", WEATHER_S),
        ("material", "param", MATERIAL_P),
        ("source_p", "param", SOURCE_P), ("source_s", "state", SOURCE_S),
        ("supply_p", "param", SUPPLY_P), ("supply_s", "state", SUPPLY_S),
        ("vessel_p", "param", VESSEL_P), ("vessel_s", "state", VESSEL_S),
        ("plug_p", "param", PLUG_P), ("plug_s", "state", PLUG_S),
        ("line_p", "param", LINE_P), ("line_s", "state", LINE_S), ("line_f", "fault", LINE_F),
        ("branch_p", "param", BRANCH_P), ("branch_s", "state", BRANCH_S),
        ("pump_p", "param", PUMP_P), ("pump_s", "state", PUMP_S), ("pump_f", "fault", PUMP_F),
        ("motor_p", "param", MOTOR_P), ("motor_s", "state", MOTOR_S), ("motor_f", "fault", MOTOR_F),
        ("bus_s", "state", BUS_S),
        ("actuator_p", "param", ACTUATOR_P), ("actuator_s", "state", ACTUATOR_S),
        ("actuator_f", "fault", ACTUATOR_F),
        ("instrument_p", "param", INSTRUMENT_P), ("instrument_s", "state", INSTRUMENT_S),
        ("instrument_f", "fault", INSTRUMENT_F),
        ("doser_p", "param", DOSER_P), ("doser_s", "state", DOSER_S), ("doser_f", "fault", DOSER_F),
        ("makedown_p", "param", MAKEDOWN_P), ("makedown_s", "state", MAKEDOWN_S),
        ("makedown_f", "fault", MAKEDOWN_F),
        ("splitter_p", "param", SPLITTER_P), ("splitter_s", "state", SPLITTER_S),
        ("clarifier_p", "param", CLARIFIER_P), ("clarifier_s", "state", CLARIFIER_S),
        ("clarifier_f", "fault", CLARIFIER_F),
        ("bank_p", "param", BANK_P), ("bank_s", "state", BANK_S),
        ("cell_p", "param", CELL_P), ("cell_s", "state", CELL_S), ("cell_f", "fault", CELL_F),
        ("press_p", "param", PRESS_P), ("press_s", "state", PRESS_S),
        ("program_p", "param", PROGRAM_P), ("program_s", "state", PROGRAM_S),
        ("copy_p", "param", COPY_P),
        ("alarm_p", "param", ALARM_P), ("alarm_s", "state", ALARM_S),
        ("alarm_log", "state", ALARM_LOG),  # a ring: what has been read may be written over
        # plain number pools: 0 = one-dimensional, n = rows of n
        ("links", "param", -1),
        ("order", "param", -1),  # splitters, in the order water runs through them
        ("tables", "param", 0),
        ("streams", "state", NS),
        ("offers", "state", NO),
        ("parcels", "state", PARCEL),
        ("layers", "state", 0),
        ("tags", "state", 0),
        ("ledger", "state", NS),
        ("control", "state", 0),
        ("agenda", "state", AGENDA_S),  # last, so that no other address depends on the number of plans
    )
)  # fmt: skip
"""Every array of a plant: name, segment, dtype (or the width of a pool of numbers; -1: integers)."""

WARNINGS: tuple[tuple[str, str], ...] = (
    ("solids_packed", "solids reached the densest packing of the settling tables"),
    ("temperature_range", "water temperature left 0 to 40 degC, the range of the property formulas"),
    ("line_slow", "a line ran below its limit velocity with a bed of coarse in it"),
    ("suction_short", "a pump ran short of suction head: its curve no longer holds"),
    ("curve_end", "a pump gave head beyond the last point of its curve"),
    ("dose_range", "polymer dose left the range of the settling-factor law (above twice the optimum)"),
    ("charge_range", "coagulant dose went above three times the demand, beyond the law's data"),
    ("vessel_low", "a unit asked for more than a vessel could give"),
    ("courant", "a clarifier layer came near the stability bound of the step"),
    ("cell_lost", "a mud cell went over its wall"),
)
"""Bits of `clock.warned`, lowest first: what left the range of a model, and why it matters."""
(WARN_PACKED, WARN_TEMPERATURE, WARN_SLOW, WARN_SUCTION, WARN_CURVE,
 WARN_DOSE, WARN_CHARGE, WARN_LOW, WARN_COURANT, WARN_CELL) = (1 << i for i in range(10))  # fmt: skip

DTYPES: dict[str, np.dtype | int] = {name: dtype for name, _, dtype in KINDS}
"""Array name -> dtype, or the width of a pool of numbers."""
FIELD_UNITS: dict[str, dict[str, tuple[str, str]]] = {
    name: next(m for d, m in zip(_DTYPES, _MEANINGS) if d is dtype)
    for name, dtype in DTYPES.items()
    if isinstance(dtype, np.dtype)
}
"""Array name -> field -> (unit, meaning): the one place the unit of a field is written."""
