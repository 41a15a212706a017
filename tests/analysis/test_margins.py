"""Margins with exact dead time and relay tests, against closed forms, python-control and simulation."""

from __future__ import annotations

import itertools
import math

import control
import numpy as np
import pytest

from plantsim.analysis.tuning import describing, rules
from plantsim.analysis.tuning.describing import Cycle, exact_cycle, fopdt_from_cycle, predicted_cycle
from plantsim.analysis.tuning.margins import Margins, loop, margins, ultimate, worst_case
from plantsim.analysis.tuning.models import (
    FOPDT,
    SOPDT,
    Chain,
    DoubleIntegrating,
    Integrating,
    InverseResponse,
    Process,
    PureDelay,
    SecondOrder,
    TuningError,
)
from plantsim.analysis.tuning.rules import Settings

NAN = math.nan
LOOPS = {
    "F1": (Settings(0.5, 1.0), FOPDT(1.0, 1.0, 1.0)),
    "F2": (Settings(4.0, 8.0), FOPDT(1.0, 8.0, 1.0)),
    "F3": (Settings(2.5, 8.0), FOPDT(2.0, 10.0, 1.0)),
    "F4": (Settings(1.2055555556, 3.8826086957), FOPDT(1.0, 5.0, 1.0)),
    "F5": (Settings(4.5, 3.3333333333), FOPDT(1.0, 5.0, 1.0)),
    "F6": (Settings(0.1904761905, 4.0), FOPDT(1.5, 4.0, 2.0)),
    "F9": (Settings(0.5, 8.0), Integrating(1.0, 1.0)),
}
"""F1, F2: SIMC; F4: AMIGO; F5: Ziegler-Nichols step; F6: lambda = 3 T; F9: SIMC integrating."""
EXACT = {  # w_gc, PM, w_pc, GM, Ms, at, Mt, DM from roots with 30 digits
    "F1": (0.5, 61.35211024, 1.570796327, 3.141592654, 1.590490233, 1.1442337, 1.0, 2.141592654),
    "F2": (0.5, 61.35211024, 1.570796327, 3.141592654, 1.590490233, 1.1442337, 1.0, 2.141592654),
    "F3": (0.505272789, 58.3494329, 1.55480118, 3.106005688, 1.608923889, 1.1144631, 1.045257022, 2.01552457),
    "F4": (0.2680038018, 67.51549463, 1.534096782, 6.327893914, 1.263760307, 0.81238087, 1.008291181, 4.396831946),
    "F5": (0.9247914904, 31.24355715, 1.50620493, 1.655727492, 2.948151008, 1.2729395, 2.203328573, 0.5896496107),
    "F6": (0.07142857143, 81.81488864, 0.7853981634, 10.99557429, 1.1354879, 0.41153199, 1.0, 19.99114858),
    "F9": (0.5145427568, 46.86428691, 1.48692756, 2.963402246, 1.70352169, 0.97660955, 1.299417639, 1.589636813),
}


@pytest.mark.parametrize("name", EXACT)
def test_margins_of_published_settings(name: str) -> None:
    """Roots of the exact equations (mpmath, 30 digits). F1, F9: also Skogestad 2003, table 1 (below)."""
    w_gc, pm, w_pc, gm, ms, at, mt, dm = EXACT[name]
    found = margins(*LOOPS[name])
    assert found.stable
    assert found.unstable_poles == 0
    assert (found.gain_crossover, found.phase_crossover) == pytest.approx((w_gc, w_pc), rel=1e-8)
    assert (found.gain_margin, found.phase_margin, found.delay_margin) == pytest.approx((gm, pm, dm), rel=1e-8)
    assert (found.Ms, found.Mt) == pytest.approx((ms, mt), rel=1e-8)
    assert found.Ms_frequency == pytest.approx(at, rel=1e-6)
    assert found.gain_margin >= found.Ms / (found.Ms - 1.0)
    assert math.radians(found.phase_margin) >= 2.0 * math.asin(0.5 / found.Ms)


