"""Acts: values with units, ramps, acts that overlap, the operator's hand, random times, and save points in the middle.

Every expected value is worked out by hand from the acts written in the file.
"""

from __future__ import annotations

import numpy as np
import pytest
from plants import HOUR, column, named
from test_processes import notes, plant

from plantsim.analysis.closure import close, inventory
from plantsim.errors import ConfigError
from plantsim.plant.acts import SETTABLE, Act, Places, acting, make_acts
from plantsim.plant.plans import ActPlan, Start
from plantsim.sim.simulation import Simulation

WASH = 20.0 / 3.6
"""Production of the plant [kg/s]."""


def acted(*acts: str, seed: int = 1, more: str = "") -> Simulation:
    """The small plant with acts in its file."""
    return plant(seed=seed, more=more + "\nacts:\n" + "".join(f"  - {act}\n" for act in acts))


def value_at(sim: Simulation, path: str, *minutes: float) -> list[float]:
    """Values of a quantity at some minutes."""
    found = []
    for minute in minutes:
        sim.run(60.0 * minute)
        found.append(sim.model.value(path))
    return found


@pytest.mark.parametrize(("to", "before", "after"), [
    ("50 %", 1.0, 0.5), ("0.7", 1.0, 0.7), ("x1.3", 1.0, 1.3), ("x 0.5", 1.0, 0.5), ("+20 %", 1.0, 1.2),
    ("+0.25", 1.0, 1.25), ("on", 1.0, 1.0), ("off", 1.0, 0.0),
])  # fmt: skip
def test_a_share_is_set_as_people_write_it(to, before, after):
    sim = acted(f"{{at: 10 min, set: wash.feed_factor, to: {to}}}")
    assert value_at(sim, "wash.feed_factor", 9, 11) == pytest.approx([before, after], rel=1e-12)


@pytest.mark.parametrize(("path", "to", "after"), [
    ("wash.production", "30 t/h", 30.0 / 3.6), ("wash.production", "x2", 2.0 * WASH),
    ("wash.production", "+3.6 t/h", WASH + 1.0), ("wash.production", "+10 %", 1.1 * WASH),
    ("wash.moisture", "90 L/t", 90e-6), ("line.roughness", "0.2 mm", 2e-4),
    ("sump.ambient_rate", "0.1 1/h", 0.1 / 3600.0), ("wash.temperature", "50 degF", 10.0),
    ("wash.temperature", "+9 degF", 15.0), ("line.plugged", "on", 1.0), ("P-101.trip", "on", 1.0),
    ("P-101.wear", "12 %", 0.12), ("dose.tote", "2000 L", 2.0), ("mains.live", "off", 0.0),
])  # fmt: skip
def test_a_quantity_is_set_in_its_units(path, to, after):
    """Temperatures: 50 degF is 10 degC; 9 degF more than the 10 degC of the file is 15 degC."""
    sim = acted(f"{{at: 10 min, set: {path}, to: {to}}}")
    assert value_at(sim, path, 11)[0] == pytest.approx(after, rel=1e-9, abs=1e-9)


def test_a_ramp_is_straight_and_ends_on_its_value():
    """From 1 to 1.6 in ten minutes: 1.06 after each minute more, and at rest from then on."""
    sim = acted("{at: 5 min, set: wash.feed_factor, to: x1.6, ramp: 10 min}")
    minutes = [5, 6, 10, 14, 15, 16, 60]
    found = value_at(sim, "wash.feed_factor", *minutes)
    assert found == pytest.approx([1.0, 1.06 - 0.005, 1.295, 1.535, 1.595, 1.6, 1.6], abs=0.0051)
    assert found[-2] == found[-1] == 1.6
    assert notes(sim, "act") == [(5 / 60, "wash.feed_factor set to x1.6 over 10min")]


