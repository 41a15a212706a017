"""`plantsim alarms`: the list of a plant, and the alarms of a run, from the command line to the page."""

from __future__ import annotations

import csv
import io
import json
from html.parser import HTMLParser

import pytest

from plantsim.cli.main import main
from plantsim.store.folder import find_run, read_run

PLANT = """\
site: {name: Alarm pit (invented), start: 2027-04-05 06:00, record_every: 10 s}
units:
  well: {kind: supply, to: tank, flow: 1 m3/h}
  tank: {kind: vessel, shape: {form: cylinder, diameter: 8 m, depth: 4 m}, start_level: 1 m}
flags:
  LY-101: {start: 1, unit: m, note: a level set by a program}
control:
  waves: {file: waves.st, every: 1 s, connect: {level: LY-101}}
alarms:
  LAH-101:
    on: LY-101
    above: 3 m
    priority: high
    consequence: the <tank> runs over & floods the yard
    action: close the valve
    respond_within: 5 min
    group: tank
  LAL-101:
    on: LY-101
    below: 0.5 m
    on_delay: 5 s
    priority: low
    consequence: the pump runs dry
    action: stop the pump
    respond_within: 10 min
    suppressed_while: LY-101 above 3.5 m
    suppressed_after: 30 min
  YA-102:
    on: waves.odd
    is: on
    priority: medium
    consequence: nobody knows
    action: look at it
    respond_within: 1 h
    latching: yes
"""
# the level is 4 m for 5 s of every 10 s from the 30th minute to the 40th: sixty calls, six in each minute
WAVES = """
PROGRAM waves
VAR_OUTPUT level : REAL := 1.0; {unit 'm'} odd : BOOL; END_VAR
VAR n : DINT; END_VAR
level := SEL(n >= 1800 AND n < 2400 AND n MOD 10 < 5, 1.0, 4.0);
odd := n > 3000;
n := n + 1;
END_PROGRAM
"""


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    folder = tmp_path_factory.mktemp("alarms")
    (folder / "pit.yaml").write_text(PLANT)
    (folder / "waves.st").write_text(WAVES)
    assert main(["run", str(folder / "pit.yaml"), "--until", "1h", "--out", str(folder / "runs"), "--json"]) == 0
    return folder


