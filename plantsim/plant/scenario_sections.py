"""What may stand in acts, in a scenario file and in the description of an upset."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from plantsim.plant.schema import (
    Choice,
    Flag,
    Integer,
    ListOf,
    MapOf,
    Maybe,
    Name,
    Quantity,
    Section,
    Text,
)

PATH = r"[A-Za-z][A-Za-z0-9_-]*(\.[A-Za-z_0-9]+(\[[0-9, -]+\])?)*"
_VALUE = "a value with its unit; or on, off, x1.3, +0.2 m"
_BY = Choice(("cause", "operator"), "cause",
             doc="who does it; an operator takes a tag that a program writes out of its hands")
_NOTE = Maybe(Text(), doc="words for the journal")
_TARGET = Text(doc="unit.quantity, tag or program.variable that is set", pattern=PATH,
               form="unit.quantity, a tag or program.variable")
_TO = Text(doc="value with its unit, on or off; x1.3 times what it was, +0.2 m more than it was", form=_VALUE)
_AT = Maybe(Quantity("time", lo="0 s"), doc="time after the start of the run")
_BETWEEN = Maybe(ListOf(Quantity("time", lo="0 s"), least=2, most=2),
                 doc="instead of `at`: two times; the seed draws one between them")

ACT = Section(
    "Something done at a time: a quantity, tag or variable of a program is set.",
    at=_AT, between=_BETWEEN, set=_TARGET, to=_TO,
    ramp=Quantity("time", "0 s", lo="0 s", doc="time in which the value gets there; 0 s: at once"),
    for_=Maybe(Quantity("time", above="0 s"), doc="time after which the earlier value comes back; left out: it stays"),
    by=_BY, note=_NOTE,
)

SCENARIO = Section(
    "What is done to a plant in a run.",
    title=Maybe(Text(), doc="what the scenario is called"),
    note=Maybe(Text(), doc="a line about it"),
    upsets=ListOf(Section(
        "An upset that happens in the scenario.",
        upset=Text(doc="its name, as `plantsim upsets` lists them"),
        at=_AT, between=_BETWEEN,
        for_=Maybe(Quantity("time", above="0 s"), doc="time after which its causes are taken back"),
        with_=MapOf(Text(), key=Name(), doc="other values of its parameters"),
        parts=MapOf(Text(), key=Name(), doc="other units or tags for its parts"),
        respond=Flag(False, doc="yes: the operator answers as the upset describes"),
    ), doc="upsets"),
    acts=ListOf(ACT, doc="further acts"),
)


@dataclass(frozen=True)
class OrParameter(Quantity):
    """A quantity, or the name of a parameter of the upset after a dollar sign."""

    def parse(self, text: str) -> Any:
        return text if text.startswith("$") else super().parse(text)


UPSET_ACT = Section(
    "What an upset, or the answer to it, does to the plant.",
    after=OrParameter("time", "0 s", lo="0 s", doc="time after the cause"),
    set=Text(doc="part.quantity, or a part that is a tag", pattern=PATH,
             form="part.quantity, or a part that is a tag"),
    to=Text(doc="value with its unit, on or off, x1.3, +0.2 m, or a $parameter", form=f"{_VALUE}, $parameter"),
    ramp=OrParameter("time", "0 s", lo="0 s", doc="time in which the value gets there"),
    for_=Maybe(OrParameter("time", above="0 s"), doc="time after which the earlier value comes back"),
    by=Maybe(Choice(("cause", "operator")), doc="who does it; left out: the cause under `acts`, the operator under "
                                                "`respond`"),
    note=_NOTE,
)
KINDS = ("source", "supply", "vessel", "line", "pump", "doser", "makedown", "splitter", "clarifier", "bank", "cell",
         "press", "bus", "actuator", "instrument", "program", "tag")
UPSET = Section(
    "An upset: its causes, what is seen of it and when, the answer, and what comes of none.",
    number=Integer(lo=1, doc="its number in the list"),
    title=Text(doc="what it is called"),
    cause=Text(doc="what it comes of"),
    begin=Quantity("time", "7 h", lo="0 s", doc="time of the cause in its test, after the start of the run"),
    horizon=Quantity("time", "3 h", above="0 s", doc="time for which it is followed after the cause"),
    shown_on=ListOf(Text(), least=1,
                    doc="demonstration plants on which its times are tested, by the names of their files"),
    parts=MapOf(Section(
        "A part of the plant that takes part, by the name it has in this file.",
        kind=Choice(KINDS, doc="what it is: a kind of unit, an instrument, a program or another tag"),
        names=ListOf(Text(), doc="its usual names: the first that a plant has is taken"),
        measures=Maybe(Text(), doc="for an instrument: what it measures, as part.quantity"),
        optional=Flag(False, doc="yes: what speaks of it is left out where a plant has none"),
        words=Maybe(Text(), doc="what it is, in words"),
    ), key=Name(), least=1, doc="parts that take part"),
    parameters=MapOf(Section(
        "A number that can be chosen.",
        value=Text(doc="usual value, with its unit"),
        low=Maybe(Text(), doc="least value, in the same unit"),
        high=Maybe(Text(), doc="greatest value, in the same unit"),
        words=Text(doc="what it is"),
    ), key=Name(), doc="numbers that can be chosen; used as $name"),
    acts=ListOf(UPSET_ACT, least=1, doc="causes, and nothing else: what follows is the plant's own doing"),
    symptoms=ListOf(Section(
        "Something seen of it: a quantity departs from the run in which nothing is done.",
        of=Text(doc="part.quantity, or a part that is a tag", pattern=PATH, form="part.quantity, or a part"),
        goes=Choice(("up", "down", "away", "on", "off"), doc="how it departs"),
        by=Maybe(Text(), doc="departure that counts, with the unit it is recorded in; left out for on and off"),
        held=Quantity("time", "0 s", lo="0 s", doc="time for which it must last"),
        mean=Maybe(Quantity("time", above="0 s"), doc="means over this time are compared, where a quantity swings"),
        from_=Quantity("time", "0 s", lo="0 s", doc="earliest time after the cause"),
        until=Quantity("time", above="0 s", doc="latest time after the cause"),
        words=Text(doc="what is seen"),
        note=Maybe(Text(), doc="why this window"),
    ), least=2, doc="in the order in which they come"),
    respond=ListOf(UPSET_ACT, least=1, doc="the operator's answer"),
    missed=ListOf(Text(), least=1,
                  doc="acceptance sentences that fail when nobody acts, and hold when the answer is given"),
    consequence=Text(doc="what comes of it when nobody acts, in words"),
    cautions=ListOf(Text(), doc="what could hurt someone"),
    note=Maybe(Text(), doc="what the model leaves out"),
)
