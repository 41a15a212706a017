"""The bare shape of a configuration before any check: texts, lists and blocks, each with its place."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from plantsim.plant.fields import as_text, nearest, quoted
from plantsim.plant.tree import Findings, Where, join
from plantsim.units import sentence

_NULLS = ("", "~", "null", "Null", "NULL")


@dataclass
class Node:
    """Base: where a node stands, and whether a user gave it (else it is a default)."""

    where: Where
    given: bool = field(default=True, kw_only=True)


@dataclass
class TextNode(Node):
    """A text as it stands in the file; `bare` when it is not quoted."""

    text: str
    bare: bool = True


@dataclass
class ListNode(Node):
    """A list."""

    items: list[Node]


@dataclass
class BlockNode(Node):
    """A block of keys; each key has a place of its own."""

    entries: dict[str, tuple[Where, Node]]


def is_nothing(node: Node | None) -> bool:
    """Tell whether nothing stands here: no key, or a key with an empty value."""
    return node is None or (isinstance(node, TextNode) and node.bare and node.text in _NULLS)


def shape_of(node: Node) -> str:
    """Give the shape of a node in the words of the field kinds."""
    return {TextNode: "scalar", ListNode: "list", BlockNode: "map"}[type(node)]


def shown(node: Node | None) -> str:
    """Give what stands here, for messages."""
    if node is None or is_nothing(node):
        return "nothing"
    if isinstance(node, TextNode):
        return quoted(node.text)
    return "a list" if isinstance(node, ListNode) else "a block of keys"


def as_node(value: Any, where: Where) -> Node:
    """Make a node of a default, which is plain data."""
    if value is None:
        return TextNode(where, "", given=False)
    if isinstance(value, dict):
        entries = {key: (where, as_node(item, where)) for key, item in value.items()}
        return BlockNode(where, entries, given=False)
    if isinstance(value, list | tuple):
        return ListNode(where, [as_node(item, where) for item in value], given=False)
    return TextNode(where, as_text(value), bare=False, given=False)


def _step(node: Node, key: str) -> Node | None:
    """Give the child of a node by key, by index, or by the `name` of a list's item."""
    if isinstance(node, BlockNode):
        return node.entries[key][1] if key in node.entries else None
    index = _index(node, key) if isinstance(node, ListNode) else None
    return node.items[index] if isinstance(node, ListNode) and index is not None else None


def _index(node: ListNode, key: str) -> int | None:
    if key.isdecimal():
        return int(key) if int(key) < len(node.items) else None
    names = _item_names(node)
    return names.index(key) if key in names else None


def _item_names(node: ListNode) -> list[str | None]:
    names: list[str | None] = []
    for item in node.items:
        name = item.entries.get("name") if isinstance(item, BlockNode) else None
        names.append(name[1].text if name and isinstance(name[1], TextNode) else None)
    return names


def override(root: BlockNode, path: str, value: Node, findings: Findings) -> None:
    """Put a value at a dotted path, making the blocks on the way; the check of the whole comes after."""
    keys = path.split(".")
    node: Node = root
    for depth, key in enumerate(keys):
        last = depth == len(keys) - 1
        if isinstance(node, ListNode):
            index = _index(node, key)
            if index is None:
                names: Iterable[str] = [name for name in _item_names(node) if name]
                allowed = f"an index from 0 to {len(node.items) - 1}" if node.items else "nothing: no items"
                allowed += f", or a name: {', '.join(names)}" if names else ""
                findings.add(value.where, path, sentence(quoted(key), allowed, nearest(key, names)))
                return
            if last:
                node.items[index] = value
                return
        elif isinstance(node, BlockNode):
            if last:
                node.entries[key] = (value.where, value)
                return
            if is_nothing(_step(node, key)):
                node.entries[key] = (value.where, BlockNode(value.where, {}))
        else:
            before = ".".join(keys[:depth])
            findings.add(value.where, path, sentence(f"{shown(node)} at {before}", "a key that holds keys"))
            return
        child = _step(node, key)
        assert child is not None
        node = child


def joined(path: str, index: int) -> str:
    """Put an index behind a path."""
    return join(path, str(index))
