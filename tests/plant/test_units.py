"""The units edge: factors against NIST SP 811 and the pint library, reading, messages, and the round trip."""

from __future__ import annotations

import math
import subprocess
import sys

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from plantsim.errors import UnitError
from plantsim.units import DIMENSIONS, exact_text, format_si, from_si, to_si, unit_factor

# NIST Special Publication 811 (2008), Appendix B.8: factors to seven figures, recalled from memory.
SP811 = [
    ("ft", "length", 3.048e-1),
    ("in", "length", 2.54e-2),
    ("yd", "length", 9.144e-1),
    ("mi", "length", 1.609344e3),
    ("ft2", "area", 9.290304e-2),
    ("in2", "area", 6.4516e-4),
    ("acre", "area", 4.046873e3),
    ("ha", "area", 1e4),
    ("gal", "volume", 3.785412e-3),
    ("ft3", "volume", 2.831685e-2),
    ("yd3", "volume", 7.645549e-1),
    ("gpm", "flow", 6.309020e-5),
    ("cfs", "flow", 2.831685e-2),
    ("ft3/min", "flow", 4.719474e-4),
    ("gal/d", "flow", 4.381264e-8),
    ("lb", "mass", 4.535924e-1),
    ("short_ton", "mass", 9.071847e2),
    ("long_ton", "mass", 1.016047e3),
    ("lb/h", "mass_flow", 1.259979e-4),
    ("lb/min", "mass_flow", 7.559873e-3),
    ("short_ton/h", "mass_flow", 2.519958e-1),
    ("lb/ft3", "density", 1.601846e1),
    ("lb/gal", "concentration", 1.198264e2),
    ("ft/h", "velocity", 8.466667e-5),
    ("ft/min", "velocity", 5.08e-3),
    ("ft/s", "velocity", 3.048e-1),
    ("psi", "pressure", 6.894757e3),
    ("bar", "pressure", 1e5),
    ("psf", "stress", 4.788026e1),
    ("cP", "viscosity", 1e-3),
    ("cSt", "kinematic_viscosity", 1e-6),
    ("hp", "power", 7.456999e2),
    ("kWh", "energy", 3.6e6),
    ("deg", "angle", 1.745329e-2),
    ("rpm", "speed", 1.047198e-1),
    ("ft.lbf", "torque", 1.355818),
    ("in.lbf", "torque", 1.129848e-1),
    ("lbf", "force", 4.448222),
    ("lb.ft2", "inertia", 4.214011e-2),
    ("t", "mass", 1e3),
    ("L", "volume", 1e-3),
]
# What pint has no word for: trade units that are a plain number on a scale of their own.
NOT_IN_PINT = {"NTU", "FNU", "Kv", "Cv", "starts/h", "starts/d"}
PINT_WORDS = {
    "gpm": "gallon/min",
    "cfs": "foot**3/s",
    "Mgal": "1e6*gallon",
    "kgal": "1e3*gallon",
    "psf": "lbf/ft**2",
    "%": "percent",
    "rev": "revolution",
    "P": "poise",
    "d": "day",
}
ENTRIES = [
    (unit, name)
    for name, place in DIMENSIONS.items()
    for unit in place.units
    if unit not in NOT_IN_PINT and name != "kv"
]


@pytest.mark.parametrize("unit, dimension, factor", SP811)
def test_factor_equals_nist_sp811(unit, dimension, factor):
    """The factors of NIST SP 811 Appendix B.8 are met to the seven figures printed there."""
    assert f"{unit_factor(unit, dimension)[0]:.6e}" == f"{factor:.6e}"


@pytest.mark.parametrize(
    "text, kelvin",
    [
        ("0 degC", 273.15),
        ("32 degF", 273.15),
        ("212 degF", 373.15),
        ("-40 degF", 233.15),
        ("-40 degC", 233.15),
    ],
)
def test_fixed_points_of_temperature(text, kelvin):
    """NIST SP 811 B.8: T/K = t/degC + 273.15 and T/K = (t/degF + 459.67)/1.8, to the last bit."""
    assert to_si(text, "temperature") == kelvin


@pytest.fixture(scope="module")
def registry():
    return pint.UnitRegistry()


