"""Laboratory files: what is read, in SI, and the sentence each kind of bad data gets."""

import numpy as np
import pytest

from plantsim.analysis.lab.data import read_lab
from plantsim.errors import ConfigError

GOOD = """
sample: settling pond of an invented pit
taken: 2027-04-05 09:30
tested_by: the works laboratory
solids:
  density: 2.65 t/m3
  clay: 20 %
  sizes: [[2 um, 25 %], [10 um, 55 %], [63 um, 90 %], [0.2 mm, 100 %]]
jar_tests:
  alum: {solids: 42 g/L, temperature: 12 degC, ph: 7.2, slow_mix: 10 min, points: [[0 mg/L, 900 NTU],
         [20 mg/L, 300 NTU], [40 mg/L, 40 NTU]]}
settling_curves:
  thin: {solids: 20 g/L, polymer: 40 g/t, points: [[0 min, 30 cm], [1 min, 20 cm], [2 min, 12 cm], [9 min, 5 cm]]}
dose_series:
  anionic:
    solids: 40 g/L
    clay: 5 %
    rates: [[0 g/t, 0.2 m/h], [30 g/t, 8 m/h], [60 g/t, 12 m/h]]
    clarity: [[0 g/t, 900 NTU], [30 g/t, 60 NTU], [60 g/t, 80 NTU]]
rest_heights:
  day: {points: [[0.3 m, 40 g/L, 45 mm], [0.3 m, 80 g/L, 82 mm], [0.3 m, 160 g/L, 150 mm]]}
yield_stress:
  vane: {by_weight: [[40 %, 12 Pa], [45 %, 25 Pa], [50 %, 55 Pa]]}
turbidity:
  dilutions: {of: colloid, points: [[10 mg/L, 16 NTU], [50 mg/L, 80 NTU], [100 mg/L, 160 NTU]]}
ph_series:
  acid: {dose: 10 mg/L, points: [[5, 11 NTU], [6, 5.5 NTU], [7, 8 NTU]]}
"""


def write(tmp_path, text, name="lab.yaml"):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


def refused(tmp_path, text, name="lab.yaml"):
    with pytest.raises(ConfigError) as caught:
        read_lab(write(tmp_path, text, name))
    return [finding.replace(str(tmp_path) + "/", "") for finding in caught.value.findings]


def test_everything_is_read_in_si(tmp_path):
    lab = read_lab(write(tmp_path, GOOD))
    assert lab.sample.startswith("settling pond") and lab.tested_by == "the works laboratory"
    assert lab.solids_density == pytest.approx(2650.0)
    (jars,), (curve,), (series,) = lab.jar_tests, lab.curves, lab.dose_series
    np.testing.assert_allclose(jars.doses, [0.0, 0.02, 0.04])
    assert jars.solids == pytest.approx(42.0) and jars.temperature == pytest.approx(12.0)
    assert jars.slow_mix == pytest.approx(600.0) and jars.clay == pytest.approx(0.2)
    assert "pH 7.2" in jars.conditions and "slow mixing 10 min" in jars.conditions
    np.testing.assert_allclose(curve.times, [0.0, 60.0, 120.0, 540.0])
    np.testing.assert_allclose(curve.heights, [0.3, 0.2, 0.12, 0.05])
    assert curve.polymer == pytest.approx(40e-6) and not curve.as_treated
    np.testing.assert_allclose(series.rates, np.array([0.2, 8.0, 12.0]) / 3600.0)
    np.testing.assert_allclose(series.clarity, [900.0, 60.0, 80.0])
    assert series.clay == pytest.approx(0.05)  # its own, before that of the sample
    np.testing.assert_allclose(lab.rest_heights[0].rest, [0.045, 0.082, 0.15])
    assert lab.yields[0].by_weight and lab.yields[0].stress[-1] == pytest.approx(55.0)
    assert lab.turbidity[0].of == "colloid" and lab.turbidity[0].solids[0] == pytest.approx(0.01)
    np.testing.assert_allclose(lab.ph_series[0].ph, [5.0, 6.0, 7.0])
    assert curve.where.endswith("lab.yaml:13")
    assert len(lab.tests()) == 7


def test_sizes_on_a_logarithmic_scale(tmp_path):
    sizes = read_lab(write(tmp_path, GOOD)).sizes
    assert sizes.size_at(0.55) == pytest.approx(10e-6)
    # halfway between 25 and 55 % lies the geometric mean of 2 and 10 um
    assert sizes.size_at(0.40) == pytest.approx(1e-6 * 20.0**0.5)
    assert sizes.share_below(63e-6) == pytest.approx(0.9)
    with pytest.raises(ValueError, match="outside the measured 25 to 100 %"):
        sizes.size_at(0.1)


CURVE = """
settling_curves:
  a:
    solids: 2 g/L
    points:
      - [0 min, 48 cm]
      - [2 min, 30 cm]
      - {third}
      - [3 min, 20 cm]
"""


