"""Coverage-guided fuzzing of delimited text, logs, dyno sheets and curve files; `guided.py` says how to run it."""

from __future__ import annotations

import tempfile
from pathlib import Path

import atheris
import numpy as np

with atheris.instrument_imports(include=["simlaunch"]):
    from simlaunch.readers.curve import read_sheets
    from simlaunch.readers.delimited import Delimiter, Encoding, TableOptions, read_table
    from simlaunch.readers.log import read_channels
    from simlaunch.scenario.curve_file import read_curve
    from simlaunch.units.numeral import DecimalMark

from guided import run

FOLDER = tempfile.TemporaryDirectory()
FILE = Path(FOLDER.name) / "table.csv"
SEEDS = (
    b"rpm,Torque (lb-ft)\n1000,200\n2000,210\n",
    b"rpm;Nm\n1000;200,5\n2000;210,25\n",
    b"time\tspeed\ns\tkm/h\n0.0\t0\n0.1\t5\n0.2\t9\n",
    b'"engine speed [rpm]","torque [N m]"\r\n"1000","200"\r\n2000,\r\n',
    b"time [s],speed [km/h],gear\n0,0,1\n0.1,4,1\n0.2,20,2\n0.3,30,2\n",
    "Zeit;Größe\n1;2\n".encode("utf-16"),
    b"a b\n1 2\r3 4\r",
    b'a,b\n1,"2\n3,4\n',
)


def _options(choice: int) -> TableOptions:
    encoding = [None, *Encoding][choice % 4]
    return TableOptions(encoding, [None, *Delimiter][choice // 4 % 5], [None, *DecimalMark][choice // 20 % 3])


def _table(content: bytes, choice: int) -> None:
    FILE.write_bytes(content)
    table = read_table(FILE, _options(choice))
    assert len({column.size for column in table.columns} | {table.line_numbers.size}) == 1
    assert not any(np.isinf(column).any() for column in table.columns)


def _log(content: bytes) -> None:
    FILE.write_bytes(content)
    trace = read_channels(FILE).trace
    assert (np.diff(trace.time) > 0.0).all()


def _sheet(content: bytes) -> None:
    FILE.write_bytes(content)
    account = read_sheets([FILE])
    assert np.isfinite(account.torque).all()
    assert (np.diff(account.speed) > 0.0).all()


def check(data: bytes) -> None:
    """Numbers come out, or a refusal."""
    kind, content = data[:1] or b"\0", data[1:]
    if kind[0] < 128:
        _table(content, kind[0])
    elif kind[0] < 192:
        _log(content)
    elif kind[0] < 224:
        _sheet(content)
    else:
        read_curve(content.decode("utf-8", "surrogateescape"), "fuzzed")


if __name__ == "__main__":
    run(check, [kind + seed for seed in SEEDS for kind in (b"\0", b"\x80", b"\xc0", b"\xff")])
