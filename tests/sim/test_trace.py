"""One scan line by line: the lines executed, the values seen, and that looking changes nothing."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from plantsim.errors import ConfigError, RunFault
from plantsim.plant.build import load_model
from plantsim.plant.programs import shipped_programs
from plantsim.sim import tracer as tracer_module
from plantsim.sim.simulation import Simulation
from plantsim.sim.trace import differences, program_named, trace_at
from plantsim.sim.tracer import Tracer
from plantsim.st import compile_program
from plantsim.st.reference import Reference

CONFIGS = Path(__file__).resolve().parents[2] / "configs"
PIT = CONFIGS / "gravel-pit.yaml"

LESSON = """FUNCTION twice : INT
VAR_INPUT x : INT; END_VAR
    twice := x * 2;
END_FUNCTION
FUNCTION_BLOCK counter
VAR_INPUT more : INT; END_VAR
VAR_OUTPUT total : INT; END_VAR
    IF more > 0 THEN
        total := total + more;
    END_IF;
END_FUNCTION_BLOCK
PROGRAM lesson
VAR_INPUT
    level : REAL := 1.5; {unit 'm'}
    wait : TIME := T#90s;
    on : BOOL := TRUE;
END_VAR
VAR_OUTPUT
    speed : REAL; {unit '%'}
    n : INT;
END_VAR
VAR
    sums : ARRAY[1..3] OF INT;
    other : ARRAY[1..3] OF INT;
    many : counter;
    late : TON;
    i, k : INT;
END_VAR
    late(IN := on AND level > 1.0, // a remark
         PT := wait);
    IF level > 2.0 THEN
        speed := 100.0;
    ELSIF level > 1.0 AND on THEN
        speed := 10.0 * level;
    ELSE
        speed := 0.0;
    END_IF;
    FOR i := 1 TO 3 DO
        sums[i] := twice(i) + 1;
    END_FOR;
    many(more := sums[2], total => n);
    CASE n OF
        4: k := 1;
        5: k := 2; k := k + 1;
    END_CASE;
    other := sums;
    WHILE k < 5 DO
        k := k + 1;
    END_WHILE;
