"""From laboratory tests to a water file, and from the water file into a plant that is built on it."""

import datetime as dt
from pathlib import Path

import numpy as np
import pytest

from plantsim.analysis.lab.data import read_lab
from plantsim.analysis.lab.fits import fit_all
from plantsim.analysis.lab.water_file import make_water, read_water
from plantsim.errors import ConfigError
from plantsim.physics.flocculation import bridging_factor
from plantsim.physics.kynch import batch_vesilind
from plantsim.physics.slurry import volume_fraction_from_mass_fraction
from plantsim.physics.stress import equilibrium_power
from plantsim.physics.water import density, viscosity
from plantsim.plant.build import load_model
from plantsim.plant.reader import read
from plantsim.plant.sections import PLANT

DEMO = Path(__file__).resolve().parents[2] / "configs" / "gravel-pit.yaml"
# A measured curve of wash water (coursehero 23943069): minutes, cm; 2 g/L at the start.
WASH = list(zip([0, 1, 2, 3, 4, 5, 6, 7, 8, 10, 12, 14, 16, 18, 20, 26],
                [48, 28, 23.4, 20.6, 18.4, 16.8, 15.7, 14.8, 14, 12.8, 11.8, 11.2, 10.6, 10.4, 10.2, 10]))  # fmt: skip
V0, R, OPTIMUM, GAIN, DEMAND = 0.40 / 3600, 0.009, 55e-6, 45.0, 0.6e-3
GEL, S0, K = 310.0, 8.0, 6.0


def rows(*columns):
    return "[" + ", ".join("[" + ", ".join(cells) + "]" for cells in zip(*columns)) + "]"


def with_unit(values, unit):
    return [f"{value:.8g} {unit}" for value in values]


@pytest.fixture
def lab(tmp_path):
    """An invented water with known parameters, tested in the laboratory of this test."""
    solids = 42.0
    d = DEMAND * solids * np.array([0, 0.25, 0.5, 0.7, 0.85, 1.0, 1.2, 1.5, 1.9, 2.4])
    jar = 900 * np.exp(-6.0 * np.exp(-(((1 - d / (DEMAND * solids)) / 0.6) ** 2)))
    p = 1e-6 * np.array([0, 20, 40, 55, 75, 100])
    rate = [V0 * np.exp(-R * 40.0) * bridging_factor(x, OPTIMUM, GAIN) for x in p]
    lines = ["solids: {density: 2680 kg/m3, sizes: [[2 um, 30 %], [20 um, 70 %], [63 um, 90 %], [0.2 mm, 99 %]]}",
             f"jar_tests:\n  jars: {{solids: 42 g/L, slow_mix: 10 min, "
             f"points: {rows(with_unit(d, 'kg/m3'), with_unit(jar, 'NTU'))}}}",
             "dose_series:\n  anionic: {solids: 40 g/L, "
             f"rates: {rows(with_unit(p, 'kg/kg'), with_unit(rate, 'm/s'))}}}",
             "settling_curves:"]  # fmt: skip
    slow = viscosity(10.0) / viscosity(20.0)
    factor = bridging_factor(50e-6, OPTIMUM, GAIN)
    for c in (20.0, 40.0, 60.0, 90.0):
        exact = batch_vesilind(c, 0.4, V0 * factor / slow, R)
        t = np.concatenate([np.linspace(0, exact.t1, 7), np.geomspace(1.3 * exact.t1, 30 * exact.t1, 8)])
        z = [exact.interface_height(x) for x in t]
        lines.append(f"  at-{c:.0f}: {{solids: {c} g/L, polymer: 50 g/t, temperature: 10 degC, "
                     f"points: {rows(with_unit(t, 's'), with_unit(z, 'm'))}}}")  # fmt: skip
    filled = np.array([0.1, 0.2, 0.4, 0.8, 1.5, 2.5])
    rest = [equilibrium_power(120 / 2680, h, GEL / 2680, S0, K, 2680 - density(20.0))[1] for h in filled]
    w = np.array([0.35, 0.42, 0.48, 0.55])
    phi = np.array([volume_fraction_from_mass_fraction(x, 2680.0, 998.2) for x in w])
    n = np.array([10.0, 40, 100, 400])
    lines += [
        f"rest_heights:\n  day: {{points: {rows(with_unit(filled, 'm'), ['120 g/L'] * 6, with_unit(rest, 'm'))}}}",
        f"yield_stress:\n  vane: {{by_weight: {rows(with_unit(100 * w, '%'), with_unit(30000 * phi**4.2, 'Pa'))}}}",
        f"turbidity:\n  fines: {{points: {rows(with_unit(n, 'mg/L'), with_unit(0.7 * n, 'NTU'))}}}",
        f"  colloid: {{of: colloid, points: {rows(with_unit(n, 'mg/L'), with_unit(1.9 * n, 'NTU'))}}}",
    ]
    path = tmp_path / "lab.yaml"
    path.write_text("\n".join(lines) + "\n")
    return path


