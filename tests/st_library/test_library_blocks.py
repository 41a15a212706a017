"""Each library block against its equation, a closed solution or an independent implementation."""

from __future__ import annotations

import math
import random
import re
import statistics

import control
import numpy as np
import pytest
from strategy_rig import Bench

import plantsim.st
from plantsim.st import compile_program
from plantsim.st.blocks import BUILT_IN


def block(name: str, pins: str, outs: str, cycle: float = 1.0, more: str = "", **values: float) -> Bench:
    """A program around one block: `pins` and `outs` as "name:TYPE ..."; pins are handed over, outs copied."""
    ins = [p.split(":") for p in pins.split()]
    out = [o.split(":") for o in outs.split()]
    text = (
        "PROGRAM p\nVAR_INPUT " + " ".join(f"i_{n} : {t};" for n, t in ins) + " END_VAR\n"
        "VAR_OUTPUT " + " ".join(f"o_{n} : {t};" for n, t in out) + " END_VAR\n"
        f"VAR x : {name}; {more} END_VAR\n"
        f"x({', '.join(f'{n} := i_{n}' for n, _ in ins)});\n"
        + "\n".join(f"o_{n} := x.{n};" for n, _ in out) + "\nEND_PROGRAM"
    )  # fmt: skip
    return Bench(text, cycle, **{f"i_{k}": v for k, v in values.items()})


def go(bench: Bench, seconds: float = 0.0, **values: float) -> Bench:
    """Set pins, then scan once, or for a time."""
    bench.set(**{f"i_{k}": v for k, v in values.items()})
    return bench.run(seconds) if seconds else bench.scan()


FILES = sorted(BUILT_IN.glob("*.st"))


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.stem)
def test_every_block_is_documented_and_compiles_without_warning(path) -> None:
    text = path.read_text(encoding="utf-8")
    name = re.search(r"FUNCTION_BLOCK (\w+)", text)[1]
    assert name.lower() == path.stem
    program = compile_program(f"PROGRAM p VAR x : {name}; END_VAR x(); END_PROGRAM\n" + text)
    assert program.warnings == []
    head = text.split("*)")[0]
    assert "ource" in head or "no source" in head
    for variable in program.variables.values():
        if variable.name.count(".") == 1 and variable.name.startswith("x.") and variable.section != "local":
            assert variable.comment, variable.name
    pins = re.findall(r"VAR_(?:INPUT|OUTPUT)(.*?)END_VAR", text, re.S)
    assert all("//" in line for part in pins for line in part.splitlines() if ":" in line)


def test_lag_follows_the_exponential() -> None:
    # dy/dt = (1 - y)/T: y = 1 - exp(-t/T); backward Euler is first order in h
    for h in (0.5, 0.05):
        bench = block("LAG1", "IN:LREAL T:LREAL", "OUT:LREAL", h, T=10.0)
        go(bench, IN=0.0)
        go(bench, 10.0, IN=1.0)
        assert bench["o_OUT"] == pytest.approx(1.0 - math.exp(-1.0), abs=0.02 * h / 0.5)
    assert go(block("LAG1", "IN:LREAL T:LREAL", "OUT:LREAL", T=0.0), IN=3.0)["o_OUT"] == 3.0


def test_lead_lag_is_the_discrete_system_of_python_control() -> None:
    # backward Euler s = (z - 1)/(h z) in 2 (5 s + 1)/(12 s + 1), simulated by python-control
    h = 0.5
    system = control.tf([2.0 * (5.0 + h), -2.0 * 5.0], [12.0 + h, -12.0], h)
    signal = np.array([0.0] + [1.0] * 60 + [-0.3] * 60)
    expected = control.forced_response(system, np.arange(len(signal)) * h, signal).outputs
    bench = block("LEADLAG", "IN:LREAL GAIN:LREAL T1:LREAL T2:LREAL", "OUT:LREAL", h, GAIN=2.0, T1=5.0, T2=12.0)
    got = [go(bench, IN=float(v))["o_OUT"] for v in signal]
    assert got == pytest.approx(expected, abs=1e-12)
    assert got[60] == pytest.approx(2.0, abs=0.15)


