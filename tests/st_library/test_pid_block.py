"""The PID block against python-control's discrete closed loop, published recursions and analytic windup cases."""

from __future__ import annotations

import math
from pathlib import Path

import control
import numpy as np
import pytest
from strategy_rig import Bench

OUTPUT = Path(__file__).resolve().parents[1] / "output"
PINS = """
PROGRAM loop
VAR_INPUT
    sp, pv, rsp, man, tr, ff : LREAL;
    kp : LREAL := 1.0; ti : LREAL := 60.0; td : LREAL; n : LREAL := 10.0; b : LREAL := 1.0; c : LREAL; tt : LREAL;
    low : LREAL := -1.0E9; high : LREAL := 1.0E9; rate : LREAL;
    direct, cas, track, hold : BOOL;
    auto : BOOL := TRUE;
END_VAR
VAR_OUTPUT out : LREAL; END_VAR
VAR x : PID; END_VAR
    x(SP := sp, PV := pv, RSP := rsp, MAN := man, TR := tr, FF := ff, KP := kp, TI := ti, TD := td, N := n, B := b,
      C := c, TT := tt, LOW := low, HIGH := high, RATE := rate, DIRECT := direct, CAS := cas, TRACK := track,
      HOLD := hold, AUTO := auto);
    out := x.OUT;
END_PROGRAM
"""


def closed_loop(h: float, kp: float, ti: float, td: float, n: float, b: float, c: float, plant: control.StateSpace,
                reference: np.ndarray) -> tuple[np.ndarray, np.ndarray]:  # fmt: skip
    """Output and controller output of the loop put together by python-control from its parts."""
    integral = control.ss(control.tf([kp * h / ti], [1.0, -1.0], h), inputs="e", outputs="i", name="integral")
    derivative = control.ss(control.tf([kp * n * td, -kp * n * td], [td + n * h, -td], h), inputs="w", outputs="d",
                            name="derivative")  # fmt: skip
    weights = control.ss([], [], [], [[1.0, -1.0], [kp * b, -kp], [c, -1.0]], h, inputs=["r", "y"],
                         outputs=["e", "p", "w"], name="weights")  # fmt: skip
    total = control.summing_junction(["p", "i", "d"], "u", name="total")
    process = control.ss(plant, inputs="u", outputs="y", name="process")
    loop = control.interconnect([integral, derivative, weights, total, process], inputs="r", outputs=["y", "u"])
    y, u = control.forced_response(loop, np.arange(len(reference)) * h, reference).outputs
    return y, u


@pytest.mark.parametrize(
    ("kp", "ti", "td", "b", "c"),
    [(0.9, 9.0, 0.0, 1.0, 0.0), (1.225, 5.8667, 0.9434, 0.6, 0.0), (0.8, 8.0, 1.0, 0.3, 0.7)],
)
def test_closed_loop_of_python_control(kp: float, ti: float, td: float, b: float, c: float) -> None:
    # process 2 exp(-2 s)/(10 s + 1), sampled exactly with zero-order hold by python-control
    h, steps, dead = 0.25, 400, 8
    lag = control.sample_system(control.tf([2.0], [10.0, 1.0]), h)
    plant = control.ss(lag * control.tf([1.0], [1.0] + [0.0] * dead, h))
    reference = np.ones(steps)
    reference[0] = 0.0
    reference[200:] = 0.4
    expected_y, expected_u = closed_loop(h, kp, ti, td, 10.0, b, c, plant, reference)
    bench = Bench(PINS, h, kp=kp, ti=ti, td=td, b=b, c=c)
    pole, y, line = math.exp(-h / 10.0), 0.0, [0.0] * dead
    got_y, got_u = [], []
    for r in reference:
        bench.scan(sp=float(r), pv=y)
        got_y.append(y)
        got_u.append(bench["out"])
        line.append(got_u[-1])
        y = pole * y + 2.0 * (1.0 - pole) * line.pop(0)
    assert np.max(np.abs(expected_y - got_y)) < 1e-9
    assert np.max(np.abs(expected_u - got_u)) < 1e-9
    assert expected_y[199] == pytest.approx(1.0, abs=0.02)  # the loop settles, so the comparison means something


def test_derivative_follows_the_published_recursion() -> None:
    # backward difference of Astrom & Wittenmark, Computer-Controlled Systems, ch. 8:
    # D_k = Td/(Td+Nh) D_{k-1} - Kc Td N/(Td+Nh) (y_k - y_{k-1}); Kc=1, Td=2, N=10, h=0.1, unit step in y
    bench = Bench(PINS, 0.1, kp=1.0, ti=0.0, td=2.0, n=10.0, b=0.0).scan()
    seen = []
    for _ in range(6):
        bench.scan(pv=1.0)
        seen.append(bench["out"] + 1.0)  # the proportional part is -1
    assert seen == pytest.approx([-6.666667, -4.444444, -2.962963, -1.975309, -1.316872, -0.877915], abs=1e-6)


