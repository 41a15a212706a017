"""`plantsim run`: simulate a plant and keep the run."""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from plantsim.cli.tables import duration

if TYPE_CHECKING:
    from plantsim.plant.model import Model
    from plantsim.sim.simulation import Simulation
    from plantsim.store.data import RunData
    from plantsim.store.folder import RunFolder

COMPILE_WORDS = "compiling the kernel for this machine, once: less than a minute"
_CHUNK = 20_000  # ticks between two looks at progress and Ctrl-C: some 30 ms


def add(commands: Any, shared: argparse.ArgumentParser) -> None:
    """Add the command to a parser."""
    p = commands.add_parser(
        "run", parents=[shared], help="simulate a plant and keep the run",
        description="Simulate the plant of a configuration file and keep the run in a folder of its own.",
    )  # fmt: skip
    p.add_argument("file", metavar="FILE", help="configuration of the plant (YAML)")
    p.add_argument("--until", default="24h", metavar="TIME", help="length of the run, such as 90min, 24h, 7d (24h)")
    p.add_argument("--seed", type=int, default=1, metavar="N", help="seed of everything random (1)")
    p.add_argument("--set", action="append", default=[], metavar="KEY=VALUE", dest="overrides",
                   help="replace one value of the file, such as site.step=0.5s; may be repeated")  # fmt: skip
    p.add_argument("--watch", action="append", default=[], metavar="PROGRAM.VARIABLE",
                   help="record a variable of a control program too, such as sump-level.wanted; may be repeated")
    p.add_argument("--scenario", metavar="FILE", help="what is done to the plant: a scenario file (YAML)")
    p.add_argument("--upset", metavar="NAME@TIME,...",
                   help="upsets by name, each with its time, such as duty-pump-trip@7h; 'plantsim upsets' lists them")
    p.add_argument("--respond", action="store_true", help="with --upset: the operator answers as the upset describes")
    p.add_argument("--out", metavar="DIR", help="folder of all runs ($PLANTSIM_RUNS, or runs)")
    p.add_argument("--json", action="store_true", help="print one JSON object instead of tables")
    p.add_argument("--no-page", action="store_true", help="leave out the pictures and the HTML page")
    p.set_defaults(execute=execute)


def length(text: str) -> float:
    """Seconds of a length of time given on the command line.

    Raises
    ------
    UnitError
        If it is none, or not above zero.
    """
    from plantsim.errors import UnitError
    from plantsim.units import to_si

    try:
        seconds = to_si(text, "time")
    except UnitError as error:
        raise UnitError(f"--until: {error}") from None
    if not seconds > 0.0:
        raise UnitError(f"--until: found '{text}'; allowed: a length of time above 0 s")
    return seconds


def scenario_asked(args: argparse.Namespace) -> Any:
    """The scenario that the words of a command ask for: a tree, or None."""
    from plantsim.errors import ConfigError
    from plantsim.plant.scenario import open_scenario, scenario_of

    if args.scenario is not None and args.upset is not None:
        raise ConfigError("--upset: found it beside --scenario; allowed: one of them (a scenario names upsets too)")
    if args.respond and args.upset is None:
        raise ConfigError("--respond: found it without --upset; allowed: with --upset, or 'respond: yes' in a scenario")
    if args.scenario is not None:
        return open_scenario(args.scenario)
    if args.upset is None:
        return None
    try:
        return open_scenario(scenario_of(args.upset, args.respond), "--upset")
    except ValueError as error:
        raise ConfigError(f"--upset: {error}") from None


def check_times(model: Model, until: float) -> None:
    """Refuse a scenario with something that would come after the end of the run."""
    from plantsim.errors import ConfigError
    from plantsim.plant.plans import ActPlan

    findings = [
        f"{plan.origin}: found '{plan.words}' at {duration(plan.start.latest)}; allowed: before the end of the run, "
        f"{duration(until)} (--until)"
        for plan in model.plans.items
        if isinstance(plan, ActPlan) and plan.origin != "plant" and plan.start.latest >= until
    ]  # fmt: skip
    if findings:
        raise ConfigError(findings)


def execute(args: argparse.Namespace) -> int:
    """Do it."""
    until = length(args.until)
    from plantsim.report.aside import Aside, worth_while
    from plantsim.sim.loading import no_collecting

    with Aside(not args.no_page and worth_while()) as aside:
        with no_collecting():
            model = _load(args)
        return _execute(args, model, until, aside)


