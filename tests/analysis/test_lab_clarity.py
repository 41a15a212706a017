"""Clarity against polymer dose: known parameters come back, signs are those of published tests, refusals say why."""

import numpy as np
import pytest

from plantsim.analysis.lab.clarity_fit import fit_clarity
from plantsim.analysis.lab.data import DoseSeries, Lab
from plantsim.analysis.lab.fits import fit_all
from plantsim.analysis.lab.regression import FitRefused
from plantsim.analysis.lab.sheets import fit_sheets
from plantsim.analysis.lab.water_file import make_water

AT = (0, 15, 30, 45, 60, 80, 100)


def series(at=AT, optimum=55.0, strength=3.0, top=900.0, noise=0.0, seed=0):
    d = np.array(at, float)
    theta = np.minimum(1.0, 0.5 * d / optimum)
    n = top * np.exp(-strength * 4.0 * theta * (1.0 - theta))
    if noise:
        n = n * np.exp(np.random.default_rng(seed).normal(0.0, noise, len(d)))
    return DoseSeries("c", "lab:3", np.zeros(0), np.zeros(0), 1e-6 * d, n, 40.0)


def test_known_parameters_come_back():
    fit = fit_clarity(series())
    assert fit.value("optimum") == pytest.approx(55e-6, rel=1e-4)
    assert fit.value("strength") == pytest.approx(3.0, rel=1e-4)
    assert fit.value("N0") == pytest.approx(900.0, rel=1e-4)


def test_intervals_hold_the_truth_as_often_as_they_say():
    held = 0
    for seed in range(30):
        best = fit_clarity(series(noise=0.08, seed=seed))["optimum"]
        held += best.low <= 55e-6 <= best.high
    assert held >= 25  # 95 % of 30 is 28.5; 25 or fewer comes by chance in under 1 of 100 (binomial)


def test_turbidity_falls_and_rises_again_with_dose():
    # Bridging has its best at half coverage and overdose gives the particles back: La Mer and Healy (1963), from memory
    fit = fit_clarity(series(noise=0.05, seed=1))
    left = fit.predict(1e-6 * np.array([0.0, 55.0, 110.0, 200.0]))
    assert left[0] > 10.0 * left[1] and left[2] > 10.0 * left[1]
    assert left[3] == pytest.approx(left[0], rel=1e-9), "a covered particle does not bridge"


@pytest.mark.parametrize("test, words", [
    (series(at=(0, 10, 20, 30, 45)), "does not rise again up to 45 g/t.*cylinders at 67.5 and 90 g/t"),
    (series(at=(60, 70, 80, 90, 100)), "never falls"),
    (series(at=(0, 40, 60, 90)), "4 doses cannot carry"),
    (DoseSeries("r", "r", np.ones(5), np.ones(5), np.zeros(0), np.zeros(0)), "it has no turbidity"),
    (series(top=0.0), "reads 0 NTU"),
])  # fmt: skip
def test_refusals(test, words):
    with pytest.raises(FitRefused, match=words):
        fit_clarity(test)


def test_scatter_is_refused():
    d = 1e-6 * np.array([0.0, 20.0, 40.0, 60.0, 80.0, 100.0])
    n = np.array([400.0, 90.0, 500.0, 60.0, 420.0, 300.0])
    with pytest.raises(FitRefused, match=r"known within a factor|leave"):
        fit_clarity(DoseSeries("s", "s", np.zeros(0), np.zeros(0), d, n))


def test_it_is_drawn_with_its_band_and_stands_for_the_best_dose_without_rates():
    fits = fit_all(Lab("lab", dose_series=(series(noise=0.05, seed=2),)))
    (sheet, left) = fit_sheets(fits)
    assert sheet.title == "Laboratory: clarity against polymer dose"
    by_name = {line.name: np.array(line.y) for line in sheet.plots[0].lines}
    assert np.all(by_name["95 % band, lower"] <= by_name["law"])
    assert np.all(by_name["law"] <= by_name["95 % band, upper"])
    water = make_water(fits)
    assert [value.key for value in water.values].count("polymer_optimum") == 1 and "clearest water" in water.text()
    assert not left.results
