"""How long commands take once the kernels are compiled: one installation against another, in alternation.

    python tests/benchmarks/warm.py OLD/bin/python NEW/bin/python [--rounds 5] [--only compare,check]

Both work on the scenarios of this folder. Each command runs once unmeasured, then in turns with either interpreter; the
table gives medians of wall time and of processor time over all cores, and the ratio of new to old. Nothing is asserted:
machines differ, so only the ratios of one sitting count.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import tempfile
import time
from pathlib import Path
from statistics import median

import typer

SCENARIO = str(Path(__file__).parents[2] / "scenarios/road-coupe.toml")
COMMANDS = {
    "help": ("--help",),
    "check": ("check", SCENARIO),
    "run": ("run", SCENARIO),
    "compare": ("compare", SCENARIO, "--cases", "0"),
    "compare-256": ("compare", SCENARIO, "--cases", "256"),
    "odds": ("odds", SCENARIO, "--runs", "512", "--quiet"),
    "report": ("report", SCENARIO, "--force", "--quiet", "--output", "page.html"),
    "plateau": ("plateau", SCENARIO, "--quiet"),
}


def timed(python: str, arguments: tuple[str, ...], folder: str) -> tuple[float, float]:
    """Wall and processor time of one call [s]."""
    command = [python, "-m", "simlaunch", *arguments]  # in a folder of its own: the package is that of the interpreter
    begin = time.perf_counter()
    child = subprocess.Popen(command, cwd=folder, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    assert child.stderr is not None
    said = child.stderr.read().decode(errors="replace")
    _, status, used = os.wait4(child.pid, 0)
    wall = time.perf_counter() - begin
    if os.waitstatus_to_exitcode(status) not in (0, 4):
        raise SystemExit(f"{' '.join(command)} ended with {os.waitstatus_to_exitcode(status)}: {said[-400:]}")
    return wall, used.ru_utime + used.ru_stime


def row(name: str, pythons: tuple[str, str], rounds: int) -> str:
    """Line of the table for one command."""
    taken: dict[str, list[tuple[float, float]]] = {python: [] for python in pythons}
    with tempfile.TemporaryDirectory() as folder:
        for turn in range(rounds + 1):
            for python in pythons:
                times = timed(python, COMMANDS[name], folder)
                if turn:  # the first call may compile
                    taken[python].append(times)
    (old_wall, old_cpu), (new_wall, new_cpu) = (
        tuple(median(times[k] for times in taken[python]) for k in (0, 1)) for python in pythons
    )
    walls, cpus = f"{old_wall:8.2f} {new_wall:8.2f}", f"{old_cpu:8.2f} {new_cpu:8.2f}"
    return f"{name:<12} {walls} {new_wall / old_wall:6.2f}   {cpus} {new_cpu / old_cpu:6.2f}"


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("old")
    parser.add_argument("new")
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--only", default=",".join(COMMANDS))
    given = parser.parse_args()
    typer.echo(f"{'':<12} {'wall [s]':>17} {'':>6}   {'processor [s]':>17}")
    typer.echo(f"{'command':<12} {'old':>8} {'new':>8} {'ratio':>6}   {'old':>8} {'new':>8} {'ratio':>6}")
    for name in given.only.split(","):
        typer.echo(row(name, (given.old, given.new), given.rounds))


if __name__ == "__main__":
    main()
