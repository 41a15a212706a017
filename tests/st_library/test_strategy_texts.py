"""Every shipped program: no warning, every variable with unit and words, a note, and short scans."""

from __future__ import annotations

import re

import numpy as np
import pytest
from strategy_rig import FOLDER, NAMES, Bench

from plantsim.kernels.machine import scan
from plantsim.plant.program_variables import homes, value_of
from plantsim.plant.programs import shipped_programs
from plantsim.st.disassembler import verify

# most instructions in one scan, with some room: a price list, so that a change that costs time is seen
MOST = {
    "cell_changeover": 125, "clean_water": 75, "coagulant_dose": 175, "interlocks": 90, "polymer_batch": 25,
    "polymer_dose": 105, "press_cycle": 30, "rake_lift": 35, "series_pair": 130, "sump_averaging": 260,
    "sump_on_off": 130, "underflow_density": 75, "underflow_level": 130, "underflow_mass": 135, "underflow_torque": 200,
}  # fmt: skip


class Counted:
    """Rows of a program that count how many were fetched."""

    def __init__(self, code: np.ndarray) -> None:
        self.rows = code.reshape(-1)
        self.size = code.size
        self.count = 0

    def reshape(self, size: int) -> Counted:
        """As an array has it."""
        assert size == self.size
        return self

    def __getitem__(self, cell: int) -> np.int32:
        self.count += int(cell) % 4 == 0
        return self.rows[int(cell)]


def instructions(bench: Bench, scans: int = 5) -> int:
    """Instructions of the longest of a few scans, counted by running the machine's text as plain Python."""
    most = 0
    for _ in range(scans):
        rows = Counted(bench.program.code)
        with np.errstate(all="ignore"):
            status = scan.py_func(rows, bench.memory, bench.memory.view(np.int64), 0, 0, bench.cycle, 100_000)
        assert status == 0
        most = max(most, rows.count)
    return most


BUSY = {
    "coagulant_dose": {"flow": 350.0, "turbidity": 90.0, "line_volume": 0.1, "smith": 1, "feedforward": 1},
    "polymer_dose": {"flow": 350.0, "trim_turbidity": 1, "turbidity": 90.0, "settle_time": 0},
    "sump_averaging": {"level": 2.6, "pumps": 3, "flow_min": 200.0, "debounce": 0, "running_1": 1, "running_2": 1},
    "sump_on_off": {"level": 2.6, "debounce": 0, "running_1": 1},
    "series_pair": {"level": 2.0, "debounce": 0, "running_1": 1},
    "clean_water": {"level": 1.7, "modulate": 1},
    "cell_changeover": {"cells": 6, "level_1": 2.0},
    "underflow_density": {"density": 1400.0, "bed_level": 1.5, "min_closed": 0},
    "underflow_level": {"density": 1400.0, "bed_level": 1.9},
    "underflow_mass": {"density": 1400.0, "bed_mass": 18.0},
    "underflow_torque": {"density": 1400.0, "bed_level": 1.5, "torque": 20.0},
}


def test_price_list_names_every_program() -> None:
    assert set(NAMES) == set(MOST)


@pytest.mark.parametrize("name", NAMES)
def test_program_is_clean_and_short(name: str) -> None:
    bench = Bench(name, **BUSY.get(name, {}))
    assert bench.program.warnings == [] and verify(bench.program) == []
    assert bench.program.name == name
    assert instructions(bench) <= MOST[name]


@pytest.mark.parametrize("name", NAMES)
def test_every_variable_says_its_unit_and_meaning(name: str) -> None:
    program = Bench(name).program
    for variable in (*program.inputs, *program.outputs):
        assert variable.comment, variable.name
        assert variable.unit is not None, variable.name
        if variable.type == "REAL" and variable.unit != "1":
            assert homes(variable.unit), f"{variable.name} in {variable.unit}"
        if variable.type == "BOOL":
            assert variable.unit == "1"
        if variable.type == "TIME":
            assert variable.unit == "s"


@pytest.mark.parametrize("name", NAMES)
def test_every_program_has_a_note_that_names_its_parameters(name: str) -> None:
    note = (FOLDER / f"{name}.md").read_text(encoding="utf-8")
    assert note.startswith("# ") and 150 < len(note.split()) < 700
    program = Bench(name).program
    known = {v.name for v in program.variables.values()}
    quoted = set(re.findall(r"`([a-z][a-z_0-9]*)`", note))
    assert quoted and quoted <= known | {"interlocks"} | {n for n in NAMES}, quoted - known


@pytest.mark.parametrize("name", NAMES)
def test_every_input_can_be_set_by_a_text_with_its_unit(name: str) -> None:
    bench = Bench(name)
    for variable in bench.program.inputs:
        if variable.type == "BOOL":
            text, wanted = ("no", 0) if variable.initial else ("yes", 1)
        elif variable.type == "TIME":
            text, wanted = "90 min", 5_400_000
        elif variable.unit == "1":
            text, wanted = "2", 2
        else:
            text, wanted = f"12.5 {variable.unit}", 12.5
        variable.write(bench.memory, value_of(variable, text))
        assert variable.read(bench.memory) == wanted, variable.name


def test_programs_are_shipped_under_their_names() -> None:
    assert set(shipped_programs()) == {name.replace("_", "-") for name in NAMES}


def test_machine_and_interpreter_agree_on_every_program() -> None:
    rng = np.random.default_rng(3)
    for name in NAMES:
        bench = Bench(name, **BUSY.get(name, {}))
        memory = bench.memory.copy()
        inputs = [v for v in bench.program.inputs if v.type in ("REAL", "BOOL")]
        keep = np.setdiff1d(np.arange(len(memory)), bench.program.scratch)
        for k in range(120):
            if k % 4 == 0:
                v = inputs[rng.integers(0, min(8, len(inputs)))]
                value = float(rng.uniform(0.0, 4.0)) if v.type == "REAL" else int(rng.integers(0, 2))
                v.write(memory, value)
                v.write(bench.memory, value)
            bench.scan()
            assert scan(bench.program.code, memory, memory.view(np.int64), 0, 0, bench.cycle, 100_000) == 0
            assert (memory.view(np.int64)[keep] == bench.memory.view(np.int64)[keep]).all(), (name, k)
