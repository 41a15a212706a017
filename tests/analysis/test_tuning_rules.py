"""Process models, the half rule and every tuning rule against published formulas, tables and examples."""

from __future__ import annotations

import math

import control
import numpy as np
import pytest
from scipy import optimize, signal

from plantsim.analysis.tuning import rules
from plantsim.analysis.tuning.half_rule import half_rule
from plantsim.analysis.tuning.margins import margins, ultimate
from plantsim.analysis.tuning.models import (
    FOPDT,
    MODELS,
    SOPDT,
    Chain,
    DoubleIntegrating,
    Integrating,
    InverseResponse,
    Process,
    PureDelay,
    SecondOrder,
    TuningError,
    from_identified,
)
from plantsim.analysis.tuning.rules import Settings, Ultimate

THIRD = Chain(1.0, lags=(1.0, 1.0, 1.0))
"""1/(s + 1)^3, the worked example of Astrom and Hagglund, PID Controllers, 2nd ed., ISA 1995."""
PLANT = FOPDT(2.0, 10.0, 2.0)
LOOP = Ultimate(4.2512125, 7.4415227)
"""Ultimate point of PLANT, computed with 30 digits from atan(10 w) + 2 w = pi."""


def numbers(found: Settings) -> tuple[float, float, float]:
    return found.Kc, found.Ti, found.Td


# models ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("model", "over", "under"),
    [
        (FOPDT(-2.0, 5.0, 1.5), [-2.0], [5.0, 1.0]),
        (SOPDT(3.0, 5.0, 2.0, 0.5), [3.0], [10.0, 7.0, 1.0]),
        (SOPDT(3.0, 4.0, 4.0, 0.5), [3.0], [16.0, 8.0, 1.0]),
        (SOPDT(3.0, 4.0, 4.0 * (1.0 - 1e-9), 0.5), [3.0], [16.0, 8.0, 1.0]),
        (SecondOrder(0.7, 3.0, 0.2, 1.0), [0.7], [9.0, 1.2, 1.0]),
        (SecondOrder(0.7, 3.0, 1.0, 1.0), [0.7], [9.0, 6.0, 1.0]),
        (SecondOrder(0.7, 3.0, 1.7, 1.0), [0.7], [9.0, 10.2, 1.0]),
        (Integrating(0.2, 2.0), [0.2], [1.0, 0.0]),
        (Integrating(0.2, 2.0, 4.0), [0.2], [4.0, 1.0, 0.0]),
        (InverseResponse(2.0, 1.5, 5.0, 2.0, 1.0), [-3.0, 2.0], [10.0, 7.0, 1.0]),
        (InverseResponse(2.0, 1.5, 5.0, 0.0, 1.0), [-3.0, 2.0], [5.0, 1.0]),
        (DoubleIntegrating(0.1, 1.0), [0.1], [1.0, 0.0, 0.0]),
        (Chain(1.5, (3.0, 1.0), (2.0,), 0.7), [3.0, 1.5], [3.0, 4.0, 1.0]),
        (Chain(1.5, (3.0,), (-2.0, 0.5), 0.7, 1), [-1.5, -2.25, 1.5], [3.0, 1.0, 0.0]),
        (Chain(1.5, (), (1.0, 2.0), 0.7, 0, ((3.0, 0.4),)), [3.0, 4.5, 1.5], [9.0, 2.4, 1.0]),
    ],
)
def test_responses_agree_with_scipy_and_control(model: Process, over: list[float], under: list[float]) -> None:
    """Step from scipy.signal's state space, frequency response from python-control's transfer function."""
    delay = model.factors().delay
    t = np.linspace(0.0, 20.0, 401)
    _, expected = signal.step((over, under), T=t)
    assert model.step(t + delay) == pytest.approx(expected, abs=2e-7 * max(1.0, float(np.max(np.abs(expected)))))
    assert np.all(model.step(np.linspace(0.0, 0.999 * delay, 7)) == 0.0)
    assert model.chain().step(t + delay, 3.0) == pytest.approx(3.0 * model.step(t + delay), rel=1e-9, abs=1e-11)
    w = np.geomspace(1e-3, 1e2, 41)
    exact = control.TransferFunction(over, under)(1j * w) * np.exp(-1j * w * delay)
    assert model.response(w) == pytest.approx(exact, rel=3e-9)
    f = model.factors()
    assert np.exp(f.log_gain(w) + 1j * f.phase(w)) == pytest.approx(exact, rel=3e-9)


