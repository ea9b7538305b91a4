"""What takes long is seen to move on a terminal, and is stated once elsewhere."""

from __future__ import annotations

import io
import sys
import threading
from pathlib import Path

import pytest

from simlaunch.cli.output import counting_launches, counting_seconds
from simlaunch.comparing.compare import compare
from simlaunch.launching.progress import before, count, expect, following
from simlaunch.scenario.reading import load

SCENARIOS = Path(__file__).parents[2] / "scenarios"


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


def test_launches_are_counted_with_the_time_left(monkeypatch: pytest.MonkeyPatch) -> None:
    """By hand: after 3 s a quarter of the launches is done, so 9 s are left; nothing is said of short studies."""
    terminal, now = _Terminal(), [100.0]
    monkeypatch.setattr(sys, "stderr", terminal)
    monkeypatch.setattr("simlaunch.cli.output.time.monotonic", lambda: now[0])
    with counting_launches(quiet=False) as shown:
        now[0] = 100.3
        count(5)  # the study is not known to take long yet
        assert terminal.getvalue() == ""
        expect(95)
        now[0] = 103.0
        count(20)
        assert terminal.getvalue().strip() == "25 of about 100 launches, about 9 s left"
        shown.state("a line of its own")
    assert terminal.getvalue().endswith("a line of its own\n")


def test_what_comes_later_is_counted_in() -> None:
    seen: list[tuple[int, int]] = []
    with following(lambda done, expected: seen.append((done, expected)), 0):
        with before(50):
            expect(30)
            count(10)
        expect(40)
        count(5)
    count(7)  # nobody watches any more
    assert seen == [(10, 80), (15, 50)]


@pytest.mark.parametrize("quiet", [True, False])
def test_launches_are_not_counted_where_nobody_sees_it(quiet: bool, capsys: pytest.CaptureFixture[str]) -> None:
    with counting_launches(quiet=quiet):
        expect(1000)
        count(10)
    assert capsys.readouterr().err == ""


def test_a_comparison_expects_about_what_it_makes() -> None:
    """The estimate of time left is no better than the estimate of launches: that is held to a quarter."""
    seen: list[tuple[int, int]] = []
    with following(lambda done, expected: seen.append((done, expected)), 0):
        compare(load(SCENARIOS / "road-coupe.toml"), cases=64)
    made = seen[-1][0]
    assert all(0.75 * made < expected < 1.25 * made for done, expected in seen if done > 10)
