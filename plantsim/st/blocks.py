"""Index of library files: which file declares which function, block or type. Files are parsed only when used."""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path

BUILT_IN = Path(__file__).parent / "library"
_UNIT = re.compile(r"^\s*(?:FUNCTION_BLOCK|FUNCTION)\s+(\w+)", re.IGNORECASE | re.MULTILINE)
_TYPES = re.compile(r"^\s*TYPE\b(.*?)\bEND_TYPE\b", re.IGNORECASE | re.MULTILINE | re.DOTALL)
_TYPE_NAME = re.compile(r"(?:^|;)\s*(\w+)\s*:(?!=)", re.MULTILINE)
_STRUCT = re.compile(r"\bSTRUCT\b.*?\bEND_STRUCT\b", re.IGNORECASE | re.DOTALL)
_COMMENT = re.compile(r"\(\*.*?\*\)|//[^\n]*", re.DOTALL)


@lru_cache(maxsize=256)
def _declared(path: Path, stamp: int, size: int) -> tuple[str, ...]:
    text = _COMMENT.sub(" ", path.read_text(encoding="utf-8"))
    names = [m.group(1).upper() for m in _UNIT.finditer(text)]
    for block in _TYPES.finditer(text):
        names += [m.group(1).upper() for m in _TYPE_NAME.finditer(_STRUCT.sub("STRUCT", block.group(1)))]
    return tuple(names)


def index(library: Path | str | Sequence[Path | str] | None = None) -> dict[str, Path]:
    """Files by the upper-case names they declare: the built-in library, then the folders given (which win).

    Parameters
    ----------
    library : path or list of paths, optional
        Further folders of `.st` files.
    """
    found: dict[str, Path] = {}
    for path, *state in stamp(folders(library)):
        for name in _declared(path, *state):
            found[name] = path
    return found


def folders(library: Path | str | Sequence[Path | str] | None) -> tuple[Path, ...]:
    """Folders searched: the built-in library, then those given."""
    given = [library] if isinstance(library, str | Path) else library or ()
    return (BUILT_IN, *(Path(folder) for folder in given if Path(folder) != BUILT_IN))


def stamp(searched: Sequence[Path]) -> tuple[tuple[Path, int, int], ...]:
    """Library files of some folders in order, each with its time of change and size."""
    files = [path for folder in searched for path in sorted(folder.glob("*.st"))]
    return tuple((path, path.stat().st_mtime_ns, path.stat().st_size) for path in files)
