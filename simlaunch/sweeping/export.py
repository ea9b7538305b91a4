"""The launches of a file for other programs: JSON lines, CSV, workbook, Parquet, data frame, labelled arrays."""

from __future__ import annotations

import contextlib
import csv
import json
from collections.abc import Callable, Iterator, Mapping
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from simlaunch.errors import UsageError, plain
from simlaunch.metrics.many import Measure
from simlaunch.sweeping.axes import Axis, Kind
from simlaunch.sweeping.chunk import Study
from simlaunch.sweeping.ranking import Order
from simlaunch.sweeping.store import Reader
from simlaunch.units.spelling import Dimension, kinds
from simlaunch.writing import check, no_formula, whole

if TYPE_CHECKING:
    import xarray

LINES_FORMAT = "simlaunch-launches-1"
"""Format that the first of the JSON lines names."""

_AT_ONCE = 10_000
_MOST_ROWS = 1_048_575  # of a worksheet, below its heads

Row = tuple[Any, ...]
Fill: TypeAlias = Callable[[Reader, Order | None, Path], None]


def heads(reader: Reader) -> list[str]:
    """Names of the columns, each with its SI unit."""
    study = reader.study
    axes = [with_unit(axis.name, axis.dimension) for axis in study.plan.axes]
    measures = [with_unit(measure.name, measure.dimension) for measure in study.measures]
    return ["number", *axes, "ending", "reason", *measures]


def si_symbol(dimension: Dimension | None) -> str:
    """SI unit of a kind of quantity as it is written; empty for a pure number and for a name."""
    if dimension is None:
        return ""
    kind = kinds()[dimension]
    return next(
        (spelled for spelled, unit in kind.spelling.items() if unit == kind.si),
        "" if kind.si == "dimensionless" else kind.si,
    )


def with_unit(name: str, dimension: Dimension | None) -> str:
    """Name of a column with its SI unit."""
    unit = si_symbol(dimension)
    return plain(f"{name} [{unit}]" if unit else name)


def launches(reader: Reader, wanted: Order | None) -> Iterator[Row]:
    """Finished launches by number; with an order, only those that meet its constraints."""
    constraints = wanted.constraints if wanted else ()
    condition = " AND ".join(each.sql for each in constraints) or "1"
    statement = f"SELECT * FROM launch WHERE {condition} ORDER BY number"
    for row in reader.stream(statement, wanted.bounds if wanted else ()):
        yield tuple(plain(cell) if isinstance(cell, str) else cell for cell in row)


def json_lines(reader: Reader, wanted: Order | None) -> Iterator[str]:
    """One JSON object a line: first a description of the sweep, then each launch, in SI units."""
    study = reader.study
    about = {
        "format": LINES_FORMAT,
        "version": study.version,
        "launches": study.launches,
        "finished": reader.count(),
        "failed": reader.count("ending <> 0"),
        "seed": study.seed,
        "tolerance": study.tolerance,
        "axes": [{"name": a.name, "dimension": a.dimension, "values": a.values} for a in study.plan.axes],
    }
    yield json.dumps(about, allow_nan=False)
    names = heads(reader)
    for row in launches(reader, wanted):
        yield json.dumps(dict(zip(names, row, strict=True)), allow_nan=False)


_OWN_ENDS = ("", "-wal", "-shm", ".lock")
"""What the names of a sweep's own files end with."""


def check_file(place: str, path: Path, results: Path, *, force: bool) -> None:
    """Refuse a file that exists, or cannot be written, or belongs to the sweep itself.

    Parameters
    ----------
    place : str
        The option that named the file.
    path : Path
        The file to write.
    results : Path
        The file of results.
    force : bool
        Whether a file that exists may be replaced.

    Raises
    ------
    UsageError, InputError
        States the reason.
    """
    _refuse_own(path, results)
    check(place, path, force=force)


def _refuse_own(path: Path, results: Path) -> None:
    if path.resolve() in {results.resolve().with_name(results.name + end) for end in _OWN_ENDS}:
        raise UsageError(f"{plain(str(path))} belongs to the sweep itself; name another file")


