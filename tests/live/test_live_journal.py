"""The journal of a session: on the disk before an act is done, readable whatever happened to its end."""

from __future__ import annotations

from pathlib import Path

import pytest

from plantsim.errors import StoreError
from plantsim.live.journal import Entry, Journal, read_journal


def entry(number: int, tick: int = 0) -> Entry:
    return Entry(number, tick, "2027-01-01T00:00:00+00:00", "operator", "Ann", "note", {"text": "ok"}, "ok")


def test_what_is_written_is_read_again(tmp_path: Path) -> None:
    journal = Journal(tmp_path / "j")
    for number in (1, 2, 3):
        journal.append(entry(number, 10 * number))
    assert read_journal(tmp_path / "j") == [entry(n, 10 * n) for n in (1, 2, 3)]  # not closed: as after a kill
    again = Journal(tmp_path / "j")
    again.append(entry(4))
    assert [e.number for e in read_journal(tmp_path / "j")] == [1, 2, 3, 4]


@pytest.mark.parametrize("cut", [1, 7, 40])
def test_a_torn_last_line_is_left_out_and_written_over(tmp_path: Path, cut: int) -> None:
    journal = Journal(tmp_path / "j")
    journal.append(entry(1))
    journal.append(entry(2))
    raw = (tmp_path / "j").read_bytes()
    (tmp_path / "j").write_bytes(raw[:-cut])
    assert read_journal(tmp_path / "j") == [entry(1)]
    again = Journal(tmp_path / "j")
    again.append(entry(2, 99))
    assert read_journal(tmp_path / "j") == [entry(1), entry(2, 99)]


def test_a_journal_that_was_changed_is_refused(tmp_path: Path) -> None:
    journal = Journal(tmp_path / "j")
    journal.append(entry(1))
    whole = (tmp_path / "j").read_text()
    for text, words in ((whole + whole, "act 1 where 2 comes next"), ("{}\n" + whole, "line 1: no act")):
        (tmp_path / "j").write_text(text)
        with pytest.raises(StoreError, match=words):
            read_journal(tmp_path / "j")
