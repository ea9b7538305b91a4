"""`simlaunch curve` from the sheet to the file: what it says, what it writes, what it refuses."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import simlaunch
from readers.catalogue import refused
from readers.sweeps import CURVE, fall, rise, sheet
from simlaunch.cli import curve_options, table_options
from simlaunch.cli.main import answer
from simlaunch.readers import delimited
from simlaunch.readers.curve import CurveOptions
from simlaunch.scenario import powertrain
from simlaunch.scenario.curve_file import read_conditions, read_curve
from simlaunch.units import numeral
from simlaunch.writing import WRITTEN

SCENARIOS = Path(__file__).parents[2] / "scenarios"
COUPE = str(SCENARIOS / "road-coupe.toml")
WEATHER = ("--pressure", "99 kPa", "--temperature", "25 degC", "--humidity", "0 %")
DRIVELINE = ("--scenario", COUPE, "--gear", "4", "--sweep-rate", "300 rpm/s")

Capture = pytest.CaptureFixture[str]


@pytest.fixture
def pulls(tmp_path: Path) -> Path:
    """Three pulls with tails; the last of them reads 5 % low."""
    rows = [*rise(seed=1), *fall(), *rise(seed=2), *fall(), *rise(seed=3, scale=0.95)]
    return sheet(tmp_path, rows)


@pytest.fixture
def exact(tmp_path: Path) -> Path:
    """One pull without noise."""
    return sheet(tmp_path, rise(noise=0.0), name="exact.csv")


def _text(capsys: Capture, *arguments: str | Path) -> str:
    assert answer(["curve", *map(str, arguments), "--quiet"]) == 0
    shown = capsys.readouterr()
    assert shown.err == ""
    assert max(map(len, shown.out.splitlines())) <= 80
    assert shown.out.replace("\n", "").isprintable()
    return shown.out


def _flat(text: str) -> str:
    return " ".join(text.split())


def _refuse_constant(name: str) -> Any:
    raise ValueError(name)


def _object(capsys: Capture, *arguments: str | Path) -> Any:
    assert answer(["curve", *map(str, arguments), "--quiet", "--json"]) == 0
    shown = capsys.readouterr()
    assert shown.err == ""
    return json.loads(shown.out, parse_constant=_refuse_constant)


# --- what it says ---


def test_it_says_what_it_understood_and_did(pulls: Path, capsys: Capture) -> None:
    told = _flat(_text(capsys, pulls))
    assert 'engine speed: column 1 "rpm" in rpm' in told
    assert 'torque: column 2 "Torque (Nm)" in Nm' in told
    assert "1100 rows read, 898 used" in told
    assert "rows dropped: engine speed falls" in told
    assert "lies apart" in told
    assert "it is in the mean unless left out" in told
    assert "smoothing: cubic smoothing spline" in told
    assert "of the truth where noise is independent from row to row" in told
    assert "weather correction not known; place not known" in told


def test_the_known_curve_comes_back(pulls: Path, capsys: Capture) -> None:
    told = _object(capsys, pulls, "--leave-out", "3")
    points = told["points"]
    speed = np.array(points["engine_speed_rad_per_s"]) * 30.0 / np.pi
    truth = CURVE(np.clip(speed, 1000.0, 7000.0))
    bound = max(pull["peak_bound"] for pull in told["pulls"] if not pull["left_out"])
    assert 0.003 < bound < 0.006
    assert told["peak_torque"]["torque_N_m"] == pytest.approx(truth.max(), rel=bound)
    assert [pull["left_out"] for pull in told["pulls"]] == [False, False, True]
    assert told["peak_power"]["power_W"] == max(points["power_W"])


def test_metric_and_us_units_say_the_same(exact: Path, capsys: Capture) -> None:
    assert "560" in _text(capsys, exact).rpartition("Peaks")[2]
    assert "torque [lb-ft]" in _text(capsys, exact, "--units", "us")


def test_columns_and_units_can_be_named(tmp_path: Path, capsys: Capture) -> None:
    rows = [f"{row},{row.rpartition(',')[2]}" for row in rise(noise=0.0)]
    path = sheet(tmp_path, rows, header="rpm,Torque A (Nm),Torque B")
    assert "Torque A" in refused(capsys, "curve", path)
    named = ("--column", "torque=Torque B", "--unit", "torque=lb-ft")
    peak = _object(capsys, path, *named)["peak_torque"]["torque_N_m"]
    assert peak == pytest.approx(560.0 * 1.3558179483, rel=1e-3)  # NIST SP 811: 1 lbf ft = 1.355818 N m


# --- correction and place ---


def test_wheel_to_crank_and_back(exact: Path, tmp_path: Path, capsys: Capture) -> None:
    crank = tmp_path / "crank.csv"
    told = _text(capsys, exact, "--measured-at", "wheel", *DRIVELINE, "--save", crank)
    assert "from wheel to crank: driveline of Road coupe" in _flat(told)
    assert read_conditions(crank.read_text("utf-8"), "") == {"measured_at": "crank"}
    back = _object(capsys, crank, "--to", "wheel", *DRIVELINE)
    straight = _object(capsys, exact, "--measured-at", "wheel")
    for key in ("torque_N_m", "engine_speed_rad_per_s"):
        assert back["peak_torque"][key] == pytest.approx(straight["peak_torque"][key], rel=2e-3)
    assert back["mean_effective_pressure_Pa"] is None
    assert back["air_at_peak_power"] is None


def test_stated_losses(exact: Path, capsys: Capture) -> None:
    at_wheel = _object(capsys, exact, "--measured-at", "wheel")["peak_torque"]["torque_N_m"]
    at_crank = _object(capsys, exact, "--measured-at", "wheel", "--losses", "12 %")
    assert at_crank["peak_torque"]["torque_N_m"] == pytest.approx(at_wheel / 0.88)
    assert at_crank["valid_at"] == "crank"


def test_corrections_are_put_on_taken_back_and_flagged(exact: Path, capsys: Capture) -> None:
    change = ("--correction", "none", "--to-correction", "sae j607")
    told = _flat(_text(capsys, exact, *change, *WEATHER))
    assert "1.0400 by SAE J607" in told
    hot = ("--pressure", "90 kPa", "--temperature", "35 degC", "--humidity", "60 %")
    assert "do not trust a factor further than 7 % from 1" in _flat(_text(capsys, exact, *change, *hot))
    held = _object(capsys, exact, *change, *hot, "--boosted")
    assert held["correction_put_on"]["value"] == 1.0
    assert "holds its own charge pressure" in held["correction_put_on"]["why"]
    forced = _object(capsys, exact, *change, *hot, "--boosted", "--override")
    assert forced["correction_put_on"]["value"] > 1.07


def test_engine_arithmetic(exact: Path, capsys: Capture) -> None:
    told = _object(capsys, exact, "--measured-at", "crank", "--displacement", "2400 cc")
    peak = told["peak_torque"]["torque_N_m"]
    assert told["mean_effective_pressure_Pa"] == pytest.approx(4.0 * np.pi * peak / 2.4e-3)
    usual = _flat(_text(capsys, exact, "--scenario", COUPE))
    assert "fuel consumption 340 g/(kW h) (common practice" in usual
    assert "2.4 l, four-stroke" in usual
    stated = ("--fuel-consumption", "300 g/(kW h)", "--air-fuel-ratio", "12")
    air = _object(capsys, exact, *stated)["air_at_peak_power"]
    assert air["flow_kg_per_s"] == pytest.approx(told["peak_power"]["power_W"] / 300e3 * 0.3)
    assert air["fuel_consumption_origin"] == "as given"


# --- files ---


def test_the_saved_curve_serves_a_scenario(pulls: Path, tmp_path: Path, capsys: Capture) -> None:
    target = tmp_path / "made.csv"
    marks = ("--correction", "SAE J1349", "--measured-at", "crank")
    _text(capsys, pulls, *marks, "--save", target)
    text = target.read_text("utf-8")
    assert 2 <= len(read_curve(text, "made.csv")) <= 256
    assert read_conditions(text, "made.csv") == {"correction": "SAE J1349", "measured_at": "crank"}


@pytest.mark.parametrize(
    ("torques", "notes"),
    [
        ((200, 230, 250, 270, 280), ["torque 5000 above", "power 5000 above"]),
        ((200, 230, 250, 240, 230), ["power 5000 above"]),
        ((300, 280, 250, 150, 100), ["torque 3000 below"]),
        ((200, 230, 250, 200, 150), []),
    ],
)
def test_a_peak_at_an_end_of_the_curve_is_noted(
    tmp_path: Path, capsys: Capture, torques: tuple[int, ...], notes: list[str]
) -> None:
    """Of three rows taken as they are; power is torque times engine speed. Source: definition."""
    sheet = tmp_path / "s.csv"
    speeds = (3000, 3500, 4000, 4500, 5000)
    rows = [f"{speed},{torque}" for speed, torque in zip(speeds, torques, strict=True)]
    sheet.write_text("\n".join(["engine speed [rpm],torque [N m]", *rows]) + "\n")
    expected = [
        f"the peak {what} stands at the end of the curve: {side} {end} rpm the engine may have more"
        for what, end, side in map(str.split, notes)
    ]
    told = _object(capsys, sheet, "--no-smoothing")["notes"]
    assert [each for each in told if "stands at the end" in each] == expected
    found = simlaunch.read_curve([sheet], CurveOptions(smoothing=False))
    assert [each for each in found.notes if "stands at the end" in each] == expected
    shown = _flat(_text(capsys, sheet, "--no-smoothing"))
    assert all(note in shown for note in expected)
    assert shown.count("stands at the end of the curve") == len(expected)


def test_a_file_is_not_replaced_unless_that_is_asked_for(exact: Path, tmp_path: Path, capsys: Capture) -> None:
    target = tmp_path / "there.csv"
    target.write_text("mine", "utf-8")
    assert "is there already" in refused(capsys, "curve", exact, "--save", target, code=3)
    assert target.read_text("utf-8") == "mine"
    _text(capsys, exact, "--save", target, "--force")
    assert "engine speed [rpm]" in target.read_text("utf-8")


def test_the_folder_gets_json_csv_and_figure(pulls: Path, tmp_path: Path, capsys: Capture) -> None:
    _text(capsys, pulls, "--out", tmp_path / "out")
    names = sorted(path.name for path in (tmp_path / "out").iterdir() if path.name != WRITTEN)
    assert names == [f"sheet-curve{end}" for end in ("-torque.png", "-torque.svg", ".csv", ".json")]


# --- what it refuses ---

USAGE = {
    "not a role": (["--column", "boost=Boost"], 'write one of "engine speed=..."'),
    "a role twice": (["--unit", "torque=Nm", "--unit", "torque=Nm"], "each of them once"),
    "no such pull": (["--leave-out", "9"], "there is no pull 9"),
    "weather in part": (["--pressure", "99 kPa"], "give --temperature and --humidity too"),
    "weather for nothing": ([*WEATHER], "say with --correction"),
    "no weather": (["--correction", "none", "--to-correction", "SAE J607"], "needs the weather of the test"),
    "carried not known": (["--to-correction", "SAE J607"], "the correction that the figures carry"),
    "place not known": (["--losses", "12 %"], "place at which the figures were measured"),
    "losses for nothing": (["--measured-at", "crank", "--losses", "12 %"], "at the crank already"),
    "no losses": (["--measured-at", "wheel", "--to", "crank"], "needs the losses between them"),
    "share and gear": (["--losses", "12 %", "--gear", "4"], "give one of the two"),
    "gear of nothing": (["--gear", "4", "--sweep-rate", "300 rpm/s"], "--scenario FILE"),
    "gear without rate": (["--gear", "4", "--scenario", COUPE], "needs --sweep-rate"),
    "rate alone": (["--sweep-rate", "300 rpm/s"], "give --gear and --scenario too"),
    "gear without place": ([*DRIVELINE], "give --measured-at or --to"),
    "no such gear": ([*DRIVELINE, "--measured-at", "hub", "--gear", "9"], "there is no gear 9"),
    "override alone": (["--override"], "together with --boosted"),
    "save elsewhere": (["--save", "x.txt"], "ends in .csv"),
    "no such place": (["--to", "gearbox"], "'crank', 'hub', 'wheel'"),
}


@pytest.mark.parametrize("case", USAGE)
def test_a_call_that_makes_no_sense(exact: Path, capsys: Capture, case: str) -> None:
    options, words = USAGE[case]
    assert words in refused(capsys, "curve", exact, *options, code=2)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--displacement", "2.4"], "--displacement: "),
        (["--displacement", "1 cc"], "is not from 50 cc to 30 l"),
        (["--losses", "70 %"], "is not from 0 % to 50 %"),
        (["--losses", "9**9**9 %"], "--losses: "),
        (["--fuel-consumption", "nan g/kWh"], "is not a finite number"),
        (["--air-fuel-ratio", "1e400"], "--air-fuel-ratio: "),
        ([*DRIVELINE, "--measured-at", "hub", "--sweep-rate", "300 rpm"], "--sweep-rate: "),
        (["--pressure", "29.92 inHg", "--temperature", "900 degC", "--humidity", "0 %"], "--temperature: "),
        (["--scenario", "missing.toml"], "missing.toml"),
        (["--save", "/nowhere/at/all/x.csv"], "cannot be written"),
    ],
)
def test_a_value_that_cannot_be_used(exact: Path, capsys: Capture, options: list[str], words: str) -> None:
    assert words in refused(capsys, "curve", exact, *options)


HOSTILE = {
    "empty": b"",
    "formula": b"rpm,Nm\n1000,=1+1\n2000,300\n",
    "NULs": b"rpm,Nm\n1000,\0\n",
    "an unclosed quote": b'rpm,Nm\n"1000,200\n' * 1000,
    "underscores": b"rpm,Nm\n1_000,200\n2_000,300\n",
    "one row": b"rpm,Nm\n1000,200\n",
    "zeros": b"rpm,Nm\n1000,0\n2000,0\n3000,0\n",
    "orders to the terminal": b"rpm,\x1b[31mNm\n1000,200\n2000,300\n",
    "rad/s under rpm": b"rpm,Nm,kW\n" + b"".join(b"%d,300,%d\n" % (n, round(0.3 * n)) for n in range(100, 700, 5)),
}


@pytest.mark.parametrize("case", HOSTILE)
def test_a_hostile_sheet(tmp_path: Path, capsys: Capture, case: str) -> None:
    path = tmp_path / "sheet.csv"
    path.write_bytes(HOSTILE[case])
    assert "sheet.csv" in refused(capsys, "curve", path)


def test_what_is_no_file(tmp_path: Path, capsys: Capture) -> None:
    for path in (tmp_path, tmp_path / "missing.csv", Path("/dev/zero"), Path("a\x1b[31m.csv"), Path("x" * 5000)):
        refused(capsys, "curve", path)


def test_the_choices_of_the_command_line_are_those_of_the_reader() -> None:
    pairs = (
        (curve_options.CorrectionChoice, powertrain.Correction),
        (curve_options.PlaceChoice, powertrain.MeasuredAt),
        (table_options.EncodingChoice, delimited.Encoding),
        (table_options.DelimiterChoice, delimited.Delimiter),
        (table_options.DecimalChoice, numeral.DecimalMark),
    )
    for typed, meant in pairs:
        assert {member.name: member.value for member in typed} == {member.name: member.value for member in meant}