def kind_of(path: Path) -> str:
    """Kind of file that the ending of a name stands for.

    Raises
    ------
    UsageError
        The ending stands for none.
    """
    kind = _ENDINGS.get(path.suffix.lower())
    if kind is None:
        raise UsageError(f"{plain(path.name)} has no known ending; name a file that ends in {', '.join(_ENDINGS)}")
    return kind


def write(
    kind: str, reader: Reader, wanted: Order | None, path: Path, *, place: str | None = None, force: bool = False
) -> None:
    """Write launches to a file, in SI units.

    Parameters
    ----------
    kind : str
        One of `KINDS`.
    reader : Reader
        The file of results.
    wanted : Order, optional
        Whose constraints launches have to meet; netCDF holds all launches, since a grid has no gaps.
    path : Path
        The file to write.
    place : str, optional
        The option that named the file, for messages; the option of the command line if left out.
    force : bool
        Whether a file that exists may be replaced.

    Raises
    ------
    UsageError
        A package is missing, or there are more launches than a worksheet has rows.
    InputError
        A file exists already, or it cannot be written.
    """
    _refuse_own(path, reader.path)
    with whole(place or f"--{kind}", path, force=force) as part:
        _FILL[kind](reader, wanted, part)


def _fill_lines(reader: Reader, wanted: Order | None, part: Path) -> None:
    with part.open("w", encoding="utf-8", newline="") as stream:
        stream.writelines(f"{line}\n" for line in json_lines(reader, wanted))


def _fill_csv(reader: Reader, wanted: Order | None, part: Path) -> None:
    """CSV: empty cells for what was not reached; text never reads as a formula."""
    with part.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(map(no_formula, heads(reader)))
        for row in launches(reader, wanted):
            writer.writerow([no_formula(cell) if isinstance(cell, str) else cell for cell in row])


def _library(name: str, extra: str) -> Any:
    try:
        return import_module(name)
    except ImportError:
        raise UsageError(f'this needs the package {name}: install it with pip install "simlaunch[{extra}]"') from None


def _fill_xlsx(reader: Reader, wanted: Order | None, part: Path) -> None:
    """A workbook: numbers as numbers, text as text and never as a formula."""
    openpyxl = _library("openpyxl", "tables")
    if reader.count() > _MOST_ROWS:
        raise UsageError(f"a worksheet holds at most {_MOST_ROWS} rows; write Parquet or CSV instead")
    with part.open("wb") as stream:
        book = openpyxl.Workbook(write_only=True)
        sheet = book.create_sheet("launches")
        sheet.freeze_panes = "B2"
        sheet.append([_text_cell(sheet, name) for name in heads(reader)])
        for row in launches(reader, wanted):
            sheet.append([_text_cell(sheet, cell) if isinstance(cell, str) else cell for cell in row])
        book.save(stream)


def _text_cell(sheet: Any, text: str) -> Any:
    cell = _library("openpyxl.cell", "tables").WriteOnlyCell(sheet, value=text)
    cell.data_type = "s"  # also what begins with an equals sign
    return cell


def _fill_parquet(reader: Reader, wanted: Order | None, part: Path) -> None:
    """Parquet, written a batch of rows at a time."""
    arrow, parquet = _library("pyarrow", "tables"), _library("pyarrow.parquet", "tables")
    study = reader.study
    axes = [arrow.float64() if axis.kind is Kind.NUMBER else arrow.string() for axis in study.plan.axes]
    types = [arrow.int64(), *axes, arrow.int64(), arrow.string(), *(arrow.float64() for _ in study.measures)]
    schema = arrow.schema(list(zip(heads(reader), types, strict=True)))
    with parquet.ParquetWriter(part, schema) as writer:
        for batch in _batches(launches(reader, wanted)):
            arrays = [arrow.array(column, kind) for column, kind in zip(zip(*batch, strict=True), types, strict=True)]
            writer.write_table(arrow.Table.from_arrays(arrays, schema=schema))


def _batches(rows: Iterator[Row]) -> Iterator[list[Row]]:
    batch: list[Row] = []
    for row in rows:
        batch.append(row)
        if len(batch) == _AT_ONCE:
            yield batch
            batch = []
    if batch:
        yield batch


