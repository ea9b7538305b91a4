"""Sheets and logs as they come: headings that say the place, German names, mixtures, workbooks, missing channels."""

from __future__ import annotations

import zipfile
from pathlib import Path

import numpy as np
import pytest

from simlaunch.curves.engine_figures import USUAL_AIR_FUEL_RATIO, engine_figures
from simlaunch.errors import InputError
from simlaunch.readers.columns import ENGINE_SPEED, known_channels
from simlaunch.readers.curve import CurveOptions, read_sheets
from simlaunch.readers.log import read_channels
from simlaunch.scenario.powertrain import MeasuredAt

SPEEDS = np.arange(2000, 6600, 100)


def _sheet(tmp_path: Path, head: str, preamble: str = "", ratio: float | str = 12.5) -> Path:
    """A sheet of 300 N m at all speeds; what the third column holds is given."""
    rows = "".join(f"{speed},300,{ratio}\n" for speed in SPEEDS)
    path = tmp_path / "sheet.csv"
    path.write_text(f"{preamble}{head}\n{rows}", "utf-8")
    return path


@pytest.mark.parametrize(
    ("heading", "place"),
    [
        ("Wheel Torque (Nm)", MeasuredAt.WHEEL),
        ("Torque at wheels [N m]", MeasuredAt.WHEEL),
        ("Whp", MeasuredAt.WHEEL),
        ("WHP", MeasuredAt.WHEEL),
        ("rwhp", MeasuredAt.WHEEL),
        ("Radleistung [kW]", MeasuredAt.WHEEL),
        ("Hub torque (lb-ft)", MeasuredAt.HUB),
        ("Flywheel torque (Nm)", MeasuredAt.CRANK),
        ("Fly wheel torque (Nm)", MeasuredAt.CRANK),
        ("Torque (Nm)", None),
        ("Power (hp)", None),
    ],
)
def test_a_heading_sets_the_place(tmp_path: Path, heading: str, place: MeasuredAt | None) -> None:
    found = read_sheets([_sheet(tmp_path, f"RPM,{heading},Remark")])
    assert found.measured_at is place
    assert any("as the heading says" in line for line in found.understood) is (place is not None)


def test_a_heading_against_a_line_of_the_sheet_or_the_caller_is_refused(tmp_path: Path) -> None:
    sheet = _sheet(tmp_path, "RPM,Wheel Torque (Nm),x", "measured at: crank\n")
    with pytest.raises(InputError, match="the sheets differ in place: crank, wheel"):
        read_sheets([sheet])
    sheet = _sheet(tmp_path, "RPM,Wheel Torque (Nm),x")
    with pytest.raises(InputError, match="the sheets differ in place: crank, wheel"):
        read_sheets([sheet], CurveOptions(measured_at=MeasuredAt.CRANK))


@pytest.mark.parametrize(("ratio", "used"), [(12.9, 12.9), (4.5, 4.5), (0.85, None), ("", None), (1000, None)])
def test_a_logged_air_fuel_ratio_is_used(tmp_path: Path, ratio: float | str, used: float | None) -> None:
    figures = engine_figures(read_sheets([_sheet(tmp_path, "RPM,Torque (Nm),AFR", ratio=ratio)]))
    assert figures.air is not None
    assert figures.air.ratio == pytest.approx(float(USUAL_AIR_FUEL_RATIO) if used is None else used)
    assert (figures.air.ratio_origin == "logged at peak power") is (used is not None)


def test_a_given_air_fuel_ratio_goes_before_a_logged_one(tmp_path: Path) -> None:
    figures = engine_figures(read_sheets([_sheet(tmp_path, "RPM,Torque (Nm),AFR")]), air_fuel_ratio=11.0)
    assert figures.air is not None
    assert (figures.air.ratio, figures.air.ratio_origin) == (11.0, "as given")


def _log(tmp_path: Path, head: str) -> Path:
    rows = "".join(f"{0.1 * n:.1f};{1.5 * n:.2f};{2000 + 40 * n};{1 + n // 20}\n" for n in range(60))
    path = tmp_path / "log.csv"
    path.write_text(f"{head}\n{rows}".replace(".", ","), "utf-8")
    return path


@pytest.mark.parametrize(
    "head",
    [
        "Zeit [s];Geschwindigkeit [km/h];Motordrehzahl [U/min];Gang",
        "Zeit;Fahrzeuggeschwindigkeit;Drehzahl;Gangstufe\ns;km/h;1/min;-",
        "time [s];vFzg [km/h];nMot [rpm];gear",
        "Time (sec);Veh_Spd (kph);Eng Spd (RPM);Gear",
    ],
)
def test_usual_names_and_units_are_known_in_logs(tmp_path: Path, head: str) -> None:
    trace = read_channels(_log(tmp_path, head)).trace
    assert trace.channels["speed"].max() == pytest.approx(1.5 * 59 / 3.6)
    assert trace.channels["engine_speed"].max() == pytest.approx((2000 + 40 * 59) * np.pi / 30)
    assert trace.channels["gear"].max() == 3


def test_logs_and_sheets_know_the_same_names_of_engine_speed() -> None:
    assert set(known_channels()["engine_speed"].names) <= set(ENGINE_SPEED.names)


def test_all_missing_channels_are_named_at_once(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="speed and time: are not among the channels; name them with --channel speed="):
        read_channels(_log(tmp_path, "a;b;c;d"))
    with pytest.raises(InputError, match="time: is not among the channels; name it with --channel time="):
        read_channels(_log(tmp_path, "a;speed [km/h];c;d"))
    with pytest.raises(InputError, match="names no engine speed, and neither torque nor power"):
        read_sheets([_sheet(tmp_path, "a,b,c")])


@pytest.mark.parametrize("read", [read_channels, lambda path: read_sheets([path])])
@pytest.mark.parametrize("name", ["a.xlsx", "a.csv"])
def test_a_workbook_is_to_be_exported(tmp_path: Path, read: object, name: str) -> None:
    with zipfile.ZipFile(tmp_path / name, "w") as book:
        book.writestr("xl/workbook.xml", "<workbook/>")
    with pytest.raises(InputError, match="is a workbook or another packed file, not text; export it as CSV"):
        read(tmp_path / name)  # type: ignore[operator]
