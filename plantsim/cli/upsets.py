"""`plantsim upsets`: list the upsets that can be put on a plant, and explain one."""

from __future__ import annotations

import argparse
import re
import textwrap
from pathlib import Path
from typing import Any

from plantsim.cli.tables import table


def add(commands: Any, shared: argparse.ArgumentParser) -> None:
    """Add the command to a parser."""
    p = commands.add_parser(
        "upsets", parents=[shared], help="list the upsets that can be put on a plant, or explain one",
        description="List the upsets that can be put on a plant with 'plantsim run FILE --upset NAME@TIME', or "
                    "explain one: its cause, what is seen and when, the answer, and what comes of none.",
    )  # fmt: skip
    p.add_argument("name", nargs="?", metavar="NAME", help="name of an upset; all of them when left out")
    p.add_argument("--plant", metavar="FILE", help="only those this plant has the parts for, with its names of them")
    p.add_argument("--follow", action="store_true",
                   help="with NAME and --plant: run it, and say when each symptom is seen against a run without it")
    p.add_argument("--at", metavar="TIME", help="with --follow: time of the cause; left out: that of its description")
    p.add_argument("--seed", type=int, default=1, metavar="N", help="with --follow: seed of everything random (1)")
    p.set_defaults(execute=execute)


def execute(args: argparse.Namespace) -> int:
    """Do it."""
    from plantsim.errors import ConfigError
    from plantsim.plant.fields import nearest, quoted
    from plantsim.plant.upsets import read_upset, shipped_upsets
    from plantsim.units import sentence

    shipped = shipped_upsets()
    if args.name is not None and args.name not in shipped:
        raise ConfigError(sentence(quoted(args.name), "a name that `plantsim upsets` lists",
                                   nearest(args.name, shipped)))  # fmt: skip
    if args.follow and (args.name is None or args.plant is None):
        raise ConfigError("--follow: found it without NAME and --plant; allowed: with both")
    if args.at is not None and not args.follow:
        raise ConfigError("--at: found it without --follow; allowed: with it")
    if args.follow:
        _follow(args)
        return 0
    places = _places(args.plant) if args.plant is not None else None
    if args.name is not None:
        _explain(args.name, read_upset(shipped[args.name]), places)
        return 0
    rows, lacking = [], []
    for name, path in shipped.items():
        tree = read_upset(path)
        if places is not None:
            missing: list[str] = []
            if _staged(places, tree, name, missing) is None:
                lacking.append(f"{name}: {missing[0]}")
                continue
        rows.append([str(tree.number), name, tree.title])
    print(table(rows, ["no.", "upset", "what it is"], right=[0]))
    for line in lacking:
        print(f"not on this plant: {line}")
    return 0


def _follow(args: argparse.Namespace) -> None:
    """Run an upset calm, missed and responded, and say what came of it."""
    from plantsim.analysis.upset_course import course
    from plantsim.errors import UnitError
    from plantsim.plant.build import load_model
    from plantsim.plant.program_variables import spelled
    from plantsim.units import to_si

    at = None
    if args.at is not None:
        try:
            at = to_si(args.at, "time")
        except UnitError as error:
            raise UnitError(f"--at: {error}") from None
    model = load_model(Path(args.plant), ["site.record_every=2 s"])
    found = course(model, args.name, at, args.seed)
    print(f"{args.name} on {model.title}: {found.upset.title}, at {spelled(found.upset.start.low)}, seed {args.seed}")
    rows = [[spelled(round(d.after)) if d.seen else "not seen", _window(d.symptom.earliest, d.symptom.latest),
             f"{d.symptom.of} {d.symptom.goes} {d.symptom.by}".rstrip(), d.symptom.words]
            for d in found.departures]  # fmt: skip
    print()
    print(table(rows, ["seen after", "said", "departure", "what it is"], right=[0]))
    print()
    rows = [[v.sentence, *(found.runs[how].verdicts[i].outcome for how in found.runs)]
            for i, v in enumerate(found.runs["calm"].verdicts)]  # fmt: skip
    print(table(rows, ["sentence", "nothing done", "nobody acts", "answered"]))
    print()
    print(f"if nobody acts: {found.upset.consequence}")
    print("Times are against the same run, with the same seed, in which nothing is done. Simulated values: those of a "
          "real plant are its own.")  # fmt: skip


