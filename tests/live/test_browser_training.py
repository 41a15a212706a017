"""The training page in a real browser: a trainer and an operator at one plant, end to end.

Run with `pytest -m browser`; chromium and chromedriver must be installed (Debian packages `chromium` and
`chromium-driver`).
"""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from live_rig import ROOT

pytestmark = pytest.mark.browser

WAIT = 25.0


def free_port() -> int:
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return int(s.getsockname()[1])


class Served:
    """A training page in a process of its own, as a user starts it."""

    def __init__(self, out: Path, *words: str) -> None:
        self.out, self.port = out, free_port()
        self.home = f"http://127.0.0.1:{self.port}"
        self.start(*words)

    def start(self, *words: str) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", "plantsim", "train", *words, "--port", str(self.port), "--out", str(self.out)],
            cwd=ROOT,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        until(self.answers, 180.0)
        lines = iter(self.process.stdout.readline, "") if self.process.stdout else iter(())
        self.session = next(line.split()[1] for line in lines if line.startswith("session "))

    def answers(self) -> bool:
        assert self.process.poll() is None, self.process.stdout.read() if self.process.stdout else ""
        try:
            with urllib.request.urlopen(self.home + "/api/who", timeout=2) as answer:
                return answer.status == 200
        except (urllib.error.URLError, OSError):
            return False

    def kill(self, how: int = signal.SIGKILL) -> None:
        self.process.send_signal(how)
        self.process.wait(20)
        if self.process.stdout:
            self.process.stdout.close()


def until(true: Callable[[], Any], seconds: float = WAIT) -> Any:
    """Wait until something is true, and give it."""
    end = time.monotonic() + seconds
    while True:
        found = true()
        if found:
            return found
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.1)


class Browser:
    """One browser with one role."""

    def __init__(self, home: str, width: int = 1280, height: int = 720) -> None:
        from selenium import webdriver

        options = webdriver.ChromeOptions()
        for word in (
            "--headless=new",
            "--no-sandbox",
            "--disable-gpu",
            "--disable-dev-shm-usage",
            f"--window-size={width},{height}",
        ):
            options.add_argument(word)
        options.binary_location = os.environ.get("CHROMIUM", "/usr/bin/chromium")
        options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
        service = webdriver.ChromeService(os.environ.get("CHROMEDRIVER", "/usr/bin/chromedriver"))
        self.driver = webdriver.Chrome(options=options, service=service)
        self.home = home
        self.size(width, height)

    def size(self, width: int, height: int) -> None:
        metrics = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": False}
        self.driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)

    def enter(self, role: str, name: str) -> Browser:
        self.driver.get(self.home + "/")
        until(lambda: self.find("#enter") and self.find("#enter")[0].is_displayed())
        self.click(f"input[value={role}]")
        self.find("[name=name]")[0].send_keys(name)
        self.click("#enter button")
        until(lambda: self.find("#alarms") and self.find("#alarms")[0].is_displayed() and self.tick() >= 0)
        return self

    def press(self, words: str, where: str = "#plate", last: bool = False) -> None:
        """Click the button with these words."""
        until(
            lambda: self.script(
                "const [words, where, last] = arguments;"
                "const all = [...document.querySelectorAll(`${where} button`)].filter(b => b.textContent === words);"
                "const one = last ? all.pop() : all[0]; one?.click(); return Boolean(one)",
                words, where, last,
            )
        )

    def find(self, css: str) -> list[Any]:
        return self.driver.find_elements("css selector", css)

    def click(self, css: str) -> None:
        until(
            lambda: self.script(
                "const e=document.querySelector(arguments[0]); if(!e||e.disabled) return false;"
                "e.dispatchEvent(new MouseEvent('click',{bubbles:true})); return true",
                css,
            )
        )

    def script(self, text: str, *arguments: Any) -> Any:
        return self.driver.execute_script(text, *arguments)

    def text(self, css: str) -> str:
        return str(self.script("return document.querySelector(arguments[0])?.textContent ?? ''", css))

    def tick(self) -> int:
        return int(self.script("return document.body.dataset.tick ?? -1"))

    def ask(self, body: dict[str, Any]) -> tuple[int, dict[str, Any]]:
        """A request made by hand, with the cookie of this browser."""
        return tuple(
            self.driver.execute_async_script(  # type: ignore[return-value]
                "const [body, done] = arguments; fetch('/api/act', {method: 'POST', headers: {'Content-Type': "
                "'application/json'}, body: JSON.stringify(body)}).then(async a => done([a.status, await a.json()]))",
                body,
            )
        )

    def mistakes(self) -> list[str]:
        """What the page said went wrong, apart from a server that was away."""
        lines = [e["message"] for e in self.driver.get_log("browser") if e["level"] == "SEVERE"]
        return [x for x in lines if "ERR_CONNECTION" not in x and "WebSocket" not in x and "status of 40" not in x]