def test_feedforward_cancels_a_measured_disturbance() -> None:
    # y = 1.5/(20 s + 1) u + 0.6/(8 s + 1) d: GAIN = -Kd/Ku, T1 = Tu, T2 = Td leaves nothing (Stephanopoulos, ch. 21)
    h = 0.1
    bench = block("FEEDFORWARD", "IN:LREAL REST:LREAL GAIN:LREAL T1:LREAL T2:LREAL", "OUT:LREAL", h,
                  REST=10.0, GAIN=-0.6 / 1.5, T1=20.0, T2=8.0)  # fmt: skip
    go(bench, IN=10.0)
    a = b = worst = alone = 0.0
    for _ in range(1500):
        go(bench, IN=15.0)
        a += h / (20.0 + h) * (1.5 * bench["o_OUT"] - a)
        b += h / (8.0 + h) * (0.6 * 5.0 - b)
        worst, alone = max(worst, abs(a + b)), max(alone, abs(b))
    assert alone > 2.9 and worst < 1e-9


def test_median_is_that_of_the_last_five() -> None:
    chance = random.Random(1)
    bench = block("MEDIAN", "IN:REAL", "OUT:REAL")
    seen: list[float] = []
    for _ in range(300):
        seen.append(float(np.float32(chance.gauss(0.0, 1.0))))
        got = go(bench, IN=seen[-1])["o_OUT"]
        assert got == statistics.median(([seen[0]] * 4 + seen)[-5:])


def test_ramp_moves_at_its_rates() -> None:
    bench = block("RAMP", "IN:LREAL UP:LREAL DOWN:LREAL SET:BOOL", "OUT:LREAL BUSY:BOOL", 0.5, UP=4.0, DOWN=1.0)
    go(bench, IN=0.0)
    go(bench, 2.0, IN=100.0)
    assert bench["o_OUT"] == pytest.approx(8.0) and bench["o_BUSY"] == 1
    go(bench, 3.0, IN=0.0)
    assert bench["o_OUT"] == pytest.approx(5.0)
    go(bench, 6.0, IN=0.0)
    assert bench["o_OUT"] == 0.0 and bench["o_BUSY"] == 0
    assert go(bench, IN=50.0, SET=1)["o_OUT"] == 50.0


def test_gain_table_is_linear_interpolation() -> None:
    x, y = [0.0, 100.0, 250.0, 400.0], [0.3, 0.5, 1.0, 1.2]
    text = """
    PROGRAM p VAR_INPUT where : REAL; END_VAR VAR_OUTPUT out : REAL; END_VAR
    VAR x : ARRAY[1..8] OF REAL := [0.0, 100.0, 250.0, 400.0]; y : ARRAY[1..8] OF REAL := [0.3, 0.5, 1.0, 1.2];
        t : GAIN_TABLE; END_VAR
    t(IN := where, X := x, Y := y, POINTS := 4); out := t.OUT; END_PROGRAM"""
    bench = Bench(text)
    for at in (-50.0, 0.0, 1.0, 99.0, 100.0, 175.0, 250.0, 399.0, 400.0, 900.0):
        assert bench.scan(where=at)["out"] == pytest.approx(np.interp(at, x, y), rel=1e-6)


def test_override_selects() -> None:
    chance = random.Random(2)
    bench = block("OVERRIDE", "IN1:LREAL IN2:LREAL IN3:LREAL IN4:LREAL COUNT:INT HIGHEST:BOOL", "OUT:LREAL WHICH:INT")
    for _ in range(200):
        values = [float(chance.randint(0, 5)) for _ in range(4)]
        count, high = chance.randint(1, 4), chance.randint(0, 1)
        go(bench, COUNT=count, HIGHEST=high, **{f"IN{i + 1}": v for i, v in enumerate(values)})
        best = (max if high else min)(values[:count])
        assert bench["o_OUT"] == best and bench["o_WHICH"] == values.index(best) + 1


def test_ratio_station() -> None:
    # 40 g/m3 on 350 m3/h is 14 kg/h, over 1.35 kg/L 10.37 L/h; plus 10 % trim 11.41 L/h
    bench = block("RATIO", "IN:REAL RATIO:REAL TRIM:REAL IN_MIN:REAL HIGH:REAL", "OUT:REAL ACTIVE:BOOL",
                  RATIO=40.0 / 1350.0, IN_MIN=50.0, HIGH=30.0)  # fmt: skip
    assert go(bench, IN=350.0)["o_OUT"] == pytest.approx(10.370, abs=1e-3)
    assert go(bench, TRIM=10.0)["o_OUT"] == pytest.approx(11.407, abs=1e-3)
    assert go(bench, IN=1e5)["o_OUT"] == 30.0
    assert go(bench, IN=49.0)["o_OUT"] == 0.0 and bench["o_ACTIVE"] == 0


