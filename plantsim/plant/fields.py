"""The kinds of fields read from one text: quantities, numbers, words, names, tags, references, times."""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, ClassVar, NamedTuple

from plantsim.units import QuantityError, dimension_of, format_si, split, to_si


class _Required:
    def __repr__(self) -> str:
        return "REQUIRED"


REQUIRED = _Required()
"""The default of a field that has none: the key must be given."""


class Refusal(QuantityError):
    """Raised by a field that does not accept a text; the reader makes a finding of it."""


def nearest(word: str, words: Iterable[str]) -> str | None:
    """Give the nearest of some words, whatever its case, or None when none is near."""
    folded = {known.casefold(): known for known in words}
    match = difflib.get_close_matches(word.casefold(), folded, 1, 0.6)
    return folded[match[0]] if match else None


def quoted(text: str) -> str:
    """Give a text as messages show it: in quotes, on one line, cut when long."""
    text = " ".join(text.split())
    return f"'{text}'" if len(text) <= 60 else f"'{text[:57]}...'"


class Ref(NamedTuple):
    """A name, or a port of a name, that a configuration refers to."""

    name: str
    port: str | None = None

    def __str__(self) -> str:
        return self.name if self.port is None else f"{self.name}.{self.port}"


class Shift(NamedTuple):
    """A spell of a week: days (0 is Monday), start and end [s after midnight]; past 24 h when over night."""

    days: tuple[int, ...]
    start: float
    end: float


@dataclass(frozen=True, kw_only=True)
class Field:
    """Base of all kinds: doc text, and an example for the template."""

    shapes: ClassVar[frozenset[str]] = frozenset({"scalar"})
    doc: str = ""
    example: str | None = None

    def allowed(self) -> str:
        """Say what may stand here, for messages and tables."""
        raise NotImplementedError

    def required(self) -> bool:
        """Tell whether the key must be given."""
        return getattr(self, "default", None) is REQUIRED


class Scalar(Field):
    """Base of the kinds read from one text."""

    def parse(self, text: str) -> Any:
        """Give the value of a text, or raise `Refusal`."""
        raise NotImplementedError

    def plain(self, text: str, value: Any) -> Any:
        """Give what the resolved configuration shows: by default the text itself."""
        return text

    def _check_default(self) -> None:
        default = getattr(self, "default", None)
        if default is not None and default is not REQUIRED:
            self.parse(as_text(default))


def as_text(value: Any) -> str:
    """Write a default as a user would write it."""
    return ("yes" if value else "no") if isinstance(value, bool) else str(value)


def _bounds(limits: Sequence[Any], show: Callable[[Any], str]) -> str:
    """Say a range in words: '0 m to 5 m', 'more than 0 m', 'at most 5 m'."""
    lo, above, hi, below = limits
    if lo is not None and hi is not None:
        return f"{show(lo)} to {show(hi)}"
    words = (("at least", lo), ("more than", above), ("at most", hi), ("less than", below))
    return ", ".join(f"{word} {show(limit)}" for word, limit in words if limit is not None)


def _inside(value: float, limits: Sequence[Any]) -> bool:
    lo, above, hi, below = limits
    return ((lo is None or value >= lo) and (above is None or value > above)
            and (hi is None or value <= hi) and (below is None or value < below))


@dataclass(frozen=True)
class Quantity(Scalar):
    """A number with its unit; `lo` and `hi` belong to the range, `above` and `below` do not (all texts)."""

    dimension: str
    default: Any = REQUIRED
    lo: str | None = None
    hi: str | None = None
    above: str | None = None
    below: str | None = None

    def __post_init__(self) -> None:
        dimension_of(self.dimension)
        self._limits()
        self._check_default()

    def _limits(self) -> list[float | None]:
        texts = (self.lo, self.above, self.hi, self.below)
        return [None if text is None else to_si(text, self.dimension) for text in texts]

    def allowed(self) -> str:
        place = dimension_of(self.dimension)
        limits = _bounds((self.lo, self.above, self.hi, self.below), str)
        return f"{place.noun} with its unit: {place.usual()}" + (f"; {limits}" if limits else "")

    def parse(self, text: str) -> float:
        try:
            value = to_si(text, self.dimension)
        except QuantityError as error:
            noun = dimension_of(self.dimension).noun
            allowed = self.allowed() if error.allowed.startswith(noun) else error.allowed
            raise Refusal(error.found, allowed, error.hint) from None
        limits = self._limits()
        if not _inside(value, limits):
            unit = split(text, self.dimension)[1]
            raise Refusal(quoted(text), _bounds(limits, lambda si: format_si(si, unit, 5, self.dimension)))
        return value

    def plain(self, text: str, value: Any) -> str:
        return " ".join(text.split())


_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")