def test_pure_delay_and_fopdt_at_one_time_constant() -> None:
    assert list(PureDelay(3.0, 2.0).step([0.0, 1.9, 2.0, 9.0], 2.0)) == [0.0, 0.0, 6.0, 6.0]
    assert FOPDT(1.0, 4.0, 2.0).step([2.0, 6.0]) == pytest.approx([0.0, 1.0 - math.exp(-1.0)], abs=1e-15)


def test_two_point_times_of_the_step_response() -> None:
    """28.3 and 63.2 % times of K = 2, T = 10, L = 3 (C. L. Smith 1972): 6.32679438 and 12.99672341 s."""
    assert FOPDT(2.0, 10.0, 3.0).step([6.32679438, 12.99672341]) == pytest.approx([0.566, 1.264], abs=1e-8)


@pytest.mark.parametrize(("order", "L", "inverse_slope"), [(2, 0.281718, 2.718282), (3, 0.805472, 3.694528),
                                                           (4, 1.425436, 4.463453)])  # fmt: skip
def test_steepest_tangent_of_equal_lags(order: int, L: float, inverse_slope: float) -> None:
    """1/(s + 1)^n from its analytic point of inflection t = n - 1."""
    found = Chain(1.0, (1.0,) * order).tangent()
    assert (found.L, 1.0 / found.k) == pytest.approx((L, inverse_slope), abs=1e-6)


def test_models_from_identified_parameters() -> None:
    assert from_identified("sopdt", {"K": 1.0, "T1": 2.0, "T2": 5.0, "L": 1.0}) == SOPDT(1.0, 5.0, 2.0, 1.0)
    assert from_identified("integrating", {"k": 1.0, "L": 1.0}) == Integrating(1.0, 1.0, 0.0)
    with pytest.raises(TuningError, match="needs L too"):
        from_identified("fopdt", {"K": 1.0, "T": 2.0})
    with pytest.raises(TuningError, match="no parameter tau"):
        from_identified("fopdt", {"K": 1.0, "tau": 2.0})
    with pytest.raises(TuningError, match=", ".join(MODELS)):
        from_identified("arx", {})


@pytest.mark.parametrize(
    "make",
    [
        lambda: FOPDT(1.0, 0.0, 1.0),
        lambda: FOPDT(1.0, 1.0, -1.0),
        lambda: FOPDT(0.0, 1.0, 1.0),
        lambda: FOPDT(math.nan, 1.0, 1.0),
        lambda: SOPDT(1.0, 1.0, 2.0, 0.0),
        lambda: PureDelay(1.0, 0.0),
        lambda: Chain(1.0, (1.0,), (1.0, 2.0)),
        lambda: Chain(1.0, (-1.0,)),
        lambda: Chain(1.0, (1.0,), (0.0,)),
        lambda: FOPDT(1.0, 1.0, 1.0).tangent(),
    ],
)
def test_impossible_models_are_refused(make) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(TuningError):
        make()


# half rule and SIMC: S. Skogestad, J. Process Control 13 (2003) 291-309, table 4 ------------------------------------

