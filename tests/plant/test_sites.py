"""The three invented sites: they build, they teach what they say, and their sizes follow from the trade's sums."""

from __future__ import annotations

import math
import re
from pathlib import Path

import fluids
import numpy as np
import pytest

from plantsim.cli.main import main
from plantsim.plant.build import load_model
from plantsim.plant.programs import STRATEGIES
from plantsim.plant.reader import examine
from plantsim.plant.sections import PLANT

CONFIGS = Path(__file__).resolve().parents[2] / "configs"
SITES = ("gravel-pit", "small-sand", "high-lift")
HOUR = 3600.0


def tree(site):
    """The checked configuration of a site."""
    return examine(CONFIGS / f"{site}.yaml", PLANT, ())


def units(site, kind):
    """The units of one kind, by name."""
    return {name: u for name, u in tree(site).units.items() if u.kind == kind}


@pytest.mark.parametrize("site", SITES)
def test_check_finds_nothing(site, capsys):
    assert main(["check", str(CONFIGS / f"{site}.yaml")]) == 0
    out, err = capsys.readouterr()
    assert out.startswith(f"{CONFIGS / site}.yaml: nothing wrong found (") and err == ""


@pytest.mark.parametrize("site", SITES)
def test_a_site_says_that_it_is_invented(site):
    first = (CONFIGS / f"{site}.yaml").read_text().splitlines()[0]
    assert first.startswith("# ") and "are invented" in first
    assert "invented" in tree(site).site.note


@pytest.mark.parametrize("site", SITES)
def test_the_water_circuit_is_closed(site):
    """Wash water comes from the tank the clarifiers overflow to, and a supply makes up what leaves."""
    (wash,) = units(site, "source").values()
    tank = wash.from_.name
    assert all(c.overflow.name == tank for c in units(site, "clarifier").values())
    assert [s.to.name for s in units(site, "supply").values()] == [tank]
    (well,) = units(site, "supply").values()
    fines = wash.production * wash.fines
    lost = wash.production * wash.moisture / 1000.0 + fines * (1.0 / 0.40 - 1.0) / 1000.0
    assert well.flow > lost, "the supply must cover the product's moisture and the water in mud of 40 % solids"


@pytest.mark.parametrize("site", SITES)
def test_every_tag_does_something(site):
    """A tag that nothing reads and nothing writes would be a riddle in a file that teaches; readings may just show."""
    text = (CONFIGS / f"{site}.yaml").read_text()
    t = tree(site)
    for tag in (*t.flags, *t.actuators, *t.switches):
        assert len(re.findall(rf"\b{tag}\b", text)) >= 2, tag


@pytest.mark.parametrize("site", SITES)
def test_control_is_by_shipped_programs(site):
    model = load_model(CONFIGS / f"{site}.yaml")
    own = [c.file for c in tree(site).control.values() if c.file is not None]
    assert own == (["both-clarifiers.st"] if site == "high-lift" else [])
    assert len(model.programs) - len(own) >= 8
    assert all((STRATEGIES / f"{c.program.replace('-', '_')}.st").is_file()
               for c in tree(site).control.values() if c.file is None)  # fmt: skip


def test_every_shipped_program_but_the_variants_is_shown_at_work():
    """Between them the sites use every shipped program, or name it as a variant."""
    used = set()
    for site in SITES:
        for c in tree(site).control.values():
            used |= {c.program, *c.variants}
    assert used - {None} == {p.stem.replace("_", "-") for p in STRATEGIES.glob("*.st")}


# ---------------------------------------------------------------------------------------------- high-lift
def test_high_lift_line():
    """1,200 m of DN250 hold 59 m3, which takes 606 s at 350 m3/h, at 1.98 m/s."""
    pipe = units("high-lift", "line")["lift-line"].pipe
    area = math.pi / 4.0 * pipe.diameter**2
    flow = 350.0 / HOUR
    assert area * pipe.length == pytest.approx(58.9, abs=0.1)
    assert area * pipe.length / flow == pytest.approx(606.0, abs=1.0)
    assert flow / area == pytest.approx(1.98, abs=0.005)
    assert pipe.lift == 60.0 and not pipe.check_valve


