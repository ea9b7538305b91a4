"""Where things are written: results on stdout, all else on stderr, files into the folder asked for."""

from __future__ import annotations

import contextlib
import os
import sys
import threading
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO

import typer

from simlaunch.errors import SimlaunchError
from simlaunch.launching import compile_ahead, progress
from simlaunch.output import as_json as json_text
from simlaunch.output import layout
from simlaunch.plotting import save
from simlaunch.writing import check_folder, write_folder

if TYPE_CHECKING:
    from simlaunch.results import Result
    from simlaunch.units.spelling import System


def _nothing() -> Mapping[str, Any]:
    return {}


@dataclass(frozen=True)
class Shown:
    """Everything that a command can show; each form is made only when it is wanted."""

    stem: str
    text: Callable[[], str]
    document: Callable[[], Mapping[str, Any]]
    tables: Callable[[], Sequence[layout.Table]]
    figures: Callable[[], Mapping[str, Any]] = _nothing
    more_files: Callable[[], Mapping[str, str]] = _nothing
    """Text of further files, by name."""


def _write(stream: TextIO | None, text: str) -> None:
    """Text on a stream, at once; a stream that is closed from the start takes nothing."""
    if stream is None or stream.closed:
        return
    encoding = stream.encoding or "utf-8"
    stream.write(f"{text}\n".encode(encoding, "backslashreplace").decode(encoding))
    stream.flush()


def _swallow_the_rest(stream: TextIO) -> None:
    """Let what is still in the buffer of a broken stream go nowhere, so that the end of the program is quiet."""
    with contextlib.suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, stream.fileno())
        os.close(nowhere)


def result(text: str) -> None:
    """Print a result; a reader that has gone away ends the program quietly."""
    try:
        _write(sys.stdout, text)
    except BrokenPipeError:
        _swallow_the_rest(sys.stdout)
        raise typer.Exit(0) from None
    except OSError as error:
        _swallow_the_rest(sys.stdout)
        raise SimlaunchError(f"the results cannot be written: {error.strerror}") from None


def complain(text: str) -> None:
    """Print something that is wrong; user text in it can give the terminal no orders."""
    with contextlib.suppress(OSError):
        _write(sys.stderr, layout.clean_lines(text))


def note(text: str, *, quiet: bool) -> None:
    """Print something worth knowing, unless quiet is wanted."""
    if not quiet:
        complain(text)


def compile_once(*, quiet: bool) -> None:
    """Compile what a launch needs, and say so, where that has not been done yet: once for each version."""
    if not compile_ahead.is_done():
        with counting_seconds(compile_ahead.announcement(), quiet=quiet):
            compile_ahead.compile_together()


@contextlib.contextmanager
def counting_seconds(text: str, *, quiet: bool, every: float = 1.0) -> Iterator[None]:
    """State what takes long; on a terminal the seconds that it has taken so far follow, so that it is seen to move."""
    if quiet or sys.stderr is None or not sys.stderr.isatty():
        note(text, quiet=quiet)
        yield
        return
    begin, over, stream = time.monotonic(), threading.Event(), sys.stderr

    def count() -> None:
        while True:
            done = over.wait(every)
            with contextlib.suppress(OSError, ValueError):
                stream.write(f"\r{text}: {time.monotonic() - begin:.0f} s" + "\n" * done)
                stream.flush()
            if done:
                return

    counter = threading.Thread(target=count, daemon=True)
    counter.start()
    try:
        yield
    finally:
        over.set()
        counter.join()


class Following:
    """Counts the launches of a study on a terminal, once it has taken a while, with the time that is left."""

    def __init__(self, *, quiet: bool) -> None:
        self._quiet = quiet
        self._live = not quiet and sys.stderr is not None and sys.stderr.isatty()
        self._begin, self._last, self._shown = time.monotonic(), 0.0, False

    def __call__(self, done: int, expected: int) -> None:
        """Show how far it is."""
        now = time.monotonic()
        spent = now - self._begin
        left = spent * (expected - done) / max(done, 1)
        if not self._live or spent + left < _LONG or spent < _SOON or now - self._last < _AGAIN:
            return
        self._last, self._shown = now, True
        self._put(f"{done} of about {expected} launches, about {max(left, 1.0):.0f} s left")

    def state(self, line: str) -> None:
        """Note something on a line of its own."""
        self.clear()
        note(line, quiet=self._quiet)

    def clear(self) -> None:
        """Take the count away."""
        if self._shown:
            self._put("")
            self._shown = False

    def _put(self, text: str) -> None:
        with contextlib.suppress(OSError, ValueError):
            sys.stderr.write(f"\r{text:<79}\r")
            sys.stderr.flush()


_LONG, _SOON, _AGAIN = 2.0, 0.5, 0.2
"""A study that takes longer than the first is counted, after the second, and not more often than the third [s]."""


@contextlib.contextmanager
def counting_launches(*, quiet: bool, expected: int = 0) -> Iterator[Following]:
    """Count the launches of a study; `expected` is what it says at first."""
    shown = Following(quiet=quiet)
    try:
        with progress.following(shown, expected):
            yield shown
    finally:
        shown.clear()


def _result_files(stem: str) -> tuple[str, str]:
    return f"{stem}.json", f"{stem}.csv"


def prepare(folder: Path | None, stem: str, *, force: bool) -> None:
    """Make the folder for files before the work begins, so that what is in the way is not found out after it."""
    if folder is not None:
        check_folder("--out", folder, _result_files(stem), force=force)


def _figures(shown: Shown) -> dict[str, bytes]:
    figures = shown.figures()
    return save.drawn(figures, shown.stem) if figures else {}


def show(
    found: Result,
    stem: str,
    *,
    units: System,
    as_json: bool,
    out: Path | None,
    force: bool,
    quiet: bool,
    full: bool = False,
    **options: bool,
) -> None:
    """Write the files of a result if they are wanted, then print it as text or as JSON."""
    words = import_module(f"simlaunch.output.{found.study}")
    shown = Shown(
        stem,
        text=lambda: found.to_text(units, full=full),
        document=lambda: found.to_dict(**options),
        tables=lambda: words.tables(found, units),
        figures=lambda: found.figures(units),
        more_files=lambda: (
            {f"{stem}-{name}": text for name, text in words.files(found).items()} if hasattr(words, "files") else {}
        ),
    )
    deliver(shown, as_json=as_json, out=out, force=force, quiet=quiet)


def deliver(shown: Shown, *, as_json: bool, out: Path | None, force: bool, quiet: bool) -> None:
    """Write the files if they are wanted, then print the result as text or as JSON."""
    if out is not None:
        contents = (json_text.dumps(shown.document()) + "\n", layout.csv_text(shown.tables()))
        texts = {name: text.encode() for name, text in zip(_result_files(shown.stem), contents, strict=True)}
        texts |= {name: text.encode() for name, text in shown.more_files().items()}
        written = write_folder("--out", out, {**texts, **_figures(shown)}, force=force)
        note("\n".join(f"wrote {path}" for path in written), quiet=quiet)
    result(json_text.dumps(shown.document()) if as_json else shown.text())
