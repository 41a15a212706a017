"""What makes a short run short: the compiler's library is loaded without what no kernel of ours uses.

Before the first compiled function is called, numba looks whether scipy's linear algebra can be loaded, and does load
it to find out: some 0.2 s, half of all that making the kernel ready takes. Scipy is one of our own requirements, so
the question can wait: it is put when somebody compiles a matrix product in the same process.
"""

from __future__ import annotations

import gc
import importlib
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

_BLAS = "scipy.linalg.cython_blas"
_ASKS = "numba.np.arraymath"


class _Later:
    """Numba's question, put when the answer is needed."""

    def __init__(self, ask: Callable[[], bool]) -> None:
        self._ask = ask

    def __bool__(self) -> bool:
        return self._ask()


def spare_blas() -> None:
    """Have numba look for scipy's linear algebra only when it is needed."""
    if _ASKS in sys.modules or _BLAS in sys.modules:
        return
    sys.modules[_BLAS] = None  # type: ignore[assignment]  # numba's question is answered at once, with no
    try:
        asks = importlib.import_module(_ASKS)
    finally:
        del sys.modules[_BLAS]
    if getattr(asks, "_HAVE_BLAS", None) is False and hasattr(asks, "_check_blas"):
        asks._HAVE_BLAS = _Later(asks._check_blas)  # type: ignore[attr-defined]


@contextmanager
def no_collecting() -> Iterator[None]:
    """Leave the search for garbage out: loading makes hundreds of thousands of objects that live on."""
    collecting = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if collecting:
            gc.enable()
