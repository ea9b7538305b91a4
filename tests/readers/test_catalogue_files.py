"""Hostile files where a scenario is wanted, and hostile names in it, through the command line."""

from __future__ import annotations

import json
import os
import random
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from readers.catalogue import POINTS, SOUND, TYRE, Capture, refused, scenario, text
from simlaunch.cli.main import answer
from simlaunch.errors import ScenarioError
from simlaunch.scenario.reading import load

BYTES = {
    "BOM": (b"\xef\xbb\xbf" + SOUND.encode(), "byte order mark"),
    "UTF-16": (SOUND.encode("utf-16"), "byte order mark"),
    "UTF-16 without a mark": (SOUND.encode("utf-16-le"), "line 2"),
    "Latin-1": (SOUND.replace("sample", "caf\xe9").encode("latin-1"), "line 3: is not UTF-8"),
    "NULs": (b"\0" * 1000, "line 1"),
    "arrays 500 deep": (("note = " + "[" * 500 + "]" * 500 + SOUND).encode(), ""),
    "tables 500 deep": (("note = " + "{a=" * 500 + "1" + "}" * 500 + SOUND).encode(), ""),
    "arrays 100,000 deep": (("note = " + "[" * 100_000).encode(), "is nested too deeply"),
    "a dotted key of 20,000 parts": ((SOUND + "a" + ".a" * 20_000 + " = 1").encode(), "dots in one line"),
    "a table of 20,000 parts": ((SOUND + "[a" + ".a" * 20_000 + "]").encode(), "dots in one line"),
    "a dotted key of 900 parts": ((SOUND + "a" + ".a" * 900 + " = 1").encode(), "curves[1].a"),
    "200,000 keys": ("".join(f"k{n} = 1\n" for n in range(200_000)).encode(), "is larger than 1 MiB"),
    "as many keys as fit": ("".join(f"{n:x}=1\n" for n in range(120_000)).encode(), "holds more than 5000 keys"),
    "as many tables as fit": ("".join(f"[{n:x}]\n" for n in range(120_000)).encode(), "holds more than 5000 keys"),
    "as many curves as fit": (b"[[curves]]\n" * 90_000, "400 values in one list"),
    "as many points as fit": (SOUND.replace(POINTS, "points = [" + "[]," * 300_000 + "]").encode(), "in one list"),
    "as many values as fit": (("note = [" + "1," * 500_000 + "]\n" + SOUND).encode(), "in one list"),
    "as many faults as are told": ("".join(f"k{n:x}=1\n" for n in range(4999)).encode(), "more faults"),
    "mass and Mass": (SOUND.replace("mass = ", 'Mass = "1 kg"\nmass = ').encode(), "body.Mass: "),
    "mass twice": (SOUND.replace("mass = ", 'mass = "1 kg"\nmass = ').encode(), "cannot overwrite"),
    "JSON 100,000 deep": (b'{"a":' * 100_000 + b"1" + b"}" * 100_000, ""),
    "JSON lists 100,000 deep": (b"[" * 100_000 + b"]" * 100_000, "line 1: "),
    "JSON": (json.dumps({"format": 1, "name": float("nan")}).encode(), "line 1"),
    "one word of 1 MiB": (b"a" * 2**20, "line 1"),
    "a number of 500,000 digits": (b"format = " + b"9" * 500_000, "line 1"),
    "quotes that never close": (b'name = """' + b"a" * 900_000, "is not TOML"),
    "control characters": (SOUND.replace("sample", "sam\x1b[31mple").encode(), "line 3"),
    "a key of control characters": (SOUND.replace("mass =", '"\\u001b[31m\\u202e" = 1\nmass =').encode(), "body."),
    "empty": (b"", "is missing"),
    "CR only": (SOUND.replace("\n", "\r").encode(), "line "),
}


@pytest.mark.parametrize("case", BYTES)
def test_a_hostile_file(tmp_path: Path, capsys: Capture, case: str) -> None:
    content, words = BYTES[case]
    path = tmp_path / "car.toml"
    path.write_bytes(content)
    assert words in refused(capsys, "check", path)


@pytest.mark.parametrize("case", ["missing", "folder", "loop", "pipe", "device", "unreadable", "escape", "long"])
@pytest.mark.parametrize("command", ["check", "compare"])
def test_what_is_no_file(tmp_path: Path, capsys: Capture, case: str, command: str) -> None:
    path = tmp_path / case
    if case == "folder":
        path.mkdir()
    elif case == "loop":
        path.symlink_to(tmp_path / "other")
        (tmp_path / "other").symlink_to(path)
    elif case == "pipe":
        os.mkfifo(path)
    elif case == "device":
        path = Path("/dev/zero")
    elif case == "unreadable":
        path = scenario(tmp_path)
        path.chmod(0)
        if os.access(path, os.R_OK):  # nothing is unreadable to the system's administrator
            path.unlink()
            path.symlink_to("/proc/self/mem/none")
    elif case == "escape":
        path = Path("a\x1b[31m\u202eb.toml")
    elif case == "long":
        path = Path("x" * 5000)
    refused(capsys, command, path)


