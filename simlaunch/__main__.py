"""`python -m simlaunch`: the same as the command `simlaunch`."""

from __future__ import annotations

import sys
from pathlib import Path

_here = str(Path.cwd())
if sys.path[:1] == [_here] and Path(_here) != Path(__file__).parent.parent:
    del sys.path[0]  # set by "-m": modules are not to come from a folder of results; files in it came from others

from simlaunch.cli.main import main  # noqa: E402  the path comes first

if __name__ == "__main__":
    main()