def test_a_ramp_is_written_every_few_seconds():
    sim = acted("{at: 5 min, set: wash.feed_factor, to: 2, ramp: 60 s}")
    sim.run(300.0)
    seen = set()
    for second in range(301, 365):
        sim.run(float(second))
        seen.add(round(sim.model.value("wash.feed_factor"), 9))
    assert sorted(seen) == pytest.approx([1.0 + k / 12.0 for k in range(13)])


def test_for_brings_the_value_of_that_moment_back():
    """The act that changed it for good in between counts, not the value of the start."""
    sim = acted("{at: 10 min, set: wash.feed_factor, to: 0.8}",
                "{at: 20 min, set: wash.feed_factor, to: x0.5, for: 10 min}")  # fmt: skip
    assert value_at(sim, "wash.feed_factor", 9, 11, 21, 29, 31) == pytest.approx([1.0, 0.8, 0.4, 0.4, 0.8])


@pytest.mark.parametrize(("first", "second", "expected"), [
    # minutes of the ends; values at 15, 25, 35, 45 min: begun at 10 and at 20 min
    ((40, 0.5), (30, 2.0), (0.5, 2.0, 0.5, 1.0)),   # the later one lies within the first
    ((30, 0.5), (40, 2.0), (0.5, 2.0, 2.0, 1.0)),   # the first one ends first
    ((30, 0.5), (30, 2.0), (0.5, 2.0, 1.0, 1.0)),   # both end at once
])  # fmt: skip
def test_acts_that_overlap_give_back_what_was_there_before_any_of_them(first, second, expected):
    sim = acted(f"{{at: 10 min, set: wash.feed_factor, to: {first[1]}, for: {first[0] - 10} min}}",
                f"{{at: 20 min, set: wash.feed_factor, to: {second[1]}, for: {second[0] - 20} min}}")  # fmt: skip
    assert value_at(sim, "wash.feed_factor", 15, 25, 35, 45) == pytest.approx(expected)


def test_a_lasting_act_over_one_that_ends_stays():
    sim = acted("{at: 10 min, set: wash.feed_factor, to: 0.5, for: 20 min}",
                "{at: 20 min, set: wash.feed_factor, to: 0.9}")  # fmt: skip
    assert value_at(sim, "wash.feed_factor", 15, 25, 35) == pytest.approx([0.5, 0.9, 0.9])


def test_a_ramp_beneath_another_act_goes_on_unseen():
    """From 10 min the ramp climbs by 0.1 a minute; the other act hides it from 12 to 15 min."""
    sim = acted("{at: 10 min, set: wash.feed_factor, to: +1, ramp: 10 min}",
                "{at: 12 min, set: wash.feed_factor, to: 0, for: 3 min}")  # fmt: skip
    assert value_at(sim, "wash.feed_factor", 12, 13, 16, 30) == pytest.approx([1.2, 0.0, 1.6, 2.0], abs=0.009)


def test_three_acts_end_in_any_order():
    acts = [f"{{at: {10 + k} min, set: wash.feed_factor, to: {k + 2}, for: {last} min}}"
            for k, last in enumerate((30, 10, 20))]  # fmt: skip
    sim = acted(*acts)  # begun at 10, 11 and 12; ending at 40, 21 and 32 min
    assert value_at(sim, "wash.feed_factor", 10.5, 11.5, 13, 22, 33, 41) == pytest.approx([2, 3, 4, 4, 2, 1])


# ---------------------------------------------------------------------------------------------- the operator's hand
CONTROL = """
control:
  filling:
    program: clean-water
    every: 10 s
    connect: {level: LT-9, valve: XV-503, wash_permit: HS-1}
    set: {on_level: 2.6 m, off_level: 3.2 m, high_level: 3.6 m, low_low_level: 0.2 m, restart_level: 0.5 m}
instruments:
  LT-9: {measures: sump.level, unit: m, high: 3}
"""


def tag(sim: Simulation, name: str) -> float:
    return float(sim.model.arena.tags[sim.model.tags[name].index])


