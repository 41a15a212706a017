"""One case of a study: build the plant, run it, keep its figures. What fails becomes a row with its reason."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

from plantsim.analysis.studies.plan import Case, Plan
from plantsim.errors import PlantsimError

if TYPE_CHECKING:
    from plantsim.plant.model import Model

Row = dict[str, Any]


def run_case(plan: Plan, case: Case) -> Row:
    """Run one case.

    Parameters
    ----------
    plan : Plan
        The study.
    case : Case
        Which run of it.

    Returns
    -------
    dict
        `case`, `seed`, `scenario`, `status` (`done` or `failed`), `reason`, `values` (by parameter), `figures`
        (by name: value), `units` (of the figures), `checks` (by name: outcome and worst margin). Plain data, the same
        on every machine.
    """
    row: Row = {
        "case": case.number, "seed": case.seed, "scenario": Path(case.scenario).stem if case.scenario else "",
        "status": "done", "reason": "", "values": dict(zip((s.name for s in plan.spreads), case.values)),
        "figures": {}, "units": {}, "checks": {},
    }  # fmt: skip
    try:
        _run(plan, case, row)
    except PlantsimError as error:
        row["status"], row["reason"] = "failed", " ".join(str(error).split())
    except (ArithmeticError, MemoryError, ValueError, OSError) as error:
        row["status"], row["reason"] = "failed", f"{type(error).__name__}: {' '.join(str(error).split())}"
    return row


def _run(plan: Plan, case: Case, row: Row) -> None:
    from plantsim.analysis.checks import from_simulation, judge
    from plantsim.sim.recorder import thin
    from plantsim.sim.simulation import Simulation

    model = build(plan, case)
    # the profile of a bed is a fourth of the record, and nothing here reads it
    model.channels[:] = [channel for channel in model.channels if ".profile." not in channel.name]
    thin(model, plan.until)
    sim = Simulation(model, case.seed)
    opening = sim.save()
    sim.run(plan.until)
    record = from_simulation(sim, opening, None if plan.checks else ())
    for name in plan.figures or record.figures:
        if name in record.figures:
            row["figures"][name] = record.figures[name].value
            row["units"][name] = record.figures[name].unit
    for verdict in judge(plan.sentences(), record) if plan.checks else ():
        margin = verdict.margin if math.isfinite(verdict.margin) else None
        row["checks"][verdict.name] = {"outcome": verdict.outcome, "margin": margin, "unit": verdict.unit}


def build(plan: Plan, case: Case) -> Model:
    """The plant of one case, ready to run."""
    from plantsim.plant.build import load_model

    return load_model(plan.plant, case.overrides, scenario=case.scenario or None)
