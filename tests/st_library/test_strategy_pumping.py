"""Sump and pump programs on scripted levels and feedback: thresholds, standby, alternation, order, trips."""

from __future__ import annotations

import pytest
from strategy_rig import Bench


def obey(dead: tuple[int, ...] = ()):
    """Feedback of pumps that follow their commands, except the dead ones."""

    def each(bench: Bench) -> None:
        for i in (1, 2, 3):
            if f"RUNNING_{i}" in {n.upper() for n in bench.program.variables}:
                bench.set(**{f"running_{i}": int(bench[f"run_{i}"]) if i not in dead else 0})

    return each


def asked(bench: Bench) -> list[int]:
    """Numbers of the pumps asked to run."""
    names = {n for n in bench.program.variables}
    return [i for i in (1, 2, 3) if f"run_{i}" in names and bench[f"run_{i}"]]


# ---------------------------------------------------------------------------------------------- averaging


def test_averaging_starts_and_stops_at_its_levels() -> None:
    bench = Bench("sump_averaging").run(30.0, obey(), level=1.39)
    assert asked(bench) == []
    bench.set(level=1.41)
    assert bench.until(lambda b: asked(b) == [1], 10.0, obey()) == pytest.approx(6.0, abs=1.0)  # debounce 5 s
    bench.run(30.0, obey(), level=0.81)
    assert asked(bench) == [1] and bench["speed_1"] == pytest.approx(60.0)
    bench.set(level=0.79)
    assert bench.until(lambda b: asked(b) == [], 10.0, obey()) == pytest.approx(6.0, abs=1.0)
    assert bench["speed_1"] == 0.0
    bench.run(60.0, obey(), level=1.3)
    assert asked(bench) == []


def test_averaging_stops_at_once_at_low_low() -> None:
    bench = Bench("sump_averaging").run(30.0, obey(), level=1.8)
    assert asked(bench.scan(level=0.49)) == []


def test_averaging_tuning_of_a_step_of_inflow() -> None:
    # PI on an integrator: Marlin, Process Control, ch. 18 (from memory): critically damped with Kc = 0.736 dF/dLmax,
    # Ti = 4 A/Kc keeps a step dF within dLmax. Area 12 m2, step 60 m3/h, 0.5 m allowed; 400 m3/h at 100 % speed:
    # Kc = 0.7358 60/0.5 = 88.3 m3/h per m = 22.07 %/m, so the band from 60 to 100 % is 40/22.07 = 1.812 m and
    # Ti = 4 12/88.3 h = 1957 s; the peak comes at 2 A/Kc = 978 s
    area, inflow = 12.0, 300.0
    bench = Bench("sump_averaging", 5.0, band=1.8122, reset_time=1957.0, pumps=1, most=1, level=1.8)
    level, peak, when = 1.8, 0.0, 0.0

    def plant(b: Bench) -> None:
        nonlocal level
        b.set(running_1=int(b["run_1"]), level=level)
        level += (inflow - 4.0 * b["speed_1"]) / 3600.0 / area * 5.0

    bench.run(6 * 3600.0, plant)
    assert level == pytest.approx(1.8, abs=0.01) and bench["speed_1"] == pytest.approx(75.0, abs=0.5)
    inflow = 360.0
    start = bench.time
    for _ in range(500):
        bench.run(5.0, plant)
        if level > peak:
            peak, when = level, bench.time - start
    assert peak - 1.8 == pytest.approx(0.5, abs=0.02)
    assert when == pytest.approx(978.0, abs=40.0)


def test_assist_joins_by_level_and_leaves_with_hysteresis() -> None:
    bench = Bench("sump_averaging").run(60.0, obey(), level=1.8)
    assert asked(bench) == [1]
    bench.run(20.0, obey(), level=2.5)
    assert asked(bench) == [1, 2] and bench["speed_1"] == bench["speed_2"] > 60.0
    bench.run(60.0, obey(), level=1.35)
    assert asked(bench) == [1, 2]
    bench.run(5.0, obey(), level=1.3)
    assert asked(bench) == [1]


def test_assist_joins_when_the_speed_is_at_its_limit() -> None:
    bench = Bench("sump_averaging", band=0.2, level=2.1)  # above the set-point, below the assist level
    bench.run(60.0, obey())
    assert asked(bench) == [1] and bench["speed_1"] == 100.0
    assert 100.0 < bench.until(lambda b: asked(b) == [1, 2], 200.0, obey()) < 185.0


