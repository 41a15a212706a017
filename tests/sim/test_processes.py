"""Sparse events by the calendar: shifts, weather, deliveries, crew, failures, dips, faces, rounds, acts.

Every expected time is worked out by hand from the calendar in the file. The plant starts on a Monday (2027-04-05).
"""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from plants import DAY, HOUR, build, column

from plantsim import records
from plantsim.plant.plans import WeatherPlan
from plantsim.sim.processes import draw, inside, until_edge, until_open, week_seconds
from plantsim.sim.simulation import Simulation

PLANT = """
site: {name: Calendar (invented), start: 2027-04-05 00:00, record_every: 60 s, quiet: yes}
WEATHER
power:
  mains: DIPS
units:
  wash:
    kind: source
    to: sump
    production: 20 t/h
    SOURCE
  sump: {kind: vessel, shape: {form: prism, length: 10 m, width: 10 m, depth: 3 m}, overflow: discharge}
  line:
    kind: line
    from: sump
    to: cells
    pipe: {length: 100 m, diameter: 100 mm, lift: 5 m, parcels: 8}
    pumps:
      P-101:
        curve: [[0 m3/h, 20 m, 0 %, 2 m], [40 m3/h, 10 m, 60 %, 3 m]]
        motor: {restart: by itself, restart_delay: 2 s, ride_through: 0 s}
  dose:
    kind: doser
    product: coagulant
    to: sump
    tote: {volume: 1 m3, start: 31 %, reorder: 30 %, lead: 24 h}
    capacity: 2 L/h
    motor: {}
  cells:
    kind: bank
    CELLS
    cells:
      north: {valve: XV-501, area: 100 m2}
      south: {valve: XV-502, area: 100 m2, mud: 0.5 m}
      west: {valve: XV-503, area: 150 m2, mud: 0.6 m}
actuators:
  XV-501: {start: 100 %}
  XV-502: {}
  XV-503: {}
flags:
  HS-1: {start: 0}
MORE
"""


def plant(
    seed: int = 1, weather: str = "", dips: str = "", source: str = "", cells: str = "", more: str = "", step: int = 1
) -> Simulation:
    """A small plant with some of its calendars filled in; returns its simulation."""
    text = PLANT.replace("WEATHER", weather).replace("DIPS", dips or "{}").replace("SOURCE", source)
    return Simulation(build(text.replace("CELLS", cells).replace("MORE", more), f"site.step={step} s"), seed)


def notes(sim: Simulation, kind: str) -> list[tuple[float, str]]:
    """Hours and words of the journal's notes of one kind."""
    return [(sim.model.step * note.tick / 3600.0, note.words) for note in sim.journal if note.kind == kind]


# ---------------------------------------------------------------------------------------------- the week
WORK = ((8 * HOUR, 16 * HOUR), (DAY + 8 * HOUR, DAY + 16 * HOUR))


def test_seconds_of_the_week():
    assert week_seconds(dt.datetime(2027, 4, 5)) == 0.0  # a Monday
    assert week_seconds(dt.datetime(2027, 4, 11, 23, 59, 59)) == 7 * DAY - 1.0
    assert week_seconds(dt.datetime(2027, 4, 7, 6, 30)) == 2 * DAY + 6.5 * HOUR


@pytest.mark.parametrize(("second", "open_now", "edge", "opening"), [
    (0.0, False, 8 * HOUR, 8 * HOUR),
    (8 * HOUR, True, 8 * HOUR, 0.0),
    (12 * HOUR, True, 4 * HOUR, 0.0),
    (16 * HOUR, False, 16 * HOUR, 16 * HOUR),
    (2 * DAY, False, 5 * DAY + 8 * HOUR, 5 * DAY + 8 * HOUR),
    (7 * DAY, False, 8 * HOUR, 8 * HOUR),
])  # fmt: skip
def test_spans_of_the_week(second, open_now, edge, opening):
    assert inside(WORK, second) is open_now
    assert until_edge(WORK, second) == edge
    assert until_open(WORK, second) == opening


def test_draws_are_keyed_and_not_remembered():
    assert draw(1, 2, 3).random() == draw(1, 2, 3).random()
    keys = [(1, 2, 3), (2, 2, 3), (1, 3, 3), (1, 2, 4)]
    assert len({draw(*key).random() for key in keys}) == 4


