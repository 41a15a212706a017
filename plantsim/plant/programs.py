"""Control programs at work: compile each, give it memory, and tie its inputs and outputs to tags."""

from __future__ import annotations

import difflib
import struct
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from plantsim import records
from plantsim.errors import ProgramError
from plantsim.plant.assemble import Assembly
from plantsim.plant.model import Tag
from plantsim.plant.tree import Tree
from plantsim.st import compile_program
from plantsim.units import QuantityError, to_si, unit_factor

STRATEGIES = Path(__file__).resolve().parent.parent / "strategies"
BUDGET = 200_000
"""Most instructions in one scan; beyond it the scan is stopped as endless."""


@dataclass
class Instance:
    """One program at work: the compiled program and where its memory begins."""

    name: str
    program: Any
    base: int
    pc: int

    def explain(self, fault: int) -> str:
        """Words for a fault of the machine."""
        return self.program.fault_text(fault)


def shipped_programs() -> dict[str, Path]:
    """Name to file of every shipped program."""
    return {p.stem.replace("_", "-"): p for p in sorted(STRATEGIES.glob("*.st"))}


def add_programs(a: Assembly, tags: dict[str, Tag]) -> tuple[dict[str, Instance], np.ndarray]:
    """Compile and connect every program of the configuration.

    Returns
    -------
    instances : dict
        By name, in the order of the configuration, which is the order of the scans.
    code : ndarray of int32, shape (n, 4)
        All instructions.
    """
    instances: dict[str, Instance] = {}
    code: list[np.ndarray] = []
    compiled: dict[Path, Any] = {}
    starts: dict[Path, int] = {}
    base = rows = 0
    written: dict[str, str] = {}
    for name, c in a.tree.control.items():
        path = _file_of(c)
        if path is None:
            continue
        if path not in compiled:
            try:
                compiled[path] = compile_program(path.read_text(encoding="utf-8"), str(path.name))
            except (OSError, UnicodeDecodeError):
                c.finding("file", f"found '{path}', which cannot be read; allowed: a file of Structured Text")
                continue
            except ProgramError as error:
                for finding in error.findings:
                    c.finding("file" if c.file is not None else "program", finding)
                continue
            starts[path] = rows
            code.append(compiled[path].code)
            rows += len(compiled[path].code)
        program = compiled[path]
        _add_instance(a, tags, name, c, program, base, starts[path], written)
        instances[name] = Instance(name, program, base, starts[path])
        base += program.size
    a.parts.pool("control", base)
    return instances, np.concatenate(code) if code else np.zeros((1, 4), np.int32)


def _file_of(c: Tree) -> Path | None:
    if (c.program is None) == (c.file is None):
        c.finding("", "found both or neither of 'program' and 'file'; allowed: exactly one of them")
        return None
    if c.file is not None:
        base = c.source.parent if c.source else Path.cwd()
        return base / c.file
    shipped = shipped_programs()
    if c.program not in shipped:
        near = difflib.get_close_matches(c.program, shipped, 1, 0.5)
        c.finding("program", f"found '{c.program}'; allowed: {', '.join(shipped)}"
                             + (f" (did you mean '{near[0]}'?)" if near else ""))  # fmt: skip
        return None
    return shipped[c.program]


def _add_instance(
    a: Assembly, tags: dict[str, Tag], name: str, c: Tree, program: Any, base: int, pc: int, written: dict[str, str]
) -> None:
    every, repeat = _task(c, a.tree.site.step)
    points = {v.name.casefold(): v for v in (*program.inputs, *program.outputs)}
    inputs, outputs = _connections(tags, name, c, points, base, written)
    first_in = len(a.parts.records["copy_p"])
    for record in inputs:
        a.parts.add("copy_p", **record)
    first_out = len(a.parts.records["copy_p"])
    for record in outputs:
        a.parts.add("copy_p", **record)
    number = a.parts.add(
        "program_p", pc=pc, base=_control_cell(base), every=every, repeat=repeat,
        cycle_ms=max(1, round(c.every * 1000.0)), copies_in=first_in, n_in=len(inputs),
        copies_out=first_out, n_out=len(outputs), budget=BUDGET,
    )  # fmt: skip
    a.units[name] = ("program", number)
    memory = np.array(program.initial, float)
    _set_parameters(c, program, points, memory)
    a.first_fill.append(lambda arena: arena.control.__setitem__(slice(base, base + len(memory)), memory))


