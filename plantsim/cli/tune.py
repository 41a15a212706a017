"""`plantsim tune`: a whole tuning job on a loop of the simulated plant, its page, and gains back into the file."""

from __future__ import annotations

import argparse
import math
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from plantsim.cli import optimise
from plantsim.cli.tables import number, table

if TYPE_CHECKING:
    from plantsim.analysis.tuning.candidates import Candidate
    from plantsim.analysis.tuning.job import TuningJob
    from plantsim.analysis.tuning.write_back import Change

CAUTION = ("Simulated values, of a plant that is a model. They are starting points: prove them by bump tests on site, "
           "by qualified people, with limits and interlocks tested first.")  # fmt: skip


def add(commands: Any, shared: argparse.ArgumentParser) -> None:
    """Add the command to a parser."""
    p = commands.add_parser(
        "tune", parents=[shared], help="tune a loop of a plant: bump, identify, rules, margins, trials, verdict",
        description="Bump a loop of the simulated plant at its operating points, identify it, work out every tuning "
                    "rule in the form the program takes, judge margins over the whole range, try the gains on the "
                    "plant over set-point and load changes, surge, clay and restart, and recommend one. How a loop is "
                    "tuned stands in the plant file under 'loops: TAG: tune:'.",
    )  # fmt: skip
    p.add_argument("file", metavar="FILE", help="configuration of the plant (YAML)")
    p.add_argument("--loop", required=True, metavar="TAG", help="the loop, such as AIC-201")
    p.add_argument("--rule", metavar="NAME", help="take this rule instead of the recommended one, such as 'SIMC PI'")
    p.add_argument("--write", action="store_true",
                   help="put the chosen gains into FILE, keeping its comments and layout, when all checks have passed")
    p.add_argument("--output", metavar="OUT.yaml", help="write the changed file there instead and leave FILE alone")
    p.add_argument("--page", metavar="OUT.html", help="write the verdict page with the settings sheet")
    p.add_argument("--seed", type=int, default=1, metavar="N", help="seed of noise and weather (1)")
    p.add_argument("--threads", type=int, metavar="N", help="threads to use (as many as there are processors)")
    p.add_argument("--set", action="append", default=[], metavar="KEY=VALUE", dest="overrides",
                   help="replace one value of the file; may be repeated")  # fmt: skip
    p.add_argument("--json", action="store_true", help="print one JSON object")
    optimise.add_options(p)
    p.set_defaults(execute=execute)


def execute(args: argparse.Namespace) -> int:
    """Do it."""
    from plantsim.analysis.bump_rig import loop_named
    from plantsim.analysis.tuning.controller import tuned_loop
    from plantsim.analysis.tuning.models import TuningError
    from plantsim.cli.run import COMPILE_WORDS, kernel_is_compiled
    from plantsim.plant.build import load_model
    from plantsim.units import sentence

    _check_words(args)
    if args.optimise:
        return optimise.execute(args)
    model = load_model(args.file, args.overrides)
    tuned_loop(model, loop_named(model, args.loop))  # before the kernel is compiled
    if not kernel_is_compiled():
        print(COMPILE_WORDS, file=sys.stderr, flush=True)
    if args.threads is not None and args.threads < 1:
        raise TuningError(sentence(f"--threads {args.threads}", "1 or more"))
    from plantsim.analysis.tuning.job import tune

    line = _Line()
    quiet = bool(args.json)
    try:
        job = tune(args.file, args.loop, args.overrides, args.rule, args.seed, None if quiet else line.say, line.show,
                   args.threads)  # fmt: skip
    finally:
        line.clear()
    changes: list[Change] | None = None
    target = args.output or (args.file if args.write else None)
    if target is not None:
        from plantsim.analysis.tuning.write_back import changed_file, write

        text, changes = changed_file(job, bool(args.overrides))
        if changes or args.output:
            write(text, target)
    if args.page:
        from plantsim.report.tuning import render

        Path(args.page).write_text(render(job, changes or []), encoding="utf-8", newline="\n")
    print(as_json(job, changes, target) if quiet else in_words(job, changes, target))
    if args.page and not quiet:
        print(f"page: {args.page}")
    return 0


