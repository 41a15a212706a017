"""Motors and buses: ramps, rest, starts in the sliding hour, trips, dips, faults, energy."""

from __future__ import annotations

import math

import numpy as np
import pytest

from plantsim.arena import Arena
from plantsim.kernels.motor import step_bus, step_motor
from plantsim.physics.motors import start_allowed, start_limit, starts_in_window

RUN, RESET = 0, 1


class Motor:
    def __init__(self, dt=1.0, **p):
        self.a = Arena(dict(motor_p=1, motor_s=1, motor_f=1, bus_s=1, actuator_s=1, tags=2))
        defaults = dict(
            run_tag=RUN, reset_tag=RESET, speed_actuator=-1, bus=0, ramp_up=5.0, ramp_down=10.0, ride_through=0.0,
            rated=10e3, efficiency=0.9, idle=500.0,
        )  # fmt: skip
        for name, value in {**defaults, **p}.items():
            self.a.motor_p[name][0] = value
        self.a.bus_s["live"][0] = 1
        self.s, self.f, self.bus = self.a.motor_s[0], self.a.motor_f[0], self.a.bus_s[0]
        self.now, self.dt = 0.0, dt

    def go(self, steps=1, run=None, reset=None, live=None):
        a = self.a
        if run is not None:
            a.tags[RUN] = run
        if reset is not None:
            a.tags[RESET] = reset
        if live is not None:
            a.bus_s["live"][0] = live
        for _ in range(steps):
            step_bus(self.bus, self.dt)
            step_motor(
                a.motor_p[0], self.s, self.f, a.tags, a.actuator_s, a.bus_s, self.now, self.dt
            )
            self.now += self.dt
        return self


def test_ramps():
    motor = Motor()
    speeds = [float(motor.go(run=1).s["speed"]) for _ in range(6)]
    assert speeds == pytest.approx([0.2, 0.4, 0.6, 0.8, 1.0, 1.0])
    assert float(motor.go(3, run=0).s["speed"]) == pytest.approx(0.7)
    assert motor.s["running"] == 0
    assert float(motor.go(20).s["speed"]) == 0.0


def test_speed_follows_its_actuator():
    motor = Motor(speed_actuator=0, ramp_up=2.0)
    motor.a.actuator_s["position"][0] = 0.6
    assert float(motor.go(10, run=1).s["speed"]) == pytest.approx(0.6)
    motor.a.actuator_s["position"][0] = 0.4
    assert float(motor.go().s["speed"]) == pytest.approx(0.5)
    assert float(motor.go(5).s["speed"]) == pytest.approx(0.4)


def test_rest_between_stop_and_start():
    motor = Motor(min_rest=60.0)
    motor.go(10, run=1)  # the first start needs no rest
    assert motor.s["running"] == 1
    motor.go(1, run=0)
    stopped = motor.now - 1.0
    motor.go(1, run=1)
    assert (motor.s["running"], motor.s["held"]) == (0, 1)
    while motor.s["running"] == 0:
        motor.go()
    assert motor.now - 1.0 - stopped == 60.0
    assert motor.s["held_time"] == 59.0
    assert motor.s["held"] == 0


def test_starts_counted_over_a_sliding_hour():
    # starts now and then, against a plain list of start times
    motor = Motor(ramp_up=0.0, ramp_down=0.0)
    rng = np.random.default_rng(7)
    starts = []
    for _ in range(120):
        starts.append(motor.now)
        motor.go(int(rng.integers(5, 300)), run=1)
        assert motor.s["starts_hour"] == starts_in_window(starts, motor.now - 1.0)
        motor.go(int(rng.integers(5, 300)), run=0)
        assert motor.s["running"] == 0
        assert motor.s["starts_hour"] == starts_in_window(starts, motor.now - 1.0)
    assert motor.s["starts"] == 120
    most = max(starts_in_window(starts, start) for start in starts)
    assert motor.s["hour_max"] == most > 10


def test_more_starts_than_the_ring_holds():
    motor = Motor(ramp_up=0.0, ramp_down=0.0)
    for _ in range(50):
        motor.go(5, run=1)
        motor.go(5, run=0)
    assert (motor.s["starts"], motor.s["starts_hour"]) == (50, 32.0)
    motor.go(3600)
    assert motor.s["starts_hour"] == 0.0


