"""Instruments: each stage from true value to reading, against closed forms and the limits of NAMUR NE 43."""

import math

import numpy as np
import pytest

from plantsim.arena import Arena
from plantsim.jit import kernel
from plantsim.kernels.instrument import step_instrument
from plantsim.records import SENSE_DIGITAL, SENSE_LINEAR, SENSE_OPTICAL


@kernel
def _run(p, s, f, tick, dt, calm, mem, imem, tags, cell, truth, out):
    """Step along a series of true values, one a step, and write down the tag."""
    for i in range(len(truth)):
        mem[cell] = truth[i]
        step_instrument(p[0], s[0], f[0], tick + i, dt, calm, mem, imem, tags)
        out[i] = tags[p[0].tag]


class Bench:
    """One transmitter, 0 to 100, looking at the air temperature; its sample line's flow is the rain."""

    def __init__(self, dt=1.0, calm=1, **parameters):
        self.arena = Arena({"instrument_p": 1, "instrument_s": 1, "instrument_f": 1, "tags": 2})
        self.p = self.arena.instrument_p
        self.s = self.arena.instrument_s
        self.f = self.arena.instrument_f
        self.dt, self.calm, self.tick = dt, calm, 0
        self.cell = self.arena.cell("weather", 0, "air")
        defaults = {
            "kind": SENSE_LINEAR, "cell": self.cell, "tag": 1, "scale": 1.0, "high": 100.0, "every": 1,
            "flow_cell": -1,
        }  # fmt: skip
        for name, value in {**defaults, **parameters}.items():
            self.p[name][0] = value
        self.f["fouling_factor"] = self.f["noise_factor"] = 1.0
        self.s["random"] = 2026
        self.plant = self.arena.plant()

    def run(self, truth):
        truth = np.ascontiguousarray(truth, float)
        out = np.zeros(len(truth))
        _run(
            self.p, self.s, self.f, self.tick, self.dt, self.calm, self.plant.mem, self.plant.imem,
            self.arena.tags, self.cell, truth, out,
        )  # fmt: skip
        self.tick += len(truth)
        return out


@pytest.mark.parametrize("lag, every", [(5.0, 1), (20.0, 7), (3.0, 10)])
def test_lag_is_the_exact_exponential(lag, every):
    # step response of a first-order lag, y = 1 - exp(-t/T) (any control text, e.g. Ogata, ch. 5)
    bench = Bench(lag=lag, every=every)
    bench.run(np.zeros(every))
    out = bench.run(np.full(20 * every, 80.0))
    t = every * (np.arange(20) + 1)
    np.testing.assert_allclose(out[::every], 80.0 * -np.expm1(-t / lag), rtol=1e-12)


def test_scale_offset_and_integer_cell():
    bench = Bench(scale=1.8, offset=32.0)
    assert bench.run([20.0])[0] == pytest.approx(68.0, abs=1e-12)  # degF
    counter = Bench(integer=1, cell=Arena({}).cell("clock", 0, "tick"), scale=2.0)
    counter.arena.clock["tick"] = 21
    assert counter.run([0.0])[0] == 42.0


@pytest.mark.parametrize("dt, every", [(1.0, 10), (0.5, 20), (0.1, 100)])
def test_readings_do_not_depend_on_the_step(dt, every):
    # 10 s samples with noise, drift and film: the same numbers whatever the plant's step
    errors = {"lag": 15.0, "noise": 0.01, "fouling_rate": 1e-6, "clean_every": 600.0, "resolution": 1 / 4095}
    bench = Bench(dt=dt, calm=0, every=every, **errors)
    reference = Bench(dt=10.0, calm=0, every=1, **errors)
    bench.f["drift_rate"] = reference.f["drift_rate"] = 1e-6
    truth = np.repeat(50.0 + 20.0 * np.sin(np.arange(200)), every)
    expected = reference.run(50.0 + 20.0 * np.sin(np.arange(200)))
    out = bench.run(truth)
    np.testing.assert_allclose(out[::every], expected, atol=1e-9)
    # and the tag stands still between samples
    assert np.all(out.reshape(-1, every) == out[::every, None])


