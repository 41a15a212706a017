"""The water of a plant written from laboratory fits: a YAML file that says of every number where it comes from.

A plant names it (`water: {file: my-water.yaml}`), and what the plant file gives itself goes over it. What the tests
could not carry is left to the plant's defaults, and said so with the test to add. The file is to be checked by a
person before a plant is built on it: it has a line for the name.
"""

from __future__ import annotations

import datetime as dt
import math
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from plantsim.analysis.lab.data import Curve, Lab
from plantsim.analysis.lab.fits import LabFits, kynch_points, like_treated, usable
from plantsim.analysis.lab.regression import Fit, FitRefused, Parameter
from plantsim.physics.flocculation import bridging_factor
from plantsim.physics.settling import terminal_velocity_haider_levenspiel
from plantsim.physics.water import density, viscosity
from plantsim.plant.reader import read
from plantsim.plant.schema import Field, Number, Quantity, Section
from plantsim.plant.sections import SETTLING, WATER
from plantsim.plant.tree import Tree
from plantsim.units import QuantityError, format_si

COARSE_LIMIT = 63e-6
"""Size that parts coarse from fines [m]: silt ends and sand begins at 63 um (ISO 14688-1)."""


@dataclass(frozen=True)
class Value:
    """One line of the file: key, text with unit, and the lines that say where it comes from."""

    key: str
    text: str
    source: tuple[str, ...]


@dataclass
class WaterFile:
    """What goes into a water file, and what was left out with the reason."""

    values: list[Value] = field(default_factory=list)
    left_out: list[tuple[str, str]] = field(default_factory=list)
    header: list[str] = field(default_factory=list)

    def keys(self) -> list[str]:
        """Keys written."""
        return [value.key for value in self.values]

    def text(self) -> str:
        """The file as text."""
        lines = [part for line in self.header for part in _comment(line)]
        for value in self.values:
            lines += [
                "",
                *(part for line in value.source for part in _comment(line)),
                f"{value.key}: {value.text}",
            ]
        if self.left_out:
            lines += ["", "# Not carried by these tests, so left to the defaults of the plant:"]
            lines += [part for key, why in self.left_out for part in _comment(f"  {key}: {why}")]
        return "\n".join(lines) + "\n"

    def write(self, path: Path | str) -> Path:
        """Write the file.

        Parameters
        ----------
        path : Path or str
            Where to.

        Returns
        -------
        Path
            The same path.
        """
        path = Path(path)
        path.write_text(self.text(), encoding="utf-8")
        return path


def read_water(path: Path | str) -> Tree:
    """Read a water file on its own, checked as the `water` section of a plant is.

    Raises
    ------
    ConfigError
        With every finding.
    """
    return read(Path(path), WATER)


def make_water(fits: LabFits, date: dt.date | None = None) -> WaterFile:
    """Choose from fits what a plant's water needs.

    Parameters
    ----------
    fits : LabFits
        As made by `fit_all`.
    date : date, optional
        Date written into the file; today when left out.

    Returns
    -------
    WaterFile
    """
    return _Maker(fits, date or dt.date.today()).make()


def _default(key: str) -> float:
    """Default of a key of the water section, SI."""
    kind = WATER.fields[key]
    assert isinstance(kind, Number | Quantity)
    return float(kind.parse(str(kind.default)))


