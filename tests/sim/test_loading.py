"""Loading: what is left out is left out, and is there for whoever needs it."""

from __future__ import annotations

import gc
import subprocess
import sys

from plantsim.sim.loading import no_collecting

_SPARED = """
import sys
from plantsim.sim.loading import spare_blas
spare_blas()
import numba, numpy as np
assert numba.njit(lambda x: x + 1.0)(2.0) == 3.0
assert not any(name.startswith("scipy.linalg") for name in sys.modules), "loaded all the same"
a = np.array([[1.0, 2.0], [3.0, 4.0]])
print(numba.njit(lambda a: np.dot(a, a))(a).tolist(), "scipy.linalg.cython_blas" in sys.modules)
"""


def test_linear_algebra_is_loaded_only_for_a_matrix_product() -> None:
    done = subprocess.run([sys.executable, "-c", _SPARED], capture_output=True, text=True, timeout=120)
    # [[1, 2], [3, 4]] squared, by hand
    assert (done.stdout.strip(), done.stderr) == ("[[7.0, 10.0], [15.0, 22.0]] True", "")


def test_the_search_for_garbage_goes_on_as_it_was() -> None:
    assert gc.isenabled()
    with no_collecting():
        assert not gc.isenabled()
        with no_collecting():
            pass
        assert not gc.isenabled()
    assert gc.isenabled()