E = {
    "E1": Chain(1.0, (1.0, 0.2)),
    "E2": Chain(1.0, (2.0, 1.0, 0.4, 0.2, 0.05, 0.05, 0.05), (-0.3, 0.08)),
    "E3": Chain(2.0, (20.0, 1.0, 0.1, 0.1), (15.0,)),
    "E4": Chain(1.0, (1.0, 1.0, 1.0, 1.0)),
    "E5": Chain(1.0, (1.0, 0.2, 0.04, 0.008)),
    "E6": Chain(1.0, (1.0, 1.0, 0.028), (0.17, 0.17), 0.0, 1),
    "E7": Chain(1.0, (1.0, 1.0, 1.0), (-2.0,)),
    "E8": Chain(1.0, (1.0, 1.0), (), 0.0, 1),
    "E9": Chain(1.0, (1.0, 1.0), (), 1.0),
    "E10": Chain(1.0, (20.0, 2.0), (), 1.0),
    "E11": Chain(1.0, (6.0, 2.0, 2.0), (-1.0,), 1.0),
    "E12": Chain(1.0, (10.0, 8.0, 1.0), (6.0, 3.0), 0.3),
    "E13": Chain(1.0, (10.0, 0.5), (2.0,), 1.0),
    "E14": Chain(1.0, (), (-1.0,), 0.0, 1),
    "E15": Chain(1.0, (1.0,), (-1.0,)),
}
INF = math.inf
TABLE = [  # case, kind, k, theta, tau1, tau2, Kc, tauI, tauD (series), Ms without derivative filter
    ("E1", "PI", 1.0, 0.1, 1.1, 0.0, 5.5, 0.8, 0.0, 1.5602),
    ("E2", "PI", 1.0, 1.47, 2.5, 0.0, 0.8503, 2.5, 0.0, 1.6616),
    ("E2", "PID", 1.0, 0.77, 2.0, 1.2, 1.2987, 2.0, 1.2, 1.7240),
    ("E3", "PI", 1.5, 0.15, 1.05, 0.0, 2.3333, 1.05, 0.0, 1.5503),
    ("E3", "PID", 1.5, 0.05, 1.0, 0.15, 6.6667, 0.4, 0.15, 1.4979),
    ("E4", "PI", 1.0, 2.5, 1.5, 0.0, 0.3, 1.5, 0.0, 1.4630),
    ("E4", "PID", 1.0, 1.5, 1.5, 1.0, 0.5, 1.5, 1.0, 1.4318),
    ("E5", "PI", 1.0, 0.148, 1.1, 0.0, 3.7162, 1.1, 0.0, 1.5926),
    ("E5", "PID", 1.0, 0.028, 1.0, 0.22, 17.857, 0.224, 0.22, 1.8274),
    ("E6", "PID", 1.0, 0.358, INF, 1.33, 1.3966, 2.864, 1.33, 1.2284),
    ("E7", "PI", 1.0, 3.5, 1.5, 0.0, 0.2143, 1.5, 0.0, 1.6604),
    ("E7", "PID", 1.0, 2.5, 1.5, 1.0, 0.3, 1.5, 1.0, 1.8515),
    ("E8", "PI", 1.0, 1.5, INF, 0.0, 0.3333, 12.0, 0.0, 1.7708),
    ("E8", "PID", 1.0, 0.5, INF, 1.5, 1.0, 4.0, 1.5, 1.6028),
    ("E9", "PI", 1.0, 1.5, 1.5, 0.0, 0.5, 1.5, 0.0, 1.6140),
    ("E9", "PID", 1.0, 1.0, 1.0, 1.0, 0.5, 1.0, 1.0, 1.5905),
    ("E10", "PI", 1.0, 2.0, 21.0, 0.0, 5.25, 16.0, 0.0, 1.7156),
    ("E10", "PID", 1.0, 1.0, 20.0, 2.0, 10.0, 8.0, 2.0, 1.6512),
    ("E11", "PI", 1.0, 5.0, 7.0, 0.0, 0.7, 7.0, 0.0, 1.6264),
    ("E11", "PID", 1.0, 3.0, 6.0, 3.0, 1.0, 6.0, 3.0, 1.6566),
    # E12 and E13: the paper's settings from memory
    ("E12", "PI", 0.225, 0.3, 1.0, 0.0, 7.41, 1.0, 0.0, None),
    ("E13", "PI", 0.625, 1.25, 4.5, 0.0, 2.88, 4.5, 0.0, None),
    ("E14", "PI", 1.0, 1.0, INF, 0.0, 0.5, 8.0, 0.0, 2.0),
    ("E15", "PI", 1.0, 1.0, 1.0, 0.0, 0.5, 1.0, 0.0, 2.0),
]


