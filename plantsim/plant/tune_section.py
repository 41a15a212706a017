"""What may stand under `tune:` of a loop: where its gains are kept, how it is judged, and what upsets it."""

from __future__ import annotations

from plantsim.plant.schema import Choice, ListOf, MapOf, Maybe, Name, Number, Quantity, Reference, Section, Text

Q = Quantity
_TARGET = r"[A-Za-z][A-Za-z0-9_-]*(\.[A-Za-z_0-9.]+)?"
_SERIES = r"[A-Za-z][A-Za-z0-9_-]*\.[a-z_0-9]+|[A-Z]{1,5}-\d{1,5}[A-Z]?"
_SERIES_FORM = "a recorded quantity: unit.quantity or a tag"
_NAME = r"[A-Za-z_][A-Za-z_0-9]*"

PART = Section(
    "One of the gains: what the controller makes of the program's parameters, and the one to turn.",
    is_=Text(doc="its value as arithmetic of the program's variables in their units; a gain in the unit of what is "
                 "moved per unit of what is measured, a time in s; TIME counts in s"),
    by=Text(doc="the parameter that is turned to set it", pattern=_NAME, form="a parameter of the program"),
)
CASE_ACT = Section(
    "Something done in a case.",
    after=Q("time", "0 s", lo="0 s", hi="48 h", doc="time after the case begins"),
    set=Text(doc="unit.quantity, tag or program.variable that is set", pattern=_TARGET,
             form="unit.quantity, a tag or program.variable"),
    to=Text(doc="value with its unit, on or off; x1.3 times what it was, +0.2 m more than it was"),
    ramp=Q("time", "0 s", lo="0 s", doc="time in which the value gets there; 0 s: at once"),
    for_=Maybe(Q("time", above="0 s"), doc="time after which the earlier value comes back; left out: it stays"),
    by=Choice(("cause", "operator"), "cause", doc="who does it"),
    note=Maybe(Text(), doc="words for it"),
)
CASE = Section(
    "One upset the tuned loop is tried on.",
    note=Maybe(Text(), doc="what it is, in words"),
    acts=ListOf(CASE_ACT, least=1, doc="what is done"),
)
PREDICTOR = Section(
    "Dead-time compensation in the program: its model of the process, as arithmetic of the program's variables.",
    on=Text(doc="variable that switches it on", pattern=_NAME, form="a variable of the program"),
    gain=Text(doc="gain of its model, per unit of what is moved, with its sign"),
    lag=Text(doc="lag of its model, in s"),
    delay=Text(doc="dead time of its model, in s"),
)
TUNE = Section(
    "How the loop is tuned: where its gains are kept, how it is judged and what upsets it.",
    controller=Reference("program", doc="the block of 'control:' whose program holds the controller"),
    program=Maybe(Text(), doc="program it needs; another one in force is replaced for the tuning job"),
    form=Choice(("standard", "parallel", "series"), "standard", doc="form of the controller, for the settings sheet"),
    gain=PART.about("the gain Kc, whatever the action"),
    integral=Maybe(PART, doc="the integral time Ti; left out: the controller has none"),
    derivative=Maybe(PART, doc="the derivative time Td; left out: the controller has none"),
    setpoint=Text(doc="variable of the program that is the set point", pattern=_NAME, form="a variable of the program"),
    output=Maybe(Text(pattern=_NAME, form="a variable of the program"),
                 doc="variable that is the controller's output in the unit of what is moved; left out: what is moved"),
    models=ListOf(Choice(("first", "second", "inverse", "integrating", "integrating-lag")),
                  doc="kinds of process to choose from; left out: all"),
    steps=ListOf(Text(), doc="sizes of the bumps, such as 10%; left out: 10% and 20%, both ways"),
    points=MapOf(Q("fraction", above="0 %", hi="200 %"), key=Name(""),
                 doc="operating points as shares of the feed; the first is where rules are worked out"),
    conditions=MapOf(ListOf(Text(pattern=r"[^=]+=.*", form="KEY=VALUE, as --set takes it"), least=1),
                     key=Name("condition"),
                     doc="other states of the plant the loop has to hold in, such as winter or another face; tested at "
                         "the first point's feed"),
    gain_range=Number(1.2, lo=1.0, hi=5.0, doc="the process gain may be so many times what was found"),
    dead_time_range=Number(1.2, lo=1.0, hi=5.0, doc="and its dead time"),
    most_ms=Number(2.0, above=1.0, hi=5.0, doc="most sensitivity peak Ms allowed over the whole range"),
    settle=Q("time", "8 h", lo="10 min", hi="7 d", doc="time in automatic before a case begins"),
    horizon=Q("time", "8 h", lo="10 min", hi="7 d", doc="time a case is judged"),
    judged=Maybe(Text(pattern=_SERIES, form=_SERIES_FORM),
                 doc="quantity to judge by; left out: what the instrument measures, without its errors"),
    judged_while=Maybe(Text(pattern=_SERIES, form=_SERIES_FORM), doc="judged only while this is above 0"),
    above=Maybe(Number(), doc="out of spec above this, in the unit of the measurement"),
    below=Maybe(Number(), doc="out of spec below this"),
    chemical=Maybe(Text(pattern=_SERIES, form=_SERIES_FORM), doc="counter of the chemical used, such as doser.dosed"),
    travel=Maybe(Reference("tag"), doc="tag of the actuator whose travel is counted; left out: what is moved"),
    averaging=Maybe(Section(
        "A level that shall take the surges.",
        swing=Number(above=0.0, doc="greatest change of what is moved that a surge asks for, in its unit"),
        allowed=Number(above=0.0, doc="greatest change of level allowed, in the unit of the measurement"),
    ), doc="of a level that smooths the flow: how far it may swing"),
    cases=MapOf(CASE, key=Name(""), doc="upsets the tuned loop is tried on"),
    predictor=Maybe(PREDICTOR, doc="dead-time compensation the program has; left out: none"),
    search=MapOf(Text(form="LOW .. HIGH, each with its unit"), key=Name("parameter"),
                 doc="parameters the optimiser turns besides the gains, with their range"),
    choices=MapOf(MapOf(Text(), key=Name("")), key=Name(""),
                  doc="ways to use the program: parameters to set, by the name of the choice"),
)