@pytest.fixture
def water(lab):
    return make_water(fit_all(read_lab(lab)), dt.date(2027, 4, 5))


def plant(tmp_path, water_lines, name="plant.yaml"):
    """The gravel pit with another water section."""
    text = DEMO.read_text()
    head, tail = text.split("water:\n", 1)
    rest = tail.split("\n\n", 1)[1]
    path = tmp_path / name
    path.write_text(head + "water:\n" + "".join(f"  {line}\n" for line in water_lines) + "\n" + rest)
    return path


def test_known_parameters_come_back_through_the_file(water, tmp_path):
    tree = read_water(water.write(tmp_path / "water.yaml"))
    for key, truth, rel in (
        ("solids_density", 2680.0, 1e-9), ("coagulant_demand", DEMAND, 0.01), ("coagulant_window", 0.6, 0.02),
        ("coagulant_time", 100.0, 0.02), ("polymer_optimum", OPTIMUM, 0.01), ("polymer_gain", GAIN, 0.01),
        ("gel", GEL, 0.01), ("turbidity_fines", 0.7, 0.01), ("turbidity_colloid", 1.9, 0.01),
        ("yield_a", 30000.0, 0.01),
        ("yield_b", 4.2, 0.01),
    ):  # fmt: skip
        assert tree[key] == pytest.approx(truth, rel=rel), key
        assert tree.given(key)
    # cylinders at 10 degC with polymer: brought to 20 degC and to no polymer
    assert tree.settling.law == "vesilind"
    assert tree.settling.v0 == pytest.approx(V0, rel=0.01) and tree.settling.cs == pytest.approx(1 / R, rel=0.01)
    assert (tree.stress.s0, tree.stress.k) == pytest.approx((S0, K), rel=0.02)
    # the middle of what lies above 63 um: 95 % of the whole, between 90 % at 63 um and 99 % at 0.2 mm
    assert tree.coarse_size == pytest.approx(63e-6 * (0.2 / 0.063) ** (5 / 9), rel=0.01)
    assert not tree.given("clay_slowing")


def test_every_number_says_where_it_comes_from(water):
    text = water.text()
    assert "# By whom checked:\n" in text and "# Written on 2027-04-05." in text
    assert all(len(line) <= 112 for line in text.splitlines() if line.startswith("#"))
    for value in water.values:
        joined = " ".join(value.source)
        assert "lab.yaml:" in joined or "no source" in joined or "goes with the exponent" in joined, value.key
    demand = next(v for v in water.values if v.key == "coagulant_demand")
    assert "95 % interval" in demand.source[0] and any("fit: N = N0 exp" in line for line in demand.source)
    assert "not tested: " in text and "clay_slowing" in text.split("not tested:")[1]


