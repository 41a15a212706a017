"""One whole run by the command: every kind of unit, the compiled kernel, the files it leaves."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import xarray

from plantsim.analysis.closure import PROMISE
from plantsim.cli.main import main
from plantsim.store.folder import find_run, read_run

SMALL = Path(__file__).resolve().parent / "small.yaml"
HOURS = 6.0


@pytest.fixture(scope="module")
def finished(tmp_path_factory):
    """Folder of a finished run of one of every kind of unit."""
    out = tmp_path_factory.mktemp("runs")
    assert main(["run", str(SMALL), "--until", f"{HOURS:g} h", "--no-page", "--out", str(out)]) == 0
    return find_run("last", out)


def test_every_balance_closes(finished):
    head = json.loads((finished / "run.json").read_text())
    assert set(head["closure"]) == {"water", "coarse", "fines", "colloid", "coagulant", "polymer"}
    for name, row in head["closure"].items():
        assert row["in"] > 0.0, name
        assert row["gap"] < PROMISE, name


def test_balance_rows_add_up_to_the_closure(finished):
    data = read_run(finished)
    for way, rows in (("in", ("feed", "supply", "chemical", "rain")),
                      ("out", ("spill", "discharge", "evaporation", "product", "dug", "cake", "seep"))):  # fmt: skip
        for material, closed in data.closure.items():
            total = sum(data.balance[row][material] for row in rows)
            assert total == pytest.approx(closed[way], rel=1e-12, abs=1e-12), (material, way)


def test_figures_agree_with_the_recorded_series(finished):
    """Counters and series are written by different hands: what one sums up the other shows."""
    data = read_run(finished)

    def rise(name: str) -> float:
        values = data.series[name].values
        return float(values[-1] - values[0])

    figures = {name: figure.value for name, figure in data.figures.items()}
    assert figures["well.volume"] == pytest.approx(10.0 * HOURS, rel=1e-9)
    assert figures["wash.washed"] == pytest.approx(rise("wash.washed"), rel=1e-6)
    assert figures["rising.delivered"] == pytest.approx(rise("rising.pumped"), rel=1e-6)
    assert figures["P-101.energy"] == pytest.approx(rise("P-101.energy"), rel=1e-6)
    assert figures["clarifier.mud"] == pytest.approx(rise("clarifier.under_volume"), rel=1e-6)
    # wash water by the ratio of the plant file: 1.75 m3 for each tonne, 60 t in an hour of washing
    assert figures["plant.water_used"] == pytest.approx(1.75 * figures["wash.washed"], rel=1e-9)
    assert 0.0 < figures["wash.run_time"] <= HOURS
    shown = sum(stop - start for start, stop in data.running) / 3600.0
    assert shown == pytest.approx(figures["wash.run_time"], abs=0.02)


def test_the_files_open_with_other_tools(finished):
    with xarray.open_dataset(finished / "series.nc", engine="scipy") as data:
        assert data.sizes["time"] == HOURS * 360 + 1
        assert data["sump.level"].attrs["units"] == "m"
        assert data["rising.flow"].attrs["units"] == "m3/h"
        assert data["clarifier.profile"].shape == (HOURS * 360 + 1, 20)
        assert all("units" in data[name].attrs and data[name].attrs["long_name"] for name in data.data_vars)
        assert np.isfinite(data["clarifier.profile"].values).all()
