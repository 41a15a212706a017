"""The picture of a plant, drawn from its configuration: what stands where, what flows between, and which values belong.

Places are on a grid. The way of the dirty water runs from left to right in the middle row, each unit one column behind
what feeds it; clean water stands in the row above, mud in the row below, chemicals at the top over what they are dosed
to. Ways back (clean water to the wash plant, released water to the sump) run along the edges.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from plantsim.live.points import Reading
from plantsim.plant.model import Model
from plantsim.plant.reader import examine
from plantsim.plant.sections import PLANT
from plantsim.plant.tree import Tree

CHEMICAL, CLEAN, DIRTY, MUD = 0, 1, 2, 3
"""Rows of the grid, from the top."""


@dataclass
class _Node:
    name: str
    kind: str
    row: int
    column: int = 0
    drives: list[str] = field(default_factory=list)
    parts: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class _Edge:
    source: str
    target: str
    what: str
    """'dirty', 'clean', 'mud' or 'chemical'."""
    back: bool = False


def picture_of(model: Model, reading: Reading) -> dict[str, Any]:
    """Picture of a plant as plain objects.

    Parameters
    ----------
    model : Model
        The plant, with the file it came from.
    reading : Reading
        Its points: values are put beside the units they are measured at.

    Returns
    -------
    dict
        `columns`, `rows`, `nodes` (name, kind, row, column, drives, parts, values) and `edges`.
    """
    tree = examine(model.resolved if model.resolved else Path(model.source_file), PLANT, name="plant")
    nodes, edges = _graph(tree)
    _place(nodes, edges)
    values = _values(model, reading, nodes)
    return {
        "columns": max((n.column for n in nodes.values()), default=0) + 1,
        "rows": max((n.row for n in nodes.values()), default=0) + 1,
        "nodes": [
            {
                "name": n.name,
                "kind": n.kind,
                "row": n.row,
                "column": n.column,
                "drives": n.drives,
                "parts": n.parts,
                "values": values.get(n.name, []),
            }
            for n in nodes.values()
        ],
        "edges": [{"from": e.source, "to": e.target, "what": e.what, "back": e.back} for e in edges],
    }


_ROWS = {
    "source": DIRTY,
    "vessel": DIRTY,
    "line": DIRTY,
    "splitter": DIRTY,
    "clarifier": DIRTY,
    "supply": CLEAN,
    "doser": CHEMICAL,
    "makedown": CHEMICAL,
    "bank": MUD,
    "press": MUD,
}


def _name(reference: Any) -> str:
    """Name of the unit a reference means; the word itself where a file has a word in its place."""
    return str(getattr(reference, "name", reference))


def _graph(tree: Tree) -> tuple[dict[str, _Node], list[_Edge]]:
    nodes = {name: _Node(name, u.kind, _ROWS.get(u.kind, DIRTY)) for name, u in tree.units.items()}
    edges: list[_Edge] = []

    def join(one: Any, other: Any, what: str, back: bool = False) -> None:
        source, target = _name(one), _name(other)
        if source in nodes and target in nodes:
            edges.append(_Edge(source, target, what, back))

    clean = {_name(u.overflow) for u in tree.units.values() if u.kind == "clarifier"}
    clean |= {_name(u.from_) for u in tree.units.values() if u.kind == "source"}
    for name in clean:
        if name in nodes:
            nodes[name].row = CLEAN
    muddy = {n for n, u in tree.units.items() if u.kind == "line" and tree.units[_name(u.from_)].kind == "clarifier"}
    muddy |= {_name(tree.units[n].to) for n in muddy}
    muddy |= {_name(u.from_) for u in tree.units.values() if u.kind == "press"}
    for name in muddy:
        nodes[name].row = MUD
    for name, u in tree.units.items():
        if u.kind == "source":
            join(u.from_, name, "clean", True)
            join(name, u.to, "dirty")
        elif u.kind == "supply":
            join(name, u.to, "clean")
        elif u.kind == "vessel" and _name(u.overflow) in nodes:
            join(name, u.overflow, "clean" if nodes[name].row == CLEAN else "dirty", True)
        elif u.kind == "line":
            nodes[name].drives = list(u.pumps)
            what = "mud" if name in muddy else "dirty"
            join(u.from_, name, what)
            join(name, u.to, what)
            if u.valve is not None:
                nodes[name].parts.append(_name(u.valve.actuator))
        elif u.kind == "splitter":
            for way in u.to:
                join(name, way.unit, "dirty")
        elif u.kind == "clarifier":
            join(name, u.overflow, "clean")
            if u.rake is not None:
                nodes[name].drives = [name]
        elif u.kind == "doser":
            nodes[name].drives = [name]
            join(u.from_, name, "chemical")
            join(name, u.to, "chemical")
        elif u.kind == "bank":
            nodes[name].parts = list(u.cells)
            join(name, u.decant, "dirty", True)
        elif u.kind == "press":
            nodes[name].drives = [name]
            join(u.from_, name, "mud")
            join(name, u.filtrate, "dirty", True)
    return nodes, edges


def _place(nodes: dict[str, _Node], edges: list[_Edge]) -> None:
    """Give each node its column, and part those that would stand in one place."""
    clarifiers = [n for n in nodes.values() if n.kind == "clarifier"]
    if len(clarifiers) > 1:  # side by side, each with its own mud to the right of it
        for i, clarifier in enumerate(clarifiers):
            clarifier.row = DIRTY + i
        for e in [e for e in edges if e.what == "mud"]:
            nodes[e.target].row = nodes[e.source].row
    forward = [e for e in edges if not e.back and e.what in ("dirty", "mud")]
    for _ in range(len(nodes)):
        for e in forward:
            below = nodes[e.target].row != nodes[e.source].row and nodes[e.target].kind != "clarifier"
            want = nodes[e.source].column + (0 if below else 1)
            nodes[e.target].column = max(nodes[e.target].column, want)
    for e in edges:  # clean water stands over what gives it, chemicals over what takes them
        if e.what == "clean" and not e.back and nodes[e.source].kind == "clarifier":
            nodes[e.target].column = max(nodes[e.target].column, nodes[e.source].column)
    for e in edges:
        if e.what == "chemical" and nodes[e.source].kind == "doser":
            nodes[e.source].column = nodes[e.target].column
    for e in edges:
        if e.what == "chemical" and nodes[e.source].kind == "makedown":
            nodes[e.source].column = max(0, nodes[e.target].column - 1)
        if e.what == "clean" and nodes[e.source].kind == "supply":
            nodes[e.source].column = max(0, nodes[e.target].column - 1)
    taken: set[tuple[int, int]] = set()
    for node in nodes.values():
        if node.row in (DIRTY, MUD) and (node.row, node.column) in taken and (node.row + 1, node.column) not in taken:
            node.row += 1
        while (node.row, node.column) in taken:
            node.column += 1
        taken.add((node.row, node.column))


def _values(model: Model, reading: Reading, nodes: dict[str, _Node]) -> dict[str, list[str]]:
    """Tags that stand beside each unit: its instruments first, then what is commanded of it."""
    found: dict[str, list[str]] = {}
    parts = {part: n.name for n in nodes.values() for part in (*n.parts, *n.drives)}
    for tag in model.tags.values():
        if tag.role != "instrument":
            continue
        unit = tag.meaning.partition(".")[0]
        name = unit if unit in nodes else parts.get(unit)
        if name is not None:
            found.setdefault(name, []).append(tag.name)
    return found
