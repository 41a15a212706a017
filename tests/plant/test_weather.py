"""Weather from monthly means and from a table: FAO-56 examples, statistics of rain, any hour by itself."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pvlib
import pytest
from scipy import stats

from plantsim.errors import ConfigError
from plantsim.plant.weather import DAY, HOUR, MONTH_DAYS, OPEN_WATER, MonthlyMeans, Weather, WeatherTable

MM_DAY = 1e-3 / DAY


def months(value):
    return (float(value),) * 12


# an invented temperate place
PLACE = MonthlyMeans(
    temperature=(-1, 0, 4, 9, 14, 18, 20, 19, 15, 10, 4, 0),
    swing=(6, 7, 9, 10, 11, 11, 11, 11, 10, 8, 6, 5),
    rain=(0.05, 0.04, 0.05, 0.06, 0.08, 0.09, 0.08, 0.07, 0.06, 0.05, 0.05, 0.06),
    rain_days=(12, 10, 11, 12, 13, 13, 12, 11, 10, 10, 12, 13),
    humidity=(0.85, 0.8, 0.75, 0.7, 0.7, 0.7, 0.7, 0.72, 0.78, 0.82, 0.86, 0.87),
    wind=months(2.5),
    sunshine=(0.2, 0.3, 0.4, 0.45, 0.45, 0.5, 0.5, 0.5, 0.45, 0.35, 0.25, 0.2),
)  # fmt: skip


def day_total(weather, day):
    return sum(weather.hour(day * DAY + h * HOUR)[2] * HOUR for h in range(24))


def test_fao_56_example_18_through_a_day_of_hours():
    # FAO-56, example 18 (p. 113): Uccle, 50 deg 48' N, 100 m, 6 July (day 187), 21.5/12.3 degC, es 1.997 and
    # ea 1.409 kPa, wind 2.078 m/s, 9.25 h of sun in 16.1 h: reference evaporation 3.9 mm (3.880 unrounded)
    uccle = MonthlyMeans(
        months(16.9), months(9.2), months(0.0), months(0.0),
        humidity=months(1.409 / 1.997), wind=months(2.078), sunshine=months(9.25 / 16.1),
    )  # fmt: skip
    weather = Weather(uccle, math.radians(50.8), 100.0, seed=1)
    assert 1e3 * day_total(weather, 186) / OPEN_WATER == pytest.approx(3.88, abs=0.02)


def test_fao_56_example_17_with_the_months_around_it():
    # FAO-56, example 17 (p. 110): Bangkok in April, 13 deg 44' N, 2 m, 34.8/25.6 degC, ea 2.85 and es 4.42
    # kPa, wind 2 m/s, 8.5 h of sun in 12.31 h, March 29.2 degC, G 0.14 MJ/m2/day: 5.72 mm/day. Here May is
    # 31.2, so that eq. 43 over both months gives the same G.
    bangkok = MonthlyMeans(
        (28.2, 28.2, 29.2, 30.2, 31.2, 30.2, 29.2, 28.2, 28.2, 28.2, 28.2, 28.2),
        months(9.2), months(0.0), months(0.0),
        humidity=months(2.85 / 4.42), wind=months(2.0), sunshine=months(8.5 / 12.31),
    )  # fmt: skip
    weather = Weather(bangkok, math.radians(13.0 + 44.0 / 60.0), 2.0, seed=1)
    april = np.mean([weather.day_evaporation(day) for day in range(90, 120)]) / OPEN_WATER / MM_DAY
    assert april == pytest.approx(5.72, abs=0.03)


def test_monthly_temperatures_come_back():
    weather = Weather(PLACE, 0.9, 200.0, seed=3)
    air = np.array([weather.hour(h * HOUR)[0] for h in range(8760)])
    month = np.repeat(np.arange(12), np.array(MONTH_DAYS) * 24)
    for m in range(12):
        assert air[month == m].mean() == pytest.approx(PLACE.temperature[m], abs=0.05)
    july = air[month == 6].reshape(31, 24)
    assert np.ptp(july, axis=1).mean() == pytest.approx(11.0, abs=0.3)
    assert set(july.argmax(axis=1)) <= {14, 15}
    assert np.abs(np.diff(air)).max() < 2.0  # no jump at midnight or at the ends of months


def test_a_given_monthly_evaporation_comes_back_by_daylight():
    given = tuple(0.01 * (k + 1) for k in range(12))
    warm = MonthlyMeans(months(15), months(8), months(0), months(0), evaporation=given)
    weather = Weather(warm, 0.7, 0.0, seed=0)
    rate = np.array([weather.hour(h * HOUR)[2] for h in range(8760)])
    month = np.repeat(np.arange(12), np.array(MONTH_DAYS) * 24)
    for m in range(12):
        assert HOUR * rate[month == m].sum() == pytest.approx(0.01 * (m + 1), rel=1e-9)
    noon, night = rate.reshape(365, 24)[:, 12], rate.reshape(365, 24)[:, 0]
    assert np.all(night == 0.0) and np.all(noon > 0.0)


def test_nothing_evaporates_in_frost():
    frost = MonthlyMeans(months(-2), months(10), months(0), months(0), evaporation=months(0.03))
    weather = Weather(frost, 0.7, 0.0, seed=0)
    for h in range(48):
        air, _, rate, water = weather.hour(h * HOUR)
        assert (rate == 0.0) if air <= 0.0 else (rate >= 0.0)
        assert water == 0.0
    assert sum(weather.hour(h * HOUR)[2] for h in range(24)) > 0.0  # the afternoon thaws


def test_rain_has_the_stated_days_depth_and_distribution():
    weather = Weather(PLACE, 0.9, 200.0, seed=7)
    years = 40
    depth = np.zeros((years, 365))
    for year in range(years):
        for day in range(120, 212):  # May to July are enough
            start = (year * 365 + day) * DAY
            depth[year, day] = sum(weather.hour(start + h * HOUR)[1] * HOUR for h in range(24))
    for m, first, last in ((4, 120, 151), (5, 151, 181), (6, 181, 212)):
        block = depth[:, first:last]
        wet = block > 0.0
        chance = PLACE.rain_days[m] / MONTH_DAYS[m]
        n = wet.size
        assert wet.mean() == pytest.approx(chance, abs=3.5 * math.sqrt(chance * (1 - chance) / n))
        mean = PLACE.rain[m] / PLACE.rain_days[m]
        assert block[wet].mean() == pytest.approx(mean, abs=3.5 * mean / math.sqrt(wet.sum()))
        # exponential depths (Richardson 1981): Kolmogorov and Smirnov's test does not reject
        assert stats.kstest(block[wet] / mean, "expon").pvalue > 0.001
    # a day says nothing of the next
    wet = (depth[:, 120:212] > 0.0).astype(float)
    assert abs(np.corrcoef(wet[:, :-1].ravel(), wet[:, 1:].ravel())[0, 1]) < 3.5 / math.sqrt(wet.size)


def test_spells_have_the_stated_spread_and_persist():
    spread = Weather(PLACE, 0.9, 200.0, seed=11, spread=4.0)
    plain = Weather(PLACE, 0.9, 200.0, seed=11)
    noon = np.array(
        [
            np.mean([a - b for a, b in zip(_noon(spread, day), _noon(plain, day), strict=True)])
            for day in range(3000)
        ]
    )
    # effective number of an AR(1) with 0.7: n (1 - 0.7) / (1 + 0.7)
    assert noon.mean() == pytest.approx(0.0, abs=4.0 * 4.0 / math.sqrt(3000 * 0.3 / 1.7))
    assert noon.std() == pytest.approx(4.0, rel=0.08)
    assert np.corrcoef(noon[:-1], noon[1:])[0, 1] == pytest.approx(0.7, abs=0.06)


def _noon(weather, day):
    return [weather.hour(day * DAY + 11.5 * HOUR)[0], weather.hour(day * DAY + 12.5 * HOUR)[0]]


def test_any_hour_alone_gives_the_same_answer():
    weather = Weather(PLACE, 0.9, 200.0, seed=5, spread=3.0)
    hours = np.random.default_rng(1).integers(0, 3 * 8760, 400)
    forward = {int(h): weather.hour(h * HOUR) for h in sorted(hours)}
    other = Weather(PLACE, 0.9, 200.0, seed=5, spread=3.0)
    for h in hours:
        assert other.hour(h * HOUR) == forward[int(h)]
        assert other.hour(h * HOUR + 3599.0) == forward[int(h)]
    assert any(Weather(PLACE, 0.9, 200.0, seed=6).hour(h * HOUR)[1] != forward[int(h)][1] for h in hours)
    first = [weather.hour(h * HOUR)[1] for h in range(8760)]
    second = [weather.hour((8760 + h) * HOUR)[1] for h in range(8760)]
    assert first != second


def test_pond_water_lags_and_damps_the_year():
    # first-order response to a sine: amplitude 1/sqrt(1 + (w T)^2), delay atan(w T)/w (any control text)
    mid_month = np.cumsum(MONTH_DAYS) - np.array(MONTH_DAYS) / 2
    means = tuple(12.0 - 10.0 * np.cos(2 * math.pi * mid_month / 365))
    sine = MonthlyMeans(means, months(0), months(0), months(0), evaporation=months(0.05))
    lag = 30.0 * DAY
    weather = Weather(sine, 0.7, 0.0, seed=0, pond_time=lag)
    quick = Weather(sine, 0.7, 0.0, seed=0, pond_time=0.0)
    slow_water = np.array([weather.hour(h * HOUR)[3] for h in range(8760)])
    air = np.array([quick.hour(h * HOUR)[3] for h in range(8760)])
    turn = 2 * math.pi * 30.0 / 365.0
    assert np.ptp(slow_water) / np.ptp(air) == pytest.approx(1 / math.hypot(1, turn), rel=1e-4)
    delay = (int(slow_water.argmax()) - int(air.argmax())) / 24.0
    assert delay == pytest.approx(math.atan(turn) / turn * 30.0, abs=0.2)
    assert np.ptp(air) == pytest.approx(20.0, rel=0.02)


@pytest.mark.parametrize(
    "change, words",
    [
        ({"rain": months(0.05)[:11]}, "rain has 11 numbers"),
        ({"temperature": months(80)}, "temperature of month 1 is 80"),
        ({"humidity": None}, "humidity is missing"),
        ({"rain_days": months(0)}, "month 1 has rain but no rain days"),
        ({"rain_days": months(30)}, "month 2 has more rain days than days"),
        ({"sunshine": months(math.nan)}, "sunshine of month 1"),
    ],
)
def test_wrong_means_are_named(change, words):
    good = {name: getattr(PLACE, name) for name in PLACE.__dataclass_fields__}
    with pytest.raises(ConfigError, match=words):
        MonthlyMeans(**{**good, **change})


def test_wrong_place_or_seed_is_refused():
    with pytest.raises(ConfigError, match="beyond a pole"):
        Weather(PLACE, 1.6, 0.0, seed=1)
    with pytest.raises(ConfigError, match="negative"):
        Weather(PLACE, 0.9, 0.0, seed=-1)


def write_table(path: Path, rows: list[dict[str, object]]) -> Path:
    with path.open("w", newline="") as file:
        writer = csv.DictWriter(file, rows[0].keys())
        writer.writeheader()
        writer.writerows(rows)
    return path


def test_a_table_is_read_as_it_stands(tmp_path):
    rows = [
        {"hour": h, "air_degC": h - 2, "rain_mm": 1.2 * (h == 3), "evaporation_mm": 0.3, "water_degC": 8 + h}
        for h in range(6)
    ]
    table = WeatherTable.read(write_table(tmp_path / "site.csv", rows))
    assert table.hour(3 * HOUR + 5.0) == pytest.approx((1.0, 1.2e-3 / 3600, 0.3e-3 / 3600, 11.0))
    assert table.hour(1 * HOUR)[2] == 0.0  # frost
    assert table.hour(9 * HOUR) == table.hour(3 * HOUR)  # starts anew


def test_a_table_of_example_18_evaporates_its_3_9_mm(tmp_path):
    # FAO-56, example 18 again, now from 24 hours with the day's extremes; sun 22.07 MJ/m2 in the day
    sun = np.maximum(np.sin(np.pi * (np.arange(24) - 4.0) / 16.0), 0.0)
    sun *= 22.07e6 / 3600.0 / sun.sum()
    air = 16.9 + 4.6 * np.cos(2 * np.pi * (np.arange(24) - 15) / 24)
    # the example is day 187 and extraterrestrial radiation depends on it
    steady = {"rain_mm": 0, "humidity_percent": 100 * 1.409 / 1.997, "wind_m_s": 2.078}
    rows = [
        {"air_degC": a, "sun_W_m2": s, **steady}
        for _ in range(187)
        for a, s in zip(air, sun, strict=True)
    ]
    table = WeatherTable.read(write_table(tmp_path / "uccle.csv", rows), math.radians(50.8), 100.0)
    total = sum(table.hour(186 * DAY + h * HOUR)[2] * HOUR for h in range(24))
    assert 1e3 * total / OPEN_WATER == pytest.approx(3.88, abs=0.02)
    # water without a column follows the air: same mean, no daily swing to speak of
    assert table.water.mean() == pytest.approx(16.9, abs=1e-6)
    assert np.ptp(table.water) < 0.2


def test_a_measured_year_evaporates_what_the_maps_say(tmp_path):
    # Typical meteorological year of Greensboro, North Carolina (TMY3, US government data in the package
    # pvlib). Free-water evaporation of shallow water there is about 1,000 to 1,100 mm a year (NOAA Technical
    # Report NWS 33, 1982, map 3, from memory), here held to 15 %; wind at 10 m is brought to 2 m by FAO-56
    # eq. 47 (0.748).
    source = Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"
    rows = []
    with source.open(newline="") as file:
        next(file)
        for row in csv.DictReader(file):
            rows.append(
                {
                    "air_degC": row["Dry-bulb (C)"], "rain_mm": 0, "humidity_percent": row["RHum (%)"],
                    "wind_m_s": 0.748 * float(row["Wspd (m/s)"]), "sun_W_m2": row["GHI (W/m^2)"],
                }
            )  # fmt: skip
    table = WeatherTable.read(write_table(tmp_path / "year.csv", rows), math.radians(36.1), 273.0)
    hours = [table.hour(h * HOUR) for h in range(8760)]
    total = 1e3 * HOUR * sum(hour[2] for hour in hours)
    assert total == pytest.approx(1050.0, rel=0.15)
    frost = [hour for hour in hours if hour[0] <= 0.0]
    assert len(frost) > 500 and all(hour[2] == 0.0 for hour in frost)


@pytest.mark.parametrize(
    "rows, words",
    [
        ([{"air_degC": 1, "rain_mm": 0}], "column humidity_percent is missing"),
        ([{"air_degC": x, "rain_mm": 0, "evaporation_mm": 0} for x in (1, "x")], "line 3: air_degC is 'x'"),
        ([{"air_degC": 1, "rain_mm": -1, "evaporation_mm": 0}], "line 2: rain_mm is '-1'"),
        ([dict.fromkeys(("air_degC", "rain_mm", "humidity_percent", "wind_m_s", "sun_W_m2"), 0)], "whole"),
    ],
)  # fmt: skip
def test_a_wrong_table_is_named_by_line(tmp_path, rows, words):
    with pytest.raises(ConfigError, match=words):
        WeatherTable.read(write_table(tmp_path / "bad.csv", rows))


def test_no_table_and_an_empty_one_are_said(tmp_path):
    with pytest.raises(ConfigError, match="cannot be read"):
        WeatherTable.read(tmp_path / "none.csv")
    (tmp_path / "empty.csv").write_text("air_degC,rain_mm,evaporation_mm\n")
    with pytest.raises(ConfigError, match="no lines of data"):
        WeatherTable.read(tmp_path / "empty.csv")
