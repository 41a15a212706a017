"""The compiled kernel: one module per kind of unit, and the loop that runs them.

Numba's disk cache looks only at the file of the function it caches, not at the files of what that
function calls. Kernels are spread over modules, so an edit would leave stale physics behind. The cache
folder is therefore named by a hash of every source that takes part.
"""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

import numba


def _cache_folder() -> Path:
    here = Path(__file__).resolve().parent
    package = here.parent
    sources = sorted(here.glob("*.py")) + sorted((package / "physics").glob("*.py"))
    sources += [package / "records.py", package / "opcodes.py", package / "jit.py", package / "arena.py"]
    digest = hashlib.sha256(numba.__version__.encode())
    for source in sources:
        if source.exists():
            digest.update(source.name.encode() + source.read_bytes())
    base = os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache"
    return Path(base) / "plantsim" / digest.hexdigest()[:16]


CACHE_FOLDER = _cache_folder()
if "NUMBA_CACHE_DIR" not in os.environ:
    numba.config.CACHE_DIR = str(CACHE_FOLDER)  # type: ignore[attr-defined]
