"""Run tests of control programs: on the compiled machine and on the plain interpreter, which have to agree.

A program gets memory that has never run. Before each scan the row of that time writes its inputs; inputs that
follow an output get the value it had after the scan before. After the scan both memories must be alike in every
bit that has a meaning, and what the row expects must hold.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from plantsim.errors import ConfigError
from plantsim.plant.program_sheet import Expected, Row, Sheet, Test, read_sheet
from plantsim.plant.program_variables import shown
from plantsim.plant.programs import BUDGET, shipped_programs
from plantsim.sim.trace import differences
from plantsim.st import Variable
from plantsim.st.reference import Reference


@dataclass(frozen=True)
class Check:
    """One expectation, met or not.

    Parameters
    ----------
    at : float
        Time of the scan: of the first that failed, or of the last one looked at [s].
    variable, expected, found : str
        Name, and both sides in words.
    passed : bool
        Whether it was met.
    """

    at: float
    variable: str
    expected: str
    found: str
    passed: bool


@dataclass
class TestResult:
    """What one test gave; `problems` are faults, and bits in which machine and interpreter differ."""

    __test__ = False

    name: str
    checks: list[Check] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)
    scans: int = 0

    @property
    def passed(self) -> bool:
        """Whether all went as expected."""
        return not self.problems and all(check.passed for check in self.checks)


@dataclass
class SheetResult:
    """What all tests of one file gave."""

    path: Path
    program: str
    every: float
    tests: list[TestResult]
    warnings: list[str]

    @property
    def passed(self) -> bool:
        """Whether all went as expected."""
        return all(test.passed for test in self.tests)

    @property
    def scans(self) -> int:
        """Scans done."""
        return sum(test.scans for test in self.tests)

    @property
    def checks(self) -> int:
        """Expectations looked at."""
        return sum(len(test.checks) for test in self.tests)


def sheets_in(path: Path | str) -> list[Path]:
    """Files of program tests: a file, every `.yaml` file of a folder, or the tests shipped with a program.

    Parameters
    ----------
    path : Path or str
        Of a file or folder, or the name of a shipped program.

    Raises
    ------
    ConfigError
        If a folder has none.
    """
    shipped = shipped_programs().get(str(path))
    path = Path(path)
    if shipped is not None and not path.exists():
        return [shipped.with_suffix(".yaml")]
    if not path.is_dir():
        return [path]
    found = sorted(path.glob("*.yaml"))
    if not found:
        raise ConfigError(f"{path}: found no file of program tests in the folder; allowed: a folder with .yaml files")
    return found


def run_sheet(sheet: Sheet | Path | str) -> SheetResult:
    """Run all tests of a file.

    Parameters
    ----------
    sheet : Sheet, Path or str
        The tests, or their file.

    Returns
    -------
    SheetResult
    """
    if not isinstance(sheet, Sheet):
        sheet = read_sheet(sheet)
    results = [_Bench(sheet).run(test) for test in sheet.tests]
    return SheetResult(sheet.path, sheet.name, sheet.every, results, list(sheet.program.warnings))


class _Bench:
    """One program on both of its computers."""

    def __init__(self, sheet: Sheet) -> None:
        self.program = sheet.program
        self.every = sheet.every
        self.cycle = max(1, round(sheet.every * 1000.0))
        self.memory, self.oracle = self.program.memory(), self.program.memory()
        self.reference = Reference(self.program)
        self.follow = sheet.follow
        self.held: set[str] = set()

    def write(self, variable: Variable, value: Any) -> None:
        """Write an input on both; None lets it follow again."""
        if value is None:
            self.held.discard(variable.name)
            return
        self.held.add(variable.name)
        for memory in (self.memory, self.oracle):
            variable.write(memory, value)

    def run(self, test: Test) -> TestResult:
        """Run one test; it ends at a fault, or where machine and interpreter part."""
        result = TestResult(test.name)
        for write in test.writes:
            self.write(write.variable, write.value)
        rows = {row.first: row for row in test.rows}
        pending = [_Pending(row, expected) for row in test.rows for expected in row.expected]
        for number in range(max(row.last for row in test.rows) + 1):
            for target, source in self.follow.values():
                if target.name not in self.held:
                    for memory in (self.memory, self.oracle):
                        target.write(memory, source.read(memory))
            for write in rows[number].writes if number in rows else ():
                self.write(write.variable, write.value)
            problem = self._scan()
            result.scans += 1
            if problem:
                result.problems.append(f"{problem} (scan {number + 1}, at {number * self.every:g} s)")
                break
            for one in pending:
                one.look(number, self.memory)
        result.checks = [check for one in pending for check in one.check(self.every)]
        return result

    def _scan(self) -> str:
        """One scan on both; what went wrong, or nothing."""
        from plantsim.kernels.bench import scan_alone

        status = int(scan_alone(self.program.code, self.memory, self.memory.view("i8"), self.cycle, BUDGET))
        kind = self.reference.scan(self.oracle, 0, self.cycle, BUDGET)
        if status & 255 != kind:
            return f"machine and interpreter end differently, with faults {status & 255} and {kind}"
        if status:
            return self.program.fault_text(status)
        differing = differences(self.program, self.memory, self.oracle)
        if differing:
            return f"machine and interpreter differ in {', '.join(differing[:5])}"
        return ""


class _Pending:
    """An expectation while its scans pass."""

    def __init__(self, row: Row, expected: Expected) -> None:
        self.row, self.expected = row, expected
        self.at: int | None = None
        self.found = ""
        self.passed = True

    def look(self, number: int, memory: Any) -> None:
        """Look after a scan; the first failure stays."""
        if self.passed and self.row.first <= number <= self.row.last:
            value = self.expected.variable.read(memory)
            self.at, self.found = number, shown(self.expected.variable, value)
            self.passed = self.expected.holds(value)

    def check(self, every: float) -> Iterator[Check]:
        """The outcome."""
        name, text = self.expected.variable.name, self.expected.text
        if self.at is None:
            yield Check(self.row.first * every, name, text, "not reached", False)
        else:
            yield Check(self.at * every, name, text, self.found, self.passed)
