"""`plantsim identify`: reading of CSV, what is printed, exit codes."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from plantsim.analysis.identify import RecordError, read_record
from plantsim.cli.main import main

TIME = np.arange(400) * 3.0
OUTPUT = np.where((TIME >= 120.0) & (TIME < 660.0), 45.0, 40.0)


def measured(gain: float = 2.0, seed: int = 1) -> np.ndarray:
    """First order, 40 s, 25 s dead time, in closed form, with noise."""

    def step(since):
        return np.where(since > 25.0, -np.expm1(-np.maximum(since - 25.0, 0.0) / 40.0), 0.0)

    clean = 5.0 * gain * (step(TIME - 120.0) - step(TIME - 660.0))
    return 50.0 + clean + np.random.default_rng(seed).normal(0.0, 0.3, len(TIME))


def written(path: Path, head: str = "time [s],output [%],measurement [NTU]", gain: float = 2.0) -> Path:
    rows = [f"{t:g},{u:g},{y:.4f}" for t, u, y in zip(TIME, OUTPUT, measured(gain))]
    path.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    return path


@pytest.fixture
def good(tmp_path) -> Path:
    return written(tmp_path / "bump.csv")


def go(capsys, *argv: str) -> tuple[int, str, str]:
    code = main(argv)
    captured = capsys.readouterr()
    return code, captured.out, captured.err


def test_good_record(capsys, good):
    code, out, err = go(capsys, "identify", str(good))
    assert code == 0 and err == ""
    assert "first order + dead time: K exp(-L s) / (T s + 1)" in out
    assert "moves of the output: 40 to 45 % at 2 min, 45 to 40 % at 11 min" in out
    assert "two points, 28 and 63 %" in out and "tests on site" in out
    row = next(line.split() for line in out.splitlines() if line.startswith("T "))
    assert float(row[2]) < 40.0 < float(row[3]) and row[4] == "s"


def test_json(capsys, good):
    code, out, _ = go(capsys, "identify", str(good), "--json")
    found = json.loads(out)
    assert code == 0 and found["accepted"] and found["refusals"] == []
    gain = found["model"]["parameters"]["K"]
    assert gain["low"] < 2.0 < gain["high"] and gain["unit"] == "NTU/%"
    assert found["model"]["denominator"] == [found["model"]["parameters"]["T"]["value"], 1.0]
    assert found["units"] == {"time": "s", "output": "%", "measurement": "NTU"}


def test_refused_record(capsys, tmp_path):
    path = written(tmp_path / "faint.csv", gain=0.005)
    code, out, err = go(capsys, "identify", str(path))
    assert code == 2 and err.startswith("refused: step too small for the noise")
    assert "parameter" not in out
    code, out, err = go(capsys, "identify", str(path), "--anyway")
    assert code == 2 and "parameter" in out
    code, out, _ = go(capsys, "identify", str(path), "--json")
    assert code == 2 and json.loads(out)["model"] is None


def test_picture(capsys, good, tmp_path):
    picture = tmp_path / "fit.png"
    code, out, _ = go(capsys, "identify", str(good), "--picture", str(picture))
    assert code == 0 and str(picture) in out
    data = picture.read_bytes()
    assert data[:8] == b"\x89PNG\r\n\x1a\n" and len(data) > 20000
    code, _, err = go(capsys, "identify", str(good), "--picture", str(tmp_path / "none" / "fit.png"))
    assert code == 2 and "cannot write" in err


def test_asked_models_drift_and_window(capsys, good):
    code, out, _ = go(capsys, "identify", str(good), "--model", "second", "--drift", "yes", "--to", "10 min", "--json")
    found = json.loads(out)
    assert code == 0 and found["model"]["name"] == "second" and found["model"]["drift"]
    assert len(found["moves"]) == 1


def test_ranges(capsys, good):
    code, _, err = go(capsys, "identify", str(good), "--range", "0..55")
    assert code == 2 and "stands at a limit" in err
    code, out, _ = go(capsys, "identify", str(good), "--output-range", "0..45")
    assert code == 0 and "warning: the output was moved to its limit of 45 %" in out
    code, _, err = go(capsys, "identify", str(good), "--range", "55")
    assert code == 2 and err.strip() == "--range: found '55'; allowed: two numbers, the lower first, such as 0..100"


def test_other_column_names_and_minutes(capsys, tmp_path):
    path = tmp_path / "log.csv"
    rows = [f"{t / 60.0:.6g},{u:g},{y:.4f},x" for t, u, y in zip(TIME, OUTPUT, measured())]
    path.write_text("\n".join(["stamp [min],FC-1 [L/h],AT-2 [mg/L],remark", *rows]), encoding="utf-8")
    named = ("--time", "stamp", "--output", "FC-1", "--measurement", "AT-2")
    code, out, _ = go(capsys, "identify", str(path), *named, "--json")
    found = json.loads(out)["model"]["parameters"]
    assert code == 0 and found["K"]["unit"] == "(mg/L)/(L/h)"
    assert found["T"]["low"] < 40.0 < found["T"]["high"]


def test_clock_times_semicolons_and_commas(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("time;output [%];measurement [NTU]\n2027-04-05 06:00:00;40,5;7,25\n2027-04-05 06:00:10;40,5;7,5\n"
                    "2027-04-05T06:00:30;45,5;8\n", encoding="utf-8")  # fmt: skip
    record = read_record(path)
    assert record.time.tolist() == [0.0, 10.0, 30.0]
    assert record.u.tolist() == [40.5, 40.5, 45.5] and record.y.tolist() == [7.25, 7.5, 8.0]
    assert record.start is not None and record.start.hour == 6


def test_gaps_are_noted_and_bridged(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("time [s],output [%],measurement [NTU]\n0,40,1\n1,,2\n\n2,41,nan\n3,41,bad\n4,41,5\n5,41,6\n")
    record = read_record(path)
    assert record.time.tolist() == [0.0, 1.0, 2.0, 3.0, 4.0, 5.0] and record.u[1] == 40.0
    assert np.isnan(record.y[2:4]).all()
    assert record.notes == ("2 rows without a measurement were left out of the fit",
                            "1 rows without an output keep the output before them")  # fmt: skip


HEAD = "time [s],output [%],measurement [NTU]\n"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (HEAD + "0,40,1\n1,40,two\n2,40,3\n3,40,4\n",
         "log.csv:3: found measurement 'two'; allowed: a number, or nothing for a gap"),
        (HEAD + "0,40,1\n2,40,2\n1,40,3\n3,40,4\n",
         "log.csv:4: found a time not later than the row before; allowed: times that rise"),
        (HEAD + "0,40,1\nx,40,2\n2,40,3\n3,40,4\n", "log.csv:3: found time 'x'; allowed: a number"),
        (HEAD + "0,,1\n1,40,2\n2,40,3\n", "log.csv:2: found no output in the first row"),
        (HEAD + "0,40,1\n1,inf,2\n2,40,3\n", "log.csv:3: found output 'inf'; allowed: a finite number"),
        (HEAD + "0,40,1\n1,40\n", "log.csv: found 2 rows; allowed: a header and at least three rows"),
        ("time [s],output,measurement [NTU]\n0,1,1\n1,1,1\n2,1,1\n",
         "log.csv:1: found 'output' without a unit; allowed: a unit in brackets, such as 'output [%]'"),
        ("time [s],output [%],measurment [NTU]\n0,1,1\n1,1,1\n2,1,1\n", "(did you mean 'measurment'?)"),
        ("time [s],output [%],measurement [NTX]\n0,1,1\n1,1,1\n2,1,1\n", "log.csv:1: column measurement: found 'NTX'"),
        ("time [m],output [%],measurement [NTU]\n0,1,1\n1,1,1\n2,1,1\n", "(did you mean 'min'?)"),
        ("time,output [%],measurement [NTU]\n6 o'clock,1,1\n1,1,1\n2,1,1\n",
         "allowed: a date and time such as 2027-04-05"),
    ],
)  # fmt: skip
def test_what_is_wrong_with_a_file(capsys, tmp_path, text, said):
    path = tmp_path / "log.csv"
    path.write_text(text, encoding="utf-8")
    code, out, err = go(capsys, "identify", str(path))
    assert code == 2 and out == "" and said in err


def test_every_bad_row_is_told_up_to_a_limit(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text(HEAD + "0,40,1\n" + "".join(f"{t},40,x\n" for t in range(1, 31)), encoding="utf-8")
    with pytest.raises(RecordError) as error:
        read_record(path)
    assert len(error.value.findings) == 21
    assert error.value.findings[-1] == "log.csv: 10 further rows cannot be read"


def test_bad_rows_may_be_skipped(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text(HEAD + "0,40,1\n1,40,x\n2,40,3\n3,40,4\n", encoding="utf-8")
    record = read_record(path, skip_bad=True)
    assert record.time.tolist() == [0.0, 2.0, 3.0]
    assert record.notes == ("1 rows that cannot be read were left out (line 3)",)


def test_missing_file(capsys, tmp_path):
    code, _, err = go(capsys, "identify", str(tmp_path / "none.csv"))
    assert code == 2 and "no such file; allowed: a CSV file" in err