class _Maker:
    def __init__(self, fits: LabFits, date: dt.date) -> None:
        self.fits, self.lab, self.file = fits, fits.lab, WaterFile()
        self.file.header = _header(fits.lab, date)

    def make(self) -> WaterFile:
        self._density()
        self._coagulant()
        polymer = self.fits.best("polymer")
        self._settling(polymer)
        self._compression()
        self._turbidity()
        self._yield()
        self._coarse()
        written = set(self.file.keys())
        covered = written | {key for key, _ in self.file.left_out}
        for refusal in self.fits.refused:
            self.file.left_out.append(("refused", str(refusal)))
        others = [key for key in WATER.fields if key not in covered and key != "file"]
        if others:
            self.file.left_out.append(("not tested", ", ".join(others)))
        return self.file

    # ------------------------------------------------------------------ helpers
    def _add(self, key: str, text: str, *source: str) -> bool:
        """Write a value if the plant accepts it; else say why not."""
        try:
            _accept(WATER.fields[key], text)
        except QuantityError as error:
            self._leave(key, f"the fit gives {text}, but {error}")
            return False
        self.file.values.append(Value(key, text, source))
        return True

    def _leave(self, key: str, why: str) -> None:
        self.file.left_out.append((key, why))

    def _clay_factor(self, slope: float, clay: float | None) -> tuple[float, str]:
        if clay is None:
            return 1.0, "sticky clay of the sample not given: taken as none"
        return (
            1.0 + slope * clay,
            f"sample with {100 * clay:g} % sticky clay brought to none with the plant's rise of {slope:g}",
        )

    # ------------------------------------------------------------------ each group of values
    def _density(self) -> None:
        if self.lab.solids_density is not None:
            self._add(
                "solids_density",
                format_si(self.lab.solids_density, "kg/m3", 5, "density"),
                f"measured: {self.lab.solids_density_where}",
            )

    def _coagulant(self) -> None:
        fit = self.fits.best("coagulant")
        if fit is None:
            return
        jars = next(j for j in self.lab.jar_tests if j.label in fit.tests)
        demand = fit["demand"]
        if jars.solids is None:
            self._leave(
                "coagulant_demand",
                f"best dose {_shown(demand, 'mg/L', 'dose_per_volume')}, but the jars' solids are "
                "not given; test to add: dry solids of the jars",
            )
        else:
            factor, words = self._clay_factor(_default("coagulant_demand_clay"), jars.clay)
            per = [1e6 * x / jars.solids / factor for x in (demand.value, demand.low, demand.high)]
            self._add(
                "coagulant_demand",
                f"{per[0]:.4g} g/t",
                f"best dose {_shown(demand, 'mg/L', 'dose_per_volume')} over {jars.solids:g} g/L of solids; "
                f"95 % interval {per[1]:.4g} to {per[2]:.4g} g/t",
                words,
                *_origin(fit, jars.conditions),
            )
        window = fit["window"]
        if usable(window):
            self._add(
                "coagulant_window",
                f"{window.value:.3g}",
                f"width of the dose window: {window.text()}",
                *_origin(fit),
            )
        else:
            self._leave(
                "coagulant_window",
                f"{window.text()} is too wide; test to add: jars far below and far above the best "
                "dose, one without coagulant",
            )
        strength = fit["strength"]
        if jars.slow_mix is None:
            self._leave("coagulant_time", "the time of slow mixing of the jars is not given")
        elif not usable(strength):
            self._leave(
                "coagulant_time",
                f"strength {strength.text()} is too wide; test to add: a jar without coagulant",
            )
        else:
            ratio = float(viscosity(20.0) / viscosity(jars.temperature))
            seconds = [jars.slow_mix * ratio / x for x in (strength.value, strength.high, strength.low)]
            self._add(
                "coagulant_time",
                f"{seconds[0]:.3g} s",
                f"slow mixing of {jars.slow_mix:g} s over the strength {strength.text()}: {seconds[1]:.3g} to "
                f"{seconds[2]:.3g} s; at 20 degC",
                *_origin(fit),
            )

    def _settling(self, polymer: Fit | None) -> None:
        group = like_treated(self.lab.curves)
        if polymer is not None:
            series = next(s for s in self.lab.dose_series if s.label in polymer.tests)
            factor, words = self._clay_factor(_default("polymer_optimum_clay"), series.clay)
            optimum = polymer["optimum"]
            per = [1e6 * x / factor for x in (optimum.value, optimum.low, optimum.high)]
            self._add(
                "polymer_optimum",
                f"{per[0]:.4g} g/t",
                f"dose of the fastest settling: 95 % interval {per[1]:.4g} to {per[2]:.4g} g/t",
                words,
                *_origin(polymer),
            )
        else:
            self._clearest()
        if not group:
            if polymer is not None:
                self._gain(polymer)
            return
        treated = group[0].as_treated or (group[0].polymer > 0.0 and polymer is None)
        if treated:
            why = (
                "the sample came as treated in the plant"
                if group[0].as_treated
                else "the cylinders had polymer and no dose series tells its gain"
            )
            self._add(
                "polymer_gain",
                "1",
                f"{why}: the settling law below holds as tested, whatever the plant doses;",
                "test to add for a gain: a dose series from no polymer to beyond the best",
            )
            share = 1.0
        else:
            if polymer is not None:
                self._gain(polymer)
            share = (
                bridging_factor(group[0].polymer, polymer.value("optimum"), polymer.value("gain")) if polymer else 1.0
            )
        clay, words = (
            (1.0, "as treated, sticky clay not taken out")
            if treated
            else self._clay_factor(_default("clay_slowing") - 1.0, group[0].clay)
        )
        scale = clay / share
        notes = [words.replace("the plant's rise of", "the plant's slowing less one of")]
        if share != 1.0:
            notes.append(f"speeds over the bridging factor {share:.3g} of {1e6 * group[0].polymer:g} g/t of polymer")
        self._law(group, scale, notes)

    def _clearest(self) -> None:
        """Without rates, the dose of the clearest water stands for the best dose."""
        fit = self.fits.best("clarity")
        if fit is None:
            return
        series = next(s for s in self.lab.dose_series if s.label in fit.tests)
        factor, words = self._clay_factor(_default("polymer_optimum_clay"), series.clay)
        best = fit["optimum"]
        per = [1e6 * x / factor for x in (best.value, best.low, best.high)]
        self._add("polymer_optimum", f"{per[0]:.4g} g/t",
                  f"dose of the clearest water, for no settling rates were given: 95 % interval {per[1]:.4g} to "
                  f"{per[2]:.4g} g/t", words, *_origin(fit))  # fmt: skip

    def _gain(self, polymer: Fit) -> None:
        self._add(
            "polymer_gain",
            f"{polymer.value('gain'):.4g}",
            f"rate at the best dose over that without polymer: {polymer['gain'].text()}",
            *_origin(polymer),
        )

    def _law(self, group: Sequence[Curve], scale: float, notes: list[str]) -> None:
        """Take the law that fits best; a table of tangents where none fits well."""
        labels = {curve.label for curve in group}
        candidates = [fit for fit in self.fits.fits.get("settling", ()) if set(fit.tests) <= labels]
        # the whole curve of one cylinder only where several cylinders gave no law, and it fits within a fiftieth
        if not candidates:
            candidates = [
                fit
                for fit in self.fits.fits.get("whole_curve", ())
                if set(fit.tests) <= labels and fit.spread <= 0.02 * float(fit.y[0])
            ]
        for fit in sorted(candidates, key=lambda fit: fit.spread):
            v0 = format_si(scale * fit.value("v0"), "m/h", 4)
            second = fit.parameters[1]
            text = (
                f"{{law: vesilind, v0: {v0}, cs: {1.0 / second.value:.4g} g/L}}"
                if second.name == "r"
                else f"{{law: richardson-zaki, v0: {v0}, n: {second.value:.4g}}}"
            )
            try:
                _accept(SETTLING.sections["vesilind"].fields["v0"], v0)
                if second.name == "n":
                    _accept(SETTLING.sections["richardson-zaki"].fields["n"], f"{second.value:.4g}")
            except QuantityError:
                continue
            speed = fit["v0"]
            self.file.values.append(
                Value(
                    "settling",
                    text,
                    (
                        f"v0 as tested, 20 degC: {_shown(speed, 'm/h', 'velocity')}; {second.name}: {second.text()}",
                        *notes,
                        *_origin(fit),
                    ),
                )
            )
            return
        for curve in group:
            try:
                solids, speeds = kynch_points(curve)
            except FitRefused as refusal:
                self.fits.refused.append(refusal)
                continue
            rows = ", ".join(f"[{c:.4g} g/L, {format_si(scale * v, 'm/h', 4)}]" for c, v in zip(solids, speeds))
            self.file.values.append(
                Value(
                    "settling",
                    f"{{law: points, points: [{rows}]}}",
                    (
                        f"tangents of {curve.label} after Kynch (1952), 20 degC, no interval: no law fitted well "
                        f"enough",
                        *notes,
                        "test to add: cylinders at three or more solids, read every 5 to 15 s at first",
                    ),
                )
            )
            return
        self._leave("settling", "no cylinder carries a settling law")

    def _compression(self) -> None:
        fit = self.fits.best("compression")
        highest = max((c.solids * float(c.heights[0]) / float(c.heights[-1]) for c, _ in self.fits.gel), default=0.0)
        for rest in self.lab.rest_heights:
            highest = max(highest, float(max(rest.filled * rest.solids / rest.rest)))
        if fit is not None:
            self._add("gel", f"{fit.value('gel'):.4g} g/L", f"gel point: {fit['gel'].text()}", *_origin(fit))
            k = fit.value("k") if len(fit.parameters) > 2 else 6.0
            text = f"{{law: power, s0: {fit.value('s0'):.4g} Pa, k: {k:.4g}}}"
            held = f"k: {fit['k'].text()}" if len(fit.parameters) > 2 else f"k held at {k:g}"
            self.file.values.append(Value("stress", text, (f"s0: {fit['s0'].text()}; {held}", *_origin(fit))))
        elif self.fits.gel:
            curve, gel = min(self.fits.gel, key=lambda pair: pair[1].high / pair[1].low)
            self._add(
                "gel",
                f"{gel.value:.4g} g/L",
                f"gel point: {gel.text()}; from the end of {curve.label}",
                "test to add: heights at rest of the same mud filled to loads over a factor of five",
            )
            self._leave("stress", "one end height tells no compression; test to add: heights at rest at several loads")
        if highest > 0.0:
            # a plant's bed is deeper than a cylinder's; the table of the law must not be much wider than its solids
            packed = min(4.0 * highest, self.fits.solids_density)
            self._add(
                "densest",
                f"{max(packed, 10.5):.4g} g/L",
                f"four times the mean solids at rest, {highest:.4g} g/L: room "
                "for a deeper bed; common practice, no source, not measured",
            )

    def _turbidity(self) -> None:
        for of in ("fines", "colloid"):
            labels = {t.label for t in self.lab.turbidity if t.of == of}
            fits = [fit for fit in self.fits.fits.get("turbidity", ()) if set(fit.tests) <= labels]
            if fits:
                fit = min(fits, key=lambda fit: fit.spread)
                k = fit["k"]
                self._add(
                    f"turbidity_{of}",
                    f"{1e-3 * k.value:.4g}",
                    f"NTU per mg/L: 95 % interval {1e-3 * k.low:.4g} to {1e-3 * k.high:.4g}",
                    *_origin(fit),
                )

    def _yield(self) -> None:
        fit = self.fits.best("yield")
        if fit is not None and self._add(
            "yield_b", f"{fit.value('b'):.4g}", f"exponent: {fit['b'].text()}", *_origin(fit)
        ):
            self._add(
                "yield_a",
                f"{fit.value('a'):.5g} Pa",
                f"factor: {fit['a'].text()}; goes with the exponent above alone",
            )

    def _coarse(self) -> None:
        sizes = self.lab.sizes
        if sizes is None:
            return
        below = sizes.share_below(COARSE_LIMIT)
        if not 0.0 < below < 0.97 or sizes.passing[-1] < 0.5 * (1.0 + below):
            self._leave(
                "coarse_size",
                f"{100 * below:.3g} % of the sample lies below 0.063 mm: too little coarse, or too few "
                "sizes above it, to tell its size",
            )
            return
        d = sizes.size_at(0.5 * (1.0 + below))
        v = terminal_velocity_haider_levenspiel(
            d, self.fits.solids_density, float(density(20.0)), float(viscosity(20.0))
        )
        origin = f"from {sizes.label}: middle of what lies above 0.063 mm"
        if self._add("coarse_size", format_si(d, "mm", 3), origin):
            self._add(
                "coarse_velocity",
                format_si(v, "mm/s", 3),
                "free settling of that size as a sphere, 20 degC: Haider and "
                "Levenspiel (1989), Powder Technol. 58, 63-70",
                origin,
            )