@pytest.fixture
def people(tmp_path: Path) -> Iterator[Callable[..., Any]]:
    """Opens a page and browsers, and closes them all."""
    opened: list[Any] = []

    def serve(*words: str) -> tuple[Served, Browser, Browser]:
        served = Served(tmp_path / "runs", *words)
        opened.append(served)
        trainer = Browser(served.home)
        opened.append(trainer)
        operator = Browser(served.home)
        opened.append(operator)
        return served, trainer.enter("trainer", "Tess"), operator.enter("operator", "Olu")

    yield serve
    for one in reversed(opened):
        if isinstance(one, Browser):
            one.driver.quit()
        elif one.process.poll() is None:
            one.kill(signal.SIGTERM)


def test_trip_alarm_answer_score_and_a_second_attempt(people) -> None:
    _, trainer, operator = people("configs/gravel-pit.yaml", "--lesson", "duty-pump-trip")
    begins = trainer.tick()
    assert begins == 4 * 3600
    assert not operator.find("#tab-upsets") and not operator.find("#run")
    trainer.click("[data-speed='600']")
    # the trainer trips the pump before the lesson would, and the operator is not told
    trainer.click("#tab-upsets")
    until(lambda: trainer.find("#start-upset"))
    trainer.script(
        "const s = document.querySelector('#upset'); s.value = 'duty-pump-trip'; s.dispatchEvent(new Event('change'))"
    )
    trainer.click("#start-upset")
    until(lambda: "hidden" in trainer.text("#panel .card"))
    trainer.click("#run")
    # the operator sees the alarm and what stands
    until(lambda: "YA-102" in operator.text("#alarm-list") or "YA-101" in operator.text("#alarm-list"), 40)
    trainer.click("#run")
    until(lambda: "time stands" in operator.text("#pace-words"))
    assert "tripped" in operator.script(
        "return [...document.querySelectorAll('.drive')].map(d => d.textContent).join()"
    )
    assert "unacknowledged" in operator.text("#alarm-list")
    operator.click("#ack-all")
    until(lambda: ", 0 to acknowledge" in operator.text("#alarm-count"))
    until(lambda: ", 0 to acknowledge" in trainer.text("#alarm-count"))  # two roles at one plant
    # the operator asks the crew, from the faceplate of the line
    operator.click("[data-unit='sump-line']")
    until(lambda: not operator.script("return document.querySelector('#plate').hidden"))
    for name in ("P-102", "P-103"):
        operator.press(f"repair {name}")
    trainer.click("#tab-journal")
    until(lambda: "crew asked to repair P-103" in trainer.text("#panel"))
    # speed by hand through the program's own logic
    operator.press("Hand")
    until(lambda: "sump-level.hand off -> on" in trainer.text("#panel"))
    operator.press("Automatic")
    trainer.click("#run")
    until(lambda: trainer.tick() > begins + 4200, 40)
    first = trainer.tick()
    # back to the beginning, and a second attempt beside the first
    trainer.click("#tab-time")
    until(lambda: "start of the session" in trainer.text("#panel"))
    trainer.press("Go back to it", "#panel", last=True)
    until(lambda: trainer.tick() == begins and "attempt 2" in trainer.text("#pace-words"))
    until(lambda: operator.tick() == begins)
    until(lambda: trainer.script("return document.querySelector('#beside').options.length") == 2)
    trainer.script("const s = document.querySelector('#beside'); s.value = '1'; s.dispatchEvent(new Event('change'))")
    trainer.click("#run")
    until(lambda: trainer.tick() > first - 300, 40)
    until(lambda: not operator.text("#alarm-count").startswith("0 "))
    # the score comes
    trainer.click("#tab-lesson")
    trainer.click("#finish")
    until(lambda: trainer.find(".debrief"), 60)
    link = trainer.find(".debrief")[0].get_attribute("href")
    operator.click("#tab-lesson")
    until(lambda: operator.find(".debrief"))
    trainer.driver.get(link)
    page = trainer.driver.find_element("css selector", "body").text
    assert "of 100 points" in page and "no action" in page and "best response" in page and "attempt\n2" in page
    assert "The pump that carries the flow trips" in page
    assert trainer.mistakes() == [] and operator.mistakes() == []
    assert "Simulated values only" in operator.text("footer")


