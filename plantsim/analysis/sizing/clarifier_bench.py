"""The clarifier proved by simulation: the whole plant of the file, with its control, at the corners of its design.

Formulas of settling take a steady feed, one dose and still water. Here the plant runs as its file has it, and then
with the greatest feed, with a sticky face, in the coldest month, and with all three; its own control answers.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from plantsim.analysis.sizing.result import Line, NotSized, Plot, Result, Sheet, inputs

SIMULATED = "simulation of the whole plant file with its control programs"
MOST_OVER = 5.0
"""Part of the running time that may lie above the turbidity limit [%]."""


@dataclass(frozen=True)
class Corner:
    """One corner of the design envelope: its name, and values of the plant file that change."""

    key: str
    name: str
    overrides: tuple[str, ...]


def corners(tree: Any, coldest: float) -> tuple[list[Corner], list[str]]:
    """Corners of the envelope of a plant file, and what of it the file cannot tell.

    Parameters
    ----------
    tree : Tree
        The plant file as read.
    coldest : float
        Coldest water, [degC]
    """
    names = [n for n, u in tree.units.items() if u.kind == "source"]
    if not names:
        raise NotSized("found no wash plant in the plant file; allowed: one, to prove the clarifier by running it")
    left: list[str] = []
    feed, sticky = [], []
    for name in names:
        source = tree.units[name]
        feed.append(f"units.{name}.production={3.6 * source.production * (1.0 + 2.0 * source.wander_feed):.6g} t/h")
        clay = source.faces.high if source.faces is not None else min(1.0, 2.0 * source.clay)
        sticky.append(f"units.{name}.clay={100.0 * clay:.6g} %")
        if source.faces is None:
            left.append(f"{name} has no digging faces: the sticky one is taken with twice its clay")
    wet = [*(n for n, u in tree.units.items() if u.kind in ("vessel", "clarifier")), *names]
    cold = [f"units.{n}.temperature={coldest:g} degC" for n in wet]
    weather = tree.weather
    months: list[Any] = [getattr(weather, m) if m in weather else None for m in _MONTHS] if weather is not None else []
    if months and all(month is not None for month in months):
        month = min(range(12), key=lambda k: months[k].temperature) + 1
        start = tree.site.start
        first = start.replace(month=month, day=1)
        first = first.replace(day=1 + (start.weekday() - first.weekday()) % 7)
        cold.append(f"site.start={first:%Y-%m-%d %H:%M}")
    else:
        left.append("no monthly weather: the cold corner is cold at its start only")
    return [
        Corner("file", "as the file has it", ()),
        Corner("feed", "greatest feed", tuple(feed)),
        Corner("sticky", "sticky face", tuple(sticky)),
        Corner("cold", "coldest month", tuple(cold)),
        Corner("worst", "all three", (*feed, *sticky, *cold)),
    ], left


_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")


def prove(
    path: Path, overrides: Sequence[str], tree: Any, name: str, coldest: float, seconds: float, seed: int
) -> Sheet:  # fmt: skip
    """Run the plant at every corner, and judge clarity, bed and rake.

    Parameters
    ----------
    path, overrides : Path, sequence of str
        The plant file, and its values replaced.
    tree : Tree
        The same, as read.
    name : str
        The clarifier.
    coldest : float
        Coldest water, [degC]
    seconds : float
        Length of each run that is judged; as long a run goes before it, [s]
    seed : int
        Of the random feed.
    """
    cases, left = corners(tree, coldest)
    sheet = Sheet(f"Clarifier proved by simulation: {name}", left_out=left, cautions=[
        "Simulated values: the laws are the plant file's. Prove clarity, bed and rake on the real plant.",
        "One run of each corner: another seed or a longer run may be worse.",
    ])  # fmt: skip
    shown: list[tuple[str, float, float]] = []
    for case in cases:
        figures = run_corner(path, [*overrides, *case.overrides], seconds, seed)
        given = inputs(("time judged", seconds, "s", "h"), ("area", _area(tree, name), "m2", "m2"))
        changed = "; ".join(case.overrides) or "nothing changed"
        p95, over = figures.get(f"{name}.overflow_turbidity_p95"), figures.get(f"{name}.turbidity_over_limit")
        if p95 is None or over is None:
            sheet.left_out.append(f"{case.name}: nothing ran over the weir; allowed: a run in which the plant washes")
            continue
        bed, torque = figures[f"{name}.bed_level_max"], figures.get(f"{name}.torque_max")
        high = figures[f"{name}.bed_high_time"]
        words = over.meaning.split("overflow ")[1]
        formula = f"95 % of the running time; {changed}"
        sheet.add(Result(f"{case.key}_turbidity", f"turbidity of the overflow, {case.name}", p95.value, "NTU", formula,
                         given, SIMULATED, (), "", f"{over.value:.3g} % of the time {words}", over.value <= MOST_OVER),
                  Result(f"{case.key}_bed", f"highest bed, {case.name}", bed.value, "m", f"highest recorded; {changed}",
                         given, SIMULATED, (), "m", f"{high.value:.3g} h {high.meaning.removeprefix('time with ')}",
                         high.value <= 0.0))  # fmt: skip
        if torque is not None:
            kept = torque.value < 100.0
            sheet.add(Result(f"{case.key}_torque", f"highest rake torque, {case.name}", torque.value / 100.0, "-",
                             f"highest recorded, of its limit; {changed}", given, SIMULATED, (), "%",
                             "below the trip" if kept else "the rake trips", kept))  # fmt: skip
        mud = figures.get(f"{name}.underflow_solids_mean")
        if mud is not None:
            sheet.add(Result(f"{case.key}_mud", f"solids of the underflow, {case.name}", mud.value / 100.0, "-",
                             f"mean while drawn, by mass; {changed}", given, SIMULATED, (), "%"))  # fmt: skip
        shown.append((case.name, over.value, p95.value))
    if shown:
        corner = ", ".join(f"{k} {n}" for k, (n, _, _) in enumerate(shown, 1))
        sheet.plots.append(Plot("envelope", "turbidity of the overflow at the corners of the design", corner, "-", "",
                                "turbidity, 95 % of the time", "NTU", "",
                                (Line("simulated", tuple(float(k) for k in range(1, len(shown) + 1)),
                                      tuple(v for _, _, v in shown), True),)))  # fmt: skip
    broken = [r for r in sheet.results if r.holds is False]
    sheet.add(Result("proved", "corners at which the clarifier holds", float(len(cases) - len(
        {r.key.split("_")[0] for r in broken}) - (len(cases) - len(shown))), "-", "clarity, bed and rake kept",
        inputs(("corners", float(len(cases)), "-")), SIMULATED, (), "",
        "all of them" if not broken and len(shown) == len(cases) else "not at every corner: read which above",
        not broken and len(shown) == len(cases)))  # fmt: skip
    return sheet


def run_corner(path: Path, overrides: Sequence[str], seconds: float, seed: int) -> dict[str, Any]:
    """Figures of one run, by name, after as long a time in which the plant comes to itself."""
    from plantsim.analysis.checks.recording import factors
    from plantsim.analysis.course import Course
    from plantsim.analysis.figures import figures
    from plantsim.arena import Arena
    from plantsim.plant.build import load_model
    from plantsim.sim.simulation import Simulation

    model = load_model(path, overrides)
    sim = Simulation(model, seed)
    sim.run(seconds)
    opening, first = sim.save(), len(sim.recorder.rows)
    sim.run(2.0 * seconds)
    start = Arena(model.arena.counts)
    start.restore(opening.memory)
    recorder = sim.recorder
    series = {channel.name: recorder.rows[first:, i] for i, channel in enumerate(recorder.channels)}
    shown = {channel.name: factors(channel) for channel in recorder.channels}
    return dict(figures(Course(model, start, recorder.every * recorder.step, seconds, series, shown.__getitem__)))


def _area(tree: Any, name: str) -> float:
    return 0.7853981633974483 * float(tree.units[name].diameter) ** 2
