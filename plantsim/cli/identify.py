"""`plantsim identify`: a process model from a recorded bump test, or why the record cannot carry one."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from plantsim.cli.tables import number, table

if TYPE_CHECKING:
    from plantsim.analysis.identify import Estimate, Identification, Record

CAUTION = ("A model of one test at one operating point. Prove settings that rest on it by further tests on site, by "
           "qualified people, with limits and interlocks tested first.")  # fmt: skip
_NAMES = ("first", "second", "inverse", "integrating", "integrating-lag")


def add(commands: Any, shared: argparse.ArgumentParser) -> None:
    """Add the command to a parser."""
    p = commands.add_parser(
        "identify", parents=[shared], help="find a process model in a recorded bump test",
        description="Fit process models with dead time to a recorded bump test: CSV with the columns time, output "
                    "and measurement, units in the header in brackets ('time [s]', 'output [%]', 'measurement "
                    "[NTU]'), time also as date and time. Prints the parameters with intervals, which hold together "
                    "in 95 of 100 records, and what speaks against their use. Exit code 2 when the record cannot "
                    "carry the answer.",
    )  # fmt: skip
    p.add_argument("file", metavar="DATA.csv", help="the record")
    for role in ("time", "output", "measurement"):
        p.add_argument(f"--{role}", metavar="COLUMN", help=f"name of the column of {role}, where it has another")
    p.add_argument("--model", action="append", default=[], choices=_NAMES, dest="models",
                   help="a model to fit; may be repeated; all when left out, and the best is picked")  # fmt: skip
    p.add_argument("--drift", choices=("auto", "yes", "no"), default="auto", help="fit a straight drift too (auto)")
    p.add_argument("--from", metavar="TIME", dest="begin", help="use the record from this time on, such as '10 min'")
    p.add_argument("--to", metavar="TIME", dest="end", help="use the record up to this time from its start")
    p.add_argument("--range", metavar="LOW..HIGH", dest="y_range", help="range of the measurement, in its unit")
    p.add_argument("--output-range", metavar="LOW..HIGH", dest="u_range", help="range of the output, in its unit")
    p.add_argument("--skip-bad", action="store_true", help="leave out rows that cannot be read")
    p.add_argument("--anyway", action="store_true", help="show the fit though the record cannot carry it")
    p.add_argument("--picture", metavar="FILE.png", help="draw record, fit and residuals")
    p.add_argument("--json", action="store_true", help="print one JSON object, in SI times and the record's units")
    p.set_defaults(execute=execute)


def execute(args: argparse.Namespace) -> int:
    """Do it."""
    from plantsim.analysis.identify import identify, read_record
    from plantsim.units import to_si

    columns = {role: getattr(args, role) for role in ("time", "output", "measurement") if getattr(args, role)}
    record = read_record(Path(args.file), columns, args.skip_bad)
    if args.begin or args.end:
        record = record.window(to_si(args.begin, "time") if args.begin else 0.0,
                               to_si(args.end, "time") if args.end else record.duration)  # fmt: skip
    found = identify(record, args.models, {"auto": None, "yes": True, "no": False}[args.drift],
                     _range(args.y_range, "--range"), _range(args.u_range, "--output-range"))  # fmt: skip
    shown = found.best is not None and (found.accepted or args.anyway)
    if args.picture and found.best is not None:
        _draw(found, Path(args.picture))
    if args.json:
        print(as_json(found, shown))
    else:
        print(described(found.record))
        if shown:
            print()
            print(in_words(found))
        for note in found.record.notes:
            print(f"note: {note}")
        for text in found.warnings:
            print(f"warning: {text}")
        if args.picture and found.best is not None:
            print(f"picture: {args.picture}")
        if shown:
            print(CAUTION)
    for text in found.refusals:
        print(f"refused: {text}", file=sys.stderr)
    return 0 if found.accepted else 2


def _range(text: str | None, option: str) -> tuple[float, float] | None:
    from plantsim.analysis.identify import RecordError

    if text is None:
        return None
    low, dots, high = text.partition("..")
    try:
        found = float(low), float(high)
    except ValueError:
        dots = ""
        found = (0.0, 0.0)
    if not dots or not found[0] < found[1]:
        raise RecordError(f"{option}: found '{text}'; allowed: two numbers, the lower first, such as 0..100")
    return found


def described(record: Record) -> str:
    """What the record is, in one or two lines."""
    from plantsim.analysis.identify.checks import length

    known = int(record.known.sum())
    moves = record.moves()
    first = (f"{record.name}: {known} measurements in {length(record.duration)}, usually every "
             f"{length(record.interval)}; noise {number(record.noise(), 3)} {record.y_unit}")  # fmt: skip
    told = ", ".join(f"{number(m.before)} to {number(m.after)} {record.u_unit} at {length(m.time - record.time[0])}"
                     for m in moves[:6])  # fmt: skip
    return first + (f"\nmoves of the output: {told}" + (f" and {len(moves) - 6} more" if len(moves) > 6 else "")
                    if moves else "")  # fmt: skip


def in_words(found: Identification) -> str:
    """Model, parameters with intervals, and the methods beside it."""
    from plantsim.analysis.identify import MEANING, sentence_of_time
    from plantsim.analysis.identify.checks import unit_of_time

    best = found.best
    assert best is not None
    size, unit = unit_of_time(best["L"] + sum(best.lags))
    names = [*_ordered(best.parameters)]
    rows = []
    for name in names:
        e = best.parameters[name]
        factor, shown = _in_time(e, size, unit)
        rows.append([name, *(number(v * factor) for v in (e.value, e.low, e.high)), shown, MEANING[name]])
    lines = [f"{best.model.title}: {best.model.formula}", f"picked {found.reason}", "",
             table(rows, ["parameter", "value", "from", "to", "unit", "meaning (intervals: all hold in 95 of 100)"],
                   right=[1, 2, 3]), "",
             f"fit: {100 * best.vaf:.2f} % of the variance (R2 {best.vaf:.4f}), residuals {number(best.sigma, 3)} "
             f"{found.record.y_unit}, autocorrelation of neighbours {best.colour.first:.2f}, as good as "
             f"{best.effective:.0f} independent rows of {len(best.y)}"]  # fmt: skip
    if found.cross:
        gain = "k" if best.model.integrating else "K"
        per = best.parameters[best.model.factors[0]]
        factor, shown = _in_time(per, size, unit)
        rows = [[name, number(p[gain] * factor), number(p["T"] / size) if "T" in p else "", number(p["L"] / size)]
                for name, p in found.cross]  # fmt: skip
        lines += ["", table(rows, ["check by", f"{gain} [{shown}]", f"T [{unit}]", f"L [{unit}]"], right=[1, 2, 3])]
    others = [[found.fits[name].model.title, number(score, 3), f"{100 * found.fits[name].vaf:.2f}"]
              for name, score in sorted(found.scores.items(), key=lambda item: item[1])]  # fmt: skip
    lines += ["", table(others, ["model", "criterion above best", "variance explained [%]"], right=[1, 2]), "",
              f"note: {sentence_of_time(found.record)}"]  # fmt: skip
    return "\n".join(lines)


def _ordered(parameters: dict[str, Any]) -> list[str]:
    first = ("K", "k", "T", "T1", "T2", "tau", "zeta", "z", "L", "y0", "slope")
    return sorted(parameters, key=first.index)


def _in_time(e: Estimate, size: float, unit: str) -> tuple[float, str]:
    """Factor and unit that show a parameter in a unit of time."""
    if e.unit == "s":
        return 1.0 / size, unit
    if e.unit.endswith("/s"):
        return size, f"{e.unit[:-1]}{unit}"
    return 1.0, e.unit


def as_json(found: Identification, shown: bool) -> str:
    """Everything as one JSON object; an interval without an end is null there."""
    import json
    import math

    def finite(value: float) -> float | None:
        return value if math.isfinite(value) else None

    best = found.best
    record = found.record
    whole: dict[str, Any] = {
        "record": record.name, "accepted": found.accepted, "refusals": found.refusals, "warnings": found.warnings,
        "notes": list(record.notes), "kinds": sorted(found.kinds()),
        "units": {"time": "s", "output": record.u_unit, "measurement": record.y_unit},
        "moves": [{"time": m.time, "from": m.before, "to": m.after} for m in found.moves],
        "model": None,
    }  # fmt: skip
    if shown and best is not None:
        top, bottom, dead = best.polynomials()
        whole["model"] = {
            "name": best.model.name, "title": best.model.title, "formula": best.model.formula, "reason": found.reason,
            "parameters": {
                name: {"value": finite(e.value), "low": finite(e.low), "high": finite(e.high), "unit": e.unit}
                for name, e in best.parameters.items()
            },
            "numerator": top, "denominator": bottom, "dead_time": dead, "drift": best.drift, "r2": best.vaf,
            "residual": best.sigma, "autocorrelation": best.colour.first, "effective_rows": best.effective,
        }  # fmt: skip
        whole["checks"] = [{"method": name, **{key: finite(v) for key, v in p.items()}} for name, p in found.cross]
        whole["criterion_above_best"] = found.scores
    return json.dumps(whole, indent=1, allow_nan=False)


def _draw(found: Identification, path: Path) -> None:
    from plantsim.errors import StoreError
    from plantsim.report.identification import picture
    from plantsim.store.files import write_whole

    data = picture(found)
    try:
        write_whole(path, lambda place: _write(place, data))
    except OSError as error:
        raise StoreError(f"cannot write {path}: {error.strerror or error}") from None


def _write(place: Path, data: bytes) -> None:
    place.write_bytes(data)
