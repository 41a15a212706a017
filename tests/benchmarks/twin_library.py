"""Compile the C twin and call it on a plant's memory."""

from __future__ import annotations

import ctypes
import os
import shlex
import shutil
import subprocess
import tempfile
from pathlib import Path
from typing import Any

import numpy as np

from plantsim.arena import NAMES

from .layout import header

SOURCES = Path(__file__).parent / "twin"
FLAGS = ("-O3", "-march=native")
NO_COMPILER = "no C compiler found (looked at $CC, then for cc, gcc, clang): the twin is left out"


def compiler() -> list[str] | None:
    """Command of a C compiler: that of $CC, or the first found; None where there is none."""
    wanted = shlex.split(os.environ.get("CC", ""))
    if wanted:
        return wanted if shutil.which(wanted[0]) else None
    for name in ("cc", "gcc", "clang"):
        if shutil.which(name):
            return [name]
    return None


def version(command: list[str]) -> str:
    """First line of what a compiler says of itself."""
    said = subprocess.run([*command, "--version"], capture_output=True, text=True, check=True).stdout
    return said.splitlines()[0] if said else command[0]


class Twin:
    """The compiled twin.

    Parameters
    ----------
    command : list of str
        The C compiler.
    flags : sequence of str
        Its options.

    Raises
    ------
    subprocess.CalledProcessError
        If the twin does not compile; the compiler's words are in its `stderr`.
    """

    def __init__(self, command: list[str], flags: tuple[str, ...] = FLAGS) -> None:
        with tempfile.TemporaryDirectory(prefix="plantsim-twin-") as folder:  # once loaded, the file is not needed
            (Path(folder) / "plant_layout.h").write_text(header())
            library = Path(folder) / "twin.so"
            subprocess.run(
                [*command, *flags, "-Wall", "-shared", "-fPIC", f"-I{folder}", str(SOURCES / "twin.c"),
                 "-o", str(library), "-lm"],
                capture_output=True, text=True, check=True,
            )  # fmt: skip
            loaded = ctypes.CDLL(str(library))
        pointer, number = ctypes.c_void_p, ctypes.c_int64
        self._advance, self._units, self._scan = loaded.advance, loaded.repeat_units, loaded.repeat_scan
        self._advance.argtypes = [pointer, number, pointer, number, pointer, pointer, number, number]
        self._units.argtypes = [pointer, pointer, number, number, number, number]
        self._scan.argtypes = [pointer, pointer, pointer, number]
        for function in (self._advance, self._units, self._scan):
            function.restype = number

    def advance(
        self, plant: Any, ticks: int, rows: np.ndarray, cells: np.ndarray, integer: np.ndarray, every: int
    ) -> int:
        """Run a plant for some ticks, as `plantsim.kernels.loop.advance` does.

        Parameters
        ----------
        plant : Plant
            All arrays of the plant.
        ticks : int
            Ticks to run.
        rows, cells, integer, every
            What is recorded, and how often.

        Returns
        -------
        int
            0, or the fault that stopped the run.
        """
        block = _pointers(plant)
        return int(
            self._advance(
                block.ctypes.data, ticks, rows.ctypes.data, len(rows), cells.ctypes.data, integer.ctypes.data,
                len(cells), every,
            )
        )  # fmt: skip

    def repeat_units(self, plant: Any, saved: np.ndarray, which: int, repeats: int, steps: int) -> int:
        """Step all units of a kind from a saved memory, as `drivers.repeat_units` does."""
        block = _pointers(plant)
        return int(self._units(block.ctypes.data, saved.ctypes.data, len(saved), which, repeats, steps))

    def repeat_scan(self, code: np.ndarray, mem: np.ndarray, imem: np.ndarray, repeats: int) -> int:
        """Scan one control program again and again, as `drivers.repeat_scan` does."""
        return int(self._scan(code.ctypes.data, mem.ctypes.data, imem.ctypes.data, repeats))


def _pointers(plant: Any) -> np.ndarray:
    """The `struct plant` of the twin: addresses and counts, all eight bytes wide."""
    words: list[int] = []
    for name in NAMES:
        array = getattr(plant, name)
        words += [array.ctypes.data, len(array)]
    words += [a.ctypes.data for a in (plant.mem, plant.imem, plant.code, plant.scratch)]
    return np.array(words, np.int64)
