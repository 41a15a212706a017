"""One flat memory for a whole plant, seen through typed arrays.

Every array of `records.KINDS` is a view of one byte buffer, so that a save point is one copy, two plants
are equal when their bytes are, and any quantity has an address: its cell in the buffer read as float64.
"""

from __future__ import annotations

import os
from collections import namedtuple
from collections.abc import Mapping
from typing import Any

import numpy as np

from plantsim import records

NAMES = tuple(name for name, _, _ in records.KINDS)
Plant: Any = namedtuple("Plant", (*NAMES, "mem", "imem", "code", "scratch"))  # type: ignore[misc]
Plant.__doc__ = """What the kernel is handed: every array of `records.KINDS`, the whole memory as float64 and
as int64, the instructions of all control programs (int32[n, 4]) and scratch numbers that are no state."""

_DTYPES = {name: dtype for name, _, dtype in records.KINDS}
_INTERPRETED = os.environ.get("NUMBA_DISABLE_JIT", "0") not in ("", "0")


class _Record(np.record):  # type: ignore[misc]
    """A record whose fields are attributes, as interpreted kernels need them.

    `np.record` puts the methods of arrays first, which hide fields of the same name (`base`, `repeat`).
    """

    def __getattribute__(self, name: str) -> Any:
        field = np.void.__getattribute__(self, "dtype").fields.get(name)
        if field is None:
            return super().__getattribute__(name)
        return np.void.__getattribute__(self, "getfield")(*field[:2])


class Arena:
    """The memory of one plant.

    Parameters
    ----------
    counts : mapping of str to int
        Records (or rows, or numbers) of each array; a name left out has none, `clock` and the like one.

    Raises
    ------
    KeyError
        If a count names no array of `records.KINDS`.
    """

    def __init__(self, counts: Mapping[str, int]) -> None:
        unknown = set(counts) - set(NAMES)
        if unknown:
            raise KeyError(f"no such array: {sorted(unknown)}")
        self.counts = {name: int(counts.get(name, 0)) for name in NAMES}
        for single in ("clock", "weather", "material"):
            self.counts[single] = 1
        self.counts["ledger"] = records.N_LEDGER
        self._offsets: dict[str, int] = {}
        size = 0
        for name in NAMES:
            self._offsets[name] = size
            size += self.counts[name] * _width(name)
        # allocated as float64 so that every view is aligned
        self.mem = np.zeros(size // 8, np.float64)
        self.buffer = self.mem.view(np.uint8)
        self.arrays = {name: self._view(name) for name in NAMES}

    def _view(self, name: str) -> np.ndarray:
        start, n = self._offsets[name], self.counts[name]
        raw = self.buffer[start : start + n * _width(name)]
        dtype = _DTYPES[name]
        if isinstance(dtype, np.dtype):
            return raw.view(np.dtype((_Record, dtype)) if _INTERPRETED else dtype)
        if dtype == -1:
            return raw.view(np.int64)
        return raw.view(np.float64).reshape(n, dtype) if dtype else raw.view(np.float64)

    def __getattr__(self, name: str) -> np.ndarray:
        try:
            return self.__dict__["arrays"][name]
        except KeyError:
            raise AttributeError(name) from None

    def cell(self, name: str, index: int, field: str | None = None, sub: int = 0) -> int:
        """Address of one quantity as a cell of the float64 memory.

        Parameters
        ----------
        name : str
            Array, as in `records.KINDS`.
        index : int
            Record, row or number in it.
        field : str, optional
            Field of the record; None for a pool of numbers.
        sub : int
            Place within a field or row that holds several numbers.

        Returns
        -------
        int
            Cell.
        """
        dtype = _DTYPES[name]
        if not 0 <= index < self.counts[name]:
            raise IndexError(f"{name}[{index}] of {self.counts[name]}")
        inside = 0
        if isinstance(dtype, np.dtype):
            if field is None or dtype.fields is None:
                raise KeyError(f"{name} needs a field")
            inside = dtype.fields[field][1]
        return (self._offsets[name] + index * _width(name) + inside) // 8 + sub

    def is_integer(self, name: str, field: str | None) -> bool:
        """Whether the cells of a field hold integers."""
        dtype = _DTYPES[name]
        if isinstance(dtype, np.dtype) and field is not None:
            return dtype[field].base.kind == "i"
        return dtype == -1

    def plant(self, code: np.ndarray | None = None) -> Any:
        """Views for the kernel.

        Parameters
        ----------
        code : ndarray of int32, shape (n, 4), optional
            Instructions of all control programs; a single idle row when left out.
        """
        if code is None:
            code = np.zeros((1, 4), np.int32)
        scratch = np.zeros(records.N_SCRATCH, np.float64)
        arrays = [self.arrays[name] for name in NAMES]
        arrays += [self.mem, self.mem.view(np.int64), np.ascontiguousarray(code, np.int32), scratch]
        return Plant._make(arrays)

    def save(self) -> bytes:
        """The whole memory as bytes: a complete save point."""
        return self.mem.tobytes()

    def restore(self, saved: bytes) -> None:
        """Put a save point back in place; every view stays valid.

        Raises
        ------
        ValueError
            If the bytes are of a plant of another shape.
        """
        if len(saved) != self.mem.nbytes:
            raise ValueError(f"a save point of {len(saved)} bytes does not fit a plant of {self.mem.nbytes}")
        self.mem[:] = np.frombuffer(saved, np.float64)


def _width(name: str) -> int:
    dtype = _DTYPES[name]
    if isinstance(dtype, np.dtype):
        return dtype.itemsize
    return 8 * max(1, dtype)