def test_noise_has_the_stated_deviation_and_no_memory():
    bench = Bench(calm=0, noise=0.005)
    out = bench.run(np.full(40_000, 50.0)) - 50.0
    n = len(out)
    assert abs(out.mean()) < 4 * 0.5 / math.sqrt(n)
    assert out.std() == pytest.approx(0.5, rel=0.02)
    lag_one = np.corrcoef(out[:-1], out[1:])[0, 1]
    assert abs(lag_one) < 4 / math.sqrt(n)
    bench.f["noise_factor"] = 3.0
    assert bench.run(np.full(40_000, 50.0)).std() == pytest.approx(1.5, rel=0.02)
    bench.calm = 1
    assert np.all(bench.run(np.full(10, 50.0)) == 50.0)


@pytest.mark.parametrize("truth, milliamp", [(-500, 3.8), (0, 4.0), (50, 12.0), (100, 20.0), (1e9, 20.5)])
def test_live_zero_limits(truth, milliamp):
    # NAMUR NE 43: 3.8 to 20.5 mA carries measurement (from memory)
    reading = Bench().run([truth])[0]
    assert 4.0 + 16.0 * reading / 100.0 == pytest.approx(milliamp, abs=1e-12)


def test_a_lost_signal_is_below_the_failure_limit_and_comes_back():
    # NAMUR NE 43: 3.6 mA and less is a failure (from memory)
    bench = Bench(low=20.0, high=60.0)
    bench.f["lost"] = 1
    lost = bench.run([30.0])[0]
    milliamp = 4.0 + 16.0 * (lost - 20.0) / 40.0
    assert milliamp < 3.6
    assert milliamp == pytest.approx(3.0, abs=1e-12)
    bench.f["lost"] = 0
    assert bench.run([30.0])[0] == pytest.approx(30.0, abs=1e-12)


def test_a_value_that_is_no_number_reads_at_the_lower_limit():
    assert Bench().run([math.nan])[0] == -1.25


def test_twelve_bit_converter():
    # 2^12 codes over the range: 4095 steps, error at most half a step (definition of a linear quantiser)
    bench = Bench(resolution=1.0 / 4095.0)
    truth = np.linspace(0.0, 100.0, 50_001)
    out = bench.run(truth)
    step = 100.0 / 4095.0
    assert len(np.unique(out)) == 4096
    assert np.max(np.abs(out - truth)) <= 0.5 * step * (1 + 1e-9)
    # uniform error: deviation step / sqrt(12) (Bennett, Bell Syst. Tech. J. 27 (1948) 446)
    assert (out - truth).std() == pytest.approx(step / math.sqrt(12.0), rel=0.01)


def test_optical_saturation():
    # reading = S (1 - exp(-N/S)): true at the low end, never beyond S (Beer-Lambert form)
    bench = Bench(kind=SENSE_OPTICAL, saturation=800.0, high=1000.0)
    truth = np.array([0.0, 1.0, 100.0, 800.0, 4000.0, 1e6])
    out = bench.run(truth)
    np.testing.assert_allclose(out, 800.0 * (1.0 - np.exp(-truth / 800.0)), rtol=1e-12, atol=1e-12)
    assert out[1] == pytest.approx(1.0, rel=1e-3)
    assert out[3] == pytest.approx(800.0 * (1.0 - 1.0 / math.e), rel=1e-12)
    assert out[5] == pytest.approx(800.0)
    # the user's remedy: dilute 1:10 and multiply gives more than the reading of the neat sample
    assert 10.0 * bench.run([400.0])[0] > out[4]


def test_film_grows_and_cleaning_makes_a_sawtooth():
    # 0.1 % of span a minute, wiped every 10 min: rises to 1 % (of 100) and starts anew
    bench = Bench(fouling_rate=0.001 / 60.0, clean_every=600.0)
    out = bench.run(np.full(1801, 50.0)) - 50.0
    t = np.arange(1801)
    np.testing.assert_allclose(out, (t % 600) * 0.1 / 60.0, atol=1e-9)
    bench.f["fouling_factor"] = 5.0
    assert bench.run(np.full(600, 50.0)).max() - 50.0 == pytest.approx(5.0 * 0.1 / 60.0 * 599, rel=1e-9)
    # film lies before the detector, so a blind instrument cannot get blinder
    blind = Bench(kind=SENSE_OPTICAL, saturation=50.0, fouling_rate=0.01)
    assert np.ptp(blind.run(np.full(100, 5000.0))) < 1e-9


