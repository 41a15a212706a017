"""Which module may import which: the contracts of `pyproject.toml`, kept without any tool but Python's own parser.

The same contracts are read by import-linter in the checks of a change. Here every import statement counts,
wherever it stands: at the top, inside a function, or for type checkers only.
"""

from __future__ import annotations

import ast
import fnmatch
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
CONFIG = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["importlinter"]
LAYERS = next(c["layers"] for c in CONFIG["contracts"] if c["type"] == "layers")
FORBIDDEN = [c for c in CONFIG["contracts"] if c["type"] == "forbidden"]


def module_name(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


FILES = {module_name(path): path for path in sorted((ROOT / "plantsim").rglob("*.py"))}


def imports_of(name: str, text: str, package: bool) -> set[str]:
    """Modules a module imports; of a package's insides the very module, of others the name up to the first dot."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Import):
            found.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                here = name.split(".") if package else name.split(".")[:-1]
                here = here[: len(here) - node.level + 1]
                base = ".".join([*here, base]) if base else ".".join(here)
            inner = {f"{base}.{alias.name}" for alias in node.names}
            modules = inner & set(FILES)
            found |= modules
            if len(modules) < len(inner):
                found.add(base)
    return {n if n.split(".")[0] == "plantsim" else n.split(".")[0] for n in found}


GRAPH = {name: imports_of(name, path.read_text(), path.name == "__init__.py") for name, path in FILES.items()}


def within(module: str, package: str) -> bool:
    return module == package or module.startswith(package + ".")


def rank(module: str) -> tuple[int, str] | None:
    """Number of the layer (0 is the top) and the part of it that a module belongs to."""
    for number, layer in enumerate(LAYERS):
        for part in layer.split("|"):
            package = part.strip().strip("()")
            if within(module, package):
                return number, package
    return None


def reached_from(start: str, ignored: list[str]) -> dict[str, str]:
    """Every module a module reaches by imports, direct or through others, and the one that imports it."""
    via = {start: ""}
    waiting = [start]
    while waiting:
        module = waiting.pop()
        for other in GRAPH.get(module, ()):
            passed = any(_matches(f"{module} -> {other}", pattern) for pattern in ignored)
            if other not in via and not passed:
                via[other] = module
                waiting.append(other)
    return via


def _matches(edge: str, pattern: str) -> bool:
    (a, b), (left, right) = edge.split(" -> "), pattern.split(" -> ")
    return fnmatch.fnmatch(a, left) and fnmatch.fnmatch(b, right)


def test_every_module_stands_in_a_layer():
    outside = {name for name in FILES if rank(name) is None}
    assert outside == {"plantsim", "plantsim.__main__", *_without_code()}
    assert GRAPH["plantsim"] == set(), "importing the package imports nothing else"


def _without_code() -> set[str]:
    """Packages of text files only, with nothing to import in them."""
    return {name for name, path in FILES.items() if path.name == "__init__.py" and not path.read_text().strip()
            and rank(name) is None}  # fmt: skip


@pytest.mark.parametrize("module", [name for name in FILES if rank(name) is not None])
def test_a_module_imports_only_from_its_layer_and_below(module):
    number, package = rank(module)
    for other in GRAPH[module]:
        place = rank(other)
        if place is not None and place[1] != package:
            assert place[0] > number, f"{module} imports {other}, which is no lower layer"


@pytest.mark.parametrize("contract", FORBIDDEN, ids=[c["name"] for c in FORBIDDEN])
def test_what_is_forbidden_is_not_reached(contract):
    checked = 0
    for module in FILES:
        if any(within(module, source) for source in contract["source_modules"]):
            reached = reached_from(module, contract.get("ignore_imports", []))
            for other, through in reached.items():
                bad = any(within(other, forbidden) for forbidden in contract["forbidden_modules"])
                assert not bad, f"{module} reaches {other} through {through or module}"
            checked += 1
    assert checked > 0


@pytest.mark.parametrize("contract", FORBIDDEN, ids=[c["name"] for c in FORBIDDEN])
def test_every_exception_is_needed(contract):
    edges = [f"{module} -> {other}" for module, others in GRAPH.items() for other in others]
    for pattern in contract.get("ignore_imports", []):
        assert any(_matches(edge, pattern) for edge in edges), pattern


def test_the_reader_of_imports_sees_every_form():
    text = (
        "import numpy as np, simpy.core\nfrom plantsim import records\nfrom plantsim.units import to_si\n"
        "from . import rows\nfrom ..errors import UnitError\ndef f():\n    import yaml\n"
    )
    assert imports_of("plantsim.kernels.line", text, False) == {
        "numpy", "simpy", "plantsim.records", "plantsim.units", "plantsim.kernels.rows", "plantsim.errors", "yaml"
    }  # fmt: skip


def test_the_checks_of_a_change_run_the_linter_of_imports():
    assert "lint-imports" in (ROOT / ".ci" / "run").read_text()
