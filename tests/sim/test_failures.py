"""Failures and the repair crew, held to the theory of renewal and of queues, and to hours worked out by hand.

* Availability of one thing repaired at once: MTBF / (MTBF + MTTR) (Barlow and Proschan 1965, Mathematical Theory of
  Reliability, alternating renewal process; chapter and page from memory).
* N things, one crew, all times exponential: the machine repair model, a finite-source queue M/M/1//N (Gross and
  Harris, Fundamentals of Queueing Theory, section on finite-source queues; from memory). Probabilities that n are down:
  p_n = p_0 N! / (N - n)! (MTTR / MTBF)^n.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from plants import DAY, HOUR
from test_processes import notes, plant

from plantsim.sim.failure import working
from plantsim.sim.simulation import Simulation

THINGS = ("P-101.wear", "P-101.clog", "line.leak", "line.block", "dose.calibration")
ROUND = "crew: {hours: ['daily 00:00-24:00'], number: NUMBER}\n"


def breaking(number: int, up: str, down: str, crew: str = "", seed: int = 4, step: int = 10) -> Simulation:
    lines = [f"  thing-{i}: {{what: {what}, value: 0.01, mean_up: {up}, mean_down: {down}}}\n"
             for i, what in enumerate(THINGS[:number])]  # fmt: skip
    return plant(seed=seed, step=step, more=crew + "failures:\n" + "".join(lines))


def down_at(sim: Simulation, kinds: tuple[str, str] = ("fails", "repaired")) -> tuple[np.ndarray, np.ndarray]:
    """Hours at which the number of things down changes, and that number from then on."""
    times, counts = [0.0], [0]
    for at, words in notes(sim, "failure"):
        times.append(at)
        counts.append(counts[-1] + (1 if words.endswith(kinds[0]) else -1))
    return np.array(times), np.array(counts)


def shares(sim: Simulation, things: int) -> np.ndarray:
    """Share of the time in which so many things are down."""
    times, counts = down_at(sim)
    lengths = np.diff(np.append(times, sim.seconds / 3600.0))
    return np.array([lengths[counts == n].sum() for n in range(things + 1)]) / lengths.sum()


def theory(things: int, up: float, down: float, crews: int = 1) -> np.ndarray:
    """Birth and death: n down are failed from at (N - n) / up and repaired at min(n, crews) / down."""
    p = [1.0]
    for n in range(1, things + 1):
        p.append(p[-1] * (things - n + 1) / up * down / min(n, crews))
    return np.array(p) / sum(p)


def test_availability_of_a_thing_repaired_at_once():
    """MTBF 3 h and MTTR 1 h: up three quarters of the time."""
    sim = breaking(1, "3 h", "1 h")
    sim.run(200 * DAY)
    cycles = len(notes(sim, "failure")) / 2
    # standard error of the share up of an alternating exponential renewal process: sqrt(2 / cycles) A (1 - A)
    assert shares(sim, 1)[0] == pytest.approx(0.75, abs=4.0 * math.sqrt(2.0 / cycles) * 0.75 * 0.25)


@pytest.mark.parametrize(("things", "crews"), [(4, 1), (5, 2)])
def test_things_that_queue_for_a_crew_are_the_machine_repair_model(things, crews):
    sim = breaking(things, "4 h", "1.5 h", ROUND.replace("NUMBER", str(crews)))
    sim.run(150 * DAY)
    found, expected = shares(sim, things), theory(things, 4.0, 1.5, crews)
    # each cycle of the queue is some hours: about a thousand independent looks, so two percentage points are 3 sigma
    assert found == pytest.approx(expected, abs=0.025)
    mean = float((found * np.arange(things + 1)).sum())
    assert mean == pytest.approx(float((expected * np.arange(things + 1)).sum()), rel=0.06)
    # by Little's law the throughput times (wait + repair) is the mean number down
    repaired = sum(words.endswith("repaired") for _, words in notes(sim, "failure"))
    times, counts = down_at(sim)
    held = float((np.diff(np.append(times, sim.seconds / 3600.0)) * counts).sum()) / repaired
    assert repaired / (sim.seconds / 3600.0) * held == pytest.approx(mean, rel=1e-9)
    assert held > 1.5 + 0.1


def test_without_a_crew_nobody_queues():
    """As many repairmen as things: each is down by itself, and the number down is binomial."""
    sim = breaking(4, "4 h", "1.5 h")
    sim.run(150 * DAY)
    assert shares(sim, 4) == pytest.approx(theory(4, 4.0, 1.5, 4), abs=0.025)
    q = 1.5 / 5.5
    assert theory(4, 4.0, 1.5, 4) == pytest.approx([math.comb(4, n) * q**n * (1 - q) ** (4 - n) for n in range(5)])


def test_repairs_begin_and_go_on_in_working_hours_alone():
    """Monday to Friday from 7 to 16: first come, first served; what fails at night waits for the morning."""
    sim = breaking(3, "9 h", "3 h", "crew: {hours: ['mon-fri 07:00-16:00']}\n")
    sim.run(60 * DAY)
    begun = [(at, words.split(" (")[0]) for at, words in notes(sim, "repair")]
    failed = [(at, words.split(" (")[0]) for at, words in notes(sim, "failure") if words.endswith("fails")]
    done = [(at, words.split(" (")[0]) for at, words in notes(sim, "failure") if words.endswith("repaired")]
    assert len(begun) > 40
    for at, _ in begun + done:
        day, hour = int(at // 24) % 7, at % 24
        assert day < 5 and 7.0 <= hour <= 16.0, at
    # in the order in which they failed
    assert [name for _, name in begun] == [name for _, name in failed][: len(begun)]
    # one at a time: a repair begins when the one before it is done, or later
    assert all(start >= end for (start, _), (end, _) in zip(begun[1:], done, strict=False))
    night = [at for at, _ in failed if not 7.0 <= at % 24 < 16.0]
    assert night and any(at % 24 == 7.0 for at, _ in begun)


def test_work_is_counted_over_nights_and_week_ends():
    """Hours worked out on the calendar: a week from Monday, working from 8 to 16 on weekdays."""
    week = tuple((d * DAY + 8 * HOUR, d * DAY + 16 * HOUR) for d in range(5))
    monday, friday = 0.0, 4 * DAY
    assert working(week, monday + 9 * HOUR, 3 * HOUR) == 3 * HOUR
    assert working(week, monday + 9 * HOUR, 7 * HOUR) == 7 * HOUR
    assert working(week, monday + 9 * HOUR, 8 * HOUR) == 24 * HOUR  # one hour of Tuesday
    assert working(week, friday + 15 * HOUR, 2 * HOUR) == 3 * DAY - 7 * HOUR + HOUR  # Monday, 9:00
    assert working(week, monday + 8 * HOUR, 40 * HOUR) == pytest.approx(7 * DAY, abs=17 * HOUR + 2 * DAY)
    assert working(week, monday + 8 * HOUR, 41 * HOUR) == 7 * DAY + HOUR
    always = ((0.0, 7 * DAY),)
    assert working(always, 3 * DAY, 40 * DAY) == 40 * DAY


def test_deliveries_and_digging_keep_the_hours_of_the_crew_where_they_have_none():
    crew = "crew: {hours: ['mon-fri 07:00-16:00']}\n"
    sim = plant(more=crew, weather="weather: {apr: {temperature: 6 degC}}")
    sim.run(3 * DAY)
    ordered = [at for at, words in notes(sim, "delivery") if "ordered" in words]
    assert ordered and all(7.0 <= at % 24 < 16.0 for at in ordered)
    from plantsim.plant.plans import CrewPlan

    (digging,) = [p for p in sim.model.plans.items if isinstance(p, CrewPlan)]
    assert digging.spans == tuple((d * DAY + 7 * HOUR, d * DAY + 16 * HOUR) for d in range(5))


@pytest.mark.parametrize("hour", [5.3, 26.0, 77.7, 150.0])
def test_a_save_point_in_the_queue_goes_on_as_the_unbroken_run(hour):
    crew = "crew: {hours: ['mon-fri 07:00-16:00']}\n"
    whole = breaking(4, "9 h", "5 h", crew)
    whole.run(10 * DAY)
    first = breaking(4, "9 h", "5 h", crew)
    first.run(round(hour * 360.0) * 10.0)
    second = breaking(4, "9 h", "5 h", crew)
    second.restore(first.save())
    second.run(10 * DAY)
    assert second.save().memory == whole.save().memory
    assert [*first.journal, *second.journal] == whole.journal
