"""A bench for alarms: a tank nothing happens in, flags set by hand, and alarms that look at them.

Run as a script it prints what an hour of a plant full of alarms comes to, so that one process can be held against
another.
"""

from __future__ import annotations

import hashlib
import json
import tempfile
from pathlib import Path
from typing import Any

import numpy as np

from plantsim.plant.build import load_model
from plantsim.plant.model import Model
from plantsim.sim.simulation import Simulation

PLANT = """
site: {name: Alarm bench (invented), start: 2027-04-05 00:00, step: %s, record_every: 10 s}
units:
  well: {kind: supply, to: tank, flow: 1 m3/h}
  tank: {kind: vessel, shape: {form: cylinder, diameter: 8 m, depth: 4 m}, start_level: 1 m}
instruments:
  LT-100: {measures: tank.level, unit: m, high: 4}
flags:
  LY-101: {start: 1, unit: m, note: a level set by hand}
  HS-101: {start: 0, note: silences}
%s
alarms:
%s
"""
RATIONALE = "priority: low, consequence: c, action: a, respond_within: 1 h"
BUSY = """
PROGRAM busy
VAR_OUTPUT level : REAL; {unit 'm'} hush : BOOL; END_VAR
VAR n : INT; seed : DINT := 12345; END_VAR
n := n + 1;
seed := (seed * 1103 + 12849) MOD 65536;
level := DINT_TO_REAL(seed) / 10000.0;
hush := n MOD 97 > 80;
END_PROGRAM
"""


def alarm(name: str, **keys: Any) -> str:
    """One line of an alarms section; a level above 3 m when nothing else is said."""
    wanted = {"on": "LY-101", **keys}
    if not {"above", "below", "is"} & set(wanted):
        wanted["above"] = "3 m"
    return f"  {name}: {{{', '.join(f'{k}: {v}' for k, v in wanted.items())}, {RATIONALE}}}"


def model(*alarms: str, step: str = "1 s", more: str = "", program: str | None = None) -> Model:
    """A bench with some alarms."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "bench.yaml"
        if program is not None:
            (Path(folder) / "busy.st").write_text(program)
        path.write_text(PLANT % (step, more, "\n".join(alarms)))
        return load_model(path)


class Bench:
    """A simulation of a bench, stepped by hand."""

    def __init__(self, *alarms: str, **keys: Any) -> None:
        self.sim = Simulation(model(*alarms, **keys))
        self.desk = self.sim.alarms

    def put(self, tag: str, value: float) -> None:
        """Set a flag."""
        self.sim.model.arena.tags[self.sim.model.tags[tag].index] = value

    def level(self, value: float, ticks: int = 1) -> None:
        """Set the level and go on."""
        self.put("LY-101", value)
        self.go(ticks)

    def go(self, ticks: int = 1) -> None:
        """Go on for some ticks."""
        self.sim.run((self.sim.tick + ticks) * self.sim.model.step)

    def changes(self) -> list[tuple[int, str, str]]:
        """Tick, state before and state after of every change so far."""
        return [(n.tick, n.before, n.after) for n in self.sim.alarm_log]


def busy_model(alarms: int = 40) -> Model:
    """A plant whose level jumps at every scan: so many alarms, with every kind of delay, group and suppression."""
    lines = []
    for k in range(alarms):
        keys: dict[str, Any] = {"on_delay": f"{k % 4} s", "off_delay": f"{k % 3} s", "deadband": f"{0.1 * (k % 5):g} m"}
        keys["above" if k % 2 else "below"] = f"{1 + 0.1 * k:g} m"
        if k % 3 == 0:
            keys["group"] = f"g{k % 2}"
        if k % 5 == 0:
            keys |= {"suppressed_while": "HS-101 is on", "suppressed_after": f"{k % 7} s"}
        if k % 7 == 0:
            keys["latching"] = "yes"
        if k % 8 == 1:
            keys["every"] = "3 s"
        lines.append(alarm(f"LA{'H' if k % 2 else 'L'}-{200 + k}", **keys))
    control = "control:\n  busy: {file: busy.st, every: 1 s, connect: {level: LY-101, hush: HS-101}}"
    return model(*lines, more=control, program=BUSY)


def busy(seconds: float, chunk: int = 200_000) -> Simulation:
    """A busy plant after some time, in which an operator acknowledges, resets and shelves every now and then."""
    sim = Simulation(busy_model(), chunk=chunk)
    for at in np.arange(50.0, seconds, 50.0):
        sim.run(at)
        sim.alarms.acknowledge()
        sim.alarms.reset()
        sim.alarms.shelve("LAL-202", 17.0)
        if at % 200.0 == 0:
            sim.alarms.take_out("LAH-203")
        elif at % 200.0 == 100.0:
            sim.alarms.put_back("LAH-203")
    sim.run(seconds)
    return sim


def fingerprint(seconds: float, chunk: int = 200_000) -> dict[str, str]:
    """Digests of memory, journal and log of changes of a busy plant."""
    sim = busy(seconds, chunk)
    texts = {"memory": sim.save().memory, "journal": repr(sim.journal).encode(), "log": repr(sim.alarm_log).encode()}
    return {name: hashlib.sha256(text).hexdigest() for name, text in texts.items()}


if __name__ == "__main__":
    print(json.dumps(fingerprint(400.0)))
