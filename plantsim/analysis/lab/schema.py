"""What may stand in a laboratory file: jar tests, settling cylinders, dose series, sizes, yield, turbidity."""

from __future__ import annotations

from plantsim.plant.schema import (
    Choice,
    Flag,
    MapOf,
    Maybe,
    Moment,
    Name,
    Number,
    Points,
    Quantity,
    Section,
    Text,
)
from plantsim.plant.tree import Tree

Q = Quantity
_TEST = Name("test")
_TEMPERATURE = Q("temperature", "20 degC", lo="0 degC", hi="60 degC", doc="temperature of the test")
_SOLIDS = Q("concentration", above="0 g/L", hi="1500 g/L", doc="dry solids in the sample tested")
_CLAY = Maybe(Q("fraction", lo="0 %", hi="100 %"), doc="sticky-clay part of the fines of this sample")


def _starts_at_zero(test: Tree) -> None:
    if test.points[0][0] != 0.0:
        test.finding(
            "points.0",
            "found a first reading after time 0; allowed: a first row at time 0, whose height is "
            "the filled height of the cylinder",
        )


def _rests_lower(test: Tree) -> None:
    for i, (start, _, rest) in enumerate(test.points):
        if not 0.0 < rest < start:
            test.finding(
                f"points.{i}",
                f"found a rest height of {rest:g} m in a cylinder filled to {start:g} m; "
                "allowed: a rest height above 0 and below the filled height",
            )


def _one_of(*keys: str):  # type: ignore[no-untyped-def]
    def rule(test: Tree) -> None:
        if all(test[key] is None for key in keys):
            test.finding("", f"found none of {', '.join(keys)}; allowed: one of them, or more, as rows of readings")

    return rule


