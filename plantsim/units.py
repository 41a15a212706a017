"""Text with units to SI floats and back: the only edge where units other than SI exist.

`to_si("350 m3/h", "flow")` reads a number and a unit, checks that the unit belongs to the wanted dimension
and gives the SI float. All factors are exact fractions of their legal definitions, and the product is rounded
once, so equal quantities in different units give the same float to the last bit ("126 m3/h", "2.1 m3/min").

Dimensions carry trade words (flow, dose_per_mass, rise rate as velocity ...) and are stricter than physics:
g/t is no fraction, and a degree of temperature difference is no temperature. A table holds the usual units;
the `pint` library is asked, and imported, only for a unit outside the table.

Factors: definitions of the international yard and pound (1959) and of the US gallon (231 cubic inches), as in
NIST Special Publication 811 (2008), Appendix B.
"""

from __future__ import annotations

import decimal
import difflib
import functools
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from types import MappingProxyType
from typing import Any

from plantsim.errors import UnitError


class QuantityError(UnitError):
    """Raised when a text is no quantity of the wanted dimension; carries the parts of its sentence.

    Parameters
    ----------
    found : str
        What stood there, quoted, with a remark where one helps.
    allowed : str
        What may stand there.
    hint : str or None
        The nearest valid text.
    """

    def __init__(self, found: str, allowed: str, hint: str | None = None) -> None:
        self.found, self.allowed, self.hint = found, allowed, hint
        super().__init__(sentence(found, allowed, hint))


def sentence(found: str, allowed: str, hint: str | None = None) -> str:
    """Give the one sentence every finding about a value has: found, allowed, and the nearest valid text."""
    return f"found {found}; allowed: {allowed}" + (f" (did you mean '{hint}'?)" if hint else "")


# --- the table ---

_MIN, _H, _D = Fraction(60), Fraction(3600), Fraction(86400)
_YEAR = Fraction("365.25") * _D  # the Julian year, as pint has it
_FT, _IN = Fraction("0.3048"), Fraction("0.0254")
_GAL = 231 * _IN**3
_LB, _G0 = Fraction("0.45359237"), Fraction("9.80665")
_LBF = _LB * _G0
_PSI = _LBF / _IN**2
_HP = 550 * _FT * _LBF  # mechanical horsepower
_SHORT_TON = 2000 * _LB
_ACRE = 43560 * Fraction(1200, 3937) ** 2  # of US survey feet, as NIST SP 811 and pint have it
_PI = Fraction(math.pi)
_ONE = Fraction(1)


@dataclass(frozen=True)
class Dimension:
    """One dimension in trade words: its SI unit, and the usual units with scale and offset to SI."""

    name: str
    si: str
    doc: str
    units: Mapping[str, tuple[Fraction, Fraction]]
    closed: bool = False

    @property
    def noun(self) -> str:
        """Give the name as it stands in a sentence, with its article."""
        return ("an " if self.name[0] in "aeiou" else "a ") + self.name.replace("_", " ")

    def usual(self, most: int = 6) -> str:
        """Name the most usual units, for messages."""
        return ", ".join(list(self.units)[:most])


DIMENSIONS: dict[str, Dimension] = {}


def _dimension(name: str, si: str, doc: str, closed: bool = False, /, **units: Any) -> None:
    table = {}
    for unit, factor in units.items():
        scale, offset = factor if isinstance(factor, tuple) else (factor, 0)
        table[unit] = (Fraction(scale), Fraction(offset))
    DIMENSIONS[name] = Dimension(name, si, doc, MappingProxyType(table), closed)


_milli, _micro = Fraction(1, 1000), Fraction(1, 10**6)
# The first six units of each line are those a message names.
_dimension("length", "m", "length, depth, diameter, and head in metres of water",
           m=1, mm=_milli, cm="0.01", km=1000, ft=_FT, **{"in": _IN}, um=_micro, yd=3 * _FT, mi=5280 * _FT)
_dimension("area", "m2", "area",
           m2=1, ha=10000, ft2=_FT**2, acre=_ACRE, cm2="1e-4", mm2="1e-6", in2=_IN**2, km2=10**6)
