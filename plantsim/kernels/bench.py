"""The machine of control programs by itself: one scan called from Python, its machine code kept on disk."""

from __future__ import annotations

from plantsim.jit import entry
from plantsim.kernels.machine import scan


@entry
def scan_alone(code, mem, imem, cycle_ms, budget):
    """Scan a program that begins at the first row of its code and the first cell of its memory.

    Parameters
    ----------
    code : ndarray of int32, shape (n, 4)
        Instructions.
    mem, imem : ndarray
        Memory as float64 and as int64: two views of the same cells.
    cycle_ms : int
        Task interval it is told [ms].
    budget : int
        Most backward jumps [-].

    Returns
    -------
    int
        0, or the fault: kind + 256 * row.
    """
    return scan(code, mem, imem, 0, 0, cycle_ms, budget)