@pytest.mark.parametrize("unit, dimension", ENTRIES)
def test_table_equals_pint(registry, unit, dimension):
    """Each entry of the table is the unit pint means by that word, and pint agrees on the dimension."""
    import re

    def words(text):
        text = re.sub(r"(?<=[A-Za-z])(\d)", r"**\1", text.replace(".", "*"))
        return re.sub(r"[A-Za-z_%]+", lambda match: f"({PINT_WORDS.get(match[0], match[0])})", text)

    scale, offset, home = unit_factor(unit, dimension)
    assert home == dimension
    si = DIMENSIONS[dimension].si
    if "deg" in unit and "temperature" in dimension:
        word = unit.split("/")[0]
        if dimension == "temperature":
            for value in (-20.0, 0.0, 100.0):
                theirs = registry.Quantity(value, word).to("kelvin").magnitude
                assert scale * value + offset == pytest.approx(theirs, rel=1e-12)
            return
        unit = unit.replace(word, f"delta_{word}")
    theirs = registry.Quantity(1.0, "") * registry.parse_expression(words(unit))
    if dimension == "starts" or si == "1":
        si = si.replace("1/s", "hertz") if "/s" in si else ""
    assert theirs.to(words(si) if si != "hertz" else "1/s").magnitude == pytest.approx(scale, rel=1e-12)
    assert offset == 0


def test_valve_coefficient():
    """IEC 60534-1: Kv = 0.865 Cv; from the definitions (m3/h at 1 bar, gpm at 1 psi) it is 0.8650."""
    by_definition = from_si(to_si("1 gpm", "flow"), "m3/h") / math.sqrt(to_si("1 psi", "pressure") / 1e5)
    assert to_si("1 Cv", "kv") == pytest.approx(by_definition, rel=1e-4)
    assert to_si("25 Kv", "kv") == to_si("25 m3/h", "kv") == 25.0