def test_table_1_of_skogestad() -> None:
    """J. Process Control 13 (2003), table 1: GM 3.14, PM 61.4, DM 2.14, Ms 1.59, Mt 1.00; integrating below"""
    one, level = margins(*LOOPS["F1"]), margins(*LOOPS["F9"])
    for found, printed in ((one, (3.14, 61.4, 2.14, 1.59, 1.00)), (level, (2.96, 46.9, 1.59, 1.70, 1.30))):
        values = found.gain_margin, found.phase_margin, found.delay_margin, found.Ms, found.Mt
        assert [float(f"{value:.3g}") for value in values] == list(printed)


def test_closed_forms() -> None:
    """L = e^-s/(2 s): GM pi, PM 90 - 90/pi deg, DM pi - 1. L = e^-2s/(14 s): w 1/14, GM 7 pi/2."""
    one = margins(*LOOPS["F1"])
    assert one.gain_margin == pytest.approx(math.pi, rel=1e-12)
    assert one.phase_margin == pytest.approx(90.0 - 90.0 / math.pi, rel=1e-12)
    assert one.delay_margin == pytest.approx(math.pi - 1.0, rel=1e-12)
    assert (one.Mt, one.Mt_frequency) == (1.0, 0.0)
    slow = margins(rules.lambda_tuning(FOPDT(1.5, 4.0, 2.0), 12.0), FOPDT(1.5, 4.0, 2.0))
    assert slow.gain_crossover == pytest.approx(1.0 / 14.0, rel=1e-12)
    assert slow.gain_margin == pytest.approx(3.5 * math.pi, rel=1e-12)


# Pade: order 1 gives 2.0958 for the gain margin of F5, order 5 1.65572750 (python-control); the exact value is 1.65573
@pytest.mark.parametrize(("order", "gm", "pm"), [(1, 2.095781, 34.598966), (2, 1.666996, 31.294653),
                                                 (5, 1.65572750, 31.2435572)])  # fmt: skip
def test_pade_comes_near_only_at_high_order(order: int, gm: float, pm: float) -> None:
    plain = control.tf([4.5 * 3.3333333333, 4.5], [3.3333333333, 0.0]) * control.tf([1.0], [5.0, 1.0])
    margin, phase, _, _ = control.margin(plain * control.tf(*control.pade(1.0, order)))
    assert (margin, phase) == pytest.approx((gm, pm), rel=1e-6)
    exact = margins(*LOOPS["F5"])
    assert abs(exact.gain_margin / margin - 1.0) < {1: 0.22, 2: 0.01, 5: 1e-7}[order]


CASES: dict[str, tuple[Settings, Process, float]] = {
    "integral time limited": (*LOOPS["F3"], 0.0),
    "PID with filter": (Settings(1.2, 10.0, 1.5, N=8.0), SOPDT(1.5, 12.0, 4.0, 3.0), 0.0),
    "PID without filter": (Settings(1.2, 10.0, 1.5, N=math.inf), SOPDT(1.5, 12.0, 4.0, 3.0), 0.0),
    "PID, ISA zeros complex": (Settings(0.6, 8.0, 4.0, N=10.0), FOPDT(1.0, 5.0, 4.0), 0.0),
    "negative gain": (Settings(-0.8, 600.0), FOPDT(-0.4, 300.0, 900.0), 0.0),
    "scan of 60 s": (Settings(-0.8, 600.0), FOPDT(-0.4, 300.0, 900.0), 60.0),
    "integrating with lag": (Settings(2.0, 20.0, 2.0, N=10.0), Integrating(0.1, 1.0, 2.0), 0.0),
    "double integrating": (rules.simc(DoubleIntegrating(0.1, 1.0), 1.0), DoubleIntegrating(0.1, 1.0), 0.0),
    "inverse response": (Settings(0.5, 6.0), InverseResponse(1.0, 2.0, 5.0, 3.0, 1.0), 0.0),
    "resonance": (Settings(0.05, 1.0), SecondOrder(1.0, 1.0, 0.05, 0.4), 0.0),
    "P alone": (Settings(2.0), FOPDT(1.5, 8.0, 2.0), 0.0),
    "PD": (Settings(2.0, Td=1.0), FOPDT(1.5, 8.0, 2.0), 0.0),
    "pure delay, integral": (rules.simc(PureDelay(2.0, 5.0)), PureDelay(2.0, 5.0), 0.0),
    "long chain": (Settings(0.8, 3.0), Chain(1.0, (2.0, 1.0, 0.4, 0.2, 0.05), (-0.3, 0.08)), 0.0),
    "lead": (Settings(2.0, 5.0), Chain(2.0, (20.0, 1.0, 0.1, 0.1), (15.0,), 0.2), 0.0),
}


