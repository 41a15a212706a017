"""Token reader, expressions and statements of the parser, with recovery so that one text gives all its errors."""

from __future__ import annotations

from collections.abc import Callable

from . import tree
from .lexer import REFUSED, Token, Trivia, read_time, tokenize
from .source import Findings, Source, words

_DEPTH_LIMIT = 60
_STATEMENT_STARTS = frozenset(words("IF CASE FOR WHILE REPEAT EXIT CONTINUE RETURN"))
_BLOCK_ENDS = frozenset(
    words(
        "END_IF END_CASE END_FOR END_WHILE END_REPEAT UNTIL ELSE ELSIF END_PROGRAM END_FUNCTION END_FUNCTION_BLOCK "
        "PROGRAM FUNCTION FUNCTION_BLOCK TYPE END_TYPE END_VAR"
    )
)
_DECLARATION_STARTS = frozenset(words("VAR VAR_INPUT VAR_OUTPUT VAR_IN_OUT VAR_TEMP VAR_EXTERNAL"))
#: binary operators by binding strength, weakest first (Table 71 of the third edition, 55 of the second)
_LEVELS: tuple[frozenset[str], ...] = (
    frozenset(["OR"]),
    frozenset(["XOR"]),
    frozenset(["AND", "&"]),
    frozenset(["=", "<>"]),
    frozenset(["<", ">", "<=", ">="]),
    frozenset(["+", "-"]),
    frozenset(["*", "/", "MOD"]),
    frozenset(["**"]),
)
_LEVEL_OF = {op: level for level, ops in enumerate(_LEVELS) for op in ops}


class Recover(Exception):
    """Raised inside the parser, after the finding was noted, to go back to a place where reading can go on."""


class TooDeep(Exception):
    """Raised inside the parser when a text is nested beyond reason."""


class Reader:
    """Tokens with a cursor, and the errors about them."""

    def __init__(self, source: Source, findings: Findings) -> None:
        self.source = source
        self.findings = findings
        self.tokens: list[Token]
        self.trivia: list[Trivia]
        self.tokens, self.trivia = tokenize(source, findings)
        self.at = 0
        self.token = self.tokens[0]
        self._reported = -1
        self._depth = 0

    def advance(self) -> Token:
        """Take the token and go on to the next."""
        token = self.token
        if self.at < len(self.tokens) - 1:
            self.at += 1
            self.token = self.tokens[self.at]
        return token

    def peek(self, ahead: int = 1) -> Token:
        """The token further on."""
        return self.tokens[min(self.at + ahead, len(self.tokens) - 1)]

    def is_(self, *texts: str) -> bool:
        """Whether the token is one of these keywords or symbols."""
        return self.token.text in texts and self.token.kind in ("keyword", "symbol")

    def accept(self, *texts: str) -> Token | None:
        """Take the token if it is one of these."""
        return self.advance() if self.is_(*texts) else None

    def error(self, message: str, pos: int | None = None) -> None:
        """Note an error, at most one for each token read."""
        if self._reported != self.at:
            self._reported = self.at
            self.findings.error(self.source, self.token.pos if pos is None else pos, message)

    def found(self) -> str:
        """What stands at the cursor, in words."""
        token = self.token
        if token.kind == "end":
            return "found the end of the text"
        if token.kind == "keyword":
            return f"found keyword {token.text}"
        return f"found {token.raw!r}"

    def unexpected(self, expected: str) -> None:
        """Note that something else was expected here."""
        token = self.token
        if token.kind == "name" and token.text in REFUSED:
            self.error(REFUSED[token.text])
        elif token.kind == "address":
            self.error(f"direct address {token.raw} is not supported: variables are bound to tags by name")
        elif token.kind == "string":
            self.error(f"found string {token.raw}; STRING is not supported")
        else:
            self.error(f"{self.found()}, expected {expected}")

    def want(self, text: str, why: str = "") -> bool:
        """Take this symbol or keyword; note an error and go on without it if it is missing."""
        if self.accept(text):
            return True
        self.unexpected(f"{text}{why}")
        return False

    def need(self, text: str, why: str = "") -> Token:
        """Take this symbol or keyword, or give up on the construct."""
        if not self.is_(text):
            self.unexpected(f"{text}{why}")
            raise Recover
        return self.advance()

    def need_name(self, what: str) -> Token:
        """Take an identifier, or give up on the construct."""
        if self.token.kind != "name":
            if self.token.kind == "keyword":
                self.error(f"found keyword {self.token.text}, expected {what}; a keyword cannot be a name")
            else:
                self.unexpected(what)
            raise Recover
        if self.token.text in REFUSED:
            word = self.token.text
            self.error(f"{word} is a keyword of the standard and cannot be {what}; {REFUSED[word]}")
            raise Recover
        return self.advance()

    def deeper(self) -> None:
        """Count one level of nesting."""
        self._depth += 1
        if self._depth > _DEPTH_LIMIT:
            self.error(f"nested deeper than {_DEPTH_LIMIT} levels; split the expression or statement")
            raise TooDeep

    def shallower(self) -> None:
        """Leave one level of nesting."""
        self._depth -= 1


