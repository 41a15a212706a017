"""Acceptance files: what is read, and what is refused with file, line and key."""

from pathlib import Path

import pytest

from plantsim.analysis.checks import read_acceptance, read_checks
from plantsim.errors import ConfigError

GRAVEL_PIT = Path(__file__).parents[2] / "configs/gravel-pit-acceptance.yaml"


def written(tmp_path, text):
    path = tmp_path / "acceptance.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def findings(tmp_path, text):
    with pytest.raises(ConfigError) as caught:
        read_acceptance(written(tmp_path, text))
    return [line.removeprefix(str(tmp_path) + "/") for line in caught.value.findings]


def test_what_is_read(tmp_path):
    found = read_acceptance(written(tmp_path, """\
title: A plant
plant: plant.yaml
checks:
  dry: no spill from sump
  clear: {say: c.turbidity under 80 NTU, why: reuse, untested_ok: yes}
cases:
  day: {until: 2h, seeds: [3, 4], every: 5 s, checks: {low: sump.level under 3 m}, excused: [dry]}
  trip:
    acts: [{at: 1 h, set: P-101.trip, to: on, for: 10 min}]
    set: ["site.quiet=yes"]
"""))  # fmt: skip
    assert found.title == "A plant"
    assert found.plant == tmp_path / "plant.yaml"
    assert [check.name for check in found.checks] == ["dry", "clear"]
    assert (found.checks[1].why, found.checks[1].untested_ok) == ("reuse", True)
    day, trip = found.cases
    assert (day.until, day.seeds, day.every) == (7200.0, (3, 4), 5.0)
    assert [check.name for check in found.judged(day)] == ["clear", "low"]
    assert [check.name for check in found.judged(trip)] == ["dry", "clear"]
    assert (trip.until, trip.seeds, trip.every) == (86400.0, (1,), 1.0)
    assert trip.overrides == ("site.quiet=yes",)
    assert [block['set'] for block in trip.tree.acts] == ['P-101.trip']
    assert [check.name for check in read_checks(tmp_path / "acceptance.yaml")] == ["dry", "clear"]


def test_without_cases_it_is_one_undisturbed_day(tmp_path):
    found = read_acceptance(written(tmp_path, "checks:\n  dry: no spill from sump\n"))
    assert [(case.name, case.until) for case in found.cases] == [("undisturbed-day", 86400.0)]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("checks:\n  a1: sump.level uder 3 m\n",
         "acceptance.yaml:2: checks.a1: found 'uder'; allowed: under, over,"),
        ("checks:\n  a1: {say: sump.level uder 3 m}\n", "acceptance.yaml:2: checks.a1.say: found 'uder'"),
        ("checks:\n  a1: {says: sump.level under 3 m}\n", "(did you mean 'say'?)"),
        ("checks:\n  dry: no spill from s\ncases:\n  c1: {excused: [drry]}\n",
         "acceptance.yaml:4: cases.c1.excused.0: found 'drry'; allowed: the name of a sentence for all cases "
         "(did you mean 'dry'?)"),
        ("checks:\n  a1: no spill from s\ncases:\n  c1: {checks: {a1: no spill from s}}\n",
         "acceptance.yaml:4: cases.c1.checks.a1: found 'a1', which stands at checks.a1"),
        ("checks:\n  a1: no spill from s\ncases:\n  c1: {seeds: [1, 1]}\n", "found a seed twice"),
        ("checks:\n  a1: no spill from s\ncases:\n  c1: {until: 3}\n", "(did you mean '3 s'?)"),
        ("title: x\n", "acceptance.yaml:1: found no sentence"),
        ("checks:\n  a1: after LT over 1 m: XC off\n", "acceptance.yaml:2: found 'a1: after LT over 1 m: XC off', "
         "which is no YAML; allowed: one 'key: value' on a line; quotes around a text that holds ': '"),
    ],
)  # fmt: skip
def test_refusals_name_file_line_and_key(tmp_path, text, expected):
    assert any(expected in line for line in findings(tmp_path, text)), findings(tmp_path, text)


def test_a_sentence_is_shown_with_a_pointer_under_the_place(tmp_path):
    line = findings(tmp_path, "checks:\n  a1: sump.level uder 3 m\n")[0]
    assert line.endswith("\n    sump.level uder 3 m\n               ^^^^")


def test_all_sentences_for_all_cases_are_wanted_by_a_study(tmp_path):
    path = written(tmp_path, "cases:\n  c1: {checks: {a1: no spill from s}}\n")
    with pytest.raises(ConfigError, match="at least one under 'checks'"):
        read_checks(path)


def test_the_shipped_file_reads_and_puts_logic_to_the_test():
    found = read_acceptance(GRAVEL_PIT)
    assert len(found.cases) >= 10
    assert len(found.every_check()) >= 30
