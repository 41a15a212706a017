"""The operator's side of the alarms: the list of changes, and what can be done with an alarm.

The kernel works out what the process does (`plantsim.kernels.alarm`) and notes each change in a ring of the plant's
memory; here they are taken out between kernel calls. What an operator does happens between two ticks:

======================  ============================  =================================================
from                    to                            when
======================  ============================  =================================================
unacknowledged          acknowledged                  acknowledged
returned unacknowledged normal                        acknowledged
latched unacknowledged  latched acknowledged          acknowledged
latched acknowledged    normal                        reset
any                     shelved                       shelved, for a time that has an end
any                     out of service                taken out of service
======================  ============================  =================================================

An alarm that comes off the shelf (by hand, or because its time is over) or back into service is looked at in the next
tick: it is then normal, or unacknowledged when its condition holds.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from plantsim import records
from plantsim.errors import ConfigError
from plantsim.plant.fields import nearest, quoted
from plantsim.plant.model import Alarm
from plantsim.plant.program_variables import spelled
from plantsim.units import sentence

if TYPE_CHECKING:
    from plantsim.sim.simulation import Simulation

ACKNOWLEDGED = {
    records.ALARM_UNACKED: records.ALARM_ACKED,
    records.ALARM_RETURNED: records.ALARM_NORMAL,
    records.ALARM_LATCHED_UNACKED: records.ALARM_LATCHED_ACKED,
}
"""State before and after an operator acknowledges."""
LONGEST_SHELF = 24 * 3600.0
"""Longest time on the shelf [s]: a shelved alarm must come back by itself (common practice, no source)."""


@dataclass(frozen=True)
class AlarmNote:
    """One change of state of an alarm.

    Parameters
    ----------
    number : int
        Its number, counted from the start of the plant's time.
    tick : int
        Tick of the change.
    seconds : float
        Its time since the start, [s]
    alarm : str
        The alarm.
    before, after : str
        States, as in `records.ALARM_STATES`.
    first : bool
        It is the first of its group.
    value : float
        What it looked at, in the unit it is shown in.
    by : str
        'plant', or 'operator'.
    """

    number: int
    tick: int
    seconds: float
    alarm: str
    before: str
    after: str
    first: bool
    value: float
    by: str = "plant"

    @property
    def annunciated(self) -> bool:
        """Whether the operator is called: a new alarm, or one that comes again."""
        return self.after == records.ALARM_STATES[records.ALARM_UNACKED]


class AlarmDesk:
    """All alarms of a plant in time, as an operator has them.

    Parameters
    ----------
    sim : Simulation
        The plant in time.
    """

    def __init__(self, sim: Simulation) -> None:
        self._sim = sim
        self._by_name = {alarm.name: alarm for alarm in sim.model.alarms}
        self.log: list[AlarmNote] = []

    # ------------------------------------------------------------------ what the kernel noted
    def drain(self) -> None:
        """Take out of the ring what the kernel noted; losses are told in the journal and as a warning."""
        clock = self._sim.model.arena.clock
        first, last = int(clock["notes_read"][0]), int(clock["notes"][0])
        if first != last:
            ring = self._sim.model.arena.alarm_log
            for number in range(first, last):
                row = ring[number % len(ring)]
                alarm = self._sim.model.alarms[int(row["alarm"])]
                self._append(number, int(row["tick"]), alarm, int(row["before"]), int(row["after"]),
                             bool(row["first"]), float(row["value"]))  # fmt: skip
            clock["notes_read"][0] = last
        lost = int(clock["notes_lost"][0])
        if lost:
            words = f"{lost} changes of alarms were lost: the ring between kernel and simulation was full"
            self._sim.note(self._sim.tick, "alarm", words)
            self._sim.model.warnings.append(words)
            clock["notes_lost"][0] = 0

    def _append(
        self, number: int, tick: int, alarm: Alarm, before: int, after: int, first: bool, value: float,
        by: str = "plant",
    ) -> None:  # fmt: skip
        names = records.ALARM_STATES
        shown, seconds = value * alarm.scale + alarm.offset, tick * self._sim.model.step
        self.log.append(
            AlarmNote(number, tick, seconds, alarm.name, names[before], names[after], first, shown, by)
        )

    def rewind(self) -> None:
        """Forget what came after the plant's present memory: it has been restored."""
        read = int(self._sim.model.arena.clock["notes_read"][0])
        self.log = [note for note in self.log if note.number < read]
        self.drain()

    # ------------------------------------------------------------------ how things stand
    def state(self, name: str) -> str:
        """State of an alarm, in words."""
        return records.ALARM_STATES[int(self._sim.model.arena.alarm_s["state"][self._find(name).index])]

    def states(self) -> dict[str, str]:
        """State of every alarm that is not normal, in words."""
        found = self._sim.model.arena.alarm_s["state"]
        return {a.name: records.ALARM_STATES[int(found[a.index])] for a in self._sim.model.alarms if found[a.index]}

    def first_out(self, group: str) -> str | None:
        """The alarm that came first when a group last began; None when none has yet."""
        marks = self._sim.model.arena.alarm_s["first"]
        return next((a.name for a in self._sim.model.alarms if a.group == group and marks[a.index]), None)

    def value(self, name: str) -> float:
        """What an alarm looks at now, in the unit it is shown in."""
        alarm = self._find(name)
        return self._value(alarm) * alarm.scale + alarm.offset

    def _value(self, alarm: Alarm) -> float:
        arena, p = self._sim.model.arena, self._sim.model.arena.alarm_p
        cell = int(p["cell"][alarm.index])
        return float(arena.mem.view("i8")[cell] if p["integer"][alarm.index] else arena.mem[cell])

    # ------------------------------------------------------------------ what an operator does
    def acknowledge(self, *names: str) -> list[str]:
        """Acknowledge alarms; all that wait for it when no name is given.

        Returns
        -------
        list of str
            Alarms that were acknowledged: those that did not wait for it are left out.

        Raises
        ------
        ConfigError
            If there is no such alarm.
        """
        return self._move(names, ACKNOWLEDGED, "acknowledged")

    def reset(self, *names: str) -> list[str]:
        """Reset latched alarms that have been acknowledged; all of them when no name is given."""
        return self._move(names, {records.ALARM_LATCHED_ACKED: records.ALARM_NORMAL}, "reset")

    def shelve(self, name: str, seconds: float) -> None:
        """Put an alarm on the shelf for a time; it comes back by itself.

        Parameters
        ----------
        name : str
            The alarm.
        seconds : float
            For how long, above 0 and at most `LONGEST_SHELF`, [s]

        Raises
        ------
        ConfigError
            If there is no such alarm, or the time is none.
        """
        alarm = self._find(name)
        if not 0.0 < seconds <= LONGEST_SHELF:
            raise ConfigError(sentence(f"a shelf time of {seconds:g} s for {name}",
                                       f"more than 0 s, at most {LONGEST_SHELF:g} s"))  # fmt: skip
        ticks = max(1, round(seconds / self._sim.model.step))
        self._sim.model.arena.alarm_s["shelved_until"][alarm.index] = self._sim.tick + ticks
        self._sim.note(self._sim.tick, "operator", f"{name} shelved for {spelled(ticks * self._sim.model.step)}")
        self._hold_back(alarm, records.ALARM_SHELVED)

    def unshelve(self, name: str) -> None:
        """Take an alarm off the shelf before its time."""
        self._release(self._find(name), "shelved_until", "unshelved")

    def take_out(self, name: str) -> None:
        """Take an alarm out of service, until it is put back."""
        alarm = self._find(name)
        self._sim.model.arena.alarm_s["out"][alarm.index] = 1
        self._sim.note(self._sim.tick, "operator", f"{name} out of service")
        self._hold_back(alarm, records.ALARM_OUT)

    def put_back(self, name: str) -> None:
        """Put an alarm back into service."""
        self._release(self._find(name), "out", "back in service")

    def _find(self, name: str) -> Alarm:
        if name not in self._by_name:
            allowed = "an alarm of this plant" if self._by_name else "nothing, as this plant has no alarms"
            raise ConfigError(sentence(quoted(name), allowed, nearest(name, self._by_name)))
        return self._by_name[name]

    def _move(self, names: Iterable[str], moves: dict[int, int], words: str) -> list[str]:
        chosen = [self._find(name) for name in names] or list(self._sim.model.alarms)
        states = self._sim.model.arena.alarm_s["state"]
        moved = [alarm for alarm in chosen if int(states[alarm.index]) in moves]
        for alarm in moved:
            self._change(alarm, moves[int(states[alarm.index])])
        if moved:
            self._sim.note(self._sim.tick, "operator", f"{', '.join(alarm.name for alarm in moved)} {words}")
        return [alarm.name for alarm in moved]

    def _hold_back(self, alarm: Alarm, state: int) -> None:
        """Show a state that holds an alarm back, unless one that goes before it does already."""
        if int(self._sim.model.arena.alarm_s["state"][alarm.index]) < state:
            self._change(alarm, state)

    def _release(self, alarm: Alarm, field: str, words: str) -> None:
        s = self._sim.model.arena.alarm_s
        if s[field][alarm.index]:
            s[field][alarm.index] = 0
            s["due"][alarm.index] = self._sim.tick
            self._sim.note(self._sim.tick, "operator", f"{alarm.name} {words}")

    def _change(self, alarm: Alarm, after: int) -> None:
        """Change a state, and note it after all that the kernel noted."""
        self.drain()
        arena, tick = self._sim.model.arena, self._sim.tick
        s, clock = arena.alarm_s, arena.clock
        before = int(s["state"][alarm.index])
        s["state"][alarm.index] = after
        s["changed"][alarm.index] = tick
        number = int(clock["notes"][0])
        self._append(number, tick, alarm, before, after, bool(s["first"][alarm.index]), self._value(alarm), "operator")
        clock["notes"][0] = clock["notes_read"][0] = number + 1
