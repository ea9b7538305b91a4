"""Comparisons as text: the whole story in 80 columns, the verdict last, nothing in it that the tables do not show."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from output.compared import comparison, scenario
from output.rounding import stands_in
from simlaunch.comparing.compare import Comparison, CurveRuns, compare
from simlaunch.comparing.verdict import Finding
from simlaunch.launching.goals import target_label
from simlaunch.metrics.marks import STANDARD, mark
from simlaunch.output.compare import tables
from simlaunch.output.layout import columns
from simlaunch.output.words import sentences
from simlaunch.record import Pedal
from simlaunch.units.spelling import System

HURTS, HELPS = "road-coupe", "all-drive-grip"
_NUMBER = re.compile(r"(?<![\w.])[+-]?\d+(?:\.\d+)?(?![\w.]*\d)")


def _text(name: str, system: System = System.METRIC) -> str:
    return comparison(name).to_text(system, full=True)


def _numbers(text: str) -> set[str]:
    return {number.lstrip("+-") for number in _NUMBER.findall(text)}


@pytest.mark.parametrize("system", list(System))
@pytest.mark.parametrize("name", [HURTS, HELPS])
def test_every_number_of_the_verdict_stands_in_a_table(name: str, system: System) -> None:
    shown = _numbers(
        " ".join(
            f"{row.label} {' '.join(row.cells)}" for table in tables(comparison(name), system) for row in table.rows
        )
    )
    for pair in comparison(name).pairs:
        told = " ".join(sentences(pair.verdict, system)).replace("1/4 mile", "")
        assert len(_numbers(told)) >= 7
        assert [number for number in _numbers(told) if number != "0.01" and not stands_in(number, shown)] == []


@pytest.mark.parametrize("system", list(System))
@pytest.mark.parametrize("name", [HURTS, HELPS])
def test_text_fits_a_terminal_and_holds_no_control_characters(name: str, system: System) -> None:
    for line in _text(name, system).split("\n"):
        assert columns(line) <= 80
        assert line == "" or line.isprintable()


@pytest.mark.parametrize("full", [False, True])
@pytest.mark.parametrize("name", [HURTS, HELPS])
def test_the_verdict_comes_last_in_three_sentences(name: str, full: bool) -> None:
    blocks = comparison(name).to_text(full=full).split("\n\n")
    assert blocks[-1].startswith("Verdict\n")
    told = " ".join(blocks[-1].split())
    verdict = comparison(name).pairs[0].verdict
    first, why, last = sentences(verdict, "metric")
    assert told == f"Verdict {first} {why} {last}"
    assert ("quicker" in first) == (verdict.finding is not Finding.NO_DIFFERENCE)
    assert "more peak torque" in why
    assert blocks[-2].startswith("Caution: ")


@pytest.mark.parametrize("system", list(System))
@pytest.mark.parametrize("name", [HURTS, HELPS])
def test_what_is_printed_by_default_fits_a_screen(name: str, system: System) -> None:
    """Fifty lines of 80 columns, and nothing in it that the full text does not hold."""
    lines = comparison(name).to_text(system).splitlines()
    assert len(lines) <= 50
    assert max(map(columns, lines)) <= 80
    shown = _numbers(_text(name, system))
    assert [each for each in _numbers("\n".join(lines)) if not stands_in(each, shown)] == []


def test_the_header_names_scenario_and_conditions() -> None:
    lines = _text(HURTS).splitlines()
    assert lines[0] == scenario(HURTS).name
    assert re.fullmatch(r"\d+ kg; dry asphalt; friction factor 1\.000; air \d\.\d{4} kg/m\^3", lines[1])


def test_both_pedals_are_reported_in_full() -> None:
    titles = [table.title for table in tables(comparison(HURTS), System.METRIC)]
    for what in ("Times", "Speeds at the line", "Spin", "Peak torque"):
        assert f"{what}, full pedal" in titles
        assert f"{what}, held slip" in titles
    assert {"Above the usable torque, full pedal", "Where the gap opens", "Gap at 1/4 mile"} <= set(titles)


def test_every_usual_mark_has_a_row_and_none_stands_twice() -> None:
    table = tables(comparison(HURTS), System.METRIC)[0]
    labels = [row.label.removesuffix(" (goal)") for row in table.rows if not row.label.startswith(" ")]
    assert {target.label for target in STANDARD} < set(labels)
    assert {"50 m", "80 km/h to 120 km/h"} < set(labels)
    assert len(labels) == len(set(labels))


def test_the_rollout_is_labelled_where_it_is_defined() -> None:
    rows = tables(comparison(HURTS), System.METRIC)[0].rows
    below = {rows[i - 1].label for i, row in enumerate(rows) if row.label == "  with 1 ft rollout"}
    assert {"0-60 mph", "60 ft", "1/4 mile (goal)"} < below
    assert "100-200 km/h" not in below


def test_differences_are_second_less_first_and_carry_their_sign() -> None:
    for table in tables(comparison(HURTS), System.METRIC):
        if table.heads[-1] != "difference":
            continue
        for row in table.rows:
            first, second, difference = row.cells
            if "-" in row.cells or row.label == "  flag":
                continue
            digits = len(first.partition(".")[2])
            assert float(difference) == pytest.approx(float(second) - float(first), abs=1.5 * 10.0**-digits), (
                row
            )  # each of the three is rounded on its own
            assert difference[0] in "+-" or float(difference) == 0.0


def test_the_time_lost_to_spin_is_full_pedal_less_held_slip() -> None:
    found = comparison(HURTS)
    table = next(t for t in tables(found, System.METRIC) if t.title == "Spin, full pedal")
    row = next(row for row in table.rows if row.label == "time lost to spin by 1/4 mile")
    assert row.cells[0] == f"{found.runs[0].lost_to_spin(found.goal):.3f}"


def test_the_goal_is_marked() -> None:
    assert f"{target_label(comparison(HURTS).goal)} (goal)" in _text(HURTS)


def _renamed(found: Comparison, name: str) -> Comparison:
    def runs(old: CurveRuns) -> CurveRuns:
        return replace(old, name=name) if old is found.pairs[0].second else old

    pair = found.pairs[0]
    case = replace(pair.verdict.case, lower=name)
    pair = replace(pair, second=runs(pair.second), verdict=replace(pair.verdict, case=case))
    return replace(found, runs=tuple(map(runs, found.runs)), pairs=(pair,))


@pytest.mark.parametrize("name", ["long " * 16, "漢字" * 40, "=cmd|' /C calc'!A0" * 4])
def test_a_long_name_is_cut_to_keep_the_width(name: str) -> None:
    text = _renamed(comparison(HURTS), name).to_text()
    assert max(map(columns, text.splitlines())) <= 80
    assert "..." in text


def test_several_pairs_follow_one_another_and_end_in_a_verdict_each() -> None:
    found = comparison(HURTS)
    several = replace(found, pairs=(*found.pairs, *found.pairs))
    text = several.to_text(full=True)
    assert text.count("peak against plateau\n") == 4  # a head for each pair, and one above each verdict
    assert text.count("Verdict, peak against plateau\n") == 2
    titles = [table.title for table in tables(several, System.METRIC)]
    assert titles[:2] == ["1/4 mile, times in s", "Row behind column, full pedal"]
    assert all(title.startswith("peak / plateau: ") for title in titles[2:])


def test_three_curves_are_ranked_by_the_goal_and_set_against_each_other() -> None:
    middle = {"name": "middle", "points": [["1000 rpm", "200 N m"], ["3000 rpm", "430 N m"], ["7000 rpm", "320 N m"]]}
    car = scenario(HURTS)
    kept = [{"name": each.name, "points": [[s.text, t.text] for s, t in each.points]} for each in car.curves]
    found = compare(car.replace({"curves": [*kept, middle]}), cases=0)
    times = {runs.name: mark(runs.full.run.trace, found.goal).time for runs in found.runs}
    first, second = tables(found, System.METRIC)[:2]
    assert [row.label for row in first.rows] == sorted(times, key=lambda name: times[name])
    behind = [float(row.cells[1]) for row in first.rows]
    assert behind == pytest.approx([time - min(times.values()) for time in sorted(times.values())], abs=6e-4)
    for row in second.rows:
        gaps = [times[row.label] - times[name] for name in second.heads]
        assert [float(cell) for cell in row.cells] == pytest.approx(gaps, abs=6e-4)
    assert len(found.to_text().splitlines()) <= 50


def test_a_bad_run_is_flagged_loudly() -> None:
    found = comparison(HURTS)
    runs = found.runs[0]
    audit = replace(runs.full.measures.audit, drag=0.0)
    bad = replace(runs, full=replace(runs.full, measures=replace(runs.full.measures, audit=audit)))
    text = replace(found, runs=(bad, *found.runs[1:])).to_text()
    assert "BAD RUN: the energy of curve peak, full pedal, does not add up" in text
    assert "BAD RUN" not in _text(HURTS)
    assert found.runs[0].of(Pedal.FULL) is runs.full
