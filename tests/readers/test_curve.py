"""Sheets to a curve with an account, and the curve to a file."""

from __future__ import annotations

from math import pi
from pathlib import Path

import numpy as np
import pytest

from readers.sweeps import CURVE, fall, rise, sheet
from simlaunch.errors import InputError, SimlaunchError, UsageError
from simlaunch.parameters.weather import Weather
from simlaunch.readers.curve import CurveOptions, as_text, read_sheets, write_curve
from simlaunch.readers.reference_conditions import Losses, driveline_losses, stated_losses
from simlaunch.readers.smoothing import Smoothing
from simlaunch.scenario.curve_file import read_conditions, read_curve
from simlaunch.scenario.powertrain import Correction, MeasuredAt
from simlaunch.scenario.reading import load

DATA = Path(__file__).parent / "data"
RPM = pi / 30.0
HOT = Weather(95e3, 308.15, 0.3)  # SAE J1349 1.09277, SAE J607 1.12178, see test_weather


def _refusal(kind: type[SimlaunchError], *paths: Path, **options: object) -> str:
    with pytest.raises(kind) as caught:
        read_sheets(paths, CurveOptions(**options))  # type: ignore[arg-type]
    return str(caught.value)


@pytest.fixture
def table(tmp_path: Path) -> Path:
    return sheet(tmp_path, ["1000,100", "2000,200", "3000,250", "4000,240"], "rpm,Nm", "table.csv")


def test_account_of_an_invented_sheet() -> None:
    found = read_sheets([DATA / "two-pulls.csv"])
    assert (found.rows, found.rows_used) == (23, 20)
    assert [pull.rows for pull in found.pulls] == [10, 10]
    assert [pull.deviation for pull in found.pulls] == pytest.approx([-0.005, 0.005], abs=5e-4)
    assert found.smoothing == (Smoothing.AS_IT_IS,)
    assert found.torque.max() == pytest.approx((557.0 + 562.6) / 2, rel=1e-3)
    assert found.speed[[0, -1]] / RPM == pytest.approx([1500.0, 6000.0])
    assert (found.correction, found.measured_at) == (None, None)
    assert [note.partition(";")[0] for note in found.notes] == [
        "a pull with fewer than 12 rows is not smoothed",
        "the sheet states no weather correction",
        "the sheet states no place of measurement",
    ]


def test_known_curve_from_noisy_sheets(tmp_path: Path) -> None:
    """Three pulls in two files, with tails; noise of 0.3 % leaves 0.6 % at any point and 0.3 % at the peak."""
    one = sheet(tmp_path, rise(seed=1) + fall() + rise(seed=2), name="one.csv")
    two = sheet(tmp_path, rise(seed=3) + fall(), name="two.csv")
    found = read_sheets([one, two])
    rpm = found.speed / RPM
    assert len(found.pulls) == 3
    assert np.abs(found.torque / CURVE(rpm) - 1.0).max() < 0.006
    assert found.torque.max() == pytest.approx(560.0, rel=0.003)
    assert rpm[1:-1] == pytest.approx(50.0 * np.round(rpm[1:-1] / 50.0), rel=1e-12)
    assert 100 < len(rpm) <= 256
    assert 0.0 < found.spread.max() < 0.02 * 560.0
    assert sum(entry.rows for entry in found.dropped) == found.rows - found.rows_used


def test_outlier_is_named_and_can_be_left_out(tmp_path: Path) -> None:
    path = sheet(tmp_path, rise(seed=1) + rise(seed=2) + rise(seed=3, scale=1.05))
    found = read_sheets([path])
    assert [pull.outlier for pull in found.pulls] == [False, False, True]
    assert found.notes[0].startswith("pull 3 (")
    assert "+5.0% from the median of the pulls; it is in the mean unless left out" in found.notes[0]
    without = read_sheets([path], CurveOptions(leave_out=(3,)))
    assert without.torque.max() == pytest.approx(560.0, rel=0.004)
    assert (without.pulls[2].left_out, without.pulls[2].noise) == (True, None)
    assert "there is no pull 4 to leave out; there are 1 to 3" in _refusal(UsageError, path, leave_out=(4,))
    assert "all 3 pulls are left out" in _refusal(UsageError, path, leave_out=(1, 2, 3))


def test_two_pulls_apart(tmp_path: Path) -> None:
    found = read_sheets([sheet(tmp_path, rise(seed=1) + rise(seed=2, scale=1.04))])
    assert found.notes[0].startswith("the two pulls lie 3.9% apart")


def test_rows_as_they_are(tmp_path: Path) -> None:
    path = sheet(tmp_path, rise(200, noise=0.0))
    found = read_sheets([path], CurveOptions(smoothing=False))
    assert len(found.speed) == 200
    assert "cannot be used as they are" in _refusal(UsageError, sheet(tmp_path, rise(300)), smoothing=False)


