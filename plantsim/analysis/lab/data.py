"""Laboratory tests as read from a YAML or CSV file: checked, in SI, each knowing where it stands.

Bad data is refused in the words of the plant files: file, line, key, what was found, what is allowed.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from plantsim.analysis.lab.schema import LAB
from plantsim.analysis.lab.tables import csv_block
from plantsim.errors import ConfigError
from plantsim.physics.water import viscosity
from plantsim.plant.checker import Checker
from plantsim.plant.reader import examine
from plantsim.plant.tree import Findings, Tree

__all__ = [
    "Curve", "DoseSeries", "JarTest", "Lab", "PHSeries", "RestHeights", "Sizes", "TurbidityTest", "YieldTest",
    "read_lab",
]  # fmt: skip


@dataclass(frozen=True)
class Test:
    """Base of all tests: name, and file and line of the table."""

    name: str
    where: str

    @property
    def label(self) -> str:
        """How results name this test."""
        return f"'{self.name}' ({self.where})"


@dataclass(frozen=True)
class JarTest(Test):
    """Turbidity left by coagulant doses; doses [kg/m3 of water], turbidity [NTU], solids [kg/m3] or None."""

    doses: np.ndarray
    turbidity: np.ndarray
    solids: float | None
    clay: float | None
    temperature: float
    slow_mix: float | None
    product: str | None = None
    conditions: str = ""


@dataclass(frozen=True)
class PHSeries(Test):
    """Turbidity left at different pH; dose [kg/m3] or None."""

    ph: np.ndarray
    turbidity: np.ndarray
    dose: float | None = None


@dataclass(frozen=True)
class Curve(Test):
    """A settling cylinder; times [s], heights [m], solids [kg/m3], polymer [kg/kg], temperature [degC]."""

    times: np.ndarray
    heights: np.ndarray
    solids: float
    polymer: float = 0.0
    temperature: float = 20.0
    clay: float | None = None
    as_treated: bool = False

    @property
    def viscosity_ratio(self) -> float:
        """Viscosity of the test's water over that at 20 degC: what brings its speeds to 20 degC."""
        return float(viscosity(self.temperature) / viscosity(20.0))


@dataclass(frozen=True)
class DoseSeries(Test):
    """Polymer doses [kg/kg] against initial settling rate [m/s], and against turbidity [NTU]."""

    rate_doses: np.ndarray
    rates: np.ndarray
    clarity_doses: np.ndarray
    clarity: np.ndarray
    solids: float | None = None
    clay: float | None = None
    temperature: float = 20.0


@dataclass(frozen=True)
class RestHeights(Test):
    """Cylinders at rest: filled height [m], solids [kg/m3], rest height [m]."""

    filled: np.ndarray
    solids: np.ndarray
    rest: np.ndarray


@dataclass(frozen=True)
class YieldTest(Test):
    """Yield stress [Pa] against solids: mass fraction [-] or concentration [kg/m3]."""

    solids: np.ndarray
    stress: np.ndarray
    by_weight: bool


@dataclass(frozen=True)
class TurbidityTest(Test):
    """Turbidity [NTU] against suspended solids [kg/m3] of fines or colloid."""

    of: str
    solids: np.ndarray
    turbidity: np.ndarray


@dataclass(frozen=True)
class Sizes(Test):
    """Particle sizes [m] and the share of mass passing them [-]."""

    sizes: np.ndarray
    passing: np.ndarray

    def size_at(self, share: float) -> float:
        """Size [m] that a share of the mass passes, on a logarithmic scale of size.

        Raises
        ------
        ValueError
            When the share lies outside the table.
        """
        if not self.passing[0] <= share <= self.passing[-1]:
            raise ValueError(
                f"{self.label}: {100 * share:g} % lies outside the measured {100 * self.passing[0]:g} to "
                f"{100 * self.passing[-1]:g} %"
            )
        keep = np.concatenate([[True], np.diff(self.passing) > 0.0])
        return float(np.exp(np.interp(share, self.passing[keep], np.log(np.maximum(self.sizes[keep], 1e-9)))))

    def share_below(self, size: float) -> float:
        """Share of the mass [-] below a size [m]; the first or last reading outside the table."""
        return float(np.interp(np.log(size), np.log(np.maximum(self.sizes, 1e-9)), self.passing))


@dataclass(frozen=True)
class Lab:
    """All tests of one water."""

    source: str
    sample: str = ""
    taken: str = ""
    tested_by: str = ""
    solids_density: float | None = None
    solids_density_where: str = ""
    clay: float | None = None
    sizes: Sizes | None = None
    jar_tests: tuple[JarTest, ...] = ()
    ph_series: tuple[PHSeries, ...] = ()
    curves: tuple[Curve, ...] = ()
    dose_series: tuple[DoseSeries, ...] = ()
    rest_heights: tuple[RestHeights, ...] = ()
    yields: tuple[YieldTest, ...] = ()
    turbidity: tuple[TurbidityTest, ...] = ()
    files: tuple[str, ...] = field(default=())

    def tests(self) -> tuple[Test, ...]:
        """All tables of the file, in order of kind."""
        groups: tuple[tuple[Test, ...], ...] = (
            self.jar_tests,
            self.ph_series,
            self.curves,
            self.dose_series,
            self.rest_heights,
            self.yields,
            self.turbidity,
        )
        return tuple(test for group in groups for test in group)

    def joined(self, other: Lab) -> Lab:
        """Join the tests of two files; the first file's facts about the sample come first.

        Raises
        ------
        ConfigError
            When a name stands in both.
        """
        names = {test.name: test for test in self.tests()}
        twice = [test for test in other.tests() if test.name in names]
        if twice:
            raise ConfigError(
                [
                    f"{test.where}: found the test '{test.name}', which stands at {names[test.name].where} "
                    "already; allowed: each name once"
                    for test in twice
                ]
            )
        pick = {key: getattr(self, key) or getattr(other, key) for key in ("sample", "taken", "tested_by", "sizes")}
        if self.solids_density is None:
            pick |= {
                "solids_density": other.solids_density,
                "solids_density_where": other.solids_density_where,
            }
        else:
            pick |= {"solids_density": self.solids_density, "solids_density_where": self.solids_density_where}
        pick["clay"] = self.clay if self.clay is not None else other.clay
        lists = {
            key: getattr(self, key) + getattr(other, key)
            for key in (
                "jar_tests",
                "ph_series",
                "curves",
                "dose_series",
                "rest_heights",
                "yields",
                "turbidity",
                "files",
            )
        }
        return Lab(source=f"{self.source}, {other.source}", **pick, **lists)