SOLIDS = Section(
    "The solids of the sample.",
    density=Maybe(Q("density", lo="1200 kg/m3", hi="5000 kg/m3"), doc="density of the dry solids"),
    clay=_CLAY,
    sizes=Maybe(
        Points(
            ("length", "fraction"),
            order=("rising", "not falling"),
            least=3,
            names=("size", "passing"),
            lo=("0 mm", "0 %"),
            hi=(None, "100 %"),
        ),
        doc="size and share by mass passing it",
    ),
)
JAR_TEST = Section(
    "A coagulant jar test: turbidity left in each jar.",
    product=Maybe(Text(), doc="product dosed"),
    solids=Maybe(_SOLIDS, doc="dry solids in the jars; without them no dose per tonne follows"),
    clay=_CLAY,
    temperature=_TEMPERATURE,
    ph=Maybe(Number(lo=0.0, hi=14.0), doc="pH of the jars"),
    rapid_mix=Maybe(Q("time", lo="0 s", hi="1 h"), doc="rapid mixing"),
    slow_mix=Maybe(Q("time", above="0 s", hi="4 h"), doc="slow mixing"),
    settle=Maybe(Q("time", lo="0 s", hi="24 h"), doc="settling before the reading"),
    points=Points(
        ("dose_per_volume", "turbidity"),
        order=("rising", None),
        least=3,
        names=("dose", "turbidity"),
        lo=("0 mg/L", "0 NTU"),
        doc="coagulant product dosed and turbidity left",
    ),
)
PH_SERIES = Section(
    "Jars at one coagulant dose and different pH.",
    dose=Maybe(Q("dose_per_volume", lo="0 mg/L"), doc="coagulant product in every jar"),
    points=Points(
        ("number", "turbidity"),
        order=("rising", None),
        least=3,
        names=("pH", "turbidity"),
        lo=(None, "0 NTU"),
        doc="pH and turbidity left",
    ),
)
CURVE = Section(
    "A settling cylinder: height of the interface in time.",
    solids=_SOLIDS,
    polymer=Q("dose_per_mass", "0 g/t", lo="0 g/t", hi="5000 g/t", doc="polymer dosed per dry solids"),
    as_treated=Flag(False, doc="yes: the sample came treated as in the plant, so its speeds are the plant's own"),
    clay=_CLAY,
    temperature=_TEMPERATURE,
    points=Points(
        ("time", "length"),
        order=("rising", "not rising"),
        least=4,
        names=("time", "height"),
        lo=("0 s", "0 m"),
        doc="time and height of the interface, the filled height at time 0 first",
    ),
).with_rule(_starts_at_zero)
DOSE_SERIES = Section(
    "Cylinders of one sample at different polymer doses.",
    solids=Maybe(_SOLIDS, doc="dry solids in the sample"),
    clay=_CLAY,
    temperature=_TEMPERATURE,
    rates=Maybe(
        Points(
            ("dose_per_mass", "velocity"),
            order=("rising", None),
            least=3,
            names=("dose", "rate"),
            lo=("0 g/t", "0 m/h"),
        ),
        doc="polymer per dry solids and initial settling rate",
    ),
    clarity=Maybe(
        Points(
            ("dose_per_mass", "turbidity"),
            order=("rising", None),
            least=3,
            names=("dose", "turbidity"),
            lo=("0 g/t", "0 NTU"),
        ),
        doc="polymer per dry solids and turbidity of the water above the mud",
    ),
).with_rule(_one_of("rates", "clarity"))
REST_HEIGHTS = Section(
    "Cylinders of one mud left until they rest, filled to different heights or solids.",
    points=Points(
        ("length", "concentration", "length"),
        order=(None, None, None),
        least=3,
        names=("filled height", "solids", "rest height"),
        lo=("0 m", "0 g/L", "0 m"),
        doc="filled height, solids and height of the mud at rest",
    ),
).with_rule(_rests_lower)
YIELD = Section(
    "Yield stress of underflow at different solids.",
    by_weight=Maybe(
        Points(
            ("fraction", "stress"),
            order=("rising", None),
            least=3,
            names=("solids", "yield stress"),
            lo=("0 %", "0 Pa"),
            hi=("90 %", None),
        ),
        doc="solids by weight and yield stress",
    ),
    by_concentration=Maybe(
        Points(
            ("concentration", "stress"),
            order=("rising", None),
            least=3,
            names=("solids", "yield stress"),
            lo=("0 g/L", "0 Pa"),
        ),
        doc="dry solids per volume and yield stress",
    ),
).with_rule(_one_of("by_weight", "by_concentration"))
TURBIDITY = Section(
    "Turbidity of one kind of solids at different concentrations.",
    of=Choice(("fines", "colloid"), "fines", doc="fines: they settle out in hours; colloid: what stays up"),
    points=Points(
        ("concentration", "turbidity"),
        order=("rising", None),
        least=3,
        names=("solids", "turbidity"),
        lo=("0 mg/L", "0 NTU"),
        doc="suspended solids and turbidity",
    ),
)
LAB = Section(
    "Laboratory tests of one water.",
    sample=Maybe(Text(), doc="what was sampled, where"),
    taken=Maybe(Moment(), doc="when it was taken"),
    tested_by=Maybe(Text(), doc="who tested it"),
    note=Maybe(Text(), doc="a line about it"),
    solids=SOLIDS.about("the solids of the sample"),
    jar_tests=MapOf(JAR_TEST, key=_TEST, doc="coagulant jar tests by name"),
    ph_series=MapOf(PH_SERIES, key=_TEST, doc="jars at different pH, by name"),
    settling_curves=MapOf(CURVE, key=_TEST, doc="settling cylinders by name"),
    dose_series=MapOf(DOSE_SERIES, key=_TEST, doc="polymer dose series by name"),
    rest_heights=MapOf(REST_HEIGHTS, key=_TEST, doc="heights of mud at rest, by name"),
    yield_stress=MapOf(YIELD, key=_TEST, doc="yield stress against solids, by name"),
    turbidity=MapOf(TURBIDITY, key=_TEST, doc="turbidity against solids, by name"),
)