# ---------------------------------------------------------------------------------------------- shifts
def test_shifts_with_pauses_over_a_week():
    sim = plant(source='shifts: ["mon-fri 06:00-22:00", "sat 06:00-14:00"]\n'
                       '    pauses: ["mon-sat 10:00-10:30", "mon-fri 18:00-18:30"]')  # fmt: skip
    sim.run(7 * DAY)
    wanted = [(0.0, "stops")]
    for day in range(5):
        for start, stop in ((6, 10), (10.5, 18), (18.5, 22)):
            wanted += [(24 * day + start, "starts"), (24 * day + stop, "stops")]
    for start, stop in ((6, 10), (10.5, 14)):
        wanted += [(24 * 5 + start, "starts"), (24 * 5 + stop, "stops")]
    assert [(at, words.split()[1]) for at, words in notes(sim, "shift")] == wanted
    # 15 h on each of five days and 7.5 h on Saturday
    assert sim.model.value("wash.run_time") == 82.5 * HOUR
    assert column(sim, "wash.washed")[-1] == pytest.approx(82.5 * 20e3, rel=1e-3)


def test_a_shift_over_midnight_and_over_the_end_of_the_week():
    sim = plant(source='shifts: ["sun,mon 22:00-06:00"]')
    sim.run(8 * DAY)
    wanted = [(6.0, "stops"), (22.0, "starts"), (30.0, "stops"), (166.0, "starts"), (174.0, "stops"),
              (190.0, "starts")]  # fmt: skip
    assert [(at, words.split()[1]) for at, words in notes(sim, "shift")] == wanted


# ---------------------------------------------------------------------------------------------- weather
def test_weather_turns_on_the_full_hour_and_is_that_of_the_seed():
    sim = plant(seed=4, weather="weather: {latitude: 56 deg, apr: {temperature: 6 degC, rain: 90 mm, rain_days: 20}}",
                cells="", more="")  # fmt: skip
    plan = next(p for p in sim.model.plans.items if isinstance(p, WeatherPlan))
    weather = plan.make(4)
    sim.run(2 * DAY)
    air, rain = column(sim, "weather.air"), column(sim, "weather.rain")
    start = (dt.datetime(2027, 4, 5) - dt.datetime(2027, 1, 1)).total_seconds()
    for hour in range(48):
        # the row of a tick shows what the events of that tick have left
        expected = weather.hour(start + hour * HOUR)
        assert (air[60 * hour : 60 * hour + 60] == expected[0]).all()
        assert (rain[60 * hour : 60 * hour + 60] == expected[1]).all()
    assert len(np.unique(air)) > 12


def test_weather_of_a_start_between_hours_turns_on_the_hour():
    text = PLANT.replace("WEATHER", "weather: {apr: {temperature: 6 degC}}").replace("DIPS", "{}")
    text = text.replace("SOURCE", "").replace("CELLS", "").replace("MORE", "").replace("05 00:00", "05 05:30")
    sim = Simulation(build(text), 1)
    sim.run(3 * HOUR)
    turns = np.flatnonzero(np.diff(column(sim, "weather.air"))) + 1
    assert (turns[1:] % 60 == 30).all()


# ---------------------------------------------------------------------------------------------- deliveries
def test_a_store_is_ordered_when_low_and_filled_a_lead_time_on_in_working_hours():
    """31 % of 1 m3 less 2 L/h is 30 % after five hours; the next look in working hours is Monday 08:00.

    24 h of lead bring it to Tuesday 08:00, when lorries come again.
    """
    sim = plant(more='deliveries: ["mon-fri 08:00-16:00"]')
    sim.run(2 * DAY)
    assert [(at, words.split(",")[0]) for at, words in notes(sim, "delivery")] == [
        (8.0, "dose tote ordered"), (32.0, "dose tote filled")]  # fmt: skip
    store = column(sim, "dose.store")
    assert store[32 * 60 - 1] == pytest.approx(0.31 - 0.002 * 32, abs=2e-3)
    assert store[32 * 60] == 1.0


def test_a_lorry_that_would_come_at_the_weekend_comes_on_monday():
    text = PLANT.replace("WEATHER", "").replace("DIPS", "{}").replace("SOURCE", "").replace("CELLS", "")
    text = text.replace("MORE", 'deliveries: ["mon-fri 08:00-16:00"]').replace("04-05 00:00", "04-09 09:30")
    sim = Simulation(build(text, "units.dose.tote.start=29 %"), 1)
    sim.run(4 * DAY)
    # Friday 09:30 ordered, due Saturday 09:30, filled Monday 08:00: 70.5 h on
    assert [(at, words.split(",")[0]) for at, words in notes(sim, "delivery")] == [
        (0.0, "dose tote ordered"), (70.5, "dose tote filled")]  # fmt: skip


# ---------------------------------------------------------------------------------------------- the crew
DUG = ('crew: ["mon-fri 07:00-16:00"]\n    final_void: 1.2\n    shrink_void: 1.1\n    dig_strength: 1 kPa\n'
       "    dig_rate: 10 m3/h")  # fmt: skip


