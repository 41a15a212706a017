"""All tuning rules, each with its source, and a table of every rule that fits a process."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from plantsim.analysis.tuning.half_rule import half_rule
from plantsim.analysis.tuning.margins import ultimate
from plantsim.analysis.tuning.models import FOPDT, Integrating, Process, PureDelay, TuningError
from plantsim.analysis.tuning.rules_classic import (
    Ultimate,
    chien_hrones_reswick,
    cohen_coon,
    itae,
    tyreus_luyben,
    ziegler_nichols_loop,
    ziegler_nichols_step,
)  # fmt: skip
from plantsim.analysis.tuning.rules_level import averaging_level, level_process, smooth_level
from plantsim.analysis.tuning.rules_model import (
    amigo,
    imc,
    improved_simc,
    lambda_integrating,
    lambda_tuning,
    simc,
    simc_series,
)  # fmt: skip
from plantsim.analysis.tuning.settings import Settings

__all__ = [
    "Settings", "Ultimate", "amigo", "averaging_level", "chien_hrones_reswick", "cohen_coon", "every_rule", "imc",
    "improved_simc", "itae", "lambda_integrating", "lambda_tuning", "level_process", "simc", "simc_series",
    "smooth_level", "tyreus_luyben", "ziegler_nichols_loop", "ziegler_nichols_step",
]  # fmt: skip


def every_rule(
    process: Process, lam: float | None = None, tauc: float | None = None, scan: float = 0.0
) -> list[Settings]:
    """Settings by every rule that has an answer for a process, for a table side by side.

    Rules for a first-order model get the half-rule reduction of a longer one; ultimate rules get the exact
    ultimate point of the whole process.

    Parameters
    ----------
    process : Process
        Process.
    lam : float, optional
        Closed-loop time for lambda tuning; by default the greater of T and 3 L (integrating: 3 L), common
        practice, no source [s]
    tauc : float, optional
        Closed-loop time for SIMC; by default its dead time [s]
    scan : float
        Time between scans; half of it counts as dead time [s]

    Returns
    -------
    list of Settings
        In the order of the rules' age; rules without an answer are left out.
    """
    short = half_rule(process, 1, scan).model
    delay = short.factors().delay
    kinds = ("PI", "PID")

    def by_loop(rule: Callable[[Ultimate, str], Settings], kind: str) -> Settings:
        return rule(ultimate(process, scan), kind)

    tries: list[Callable[[], Settings]] = []
    if isinstance(short, FOPDT | Integrating):
        tries += [partial(ziegler_nichols_step, short, kind) for kind in kinds]
    tries += [partial(by_loop, ziegler_nichols_loop, kind) for kind in kinds]
    if isinstance(short, FOPDT):
        aims = ("load", "setpoint")
        every = [(aim, over, kind) for aim in aims for over in (0, 20) for kind in kinds]
        tries += [partial(chien_hrones_reswick, short, kind, aim, over) for aim, over, kind in every]
        tries += [partial(cohen_coon, short, kind) for kind in kinds]
        tries.append(partial(lambda_tuning, short, max(short.T, 3.0 * delay) if lam is None else lam))
        tries += [partial(imc, short, kind) for kind in ("PI", "improved PI", "PID")]
        tries += [partial(itae, short, kind, aim) for aim in aims for kind in kinds]
    if isinstance(short, Integrating):
        tries.append(partial(lambda_integrating, short, 3.0 * delay if lam is None else lam))
    tries += [partial(by_loop, tyreus_luyben, kind) for kind in kinds]
    tries += [partial(simc, process, tauc, kind, scan) for kind in kinds]
    if isinstance(short, FOPDT | Integrating):
        tries += [partial(amigo, short, kind) for kind in kinds]
    if isinstance(short, FOPDT | PureDelay):
        tries += [partial(improved_simc, short, kind, tauc) for kind in kinds]
    table: list[Settings] = []
    for attempt in tries:
        try:
            found = attempt()
        except TuningError:
            continue  # the rule says itself that it has no settings for this process
        if all(found.rule != other.rule for other in table):
            table.append(found)
    return table
