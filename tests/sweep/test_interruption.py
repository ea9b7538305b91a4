"""Whenever a sweep is killed, its file is sound, its finished stretches are whole, and the end result is the same."""

from __future__ import annotations

import os
import random
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest

from simlaunch.sweeping.backends import Threads
from simlaunch.sweeping.campaign import carry_out
from simlaunch.sweeping.chunk import never
from simlaunch.sweeping.store import Reader
from sweep.carried_out import spec
from sweep.conftest import COUPE

TIMES = int(os.environ.get("SIMLAUNCH_TEST_KILLS", "4"))
"""How often a sweep is killed; more make the test stronger and longer."""


def _begun(file: Path) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", "sweep.carried_out", str(COUPE), str(file)]
    path = os.pathsep.join([str(Path(__file__).parents[1]), os.environ.get("PYTHONPATH", "")])
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env={**os.environ, "PYTHONPATH": path})


def _finished(file: Path) -> dict[int, str]:
    """Hash of every finished stretch, all of them whole."""
    if not file.exists() or not file.stat().st_size:
        return {}
    connection = sqlite3.connect(file)
    try:
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        if not connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]:
            return {}
        found = dict(connection.execute("SELECT number, digest FROM chunk").fetchall())
    finally:
        connection.close()
    with Reader(file) as reader:
        assert reader.damaged() == []
        assert reader.count() == sum(last - first for first, last in map(reader.study.chunk, found))
    return found


@pytest.mark.slow
def test_killed_at_any_moment_nothing_finished_is_lost(tmp_path: Path) -> None:
    whole = tmp_path / "whole.sqlite"
    carry_out(spec(str(COUPE)), whole, Threads(1), never, lambda far: None)
    with Reader(whole) as reader:
        expected = reader.digest()
    chance = random.Random(20240229)
    file, kept, rounds, ends = tmp_path / "0.sqlite", dict[int, str](), 0, 0
    for _ in range(TIMES):
        with _begun(file) as process:
            _wait_a_while(process, chance)
            process.kill()
        now = _finished(file)
        assert kept.items() <= now.items()
        kept, rounds = now, rounds + bool(now)
        if process.returncode == 0 or (now and _is_complete(file)):
            ends += 1
            assert _digest(file) == expected
            file, kept = tmp_path / f"{ends}.sqlite", {}
    carry_out(spec(str(COUPE)), file, Threads(1), never, lambda far: None)
    assert _digest(file) == expected
    assert rounds > 0


def _wait_a_while(process: subprocess.Popen[str], chance: random.Random) -> None:
    """Sometimes until just after the start, mostly until some stretches are written."""
    if chance.random() < 0.2:
        time.sleep(chance.uniform(0.5, 3.0))
        return
    assert process.stdout is not None
    for _ in range(chance.randint(1, 4)):
        process.stdout.readline()
    time.sleep(chance.uniform(0.0, 0.05))


def _is_complete(file: Path) -> bool:
    with Reader(file) as reader:
        return reader.count() == reader.study.launches


def _digest(file: Path) -> str:
    with Reader(file) as reader:
        return reader.digest()
