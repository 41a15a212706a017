"""Alarms against the alarm state diagram of ANSI/ISA-18.2-2016 and IEC 62682 (from memory), way by way.

Letters of the diagram: A normal, B unacknowledged, C acknowledged, D returned unacknowledged, E latched
unacknowledged, F latched acknowledged, G shelved, H suppressed by design, I out of service.
"""

from __future__ import annotations

import math

import pytest
from alarm_bench import Bench, alarm

from plantsim import records
from plantsim.errors import ConfigError

PLAIN = alarm("LAH-1")
LATCHING = alarm("LAH-1", latching="yes")
SILENT = alarm("LAH-1", suppressed_while="HS-101 is on")
TALL, LOW = 3.5, 1.0


def high(b: Bench) -> None:
    b.level(TALL)


def low(b: Bench) -> None:
    b.level(LOW)


def acknowledge(b: Bench) -> None:
    b.desk.acknowledge("LAH-1")


def reset(b: Bench) -> None:
    b.desk.reset("LAH-1")


def shelve(b: Bench) -> None:
    b.desk.shelve("LAH-1", 600.0)


def unshelve(b: Bench) -> None:
    b.desk.unshelve("LAH-1")
    b.go()


def take_out(b: Bench) -> None:
    b.desk.take_out("LAH-1")


def put_back(b: Bench) -> None:
    b.desk.put_back("LAH-1")
    b.go()


def silence(b: Bench) -> None:
    b.put("HS-101", 1.0)
    b.go()


def speak(b: Bench) -> None:
    b.put("HS-101", 0.0)
    b.go()


A, B, C, D, E, F, G, H, I = records.ALARM_STATES
WAYS = [
    # the alarm, what is done, the states it goes through (first is A)
    ("A-B-C-A", PLAIN, (high, acknowledge, low), (B, C, A)),
    ("B-D-A", PLAIN, (high, low, acknowledge), (B, D, A)),
    ("D-B: it comes again", PLAIN, (high, low, high), (B, D, B)),
    ("C-A-B: a new alarm", PLAIN, (high, acknowledge, low, high), (B, C, A, B)),
    ("B-E-F-A: latched, acknowledged, reset", LATCHING, (high, low, acknowledge, reset), (B, E, F, A)),
    ("C-F-A: acknowledged, latched, reset", LATCHING, (high, acknowledge, low, reset), (B, C, F, A)),
    ("E-B: latched, comes again", LATCHING, (high, low, high), (B, E, B)),
    ("F-B: latched, acknowledged, comes again", LATCHING, (high, low, acknowledge, high), (B, E, F, B)),
    ("A-G-A", PLAIN, (shelve, unshelve), (G, A)),
    ("B-G-B", PLAIN, (high, shelve, unshelve), (B, G, B)),
    ("C-G-B: it calls again", PLAIN, (high, acknowledge, shelve, unshelve), (B, C, G, B)),
    ("D-G-A", PLAIN, (high, low, shelve, unshelve), (B, D, G, A)),
    ("E-G-A", LATCHING, (high, low, shelve, unshelve), (B, E, G, A)),
    ("F-G-A", LATCHING, (high, low, acknowledge, shelve, unshelve), (B, E, F, G, A)),
    ("G: comes and goes unheard", PLAIN, (shelve, high, low, unshelve), (G, A)),
    ("G-B: came on the shelf", PLAIN, (shelve, high, unshelve), (G, B)),
    ("A-I-A", PLAIN, (take_out, put_back), (I, A)),
    ("B-I-B", PLAIN, (high, take_out, put_back), (B, I, B)),
    ("C-I-A", PLAIN, (high, acknowledge, take_out, low, put_back), (B, C, I, A)),
    ("G-I-G: out of service goes first, the shelf still holds", PLAIN, (shelve, take_out, put_back), (G, I, G)),
    ("A-H-A", SILENT, (silence, speak), (H, A)),
    ("B-H-B", SILENT, (high, silence, speak), (B, H, B)),
    ("C-H-B", SILENT, (high, acknowledge, silence, speak), (B, C, H, B)),
    ("D-H-A", SILENT, (high, low, silence, speak), (B, D, H, A)),
    ("G-H-G: suppressed goes before shelved", SILENT, (shelve, silence, speak), (G, H, G)),
    ("H-I-H: out of service goes before both", SILENT, (silence, take_out, put_back), (H, I, H)),
]


@pytest.mark.parametrize(("line", "acts", "states"), [way[1:] for way in WAYS], ids=[way[0] for way in WAYS])
def test_each_way_of_the_diagram(line, acts, states):
    bench = Bench(line)
    bench.go()
    assert bench.desk.state("LAH-1") == A
    for act in acts:
        act(bench)
    went = [after for _, _, after in bench.changes()]
    assert went == list(states)
    assert [before for _, before, _ in bench.changes()] == [A, *states[:-1]]
    assert bench.desk.state("LAH-1") == states[-1]
    assert bench.desk.states() == ({} if states[-1] == A else {"LAH-1": states[-1]})


