"""Bad plant files, each made from a good one by one small slip, and the exact sentence each gets.

A finding gives file, line and key, what was found, what is allowed, and the nearest valid word where one is near.
"""

from __future__ import annotations

import pytest

from plantsim.errors import ConfigError
from plantsim.plant.build import load_model
from plantsim.plant.programs import shipped_programs

GOOD = """\
site: {name: Invented pit, step: 1 s, start: 2027-04-05 06:00}
units:
  wash:
    kind: source
    to: sump
    from: tank
    production: 60 t/h
    fines: 8 %
    permit: XC-100
    shifts: ["mon-fri 06:00-22:00"]
  well: {kind: supply, to: tank, valve: FV-401, flow: 12 m3/h}
  tank:
    kind: vessel
    shape: {form: cylinder, diameter: 6 m, depth: 4 m}
  sump:
    kind: vessel
    shape: {form: prism, length: 4 m, width: 4 m, depth: 3 m}
    start_level: 1.5 m
  rising:
    kind: line
    from: sump
    to: box
    pipe: {length: 100 m, diameter: 200 mm, lift: 8 m, parcels: 100, dispersion: 0.1 m2/s}
    pumps:
      P-101:
        curve:
          - [0 m3/h, 20 m, 0 %, 2 m]
          - [100 m3/h, 18 m, 65 %, 3 m]
          - [200 m3/h, 10 m, 60 %, 5 m]
        motor: {run: YC-101, bus: mains}
  box: {kind: splitter, to: [{unit: clarifier}, {unit: sump, weight: 0}]}
  polymer:
    kind: doser
    product: polymer
    to: clarifier
    capacity: 6 L/h
    tote: {volume: 1 m3, strength: 250 g/L}
    motor: {}
  clarifier:
    kind: clarifier
    overflow: tank
    diameter: 5 m
    depth: 4 m
    layers: 40
    start_bed: 1 m
  underflow:
    kind: line
    from: clarifier
    to: cells
    pipe: {length: 20 m, diameter: 100 mm, lift: -1 m, mud: yes}
  cells:
    kind: bank
    cells:
      cell-1: {valve: FV-311, area: 800 m2, mud: 0.2 m}
      cell-2: {valve: FV-312, area: 800 m2}
instruments:
  LT-101: {measures: sump.level, unit: m, high: 3}
  FT-101: {measures: rising.flow, unit: m3/h, high: 300}
switches:
  YS-101: {measures: P-101.running}
actuators:
  FV-401: {}
  FV-311: {}
  FV-312: {}
flags:
  XC-100: {start: 1}
power:
  mains: {}
control:
  sump-level:
    file: own.st
    every: 2 s
    connect: {level: LT-101, run: YC-101}
    set: {start_level: 1.5 m}
  cell-valve:
    file: valve.st
    connect: {level: LT-101, valve: FV-311}
failures:
  trip: {what: P-101.trip, mean_up: 20 d, mean_down: 1 h}
acts:
  - {at: 1 h, set: XC-100, to: on}
limits:
  - {on: sump.level, at: 2.8, words: overflow}
"""
OWN = """\
PROGRAM own
VAR_INPUT
    level       : REAL;         {unit 'm'}  // level of the sump
    start_level : REAL := 2.0;  {unit 'm'}  // the pump starts
END_VAR
VAR_OUTPUT
    run : BOOL;  {unit '1'}  // asks the pump to run
END_VAR
    run := level > start_level;
END_PROGRAM
"""
VALVE = """\
PROGRAM valve
VAR_INPUT level : REAL; {unit 'm'} END_VAR
VAR_OUTPUT valve : REAL; {unit '%'} END_VAR
    valve := SEL(level > 1.0, 0.0, 100.0);
END_PROGRAM
"""
FLOW = "t/h, kg/h, kg/s, g/h, lb/h, short_ton/h; 0 t/h to 5000 t/h"
LENGTH = "m, mm, cm, km, ft, in"
TAGS = "YC-101, LT-101, FT-101, YS-101, FV-401, FV-311, FV-312, XC-100"
STEPS = "a whole number of steps, or a step over a whole number, such as"
VESSEL = "content, sand, sand_water, level, active, inflow, outflow, overflow, spilled, solids, density, turbidity ..."
PUMP = ("flow, head, power, efficiency, low_flow_time, cavitation_time, cavitation, wear, clog, running, tripped, "
        "held ...")


