"""One scan of a control program, line by line: the plant is run up to it, the plain interpreter does it on a copy."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from plantsim import records
from plantsim.errors import ConfigError, RunFault
from plantsim.plant.model import Model, Tag
from plantsim.plant.program_variables import nearest, shown
from plantsim.sim.simulation import Simulation
from plantsim.sim.tracer import TraceLine, Tracer
from plantsim.st import Variable
from plantsim.units import sentence


@dataclass(frozen=True)
class Point:
    """One input or output of a traced scan, values in words."""

    name: str
    value: str
    before: str
    meaning: str
    tag: str = ""
    tag_value: str = ""


@dataclass
class ScanTrace:
    """One traced scan.

    Parameters
    ----------
    program, filename : str
        Name of the program in the plant, and the file of its text.
    tick : int
        Tick at which it was done.
    seconds : float
        Time of the scan since the start [s].
    scan : int
        Its number, counted from 1.
    every : float
        Task interval [s].
    lines : list of TraceLine
        Lines executed, in their order.
    left_out : int
        Lines executed after those kept.
    inputs, outputs : list of Point
        What went in, parameters included, and what came out.
    fault : str
        What stopped the scan; empty when nothing did.
    differing : list of str
        Variables in which the compiled machine's scan differs: none, unless compiler or interpreter is wrong.
    memory : ndarray
        Memory of the program after the scan.
    """

    program: str
    filename: str
    tick: int
    seconds: float
    scan: int
    every: float
    lines: list[TraceLine]
    left_out: int
    inputs: list[Point]
    outputs: list[Point]
    fault: str
    differing: list[str]
    memory: np.ndarray = field(repr=False)


def program_named(model: Model, name: str | None) -> str:
    """Name of a program of the plant; the first when left out.

    Raises
    ------
    ConfigError
        If there is none of this name, or none at all.
    """
    if not model.programs:
        raise ConfigError(f"{model.source_file}: found no control program; allowed: a plant with one under 'control'")
    if name is None:
        return next(iter(model.programs))
    if name not in model.programs:
        hint = nearest(name, model.programs)
        raise ConfigError("--program: " + sentence(f"'{name}'", ", ".join(model.programs), hint))
    return name


def trace_at(sim: Simulation, at: float, name: str | None = None, inside: bool = False) -> ScanTrace:
    """Run a plant to the first scan of a program at or after a time, and trace that scan.

    The plant is left as it was before the scan, and can go on from there.

    Parameters
    ----------
    sim : Simulation
        The plant in time, not past that scan.
    at : float
        Time since the start [s].
    name : str, optional
        The program; the first of the plant when left out.
    inside : bool
        Show the lines of functions and function blocks too.

    Returns
    -------
    ScanTrace

    Raises
    ------
    RunFault
        If the run cannot go on to that time.
    """
    model = sim.model
    name = program_named(model, name)
    number = model.units[name][1]
    p = model.arena.program_p[number]
    every = int(p["every"])
    tick = -(-math.ceil(at / model.step - 1e-9) // every) * every
    if sim.tick > tick:
        raise ValueError(f"the plant is at tick {sim.tick} already, past the scan at tick {tick}")
    sim.run(tick * model.step)
    before = sim.save()
    scans = int(model.arena.program_s["scans"][number])
    _stop_before(sim, number, tick)
    base = int(p["base"])
    tags = model.arena.tags.copy()
    memory = model.arena.mem[base : base + model.programs[name].program.size].copy()
    sim.restore(before)
    return _trace(model, name, number, tick, scans, memory, tags, inside)


def _stop_before(sim: Simulation, number: int, tick: int) -> None:
    """Bring the plant to where a program's scan begins: events, instruments and the programs before it are done.

    A program that has stopped ends the tick at its turn: that makes a breakpoint of the kernel's own order.
    """
    from plantsim.kernels.loop import FAULT_PROGRAM

    arena = sim.model.arena
    arena.program_s["status"][number] = 1
    try:
        sim.run((tick + 1) * sim.model.step)
    except RunFault:
        if int(arena.clock["status"][0]) != FAULT_PROGRAM + 256 * number:
            raise


def _copies(model: Model, first: str, count: str, number: int) -> Iterator[Any]:
    p = model.arena.program_p[number]
    for i in range(int(p[first]), int(p[first]) + int(p[count])):
        yield model.arena.copy_p[i]


def _trace(
    model: Model, name: str, number: int, tick: int, scans: int, memory: np.ndarray, tags: np.ndarray, inside: bool
) -> ScanTrace:
    program = model.programs[name].program
    p = model.arena.program_p[number]
    base = int(p["base"])
    by_index = {tag.index: tag for tag in model.tags.values()}
    tied: dict[int, tuple[Tag, Any]] = {}
    for copy in _copies(model, "copies_in", "n_in", number):
        cell = int(copy["cell"]) - base
        tied[cell] = (by_index[int(copy["tag"])], copy)
        _take(memory, cell, copy, tags)
    for copy in _copies(model, "copies_out", "n_out", number):
        tied[int(copy["cell"]) - base] = (by_index[int(copy["tag"])], copy)
    start, machine = memory.copy(), memory.copy()
    cycle, budget = int(p["cycle_ms"]), int(p["budget"])
    tracer = Tracer(program, inside)
    kind = tracer.scan(memory, 0, cycle, budget)
    status = _machine(program, machine, cycle, budget)
    fault = program.fault_text(status) if status else ("the interpreter alone was stopped" if kind else "")

    def point(variable: Variable) -> Point:
        tag, copy = tied.get(variable.cell, (None, None))
        value = variable.read(memory)
        words = ""
        if tag is not None and copy is not None:
            unit = "" if tag.unit in ("1", "-", "") else f" {tag.unit}"
            number = float(tags[tag.index]) if variable.section == "input" else _given(copy, float(value))
            words = f"{number:.7g}{unit}"
        return Point(variable.name, shown(variable, value), shown(variable, variable.read(start)), variable.comment,
                     tag.name if tag is not None else "", words)  # fmt: skip

    return ScanTrace(
        program=name, filename=program.filename, tick=tick, seconds=tick * model.step, scan=scans + 1,
        every=cycle / 1000.0, lines=tracer.lines, left_out=tracer.left_out,
        inputs=[point(v) for v in program.inputs if not v.constant], outputs=[point(v) for v in program.outputs],
        fault=fault, differing=differences(program, memory, machine), memory=memory,
    )  # fmt: skip


def _take(memory: np.ndarray, cell: int, copy: Any, tags: np.ndarray) -> None:
    """Copy one tag into a program's memory, as the kernel does before a scan."""
    value = tags[int(copy["tag"])] * copy["scale"] + copy["offset"]
    kind = int(copy["kind"])
    if kind == records.COPY_REAL:
        memory[cell] = np.float64(np.float32(value))
    elif kind == records.COPY_BOOL:
        memory.view(np.int64)[cell] = int(value > 0.5)
    else:
        memory.view(np.int64)[cell] = math.floor(value + 0.5) if value >= 0.0 else math.ceil(value - 0.5)


def _given(copy: Any, value: float) -> float:
    """A program's value as the kernel writes it to the tag after a scan."""
    return (value - float(copy["offset"])) / float(copy["scale"])


def _machine(program: Any, memory: np.ndarray, cycle: int, budget: int) -> int:
    """The same scan by the compiled machine."""
    from plantsim.kernels.bench import scan_alone

    return int(scan_alone(program.code, memory, memory.view(np.int64), cycle, budget))


def differences(program: Any, one: np.ndarray, other: np.ndarray) -> list[str]:
    """Variables, or cells where they have no name, in which two memories of a program differ in any bit.

    Scratch cells have no meaning between scans and do not count; neither does which not-a-number it is.
    """
    same = one.view(np.int64) == other.view(np.int64)
    same |= np.isnan(one) & np.isnan(other)
    same[program.scratch] = True
    if same.all():
        return []
    names = {variable.cell: name for name, variable in program.variables.items()}
    return [names.get(int(cell), f"cell {cell}") for cell in np.nonzero(~same)[0]]
