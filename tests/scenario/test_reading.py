"""Files: what is read, what is refused, and the files that a scenario may name."""

from __future__ import annotations

import os
import random
import threading
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from simlaunch.errors import Fault, ScenarioError, plain
from simlaunch.record import Axle
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.reading import MAX_BYTES, MAX_FAULTS, from_mapping, load

TOML = """
format = 1
name = "sample"

[body]
mass = "1500 kg"
front_weight_share = "54 %"
wheelbase = "2.65 m"
cg_height = "0.52 m"
drag_area = "0.66 m^2"

[tyres.both]
radius = "0.32 m"
friction = "1.1"

[drive]
driven = "rear"

[engine]
inertia = "0.2 kg m^2"
idle = "800 rpm"
rev_limit = "6500 rpm"

[coupling]
kind = "friction clutch"
capacity = "500 N m"

[gearbox]
ratios = ["3.6", "2.1", "1.4"]
final_drive = "3.5"

[gearbox.shift]
kind = "torque gap"

[launch]
engine_speed = "3000 rpm"

[[curves]]
name = "flat"
points = [["1000 rpm", "300 N m"], ["7000 rpm", "300 N m"]]
"""
TYRE = 'radius = "0.32 m"\nfriction = "1.1"\n'
CURVE = "engine speed [rpm],torque [lb-ft]\n1000,200\n7000,180\n"


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "car.toml"
    path.write_text(TOML, "utf-8")
    return path


def _faults(path: Path) -> list[str]:
    with pytest.raises(ScenarioError) as caught:
        load(path)
    assert str(caught.value).startswith(f"{plain(str(path))}: ")
    return [str(fault) for fault in caught.value.faults]


def _with(file: Path, old: str, new: str) -> Path:
    text = file.read_text("utf-8")
    assert old in text
    file.write_text(text.replace(old, new), "utf-8")
    return file


# --- the file itself ---


def test_a_sound_file_is_read(file: Path) -> None:
    scenario = load(file)
    assert scenario.name == "sample"
    assert scenario.body.mass.si == 1500.0
    assert scenario.tyres.of(Axle.REAR).friction.si == 1.1
    assert scenario.curve("flat").points[1][0].text == "7000 rpm"
    assert load(str(file)) == scenario


def test_a_scenario_cannot_be_changed_in_place(file: Path) -> None:
    with pytest.raises(ValidationError, match="frozen"):
        load(file).body.mass = None  # type: ignore[assignment]


@pytest.mark.parametrize("mark", [b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff"])
def test_byte_order_mark(file: Path, mark: bytes) -> None:
    file.write_bytes(mark + TOML.encode())
    assert _faults(file) == ["file: begins with a byte order mark; save it as UTF-8 without one"]


def test_not_utf_8(file: Path) -> None:
    file.write_bytes(b'format = 1\nname = "caf\xe9"\n')
    assert _faults(file) == ["line 2: is not UTF-8; save the file as UTF-8"]


def test_too_large(file: Path) -> None:
    file.write_bytes(b"#" * (MAX_BYTES + 1))
    assert _faults(file) == ["file: is larger than 1 MiB; name a scenario or curve file; keep logs elsewhere"]


def test_missing_file(tmp_path: Path) -> None:
    assert _faults(tmp_path / "none.toml") == ["file: does not exist; check the path"]


def test_name_that_is_no_path() -> None:
    assert _faults(Path("a\0b")) == [
        "file: cannot be opened (the name is not a path); check the path and its permissions"
    ]


def test_path_through_a_file(file: Path) -> None:
    assert "cannot be opened" in _faults(file / "inner.toml")[0]


def test_folder(tmp_path: Path) -> None:
    assert _faults(tmp_path) == ["file: is not a regular file; name a file, not a folder, a pipe or a device"]


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="the system has no named pipes")
def test_a_pipe_is_refused_without_waiting(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe.toml"
    os.mkfifo(pipe)
    found: list[str] = []
    reader = threading.Thread(target=lambda: found.extend(_faults(pipe)), daemon=True)
    reader.start()
    reader.join(timeout=5.0)
    assert found == ["file: is not a regular file; name a file, not a folder, a pipe or a device"]


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="the system has no such device")
def test_a_device_is_refused() -> None:
    assert "is not a regular file" in _faults(Path("/dev/zero"))[0]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("format = 1\nname sample\n", "line 2: \"name sample\" is not TOML: expected '=' after a key"),
        ("format = 1\nmass = 1610 kg\n", 'line 2: "mass = 1610 kg" is not TOML: '),
        ("format = 1\nformat = 1\n", 'line 2: "format = 1" is not TOML: cannot overwrite a value'),
        ('name = "a', "is not TOML: "),
        ("a = 2026-13-45", "line 1: "),
        ("a = " + "9" * 5000, "line 1: "),
    ],
)
def test_toml_syntax(file: Path, text: str, words: str) -> None:
    file.write_text(text, "utf-8")
    (fault,) = _faults(file)
    assert words in fault
    assert fault.endswith('write text in quotes, as in mass = "1610 kg"')


