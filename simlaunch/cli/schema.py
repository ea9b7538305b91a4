"""`simlaunch schema`: what a scenario file may hold."""

from __future__ import annotations


def schema() -> int:
    """Print the JSON Schema of a scenario file."""
    import json

    from simlaunch.cli.output import result
    from simlaunch.scenario.schema import json_schema

    result(json.dumps(json_schema(), indent=2))
    return 0