@pytest.mark.parametrize("row", TABLE, ids=lambda row: f"{row[0]}-{row[1]}")
def test_table_4_of_skogestad(row) -> None:  # type: ignore[no-untyped-def]
    """Half rule, settings (0.5 % for the paper's rounding) and Ms (recomputed; 0.01)."""
    case, kind, k, theta, tau1, tau2, Kc, tauI, tauD, Ms = row
    model = half_rule(E[case], 1 if kind == "PI" else 2).model
    if tau1 == INF:
        assert isinstance(model, Integrating)
        assert (model.k, model.L, model.T) == pytest.approx((k, theta, tau2), rel=1e-9)
    elif kind == "PI":
        assert isinstance(model, FOPDT)
        assert pytest.approx((k, theta, tau1), rel=1e-9) == (model.K, model.L, model.T)
    else:
        assert isinstance(model, SOPDT)
        assert pytest.approx((k, theta, tau1, tau2), rel=1e-9) == (model.K, model.L, model.T1, model.T2)
    found = rules.simc_series(model)
    assert (found.Kc, found.Ti, found.Td) == pytest.approx((Kc, tauI, tauD), rel=0.005)
    if Ms is not None:
        settings = rules.simc(E[case], kind=kind).with_filter(math.inf)
        assert margins(settings, E[case]).Ms == pytest.approx(Ms, abs=1e-4)


def test_e6_with_pi() -> None:
    """The paper's PI settings (0.296, 13.5) give Ms 1.48; its dead time is a misprint, the half rule gives 1.188."""
    assert margins(Settings(0.296, 13.5), E["E6"]).Ms == pytest.approx(1.48, abs=0.005)
    model = half_rule(E["E6"]).model
    assert isinstance(model, Integrating)
    assert pytest.approx(1.188, rel=1e-9) == model.L
    assert any("also agree" in text for text in half_rule(E["E6"]).notes)


def test_half_rule_counts_half_a_scan_and_keeps_short_models() -> None:
    found = half_rule(FOPDT(2.0, 10.0, 1.0), 1, scan=4.0)
    assert found.model == FOPDT(2.0, 10.0, 3.0)
    assert "2 s" in found.notes[0]
    assert half_rule(PureDelay(2.0, 3.0)).model == PureDelay(2.0, 3.0)
    assert half_rule(SecondOrder(1.0, 2.0, 1.25, 1.0), 2).model == SOPDT(1.0, 4.0, 1.0, 1.0)
    assert half_rule(DoubleIntegrating(0.1, 1.0), 2).model == DoubleIntegrating(0.1, 1.0)
    with pytest.raises(TuningError, match="swings"):
        half_rule(SecondOrder(1.0, 2.0, 0.5, 1.0))
    with pytest.raises(TuningError, match="order"):
        half_rule(PLANT, 3)


def test_simc_of_the_limiting_processes() -> None:
    """Skogestad 2003, table 1: integrating, pure delay and double integrating processes."""
    assert numbers(rules.simc(Integrating(0.2, 2.0), 2.0)) == pytest.approx((1.25, 16.0, 0.0), rel=1e-12)
    pure = rules.simc(PureDelay(2.0, 5.0))
    assert pure.kind == "I"
    assert pure.Ki == pytest.approx(1.0 / 20.0, rel=1e-12)
    double = rules.simc_series(DoubleIntegrating(0.1, 1.0), 1.0)
    assert (double.Kc, double.Ti, double.Td) == pytest.approx((0.625, 8.0, 8.0), rel=1e-12)
    assert margins(rules.simc(DoubleIntegrating(0.1, 1.0)), DoubleIntegrating(0.1, 1.0)).stable
    with pytest.raises(TuningError, match="choose one"):
        rules.simc(Integrating(1.0, 0.0))
    with pytest.raises(TuningError, match="half rule"):
        rules.simc(THIRD)
    assert any("little margin" in text for text in rules.simc(PLANT, 0.5).warnings)
    assert any("derivative" in text for text in rules.simc(SOPDT(1.0, 5.0, 0.5, 1.0)).warnings)