def test_scale_of_a_current_loop() -> None:
    # 4..20 mA: 12 mA is the middle; 3.6 and 21 mA are failures (NAMUR NE 43, from memory)
    bench = block("SCALE", "IN:REAL OUT_HIGH:REAL", "OUT:REAL BAD:BOOL", OUT_HIGH=3.5)
    assert go(bench, IN=12.0)["o_OUT"] == pytest.approx(1.75)
    assert go(bench, IN=20.5)["o_OUT"] == pytest.approx(3.609375) and bench["o_BAD"] == 0
    assert go(bench, IN=21.0)["o_BAD"] == 1 and bench["o_OUT"] == pytest.approx(3.609375)
    assert go(bench, IN=3.5)["o_BAD"] == 1
    assert go(bench, IN=4.0)["o_OUT"] == 0.0 and bench["o_BAD"] == 0


def test_hysteresis_switches_at_both_values() -> None:
    bench = block("HYSTERESIS", "IN:REAL HIGH:REAL LOW:REAL", "OUT:BOOL", HIGH=2.0, LOW=0.8)
    seen = [go(bench, IN=v)["o_OUT"] for v in (1.9, 2.0, 1.0, 0.9, 0.8, 1.9, 2.1)]
    assert seen == [0, 1, 1, 1, 0, 0, 1]


def test_total_over_a_moving_window() -> None:
    bench = block("TOTAL", "IN:LREAL WINDOW:TIME RESET:BOOL", "OUT:LREAL GRAND:LREAL", 10.0, WINDOW=3_600_000)
    go(bench, 2 * 3600.0, IN=350.0)  # m3/h for two hours
    assert bench["o_GRAND"] == pytest.approx(700.0, rel=1e-12)
    assert 349.999 <= bench["o_OUT"] <= 350.0 * 61 / 60
    go(bench, 1800.0, IN=0.0)
    assert 174.999 <= bench["o_OUT"] <= 175.001 + 350.0 / 60
    go(bench, 1900.0)
    assert bench["o_OUT"] == pytest.approx(0.0, abs=1e-9)
    assert go(bench, RESET=1, IN=0.0)["o_GRAND"] == 0.0
    go(bench, RESET=0)
    assert bench["o_OUT"] == 0.0


def test_alarm_delays_deadband_and_acknowledgement() -> None:
    pins = "IN:REAL LIMIT_AT:REAL DEADBAND:REAL BELOW:BOOL ON_DELAY:TIME OFF_DELAY:TIME ACK:BOOL SUPPRESS:BOOL"
    bench = block("ALARM", pins, "ACTIVE:BOOL UNACK:BOOL COUNT:DINT", LIMIT_AT=3.0, DEADBAND=0.2, ON_DELAY=5000,
                  OFF_DELAY=3000)  # fmt: skip
    go(bench, 4.0, IN=3.0)
    assert bench["o_ACTIVE"] == 0
    go(bench, IN=2.9)  # a break starts the delay afresh
    go(bench, 4.0, IN=3.1)
    assert bench["o_ACTIVE"] == 0
    assert go(bench)["o_ACTIVE"] == 1 and bench["o_UNACK"] == 1
    assert go(bench, 60.0, IN=2.81)["o_ACTIVE"] == 1  # inside the deadband
    assert go(bench, 2.0, IN=2.7)["o_ACTIVE"] == 1
    assert go(bench)["o_ACTIVE"] == 0 and bench["o_UNACK"] == 1 and bench["o_COUNT"] == 1
    assert go(bench, ACK=1)["o_UNACK"] == 0
    go(bench, 10.0, IN=1.0, ACK=0, BELOW=1)
    assert bench["o_ACTIVE"] == 1 and bench["o_COUNT"] == 2
    assert go(bench, SUPPRESS=1)["o_ACTIVE"] == 0


def test_first_out_keeps_the_first() -> None:
    text = """
    PROGRAM p VAR_INPUT a, b, c, reset : BOOL; END_VAR VAR_OUTPUT first : INT; tripped, active : BOOL; END_VAR
    VAR x : FIRST_OUT; v : ARRAY[1..8] OF BOOL; END_VAR
    v[2] := a; v[5] := b; v[7] := c; x(IN := v, RESET := reset);
    first := x.FIRST; tripped := x.TRIPPED; active := x.ACTIVE; END_PROGRAM"""
    bench = Bench(text)
    assert bench.scan()["first"] == 0 and bench["tripped"] == 0
    assert bench.scan(b=1)["first"] == 5
    assert bench.scan(a=1, c=1)["first"] == 5
    assert bench.scan(b=0, reset=1)["first"] == 5  # others still stand
    assert bench.scan(a=0, c=0, reset=0)["first"] == 5 and bench["tripped"] == 1 and bench["active"] == 0
    assert bench.scan(reset=1)["first"] == 0 and bench["tripped"] == 0
    assert bench.scan(a=1, c=1, reset=0)["first"] == 2


