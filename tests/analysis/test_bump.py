"""Bump and relay tests of the gravel pit, held against volume over flow, area, and the theory of the relay.

Volumes, areas and demands are those of the plant file; the laws are those of any textbook: a plug-flow pipe delays
by volume over flow, a stirred tank lags by it, and a tank's level rises by flow over area.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from plantsim.analysis.bump import BumpError, OperatingPoint, bump, steps_of, write_record
from plantsim.analysis.bump_rig import Rig, loop_named, quieten, suspend
from plantsim.analysis.identify import identify, read_record
from plantsim.analysis.relay import relay
from plantsim.analysis.tuning.describing import exact_cycle
from plantsim.analysis.tuning.models import Integrating
from plantsim.errors import ConfigError
from plantsim.plant.build import load_model
from plantsim.plant.plans import FacePlan, ShiftPlan
from plantsim.sim.simulation import Simulation

FILE = Path(__file__).resolve().parents[2] / "configs" / "gravel-pit.yaml"
PIPE = 950.0 * math.pi / 4.0 * 0.25**2
"""Volume of the sump line [m3]."""
FEEDWELL, SUMP_AREA = 6.0, 24.0

STILL = ("units.cells.consolidation=1e-7 m2/s", "units.cells.final_void=2.6", "control.polymer-dosing.set.dose=45 g/t")
"""Slower cells and a fixed polymer dose: the water the cells give back would shift the records while they are taken."""


def way(test) -> tuple[float, float]:
    """Time of what passes as a plug on the way from the sump to the overflow, and of the whole way [s].

    Plugs are the line and the 1.8 m of water above the mouth of the feedwell, where fines that did not join lag behind
    the rising water by their own settling, 0.42 m/h. Mixed are the sump, which stands at 1.6 m, and the feedwell; the
    meter lags 20 s. The chemistry, some two minutes, is left to the tolerance.
    """
    flow = PIPE / test.transit
    plug = test.transit + 1.8 / (flow / (math.pi / 4.0 * 10.0**2) - 0.42 / 3600.0)
    return plug, plug + (SUMP_AREA * 1.6 + FEEDWELL) / flow + 20.0


def mean_delay(one) -> float:
    """Mean delay of an answer, without any model: the area between it and its final value, over its height [s]."""
    after = one.record.time >= one.moved_at
    share = (one.record.y[after] - one.record.y[~after].mean()) / one.change
    return float(np.trapezoid(1.0 - share, one.record.time[after]))


def pit(*overrides: str):
    """The plant, new at every call."""
    return lambda: load_model(FILE, (*STILL, *overrides))


@pytest.fixture(scope="module")
def below():
    """Coagulant bumped where the plant stands: 38 g/m3."""
    return bump(pit(), "AIC-201", steps=["10%"])


@pytest.fixture(scope="module")
def beyond():
    """Coagulant bumped on overdose."""
    return bump(pit(), "AIC-201", OperatingPoint(output=70.0), ["10%"])


@pytest.fixture(scope="module")
def slow():
    """Coagulant bumped at 75 % of the feed, the dose per water being the same."""
    return bump(pit(), "AIC-201", OperatingPoint(feed=0.75), ["-20%"])


@pytest.fixture(scope="module")
def sump():
    """The sump by hand at 85 % of the feed."""
    return Rig(load_model(FILE), "LIC-101", OperatingPoint(feed=0.85))


def volume_rate(rig: Rig, size: float) -> float:
    """What a step of the pump's speed adds to the flow in the line, per cent of speed [m3/s/%]."""
    rig.back()
    before = rig.model.value("sump-line.flow")
    rig.put(rig.output + size)
    rig.step(60.0)
    return (rig.model.value("sump-line.flow") - before) / size


# --- coagulant ---


def test_more_coagulant_clears_below_the_optimum_and_clouds_beyond_it(below, beyond):
    # charge balance of the plant file: 700 g/t, 15 % more for its 15 % of sticky clay, on 10 % fines in 1.75 m3/t
    optimum = 700.0 * 1.15 * 0.1 / 1.75
    assert below.output < optimum < beyond.output
    assert all(one.settled and one.change / one.size < 0.0 for one in below.bumps)
    assert all(one.settled and one.change / one.size > 0.0 for one in beyond.bumps)


def test_identification_takes_the_records_and_finds_the_same_sign(below):
    for one in below.bumps:
        found = identify(one.record)
        assert found.accepted, found.refusals
        assert found.best["K"] == pytest.approx(one.change / one.size, rel=0.2)


def test_the_transit_is_the_volume_of_the_line_over_its_flow(below, slow):
    for test, feed in ((below, 1.0), (slow, 0.75)):
        # 1.75 m3 of wash water per tonne less 6 % kept by the product, and the volume of 10.3 % of solids
        flow = feed * 200.0 * (1.75 - 0.06 + 0.103 / 2.65) / 3600.0
        assert test.transit == pytest.approx(PIPE / flow, rel=0.02)


