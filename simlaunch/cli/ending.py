"""How the program ends: one exit code for each kind of end, a line on stderr for each fault, never a traceback."""

from __future__ import annotations

import contextlib
import os
import signal
import sys
import threading
import traceback
from collections.abc import Callable, Iterator
from enum import IntEnum
from pathlib import Path
from typing import Any

import typer

from simlaunch.cli.output import complain
from simlaunch.errors import SimlaunchError
from simlaunch.writing import abandon

_CallFault: Any = typer.BadParameter.__base__
"""The exception of the argument parser for a call that cannot be understood; its own name differs between versions."""


class Code(IntEnum):
    """Exit codes that are not carried by an exception."""

    DONE = 0
    FAULT = 1
    USAGE = 2
    BAD_INPUT = 3
    NOT_REACHED = 4
    SOME_FAILED = 5
    INTERRUPTED = 130


def ended(*, bad: bool, reached: bool) -> int:
    """Exit code of launches that were made: bad energy before a missed target."""
    if bad:
        complain(
            "the energy of a launch does not balance; do not use its numbers. Look for a value in the scenario that "
            "is far outside the usual range, or give a smaller --tolerance"
        )
        return Code.BAD_INPUT
    if not reached:
        complain("a launch did not reach its target; the results state which, and why")
        return Code.NOT_REACHED
    return Code.DONE


def _usage(error: Any) -> str:
    context = getattr(error, "ctx", None)
    command = getattr(context, "command_path", "simlaunch")
    known = getattr(getattr(context, "command", None), "commands", {})
    message = error.format_message().strip().replace("Value error, ", "")
    choices = f" Commands: {', '.join(known)}." if known else ""
    option = str(getattr(error, "option_name", ""))
    file = f'; a file of this name is typed as "./{option}"' if option and Path(option).suffix else ""
    return f"usage: {message}{choices}{file}\nsee {command} --help"


def _fault_of_ours(error: BaseException) -> str:
    if os.environ.get("SIMLAUNCH_DEBUG"):
        traceback.print_exception(error)
    frames = traceback.extract_tb(error.__traceback__)
    where = f"{Path(frames[-1].filename).name}:{frames[-1].lineno}" if frames else "unknown place"
    what = " ".join(f"{type(error).__name__}: {error}".split())[:200]
    return (
        f"internal error: {what} ({where}); please report this line with the scenario and the output of "
        "simlaunch --version; SIMLAUNCH_DEBUG=1 shows more"
    )


def answered(call: Callable[[], Any]) -> int:
    """Exit code of a call; whatever goes wrong in it becomes a message."""
    try:
        code = call()
        return int(code) if isinstance(code, int) else Code.DONE
    except SimlaunchError as error:
        complain(str(error))
        return error.exit_code
    except _CallFault as error:
        complain(_usage(error))
        return Code.USAGE
    except (KeyboardInterrupt, typer.Abort) as error:
        if isinstance(error.__cause__, EOFError):  # the parser of arguments takes every end of a file for Ctrl-D
            complain(_fault_of_ours(error.__cause__))
            return Code.FAULT
        return Code.INTERRUPTED
    except SystemExit as error:
        return error.code if isinstance(error.code, int) else Code.FAULT
    except BaseException as error:  # noqa: BLE001  the last net: a user is never shown a traceback
        complain(_fault_of_ours(error))
        return Code.FAULT


_before_leaving: list[Callable[[], None]] = []


@contextlib.contextmanager
def before_leaving(call: Callable[[], None]) -> Iterator[None]:
    """Have something done on an interruption, before the process ends; it must be quick."""
    _before_leaving.append(call)
    try:
        yield
    finally:
        _before_leaving.remove(call)


def _leave_at_once() -> None:
    """End without waiting for compiled code that cannot be interrupted."""
    for stream in (sys.stdout, sys.stderr):
        with contextlib.suppress(OSError, ValueError, AttributeError):
            stream.flush()
    abandon()
    os._exit(Code.INTERRUPTED)


def _interrupt_once(number: int, frame: object) -> None:
    """Interrupt, and be deaf to further interruptions, so that what is left behind is tidied to the end."""
    signal.signal(number, signal.SIG_IGN)
    raise KeyboardInterrupt


def on_worker(call: Callable[[], Any]) -> int:
    """Exit code of a call made on a thread of its own, so that this one can answer an interruption."""
    codes: list[int] = []
    worker = threading.Thread(target=lambda: codes.append(answered(call)), daemon=True)
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:  # else somebody wants it otherwise
        signal.signal(signal.SIGINT, _interrupt_once)
    try:
        worker.start()
        while worker.is_alive():
            worker.join(0.2)
    except KeyboardInterrupt:
        for call in reversed(_before_leaving):
            call()
        complain("interrupted")
        _leave_at_once()
    return codes[0] if codes else Code.FAULT