def findings(tmp_path, text, **files):
    """What is wrong with a plant file, each finding without the folder it stands in."""
    path = tmp_path / "plant.yaml"
    path.write_text(text)
    for stem, content in {"own": OWN, "valve": VALVE, **files}.items():
        (tmp_path / (f"{stem}.csv" if stem in ("feed", "hourly") else f"{stem}.st")).write_text(content)
    with pytest.raises(ConfigError) as caught:
        load_model(path)
    return [line.replace(f"{tmp_path}/", "") for line in caught.value.findings]


def slip(old, new):
    """The good file with one text changed; the text must stand there once."""
    assert GOOD.count(old) == 1, f"{old!r} stands there {GOOD.count(old)} times"
    return GOOD.replace(old, new)


def slips(*pairs):
    """The good file with several texts changed."""
    text = GOOD
    for old, new in pairs:
        slip(old, new)
        text = text.replace(old, new)
    return text


def line_of(text, words):
    """Number of the one line that holds some words."""
    lines = [i for i, line in enumerate(text.splitlines(), 1) if words in line]
    assert len(lines) == 1, f"{words!r} stands on lines {lines}"
    return lines[0]


def test_the_good_file_is_good(tmp_path):
    (tmp_path / "plant.yaml").write_text(GOOD)
    (tmp_path / "own.st").write_text(OWN)
    (tmp_path / "valve.st").write_text(VALVE)
    model = load_model(tmp_path / "plant.yaml")
    assert set(model.programs) == {"sump-level", "cell-valve"} and len(model.plans.items) == 4


