"""`plantsim alarms`: the list of alarms of a plant file, or the alarms of a run and their figures of merit."""

from __future__ import annotations

import argparse
import sys
import textwrap
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from plantsim.cli.tables import number, table

if TYPE_CHECKING:
    from plantsim.analysis.alarm_figures import AlarmFigures
    from plantsim.plant.model import Model
    from plantsim.store.data import RunData

_WIDTH = 118
_LAST = 20  # changes of state shown of a run


def add(commands: Any, shared: argparse.ArgumentParser) -> None:
    """Add the command to a parser."""
    p = commands.add_parser(
        "alarms", parents=[shared], help="list the alarms of a plant, or judge those of a run",
        description="For a plant file: the list of its alarms, each with consequence, action and time to respond. For "
                    "a run: how often its alarms came, against the targets of ISA-18.2, and the last changes.",
    )  # fmt: skip
    p.add_argument("what", metavar="FILE|RUN", help="configuration of a plant (YAML); or name of a run, its beginning, "
                                                    "its folder, or 'last'")  # fmt: skip
    p.add_argument("--set", action="append", default=[], metavar="KEY=VALUE", dest="overrides",
                   help="replace one value of the file; may be repeated")  # fmt: skip
    p.add_argument("--out", metavar="DIR", help="folder of all runs ($PLANTSIM_RUNS, or runs)")
    p.add_argument("--csv", nargs="?", const="-", metavar="FILE",
                   help="write the list, or every change of state of a run, as CSV, to FILE if named")  # fmt: skip
    p.add_argument("--page", metavar="FILE", help="write a page (HTML)")
    p.set_defaults(execute=execute)


def execute(args: argparse.Namespace) -> int:
    """Do it."""
    if Path(args.what).suffix in (".yaml", ".yml") or Path(args.what).is_file():
        return _of_file(args)
    return _of_run(args)


def _of_file(args: argparse.Namespace) -> int:
    from plantsim.analysis.alarm_list import list_csv
    from plantsim.plant.build import load_model

    model = load_model(args.what, args.overrides)
    if args.csv is not None:
        _write(args.csv, list_csv(model.alarms))
    if args.page is not None:
        from plantsim.report.alarms import list_page

        _write(args.page, list_page(model))
    if args.csv is None:
        print(list_words(model))
    return _told(args)


def _of_run(args: argparse.Namespace) -> int:
    from plantsim.analysis.alarm_figures import alarm_figures
    from plantsim.cli.listing import finished
    from plantsim.errors import ConfigError
    from plantsim.store.files import alarms_text
    from plantsim.store.folder import find_run, read_run

    if args.overrides:
        raise ConfigError("--set: found with a run, which is over; allowed: with a plant file")
    data = read_run(find_run(args.what, args.out))
    finished(data)
    figures = alarm_figures(data.alarms, data.alarm_log, data.seconds)
    if args.csv is not None:
        _write(args.csv, alarms_text(data))
    if args.page is not None:
        from plantsim.report.alarms import run_page

        _write(args.page, run_page(data))
    if args.csv is None:
        print(run_words(data, figures))
    return _told(args)


def _told(args: argparse.Namespace) -> int:
    """Say which files were written, where that does not spoil what is piped on."""
    for path in (args.csv, args.page):
        if path not in (None, "-"):
            print(f"written: {path}", file=sys.stderr)
    return 0


def _write(where: str, text: str) -> None:
    from plantsim.errors import StoreError
    from plantsim.store.files import write_text

    if where == "-":
        sys.stdout.write(text)
        return
    try:
        write_text(Path(where), text)
    except OSError as error:
        raise StoreError(f"cannot write {where}: {error.strerror or error}") from None


