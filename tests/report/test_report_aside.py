"""The page drawn in a process beside: the same bytes, and drawn here whatever goes wrong there."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest
from invented_runs import gravel

from plantsim.report import aside, write_page
from plantsim.report.aside import Aside, Forked, worth_while
from plantsim.report.page import bed_pictures


def files(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def test_the_process_beside_writes_the_same_bytes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    here, there = tmp_path / "here", tmp_path / "there"
    here.mkdir()
    there.mkdir()
    run = gravel(seconds=7200.0, channels=12)
    write_page(run, here)
    with Aside() as process:
        process.hand_over(run, there)
        with monkeypatch.context() as m:
            m.setattr("plantsim.report.write_page", lambda *_: pytest.fail("written here"))
            process.finish(run, there)
    assert files(there) == files(here) and len(files(here)) >= 2


@pytest.mark.parametrize("executable", ["/nowhere/python", "false"])
def test_the_page_is_written_here_when_there_is_no_process(
    executable: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "executable", executable)
    run = gravel(seconds=7200.0, channels=12)
    with Aside() as process:
        process.hand_over(run, tmp_path)
        process.finish(run, tmp_path)
    assert "report.html" in files(tmp_path)


def test_a_process_no_run_comes_to_goes(tmp_path: Path) -> None:
    with Aside() as process:
        begun = process._process
        assert begun is not None
    assert begun.poll() is not None


def test_it_is_worth_while_only_before_the_compiler_is_loaded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "numba", aside)
    assert not worth_while()


def test_the_beds_come_from_a_fork_or_else_are_drawn_here(monkeypatch: pytest.MonkeyPatch) -> None:
    run = gravel(seconds=7200.0, channels=12)
    wanted = bed_pictures(run)
    assert wanted
    with monkeypatch.context() as m:
        fork = Forked(run)
        m.setattr("plantsim.report.page.bed_pictures", lambda _: pytest.fail("drawn here"))
        assert fork(run) == wanted
    with monkeypatch.context() as m:
        m.setattr("plantsim.report.page.bed_pictures", lambda _: 1 / 0)  # the fork fails
        fork = Forked(run)
    assert fork(run) == wanted
    monkeypatch.delattr(os, "fork")
    assert Forked(run)(run) == wanted