@dataclass(frozen=True)
class Number(Scalar):
    """A number without unit."""

    default: Any = REQUIRED
    lo: float | None = None
    hi: float | None = None
    above: float | None = None
    below: float | None = None
    whole: ClassVar[bool] = False

    def __post_init__(self) -> None:
        self._check_default()

    def _limits(self) -> tuple[float | None, ...]:
        return (self.lo, self.above, self.hi, self.below)

    def _range(self) -> str:
        return _bounds(self._limits(), lambda x: f"{x:g}")

    def allowed(self) -> str:
        limits = self._range()
        return ("a whole number" if self.whole else "a number") + (f", {limits}" if limits else "")

    def parse(self, text: str) -> Any:
        if not _NUMBER.fullmatch(text) or not math.isfinite(float(text)):
            comma = re.fullmatch(r"([+-]?\d+),(\d+)", text)
            head = _NUMBER.match(text)
            remark = " (a number without unit stands here)" if head and not comma else ""
            hint = f"{comma[1]}.{comma[2]}" if comma else head[0] if head and head.end() < len(text) else None
            raise Refusal(quoted(text) + remark, self.allowed(), hint)
        value = float(text)
        if self.whole:
            if value != int(value):
                raise Refusal(quoted(text), self.allowed(), str(round(value)))
            value = int(value)
        if not _inside(value, self._limits()):
            raise Refusal(quoted(text), self._range())
        return value

    def plain(self, text: str, value: Any) -> Any:
        return value


@dataclass(frozen=True)
class Integer(Number):
    """A whole number."""

    whole: ClassVar[bool] = True


@dataclass(frozen=True)
class Choice(Scalar):
    """One of some words."""

    words: tuple[str, ...]
    default: Any = REQUIRED

    def __post_init__(self) -> None:
        self._check_default()

    def allowed(self) -> str:
        return ", ".join(self.words)

    def parse(self, text: str) -> str:
        if text not in self.words:
            raise Refusal(quoted(text), self.allowed(), nearest(text, self.words))
        return text


@dataclass(frozen=True)
class Flag(Scalar):
    """Yes or no; `true` and `false` are taken too."""

    default: Any = REQUIRED
    _words: ClassVar[Mapping[str, bool]] = {"yes": True, "true": True, "no": False, "false": False}

    def __post_init__(self) -> None:
        self._check_default()

    def allowed(self) -> str:
        return "yes, no"

    def parse(self, text: str) -> bool:
        if text not in self._words:
            other = {"on": "yes", "off": "no", "1": "yes", "0": "no", "y": "yes", "n": "no"}
            hint = other.get(text.casefold()) or nearest(text, self._words)
            raise Refusal(quoted(text), self.allowed(), hint)
        return self._words[text]

    def plain(self, text: str, value: Any) -> bool:
        return value


@dataclass(frozen=True)
class Text(Scalar):
    """Free text; `pattern` and `form` (its words) restrict it."""

    default: Any = REQUIRED
    pattern: str | None = None
    form: str = "a text"

    def __post_init__(self) -> None:
        self._check_default()

    def allowed(self) -> str:
        return self.form

    def parse(self, text: str) -> str:
        if not text or (self.pattern and not re.fullmatch(self.pattern, text)):
            raise Refusal(quoted(text), self.allowed())
        return text


@dataclass(frozen=True)
class Name(Scalar):
    """A free name that others refer to; `kind` says what it names, and it stands only once in a file."""

    kind: str = ""
    default: Any = REQUIRED

    def __post_init__(self) -> None:
        self._check_default()

    def allowed(self) -> str:
        return "a name of letters, digits, - and _, starting with a letter"

    def parse(self, text: str) -> str:
        if not re.fullmatch(r"[A-Za-z][A-Za-z0-9_-]{0,39}", text):
            hint = re.sub(r"[^A-Za-z0-9_-]+", "-", text).strip("-").lstrip("0123456789-_")[:40]
            raise Refusal(quoted(text), self.allowed(), hint or None)
        return text


@dataclass(frozen=True)
class Tag(Name):
    """An instrument tag in the manner of ISA-5.1: function letters, hyphen, loop number, perhaps a suffix."""

    kind: str = "tag"
    default: Any = REQUIRED
    letters: tuple[str, ...] = ()

    def allowed(self) -> str:
        letters = self.letters or ("LT",)
        shown = " or ".join(self.letters) if self.letters else "function letters"
        return f"a tag of {shown}, hyphen and number, such as {letters[0]}-101 or {letters[0]}-101A"

    def parse(self, text: str) -> str:
        match = re.fullmatch(r"([A-Z]{1,5})-(\d{1,5})([A-Z]?)", text)
        if match and (not self.letters or match[1] in self.letters):
            return text
        loose = re.fullmatch(r"([A-Za-z]{1,5})[\s_-]*(\d{1,5})[\s_-]*([A-Za-z]?)", text)
        hint = None
        if loose:
            letters = loose[1].upper()
            if self.letters and letters not in self.letters:
                letters = nearest(letters, self.letters) or self.letters[0]
            hint = f"{letters}-{loose[2]}{loose[3].upper()}"
        raise Refusal(quoted(text), self.allowed(), hint)