@pytest.mark.parametrize(
    "name",
    ["../../x.toml", "/etc/passwd", "~/x.toml", "~root/x.toml", "a/../../x.toml", "", ".", "\0", "C:\\x.toml",
     "file:///etc/passwd", "x" * 5000 + ".toml", "/dev/zero", "\u202elmot.x"],
)  # fmt: skip
@pytest.mark.parametrize("place", ["tyres.both", "curves"])
def test_a_path_out_of_the_folder(tmp_path: Path, capsys: Capture, name: str, place: str) -> None:
    old = TYRE if place == "tyres.both" else POINTS
    told = refused(capsys, "check", scenario(tmp_path, old, f"file = {text(name)}\n"))
    assert f"\n  {place}" in told
    assert "root:" not in told


def test_files_that_name_each_other(tmp_path: Path, capsys: Capture) -> None:
    (tmp_path / "a.toml").write_text('file = "b.toml"\n', "utf-8")
    (tmp_path / "b.toml").write_text('file = "a.toml"\n', "utf-8")
    assert "names a further file" in refused(capsys, "check", scenario(tmp_path, TYRE, 'file = "a.toml"\n'))
    assert "tyres.both" in refused(capsys, "check", scenario(tmp_path, TYRE, 'file = "car.toml"\n'))


@pytest.mark.parametrize("kind", ["loop", "pipe", "folder", "leaves", "device"])
def test_a_named_file_that_is_none(tmp_path: Path, capsys: Capture, kind: str) -> None:
    path = tmp_path / "road.toml"
    if kind == "loop":
        path.symlink_to(tmp_path / "other.toml")
        (tmp_path / "other.toml").symlink_to(path)
    elif kind == "pipe":
        os.mkfifo(path)
    elif kind == "folder":
        path.mkdir()
    else:
        path.symlink_to("/etc/passwd" if kind == "leaves" else "/dev/zero")
    assert "\n  tyres.both" in refused(capsys, "check", scenario(tmp_path, TYRE, 'file = "road.toml"\n'))


@pytest.mark.parametrize(
    "name", ["=1+1", "+1", "-1", "@sum", "<script>alert(1)</script>", "[/x]", "[bold]x[/bold]", "%s{0}"]
)
def test_a_name_that_something_could_obey_is_only_text(tmp_path: Path, capsys: Capture, name: str) -> None:
    path = scenario(tmp_path, 'name = "flat"', f"name = {text(name)}")
    assert answer(["run", str(path), "--quiet"]) == 0
    shown = capsys.readouterr()
    assert shown.err == ""
    assert name in " ".join(shown.out.split())


def test_a_table_for_spreadsheets_holds_no_formulas(tmp_path: Path, capsys: Capture) -> None:
    path = scenario(tmp_path, 'name = "flat"', 'name = "=1+1"')
    assert answer(["usable", str(path), "--quiet", "--out", str(tmp_path / "out")]) == 0
    tables = [file.read_text("utf-8") for file in (tmp_path / "out").glob("*.csv")]
    cells = [cell for table in tables for line in table.splitlines() for cell in line.split(",")]
    assert any("=1+1" in cell for cell in cells)
    assert not any(cell.lstrip('"').startswith("=") for cell in cells)
    capsys.readouterr()


@pytest.mark.parametrize(
    "name", ["\x1b[31mred", "a\nb", "a\0b", "\u202eabc", "a\u200bb", "\u2066x", "\ufeffx", "x" * 100_000, "", " "]
)
@pytest.mark.parametrize("place", ['name = "sample"', 'name = "flat"'])
def test_a_name_with_characters_that_cannot_be_seen(tmp_path: Path, capsys: Capture, name: str, place: str) -> None:
    assert "name: " in refused(capsys, "check", scenario(tmp_path, place, f"name = {text(name)}"))


@pytest.mark.parametrize("name", ["=1+1", "\x1b[31m", "../../x", "x" * 100_000, "\0", "\u202e"])
def test_a_curve_that_is_not_there(tmp_path: Path, capsys: Capture, name: str) -> None:
    assert 'choose one of "flat"' in refused(capsys, "run", scenario(tmp_path), "--curve", name, code=2)


def _outcome(path: Path) -> str:
    """Name of a sound scenario, or what is said of one that is not."""
    try:
        return load(path).name
    except ScenarioError as error:
        return str(error).replace("\n", "")


PIECES = (
    "[",
    "]",
    "{",
    "}",
    '"',
    "'",
    "=",
    ".",
    ",",
    "#",
    "\n",
    "\\",
    "\\u0000",
    "\x1b",
    "\ufeff",
    "[[a]]",
    '"""',
    "9" * 20,
)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(
        st.tuples(st.integers(0, len(SOUND)), st.sampled_from(PIECES) | st.text(max_size=5)), min_size=1, max_size=4
    )
)
def test_a_file_with_anything_in_it_is_read_or_refused_readably(tmp_path: Path, changes: list[tuple[int, str]]) -> None:
    spoilt = SOUND
    for place, piece in changes:
        spoilt = spoilt[:place] + piece + spoilt[place + len(piece) // 2 :]
    path = tmp_path / "car.toml"
    path.write_bytes(spoilt.encode("utf-8", "surrogatepass"))
    outcome = _outcome(path)
    assert outcome.isprintable()
    assert len(outcome) > 3


@pytest.mark.parametrize("seed", range(30))
def test_a_file_of_noise(tmp_path: Path, seed: int) -> None:
    path = tmp_path / "car.toml"
    path.write_bytes(random.Random(seed).randbytes(2000))
    with pytest.raises(ScenarioError) as caught:
        load(path)
    assert str(caught.value).replace("\n", "").isprintable()
