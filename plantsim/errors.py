"""Everything plantsim raises on purpose has one base class, so that one `except` catches it."""

from __future__ import annotations


class PlantsimError(Exception):
    """Base of all errors a user can cause or meet. Its text is one clear sentence."""

    exit_code = 2


class UnitError(PlantsimError, ValueError):
    """Raised when a text cannot be read as a quantity of the wanted dimension."""


class ConfigError(PlantsimError, ValueError):
    """Raised when a configuration is wrong; carries every finding, not only the first.

    Parameters
    ----------
    findings : list of str
        One line for each finding: file, line, key, what was found, what is allowed.
    """

    def __init__(self, findings: list[str] | str) -> None:
        self.findings = [findings] if isinstance(findings, str) else list(findings)
        super().__init__("\n".join(self.findings))


class ProgramError(PlantsimError, ValueError):
    """Raised when a control program is wrong; carries every finding with line, column and caret."""

    def __init__(self, findings: list[str] | str) -> None:
        self.findings = [findings] if isinstance(findings, str) else list(findings)
        super().__init__("\n".join(self.findings))


class RunFault(PlantsimError, RuntimeError):
    """Raised when a run cannot go on: a kernel fault, with the tick and the unit."""

    exit_code = 1


class StoreError(PlantsimError, OSError):
    """Raised when a run folder cannot be written, found or read."""
