"""The commands: what they print, on which stream, and with which exit code."""

from __future__ import annotations

import csv
import io
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from quick import without_kernel

import plantsim.report
from plantsim.cli import run
from plantsim.cli.compare import flat
from plantsim.cli.main import main
from plantsim.errors import RunFault
from plantsim.sim.simulation import Simulation
from plantsim.store.folder import list_runs, read_run

HERE = Path(__file__).resolve().parent
SMALL = str(HERE / "small.yaml")
COMMANDS = ("run", "check", "runs", "show", "compare", "export")


@pytest.fixture(autouse=True)
def _own_runs(tmp_path, monkeypatch):
    monkeypatch.setenv("PLANTSIM_RUNS", str(tmp_path / "runs"))
    without_kernel(monkeypatch.setattr)


@pytest.fixture
def runs_dir(tmp_path) -> Path:
    return tmp_path / "runs"


def go(capsys, *argv: str) -> tuple[int, str, str]:
    """Exit code, output and error stream of one command."""
    code = main(argv)
    captured = capsys.readouterr()
    return code, captured.out, captured.err


def start(*argv: str, **env: str) -> subprocess.Popen[str]:
    """The command in a process of its own, without the kernel; it hears Ctrl-C even where a shell in the background
    has its children ignore it."""
    return subprocess.Popen(
        [sys.executable, str(HERE / "quick.py"), *argv], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        env={**os.environ, **env}, preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
    )  # fmt: skip


def wait_for(condition, seconds: float = 20.0) -> None:
    end = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.02)


# --- help ---


def test_help_answers_without_loading_numbers():
    code = "import sys; sys.argv = ['plantsim', '--help']\n"
    code += "from plantsim.cli.main import main\nassert main() == 0\n"
    code += "print(sorted({'numpy', 'numba', 'scipy', 'yaml', 'simpy', 'matplotlib'} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"
    assert all(f"\n    {command}" in done.stdout for command in COMMANDS)
    assert "simulated" in done.stdout


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_help(capsys, command):
    code, out, err = go(capsys, command, "--help")
    assert code == 0
    assert err == ""
    assert f"plantsim {command}" in out


def test_no_command_shows_help_and_is_an_error(capsys):
    code, out, err = go(capsys)
    assert code == 2
    assert out == ""
    assert "COMMAND" in err


def test_version(capsys):
    code, out, _ = go(capsys, "--version")
    assert code == 0
    assert out.startswith("plantsim 0.")


# --- run ---


def test_run_keeps_a_finished_run_and_tells_of_it(capsys, runs_dir):
    code, out, err = go(capsys, "run", SMALL, "--until", "2h", "--seed", "4", "--no-page")
    assert code == 0
    assert err == ""
    (info,) = list_runs(runs_dir)
    assert info.finished
    assert info.name.startswith("small-")
    assert (info.title, info.seconds, info.seed) == ("Test pit (invented)", 7200.0, 4)
    assert "Test pit (invented): 2 h, seed 4" in out
    assert "plant.make_up" in out
    assert info.name in out
    assert "Simulated values" in out
    data = read_run(info.path)
    assert len(data.time) == 721
    assert data.source_file == SMALL
    assert "Test pit" in data.resolved
    assert data.profiles["clarifier"].values.shape == (721, 20)
    np.testing.assert_allclose(data.profiles["clarifier"].heights, 4.0 - (np.arange(20) + 0.5) * 0.2)


def test_run_as_json_is_one_object(capsys, runs_dir):
    code, out, err = go(capsys, "run", SMALL, "--until", "30min", "--json", "--no-page")
    assert (code, err) == (0, "")
    given = json.loads(out)
    assert given["run"] == list_runs(runs_dir)[0].name
    assert given["kpis"]["plant.feed_solids"] == {"value": 0.0, "unit": "t"}
    assert set(given["closure"]) == {"water", "coarse", "fines", "colloid", "coagulant", "polymer"}
    assert all(row["gap"] == 0.0 for row in given["closure"].values())
    assert isinstance(given["warnings"], list)


def test_run_writes_the_page_before_the_run_counts_as_finished(capsys, runs_dir, monkeypatch):
    seen = []

    def write_page(data, folder):
        seen.append((data.run, read_run(folder).unfinished))
        (folder / "page.html").write_text("x")

    monkeypatch.setattr(plantsim.report, "write_page", write_page, raising=False)
    assert go(capsys, "run", SMALL, "--until", "10min")[0] == 0
    (info,) = list_runs(runs_dir)
    assert seen == [(info.name, True)]
    assert (info.path / "page.html").exists()