def test_the_crew_digs_one_cell_at_a_time_and_only_in_its_hours():
    """About 50 and 90 m3 at 10 m3/h are 5 and 9 h of digging: the second begins the same day, ends the next."""
    sim = plant(cells=DUG)
    sim.run(2 * DAY)
    dug = notes(sim, "crew")
    assert dug[0][0] == 7.0
    assert {words for _, words in dug} == {"digging at south", "digging at west"}
    heights = {name: column(sim, f"{name}.mud_height") for name in ("south", "west")}
    night = [*range(0, 7 * 60), *range(16 * 60 + 2, 31 * 60)]
    for height in heights.values():
        falls = np.flatnonzero(np.diff(height) < -1e-3)  # a minute of digging takes 1 mm and more; drying far less
        assert not set(falls + 1) & set(night)
        assert len(falls) > 60
    both = np.flatnonzero((np.diff(heights["south"]) < -1e-3) & (np.diff(heights["west"]) < -1e-3))
    assert len(both) <= 1, "one digger cannot be at two cells"


def test_the_crew_takes_the_strongest_cell_and_finishes_one_once_begun():
    sim = plant(cells=DUG)
    sim.run(6 * HOUR)
    s = sim.model.arena.cell_s
    index = {name: sim.model.units[name][1] for name in ("north", "south", "west")}
    s["strength"][index["south"]], s["strength"][index["west"]] = 5e3, 9e3
    s["state"][index["south"]] = s["state"][index["west"]] = records.CELL_DRY
    crew = next(p for p in sim.processes if type(p).__name__ == "Crew")
    assert crew.fire(sim, 7 * 3600) == 7 * 3600 + 1800  # looks again half an hour on
    assert s["digging"].tolist() == [0, 0, 1] or s["digging"][index["west"]] == 1
    assert s["digging"].sum() == 1
    # begun means first, whatever has become stronger since
    s["digging"][:] = 0
    s["state"][index["west"]], s["strength"][index["south"]] = records.CELL_DIG, 20e3
    crew.fire(sim, 8 * 3600)
    assert s["digging"][index["west"]] == 1 and s["digging"].sum() == 1
    # and at the end of the day the digger goes home, until 07:00
    assert crew.fire(sim, 16 * 3600) == 31 * 3600
    assert s["digging"].sum() == 0


def test_mud_too_soft_is_left_alone():
    sim = plant(cells=DUG.replace("1 kPa", "900 kPa"))
    sim.run(1 * DAY)
    assert notes(sim, "crew") == []


