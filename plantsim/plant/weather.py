"""The weather over the plant: air, rain, evaporation and pond water, hour by hour.

Two sources answer the same question, `hour(seconds since the start of the year)`:

* `Weather`, from monthly means as a climate station prints them, with wet days drawn at random;
* `WeatherTable`, from the user's own hourly record.

Both are functions of the time alone: any hour can be asked for in any order and gives the same answer, so
a run can be resumed anywhere and two strategies meet the same rain.
"""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from statistics import NormalDist

import numpy as np

from plantsim.errors import ConfigError
from plantsim.physics import evaporation as fao

HOUR = 3600.0
DAY = 86400.0
MONTH_DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
YEAR_DAYS = 365
_MONTH_ENDS = np.cumsum(MONTH_DAYS)
_MONTH_OF_DAY = np.repeat(np.arange(12), MONTH_DAYS)
_MID_MONTH = _MONTH_ENDS - 0.5 * np.array(MONTH_DAYS)
_PERSISTENCE = 0.7  # of a warm or cold spell from one day to the next (common practice, no source)
_MEMORY_DAYS = 20
OPEN_WATER = 1.05
"""Open water shallower than 2 m over reference evaporation (FAO-56, table 12, from memory)."""
POND_TIME = 10.0 * DAY
"""Time constant [s] of a pond's temperature behind the air's (common practice, no source)."""


@dataclass(frozen=True)
class MonthlyMeans:
    """Climate of a place: twelve numbers each, January first.

    Parameters
    ----------
    temperature : tuple of float
        Mean air temperature, [degC]
    swing : tuple of float
        Mean daily highest less lowest temperature, [K]
    rain : tuple of float
        Rain in the month, [m]
    rain_days : tuple of float
        Days with rain in the month, [-]
    evaporation : tuple of float, optional
        Open-water evaporation in the month; without it the next three are needed, [m]
    humidity : tuple of float, optional
        Mean relative humidity, 0 to 1, [-]
    wind : tuple of float, optional
        Wind speed at 2 m, [m/s]
    sunshine : tuple of float, optional
        Hours of bright sun over the longest possible, n/N, [-]

    Raises
    ------
    ConfigError
        If a row has not twelve numbers, or a number cannot be.
    """

    temperature: tuple[float, ...]
    swing: tuple[float, ...]
    rain: tuple[float, ...]
    rain_days: tuple[float, ...]
    evaporation: tuple[float, ...] | None = None
    humidity: tuple[float, ...] | None = None
    wind: tuple[float, ...] | None = None
    sunshine: tuple[float, ...] | None = None

    def __post_init__(self) -> None:
        findings = []
        limits = {
            "temperature": (-60.0, 60.0), "swing": (0.0, 40.0), "rain": (0.0, 5.0), "rain_days": (0.0, 31.0),
            "evaporation": (0.0, 1.0), "humidity": (0.0, 1.0), "wind": (0.0, 50.0), "sunshine": (0.0, 1.0),
        }  # fmt: skip
        for name, (lo, hi) in limits.items():
            row = getattr(self, name)
            if row is None:
                continue
            if len(row) != 12:
                findings.append(f"weather: {name} has {len(row)} numbers, wanted 12, one a month")
                continue
            for month, value in enumerate(row, 1):
                if not lo <= value <= hi:
                    findings.append(f"weather: {name} of month {month} is {value:g}, not {lo:g} to {hi:g}")
        if self.evaporation is None:
            for name in ("humidity", "wind", "sunshine"):
                if getattr(self, name) is None:
                    findings.append(f"weather: {name} is missing, needed where evaporation is not given")
        if not findings:
            for month in range(12):
                if self.rain_days[month] > MONTH_DAYS[month]:
                    findings.append(f"weather: month {month + 1} has more rain days than days")
                elif self.rain[month] > 0.0 and self.rain_days[month] <= 0.0:
                    findings.append(f"weather: month {month + 1} has rain but no rain days")
        if findings:
            raise ConfigError(findings)


