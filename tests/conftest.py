"""Settings that every test runs under."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import settings

os.environ["MPLBACKEND"] = "Agg"  # figures are drawn without a screen, in this process and in those it starts

# Matrices are small here. While other workers hold the cores, threads of OpenBLAS wait for one another in a loop: the
# singular values of 1,200 rows took 70 times the processor time. It is read as NumPy is imported, which comes later.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# A shell starts its background jobs deaf to Ctrl-C, and what they start inherits that. simlaunch leaves it so, as
# POSIX shells expect; tests that interrupt it start from the usual state.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)

# The same examples on every run: a failure seen once is seen again. Time limits would make the result depend
# on how busy the machine is, and the first call of a compiled function includes its compilation.
settings.register_profile("house", deadline=None, derandomize=True, print_blob=True)
settings.load_profile("house")


def pytest_sessionstart(session: pytest.Session) -> None:
    """Compile the kernels once before several workers start, each of which would compile them for itself."""
    if session.config.pluginmanager.hasplugin("dsession"):
        subprocess.run([sys.executable, Path(__file__).with_name("kernels.py")], check=True)
