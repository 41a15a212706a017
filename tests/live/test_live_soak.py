"""Thirty browsers for ten minutes at 60x: no state lost, memory that stays, simulated time right to the tick."""

from __future__ import annotations

import asyncio
import json
import os
import signal
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest
from live_rig import ROOT, SAND, plant

from plantsim.live.session import POINT, read_point

CLIENTS, SPEED = 30, 60.0
SECONDS = float(os.environ.get("PLANTSIM_SOAK_SECONDS", "600"))


def memory_of(pid: int) -> float:
    """Resident memory of a process [MB]."""
    pages = int(Path(f"/proc/{pid}/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def processor_of(pid: int) -> float:
    """Processor time a process has used [s]."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


class Client:
    """One browser, as far as the server can tell."""

    def __init__(self, home: str, role: str) -> None:
        self.home, self.role = home, role
        self.numbers: list[int] = []
        self.ticks: list[int] = []
        self.waits: list[float] = []

    def post(self, path: str, body: dict) -> str:
        head = {"Content-Type": "application/json", "Origin": self.home, "Cookie": getattr(self, "cookie", "")}
        ask = urllib.request.Request(self.home + path, json.dumps(body).encode(), head, method="POST")
        with urllib.request.urlopen(ask, timeout=20) as answer:
            if path == "/enter":
                self.cookie = answer.headers["Set-Cookie"].split(";")[0]
            return answer.read().decode()

    async def hear(self, ended: asyncio.Event) -> None:
        from websockets.asyncio.client import connect

        url = self.home.replace("http", "ws") + "/live"
        async with connect(url, origin=self.home, additional_headers={"Cookie": self.cookie}, max_size=2**22) as socket:
            last = time.monotonic()
            while not ended.is_set():
                state = json.loads(await asyncio.wait_for(socket.recv(), 20))
                now = time.monotonic()
                self.numbers.append(state["n"])
                self.ticks.append(state["tick"])
                self.waits.append(now - last)
                last = now


@pytest.mark.slow
def test_thirty_browsers_lose_nothing_and_time_is_right_to_the_tick(tmp_path: Path) -> None:
    import socket as sockets

    with sockets.socket() as s:
        s.bind(("127.0.0.1", 0))
        port = s.getsockname()[1]
    home = f"http://127.0.0.1:{port}"
    words = [sys.executable, "-m", "plantsim", "train", SAND, "--port", str(port), "--out", str(tmp_path)]
    with (tmp_path / "log").open("w") as log:
        process = subprocess.Popen(words, cwd=ROOT, stdout=log, stderr=subprocess.STDOUT)
    try:
        end = time.monotonic() + 180
        while True:
            try:
                urllib.request.urlopen(home + "/api/who", timeout=1).close()
                break
            except OSError:
                assert process.poll() is None and time.monotonic() < end, (tmp_path / "log").read_text()
                time.sleep(0.2)
        trainer = Client(home, "trainer")
        trainer.post("/enter", {"role": "trainer", "name": "T"})
        # one address knocks thirty times: the door opens in measure, so all share the operator's cookie
        one = Client(home, "operator")
        one.post("/enter", {"role": "operator", "name": "O"})
        others = [Client(home, "operator") for _ in range(CLIENTS - 2)]
        for client in others:
            client.cookie = one.cookie  # type: ignore[attr-defined]
        everybody = [trainer, one, *others]
        asyncio.run(_soak(process.pid, everybody, trainer))
        folder = next(tmp_path.glob("*/journal.jsonl")).parent
    finally:
        process.send_signal(signal.SIGTERM)
        process.wait(30)
    for client in everybody:
        assert client.numbers == list(range(client.numbers[0], client.numbers[0] + len(client.numbers))), "a gap"
        assert client.ticks == sorted(client.ticks)
        assert max(client.waits[3:]) < 2.0 and len(client.numbers) >= 2.0 * SECONDS
    kept = read_point(folder / POINT)
    assert kept is not None and kept[0].tick == max(trainer.ticks)
    alone = plant()
    alone.advance(kept[0].tick)
    assert alone.sim.save().memory == kept[0].memory


async def _soak(pid: int, everybody: list[Client], trainer: Client) -> None:
    ended = asyncio.Event()
    hearing = [asyncio.create_task(c.hear(ended)) for c in everybody]
    await asyncio.sleep(2.0)
    await asyncio.to_thread(trainer.post, "/api/act", {"act": "speed", "speed": SPEED})
    before = time.monotonic()
    await asyncio.to_thread(trainer.post, "/api/act", {"act": "run"})
    began = time.monotonic()
    used = processor_of(pid)
    await asyncio.sleep(min(60.0, SECONDS / 3.0))
    early = memory_of(pid)
    await asyncio.sleep(max(0.0, SECONDS - (time.monotonic() - began)))
    late, spent = memory_of(pid), processor_of(pid) - used
    asked = time.monotonic()
    await asyncio.to_thread(trainer.post, "/api/act", {"act": "pause"})
    done = time.monotonic()
    await asyncio.sleep(1.5)
    ended.set()
    await asyncio.gather(*hearing)
    tick = trainer.ticks[-1]
    longest = max(max(c.waits[3:]) for c in everybody)
    print(
        f"\n{len(everybody)} browsers, {done - before:.0f} s at {SPEED:g}x: {tick} ticks, "
        f"{len(trainer.numbers)} states each, longest wait {longest:.2f} s, memory {early:.0f} -> {late:.0f} MB, "
        f"processor {100 * spent / (done - before):.0f} %"
    )
    assert SPEED * (asked - began) - 1 <= tick <= SPEED * (done - before) + 1  # as near as two clocks can tell
    assert late - early < 40.0