def test_usual_units_never_import_pint():
    """Reading a normal configuration does not pay for the import of a units library."""
    code = (
        "import sys; from plantsim.units import to_si; to_si('350 m3/h', 'flow'); "
        "to_si('12 degC', 'temperature');"
        "print('pint' in sys.modules); print(to_si('1 furlong', 'length')); print('pint' in sys.modules)"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    answer = run.stdout.split()
    assert answer[0] == "False" and answer[2] == "True"
    assert float(answer[1]) == pytest.approx(201.168, rel=1e-5)  # a furlong is 220 yd


@pytest.mark.parametrize(
    "text, dimension, si",
    [
        ("360 m3/h", "flow", 0.1),
        ("360m³/hr", "flow", 0.1),
        ("0.1 m^3/s", "flow", 0.1),
        ("100 l/s", "flow", 0.1),
        ("2h30m", "time", 9000.0),
        ("2h 30min", "time", 9000.0),
        ("24h", "time", 86400.0),
        ("8 min", "time", 480.0),
        ("1.5 d", "time", 129600.0),
        ("1d12h", "time", 129600.0),
        ("1h30s", "time", 3630.0),
        ("90 s", "time", 90.0),
        ("45 %", "fraction", 0.45),
        ("45%", "fraction", 0.45),
        ("0.45 1", "fraction", 0.45),
        ("1e-3 m", "length", 1e-3),
        ("50 g/t", "dose_per_mass", 5e-5),
        ("40 g/m3", "dose_per_volume", 0.04),
        ("4 mm/d", "evaporation", 0.004 / 86400),
        ("6 /h", "starts", 6 / 3600),
        ("10 m/h", "velocity", 10 / 3600),
        ("−5 degC", "temperature", 268.15),
        ("5 degC", "temperature_difference", 5.0),
        ("12 N·m", "torque", 12.0),
        ("150 µm", "length", 150e-6),
        ("3 m3/fortnight", "flow", 3 / 14 / 86400),
    ],
)
def test_reads(text, dimension, si):
    """Usual texts, in the spellings people use, give the SI value that follows from the definitions."""
    assert to_si(text, dimension) == pytest.approx(si, rel=1e-14)


def test_equal_quantities_give_equal_bits():
    """One rounding only: the same flow written in four units is the same float."""
    texts = ["126 m3/h", "2.1 m3/min", "35 L/s", "3024 m3/d", "126000 L/h"]
    assert {to_si(text, "flow") for text in texts} == {0.035}


FLOW = "a flow with its unit: m3/h, L/s, m3/s, gpm, L/h, cfs"


@pytest.mark.parametrize(
    "text, dimension, message",
    [
        ("350", "flow", f"found '350' (no unit); allowed: {FLOW} (did you mean '350 m3/h'?)"),
        (
            "350 m3h",
            "flow",
            f"found '350 m3h' (unknown unit 'm3h'); allowed: {FLOW} (did you mean '350 m3/h'?)",
        ),
        ("3 M3/H", "flow", f"found '3 M3/H' (unknown unit 'M3/H'); allowed: {FLOW} (did you mean '3 m3/h'?)"),
        ("60 m", "flow", f"found '60 m' (a length); allowed: {FLOW}"),
        ("3 m3/furlong", "flow", f"found '3 m3/furlong' (an area); allowed: {FLOW}"),
        ("much", "flow", f"found 'much'; allowed: {FLOW}, such as '1 m3/h'"),
        ("", "flow", f"found ''; allowed: {FLOW}, such as '1 m3/h'"),
        ("nan m3/h", "flow", f"found 'nan m3/h'; allowed: {FLOW}, such as '1 m3/h'"),
        (
            "1 200 m",
            "length",
            "found '1 200 m' (digits in groups); allowed: digits without gaps (did you mean '1200 m'?)",
        ),
        (
            "1,5 m",
            "length",
            "found '1,5 m' (a comma); allowed: a point for decimals, and no sign between thousands "
            "(did you mean '1.5 m'?)",
        ),
        (
            "1,200 m",
            "length",
            "found '1,200 m' (a comma); allowed: a point for decimals, and no sign between thousands",
        ),
        (
            "0.45",
            "fraction",
            "found '0.45' (no unit); allowed: a fraction with its unit: %, 1 (did you mean '45 %'?)",
        ),
        ("5 g/t", "fraction", "found '5 g/t' (a dose per mass); allowed: a fraction with its unit: %, 1"),
        (
            "30 m",
            "time",
            "found '30 m' (a length); allowed: a time with its unit: s, min, h, d, week, year "
            "(did you mean '30 min'?)",
        ),
        (
            "12 C",
            "temperature",
            "found '12 C' (unknown unit 'C'); allowed: a temperature with its unit: degC, degF, K "
            "(did you mean '12 degC'?)",
        ),
        (
            "2 ton",
            "mass",
            "found '2 ton' (unknown unit 'ton'); allowed: a mass with its unit: kg, t, g, mg, lb, "
            "short_ton (did you mean '2 t'?)",
        ),
        (
            "20 m",
            "pressure",
            "found '20 m' (a length); allowed: a pressure with its unit: bar, kPa, Pa, psi, MPa, mbar",
        ),
        ("1e900 m", "length", "found '1e900 m'; allowed: a number a computer can hold"),
    ],
)
def test_message(text, dimension, message):
    """A text that is no such quantity is refused in one sentence, with the nearest valid text if any."""
    with pytest.raises(UnitError) as caught:
        to_si(text, dimension)
    assert str(caught.value) == message


def test_unclear_words_are_never_guessed():
    """A ton, ppm, C and F mean two things each; no dimension takes them, by whatever road."""
    for unit in ("ton", "tons/h", "ppm", "C", "F", "M"):
        for dimension in DIMENSIONS:
            with pytest.raises(UnitError):
                to_si(f"1 {unit}", dimension)


def test_unit_alone():
    """A unit on its own is refused in the same manner; an unknown dimension is a fault of the program."""
    with pytest.raises(UnitError, match=r"did you mean 'm3/h'\?"):
        from_si(1.0, "m3h")
    with pytest.raises(UnitError, match="a unit of a length"):
        unit_factor("kPa", "length")
    with pytest.raises(ValueError, match="did you mean 'flow'"):
        to_si("1 m", "flwo")


def test_format():
    """Significant digits, no needless zeros, no powers in the usual range."""
    assert format_si(to_si("1540 gpm", "flow"), "m3/h", 4) == "349.8 m3/h"
    assert format_si(1234567.0, "m", 3) == "1230000 m"
    assert format_si(to_si("12 degC", "temperature"), "degC") == "12 degC"
    assert format_si(1e-9, "m") == "1e-9 m"
    assert format_si(0.0, "%") == "0 %"


PAIRS = [(unit, name) for name, place in DIMENSIONS.items() for unit in place.units]


@given(st.sampled_from(PAIRS), st.floats(-1e12, 1e12).filter(lambda x: x == 0 or abs(x) > 1e-9))
def test_round_trip_of_text(pair, value):
    """Any SI float written in any unit of its dimension reads back to the same bits."""
    unit, dimension = pair
    assert to_si(exact_text(value, unit, dimension), dimension) == value


@given(st.sampled_from(PAIRS), st.floats(-1e9, 1e9).filter(lambda x: x == 0 or abs(x) > 1e-6))
def test_round_trip_of_value(pair, value):
    """From a unit to SI and back is exact within the rounding of one float (of the absolute scale)."""
    unit, dimension = pair
    back = from_si(to_si(f"{value!r} {unit}", dimension), unit, dimension)
    assert back == pytest.approx(value, rel=4e-16, abs=1e-13 if dimension == "temperature" else 0)