def test_an_operator_takes_a_tag_out_of_the_programs_hands_and_gives_it_back():
    """The program calls for water below 2.6 m; for 20 minutes the hand has the valve nearly shut."""
    sim = acted("{at: 10 min, set: XV-503, to: 7 %, for: 20 min, by: operator, note: valve by hand}", more=CONTROL)
    before, found = sim.model.arena.copy_p.copy(), []
    for minute in (9, 11, 29, 31):
        sim.run(60.0 * minute)
        found.append(tag(sim, "XV-503"))
    assert found == [100.0, 7.0, 7.0, 100.0]
    assert notes(sim, "operator") == [
        (10 / 60, "valve by hand"), (0.5, "valve by hand: given back to program filling")]  # fmt: skip
    assert sim.model.arena.program_p["n_out"][0] == 2
    assert sorted(sim.model.arena.copy_p["tag"]) == sorted(before["tag"])


def test_one_hand_over_another_keeps_the_tag_until_the_last_lets_go():
    sim = acted("{at: 10 min, set: XV-503, to: 7 %, for: 20 min, by: operator}",
                "{at: 15 min, set: XV-503, to: 9 %, for: 5 min, by: operator}", more=CONTROL)  # fmt: skip
    found = []
    for minute in (12, 16, 25, 31):
        sim.run(60.0 * minute)
        found.append(tag(sim, "XV-503"))
    assert found == [7.0, 9.0, 7.0, 100.0]


def test_two_tags_of_one_program_are_given_back_each_by_itself():
    """Both outputs of one program are taken, and given back in the order in which they were taken."""
    sim = acted("{at: 10 min, set: XV-503, to: 7 %, for: 10 min, by: operator}",
                "{at: 12 min, set: HS-1, to: off, for: 20 min, by: operator}", more=CONTROL)  # fmt: skip
    found = []
    for minute in (11, 15, 21, 33):
        sim.run(60.0 * minute)
        found.append((tag(sim, "XV-503"), tag(sim, "HS-1"), int(sim.model.arena.program_p["n_out"][0])))
    assert found == [(7.0, 1.0, 1), (7.0, 0.0, 0), (100.0, 0.0, 1), (100.0, 1.0, 2)]


def test_a_hand_that_stays_stays():
    sim = acted("{at: 10 min, set: XV-503, to: 7 %, by: operator}", more=CONTROL)
    sim.run(5 * HOUR)
    assert tag(sim, "XV-503") == 7.0


# ---------------------------------------------------------------------------------- times, weather, save points
def test_a_drawn_time_lies_between_its_ends_and_hangs_on_the_seed():
    """Uniform over two hours: the mean of 60 seeds is within 4 sigma of the middle, sigma = 2 h / sqrt(12 x 60)."""
    began = []
    for seed in range(60):
        sim = acted("{between: [1 h, 3 h], set: line.plugged, to: on}", seed=seed)
        sim.run(3 * HOUR + 60.0)
        ((at, _),) = notes(sim, "act")
        began.append(at)
    assert min(began) >= 1.0 and max(began) <= 3.0 and len(set(began)) > 50
    assert np.mean(began) == pytest.approx(2.0, abs=4.0 * 2.0 / np.sqrt(12 * 60))
    again = acted("{between: [1 h, 3 h], set: line.plugged, to: on}", seed=17)
    again.run(3 * HOUR + 60.0)
    assert notes(again, "act")[0][0] == began[17]


def test_weather_that_is_set_holds_against_the_hours():
    """A cloudburst of 36 mm/h for 90 min stays over the full hours, which bring their own rain; then theirs is back."""
    weather = "weather: {apr: {temperature: 6 degC, rain: 50 mm, rain_days: 10}}"
    sims = [plant(weather=weather, more=more) for more in
            ("", "acts:\n  - {at: 130 min, set: weather.rain, to: 36 mm/h, for: 90 min}\n")]  # fmt: skip
    for sim in sims:
        sim.run(6 * HOUR)
    calm, storm = (column(sim, "weather.rain") for sim in sims)
    minutes = np.arange(len(calm))
    during = (minutes > 130) & (minutes < 220)
    assert storm[during] == pytest.approx(36e-3 / 3600.0)
    assert np.array_equal(storm[~during & (minutes != 130) & (minutes != 220)],
                          calm[~during & (minutes != 130) & (minutes != 220)])  # fmt: skip


