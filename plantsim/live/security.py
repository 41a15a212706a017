"""Who is there and what they may send: roles by signed cookie, same-origin requests only, limits on rate and size.

The page binds to the loopback address unless told otherwise; there anybody at the machine may choose a role. On any
other address, and wherever it is asked for, a role needs its password. Cookies are signed with a secret that lies in
the folder of runs, readable by its owner alone, so a browser stays known when the server is started again.

References
----------
RFC 6265 (cookies; SameSite is of its draft revision), RFC 6454 (the Origin header), both from memory.
"""

from __future__ import annotations

import hashlib
import hmac
import ipaddress
import os
import secrets
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from urllib.parse import urlsplit

from plantsim.errors import StoreError
from plantsim.live.desk import ROLES

COOKIE = "plantsim_role"
LASTS = 12 * 3600
"""Time a cookie is good for [s]."""
MOST_BODY = 16_384
"""Longest request [bytes]."""
HEADERS = {
    "Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
    "connect-src 'self'; font-src 'self'; form-action 'self'; base-uri 'none'; "
    "frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}
"""Sent with every answer: nothing from elsewhere is loaded or run, and nobody frames the page."""


class Doorkeeper:
    """Gives out and reads cookies, and checks passwords.

    Parameters
    ----------
    secret : bytes
        What cookies are signed with.
    passwords : mapping of str to str
        Password of each role; empty: none is asked for.
    clock : callable
        Time of the day, [s]
    """

    def __init__(self, secret: bytes, passwords: Mapping[str, str], clock: Callable[[], float] = time.time) -> None:
        self._secret = secret
        self._passwords = dict(passwords)
        self._clock = clock

    @property
    def asks(self) -> bool:
        """Whether a password is asked for."""
        return bool(self._passwords)

    def admits(self, role: str, password: str) -> bool:
        """Whether a password is that of a role; all roles are open when none is asked for."""
        if role not in ROLES:
            return False
        if not self._passwords:
            return True
        wanted = self._passwords.get(role, "")
        return bool(wanted) and hmac.compare_digest(_digest(wanted), _digest(password))

    def cookie(self, role: str, name: str) -> str:
        """A cookie for somebody who was admitted."""
        clean = "".join(c for c in name if c.isalnum() or c in " -_")[:24].strip() or role
        body = f"{role}|{clean.encode().hex()}|{int(self._clock()) + LASTS}|{secrets.token_hex(8)}"
        return f"{body}|{self._sign(body)}"

    def read(self, cookie: str | None) -> tuple[str, str, str] | None:
        """Role, name and a key of whoever sends a cookie; None when it is not ours, or too old."""
        if not cookie or len(cookie) > 400:
            return None
        body, _, sign = cookie.rpartition("|")
        parts = body.split("|")
        if len(parts) != 4 or not hmac.compare_digest(sign.encode(), self._sign(body).encode()):
            return None
        role, name, until, key = parts
        if role not in ROLES or not until.isdigit() or int(until) < self._clock():
            return None
        return role, bytes.fromhex(name).decode(errors="replace"), key

    def _sign(self, body: str) -> str:
        return hmac.new(self._secret, body.encode(), hashlib.sha256).hexdigest()


def _digest(text: str) -> bytes:
    return hashlib.sha256(text.encode()).digest()


def secret_of(folder: Path) -> bytes:
    """The secret of a folder of runs; made when there is none.

    Raises
    ------
    StoreError
        If it cannot be made or read.
    """
    path = folder / ".training-secret"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        try:
            handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        except FileExistsError:
            return bytes.fromhex(path.read_text(encoding="ascii"))
        with os.fdopen(handle, "w", encoding="ascii") as file:
            file.write(secrets.token_hex(32))
        return bytes.fromhex(path.read_text(encoding="ascii"))
    except (OSError, ValueError) as error:
        raise StoreError(f"cannot keep the secret of the training page in {path}: {error}") from None


def is_loopback(host: str) -> bool:
    """Whether an address is this machine's own.

    >>> [is_loopback(h) for h in ("127.0.0.1", "::1", "localhost", "0.0.0.0", "192.168.0.4")]
    [True, True, True, False, False]
    """
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def host_allowed(header: str | None, bound: str, names: frozenset[str] = frozenset()) -> bool:
    """Whether a Host header names this server.

    A name that somebody else's name server could point at us would let a foreign page read ours; an address in figures
    cannot be pointed anywhere.

    Parameters
    ----------
    header : str or None
        The Host header.
    bound : str
        Address the server listens on.
    names : frozenset of str
        Further names it answers to.

    Examples
    --------
    >>> host_allowed("127.0.0.1:8765", "127.0.0.1"), host_allowed("evil.example:8765", "127.0.0.1")
    (True, False)
    >>> host_allowed("192.168.0.4:8765", "127.0.0.1"), host_allowed("192.168.0.4:8765", "0.0.0.0")
    (False, True)
    """
    host = urlsplit(f"//{header or ''}").hostname or ""
    if host in names or host == bound:
        return True
    if is_loopback(bound):
        return is_loopback(host)
    try:
        ipaddress.ip_address(host)
    except ValueError:
        return host == "localhost"
    return True


def same_origin(headers: Mapping[str, str]) -> bool:
    """Whether a request that changes something comes from our own page.

    Browsers send Origin with every such request; what sends none is no browser of ours, and is refused too.

    >>> same_origin({"origin": "http://127.0.0.1:8765", "host": "127.0.0.1:8765"})
    True
    >>> same_origin({"origin": "http://evil.example", "host": "127.0.0.1:8765"}), same_origin({"host": "127.0.0.1"})
    (False, False)
    """
    origin = headers.get("origin", "")
    site = headers.get("sec-fetch-site", "same-origin")
    return bool(origin) and urlsplit(origin).netloc == headers.get("host", "") and site in ("same-origin", "none")


class Limiter:
    """Buckets of leave to ask, one for each key, refilled evenly.

    Parameters
    ----------
    rate : float
        Requests a second.
    burst : float
        Most at once.
    clock : callable
        Wall clock, [s]
    """

    MOST_KEYS = 4096

    def __init__(self, rate: float, burst: float, clock: Callable[[], float] = time.monotonic) -> None:
        self._rate, self._burst, self._clock = rate, burst, clock
        self._buckets: dict[str, tuple[float, float]] = {}

    def take(self, key: str) -> bool:
        """Whether one more request is let through."""
        now = self._clock()
        if len(self._buckets) >= self.MOST_KEYS:
            full = self._burst / self._rate
            self._buckets = {k: v for k, v in self._buckets.items() if now - v[1] < full}
            if len(self._buckets) >= self.MOST_KEYS and key not in self._buckets:
                return False
        left, since = self._buckets.get(key, (self._burst, now))
        left = min(self._burst, left + (now - since) * self._rate)
        self._buckets[key] = (left - 1.0 if left >= 1.0 else left, now)
        return left >= 1.0
