"""Headers to columns and units."""

from __future__ import annotations

from math import pi
from pathlib import Path

import pytest

from simlaunch.errors import InputError, UsageError
from simlaunch.readers.columns import (
    AIR_FUEL,
    LAMBDA,
    NO_CHOICES,
    POWER,
    TORQUE,
    Choices,
    find_column,
    pairs_named,
    speed_and_load,
    unit_named,
)
from simlaunch.readers.delimited import Table, read_table
from simlaunch.units.spelling import Dimension


def _table(folder: Path, header: str, row: str = "1000;200;30") -> Table:
    path = folder / "t.csv"
    width = header.partition("\n")[0].count(";") + 1
    path.write_text(f"{header}\n{';'.join(row.split(';')[:width])}\n", encoding="utf-8")
    return read_table(path)


def _refusal(table: Table, choices: Choices = NO_CHOICES) -> str:
    with pytest.raises(InputError) as caught:
        speed_and_load(table, choices)
    return str(caught.value).removeprefix(f"{table.source}, ")


FOOT_POUND = 1.3558179483314004
HORSE = 745.6998715822702
SPEED = 1000 * pi / 30


@pytest.mark.parametrize(
    ("header", "torque", "power"),
    [
        ("rpm;Torque (lb-ft)", 200 * FOOT_POUND, None),
        ("RPM;Nm", 200.0, None),
        ("rpm;hp", None, 200 * HORSE),
        ("rpm;PS", None, 200 * 735.49875),
        ("n [1/min];kW", None, 200e3),
        ("Engine speed [1/min];T [N m]", 200.0, None),
        ("Engine RPM;Power_kW", None, 200e3),
        ("rpm;Torque Nm;Power kW", 200.0, 30e3),
        ("Engine Speed (r/min);Torque (ft-lbs);Power (bhp)", 200 * FOOT_POUND, 30 * HORSE),
        ("U/min;lb.ft", 200 * FOOT_POUND, None),
        ("Drehzahl [min-1];Drehmoment [Nm]", 200.0, None),
        ("speed;torque;power\n1/min;Nm;kW", 200.0, 30e3),
        ("rpm;ENGINE TORQUE [kgf m]", 200 * 9.80665, None),
        ("rpm;Nm;who", 200.0, None),
    ],
)
def test_understood(tmp_path: Path, header: str, torque: float | None, power: float | None) -> None:
    """Factors of the pound-foot and the horsepower. Source: scipy.constants; 33000 ft lbf/min, 40 CFR 1066.20."""
    speed, *loads = speed_and_load(_table(tmp_path, header))
    assert speed.values == pytest.approx([SPEED], rel=1e-12)
    for column, value in zip(loads, (torque, power), strict=True):
        assert (column is None) == (value is None)
        assert column is None or column.values == pytest.approx([value], rel=1e-12)


def test_says_what_it_understood(tmp_path: Path) -> None:
    speed, torque, _ = speed_and_load(_table(tmp_path, "s;U/min;Torque (ft-lbs)"))
    assert str(speed) == 'engine speed: column 2 "U/min" in rpm'
    assert str(torque) == 'torque: column 3 "Torque (ft-lbs)" in ft-lb'


@pytest.mark.parametrize(
    ("header", "told"),
    [
        (
            "Engine speed;Nm",
            'header, engine speed: "Engine speed" has no unit; give --unit "engine speed=..." with one',
        ),
        ("rpm;Torque [Nm];Corrected torque [Nm]", "header: has 2 columns that may be the torque; give --column"),
        (
            "rpm;rpm;Nm",
            'header: has 2 columns that may be the engine speed; give --column "engine speed=..." with "#1"',
        ),
        ("rpm;Torque [kW]", 'header, column 2: "Torque [kW]" has the unit "kW", which is not a torque'),
        ("rpm;torque\n1/min;foo\n", 'header, torque: "torque" has the unit "foo", which is not known as a torque'),
        ("rpm;xyz", 'header: names neither torque nor power; give --column "torque=..." with one of "rpm", "xyz"'),
        ("speed (km/h);Nm", 'header, column 1: "speed (km/h)" has the unit "km/h", which is not a rotational speed'),
        ("roller rpm;Nm", 'header: names no engine speed; give --column "engine speed=..." with one of "roller rpm"'),
        (
            "a;b",
            'header: names no engine speed, and neither torque nor power; give --column "engine speed=..." and ',
        ),
    ],
)
def test_refused_with_the_choices(tmp_path: Path, header: str, told: str) -> None:
    assert _refusal(_table(tmp_path, header)).startswith(told)


