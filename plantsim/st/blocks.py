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
    folders: list[Path] = [BUILT_IN]
    if isinstance(library, str | Path):
        folders.append(Path(library))
    elif library is not None:
        folders += [Path(folder) for folder in library]
    found: dict[str, Path] = {}
    for folder in folders:
        for path in sorted(folder.glob("*.st")):
            stat = path.stat()
            for name in _declared(path, stat.st_mtime_ns, stat.st_size):
                found[name] = path
    return found
