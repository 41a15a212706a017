"""The gravel pit with shorter tuning jobs: fewer bumps, points and cases, and shorter ones."""

from __future__ import annotations

from pathlib import Path

FILE = Path(__file__).resolve().parents[2] / "configs" / "gravel-pit.yaml"

TRIM = ["loops.AIC-201.tune.steps=[10%]", "loops.AIC-201.tune.settle=10h", "loops.AIC-201.tune.horizon=7h"]
"""The coagulant trim, bumped once either way."""
SUMP = ["loops.LIC-101.tune.settle=4h", "loops.LIC-101.tune.horizon=2h", "loops.LIC-101.tune.points={normal: 90 %}"]
"""The sump at one operating point."""


def shorter(text: str) -> str:
    """The plant file with the same shorter job for its sump, comments and all."""
    head, mark, tail = text.partition("  LIC-101:\n")
    assert mark
    for old, new in (("settle: 6 h", "settle: 4 h"), ("horizon: 4 h", "horizon: 2 h"),
                     ("points: {normal: 90 %, low: 75 %}", "points: {normal: 90 %}")):  # fmt: skip
        assert old in tail
        tail = tail.replace(old, new, 1)
    return head + mark + tail
