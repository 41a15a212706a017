"""Margins under dead-time compensation against closed forms, the plain loop, and the loop simulated row by row."""

from __future__ import annotations

import math

import numpy as np
import pytest

from plantsim.analysis.tuning.margins import margins
from plantsim.analysis.tuning.models import FOPDT, Integrating, SecondOrder, TuningError
from plantsim.analysis.tuning.predictor import loop_margins, quick_ms, smith_margins, worst_of
from plantsim.analysis.tuning.settings import Settings

TRUE = FOPDT(-2.0, 40.0, 90.0)


@pytest.mark.parametrize("speed", [1.0, 3.0])
def test_true_model_leaves_the_loop_without_its_dead_time(speed):
    """PI with Ti = T and Kc = T/(K tc) on a true model: C M0 = 1/(tc s), so T = exp(-L s)/(tc s + 1) and
    S = 1 - T (Smith 1957): Mt = 1, and Ms by that formula on a fine grid."""
    tc = TRUE.T / speed
    found = smith_margins(Settings(TRUE.T / (TRUE.K * tc), TRUE.T), TRUE, TRUE)
    w = np.linspace(1e-5, 2.0, 2_000_001)
    s = 1j * w
    assert found.stable and found.Mt == pytest.approx(1.0, abs=1e-6)
    assert found.Ms == pytest.approx(float(np.abs(1.0 - np.exp(-TRUE.L * s) / (tc * s + 1.0)).max()), rel=2e-3)


def test_model_without_dead_time_is_the_plain_loop():
    """With L = 0 in the model M0 - M vanishes, and all margins are those of the exact ones without predictor."""
    settings = Settings(-0.15, 45.0)
    plain, found = margins(settings, TRUE, 5.0), smith_margins(settings, TRUE, FOPDT(-2.0, 40.0, 0.0), 5.0)
    for name in ("gain_margin", "phase_margin", "delay_margin", "Ms", "Mt"):
        assert getattr(found, name) == pytest.approx(getattr(plain, name), rel=2e-3), name


@pytest.mark.parametrize("gain", [-0.1, -0.5, -1.5, -4.0])
@pytest.mark.parametrize("wrong", [(1.0, 1.0), (1.4, 1.0), (1.0, 1.5), (1.0, 0.5), (0.6, 1.3)])
def test_stability_is_that_of_the_loop_simulated(gain, wrong):
    """Loop, predictor and process in small Euler steps: whether a disturbance dies out within 80 dead times."""
    process = FOPDT(TRUE.K * wrong[0], TRUE.T, TRUE.L * wrong[1])
    found = smith_margins(Settings(gain, 40.0), process, TRUE)
    assert not found.stable or found.gain_margin > 1.1  # no case at the very edge, where rows would decide
    h = 0.5
    late, model_late = round(process.L / h), round(TRUE.L / h)
    n = round(80.0 * TRUE.L / h)
    u, y, m = np.zeros(n), 1.0, 0.0
    outs, models, total = [], np.zeros(n), 0.0
    for k in range(1, n):
        y += h / process.T * (process.K * (u[k - late - 1] if k > late else 0.0) - y)
        m += h / TRUE.T * (TRUE.K * u[k - 1] - m)
        models[k] = m
        seen = y + m - (models[k - model_late] if k >= model_late else 0.0)
        total += gain * h / 40.0 * -seen
        u[k] = np.clip(gain * -seen + total, -1e9, 1e9)
        outs.append(y)
    first, last = np.abs(outs[: n // 10]).max(), np.abs(outs[-n // 10 :]).max()
    assert bool(last < first) is found.stable


def test_delay_margin_is_where_more_dead_time_loses_the_loop():
    settings = Settings(-1.5, 40.0)
    margin = smith_margins(settings, TRUE, TRUE).delay_margin
    assert 0.0 < margin < 90.0
    for factor, stable in ((0.98, True), (1.02, False)):
        late = FOPDT(TRUE.K, TRUE.T, TRUE.L + factor * margin)
        assert smith_margins(settings, late, TRUE).stable is stable


@pytest.mark.parametrize("process", [TRUE, FOPDT(1.0, 100.0, 2.0), Integrating(0.01, 30.0),
                                     Integrating(0.01, 10.0, 40.0), SecondOrder(-5.0, 800.0, 0.4, 1400.0)])  # fmt: skip
@pytest.mark.parametrize("share", [0.1, 0.3, 0.5, 0.8, 1.3])
def test_quick_peak_is_the_exact_one(process, share):
    """Gains at shares of the one at which the loop is lost, found by bisection on the exact margins."""
    time = process.factors().delay + sum(process.factors().lags)
    first = Settings(math.copysign(1e-3, process.factors().gain), 3.0 * time)
    edge = 1e-3 * margins(first, process, 5.0).gain_margin
    settings = Settings(math.copysign(share * edge, process.factors().gain), 3.0 * time)
    exact = margins(settings, process, 5.0)
    assert math.isinf(exact.Ms) is (share > 1.0)
    assert quick_ms(settings, process, None, 5.0) == pytest.approx(exact.Ms, rel=3e-3 if exact.Ms < 5.0 else 0.03)


def test_quick_peak_with_compensation():
    late = FOPDT(TRUE.K, TRUE.T, 1.2 * TRUE.L)
    for gain in (-0.1, -0.5, -1.0):
        exact = smith_margins(Settings(gain, 40.0), late, TRUE, 5.0)
        assert quick_ms(Settings(gain, 40.0), late, TRUE, 5.0) == pytest.approx(exact.Ms, rel=1e-9)
    assert math.isinf(quick_ms(Settings(-4.0, 40.0), late, TRUE)) and math.isinf(quick_ms(Settings(0.1, 40.0), TRUE))


def test_what_is_no_loop_for_it_is_refused():
    with pytest.raises(TuningError, match="self-regulating"):
        smith_margins(Settings(0.5, 10.0), Integrating(1.0, 1.0), TRUE)
    with pytest.raises(TuningError, match="integral action"):
        smith_margins(Settings(0.5), TRUE, TRUE)
    assert not smith_margins(Settings(0.5, 10.0), TRUE, TRUE).stable  # the wrong sign


def test_worst_of_a_range_names_the_process_of_each_margin():
    settings = Settings(-0.15, 45.0)
    table = {name: loop_margins(settings, FOPDT(k, 40.0, late), None)
             for name, k, late in (("normal", -2.0, 90.0), ("strong", -3.0, 60.0), ("late", -2.0, 130.0))}  # fmt: skip
    found = worst_of(table)
    assert found.Ms == (max(m.Ms for m in table.values()), found.Ms[1]) and found.stable
    assert found.gain_margin == (min(m.gain_margin for m in table.values()), found.gain_margin[1])
    assert found.delay_margin[0] == min(m.delay_margin for m in table.values())
    lost = worst_of({**table, "wild": loop_margins(settings, FOPDT(-20.0, 40.0, 90.0), None)})
    assert not lost.stable and lost.gain_margin == (1.0, "wild") and math.isinf(lost.Ms[0])
