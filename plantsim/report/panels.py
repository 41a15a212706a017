"""Which recorded quantities stand in which panel of the trend picture.

A plant may have any number of any unit under any name, so nothing here knows a name: one table of quantities and
kinds of unit says what a panel shows, and only the panels a plant has something for are drawn.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from plantsim.plant.program_variables import WATCHED
from plantsim.report.words import BARE, clipped, factor

if TYPE_CHECKING:
    from plantsim.store.data import RunData

MOST_LINES = 7
"""Lines in one panel; what is beyond them is counted and stays in the series."""


@dataclass(frozen=True)
class Pick:
    """What belongs on one side of a panel.

    `quantities` are alternatives: a unit shows the first it has. `named` and `unlike` are looked for in the unit's
    name and the words of its quantity. `percent` shows a bare fraction in per cent.
    """

    kinds: tuple[str, ...]
    quantities: tuple[str, ...]
    named: str = ""
    unlike: str = ""
    percent: bool = False
    what: str = ""
    """What the quantity is called beside the unit's name in a panel that shows two of them."""
    title: str = ""
    """Title of the panel when only this side is drawn."""


@dataclass(frozen=True)
class PanelSpec:
    """One row of the table: a panel with its left and right axis."""

    key: str
    title: str
    left: Pick
    right: Pick | None = None
    readings: bool = False
    """Draw what the instruments read beside the true value: where the two can part and control acts on it."""
    wide: bool = False
    """May turn to a logarithmic scale when a few values tower over the rest."""


_CLEAN = r"clean|reuse|recycle|fresh|clear"
_MUD = r"underflow|mud|sludge|tailing"
_POLYMER = r"poly|floc"

PANELS: tuple[PanelSpec, ...] = (
    PanelSpec("flows", "Feed and line flow",
              Pick(("source", "line"), ("flow", "delivered"), unlike=_MUD)),
    PanelSpec("sump", "Sump level", Pick(("vessel",), ("level", "active", "volume"), unlike=_CLEAN), readings=True),
    PanelSpec("pumps", "Pump speed", Pick(("pump",), ("speed", "running"), percent=True)),
    PanelSpec("turbidity", "Overflow turbidity",
              Pick(("clarifier",), ("turbidity", "overflow_solids")), readings=True, wide=True),
    PanelSpec("dose", "Coagulant and polymer dose",
              Pick(("doser",), ("dose", "neat"), unlike=_POLYMER, title="Coagulant dose"),
              Pick(("doser",), ("dose", "neat"), named=_POLYMER, title="Polymer dose")),
    PanelSpec("bed", "Bed level and rake torque",
              Pick(("clarifier",), ("bed_level", "bed_mass"), what="bed", title="Bed level"),
              Pick(("clarifier",), ("torque",), percent=True, what="torque", title="Rake torque")),
    PanelSpec("underflow", "Underflow solids and flow",
              Pick(("clarifier",), ("underflow_fraction", "underflow_solids", "underflow_density"), percent=True,
                   what="solids", title="Underflow solids"),
              Pick(("clarifier",), ("underflow",), what="flow", title="Underflow")),
    PanelSpec("clean", "Clean-water level", Pick(("vessel",), ("level", "active", "volume"), named=_CLEAN)),
    PanelSpec("mud", "Height in the mud cells; mud to the press",
              Pick(("cell",), ("height", "mud_height"), title="Height in the mud cells"),
              Pick(("press",), ("flow", "filtrate_flow"), title="Mud to the press")),
)  # fmt: skip
"""The picture, top to bottom."""

_MARKS: tuple[tuple[str, frozenset[str]], ...] = tuple(
    (kind, frozenset(marks.split()))
    for kind, marks in (
        ("clarifier", "bed_level torque bed_mass underflow_fraction underflow_solids overflow_solids inventory"),
        ("cell", "mud_height strength void consolidated fills mud_solids"),
        ("bank", "filling opening decant_flow ready"),
        ("press", "cycles cake filtrate_flow"),
        ("doser", "dose neat dosed filter_drop filter spent"),
        ("makedown", "activity batches powder unaged"),
        ("line", "velocity delivered deposit blockage transit limit_velocity pump_head friction_head pumped plugged"),
        ("source", "washed clay feed_factor concentration dry dry_stops"),
        ("pump", "head efficiency"),
        ("vessel", "level active volume overflow spilled inflow"),
    )
)
"""Quantities that give away the kind of a unit, the most telling kind first."""