# Each: what it is, the text that is changed, what it becomes, words on the line of the finding, the finding behind
# "plant.yaml:LINE: ".
CASES = [
    # ------------------------------------------------------------------ keys, numbers, units, words
    ("unknown key", "    start_level: 1.5 m\n  rising", "    start_levl: 1.5 m\n  rising", "start_levl",
     "units.sump.start_levl: found 'start_levl'; allowed: kind, shape, start_level, suction_level, "
     "weir_level, weir_width, "
     "overflow, mixing, shear, open_to_sky, temperature, drift_time (did you mean 'start_level'?)"),
    ("missing unit", "production: 60 t/h", "production: 60", "production",
     f"units.wash.production: found '60' (no unit); allowed: a mass flow with its unit: {FLOW} (did you "
     f"mean '60 t/h'?)"),
    ("wrong dimension", "production: 60 t/h", "production: 60 m3/h", "production",
     f"units.wash.production: found '60 m3/h' (a flow); allowed: a mass flow with its unit: {FLOW}"),
    ("unit nobody knows", "production: 60 t/h", "production: 60 ton/hr", "production",
     f"units.wash.production: found '60 ton/hr' (unknown unit 'ton/hr'); allowed: a mass flow with its "
     f"unit: {FLOW} (did you mean '60 t/h'?)"),
    ("out of range", "fines: 8 %", "fines: 80 %", "fines",
     "units.wash.fines: found '80 %'; allowed: 0 % to 60 %"),
    ("unknown kind", "kind: splitter", "kind: spliter", "kind: spliter",
     "units.box.kind: found 'spliter'; allowed: source, supply, vessel, line, doser, makedown, splitter, "
     "clarifier, bank, "
     "press (did you mean 'splitter'?)"),
    ("bad shift text", "mon-fri 06:00-22:00", "mon-fry 06:00-22:00", "shifts",
     "units.wash.shifts.0: found 'mon-fry 06:00-22:00'; allowed: days and hours, such as 'mon-fri "
     "06:00-14:00' or 'daily "
     "12:00-12:30' (did you mean 'mon-fri 06:00-22:00'?)"),
    ("bad date", "2027-04-05 06:00", "2027-04-31 06:00", "site:",
     "site.start: found '2027-04-31 06:00'; allowed: a date as year-month-day, with a time of day if "
     "wanted, such as "
     "2026-04-06 06:00"),
    # ------------------------------------------------------------------ names and tags
    ("unit nobody has", "    to: sump\n    from: tank", "    to: smup\n    from: tank", "to: smup",
     "units.wash.to: found 'smup'; allowed: a unit and its inlet, as name.port: tank, sump, rising, box, "
     "clarifier, "
     "underflow, cells (did you mean 'sump'?)"),
    ("tag nobody has", "permit: XC-100", "permit: XC-101", "permit",
     f"units.wash.permit: found 'XC-101'; allowed: the name of a tag: {TAGS} (did you mean 'YC-101'?)"),
    ("duplicated tag", "  YS-101: {measures: P-101.running}", "  LT-101: {measures: P-101.running}",
    "P-101.running",
     "switches.LT-101: found 'LT-101', which stands at instruments.LT-101 (plant.yaml:57) already; "
     "allowed: each tag once in "
     "the configuration"),
    ("duplicated name", "      cell-2: {valve", "      tank: {valve", "      tank: {valve",
     "units.cells.cells.tank: found 'tank', which stands at units.tank (plant.yaml:12) already; allowed: "
     "each name once in "
     "the configuration"),
    ("tag of the wrong kind", "valve: FV-401, flow", "valve: LT-101, flow", "  well:",
     "units.well.valve: found 'LT-101', which is no actuator; allowed: a tag under actuators"),
    ("bus nobody has", "bus: mains", "bus: main", "bus: main",
     "units.rising.pumps.P-101.motor.bus: found 'main'; allowed: the name of a bus: mains (did you mean "
     "'mains'?)"),
    # ------------------------------------------------------------------ how it hangs together
    ("unconnected vessel", "  box: {kind",
    "  spare: {kind: vessel, shape: {form: cylinder, diameter: 2 m, depth: 2 m}}\n"
     "  box: {kind", "  spare:",
     "units.spare: found nothing that flows into spare; allowed: a unit that names it as its 'to' (or as "
     "its 'overflow', "
     "'decant' or 'filtrate')"),
    ("splitter into a line", "[{unit: clarifier}, {unit: sump, weight: 0}]",
    "[{unit: clarifier}, {unit: underflow}]",
     "  box: {", "units.box.to.1.unit: found 'underflow', a line; allowed: a unit that can store or divide"),
    ("unit into itself", "    overflow: tank\n", "    overflow: clarifier\n", "overflow: clarifier",
     "units.clarifier.overflow: found 'clarifier', the unit itself; allowed: another unit"),
    ("ring of splitters", "{unit: sump, weight: 0}]}", "{unit: box-2}]}\n"
     "  box-2: {kind: splitter, to: [{unit: sump}, {unit: box}]}", "  box: {",
     "units.box: found splitters that feed each other in a ring: box, box-2; allowed: a vessel somewhere "
     "in the ring"),
    ("bank fed by two lines", "  cells:\n    kind: bank",
    "  second: {kind: line, from: sump, to: cells, pipe: {length: 9 m, "
     "diameter: 80 mm, lift: -1 m}}\n  cells:\n    kind: bank", "kind: bank",
     "units.cells: found 2 streams that come here (underflow delivery, second delivery); allowed: one line "
     "with 'to: cells', "
     "and nothing else"),
    ("bank fed by a supply", "to: tank, valve: FV-401", "to: cells, valve: FV-401", "kind: bank",
     "units.cells: found 2 streams that come here (well water, underflow delivery); allowed: one line with "
     "'to: cells', and "
     "nothing else"),
    ("gravity line that climbs", "lift: -1 m, mud", "lift: 2 m, mud", "lift: 2 m",
     "units.underflow.pipe.lift: found 2 m, a climb, in a line without pumps; allowed: pumps, or at most 0 "
     "m: discharge no "
     "higher than the floor of what it draws from"),
    ("doser without a source", "    tote: {volume: 1 m3, strength: 250 g/L}\n", "", "kind: doser",
     "units.polymer: found neither 'from' nor 'tote'; allowed: one of them, to say what it draws on"),
    ("clarifier without underflow", "    from: clarifier\n", "    from: sump\n", "kind: clarifier",
     "units.clarifier: found no line that draws the underflow of clarifier; allowed: a line with 'from: "
     "clarifier'"),
    # ------------------------------------------------------------------ physics
    ("curve that does not fall", "[100 m3/h, 18 m, 65 %, 3 m]", "[100 m3/h, 21 m, 65 %, 3 m]", "21 m, 65 %",
     "units.rising.pumps.P-101.curve.1.1: found '21 m' after '20 m'; allowed: head falling from row to row"),
    ("start above the rim", "    start_level: 1.5 m\n  rising", "    start_level: 3.5 m\n  rising",
    "start_level: 3.5 m",
     "units.sump.start_level: found 3.5 m; allowed: at most the rim, 3 m above the floor"),
    ("bed above the water", "start_bed: 1 m", "start_bed: 5 m", "start_bed",
     "units.clarifier.start_bed: found 5 m; allowed: at most the depth, 4 m"),
    ("mud above the wall", "mud: 0.2 m", "mud: 2.2 m", "mud: 2.2 m",
     "units.cells.cells.cell-1.mud: found 2.2 m; allowed: at most the depth of the cell, 2 m"),
    ("dispersion too fine", "dispersion: 0.1 m2/s", "dispersion: 1 m2/s", "dispersion: 1 m2/s",
     "units.rising.pipe.parcels: found 100, too fine for this dispersion (the exchange between neighbours "
     "would be unstable); "
     "allowed: at most 75"),
    # ------------------------------------------------------------------ signals
    ("instrument on a quantity nobody has", "measures: sump.level", "measures: sump.levl", "sump.levl",
     f"instruments.LT-101.measures: found 'sump.levl', but a vessel has no quantity 'levl'; allowed: "
     f"{VESSEL} (did you mean "
     "'sump.level'?)"),
    ("instrument on a unit nobody has", "measures: sump.level", "measures: smp.level", "smp.level",
     "instruments.LT-101.measures: found 'smp.level', but there is no unit 'smp'; allowed: unit.quantity "
     "(did you mean "
     "'sump.level'?)"),
    ("instrument in another dimension", "measures: sump.level, unit: m,", "measures: sump.level, unit: m3,",
    "sump.level, unit",
     f"instruments.LT-101.unit: found 'm3', which is no unit of sump.level; allowed: {LENGTH}"),
    ("range upside down", "unit: m, high: 3}", "unit: m, high: -3}", "high: -3",
     "instruments.LT-101.high: found -3; allowed: more than low, 0"),
    ("limit on a quantity nobody has", "on: sump.level", "on: sump.levle", "sump.levle",
     "limits.0.on: found 'sump.levle'; allowed: a recorded quantity (did you mean 'sump.level'?)"),
    ("failure of a fault nobody has", "what: P-101.trip,", "what: P-101.tripp,", "P-101.tripp",
     f"failures.trip.what: found 'P-101.tripp', but a pump has no quantity 'tripp'; allowed: {PUMP} (did "
     f"you mean "
     "'P-101.trip'?)"),
    ("act on a tag nobody has", "set: XC-100, to: on", "set: XC-110, to: on", "XC-110",
     "acts.0.set: found 'XC-110'; allowed: unit.quantity, program.variable or a tag (did you mean "
     "'XC-100'?)"),
    # ------------------------------------------------------------------ control
    ("program nobody has", "    file: own.st", "    program: sump-onoff", "sump-onoff",
     f"control.sump-level.program: found 'sump-onoff'; allowed: {', '.join(shipped_programs())} (did you mean "
     "'sump-on-off'?)"),
    ("program and file", "    file: own.st", "    program: sump-on-off\n    file: own.st",
    "program: sump-on-off",
     "control.sump-level: found both 'program' and 'file'; allowed: one of them, a shipped program by name "
     "or a file of your "
     "own"),
    ("file that is not there", "file: own.st", "file: owm.st", "owm.st",
     "control.sump-level.file: found 'owm.st', which cannot be read; allowed: a file of Structured Text, "
     "its path as seen "
     "from the plant file"),
    ("input nobody has", "{level: LT-101, run: YC-101}", "{levle: LT-101, run: YC-101}", "levle",
     "control.sump-level.connect.levle: found 'levle'; allowed: level, start_level, run (did you mean "
     "'level'?)"),
    ("parameter nobody has", "set: {start_level", "set: {start_levle", "start_levle",
     "control.sump-level.set.start_levle: found 'start_levle'; allowed: level, start_level (did you mean "
     "'start_level'?)"),
    ("parameter in another dimension", "start_level: 1.5 m}", "start_level: 1.5 m3}", "1.5 m3",
     f"control.sump-level.set.start_level: found '1.5 m3' (a volume); allowed: a length with its unit: "
     f"{LENGTH}"),
    ("tag in another dimension", "{level: LT-101, run: YC-101}", "{level: FT-101, run: YC-101}",
    "level: FT-101",
     "control.sump-level.connect.level: found 'FT-101' in m3/h, but level is in m; allowed: a tag in a "
     "unit of the same "
     "dimension"),
    ("two writers of one tag", "{level: LT-101, valve: FV-311}", "{level: LT-101, valve: YC-101}",
    "valve: YC-101",
     "control.cell-valve.connect.valve: found 'YC-101', which program sump-level writes too; allowed: one "
     "writer for each "
     "tag"),
    ("writing to an instrument", "{level: LT-101, run: YC-101}", "{level: LT-101, run: YS-101}", "run: YS-101",
     "control.sump-level.connect.run: found 'YS-101', which an instrument writes; allowed: a tag of an "
     "actuator, a drive or a "
     "flag"),
    ("interval off the step", "every: 2 s", "every: 2.5 s", "every: 2.5 s",
     f"control.sump-level.every: found 2.5 s with a plant step of 1 s; allowed: {STEPS} 2 s or 3 s"),
    ("interval off the step, faster", "every: 2 s", "every: 0.3 s", "every: 0.3 s",
     f"control.sump-level.every: found 0.3 s with a plant step of 1 s; allowed: {STEPS} 0.25 s or 0.3333 s"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "words", "message"), [case[1:] for case in CASES],
                         ids=[case[0] for case in CASES])
