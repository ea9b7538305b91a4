"""What takes long is seen to move on a terminal, and is stated once elsewhere."""

from __future__ import annotations

import io
import sys
import threading

import pytest

from simlaunch.cli.output import counting_seconds


class _Terminal(io.StringIO):
    encoding = "utf-8"

    def __init__(self) -> None:
        super().__init__()
        self.moved = threading.Event()

    def isatty(self) -> bool:
        return True

    def write(self, text: str) -> int:
        self.moved.set()
        return super().write(text)


def test_seconds_are_counted_on_a_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    terminal = _Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    with counting_seconds("compiling", quiet=False, every=0.001):
        assert terminal.moved.wait(60.0)
    lines = terminal.getvalue()
    assert lines.startswith("\rcompiling: ")
    assert lines.endswith(" s\n")
    assert lines.count("\n") == 1


def test_elsewhere_it_is_stated_once(capsys: pytest.CaptureFixture[str]) -> None:
    with counting_seconds("compiling", quiet=False):
        pass
    assert capsys.readouterr().err == "compiling\n"


def test_quiet_is_quiet(monkeypatch: pytest.MonkeyPatch) -> None:
    terminal = _Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    with counting_seconds("compiling", quiet=True, every=0.001):
        pass
    assert terminal.getvalue() == ""
