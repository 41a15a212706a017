"""The server, asked as a browser would and as one would by hand: roles, origins, names, sizes, rates."""

from __future__ import annotations

import json
import time

import pytest
from live_rig import engine
from starlette.testclient import TestClient
from starlette.websockets import WebSocketDisconnect

from plantsim.live.desk import MAY, OPERATOR, TRAINER
from plantsim.live.security import COOKIE, MOST_BODY, Doorkeeper
from plantsim.live.server import make_app

HOME = "http://127.0.0.1:8765"
OURS = {"origin": HOME}
SOCKET = "ws://127.0.0.1:8765/live"


@pytest.fixture
def served(tmp_path):
    e, _ = engine(tmp_path)
    e._clock = e.pace._clock = time.monotonic
    app = make_app(e, Doorkeeper(b"s" * 32, {}))
    e.start()
    with TestClient(app, base_url=HOME) as client:
        yield e, app, client
    e.stop()


def enter(client: TestClient, role: str, name: str = "Ann", **more: str):
    return client.post("/enter", json={"role": role, "name": name, **more}, headers=OURS)


def act(client: TestClient, headers=OURS, **body):
    return client.post("/api/act", json=body, headers=headers)


def test_the_page_and_its_parts_come_from_here_alone(served) -> None:
    _, _, client = served
    page = client.get("/")
    assert page.status_code == 200 and "Simulated values only" in page.text
    policy = page.headers["content-security-policy"]
    assert "default-src 'none'" in policy and "script-src 'self'" in policy and "unsafe" not in policy
    assert page.headers["x-content-type-options"] == "nosniff" and page.headers["x-frame-options"] == "DENY"
    links = [w.split('"')[0] for part in ("src=", "href=") for w in page.text.split(f'{part}"')[1:]]
    assert links and all(link.startswith(("/assets/", "#")) for link in links)
    size = 0
    for link in (x for x in links if x.startswith("/")):
        answer = client.get(link)
        assert answer.status_code == 200, link
        size += len(answer.content)
        if link.endswith(".js") and "vendor" not in link:
            assert "innerHTML" not in answer.text and "eval(" not in answer.text  # texts are only shown
    assert size < 120_000  # a light page
    assert client.get("/assets/../server.py").status_code == 404
    assert client.get("/assets/%2e%2e/server.py").status_code == 404


def test_nothing_is_told_to_who_has_not_entered(served) -> None:
    _, _, client = served
    for path in ("/api/site", "/api/trend?names=LT-101&from=0&to=1", "/api/journal", "/debrief/1/"):
        assert client.get(path).status_code == 401, path
    assert act(client, act="set", path="underflow.setpoint", value=1.2).status_code == 401
    with pytest.raises(WebSocketDisconnect), client.websocket_connect(SOCKET, headers=OURS):
        pass


def test_an_operator_works_the_plant(served) -> None:
    e, _, client = served
    assert enter(client, "operator").json() == {"role": "operator"}
    site = client.get("/api/site").json()
    assert site["role"] == "operator" and "upsets" not in site and site["alarms"]
    answer = act(client, act="set", path="underflow.setpoint", value=1.2)
    assert answer.status_code == 200 and answer.json()["done"] == 1
    assert e.session.plant.value("underflow.setpoint") == pytest.approx(1.2)
    refused = act(client, act="set", path="underflow.setpoint", value=99)
    assert refused.status_code == 400 and "0.2 to 5 m" in refused.json()["refused"]


@pytest.mark.parametrize("body", [{"act": a} for a in sorted(MAY[TRAINER] - MAY[OPERATOR])])
def test_an_operator_cannot_do_a_trainers_acts_by_hand(served, body) -> None:
    e, _, client = served
    enter(client, "operator")
    for extra in ({}, {"role": "trainer"}, {"who": "trainer"}):
        answer = act(client, **body, **extra)
        assert answer.status_code in (400, 403) and "refused" in answer.json()
    assert act(client, **body).status_code == 403
    assert client.post("/api/act?role=trainer", json=body, headers=OURS).status_code == 403
    forged = client.cookies[COOKIE].strip('"').replace("operator", "trainer", 1)
    mallory = TestClient(client.app, base_url=HOME, cookies={COOKIE: forged})
    assert act(mallory, **body).status_code == 401
    assert not e.session.journal.entries and not e.pace.running and e.version == 1


