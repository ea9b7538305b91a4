"""Compiles the numeric kernels while a wheel is built, so that whoever installs it need not wait for them.

A build never fails for want of them: without them the wheel is one for every system, and each user's first run compiles
them. An editable install gets none, since its sources are there to be edited. `HATCH_BUILD_NO_HOOKS=true` leaves them
out.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

_COMPILE = "import sys; from simlaunch.launching.compile_ahead import compile_into; compile_into(sys.argv[1])"
_PATIENCE = 1200.0  # [s]


class CarryKernels(BuildHookInterface[Any]):
    """Adds a hidden folder with machine code to a wheel."""

    PLUGIN_NAME = "custom"

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Compile, and say where it went wrong."""
        if version == "editable":
            return
        self._work = tempfile.mkdtemp(prefix="simlaunch-build-")
        package = Path(self._work, "simlaunch")
        why_not = _compile(Path(self.root), package, Path(self._work, "cache"))
        if why_not:
            self.app.display_warning(f"the wheel carries no machine code, so that the first run compiles: {why_not}")
            return
        build_data["force_include"][str(package)] = "simlaunch"
        build_data["pure_python"], build_data["infer_tag"] = False, True

    def finalize(self, version: str, build_data: dict[str, Any], artifact_path: str) -> None:
        """Remove what is in the wheel now."""
        if version != "editable":
            shutil.rmtree(self._work, ignore_errors=True)


def _compile(root: Path, package: Path, cache: Path) -> str:
    """Compile the kernels of the sources under `root` into a folder; returns why that did not work."""
    places = os.pathsep.join([str(root), *filter(None, [os.environ.get("PYTHONPATH")])])
    environment = {**os.environ, "PYTHONPATH": places, "PYTHONDONTWRITEBYTECODE": "1", "SIMLAUNCH_CACHE": str(cache)}
    command = [sys.executable, "-P", "-c", _COMPILE, str(package)]
    try:
        ran = subprocess.run(
            command, env=environment, stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=_PATIENCE
        )
    except (OSError, ValueError, subprocess.TimeoutExpired) as error:
        return str(error)
    if ran.returncode:
        return (ran.stderr.strip().splitlines() or [f"exit code {ran.returncode}"])[-1]
    return "" if any(package.rglob("*.kernel")) else "compilation is switched off"
