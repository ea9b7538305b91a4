"""What the coverage-guided fuzzers share: seeds, the number of inputs, and what counts as a fault.

An input may be read or refused with an InputError whose text is readable. Any other exception is a fault, and so is
an input that takes longer than the time limit; both end the run with the input in a file.

    pip install atheris
    python tests/fuzz/fuzz_units.py 200000
    python tests/fuzz/fuzz_scenario.py 50000
    python tests/fuzz/fuzz_table.py 50000
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Callable, Iterable
from pathlib import Path

import atheris

from simlaunch.errors import InputError

SECONDS = 1
"""Time that one input may take [s]."""

MEBIBYTES = 1024
"""Memory that the whole process may take, instrumentation included [MiB]."""

LONGEST = 8192
"""Longest input [byte]."""

Check = Callable[[bytes], None]


def judged(check: Check) -> Check:
    """The same check, with a refusal judged by its text."""

    def judge(data: bytes) -> None:
        try:
            check(data)
        except InputError as error:
            text = str(error)
            if not text.replace("\n", "").isprintable():
                raise AssertionError(f"not printable: {text!r}") from None
            if not 10 < len(text) < 50_000:
                raise AssertionError(f"{len(text)} characters: {text[:200]!r}") from None

    return judge


def run(check: Check, seeds: Iterable[bytes]) -> None:
    """Feed the number of inputs named on the command line, begun from the seeds."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    with tempfile.TemporaryDirectory() as folder:
        for n, seed in enumerate(seeds):
            (Path(folder) / str(n)).write_bytes(seed)
        limits = [f"-runs={count}", f"-timeout={SECONDS}", f"-max_len={LONGEST}", f"-rss_limit_mb={MEBIBYTES}"]
        atheris.Setup([sys.argv[0], folder, *limits, "-seed=1", "-print_final_stats=1"], judged(check))
        atheris.Fuzz()