def test_standby_starts_within_eight_seconds_of_a_lost_pump() -> None:
    bench = Bench("sump_averaging", pumps=3).run(60.0, obey(), level=1.8)
    assert asked(bench) == [1]
    took = bench.until(lambda b: asked(b) == [2], 20.0, obey(dead=(1,)))
    assert took <= 9.0 and bench["fault"] == 1  # the eight seconds, counted from the first scan without feedback
    bench.scan(reset=1)
    assert bench["fault"] == 0


def test_averaging_alternates_daily_and_at_each_stop() -> None:
    bench = Bench("sump_averaging", 60.0).run(600.0, obey(), level=1.8)
    assert asked(bench) == [1]
    bench.run(24 * 3600.0, obey())
    assert asked(bench) == [2]
    bench.run(600.0, obey(), level=0.7)
    bench.run(600.0, obey(), level=1.8)
    assert asked(bench) == [1]


def test_least_speed_rises_until_the_line_flows_fast_enough() -> None:
    bench = Bench("sump_averaging", flow_min=220.0, level=1.2).run(20.0, obey(), level=1.45)
    bench.run(20.0, obey(), level=1.0)
    start = bench["speed_1"]
    bench.run(50.0, obey(), line_flow=180.0)
    assert bench["speed_1"] == pytest.approx(start + 10.0, abs=1.0)
    held = bench.run(60.0, obey(), line_flow=225.0)["speed_1"]
    bench.run(50.0, obey(), line_flow=260.0)
    assert bench["speed_1"] == pytest.approx(held - 5.0, abs=0.2)


@pytest.mark.parametrize("name", ["sump_averaging", "sump_on_off", "series_pair"])
def test_high_high_level_sheds_the_wash_plant(name: str) -> None:
    bench = Bench(name).scan(level=2.0)
    assert bench["wash_permit"] == 1
    top = bench["high_high_level"]
    assert bench.scan(level=top)["wash_permit"] == 0
    assert bench.scan(level=bench["permit_level"] + 0.05)["wash_permit"] == 0
    assert bench.scan(level=bench["permit_level"])["wash_permit"] == 1
    assert bench.scan(high_switch=1)["wash_permit"] == 0


def test_no_pumping_without_permission_or_power() -> None:
    bench = Bench("sump_averaging").run(60.0, obey(), level=2.0)
    assert asked(bench.scan(permit=0)) == []
    assert asked(bench.run(20.0, obey(), permit=1)) != []
    assert asked(bench.scan(power=0)) == []
    bench.run(60.0, obey())
    assert asked(bench.run(20.0, obey(), power=1)) != [] and bench["fault"] == 0


# ---------------------------------------------------------------------------------------------- on/off


def test_on_off_thresholds_and_debounce() -> None:
    bench = Bench("sump_on_off").run(60.0, obey(), level=1.9)
    assert asked(bench) == []
    bench.run(4.0, obey(), level=2.05)
    bench.run(2.0, obey(), level=1.9)  # a wave shorter than the debounce
    bench.run(4.0, obey(), level=2.05)
    assert asked(bench) == []
    bench.run(4.0, obey())
    assert asked(bench) == [1] and bench["speed_1"] == 100.0
    bench.run(20.0, obey(), level=2.55)
    assert asked(bench) == [1, 2]
    bench.run(20.0, obey(), level=1.41)
    assert asked(bench) == [1, 2]
    bench.run(20.0, obey(), level=1.39)
    assert asked(bench) == [1]
    bench.run(20.0, obey(), level=0.81)
    assert asked(bench) == [1]
    bench.run(20.0, obey(), level=0.79)
    assert asked(bench) == []


def test_on_off_cycle_time_of_a_sump() -> None:
    # least cycle T = 4 V/Q at an inflow of half the pump: V = 12 m2 x (2.0 - 0.8) m = 14.4 m3, Q = 400 m3/h: 518 s,
    # plus two debounces of 5 s. Volume rule: US Army TM 5-814-2 and older handbooks, from memory
    level, starts, before = 1.9, [], 0
    bench = Bench("sump_on_off", pumps=1)

    def plant(b: Bench) -> None:
        nonlocal level, before
        b.set(running_1=int(b["run_1"]), level=level)
        level += (200.0 - 400.0 * b["run_1"]) / 3600.0 / 12.0
        if b["run_1"] and not before:
            starts.append(b.time)
        before = int(b["run_1"])

    bench.run(3600.0, plant)
    assert starts[2] - starts[1] == pytest.approx(518.4, rel=0.05) and starts[2] - starts[1] > 518.4


