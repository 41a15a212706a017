"""The command `plantsim`: reads the words given, calls the command, and turns errors into sentences.

Exit codes: 0 done; 1 a fault (of the program, or of a run that could not go on); 2 an error of the user;
130 stopped by Ctrl-C.
"""

from __future__ import annotations

import argparse
import os
import sys
import traceback
from collections.abc import Sequence

from plantsim.cli import (
    alarms,
    bump,
    check,
    compare,
    explain,
    export,
    identify,
    lab,
    listing,
    loops,
    matrix,
    prove,
    run,
    size,
    study,
    test,
    trace,
    train,
    tune,
    upsets,
)
from plantsim.errors import PlantsimError

DESCRIPTION = """\
Simulate a wash-water plant of a quarry or gravel pit: sump, pumps, pipeline, clarifier, dosing and mud, with
their control logic. Values are simulated: prove every setting on the real plant before it is used there."""
EPILOG = "'plantsim COMMAND --help' tells more of a command."


def parser() -> argparse.ArgumentParser:
    """The parser of the whole command line."""
    shared = argparse.ArgumentParser(add_help=False)
    shared.add_argument("--debug", action="store_true", default=argparse.SUPPRESS, help="show the traceback of errors")
    top = argparse.ArgumentParser(
        prog="plantsim", description=DESCRIPTION, epilog=EPILOG, formatter_class=argparse.RawDescriptionHelpFormatter,
        parents=[shared],
    )  # fmt: skip
    top.add_argument("--version", action="store_true", help="show the version and stop")
    commands = top.add_subparsers(title="commands", metavar="COMMAND", dest="command")
    for module in (run, check, listing, compare, export, test, trace, identify, bump, size, lab, loops, prove, matrix,
                   explain, study, upsets, alarms, train, tune):  # fmt: skip
        module.add(commands, shared)
    return top


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command.

    Parameters
    ----------
    argv : sequence of str, optional
        The words after `plantsim`; those of the process when left out.

    Returns
    -------
    int
        Exit code.
    """
    top = parser()
    try:
        args = top.parse_args(argv)
    except SystemExit as stop:  # argparse has said what was wrong, or shown help
        return stop.code if isinstance(stop.code, int) else 2
    debug = getattr(args, "debug", False)
    try:
        if args.version:
            from plantsim import __version__

            print(f"plantsim {__version__}")
            code = 0
        elif args.command is None:
            top.print_help(sys.stderr)
            code = 2
        else:
            code = args.execute(args)
        sys.stdout.flush()
        return code
    except BrokenPipeError:
        # the reader of our output has gone, as `head` does: nothing is wrong
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except KeyboardInterrupt as stop:
        say(str(stop) or "stopped by Ctrl-C")
        return 130
    except PlantsimError as error:
        if debug:
            traceback.print_exc()
        else:
            for line in getattr(error, "findings", None) or [str(error)]:
                print(line, file=sys.stderr)
        return error.exit_code
    except Exception as error:
        if debug:
            traceback.print_exc()
        else:
            say(f"a fault of the program: {type(error).__name__}: {error} (--debug shows where)")
        return 1


def say(text: str) -> None:
    """Print one line on the error stream."""
    print(f"plantsim: {text}", file=sys.stderr)
