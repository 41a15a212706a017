"""Plants to measure on: the gravel pit in the middle of a washing shift, and control programs of a known length."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from plantsim.errors import ConfigError
from plantsim.plant.build import load_model
from plantsim.sim.simulation import Simulation

SITE = Path(__file__).parents[2] / "configs" / "gravel-pit.yaml"
WASHING = 2 * 3600.0
"""Time [s] after the start (Monday 05:30) at which the plant has washed for an hour and a half."""
SEGMENT = 2 * 3600.0
"""Length [s] of the measured part of the shift: it ends before the meal break at 10:00."""


class Shift:
    """The gravel pit, washing, with its memory saved so that every measurement starts alike.

    Parameters
    ----------
    overrides : sequence of str
        `key=value` texts that replace values of the file.
    saved : ndarray, optional
        Memory of such a shift: it is put in place of a run up to it.
    """

    def __init__(self, overrides: Sequence[str] = (), saved: np.ndarray | None = None) -> None:
        self.sim = Simulation(load_model(SITE, overrides), seed=1)
        self.arena = self.sim.model.arena
        if saved is None:
            self.sim.run(WASHING)
        else:
            self.arena.mem[:] = saved
        self.step = self.sim.model.step
        self.plant: Any = self.arena.plant(self.sim.model.code)
        self.saved = self.arena.mem.copy()
        self.ticks = round(SEGMENT / self.step)
        self.sim.recorder.reserve(self.sim.tick + self.ticks)

    def restore(self) -> None:
        """Go back to the saved memory."""
        self.arena.mem[:] = self.saved

    def record(self) -> tuple[np.ndarray, np.ndarray, np.ndarray, int]:
        """What the kernel is handed to record."""
        return self.sim.recorder.target()


def with_layers(layers: int) -> Shift:
    """The gravel pit with a clarifier of so many layers, at the longest step of a few that this many allow."""
    for step in ("1 s", "0.5 s", "0.25 s", "0.1 s", "0.05 s"):
        try:
            return Shift([f"units.clarifier.layers={layers}", f"site.step={step}"])
        except ConfigError as error:
            refused = error
    raise refused


LOOP = """
e{n} := sp{n} - pv{n};
IF auto{n} AND NOT trip{n} THEN
    out{n} := LIMIT(0.0, k{n} * e{n} + sum{n}, 100.0);
    IF out{n} > 0.0 AND out{n} < 100.0 THEN sum{n} := sum{n} + e{n} * 0.01; END_IF;
ELSE
    out{n} := 0.0; sum{n} := 0.0;
END_IF;
late{n}(IN := pv{n} > high{n}, PT := T#5s);
trip{n} := (trip{n} OR late{n}.Q) AND NOT reset;
"""


def control_program(loops: int) -> str:
    """Structured Text with so many control loops, with limits and trips as a controls engineer writes them."""
    names = "e{n}, sp{n}, out{n}, k{n}, sum{n} : REAL := 1.5; pv{n} : REAL := {v}; high{n} : REAL := 4.0;"
    flags = " auto{n} : BOOL := TRUE; trip{n} : BOOL; late{n} : TON;\n"
    declared = "".join((names + flags).format(n=n, v=1.0 + n % 7) for n in range(loops))
    body = "".join(LOOP.format(n=n) for n in range(loops))
    return f"PROGRAM P VAR reset : BOOL; {declared} END_VAR\n{body}END_PROGRAM"


def rows_run(
    code: np.ndarray, memory: np.ndarray, pc: int = 0, base: int = 0, length: int | None = None, cycle_ms: int = 100
) -> int:
    """Instructions one scan runs through, counted by planting an unknown one in place of each in turn."""
    from plantsim.kernels.machine import scan

    count = 0
    for row in range(pc, len(code) if length is None else pc + length):
        planted, mem = code.copy(), memory.copy()
        planted[row, 0] = 9999
        count += scan(planted, mem, mem.view(np.int64), pc, base, cycle_ms, 10_000) != 0
    return count
