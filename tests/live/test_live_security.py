"""Who gets in, and what is stopped at the door."""

from __future__ import annotations

from pathlib import Path

import pytest

from plantsim.live.security import Doorkeeper, Limiter, host_allowed, same_origin, secret_of


class Clock:
    now = 1e9

    def __call__(self) -> float:
        return self.now


def test_a_cookie_is_read_again_and_no_other() -> None:
    clock = Clock()
    door = Doorkeeper(b"secret", {}, clock)
    cookie = door.cookie("operator", "Ann <b>")
    role, name, _ = door.read(cookie) or ("", "", "")
    assert (role, name) == ("operator", "Ann b")
    forged = cookie.replace("operator", "trainer", 1)
    assert door.read(forged) is None
    assert Doorkeeper(b"other", {}, clock).read(cookie) is None
    for wrong in ("", None, "a|b|c", cookie + "0", cookie[:-1], "x" * 1000, cookie.replace("|", ";")):
        assert door.read(wrong) is None
    clock.now += 13 * 3600
    assert door.read(cookie) is None


def test_a_password_is_for_its_own_role() -> None:
    door = Doorkeeper(b"s", {"trainer": "one", "operator": "two"})
    assert door.admits("trainer", "one") and door.admits("operator", "two")
    for role, word in (("trainer", "two"), ("operator", "one"), ("trainer", ""), ("admin", "one"), ("", "")):
        assert not door.admits(role, word)
    assert not Doorkeeper(b"s", {"trainer": "one"}).admits("operator", "")  # no password, no way in
    assert Doorkeeper(b"s", {}).admits("trainer", "") and not Doorkeeper(b"s", {}).admits("admin", "")


def test_the_secret_is_kept_and_private(tmp_path: Path) -> None:
    first = secret_of(tmp_path / "runs")
    assert len(first) == 32 and secret_of(tmp_path / "runs") == first
    assert (tmp_path / "runs" / ".training-secret").stat().st_mode & 0o077 == 0


@pytest.mark.parametrize(
    ("host", "bound", "known"),
    [
        ("127.0.0.1:8765", "127.0.0.1", True), ("localhost:8765", "127.0.0.1", True), ("[::1]:8765", "::1", True),
        ("plant.example:8765", "127.0.0.1", False), ("127.0.0.1.example", "127.0.0.1", False), ("", "127.0.0.1", False),
        (None, "127.0.0.1", False), ("10.0.0.5:8765", "0.0.0.0", True), ("plant.example", "0.0.0.0", False),
        ("room.local", "0.0.0.0", True), ("0x7f000001", "127.0.0.1", False),
    ],
)  # fmt: skip
def test_a_name_that_could_be_pointed_here_from_elsewhere_is_refused(host, bound, known) -> None:
    assert host_allowed(host, bound, frozenset({"room.local"})) is known


@pytest.mark.parametrize(
    ("headers", "ours"),
    [
        ({"host": "a:1", "origin": "http://a:1"}, True), ({"host": "a:1", "origin": "http://a:2"}, False),
        ({"host": "a:1", "origin": "null"}, False), ({"host": "a:1"}, False),
        ({"host": "a:1", "origin": "http://a:1", "sec-fetch-site": "cross-site"}, False),
        ({"host": "a:1", "origin": "http://a:1", "sec-fetch-site": "same-site"}, False),
    ],
)
def test_only_our_own_page_may_ask(headers, ours) -> None:
    assert same_origin(headers) is ours


def test_requests_are_let_through_in_measure() -> None:
    clock = Clock()
    limiter = Limiter(2.0, 3.0, clock)
    assert [limiter.take("a") for _ in range(5)] == [True, True, True, False, False]
    assert limiter.take("b")
    clock.now += 1.0
    assert [limiter.take("a") for _ in range(3)] == [True, True, False]
    small = Limiter(1.0, 1.0, clock)
    small.MOST_KEYS = 10
    assert sum(small.take(str(i)) for i in range(50)) == 10  # memory stays bounded, whoever knocks
