"""Sentences that are read, and those refused with a place and the nearest word."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from plantsim.analysis.checks import SentenceError, parse
from plantsim.analysis.checks import sentence as s


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("clarifier.turbidity under 80 NTU", s.Always),
        ("clarifier.turbidity under 80 NTU at all times", s.Always),
        ("clarifier.turbidity under 80NTU for 95% of running time", s.Share),
        ("sump.level over 3.1 m for at most 10 min at a time", s.Spell),
        ("sump.level over 3.1 m for at most 1h30m in all", s.Spell),
        ("never sump.level over 3.1 m for 10 min", s.Always),
        ("no YC-111 while FT-102 under 60 m3/h", s.Always),
        ("starts of P-101 at most 6 per hour", s.Count),
        ("P-101 trips at most 2 times per day", s.Count),
        ("P-101 starts at most 2 times in any 2 h", s.Count),
        ("no spill from sump", s.Rise),
        ("spill from sump at most 2 m3", s.Rise),
        ("mean of clarifier.turbidity under 45 NTU", s.Statistic),
        ("closure at most 1e-9", s.Closure),
        ('journal never says "rodded clear"', s.Says),
        ("after P-101 trips, P-102 runs within 15 s", s.Within),
        ("after P-101 trips, sump.level under 2 m for 10 min within 1 h", s.Within),
        ("after the upset, sump.level under 3 m for 2 h", s.Always),
        ("before P-101 trips, sump.level under 3 m for 10 min", s.Always),
        ("after LT-101 over 3.1 m: XC-131 off, then XC-100 off, then wash-plant stands within 2 min", s.Order),
    ],
)
def test_every_row_of_the_table_is_read(text, kind):
    assert type(parse(text).requirement) is kind


def test_times_are_seconds_and_other_numbers_keep_their_unit():
    made = parse("after P-101 trips, sump.level between 1 and 2 m from 2 min to 1 h 30 min while YC-101 on for 10 s")
    assert (made.start, made.stop) == (120.0, 5400.0)
    assert made.requirement.condition == s.Compare("sump.level", "between", s.Amount(1.0, "m"), s.Amount(2.0, "m"))
    assert made.given == s.Held(s.State("YC-101", "on"), 10.0)
    assert parse("level.x under 12 in").requirement.condition.low == s.Amount(12.0, "in")


def test_a_delay_belongs_to_its_condition_a_window_to_the_sentence():
    assert parse("never A.b over 3 m for 10 min").requirement.condition == s.Not(
        s.Held(s.Compare("A.b", "over", s.Amount(3.0, "m")), 600.0))  # fmt: skip
    after = parse("after the upset, never A.b over 3 m for 10 min")
    assert after.stop == 600.0
    assert after.requirement.condition == s.Not(s.Compare("A.b", "over", s.Amount(3.0, "m")))


def test_states_in_other_words():
    assert parse("P-101 stands").requirement.condition == s.State("P-101", "runs", False)
    assert parse("P-101 is not running").requirement.condition == s.State("P-101", "runs", False)
    assert parse("XC-131 is off").requirement.condition == s.State("XC-131", "on", False)
    assert parse("not XC-131").requirement.condition == s.Not(s.State("XC-131"))


@pytest.mark.parametrize(
    ("text", "found", "place", "hint"),
    [
        ("sump.level uder 3.4 m", "'uder'", 11, "under"),
        ("sump.level under 3.4 NTUU", "'NTUU'", 17, "NTU"),
        ("sump.level under high", "'high'", 17, None),
        ("sump.level under 3 m for 10 min", "'for'", 21, None),
        ("P-102 runs within 5 s", "'within'", 11, None),
        ("after P-101 trips P-102 runs", "'P-102'", 18, None),
        ("a.b under 80 NTU for 120 % of the time", "'120'", 21, None),
        ("a.b under 80 NTU for 95 % of tuesdays", "'of'", 26, None),
        ("a.b under 8 m and c.d on or e.f on", "'or'", 25, None),
        ("a.b between 3 m and 2 m", "'2'", 20, None),
        ("a.b under 3 m whlie c.d on", "'whlie'", 14, "while"),
        ("starts of P-101 under 6 per hour", "'under'", 16, None),
        ("starts of P-101 at most six per hour", "'six'", 24, None),
        ("a.b under 3 m from 2 h to 1 h", "'1'", 26, None),
        ("before P-101 trips, a.b under 3 m", "the end of the sentence", 33, None),
        ('journal says "abc', "a quote that is not closed", 13, None),
        ("closure under 1e-9", "'under'", 8, None),
        ("under 3 m", "'under'", 0, None),
        ("after P-101 trips, P-102 runs within soon", "'soon'", 37, None),
        ("after P-101 trips, P-102 runs within 15 m3", "'15 m3' (a volume)", 37, None),
        ("", "nothing", 0, None),
    ],
)
def test_refusals_show_the_place(text, found, place, hint):
    with pytest.raises(SentenceError) as caught:
        parse(text)
    head, shown, pointer = str(caught.value).split("\n")
    assert head.startswith(f"found {found}")
    assert shown == "    " + text
    assert pointer.index("^") == 4 + place
    assert ("did you mean" in head) == (hint is not None)
    if hint:
        assert f"'{hint}'" in head


WORDS = st.sampled_from(
    ["after", "before", "sump.level", "P-101", "under", "over", "at", "most", "least", "3", "m", "%", "95", "of", "the",
     "time", "for", "while", "from", "to", "within", "runs", "trips", ",", ":", "then", "no", "spill", "not", "and",
     "per", "hour", "journal", '"x"', "between", "closure", "starts", "10 min", "never"]
)  # fmt: skip


@given(st.lists(WORDS, max_size=12))
def test_any_words_are_read_or_refused_with_a_place_inside_the_sentence(words):
    text = " ".join(words)
    try:
        made = parse(text)
    except SentenceError as error:
        assert 0 <= error.at <= len(text)
    else:
        assert made.text == text
        assert parse(made.text) == made
