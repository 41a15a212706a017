"""One scan of a control program: read the tag image, run the program, write the tag image.

The program sees only its own memory; every value crosses here, converted to the program's type and unit.
"""

from __future__ import annotations

import numpy as np

from plantsim.jit import kernel, shared
from plantsim.kernels.machine import scan
from plantsim.records import COPY_BOOL, COPY_REAL


@shared
def scan_program(p, s, copies, tags, code, mem, imem):
    """Scan a program once per task interval (or several times per step when it is faster).

    Returns the machine's status: 0, or the fault that stopped this program for good.
    """
    if s.status != 0:
        return s.status
    for _ in range(p.repeat):
        for i in range(p.copies_in, p.copies_in + p.n_in):
            value = tags[copies[i].tag] * copies[i].scale + copies[i].offset
            cell = copies[i].cell
            kind = copies[i].kind
            if kind == COPY_REAL:
                mem[cell] = np.float64(np.float32(value))
            elif kind == COPY_BOOL:
                imem[cell] = 1 if value > 0.5 else 0
            else:
                imem[cell] = np.int64(math_round(value))
        status = scan(code, mem, imem, p.pc, p.base, p.cycle_ms, p.budget)
        s.scans += 1
        if status != 0:
            s.status = status
            return status
        for i in range(p.copies_out, p.copies_out + p.n_out):
            cell = copies[i].cell
            value = mem[cell] if copies[i].kind == COPY_REAL else np.float64(imem[cell])
            tags[copies[i].tag] = (value - copies[i].offset) / copies[i].scale
    return 0


@kernel
def math_round(value):
    """Nearest integer as a float, halves away from zero."""
    return np.floor(value + 0.5) if value >= 0.0 else np.ceil(value - 0.5)