def test_motor_feedback_fault_rest_and_counts() -> None:
    pins = "START:BOOL READY:BOOL RUNNING:BOOL RESET:BOOL FAIL_TIME:TIME REST:TIME"
    bench = block("MOTOR", pins, "RUN:BOOL FAULT:BOOL HOURS:LREAL STARTS:DINT", READY=1, FAIL_TIME=8000, REST=60_000)
    assert go(bench, START=1)["o_RUN"] == 1
    go(bench, 7.0)
    assert bench["o_FAULT"] == 0
    assert go(bench)["o_FAULT"] == 1 and bench["o_RUN"] == 0
    go(bench, 30.0, START=0)
    assert go(bench, RESET=1)["o_FAULT"] == 0
    go(bench, 20.0, RESET=0, START=1)
    assert bench["o_RUN"] == 0  # rests a minute after the stop
    go(bench, 15.0)
    assert bench["o_RUN"] == 1
    go(bench, 3600.0, RUNNING=1)
    assert bench["o_HOURS"] == pytest.approx(1.0, rel=1e-9) and bench["o_STARTS"] == 1 and bench["o_FAULT"] == 0
    assert go(bench, READY=0)["o_FAULT"] == 1 and bench["o_RUN"] == 0


def test_motor_that_runs_unasked_is_a_fault() -> None:
    bench = block("MOTOR", "START:BOOL RUNNING:BOOL", "RUN:BOOL FAULT:BOOL", RUNNING=1)
    go(bench, 7.0)
    assert bench["o_FAULT"] == 0
    assert go(bench)["o_FAULT"] == 1


def test_valve_limit_switches() -> None:
    pins = "OPEN:BOOL OPENED:BOOL CLOSED:BOOL RESET:BOOL TRAVEL:TIME SAFE:BOOL"
    bench = block("VALVE", pins, "OUT:BOOL FAULT:BOOL DONE:BOOL", CLOSED=1, TRAVEL=20_000)
    assert go(bench)["o_DONE"] == 1
    go(bench, 20.0, OPEN=1, CLOSED=0)
    assert bench["o_OUT"] == 1 and bench["o_FAULT"] == 0 and bench["o_DONE"] == 0
    assert go(bench)["o_FAULT"] == 1 and bench["o_OUT"] == 0
    go(bench, CLOSED=1, OPEN=0)
    assert go(bench, RESET=1)["o_FAULT"] == 0
    assert go(bench, RESET=0, OPENED=1)["o_FAULT"] == 1  # both switches on


GROUP = """
PROGRAM p
VAR_INPUT wanted : INT; pumps : INT := 3; dead : INT; away : INT; power : BOOL := TRUE; reset : BOOL;
    duty_time : TIME := T#24h; retry : TIME; END_VAR
VAR_OUTPUT run : ARRAY[1..4] OF BOOL; failed : ARRAY[1..4] OF BOOL; duty : INT; END_VAR
VAR x : LEAD_LAG_PUMPS; running, here : ARRAY[1..4] OF BOOL; i : INT; END_VAR
    FOR i := 1 TO 4 DO running[i] := run[i] AND i <> dead AND power; here[i] := i <> away; END_FOR;
    x(WANTED := wanted, PUMPS := pumps, RUNNING := running, AVAILABLE := here, POWER := power, RESET := reset,
      DUTY_TIME := duty_time, RETRY := retry);
    run := x.RUN; failed := x.FAILED; duty := x.DUTY;
END_PROGRAM
"""


def runs(bench: Bench) -> list[int]:
    """Numbers of the pumps asked to run."""
    return [i for i in (1, 2, 3, 4) if bench[f"run[{i}]"]]


def test_pump_group_alternates_at_each_stop() -> None:
    bench = Bench(GROUP)
    order = []
    for _ in range(4):
        bench.run(30.0, wanted=1)
        order += runs(bench)
        bench.run(30.0, wanted=0)
        assert runs(bench) == []
    assert order == [1, 2, 3, 1]


