"""Check a bare configuration against a schema in one walk, and collect everything that is wrong."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Collection
from dataclasses import dataclass, field
from typing import Any

from plantsim.plant.fields import REQUIRED, Field, Name, Reference, Scalar, Times, nearest, quoted
from plantsim.plant.nodes import (
    BlockNode,
    ListNode,
    Node,
    TextNode,
    as_node,
    is_nothing,
    joined,
    shape_of,
    shown,
)
from plantsim.plant.schema import MapOf, Maybe, OneOf, Points, Ref, Section, Variant
from plantsim.plant.tree import Entry, Findings, Tree, Where, join
from plantsim.units import QuantityError, sentence

_WEEK = 7 * 86400


@dataclass
class _Thing:
    """A name somebody may refer to: where it stands, what it is, and its ports."""

    where: Where
    path: str
    word: str
    group: str = ""
    ports: dict[str, tuple[str, ...]] = field(default_factory=dict)
    unsure: bool = False  # its section is so wrong that its kind is unknown: what refers to it is not judged

    def fits(self, kinds: Collection[str]) -> bool:
        return self.word in kinds or self.group in kinds

    def of(self, direction: str) -> tuple[str, ...]:
        if direction == "any":
            return (*self.ports.get("in", ()), *self.ports.get("out", ()))
        return self.ports.get(direction, ())


class Checker:
    """One walk over one configuration."""

    def __init__(self, findings: Findings) -> None:
        self.findings = findings
        self._things: dict[str, _Thing] = {}
        self._lost: set[str] = set()  # names in what could not be read: what refers to them is not judged
        self._references: list[tuple[Entry, Reference, str]] = []
        self._rules: list[tuple[Callable[[Any], None], Entry, str]] = []

    def check(self, schema: Section, root: Node) -> Tree:
        """Check everything; the tree is whole only if there are no findings."""
        entry = self._walk(schema, root, "", root.where)
        for reference in self._references:
            self._resolve(*reference)
        tree = Tree(entry, "", self.findings)
        for rule, place, path in self._rules:
            if not self.findings.touches(path):
                rule(Tree(place, path, self.findings))
        return tree

    def _find(self, where: Where, path: str, found: str, allowed: str, hint: str | None = None) -> None:
        self.findings.add(where, path, sentence(found, allowed, hint))

    def _walk(self, kind: Field, node: Node | None, path: str, home: Where) -> Entry:
        """Check one node, which may be missing, against its kind; `home` is the place of what holds it."""
        where = node.where if node is not None else home
        if node is None or is_nothing(node):
            if isinstance(kind, Maybe) or (
                    not isinstance(kind, Variant) and getattr(kind, "default", REQUIRED) is None):
                return Entry(where, node is not None and node.given)
            if kind.required() and path:
                self._find(where, path, "nothing", kind.allowed())
                return Entry(where, False)
            if isinstance(kind, Section | MapOf | Variant):
                node = BlockNode(where, {}, given=False)
            else:
                return self._default(kind, path, where)
        if isinstance(kind, Maybe):
            return self._walk(kind.item, node, path, home)
        if isinstance(kind, OneOf):
            return self._one_of(kind, node, path, home)
        if shape_of(node) not in kind.shapes:
            self._find(where, path, shown(node), kind.allowed())
            return Entry(where, node.given)
        if isinstance(node, TextNode):
            if isinstance(kind, Times):
                return self._times(kind, [node], path, node)
            return self._scalar(kind, node, path)
        if isinstance(node, ListNode):
            if isinstance(kind, Times):
                return self._times(kind, node.items, path, node)
            walk = self._points if isinstance(kind, Points) else self._list
            return walk(kind, node, path)
        assert isinstance(node, BlockNode)
        if isinstance(kind, MapOf):
            return self._names(kind, node, path)
        if isinstance(kind, Variant):
            return self._variant(kind, node, path)[0]
        assert isinstance(kind, Section)
        return self._section(kind, node, path)

    def _default(self, kind: Any, path: str, where: Where) -> Entry:
        before = len(self.findings)
        entry = self._walk(kind, as_node(kind.default, where), path, where)
        if len(self.findings) > before:
            raise ValueError(f"the schema has a wrong default: {self.findings.lines()[-1]}")
        return entry

    # --- one text ---

    def _scalar(self, kind: Field, node: TextNode, path: str) -> Entry:
        assert isinstance(kind, Scalar)
        entry = Entry(node.where, node.given)
        text = node.text
        try:
            entry.value = kind.parse(text)
        except QuantityError as error:
            self._lost |= {text, error.hint or text}
            self._find(node.where, path, error.found, error.allowed, error.hint)
            return entry
        entry.plain = kind.plain(text, entry.value)
        if isinstance(kind, Reference):
            self._references.append((entry, kind, path))
        elif isinstance(kind, Name) and kind.kind:
            self._declare(text, _Thing(node.where, path, kind.kind))
        return entry

    def _declare(self, name: str, thing: _Thing) -> None:
        first = self._things.get(name)
        if first is None:
            self._things[name] = thing
            return
        word = "tag" if "tag" in (thing.word, thing.group) else "name"
        self._find(thing.where, thing.path, f"'{name}', which stands at {first.path} ({first.where}) already",
                   f"each {word} once in the configuration")

    def _resolve(self, entry: Entry, kind: Reference, path: str) -> None:
        ref: Ref = entry.value
        thing = self._things.get(ref.name)
        text = quoted(str(ref))
        if (thing is not None and thing.unsure) or (thing is None and ref.name in self._lost):
            return
        fitting = {name: known for name, known in self._things.items()
                   if known.fits(kind.kinds) and (not kind.port or known.of(kind.port))}
        names = ": " + ", ".join(fitting) if fitting else " (there is none)"
        if thing is None or not thing.fits(kind.kinds):
            near = nearest(ref.name, fitting)
            if near and ref.port:
                near = f"{near}.{ref.port}"
            remark = "" if thing is None else f" (a {thing.word.replace('_', ' ')})"
            self._find(entry.where, path, text + remark, kind.allowed() + names, near)
            return
        if kind.port is None:
            if ref.port is not None:
                self._find(entry.where, path, text, "the name alone, without a port", ref.name)
            return
        ports = thing.of(kind.port)
        if ref.port is None and len(ports) == 1:
            entry.value = Ref(ref.name, ports[0])
            entry.plain = str(entry.value)
        elif ref.port not in ports:
            allowed = ", ".join(f"{ref.name}.{port}" for port in ports) or kind.allowed() + names
            near = nearest(ref.port, ports) if ref.port else None
            other = ref.port in thing.of("any")
            remark = f" (an {'outlet' if kind.port == 'in' else 'inlet'})" if other else ""
            self._find(entry.where, path, text + remark, allowed, f"{ref.name}.{near}" if near else None)

    # --- lists ---

    def _list(self, kind: Any, node: ListNode, path: str) -> Entry:
        children = {str(index): self._walk(kind.item, item, joined(path, index), node.where)
                    for index, item in enumerate(node.items)}
        if len(children) < kind.least or (kind.most is not None and len(children) > kind.most):
            self._find(node.where, path, f"{len(children)} items", kind.allowed())
        return Entry(node.where, node.given, shape="list", children=children)

    def _points(self, kind: Any, node: ListNode, path: str) -> Entry:
        cells, words = kind.cells(), kind.words()
        rows: list[list[Entry] | None] = []
        for index, row in enumerate(node.items):
            here = joined(path, index)
            if not isinstance(row, ListNode) or len(row.items) != len(cells):
                found = f"a row of {len(row.items)}" if isinstance(row, ListNode) else shown(row)
                self._find(row.where, here, found, f"a row [{', '.join(words)}]")
                rows.append(None)
                continue
            before = len(self.findings)
            entries = [self._walk(cell, item, joined(here, column), row.where)
                       for column, (cell, item) in enumerate(zip(cells, row.items))]
            rows.append(entries if len(self.findings) == before else None)
        if len(rows) < kind.least:
            self._find(node.where, path, f"{len(rows)} rows", kind.allowed())
        for index, (last, this) in enumerate(itertools.pairwise(rows), 1):
            for column, (word, old, new) in enumerate(zip(words, last or (), this or ())):
                if not kind.keeps_order(column, old.value, new.value):
                    self._find(new.where, joined(joined(path, index), column),
                               f"{quoted(str(new.plain))} after {quoted(str(old.plain))}",
                               f"{word} {kind.order[column]} from row to row")
        children = {str(index): Entry(node.items[index].where, node.given, shape="list",
                                      children={str(column): cell for column, cell in enumerate(row or ())})
                    for index, row in enumerate(rows)}
        return Entry(node.where, node.given, shape="list", children=children)

    def _times(self, kind: Times, items: list[Node], path: str, node: Node) -> Entry:
        children: dict[str, Entry] = {}
        taken: list[tuple[float, float, str]] = []
        for index, item in enumerate(items):
            here = joined(path, index) if isinstance(node, ListNode) else path
            entry = children[str(index)] = Entry(item.where, item.given)
            if not isinstance(item, TextNode):
                self._find(item.where, here, shown(item), kind.allowed())
                continue
            try:
                entry.value = shift = kind.parse(item.text.strip())
            except QuantityError as error:
                self._find(item.where, here, error.found, error.allowed, error.hint)
                continue
            entry.plain = item.text.strip()
            spells = [(day * 86400 + shift.start, day * 86400 + shift.end) for day in shift.days]
            clash = next((text for start, end in spells for begin, stop, text in taken
                          for turn in (-_WEEK, 0, _WEEK) if start < stop + turn and begin + turn < end), None)
            if clash is not None:
                self._find(item.where, here, f"{quoted(item.text)}, which overlaps {quoted(clash)}",
                           "spells that do not overlap")
            taken += [(*spell, item.text) for spell in spells]
        return Entry(node.where, node.given, shape="list", children=children)

    # --- blocks ---

    def _section(self, kind: Section, node: BlockNode, path: str, told: str | None = None) -> Entry:
        """Check a block of known keys; `told` is the key, checked already, that told which section it is."""
        entry = Entry(node.where, node.given, shape="map")
        words = [told, *kind.fields] if told else list(kind.fields)
        meant = set()
        absent = [word for word in words if word not in node.entries]
        for key, (where, stray) in node.entries.items():
            if key not in words:
                self._lose(stray)
                near = nearest(key, absent) or nearest(key, words)
                meant.add(near)
                self._find(where, join(path, key), quoted(key), ", ".join(words), near)
        for key, field_ in kind.fields.items():
            child = node.entries[key][1] if key in node.entries else None
            if key in meant and child is None and field_.required():
                continue  # the slip of the pen is reported, once is enough
            entry.children[key] = self._walk(field_, child, join(path, key), node.where)
        self._rules += [(rule, entry, path) for rule in kind.rules]
        return entry

    def _variant(self, kind: Variant, node: BlockNode, path: str) -> tuple[Entry, str | None]:
        """Check a block whose key tells which section it is; give that word too, or None if it is wrong."""
        known = node.entries.get(kind.key)
        here = join(path, kind.key)
        words = ", ".join(kind.sections)
        if known is None or is_nothing(known[1]):
            slip = nearest(kind.key, [key for key in node.entries if key not in self._all_keys(kind)])
            if slip:
                where = node.entries[slip][0]
                self._find(where, join(path, slip), quoted(slip), f"{kind.key}", kind.key)
                return self._give_up(node)
            if kind.default is None:
                self._find(known[0] if known else node.where, here, "nothing", words)
                return self._give_up(node)
            word, where = kind.default, node.where
        else:
            where = known[1].where
            word = known[1].text if isinstance(known[1], TextNode) else ""
            if word not in kind.sections:
                self._find(where, here, shown(known[1]), words, nearest(word, kind.sections))
                return self._give_up(node)
        inner = self._section(kind.sections[word], node, path, kind.key)
        inner.children = {kind.key: Entry(where, known is not None, word, word), **inner.children}
        return inner, word

    def _give_up(self, node: BlockNode) -> tuple[Entry, None]:
        self._lose(node)
        return Entry(node.where, node.given, shape="map"), None

    def _lose(self, node: Node) -> None:
        """Keep the texts below a node that cannot be judged, for they may be names."""
        if isinstance(node, TextNode):
            self._lost.add(node.text)
        elif isinstance(node, ListNode):
            for item in node.items:
                self._lose(item)
        elif isinstance(node, BlockNode):
            for key, (_, child) in node.entries.items():
                self._lost.add(key)
                self._lose(child)

    @staticmethod
    def _all_keys(kind: Variant) -> set[str]:
        return {key for section in kind.sections.values() for key in section.fields}

    def _names(self, kind: MapOf, node: BlockNode, path: str) -> Entry:
        entry = Entry(node.where, node.given, shape="map")
        for name, (where, child) in node.entries.items():
            here = join(path, name)
            try:
                kind.key.parse(name)
            except QuantityError as error:
                self._find(where, here, error.found, error.allowed, error.hint)
            if isinstance(kind.item, Variant) and isinstance(child, BlockNode):
                entry.children[name], word = self._variant(kind.item, child, here)
                section = kind.item.sections.get(word or "")
            else:
                word, section = None, kind.item if isinstance(kind.item, Section) else None
                entry.children[name] = self._walk(kind.item, child, here, where)
            if kind.key.kind:
                ports = {"in": section.inlets, "out": section.outlets} if section else {}
                unsure = isinstance(kind.item, Variant) and word is None
                self._declare(name, _Thing(where, here, word or kind.key.kind, kind.key.kind, ports, unsure))
        if len(node.entries) < kind.least:
            found = f"{len(node.entries)} names" if node.entries else "nothing"
            self._find(node.where, path, found, kind.allowed())
        return entry

    # --- alternatives ---

    def _one_of(self, kind: OneOf, node: Node, path: str, home: Where) -> Entry:
        """Take the first kind that fits without a finding; else report for the kind that comes nearest."""
        tried: list[tuple[int, list[tuple[Where, str, str]], Entry]] = []
        start = len(self.findings)
        for item in kind.items:
            if shape_of(node) not in item.shapes:
                continue
            marks = len(self._references), len(self._rules), dict(self._things)
            entry = self._walk(item, node, path, home)
            if len(self.findings) == start:
                return entry
            wrong = self.findings.cut(start)
            del self._references[marks[0]:], self._rules[marks[1]:]
            self._things = marks[2]
            tried.append((len(wrong), wrong, entry))
        if len(tried) == 1 or (tried and not isinstance(node, TextNode)):
            for finding in min(tried, key=lambda trial: trial[0])[1]:
                self.findings.add(*finding)
        else:
            hint = next((hint for item in kind.items for hint in (_hint(item, node),) if hint), None)
            self._find(node.where, path, shown(node), kind.allowed(), hint)
        return Entry(node.where, node.given)


def _hint(item: Field, node: Node) -> str | None:
    if not isinstance(item, Scalar) or not isinstance(node, TextNode):
        return None
    try:
        item.parse(node.text)
    except QuantityError as error:
        return error.hint
    return None