_dimension("volume", "m3", "volume",
           m3=1, L=_milli, gal=_GAL, ft3=_FT**3, mL=_micro, kgal=1000 * _GAL, Mgal=10**6 * _GAL,
           yd3=27 * _FT**3)
_dimension("flow", "m3/s", "volumetric flow", **{
    "m3/h": 1 / _H, "L/s": _milli, "m3/s": 1, "gpm": _GAL / _MIN, "L/h": _milli / _H, "cfs": _FT**3,
    "L/min": _milli / _MIN, "m3/min": 1 / _MIN, "m3/d": 1 / _D, "mL/min": _micro / _MIN, "mL/s": _micro,
    "gal/min": _GAL / _MIN, "gal/h": _GAL / _H, "gal/d": _GAL / _D, "Mgal/d": 10**6 * _GAL / _D,
    "ft3/s": _FT**3, "ft3/min": _FT**3 / _MIN, "L/d": _milli / _D})
_dimension("flow_ramp", "m3/s2", "change of flow in time", **{
    "m3/h/min": 1 / _H / _MIN, "m3/h/s": 1 / _H, "L/s2": _milli, "m3/s2": 1, "gpm/min": _GAL / _MIN**2,
    "gpm/s": _GAL / _MIN})
_dimension("mass", "kg", "mass",
           kg=1, t=1000, g=_milli, mg=_micro, lb=_LB, short_ton=_SHORT_TON, long_ton=2240 * _LB)
_dimension("mass_flow", "kg/s", "mass flow", **{
    "t/h": 1000 / _H, "kg/h": 1 / _H, "kg/s": 1, "g/h": _milli / _H, "lb/h": _LB / _H,
    "short_ton/h": _SHORT_TON / _H, "t/d": 1000 / _D, "kg/d": 1 / _D, "kg/min": 1 / _MIN, "g/s": _milli,
    "g/min": _milli / _MIN, "lb/d": _LB / _D, "lb/min": _LB / _MIN})
_dimension("concentration", "kg/m3", "mass of a substance in a volume of suspension or solution", **{
    "g/L": 1, "mg/L": _milli, "kg/m3": 1, "g/m3": _milli, "lb/ft3": _LB / _FT**3, "lb/gal": _LB / _GAL,
    "t/m3": 1000, "kg/L": 1000})
_dimension("density", "kg/m3", "mass density", **{
    "t/m3": 1000, "kg/m3": 1, "kg/L": 1000, "g/cm3": 1000, "lb/ft3": _LB / _FT**3, "lb/gal": _LB / _GAL,
    "g/L": 1})
_dimension("fraction", "1", "share of a whole", True, **{"%": "0.01", "1": 1})
_dimension("time", "s", "length of time",
           s=1, min=_MIN, h=_H, d=_D, week=7 * _D, year=_YEAR, ms=_milli)
_dimension("rate", "1/s", "share or count in a time; shear rate", **{
    "1/s": 1, "1/min": 1 / _MIN, "1/h": 1 / _H, "1/d": 1 / _D, "%/s": "0.01",
    "%/min": Fraction("0.01") / _MIN, "%/h": Fraction("0.01") / _H, "%/d": Fraction("0.01") / _D})
_dimension("starts", "1/s", "motor starts in a time", True, **{
    "1/h": 1 / _H, "starts/h": 1 / _H, "1/d": 1 / _D, "starts/d": 1 / _D, "1/s": 1})
_dimension("velocity", "m/s", "velocity, and rise rate", **{
    "m/s": 1, "m/h": 1 / _H, "m/min": 1 / _MIN, "mm/s": _milli, "ft/s": _FT, "ft/h": _FT / _H, "m/d": 1 / _D,
    "cm/s": "0.01", "ft/min": _FT / _MIN, "km/h": 1000 / _H, "gpm/ft2": _GAL / _MIN / _FT**2,
    "m3/m2/h": 1 / _H, "mm/min": _milli / _MIN})