def test_acts_do_not_touch_what_is_random_elsewhere():
    """The failures of a run fall at the same times whatever is done to the plant."""
    failures = "failures:\n  stop: {what: P-101.no_start, mean_up: 2 h, mean_down: 15 min}"
    quiet, acting_ = plant(more=failures), acted("{at: 1 h, set: wash.feed_factor, to: 0.5, for: 1 h}", more=failures)
    for sim in (quiet, acting_):
        sim.run(40 * HOUR)
    assert notes(quiet, "failure") == notes(acting_, "failure") and len(notes(quiet, "failure")) > 10


@pytest.mark.parametrize("tick", [599, 600, 601, 777, 900, 1203, 1800, 2100])
def test_a_save_point_in_the_middle_goes_on_bit_by_bit(tick):
    acts = ("{at: 10 min, set: wash.feed_factor, to: x1.6, ramp: 10 min, for: 30 min}",
            "{between: [12 min, 14 min], set: wash.feed_factor, to: 0.3, for: 15 min}",
            "{at: 15 min, set: XV-503, to: 7 %, for: 20 min, by: operator}")  # fmt: skip
    whole = acted(*acts, more=CONTROL)
    whole.run(HOUR)
    first = acted(*acts, more=CONTROL)
    first.run(float(tick))
    point = first.save()
    second = acted(*acts, more=CONTROL)
    second.restore(point)
    second.run(HOUR)
    assert second.save().memory == whole.save().memory
    assert [*first.journal, *second.journal] == whole.journal


def test_a_plant_takes_further_acts_and_goes_on_from_a_save_point_without_them():
    plain = plant()
    plain.run(HOUR)
    point = plain.save()
    model = plant().model
    cell, _ = model.cell("wash.feed_factor")
    one = ActPlan(Start(2 * HOUR, 2 * HOUR), cell, "real", 0.5, 0.0, 0.0, HOUR, "half")
    sim = Simulation(acting(model, [one]))
    assert len(model.plans.items) + 1 == len(sim.model.plans.items)
    sim.join(point)
    assert sim.tick == 3600 and value_at(sim, "wash.feed_factor", 119, 121, 181) == [1.0, 0.5, 1.0]
    plain.run(119 * 60.0)
    other = Simulation(acting(plant().model, [one]))
    other.join(point)
    other.run(119 * 60.0)
    kept = len(plain.save().memory)
    assert other.save().memory[:kept] == plain.save().memory
    late = Simulation(acting(plant().model, [one]))
    plain.run(3 * HOUR)
    with pytest.raises(ValueError, match="half"):
        late.join(plain.save())


def test_balances_close_whatever_state_is_set():
    """Acts move no material: every kind of state that can be set is set once, and each balance still closes."""
    doings = {
        "polymer-plant.powder": "100 kg", "coagulant.store": "1 m3", "polymer.filter": "20 kg",
        "clarifier.packing": "0.5",
        "clarifier.channel": "0.3", "sump-line.plugged": "on", "AT-201.fouling": "10 %", "AT-201.drift": "5 %",
        "cell-1.digging": "on", "well.available": "off", "weather.rain": "50 mm/h", "sump.open_area": "1 ha",
        "wash-plant.clay": "60 %", "wash-plant.fines_factor": "x1.5",
    }  # fmt: skip
    assert {path.partition(".")[2] for path in doings} >= {
        name for array, names in SETTABLE.items() if array not in ("source_s", "bus_s", "weather", "alarm_s")
        for name in names}
    model = named("gravel-pit")
    found: list[str] = []
    times = [3600.0 * (2.0 + 0.2 * i) for i in range(len(doings))]
    acts = [Act(Start(at, at), path, to, lambda key, words: found.append(words))
            for at, (path, to) in zip(times, doings.items())]  # fmt: skip
    sim = Simulation(acting(model, make_acts(Places.of(model), acts)))
    assert not found
    start = inventory(sim.model.arena)
    sim.run(9 * HOUR)
    assert max(row["gap"] for row in close(start, sim.model.arena).values()) < 1e-11


