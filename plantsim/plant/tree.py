"""A checked configuration: values in SI by attribute or key, each knowing the line it came from."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, NamedTuple

from plantsim.errors import ConfigError
from plantsim.plant.fields import nearest


class Where(NamedTuple):
    """The place of a text: a file and a line counted from 1, or `--set` with line 0."""

    file: str
    line: int = 0

    def __str__(self) -> str:
        return f"{self.file}:{self.line}" if self.line else self.file


class Findings:
    """What is wrong with a configuration, collected over all stages, one line each."""

    def __init__(self) -> None:
        self._found: list[tuple[Where, str, str]] = []

    def add(self, where: Where, path: str, message: str) -> None:
        """Take in one finding; the same one twice counts once."""
        if (where, path, message) not in self._found:
            self._found.append((where, path, message))

    def __len__(self) -> int:
        return len(self._found)

    def cut(self, length: int) -> list[tuple[Where, str, str]]:
        """Take out and give all findings after the first `length`."""
        tail = self._found[length:]
        del self._found[length:]
        return tail

    def touches(self, path: str) -> bool:
        """Tell whether there is a finding at a key or under it."""
        return any(not path or found == path or found.startswith(path + ".") for _, found, _ in self._found)

    def lines(self) -> list[str]:
        """Give the findings as text, by line of the file; those of `--set` come last."""
        ordered = sorted(self._found, key=lambda found: (found[0].line == 0, found[0].line))
        return [f"{where}: {path}: {message}" if path else f"{where}: {message}"
                for where, path, message in ordered]

    def raise_if_any(self) -> None:
        """Raise one `ConfigError` with all findings, if there are any."""
        if self._found:
            raise ConfigError(self.lines())


class Entry:
    """One checked value with its place; blocks and lists have children by key or index."""

    __slots__ = ("children", "given", "plain", "shape", "value", "where")

    def __init__(self, where: Where, given: bool, value: Any = None, plain: Any = None,
                 shape: str = "value", children: dict[str, Entry] | None = None) -> None:
        self.where, self.given, self.value, self.plain = where, given, value, plain
        self.shape, self.children = shape, {} if children is None else children

    def resolve(self, path: str, findings: Findings) -> Any:
        """Give the value: a number or word, a `Tree`, or a tuple of them."""
        if self.shape == "map":
            return Tree(self, path, findings)
        if self.shape == "list":
            return tuple(child.resolve(join(path, key), findings) for key, child in self.children.items())
        return self.value

    def bare(self) -> Any:
        """Give the value as plain data, as a user would write it."""
        if self.shape == "map":
            return {key: child.bare() for key, child in self.children.items()}
        if self.shape == "list":
            return [child.bare() for child in self.children.values()]
        return self.plain


def join(path: str, key: str) -> str:
    """Put a key behind a path."""
    return f"{path}.{key}" if path else key


class Tree(Mapping[str, Any]):
    """A block of a checked configuration: a mapping whose keys can be read as attributes too.

    Values are SI floats, words, `Ref`, tuples and further trees. A key that is a Python keyword, or a method
    of mappings such as ``items``, is read as ``tree["items"]`` (or ``tree.from_``). Free names keep the order
    of the file.
    """

    __slots__ = ("_entry", "_findings", "_path")

    def __init__(self, entry: Entry, path: str, findings: Findings) -> None:
        self._entry, self._path, self._findings = entry, path, findings

    def __getitem__(self, key: str) -> Any:
        return self._entry.children[key].resolve(join(self._path, key), self._findings)

    def __iter__(self) -> Iterator[str]:
        return iter(self._entry.children)

    def __len__(self) -> int:
        return len(self._entry.children)

    def __getattr__(self, name: str) -> Any:
        if not name.startswith("__"):
            key = name if name in self._entry.children else name.removesuffix("_")
            if key in self._entry.children:
                return self[key]
        near = nearest(name, self._entry.children)
        raise AttributeError(f"{self._path or 'the configuration'} has no {name!r}"
                             + (f"; did you mean {near!r}?" if near else ""))

    def __repr__(self) -> str:
        return f"Tree({self._path or 'configuration'}: {', '.join(self)})"

    @property
    def path(self) -> str:
        """The dotted path of this block."""
        return self._path

    @property
    def source(self) -> Path | None:
        """The file this block stands in, or None for a text or a `--set`."""
        file = Path(self._entry.where.file)
        return file if file.is_file() else None

    def _deepest(self, path: str) -> Entry:
        entry = self._entry
        for key in path.split(".") if path else ():
            if key not in entry.children:
                break
            entry = entry.children[key]
        return entry

    def where(self, path: str = "") -> Where:
        """Give file and line of a key below this block; of what holds it where it was left to its default."""
        return self._deepest(path).where

    def line(self, path: str = "") -> int:
        """Give the line of a key below this block, counted from 1; 0 for one given by `--set`."""
        return self.where(path).line

    def given(self, path: str) -> bool:
        """Tell whether a key was given, rather than left to its default."""
        entry = self._entry
        for key in path.split("."):
            if key not in entry.children:
                return False
            entry = entry.children[key]
        return entry.given

    def finding(self, path: str, message: str) -> None:
        """Add a finding about a key below this block, at its line; `raise_findings` raises them together."""
        self._findings.add(self.where(path), ".".join(part for part in (self._path, path) if part), message)

    def raise_findings(self) -> None:
        """Raise one `ConfigError` with all findings of the whole configuration, if there are any."""
        self._findings.raise_if_any()

    def plain(self) -> dict[str, Any]:
        """Give the resolved block as plain data: quantities as texts with units, defaults filled in."""
        return self._entry.bare()