@dataclass(frozen=True)
class Reference(Scalar):
    """A named thing written `name`, or one of its ports written `name.port`.

    `port` is None for a thing without port, "in", "out" or "any" for a port of that direction; the port may
    be left out where the thing has only one of them.
    """

    kinds: tuple[str, ...] | str
    default: Any = REQUIRED
    port: str | None = None

    def __post_init__(self) -> None:
        if self.port not in (None, "in", "out", "any"):
            raise ValueError(f"a port is None, 'in', 'out' or 'any', not {self.port!r}")
        if isinstance(self.kinds, str):
            object.__setattr__(self, "kinds", (self.kinds,))

    def allowed(self) -> str:
        thing = " or ".join(kind.replace("_", " ") for kind in self.kinds)
        article = "an" if thing[0] in "aeiou" and not thing.startswith("uni") else "a"
        if self.port is None:
            return f"the name of {article} {thing}"
        port = {"in": "inlet", "out": "outlet", "any": "port"}[self.port]
        return f"{article} {thing} and its {port}, as name.port"

    def parse(self, text: str) -> Ref:
        name, dot, port = text.partition(".")
        if not name or (dot and not port):
            raise Refusal(quoted(text), self.allowed())
        return Ref(name, port or None)


def _clock(text: str) -> float | None:
    match = re.fullmatch(r"(\d{1,2}):(\d{2})(?::(\d{2}))?", text)
    if not match:
        return None
    hours, minutes, seconds = (int(part or 0) for part in match.groups())
    whole = 3600 * hours + 60 * minutes + seconds
    return float(whole) if minutes < 60 and seconds < 60 and whole <= 86400 else None


@dataclass(frozen=True)
class Clock(Scalar):
    """A time of day written 06:00 or 06:00:30; the value is seconds after midnight."""

    default: Any = REQUIRED

    def __post_init__(self) -> None:
        self._check_default()

    def allowed(self) -> str:
        return "a time of day from 00:00 to 24:00, such as 06:00"

    def parse(self, text: str) -> float:
        value = _clock(text)
        if value is None:
            hour = re.fullmatch(r"(\d{1,2})(?:[.h](\d{2}))?", text)
            hint = f"{int(hour[1]):02d}:{hour[2] or '00'}" if hour else None
            raise Refusal(quoted(text), self.allowed(), hint if hint and _clock(hint) is not None else None)
        return value


@dataclass(frozen=True)
class Moment(Scalar):
    """A date, with a time of day if wanted, in the manner of ISO 8601: 2026-04-06 or 2026-04-06 06:00."""

    default: Any = REQUIRED

    def __post_init__(self) -> None:
        self._check_default()

    def allowed(self) -> str:
        return "a date as year-month-day, with a time of day if wanted, such as 2026-04-06 06:00"

    def parse(self, text: str) -> datetime:
        if re.fullmatch(r"\d{4}-\d{2}-\d{2}([ T]\d{2}:\d{2}(:\d{2})?)?", text):
            try:
                return datetime.fromisoformat(text)
            except ValueError:
                pass
        raise Refusal(quoted(text), self.allowed())


_DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


@dataclass(frozen=True)
class Times(Field):
    """A week's calendar: lines such as `mon-fri 06:00-14:00`, `sat,sun 22:00-06:00`, `daily 12:00-12:30`."""

    shapes: ClassVar[frozenset[str]] = frozenset({"list", "scalar"})
    default: Any = REQUIRED

    def allowed(self) -> str:
        return "days and hours, such as 'mon-fri 06:00-14:00' or 'daily 12:00-12:30'"

    def parse(self, text: str) -> Shift:
        """Read one line of the calendar."""
        match = re.fullmatch(r"([A-Za-z, -]+?)\s+([\d:]+)\s*-\s*([\d:]+)", text)
        days = self._days(match[1].casefold()) if match else None
        start, end = (_clock(match[2]), _clock(match[3])) if match else (None, None)
        if days is None or start is None or end is None or start == end or start == 86400:
            words = re.findall(r"[A-Za-z]+", text.split(":")[0])
            wrong = [word for word in words if word.casefold() not in (*_DAYS, "daily")]
            near = nearest(wrong[0][:3], _DAYS) if wrong else None
            raise Refusal(quoted(text), self.allowed(), text.replace(wrong[0], near, 1) if near else None)
        return Shift(days, start, end if end > start else end + 86400)

    @staticmethod
    def _days(text: str) -> tuple[int, ...] | None:
        if text == "daily":
            return tuple(range(7))
        days: set[int] = set()
        for part in text.replace(" ", "").split(","):
            ends = part.split("-")
            if len(ends) > 2 or any(day not in _DAYS for day in ends):
                return None
            first, last = _DAYS.index(ends[0]), _DAYS.index(ends[-1])
            days.update((first + step) % 7 for step in range((last - first) % 7 + 1))
        return tuple(sorted(days))