def test_pump_group_starts_are_spaced_and_lag_leaves_first() -> None:
    bench = Bench(GROUP, wanted=2)
    assert runs(bench.scan()) == [1]
    assert runs(bench.run(9.0)) == [1]
    assert runs(bench.run(2.0)) == [1, 2]
    assert runs(bench.scan(wanted=1)) == [1]


def test_standby_starts_within_the_failure_time() -> None:
    bench = Bench(GROUP, wanted=1).run(60.0)
    assert runs(bench) == [1]
    bench.set(dead=1)
    took = bench.until(lambda b: runs(b) == [2], 20.0)
    assert took <= 9.0 and bench["failed[1]"] == 1  # 8 s of missing feedback, seen a scan after it was lost
    bench.run(100.0, dead=0)
    assert runs(bench) == [2]
    bench.scan(reset=1)
    assert bench["failed[1]"] == 0


def test_a_failed_pump_is_tried_again_only_when_that_is_set() -> None:
    for retry, expected in ((0, [2]), (1_800_000, [1])):
        bench = Bench(GROUP, wanted=1, dead=1, retry=retry).run(20.0)
        assert runs(bench) == [2]
        bench.run(2000.0, dead=0)
        assert runs(bench) == expected


def test_pump_group_passes_over_a_pump_locked_out_and_survives_a_power_cut() -> None:
    bench = Bench(GROUP, wanted=2, away=2).run(20.0)
    assert runs(bench) == [1, 3]
    bench.run(60.0, power=0)
    assert runs(bench) == [] and not any(bench[f"failed[{i}]"] for i in (1, 2, 3))
    assert runs(bench.scan(power=1)) == [1]
    assert runs(bench.run(15.0)) == [1, 3]


def test_duty_changes_with_time() -> None:
    bench = Bench(GROUP, 10.0, wanted=1, duty_time=3_600_000)
    seen = [bench.run(3600.0)["duty"] for _ in range(4)]
    assert seen == [2, 3, 1, 2]


GUARD_PINS = "OPEN:BOOL SPEED:REAL ENABLED:BOOL CELL:BOOL DENSITY:REAL BED_NOW:REAL TORQUE_NOW:REAL"


def test_underflow_guard_in_its_order() -> None:
    bench = block("UNDERFLOW_GUARD", GUARD_PINS, "RUN:BOOL OUT:REAL FORCED:BOOL HEALING:BOOL FEED_OK:BOOL", SPEED=60.0,
                  ENABLED=1, CELL=1, DENSITY=1390.0, BED_NOW=1.5, TORQUE_NOW=25.0)  # fmt: skip
    assert go(bench)["o_RUN"] == 0
    assert go(bench, OPEN=1)["o_OUT"] == 60.0
    go(bench, 299.0, DENSITY=1100.0)
    assert bench["o_RUN"] == 1
    go(bench, 3.0)
    assert bench["o_RUN"] == 0 and bench["o_HEALING"] == 1  # rathole: left to heal for 20 min
    assert go(bench, TORQUE_NOW=51.0)["o_OUT"] == 100.0  # torque comes before healing
    assert go(bench, CELL=0)["o_RUN"] == 0  # nowhere to go comes before torque
    assert bench["o_FEED_OK"] == 1
    assert go(bench, TORQUE_NOW=76.0)["o_FEED_OK"] == 0
    assert go(bench, CELL=1, TORQUE_NOW=45.0, DENSITY=1390.0)["o_OUT"] == 100.0 and bench["o_FEED_OK"] == 0
    assert go(bench, TORQUE_NOW=39.0)["o_OUT"] == 60.0 and bench["o_FEED_OK"] == 1
    assert go(bench, BED_NOW=2.6, OPEN=0)["o_OUT"] == 100.0
    assert go(bench, BED_NOW=2.1)["o_RUN"] == 0
    assert go(bench, BED_NOW=2.6, ENABLED=0)["o_RUN"] == 0


def test_healing_lasts_its_time() -> None:
    bench = block("UNDERFLOW_GUARD", GUARD_PINS, "RUN:BOOL HEALING:BOOL", SPEED=60.0, ENABLED=1, CELL=1, OPEN=1,
                  DENSITY=1100.0)  # fmt: skip
    bench.until(lambda b: b["o_HEALING"] == 1, 310.0)
    assert bench.until(lambda b: b["o_HEALING"] == 0, 1300.0) == pytest.approx(1200.0, abs=2.0)


def test_blocks_are_found_by_name() -> None:
    assert plantsim.st.compile_program("PROGRAM p VAR a : PID; b : Smith; END_VAR a(); b(); END_PROGRAM").size > 200
