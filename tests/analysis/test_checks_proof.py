"""The shipped acceptance of the gravel pit: kept by the shipped logic, and broken by every mutation of it.

A proof is worth what it catches. Each mutation is a slip that is made at real plants (common practice, no source): one
sign, one wire, one unit, one forgotten interlock. The sentence that has to catch it is named beside it.
"""

import re
from dataclasses import dataclass
from pathlib import Path

import pytest

from plantsim.analysis.checks import FAILED, OK, UNTESTED, read_acceptance
from plantsim.analysis.checks.proof import prove
from plantsim.errors import ConfigError
from plantsim.plant.programs import shipped_programs

PLANT = Path(__file__).parents[2] / "configs/gravel-pit.yaml"
ACCEPTANCE = PLANT.with_name("gravel-pit-acceptance.yaml")


@dataclass
class Mutation:
    """The case to run and the sentence that must fail; texts replaced in the plant file, patterns in a program."""

    case: str
    caught_by: str
    plant: tuple[tuple[str, str], ...] = ()
    program: str = ""
    logic: tuple[tuple[str, str], ...] = ()


UNDERFLOW = "open_density: 1370 kg/m3, close_density: 1310 kg/m3, speed_open: 66 %, bed_open: 1.0 m"
COAGULANT = "set: {dose: 38 g/m3, capacity: 40 L/h, product_density: 1350 kg/m3"
POLYMER = "program: polymer-dose\n    every: 5 s\n    connect: {flow: "
TRANSIT = (r"transit := line_volume / flow .*;", "transit := 1100.0;")
"""Without flow there is no transit: a program that doses on regardless must not divide by nought."""
MUTATIONS = {
    "sign of the level controller swapped": Mutation(
        "one-day", "level-is-quiet", program="sump-averaging", logic=((r"DIRECT := TRUE", "DIRECT := FALSE"),)),
    "interlock of the sump not wired": Mutation(
        "all-pumps-lost", "high-high-holds-the-wash-plant", plant=(("{sump_ok: XC-131, ", "{"),)),
    "high-high trip left out": Mutation(
        "all-pumps-lost", "sump-does-not-spill", program="sump-averaging",
        logic=((r"wash_permit := NOT .*;", "wash_permit := TRUE;"),)),
    "gallons a minute for cubic metres an hour in the low-flow limit": Mutation(
        "one-day", "no-coagulant-without-flow", plant=((f"{COAGULANT}, flow_low: 60 m3/h",
                                                        f"{COAGULANT}, flow_low: 6 gpm"),)),
    "litres a minute for litres an hour in the dosing pump": Mutation(
        "one-day", "coagulant-dose-is-sane", plant=((COAGULANT, COAGULANT.replace("40 L/h", "40 L/min")),)),
    "trim not frozen without flow": Mutation(
        "one-day", "trim-stands-overnight", program="coagulant-dose",
        logic=((r"frozen := .*;", "frozen := NOT trim;"), TRANSIT)),
    "standby not started": Mutation(
        "duty-pump-trips", "standby-takes-over", program="sump-averaging",
        logic=((r"FAIL_TIME := fail_time", "FAIL_TIME := T#8h"),)),
    "wrong density meter at the underflow": Mutation(
        "two-days", "bed-stays-below-the-feed", plant=(("{density: DT-301, bed_level: LT-201, torque",
                                                        "{density: DT-102, bed_level: LT-201, torque"),)),
    "coagulant not stopped without flow": Mutation(
        "one-day", "no-coagulant-without-flow", program="coagulant-dose",
        logic=((r"flow >= flow_low;", "flow >= -1.0E9;"), TRANSIT)),
    "polymer not stopped without flow": Mutation(
        "flow-meter-lost", "no-flow-signal-no-polymer",
        plant=((f"{POLYMER}FT-102", f"{POLYMER}FT-301"),)),
    "underflow opens on the thin side": Mutation(
        "one-day", "mud-is-drawn-when-thick", program="underflow-density",
        logic=((r"density >= open_density", "density <= open_density"),
               (r"density <= close_density", "density >= close_density"))),
    "failed pump never locked out": Mutation(
        "pump-does-not-start", "a-failed-pump-is-not-asked-for-ever", program="sump-averaging",
        logic=((r"run_2 := (group.RUN\[2\].*);", r"run_2 := \1 OR duty = 2;"),)),
    "alternation of the duty left out": Mutation(
        "one-day", "duty-goes-round-3", plant=(("set: {pumps: 3, most: 2", "set: {pumps: 2, most: 2"),)),
    "rake's torque trip set out of reach": Mutation(
        "rake-overloads", "rake-stops-by-torque", program="rake-lift",
        logic=((r"(trip_torque\s*: REAL) := 90.0;", r"\1 := 900.0;"),)),
    "permit of the cells not wired to the underflow": Mutation(
        "cells-full", "no-mud-without-a-cell", plant=(("torque: WT-203, cell_ok: XC-301, run: YC-301",
                                                       "torque: WT-203, run: YC-301"),)),
    "turbidity trip never set": Mutation(
        "turbidity-stays-high", "dirty-overflow-holds-the-wash-plant",
        plant=(("trip_turbidity: 900 NTU", "trip_turbidity: 9000 NTU"),)),
    "low-low water of the clean tank not wired": Mutation(
        "clean-water-low", "low-water-holds-the-wash-plant", plant=((", clean_ok: XC-133", ""),)),
}  # fmt: skip