_dimension("acceleration", "m/s2", "acceleration", **{"m/s2": 1, "ft/s2": _FT})
_dimension("evaporation", "m/s", "depth of water in a time: evaporation, rain", **{
    "mm/d": _milli / _D, "mm/h": _milli / _H, "in/d": _IN / _D, "in/h": _IN / _H,
    "m/s": 1, "cm/d": Fraction("0.01") / _D, "mm/month": _milli / (_YEAR / 12), "mm/year": _milli / _YEAR})
_dimension("pressure", "Pa", "pressure (a head in metres of water is a length)",
           bar=10**5, kPa=1000, Pa=1, psi=_PSI, MPa=10**6, mbar=100, hPa=100)
_dimension("pressure_gradient", "Pa/m", "pressure loss along a pipe", **{
    "Pa/m": 1, "kPa/m": 1000, "bar/km": 100, "psi/ft": _PSI / _FT})
_dimension("stress", "Pa", "yield stress, effective stress, strength",
           Pa=1, kPa=1000, MPa=10**6, psi=_PSI, psf=_LBF / _FT**2)
_dimension("compressibility", "1/Pa", "compressibility", **{"1/Pa": 1, "1/kPa": _milli, "1/MPa": _micro})
_dimension("viscosity", "Pa.s", "dynamic viscosity", **{
    "mPa.s": _milli, "Pa.s": 1, "cP": _milli, "P": "0.1"})
_dimension("kinematic_viscosity", "m2/s", "kinematic viscosity", **{
    "mm2/s": _micro, "cSt": _micro, "m2/s": 1, "ft2/s": _FT**2})
_dimension("diffusivity", "m2/s", "dispersion, diffusion, consolidation coefficient", **{
    "m2/s": 1, "cm2/s": "1e-4", "mm2/s": _micro, "m2/d": 1 / _D, "m2/year": 1 / _YEAR, "ft2/s": _FT**2,
    "m2/h": 1 / _H, "ft2/d": _FT**2 / _D})
_dimension("power", "W", "power", kW=1000, W=1, hp=_HP, MW=10**6)
_dimension("energy", "J", "energy", kWh=3600 * 10**3, J=1, kJ=1000, MJ=10**6, MWh=3600 * 10**6, Wh=3600)
_dimension("specific_energy", "J/m3", "energy for a volume", **{
    "kWh/m3": 3600 * 10**3, "J/m3": 1, "kJ/m3": 1000, "kWh/kgal": 3600 * 10**3 / (1000 * _GAL),
    "kWh/Mgal": 3600 / (1000 * _GAL), "Wh/m3": 3600})
_dimension("energy_per_mass", "J/kg", "energy for a mass", **{
    "kWh/t": 3600, "J/kg": 1, "kJ/kg": 1000, "MJ/kg": 10**6, "kWh/short_ton": 3600 * 10**3 / _SHORT_TON})
_dimension("specific_volume", "m3/kg", "volume for a mass: wash ratio", **{
    "m3/t": _milli, "L/kg": _milli, "m3/kg": 1, "gal/short_ton": _GAL / _SHORT_TON, "L/t": _micro})
_dimension("temperature", "K", "temperature", True,
           degC=(1, "273.15"), degF=(Fraction(5, 9), Fraction("459.67") * Fraction(5, 9)), K=1)
_dimension("temperature_difference", "K", "temperature difference", True, K=1, degC=1, degF=Fraction(5, 9))
_dimension("temperature_ramp", "K/s", "change of temperature in time", True, **{
    "K/h": 1 / _H, "degC/h": 1 / _H, "degC/d": 1 / _D, "K/s": 1, "degF/h": Fraction(5, 9) / _H})
_dimension("dose_per_mass", "kg/kg", "dose on dry solids", True, **{
    "g/t": _micro, "kg/t": _milli, "mg/kg": _micro, "g/kg": _milli, "lb/short_ton": _LB / _SHORT_TON,
    "kg/kg": 1})
