"""`plantsim bump`: bump or relay tests of one loop on the simulated plant, and the models they give."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from plantsim.cli.tables import number, table

if TYPE_CHECKING:
    from plantsim.analysis.bump import BumpTest, OperatingPoint
    from plantsim.analysis.identify import Identification, Record
    from plantsim.analysis.relay import RelayTest

CAUTION = ("Simulated values of one operating point. Prove settings that rest on them by bump tests on site, by "
           "qualified people, with limits and interlocks tested first.")  # fmt: skip


UNLIKE = 1.5
"""Ratio of gains between steps from which on it is said."""


def add(commands: Any, shared: argparse.ArgumentParser) -> None:
    """Add the command to a parser."""
    p = commands.add_parser(
        "bump", parents=[shared], help="bump a loop of a plant and find its process model",
        description="Settle the plant of a configuration file, put one of its loops by hand, move it by steps, each "
                    "from the same state, wait for the answer, and fit a process model to it. Says all it does. "
                    "Loops stand in the file under 'loops:'.",
    )  # fmt: skip
    p.add_argument("file", metavar="FILE", help="configuration of the plant (YAML)")
    p.add_argument("--loop", required=True, metavar="TAG", help="the loop, such as AIC-201")
    p.add_argument("--step", action="append", metavar="SIZE", dest="steps",
                   help="+20%%: a share of the present output; '+5 g/m3' or +5: in its unit; without a sign: both "
                        "ways; write --step=-20%% for a fall; may be repeated (10%% and 20%%)")  # fmt: skip
    p.add_argument("--output", type=float, metavar="VALUE", help="output before the test (where the plant stands)")
    p.add_argument("--feed", default="100%", metavar="SHARE", help="feed of the wash plants, of the file's (100%%)")
    p.add_argument("--wait", metavar="TIME", help="time recorded after each move (until the measurement stands still)")
    p.add_argument("--relay", action="store_true", help="a relay test; its amplitude is the first --step (10%%)")
    p.add_argument("--hysteresis", type=float, metavar="VALUE",
                   help="half the relay's band, in the instrument's unit (from the noise)")  # fmt: skip
    p.add_argument("--restless", action="store_true", help="leave wander, calendar, failures and acts at work")
    p.add_argument("--seed", type=int, default=1, metavar="N", help="seed of noise and weather (1)")
    p.add_argument("--set", action="append", default=[], metavar="KEY=VALUE", dest="overrides",
                   help="replace one value of the file; may be repeated")  # fmt: skip
    p.add_argument("--csv", metavar="OUT.csv", help="write the record, which 'plantsim identify' reads; several are "
                                                    "numbered OUT-1.csv, OUT-2.csv ...")  # fmt: skip
    p.add_argument("--picture", metavar="OUT.png", help="draw record, fit and residuals; several are numbered")
    p.add_argument("--json", action="store_true", help="print one JSON object")
    p.set_defaults(execute=execute)


def execute(args: argparse.Namespace) -> int:
    """Do it."""
    from plantsim.analysis.bump import bump
    from plantsim.analysis.bump_rig import loop_named
    from plantsim.analysis.relay import relay
    from plantsim.cli.run import COMPILE_WORDS, kernel_is_compiled
    from plantsim.errors import UnitError
    from plantsim.plant.build import load_model
    from plantsim.units import to_si

    at = _operating_point(args)
    try:
        wait = to_si(args.wait, "time") if args.wait else None
    except UnitError as error:
        raise UnitError(f"--wait: {error}") from None
    model = load_model(args.file, args.overrides)
    loop_named(model, args.loop)  # before the kernel is compiled
    if not kernel_is_compiled():
        print(COMPILE_WORDS, file=sys.stderr, flush=True)
    tell = None if args.json else lambda words: print(words, flush=True)
    if args.relay:
        size = (args.steps or ["10%"])[0]
        swing = relay(lambda: model, args.loop, at, size, args.hysteresis, seed=args.seed, quiet=not args.restless,
                      tell=tell)  # fmt: skip
        paths = _write(args.csv, [swing.record])
        print(_relay_json(swing, paths) if args.json else _relay_words(swing, paths))
        return 0
    test = bump(lambda: model, args.loop, at, args.steps, wait, args.seed, not args.restless, tell)
    found = _identified(test)
    paths = _write(args.csv, test.records)
    pictures = _draw(args.picture, found)
    if args.json:
        print(_bump_json(test, found, paths, pictures))
    else:
        print(_bump_words(test, found, paths, pictures))
    return 0


def _operating_point(args: argparse.Namespace) -> OperatingPoint:
    from plantsim.analysis.bump import OperatingPoint
    from plantsim.errors import UnitError
    from plantsim.units import to_si

    try:
        return OperatingPoint(args.output, to_si(args.feed, "fraction"))
    except UnitError as error:
        raise UnitError(f"--feed: {error}") from None


def _identified(test: BumpTest) -> list[Identification | str]:
    """Identification of every bump, or why there is none."""
    from plantsim.analysis.identify import RecordError, identify

    found: list[Identification | str] = []
    for one in test.bumps:
        try:
            found.append(identify(one.record, u_range=_range(test)))
        except RecordError as error:
            found.append(str(error))
    return found


def _range(test: BumpTest) -> tuple[float, float] | None:
    """Range of the output, for one in per cent of travel."""
    return (0.0, 100.0) if test.loop.moves.tag >= 0 and test.loop.moves.unit == "%" else None


def _numbered(asked: str, count: int) -> list[Path]:
    path = Path(asked)
    if count == 1:
        return [path]
    return [path.with_name(f"{path.stem}-{i + 1}{path.suffix}") for i in range(count)]


def _write(asked: str | None, records: list[Record]) -> list[str]:
    from plantsim.analysis.bump import write_record

    if asked is None:
        return []
    paths = _numbered(asked, len(records))
    for path, record in zip(paths, records, strict=True):
        write_record(record, path)
    return [str(path) for path in paths]


def _draw(asked: str | None, found: list[Identification | str]) -> list[str]:
    from plantsim.cli import identify

    if asked is None:
        return []
    drawn = []
    for path, one in zip(_numbered(asked, len(found)), found, strict=True):
        if not isinstance(one, str) and one.best is not None:
            identify._draw(one, path)
            drawn.append(str(path))
    return drawn


def _bump_words(
    test: BumpTest, found: list[Identification | str], paths: list[str], pictures: list[str]
) -> str:  # fmt: skip
    from plantsim.analysis.identify.checks import unit_of_time

    unit = "" if test.loop.moves.unit == "1" else f" {test.loop.moves.unit}"
    rows, notes = [], []
    slowest = max((one.best["L"] + sum(one.best.lags) for one in found if not isinstance(one, str) and one.best),
                  default=60.0)  # fmt: skip
    size, time = unit_of_time(slowest)
    for one, model in zip(test.bumps, found, strict=True):
        step = f"{one.size:+.4g}{unit}"
        if isinstance(model, str) or model.best is None:
            rows.append([step, "none", "", "", "", "", "no"])
            notes += [f"step {step}: refused: {model}"] if isinstance(model, str) else []
        else:
            best = model.best
            gain = best.parameters[best.model.factors[0]]
            factor, shown = (size, f"{gain.unit[:-1]}{time}") if gain.unit.endswith("/s") else (1.0, gain.unit)
            rows.append([step, best.model.title, number(gain.value * factor), shown, number(sum(best.lags) / size),
                         number(best["L"] / size), "yes" if model.accepted else "no"])  # fmt: skip
        if not isinstance(model, str):
            notes += [f"step {step}: refused: {text}" for text in model.refusals]
            notes += [f"step {step}: warning: {text}" for text in model.warnings]
    notes += _unlike(found)
    head = ["step", "model", "gain", "unit", f"lags [{time}]", f"dead time [{time}]", "of use"]
    lines = ["", table(rows, head, right=[0, 2, 4, 5])]
    if test.loop.through:
        lines.append(f"of the dead time, {number(test.transit / size)} {time} are the transit of {test.loop.through}")
    lines += [*notes, *(f"record: {path}" for path in paths), *(f"picture: {path}" for path in pictures), CAUTION]
    return "\n".join(lines)


def _unlike(found: list[Identification | str]) -> list[str]:
    """Whether the steps of use disagree about the gain."""
    best = [one.best for one in found if not isinstance(one, str) and one.best is not None and one.accepted]
    gains = [abs(one.parameters[one.model.factors[0]].value) for one in best]
    if len({one.model.integrating for one in best}) != 1 or max(gains) <= UNLIKE * min(gains):
        return []
    return [f"the gain differs by a factor of {max(gains) / min(gains):.2g} between the steps of use: the process is "
            "not straight here, and one model does not hold for all; tune for the largest gain"]  # fmt: skip


def _relay_words(test: RelayTest, paths: list[str]) -> str:
    from plantsim.plant.program_variables import spelled

    unit = test.loop.measures.unit
    lines = [f"relay of {number(test.relay)} {test.loop.moves.unit} about {number(test.output)}, band of "
             f"{number(test.hysteresis)} {unit} about {number(test.rest)}"]  # fmt: skip
    rows = [[str(i + 1), spelled(round(c.period)), number(c.amplitude), number(c.high), number(c.low),
             f"{c.asymmetry:+.2f}"] for i, c in enumerate(test.cycles)]  # fmt: skip
    if rows:
        head = ["swing", "period", f"amplitude [{unit}]", "high", "low", "asymmetry"]
        lines += ["", table(rows, head, right=[2, 3, 4, 5])]
    return "\n".join([*lines, *(f"record: {path}" for path in paths), CAUTION])


def _bump_json(
    test: BumpTest, found: list[Identification | str], paths: list[str], pictures: list[str]
) -> str:  # fmt: skip
    import json

    from plantsim.cli.identify import as_json

    bumps = []
    for i, (one, model) in enumerate(zip(test.bumps, found, strict=True)):
        bumps.append({
            "before": one.before, "after": one.after, "moved_at": one.moved_at, "settled": one.settled,
            "broken_off": one.broken, "change": one.change, "csv": paths[i] if paths else None,
            "identification": {"refusals": [model]} if isinstance(model, str) else json.loads(as_json(model, True)),
        })  # fmt: skip
    whole = {**_head(test), "transit": test.transit, "noise": test.noise, "bumps": bumps, "pictures": pictures,
             "journal": test.journal, "caution": CAUTION}  # fmt: skip
    return json.dumps(whole, indent=1, allow_nan=False)


def _relay_json(test: RelayTest, paths: list[str]) -> str:
    import json
    from dataclasses import asdict

    derived = ("period", "amplitude", "asymmetry")
    cycles = [{**asdict(c), **{key: getattr(c, key) for key in derived}} for c in test.cycles]
    ultimate = None if test.ultimate is None else {"gain": test.ultimate.Ku, "period": test.ultimate.Pu}
    whole = {**_head(test), "relay": test.relay, "hysteresis": test.hysteresis, "gain_sign": test.gain_sign,
             "steady": test.steady, "cycles": cycles, "ultimate": ultimate, "csv": paths[0] if paths else None,
             "journal": test.journal, "caution": CAUTION}  # fmt: skip
    return json.dumps(whole, indent=1, allow_nan=False)


def _head(test: BumpTest | RelayTest) -> dict[str, Any]:
    loop = test.loop
    return {
        "loop": loop.name, "measures": loop.measures.name, "moves": loop.moves.name, "output": test.output,
        "rest": test.rest, "units": {"time": "s", "output": loop.moves.unit, "measurement": loop.measures.unit},
    }  # fmt: skip
