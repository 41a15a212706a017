"""Plants for tests of whole plants: the demos, small ones written here, and how to run and fingerprint them.

Run as a script it prints what a run comes to, so that one process can be held against another:
`python plants.py NAME SEED SECONDS`.
"""

from __future__ import annotations

import functools
import hashlib
import json
import os
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from nonsense import complaints_of

from plantsim.analysis.closure import close, inventory
from plantsim.plant.build import load_model
from plantsim.plant.model import Model
from plantsim.sim.simulation import Simulation

ROOT = Path(__file__).resolve().parents[2]
HOUR, DAY, WEEK = 3600.0, 86400.0, 7 * 86400.0
DEMOS = tuple(sorted(path.stem for path in (ROOT / "configs").glob("*.yaml") if "\nunits:" in path.read_text()))

EVENTFUL = """
# An invented plant with one of every kind of unit, in which much happens: shifts, faces, dips, failures,
# deliveries, acts, a digging crew and rounds, under a control program.
site: {name: Eventful pit (invented), start: 2027-04-05 00:00, record_every: 10 s}
weather:
  apr: {temperature: 8 degC}
power:
  mains:
    dips: {mean_time: 2 h, shortest: 0.5 s, longest: 20 s}
units:
  wash:
    kind: source
    from: clean
    to: sump
    production: 60 t/h
    permit: XC-100
    shifts: ["daily 02:00-10:00", "daily 11:30-22:00"]
    pauses: ["daily 05:00-05:30"]
    faces: {mean_time: 3 h, low: 5 %, high: 60 %}
  well: {kind: supply, to: clean, flow: 10 m3/h}
  sump:
    kind: vessel
    shape: {form: prism, length: 4 m, width: 4 m, depth: 3 m}
    start_level: 1.5 m
    shear: 100 1/s
  rising:
    kind: line
    from: sump
    to: clarifier
    pipe: {length: 300 m, diameter: 200 mm, lift: 8 m, parcels: 40, dispersion: 0.1 m2/s}
    pumps:
      P-101: &pump
        curve:
          - [0 m3/h, 20 m, 0 %, 2 m]
          - [100 m3/h, 18 m, 65 %, 3 m]
          - [200 m3/h, 10 m, 60 %, 5 m]
        motor: {run: YC-101, restart: by itself, restart_delay: 8 s}
      P-102:
        <<: *pump
        motor: {run: YC-102, restart: by itself, restart_delay: 12 s}
  coagulant:
    {kind: doser, product: coagulant, to: rising, tote: {volume: 200 L, start: 32 %, lead: 2 h}, capacity: 10 L/h}
  polymer: {kind: makedown, store: 30 kg, reorder: 90 %, lead: 3 h}
  polymer-pump:
    kind: doser
    product: polymer
    to: clarifier
    from: polymer
    capacity: 1500 L/h
    dilution: {from: clean, ratio: 5, good_ratio: 5}
  clarifier:
    kind: clarifier
    overflow: clean
    diameter: 6 m
    depth: 4 m
    layers: 20
    start_bed: 1 m
    rake: {}
  underflow:
    kind: line
    from: clarifier
    to: mud-tank
    pipe: {length: 20 m, diameter: 80 mm, lift: -1 m, parcels: 8, mud: yes}
  clean:
    kind: vessel
    shape: {form: cylinder, diameter: 8 m, depth: 4 m}
    start_level: 3 m
    overflow: discharge
  mud-tank:
    kind: vessel
    shape: {form: cylinder, diameter: 5 m, depth: 4 m}
    start_level: 0 m
    suction_level: 0 m
  mud-line:
    kind: line
    from: mud-tank
    to: cells
    pipe: {length: 30 m, diameter: 100 mm, lift: -2 m, parcels: 8, mud: yes}
  cells:
    kind: bank
    decant: clean
    crew: ["daily 07:00-15:00"]
    final_void: 1.2                # stiff enough to be dug from the start
    shrink_void: 1.1
    dig_strength: 1 kPa
    cells:
      east: {valve: XV-501, area: 500 m2}
      west: {valve: XV-502, area: 500 m2, mud: 0.5 m}
  press:
    kind: press
    from: mud-tank
    filtrate: sump
    chambers: 1 m3
    area: 60 m2
    max_flow: 20 m3/h
    start_volume: 2 m3
    motor: {}
instruments:
  LT-101: {measures: sump.level, unit: m, high: 3, noise: 0.3 %, lag: 2 s}
  AT-201: {measures: clarifier.turbidity, unit: NTU, high: 1000, saturation: 2500, noise: 1 %, every: 5 s,
           fouling: 5 %, clean_every: 8 h}
switches:
  YS-101: {measures: P-101.running}
  YS-102: {measures: P-102.running}
flags:
  XC-100: {start: 1, note: the wash plant may run}
actuators:
  XV-501: {start: 50 %}
  XV-502: {}
control:
  sump-level:
    program: sump-on-off
    connect: {level: LT-101, running_1: YS-101, running_2: YS-102, run_1: YC-101, run_2: YC-102, wash_permit: XC-100}
    set: {start_level: 1.5 m, stop_level: 0.6 m, lag_level: 2.1 m, lag_off_level: 1.2 m, high_high_level: 2.7 m,
          permit_level: 2.0 m, low_low_level: 0.4 m, retry: 20 min}
rounds: ["daily 06:00-18:00"]
failures:
  trip: {what: P-101.trip, mean_up: 3 h, mean_down: 20 min}
  probe: {what: LT-101.bias, value: 0.05, mean_up: 5 h, mean_down: 30 min}
acts:
  - {at: 10 h, set: well.available, to: off, for: 2 h, note: the well fails}
  - {at: 10 h, set: wash.feed_factor, to: x1.3}
  - {at: 800 min, set: rising.plugged, to: on, note: a stone in the line}
  - {between: [9 h, 11 h], set: well.temperature, to: 15 degC, ramp: 100 min, for: 3 h}
"""

