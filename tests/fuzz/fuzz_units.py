"""Coverage-guided fuzzing of the gate for text with a unit; `guided.py` says how to run it."""

from __future__ import annotations

import math

import atheris

with atheris.instrument_imports(include=["simlaunch"]):
    from simlaunch.units.quantity import read
    from simlaunch.units.spelling import Dimension, kinds

from guided import run

DIMENSIONS = tuple(Dimension)
SEEDS = (
    "9**9**9 kg",
    "1/0 kg",
    "3,5 kg",
    "1.510,5 kg",
    "7000/min",
    "nan kg",
    "1e400 kg",
    "--5 kg",
    "5 (",
    "\u202e5 kg",
)


def check(data: bytes) -> None:
    """A finite number comes out, or a refusal."""
    first, second, text = data[:1] or b"\0", data[1:2] or b"\0", data[2:].decode("utf-8", "surrogateescape")
    kinds_wanted = (DIMENSIONS[byte % len(DIMENSIONS)] for byte in (first[0], second[0]))
    assert math.isfinite(read(text, *kinds_wanted).si)


if __name__ == "__main__":
    examples = [bytes([n, n]) + kinds()[kind].example.encode() for n, kind in enumerate(DIMENSIONS)]
    run(check, [*examples, *(bytes(2) + text.encode() for text in SEEDS)])
