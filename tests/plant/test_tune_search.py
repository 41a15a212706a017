"""What an optimiser may turn, the dead-time compensation and the conditions of a loop, as a plant file says them."""

from __future__ import annotations

from pathlib import Path

import pytest

from plantsim.errors import ConfigError
from plantsim.plant.build import load_model

FILE = str(Path(__file__).resolve().parents[2] / "configs" / "gravel-pit.yaml")
TUNE = "loops.AIC-201.tune"


def test_ranges_are_read_in_the_units_of_the_program():
    tune = load_model(FILE, [f"{TUNE}.search.model_lag=5 min .. 0.5 h"]).loops["AIC-201"].tune
    assert tune is not None
    assert tune.search["model_lag"] == (300.0, 1800.0) and tune.search["dose_low"] == (0.0, 38.0)
    assert set(tune.conditions) == {"cold", "clay", "little-clay"}
    assert tune.conditions["clay"] == ("units.wash-plant.clay=35 %",)


def test_compensation_is_read_as_laws():
    """60 NTU for a trim of 30 % of a dose of 40 g/m3, which is 12 g/m3: -5 NTU per g/m3; 110 m3 at 220 m3/h: 0.5 h."""
    tune = load_model(FILE).loops["AIC-201"].tune
    assert tune is not None and tune.predictor is not None
    values = {"model_fall": 60.0, "trim_limit": 30.0, "dose": 40.0, "line_volume": 110.0, "flow": 220.0}
    assert tune.predictor.gain.value(values) == pytest.approx(-5.0)
    assert tune.predictor.delay.value(values) == pytest.approx(1800.0)
    assert {"smith", "model_lag", "line_volume"} <= set(tune.variables)


@pytest.mark.parametrize(
    ("override", "said"),
    [("search.model_fal=1 NTU .. 2 NTU", "did you mean 'model_fall'?"),
     ("search.turbidity=1 NTU .. 2 NTU", "'turbidity', which cannot be turned"),
     ("search.smith=on .. off", "'smith', which cannot be turned"),
     ("search.model_fall=60 NTU", "search.model_fall: "),
     ("search.model_fall=60 NTU .. 20 NTU", "LOW .. HIGH, the lower first"),
     ("search.model_fall=60 NTU .. 20 m", "search.model_fall: "),
     ("predictor.gain=model_fal / 2", "predictor.gain: found 'model_fal'"),
     ("predictor.lag=model_lag +", "predictor.lag: "),
     ("predictor.on=smit", "predictor.on: found 'smit'"),
     ("conditions.cold=[winter]", "KEY=VALUE, as --set takes it")],
)  # fmt: skip
def test_what_does_not_fit_is_a_finding(override, said):
    with pytest.raises(ConfigError) as caught:
        load_model(FILE, [f"{TUNE}.{override}"])
    findings = "\n".join(caught.value.findings)
    assert said in findings and f"{TUNE}.{override.partition('=')[0]}" in findings.replace("[0]", "").replace(".0", "")