def test_a_plant_is_built_on_it(water, tmp_path):
    water.write(tmp_path / "my-water.yaml")
    path = plant(tmp_path, ["file: my-water.yaml", "polymer_gain: 30"])
    model = load_model(path)
    material = model.arena.material
    assert material["coag_demand"][0] == pytest.approx(DEMAND, rel=0.01)
    assert material["poly_gain"][0] == 30.0  # the plant's own value goes over the file's
    assert material["solids_density"][0] == 2680.0
    assert material["ntu_colloid"][0] == pytest.approx(1900.0, rel=0.01)
    clarifier = model.arena.clarifier_p
    assert clarifier["c_gel"][0] == pytest.approx(GEL, rel=0.01)
    flux = model.arena.tables[int(clarifier["flux"][0]) :][: int(clarifier["n_flux"][0])]
    # the peak of C v0 exp(-C/cs) is v0 cs/e at C = cs
    assert clarifier["c_hat"][0] == pytest.approx(1 / R, rel=0.02)
    assert np.max(flux) == pytest.approx(V0 / R / np.e, rel=0.02)
    # the resolved configuration holds the values and needs no second file
    again = tmp_path / "elsewhere"
    again.mkdir()
    (again / "resolved.yaml").write_text(model.resolved)
    assert load_model(again / "resolved.yaml").resolved == model.resolved


def test_what_a_clarifier_gives_itself_goes_over_the_water(water, tmp_path):
    water.write(tmp_path / "my-water.yaml")
    path = plant(tmp_path, ["file: my-water.yaml"])
    model = load_model(path, ["units.clarifier.gel=200 g/L", "units.clarifier.settling={law: vesilind, cs: 80 g/L}"])
    assert model.arena.clarifier_p["c_gel"][0] == 200.0
    assert model.arena.clarifier_p["c_hat"][0] == pytest.approx(80.0, rel=0.02)


def test_findings_point_at_the_right_file_and_line(tmp_path):
    (tmp_path / "w.yaml").write_text("coagulant_demand: 500 g/t\npolymer_gain: 999\npolymer_optimun: 50 g/t\n")
    path = plant(tmp_path, ["file: w.yaml", "coagulant_window: 9"])
    with pytest.raises(ConfigError) as caught:
        read(path, PLANT)
    findings = [f.replace(str(tmp_path) + "/", "") for f in caught.value.findings]
    own = path.read_text().splitlines().index("  coagulant_window: 9") + 1
    assert "w.yaml:2: water.polymer_gain: found '999'; allowed: 1 to 500" in findings
    assert any(f.startswith("w.yaml:3: water.polymer_optimun: found 'polymer_optimun'") and
               f.endswith("(did you mean 'polymer_optimum'?)") for f in findings)  # fmt: skip
    assert f"plant.yaml:{own}: water.coagulant_window: found '9'; allowed: 0.1 to 3" in findings
    # a wrong value of the file that the plant gives itself is no finding
    assert (
        read(path, PLANT, ["water.polymer_gain=40", "water.coagulant_window=0.5", "water.file="]).water.polymer_gain
        == 40
    )


@pytest.mark.parametrize("name, text, words", [
    ("my-watr.yaml", None, "plant.yaml:{line}: water.file: found 'my-watr.yaml', no such file; allowed: a YAML file "
                           "(did you mean '{folder}my-water.yaml'?)"),
    ("bad.yaml", "a: [1\n", "bad.yaml:1: water.file: found 'a: [1', which is no YAML"),
    ("empty.yaml", "", "plant.yaml:{line}: water.file: found 'empty.yaml', an empty file"),
    ("list.yaml", "- 1\n", "list.yaml:1: water.file: found a list; allowed: 'key: value' lines"),
    ("loop.yaml", "file: other.yaml\n", "loop.yaml:1: water.file: found a file within a file"),
])  # fmt: skip
def test_a_water_file_that_cannot_be_read(tmp_path, name, text, words):
    (tmp_path / "my-water.yaml").write_text("polymer_gain: 40\n")
    if text is not None:
        (tmp_path / name).write_text(text)
    path = plant(tmp_path, [f"file: {name}"])
    line = path.read_text().splitlines().index(f"  file: {name}") + 1
    with pytest.raises(ConfigError) as caught:
        read(path, PLANT)
    wanted = words.format(line=line, folder=f"{tmp_path}/")
    assert any(f.replace(str(path), "plant.yaml").replace(f"{tmp_path}/{name}", name).startswith(wanted)
               for f in caught.value.findings), caught.value.findings  # fmt: skip


