"""The pictures: sizes, sameness, and that no words lie on other words."""

import io
import itertools
import struct
from dataclasses import replace
from typing import Any

import matplotlib
import numpy as np
import pytest
from invented_runs import gravel
from matplotlib.figure import Figure
from matplotlib.text import Text

from plantsim.report import style
from plantsim.report.bed import draw_bed
from plantsim.report.trends import draw_trends
from plantsim.store.data import Limit, Profile, RunData, Series

HOSTILE = "<b>$\\frac{1}{2}$ & 'Grube' \u5c71\u0007\n" + "W" * 60


def size_of(png: bytes) -> tuple[int, int]:
    """Width and height from the header chunk (W3C PNG specification, second edition, 5.2 and 11.2.2)."""
    assert png[:8] == b"\x89PNG\r\n\x1a\n" and png[12:16] == b"IHDR"
    return struct.unpack(">II", png[16:24])


def words_of(figure: Figure) -> list[tuple[str, Any]]:
    """All words drawn, with the box each takes; marks beyond the ends of an axis are not drawn."""
    figure.draw_without_rendering()
    renderer = figure.canvas.get_renderer()  # type: ignore[attr-defined]
    hidden = set()
    for axes in figure.axes:
        for axis in (axes.xaxis, axes.yaxis):
            low, high = sorted(axis.get_view_interval())
            for tick in [*axis.get_major_ticks(), *axis.get_minor_ticks()]:
                if not axis.get_visible() or not low <= tick.get_loc() <= high:
                    hidden |= {tick.label1, tick.label2}
            if not axis.get_visible():
                hidden |= {axis.label, axis.offsetText}
    return [
        (text.get_text(), text.get_window_extent(renderer))
        for text in figure.findobj(Text)
        if isinstance(text, Text) and text.get_visible() and text.get_text().strip() and text not in hidden
    ]


def assert_readable(figure: Figure) -> None:
    """No words on other words, none over the edge."""
    words = words_of(figure)
    assert len(words) > 5
    width, height = figure.get_size_inches() * figure.dpi
    for text, box in words:
        assert box.x0 >= 0 and box.y0 >= 0 and box.x1 <= width and box.y1 <= height, (text, box)
    for (one, a), (other, b) in itertools.combinations(words, 2):
        apart = a.x1 <= b.x0 + 1 or b.x1 <= a.x0 + 1 or a.y1 <= b.y0 + 1 or b.y1 <= a.y0 + 1
        assert apart, (one, a, other, b)


def crowded() -> RunData:
    """Two clarifiers, a dozen pumps, long and hostile names, many limits, a tower of turbidity, gaps."""
    run = gravel(2 * 86400.0, 60.0, 0)
    series = dict(run.series)
    n = len(run.time)
    for k in range(12):
        series[f"P-{k}-{HOSTILE}.head"] = Series(np.full(n, 1.0), "m", "")
        series[f"P-{k}-{HOSTILE}.speed"] = Series(np.full(n, 0.07 * k), "-", "")
    for quantity in ("turbidity", "bed_level", "torque", "underflow_fraction", "underflow"):
        one = series[f"clarifier.{quantity}"]
        series[f"{HOSTILE}.{quantity}"] = replace(one, values=one.values * 1.1)
    tall = series["clarifier.turbidity"].values.copy()
    tall[500:505] = 9000.0
    tall[800:1200] = np.nan
    series["clarifier.turbidity"] = replace(series["clarifier.turbidity"], values=tall)
    series["press.cycles"] = Series(np.zeros(n), "-", "")
    series["press.flow"] = Series(np.full(n, 12345678.0), "m3/h", "")
    limits = [*run.limits, *(Limit("sump.level", 0.2 * k, f"level {k} of {HOSTILE}", "limit") for k in range(6))]
    limits += [Limit("clean-tank.level", value, "far off", "limit") for value in (500.0, float("nan"))]
    return replace(run, title=HOSTILE, series=series, limits=limits)


