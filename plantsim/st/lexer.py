"""Words of Structured Text: tokens, comments and pragmas.

Source: IEC 61131-3, third edition (2013), clause 6.1 (characters, identifiers, keywords, comments, pragmas)
and 6.3 (literals), from memory; the time literals follow Table 7 of the 2003 edition.
"""

from __future__ import annotations

import re
from typing import NamedTuple

from .source import Findings, Source, words

KEYWORDS = frozenset(
    words("""PROGRAM END_PROGRAM FUNCTION END_FUNCTION FUNCTION_BLOCK END_FUNCTION_BLOCK
    VAR VAR_INPUT VAR_OUTPUT VAR_IN_OUT VAR_TEMP VAR_EXTERNAL END_VAR CONSTANT RETAIN NON_RETAIN
    TYPE END_TYPE STRUCT END_STRUCT ARRAY OF
    IF THEN ELSIF ELSE END_IF CASE END_CASE FOR TO BY DO END_FOR WHILE END_WHILE REPEAT UNTIL END_REPEAT
    EXIT CONTINUE RETURN AND OR XOR NOT MOD TRUE FALSE""")
)
#: keywords of the standard that this compiler refuses by name
REFUSED = {
    **{w: "VAR_GLOBAL is not supported: a program sees the plant through VAR_INPUT and VAR_OUTPUT"
       for w in ("VAR_GLOBAL",)},
    **{w: f"{w} is not supported" for w in words("VAR_ACCESS VAR_CONFIG")},
    **{w: f"{w} is not supported: write PROGRAM, FUNCTION, FUNCTION_BLOCK and TYPE only; the plant "
          "configuration says which program runs and how often"
       for w in words("CONFIGURATION RESOURCE TASK")},
    **{w: f"{w} is not supported: object-oriented parts of the standard are left out"
       for w in words("CLASS METHOD INTERFACE NAMESPACE EXTENDS IMPLEMENTS USING")},
    **{w: f"{w} is not supported: sequential function charts are left out; use CASE over an enumeration"
       for w in words("INITIAL_STEP STEP TRANSITION ACTION")},
    "AT": "AT is not supported: variables are bound to tags by name, not by address",
    "R_EDGE": "R_EDGE is not supported: use an R_TRIG block",
    "F_EDGE": "F_EDGE is not supported: use an F_TRIG block",
    "REF": "REF is not supported",
    "NULL": "NULL is not supported",
}  # fmt: skip


class Token(NamedTuple):
    """A word: its kind, its text (keywords and identifiers in capitals), where it starts and as written."""

    kind: str  # keyword, name, int, real, based, typed, time, string, address, symbol, end
    text: str
    pos: int
    raw: str


class Trivia(NamedTuple):
    """A comment or pragma, kept because units and descriptions stand there."""

    kind: str  # comment or pragma
    text: str
    pos: int
    end: int


_TOKEN = re.compile(
    r"""
      (?P<space>\s+)
    | (?P<line>//[^\n]*)
    | (?P<open>\(\*|/\*)
    | (?P<pragma>\{[^}]*\})
    | (?P<time>(?:T|TIME|LT|LTIME)\#[-+]?[\w.]*)
    | (?P<typed>[A-Za-z_]\w*\#[-+]?(?:\d[\d_]*\.\d[\d_]*(?:E[-+]?\d+)?|\d\w*(?:\#\w+)?|[A-Za-z_]\w*))
    | (?P<based>\d+\#\w*)
    | (?P<real>\d[\d_]*\.\d[\d_]*(?:E[-+]?\d+)?(?!\w))
    | (?P<int>\d[\d_]*(?!\w))
    | (?P<badnumber>\d[\w.]*)
    | (?P<name>[A-Za-z_]\w*)
    | (?P<address>%[\w.*]+)
    | (?P<string>'[^'\n]*'?|"[^"\n]*"?)
    | (?P<symbol>:=|=>|<=|>=|<>|\*\*|\.\.|\?=|[-+*/=<>&()\[\]:;,.^\#])
    | (?P<bad>.)
    """,
    re.VERBOSE | re.IGNORECASE | re.DOTALL | re.ASCII,
)
_COMMENT_EDGE = {"(*": re.compile(r"\(\*|\*\)"), "/*": re.compile(r"/\*|\*/")}


