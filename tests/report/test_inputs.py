"""What went into a page: limits by gear and the air of a curve are listed as typed, in SI and in US units."""

from __future__ import annotations

import simlaunch
from report.pages import SCENARIOS
from simlaunch.reporting.inputs import curve_tables, inputs

ROADSTER = simlaunch.load(SCENARIOS / "hill-roadster.toml")


def test_torque_limits_by_gear_are_listed() -> None:
    points, limits = curve_tables(ROADSTER.curve("boost by gear"))
    assert len(points.rows) == 10
    assert limits.title == 'Curve "boost by gear", most torque in single gears'
    level = next(row for row in limits.rows if row.label == "gear 2")
    assert level.cells == ("any", "360 N m", "any", "360 N m", "any", "265.52 lb-ft")  # 1 lbf ft = 1.35582 N m
    curved = [row for row in limits.rows if row.label == "gear 1"]
    assert len(curved) == 10
    assert [cell.replace("\u00a0", " ") for cell in curved[0].cells[:2]] == ["1000 rpm", "150 N m"]


def test_a_curve_without_limits_has_one_table() -> None:
    assert len(curve_tables(ROADSTER.curve("full boost"))) == 1


def test_how_a_curve_follows_the_air_is_listed() -> None:
    found = {each.name: each for each in inputs(ROADSTER, ["full boost"])}
    assert found['Curve "full boost", weather: power'].typed == "275 kW"
    assert found['Curve "full boost", weather: kind'].typed == "compressor limit"
    assert not [name for name in found if "boost by gear" in name]
