"""Recursive-descent parser of Structured Text: declarations, types and program organisation units.

Written by hand rather than from a grammar file so that it can go on after an error and report them all.
Source of the syntax: IEC 61131-3, third edition (2013), Annex A, from memory.
"""

from __future__ import annotations

import math
import re

from . import tree
from .expressions import Recover, StatementParser, TooDeep
from .lexer import REFUSED
from .source import Findings, Source

_SECTIONS = {
    "VAR": "local",
    "VAR_INPUT": "input",
    "VAR_OUTPUT": "output",
    "VAR_IN_OUT": "in_out",
    "VAR_TEMP": "temp",
    "VAR_EXTERNAL": "external",
}
_ENDS = {"PROGRAM": "END_PROGRAM", "FUNCTION": "END_FUNCTION", "FUNCTION_BLOCK": "END_FUNCTION_BLOCK"}
_UNIT_PRAGMA = re.compile(r"unit\s+'([^']*)'", re.IGNORECASE)
_OPERATOR_PRAGMA = re.compile(r"operator(?:\s+(-?\d+(?:\.\d+)?)\s*\.\.\s*(-?\d+(?:\.\d+)?))?", re.IGNORECASE)
_ALL_STARTS = ("PROGRAM", "FUNCTION", "FUNCTION_BLOCK", "TYPE")


