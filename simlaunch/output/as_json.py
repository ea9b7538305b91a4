"""Results as JSON: SI units named in the keys, null for what was not reached, a format version in front."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from math import isfinite
from typing import Any

import numpy as np

from simlaunch.metrics.marks import MarkResult, Target
from simlaunch.quantities import reported

Object = dict[str, Any]


def dumps(document: Mapping[str, Any]) -> str:
    """JSON text with sorted keys, the format first; ASCII only, and never a number that JSON does not have."""
    ordered = {key: document[key] for key in ("format", *sorted(set(document) - {"format"}))}
    return json.dumps({key: _sorted(value) for key, value in ordered.items()}, indent=2, allow_nan=False)


def _sorted(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _sorted(value[key]) for key in sorted(value)}
    return [_sorted(each) for each in value] if isinstance(value, list) else value


def number(value: float) -> float | None:
    """A number, or null where there is none."""
    return float(value) + 0.0 if isfinite(value) else None


def listed(values: Iterable[float]) -> list[float | None]:
    """Numbers, with null where there is none."""
    return [number(value) for value in values]


def target_object(target: Target) -> Object:
    """A speed, a span or a distance."""
    unit = "m" if target.by_distance else "m_per_s"
    found: Object = {
        "label": target.label,
        "kind": target.kind.name.lower(),
        f"start_{unit}": number(target.start),
        f"end_{unit}": number(target.end),
    }
    if roll := target.roll:
        found["roll"] = {
            "speed_m_per_s": number(roll.speed),
            "gear": roll.gear or None,
            "shifting": "on" if roll.shifting else "off",
            "boost_share": number(roll.boost),
        }
    return found


def mark_object(result: MarkResult) -> Object:
    """What was measured for one mark."""
    return {
        **target_object(result.target),
        **group_object("mark", result),
    }


def group_object(group: str, source: object, only: Sequence[str] | None = None) -> Object:
    """Numbers of one group of reported quantities, under their keys; all of them, or those that are named."""
    return {each.key: plain(each.of_json(source)) for each in reported(group, only).values()}


def plain(value: Any) -> Any:
    """A value of a result as JSON has it: null for numbers that there are not, lists for arrays."""
    if isinstance(value, np.ndarray | np.generic):
        value = value.tolist()
    if isinstance(value, float):
        return number(value)
    if isinstance(value, Mapping):
        return {str(key): plain(each) for key, each in value.items()}
    return [plain(each) for each in value] if isinstance(value, list | tuple) else value
