"""Run folders: what is written is what is read; nothing half-written ever reads as a whole."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import xarray
from made_run import made_run

from plantsim.errors import StoreError
from plantsim.plant.model import Alarm
from plantsim.sim.alarms import AlarmNote
from plantsim.store import files
from plantsim.store.folder import RunFolder, find_run, list_runs, read_run, runs_folder


def keep(out: Path, site: str = "pit") -> Path:
    """A finished run in a folder."""
    folder = RunFolder(site, out, {"title": "early title", "seed": 7})
    folder.finish(made_run(folder.name))
    return folder.path


def test_what_is_written_is_read(tmp_path):
    path = keep(tmp_path)
    written, data = made_run(path.name), read_run(path)
    assert data.run == path.name
    for name in ("title", "source_file", "seed", "start", "step", "seconds", "unfinished", "created", "versions",
                 "journal", "figures", "closure", "balance", "limits", "running", "warnings", "resolved"):  # fmt: skip
        assert getattr(data, name) == getattr(written, name), name
    np.testing.assert_array_equal(data.time, written.time)
    assert list(data.series) == list(written.series)
    for name, series in written.series.items():
        np.testing.assert_array_equal(data.series[name].values, series.values.astype(np.float32))
        assert data.series[name].unit == series.unit
    assert data.series["sump.level"].meaning == "level of the surface"
    np.testing.assert_array_equal(data.profiles["clarifier"].heights, [3.0, 2.0, 1.0])
    np.testing.assert_array_equal(data.profiles["clarifier"].values, written.profiles["clarifier"].values)


def test_alarms_are_read_as_they_were_written(tmp_path):
    folder = RunFolder("pit", tmp_path, {"title": "early title", "seed": 7})
    data = made_run(folder.name)
    alarm = Alarm("LAH-1", 0, "LT-1", "sump.level", "above", 3.1, 0.1, "m", 1.0, 0.0, 5.0, 5.0, "low", "it, runs\nover",
                  'say "stop"', 600.0, "XC-1 is off", 60.0, "sump", True)  # fmt: skip
    notes = [AlarmNote(7, 30, 15.0, "LAH-1", "normal", "unacknowledged", True, 3.1000000000000005),
             AlarmNote(8, 41, 20.5, "LAH-1", "unacknowledged", "acknowledged", True, -1e-300, "operator")]  # fmt: skip
    data.alarms, data.alarm_log = [alarm], notes
    folder.finish(data)
    again = read_run(folder.path)
    assert again.alarms == [alarm]
    assert again.alarm_log == notes
    rows = (folder.path / "alarms.csv").read_text(encoding="utf-8").splitlines()
    assert rows[0].startswith("seconds,time,alarm,before,after")
    assert rows[1].startswith("15,2027-04-05 06:00:15,LAH-1,normal,unacknowledged,1,3.1000000000000005,m,plant")


def test_files_of_a_folder(tmp_path):
    path = keep(tmp_path)
    assert sorted(p.name for p in path.iterdir()) == ["journal.csv", "plant.yaml", "run.json", "series.nc"]
    assert (path / "plant.yaml").read_text(encoding="utf-8") == made_run().resolved
    lines = (path / "journal.csv").read_text(encoding="utf-8").splitlines()
    assert lines[0] == "seconds,time,kind,words"
    assert lines[2] == '30.5,2027-04-05 06:00:30.500000,crew,"digging at ""east"", first"'


def test_series_open_elsewhere_with_units(tmp_path):
    """The file is netCDF classic with 64-bit offset: xarray, a library of others, reads it by its conventions."""
    path = keep(tmp_path) / "series.nc"
    assert path.read_bytes()[:4] == b"CDF\x02"
    with xarray.open_dataset(path, engine="scipy") as data:
        assert data["sump.level"].attrs == {"units": "m", "long_name": "level of the surface"}
        assert data["sump.level"].dtype == np.float32
        assert data["LIT-101"].attrs["units"] == "1"
        assert data["time"].values[0] == np.datetime64("2027-04-05T06:00:00")
        assert data["time"].values[-1] == np.datetime64("2027-04-05T06:01:00")
        profile = data["clarifier.profile"]
        assert profile.dims == ("time", "clarifier.height")
        assert profile.attrs["units"] == "kg/m3"
        assert float(profile.sel({"clarifier.height": 2.0}).isel(time=3)) == 10.0
        assert data["clarifier.height"].attrs["units"] == "m"
        assert "simulated" in data.attrs["source"]
    with xarray.open_dataset(path, engine="scipy", decode_times=False) as data:
        assert data["time"].dtype == np.float64
        assert data["time"].attrs["units"] == "seconds since 2027-04-05 06:00:00"


def test_same_run_same_bytes(tmp_path):
    a, b = keep(tmp_path / "a"), keep(tmp_path / "b")
    for name in ("series.nc", "journal.csv", "plant.yaml"):
        assert (a / name).read_bytes() == (b / name).read_bytes()


def test_a_folder_at_work_says_so(tmp_path):
    folder = RunFolder("Gravel Pit", tmp_path, {"title": "Pit", "seed": 3})
    assert folder.name.startswith("gravel-pit-20")
    head = json.loads((folder.path / "run.json").read_text())
    assert head["status"] == "unfinished"
    assert head["pid"] == os.getpid()
    (info,) = list_runs(tmp_path)
    assert not info.finished
    assert info.reason == f"process {os.getpid()} is at work on it"
    data = read_run(folder.path)
    assert data.unfinished
    assert data.title == "Pit"
    assert len(data.time) == 0


def test_a_dead_process_leaves_its_run_unfinished(tmp_path):
    code = f"from plantsim.store.folder import RunFolder; import os; RunFolder('pit', {str(tmp_path)!r}); os._exit(9)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 9
    (info,) = list_runs(tmp_path)
    assert info.status == "unfinished"
    assert info.reason == "killed before its end"


def test_a_folder_without_any_file_is_an_unfinished_run(tmp_path):
    (tmp_path / "pit-20270405-060000-1").mkdir()
    (tmp_path / "my pictures").mkdir()
    (tmp_path / "README.md").write_text("a note")
    (info,) = list_runs(tmp_path)
    assert info.status == "unfinished"
    with pytest.raises(StoreError, match=r"is no run folder: it holds no run\.json"):
        read_run(info.path)


def test_an_abandoned_run_keeps_its_reason(tmp_path):
    folder = RunFolder("pit", tmp_path)
    folder.abandon("stopped by Ctrl-C after 3 h of 24 h")
    assert list_runs(tmp_path)[0].reason == "stopped by Ctrl-C after 3 h of 24 h"
    assert read_run(folder.path).reason == "stopped by Ctrl-C after 3 h of 24 h"


@pytest.mark.parametrize("name", ["plant.yaml", "series.nc", "journal.csv"])
def test_a_failure_while_writing_leaves_no_half(tmp_path, monkeypatch, name):
    replace = os.replace

    def fail(source, target):
        if Path(target).name == name:
            raise OSError(28, "No space left on device")
        replace(source, target)

    monkeypatch.setattr(files.os, "replace", fail)
    folder = RunFolder("pit", tmp_path)
    with pytest.raises(StoreError, match=r"cannot write the run into .*: No space left on device"):
        folder.finish(made_run())
    assert not list(folder.path.glob(".*.part"))
    assert not (folder.path / name).exists()
    assert read_run(folder.path).unfinished


def test_the_head_comes_last(tmp_path, monkeypatch):
    order: list[str] = []
    replace = os.replace

    def note(source, target):
        order.append(Path(target).name)
        replace(source, target)

    monkeypatch.setattr(files.os, "replace", note)
    keep(tmp_path)
    assert order == ["run.json", "plant.yaml", "series.nc", "journal.csv", "run.json"]


def test_runs_begun_in_one_second_get_numbers(tmp_path):
    names = [RunFolder("pit", tmp_path).name for _ in range(12)]
    assert len(set(names)) == 12
    assert [info.name for info in list_runs(tmp_path)] == names  # 10 after 9, not after 1


def test_a_run_is_found_by_name_beginning_path_and_last(tmp_path):
    first, second = keep(tmp_path, "north"), keep(tmp_path, "south")
    RunFolder("west", tmp_path)
    assert find_run(first.name, tmp_path) == first
    assert find_run("nor", tmp_path) == first
    assert find_run(str(second), tmp_path) == second
    assert find_run("last", tmp_path) in (first, second)
    with pytest.raises(StoreError, match="there is no run 'east' in"):
        find_run("east", tmp_path)
    keep(tmp_path, "north")
    with pytest.raises(StoreError, match=r"'north' fits 2 runs: north-.*; write more of the name"):
        find_run("north", tmp_path)


def test_last_is_the_youngest_finished_run(tmp_path):
    for name in ("zeta-20270101-000000-1", "alpha-20270102-000000-1", "beta-20270102-000000-2"):
        (tmp_path / name).mkdir()
        status = "unfinished" if name.startswith("beta") else "finished"
        (tmp_path / name / "run.json").write_text(json.dumps({"format": 1, "status": status}))
    assert find_run("last", tmp_path).name == "alpha-20270102-000000-1"
    with pytest.raises(StoreError, match="there is no finished run in"):
        find_run("last", tmp_path / "elsewhere")


@pytest.mark.parametrize(
    ("text", "words"),
    [("{", "is damaged: it is no JSON"), ("[]", "is damaged: it has no status"),
     ('{"status": "finished", "format": 99}', "has format 99; this version reads format 1")],
)  # fmt: skip
def test_a_damaged_head_is_refused(tmp_path, text, words):
    (tmp_path / "run.json").write_text(text)
    with pytest.raises(StoreError, match=words):
        read_run(tmp_path)


def test_a_finished_run_with_a_lost_or_cut_file_is_refused(tmp_path):
    path = keep(tmp_path)
    whole = (path / "series.nc").read_bytes()
    for size in (0, 3, 40, 400, len(whole) - 1):
        (path / "series.nc").write_bytes(whole[:size])
        with pytest.raises(StoreError, match="is damaged"):
            read_run(path)
    (path / "series.nc").unlink()
    with pytest.raises(StoreError, match=r"is damaged: series\.nc is missing"):
        read_run(path)


def test_where_runs_are_kept(tmp_path, monkeypatch):
    monkeypatch.delenv("PLANTSIM_RUNS", raising=False)
    assert runs_folder() == Path("runs")
    monkeypatch.setenv("PLANTSIM_RUNS", str(tmp_path))
    assert runs_folder() == tmp_path
    assert runs_folder("here") == Path("here")
    assert list_runs(tmp_path / "nowhere") == []


def test_a_folder_that_cannot_be_made_is_one_sentence(tmp_path):
    (tmp_path / "runs").write_text("a file")
    with pytest.raises(StoreError, match="cannot make a run folder in"):
        RunFolder("pit", tmp_path / "runs")