def test_one_slip_one_sentence(tmp_path, old, new, words, message):
    text = slip(old, new)
    assert findings(tmp_path, text) == [f"plant.yaml:{line_of(text, words)}: {message}"]


def test_missing_key(tmp_path):
    """What must be given and is not stands at the line of its block."""
    assert findings(tmp_path, slip("    capacity: 6 L/h\n", "")) == [
        f"plant.yaml:{line_of(GOOD, 'kind: doser')}: units.polymer.capacity: found nothing; allowed: a "
        f"flow with its unit: m3/h, L/s, m3/s, gpm, L/h, cfs; "
        "more than 0 L/h"
    ]


def test_line_into_a_line_leaves_its_splitter_dry(tmp_path):
    text = slip("    to: box\n", "    to: underflow\n")
    assert findings(tmp_path, text) == [
        f"plant.yaml:{line_of(text, 'to: underflow')}: units.rising.to: found 'underflow', a line; "
        f"allowed: a unit that can "
        "store or divide (only sources, supplies and dosers can feed into a line)",
        f"plant.yaml:{line_of(text, '  box: {')}: units.box: found nothing that flows into "
        "box; allowed: a unit that names it "
        "as its 'to' (or as its 'overflow', 'decant' or 'filtrate')",
    ]


def test_key_twice(tmp_path):
    """The same key twice in one block: YAML would silently keep the last, so the reader does not."""
    text = slip("      cell-2: {valve: FV-312", "      cell-1: {valve: FV-312")
    line = line_of(text, "cell-1: {valve: FV-312")
    assert findings(tmp_path, text) == [
        f"plant.yaml:{line}: units.cells.cells.cell-1: found 'cell-1' a second time (first on line "
        f"{line - 1}); "
        "allowed: each key once"
    ]