def test_a_column_of_text_is_reported(tmp_path: Path) -> None:
    told = _refusal(_table(tmp_path, "rpm;s;Torque [Nm]", "1000;1;abc"))
    assert told == 'line 2, column "Torque [Nm]": "abc" is not a number, which the torque has to be; write digits'


def test_the_caller_decides(tmp_path: Path) -> None:
    table = _table(tmp_path, "a;b;b", "1000;200;300")
    choices = Choices({"engine speed": "A", "torque": "#3"}, {"engine speed": "rpm", "torque": "lb-ft"})
    speed, torque, power = speed_and_load(table, choices)
    assert torque is not None
    assert (speed.index, torque.index, power) == (0, 2, None)
    assert torque.values == pytest.approx([300 * FOOT_POUND])
    told = _refusal(table, Choices({"engine speed": "a", "torque": "b"}, {"engine speed": "rpm"}))
    assert told == 'torque: "b" is the name of 2 columns; give --column "torque=..." with "#2" or "#3"'
    assert 'torque: "c" is not the name of a column' in _refusal(
        table, Choices({"engine speed": "a", "torque": "c"}, {"engine speed": "rpm"})
    )


def test_a_named_unit_replaces_the_heading(tmp_path: Path) -> None:
    speed, _, _ = speed_and_load(_table(tmp_path, "rpm;Nm"), Choices(units={"engine speed": "rad/s"}))
    assert speed.values == pytest.approx([1000.0])


def test_naming_torque_settles_an_unclear_power(tmp_path: Path) -> None:
    table = _table(tmp_path, "rpm;Power (kW);Loss power (kW);Torque (Nm)", "1000;1;2;3")
    assert "2 columns that may be the power" in _refusal(table)
    assert speed_and_load(table, Choices({"torque": "Torque (Nm)"}))[2] is None


def test_mixture(tmp_path: Path) -> None:
    table = _table(tmp_path, "rpm;AFR [-];Lambda\n", "1000;11.8;0.8")
    ratio, richness = find_column(table, AIR_FUEL), find_column(table, LAMBDA)
    assert ratio is not None
    assert richness is not None
    assert (ratio.values.tolist(), richness.values.tolist()) == ([11.8], [0.8])


@pytest.mark.parametrize(
    ("text", "spelling"),
    [
        ("(LB.FT)", "lb-ft"),
        ("ft-lbs", "ft-lb"),
        ("NM", "N m"),
        ("[N m]", "N m"),
        ("kW", None),
        ("", None),
        ("nom", None),
    ],
)
def test_units_in_any_spelling_of_the_trade(text: str, spelling: str | None) -> None:
    unit = unit_named(text, Dimension.TORQUE)
    assert (unit and unit.spelling) == spelling


@pytest.mark.parametrize("pair", ["torque", "torque=", "boost=x", "=x"])
def test_pairs(pair: str) -> None:
    assert pairs_named(("torque=a=b", "Power= c "), "--column", (TORQUE, POWER)) == {"torque": "a=b", "power": "c"}
    with pytest.raises(UsageError, match=r'--unit ".*": write one of "torque=\.\.\."'):
        pairs_named((pair,), "--unit", (TORQUE,))
    with pytest.raises(UsageError):
        pairs_named(("torque=a", "torque=b"), "--unit", (TORQUE,))
