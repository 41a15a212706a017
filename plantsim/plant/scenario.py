"""Scenarios: what is done to a plant in a run, from its own acts, a scenario file and the upsets that it names."""

from __future__ import annotations

import math
from typing import Any

from plantsim.plant.acts import Act
from plantsim.plant.plans import Start
from plantsim.plant.tree import Tree
from plantsim.units import sentence


def acts_of(blocks: Any, origin: str = "plant") -> list[Act]:
    """Acts of a list of blocks; a wrong time is a finding."""
    acts = []
    for i, block in enumerate(blocks):
        start = start_of(block, 1000 + i)
        if start is not None:
            acts.append(act_of(block, start, block["set"], block.to, origin))
    return acts


def act_of(block: Tree, start: Start, target: str, to: str, origin: str) -> Act:
    """One act, with its target and value as they are on this plant."""
    return Act(start, target, to, block.finding, block.ramp, math.inf if block.for_ is None else block.for_, block.by,
               block.note or "", origin)  # fmt: skip


def start_of(block: Tree, key: int) -> Start | None:
    """When something begins that says `at`, or `between` two times; None and a finding when it says neither or both."""
    if (block["at"] is None) == (block["between"] is None):
        found = "neither 'at' nor 'between'" if block["at"] is None else "both 'at' and 'between'"
        block.finding("", sentence(found, "one of them"))
        return None
    if block["at"] is not None:
        return Start(block["at"], block["at"])
    low, high = block["between"]
    if high <= low:
        block.finding("between", sentence("a second time that is not after the first", "two times, the earlier first"))
        return None
    return Start(low, high, key)
