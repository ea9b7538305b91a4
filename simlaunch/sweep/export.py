"""Everything in a file of results, for other programs: JSON lines, CSV, workbook, Parquet, labelled arrays."""

from __future__ import annotations

import contextlib
import csv
import json
from collections.abc import Iterator, Mapping
from contextlib import AbstractContextManager
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol, TextIO

import numpy as np
from numpy.typing import NDArray

from simlaunch.errors import UsageError, plain
from simlaunch.sweep.axes import Axis, Kind
from simlaunch.sweep.chunk import Measure, Study
from simlaunch.sweep.ranking import Order
from simlaunch.sweep.store import Reader
from simlaunch.units.spelling import Dimension, kinds
from simlaunch.writing import check, whole

if TYPE_CHECKING:
    import xarray

FORMAT = "simlaunch-sweep-1"
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
_AT_ONCE = 10_000
_MOST_ROWS = 1_048_575  # of a worksheet, below its heads

Row = tuple[Any, ...]


def heads(reader: Reader) -> list[str]:
    """Names of the columns, each with its SI unit."""
    study = reader.study
    axes = [_with_unit(axis.name, axis.dimension) for axis in study.plan.axes]
    measures = [_with_unit(measure.name, measure.dimension) for measure in study.measures]
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


def _with_unit(name: str, dimension: Dimension | None) -> str:
    unit = si_symbol(dimension)
    return plain(f"{name} [{unit}]" if unit else name)


def launches(reader: Reader, wanted: Order | None) -> Iterator[Row]:
    """Finished launches by number, those alone that meet the constraints of an order if there is one."""
    constraints = wanted.constraints if wanted else ()
    condition = " AND ".join(each.sql for each in constraints) or "1"
    statement = f"SELECT * FROM launch WHERE {condition} ORDER BY number"
    for row in reader.stream(statement, wanted.bounds if wanted else ()):
        yield tuple(plain(cell) if isinstance(cell, str) else cell for cell in row)


