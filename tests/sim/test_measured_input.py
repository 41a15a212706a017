"""A plant driven by an open measured series: the source follows it, and what it brings is all accounted for.

The series is the hourly flow through a branch of a water main, March to May 2022 in L/s, that the Python package
`river` carries (river/datasets/water-flow.csv; the package is licensed BSD-3-Clause). Its solids are ours: `rating`.
The part used holds an outage, in which the flow falls to a third, and the change to summer time.
"""

from __future__ import annotations

import csv
import datetime as dt
import functools
import tempfile
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest
from nonsense import complaints_of

from plantsim.analysis.closure import balance, close, inventory
from plantsim.plant.build import load_model
from plantsim.sim.simulation import Simulation

DAYS = 5
FIRST = "2022-03-25T00:00:00+01:00"
PLANT = """\
# An invented plant fed by a measured series: a sump, an on/off pump, a clarifier, and its mud in a tank.
site: {name: Measured pit (invented), start: 2022-03-25 00:00, record_every: 60 s}
units:
  feed:
    kind: source                   # water from outside, fines and coarse of a share as given here
    to: sump
    series: feed.csv
    fines: 9 %
    coarse: 1 %
    colloid: 2 %
  sump:
    kind: vessel
    shape: {form: prism, length: 8 m, width: 6 m, depth: 4 m}
    start_level: 1.5 m
  rising:
    kind: line
    from: sump
    to: clarifier
    pipe: {length: 150 m, diameter: 300 mm, lift: 9 m, parcels: 30}
    pumps:
      P-101:
        curve:
          - [0 m3/h, 17 m, 0 %, 2 m]
          - [400 m3/h, 13 m, 72 %, 3 m]
          - [600 m3/h, 8 m, 60 %, 5 m]
        motor: {run: YC-101, power: 30 kW}
  polymer:
    kind: doser
    product: polymer
    to: clarifier
    capacity: 4 L/h
    tote: {volume: 1 m3, strength: 250 g/L}
    motor: {}
  clarifier:
    kind: clarifier
    overflow: discharge
    diameter: 13 m
    depth: 5 m
    layers: 20
    start_bed: 1 m
  mud-line:
    kind: line
    from: clarifier
    to: mud-tank
    pipe: {length: 30 m, diameter: 100 mm, lift: -3 m, fittings: 120, mud: yes, parcels: 8}
  mud-tank:
    kind: vessel
    shape: {form: cylinder, diameter: 30 m, depth: 5 m}
    start_level: 0 m
    suction_level: 0 m
    overflow: discharge
instruments:
  LT-101: {measures: sump.level, unit: m, high: 4}
switches:
  YS-101: {measures: P-101.running}
control:
  sump-level:
    program: sump-on-off
    connect: {level: LT-101, running_1: YS-101, run_1: YC-101}
    set: {pumps: 1}
"""


def rating(flow):
    """Solids [g/L] for a flow [L/s]: a rating curve C = a Q^b, the form in use for muddy streams; a and b are ours."""
    return 25.0 * (flow / 100.0) ** 1.5


@functools.cache
def rows():
    """Hours since the first row of the part used, and flows [L/s], as the package has them; gaps left out."""
    begin = dt.datetime.fromisoformat(FIRST)
    with (files("river") / "datasets" / "water-flow.csv").open(encoding="utf-8") as file:
        content = list(csv.reader(file))
    assert content[0] == ["Time", "Water flow [l/s]"]
    moments = [(dt.datetime.fromisoformat(t), t, float(q)) for t, q in content[1:] if q]
    return [((m - begin).total_seconds() / 3600.0, t, q) for m, t, q in moments
            if begin <= m <= begin + dt.timedelta(days=DAYS + 1)]  # fmt: skip


@functools.cache
def run():
    """The plant after its days, with what it held at the start."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "plant.yaml"
        path.write_text(PLANT, encoding="utf-8")
        feed = "".join(f"{t},{q!r},{rating(q)!r}\n" for _, t, q in rows())
        (path.parent / "feed.csv").write_text(f"time,flow [L/s],solids [g/L]\n{feed}", encoding="utf-8")
        model = load_model(path)
    sim = Simulation(model)
    start = inventory(model.arena)
    sim.run(DAYS * 86400.0)
    return sim, start


def by_hand(seconds):
    """Flow [m3/s] and solids [kg/m3] of the series at some times, linear between its rows."""
    hours = [h - rows()[0][0] for h, _, _ in rows()]
    flows = np.interp(np.asarray(seconds) / 3600.0, hours, [q / 1000.0 for _, _, q in rows()])
    solids = np.interp(np.asarray(seconds) / 3600.0, hours, [rating(q) for _, _, q in rows()])
    return flows, solids


def test_the_part_used_is_worth_a_run():
    """It swings, and the clock changes in it: 27 March 2022, two o'clock did not happen."""
    flows = [q for _, _, q in rows()]
    assert len(flows) > 24 * DAYS and max(flows) > 2.0 * min(flows)
    assert {t[-6:] for _, t, _ in rows()} == {"+01:00", "+02:00"}


def test_the_source_follows_the_series():
    """What the source gives in the step that ends at a time is the series at that step's start."""
    sim, _ = run()
    flows, solids = by_hand(sim.recorder.time[1:] - sim.model.step)
    np.testing.assert_allclose(sim.recorder.series("feed.flow")[1:], flows, rtol=1e-9)
    np.testing.assert_allclose(sim.recorder.series("feed.concentration")[1:], solids, rtol=1e-9)


def test_what_came_in_is_the_integral_of_the_series():
    """Sum of Q C over the seconds, done here with numpy; the shares of fines, colloid and coarse are those given."""
    sim, _ = run()
    flows, solids = by_hand(np.arange(DAYS * 86400))
    came = balance(sim.model.arena)["feed"]
    total = float((flows * solids).sum())
    assert came["solids"] == pytest.approx(total, rel=1e-9)
    assert came["coarse"] == pytest.approx(0.1 * total, rel=1e-9)
    assert came["colloid"] == pytest.approx(0.02 * 0.9 * total, rel=1e-9)
    water = float((flows * (1.0 - solids / 2650.0)).sum())
    assert balance(sim.model.arena)["supply"]["water"] == pytest.approx(water, rel=1e-9)


def test_mass_in_is_mass_out_and_what_is_held():
    sim, start = run()
    closed = close(start, sim.model.arena)
    for name, row in closed.items():
        assert row["gap"] < 1e-9, name
        scale = max(row["in"], row["out"], abs(row["change"]), 1.0)
        assert row["in"] + row["reaction"] == pytest.approx(row["out"] + row["change"], abs=1e-9 * scale), name
    assert closed["water"]["out"] > 0.8 * closed["water"]["in"], "most of the water goes over the weir"
    assert closed["fines"]["change"] > 0.9 * closed["fines"]["in"], "most of the fines stay, in bed and mud tank"


def test_the_plant_stays_sound_through_the_outage():
    sim, _ = run()
    assert complaints_of(sim.model) == []
    level = sim.recorder.series("sump.level")
    assert level.min() > 0.4 and level.max() < 3.8
    assert np.isfinite(sim.recorder.rows).all()
    starts = sim.recorder.series("P-101.starts")[-1]
    assert starts > 20, "an on/off pump works on and off"
