"""Conversions between controller forms against the algebra of polynomials and printed pairs."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plantsim.analysis.tuning import forms, rules
from plantsim.analysis.tuning.forms import Parallel, Series, Standard
from plantsim.analysis.tuning.models import FOPDT, PureDelay, TuningError
from plantsim.analysis.tuning.rules import Settings


def test_printed_pair() -> None:
    """Series 2, 8, 2 is standard 2.5, 10, 1.6 (formulas: Astrom and Hagglund 1995, ch. 3)."""
    assert forms.series_to_standard(Series(2.0, 8.0, 2.0)) == Standard(2.5, 10.0, 1.6)
    back = forms.standard_to_series(Standard(2.5, 10.0, 1.6))
    assert (back.Kc, back.Ti, back.Td) == pytest.approx((2.0, 8.0, 2.0), rel=1e-12)
    assert forms.standard_to_parallel(Standard(2.5, 10.0, 1.6)) == Parallel(2.5, 0.25, 4.0)
    assert forms.parallel_to_standard(Parallel(2.5, 0.25, 4.0)) == Standard(2.5, 10.0, 1.6)


positive = st.floats(1e-3, 1e4)


@settings(max_examples=100, deadline=None)
@given(st.floats(-50.0, 50.0).filter(lambda value: abs(value) > 1e-3), positive, positive)
def test_all_forms_are_the_same_controller(gain: float, Ti: float, Td: float) -> None:
    """The numerator polynomials of all three forms are equal."""
    series = np.polymul([Ti, 1.0], [Td, 1.0]) * gain / Ti
    q = forms.series_to_standard(Series(gain, Ti, Td))
    standard = np.array([q.Ti * q.Td, q.Ti, 1.0]) * q.Kc / q.Ti
    p = forms.standard_to_parallel(q)
    assert standard == pytest.approx(series, rel=1e-12)
    assert [p.Kd, p.Kp, p.Ki] == pytest.approx(series, rel=1e-12)
    back = forms.standard_to_series(q)
    # the two zeros change places when Td' > Ti': sort them; near a double zero digits are lost as the root is
    assert sorted((back.Ti, back.Td)) == pytest.approx(sorted((Ti, Td)), rel=1e-6)
    assert back.Kc / back.Ti == pytest.approx(gain / Ti, rel=1e-12)


def test_series_form_does_not_always_exist() -> None:
    with pytest.raises(TuningError, match="below four times"):
        forms.standard_to_series(Standard(1.0, 10.0, 2.6))
    # Ziegler-Nichols PID has Ti = 4 Td exactly: it exists, with two equal times
    found = forms.series(rules.ziegler_nichols_loop(rules.Ultimate(8.0, 3.627598728), "PID"))
    assert (found.Kc, found.Ti, found.Td) == pytest.approx((2.4, 0.906899682, 0.906899682), rel=1e-4)
    amigo = rules.amigo(FOPDT(1.0, 1.0, 10.0), "PID")  # Ti 4.36, Td 1.25
    with pytest.raises(TuningError, match="standard form"):
        forms.series(amigo)


def test_parts_switched_off() -> None:
    assert forms.standard_to_series(Standard(3.0, 5.0)) == Series(3.0, 5.0, 0.0)
    assert forms.standard_to_series(Standard(3.0, math.inf, 2.0)) == Series(3.0, math.inf, 2.0)
    assert forms.series_to_standard(Series(3.0, math.inf, 2.0)) == Standard(3.0, math.inf, 2.0)
    assert forms.standard_to_parallel(Standard(3.0)) == Parallel(3.0, 0.0, 0.0)
    assert forms.parallel_to_standard(Parallel(3.0)) == Standard(3.0)
    pure = rules.simc(PureDelay(2.0, 5.0))
    assert forms.parallel(pure) == Parallel(0.0, 0.05, 0.0)
    with pytest.raises(TuningError, match="pure integral"):
        forms.standard(pure)
    with pytest.raises(TuningError, match="Without a proportional"):
        forms.parallel_to_standard(Parallel(0.0, 0.05))
    with pytest.raises(TuningError, match="different sign"):
        forms.parallel_to_standard(Parallel(1.0, -0.05))


def test_bands_spans_and_times() -> None:
    """PB = 100/Kc in percent by percent; a time in min is a sixtieth of that in s (definitions)."""
    assert forms.proportional_band(2.0) == 50.0
    assert forms.gain_from_band(forms.proportional_band(-0.8)) == pytest.approx(0.8, rel=1e-15)
    assert forms.percent_gain(-0.4, 100.0, 20.0) == -2.0
    assert forms.minutes(90.0) == 1.5
    assert forms.seconds(1.5) == 90.0
    assert forms.repeats_per_minute(30.0) == 2.0
    assert forms.repeats_per_minute(math.inf) == 0.0
    for ask in (
        lambda: forms.proportional_band(0.0),
        lambda: forms.gain_from_band(0.0),
        lambda: forms.percent_gain(1.0, 0.0, 1.0),
        lambda: forms.repeats_per_minute(0.0),
    ):
        with pytest.raises(TuningError):
            ask()


def sheet(lines: list[forms.Entry]) -> dict[str, tuple[float, str]]:
    return {line.name: (line.value, line.unit) for line in lines}


def test_lines_to_enter() -> None:
    given = Settings(-2.5, 600.0, 96.0, N=8.0)
    plain = sheet(forms.entries(given))
    assert plain == {
        "action: direct": (-1.0, "sign"),
        "gain": (2.5, "input-unit/output-unit"),
        "integral time": (600.0, "s"),
        "derivative time": (96.0, "s"),
        "derivative filter time": (12.0, "s"),
    }
    band = sheet(forms.entries(given, "series", "min", (100.0, 50.0), band=True))
    # series of 2.5, 600, 96: q = 0.6, so 2, 480, 120; in percent 4, so 25 %
    assert band["proportional band"] == (pytest.approx(25.0), "%")
    assert band["integral time"] == (pytest.approx(8.0), "min")
    assert band["derivative time"] == (pytest.approx(2.0), "min")
    gains = sheet(forms.entries(given, "parallel", "min"))
    # 2.5/600 a second is 0.25 a minute; 240 s is 4 min
    assert gains["integral gain"][0] == pytest.approx(0.25)
    assert gains["derivative gain"][0] == pytest.approx(4.0)
    assert "integral time" not in sheet(forms.entries(Settings(1.0)))
    assert "action: reverse" in sheet(forms.entries(rules.simc(PureDelay(2.0, 5.0)), "parallel"))
    for wrong in ({"form": "ideal"}, {"time_unit": "h"}, {"band": True}):
        with pytest.raises(TuningError):
            forms.entries(given, **wrong)  # type: ignore[arg-type]
