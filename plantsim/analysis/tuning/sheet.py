"""The settings sheet of a loop: what is handed over to those who enter and prove it on site."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass

from plantsim.analysis.tuning.forms import entries
from plantsim.analysis.tuning.job import TuningJob
from plantsim.analysis.tuning.predictor import worst_of
from plantsim.plant.build import load_model

CAUTIONS = (
    "Simulated values. They are starting points, to be proved by bump tests on site by qualified people.",
    "Limits, interlocks and alarms are tested first, with the loop in manual; then the loop is closed with someone "
    "beside it who can take it back to manual.",
    "Local codes, permits and licensed practice come first.",
)
"""Stand on every sheet."""


@dataclass(frozen=True)
class Line:
    """One line of the sheet: what, its value, and a remark."""

    what: str
    value: str
    remark: str = ""


@dataclass(frozen=True)
class Sheet:
    """The sheet: lines in order, the parameters to enter, and the cautions that go with it.

    Parameters
    ----------
    lines : tuple of Line
        The loop, its controller and gains.
    enter : tuple of Line
        Parameters of the program: the new value, and the present one as remark.
    cautions : tuple of str
        What must be read before anything is entered.
    """

    lines: tuple[Line, ...]
    enter: tuple[Line, ...]
    cautions: tuple[str, ...] = CAUTIONS


def sheet_of(job: TuningJob, today: dt.date | None = None) -> Sheet:
    """Settings sheet of the chosen parameters.

    Parameters
    ----------
    job : TuningJob
        The job.
    today : date, optional
        Date to put on it; today's when left out.
    """
    loop, tune, chosen = job.controller.loop, job.controller.tune, job.chosen
    model = load_model(job.file, job.overrides)
    number = model.units[loop.measures.name][1]
    meter = model.arena.instrument_p
    lag, span = float(meter["lag"][number]), (float(meter["low"][number]), float(meter["high"][number]))
    unit = f"{loop.moves.unit}/{loop.measures.unit}" if loop.moves.unit != "1" else f"1/{loop.measures.unit}"
    program = job.controller.tune.program
    lines = [
        Line("tag", loop.name, loop.note),
        Line("measurement", f"{loop.measures.name}, {span[0]:g} to {span[1]:g} {loop.measures.unit}",
             loop.measures.meaning),
        Line("output", f"{loop.moves.name} [{loop.moves.unit}]", f"tested within {loop.low:g} to {loop.high:g}"),
        Line("controller", f"program {program}, block {tune.controller}"),
        Line("form", f"{tune.form}, {chosen.settings.kind}", "u = Kc (e + 1/Ti int e dt + Td de/dt) when standard"),
    ]  # fmt: skip
    for entry in entries(chosen.settings, tune.form):
        if entry.unit == "sign":
            lines.append(Line("action", entry.name.removeprefix("action: "),
                              "direct: the output rises with the measurement"))  # fmt: skip
            continue
        shown = entry.unit.replace("input-unit/output-unit", unit)
        minutes = f"{entry.value / 60.0:.4g} min" if entry.unit == "s" and entry.value >= 120.0 else ""
        lines.append(Line(entry.name, f"{entry.value:.4g} {shown}", minutes))
    if not math.isfinite(chosen.settings.Ti):
        lines.append(Line("integral time", "off"))
    if chosen.settings.Td == 0.0:
        lines.append(Line("derivative time", "off"))
    values = {**job.points[0].values, **chosen.choice.mapping}
    setpoint = job.controller.shown(tune.setpoint, round(values[tune.setpoint], 6))
    worst = worst_of(chosen.each)
    lines += [
        Line("filter of the measurement", "none in the program", f"the transmitter lags {lag:g} s"),
        Line("scan", f"{job.controller.scan:g} s"),
        Line("set point", setpoint, "as the loop was tuned"),
        Line("rule", chosen.name, chosen.asked.source),
        Line("margins where it normally stands",
             f"Ms {chosen.nominal.Ms:.2f}, gain margin {_number(chosen.nominal.gain_margin)}, phase margin "
             f"{_number(chosen.nominal.phase_margin)} deg, delay margin {_time(chosen.nominal.delay_margin)}",
             f"worst of the range: Ms {_number(chosen.worst_ms)} ({chosen.governs})"),
        Line("worst margins of the range",
             f"gain margin {_number(worst.gain_margin[0])}, phase margin {_number(worst.phase_margin[0])} deg, delay "
             f"margin {_time(worst.delay_margin[0])}, Mt {_number(worst.Mt[0])}",
             f"on {worst.gain_margin[1]}, {worst.phase_margin[1]}, {worst.delay_margin[1]}, {worst.Mt[1]}"),
        Line("found", f"{(today or dt.date.today()).isoformat()}, simulated", f"plant file {job.file}"),
        Line("proved on site by bump test", "", "date and name"),
        Line("approved by", "", "date and name"),
    ]  # fmt: skip
    enter = []
    for name, value in chosen.choice.values:
        now = job.controller.shown(name, float(f"{job.controller.read(model, name):.6g}"))
        enter.append(Line(f"{tune.controller}.{job.controller.names[name]}", job.controller.shown(name, value),
                          f"was {now}"))  # fmt: skip
    turned = set(chosen.choice.mapping)
    for name in sorted({n for part in tune.parts.values() for n in part.law.names} - turned):
        if not _measured(job, name):
            stays = job.controller.shown(name, float(f"{job.controller.read(model, name):.6g}"))
            enter.append(Line(f"{tune.controller}.{job.controller.names[name]}", stays, "stays"))
    return Sheet(tuple(lines), tuple(enter))


def _measured(job: TuningJob, name: str) -> bool:
    """Whether a variable is read from a tag, so that nobody enters it."""
    from plantsim.plant.programs import connected
    from plantsim.plant.reader import examine
    from plantsim.plant.sections import PLANT

    tree = examine(job.file, PLANT, job.overrides)
    return name in connected(tree.control[job.controller.tune.controller])


def _number(value: float) -> str:
    return f"{value:.3g}" if math.isfinite(value) else "without limit"


def _time(seconds: float) -> str:
    if not math.isfinite(seconds):
        return "without limit"
    return f"{seconds / 60.0:.3g} min" if seconds >= 120.0 else f"{seconds:.3g} s"
