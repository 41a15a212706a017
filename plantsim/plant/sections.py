"""What may stand in a plant file: every kind of unit, instrument and plan, with units, ranges and defaults.

Defaults are numbers of the trade, marked as such in the handbook tables made from this file; a user replaces
those of `water` by tests of their own water.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from plantsim.plant.fields import REQUIRED, Refusal, quoted
from plantsim.plant.scenario_sections import ACT, SCENARIO
from plantsim.plant.schema import (
    Choice,
    Flag,
    Include,
    Integer,
    ListOf,
    MapOf,
    Maybe,
    Moment,
    Name,
    Number,
    OneOf,
    Points,
    Quantity,
    Reference,
    Section,
    Tag,
    Text,
    Times,
    Variant,
)
from plantsim.plant.tune_section import TUNE

Q = Quantity
POINT = r"[A-Z]{1,5}-\d{1,5}[A-Z]?|[A-Za-z][A-Za-z0-9_-]*\.[A-Za-z_][A-Za-z_0-9.]*(\[[0-9, -]+\])?"
"""A tag, or program.variable."""
TAG = Reference("tag")

# ---------------------------------------------------------------------------------------------- site and water
SITE = Section(
    "What the plant is called, when it starts and how finely it is computed.",
    name=Text(doc="name of the site"),
    note=Maybe(Text(), doc="a line about it"),
    start=Moment("2027-04-05 06:00", doc="calendar time of the start"),
    step=Q("time", "1 s", lo="0.05 s", hi="10 s", doc="plant step"),
    record_every=Q("time", "10 s", lo="1 s", hi="1 h", doc="time between recorded rows"),
    quiet=Flag(False, doc="yes: no random wander and no instrument noise"),
)

_V0 = Q("velocity", "0.42 m/h", above="0 m/h", hi="100 m/h", doc="speed of one unflocculated particle, 20 degC")
SETTLING = Variant("law", {
    "richardson-zaki": Section(
        "v = v0 (1 - phi)^n.", v0=_V0,
        n=Number(18.0, lo=2.0, hi=60.0, doc="exponent; flocs hold water, so more than the 4.65 of single grains")),
    "vesilind": Section(
        "v = v0 exp(-C/Cs).", v0=_V0,
        cs=Q("concentration", "110 g/L", above="0 g/L", doc="concentration scale")),
    "power": Section(
        "v = v0 / (1 + (C/Ch)^q).", v0=_V0,
        ch=Q("concentration", "60 g/L", above="0 g/L", doc="concentration at which the speed is halved"),
        q=Number(3.0, lo=0.5, hi=12.0, doc="exponent")),
    "points": Section(
        "From a table of settling speeds.",
        points=Points(("concentration", "velocity"), order=("rising", "not rising"), least=3,
                      names=("solids", "speed"), lo=("0 g/L", "0 m/h"), doc="unflocculated, 20 degC")),
})
STRESS = Variant("law", {
    "power": Section("s = s0 ((C/gel)^k - 1).",
                     s0=Q("stress", "100 Pa", above="0 Pa", doc="stress scale"),
                     k=Number(6.0, lo=1.0, hi=20.0, doc="exponent")),
    "exponential": Section("s = s0 exp(k phi) above the gel point.",
                           s0=Q("stress", "5.35 Pa", above="0 Pa", doc="stress scale"),
                           k=Number(17.9, lo=1.0, hi=100.0, doc="exponent")),
})
WATER = Section(
    "The water and the solids in it. Replace these by tests of your own water.",
    file=Maybe(Include(doc="YAML file of these same keys, such as one written from laboratory tests; its values come "
                           "first, and what stands here goes over them")),
    solids_density=Q("density", "2650 kg/m3", lo="1200 kg/m3", hi="5000 kg/m3", doc="density of the solids"),
    coagulant_demand=Q("dose_per_mass", "700 g/t", lo="10 g/t", hi="10000 g/t",
                       doc="coagulant product for charge balance per dry fines"),
    coagulant_demand_clay=Number(1.0, lo=0.0, hi=10.0, doc="rise of that demand when all fines are sticky clay"),
    coagulant_window=Number(0.55, lo=0.1, hi=3.0, doc="width of the dose window, in demands"),
    coagulant_capacity=Number(1.6, lo=1.0, hi=5.0, doc="coagulant the solids can hold, in demands"),
    coagulant_mix_time=Q("time", "30 s", lo="1 s", hi="1 h", doc="time for coagulant to bind"),
    coagulant_time=Q("time", "100 s", lo="1 s", hi="2 h", doc="time for colloid to join at the best dose, 20 degC"),
    polymer_optimum=Q("dose_per_mass", "60 g/t", lo="1 g/t", hi="2000 g/t",
                      doc="bound polymer per dry fines at the fastest settling"),
    polymer_optimum_clay=Number(1.0, lo=0.0, hi=10.0, doc="rise of that optimum when all fines are sticky clay"),
    polymer_gain=Number(60.0, lo=1.0, hi=500.0, doc="settling speed at the optimum over that without polymer"),
    polymer_time=Q("time", "15 s", lo="1 s", hi="30 min", doc="time for polymer to bind"),
    polymer_capacity=Number(2.5, lo=1.0, hi=10.0, doc="polymer the solids can hold, in optima"),
    polymer_best_solids=Q("concentration", "45 g/L", lo="1 g/L", hi="300 g/L",
                          doc="feed solids above which flocculation gets worse"),
    polymer_solids_width=Number(1.2, lo=0.2, hi=10.0, doc="how fast it gets worse, in ln(solids)"),
    floc_shear=Q("rate", "60 1/s", above="0 1/s", hi="2000 1/s", doc="velocity gradient up to which flocs grow whole"),
    floc_strength=Number(0.5, lo=0.1, hi=2.0, doc="exponent of floc size against a gradient beyond that"),
    clay_slowing=Number(3.0, lo=1.0, hi=20.0, doc="times slower all-clay fines settle"),
    turbidity_fines=Number(0.6, lo=0.0, hi=20.0, doc="NTU per mg/L of fines"),
    turbidity_colloid=Number(1.6, lo=0.0, hi=20.0, doc="NTU per mg/L of colloid"),
    turbidity_coarse=Number(0.1, lo=0.0, hi=20.0, doc="NTU per mg/L of coarse"),
    coarse_velocity=Q("velocity", "4 mm/s", above="0 mm/s", hi="200 mm/s",
                      doc="free settling speed of the coarse at 20 degC"),
    coarse_size=Q("length", "0.075 mm", above="0 mm", hi="5 mm", doc="size of the coarse"),
    yield_a=Q("stress", "40000 Pa", above="0 Pa", doc="mud yield stress a phi^b: a"),
    yield_b=Number(4.5, lo=1.0, hi=8.0, doc="mud yield stress a phi^b: b"),
    plastic_a=Number(14.0, lo=0.0, hi=60.0, doc="plastic viscosity over water's is exp(a phi): a"),
    sand_porosity=Q("fraction", "42 %", lo="20 %", hi="70 %", doc="pores of settled sand"),
    settling=Variant(SETTLING.key, SETTLING.sections, default="richardson-zaki", doc="settling law, no polymer"),
    gel=Q("concentration", "320 g/L", above="1 g/L", doc="gel point of the mud"),
    stress=Variant(STRESS.key, STRESS.sections, default="power", doc="effective stress of a bed above the gel point"),
    densest=Q("concentration", "1500 g/L", above="10 g/L", doc="densest packing of the mud"),
)

MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
MONTH = Section(
    "Monthly means.",
    temperature=Q("temperature", lo="-50 degC", hi="50 degC", doc="mean air temperature"),
    swing=Q("temperature_difference", "8 K", lo="0 K", hi="40 K", doc="daily swing, top to bottom"),
    rain=Q("length", "60 mm", lo="0 mm", hi="2000 mm", doc="rain in the month"),
    rain_days=Number(12.0, lo=0.0, hi=28.0, doc="days with rain"),
    humidity=Q("fraction", "75 %", lo="1 %", hi="100 %", doc="mean relative humidity"),
    wind=Q("velocity", "2 m/s", lo="0 m/s", hi="30 m/s", doc="wind at 2 m"),
    sunshine=Q("fraction", "40 %", lo="0 %", hi="100 %", doc="hours of bright sun over the longest possible"),
)
WEATHER = Section(
    "Weather by month; days and hours are drawn from the seed. Evaporation follows FAO-56 Penman-Monteith.",
    latitude=Q("angle", "50 deg", lo="-70 deg", hi="70 deg", doc="latitude, north positive"),
    elevation=Q("length", "200 m", lo="-400 m", hi="5000 m", doc="height above sea level"),
    table=Maybe(Text(), doc="CSV file of hourly weather to follow instead of the months"),
    **{month: Maybe(MONTH, doc=f"means of {month}") for month in MONTHS},
)

# ---------------------------------------------------------------------------------------------- motors and pumps
MOTOR = Section(
    "A motor with its starter.",
    run=Maybe(Tag(letters=("YC", "XC", "HS")), doc="tag that asks it to run; left out: always asked"),
    reset=Maybe(TAG, doc="tag that resets a trip"),
    speed=Maybe(TAG, doc="actuator that gives the speed; left out: direct on line"),
    power=Q("power", "15 kW", above="0 kW", hi="5000 kW", doc="rated shaft power"),
    efficiency=Q("fraction", "92 %", above="10 %", hi="100 %", doc="motor and drive efficiency"),
    idle=Q("power", "0 kW", lo="0 kW", doc="shaft power when it carries no computed load"),
    ramp_up=Q("time", "3 s", lo="0 s", hi="10 min", doc="time from rest to full speed"),
    ramp_down=Q("time", "3 s", lo="0 s", hi="10 min", doc="time from full speed to rest"),
    bus=Maybe(Reference("bus"), doc="power bus; left out: the first one"),
    ride_through=Q("time", "0.2 s", lo="0 s", hi="1 min", doc="longest dip it runs through"),
    restart=Choice(("by itself", "by reset"), "by itself", doc="what happens after a longer dip"),
    restart_delay=Q("time", "5 s", lo="0 s", hi="1 h", doc="wait before it comes back by itself"),
    min_rest=Q("time", "0 s", lo="0 s", hi="2 h", doc="rest between stop and start"),
    max_starts=Maybe(Number(lo=0.5, hi=120.0), doc="starts allowed in a sliding hour"),
)
PUMP = Section(
    "One pump of a line.",
    curve=Points(("flow", "length", "fraction", "length"), order=("rising", "falling"), least=2,
                 names=("flow", "head", "efficiency", "suction head required"),
                 lo=("0 m3/h", "0 m", "0 %", "0 m"), hi=(None, None, "95 %", "30 m"),
                 doc="curve at full speed on water"),
    branch=Integer(0, lo=0, hi=20, doc="branch it stands in; pumps of one branch are in series; 0: its own branch"),
    derating=Number(1.0, lo=0.0, hi=5.0, doc="part of the head lost per volume fraction of solids"),
    min_flow=Q("flow", "0 m3/h", lo="0 m3/h", doc="least flow for continuous running"),
    stopped_loss=Q("length", "25 m", above="0 m", doc="head it takes to push the curve's last flow back through it"),
    check_valve=Flag(True, doc="no flow back through its branch"),
    motor=MOTOR.about("its motor"),
)
PIPE = Section(
    "The pipe of a line.",
    length=Q("length", above="0 m", hi="20 km", doc="length"),
    diameter=Q("length", above="5 mm", hi="2 m", doc="inner diameter"),
    roughness=Q("length", "0.05 mm", lo="0 mm", hi="10 mm", doc="wall roughness"),
    lift=Q("length", lo="-200 m", hi="500 m", doc="discharge above the floor of the unit it draws from"),
    fittings=Number(5.0, lo=0.0, hi=500.0, doc="sum of loss coefficients"),
    check_valve=Flag(True, doc="no flow back down the line; no: it drains back when the pumps stop"),
    dispersion=Q("diffusivity", "0 m2/s", lo="0 m2/s", hi="10 m2/s", doc="axial dispersion"),
    parcels=Integer(120, lo=4, hi=2000, doc="parcels that carry the content of the full pipe"),
    mud=Flag(False, doc="yes: friction of a Bingham mud"),
    deposit_factor=Number(0.45, lo=0.0, hi=1.5, doc="limit-velocity factor F_L of the coarse"),
    plug_fraction=Q("fraction", "60 %", lo="10 %", hi="95 %", doc="part of the bore filled at which it is plugged"),
    plug_stress=Q("stress", "200 Pa", above="0 Pa", doc="yield stress of standing mud at which it can plug"),
)
VALVE = Section(
    "A valve in a line.",
    actuator=Reference("tag", doc="actuator that moves it"),
    kv=Q("kv", above="0 m3/h", doc="flow at 1 bar when wide open"),
    rangeability=Number(0.0, lo=0.0, hi=100.0, doc="of an equal-percentage valve; 0: linear"),
)

# ---------------------------------------------------------------------------------------------- units
SOURCE = Section(
    "A wash plant that turns clean water into dirty water.",
    from_=Maybe(Reference(("vessel",), port="out"), doc="tank of wash water; left out: water from outside"),
    to=Reference("unit", port="in", doc="where the dirty water goes"),
    production=Q("mass_flow", "200 t/h", lo="0 t/h", hi="5000 t/h", doc="dry feed washed"),
    wash_ratio=Q("specific_volume", "1.75 m3/t", above="0 m3/t", hi="20 m3/t", doc="wash water per dry feed"),
    fines=Q("fraction", "10 %", lo="0 %", hi="60 %", doc="fines and colloid per dry feed"),
    coarse=Q("fraction", "0.3 %", lo="0 %", hi="20 %", doc="coarse carried off per dry feed"),
    colloid=Q("fraction", "4 %", lo="0 %", hi="100 %", doc="colloid part of the fines"),
    clay=Q("fraction", "15 %", lo="0 %", hi="100 %", doc="sticky-clay part of the fines at the start"),
    moisture=Q("fraction", "6 %", lo="0 %", hi="40 %", doc="water leaving with the product, per dry feed"),
    ramp=Q("time", "60 s", above="0 s", hi="1 h", doc="time constant of start and stop"),
    low_water=Q("volume", "10 m3", lo="0 m3", doc="least water in the tank to run"),
    back_water=Q("volume", "30 m3", lo="0 m3", doc="water in the tank to run again"),
    temperature=Q("temperature", "10 degC", lo="0 degC", hi="40 degC", doc="temperature of outside water"),
    wander_feed=Q("fraction", "6 %", lo="0 %", hi="50 %", doc="standard deviation of the feed's slow wander"),
    wander_fines=Q("fraction", "10 %", lo="0 %", hi="80 %", doc="the same of the fines"),
    wander_time=Q("time", "40 min", lo="1 min", hi="10 d", doc="time constant of the wander"),
    permit=Maybe(TAG, doc="tag that must be on for it to run"),
    shifts=Maybe(Times(), doc="when it runs; left out: always"),
    pauses=Maybe(Times(), doc="breaks within the shifts"),
    faces=Maybe(Section(
        "Digging faces that change at random.",
        mean_time=Q("time", above="1 h", doc="mean time on one face"),
        low=Q("fraction", lo="0 %", hi="100 %", doc="least sticky clay"),
        high=Q("fraction", lo="0 %", hi="100 %", doc="most sticky clay"),
    ), doc="random changes of the clay"),
    series=Maybe(Text(), doc="CSV file of time, flow and solids that it follows instead"),
)
SUPPLY = Section(
    "Water from outside: a well, a pond, a mains.",
    to=Reference("unit", port="in", doc="where it goes"),
    flow=Q("flow", above="0 m3/h", doc="flow when open"),
    valve=Maybe(TAG, doc="actuator that opens it; left out: always open"),
    temperature=Maybe(Q("temperature", lo="0 degC", hi="40 degC"), doc="left out: that of ponds in this weather"),
    fines=Q("concentration", "0 g/m3", lo="0 g/m3", hi="100 g/L", doc="fines carried"),
    colloid=Q("concentration", "0 g/m3", lo="0 g/m3", hi="10 g/L", doc="colloid carried"),
)
SHAPE = Variant("form", {
    "prism": Section("A box.",
                     length=Q("length", above="0 m", doc="inner length"),
                     width=Q("length", above="0 m", doc="inner width"),
                     depth=Q("length", above="0 m", doc="depth to the rim")),
    "cylinder": Section("A standing cylinder.",
                        diameter=Q("length", above="0 m", doc="inner diameter"),
                        depth=Q("length", above="0 m", doc="depth to the rim")),
    "cone": Section("A standing cylinder on a cone.",
                    diameter=Q("length", above="0 m", doc="inner diameter"),
                    cone=Q("length", above="0 m", doc="depth of the cone"),
                    depth=Q("length", above="0 m", doc="depth to the rim, cone included")),
    "lying": Section("A lying cylinder with flat ends.",
                     diameter=Q("length", above="0 m", doc="inner diameter"),
                     length=Q("length", above="0 m", doc="inner length")),
    "table": Section("Any shape.",
                     points=Points(("length", "volume"), order=("rising", "rising"), least=2,
                                   names=("level", "volume"), lo=("0 m", "0 m3"), doc="level and volume")),
})
VESSEL = Section(
    "A sump or tank.",
    shape=Variant(SHAPE.key, SHAPE.sections, doc="its form"),
    start_level=Q("length", "1 m", lo="0 m", doc="level at the start"),
    suction_level=Q("length", "0.3 m", lo="0 m", doc="level below which nothing can be drawn"),
    weir_level=Maybe(Q("length", above="0 m"), doc="overflow crest; left out: 0.2 m below the rim"),
    weir_width=Q("length", "1 m", above="0 m", doc="crest width"),
    overflow=OneOf((Choice(("spill", "discharge")), Reference("unit", port="in")), "spill",
                   doc="spill (unwanted), discharge (permitted outlet) or the unit that takes it"),
    mixing=Q("fraction", "90 %", lo="0 %", hi="100 %", doc="how well its solids are held up"),
    shear=Q("rate", "0 1/s", lo="0 1/s", hi="5000 1/s", doc="mean velocity gradient; chemicals react where above 0"),
    open_to_sky=Flag(True, doc="takes rain and evaporates"),
    temperature=Q("temperature", "10 degC", lo="0 degC", hi="40 degC", doc="temperature at the start"),
    drift_time=Q("time", "2 d", above="1 h", doc="time in which it takes the weather's temperature"),
).with_ports(inlets=("in",), outlets=("out",))
LINE = Section(
    "A run of pipe, with or without pumps and valve.",
    from_=Reference(("vessel", "clarifier"), port="out", doc="where it draws"),
    to=Reference("unit", port="in", doc="where it delivers"),
    pipe=PIPE.about("the pipe"),
    pumps=MapOf(PUMP, key=Name("pump"), doc="its pumps by tag; none: it runs by gravity"),
    valve=Maybe(VALVE, doc="a valve in it"),
).with_ports(inlets=("in",))
TOTE = Section(
    "A store of liquid product.",
    volume=Q("volume", "1 m3", above="0 m3", doc="volume when full"),
    strength=Q("concentration", "1350 g/L", above="0 g/L", doc="product, or dry polymer, in it"),
    purity=Q("fraction", "100 %", above="0 %", hi="100 %", doc="active part of a polymer"),
    start=Q("fraction", "90 %", lo="0 %", hi="100 %", doc="how full at the start"),
    reorder=Q("fraction", "30 %", lo="0 %", hi="100 %", doc="level at which a delivery is ordered"),
    lead=Q("time", "24 h", lo="1 h", hi="60 d", doc="time until it comes, in working hours"),
)
DOSER = Section(
    "A dosing pump with its dilution water and dosing line.",
    product=Choice(("coagulant", "polymer"), doc="what it doses"),
    to=Reference("unit", port="in", doc="where it doses"),
    from_=Maybe(Reference("makedown", port="out"), doc="polymer plant it draws from; left out: its own tote"),
    tote=Maybe(TOTE, doc="its own store"),
    capacity=Q("flow", above="0 L/h", doc="flow at full stroke and speed"),
    motor=MOTOR.about("its motor"),
    stroke=Maybe(TAG, doc="actuator of the stroke, when the speed does not set the dose"),
    turndown=Q("fraction", "5 %", lo="0 %", hi="90 %", doc="least fraction it can hold"),
    resolution=Q("fraction", "0.5 %", lo="0 %", hi="20 %", doc="step of the fraction"),
    calibration=Q("fraction", "100 %", lo="10 %", hi="300 %", doc="true over nominal flow"),
    line_volume=Q("volume", "0 L", lo="0 L", hi="10 m3", doc="dead volume of the dosing line"),
    dilution=Maybe(Section(
        "Dilution water.",
        from_=Reference(("vessel",), port="out", doc="where it comes from"),
        flow=Q("flow", "0 m3/h", lo="0 m3/h", doc="flow with a clean filter, when no ratio is set"),
        ratio=Number(0.0, lo=0.0, hi=200.0, doc="dilution water per neat flow"),
        good_ratio=Number(0.0, lo=0.0, hi=200.0, doc="ratio that disperses all the polymer"),
        filter_load=Q("mass", "20 kg", above="0 kg", doc="solids that halve its flow"),
        filter_change=Maybe(TAG, doc="tag that changes the filter"),
    ), doc="dilution water"),
)
MAKEDOWN = Section(
    "A polymer plant that makes stock in batches.",
    water=Maybe(Reference(("vessel",), port="out"), doc="where its water comes from; left out: mains"),
    water_temperature=Q("temperature", "9 degC", lo="0 degC", hi="40 degC", doc="temperature of mains water"),
    form=Choice(("powder", "liquid"), "powder", doc="what the polymer comes as"),
    batch=Q("volume", "1 m3", above="0 m3", doc="batch volume"),
    strength=Q("concentration", "2.5 g/L", above="0 g/L", hi="20 g/L", doc="dry polymer in the stock"),
    fill_flow=Q("flow", "6 m3/h", above="0 m3/h", doc="water flow while filling"),
    wet_time=Q("time", "10 min", above="0 s", doc="powder feed time"),
    mix_time=Q("time", "45 min", above="0 s", doc="mixing and ageing before transfer"),
    transfer_flow=Q("flow", "6 m3/h", above="0 m3/h", doc="transfer flow"),
    day_tank=Q("volume", "2 m3", above="0 m3", doc="day-tank volume"),
    start_level=Q("fraction", "50 %", lo="5 %", hi="95 %", doc="day-tank level that calls for a batch"),
    age_time=Q("time", "20 min", above="0 s", doc="time constant of ageing at 20 degC"),
    half_life=Q("time", "48 h", above="1 h", doc="half-life of aged polymer at 20 degC"),
    permit=Maybe(TAG, doc="tag that allows a batch"),
    store=Q("mass", "500 kg", above="0 kg", doc="powder in a full store"),
    reorder=Q("fraction", "25 %", lo="0 %", hi="100 %", doc="level at which a delivery is ordered"),
    lead=Q("time", "48 h", lo="1 h", hi="60 d", doc="time until it comes, in working hours"),
).with_ports(outlets=("out",))
SPLITTER = Section(
    "A box that divides a flow.",
    to=ListOf(Section(
        "One way out.",
        unit=Reference("unit", port="in", doc="where it goes"),
        weight=Number(1.0, lo=0.0, hi=1000.0, doc="its share, against the other weights"),
        gate=Maybe(TAG, doc="actuator that scales the share"),
    ), least=2, doc="its ways out"),
).with_ports(inlets=("in",))
CLARIFIER = Section(
    "A clarifier that thickens the mud in its bed.",
    overflow=OneOf((Choice(("discharge",)), Reference("unit", port="in")), "discharge",
                   doc="discharge, or the unit that takes the clear water"),
    diameter=Q("length", above="0.5 m", hi="150 m", doc="inner diameter"),
    depth=Q("length", above="0.5 m", hi="20 m", doc="water depth, cone included"),
    cone=Q("length", "1 m", lo="0 m", hi="10 m", doc="depth of the cone"),
    cone_diameter=Q("length", "1 m", above="0 m", doc="diameter of the cone's floor"),
    layers=Integer(40, lo=8, hi=400, doc="layers it is computed in"),
    layer_step=Q("time", "5 s", above="0 s", hi="1 min",
                 doc="longest step of its layers; the site's step at least, and never beyond what is stable"),
    feed_depth=Q("length", "1.5 m", above="0 m", doc="depth of the feedwell's mouth"),
    feedwell=Q("volume", "5 m3", above="0 m3", doc="volume of the feedwell"),
    feedwell_shear=Q("rate", "50 1/s", above="0 1/s", hi="2000 1/s", doc="mean velocity gradient in the feedwell"),
    settling=Maybe(Variant(SETTLING.key, SETTLING.sections),
                   doc="settling law, no polymer; left out: that of the water"),
    capture=Q("concentration", "60 g/m3", lo="0 g/m3", hi="5 g/L",
              doc="solids below which flocs no longer sweep the fines"),
    gel=Maybe(Q("concentration", above="1 g/L"), doc="gel point; left out: that of the water"),
    stress=Maybe(Variant(STRESS.key, STRESS.sections),
                 doc="effective stress of the bed above it; left out: that of the water"),
    densest=Maybe(Q("concentration", above="10 g/L"), doc="densest packing; left out: that of the water"),
    rake=Maybe(Section(
        "The rake.",
        motor=MOTOR.about("its drive"),
        lift=Maybe(TAG, doc="actuator of the rake lift"),
        blade=Q("length", "0.5 m", above="0 m", doc="bed height it works in"),
        torque=Q("torque", "25 kN.m", above="0 N.m", doc="torque called 100 %"),
        trip=Q("fraction", "95 %", lo="10 %", hi="200 %", doc="torque at which it trips"),
    ), doc="its rake"),
    channel_speed=Q("velocity", "45 m/h", above="0 m/h",
                    doc="downward speed at the floor of the cone above which water channels through the bed"),
    channel_time=Q("time", "2 min", above="0 s", doc="time for a channel to open"),
    heal_time=Q("time", "10 min", above="0 s", doc="time for it to close"),
    pack_time=Q("time", "1 h", above="0 s", doc="time for a bed to set when the rake stands"),
    pack_gain=Number(2.0, lo=0.0, hi=20.0, doc="rise of the torque of a bed fully set"),
    temperature=Q("temperature", "10 degC", lo="0 degC", hi="40 degC", doc="temperature at the start"),
    drift_time=Q("time", "3 d", above="1 h", doc="time in which it takes the weather's temperature"),
    start_bed=Q("length", "0 m", lo="0 m", hi="15 m", doc="bed at the start"),
    start_bed_solids=Q("concentration", "450 g/L", lo="0 g/L", doc="solids of that bed"),
).with_ports(inlets=("in",), outlets=("out",))
BANK = Section(
    "Mud cells that are filled, drained, dried and dug out in turn.",
    cells=MapOf(Section(
        "One cell.",
        valve=Reference("tag", doc="actuator of its inlet valve"),
        area=Q("area", "3000 m2", above="0 m2", doc="plan area"),
        depth=Q("length", "2 m", above="0.1 m", hi="20 m", doc="depth to the wall's crest"),
        mud=Q("length", "0 m", lo="0 m", doc="mud in it at the start"),
    ), key=Name("cell"), least=1, doc="the cells by name"),
    decant=Maybe(Reference("unit", port="in"), doc="where released water goes; left out: it leaves the plant"),
    freeboard=Q("length", "0.5 m", lo="0 m", doc="freeboard at which a cell counts as full"),
    lift=Q("length", "0.4 m", above="0 m", doc="lift thickness wanted in one filling"),
    decant_time=Q("time", "12 h", above="1 min", doc="time in which ponded water is let off"),
    decant_solids=Q("fraction", "0.1 %", lo="0 %", hi="50 %", doc="part of the pond's fines that goes with it"),
    consolidation=Q("diffusivity", "1e-7 m2/s", above="0 m2/s", doc="coefficient of consolidation"),
    final_void=Number(2.6, lo=0.3, hi=20.0, doc="void ratio after self-weight consolidation"),
    shrink_void=Number(1.9, lo=0.2, hi=20.0, doc="void ratio at which drying slows"),
    dry_void=Number(0.8, lo=0.1, hi=10.0, doc="void ratio at which drying ends"),
    liquid_limit=Number(0.5, lo=0.1, hi=3.0, doc="liquid limit, water per solids"),
    plastic_limit=Number(0.26, lo=0.05, hi=1.5, doc="plastic limit"),
    liquid_strength=Q("stress", "1.7 kPa", above="0 Pa", doc="strength at the liquid limit"),
    dig_strength=Q("stress", "15 kPa", above="0 Pa", doc="strength at which the digger starts; no permission to enter"),
    dig_rate=Q("flow", "60 m3/h", above="0 m3/h", doc="bulk volume dug out"),
    seep=Q("evaporation", "0.5 mm/d", lo="0 mm/d", doc="seepage through the floor"),
    drain_time=Q("time", "3 d", above="0 s", doc="rest after filling before it counts as drying"),
    crew=Maybe(Times(), doc="working hours of the digging crew; left out: nobody digs"),
).with_ports(inlets=("in",))
PRESS = Section(
    "A filter press that works in batches.",
    from_=Reference(("vessel",), port="out", doc="mud tank it draws from"),
    filtrate=Reference("unit", port="in", doc="where the filtrate goes"),
    motor=MOTOR.about("motor of its feed pump"),
    permit=Maybe(TAG, doc="tag that allows a cycle"),
    chambers=Q("volume", above="0 m3", doc="volume of the chambers"),
    area=Q("area", above="0 m2", doc="filter area"),
    pressure=Q("pressure", "8 bar", above="0 bar", hi="40 bar", doc="feed pressure"),
    max_flow=Q("flow", above="0 m3/h", doc="flow of the feed pump against no pressure"),
    cake_resistance=Number(5e11, above=0.0, doc="specific cake resistance, m/kg"),
    cloth_resistance=Number(5e10, lo=0.0, doc="cloth resistance, 1/m"),
    cake_fraction=Q("fraction", "78 %", lo="30 %", hi="95 %", doc="solids in the cake by mass"),
    squeeze_time=Q("time", "8 min", lo="0 s", doc="squeezing and blowing"),
    open_time=Q("time", "12 min", lo="0 s", doc="opening, dropping and closing"),
    fill_limit=Q("time", "60 min", above="0 s", doc="longest filling"),
    start_volume=Q("volume", "10 m3", above="0 m3", doc="mud in the tank that starts a cycle"),
    filtrate_solids=Q("fraction", "0.2 %", lo="0 %", hi="50 %", doc="part of the fines that passes the cloth"),
)
UNIT = Variant("kind", {
    "source": SOURCE, "supply": SUPPLY, "vessel": VESSEL, "line": LINE, "doser": DOSER, "makedown": MAKEDOWN,
    "splitter": SPLITTER, "clarifier": CLARIFIER, "bank": BANK, "press": PRESS,
})

# ---------------------------------------------------------------------------------------------- signals
INSTRUMENT = Section(
    "An instrument: what it looks at, and how well.",
    measures=Text(doc="unit.quantity it looks at, such as sump.level",
                  pattern=r"[A-Za-z][A-Za-z0-9_-]*\.[a-z_0-9]+", form="a quantity of a unit, as unit.quantity"),
    unit=Text(doc="unit it shows"),
    low=Number(0.0, doc="lower end of its range, in that unit"),
    high=Number(doc="upper end of its range, in that unit"),
    every=Q("time", "1 s", lo="0.05 s", hi="1 h", doc="sample interval"),
    lag=Q("time", "0 s", lo="0 s", hi="1 h", doc="first-order lag"),
    noise=Q("fraction", "0 %", lo="0 %", hi="20 %", doc="standard deviation, part of span"),
    resolution=Q("fraction", "0.025 %", lo="0 %", hi="10 %", doc="step of its output, part of span"),
    saturation=Number(0.0, lo=0.0, doc="optical: reading it saturates at, in its unit; 0: none"),
    fouling=Q("fraction", "0 %", lo="0 %", hi="500 %", doc="film that grows on it in a day, part of span"),
    clean_every=Q("time", "0 s", lo="0 s", hi="30 d", doc="automatic cleaning interval; 0: none"),
    sample_flow=Maybe(Text(pattern=r"[A-Za-z][A-Za-z0-9_-]*\.[a-z_0-9]+", form="a flow of a unit, as unit.quantity"),
                      doc="flow that carries its sample; below sample_low bubbles come"),
    sample_low=Q("flow", "0 m3/h", lo="0 m3/h", doc="see sample_flow"),
)
SWITCH = Section(
    "A switch: on above a value of a quantity.",
    measures=Text(doc="unit.quantity it looks at",
                  pattern=r"[A-Za-z][A-Za-z0-9_-]*\.[a-z_0-9]+", form="a quantity of a unit, as unit.quantity"),
    unit=Text("1", doc="unit of `above`; 1 for states and counts"),
    above=Number(0.5, doc="value above which it is on, in that unit"),
    deadband=Number(0.0, lo=0.0, doc="how far it must fall back to go off"),
    every=Q("time", "1 s", lo="0.05 s", hi="1 h", doc="sample interval"),
)
ACTUATOR = Section(
    "An actuator that follows a command in per cent of its travel.",
    stroke_time=Q("time", "20 s", lo="0 s", hi="1 h", doc="time for full travel"),
    deadband=Q("fraction", "0.2 %", lo="0 %", hi="20 %", doc="smallest change it follows"),
    stiction=Q("fraction", "0 %", lo="0 %", hi="30 %", doc="jump needed to break loose"),
    resolution=Q("fraction", "0 %", lo="0 %", hi="20 %", doc="step of its positioner"),
    minimum=Q("fraction", "0 %", lo="0 %", hi="90 %", doc="least position when asked above zero"),
    fail=Choice(("stays", "opens", "closes"), "stays", doc="what it does without air or power"),
    bus=Maybe(Reference("bus"), doc="power bus it needs"),
    start=Q("fraction", "0 %", lo="0 %", hi="100 %", doc="position at the start"),
)
FLAG = Section(
    "A point of the I/O image that no instrument or actuator owns: a hand switch, a permit, a set point.",
    start=Number(0.0, doc="its value at the start; 1 is on"),
    unit=Text("1", doc="its unit; 1 for on and off"),
    note=Maybe(Text(), doc="what it is for"),
)
_CONNECT = MapOf(Reference("tag"), key=Name(""), doc="its inputs and outputs: name in the program, tag")
_SET = MapOf(Text(), key=Name(""), doc="its parameters, with units")
PROGRAM = Section(
    "A control program at work.",
    program=Maybe(Text(), doc="name of a shipped program"),
    file=Maybe(Text(), doc="or a file of Structured Text of your own"),
    every=Q("time", "1 s", lo="0.01 s", hi="1 h", doc="task interval"),
    connect=_CONNECT,
    set=_SET,
    variants=MapOf(Section("What belongs to one program alone.", connect=_CONNECT, set=_SET), key=Name(""),
                   doc="further connections and parameters by name of a shipped program, in force when it is the one "
                       "chosen: so another program is one word to change"),
)


@dataclass(frozen=True)
class Point(Name):
    """A point that may be put by hand, as a key: a tag, or `program.variable`."""

    default: Any = REQUIRED

    def allowed(self) -> str:
        return "a tag or program.variable"

    def parse(self, text: str) -> str:
        if not re.fullmatch(POINT, text):
            raise Refusal(quoted(text), self.allowed())
        return text


LOOP = Section(
    "A control loop, for tests and tuning: what it measures, what it moves, and what must stand still meanwhile.",
    measures=Reference("tag", doc="instrument it controls by"),
    moves=Text(doc="what it moves: a parameter as program.variable, or the tag of an actuator",
               pattern=POINT, form="program.variable or a tag"),
    hold=MapOf(Text(), key=Point(), doc="what is set for a test and stays: program.variable or tag, value with unit"),
    low=Maybe(Number(), doc="least value of what it moves in a test, in its unit"),
    high=Maybe(Number(), doc="most value of it"),
    stop_below=Maybe(Number(), doc="measurement below which a test is broken off, in its unit"),
    stop_above=Maybe(Number(), doc="measurement above which it is"),
    through=Maybe(Reference("line"), doc="line through which the answer comes: its transit is part of the dead time"),
    longest=Q("time", "4 h", lo="1 min", hi="7 d", doc="longest wait for an answer to settle"),
    tune=Maybe(TUNE, doc="how its controller is tuned; left out: it is tested only"),
    note=Maybe(Text(), doc="a line about it"),
)
FAILURE = Section(
    "Something that fails at random and is repaired.",
    what=Text(doc="unit.fault that is set while it has failed, such as P-101.trip",
              pattern=r"[A-Za-z][A-Za-z0-9_-]*\.[a-z_0-9]+", form="a fault of a unit, as unit.fault"),
    value=Number(1.0, doc="value of that fault"),
    mean_up=Q("time", above="1 min", doc="mean time between failures"),
    mean_down=Q("time", above="1 s", doc="mean time of the repair itself, without the wait for the crew"),
)
BUS = Section(
    "A power bus.",
    dips=Maybe(Section(
        "Random dips.",
        mean_time=Q("time", above="1 min", doc="mean time between dips"),
        shortest=Q("time", "0.2 s", above="0 s", doc="shortest dip"),
        longest=Q("time", "2 s", above="0 s", doc="longest dip"),
    ), doc="random dips"),
)
ALARM = Section(
    "An alarm, after ISA-18.2 and IEC 62682: it tells an operator of what must be answered in time.",
    on=Text(doc="what it looks at: a tag, unit.quantity or program.variable", pattern=POINT,
            form="a tag, unit.quantity or program.variable"),
    above=Maybe(Text(), doc="value above which it comes, with its unit"),
    below=Maybe(Text(), doc="or the value below which it comes"),
    is_=Maybe(Choice(("on", "off")), doc="or that it comes when a state is on, or off"),
    deadband=Maybe(Text(), doc="how far the value must come back, with its unit; left out: 5 % of the span of level "
                               "and flow transmitters, 2 % of pressure, 1 % of temperature, none of others"),
    on_delay=Maybe(Q("time", lo="0 s", hi="24 h"), doc="time it must hold before it comes; left out: 60 s for level "
                                                       "and temperature transmitters, 15 s for flow and pressure, "
                                                       "none for others"),
    off_delay=Maybe(Q("time", lo="0 s", hi="24 h"), doc="time it must be gone to return; left out: as on_delay"),
    every=Q("time", "1 s", lo="0.05 s", hi="1 h", doc="interval at which it is looked at"),
    priority=Choice(("critical", "high", "medium", "low"), doc="priority, by consequence and time to respond"),
    consequence=Text(doc="what happens when nobody acts"),
    action=Text(doc="what the operator does"),
    respond_within=Q("time", above="0 s", hi="30 d", doc="time from the alarm to the consequence: to respond in"),
    suppressed_while=Maybe(Text(), doc="suppressed by design while this holds: a tag, unit.quantity or "
                                       "program.variable with 'is on', 'is off', 'above VALUE' or 'below VALUE'"),
    suppressed_after=Q("time", "0 s", lo="0 s", hi="24 h", doc="stays suppressed for so long when that has gone"),
    group=Maybe(Text(), doc="first-out group: the first alarm of a group is marked"),
    latching=Flag(False, doc="yes: stands when its condition has gone, until it is reset"),
)
LIMIT = Section(
    "A line drawn on a trend.",
    on=Text(pattern=r"[A-Za-z][A-Za-z0-9_-]*\.[a-z_0-9]+", form="a quantity, as unit.quantity",
            doc="quantity it belongs to"),
    at=Number(doc="its value, in the unit shown"),
    words=Text(doc="what it is"),
    kind=Choice(("limit", "setpoint"), "limit", doc="limit or set point"),
)
PLANT = Section(
    "A whole wash-water plant.",
    site=SITE.about("the site"),
    water=WATER.about("the water and its solids"),
    weather=WEATHER.about("the weather"),
    power=MapOf(BUS, key=Name("bus"), doc="power buses by name; left out: one that never fails"),
    units=MapOf(UNIT, key=Name("unit"), least=1, doc="all units by name"),
    instruments=MapOf(INSTRUMENT, key=Tag(), doc="instruments by tag"),
    switches=MapOf(SWITCH, key=Tag(), doc="switches by tag"),
    actuators=MapOf(ACTUATOR, key=Tag(), doc="actuators by tag"),
    flags=MapOf(FLAG, key=Tag(), doc="further points of the I/O image by tag"),
    control=MapOf(PROGRAM, key=Name("program"), doc="control programs at work, by name"),
    loops=MapOf(LOOP, key=Tag("loop"), doc="control loops to test and tune, by tag"),
    alarms=MapOf(ALARM, key=Tag("alarm"), doc="alarms by tag, in the order in which they are looked at"),
    rounds=Maybe(Times(), doc="hours in which an operator walks round; left out: nobody clears plugged lines"),
    deliveries=Maybe(Times(), doc="hours in which deliveries come; left out: at any time"),
    crew=Maybe(Section(
        "The people who repair what fails, one thing after the other, in their working hours.",
        hours=Times(doc="working hours, such as 'mon-fri 07:00-16:00'"),
        number=Integer(1, lo=1, hi=20, doc="things they can repair at a time"),
    ), doc="repair crew; left out: each failure is taken up at once. Its hours are also those of deliveries and of "
           "digging where these give none"),
    failures=MapOf(FAILURE, key=Name("failure"), doc="random failures"),
    acts=ListOf(ACT, doc="things done at given times"),
    scenario=Maybe(SCENARIO, doc="scenario of the run, as `plantsim run --scenario` has put it here"),
    limits=ListOf(LIMIT, doc="lines to draw on the trends"),
)
