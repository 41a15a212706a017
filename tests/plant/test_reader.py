"""The configuration reader: each slip with its exact sentence, values in SI, and the way back to text."""

from __future__ import annotations

import textwrap
from datetime import datetime

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from plantsim.errors import ConfigError
from plantsim.plant import reader
from plantsim.plant.describe import describe
from plantsim.plant.reader import dump, examine, read, set_value
from plantsim.plant.schema import (
    Choice,
    Clock,
    Flag,
    Integer,
    ListOf,
    MapOf,
    Maybe,
    Moment,
    Name,
    Number,
    OneOf,
    Points,
    Quantity,
    Ref,
    Reference,
    Section,
    Shift,
    Tag,
    Text,
    Times,
    Variant,
)
from plantsim.units import DIMENSIONS, exact_text, to_si


def below_rim(tree):
    """A check across keys."""
    if tree.start > tree.depth:
        tree.finding("start", "the pumps would start above the rim")


SUMP = (
    Section(
        "A sump that takes the wash water.",
        depth=Quantity("length", "3.5 m", above="0 m", hi="20 m", doc="floor to rim"),
        start=Quantity("length", "2 m", lo="0 m", doc="level at which the pumps start"),
        area=Quantity("area", lo="1 m2", hi="5000 m2", doc="plan area"),
        level=Maybe(Tag(letters=("LT", "LIT"), doc="tag of the level transmitter")),
        spill=Reference(("sump", "cell"), None, port="in", doc="where the spill goes"),
    )
    .with_ports(inlets=("feed", "return"), outlets=("suction",))
    .with_rule(below_rim)
)
PUMP = Section(
    "A pump.",
    from_=Reference("sump", port="out", doc="where it takes from"),
    to=Reference("unit", port="in", doc="where it delivers"),
    curve=Points(
        ("flow", "length", "fraction"),
        order=("rising", "not rising"),
        names=("flow", "head", "efficiency"),
        lo=("0 m3/h", None, "0 %"),
        hi=(None, None, "100 %"),
        doc="pump curve",
    ),
    drive=Choice(("fixed", "variable"), "fixed", doc="kind of drive"),
    speed=OneOf((Quantity("speed", hi="3000 rpm"), Choice(("auto",))), "auto", doc="speed"),
    starts=Integer(6, lo=1, hi=60, doc="most starts an hour"),
    wear=Number(1.0, above=0.0, hi=1.0, doc="head left by wear"),
    soft=Flag(True, doc="soft starter"),
).with_ports(inlets=("suction",), outlets=("discharge",))
CELL = Section("A mud cell.", volume=Quantity("volume", doc="volume to the rim")).with_ports(inlets=("feed",))
STEP = Section("A step.", name=Name(doc="its name"), wait=Quantity("time", "5 s", doc="waiting time"))
PLANT = Section(
    "A plant.",
    name=Text("demo", doc="name of the plant"),
    begin=Moment("2026-04-06 06:00", doc="first moment of a run"),
    report=Clock("06:00", doc="time of the daily report"),
    units=MapOf(
        Variant("kind", {"sump": SUMP, "pump": PUMP, "cell": CELL}),
        key=Name("unit"),
        least=1,
        doc="all units",
    ),
    tags=MapOf(Quantity("time", "1 s"), key=Tag(), doc="sample times by tag"),
    shown=ListOf(Reference("tag"), doc="tags on the picture"),
    steps=ListOf(STEP, doc="steps of a start", most=4),
    shifts=Times(("mon-fri 06:00-14:00", "mon-fri 14:00-22:00"), doc="shifts"),
    water=Section(
        "The water.",
        temperature=Quantity("temperature", "12 degC", lo="0 degC", hi="40 degC", doc="temperature"),
        colour=Maybe(Section("Colour.", depth=Quantity("absorbance", doc="absorbance"))),
    ),
)
GOOD = """\
name: No. 1     # an invented plant
units:
  S1:
    kind: sump
    area: 30 m2
    level: LT-101
  P1:
    kind: pump
    from: S1        # its only outlet
    to: C1.feed
    curve:
      - [0 m3/h, 40 m, 0 %]
      - [1540 gpm, 100 ft, 62 %]
  C1: {kind: cell, volume: 1500 m3}
tags:
  FT-101A:
shown: [LT-101, FT-101A]
steps:
  - name: open
    wait: 2h30m
  - {name: run}
"""


