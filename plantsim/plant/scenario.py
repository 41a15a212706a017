"""Scenarios: what is done to a plant in a run, from its own acts, a scenario file and the upsets that it names."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

from plantsim.plant.acts import Act, Places
from plantsim.plant.fields import nearest, quoted
from plantsim.plant.model import Upset
from plantsim.plant.plans import Start
from plantsim.plant.reader import dump, examine
from plantsim.plant.scenario_sections import SCENARIO
from plantsim.plant.tree import Tree
from plantsim.plant.upsets import read_upset, shipped_upsets, stage
from plantsim.units import sentence

_OWN = 1000
"""Added to the key of a drawn time: acts of the plant file, apart from upsets and acts of a scenario."""


def open_scenario(source: Path | str, name: str | None = None) -> Tree:
    """Read a scenario: a file, or the text itself when it has a `name`; findings stay in it."""
    return examine(Path(source) if name is None else source, SCENARIO, name=name)


def scenario_of(upsets: str, respond: bool = False) -> str:
    """Text of the scenario that a list such as `pump-trip@3h,feed-surge@5h` means.

    Raises
    ------
    ValueError
        If a part of it has no time.

    Examples
    --------
    >>> print(scenario_of("pump-trip@3h"), end="")
    upsets:
    - upset: pump-trip
      at: 3h
    """
    blocks = []
    for item in upsets.split(","):
        name, at, time = item.strip().partition("@")
        if not at or not time or not name:
            raise ValueError(sentence(quoted(item), "NAME@TIME, such as duty-pump-trip@7h, several parted by commas"))
        blocks.append({"upset": name.strip(), "at": time.strip()} | ({"respond": "yes"} if respond else {}))
    return dump({"upsets": blocks})


def happenings(places: Places, scenario: Tree) -> tuple[list[Act], list[Upset]]:
    """Acts and upsets of a scenario on a plant; what does not fit is a finding of the scenario."""
    acts: list[Act] = []
    upsets: list[Upset] = []
    shipped = shipped_upsets()
    for i, block in enumerate(scenario.upsets):
        start = start_of(block, i)
        if block.upset not in shipped:
            block.finding("upset", sentence(quoted(block.upset), "a name that `plantsim upsets` lists",
                                            nearest(block.upset, shipped)))  # fmt: skip
            continue
        staged = stage(places, read_upset(shipped[block.upset]), block.upset, start, block) if start else None
        if staged is not None:
            causes, upset, answers = staged
            acts += causes + (answers if block.respond else [])
            upsets.append(upset)
    return acts + acts_of(scenario.acts, "scenario", len(scenario.upsets)), upsets


def acts_of(blocks: Any, origin: str = "plant", key: int = _OWN) -> list[Act]:
    """Acts of a list of blocks; a wrong time is a finding."""
    acts = []
    for i, block in enumerate(blocks):
        start = start_of(block, key + i)
        if start is not None:
            lasts = math.inf if block.for_ is None else block.for_
            acts.append(Act(start, block["set"], block.to, block.finding, block.ramp, lasts, block.by,
                            block.note or "", origin))  # fmt: skip
    return acts


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
