"""The page that lays two runs over each other."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
from invented_runs import gravel

from plantsim.report.comparison import MOST_PAIRS, overlaid, write_comparison


def test_every_pair_is_one_quantity_of_both_runs_on_one_time_axis() -> None:
    first, second = gravel(6 * 3600.0), gravel(3 * 3600.0)
    panels = overlaid(first, second)
    assert len(panels) >= 5
    for panel in panels:
        assert 2 <= len(panel.lines) <= 2 * MOST_PAIRS
        for a, b in zip(panel.lines[::2], panel.lines[1::2], strict=True):
            assert a.channel == b.channel and a.label[2:] == b.label[2:]
            assert len(a.values) == len(b.values) == len(first.time)
            assert np.isnan(b.values[first.time > second.time[-1]]).all()  # B ended earlier
            early = first.time <= second.time[-1]
            assert np.isfinite(b.values[early]).all()


def test_runs_without_a_common_quantity_have_no_panels() -> None:
    first = gravel(3600.0)
    assert overlaid(first, dataclasses.replace(first, series={})) == []


def test_the_page_shows_keys_and_figures_and_no_markup_of_theirs(tmp_path: Path) -> None:
    first, second = gravel(3600.0), gravel(3600.0)
    page = write_comparison(
        first, second, [["clarifier.turbidity", "NTU", "40", "55", "15", "+37.5"]],
        [["control.underflow.program", "underflow-density", "<b>underflow-mass</b>"]], tmp_path / "two.html",
    )  # fmt: skip
    text = page.read_text(encoding="utf-8")
    assert "control.underflow.program" in text and "+37.5" in text
    assert "&lt;b&gt;underflow-mass" in text and "<b>underflow-mass" not in text
    assert text.count("data:image/png;base64,") == 1
    assert "http://" not in text and "https://" not in text
