"""Which recorded series, units and figures a sentence means, and what is wrong with the names it uses."""

from __future__ import annotations

import difflib
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from plantsim.analysis.checks import sentence as s
from plantsim.errors import PlantsimError
from plantsim.plant.fields import nearest
from plantsim.units import DIMENSIONS, QuantityError, sentence, spell, unit_factor

_SLIP, _SHORT_SLIP = 0.88, 0.75
"""How like a quantity a name must be to count as a slip of the pen, not as a figure; and one of a single word."""
COUNTERS = {"spill": ("spilled", "overtopped"), "starts": ("starts", "running")}
_PARTS = {"runs": (".running",), "trips": (".tripped",), "on": ("", ".running"), "": ("", ".running")}


class NameRefusal(PlantsimError, ValueError):
    """Raised when a sentence names what a plant has not, or a unit that does not fit; a finding without a place."""


@dataclass(frozen=True)
class Needs:
    """What a sentence has to be given: series, and figures, balances or the times of washing."""

    series: frozenset[str]
    figures: frozenset[str]
    closure: bool = False
    running: bool = False


def state_series(state: s.State, known: Mapping[str, str]) -> str:
    """Name of the series a state is read from."""
    for part in _PARTS[state.kind]:
        if state.name + part in known:
            return state.name + part
    if state.kind == "runs" and known.get(state.name, "") == "1":
        return state.name
    part = _PARTS[state.kind][-1]
    words = [name.removesuffix(part) for name in known if name.endswith(part)]
    words += [name for name in known if "." not in name] if state.kind in ("on", "") else []
    what = {"runs": "something that runs", "trips": "something that trips"}.get(state.kind, "a tag, or what runs")
    raise NameRefusal(sentence(f"'{state.name}'", what, nearest(state.name, words)))


def counter_series(unit: str, what: str, known: Mapping[str, str]) -> str:
    """Name of the series a counter of a unit is read from."""
    for field in COUNTERS[what]:
        if f"{unit}.{field}" in known:
            return f"{unit}.{field}"
    fields = COUNTERS[what]
    words = [name.rpartition(".")[0] for name in known if name.rpartition(".")[2] in fields]
    have = {"spill": "a unit that can spill", "starts": "a motor, such as P-101"}[what]
    raise NameRefusal(sentence(f"'{unit}'", have, nearest(unit, words)))


def quantity_series(name: str, known: Mapping[str, str]) -> str:
    """Name of the series of a quantity."""
    if name in known:
        return name
    unit = name.partition(".")[0]
    own = [one for one in known if one.startswith(unit + ".")]
    raise NameRefusal(sentence(f"'{name}'", "a recorded quantity or a tag", nearest(name, own or known)))


def in_unit(amount: s.Amount, unit: str, difference: bool = False) -> float:
    """A number of a sentence in the unit of a series; `difference`: of two readings, so offsets do not count.

    >>> in_unit(s.Amount(100.0, "gpm"), "m3/h"), in_unit(s.Amount(3.0), "1")
    (22.712470704, 3.0)
    """
    wanted, own = ("1" if u in ("-", "") else spell(u) for u in (unit, amount.unit))
    if own == wanted:
        return amount.value
    if wanted != "1":
        for dimension in DIMENSIONS:
            try:
                scale, offset, _ = unit_factor(wanted, dimension)
                mine, off, _ = unit_factor(own, dimension)
            except QuantityError:
                continue
            if difference:
                offset = off = 0.0
            return float(f"{(amount.value * mine + off - offset) / scale:.12g}")
    allowed = "a plain number" if wanted == "1" else f"a number with its unit, which goes with {wanted}"
    raise NameRefusal(sentence(f"'{amount}'", allowed, f"{amount.value:g} {unit}" if own == "1" else None))


def needs(check: s.Sentence, known: Mapping[str, str]) -> Needs:
    """What a sentence has to be given, its names and units checked.

    Parameters
    ----------
    check : Sentence
        The sentence.
    known : mapping of str to str
        Unit of every series that can be recorded, by name.

    Raises
    ------
    NameRefusal
        If it names what there is not.
    """
    series: set[str] = set()
    wanted: set[str] = set()
    requirement = check.requirement
    figure = figure_of(check, known)
    for part in () if figure else _conditions(check):
        if isinstance(part, s.Compare):
            series |= compare_series(part, known)
        elif isinstance(part, s.State):
            series.add(state_series(part, known))
    match requirement:
        case s.Rise():
            series.add(counter_series(requirement.unit, requirement.what, known))
            _fits(requirement.limit, known[counter_series(requirement.unit, requirement.what, known)])
        case s.Count(starts=unit) if unit:
            series.add(counter_series(unit, "starts", known))
        case s.Statistic():
            series |= compare_series(requirement.limit, known)
    if figure:
        wanted.add(figure)
    running = isinstance(requirement, s.Share) and requirement.running
    return Needs(frozenset(series), frozenset(wanted), isinstance(requirement, s.Closure), running)


def figure_of(check: s.Sentence, known: Mapping[str, str], partial: bool = False) -> str:
    """Name of the figure a sentence is about, or nothing: no quantity of the unit has that name, or one near it.

    `partial`: `known` is only what was recorded, so a unit may be missing from it.
    """
    requirement = check.requirement
    if check.anchor is None and check.given is None and isinstance(requirement, s.Always):
        limit = requirement.condition
        if isinstance(limit, s.Compare) and limit.name not in known and "." in limit.name and not limit.other:
            unit, _, quantity = limit.name.partition(".")
            own = [name.partition(".")[2] for name in known if name.startswith(unit + ".")]
            slip = difflib.get_close_matches(quantity, own, 1, _SLIP if "_" in quantity else _SHORT_SLIP)
            if unit == "plant" or ((own or partial) and not slip):
                return limit.name
    return ""


def compare_series(limit: s.Compare, known: Mapping[str, str]) -> set[str]:
    """Names of the series a comparison looks at, its units checked."""
    names = {quantity_series(limit.name, known)}
    _fits(limit, known[limit.name])
    if limit.other:
        names.add(quantity_series(limit.other, known))
        if known[limit.other] != known[limit.name]:
            found = f"'{limit.other}' in {known[limit.other]}"
            raise NameRefusal(sentence(found, f"a quantity in {known[limit.name]}"))
    return names


def _fits(limit: s.Compare, unit: str) -> None:
    for amount in (limit.low, limit.high):
        if amount is not None:
            value = in_unit(amount, unit, limit.how == "near" and amount is limit.high)
            assert math.isfinite(value)


def _conditions(check: s.Sentence) -> Iterator[s.Condition]:
    """All simple conditions of a sentence."""
    requirement = check.requirement
    for top in (
        check.anchor, check.given, getattr(requirement, "condition", None), getattr(requirement, "event", None),
        *getattr(requirement, "steps", ()),
    ):  # fmt: skip
        yield from _simple(top)


def _simple(part: object) -> Iterator[s.Condition]:
    if isinstance(part, s.Compare | s.State):
        yield part
    elif isinstance(part, s.Both):
        for one in part.parts:
            yield from _simple(one)
    elif isinstance(part, s.Not | s.Held):
        yield from _simple(part.part)