def test_dead_time_and_mean_delay_are_those_of_the_volumes_on_the_way(below, slow):
    for test in (below, slow):
        plug, whole = way(test)
        for one in test.bumps:
            assert identify(one.record, ["first"], drift=False).best["L"] == pytest.approx(plug, rel=0.12)
            assert mean_delay(one) == pytest.approx(whole, rel=0.12)


def test_dead_time_grows_as_flow_falls(below, slow):
    full, less = (identify(test.bumps[-1].record, ["first"], drift=False).best["L"] for test in (below, slow))
    assert less / full == pytest.approx(slow.transit / below.transit, rel=0.1)
    assert less - full > 600.0


def test_each_bump_starts_from_the_same_state(below):
    one, other = below.bumps
    first = round(one.moved_at / one.record.interval)
    assert first > 100
    assert one.record.y[:first].tobytes() == other.record.y[:first].tobytes()
    # and nothing is seen before the water has come through the line
    early = first + round(below.transit / one.record.interval)
    assert one.record.y[:early].tobytes() == other.record.y[:early].tobytes()
    assert one.record.y[early:].tobytes() != other.record.y[early:].tobytes()


def test_a_bump_repeats_to_the_byte(slow):
    again = bump(pit(), "AIC-201", OperatingPoint(feed=0.75), ["-20%"])
    assert again.journal == slow.journal
    assert again.bumps[0].record.y.tobytes() == slow.bumps[0].record.y.tobytes()


def test_the_journal_says_what_was_held_moved_and_seen(below):
    words = "\n".join(below.journal)
    for part in ("the wander of the feed is off", "wash-plant runs outside its calendar",
                 "coagulant-dosing.trim held at no", "coagulant-dosing.dose by hand at 38 g/m3",
                 "transit of sump-line 8min", "bump from 38 g/m3 to 41.8 g/m3",
                 "bump from 38 g/m3 to 34.2 g/m3"):  # fmt: skip
        assert part in words


# --- levels ---


def test_the_sump_integrates_at_one_over_its_area(sump):
    expected = -volume_rate(sump, 3.0) / SUMP_AREA
    test = bump(pit(), "LIC-101", OperatingPoint(feed=0.85), [3.0, -3.0], wait=900.0)
    for one in test.bumps:
        best = identify(one.record, ["integrating"]).best
        assert best["k"] == pytest.approx(expected, rel=0.1)
        assert best["L"] < 60.0  # pump and meter lag seconds only


def test_a_bed_that_runs_away_is_balanced_before_it_is_bumped():
    test = bump(pit(), "LIC-201", steps=["+5"])
    assert any("the output that balances it is sought" in line for line in test.journal)
    assert "PT-201 stands still" in test.journal[-2]
    assert test.output != pytest.approx(66.0, abs=1.0) and test.bumps[0].change < 0.0


def test_the_relay_on_a_level_swings_as_an_integrator_does(sump):
    k = volume_rate(sump, 3.0) / SUMP_AREA
    test = relay(pit(), "LIC-101", OperatingPoint(feed=0.85), 3.0, hysteresis=0.1)
    expected = exact_cycle(Integrating(k, 10.0), 3.0, 0.1)  # one row of the record passes before the relay sees
    assert test.steady and test.gain_sign == -1
    assert test.cycle.period == pytest.approx(expected.period, rel=0.1)
    assert test.cycle.amplitude == pytest.approx(expected.amplitude, rel=0.1)


def test_the_relay_on_coagulant_takes_a_dead_time_for_each_half(below):
    test = relay(pit(), "AIC-201", amplitude="15%", gain_sign=-1)
    dead = identify(below.bumps[0].record, ["first"], drift=False).best["L"]
    assert test.steady and test.ultimate is not None
    assert test.cycle.time_up > 0.9 * dead and test.cycle.time_down > 0.9 * dead
    assert test.ultimate.Pu == test.cycle.period
    a = test.cycle.amplitude
    assert test.ultimate.Ku == pytest.approx(4.0 * test.relay / (math.pi * math.sqrt(a**2 - test.hysteresis**2)))


# --- by hand ---


def test_a_suspended_output_stands_while_its_program_runs_on_and_a_save_point_gives_it_back():
    model = load_model(FILE)
    quieten(model)
    sim = Simulation(model, 1)
    sim.run(3600.0)
    before = sim.save()
    point = loop_named(model, "LIC-101").moves
    words = suspend(model, point)
    assert words == "SC-101 is taken out of the hands of program sump-level, which runs on"
    assert suspend(model, point) == ""
    model.arena.tags[point.tag] = 85.0
    scans = int(model.arena.program_s["scans"][model.units["sump-level"][1]])
    sim.run(4200.0)
    assert model.arena.tags[point.tag] == 85.0
    assert int(model.arena.program_s["scans"][model.units["sump-level"][1]]) > scans + 200
    assert model.arena.tags[model.tags["YC-101"].index] == 1.0  # its other outputs are written as before
    sim.restore(before)
    sim.run(4200.0)
    assert model.arena.tags[point.tag] > 90.0


