"""simpy's clock over the plant's: every event sees the plant at its own tick, and nobody advances it twice."""

from __future__ import annotations

import pytest

from plantsim.sim.environment import PlantEnvironment


class Plant:
    """A plant that only counts."""

    def __init__(self, tick: int = 0) -> None:
        self.tick = tick
        self.asked: list[int] = []

    def advance(self, tick: int) -> None:
        assert tick > self.tick, "never asked to stand or go back"
        self.tick = tick
        self.asked.append(tick)


def test_events_see_the_plant_at_their_tick():
    plant = Plant()
    env = PlantEnvironment(0, plant.advance)
    seen = []

    def process(name, waits):
        for wait in waits:
            yield env.timeout(wait)
            seen.append((name, env.now, plant.tick))

    env.process(process("a", [3, 4, 0, 10]))
    env.process(process("b", [3, 1, 13]))
    env.run(until=40)
    assert [(tick, at) for _, at, tick in seen] == [(at, at) for _, at, _ in seen]
    assert [(name, at) for name, at, _ in seen] == [
        ("a", 3), ("b", 3), ("b", 4), ("a", 7), ("a", 7), ("b", 17), ("a", 17)]  # fmt: skip
    # at one tick they come in the order in which they were set: b's 17 at 4, a's at 7
    # one advance for each tick at which something happened, and one to the end
    assert plant.asked == [3, 4, 7, 17, 40]


def test_it_begins_where_it_is_told():
    plant = Plant(500)
    env = PlantEnvironment(500, plant.advance)
    seen = []

    def process():
        seen.append((env.now, plant.tick))
        yield env.timeout(25)
        seen.append((env.now, plant.tick))

    env.process(process())
    env.run(until=600)
    assert seen == [(500, 500), (525, 525)]
    assert plant.tick == 600


def test_events_due_at_the_end_wait_for_the_next_run():
    """`run(until)` stops before what is due at `until`; going on makes it happen, with the plant where it was."""
    plant = Plant()
    env = PlantEnvironment(0, plant.advance)
    seen = []

    def process():
        yield env.timeout(10)
        seen.append(plant.tick)

    env.process(process())
    env.run(until=10)
    assert seen == [] and plant.tick == 10
    env.run(until=11)
    assert seen == [10] and plant.tick == 11


def test_a_fault_of_the_plant_ends_the_run():
    def broken(tick):
        raise RuntimeError("the plant stopped")

    env = PlantEnvironment(0, broken)
    env.timeout(5)
    with pytest.raises(RuntimeError, match="the plant stopped"):
        env.run(until=10)