_dimension("dose_per_volume", "kg/m3", "dose on a volume of water", **{
    "g/m3": _milli, "mg/L": _milli, "kg/m3": 1, "g/L": 1, "lb/kgal": _LB / (1000 * _GAL),
    "lb/Mgal": _LB / (10**6 * _GAL)})
_dimension("turbidity", "NTU", "turbidity", True, NTU=1, FNU=1)
_dimension("absorbance", "1/m", "optical absorbance of a light path", **{
    "1/m": 1, "1/cm": 100, "1/mm": 1000})
_dimension("mass_absorptivity", "m2/kg", "absorbance of a light path for a concentration", **{
    "m2/kg": 1, "m2/g": 1000, "L/g/cm": 100, "L/mg/cm": 10**5})
_dimension("angle", "rad", "angle", deg=_PI / 180, rad=1, rev=2 * _PI)
_dimension("speed", "rad/s", "speed of rotation", **{
    "rpm": 2 * _PI / _MIN, "rad/s": 1, "rev/h": 2 * _PI / _H, "rev/min": 2 * _PI / _MIN, "rev/s": 2 * _PI,
    "deg/s": _PI / 180})
_dimension("frequency", "Hz", "frequency", Hz=1, kHz=1000, mHz=_milli)
_dimension("torque", "N.m", "torque", **{
    "N.m": 1, "kN.m": 1000, "ft.lbf": _FT * _LBF, "in.lbf": _IN * _LBF, "MN.m": 10**6})
_dimension("inertia", "kg.m2", "moment of inertia", **{"kg.m2": 1, "lb.ft2": _LB * _FT**2})
_dimension("force", "N", "force", N=1, kN=1000, lbf=_LBF)
_dimension("flux", "kg/m2/s", "mass through an area in a time: solids loading", **{
    "t/m2/h": 1000 / _H, "kg/m2/h": 1 / _H, "kg/m2/s": 1, "t/m2/d": 1000 / _D, "lb/ft2/h": _LB / _FT**2 / _H,
    "kg/m2/d": 1 / _D, "lb/ft2/d": _LB / _FT**2 / _D})
_dimension("mass_per_area", "kg/m2", "mass on an area", **{"kg/m2": 1, "t/m2": 1000, "g/m2": _milli})
_dimension("irradiance", "W/m2", "radiation on an area", **{
    "W/m2": 1, "MJ/m2/d": 10**6 / _D, "kWh/m2/d": 3600 * 10**3 / _D})
_dimension("current", "A", "electric current", A=1, mA=_milli)
_dimension("voltage", "V", "electric voltage", V=1, kV=1000, mV=_milli)
_dimension("conductivity", "S/m", "electric conductivity of water", **{
    "uS/cm": "1e-4", "mS/cm": "0.1", "S/m": 1, "mS/m": _milli})
_dimension("kv", "Kv", "flow coefficient of a valve: m3/h of water at 1 bar; Cv is gpm at 1 psi", True, **{
    "Kv": 1, "Cv": "0.865", "m3/h": 1})  # Kv = 0.865 Cv: IEC 60534-1

_WORDS = {
    "l": "L", "ml": "mL", "litre": "L", "liter": "L", "litres": "L", "liters": "L", "hr": "h", "hrs": "h",
    "hour": "h", "hours": "h", "sec": "s", "second": "s", "seconds": "s", "mins": "min", "minute": "min",
    "minutes": "min", "day": "d", "days": "d", "weeks": "week", "years": "year", "tonne": "t", "tonnes": "t",
    "metre": "m", "meter": "m", "metres": "m", "meters": "m", "feet": "ft", "foot": "ft", "inch": "in",
    "inches": "in", "lbs": "lb", "gallon": "gal", "gallons": "gal", "acres": "acre",
    "short_tons": "short_ton", "Nm": "N.m", "kNm": "kN.m", "tph": "t/h", "MGD": "Mgal/d", "mgd": "Mgal/d",
    "cfm": "ft3/min", "USgpm": "gpm", "lpm": "L/min", "lps": "L/s", "percent": "%"}
