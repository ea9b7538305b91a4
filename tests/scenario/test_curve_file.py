"""Two-column curve files."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simlaunch.errors import Fault, ScenarioError
from simlaunch.scenario.curve_file import read_curve

HEADER = "engine speed [rpm],torque [N m]\n"


def _faults(text: str) -> list[str]:
    with pytest.raises(ScenarioError) as caught:
        read_curve(text, "x.csv")
    return [str(fault) for fault in caught.value.faults]


def _outcome(text: str) -> tuple[tuple[tuple[str, str], ...], tuple[Fault, ...]]:
    """Points, or the faults in place of them."""
    try:
        return read_curve(text, "x.csv"), ()
    except ScenarioError as error:
        return (), error.faults


@pytest.mark.parametrize(
    ("text", "points"),
    [
        (HEADER + "1000,200\n6000,180.5\n", (("1000 rpm", "200 N m"), ("6000 rpm", "180.5 N m"))),
        (HEADER + "\r\n 1000 , 200 \r\n\r\n6000,180\r\n", (("1000 rpm", "200 N m"), ("6000 rpm", "180 N m"))),
        ("n [rad/s],T [lb-ft]\n100,200\n600,180", (("100 rad/s", "200 lb-ft"), ("600 rad/s", "180 lb-ft"))),
        (
            "torque [Nm],speed [1/min]\n200,1000\n180,6000\n",
            (("1000 1/min", "200 Nm"), ("6000 1/min", "180 Nm")),
        ),
    ],
)
def test_points(text: str, points: tuple[tuple[str, str], ...]) -> None:
    assert read_curve(text, "x.csv") == points


@pytest.mark.parametrize(
    ("text", "faults"),
    [
        ("", ['line 1: is missing: the file is empty; write "engine speed [rpm],torque [N m]"']),
        (HEADER, ["file: holds 0 points; give at least two"]),
        (HEADER + "1000,200\n", ["file: holds 1 point; give at least two"]),
        (
            HEADER + "1000,200\n1000,210\n",
            ['line 3: "1000 rpm" is given twice; keep one point per engine speed'],
        ),
        (
            HEADER + "2000,200\n\n1000,210\n",
            ['line 4: "1000 rpm" is below the speed before it, 2000 rpm; sort the points by rising engine speed'],
        ),
        (HEADER + "1000,200\n2000,-5\n3000,5\n", ['line 3: "-5" is negative; write zero or more']),
        (
            HEADER + "1000,nan\n2000,5\n3000,5\n",
            ['line 2: "nan" is not a finite number; write a plain number, without a unit, such as 3500'],
        ),
        (
            HEADER + "1000,1e99\n2000,5\n3000,5\n",
            ['line 2: "1e99" lies outside 1e-30 to 1e+30 in size; write a plain number, without a unit, such as 3500'],
        ),
        (
            HEADER + "1000,200,3\n2000\n3000,5\n4000,5\n",
            [
                'line 2: "1000,200,3" has 3 values instead of two; separate the two by one comma, and write decimals '
                "with a point",
                'line 3: "2000" has 1 value instead of two; separate the two by one comma, and write decimals '
                "with a point",
            ],
        ),
        (
            HEADER + "1000,\n2000,5\n3000,5\n",
            ['line 2: "" is not a number; write plain digits, such as 3500'],
        ),
    ],
)
def test_faults_name_the_line(text: str, faults: list[str]) -> None:
    assert _faults(text) == faults


@pytest.mark.parametrize(
    "header",
    [
        "1000,200",
        "speed,torque",
        "speed [rpm]",
        "speed [rpm];torque [N m]",
        "speed [rpm],speed [rpm]",
        "speed [rpm],torque [kg]",
        "speed [rpm],torque [N m],power [kW]",
    ],
)
def test_header(header: str) -> None:
    (fault,) = _faults(header + "\n1000,200\n2000,200\n")
    assert "is no header of two columns, engine speed and torque, with units in brackets" in fault
    assert fault.partition("; ")[2].startswith('write "engine speed [rpm],torque [N m]"')


def test_number_of_points() -> None:
    lines = [f"{1000 + n},100\n" for n in range(257)]
    assert len(read_curve(HEADER + "".join(lines[:256]), "x.csv")) == 256
    assert _faults(HEADER + "".join(lines)) == ["file: holds 257 points; thin them out to 256 or fewer"]


@given(st.text(alphabet="0123456789.,-eE+nan \n[]rpmN m\t", max_size=200), st.booleans())
def test_any_text_is_read_or_refused(text: str, with_header: bool) -> None:
    points, faults = _outcome(HEADER * with_header + text)
    assert len(points) >= 2 if not faults else all(fault.why and fault.instead for fault in faults)
