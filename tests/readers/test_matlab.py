"""Logs in MATLAB's version 5: vectors are read, objects and bombs are refused in a process of little memory."""

from __future__ import annotations

import pickle
import struct
import zlib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.io import savemat

from readers.logs import speed, times
from simlaunch.errors import InputError
from simlaunch.readers import child
from simlaunch.readers.log import LogOptions, Role, read_channels

SECONDS = LogOptions(units={Role.TIME: "s", Role.SPEED: "m/s"})


def _write(path: Path, *, compressed: bool = True, **variables: Any) -> Path:
    savemat(path, variables, do_compression=compressed)
    return path


def _refused(path: Path) -> str:
    with pytest.raises(InputError) as caught:
        read_channels(path, SECONDS)
    assert str(caught.value).startswith(f"{path}, ")
    return str(caught.value).removeprefix(f"{path}, ")


@pytest.mark.parametrize("compressed", [False, True])
def test_vectors_become_a_trace(tmp_path: Path, compressed: bool) -> None:
    slow = times(20.0)
    path = _write(
        tmp_path / "log.mat",
        compressed=compressed,
        time=times(),
        time_unit="s",
        speed=3.6 * speed(times()),
        speed_unit="km/h",
        gear=(1 + slow // 3).astype(np.uint8)[:, None],
        gear_time=slow,
        comment="invented",
    )
    account = read_channels(path)
    assert_allclose(account.trace["speed"], 5.0 * account.trace.time, atol=1e-9)
    gear = account.trace["gear"]
    assert set(gear[account.trace.time <= 8.95]) == {1.0, 2.0, 3.0, 4.0}
    assert np.isnan(gear[account.trace.time > 8.951]).all()


@pytest.mark.usefixtures("forked")
def test_a_vector_of_another_length_needs_its_own_time(tmp_path: Path) -> None:
    path = _write(tmp_path / "log.mat", time=times(), speed=speed(times()), gear=np.ones(200))
    assert _refused(path) == 'channel "gear": has 200 values, its time has 1000; save its own time as "gear_time"'


@pytest.mark.usefixtures("forked")
def test_every_vector_with_its_own_time(tmp_path: Path) -> None:
    path = _write(tmp_path / "log.mat", speed=speed(times()), speed_time=times())
    assert read_channels(path, SECONDS).trace.time.size == 900
    path = _write(tmp_path / "log.mat", speed=speed(times()))
    assert _refused(path).startswith("time: is not among the channels")


@pytest.mark.usefixtures("forked")
@pytest.mark.parametrize(
    ("value", "kind"),
    [
        ({"speed": np.arange(9.0)}, "struct"),
        (np.array([np.arange(3.0), "text"], dtype=object), "cell"),
        (np.array([1, "a", None], dtype=object)[:2], "cell"),
    ],
)
def test_objects_are_refused(tmp_path: Path, value: Any, kind: str) -> None:
    path = _write(tmp_path / "log.mat", time=times(), speed=speed(times()), log=value)
    assert _refused(path) == (
        f'file: holds "log", which is a {kind}, neither numbers nor text; '
        "save each channel as a numeric vector of its own"
    )


@pytest.mark.usefixtures("forked")
def test_complex_numbers_are_refused(tmp_path: Path) -> None:
    path = _write(tmp_path / "log.mat", time=times(), speed=speed(times()) * 1j)
    assert _refused(path) == "file: holds complex numbers; save real numbers"


class _Trap:
    def __reduce__(self) -> tuple[Any, ...]:
        return (Path("sprung").touch, ())


def test_a_pickle_is_never_opened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "log.mat"
    path.write_bytes(pickle.dumps(_Trap()))
    assert "is not a MATLAB file of version 5" in _refused(path)
    np.save(tmp_path / "array.npy", np.array([_Trap()], dtype=object), allow_pickle=True)
    (tmp_path / "array.npy").rename(path)
    assert "is not a MATLAB file of version 5" in _refused(path)
    assert not (tmp_path / "sprung").exists()


def test_a_pickle_among_the_results_of_the_child_is_not_opened(tmp_path: Path) -> None:
    (tmp_path / "names.json").write_text('{"channels": [["speed", ""]], "others": []}', "utf-8")
    np.savez(tmp_path / "result.npz", values0=np.array([_Trap()], dtype=object))
    with pytest.raises(InputError, match="was read without a usable result"):
        child._collected(tmp_path, "log.mat")


def test_version_7_3_is_refused_with_a_hint(tmp_path: Path) -> None:
    path = tmp_path / "log.mat"
    for head in (b"MATLAB 7.3 MAT-file, Platform: GLNXA64".ljust(512) + b"\x89HDF\r\n\x1a\n", b"\x89HDF\r\n\x1a\n"):
        path.write_bytes(head + bytes(500))
        assert _refused(path) == "file: is of MATLAB version 7.3 (HDF5); save it with -v7"


def _element(kind: int, content: bytes) -> bytes:
    return struct.pack("<II", kind, len(content)) + content + bytes(-len(content) % 8)


def _bomb(path: Path, megabytes: int, claimed: int) -> Path:
    """A file of version 5 whose vector `speed` grows a thousandfold, whatever its head claims about its length."""
    size = megabytes * 2**20
    head = b"".join(
        [
            _element(6, struct.pack("<II", 6, 0)),  # array flags: double
            _element(5, struct.pack("<ii", 1, claimed)),
            _element(1, b"speed"),
            struct.pack("<II", 9, size),
        ]
    )
    squeeze = zlib.compressobj(9)
    pieces = [squeeze.compress(struct.pack("<II", 14, len(head) + size) + head)]
    pieces += [squeeze.compress(bytes(2**20)) for _ in range(megabytes)]
    pieces.append(squeeze.flush())
    body = b"".join(pieces)
    start = b"MATLAB 5.0 MAT-file".ljust(124) + struct.pack("<HH", 0x0100, 0x4D49)
    path.write_bytes(start + struct.pack("<II", 15, len(body)) + body)
    return path


@pytest.mark.parametrize(("megabytes", "claimed"), [(400, 400 * 2**17), (400, 10)])
def test_a_file_that_grows_a_thousandfold_is_refused(tmp_path: Path, megabytes: int, claimed: int) -> None:
    path = _bomb(tmp_path / "log.mat", megabytes, claimed)
    assert path.stat().st_size < megabytes * 2**20 / 900
    refused = _refused(path)
    assert any(word in refused for word in ("memory", "values, more than", "damaged", " to read"))


def test_a_child_that_does_not_end_is_ended(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "endless.py").write_text(
        "def extractor():\n    def extract(path, wanted):\n        while True: pass\n    return extract\n", "utf-8"
    )
    monkeypatch.syspath_prepend(tmp_path)
    with pytest.raises(InputError, match=r"takes more than 1\.0 s to read"):
        child.extract_confined("endless", b"x", "log.mat", ["speed"])


@pytest.mark.parametrize("action", ["os.abort()", "os.kill(os.getpid(), 11)", "raise SystemExit(3)", "os._exit(0)"])
def test_a_child_that_dies_is_a_refusal(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, action: str) -> None:
    (tmp_path / "dying.py").write_text(
        f"import os\ndef extractor():\n    def extract(path, wanted):\n        {action}\n    return extract\n", "utf-8"
    )
    monkeypatch.syspath_prepend(tmp_path)
    with pytest.raises(InputError, match=r"cannot be read; it is damaged|without a usable result"):
        child.extract_confined("dying", b"x", "log.mat", ["speed"])


@pytest.mark.usefixtures("forked")
@pytest.mark.parametrize("seed", range(6))
def test_a_damaged_file_is_refused_or_read(tmp_path: Path, seed: int) -> None:
    path = _write(tmp_path / "log.mat", compressed=seed % 2 == 0, time=times(), speed=speed(times()))
    content = bytearray(path.read_bytes())
    content[128 + 30 * seed] ^= 0x55
    path.write_bytes(bytes(content[: len(content) - 100 * (seed // 3)]))
    try:
        outcome = f"{read_channels(path, SECONDS).trace.time.size} samples"
    except InputError as error:
        outcome = str(error)
    assert outcome.isprintable()
    assert outcome.startswith((f"{path}, ", "900 samples"))
