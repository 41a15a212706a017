"""Program text with places in it, and the findings a compiler reports about it."""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Iterable
from difflib import get_close_matches


def words(text: str) -> list[str]:
    """The words of a text; keeps long word lists readable."""
    return text.split()


_WORD = re.compile(r"\w+(?:#[\w.#]+)?|:=|=>|<=|>=|<>|\*\*|\.\.|.", re.DOTALL)


class Source:
    """One file's text; turns an offset into line, column and the marked line."""

    def __init__(self, text: str, filename: str) -> None:
        self.text = text
        self.filename = filename
        self._starts = [0, *(m.end() for m in re.finditer("\n", text))]

    def line(self, pos: int) -> int:
        """Line number of an offset, counted from 1 [-]."""
        return bisect_right(self._starts, pos)

    def place(self, pos: int) -> tuple[int, int]:
        """Line and column of an offset, both counted from 1 [-]."""
        line = self.line(pos)
        return line, pos - self._starts[line - 1] + 1

    def line_text(self, line: int) -> str:
        """Text of a line without its line end."""
        start = self._starts[line - 1]
        end = self.text.find("\n", start)
        return self.text[start : end if end >= 0 else len(self.text)].rstrip("\r")

    def marked(self, pos: int) -> str:
        """The line of an offset with carets under the word that stands there."""
        line, column = self.place(pos)
        text = self.line_text(line)
        match = _WORD.match(text, column - 1) if column <= len(text) else None
        width = len(match.group()) if match else 1
        lead = "".join("\t" if ch == "\t" else " " for ch in text[: column - 1])
        return f"    {text}\n    {lead}{'^' * width}"


class Findings:
    """Errors and warnings gathered while a program is compiled; one for each place and sentence."""

    def __init__(self) -> None:
        self._errors: dict[tuple[str, int, str], str] = {}
        self._warnings: dict[tuple[str, int, str], str] = {}

    def error(self, source: Source, pos: int, message: str) -> None:
        """Note an error at an offset."""
        self._note(self._errors, source, pos, message)

    def warn(self, source: Source, pos: int, message: str) -> None:
        """Note a warning at an offset."""
        self._note(self._warnings, source, pos, f"warning: {message}")

    @staticmethod
    def _note(where: dict[tuple[str, int, str], str], source: Source, pos: int, message: str) -> None:
        line, column = source.place(pos)
        where.setdefault(
            (source.filename, pos, message),
            f"{source.filename}:{line}:{column}: {message}\n{source.marked(pos)}",
        )

    @property
    def errors(self) -> list[str]:
        """Errors in the order of the text."""
        return [self._errors[key] for key in sorted(self._errors)]

    @property
    def warnings(self) -> list[str]:
        """Warnings in the order of the text."""
        return [self._warnings[key] for key in sorted(self._warnings)]

    def __bool__(self) -> bool:
        return bool(self._errors)


def nearest(word: str, known: Iterable[str]) -> str:
    """A hint naming the valid word nearest to a mistaken one, or an empty text.

    >>> nearest("levle", ["level", "flow"])
    '; did you mean level?'
    """
    by_key = {name.upper(): name for name in known}
    found = get_close_matches(word.upper(), by_key, n=1, cutoff=0.6)
    return f"; did you mean {by_key[found[0]]}?" if found else ""


def article(name: str) -> str:
    """A type's name with its article.

    >>> article("INT"), article("UINT")
    ('an INT', 'a UINT')
    """
    return f"{'an' if name[:1] in 'AEIOaeio' else 'a'} {name}"
