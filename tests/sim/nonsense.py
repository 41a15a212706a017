"""What no plant may hold at any time: numbers that are not finite, and stores below nothing or beyond the brim."""

from __future__ import annotations

import numpy as np

from plantsim import records
from plantsim.arena import Arena
from plantsim.plant.model import Model

ROUNDING = 1e-9
"""Part of the greatest amount ever held by which rounding may take a store below nothing."""


def not_finite(arena: Arena) -> list[str]:
    """Cells that hold no finite number.

    Integers share the memory, so every field is read as what it is; the memory of control programs mixes both
    and is left to the tests of the language.
    """
    found = []
    for name, dtype in records.DTYPES.items():
        array = arena.arrays[name]
        if isinstance(dtype, np.dtype):
            for field in dtype.names or ():
                if dtype[field].base.kind == "f" and not np.isfinite(array[field]).all():
                    found.append(f"{name}.{field} is not finite")
        elif dtype != -1 and name != "control" and not np.isfinite(array).all():
            found.append(f"{name} is not finite")
    return found


def stores(arena: Arena) -> dict[str, np.ndarray]:
    """Every amount and concentration a plant holds, by name of the place."""
    found = {
        "vessel content": arena.vessel_s["content"], "vessel sand": arena.vessel_s["sand"],
        "vessel sand water": arena.vessel_s["sand_water"], "line deposit": arena.line_s["deposit"],
        "line deposit water": arena.line_s["deposit_water"], "plug": arena.plug_s["filled"],
        "plug solids": arena.plug_s["solids"], "batch tank": arena.makedown_s["tank"],
        "day tank": arena.makedown_s["day"], "powder": arena.makedown_s["powder"],
        "unaged": arena.makedown_s["unaged"], "day unaged": arena.makedown_s["day_unaged"],
        "tote": arena.doser_s["store"], "filter": arena.doser_s["filtered"], "mud": arena.cell_s["mud"],
        "pond": arena.cell_s["pond"], "arriving mud": arena.cell_s["buffer"], "press": arena.press_s["held"],
        "clarifier top": arena.clarifier_s["top_volume"], "clarifier mass": arena.clarifier_s["inventory"],
    }  # fmt: skip
    for i, (p, s) in enumerate(zip(arena.plug_p, arena.plug_s, strict=True)):
        places = int(p["pool"]) + (int(s["head"]) + np.arange(int(s["count"]))) % (int(p["rows"]) - 1)
        found[f"parcels of plug {i}"] = arena.parcels[places, : records.NS]
    for i, p in enumerate(arena.clarifier_p):
        n, first = int(p["layers"]), int(p["pool"])
        found[f"layers of clarifier {i}"] = arena.layers[first : first + records.NS * n]
    return found


def complaints_of(model: Model) -> list[str]:
    """All that is wrong with a plant now."""
    arena = model.arena
    found = not_finite(arena)
    for place, held in stores(arena).items():
        if held.size and held.min() < -ROUNDING * max(1.0, abs(held).max()):
            found.append(f"{place} holds {held.min():.3g}")
    sizes = arena.vessel_p["volume"], arena.vessel_s["content"][:, 0]
    if (sizes[1] > sizes[0] * (1.0 + ROUNDING)).any():
        found.append("a vessel holds more than it can")
    if (arena.plug_s["filled"] > arena.plug_p["volume"] * (1.0 + ROUNDING)).any():
        found.append("a line holds more than it can")
    if (arena.cell_s["height"] > arena.cell_p["depth"] * (1.0 + 1e-6)).any():
        found.append("a mud cell stands above its wall")
    travel = arena.actuator_s["position"]
    if travel.size and (travel.min() < 0.0 or travel.max() > 1.0):
        found.append("an actuator is beyond its travel")
    for i, (p, s) in enumerate(zip(arena.clarifier_p, arena.clarifier_s, strict=True)):
        depth = p["layers"] * p["height"]
        for level in ("level", "bed_level", "mud_level"):
            # what came in one step of the layers, from feed or sky, stands over the brim until the next one lets it off
            step = arena.clock["dt"][0] * max(p["every"], 1)
            over = 1e-5 + 2.0 * s["feed_flow"] * step / (np.pi * p["radius"] ** 2)
            if not 0.0 <= s[level] <= depth + over:
                found.append(f"{level} of clarifier {i} is {s[level]:.3g} m of {depth:.3g} m")
        layers = arena.layers[int(p["pool"]) : int(p["pool"]) + records.NS * int(p["layers"])]
        solids = layers.reshape(records.NS, -1)[[records.COARSE, records.FINES, records.COLLOID]].sum(axis=0)
        if solids.max() > p["c_max"] * (1.0 + ROUNDING):
            found.append(f"clarifier {i} is packed to {solids.max():.4g} kg/m3")
    return found
