"""Invented finished runs for the tests of the report: shapes as a plant leaves them, numbers made up."""

from __future__ import annotations

import datetime as dt
import functools

import numpy as np

from plantsim.store.data import Figure, Limit, Profile, RunData, Series

START = dt.datetime(2027, 4, 5, 5, 0)  # a Monday


def shifts(seconds: float) -> list[tuple[float, float]]:
    """Two shifts a day with a meal break, from an hour after the start."""
    spans = []
    for day in range(int(np.ceil(seconds / 86400.0))):
        for a, b in ((1.0, 6.5), (7.0, 12.0), (12.5, 17.0)):
            begin, end = 86400.0 * day + 3600.0 * a, 86400.0 * day + 3600.0 * b
            if begin < seconds:
                spans.append((begin, min(end, seconds)))
    return spans


def _on(time: np.ndarray, running: list[tuple[float, float]]) -> np.ndarray:
    return sum((((time >= a) & (time < b)).astype(float) for a, b in running), np.zeros_like(time))


def _smooth(values: np.ndarray, every: float, lag: float) -> np.ndarray:
    gain = 1.0 - np.exp(-every / lag)
    out = np.empty_like(values)
    state = values[0]
    for i, value in enumerate(values):
        state += gain * (value - state)
        out[i] = state
    return out


