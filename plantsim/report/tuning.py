"""The verdict page of a tuning job: before and after, rules with margins and trials, settings sheet, what was done."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from plantsim.analysis.tuning.sheet import sheet_of
from plantsim.report import cautions, style
from plantsim.report.page import embedded, template
from plantsim.report.words import number_words

if TYPE_CHECKING:
    from plantsim.analysis.tuning.candidates import Candidate
    from plantsim.analysis.tuning.job import TuningJob
    from plantsim.analysis.tuning.trials import Trial
    from plantsim.analysis.tuning.write_back import Change

PAGE = "tuning.html"
_ROW, _TOP, _BETWEEN, _BOTTOM = 1.35, 0.75, 0.42, 0.55
_LEFT, _GAP, _RIGHT = 0.65, 0.75, 0.2
_BEFORE, _AFTER = style.LINES[1], style.LINES[0]


def number(value: float, digits: int = 4) -> str:
    """A number with so many figures."""
    return number_words(float(f"{value:.{digits}g}"))


def render(job: TuningJob, changes: Sequence[Change]) -> str:
    """Fill the page.

    Parameters
    ----------
    job : TuningJob
        The job, [-]
    changes : sequence of Change
        What was written into a plant file, [-]

    Returns
    -------
    str
        HTML of the whole page, [-]
    """
    pictures = []
    for point in job.points:
        pairs = [pair for pair in job.before_and_after() if pair[0].point == point.name]
        if pairs:
            title = f"{job.controller.loop.name} at {point.name}, {100.0 * point.share:.4g} % of the feed"
            pictures.append((point.name, title, embedded(style.png(draw(job, pairs, title), title))))
    return str(template(PAGE).render(
        job=job, loop=job.controller.loop, sheet=sheet_of(job), changes=changes, pictures=pictures,
        models=_models(job), rules=[_rule(job, one) for one in job.candidates],
        ways=[_rule(job, one) for one in job.ways], pairs=[_pair(job, a, b) for a, b in job.before_and_after()],
        out=_left_out(job), cautions=cautions, first=job.points[0].name, unit=job.controller.loop.measures.unit,
        moved=_per(job), travel=_travel(job), sums=_sums(job),
        judged="travel" if job.controller.tune.averaging else "error",
        counted=bool(job.controller.tune.chemical),
    ))  # fmt: skip


def draw(job: TuningJob, pairs: Sequence[tuple[Trial, Trial]], title: str) -> style.Figure:
    """Draw all cases of one operating point: the measurement left, what the controller asks for right."""
    tune, loop = job.controller.tune, job.controller.loop
    with style.looks():
        height = _TOP + len(pairs) * (_ROW + _BETWEEN) + _BOTTOM - _BETWEEN
        figure = style.new_figure(height)
        width = (style.WIDTH - _LEFT - _GAP - _RIGHT) / 2.0
        for k, (old, new) in enumerate(pairs):
            for side, name in enumerate(("measured", "moved")):
                axes = figure.add_axes((
                    (_LEFT + side * (width + _GAP)) / style.WIDTH, 1.0 - (_TOP + k * (_ROW + _BETWEEN) + _ROW) / height,
                    width / style.WIDTH, _ROW / height,
                ))  # fmt: skip
                for trial, (colour, dashes), words in ((old, _BEFORE, "present"), (new, _AFTER, job.verdict.chosen)):
                    y = np.where(trial.course.counts, getattr(trial.course, name), np.nan)
                    axes.plot(trial.course.time, y, color=colour, linestyle=dashes, linewidth=1.4,
                              label=style.drawable(words))  # fmt: skip
                if not side:
                    axes.plot(new.course.time, new.course.setpoint, color=style.SETPOINT, linewidth=1.0,
                              linestyle=style.SETPOINT_DASHES[0], label="set point")  # fmt: skip
                    _limits(axes, tune.above, tune.below)
                axes.set_title(style.drawable(old.case) if not side else "", fontsize=9.0)
                axes.set_xlim(0.0, float(new.course.time[-1]))
                axes.grid(True)
                axes.set_ylabel(style.drawable(loop.measures.unit if not side else loop.moves.unit))
                if k == len(pairs) - 1:
                    axes.set_xlabel("time from the beginning of the case [h]")
                if k == 0 and not side:
                    handles = axes.get_legend_handles_labels()
                    figure.legend(*handles, loc="upper left", ncols=4, bbox_to_anchor=(0.02, 1.0 - 0.26 / height))
        figure.text(_LEFT / style.WIDTH, 1.0 - 0.2 / height, style.drawable(
            f"{title}: {loop.measures.meaning or loop.measures.name} left, {_asked(job)} right"),
            fontsize=9.8, fontweight="bold")  # fmt: skip
    return figure


def _limits(axes: Any, *limits: float | None) -> None:
    """Limits of spec, where the curves come near them."""
    low, high = axes.get_ylim()
    for limit in limits:
        if limit is not None and low - 0.6 * (high - low) <= limit <= high + 0.6 * (high - low):
            axes.axhline(limit, color=style.LIMIT, linewidth=1.0, linestyle=style.LIMIT_DASHES[0], label="limit")


def _asked(job: TuningJob) -> str:
    tune = job.controller.tune
    if tune.output:
        return f"{tune.controller}.{job.controller.names[tune.output]}"
    return job.controller.loop.moves.name


def _models(job: TuningJob) -> list[dict[str, Any]]:
    rows = []
    for point in job.points:
        for one in point.found:
            best = one.identification.best if one.identification is not None else None
            row: dict[str, Any] = {"name": one.name, "used": one is job.base, "refusals": one.refusals,
                                   "warnings": one.warnings, "model": "refused", "gain": "", "lags": "", "dead": ""}
            if one.process is not None and best is not None:
                row |= {"model": best.model.title, "gain": number(one.gain), "lags": number(sum(best.lags) / 60.0, 3),
                        "dead": number(one.process.factors().delay / 60.0, 3)}  # fmt: skip
            rows.append(row)
    return rows


def _rule(job: TuningJob, one: Candidate) -> dict[str, Any]:
    trials = job.trials[one.name]
    known = trials and math.isfinite(trials[0].chemical)
    everywhere = len(trials) == len(job.trials[job.present.name])
    return {
        "name": one.name, "chosen": one.name == job.verdict.chosen, "source": one.asked.source,
        "warnings": one.asked.warnings, "Kc": number(abs(one.settings.Kc), 3),
        "Ti": number(one.settings.Ti / 60.0, 3) if math.isfinite(one.settings.Ti) else "off",
        "parameters": [f"{job.controller.names[k]} {job.controller.shown(k, v)}" for k, v in one.choice.values],
        "Ms": _finite(one.nominal.Ms), "gm": _finite(one.nominal.gain_margin),
        "pm": _finite(one.nominal.phase_margin, 0), "worst": _finite(one.worst_ms),
        "governs": one.governs, "holds": one.holds,
        "first": _total(job, trials, True), "all": _total(job, trials, False) if everywhere else None,
        "chemical": number(sum(t.chemical for t in trials if t.point == job.points[0].name), 4) if known else "",
    }  # fmt: skip


def _total(job: TuningJob, trials: Sequence[Trial], first: bool) -> dict[str, str]:
    some = [t for t in trials if not first or t.point == job.points[0].name]
    return {
        "iae": number(sum(t.iae for t in some), 4), "out": number(sum(t.out_of_spec for t in some), 3),
        "over": number(max((t.overshoot for t in some), default=0.0), 3),
        "travel": number(sum(t.travel for t in some), 4),
    }  # fmt: skip


def _change(job: TuningJob, old: Sequence[Trial], new: Sequence[Trial]) -> tuple[str, bool]:
    """Change of what is judged, the error or of an averaging level the travel, and whether it fell."""
    key = "iae" if job.controller.tune.averaging is None else "travel"
    was, now = sum(getattr(t, key) for t in old), sum(getattr(t, key) for t in new)
    return (f"{100.0 * (now / was - 1.0):+.0f} %" if was > 0.0 else ""), now < was


def _pair(job: TuningJob, old: Trial, new: Trial) -> dict[str, Any]:
    def both(key: str, digits: int = 3) -> tuple[str, str]:
        return number(getattr(old, key), digits), number(getattr(new, key), digits)

    change, fell = _change(job, [old], [new])
    return {
        "case": old.case, "point": old.point, "iae": both("iae"), "change": change, "better": fell,
        "out": both("out_of_spec"), "peak": both("peak"), "over": both("overshoot"), "travel": both("travel"),
        "chemical": both("chemical", 4) if math.isfinite(old.chemical) else None,
    }  # fmt: skip


def _sums(job: TuningJob) -> list[dict[str, Any]]:
    """Figures of all cases together, point by point and over all."""
    pairs = job.before_and_after()
    groups = [(point.name, [p for p in pairs if p[0].point == point.name]) for point in job.points]
    if len(groups) > 1:
        groups.append(("all points", pairs))
    rows = []
    for name, some in groups:
        if some:
            was, now = sum(a.iae for a, _ in some), sum(b.iae for _, b in some)
            change = _change(job, [a for a, _ in some], [b for _, b in some])[0]
            row: dict[str, Any] = {"name": name, "iae": (number(was), number(now)), "change": change}
            for key in ("out_of_spec", "travel", "chemical"):
                both = sum(getattr(a, key) for a, _ in some), sum(getattr(b, key) for _, b in some)
                row[key] = (number(both[0], 4), number(both[1], 4)) if math.isfinite(both[0]) else None
            rows.append(row)
    return rows


def _left_out(job: TuningJob) -> list[tuple[str, str]]:
    reasons: dict[str, list[str]] = {}
    for rule, why in job.left_out:
        reasons.setdefault(why, []).append(rule)
    return [(why, ", ".join(rules)) for why, rules in reasons.items()]


def _per(job: TuningJob) -> str:
    loop = job.controller.loop
    return f"{loop.moves.unit}/{loop.measures.unit}"


def _travel(job: TuningJob) -> str:
    tune = job.controller.tune
    return tune.travel or _asked(job)


def _finite(value: float, places: int = 2) -> str:
    return f"{value:.{places}f}" if math.isfinite(value) else "-"