class Weather:
    """Weather made from monthly means.

    Parameters
    ----------
    monthly : MonthlyMeans
        The climate.
    latitude : float
        Latitude, north positive, [rad]
    elevation : float
        Height above sea level, [m]
    seed : int
        Key of the random wet days and spells.
    spread : float
        Standard deviation of a day's mean temperature about the season's, at noon, [K]
    open_water : float
        Open-water over reference evaporation, [-]
    pond_time : float
        Time constant of pond temperature behind the season's air, [s]

    Notes
    -----
    A day is wet with the chance rain days over days of the month, by itself: wet spells come as chance has
    it. A wet day's rain is exponentially distributed (Richardson, Water Resour. Res. 17 (1981) 182) and falls
    evenly in one shower of 1 to 8 whole hours. Rain below freezing is passed on as rain: snow is not stored.
    Evaporation does not know that wet days are cloudy; the monthly total is right, its days are not.
    Years have 365 days; the second year has other wet days than the first.
    """

    def __init__(
        self,
        monthly: MonthlyMeans,
        latitude: float,
        elevation: float,
        seed: int,
        *,
        spread: float = 0.0,
        open_water: float = OPEN_WATER,
        pond_time: float = POND_TIME,
    ) -> None:
        if not abs(latitude) <= math.pi / 2:
            raise ConfigError(f"weather: latitude {math.degrees(latitude):g} deg is beyond a pole")
        if seed < 0:
            raise ConfigError(f"weather: seed {seed} is negative")
        self.monthly = monthly
        self.latitude = latitude
        self.elevation = elevation
        self.seed = int(seed)
        self.spread = spread
        self.open_water = open_water
        self._season = _interpolate(_mean_preserving(monthly.temperature))
        self._swing = _interpolate(monthly.swing)
        self._pond = _first_harmonic(monthly.temperature, pond_time)
        self._daily = np.array([self._day_evaporation(day) for day in range(YEAR_DAYS)])

    def hour(self, seconds: float) -> tuple[float, float, float, float]:
        """Give the weather of the hour that holds a time.

        Parameters
        ----------
        seconds : float
            Time since the start of the first year, [s]

        Returns
        -------
        air : float
            Air temperature in the middle of the hour, [degC]
        rain : float
            Rain rate, [m/s]
        evaporation : float
            Open-water evaporation rate, zero at and below freezing, [m/s]
        water : float
            Temperature that ponds drift to, never below freezing, [degC]
        """
        hours = math.floor(seconds / HOUR)
        day, hour = divmod(hours, 24)
        year_day = day % YEAR_DAYS
        noon = (hour + 0.5 - 12.0) / 24.0  # days from noon
        # warmest at three in the afternoon
        air = self._at(self._season, year_day, noon) + 0.5 * self._at(self._swing, year_day, noon) * math.cos(
            2.0 * math.pi * (noon - 3.0 / 24.0)
        )
        if self.spread > 0.0:
            near, other = self._spell(day), self._spell(day + (1 if noon > 0.0 else -1))
            air += self.spread * (near + (other - near) * abs(noon))
        evaporation = 0.0
        if air > 0.0:
            evaporation = self._daily[year_day] * self._sun_share(year_day, hour) * 24.0
        mean, amplitude, phase = self._pond
        angle = 2.0 * math.pi * (year_day + (hour + 0.5) / 24.0) / YEAR_DAYS
        water = max(mean + amplitude * math.cos(angle - phase), 0.0)
        return float(air), self._rain(day, year_day, hour), float(evaporation), float(water)

    def day_evaporation(self, year_day: int) -> float:
        """Mean open-water evaporation of a day of the year, frost aside.

        Parameters
        ----------
        year_day : int
            Day, 0 is the first of January, [-]

        Returns
        -------
        evaporation : float
            Evaporation, [m/s]
        """
        return float(self._daily[year_day % YEAR_DAYS])

    @staticmethod
    def _at(row: np.ndarray, year_day: int, noon: float) -> float:
        """A value between the noons of neighbouring days."""
        other = (year_day + (1 if noon > 0.0 else -1)) % YEAR_DAYS
        return row[year_day] + (row[other] - row[year_day]) * abs(noon)

    def _day_evaporation(self, year_day: int) -> float:
        m = self.monthly
        month = _MONTH_OF_DAY[year_day]
        if m.evaporation is not None:
            return m.evaporation[month] / (MONTH_DAYS[month] * DAY)
        assert m.humidity is not None and m.wind is not None and m.sunshine is not None
        mean, half = float(self._season[year_day]), 0.5 * float(self._swing[year_day])
        # warming ground takes heat: FAO-56 eq. 43, from the months before and after
        ground = fao.ground_heat_two_months(m.temperature[month - 1], m.temperature[(month + 1) % 12])
        radiation = fao.solar_radiation(
            fao.extraterrestrial_radiation(self.latitude, year_day + 1.0), m.sunshine[month]
        )
        rate = _penman(
            mean - half, mean + half, m.humidity[month], m.wind[month], radiation, ground,
            self.latitude, self.elevation, year_day,
        )  # fmt: skip
        return self.open_water * max(rate, 0.0)

    def _sun_share(self, year_day: int, hour: int) -> float:
        """Part of the day's evaporation in one hour: a half sine from sunrise to sunset."""
        length = fao.daylight(self.latitude, year_day + 1.0) / HOUR
        if length <= 0.0:
            return 1.0 / 24.0
        rise = 12.0 - 0.5 * length
        a = min(max((hour - rise) / length, 0.0), 1.0)
        b = min(max((hour + 1 - rise) / length, 0.0), 1.0)
        return 0.5 * (math.cos(math.pi * a) - math.cos(math.pi * b))

    def _rain(self, day: int, year_day: int, hour: int) -> float:
        month = _MONTH_OF_DAY[year_day]
        days = self.monthly.rain_days[month]
        wet, amount, hours, start, _ = _draws(self.seed, day)
        if wet >= days / MONTH_DAYS[month]:
            return 0.0
        length = 1 + int(8.0 * hours)
        first = int(start * (25 - length))
        if not first <= hour < first + length:
            return 0.0
        depth = -math.log1p(-amount) * self.monthly.rain[month] / days
        return depth / (length * HOUR)

    def _spell(self, day: int) -> float:
        """A warm or cold spell of deviation 1: an autoregression written out as a sum over past days."""
        total, weight = 0.0, math.sqrt(1.0 - _PERSISTENCE**2)
        for back in range(_MEMORY_DAYS):
            total += weight * _draws(self.seed, day - back)[4]
            weight *= _PERSISTENCE
        return total


