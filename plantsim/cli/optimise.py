"""`plantsim tune FILE --loop TAG --optimise`: gains searched on the plant, a front of choices, what each is worth."""

from __future__ import annotations

import argparse
import math
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from plantsim.cli.tables import number, table

if TYPE_CHECKING:
    from plantsim.analysis.tuning.controller import Choice
    from plantsim.analysis.tuning.optimise import Figures, Prices, Search, Tried
    from plantsim.analysis.tuning.optimise_job import Outcome
    from plantsim.analysis.tuning.points import Tested

CAUTION = ("Simulated values, of a plant that is a model. Prove settings by bump tests on site, by qualified people, "
           "with limits and interlocks tested first. Prices are invented until you state yours (--price).")  # fmt: skip
MOST_SHOWN = 12


def add_options(p: argparse.ArgumentParser) -> None:
    """Add the options of the search to the parser of `plantsim tune`."""
    group = p.add_argument_group("search on the plant (--optimise)")
    group.add_argument("--optimise", action="store_true",
                       help="search gains on the plant itself, over upsets and operating points, within the limit "
                            "on Ms, and say what gains by flow, dead-time compensation and feedforward are "
                            "worth")  # fmt: skip
    group.add_argument("--budget", default="5min", metavar="TIME", help="time for the search (5min)")
    group.add_argument("--candidates", type=int, metavar="N", help="end after so many candidates on the plant")
    group.add_argument("--population", type=int, default=8, metavar="N", help="candidates of a generation (8)")
    group.add_argument("--price", action="append", default=[], metavar="WHAT=MONEY", dest="prices",
                       help="out-of-spec (1 h), error (1 unit for 1 h), chemical (1 kg) or travel (1 unit); may be "
                            "repeated")  # fmt: skip
    group.add_argument("--state", metavar="STATE", help="file that keeps every result (TAG-search.json)")
    group.add_argument("--resume", metavar="STATE", help="go on from a state file, running nothing twice")
    group.add_argument("--points-only", action="store_true",
                       help="hold the limit at the operating points only, not in the file's conditions too")
    group.add_argument("--front", metavar="OUT.png", help="draw the front")


def execute(args: argparse.Namespace, points: list[Tested] | None = None, starts: tuple[Choice, ...] = ()) -> int:
    """Do it.

    Parameters
    ----------
    args : Namespace
        Words of the command: `file`, `loop`, `overrides`, `seed`, `json` and those of `add_options`.
    points : list of Tested, optional
        Bump tests at all operating points, where they have been done.
    starts : tuple of Choice
        Parameters to begin with beside the present ones.
    """
    from plantsim.analysis.bump_rig import loop_named
    from plantsim.analysis.tuning.conditions import survey
    from plantsim.analysis.tuning.controller import Controller, needed_overrides, tuned_loop
    from plantsim.analysis.tuning.models import TuningError
    from plantsim.analysis.tuning.optimise_job import Budget, only_bumps, optimise
    from plantsim.cli.run import COMPILE_WORDS, kernel_is_compiled
    from plantsim.errors import UnitError
    from plantsim.plant.build import load_model
    from plantsim.units import sentence, to_si

    try:
        seconds = to_si(args.budget, "time")
    except UnitError as error:
        raise UnitError(f"--budget: {error}") from None
    for name, value, least in (("--candidates", args.candidates, 1), ("--population", args.population, 4)):
        if value is not None and value < least:
            raise TuningError(sentence(f"{name} {value}", f"{least} or more"))
    overrides = list(args.overrides)
    first = load_model(args.file, overrides)
    overrides += needed_overrides(tuned_loop(first, loop_named(first, args.loop)))
    model = load_model(args.file, overrides)
    prices = _prices(args.prices, model, args.loop)
    state = Path(args.resume or args.state or f"{args.loop}-search.json")
    if not state.parent.is_dir():
        raise TuningError(sentence(f"'{state}'", "a file in a folder that exists"))
    if state.exists() and not args.resume:
        raise TuningError(sentence(f"'{state}', the results of an earlier search", f"--resume {state} to go on from "
                                   "them, or another file with --state"))  # fmt: skip
    if not kernel_is_compiled():
        print(COMPILE_WORDS, file=sys.stderr, flush=True)
    line = _Line(args.json)
    try:
        conditions = [] if args.points_only else survey(args.file, Controller(model, model.loops[args.loop]), overrides,
                                                        args.seed, only_bumps(line.say))  # fmt: skip
        found = optimise(
            lambda watch: load_model(args.file, overrides, watch), args.loop, model.resolved,
            Budget(seconds, args.candidates), prices, args.seed, args.population, state, bool(args.resume), points,
            conditions, starts, line.say, line.show,
        )  # fmt: skip
    except KeyboardInterrupt:
        line.clear()
        raise KeyboardInterrupt(
            f"stopped by Ctrl-C; '{state}' keeps what was found: go on with --resume {state}" if state.exists()
            else "stopped by Ctrl-C before the first candidate: nothing to keep") from None  # fmt: skip
    line.clear()
    drawn = _draw(found, args.front)
    written = _written(found, args, overrides)
    if args.json:
        print(as_json(found, state, drawn, written))
    else:
        print("\n".join([in_words(found, state, drawn), *written]))
    return 0