# Words that mean two things: nothing is guessed, the message offers what fits the dimension.
_UNCLEAR = {
    "C": ("degC",), "F": ("degF",), "ton": ("t", "short_ton"), "tons": ("t", "short_ton"),
    "ton/h": ("t/h", "short_ton/h"), "tons/h": ("t/h", "short_ton/h"), "ppm": ("mg/L", "g/t"), "m": ("min",),
    "M": ("min", "m"), "sg": ("t/m3",), "SG": ("t/m3",), "s-1": ("1/s",)}
_NEVER = re.compile(r"(?<![A-Za-z_])(?:C|F|tons?|ppm|sg|SG|M)(?![A-Za-z_])")
_SIGNS = str.maketrans({"³": "3", "²": "2", "^": None, "·": ".", "⋅": ".", "*": ".", "µ": "u", "μ": "u"})

_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?"
_QUANTITY = re.compile(rf"({_NUMBER})\s*(.*)", re.S)
_SPELLED_TIME = re.compile(
    r"(?=\d)(?:(\d+(?:\.\d+)?)\s*d)?\s*(?:(\d+(?:\.\d+)?)\s*h)?\s*(?:(\d+(?:\.\d+)?)\s*(?:min|m))?"
    r"\s*(?:(\d+(?:\.\d+)?)\s*s)?")
_UNIT_TEXT = re.compile(r"[A-Za-z%1][A-Za-z0-9_%./()-]*")


def dimension_of(name: str) -> Dimension:
    """Give a dimension by its name; a wrong name is a fault of the program, not of the user."""
    try:
        return DIMENSIONS[name]
    except KeyError:
        near = difflib.get_close_matches(name, DIMENSIONS, 1)
        hint = f"; did you mean {near[0]!r}?" if near else ""
        raise ValueError(f"no dimension {name!r}{hint}") from None


@functools.lru_cache(4096)
def spell(unit: str) -> str:
    """Give a unit in the spelling of the table: m³/hr becomes m3/h.

    >>> spell("m³/hr"), spell("°C"), spell("N*m"), spell("short ton/h")
    ('m3/h', 'degC', 'N.m', 'short_ton/h')
    """
    unit = unit.strip().replace("**", "^").replace("°", "deg").translate(_SIGNS)
    unit = re.sub(r"\s*([/.])\s*", r"\1", unit)
    unit = re.sub(r"\s+", "_", unit)
    if unit.startswith("/"):
        unit = "1" + unit
    return re.sub(r"[A-Za-z_]+", lambda match: _WORDS.get(match[0], match[0]), unit)


@functools.cache
def _registry() -> Any:
    import pint  # slow to import, and seldom needed

    return pint.UnitRegistry(autoconvert_offset_to_baseunit=False)


def _pint_text(unit: str) -> str:
    unit = re.sub(r"(?<=[A-Za-z)])(-?\d)", r"**\1", unit).replace(".", "*")
    return re.sub(r"\bcfs\b", "(ft**3/s)", re.sub(r"\bgpm\b", "(gallon/min)", unit))


@functools.lru_cache(512)
def _from_pint(unit: str, dimension: str) -> tuple[Fraction, Fraction] | None:
    """Give scale and offset of a unit outside the table, or None if pint finds that it does not fit."""
    place = DIMENSIONS[dimension]
    if place.closed or len(unit) > 40 or not _UNIT_TEXT.fullmatch(unit) or _NEVER.search(unit):
        return None
    registry = _registry()
    try:
        ratio = registry.Quantity(1, registry.parse_units(_pint_text(unit))).to(_pint_text(place.si))
    except Exception:  # pint raises a dozen kinds, all of which mean: not such a unit
        return None
    return Fraction(float(ratio.magnitude)), Fraction(0)


def _home(unit: str) -> str | None:
    """Name the first dimension that has a unit, or None."""
    return next((name for name, place in DIMENSIONS.items() if unit in place.units), None)


