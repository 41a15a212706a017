"""Every shipped upset can be put on a running plant: now, later, at random, with its answer; and be ended."""

from __future__ import annotations

import pytest
from live_rig import ROOT, model

from plantsim.live.causes import make_upset
from plantsim.live.coach import MAKERS
from plantsim.live.desk import Refusal
from plantsim.live.journal import Entry
from plantsim.live.plant import LivePlant
from plantsim.plant.upsets import read_upset, shipped_upsets

PAIRS = [(name, site) for name, path in shipped_upsets().items() for site in read_upset(path).shown_on]
NOW = 7200


@pytest.mark.parametrize("site", sorted({site for _, site in PAIRS}))
def test_every_upset_of_a_plant_fits_it_live(site: str) -> None:
    m = model(str(ROOT / "configs" / f"{site}.yaml"))
    for name in [n for n, s in PAIRS if s == site]:
        causes = make_upset(m, {"upset": name}, NOW)
        answered = make_upset(m, {"upset": name, "respond": True}, NOW)
        assert causes and len(answered) > len(causes), name
        assert min(plan.start.low + plan.start.after for plan in causes) == NOW, name
        later = make_upset(m, {"upset": name, "after": "10 min", "within": "30 min"}, NOW)
        begins = min(plan.start.low + plan.start.after for plan in later)
        assert NOW + 600 <= begins <= NOW + 2400, name
        assert make_upset(m, {"upset": name, "after": "10 min", "within": "30 min"}, NOW) == later  # drawn by the tick


def test_an_upset_comes_and_is_ended() -> None:
    site = str(ROOT / "configs" / "gravel-pit.yaml")
    plant = LivePlant(model(site), 1, MAKERS)
    entries = [
        Entry(1, NOW, "", "trainer", "T", "upset", {"upset": "duty-pump-trip", "after": "1 min"}),
        Entry(2, NOW + 600, "", "trainer", "T", "end-upset", {"entry": 1}),
    ]
    plant.replay(entries, NOW + 59)
    assert plant.begun(1) is None and plant.at_work(1)
    plant.advance(NOW + 120)
    assert plant.begun(1) == NOW + 60
    cells = [plan.cell for plan in make_upset(model(site), {"upset": "duty-pump-trip"}, NOW)]
    faults = plant.model.arena.mem.view("i8")
    assert len(cells) >= 2 and all(faults[cell] == 1 for cell in cells)
    plant.replay(entries[1:], NOW + 605)
    assert all(faults[cell] == 0 for cell in cells) and not plant.at_work(1)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        ({"upset": "series-pair-trip"}, "lift line"), ({"upset": "new-face", "with": {"clay": "500 %"}}, "clay"),
        ({"upset": "new-face", "with": {"sand": "5 %"}}, "sand"), ({"upset": "new-face", "after": "-5 min"}, "after"),
        ({"upset": "duty-pump-trip", "parts": {"duty": "rm"}}, "rm"),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_refused_in_words(data, words) -> None:
    m = model(str(ROOT / "configs" / "gravel-pit.yaml"))
    with pytest.raises(Refusal, match=words):
        make_upset(m, data, NOW)
