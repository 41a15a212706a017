"""The server of the training page: files, one socket to each browser, and requests that change something.

Sockets only tell; whatever changes something comes as a POST of JSON, from our own page, with the cookie of a role, in
measure. What a role may not do is refused here and again at the plant (`desk`), however the request was made.
"""

from __future__ import annotations

import asyncio
import json
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, PlainTextResponse, RedirectResponse, Response
from starlette.routing import Mount, Route, WebSocketRoute
from starlette.staticfiles import StaticFiles
from starlette.types import ASGIApp, Message, Receive, Scope, Send
from starlette.websockets import WebSocket, WebSocketDisconnect

from plantsim.errors import PlantsimError
from plantsim.live.desk import TRAINER, Refusal
from plantsim.live.engine import Engine
from plantsim.live.security import COOKIE, HEADERS, LASTS, MOST_BODY, Doorkeeper, Limiter, host_allowed, same_origin

ASSETS = Path(__file__).resolve().parent / "assets"
MOST_BROWSERS = 80
"""Sockets open at once."""
BACKLOG = 40
"""States that may wait for a browser; one that falls further behind is let go, and comes back with a whole state."""


class Guard:
    """Around everything: refuses foreign names, adds the safety headers, stops what is too long."""

    def __init__(self, app: ASGIApp, bound: str, names: frozenset[str]) -> None:
        self.app, self.bound, self.names = app, bound, names

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        headers = {k.decode("latin-1").lower(): v.decode("latin-1") for k, v in scope["headers"]}
        if not host_allowed(headers.get("host"), self.bound, self.names):
            if scope["type"] == "websocket":
                await send({"type": "websocket.close", "code": 1008})
                return
            await PlainTextResponse("this server does not go by that name", 421, HEADERS)(scope, receive, send)
            return
        length = headers.get("content-length", "0")
        if not length.isdigit() or int(length) > MOST_BODY:
            await PlainTextResponse("too long", 413, HEADERS)(scope, receive, send)
            return

        async def answer(message: Message) -> None:
            if message["type"] == "http.response.start":
                known = {k.lower() for k, _ in message["headers"]}
                message["headers"] = [
                    *message["headers"],
                    *(
                        (k.lower().encode(), v.encode())
                        for k, v in HEADERS.items()
                        if k.lower().encode() not in known
                    ),
                ]
            await send(message)

        await self.app(scope, receive, answer if scope["type"] == "http" else send)


