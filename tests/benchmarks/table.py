"""The measurements as text."""

from __future__ import annotations

from typing import Any

GOAL_NS, GOAL_RATIO, GOAL_RUN, GOAL_FIRST, GOAL_MB, GOAL_YEAR = 1000.0, 1.3, 1.5, 40.0, 400.0, 60.0
WORDS = {
    "kernel": "this kernel", "twin": "the C twin", "scipy": "LSODA of scipy, the core alone",
    "python": "this kernel as plain Python",
}  # fmt: skip


def table(found: dict[str, Any]) -> str:
    """Everything measured, one table after another, with the goals beside the figures they are set for."""
    m = found["machine"]
    lines = [
        f"{m['processor']}, {m['cores']} cores, load {m['load']:.1f}; Python {m['python']}, numba {m['numba']}, "
        f"{m['compiler'] or 'no C compiler'} {m['compiler_flags'] or ''}".rstrip(),
        "",
        f"{'gravel-pit, 1 s steps':44} {'kernel':>9} {'C twin':>9} {'ratio':>6}",
        _row("washing shift, median [ns/step]", found["ns_per_step"], found["twin_ns_per_step"]),
        _row("washing shift, best", found["ns_per_step_best"], found["twin_ns_per_step_best"]),
        _row("whole day, mean", found["day_ns_per_step"], found["twin_day_ns_per_step"]),
        f"    goal: at most {GOAL_NS:.0f} ns on the test machine, ratio at most {GOAL_RATIO:.1f}",
    ]
    if found["no_twin"]:
        lines.append(f"    {found['no_twin']}")
    if "ways" in found:
        lines += _ways(found)
    lines += [
        "",
        f"{'plantsim run of a day, all included':44} {found['run_seconds']:9.2f} s  (goal: under {GOAL_RUN:.1f} s)",
        f"{'peak memory':44} {found['run_peak_mb']:9.0f} MB (goal: under {GOAL_MB:.0f} MB)",
    ]
    if "year_seconds" in found:
        lines += [
            f"{'plantsim run of a year':44} {found['year_seconds']:9.1f} s  (goal: under {GOAL_YEAR:.0f} s)",
            f"{'    its peak memory':44} {found['year_peak_mb']:9.0f} MB (goal: under {GOAL_MB:.0f} MB)",
        ]
    if "first_run_seconds" in found:
        lines += [
            f"{'first run ever':44} {found['first_run_seconds']:9.1f} s  (goal: under {GOAL_FIRST:.0f} s)",
            f"{'    of that, compiling':44} {found['compile_seconds']:9.1f} s",
        ]
    if "units" in found:
        lines += _parts(found)
    return "\n".join(lines)


def _ways(found: dict[str, Any]) -> list[str]:
    """Every way of stepping, each alone in a process of its own, and workers at once."""
    ways = found["ways"]
    own = ways["kernel"]["ns"]
    lines = ["", f"{'a process of its own for each, best':44} {'ns/step':>9} {'times':>9} {'MB':>6}"]
    for name, way in ways.items():
        lines.append(f"{'    ' + WORDS[name]:44} {way['ns']:9.0f} {way['ns'] / own:9.1f} {way['peak_mb']:6.0f}")
    core = ways["scipy"]
    lines += [
        f"    {core['method']} covers {core['covers']};",
        f"    {core['states']} states, tolerance {core['tolerance']:.0e}: error {core['error']:.1e}; that of the "
        f"kernel's scheme on the same equations {core['error_of_the_kernels_scheme']:.1e}",
        "",
        f"{'runs at once in threads, by the clock':44} {'ns/step':>9} {'speedup':>9}",
    ]
    for row in found["workers"]:
        lines.append(f"    {row['workers']:<40.0f} {row['ns']:9.0f} {row['speedup']:9.2f}")
    return lines


def _row(words: str, kernel: float, twin: float | None) -> str:
    right = f"{twin:9.1f} {kernel / twin:6.2f}" if twin else f"{'-':>9} {'-':>6}"
    return f"{words:44} {kernel:9.1f} {right}"


def _parts(found: dict[str, Any]) -> list[str]:
    units = found["units"]
    whole = sum(cost["kernel"] for cost in units.values())
    head = f"{'kernel':>9} {'C twin':>9} {'ratio':>6}"
    lines = ["", f"{'all units of a kind, alone, best [ns/step]':44} {head} {'share':>6} {'units':>6} {'each':>7}"]
    for name, cost in sorted(units.items(), key=lambda item: -item[1]["kernel"]):
        if cost["kernel"] > 0.05:
            share = f" {100 * cost['kernel'] / whole:5.1f}%"
            count = found["counts"][name]
            each = f" {count:6d} {cost['kernel'] / count:7.1f}" if count else ""
            lines.append(_row(f"    {name}", cost["kernel"], cost.get("twin")) + share + each)
    lines += [
        _row("    sum", whole, sum(cost.get("twin", 0.0) for cost in units.values()) or None),
        "",
        f"{'clarifier against its layers [ns/step]':44} {head} {'a layer':>7}",
    ]
    for row in found["layers"]:
        words = f"    {row['layers']:.0f} layers at {row['step_s']:g} s"
        lines.append(_row(words, row["kernel"], row.get("twin")) + f" {row['kernel'] / row['layers']:7.2f}")
    lines += ["", f"{'one scan of a control program [ns]':44} {head} {'each':>7}"]
    for row in found["scans"]:
        words = f"    {row['instructions']:.0f} instructions"
        lines.append(_row(words, row["kernel"], row.get("twin")) + f" {row['kernel'] / row['instructions']:7.2f}")
    rows = found["control_instructions_per_step"]
    lines.append(f"    gravel-pit runs {rows:.0f} different instructions a step on average")
    return lines