@functools.lru_cache(maxsize=8)
def gravel(seconds: float = 86400.0, every: float = 10.0, channels: int = 150) -> RunData:
    """A gravel site: three variable-speed pumps, one clarifier, two dosing skids, six cells."""
    rng = np.random.default_rng(11)
    time = np.arange(0.0, seconds + every / 2, every)
    n = len(time)
    running = shifts(seconds)
    on = _on(time, running)
    hour = time / 3600.0
    wander = _smooth(rng.normal(0, 6, n), every, 900.0)
    flow = _smooth(on * 350.0, every, 60.0) * (1 + 0.02 * wander)
    duty = np.clip(_smooth(on, every, 150.0) * (82 + 5 * np.sin(hour)) + wander, 0, 100)
    assist = np.where((hour % 24 > 9) & (hour % 24 < 11), 55.0, 0.0) * on
    turbidity = 25 + 8 * np.sin(hour / 3) + 30 * _smooth(1 - on, every, 1200) + np.abs(rng.normal(0, 2, n))
    bed = 1.4 + 0.5 * np.sin(2 * np.pi * (hour - 7) / 24) + 0.05 * wander
    series: dict[str, Series] = {}

    def add(name: str, values: np.ndarray, unit: str, meaning: str = "as recorded") -> None:
        series[name] = Series(np.asarray(values, float), unit, meaning)

    add("wash-plant.running", on, "-", "washing now")
    add("wash-plant.flow", flow, "m3/h", "dirty water leaving")
    add("wash-plant.concentration", 57 * on, "g/L")
    add("sump.level", 1.9 + 0.4 * np.sin(hour * 2) + 0.02 * wander, "m", "level of the surface")
    add("sump.inflow", flow, "m3/h")
    add("sump-line.flow", np.clip(flow + 12 * np.sin(hour * 2), 0, None), "m3/h", "flow in the line")
    add("sump-line.velocity", flow / 180.0, "m/s")
    add("mud-line.flow", 32 * on, "m3/h", "flow in the line")
    add("mud-line.velocity", 0.9 * on, "m/s")
    for name, speed in (("P-101", duty), ("P-102", assist), ("P-103", np.zeros(n))):
        add(f"{name}.head", 0.3 * speed, "m")
        add(f"{name}.flow", 3.6 * speed, "m3/h")
        add(f"{name}.speed", speed, "%", "speed over rated")
        add(f"{name}.running", speed > 1, "-", "energised")
    add("clarifier.turbidity", turbidity, "NTU", "turbidity of the overflow")
    add("clarifier.overflow_solids", 1.3 * turbidity, "g/m3")
    add("clarifier.bed_level", bed, "m", "top of the bed above the cone bottom")
    add("clarifier.mud_level", bed + 0.35, "m")
    add("clarifier.torque", 22 + 14 * bed, "%", "rake torque over its limit")
    add("clarifier.underflow_fraction", 42 + 3 * np.sin(hour / 2), "%")
    add("clarifier.underflow", 32 * on + rng.normal(0, 0.2, n), "m3/h", "underflow drawn")
    add("clarifier.level", np.full(n, 4.6), "m")
    add("clarifier-rake.speed", np.full(n, 100.0), "%")
    add("coagulant-skid.dose", 14 * on + 0.2 * wander, "kg/h", "product delivered at the point of injection")
    add("coagulant-skid.neat", 10.5 * on, "L/h")
    add("polymer-skid.dose", 1.0 * on + 0.02 * wander, "kg/h", "product delivered at the point of injection")
    add("polymer-skid.neat", 400 * on, "L/h")
    add("clean-tank.level", 2.2 - 0.3 * np.sin(hour / 4), "m", "level of the surface")
    for k in range(6):
        add(f"cell-{k + 1}.height", 0.25 * k + (0.01 if k == 2 else 0.0) * hour, "m")
        add(f"cell-{k + 1}.mud_height", 0.2 * k + 0 * hour, "m")
        add(f"cell-{k + 1}.strength", 2.0 * k + 0 * hour, "kPa", "undrained strength; never a permission to enter")
    add("LT-101", 100 * (1.9 + 0.4 * np.sin(hour * 2)) / 4.0 + rng.normal(0, 0.4, n), "%", "sump.level")
    add("LSHH-101", np.zeros(n), "1", "sump.level above 3.4 m")
    add("AT-301", turbidity * 1.05 + rng.normal(0, 1.5, n) + 2, "NTU", "clarifier.turbidity")
    add("FT-201", flow + rng.normal(0, 3, n), "m3/h", "sump-line.flow")
    for k in range(max(0, channels - len(series))):
        add(f"other-{k}.position", 50 + 0 * hour, "%")

    heights = np.arange(39.5, 0.0, -1.0) * 0.12
    depth = heights[None, :] - bed[:, None]
    solids = np.where(depth < 0, 250 + 380 * np.clip(-depth / 2.0, 0, 1), 25 * np.exp(-np.clip(depth, 0, 9) * 6))
    limits = [
        Limit("sump.level", 3.2, "high level alarm", "limit"),
        Limit("sump.level", 2.0, "level set point", "setpoint"),
        Limit("clarifier.turbidity", 80.0, "reuse limit", "limit"),
        Limit("clarifier.torque", 80.0, "torque alarm", "limit"),
        Limit("clarifier.bed_level", 2.6, "feedwell", "limit"),
        Limit("clean-tank.level", 0.8, "wash plant stops", "limit"),
    ]
    journal = [(a, "shift", "wash plant starts") for a, _ in running]
    journal += [(b, "shift", "wash plant stops") for _, b in running]
    minutes = range(0, int(seconds / 60), 7)
    journal += [(60.0 * k, "drive", f"P-102 started, level {1.8 + 0.001 * k:.3f} m") for k in minutes]
    journal += [(0.4 * seconds, "failure", "AT-301 fouled: reads 12 % of span high")]
    journal.sort()
    figures = {
        "plant.water_recovery": Figure(92.94, "%", "clean water returned of the water that came in"),
        "plant.energy": Figure(0.3512, "kWh/m3", "electric energy per cubic metre lifted"),
        "wash-plant.washed": Figure(3120.0, "t", "dry feed washed"),
        "sump-line.pumped": Figure(5230.4, "m3", "volume delivered"),
        "P-101.starts_hour": Figure(4.0, "1/h", "most starts in any sliding hour"),
        "clarifier.turbidity_mean": Figure(34.2, "NTU", "mean overflow turbidity while it runs over"),
        "clarifier.underflow_fraction": Figure(42.3, "%", "mean solids of the underflow, by mass"),
        "clarifier.torque_most": Figure(63.0, "%", "highest rake torque over its limit"),
        "coagulant-skid.dose_water": Figure(40.1, "g/m3", "coagulant product per water treated"),
        "polymer-skid.dose_solids": Figure(51.0, "g/t", "polymer per dry solids"),
        "cell-3.strength": Figure(4.1, "kPa", "strength of the mud at the end"),
    }
    amounts = ("water", "coarse", "fines", "colloid", "coagulant", "polymer")
    closure = {
        m: {"in": 100.0 + k, "out": 60.0, "reaction": 0.0, "change": 40.0 + k, "gap": 3.1e-13 * (k + 1)}
        for k, m in enumerate(amounts)
    }
    balance = {}
    for k, way in enumerate(("feed", "supply", "chemical", "rain", "spill", "discharge", "evaporation", "product")):
        row = {m: 0.0 if way == "spill" else 10.0 * (k + 1) + j for j, m in enumerate(amounts)}
        balance[way] = {**row, "solids": row["coarse"] + row["fines"] + row["colloid"]}
    return RunData(
        run="2027-04-05-gravel-1", title="Invented gravel site, cold valley", source_file="configs/gravel-pit.yaml",
        seed=7, start=START, step=1.0, seconds=seconds, unfinished=False,
        created=dt.datetime(2027, 1, 2, 3, 4, tzinfo=dt.UTC), versions={"plantsim": "0.1.0", "numpy": "2.1.0"},
        time=time, series=series, profiles={"clarifier": Profile(heights, solids)}, journal=journal, figures=figures,
        closure=closure, balance=balance, limits=limits, running=running,
        warnings=["a line with coarse in it ran below its limit velocity"],
        resolved="site:\n  name: Invented gravel site\n  step: 1 s\n",
    )  # fmt: skip