def wind_up(tt: float) -> tuple[np.ndarray, np.ndarray]:
    """Integrator 1/s under PI, Kc = Ti = 1, output within +-0.1, unit step of the set-point; h = 0.01 s."""
    h = 0.01
    bench = Bench(PINS, h, kp=1.0, ti=1.0, tt=tt, low=-0.1, high=0.1, sp=1.0)
    y, ys, us = 0.0, [], []
    for _ in range(2200):
        bench.scan(pv=y)
        ys.append(y)
        us.append(bench["out"])
        y += h * us[-1]
    return np.array(ys), np.array(us)


def test_back_calculation_recovers_from_windup() -> None:
    # the loop is that of the windup figure in Astrom & Hagglund (1995), ch. 3; both times follow analytically:
    # without: 1 - 0.1 t + (t - 0.05 t^2) = 0.1 at t = 9 + sqrt(99); with Tt = 1: 1 - 0.1 t - 0.1 exp(-t) = 0
    t = np.arange(2200) * 0.01
    without_y, without_u = wind_up(1e12)
    with_y, with_u = wind_up(1.0)
    leaves = t[np.argmax(without_u < 0.1 - 1e-9)]
    assert leaves == pytest.approx(9.0 + math.sqrt(99.0), rel=5e-3)
    assert np.max(without_y) == pytest.approx(1.900171, rel=5e-3)
    leaves = t[np.argmax(with_u < 0.1 - 1e-9)]
    assert leaves == pytest.approx(9.999954598, rel=5e-3)
    assert np.max(with_y) == pytest.approx(1.054627, rel=5e-3)
    assert t[np.argmax(with_y)] == pytest.approx(11.208, rel=5e-3)
    picture("windup", t, {"no anti-windup": without_y, "back calculation": with_y}, {"no anti-windup": without_u,
            "back calculation": with_u})  # fmt: skip


def picture(name: str, t: np.ndarray, above: dict[str, np.ndarray], below: dict[str, np.ndarray]) -> None:
    """Draw measurements above and controller outputs below into the tests' output folder."""
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib.figure import Figure

    figure = Figure(figsize=(7, 5))
    for place, lines, words in ((1, above, "measurement"), (2, below, "output")):
        axes = figure.add_subplot(2, 1, place)
        for label, values in lines.items():
            axes.plot(t, values, label=label)
        axes.set_ylabel(words)
        axes.legend()
    axes.set_xlabel("time, s")
    OUTPUT.mkdir(exist_ok=True)
    figure.savefig(OUTPUT / f"pid_{name}.png")


def test_hand_over_between_manual_automatic_and_cascade() -> None:
    h, pole = 1.0, math.exp(-1.0 / 20.0)
    bench = Bench(PINS, h, kp=2.0, ti=15.0, td=2.0, b=0.8, c=0.5, low=0.0, high=100.0, auto=0, man=30.0, sp=45.0)
    y, t, ys, us = 30.0, [], [], []

    def play(seconds: int) -> None:
        nonlocal y
        for _ in range(seconds):
            bench.scan(pv=y)
            t.append(bench.time)
            ys.append(y)
            us.append(bench["out"])
            y = pole * y + (1.0 - pole) * us[-1]

    def held(seconds: int = 1) -> float:
        """Change of the output in the first scan after a hand-over, measurement at rest."""
        before = us[-1]
        play(seconds)
        return abs(us[len(us) - seconds] - before)

    play(40)
    assert us[-1] == 30.0
    bench.set(auto=1)
    assert held() < 1e-12  # manual to automatic with an error of 15 standing
    play(150)
    assert y == pytest.approx(45.0, abs=0.1)
    bench.set(cas=1, rsp=60.0)
    assert held() < 2.0 * 1.0 / 15.0 * 0.1 + 0.05  # one step of integration and the plant's own last movement
    play(200)
    assert y == pytest.approx(60.0, abs=0.1)
    bench.set(cas=0)
    assert held() < 0.05
    bench.set(kp=4.0)
    steady = bench["out"]
    play(1)
    # a new gain leaves P + I; what moves is the integration of the scan before, K h/Ti e = 2/15 (45 - 60) = -2, and
    # the derivative of a measurement that has just begun to fall
    assert us[-1] - steady == pytest.approx(-2.0, abs=0.3)
    bench.set(auto=0, man=bench["out"])
    assert held() == 0.0
    picture("hand_over", np.array(t), {"measurement": np.array(ys)}, {"output": np.array(us)})


def test_new_parameters_do_not_jump() -> None:
    # I2 = I1 + Kc1 (b1 r - y) - Kc2 (b2 r - y): Astrom & Wittenmark, ch. 8; held by HOLD so that nothing else moves
    bench = Bench(PINS, 1.0, kp=1.0, ti=10.0, sp=7.0, pv=3.0).run(20.0)
    before = bench.scan(hold=1)["out"]
    for change in ({"kp": 3.5}, {"b": 0.2}, {"kp": 0.7, "b": 0.9}, {"direct": 1}, {"direct": 0}):
        assert bench.scan(**change)["out"] == pytest.approx(before, abs=1e-12)
    after = bench.scan(rsp=2.0, cas=1)["out"]
    assert after == pytest.approx(before, abs=1e-12)


