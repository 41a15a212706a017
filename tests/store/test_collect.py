"""From a simulation to the data of a run, without the kernel: time is moved by hand."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from plantsim import records
from plantsim.arena import Arena
from plantsim.plant.model import Channel, Limit, Model
from plantsim.plant.plans import Plans
from plantsim.sim.alarms import AlarmNote
from plantsim.sim.recorder import Recorder
from plantsim.sim.simulation import Note, SavePoint
from plantsim.store.collect import factors, from_simulation

LAYERS = 3


class ByHand:
    """What a simulation shows of itself, without a kernel behind it."""

    def __init__(self, model: Model, seed: int) -> None:
        self.model, self.seed = model, seed
        self.recorder = Recorder(model)
        self.journal: list[Note] = []
        self.alarm_log: list[AlarmNote] = []

    @property
    def seconds(self) -> float:
        return int(self.model.arena.clock["tick"][0]) * self.model.step

    def save(self) -> SavePoint:
        return SavePoint(int(self.model.arena.clock["tick"][0]), 1, self.model.arena.save())


def simulation() -> ByHand:
    """A source that feeds a clarifier, run for 40 steps of half a second by writing its memory."""
    a = Arena({"source_p": 1, "source_s": 1, "clarifier_p": 1, "clarifier_s": 1, "layers": records.NS * LAYERS,
               "tables": LAYERS, "tags": 1})  # fmt: skip
    a.material["solids_density"] = 2650.0
    a.source_p["series"] = -1
    a.clarifier_p["layers"], a.clarifier_p["height"] = LAYERS, 0.5
    a.tables[:] = 2.0
    a.clarifier_s["top_volume"] = 2.0
    cells = [("wash.running", a.cell("source_s", 0, "running"), True, "-", "-"),
             ("wash.flow", a.cell("source_s", 0, "flow"), False, "m3/s", "m3/h"),
             ("clarifier.temperature", a.cell("clarifier_s", 0, "temperature"), False, "degC", "degC"),
             ("clarifier.torque", a.cell("clarifier_s", 0, "torque"), False, "-", "%"),
             ("FIT-101", a.cell("tags", 0), False, "m3/h", "m3/h")]  # fmt: skip
    cells += [(f"clarifier.profile.{k}", a.cell("layers", k), False, "kg/m3", "g/L") for k in range(LAYERS)]
    channels = [Channel(name, cell, integer, si, unit, "words") for name, cell, integer, si, unit in cells]
    model = Model("Pit (invented)", a, np.zeros((1, 4), np.int32), dt.datetime(2027, 4, 5), 0.5,
                  {"wash": ("source", 0), "clarifier": ("clarifier", 0)}, {}, channels, Plans(),
                  limits=[Limit("clarifier.torque", 80.0, "trip", "limit")], record_every=10, resolved="a: 1\n",
                  source_file="pit.yaml", warnings=["A word of the configuration."])  # fmt: skip
    return ByHand(model, seed=5)


def run_by_hand(sim: ByHand) -> None:
    a = sim.model.arena
    sim.recorder.reserve(40)
    rows, cells, integer, every = sim.recorder.target()
    for row in range(5):
        a.source_s["running"], a.source_s["flow"] = int(row in (1, 2, 4)), 0.1 * row
        a.clarifier_s["temperature"], a.clarifier_s["torque"] = 10.0 + row, 0.1 * row
        a.tags[0] = 7.0
        a.layers[:LAYERS] = (row, 10.0 * row, 100.0 * row)
        whole = a.mem.view(np.int64)
        rows[row] = [whole[c] if i else a.mem[c] for c, i in zip(cells, integer)]
    a.clock["tick"] = 4 * every
    a.clock["warned"] = records.WARN_SLOW | records.WARN_CELL
    sim.journal.append(Note(6, "shift", "wash starts"))


def test_a_run_is_collected():
    sim = simulation()
    opening = sim.save()
    run_by_hand(sim)
    data = from_simulation(sim, opening, "pit-1")
    assert (data.run, data.title, data.source_file, data.seed) == ("pit-1", "Pit (invented)", "pit.yaml", 5)
    assert (data.step, data.seconds, data.unfinished, data.resolved) == (0.5, 20.0, False, "a: 1\n")
    np.testing.assert_array_equal(data.time, [0.0, 5.0, 10.0, 15.0, 20.0])
    assert data.journal == [(3.0, "shift", "wash starts")]
    assert data.running == [(0.0, 10.0), (15.0, 20.0)]
    assert data.limits[0].value == 80.0
    assert data.created.tzinfo is not None
    assert set(data.versions) >= {"python", "numpy", "numba", "scipy", "simpy", "plantsim"}


def test_series_are_in_their_shown_units_and_profiles_apart():
    sim = simulation()
    opening = sim.save()
    run_by_hand(sim)
    data = from_simulation(sim, opening)
    np.testing.assert_allclose(data.series["wash.flow"].values, 360.0 * np.arange(5))
    np.testing.assert_array_equal(data.series["clarifier.temperature"].values, 10.0 + np.arange(5))
    np.testing.assert_allclose(data.series["clarifier.torque"].values, 10.0 * np.arange(5))
    assert data.series["clarifier.torque"].unit == "%"
    assert data.series["wash.running"].unit == "1"
    np.testing.assert_array_equal(data.series["wash.running"].values, [0, 1, 1, 0, 1])
    np.testing.assert_array_equal(data.series["FIT-101"].values, 7.0)
    assert not [name for name in data.series if "profile" in name]
    profile = data.profiles["clarifier"]
    np.testing.assert_allclose(profile.heights, [1.25, 0.75, 0.25])
    np.testing.assert_array_equal(profile.values[3], [3.0, 30.0, 300.0])


def test_warnings_are_sentences_of_the_configuration_and_the_run():
    sim = simulation()
    opening = sim.save()
    run_by_hand(sim)
    warnings = from_simulation(sim, opening).warnings
    assert warnings[0] == "A word of the configuration."
    assert len(warnings) == 3
    assert "limit velocity" in warnings[1]
    assert "over its wall" in warnings[2]
    assert all(words.endswith(".") for words in warnings)


def test_balances_are_counted_from_the_opening():
    sim = simulation()
    a = sim.model.arena
    a.ledger[records.IN_SUPPLY, records.VOLUME] = 5.0
    opening = sim.save()
    run_by_hand(sim)
    a.ledger[records.IN_SUPPLY, records.VOLUME] += 1.5
    a.clarifier_s["top_volume"] += 1.5
    data = from_simulation(sim, opening)
    assert data.closure["water"]["in"] == 1.5
    assert data.closure["water"]["gap"] < 1e-15
    assert data.balance["supply"]["water"] == 1.5


def test_a_channel_that_cannot_be_shown_in_its_unit_is_a_fault():
    with pytest.raises(ValueError, match=r"sump\.level cannot be shown in kg: its unit is m"):
        factors(Channel("sump.level", 0, False, "m", "kg", ""))
    assert factors(Channel("P-101.starts_hour", 0, False, "1/h", "1/h", "")) == (1.0, 0.0)


def test_a_record_taken_over_is_the_same_to_the_bit_and_gone_from_the_simulation():
    sim = simulation()
    opening = sim.save()
    run_by_hand(sim)
    copied = from_simulation(sim, opening)
    assert len(sim.recorder.rows) == 5
    np.testing.assert_allclose(sim.recorder.series("wash.flow"), 0.1 * np.arange(5))  # SI still
    taken = from_simulation(sim, opening, last=True)
    assert len(sim.recorder.rows) == 0
    assert list(taken.series) == list(copied.series)
    for name, series in copied.series.items():
        assert taken.series[name].values.tobytes() == series.values.tobytes()
    for name, profile in copied.profiles.items():
        assert taken.profiles[name].values.tobytes() == profile.values.tobytes()
    assert taken.figures == copied.figures and taken.running == copied.running