class Parser(StatementParser):
    """One file's parser."""

    def file(self) -> tree.File:
        """Read the whole text."""
        result = tree.File(self.source)
        try:
            while self.token.kind != "end":
                start = self.at
                try:
                    if self.is_("TYPE"):
                        self._types(result)
                    elif self.is_("PROGRAM", "FUNCTION", "FUNCTION_BLOCK"):
                        result.units.append(self._unit())
                    elif self.accept(";"):
                        continue
                    else:
                        self.unexpected("PROGRAM, FUNCTION, FUNCTION_BLOCK or TYPE")
                        raise Recover
                except Recover:
                    if self.at == start:
                        self.advance()
                    while self.token.kind != "end" and not self.is_(*_ALL_STARTS):
                        self.advance()
        except TooDeep:
            pass
        return result

    def _unit(self) -> tree.Unit:
        opener = self.advance()
        name = self.need_name(f"the name of the {opener.text}")
        if self.token.kind == "name" and self.token.text in REFUSED:
            self.unexpected("a declaration")
        result = None
        if opener.text == "FUNCTION" and self.accept(":"):
            result = self._type()
            self.accept(";")
        declarations: list[tree.Declaration] = []
        while self.is_(*_SECTIONS) or (self.token.kind == "name" and self.token.text in REFUSED):
            if self.token.kind == "name":
                self.error(REFUSED[self.token.text])
                while self.token.kind != "end" and not self.is_("END_VAR", *_ENDS.values()):
                    self.advance()
                self.accept("END_VAR")
            else:
                self._section(declarations)
        closing = _ENDS[opener.text]
        body = self.statements(frozenset([closing]))
        while self.token.kind != "end" and not self.is_(closing, *_ALL_STARTS):
            self.error(f"{self.found()}, which closes nothing here; expected a statement or {closing}")
            self.advance()
            self.accept(";")
            body += self.statements(frozenset([closing]))
        end_pos = self.token.pos
        if not self.accept(closing):
            line = self.source.line(opener.pos)
            self.unexpected(f"{closing} to close {opener.text} {name.raw} of line {line}")
        self.accept(";")
        return tree.Unit(opener.pos, opener.text, name.raw, result, declarations, body, self.source, end_pos)

    def _section(self, declarations: list[tree.Declaration]) -> None:
        section = _SECTIONS[self.token.text]
        opener = self.advance()
        constant = retain = False
        while True:
            if self.accept("CONSTANT"):
                constant = True
            elif self.accept("RETAIN"):
                retain = True
            elif self.accept("NON_RETAIN"):
                retain = False
            else:
                break
        while self.token.kind != "end" and not self.is_("END_VAR"):
            if self.is_(*_SECTIONS, *_ALL_STARTS, *_ENDS.values()):
                break
            if self.accept(";"):
                continue
            start = self.at
            try:
                for declaration in self._declaration():
                    declaration.section = section
                    declaration.constant = constant
                    declaration.retain = retain
                    declarations.append(declaration)
            except Recover:
                self._skip_declaration(start)
        if not self.accept("END_VAR"):
            self.unexpected(f"END_VAR to close {opener.text} of line {self.source.line(opener.pos)}")

    def _skip_declaration(self, start: int) -> None:
        if self.at == start:
            self.advance()
        stops = ("END_VAR", "END_STRUCT", "END_TYPE", *_SECTIONS, *_ALL_STARTS, *_ENDS.values())
        while self.token.kind != "end" and not self.is_(*stops):
            if self.accept(";"):
                return
            self.advance()

    def _declaration(self) -> list[tree.Declaration]:
        names = [self.need_name("the name of a variable")]
        while self.accept(","):
            names.append(self.need_name("the name of a variable"))
        if self.token.kind == "name" and self.token.text == "AT":
            self.error(REFUSED["AT"])
            raise Recover
        self.need(":", " and a type")
        kind = self._type()
        if self.token.kind == "name" and self.token.text in ("R_EDGE", "F_EDGE"):
            self.error(REFUSED[self.token.text])
            raise Recover
        initial = self._initial() if self.accept(":=") else None
        end = self.token.pos
        if not self.accept(";"):
            self.unexpected("';' after the declaration")
            if not (self.token.kind == "name" and self.peek().text in (":", ",")) and not self.is_("END_VAR"):
                raise Recover
        unit, operator, comment = self._notes(names[0].pos, end)
        return [tree.Declaration(n.pos, n.raw, kind, initial, unit, comment, operator=operator) for n in names]

    def _notes(self, start: int, end: int) -> tuple[str | None, tuple[float, float] | None, str]:
        """Unit, operator's range and description of a declaration, up to the end of its last line."""
        stop = self.source.text.find("\n", end)
        stop = min(stop if stop >= 0 else len(self.source.text), self.token.pos)
        unit, operator = None, None
        comments = []
        for note in self._trivia_between(start, stop):
            if note.kind == "comment":
                comments.append(" ".join(note.text.split()))
                continue
            match = _UNIT_PRAGMA.fullmatch(note.text)
            may = _OPERATOR_PRAGMA.fullmatch(note.text)
            if match:
                unit = match.group(1)
            elif may:
                low, high = may.groups()
                operator = (-math.inf, math.inf) if low is None else (float(low), float(high))
            else:
                self.findings.warn(
                    self.source, note.pos,
                    f"pragma {{{note.text}}} is not known; {{unit 'm'}} names a unit, {{operator}} or "
                    "{operator 0..100} what an operator may change",
                )  # fmt: skip
        return unit, operator, " ".join(c for c in comments if c)

    def _trivia_between(self, start: int, stop: int) -> list:
        low, high = 0, len(self.trivia)
        while low < high:
            middle = (low + high) // 2
            if self.trivia[middle].pos < start:
                low = middle + 1
            else:
                high = middle
        result = []
        while low < len(self.trivia) and self.trivia[low].pos < stop:
            result.append(self.trivia[low])
            low += 1
        return result

    # -- types -----------------------------------------------------------------------------------------------

    def _types(self, result: tree.File) -> None:
        opener = self.advance()
        while self.token.kind != "end" and not self.is_("END_TYPE", *_ALL_STARTS, *_ENDS.values()):
            start = self.at
            try:
                name = self.need_name("the name of a type")
                self.need(":")
                kind = self._type()
                initial = self._initial() if self.accept(":=") else None
                self.want(";", " after the type")
                result.types.append(tree.TypeDeclaration(name.pos, name.raw, kind, initial, self.source))
            except Recover:
                self._skip_declaration(start)
                self.accept("END_STRUCT")
                self.accept(";")
        if not self.accept("END_TYPE"):
            self.unexpected(f"END_TYPE to close TYPE of line {self.source.line(opener.pos)}")

    def _type(self) -> tree.TypeExpr:
        self.deeper()
        try:
            return self._type_inner()
        finally:
            self.shallower()

    def _type_inner(self) -> tree.TypeExpr:
        token = self.token
        if self.accept("ARRAY"):
            self.need("[")
            bounds = [self._bounds()]
            while self.accept(","):
                bounds.append(self._bounds())
            self.need("]")
            self.need("OF")
            return tree.ArrayOf(token.pos, bounds, self._type())
        if self.accept("STRUCT"):
            fields: list[tree.Declaration] = []
            while self.token.kind != "end" and not self.is_("END_STRUCT", "END_TYPE", "END_VAR"):
                start = self.at
                try:
                    fields += self._declaration()
                except Recover:
                    self._skip_declaration(start)
            self.want("END_STRUCT")
            return tree.StructOf(token.pos, fields)
        if self.accept("("):
            members = []
            while True:
                member = self.need_name("the name of an enumeration value")
                members.append((member.pos, member.raw, self.expression() if self.accept(":=") else None))
                if not self.accept(","):
                    break
            self.need(")", " or ','")
            return tree.EnumOf(token.pos, members)
        name = self.need_name("a type")
        limits = None
        if self.accept("("):
            limits = self._bounds()
            self.need(")")
        elif self.is_("["):
            self.error("the length of a string; STRING is not supported")
            raise Recover
        return tree.TypeName(name.pos, name.text, name.raw, limits)

    def _bounds(self) -> tuple[tree.Expr, tree.Expr]:
        low = self.expression()
        self.need("..")
        return low, self.expression()

    def _initial(self) -> tree.Expr:
        """Read an initial value: an expression, [..] for an array or (name := ..) for a structure or block."""
        self.deeper()
        try:
            return self._initial_inner()
        finally:
            self.shallower()

    def _initial_inner(self) -> tree.Expr:
        token = self.token
        result: tree.Expr
        if self.accept("["):
            items: list[tuple[int, str | None, tree.Expr | None]] = []
            while not self.is_("]"):
                if self.token.kind == "int" and self.peek().text == "(":
                    count = int(self.advance().raw.replace("_", "")[:9])
                    self.need("(")
                    items.append((count, None, None if self.is_(")") else self._initial()))
                    self.need(")")
                else:
                    items.append((1, None, self._initial()))
                if not self.accept(","):
                    break
            self.need("]")
            result = tree.InitList(token.pos, items)
        elif self.is_("(") and self.peek().kind == "name" and self.peek(2).text == ":=":
            self.advance()
            items = []
            while True:
                part = self.need_name("the name of an element")
                self.need(":=")
                items.append((1, part.text, self._initial()))
                if not self.accept(","):
                    break
            self.need(")")
            result = tree.InitList(token.pos, items)
        else:
            result = self.expression()
        return result


def parse(text: str, filename: str, findings: Findings) -> tree.File:
    """Parse one text; errors go to `findings` and the tree holds what could be read."""
    source = Source(text, filename)
    return Parser(source, findings).file()