def _factor(unit: str, dimension: str) -> tuple[Fraction, Fraction] | None:
    spelled = spell(unit)
    entry = dimension_of(dimension).units.get(spelled)
    if entry is None and spelled and _home(spelled) is None:
        entry = _from_pint(spelled, dimension)
    return entry


def _needed(unit: str, dimension: str | None) -> tuple[Fraction, Fraction, str]:
    spelled = spell(unit)
    home = dimension or _home(spelled)
    for name in (home,) if home else DIMENSIONS:
        factor = _factor(unit, name)
        if factor:
            return (*factor, name)
    if dimension:
        place = dimension_of(dimension)
        raise QuantityError(f"'{unit}'", f"a unit of {place.noun}: {place.usual()}", _near(spelled, place))
    known = [name for place in DIMENSIONS.values() for name in place.units]
    near = difflib.get_close_matches(spelled, known, 1)
    raise QuantityError(f"'{unit}'", "a unit such as m3/h, gpm, m, kPa, %", near[0] if near else None)


def unit_factor(unit: str, dimension: str | None = None) -> tuple[float, float, str]:
    """Give scale, offset and dimension of a unit, so that SI = scale * value + offset.

    A unit that serves several dimensions belongs to the first in the table unless `dimension` says otherwise.

    >>> unit_factor("L/s"), unit_factor("degC")
    ((0.001, 0.0, 'flow'), (1.0, 273.15, 'temperature'))
    """
    scale, offset, home = _needed(unit, dimension)
    return float(scale), float(offset), home


def _near(unit: str, place: Dimension) -> str | None:
    for candidate in _UNCLEAR.get(unit, ()):
        if candidate in place.units:
            return candidate
    folded = {name.casefold(): name for name in reversed(list(place.units))}
    if unit.casefold() in folded:
        return folded[unit.casefold()]
    near = difflib.get_close_matches(unit, place.units, 1, 0.6)
    return near[0] if near else None


def _complain(text: str, place: Dimension) -> QuantityError:
    """Say why a text is no quantity of a dimension."""
    first = next(iter(place.units))
    allowed = f"{place.noun} with its unit: {place.usual()}"
    match = _QUANTITY.fullmatch(text.strip())
    spaced = re.fullmatch(r"([+-]?\d{1,3}(?:[\s'_]\d{3})+(?:\.\d+)?)\s*(\D.*)?", text.strip())
    if spaced:
        digits = re.sub(r"[\s'_]", "", spaced[1])
        hint = f"{digits} {spaced[2] or first}"
        return QuantityError(f"'{text}' (digits in groups)", "digits without gaps", hint)
    comma = re.fullmatch(r"([+-]?\d+),(\d+)\s*(\D.*)?", text.strip())
    if comma:
        point = None if len(comma[2]) == 3 else f"{comma[1]}.{comma[2]} {comma[3] or first}"
        allowed = "a point for decimals, and no sign between thousands"
        return QuantityError(f"'{text}' (a comma)", allowed, point)
    if not match:
        return QuantityError(f"'{text}'", f"{allowed}, such as '1 {first}'")
    number, unit = match[1], match[2]
    if not unit:
        if place.name == "fraction":
            return QuantityError(f"'{text}' (no unit)", allowed, f"{_decimal(Fraction(number) * 100, 12)} %")
        return QuantityError(f"'{text}' (no unit)", allowed, f"{number} {first}")
    spelled = spell(unit)
    near, home = _near(spelled, place), _home(spelled)
    if home is None and not (near and near.casefold() == spelled.casefold()) and spelled not in _UNCLEAR:
        home = next((name for name in DIMENSIONS if _from_pint(spelled, name)), None)
    if home and spelled not in _UNCLEAR:
        near = None  # a unit of something else is no slip of the pen
    elif home:
        near = next((unit for unit in _UNCLEAR[spelled] if unit in place.units), None)
    remark = f" ({dimension_of(home).noun})" if home else f" (unknown unit '{unit}')"
    return QuantityError(f"'{text}'{remark}", allowed, f"{number} {near}" if near else None)