class WeatherTable:
    """The user's own weather, an hourly table that starts anew when it ends.

    Parameters
    ----------
    air, rain, evaporation, water : sequence of float
        One value for each hour: [degC], [m/s], [m/s], [degC]
    """

    def __init__(self, air, rain, evaporation, water) -> None:
        self.air = np.asarray(air, float)
        self.rain = np.asarray(rain, float)
        self.evaporation = np.where(self.air > 0.0, np.maximum(evaporation, 0.0), 0.0)
        self.water = np.maximum(np.asarray(water, float), 0.0)
        if not len(self.air) == len(self.rain) == len(self.evaporation) == len(self.water) > 0:
            raise ConfigError("weather table: the columns must have one value for each hour")

    @classmethod
    def read(cls, path: str | Path, latitude: float = 0.0, elevation: float = 0.0) -> WeatherTable:
        """Read a table from a CSV file, one line an hour from the start of the year.

        Parameters
        ----------
        path : path
            File with a line of column names. `air_degC` and `rain_mm` are needed; `evaporation_mm`, or else
            `humidity_percent`, `wind_m_s` (at 2 m) and `sun_W_m2`; `water_degC` if it was measured.
        latitude : float
            Latitude, used with the second choice, [rad]
        elevation : float
            Height above sea level, used with the second choice, [m]

        Returns
        -------
        table : WeatherTable
            The weather.

        Raises
        ------
        ConfigError
            If a column is missing or a cell is no number in range, with file, line and column.

        Notes
        -----
        Without an evaporation column each whole day's is that of FAO-56 for the day's extremes and means,
        spread over its hours as the sun was. Without a water column a pond follows the air with `POND_TIME`.
        """
        columns = _read_columns(Path(path))
        air = columns["air_degC"]
        if "evaporation_mm" in columns:
            evaporation = columns["evaporation_mm"] * 1e-3 / HOUR
        else:
            evaporation = OPEN_WATER * _table_evaporation(Path(path), columns, latitude, elevation)
        water = columns.get("water_degC")
        if water is None:
            water = _follow(air, POND_TIME)
        return cls(air, columns["rain_mm"] * 1e-3 / HOUR, evaporation, water)

    def hour(self, seconds: float) -> tuple[float, float, float, float]:
        """Give the weather of the hour that holds a time; returns as `Weather.hour`."""
        i = math.floor(seconds / HOUR) % len(self.air)
        return float(self.air[i]), float(self.rain[i]), float(self.evaporation[i]), float(self.water[i])


