"""Commands about control programs: test, trace, watch; values forced by acts; another program by one word."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import numpy as np
import pytest

from plantsim.cli.main import main
from plantsim.errors import ConfigError
from plantsim.plant.build import load_model
from plantsim.sim.simulation import Simulation
from plantsim.store.folder import find_run, list_runs, read_run

ROOT = Path(__file__).resolve().parents[2]
PIT = str(ROOT / "configs" / "gravel-pit.yaml")

RULE = """PROGRAM rule
VAR_INPUT level : REAL; {unit 'm'} // level of the tank
    high : REAL := 2.0; {unit 'm'} // full
END_VAR
VAR_OUTPUT full : BOOL; {unit '1'} // the tank is full
END_VAR
VAR spare : BOOL; END_VAR
    full := level >= high;
    spare := full;
END_PROGRAM
"""
TABLE = """file: rule.st
every: 1 s
tests:
  full:
    rows:
      - {at: 0 s, set: {level: 1.9 m}, expect: {full: off}}
      - {at: 1 s, set: {level: 2.0 m}, expect: {full: on}}
"""


@pytest.fixture(autouse=True)
def _own_runs(tmp_path, monkeypatch):
    monkeypatch.setenv("PLANTSIM_RUNS", str(tmp_path / "runs"))


@pytest.fixture
def rule(tmp_path) -> Path:
    (tmp_path / "rule.st").write_text(RULE, encoding="utf-8")
    path = tmp_path / "rule.yaml"
    path.write_text(TABLE, encoding="utf-8")
    return path


def go(capsys, *argv: str) -> tuple[int, str, str]:
    """Exit code, output and error stream of one command."""
    code = main(argv)
    captured = capsys.readouterr()
    return code, captured.out, captured.err


@pytest.mark.parametrize("command", ["test", "trace"])
def test_help(capsys, command) -> None:
    code, out, err = go(capsys, command, "--help")
    assert (code, err) == (0, "")
    assert f"plantsim {command}" in out


# --- test ---


def test_passing_tests_are_shown_row_by_row(capsys, rule) -> None:
    code, out, err = go(capsys, "test", str(rule))
    assert code == 0
    head, columns, first, second = out.splitlines()
    assert head == (f"{rule}: program rule, every 1s: 1 test, 2 expectations, all passed; machine and interpreter "
                    "agree in 2 scans")  # fmt: skip
    assert columns.split() == ["test", "time", "variable", "expected", "found"]
    assert first.split() == ["ok", "full", "0s", "full", "off", "off"]
    assert second.split() == ["ok", "full", "1s", "full", "on", "on"]
    assert "spare" in err and "never read" in err  # warnings of the compiler come too


def test_a_failing_test_gives_exit_code_1(capsys, rule) -> None:
    rule.write_text(TABLE.replace("full: on", "full: off"), encoding="utf-8")
    code, out, _ = go(capsys, "test", str(rule))
    assert code == 1
    assert "1 of 2 expectations in 1 test not met" in out
    assert out.splitlines()[-1].split() == ["FAILED", "full", "1s", "full", "off", "on"]


def test_a_folder_shows_what_failed_only(capsys, rule) -> None:
    (rule.parent / "wrong.yaml").write_text(TABLE.replace("full: on", "full: off"), encoding="utf-8")
    code, out, _ = go(capsys, "test", str(rule.parent))
    assert code == 1
    lines = out.splitlines()
    assert lines[0].startswith(f"{rule}: ") and "all passed" in lines[0]
    assert lines[-1] == "2 files, 1 with a failed test"
    assert sum(line.startswith("FAILED") for line in lines) == 1
    assert not any(line.startswith("ok") for line in lines)


def test_json(capsys, rule) -> None:
    code, out, _ = go(capsys, "test", str(rule), "--json")
    assert code == 0
    found = json.loads(out)
    assert found["passed"] is True
    (file,) = found["files"]
    assert (file["program"], file["every"], file["tests"][0]["name"]) == ("rule", 1.0, "full")
    assert file["tests"][0]["checks"][1] == {
        "time": 1.0, "variable": "full", "expected": "on", "found": "on", "passed": True}  # fmt: skip


def test_bad_files_give_exit_code_2_and_every_finding(capsys, rule) -> None:
    rule.write_text(TABLE.replace("level: 1.9 m", "level: 1.9 bar").replace("full: on", "ful: on"), encoding="utf-8")
    (rule.parent / "worse.yaml").write_text("every: 1 s\n", encoding="utf-8")
    code, out, err = go(capsys, "test", str(rule.parent))
    assert (code, out) == (2, "")
    lines = err.splitlines()
    assert f"{rule}:6: tests.full.rows.0.set.level: found '1.9 bar' (a pressure)" in lines[0]
    assert lines[1].startswith(f"{rule}:7: ") and lines[1].endswith("(did you mean 'full'?)")
    assert any("worse.yaml" in line and "tests" in line for line in lines[2:])


def test_a_wrong_program_is_shown_with_its_line(capsys, rule) -> None:
    (rule.parent / "rule.st").write_text(RULE.replace(">= high", ">= hihg"), encoding="utf-8")
    code, out, err = go(capsys, "test", str(rule))
    assert (code, out) == (2, "")
    assert "rule.st:8:22" in err and "^" in err


def test_tests_of_a_shipped_program_by_its_name(capsys) -> None:
    code, out, _ = go(capsys, "test", "polymer-batch")
    assert code == 0
    assert "program polymer-batch" in out


# --- trace ---


def test_trace_shows_lines_inputs_and_outputs(capsys) -> None:
    code, out, err = go(capsys, "trace", PIT, "--at", "1h2m", "--program", "clean-water")
    assert (code, err) == (0, "")
    head, lines, inputs, outputs = (block.splitlines() for block in out.split("\n\n"))
    assert head == ["program clean-water (clean_water.st), scan 373, every 10s, at 1h2min (2027-04-05 06:32:00)"]
    assert lines[0].split() == ["line", "statement", "read", "and", "written"]
    (first,) = [line for line in lines if "high := level >= high_level;" in line]
    text = (ROOT / "plantsim" / "strategies" / "clean_water.st").read_text(encoding="utf-8").splitlines()
    assert text[int(first.split()[0]) - 1].strip() == "high := level >= high_level;"
    assert "high_level=3.6 m -> high=off" in first
    (level,) = [line for line in inputs if line.startswith("level ")]
    assert "LT-401" in level and level.endswith("tank level")
    assert any(line.startswith("wash_permit") and "XC-133" in line for line in outputs)


def test_trace_takes_the_first_program_and_names_the_others(capsys) -> None:
    code, out, _ = go(capsys, "trace", PIT, "--at", "0 s")
    assert code == 0
    assert out.startswith("program sump-level (sump_averaging.st), scan 1, every 2s, at 0s")
    assert "other programs (--program NAME): coagulant-dosing, " in out


@pytest.mark.parametrize(("argv", "message"), [
    (("--at", "3 bar"), "--at: found '3 bar' (a pressure); allowed: a time with its unit"),
    (("--at", "-5 s"), "allowed: a time from 0 s on"),
    (("--at", "1h", "--program", "sump-levl"), "--program: found 'sump-levl'; allowed: sump-level"),
    (("--at", "1h", "--program", "sump-levl"), "(did you mean 'sump-level'?)"),
])  # fmt: skip
def test_trace_messages(capsys, argv, message) -> None:
    code, out, err = go(capsys, "trace", PIT, *argv)
    assert (code, out) == (2, "")
    assert message in err


# --- watch ---


def test_watched_variables_are_recorded_printed_and_drawn(capsys, tmp_path) -> None:
    names = ["sump-level.wanted", "sump-level.LOOP.I", "underflow.clock", "sump-level.group.RUN[1]",
             "sump-level.speed_1"]  # fmt: skip
    code, out, _ = go(capsys, "run", PIT, "--until", "3h", *(part for name in names for part in ("--watch", name)))
    assert code == 0
    (head,) = [line for line in out.splitlines() if line.startswith("watched ")]
    assert head.split() == ["watched", "at", "the", "end", "least", "mean", "most", "unit", "meaning"]
    data = read_run(find_run("last"))
    series = data.series
    assert series["sump-level.wanted"].unit == "1" and set(np.unique(series["sump-level.wanted"].values)) <= {0, 1, 2}
    assert series["sump-level.wanted"].meaning == "variable of program sump-level: pumps wanted"
    assert "sump-level.loop.I" in series  # as declared, whatever was typed
    # the output and the tag it writes are one number, recorded in different places
    np.testing.assert_allclose(series["sump-level.speed_1"].values, series["SC-101"].values, rtol=1e-6)
    np.testing.assert_array_equal(series["sump-level.group.RUN[1]"].values, series["YC-101"].values)
    # TIME in seconds: the clock of an underflow program never stands over the length of the run
    assert series["underflow.clock"].unit == "s" and 60.0 < series["underflow.clock"].values.max() <= 3 * 3600.0
    (line,) = [line for line in out.splitlines() if line.startswith("underflow.clock ")]
    assert f"{series['underflow.clock'].values[-1]:g}" in line.split()

    from plantsim.report.panels import choose_panels, kinds_of

    panels = [panel for panel in choose_panels(data) if panel.key == "watched"]
    assert {line.channel for panel in panels for line in panel.lines} == {
        "sump-level.wanted", "sump-level.loop.I", "underflow.clock", "sump-level.group.RUN[1]", "sump-level.speed_1"}
    assert all(len({data.series[x.channel].unit for x in panel.lines if x.right == side}) <= 1
               for panel in panels for side in (False, True))  # fmt: skip
    assert "sump-level" not in kinds_of(series) and kinds_of(series)["sump"] == "vessel"

    code, out, _ = go(capsys, "show", "last", "--json")
    assert json.loads(out)["watched"]["sump-level.wanted"]["most"] >= 1.0
    code, out, _ = go(capsys, "export", "last", "--csv")
    rows = list(csv.reader(io.StringIO(out)))
    assert "underflow.clock [s]" in rows[0]


def test_watching_changes_nothing_else(capsys) -> None:
    for more in ([], ["--watch", "sump-level.loop.I"]):
        assert go(capsys, "run", PIT, "--until", "1h", "--no-page", "--json", *more)[0] == 0
    first, second = (read_run(info.path) for info in list_runs())
    assert set(second.series) - set(first.series) == {"sump-level.loop.I"}
    assert {n: f.value for n, f in first.figures.items()} == {n: f.value for n, f in second.figures.items()}
    assert first.closure == second.closure


def test_wrong_names_to_watch_are_told_together(capsys, tmp_path) -> None:
    names = ("sump-level.levle", "sump-levl.level", "sump-level.group", "sump-level", "weather.rain")
    code, out, err = go(capsys, "run", PIT, *(part for name in names for part in ("--watch", name)))
    assert (code, out) == (2, "")
    lines = err.splitlines()
    assert len(lines) == 5 and all(line.startswith("--watch: found '") for line in lines)
    assert lines[0].endswith("(did you mean 'sump-level.level'?)")
    assert lines[1].endswith("(did you mean 'sump-level.level'?)")
    assert "'sump-level.group', which has parts; allowed: one of them: sump-level.group.WANTED, " in lines[2]
    assert "allowed: a variable of program sump-level" in lines[3]
    assert "a program of sump-level, coagulant-dosing" in lines[4]
    assert not (tmp_path / "runs").exists() or not list_runs()


# --- forcing ---


def with_acts(tmp_path: Path, *acts: str) -> Path:
    path = tmp_path / "pit.yaml"
    text = Path(PIT).read_text(encoding="utf-8") + "\nacts:\n" + "".join(f"  - {act}\n" for act in acts)
    path.write_text(text, encoding="utf-8")
    return path


def test_a_parameter_is_forced_for_a_time(tmp_path) -> None:
    path = with_acts(
        tmp_path, "{at: 20 min, set: sump-level.setpoint, to: 2 m, for: 30 min}",
        "{at: 25 min, set: coagulant-dosing.trim, to: off}", "{at: 30 min, set: cell-change.change_gap, to: 90 s}",
        "{at: 30 min, set: sump-level.most, to: 1}", "{at: 40 min, set: sump-level.loop.I, to: 90.5}",
    )  # fmt: skip
    watch = ["sump-level.setpoint", "coagulant-dosing.trim", "cell-change.change_gap", "sump-level.most"]
    sim = Simulation(load_model(path, (), watch))
    sim.run(3600.0)
    minutes = sim.recorder.time / 60.0
    setpoint = sim.recorder.series("sump-level.setpoint")
    held = (minutes > 20.01) & (minutes < 49.99)
    assert set(setpoint[held]) == {2.0}
    assert set(setpoint[(minutes < 19.99) | (minutes > 50.2)]) == {np.float64(np.float32(1.6))}
    assert sim.recorder.series("coagulant-dosing.trim")[-1] == 0.0
    assert sim.recorder.series("cell-change.change_gap")[-1] == 90_000.0  # ms, as the program keeps it
    assert sim.recorder.series("sump-level.most")[-1] == 1.0
    words = [note.words for note in sim.journal if note.kind == "act"]
    assert words[0] == "sump-level.setpoint set to 2 m" and words[-1].endswith("back as before")


def test_a_forced_parameter_moves_the_plant(tmp_path) -> None:
    """The level loop brings the sump to the set-point forced upon it."""
    levels = []
    for name, to in (("low", 1.5), ("high", 2.1)):
        (tmp_path / name).mkdir()
        path = with_acts(tmp_path / name, f"{{at: 90 min, set: sump-level.setpoint, to: {to} m}}")
        sim = Simulation(load_model(path))
        sim.run(4.0 * 3600.0)
        level, minutes = sim.recorder.series("sump.level"), sim.recorder.time / 60.0
        levels.append(float(level[minutes > 180.0].mean()))
    assert levels[1] - levels[0] == pytest.approx(0.6, abs=0.25)


@pytest.mark.parametrize(("event", "message"), [
    ("{at: 1 h, set: sump-level.setpiont, to: 2 m}", "(did you mean 'sump-level.setpoint'?)"),
    ("{at: 1 h, set: sump-levl.setpoint, to: 2 m}", "(did you mean 'sump-level.setpoint'?)"),
    ("{at: 1 h, set: sump-level.level, to: 2 m}",
     "'sump-level.level', which is read from LT-101 at every scan; allowed: the tag LT-101 itself"),
    ("{at: 1 h, set: sump-level.run_1, to: on}", "an output, which the program writes at every scan"),
    ("{at: 1 h, set: sump-level.loop.I, to: 80 %, for: 1 h}", "which the program writes itself"),
    ("{at: 1 h, set: sump-level.most, to: 1.5}", "acts.0.to: found '1.5'; allowed: a whole number"),
    ("{at: 1 h, set: sump-level.permit, to: 2}", "acts.0.to: found '2'; allowed: on, off, yes, no"),
    ("{at: 1 h, set: sump-level.most, to: 40000}", "-32768 to 32767, as INT holds"),
    ("{at: 1 h, set: sump-level.loop, to: 1}", "which has parts"),
])  # fmt: skip
def test_what_cannot_be_forced_is_told(tmp_path, event, message) -> None:
    with pytest.raises(ConfigError) as caught:
        load_model(with_acts(tmp_path, event))
    (finding,) = caught.value.findings
    assert finding.startswith(f"{tmp_path / 'pit.yaml'}:") and message in finding


# --- another program by one word ---


def test_swapping_the_underflow_program_changes_the_figures_and_compare_shows_how(capsys) -> None:
    for program in ("underflow-density", "underflow-mass"):
        swap = f"control.underflow.program={program}"
        assert go(capsys, "run", PIT, "--until", "36h", "--no-page", "--set", swap)[0] == 0
    runs = list_runs()
    first, second = (read_run(info.path) for info in runs)
    figures = [{n: f.value for n, f in data.figures.items()} for data in (first, second)]
    # drawing by the mass of the bed holds another bed than opening for thick and closing for thin mud
    for name in ("underflow_solids_mean", "bed_level_mean", "torque_max"):
        before, after = (found[f"clarifier.{name}"] for found in figures)
        assert abs(after - before) > 0.01 * before, name
    # what the washing brings does not depend on it
    assert figures[1]["wash-plant.washed"] == pytest.approx(figures[0]["wash-plant.washed"], rel=0.03)
    code, out, err = go(capsys, "compare", runs[0].name, runs[1].name)
    assert (code, err) == (0, "")
    (line,) = [line for line in out.splitlines() if line.startswith("control.underflow.program")]
    assert line.split() == ["control.underflow.program", "underflow-density", "underflow-mass"]
    (line,) = [line for line in out.splitlines() if line.startswith("clarifier.bed_level_mean")]
    shown = [float(part) for part in line.split()[2:5]]
    assert shown[2] == pytest.approx(shown[1] - shown[0], abs=2e-3) and shown[2] != 0.0


@pytest.mark.parametrize("program", ["underflow-density", "underflow-level", "underflow-mass", "underflow-torque"])
def test_every_underflow_program_fits_the_gravel_pit(program) -> None:
    model = load_model(PIT, [f"control.underflow.program={program}"])
    name = program.replace("-", "_")
    assert model.programs["underflow"].program.name == name
    number = model.units["underflow"][1]
    assert int(model.arena.program_p["n_in"][number]) == (5 if program == "underflow-mass" else 4)


@pytest.mark.parametrize(("change", "message"), [
    ("variants.underflow-mass.set.pressure_setpiont=5 kPa", "(did you mean 'pressure_setpoint'?)"),
    ("variants.underflow-mass.connect.presure=PT-201", "(did you mean 'pressure'?)"),
    ("variants.underflow-mass.set.pressure_setpoint=5 m", "found '5 m' (a length)"),
    ("variants.underflow-mas.set.by_pressure=yes", "(did you mean 'underflow-mass'?)"),
    ("variants.underflow-density.set.open_density=1370 bar", "found '1370 bar' (a pressure)"),
])  # fmt: skip
def test_a_slip_in_a_variant_is_found_whether_chosen_or_not(change, message) -> None:
    with pytest.raises(ConfigError) as caught:
        load_model(PIT, [f"control.underflow.{change}"])
    assert any(message in finding for finding in caught.value.findings)


def test_a_variant_counts_before_what_is_common() -> None:
    overrides = ["control.underflow.variants.underflow-density.set.speed_max=88 %",
                 "control.underflow.variants.underflow-density.connect.torque=WT-203"]  # fmt: skip
    model = load_model(PIT, overrides)
    instance = model.programs["underflow"]
    memory = model.arena.control[instance.base : instance.base + instance.program.size]
    assert instance.program.variable("speed_max").read(memory) == 88.0
    assert instance.program.variable("bed_high").read(memory) == 3.0
    assert int(model.arena.program_p["n_in"][model.units["underflow"][1]]) == 4
