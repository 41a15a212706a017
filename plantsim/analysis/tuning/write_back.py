"""Chosen parameters back into the plant file: nothing else is changed, comments and layout stay, or nothing is done."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from plantsim.analysis.tuning.controller import Choice, Controller
from plantsim.analysis.tuning.models import TuningError
from plantsim.errors import ConfigError
from plantsim.plant.build import load_model
from plantsim.plant.reader import add_value, examine, set_value
from plantsim.plant.sections import PLANT
from plantsim.plant.tuned import parameter_home
from plantsim.units import sentence


class Chosen(Protocol):
    """What was chosen: a candidate of a tuning job, or of a search."""

    @property
    def choice(self) -> Choice: ...


class Decided(Protocol):
    """A finished job: the plant file, the replaced values, the controller, and what was chosen."""

    @property
    def file(self) -> str: ...
    @property
    def overrides(self) -> list[str]: ...
    @property
    def controller(self) -> Controller: ...
    @property
    def chosen(self) -> Chosen: ...


@dataclass(frozen=True)
class Change:
    """One parameter in a plant file.

    Parameters
    ----------
    path : str
        Dotted path.
    before : str
        Its text before; empty when the file did not have it.
    after : str
        Its text now.
    line : int
        Line of the new text.
    """

    path: str
    before: str
    after: str
    line: int

    @property
    def words(self) -> str:
        """What was changed, in words."""
        was = f"was {self.before}" if self.before else "added: the program's default held before"
        return f"line {self.line}: {self.path}: {self.after} ({was})"


def changed_file(job: Decided, own_overrides: bool = False) -> tuple[str, list[Change]]:
    """Text of the plant file with the chosen parameters, checked, and what was changed.

    Parameters
    ----------
    job : Decided
        The job.
    own_overrides : bool
        Whether values of the file had been replaced for the job: then its gains belong to another plant.

    Returns
    -------
    tuple
        Text, and changes; no changes when the present parameters are kept.

    Raises
    ------
    TuningError
        If it cannot be done without touching something else; says what to do by hand.
    """
    if own_overrides:
        raise TuningError(sentence("gains for a plant with values replaced by --set",
                                   "to write gains found for the plant file as it stands"))  # fmt: skip
    file = Path(job.file)
    text = file.read_bytes().decode("utf-8")  # as it is, line ends too
    tree = examine(file, PLANT, job.overrides)
    tree.raise_findings()
    changes: list[Change] = []
    for name, value in job.chosen.choice.values:
        variable, shown = job.controller.names[name], job.controller.shown(name, value)
        path = parameter_home(tree, job.controller.tune.controller, variable)
        before = _at(tree.plain(), path)
        try:
            if before is None:
                text = add_value(text, path, shown, str(file))
            elif before != shown:
                text = set_value(text, path, shown, str(file))
        except ConfigError as error:
            raise TuningError(f"{error.findings[0]}; nothing was written: put {path}: {shown} there by hand") from None
        if before != shown:
            changes.append(Change(path, before or "", shown, 0))
    changes = [Change(c.path, c.before, c.after, _line(text, file, c.path)) for c in changes]
    _check(job, text, {c.path for c in changes})
    return text, changes


def write(text: str, target: Path | str) -> None:
    """Write a text whole or not at all.

    Parameters
    ----------
    text : str
        The text.
    target : Path or str
        The file; one that exists is replaced, and keeps its permissions.
    """
    target = Path(target)
    try:
        handle, name = tempfile.mkstemp(prefix=f".{target.name}.", dir=target.parent)
    except OSError as error:
        raise TuningError(sentence(f"'{target}', where nothing can be written ({error.strerror})",
                                   "a file in a folder that exists")) from None  # fmt: skip
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(text.encode("utf-8"))
        os.chmod(name, target.stat().st_mode & 0o777 if target.exists() else 0o644)
        os.replace(name, target)
    except OSError as error:
        raise TuningError(sentence(f"'{target}', which cannot be written ({error.strerror})", "a file")) from None
    finally:
        Path(name).unlink(missing_ok=True)


def _at(plain: Any, path: str) -> str | None:
    for key in path.split("."):
        if not isinstance(plain, Mapping) or key not in plain:
            return None
        plain = plain[key]
    return str(plain)


def _line(text: str, file: Path, path: str) -> int:
    return int(examine(text, PLANT, name=str(file)).line(path))


def _flat(plain: Any, path: str = "") -> dict[str, str]:
    if isinstance(plain, Mapping):
        items = plain.items()
    elif isinstance(plain, list | tuple):
        items = enumerate(plain)  # type: ignore[assignment]
    else:
        return {path: str(plain)}
    found: dict[str, str] = {}
    for key, value in items:
        found.update(_flat(value, f"{path}.{key}" if path else str(key)))
    return found


def _check(job: Decided, text: str, wanted: set[str]) -> None:
    """The changed text must build, with these values in force and no others changed."""
    file = Path(job.file)
    old = _flat(examine(file, PLANT).plain())
    new = _flat(examine(text, PLANT, name=str(file)).plain())
    touched = {path for path in old.keys() | new.keys() if old.get(path) != new.get(path)}
    if touched != wanted:
        other = sorted(touched - wanted)[:3]
        raise TuningError(f"{file}: the block is shared, so that {', '.join(other)} would change too; nothing was "
                          "written: give this program a block of its own first")  # fmt: skip
    try:
        with tempfile.NamedTemporaryFile("wb", prefix=f".{file.stem}.", suffix=".part", dir=file.parent) as trial:
            trial.write(text.encode("utf-8"))
            trial.flush()
            model = load_model(trial.name, job.overrides)  # beside the file, as it may name others
    except OSError as error:
        raise TuningError(sentence(f"'{file.parent}', where nothing can be written ({error.strerror})",
                                   "a folder that can be written to")) from None  # fmt: skip
    for name, value in job.chosen.choice.values:
        found = job.controller.read(model, name)
        if abs(found - value) > 1e-6 * max(abs(value), 1.0):
            raise TuningError(f"{file}: {name} would be {found:g} in force, not {value:g}; nothing was written")
