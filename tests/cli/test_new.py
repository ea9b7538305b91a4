"""`simlaunch new`: as a call with options, and on a real terminal, with all that a user may type there."""

from __future__ import annotations

import inspect
import json
import os
import re
import select
import shlex
import subprocess
import sys
import time
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from io import StringIO
from pathlib import Path

import pytest

import simlaunch
from simlaunch.cli.main import answer
from simlaunch.output.as_json import dumps
from simlaunch.scenario.questions import QUESTIONS

pty = pytest.importorskip("pty", reason="needs pseudo-terminals")

Capture = pytest.CaptureFixture[str]
GIVEN = {
    "mass": "3400 lb",
    "driven": "rear",
    "tyres": "245/40 R18",
    "displacement": "1998 cc",
    "torque": "450 N m at 1800 to 4500 rpm",
    "power": "340 PS at 6000 rpm",
    "gearbox": "6 speed manual",
}
OPTIONS = [word for name, text in GIVEN.items() for word in (f"--{name}", text)]
TYPED = (
    "3400 lb", "rear", "", "245/40 R18", "", "", "1998 cc", "", "450 N m at 1800 to 4500 rpm", "340 PS at 6000 rpm", "",
    "6 speed manual", "", "",
)  # fmt: skip
END, INTERRUPT = b"\x04", b"\x03"


@dataclass(frozen=True)
class Session:
    """What stood on the terminal, and how the command ended."""

    code: int
    shown: str


def session(folder: Path, typed: Sequence[str | bytes], *options: str, file: str = "my-car.toml") -> Session:
    """Type answers on a terminal, each once its prompt stands there."""
    master, slave = pty.openpty()
    surroundings = {**os.environ, "PYTHONPATH": str(Path(simlaunch.__path__[0]).parent), "TERM": "dumb"}
    command = [sys.executable, "-c", _IN_A_SESSION, "new", file, *options]
    process = subprocess.Popen(command, cwd=folder, env=surroundings, stdin=slave, stdout=slave, stderr=slave)
    os.close(slave)
    shown, waiting = b"", list(typed)
    last = time.monotonic() + 300.0
    while time.monotonic() < last:
        ready, _, _ = select.select([master], [], [], 0.1)
        try:
            piece = os.read(master, 65536) if ready else b""
        except OSError:  # the other side is closed
            break
        shown += piece
        if waiting and shown.endswith(b": ") and not piece.endswith(b"\n"):
            text = waiting.pop(0)
            shown += b"\0"  # this prompt is answered
            os.write(master, text if isinstance(text, bytes) else f"{text}\n".encode())
        if process.poll() is not None and not ready:
            break
    else:
        process.kill()
    process.wait(60)
    os.close(master)
    return Session(process.returncode, shown.decode("utf-8", "replace").replace("\r", "").replace("\0", ""))


_IN_A_SESSION = """
import fcntl, os, sys, termios
os.setsid()
fcntl.ioctl(0, termios.TIOCSCTTY, 0)
sys.argv[0] = "simlaunch"
from simlaunch.cli.main import main
main()
"""


# --- as a call ---


def test_the_file_holds_what_the_function_returns(tmp_path: Path, capsys: Capture) -> None:
    file = tmp_path / "my-car.toml"
    assert answer(["new", str(file), *OPTIONS, "--json", "--quiet"]) == 0
    made = simlaunch.new(**GIVEN, name="my car")
    assert json.loads(capsys.readouterr().out) == json.loads(dumps(made.to_dict()))
    assert file.read_text("utf-8") == made.text
    assert made.to_dict()["format"] == "simlaunch-new-1"


@pytest.mark.parametrize("units", ["metric", "us"])
def test_the_text_fits_a_terminal(tmp_path: Path, capsys: Capture, units: str) -> None:
    assert answer(["new", str(tmp_path / "a.toml"), *OPTIONS, "--units", units]) == 0
    shown = capsys.readouterr()
    assert max(map(len, shown.out.splitlines())) <= 80
    assert ("lb-ft" in shown.out) == (units == "us")
    assert "next: simlaunch compare" in shown.err