def findings(text, *overrides):
    """Give the findings of a text, without the name of the file."""
    with pytest.raises(ConfigError) as caught:
        read(text, PLANT, overrides, name="plant.yaml")
    return [line.removeprefix("plant.yaml:") for line in caught.value.findings]


def changed(old, new):
    assert old in GOOD
    return GOOD.replace(old, new, 1)


def test_values():
    """Values are SI, names keep the order of the file, and what was left out has its default."""
    tree = read(GOOD, PLANT)
    assert tree.name == "No. 1"
    assert list(tree.units) == ["S1", "P1", "C1"]
    assert tree.units.S1.area == 30.0 and tree.units.S1.depth == 3.5 and tree["units"]["S1"]["kind"] == "sump"
    assert tree.units.P1.from_ == Ref("S1", "suction") and tree.units.P1["from"] == ("S1", "suction")
    assert str(tree.units.P1.to) == "C1.feed"
    assert tree.units.P1.curve == ((0.0, 40.0, 0.0), (to_si("1540 gpm", "flow"), 30.48, 0.62))
    assert tree.units.P1.speed == "auto" and tree.units.P1.soft is True and tree.units.P1.starts == 6
    assert tree.units.S1.spill is None and tree.water.colour is None
    assert tree.begin == datetime(2026, 4, 6, 6) and tree.report == 21600.0
    assert tree.tags == {"FT-101A": 1.0} and tree.shown == (Ref("LT-101"), Ref("FT-101A"))
    assert [(step.name, step.wait) for step in tree.steps] == [("open", 9000.0), ("run", 5.0)]
    assert tree.shifts == (Shift((0, 1, 2, 3, 4), 21600.0, 50400.0), Shift((0, 1, 2, 3, 4), 50400.0, 79200.0))
    assert tree.water.temperature == 285.15
    assert (tree.line("units.P1.from"), tree.line("units.P1.curve.1.2"), tree.units.S1.line("depth")) == (
        9,
        13,
        4,
    )
    assert tree.given("units.S1.area") and not tree.given("units.S1.depth") and not tree.given("nowhere")


AREA = "an area with its unit: m2, ha, ft2, acre, cm2, mm2; 1 m2 to 5000 m2"
SUMP_KEYS = "kind, depth, start, area, level, spill"
PUMP_KEYS = "kind, from, to, curve, drive, speed, starts, wear, soft"
TAG = "a tag of LT or LIT, hyphen and number, such as LT-101 or LT-101A"
TIMES = "days and hours, such as 'mon-fri 06:00-14:00' or 'daily 12:00-12:30'"


