"""Remakes every picture of the README from the scenarios; run with `python plots/remake.py`."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

from matplotlib.figure import Figure

from simlaunch.analysis.odds import odds
from simlaunch.analysis.parts import parts
from simlaunch.analysis.worth import worth
from simlaunch.comparing.compare import compare
from simlaunch.fitting.fit import fit
from simlaunch.plotting.odds import odds_figure
from simlaunch.plotting.parts import parts_figure
from simlaunch.plotting.save import drawn
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.reading import load

HERE = Path(__file__).resolve().parent
SCENARIOS = HERE.parent / "scenarios"
FIT_LOG = SCENARIOS / "sheets" / "invented-fit-log.csv"
SYSTEM = "metric"


def _coupe(scenario: Scenario) -> Iterator[tuple[str, Figure]]:
    """Peak against plateau, where torque pays, how sure that is, what the parts take, and the fit to a log."""
    compared = compare(scenario, cases=0).figures(SYSTEM)
    yield from ((key, compared[key]) for key in ("gap", "slip", "why", "torque"))
    yield "worth", worth(scenario, "plateau").figures(SYSTEM)["bands"]
    yield "odds", odds_figure(odds(scenario, *scenario.curve_names[:2], cases=512), SYSTEM)
    yield "parts", parts_figure(parts(scenario), SYSTEM)
    yield "fit", fit(scenario, FIT_LOG).figures(SYSTEM)["residuals"]


def _ample_grip(scenario: Scenario) -> Iterator[tuple[str, Figure]]:
    yield "torque", compare(scenario, cases=0).figures(SYSTEM)["torque"]


PICTURES = {"road-coupe": _coupe, "all-drive-grip": _ample_grip}
"""Scenario, and what is shown of it."""


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
    for name, figures in PICTURES.items():
        for file, content in drawn(dict(figures(load(SCENARIOS / f"{name}.toml"))), name).items():
            files.append(folder / file)
            files[-1].write_bytes(content)
    return files


if __name__ == "__main__":
    sys.stdout.writelines(f"{path.name}\n" for path in remake())