def _comment(line: str) -> list[str]:
    """A comment, broken into lines no wider than a page; what goes on is indented."""
    indent = line[: len(line) - len(line.lstrip())]
    parts = textwrap.wrap(line, 108, initial_indent=indent, subsequent_indent=indent + "  ", break_long_words=False)
    return [f"# {part}".rstrip() for part in parts or [""]]


def _accept(kind: Field, text: str) -> None:
    """Check a text against its field; a block is checked when the file is read."""
    if isinstance(kind, Number | Quantity):
        kind.parse(text)
    else:
        assert isinstance(kind, Section), kind


def _shown(parameter: Parameter, unit: str, dimension: str) -> str:
    """A parameter with its interval in a unit of the trade."""
    value, low, high = (
        format_si(x, unit, 4, dimension) if math.isfinite(x) else "inf"
        for x in (parameter.value, parameter.low, parameter.high)
    )
    return f"{value} ({parameter.kind} {low} to {high})"


def _origin(fit: Fit, conditions: str = "") -> tuple[str, ...]:
    """Where a fit comes from: tables, law, quality, cautions."""
    quality = (
        f"r2 {fit.r2:.3f}, {len(fit.y)} readings, standard error {100 * fit.spread:.2g} %"
        if fit.relative
        else (f"r2 {fit.r2:.4f}, {len(fit.y)} readings, standard error {fit.spread:.2g}")
    )
    lines = [
        f"from {', '.join(fit.tests)}" + (f" ({conditions})" if conditions else ""),
        f"fit: {fit.formula}; {quality}; {'; '.join(fit.checks)}",
    ]
    return (*lines, *(f"caution: {caution}" for caution in fit.cautions))


def _header(lab: Lab, date: dt.date) -> list[str]:
    lines = [
        "Water and solids from laboratory tests, for the `water` section of a plant: {file: this file}.",
        f"Sample: {lab.sample or 'not named'}" + (f", taken {lab.taken}" if lab.taken else ""),
    ]
    if lab.tested_by:
        lines.append(f"Tested by: {lab.tested_by}")
    return [
        *lines,
        f"Tests: {', '.join(lab.files)}",
        f"Written on {date.isoformat()}.",
        "By whom checked:",
        "",
        "A test holds for its sample. Another digging face, season or product is another water: test again.",
    ]