@pytest.mark.parametrize("seconds, every", [(600.0, 10.0), (86400.0, 10.0), (3 * 86400.0, 60.0),
                                            (8 * 86400.0, 300.0), (365 * 86400.0, 7200.0)])  # fmt: skip
def test_words_do_not_overlap(seconds: float, every: float) -> None:
    """Ten minutes, a day, most hours, most days and a year of the gravel site."""
    run = gravel(seconds, every)
    assert_readable(draw_trends(run))
    assert_readable(draw_bed(run, "clarifier"))


def test_words_do_not_overlap_in_a_crowded_plant() -> None:
    """Names are cut or wrapped, signs without a glyph and formulas are harmless, no warning is raised."""
    run = crowded()
    figure = draw_trends(run)
    assert_readable(figure)
    words = " ".join(text for text, _ in words_of(figure)).replace("\n", " ")
    assert "torque (right)" in words and all(f"{0.2 * k:.1f}\u00a0m" in words for k in range(1, 5))  # never cut off
    assert "(logarithmic)" in words and "more in the series" in words and "off the scale" in words
    assert style.png(figure, run.title)
    run = replace(run, profiles={HOSTILE: run.profiles["clarifier"]})
    assert_readable(draw_bed(run, HOSTILE))


def test_pictures_have_the_size_of_their_panels() -> None:
    """Width is fixed, height grows with the panels; a day of nine panels stays a page high."""
    run = gravel()
    width, height = size_of(style.png(draw_trends(run), "x"))
    assert width == round(style.WIDTH * style.DPI) and 1400 < height < 2000
    few = {name: one for name, one in run.series.items() if name.startswith("sump")}
    assert size_of(style.png(draw_trends(replace(run, series=few)), "x"))[1] < height / 2
    assert size_of(style.png(draw_bed(run, "clarifier"), "x"))[0] == width


def test_the_same_run_gives_the_same_bytes_whatever_the_user_draws_with() -> None:
    """Neither the hour nor a user's own drawing settings go in."""
    run = gravel()
    first = style.png(draw_trends(run), "x"), style.png(draw_bed(run, "clarifier"), "x")
    with matplotlib.rc_context({"font.size": 20, "savefig.bbox": "tight", "axes.facecolor": "red", "savefig.dpi": 30}):
        second = style.png(draw_trends(run), "x"), style.png(draw_bed(run, "clarifier"), "x")
    assert first == second
    assert b"tIME" not in first[0]


def lines_at(axes: Any, value: float) -> list[Any]:
    """Level lines across an axis at a value."""
    return [x for x in axes.lines if len(x.get_ydata()) == 2 and set(np.asarray(x.get_ydata())) == {value}]


def test_axes_limits_shifts_and_lines_are_drawn() -> None:
    """Every axis has its unit, limits are dashed with their words, running times are shaded with a key."""
    run = gravel()
    figure = draw_trends(run)
    by_title = {axes.get_title(loc="left"): axes for axes in figure.axes if axes.get_title(loc="left")}
    assert len(by_title) == 9
    assert all(axes.get_ylabel() for axes in figure.axes)
    assert {axes.get_ylabel() for axes in figure.axes} >= {"m³/h", "m", "%", "NTU", "kg/h"}
    sump = by_title["Sump level"]
    for value in (3.2, 2.0):
        (line,) = lines_at(sump, value)
        assert line.is_dashed()
    key = [text.get_text() for text in sump.get_legend().get_texts()]
    assert key == ["sump", "high level alarm, 3.2\u00a0m", "level set point, 2\u00a0m"]
    assert figure.legends[0].get_texts()[0].get_text() == "wash plant running"
    for axes in by_title.values():
        spans = [path.get_extents() for c in axes.collections for path in c.get_paths() if c.get_zorder() == 0.1]
        assert [(box.x0, box.x1) for box in spans] == run.running
        assert axes.get_xlim() == (0.0, run.seconds)
        legend = axes.get_legend()
        assert legend.get_window_extent().x0 > axes.get_window_extent().x1
    assert "clock hours" in figure.axes[-1].get_xlabel()


