"""`simlaunch schema`: what a scenario file may hold."""

from __future__ import annotations

import json

from simlaunch.cli.output import result
from simlaunch.scenario import schema as scenarios


def schema() -> int:
    """Print the JSON Schema of a scenario file."""
    result(json.dumps(scenarios.json_schema(), indent=2))
    return 0