def coarse(*pairs):
    """The good file with a plant step of 10 s, and tasks to go with it."""
    return slips(("step: 1 s", "step: 10 s"), ("every: 2 s", "every: 10 s"),
                 ("    file: valve.st\n", "    file: valve.st\n    every: 10 s\n"), *pairs)  # fmt: skip


def test_step_too_long_states_the_bound(tmp_path):
    """The bound is that of the explicit scheme: a step within it is taken, one beyond it is not."""
    text = coarse()
    (found,) = findings(tmp_path, text)
    head = "plant.yaml:1: site.step: found 10 s, too long for the 40 layers of clarifier; allowed: at most "
    tail = " s (or fewer layers)"
    assert found.startswith(head) and found.endswith(tail)
    bound = float(found.removeprefix(head).removesuffix(tail))
    for step, good in ((0.99 * bound, True), (1.01 * bound, False)):
        near = text.replace("step: 10 s", f"step: {step:.6g} s").replace("every: 10 s", f"every: {step:.6g} s")
        if good:
            (tmp_path / "plant.yaml").write_text(near)
            assert load_model(tmp_path / "plant.yaml").step == pytest.approx(step, rel=1e-5)
        else:
            (refused,) = findings(tmp_path, near)
            assert refused.endswith(f"allowed: at most {bound:.3g}{tail}")


