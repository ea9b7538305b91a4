"""A page as PDF, printed by a browser that is installed.

A browser rather than a library that lays out pages by itself: it is the engine that the page is tested in, so that what
is printed is what is seen; and it needs no system libraries that a plain installation of Python cannot bring along.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import subprocess
import tempfile
from enum import StrEnum
from pathlib import Path

from simlaunch.errors import Fault, InputError, SimlaunchError


class Paper(StrEnum):
    """Size of paper that a page asks for when it is printed."""

    ANY = "any"
    A4 = "a4"
    LETTER = "letter"


CHOICE = "SIMLAUNCH_BROWSER"
"""Environment variable that names the browser to print with."""

MARK = b"\n%simlaunch-report\n"
"""Comment behind the end of a PDF of ours, by which it is known; readers pass over it."""

_PROGRAMS = (
    "chromium",
    "chromium-browser",
    "google-chrome",
    "google-chrome-stable",
    "chrome",
    "msedge",
    "microsoft-edge",
)
_SECONDS = 120.0  # a browser that takes longer hangs
_FLAGS = (
    "--headless",
    "--disable-gpu",
    "--disable-extensions",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-quic",
    "--no-first-run",
    "--no-default-browser-check",
    "--no-pdf-header-footer",
)


def browser() -> str:
    """Path of a browser that can print.

    Returns
    -------
    str
        The one named by `SIMLAUNCH_BROWSER`, or the first that is found.

    Raises
    ------
    InputError
        There is none.
    """
    chosen = os.environ.get(CHOICE)
    places = os.pathsep.join(filter(os.path.isabs, os.get_exec_path()))  # none of the current folder
    found = (
        shutil.which(chosen) if chosen else next(filter(None, (shutil.which(p, path=places) for p in _PROGRAMS)), None)
    )
    if found is None:
        typed = f'"{chosen}"' if chosen else ""
        instead = f"install Chromium, name a browser in {CHOICE}, or print the page from your own browser"
        raise InputError(Fault("--pdf", typed, "needs Chromium or a browser built on it, and none is found", instead))
    return found


class Printing:
    """One page on its way to paper; it can be stopped from another thread.

    Parameters
    ----------
    program : str
        Path of the browser.
    """

    def __init__(self, program: str) -> None:
        self._program = program
        self._folder = Path(tempfile.mkdtemp(prefix="simlaunch-"))
        self._process: subprocess.Popen[bytes] | None = None

    def stop(self) -> None:
        """End the browser and clear away what it left."""
        if self._process is not None and self._process.poll() is None:
            with contextlib.suppress(OSError):
                self._process.kill()
        shutil.rmtree(self._folder, ignore_errors=True)

    def printed(self, page: str) -> bytes:
        """The page as PDF.

        Parameters
        ----------
        page : str
            HTML.

        Returns
        -------
        bytes
            PDF, marked as ours.

        Raises
        ------
        SimlaunchError
            The browser did not print it.
        """
        source, target = self._folder / "page.html", self._folder / "page.pdf"
        source.write_text(page, encoding="utf-8", newline="\n")
        try:
            self._process = process = subprocess.Popen(
                [self._program, *self._flags(target), source.as_uri()],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
            )
        except OSError as error:
            raise SimlaunchError(f"{self._program} cannot be run ({error.strerror or error})") from None
        try:
            process.wait(_SECONDS)
        except subprocess.TimeoutExpired:
            process.kill()
            raise SimlaunchError(
                f"the browser {self._program} did not print the page within {_SECONDS:.0f} s"
            ) from None
        if not target.is_file() or not target.read_bytes().startswith(b"%PDF-"):
            raise SimlaunchError(f"the browser {self._program} did not print the page; print it from your own browser")
        return target.read_bytes().rstrip() + MARK

    def _flags(self, target: Path) -> list[str]:
        # A browser refuses to run as root with its sandbox; the page is our own and forbids every request.
        as_root = ["--no-sandbox"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []
        return [*_FLAGS, *as_root, f"--user-data-dir={self._folder / 'profile'}", f"--print-to-pdf={target}"]
