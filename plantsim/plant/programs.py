"""Control programs at work: compile each, give it memory, and tie its inputs and outputs to tags."""

from __future__ import annotations

import difflib
import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from plantsim import records
from plantsim.errors import ProgramError
from plantsim.plant.assemble import Assembly
from plantsim.plant.model import Tag
from plantsim.plant.program_variables import PLAIN, homes, value_of
from plantsim.plant.tree import Tree
from plantsim.st import compile_program
from plantsim.units import QuantityError, unit_factor

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
        _check_variants(tags, name, c)
        if path is None:
            a.unsure.add(name)
            continue
        if path not in compiled:
            a.unsure.add(name)
            try:
                compiled[path] = compile_program(path.read_text(encoding="utf-8"), str(path.name))
            except (OSError, UnicodeDecodeError):
                c.finding("file", f"found '{c.file}', which cannot be read; allowed: a file of Structured Text, its "
                                  "path as seen from the plant file")  # fmt: skip
                continue
            except ProgramError as error:
                for finding in error.findings:
                    c.finding("file" if c.file is not None else "program", finding)
                continue
            a.unsure.discard(name)
            starts[path] = rows
            code.append(compiled[path].code)
            rows += len(compiled[path].code)
        program = compiled[path]
        _add_instance(a, tags, name, c, program, base, starts[path], written)
        instances[name] = Instance(name, program, base, starts[path])
        base += program.size
    a.parts.pool("control", base)
    a.programs = dict(instances)
    return instances, np.concatenate(code) if code else np.zeros((1, 4), np.int32)


def _file_of(c: Tree) -> Path | None:
    if (c.program is None) == (c.file is None):
        found = "neither 'program' nor 'file'" if c.program is None else "both 'program' and 'file'"
        c.finding("", f"found {found}; allowed: one of them, a shipped program by name or a file of your own")
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


def chosen(c: Tree) -> list[Tree]:
    """Blocks that connect and set a program: its own, and that of the program chosen, which comes first."""
    variant = c.variants.get(c.program) if c.program is not None else None
    return [c] if variant is None else [variant, c]


def connected(c: Tree) -> dict[str, str]:
    """Tags of a program's connected points, names in small letters."""
    return {point.casefold(): str(ref) for block in reversed(chosen(c)) for point, ref in block.connect.items()}


def _check_variants(tags: dict[str, Tag], name: str, c: Tree) -> None:
    """Findings on the variants that are not chosen: a slip there shall not wait until the day they are."""
    shipped = shipped_programs()
    for program, variant in c.variants.items():
        if program not in shipped:
            c.finding(f"variants.{program}", _unknown(program, list(shipped)))
        elif program != c.program:
            path = shipped[program]
            compiled = compile_program(path.read_text(encoding="utf-8"), path.name)
            points = {v.name.casefold(): v for v in (*compiled.inputs, *compiled.outputs)}
            _connections(tags, name, [variant], points, 0, {})
            _set_parameters([variant], compiled, points, compiled.memory())


def _add_instance(
    a: Assembly, tags: dict[str, Tag], name: str, c: Tree, program: Any, base: int, pc: int, written: dict[str, str]
) -> None:
    every, repeat = _task(c, a.tree.site.step)
    points = {v.name.casefold(): v for v in (*program.inputs, *program.outputs)}
    inputs, outputs = _connections(tags, name, chosen(c), points, base, written)
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
    _set_parameters(chosen(c), program, points, memory)
    a.first_fill.append(lambda arena: arena.control.__setitem__(slice(base, base + len(memory)), memory))


def _connections(
    tags: dict[str, Tag], name: str, blocks: list[Tree], points: dict[str, Any], base: int, written: dict[str, str]
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Copies from tags to a program's inputs, and from its outputs to tags; what does not fit is a finding.

    Where two blocks connect one point, the first counts.
    """
    inputs: list[dict[str, Any]] = []
    outputs: list[dict[str, Any]] = []
    done: set[str] = set()
    for c, point, ref in ((block, *pair) for block in blocks for pair in block.connect.items()):
        if point.casefold() in done:
            continue
        done.add(point.casefold())
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


def _set_parameters(blocks: list[Tree], program: Any, points: dict[str, Any], memory: np.ndarray) -> None:
    """Write the parameters of the configuration into a program's memory image, those of the first block last."""
    for c, parameter, text in ((block, *pair) for block in reversed(blocks) for pair in block["set"].items()):
        variable = points.get(parameter.casefold())
        if variable is None or variable.section != "input":
            c.finding(f"set.{parameter}", _unknown(parameter, [v.name for v in program.inputs]))
            continue
        try:
            variable.write(memory, value_of(variable, text))
        except QuantityError as error:
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
            _off_step(c, step, math.floor(ratio) * step, math.ceil(ratio) * step)
        return max(1, round(ratio)), 1
    if abs(1.0 / ratio - round(1.0 / ratio)) > 1e-6:
        _off_step(c, step, step / math.ceil(1.0 / ratio), step / math.floor(1.0 / ratio))
    return 1, max(1, round(1.0 / ratio))


def _off_step(c: Tree, step: float, shorter: float, longer: float) -> None:
    """Finding on a task interval that does not go with the plant step."""
    c.finding("every", f"found {c.every:g} s with a plant step of {step:g} s; allowed: a whole number of steps, or a "
                       f"step over a whole number, such as {shorter:.4g} s or {longer:.4g} s")  # fmt: skip


def _copy_kind(type_name: str) -> int:
    if type_name == "BOOL":
        return records.COPY_BOOL
    return records.COPY_REAL if type_name in ("REAL", "LREAL") else records.COPY_INT


def _tag_to_program(tag_unit: str, unit: str | None) -> tuple[float, float] | None:
    """Scale and offset from a tag's unit to a program variable's; None when they do not go together."""
    unit = unit or ""
    if unit in PLAIN or tag_unit in PLAIN or unit == tag_unit:
        return 1.0, 0.0
    for dimension in homes(unit):
        try:
            to, to_offset, _ = unit_factor(unit, dimension)
            of, of_offset, _ = unit_factor(tag_unit, dimension)
        except QuantityError:
            continue
        return of / to, (of_offset - to_offset) / to
    return None