def test_wash_water_typed_from_its_table_builds_a_plant(tmp_path):
    text = "time [min],height [cm],solids [g/L],as treated\n" + "".join(f"{m},{z},2,yes\n" for m, z in WASH)
    (tmp_path / "wash.csv").write_text(text)
    water = make_water(fit_all(read_lab(tmp_path / "wash.csv")))
    water.write(tmp_path / "my-water.yaml")
    tree = read_water(tmp_path / "my-water.yaml")
    assert tree.settling.law == "points" and tree.polymer_gain == 1.0
    assert tree.settling.points[0] == pytest.approx((2.0, 0.20 / 60.0), rel=1e-3)
    assert "treated in the plant" in water.text() and "test to add" in water.text()
    model = load_model(plant(tmp_path, ["file: my-water.yaml"]), ["units.clarifier.start_bed_solids=9 g/L"])
    clarifier = model.arena.clarifier_p
    flux = model.arena.tables[int(clarifier["flux"][0]) :][: int(clarifier["n_flux"][0])]
    spacing = clarifier["c_max"][0] / (len(flux) - 1)
    assert clarifier["c_hat"][0] == pytest.approx(2.0, abs=spacing)
    assert np.max(flux) == pytest.approx(2.0 * 0.20 / 60.0, rel=0.02)


def test_what_the_tests_cannot_carry_is_left_out_and_said(tmp_path):
    # Davis, Water and Wastewater Engineering, pp. 6-18/6-19: no solids given, so no dose per tonne follows
    (tmp_path / "davis.csv").write_text("dose [mg/L],turbidity [NTU]\n5,14\n7,9.5\n10,5\n12,4.5\n15,6\n20,13\n")
    water = make_water(fit_all(read_lab(tmp_path / "davis.csv")))
    assert water.keys() == ["coagulant_window"]
    left = dict(water.left_out)
    assert "the jars' solids are not given; test to add: dry solids of the jars" in left["coagulant_demand"]
    assert "slow mixing" in left["coagulant_time"]
    # solids so thin that the demand per tonne is outside the plant's range: said, not written
    (tmp_path / "thin.csv").write_text(
        "dose [mg/L],turbidity [NTU],solids [mg/L]\n5,14,50\n7,9.5,\n10,5,\n12,4.5,\n15,6,\n20,13,\n"
    )
    water = make_water(fit_all(read_lab(tmp_path / "thin.csv")))
    assert "allowed: 10 g/t to 10000 g/t" in dict(water.left_out)["coagulant_demand"]
    assert "coagulant_demand" not in [value.key for value in water.values]


def test_sticky_clay_of_the_sample_is_taken_out(lab, tmp_path):
    text = lab.read_text().replace("density: 2680 kg/m3", "density: 2680 kg/m3, clay: 20 %")
    (tmp_path / "clay.yaml").write_text(text)
    tree = read_water(make_water(fit_all(read_lab(tmp_path / "clay.yaml"))).write(tmp_path / "w.yaml"))
    # by the plant's default rises: demand and optimum 1 + 1.0 x 0.2, settling slower by 1 + (3 - 1) x 0.2
    assert tree.coagulant_demand == pytest.approx(DEMAND / 1.2, rel=0.01)
    assert tree.polymer_optimum == pytest.approx(OPTIMUM / 1.2, rel=0.01)
    assert tree.settling.v0 == pytest.approx(V0 * 1.4, rel=0.01)