def json_lines(reader: Reader, wanted: Order | None) -> Iterator[str]:
    """One JSON object a line: first what the file is about, then each launch, in SI units.

    Parameters
    ----------
    reader : Reader
        The file.
    wanted : Order, optional
        Whose constraints launches have to meet.

    Yields
    ------
    str
        A line without its end.
    """
    study = reader.study
    about = {
        "format": FORMAT,
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


def check_file(place: str, path: Path, reader: Reader, *, force: bool) -> None:
    """Refuse a file that is there, or cannot be written, or belongs to the sweep itself.

    Parameters
    ----------
    place : str
        The option that named the file.
    path : Path
        The file to write.
    reader : Reader
        The file of results.
    force : bool
        Whether a file that is there may be replaced.

    Raises
    ------
    UsageError, InputError
        Says why.
    """
    _refuse_own(path, reader)
    check(place, path, force=force)


def _refuse_own(path: Path, reader: Reader) -> None:
    if path.resolve() in {reader.path.resolve().with_name(reader.path.name + end) for end in _OWN_ENDS}:
        raise UsageError(f"{plain(str(path))} belongs to the sweep itself; name another file")


def _written(kind: str, path: Path, reader: Reader, force: bool) -> AbstractContextManager[Path]:
    """A place to write to, which becomes the file once it is whole."""
    _refuse_own(path, reader)
    return whole(f"--{kind}", path, force=force)


def _guarded(text: str) -> str:
    """Text that a spreadsheet will not take for a formula."""
    return f"'{text}" if text.startswith(_FORMULA_STARTS) else text


def write_csv(reader: Reader, wanted: Order | None, path: Path, *, force: bool = False) -> None:
    """Write launches as CSV: SI units, empty cells for what was not reached; text never reads as a formula."""
    with _written("csv", path, reader, force) as part, part.open("w", encoding="utf-8", newline="") as stream:
        csv_to(stream, reader, wanted)


def csv_to(stream: TextIO, reader: Reader, wanted: Order | None) -> None:
    """Write launches as CSV to a stream."""
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(map(_guarded, heads(reader)))
    for row in launches(reader, wanted):
        writer.writerow([_guarded(cell) if isinstance(cell, str) else cell for cell in row])


def _library(name: str, extra: str) -> Any:
    try:
        return import_module(name)
    except ImportError:
        raise UsageError(f'this needs the package {name}: install it with pip install "simlaunch[{extra}]"') from None


def write_xlsx(reader: Reader, wanted: Order | None, path: Path, *, force: bool = False) -> None:
    """Write launches as a workbook: numbers as numbers in SI units, text as text and never as a formula.

    Parameters
    ----------
    reader : Reader
        The file.
    wanted : Order, optional
        Whose constraints launches have to meet.
    path : Path
        The workbook.
    force : bool
        Whether a file that is there may be replaced.

    Raises
    ------
    UsageError
        There are more launches than a worksheet has rows, or a package is missing.
    InputError
        A file is there already, or it cannot be written.
    """
    openpyxl = _library("openpyxl", "tables")
    if reader.count() > _MOST_ROWS:
        raise UsageError(f"a worksheet ends at {_MOST_ROWS} rows; write --parquet or --csv instead")
    with _written("xlsx", path, reader, force) as part, part.open("wb") as stream:
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


def write_parquet(reader: Reader, wanted: Order | None, path: Path, *, force: bool = False) -> None:
    """Write launches as Parquet, a batch of rows at a time.

    Parameters
    ----------
    reader : Reader
        The file.
    wanted : Order, optional
        Whose constraints launches have to meet.
    path : Path
        The file to write.
    force : bool
        Whether a file that is there may be replaced.

    Raises
    ------
    UsageError
        A package is missing.
    InputError
        A file is there already, or it cannot be written.
    """
    arrow, parquet = _library("pyarrow", "tables"), _library("pyarrow.parquet", "tables")
    study = reader.study
    axes = [arrow.float64() if axis.kind is Kind.NUMBER else arrow.string() for axis in study.plan.axes]
    types = [arrow.int64(), *axes, arrow.int64(), arrow.string(), *(arrow.float64() for _ in study.measures)]
    schema = arrow.schema(list(zip(heads(reader), types, strict=True)))
    with _written("parquet", path, reader, force) as part, parquet.ParquetWriter(part, schema) as writer:
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


def dataset(path: Path) -> xarray.Dataset:
    """A file of results as labelled arrays: one dimension for each axis of a full grid, or one for the launches.

    Parameters
    ----------
    path : Path
        The file. All of it is held in memory, with 8 bytes for each number; of very many launches write netCDF instead,
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


def write_netcdf(reader: Reader, wanted: Order | None, path: Path, *, force: bool = False) -> None:
    """Write all launches as netCDF, some at a time, whatever constraints there are, since a grid has no gaps.

    Parameters
    ----------
    reader : Reader
        The file.
    wanted : Order, optional
        Plays no part.
    path : Path
        The file to write, in the format netCDF-4; names have "per" in place of a slash, which it does not allow.
    force : bool
        Whether a file that is there may be replaced.

    Raises
    ------
    UsageError
        A package is missing.
    InputError
        A file is there already, or it cannot be written.
    """
    del wanted
    library, study = _library("netCDF4", "arrays"), reader.study
    with _written("netcdf", path, reader, force) as part, contextlib.closing(_begun(library, part)) as book:
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
    """A netCDF file to be filled; one that cannot be begun is told like any other."""
    path.touch()  # the library is vague about why it could not
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
    """Pieces of an array that lie in one stretch each, in their order: their place, and their first and last number."""
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


class Writer(Protocol):
    """Writes launches to a file."""

    def __call__(self, reader: Reader, wanted: Order | None, path: Path, *, force: bool = False) -> None:
        """Write them."""


WRITERS: Mapping[str, Writer] = {
    "csv": write_csv,
    "xlsx": write_xlsx,
    "parquet": write_parquet,
    "netcdf": write_netcdf,
}
"""Every kind of file that results can be written to."""
