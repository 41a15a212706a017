"""Adding one value to a plant file's text: where it goes, and that nothing else is touched."""

from __future__ import annotations

import pytest

from plantsim.errors import ConfigError
from plantsim.plant.reader import add_value

TEXT = """\
# head
control:            # programs
  sump:
    set: {band: 1.2 m, speed_min: 80 %}   # by hand
  dosing:
    set:
      dose: 38 g/m3    # first guess

  # what follows stands apart
  other: {set: {}}
last: yes
"""


def test_in_braces_it_stands_behind_the_last_key():
    text = add_value(TEXT, "control.sump.set.reset_time", "20 min")
    assert text == TEXT.replace("speed_min: 80 %}", "speed_min: 80 %, reset_time: 20 min}")


def test_in_a_block_it_gets_a_line_of_its_own_behind_the_comment():
    text = add_value(TEXT, "control.dosing.set.trim", "no")
    assert text == TEXT.replace("# first guess\n", "# first guess\n      trim: no\n")


def test_quotes_are_put_where_yaml_needs_them():
    assert "note: 'a: b'}" in add_value(TEXT, "control.sump.set.note", "a: b")


@pytest.mark.parametrize(
    "path, words",
    [("control.sump.set.band", "found it there already"), ("control.smp.set.band", "did you mean 'sump'"),
     ("control.other.set.band", "no block with keys"), ("last.band", "no block with keys")],
)  # fmt: skip
def test_what_cannot_be_added_is_said(path, words):
    with pytest.raises(ConfigError, match=words):
        add_value(TEXT, path, "1 m", "pit.yaml")
