"""A bench for control programs: inputs by name, scans by time, outputs by name; run by the plain interpreter."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import plantsim
from plantsim.st import Program, compile_program
from plantsim.st.reference import Reference

FOLDER = Path(plantsim.__file__).parent / "strategies"
NAMES = sorted(path.stem for path in FOLDER.glob("*.st"))


class Bench:
    """One program at work.

    Parameters
    ----------
    what : str
        Name of a shipped program, or program text.
    cycle : float
        Time between scans [s].
    """

    def __init__(self, what: str, cycle: float = 1.0, **values: float) -> None:
        text = (FOLDER / f"{what}.st").read_text(encoding="utf-8") if what in NAMES else what
        self.program: Program = compile_program(text, f"{what}.st" if what in NAMES else "<text>")
        self.memory = self.program.memory()
        self.reference = Reference(self.program)
        self.cycle = round(cycle * 1000)
        self.time = 0.0
        self.set(**values)

    def __getitem__(self, name: str) -> float:
        return self.program.variable(name).read(self.memory)

    def set(self, **values: float) -> Bench:
        """Write variables by name; times in ms."""
        for name, value in values.items():
            self.program.variable(name).write(self.memory, value)
        return self

    def scan(self, **values: float) -> Bench:
        """Run one scan after writing the values."""
        self.set(**values)
        assert self.reference.scan(self.memory, 0, self.cycle) == 0, self.reference.fault_line
        self.time += self.cycle / 1000.0
        return self

    def run(self, seconds: float, each: Callable[[Bench], None] | None = None, **values: float) -> Bench:
        """Scan for a time; `each` is called before every scan to play the plant."""
        self.set(**values)
        for _ in range(round(seconds * 1000 / self.cycle)):
            if each is not None:
                each(self)
            self.scan()
        return self

    def until(self, test: Callable[[Bench], bool], limit: float, each: Callable[[Bench], None] | None = None) -> float:
        """Scan until a test holds; return the time it took [s]."""
        start = self.time
        while not test(self):
            assert self.time - start < limit, f"not within {limit} s"
            if each is not None:
                each(self)
            self.scan()
        return self.time - start
