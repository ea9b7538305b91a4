"""Figures of a curve from dyno sheets and of a log: what they draw, in which units, with one correction and place."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from readers.logs import ACCELERATION, RADIUS, SLIP, sound_csv, speed, times, write_csv
from readers.sweeps import rise, sheet
from simlaunch.analysis.log import read_log
from simlaunch.curves.engine_figures import engine_figures
from simlaunch.errors import UsageError
from simlaunch.plotting.curve import curve_figure
from simlaunch.plotting.log import log_figure
from simlaunch.plotting.save import as_bytes
from simlaunch.readers.curve import CurveAccount, CurveOptions, read_sheets
from simlaunch.readers.log import LogOptions
from simlaunch.readers.reference_conditions import stated_losses
from simlaunch.scenario.powertrain import MeasuredAt


def _curve(folder: Path, **options: object) -> CurveAccount:
    paths = [sheet(folder, rise(seed=n), name=f"{n}.csv") for n in range(3)]
    return read_sheets(paths, CurveOptions(**options))  # type: ignore[arg-type]


@pytest.mark.parametrize(("system", "peak"), [("metric", 560.0), ("us", 560.0 / 1.3558179483)])
def test_pulls_are_thin_and_the_curve_is_strong(tmp_path: Path, system: str, peak: float) -> None:
    account = _curve(tmp_path)
    figure = curve_figure(account, engine_figures(account), system)
    for axes in figure.axes:
        *pulls, curve, dot = axes.lines
        assert len(pulls) == 3
        assert max(line.get_linewidth() for line in pulls) < 0.5 * curve.get_linewidth()
        assert np.max(curve.get_ydata()) == np.asarray(dot.get_ydata())[0]
    assert np.max(figure.axes[0].lines[-2].get_ydata()) == pytest.approx(peak, rel=0.01)


def test_pulls_are_drawn_under_the_conditions_of_the_curve(tmp_path: Path) -> None:
    options = {"measured_at": MeasuredAt.WHEEL, "wanted_at": MeasuredAt.CRANK, "losses": stated_losses(0.2)}
    account = _curve(tmp_path, **options)
    lines = curve_figure(account, engine_figures(account), "metric").axes[0].lines
    highest = [float(np.max(line.get_ydata())) for line in lines]
    assert highest == pytest.approx([560.0 / 0.8] * 5, rel=0.02)


def test_a_pull_left_out_is_drawn_differently(tmp_path: Path) -> None:
    account = _curve(tmp_path, leave_out=(2,))
    lines = curve_figure(account, engine_figures(account), "metric").axes[0].lines
    assert lines[1].get_color() != lines[0].get_color() == lines[2].get_color()


def test_the_same_curve_gives_the_same_bytes(tmp_path: Path) -> None:
    account = _curve(tmp_path)
    first, second = (as_bytes(curve_figure(account, engine_figures(account), "metric"), "svg") for _ in range(2))
    assert first == second


def test_a_log_shows_car_and_wheels(tmp_path: Path) -> None:
    path = sound_csv(tmp_path / "log.csv")
    figure = log_figure(read_log(path, LogOptions(radii=(RADIUS, RADIUS))), "metric")
    assert len(figure.axes) == 2
    car, front, rear = (np.asarray(line.get_ydata()) for line in figure.axes[0].lines)
    assert car[-1] == pytest.approx(3.6 * ACCELERATION * 8.99)
    assert front == pytest.approx(car)
    assert rear == pytest.approx((1.0 + SLIP) * car)


def test_a_log_of_speed_alone_has_one_panel(tmp_path: Path) -> None:
    path = write_csv(tmp_path / "log.csv", {"time [s]": times(), "speed [m/s]": speed(times())})
    assert [len(axes.lines) for axes in log_figure(read_log(path), "us").axes] == [1]
    with pytest.raises(UsageError, match="no system of units"):
        log_figure(read_log(path), "nonsense")
