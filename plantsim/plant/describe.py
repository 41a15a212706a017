"""Write the documentation of a schema from the schema: a commented YAML template, or tables in Markdown."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from typing import Any

from plantsim.plant.fields import REQUIRED, Field, Scalar, as_text
from plantsim.plant.schema import ListOf, MapOf, Maybe, OneOf, Points, Section, Times, Variant

_WIDTH = 100


def describe(section: Section, style: str = "yaml") -> str:
    """Give a section's documentation.

    Parameters
    ----------
    section : Section
        What to describe.
    style : str
        "yaml" for a commented template, in which ``<...>`` is to be replaced and ``# key:`` may be used;
        "markdown" for one table for each block.

    Returns
    -------
    str
        The text.
    """
    if style == "yaml":
        return "\n".join([*_comment(section.doc, ""), "", *_block(section, "")]) + "\n"
    if style == "markdown":
        return "\n".join(_tables(section, "")).strip() + "\n"
    raise ValueError(f"a style is 'yaml' or 'markdown', not {style!r}")


def _comment(text: str, indent: str) -> list[str]:
    return textwrap.wrap(text, _WIDTH, initial_indent=f"{indent}# ", subsequent_indent=f"{indent}# ")


def _inner(kind: Field) -> Field:
    return kind.item if isinstance(kind, Maybe) else kind


def _sample(kind: Field) -> str:
    """Give a value on one line: the default, the example, or a placeholder."""
    if kind.example is not None:
        return kind.example
    default: Any = getattr(kind, "default", REQUIRED)
    if isinstance(kind, Points | Times | ListOf) and default is not REQUIRED and default is not None:
        rows = (f"[{', '.join(map(as_text, row))}]" if isinstance(row, tuple | list) else as_text(row)
                for row in default)
        return f"[{', '.join(rows)}]"
    if default is not REQUIRED and default is not None:
        return as_text(default)
    if isinstance(kind, Points):
        return f"[[{', '.join(f'<{word}>' for word in kind.words())}]]"
    if isinstance(kind, Maybe | OneOf | ListOf):
        inner = kind.items[0] if isinstance(kind, OneOf) else kind.item
        return f"[{_sample(inner)}]" if isinstance(kind, ListOf) else _sample(inner)
    return f"<{getattr(kind, 'dimension', type(kind).__name__.lower()).replace('_', ' ')}>"


def _block(section: Section, indent: str) -> Iterator[str]:
    for key, kind in section.fields.items():
        optional = isinstance(kind, Maybe) or getattr(kind, "default", REQUIRED) is None
        inner = _inner(kind)
        lines = list(_field(key, kind, inner, indent))
        if optional:  # behind a comment sign: to be used or not
            lines = [line if line.lstrip().startswith("#") else f"{indent}# {line[len(indent):]}"
                     for line in lines]
        yield from lines


def _field(key: str, kind: Field, inner: Field, indent: str) -> Iterator[str]:
    if isinstance(inner, Section | Variant | MapOf):
        yield from _comment(kind.doc, indent)
        yield f"{indent}{key}:"
        yield from _nested(inner, indent + "  ")
        return
    if isinstance(inner, ListOf) and isinstance(inner.item, Section | Variant):
        yield from _comment(kind.doc, indent)
        yield f"{indent}{key}:"
        lines = [line for line in _nested(inner.item, indent + "    ") if line.strip()]
        first = next(number for number, line in enumerate(lines) if not line.lstrip().startswith("#"))
        yield from lines[:first]
        yield f"{indent}  - {lines[first].lstrip()}"
        yield from lines[first + 1:]
        return
    need = "" if kind.required() else " Left out: " + ("none." if _nothing(kind) else f"{_sample(kind)}.")
    yield from _comment(f"{kind.doc.rstrip('.')}. Allowed: {kind.allowed()}.{need}", indent)
    yield f"{indent}{key}: {_sample(kind)}"


def _nothing(kind: Field) -> bool:
    return isinstance(kind, Maybe) or getattr(kind, "default", REQUIRED) is None


def _nested(kind: Field, indent: str) -> Iterator[str]:
    if isinstance(kind, Section):
        yield from _block(kind, indent)
    elif isinstance(kind, Variant):
        word = kind.default or next(iter(kind.sections))
        yield from _comment(f"One of {', '.join(kind.sections)}. {kind.sections[word].doc}", indent)
        yield from _kind(kind, word, indent)
    elif isinstance(kind, MapOf):
        for name, item in _names(kind):
            if isinstance(item, Scalar):
                yield f"{indent}{name}: {_sample(item)}"
                continue
            yield f"{indent}{name}:"
            if isinstance(kind.item, Variant) and isinstance(item, Section):
                yield from _comment(item.doc, indent + "  ")
                yield from _kind(kind.item, name[1:-1], indent + "  ")
            else:
                yield from _nested(item, indent + "  ")


def _names(kind: MapOf) -> Iterator[tuple[str, Field]]:
    if isinstance(kind.item, Variant):
        for word, section in kind.item.sections.items():
            yield f"<{word}>", section
        return
    yield f"<{kind.key.kind or 'name'}>", kind.item


def _kind(kind: Variant, word: str, indent: str) -> Iterator[str]:
    yield f"{indent}{kind.key}: {word}"
    yield from _block(kind.sections[word], indent)


def _tables(section: Section, path: str, told: str = "") -> Iterator[str]:
    yield f"### {path or 'The file'}{told}"
    yield ""
    yield section.doc
    yield ""
    yield "| key | meaning | allowed | left out |"
    yield "|---|---|---|---|"
    below: list[tuple[Field, str]] = []
    for key, kind in section.fields.items():
        left_out = "must be given" if kind.required() else "none" if _nothing(kind) else ""
        if not left_out:
            left_out = "as its keys say" if isinstance(kind, Section | MapOf | Variant) else _sample(kind)
        cells = (f"`{key}`", kind.doc, kind.allowed(), left_out)
        yield "| " + " | ".join(" ".join(cell.replace("|", "\\|").split()) for cell in cells) + " |"
        below.append((_inner(kind), f"{path}.{key}" if path else key))
    yield ""
    for kind, inner_path in below:
        yield from _below(kind, inner_path)


def _below(kind: Field, path: str) -> Iterator[str]:
    if isinstance(kind, Section):
        yield from _tables(kind, path)
    elif isinstance(kind, Variant):
        for word, section in kind.sections.items():
            yield from _tables(section, path, f" ({kind.key}: {word})")
    elif isinstance(kind, MapOf | ListOf):
        yield from _below(_inner(kind.item), f"{path}.<{'name' if isinstance(kind, MapOf) else 'index'}>")
    elif isinstance(kind, OneOf):
        for item in kind.items:
            yield from _below(item, path)
