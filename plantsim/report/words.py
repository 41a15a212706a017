"""Numbers and units as people read them."""

from __future__ import annotations

import math
import re

from plantsim.units import DIMENSIONS

BARE = ("", "1", "-")
"""Units that are none."""

_POWERS = str.maketrans("23", "\u00b2\u00b3")


def unit_words(unit: str) -> str:
    """Write a unit with its powers raised; nothing for a bare number.

    Examples
    --------
    >>> unit_words("m3/h"), unit_words("kg/m3"), unit_words("degC"), unit_words("1")
    ('m³/h', 'kg/m³', '°C', '')
    """
    if unit in BARE:
        return ""
    raised = re.sub(r"(?<=[A-Za-z])[23](?![A-Za-z0-9])", lambda m: m.group().translate(_POWERS), unit)
    return raised.replace("deg", "°") if raised in ("degC", "degF") else raised


def number_words(value: float) -> str:
    """Write a number with four figures at most, thousands apart, and no exponent where it can be read without.

    Examples
    --------
    >>> [number_words(v) for v in (0.0, 92.94, 12345.6, 0.00123, 3.2e-13, float("nan"))]
    ['0', '92.94', '12\u202f350', '0.00123', '3.2e-13', 'no value']
    """
    if value is None or not math.isfinite(value):
        return "no value"
    if value == 0:
        return "0"
    size = abs(value)
    if size < 1e-4 or size >= 1e9:
        return f"{value:.3g}"
    digits = max(0, 3 - math.floor(math.log10(size)))
    text = f"{round(value, 3 - math.floor(math.log10(size))):,.{digits}f}".replace(",", "\u202f")
    return text.rstrip("0").rstrip(".") if "." in text else text


def mark_words(value: float) -> str:
    """Write a number beside an axis: never more than eight signs.

    Examples
    --------
    >>> [mark_words(v) for v in (0.25, 13e6, -2e-5, 99000.0)]
    ['0.25', '1.3e7', '-2e-5', '99\\u202f000']
    """
    if value == 0 or 1e-3 <= abs(value) < 1e5:
        return number_words(value)
    mantissa, _, power = f"{value:.2e}".partition("e")
    return f"{mantissa.rstrip('0').rstrip('.')}e{int(power)}"


def factor(unit: str, wanted: str) -> tuple[float, float] | None:
    """Scale and offset that turn a value in `unit` into `wanted`; None when the two do not go together."""
    if unit == wanted or (unit in BARE and wanted in BARE):
        return 1.0, 0.0
    unit, wanted = ("1" if u in BARE else u for u in (unit, wanted))
    for dimension in DIMENSIONS.values():
        if unit in dimension.units and wanted in dimension.units:
            (a, b), (c, d) = dimension.units[unit], dimension.units[wanted]
            return float(a / c), float((b - d) / c)
    return None


def wrapped(text: str, width: float) -> str:
    """Text in at most three lines of `width` signs of usual breadth, long words broken, dots where it was cut.

    A number keeps its unit and its thousands: only a plain space may become the end of a line.

    Examples
    --------
    >>> wrapped("level alarm of the sump", 12)
    'level alarm\\nof the sump'
    """
    lines = [""]
    for word in re.split(r"[ \t\r\n\f\v]+", text.strip()):
        while word:
            joined = f"{lines[-1]} {word}".strip()
            if _breadth(joined) <= width:
                lines[-1], word = joined, ""
            elif _breadth(word) <= width:
                lines.append(word)
                word = ""
            else:  # a word longer than a line is broken where the line is full
                if lines[-1]:
                    lines.append("")
                cut = next(n for n in range(len(word), 0, -1) if n == 1 or _breadth(word[:n]) <= width)
                lines[-1], word = word[:cut], word[cut:]
    if len(lines) > 3:
        last = lines[2]
        while last and _breadth(last) > width - 3:
            last = last[:-1]
        lines = [*lines[:2], f"{last.rstrip()} ..."]
    return "\n".join(lines)


def _breadth(text: str) -> float:
    return sum(1.6 if c in "mwMW@%" or ord(c) > 0x2FF else 1.25 if c.isupper() else 1.0 for c in text)


def clipped(text: str, most: int) -> str:
    """Text on one line of at most `most` signs of usual breadth, dots where it was cut."""
    text = " ".join(text.split())
    if _breadth(text) <= most:
        return text
    while text and _breadth(text) > most - 4:
        text = text[:-1]
    return f"{text.rstrip()} ..."
