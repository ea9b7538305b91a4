"""`simlaunch sweep show`: a file of results, ranked, exported and drawn, finished or not."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from simlaunch.cli import sweep_options as given
from simlaunch.cli.options import AsJson, Force, Quiet, Units
from simlaunch.cli.output import note, result
from simlaunch.errors import UsageError
from simlaunch.output import as_json as json_text
from simlaunch.plotting import save
from simlaunch.sweeping import completion, export, store, study
from simlaunch.units.spelling import System
from simlaunch.writing import write_folder

_STDOUT = "-"


def printed(found: study.SweepResult, *, units: System, as_json: bool) -> None:
    """Print a result as text or as JSON."""
    result(json_text.dumps(found.to_dict()) if as_json else found.to_text(units))


def _exported(found: study.SweepResult, files: Mapping[str, Path], force: bool, quiet: bool) -> None:
    if files:
        _complete(found, quiet)
    with store.Reader(found.path) as reader:
        for kind, path in files.items():
            export.write(kind, reader, found.findings.order, path, force=force)
            note(f"wrote {path}", quiet=quiet)


def _complete(found: study.SweepResult, quiet: bool) -> None:
    """Have the file hold every measure, which takes as long as the sweep did where it holds only some."""

    def said(launches: int) -> None:
        note(f"launching {launches} cases again for measures that the sweep left out", quiet=quiet)

    completion.complete(found.path, watch=said)


def _lines(found: study.SweepResult, quiet: bool) -> None:
    _complete(found, quiet)
    with store.Reader(found.path) as reader:
        for line in export.json_lines(reader, found.findings.order):
            result(line)


def _drawn(found: study.SweepResult, across: str | None, against: str | None, units: System) -> dict[str, bytes]:
    names = [name.strip() for name in across.split(",")] if across else None
    return save.drawn(found.figures(units, names, against), found.path.stem)


def _refuse_without_figure(figure: Path | None, options: Mapping[str, str | None]) -> None:
    """Refuse options that choose what is drawn where nothing is drawn."""
    for name, value in options.items():
        if figure is None and value is not None:
            raise UsageError(f"{name} chooses what to draw; name a folder with --figure")


def show(
    file: given.ResultsFile,
    by: given.By = None,
    where: given.Where = None,
    top: given.Top = 10,
    units: Units = System.METRIC,
    as_json: AsJson = False,
    jsonl: given.ToJsonl = None,
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
    """Rank a file of results again, export it or draw it.

    The file may be finished, unfinished or still being written.
    """
    _refuse_without_figure(figure, {"--across": across, "--against": against})
    lines = jsonl is not None and str(jsonl) == _STDOUT
    if lines and as_json:
        raise UsageError("--jsonl - and --json both print to standard output; leave one of them out")
    asked = {"csv": csv, "xlsx": xlsx, "parquet": parquet, "netcdf": netcdf, "jsonl": None if lines else jsonl}
    files = {kind: path for kind, path in asked.items() if path is not None}
    for kind, path in files.items():
        export.check_file(f"--{kind}", path, file, force=force)
    if verify:
        note(f"no stored launch has changed; digest of the results {study.verified(file)}", quiet=quiet)
    found = study.open_sweep(file, by, where or None, top)
    _exported(found, files, force, quiet)
    if figure is not None:
        paths = write_folder("--figure", figure, _drawn(found, across, against, units), force=force)
        note("\n".join(f"wrote {path}" for path in paths), quiet=quiet)
    if lines:
        _lines(found, quiet)
    else:
        printed(found, units=units, as_json=as_json)
    return 0
