"""The small grammar of acceptance sentences: from words to a checked `Sentence`.

==============================================  =====================================================================
sentence                                        meaning
==============================================  =====================================================================
CONDITION                                       true at every moment
CONDITION for 95 % of the time                  of the time looked at; `of running time`: while a wash plant washes;
                                                `for at most 5 % of ...`: the other way round
CONDITION for at most 10 min at a time          longest unbroken spell; `in all`: all spells together; `at least` too
never CONDITION, no TAG                         not at any moment
starts of P-101 at most 6 per hour              in any hour that can be chosen; without `per`: in the whole run
CONDITION at most 2 times per day               how often it becomes true
no spill from sump                              its overflow counter stands still; `spill from sump at most 2 m3`
mean of Q under 45 NTU                          also `highest of`, `lowest of`, `swing of`, `rise of`
UNIT.FIGURE at most 5 %                         a figure of the run, where no quantity has that name
closure at most 1e-9                            worst relative gap of the balances of water and solids
journal says "WORDS", journal never says ...    a line of the journal
----------------------------------------------  ---------------------------------------------------------------------
... while CONDITION                             looked at only then; if it never is: not tested
... from 1 h to 6 h, ... from 1 h               looked at in this part of the run, or of the time after an event
after EVENT, CONDITION within 15 s              the answer to every such event; late or missing: failed
after EVENT, SENTENCE                           from the event on; `for 2 h` at the end: for so long
before EVENT, CONDITION for 10 min              in the time that leads up to it
after EVENT: EVENT, then EVENT within 2 min     in this order, the last within the time; `after EVENT, first EVENT,
                                                then EVENT`: the same without a colon, which YAML wants in quotes
==============================================  =====================================================================

CONDITION: `Q under 80 NTU`, `over`, `at most`, `at least`, `between 1 m and 2 m`, `within 0.2 m of 1.6 m` (or of
another quantity); `NAME` or `NAME on`, `NAME off`, `P-101 runs`, `P-101 stands`, `P-101 trips`; joined by `and` or by
`or`; `not` before one; `for 10 s` after it: once it has been true so long. EVENT: a CONDITION at the moment it becomes
true, `journal "WORDS"`, or a moment that has a name: `the upset` (the first act of a cause), `the response` (the
first act of an operator).
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace

from plantsim.analysis.checks import sentence as s
from plantsim.errors import PlantsimError
from plantsim.plant.fields import nearest
from plantsim.units import QuantityError, to_si, unit_factor

_TOKEN = re.compile(r"""\s*(?:("[^"]*")|([,:;])|([^\s,:;"]+))""")
_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")
_NAME = re.compile(r"[A-Za-z_][\w-]*(?:\.[A-Za-z_][\w.-]*)?")
_UNITS_OF_TIME = {"second", "minute", "hour", "day", "week", "year", "s", "min", "h", "d"}
_COMPARE = ("under", "below", "over", "above", "at", "between", "within", "rises", "falls")
_STATES = {
    "on": ("on", True), "off": ("on", False), "runs": ("runs", True), "running": ("runs", True),
    "stands": ("runs", False), "stops": ("runs", False), "trips": ("trips", True), "tripped": ("trips", True),
    "starts": ("runs", True),
}  # fmt: skip
_STATISTICS = ("mean", "highest", "lowest", "swing", "rise")
_ENDS = ("for", "while", "from", "within", "and", "or", "then", "times", "per", "of", "to", ",", ":", "is", "has",
         "in", "at")  # fmt: skip
_WORDS = (*_COMPARE, *_STATES, *_ENDS, *_STATISTICS, "not", "no", "never", "after", "before", "spill", "closure",
          "journal", "says", "most", "least", "the", "time", "running", "any", "all", "a", "times")  # fmt: skip


class SentenceError(PlantsimError, ValueError):
    """Raised when a sentence cannot be understood: what was found, what may stand there, and the place.

    Parameters
    ----------
    text : str
        The sentence.
    at, length : int
        Place and length of what is wrong.
    found, allowed : str
        Words of the finding.
    hint : str or None
        The nearest word that may stand there.
    """

    def __init__(self, text: str, at: int, length: int, found: str, allowed: str, hint: str | None = None) -> None:
        from plantsim.units import sentence

        self.text, self.at = text, at
        pointer = " " * at + "^" * max(1, length)
        super().__init__(f"{sentence(found, allowed, hint)}\n    {text}\n    {pointer}")


@dataclass(frozen=True)
class _Token:
    text: str
    at: int
    kind: str  # 'word', 'mark' or 'quoted'


def parse(text: str) -> s.Sentence:
    """Read an acceptance sentence.

    Parameters
    ----------
    text : str
        The sentence; see the table of this module.

    Returns
    -------
    Sentence

    Raises
    ------
    SentenceError
        With the place and what may stand there.

    Examples
    --------
    >>> parse("clarifier.turbidity under 80 NTU for 95 % of running time").requirement.percent
    95.0
    >>> parse("after P-101 trips, P-102 runs within 15 s").requirement.seconds
    15.0
    """
    return _Parser(" ".join(text.split())).sentence()


class _Parser:
    def __init__(self, text: str) -> None:
        self.text = text
        self.tokens: list[_Token] = []
        self.i = 0
        place = 0
        while place < len(text.rstrip(" .")):
            match = _TOKEN.match(text, place)
            if match is None:  # a quote that is never closed
                at = place + len(text[place:]) - len(text[place:].lstrip())
                raise SentenceError(text, at, 1, 'a quote that is not closed', 'words between two "')
            kind = "quoted" if match[1] else "mark" if match[2] else "word"
            word = match[1] or match[2] or match[3]
            self.tokens.append(_Token(word, match.end() - len(word), kind))
            place = match.end()
        if self.tokens and self.tokens[-1].kind == "word" and self.tokens[-1].text.endswith("."):
            last = self.tokens[-1]
            self.tokens[-1] = replace(last, text=last.text.rstrip("."))

    # --- looking ---

    def peek(self, ahead: int = 0) -> str:
        i = self.i + ahead
        return self.tokens[i].text if i < len(self.tokens) else ""

    def quoted(self) -> bool:
        return self.i < len(self.tokens) and self.tokens[self.i].kind == "quoted"

    def take(self) -> str:
        word = self.peek()
        self.i += 1
        return word

    def eat(self, *words: str) -> bool:
        """Take these words if they stand next."""
        if all(self.peek(k).casefold() == word for k, word in enumerate(words)):
            self.i += len(words)
            return True
        return False

    def refuse(self, allowed: str, words: tuple[str, ...] = (), at: int | None = None) -> SentenceError:
        i = self.i if at is None else at
        if i >= len(self.tokens):
            return SentenceError(self.text, len(self.text), 1, "the end of the sentence", allowed)
        token = self.tokens[i]
        return SentenceError(self.text, token.at, len(token.text), f"'{token.text}'", allowed,
                             nearest(token.text, words) if words else None)  # fmt: skip

    # --- values ---

    def seconds(self) -> float:
        """A length of time."""
        start, number = self.i, self.take()
        if not number[:1].isdigit():
            self.i = start
            raise self.refuse("a length of time with its unit: s, min, h, d")
        text = number
        if _NUMBER.fullmatch(number):
            text = f"{number} {self.take()}"
            while _NUMBER.fullmatch(self.peek()) and self.peek(1) in ("s", "min", "h"):  # 2 h 30 min
                text += f" {self.take()} {self.take()}"
        try:
            return to_si(text, "time")
        except QuantityError as error:
            raise self._unit(error, start) from None

    def _unit(self, error: QuantityError, start: int) -> SentenceError:
        token = self.tokens[start]
        last = self.tokens[min(self.i, len(self.tokens)) - 1]
        return SentenceError(self.text, token.at, last.at + len(last.text) - token.at, error.found, error.allowed,
                             error.hint)  # fmt: skip

    def amount(self, unit: str = "") -> s.Amount:
        """A number and its unit; a plain number stays one."""
        start, text = self.i, self.take()
        head = _NUMBER.match(text)
        if head is None:
            self.i = start
            raise self.refuse("a number with its unit")
        value, rest = float(head[0]), text[head.end():]
        following = self.peek().casefold()
        inch = following == "in" and self.peek(1).casefold() not in ("all", "any")
        if not rest and self.i < len(self.tokens) and (following not in _ENDS or inch) and \
                self.tokens[self.i].kind == "word" and not _NUMBER.fullmatch(self.peek()):  # fmt: skip
            rest = self.take()
        if not rest:
            return s.Amount(value, unit or "1")
        try:
            unit_factor(rest)
        except QuantityError as error:
            raise self._unit(error, start) from None
        return s.Amount(value, rest)

    def name(self) -> str:
        """The name of a quantity, unit or tag."""
        if self.quoted() or not _NAME.fullmatch(self.peek()):
            raise self.refuse("a name, such as sump.level or LT-101")
        if self.peek().casefold() in _WORDS and "." not in self.peek():
            raise self.refuse("a name, such as sump.level or LT-101; this word has a meaning of its own")
        return self.take()

    # --- conditions ---

    def condition(self, timer: bool = True) -> s.Condition:
        """One condition, or several joined; `timer`: a closing 'for T' belongs to it."""
        parts, joined = [self.atom()], ""
        while self.peek().casefold() in ("and", "or"):
            word = self.peek().casefold()
            if joined and word != joined:
                raise self.refuse(f"'{joined}': a sentence joins all its conditions by 'and', or all by 'or'")
            joined = word
            self.i += 1
            parts.append(self.atom())
        made = parts[0] if len(parts) == 1 else s.Both(tuple(parts), joined)
        if timer and self.peek().casefold() == "for" and self.peek(1)[:1].isdigit() and not self._percent(1):
            self.i += 1
            made = s.Held(made, self.seconds())
        return made

    def _percent(self, ahead: int) -> bool:
        return self.peek(ahead).endswith("%") or self.peek(ahead + 1) == "%"

    def atom(self) -> s.Condition:
        if self.eat("not"):
            return s.Not(self.atom())
        if self.eat("no"):
            return s.Not(s.State(self.name()))
        name = self.name()
        self.eat("is")
        word = self.peek().casefold()
        if word == "not" and self.peek(1).casefold() in _STATES:
            self.i += 1
            kind, wanted = _STATES[self.take().casefold()]
            return s.State(name, kind, not wanted)
        if word in _STATES:
            self.i += 1
            kind, wanted = _STATES[word]
            return s.State(name, kind, wanted)
        limit = self.comparison(name)
        if limit is not None:
            return limit
        if self.i < len(self.tokens) and word not in _ENDS:
            raise self.refuse("under, over, at most, at least, between, within, on, off, runs, stands, trips, or what "
                              "follows a tag: for, while, within, ','", (*_COMPARE, *_STATES, *_ENDS))  # fmt: skip
        return s.State(name)

    def comparison(self, name: str) -> s.Compare | None:
        """What a quantity is compared with; None when no comparison stands here."""
        if self.eat("rises", "above") or self.eat("over") or self.eat("above"):
            return s.Compare(name, "over", self.amount())
        if self.eat("falls", "below") or self.eat("under") or self.eat("below"):
            return s.Compare(name, "under", self.amount())
        for how in ("most", "least"):
            if self.eat("at", how):
                return s.Compare(name, f"at {how}", self.amount())
        if self.eat("between"):
            low = self.amount()
            if not self.eat("and"):
                raise self.refuse("'and' with the upper limit")
            start, high = self.i, self.amount()
            if low.unit == "1":
                low = s.Amount(low.value, high.unit)
            if low.unit == high.unit and high.value <= low.value:
                raise self.refuse(f"more than {low}", at=start)
            return s.Compare(name, "between", low, high)
        if self.peek().casefold() == "within" and self._near():
            self.i += 1
            off = self.amount()
            self.eat("of")
            if _NUMBER.match(self.peek()):
                return s.Compare(name, "near", self.amount(off.unit), off)
            return s.Compare(name, "near", None, off, self.name())
        return None

    def _near(self) -> bool:
        """Whether 'within' begins 'within 0.2 m of 1.6 m', not 'within 15 s'."""
        return "of" in (self.peek(2).casefold(), self.peek(3).casefold())

    def event(self) -> s.Event:
        """What happens at a moment."""
        if self.eat("journal"):
            self.eat("says")
            return s.Line(self.words())
        if self.quoted():
            return s.Line(self.words())
        if self.eat("the"):
            return s.Mark(self.take())
        return self.condition()

    def words(self) -> str:
        if not self.quoted():
            raise self.refuse('words of a line of the journal between "')
        return self.take().strip('"')

    # --- whole sentences ---

    def sentence(self) -> s.Sentence:
        if not self.tokens:
            raise SentenceError(self.text, 0, 1, "nothing", "an acceptance sentence")
        if self.eat("after"):
            anchor = self.event()
            if self.eat(":"):
                made = s.Sentence(self.text, self.order(), anchor)
            else:
                if not self.eat(","):
                    raise self.refuse("',' before what has to hold, or ':' before steps in order", (",", ":"))
                if self.eat("first"):
                    made = s.Sentence(self.text, self.order(), anchor)
                else:
                    made = replace(self.stated(True), anchor=anchor)
        elif self.eat("before"):
            anchor = self.event()
            if not self.eat(","):
                raise self.refuse("',' before what has to hold")
            made = replace(self.stated(True), anchor=anchor, side="before")
            if isinstance(made.requirement, s.Within) or not math.isfinite(made.stop):
                raise self.refuse("how long before: for 10 min")
        else:
            made = self.stated(False)
        if self.i < len(self.tokens):
            raise self.refuse("the end of the sentence, or: for, while, from, within, and, or", _ENDS)
        return made

    def order(self) -> s.Order:
        steps = [self.event()]
        while self.eat(",", "then") or self.eat("then") or self.eat(","):
            steps.append(self.event())
        return s.Order(tuple(steps), self.seconds() if self.eat("within") else math.inf)

    def stated(self, anchored: bool) -> s.Sentence:
        """A requirement with what limits the time it is looked at."""
        requirement = self.requirement(anchored)
        made = s.Sentence(self.text, requirement)
        while self.i < len(self.tokens):
            if self.eat("while"):
                made = replace(made, given=self.condition())
            elif self.eat("from"):
                start = self.seconds()
                place, stop = self.i, math.inf
                if self.eat("to"):
                    stop = self.seconds()
                    if stop <= start:
                        raise self.refuse("a later time than the start of the window", at=place + 1)
                else:
                    self.eat("on")
                made = replace(made, start=start, stop=stop)
            elif anchored and self.eat("for"):
                made = replace(made, stop=made.start + self.seconds())
            else:
                break
        return made

    def requirement(self, anchored: bool) -> s.Requirement:
        if self.eat("closure"):
            if not self.eat("at", "most"):
                raise self.refuse("at most, with a number such as 1e-9")
            return s.Closure(self.amount().value)
        if self.eat("journal"):
            wanted = not self.eat("never")
            self.eat("says")
            return s.Says(self.words(), wanted)
        if self.eat("no", "spill"):
            if not self.eat("from"):
                raise self.refuse("from, with the name of a unit", ("from",))
            name = self.name()
            return s.Rise(name, "spill", s.Compare(name, "at most", s.Amount(0.0, "m3")))
        if self.eat("spill", "from"):
            name = self.name()
            return s.Rise(name, "spill", self.limit(name))
        if self.eat("starts", "of"):
            return self.count(None, self.name())
        if self.peek().casefold() in _STATISTICS and self.peek(1).casefold() == "of":
            which = self.take().casefold()
            self.i += 1
            return s.Statistic(which, self.limit(self.name()))
        if self.eat("never"):
            return s.Always(s.Not(self.condition(not anchored)))
        return self.about(self.condition(False), anchored)

    def limit(self, name: str) -> s.Compare:
        limit = self.comparison(name)
        if limit is None:
            raise self.refuse("under, over, at most, at least, between", _COMPARE)
        return limit

    def about(self, condition: s.Condition, anchored: bool) -> s.Requirement:
        """What is asked of a condition."""
        if self.peek().casefold() == "at" and self.peek(1).casefold() in ("most", "least"):
            return self.count(condition, "")
        if self.eat("at", "all", "times"):
            return s.Always(condition)
        if self.peek().casefold() == "for":
            place = self.i
            self.i += 1
            bound = self.eat("at", "most"), self.eat("at", "least")
            if self._percent(0):
                return self.share(condition, not bound[0])
            if any(bound):
                seconds = self.seconds()
                single = self.eat("at", "a", "time")
                if not single and not self.eat("in", "all"):
                    raise self.refuse("'at a time' (one spell) or 'in all' (all together)")
                return s.Spell(condition, seconds, bound[1], single)
            seconds = self.seconds()
            if self.peek().casefold() == "within":
                condition = s.Held(condition, seconds)
            elif anchored:
                self.i = place
                return s.Always(condition)
            else:
                raise self.refuse("'for at most ... at a time', 'for at least ... in all' or 'for 95 % of the time'",
                                  at=place)  # fmt: skip
        if self.peek().casefold() == "within":
            if not anchored:
                raise self.refuse("the event it answers first: 'after EVENT, ... within 15 s'")
            self.i += 1
            return s.Within(condition, self.seconds())
        return s.Always(condition)

    def share(self, condition: s.Condition, least: bool) -> s.Share:
        place, text = self.i, self.take()
        if self.peek() == "%":
            self.i += 1
        head = _NUMBER.match(text)
        percent = float(head[0]) if head else math.nan
        if not 0.0 <= percent <= 100.0:
            raise self.refuse("a share from 0 % to 100 %", at=place)
        running = self.eat("of", "running", "time") or self.eat("of", "the", "running", "time")
        if not running and not self.eat("of", "the", "time"):
            raise self.refuse("'of the time' or 'of running time'")
        return s.Share(condition, percent, least, running)

    def count(self, event: s.Event | None, starts: str) -> s.Count:
        least = self.eat("at", "least")
        if not least and not self.eat("at", "most"):
            raise self.refuse("'at most' with a number", ("at", "most"))
        number = self.take()
        if not _NUMBER.fullmatch(number):
            self.i -= 1
            raise self.refuse("a number of times")
        self.eat("times") or self.eat("starts")
        per = math.inf
        if self.eat("per") or self.eat("in", "any"):
            if self.peek().casefold().rstrip("s") in _UNITS_OF_TIME or self.peek() in _UNITS_OF_TIME:
                per = to_si(f"1 {self.take()}", "time")
            else:
                per = self.seconds()
        return s.Count(event, float(number), per, least, starts)
