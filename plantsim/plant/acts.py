"""From acts as people write them to plans: which cell of the plant is written, and with what number.

An act says when (`at`, `between` or `after`), what is set (`unit.quantity`, a tag or `program.variable`) and to what:

* ``1.8 m``, ``on``, ``35 %``: a value in the unit of what is set;
* ``x1.3``: so many times the value found when the act begins;
* ``+0.2 m``: that much more than it; ``+20 %`` of something that is not itself measured in per cent is ``x1.2``.

A minus sign belongs to the value (``-10 %`` of bias); what shall become less takes ``x0.8``.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from plantsim import records
from plantsim.arena import Arena
from plantsim.plant.fields import nearest, quoted
from plantsim.plant.model import Model, Tag, locate
from plantsim.plant.plans import ActPlan, Plans, Start
from plantsim.plant.program_variables import PLAIN, amount_in, find, refusal, spelled, value_of
from plantsim.plant.signals import dimensions_of
from plantsim.units import DIMENSIONS, QuantityError, sentence, to_si

Report = Callable[[str, str], None]
"""Takes a finding: the key it is about, and the sentence."""

SETTABLE: dict[str, tuple[str, ...]] = {
    "source_s": ("feed_factor", "fines_factor", "clay", "on"),
    "supply_s": ("available",),
    "line_s": ("plugged",),
    "bus_s": ("live",),
    "instrument_s": ("fouling", "drift"),
    "doser_s": ("store", "filter"),
    "makedown_s": ("powder",),
    "clarifier_s": ("channel", "packing"),
    "cell_s": ("digging",),
    "weather": ("air", "rain", "evaporation", "water"),
    "alarm_s": ("out",),
}
"""State that can be set from outside: none that holds material the balances count, for acts make none; all other
state the plant works out anew at every step."""
SWITCHES = ("check_valve", "restart")
"""Sizes that are on or off: no other whole number among the parameters may be set, for they say where things lie."""
_WORDS = {"on": 1.0, "yes": 1.0, "true": 1.0, "off": 0.0, "no": 0.0, "false": 0.0}
_TIMES = re.compile(r"x\s*(\d+\.?\d*|\.\d+)")
_PLAIN_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")


@dataclass(frozen=True)
class Act:
    """An act as written, its times in seconds.

    `report` takes what is wrong with it; `origin` is 'plant', 'scenario' or the name of an upset.
    """

    start: Start
    target: str
    to: str
    report: Report = field(repr=False)
    ramp: float = 0.0
    lasts: float = math.inf
    by: str = "cause"
    note: str = ""
    origin: str = "plant"


@dataclass(frozen=True)
class Places:
    """Where the named things of a plant are: all that is needed to tie an act to a cell.

    `unsure` names what could not be built: acts on it are no second finding.
    """

    units: Mapping[str, tuple[str, int]]
    tags: Mapping[str, Tag]
    programs: Mapping[str, Any]
    arena: Arena
    unsure: frozenset[str] = frozenset()

    @classmethod
    def of(cls, model: Model) -> Places:
        """Those of a plant ready to run."""
        return cls(model.units, model.tags, model.programs, model.arena)

    def writer(self, tag: int) -> tuple[str, tuple[int, int]] | None:
        """Program that writes a tag at every scan: its name, its number and how many tags it writes."""
        copies, programs = self.arena.copy_p, self.arena.program_p
        for name in self.programs:
            number = self.units[name][1]
            first, count = int(programs["copies_out"][number]), int(programs["n_out"][number])
            if any(int(copies["tag"][i]) == tag for i in range(first, first + count)):
                return name, (number, count)
        return None

    def source_of(self, cell: int) -> str | None:
        """Tag from which a variable of a program is read at every scan."""
        copies, programs = self.arena.copy_p, self.arena.program_p
        names = list(self.tags)
        for number in range(len(programs)):
            first, count = int(programs["copies_in"][number]), int(programs["n_in"][number])
            for i in range(first, first + count):
                if int(copies["cell"][i]) == cell:
                    return names[int(copies["tag"][i])]
        return None


def make_act(places: Places, act: Act) -> ActPlan | None:
    """Tie one act to the plant; None, and findings reported, when it does not fit.

    Parameters
    ----------
    places : Places
        The plant.
    act : Act
        What is done.
    """
    head = act.target.partition(".")[0]
    if head in places.unsure:
        return None
    if "." not in act.target:
        made = _on_tag(places, act)
    elif head in places.programs:
        made = _on_variable(places, act)
    else:
        made = _on_quantity(places, act)
    if made is None:
        return None
    if act.ramp > 0.0 and made["kind"] == "integer":
        act.report("ramp", sentence(f"a ramp of {act.target}, which has no values between", "no ramp"))
        return None
    if act.lasts <= act.ramp:
        act.report("for", sentence(quoted(spelled(act.lasts)), f"more than the ramp, {spelled(act.ramp)}"))
        return None
    over = f" over {spelled(act.ramp)}" if act.ramp > 0.0 else ""
    words = act.note or f"{act.target} set to {act.to}{over}"
    return ActPlan(act.start, words=words, ramp=act.ramp, lasts=act.lasts, by=act.by, origin=act.origin, **made)


def make_acts(places: Places, acts: Iterable[Act]) -> list[ActPlan]:
    """Tie acts to the plant, those at one time in the order written; what does not fit is reported."""
    made = [plan for act in acts if (plan := make_act(places, act)) is not None]
    return sorted(made, key=lambda plan: plan.start.low + plan.start.after)


def acting(model: Model, plans: Iterable[ActPlan]) -> Model:
    """The same plant with more acts: another model with a memory of its own, which shares all that does not change.

    Parameters
    ----------
    model : Model
        A plant; it is not changed.
    plans : iterable of ActPlan
        Acts that come after those it has.

    Returns
    -------
    Model
        Its memory begins as that of the first: the agenda stands last.
    """
    from dataclasses import replace

    items = Plans([*model.plans.items, *plans])
    arena = Arena({**model.arena.counts, "agenda": items.slots})
    arena.mem[: len(model.arena.mem)] = model.arena.mem
    return replace(model, arena=arena, plans=items)


# --- what is set ---


def _on_tag(places: Places, act: Act) -> dict[str, Any] | None:
    tag = places.tags.get(act.target)
    if tag is None:
        act.report("set", sentence(quoted(act.target), "unit.quantity, program.variable or a tag",
                                   nearest(act.target, places.tags)))  # fmt: skip
        return None
    if tag.role in ("instrument", "switch"):
        act.report("set", sentence(f"'{tag.name}', which its instrument writes",
                                   f"a fault of it, such as {tag.name}.bias or {tag.name}.stuck"))  # fmt: skip
        return None
    writer = places.writer(tag.index)
    if writer is not None and act.by != "operator":
        act.report("set", sentence(
            f"'{tag.name}', which program {writer[0]} writes at every scan",
            "by: operator, who takes it out of the program's hands; or a fault of what it acts on"))  # fmt: skip
        return None
    number = _number(act, lambda text: _in_unit(text, tag.unit), tag.unit == "%")
    if number is None:
        return None
    hand, back = (writer[1], writer[0]) if writer is not None else (None, "")
    return dict(cell=places.arena.cell("tags", tag.index), kind="real", factor=number[0], number=number[1],
                hand=hand, tag=tag.index, back=back)  # fmt: skip


def _on_variable(places: Places, act: Act) -> dict[str, Any] | None:
    try:
        instance, variable = find(places.programs, act.target)
    except QuantityError as error:
        act.report("set", str(error))
        return None
    cell = places.arena.cell("control", instance.base + variable.cell)
    source = places.source_of(cell)
    connected = {variable.name.casefold(): source} if source is not None else {}
    refused = refusal(variable, act.target, math.isfinite(act.lasts) or act.ramp > 0.0, connected)
    if refused is not None:
        act.report("set", refused)
        return None
    number = _number(act, lambda text: float(value_of(variable, text)), variable.unit == "%")
    if number is None:
        return None
    kind = "integer" if not variable.is_real else "single" if variable.type == "REAL" else "real"
    return dict(cell=cell, kind=kind, factor=number[0], number=number[1])


def _on_quantity(places: Places, act: Act) -> dict[str, Any] | None:
    unit, _, quantity = act.target.partition(".")
    found: tuple[str, int, str] | None
    if unit == "weather":
        found = ("weather", 0, quantity) if quantity in SETTABLE["weather"] else None
        known = list(SETTABLE["weather"])
    elif unit not in places.units:
        near = nearest(unit, [*places.units, *places.programs])
        act.report("set", sentence(f"'{act.target}', but there is no unit '{unit}'", "unit.quantity",
                                   f"{near}.{quantity}" if near else None))  # fmt: skip
        return None
    else:
        found = locate(dict(places.units), unit, quantity)
        known = _settable(places, unit)
    if found is None or quantity not in known:
        what = "has no such quantity" if found is None else "works that out anew at every step"
        name = places.units[unit][0] if unit != "weather" else ""
        kind = unit if unit == "weather" else f"{'an' if name[0] in 'aeiou' else 'a'} {name}"
        near = nearest(quantity, known)
        act.report("set", sentence(f"'{act.target}', but {kind} {what}", ", ".join(known),
                                   f"{unit}.{near}" if near else None))  # fmt: skip
        return None
    array, index, name = found
    si = records.FIELD_UNITS[array][name][0]
    integer = places.arena.is_integer(array, name)
    number = _number(act, lambda text: _in_si(text, si, integer), False)
    if number is None:
        return None
    return dict(cell=places.arena.cell(array, index, name), kind="integer" if integer else "real",
                factor=number[0], number=number[1])  # fmt: skip


def _settable(places: Places, unit: str) -> list[str]:
    """Faults, state and sizes of a unit and its motor that can be set."""
    names: list[str] = []
    for one in (unit, f"{unit}-motor"):
        if one not in places.units:
            continue
        kind = places.units[one][0]
        names += list(records.FIELD_UNITS.get(kind + "_f", {}))
        names += SETTABLE.get(kind + "_s", ())
        names += [n for n in records.FIELD_UNITS.get(kind + "_p", {})
                  if not places.arena.is_integer(kind + "_p", n) or n in SWITCHES]  # fmt: skip
    return names


# --- values ---


def _number(act: Act, read: Callable[[str], float], in_percent: bool) -> tuple[float, float] | None:
    """Factor on the value found, and number added to it."""
    text = act.to.strip()
    times = _TIMES.fullmatch(text)
    try:
        if times:
            return float(times[1]), 0.0
        if text.startswith("+"):
            share = text[1:].strip()
            if share.endswith("%") and not in_percent:
                return 1.0 + to_si(share, "fraction"), 0.0
            return 1.0, read(share) - read_zero(read, share)
        return 0.0, read(text)
    except QuantityError as error:
        act.report("to", str(error))
        return None


def read_zero(read: Callable[[str], float], text: str) -> float:
    """What nought reads as in the unit of a text: not nought where the scale has an offset, as degF has."""
    match = _PLAIN_NUMBER.match(text)
    return read("0" + text[match.end():]) if match else 0.0


def _in_unit(text: str, unit: str) -> float:
    """A text as a number in the unit of a tag."""
    if unit in PLAIN:
        if text.casefold() in _WORDS:
            return _WORDS[text.casefold()]
        if _PLAIN_NUMBER.fullmatch(text):
            return float(text)
        raise QuantityError(quoted(text), "on, off or a number without unit")
    value = amount_in(text, unit)
    if value is not None:
        return value
    number = text.removesuffix(unit).strip()
    if text.endswith(unit) and _PLAIN_NUMBER.fullmatch(number):
        return float(number)
    raise QuantityError(quoted(text), f"a number in {unit}")


def _in_si(text: str, si: str, integer: bool) -> float:
    """A text as a number in the unit in which the plant keeps a quantity."""
    if integer or si in ("-", "1"):
        value = _WORDS.get(text.casefold())
        if value is None and not integer:
            value = to_si(text, "fraction") if text.endswith("%") else _plain(text, "a number, a share in %, on or off")
        if value is None:
            value = _plain(text, "on, off or a whole number")
        if integer and value != int(value):
            raise QuantityError(quoted(text), "on, off or a whole number")
        return value
    known = [*dimensions_of(si), *(name for name, place in DIMENSIONS.items() if place.si == si)]
    if si == "kg/kg":
        known.append("fraction")
    first: QuantityError | None = None
    for dimension in known:
        try:
            value = to_si(text, dimension)
        except QuantityError as error:
            first = first or error
            continue
        return value - 273.15 if si == "degC" else value  # the plant keeps degrees Celsius
    if first is not None:
        raise first
    return _plain(text, f"a number, in {si}")


def _plain(text: str, allowed: str) -> float:
    if not _PLAIN_NUMBER.fullmatch(text):
        raise QuantityError(quoted(text), allowed)
    return float(text)