def _connections(
    tags: dict[str, Tag], name: str, c: Tree, points: dict[str, Any], base: int, written: dict[str, str]
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Copies from tags to a program's inputs, and from its outputs to tags; what does not fit is a finding."""
    inputs: list[dict[str, Any]] = []
    outputs: list[dict[str, Any]] = []
    for point, ref in c.connect.items():
        variable = points.get(point.casefold())
        if variable is None:
            c.finding(f"connect.{point}", _unknown(point, [v.name for v in points.values()]))
            continue
        tag = tags[str(ref)]
        output = variable.section == "output"
        if output and tag.role in ("instrument", "switch"):
            c.finding(f"connect.{point}", f"found '{tag.name}', which an instrument writes; allowed: a tag of an "
                                          "actuator, a drive or a flag")  # fmt: skip
        if output and tag.name in written:
            c.finding(f"connect.{point}", f"found '{tag.name}', which program {written[tag.name]} writes too; "
                                          "allowed: one writer for each tag")  # fmt: skip
        if output:
            written[tag.name] = name
        scale = _tag_to_program(tag.unit, variable.unit)
        if scale is None:
            c.finding(f"connect.{point}", f"found '{tag.name}' in {tag.unit}, but {point} is in {variable.unit}; "
                                          "allowed: a tag in a unit of the same dimension")  # fmt: skip
            continue
        (outputs if output else inputs).append(
            dict(tag=tag.index, kind=_copy_kind(variable.type), scale=scale[0], offset=scale[1],
                 cell=_control_cell(base + variable.cell))
        )  # fmt: skip
    return inputs, outputs


def _set_parameters(c: Tree, program: Any, points: dict[str, Any], memory: np.ndarray) -> None:
    """Write the parameters of the configuration into a program's memory image."""
    for parameter, text in c.set.items():
        variable = points.get(parameter.casefold())
        if variable is None or variable.section != "input":
            c.finding(f"set.{parameter}", _unknown(parameter, [v.name for v in program.inputs]))
            continue
        try:
            _put(memory, variable, text)
        except (QuantityError, ValueError) as error:
            c.finding(f"set.{parameter}", str(error))


def _unknown(word: str, known: list[str]) -> str:
    """Sentence for a name a program does not have."""
    near = difflib.get_close_matches(word, known, 1, 0.5)
    return f"found '{word}'; allowed: {', '.join(known)}" + (f" (did you mean '{near[0]}'?)" if near else "")


def _control_cell(number: int) -> Any:
    return lambda arena: arena.cell("control", number)


def _task(c: Tree, step: float) -> tuple[int, int]:
    """Ticks between scans, and scans per tick when the task is faster than the step."""
    ratio = c.every / step
    if ratio >= 1.0 - 1e-9:
        if abs(ratio - round(ratio)) > 1e-6:
            c.finding("every", f"found {c.every:g} s, which is no multiple of the plant step of {step:g} s; allowed: "
                               f"{step:g} s times a whole number, or a whole part of it")  # fmt: skip
        return max(1, round(ratio)), 1
    if abs(1.0 / ratio - round(1.0 / ratio)) > 1e-6:
        c.finding("every", f"found {c.every:g} s, which is no whole part of the plant step of {step:g} s; allowed: "
                           f"{step:g} s over a whole number, or a multiple of it")  # fmt: skip
    return 1, max(1, round(1.0 / ratio))


def _copy_kind(type_name: str) -> int:
    if type_name == "BOOL":
        return records.COPY_BOOL
    return records.COPY_REAL if type_name in ("REAL", "LREAL") else records.COPY_INT


_PLAIN = ("", "1", "-")


def _tag_to_program(tag_unit: str, unit: str | None) -> tuple[float, float] | None:
    """Scale and offset from a tag's unit to a program variable's; None when they do not go together."""
    unit = unit or ""
    if unit in _PLAIN or tag_unit in _PLAIN or unit == tag_unit:
        return 1.0, 0.0
    for dimension in _homes(unit):
        try:
            to, to_offset, _ = unit_factor(unit, dimension)
            of, of_offset, _ = unit_factor(tag_unit, dimension)
        except QuantityError:
            continue
        return of / to, (of_offset - to_offset) / to
    return None


def _homes(unit: str) -> list[str]:
    """Dimensions a unit belongs to, the likeliest first."""
    from plantsim.units import DIMENSIONS

    homes = []
    for name in DIMENSIONS:
        try:
            unit_factor(unit, name)
            homes.append(name)
        except QuantityError:
            continue
    return homes


def _put(memory: np.ndarray, variable: Any, text: str) -> None:
    """Write a parameter given as text, with its unit, into a memory image."""
    if variable.type == "BOOL":
        words = {"yes": 1, "true": 1, "on": 1, "no": 0, "false": 0, "off": 0}
        if text.strip().casefold() not in words:
            raise ValueError(f"found '{text}'; allowed: yes, no")
        memory.view(np.int64)[variable.cell] = words[text.strip().casefold()]
        return
    if variable.type == "TIME":
        memory.view(np.int64)[variable.cell] = round(to_si(text, "time") * 1000.0)
        return
    unit = variable.unit or ""
    if unit in _PLAIN:
        try:
            value = float(text)
        except ValueError:
            raise ValueError(f"found '{text}'; allowed: a number without unit") from None
    else:
        value = _quantity(text, unit)
    if variable.type == "REAL":
        memory[variable.cell] = struct.unpack("f", struct.pack("f", value))[0]
    elif variable.type == "LREAL":
        memory[variable.cell] = value
    else:
        memory.view(np.int64)[variable.cell] = round(value)


def _quantity(text: str, unit: str) -> float:
    """A quantity text in a program's unit."""
    homes = _homes(unit)
    if not homes:
        raise ValueError(f"the program's unit '{unit}' is unknown; allowed: a unit of the trade in its pragma")
    first: QuantityError | None = None
    for dimension in homes:
        try:
            si = to_si(text, dimension)
        except QuantityError as error:
            first = first or error
            continue
        scale, offset, _ = unit_factor(unit, dimension)
        value = (si - offset) / scale
        return float(f"{value:.15g}")
    assert first is not None
    raise first


