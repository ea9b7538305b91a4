"""Logs in ASAM MDF 4: sound ones are read, damaged ones never take the reader down."""

from __future__ import annotations

import json
import os
import random
import subprocess
import sys
from pathlib import Path
from typing import Literal

import numpy as np
import pytest
from asammdf import MDF, Signal
from numpy.testing import assert_allclose

from readers.logs import RADIUS, speed, times, wheel_speed
from simlaunch.errors import InputError
from simlaunch.readers import mdf
from simlaunch.readers.child import MAX_NAME
from simlaunch.readers.log import LogOptions, Role, read_channels

DAMAGED = 200


def _write(path: Path, *groups: list[Signal], version: str = "4.10", compression: Literal[0, 1, 2] = 0) -> Path:
    with MDF(version=version) as log:
        for group in groups:
            log.append(group)
        return Path(log.save(path, overwrite=True, compression=compression))


def _sound(path: Path, compression: Literal[0, 1, 2] = 0) -> Path:
    fast, slow = times(100.0), times(20.0)
    return _write(
        path,
        [
            Signal(3.6 * speed(fast), fast, name="VehicleSpeed", unit="km/h"),
            Signal(1000.0 + 100.0 * fast, fast, name="Engine speed", unit="1/min"),
        ],
        [
            Signal(wheel_speed(slow), slow, name="Wheel speed RL", unit="rad/s"),
            Signal(wheel_speed(slow), slow, name="Wheel speed RR", unit="rad/s"),
            Signal((1 + slow // 3).astype(np.uint8), slow, name="Gear"),
            Signal(slow, slow, name="Oil temperature", unit="degC"),
        ],
        compression=compression,
    )


def _refused(path: Path) -> str:
    with pytest.raises(InputError) as caught:
        read_channels(path)
    assert str(caught.value).startswith(f"{path}, file: ")
    return str(caught.value).removeprefix(f"{path}, file: ")


@pytest.mark.parametrize("compression", [0, 2])
def test_channels_of_different_rates_become_one_trace(tmp_path: Path, compression: Literal[0, 2]) -> None:
    account = read_channels(_sound(tmp_path / "log.mf4", compression))
    trace = account.trace
    assert_allclose(trace["speed"], 5.0 * trace.time, atol=1e-9)
    assert_allclose(trace["wheel_speed_rear"] * RADIUS, 1.08 * trace["speed"], atol=1e-9)
    assert set(trace["gear"]) == {1.0, 2.0, 3.0, 4.0}
    assert 'engine speed: "Engine speed" [1/min], 1000 samples, 0.01 s apart' in account.understood


@pytest.mark.usefixtures("forked")
def test_channels_of_one_name_are_numbered(tmp_path: Path) -> None:
    time = times()
    groups = [[Signal(factor * speed(time), time, name="speed", unit="m/s")] for factor in (1.0, 0.5)]
    path = _write(tmp_path / "log.mf4", *groups)
    with pytest.raises(InputError, match='could be any of "speed", "speed #2"'):
        read_channels(path)
    account = read_channels(path, LogOptions(channels={Role.SPEED: ("speed #2",)}))
    assert_allclose(account.trace["speed"][-1], 0.5 * speed(time)[-1])


@pytest.mark.usefixtures("forked")
def test_text_and_long_names_do_no_harm(tmp_path: Path) -> None:
    time = times()
    words = np.array([b"on", b"off"] * 500)
    long = "speed " + "x" * 5000
    path = _write(
        tmp_path / "log.mf4",
        [Signal(words, time, name="speed", encoding="utf-8"), Signal(speed(time), time, name=long, unit="m/s")],
    )
    with pytest.raises(InputError, match="speed: is not among the channels; name it with") as caught:
        read_channels(path)
    assert len(str(caught.value)) < 1000
    account = read_channels(path, LogOptions(channels={Role.SPEED: (long[:MAX_NAME],)}))
    assert_allclose(account.trace["speed"][-1], speed(time)[-1])


def test_other_kinds_of_file(tmp_path: Path) -> None:
    path = tmp_path / "log.mf4"
    path.write_bytes(b"time,speed\n0,0\n")
    assert _refused(path) == "is not an MDF file; name a log in ASAM MDF 4, or export it as CSV"
    path.write_bytes(b"UnFinMF 4.10    " + bytes(1000))
    assert _refused(path).startswith("is an MDF file that was not finished; ")
    path.write_bytes(b"MDF     3.30    " + bytes(1000))
    assert _refused(path) == "is not of MDF version 4; export it as MDF 4 or as CSV"
    path.write_bytes(b"MDF     4.10    " + bytes(1000))
    assert _refused(path) == "cannot be read; it is damaged; export it once more, or as CSV"


def test_without_the_library_it_says_how_to_get_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = _sound(tmp_path / "log.mf4")
    monkeypatch.setattr(mdf, "find_spec", lambda name: None)
    assert _refused(path) == 'cannot be read without asammdf; install it with: pip install "simlaunch[mdf]"'


def _damage(content: bytes, chance: random.Random) -> bytes:
    """The same bytes cut short, with some bits turned over, or with a stretch put elsewhere."""
    if chance.random() < 0.3:
        return content[: chance.randrange(16, len(content))]
    spoilt = bytearray(content)
    reach = len(content) if chance.random() < 0.5 else 4096  # half of them where the structure stands
    for _ in range(chance.choice([1, 3, 30])):
        spoilt[chance.randrange(16, reach)] ^= 1 << chance.randrange(8)
    if chance.random() < 0.2:
        at, source = (chance.randrange(16, len(content) - 64) for _ in range(2))
        spoilt[at : at + 64] = content[source : source + 64]
    return bytes(spoilt)


@pytest.mark.parametrize("compression", [0, 2])
def test_damaged_files_are_refused_or_read_and_never_worse(tmp_path: Path, compression: Literal[0, 2]) -> None:
    content = _sound(tmp_path / "sound.mf4", compression).read_bytes()
    folder = tmp_path / "damaged"
    folder.mkdir()
    (folder / "sound.mf4").write_bytes(content)
    chance = random.Random(compression)
    for n in range(DAMAGED // 2):
        (folder / f"{n:03}.mf4").write_bytes(_damage(content, chance))
    script = Path(__file__).with_name("read_in_forks.py")
    surroundings = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    command = [sys.executable, str(script), str(folder)]
    run = subprocess.run(command, capture_output=True, text=True, timeout=300, env=surroundings, check=False)
    assert run.returncode == 0, run.stderr
    outcomes = [json.loads(line) for line in run.stdout.splitlines()]
    refused = [outcome for outcome in outcomes if "refused" in outcome]
    assert len(outcomes) == DAMAGED // 2 + 1
    assert DAMAGED // 20 < len(refused) < DAMAGED // 2  # the damage matters, and not every file is beyond use
    assert all(outcome["refused"].isprintable() for outcome in refused)
    assert all(outcome["sound"] for outcome in outcomes if "refused" not in outcome)
    assert outcomes[-1]["samples"] == 896  # the slower wheel speeds end earlier


@pytest.mark.usefixtures("forked")
@pytest.mark.parametrize("seed", range(3))
def test_a_damaged_file_the_whole_way(tmp_path: Path, seed: int) -> None:
    path = _sound(tmp_path / "log.mf4")
    content = bytearray(path.read_bytes())
    content[200 * (seed + 1) : 200 * (seed + 1) + 100] = bytes([255]) * 100
    path.write_bytes(content)
    try:
        outcome = f"{read_channels(path).trace.time.size} samples"
    except InputError as error:
        outcome = str(error)
    assert outcome.isprintable()
    assert outcome.startswith((f"{path}, ", "896 samples"))
