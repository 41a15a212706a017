"""Upsets of mud cells and of rain against sums by hand: area, rain, leak and pump flow give the levels."""

from __future__ import annotations

import numpy as np
import pytest
from upset_bench import run


def _at(name: str, how: str, channel: str, minutes: float) -> float:
    one = run(name, "gravel-pit", how)
    row = int(np.searchsorted(one.record.time - one.cause, minutes * 60.0 - 1e-6))
    return float(one.record.series[channel].values[row])


def test_rain_on_the_yard_raises_the_sump_as_area_times_rain_says():
    """40 mm/h on 1 ha are 400 m3/h, all of it run-off; on the sump's 24 m2 that is 0.278 m a minute.

    For the first minute the pumps have hardly answered: their flow is taken off.
    """
    rise = _at("rain-storm", "missed", "sump.level", 1) - _at("rain-storm", "calm", "sump.level", 1)
    pumped = (_at("rain-storm", "missed", "sump-line.flow", 1) - _at("rain-storm", "calm", "sump-line.flow", 1)) / 60.0
    by_hand = 0.040 * 1e4 / 60.0 / 24.0
    assert by_hand - pumped / 24.0 <= rise <= by_hand


def test_rain_stands_on_a_cell_until_its_weir_has_let_it_off():
    """10 mm have fallen after 15 min; no more can stand there, and the weir needs many hours for it."""
    stands = _at("rain-storm", "missed", "cell-4.height", 15) - _at("rain-storm", "calm", "cell-4.height", 15)
    assert 0.009 < stands < 0.0101


def test_what_a_wall_loses_is_missing_in_its_cell():
    """The leak grows evenly to 100 m3/h in 1.5 h: after one hour 100 / 1.5 / 2 = 33.3 m3 are lost.

    They are missing in the cell, but for what the weir let off less of the pond.
    """
    times = run("cell-wall-leak", "gravel-pit", "calm").record.time
    cause = run("cell-wall-leak", "gravel-pit", "calm").cause
    hour = (times >= cause) & (times <= cause + 3600.0)
    weir = [np.trapezoid(run("cell-wall-leak", "gravel-pit", how).record.series["cells.decant_flow"].values[hour],
                         times[hour] / 3600.0) for how in ("calm", "missed")]  # fmt: skip
    missing = 3000.0 * (_at("cell-wall-leak", "calm", "cell-1.height", 60)
                        - _at("cell-wall-leak", "missed", "cell-1.height", 60))  # fmt: skip
    assert missing + (weir[0] - weir[1]) == pytest.approx(100.0 / 1.5 / 2.0, rel=0.05)


def test_a_small_bay_is_full_when_the_pump_has_filled_it():
    """What was pumped into the bay, less what its weir gave back, stands on its 80 m2."""
    pumped = _at("cell-full", "missed", "mud-line.pumped", 90) - _at("cell-full", "missed", "mud-line.pumped", 1)
    rise = 80.0 * (_at("cell-full", "missed", "cell-2.height", 90) - _at("cell-full", "missed", "cell-2.height", 1))
    assert 0.97 * pumped < rise <= 1.005 * pumped