def _written(found: Outcome, args: argparse.Namespace, overrides: list[str]) -> list[str]:
    """Put what was chosen into a plant file, where that was asked for: what was changed, in words."""
    target = args.output or (args.file if args.write else None)
    if target is None:
        return []
    from types import SimpleNamespace

    from plantsim.analysis.tuning.write_back import changed_file, write

    chosen = found.chosen
    if chosen is None or not found.proved or found.everywhere is None:
        return [f"{target}: nothing to change"]
    prices = found.search.prices
    if found.proved[0].figures.cost(prices) >= found.everywhere.cost(prices):
        return [f"{target}: nothing to change, as nothing cheaper than the present parameters was found"]
    job: Any = SimpleNamespace(file=args.file, overrides=overrides, controller=found.search.controller, chosen=chosen)
    text, changes = changed_file(job, bool(args.overrides))
    write(text, target)
    return [f"{target}: {change.words}" for change in changes]


class _Line:
    """Journal and progress: one line that is written over on a terminal, a line now and then elsewhere."""

    def __init__(self, quiet: bool) -> None:
        self._quiet, self._here, self._last = quiet, sys.stderr.isatty(), -math.inf
        self._best = math.inf

    def say(self, words: str) -> None:
        if not self._quiet:
            self.clear()
            print(words, flush=True)

    def show(self, ran: int, seconds: float, figures: Figures) -> None:
        if self._quiet or not (self._here or seconds - self._last >= 15.0):
            return
        self._last = seconds
        words = (f"{ran} candidates in {seconds:.0f} s; the last: {figures.out_of_spec:.3g} h out of spec, Ms "
                 f"{figures.ms:.3g}; Ctrl-C stops and keeps them")  # fmt: skip
        print(f"\r{words:<110}" if self._here else words, end="" if self._here else "\n", file=sys.stderr, flush=True)

    def clear(self) -> None:
        if self._here and math.isfinite(self._last):
            print(f"\r{'':<110}\r", end="", file=sys.stderr, flush=True)


def _prices(asked: list[str], model: Any, loop: str) -> Prices | None:
    from dataclasses import replace

    from plantsim.analysis.tuning.controller import Controller
    from plantsim.analysis.tuning.models import TuningError
    from plantsim.analysis.tuning.optimise_job import usual_prices
    from plantsim.plant.fields import nearest
    from plantsim.units import sentence

    if not asked:
        return None
    one = model.loops[loop]
    controller = Controller(model, one)
    prices = usual_prices(controller, controller.read(model, one.tune.setpoint))
    known = {"out-of-spec": "out_of_spec", "error": "error", "chemical": "chemical", "travel": "travel"}
    for text in asked:
        name, equals, value = text.partition("=")
        if name not in known or not equals:
            raise TuningError(sentence(f"--price '{text}'", ", ".join(f"{key}=MONEY" for key in known),
                                       nearest(name, known)))  # fmt: skip
        try:
            prices = replace(prices, **{known[name]: float(value)})
        except ValueError as error:
            if isinstance(error, TuningError):
                raise
            raise TuningError(sentence(f"--price '{text}'", "a number, 0 or more")) from None
    return prices


def _draw(found: Outcome, asked: str | None) -> str | None:
    from plantsim.errors import StoreError
    from plantsim.report.front import picture
    from plantsim.store.files import write_whole

    if asked is None or not found.search.tried:
        return None
    data = picture(found)
    try:
        write_whole(Path(asked), lambda place: _write(place, data))
    except OSError as error:
        raise StoreError(f"cannot write {asked}: {error.strerror or error}") from None
    return asked


