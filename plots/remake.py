"""Remakes every picture of the README from the scenarios; run with `python plots/remake.py`."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from pathlib import Path

from simlaunch.drawing.save import save
from simlaunch.figures.compare import compare_figures
from simlaunch.scenario.reading import load
from simlaunch.study.compare import compare
from simlaunch.study.usable import usable

HERE = Path(__file__).resolve().parent
SCENARIOS = HERE.parent / "scenarios"

PICTURES: Mapping[str, tuple[str, ...]] = {
    "road-coupe": ("gap", "slip", "torque"),
    "all-drive-grip": ("torque",),
}
"""Scenario, and which figures of its comparison are shown."""


def remake(folder: Path = HERE) -> list[Path]:
    """Make the pictures and write them to a folder.

    Parameters
    ----------
    folder : Path
        Where to.

    Returns
    -------
    list of Path
        The files.
    """
    files = []
    for name, keys in PICTURES.items():
        scenario = load(SCENARIOS / f"{name}.toml")
        figures = compare_figures(compare(scenario), usable(scenario), "metric")
        files += save({key: figures[key] for key in keys}, folder, name)
    return files


if __name__ == "__main__":
    sys.stdout.writelines(f"{path.name}\n" for path in remake())