@pytest.mark.parametrize(
    "old, new, expected",
    [
        (
            "area: 30 m2",
            "area: 30",
            f"5: units.S1.area: found '30' (no unit); allowed: {AREA} (did you mean '30 m2'?)",
        ),
        ("area: 30 m2", "area: 30 m3", f"5: units.S1.area: found '30 m3' (a volume); allowed: {AREA}"),
        (
            "area: 30 m2",
            "area: 30 M2",
            f"5: units.S1.area: found '30 M2' (unknown unit 'M2'); allowed: {AREA} (did you mean '30 m2'?)",
        ),
        (
            "area: 30 m2",
            "area: 60000 ft2",
            "5: units.S1.area: found '60000 ft2'; allowed: 10.764 ft2 to 53820 ft2",
        ),
        ("area: 30 m2", "area:", f"5: units.S1.area: found nothing; allowed: {AREA}"),
        ("area: 30 m2", "area: [1 m2]", f"5: units.S1.area: found a list; allowed: {AREA}"),
        ("area: 30 m2", "area: {a: 1}", f"5: units.S1.area: found a block of keys; allowed: {AREA}"),
        ("    area: 30 m2\n", "", f"4: units.S1.area: found nothing; allowed: {AREA}"),
        (
            "area: 30",
            "aera: 30",
            f"5: units.S1.aera: found 'aera'; allowed: {SUMP_KEYS} (did you mean 'area'?)",
        ),
        (
            "    level:",
            "    area: 2 m2\n    level:",
            "6: units.S1.area: found 'area' a second time (first on line 5); allowed: each key once",
        ),
        (
            "    level:",
            "    depth: 0 m\n    level:",
            "6: units.S1.depth: found '0 m'; allowed: more than 0 m, at most 20 m",
        ),
        (
            "    level:",
            "    start: 4 m\n    level:",
            "6: units.S1.start: the pumps would start above the rim",
        ),
        (
            "level: LT-101",
            "level: lt101",
            f"6: units.S1.level: found 'lt101'; allowed: {TAG} (did you mean 'LT-101'?)",
        ),
        (
            "level: LT-101",
            "level: PT-101",
            f"6: units.S1.level: found 'PT-101'; allowed: {TAG} (did you mean 'LT-101'?)",
        ),
        (
            "FT-101A:",
            "FT-101A:\n  LT-101: 2 s",
            "17: tags.LT-101: found 'LT-101', which stands at units.S1.level "
            "(plant.yaml:6) already; allowed: each tag once in the configuration",
        ),
        (
            "kind: sump",
            "kind: sumpf",
            "4: units.S1.kind: found 'sumpf'; allowed: sump, pump, cell (did you mean 'sump'?)",
        ),
        (
            "kind: sump",
            "kindd: sump",
            "4: units.S1.kindd: found 'kindd'; allowed: kind (did you mean 'kind'?)",
        ),
        ("    kind: sump\n", "", "4: units.S1.kind: found nothing; allowed: sump, pump, cell"),
        (
            "  P1:",
            "  P 1:",
            "7: units.P 1: found 'P 1'; allowed: a name of letters, digits, - and _, starting with a letter "
            "(did you mean 'P-1'?)",
        ),
        (
            "from: S1 ",
            "from: S2 ",
            "9: units.P1.from: found 'S2'; allowed: a sump and its outlet, as name.port: S1",
        ),
        (
            "from: S1 ",
            "from: C1 ",
            "9: units.P1.from: found 'C1' (a cell); allowed: a sump and its outlet, as name.port: S1",
        ),
        ("from: S1 ", "from: S1.feed ", "9: units.P1.from: found 'S1.feed' (an inlet); allowed: S1.suction"),
        (
            "to: C1.feed",
            "to: C1.fed",
            "10: units.P1.to: found 'C1.fed'; allowed: C1.feed (did you mean 'C1.feed'?)",
        ),
        ("to: C1.feed", "to: S1", "10: units.P1.to: found 'S1'; allowed: S1.feed, S1.return"),
        (
            "to: C1.feed",
            "to: C1.",
            "10: units.P1.to: found 'C1.'; allowed: a unit and its inlet, as name.port",
        ),
        (
            "shown: [LT-101",
            "shown: [LT-102",
            "17: shown.0: found 'LT-102'; allowed: the name of a tag: LT-101, FT-101A "
            "(did you mean 'LT-101'?)",
        ),
        (
            "shown: [LT-101",
            "shown: [LT-101.x",
            "17: shown.0: found 'LT-101.x'; allowed: the name alone, without a port (did you mean 'LT-101'?)",
        ),
        (
            "[0 m3/h, 40 m, 0 %]",
            "[0 m3/h, 40 m]",
            "12: units.P1.curve.0: found a row of 2; allowed: a row [flow, head, efficiency]",
        ),
        (
            "[0 m3/h, 40 m, 0 %]",
            "[400 m3/h, 40 m, 0 %]",
            "13: units.P1.curve.1.0: found '1540 gpm' after '400 m3/h'; allowed: flow rising from row to row",
        ),
        (
            "100 ft",
            "140 ft",
            "13: units.P1.curve.1.1: found '140 ft' after '40 m'; allowed: head not rising from row to row",
        ),
        ("62 %]", "162 %]", "13: units.P1.curve.1.2: found '162 %'; allowed: 0 % to 100 %"),
        (
            "      - [1540 gpm, 100 ft, 62 %]\n",
            "",
            "12: units.P1.curve: found 1 rows; allowed: at least 2 rows of [flow, head, efficiency]",
        ),
        (
            "    curve:",
            "    drive: varible\n    curve:",
            "11: units.P1.drive: found 'varible'; allowed: fixed, variable (did you mean 'variable'?)",
        ),
        (
            "    curve:",
            "    soft: on\n    curve:",
            "11: units.P1.soft: found 'on'; allowed: yes, no (did you mean 'yes'?)",
        ),
        (
            "    curve:",
            "    starts: 6.5\n    curve:",
            "11: units.P1.starts: found '6.5'; allowed: a whole number, 1 to 60 (did you mean '6'?)",
        ),
        ("    curve:", "    starts: 61\n    curve:", "11: units.P1.starts: found '61'; allowed: 1 to 60"),
        (
            "    curve:",
            "    starts: 6 1/h\n    curve:",
            "11: units.P1.starts: found '6 1/h' (a number without unit stands "
            "here); allowed: a whole number, 1 to 60 (did you mean '6'?)",
        ),
        (
            "    curve:",
            "    wear: 0,9\n    curve:",
            "11: units.P1.wear: found '0,9'; allowed: a number, more than 0, at most 1 (did you mean '0.9'?)",
        ),
        (
            "    curve:",
            "    wear: .nan\n    curve:",
            "11: units.P1.wear: found '.nan'; allowed: a number, more than 0, at most 1",
        ),
        (
            "    curve:",
            "    speed: fast\n    curve:",
            "11: units.P1.speed: found 'fast'; allowed: a speed with its unit: "
            "rpm, rad/s, rev/h, rev/min, rev/s, deg/s; at most 3000 rpm; or auto",
        ),
        (
            "    curve:",
            "    speed: [1]\n    curve:",
            "11: units.P1.speed: found a list; allowed: a speed with its unit: "
            "rpm, rad/s, rev/h, rev/min, rev/s, deg/s; at most 3000 rpm; or auto",
        ),
        (
            "steps:",
            "report: 6.30\nsteps:",
            "18: report: found '6.30'; allowed: a time of day from 00:00 to 24:00, "
            "such as 06:00 (did you mean '06:30'?)",
        ),
        (
            "steps:",
            "begin: 2026-02-30\nsteps:",
            "18: begin: found '2026-02-30'; allowed: a date as year-month-day, "
            "with a time of day if wanted, such as 2026-04-06 06:00",
        ),
        (
            "steps:",
            "shifts: mon-fry 06:00-14:00\nsteps:",
            f"18: shifts: found 'mon-fry 06:00-14:00'; allowed: {TIMES} "
            "(did you mean 'mon-fri 06:00-14:00'?)",
        ),
        (
            "steps:",
            "shifts: [daily 22:00-06:00, sun 05:00-07:00]\nsteps:",
            "18: shifts.1: found 'sun 05:00-07:00', which "
            "overlaps 'daily 22:00-06:00'; allowed: spells that do not overlap",
        ),
        ("steps:", "shifts: [[6]]\nsteps:", f"18: shifts.0: found a list; allowed: {TIMES}"),
        (
            "steps:",
            "water: warm\nsteps:",
            "18: water: found 'warm'; allowed: keys with values: temperature, colour",
        ),
        (
            "steps:",
            "water: {temperature: 320 K}\nsteps:",
            "18: water.temperature: found '320 K'; allowed: 273.15 K to 313.15 K",
        ),
        (
            "steps:",
            "water: {colour: {}}\nsteps:",
            "18: water.colour.depth: found nothing; allowed: an absorbance with its unit: 1/m, 1/cm, 1/mm",
        ),
        ("  - {name: run}", "  - {name: run}\n" * 4, "19: steps: found 5 items"),
        (
            "  - {name: run}",
            "  - {name: !x run}",
            "21: steps.1.name: found '!x'; allowed: a value without a '!' tag",
        ),
        (
            "name: No. 1",
            "? [a]\n: 1\nname: No. 1",
            "1: found a list or block as a key; allowed: a word as a key",
        ),
        ("name: No. 1", "<<: 3\nname: No. 1", "1: <<: found '3'; allowed: an alias of a block"),
    ],
)
def test_finding(old, new, expected):
    """Each slip gives one line: file, line, key, what was found, what is allowed, the nearest valid text."""
    found = findings(changed(old, new))
    assert found[0].startswith(expected) if expected.endswith("items") else found == [expected]


