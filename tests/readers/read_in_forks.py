"""Reads many MDF files as `read_channels` does, but each confined process is a fork of this one, which has the library.

    python read_in_forks.py FOLDER

Prints one JSON object per file: its name, how long it took, and its samples or the refusal. Anything else that is
raised ends the whole.
"""

from __future__ import annotations

import gc
import json
import os
import sys
import time
from pathlib import Path

import numpy as np

from simlaunch.errors import InputError
from simlaunch.readers import child, mdf
from simlaunch.readers.log import read_channels

EXTRACT = mdf.extractor()


def _forked(module: str, wanted: str, folder: Path, size: int) -> int:
    pid = os.fork()
    if pid:
        return os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])
    code = 1
    try:
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 1)
        os.dup2(nowhere, 2)
        code = child.serve(EXTRACT, folder / "input", wanted, folder)
    finally:
        os._exit(code)


def _outcome(file: Path) -> dict[str, object]:
    try:
        trace = read_channels(file).trace
    except InputError as error:
        return {"refused": str(error)}
    rising = bool((np.diff(trace.time) > 0.0).all())
    whole = all(values.shape == trace.time.shape for values in trace.channels.values())
    return {"samples": trace.time.size, "sound": rising and whole and bool(np.isfinite(trace["speed"]).all())}


def main() -> None:
    child._run = _forked
    gc.freeze()  # what is here now is looked at by no fork, and so copied by none
    for file in sorted(Path(sys.argv[1]).glob("*.mf4")):
        start = time.perf_counter()
        outcome = _outcome(file)
        sys.stdout.write(json.dumps({"file": file.name, "took": time.perf_counter() - start, **outcome}) + "\n")


if __name__ == "__main__":
    main()