def test_improved_simc() -> None:
    """Grimholt and Skogestad 2012, 2018: T + L/3 in place of T; Td = L/3 in series form."""
    assert numbers(rules.improved_simc(FOPDT(1.0, 1.0, 3.0))) == pytest.approx((2.0 / 6.0, 2.0, 0.0), rel=1e-12)
    found = rules.improved_simc(FOPDT(1.0, 6.0, 3.0), "PID", 3.0)  # series 1, 6, 1
    assert numbers(found) == pytest.approx((7.0 / 6.0, 7.0, 6.0 / 7.0), rel=1e-12)
    # limit of no lag: the series PID (K/(Ti s)) (1 + Ti s)(1 + Td s) with Ti -> 0
    thin = rules.improved_simc(FOPDT(1.0, 1e-9, 3.0), "PID")
    assert numbers(rules.improved_simc(PureDelay(1.0, 3.0), "PID"))[:2] == pytest.approx((thin.Kc, thin.Ti), rel=1e-6)


# other rules --------------------------------------------------------------------------------------------------------


def test_ziegler_nichols_step_on_three_lags() -> None:
    """Astrom and Hagglund 1995: a = 0.218, L = 0.806; PID 5.50, 1.61, 0.403 (digits from the analytic tangent)."""
    tangent = THIRD.tangent()
    assert (tangent.L, tangent.k * tangent.L) == pytest.approx((0.8054719505, 0.2180175491), abs=1e-9)
    pid = numbers(rules.ziegler_nichols_step(tangent, "PID"))
    assert pid == pytest.approx((5.504144, 1.610944, 0.402736), abs=1e-6)
    assert pid == pytest.approx((5.50, 1.61, 0.403), abs=0.005)
    assert numbers(rules.ziegler_nichols_step(tangent))[:2] == pytest.approx((4.128108, 2.684907), abs=1e-6)


def test_ultimate_rules_on_three_lags() -> None:
    """Ku = 8, Pu = 2 pi/sqrt(3) exactly; Astrom and Hagglund 1995 print PID 4.8, 1.81, 0.45."""
    point = ultimate(THIRD)
    assert (point.Ku, point.Pu) == pytest.approx((8.0, 2.0 * math.pi / math.sqrt(3.0)), rel=1e-12)
    assert numbers(rules.ziegler_nichols_loop(point, "PID")) == pytest.approx((4.8, 1.813799, 0.453450), abs=1e-6)
    assert numbers(rules.ziegler_nichols_loop(point)) == pytest.approx((3.6, point.Pu / 1.2, 0.0), rel=1e-12)
    assert rules.ziegler_nichols_loop(point, "P").Kc == pytest.approx(4.0, rel=1e-12)
    assert numbers(rules.tyreus_luyben(point)) == pytest.approx((2.5, 7.980717, 0.0), abs=1e-6)
    assert numbers(rules.tyreus_luyben(point, "PID")) == pytest.approx((3.636364, 7.980717, 0.575809), abs=1e-6)


def test_ultimate_rule_on_a_swinging_process() -> None:
    """J. C. Kantor, CBE 30338, notebook 05.04: 0.2 e^-s/(s^2 + 1.5 s + 1) gives PID 5.97, 2.48, 0.621."""
    point = ultimate(SecondOrder(0.2, 1.0, 0.75, 1.0))
    assert (point.Ku, point.Pu) == pytest.approx((9.947708651, 4.968069984), rel=1e-9)
    found = numbers(rules.ziegler_nichols_loop(point, "PID"))
    assert found == pytest.approx((5.968625, 2.484035, 0.621009), abs=1e-6)
    assert found == pytest.approx((5.97, 2.48, 0.621), abs=0.005)