def test_a_quiet_plant_keeps_its_noise_and_its_seeded_processes():
    model, plain = load_model(FILE), load_model(FILE)
    quieten(model)
    assert len(model.plans.items) == len(plain.plans.items)
    assert model.arena.source_p["wander_feed"][0] == 0.0 < plain.arena.source_p["wander_feed"][0]
    assert np.array_equal(model.arena.instrument_p["noise"], plain.arena.instrument_p["noise"])
    shifts = [plan for plan in model.plans.items if isinstance(plan, ShiftPlan)]
    faces = [plan for plan in model.plans.items if isinstance(plan, FacePlan)]
    assert shifts[0].spans == ((0.0, 7 * 86400.0),) and faces[0].mean_time == math.inf


def test_a_record_is_written_as_identify_reads_it(below, tmp_path):
    record = below.records[0]
    write_record(record, tmp_path / "one.csv")
    back = read_record(tmp_path / "one.csv")
    assert (back.u_unit, back.y_unit) == ("g/m3", "NTU")
    np.testing.assert_allclose(back.time, record.time)
    np.testing.assert_allclose(back.u, record.u, rtol=1e-9)
    np.testing.assert_allclose(back.y, record.y, rtol=1e-9)


# --- what is wrong ---


@pytest.mark.parametrize(("loop", "at", "steps", "words"), [
    ("AIC-20", None, ["10%"], "found loop 'AIC-20'; allowed: a loop of the plant file: AIC-201, LIC-201, LIC-101 (did "
                              "you mean 'AIC-201'?)"),
    ("AIC-201", OperatingPoint(output=200.0), ["10%"],
     "found an output of 200 g/m3; allowed: 5 to 110, the limits of AIC-201"),
    ("AIC-201", OperatingPoint(feed=0.0), ["10%"], "found a feed of 0 of the file's; allowed: a share above 0"),
    ("LIC-101", OperatingPoint(output=99.0, feed=0.6), ["3"], "fell below 0.7 m"),
])  # fmt: skip
def test_a_loop_that_cannot_be_tested_gets_a_sentence(loop, at, steps, words):
    with pytest.raises(BumpError) as caught:
        bump(pit(), loop, at, steps)
    assert words in str(caught.value)


def test_steps_that_cannot_be_made_get_a_sentence():
    loop = loop_named(load_model(FILE), "AIC-201")
    assert steps_of(["+20%", "-5 g/m3", "2"], 40.0, loop) == [8.0, -5.0, 2.0, -2.0]
    for asked, words in (("5 NTU", "found step '5 NTU'; allowed: a share of the present output such as +20%"),
                         ("0", "a step other than 0"), ("+90", "to stay within 5 to 110 g/m3")):  # fmt: skip
        with pytest.raises(BumpError, match=words.replace("+", r"\+")):
            steps_of([asked], 40.0, loop)


@pytest.mark.parametrize(("slip", "words"), [
    ("AIC-201.moves=coagulant-dosin.dose", "loops.AIC-201.moves: found 'coagulant-dosin.dose'; allowed: PROGRAM."),
    ("AIC-201.moves=coagulant-dosing.speed", "an output, which the program writes at every scan"),
    ("AIC-201.moves=coagulant-dosing.trim", "which is no number that can be moved by steps"),
    ("LIC-101.moves=SC-10", "program.variable, or the tag of an actuator, a drive or a flag (did you mean 'SC-10"),
    ("LIC-101.moves=LT-101", "found 'LT-101', which an instrument writes"),
    ("LIC-101.measures=SC-101", "found 'SC-101', which no instrument writes; allowed: the tag of an instrument"),
    ("LIC-101.low=120", "loops.LIC-101.high: found 100; allowed: more than low, 120"),
    ("AIC-201.through=sump-lin", "did you mean 'sump-line'?"),
    ("LIC-101.hold.YC-101=perhaps", "loops.LIC-101.hold.YC-101: found 'perhaps'; allowed: on, off or a number"),
])  # fmt: skip
def test_a_wrong_loop_in_the_file_is_a_finding(slip, words):
    with pytest.raises(ConfigError) as caught:
        load_model(FILE, [f"loops.{slip}"])
    assert words in str(caught.value)


def test_a_meal_break_ends_a_test_of_a_plant_that_is_not_made_quiet():
    # the file has breaks from 10:00 on; four hours by itself from 05:30 leave half an hour
    with pytest.raises(BumpError, match=r"wash-plant stopped 31min after .*; a test needs feed throughout"):
        bump(pit(), "AIC-201", steps=["10%"], quiet=False)
