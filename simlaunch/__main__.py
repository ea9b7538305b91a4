"""`python -m simlaunch`: the same as the command `simlaunch`."""

from __future__ import annotations

from simlaunch.cli.main import main

if __name__ == "__main__":
    main()
