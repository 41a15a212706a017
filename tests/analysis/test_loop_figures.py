"""Indices of loop health against closed forms and the published examples of their authors' methods."""

from __future__ import annotations

import math

import numpy as np
import pytest

from plantsim.analysis.loop_figures import (
    Refused,
    at_limits,
    autocorrelation,
    harris,
    integrals,
    oscillation,
    standing,
    sticking,
    travel,
)


def white(count: int, seed: int) -> np.ndarray:
    return np.random.default_rng(seed).normal(size=count)


def autoregression(phi: float, count: int, seed: int) -> np.ndarray:
    noise, found = white(count, seed), np.zeros(count)
    for k in range(1, count):
        found[k] = phi * found[k - 1] + noise[k]
    return found


# --- integrals, travel, limits ---


def test_integrals_of_a_decay():
    """e = exp(-t/T): IAE = T, ISE = T/2."""
    error = np.exp(-(np.arange(20000) + 0.5) * 0.01 / 5.0)
    assert integrals(error, 0.01) == pytest.approx((5.0, 2.5), rel=1e-6)


def test_travel_of_a_sine_is_four_amplitudes_a_period():
    """200 points a period touch the peaks exactly; a period has two reversals, three periods from a crossing six."""
    output = 50.0 + 7.0 * np.sin(2.0 * np.pi * np.arange(601) / 200.0)
    way, reversals = travel(output)
    assert way == pytest.approx(3 * 4 * 7.0, rel=1e-9) and reversals == 6


def test_limits_and_standing():
    output = np.array([30.0] * 5 + [40.0] * 6 + [41.0, 42.0, 43.0, 95.0])
    assert at_limits(output, 30.0, 95.0) == pytest.approx(6 / 15)
    assert at_limits(output, -math.inf, math.inf) == 0.0
    free = np.abs(output - 30.0) > 0.1
    assert standing(output, free, 6) == pytest.approx(6 / 15)
    assert standing(output, free, 7) == 0.0


# --- oscillation ---


def test_autocorrelation_of_a_first_order_autoregression():
    """r_k = phi^k (Box and Jenkins 1976, ch. 3), within three of Bartlett's standard errors."""
    r = autocorrelation(autoregression(0.8, 40000, 1), 5)
    assert r == pytest.approx(0.8 ** np.arange(6), abs=3.0 * math.sqrt((1 + 0.64) / (1 - 0.64) / 40000))


def test_pure_sine_swings_with_its_period():
    found = oscillation(np.sin(2.0 * np.pi * np.arange(2000) / 137.3), 10.0)
    assert found.period == pytest.approx(1373.0, rel=0.005)
    assert found.swinging and found.regularity > 10.0
    assert found.swings == pytest.approx(1.0, abs=0.1)  # the biased estimate falls with the lag


def test_sine_is_seen_through_noise_of_its_own_size():
    """A sine of variance 1/2 in white noise of the same: one period on the autocorrelation is 1/2."""
    values = np.sin(2.0 * np.pi * np.arange(4000) / 100.0) + white(4000, 2) / math.sqrt(2.0)
    found = oscillation(values, 1.0)
    assert found.swinging and found.period == pytest.approx(100.0, rel=0.02)
    assert found.swings == pytest.approx(0.5, abs=0.06)


@pytest.mark.parametrize("phi", [0.0, 0.9, 0.98])
def test_noise_does_not_swing(phi):
    """Of twenty records of noise without a period none is called swinging."""
    assert sum(oscillation(autoregression(phi, 4000, seed), 1.0).swinging for seed in range(20)) == 0


def test_short_record_is_refused():
    with pytest.raises(Refused, match="4 are needed"):
        oscillation(np.sin(2.0 * np.pi * np.arange(100) / 100.0), 1.0)


def test_standing_error_is_refused():
    with pytest.raises(Refused, match="does not change at all"):
        oscillation(np.zeros(100), 1.0)


# --- Harris ---


@pytest.mark.parametrize("delay", [1, 2, 4, 7])
@pytest.mark.parametrize("phi", [0.5, 0.9])
def test_harris_index_of_an_autoregression(phi, delay):
    """e_k = phi e_(k-1) + a_k: within b rows the impulse response is 1, phi, ... phi^(b-1), so the least variance is
    (1 - phi^2b)/(1 - phi^2) and the variance 1/(1 - phi^2) (Harris 1989): index 1 - phi^(2b)."""
    found = harris(autoregression(phi, 20000, 3), 1.0, delay - 1.0)
    assert found.delay == delay and found.interval == 1.0
    assert found.index == pytest.approx(1.0 - phi ** (2 * delay), abs=0.03)
    assert found.least**2 == pytest.approx((1.0 - phi ** (2 * delay)) / (1.0 - phi**2), rel=0.05)


def test_minimum_variance_control_has_index_one():
    """Under minimum variance control the error is a moving average of b - 1 terms (Harris 1989): nothing is left."""
    noise = white(20000, 4)
    error = noise[3:] + 0.8 * noise[2:-1] + 0.5 * noise[1:-2] + 0.3 * noise[:-3]
    assert harris(error, 1.0, 3.0).index == pytest.approx(1.0, abs=0.02)