def table(reader: Reader, wanted: Order | None) -> dict[str, NDArray[Any]]:
    """Launches as columns in memory, named as in every other export; nan for what was not reached."""
    axes, measures = reader.study.plan.axes, reader.study.measures
    kinds = ["i8", *("f8" if axis.kind is Kind.NUMBER else "O" for axis in axes), "i8", "O", *("f8" for _ in measures)]
    batches = [
        [np.array(column, kind) for column, kind in zip(zip(*batch, strict=True), kinds, strict=True)]
        for batch in _batches(launches(reader, wanted))
    ]
    columns = map(np.concatenate, zip(*batches, strict=True)) if batches else (np.empty(0, kind) for kind in kinds)
    return dict(zip(heads(reader), columns, strict=True))


def dataset(path: Path) -> xarray.Dataset:
    """A file of results as labelled arrays: one dimension for each axis of a full grid, or one for the launches.

    Parameters
    ----------
    path : Path
        The file. Memory holds all of it, with 8 bytes for each number; for very many launches write netCDF instead,
        which can be opened piece by piece.

    Returns
    -------
    xarray.Dataset
        SI units, named in the attribute `units`; nan where nothing was reached or is finished.

    Raises
    ------
    UsageError
        A package is missing.
    InputError
        The file is not one of a sweep.
    """
    library = _library("xarray", "arrays")
    with Reader(path) as reader:
        study = reader.study
        pieces = [_columns(reader, k, min(k + _AT_ONCE, study.launches)) for k in range(0, study.launches, _AT_ONCE)]
        values = np.concatenate(pieces)
        coords = _sampled_coordinates(study) if study.plan.sample else _grid_coordinates(study)
        shape = (study.launches,) if study.plan.sample else tuple(len(axis.values) for axis in study.plan.axes)
    dims = ("launch",) if study.plan.sample else tuple(axis.name for axis in study.plan.axes)
    data: dict[str, Any] = {
        "ending": (dims, values[:, 0].reshape(shape), {"long_name": "how the launch ended; 0: all passed"})
    }
    for k, measure in enumerate(study.measures, start=1):
        about = {"units": si_symbol(measure.dimension), "long_name": measure.label}
        data[measure.name] = (dims, values[:, k].reshape(shape), about)
    made_by = {"source": f"simlaunch {study.version}", "scenario": study.scenario_hash}
    found: xarray.Dataset = library.Dataset(data, coords, made_by)
    return found


def _grid_coordinates(study: Study) -> dict[str, Any]:
    return {
        axis.name: (axis.name, np.array(axis.si or list(map(plain, axis.values))), {"units": si_symbol(axis.dimension)})
        for axis in study.plan.axes
    }


def _sampled_coordinates(study: Study) -> dict[str, Any]:
    varied = zip(study.plan.axes, _varied(study, 0, study.launches), strict=True)
    return {axis.name: ("launch", values, {"units": si_symbol(axis.dimension)}) for axis, values in varied}


def _fill_netcdf(reader: Reader, wanted: Order | None, part: Path) -> None:
    """NetCDF-4, written some launches at a time; names have "per" in place of a slash, which the format forbids."""
    del wanted  # a grid has no gaps
    library, study = _library("netCDF4", "arrays"), reader.study
    with contextlib.closing(_begun(library, part)) as book:
        book.setncatts({"source": f"simlaunch {study.version}", "scenario": study.scenario_hash})
        dims = _dimensions(book, study)
        coordinates = [_coordinate(book, axis, study) for axis in study.plan.axes]
        variables = [_variable(book, "ending", tuple(dims), "", "how the launch ended; 0: all passed")]
        variables += [
            _variable(book, _name(measure), tuple(dims), si_symbol(measure.dimension), measure.label)
            for measure in study.measures
        ]
        for place, first, last in _slabs(tuple(dims.values())):
            shape = [each.stop - each.start for each in place]
            for variable, column in zip(variables, _columns(reader, first, last).T, strict=True):
                variable[place] = column.reshape(shape)
            if study.plan.sample:
                for variable, values in zip(coordinates, _varied(study, first, last), strict=True):
                    variable[place] = values


