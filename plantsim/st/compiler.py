"""Declares and completes the units of a program in the order they need each other."""

from __future__ import annotations

import struct
from collections.abc import Iterable, Sequence
from pathlib import Path

from plantsim.errors import ProgramError

from . import blocks, ir, tree
from . import types as t
from .check_statements import StatementChecker
from .check_types import TypeResolver
from .codegen import generate
from .parser import parse
from .source import Findings, Source, nearest
from .units import Pou, Symbol, standard_blocks

#: variables every controller provides through VAR_EXTERNAL
EXTERNALS: dict[str, t.Elementary] = {"CYCLE_TIME": t.TIME, "FIRST_SCAN": t.BOOL}


class Compiler:
    """State of one compilation."""

    def __init__(self, library: Path | str | Sequence[Path | str] | None = None) -> None:
        self.findings = Findings()
        self.enums: list[t.EnumType] = []
        self._library = blocks.index(library)
        self._loaded: set[Path] = set()
        self._units: dict[str, tuple[tree.Unit, bool]] = {}
        self._type_trees: dict[str, tree.TypeDeclaration] = {}
        self._types: dict[str, tuple[t.Type, list[int]]] = {}
        self._pous: dict[str, Pou] = standard_blocks()
        self._busy: list[str] = []

    # -- what there is ---------------------------------------------------------------------------------------

    def add(self, file: tree.File, *, library: bool = False) -> None:
        """Take over the declarations of a file."""
        for unit in file.units:
            key = unit.name.upper()
            if key in self._units or key in self._pous:
                if library:
                    continue
                what = "a standard function block" if key in self._pous else "declared twice"
                self.findings.error(file.source, unit.pos, f"{unit.name} is {what}; choose another name")
                continue
            self._units[key] = (unit, library)
        for entry in file.types:
            key = entry.name.upper()
            if key in self._type_trees or key in t.ELEMENTARY:
                if not library:
                    self.findings.error(file.source, entry.pos, f"type {entry.name} is declared twice")
                continue
            self._type_trees[key] = entry

    def _load(self, key: str) -> None:
        path = self._library.get(key)
        if path is not None and path not in self._loaded:
            self._loaded.add(path)
            self.add(parse(path.read_text(encoding="utf-8"), path.name, self.findings), library=True)

    def type_names(self) -> list[str]:
        """Names a declaration may use as a type."""
        named = [entry.name for entry in self._type_trees.values()]
        return [*t.ELEMENTARY, *named, *self._pous, *(u.name for u, _ in self._units.values()), *self._library]

    def callable_names(self) -> Iterable[str]:
        """Names of user and library functions."""
        return [*(u.name for u, _ in self._units.values() if u.kind == "FUNCTION"), *self._library]

    def is_callable(self, key: str) -> bool:
        """Whether the name belongs to a function, block or program."""
        return key in self._units or key in self._pous or key in self._library

    def enum_members(self, key: str) -> list[t.EnumType]:
        """Enumerations with a value of this name."""
        for name in self._type_trees:
            known = name in self._types or name in self._busy
            if not known and isinstance(self._type_trees[name].type, tree.EnumOf):
                self.type_named(name)
        return [e for e in self.enums if key in e.members]

    def enum_names(self) -> Iterable[str]:
        """All enumeration values."""
        return [raw for e in self.enums for raw in e.spelling.values()]

    def units_of_kind(self, kind: str) -> list[tree.Unit]:
        """The user's own units of one kind."""
        return [u for u, library in self._units.values() if u.kind == kind and not library]

    def unused_units(self) -> list[tree.Unit]:
        """The user's functions and blocks that nothing has asked for yet."""
        return [
            u for key, (u, library) in self._units.items()
            if not library and u.kind != "PROGRAM" and key not in self._pous
        ]  # fmt: skip

    def resolve_own_types(self) -> None:
        """Resolve the user's types, so that an unused wrong one is reported too."""
        for key in list(self._type_trees):
            self.type_named(key)

    # -- types -----------------------------------------------------------------------------------------------

    def type_named(self, key: str) -> tuple[t.Type, list[int]] | None:
        """A declared type and its default image."""
        if key in self._types:
            return self._types[key]
        if key not in self._type_trees and key not in self._units and key in self._library:
            self._load(key)
        entry = self._type_trees.get(key)
        if entry is None:
            return None
        if key in self._busy:
            self.findings.error(entry.source, entry.pos, f"type {entry.name} contains itself")
            return t.UNKNOWN, [0]
        self._busy.append(key)
        resolver = self.resolver(Pou("", "TYPE", entry.source))
        kind, image = resolver.resolve(entry.type, entry.name)
        if entry.initial is not None:
            image = resolver.initial(kind, image, entry.initial)
        self._busy.pop()
        self._types[key] = (kind, image)
        return kind, image

    def resolver(self, pou: Pou) -> TypeResolver:
        """Type resolver whose constant expressions may use the unit's constants."""
        checker = StatementChecker(self, pou)

        def evaluate(node: tree.Expr, kind: t.Type) -> int | float | None:
            value = checker.value(node, kind)
            if value.type is t.UNKNOWN:
                return None
            constant = self.constant_of(value, pou)
            if constant is None:
                self.findings.error(pou.source, node.pos, "expected a constant value here")
            return constant

        return TypeResolver(self, pou.source, evaluate)

    def constant_of(self, node: ir.Expr, pou: Pou) -> int | float | None:
        """Value of an expression of literals and CONSTANT variables, or None."""
        from .arithmetic import Fault, apply

        if isinstance(node, ir.Const):
            return node.value
        if isinstance(node, ir.Load) and not node.place.pointer and not node.place.steps:
            for symbol in pou.symbols.values():
                if symbol.cell == node.place.cell and symbol.constant:
                    return symbol.value
            return None
        if isinstance(node, ir.Op):
            values = [self.constant_of(arg, pou) for arg in node.args]
            if any(v is None for v in values):
                return None
            try:
                return apply(node.name, node.type, node.operand, values)
            except Fault:
                return None
        return None

    def image_value(self, symbol: Symbol, kind: t.Type) -> int | float:
        """Initial value of a one-cell variable."""
        bits = symbol.image[0]
        if isinstance(kind, t.Elementary) and kind.is_real:
            return struct.unpack("<d", struct.pack("<q", bits))[0]
        return kind.wrap(bits) if isinstance(kind, t.Elementary) else bits

    # -- units -----------------------------------------------------------------------------------------------

    def pou_named(self, key: str) -> Pou | None:
        """A unit with its variables declared and, unless it is being compiled, its code."""
        found = self._pous.get(key)
        if found is not None:
            return found
        if key not in self._units:
            self._load(key)
        entry = self._units.get(key)
        if entry is None:
            return None
        unit, library = entry
        pou = Pou(unit.name, unit.kind, unit.source, unit, library)
        self._pous[key] = pou
        self._busy.append(key)
        self._declare(pou)
        self._compile(pou)
        self._busy.pop()
        return pou

    def complete(self, pou: Pou, caller: Pou, pos: int, how: str = "calls") -> None:
        """Make sure a called unit is finished; a unit that calls itself never is."""
        if not pou.complete and pou.name.upper() in self._busy:
            self.findings.error(caller.source, pos, f"{pou.name} {how} itself; recursion is not allowed")

    def _declare(self, pou: Pou) -> None:
        assert pou.unit is not None
        pou.top = pou.header
        resolver = self.resolver(pou)
        if pou.kind == "FUNCTION" and pou.unit.result is not None:
            kind, image = resolver.resolve(pou.unit.result)
            pou.result = kind
            pou.result_offset = pou.take(kind.size)
            pou.symbols[pou.name.upper()] = Symbol(
                pou.name, kind, pou.result_offset, "temp", pou.unit.pos, image=image, read=True, initialised=True
            )
        for declared in pou.unit.declarations:
            self._declare_one(pou, declared, resolver)

    def _declare_one(self, pou: Pou, declared: tree.Declaration, resolver: TypeResolver) -> None:
        def error(message: str) -> None:
            self.findings.error(pou.source, declared.pos, message)

        key = declared.name.upper()
        if key in pou.symbols:
            error(f"{declared.name} is declared twice in {pou.name}")
            return
        kind, image = resolver.resolve(declared.type)
        if isinstance(kind, Pou):
            self.complete(kind, pou, declared.pos, "contains")
            if pou.kind == "FUNCTION" and declared.section != "in_out":
                error("a function keeps nothing between calls and cannot hold a block")
        section = declared.section
        if pou.kind == "FUNCTION" and section == "local":
            section = "temp"
        if declared.initial is not None:
            if section in ("in_out", "external"):
                error(f"a VAR_{section.upper()} takes no initial value")
            else:
                image = resolver.initial(kind, image, declared.initial)
        if section == "external":
            if key not in EXTERNALS:
                hint = nearest(declared.name, EXTERNALS)
                error(f"no external variable {declared.name!r}; the controller provides {', '.join(EXTERNALS)}{hint}")
            elif kind is not EXTERNALS[key] and kind is not t.UNKNOWN:
                error(f"external variable {declared.name} is of type {EXTERNALS[key].name}, found {kind.name}")
        if isinstance(kind, Pou) and section in ("input", "output", "temp") and pou.kind != "FUNCTION":
            error(f"a block instance cannot stand in VAR_{section.upper()}; use VAR or VAR_IN_OUT")
        symbol = Symbol(
            declared.name, kind, 0, section, declared.pos, declared.constant, declared.retain,
            pointer=section == "in_out" and pou.kind != "PROGRAM", unit=declared.unit, comment=declared.comment,
            image=image, initialised=declared.initial is not None, operator=declared.operator,
        )  # fmt: skip
        if declared.operator is not None and (section != "input" or pou.kind != "PROGRAM"):
            self.findings.warn(
                pou.source, declared.pos,
                f"{{operator}} counts only for a VAR_INPUT of a program; {declared.name} is none",
            )  # fmt: skip
        if declared.constant:
            if section not in ("local", "temp", "external"):
                error(f"CONSTANT cannot stand with VAR_{section.upper()}")
            if declared.initial is None and section != "external":
                error(f"constant {declared.name} needs a value: {declared.name} : {kind.name} := ...")
            base = t.strip(kind)
            if isinstance(base, t.Elementary | t.EnumType) and kind is not t.UNKNOWN and image:
                symbol.value = self.image_value(symbol, base)
        symbol.cell = pou.take(symbol.cells)
        pou.symbols[key] = symbol
        if isinstance(kind, Pou) and not symbol.pointer:
            pou.frames.append((symbol.cell, kind))

    def _compile(self, pou: Pou) -> None:
        assert pou.unit is not None
        checker = StatementChecker(self, pou)
        checker.assigned = set()
        pou.body, _ = checker.block(pou.unit.body)
        if not pou.library:
            self._warn_unused(pou)
        if not self.findings:
            generate(pou)
            pou.complete = True

    def _warn_unused(self, pou: Pou) -> None:
        for symbol in pou.symbols.values():
            message = None
            if symbol.name == pou.name and pou.kind == "FUNCTION":
                if not symbol.written:
                    message = f"function {pou.name} never assigns its result"
            elif symbol.section == "external" or holds_block(symbol.type):
                message = None if symbol.read or symbol.written else f"{symbol.name} is never used"
            elif symbol.section in ("local", "temp"):
                if not symbol.read and not symbol.written:
                    message = f"{symbol.name} is never used"
                elif not symbol.read:
                    message = f"{symbol.name} is written but never read"
                elif not symbol.written and not symbol.initialised and not symbol.constant:
                    message = f"{symbol.name} is read but never written; it keeps its initial value"
            elif symbol.section == "input" and not symbol.read and not symbol.written:
                message = f"input {symbol.name} is never used"
            elif symbol.section == "output" and not symbol.written:
                message = f"output {symbol.name} is never written"
            if message is not None:
                self.findings.warn(pou.source, symbol.pos, message)


