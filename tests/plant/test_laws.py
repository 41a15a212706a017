"""Laws of controllers in a plant file: arithmetic worked out by hand, and what is refused."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from plantsim.errors import ConfigError
from plantsim.plant.build import load_model
from plantsim.plant.laws import read_law
from plantsim.units import QuantityError

FILE = Path(__file__).resolve().parents[2] / "configs" / "gravel-pit.yaml"
TRIM = "trim_limit / trim_band * dose / 100 * limit(gain_low, gain_low + (1 - gain_low) * (2 * flow / 350 - 1), 1)"


def test_a_law_is_worked_out_as_by_hand():
    # 30 % of 40 g/m3 is 12 g/m3, over 150 NTU 0.08; at three quarters of 350 m3/h the gain is 0.6 + 0.4 x 0.5 = 0.8
    values = dict(trim_limit=30.0, trim_band=150.0, dose=40.0, gain_low=0.6)
    law = read_law(TRIM)
    assert law.value({**values, "flow": 350.0}) == pytest.approx(0.08)
    assert law.value({**values, "flow": 262.5}) == pytest.approx(0.08 * 0.8)
    assert law.value({**values, "flow": 60.0}) == pytest.approx(0.08 * 0.6)
    assert law.names == {"trim_limit", "trim_band", "dose", "gain_low", "flow"}


@given(st.floats(1e-4, 1e4), st.floats(1e-3, 1e3), st.floats(1e-3, 1e3))
def test_a_law_solved_gives_back_what_was_asked(wanted, begin, other):
    for text in ("other / x", "x * other", "(2 - 1) * x", "other / (x * 3)"):
        law = read_law(text)
        x = law.solve("x", wanted, {"x": begin, "other": other})
        assert law.value({"x": x, "other": other}) == pytest.approx(wanted, rel=1e-6)


def test_a_law_that_is_no_power_is_solved_too():
    law = read_law("10 / (x + 1) + 0.001")
    assert law.solve("x", 4.001, {"x": 3.0}) == pytest.approx(1.5)
    with pytest.raises(QuantityError, match="what some value of x gives"):
        law.solve("x", 20.0, {"x": 3.0})


@pytest.mark.parametrize(
    "text, words",
    [
        ("trim_limit ** 2", "numbers, variables"), ("__import__('os')", "__import__"), ("dose.real", "numbers"),
        ("maximum(a, b)", "did you mean 'max'"), ("limit(a, b)", "found 2 values in limit"), ("1 + 2", "no variable"),
        ("a if b else c", "numbers"), ("a +", "numbers"), ("max(*a, b)", "numbers"), ("a" * 500, "400 characters"),
    ],
)  # fmt: skip
def test_what_is_no_law_is_refused(text, words):
    with pytest.raises(QuantityError, match=words.replace("(", r"\(").replace("*", r"\*")):
        read_law(text)


def test_a_division_by_nothing_is_no_number():
    assert read_law("a / b").value({"a": 1.0, "b": 0.0}) != read_law("a / b").value({"a": 1.0, "b": 0.0})


@pytest.mark.parametrize(
    "slip, words",
    [
        ("tune.gain.by=flow", "which is no parameter; allowed: an input of the program that no tag is tied to"),
        ("tune.gain.by=reset_time", "'reset_time', which is not in its law"),
        ("tune.integral.is=reset_tme", "'reset_time', which is not in its law; allowed: reset_tme"),
        ("tune.gain.is=trim_lmit / trim_band", "found 'trim_lmit'; allowed: a variable of program coagulant_dose "
                                               "(did you mean 'trim_limit'?)"),
        ("tune.setpoint=set_point", "did you mean 'setpoint'"),
        ("tune.program=coagulant", "allowed: a shipped program (did you mean 'coagulant-dose'?)"),
        ("tune.choices.smith.smith=perhaps", "found 'perhaps'; allowed: on, off, yes, no"),
        ("tune.cases.load.acts=[]", "at least 1 item"),
        ("tune.travel=SC-999", "SC-999"),
    ],
)  # fmt: skip
def test_a_slip_in_the_tune_part_is_a_finding_at_its_line(slip, words):
    with pytest.raises(ConfigError) as error:
        load_model(FILE, [f"loops.AIC-201.{slip}"])
    assert any(words in line and "loops.AIC-201.tune" in line for line in error.value.findings), error.value.findings


def test_laws_for_another_program_wait_for_it():
    loop = load_model(FILE, ["control.coagulant-dosing.program=polymer-dose", "control.coagulant-dosing.set={}",
                             "control.coagulant-dosing.connect={flow: FT-102}", "loops.AIC-201.hold={}",
                             "loops.AIC-201.moves=SC-111", "loops.AIC-201.low=5"]).loops["AIC-201"]  # fmt: skip
    assert loop.tune is not None and not loop.tune.ready


@pytest.mark.parametrize(
    "site, loops",
    [("gravel-pit", {"AIC-201": True, "LIC-201": False, "LIC-101": True}), ("small-sand", {"AIC-201": True}),
     ("high-lift", {"AIC-201": True})],
)  # fmt: skip
def test_the_sites_say_how_their_loops_are_tuned(site, loops):
    # the bed of the gravel pit is worked in batches by density: its controller is that of another strategy
    found = load_model(FILE.with_name(f"{site}.yaml")).loops
    assert {name: loop.tune.ready for name, loop in found.items()} == loops
    for loop in found.values():
        assert {case.name for case in loop.tune.cases} == {"set-point", "load", "surge", "clay", "restart"}