def test_half_the_step_for_half_the_layer(tmp_path):
    """A layer crossed by what moves in it bounds the step (Courant number): thinner layers, shorter steps."""
    bounds = []
    for layers in (40, 80):
        (found,) = findings(tmp_path, coarse(("layers: 40", f"layers: {layers}")))
        bounds.append(float(found.partition("at most ")[2].partition(" s")[0]))
    assert 1.9 < bounds[0] / bounds[1] < 4.1  # advection halves it, compression quarters it


def test_program_with_a_syntax_error_shows_the_place(tmp_path):
    found = findings(tmp_path, GOOD, own=OWN.replace("level > start_level;", "level > start_level AND;"))
    assert found == [
        f"plant.yaml:{line_of(GOOD, 'own.st')}: control.sump-level.file: own.st:9:35: found ';', expected "
        f"a value: a literal, "
        "a variable, a call or '('\n        run := level > start_level AND;\n                              "
        "        ^"
    ]
    source, caret = found[0].splitlines()[1:]
    assert source[caret.index("^")] == ";"


SERIES = slip("    permit: XC-100", "    permit: XC-100\n    series: feed.csv")
SERIES_LINE = line_of(SERIES, "feed.csv")


@pytest.mark.parametrize(("rows", "expected"), [
    ("time [min],flow,solids [g/L]\n0,1,1\n1,1,1\n",
     ["feed.csv:1: found 'flow' without a unit; allowed: a unit in brackets, such as 'flow [m3/h]'"]),
    ("time [min],flow [kg],solids [g/L]\n0,1,1\n1,1,1\n",
     ["feed.csv:1: column flow: found 'kg'; allowed: a unit of a flow: m3/h, L/s, m3/s, gpm, L/h, cfs"]),
    ("time [min],flow [m3/h],solid [g/L]\n0,1,1\n1,1,1\n",
     ["feed.csv:1: found no column 'solids'; allowed: time, flow and solids, each with its unit "
      "(did you mean 'solid'?)"]),
    ("time [min],flow [m3/h],solids [g/L]\n0,1,1\n5,1,1\n3,1,1\n",
     ["feed.csv:4: found a time not later than the row before; allowed: times that rise"]),
    ("time [min],flow [m3/h],solids [g/L]\n0,1,1\n5,two,1\n6,-3,1\n7,1,1\n",
     ["feed.csv:3: found flow 'two'; allowed: a number, or nothing for a gap",
      "feed.csv:4: found flow '-3'; allowed: a finite number, at least 0"]),
    ("time [min],flow [m3/h],solids [g/L]\n0,1,1\n",
     ["found one row under the header of feed.csv; allowed: at least two rows"]),
])  # fmt: skip
def test_bad_series_by_line(tmp_path, rows, expected):
    assert findings(tmp_path, SERIES, feed=rows) == [
        f"plant.yaml:{SERIES_LINE}: units.wash.series: {message}" for message in expected
    ]