@pytest.mark.parametrize(
    "headers",
    [{}, {"origin": "http://evil.example"}, {"origin": "null"}, {"origin": "http://127.0.0.1:9999"},
     {**OURS, "sec-fetch-site": "cross-site"}],
)  # fmt: skip
def test_requests_of_other_pages_are_refused(served, headers) -> None:
    e, _, client = served
    enter(client, "trainer")
    assert act(client, headers=headers, act="run").status_code == 403
    assert client.post("/enter", json={"role": "trainer"}, headers=headers).status_code == 403
    with pytest.raises(WebSocketDisconnect), client.websocket_connect(SOCKET, headers=headers):
        pass
    assert not e.session.journal.entries


def test_cookies_stay_on_this_site_and_out_of_scripts(served) -> None:
    _, _, client = served
    cookie = enter(client, "trainer").headers["set-cookie"].lower()
    assert "httponly" in cookie and "samesite=strict" in cookie and "path=/" in cookie


def test_a_foreign_name_is_refused(served) -> None:
    _, _, client = served
    for path in ("/", "/api/who", "/assets/main.js"):
        assert client.get(path, headers={"host": "plant.evil.example:8765"}).status_code == 421
    with pytest.raises(WebSocketDisconnect), client.websocket_connect(SOCKET, headers={**OURS, "host": "evil.example"}):
        pass


def test_what_is_too_long_or_no_json_is_refused(served) -> None:
    _, _, client = served
    enter(client, "trainer")
    head = {**OURS, "content-type": "application/json"}
    assert client.post("/api/act", content=b"x" * (MOST_BODY + 1), headers=head).status_code == 413

    def long():
        for _ in range(40):
            yield b"x" * 1000

    assert client.post("/api/act", content=long(), headers=head).status_code == 413  # no length was said
    for content in (b"{", b"[]", b"\xff", b"[" * 15000):
        assert client.post("/api/act", content=content, headers=head).status_code == 400
    form = {**OURS, "content-type": "text/plain"}
    assert client.post("/api/act", content=b'{"act":"run"}', headers=form).status_code == 415
    assert client.get("/api/trend?names=LT-101&from=x").status_code == 400


def test_too_many_requests_are_refused(served) -> None:
    _, _, client = served
    enter(client, "operator")
    codes = [act(client, act="note", text="x").status_code for _ in range(45)]
    assert codes[0] == 200 and codes[-1] == 429
    wrong = [client.post("/enter", json={"role": "boss"}, headers=OURS).status_code for _ in range(15)]
    assert wrong[0] == 403 and wrong[-1] == 429


def test_a_password_is_asked_for_when_there_is_one(tmp_path) -> None:
    e, _ = engine(tmp_path)
    e.start()
    door = Doorkeeper(b"s" * 32, {"trainer": "one", "operator": "two"})
    with TestClient(make_app(e, door, "0.0.0.0"), base_url="http://10.1.2.3:8765") as client:
        ours = {"origin": "http://10.1.2.3:8765"}
        assert client.get("/api/who").json()["asks"] is True
        for role, password in (("trainer", ""), ("trainer", "two"), ("operator", "one")):
            body = {"role": role, "password": password}
            assert client.post("/enter", json=body, headers=ours).status_code == 403
        body = {"role": "trainer", "password": "one"}
        assert client.post("/enter", json=body, headers=ours).status_code == 200
        assert client.post("/api/act", json={"act": "pause"}, headers=ours).status_code == 200
    e.stop()


def test_states_come_by_the_socket_to_both_roles(served) -> None:
    e, app, client = served
    enter(client, "trainer")
    other = TestClient(app, base_url=HOME)
    enter(other, "operator", "Bo")
    with client.websocket_connect(SOCKET, headers=OURS) as trainer:
        first = json.loads(trainer.receive_text())
        assert first["k"] == "state" and "upsets" in first
        act(client, act="speed", speed=600)
        act(client, act="run")
        seen = [json.loads(trainer.receive_text()) for _ in range(8)]
        assert [s["n"] for s in seen] == list(range(seen[0]["n"], seen[0]["n"] + 8))
        assert seen[-1]["tick"] > seen[0]["tick"]
        trainer.send_text('{"act":"pause"}')  # nothing is asked for by the socket
        time.sleep(0.3)
        assert e.pace.running
    assert act(other, act="pause").status_code == 403


def test_a_browser_that_falls_behind_is_let_go(served) -> None:
    import asyncio

    from plantsim.live.server import BACKLOG, Pages

    pages = Pages(served[0], Doorkeeper(b"s", {}))
    slow: asyncio.Queue[str | None] = asyncio.Queue(BACKLOG)
    pages._browsers[slow] = "operator", ""
    for i in range(BACKLOG + 5):
        pages.spread("operator", str(i))
    assert slow not in pages._browsers and slow.get_nowait() is None and slow.empty()