def test_cascade_set_point_then_acts_in_full() -> None:
    bench = Bench(PINS, 1.0, kp=2.0, ti=0.0, sp=5.0, rsp=5.0, cas=1).run(2.0)
    before = bench["out"]
    assert bench.scan(rsp=6.0)["out"] - before == pytest.approx(2.0, abs=1e-12)


def test_direct_action_is_the_mirror_image() -> None:
    one = Bench(PINS, 0.5, kp=1.5, ti=8.0, td=1.0, sp=1.0)
    other = Bench(PINS, 0.5, kp=1.5, ti=8.0, td=1.0, sp=1.0, direct=1)
    for k in range(50):
        pv = math.sin(0.2 * k)
        assert one.scan(pv=pv)["out"] == -other.scan(pv=pv)["out"]


def test_rate_limit_and_output_limits_hold() -> None:
    bench = Bench(PINS, 0.5, kp=5.0, ti=20.0, low=10.0, high=60.0, rate=4.0).scan()
    last = bench["out"]
    assert last == 10.0
    for k in range(200):
        out = bench.scan(sp=30.0 if k < 100 else -30.0)["out"]
        assert abs(out - last) <= 2.0 + 1e-12 and 10.0 <= out <= 60.0
        last = out
    assert last == 10.0


def test_tracking_keeps_an_override_loop_ready() -> None:
    # the loop that is not selected follows the one that is, and takes over within a scan of reaching its set-point
    text = """
    PROGRAM pair
    VAR_INPUT flow, level : LREAL; track : BOOL := TRUE; END_VAR
    VAR_OUTPUT out : LREAL; which : INT; END_VAR
    VAR a, b : PID; low_select : OVERRIDE; END_VAR
        a(SP := 50.0, PV := flow, KP := 0.5, TI := 10.0, TRACK := track, TR := low_select.OUT);
        b(SP := 2.0, PV := level, KP := 40.0, TI := 30.0, TRACK := track, TR := low_select.OUT);
        low_select(IN1 := a.OUT, IN2 := b.OUT);
        out := low_select.OUT; which := low_select.WHICH;
    END_PROGRAM
    """
    taken = {}
    for track in (1, 0):
        bench = Bench(text, 1.0, track=track)
        flow, level = 0.0, 1.0
        for k in range(1200):
            bench.scan(flow=flow, level=level)
            flow += 0.3 * (bench["out"] - flow)
            if k > 400:
                level = min(level + 0.01, 4.0)  # the level rises past 2.0 and the reverse loop b must throttle
            if bench["which"] == 2 and level > 1.5:
                taken[track] = level
                break
    assert 1.5 < taken[1] < 2.1 < taken.get(0, 4.0) - 0.5


def test_smith_compensator_takes_the_dead_time_out() -> None:
    # process 1.5 exp(-2 s)/(4 s + 1), PI with Kc = T/(K lambda) = 2.6667, Ti = 4, lambda = 1: with a true model
    # y = 1 - exp(-(t - 2)), so y(3) = 0.632121 and y(5) = 0.950213 (derivation: O. J. M. Smith's structure);
    # without it the same controller is unstable (gain margin pi/4)
    text = """
    PROGRAM dead
    VAR_INPUT y : LREAL; on : BOOL; delay : LREAL := 2.0; END_VAR
    VAR_OUTPUT out : LREAL; END_VAR
    VAR c : PID; s : SMITH; seen : LREAL; END_VAR
        s(PV := y, U := out, GAIN := 1.5, LAG := 4.0, DELAY := delay, EVERY := 0.02);
        seen := y;
        IF on THEN seen := s.OUT; END_IF;
        c(SP := 1.0, PV := seen, KP := 2.666666666667, TI := 4.0, LOW := -1.0E6, HIGH := 1.0E6);
        out := c.OUT;
    END_PROGRAM
    """
    h = 0.005
    peak = {}
    for on in (1, 0):
        bench = Bench(text, h, on=on)
        line, y, ys = [0.0] * round(2.0 / h), 0.0, []
        for _ in range(round((8.0 if on else 30.0) / h)):
            bench.scan(y=y)
            ys.append(y)
            line.append(bench["out"])
            y += (1.0 - math.exp(-h / 4.0)) * (1.5 * line.pop(0) - y)
        if on:
            assert ys[round(3.0 / h)] == pytest.approx(0.632121, abs=8e-3)
            assert ys[round(5.0 / h)] == pytest.approx(0.950213, abs=8e-3)
        peak[on] = max(abs(v) for v in ys)
    assert peak[1] < 1.02 and peak[0] > 3.0