def test_set_replaces_values(capsys, runs_dir):
    code, _, _ = go(capsys, "run", SMALL, "--until", "10min", "--no-page", "--set", "site.record_every=60 s",
                    "--set", "site.name=Other pit")  # fmt: skip
    assert code == 0
    data = read_run(list_runs(runs_dir)[0].path)
    assert data.title == "Other pit"
    assert len(data.time) == 11


def test_out_says_where(capsys, tmp_path, runs_dir):
    code, _, _ = go(capsys, "run", SMALL, "--until", "10min", "--no-page", "--out", str(tmp_path / "other"))
    assert code == 0
    assert len(list_runs(tmp_path / "other")) == 1
    assert not runs_dir.exists()


@pytest.mark.parametrize(
    ("argv", "words"),
    [
        (("--until", "24"), "--until: found '24' (no unit); allowed: a time with its unit"),
        (("--until", "0 s"), "--until: found '0 s'; allowed: a length of time above 0 s"),
        (("--until", "tomorrow"), "--until: found 'tomorrow'"),
        (("--set", "site.stepp=1 s"), "stepp"),
    ],
)
def test_errors_of_the_user_are_sentences(capsys, runs_dir, argv, words):
    code, out, err = go(capsys, "run", SMALL, "--no-page", *argv)
    assert (code, out) == (2, "")
    assert words in err
    assert len(err.splitlines()) == 1
    assert "Traceback" not in err
    assert not runs_dir.exists()


def test_a_missing_file_is_a_sentence(capsys):
    code, _, err = go(capsys, "run", str(HERE / "smal.yaml"))
    assert code == 2
    assert "found no such file" in err
    assert "did you mean" in err


def test_words_that_are_no_command_are_refused(capsys):
    code, _, err = go(capsys, "simulate", SMALL)
    assert code == 2
    assert "invalid choice: 'simulate'" in err


def test_a_run_that_cannot_go_on_is_a_fault_and_stays_unfinished(capsys, runs_dir, monkeypatch):
    def stop(sim, tick):
        raise RunFault("the plant's numbers are no longer finite at 5 s")

    monkeypatch.setattr(Simulation, "_advance", stop)
    code, out, err = go(capsys, "run", SMALL, "--no-page")
    assert (code, out) == (1, "")
    assert err == "the plant's numbers are no longer finite at 5 s\n"
    (info,) = list_runs(runs_dir)
    assert not info.finished
    assert "no longer finite" in info.reason


def test_a_fault_of_the_program_is_one_line_and_a_traceback_only_with_debug(capsys, runs_dir, monkeypatch):
    def stop(sim, tick):
        raise ZeroDivisionError("a slip of ours")

    monkeypatch.setattr(Simulation, "_advance", stop)
    code, _, err = go(capsys, "run", SMALL, "--no-page")
    assert code == 1
    assert err == "plantsim: a fault of the program: ZeroDivisionError: a slip of ours (--debug shows where)\n"
    for argv in (("--debug", "run", SMALL, "--no-page"), ("run", SMALL, "--no-page", "--debug")):
        code, _, err = go(capsys, *argv)
        assert code == 1
        assert "Traceback" in err
        assert "a slip of ours" in err
    assert not any(info.finished for info in list_runs(runs_dir))


def test_it_says_what_it_waits_for_when_the_kernel_is_not_compiled(capsys, monkeypatch):
    monkeypatch.setattr(run, "kernel_is_compiled", lambda: False)
    code, _, err = go(capsys, "run", SMALL, "--until", "10min", "--no-page")
    assert code == 0
    assert err == "compiling the kernel for this machine, once: less than a minute\n"


def test_whether_the_kernel_is_compiled_is_read_off_its_cache(tmp_path, monkeypatch):
    monkeypatch.undo()  # the true one
    from numba.core import config

    monkeypatch.setattr(config, "DISABLE_JIT", 0)
    monkeypatch.setattr(config, "CACHE_DIR", str(tmp_path))
    assert not run.kernel_is_compiled()
    (tmp_path / "kernels").mkdir()
    (tmp_path / "kernels" / "loop.advance-141.py311.nbi").write_bytes(b"")
    assert run.kernel_is_compiled()