def _dimensions(book: Any, study: Study) -> dict[str, int]:
    """Size of each dimension, by name: the axes of a grid, or the launches of a sample."""
    counts = {_name(axis): len(axis.values) for axis in study.plan.axes}
    dims = {"launch": study.launches} if study.plan.sample else counts
    for name, count in dims.items():
        book.createDimension(name, count)
    return dims


def _begun(library: Any, path: Path) -> Any:
    """A netCDF file to be filled; a failure to create it is reported like that of any other file."""
    path.touch()  # the library itself does not state the cause
    return library.Dataset(str(path), "w", format="NETCDF4")


def _name(named: Axis | Measure) -> str:
    return plain(named.name).replace("/", " per ")


def _variable(book: Any, name: str, dims: tuple[str, ...], unit: str, about: str, kind: Any = "f8") -> Any:
    made = book.createVariable(name, kind, dims, contiguous=kind == "f8", fill_value=np.nan if kind == "f8" else None)
    made.setncatts({"units": unit, **({"long_name": about} if about else {})})
    return made


def _coordinate(book: Any, axis: Axis, study: Study) -> Any:
    """Variable of an axis: the values themselves of a grid; of a sample, to be filled for every launch."""
    dim = "launch" if study.plan.sample else _name(axis)
    kind = "f8" if axis.kind is Kind.NUMBER else str
    made = _variable(book, _name(axis), (dim,), si_symbol(axis.dimension), "", kind)
    if not study.plan.sample:
        made[:] = np.array(axis.si or list(map(plain, axis.values)), "f8" if axis.si else object)
    return made


def _slabs(shape: tuple[int, ...]) -> Iterator[tuple[tuple[slice, ...], int, int]]:
    """Pieces of an array whose launches have consecutive numbers: place, first number and last number of each."""
    inner, whole = 1, len(shape)
    while whole > 1 and inner * shape[whole - 1] <= _AT_ONCE:
        whole -= 1
        inner *= shape[whole]
    at_once = max(1, _AT_ONCE // inner)
    for outer in np.ndindex(*shape[: whole - 1]):
        before = int(np.ravel_multi_index(outer, shape[: whole - 1])) if outer else 0
        for start in range(0, shape[whole - 1], at_once):
            stop = min(start + at_once, shape[whole - 1])
            place = (*(slice(k, k + 1) for k in outer), slice(start, stop), *(slice(0, n) for n in shape[whole:]))
            first = (before * shape[whole - 1] + start) * inner
            yield place, first, first + (stop - start) * inner


def _columns(reader: Reader, first: int, last: int) -> NDArray[np.float64]:
    """Ending and measures of some launches by number; nan for those that are not finished."""
    found = np.full((last - first, 1 + len(reader.study.measures)), np.nan)
    before = 1 + len(reader.study.plan.axes)
    for row in reader.rows("SELECT * FROM launch WHERE number >= ? AND number < ?", (first, last)):
        found[row[0] - first] = [np.nan if cell is None else cell for cell in (row[before], *row[before + 2 :])]
    return found


def _varied(study: Study, first: int, last: int) -> list[NDArray[Any]]:
    """Values of each axis for some launches of a sample: numbers in SI units, or names."""
    cases = study.plan.cases(first, last)
    return [
        cases.si[:, j]
        if axis.kind is Kind.NUMBER
        else np.array(list(map(plain, axis.values)), object)[cases.position[:, j]]
        for j, axis in enumerate(study.plan.axes)
    ]


_FILL: Mapping[str, Fill] = {
    "csv": _fill_csv,
    "xlsx": _fill_xlsx,
    "parquet": _fill_parquet,
    "netcdf": _fill_netcdf,
    "jsonl": _fill_lines,
}
KINDS = tuple(_FILL)
"""Every kind of file that launches can be written to."""

_ENDINGS = {".csv": "csv", ".xlsx": "xlsx", ".parquet": "parquet", ".nc": "netcdf", ".jsonl": "jsonl"}