class Pages:
    """All routes over one engine.

    Parameters
    ----------
    engine : Engine
        The plant.
    door : Doorkeeper
        Roles and cookies.
    """

    def __init__(self, engine: Engine, door: Doorkeeper) -> None:
        self.engine, self.door = engine, door
        self.acts = Limiter(10.0, 30.0)
        self.reads = Limiter(30.0, 90.0)
        self.entries = Limiter(0.2, 10.0)
        self._browsers: dict[asyncio.Queue[str | None], tuple[str, str]] = {}
        self._loop: asyncio.AbstractEventLoop | None = None

    def routes(self) -> list[Any]:
        """Routes of the application."""
        return [
            Route("/", self.front),
            Route("/enter", self.enter, methods=["POST"]),
            Route("/leave", self.leave, methods=["POST"]),
            Route("/api/who", self.who),
            Route("/api/site", self.site),
            Route("/api/trend", self.trend),
            Route("/api/journal", self.journal),
            Route("/api/act", self.act, methods=["POST"]),
            Route("/debrief/{number:int}/", self.debrief),
            WebSocketRoute("/live", self.live),
            Mount("/assets", StaticFiles(directory=ASSETS)),
        ]

    # ------------------------------------------------------------------ entering
    def _known(self, source: Request | WebSocket) -> tuple[str, str, str] | None:
        return self.door.read(source.cookies.get(COOKIE))

    def _must(self, request: Request) -> tuple[str, str, str]:
        known = self._known(request)
        if known is None:
            raise HTTPException(401, "enter first")
        if not self.reads.take(known[2]):
            raise HTTPException(429, "too many requests")
        return known

    async def front(self, request: Request) -> Response:
        """The page itself."""
        return FileResponse(ASSETS / "page.html", media_type="text/html")

    async def who(self, request: Request) -> Response:
        """Who the browser is."""
        known = self._known(request)
        return JSONResponse(
            {
                "role": known[0] if known else "",
                "name": known[1] if known else "",
                "asks": self.door.asks,
                "title": self.engine.session.plant.model.title,
            }
        )

    async def enter(self, request: Request) -> Response:
        """Take a role."""
        body = await self._body(request)
        if not self.entries.take(_address(request)):
            raise HTTPException(429, "too many attempts; wait a minute")
        role, name = str(body.get("role", ""))[:20], str(body.get("name", ""))[:60]
        if not self.door.admits(role, str(body.get("password", ""))[:200]):
            raise HTTPException(403, "wrong password for this role" if self.door.asks else "no such role")
        answer = JSONResponse({"role": role})
        answer.set_cookie(
            COOKIE,
            self.door.cookie(role, name),
            max_age=LASTS,
            httponly=True,
            samesite="strict",
            secure=request.url.scheme == "https",
            path="/",
        )
        return answer

    async def leave(self, request: Request) -> Response:
        """Give the role back."""
        await self._body(request)
        answer = JSONResponse({})
        answer.delete_cookie(COOKIE, path="/")
        return answer

    async def _body(self, request: Request) -> dict[str, Any]:
        if not same_origin(request.headers):
            raise HTTPException(403, "a request from another page is refused")
        if request.headers.get("content-type", "").partition(";")[0].strip() != "application/json":
            raise HTTPException(415, "allowed: application/json")
        raw = b""
        async for part in request.stream():
            raw += part
            if len(raw) > MOST_BODY:
                raise HTTPException(413, "too long")
        try:
            body = json.loads(raw or b"{}")
        except (ValueError, RecursionError):
            raise HTTPException(400, "no JSON") from None
        if not isinstance(body, dict):
            raise HTTPException(400, "allowed: an object")
        return body

    # ------------------------------------------------------------------ reading
    async def site(self, request: Request) -> Response:
        """What does not change while a session runs."""
        role, name, _ = self._must(request)
        engine = self.engine
        site = engine.view.site(role)
        site.update(
            version=engine.version, name=name, session=engine.session.path.name, changes=engine.view.changes()
        )
        if role == TRAINER:
            coach = engine.requests.coach
            site.update(upsets=coach.upsets(), lessons=coach.lessons(), causes=engine.view.causes())
        return JSONResponse(site)

    async def trend(self, request: Request) -> Response:
        """Record of some points."""
        role, _, _ = self._must(request)
        query = request.query_params
        try:
            begins, ends = float(query.get("from", "0")), float(query.get("to", "0"))
            attempt = int(query.get("attempt", "0"))
        except ValueError:
            raise HTTPException(400, "from, to and attempt are numbers") from None
        names = [n for n in query.get("names", "").split(",") if n][:12]
        found = await asyncio.to_thread(self.engine.view.trend, role, names, begins, ends, attempt)
        return JSONResponse(found)

    async def journal(self, request: Request) -> Response:
        """Lines of the journal, the latest last."""
        role, _, _ = self._must(request)
        entries = self.engine.session.journal.entries[-400:]
        return JSONResponse(self.engine.view.journal(role, entries))

    async def debrief(self, request: Request) -> Response:
        """The page of an attempt that was judged."""
        self._must(request)
        pages = self.engine.requests.coach.debriefs(self.engine.session)
        path = pages.get(request.path_params["number"])
        if path is None:
            raise HTTPException(404, "no such debrief")
        return FileResponse(
            path,
            media_type="text/html",
            headers={
                "Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; img-src data:; "
                "frame-ancestors 'none'"
            },
        )

    # ------------------------------------------------------------------ acting
    async def act(self, request: Request) -> Response:
        """Do what is asked for, when the role may ask for it."""
        known = self._known(request)
        if known is None:
            raise HTTPException(401, "enter first")
        role, name, key = known
        if not self.acts.take(key):
            raise HTTPException(429, "too many requests")
        body = await self._body(request)
        try:
            answer = await asyncio.wrap_future(self.engine.ask(role, name, body))
        except Refusal as error:
            return JSONResponse({"refused": str(error)}, error.status)
        except PlantsimError as error:
            return JSONResponse({"refused": str(error)}, 409)
        return JSONResponse({"done": answer})

    # ------------------------------------------------------------------ telling
    async def live(self, socket: WebSocket) -> None:
        """Tell one browser every state until it goes."""
        known = self._known(socket)
        if known is None or not same_origin(socket.headers) or len(self._browsers) >= MOST_BROWSERS:
            await socket.close(1008)
            return
        await socket.accept()
        mine: asyncio.Queue[str | None] = asyncio.Queue(BACKLOG)
        first = self.engine.latest.get(known[0], "")
        if first:
            mine.put_nowait(first)
        self._browsers[mine] = known[0], first
        tell = asyncio.create_task(self._tell(socket, mine))
        try:
            while True:
                await socket.receive_text()  # nothing is asked for here; this waits for the end
        except (WebSocketDisconnect, RuntimeError, KeyError):
            pass
        finally:
            self._browsers.pop(mine, None)
            tell.cancel()

    async def _tell(self, socket: WebSocket, mine: asyncio.Queue[str | None]) -> None:
        while True:
            text = await mine.get()
            if text is None:
                await socket.close(1013)
                return
            await socket.send_text(text)

    def spread(self, role: str, text: str) -> None:
        """Give a state to all browsers of a role; called in the server's thread."""
        for mine, (whose, first) in list(self._browsers.items()):
            if whose != role or text is first:  # what it began with is not told again
                continue
            if mine.full():
                self._browsers.pop(mine, None)
                while not mine.empty():
                    mine.get_nowait()
                mine.put_nowait(None)
            else:
                mine.put_nowait(text)


def _address(request: Request) -> str:
    return request.client.host if request.client else ""


async def _told(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    return JSONResponse({"refused": error.detail}, error.status_code)


async def _lost(request: Request, error: Exception) -> Response:
    return (
        RedirectResponse("/")
        if request.url.path.startswith("/debrief/")
        else JSONResponse({"refused": "not here"}, 404)
    )


def make_app(
    engine: Engine, door: Doorkeeper, bound: str = "127.0.0.1", names: frozenset[str] = frozenset()
) -> Starlette:
    """The application over an engine.

    Parameters
    ----------
    engine : Engine
        The plant; started and stopped by whoever made it.
    door : Doorkeeper
        Roles and cookies.
    bound : str
        Address the server listens on.
    names : frozenset of str
        Further names it answers to.
    """
    from contextlib import asynccontextmanager

    pages = Pages(engine, door)

    @asynccontextmanager
    async def lifespan(app: Starlette) -> Any:
        loop = asyncio.get_running_loop()
        alive = True

        def hear(role: str, text: str) -> None:
            if alive:
                loop.call_soon_threadsafe(pages.spread, role, text)

        engine.listen(hear)
        yield
        alive = False

    return Starlette(
        routes=pages.routes(),
        middleware=[Middleware(Guard, bound=bound, names=names)],
        exception_handlers={HTTPException: _told, 404: _lost},
        lifespan=lifespan,
    )