# --- progress ---


def test_progress_line_overwrites_and_wipes_itself():
    written: list[str] = []
    bar = run.Progress(0.5, 3600.0, written.append)
    bar.EVERY = 0.0
    bar(1800)
    bar(7200)
    bar.clear()
    assert written[0] == "\r 25 %  15 min of 1 h"
    assert written[1].rstrip() == "\r100 %  1 h of 1 h"
    assert len(written[1]) == len(written[0])
    assert written[2] == "\r" + " " * (len(written[0]) - 1) + "\r"


def test_progress_shows_on_a_terminal_and_not_in_a_pipe(capsys, monkeypatch):
    _, _, err = go(capsys, "run", SMALL, "--until", "2h", "--no-page")
    assert err == ""
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    _, out, err = go(capsys, "run", SMALL, "--until", "2h", "--no-page")
    assert " % " in err
    assert err.endswith("\r")
    assert "\r" not in out


# --- runs that are ended from outside ---


def test_a_killed_run_is_left_unfinished_and_listed_so(capsys, runs_dir):
    process = start("run", SMALL, "--until", "30d", "--no-page", QUICK_SLEEP="0.2")
    wait_for(lambda: list_runs(runs_dir) and list_runs(runs_dir)[0].title)
    time.sleep(0.3)
    process.send_signal(signal.SIGKILL)
    process.communicate(timeout=20)
    assert process.returncode == -signal.SIGKILL
    code, out, _ = go(capsys, "runs")
    assert code == 0
    assert "unfinished: killed before its end" in out
    name = list_runs(runs_dir)[0].name
    for argv in (("show", name), ("export", name, "--csv"), ("compare", name, name)):
        code, out, err = go(capsys, *argv)
        assert (code, out) == (2, "")
        assert err == f"{name} is unfinished (killed before its end): it has no figures\n"


def test_ctrl_c_leaves_an_unfinished_folder_and_one_line(runs_dir):
    process = start("run", SMALL, "--until", "30d", "--no-page", QUICK_SLEEP="0.05")
    wait_for(lambda: list_runs(runs_dir) and list_runs(runs_dir)[0].title)
    time.sleep(0.5)
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=20)
    assert process.returncode == 130
    assert out == ""
    assert len(err.splitlines()) == 1
    assert err.startswith("plantsim: stopped by Ctrl-C after ")
    (info,) = list_runs(runs_dir)
    assert not info.finished
    assert info.reason.startswith("stopped by Ctrl-C after ")
    assert info.reason.endswith(" of 30 d")


def test_a_reader_that_goes_away_is_no_error(capsys):
    assert go(capsys, "run", SMALL, "--until", "5h", "--no-page")[0] == 0
    process = start("export", "last", "--csv")
    assert process.stdout is not None and process.stderr is not None
    process.stdout.readline()
    process.stdout.close()
    err = process.stderr.read()
    process.stderr.close()
    assert process.wait(timeout=20) == 0
    assert err == ""


# --- check, runs, show ---


def test_check_says_what_it_found_sound(capsys):
    code, out, err = go(capsys, "check", SMALL)
    assert (code, err) == (0, "")
    assert f"{SMALL}: nothing wrong found (Test pit (invented))" in out
    assert "1 clarifier" in out
    assert "2 presses" not in out


def test_check_says_every_finding_on_a_line_of_its_own(capsys, tmp_path):
    text = Path(SMALL).read_text(encoding="utf-8")
    text = text.replace("production: 60 t/h", "production: 60 bar").replace("diameter: 5 m\n", "diametre: 5 m\n", 1)
    bad = tmp_path / "bad.yaml"
    bad.write_text(text, encoding="utf-8")
    code, out, err = go(capsys, "check", str(bad))
    assert (code, out) == (2, "")
    lines = err.splitlines()
    assert len(lines) >= 2
    assert all(line.startswith(f"{bad}:") for line in lines)
    assert any("60 bar" in line for line in lines)
    assert any("did you mean 'diameter'" in line for line in lines)


def test_runs_without_any(capsys, runs_dir):
    code, out, _ = go(capsys, "runs")
    assert code == 0
    assert out == f"no runs in {runs_dir}; 'plantsim run FILE' makes one\n"


