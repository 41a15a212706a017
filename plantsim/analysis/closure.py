"""Whether a run lost or made anything: all that is in the plant, against all that crossed its boundary.

What a plant holds is in these places, each counted once:

* vessels: their content, and the sand on the floor with the water in its pores;
* plugs of lines and dosing skids: the parcels of their rings (the row in which the inlet is mixed holds
  nothing between steps), and of a line the sand that lies in it with its pore water;
* clarifiers: every layer that holds water; the top one holds `top_volume`; what has passed the boundary since the
  last step of the layers;
* polymer make-down: the batch tank and the day tank; what is in the powder store comes in when it is used,
  and so does what is in a dosing skid's tote;
* dosing skids: what the dilution filter holds back;
* mud cells: mud, pond and what arrived since the last slow step. What the weir lets off leaves the pond in
  the step in which it arrives elsewhere, so nothing is owed between steps;
* presses: what is in the chambers.

Water is the volume less that of the solids; coagulant and polymer are counted in all their states together.
Joining of colloid to the fines is the one transfer between the classes kept apart here: it stands as
`reaction`.
"""

from __future__ import annotations

import numpy as np

from plantsim import records
from plantsim.arena import Arena
from plantsim.records import COARSE, COLLOID, FINES, NS, VOLUME

MATERIALS = ("water", "coarse", "fines", "colloid", "coagulant", "polymer")
"""What a closure speaks of; water in m3, the rest in kg."""
UNIT = {"water": "m3", "coarse": "kg", "fines": "kg", "colloid": "kg", "coagulant": "kg", "polymer": "kg"}
PROMISE = 1e-9
"""Greatest relative gap a sound run of a week may show."""


def amounts(row: np.ndarray, solids_density: float) -> dict[str, float]:
    """Give a row of material as the amounts a closure speaks of.

    Parameters
    ----------
    row : ndarray, shape (NS,)
        Amounts, [m3, kg]
    solids_density : float
        Density of the solids, [kg/m3]

    Returns
    -------
    dict of str to float
        Amount of each of `MATERIALS`, [m3, kg]
    """
    dry = row[COARSE] + row[FINES] + row[COLLOID]
    return {
        "water": float(row[VOLUME] - dry / solids_density),
        "coarse": float(row[COARSE]),
        "fines": float(row[FINES]),
        "colloid": float(row[COLLOID]),
        "coagulant": float(row[records.COAG] + row[records.COAG_BOUND]),
        "polymer": float(row[records.POLY] + row[records.POLY_BOUND] + row[records.POLY_SPENT]),
    }


def inventory(arena: Arena, kinds: tuple[str, ...] = ()) -> np.ndarray:
    """Everything a plant holds, as one row of material.

    Parameters
    ----------
    arena : Arena
        Memory of the plant.
    kinds : tuple of str
        Kinds of unit to count; all of them when left out.

    Returns
    -------
    ndarray, shape (NS,)
        Amounts, [m3, kg, m3 degC]
    """
    row = np.zeros(NS)
    for kind, count in _STORES.items():
        if not kinds or kind in kinds:
            count(arena, row)
    return row


def _vessels(arena: Arena, row: np.ndarray) -> None:
    s = arena.vessel_s
    row += s["content"].sum(axis=0)
    _sand(arena, row, s["sand"].sum(), s["sand_water"].sum())


def _sand(arena: Arena, row: np.ndarray, sand: float, water: float) -> None:
    row[COARSE] += sand
    row[VOLUME] += water + sand / arena.material["solids_density"][0]


def _plugs(arena: Arena, row: np.ndarray) -> None:
    for p, s in zip(arena.plug_p, arena.plug_s, strict=True):
        ring = int(p["rows"]) - 1
        rows = int(p["pool"]) + (int(s["head"]) + np.arange(int(s["count"]))) % ring
        parcels = arena.parcels[rows]
        volumes = parcels[:, VOLUME]
        row[VOLUME] += volumes.sum()
        row[1:NS] += volumes @ parcels[:, 1:NS]


def _lines(arena: Arena, row: np.ndarray) -> None:
    s = arena.line_s
    _sand(arena, row, s["deposit"].sum(), s["deposit_water"].sum())


def _clarifiers(arena: Arena, row: np.ndarray) -> None:
    for i in range(len(arena.clarifier_p)):
        row += clarifier_content(arena, i)