def test_high_lift_head_is_shared_by_two_pumps_of_38_m():
    """60 m and about 16 m of friction: 76 m in all.

    Friction by the `fluids` library (Colebrook exactly), 12 degC water; the pump's head at less than full speed by the
    affinity laws (Karassik et al., Pump Handbook: H with n^2, Q with n), written out here.
    """
    line = units("high-lift", "line")["lift-line"]
    pipe = line.pipe
    flow = 350.0 / HOUR
    v = flow / (math.pi / 4.0 * pipe.diameter**2)
    f = fluids.friction_factor(v * pipe.diameter / 1.235e-6, pipe.roughness / pipe.diameter, Method="Colebrook")
    friction = (f * pipe.length / pipe.diameter + pipe.fittings) * v**2 / (2.0 * 9.80665)
    assert 15.0 < friction < 20.0
    level = 1.9
    each = (pipe.lift - level + friction) / len(line.pumps)
    assert each == pytest.approx(38.0, abs=1.0)
    (curve,) = {pump.curve for pump in line.pumps.values()}
    flows, heads = np.array(curve).T[:2]
    speeds = np.linspace(0.7, 1.0, 3001)
    at = speeds**2 * np.interp(flow / speeds, flows, heads)
    speed = speeds[np.argmin(abs(at - each))]
    assert 0.88 < speed < 0.97, "the pair runs at 350 m3/h below full speed, with something in hand"
    assert {pump.branch for pump in line.pumps.values()} == {1}, "one branch: in series"
    assert not any(pump.check_valve for pump in line.pumps.values())


def test_high_lift_one_pump_alone_lifts_nothing():
    """The static head is more than one pump's greatest: a trip of either stops the flow."""
    line = units("high-lift", "line")["lift-line"]
    for pump in line.pumps.values():
        assert pump.curve[0][1] < line.pipe.lift - 3.8


def test_high_lift_sump_takes_the_line_that_runs_back():
    """Stopped at its stop level, the sump takes the whole line and stays below the start: no pumping in a ring."""
    t = tree("high-lift")
    line, sump, pair = t.units["lift-line"], t.units["sump"], t.control["lift-pumps"]["set"]
    area = sump.shape.length * sump.shape.width
    rise = math.pi / 4.0 * line.pipe.diameter**2 * line.pipe.length / area
    level = {key: float(pair[key].removesuffix(" m")) for key in ("stop_level", "start_level", "high_high_level")}
    assert level["stop_level"] + rise < level["start_level"] - 0.2
    # wash water that comes while it drains and is locked out does not flood it either
    lockout = 3 * 60.0
    assert level["start_level"] + rise + 400.0 / HOUR * lockout / area < sump.weir_level + 0.2
    assert level["high_high_level"] < sump.weir_level < sump.shape.depth


def test_high_lift_shares_its_flow_between_two_like_clarifiers():
    t = tree("high-lift")
    (box,) = units("high-lift", "splitter").values()
    assert [(way.unit.name, way.weight) for way in box.to] == [("clarifier-1", 1.0), ("clarifier-2", 1.0)]
    plain = t.plain()["units"]
    one, two = plain["clarifier-1"], plain["clarifier-2"]
    assert {k for k in one if one[k] != two[k]} == {"rake"}
    area = math.pi / 4.0 * t.units["clarifier-1"].diameter ** 2
    rise = 0.5 * 350.0 / area
    assert 3.0 < rise < 15.0, "rise rate in m/h: 4 to 15 is common practice, no source"


def test_high_lift_underflow_is_by_valve_alone():
    t = tree("high-lift")
    for i in (1, 2):
        line = t.units[f"mud-line-{i}"]
        assert not line.pumps and line.pipe.lift < 0.0 and line.valve is not None
        assert t.actuators[str(line.valve.actuator)].fail == "closes"


def test_high_lift_mud_moves_by_gravity():
    """A Bingham mud moves when the drive is over its yield head 4 tau L/(rho g D) (force balance on the wall).

    At 45 % solids: 625 g/L and 1,389 kg/m3, phi 0.236.
    """
    t = tree("high-lift")
    pipe = t.units["mud-line-1"].pipe
    phi, density = 625.0 / 2650.0, 1389.0
    tau = t.water.yield_a * phi**t.water.yield_b
    hold = 4.0 * tau * pipe.length / (density * 9.80665 * pipe.diameter)
    drive = -pipe.lift + t.units["clarifier-1"].depth * 1000.0 / density
    assert hold < 0.6 * drive