def test_on_off_alternates_and_replaces_a_failed_pump() -> None:
    bench = Bench("sump_on_off")
    seen = []
    for _ in range(3):
        seen.append(asked(bench.run(20.0, obey(), level=2.1)))
        bench.run(20.0, obey(), level=0.7)
    assert seen == [[1], [2], [1]]
    bench.run(20.0, obey(), level=2.1)
    assert asked(bench) == [2]
    assert bench.until(lambda b: asked(b) == [1], 20.0, obey(dead=(2,))) <= 9.0


# ---------------------------------------------------------------------------------------------- series pair


def started(**values: float) -> Bench:
    """A pair that runs."""
    bench = Bench("series_pair", **values).run(60.0, obey(), level=2.0)
    assert bench["state"] == 3
    return bench


def test_series_pair_start_order_by_pressure() -> None:
    bench = Bench("series_pair")
    bench.set(level=2.0)
    bench.until(lambda b: b["run_1"] == 1, 10.0, obey())
    assert bench["run_2"] == 0 and bench["speed_1"] == pytest.approx(75.0)  # 70 % and 0.2 m over the set-point
    bench.run(5.0, obey(), pressure=1.9)
    assert bench["run_2"] == 0
    bench.run(2.0, obey(), pressure=2.0)
    assert bench["run_2"] == 1 and bench["state"] == 2
    low = bench["speed_2"]
    assert 30.0 <= low < 40.0
    bench.run(10.0, obey())
    assert low < bench["speed_2"] < 75.0
    bench.run(15.0, obey())
    assert bench["state"] == 3 and bench["speed_2"] == bench["speed_1"]


def test_series_pair_starts_by_time_without_a_pressure_tag() -> None:
    bench = Bench("series_pair", level=2.0)
    bench.until(lambda b: b["run_1"] == 1, 10.0, obey())
    assert bench.until(lambda b: b["run_2"] == 1, 30.0, obey()) == pytest.approx(15.0, abs=2.0)


@pytest.mark.parametrize(("name", "value"), [("seal_water", 0), ("permit", 0), ("power", 0), ("level", 1.5)])
def test_series_pair_needs_each_permissive(name: str, value: float) -> None:
    bench = Bench("series_pair", level=2.0).set(**{name: value}).run(60.0, obey())
    assert asked(bench) == []


def test_series_pair_stops_booster_first_and_is_locked_out() -> None:
    bench = started()
    bench.set(level=0.75)
    bench.until(lambda b: b["run_2"] == 0, 10.0, obey())
    assert bench["run_1"] == 1
    assert bench.until(lambda b: b["run_1"] == 0, 10.0, obey()) == pytest.approx(5.0, abs=1.0)
    took = bench.set(level=2.0).until(lambda b: b["run_1"] == 1, 200.0, obey())
    assert took == pytest.approx(120.0, abs=3.0)


@pytest.mark.parametrize("dead", [1, 2])
def test_a_trip_of_either_pump_stops_both(dead: int) -> None:
    bench = started()
    took = bench.until(lambda b: asked(b) == [], 10.0, obey(dead=(dead,)))
    assert took <= 2.0 and bench["trips"] == 1
    assert bench.until(lambda b: b["run_1"] == 1, 200.0, obey()) >= 118.0


def test_series_pair_gives_up_after_its_restarts() -> None:
    bench = Bench("series_pair", 1.0, restarts=1, level=2.0, lockout_time=20_000)
    bench.run(300.0, obey(dead=(2,)))
    assert bench["trips"] == 2 and bench["fault"] == 1 and asked(bench) == []
    bench.scan(reset=1)
    bench.run(60.0, obey(), reset=0)
    assert bench["state"] == 3 and bench["fault"] == 0


def test_series_pair_stops_at_once_without_power_seal_water_or_level() -> None:
    for values in ({"power": 0}, {"seal_water": 0}, {"level": 0.4}):
        bench = started()
        assert asked(bench.scan(**values)) == [] and bench["trips"] == 0


def test_series_pair_speed_follows_the_level() -> None:
    bench = started(reset_time=1e9)
    low = bench.run(5.0, obey(), level=1.9)["speed_1"]
    high = bench.run(5.0, obey(), level=2.2)["speed_1"]
    assert high - low == pytest.approx(0.3 / 1.2 * 30.0, abs=1e-3)
