"""How further Python processes are started: by this interpreter, with this one's modules and none of the folder.

Python looks for modules in the current folder first when it is given a command or a module to run. What lies there came
from others, so every process of ours is started without it.
"""

from __future__ import annotations

import os
import sys


def python(*arguments: str) -> list[str]:
    """Command line of another Python process.

    Parameters
    ----------
    *arguments : str
        What follows the interpreter, such as ``"-m", "simlaunch.readers.child"``.

    Returns
    -------
    list of str
        With the interpreter's absolute path, and without the current folder among the places of modules.
    """
    return [os.path.abspath(sys.executable), "-P", *arguments]  # noqa: PTH100  links stay: they lead to environments


def surroundings(**more: str) -> dict[str, str]:
    """Environment of another Python process: that of this one, with the same places of modules.

    Parameters
    ----------
    **more : str
        Further variables.

    Returns
    -------
    dict of str to str
        For `subprocess`.
    """
    places = os.pathsep.join(place for place in sys.path if place)
    return {**os.environ, **more, "PYTHONPATH": places}