# ---------------------------------------------------------------------------------------------- failures
def test_failures_come_and_go_with_exponential_times():
    """Means within four standard errors of what the file says; fails and repairs take turns."""
    sim = plant(seed=11, more="failures:\n  stop: {what: P-101.no_start, mean_up: 2 h, mean_down: 15 min}\n",
                step=10)  # fmt: skip
    sim.run(100 * DAY)
    found = notes(sim, "failure")
    kinds = [words.rsplit(" ", 1)[1] for _, words in found]
    assert kinds == ["fails", "repaired"] * (len(kinds) // 2) + ["fails"] * (len(kinds) % 2)
    times = np.array([0.0] + [at for at, _ in found])
    up, down = np.diff(times)[0::2], np.diff(times)[1::2]
    n = len(down)
    assert n > 800
    assert up.mean() == pytest.approx(2.0, abs=4.0 * 2.0 / np.sqrt(n))
    assert down.mean() == pytest.approx(0.25, abs=4.0 * 0.25 / np.sqrt(n))
    # exponential: the standard deviation is the mean, and a third (1/e) lasts longer than it
    assert up.std() == pytest.approx(2.0, rel=0.15)
    assert (up > 2.0).mean() == pytest.approx(np.exp(-1.0), abs=0.06)


def test_a_failure_writes_its_value_and_takes_it_back():
    sim = plant(seed=2, more="failures:\n  stop: {what: line.leak, value: 0.25, mean_up: 2 h, mean_down: 1 h}\n")
    sim.run(3 * DAY)
    found = [(note.tick, note.words.endswith("fails")) for note in sim.journal if note.kind == "failure"]
    assert len(found) > 4
    again = plant(seed=2, more="failures:\n  stop: {what: line.leak, value: 0.25, mean_up: 2 h, mean_down: 1 h}\n")
    for tick, failed in found:
        again.run(tick)
        assert again.model.value("line.leak") == (0.0 if failed else 0.25)
        again.run(tick + 1)
        assert again.model.value("line.leak") == (0.25 if failed else 0.0)


# ---------------------------------------------------------------------------------------------- dips
def test_dips_last_as_long_as_the_file_says_and_take_the_voltage():
    sim = plant(seed=3, dips="{dips: {mean_time: 1 h, shortest: 4 s, longest: 30 s}}")
    sim.run(20 * DAY)
    found = [(note.tick, note.words) for note in sim.journal if note.kind == "power"]
    lost = np.array([tick for tick, words in found if words.endswith("lost")])
    back = np.array([tick for tick, words in found if words.endswith("back")])[: len(lost)]
    lost = lost[: len(back)]
    length = back - lost
    assert len(length) > 350
    assert length.min() >= 4 and length.max() <= 30
    assert length.mean() == pytest.approx(17.0, abs=4.0 * 26.0 / np.sqrt(12.0 * len(length)))
    between = (lost[1:] - back[:-1]) / 3600.0
    assert between.mean() == pytest.approx(1.0, abs=4.0 / np.sqrt(len(between)))
    assert sim.model.value("mains.dead_time") == length.sum()
    assert sim.model.value("P-101.starts") == 1 + len(length), "the pump came back after each dip, its only stops"


# ---------------------------------------------------------------------------------------------- faces
def test_faces_change_the_clay_within_its_limits():
    sim = plant(seed=5, source="faces: {mean_time: 3 h, low: 10 %, high: 40 %}", step=10)
    sim.run(60 * DAY)
    found = notes(sim, "face")
    clay = column(sim, "wash.clay")
    values = np.unique(clay[clay != 0.15])
    assert len(found) == pytest.approx(480, abs=4.0 * np.sqrt(480))
    assert values.min() >= 0.10 and values.max() <= 0.40
    assert values.mean() == pytest.approx(0.25, abs=0.02)


# ---------------------------------------------------------------------------------------------- rounds
def test_a_plugged_line_waits_for_the_next_round():
    """Plugged at 02:10 it waits for the morning's first round at 06:00; at 09:20 for the one at 10:00."""
    sim = plant(more='rounds: ["daily 06:00-18:00"]\nacts:\n'
                     "  - {at: 130 min, set: line.plugged, to: on}\n  - {at: 560 min, set: line.plugged, to: on}\n"
                     "  - {at: 18.5 h, set: line.plugged, to: on}\n")  # fmt: skip
    sim.run(31 * HOUR)
    assert notes(sim, "rounds") == [(hour, "line rodded clear") for hour in (6.0, 10.0, 30.0)]
    flow = column(sim, "line.flow")
    assert flow[2 * 60 + 12 : 6 * 60].max() == 0.0
    assert flow[6 * 60 + 5] > 0.0


# ---------------------------------------------------------------------------------------------- acts
def test_acts_happen_at_their_time_and_for_as_long_as_they_say():
    sim = plant(more="acts:\n  - {at: 1 h, set: wash.feed_factor, to: 50 %, for: 30 min, note: half feed}\n"
                     "  - {at: 90 s, set: HS-1, to: on}\n")  # fmt: skip
    sim.run(90.0)
    assert sim.model.arena.tags[sim.model.tags["HS-1"].index] == 0.0
    sim.run(91.0)
    assert sim.model.arena.tags[sim.model.tags["HS-1"].index] == 1.0
    sim.run(2 * HOUR)
    flow = column(sim, "wash.flow")
    assert flow[70] == pytest.approx(0.5 * flow[59], rel=1e-6)
    assert flow[110] == pytest.approx(flow[59], rel=1e-6)
    assert notes(sim, "act") == [
        (0.025, "HS-1 set to on"), (1.0, "half feed"), (1.5, "half feed: back as before")]  # fmt: skip


def test_acts_of_one_tick_happen_in_the_order_of_the_file():
    sim = plant(more="acts:\n  - {at: 60 s, set: wash.clay, to: 0.1, note: first}\n"
                     "  - {at: 30 s, set: wash.clay, to: 0.9, note: earlier}\n"
                     "  - {at: 60 s, set: wash.clay, to: 0.2, note: second}\n")  # fmt: skip
    sim.run(61.0)
    assert [words for _, words in notes(sim, "act")] == ["earlier", "first", "second"]
    assert sim.model.value("wash.clay") == 0.2


def test_processes_of_one_tick_happen_in_the_order_of_the_plans():
    """At 06:00 a shift begins, the hourly look orders coagulant, the round clears the line, a stone blocks it again."""
    sim = plant(weather="weather: {apr: {temperature: 6 degC}}", source='shifts: ["daily 06:00-18:00"]',
                more='rounds: ["daily 06:00-18:00"]\nacts:\n  - {at: 6 h, set: line.plugged, to: on, note: stone}\n'
                     "  - {at: 350 min, set: line.plugged, to: on, note: earlier stone}\n")
    sim.run(6 * HOUR + 1)
    assert [note.kind for note in sim.journal if note.tick == 6 * 3600] == ["shift", "delivery", "rounds", "act"]
    assert sim.model.value("line.plugged") == 1.0  # the round had gone when the stone came