def test_missing_blocks():
    """A block that must be there is missed as a whole; a file of nothing but comments is called empty."""
    assert findings("name: x\n") == [
        "1: units: found nothing; allowed: 1 or more names, each with its own keys"
    ]
    assert findings("units: {}\n") == [
        "1: units: found nothing; allowed: 1 or more names, each with its own keys"
    ]
    with pytest.raises(ConfigError, match=r"plant.yaml: found an empty file; allowed: 'key: value' lines"):
        read("# nothing yet\n", PLANT, name="plant.yaml")
    with pytest.raises(ConfigError, match=r"plant.yaml:1: found a list; allowed: 'key: value' lines"):
        read("- a\n", PLANT, name="plant.yaml")


def test_all_findings_at_once_by_line():
    """One pass gives every finding of every kind, in the order of the lines, those of --set last."""
    text = (
        changed("area: 30 m2", "area: 30").replace("to: C1.feed", "to: C9").replace("wait: 2h30m", "wait: 2")
    )
    lines = findings(text, "report=25:00")
    assert [line.split(": ")[:2] for line in lines] == [
        ["5", "units.S1.area"],
        ["10", "units.P1.to"],
        ["20", "steps.0.wait"],
        ["--set", "report"],
    ]


def test_wrong_section_does_not_cascade():
    """What refers to a unit of unknown kind is not judged."""
    assert len(findings(changed("kind: sump", "kind: swamp"))) == 1


