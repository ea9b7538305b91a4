"""Every fault of a scenario: where it is, what was typed, why, and what to write instead."""

from __future__ import annotations

from typing import Any

import pytest

from simlaunch.errors import ScenarioError, UsageError
from simlaunch.scenario.reading import from_mapping

CONVERTER = {
    "kind": "torque converter",
    "speed_ratio": ["0", "0.5", "0.9"],
    "capacity_factor": ["120 rpm/sqrt(N m)", "130 rpm/sqrt(N m)", "200 rpm/sqrt(N m)"],
    "torque_ratio": ["2", "1.4", "1"],
}
SECOND_AXLE = {"axle": "rear", "capacity": "700 N m", "ratio": "2.6"}
CLUTCHED = {"driven": "all", "centre": "clutch", "second_axle": SECOND_AXLE}


def _spoil(data: dict[str, Any], path: str, value: object) -> None:
    """Set, or with None remove, the value at a path; a number counts list elements from 0."""
    *way, last = [int(step) if step.isdigit() else step for step in path.split(".")]
    table: Any = data
    for step in way:
        table = table[step] if isinstance(step, int) else table.setdefault(step, {})
    if value is None:
        del table[last]
    else:
        table[last] = value


def _faults(data: dict[str, Any]) -> list[str]:
    with pytest.raises(ScenarioError) as caught:
        from_mapping(data, "sample")
    return [str(fault) for fault in caught.value.faults]