def test_nothing_is_overwritten_without_force(tmp_path: Path, capsys: Capture) -> None:
    file = tmp_path / "mine.toml"
    file.write_text("mine", "utf-8")
    assert answer(["new", str(file), *OPTIONS]) == 3
    assert "is there already; name another file, or give --force" in capsys.readouterr().err
    assert file.read_text("utf-8") == "mine"
    assert answer(["new", str(file), *OPTIONS, "--force", "--quiet"]) == 0
    assert tomllib.loads(file.read_text("utf-8"))["name"] == "mine"


@pytest.mark.parametrize(
    ("file", "more", "code", "words"),
    [
        ("car.txt", OPTIONS, 2, "a scenario is a .toml file; write such as car.toml"),
        ("none/car.toml", OPTIONS, 3, "cannot be written"),
        ("car.toml", [*OPTIONS, "--mass", "1500"], 3, '--mass: "1500" has no unit'),
        ("car.toml", [*OPTIONS, "--tyre-kind", "soft"], 3, '--tyre-kind: "soft" is not one of the choices'),
        (
            "car.toml",
            [*OPTIONS, "--losses", "5 %"],
            3,
            '--losses: "5 %" applies only where a dyno sheet is named; leave it out',
        ),
        ("car.toml", [*OPTIONS, "--name", "\x1b"], 3, "--name"),
        ("car.toml", [*OPTIONS, "--centre", "open"], 3, "applies only where both axles are driven"),
        ("car.toml", [*OPTIONS, "--differential", "locked"], 3, "applies only to a live axle"),
        ("car.toml", [*OPTIONS, "--rear-axle", "stiff"], 3, 'write one of "independent", "live"'),
        (
            "car.toml",
            [*OPTIONS, "--driven", "front", "--rear-axle", "live"],
            3,
            "applies only where the rear axle alone is driven",
        ),
        ("car.toml", OPTIONS[:-2], 2, 'new needs --gearbox "6 speed manual"; on a terminal it asks'),
    ],
)
def test_a_call_that_does_not_do_says_why(
    tmp_path: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch, file: str, more: list[str], code: int, words: str
) -> None:
    monkeypatch.setattr("sys.stdin", StringIO())
    assert answer(["new", str(tmp_path / file), *more]) == code
    shown = capsys.readouterr()
    assert words in shown.err
    assert "Traceback" not in shown.err
    assert shown.out == ""
    assert list(tmp_path.iterdir()) == []


def test_every_question_is_an_option_and_an_argument(capsys: Capture) -> None:
    assert answer(["new", "--help"]) == 0
    told = capsys.readouterr().out
    assert [question.option for question in QUESTIONS if question.option not in told] == []
    parameters = set(inspect.signature(simlaunch.new).parameters)
    assert {question.name for question in QUESTIONS} <= parameters


# --- on a terminal ---


@pytest.mark.slow
def test_a_user_who_answers_gets_the_same_file_as_by_options(tmp_path: Path) -> None:
    found = session(tmp_path, TYPED)
    assert found.code == 0, found.shown
    assert "14/14 Final drive ratio" in found.shown
    assert "next: simlaunch compare my-car.toml" in found.shown
    made = simlaunch.new(**GIVEN, name="my car")
    assert (tmp_path / "my-car.toml").read_text("utf-8") == made.text
    assert sum(len(text) + 1 for text in TYPED) < 150  # strokes: a minute at three a second


BAD = (
    ("abc", "does not begin with a number; write a mass, such as"),
    ("-5 kg", "is below 100 kg, the least that is possible"),
    ("", '"" is empty; write such as 1610 kg'),
    ("1500", "has no unit; write one of kg, g, t, lb after the number"),
    ("100 mph", "is a speed, but a mass is wanted"),
    ("1500 kW", "is a power, but a mass is wanted"),
    ("1,5 t", 'decimals follow a point; write "1.5 t"'),
    ("9" * 70 + " kg", "is longer than 64 characters"),
    ("\u00fc kg", "does not begin with a plain digit or sign"),
)


