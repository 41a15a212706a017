"""Values of the operations, in plain Python: used to fold literals and by the reference interpreter.

The machine's results must equal these bit for bit; only the payload of a not-a-number is left open.
"""

from __future__ import annotations

import math
import struct
from collections.abc import Callable

from plantsim.opcodes import FAULT_DIVISION, FAULT_INDEX

from . import types as t


class Fault(Exception):
    """Raised by an operation that has no value; carries the fault kind."""

    def __init__(self, kind: int) -> None:
        self.kind = kind
        super().__init__(kind)


def single(x: float) -> float:
    """Round to 32 bits, IEC 60559 half to even.

    >>> single(0.1)
    0.10000000149011612
    """
    try:
        return struct.unpack("f", struct.pack("f", x))[0]
    except OverflowError:
        return math.copysign(math.inf, x)


def divide(x: int, y: int) -> int:
    """Quotient toward zero."""
    if y == 0:
        raise Fault(FAULT_DIVISION)
    q = abs(x) // abs(y)
    return -q if (x < 0) != (y < 0) else q


def integer_power(x: int, n: int) -> int:
    """Integer power, wrapping in 64 bits; for n < 0 the quotient 1 / x**-n toward zero."""
    if n < 0:
        if x == 0:
            raise Fault(FAULT_DIVISION)
        return {1: 1, -1: 1 - 2 * (n & 1)}.get(x, 0)
    return pow(x, n, 1 << 64)


def float_divide(x: float, y: float) -> float:
    """IEC 60559 division."""
    if y != 0.0:
        return x / y
    if x == 0.0 or math.isnan(x) or math.isnan(y):
        return math.nan
    return math.copysign(math.inf, x) * math.copysign(1.0, y)


def float_power(x: float, y: float) -> float:
    """C's pow: infinite at a pole or on overflow, not-a-number outside the domain."""
    odd = abs(y) < 2**53 and y == math.floor(y) and int(y) % 2 == 1
    try:
        return math.pow(x, y)
    except OverflowError:
        return -math.inf if x < 0 and odd else math.inf
    except ValueError:
        if x == 0.0 and y < 0.0:
            return math.copysign(math.inf, x) if odd else math.inf
        return math.nan


def _function(f: Callable[[float], float]) -> Callable[[float], float]:
    def safe(x: float) -> float:
        try:
            return f(x)
        except OverflowError:
            return math.inf
        except ValueError:
            return math.nan

    return safe


def _logarithm(f: Callable[[float], float]) -> Callable[[float], float]:
    def safe(x: float) -> float:
        if x == 0.0:
            return -math.inf
        return f(x) if x > 0.0 else math.nan

    return safe


FUNCTIONS: dict[str, Callable[[float], float]] = {
    "sqrt": _function(math.sqrt),
    "ln": _logarithm(math.log),
    "log": _logarithm(math.log10),
    "exp": _function(math.exp),
    "sin": _function(math.sin),
    "cos": _function(math.cos),
    "tan": _function(math.tan),
    "asin": _function(math.asin),
    "acos": _function(math.acos),
    "atan": _function(math.atan),
}
_ORDERED: dict[str, Callable] = {
    "eq": lambda a, b: a == b,
    "ne": lambda a, b: a != b,
    "lt": lambda a, b: a < b,
    "le": lambda a, b: a <= b,
    "gt": lambda a, b: a > b,
    "ge": lambda a, b: a >= b,
}
_PLAIN: dict[str, Callable] = {
    "add": lambda a, b: a + b,
    "sub": lambda a, b: a - b,
    "mul": lambda a, b: a * b,
}


def to_integer(x: float, low: int, high: int) -> int:
    """Round half to even, held within the limits; not-a-number gives 0."""
    if math.isnan(x):
        return 0
    if x <= low:
        return low
    if x >= high:
        return high
    return round(x)


def convert(value: float | int, source: t.Elementary, target: t.Elementary) -> float | int:
    """Value of X_TO_Y."""
    if target.kind in ("real", "any_real"):
        result = float(value)
        return single(result) if target is t.REAL else result
    if target is t.BOOL:
        return int(value != 0)
    if source.kind in ("real", "any_real"):
        if target.kind == "bits":
            return to_integer(float(value), 0, target.high)
        return to_integer(float(value), target.low, target.high)
    return target.wrap(int(value))


def _float(op: str, args: list) -> float | int:
    if op in _PLAIN:
        return _PLAIN[op](*args)
    if op == "div":
        return float_divide(*args)
    if op == "pow":
        return float_power(*args)
    if op == "neg":
        return -args[0]
    if op == "abs":
        return abs(args[0])
    if op == "min":
        return args[1] if args[1] < args[0] else args[0]
    if op == "max":
        return args[1] if args[1] > args[0] else args[0]
    if op == "atan2":
        return math.atan2(*args)
    return FUNCTIONS[op](args[0])


def _integer(op: str, kind: t.Elementary, args: list[int]) -> int:
    if op in _PLAIN:
        return _PLAIN[op](*args)
    if op == "div":
        return divide(*args)
    if op == "mod":
        return args[0] - divide(*args) * args[1] if args[1] else 0
    if op == "pow":
        return integer_power(*args)
    if op == "neg":
        return -args[0]
    if op == "abs":
        return abs(args[0])
    if op in ("min", "max"):
        return (min if op == "min" else max)(args)
    if op == "and":
        return args[0] & args[1]
    if op == "or":
        return args[0] | args[1]
    if op == "xor":
        return args[0] ^ args[1]
    if op == "not":
        return ~args[0]
    if op == "shl":
        return args[0] << args[1] if 0 <= args[1] <= 63 else 0
    if op == "shr":
        return args[0] >> args[1] if 0 <= args[1] <= 63 else 0
    assert op in ("rol", "ror"), op
    n = (args[1] if op == "rol" else -args[1]) % kind.bits
    return args[0] << n | args[0] >> (kind.bits - n)


def apply(op: str, result: t.Elementary, operand: t.Elementary, args: list) -> float | int:
    """Value of one operation on values of type `operand`, as a value of type `result`.

    >>> apply("div", INT := t.INT, INT, [-7, 2])
    -3
    """
    if op in _ORDERED:
        return int(_ORDERED[op](*args))
    if op == "convert":
        return convert(args[0], operand, result)
    if op == "trunc":
        x = args[0]
        whole = float(math.trunc(x)) if math.isfinite(x) else x
        return convert(whole, operand, result)
    if op == "select":
        return args[2] if args[0] else args[1]
    if op == "mux":
        if not 0 <= args[0] < len(args) - 1:
            raise Fault(FAULT_INDEX)
        return args[1 + args[0]]
    if result.kind in ("real", "any_real"):
        value = _float(op, args)
        return single(value) if result is t.REAL and op not in ("neg", "abs", "min", "max") else value
    value = _integer(op, operand, args)
    if result is t.ANY_INT:
        if abs(value) >= 1 << 64:
            raise OverflowError
        return value
    return result.wrap(value)
