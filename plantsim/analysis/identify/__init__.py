"""Process models from a recorded bump test, with what the record can and cannot carry.

`identify` takes a `Record` (from arrays by `make_record`, from CSV by `read_record`), fits every model to the whole
of it, picks one, and says in sentences what speaks against its use.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from plantsim.analysis.identify import checks
from plantsim.analysis.identify.checks import Finding
from plantsim.analysis.identify.csvfile import read_record
from plantsim.analysis.identify.explain import explanations
from plantsim.analysis.identify.fitting import Estimate, Fit, fit
from plantsim.analysis.identify.models import MEANING, MODELS, Model
from plantsim.analysis.identify.record import Move, Record, RecordError, make_record
from plantsim.analysis.identify.starts import cross_checks

__all__ = ["MEANING", "MODELS", "Estimate", "Finding", "Fit", "Identification", "Model", "Move", "Record",
           "RecordError", "fit", "identify", "make_record", "read_record"]  # fmt: skip

NEAR = 2.0
"""Models within so much of the best criterion are as good; the one with fewest parameters is taken."""
ENDLESS = 10.0
"""Lags beyond so many lengths of the record are no lags that it shows."""
DRIFT_PENALTY = 4.0
"""What a drift must gain beyond its parameter: a wrong one spoils the gain of a slow answer."""


@dataclass(frozen=True)
class Identification:
    """What a bump test says.

    Parameters
    ----------
    record : Record
        The record, rows left out taken as gaps.
    moves : list of Move
        Moves of the output.
    best : Fit or None
        The model picked; None when there was nothing to fit. Not to be used when `accepted` is false.
    fits : dict of str to Fit
        Best fit of every model, with linearised intervals.
    scores : dict of str to float
        Corrected information criterion of each, above the best.
    cross : list of (str, dict)
        What the graphical methods read off the largest move.
    reason : str
        Why this model.
    findings : list of Finding
        Refusals and warnings, refusals first.
    """

    record: Record
    moves: list[Move]
    best: Fit | None
    fits: dict[str, Fit]
    scores: dict[str, float]
    cross: list[tuple[str, dict[str, float]]]
    reason: str
    findings: list[Finding]

    @property
    def accepted(self) -> bool:
        """Whether the record can carry the answer."""
        return self.best is not None and not any(f.refuses for f in self.findings)

    @property
    def refusals(self) -> list[str]:
        """Sentences on what the record cannot carry."""
        return [f.text for f in self.findings if f.refuses]

    @property
    def warnings(self) -> list[str]:
        """Sentences on what to know before the answer is used."""
        return [f.text for f in self.findings if not f.refuses]

    def kinds(self) -> set[str]:
        """Kinds of all findings."""
        return {f.kind for f in self.findings}


def identify(
    record: Record, models: Sequence[str] = (), drift: bool | None = None,
    y_range: tuple[float, float] | None = None, u_range: tuple[float, float] | None = None,
) -> Identification:  # fmt: skip
    """Identify a process from its bump test.

    Parameters
    ----------
    record : Record
        The record.
    models : sequence of str
        Names of the models to choose from; all when empty.
    drift : bool or None
        Whether a straight drift is fitted too; None lets the record decide.
    y_range, u_range : (float, float) or None
        Range of the measurement [y_unit] and of the output [u_unit], where known: values at their ends are limited.

    Returns
    -------
    Identification

    Raises
    ------
    RecordError
        When a name is that of no model, or the record has fewer than 12 measurements.
    """
    wanted = [MODELS[name] for name in _known(models)]
    count = int(record.known.sum())
    if count < 12:
        raise RecordError(f"{record.name}: found {count} measurements; allowed: at least 12 for a fit")
    moves = record.moves()
    if not moves:
        return Identification(record, [], None, {}, {}, [], "", [checks.no_step(record)])
    record, findings, spikes = _clean(record, moves, y_range)
    findings += checks.output_limits(record, moves, u_range) + checks.quality(record, moves, spikes)
    largest = max(moves, key=lambda m: abs(m.size) * m.hold)
    starts = [(p["T"], max(p["L"], 0.0)) for _, p in cross_checks(record, largest, False)]
    fits = _all(record, wanted, drift, starts)
    scores = _scores(fits)
    name, reason = _pick(fits, scores)
    chosen = fits[name]
    best = fit(record, chosen.model, chosen.drift, [(sum(chosen.lags) or 1.0, chosen["L"])])
    kept = {key.partition("+")[0]: fits[key] for key in sorted(fits, key=lambda k: -scores[k])}
    bases = [fits["first"]] if "first" in fits and name != "first" and not _endless(fits["first"]) else []
    if any(f.refuses for f in findings):
        causes = []  # the rows themselves are wrong: nothing further is read from them
    else:
        causes = explanations(record, best, moves, bases)
        clean = causes[0].closer if causes else best
        settling = checks.unsettled(record, moves, best if best.model.integrating else clean, kept)
        small = []
        if not causes or causes[0].kind not in ("gain", "sign"):
            small = checks.too_small(moves, clean, _plain_rss(clean), not settling, record.u_unit)
        findings += small
        if not any(f.refuses for f in small):
            findings += settling + checks.of_fit(record, best, bool(causes))
            findings += [checks.of_explanation(record, why, moves) for why in causes[:1]]
    cross = cross_checks(record, largest, best.model.integrating)
    ranked = {key.partition("+")[0]: scores[key] for key in sorted(scores, key=lambda k: -scores[k])}
    return Identification(record, moves, best, kept, ranked, cross, reason,
                          sorted(findings, key=lambda f: not f.refuses))  # fmt: skip


def _known(names: Sequence[str]) -> list[str]:
    unknown = [name for name in names if name not in MODELS]
    if unknown:
        raise RecordError(f"found model '{unknown[0]}'; allowed: {', '.join(MODELS)}")
    return list(names) or list(MODELS)


def _clean(record: Record, moves: list[Move], y_range: tuple[float, float] | None) -> tuple[Record, list[Finding], int]:
    findings, flat = checks.limited(record, moves, y_range)
    if flat.any():
        if findings[0].refuses:
            return record, findings, 0
        record = record.without(flat)
    odd = _spikes(record)
    return record.without(odd), findings, int(odd.sum())


def _spikes(record: Record) -> np.ndarray:
    """Single rows far off both neighbours, which agree with each other."""
    rows = np.flatnonzero(record.known)
    y = record.y[rows]
    off = np.abs(y[1:-1] - 0.5 * (y[:-2] + y[2:]))
    sigma = record.noise()
    far = (off > 8.0 * sigma) & (off > 0.02 * np.ptp(y)) & (np.abs(y[2:] - y[:-2]) < 0.5 * off)
    found = np.zeros(len(record.y), dtype=bool)
    found[rows[1:-1][far]] = True
    return found


def _all(
    record: Record, models: list[Model], drift: bool | None, starts: list[tuple[float, float]]
) -> dict[str, Fit]:  # fmt: skip
    found: dict[str, Fit] = {}

    def add(model: Model, way: bool) -> None:
        one = fit(record, model, way, starts, exact=False)
        if "z" in one.parameters and one.parameters["z"].low <= 0.0 and len(models) > 1:
            return  # no inverse response in sight: a lead, or nothing
        found[f"{model.name}+drift" if way and not model.integrating else model.name] = one

    for model in models:
        add(model, model.integrating or bool(drift))
    settling = [model for model in models if model.name in found and not model.integrating]
    if drift is None and settling:
        scores = _scores(found)
        first = min(settling, key=lambda m: scores[m.name])
        add(first, True)
        scores = _scores(found)
        if scores.get(f"{first.name}+drift", math.inf) < scores[first.name]:
            for model in settling:
                if model is not first:
                    add(model, True)
    return found


def _scores(fits: dict[str, Fit]) -> dict[str, float]:
    """Criterion of each fit above the best, all with the number of independent squares of the closest."""
    closest = min(fits.values(), key=lambda f: f.rss)
    effective = closest.colour.squares(len(closest.y))
    raw = {name: f.aicc(effective) + (DRIFT_PENALTY if name.endswith("+drift") else 0.0) for name, f in fits.items()}
    least = min(raw.values())
    return {name: value - least for name, value in raw.items()}


def _endless(one: Fit) -> bool:
    """Whether a lag is so long that the record tells it from an integrator as little as from twice that lag."""
    return any(lag > ENDLESS * float(one.time[-1] - one.time[0]) for lag in one.lags)


def _pick(fits: dict[str, Fit], scores: dict[str, float]) -> tuple[str, str]:
    told = {name: score for name, score in scores.items() if not _endless(fits[name])}
    if told:  # a model without an endless lag says the same with fewer parameters
        least = min(told.values())
        scores = {name: score - least for name, score in told.items()}
    near = [name for name, score in scores.items() if score <= NEAR]
    name = min(near, key=lambda n: (fits[n].count, scores[n]))
    lowest = min(scores, key=lambda n: scores[n])

    def words(key: str) -> str:
        return fits[key].model.title + (" with drift" if key.endswith("+drift") else "")

    if len(scores) == 1:
        only = "the only model asked for" if len(fits) == 1 else "all others have lags far longer than the record"
        return name, f"{words(name)}: {only}"
    if name != lowest:
        return name, (f"{words(name)}: {words(lowest)} is nearer by only {scores[name]:.1f} in the corrected "
                      "information criterion, not worth its further parameters")  # fmt: skip
    others = {n: s for n, s in scores.items() if n != name}
    second = min(others, key=lambda n: others[n])
    return name, (f"{words(name)}: lowest corrected information criterion; next is {words(second)}, "
                  f"{others[second]:.1f} above")  # fmt: skip


def _plain_rss(best: Fit) -> float:
    """Sum of squares of the measurement about its mean, or about its drift where one was fitted."""
    columns = np.column_stack([np.ones(len(best.y)), *([best.time] if best.drift else [])])
    rest = best.y - columns @ np.linalg.lstsq(columns, best.y, rcond=None)[0]
    return float(rest @ rest)


def sentence_of_time(record: Record) -> str:
    """What the record leaves open of the dead time, however good the fit."""
    return (f"a move is known only to the row that shows it first: the dead time may be up to one interval "
            f"({checks.length(record.interval)}) longer")  # fmt: skip
