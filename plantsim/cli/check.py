"""`plantsim check`: read a configuration and say everything that is wrong with it."""

from __future__ import annotations

import argparse
from collections import Counter
from typing import Any


def add(commands: Any, shared: argparse.ArgumentParser) -> None:
    """Add the command to a parser."""
    p = commands.add_parser(
        "check", parents=[shared], help="say everything that is wrong with a configuration",
        description="Read a configuration, build its plant, and say every finding at once: file, line, key, what "
                    "was found, what is allowed.",
    )  # fmt: skip
    p.add_argument("file", metavar="FILE", help="configuration of the plant (YAML)")
    p.add_argument("--set", action="append", default=[], metavar="KEY=VALUE", dest="overrides",
                   help="replace one value of the file; may be repeated")  # fmt: skip
    p.add_argument("--scenario", metavar="FILE", help="check a scenario file for this plant with it")
    p.set_defaults(execute=execute)


def execute(args: argparse.Namespace) -> int:
    """Do it."""
    from plantsim.plant.build import load_model
    from plantsim.plant.plans import ActPlan

    model = load_model(args.file, args.overrides, scenario=args.scenario)
    kinds = Counter(kind for kind, _ in model.units.values())
    parts = ", ".join(f"{count} {_many(kind, count)}" for kind, count in sorted(kinds.items()))
    print(f"{args.file}: nothing wrong found ({model.title})")
    print(f"{parts}; {len(model.tags)} tags, {len(model.channels)} recorded quantities")
    if args.scenario is not None:
        acts = sum(isinstance(plan, ActPlan) and plan.origin != "plant" for plan in model.plans.items)
        print(f"{args.scenario}: nothing wrong found; {acts} acts, {len(model.upsets)} upsets")
    for warning in model.warnings:
        print(f"warning: {warning}")
    return 0


def _many(kind: str, count: int) -> str:
    if count == 1:
        return kind
    return kind + ("es" if kind.endswith("s") else "s")