def _write(place: Path, data: bytes) -> None:
    place.write_bytes(data)


def in_words(found: Outcome, state: Path, drawn: str | None) -> str:
    """What was found, as tables and sentences."""
    search, unit = found.search, found.search.controller.loop.measures.unit
    prices = search.prices
    lines = ["", f"{found.ran} candidates ran on the plant in {found.seconds:.0f} s, {len(search.tried)} in all; "
                 f"{search.screened} were beyond Ms {search.limit.most_ms:g} and did not run"]  # fmt: skip
    lines += [f"cost: {prices.out_of_spec:g} an hour out of spec, {prices.error:g} an error of 1 {unit} for an hour, "
              f"{prices.chemical:g} a kg, {prices.travel:g} for 1 {found.travel_unit} of travel "
              "(money)"]  # fmt: skip
    head = ["", "way", "Ms", "out of spec [h]", f"error [{unit} h]", "chemical [kg]", f"travel [{found.travel_unit}]",
            "cost", "parameters"]  # fmt: skip
    best = search.best()
    rows = [_row("present", "", "", found.present, search)]
    front = search.front()
    shown = front if len(front) <= MOST_SHOWN else [
        front[round(i * (len(front) - 1) / (MOST_SHOWN - 1))] for i in range(MOST_SHOWN)]  # fmt: skip
    if best is not None and best not in shown:
        shown = sorted([*shown, best], key=lambda one: one.figures.quality(prices))
    rows += [_row("least cost" if one is best else "", one.way, _parameters(one, search), one.figures, search)
             for one in shown]  # fmt: skip
    more = f" ({len(shown)} of {len(front)} shown)" if len(shown) < len(front) else ""
    lines += ["", f"the front: nothing beats these in quality, chemical and travel together{more}",
              table(rows, head, right=[2, 3, 4, 5, 6, 7]), ""]  # fmt: skip
    lines += [f"{one.way}: {one.words}" for one in found.worths]
    if best is not None and best.figures.cost(prices) >= found.present.cost(prices):
        lines.append(f"nothing within Ms {search.limit.most_ms:g} was found that costs less than the present parameters"
                     + (f", which break it (Ms {_ms(found.present)})" if found.present.ms > search.limit.most_ms
                        else ": search longer"))  # fmt: skip
    if best is None:
        lines.append(f"no candidate kept Ms {search.limit.most_ms:g} over all processes found: search longer, or allow "
                     "more (loops.TAG.tune.most_ms)")  # fmt: skip
    if found.everywhere is not None:
        rows = [_row("present", "", "", found.everywhere, search)]
        rows += [_row("chosen" if i == 0 else "", one.tried.way, _parameters(one.tried, search), one.figures, search)
                 for i, one in enumerate(found.proved)]  # fmt: skip
        lines += ["", f"the cheapest on every case at every one of {len(found.points)} points:",
                  table(rows, head, right=[2, 3, 4, 5, 6, 7])]  # fmt: skip
        if found.proved:
            lines += ["", _verdict(found)]
    if found.chosen is not None and search.limit.over:
        lines += ["", "worst margins over every process found, and where:", _margins(found)]
    chosen = found.chosen
    if chosen is not None:
        block = search.controller.tune.controller
        names, text = search.controller.names, search.controller.shown
        lines += ["", "to try it: " + " ".join(f"--set 'control.{block}.set.{names[name]}={text(name, value)}'"
                                               for name, value in chosen.choice.values)]  # fmt: skip
    lines += ["", f"state: {state} (go on with --resume {state})"]
    lines += [f"picture: {drawn}"] if drawn else []
    return "\n".join([*lines, CAUTION])


def _margins(found: Outcome) -> str:
    """The worst of each margin, present and chosen, over points and conditions; exact, dead time included."""
    from plantsim.analysis.tuning.controller import Choice
    from plantsim.analysis.tuning.predictor import worst_of

    assert found.chosen is not None
    limit = found.search.limit
    worst = [worst_of(limit.margins(choice)) for choice in (Choice(()), found.chosen.choice)]
    rows = []
    for name, key, size in (("gain margin", "gain_margin", 1.0), ("phase margin [deg]", "phase_margin", 1.0),
                            ("delay margin [min]", "delay_margin", 1.0 / 60.0), ("Ms", "Ms", 1.0), ("Mt", "Mt", 1.0)):
        cells = [getattr(one, key) for one in worst]
        rows.append([name, *(part for value, where in cells for part in (_shown(value * size), where))])
    return table(rows, ["margin", "present", "on", "chosen", "on"], right=[1, 3])