def test_a_spike_of_one_row_is_seen() -> None:
    """Pixels change where the spike is, and reach up to it."""
    run = gravel()
    values = run.series["sump.level"].values.copy()
    values[4321] = 2.9
    run_spiked = replace(run, series={**run.series, "sump.level": replace(run.series["sump.level"], values=values)})
    plain, spiked = (
        matplotlib.image.imread(io.BytesIO(style.png(draw_trends(r), "x")))[:, :, :3] for r in (run, run_spiked)
    )
    rows, columns = np.nonzero(np.abs(plain - spiked).max(axis=2) > 0.15)
    middle = (style.LEFT + style.AXES_WIDTH * 4321 * 10 / 86400) * style.DPI
    assert np.abs(columns - middle).max() < 4
    assert rows.max() - rows.min() > 0.2 * 1.2 * style.DPI


def test_a_calm_quantity_looks_calm_and_a_far_limit_does_not_flatten_the_rest() -> None:
    """A wander of a thousandth fills no axis; a stopped pump lies on zero; a limit is drawn up to five times off."""
    run = gravel()
    calm = Series(2.0 + 0.001 * np.sin(run.time), "m", "")
    still = Series(np.zeros(len(run.time)), "%", "")
    limits = [Limit("sump.level", 9.0, "wall", "limit"), Limit("sump.level", 11.0, "sky", "limit")]
    run = replace(run, series={"sump.level": calm, "P-1.head": still, "P-1.speed": still}, limits=[])
    sump, pump = draw_trends(run).axes
    assert np.ptp(sump.get_ylim()) > 0.2 and sump.get_ylim()[0] < 1.95 < 2.05 < sump.get_ylim()[1]
    assert pump.get_ylim()[0] == 0.0 and pump.get_ylim()[1] > 1.0
    sump = draw_trends(replace(run, limits=limits)).axes[0]
    assert 9.0 < sump.get_ylim()[1] < 11.0 and lines_at(sump, 9.0) and not lines_at(sump, 11.0)
    assert [text.get_text() for text in sump.get_legend().get_texts()][2].replace("\n", " ").endswith("(off the scale)")


def test_the_bed_is_drawn_where_it_is() -> None:
    """Heights in either order give the same image; the bed level is a line on it; the colour bar has its unit."""
    run = gravel()
    profile = run.profiles["clarifier"]
    figure = draw_bed(run, "clarifier")
    turned = replace(run, profiles={"clarifier": Profile(profile.heights[::-1].copy(), profile.values[:, ::-1].copy())})
    assert style.png(figure, "x") == style.png(draw_bed(turned, "clarifier"), "x")
    axes, bar = figure.axes
    image = axes.collections[0].get_array()
    assert image.shape[0] == len(profile.heights)
    assert image[0].mean() > 200 > 30 > image[-1].mean()
    assert bar.get_ylabel() == "solids, kg/m³" and axes.get_ylabel() == "height above the cone bottom, m"
    level = axes.lines[0].get_ydata()
    assert level.min() == pytest.approx(run.series["clarifier.bed_level"].values.min(), abs=0.05)
    assert axes.get_ylim()[1] == pytest.approx(4.8, rel=1e-9)


def test_odd_runs_are_drawn_too() -> None:
    """One row, nothing recorded, all gaps, one layer: a picture, no complaint."""
    run = gravel()
    one = replace(run, time=run.time[:1], series={n: replace(s, values=s.values[:1]) for n, s in run.series.items()},
                  profiles={"clarifier": Profile(np.array([1.0]), np.array([[np.nan]]))})  # fmt: skip
    gaps = replace(run, series={"sump.level": Series(np.full(len(run.time), np.nan), "m", "")})
    flat = replace(run, series={"clarifier.turbidity": Series(np.zeros(len(run.time)), "NTU", "")})
    empty = replace(run, time=np.zeros(0), series={}, seconds=0.0, running=[])
    for odd in (one, gaps, flat, empty):
        assert size_of(style.png(draw_trends(odd), "x"))[1] > 100
    assert size_of(style.png(draw_bed(one, "clarifier"), "x"))[1] > 100