def by_control(settings: Settings, process: Process, scan: float) -> tuple[float, ...]:
    """GM, PM, Ms from python-control: exact response with dead time, put together apart from the package's own."""
    f = process.factors()
    s = control.tf([1.0, 0.0], [1.0])
    plant = control.tf([f.gain], [1.0] + [0.0] * f.integrators)
    for lag in f.lags:
        plant = plant * control.tf([1.0], [lag, 1.0])
    for lead in f.leads:
        plant = plant * control.tf([lead, 1.0], [1.0])
    for b2, b1 in f.under:
        plant = plant * control.tf([1.0], [b2, b1, 1.0])
    if settings.kind == "I":
        controller = settings.integral_only / s
    else:
        controller = control.tf([settings.Kc], [1.0])
        if math.isfinite(settings.Ti):
            controller = controller + settings.Kc / (settings.Ti * s)
        if settings.Td > 0.0:
            controller = controller + settings.Kc * settings.Td * s / control.tf([settings.Td / settings.N, 1.0], [1.0])
    whole = controller * plant
    guess = margins(settings, process, scan)
    middle = [*guess.gain_crossovers, guess.phase_crossover, guess.Ms_frequency]
    w = np.geomspace(min(middle) / 1.5, max(middle) * 1.5, 1501)
    response = whole(1j * w) * np.exp(-1j * w * (f.delay + 0.5 * scan))
    gm, pm, sm, _, _, _ = control.stability_margins(control.FRD(response, w, smooth=True))
    return float(gm), float(pm), 1.0 / float(sm)


@pytest.mark.parametrize("name", CASES)
def test_margins_agree_with_python_control(name: str) -> None:
    """stability_margins of python-control on a fine table of the exact response: 1e-6."""
    settings, process, scan = CASES[name]
    found = margins(settings, process, scan)
    assert found.stable
    gm, pm, ms = by_control(settings, process, scan)
    assert found.gain_margin == pytest.approx(gm, rel=1e-6)
    assert found.phase_margin == pytest.approx(pm, rel=1e-6)
    assert found.Ms == pytest.approx(ms, rel=1e-6)


@pytest.mark.parametrize("name", CASES)
def test_every_margin_brings_the_loop_to_the_limit(name: str) -> None:
    """A little less than the gain, delay or reduction margin leaves the loop stable, a little more does not."""
    settings, process, scan = CASES[name]
    found = margins(settings, process, scan)
    chain = process.chain()
    for factor in (found.gain_margin, found.gain_reduction):
        if 0.0 < factor < math.inf:
            toward = 1.0 - 1e-6 if factor > 1.0 else 1.0 + 1e-6
            for push, stable in ((toward, True), (2.0 - toward, False)):
                k = factor * push
                other = Settings(settings.Kc * k, settings.Ti, settings.Td, N=settings.N,
                                 integral_only=settings.integral_only * k)  # fmt: skip
                assert margins(other, process, scan).stable is stable
    for push, stable in ((1.0 - 1e-6, True), (1.0 + 1e-6, False)):
        assert margins(settings, chain.through(delay=found.delay_margin * push), scan).stable is stable


def rational_poles(settings: Settings, process: Process, pade: int) -> int:
    """Right half-plane closed-loop poles from the roots of the polynomials, dead time by high-order Pade."""
    f = loop(settings, process)
    over, under = np.array([f.gain]), np.array([1.0] + [0.0] * f.integrators)
    for lead in f.leads:
        over = np.polymul(over, [lead, 1.0])
    for lag in f.lags:
        under = np.polymul(under, [lag, 1.0])
    for a2, a1 in f.over:
        over = np.polymul(over, [a2, a1, 1.0])
    for b2, b1 in f.under:
        under = np.polymul(under, [b2, b1, 1.0])
    if f.delay > 0.0:
        up, down = control.pade(f.delay, pade)
        over, under = np.polymul(over, up), np.polymul(under, down)
    return int(np.sum(np.roots(np.polyadd(over, under)).real > 0.0))