def test_series_and_weather_that_are_not_there(tmp_path):
    text = SERIES.replace("units:", "weather: {table: hourly.csv}\nunits:", 1)
    assert findings(tmp_path, text) == [
        "plant.yaml:2: weather.table: found 'hourly.csv', but there is no such file; allowed: a CSV file "
        "of hourly weather, "
        "its path as seen from the plant file",
        f"plant.yaml:{SERIES_LINE + 1}: units.wash.series: found 'feed.csv', but there is no such file; "
        f"allowed: a CSV file of "
        "time, flow and solids, its path as seen from the plant file",
    ]


def test_all_slips_of_reading_at_once_by_line(tmp_path):
    """A newcomer mends a file once, not once for each slip."""
    text = slips(("what: P-101.trip,", "waht: P-101.trip,"), ("fines: 8 %", "fines: 80 %"),
                 ("production: 60 t/h", "production: 60"), ("permit: XC-100", "permit: XC-101"),
                 ("high: 300", "high: many"))  # fmt: skip
    found = findings(tmp_path, text)
    lines = [int(f.split(":")[1]) for f in found]
    assert lines == sorted(lines)
    assert [f.split(": ")[1] for f in found] == [
        "units.wash.production", "units.wash.fines", "units.wash.permit", "instruments.FT-101.high",
        "failures.trip.waht",
    ]  # fmt: skip


def test_all_slips_of_building_at_once_by_line(tmp_path):
    """Streams, physics, signals, programs, plans and limits: none hides another."""
    text = slips(("on: sump.level", "on: sump.levle"), ("set: XC-100, to", "set: XC-110, to"),
                 ("step: 1 s", "step: 10 s"), ("valve: FV-401, flow", "valve: LT-101, flow"),
                 ("dispersion: 0.1 m2/s", "dispersion: 1 m2/s"), ("start_bed: 1 m", "start_bed: 5 m"),
                 ("measures: rising.flow", "measures: rising.flwo"),
                 ("level: LT-101, run: YC-101", "levle: LT-101, run: YC-101"),
                 ("what: P-101.trip,", "what: P-101.tripp,"), ("every: 2 s", "every: 15 s"),
                 ("file: valve.st", "file: vlave.st"))  # fmt: skip
    found = findings(tmp_path, text)
    assert [f.split(": ")[1] for f in found] == [
        "site.step", "units.well.valve", "units.rising.pipe.parcels", "units.clarifier.start_bed",
        "instruments.FT-101.measures", "control.sump-level.every", "control.sump-level.connect.levle",
        "control.cell-valve.file", "failures.trip.what", "acts.0.set", "limits.0.on",
    ]  # fmt: skip
    lines = [int(f.split(":")[1]) for f in found]
    assert lines == sorted(lines)


def test_what_hangs_on_a_slip_is_no_second_finding(tmp_path):
    """An instrument or program that could not be made is found once; what names it is not blamed for it."""
    text = slips(("measures: sump.level, unit: m,", "measures: sump.level, unit: m3,"), ("file: own.st",
    "file: owm.st"),
                 ("what: P-101.trip,", "what: LT-101.bias,"),
                 ("set: XC-100, to: on", "set: sump-level.start_level, to: 1 m"))  # fmt: skip
    found = findings(tmp_path, text)
    assert [f.split(": ")[1] for f in found] == ["instruments.LT-101.unit", "control.sump-level.file"]


def test_an_override_that_is_wrong_is_said_to_come_from_the_command(tmp_path):
    (tmp_path / "plant.yaml").write_text(GOOD)
    with pytest.raises(ConfigError) as caught:
        load_model(tmp_path / "plant.yaml", ["units.wash.fines=80 %"])
    assert caught.value.findings == ["--set: units.wash.fines: found '80 %'; allowed: 0 % to 60 %"]
