"""The engine: one thread that paces a live plant against the wall clock and does what is asked for between two ticks.

Browsers never touch the plant. Their requests wait in a queue; the thread takes them out between two calls of the
kernel, judges them (`requests`), journals and does them (`session`), and tells all listeners how the plant stands. The
kernel runs without the interpreter's lock, in calls of bounded length, so the server answers meanwhile.
"""

from __future__ import annotations

import json
import queue
import threading
import time
from collections.abc import Callable
from concurrent.futures import Future
from typing import Any

from plantsim.errors import PlantsimError, RunFault
from plantsim.live.desk import OPERATOR, TRAINER, Refusal
from plantsim.live.pacing import Pace
from plantsim.live.requests import Requests
from plantsim.live.session import Session
from plantsim.live.views import View

PUBLISH = 0.25
"""Time between two states told to the listeners [s]."""
CALL = 0.05
"""Most wall time a call of the kernel is meant to take [s]."""
TICKS_A_CALL = 5000
CHECKPOINT = 5.0
"""Time between two save points on the disk [s]."""
LONGEST = 10 * 86400.0
"""Simulated time after which a session stands: its record is kept in memory [s]."""

Listener = Callable[[str, str], None]
"""Takes a role and a message for it."""


class Engine:
    """Runs one session at a time.

    Parameters
    ----------
    session : Session
        What runs first.
    requests : Requests
        Judges and does what is asked for.
    clock : callable
        Wall clock, [s]
    """

    def __init__(self, session: Session, requests: Requests, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self.requests = requests
        self.requests.engine = self
        self.fault = ""
        self.late = False
        self.version = 0
        self._sequence = 0
        self._told = 0
        self._queue: queue.Queue[tuple[str, str, Any, Future[Any]] | None] = queue.Queue(maxsize=256)
        self._listeners: list[Listener] = []
        self._thread: threading.Thread | None = None
        self._published = self._checked = 0.0
        self.latest: dict[str, str] = {}
        self.take(session)

    def take(self, session: Session) -> None:
        """Run another session from now on; it stands at first."""
        self.session = session
        self.pace = Pace(session.plant.model.step, self._clock)
        self.pace.pause(session.plant.tick)
        self.pace.speed = self.requests.coach.speed_of(session)
        self.view = View(session)
        self.fault = ""
        self.version += 1
        self._told = 0

    # ------------------------------------------------------------------ from other threads
    def start(self) -> None:
        """Begin to run."""
        self._thread = threading.Thread(target=self._run, name="plant", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """End, with a save point on the disk."""
        if self._thread is not None:
            self._queue.put(None)
            self._thread.join()
            self._thread = None

    def listen(self, listener: Listener) -> None:
        """Tell a listener every state from now on; it is called from the engine's thread."""
        self._listeners.append(listener)

    def ask(self, role: str, who: str, body: Any) -> Future[Any]:
        """Ask for something; the answer comes when it is done.

        Raises
        ------
        Refusal
            If too much waits already.
        """
        future: Future[Any] = Future()
        try:
            self._queue.put_nowait((role, who, body, future))
        except queue.Full:
            raise Refusal("too many requests wait; try again", 503) from None
        return future

    # ------------------------------------------------------------------ the thread
    def _run(self) -> None:
        while True:
            try:
                item = self._queue.get(timeout=self._wait())
                if item is None:
                    break
                self._answer(*item)
            except queue.Empty:
                pass
            try:
                self.turn()
            except Exception as error:  # the thread lives on: the page says what is wrong, and there is a way back
                self.pace.pause(self.session.plant.tick)
                self.fault = f"a fault of the program: {type(error).__name__}: {error}"
        self.session.checkpoint()

    def _wait(self) -> float:
        """Seconds until something is to be done."""
        if not self.pace.running:
            return PUBLISH
        return max(0.005, min(self.pace.step / self.pace.speed, 0.05))

    def turn(self) -> None:
        """Bring the plant to where the clock wants it, and tell how it stands."""
        plant = self.session.plant
        goal = self.pace.due(plant.tick)
        began = self._clock()
        limit = round(LONGEST / plant.model.step)
        try:
            while plant.tick < min(goal, limit) and self._clock() - began < CALL * 4:
                plant.advance(min(goal, limit, plant.tick + TICKS_A_CALL, self.requests.until()))
                if self.requests.over():
                    break
        except RunFault as error:
            self.fault = str(error)
            self.pace.pause(plant.tick)
        if plant.tick >= limit and self.pace.running:
            self.pace.pause(plant.tick)
            self.fault = "the session has reached its longest time; begin another one, or go back"
        self.pace.arrived(plant.tick)
        self.requests.watch()
        now = self._clock()
        if now - self._published >= PUBLISH:
            self.publish(now)
        if now - self._checked >= CHECKPOINT:
            self._checked = now
            self.session.checkpoint()

    def _answer(self, role: str, who: str, body: Any, future: Future[Any]) -> None:
        if not future.set_running_or_notify_cancel():
            return
        # the plant stands where the clock wants it before anything is done to it
        self.turn()
        try:
            answer = self.requests.do(role, who, body)
        except PlantsimError as error:
            future.set_exception(error)
        except Exception as error:
            future.set_exception(error)
        else:
            self.publish(self._clock())
            future.set_result(answer)

    def publish(self, now: float) -> None:
        """Tell the listeners how the plant stands."""
        self._published = now
        self._sequence += 1
        head: dict[str, Any] = {
            "k": "state",
            "n": self._sequence,
            "version": self.version,
            "speed": self.pace.speed,
            "running": self.pace.running,
            "late": round(self.pace.given_up, 1),
            "fault": self.fault,
            "lesson": self.requests.lesson_state(),
        }
        entries = self.session.journal.entries
        fresh, self._told = entries[self._told :], len(entries)
        for role in (OPERATOR, TRAINER):
            state = {**head, **self.view.state(role)}
            if fresh:
                state["journal"] = self.view.journal(role, fresh)
            self.latest[role] = text = json.dumps(state, separators=(",", ":"), allow_nan=False)
            for listener in self._listeners:
                listener(role, text)
