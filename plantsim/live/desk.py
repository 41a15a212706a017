"""Who may do what, and whether it makes sense: every request of a browser is judged here before it is done.

A request is a small JSON object with an `act` and a fixed set of keys. Nothing in it is ever run: names are looked up
in tables made from the plant file, numbers are bounded, texts are kept short and only shown.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from plantsim import records
from plantsim.errors import PlantsimError
from plantsim.plant.fields import nearest, quoted
from plantsim.plant.model import Model
from plantsim.plant.plans import DeliveryPlan
from plantsim.plant.program_variables import unit_of
from plantsim.units import sentence

TRAINER, OPERATOR = "trainer", "operator"
ROLES = (TRAINER, OPERATOR)
PULSED = ("reset", "next")
"""Operator points that are pressed, not switched: they fall back by themselves."""
LONGEST_TEXT = 400
"""Longest note [characters]."""

OPERATOR_ACTS = frozenset({"set", "ack", "alarm-reset", "shelve", "unshelve", "field", "note"})
TRAINER_ACTS = OPERATOR_ACTS | {
    "upset",
    "end-upset",
    "cause",
    "run",
    "pause",
    "minute",
    "speed",
    "save",
    "back",
    "lesson",
    "finish",
    "reveal",
}
"""What each role may ask for; what stands in neither is refused to everybody."""
MAY: dict[str, frozenset[str]] = {TRAINER: frozenset(TRAINER_ACTS), OPERATOR: OPERATOR_ACTS}


class Refusal(PlantsimError):
    """A request that is not carried out; the sentence says why.

    `status` is the HTTP status that goes with it: 400 for nonsense, 403 for what a role may not do, 409 for what
    cannot be done now.
    """

    exit_code = 2

    def __init__(self, words: str, status: int = 400) -> None:
        super().__init__(words)
        self.status = status


@dataclass(frozen=True)
class OperatorPoint:
    """Something an operator may change: an input of a program, or a hand switch of the I/O image.

    Parameters
    ----------
    path : str
        `program.variable`, or a tag.
    program : str
        The program; empty for a tag.
    kind : str
        'switch', 'press' (falls back by itself), 'number', 'whole' or 'time'.
    unit, words : str
        Unit of the value, and what it is.
    low, high : float
        Least and most value.
    every : float
        Time between two scans that read it, [s]
    """

    path: str
    program: str
    kind: str
    unit: str
    words: str
    low: float
    high: float
    every: float

    def fit(self, value: Any) -> float:
        """The value as it will be written; TIME stays in seconds.

        Raises
        ------
        Refusal
            If it is none, or out of range.
        """
        if self.kind in ("switch", "press"):
            if value not in (True, False, 0, 1) or isinstance(value, float):
                raise Refusal(f"{self.path}: {sentence(quoted(str(value)[:40]), 'on or off')}")
            return float(bool(value))
        number = number_of(value, self.path)
        if self.kind == "whole" and number != math.floor(number):
            raise Refusal(f"{self.path}: {sentence(f'{number:g}', 'a whole number')}")
        if not self.low <= number <= self.high:
            raise Refusal(
                f"{self.path}: {sentence(f'{number:g} {self.unit}', f'{self.low:g} to {self.high:g} {self.unit}')}"
            )
        return number

    def shown(self, value: float) -> str:
        """A value of it in words."""
        if self.kind in ("switch", "press"):
            return "on" if value else "off"
        return f"{value:.6g}" + ("" if self.unit in ("1", "-", "") else f" {self.unit}")


def operator_points(model: Model) -> dict[str, OperatorPoint]:
    """What an operator may change on a plant, by path, in the order of the plant file.

    An input marked `{operator}` that the plant file ties to a tag is read from that tag: the tag counts instead. Flags
    that no program writes are hand switches.
    """
    found: dict[str, OperatorPoint] = {}
    tied, written = _tied(model)
    for name, instance in model.programs.items():
        record = model.arena.program_p[model.units[name][1]]
        every = float(record["cycle_ms"]) / 1000.0
        for variable in instance.program.inputs:
            cell = model.arena.cell("control", instance.base + variable.cell)
            if variable.operator is None or cell in tied:
                continue
            low, high = variable.operator
            kind = "number" if variable.is_real else "whole"
            if variable.type == "BOOL":
                kind, low, high = "press" if variable.name.casefold() in PULSED else "switch", 0.0, 1.0
            elif variable.type == "TIME":
                kind, low, high = "time", max(low, 0.0), min(high, 30 * 86400.0)
            path = f"{name}.{variable.name}"
            found[path] = OperatorPoint(path, name, kind, unit_of(variable), variable.comment, low, high, every)
    for tag in model.tags.values():
        if tag.role == "flag" and tag.index not in written:
            switch = tag.unit in ("1", "-", "")
            bounds = (0.0, 1.0) if switch else (-math.inf, math.inf)
            found[tag.name] = OperatorPoint(
                tag.name, "", "switch" if switch else "number", tag.unit, tag.meaning, *bounds, model.step
            )
    return found


def _tied(model: Model) -> tuple[set[int], set[int]]:
    """Cells of program inputs that are read from tags, and tags that a program writes."""
    copies, programs = model.arena.copy_p, model.arena.program_p
    tied: set[int] = set()
    written: set[int] = set()
    for number in range(len(programs)):
        first, count = int(programs["copies_in"][number]), int(programs["n_in"][number])
        tied.update(int(copies["cell"][i]) for i in range(first, first + count))
        first, count = int(programs["copies_out"][number]), int(programs["n_out"][number])
        written.update(int(copies["tag"][i]) for i in range(first, first + count))
    return tied, written


@dataclass(frozen=True)
class FieldWork:
    """Something a crew can do on the plant when the control room asks for it.

    Parameters
    ----------
    name, words : str
        How it is asked for, and what is done.
    writes : tuple of (int, bool, float)
        Cells it changes, whether they hold integers, and to what.
    takes : float
        Time until it is done, [s]
    sample : str
        Instrument beside which a hand sample is taken; empty: none is.
    """

    name: str
    words: str
    writes: tuple[tuple[int, bool, float], ...]
    takes: float
    sample: str = ""


PROBE, ROUND, RODDING, SUPPLY = 600.0, 900.0, 1800.0, 7200.0
"""Time for a probe or a sample, a machine, a plugged line, and an urgent delivery [s] (common practice, no source)."""
_WEARS = {
    "instrument_s": ("fouling", "drift"),
    "line_s": ("plugged", "deposit"),
    "doser_s": ("filter",),
    "motor_s": ("tripped",),
}
"""State that a repair puts back to nothing, beside all faults."""


def field_works(model: Model) -> dict[str, FieldWork]:
    """What a crew can do on a plant: look after machines and instruments, rod lines, take samples, fetch supplies.

    Looking after a thing puts it right whatever its fault was: finding out which thing it is, is the operator's part.
    """
    works: dict[str, FieldWork] = {}
    writes: dict[str, list[tuple[int, bool, float]]] = {}
    kinds: dict[str, str] = {}
    for unit, (kind, index) in model.units.items():
        name = unit.removesuffix("-motor")
        kinds[name] = kind
        for array, fields in ((f"{kind}_f", None), (f"{kind}_s", _WEARS.get(f"{kind}_s", ()))):
            if array in model.arena.arrays and array in records.FIELD_UNITS:
                for field in records.FIELD_UNITS[array] if fields is None else fields:
                    cell = model.arena.cell(array, index, field)
                    integer = model.arena.is_integer(array, field)
                    usual = model.arena.mem.view("i8")[cell] if integer else model.arena.mem[cell]
                    writes.setdefault(name, []).append((cell, integer, float(usual) if fields is None else 0.0))
    for name, cells in writes.items():
        verb, takes = _care(kinds[name])
        works[f"{verb} {name}"] = FieldWork(f"{verb} {name}", f"{verb} {name} and put it right", tuple(cells), takes)
    for tag in model.tags.values():
        if tag.role == "instrument" and tag.unit in ("NTU", "kg/m3", "g/L"):
            words = f"take a hand sample beside {tag.name}"
            works[f"sample {tag.name}"] = FieldWork(f"sample {tag.name}", words, (), PROBE, tag.name)
    for plan in model.plans.items:
        if isinstance(plan, DeliveryPlan):
            works[f"refill {plan.name}"] = FieldWork(
                f"refill {plan.name}",
                f"fetch an urgent delivery for {plan.name}",
                ((plan.cell, False, plan.full),),
                SUPPLY,
            )
    return works


def _care(kind: str) -> tuple[str, float]:
    """How a crew looks after a kind of thing, and how long that takes [s]."""
    if kind == "instrument":
        return "check", PROBE
    if kind == "line":
        return "rod", RODDING
    return "repair", ROUND


# ------------------------------------------------------------------ reading requests
def number_of(value: Any, what: str) -> float:
    """A finite number; true and false are none.

    Raises
    ------
    Refusal
        If it is something else.
    """
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value) or abs(value) > 1e12:
        raise Refusal(f"{what}: {sentence(quoted(str(value)[:40]), 'a number')}")
    return float(value)


def text_of(value: Any, what: str, longest: int = LONGEST_TEXT, empty: bool = False) -> str:
    """A text of one line, without control characters.

    Raises
    ------
    Refusal
        If it is none, empty, or too long.
    """
    if not isinstance(value, str):
        raise Refusal(f"{what}: {sentence(type(value).__name__, 'a text')}")
    text = " ".join("".join(c if c.isprintable() else " " for c in value).split())
    if len(text) > longest or (not text and not empty):
        raise Refusal(f"{what}: {sentence(f'{len(text)} characters', f'1 to {longest} characters')}")
    return text


def one_of(value: Any, known: Mapping[str, Any] | frozenset[str], what: str) -> str:
    """A name that stands in a table.

    Raises
    ------
    Refusal
        If it does not; names the nearest.
    """
    if not isinstance(value, str) or value not in known:
        raise Refusal(
            f"{what}: {sentence(quoted(str(value)[:60]), 'a name of this plant', nearest(str(value)[:60], known))}"
        )
    return value


def request_of(body: Any, keys: Mapping[str, Callable[[Any], Any]], needed: tuple[str, ...]) -> dict[str, Any]:
    """A request with only the keys known, each read by its reader.

    Raises
    ------
    Refusal
        On a key that is not known or is missing.
    """
    unknown = set(body) - set(keys) - {"act"}
    if unknown:
        raise Refusal(f"found '{sorted(unknown)[0][:40]}'; allowed: {', '.join(keys) or 'nothing more'}")
    missing = [key for key in needed if key not in body]
    if missing:
        raise Refusal(f"'{missing[0]}' is missing")
    return {key: read(body[key]) for key, read in keys.items() if key in body}


def allowed(role: str, body: Any) -> str:
    """The act a request asks for, when its role may ask for it.

    Raises
    ------
    Refusal
        With status 403 when it may not.
    """
    if not isinstance(body, dict) or not isinstance(body.get("act"), str):
        raise Refusal("a request is an object with an 'act'")
    act = body["act"]
    if act not in TRAINER_ACTS:
        raise Refusal(f"found '{act[:40]}'; allowed: {', '.join(sorted(MAY.get(role, ())))}")
    if act not in MAY.get(role, frozenset()):
        raise Refusal(f"'{act}' is for the trainer", 403)
    return act