@pytest.mark.parametrize(
    "text, line, allowed",
    [
        ("a: [1, 2\nb: 3\n", "1: found 'a: [1, 2'", "a list closed by ']', its items parted by commas"),
        ("a: {b: 1\n", "1: found 'a: {b: 1'", "a block closed by '}', its items parted by commas"),
        (
            "x: 1\na: b: c\n",
            "2: found 'a: b: c'",
            "one 'key: value' on a line; quotes around a text that holds ': '",
        ),
        ("a: 1\n\tb: 2\n", "2: found 'b: 2'", "spaces for indentation, no tabs"),
        ("a:\n  b: 1\n c: 2\n", "3: found 'c: 2'", "all keys of one block at one indentation"),
        ("a:\n  - 1\n  b: 1\n", "3: found 'b: 1'", "all items of a list at one indentation, each after '- '"),
        (
            "a: 'x\nb: 2\n",
            "1: found 'a: 'x'",
            "a quoted text closed by the same quote, with no unknown backslash in it",
        ),
        ("a: *x\n", "1: found 'a: *x'", "an alias (*name) only below its anchor (&name)"),
        ("a: 1\n---\nb: 2\n", "2: found '---'", "one document, without a line '---' inside"),
        ("a: 1\nb\nc: 2\n", "2: found 'b'", "a colon and a space after the key: 'key: value'"),
        ("a: @x\n", "1: found 'a: @x'", "a text that does not start with @, ` or %, or quotes around it"),
    ],
)
@pytest.mark.parametrize("loader", [yaml.SafeLoader, reader._LOADER])
def test_broken_yaml(monkeypatch, loader, text, line, allowed):
    """What is no YAML is one sentence with the line, whichever of the two parsers is there."""
    monkeypatch.setattr(reader, "_LOADER", loader)
    assert findings(text) == [f"{line}, which is no YAML; allowed: {allowed}"]


def test_hostile_yaml():
    """Control characters, endless aliases, deep nesting and a loop of aliases end in one sentence."""
    assert findings("a: 1\nb: \x01\n") == [
        "2: found a character that no text file holds; allowed: a text file in UTF-8"
    ]
    assert "an alias that holds itself" in findings("a: &x [*x]\n")[0]
    bomb = "a0: &a0 [1, 1]\n" + "".join(
        f"a{i}: &a{i} [{', '.join([f'*a{i - 1}'] * 9)}]\n" for i in range(1, 12)
    )
    assert "grows without end" in findings(bomb)[0]
    assert findings("a: " + "[" * 100_000)[0].startswith("1: found 'a: [")


