"""A finished run made by hand."""

from __future__ import annotations

import datetime as dt

import numpy as np

from plantsim.store.data import Figure, Limit, Profile, RunData, Series


def made_run(name: str = "pit-20270405-060000-1") -> RunData:
    """Seven rows of two series and one profile, with one of everything else."""
    time = np.arange(7) * 10.0
    return RunData(
        run=name, title="Kiesgrube Süd (invented)", source_file="pit.yaml", seed=7,
        start=dt.datetime(2027, 4, 5, 6), step=1.0, seconds=65.0, unfinished=False,
        created=dt.datetime(2027, 1, 2, 3, 4, 5, tzinfo=dt.UTC), versions={"python": "3.11.4", "numpy": "2.1.0"},
        time=time,
        series={
            "sump.level": Series(np.linspace(1.0, 1.6, 7), "m", "level of the surface"),
            "P-101.speed": Series(np.array([0, 10, 20, 30, 40, 50, 60.0]), "%", "speed over rated"),
            "LIT-101": Series(np.array([0, 1, 2, 3, np.nan, 5, 6.0]), "1", ""),
        },
        profiles={"clarifier": Profile(np.array([3.0, 2.0, 1.0]), np.arange(21.0).reshape(7, 3))},
        journal=[(0.0, "shift", "wash starts by its calendar"), (30.5, "crew", 'digging at "east", first')],
        figures={"clarifier.water_recovery": Figure(92.9, "%", "water over the weir for the water fed")},
        closure={"water": {"in": 3.0, "out": 1.0, "reaction": 0.0, "change": 2.0, "gap": 1e-12}},
        balance={"feed": {"water": 0.5, "solids": 30.0}},
        limits=[Limit("clarifier.turbidity", 80.0, "reuse", "limit")], running=[(0.0, 20.0), (40.0, 60.0)],
        warnings=["In this run a line with coarse in it ran below its limit velocity."],
        resolved="site:\n  name: Kiesgrube Süd (invented)\n",
    )  # fmt: skip