def test_nyquist_count_agrees_with_the_roots() -> None:
    """300 loops drawn at random, with and without dead time, stable and not: the count is that of the roots."""
    draw = np.random.default_rng(20260)
    counts = {}
    for number in range(300):
        lags = tuple(float(v) for v in 10.0 ** draw.uniform(-1.0, 1.0, draw.integers(1, 4)))
        leads = tuple(float(v) for v in draw.choice([-1.0, 1.0]) * 10.0 ** draw.uniform(-1.0, 1.0, draw.integers(0, 2)))
        swings = ((float(10.0 ** draw.uniform(-1.0, 1.0)), float(draw.uniform(0.02, 0.9))),) * int(draw.integers(0, 2))
        delay = float(draw.choice([0.0, 10.0 ** draw.uniform(-1.0, 0.5)]))
        process = Chain(float(draw.choice([-1.0, 1.0])), lags, leads, delay, int(draw.integers(0, 3)), swings)
        Ti = float(draw.choice([math.inf, 10.0 ** draw.uniform(-0.5, 1.5)]))
        Td = float(draw.choice([0.0, 10.0 ** draw.uniform(-1.0, 0.5)]))
        settings = Settings(float(10.0 ** draw.uniform(-2.0, 1.0)) * float(draw.choice([1.0, 1.0, -1.0])), Ti, Td)
        f = loop(settings, process)
        if f.roll_off()[0] == 0 and f.roll_off()[1] > 0.5:
            continue  # with dead time such a loop has infinitely many poles near the limit
        found = margins(settings, process)
        seen = [w for w in found.phase_crossovers if 0.0 < w < math.inf]
        closeness = min((abs(math.log(abs(f.response([w])[0]))) for w in seen), default=1.0)
        if delay > 0.0 and (closeness < 0.02 or found.unstable_poles > 4):
            continue  # there the Pade approximation itself is not to be trusted
        assert found.unstable_poles == rational_poles(settings, process, 8), (number, settings, process)
        counts[found.unstable_poles] = counts.get(found.unstable_poles, 0) + 1
    assert sum(counts.values()) > 200
    assert all(counts.get(poles, 0) >= 10 for poles in (0, 1, 2, 3))


def test_conditionally_stable_loop_has_margins_both_ways() -> None:
    """K (s + 1)^2/s^3 is stable for K > 1/2 only (Routh): gain reduction 1/(2 K), no upper gain margin."""
    process = Chain(1.0, (), (1.0, 1.0), 0.0, 3)
    found = margins(Settings(2.0), process)
    assert found.stable
    assert found.gain_reduction == pytest.approx(0.25, rel=1e-9)
    assert found.gain_margin == math.inf
    assert margins(Settings(0.4), process).unstable_poles == 2


def test_unstable_loop_says_how_far() -> None:
    """lambda PI of 1 s on K 1.5, T 4, L 2 without predictor: L = e^-2s/s, GM = pi/4, delay too long by 2 - pi/2."""
    found = margins(Settings(8.0 / 3.0, 4.0), FOPDT(1.5, 4.0, 2.0))
    assert not found.stable
    assert found.unstable_poles == 2
    assert found.gain_margin == pytest.approx(math.pi / 4.0, rel=1e-12)
    assert found.phase_margin == pytest.approx(90.0 - math.degrees(2.0), rel=1e-9)
    assert (found.Ms, found.Mt, found.delay_margin) == (math.inf, math.inf, 0.0)
    assert any("unstable" in note for note in found.notes)


def test_wrong_action_is_unstable() -> None:
    found = margins(Settings(-0.5, 1.0), FOPDT(1.0, 1.0, 1.0))
    assert not found.stable
    assert not margins(Settings(0.5, 1.0), FOPDT(-1.0, 1.0, 1.0)).stable
    # positive feedback without integral part is stable up to a static loop gain of 1, a limit at w = 0
    weak = margins(Settings(-0.5), FOPDT(1.0, 1.0, 0.0))
    assert weak.stable
    assert (weak.gain_margin, weak.phase_crossover) == (pytest.approx(2.0, rel=1e-12), 0.0)
    assert (weak.Ms, weak.Ms_frequency) == (pytest.approx(2.0, rel=1e-6), 0.0)