def _check_words(args: argparse.Namespace) -> None:
    """What is wrong with the words, before anything is run."""
    from plantsim.analysis.tuning.models import TuningError
    from plantsim.units import sentence

    for name in ("page", "output"):
        value = getattr(args, name)
        if value is not None and not Path(value).parent.is_dir():
            raise TuningError(f"--{name}: " + sentence(f"'{value}'", "a file in a folder that exists"))
    if args.write and args.output:
        raise TuningError(sentence("--write and --output together", "one of them"))
    if args.write and args.overrides:
        raise TuningError(sentence("--write with --set", "to write gains found for the plant file as it stands"))
    if args.optimise and (args.page or args.rule):
        raise TuningError(sentence("--optimise with --page or --rule", "--optimise with neither"))


class _Line:
    """Journal on the output, and on a terminal one line of progress on the error stream, written over."""

    def __init__(self) -> None:
        self._here, self._shown = sys.stderr.isatty(), False

    def say(self, words: str) -> None:
        self.clear()
        print(words, flush=True)

    def show(self, part: float, words: str) -> None:
        if self._here:
            self._shown = True
            print(f"\r{100.0 * part:3.0f} %  {words:<60.60}", end="", file=sys.stderr, flush=True)

    def clear(self) -> None:
        if self._shown:
            self._shown = False
            print(f"\r{'':<70}\r", end="", file=sys.stderr, flush=True)


def in_words(job: TuningJob, changes: list[Change] | None, target: str | None) -> str:
    """The whole job as tables."""
    from plantsim.analysis.tuning.sheet import sheet_of

    parts = [f"\n{CAUTION}", "\n== models found", _models(job), "\n== rules, with the gains the program takes",
             _rules(job), _left_out(job), "\n== before and after", _before_and_after(job), "\n== verdict",
             job.verdict.reason]  # fmt: skip
    for title, lines in (("better", job.verdict.better), ("worse", job.verdict.worse), ("note", job.verdict.remarks)):
        parts += [f"  {title}: {words}" for words in lines]
    sheet = sheet_of(job)
    parts += ["\n== settings sheet",
              table([[x.what, x.value, x.remark] for x in (*sheet.lines, *sheet.enter)], ["what", "value", "remark"])]
    parts += [f"  {words}" for words in sheet.cautions]
    if changes is not None:
        parts.append("")
        parts += [f"{target}: {change.words}" for change in changes] or [f"{target}: nothing to change"]
    parts.append(f"took {job.seconds:.1f} s")
    return "\n".join(part for part in parts if part)


def _models(job: TuningJob) -> str:
    from plantsim.analysis.identify.checks import unit_of_time

    rows, notes = [], []
    slow = max((one.short.L for p in job.points for one in p.found if one.short is not None), default=60.0)
    size, time = unit_of_time(slow)
    for one in (f for p in job.points for f in p.found):
        best = one.identification.best if one.identification is not None else None
        if one.process is None or best is None:
            rows.append([one.name, "refused", "", "", ""])
        else:
            rows.append([one.name + (" *" if one is job.base else ""), best.model.title, number(one.gain),
                         number(sum(best.lags) / size), number(best["L"] / size)])  # fmt: skip
        notes += [f"  {one.name}: refused: {text}" for text in one.refusals]
        notes += [f"  {one.name}: warning: {text}" for text in one.warnings]
    loop = job.controller.loop
    gain = f"gain [{loop.measures.unit}/({loop.moves.unit})]"
    shown = table(rows, ["bump", "model", gain, f"lags [{time}]", f"dead time [{time}]"], right=[2, 3, 4])
    star = "  * rules are worked out from this one; an integrating process has its slope per s"
    return "\n".join([shown, star, *notes])


def _rules(job: TuningJob) -> str:
    loop = job.controller.loop
    unit, time = f"{loop.moves.unit}/{loop.measures.unit}", "min"
    rows = []
    for one in (*job.candidates, *job.ways):
        trials = job.trials[one.name]
        rows.append([
            one.name + (" *" if one.name == job.verdict.chosen else ""), number(abs(one.settings.Kc), 3),
            number(one.settings.Ti / 60.0, 3) if math.isfinite(one.settings.Ti) else "off",
            ", ".join(f"{job.controller.names[k]} {job.controller.shown(k, v)}" for k, v in one.choice.values),
            _ms(one.nominal.Ms), _ms(one.worst_ms), "yes" if one.holds else "no", *_sums(trials),
        ])  # fmt: skip
    head = ["rule", f"Kc [{unit}]", f"Ti [{time}]", "parameters", "Ms", "worst Ms", "holds range", "trials",
            f"error [{loop.measures.unit} h]", "out of spec [h]", "travel", "chemical [kg]"]  # fmt: skip
    return table(rows, head, right=[1, 2, 4, 5, 7, 8, 9, 10, 11]) + (
        f"\n  * chosen. Trials: all rules at '{job.points[0].name}', the most promising at all operating points; "
        "figures are sums over the trials")  # fmt: skip