TEXTS = {"eventful": EVENTFUL}
AWAKE = "-awake"
"""Put behind a name: the plant starts in mid-shift, so that all of it works from the first step."""


def build(text: str, *overrides: str) -> Model:
    """Build a plant from YAML text, with `key.path=value` overrides."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "plant.yaml"
        path.write_text(text)
        return load_model(path, overrides)


def named(name: str, *overrides: str) -> Model:
    """Build a demo or a plant of this module by name."""
    if name.endswith(AWAKE):
        return named(name.removesuffix(AWAKE), "site.start=2027-04-05 09:00", *overrides)
    if name in TEXTS:
        return build(TEXTS[name], *overrides)
    return load_model(ROOT / "configs" / f"{name}.yaml", overrides)


def digest(data: bytes) -> str:
    """Short form of any number of bytes."""
    return hashlib.sha256(data).hexdigest()


def fingerprint(name: str, seed: int, seconds: float, *overrides: str) -> dict[str, str]:
    """Run a plant; return digests of its whole memory, its recorded rows and its journal."""
    sim = Simulation(named(name, *overrides), seed)
    sim.run(seconds)
    return {
        "memory": digest(sim.save().memory),
        "rows": digest(np.ascontiguousarray(sim.recorder.rows).tobytes()),
        "journal": digest(repr(sim.journal).encode()),
    }


def start_process(name: str, seed: int, seconds: float, **environment: str) -> subprocess.Popen[str]:
    """Begin a run in a process of its own; `finish` gives what `fingerprint` would."""
    return subprocess.Popen(
        [sys.executable, "-W", "error", __file__, name, str(seed), str(seconds)], text=True, cwd=ROOT,
        env={**os.environ, **environment}, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    )  # fmt: skip


def finish(process: subprocess.Popen[str]) -> dict[str, str]:
    """What a run in a process of its own came to."""
    out, err = process.communicate(timeout=600)
    assert process.returncode == 0, err
    return json.loads(out)


def column(sim: Simulation, name: str) -> np.ndarray:
    """A recorded channel, SI."""
    return sim.recorder.series(name)


@dataclass(frozen=True)
class Week:
    """A week of a demo, looked at every few hours on the way."""

    sim: Simulation
    closure: dict[str, dict[str, float]]
    complaints: tuple[str, ...]

    @property
    def model(self) -> Model:
        """The plant at the end of the week."""
        return self.sim.model


@functools.cache
def week(demo: str) -> Week:
    """Run a demo for a week, once for all tests of one process."""
    model = named(demo)
    sim = Simulation(model)
    start = inventory(model.arena)
    complaints: list[str] = []
    for hours in range(0, 168, 4):
        sim.run((hours + 4) * HOUR)
        complaints += [f"after {hours + 4} h: {words}" for words in complaints_of(model)]
    return Week(sim, close(start, model.arena), tuple(complaints))


if __name__ == "__main__":
    print(json.dumps(fingerprint(sys.argv[1], int(sys.argv[2]), float(sys.argv[3]))))
