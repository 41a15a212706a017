"""Every way in which instruments, switches, actuators, drives and services of a plant can fail one at a time."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from plantsim.plant.model import Model

Put = tuple[str, int, str, float]
"""Array, record, field and value of one write."""

_ALWAYS_MADE = -1e30
"""Switching point [SI] below anything measured: the contact stays made."""


@dataclass(frozen=True)
class Failure:
    """One thing that fails in one way.

    Parameters
    ----------
    kind : str
        'instrument', 'switch', 'actuator', 'drive', 'supply' or 'power'.
    of : str
        Its tag or name.
    mode, words : str
        How it fails, in a word and in words.
    puts : tuple of Put
        What is written to the plant at that moment; it stays.
    """

    kind: str
    of: str
    mode: str
    words: str
    puts: tuple[Put, ...]

    @property
    def name(self) -> str:
        """Tag and mode."""
        return f"{self.of} {self.mode}"


def failures_of(model: Model) -> list[Failure]:
    """All single failures of a plant, in the order of its file.

    Parameters
    ----------
    model : Model
        The plant.

    Returns
    -------
    list of Failure

    Notes
    -----
    Instruments: signal lost (reads as 3.0 mA of 4 to 20 mA), stuck at its last reading, at either end of its range.
    Switches: open circuit, stuck, contact made. Actuators: stuck, and without air or power where that moves them.
    Drives: trip, does not start, does not stop. Supplies and buses: gone. Common practice, no source.
    """
    return list(_failures(model))


def _failures(model: Model) -> Iterator[Failure]:
    roles = {tag.name: tag.role for tag in model.tags.values()}
    for name, (kind, i) in model.units.items():
        if kind == "instrument":
            yield from _instrument(name, i, roles.get(name) == "switch")
        elif kind == "actuator":
            yield from _actuator(model, name, i)
        elif kind == "motor":
            yield from _drive(name.removesuffix("-motor"), i)
        elif kind == "supply":
            yield Failure("supply", name, "gone", "gives no water", (("supply_s", i, "available", 0.0),))
        elif kind == "bus":
            yield Failure("power", name, "dead", "no voltage", (("bus_s", i, "live", 0),))


def _instrument(name: str, i: int, switch: bool) -> Iterator[Failure]:
    def fault(field: str, value: float) -> tuple[Put, ...]:
        return (("instrument_f", i, field, value),)

    if switch:
        yield Failure("switch", name, "open", "circuit open, reads off", fault("lost", 1))
        yield Failure("switch", name, "stuck", "keeps what it last read", fault("stuck", 1))
        yield Failure("switch", name, "made", "contact stays made, reads on",
                      (("instrument_p", i, "threshold", _ALWAYS_MADE),))  # fmt: skip
        return
    yield Failure("instrument", name, "lost", "signal lost, reads below its range", fault("lost", 1))
    yield Failure("instrument", name, "stuck", "keeps its last reading", fault("stuck", 1))
    yield Failure("instrument", name, "high", "reads the upper end of its range", fault("bias", 2.0))
    yield Failure("instrument", name, "low", "reads the lower end of its range", fault("bias", -2.0))


def _actuator(model: Model, name: str, i: int) -> Iterator[Failure]:
    yield Failure("actuator", name, "stuck", "stays where it is", (("actuator_f", i, "stuck", 1),))
    fail = float(model.arena.actuator_p["fail"][i])
    if fail >= 0.0:
        yield Failure("actuator", name, "no air", f"goes to {100.0 * fail:.0f} % without air or power",
                      (("actuator_f", i, "lost_air", 1),))  # fmt: skip


def _drive(name: str, i: int) -> Iterator[Failure]:
    yield Failure("drive", name, "trips", "trips and cannot be reset", (("motor_f", i, "trip", 1),))
    yield Failure("drive", name, "no start", "does not start when asked", (("motor_f", i, "no_start", 1),))
    yield Failure("drive", name, "no stop", "does not stop when asked", (("motor_f", i, "stuck_on", 1),))
