"""`plantsim train`: a live plant with a page for a trainer and operators."""

from __future__ import annotations

import argparse
import os
import secrets
import signal
import sys
from pathlib import Path
from typing import Any

PORT = 8765


def add(commands: Any, shared: argparse.ArgumentParser) -> None:
    """Add the command to a parser."""
    p = commands.add_parser(
        "train",
        parents=[shared],
        help="run the plant live, with a page for a trainer and operators",
        description="Run a plant against the clock and serve a page: operators work it, a trainer upsets it. "
        "Needs the extra packages of plantsim[train]. Without --host only this machine can see the page.",
    )
    p.add_argument("file", metavar="FILE", nargs="?", help="configuration of the plant (YAML)")
    p.add_argument(
        "--lesson", default="", metavar="NAME", help="begin with this lesson: a shipped one, or a file of your own"
    )
    p.add_argument("--lessons", action="store_true", help="list the shipped lessons and stop")
    p.add_argument(
        "--resume", metavar="RUN", help="go on with a session that was interrupted: its folder, its name, or last"
    )
    p.add_argument("--seed", type=int, default=1, metavar="N", help="seed of everything random (1)")
    p.add_argument(
        "--set",
        action="append",
        default=[],
        metavar="KEY=VALUE",
        dest="overrides",
        help="replace one value of the file; may be repeated",
    )
    p.add_argument(
        "--host", default="127.0.0.1", metavar="ADDRESS", help="address to listen on (127.0.0.1: this machine only)"
    )
    p.add_argument("--port", type=int, default=PORT, metavar="N", help=f"port to listen on ({PORT})")
    p.add_argument(
        "--name", action="append", default=[], metavar="HOST", help="host name the page may be asked for by"
    )
    p.add_argument(
        "--password",
        action="store_true",
        help="ask for the passwords of the roles on this machine too; they come from "
        "$PLANTSIM_TRAINER_PASSWORD and $PLANTSIM_OPERATOR_PASSWORD, or are made up and printed",
    )
    p.add_argument("--out", metavar="DIR", help="folder of all runs ($PLANTSIM_RUNS, or runs)")
    p.set_defaults(execute=execute)


def execute(args: argparse.Namespace) -> int:
    """Do it."""
    if args.lessons:
        return _list()
    from plantsim.errors import ConfigError

    if (args.file is None) == (args.resume is None):
        found = "neither FILE nor --resume" if args.file is None else "both FILE and --resume"
        raise ConfigError(f"found {found}; allowed: one of them")
    try:
        import uvicorn
    except ImportError:
        raise ConfigError("the training page needs more packages: pip install 'plantsim[train]'") from None
    from plantsim.cli.run import COMPILE_WORDS, kernel_is_compiled
    from plantsim.live.coach import Coach, build_plant
    from plantsim.live.debrief import judge_session
    from plantsim.live.engine import Engine
    from plantsim.live.requests import Requests
    from plantsim.live.security import Doorkeeper, is_loopback, secret_of
    from plantsim.live.server import make_app
    from plantsim.live.session import Session, Sitting, read_sitting
    from plantsim.store.folder import runs_folder

    _free(args.host, args.port)
    if not kernel_is_compiled():
        print(COMPILE_WORDS, file=sys.stderr, flush=True)
    if args.resume:
        folder = _session(args.resume, runs_folder(args.out))
        sitting = read_sitting(folder)
        session = Session.resume(folder, build_plant)
        coach = Coach(sitting, args.out, judge_session)
    else:
        sitting = Sitting(str(Path(args.file).resolve()), tuple(args.overrides), args.seed, args.lesson)
        coach = Coach(sitting, args.out, judge_session)
        session = coach.begin(sitting)
    engine = Engine(session, Requests(coach))
    passwords = {} if is_loopback(args.host) and not args.password else _passwords()
    door = Doorkeeper(secret_of(runs_folder(args.out)), passwords)
    app = make_app(engine, door, args.host, frozenset(args.name))
    print(f"session {session.path}")
    print(f"page    http://{'[' + args.host + ']' if ':' in args.host else args.host}:{args.port}/")
    for role, word in passwords.items():
        made_up = f"PLANTSIM_{role.upper()}_PASSWORD" not in os.environ
        print(f"{role:8}{word if made_up else '(password from the environment)'}")
    print("Simulated values only. Ctrl-C ends; the session can be resumed.", flush=True)
    # the server gives the signal that ended it on to us: by then everything is closed but the plant
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    engine.start()
    try:
        uvicorn.run(
            app,
            host=args.host,
            port=args.port,
            log_level="warning",
            server_header=False,
            ws_max_size=1024,
            ws_max_queue=4,
            limit_concurrency=300,
            timeout_keep_alive=20,
            timeout_graceful_shutdown=2,
        )
    except KeyboardInterrupt:
        pass
    finally:
        engine.stop()
    print(f"to go on: plantsim train --resume {session.path}")
    return 0


def _session(text: str, runs: Path) -> Path:
    """Folder of a session: its path, its name among the runs, or `last` for the youngest."""
    if text == "last":
        found = sorted(runs.glob("*/session.json"), key=lambda path: path.stat().st_mtime)
        return found[-1].parent if found else runs
    return Path(text) if Path(text).is_dir() else runs / text


def _free(host: str, port: int) -> None:
    """See that the address can be listened on.

    Raises
    ------
    ConfigError
        If it cannot.
    """
    import socket

    from plantsim.errors import ConfigError

    if not 0 <= port <= 65535:
        raise ConfigError(f"--port: found {port}; allowed: 0 to 65535, 0 for any free port")
    try:
        family = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0][0]
        with socket.socket(family, socket.SOCK_STREAM) as s:
            s.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            s.bind((host, port))
    except OSError as error:
        raise ConfigError(f"--host {host} --port {port}: found {error}; allowed: a free port of this machine") from None


def _passwords() -> dict[str, str]:
    """Password of each role: from the environment, or made up for this time."""
    return {
        role: os.environ.get(f"PLANTSIM_{role.upper()}_PASSWORD") or secrets.token_urlsafe(9)
        for role in ("trainer", "operator")
    }


def _list() -> int:
    from plantsim.cli.tables import duration
    from plantsim.live.lessons import read_lesson, shipped_lessons

    for name, path in shipped_lessons().items():
        lesson = read_lesson(path)
        print(
            f"{lesson.number:>2}  {name:<24} {lesson.title}  ({duration(lesson.limit)}; {', '.join(lesson.plants)})"
        )
    return 0
