"""Underflow, cell, clean-water, rake, press and interlock programs on scripted inputs."""

from __future__ import annotations

import pytest
from strategy_rig import Bench

UNDERFLOW = ["underflow_density", "underflow_level", "underflow_mass", "underflow_torque"]


def test_underflow_by_density_opens_thick_and_closes_thin() -> None:
    bench = Bench("underflow_density", density=1379.0, bed_level=1.5, torque=20.0).run(120.0)
    assert bench["run"] == 0
    assert bench.scan(density=1381.0)["run"] == 1 and bench["speed"] == bench["valve"] == 60.0
    bench.run(170.0, density=1290.0)
    assert bench["run"] == 1  # stays open at least 3 min
    bench.run(15.0)
    assert bench["run"] == 0 and bench["speed"] == 0.0
    bench.run(50.0, density=1400.0)
    assert bench["run"] == 0  # stays closed at least 1 min
    bench.run(15.0)
    assert bench["run"] == 1
    bench.run(3600.0, density=1350.0)
    assert bench["run"] == 1  # between the two it goes on


def test_underflow_by_density_tries_after_the_longest_rest() -> None:
    bench = Bench("underflow_density", 5.0, density=1250.0, bed_level=1.5)
    assert bench.until(lambda b: b["run"] == 1, 2000.0) == pytest.approx(1800.0, abs=10.0)
    assert bench.until(lambda b: b["run"] == 0, 300.0) == pytest.approx(180.0, abs=10.0)
    bench.run(3600.0, bed_level=0.9)
    assert bench["run"] == 0  # no trial without a bed


ASKING = {
    "underflow_density": {"density": 1390.0}, "underflow_level": {"bed_level": 1.9},
    "underflow_mass": {"bed_mass": 18.0}, "underflow_torque": {"torque": 30.0},
}  # fmt: skip


@pytest.mark.parametrize("name", UNDERFLOW)
def test_overrides_of_every_underflow_program(name: str) -> None:
    normal = {"density": 1390.0, "bed_level": 1.8, "torque": 25.0, **ASKING[name]}
    bench = Bench(name, **normal).run(120.0)
    assert bench["run"] == 1 and 0.0 < bench["speed"] <= 100.0 and bench["feed_permit"] == 1
    assert bench.scan(cell_ok=0)["run"] == 0  # cells full: hold
    assert bench.scan(torque=60.0)["run"] == 0 and bench["feed_permit"] == 1
    assert bench.scan(torque=80.0)["feed_permit"] == 0  # full cells and torque: stop the feed
    assert bench.scan(cell_ok=1, torque=60.0)["speed"] == 100.0 and bench["forced"] == 1
    bench.run(120.0, **normal)
    assert bench["forced"] == 0 and bench["feed_permit"] == 1
    assert bench.scan(bed_level=2.6)["speed"] == 100.0
    bench.run(120.0, **normal)
    bench.run(500.0, density=1150.0)
    assert bench["run"] == 0
    assert bench.scan(enable=0)["run"] == 0


@pytest.mark.parametrize("name", ["underflow_level", "underflow_mass", "underflow_torque"])
def test_thin_mud_is_left_to_heal(name: str) -> None:
    normal = {"density": 1390.0, "bed_level": 1.8, "torque": 25.0, **ASKING[name]}
    bench = Bench(name, 2.0, **normal).run(60.0)
    took = bench.set(density=1150.0).until(lambda b: b["healing"] == 1, 400.0)
    assert took == pytest.approx(300.0, abs=6.0) and bench["run"] == 0
    assert bench.until(lambda b: b["run"] == 1, 1300.0) == pytest.approx(1200.0, abs=6.0)


def test_flush_after_each_stop() -> None:
    bench = Bench("underflow_density", density=1390.0, bed_level=1.5, flush_time=30_000).run(100.0)
    assert bench["run"] == 1 and bench["flush"] == 0
    bench.scan(enable=0)
    assert bench["run"] == 0 and bench["flush"] == 1
    assert bench.until(lambda b: b["flush"] == 0, 60.0) == pytest.approx(30.0, abs=2.0)


@pytest.mark.parametrize(("name", "signal", "top", "more"), [
    ("underflow_level", "bed_level", 1.7, 0.3), ("underflow_mass", "bed_mass", 16.0, 3.0)])  # fmt: skip
def test_bed_programs_hold_the_bed(name: str, signal: str, top: float, more: float) -> None:
    bench = Bench(name, density=1390.0, torque=20.0, **{signal: top - 0.5 * (top - bench_setpoint(name))}).scan()
    assert bench["run"] == 0
    bench.run(3.0, **{signal: top})
    assert bench["run"] == 1
    slow = bench["speed"]
    bench.run(5.0, **{signal: top + more})
    assert bench["speed"] - slow == pytest.approx(75.0 / bench["band"] * more, rel=0.02)
    early = bench["speed"]
    bench.run(600.0)
    assert bench["speed"] > early + 1.0  # the integral works on
    bench.run(10.0, **{signal: bench["setpoint"] - bench["stop_below"] + 0.01})
    assert bench["run"] == 1
    bench.run(2.0, **{signal: bench["setpoint"] - bench["stop_below"]})
    assert bench["run"] == 0