def test_nesting_without_end(file: Path) -> None:
    file.write_text("a = " + "[" * 100_000, "utf-8")
    assert _faults(file) == ["file: is nested too deeply; write plain tables and lists"]


@pytest.mark.parametrize("text", ["a" + ".a" * 400_000 + " = 1", "[" + "a." * 400_000 + "a]"])
def test_a_key_of_very_many_parts(file: Path, text: str) -> None:
    file.write_text("format = 1\n" + text, "utf-8")
    (fault,) = _faults(file)
    assert fault.startswith("line 2: ")
    assert fault.endswith("has more than 1000 dots in one line; break the line up")


def test_very_many_faults_are_cut_short(file: Path) -> None:
    file.write_text(TOML.replace("[body]\n", "[body]\n" + "".join(f"k{n} = 1\n" for n in range(500))), "utf-8")
    faults = _faults(file)
    assert len(faults) == MAX_FAULTS + 1
    assert faults[-1] == "file: has 440 more faults; correct these first"


def test_an_empty_file_names_every_table(file: Path) -> None:
    file.write_text("", "utf-8")
    faults = _faults(file)
    assert "format: is missing; add format = 1" in faults
    assert "launch: is missing; add the table [launch]" in faults
    assert len(faults) == 10


# --- files that it names ---


def test_tables_and_curves_in_files_of_their_own(file: Path) -> None:
    (file.parent / "tyres").mkdir()
    (file.parent / "tyres" / "road.toml").write_text(TYRE, "utf-8")
    (file.parent / "flat.csv").write_text(CURVE, "utf-8")
    _with(file, TYRE, 'file = "tyres/road.toml"\nfriction = "0.9"\n')
    _with(file, 'points = [["1000 rpm", "300 N m"], ["7000 rpm", "300 N m"]]', 'file = "flat.csv"')
    scenario = load(file)
    tyre = scenario.tyres.of(Axle.FRONT)
    assert (tyre.radius_si, tyre.friction.si) == (0.32, 0.9)  # a key beside `file` goes before the file's
    assert scenario.curve("flat").points[0][1].text == "200 lb-ft"


@pytest.mark.parametrize("section", ["body", "drive", "engine", "coupling", "gearbox", "launch"])
def test_every_section_may_be_a_file(file: Path, section: str) -> None:
    tables = tomllib.loads(TOML)
    lines = [
        f"{key} = {value!r}".replace("'", '"').replace('{"kind": "torque gap"}', '{kind = "torque gap"}')
        for key, value in tables[section].items()
    ]
    (file.parent / "part.toml").write_text("\n".join(lines), "utf-8")
    whole = load(file)
    tables[section] = {"file": "part.toml"}
    assert from_mapping(tables, "sample", file.parent) == whole


@pytest.mark.parametrize(
    "name",
    [
        "../road.toml",
        "tyres/../../road.toml",
        "/etc/passwd",
        "~/road.toml",
        "C:/road.toml",
        "tyres\\road.toml",
        "",
        "a\x1bb.toml",
    ],
)
def test_a_name_that_is_no_plain_relative_path(sound: dict[str, Any], tmp_path: Path, name: str) -> None:
    sound["tyres"]["both"] = {"file": name}
    with pytest.raises(ScenarioError) as caught:
        from_mapping(sound, "sample", tmp_path)
    (fault,) = caught.value.faults
    assert fault.place == "tyres.both.file"
    assert fault.why == "is not a plain relative path below the scenario's folder"
    assert fault.instead == 'write one such as "tyres/road.toml"'


def test_a_link_that_leaves_the_folder(file: Path, tmp_path: Path) -> None:
    inner = tmp_path / "inner"
    inner.mkdir()
    (tmp_path / "road.toml").write_text(TYRE, "utf-8")
    (inner / "road.toml").symlink_to(tmp_path / "road.toml")
    (inner / "car.toml").write_text(TOML.replace(TYRE, 'file = "road.toml"\n'), "utf-8")
    assert _faults(inner / "car.toml") == [
        'tyres.both.file: "road.toml" is outside the scenario\'s folder; copy the file into it'
    ]


def test_a_named_file_names_no_other(file: Path) -> None:
    (file.parent / "road.toml").write_text('file = "other.toml"\n', "utf-8")
    assert _faults(_with(file, TYRE, 'file = "road.toml"\n')) == [
        'tyres.both.file: "road.toml" names a further file; put the values into this one'
    ]


@pytest.mark.parametrize(("name", "wanted"), [("road.csv", "a .toml file"), ("road.txt", "a .toml file")])
def test_wrong_type_of_file(file: Path, name: str, wanted: str) -> None:
    assert _faults(_with(file, TYRE, f'file = "{name}"\n')) == [
        f'tyres.both.file: "{name}" is of the wrong type; name {wanted}'
    ]


def test_name_that_is_not_text(file: Path) -> None:
    assert _faults(_with(file, TYRE, "file = 5\n")) == [
        'tyres.both.file: is not text; write a path in quotes, such as "tyres/road.toml"'
    ]