class StatementParser(Reader):
    """Expressions and statements."""

    def expression(self, level: int = 0) -> tree.Expr:
        """Read an expression whose operators bind at least as strongly as `level`."""
        self.deeper()
        try:
            return self._operators(self._unary(), level)
        finally:
            self.shallower()

    def _operators(self, left: tree.Expr, lowest: int) -> tree.Expr:
        while self.token.kind in ("symbol", "keyword"):
            level = _LEVEL_OF.get(self.token.text, -1)
            if level < lowest:
                break
            op = self.advance()
            right = self._unary()
            while self.token.kind in ("symbol", "keyword") and _LEVEL_OF.get(self.token.text, -1) > level:
                right = self._operators(right, level + 1)
            left = tree.Binary(op.pos, "AND" if op.text == "&" else op.text, left, right)
        return left

    def _unary(self) -> tree.Expr:
        token = self.token
        if token.kind in ("symbol", "keyword") and token.text in ("-", "+", "NOT"):
            self.deeper()
            self.advance()
            try:
                of = self._unary()
            finally:
                self.shallower()
            if token.text == "+":
                return of
            return tree.Unary(token.pos, token.text, of)
        return self._primary()

    def _primary(self) -> tree.Expr:
        token = self.token
        if token.kind == "name":
            return self.variable()
        if self.accept("("):
            inner = self.expression()
            self.need(")")
            return inner
        if self.is_("AND", "OR", "XOR", "MOD") and self.peek().text == "(":
            self.advance()
            return self._call(tree.Name(token.pos, token.text, token.raw))
        if token.kind in ("int", "real", "based", "typed", "time") or self.is_("TRUE", "FALSE"):
            self.advance()
            return self._literal(token)
        self.unexpected("a value: a literal, a variable, a call or '('")
        raise Recover

    def _literal(self, token: Token) -> tree.Expr:
        raw = token.raw.replace("_", "")
        if token.kind == "keyword":
            return tree.TypedLiteral(token.pos, "BOOL", int(token.text == "TRUE"))
        if token.kind == "int":
            return tree.Number(token.pos, int(raw) if len(raw) < 40 and raw.isdigit() else 0)
        if token.kind == "real":
            return tree.Number(token.pos, float(raw))
        if token.kind == "based":
            return tree.Number(token.pos, self._based(token, raw))
        if token.kind == "time":
            read = read_time(token.raw)
            if isinstance(read, str):
                self.findings.error(self.source, token.pos, f"time literal {token.raw}: {read}")
                return tree.TypedLiteral(token.pos, "TIME", 0)
            if read[1]:
                self.findings.warn(
                    self.source, token.pos, f"{token.raw} is rounded to {read[0]} ms; TIME counts whole ms"
                )
            return tree.TypedLiteral(token.pos, "TIME", read[0])
        prefix, _, body = token.raw.partition("#")
        value: int | float | str
        plain = body.replace("_", "").lstrip("+-")
        sign = -1 if body.startswith("-") else 1
        if plain.upper() in ("TRUE", "FALSE"):
            value = int(plain.upper() == "TRUE")
        elif "#" in plain:
            value = sign * self._based(token, plain)
        elif plain.isdigit():
            value = sign * int(plain) if len(plain) < 40 else 2**200
        elif plain[0].isdigit() and "." in plain:
            value = sign * float(plain)
        else:
            value = body
        return tree.TypedLiteral(token.pos, prefix.upper(), value)

    def _based(self, token: Token, raw: str) -> int:
        base, _, digits = raw.partition("#")
        if base not in ("2", "8", "10", "16"):
            self.findings.error(self.source, token.pos, f"{token.raw}: the base must be 2, 8, 10 or 16")
            return 0
        try:
            return int(digits, int(base)) if len(digits) < 130 else 0
        except ValueError:
            self.findings.error(
                self.source, token.pos, f"{token.raw}: {digits or 'nothing'} is not a number in base {base}"
            )
            return 0

    def variable(self) -> tree.Expr:
        """Read a name with its element, index and call parts."""
        token = self.need_name("a name")
        node: tree.Expr = tree.Name(token.pos, token.text, token.raw)
        while True:
            if self.is_("."):
                self.advance()
                if self.token.kind in ("int", "address"):
                    self.error("access to a single bit is not supported; use AND with a mask, or SHR")
                    raise Recover
                part = self.need_name("the name of an element")
                node = tree.Member(part.pos, node, part.text, part.raw)
            elif self.is_("["):
                start = self.advance()
                indexes = [self.expression()]
                while self.accept(","):
                    indexes.append(self.expression())
                self.need("]")
                node = tree.Index(start.pos, node, indexes)
            elif self.is_("("):
                node = self._call(node)
            elif self.is_("^"):
                self.error("references (^) are not supported")
                raise Recover
            else:
                return node

    def _call(self, of: tree.Expr) -> tree.Call:
        self.deeper()
        try:
            return tree.Call(of.pos, of, self._arguments())
        finally:
            self.shallower()

    def _arguments(self) -> list[tree.Argument]:
        self.need("(")
        arguments: list[tree.Argument] = []
        while not self.is_(")"):
            token = self.token
            if token.text == "NOT" and self.peek().kind == "name" and self.peek(2).text == "=>":
                self.error("negated outputs (NOT x => y) are not supported; negate in a statement of its own")
                raise Recover
            if token.kind == "name" and self.peek().text in (":=", "=>") and self.peek().kind == "symbol":
                self.advance()
                output = self.advance().text == "=>"
                value = self.variable() if output else self.expression()
                arguments.append(tree.Argument(token.pos, token.text, token.raw, output, value))
            else:
                arguments.append(tree.Argument(token.pos, None, "", False, self.expression()))
            if not self.accept(","):
                break
        self.need(")", " or ','")
        return arguments

    # -- statements ------------------------------------------------------------------------------------------

    def statements(self, until: frozenset[str]) -> list[tree.Statement]:
        """Read statements up to one of the closing keywords, which is not taken."""
        self.deeper()
        try:
            return self._statements(until)
        finally:
            self.shallower()

    def _statements(self, until: frozenset[str]) -> list[tree.Statement]:
        result: list[tree.Statement] = []
        while self.token.kind != "end" and not self.is_(*until):
            if self.is_(*_BLOCK_ENDS):
                break
            if self.is_(*_DECLARATION_STARTS):
                self.error(f"{self.found()}; declarations must stand before the first statement")
                while self.token.kind != "end" and not self.accept("END_VAR"):
                    self.advance()
                continue
            start = self.at
            try:
                statement = self._statement()
                if statement is not None:
                    result.append(statement)
            except Recover:
                self._skip(start)
        return result

    def _skip(self, start: int) -> None:
        """Go on behind the next semicolon, or at the next word that starts or ends a statement."""
        if self.at == start and not self.is_(*_BLOCK_ENDS):
            self.advance()
        while self.token.kind != "end" and not self.is_(*_STATEMENT_STARTS, *_BLOCK_ENDS, *_DECLARATION_STARTS):
            if self.accept(";"):
                return
            self.advance()

    def _semicolon(self, after: str) -> None:
        if not self.accept(";"):
            self.unexpected(f"';' after {after}")
            if not self._starts_statement():
                raise Recover

    def _starts_statement(self) -> bool:
        """Whether a statement or a block end plainly begins here, so that only the ';' is missing."""
        if self.is_(*_STATEMENT_STARTS, *_BLOCK_ENDS):
            return True
        return self.token.kind == "name" and self.peek().text in (":=", "(", ".", "[")

    def _statement(self) -> tree.Statement | None:
        token = self.token
        if self.accept(";"):
            return None
        if token.kind == "keyword":
            methods: dict[str, Callable[[], tree.Statement]] = {
                "IF": self._if, "CASE": self._case, "FOR": self._for, "WHILE": self._while,
                "REPEAT": self._repeat,
            }  # fmt: skip
            if token.text in methods:
                return methods[token.text]()
            if token.text in ("EXIT", "CONTINUE", "RETURN"):
                self.advance()
                self._semicolon(token.text)
                return tree.Jump(token.pos, token.text)
        if token.kind != "name":
            self.unexpected("an assignment, a call, IF, CASE, FOR, WHILE, REPEAT, EXIT, CONTINUE or RETURN")
            raise Recover
        target = self.variable()
        if self.accept(":="):
            value = self.expression()
            if self.is_(":="):
                self.error("an assignment cannot be chained; write one statement for each")
                raise Recover
            self._semicolon("the assignment")
            return tree.Assign(token.pos, target, value)
        if isinstance(target, tree.Call):
            self._semicolon("the call")
            return tree.CallStatement(token.pos, target)
        if self.is_("="):
            self.error("found '=', expected ':='; '=' compares, ':=' assigns")
        elif self.is_("?="):
            self.error("?= is not supported: it belongs to references")
        else:
            self.unexpected("':=' or '(' after a name")
        raise Recover

    def _header(self, closing: str) -> tree.Expr:
        """Read an expression up to a keyword; after an error there, go on behind that keyword."""
        result: tree.Expr
        try:
            result = self.expression()
        except Recover:
            result = tree.Bad(self.token.pos)
            while self.token.kind != "end" and not self.is_(closing, ";", *_STATEMENT_STARTS, *_BLOCK_ENDS):
                self.advance()
        if not self.accept(closing):
            self.unexpected(closing)
        return result

    def _close(self, closing: str, opener: Token) -> None:
        if self.accept(closing):
            self._semicolon(closing)
            return
        line = self.source.line(opener.pos)
        self.unexpected(f"{closing} to close {opener.text} of line {line}")
        ends = ("END_IF", "END_CASE", "END_FOR", "END_WHILE", "END_REPEAT")
        if self.is_(*ends) and self.peek().text == ";":
            # a wrong END_ word closes the block all the same: most often it was simply mistaken
            self.advance()
            self.accept(";")

    def _if(self) -> tree.If:
        opener = self.advance()
        branches = [(self._header("THEN"), self.statements(frozenset(["ELSIF", "ELSE", "END_IF"])))]
        otherwise: list[tree.Statement] = []
        while self.accept("ELSIF"):
            branches.append((self._header("THEN"), self.statements(frozenset(["ELSIF", "ELSE", "END_IF"]))))
        if self.accept("ELSE"):
            if self.is_("IF") and self.source.line(self.token.pos) == self.source.line(self.tokens[self.at - 1].pos):
                self.findings.warn(self.source, self.token.pos, "ELSE IF opens a second IF; ELSIF does not")
            otherwise = self.statements(frozenset(["END_IF"]))
        self._close("END_IF", opener)
        return tree.If(opener.pos, branches, otherwise)

    def _case(self) -> tree.Case:
        opener = self.advance()
        selector = self._header("OF")
        groups = []
        while self.token.kind != "end" and not self.is_("ELSE", *_BLOCK_ENDS):
            start = self.at
            try:
                labels = [self._label()]
                while self.accept(","):
                    labels.append(self._label())
                self.need(":", " after the CASE label")
            except Recover:
                self._skip(start)
                continue
            body: list[tree.Statement] = []
            while self.token.kind != "end" and not self.is_("ELSE", *_BLOCK_ENDS) and not self._at_label():
                start = self.at
                self.deeper()
                try:
                    statement = self._statement()
                    if statement is not None:
                        body.append(statement)
                except Recover:
                    self._skip(start)
                finally:
                    self.shallower()
            groups.append((labels, body))
        otherwise: list[tree.Statement] = []
        if self.accept("ELSE"):
            self.accept(":")
            otherwise = self.statements(frozenset(["END_CASE"]))
        self._close("END_CASE", opener)
        return tree.Case(opener.pos, selector, groups, otherwise)

    def _at_label(self) -> bool:
        """Whether a CASE label starts here: a value followed by ',', '..' or ':'."""
        token = self.token
        if token.kind in ("int", "based", "typed") or self.is_("-", "+", "("):
            return True
        if token.kind == "name":
            return self.peek().kind == "symbol" and self.peek().text in (":", ",", "..")
        return False

    def _label(self) -> tuple[tree.Expr, tree.Expr | None]:
        low = self.expression()
        high = self.expression() if self.accept("..") else None
        return low, high

    def _for(self) -> tree.For:
        opener = self.advance()
        variable: tree.Expr
        first: tree.Expr
        last: tree.Expr
        step = None
        try:
            variable = self.variable()
            self.need(":=")
            first = self.expression()
            self.need("TO")
            last = self.expression()
            if self.accept("BY"):
                step = self.expression()
        except Recover:
            variable = first = last = tree.Bad(self.token.pos)
            while self.token.kind != "end" and not self.is_("DO", ";", *_STATEMENT_STARTS, *_BLOCK_ENDS):
                self.advance()
        self.want("DO")
        body = self.statements(frozenset(["END_FOR"]))
        self._close("END_FOR", opener)
        return tree.For(opener.pos, variable, first, last, step, body)

    def _while(self) -> tree.While:
        opener = self.advance()
        condition = self._header("DO")
        body = self.statements(frozenset(["END_WHILE"]))
        self._close("END_WHILE", opener)
        return tree.While(opener.pos, condition, body)

    def _repeat(self) -> tree.Repeat:
        opener = self.advance()
        body = self.statements(frozenset(["UNTIL"]))
        if self.accept("UNTIL"):
            condition: tree.Expr
            try:
                condition = self.expression()
                self.accept(";")
            except Recover:
                condition = tree.Bad(self.token.pos)
                while self.token.kind != "end" and not self.is_("END_REPEAT", ";", *_STATEMENT_STARTS):
                    self.advance()
        else:
            self.unexpected(f"UNTIL to end REPEAT of line {self.source.line(opener.pos)}")
            condition = tree.Bad(self.token.pos)
        self._close("END_REPEAT", opener)
        return tree.Repeat(opener.pos, body, condition)
