"""What commands say of a run: its figures, its balances, its warnings."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from plantsim.cli.tables import number, table

if TYPE_CHECKING:
    from plantsim.store.data import RunData

KEY_FIGURES = (
    "overflow_turbidity_mean", "overflow_turbidity_p95", "turbidity_over_limit", "underflow_solids_mean",
    "water_recovery", "mud_per_t", "bed_level_max", "torque_max", "starts_per_hour_max", "water_stops",
    "cells_filled", "cycles", "annunciated", "most_in_10_min",
)  # fmt: skip
"""Figures of units that the short table after a run shows, besides those of the whole plant."""
CAUTION = "Simulated values. Do not transfer settings to a real plant without tests on site and qualified review."


def is_key(name: str) -> bool:
    """Whether a figure belongs in the short table."""
    unit, _, figure = name.rpartition(".")
    return unit == "plant" or figure in KEY_FIGURES


def figures_table(data: RunData, wanted: Callable[[str], bool] = lambda name: True) -> str:
    """Figures of a run: name, value, unit, meaning."""
    rows = [[n, number(f.value), f.unit, f.meaning] for n, f in data.figures.items() if wanted(n)]
    return table(rows, ["figure", "value", "unit", "meaning"], right=[1])


def watched_values(data: RunData) -> dict[str, Any]:
    """Last, least, mean and greatest value of every watched variable, for JSON; nothing when none was watched."""
    import numpy as np

    from plantsim.plant.program_variables import WATCHED

    found = {
        name: {"last": float(one.values[-1]), "least": float(np.min(one.values)), "mean": float(np.mean(one.values)),
               "most": float(np.max(one.values)), "unit": one.unit}
        for name, one in data.series.items() if one.meaning.startswith(WATCHED)
    }  # fmt: skip
    return {"watched": found} if found else {}


def watched_table(data: RunData) -> str:
    """Watched variables of control programs: at the end, and over the run; empty when none was watched."""
    rows = [
        [name, *(number(value[key]) for key in ("last", "least", "mean", "most")), value["unit"],
         data.series[name].meaning]
        for name, value in watched_values(data).get("watched", {}).items()
    ]  # fmt: skip
    return table(rows, ["watched", "at the end", "least", "mean", "most", "unit", "meaning"], right=[1, 2, 3, 4]) \
        if rows else ""  # fmt: skip


def closure_table(data: RunData) -> str:
    """Balances of a run: what came in, what went out, what is held more, and how well that closes."""
    rows = [
        [name, "m3" if name == "water" else "kg", *(number(row[key], 6) for key in ("in", "out", "reaction", "change")),
         f"{row['gap']:.1e}"]
        for name, row in data.closure.items()
    ]  # fmt: skip
    return table(rows, ["balance", "unit", "in", "out", "turned", "held more", "gap"], right=[2, 3, 4, 5, 6])


def worst_gap(data: RunData) -> str:
    """One line on how well the balances close."""
    name, row = max(data.closure.items(), key=lambda item: item[1]["gap"])
    return f"balances close within {row['gap']:.1e} of what went through ({name} worst)"


def as_json(data: RunData, **more: Any) -> str:
    """A run as one JSON object."""
    import json

    shown = {
        "run": data.run,
        "seed": data.seed,
        "seconds": data.seconds,
        **more,
        "kpis": {name: {"value": f.value, "unit": f.unit} for name, f in data.figures.items()},
        **watched_values(data),
        "closure": data.closure,
        "warnings": data.warnings,
    }
    return json.dumps(shown, indent=1, allow_nan=False)
