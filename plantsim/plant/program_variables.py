"""Variables of control programs from outside: values as people write them, watching them, writing them."""

from __future__ import annotations

import difflib
import math
from collections.abc import Iterable, Mapping
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from plantsim.arena import Arena
from plantsim.errors import ConfigError
from plantsim.plant.fields import quoted
from plantsim.plant.model import Channel
from plantsim.plant.plans import Write
from plantsim.units import DIMENSIONS, QuantityError, sentence, to_si, unit_factor

if TYPE_CHECKING:
    from plantsim.plant.tree import Tree
    from plantsim.st import Variable

WATCHED = "variable of program "
"""Begins the meaning of every watched series, so that a picture can tell it from a quantity of the plant."""

PLAIN = ("", "1", "-")
"""Units that are none."""

_WORDS = {"yes": 1, "true": 1, "on": 1, "no": 0, "false": 0, "off": 0}


# --- values as people write and read them ---


@lru_cache(maxsize=256)
def homes(unit: str) -> tuple[str, ...]:
    """Dimensions a unit belongs to, the likeliest first."""
    found = []
    for name in DIMENSIONS:
        try:
            unit_factor(unit, name)
            found.append(name)
        except QuantityError:
            continue
    return tuple(found)


def value_of(variable: Variable, text: str) -> float | int:
    """Value of a text in the type and unit of a variable.

    Parameters
    ----------
    variable : Variable
        Variable of a program.
    text : str
        `on` or `off`, a name of its enumeration, a length of time, a number with unit, or without where the
        variable has none.

    Returns
    -------
    float or int
        As the program holds it: TIME in milliseconds, REAL not yet rounded.

    Raises
    ------
    QuantityError
        If it is none, or does not fit the type.
    """
    text = text.strip()
    if variable.type == "BOOL":
        if text.casefold() not in _WORDS:
            raise QuantityError(quoted(text), "on, off, yes, no")
        return _WORDS[text.casefold()]
    if variable.choices:
        named = {name.casefold(): value for name, value in variable.choices.items()}
        if text.casefold() not in named:
            raise QuantityError(quoted(text), ", ".join(variable.choices), nearest(text, variable.choices))
        return named[text.casefold()]
    if variable.type == "TIME":
        return round(to_si(text, "time") * 1000.0)
    unit = variable.unit or ""
    if unit in PLAIN:
        try:
            value = float(text)
        except ValueError:
            raise QuantityError(quoted(text), "a number without unit") from None
    else:
        value = _quantity(text, unit)
    return fitted(variable, value, text)


def fitted(variable: Variable, value: float, text: str) -> float | int:
    """A number as a variable's type holds it; `text` is what the user wrote, for the message.

    Raises
    ------
    QuantityError
        If it does not fit.
    """
    if not math.isfinite(value):
        raise QuantityError(quoted(text), "a finite number")
    if variable.is_real:
        return value
    if value != math.floor(value):
        raise QuantityError(quoted(text), f"a whole number, as {variable.type} holds")
    low = -(1 << (variable.bits - 1)) if variable.signed and variable.bits > 1 else 0
    high = (1 << (variable.bits - 1 if variable.signed and variable.bits > 1 else variable.bits)) - 1
    if not low <= value <= high:
        raise QuantityError(quoted(text), f"{low} to {high}, as {variable.type} holds")
    return int(value)


def _quantity(text: str, unit: str) -> float:
    """A quantity text in a program's unit."""
    value = amount_in(text, unit)
    if value is None:
        raise QuantityError(f"the program's unit '{unit}', which is unknown", "a unit of the trade in its pragma")
    return value


def amount_in(text: str, unit: str) -> float | None:
    """A quantity text as a number in a unit; None when that unit belongs to no dimension.

    Raises
    ------
    QuantityError
        If the text is no quantity of any dimension the unit belongs to; says what the likeliest allows.

    Examples
    --------
    >>> amount_in("1.5 m", "mm"), amount_in("3 wag", "wag")
    (1500.0, None)
    """
    first: QuantityError | None = None
    for dimension in homes(unit):
        try:
            si = to_si(text, dimension)
        except QuantityError as error:
            first = first or error
            continue
        scale, offset, _ = unit_factor(unit, dimension)
        return float(f"{(si - offset) / scale:.15g}")
    if first is not None:
        raise first
    return None


def unit_of(variable: Variable) -> str:
    """Unit a variable is shown in; 1 when it has none."""
    if variable.type == "TIME":
        return "s"
    return "1" if (variable.unit or "") in PLAIN else str(variable.unit)


def shown(variable: Variable, value: float | int) -> str:
    """Value of a variable in words: on, a name, a length of time, or a number with unit.

    Examples
    --------
    >>> from plantsim.st import compile_program
    >>> p = compile_program("PROGRAM P VAR_OUTPUT v : REAL; {unit 'm3/h'} t : TIME; b : BOOL; END_VAR END_PROGRAM")
    >>> [shown(p.variable(name), value) for name, value in (("v", 340.25), ("t", 90500), ("b", 1))]
    ['340.25 m3/h', '1min30.5s', 'on']
    """
    if variable.type == "BOOL":
        return "on" if value else "off"
    if variable.choices:
        return next((name for name, number in variable.choices.items() if number == value), str(value))
    if variable.type == "TIME":
        return spelled(value / 1000.0)
    unit = unit_of(variable)
    number = f"{value:.7g}" if variable.is_real else str(value)
    return number if unit == "1" else f"{number} {unit}"


