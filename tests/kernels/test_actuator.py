"""Actuators: rate, deadband, stiction, resolution, minimum, stuck, fail position, travel and reversals."""

from __future__ import annotations

import math

import pytest

from plantsim.arena import Arena
from plantsim.kernels.actuator import step_actuator


class Drive:
    def __init__(self, **p):
        self.a = Arena(dict(actuator_p=1, actuator_s=1, actuator_f=1, bus_s=1, tags=1))
        for name, value in {**dict(scale=1.0, rate=0.1, fail=-1.0, bus=-1), **p}.items():
            self.a.actuator_p[name][0] = value
        self.a.bus_s["live"][0] = 1
        self.s, self.f = self.a.actuator_s[0], self.a.actuator_f[0]

    def ask(self, command, steps=1, dt=1.0):
        self.a.tags[0] = command
        trace = []
        for _ in range(steps):
            step_actuator(self.a.actuator_p[0], self.s, self.f, self.a.tags, self.a.bus_s, dt)
            trace.append(float(self.s["position"]))
        return trace if steps > 1 else trace[0]


def test_rate_limit():
    drive = Drive(rate=0.1)
    assert drive.ask(0.35, 5) == pytest.approx([0.1, 0.2, 0.3, 0.35, 0.35])
    assert drive.s["travel"] == pytest.approx(0.35)
    assert Drive(rate=0.1).ask(1.0, dt=0.5) == pytest.approx(0.05)
    assert Drive(rate=0.0).ask(0.7) == 0.7  # no limit


def test_scale_and_range():
    drive = Drive(scale=0.01, rate=0.0)
    assert drive.ask(40.0) == pytest.approx(0.4)
    assert drive.ask(250.0) == 1.0
    assert drive.ask(-5.0) == 0.0
    drive.ask(40.0)
    assert drive.ask(math.nan) == 0.0


def test_deadband_but_tight_at_the_ends():
    drive = Drive(rate=0.0, deadband=0.02)
    drive.ask(0.5)
    assert drive.ask(0.515) == 0.5
    assert drive.ask(0.525) == 0.525
    drive.ask(0.03)
    assert drive.ask(0.015) == 0.03
    assert drive.ask(0.0) == 0.0
    drive.ask(0.99)
    assert drive.ask(1.0) == 1.0


def test_stiction_holds_until_the_way_is_long_enough_and_then_lets_go_all_the_way():
    drive = Drive(rate=0.01, stiction=0.05)
    assert drive.ask(0.04, 3) == [0.0, 0.0, 0.0]
    # breaks loose at 0.06 and runs on, also through the last hundredths
    assert drive.ask(0.06, 8)[-1] == pytest.approx(0.06)
    # at rest again: stuck for small changes
    assert drive.ask(0.03, 3)[-1] == pytest.approx(0.06)


def test_resolution():
    drive = Drive(rate=0.0, resolution=0.05)
    assert drive.ask(0.52) == pytest.approx(0.5)
    assert drive.ask(0.53) == pytest.approx(0.55)
    assert drive.ask(1.0) == 1.0


def test_minimum_when_asked_above_zero():
    drive = Drive(rate=0.0, minimum=0.2)
    assert drive.ask(0.05) == 0.2
    assert drive.ask(0.3) == 0.3
    assert drive.ask(0.0) == 0.0


def test_stuck():
    drive = Drive(rate=0.0)
    drive.ask(0.4)
    drive.f["stuck"] = 1
    assert drive.ask(0.9, 3) == [0.4, 0.4, 0.4]
    drive.f["stuck"] = 0
    assert drive.ask(0.9) == 0.9


@pytest.mark.parametrize(("fail", "end"), [(0.0, 0.0), (1.0, 1.0), (0.3, 0.3), (-1.0, 0.6)])
def test_fail_position_on_lost_air_and_dead_bus(fail, end):
    for cause in ("air", "bus"):
        drive = Drive(rate=0.1, fail=fail, bus=0, stiction=0.5)
        drive.s["position"] = drive.s["target"] = 0.6
        if cause == "air":
            drive.f["lost_air"] = 1
        else:
            drive.a.bus_s["live"][0] = 0
        trace = drive.ask(0.6, 12)
        assert trace[-1] == pytest.approx(end)
        if fail >= 0.0:
            assert abs(trace[0] - 0.6) == pytest.approx(0.1)  # at its rate, whatever the stiction
        # comes back when the cause has gone
        drive.f["lost_air"], drive.a.bus_s["live"][0] = 0, 1
        drive.a.actuator_p["stiction"][0] = 0.0
        assert drive.ask(0.6, 12)[-1] == pytest.approx(0.6)


def test_travel_and_reversals():
    drive = Drive(rate=0.0)
    for command in (0.5, 0.8, 0.2, 0.2, 0.6, 0.7):
        drive.ask(command)
    assert drive.s["travel"] == pytest.approx(0.5 + 0.3 + 0.6 + 0.4 + 0.1)
    assert drive.s["reversals"] == 2


def test_without_a_tag_events_set_the_target():
    drive = Drive(rate=0.1, tag=-1)
    drive.s["target"] = 0.25
    assert drive.ask(0.9, 4)[-1] == pytest.approx(0.25)