ONE_FAULT: list[tuple[str, object, str]] = [
    # --- values ---
    ("body.mass", 1610, 'body.mass: 1610 is a bare number; values are text; write "1610 kg" in quotes'),
    ("body.mass", True, 'body.mass: is true or false; a mass is wanted; write text such as "1610 kg"'),
    ("body.mass", ["1610 kg"], 'body.mass: is a list; a mass is wanted; write text such as "1610 kg"'),
    ("body.mass", {"value": 1}, 'body.mass: is a table; a mass is wanted; write text such as "1610 kg"'),
    ("body.mass", "3,5 kg", 'body.mass: "3,5 kg" has a comma; decimals follow a point; write "3.5 kg"'),
    (
        "body.mass",
        "16 kg",
        'body.mass: "16 kg" is below 100 kg, the least that is possible; write 100 kg or more',
    ),
    (
        "body.mass",
        "1610 t",
        'body.mass: "1610 t" is above 20 t, the most that is possible; write 20 t or less',
    ),
    ("body.front_weight_share", 0.5, '0.5 is a bare number; values are text; write "0.5" in quotes'),
    (
        "body.front_weight_share",
        "54",
        'body.front_weight_share: "54" is no share: a number alone counts in parts of one',
    ),
    ("road.grade", "80 deg", 'road.grade: "80 deg" is above 22 deg, the most that is possible'),
    ("road.grade", "0.05", 'road.grade: "0.05" has no unit; write one of %, deg, °, rad after the number'),
    ("coupling", CONVERTER | {"lock_up_gear": "1.5"}, 'coupling.lock_up_gear: "1.5" is not a whole number'),
    # --- keys ---
    ("body.mass", None, 'body.mass: is missing; add mass = "1610 kg"'),
    (
        "body.weight",
        "1 kg",
        'body.weight: "1 kg" is not a known key; choose one of note, mass, front_weight_share',
    ),
    ("body.wheel_base", "2 m", 'body.wheel_base: "2 m" is not a known key; did you mean wheelbase?'),
    (
        "gearbox.shift.gab",
        "1 s",
        'gearbox.shift.gab: "1 s" is not a known key; choose one of note, kind, ramp_down, gap',
    ),
    ("coupling.capasity", "1 N m", 'coupling.capasity: "1 N m" is not a known key; did you mean capacity?'),
    ("engin", {}, "engin: is not a known key; did you mean engine?"),
    ("run.file", "x.toml", 'run.file: "x.toml" is not a known key'),
    ("body", None, "body: is missing; add the table [body]"),
    ("body", "1500 kg", 'body: "1500 kg" is not a table; write its keys below a heading in square brackets'),
    ("curves", None, "curves: is missing; add a table [[curves]]"),
    ("coupling.capacity", None, 'coupling.capacity: is missing; add capacity = "600 N m"'),
    ("coupling.kind", None, 'coupling: has no kind; add kind = "friction clutch" or "torque converter"'),
    (
        "gearbox.shift.kind",
        None,
        'gearbox.shift: has no kind; add kind = "torque gap" or "torque hand-over" or "torque dip"',
    ),
    ("gearbox.shift.kind", "gap", 'gearbox.shift: is not one of the choices; write one of "torque gap", '),
    ("gearbox.ratios", None, 'gearbox.ratios: is missing; add ratios = ["3.8", ...]'),
    ("curves.0.points", None, 'curves[1].points: is missing; add points = [["1500 rpm", "300 N m"], ...]'),
    ("drive.driven", None, 'drive.driven: is missing; add driven = "front" or "rear" or "all"'),
    (
        "drive.driven",
        "both",
        'drive.driven: "both" is not one of the choices; write one of "front", "rear" or "all"',
    ),
    ("format", None, "format: is missing; add format = 1"),
    ("format", 2, "format: is not a format that this version reads; write format = 1"),
    ("format", True, "format: is not a format that this version reads; write format = 1"),
    ("name", None, 'name: is missing; add name = "..."'),
    ("name", 5, "name: 5 is not text; write it in quotes"),
    ("name", "", 'name: "" is not 1 to 80 printable characters; write a short name on one line'),
    ("name", "x" * 81, "is not 1 to 80 printable characters"),
    ("name", "a\x1b[2Jb", 'name: "a\\x1b[2Jb" is not 1 to 80 printable characters'),
    ("note", "a\x00", 'note: "a\\x00" is not up to 4000 printable characters; write plain text'),
    # --- lists ---
    ("gearbox.ratios", "3.6", 'gearbox.ratios: "3.6" is not a list; write it as a list in square brackets'),
    ("gearbox.ratios", [], "gearbox.ratios: has 0 values; give at least 1"),
    ("gearbox.ratios", ["3.6", "x", "1.4"], 'gearbox.ratios[2]: "x" does not begin with a number'),
    ("gearbox.ratios", [f"{13 - n}" for n in range(13)], "gearbox.ratios: has 13 values; give at most 12"),
    (
        "gearbox.ratios",
        ["3.6", "3.6", "1.4"],
        'gearbox.ratios[2]: "3.6" is not below the gear before it, 3.6',
    ),
    (
        "gearbox.efficiency",
        ["90 %", "91 %"],
        "gearbox.efficiency: has 2 values for 3 gears; give one value, or one per gear",
    ),
    ("gearbox.efficiency", "x", 'gearbox.efficiency: "x" does not begin with a number'),
    (
        "gearbox.shift_at",
        "later",
        'gearbox.shift_at: "later" is not a way to shift; write "best force", or an engine speed',
    ),
    (
        "gearbox.shift_at",
        ["6000 rpm"] * 3,
        "gearbox.shift_at: has 3 engine speeds for 3 gears; give one, or 2",
    ),
    (
        "gearbox.shift_at",
        ["6000 rpm", "6 km"],
        'gearbox.shift_at[2]: "6 km" is a length, but a rotational speed is wanted',
    ),
    ("curves", [], "curves: has 0 values; give at least 1"),
    ("curves.0.points", [["1000 rpm", "300 N m"]], "curves[1].points: has 1 values; give at least 2"),
    ("curves.0.points.1", ["7000 rpm"], "curves[1].points[2][2]: is missing; write each point as a pair"),
    ("curves.0.points.1", ["7000 rpm", "1 N m", "2"], "curves[1].points[2]: has 3 values; give at most 2"),
    ("curves.0.points.1", ["7000 rpm", "-1 N m"], 'curves[1].points[2][2]: "-1 N m" is below 0 N m'),
    (
        "curves.0.points.1.0",
        "1000 rpm",
        'curves[1].points[2]: "1000 rpm" is given twice; keep one point per engine speed',
    ),
    (
        "curves.0.points.1.0",
        "900 rpm",
        'curves[1].points[2]: "900 rpm" is below the speed before it, 1000 rpm; sort the points',
    ),
    (
        "curves.0.points",
        [[f"{n} rpm", "1 N m"] for n in range(257)],
        "curves[1].points: has 257 values; give at most 256",
    ),
    ("engine.overrun_torque", "40 kg", 'engine.overrun_torque: "40 kg" is a mass, but a torque is wanted'),
    (
        "engine.overrun_torque",
        [["1000 rpm", "9 N m"], ["900 rpm", "9 N m"]],
        'engine.overrun_torque[2]: "900 rpm" is below',
    ),
    # --- within a section ---
    (
        "air",
        {"pressure": "1 bar", "altitude": "0 m"},
        'air.altitude: "0 m" is given together with pressure; give one of the two',
    ),
    (
        "road.surface",
        "dry asfalt",
        'road.surface: "dry asfalt" is not a known surface; did you mean "dry asphalt"?',
    ),
    ("road.surface", "cheese", 'is not a known surface; write one of "prepared strip", "dry asphalt"'),
    ("tyres.both.size", "225/45 R17", "tyres.both.size: is given together with radius; give one of the two"),
    ("tyres.both.radius", None, "tyres.both.size: is missing, and so is radius; give one of the two"),
    (
        "tyres.both.rolling_factor_of_radius",
        "0.97",
        '"0.97" applies to a size, not to a radius; leave it out',
    ),
    (
        "tyres.both",
        {"size": "225-45", "friction": "1"},
        'tyres.both.size: "225-45" is not a size designation; write width/aspect',
    ),
    (
        "tyres.front",
        {"radius": "0.3 m", "friction": "1"},
        "tyres: has both and front; give [tyres.both], or both [tyres.front]",
    ),
    ("tyres", {}, "tyres: has no axle; give [tyres.both], or both [tyres.front] and [tyres.rear]"),
    ("drive.centre", "open", 'drive.centre: "open" needs all-wheel drive, not rear; leave it out'),
    (
        "drive.front_share",
        "40 %",
        'drive.front_share: "40 %" needs all-wheel drive with an open centre; leave it out',
    ),
    (
        "drive",
        {"driven": "all", "centre": "locked", "front_share": "40 %"},
        'drive.front_share: "40 %" needs all-wheel drive with an open centre; leave it out',
    ),
    ("drive.centre", "clutch", 'drive.centre: "clutch" needs all-wheel drive, not rear; leave it out'),
    (
        "drive",
        {"driven": "all", "centre": "clutch"},
        "drive.second_axle: is missing: it states which axle the clutch brings in, and what the clutch carries; "
        "add a table [drive.second_axle] with axle, capacity and ratio",
    ),
    (
        "drive",
        {"driven": "all", "second_axle": SECOND_AXLE},
        'drive.second_axle: needs a clutch as the centre of an all-wheel drive, not "open"; '
        'leave it out, or write driven = "all" and centre = "clutch"',
    ),
    (
        "drive.second_axle",
        SECOND_AXLE,
        "drive.second_axle: needs a clutch as the centre of an all-wheel drive",
    ),
    (
        "drive",
        CLUTCHED | {"half_shafts": "rigid"},
        'drive.half_shafts: "rigid" leaves the clutch of the second axle nothing to wind up; write "elastic"',
    ),
    (
        "drive",
        CLUTCHED | {"front_share": "40 %"},
        'drive.front_share: "40 %" needs all-wheel drive with an open centre; leave it out',
    ),
    (
        "drive",
        CLUTCHED | {"half_shaft_damping": "0.5 N m s/rad"},
        'drive.half_shaft_damping: "0.5 N m s/rad" is too little behind a clutch that slips; '
        'write "1 N m s/rad" or more',
    ),
    (
        "drive",
        CLUTCHED | {"second_axle": SECOND_AXLE | {"delay": "0.1 s", "engagement_time": "0 s"}},
        'drive.second_axle.engagement_time: "0 s" is a jump after a delay of 0.1 s; '
        'write "1 ms" or more, or take the delay out',
    ),
    (
        "drive",
        CLUTCHED | {"second_axle": {"axle": "rear", "ratio": "2.6"}},
        'drive.second_axle.capacity: is missing; add capacity = "700 N m"',
    ),
    (
        "drive",
        CLUTCHED | {"second_axle": SECOND_AXLE | {"ratio": "0"}},
        'drive.second_axle.ratio: "0" is below 0.2, the least that is possible; write 0.2 or more',
    ),
    (
        "drive",
        CLUTCHED | {"second_axle": SECOND_AXLE | {"lead": "1.01"}},
        'drive.second_axle.lead: "1.01" is no share: a number alone counts in parts of one, up to 1; '
        'write "1.01 %" if per cent was meant',
    ),
    (
        "drive",
        CLUTCHED | {"second_axle": SECOND_AXLE | {"lead": "-20 %"}},
        'drive.second_axle.lead: "-20 %" is below -10 %, the least that is possible; write -10 % or more',
    ),
    (
        "drive",
        CLUTCHED | {"second_axle": SECOND_AXLE | {"capacity": "-5 N m"}},
        'drive.second_axle.capacity: "-5 N m" is below 0 N m, the least that is possible; write 0 N m or more',
    ),
    (
        "drive",
        CLUTCHED | {"second_axle": SECOND_AXLE | {"axle": "both"}},
        'drive.second_axle.axle: "both"',
    ),
    (
        "drive",
        CLUTCHED | {"second_axle": SECOND_AXLE | {"slip": "1"}},
        'drive.second_axle.slip: "1" is not a known key',
    ),
    (
        "coupling",
        CONVERTER | {"torque_ratio": ["2", "1"]},
        "coupling.torque_ratio: has 2 values for 3 speed ratios",
    ),
    (
        "coupling",
        CONVERTER | {"speed_ratio": ["0", "0.5", "0.4"]},
        'coupling.speed_ratio[3]: "0.4" does not rise above 0.5',
    ),
    (
        "coupling",
        CONVERTER | {"speed_ratio": ["0.1", "0.5", "0.9"]},
        'coupling.speed_ratio[1]: "0.1" leaves out the stall point',
    ),
    (
        "coupling",
        CONVERTER | {"torque_ratio": ["2", "1.4", "1.2"]},
        'torque_ratio[3]: "1.2" puts out more power than goes in at speed ratio 0.9; keep it below 1.111',
    ),
    # --- run ---
    (
        "run.until",
        ["100 m", "200 m"],
        "run.until: names two ends of one kind; give a distance, a speed, or one of each",
    ),
    ("run.until", ["100 kg"], 'run.until[1]: "100 kg" is a mass, but a length or a speed is wanted'),
    (
        "run.marks",
        ["80 km/h to 60 km/h"],
        'run.marks[1]: "80 km/h to 60 km/h" does not run from a lower to a higher value',
    ),
    (
        "run.marks",
        ["80 km/h to 100 m"],
        "does not run from a lower to a higher value of one kind; write a span such as",
    ),
    ("run.marks", ["1 m to 2 m to 3 m"], 'run.marks[1]: "1 m to 2 m to 3 m" has more than one span'),
    ("run.marks", [5], "run.marks[1]: 5 is a bare number"),
    # --- between sections ---
    (
        "engine.rev_limit",
        "7200 rpm",
        'engine.rev_limit: "7200 rpm" is above 7000 rpm, where curve "flat" ends; lower it',
    ),
    (
        "launch.engine_speed",
        "700 rpm",
        'launch.engine_speed: "700 rpm" is not from idle (800 rpm) to below the rev limit',
    ),
    (
        "launch.engine_speed",
        "6500 rpm",
        'launch.engine_speed: "6500 rpm" is not from idle (800 rpm) to below the rev limit',
    ),
    (
        "gearbox.shift_at",
        "6600 rpm",
        'gearbox.shift_at: "6600 rpm" is not above idle (800 rpm) and up to the rev limit (6500 rpm)',
    ),
    ("gearbox.shift_at", ["6000 rpm", "800 rpm"], 'gearbox.shift_at[2]: "800 rpm" is not above idle'),
    (
        "body.cg_height",
        "1.8 m",
        'body.cg_height: "1.8 m" is more than 60 % of the wheelbase, 2.65 m; check both',
    ),
    (
        "coupling",
        CONVERTER | {"lock_up_capacity": "400 N m", "lock_up_gear": "4"},
        'coupling.lock_up_gear: "4" is above the number of gears, 3; write 1 to 3',
    ),
    (
        "curves",
        [{"name": "nil", "points": [["1000 rpm", "0 N m"], ["7000 rpm", "0 N m"]]}],
        "curves[1].points: holds no torque above zero; give torque above zero at some point",
    ),
    (
        "curves",
        [{"name": "a", "points": [["1000 rpm", "1 N m"], ["7000 rpm", "1 N m"]]}] * 2,
        'curves[2].name: "a" is the name of an earlier curve; give each its own',
    ),
]