def test_integral_controller_on_a_pure_delay():
    """Desborough and Harris 1992: y_k = u_(k-2) + d_k, d = a/(1 - B), u_k - u_(k-1) = -K y_k. So (1 - B + K B^2) y =
    a: impulse response 1, 1, ...; least variance 2, and with K = 0.3 the variance that of the AR(2), from its
    Yule-Walker equations. (A dead time of two rows is one row and the hold.)"""
    K, n = 0.3, 40000
    noise, y = white(n, 5), np.zeros(n)
    for k in range(2, n):
        y[k] = y[k - 1] - K * y[k - 2] + noise[k]
    variance = (1.0 + K) / ((1.0 - K) * ((1.0 + K) ** 2 - 1.0))
    assert harris(y, 1.0, 1.0).index == pytest.approx(2.0 / variance, rel=0.04)


def test_offset_counts_against_the_loop():
    """Half of the mean square is offset: the index is halved."""
    error = white(20000, 6)
    assert harris(error + 1.0, 1.0, 0.0).index == pytest.approx(0.5 * harris(error, 1.0, 0.0).index, rel=0.03)


def test_fast_rows_are_averaged():
    """A dead time of 80 rows is looked at in rows of ten."""
    found = harris(autoregression(0.99, 60000, 7), 1.0, 80.0)
    assert found.interval == 10.0 and found.delay == 9
    assert 0.0 < found.index < 1.0


def test_short_record_is_refused_with_the_length_that_would_do():
    with pytest.raises(Refused, match=r"a record of 8\.7 h in service would do"):
        harris(white(500, 8), 10.0, 1800.0)
    enough = harris(white(3146, 8), 10.0, 1800.0)  # 8.7 h: 143 blocks of 22 rows for 5 x (15 + 9) + 23 rows
    assert (enough.delay, enough.interval) == (9, 220.0)
    with pytest.raises(Refused, match="no dead time is stated"):
        harris(white(500, 8), 10.0, math.nan)


# --- sticking ---


def loop_of(gain: float, reset: float, stick: float, outside: float, count: int = 6000, period: float = 0.0):
    """PI loop in rows of 1 s on exp(-5 s)/(10 s + 1), through a valve that stands until driven by more than `stick`,
    with a swing of `outside` on the measurement."""
    y, u, valve, total = 0.0, 0.0, 0.0, 0.0
    pipe = [0.0] * 5
    outputs, measured = [], []
    rng = np.random.default_rng(9)
    for k in range(count):
        seen = y + (outside * math.sin(2.0 * math.pi * k / period) if outside else 0.0) + 0.01 * rng.normal()
        error = 1.0 - seen
        total += gain * error / reset
        u = gain * error + total
        if abs(u - valve) > stick:
            valve = u
        pipe.append(valve)
        y += (pipe.pop(0) - y) / 10.0
        outputs.append(u)
        measured.append(seen)
    return np.array(outputs[1000:]), np.array(measured[1000:])


def test_sticking_valve_is_recognised():
    output, measured = loop_of(0.3, 8.0, 0.5, 0.0)
    swing = oscillation(1.0 - measured, 1.0)
    assert swing.swinging
    assert sticking(output, measured, swing.period).verdict == "sticking"


@pytest.mark.parametrize("period", [40.0, 60.0])
def test_swing_from_outside_is_not_called_sticking(period):
    """Within the reach of the controller's gain: PI of reset 30 s lags a period of 60 s by atan(60/(2 pi 30)) = 18
    degrees, less than the 30 that are called symmetric."""
    output, measured = loop_of(0.5, 30.0, 0.0, 0.5, period=period)
    swing = oscillation(1.0 - measured, 1.0)
    assert swing.period == pytest.approx(period, rel=0.02)
    assert sticking(output, measured, swing.period).verdict == "not sticking"


def test_loop_tuned_too_tight_is_not_called_sticking():
    """A gain just short of its limit swings in noise at the ultimate period: the phase of a PI of reset 15 s, lag
    10 s, dead time 5 s and half a row is -180 degrees at 0.304 rad/s."""
    output, measured = loop_of(2.4, 15.0, 0.0, 0.0)
    swing = oscillation(1.0 - measured, 1.0)
    assert swing.swinging and swing.period == pytest.approx(2.0 * math.pi / 0.304, rel=0.05)
    assert sticking(output, measured, swing.period).verdict == "not sticking"


def test_quarter_and_half_a_period_are_the_two_marks():
    """Sines a quarter of a period apart have an odd cross-correlation, sines half a period apart an even one."""
    t = 2.0 * np.pi * np.arange(8000) / 80.0
    assert sticking(np.sin(t), np.cos(t), 80.0).verdict == "sticking"
    assert sticking(np.sin(t), -np.sin(t), 80.0).verdict == "not sticking"
    for degrees, verdict in ((25.0, "not sticking"), (45.0, "undecided"), (65.0, "sticking")):
        found = sticking(np.sin(t), -np.sin(t + math.radians(degrees)), 80.0)
        assert found.verdict == verdict
        assert found.shift == pytest.approx(degrees / 90.0, abs=0.02)
        cosine = math.cos(math.radians(degrees))
        assert found.height == pytest.approx((1.0 - cosine) / (1.0 + cosine), abs=0.02)


def test_sticking_needs_periods_and_moves():
    t = 2.0 * np.pi * np.arange(200) / 80.0
    with pytest.raises(Refused, match="fewer than three periods"):
        sticking(np.sin(t), np.cos(t), 80.0)
    with pytest.raises(Refused, match="stand still"):
        sticking(np.ones(400), np.cos(np.arange(400.0)), 10.0)