def test_a_further_start_waits_for_the_hour_to_slide():
    # NEMA MG 10, Table 2-3: 25 hp, 4 poles: 8.8 starts an hour, 58 s of rest
    limit = start_limit(18.5, 4)
    motor = Motor(ramp_up=0.0, ramp_down=0.0, max_starts=limit.starts, min_rest=limit.rest)
    starts, last_stop = [], -math.inf
    for _ in range(3 * 3600):
        allowed = start_allowed(starts, last_stop, motor.now, limit.starts, limit.rest)
        was = motor.s["running"]
        motor.go(run=0 if was else 1)  # starts whenever it may, stops at once
        if motor.s["running"] and not was:
            assert allowed
            starts.append(motor.now - 1.0)
        elif was:
            last_stop = motor.now - 1.0
        else:
            assert not allowed
    assert len(starts) == 24
    assert motor.s["hour_max"] == 8.0
    assert starts[8] == 3600.0
    assert motor.s["held_time"] > 1000.0


def test_trip_waits_for_the_rising_edge_of_the_reset():
    motor = Motor()
    motor.go(10, run=1, reset=1)
    motor.f["trip"] = 1
    motor.go()
    assert (motor.s["running"], motor.s["tripped"]) == (0, 1)
    motor.f["trip"] = 0
    motor.go(5)
    assert motor.s["running"] == 0  # a reset held on is no edge
    motor.go(reset=0)
    motor.go(reset=1)
    assert (motor.s["running"], motor.s["tripped"]) == (1, 0)
    motor.f["trip"] = 1
    motor.go(reset=0)
    motor.go(reset=1)
    assert motor.s["tripped"] == 1  # the cause still stands


def test_trip_without_a_reset_tag_clears_with_the_request():
    motor = Motor(reset_tag=-1)
    motor.go(5, run=1)
    motor.s["tripped"] = 1  # as a rake's torque would
    motor.go(5)
    assert motor.s["running"] == 0
    motor.go(run=0)
    assert motor.go(run=1).s["running"] == 1


@pytest.mark.parametrize(("length", "rides"), [(1, True), (2, True), (3, False)])
def test_ride_through(length, rides):
    motor = Motor(ride_through=2.0, restart=0)
    motor.go(20, run=1)
    motor.go(length, live=0)
    assert motor.s["power"] == 0.0
    motor.go(5, live=1)
    assert bool(motor.s["running"]) is rides
    assert bool(motor.s["tripped"]) is not rides
    assert motor.s["starts"] == 1
    assert motor.bus["dead_time"] == length
    if rides:
        assert motor.s["speed"] == 1.0


def test_comes_back_by_itself_after_the_delay():
    motor = Motor(ride_through=0.5, restart=1, restart_delay=30.0)
    motor.go(20, run=1)
    motor.go(10, live=0)
    assert motor.s["running"] == 0
    motor.go(live=1)
    back = motor.now - 1.0
    assert motor.s["held"] == 1
    while motor.s["running"] == 0:
        motor.go()
    assert motor.now - 1.0 - back == 30.0
    assert motor.s["starts"] == 2


def test_a_second_dip_begins_the_delay_anew_and_a_dropped_request_ends_it():
    motor = Motor(restart=1, restart_delay=30.0)
    motor.go(20, run=1)
    motor.go(2, live=0)
    motor.go(20, live=1)
    motor.go(2, live=0)
    motor.go(29, live=1)
    assert motor.s["running"] == 0
    motor.go(5, run=0)
    assert motor.s["running"] == 0
    assert motor.go(run=1).s["running"] == 1


def test_no_voltage_no_start():
    motor = Motor()
    motor.go(5, run=1, live=0)
    assert (motor.s["running"], motor.s["starts"]) == (0, 0)
    assert motor.go(live=1).s["running"] == 1


def test_fault_switches():
    motor = Motor()
    motor.f["no_start"] = 1
    motor.go(5, run=1)
    assert (motor.s["running"], motor.s["held"]) == (0, 0)
    motor.f["no_start"] = 0
    assert motor.go().s["running"] == 1
    motor.f["stuck_on"] = 1
    assert motor.go(5, run=0).s["running"] == 1
    motor.f["trip"] = 1
    assert motor.go().s["running"] == 0


def test_power_energy_current_and_the_bus():
    motor = Motor(ramp_up=2.0)
    motor.s["load"] = 9000.0
    motor.go(run=1)
    assert motor.s["current"] == 6.0  # run up direct on line
    motor.go(9)
    assert motor.s["power"] == pytest.approx(9000.0 / 0.9)
    assert motor.bus["power"] == pytest.approx(10e3)
    assert motor.s["energy"] == pytest.approx(10e3 * 10)
    assert motor.s["run_time"] == 10.0
    assert motor.s["current"] == pytest.approx(math.sqrt(0.09 + 0.91 * 0.81))
    motor.s["load"] = 0.0
    motor.go()
    assert motor.s["power"] == pytest.approx(500.0 / 0.9)
    motor.s["load"] = 10e3
    assert motor.go().s["current"] == pytest.approx(1.0)
    motor.go(run=0)
    assert (motor.s["power"], motor.s["current"], motor.bus["power"]) == (0.0, 0.0, 0.0)