def split(text: str, dimension: str) -> tuple[Fraction, str, Fraction]:
    """Read a quantity text; give its exact SI value, the unit as the table spells it, and the number."""
    if not isinstance(text, str):
        raise _complain(str(text), dimension_of(dimension))
    return _split(text, dimension)


@functools.lru_cache(4096)  # the bounds of what a plant file may say are read again for every key
def _split(text: str, dimension: str) -> tuple[Fraction, str, Fraction]:
    place = dimension_of(dimension)
    clean = text.strip().replace("−", "-")
    match = _QUANTITY.fullmatch(clean) if len(clean) < 80 else None
    if dimension == "time":
        parts = _SPELLED_TIME.fullmatch(clean)
        if parts and sum(part is not None for part in parts.groups()) > 1:
            seconds = sum((Fraction(part) * scale
                           for part, scale in zip(parts.groups(), (_D, _H, _MIN, _ONE)) if part), Fraction(0))
            return seconds, "h", seconds / _H
    factor = _factor(match[2], dimension) if match and match[2] else None
    if match is None or factor is None:
        raise _complain(text, place)
    number = Fraction(match[1])
    return number * factor[0] + factor[1], spell(match[2]), number


def to_si(text: str, dimension: str) -> float:
    """Read a number with its unit and give the SI float, rounded once from the exact value.

    Parameters
    ----------
    text : str
        Such as ``350 m3/h``, ``1540 gpm``, ``45 %``, ``12 degC``, or for a time ``2h30m``.
    dimension : str
        One of `DIMENSIONS`.

    Returns
    -------
    float
        Value [SI unit of the dimension].

    Examples
    --------
    >>> to_si("360 m3/h", "flow"), to_si("2h30m", "time"), to_si("12 degC", "temperature")
    (0.1, 9000.0, 285.15)
    """
    try:
        return float(split(text, dimension)[0])
    except OverflowError:
        raise QuantityError(f"'{text}'", "a number a computer can hold") from None


def from_si(value: float, unit: str, dimension: str | None = None) -> float:
    """Give an SI value in another unit.

    >>> from_si(0.1, "m3/h"), from_si(285.15, "degC")
    (360.0, 12.0)
    """
    scale, offset, _ = _needed(unit, dimension)
    if not math.isfinite(value):
        return value
    number = (Fraction(value) - offset) / scale
    return float(number) if offset == 0 else float(_shortest(number, value, scale, offset))


def _decimal(value: Fraction, digits: int) -> str:
    """Write a number rounded to so many significant digits, without needless zeros; powers only far off."""
    context = decimal.Context(prec=digits)
    number = context.divide(decimal.Decimal(value.numerator), decimal.Decimal(value.denominator))
    if number == 0:
        return "0"
    number = number.normalize(context)
    return f"{number:f}" if -7 < number.adjusted() < 15 else f"{number:e}"


def _shortest(number: Fraction, si: float, scale: Fraction, offset: Fraction) -> str:
    """Give the fewest digits that read back to the same SI float; 40 of them always do."""
    return next(text for text in (_decimal(number, digits) for digits in range(1, 41))
                if float(Fraction(text) * scale + offset) == si)


def format_si(value: float, unit: str, digits: int = 4, dimension: str | None = None) -> str:
    """Write an SI value in a unit, with so many significant digits.

    >>> format_si(0.0972222, "m3/h", 4), format_si(0.45, "%", 3)
    ('350 m3/h', '45 %')
    """
    number = from_si(value, unit, dimension)
    return f"{_decimal(Fraction(number), digits) if math.isfinite(number) else number} {spell(unit)}"


def exact_text(value: float, unit: str, dimension: str | None = None) -> str:
    """Write an SI value in a unit with as few digits as still read back to the same float, bit for bit.

    >>> exact_text(to_si("350 m3/h", "flow"), "m3/h"), exact_text(0.1, "gpm")
    ('350 m3/h', '1585.0323141488906 gpm')
    """
    scale, offset, _ = _needed(unit, dimension)
    return f"{_shortest((Fraction(value) - offset) / scale, value, scale, offset)} {spell(unit)}"
