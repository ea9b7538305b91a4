"""Rows to pulls: what counts, what is dropped, and what cannot be right."""

from __future__ import annotations

import random
from math import pi
from pathlib import Path

import numpy as np
import pytest

from readers.sweeps import fall, rise, sheet
from simlaunch.errors import InputError
from simlaunch.readers.columns import Choices
from simlaunch.readers.sheet import common_range, read_sheet, together
from simlaunch.readers.smoothing import smooth

DATA = Path(__file__).parent / "data"
RPM = pi / 30.0


def _refusal(path: Path, choices: Choices | None = None) -> str:
    with pytest.raises(InputError) as caught:
        read_sheet(path, choices or Choices())
    return str(caught.value).removeprefix(f"{path}, ")


def _table(folder: Path, text: str) -> Path:
    header, *rows = text.split()
    return sheet(folder, rows, header.replace("_", " "))


def test_sheet_as_a_dyno_writes_it() -> None:
    """Preamble, row of units, decimal comma, remarks, overrun between two pulls. The data is invented."""
    found = read_sheet(DATA / "two-pulls.csv")
    assert [pull.lines for pull in found.pulls] == [(4, 13), (17, 26)]
    assert found.pulls[0].speed / RPM == pytest.approx([1500, 2000, 2500, 3000, 3500, 4000, 4500, 5000, 5500, 6000])
    assert found.pulls[1].torque.max() == 562.6
    assert [(entry.rows, entry.why) for entry in found.dropped] == [(3, "engine speed or torque is not above zero")]
    assert found.rows == 23
    assert 'engine speed: column 1 "Drehzahl" in 1/min' in found.understood
    assert 'power: column 3 "Leistung" in kW' in found.understood
    assert 'column "Bemerkung" holds text and is left out' in found.understood


def test_up_sweep_with_noise_is_one_pull(tmp_path: Path) -> None:
    found = read_sheet(sheet(tmp_path, rise(2000)))
    assert len(found.pulls) == 1
    assert len(found.pulls[0].speed) >= 1995  # rows after the highest speed are no part of the rise


def test_down_sweep_tail_is_dropped_and_counted(tmp_path: Path) -> None:
    found = read_sheet(sheet(tmp_path, rise(300) + fall(100)))
    (pull,) = found.pulls
    assert pull.lines[1] <= 301
    (dropped,) = found.dropped
    assert dropped.rows == 400 - len(pull.speed)
    assert str(dropped).endswith(f"{dropped.rows} rows dropped: engine speed falls, or holds after its highest")


@pytest.mark.parametrize(
    "between", [[], fall(100), fall(100, -20.0), ["1150,5.0"]], ids=["jump", "fall", "overrun", "one"]
)
def test_several_pulls_in_one_file(tmp_path: Path, between: list[str]) -> None:
    rows = rise(300, seed=1) + between + rise(300, seed=2) + between + rise(300, seed=3)
    found = read_sheet(sheet(tmp_path, rows))
    assert len(found.pulls) == 3
    assert all(290 <= len(pull.speed) <= 301 for pull in found.pulls)
    assert all(pull.torque.min() > 150.0 for pull in found.pulls) or between == ["1150,5.0"]


def test_a_short_sweep_is_dropped(tmp_path: Path) -> None:
    found = read_sheet(sheet(tmp_path, rise(100)[:40] + rise(300)))
    assert len(found.pulls) == 1
    assert "sweep shorter than 50% of the longest" in [entry.why for entry in found.dropped]


def test_blank_and_idle_rows_are_dropped(tmp_path: Path) -> None:
    found = read_sheet(sheet(tmp_path, ["800,0", "800,", *rise(300)]))
    assert [(entry.rows, entry.why) for entry in found.dropped][:2] == [
        (1, "engine speed or load is blank"),
        (1, "engine speed or torque is not above zero"),
    ]


def test_table_from_the_top_down(tmp_path: Path) -> None:
    (pull,) = read_sheet(_table(tmp_path, "rpm,Nm 4000,110 3000,120 2000,100")).pulls
    assert pull.torque.tolist() == [100.0, 120.0, 110.0]


def test_power_only(tmp_path: Path) -> None:
    """230.38346 kW at 5500 rpm are 400 N m. Source: definition; kW = N m x rpm / 9549.2966."""
    (pull,) = read_sheet(_table(tmp_path, "rpm,kW 2750,115.19173 5500,230.38346")).pulls
    assert pull.torque == pytest.approx([400.0, 400.0], rel=1e-7)


def test_power_in_horsepower(tmp_path: Path) -> None:
    """342.7192 hp at 6000 rpm are 300 lbf ft. Source: 33000 ft lbf/min, 40 CFR 1066.20."""
    (pull,) = read_sheet(_table(tmp_path, "rpm,hp 3000,171.3596 6000,342.7192")).pulls
    assert pull.torque == pytest.approx([300 * 1.3558179483314004] * 2, rel=1e-6)


BOTH = "rpm,Nm,kW 1000,200,20.944 2000,300,62.832 3000,400,125.664 4000,380,159.174"


def test_power_and_torque_agree(tmp_path: Path) -> None:
    assert len(read_sheet(_table(tmp_path, BOTH)).pulls[0].speed) == 4
    assert read_sheet(_table(tmp_path, BOTH.replace("3000,400", "3000,403.9"))).rows == 4


def test_mismatch_names_the_row(tmp_path: Path) -> None:
    assert _refusal(_table(tmp_path, BOTH.replace("3000,400", "3000,405"))) == (
        'line 4, column kW: "125.664 kW" is 1.2% away from torque times engine speed (405 Nm at 3000 rpm); '
        "mend the row, or leave one of the columns out"
    )


