"""Coverage-guided fuzzing of scenario files, whole and value by value; `guided.py` says how to run it."""

from __future__ import annotations

import tempfile
import tomllib
from pathlib import Path
from typing import Any

import atheris

with atheris.instrument_imports(include=["simlaunch"]):
    from simlaunch.parameters.fill import lower
    from simlaunch.record import Pedal
    from simlaunch.scenario.defaults import defaults
    from simlaunch.scenario.model import Scenario, warnings
    from simlaunch.scenario.reading import from_mapping, load

from guided import run

SAMPLES = Path(__file__).parents[2] / "scenarios"
SOUND = (SAMPLES / "all-drive-saloon.toml").read_bytes()
FOLDER = tempfile.TemporaryDirectory()
FILE = Path(FOLDER.name) / "car.toml"


def _used(scenario: Scenario) -> None:
    """What `check` does with a sound scenario."""
    assert defaults(scenario) is not None
    assert warnings(scenario) is not None
    for name in scenario.curve_names:
        lower(scenario, name, Pedal.FULL)


def _value(provider: Any, depth: int = 0) -> object:
    kind = provider.ConsumeIntInRange(0, 6 if depth < 3 else 3)
    if kind < 3:
        return provider.ConsumeUnicodeNoSurrogates(40)
    if kind == 3:
        return provider.PickValueInList([True, 0, -1, 1.5, float("nan"), 10**400, None])
    if kind == 4:
        return {provider.ConsumeUnicodeNoSurrogates(12): _value(provider, depth + 1)}
    return [_value(provider, depth + 1) for _ in range(provider.ConsumeIntInRange(0, 3))]


def _places(table: object, path: tuple[str | int, ...] = ()) -> list[tuple[str | int, ...]]:
    steps: list[tuple[str | int, object]] = []
    if isinstance(table, dict):
        steps = [*table.items(), ("note", "")]
    elif isinstance(table, list):
        steps = [*enumerate(table)]
    return [place for step, inner in steps for place in ((*path, step), *_places(inner, (*path, step)))]


PLACES = _places(tomllib.loads(SOUND.decode()))


def _changed(provider: Any) -> dict[str, Any]:
    """A sound scenario with some values replaced."""
    data: dict[str, Any] = tomllib.loads(SOUND.decode())
    for _ in range(provider.ConsumeIntInRange(1, 3)):
        *path, last = provider.PickValueInList(PLACES)
        table = data
        try:
            for step in path:
                table = table[step]
            table[last] = _value(provider)
        except (KeyError, IndexError, TypeError):  # an earlier change took that place away
            continue
    return data


def check(data: bytes) -> None:
    """A scenario comes out, or all its faults."""
    if data[:1] and data[0] % 2:
        FILE.write_bytes(data[1:])
        _used(load(FILE))
    else:
        _used(from_mapping(_changed(atheris.FuzzedDataProvider(data[1:])), "fuzzed"))


if __name__ == "__main__":
    run(
        check,
        [b"\1" + SOUND, *(b"\1" + part for part in SOUND.split(b"\n\n")), *(bytes([0, n]) * 20 for n in range(50))],
    )