_NAMES: tuple[tuple[str, str], ...] = (
    ("pump", r"\bpump\b|^P-?\d"),
    ("line", r"line\b|pipe"),
)
"""Words in a name that tell the kind of a unit when its quantities do not."""

_PATH = re.compile(r"[^\s,;()]+\.[a-z_]+")


@dataclass(frozen=True)
class Line:
    """One line of a panel, in the unit of its axis."""

    label: str
    channel: str
    values: np.ndarray
    right: bool = False
    reading: bool = False


@dataclass(frozen=True)
class LimitLine:
    """One set point or limit, in the unit of its axis."""

    value: float
    words: str
    kind: str
    right: bool = False


@dataclass
class Panel:
    """What is drawn in one panel; units are those of the two axes."""

    key: str
    title: str
    wide: bool = False
    lines: list[Line] = field(default_factory=list)
    limits: list[LimitLine] = field(default_factory=list)
    units: list[str] = field(default_factory=lambda: ["", ""])
    left_out: int = 0
    """Lines that found no room."""

    @property
    def two_sided(self) -> bool:
        """Whether it has a right axis."""
        return any(line.right for line in self.lines)


def kinds_of(series: Mapping[str, Any]) -> dict[str, str]:
    """Tell the kind of every unit from the quantities it has recorded, else from its name.

    Parameters
    ----------
    series : mapping
        Names such as `sump.level` to series, [-]

    Returns
    -------
    dict
        Unit to kind: 'clarifier', 'line' ...; units that show nothing telling are missing, [-]

    Examples
    --------
    >>> kinds_of({"north.bed_level": None, "north.torque": None, "P-7.flow": None})
    {'north': 'clarifier', 'P-7': 'pump'}
    """
    quantities: dict[str, set[str]] = {}
    for name, one in series.items():
        unit, dot, quantity = name.rpartition(".")
        if dot and not getattr(one, "meaning", "").startswith(WATCHED):  # a program has no quantities
            quantities.setdefault(unit, set()).add(quantity)
    found = {}
    for unit, has in quantities.items():
        kind = next((kind for kind, marks in _MARKS if has & marks), None)
        by_name = next((kind for kind, words in _NAMES if re.search(words, unit, re.IGNORECASE)), None)
        kind = kind or by_name
        if kind is not None:
            found[unit] = kind
    return found


def choose_panels(run: RunData) -> list[Panel]:
    """Fill the panels a run has something for.

    Parameters
    ----------
    run : RunData
        The run, [-]

    Returns
    -------
    list of Panel
        At most nine, in the order of the table, then what was watched of control programs, [-]
    """
    kinds = kinds_of(run.series)
    readings = _readings(run.series)
    panels = []
    for spec in PANELS:
        panel = Panel(spec.key, spec.title, spec.wide)
        for pick, right in ((spec.left, False), (spec.right, True)):
            if pick is not None:
                _fill(panel, pick, right and bool(panel.lines), run.series, kinds, readings if spec.readings else {})
        if panel.lines:
            if not panel.two_sided:
                panel.title = _one_sided(spec, panel, run.series, kinds)
            _crop(panel)
            _add_limits(panel, run, readings)
            panels.append(panel)
    return panels + _watched(run)


def _watched(run: RunData) -> list[Panel]:
    """Panels of the watched variables of control programs: one unit on each side, as few panels as that takes."""
    units: dict[str, list[str]] = {}
    for name, one in run.series.items():
        if one.meaning.startswith(WATCHED):
            units.setdefault("1" if one.unit in BARE else one.unit, []).append(name)
    groups = [names[i : i + MOST_LINES] for names in units.values() for i in range(0, len(names), MOST_LINES)]
    panels = []
    for i in range(0, len(groups), 2):
        panel = Panel("watched", "Watched variables of control programs")
        for side, names in enumerate(groups[i : i + 2]):
            for name in names:
                _add_line(panel, clipped(name, 44), name, run.series[name], bool(side), False, False)
        if panel.lines:
            _crop(panel)
            panels.append(panel)
    return panels


def _readings(series: Mapping[str, Any]) -> dict[str, list[str]]:
    """What is measured -> tags of the instruments that read it, as their meaning says."""
    found: dict[str, list[str]] = {}
    for name, one in series.items():
        if "." not in name:
            for path in _PATH.findall(one.meaning):
                found.setdefault(path.strip("'\"`"), []).append(name)
    return found