@lru_cache(maxsize=256)
def _draws(seed: int, day: int) -> tuple[float, float, float, float, float]:
    """Random numbers of one day: wet, amount, hours, start in [0, 1), and a normal one.

    Philox (Salmon and others, SC11) is keyed, not stepped: the day is its counter.
    """
    raw = np.random.Philox(key=seed, counter=day % 2**64).random_raw(5)
    u = [(int(x) >> 11) * 2.0**-53 for x in raw]
    return u[0], u[1], u[2], u[3], NormalDist().inv_cdf(max(u[4], 2.0**-53))


def _interpolate(values) -> np.ndarray:
    """Daily values at noon, straight between mid-months."""
    return np.interp(np.arange(YEAR_DAYS) + 0.5, _MID_MONTH, values, period=YEAR_DAYS)


def _mean_preserving(means) -> np.ndarray:
    """Mid-month values whose straight-line interpolation has the given monthly means."""
    averaging = np.zeros((12, 12))
    for k in range(12):
        daily = _interpolate(np.eye(12)[k])
        np.add.at(averaging[:, k], _MONTH_OF_DAY, daily / np.array(MONTH_DAYS)[_MONTH_OF_DAY])
    return np.linalg.solve(averaging, np.asarray(means, float))


def _first_harmonic(means, lag: float) -> tuple[float, float, float]:
    """Mean, amplitude and phase of a pond behind the season: a first-order lag of the year's sine.

    A well mixed pond that takes heat in proportion to the difference follows a sine of angular frequency w
    with its amplitude over sqrt(1 + (w lag)^2) and later by atan(w lag).
    """
    daily = _interpolate(_mean_preserving(means))
    angle = 2.0 * math.pi * (np.arange(YEAR_DAYS) + 0.5) / YEAR_DAYS
    a = 2.0 / YEAR_DAYS * float(np.sum(daily * np.cos(angle)))
    b = 2.0 / YEAR_DAYS * float(np.sum(daily * np.sin(angle)))
    turn = 2.0 * math.pi * lag / (YEAR_DAYS * DAY)
    return float(daily.mean()), math.hypot(a, b) / math.hypot(1.0, turn), math.atan2(b, a) + math.atan(turn)