def mutated(folder: Path, mutation: Mutation) -> Path:
    """The plant file with the mutation in it, in a folder of its own."""
    text = PLANT.read_text(encoding="utf-8")
    for old, new in mutation.plant:
        assert text.count(old) == 1, f"the plant file has {text.count(old)} places for {old!r}"
        text = text.replace(old, new)
    if mutation.program:
        source = shipped_programs()[mutation.program]
        logic = source.read_text(encoding="utf-8")
        for old, new in mutation.logic:
            logic, places = re.subn(old, new, logic)
            assert places == 1, f"the program has {places} places for {old!r}"
        (folder / source.name).write_text(logic, encoding="utf-8")
        text, places = re.subn(rf"^    program: {mutation.program}\b.*\n(?=    every:)", f"    file: {source.name}\n",
                               text, flags=re.M)  # fmt: skip
        assert places == 1, f"the plant file has {places} programs {mutation.program}"
        if mutation.program == "underflow-density":  # its parameters stand under its name
            text = text.replace("set: {speed_max: 95 %", f"set: {{{UNDERFLOW}, speed_max: 95 %")
    path = folder / "mutated.yaml"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def acceptance():
    return read_acceptance(ACCEPTANCE)


@pytest.mark.parametrize("name", MUTATIONS)
def test_every_mutation_is_caught_by_a_named_sentence(tmp_path, acceptance, name):
    mutation = MUTATIONS[name]
    proof = prove(mutated(tmp_path, mutation), acceptance, only=[mutation.case])
    caught = {one.check.name: one.worst.outcome for one in proof.sentences}
    assert not proof.passed
    assert caught[mutation.caught_by] == FAILED, caught


def test_the_unmutated_copies_pass(tmp_path, acceptance):
    """What catches a mutation must not be the copying itself: a program from a file, its parameters moved."""
    same = Mutation("one-day", "", program="underflow-density")
    assert prove(mutated(tmp_path, same), acceptance, only=["one-day"]).passed


@pytest.fixture(scope="module")
def proof(acceptance):
    return prove(PLANT, acceptance)


def test_the_shipped_logic_is_proved(proof):
    assert [one.check.name for one in proof.sentences if not one.passed] == []
    assert all(one.tested for one in proof.sentences)
    assert proof.passed


def test_a_proof_is_the_same_whatever_the_number_of_workers(proof, acceptance):
    again = prove(PLANT, acceptance, only=["duty-pump-trips", "thin-mud"], workers=4)
    alone = prove(PLANT, acceptance, only=["duty-pump-trips", "thin-mud"], workers=1)
    assert again.outcomes == alone.outcomes
    assert set(again.outcomes) <= set(proof.outcomes)


