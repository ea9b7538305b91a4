"""Everything that is exported reads back as the same numbers, and names of any kind do no harm."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import openpyxl
import pytest
import xarray
from pyarrow import parquet

from simlaunch.errors import InputError, UsageError
from simlaunch.scenario.model import Scenario
from simlaunch.sweeping import export
from simlaunch.sweeping.chunk import Spec, prepared
from simlaunch.sweeping.export import KINDS, dataset, heads, json_lines, write
from simlaunch.sweeping.plan import Draw, Sample
from simlaunch.sweeping.ranking import order
from simlaunch.sweeping.store import Reader
from sweep.conftest import filled, planned

HOSTILE = ("=1+1", "@sum", '<b>"x"</b>', "$x^2$ \\frac", "'; DROP TABLE launch; --", "{a}%s", "-2+3|cmd")
FLAT = [["1000 rpm", "300 N m"], ["7000 rpm", "300 N m"]]


@pytest.fixture
def spec(brief: Scenario) -> Spec:
    odd = brief.replace({"curves": [{"name": name, "points": FLAT} for name in HOSTILE]})
    return planned(odd, "curve", "body.mass: 1500 kg, 1600 kg")


@pytest.fixture
def values(spec: Spec) -> np.ndarray:
    made = np.random.default_rng(1).normal(10.0, 3.0, (spec.plan.size, len(prepared(spec).columns)))
    made[3, 2] = np.nan
    return made


@pytest.fixture
def reader(tmp_path: Path, spec: Spec, values: np.ndarray) -> Reader:
    filled(tmp_path / "a.sqlite", spec, values)
    return Reader(tmp_path / "a.sqlite")


def test_heads_name_the_si_unit(reader: Reader) -> None:
    names = heads(reader)
    assert names[:5] == ["number", "curve", "body.mass [kg]", "ending", "reason"]
    assert {"time 1/4 mile [s]", "speed 1/4 mile [m/s]", "peak torque gearbox input [N m]", "greatest slip"} <= set(
        names
    )


def test_json_lines_read_back(reader: Reader, values: np.ndarray) -> None:
    about, *rows = map(json.loads, json_lines(reader, None))
    assert (about["format"], about["launches"], about["finished"]) == ("simlaunch-launches-1", 14, 14)
    assert [row["curve"] for row in rows[::2]] == list(HOSTILE)
    found = np.array([list(row.values())[5:] for row in rows], float)
    assert np.array_equal(found, values, equal_nan=True)


def test_csv_reads_back_and_holds_no_formula(tmp_path: Path, reader: Reader, values: np.ndarray) -> None:
    path = tmp_path / "a.csv"
    write("csv", reader, None, path)
    with path.open(newline="", encoding="utf-8") as stream:
        names, *rows = csv.reader(stream)
    assert names == heads(reader)
    assert not any(cell.startswith(("=", "+", "-", "@")) for row in rows for cell in row[1:2])
    assert [row[1].removeprefix("'") if row[1] != HOSTILE[4] else row[1] for row in rows[::2]] == list(HOSTILE)
    found = np.array([[float(cell or "nan") for cell in row[5:]] for row in rows])
    assert np.array_equal(found, values, equal_nan=True)


def test_a_workbook_reads_back_with_types(tmp_path: Path, reader: Reader, values: np.ndarray) -> None:
    path = tmp_path / "a.xlsx"
    write("xlsx", reader, None, path)
    book = openpyxl.load_workbook(path)
    names, *rows = book["launches"].iter_rows()
    assert [cell.value for cell in names] == heads(reader)
    assert {cell.data_type for row in rows for cell in row if cell.value is not None} == {"s", "n"}
    assert [row[1].value for row in rows[::2]] == list(HOSTILE)
    assert [row[2].value for row in rows[:2]] == [1500, 1600]
    found = np.array([[np.nan if cell.value is None else cell.value for cell in row[5:]] for row in rows], float)
    assert np.allclose(found, values, rtol=1e-15, atol=0.0, equal_nan=True)  # openpyxl writes 16 digits
    book.close()


def test_parquet_reads_back_with_types(tmp_path: Path, reader: Reader, values: np.ndarray) -> None:
    path = tmp_path / "a.parquet"
    write("parquet", reader, None, path)
    table = parquet.read_table(path)
    assert table.column_names == heads(reader)
    assert [str(kind) for kind in table.schema.types[:5]] == ["int64", "string", "double", "int64", "string"]
    assert table["curve"].to_pylist()[::2] == list(HOSTILE)
    found = np.array([column.to_numpy() for column in table.columns[5:]]).T
    assert np.array_equal(found, values, equal_nan=True)


def test_a_grid_becomes_labelled_arrays(tmp_path: Path, reader: Reader, spec: Spec, values: np.ndarray) -> None:
    found = dataset(reader.path)
    names = [column.name for column in prepared(spec).columns]
    assert dict(found.sizes) == {"curve": 7, "body.mass": 2}
    assert found["time 1/4 mile"].attrs["units"] == "s"
    picked = found["wheelspin time"].sel({"curve": "=1+1", "body.mass": 1600.0})
    assert float(picked) == values[1, names.index("wheelspin time")]
    write("netcdf", reader, None, tmp_path / "a.nc")
    with xarray.open_dataset(tmp_path / "a.nc", engine="netcdf4") as again:
        assert np.array_equal(again["time 1 per 4 mile"], found["time 1/4 mile"], equal_nan=True)
        assert list(again["curve"].values) == list(HOSTILE)


def test_a_sample_becomes_labelled_launches(tmp_path: Path, brief: Scenario) -> None:
    spec = planned(brief, "curve", "body.mass: 1500 kg to 1700 kg", sample=Sample(Draw.SOBOL, 8, 1))
    filled(tmp_path / "b.sqlite", spec, np.ones((8, len(prepared(spec).columns))), 4)
    found = dataset(tmp_path / "b.sqlite")
    assert dict(found.sizes) == {"launch": 8}
    assert np.array_equal(found["body.mass"], spec.plan.cases(0, 8).si[:, 1])
    assert set(found["curve"].values) == {"peak", "plateau"}

    write("netcdf", Reader(tmp_path / "b.sqlite"), None, tmp_path / "b.nc")
    with xarray.open_dataset(tmp_path / "b.nc", engine="netcdf4") as again:
        assert np.array_equal(again["body.mass"], found["body.mass"])
        assert list(again["curve"].values) == list(found["curve"].values)
        assert np.array_equal(again["wheelspin time"], found["wheelspin time"], equal_nan=True)


@pytest.mark.parametrize("shape", [(1,), (7,), (50,), (3, 4), (4, 1, 3), (2, 30), (30, 2), (2, 3, 4, 5), (5, 4, 11)])
def test_netcdf_is_written_in_pieces_that_cover_every_launch_once(
    monkeypatch: pytest.MonkeyPatch, shape: tuple[int, ...]
) -> None:
    monkeypatch.setattr(export, "_AT_ONCE", 12)
    found = np.full(shape, -1)
    for place, first, last in export._slabs(shape):
        assert last - first <= max(12, 1)
        assert (found[place] == -1).all()
        found[place] = np.arange(first, last).reshape(found[place].shape)
    assert np.array_equal(found, np.arange(found.size).reshape(shape))


def test_a_half_finished_grid_is_written_in_pieces_as_in_one_go(
    tmp_path: Path, brief: Scenario, monkeypatch: pytest.MonkeyPatch
) -> None:
    spec = planned(brief, "curve", "gear set", "body.mass: 1500 kg to 1700 kg in 5")
    values = np.random.default_rng(4).normal(9.0, 2.0, (21, len(prepared(spec).columns)))
    filled(tmp_path / "c.sqlite", spec, values)
    whole = dataset(tmp_path / "c.sqlite")
    monkeypatch.setattr(export, "_AT_ONCE", 4)
    write("netcdf", Reader(tmp_path / "c.sqlite"), None, tmp_path / "c.nc")
    with xarray.open_dataset(tmp_path / "c.nc", engine="netcdf4") as pieces:
        assert dict(pieces.sizes) == {"curve": 2, "gear set": 3, "body.mass": 5}
        assert int(np.isfinite(pieces["ending"]).sum()) == 21
        for name in whole.data_vars:
            assert np.array_equal(pieces[str(name).replace("/", " per ")], whole[name], equal_nan=True)
            assert (
                pieces[str(name).replace("/", " per ")].attrs["units" if name != "ending" else "long_name"]
                == (whole[name].attrs["units" if name != "ending" else "long_name"])
            )


@pytest.mark.parametrize("kind", ["csv", "parquet", "xlsx"])
def test_only_what_meets_the_constraints_is_written(tmp_path: Path, reader: Reader, kind: str) -> None:
    path = tmp_path / f"a.{kind}"
    write(kind, reader, order(reader.study, None, ["body.mass > 1550 kg"]), path)
    counts: dict[str, Callable[[], int]] = {
        "csv": lambda: len(path.read_text("utf-8").splitlines()) - 1,
        "parquet": lambda: parquet.read_table(path).num_rows,
        "xlsx": lambda: sum(1 for _ in openpyxl.load_workbook(path)["launches"].iter_rows()) - 1,
    }
    assert counts[kind]() == 7


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_a_place_that_cannot_be_written_is_reported(tmp_path: Path, reader: Reader, kind: str) -> None:
    with pytest.raises(InputError, match="cannot be written"):
        write(kind, reader, None, tmp_path / "nowhere" / "a")


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("end", ["", "-wal", ".lock"])
def test_no_export_overwrites_the_sweep(reader: Reader, kind: str, end: str) -> None:
    """A name that belongs to the results is refused, and they stay as they are."""
    with pytest.raises(UsageError, match="belongs to the sweep itself"):
        write(kind, reader, None, reader.path.with_name(reader.path.name + end))
    with Reader(reader.path) as again:
        assert again.count() == 14


def test_an_export_that_fails_leaves_the_older_one(reader: Reader, tmp_path: Path) -> None:
    target = tmp_path / "a.csv"
    target.mkdir()
    with pytest.raises(InputError, match="is not a file; name one"):
        write("csv", reader, None, target)
    assert [path.name for path in tmp_path.glob("*.part")] == []
