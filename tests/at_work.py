"""Waits until a process that was started is at its work, so that it can be interrupted there."""

from __future__ import annotations

import os
import subprocess
import time
from pathlib import Path

SECONDS = 2.0  # of processor time; starting takes about one


def at_work(process: subprocess.Popen[str]) -> bool:
    """Wait until a process has used some processor time, however busy the machine is; returns whether it still runs."""
    told = Path(f"/proc/{process.pid}/stat")
    if not told.exists():  # another system than Linux
        time.sleep(2.0 * SECONDS)
    while process.poll() is None and told.exists() and _used(told) < SECONDS:
        time.sleep(0.02)
    return process.poll() is None


def _used(told: Path) -> float:
    """Processor time of a process, in user and system mode [s]; fields 14 and 15 of proc(5)."""
    after_name = told.read_text("ascii", "replace").rpartition(")")[2].split()
    return sum(map(int, after_name[11:13])) / os.sysconf("SC_CLK_TCK")