END_PROGRAM
"""


def traced(text: str, inside: bool = False) -> tuple[Tracer, np.ndarray]:
    """The first scan of a program, and its memory."""
    program = compile_program(text, "lesson.st")
    tracer, memory = Tracer(program, inside), program.memory()
    assert tracer.scan(memory) == 0
    return tracer, memory


# --- lines and values ---


def test_lines_executed_with_what_they_read_and_wrote() -> None:
    tracer, _ = traced(LESSON)
    seen = [(line.line, line.read, line.wrote, line.outcome) for line in tracer.lines]
    read = {"i": "1"}
    assert seen[0] == (29, {"on": "on", "level": "1.5 m", "wait": "1min30s"},
                       {"late.IN": "on", "late.Q": "off", "late.ET": "0s"}, "")  # fmt: skip
    assert seen[1] == (31, {"level": "1.5 m"}, {}, "false")
    assert seen[2] == (33, {"level": "1.5 m", "on": "on"}, {}, "true")
    assert seen[3] == (34, {"level": "1.5 m"}, {"speed": "15 %"}, "")
    assert seen[4] == (38, {}, {"i": "1"}, "")
    assert seen[5] == (39, read, {"sums[1]": "3"}, "")
    assert [row[0] for row in seen[4:11]] == [38, 39, 38, 39, 38, 39, 38]
    assert [row[2] for row in seen[6:11:2]] == [{"i": "2"}, {"i": "3"}, {"i": "4"}]
    assert seen[11] == (41, {"sums[2]": "5", "many.total": "5"}, {"n": "5", "many.total": "5"}, "")
    assert seen[12][:2] == (42, {"n": "5"})
    assert seen[13] == (44, {"k": "2"}, {"k": "3"}, "")  # two statements on one line
    assert seen[14] == (46, {}, {"other": "[3, 5, 7]"}, "")
    assert [row[0] for row in seen[15:]] == [47, 48, 47, 48, 47]
    assert seen[-1][1] == {"k": "5"}


def test_text_of_a_line_has_no_remarks_and_no_line_breaks() -> None:
    tracer, _ = traced(LESSON)
    assert tracer.lines[0].text == "late(IN := on AND level > 1.0, PT := wait);"
    assert tracer.lines[2].text == "ELSIF level > 1.0 AND on THEN"


def test_right_sides_that_do_not_matter_are_not_read() -> None:
    tracer, _ = traced(LESSON.replace("on : BOOL := TRUE", "on : BOOL := FALSE"))
    assert tracer.lines[0].read == {"on": "off", "wait": "1min30s"}


def test_inside_blocks_and_functions() -> None:
    tracer, _ = traced(LESSON, inside=True)
    inner = [(line.line, line.depth, line.read, line.wrote, line.outcome) for line in tracer.lines if line.depth]
    assert inner[0] == (3, 1, {"x": "1"}, {"twice": "2"}, "")
    assert inner[3] == (8, 1, {"more": "5"}, {}, "true")  # named as the block names them
    assert inner[4] == (9, 1, {"total": "0", "more": "5"}, {"total": "5"}, "")
    own = [line for line in tracer.lines if not line.depth]
    assert [line.line for line in own] == [line.line for line in traced(LESSON)[0].lines]


@pytest.mark.parametrize("inside", [False, True])
@pytest.mark.parametrize("name", ["lesson", *shipped_programs()])
def test_looking_changes_nothing(name: str, inside: bool) -> None:
    """Traced, plain and compiled scans leave the same memory, on inputs drawn at random."""
    text = LESSON if name == "lesson" else shipped_programs()[name].read_text(encoding="utf-8")
    program = compile_program(text)
    plain, tracer = Reference(program), Tracer(program, inside)
    one, other = program.memory(), program.memory()
    random = np.random.default_rng(11)
    drawn = [v for v in program.inputs if v.type in ("BOOL", "REAL")]
    for _ in range(12):
        for variable in drawn:
            value = random.integers(2) if variable.type == "BOOL" else variable.initial * random.uniform(0.5, 2.0)
            for memory in (one, other):
                variable.write(memory, value)
        assert plain.scan(one, 0, 5000) == tracer.scan(other, 0, 5000)
        assert differences(program, one, other) == []
        assert (one.view(np.int64) == other.view(np.int64)).all()
    assert tracer.lines


def test_endless_loops_are_cut_short(monkeypatch) -> None:
    monkeypatch.setattr(tracer_module, "MOST_LINES", 20)
    text = "PROGRAM p VAR k : DINT; END_VAR\nWHILE k < 100 DO\nk := k + 1;\nEND_WHILE;\nEND_PROGRAM"
    tracer, _ = traced(text)
    assert len(tracer.lines) == 20
    assert tracer.left_out == 1 + 2 * 100 - 20


def test_differences_name_the_variable() -> None:
    program = compile_program(LESSON)
    one, other = program.memory(), program.memory()
    program.variable("many.total").write(other, 3)
    assert differences(program, one, other) == ["many.total"]


# --- in a plant ---


def base_and_size(sim: Simulation, name: str) -> tuple[int, int]:
    number = sim.model.units[name][1]
    return int(sim.model.arena.program_p["base"][number]), sim.model.programs[name].program.size


@pytest.mark.parametrize(("name", "at"), [
    ("sump-level", 0.0), ("sump-level", 11_520.0), ("coagulant-dosing", 11_521.0), ("underflow", 7203.0),
    ("cell-change", 40.0), ("wash-interlocks", 5400.0)])  # fmt: skip
def test_the_trace_is_what_the_plant_then_does(name: str, at: float) -> None:
    """The kernel's own scan at that tick leaves the same bits, and the plant goes on as if nobody had looked."""
    sim = Simulation(load_model(PIT), seed=3)
    trace = trace_at(sim, at, name)
    every = trace.every
    assert trace.seconds >= at > trace.seconds - every
    assert trace.seconds % every == 0.0 and trace.scan == round(trace.seconds / every) + 1
    assert trace.fault == "" and trace.differing == [] and trace.lines
    assert sim.tick == trace.tick
    sim.run((trace.tick + 1) * sim.model.step)
    base, size = base_and_size(sim, name)
    program = sim.model.programs[name].program
    assert differences(program, trace.memory, sim.model.arena.mem[base : base + size]) == []
    for point in trace.outputs:
        if point.tag:
            tag = sim.model.tags[point.tag]
            assert float(point.tag_value.split()[0]) == pytest.approx(sim.model.arena.tags[tag.index], rel=1e-6)
    sim.run(trace.seconds + 900.0)
    alone = Simulation(load_model(PIT), seed=3)
    alone.run(trace.seconds + 900.0)
    assert sim.model.arena.mem.tobytes() == alone.model.arena.mem.tobytes()
    assert [n for n in sim.journal if n.tick > trace.tick] == [n for n in alone.journal if n.tick > trace.tick]