def test_missing_named_file(file: Path) -> None:
    assert _faults(_with(file, TYRE, 'file = "road.toml"\n')) == [
        "tyres.both (road.toml), file: does not exist; check the path"
    ]


def test_fault_inside_a_named_file_names_the_file(file: Path) -> None:
    (file.parent / "road.toml").write_text('radius = "0.32 m"\nshape = "1,5"\n', "utf-8")
    _with(file, TYRE, 'file = "road.toml"\nwheel_inertia = "9"\n')
    assert _faults(file) == [
        'tyres.both.friction (road.toml): is missing; add friction = "1.05"',
        'tyres.both.shape (road.toml): "1,5" has a comma; decimals follow a point; write "1.5"',
        'tyres.both.wheel_inertia: "9" has no unit; write one of kg m^2, kg m2, kg m², kg·m^2, kg·m2, kg·m², '
        'lb ft^2, lb ft2, lb ft² after the number, such as "1.1 kg m^2"',
    ]


def test_syntax_of_a_named_file(file: Path) -> None:
    (file.parent / "road.toml").write_text("radius\n", "utf-8")
    (fault,) = _faults(_with(file, TYRE, 'file = "road.toml"\n'))
    assert fault.startswith('tyres.both (road.toml), line 1: "radius" is not TOML: ')


def test_faults_of_a_curve_file_stand_beside_the_others(file: Path) -> None:
    (file.parent / "flat.csv").write_text("engine speed [rpm],torque [N m]\n2000,x\n3000,-1\n", "utf-8")
    _with(file, 'points = [["1000 rpm", "300 N m"], ["7000 rpm", "300 N m"]]', 'file = "flat.csv"')
    faults = _faults(_with(file, '"1500 kg"', '"1500"'))
    assert [fault.partition(":")[0] for fault in faults] == [
        "curves[1] (flat.csv), line 2",
        "curves[1] (flat.csv), line 3",
        "body.mass",
    ]


def test_without_a_folder_no_file_is_read(sound: dict[str, Any]) -> None:
    sound["tyres"]["both"] = {"file": "road.toml"}
    with pytest.raises(ScenarioError, match="is not a plain relative path"):
        from_mapping(sound, "sample")


# --- a scenario, changed ---


def test_changed_values_are_checked_anew(file: Path) -> None:
    scenario = load(file)
    heavier = scenario.replace({"body.mass": "1700 kg", "road.surface": "wet asphalt"})
    assert (heavier.body.mass.si, heavier.road.surface) == (1700.0, "wet asphalt")
    assert scenario.body.mass.si == 1500.0
    assert heavier.replace({"body.mass": "1500 kg", "road.surface": "dry asphalt"}).body == scenario.body
    with pytest.raises(ScenarioError, match="below 100 kg"):
        scenario.replace({"body.mass": "1 kg"})


def test_written_back_and_read_again_it_is_the_same(file: Path) -> None:
    scenario = load(file)
    assert from_mapping(scenario.model_dump(exclude_unset=True), "again") == scenario


# --- anything at all ---

values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20) | st.dates(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=8,
)
PATHS = [
    ("body", "mass"),
    ("body",),
    ("coupling",),
    ("coupling", "kind"),
    ("gearbox", "shift"),
    ("gearbox", "shift_at"),
    ("gearbox", "efficiency"),
    ("tyres",),
    ("tyres", "both"),
    ("tyres", "both", "file"),
    ("engine", "overrun_torque"),
    ("curves",),
    ("run",),
    ("road",),
    ("format",),
    ("note",),
]


def _outcome(read: Callable[[], Scenario]) -> Scenario | tuple[Fault, ...]:
    try:
        return read()
    except ScenarioError as error:
        return error.faults


def _is_helpful(outcome: Scenario | tuple[Fault, ...]) -> bool:
    """Whether there is a scenario, or faults that all say why and what to write."""
    if isinstance(outcome, Scenario):
        return outcome.format == 1
    return bool(outcome) and all(fault.why and fault.instead for fault in outcome)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.sampled_from(PATHS), values)
def test_any_value_is_taken_or_refused_with_faults(tmp_path: Path, path: tuple[str, ...], value: object) -> None:
    data: dict[str, Any] = tomllib.loads(TOML)
    table = data
    for key in path[:-1]:
        table = table[key]
    table[path[-1]] = value
    assert _is_helpful(_outcome(lambda: from_mapping(data, "sample", tmp_path)))


@pytest.mark.parametrize("seed", range(40))
def test_a_damaged_file_is_refused_or_read_never_worse(file: Path, seed: int) -> None:
    chance = random.Random(seed)
    text = list(TOML)
    for _ in range(3):
        text[chance.randrange(len(text))] = chance.choice('"[]=,.#\n \\é\x00z9')
    file.write_text("".join(text), "utf-8")
    assert _is_helpful(_outcome(lambda: load(file)))


@pytest.mark.skipif(not Path("/proc/self/mem").exists(), reason="a file of Linux")
def test_a_file_that_opens_but_cannot_be_read_is_refused() -> None:
    with pytest.raises(ScenarioError, match="cannot be read"):
        load("/proc/self/mem")
