"""The command as a process: pipes, closed streams, an interruption, a cold start."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from at_work import at_work
from simlaunch.cli.main import answer

SCENARIOS = Path(__file__).parents[2] / "scenarios"
COUPE = str(SCENARIOS / "road-coupe.toml")
COMMAND = [sys.executable, "-m", "simlaunch"]
posix = pytest.mark.skipif(os.name != "posix", reason="needs the streams and signals of a POSIX system")


def _run(*arguments: str, **settings: object) -> subprocess.CompletedProcess[str]:
    wanted = {"capture_output": True, "text": True, "timeout": 300, **settings}
    return subprocess.run([*COMMAND, *arguments], **wanted)  # type: ignore[call-overload, no-any-return]


def test_a_result_and_nothing_else_on_stdout() -> None:
    run = _run("run", COUPE, "--quiet", env={**os.environ, "NO_COLOR": "1"})
    assert run.returncode == 0, run.stderr
    assert run.stderr == ""
    assert run.stdout.startswith("Road coupe, rear drive\n")
    assert "\x1b" not in run.stdout


def test_a_terminal_without_unicode_gets_escapes_in_place_of_a_fault(tmp_path: Path) -> None:
    text = Path(COUPE).read_text("utf-8").replace('name = "Road coupe', 'name = "Größe')
    for folder in ("tyres", "curves"):
        shutil.copytree(SCENARIOS / folder, tmp_path / folder)
    scenario = tmp_path / "a.toml"
    scenario.write_text(text, "utf-8")
    run = _run("run", str(scenario), "--quiet", env={**os.environ, "PYTHONIOENCODING": "ascii"})
    assert run.returncode == 0, run.stderr
    assert run.stdout.startswith("Gr\\xf6\\xdfe, rear drive\n")


@posix
def test_a_reader_that_goes_away_ends_it_quietly() -> None:
    with subprocess.Popen([*COMMAND, "schema"], stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        assert process.stderr.read() == b""
        assert process.wait(60) == 0


@posix
@pytest.mark.parametrize(("redirection", "code"), [(">&-", 0), (">&- 2>&-", 0), ("> /dev/full", 1)])
def test_closed_and_full_streams_lead_to_no_traceback(redirection: str, code: int) -> None:
    if "/dev/full" in redirection and not Path("/dev/full").exists():
        pytest.skip("this system has no /dev/full")
    line = f'"$0" -m simlaunch usable "$1" --quiet {redirection}'
    run = subprocess.run(["sh", "-c", line, sys.executable, COUPE], capture_output=True, text=True, timeout=300)
    assert run.returncode == code
    assert "Traceback" not in run.stderr
    assert "Exception ignored" not in run.stderr
    assert run.stderr.count("\n") == code


@posix
@pytest.mark.slow
def test_an_interruption_ends_it() -> None:
    slow = ["run", COUPE, "--method", "reference", "--tolerance", "1e-13", "--quiet"]
    with subprocess.Popen([*COMMAND, *slow], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        assert at_work(process), "the run was over before it could be interrupted"
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=60)
    assert process.returncode == 130
    assert out == ""
    assert err == "interrupted\n"


@posix
@pytest.mark.slow
def test_an_impatient_second_interruption_ends_it_just_as_well() -> None:
    """Ctrl-C pressed twice: launches on threads must not go on to their end behind a traceback."""
    slow = ["odds", COUPE, "--cases", "400000", "--quiet"]
    with subprocess.Popen([*COMMAND, *slow], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        assert at_work(process), "the run was over before it could be interrupted"
        for _ in range(40):
            process.send_signal(signal.SIGINT)
            time.sleep(0.002)
        try:
            out, err = process.communicate(timeout=60)
        finally:
            process.kill()
    assert (process.returncode, out, err) == (130, "", "interrupted\n")


@posix
def test_a_background_job_that_is_deaf_to_interruptions_stays_so() -> None:
    """POSIX shells start background jobs with SIGINT ignored, so that Ctrl-C ends what is in the foreground alone."""
    line = 'trap \'\' INT; echo deaf; exec "$0" -m simlaunch run "$1" --quiet'
    with subprocess.Popen(
        ["sh", "-c", line, sys.executable, COUPE], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "deaf\n"
        while process.poll() is None:
            process.send_signal(signal.SIGINT)
            time.sleep(0.05)
        out, err = process.communicate(timeout=60)
    assert (process.returncode, err) == (0, "")
    assert out.startswith("Road coupe, rear drive\n")


@pytest.mark.parametrize("error", [EOFError("Ran out of input"), OSError("disk"), ValueError("x")])
def test_a_fault_of_ours_is_never_taken_for_an_interruption(
    error: Exception, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """An empty file that is unpickled ends in EOFError, which the parser of arguments takes for Ctrl-D."""

    def broken(*arguments: object, **more: object) -> None:
        raise error

    monkeypatch.setattr("simlaunch.cli.check.read", broken)
    assert answer(["check", COUPE]) == 1
    assert f"{type(error).__name__}: {error}" in capsys.readouterr().err