def _penman(
    low: float, high: float, humidity: float, wind: float, radiation: float, ground: float,
    latitude: float, elevation: float, year_day: int,
) -> float:  # fmt: skip
    """Reference evaporation [m/s] of a day by FAO-56 from its extremes, means and solar radiation [W/m2]."""
    mean = 0.5 * (low + high)
    es = fao.mean_saturation_pressure(low, high)
    ea = humidity * es  # eq. 19: all that a mean humidity allows
    clear = fao.clear_sky_radiation(fao.extraterrestrial_radiation(latitude, year_day + 1.0), elevation)
    clearness = min(radiation / clear, 1.0) if clear > 0.0 else 0.5
    net = fao.net_shortwave(radiation) - fao.net_longwave(low, high, ea, clearness)
    return fao.reference_evaporation(
        net, ground, mean, wind, es, ea,
        fao.saturation_slope(mean), fao.psychrometric_constant(fao.air_pressure(elevation)),
    )  # fmt: skip


_COLUMNS = {
    "air_degC": (-60.0, 60.0), "rain_mm": (0.0, 500.0),
    "evaporation_mm": (0.0, 5.0), "water_degC": (-5.0, 60.0),
    "humidity_percent": (0.0, 100.0), "wind_m_s": (0.0, 75.0), "sun_W_m2": (0.0, 1500.0),
}  # fmt: skip


def _read_columns(path: Path) -> dict[str, np.ndarray]:
    """Known columns of a CSV file as arrays; every finding is reported, not only the first."""
    findings: list[str] = []
    values: dict[str, list[float]] = {}
    try:
        with path.open(newline="", encoding="utf-8-sig") as file:
            reader = csv.DictReader(file)
            names = [name for name in (reader.fieldnames or []) if name in _COLUMNS]
            needed = ["air_degC", "rain_mm"]
            if "evaporation_mm" not in names:
                needed += ["humidity_percent", "wind_m_s", "sun_W_m2"]
            findings += [f"{path}: line 1: column {name} is missing" for name in needed if name not in names]
            values = {name: [] for name in names}
            for row in reader:
                for name in names:
                    lo, hi = _COLUMNS[name]
                    try:
                        value = float(row[name] or "")
                    except ValueError:
                        value = math.nan
                    if not lo <= value <= hi:
                        findings.append(
                            f"{path}: line {reader.line_num}: {name} is {row[name]!r}, "
                            f"allowed a number {lo:g} to {hi:g}"
                        )
                    values[name].append(value)
    except (OSError, UnicodeDecodeError) as error:
        raise ConfigError(f"{path}: cannot be read: {error}") from error
    if not findings and not values["air_degC"]:
        findings.append(f"{path}: has no lines of data")
    if findings:
        raise ConfigError(findings[:20])
    return {name: np.array(column) for name, column in values.items()}


def _table_evaporation(
    path: Path, columns: dict[str, np.ndarray], latitude: float, elevation: float
) -> np.ndarray:
    """Hourly reference evaporation [m/s]: FAO-56 day by day, spread as the sun was."""
    n = len(columns["air_degC"])
    if n % 24 != 0:
        raise ConfigError(f"{path}: {n} hours are not whole days, which evaporation by FAO-56 needs")
    result = np.zeros(n)
    for day in range(n // 24):
        hours = slice(24 * day, 24 * day + 24)
        air, sun = columns["air_degC"][hours], columns["sun_W_m2"][hours]
        rate = _penman(
            float(air.min()), float(air.max()), float(columns["humidity_percent"][hours].mean()) / 100.0,
            float(columns["wind_m_s"][hours].mean()), float(sun.mean()), 0.0,
            latitude, elevation, day % YEAR_DAYS,
        )  # fmt: skip
        share = sun / sun.sum() if sun.sum() > 0.0 else np.full(24, 1.0 / 24.0)
        result[hours] = max(rate, 0.0) * share * 24.0
    return result


def _follow(air: np.ndarray, lag: float) -> np.ndarray:
    """A first-order lag of an hourly series that repeats for ever, exact for hourly constants."""
    keep = math.exp(-HOUR / lag)
    free = 0.0
    for value in air:
        free = keep * free + (1.0 - keep) * value
    # where the series must begin to end on the same value
    water = free / (1.0 - keep ** len(air))
    result = np.empty(len(air))
    for i, value in enumerate(air):
        result[i] = water
        water = keep * water + (1.0 - keep) * value
    return result
