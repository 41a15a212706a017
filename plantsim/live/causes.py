"""What a trainer does to a plant: single causes and whole upsets, made into acts from now on."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from plantsim.errors import ConfigError
from plantsim.live.desk import Refusal
from plantsim.live.lessons import shifted
from plantsim.plant.acts import Act, Places, make_act, make_acts
from plantsim.plant.model import Model
from plantsim.plant.plans import ActPlan, Start
from plantsim.plant.reader import dump
from plantsim.plant.scenario import happenings, open_scenario
from plantsim.units import QuantityError, to_si


def seconds_of(text: Any, what: str, least: float = 0.0) -> float:
    """A length of time from a text with unit.

    Raises
    ------
    Refusal
        If it is none.
    """
    try:
        value = to_si(str(text)[:40], "time")
    except QuantityError as error:
        raise Refusal(f"{what}: {error}") from None
    if not least <= value <= 30 * 86400.0:
        raise Refusal(f"{what}: found {value:g} s; allowed: {least:g} s to 30 d")
    return value


def make_cause(model: Model, data: dict[str, Any], tick: int) -> list[ActPlan]:
    """Acts of one cause: `set` to a value, now or `after` a time, along a `ramp`, `for` a time.

    Parameters
    ----------
    model : Model
        The plant.
    data : dict
        Texts as in a scenario file.
    tick : int
        Present tick.

    Raises
    ------
    Refusal
        If it does not fit the plant.
    """
    said: list[str] = []
    at = tick * model.step + (seconds_of(data["after"], "after") if data.get("after") else 0.0)
    act = Act(
        Start(at, at),
        data["set"],
        data["to"],
        lambda key, words: said.append(f"{key}: {words}" if key else words),
        seconds_of(data["ramp"], "ramp") if data.get("ramp") else 0.0,
        seconds_of(data["for"], "for", model.step) if data.get("for") else math.inf,
        str(data.get("by", "cause")),
        "",
        "trainer",
    )
    plan = make_act(Places.of(model), act)
    if plan is None or said:
        raise Refusal(said[0] if said else f"found '{data['set']}', which cannot be set")
    return [plan]


def make_upset(model: Model, data: dict[str, Any], tick: int) -> list[ActPlan]:
    """Acts of a shipped upset: now, `after` a time, or at a moment `within` a time that the tick draws.

    Parameters
    ----------
    model : Model
        The plant.
    data : dict
        `upset`, its name; `with` other values of its parameters, `parts` other parts, `for` how long its causes last,
        `respond`: its own answer too.
    tick : int
        Present tick.

    Raises
    ------
    Refusal
        If it does not fit the plant.
    """
    at = tick * model.step + (seconds_of(data["after"], "after") if data.get("after") else 0.0)
    if data.get("within"):
        generator = np.random.Generator(np.random.Philox(key=[tick, len(data["upset"])]))
        at += generator.uniform(0.0, seconds_of(data["within"], "within"))
    block: dict[str, Any] = {"upset": data["upset"], "at": f"{at:.3f} s"}
    block.update({key: data[key] for key in ("with", "parts", "for") if data.get(key)})
    if data.get("respond"):
        block["respond"] = "yes"
    return scenario_plans(model, {"upsets": [block]})


def make_lesson(model: Model, data: dict[str, Any], tick: int) -> list[ActPlan]:
    """Acts of a lesson's upsets and further causes, their times counted from the present tick.

    Raises
    ------
    Refusal
        If they do not fit the plant.
    """
    by = tick * model.step
    return scenario_plans(model, {key: shifted(data.get(key, []), by) for key in ("upsets", "acts")}, "lesson")


def scenario_plans(model: Model, blocks: dict[str, Any], name: str = "upset") -> list[ActPlan]:
    """Acts of a scenario given as a table, its times counted from the start of the plant.

    Raises
    ------
    Refusal
        With the first finding.
    """
    tree = open_scenario(dump(blocks), name)
    try:
        tree.raise_findings()
        places = Places.of(model)
        acts, _ = happenings(places, tree)
        plans = make_acts(places, acts)
        tree.raise_findings()
    except ConfigError as error:
        raise Refusal(str(error.findings[0] if getattr(error, "findings", None) else error)) from None
    return plans
