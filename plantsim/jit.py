"""How numeric code is compiled: four decorators, one place for the compiler's options.

`formula` marks a scalar physics formula: plain Python when called from Python (no compile wait), compiled
and inlined when called from a kernel. `kernel` marks a function of the simulation kernel, `phase` and `entry`
its loop.

The error model is numpy's: a division by zero gives inf or nan, as in the C twin, and is tested for
where it can happen. `fastmath` stays off: it gains nothing here and makes the last bits depend on the
compiler.
"""

from numba import njit
from numba.extending import register_jitable

formula = register_jitable(error_model="numpy")
# Kernels never allocate, so numba's reference counting of every array they are handed is left out: it would
# cost more than the work of a small unit. (`_nrt` is not in numba's documentation; tests hold the kernel to
# the same bytes as the interpreted code.)
kernel = njit(error_model="numpy", nogil=True, _nrt=False)
phase = njit(error_model="numpy", nogil=True, _nrt=False, inline="always")
"""A part of the kernel's loop, put in place: a whole plant is too many words to be passed on."""
entry = njit(error_model="numpy", nogil=True, _nrt=False, cache=True)
"""What Python calls: kept on disk."""