class Words(HTMLParser):
    """Words of a page; a tag closed out of turn, or anything loaded, is an error."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.found: list[str] = []
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag, attrs):
        assert tag not in ("script", "link", "iframe")
        assert all(not (name in ("src", "href") and not str(value).startswith(("data:", "#"))) for name, value in attrs)
        if tag not in ("meta", "img", "col", "br"):
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.found.append(" ".join(data.split()))

    @property
    def text(self) -> str:
        return " ".join(word for word in self.found if word)


def test_the_list_of_a_plant_file(place, capsys):
    assert main(["alarms", str(place / "pit.yaml")]) == 0
    out = capsys.readouterr().out
    assert out.startswith("Alarm pit (invented): 3 alarms: 1 high, 1 medium, 1 low\n")
    assert "LAH-101  high      LY-101 above 3 m" in out
    assert "  else    the <tank> runs over & floods the yard\n  do      close the valve\n" in out
    assert "  silent  by design while LY-101 above 3.5 m, and 30 min after\n" in out
    assert "no safety function" in out


def test_set_changes_the_list(place, capsys):
    assert main(["alarms", str(place / "pit.yaml"), "--set", "alarms.LAH-101.above=2 m"]) == 0
    assert "LY-101 above 2 m" in capsys.readouterr().out


def test_the_list_as_csv_and_page(place, capsys):
    page = place / "list.html"
    assert main(["alarms", str(place / "pit.yaml"), "--csv", "--page", str(page)]) == 0
    captured = capsys.readouterr()
    rows = list(csv.DictReader(io.StringIO(captured.out)))
    assert [row["alarm"] for row in rows] == ["LAH-101", "LAL-101", "YA-102"]
    assert rows[0]["when nobody acts"] == "the <tank> runs over & floods the yard"
    assert captured.err == f"written: {page}\n"
    text = Words(page.read_text()).text
    assert "the <tank> runs over & floods the yard" in text
    assert "no safety function" in text and "invented" in text


def test_a_run_keeps_its_alarms(place):
    run = read_run(find_run("last", place / "runs"))
    assert [a.name for a in run.alarms] == ["LAH-101", "LAL-101", "YA-102"]
    assert run.alarms[0].consequence == "the <tank> runs over & floods the yard"
    called = [n for n in run.alarm_log if n.annunciated]
    assert len(called) == 61
    assert [n.seconds for n in called[:3]] == [1800.0, 1810.0, 1820.0]
    assert (called[0].value, called[0].first, called[0].by, called[0].tick) == (4.0, True, "plant", 1800)
    assert run.figures["alarms.annunciated"].value == 61.0
    assert run.figures["alarms.most_in_10_min"].value == 60.0
    assert run.figures["alarms.time_in_flood"].value == pytest.approx(100.0 / 6.0)
    assert run.figures["alarms.chattering"].value == 1.0


def test_the_alarms_of_a_run(place, capsys):
    assert main(["alarms", "last", "--out", str(place / "runs")]) == 0
    out = capsys.readouterr().out
    assert "3 alarms: 1 high, 1 medium, 1 low; 1 h of run" in out
    assert "most frequent: LAH-101 60 times; YA-102 1 times" in out
    assert "chattering: LAH-101 6 times in a minute" in out
    assert "floods: Mon 06:30 to 06:40, 60 alarms" in out
    assert "ISA-18.2-2016" in out and "from memory" in out and "30 days" in out
    (line,) = [x for x in out.splitlines() if x.startswith("time in flood")]
    assert line.split()[3:5] == ["16.7", "%"] and line.endswith("too many")
    (line,) = [x for x in out.splitlines() if x.startswith("suppressed by design: ")]
    assert line == "suppressed by design: LAL-101 50 % of the time"  # from the first wave to the end of the hour


def test_the_journal_of_a_run_as_csv(place, capsys):
    file = place / "journal.csv"
    assert main(["alarms", "last", "--out", str(place / "runs"), "--csv", str(file)]) == 0
    assert capsys.readouterr().err == f"written: {file}\n"
    kept = find_run("last", place / "runs") / "alarms.csv"
    assert file.read_text() == kept.read_text()


def test_pages_of_a_run(place):
    run = find_run("last", place / "runs")
    whole = Words((run / "report.html").read_text()).text
    assert "Figures" in whole and "Calls of the operator" in whole
    page = place / "run.html"
    assert main(["alarms", "last", "--out", str(place / "runs"), "--page", str(page)]) == 0
    text = Words(page.read_text()).text
    for words in ("LAH-101", "chatters: 6 times in a minute", "Mon 5 Apr 06:30 to Mon 5 Apr 06:40: 60 alarms",
                  "too many", "nobody sat at the desk", "no safety function", "and 1 more",
                  "Suppressed by design: LAL-101 50 % of the time."):  # fmt: skip
        assert words in text, words
        if words != "no safety function":
            assert words in whole, words


def test_show_tells_the_figures(place, capsys):
    assert main(["show", "last", "--out", str(place / "runs"), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["kpis"]["alarms.annunciated"] == {"value": 61, "unit": "1"}


def test_a_plant_and_a_run_without_alarms(place, tmp_path, capsys):
    bare = tmp_path / "bare.yaml"
    bare.write_text(PLANT[: PLANT.index("control:")])
    assert main(["alarms", str(bare), "--page", str(tmp_path / "bare.html")]) == 0
    assert "the plant file has no 'alarms' section" in capsys.readouterr().out
    assert "The plant file has no alarms." in Words((tmp_path / "bare.html").read_text()).text
    assert main(["run", str(bare), "--until", "10min", "--out", str(tmp_path / "runs"), "--json"]) == 0
    capsys.readouterr()
    assert main(["alarms", "last", "--out", str(tmp_path / "runs")]) == 0
    assert "its plant file has no 'alarms' section" in capsys.readouterr().out
    run = find_run("last", tmp_path / "runs")
    assert not (run / "alarms.csv").exists()
    assert "alarms." not in json.dumps(json.loads((run / "run.json").read_text())["figures"])


@pytest.mark.parametrize(
    ("words", "sentence"),
    [(["last", "--set", "a=1"], "--set: found with a run, which is over; allowed: with a plant file\n"),
     (["nothing-of-the-kind"], "there is no run 'nothing-of-the-kind'"),
     (["gone.yaml"], "gone.yaml"),
     (["last", "--csv", "no/such/folder/x.csv"], "cannot write no/such/folder/x.csv: No such file or directory\n")],
)  # fmt: skip
def test_mistakes_are_one_sentence(place, capsys, words, sentence):
    assert main(["alarms", *words, "--out", str(place / "runs")]) == 2
    captured = capsys.readouterr()
    assert sentence in captured.err and len(captured.err.splitlines()) == 1
    assert captured.out == ""


def test_a_damaged_alarm_file_is_refused(place, tmp_path, capsys):
    import shutil

    run = find_run("last", place / "runs")
    shutil.copytree(run, tmp_path / run.name)
    (tmp_path / run.name / "alarms.csv").unlink()
    assert main(["alarms", run.name, "--out", str(tmp_path)]) == 2
    assert "alarms.csv is missing" in capsys.readouterr().err