def bench_setpoint(name: str) -> float:
    """Default set-point of a program."""
    return Bench(name)["setpoint"]


def test_bed_pressure_stands_for_mass() -> None:
    bench = Bench("underflow_mass", by_pressure=1, pressure=6.4, density=1390.0).run(5.0)
    assert bench["run"] == 0
    assert bench.run(2.0, pressure=6.6)["run"] == 1
    assert bench.run(2.0, pressure=4.0)["run"] == 0


def test_torque_inside_density() -> None:
    bench = Bench("underflow_torque", 10.0, density=1390.0, bed_level=1.5, torque=30.0).run(50.0)
    at_target = bench["torque_setpoint"]
    thin = bench.run(600.0, density=1330.0)["torque_setpoint"]
    assert thin > at_target + 5.0  # thin mud asks for more torque, that is more bed
    slow = bench["speed"]
    bench.run(30.0, torque=48.0)
    assert bench["speed"] > slow + 10.0  # torque above its set-point draws mud off
    bench.run(40_000.0, density=1290.0, torque=30.0)
    assert bench["torque_setpoint"] == pytest.approx(40.0)  # never asks for more than this
    bench.run(9000.0, density=1480.0)
    assert bench["torque_setpoint"] < 40.0
    bench.run(20.0, bed_level=0.3)
    assert bench["run"] == 0


# ---------------------------------------------------------------------------------------------- cells

OPEN = [f"valve_{i}" for i in range(1, 7)]


def open_cells(bench: Bench) -> list[int]:
    """Numbers of the cells whose valve is open."""
    return [i + 1 for i, name in enumerate(OPEN) if bench[name] > 50.0]


def test_changeover_opens_before_it_closes_and_never_shuts_both() -> None:
    bench = Bench("cell_changeover", cells=4, level_1=0.2, ready_3=1, ready_4=1).scan()
    assert open_cells(bench) == [1] and bench["cell_ok"] == 1
    seen = []
    bench.set(level_1=1.5)
    for _ in range(30):
        bench.scan()
        seen.append(open_cells(bench))
        assert seen[-1]
    assert seen[0] == [1, 3] and bench["filling"] == 3 and bench["changes"] == 1
    assert seen.count([1, 3]) == pytest.approx(20, abs=1) and seen[-1] == [3]


def test_changeover_after_the_lift_time_counts_only_flow() -> None:
    bench = Bench("cell_changeover", 60.0, ready_2=1, lift_time=36_000_000, flowing=1).run(5 * 3600.0)
    bench.run(20 * 3600.0, flowing=0)
    assert bench["filling"] == 1
    bench.run(4 * 3600.0, flowing=1)
    assert bench["filling"] == 1
    bench.run(2 * 3600.0)
    assert bench["filling"] == 2


def test_changeover_after_the_lift() -> None:
    bench = Bench("cell_changeover", lift=0.4, level_1=0.3, level_2=0.1, ready_2=1).run(1000.0)
    bench.run(60.0, level_1=0.69)
    assert bench["filling"] == 1
    bench.run(60.0, level_1=0.71)
    assert bench["filling"] == 2
    bench.run(1000.0, level_2=0.49, ready_1=1)
    assert bench["filling"] == 2


def test_without_a_ready_cell_the_open_one_stays_open_and_mud_is_held() -> None:
    bench = Bench("cell_changeover", level_1=1.6, level_2=1.6, ready_2=1).run(60.0)
    assert open_cells(bench) == [1] and bench["cell_ok"] == 0 and bench["no_cell"] == 1
    bench.scan(level_2=0.5)
    assert bench["filling"] == 2 and bench["cell_ok"] == 1 and bench["no_cell"] == 0


def test_changeover_by_hand() -> None:
    bench = Bench("cell_changeover", ready_2=1, ready_3=1).run(5.0)
    assert bench.scan(next=1)["filling"] == 2
    bench.run(60.0)
    assert bench["filling"] == 2
    bench.scan(next=0)
    assert bench.scan(next=1)["filling"] == 3
    bench.run(60.0)
    assert open_cells(bench) == [3]


# ---------------------------------------------------------------------------------------------- clean water


def test_make_up_by_hysteresis() -> None:
    bench = Bench("clean_water").scan(level=1.6)
    seen = [bench.scan(level=v)["valve"] for v in (1.5, 1.7, 1.99, 2.0, 1.8, 1.51, 1.5)]
    assert seen == [100.0, 100.0, 100.0, 0.0, 0.0, 0.0, 100.0]
    assert bench.scan(source_ok=0)["valve"] == 0.0
    assert bench.scan(level=2.9)["high"] == 1


def test_wash_permission_with_its_restart_level() -> None:
    bench = Bench("clean_water")
    seen = [bench.scan(level=v)["wash_permit"] for v in (0.6, 0.5, 0.7, 0.99, 1.0, 0.6)]
    assert seen == [1, 0, 0, 0, 1, 1]