@pytest.mark.parametrize("third, line, words", [
    ("[1 min, 28 cm]", 8, "found '1 min' after '2 min'; allowed: time rising from row to row"),
    ("[2.5 min, 31 cm]", 8, "found '31 cm' after '30 cm'; allowed: height not rising from row to row"),
    ("[2.5 min, 28 g/L]", 8, "found '28 g/L' (a concentration); allowed: a length with its unit"),
    ("[2.5 min, 28]", 8, "found '28' (no unit); allowed: a length with its unit"),
    ("[2.5 min, -1 cm]", 8, "found '-1 cm'; allowed: at least 0 cm"),
    ("[2.5 min, 28 CM]", 8, "did you mean '28 cm'?"),
    ("[2.5 min]", 8, "found a row of 1; allowed: a row [time, height]"),
])  # fmt: skip
def test_bad_rows_of_a_curve(tmp_path, third, line, words):
    findings = refused(tmp_path, CURVE.replace("{third}", third))
    assert any(f.startswith(f"lab.yaml:{line}: settling_curves.a.points.2") and words in f for f in findings), findings


def test_two_points_only(tmp_path):
    (finding,) = refused(tmp_path, "settling_curves:\n  a: {solids: 2 g/L, points: [[0 s, 48 cm], [60 s, 28 cm]]}\n")
    assert finding == "lab.yaml:2: settling_curves.a.points: found 2 rows; allowed: at least 4 rows of [time, height]"


def test_a_curve_starts_at_the_filled_height(tmp_path):
    text = "settling_curves:\n  a: {solids: 2 g/L, points: [[1 s, 48 cm], [2 s, 40 cm], [3 s, 30 cm], [9 s, 20 cm]]}\n"
    (finding,) = refused(tmp_path, text)
    assert "found a first reading after time 0" in finding


def test_other_slips(tmp_path):
    findings = refused(
        tmp_path,
        """
jar_test:
  a: {points: [[5 mg/L, 14 NTU], [7 mg/L, 9.5 NTU], [10 mg/L, 5 NTU]]}
jar_tests:
  b: {points: [[5 g/t, 14 NTU], [7 mg/L, 9.5 NTU], [10 mg/L, 5 NTU]]}
dose_series:
  c: {solids: 40 g/L}
rest_heights:
  d: {points: [[0.3 m, 40 g/L, 0.4 m], [0.3 m, 80 g/L, 82 mm], [0.3 m, 160 g/L, 150 mm]]}
""",
    )
    assert any("lab.yaml:2: jar_test: found 'jar_test'" in f and "did you mean" in f for f in findings)
    assert any("lab.yaml:5: jar_tests.b.points.0.0: found '5 g/t' (a dose per mass)" in f for f in findings)
    rules = refused(tmp_path, "dose_series:\n  c: {solids: 40 g/L}\n")
    assert rules == ["lab.yaml:2: dose_series.c: found none of rates, clarity; allowed: one of them, or more, as rows "
                     "of readings"]  # fmt: skip
    rules = refused(
        tmp_path, "rest_heights:\n  d: {points: [[3 m, 40 g/L, 4 m], [3 m, 8 g/L, 1 m], [3 m, 9 g/L, 1 m]]}\n"
    )
    assert "found a rest height of 4 m in a cylinder filled to 3 m" in rules[0]


def test_empty_files(tmp_path):
    assert refused(tmp_path, "") == ["lab.yaml: found an empty file; allowed: 'key: value' lines"]
    assert "found no test; allowed: one or more of solids, jar_tests" in refused(tmp_path, "sample: pond\n")[0]
    assert refused(tmp_path, "", "a.csv") == ["a.csv: found an empty file; allowed: a header with units, and rows of "
                                              "readings"]  # fmt: skip
    (finding,) = refused(tmp_path, "time [s],height [m],solids [g/L]\n", "a.csv")
    assert finding == "a.csv:1: found a header without rows; allowed: a row for each reading"
    with pytest.raises(ConfigError, match="found that no such file"):
        read_lab(tmp_path / "none.csv")
    with pytest.raises(ConfigError, match="found no laboratory file"):
        read_lab()


# ---------------------------------------------------------------------------------------------- CSV
def test_csv_of_two_curves(tmp_path):
    head = "test,time [min],height [cm],solids [g/L],polymer [g/t],temperature [degC],as treated"
    lab = read_lab(write(tmp_path, head + """
thin,0,30,20,40,15,no
thin,1,20,,,,
thin,2,12,,,,
thin,9,5,,,,
thick,0,30,40,40,15,no
thick,1,25,40,40,15,no
thick,3,15,40,40,15,no
thick,30,8,40,40,15,no
""", "curves.csv"))  # fmt: skip
    thin, thick = lab.curves
    assert (thin.name, thick.name) == ("thin", "thick") and thick.where.endswith("curves.csv:6")
    np.testing.assert_allclose(thick.heights, [0.3, 0.25, 0.15, 0.08])
    assert thin.solids == pytest.approx(20.0) and thin.temperature == pytest.approx(15.0)


