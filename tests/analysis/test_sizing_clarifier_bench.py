"""The clarifier run at the corners of its design: which corners, what is judged, and what is said."""

from pathlib import Path

import pytest

from plantsim.analysis.sizing import clarifier_bench as cb
from plantsim.analysis.sizing.bench import Bench
from plantsim.analysis.sizing.choices import split

CONFIGS = Path(__file__).resolve().parents[2] / "configs"


def bench(name, *words):
    choices, overrides = split(list(words))
    return Bench(CONFIGS / name, choices, overrides)


def test_corners_change_what_they_say():
    found, left = cb.corners(bench("gravel-pit.yaml").tree, 4.0)
    by = {corner.key: corner.overrides for corner in found}
    assert list(by) == ["file", "feed", "sticky", "cold", "worst"] and by["file"] == () and not left
    # 200 t/h and twice a wander of 6 %; the stickiest face is 35 %
    assert by["feed"] == ("units.wash-plant.production=224 t/h",)
    assert by["sticky"] == ("units.wash-plant.clay=35 %",)
    assert "units.clean-tank.temperature=4 degC" in by["cold"]
    # January is coldest (with December); the run starts on a Monday there too, as the file's does
    assert any(text.startswith("site.start=2027-01-04 05:30") for text in by["cold"])
    assert by["worst"] == (*by["feed"], *by["sticky"], *by["cold"])


def test_what_the_file_cannot_tell_is_said():
    _, left = cb.corners(bench("small-sand.yaml").tree, 4.0)
    assert any("no digging faces" in words for words in left) or any("no monthly weather" in words for words in left)


def test_a_short_proof_judges_clarity_bed_and_rake():
    sheets = bench("small-sand.yaml", "size.prove=1 h").sheets("clarifier")
    assert len(sheets) == 2
    sheet = sheets[1]
    for key in ("file", "feed", "sticky", "cold", "worst"):
        if f"{key}_turbidity" in sheet:
            assert sheet[f"{key}_turbidity"].holds is not None and sheet[f"{key}_bed"].holds is not None
    assert sheet["proved"].inputs[0].value == 5.0 and 0.0 <= sheet["proved"].value <= 5.0
    assert any("Prove clarity" in words for words in sheet.cautions)
    (plain,) = bench("small-sand.yaml").sheets("clarifier")
    assert any("--prove" in words for words in plain.left_out)


@pytest.mark.slow
def test_a_clarifier_far_too_small_fails_at_every_corner():
    """By Coe and Clevenger a fifth of the area cannot pass the solids: the simulation has to find the same."""
    small = ["units.clarifier.diameter=4.5 m", "size.prove=24 h"]
    formula, proved = bench("gravel-pit.yaml", *small).sheets("clarifier")
    assert formula["area"].holds is False
    assert proved["proved"].value == 0.0
    stands = bench("gravel-pit.yaml", "size.prove=24 h").sheets("clarifier")[1]
    for key in ("file", "sticky", "cold"):
        assert stands[f"{key}_bed"].value < proved[f"{key}_bed"].value + 1e-9
        assert stands[f"{key}_turbidity"].value < proved[f"{key}_turbidity"].value
