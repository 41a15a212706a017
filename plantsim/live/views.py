"""What each role sees of a session, as plain objects for a page: the site once, the state again and again."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from plantsim import records
from plantsim.live.desk import TRAINER
from plantsim.live.journal import Entry
from plantsim.live.picture import picture_of
from plantsim.live.session import Attempt, Session
from plantsim.plant.acts import SETTABLE
from plantsim.plant.model import Alarm
from plantsim.sim.simulation import Simulation
from plantsim.store.collect import factors

JOURNAL_SHOWN = 200
"""Lines of the journal a page gets when it opens."""
POINTS_SHOWN = 700
"""Most points of one trend."""


class View:
    """Everything a page is told of one session.

    Parameters
    ----------
    session : Session
        The session.
    """

    def __init__(self, session: Session) -> None:
        self.session = session
        plant = session.plant
        self.plant = plant
        self.open = plant.reading.open
        self._channels = {c.name: i for i, c in enumerate(plant.sim.recorder.channels)}
        self._operator_tags = {p.name for p in plant.reading.points if not p.hidden}
        self.picture = picture_of(plant.model, plant.reading)

    # ------------------------------------------------------------------ once
    def site(self, role: str) -> dict[str, Any]:
        """What does not change while a session runs."""
        model, reading = self.plant.model, self.plant.reading
        points = reading.points if role == TRAINER else reading.points[: self.open]
        bands = bands_of(model.alarms)
        return {
            "title": model.title,
            "role": role,
            "step": model.step,
            "begins": self.session.begins * model.step,
            "start": model.start.isoformat(),
            "points": [
                {
                    "n": p.name,
                    "k": p.kind,
                    "u": "" if p.unit in ("1", "-") else p.unit,
                    "m": p.meaning,
                    "r": int(p.name in self._channels),
                    **({"b": bands[p.name]} if p.name in bands else {}),
                }
                for p in points
            ],
            "programs": [self._program(name) for name in model.programs],
            "switches": [vars(p) | _bounds(p.low, p.high) for p in self.plant.points.values() if not p.program],
            "alarms": [alarm_sheet(alarm) for alarm in model.alarms],
            "works": [{"name": w.name, "words": w.words, "takes": w.takes} for w in self.plant.works.values()],
            "picture": self.picture,
            "limits": [{"on": li.channel, "at": li.value, "words": li.words, "kind": li.kind} for li in model.limits],
        }

    def causes(self) -> list[str]:
        """What a trainer's single cause can set: faults of all units, and state that can be set from outside."""
        found = []
        for unit, (kind, _) in self.plant.model.units.items():
            fields = [*records.FIELD_UNITS.get(f"{kind}_f", ()), *SETTABLE.get(f"{kind}_s", ())]
            found += [f"{unit.removesuffix('-motor')}.{field}" for field in fields]
        return sorted({*found, *(f"weather.{field}" for field in SETTABLE["weather"])})

    def _program(self, name: str) -> dict[str, Any]:
        model = self.plant.model
        instance = model.programs[name]
        ties = self._ties(name)
        rows = []
        for variable in instance.program.inputs:
            path = f"{name}.{variable.name}"
            point = self.plant.points.get(path)
            if point is not None:
                rows.append(
                    {
                        "path": path,
                        "is": "point",
                        "kind": point.kind,
                        "unit": point.unit,
                        "words": point.words,
                        **_bounds(point.low, point.high),
                    }
                )
            elif variable.name.casefold() in ties:
                rows.append(
                    {"path": path, "is": "input", "tag": ties[variable.name.casefold()], "words": variable.comment}
                )
        for variable in instance.program.outputs:
            rows.append(
                {
                    "path": f"{name}.{variable.name}",
                    "is": "output",
                    "kind": variable.type,
                    "tag": ties.get(variable.name.casefold(), ""),
                    "words": variable.comment,
                }
            )
        return {"name": name, "program": instance.program.name.replace("_", " "), "rows": rows}

    def _ties(self, name: str) -> dict[str, str]:
        """Tags of a program's inputs and outputs, by variable in small letters."""
        model = self.plant.model
        instance, record = model.programs[name], model.arena.program_p[model.units[name][1]]
        tags = list(model.tags)
        cells = {
            model.arena.cell("control", instance.base + v.cell): v.name.casefold()
            for v in (*instance.program.inputs, *instance.program.outputs)
        }
        found = {}
        for first, count in (("copies_in", "n_in"), ("copies_out", "n_out")):
            for i in range(int(record[first]), int(record[first]) + int(record[count])):
                copy = model.arena.copy_p[i]
                if int(copy["cell"]) in cells:
                    found[cells[int(copy["cell"])]] = tags[int(copy["tag"])]
        return found

    # ------------------------------------------------------------------ again and again
    def state(self, role: str) -> dict[str, Any]:
        """How the plant stands."""
        sim = self.plant.sim
        values = self.plant.reading.short()
        attempt = self.session.attempt
        state: dict[str, Any] = {
            "tick": sim.tick,
            "t": sim.seconds,
            "clock": sim.when(sim.tick).isoformat(timespec="seconds"),
            "attempt": attempt.number,
            "v": values if role == TRAINER else values[: self.open],
            "alarms": alarm_rows(sim),
            "samples": [
                {"tag": s.tag, "t": s.tick * sim.model.step, "v": round(v, 3)} for s, v in self.plant.found[-12:]
            ],
        }
        if role == TRAINER:
            state["upsets"] = [self._upset(e) for e in attempt.entries if e.act in ("upset", "cause")]
            state["saves"] = [
                {"tick": e.tick, "t": e.tick * sim.model.step, "name": e.data.get("name", "")}
                for e in attempt.entries
                if e.act == "save"
            ]
            state["attempts"] = [self._attempt(a) for a in self.session.attempts]
            state["room"] = self.plant.room
            state["warnings"] = self.session.warnings
        return state

    def _upset(self, entry: Entry) -> dict[str, Any]:
        begun = self.plant.begun(entry.number)
        status = "waits" if begun is None else "at work" if self.plant.at_work(entry.number) else "over"
        return {
            "entry": entry.number,
            "words": entry.words,
            "status": status,
            "hidden": entry.hidden,
            "begun": None if begun is None else begun * self.plant.model.step,
        }

    def _attempt(self, attempt: Attempt) -> dict[str, Any]:
        step = self.plant.model.step
        ends = self.plant.tick if attempt.rows is None else attempt.ends
        return {"number": attempt.number, "begins": attempt.begins * step, "ends": ends * step}

    def journal(self, role: str, entries: list[Entry]) -> list[dict[str, Any]]:
        """Lines of the journal a role may read."""
        return [
            {
                "n": e.number,
                "t": e.tick * self.plant.model.step,
                "role": e.role,
                "who": e.who,
                "act": e.act,
                "words": e.words,
                "attempt": e.attempt,
                "hidden": e.hidden,
            }
            for e in entries
            if role == TRAINER or not e.hidden
        ]

    def changes(self, count: int = 100) -> list[dict[str, Any]]:
        """The latest changes of alarms."""
        return [
            {"t": n.seconds, "alarm": n.alarm, "after": n.after, "by": n.by}
            for n in self.plant.sim.alarm_log[-count:]
        ]

    # ------------------------------------------------------------------ trends
    def trend(self, role: str, names: list[str], begins: float, ends: float, attempt: int = 0) -> dict[str, Any]:
        """Record of some points over a time, thinned: of each span the least and the most are kept.

        Parameters
        ----------
        role : str
            Who asks.
        names : list of str
            Points; those that are not recorded, or not for this role, are left out.
        begins, ends : float
            Span since the start of the plant, [s]
        attempt : int
            Attempt; 0: the one at work.
        """
        recorder = self.plant.sim.recorder
        rows = recorder.rows
        if attempt and attempt != self.session.attempt.number:
            rows = next(
                (a.rows for a in self.session.attempts if a.number == attempt and a.rows is not None), rows[:0]
            )
        every = recorder.every * recorder.step
        first, last = max(0, math.ceil(begins / every)), min(len(rows), math.floor(ends / every) + 1)
        series: dict[str, list[float | None]] = {}
        pick = _thinned(first, last)
        for name in names[:12]:
            if name in self._channels and (role == TRAINER or name in self._operator_tags):
                channel = recorder.channels[self._channels[name]]
                scale, offset = factors(channel)
                values = rows[pick, self._channels[name]] * scale + offset
                series[name] = [float(f"{v:.5g}") if math.isfinite(v) else None for v in values.tolist()]
        return {"t": (pick * every).tolist(), "series": series, "attempt": attempt or self.session.attempt.number}