@pytest.mark.parametrize("header, row, kind", [
    ("dose [mg/L];turbidity [NTU];solids [g/L]", "1;9;42", "jar_tests"),
    ("polymer [g/t],rate [m/h],turbidity [NTU]", "1,9,42", "dose_series"),
    ("solids [%],stress [Pa]", "40,9", "yields"),
    ("solids [g/L],stress [Pa]", "40,9", "yields"),
    ("solids [mg/L]\tturbidity [NTU]", "40\t9", "turbidity"),
    ("filled height [m],solids [g/L],rest height [mm]", "0.3,40,9", "rest_heights"),
    ("ph,turbidity [NTU]", "5,9", "ph_series"),
])  # fmt: skip
def test_columns_tell_the_kind(tmp_path, header, row, kind):
    # the first cell of each row rises, for the kinds in which it must
    mark = next(mark for mark in ";\t," if mark in header)
    first, rest = row.split(mark, 1)
    rows = [f"{float(first) + k}{mark}{rest}" for k in range(3)]
    lab = read_lab(write(tmp_path, "\n".join([header, *rows]), "table-1.csv"))
    (test,) = getattr(lab, kind)
    assert test.name == "table-1"
    if kind == "yields":
        assert test.by_weight == ("%" in header)
    if kind == "dose_series":
        assert len(test.rates) == len(test.clarity) == 3


def test_csv_of_sizes(tmp_path):
    lab = read_lab(write(tmp_path, "size [um],passing [%]\n2,25\n10,55\n63,90\n", "sizes.csv"))
    assert lab.sizes.size_at(0.55) == pytest.approx(10e-6)


@pytest.mark.parametrize("text, words", [
    ("time [min],height [cm],solids [g/L]\n0,48,2\n1,28,2\n3,20,2\n2,18,2\n",
     "a.csv:5: settling_curves.a.points.3.0: found '2 min' after '3 min'; allowed: time rising from row to row"),
    ("time [min],height [cm],solids [g/L]\n0,48,2\n1,28,2\n3,29,2\n4,18,2\n",
     "a.csv:4: settling_curves.a.points.2.1: found '29 cm' after '28 cm'; allowed: height not rising from row to row"),
    ("time [min],height [g/L],solids [g/L]\n0,48,2\n", "a.csv:1: height: found 'g/L'; allowed: a unit of a length"),
    ("time [min],height,solids [g/L]\n0,48,2\n",
     "a.csv:1: height: found a column without a unit; allowed: a unit in brackets, such as 'height [m]'"),
    ("tim [min],height [cm],solids [g/L]\n0,48,2\n", "a.csv:1: found the column 'tim [min]'"),
    ("tim [min],height [cm],solids [g/L]\n0,48,2\n", "did you mean 'time'?"),
    ("time [min],height [cm],height [m]\n0,48,2\n", "found the column 'height' a second time"),
    ("time [min],turbidity [NTU]\n0,48\n", "found the columns time, turbidity, which make no table"),
    ("time [min],height [cm],solids [g/L]\n0,48,2\n1,28,2\n",
     "found 2 rows; allowed: at least 4 rows of [time, height]"),
    ("time [min],height [cm],solids [g/L]\n0,48,2\n1,-3,2\n2,,2\n4,1,2\n", "found '-3 cm'; allowed: at least 0 cm"),
    ("time [min],height [cm],solids [g/L]\n0,48,2\n1,30,2\n2,,2\n4,1,2\n",
     "a.csv:4: height: found an empty cell; allowed: a number, or no row at all"),
    ("time [min],height [cm],solids [g/L]\n0,48,2\n1,30,3\n2,28,2\n4,1,2\n",
     "a.csv:3: solids: found '3' after '2'; allowed: one value of solids for each test"),
    ("time [min],height [cm]\n0,48\n1,30\n2,28\n4,1\n", "a.csv:2: settling_curves.a.solids: found nothing"),
])  # fmt: skip
def test_bad_tables(tmp_path, text, words):
    assert any(words in finding for finding in refused(tmp_path, text, "a.csv")), refused(tmp_path, text, "a.csv")


def test_files_join_and_names_stand_once(tmp_path):
    one = write(tmp_path, GOOD)
    two = write(tmp_path, "time [min],height [cm],solids [g/L]\n0,48,2\n1,28,2\n3,20,2\n4,18,2\n", "wash.csv")
    lab = read_lab(one, two)
    assert [c.name for c in lab.curves] == ["thin", "wash"] and lab.solids_density == pytest.approx(2650.0)
    again = write(tmp_path, "time [min],height [cm],solids [g/L]\n0,48,2\n1,28,2\n3,20,2\n4,18,2\n", "thin.csv")
    with pytest.raises(ConfigError, match=r"found the test 'thin', which stands at .*lab.yaml:13 already"):
        read_lab(one, again)
