"""Whole studies of a small plant: alike on every engine, killed and resumed, with failures as rows."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from plantsim.analysis.studies.engine import run_study
from plantsim.analysis.studies.plan import prove_keys, read_plan
from plantsim.analysis.studies.results import ROWS, TABLE, Journal, read_table, write_table
from plantsim.analysis.studies.sampling import StudyError
from plantsim.cli.main import main
from plantsim.errors import ConfigError

ROOT = Path(__file__).resolve().parents[2]
SITE = ROOT / "configs" / "small-sand.yaml"
TEXT = """\
study: a test
plant: {plant}
until: 30 min
set: {{site.start: 2027-05-03 07:00}}
parameters:
  feed: {{set: units.wash-plant.production, from: 40 t/h, to: 55 t/h}}
  dose: {{set: control.polymer-dosing.set.dose, from: 35 g/t, to: 60 g/t}}
samples: 6
figures: [clarifier.overflow_turbidity_mean, plant.energy, plant.spill]
checks:
  clear: clarifier.turbidity under 500 NTU
"""


@pytest.fixture
def study(tmp_path):
    file = tmp_path / "study.yaml"
    file.write_text(TEXT.format(plant=os.path.relpath(SITE, tmp_path)))
    return file


def table_of(plan, folder, **how) -> bytes:
    journal = Journal(folder, plan, how.pop("resume", False))
    write_table(folder, plan, run_study(plan, journal, **how))
    journal.close()
    return (folder / TABLE).read_bytes()


def test_one_worker_and_two_give_the_same_table(study, tmp_path):
    plan = read_plan(study)
    prove_keys(plan)
    one = table_of(plan, tmp_path / "one", workers=1)
    assert table_of(plan, tmp_path / "two", workers=2) == one
    table, units = read_table(tmp_path / "one")
    assert table["case"].tolist() == list(range(6)) and set(table["status"]) == {"done"}
    assert table["seed"].tolist() == [1, 2, 3, 4, 5, 6]
    assert (units["in.feed"], units["plant.energy"], units["margin.clear"]) == ("t/h", "kWh", "NTU")
    assert ((table["in.feed"] >= 40) & (table["in.feed"] <= 55)).all()
    assert set(table["check.clear"]) == {"ok"} and (table["plant.energy"] > 0).all()
    # more feed, more energy: the inputs do reach the plant
    assert table["plant.energy"][table["in.feed"].argmax()] > table["plant.energy"][table["in.feed"].argmin()]


def test_a_dask_cluster_gives_the_same_table_to_the_bit(study, tmp_path):
    """Two worker processes of a cluster on this machine, by the command; the scheduler is dask's own."""
    one = table_of(read_plan(study), tmp_path / "one", workers=1)
    done = subprocess.run(
        [sys.executable, "-m", "plantsim", "study", str(study), "--engine", "dask", "--workers", "2", "--out",
         str(tmp_path / "dask")], capture_output=True, text=True, timeout=180, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "6 runs of 30 min, 0 failed" in done.stdout
    assert (tmp_path / "dask" / TABLE).read_bytes() == one


def test_killed_twice_and_resumed_it_ends_as_if_unbroken(study, tmp_path):
    study.write_text(study.read_text().replace("samples: 6", "samples: 12"))
    whole = table_of(read_plan(study), tmp_path / "whole", workers=2)
    folder = tmp_path / "broken"
    command = [sys.executable, "-m", "plantsim", "study", str(study), "--workers", "1", "--out", str(folder)]
    counts = [0]
    for _ in range(2):
        quiet = subprocess.DEVNULL
        at_work = subprocess.Popen(command, stdout=quiet, stderr=quiet, start_new_session=True)
        give_up = time.monotonic() + 120
        while lines(folder) < counts[-1] + 2 and time.monotonic() < give_up and at_work.poll() is None:
            time.sleep(0.01)
        os.killpg(at_work.pid, signal.SIGKILL)
        at_work.wait()
        counts.append(lines(folder))
        command = [*command[:9], "--resume"]
    assert 2 <= counts[1] < counts[2] < 12  # killed in the middle both times
    with (folder / ROWS).open("a") as file:
        file.write('{"case": 11, "torn')  # what a kill in the middle of a line leaves
    done = subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 0, done.stderr
    rows = [json.loads(line)["case"] for line in (folder / ROWS).read_text().splitlines()]
    assert sorted(rows) == list(range(12))  # none lost, none twice
    assert (folder / TABLE).read_bytes() == whole


def lines(folder: Path) -> int:
    path = folder / ROWS
    return path.read_bytes().count(b"\n") if path.exists() else 0


def test_a_run_that_fails_is_a_row_with_its_reason(study, tmp_path):
    study.write_text(study.read_text().replace(
        "from: 35 g/t, to: 60 g/t", "values: [40 g/t, 40 m, 50 g/t, 60 g/t]").replace("samples: 6", "samples: 8"))
    plan = read_plan(study)
    table_of(plan, tmp_path / "out", workers=1)
    table, _ = read_table(tmp_path / "out")
    bad = table["in.dose"] == "40 m"
    assert 0 < bad.sum() < 8 and set(table["status"][bad]) == {"failed"} and set(table["status"][~bad]) == {"done"}
    assert all("found '40 m'" in reason for reason in table["reason"][bad])


def test_every_sample_is_run_with_the_same_seeds(study):
    study.write_text(study.read_text() + "seeds: 3\n")
    cases = read_plan(study).cases()
    assert [c.seed for c in cases] == [1, 2, 3] * 6 and len({c.values for c in cases}) == 6
    assert [c.number for c in cases] == list(range(18))


def test_the_command_reads_and_replays(study, tmp_path, capsys, monkeypatch):
    monkeypatch.setenv("PLANTSIM_RUNS", str(tmp_path / "runs"))
    assert main(["study", str(study), "--workers", "1", "--set", "samples=2"]) == 0
    told = capsys.readouterr().out
    assert "2 runs of 30 min, 0 failed" in told and "clear  100.0 %" in told and "plant.energy" in told
    page = (tmp_path / "runs" / "study-study" / "study.html").read_text()
    assert "Acceptance checks" in page and "<script" not in page and "http" not in page.replace("http-equiv", "")
    assert main(["study", str(study), "--set", "samples=2", "--replay", "most:plant.energy", "--json"]) == 0
    again = json.loads(capsys.readouterr().out)
    table, _ = read_table(tmp_path / "runs" / "study-study")
    assert again["kpis"]["plant.energy"]["value"] == table["plant.energy"].max()


def test_a_folder_with_a_study_is_never_written_over(study, tmp_path):
    plan = read_plan(study, ["samples=1"])
    folder = tmp_path / "out"
    table_of(plan, folder, workers=1)
    with pytest.raises(StudyError, match="--resume"):
        Journal(folder, plan, False)
    with pytest.raises(StudyError, match="another study"):
        Journal(folder, read_plan(study, ["samples=2"]), True)
    other = tmp_path / "full"
    other.mkdir()
    (other / "letter.txt").write_text("mine")
    with pytest.raises(StudyError, match="not empty"):
        Journal(other, plan, False)
    with pytest.raises(StudyError, match="no study has been finished"):
        read_table(tmp_path / "none")


@pytest.mark.parametrize(("change", "words"), [
    (("plant: ", "plant: no"), "there is no such file"),
    (("from: 40 t/h, to: 55 t/h", "from: 40 t/h, to: 55"), "study.yaml:6: parameters.feed.*one unit for both ends"),
    (("from: 40 t/h, to: 55 t/h", "from: 40 t/h"), "parameters.feed.*allowed: from and to"),
    (("from: 40 t/h, to: 55 t/h", "values: [40 t/h], mean: 3 t/h"), "a list of values alone"),
    (("set: control.polymer-dosing.set.dose", "set: units.wash-plant.production"), "which feed sets too"),
    (("samples: 6", "samples: 6\nsampling: sensitivity"), "study.yaml.*power of two"),
    (("under 500 NTU", "under NTU"), "study.yaml.*checks.clear"),
    (("study: a test", "studdy: a test"), "did you mean 'study'"),
])  # fmt: skip
def test_what_is_wrong_with_a_study_is_told_with_line_and_key(study, change, words):
    study.write_text(study.read_text().replace(*change))
    with pytest.raises(ConfigError, match=words):
        read_plan(study)


@pytest.mark.parametrize(("change", "words"), [
    (("units.wash-plant.production", "units.wash-plant.produktion"), "did you mean 'production'"),
    (("to: 55 t/h", "to: 55000 t/h"), "units.wash-plant.production: found '27520 t/h'; allowed: 0 t/h to 5000 t/h"),
    (("clarifier.turbidity under", "clarifier.turbidty under"), "checks.clear.*did you mean 'clarifier.turbidity'"),
    (("plant.spill]", "sumpp.spill]"), "figures.*did you mean 'sump'"),
])  # fmt: skip
def test_what_does_not_fit_the_plant_is_told_before_any_run(study, change, words):
    study.write_text(study.read_text().replace(*change))
    with pytest.raises(ConfigError, match=words):
        prove_keys(read_plan(study))


def test_no_cluster_is_one_sentence(study, tmp_path, capsys):
    assert main(["study", str(study), "--cluster", "tcp://127.0.0.1:1", "--out", str(tmp_path / "x")]) == 2
    assert "allowed: both together" in capsys.readouterr().err
    assert main(["study", str(study), "--workers", "0"]) == 2
    assert "allowed: 1 or more" in capsys.readouterr().err
