"""What a user may choose for the sizing bench on top of the plant file, with units and defaults."""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from plantsim.analysis.sizing.result import NotSized
from plantsim.errors import UnitError
from plantsim.units import to_si

PREFIX = "size."

KEYS: dict[str, tuple[str, str, str]] = {
    "sump": ("name", "", "sump to size; left out: the vessel that a wash plant feeds"),
    "line": ("name", "", "line to size; left out: the one that draws from the sump"),
    "clarifier": ("name", "", "clarifier to size; left out: the first one"),
    "bank": ("name", "", "cells to size; left out: the first bank"),
    "inflow": ("flow", "", "greatest lasting inflow; left out: wash water with twice its wander"),
    "solids": ("concentration", "", "solids of the dirty water; left out: by the wash plant"),
    "underflow": ("concentration", "450 g/L", "underflow solids wanted"),
    "temperature": ("temperature", "10 degC", "water in pumps and lines"),
    "start_level": ("length", "", "level at which the lead pump starts; left out: by the level control"),
    "stop_level": ("length", "", "level at which it stops; left out: by the level control"),
    "pumps_in_turn": ("number", "", "pumps that take turns; left out: two when there are two"),
    "poles": ("number", "4", "poles of the pump motors: 2, 4 or 6"),
    "inertia": ("inertia", "0 kg.m2", "inertia of pump and coupling at the motor shaft"),
    "starts": ("number", "", "starts allowed in an hour; left out: the motor's, else the table's"),
    "rest": ("time", "", "rest between stop and start; left out: the motor's, else the table's"),
    "sand": ("fraction", "0 %", "part of the volume between the levels taken by sand"),
    "days": ("time", "7 d", "length of the runs with the inflow by the hour and over random shifts; 0 d: none"),
    "seed": ("number", "1", "key of the random shifts"),
    "streams": ("number", "2", "wash streams that can run alone, in the random shifts"),
    "part_load": ("fraction", "30 %", "random shifts that run with fewer than all streams"),
    "stop_every": ("time", "4 h", "mean washing time of a stream between stops, in the random shifts"),
    "wash_down": ("fraction", "10 %", "hose water for half an hour after a shift, of the dirty water"),
    "paved": ("area", "1000 m2", "ground whose rain runs into the sump"),
    "decant": ("fraction", "", "water let off the cells to the sump per dirty water; left out: what settling frees"),
    "flow_least": ("flow", "", "least flow of the line in running; left out: wash water less twice its wander"),
    "flow_most": ("flow", "", "greatest flow of the line in running; left out: as for inflow"),
    "suction_loss": ("length", "0 m", "head lost between sump and pump"),
    "wall": ("length", "", "wall of the pipe, for its wave speed; left out: a rigid pipe"),
    "young": ("pressure", "207000 MPa", "modulus of the pipe wall"),
    "velocity_margin": ("number", "1.2", "least velocity over the limit velocity"),
    "safety": ("number", "1.5", "factor on the clarifier's area"),
    "rise_factor": ("number", "0.5", "rise rate over settling speed"),
    "coldest": ("temperature", "5 degC", "coldest water of the clarifier"),
    "prove": ("time", "0 h", "time judged of each run that proves the clarifier, at five corners; 0 h: none"),
    "store": ("time", "14 d", "days of coagulant in store"),
    "lift": ("length", "", "thickness of one filling of a cell; left out: the bank's"),
    "rain_kept": ("fraction", "30 %", "part of the rain on a cell that is not let off"),
    "returned": ("fraction", "", "part of the underflow's water that comes back; left out: what settling sets free"),
    "feed_moisture": ("fraction", "4 %", "water coming with the feed, per dry feed"),
    "leaks": ("flow", "0 m3/h", "leaks and spray"),
}
"""Key: dimension ("number" and "name" are none), default, meaning."""


@dataclass(frozen=True)
class Choices:
    """Choices as given, SI; a key left out and without default reads as None."""

    values: dict[str, Any]

    def __getitem__(self, key: str) -> Any:
        dimension, default, _ = KEYS[key]
        if key in self.values:
            return self.values[key]
        return _read(key, dimension, default) if default else None

    def whole(self, key: str, low: int, high: int) -> int:
        """A choice that has to be a whole number within limits."""
        value = self[key]
        if value != int(value) or not low <= value <= high:
            raise NotSized(f"{PREFIX}{key}: found {value:g}; allowed: a whole number from {low} to {high}")
        return int(value)

    def length(self, key: str) -> float:
        """A choice that is a length of time, 0 or more [s]."""
        value = float(self[key])
        if value < 0.0:
            raise NotSized(f"{PREFIX}{key}: found {value / 86400.0:g} d; allowed: 0 d or more")
        return value


def split(assignments: Sequence[str]) -> tuple[Choices, list[str]]:
    """Tell choices of the bench (`size.key=value`) from values of the plant file.

    Examples
    --------
    >>> choices, rest = split(["size.rest=60 s", "units.sump.shear=0 1/s"])
    >>> choices["rest"], choices["inflow"], choices["poles"], rest
    (60.0, None, 4.0, ['units.sump.shear=0 1/s'])
    """
    values: dict[str, Any] = {}
    rest = []
    for text in assignments:
        key, sign, value = text.partition("=")
        key = key.strip()
        if not key.startswith(PREFIX):
            rest.append(text)
            continue
        name = key.removeprefix(PREFIX)
        if not sign:
            raise NotSized(f"--set: found '{text}'; allowed: size.key=value")
        if name not in KEYS:
            near = difflib.get_close_matches(name, KEYS, 1, 0.5)
            raise NotSized(
                f"--set: found '{key}'; allowed: {', '.join(PREFIX + k for k in KEYS)}"
                + (f" (did you mean '{PREFIX}{near[0]}'?)" if near else "")
            )
        values[name] = _read(name, KEYS[name][0], value.strip())
    return Choices(values), rest


def _read(key: str, dimension: str, text: str) -> Any:
    if dimension == "name":
        return text
    if dimension == "number":
        try:
            return float(text)
        except ValueError:
            raise NotSized(f"--set: {PREFIX}{key}: found '{text}'; allowed: a number") from None
    try:
        return to_si(text, dimension) - (273.15 if dimension == "temperature" else 0.0)
    except UnitError as error:
        raise NotSized(f"--set: {PREFIX}{key}: {error}") from None