def clarifier_content(arena: Arena, index: int) -> np.ndarray:
    """What one clarifier holds, as a row of material [m3, kg, m3 degC]."""
    p, s = arena.clarifier_p[index], arena.clarifier_s[index]
    n, top = int(p["layers"]), int(s["top"])
    first = int(p["volumes"])
    volumes = arena.tables[first : first + n].copy()
    volumes[:top] = 0.0
    volumes[top] = s["top_volume"]
    # block 0 of the pool is the sum of coarse and fines, not a volume
    layers = arena.layers[int(p["pool"]) : int(p["pool"]) + NS * n].reshape(NS, n)
    row = layers @ volumes
    row[VOLUME] = volumes.sum()
    # between two steps of the layers: fed and drawn, but not in them yet; what leaves the plant is booked with them
    row += s["fed"] - s["drawn"]
    if p["overflow"] >= 0:
        row[VOLUME] -= s["spilt"]
        row[1:] -= s["spilt"] * layers[1:, 0]
    return row


def _makedowns(arena: Arena, row: np.ndarray) -> None:
    row += arena.makedown_s["tank"].sum(axis=0) + arena.makedown_s["day"].sum(axis=0)


def _dosers(arena: Arena, row: np.ndarray) -> None:
    row += arena.doser_s["filtered"].sum(axis=0)


def _cells(arena: Arena, row: np.ndarray) -> None:
    for part in ("mud", "pond", "buffer"):
        row += arena.cell_s[part].sum(axis=0)


def _presses(arena: Arena, row: np.ndarray) -> None:
    row += arena.press_s["held"].sum(axis=0)


_STORES = {
    "vessel": _vessels, "plug": _plugs, "line": _lines, "clarifier": _clarifiers, "makedown": _makedowns,
    "doser": _dosers, "cell": _cells, "press": _presses,
}  # fmt: skip


def close(
    start_inventory: np.ndarray, arena: Arena, start_ledger: np.ndarray | None = None
) -> dict[str, dict[str, float]]:
    """Close the balances of a run.

    Parameters
    ----------
    start_inventory : ndarray, shape (NS,)
        What the plant held at the start, from `inventory`, [m3, kg]
    arena : Arena
        Memory of the plant now.
    start_ledger : ndarray, shape (N_LEDGER, NS), optional
        Ledger at the start; empty when left out.

    Returns
    -------
    dict of str to dict
        For each of `MATERIALS`: `in`, `out`, `reaction` (gained from other classes), `change` of what is held
        [m3 or kg], and `gap`, the part of the throughput, or of what is held if that is more, by which the
        balance does not close, [-]

    Notes
    -----
    gap = |start + in - out + reaction - now| / max(in, out, start, now). Rounding of some million steps
    leaves about 1e-12; `PROMISE` is what a run of a week must keep.
    """
    density = float(arena.material["solids_density"][0])
    ledger = arena.ledger if start_ledger is None else arena.ledger - start_ledger
    sign = records.LEDGER_SIGN.copy()
    sign[records.REACTION] = 0.0
    start = amounts(start_inventory, density)
    now = amounts(inventory(arena), density)
    entered = amounts(ledger[sign > 0.0].sum(axis=0), density)
    left = amounts(ledger[sign < 0.0].sum(axis=0), density)
    # a transfer between classes moves mass, not volume: the volume of the row is zero, and water is unchanged
    turned = amounts(ledger[records.REACTION], density)
    turned["water"] = 0.0
    result = {}
    for name in MATERIALS:
        gap = abs(start[name] + entered[name] - left[name] + turned[name] - now[name])
        scale = max(abs(entered[name]), abs(left[name]), abs(start[name]), abs(now[name]))
        result[name] = {
            "in": entered[name],
            "out": left[name],
            "reaction": turned[name],
            "change": now[name] - start[name],
            "gap": gap / scale if scale > 0.0 else 0.0,
        }
    return result


def balance(arena: Arena, start_ledger: np.ndarray | None = None) -> dict[str, dict[str, float]]:
    """What crossed the plant's boundary by each way, for the water and solids tables.

    Returns
    -------
    dict of str to dict
        For each of `records.LEDGER_ROWS` but the reaction: each of `MATERIALS`, and `solids` together,
        [m3 or kg]
    """
    density = float(arena.material["solids_density"][0])
    ledger = arena.ledger if start_ledger is None else arena.ledger - start_ledger
    result = {}
    for i, name in enumerate(records.LEDGER_ROWS):
        if i == records.REACTION:
            continue
        row = amounts(ledger[i], density)
        row["solids"] = row["coarse"] + row["fines"] + row["colloid"]
        result[name] = row
    return result

