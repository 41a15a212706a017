"""Whether a record can carry the answer: refusals and warnings, one sentence each."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import stats

from plantsim.analysis.identify.explain import Explanation
from plantsim.analysis.identify.fitting import Fit, fit
from plantsim.analysis.identify.record import Move, Record

SURE = 0.25
"""Half-width of the interval of the gain, as a share of the gain, that is still an answer."""
SETTLED, LEAST_SETTLED = 0.95, 0.632
"""Share of the final value a hold must reach: to be called settled, and to be used at all."""
PLAIN = 10.0
"""Answer, in standard deviations of the residuals, that no search over dead times finds in noise: where the residuals
hang together so much that they carry no test, what is seen is no question of the size of the step."""
FLAT = 5


@dataclass(frozen=True)
class Finding:
    """One sentence on what a record cannot carry, or what to know before its answer is used."""

    kind: str
    refuses: bool
    text: str


def number(value: float) -> str:
    """A number with four significant digits.

    >>> number(12.3456), number(0.00012345)
    ('12.35', '0.0001234')
    """
    return f"{value:.4g}"


def length(seconds: float) -> str:
    """A length of time in the unit that reads best.

    >>> length(90.0), length(600.0)
    ('90 s', '10 min')
    """
    for size, unit in ((86400.0, "d"), (3600.0, "h"), (60.0, "min")):
        if seconds >= 2.0 * size:
            return f"{seconds / size:.3g} {unit}"
    return f"{seconds:.3g} s"


def unit_of_time(seconds: float) -> tuple[float, str]:
    """Length [s] and name of the unit that shows times of this order best.

    >>> unit_of_time(600.0)
    (60.0, 'min')
    """
    return next((size, unit) for least, size, unit in ((7200.0, 3600.0, "h"), (120.0, 60.0, "min"),
                                                       (-math.inf, 1.0, "s")) if seconds >= least)  # fmt: skip


def no_step(record: Record) -> Finding:
    """The output never moves."""
    return Finding("no-step", True, f"no step found: the output stays at {number(float(record.u[0]))} "
                   f"{record.u_unit} all {length(record.duration)}, so the record tells nothing")  # fmt: skip


def limited(record: Record, moves: list[Move], y_range: tuple[float, float] | None) -> tuple[list[Finding], np.ndarray]:
    """Measurement at a limit: flat at its highest or lowest value where it was lively before or after.

    Returns
    -------
    list of Finding, ndarray
        What was found, and the rows it concerns, in the length of the record.
    """
    rows = np.flatnonzero(record.known)
    y = record.y[rows]
    flat = np.zeros(len(y), dtype=bool)
    low, high = float(y.min()), float(y.max())
    if y_range is not None:
        edge = 1e-6 * (y_range[1] - y_range[0])
        flat = (y <= y_range[0] + edge) | (y >= y_range[1] - edge)
    else:
        for value in (low, high):
            flat |= _cut_off(y, value)
    if not flat.any():
        return [], np.zeros(len(record.y), dtype=bool)
    where = np.zeros(len(record.y), dtype=bool)
    where[rows[flat]] = True
    share = float(flat.mean())
    held = [v for v in (low, high) if (flat & np.isclose(y, v)).any()]
    text = " and ".join(number(v) for v in held)
    said = (f"the measurement stands at a limit of {text} {record.y_unit} in {100 * share:.0f} % of the rows: "
            "what it would have shown beyond is not known; ")  # fmt: skip
    refuses = share > 0.05
    more = "make the step smaller or widen the range" if refuses else "those rows were left out"
    return [Finding("limited", refuses, said + more)], where


def _cut_off(y: np.ndarray, value: float) -> np.ndarray:
    """Rows at the lowest or highest value, if it looks like a limit and not like rest.

    A smooth answer that settles, or has not begun, stands still too, and a coarse transmitter more so. Cut off is
    only what changed at every row just before, or stood still from the start while the rest is noise.
    """
    at = y == value
    starts = np.concatenate([[0], np.flatnonzero(np.diff(y)) + 1])
    lengths = np.diff(np.append(starts, len(y)))
    there = at[starts]
    longest = int(np.argmax(np.where(there, lengths, 0)))
    if lengths[longest] < FLAT:
        return np.zeros(len(y), dtype=bool)
    before = lengths[:longest][~there[:longest]]
    lively = len(before) >= 4 and int(np.max(before[-4:])) <= 2
    first = int(starts[longest])
    late = y[first:][~at[first:]]
    from_start = len(before) < 4 and lengths[longest] >= 3 * FLAT and _noisy(late)
    return at if lively or from_start else np.zeros(len(y), dtype=bool)


def _noisy(y: np.ndarray) -> bool:
    bends = np.diff(y, 2)
    return len(bends) > 5 and float(np.mean(bends[1:] * bends[:-1] < 0)) > 0.4


def output_limits(record: Record, moves: list[Move], u_range: tuple[float, float] | None) -> list[Finding]:
    """Moves that end at a limit of the output."""
    if u_range is None:
        if record.u_unit != "%":
            return []
        u_range = (0.0, 100.0)
    ends = sorted({m.after for m in moves if m.after <= u_range[0] or m.after >= u_range[1]})
    if not ends:
        return []
    return [Finding("output-limited", False, f"the output was moved to its limit of {number(ends[0])} {record.u_unit}: "
                    "the real move may have been cut there, and the gain found is then too small")]  # fmt: skip


def quality(record: Record, moves: list[Move], spikes: int) -> list[Finding]:
    """What is wrong with the rows, before any model."""
    found = []
    gaps = record.gaps()
    if gaps:
        total = sum(size for _, size in gaps)
        found.append(Finding("gaps", False, f"{len(gaps)} gap{'s' if len(gaps) > 1 else ''} of {length(total)} in all; "
                             "the fit leaps over them and takes the output as held"))  # fmt: skip
        for at, size in gaps:
            blind = [m for m in moves if at < m.time <= at + size and not _row_before(record, m.time, size)]
            if blind:
                found.append(Finding("move-in-gap", False, f"the output moved somewhere in the gap of {length(size)} "
                                     f"from {length(at)} on: the dead time found is uncertain by as much"))  # fmt: skip
    if spikes:
        found.append(Finding("spikes", False, f"{spikes} single row{'s' if spikes > 1 else ''} far off both neighbours "
                             "left out"))  # fmt: skip
    before = int(np.sum(record.known & (record.time < moves[0].time)))
    if before < 5:
        found.append(Finding("no-baseline", False, f"only {before} rows before the first move: whether the process was "
                             "at rest is not known; record some minutes before the next one"))  # fmt: skip
    changes = len(record.changes()[0])
    if len(record.time) > 40 and changes > 0.3 * len(record.time):
        found.append(Finding("always-moving", False, f"the output moves in {100 * changes / len(record.time):.0f} % of "
                             "the rows: if the loop was in automatic, noise fed back makes the fit biased; test in "
                             "manual"))  # fmt: skip
    return found


def _row_before(record: Record, at: float, size: float) -> bool:
    """Whether the output has rows of its own near before a move, though the measurement has none."""
    i = int(np.searchsorted(record.time, at))
    return i > 0 and record.time[i] - record.time[i - 1] < 0.5 * size


def too_small(moves: list[Move], best: Fit, plain_rss: float, settled: bool, u_unit: str) -> list[Finding]:
    """Step too small for the noise: the answer is not there, or the gain is not sure enough.

    Parameters
    ----------
    moves : list of Move
        Moves of the output.
    best : Fit
        The fit; where something else than noise spoils the plain one, the fit that allows for it.
    plain_rss : float
        Sum of squares without any answer.
    settled : bool
        Whether the record is long enough; if it is not, that is the reason for an unsure gain.
    u_unit : str
        Unit of the output.
    """
    gain = best.parameters[best.model.factors[0]]
    largest = max(abs(m.size) for m in moves)
    searched = best.count - 1 - int(best.drift)
    spare = max(best.effective - best.count, 2.0)
    ratio = (plain_rss - best.rss) / searched / max(best.rss / spare, 1e-300)
    # the search over dead times finds something in pure noise too, hence the strict level
    strength = best.answered / best.sigma if best.sigma > 0 else 0.0
    seen = float(stats.f.sf(ratio, searched, spare)) < 1e-4 or strength > PLAIN
    share = 0.5 * (gain.high - gain.low) / abs(gain.value) if gain.value else math.inf
    if seen and (share <= SURE or not settled):
        return []
    if strength > PLAIN:
        text = (f"the gain is known to +-{_up(100 * share)} % only, though the answer is {strength:.0f} times the "
                "residuals: they hang together, so something else than the model moves the measurement; another "
                "model, or a test at a quieter time, would do")  # fmt: skip
        return [Finding("unsure", share > 2.0 * SURE, text)]
    need = largest * max(share / SURE, 1.1 if seen else 2.0)
    least = f"at least {_up(need)} {u_unit}" if math.isfinite(need) else "many times that size"
    first = f"the gain is known to +-{100 * share:.0f} % only" if seen else "no answer stands out from the noise"
    return [Finding("too-small", not seen or share > 2.0 * SURE,
                    f"step too small for the noise: {first} (signal/noise {strength:.1f}, step {number(largest)} "
                    f"{u_unit}); a step of {least}, or a longer and quieter record, would do")]  # fmt: skip


def _up(value: float) -> str:
    digits = 1 - math.floor(math.log10(value)) if value > 0 else 0
    return f"{math.ceil(value * 10.0**digits) / 10.0**digits:g}"


def unsettled(record: Record, moves: list[Move], best: Fit, rivals: dict[str, Fit]) -> list[Finding]:
    """Record too short for the process to settle after any move."""
    longest = max(m.hold for m in moves)
    delay = best["L"] + sum(best.lags)
    if best.model.integrating:
        found = []
        if longest < 2.0 * delay:
            found.append(Finding("unsettled", longest < 1.2 * delay, f"not settled: the longest hold is "
                                 f"{length(longest)}, and an integrating process with {length(delay)} of dead time and "
                                 f"lag needs at least {length(2.0 * delay)}"))  # fmt: skip
        if "first" in rivals:
            least = _least_lag(record, rivals["first"])
            more = f"; if it does settle, its time constant is above {length(least)}" if least > 0.1 * longest else ""
            found.append(Finding("integrating", False, "the measurement had not begun to settle after "
                                 f"{length(longest)}: this record cannot tell an integrating process from a very slow "
                                 f"one{more}"))  # fmt: skip
        return found
    reached = float(best.step(np.array([longest]))[0]) / float(best.factors[0])
    need = best["L"] + 3.0 * sum(best.lags)
    asks = f"needs {length(need)}" if need < 6.0 * longest else "needs many times that, if it settles at all"
    if reached >= SETTLED:
        return []
    refuses = reached < LEAST_SETTLED
    more = "" if refuses else ", so gain and time constant rest on the model more than on the record"
    share = 100.0 * max(reached, 0.0)
    return [Finding("unsettled", refuses, f"not settled: the longest hold is {length(longest)} and reaches "
                    f"{share:.0f} % of the final value; this process {asks}{more}")]  # fmt: skip


def _least_lag(record: Record, slow: Fit) -> float:
    """Least time constant of a first order that the record leaves possible [s]: the end of its profile, as the
    linearised interval means nothing where a lag cannot be told from an integrator."""
    return fit(record, slow.model, slow.drift, [(slow["T"], slow["L"])], grid=False).parameters["T"].low


def of_fit(record: Record, best: Fit, explained: bool = False) -> list[Finding]:
    """What to know of a fit that stands: drift, sampling, and colour, unless the cause of that is explained."""
    found = []
    if best.drift and not best.model.integrating:
        slope = best.parameters["slope"]
        over = abs(slope.value) * record.duration / best.answered if best.answered else math.inf
        found.append(Finding("drift", False, f"the measurement drifts by {number(3600 * slope.value)} "
                             f"{record.y_unit}/h, {100 * over:.0f} % of the answer over the record; a straight drift "
                             "was fitted with the model, a bent one would not be seen"))  # fmt: skip
    fast = [best.lags[0]] if best.lags else []
    if fast and fast[0] < 2.0 * record.interval:
        found.append(Finding("coarse", False, f"rows come every {length(record.interval)}, slower than half the time "
                             f"constant of {length(fast[0])}: record faster"))  # fmt: skip
    noisy = best.sigma > 1e-4 * best.answered
    if noisy and not explained and best.colour.share > 0.3 and best.effective < 0.25 * len(best.y):
        found.append(Finding("coloured", False, f"the residuals hang together (neighbours {best.colour.first:.2f}): "
                             f"{len(best.y)} rows carry as much as {best.effective:.0f} independent ones, and the "
                             "intervals are widened by that"))  # fmt: skip
    return found


def of_explanation(record: Record, why: Explanation, moves: list[Move]) -> Finding:
    """The sentence of a cause that explains the record better than a plain model."""
    v, u = why.values, record.u_unit
    if why.kind == "sign":
        return Finding("sign", True, f"the gain has another sign above the first output ({number(v['up'])}) than below "
                       f"it ({number(v['down'])} {record.gain_unit}): the operating point lies at an extreme, as at "
                       "the edge of overdose, and no single gain describes it")  # fmt: skip
    if why.kind == "gain":
        ratio = max(abs(v["up"]), abs(v["down"])) / max(min(abs(v["up"]), abs(v["down"])), 1e-300)
        more = "; a sticking valve or something else that moved can look the same" if len(moves) < 3 else ""
        return Finding("gain", False, f"the gain differs by a factor of {ratio:.2g} between moves above the first "
                       f"output ({number(v['up'])}) and below it ({number(v['down'])} {record.gain_unit}): tune for "
                       f"the larger{more}")  # fmt: skip
    if why.kind in ("play", "stick"):
        what = ("about that much is lost at each reversal (play)" if why.kind == "play"
                else "it stands through smaller moves, then slips (stick and slip)")  # fmt: skip
        wide = v["width"] >= 0.5 * v["largest"]
        more = "; something else that moved can look the same" if len(moves) < 3 else ""
        return Finding("sticky", wide, f"the measurement does not answer moves under {number(v['width'])} {u}: {what}, "
                       f"the signature of a sticky valve; mend it before tuning{more}")  # fmt: skip
    return Finding("disturbance", v["share"] > 0.5, "something else moved the measurement by "
                   f"{number(v['reach'])} {record.y_unit} from about {length(v['time'])} after the start on: repeat "
                   "the test, or cut the record there")  # fmt: skip
