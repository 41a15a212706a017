"""Read a plant's YAML file into a checked tree, write a resolved one, and change one value in place.

`read` finds everything that is wrong in one pass and raises it together, one line each::

    plant.yaml:12: units.sump.depth: found '3,5 m' (a comma); allowed: ... (did you mean '3.5 m'?)

The raw text of each value is used, never YAML's guess of its type, so that ``no``, ``on``, ``6:00`` and
``1e3`` mean what they say. Anchors, aliases and merge keys (``<<``) work.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import yaml

from plantsim.errors import ConfigError
from plantsim.plant.checker import Checker
from plantsim.plant.fields import nearest, quoted
from plantsim.plant.nodes import BlockNode, ListNode, Node, TextNode, is_nothing, joined, override, shown
from plantsim.plant.schema import Include, Maybe, Section
from plantsim.plant.tree import Findings, Tree, Where, join
from plantsim.units import sentence

_LOADER: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
_MOST_BYTES = 5_000_000
_MOST_NODES = 200_000
_STANDARD = "tag:yaml.org,2002:"


def read(source: Path | str, schema: Section, overrides: Iterable[str] = (), *,
         name: str | None = None) -> Tree:
    """Read and check a configuration, or raise one `ConfigError` with all findings.

    Parameters
    ----------
    source : Path or str
        A file; or the YAML text itself, if it has a line break or a `name`.
    schema : Section
        What may stand in it.
    overrides : iterable of str
        ``key.path=value`` texts, checked like the file; a list's items by index or by their `name`.
    name : str, optional
        The name for a text in findings.

    Returns
    -------
    Tree
        The checked values in SI.
    """
    tree = examine(source, schema, overrides, name=name)
    tree.raise_findings()
    return tree


def examine(source: Path | str, schema: Section, overrides: Iterable[str] = (), *,
            name: str | None = None) -> Tree:
    """Read and check as `read` does, but keep the findings in the tree, so that later checks can add theirs.

    Only a text that is no YAML at all raises; build nothing from the tree until `raise_findings` passed.
    """
    if name is None and not (isinstance(source, str) and "\n" in source):
        label, text = str(source), _text_of(Path(source))
    else:
        label, text = name or "text", str(source)
    findings = Findings()
    root = _Bare(label, findings).root(compose(text, label))
    for assignment in overrides:
        _override(root, assignment, findings)
    _include(root, schema, label, findings)
    return Checker(findings).check(schema, root)


def _text_of(path: Path) -> str:
    """Read a file as text, or say in one sentence why that cannot be."""
    try:
        raw = path.read_bytes()
    except FileNotFoundError:
        folder = path.parent
        here = [item.name for item in folder.iterdir() if item.is_file()] if folder.is_dir() else []
        near = difflib.get_close_matches(path.name, here, 1, 0.6)
        hint = f" (did you mean '{folder / near[0]}'?)" if near else ""
        raise ConfigError(f"{path}: found no such file; allowed: a YAML file{hint}") from None
    except IsADirectoryError:
        raise ConfigError(f"{path}: found a folder; allowed: a YAML file") from None
    except OSError as error:
        raise ConfigError(f"{path}: the file cannot be read: {error.strerror or error}") from None
    if len(raw) > _MOST_BYTES:
        raise ConfigError(f"{path}: found {len(raw)} bytes; allowed: a YAML file up to {_MOST_BYTES} bytes")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[:error.start].count(b"\n") + 1
        raise ConfigError(f"{path}:{line}: found a byte that is no UTF-8 text; allowed: a text file in UTF-8"
                          ) from None
    if "\0" in text:
        line = text[:text.index("\0")].count("\n") + 1
        raise ConfigError(f"{path}:{line}: found a binary file; allowed: a text file in UTF-8")
    return text


def compose(text: str, label: str) -> yaml.Node:
    """Give the YAML nodes of a text, or say in one sentence where and why it is no YAML."""
    text = text.removeprefix("\ufeff")
    try:
        node = yaml.compose(text, Loader=_LOADER)
    except RecursionError:
        raise ConfigError(f"{label}: found lists or blocks nested too deep; allowed: a few levels") from None
    except yaml.YAMLError as error:
        raise ConfigError(_syntax(error, text, label)) from None
    if node is None:
        raise ConfigError(f"{label}: found an empty file; allowed: 'key: value' lines")
    return node


_ADVICE = (  # a part of the parser's words, and what it means to the writer of the file
    ("tab", "spaces for indentation, no tabs"),
    ("mapping values are not allowed", "one 'key: value' on a line; quotes around a text that holds ': '"),
    ("could not find expected ':'", "a colon and a space after the key: 'key: value'"),
    ("flow sequence", "a list closed by ']', its items parted by commas"),
    ("flow mapping", "a block closed by '}', its items parted by commas"),
    ("undefined alias", "an alias (*name) only below its anchor (&name)"),
    ("single document", "one document, without a line '---' inside"),
    ("quoted scalar", "a quoted text closed by the same quote, with no unknown backslash in it"),
    ("block collection", "all items of a list at one indentation, each after '- '"),
    ("block mapping", "all keys of one block at one indentation"),
    ("cannot start any token", "a text that does not start with @, ` or %, or quotes around it"),
)


def _syntax(error: yaml.YAMLError, text: str, label: str) -> str:
    lines = text.splitlines() or [""]
    parts = (getattr(error, "problem", None), getattr(error, "context", None))
    problem = " ".join(str(part) for part in parts if part)
    mark = getattr(error, "problem_mark", None)
    context = getattr(error, "context_mark", None)
    if context is not None and any(word in problem for word in ("flow ", "quoted", "simple key")):
        mark = context  # where it was opened tells more than where the parser gave up
    if mark is None:
        position = getattr(error, "position", 0)
        number = text[:position].count("\n") + 1
        return f"{label}:{number}: found a character that no text file holds; allowed: a text file in UTF-8"
    number = min(mark.line + 1, len(lines))
    line = lines[number - 1]
    if "\t" in line[:len(line) - len(line.lstrip())]:
        problem = "tab"
    otherwise = f"YAML (its parser says: {problem})"
    allowed = next((advice for words, advice in _ADVICE if words in problem), otherwise)
    return f"{label}:{number}: found {quoted(line)}, which is no YAML; allowed: {allowed}"


class _Bare:
    """Turn YAML nodes into bare nodes: raw texts, places, merges; duplicates and odd keys become findings."""

    def __init__(self, label: str, findings: Findings) -> None:
        self._label, self._findings, self._count = label, findings, 0
        self._open: list[yaml.Node] = []

    def root(self, node: yaml.Node) -> BlockNode:
        bare = self.node(node, "")
        if isinstance(bare, BlockNode):
            return bare
        if is_nothing(bare):
            raise ConfigError(f"{self._label}: found an empty file; allowed: 'key: value' lines")
        raise ConfigError(f"{bare.where}: found {shown(bare)}; allowed: 'key: value' lines")

    def _where(self, node: yaml.Node) -> Where:
        return Where(self._label, node.start_mark.line + 1 if self._label != "--set" else 0)

    def node(self, node: yaml.Node, path: str) -> Node:
        where = self._where(node)
        self._count += 1
        if node in self._open or self._count > _MOST_NODES:
            raise ConfigError(f"{where}: {path}: found an alias that holds itself or grows without end; "
                              "allowed: an alias of a block above it")
        if not node.tag.startswith(_STANDARD):
            self._findings.add(where, path, sentence(quoted(node.tag), "a value without a '!' tag"))
        if isinstance(node, yaml.ScalarNode):
            return TextNode(where, node.value, not node.style)
        self._open.append(node)
        try:
            if isinstance(node, yaml.SequenceNode):
                items = [self.node(item, joined(path, i)) for i, item in enumerate(node.value)]
                return ListNode(where, items)
            return self._block(node, path, where)
        finally:
            self._open.pop()

    def _block(self, node: yaml.Node, path: str, where: Where) -> BlockNode:
        entries: dict[str, tuple[Where, Node]] = {}
        merged: dict[str, tuple[Where, Node]] = {}
        for key, value in node.value:
            place = self._where(key)
            if not isinstance(key, yaml.ScalarNode):
                self._findings.add(place, path, sentence("a list or block as a key", "a word as a key"))
            elif key.value == "<<" and not key.style:
                for source in value.value if isinstance(value, yaml.SequenceNode) else [value]:
                    block = self.node(source, path)
                    if isinstance(block, BlockNode):
                        merged = {**block.entries, **merged}
                    else:
                        message = sentence(shown(block), "an alias of a block")
                        self._findings.add(place, join(path, "<<"), message)
            elif key.value in entries:
                first = entries[key.value][0].line
                self._findings.add(place, join(path, key.value), sentence(
                    f"{quoted(key.value)} a second time (first on line {first})", "each key once"))
            else:
                entries[key.value] = (place, self.node(value, join(path, key.value)))
        return BlockNode(where, {**entries, **{k: v for k, v in merged.items() if k not in entries}})


def _override(root: BlockNode, assignment: str, findings: Findings) -> None:
    """Apply one `key.path=value`; a value in brackets or quotes is read as YAML, any other is a text."""
    where = Where("--set")
    path, equals, text = assignment.partition("=")
    path = path.strip()
    if not equals or not all(path.split(".")):
        findings.add(where, "", sentence(quoted(assignment), "key.path=value, such as plant.step=1 s"))
        return
    text = text.strip()
    value: Node = TextNode(where, text)
    if text.startswith(("[", "{", "'", '"')):
        try:
            value = _Bare("--set", findings).node(compose(text, "--set"), path)
        except ConfigError as error:
            findings.add(where, path, error.findings[0].removeprefix("--set:1: "))
            return
    override(root, path, value, findings)


def _include(root: BlockNode, schema: Section, label: str, findings: Findings) -> None:
    """Put the values of included files into the blocks that name them, each keeping its own file and line."""
    for key, kind in schema.fields.items():
        block = root.entries[key][1] if key in root.entries else None
        if not isinstance(kind, Section) or not isinstance(block, BlockNode):
            continue
        for name, item in kind.fields.items():
            inner = item.item if isinstance(item, Maybe) else item
            named = block.entries.get(name)
            if isinstance(inner, Include) and named and isinstance(named[1], TextNode) and not is_nothing(named[1]):
                del block.entries[name]
                below = _included(named[1], join(key, name), label, findings)
                if name in below:
                    findings.add(below.pop(name)[0], join(key, name), sentence(
                        "a file within a file", f"the file named in {label} alone"))
                block.entries = {**below, **block.entries}


def _included(named: TextNode, path: str, label: str, findings: Findings) -> dict[str, tuple[Where, Node]]:
    """Give the keys of a file that a text names; what is wrong with the file is a finding."""
    home = Path(label) if Path(label).is_file() else None
    file = home.parent / named.text if home else Path(named.text)
    try:
        return _Bare(str(file), findings).root(compose(_text_of(file), str(file))).entries
    except ConfigError as error:
        message = error.findings[0].removeprefix(f"{file}:")
        line, colon, rest = message.partition(":")
        if colon and line.isdecimal():
            findings.add(Where(str(file), int(line)), path, rest.strip())
        else:
            findings.add(named.where, path, message.strip().replace("found ", f"found {quoted(named.text)}, ", 1))
        return {}


# --- writing ---


class _Dumper(getattr(yaml, "CSafeDumper", yaml.SafeDumper)):  # type: ignore[misc]
    """Rows of texts on one line, blocks in the order given."""


def _float(dumper: Any, value: float) -> yaml.Node:
    return dumper.represent_scalar(_STANDARD + "float", repr(value))


def _list(dumper: Any, items: Any) -> yaml.Node:
    flow = not any(isinstance(item, dict | list) for item in items)
    return dumper.represent_sequence(_STANDARD + "seq", items, flow_style=flow)


_Dumper.add_representer(list, _list)
_Dumper.add_representer(tuple, _list)
_Dumper.add_representer(float, _float)


def dump(plain: dict[str, Any], header: str = "") -> str:
    """Write plain data as YAML that reads back to the same values, bit for bit; `header` becomes comments."""
    comments = "".join(f"# {line}".rstrip() + "\n" for line in header.splitlines())
    return comments + yaml.dump(plain, Dumper=_Dumper, sort_keys=False, allow_unicode=True, width=110)


def set_value(text: str, key_path: str, new_text: str, name: str = "text") -> str:
    """Change one value in a YAML text and leave every other character, comments and layout as they are.

    Parameters
    ----------
    text : str
        The YAML text.
    key_path : str
        Dotted path; a list's items by index or by their `name`.
    new_text : str
        The new value, as `read` would see it; quotes are put around it where YAML needs them.
    name : str
        The name of the text in findings.

    Returns
    -------
    str
        The changed text.
    """
    mark = "\ufeff" if text.startswith("\ufeff") else ""
    text = text.removeprefix("\ufeff")
    target, keys = _find(compose(text, name), key_path.split("."), name)
    where = f"{name}:{target.start_mark.line + 1}: {key_path}"
    if not isinstance(target, yaml.ScalarNode) or target.style in ("|", ">"):
        raise ConfigError(f"{where}: found a block, list or long text; allowed: one value to change")
    start, end = target.start_mark.index, target.end_mark.index
    before, old, after = text[:start], text[start:end], text[end:]
    if old.startswith(("&", "!", "*")):
        raise ConfigError(f"{where}: found {quoted(old)}; allowed: a value without anchor to change")
    space = " " if before.endswith((":", "-", "?")) else ""
    for written in (new_text, "'" + new_text.replace("'", "''") + "'", _double_quoted(new_text)):
        changed = before + space + written + after
        if _changed_only(text, changed, keys, new_text, name):
            return mark + changed
    raise ConfigError(f"{where}: {quoted(new_text)} cannot be written there; allowed: a text on one line")


def add_value(text: str, key_path: str, new_text: str, name: str = "text") -> str:
    """Add one value to a block that stands in a YAML text and leave every other character as it is.

    Parameters
    ----------
    text : str
        The YAML text.
    key_path : str
        Dotted path of the new key; the block that takes it must stand in the text.
    new_text : str
        The value, as `read` would see it.
    name : str
        The name of the text in findings.

    Returns
    -------
    str
        The changed text: behind the last key in braces, on a line of its own in a block.
    """
    mark = "\ufeff" if text.startswith("\ufeff") else ""
    text = text.removeprefix("\ufeff")
    parent, _, key = key_path.rpartition(".")
    root = compose(text, name)
    target, keys = _find(root, parent.split("."), name)
    where = f"{name}:{target.start_mark.line + 1}: {key_path}"
    if not isinstance(target, yaml.MappingNode) or not target.value:
        raise ConfigError(f"{where}: found no block with keys to add it to; allowed: to add it by hand")
    if any(item.value == key for item, _ in target.value):
        raise ConfigError(f"{where}: found it there already; allowed: a new key")
    last = target.value[-1][1].end_mark.index
    first = target.value[0][0].start_mark
    for written in (new_text, "'" + new_text.replace("'", "''") + "'", _double_quoted(new_text)):
        if target.flow_style:
            changed = f"{text[:last]}, {key}: {written}{text[last:]}"
        else:
            end = text.find("\n", _last_character(text, last))
            end = len(text) if end < 0 else end
            changed = f"{text[:end]}\n{' ' * first.column}{key}: {written}{text[end:]}"
        if _added_only(root, changed, [*keys, key], new_text, name):
            return mark + changed
    raise ConfigError(f"{where}: {quoted(new_text)} cannot be added there; allowed: to add it by hand")


def _last_character(text: str, end: int) -> int:
    """Place of the last character of a block that is no blank: its end mark may lie lines further on."""
    return max(0, len(text[:end].rstrip()) - 1)


def _added_only(old: yaml.Node, new: str, keys: list[str], value: str, name: str) -> bool:
    """Tell whether a text is an old one with one key more, which has the wanted value."""
    try:
        root = compose(new, name)
        parent, _ = _find(root, keys[:-1], name)
    except ConfigError:
        return False
    added = [pair for pair in parent.value if pair[0].value == keys[-1]]
    if len(added) != 1 or not isinstance(added[0][1], yaml.ScalarNode) or added[0][1].value != value:
        return False
    parent.value.remove(added[0])
    hole = yaml.ScalarNode("", "")  # none of theirs: everything is compared
    return bool(_flat(root, hole) == _flat(old, hole))


def _double_quoted(text: str) -> str:
    return str(yaml.dump(text, Dumper=yaml.SafeDumper, default_style='"', width=10**9)).rstrip("\n")


def _find(node: yaml.Node, keys: list[str], name: str) -> tuple[yaml.Node, list[str]]:
    """Find the node at a path in the text itself, and the path without names of list items."""
    path, plain = "", []
    for key in keys:
        if isinstance(node, yaml.MappingNode):
            children: dict[str, yaml.Node] = {}
            starts: dict[str, int] = {}
            for item, value in node.value:
                if isinstance(item, yaml.ScalarNode) and item.value not in children:
                    children[item.value], starts[item.value] = value, item.start_mark.index
        elif isinstance(node, yaml.SequenceNode):
            children = {str(index): item for index, item in enumerate(node.value)}
            starts = {}
            for item in node.value:
                for inner, value in item.value if isinstance(item, yaml.MappingNode) else ():
                    if inner.value == "name" and isinstance(value, yaml.ScalarNode):
                        children.setdefault(value.value, item)
        else:
            children = {}
        if key not in children:
            words = ", ".join(children) or "no key"
            raise ConfigError(f"{name}:{node.start_mark.line + 1}: {join(path, key)}: " + sentence(
                "no such key in the text", words, nearest(key, children)))
        child, path = children[key], join(path, key)
        sibling = key.isdecimal() and not starts and node.value.index(child) != int(key)
        if sibling or child.start_mark.index < starts.get(key, node.start_mark.index):
            raise ConfigError(f"{name}:{node.start_mark.line + 1}: {path}: found an alias of a shared place; "
                              "allowed: a value of its own to change")
        plain.append(str(node.value.index(child)) if isinstance(node, yaml.SequenceNode) else key)
        node = child
    return node, plain


def _changed_only(old: str, new: str, keys: list[str], value: str, name: str) -> bool:
    """Tell whether two texts differ at one path only, where the new one has the wanted value."""
    try:
        trees = compose(old, name), compose(new, name)
        target, _ = _find(trees[1], keys, name)
    except ConfigError:
        return False
    if not isinstance(target, yaml.ScalarNode) or target.value != value:
        return False
    if not target.style and not (target.tag.startswith(_STANDARD) and value.strip() == value):
        return False
    was, _ = _find(trees[0], keys, name)
    return _flat(trees[0], was) == _flat(trees[1], target)


def _flat(node: yaml.Node, hole: yaml.Node) -> Any:
    if node is hole:
        return None
    if isinstance(node, yaml.MappingNode):
        return [(_flat(key, hole), _flat(value, hole)) for key, value in node.value]
    if isinstance(node, yaml.SequenceNode):
        return [_flat(item, hole) for item in node.value]
    assert isinstance(node, yaml.ScalarNode)
    return (node.value, node.style or None, node.tag)