def tokenize(source: Source, findings: Findings) -> tuple[list[Token], list[Trivia]]:
    """Split a text into tokens, ending with one of kind 'end', and the comments and pragmas between them."""
    text = source.text
    tokens: list[Token] = []
    trivia: list[Trivia] = []
    pos = 0
    match = _TOKEN.match
    while pos < len(text):
        m = match(text, pos)
        assert m is not None  # the last branch takes any character
        kind = m.lastgroup or "bad"
        raw = m.group()
        end = m.end()
        if kind == "name":
            upper = raw.upper()
            tokens.append(Token("keyword" if upper in KEYWORDS else "name", upper, pos, raw))
        elif kind in ("space",):
            pass
        elif kind == "line":
            trivia.append(Trivia("comment", raw[2:].strip(), pos, end))
        elif kind == "open":
            end = _comment_end(text, pos, raw)
            if end < 0:
                findings.error(source, pos, f"comment opened with {raw} is never closed")
                end = len(text)
            trivia.append(Trivia("comment", text[pos + 2 : end - 2].strip(), pos, end))
        elif kind == "pragma":
            trivia.append(Trivia("pragma", raw[1:-1].strip(), pos, end))
        elif kind == "badnumber":
            findings.error(source, pos, f"found {raw!r}, which is not a number{_number_hint(raw)}")
            tokens.append(Token("int", "0", pos, raw))
        elif kind == "bad":
            what = "a pragma opened with { that is never closed" if raw == "{" else f"character {raw!r}"
            findings.error(source, pos, f"found {what}, which cannot stand here")
        else:
            tokens.append(Token(kind, raw.upper(), pos, raw))
        pos = end
    tokens.append(Token("end", "end of text", len(text), ""))
    return tokens, trivia


def _comment_end(text: str, pos: int, opener: str) -> int:
    """Offset behind a comment that may hold further comments, or -1."""
    depth = 0
    for m in _COMMENT_EDGE[opener].finditer(text, pos):
        depth += 1 if m.group() == opener else -1
        if depth == 0:
            return m.end()
    return -1


def _number_hint(raw: str) -> str:
    m = re.fullmatch(r"(\d+)E([-+]?\d*)", raw, re.IGNORECASE)
    if m:
        return f"; a real literal needs a decimal point: {m.group(1)}.0E{m.group(2) or '0'}"
    if raw.endswith("."):
        return f"; a digit must follow the decimal point: {raw}0"
    return "; a name must not start with a digit"


_UNITS = ("d", "h", "m", "s", "ms")
_UNIT_MS = {"d": 86_400_000, "h": 3_600_000, "m": 60_000, "s": 1000, "ms": 1}
_TIME_PART = re.compile(r"(\d[\d_]*(?:\.\d[\d_]*)?)(ms|d|h|m|s|us|ns)_?", re.IGNORECASE)


def read_time(raw: str) -> tuple[int, bool] | str:
    """Milliseconds of a time literal and whether it had to be rounded, or what is wrong with it.

    >>> read_time("T#1h2m3.5s")
    (3723500, False)
    >>> read_time("T#5m3h")
    'units must descend: d, h, m, s, ms'
    """
    prefix, _, body = raw.partition("#")
    if prefix.upper() in ("LT", "LTIME"):
        return "LTIME is not supported; TIME counts milliseconds"
    sign = 1
    if body[:1] in "+-" and body:
        sign = -1 if body[0] == "-" else 1
        body = body[1:]
    if not body:
        return "a value with a unit must follow the #: T#5s"
    total = 0.0
    whole = 0
    last = -1
    pos = 0
    while pos < len(body):
        m = _TIME_PART.match(body, pos)
        if m is None:
            return "expected a number with a unit d, h, m, s or ms: T#1h2m3.5s"
        number, unit = m.group(1).replace("_", ""), m.group(2).lower()
        if unit not in _UNIT_MS:
            return f"unit {unit} is not supported; TIME counts milliseconds"
        if _UNITS.index(unit) <= last:
            return "units must descend: d, h, m, s, ms"
        last = _UNITS.index(unit)
        pos = m.end()
        if "." in number:
            if pos < len(body):
                return "only the last unit may have decimals"
            total = float(number) * _UNIT_MS[unit]
        else:
            whole += int(number) * _UNIT_MS[unit]
    if total > 2**62 or whole > 2**62:
        return "this time is too long"
    ms = whole + round(total)
    return sign * ms, abs(whole + total - ms) > 1e-6