@pytest.mark.parametrize(
    "raw, message",
    [
        (b"", "plant.yaml: found an empty file; allowed: 'key: value' lines"),
        (
            b"name: x\n\xff\xfe\x00",
            "plant.yaml:2: found a byte that is no UTF-8 text; allowed: a text file in UTF-8",
        ),
        (b"name: x\n\x00\x01", "plant.yaml:2: found a binary file; allowed: a text file in UTF-8"),
    ],
)
def test_unreadable_content(tmp_path, raw, message):
    """An empty or binary file is one sentence."""
    (tmp_path / "plant.yaml").write_bytes(raw)
    with pytest.raises(ConfigError) as caught:
        read(tmp_path / "plant.yaml", PLANT)
    assert str(caught.value) == f"{tmp_path}/{message}"


def test_missing_file(tmp_path):
    """A missing file names the nearest one in its folder; a folder is no file."""
    (tmp_path / "plant.yaml").write_text(GOOD)
    with pytest.raises(ConfigError) as caught:
        read(tmp_path / "plnt.yaml", PLANT)
    assert str(caught.value) == (
        f"{tmp_path}/plnt.yaml: found no such file; allowed: a YAML file "
        f"(did you mean '{tmp_path}/plant.yaml'?)"
    )
    with pytest.raises(ConfigError, match=": found a folder; allowed: a YAML file"):
        read(tmp_path, PLANT)
    with pytest.raises(ConfigError, match=r"found no such file; allowed: a YAML file$"):
        read("nowhere-at-all/x.yaml", PLANT)
    tree = read(str(tmp_path / "plant.yaml"), PLANT)
    assert (
        tree.units.source == tmp_path / "plant.yaml" and str(tree.where("name")) == f"{tmp_path}/plant.yaml:1"
    )
    assert read(GOOD, PLANT).source is None


def test_yaml_guesses_do_not_bite():
    """The traps of YAML 1.1: no, on, 6:00, 1e3, 0o17, 1_000 and dates are what they look like."""
    keys = Section(
        "t",
        a=Text(doc="x"),
        b=Clock(doc="x"),
        c=Number(doc="x"),
        d=Flag(doc="x"),
        e=Text(doc="x"),
        f=Maybe(Text(), doc="x"),
        on=Text(doc="x"),
        g=Text(doc="x"),
    )
    tree = read("a: no\nb: 6:00\nc: 1e3\nd: no\ne: 2026-01-01\nf: null\non: 010\ng: 'null'\n", keys)
    assert dict(tree) == {
        "a": "no",
        "b": 21600.0,
        "c": 1000.0,
        "d": False,
        "e": "2026-01-01",
        "f": None,
        "on": "010",
        "g": "null",
    }
    with pytest.raises(ConfigError, match="found '1_000'"):
        read("c: 1_000\n", Section("t", c=Number(doc="x")))


def test_merge_keys_and_aliases():
    """Anchors, aliases and merges save typing; own keys win over merged ones."""
    text = (
        changed("area: 30 m2", "area: 30 m2\n    depth: 4 m").replace("  S1:\n", "  S1: &pit\n") + "name: y\n"
    )
    text = text.replace("name: No. 1     # an invented plant\n", "").replace(
        "  C1:", "  S2: {<<: *pit, area: 50 m2, level: LT-102}\n  C1:"
    )
    units = read(text, PLANT).units
    assert (units.S2.depth, units.S2.area, units.S2.level, units.S1.area) == (4.0, 50.0, "LT-102", 30.0)


def test_overrides():
    """--set reaches keys, defaults, list items by index and by name, and whole lists; it is checked alike."""
    tree = read(
        GOOD,
        PLANT,
        [
            "units.S1.area=50 m2",
            "water.temperature=5 degC",
            "steps.run.wait=9 s",
            "steps.0.wait=1 min",
            "units.P1.curve.1.2=70 %",
            "shown=[FT-101A]",
            "name=a: b",
            "water.colour.depth=3 1/m",
        ],
    )
    assert tree.units.S1.area == 50.0 and tree.water.temperature == 278.15
    assert [step.wait for step in tree.steps] == [60.0, 9.0]
    assert tree.units.P1.curve[1][2] == 0.7 and tree.shown == (Ref("FT-101A"),) and tree.name == "a: b"
    assert tree.water.colour.depth == 3.0
    assert tree.line("units.S1.area") == 0 and str(tree.where("units.S1.area")) == "--set"