def _shown(value: float) -> str:
    return number(value, 3) if math.isfinite(value) else "no limit"


def _verdict(found: Outcome) -> str:
    """What the chosen parameters change against the present ones, over every case at every point."""
    assert found.everywhere is not None
    unit, prices = found.search.controller.loop.measures.unit, found.search.prices
    was, now = found.everywhere, found.proved[0].figures
    if was == now:
        return "the present parameters are the cheapest found: leave them, or search longer"
    parts = [("h out of spec", was.out_of_spec, now.out_of_spec), (f"{unit} h of error", was.iae, now.iae),
             ("kg of chemical", was.chemical, now.chemical), (f"{found.travel_unit} of travel", was.travel, now.travel),
             ("cost", was.cost(prices), now.cost(prices))]  # fmt: skip
    words = [f"{number(a)} to {number(b)} {name}" for name, a, b in parts if math.isfinite(a)]
    return f"chosen against present: {', '.join(words)}; Ms over the range from {_ms(was)} to {_ms(now)}"


def _parameters(one: Tried, search: Search) -> str:
    """The parameters a way turns; what it sets stands in the plant file under its name."""
    controller = search.controller
    turned = {knob.name for way in search.ways if way.name == one.way for knob in way.knobs}
    return ", ".join(f"{name} {controller.shown(name, value)}" for name, value in one.choice.values if name in turned)


def _ms(figures: Figures) -> str:
    return number(figures.ms, 3) if math.isfinite(figures.ms) else "unstable"


def _row(name: str, way: str, words: str, figures: Figures, search: Search) -> list[str]:
    chemical = number(figures.chemical) if math.isfinite(figures.chemical) else ""
    return [name, way, _ms(figures), number(figures.out_of_spec, 3), number(figures.iae, 4), chemical,
            number(figures.travel), number(figures.cost(search.prices)), words]  # fmt: skip


def as_json(found: Outcome, state: Path, drawn: str | None, written: list[str] | None = None) -> str:
    """Everything as one JSON object."""
    import json
    from dataclasses import asdict

    from plantsim.analysis.tuning.controller import Choice
    from plantsim.analysis.tuning.predictor import worst_of

    search = found.search

    def plain(figures: Figures) -> dict[str, float | None]:
        values = {**asdict(figures), "cost": figures.cost(search.prices)}
        return {name: value if math.isfinite(value) else None for name, value in values.items()}

    def margins(choice: Any) -> dict[str, Any]:
        worst = asdict(worst_of(search.limit.margins(choice)))
        return {name: value if isinstance(value, bool) else {"value": value[0] if math.isfinite(value[0]) else None,
                                                             "on": value[1]} for name, value in worst.items()}

    def tried(one: Any) -> dict[str, Any]:
        return {"way": one.way, "parameters": one.choice.mapping, "figures": plain(one.figures)}

    best = search.best()
    whole = {
        "loop": found.loop, "prices": asdict(search.prices), "most_ms": search.limit.most_ms, "trials": found.trials,
        "tried": len(search.tried), "ran": found.ran, "screened": search.screened, "seconds": found.seconds,
        "present": plain(found.present), "best": None if best is None else tried(best),
        "front": [tried(one) for one in search.front()],
        "worth": [{"way": one.way, "saving": one.saving, "words": one.words} for one in found.worths],
        "everywhere": None if found.everywhere is None else {
            "present": plain(found.everywhere),
            "proved": [{**tried(one.tried), "everywhere": plain(one.figures)} for one in found.proved],
        },
        "chosen": None if found.chosen is None else tried(found.chosen),
        "worst_margins": None if found.chosen is None or not search.limit.over else {
            "present": margins(Choice(())), "chosen": margins(found.chosen.choice)},
        "units": {"out_of_spec": "h", "iae": f"{search.controller.loop.measures.unit} h", "chemical": "kg",
                  "travel": found.travel_unit},
        "state": str(state), "picture": drawn, "written": written or [], "caution": CAUTION,
    }  # fmt: skip
    return json.dumps(whole, indent=1, allow_nan=False)
