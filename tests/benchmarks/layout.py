"""The plant's memory as a C header, written from the records themselves so that nothing is laid out twice."""

from __future__ import annotations

import numpy as np

from plantsim import opcodes, records

HEAD = """\
/* The shape of a plant in memory, written from plantsim.records: do not edit.
 *
 * Every array of a plant is handed over as an address and a count at run time; the twin reads and writes the very
 * buffer the Python kernel works on. All fields are eight bytes wide.
 */
#ifndef PLANT_LAYOUT_H
#define PLANT_LAYOUT_H

#include <stddef.h>
#include <stdint.h>

/* The memory seen as integers: the same bytes that other pointers see as numbers. */
typedef int64_t __attribute__((may_alias)) cell_bits;
"""
_C_TYPES = {"i": "int64_t", "f": "double"}
_RESERVED = {"void"}  # names of fields that C keeps for itself get an underscore


def header() -> str:
    """The text of `plant_layout.h`."""
    parts = [HEAD, *_constants(), *_structures(), _plant(), "#endif\n"]
    return "\n".join(parts)


def _constants() -> list[str]:
    named = {name: value for name, value in vars(records).items() if name.isupper() and isinstance(value, int)}
    rows = [f"#define {name} {value}" for name, value in named.items()]
    rows += [f"#define OP_{name} {number}" for name, number in opcodes.NUMBER.items()]
    rows += [
        f"#define {name} {value}"
        for name, value in vars(opcodes).items()
        if name.startswith("FAULT_") and isinstance(value, int)
    ]
    rows += [f"#define OP_{name} {getattr(opcodes, name)}" for name in ("LINK", "CLOCK")]
    return ["\n".join(rows), ""]


def _structures() -> list[str]:
    return [_structure(name, dtype) for name, dtype in records.DTYPES.items() if isinstance(dtype, np.dtype)]


def _structure(name: str, dtype: np.dtype) -> str:
    fields = []
    checks = [f'_Static_assert(sizeof(struct {name}) == {dtype.itemsize}, "size of {name}");']
    assert dtype.fields is not None
    for key, (kind, offset, *_) in dtype.fields.items():
        field = key + "_" if key in _RESERVED else key
        length = f"[{kind.shape[0]}]" if kind.shape else ""
        unit, meaning = records.FIELD_UNITS[name][key]
        fields.append(f"    {_C_TYPES[kind.base.kind]} {field}{length}; /* {meaning.replace('*/', '* /')} [{unit}] */")
        checks.append(f'_Static_assert(offsetof(struct {name}, {field}) == {offset}, "{name}.{field}");')
    return f"struct {name} {{\n" + "\n".join(fields) + "\n};\n" + "\n".join(checks) + "\n"


def _plant() -> str:
    """The structure of pointers: an address and a count for each array, then what belongs to none."""
    rows = []
    for name, dtype in records.DTYPES.items():
        if isinstance(dtype, np.dtype):
            pointer = f"struct {name} *{name}"
        elif dtype == -1:
            pointer = f"int64_t *{name}"
        elif dtype:
            pointer = f"double (*{name})[{dtype}]"
        else:
            pointer = f"double *{name}"
        rows.append(f"    {pointer};\n    int64_t n_{name};")
    rows.append("    double *mem;\n    cell_bits *imem;\n    const int32_t (*code)[4];\n    double *scratch;")
    return "struct plant {\n" + "\n".join(rows) + "\n};\n"
