"""How numeric code is compiled: two decorators, one place for the compiler's options.

`formula` marks a scalar physics formula: plain Python when called from Python (no compile wait), compiled
and inlined when called from a kernel. `kernel` marks a function of the simulation kernel.

The error model is numpy's: a division by zero gives inf or nan, as in the C twin, and is tested for
where it can happen. `fastmath` stays off: it gains nothing here and makes the last bits depend on the
compiler.
"""

from numba import njit
from numba.extending import register_jitable

formula = register_jitable(error_model="numpy")
kernel = njit(error_model="numpy", nogil=True)
