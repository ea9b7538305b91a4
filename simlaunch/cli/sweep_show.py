"""`simlaunch sweep show`: a file of results, ranked, exported and drawn, finished or not."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from simlaunch.cli import sweep_options as given
from simlaunch.cli.options import Force, Quiet, Units
from simlaunch.cli.output import note, result
from simlaunch.errors import InputError, UsageError
from simlaunch.units.spelling import System
from simlaunch.writing import write_folder

if TYPE_CHECKING:
    from simlaunch.sweep.ranking import Order
    from simlaunch.sweep.store import Reader

_LOAD = "steady pull gearbox input"


def _order(reader: Reader, by: str | None, where: Sequence[str] | None) -> Order:
    """How to rank: as asked now, or else as it was asked when the file was made."""
    from simlaunch.sweep.ranking import order

    asked = json.loads(reader.study.asked)
    return order(reader.study, by or asked.get("by"), asked.get("where", ()) if where is None else where)


def print_findings(path: Path, by: str | None, where: Sequence[str] | None, top: int, units: System) -> int:
    """Print what a file of results comes to; the number of launches that failed."""
    from simlaunch.output.sweep import sweep_text
    from simlaunch.sweep.ranking import findings
    from simlaunch.sweep.store import Reader

    with Reader(path) as reader:
        found = findings(reader, _order(reader, by, where), top)
        result(sweep_text(found, json.loads(reader.study.scenario)["name"], units))
    return found.failed


def _check(reader: Reader, quiet: bool) -> None:
    astray = reader.astray()
    if astray:
        raise InputError(f"{' and '.join(astray)} {'is' if len(astray) == 1 else 'are'} damaged; begin anew")
    damaged = reader.damaged()
    if damaged:
        first, _ = reader.study.chunk(damaged[0])
        raise InputError(f"{len(damaged)} stretches are damaged, the first from launch {first} on; begin anew")
    note(f"every bit is as it was written; results {reader.digest()}", quiet=quiet)


def _written(reader: Reader, wanted: Order, files: Mapping[str, Path], force: bool, quiet: bool) -> None:
    from simlaunch.sweep.export import WRITERS

    for kind, path in files.items():
        WRITERS[kind](reader, wanted, path, force=force)
        note(f"wrote {path}", quiet=quiet)


def _drawn(reader: Reader, wanted: Order, across: str | None, against: str, units: System) -> dict[str, bytes]:
    from simlaunch.plotting.save import drawn
    from simlaunch.plotting.sweep import sweep_figures

    names = [name.strip() for name in across.split(",")] if across else None
    return drawn(sweep_figures(reader, wanted, names, against, units), reader.path.stem)


def _refuse_without_figure(figure: Path | None, options: Mapping[str, str | None]) -> None:
    """Refuse options that only say what is drawn where nothing is."""
    for name, value in options.items():
        if figure is None and value is not None:
            raise UsageError(f"{name} says what is drawn; name a folder for it with --figure")


def show(
    file: given.ResultsFile,
    by: given.By = None,
    where: given.Where = None,
    top: given.Top = 10,
    units: Units = System.METRIC,
    as_json: given.JsonLines = False,
    csv: given.ToCsv = None,
    xlsx: given.ToXlsx = None,
    parquet: given.ToParquet = None,
    netcdf: given.ToNetcdf = None,
    figure: given.Figures = None,
    across: given.Across = None,
    against: given.Against = None,
    verify: given.Verify = False,
    force: Force = False,
    quiet: Quiet = False,
) -> int:
    """Rank a file of results anew, export it and draw it, be it finished or still being written."""
    from simlaunch.sweep.export import check_file, json_lines
    from simlaunch.sweep.store import Reader

    _refuse_without_figure(figure, {"--across": across, "--against": against})
    asked = {"csv": csv, "xlsx": xlsx, "parquet": parquet, "netcdf": netcdf}
    files = {kind: path for kind, path in asked.items() if path is not None}
    with Reader(file) as reader:
        for kind, path in files.items():
            check_file(f"--{kind}", path, reader, force=force)
        wanted = _order(reader, by, where)
        if verify:
            _check(reader, quiet)
        _written(reader, wanted, files, force, quiet)
        if figure is not None:
            drawn = _drawn(reader, wanted, across, against or _LOAD, units)
            paths = write_folder("--figure", figure, drawn, force=force)
            note("\n".join(f"wrote {path}" for path in paths), quiet=quiet)
        if as_json:
            for line in json_lines(reader, wanted):
                result(line)
            return 0
    print_findings(file, by, where, top, units)
    return 0