@pytest.mark.parametrize(
    "assignment, message",
    [
        ("units.S1.area", "--set: found 'units.S1.area'; allowed: key.path=value, such as plant.step=1 s"),
        ("units..area=3", "--set: found 'units..area=3'; allowed: key.path=value, such as plant.step=1 s"),
        (
            "units.S1.area=3",
            f"--set: units.S1.area: found '3' (no unit); allowed: {AREA} (did you mean '3 m2'?)",
        ),
        (
            "units.S1.aera=3 m2",
            f"--set: units.S1.aera: found 'aera'; allowed: {SUMP_KEYS} (did you mean 'area'?)",
        ),
        (
            "steps.5.wait=3 s",
            "--set: steps.5.wait: found '5'; allowed: an index from 0 to 1, or a name: open, run",
        ),
        (
            "steps.opn.wait=3 s",
            "--set: steps.opn.wait: found 'opn'; allowed: an index from 0 to 1, or a name: open, run "
            "(did you mean 'open'?)",
        ),
        ("name.x=3", "--set: name.x: found 'No. 1' at name; allowed: a key that holds keys"),
    ],
)
def test_wrong_override(assignment, message):
    """A wrong --set is a finding like any other, with --set in place of file and line."""
    assert findings(GOOD, assignment) == [message]


def test_later_findings():
    """Later stages add findings at the right line, and all are raised together."""
    tree = examine(GOOD, PLANT, name="plant.yaml")
    tree.raise_findings()
    tree.units.P1.finding("to", "leads nowhere")
    tree.finding("units.S1.depth", "is left out and too shallow")
    tree.units.finding("", "form a ring")
    with pytest.raises(ConfigError) as caught:
        tree.raise_findings()
    assert caught.value.findings == [
        "plant.yaml:3: units: form a ring",
        "plant.yaml:4: units.S1.depth: is left out and too shallow",
        "plant.yaml:10: units.P1.to: leads nowhere",
    ]


def test_unknown_attribute():
    """A slip in the program is an AttributeError with the nearest key."""
    with pytest.raises(AttributeError, match=r"units.S1 has no 'dept'; did you mean 'depth'\?"):
        _ = read(GOOD, PLANT).units.S1.dept


def values(tree):
    """Give all values below a tree as plain containers."""
    if isinstance(tree, tuple) and not isinstance(tree, Ref | Shift):
        return [values(item) for item in tree]
    return {key: values(item) for key, item in tree.items()} if hasattr(tree, "items") else tree


def test_resolved_configuration_reads_back():
    """The resolved file has every default written out and gives the same values, bit for bit."""
    tree = read(GOOD, PLANT, ["units.S1.area=1234.5678901234567 ft2", "name=on: '6:00' # no\n"])
    text = dump(tree.plain(), "resolved\nby a test")
    assert text.startswith("# resolved\n# by a test\nname: ") and "temperature: 12 degC" in text
    assert "    - [1540 gpm, 100 ft, 62 %]" in text
    again = read(text, PLANT)
    assert values(again) == values(tree)
    assert dump(again.plain(), "resolved\nby a test") == text


ALL = Section(
    "all",
    x=MapOf(OneOf(tuple(Quantity(name) for name in ("flow", "pressure", "temperature"))), doc="x"),
    t=Text(doc="t"),
    n=Number(doc="n"),
)


@given(
    st.dictionaries(
        st.from_regex(r"[A-Za-z][A-Za-z0-9_-]{0,8}", fullmatch=True),
        st.tuples(
            st.sampled_from(
                [
                    (unit, name)
                    for name in ("flow", "pressure", "temperature")
                    for unit in DIMENSIONS[name].units
                ]
            ),
            st.floats(1e-6, 1e9),
        ),
        max_size=5,
    ),
    st.text(st.characters(exclude_categories=["Cs", "Cc"]), min_size=1).filter(str.strip),
    st.floats(-1e300, 1e300),
)
def test_round_trip_property(entries, text, number):
    """Any names, units, floats and texts survive the way to YAML and back."""
    plain = {
        "x": {key: exact_text(value, *unit) for key, (unit, value) in entries.items()},
        "t": text,
        "n": number,
    }
    tree = read(dump(plain), ALL, name="x")
    assert dict(tree.x) == {key: value for key, (_, value) in entries.items()}
    assert tree.t == text and tree.n == number
    assert tree.plain() == plain


