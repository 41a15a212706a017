"""`plantsim explain`: read an upset in a kept run, from its cause to what answered it."""

from __future__ import annotations

import argparse
import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

from plantsim.cli.tables import duration, number, table

if TYPE_CHECKING:
    from plantsim.analysis.explain import Explanation
    from plantsim.store.data import RunData

PICTURE = "explain.png"


def add(commands: Any, shared: argparse.ArgumentParser) -> None:
    """Add the command to a parser."""
    p = commands.add_parser(
        "explain", parents=[shared], help="read the upset of a run: cause, symptoms, alarms, what the logic did",
        description="Lay out the upset of a kept run in time: its cause, the quantities that left what was usual in "
                    "the order in which they did, the alarms, and what logic and operator did about it.",
    )  # fmt: skip
    p.add_argument("run", metavar="RUN", help="name of the run, its beginning, its folder, or 'last'")
    p.add_argument("--at", metavar="TIME", help="time of the cause after the start (first act or failure in it)")
    p.add_argument("--before", default="2h", metavar="TIME", help="time before it that shows what is usual (2h)")
    p.add_argument("--for", dest="lasts", default="3h", metavar="TIME", help="time after it that is looked at (3h)")
    p.add_argument("--picture", nargs="?", const="", metavar="OUT.png",
                   help=f"draw it on one time axis, in OUT.png or as {PICTURE} in the run's folder")  # fmt: skip
    p.add_argument("--out", metavar="DIR", help="folder of all runs ($PLANTSIM_RUNS, or runs)")
    p.add_argument("--json", action="store_true", help="print one JSON object instead of tables")
    p.set_defaults(execute=execute)


def execute(args: argparse.Namespace) -> int:
    """Do it."""
    from plantsim.analysis.explain import explain
    from plantsim.cli.listing import finished
    from plantsim.cli.matrix import _time as time_of
    from plantsim.errors import ConfigError
    from plantsim.store.folder import find_run, read_run

    at = None if args.at is None else time_of("--at", args.at)
    before, lasts = time_of("--before", args.before), time_of("--for", args.lasts)
    if args.picture and not Path(args.picture).parent.is_dir():
        raise ConfigError(f"--picture: found '{args.picture}'; allowed: a file in a folder that is there")
    folder = find_run(args.run, args.out)
    data = read_run(folder)
    finished(data)
    found = explain(data, at, before, lasts)
    drawn = None
    if args.picture is not None:
        from plantsim.report.explain import picture

        drawn = Path(args.picture) if args.picture else folder / PICTURE
        drawn.write_bytes(picture(data, found))
    print(as_json(data, found, drawn) if args.json else words(data, found, drawn))
    return 0


def after(seconds: float) -> str:
    """A time after the cause.

    >>> after(12.0), after(140.0), after(0.0)
    ('+12 s', '+2.33 min', '+0 s')
    """
    from plantsim.analysis.checks.judge import lasting

    return "+" + lasting(round(seconds))


def words(data: RunData, found: Explanation, drawn: Path | None) -> str:
    """The whole upset as tables."""
    from plantsim.analysis.checks.judge import lasting
    from plantsim.cli.words import CAUTION

    lines = [
        f"{data.run}: {found.cause}",
        f"cause {duration(found.at)} after the start, {data.when(found.at)}; bands from the {lasting(found.before)} "
        f"before it, looked at for {lasting(found.after)}" + (f": {found.ends}" if found.ends else ""),
    ]  # fmt: skip
    lines += _part("causes", [[after(t), text] for t, text in found.causes], ["after", "what"])
    rows = [
        [after(one.after), one.name, "rises" if one.up else "falls",
         f"{number(one.low, 3)} to {number(one.high, 3)}", number(one.farthest, 4), _unit(one.unit),
         ", ".join(one.also)]
        for one in found.symptoms
    ]  # fmt: skip
    head = ["after", "quantity", "goes", "usual band", "farthest", "unit", "with it, of the same unit"]
    lines += _part("symptoms, in order of first departure", rows, head) or ["", "no quantity left its band"]
    rows = [[after(one.after), one.alarm, *_alarm(data, one.alarm),
             "stands" if math.isinf(one.until) else f"gone {after(one.until)}"] for one in found.alarms]  # fmt: skip
    lines += _part("alarms", rows, ["after", "alarm", "priority", "on", "then"]) or ["", "no alarm came"]
    rows = [[after(one.after), one.tag, one.role, one.words, data.series[one.tag].meaning,
             "as before the cause too" if one.usual else ""] for one in found.actions]  # fmt: skip
    lines += _part("what the logic did", rows, ["after", "tag", "role", "did", "meaning", ""]) or ["", "the logic did "
                                                                                                 "nothing"]  # fmt: skip
    lines += _part("what an operator did", [[after(t), text] for t, text in found.answers], ["after", "what"])
    if drawn is not None:
        lines += ["", f"picture: {drawn}"]
    return "\n".join([*lines, "", CAUTION])


def _part(title: str, rows: list[list[str]], head: list[str]) -> list[str]:
    return ["", f"{title}:", table(rows, head, right=[0])] if rows else []


def _unit(unit: str) -> str:
    return "" if unit in ("1", "-") else unit


def _alarm(data: RunData, name: str) -> tuple[str, str]:
    """Priority of an alarm and what it looks at."""
    alarm = next((one for one in data.alarms if one.name == name), None)
    return ("", "") if alarm is None else (alarm.priority, f"{alarm.on} {alarm.compare}")


def as_json(data: RunData, found: Explanation, drawn: Path | None) -> str:
    """The whole upset as one JSON object."""
    import json

    from plantsim.cli.words import CAUTION

    whole = {
        "run": data.run, "cause": found.cause, "at": found.at, "before": found.before, "followed": found.after,
        "ends": found.ends, "causes": [{"after": t, "words": text} for t, text in found.causes],
        "symptoms": [
            {"quantity": one.name, "unit": one.unit, "after": one.after, "goes": "up" if one.up else "down",
             "band": [one.low, one.high], "farthest": one.farthest, "also": list(one.also)}
            for one in found.symptoms
        ],
        "alarms": [{"alarm": one.alarm, "after": one.after, "until": None if math.isinf(one.until) else one.until}
                   for one in found.alarms],
        "actions": [{"tag": one.tag, "role": one.role, "after": one.after, "did": one.words, "usual": one.usual}
                    for one in found.actions],
        "operator": [{"after": t, "words": text} for t, text in found.answers],
        "picture": None if drawn is None else str(drawn), "caution": CAUTION,
    }  # fmt: skip
    return json.dumps(whole, indent=1, allow_nan=False)
