"""`simlaunch compare` with curves that carry unlike weather corrections."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

import simlaunch
from readers.catalogue import POINTS, refused, scenario
from simlaunch.cli.main import answer
from simlaunch.comparing.reference_conditions import correction_gaps
from simlaunch.errors import InputError
from simlaunch.scenario.reading import load

Capture = pytest.CaptureFixture[str]

DRY = '[air]\npressure = "99 kPa"\ntemperature = "25 degC"\nhumidity = "0 %"\n[run]\nuntil = ["60 m"]\n'


def _curves(folder: Path, *corrections: str) -> Path:
    """A scenario with one curve for each correction; an empty one states none."""
    more = "".join(
        f'\n[[curves]]\nname = "c{n}"\n{POINTS.replace("300 N m", "310 N m")}\n'
        + (f'correction = "{correction}"\n' if correction else "")
        for n, correction in enumerate(corrections)
    )
    path = scenario(folder)
    text = path.read_text("utf-8").partition("[[curves]]")[0]
    path.write_text(f"{text}{DRY}{more}", "utf-8")
    return path


def test_different_corrections_are_refused(tmp_path: Path, capsys: Capture) -> None:
    told = " ".join(refused(capsys, "compare", _curves(tmp_path, "SAE J1349", "SAE J607"), "--quiet").split())
    assert 'curve "c1" carries correction SAE J607, curve "c0" SAE J1349' in told
    assert "reads 4.0 % higher under SAE J607 than under SAE J1349" in told  # the published pair: about 4 %
    assert "--mixed-corrections" in told


def test_the_flag_lets_them_through_and_says_so(tmp_path: Path, capsys: Capture) -> None:
    path = str(_curves(tmp_path, "SAE J1349", "SAE J607"))
    assert answer(["compare", path, "--mixed-corrections"]) == 0
    shown = capsys.readouterr()
    assert "reads 4.0 % higher" in " ".join(shown.err.split())
    assert "Different reference conditions: " in shown.out
    assert "reads 4.0 % higher" in " ".join(shown.out.partition("Times, full pedal")[0].split())
    assert answer(["compare", path, "--mixed-corrections", "--json", "--quiet"]) == 0
    shown = capsys.readouterr()
    assert shown.err == ""
    gaps = json.loads(shown.out)["correction_gaps"]
    assert [(gap["higher"], gap["lower"]) for gap in gaps] == [("c1", "c0")]
    assert gaps[0]["gap"] == pytest.approx(0.04, abs=0.001)


@pytest.mark.parametrize("corrections", [("SAE J1349", "SAE J1349"), ("", "")])
def test_equal_corrections_pass_and_so_do_unstated_ones(
    tmp_path: Path, capsys: Capture, corrections: tuple[str, ...]
) -> None:
    path = _curves(tmp_path, *corrections)
    assert answer(["compare", str(path), "--quiet", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["correction_gaps"] == []


def test_every_pair_is_looked_at(tmp_path: Path) -> None:
    car = load(_curves(tmp_path, "", "SAE J607", "none", "ISO 1585"))
    gaps = correction_gaps(car, car.curve_names)
    named = [{gap.higher, gap.lower} for gap in gaps]
    assert named == [{"c1", "c2"}, {"c1", "c3"}, {"c2", "c3"}]
    assert [gap.higher for gap in gaps[:2]] == ["c1", "c1"]
    assert all(gap.gap >= 0.0 for gap in gaps)
    assert correction_gaps(car, ["c0", "c2"]) == ()


def test_the_library_refuses_them_too(tmp_path: Path) -> None:
    car = load(_curves(tmp_path, "SAE J1349", "SAE J607"))
    with pytest.raises(InputError, match="bring both to one correction"):
        simlaunch.compare(car)


def test_a_curve_that_states_no_correction_is_not_set_against_one_that_does(tmp_path: Path, capsys: Capture) -> None:
    told = " ".join(refused(capsys, "compare", _curves(tmp_path, "SAE J1349", ""), "--quiet").split())
    assert 'curve "c0" states correction SAE J1349, curve "c1" states none' in told
    assert "--mixed-corrections" in told