def holds_block(kind: t.Type) -> bool:
    """Whether a type is a block or has blocks in it, which keep their own state."""
    if isinstance(kind, t.ArrayType):
        return holds_block(kind.element)
    if isinstance(kind, t.StructType):
        return any(holds_block(part.type) for part in kind.fields.values())
    return isinstance(kind, Pou)


def compile_units(
    text: str, filename: str, library: Path | str | Sequence[Path | str] | None, program: str | None
) -> tuple[Compiler, Pou, Source]:
    """Compile a text and return its program, or raise ProgramError with every finding."""
    compiler = Compiler(library)
    file = parse(text, filename, compiler.findings)
    compiler.add(file)
    programs = compiler.units_of_kind("PROGRAM")
    main: Pou | None = None
    if program is None:
        if not programs:
            if not compiler.findings:
                compiler.findings.error(file.source, 0, "found no PROGRAM; expected PROGRAM name ... END_PROGRAM")
        elif len(programs) > 1:
            choice = ", ".join(u.name for u in programs)
            message = f"more than one PROGRAM; name the one to run: {choice}"
            compiler.findings.error(file.source, programs[1].pos, message)
    elif program.upper() not in (u.name.upper() for u in programs):
        names = [u.name for u in programs]
        hint = nearest(program, names) or f"; there is {', '.join(names) or 'none'}"
        compiler.findings.error(file.source, 0, f"no PROGRAM {program!r}{hint}")
    compiler.resolve_own_types()
    for unit in programs:
        pou = compiler.pou_named(unit.name.upper())
        if len(programs) == 1 or (program or "").upper() == unit.name.upper():
            main = pou
    for unit in compiler.unused_units():
        compiler.pou_named(unit.name.upper())
    if compiler.findings or main is None:
        raise ProgramError(compiler.findings.errors)
    return compiler, main, file.source