def read_lab(*paths: Path | str) -> Lab:
    """Read laboratory files, YAML or CSV, and join them.

    Parameters
    ----------
    *paths : Path or str
        Files; what ends in .csv is read as a table with units in its header, all else as YAML.

    Returns
    -------
    Lab
        Checked tests in SI.

    Raises
    ------
    ConfigError
        With every finding of a file, one line each.
    """
    if not paths:
        raise ConfigError("found no laboratory file; allowed: one or more YAML or CSV files")
    labs = [_read(Path(path)) for path in paths]
    lab = labs[0]
    for other in labs[1:]:
        lab = lab.joined(other)
    return lab


def _read(path: Path) -> Lab:
    if path.suffix.casefold() == ".csv":
        tree = _read_csv(path)
    else:
        tree = examine(path, LAB)
    tree.raise_findings()
    lab = _lab(tree, str(path))
    if not lab.tests() and lab.sizes is None and lab.solids_density is None:
        raise ConfigError(f"{path}: found no test; allowed: one or more of {', '.join(list(LAB.fields)[4:])}")
    return lab


def _read_csv(path: Path) -> Tree:
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        reason = "no such file" if isinstance(error, FileNotFoundError) else "it is not readable text"
        raise ConfigError(f"{path}: found that {reason}; allowed: a CSV file with units in its header") from None
    findings = Findings()
    block = csv_block(text, str(path), findings)
    if block is None:
        findings.raise_if_any()
    assert block is not None
    return Checker(findings).check(LAB, block)


def _column(rows: Any, index: int) -> np.ndarray:
    return np.array([row[index] for row in rows or ()], float)


def _lab(tree: Tree, source: str) -> Lab:
    """Turn the checked tree into tests."""

    def each(key: str) -> list[tuple[str, str, Tree]]:
        return [(name, str(tree[key].where(name)), test) for name, test in tree[key].items()]

    def clay(test: Tree) -> float | None:
        return test.clay if test.clay is not None else tree.solids.clay

    solids = tree.solids
    sizes = None
    if solids.sizes is not None:
        sizes = Sizes("sizes", str(solids.where("sizes")), _column(solids.sizes, 0), _column(solids.sizes, 1))
    return Lab(
        source=source, sample=tree.sample or "", taken=str(tree.taken or ""), tested_by=tree.tested_by or "",
        solids_density=solids.density, solids_density_where=str(solids.where("density")), clay=solids.clay,
        sizes=sizes,
        jar_tests=tuple(
            JarTest(name, where, _column(t.points, 0), _column(t.points, 1), t.solids, clay(t),
                    t.temperature - 273.15, t.slow_mix, t.product, _conditions(t))
            for name, where, t in each("jar_tests")),
        ph_series=tuple(PHSeries(name, where, _column(t.points, 0), _column(t.points, 1), t.dose)
                        for name, where, t in each("ph_series")),
        curves=tuple(
            Curve(name, where, _column(t.points, 0), _column(t.points, 1), t.solids, t.polymer,
                  t.temperature - 273.15, clay(t), t.as_treated)
            for name, where, t in each("settling_curves")),
        dose_series=tuple(
            DoseSeries(name, where, _column(t.rates, 0), _column(t.rates, 1), _column(t.clarity, 0),
                       _column(t.clarity, 1), t.solids, clay(t), t.temperature - 273.15)
            for name, where, t in each("dose_series")),
        rest_heights=tuple(
            RestHeights(name, where, _column(t.points, 0), _column(t.points, 1), _column(t.points, 2))
            for name, where, t in each("rest_heights")),
        yields=tuple(
            YieldTest(name, where, _column(rows, 0), _column(rows, 1), by_weight)
            for name, where, t in each("yield_stress")
            for rows, by_weight in ((t.by_weight, True), (t.by_concentration, False)) if rows is not None),
        turbidity=tuple(TurbidityTest(name, where, t.of, _column(t.points, 0), _column(t.points, 1))
                        for name, where, t in each("turbidity")),
        files=(source,),
    )  # fmt: skip


def _conditions(test: Tree) -> str:
    """Say under which conditions jars were run, in the words of the file."""
    words = (("ph", "pH"), ("rapid_mix", "rapid mixing"), ("slow_mix", "slow mixing"), ("settle", "settling"))
    plain = test.plain()
    parts = [f"{word} {plain[key]}" for key, word in words if test[key] is not None]
    return ", ".join(parts)
