"""Starts processes that can read logs already; run as a script, it is the process that they are forked from.

A process that reads a log by a foreign library spends most of its time on importing the library. This one does that
once and forks a process for each job. A job has its own memory, modules of simlaunch, current folder and environment,
and ends as any process of Python does.
"""

from __future__ import annotations

import atexit
import contextlib
import gc
import json
import os
import socket
import subprocess
import sys
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import IO, Any


@dataclass(frozen=True)
class Job:
    """A process that was asked for: what it prints, and a pipe that gives its exit code at its end."""

    out: IO[bytes]
    err: IO[bytes]
    ending: IO[bytes]

    def end(self) -> tuple[int, str, str]:
        """Wait for its end; returns its exit code, and what it printed on stdout and on stderr."""
        with self.out, self.err, self.ending:
            code = int(self.ending.read() or b"-1")
            self.out.seek(0)
            self.err.seek(0)
            return code, self.out.read().decode(), self.err.read().decode()


@cache
def _nursery() -> socket.socket:
    """A line to the process that all others are forked from; that one ends with the process that tests run in."""
    ours, its = socket.socketpair()
    usual = {name: value for name, value in os.environ.items() if name != "PYTHONPATH"}
    command = [sys.executable, "-P", __file__, str(its.fileno())]
    process = subprocess.Popen(command, env={**usual, "OPENBLAS_NUM_THREADS": "1"}, pass_fds=[its.fileno()])
    its.close()
    atexit.register(process.wait)
    atexit.register(ours.close)  # goes first
    return ours


def ask(code: str, environment: Mapping[str, str], folder: str) -> Job:
    """Have a process run a program in a folder, as `python -c` would, with the libraries imported."""
    reader, writer = os.pipe()
    out, err = tempfile.TemporaryFile(), tempfile.TemporaryFile()  # noqa: SIM115  `Job.end` closes them
    job = Job(out, err, os.fdopen(reader, "rb"))
    with tempfile.TemporaryFile() as what, os.fdopen(writer, "wb") as ending:
        what.write(json.dumps({"code": code, "environment": dict(environment), "folder": folder}).encode())
        what.seek(0)
        socket.send_fds(_nursery(), [b"!"], [each.fileno() for each in (what, job.out, job.err, ending)])
    return job


def _report(child: int, ending: int) -> None:
    """Wait for a process and write its exit code, as a shell counts it, into a pipe."""
    _, status = os.waitpid(child, 0)
    os.write(ending, str(os.waitstatus_to_exitcode(status)).encode())
    os._exit(0)


def _become(job: dict[str, Any], out: int, err: int) -> None:
    """Make this process the one that was asked for, up to the first line of its program."""
    os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
    os.dup2(out, 1)
    os.dup2(err, 2)
    os.environ.clear()
    os.environ.update(job["environment"])
    os.chdir(job["folder"])
    places = job["environment"].get("PYTHONPATH", "").split(os.pathsep)
    sys.path[:0] = ["", *filter(None, places)]
    sys.argv[:] = ["-c"]
    sys.dont_write_bytecode = bool(job["environment"].get("PYTHONDONTWRITEBYTECODE"))


def _serve(line: socket.socket) -> str:
    """Fork a process for each job; returns only in those, with the program to run."""
    while (told := socket.recv_fds(line, 1, 4))[0]:
        what, out, err, ending = told[1]
        if not os.fork():
            line.close()
            if child := os.fork():
                _report(child, ending)
            os.close(ending)
            with os.fdopen(what, "rb") as asked:
                job = json.load(asked)
            _become(job, out, err)
            return str(job["code"])
        for descriptor in (what, out, err, ending):
            os.close(descriptor)
        _forget(os.WNOHANG)
    _forget(0)
    sys.exit()


def _forget(how: int) -> None:
    """Take note of the ends of processes that reported, so that the system can drop them."""
    with contextlib.suppress(ChildProcessError):  # there are none
        while os.waitpid(-1, how)[0]:
            pass


if __name__ == "__main__":
    import asammdf  # noqa: F401
    import scipy.io  # noqa: F401

    gc.collect()
    gc.freeze()  # what is here now is looked at by no job, and so copied by none
    exec(compile(_serve(socket.socket(fileno=int(sys.argv[1]))), "<string>", "exec"), {"__name__": "__main__"})  # noqa: S102
