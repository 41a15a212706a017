"""Alarms on pages: the list of a plant, and what a run's alarms came to against the targets of the standard."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from plantsim.analysis.alarm_figures import AlarmFigures, alarm_figures
from plantsim.analysis.alarm_list import ListedAlarm, listed, priority_words
from plantsim.analysis.alarm_targets import BAD, BEARABLE, GOOD, SOURCE, WINDOW_DAYS, judge_alarms
from plantsim.report import cautions
from plantsim.report.clock import length_words, moment_words
from plantsim.report.words import number_words, unit_words

if TYPE_CHECKING:
    from plantsim.plant.model import Model
    from plantsim.store.data import RunData

PAGE = "alarms.html"
MOST_CALLS = 60
"""Calls of the operator shown on a page, the first of the run."""
MOST_NAMES = 40
_CLASS = {GOOD: "kept", BEARABLE: "near", BAD: "broken"}


@dataclass(frozen=True)
class FigureRow:
    """One figure of merit in words."""

    name: str
    number: str
    measure: str
    target: str
    window: str
    verdict: str
    look: str


@dataclass(frozen=True)
class CameRow:
    """How one alarm fared: how often it came, how long it stood, and what it did that it should not."""

    alarm: str
    priority: str
    condition: str
    count: int
    standing: str
    remarks: str


@dataclass(frozen=True)
class CallRow:
    """One call of the operator."""

    moment: str
    alarm: str
    value: str
    priority: str
    first: str


@dataclass(frozen=True)
class AlarmPart:
    """Everything a page says of the alarms of a plant, and of a run when there is one."""

    words: str
    rows: tuple[ListedAlarm, ...]
    figures: tuple[FigureRow, ...] = ()
    source: str = ""
    came: tuple[CameRow, ...] = ()
    came_left_out: int = 0
    floods: tuple[str, ...] = ()
    held_back: tuple[str, ...] = ()
    calls: tuple[CallRow, ...] = ()
    calls_left_out: int = 0


def alarm_part(run: RunData) -> AlarmPart | None:
    """What the page of a run says of its alarms; None for a plant without any.

    Parameters
    ----------
    run : RunData
        The run, [-]

    Returns
    -------
    AlarmPart or None
        Words, [-]
    """
    if not run.alarms or not run.seconds > 0.0:
        return None
    figures = alarm_figures(run.alarms, run.alarm_log, run.seconds)
    called = [note for note in run.alarm_log if note.annunciated]
    known = {alarm.name: alarm for alarm in run.alarms}
    calls = [
        CallRow(moment_words(run.when(n.seconds)), n.alarm,
                f"{number_words(n.value)} {unit_words(known[n.alarm].unit)}".rstrip() if known[n.alarm].unit else "",
                known[n.alarm].priority, known[n.alarm].group if n.first else "")
        for n in called[:MOST_CALLS]
    ]  # fmt: skip
    came = [_came(figures, known[name], count) for name, count in figures.by_alarm.items()]
    return AlarmPart(
        priority_words(run.alarms), tuple(listed(run.alarms)), tuple(_figure(j) for j in judge_alarms(figures)),
        f"{SOURCE}, for one operator; the standard wants {WINDOW_DAYS:g} days of data, this run has "
        f"{length_words(run.seconds)}",
        tuple(came[:MOST_NAMES]), len(came[MOST_NAMES:]),
        tuple(f"{moment_words(run.when(f.start))} to {moment_words(run.when(f.stop))}: {f.count} alarms"
              for f in figures.floods),
        tuple(_held_back(figures)), tuple(calls), len(called) - len(calls),
    )  # fmt: skip


def _figure(judged: Any) -> FigureRow:
    seconds = judged.unit == "s"
    if judged.value != judged.value:
        number = "-"
    else:
        number = length_words(round(judged.value)) if seconds else number_words(judged.value)
    return FigureRow(judged.name, number, "" if seconds else unit_words(judged.unit), judged.target, judged.window,
                     judged.verdict, _CLASS.get(judged.verdict, "near" if judged.verdict else ""))  # fmt: skip


def _came(figures: AlarmFigures, alarm: Any, count: int) -> CameRow:
    name = alarm.name
    remarks = []
    if name in figures.chattering:
        remarks.append(f"chatters: {figures.chattering[name]} times in a minute")
    if name in figures.fleeting:
        remarks.append(f"gone by itself within a minute, {figures.fleeting[name]} times")
    if name in figures.stale:
        remarks.append("stale: stood for more than a day")
    if figures.acknowledged and name in figures.waiting:
        remarks.append("not acknowledged at the end")
    standing = length_words(round(figures.standing[name])) if name in figures.standing else ""
    return CameRow(name, alarm.priority, alarm.condition, count, standing, "; ".join(remarks))


def _held_back(figures: AlarmFigures) -> list[str]:
    """One line for each way in which alarms were held back, with the share of the run."""
    ways = (("Suppressed by design", figures.suppressed), ("Shelved", figures.shelved), ("Out of service", figures.out))
    return [
        f"{title}: " + ", ".join(f"{name} {100.0 * time / figures.seconds:.3g} %" for name, time in found.items())
        for title, found in ways if found
    ]  # fmt: skip


def list_page(model: Model) -> str:
    """The list of alarms of a plant as a page.

    Parameters
    ----------
    model : Model
        The plant, [-]

    Returns
    -------
    str
        HTML of the whole page, [-]
    """
    part = AlarmPart(priority_words(model.alarms), tuple(listed(model.alarms)))
    return _page(model.title, {"plant file": model.source_file}, part)


def run_page(run: RunData) -> str:
    """The alarms of a run as a page of their own.

    Parameters
    ----------
    run : RunData
        The run, [-]

    Returns
    -------
    str
        HTML of the whole page, [-]
    """
    facts = {"run": run.run, "length": length_words(run.seconds), "plant file": run.source_file}
    return _page(run.title, facts, alarm_part(run) or AlarmPart(priority_words(run.alarms), ()))


def _page(title: str, facts: dict[str, str], part: AlarmPart) -> str:
    from plantsim.report.page import template

    return str(template(PAGE).render(title=title, facts=facts, alarms=part, cautions=cautions))
