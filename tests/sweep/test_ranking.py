"""Rankings, groups, maps and fronts are those that numpy finds among all launches."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from simlaunch.errors import InputError, UsageError
from simlaunch.output.sweep import options_text
from simlaunch.output.sweep import text as sweep_text
from simlaunch.scenario.model import Scenario
from simlaunch.sweeping.campaign import BestSoFar
from simlaunch.sweeping.chunk import ChunkResult, Spec, maker, prepared, study_of
from simlaunch.sweeping.plan import Draw, Sample
from simlaunch.sweeping.ranking import (
    cloud,
    field,
    findings,
    front,
    groups,
    measure_named,
    order,
    parting,
    ranking,
)
from simlaunch.sweeping.store import Reader, Store
from simlaunch.sweeping.study import SweepResult
from simlaunch.units.spelling import System
from sweep.conftest import filled, planned

FLAT = [["1000 rpm", "300 N m"], ["7000 rpm", "300 N m"]]
BY, LOAD = "time 60 ft", "steady pull gearbox input"


class Filled:
    """A file of made-up results, and the same in memory."""

    def __init__(self, spec: Spec, path: Path) -> None:
        self.spec = spec
        names = [column.name for column in prepared(spec).columns]
        self.values: NDArray[np.float64] = np.random.default_rng(3).normal(100.0, 20.0, (spec.plan.size, len(names)))
        self.values[::7, names.index(BY)] = np.nan
        filled(path, spec, self.values)
        self.reader = Reader(path)
        self.cases = spec.plan.cases(0, spec.plan.size)
        self.by = self.values[:, names.index(BY)]
        self.load = self.values[:, names.index(LOAD)]


@pytest.fixture
def grid(tmp_path: Path, brief: Scenario) -> Filled:
    spec = planned(brief, "curve", "gear set", "tyre", "body.mass: 1500 kg to 1700 kg in 20")
    return Filled(spec, tmp_path / "a.sqlite")


@pytest.fixture
def sampled(tmp_path: Path, brief: Scenario) -> Filled:
    spec = planned(brief, "curve", "body.mass: 1500 kg to 1700 kg", "final drive: 3 to 4",
                   sample=Sample(Draw.SOBOL, 256, 1))  # fmt: skip
    return Filled(spec, tmp_path / "b.sqlite")


@pytest.mark.parametrize("constraint", ["", "steady pull gearbox input < 95 N m"])
def test_the_best_are_the_best(grid: Filled, constraint: str) -> None:
    wanted = order(grid.reader.study, BY, [constraint] if constraint else [])
    allowed = np.isfinite(grid.by) & ((grid.load < 95.0) | (constraint == ""))
    expected = [n for n in np.argsort(grid.by, kind="stable").tolist() if allowed[n]][:10]
    found = ranking(grid.reader, wanted, 10)
    assert [launch.number for launch in found] == expected
    assert [launch.measures[BY] for launch in found] == grid.by[expected].tolist()
    assert findings(grid.reader, wanted, 3).met == allowed.sum()


def test_of_speeds_the_highest_is_best(grid: Filled) -> None:
    wanted = order(grid.reader.study, "speed 60 ft", [])
    speeds = [launch.measures["speed 60 ft"] for launch in ranking(grid.reader, wanted, 240)]
    assert speeds == sorted(speeds, reverse=True)
    assert groups(grid.reader, wanted, grid.spec.plan.axes[0])[0].best >= np.median(speeds)


@pytest.mark.parametrize(
    ("text", "kept"),
    [
        ("tyre = track", lambda g: g.cases.position[:, 2] == 1),
        ("tyre != track", lambda g: g.cases.position[:, 2] == 0),
        ("body.mass <= 1.6 t", lambda g: g.cases.si[:, 3] <= 1600.0),
        ("body.mass>3500 lb", lambda g: g.cases.si[:, 3] > 3500.0 * 0.45359237),
        ("steady pull gearbox input >= 70 lb-ft", lambda g: g.load >= 70.0 * 1.3558179483314004),
    ],
)
def test_constraints_in_units_of_any_kind(grid: Filled, text: str, kept: object) -> None:
    allowed = kept(grid) & np.isfinite(grid.by)  # type: ignore[operator]
    wanted = order(grid.reader.study, BY, [text])
    assert sorted(launch.number for launch in ranking(grid.reader, wanted, 1000)) == np.flatnonzero(allowed).tolist()
    seen = BestSoFar(grid.reader.study, wanted)
    seen.see(grid.cases, ChunkResult(0, grid.values, np.zeros(len(grid.values), np.int64), {}, maker()))
    assert seen.value == grid.by[allowed].min()


@pytest.mark.parametrize(
    "text",
    ["tyre", "tyre < track", "tyre = trak", "speed = 3 m/s", "nonsense < 3 s", "< 3 s", "wheelspin time = 3 s"],
)
def test_what_is_no_constraint_is_refused(grid: Filled, text: str) -> None:
    with pytest.raises(UsageError):
        order(grid.reader.study, BY, [text])


@pytest.mark.parametrize("bound", ["3", "3 kg", "1 s; DROP TABLE launch"])
def test_a_bound_of_the_wrong_kind_is_refused(grid: Filled, bound: str) -> None:
    with pytest.raises(InputError, match="constraint"):
        order(grid.reader.study, BY, [f"wheelspin time < {bound}"])
    assert grid.reader.count() == 240


def test_a_measure_that_is_not_there_is_refused_with_its_neighbours(grid: Filled) -> None:
    with pytest.raises(UsageError, match='"time 1/4 mile"'):
        order(grid.reader.study, "time quarter mile", [])
    with pytest.raises(UsageError):
        order(grid.reader.study, 'x" UNION SELECT 1 --', [])


def test_groups_state_the_best_of_each_value(grid: Filled) -> None:
    wanted = order(grid.reader.study, BY, [])
    for j, axis in enumerate(grid.spec.plan.axes[:3]):
        found = groups(grid.reader, wanted, axis)
        assert [group.label for group in found] == list(axis.values)
        for position, group in enumerate(found):
            rows = np.flatnonzero((grid.cases.position[:, j] == position) & np.isfinite(grid.by))
            assert (group.count, group.best) == (len(rows), grid.by[rows].min())
            assert grid.by[group.number] == group.best


def test_many_values_are_grouped_in_ranges(grid: Filled, sampled: Filled) -> None:
    for filled_file, j in ((grid, 3), (sampled, 1)):
        axis = filled_file.spec.plan.axes[j]
        found = groups(filled_file.reader, order(filled_file.reader.study, BY, []), axis)
        assert len(found) == 6
        assert found[0].label == "1500 to 1533.3 kg"
        assert sum(group.count for group in found) == np.isfinite(filled_file.by).sum()
        first = filled_file.cases.si[:, j] < 1500.0 + 200.0 / 6
        assert found[0].best == np.nanmin(filled_file.by[first])


def test_a_map_holds_the_best_of_every_cell(grid: Filled) -> None:
    axes = grid.spec.plan.axes
    across = [parting(grid.reader.study, axes[j]) for j in (1, 2, 0)]
    found = field(grid.reader, order(grid.reader.study, BY, []), across)
    assert found.shape == (3, 2, 2)
    for (g, t, c), best in np.ndenumerate(found):
        rows = (grid.cases.position[:, :3] == (c, g, t)).all(axis=1)
        assert best == np.nanmin(grid.by[rows])


def test_a_front_is_what_nothing_beats_in_both(grid: Filled) -> None:
    wanted, load = order(grid.reader.study, BY, []), measure_named(LOAD, grid.reader.study)
    rows = np.flatnonzero(np.isfinite(grid.by))
    beaten = [
        bool(((grid.load[rows] <= grid.load[n]) & (grid.by[rows] <= grid.by[n]) & (rows != n)).any()) for n in rows
    ]
    expected = sorted(rows[~np.array(beaten)].tolist(), key=lambda n: grid.load[n])
    assert [entry[0] for entry in front(grid.reader, wanted, load)] == expected
    assert len(list(cloud(grid.reader, wanted, load, 50))) <= 60


def test_a_half_written_file_is_ranked_as_far_as_it_goes(tmp_path: Path, brief: Scenario) -> None:
    spec = planned(brief, "curve", "gear set", "tyre")
    path = tmp_path / "half.sqlite"
    filled(path, spec, np.ones((7, len(prepared(spec).columns))))
    with Reader(path) as reader:
        found = findings(reader, order(reader.study, None, []), 10)
    assert (found.finished, len(found.best)) == (7, 7)
    assert found.order.by.name == study_of(spec).goal == "time 20 m"


def test_a_launch_that_failed_is_never_best(tmp_path: Path, small: Spec) -> None:
    """It may have spun less than any other before it stalled."""
    path, count = tmp_path / "a.sqlite", len(prepared(small).columns)
    values = np.tile(np.arange(16.0)[:, None], count)
    ending = np.array([2] * 4 + [0] * 12)
    made = ChunkResult(0, values, ending, dict.fromkeys(range(4), "stalled"), maker())
    with Store(path, study_of(small), lambda: 16) as store:
        store.write(0, small.plan.cases(0, 16), made)
    wanted, best = order(study_of(small), BY, ()), BestSoFar(study_of(small), order(study_of(small), BY, ()))
    best.see(small.plan.cases(0, 16), made)
    with Reader(path) as reader:
        assert ranking(reader, wanted, 1)[0].number == 4
    assert best.value == 4.0


def test_the_line_that_repeats_a_launch_has_what_the_sweep_was_given(small: Spec) -> None:
    asked = {"changes": ["body.mass=1 kg", "air.temperature=5 degC"], "taken": ["tyre=track", "gear set=long"]}
    told = options_text(study_of(small, json.dumps(asked)), 0)
    assert told.startswith("--with tyre=track --set 'air.temperature=5 degC' --curve peak --with 'gear set=short'")


LONG = "stage two with the larger intercooler, revision {} of the boost table, pump fuel"


@pytest.mark.parametrize("count", [3, 60])
def test_names_that_differ_stay_distinct_however_long_they_are(tmp_path: Path, brief: Scenario, count: int) -> None:
    names = [LONG.format(k) for k in range(count)]
    odd = brief.replace({"curves": [{"name": name, "points": FLAT} for name in names]})
    spec = planned(odd, "curve", "gear set", "body.mass: 1500 kg, 1600 kg")
    file = Filled(spec, tmp_path / "long.sqlite")
    found = findings(file.reader, order(file.reader.study, BY, []), 12)
    text = sweep_text(SweepResult(file.reader.path, found), System.METRIC)
    wide = [line.strip().removesuffix(" \\") for line in text.splitlines() if len(line) > 80]
    assert wide == [f"'{found.best[0].values['curve']}'"]  # to be pasted: a name is not parted there
    assert "..." not in text
    flat = " ".join(text.split())
    for place, launch in enumerate(found.best, start=1):
        mark = f"curve {names.index(str(launch.values['curve'])) + 1}"
        assert f"{place}. {mark} / {launch.values['gear set']} / {launch.values['body.mass']:g} kg" in flat.replace(
            "  ", " "
        )
        assert f'{mark}: "{launch.values["curve"]}"' in flat
    for k in (0, count - 1):
        assert f'curve {k + 1}: "{names[k]}"' in flat.partition("By curve")[2]


def test_many_axes_of_a_case_go_on_below_each_other(tmp_path: Path, brief: Scenario) -> None:
    vary = ("curve", "gear set", "tyre", "surface", "pedal", "body.mass: 1500 kg, 1600 kg", "final drive: 3, 3.5",
            "launch.engine_speed: 3000 rpm, 3500 rpm", "body.cg_height: 0.500001 m, 0.5000012 m")  # fmt: skip
    spec = planned(brief, *vary)
    file = Filled(spec, tmp_path / "axes.sqlite")
    found = findings(file.reader, order(file.reader.study, BY, []), 100)
    text = sweep_text(SweepResult(file.reader.path, found), System.METRIC)
    table = text.partition("\n\nBy ")[0]
    assert max(map(len, text.splitlines())) <= 80
    assert "Cases: curve / gear set / tyre / surface / pedal / body.mass / gearbox.final_drive /" in " ".join(
        table.split()
    )
    cases = " ".join(" ".join(line[:44].split()) for line in table.splitlines()[6:])
    for place, launch in enumerate(found.best, start=1):
        height = f"{launch.values['body.cg_height']:.7g} m"
        assert f"{place}. {launch.values['curve']} / {launch.values['gear set']} / " in cases
        assert height in cases.partition(f"{place}. ")[2]
    assert "0.500001 m" in cases
    assert "0.5000012 m" in cases


def test_faults_of_a_failure_stand_on_lines_of_their_own(tmp_path: Path, small: Spec) -> None:
    path, count = tmp_path / "a.sqlite", len(prepared(small).columns)
    ending = np.array([-1] * 4 + [0] * 12)
    why = "engine.idle: 9000 rpm is too high; lower it | launch.engine_speed: 100 rpm is too low; raise it"
    made = ChunkResult(0, np.ones((16, count)), ending, dict.fromkeys(range(4), why), maker())
    with Store(path, study_of(small), lambda: 16) as store:
        store.write(0, small.plan.cases(0, 16), made)
    with Reader(path) as reader:
        found = SweepResult(path, findings(reader, order(reader.study, BY, []), 3))
    text = sweep_text(found, System.METRIC)
    assert (
        "Failed\n4: 2 faults\n  - engine.idle: 9000 rpm is too high; lower it\n  - launch.engine_speed: 100 rpm" in text
    )