def _load(args: argparse.Namespace) -> Model:
    """The plant that the words of the command ask for."""
    from plantsim.plant.build import load_model

    return load_model(args.file, args.overrides, args.watch, scenario_asked(args))


def _execute(args: argparse.Namespace, model: Model, until: float, aside: Any) -> int:
    check_times(model, until)
    from plantsim.store.folder import RunFolder

    head = {"title": model.title, "source_file": model.source_file, "seed": args.seed,
            "start": model.start.isoformat(), "step": model.step}  # fmt: skip
    folder = RunFolder(Path(args.file).stem, args.out, head)
    simulated = 0.0
    try:
        from plantsim.sim.simulation import Simulation

        if not kernel_is_compiled():
            print(COMPILE_WORDS, file=sys.stderr, flush=True)
        from plantsim.sim.recorder import thin

        thinned = thin(model, until)
        if thinned:
            model.warnings.append(thinned)
        sim = Simulation(model, args.seed, _CHUNK)
        opening = sim.save()
        try:
            data = _simulate(sim, opening, until, folder)
        finally:
            simulated = sim.seconds
        if not args.no_page:
            aside.hand_over(data, folder.path)
            folder.keep(data)
            aside.finish(data, folder.path)
        folder.finish(data)
    except KeyboardInterrupt:
        reason = f"stopped by Ctrl-C after {duration(simulated)} of {duration(until)}"
        folder.abandon(reason)
        raise KeyboardInterrupt(f"{reason}; {folder.path} is left unfinished") from None
    except Exception as error:
        folder.abandon(f"{type(error).__name__}: {error}")
        raise
    _tell(args, data, folder.path)
    return 0


def _simulate(sim: Simulation, opening: Any, until: float, folder: RunFolder) -> RunData:
    from plantsim.store.collect import from_simulation

    bar = Progress(sim.model.step, until) if sys.stderr.isatty() else None
    sim.progress = bar
    try:
        sim.run(until)
    finally:
        if bar is not None:
            bar.clear()
    return from_simulation(sim, opening, folder.name, last=True)


def kernel_is_compiled(function: str = "loop.advance") -> bool:
    """Whether the machine code of the kernel, or of one function of it, is at hand, or not needed."""
    import importlib

    from numba.core import config

    importlib.import_module("plantsim.kernels")  # it names the cache folder
    if getattr(config, "DISABLE_JIT", 0):
        return True
    return any(Path(getattr(config, "CACHE_DIR", "") or ".").rglob(f"{function}*.nbi"))


class Progress:
    """A line on the terminal that says how far a run is.

    Parameters
    ----------
    step : float
        Length of one tick [s].
    until : float
        Length of the run [s].
    write : callable, optional
        Where the line goes; the error stream when left out.
    """

    EVERY = 0.1  # seconds between two lines

    def __init__(self, step: float, until: float, write: Callable[[str], Any] | None = None) -> None:
        self.step, self.until = step, until
        self._write = write or self._to_stderr
        self._next = 0.0
        self._longest = 0

    @staticmethod
    def _to_stderr(text: str) -> None:
        sys.stderr.write(text)
        sys.stderr.flush()

    def __call__(self, tick: int) -> None:
        now = time.monotonic()
        if now < self._next:
            return
        self._next = now + self.EVERY
        done = tick * self.step
        line = f"{100 * done / self.until:3.0f} %  {duration(done)} of {duration(self.until)}"
        self._longest = max(self._longest, len(line))
        self._write("\r" + line.ljust(self._longest))

    def clear(self) -> None:
        """Wipe the line."""
        if self._longest:
            self._write("\r" + " " * self._longest + "\r")


def _tell(args: argparse.Namespace, data: RunData, folder: Path) -> None:
    from plantsim.cli import words

    if args.json:
        print(words.as_json(data, folder=str(folder)))
        return
    print(f"{data.title}: {duration(data.seconds)}, seed {data.seed}")
    print()
    print(words.figures_table(data, words.is_key))
    print()
    watched = words.watched_table(data)
    if watched:
        print(watched)
        print()
    print(words.worst_gap(data))
    for warning in data.warnings:
        print(f"warning: {warning}")
    print(f"kept in {folder}; 'plantsim show {data.run}' shows all figures")
    print(words.CAUTION)
