"""Laws: what a controller makes of the parameters of its program, as arithmetic a plant file can hold.

A law such as ``trim_limit / trim_band * dose / 100`` is read once and can be worked out for any values, or solved for
one of its variables. It knows numbers, variables, ``+ - * /``, brackets, ``min``, ``max`` and ``limit(low, x, high)``.
"""

from __future__ import annotations

import ast
import math
import operator
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from plantsim.plant.fields import nearest, quoted
from plantsim.units import QuantityError

_WORK: dict[type, Callable[[float, float], float]] = {
    ast.Add: operator.add, ast.Sub: operator.sub, ast.Mult: operator.mul, ast.Div: operator.truediv,
}  # fmt: skip
_CALLS: dict[str, tuple[int, Callable[..., float]]] = {
    "min": (2, min), "max": (2, max), "limit": (3, lambda low, x, high: max(low, min(x, high))),
}  # fmt: skip
_ALLOWED = "numbers, variables of the program, + - * /, brackets, min(), max() and limit(low, x, high)"
_LONGEST = 400
_NEAR = 1e-6
"""A solution must give back what was asked for to this part of it."""


@dataclass(frozen=True)
class Law:
    """A law read from a text.

    Parameters
    ----------
    text : str
        As written.
    names : frozenset of str
        Variables in it, in small letters.
    """

    text: str
    names: frozenset[str]
    _tree: ast.expr = field(repr=False, compare=False)

    def value(self, values: Mapping[str, float]) -> float:
        """Its value for values of the variables, by names in small letters; not a number after a division by 0.

        >>> read_law("limit(0.2, flow / most, 1.5)").value({"flow": 300.0, "most": 150.0})
        1.5
        """
        try:
            return _value(self._tree, values)
        except ZeroDivisionError:
            return math.nan

    def solve(self, name: str, wanted: float, values: Mapping[str, float]) -> float:
        """Value above 0 of one variable at which the law has a wanted value, the others as given.

        Parameters
        ----------
        name : str
            The variable, in small letters.
        wanted : float
            Value of the law.
        values : mapping of str to float
            Values of all other variables; of `name` too, as where to begin.

        Returns
        -------
        float

        Raises
        ------
        QuantityError
            If there is none.

        Examples
        --------
        >>> read_law("limit / band * dose / 100").solve("band", 0.05, {"limit": 30.0, "dose": 40.0})
        240.0
        """
        begin = abs(values.get(name, 1.0)) or 1.0

        def at(x: float) -> float:
            return self.value({**values, name: x})

        one, other = at(begin), at(2.0 * begin)
        if one * other > 0.0 and one * wanted > 0.0 and one != other:
            power = math.log2(other / one)  # most laws are a factor times a power of the variable
            x = float(f"{begin * (wanted / one) ** (1.0 / power):.12g}")
            if abs(at(x) - wanted) <= _NEAR * abs(wanted):
                return x
        return self._search(at, begin, wanted, name)

    def _search(self, at: Callable[[float], float], begin: float, wanted: float, name: str) -> float:
        from scipy.optimize import brentq

        grid = [begin * 10.0 ** (k / 8.0) for k in range(-48, 49)]
        found = [at(x) - wanted for x in grid]
        for k in range(len(grid) - 1):
            if found[k] == 0.0:
                return grid[k]
            if found[k] * found[k + 1] < 0.0:
                x = float(brentq(lambda v: at(v) - wanted, grid[k], grid[k + 1], xtol=1e-12 * grid[k]))
                if abs(at(x) - wanted) <= _NEAR * abs(wanted):
                    return x
        raise QuantityError(f"{wanted:.4g} asked of '{self.text}'", f"what some value of {name} gives")


def read_law(text: str) -> Law:
    """Read a law.

    Parameters
    ----------
    text : str
        Arithmetic of variables and numbers; names count whatever their case.

    Returns
    -------
    Law

    Raises
    ------
    QuantityError
        If it is none.

    Examples
    --------
    >>> sorted(read_law("(Speed_Max - speed_min) / band").names)
    ['band', 'speed_max', 'speed_min']
    """
    if len(text) > _LONGEST:
        raise QuantityError("a law of more than 400 characters", _ALLOWED)
    try:
        tree = ast.parse(text.casefold().strip(), mode="eval").body
    except (SyntaxError, ValueError, MemoryError, RecursionError):
        raise QuantityError(quoted(text), _ALLOWED) from None
    names: set[str] = set()
    _check(tree, text, names)
    if not names:
        raise QuantityError(f"{quoted(text)}, which has no variable", _ALLOWED)
    return Law(text, frozenset(names), tree)


def _check(node: ast.expr, text: str, names: set[str]) -> None:
    if isinstance(node, ast.Name):
        names.add(node.id)
    elif isinstance(node, ast.Constant) and type(node.value) in (int, float):
        return
    elif isinstance(node, ast.BinOp) and type(node.op) in _WORK:
        _check(node.left, text, names)
        _check(node.right, text, names)
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
        _check(node.operand, text, names)
    elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and not node.keywords:
        if node.func.id not in _CALLS:
            raise QuantityError(f"'{node.func.id}()' in {quoted(text)}", _ALLOWED, nearest(node.func.id, _CALLS))
        if len(node.args) != _CALLS[node.func.id][0]:
            raise QuantityError(f"{len(node.args)} values in {node.func.id}()", str(_CALLS[node.func.id][0]))
        for one in node.args:
            _check(one, text, names)
    else:
        raise QuantityError(quoted(text), _ALLOWED)


def _value(node: ast.expr, values: Mapping[str, float]) -> float:
    if isinstance(node, ast.Name):
        return float(values[node.id])
    if isinstance(node, ast.Constant):
        return float(node.value)  # type: ignore[arg-type]
    if isinstance(node, ast.UnaryOp):
        return -_value(node.operand, values)
    if isinstance(node, ast.BinOp):
        return _WORK[type(node.op)](_value(node.left, values), _value(node.right, values))
    assert isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
    return float(_CALLS[node.func.id][1](*(_value(one, values) for one in node.args)))
