"""How numeric code is compiled: one place for the compiler's options.

* `formula` marks a scalar physics formula: plain Python when called from Python (no compile wait), compiled
  when called from a kernel.
* `kernel` marks a function of the simulation kernel.
* `part` marks a piece of a kernel that the compiler merges into its caller: a call with many arrays costs more
  than the work of a small unit.
* `shared` marks a `kernel`, `shared_part` a `part`, that sees the plant's whole memory beside what it writes: the
  control programs' machine, instruments, alarms. All others promise the compiler that
  no number they write is reached by another argument too; only then does it keep an address it has found, and
  vectorise a loop over rows, without looking again after every write.
* `phase` marks a piece of the loop that numba itself puts in place: a whole plant is too many words to be passed.
* `entry` marks what Python calls; its machine code is kept on disk.

The error model is numpy's: a division by zero gives inf or nan, as in the C twin, and is tested for where it can
happen. `fastmath` stays off: it gains nothing here and makes the last bits depend on the compiler. Kernels never
allocate, so numba's reference counting of every array they are handed is left out (`_nrt`, which is not in numba's
documentation; tests hold compiled and interpreted kernels to the same bytes). Straight code over a row is joined into
vector operations, which numba leaves out unless told (`SLP_VECTORIZE`); it changes no bit of a result.
"""

from typing import Any

from numba import config, njit
from numba.core.compiler import Compiler
from numba.extending import register_jitable


class _Apart(Compiler):
    """The ordinary compiler, told that no two arguments share memory that is written."""

    def define_pipelines(self):
        self.state.flags.noalias = True
        return super().define_pipelines()


config.SLP_VECTORIZE = 1  # type: ignore[attr-defined]
_OPTIONS: dict[str, Any] = dict(error_model="numpy", nogil=True, _nrt=False)

formula = register_jitable(error_model="numpy")
kernel = njit(pipeline_class=_Apart, **_OPTIONS)
part = njit(forceinline=True, pipeline_class=_Apart, **_OPTIONS)
shared = njit(**_OPTIONS)
shared_part = njit(forceinline=True, **_OPTIONS)
phase = njit(inline="always", **_OPTIONS)
entry = njit(cache=True, **_OPTIONS)