def test_drift_and_bias():
    bench = Bench()
    bench.run([50.0])
    bench.f["drift_rate"] = 0.01 / 86400.0  # 1 % of span a day
    assert bench.run(np.full(86400, 50.0))[-1] == pytest.approx(51.0, abs=1e-9)
    bench.f["drift_rate"] = 0.0
    bench.f["bias"] = -0.03
    assert bench.run([50.0])[0] == pytest.approx(48.0, abs=1e-9)
    bench.s["drift"] = 0.0  # calibrated
    assert bench.run([50.0])[0] == pytest.approx(47.0, abs=1e-9)


def test_bubbles_come_at_low_flow_and_read_high():
    bench = Bench(flow_cell=Arena({}).cell("weather", 0, "rain"), flow_low=1e-4, high=200.0)
    bench.f["bubbles"] = 0.05
    bench.arena.weather["rain"] = 2e-4
    assert np.all(bench.run(np.full(2000, 50.0)) == 50.0)
    bench.arena.weather["rain"] = 0.5e-4
    out = bench.run(np.full(20_000, 50.0))
    hit = out != 50.0
    assert hit.mean() == pytest.approx(0.05, abs=4 * math.sqrt(0.05 * 0.95 / 20_000))
    assert out[hit].min() >= 50.0 + 0.1 * 200.0
    # a median over a few samples removes them: the usual remedy
    median = np.median(np.lib.stride_tricks.sliding_window_view(out, 9), axis=1)
    assert (median != 50.0).mean() < 1e-3


def test_spikes_go_both_ways():
    bench = Bench()
    bench.f["spikes"] = 0.02
    out = bench.run(np.full(20_000, 50.0)) - 50.0
    hit = out != 0.0
    assert hit.mean() == pytest.approx(0.02, abs=4 * math.sqrt(0.02 * 0.98 / 20_000))
    assert (out[hit] > 0).mean() == pytest.approx(0.5, abs=4 * 0.5 / math.sqrt(hit.sum()))


def test_a_fault_does_not_change_the_noise():
    one = Bench(calm=0, noise=0.01)
    two = Bench(calm=0, noise=0.01)
    two.f["spikes"] = 0.1
    a, b = one.run(np.full(2000, 50.0)), two.run(np.full(2000, 50.0))
    same = a == b
    assert 0.85 < same.mean() < 0.95  # all but the spikes


def test_stuck_holds_and_lets_go_to_the_present():
    bench = Bench(lag=10.0)
    bench.run(np.full(100, 20.0))
    bench.f["stuck"] = 1
    assert np.all(bench.run(np.full(500, 70.0)) == 20.0)
    bench.f["stuck"] = 0
    assert bench.run([70.0])[0] == pytest.approx(70.0, abs=1e-6)  # the sensor itself had followed


def test_switch_has_a_dead_band():
    bench = Bench(kind=SENSE_DIGITAL, threshold=3.0, deadband=0.2)
    truth = [2.0, 2.9, 3.1, 2.9, 2.81, 2.79, 2.9, 3.01]
    assert list(bench.run(truth)) == [0, 0, 1, 1, 1, 0, 0, 1]
    bench.f["lost"] = 1
    assert list(bench.run([2.9])) == [0]
    bench.f["lost"] = 0
    assert list(bench.run([2.9])) == [1]  # the contact itself had not moved
    bench.f["spikes"] = 0.5
    bounced = bench.run(np.full(4000, 2.9))
    assert bounced.mean() == pytest.approx(0.5, abs=0.04)


def test_a_save_point_holds_the_whole_instrument():
    bench = Bench(calm=0, noise=0.01, lag=5.0, every=3, fouling_rate=1e-5, clean_every=60.0)
    truth = 50.0 + 10.0 * np.sin(np.arange(400) / 17.0)
    bench.run(truth[:200])
    saved, tick = bench.arena.save(), bench.tick
    first = bench.run(truth[200:])
    bench.arena.restore(saved)
    bench.tick = tick
    assert np.array_equal(bench.run(truth[200:]), first)
