"""One launch, the usable torque and a check as text of 80 columns."""

from __future__ import annotations

from dataclasses import replace

import pytest

from output.compared import SCENARIOS, comparison, scenario
from simlaunch.analysis.check import check
from simlaunch.analysis.usable import usable
from simlaunch.metrics.marks import STANDARD
from simlaunch.output import check as check_output
from simlaunch.output import run as run_output
from simlaunch.output import usable as usable_output
from simlaunch.output.layout import columns
from simlaunch.output.run import distinct
from simlaunch.scenario.defaults import defaults
from simlaunch.units.spelling import System

NAMES = sorted(path.stem for path in SCENARIOS.glob("*.toml"))
COUPE = "road-coupe"


def _narrow(text: str) -> bool:
    return all(columns(line) <= 80 and line.isprintable() for line in text.split("\n"))


@pytest.mark.parametrize("system", list(System))
def test_a_run_reports_marks_grip_parts_energy_and_events(system: System) -> None:
    launch = comparison(COUPE).runs[0].full
    text = launch.to_text(system)
    assert _narrow(text)
    titles = [table.title for table in run_output.tables(launch, system)]
    assert titles == ["Marks", "Grip use", "Above the usable torque", "Peak torque of parts", "Energy audit", "Events"]
    assert 'Curve "peak", full pedal' in text
    assert "shift begins" in text
    assert text.endswith("End: every target was passed.")


def test_a_run_shows_every_usual_mark_and_its_residual() -> None:
    tables = {t.title: t for t in run_output.tables(comparison(COUPE).runs[0].full, System.METRIC)}
    assert {target.label for target in STANDARD} < {row.label for row in tables["Marks"].rows}
    residual = tables["Energy audit"].rows[-1]
    assert residual.label == "residual over engine work"
    assert float(residual.cells[0]) < 1e-4


def test_a_bad_run_says_so_first_and_last() -> None:
    launch = comparison(COUPE).runs[0].full
    audit = replace(launch.measures.audit, drag=0.0)
    bad = replace(launch, measures=replace(launch.measures, audit=audit))
    blocks = bad.to_text().split("\n\n")
    assert sum(block.startswith("BAD RUN") for block in blocks) == 2
    assert blocks[-1].startswith("BAD RUN")


@pytest.mark.parametrize("system", list(System))
@pytest.mark.parametrize("name", NAMES)
def test_usable_torque_names_each_gear_once(name: str, system: System) -> None:
    found = usable(scenario(name))
    text = found.to_text(system)
    assert _narrow(text)
    free = text.partition("at every engine speed in gear ")[2].partition(".")[0].split(", ")
    told = [line.split()[1].rstrip(":") for line in text.splitlines() if line.startswith("Gear ")]
    gears = [str(ceiling.gear) for ceiling in found.ceilings]
    assert sorted([*told, *(gear for gear in free if gear)], key=int) == gears


def test_usable_tables_hold_each_curve_in_each_gear_and_every_ceiling() -> None:
    found = usable(scenario(COUPE))
    tables = usable_output.tables(found, System.METRIC)
    above = [table for table in tables if table.title.startswith("Gear ")]
    assert len(above) == len(found.ceilings)
    assert all([row.label for row in table.rows] == ["peak", "plateau"] for table in above)
    heads = [head for table in tables[len(above) :] for head in table.heads]
    assert heads == [f"gear {ceiling.gear}" for ceiling in found.ceilings]
    first = tables[len(above)].rows[0]
    assert first.cells[0] == f"{found.ceilings[0].usable[0]:.0f}"


def test_a_check_lists_every_default_with_its_origin() -> None:
    sound = scenario(COUPE)
    found = check(sound)
    text = found.to_text(full=True)
    assert _narrow(text)
    assert "The scenario is sound." in text
    joined = " ".join(text.split())
    for default in defaults(sound):
        assert f"{default.key}: {default.value} ({default.origin})" in joined
    assert "air density: " in joined
    assert 'shift speeds, curve "plateau": ' in joined
    rows = {row.label: row.cells for row in check_output.tables(found, System.METRIC)[0].rows}
    told = {label: cells[:2] for label, cells in rows.items()}
    assert told == {default.key: (default.value, default.origin) for default in defaults(sound)}


def test_a_check_lists_the_ten_defaults_first_that_move_most() -> None:
    found = check(scenario(COUPE))
    short, full = found.to_text(), found.to_text(full=True)
    listed = [default.key for default in found.defaults]
    assert [key for key in listed if f"\n{key}: " in short] == listed[:10]
    assert f"and {len(listed) - 10} more; --all lists them" in short
    assert [key for key in listed if f"\n{key}: " in full] == listed
    assert "more; --all" not in full


def test_a_check_repeats_warnings() -> None:
    text = replace(check(scenario(COUPE)), warnings=("body.mass: odd",)).to_text()
    assert text.endswith("Possible, but seldom meant\nbody.mass: odd")


def test_one_target_under_two_names_is_shown_once() -> None:
    quarter = next(target for target in STANDARD if target.label == "1/4 mile")
    again = replace(quarter, label="402.336 m")
    assert distinct([quarter, again], lambda target: target) == [quarter]