def _sums(trials: Any) -> list[str]:
    if not trials:
        return ["0", "", "", "", ""]
    error, out = sum(t.iae for t in trials), sum(t.out_of_spec for t in trials)
    travel, chemical = sum(t.travel for t in trials), sum(t.chemical for t in trials)
    return [str(len(trials)), number(error), number(out, 3), number(travel, 3),
            number(chemical, 4) if math.isfinite(chemical) else ""]  # fmt: skip


def _left_out(job: TuningJob) -> str:
    if not job.left_out:
        return ""
    reasons: dict[str, list[str]] = {}
    for rule, why in job.left_out:
        reasons.setdefault(why, []).append(rule)
    return "\n".join(f"  left out ({why}): {', '.join(rules)}" for why, rules in reasons.items())


def _before_and_after(job: TuningJob) -> str:
    unit = job.controller.loop.measures.unit
    rows = []
    for old, new in job.before_and_after():
        keys = ("iae", "out_of_spec", "peak", "overshoot", "travel")
        pairs = [(getattr(old, key), getattr(new, key)) for key in keys]
        used = f"{number(old.chemical, 4)} -> {number(new.chemical, 4)}" if math.isfinite(old.chemical) else ""
        rows.append([old.case, old.point, *(f"{number(a, 3)} -> {number(b, 3)}" for a, b in pairs), used])
    head = ["case", "at", f"error [{unit} h]", "out of spec [h]", f"farthest off [{unit}]", f"overshoot [{unit}]",
            "travel", "chemical [kg]"]  # fmt: skip
    return table(rows, head)


def _ms(value: float) -> str:
    return f"{value:.2f}" if math.isfinite(value) else "unstable"


def as_json(job: TuningJob, changes: list[Change] | None, target: str | None) -> str:
    """The whole job as one JSON object."""
    import json
    from dataclasses import asdict

    from plantsim.analysis.tuning.sheet import sheet_of

    def plain(value: float) -> float | None:
        return value if math.isfinite(value) else None

    def candidate(one: Candidate) -> dict[str, Any]:
        return {
            "name": one.name, "source": one.asked.source, "Kc": one.settings.Kc, "Ti": plain(one.settings.Ti),
            "Td": one.settings.Td,
            "parameters": {job.controller.names[k]: job.controller.shown(k, v) for k, v in one.choice.values},
            "nominal": {"Ms": plain(one.nominal.Ms), "gain_margin": plain(one.nominal.gain_margin),
                        "phase_margin": plain(one.nominal.phase_margin),
                        "delay_margin": plain(one.nominal.delay_margin)},
            "worst_Ms": plain(one.worst_ms), "governs": one.governs, "holds_range": one.holds,
            "trials": [{k: (plain(v) if isinstance(v, float) else v) for k, v in asdict(t).items() if k != "course"}
                       for t in job.trials[one.name]],
        }  # fmt: skip

    sheet = sheet_of(job)
    loop = job.controller.loop
    whole = {
        "site": job.site, "file": job.file, "loop": loop.name, "caution": CAUTION, "seconds": round(job.seconds, 2),
        "units": {"measurement": loop.measures.unit, "output": loop.moves.unit, "time": "s"},
        "models": [{"bump": one.name, "used_for_rules": one is job.base, "refusals": list(one.refusals),
                    "warnings": one.warnings, "model": repr(one.process) if one.process is not None else None}
                   for p in job.points for one in p.found],
        "rules": [candidate(one) for one in job.candidates], "ways": [candidate(one) for one in job.ways],
        "left_out": [{"rule": rule, "why": why} for rule, why in job.left_out],
        "verdict": {"chosen": job.verdict.chosen, "recommended": job.verdict.recommended,
                    "reason": job.verdict.reason, "better": job.verdict.better, "worse": job.verdict.worse,
                    "remarks": job.verdict.remarks},
        "sheet": [asdict(x) for x in (*sheet.lines, *sheet.enter)],
        "written": None if changes is None else {"file": str(target), "changes": [asdict(c) for c in changes]},
        "journal": job.journal,
    }  # fmt: skip
    return json.dumps(whole, indent=1, allow_nan=False)
