"""Plain tables and numbers for people."""

from __future__ import annotations

import math
from collections.abc import Sequence


def number(value: float, digits: int = 4) -> str:
    """A number with so many significant digits, without an exponent unless it is very large or small.

    >>> number(0.0354321), number(123456.7), number(3.0), number(1.5e-9)
    ('0.03543', '123457', '3', '1.5e-09')
    """
    if not math.isfinite(value):
        return str(value)
    if value != 0.0 and not 1e-4 <= abs(value) < 1e12:
        return f"{value:.{digits}g}"
    places = max(0, digits - 1 - math.floor(math.log10(abs(value)))) if value else 0
    text = f"{value:.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def duration(seconds: float) -> str:
    """A length of time in the unit that reads best.

    >>> duration(86400.0), duration(5400.0), duration(90.0)
    ('1 d', '1.5 h', '1.5 min')
    """
    for size, unit in ((86400.0, "d"), (3600.0, "h"), (60.0, "min")):
        if seconds >= size:
            return f"{number(seconds / size)} {unit}"
    return f"{number(seconds)} s"


def table(rows: Sequence[Sequence[str]], head: Sequence[str] = (), right: Sequence[int] = ()) -> str:
    """Rows in columns, two blanks apart; the columns in `right` are flush right.

    >>> print(table([["a", "1"], ["bcd", "22"]], ["name", "n"], right=[1]))
    name   n
    a      1
    bcd   22
    """
    whole = [list(head), *map(list, rows)] if head else [list(row) for row in rows]
    if not whole:
        return ""
    widths = [max(len(row[i]) for row in whole) for i in range(len(whole[0]))]
    lines = [
        "  ".join(cell.rjust(w) if i in right else cell.ljust(w) for i, (cell, w) in enumerate(zip(row, widths)))
        for row in whole
    ]
    return "\n".join(line.rstrip() for line in lines)