@pytest.mark.parametrize(
    ("acts", "state"),
    [((acknowledge,), A), ((reset,), A), ((high, reset), B), ((high, acknowledge, acknowledge), C),
     ((high, low, reset), D), ((unshelve,), A), ((put_back,), A)],
)  # fmt: skip
def test_what_the_diagram_has_no_way_for_changes_nothing(acts, state):
    bench = Bench(PLAIN)
    for act in acts:
        act(bench)
    assert bench.desk.state("LAH-1") == state


def test_a_latched_alarm_is_acknowledged_before_it_is_reset():
    bench = Bench(LATCHING)
    high(bench)
    low(bench)
    assert bench.desk.reset() == []
    assert bench.desk.acknowledge() == ["LAH-1"]
    assert bench.desk.reset() == ["LAH-1"]


def test_who_changed_it_and_what_it_looked_at_is_noted():
    bench = Bench(alarm("LAH-1", above="300 cm"), alarm("LAL-2", below="0.5 m"))
    high(bench)
    bench.go(4)
    acknowledge(bench)
    first, second = bench.sim.alarm_log
    assert (first.alarm, first.tick, first.by, first.number) == ("LAH-1", 0, "plant", 0)
    assert first.value == pytest.approx(350.0)  # in the unit its limit is written in
    assert (second.after, second.tick, second.by, second.number) == (C, 5, "operator", 1)
    assert [(n.tick, n.kind, n.words) for n in bench.sim.journal] == [(5, "operator", "LAH-1 acknowledged")]


# ------------------------------------------------------------------------------------ limit, deadband, delays
@pytest.mark.parametrize(
    ("compare", "limit", "deadband", "values", "true"),
    [
        # a value at the limit is no alarm; with a deadband of 0.2 it returns at 2.8, not above
        ("above", "3 m", "0.2 m", (2.9, 3.0, 3.01, 2.9, 2.81, 2.8, 2.9, 3.0), (0, 0, 1, 1, 1, 0, 0, 0)),
        ("above", "3 m", "0 m", (3.0, 3.01, 3.0, 3.01), (0, 1, 0, 1)),
        ("below", "1 m", "0.25 m", (1.1, 1.0, 0.99, 1.0, 1.24, 1.25, 1.1), (0, 0, 1, 1, 1, 0, 0)),
    ],
)
def test_limit_and_deadband(compare, limit, deadband, values, true):
    bench = Bench(alarm("LA-1", **{compare: limit}, deadband=deadband))
    seen = []
    for value in values:
        bench.level(value)
        seen.append(int(bench.sim.model.arena.alarm_s["active"][0]))
    assert seen == list(true)


@pytest.mark.parametrize(("step", "ticks"), [("1 s", 1), ("0.5 s", 2), ("0.25 s", 4)])
def test_delays_are_exact_to_the_tick(step, ticks):
    bench = Bench(alarm("LAH-1", on_delay="5 s", off_delay="3 s", every=step), step=step)
    bench.level(LOW, 10)
    start = bench.sim.tick
    bench.level(TALL, 5 * ticks)  # looked at in ticks 0 .. 5 s less one
    assert bench.desk.state("LAH-1") == A
    bench.go()
    assert bench.changes() == [(start + 5 * ticks, A, B)]
    back = bench.sim.tick
    bench.level(LOW, 3 * ticks)
    assert bench.desk.state("LAH-1") == B
    bench.go()
    assert bench.changes()[1:] == [(back + 3 * ticks, B, D)]


def test_a_delay_begins_anew_when_the_condition_breaks_off():
    bench = Bench(alarm("LAH-1", on_delay="5 s", off_delay="3 s"))
    bench.level(TALL, 5)
    bench.level(LOW, 1)
    bench.level(TALL, 5)
    assert bench.changes() == []
    bench.go()
    assert bench.changes() == [(11, A, B)]
    bench.level(LOW, 3)
    bench.level(TALL, 1)
    bench.level(LOW, 3)
    assert bench.changes() == [(11, A, B)]
    bench.go()
    assert bench.changes()[1:] == [(19, B, D)]


def test_an_alarm_is_looked_at_at_its_own_interval():
    bench = Bench(alarm("LAH-1", every="10 s"), alarm("LAH-2"))
    bench.level(LOW, 3)
    bench.level(TALL, 7)
    assert bench.changes() == [(3, A, B)]
    bench.go()
    assert [(n.tick, n.alarm) for n in bench.sim.alarm_log] == [(3, "LAH-2"), (10, "LAH-1")]