def test_an_operator_cannot_do_a_trainers_acts_by_hand_made_requests(people) -> None:
    served, trainer, operator = people("configs/small-sand.yaml")
    for body in (
        {"act": "run"},
        {"act": "speed", "speed": 600},
        {"act": "back", "seconds": 0},
        {"act": "finish"},
        {"act": "cause", "set": "P-101.trip", "to": "on"},
        {"act": "upset", "upset": "duty-pump-trip"},
        {"act": "lesson", "name": "level-that-stands"},
        {"act": "reveal"},
    ):
        status, said = operator.ask(body)
        assert status == 403 and "for the trainer" in said["refused"], body
    assert operator.ask({"act": "set", "path": "underflow.setpoint", "value": 1.2})[0] == 200
    assert trainer.ask({"act": "cause", "set": "P-101.trip", "to": "on"})[0] == 200
    trainer.click("#minute")
    until(lambda: "YA-101" in operator.text("#alarm-list"))
    page = operator.driver.page_source + operator.text("#panel")
    assert "P-101.trip to on" not in page  # hidden causes stay hidden
    lines = [json.loads(x) for x in Path(served.session, "journal.jsonl").read_text().splitlines()]
    assert [x["act"] for x in lines] == ["set", "cause", "minute"]


def test_killed_in_a_lesson_it_goes_on_and_browsers_come_back(people) -> None:
    served, trainer, operator = people("configs/small-sand.yaml", "--lesson", "level-that-stands")
    trainer.click("[data-speed='60']")
    trainer.click("#run")
    until(lambda: trainer.tick() > 3 * 3600 + 660, 60)
    operator.ask({"act": "set", "path": "sump-level.hand_pumps", "value": 1})
    operator.ask({"act": "set", "path": "sump-level.hand", "value": True})
    done = operator.tick()
    served.kill(signal.SIGKILL)
    until(lambda: "connection lost" in operator.text("#connection"))
    folder = Path(served.session)
    assert (folder / "save.point").exists()
    assert [json.loads(x)["act"] for x in (folder / "journal.jsonl").read_text().splitlines()][-2:] == ["set", "set"]
    served.start("--resume", str(folder))
    until(lambda: operator.text("#connection") == "" and "time stands" in operator.text("#pace-words"), 40)
    assert operator.tick() >= done  # nothing that was done is lost
    operator.click("#tab-programs")
    until(lambda: "In hand: sump-level" in operator.text("#panel"))
    until(lambda: trainer.find("#run"))
    trainer.click("#run")
    until(lambda: operator.tick() > done + 120, 60)
    operator.click("#tab-lesson")
    until(lambda: "A level that stands" in operator.text("#panel"))
    assert operator.mistakes() == []


def test_it_is_light_reachable_by_keys_and_fits(people) -> None:
    served, trainer, operator = people("configs/gravel-pit.yaml")
    operator.driver.get(served.home + "/")
    until(lambda: operator.tick() >= 0)
    paint = operator.script("return performance.getEntriesByName('first-contentful-paint')[0].startTime")
    assert paint < 2000.0
    foreign = operator.script(
        "return performance.getEntriesByType('resource').map(r => r.name).filter(n => !n.startsWith(location.origin))"
    )
    assert foreign == []
    # states come at least twice a second
    trainer.click("#run")
    first = int(operator.script("return document.body.dataset.sequence"))
    time.sleep(3.0)
    assert int(operator.script("return document.body.dataset.sequence")) - first >= 6
    # everything can be reached and used by the keys alone
    from selenium.webdriver.common.keys import Keys

    node = operator.find("[data-unit='sump']")[0]
    operator.script("arguments[0].focus()", node)
    operator.driver.switch_to.active_element.send_keys(Keys.ENTER)
    until(lambda: not operator.script("return document.querySelector('#plate').hidden"))
    operator.driver.switch_to.active_element.send_keys(Keys.ESCAPE)
    assert operator.script("return document.querySelector('#plate').hidden")
    assert operator.script("return document.activeElement.dataset.unit") == "sump"
    bare = operator.script(
        "return [...document.querySelectorAll('button, input, select')].filter(e => e.offsetParent && "
        "!(e.textContent.trim() || e.title || e.ariaLabel || e.labels?.length)).map(e => e.outerHTML)"
    )
    assert bare == []
    for width, height in ((1280, 720), (1024, 768), (768, 1024)):
        for one in (trainer, operator):
            one.size(width, height)
            time.sleep(0.3)
            wide = one.script("return [document.documentElement.scrollWidth, document.documentElement.scrollHeight]")
            assert wide[0] <= width and wide[1] <= height, (width, height, wide)
            for part in ("#plant", "#alarms", "#trends", "#side", "footer"):
                box = one.script(
                    "const r=document.querySelector(arguments[0]).getBoundingClientRect();"
                    "return [r.left, r.top, r.right, r.bottom, r.width, r.height]",
                    part,
                )
                assert box[4] > 100 and box[5] > 15 and box[2] <= width + 1, (part, box)
    assert trainer.mistakes() == [] and operator.mistakes() == []
