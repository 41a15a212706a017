"""The files of a report: the pictures, and one page that holds everything and needs nothing else."""

from __future__ import annotations

import base64
import functools
import re
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import jinja2

from plantsim.analysis.closure import PROMISE
from plantsim.report import cautions, style
from plantsim.report.alarms import alarm_part
from plantsim.report.bed import draw_bed
from plantsim.report.clock import day_words, length_words, moment_words
from plantsim.report.events import group_events
from plantsim.report.panels import choose_panels
from plantsim.report.tables import balance_table, closure_rows, figure_groups
from plantsim.report.trends import draw_trends

if TYPE_CHECKING:
    from plantsim.store.data import RunData

Pictures = list[tuple[str, bytes]]
TRENDS, PAGE = "trends.png", "report.html"

_BESIDE_TRENDS = (("control", "flows"), ("water", "sump"), ("clarifier", "bed"), ("dosing", "dose"), ("mud", "mud"))
"""Topics whose first caution stands beside the trends when that panel is drawn."""


def write_page(run: RunData, folder: Path, draw_beds: Callable[[RunData], Pictures] | None = None) -> list[Path]:
    """Write the pictures and the page of a run.

    Parameters
    ----------
    run : RunData
        The run, [-]
    folder : Path
        Where the files go; it must exist, [-]
    draw_beds : callable, optional
        Gives what `bed_pictures` of the run would, drawn elsewhere meanwhile; called after the trends are, [-]

    Returns
    -------
    list of Path
        `trends.png`, one `bed-<clarifier>.png` for each clarifier with a profile, and `report.html`, which holds
        the pictures too and loads nothing, [-]

    Notes
    -----
    The same run gives the same bytes: nothing of the hour or the machine goes in that the run does not hold.
    """
    pictures = {TRENDS: style.png(draw_trends(run), f"Trends of {run.run}")}
    beds: list[tuple[str, str]] = []
    for clarifier, picture in (draw_beds or bed_pictures)(run):
        name = _file_name(clarifier, pictures)
        pictures[name] = picture
        beds.append((clarifier, name))
    paths = []
    for name, data in pictures.items():
        path = folder / name
        path.write_bytes(data)
        paths.append(path)
    page = folder / PAGE
    page.write_text(render(run, pictures, beds), encoding="utf-8", newline="\n")
    return [*paths, page]


def bed_pictures(run: RunData) -> Pictures:
    """Draw the bed of every clarifier with a profile.

    Parameters
    ----------
    run : RunData
        The run, [-]

    Returns
    -------
    list of (str, bytes)
        Clarifier and PNG, [-]
    """
    return [
        (clarifier, style.png(draw_bed(run, clarifier), f"Solids in {clarifier}"))
        for clarifier, profile in run.profiles.items()
        if len(profile.values) and len(profile.heights)
    ]


def _file_name(clarifier: str, taken: dict[str, bytes]) -> str:
    """Name a picture after a clarifier whatever signs its name has, each name once."""
    stem = "bed-" + (re.sub(r"[^\w.-]+", "_", clarifier).strip(".") or "clarifier")
    name, number = f"{stem}.png", 2
    while name in taken:
        name, number = f"{stem}-{number}.png", number + 1
    return name


def render(run: RunData, pictures: dict[str, bytes], beds: list[tuple[str, str]]) -> str:
    """Fill the page.

    Parameters
    ----------
    run : RunData
        The run, [-]
    pictures : dict of str to bytes
        PNG by file name; `trends.png` among them, [-]
    beds : list of (str, str)
        Clarifier and the file name of its picture, [-]

    Returns
    -------
    str
        HTML of the whole page, [-]
    """
    plant, groups = figure_groups(run)
    panels = {panel.key for panel in choose_panels(run)} if len(run.time) else set()
    events, events_left_out = group_events(run.journal)
    return template(PAGE).render(
        run=run,
        period=_period(run),
        trends=embedded(pictures[TRENDS]),
        topics=[topic for topic, key in _BESIDE_TRENDS if key in panels],
        beds=[(clarifier, embedded(pictures[name])) for clarifier, name in beds],
        plant=plant,
        groups=groups,
        balance=balance_table(run),
        closure=closure_rows(run),
        promise=f"{PROMISE:.0e}",
        alarms=alarm_part(run),
        events=events,
        events_left_out=events_left_out,
        moment=lambda seconds: moment_words(run.when(seconds)),
        cautions=cautions,
    )


def _period(run: RunData) -> str:
    end = run.when(run.seconds)
    return (
        f"{day_words(run.start, True)} {run.start:%H:%M} to {day_words(end, True)} {end:%H:%M}, "
        f"{length_words(run.seconds)}"
    )


def embedded(data: bytes) -> str:
    """PNG bytes as a data address, so that a page needs no other file."""
    return "data:image/png;base64," + base64.b64encode(data).decode("ascii")


@functools.cache
def template(name: str) -> Any:
    """One of our page templates; names and texts are escaped."""
    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(Path(__file__).parent / "templates"), autoescape=True,
        undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True, keep_trailing_newline=True,
    )  # fmt: skip
    return environment.get_template(name)