def test_itae_example_of_seborg() -> None:
    """Seborg, Edgar, Mellichamp, example 11.5: K 1.54, T 5.93, L 1.07 gives Kc 2.97, Ti 2.75."""
    found = rules.itae(FOPDT(1.54, 5.93, 1.07))
    assert (found.Kc, found.Ti) == pytest.approx((2.9719324064, 2.7459876152), rel=1e-9)
    found = rules.itae(FOPDT(1.0, 1.0, 1.0))
    assert (found.Kc, found.Ti) == pytest.approx((0.859, 1.4836795252), rel=1e-9)


@pytest.mark.parametrize(
    ("found", "expected"),
    [
        (rules.amigo(PLANT), (0.6027778, 7.7652174, 0.0)),
        (rules.amigo(PLANT, "PID"), (1.225, 5.8666667, 0.9433962)),
        (rules.ziegler_nichols_step(PLANT), (2.25, 6.6666667, 0.0)),
        (rules.ziegler_nichols_step(PLANT, "PID"), (3.0, 4.0, 1.0)),
        (rules.cohen_coon(PLANT, "P"), (2.6666667, INF, 0.0)),
        (rules.cohen_coon(PLANT), (2.2916667, 4.7076923, 0.0)),
        (rules.cohen_coon(PLANT, "PD"), (3.2083333, INF, 0.4955752)),
        (rules.cohen_coon(PLANT, "PID"), (3.4583333, 4.5479452, 0.7017544)),
        (rules.simc(PLANT), (1.25, 10.0, 0.0)),
        (rules.lambda_tuning(PLANT, 30.0), (0.15625, 10.0, 0.0)),
        (rules.imc(PLANT, "PID", 2.0), (1.8333333, 11.0, 0.9090909)),
        (rules.itae(PLANT), (2.0694592, 4.9663863, 0.0)),
        (rules.itae(PLANT, "PID"), (3.1151176, 3.6211628, 0.7681567)),
        (rules.itae(PLANT, "PI", "setpoint"), (1.2797471, 10.0300903, 0.0)),
        (rules.itae(PLANT, "PID", "setpoint"), (1.8950550, 13.0429112, 0.6905698)),
        (rules.ziegler_nichols_loop(LOOP, "PID"), (2.5507275, 3.7207614, 0.9301903)),
        (rules.tyreus_luyben(LOOP), (1.3285039, 16.3713500, 0.0)),
        (rules.tyreus_luyben(LOOP, "PID"), (1.9323693, 16.3713500, 1.1811941)),
        # Chien, Hrones and Reswick 1952 with a = 0.4
        (rules.chien_hrones_reswick(PLANT, "P"), (0.75, INF, 0.0)),
        (rules.chien_hrones_reswick(PLANT), (1.5, 8.0, 0.0)),
        (rules.chien_hrones_reswick(PLANT, "PID"), (2.375, 4.8, 0.84)),
        (rules.chien_hrones_reswick(PLANT, "PI", "load", 20), (1.75, 4.6, 0.0)),
        (rules.chien_hrones_reswick(PLANT, "PID", "load", 20), (3.0, 4.0, 0.84)),
        (rules.chien_hrones_reswick(PLANT, "PI", "setpoint"), (0.875, 12.0, 0.0)),
        (rules.chien_hrones_reswick(PLANT, "PID", "setpoint"), (1.5, 10.0, 1.0)),
        (rules.chien_hrones_reswick(PLANT, "PI", "setpoint", 20), (1.5, 10.0, 0.0)),
        (rules.chien_hrones_reswick(PLANT, "PID", "setpoint", 20), (2.375, 14.0, 0.94)),
        # Rivera, Morari and Skogestad 1986, lambda = 4
        (rules.imc(PLANT, "PI", 4.0), (1.25, 10.0, 0.0)),
        (rules.imc(PLANT, "improved PI", 4.0), (1.375, 11.0, 0.0)),
        # Chien and Fruehauf 1990: k = 0.2, L = 2, arrest time 5 and 10
        (rules.lambda_integrating(Integrating(0.2, 2.0), 5.0), (1.2244898, 12.0, 0.0)),
        (rules.lambda_integrating(Integrating(0.2, 2.0), 10.0), (0.7638889, 22.0, 0.0)),
        # AMIGO, integrating: 0.35/(k L), 13.4 L; 0.45/(k L), 8 L, L/2
        (rules.amigo(Integrating(0.2, 2.0)), (0.875, 26.8, 0.0)),
        (rules.amigo(Integrating(0.2, 2.0), "PID"), (1.125, 16.0, 1.0)),
    ],
    ids=lambda value: value.rule if isinstance(value, Settings) else "",
)
def test_rules_on_one_plant(found: Settings, expected: tuple[float, float, float]) -> None:
    """K = 2, T = 10, L = 2: the published formulas evaluated by hand; sources in the docstring of each rule."""
    assert numbers(found) == pytest.approx(expected, abs=1e-6)
    assert found.form == "ISA standard"
    assert found.source