def test_one_sentence_alone(acceptance):
    proof = prove(PLANT, acceptance, only=["standby-takes-over"])
    assert [one.check.name for one in proof.sentences] == ["standby-takes-over"]
    assert [run.case for run in proof.outcomes] == ["duty-pump-trips"]


def test_a_sentence_no_case_puts_to_the_test_is_no_proof(tmp_path):
    path = tmp_path / "acceptance.yaml"
    path.write_text("cases:\n  c1:\n    until: 10 min\n    checks:\n"
                    "      a1: after P-101 trips, P-102 runs within 15 s\n"
                    "      a2: {say: no YC-111 while FT-102 over 5000 m3/h, untested_ok: yes}\n")  # fmt: skip
    proof = prove(PLANT, read_acceptance(path))
    assert [one.worst.outcome for one in proof.sentences] == [UNTESTED, UNTESTED]
    assert [one.passed for one in proof.sentences] == [False, True]
    assert not proof.passed


@pytest.mark.parametrize(
    ("sentence", "words"),
    [
        ("sumpf.level under 3 m", "acceptance.yaml:2: checks.a1: found 'sumpf.level'"),
        ("sump.levle under 3 m", "did you mean 'sump.level'"),
        ("sump.level under 3 NTU", "goes with m"),
        ("clarifier.turbidity_over_limits at most 5 %", "which no run has"),
    ],
)
def test_names_the_plant_has_not_are_findings_in_the_acceptance_file(tmp_path, sentence, words):
    path = tmp_path / "acceptance.yaml"
    path.write_text(f"checks:\n  a1: {sentence}\ncases:\n  c1: {{until: 10 min}}\n")
    with pytest.raises(ConfigError, match=words):
        prove(PLANT, read_acceptance(path))


def test_wrong_acts_are_findings_in_the_acceptance_file(tmp_path):
    path = tmp_path / "acceptance.yaml"
    path.write_text("checks:\n  a1: no spill from sump\ncases:\n  c1:\n    until: 10 min\n    every: 1.5 s\n"
                    "    acts: [{at: 1 min, set: P-101.tripp, to: on}]\n")  # fmt: skip
    with pytest.raises(ConfigError) as caught:
        prove(PLANT, read_acceptance(path))
    assert any("acceptance.yaml:7: cases.c1.acts.0.set: found 'P-101.tripp'" in x and "did you mean" in x
               for x in caught.value.findings)  # fmt: skip
    assert any("cases.c1.every: found 1.5 s; allowed: whole steps of 1 s" in x for x in caught.value.findings)


def test_figures_and_balances_are_those_of_a_kept_run(tmp_path):
    """The same run through the store, which has its own way to the figures of a run."""
    from plantsim.plant.build import load_model
    from plantsim.sim.simulation import Simulation
    from plantsim.store.collect import from_simulation

    path = tmp_path / "acceptance.yaml"
    path.write_text("cases:\n  c1:\n    until: 3 h\n    every: 10 s\n    checks:\n"
                    "      a1: clarifier.turbidity_over_limit at most 100 %\n      a2: closure at most 1\n"
                    "      a3: starts of P-101 at most 100 per hour\n")  # fmt: skip
    verdicts = prove(PLANT, read_acceptance(path)).outcomes[0].verdicts
    sim = Simulation(load_model(PLANT))
    opening = sim.save()
    sim.run(3 * 3600.0)
    data = from_simulation(sim, opening)
    assert 100.0 - verdicts[0].margin == pytest.approx(data.figures["clarifier.turbidity_over_limit"].value, abs=1e-12)
    assert 1.0 - verdicts[1].margin == pytest.approx(max(abs(x["gap"]) for x in data.closure.values()), abs=1e-15)
    assert 100 - verdicts[2].margin == data.figures["P-101.starts_per_hour_max"].value
    assert verdicts[0].outcome == OK