# --- correction and place ---


def test_correction_forward(table: Path) -> None:
    found = read_sheets([table], CurveOptions(carried=Correction.NONE, wanted=Correction.SAE_J1349, weather=HOT))
    assert found.torque.max() == pytest.approx(250.0 * 1.09277, rel=5e-5)
    assert found.correction is Correction.SAE_J1349
    assert found.put_on is not None
    assert found.put_on.flagged
    assert "do not trust a factor further than 7 % from 1" in found.notes[-1]


def test_correction_back(table: Path) -> None:
    found = read_sheets([table], CurveOptions(carried=Correction.SAE_J607, wanted=Correction.NONE, weather=HOT))
    assert found.torque.max() == pytest.approx(250.0 / 1.12178, rel=5e-5)
    assert found.correction is Correction.NONE


def test_correction_of_a_boosted_engine(table: Path) -> None:
    """A dyno's J607 is taken back whatever the engine; J1349 is not put on, unless asked for all the same."""
    options = {"carried": Correction.SAE_J607, "wanted": Correction.SAE_J1349, "weather": HOT, "boosted": True}
    found = read_sheets([table], CurveOptions(**options))  # type: ignore[arg-type]
    assert found.torque.max() == pytest.approx(250.0 / 1.12178, rel=5e-5)
    assert found.put_on is not None
    assert "count the weather twice" in found.put_on.why
    assert found.correction is Correction.NONE  # no factor is on it, so nobody may take one back later
    asked = read_sheets([table], CurveOptions(**options, correct_boosted=True))  # type: ignore[arg-type]
    assert asked.torque.max() == pytest.approx(250.0 * 1.09277 / 1.12178, rel=1e-4)


@pytest.mark.parametrize(
    "lines",
    ["Correction;DIN 70020\nMeasured at;wheel\n", "# Correction: din 70020\n# MEASURED AT: Wheel\n"],
)
def test_a_sheet_may_state_its_conditions_in_its_own_manner(tmp_path: Path, lines: str) -> None:
    path = tmp_path / "sheet.csv"
    path.write_text(f"{lines}rpm;Nm;kW\n2000;100;20.94\n3000;200;62.83\n4000;250;104.72\n5000;240;125.66\n", "utf-8")
    found = read_sheets([path])
    assert (found.correction, found.measured_at) == (Correction.DIN_70020, MeasuredAt.WHEEL)


def test_nothing_is_done_that_was_not_asked_for(table: Path) -> None:
    plain = read_sheets([table], CurveOptions(carried=Correction.SAE_J607, measured_at=MeasuredAt.WHEEL))
    assert plain.torque.tolist() == pytest.approx([100.0, 200.0, 250.0, 240.0])
    assert (plain.taken_back, plain.put_on, plain.conversion) == (None, None, "")
    assert (plain.correction, plain.measured_at) == (Correction.SAE_J607, MeasuredAt.WHEEL)


def test_wheel_to_crank_and_back(table: Path) -> None:
    coupe = load(Path(__file__).parents[2] / "scenarios" / "road-coupe.toml")
    losses = driveline_losses(coupe, MeasuredAt.WHEEL, 4, 300.0 * RPM)
    up = read_sheets([table], CurveOptions(measured_at=MeasuredAt.WHEEL, wanted_at=MeasuredAt.CRANK, losses=losses))
    by_hand = (250.0 + losses.inertia_after * 300.0 * RPM) / 0.93 + 0.202 * 300.0 * RPM
    assert up.torque.max() == pytest.approx(by_hand)
    assert up.conversion.startswith("from wheel to crank: driveline of Road coupe, rear drive in gear 4")
    path = table.with_name("up.csv")
    write_curve(up, path)
    down = read_sheets([path], CurveOptions(wanted_at=MeasuredAt.WHEEL, losses=losses))
    assert down.torque == pytest.approx([100.0, 200.0, 250.0, 240.0], abs=1e-3)


def test_losses_come_before_the_correction(table: Path) -> None:
    """Inertia takes the same torque in any weather, so the correction belongs on the crank torque."""
    losses = Losses(0.9, 0.2, 0.1, 40.0, "sample")
    found = read_sheets(
        [table],
        CurveOptions(
            carried=Correction.SAE_J607, wanted=Correction.SAE_J1349, weather=HOT,
            measured_at=MeasuredAt.HUB, wanted_at=MeasuredAt.CRANK, losses=losses,
        ),
    )  # fmt: skip
    assert found.torque.max() == pytest.approx(((250.0 / 1.12178 + 4.0) / 0.9 + 8.0) * 1.09277, rel=1e-4)


