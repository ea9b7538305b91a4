"""Keys of the JSON of a comparison: programs of users read them, so that none may change or go unnoticed."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from output.compared import comparison

KEYS = Path(__file__).with_name("compare_keys.txt")


def paths(value: Any, path: str = "") -> Iterator[str]:
    """Path of every key below a value; entries of a list share one."""
    if isinstance(value, dict):
        for key, below in value.items():
            yield f"{path}.{key}".lstrip(".")
            yield from paths(below, f"{path}.{key}".lstrip("."))
    elif isinstance(value, list):
        for each in value:
            yield from paths(each, f"{path}[]")


def test_a_comparison_has_the_keys_that_it_always_had() -> None:
    assert sorted(set(paths(comparison("road-coupe").to_dict()))) == KEYS.read_text("utf-8").split()


def test_engine_speeds_of_spans_are_in_rpm() -> None:
    found = comparison("road-coupe")
    why = found.pairs[0].why
    assert why is not None
    spans = found.to_dict()["pairs"][0]["why"]["by_engine_speed"]
    for span, shown in zip(why.spans, spans, strict=True):
        turns_a_minute = span.start * 60.0 / (2.0 * 3.141592653589793)
        assert abs(shown["from_rpm"] - turns_a_minute) < 1e-9 * turns_a_minute
        assert shown["share_s"] == span.full.share