def test_limits_at_infinite_frequency() -> None:
    """Skogestad's E14, (1 - s)/s with PI 0.5, 8: L -> -0.5, so GM 2 and Ms 2 in the limit."""
    found = margins(Settings(0.5, 8.0), Chain(1.0, (), (-1.0,), 0.0, 1))
    assert found.stable
    assert (found.gain_margin, found.Ms) == pytest.approx((2.0, 2.0), rel=1e-6)
    # P on dead time alone: |L| = 0.5 everywhere; S = 1/(1 - 0.5), GM 2
    flat = margins(Settings(0.25), PureDelay(2.0, 3.0))
    assert (flat.gain_margin, flat.Ms, flat.Mt) == pytest.approx((2.0, 2.0, 1.0), rel=1e-9)
    assert margins(Settings(0.6), PureDelay(2.0, 3.0)).unstable_poles == math.inf
    with pytest.raises(TuningError, match="Set the filter"):
        margins(Settings(0.2, 5.0, 1.0, N=math.inf), PureDelay(2.0, 3.0))
    # first order without dead time: nothing ever makes a PI loop on it unstable but dead time
    free = margins(Settings(5.0, 10.0), FOPDT(1.0, 10.0, 0.0))
    assert free.gain_margin == math.inf
    assert free.Ms == pytest.approx(1.0, abs=1e-6)
    assert free.delay_margin == pytest.approx(math.pi / 2.0 / 0.5, rel=1e-9)


def test_resonance_makes_many_crossovers_and_the_worst_governs() -> None:
    """A narrow peak above gain 1: three gain crossovers; the delay margin is the least of all three."""
    settings, process = Settings(0.0, 0.0, integral_only=0.05), SecondOrder(1.0, 0.5, 0.002, 0.05)
    found = margins(settings, process)
    assert len(found.gain_crossovers) == 3
    f = loop(settings, process)
    lags = [(float(f.phase(np.array([w]))[0]) + math.pi) % (2.0 * math.pi) / w for w in found.gain_crossovers]
    if found.stable:
        assert found.delay_margin == pytest.approx(min(lags), rel=1e-12)
    assert found.unstable_poles == rational_poles(settings, process, 8)
    narrow = margins(Settings(0.0, 0.0, integral_only=1e-3), SecondOrder(1.0, 1.0, 1e-4, 0.0))
    # |L| at resonance is 1e-3/(2 zeta w T) = 5 for zeta 1e-4, though the peak is 0.02 % wide
    assert narrow.unstable_poles == 2
    assert narrow.gain_margin == pytest.approx(0.2, rel=1e-9)


def test_scan_counts_as_half_its_length() -> None:
    settings, process = CASES["scan of 60 s"][:2]
    scanned = margins(settings, process, 60.0)
    longer = margins(settings, FOPDT(-0.4, 300.0, 930.0))
    assert scanned.Ms == pytest.approx(longer.Ms, rel=1e-12)
    assert scanned.delay_margin == pytest.approx(margins(settings, process).delay_margin - 30.0, rel=1e-9)
    assert scanned.extra_delay == 30.0
    assert any("scan is long" in note for note in margins(settings, process, 1200.0).notes)
    with pytest.raises(TuningError, match="scan"):
        margins(settings, process, -1.0)


def test_half_a_scan_is_near_the_sampled_loop() -> None:
    """P control of 1/s with n = 4 scans of dead time, sampled and held: z^4 (z - 1) + K h = 0 has its roots within
    the circle for K h < 2 sin(pi/(4 n + 2)) exactly (roots checked by numpy); half a scan of dead time gives
    pi/(2 n + 1), 0.5 % more."""
    h = 3.0
    exact = 2.0 * math.sin(math.pi / 18.0) / h
    for push, inside in ((0.999, True), (1.001, False)):
        roots = np.roots([1.0, -1.0, 0.0, 0.0, 0.0, push * exact * h])
        assert bool(np.max(np.abs(roots)) < 1.0) is inside
    found = ultimate(Integrating(1.0, 4.0 * h), scan=h).Ku
    assert found == pytest.approx(math.pi / 9.0 / h, rel=1e-12)
    assert found == pytest.approx(exact, rel=0.006)


