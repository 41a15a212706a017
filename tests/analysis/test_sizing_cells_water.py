"""Mud cells and water balance: balances by hand, drying against its own equation, the words that must stand there."""

import math
from dataclasses import replace

import pytest
from scipy.integrate import solve_ivp

from plantsim.analysis.sizing import cells as c
from plantsim.analysis.sizing import water as w
from plantsim.analysis.sizing.result import NotSized

H, DAY = 3600.0, 86400.0
DRY = w.Climate((20.0,) * 12, (0.0,) * 12, tuple(0.004 * n for n in w.MONTH_DAYS))  # 4 mm of evaporation a day
CELLS = c.CellsDuty(20 / 3.6, 80 * H, 450.0, number=6)
WATER = w.WaterDuty(80 * H, 200 / 3.6, 1.75e-3, 0.06, 20 / 3.6, 450.0)


# ---------------------------------------------------------------------------------------------- cells
def test_fill_time_by_hand():
    # 3000 m2 of 0.4 m hold 540 t; 20 t/h for 80 h is 1600 t a week
    fill, drain, _, _ = c.cell_cycle(CELLS, DRY, 5)
    assert fill / DAY == pytest.approx(540.0 / 1600.0 * 7.0)
    assert drain / DAY == pytest.approx(0.848 * 0.16 / 1e-7 / DAY, rel=1e-3)  # Terzaghi: Tv = 0.848 at 90 %


def test_strength_at_the_limits():
    # Vardanega and Haigh (2014): 1.7 kPa at the liquid limit, 35 times as much at the plastic limit, to LI = 0.2
    at_limit = c.strength_at(CELLS, 0.5 * 2.65)
    assert at_limit == pytest.approx(1700.0, rel=1e-6)
    void = c.void_at_strength(CELLS, 15e3)
    assert c.strength_at(CELLS, void) == pytest.approx(15e3, rel=1e-6)
    index = 1.0 - math.log(15.0 / 1.7) / math.log(35.0)
    assert void == pytest.approx(2.65 * (0.26 + index * 0.24), rel=1e-3)


def test_drying_is_that_of_its_equation():
    days = c.drying_days(CELLS, DRY, 5, 2.6, 1.2)

    def rate(t, y):
        e = y[0] / CELLS.solids_height
        return [-0.004 * min(1.0, max(0.0, (e - 0.8) / (1.9 - 0.8)))]

    done = solve_ivp(rate, (0.0, 200.0), [2.6 * CELLS.solids_height], max_step=0.1, dense_output=True)
    exact = next(t for t in range(200) if done.sol(t)[0] <= 1.2 * CELLS.solids_height)
    assert abs(days - exact) <= 1


def test_rain_and_frost_lengthen_drying():
    wet = replace(DRY, rain=(0.09,) * 12)
    assert c.drying_days(CELLS, wet, 5, 2.6, 1.2) > c.drying_days(CELLS, DRY, 5, 2.6, 1.2)
    winter = replace(DRY, temperature=(-5.0,) * 5 + (20.0,) * 7)
    # frozen from mid-January to the end of May: 16 + 28 + 31 + 30 + 31 days, less the half day of rounding
    summer = c.drying_days(CELLS, DRY, 5, 2.6, 1.2)
    assert c.drying_days(CELLS, winter, 0, 2.6, 1.2) == pytest.approx(136 + summer, abs=1)
    never = replace(DRY, evaporation=(0.0,) * 12)
    sheet = c.size_cells(CELLS, never)
    assert math.isinf(sheet["cells"].value) and "never" in sheet["dry_06"].verdict


def test_number_of_cells_follows_the_longest_cycle():
    sheet = c.size_cells(CELLS, DRY)
    fill, drain, dry, dig = c.cell_cycle(CELLS, DRY, 5)
    assert sheet["cells"].value == math.ceil((fill + drain + dry + dig) / fill)
    assert sheet["cells"].holds is (sheet["cells"].value <= 6)
    assert sheet["cells_wet"].value < sheet["cells"].value