def spelled(seconds: float) -> str:
    """A length of time without loss, to the millisecond, as it can be typed again.

    Examples
    --------
    >>> spelled(0.0), spelled(12.0), spelled(3605.0), spelled(93784.25), spelled(-90.0)
    ('0s', '12s', '1h5s', '1d2h3min4.25s', '-1min30s')
    """
    left = abs(round(seconds * 1000.0))
    parts = []
    for size, unit in ((86_400_000, "d"), (3_600_000, "h"), (60_000, "min")):
        if left >= size:
            parts.append(f"{left // size}{unit}")
            left %= size
    if left or not parts:
        parts.append(f"{left / 1000.0:.3f}".rstrip("0").rstrip(".") + "s")
    return ("-" if seconds < 0 else "") + "".join(parts)


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known word nearest to a mistaken one, whatever its case."""
    folded = {name.casefold(): name for name in known}
    found = difflib.get_close_matches(word.casefold(), folded, 1, 0.5)
    return folded[found[0]] if found else None


# --- finding them ---


def find(programs: Mapping[str, Any], path: str) -> tuple[Any, Variable]:
    """Program and variable of a path such as `sump-level.loop.I`.

    Parameters
    ----------
    programs : mapping
        Programs at work by name: `plantsim.plant.programs.Instance`.
    path : str
        Name of the program, a dot, the variable's dotted name in any case.

    Raises
    ------
    QuantityError
        If there is none; names the nearest.
    """
    name, _, inner = path.partition(".")
    if name not in programs:
        near = nearest(name, programs)
        known = ", ".join(programs) if programs else "none, as this plant has no control program"
        raise QuantityError(quoted(path), f"PROGRAM.VARIABLE with a program of {known}",
                            f"{near}.{inner}".rstrip(".") if near else None)  # fmt: skip
    program = programs[name].program
    folded = {known.casefold(): variable for known, variable in program.variables.items()}
    variable = folded.get(inner.replace(" ", "").casefold())
    if variable is not None:
        return programs[name], variable
    parts = [known for known in program.variables if known.casefold().startswith((f"{inner}.".casefold(),
                                                                                  f"{inner}[".casefold()))]  # fmt: skip
    if inner and parts:
        some = ", ".join(f"{name}.{part}" for part in parts[:8]) + (" ..." if len(parts) > 8 else "")
        raise QuantityError(f"{quoted(path)}, which has parts", f"one of them: {some}")
    near = nearest(inner, program.variables)
    raise QuantityError(quoted(path), f"a variable of program {name}", f"{name}.{near}" if near else None)


def watch_channels(programs: Mapping[str, Any], arena: Arena, names: Iterable[str]) -> list[Channel]:
    """What is recorded to watch variables of programs; each name is `program.variable`.

    Raises
    ------
    ConfigError
        With a finding for every name that is none.
    """
    findings: list[str] = []
    channels: dict[str, Channel] = {}
    for path in names:
        try:
            instance, variable = find(programs, path)
        except QuantityError as error:
            findings.append(f"--watch: {error}")
            continue
        name = f"{instance.name}.{variable.name}"
        cell = arena.cell("control", instance.base + variable.cell)
        # programs keep TIME in milliseconds
        kept = "ms" if variable.type == "TIME" else unit_of(variable)
        meaning = f"{WATCHED}{instance.name}" + (f": {variable.comment}" if variable.comment else "")
        channels[name] = Channel(name, cell, not variable.is_real, kept, unit_of(variable), meaning)
    if findings:
        raise ConfigError(findings)
    return list(channels.values())


# --- writing them ---


def forcing(programs: Mapping[str, Any], arena: Arena, where: Tree, key: str, path: str, value: float,
            held: bool, connect: Mapping[str, str]) -> Write | None:  # fmt: skip
    """Write of a program's variable from outside, or None and a finding.

    Parameters
    ----------
    programs : mapping
        Programs at work by name.
    arena : Arena
        Memory of the plant.
    where : Tree
        What writes it, and `key` its key that holds the path.
    path : str
        `program.variable`.
    value : float
        Value in the variable's unit; TIME in seconds, on and off as 1 and 0.
    held : bool
        Whether it shall stay for a time.
    connect : mapping
        Tags of the program's connected points, by name in small letters.
    """
    try:
        instance, variable = find(programs, path)
    except QuantityError as error:
        where.finding(key, str(error))
        return None
    refused = refusal(variable, path, held, connect)
    if refused is not None:
        where.finding(key, refused)
        return None
    try:
        number = _number(variable, value)
    except QuantityError as error:
        where.finding("to", str(error))
        return None
    cell = arena.cell("control", instance.base + variable.cell)
    return Write(cell, not variable.is_real, number)


def _number(variable: Variable, value: float) -> float:
    """A number from outside as the program holds it."""
    if variable.type == "TIME":
        return float(round(value * 1000.0))
    if variable.type == "REAL":
        from plantsim.st.arithmetic import single

        return single(value)
    return float(fitted(variable, value, f"{value:g}"))


def refusal(variable: Variable, path: str, held: bool, connected: Mapping[str, str]) -> str | None:
    """Why a variable cannot be written from outside, in one sentence; None when it can."""
    tag = connected.get(variable.name.casefold())
    if variable.constant:
        return sentence(f"'{path}', a constant", "an input or a parameter of the program")
    if variable.section == "output":
        return sentence(f"'{path}', an output, which the program writes at every scan",
                        "an input or a parameter of the program, or a fault of what the output acts on")  # fmt: skip
    if variable.section in ("input", "in_out"):
        if tag is None:
            return None
        return sentence(f"'{path}', which is read from {tag} at every scan",
                        f"the tag {tag} itself when a flag holds it, or a fault of its instrument "
                        f"(such as {tag}.bias)")  # fmt: skip
    if held:
        return sentence(f"'{path}', which the program writes itself, so that it cannot be held",
                        "an input or a parameter of the program; or no 'for', to write it once")  # fmt: skip
    return None