def test_worst_case_names_what_governs() -> None:
    """Dead time and gain of a dosing loop over the flow: low flow has the longest dead time and the highest gain."""
    plants: dict[str, Process] = {
        "low flow": FOPDT(-0.6, 400.0, 1500.0),
        "middle": FOPDT(-0.4, 300.0, 900.0),
        "high flow": FOPDT(-0.3, 240.0, 600.0),
    }
    settings = rules.simc(plants["high flow"])
    found = worst_case(settings, plants, scan=10.0)
    assert set(found.governs.values()) == {"low flow"}
    assert found.worst("Ms") == found.each["low flow"].Ms == margins(settings, plants["low flow"], 10.0).Ms
    assert not found.stable
    assert found.unstable == ("low flow",)
    cautious = worst_case(rules.simc(plants["low flow"]), list(plants.values()))
    assert cautious.stable
    assert cautious.governs["Ms"] == "0"
    assert cautious.worst("gain_margin") == min(each.gain_margin for each in cautious.each.values())
    with pytest.raises(TuningError, match="no process"):
        worst_case(settings, [])


def test_ultimate_point_refusals() -> None:
    for process in (FOPDT(1.0, 1.0, 0.0), SOPDT(1.0, 2.0, 1.0, 0.0), DoubleIntegrating(1.0, 1.0)):
        with pytest.raises(TuningError):
            ultimate(process)
    assert ultimate(FOPDT(-1.0, 5.0, 1.0)).Ku == pytest.approx(-8.502424988, rel=1e-9)


# relay ----------------------------------------------------------------------------------------------------------


def simulated_cycle(process: FOPDT | Integrating, relay: float, hysteresis: float, bias: float) -> Cycle:
    """Relay loop stepped with the exact solution between steps of L/2000."""
    h = process.L / 2000.0
    keep = math.exp(-h / process.T) if isinstance(process, FOPDT) else 1.0
    gain = process.K * (1.0 - keep) if isinstance(process, FOPDT) else process.k * h
    line = [relay] * 2000
    y, u, t, switches, peaks = 0.0, relay, 0.0, [], [0.0]
    for step in itertools.count():
        if (u > 0.0 and y > hysteresis) or (u < 0.0 and y < -hysteresis):
            u = -u
            switches.append(t)
            peaks.append(y)
            if len(switches) == 22:
                break
        delayed = line[step % 2000]
        line[step % 2000] = u
        y = y * keep + gain * (delayed + bias)
        peaks[-1] = max(peaks[-1], y, key=abs) if len(switches) else y
        t += h
    up = [b - a for a, b in itertools.pairwise(switches)][1::2]
    down = [b - a for a, b in itertools.pairwise(switches)][0::2]
    return Cycle(max(peaks[-4:]), min(peaks[-4:]), up[-1], down[-1])


RELAYS = [
    (FOPDT(1.0, 5.0, 1.0), 1.0, 0.0, 0.0),
    (FOPDT(1.0, 1.0, 1.0), 1.0, 0.0, 0.0),
    (FOPDT(2.0, 8.0, 2.0), 1.5, 0.3, 0.0),
    (FOPDT(2.0, 8.0, 2.0), 1.5, 0.3, 0.4),
    (Integrating(0.2, 2.0), 1.0, 0.05, 0.0),
    (Integrating(0.2, 2.0), 1.0, 0.05, -0.3),
]


@pytest.mark.parametrize("case", RELAYS)
def test_exact_limit_cycle_is_that_of_a_simulation(case) -> None:  # type: ignore[no-untyped-def]
    exact, seen = exact_cycle(*case), simulated_cycle(*case)
    assert (seen.high, seen.low) == pytest.approx((exact.high, exact.low), rel=2e-3, abs=2e-3)
    assert (seen.time_up, seen.time_down) == pytest.approx((exact.time_up, exact.time_down), rel=2e-3)