# ---------------------------------------------------------------------------------------------- what is refused
@pytest.mark.parametrize(("act", "message"), [
    ("{at: 1 h, set: wash.feed_facter, to: 1}", "(did you mean 'wash.feed_factor'?)"),
    ("{at: 1 h, set: wsh.feed_factor, to: 1}", "there is no unit 'wsh'; allowed: unit.quantity (did you mean 'wash."),
    ("{at: 1 h, set: HS-2, to: on}", "unit.quantity, program.variable or a tag (did you mean 'HS-1'?)"),
    ("{at: 1 h, set: wash.production, to: 30}", "found '30' (no unit); allowed: a mass flow with its unit"),
    ("{at: 1 h, set: wash.production, to: 30 m3/h}", "found '30 m3/h' (a flow)"),
    ("{at: 1 h, set: line.plugged, to: 50 m}", "found '50 m'; allowed: a number, a share in %, on or off"),
    ("{at: 1 h, set: P-101.trip, to: 50 %}", "found '50 %'; allowed: on, off or a whole number"),
    ("{at: 1 h, set: P-101.trip, to: maybe}", "found 'maybe'; allowed: on, off or a whole number"),
    ("{at: 1 h, set: sump.level, to: 2 m}", "but a vessel works that out anew at every step; allowed: volume"),
    ("{at: 1 h, set: weather.snow, to: 2 mm/h}", "allowed: air, rain, evaporation, water"),
    ("{at: 1 h, set: LT-9, to: 2 m}", "'LT-9', which its instrument writes; allowed: a fault of it"),
    ("{at: 1 h, set: XV-503, to: 20 %}", "which program filling writes at every scan; allowed: by: operator"),
    ("{at: 1 h, set: XV-503, to: 20 m, by: operator}", "found '20 m' (a length)"),
    ("{at: 1 h, set: HS-1, to: 20 %, by: operator}", "on, off or a number"),
    ("{at: 1 h, set: filling.valve, to: on}", "'filling.valve', an output"),
    ("{at: 1 h, set: filling.level, to: 1 m}", "which is read from LT-9 at every scan"),
    ("{at: 1 h, set: filling.on_level, to: 1 kg}", "found '1 kg' (a mass)"),
    ("{at: 1 h, set: P-101.trip, to: on, ramp: 1 min}", "acts.0.ramp: found a ramp of P-101.trip"),
    ("{at: 1 h, set: wash.clay, to: 0.5, ramp: 10 min, for: 5 min}", "acts.0.for: found '5min'; allowed: more than"),
    ("{set: wash.clay, to: 0.5}", "acts.0: found neither 'at' nor 'between'; allowed: one of them"),
    ("{at: 1 h, between: [1 h, 2 h], set: wash.clay, to: 0.5}", "found both 'at' and 'between'"),
    ("{between: [2 h, 1 h], set: wash.clay, to: 0.5}", "acts.0.between: found a second time that is not after"),
    ("{at: 1 h, what: wash.clay, to: 0.5}", "found 'what'; allowed: at, between, set, to"),
])  # fmt: skip
def test_what_cannot_be_done_is_told_in_one_sentence(act, message):
    with pytest.raises(ConfigError) as caught:
        acted(act, more=CONTROL)
    assert any(message in finding for finding in caught.value.findings), caught.value.findings


def test_places_of_a_model_know_its_writers():
    model = acted("{at: 1 h, set: wash.clay, to: 0.5}", more=CONTROL).model
    places = Places.of(model)
    assert places.writer(model.tags["XV-503"].index) == ("filling", (0, 2))
    assert places.writer(model.tags["XV-501"].index) is None