@pytest.mark.parametrize(("path", "value", "words"), ONE_FAULT)
def test_fault(sound: dict[str, Any], path: str, value: object, words: str) -> None:
    _spoil(sound, path, value)
    faults = _faults(sound)
    assert len(faults) == 1, faults
    assert words in faults[0]


def test_idle_and_limiter_against_the_rev_limit(sound: dict[str, Any]) -> None:
    sound["engine"] |= {"idle": "2900 rpm", "rev_limit": "3300 rpm", "limiter_band": "500 rpm"}
    assert _faults(sound) == [
        'engine.limiter_band: "500 rpm" spans all speeds from idle to rev limit; write a narrower one, such as "50 rpm"'
    ]
    sound["engine"] |= {"idle": "3300 rpm"}
    assert 'engine.idle: "3300 rpm" is not below the rev limit, 3300 rpm; lower it, or raise the rev limit' in _faults(
        sound
    )


def test_all_faults_come_in_one_go(sound: dict[str, Any]) -> None:
    _spoil(sound, "body.mass", "1,6 t")
    _spoil(sound, "body.drag_area", None)
    _spoil(sound, "gearbox.ratios", ["3.6", "x", "1 m"])
    _spoil(sound, "engine.rev_limit", "9000 rpm")  # found although other sections are broken
    _spoil(sound, "drive.drivn", "rear")
    with pytest.raises(ScenarioError) as caught:
        from_mapping(sound, "car.toml")
    assert [fault.place for fault in caught.value.faults] == [
        "body.mass",
        "body.drag_area",
        "drive.drivn",
        "gearbox.ratios[2]",
        "gearbox.ratios[3]",
        "engine.rev_limit",
    ]
    assert str(caught.value).startswith("car.toml: 6 faults\n  body.mass: ")
    assert caught.value.exit_code == 3


def test_faults_between_sections_come_together(sound: dict[str, Any]) -> None:
    _spoil(sound, "engine.rev_limit", "7200 rpm")
    _spoil(sound, "launch.engine_speed", "500 rpm")
    _spoil(sound, "body.cg_height", "2 m")
    assert len(_faults(sound)) == 3


@pytest.mark.parametrize(
    ("path", "words"),
    [
        ("body.mas", 'no key "body.mas" in a scenario; did you mean mass?'),
        ("wings.area", 'no key "wings.area" in a scenario'),
    ],
)
def test_a_change_of_an_unknown_key_is_refused(sound: dict[str, Any], path: str, words: str) -> None:
    with pytest.raises(UsageError) as caught:
        from_mapping(sound, "sample").replace({path: "1 kg"})
    assert words in str(caught.value)


def test_an_unknown_curve_is_refused_with_the_choices(sound: dict[str, Any]) -> None:
    with pytest.raises(UsageError, match='no curve is named "peak"; choose one of "flat"'):
        from_mapping(sound, "sample").curve("peak")