def test_show_last(capsys):
    go(capsys, "run", SMALL, "--until", "1h", "--no-page")
    code, out, err = go(capsys, "show", "last")
    assert (code, err) == (0, "")
    assert "1 h from 2027-04-05 06:00:00, step 1 s, seed 1" in out
    assert "P-101.starts_per_hour_max" in out
    assert "balance" in out
    assert json.loads(go(capsys, "show", "last", "--json")[1])["seconds"] == 3600.0


def test_show_of_no_run_is_a_sentence(capsys, runs_dir):
    code, _, err = go(capsys, "show", "never")
    assert code == 2
    assert err == f"there is no run 'never' in {runs_dir}; 'plantsim runs' lists them\n"


# --- compare and export ---


def test_compare_shows_differences_of_figures_and_configuration(capsys, runs_dir):
    go(capsys, "run", SMALL, "--until", "1h", "--no-page")
    go(capsys, "run", SMALL, "--until", "2h", "--no-page", "--set", "units.wash.production=80 t/h")
    first, second = (info.name for info in list_runs(runs_dir))
    code, out, err = go(capsys, "compare", first, second)
    assert (code, err) == (0, "")
    assert f"A  {first}: 1 h, seed 1" in out
    (line,) = [line for line in out.splitlines() if line.startswith("units.wash.production")]
    assert "60" in line
    assert "80" in line
    code, out, _ = go(capsys, "compare", first, first)
    assert code == 0
    assert "the configurations are alike" in out


def test_compare_counts_differences_and_per_cents():
    from plantsim.cli.compare import differing, figure_rows
    from plantsim.store.data import Figure

    class Run:
        def __init__(self, resolved, **figures):
            self.resolved = resolved
            self.figures = {name: Figure(value, "m3", "") for name, value in figures.items()}

    a = Run("x: {y: 1}\nz: [1, 2]\n", spill=4.0, make_up=0.0, rain=1.0)
    b = Run("x: {y: 2}\nz: [1, 2, 3]\n", spill=5.0, make_up=2.0, dug=7.0)
    assert figure_rows(a, b) == [
        ["spill", "m3", "4", "5", "1", "+25.0"],
        ["make_up", "m3", "0", "2", "2", ""],
        ["rain", "m3", "1", "", "", ""],
        ["dug", "m3", "", "7", "", ""],
    ]
    assert differing(a, b) == [["x.y", "1", "2"], ["z.2", "", "3"]]


def test_configuration_keys_name_list_items_by_their_name():
    found = flat("a: {b: 1}\nc:\n  - {name: one, d: 2}\n  - 3\n")
    assert found == {"a.b": "1", "c.one.name": "one", "c.one.d": "2", "c.1": "3"}
    assert flat("") == {}


def test_export_writes_time_series_and_profiles_with_units(capsys, tmp_path):
    go(capsys, "run", SMALL, "--until", "10min", "--no-page")
    code, out, _ = go(capsys, "export", "last", "--csv")
    assert code == 0
    rows = list(csv.reader(io.StringIO(out)))
    assert len(rows) == 1 + 61
    assert rows[0][:2] == ["time", "seconds"]
    assert "sump.level [m]" in rows[0]
    assert "clarifier solids at 3.900 m [kg/m3]" in rows[0]
    assert rows[-1][:2] == ["2027-04-05 06:10:00", "600"]
    assert {len(row) for row in rows} == {len(rows[0])}
    bottom = rows[0].index("clarifier solids at 0.100 m [kg/m3]")
    assert float(rows[5][bottom]) == 450.0

    target = tmp_path / "table.csv"
    code, nothing, err = go(capsys, "export", "last", "--csv", str(target))
    assert (code, nothing) == (0, "")
    assert err == f"61 rows written to {target}\n"
    assert target.read_text(encoding="utf-8") == out


def test_export_to_a_place_that_cannot_be_written_is_a_sentence(capsys, tmp_path):
    go(capsys, "run", SMALL, "--until", "10min", "--no-page")
    code, _, err = go(capsys, "export", "last", "--csv", str(tmp_path / "no" / "table.csv"))
    assert code == 2
    assert err.startswith(f"cannot write {tmp_path / 'no' / 'table.csv'}: ")


def test_export_needs_a_format(capsys):
    code, _, err = go(capsys, "export", "last")
    assert code == 2
    assert "--csv" in err
