"""The shape of a plant in memory: every field eight bytes, with a unit and a meaning, read by something."""

from __future__ import annotations

import ast
from pathlib import Path

import numpy as np
import pytest

from plantsim import records
from plantsim.arena import Arena

ROOT = Path(__file__).resolve().parents[2]
RECORDS = {name: dtype for name, dtype in records.DTYPES.items() if isinstance(dtype, np.dtype)}
UNITS = {
    "-", "m", "m2", "m3", "kg", "s", "ms", "ticks", "degC", "m/s", "m2/s", "m3/s", "m3/h", "kg/s", "kg/m3", "kg/kg",
    "m3/kg", "1/s", "1/h", "1/m", "m/kg", "Pa", "W", "J", "NTU", "NTU m3/kg", "N m", "s/m2", "s2/m5", "m^0.5/s",
    "m3, kg", "m3/s, kg/s",
}  # fmt: skip


def words_of_the_package() -> set[str]:
    """Every attribute, key and text of the package outside the table of records itself."""
    words: set[str] = set()
    for path in (ROOT / "plantsim").rglob("*.py"):
        if path.name == "records.py":
            continue
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Attribute):
                words.add(node.attr)
            elif isinstance(node, ast.Constant) and isinstance(node.value, str):
                words.add(node.value)
            elif isinstance(node, ast.keyword) and node.arg:
                words.add(node.arg)
    return words


@pytest.mark.parametrize("name", RECORDS)
def test_a_record_is_made_of_eight_byte_numbers_without_holes(name):
    dtype = RECORDS[name]
    assert dtype.itemsize == 8 * sum(int(np.prod(dtype[field].shape, dtype=int)) for field in dtype.names)
    for field in dtype.names:
        assert dtype[field].base in (np.dtype("f8"), np.dtype("i8")), field


@pytest.mark.parametrize("name", RECORDS)
def test_every_field_has_a_unit_and_a_meaning(name):
    table = records.FIELD_UNITS[name]
    assert list(table) == list(RECORDS[name].names)
    for field, (unit, meaning) in table.items():
        assert unit in UNITS, f"{field}: [{unit}]"
        assert len(meaning) > 2, field
        if RECORDS[name][field].base.kind == "i":
            assert unit in ("-", "ticks", "ms"), f"{field} counts, so it has no unit of measure"


def test_units_are_those_that_are_used():
    used = {unit for table in records.FIELD_UNITS.values() for unit, _ in table.values()}
    assert used == UNITS


def test_every_field_is_read_or_written_somewhere():
    """A field nothing names is a field nothing fills: it would stand in the file of a run as a dead number."""
    words = words_of_the_package()
    dead = [f"{name}.{field}" for name, dtype in RECORDS.items() for field in dtype.names if field not in words]
    assert dead == []


def test_states_and_faults_stand_beside_parameters():
    names = set(records.DTYPES)
    alone = {"bus_s"}  # a bus has nothing but its state
    for name in names - alone:
        if name.endswith(("_s", "_f")):
            assert name[:-2] + "_p" in names, name


def test_segments_say_what_evolves():
    segments = {name: segment for name, segment, _ in records.KINDS}
    for name, segment in segments.items():
        if name.endswith(("_p", "_s", "_f")):
            assert segment == {"p": "param", "s": "state", "f": "fault"}[name[-1]], name
    assert set(segments.values()) == {"param", "state", "fault"}


def test_parameters_states_and_faults_of_a_unit_share_no_field_by_accident():
    """`unit.quantity` is looked for in the state first: a fault of the same name could never be set."""
    for name in RECORDS:
        if name.endswith("_f"):
            state = RECORDS.get(name[:-2] + "_s")
            assert state is None or not set(RECORDS[name].names) & set(state.names), name


def test_rows_of_material():
    assert len(records.ROW_NAMES) == records.NS
    assert len(records.LEDGER_ROWS) == records.N_LEDGER == len(records.LEDGER_SIGN)
    assert records.OFFER_LEVEL == records.NS and records.NO == records.NS + 2
    assert len({1 << i for i in range(len(records.WARNINGS))}) == len(records.WARNINGS) < 63


def test_every_cell_of_the_memory_has_one_address():
    arena = Arena({name: 2 for name in records.DTYPES})
    seen: set[int] = set()
    for name, dtype in records.DTYPES.items():
        for index in range(arena.counts[name]):
            if isinstance(dtype, np.dtype):
                for field in dtype.names:
                    size = int(np.prod(dtype[field].shape, dtype=int))
                    seen |= {arena.cell(name, index, field, sub) for sub in range(size)}
            else:
                seen |= {arena.cell(name, index, None, sub) for sub in range(max(1, dtype))}
    assert seen == set(range(len(arena.mem)))


def test_an_address_is_the_field_it_names():
    arena = Arena({"vessel_s": 3, "vessel_p": 3, "streams": 4})
    for index in range(3):
        arena.mem[arena.cell("vessel_s", index, "level")] = 1.0 + index
        arena.mem[arena.cell("vessel_s", index, "content", 2)] = 10.0 + index
        arena.mem.view(np.int64)[arena.cell("vessel_p", index, "n_table")] = 7 + index
    assert arena.vessel_s["level"].tolist() == [1.0, 2.0, 3.0]
    assert arena.vessel_s["content"][:, 2].tolist() == [10.0, 11.0, 12.0]
    assert arena.vessel_p["n_table"].tolist() == [7, 8, 9]
    arena.mem[arena.cell("streams", 3, None, 5)] = 4.5
    assert arena.streams[3, 5] == 4.5
    with pytest.raises(IndexError):
        arena.cell("vessel_s", 3, "level")
    with pytest.raises(KeyError):
        arena.cell("vessel_s", 0, "colour")


def test_every_warning_can_be_given():
    """A warning that no kernel gives would be an empty promise."""
    names = {name for name in vars(records) if name.startswith("WARN_")}
    assert len(names) == len(records.WARNINGS)
    used: set[str] = set()
    for path in (ROOT / "plantsim" / "kernels").glob("*.py"):
        used |= {node.id for node in ast.walk(ast.parse(path.read_text())) if isinstance(node, ast.Name)}
    assert names - used == set()