def test_ultimate_point_of_the_one_plant() -> None:
    wu = optimize.brentq(lambda w: math.atan(10.0 * w) + 2.0 * w - math.pi, 0.1, 2.0, xtol=1e-15)
    point = ultimate(PLANT)
    assert (point.Ku, point.Pu) == pytest.approx((math.hypot(1.0, 10.0 * wu) / 2.0, 2.0 * math.pi / wu), rel=1e-12)
    assert (point.Ku, point.Pu) == pytest.approx((4.2512125, 7.4415227), abs=1e-7)


def test_amigo_tends_to_its_integrating_form() -> None:
    """T -> infinity with K/T = 0.2: 0.35/(k L), 13.35 L (rounded to 13.4 in print) and 0.45/(k L), 8 L, L/2."""
    slow = FOPDT(0.2e9, 1e9, 2.0)
    pi, pid = numbers(rules.amigo(slow)), numbers(rules.amigo(slow, "PID"))
    assert pi[:2] == pytest.approx((0.875, 26.7), rel=1e-6)
    assert pid == pytest.approx((1.125, 16.0, 1.0), rel=1e-6)
    assert (rules.amigo(FOPDT(1.0, 2.0, 1.0)).b, rules.amigo(FOPDT(1.0, 1.0, 2.0)).b) == (0.0, 1.0)


def test_cohen_coon_agrees_with_its_other_form() -> None:
    """In a and x = L/T the PI gain is 0.9/a (1 + 0.092 x) (Astrom and Hagglund 1995); 0.92 is a misprint."""
    for L in (1.0, 5.0, 10.0):
        model = FOPDT(2.0, 10.0, L)
        x = L / 10.0
        a = 2.0 * x
        assert rules.cohen_coon(model).Kc == pytest.approx(0.9 / a * (1.0 + 0.092 * x), rel=0.002)
        assert rules.cohen_coon(model, "PID").Kc == pytest.approx(1.35 / a * (1.0 + 0.18 * x), rel=0.02)


def test_gain_takes_the_sign_of_the_process() -> None:
    mirror = FOPDT(-2.0, 10.0, 2.0)
    for one, other in zip(rules.every_rule(PLANT), rules.every_rule(mirror), strict=True):
        assert one.rule == other.rule
        assert (other.Kc, other.Ti, other.Td) == pytest.approx((-one.Kc, one.Ti, one.Td), rel=1e-9)
        assert margins(other, mirror) == margins(one, PLANT)


def test_warnings_outside_the_range_of_a_rule() -> None:
    flat = FOPDT(1.0, 1.0, 5.0)
    for found in (rules.ziegler_nichols_step(flat), rules.cohen_coon(flat), rules.itae(flat)):
        assert any("0.1 to 1" in text for text in found.warnings)
    assert rules.ziegler_nichols_step(PLANT).warnings == ()
    assert rules.chien_hrones_reswick(flat).warnings
    assert rules.chien_hrones_reswick(FOPDT(1.0, 8.0, 1.0)).warnings == ()
    assert rules.imc(PLANT, "PID", 1.0).warnings
    assert rules.imc(PLANT, "PID").warnings == ()
    assert rules.lambda_tuning(PLANT, 1.0).warnings
    assert rules.lambda_tuning(PLANT, 10.0).warnings == ()