@pytest.mark.parametrize(
    ("T", "L", "a", "P", "from_test", "Ku", "Pu"),
    [
        (5.0, 1.0, 0.181269247, 3.665894934, 7.024024021, 8.502424988, 3.720761363),
        (1.0, 1.0, 0.632120559, 2.979760251, 2.014235302, 2.261826334, 3.097060275),
        (1.0, 10.0, 0.999954600, 21.38624896, 1.273297352, 1.040170, None),
    ],
)
def test_relay_result_against_describing_function(
    T: float, L: float, a: float, P: float, from_test: float, Ku: float, Pu: float | None
) -> None:
    """a = K d (1 - e^(-L/T)), P = 2 L + 2 T ln(2 - e^(-L/T)); Ku from the test is 17 % low, 11 % low, 22 % high."""
    process = FOPDT(1.0, T, L)
    cycle = exact_cycle(process, 1.0)
    assert (cycle.amplitude, cycle.period) == pytest.approx((a, P), rel=1e-8)
    assert cycle.amplitude == pytest.approx(1.0 - math.exp(-L / T), rel=1e-12)
    assert cycle.period == pytest.approx(2.0 * L + 2.0 * T * math.log(2.0 - math.exp(-L / T)), rel=1e-12)
    assert cycle.asymmetry == 0.0
    estimate = describing.ultimate_from_relay(cycle.amplitude, cycle.period, 1.0)
    assert estimate.Ku == pytest.approx(from_test, rel=1e-9)
    exact = ultimate(process)
    assert exact.Ku == pytest.approx(Ku, rel=1e-6)
    if Pu is not None:
        assert exact.Pu == pytest.approx(Pu, rel=1e-9)
    # what the describing function predicts is its own ultimate point turned round
    amplitude, period = predicted_cycle(process, 1.0)
    assert amplitude == pytest.approx(4.0 / (math.pi * exact.Ku), rel=1e-9)
    assert period == pytest.approx(exact.Pu, rel=1e-9)


def test_relay_example_of_kantor() -> None:
    """CBE 30338, notebook 04.06: h 20, a 1.5, P 140: Ku 16.98 (with pi = 3.14)."""
    found = describing.ultimate_from_relay(1.5, 140.0, 20.0)
    assert found.Ku == pytest.approx(16.97653, abs=1e-5)
    assert found.Ku == pytest.approx(16.98514, rel=1e-3)
    assert found.Pu == 140.0


def test_describing_function_with_hysteresis() -> None:
    """First Fourier coefficient of the relay's output, by quadrature; Ku = 4 d/(pi sqrt(a^2 - eps^2))."""
    a, d, eps = 1.0, 0.7, 0.4
    n = 400_000
    angle = (np.arange(n) + 0.5) * 2.0 * math.pi / n
    start = math.asin(eps / a)
    out = np.where((angle >= start) & (angle < start + math.pi), d, -d)
    first = 2j * np.mean(out * np.exp(-1j * angle)) / a
    assert describing.describing_function(a, d, eps) == pytest.approx(complex(first), abs=1e-5)
    assert describing.ultimate_from_relay(a, 1.0, d, eps).Ku == pytest.approx(4.0 * d / math.pi / math.sqrt(0.84))
    process = FOPDT(2.0, 8.0, 2.0)
    amplitude, period = predicted_cycle(process, 1.5, 0.3)
    balance = process.response([2.0 * math.pi / period])[0] * describing.describing_function(amplitude, 1.5, 0.3)
    assert balance == pytest.approx(-1.0, abs=1e-9)
    with pytest.raises(TuningError, match="stands still"):
        describing.describing_function(0.3, 1.0, 0.4)


@pytest.mark.parametrize(("hysteresis", "bias"), [(0.0, 0.0), (0.3, 0.0), (0.3, 0.5), (0.1, -0.8)])
def test_model_from_the_exact_cycle(hysteresis: float, bias: float) -> None:
    process = FOPDT(2.0, 8.0, 3.0)
    cycle = exact_cycle(process, 1.5, hysteresis, bias)
    found = fopdt_from_cycle(cycle, 2.0, 1.5, hysteresis, bias)
    assert pytest.approx((8.0, 3.0), rel=1e-12) == (found.T, found.L)
    if bias == 0.0:
        a, drive = cycle.amplitude, 3.0
        assert pytest.approx(cycle.period / (2.0 * math.log((drive + a) / (drive - a))), rel=1e-12) == found.T