def test_modulating_make_up_holds_the_level() -> None:
    level = 1.2
    bench = Bench("clean_water", 5.0, modulate=1)
    for _ in range(4000):
        bench.scan(level=level)
        level += (60.0 * bench["valve"] / 100.0 - 20.0) / 3600.0 / 20.0 * 5.0
    assert level == pytest.approx(1.8, abs=0.01) and bench["valve"] == pytest.approx(33.3, abs=1.0)
    assert bench.scan(level=2.8)["valve"] == 0.0


# ---------------------------------------------------------------------------------------------- rake, press, trips


def test_rake_lifts_in_steps_and_lowers_slowly() -> None:
    bench = Bench("rake_lift").scan(torque=40.0)
    assert bench["lift"] == 0.0
    bench.scan(torque=51.0)
    assert bench["lift"] == 15.0
    bench.run(19.0)
    assert bench["lift"] == 15.0
    bench.run(42.0)
    assert bench["lift"] == 60.0
    bench.run(600.0, torque=40.0)
    assert bench["lift"] == 60.0  # neither high nor low
    bench.run(299.0, torque=29.0)
    assert bench["lift"] == 60.0
    bench.run(302.0)
    assert bench["lift"] == 50.0
    bench.run(200.0, torque=60.0)
    assert bench["lift"] == 100.0 and bench["highest"] == 1


def test_rake_trip_feed_stop_and_reset() -> None:
    bench = Bench("rake_lift").scan(torque=76.0)
    assert bench["feed_permit"] == 0 and bench["run"] == 1
    bench.run(5.0, torque=91.0)
    assert bench["run"] == 0 and bench["tripped"] == 1
    bench.run(5.0, torque=60.0, reset=1)
    assert bench["run"] == 0  # not before the torque is back
    bench.run(5.0, torque=40.0)
    assert bench["run"] == 1 and bench["feed_permit"] == 1


def test_press_cycle_permission_and_its_reasons() -> None:
    bench = Bench("press_cycle").scan(tank_level=1.4)
    assert bench["permit"] == 0 and bench["waiting"] == 6
    assert bench.scan(tank_level=1.6)["permit"] == 1
    for name, value, back, why in (("enable", 0, 1, 1), ("crew", 0, 1, 2), ("bay_ok", 0, 1, 3),
                                   ("filtrate_level", 2.6, 1.0, 4), ("tank_density", 1100.0, 1300.0, 5)):  # fmt: skip
        assert bench.scan(**{name: value})["waiting"] == why and bench["permit"] == 0
        assert bench.scan(**{name: back})["permit"] == 1
    assert bench.scan(tank_level=0.7)["permit"] == 1
    assert bench.scan(tank_level=0.6)["permit"] == 0
    assert bench.scan(tank_level=2.6)["mud_permit"] == 0
    assert bench.scan(tank_level=2.3)["mud_permit"] == 0
    assert bench.scan(tank_level=2.2)["mud_permit"] == 1


def test_press_rest_between_cycles() -> None:
    bench = Bench("press_cycle", rest=600_000, tank_level=2.0).scan()
    bench.scan(bay_ok=0)
    took = bench.set(bay_ok=1).until(lambda b: b["permit"] == 1, 700.0)
    assert took == pytest.approx(600.0, abs=3.0)


TRIPS = [("sump_ok", 0, 1), ("clean_ok", 0, 2), ("thickener_ok", 0, 3), ("torque_ok", 0, 3), ("rake_ok", 300, 4),
         ("cells_ok", 7200, 5), ("polymer_ok", 600, 6), ("power_ok", 0, 7)]  # fmt: skip


@pytest.mark.parametrize(("name", "delay", "number"), TRIPS)
def test_each_interlock_trips_after_its_delay(name: str, delay: float, number: int) -> None:
    bench = Bench("interlocks", 10.0).scan()
    assert bench["wash_permit"] == 1
    took = bench.set(**{name: 0}).until(lambda b: b["wash_permit"] == 0, 7300.0)
    assert took == pytest.approx(delay + 10.0, abs=10.0)
    assert bench["first"] == number and bench["trips"] == 1


def test_dirty_overflow_trips_late_and_first_out_stays() -> None:
    bench = Bench("interlocks", 10.0, turbidity=2500.0).run(1190.0)
    assert bench["wash_permit"] == 1
    bench.run(30.0)
    assert bench["first"] == 8
    bench.run(30.0, sump_ok=0)
    assert bench["first"] == 8
    bench.run(110.0, sump_ok=1, turbidity=100.0)
    assert bench["wash_permit"] == 0
    bench.run(30.0)
    assert bench["wash_permit"] == 1 and bench["first"] == 0


def test_interlocks_that_wait_for_reset() -> None:
    bench = Bench("interlocks", by_itself=0).run(2.0, power_ok=0)
    bench.run(1000.0, power_ok=1)
    assert bench["wash_permit"] == 0 and bench["first"] == 7
    assert bench.scan(reset=1)["wash_permit"] == 1
