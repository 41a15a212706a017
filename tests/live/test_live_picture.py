"""The plant picture from the configuration of any site: everything stands somewhere, nothing twice in one place."""

from __future__ import annotations

import pytest
from live_rig import ROOT, model

from plantsim.live.picture import picture_of
from plantsim.live.points import Reading, points_of


@pytest.mark.parametrize("site", ["gravel-pit", "small-sand", "high-lift"])
def test_every_unit_stands_in_a_place_of_its_own_with_its_values(site: str) -> None:
    m = model(str(ROOT / "configs" / f"{site}.yaml"))
    reading = Reading(m, points_of(m))
    picture = picture_of(m, reading)
    nodes = {n["name"]: n for n in picture["nodes"]}
    places = [(n["row"], n["column"]) for n in nodes.values()]
    assert len(set(places)) == len(places)
    kinds = ("source", "supply", "vessel", "line", "doser", "clarifier", "bank", "press", "makedown", "splitter")
    units = {n for n, (kind, _) in m.units.items() if kind in kinds}
    assert units == set(nodes)
    assert all(e["from"] in nodes and e["to"] in nodes for e in picture["edges"])
    joined = {e["from"] for e in picture["edges"]} | {e["to"] for e in picture["edges"]}
    assert joined == set(nodes)
    shown = [tag for n in nodes.values() for tag in n["values"]]
    assert len(set(shown)) == len(shown)
    assert {t.name for t in m.tags.values() if t.role == "instrument"} == set(shown)
    for n in nodes.values():
        for drive in n["drives"]:
            assert f"{drive}.running" in reading.index, drive
    # dirty water runs to the right
    for e in picture["edges"]:
        if e["what"] == "dirty" and not e["back"]:
            assert nodes[e["from"]]["column"] < nodes[e["to"]]["column"], e