def test_no_cell_is_called_safe():
    sheet = c.size_cells(CELLS, DRY)
    assert any("Never permission to enter" in words for words in sheet.cautions)
    for result in sheet.results:
        said = f"{result.name} {result.verdict}".casefold()
        assert "safe" not in said and "may be entered" not in said
        if result.unit == "Pa" or "dig" in result.key or result.key.startswith("dry_0"):
            assert any("Never permission" in words for words in result.cautions), result.key


def test_mud_that_keeps_its_shape_is_weaker_than_the_published_strength_for_plant():
    """Mud of 50 to 55 % by weight keeps the shape of the hole where it lands: common practice, no source.

    That says nothing of bearing: the mean strength by water content stays far below 15 kPa there.
    """
    for part in (0.50, 0.55):
        assert c.strength_at(CELLS, 2.65 * (1.0 - part) / part) < 1700.0


def test_mud_that_keeps_its_shape_is_shown_with_its_slump_and_no_permission():
    # Pashias and others (1996), s/h = 1 - 2 T (1 - ln 2T): 118 Pa at 1452 kg/m3 in 10 cm is T = 0.0828, s/h = 0.537
    sheet = c.size_cells(replace(CELLS, yield_a=40000.0, yield_b=4.5, solids_density=2650.0), DRY)
    half = sheet["shape_50"]
    assert half.value == pytest.approx(118.0, rel=0.01) and "slumps by 54 %" in half.verdict
    assert sheet["shape_55"].value > 1.5 * half.value
    assert all("Never permission" in sheet[key].cautions[0] for key in ("shape_50", "shape_55"))
    assert "shape_50" not in c.size_cells(CELLS, DRY)


@pytest.mark.parametrize("changes, words", [
    (dict(area=0.0), "above 0"), (dict(underflow_solids=2700.0), "as dense"), (dict(dry_void=2.0), "void ratio"),
    (dict(rain_kept=1.5), "from 0 to 1"), (dict(plastic_limit=0.6), "plastic limit"),
])  # fmt: skip
def test_cells_that_cannot_be(changes, words):
    with pytest.raises(NotSized, match=words):
        replace(CELLS, **changes)
    with pytest.raises(NotSized, match="limits of your own mud"):
        c.void_at_strength(CELLS, 1e7)


# ---------------------------------------------------------------------------------------------- water
def test_balance_by_hand():
    # 20 t/h at 450 g/L is 44.4 m3/h of underflow, of which 20/2.65 = 7.55 m3/h are solids; 12 m3/h leave with gravel
    sheet = w.size_water(WATER, DRY)
    assert H * sheet["mud_water"].value == pytest.approx(20.0 / 0.45 - 20.0 / 2.65)
    assert H * sheet["loss"].value == pytest.approx(20.0 / 0.45 - 20.0 / 2.65 + 12.0)
    assert H * sheet["wash_water"].value == pytest.approx(350.0)
    june = sheet["makeup_06"]
    assert june.value == pytest.approx(H * sheet["loss"].value * 80.0 * 30.0 / 7.0)
    assert sheet["makeup_year"].value == pytest.approx(H * sheet["loss"].value * 80.0 * 365.0 / 7.0)


def test_sky_and_supply():
    wet = replace(DRY, rain=(0.5,) * 12)
    pond = replace(WATER, open_area=50_000.0, supply=1.0)
    assert w.size_water(pond, wet)["makeup_06"].value < 0.0
    assert "too much" in w.size_water(pond, wet)["makeup_06"].verdict
    assert w.size_water(pond, DRY)["makeup_flow"].holds
    assert not w.size_water(replace(WATER, supply=1e-3), DRY)["makeup_flow"].holds


@pytest.mark.parametrize("changes, words", [
    (dict(hours=8 * 7 * DAY), "at most 168"), (dict(returned=1.2), "from 0 to 1"), (dict(production=0.0), "above 0"),
    (dict(underflow_solids=2650.0), "thinner"),
])  # fmt: skip
def test_circuits_that_cannot_be(changes, words):
    with pytest.raises(NotSized, match=words):
        replace(WATER, **changes)
    with pytest.raises(NotSized, match="12"):
        w.Climate((1.0,), (0.0,) * 12, (0.0,) * 12)