@pytest.mark.parametrize(
    ("options", "told"),
    [
        ({"wanted": Correction.SAE_J1349}, "a correction to SAE J1349 needs the correction that the figures carry"),
        (
            {"carried": Correction.SAE_J607, "wanted": Correction.SAE_J1349},
            "a change of correction from SAE J607 to SAE J1349 needs the weather of the test",
        ),
        (
            {"wanted_at": MeasuredAt.CRANK},
            "torque at the crank needs the place at which the figures were measured",
        ),
        (
            {"measured_at": MeasuredAt.WHEEL, "wanted_at": MeasuredAt.CRANK},
            "a conversion from wheel to crank needs the losses between them",
        ),
        (
            {"measured_at": MeasuredAt.WHEEL, "wanted_at": MeasuredAt.HUB, "losses": stated_losses(0.1)},
            "figures are not converted from wheel to hub directly",
        ),
    ],
)
def test_what_is_not_known_is_asked_for(table: Path, options: dict[str, object], told: str) -> None:
    assert _refusal(UsageError, table, **options).startswith(told)


def test_losses_that_eat_the_curve(table: Path) -> None:
    told = _refusal(
        InputError, table,
        measured_at=MeasuredAt.CRANK, wanted_at=MeasuredAt.WHEEL, losses=Losses(0.9, 2.0, 0.0, 100.0, "sample"),
    )  # fmt: skip
    assert told.startswith("the finished curve has no torque at 1000 rpm")


def test_sheets_of_different_corrections_are_not_mixed(tmp_path: Path) -> None:
    rows = ["# correction: SAE J607", "rpm,Nm", "1000,100", "2000,200", "3000,250"]
    told, untold = sheet(tmp_path, rows[1:], rows[0], "a.csv"), sheet(tmp_path, rows[2:], rows[1], "b.csv")
    assert "the sheets differ in correction: SAE J607, not stated" in _refusal(InputError, told, untold)
    assert "the sheets differ in correction: SAE J1349, SAE J607" in _refusal(
        InputError, told, carried=Correction.SAE_J1349
    )
    both = read_sheets([told, untold], CurveOptions(carried=Correction.SAE_J607))
    assert both.correction is Correction.SAE_J607


def test_number_of_sheets(table: Path) -> None:
    assert "0 sheets were named; name 1 to 20" in _refusal(UsageError)
    assert "21 sheets were named; name 1 to 20" in _refusal(UsageError, *[table] * 21)


# --- file ---


def test_file_is_read_by_a_scenario(tmp_path: Path, table: Path) -> None:
    found = read_sheets([table], CurveOptions(carried=Correction.SAE_J1349, measured_at=MeasuredAt.CRANK))
    path = tmp_path / "out.csv"
    write_curve(found, path)
    text = path.read_text(encoding="utf-8")
    assert text == (
        "# correction: SAE J1349\n# measured at: crank\nengine speed [rpm],torque [N m]\n"
        "1000,100\n2000,200\n3000,250\n4000,240\n"
    )
    assert read_curve(text, "out.csv")[2] == ("3000 rpm", "250 N m")
    assert read_conditions(text, "out.csv") == {"correction": "SAE J1349", "measured_at": "crank"}
    again = read_sheets([path])
    assert as_text(again) == text


def test_noisy_sheet_to_a_sound_file(tmp_path: Path) -> None:
    path = tmp_path / "out.csv"
    write_curve(read_sheets([sheet(tmp_path, rise(2000))]), path)
    points = read_curve(path.read_text(encoding="utf-8"), "out.csv")
    assert len(points) <= 256
    again = read_sheets([path], CurveOptions(smoothing=False))
    assert as_text(again) == path.read_text(encoding="utf-8")


def test_a_file_is_not_replaced_unasked(tmp_path: Path, table: Path) -> None:
    found = read_sheets([table])
    path = tmp_path / "out.csv"
    path.write_text("mine", encoding="utf-8")
    with pytest.raises(InputError, match="is there already; name another file, or give --force"):
        write_curve(found, path)
    assert path.read_text(encoding="utf-8") == "mine"
    write_curve(found, path, overwrite=True)
    assert path.read_text(encoding="utf-8") == as_text(found)
    assert sorted(entry.name for entry in tmp_path.iterdir()) == ["out.csv", "table.csv"]


def test_where_nothing_can_be_written(tmp_path: Path, table: Path) -> None:
    found = read_sheets([table])
    (tmp_path / "folder.csv").mkdir()
    for path in (tmp_path / "gone" / "out.csv", tmp_path / "folder.csv", Path("a\0.csv")):
        with pytest.raises(InputError, match=r"cannot be written|is not a file"):
            write_curve(found, path, overwrite=True)
    with pytest.raises(UsageError, match=r"a curve file ends in \.csv"):
        write_curve(found, tmp_path / "out.txt")
    assert sorted(entry.name for entry in tmp_path.iterdir()) == ["folder.csv", "table.csv"]
