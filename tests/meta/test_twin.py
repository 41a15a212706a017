"""The C twin that the benchmark measures against works the same equations: it leaves the same memory behind."""

from __future__ import annotations

import functools
import re
import sys
from pathlib import Path

import numpy as np
import pytest

from plantsim import records
from plantsim.kernels.loop import advance
from plantsim.sim.simulation import Simulation

sys.path.insert(0, str(Path(__file__).parents[2]))  # the benchmarks are a package of the checkout, not installed
sys.path.insert(0, str(Path(__file__).parents[1] / "sim"))  # plants for tests of whole plants
from alarm_bench import busy_model

from tests.benchmarks import __main__ as benchmark
from tests.benchmarks import layout, measure, twin_library
from tests.benchmarks.plants import Shift
from tests.benchmarks.table import table

STEPS = 2000


@functools.cache
def exact_twin(*command: str) -> twin_library.Twin:
    """The twin without fused multiply-adds: it rounds as the kernel does, so what is left is equations."""
    return twin_library.Twin(list(command), (*twin_library.FLAGS, "-ffp-contract=off"))


def test_same_memory_after_two_thousand_steps_or_the_benchmark_says_why_not() -> None:
    command = twin_library.compiler()
    if command is None:
        assert benchmark.measure(repeats=1, brief=True, cold=False)["no_twin"] == twin_library.NO_COMPILER
        return
    twin = exact_twin(*command)
    shift = Shift()
    assert shift.arena.line_s["flow"][0] > 0.05  # the plant is washing, not asleep
    assert advance(shift.plant, STEPS, *shift.record()) == 0
    kernel = shift.arena.mem.copy()
    shift.restore()
    assert twin.advance(shift.plant, STEPS, *shift.record()) == 0
    moved = 0
    for name, dtype in records.DTYPES.items():
        cells = _cells(shift, name)
        here, there, before = kernel[cells], shift.arena.mem[cells], shift.saved[cells]
        same = here.view(np.int64) == there.view(np.int64)
        number = ~_integers(dtype, len(here))
        close = np.abs(here - there) <= 1e-9 * np.abs(here)
        assert np.all(same | (number & close)), (name, np.nonzero(~(same | (number & close)))[0])
        moved += int(np.sum(here.view(np.int64) != before.view(np.int64)))
    assert moved > 500  # the comparison is of a plant at work


def test_twin_walks_alarms_as_the_kernel_does() -> None:
    """Every kind of delay, group, latch and suppression, each tick; both stop before the ring runs over."""
    command = twin_library.compiler()
    if command is None:
        return  # the test above tells what the benchmark says then
    found = []
    for run in (advance, exact_twin(*command).advance):
        sim = Simulation(busy_model())
        sim.recorder.reserve(1000)
        assert run(sim.model.arena.plant(sim.model.code), 1000, *sim.recorder.target()) == 0
        found.append(sim.model.arena)
    kernel, twin = found
    assert int(kernel.clock["notes"][0]) > len(kernel.alarm_log) - len(kernel.alarm_p)
    assert 0 < int(kernel.clock["tick"][0]) < 1000
    for name in ("clock", "alarm_p", "alarm_s", "alarm_log", "tags"):
        assert kernel.arrays[name].tobytes() == twin.arrays[name].tobytes(), name


def _cells(shift: Shift, name: str) -> slice:
    """Where an array stands in the memory."""
    array = shift.arena.arrays[name]
    start = (array.ctypes.data - shift.arena.mem.ctypes.data) // 8
    return slice(start, start + array.nbytes // 8)


def _integers(dtype: np.dtype | int, cells: int) -> np.ndarray:
    """Which cells of an array hold integers for certain."""
    if not isinstance(dtype, np.dtype):
        return np.full(cells, dtype == -1)
    one = np.zeros(dtype.itemsize // 8, bool)
    assert dtype.fields is not None
    for kind, offset, *_ in dtype.fields.values():
        one[offset // 8 : (offset + kind.itemsize) // 8] = kind.base.kind == "i"
    return np.tile(one, cells // len(one))


def test_header_names_every_field_of_every_record() -> None:
    text = layout.header()
    for name, dtype in records.DTYPES.items():
        assert re.search(rf"\b{name}\)?(\[\d+\])?;", text), name
        if isinstance(dtype, np.dtype):
            assert dtype.fields is not None
            assert f"sizeof(struct {name}) == {dtype.itemsize}" in text
            for field, (_, offset, *_) in dtype.fields.items():
                assert re.search(rf"offsetof\(struct {name}, {field}_?\) == {offset},", text), (name, field)


def test_benchmark_says_a_word_where_no_compiler_is(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", "")
    monkeypatch.delenv("CC", raising=False)
    assert twin_library.compiler() is None
    monkeypatch.setattr(measure, "step_cost", lambda *_: {"kernel": {"median": 1.0, "best": 1.0}})
    monkeypatch.setattr(measure, "day_cost", lambda *_: {"kernel": 1.0})
    monkeypatch.setattr(measure, "whole_run", lambda: {"seconds": 1.0, "peak_mb": 1.0})
    found = benchmark.measure(repeats=1, brief=True, cold=False)
    assert found["twin_ns_per_step"] is None
    assert found["ratio_to_c"] is None
    assert "no C compiler found" in found["no_twin"]
    assert "no C compiler found" in table(found)
