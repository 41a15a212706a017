"""Figures and balances of a run as rows of words for the page."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from plantsim import records
from plantsim.analysis.closure import PROMISE, UNIT
from plantsim.report.cautions import CAUTIONS, TOPIC_OF_KIND, TOPICS
from plantsim.report.panels import kinds_of
from plantsim.report.words import number_words, unit_words

if TYPE_CHECKING:
    from plantsim.store.data import RunData

WAYS = {
    "feed": "with the raw feed",
    "supply": "outside water",
    "chemical": "chemicals and the water in them",
    "rain": "rain",
    "spill": "spilt",
    "discharge": "discharged",
    "evaporation": "evaporated",
    "product": "with the washed product",
    "dug": "dug out of mud cells",
    "cake": "press cake",
    "seep": "seeped away",
}
"""Ways over the boundary of the plant, as words."""

_SIGN = dict(zip(records.LEDGER_ROWS, records.LEDGER_SIGN.tolist(), strict=True))
_COLUMNS = (("water", "m3", 1.0), ("solids", "t", 1e-3), ("coagulant", "kg", 1.0), ("polymer", "kg", 1.0))


@dataclass(frozen=True)
class FigureRow:
    """One figure: of what, its name, number, unit and plain meaning."""

    unit: str
    name: str
    number: str
    measure: str
    meaning: str


@dataclass(frozen=True)
class FigureGroup:
    """Figures of one topic, with the cautions that belong beside them."""

    topic: str
    title: str
    rows: tuple[FigureRow, ...]
    cautions: tuple[str, ...]


def figure_groups(run: RunData) -> tuple[list[FigureRow], list[FigureGroup]]:
    """Figures of the whole plant, and those of its units by topic.

    Parameters
    ----------
    run : RunData
        The run, [-]

    Returns
    -------
    plant, groups : list of FigureRow, list of FigureGroup
        Names are those of the run; a unit whose kind cannot be told goes under everything else, [-]
    """
    kinds = kinds_of(run.series)
    plant: list[FigureRow] = []
    topics: dict[str, list[FigureRow]] = {topic: [] for topic in TOPICS}
    for name, figure in run.figures.items():
        unit, dot, what = name.partition(".")
        if not dot:
            unit, what = "plant", name
        row = FigureRow(unit, what.replace("_", " "), number_words(figure.value), unit_words(figure.unit),
                        _sentence(figure.meaning))  # fmt: skip
        if unit == "plant":
            plant.append(row)
        else:
            topics[TOPIC_OF_KIND.get(kinds.get(unit, ""), "control")].append(row)
    groups = [FigureGroup(topic, TOPICS[topic], tuple(rows), CAUTIONS[topic]) for topic, rows in topics.items() if rows]
    return plant, groups


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]


@dataclass(frozen=True)
class BalanceTable:
    """What crossed the boundary: headings, rows with a direction, and the sums of both directions."""

    headings: tuple[str, ...]
    entered: tuple[tuple[str, ...], ...]
    left: tuple[tuple[str, ...], ...]
    sums: tuple[tuple[str, ...], tuple[str, ...]]


def balance_table(run: RunData) -> BalanceTable | None:
    """Tell what came in and went out by which way; ways nothing took are left out.

    Parameters
    ----------
    run : RunData
        The run, [-]

    Returns
    -------
    BalanceTable or None
        None when the run holds no balance, [m3, t, kg]
    """
    if not run.balance:
        return None
    sides: dict[bool, list[tuple[str, ...]]] = {True: [], False: []}
    sums = {True: [0.0] * len(_COLUMNS), False: [0.0] * len(_COLUMNS)}
    for way, amounts in run.balance.items():
        values = [amounts.get(column, 0.0) * scale for column, _, scale in _COLUMNS]
        if not any(values):
            continue
        inward = _SIGN.get(way, -1.0) > 0
        sides[inward].append((WAYS.get(way, way), *(number_words(v) for v in values)))
        sums[inward] = [a + b for a, b in zip(sums[inward], values, strict=True)]
    headings = tuple(f"{column}, {unit_words(unit)}" for column, unit, _ in _COLUMNS)
    return BalanceTable(
        headings, tuple(sides[True]), tuple(sides[False]),
        (tuple(number_words(v) for v in sums[True]), tuple(number_words(v) for v in sums[False])),
    )  # fmt: skip


@dataclass(frozen=True)
class ClosureRow:
    """The balance of one material in words."""

    material: str
    unit: str
    entered: str
    left: str
    turned: str
    change: str
    gap: str
    closes: bool


def closure_rows(run: RunData) -> list[ClosureRow]:
    """Tell for each material how well its balance closes.

    Parameters
    ----------
    run : RunData
        The run, [-]

    Returns
    -------
    list of ClosureRow
        In the order of the run, [m3, kg]
    """
    rows = []
    for material, amounts in run.closure.items():
        gap = amounts.get("gap", float("nan"))
        entered, left, turned, change = (
            number_words(amounts.get(key, float("nan"))) for key in ("in", "out", "reaction", "change")
        )
        rows.append(
            ClosureRow(material, unit_words(UNIT.get(material, "")), entered, left, turned, change,
                       "0" if gap == 0 else f"{gap:.1e}", gap <= PROMISE)
        )  # fmt: skip
    return rows