def test_inputs_show_tag_and_unit() -> None:
    sim = Simulation(load_model(PIT))
    trace = trace_at(sim, 3600.0, "sump-level")
    inputs = {point.name: point for point in trace.inputs}
    assert inputs["level"].tag == "LT-101" and inputs["level"].value.endswith(" m")
    assert inputs["level"].tag_value == inputs["level"].value
    assert (inputs["setpoint"].value, inputs["setpoint"].tag) == ("1.6 m", "")
    outputs = {point.name: point for point in trace.outputs}
    assert (outputs["run_1"].value, outputs["run_1"].tag, outputs["run_1"].tag_value) == ("on", "YC-101", "1")


def test_what_happens_at_that_very_tick_is_seen(tmp_path) -> None:
    text = PIT.read_text(encoding="utf-8") + "\nacts:\n  - {at: 1 h, set: sump-level.setpoint, to: 2 m}\n"
    path = tmp_path / "pit.yaml"
    path.write_text(text, encoding="utf-8")
    seen = []
    for at in (3598.0, 3600.0):
        trace = trace_at(Simulation(load_model(path)), at, "sump-level")
        seen += [point.value for point in trace.inputs if point.name == "setpoint"]
    assert seen == ["1.6 m", "2 m"]


def test_a_task_faster_than_the_plant_shows_its_first_scan() -> None:
    sim = Simulation(load_model(PIT, ["control.sump-level.every=0.5 s"]))
    trace = trace_at(sim, 600.0, "sump-level")
    assert (trace.every, trace.scan, trace.tick) == (0.5, 1201, 600)
    program, memory = sim.model.programs["sump-level"].program, trace.memory.copy()
    assert Reference(program).scan(memory, 0, 500) == 0  # the second scan of that tick sees the same inputs
    sim.run(601.0)
    base, size = base_and_size(sim, "sump-level")
    assert differences(program, memory, sim.model.arena.mem[base : base + size]) == []


def test_a_fault_is_shown_with_its_line(tmp_path) -> None:
    program = ("PROGRAM faulty\nVAR_OUTPUT y : INT; END_VAR\nVAR n : INT := 4; END_VAR\n"
               "    n := n - 1;\n    y := 12 / n;\nEND_PROGRAM\n")  # fmt: skip
    (tmp_path / "faulty.st").write_text(program, encoding="utf-8")
    bad = "\ncontrol:\n  bad: {file: faulty.st, every: 1 min}\n"
    text = PIT.read_text(encoding="utf-8").replace("\ncontrol:\n", bad)
    path = tmp_path / "pit.yaml"
    path.write_text(text, encoding="utf-8")
    assert trace_at(Simulation(load_model(path)), 100.0, "bad").fault == ""
    trace = trace_at(Simulation(load_model(path)), 180.0, "bad")
    assert trace.fault == "faulty.st:5: y := 12 / n;: integer division by zero"
    assert [line.line for line in trace.lines] == [4, 5]
    with pytest.raises(RunFault, match="control program bad stopped"):
        trace_at(Simulation(load_model(path)), 200.0, "bad")


def test_which_program() -> None:
    model = load_model(PIT)
    assert program_named(model, None) == "sump-level"
    with pytest.raises(ConfigError, match="did you mean 'underflow'"):
        program_named(model, "undrflow")
    model.programs = {}
    with pytest.raises(ConfigError, match="found no control program"):
        program_named(model, None)


def test_the_past_cannot_be_traced() -> None:
    sim = Simulation(load_model(PIT))
    sim.run(60.0)
    with pytest.raises(ValueError, match="past the scan"):
        trace_at(sim, 30.0, "sump-level")