def _fill(panel: Panel, pick: Pick, right: bool, series: Mapping[str, Any], kinds: Mapping[str, str],
          readings: Mapping[str, Sequence[str]]) -> None:  # fmt: skip
    for unit, quantity in _matches(pick, series, kinds):
        name = f"{unit}.{quantity}"
        one = series[name]
        label = f"{clipped(unit, 44)} {'running' if quantity == 'running' else pick.what}".rstrip()
        _add_line(panel, label, name, one, right, False, pick.percent)
        for tag in readings.get(name, ()):
            _add_line(panel, f"{tag}, as measured", tag, series[tag], right, True, pick.percent)


def _one_sided(spec: PanelSpec, panel: Panel, series: Mapping[str, Any], kinds: Mapping[str, str]) -> str:
    if spec.right is None:
        return spec.title
    shown = {line.channel for line in panel.lines}
    of_right = any(f"{unit}.{quantity}" in shown for unit, quantity in _matches(spec.right, series, kinds))
    return (spec.right if of_right else spec.left).title or spec.title


def _matches(pick: Pick, series: Mapping[str, Any], kinds: Mapping[str, str]) -> Iterator[tuple[str, str]]:
    for unit, kind in kinds.items():
        if kind not in pick.kinds:
            continue
        quantity = next((q for q in pick.quantities if f"{unit}.{q}" in series), None)
        if quantity is None:
            continue
        text = f"{unit} {series[f'{unit}.{quantity}'].meaning}" if kind == "doser" else unit
        if pick.named and not re.search(pick.named, text, re.IGNORECASE):
            continue
        if pick.unlike and re.search(pick.unlike, text, re.IGNORECASE):
            continue
        yield unit, quantity


def _add_line(panel: Panel, label: str, name: str, one: Any, right: bool, reading: bool, percent: bool) -> None:
    shown = _shown(panel, one.unit, right, percent)
    values = np.asarray(one.values, float)
    if shown is None or not np.isfinite(values).any():
        panel.left_out += shown is None and not reading  # a switch that reads on and off is no reading of a level
        return
    scale, offset = shown
    panel.lines.append(Line(label, name, values if shown == (1.0, 0.0) else values * scale + offset, right, reading))


def _shown(panel: Panel, unit: str, right: bool, percent: bool) -> tuple[float, float] | None:
    """Scale and offset to the unit of the axis, which the first line sets; None when they do not go together."""
    side = int(right)
    if not any(line.right == right for line in panel.lines):
        panel.units[side] = "%" if percent and unit in BARE else unit
    return factor(unit, panel.units[side])


def _crop(panel: Panel) -> None:
    """Keep the first lines of each side, true values before readings, when there are too many."""
    if len(panel.lines) <= MOST_LINES:
        return
    right = [line for line in panel.lines if line.right]
    left = [line for line in panel.lines if not line.right]
    room_right = min(len(right), max(MOST_LINES // 2, MOST_LINES - len(left)))
    kept = {
        id(line)
        for lines, room in ((left, MOST_LINES - room_right), (right, room_right))
        for line in sorted(lines, key=lambda line: line.reading)[:room]
    }
    panel.left_out += len(panel.lines) - len(kept)
    panel.lines = [line for line in panel.lines if id(line) in kept]


def _add_limits(panel: Panel, run: RunData, readings: Mapping[str, Sequence[str]]) -> None:
    several = [len({x.label for x in panel.lines if x.right == right and not x.reading}) > 1 for right in (False, True)]
    seen = set()
    for limit in run.limits:
        for line in panel.lines:
            if limit.channel != line.channel and limit.channel not in readings.get(line.channel, ()):
                continue
            scaled = factor(run.series[limit.channel].unit, panel.units[line.right]) \
                if limit.channel in run.series else (1.0, 0.0)  # fmt: skip
            value = limit.value if scaled is None else limit.value * scaled[0] + scaled[1]
            if scaled is None or not np.isfinite(value) or (value, limit.words) in seen:
                continue
            seen.add((value, limit.words))
            words = f"{clipped(line.label, 22)}: {limit.words}" if several[line.right] else limit.words
            panel.limits.append(LimitLine(float(value), words, limit.kind, line.right))
            break
