"""The measurements as text."""

from __future__ import annotations

from typing import Any

GOAL_NS, GOAL_RATIO, GOAL_RUN, GOAL_FIRST, GOAL_MB = 1500.0, 2.0, 3.0, 40.0, 400.0


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
        f"    goal: at most {GOAL_NS:.0f} ns on the test machine, ratio at most {GOAL_RATIO:.0f}",
    ]
    if found["no_twin"]:
        lines.append(f"    {found['no_twin']}")
    lines += [
        "",
        f"{'plantsim run of a day, all included':44} {found['run_seconds']:9.2f} s  (goal: under {GOAL_RUN:.0f} s)",
        f"{'peak memory':44} {found['run_peak_mb']:9.0f} MB (goal: under {GOAL_MB:.0f} MB)",
    ]
    if "first_run_seconds" in found:
        lines += [
            f"{'first run ever':44} {found['first_run_seconds']:9.1f} s  (goal: under {GOAL_FIRST:.0f} s)",
            f"{'    of that, compiling':44} {found['compile_seconds']:9.1f} s",
        ]
    if "units" in found:
        lines += _parts(found)
    return "\n".join(lines)


def _row(words: str, kernel: float, twin: float | None) -> str:
    right = f"{twin:9.1f} {kernel / twin:6.2f}" if twin else f"{'-':>9} {'-':>6}"
    return f"{words:44} {kernel:9.1f} {right}"


def _parts(found: dict[str, Any]) -> list[str]:
    units = found["units"]
    whole = sum(cost["kernel"] for cost in units.values())
    head = f"{'kernel':>9} {'C twin':>9} {'ratio':>6}"
    lines = ["", f"{'all units of a kind, alone, best [ns/step]':44} {head} {'share':>6}"]
    for name, cost in sorted(units.items(), key=lambda item: -item[1]["kernel"]):
        if cost["kernel"] > 0.05:
            share = f" {100 * cost['kernel'] / whole:5.1f}%"
            lines.append(_row(f"    {name}", cost["kernel"], cost.get("twin")) + share)
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
