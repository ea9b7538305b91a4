"""Time and memory of a process that refuses: within 1 s and 200 MB of what refusing a missing file takes."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest

from readers.catalogue import MASS, POINTS, SOUND, scenario

pytestmark = pytest.mark.skipif(not hasattr(os, "wait4"), reason="the system does not tell what a process took")

SECONDS, MEGABYTES = 20.0, 200.0  # more than a few tenths of a second is a hang
CHECK = ("-m", "simlaunch", "check")
LOG = ("-c", "import sys\nfrom simlaunch.errors import InputError\nfrom simlaunch.readers.log import read_channels\n"
       "try:\n    read_channels(sys.argv[1])\nexcept InputError as error:\n    sys.exit(3)\n")  # fmt: skip


@dataclass(frozen=True)
class _Cost:
    code: int
    error: str
    seconds: float
    megabytes: float


def _cost(arguments: Sequence[str]) -> _Cost:
    surroundings = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    streams = {"stdout": subprocess.DEVNULL, "stderr": subprocess.PIPE}
    with subprocess.Popen([sys.executable, *arguments], env=surroundings, **streams) as process:  # type: ignore[call-overload]
        error = process.stderr.read().decode()
        _, status, usage = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
    return _Cost(process.returncode, error, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024.0)


@cache
def _least(command: tuple[str, ...]) -> _Cost:
    return min((_cost([*command, "missing"]) for _ in range(2)), key=lambda cost: cost.seconds)


def _refused(command: tuple[str, ...], *arguments: str) -> None:
    least, cost = _least(command), _cost([*command, *arguments])
    assert (least.code, cost.code) == (3, 3), cost.error
    assert "Traceback" not in cost.error
    assert cost.seconds - least.seconds < SECONDS
    assert cost.megabytes - least.megabytes < MEGABYTES


FILES = {
    "200,000 keys": "".join(f"k{n} = 1\n" for n in range(200_000)),
    "as many keys as fit": "".join(f"{n:x}=1\n" for n in range(120_000)),
    "as many points as fit": SOUND.replace(POINTS, "points = [" + "[]," * 300_000 + "]"),
    "deep": "a = " + "[" * 500_000,
    "dotted": "a" + ".a" * 20_000 + " = 1",
    "a long word": SOUND.replace(MASS, '"' + "k" * 900_000 + '"'),
}


@pytest.mark.parametrize("case", FILES)
def test_a_scenario_file(tmp_path: Path, case: str) -> None:
    path = tmp_path / "car.toml"
    path.write_text(FILES[case], "utf-8")
    _refused(CHECK, str(path))


def test_a_long_argument(tmp_path: Path) -> None:
    _refused(CHECK, str(scenario(tmp_path)), "--set", "body.mass=" + "k" * 100_000)


def test_an_endless_device() -> None:
    _refused(CHECK, "/dev/zero")
    _refused(LOG, "/dev/zero")


def test_a_curve_file(tmp_path: Path) -> None:
    (tmp_path / "curve.csv").write_text('engine speed [rpm],torque [N m]\n1000,"' + "9" * 1_000_000, "utf-8")
    _refused(CHECK, str(scenario(tmp_path, POINTS, 'file = "curve.csv"')))


@pytest.mark.parametrize("content", [b'a,b\n1,"' + b"2,3\n" * 1_250_000, b"a,b\n" + b"1,2\n" * 10_000_000])
def test_a_log(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(content)
    _refused(LOG, str(path))