@pytest.mark.parametrize(
    "path, value, old, new",
    [
        ("name", "No. 2", "No. 1     # an", "No. 2     # an"),
        ("name", "a: b # c", "No. 1     # an", "'a: b # c'     # an"),
        ("name", "it's: \u00e9", "No. 1     # an", "'it''s: \u00e9'     # an"),
        ("name", "two\nlines", "No. 1     # an", '"two\\nlines"     # an'),
        ("units.P1.from", "S1.suction", "from: S1        #", "from: S1.suction        #"),
        ("units.P1.curve.1.1", "90 ft", "100 ft", "90 ft"),
        ("units.C1.volume", "[x], y", "1500 m3", "'[x], y'"),
        ("steps.run.name", "go", "{name: run}", "{name: go}"),
        ("steps.1.name", "go", "{name: run}", "{name: go}"),
        ("tags.FT-101A", "2 s", "FT-101A:\n", "FT-101A: 2 s\n"),
    ],
)
def test_set_value(path, value, old, new):
    """One value is changed and every other character stays."""
    assert set_value(GOOD, path, value) == changed(old, new)
    crlf = GOOD.replace("\n", "\r\n")
    assert set_value("\ufeff" + crlf, path, value) == "\ufeff" + changed(old, new).replace("\n", "\r\n")


def test_set_value_refusals():
    """What is not one value of its own is not changed."""
    for text, path, message in (
        (
            GOOD,
            "units.S1.aera",
            r"plant.yaml:4: units.S1.aera: found no such key in the text; "
            r"allowed: kind, area, level \(did you mean 'area'\?\)",
        ),
        (
            GOOD,
            "shown",
            "plant.yaml:17: shown: found a block, list or long text; allowed: one value to change",
        ),
        ("a: |\n  x\n", "a", "found a block, list or long text"),
        ("a: &x 3\nb: *x\n", "a", "found '&x 3'; allowed: a value without anchor"),
        ("a: &x 3\nb: *x\n", "b", "found an alias of a shared place"),
        ("a: [&x {c: 1}, *x]\n", "a.1.c", "found an alias of a shared place"),
    ):
        with pytest.raises(ConfigError, match=message):
            set_value(text, path, "1", name="plant.yaml")


def test_template():
    """The template is YAML, has every key with its doc text, and shows defaults; the tables have them too."""
    template, tables = describe(PLANT), describe(PLANT, "markdown")
    assert yaml.safe_load(template)["units"]["<sump>"]["depth"] == "3.5 m"
    for section in (PLANT, SUMP, PUMP, CELL, STEP):
        for key, kind in section.fields.items():
            assert f"{key}:" in template and f"| `{key}` | {kind.doc} |" in tables
            assert kind.doc in " ".join(template.replace("#", " ").split())
    assert "    # level: <tag>\n" in template
    uncommented = textwrap.dedent(template)
    uncommented = uncommented.replace("# colour:", "colour:").replace("#   depth:", "  depth:")
    assert yaml.safe_load(uncommented)["water"]["colour"] == {"depth": "<absorbance>"}
    with pytest.raises(ValueError, match="'yaml' or 'markdown'"):
        describe(PLANT, "html")


def test_wrong_schemas_fail_early():
    """A schema with a wrong default, range or missing doc text fails when it is made."""
    with pytest.raises(ValueError, match="has no doc text"):
        Section("x", a=Flag())
    with pytest.raises(ValueError, match="no unit"):
        Quantity("length", "3")
    with pytest.raises(ValueError, match="0 m to 2 m"):
        Quantity("length", "3 m", lo="0 m", hi="2 m")
    with pytest.raises(ValueError, match="no dimension"):
        Quantity("lenght")
    with pytest.raises(ValueError, match="no order"):
        Points(("length",), order=("upward",))
    with pytest.raises(ValueError, match="tells the sections apart"):
        Variant("kind", {"a": Section("x", kind=Flag(doc="x"))})
    with pytest.raises(ValueError, match="the schema has a wrong default"):
        read("{}", Section("x", t=Times(("never",), doc="x")), name="x")