@pytest.mark.slow
def test_a_bad_answer_is_asked_again_and_one_step_back_is_possible(tmp_path: Path) -> None:
    bad = [text for text, _ in BAD]
    rest = [
        *TYPED[:2],
        "<",
        "front",
        "245-40",
        *TYPED[3:8],
        "450 N m",
        "450 N m at 1800",
        *TYPED[8:9],
        "900 PS at 6000 rpm",
    ]
    found = session(tmp_path, [*bad, *rest, *TYPED[9:11], "six", *TYPED[11:12], "1, 2", *TYPED[12:]])
    assert found.code == 0, found.shown
    shown = " ".join(found.shown.split())
    for _, words in BAD:
        assert words in shown
    for words in ("245-40", "has no engine speed", "more than the peak torque of 450 N m", "does not say the kind"):
        assert words in shown
    assert tomllib.loads((tmp_path / "my-car.toml").read_text("utf-8"))["drive"]["driven"] == "front"
    assert "Traceback" not in shown
    assert max(map(len, found.shown.splitlines())) <= 110  # what is typed may be longer than a line of ours


@pytest.mark.slow
@pytest.mark.parametrize(
    ("key", "words"),
    [(INTERRUPT, ("no file was written", "interrupted")), (END, ("the input ended; no file was written",))],
)
def test_leaving_in_the_middle_writes_nothing(tmp_path: Path, key: bytes, words: tuple[str, ...]) -> None:
    found = session(tmp_path, [*TYPED[:4], key])
    assert found.code == 130, found.shown
    assert all(each in found.shown for each in words)
    assert "Traceback" not in found.shown
    assert list(tmp_path.iterdir()) == []


@pytest.mark.slow
def test_what_is_given_is_not_asked_and_a_dyno_sheet_takes_the_place_of_the_peaks(tmp_path: Path) -> None:
    sheet = Path(__file__).parents[2] / "scenarios" / "sheets" / "invented-wheel-sheet.csv"
    (tmp_path / "sheet.csv").write_bytes(sheet.read_bytes())
    options = ("--mass", "1500 kg", "--driven", "all", "--tyres", "235/40 R18", "--displacement", "2.0 l")
    found = session(
        tmp_path, ["", "", "", "", "none.csv", "sheet.csv", "", "17 %", "", "7 dual clutch", "", ""], *options
    )
    assert found.code == 0, found.shown
    assert "Mass with" not in found.shown
    assert "Peak power" not in found.shown
    assert "does not exist" in found.shown
    assert "losses: \n" in found.shown
    assert simlaunch.load(tmp_path / "my-car.toml").drive.driven == "all"


@pytest.mark.slow
def test_a_file_that_is_there_is_refused_before_the_first_question(tmp_path: Path) -> None:
    (tmp_path / "my-car.toml").write_text("mine", "utf-8")
    found = session(tmp_path, [])
    assert found.code == 3
    assert "is there already" in found.shown
    assert "1/1" not in found.shown


@pytest.mark.parametrize("name", ["--x.toml", 'the boss\'s "wish" - größer.toml', "my-car.toml"])
def test_the_next_commands_can_be_pasted_whatever_the_file_is_called(
    tmp_path: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    monkeypatch.chdir(tmp_path)
    assert answer(["new", *OPTIONS, "--", name]) == 0
    next_one, then = re.findall(r"^(?:next|then): simlaunch (.*)$", capsys.readouterr().err, re.MULTILINE)
    assert shlex.split(next_one)[0] == "compare"
    assert (tmp_path / shlex.split(next_one)[1]).is_file()
    assert answer(shlex.split(then)) == 0


def test_a_file_that_looks_like_an_option_is_answered_with_how_to_type_it(capsys: Capture) -> None:
    assert answer(["check", "--x.toml"]) == 2
    assert '"./--x.toml"' in capsys.readouterr().err
    assert answer(["check", "--quietly"]) == 2
    assert "./" not in capsys.readouterr().err