# ---------------------------------------------------------------------------------------------- small-sand
def test_small_sand_has_one_pump_without_speed_control():
    lines = units("small-sand", "line")
    (pump,) = lines["rising-main"].pumps.values()
    assert pump.motor.speed is None
    assert lines["rising-main"].to.name == "header-tank"


def test_small_sand_feeds_its_clarifier_by_gravity():
    line = units("small-sand", "line")["feed-line"]
    assert line.from_.name == "header-tank" and line.to.name == "clarifier"
    assert not line.pumps and line.pipe.lift < 0.0


def test_small_sand_pump_starts_seldom_enough():
    """T = 4 V/Q, the shortest cycle of an on/off pump; 10 to 15 min between starts for less than 15 kW.

    US Army criteria for wet wells: UFC 3-240-04A (EI 11C201, 1997), table 7-1.
    """
    t = tree("small-sand")
    levels = t.control["sump-level"]["set"]
    sump = t.units["sump"].shape
    between = float(levels["start_level"].removesuffix(" m")) - float(levels["stop_level"].removesuffix(" m"))
    volume = sump.length * sump.width * between
    pumped = 135.0 / HOUR
    assert 4.0 * volume / pumped > 15.0 * 60.0
    (pump,) = t.units["rising-main"].pumps.values()
    assert 3600.0 * pumped / (4.0 * volume) < pump.motor.max_starts


def test_small_sand_flows():
    """80 to 120 m3/h of wash water, a pump with more, and a header tank whose line passes it below its overflow."""
    t = tree("small-sand")
    wash = t.units["wash-plant"]
    water = wash.production * wash.wash_ratio
    assert 80.0 < water * HOUR < 120.0
    pipe, header = t.units["feed-line"].pipe, t.units["header-tank"]
    area = math.pi / 4.0 * pipe.diameter**2
    v = water / area
    f = fluids.friction_factor(v * pipe.diameter / 1.1e-6, pipe.roughness / pipe.diameter, Method="Colebrook")
    needed = (f * pipe.length / pipe.diameter + pipe.fittings) * v**2 / (2.0 * 9.80665) + pipe.lift
    assert header.suction_level < needed < header.weir_level - 1.0


def test_small_sand_press_keeps_up():
    """Cake of a cycle from its volume and solids: density 1/(0.78/2.65 + 0.22) = 1.945 t/m3, 78 % of it solids."""
    t = tree("small-sand")
    press, wash = t.units["press"], t.units["wash-plant"]
    assert press.from_.name == "mud-tank" and press.filtrate.name == "sump"
    cake = press.chambers * 1000.0 / (press.cake_fraction / 2.65 + 1.0 - press.cake_fraction) * press.cake_fraction
    assert cake == pytest.approx(2430.0, rel=0.01)
    mud = cake / 533.0  # 40 % solids by mass are 533 g/L
    cycle = mud / press.max_flow + press.squeeze_time + press.open_time
    assert 20 * 60.0 < cycle < 90 * 60.0, "a cycle takes 20 to 90 min: common practice, no source"
    a_day = wash.production * (wash.fines + wash.coarse) * 8.5 * HOUR
    assert a_day / cake * cycle < 12 * HOUR, "pressed within half a day"
    tank = math.pi / 4.0 * t.units["mud-tank"].shape.diameter ** 2 * t.units["mud-tank"].shape.depth
    assert 2.0 < tank / mud < 8.0, "the tank holds a few batches"


def test_small_sand_polymer_is_ready_made():
    (polymer,) = [d for d in units("small-sand", "doser").values() if d.product == "polymer"]
    assert polymer.from_ is None and polymer.tote is not None and not units("small-sand", "makedown")


def test_coagulant_of_small_sand_is_switched_by_hand():
    t = tree("small-sand")
    assert str(t.control["coagulant-dosing"].connect["enable"]) == "HS-111" and t.flags["HS-111"].start == 1.0