@pytest.mark.parametrize(
    ("headed", "guess"),
    [
        ("rpm,Nm,hp", 'power looks like kW; give --unit "power=kW"'),
        ("rpm,Nm,PS", 'power looks like kW; give --unit "power=kW"'),
        ("rpm,lb-ft,kW", 'torque looks like N m; give --unit "torque=N m"'),
    ],
)
def test_mismatch_of_a_unit_is_guessed(tmp_path: Path, headed: str, guess: str) -> None:
    told = _refusal(_table(tmp_path, BOTH.replace("rpm,Nm,kW", headed)))
    assert "and so in 3 further rows" in told
    assert told.endswith(guess)


def test_metric_horsepower_under_hp_is_found(tmp_path: Path) -> None:
    rows = [f"{n},{t},{n * t * RPM / 735.49875:.3f}" for n, t in ((1000, 200), (2000, 300), (3000, 400), (4000, 380))]
    assert _refusal(sheet(tmp_path, rows, "rpm,Nm,hp")).endswith('power looks like PS; give --unit "power=PS"')


def test_rad_per_second_under_rpm(tmp_path: Path) -> None:
    path = _table(tmp_path, "rpm,Nm 105,110 419,120 733,100")
    assert _refusal(path) == (
        'column rpm: "733" is the highest engine speed, in rpm, which no dyno sweep ends at; it looks like rad/s; '
        'give --unit "engine speed=rad/s"'
    )
    (pull,) = read_sheet(path, Choices(units={"engine speed": "rad/s"})).pulls
    assert pull.speed[-1] == 733.0


def test_rad_per_second_under_rpm_of_a_racing_engine(tmp_path: Path) -> None:
    """1700 rad/s, 16,200 rpm: only power and torque together show it."""
    rows = [f"{w},{t},{w * t / 1e3:.3f}" for w, t in ((500, 200), (1000, 300), (1700, 280))]
    told = _refusal(sheet(tmp_path, rows, "rpm,Nm,kW"))
    assert told.endswith("engine speed looks like rad/s under a heading in rpm")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("rad/s,Nm 1000,110 4000,120 7330,100", 'column rad/s: "7330" is the highest engine speed, in rad/s, which'),
        (
            "rpm,Nm 100,110 90,120 80,100",
            'column rpm: "100" is the highest engine speed, in rpm, which no dyno sweep ends',
        ),
        ("rpm,Nm 3000,110", 'engine speed: "3000 rpm" is all there is: one row'),
        ("rpm,Nm 3000,110 3000,112", 'engine speed: "3000 rpm" is all there is: one engine speed'),
        ("rpm,Nm 1000,0 2000,0 3000,0", "file: holds no row with engine speed and torque above zero"),
        ("rpm,Nm 1000,-9 2000,-8 3000,-7", "file: holds no row with engine speed and torque above zero"),
        ("rpm,Nm -1000,90 2000,90", "line 2, engine speed: is negative"),
        ("rpm,Nm 1000,0.2 2000,0.3 3000,0.4", 'torque: "0.4 N m" is the highest torque, outside 5 to 20000 N m'),
        ("rpm,Nm 3000,110 1000,120 2000,100 5000,90 4000,100", "engine speed: does not form sweeps: 1 rise, where"),
    ],
)
def test_cannot_be_right(tmp_path: Path, text: str, told: str) -> None:
    assert _refusal(_table(tmp_path, text)).startswith(told)


def test_unsorted(tmp_path: Path) -> None:
    rows = rise(400)
    random.Random(1).shuffle(rows)
    told = _refusal(sheet(tmp_path, rows))
    assert told.startswith("engine speed: does not form sweeps: ")
    assert told.endswith("; sort the rows by engine speed, or give the sweeps one after the other")


def _together(folder: Path, scales: list[float]) -> tuple[tuple[float, ...], tuple[int, ...], float]:
    rows = [row for seed, scale in enumerate(scales) for row in rise(300, scale=scale, seed=seed)]
    pulls = read_sheet(sheet(folder, rows)).pulls
    assert len(pulls) == len(scales)
    low, high = common_range(pulls)
    mean = together([smooth(pull.speed, pull.torque) for pull in pulls], np.linspace(low, high, 50))
    return mean.deviations, mean.outliers, float(np.mean(mean.spread / mean.torque))


def test_outlier_is_found(tmp_path: Path) -> None:
    deviations, outliers, spread = _together(tmp_path, [1.0, 0.998, 1.05])
    assert outliers == (2,)
    assert deviations[2] == pytest.approx(0.05, abs=0.003)
    assert spread == pytest.approx(np.std([1.0, 0.998, 1.05], ddof=1), rel=0.1)


def test_like_pulls_and_scattered_ones_have_no_outlier(tmp_path: Path) -> None:
    assert _together(tmp_path, [1.0, 1.003, 0.998])[1] == ()
    assert _together(tmp_path, [0.96, 0.98, 1.0, 1.03, 1.05])[1] == ()  # they all scatter
    assert _together(tmp_path, [1.0, 1.05])[1] == ()  # of two, nobody can tell


def test_pulls_with_little_in_common(tmp_path: Path) -> None:
    low = read_sheet(sheet(tmp_path, rise(300)[:120], name="low.csv")).pulls[0]
    high = read_sheet(sheet(tmp_path, rise(300)[100:], name="high.csv")).pulls[0]
    with pytest.raises(
        InputError, match=r"lines 2 to .*: leaves the pulls too narrow a range of engine speed in common"
    ):
        common_range([low, high])