def list_words(model: Model) -> str:
    """The list of alarms: a table, then what each is for."""
    from plantsim.analysis.alarm_list import listed, priority_words
    from plantsim.report.cautions import ALARMS

    rows = listed(model.alarms)
    lines = [f"{model.title}: {priority_words(model.alarms)}"]
    if not rows:
        return "\n".join([*lines, "the plant file has no 'alarms' section"])
    lines += ["", table(
        [[r.alarm, r.priority, r.condition, r.deadband, r.on_delay, r.off_delay, r.respond_within, r.group, r.latching]
         for r in rows],
        ["alarm", "priority", "comes when", "deadband", "on-delay", "off-delay", "respond in", "group", ""],
    ), ""]  # fmt: skip
    for row in rows:
        lines.append(f"{row.alarm}  ({row.priority}, within {row.respond_within})")
        lines += _wrapped("else    ", row.consequence) + _wrapped("do      ", row.action)
        if row.suppressed:
            lines += _wrapped("silent  ", f"by design while {row.suppressed}")
    return "\n".join([*lines, "", *textwrap.wrap(ALARMS, _WIDTH)])


def _wrapped(label: str, text: str) -> list[str]:
    return textwrap.wrap(text, _WIDTH, initial_indent="  " + label, subsequent_indent=" " * (2 + len(label)))


def run_words(data: RunData, figures: AlarmFigures) -> str:
    """Figures of merit of a run against their targets, what came most often, and the last changes."""
    from plantsim.analysis.alarm_list import priority_words, time_words
    from plantsim.analysis.alarm_targets import SOURCE, WINDOW_DAYS, judge_alarms
    from plantsim.report.cautions import ALARMS

    lines = [f"{data.run}: {data.title}", f"{priority_words(data.alarms)}; {time_words(data.seconds)} of run"]
    if not data.alarms:
        return "\n".join([*lines, "its plant file has no 'alarms' section"])
    rows = []
    for j in judge_alarms(figures):
        value = "-" if j.value != j.value else time_words(round(j.value)) if j.unit == "s" else number(j.value, 3)
        rows.append([j.name, value, "" if j.unit == "s" else j.unit, j.target, j.window, j.verdict])
    lines += ["", table(rows, ["figure", "value", "unit", "target", "window", ""], right=[1]),
              f"targets: {SOURCE}, for one operator; the standard wants {WINDOW_DAYS:g} days of data"]  # fmt: skip
    names: tuple[tuple[str, dict[str, Any], Callable[[Any], str]], ...] = (
        ("most frequent", dict(list(figures.by_alarm.items())[:10]), lambda n: f"{n} times"),
        ("chattering", figures.chattering, lambda n: f"{n} times in a minute"),
        ("fleeting", figures.fleeting, lambda n: f"{n} times"),
        ("stale", figures.stale, time_words), ("standing at the end", figures.standing, time_words),
        ("shelved", figures.shelved, time_words), ("out of service", figures.out, time_words),
        ("suppressed by design", figures.suppressed, lambda s: f"{100 * s / figures.seconds:.0f} % of the time"),
    )  # fmt: skip
    told = [(title, [f"{name} {words(value)}" for name, value in found.items()]) for title, found, words in names]
    told += [("floods", [f"{data.when(f.start):%a %H:%M} to {data.when(f.stop):%H:%M}, {f.count} alarms"
                         for f in figures.floods]),
             ("not acknowledged", list(figures.waiting) if figures.acknowledged else [])]  # fmt: skip
    if any(parts for _, parts in told):
        lines.append("")
    for title, parts in told:
        if parts:
            lines += textwrap.wrap(f"{title}: {'; '.join(parts)}", _WIDTH, subsequent_indent="    ")
    called = [note for note in data.alarm_log if "suppressed by design" not in (note.before, note.after)]
    units = {alarm.name: alarm.unit for alarm in data.alarms}
    if called:
        lines += ["", table(
            [[str(data.when(n.seconds)), n.alarm, f"{number(n.value)} {units[n.alarm]}".rstrip(), n.before, n.after,
              "first of its group" if n.first and n.annunciated else "", n.by] for n in called[-_LAST:]],
            ["time", "alarm", "at", "was", "is", "", "by"],
        )]  # fmt: skip
        if len(called) > _LAST:
            lines.append(f"(the last {_LAST} of {len(called)} changes, suppression left out; --csv writes all)")
    return "\n".join([*lines, "", *textwrap.wrap(ALARMS, _WIDTH)])