def _places(file: str) -> Any:
    from plantsim.plant.acts import Places
    from plantsim.plant.build import load_model

    return Places.of(load_model(Path(file)))


def _staged(places: Any, tree: Any, name: str, findings: list[str]) -> Any:
    from plantsim.plant.acts import make_acts
    from plantsim.plant.plans import Start
    from plantsim.plant.upsets import stage

    start = Start(tree.begin, tree.begin)
    staged = stage(places, tree, name, start, report=lambda key, message: findings.append(message))
    if staged is not None:
        make_acts(places, staged[0] + staged[2])
    return staged if not findings else None


def _explain(name: str, tree: Any, places: Any) -> None:
    def block(title: str, lines: list[str]) -> None:
        print(f"\n{title}")
        for line in lines:
            print(textwrap.fill(line, 100, initial_indent="  ", subsequent_indent="      "))

    findings: list[str] = []
    staged = _staged(places, tree, name, findings) if places is not None else None
    print(f"{name} ({tree.number}): {tree.title}")
    print(textwrap.fill(tree.cause, 100))
    if findings:
        block("not on this plant", findings)
    cast = {part: p.words or f"a {p.kind}" for part, p in tree.parts.items()}
    block("parts", [f"{part}: {words}" + (" (if there is one)" if tree.parts[part].optional else "")
                    for part, words in cast.items()])  # fmt: skip
    if tree.parameters:
        block("can be chosen, with 'with:' in a scenario", [
            f"{key}: {p.words}; {p.value}" + (f" ({p.low or ''} to {p.high or ''})" if p.low or p.high else "")
            for key, p in tree.parameters.items()])  # fmt: skip
    block("what is done", [_doing(act) for act in tree.acts])
    if staged is not None:
        seen = [f"{_window(s.earliest, s.latest)}: {s.words} ({s.of} {s.goes} {s.by}".rstrip() + ")"
                for s in staged[1].symptoms]  # fmt: skip
    else:
        seen = [f"{_window(s['from'], s.until)}: {s.words} ({s.of} {s.goes} {s.by or ''}".rstrip() + ")"
                for s in tree.symptoms]  # fmt: skip
    block("what is seen, in this order, after the cause", seen)
    block("the answer", [_doing(act) for act in tree.respond])
    block("if nobody acts", [tree.consequence])
    missed = staged[1].missed if staged is not None else tree.missed
    block("then these no longer hold", list(missed))
    if tree.note:
        block("what the model leaves out", [tree.note])
    block("cautions", [*tree.cautions, "Simulated values: times and amounts of a real plant are its own. Local codes, "
                                       "permits and licensed practice come first."])
    until, at = (_time(time).replace(" ", "") for time in (tree.begin + tree.horizon, tree.begin))
    print(f"\ntry it: plantsim run configs/{tree.shown_on[0]}.yaml --until {until} --upset {name}@{at}  (and "
          "again with --respond)")


def _window(start: float, stop: float) -> str:
    return f"within {_time(stop)}" if start <= 0.0 else f"{_time(start)} to {_time(stop)}"


def _time(seconds: float) -> str:
    """A length of time without loss: 2 h 1 min, never 2.017 h."""
    from plantsim.plant.program_variables import spelled

    return re.sub(r"([a-z])(\d)", r"\1 \2", re.sub(r"(\d)([a-z])", r"\1 \2", spelled(seconds)))


def _doing(act: Any) -> str:
    wait = act.after if isinstance(act.after, str) else "" if act.after == 0.0 else _time(act.after)
    after = f"after {wait}: " if wait else ""
    over = "" if act.ramp == 0.0 else f" over {act.ramp if isinstance(act.ramp, str) else _time(act.ramp)}"
    last = "" if act.for_ is None else f" for {act.for_ if isinstance(act.for_, str) else _time(act.for_)}"
    return f"{after}{act['set']} to {act.to}{over}{last}" + (f" ({act.note})" if act.note else "")