def _thinned(first: int, last: int) -> np.ndarray:
    """Rows at even distance, at most `POINTS_SHOWN`, the last among them."""
    if last <= first:
        return np.zeros(0, int)
    stride = max(1, math.ceil((last - first) / POINTS_SHOWN))
    return np.arange(last - 1, first - 1, -stride)[::-1]


def _bounds(low: float, high: float) -> dict[str, float | None]:
    """Bounds as JSON has them: without infinity."""
    return {"low": low if math.isfinite(low) else None, "high": high if math.isfinite(high) else None}


def bands_of(alarms: list[Alarm]) -> dict[str, list[float | None]]:
    """Band without alarm of each quantity that an alarm looks at: its lower and upper end."""
    bands: dict[str, list[float | None]] = {}
    for alarm in alarms:
        if alarm.limit is None:
            continue
        band = bands.setdefault(alarm.on, [None, None])
        if alarm.compare == "below":
            band[0] = alarm.limit if band[0] is None else max(band[0], alarm.limit)
        else:
            band[1] = alarm.limit if band[1] is None else min(band[1], alarm.limit)
    return bands


def alarm_sheet(alarm: Alarm) -> dict[str, Any]:
    """What an alarm means, for its list and its help."""
    return {
        "n": alarm.name,
        "on": alarm.on,
        "when": alarm.condition,
        "priority": alarm.priority,
        "consequence": alarm.consequence,
        "action": alarm.action,
        "within": alarm.respond_within,
        "group": alarm.group,
        "unit": alarm.unit,
    }


def alarm_rows(sim: Simulation) -> list[list[Any]]:
    """Alarms that are not normal: name, state, since when [s], value, whether it came first of its group."""
    states = sim.model.arena.alarm_s
    rows: list[list[Any]] = []
    for alarm in sim.model.alarms:
        state = sim.alarms.state(alarm.name)
        if state != records.ALARM_STATES[records.ALARM_NORMAL]:
            value = sim.alarms.value(alarm.name)
            since = int(states["changed"][alarm.index]) * sim.model.step
            shown = float(f"{value:.5g}") if math.isfinite(value) else None
            rows.append([alarm.name, state, since, shown, int(states["first"][alarm.index])])
    return rows