def test_states_and_whole_numbers_can_be_looked_at():
    bench = Bench(alarm("YA-1", on="HS-101", **{"is": "on"}), alarm("YA-2", on="HS-101", **{"is": "off"}),
                  alarm("EAL-3", on="mains.live", **{"is": "off"}))  # fmt: skip
    bench.go()
    assert bench.desk.states() == {"YA-2": B}
    silence(bench)
    assert bench.desk.states() == {"YA-1": B, "YA-2": D}
    bench.sim.model.arena.bus_s["live"][0] = 0
    bench.go()
    assert bench.desk.state("EAL-3") == B


def test_a_value_that_is_no_number_is_no_alarm():
    bench = Bench(PLAIN)
    bench.level(math.nan, 3)
    assert bench.changes() == []


# ------------------------------------------------------------------------------------ suppression and the shelf
def test_suppression_stays_for_its_time_and_the_delay_begins_after_it():
    bench = Bench(alarm("LAH-1", suppressed_while="HS-101 is on", suppressed_after="7 s", on_delay="4 s"))
    bench.put("HS-101", 1.0)
    bench.level(TALL, 20)
    bench.put("HS-101", 0.0)  # first seen off in tick 20
    bench.go(20)
    assert bench.changes() == [(0, A, H), (27, H, A), (31, A, B)]


@pytest.mark.parametrize(
    ("words", "silent"),
    [("HS-101 is off", (1, 0)), ("HS-101 on", (0, 1)), ("LY-101 below 50 cm", (0, 0)), ("LY-101 above 2 m", (1, 1)),
     ("tank.level below 3 ft", (0, 0)), ("tank.level above 3 ft", (1, 1))],
)  # fmt: skip
def test_conditions_that_suppress(words, silent):
    bench = Bench(alarm("LAH-1", suppressed_while=words))
    seen = []
    for switch in (0.0, 1.0):
        bench.put("HS-101", switch)
        bench.level(2.5)
        seen.append(int(bench.desk.state("LAH-1") == H))
    assert tuple(seen) == silent


def test_the_shelf_gives_an_alarm_back_to_the_tick():
    bench = Bench(PLAIN, alarm("LAH-2"))
    high(bench)
    bench.go(9)
    bench.desk.shelve("LAH-1", 15.0)
    bench.desk.shelve("LAH-2", 15.0)
    bench.desk.unshelve("LAH-2")
    bench.go(15)
    assert bench.desk.state("LAH-1") == G
    bench.go(1)
    log = [(n.tick, n.alarm, n.after, n.by) for n in bench.sim.alarm_log[2:]]
    assert log == [(10, "LAH-1", G, "operator"), (10, "LAH-2", G, "operator"), (10, "LAH-2", B, "plant"),
                   (25, "LAH-1", B, "plant")]  # fmt: skip


@pytest.mark.parametrize("seconds", [0.0, -1.0, 86401.0, math.inf, math.nan])
def test_no_alarm_is_shelved_without_an_end(seconds):
    bench = Bench(PLAIN)
    with pytest.raises(ConfigError, match="more than 0 s, at most 86400 s"):
        bench.desk.shelve("LAH-1", seconds)


def test_an_unknown_alarm_is_told_with_the_nearest():
    bench = Bench(alarm("LAH-101"))
    with pytest.raises(ConfigError, match=r"did you mean 'LAH-101'"):
        bench.desk.acknowledge("LAH-110")


# ------------------------------------------------------------------------------------ first-out
def test_the_first_of_a_group_is_marked_until_the_group_begins_again():
    bench = Bench(*(alarm(f"LAH-{k}", above=f"{k} m", group="g") for k in (1, 2, 3)), alarm("LAH-4", above="0.5 m"))
    bench.level(0.2)
    bench.level(1.5)
    bench.level(3.5)
    assert bench.desk.first_out("g") == "LAH-1"
    assert [(n.alarm, n.first) for n in bench.sim.alarm_log] == [
        ("LAH-1", True), ("LAH-4", False), ("LAH-2", False), ("LAH-3", False)]  # fmt: skip
    bench.level(2.5)  # some have gone, some stand: the group has not ended
    bench.level(3.5)
    assert bench.desk.first_out("g") == "LAH-1"
    bench.level(0.2)
    bench.desk.acknowledge()
    assert bench.desk.states() == {}
    assert bench.desk.first_out("g") == "LAH-1"  # still told, until something new begins
    bench.level(1.0)
    bench.desk.shelve("LAH-1", 60.0)
    bench.level(3.5)  # two at once: the one that stands first in the file
    assert bench.desk.first_out("g") == "LAH-2"


def test_an_alarm_that_is_held_back_does_not_begin_a_group():
    bench = Bench(alarm("LAH-1", above="1 m", group="g", suppressed_while="HS-101 is on"),
                  alarm("LAH-2", above="2 m", group="g"))  # fmt: skip
    bench.put("HS-101", 1.0)
    bench.level(2.5)
    assert bench.desk.first_out("g") == "LAH-2"
    assert Bench(PLAIN).desk.first_out("none") is None