def test_bias_shows_and_is_found() -> None:
    """Balance of one period: the mean of the measurement is the gain times the mean input. The mean from the closed
    form of the cycle by quadrature."""
    process, relay, eps, bias = FOPDT(2.0, 8.0, 3.0), 1.5, 0.3, 0.5
    cycle = exact_cycle(process, relay, eps, bias)
    assert cycle.time_up < cycle.time_down
    n = 200_000
    fall = (np.arange(n) + 0.5) / n * cycle.time_down  # from the high peak, while the delayed relay is down
    rise = (np.arange(n) + 0.5) / n * cycle.time_up
    down, up = 2.0 * (relay - bias), 2.0 * (relay + bias)
    falling = -down + (cycle.high + down) * np.exp(-fall / 8.0)
    rising = up + (cycle.low - up) * np.exp(-rise / 8.0)
    mean = (falling.mean() * cycle.time_down + rising.mean() * cycle.time_up) / cycle.period
    assert describing.bias_found(cycle, relay, 2.0, mean) == pytest.approx(bias, rel=1e-6)
    assert describing.static_gain(mean, bias + relay * cycle.asymmetry) == pytest.approx(2.0, rel=1e-6)
    level = exact_cycle(Integrating(0.2, 2.0), 1.0, 0.05, -0.3)
    assert describing.bias_found(level, 1.0, math.inf) == pytest.approx(-0.3, rel=1e-12)
    even, odd = exact_cycle(process, relay, eps), cycle
    assert describing.fundamental(even, relay) == pytest.approx(4.0 * relay / math.pi, rel=1e-12)
    square = np.where(np.arange(n) / n < odd.time_up / odd.period, relay, -relay)
    first = 2.0 * np.abs(np.mean(square * np.exp(-2j * math.pi * np.arange(n) / n)))
    assert describing.fundamental(odd, relay) == pytest.approx(float(first), rel=1e-4)
    with pytest.raises(TuningError, match="symmetric"):
        describing.static_gain(0.0, 0.0)


@pytest.mark.parametrize(
    "ask",
    [
        lambda: exact_cycle(FOPDT(1.0, 1.0, 1.0), 1.0, 1.2),
        lambda: exact_cycle(FOPDT(1.0, 1.0, 1.0), 1.0, 0.1, 1.0),
        lambda: exact_cycle(FOPDT(1.0, 1.0, 0.0), 1.0),
        lambda: exact_cycle(Integrating(1.0, 1.0, 1.0), 1.0),
        lambda: exact_cycle(FOPDT(1.0, 1.0, 1.0), 0.0),
        lambda: fopdt_from_cycle(Cycle(1.5, -1.5, 1.0, 1.0), 1.0, 1.0),
        lambda: predicted_cycle(FOPDT(1.0, 1.0, 0.0), 1.0),
        lambda: predicted_cycle(DoubleIntegrating(1.0, 1.0), 1.0),
        lambda: describing.ultimate_from_relay(0.1, 10.0, 1.0, 0.2),
    ],
)
def test_relay_questions_without_an_answer_are_refused(ask) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(TuningError):
        ask()


def test_table_of_rules_with_margins_on_one_plant() -> None:
    """Known ranking on first order plus dead time: AMIGO Ms near 1.4, SIMC 1.6, Ziegler-Nichols far above 2."""
    process = FOPDT(2.0, 10.0, 5.0)
    found: dict[str, Margins] = {each.rule: margins(each, process) for each in rules.every_rule(process)}
    assert found["AMIGO PI"].Ms < 1.45
    assert found["SIMC PI"].Ms == pytest.approx(1.59, abs=0.005)
    assert found["Ziegler-Nichols step PI"].Ms > 2.0
    assert found["lambda PI"].Ms < found["SIMC PI"].Ms < found["Cohen-Coon PI"].Ms