@pytest.mark.parametrize(
    "ask",
    [
        lambda: rules.ziegler_nichols_step(FOPDT(1.0, 1.0, 0.0)),
        lambda: rules.ziegler_nichols_step(PLANT, "PD"),
        lambda: rules.cohen_coon(FOPDT(1.0, 1.0, 4.0), "PD"),
        lambda: rules.chien_hrones_reswick(PLANT, "PI", "load", 10),
        lambda: rules.chien_hrones_reswick(Integrating(1.0, 1.0), "PI", "setpoint"),
        lambda: rules.itae(FOPDT(1.0, 1.0, 7.0), "PI", "setpoint"),
        lambda: rules.lambda_tuning(PLANT, 0.0),
        lambda: rules.imc(PLANT, "P"),
        lambda: rules.amigo(FOPDT(1.0, 1.0, 0.0)),
        lambda: rules.averaging_level(0.0, 1.0, 1.0),
        lambda: Ultimate(0.0, 1.0),
    ],
)
def test_questions_without_an_answer_are_refused(ask) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(TuningError):
        ask()


def test_every_rule_gives_a_table() -> None:
    names = [found.rule for found in rules.every_rule(PLANT)]
    assert len(names) == len(set(names)) == 29
    assert {"AMIGO PI", "SIMC PI", "Ziegler-Nichols ultimate PID", "lambda PI", "improved SIMC PID"} <= set(names)
    level = [found.rule for found in rules.every_rule(Integrating(-0.01, 60.0))]
    assert {"lambda integrating PI", "AMIGO PID", "SIMC PI", "Tyreus-Luyben PI"} <= set(level)
    assert "SIMC I" in [found.rule for found in rules.every_rule(PureDelay(1.0, 600.0))]
    scanned = {found.rule: found for found in rules.every_rule(PLANT, scan=2.0)}
    assert numbers(scanned["SIMC PI"]) == pytest.approx(numbers(rules.simc(FOPDT(2.0, 10.0, 3.0))), rel=1e-12)


# averaging level ----------------------------------------------------------------------------------------------------


def test_averaging_level_keeps_its_promise() -> None:
    """Marlin, Process Control, ch. 18: 0.736 dF/dL. The level after the step from scipy.signal touches dL."""
    area, step, allowed = 50.0, 0.02, 0.8
    found = rules.averaging_level(area, step, allowed)
    assert found.Kc == pytest.approx(-0.736 * step / allowed, rel=1e-3)
    assert found.Kc == pytest.approx(-2.0 / math.e * step / allowed, rel=1e-12)
    Kc = -found.Kc
    t = np.linspace(0.0, 8.0 * area / Kc, 4001)
    # level = (dF/A) s/(s^2 + Kc/A s + Kc/(A Ti)) . 1/s
    _, level = signal.impulse(([step / area], [1.0, Kc / area, Kc / (area * found.Ti)]), T=t)
    assert level.max() == pytest.approx(allowed, rel=1e-5)
    assert t[int(level.argmax())] == pytest.approx(2.0 * area / Kc, rel=2e-3)
    assert margins(found, rules.level_process(area)).stable
    assert not margins(found, rules.level_process(area, outflow=False)).stable
    alone = rules.averaging_level(area, step, allowed, "P", outflow=False)
    assert (alone.Kc, alone.Ti) == (step / allowed, math.inf)


def test_smoothest_level_control() -> None:
    """Skogestad 2006: |Kc| = |du|/|dy|, Ti = 4/(k Kc): the closed loop is critically damped."""
    model = Integrating(-0.02, 1.0)
    found = rules.smooth_level(model, 0.5, -0.8)
    assert (found.Kc, found.Ti) == pytest.approx((-0.625, 320.0), rel=1e-12)
    a, b = np.roots([1.0, found.Kc * model.k, found.Kc * model.k / found.Ti])
    assert a == pytest.approx(b, rel=1e-6)
    assert found.warnings == ()
    assert rules.smooth_level(Integrating(-0.02, 100.0), 0.5, 0.8).warnings
