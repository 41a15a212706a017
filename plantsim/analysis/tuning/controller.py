"""A controller of the simulated plant as the tuning bench sees it: gains read from its program's parameters and back.

Parameters are rounded before anything is worked out from them, so that what is judged is what is written down.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from plantsim.analysis.tuning.models import FOPDT, TuningError
from plantsim.analysis.tuning.settings import Settings
from plantsim.plant.model import Loop, Model
from plantsim.plant.plans import Write
from plantsim.plant.program_variables import find, spelled, unit_of
from plantsim.plant.tuned import Tune
from plantsim.units import QuantityError, sentence

DIGITS = 3
"""Significant digits of a parameter: more than any bump test can carry."""


@dataclass(frozen=True)
class Choice:
    """Parameters of a program as they are to be set: by name in small letters, in the program's unit, TIME in s."""

    values: tuple[tuple[str, float], ...]

    @classmethod
    def of(cls, values: Mapping[str, float]) -> Choice:
        """From a mapping."""
        return cls(tuple(sorted(values.items())))

    @property
    def mapping(self) -> dict[str, float]:
        """As a mapping."""
        return dict(self.values)


class Controller:
    """The controller of one loop.

    Parameters
    ----------
    model : Model
        The plant, with the program in force that the laws are written for.
    loop : Loop
        The loop; it has a `tune` part.
    """

    def __init__(self, model: Model, loop: Loop) -> None:
        assert loop.tune is not None
        self.loop, self.tune = loop, loop.tune
        self.units: dict[str, str] = {}
        self.names: dict[str, str] = {}
        self._cells: dict[str, tuple[int, str]] = {}
        chosen = [name for values in self.tune.choices.values() for name in values]
        for name in {*self.tune.variables, *chosen}:
            instance, variable = find(model.programs, f"{self.tune.controller}.{name}")
            self.units[name] = unit_of(variable)
            self.names[name] = variable.name
            self._cells[name] = (model.arena.cell("control", instance.base + variable.cell), variable.type)
        number = model.units[self.tune.controller][1]
        self.scan = float(model.arena.program_p["every"][number]) * model.step

    def watched(self) -> list[str]:
        """Variables to record, as `load_model` takes them."""
        return [f"{self.tune.controller}.{name}" for name in self.tune.variables]

    def read(self, model: Model, name: str) -> float:
        """Present value of a variable, TIME in s."""
        cell, kind = self._cells[name]
        if kind in ("REAL", "LREAL"):
            return float(model.arena.mem[cell])
        whole = float(model.arena.mem.view(np.int64)[cell])
        return whole / 1000.0 if kind == "TIME" else whole

    def writes(self, choice: Choice) -> list[Write]:
        """What to write to the plant's memory for a choice of parameters."""
        from plantsim.st.arithmetic import single

        found = []
        for name, value in choice.values:
            cell, kind = self._cells[name]
            if kind in ("REAL", "LREAL"):
                found.append(Write(cell, False, single(value) if kind == "REAL" else value))
            else:
                found.append(Write(cell, True, round(value * 1000.0) if kind == "TIME" else round(value)))
        return found

    def settings(self, values: Mapping[str, float], sign: float, rule: str = "") -> Settings:
        """What the controller does with these values of the variables, in the ISA standard form.

        Parameters
        ----------
        values : mapping
            Values of all variables of the laws.
        sign : float
            Sign of the process gain.
        rule : str
            Name to give the settings.
        """
        gain = math.copysign(self.tune.gain.law.value(values), sign)
        Ti = self.tune.integral.law.value(values) if self.tune.integral is not None else math.inf
        Td = self.tune.derivative.law.value(values) if self.tune.derivative is not None else 0.0
        if not (math.isfinite(gain) and gain != 0.0 and Ti >= 0.0 and math.isfinite(Td)):
            raise TuningError(f"{self.loop.name}: its laws give a gain of {gain:g}, an integral time of {Ti:g} s and a "
                              f"derivative time of {Td:g} s.")  # fmt: skip
        return Settings(gain, Ti if Ti > 0.0 else math.inf, max(Td, 0.0), rule=rule)  # 0: switched off

    def predictor(self, values: Mapping[str, float]) -> FOPDT | None:
        """Model in the dead-time compensation for these values of the variables; None when it is off or missing."""
        one = self.tune.predictor
        if one is None or values.get(one.on, 0.0) < 0.5:
            return None
        return FOPDT(one.gain.value(values), one.lag.value(values), one.delay.value(values))

    def choose(self, wanted: Settings, values: Mapping[str, float], extra: Mapping[str, float] | None = None) -> Choice:
        """Parameters that give wanted settings at an operating point, rounded.

        Parameters
        ----------
        wanted : Settings
            Settings of the ISA standard form.
        values : mapping
            Values of the laws' variables at that point.
        extra : mapping, optional
            Further parameters to set, which the laws may look at.

        Returns
        -------
        Choice

        Raises
        ------
        TuningError
            If the program cannot be set so.
        """
        if wanted.Kc == 0.0:
            raise TuningError("pure integral control: the program has no way to switch its gain off")
        if wanted.Td > 0.0 and self.tune.derivative is None:
            raise TuningError("derivative action: the program has none")
        if self.tune.integral is None and math.isfinite(wanted.Ti):
            raise TuningError("integral action: the program has none")
        known = {**values, **(extra or {})}
        set_to = dict(extra or {})
        goals = {"Kc": abs(wanted.Kc), "Ti": wanted.Ti, "Td": wanted.Td}
        for key, part in self.tune.parts.items():
            goal = goals[key]
            if key != "Kc" and (goal == 0.0 or math.isinf(goal)):
                set_to[part.by] = known[part.by] = 0.0
                continue
            try:
                found = part.law.solve(part.by, goal, known)
            except QuantityError as error:
                raise TuningError(str(error)) from None
            set_to[part.by] = known[part.by] = self.rounded(part.by, found)
        return Choice.of(set_to)

    def rounded(self, name: str, value: float) -> float:
        """A value as it is written: three digits, in minutes where it is a longer time."""
        size = 60.0 if self.units[name] == "s" and value >= 120.0 else 1.0
        return size * float(f"{value / size:.{DIGITS}g}")

    def shown(self, name: str, value: float) -> str:
        """A value as a plant file writes it."""
        unit = self.units[name]
        if self._cells[name][1] == "BOOL":
            return "on" if value > 0.5 else "off"
        if self._cells[name][1] == "BOOL":
            return "on" if value > 0.5 else "off"
        if unit == "s":
            if value >= 120.0 and abs(value / 60.0 - round(value / 60.0, 3)) < 1e-9:
                return f"{value / 60.0:.6g} min"
            return spelled(value) if value >= 3600.0 else f"{value:.6g} s"
        return f"{value:.6g}" if unit == "1" else f"{value:.6g} {unit}"

    def choice_of(self, name: str, model: Model) -> Choice:
        """A choice of the plant file by its name, as numbers.

        Raises
        ------
        TuningError
            If there is none of this name.
        """
        from plantsim.plant.program_variables import nearest, value_of

        if name not in self.tune.choices:
            known = ", ".join(self.tune.choices) or f"none, as {self.loop.name} has no choices"
            raise TuningError(sentence(f"choice '{name}'", known, nearest(name, self.tune.choices)))
        found = {}
        for key, text in self.tune.choices[name].items():
            variable = find(model.programs, f"{self.tune.controller}.{key}")[1]
            value = float(value_of(variable, text))
            found[key] = value / 1000.0 if variable.type == "TIME" else value
        return Choice.of(found)


def tuned_loop(model: Model, loop: Loop) -> Loop:
    """The loop, when it can be tuned.

    Raises
    ------
    TuningError
        If its plant file does not say how.
    """
    if loop.tune is None:
        raise TuningError(sentence(f"loop {loop.name} without 'tune:'",
                                   "a loop whose gains the plant file names (loops.TAG.tune)"))  # fmt: skip
    return loop


def needed_overrides(loop: Loop) -> list[str]:
    """Overrides that bring the program into force that the laws are written for."""
    tune: Tune | None = loop.tune
    if tune is None or tune.ready:
        return []
    return [f"control.{tune.controller}.program={tune.program}"]


Tell = Callable[[str], None]
"""Takes a line of what is being done."""


def named(settings: Settings, rule: str, source: str = "", notes: tuple[str, ...] = ()) -> Settings:
    """Settings under another name."""
    return replace(settings, rule=rule, source=source, notes=notes)
