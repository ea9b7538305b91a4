"""How quick one installation is beside another: every figure that README and DEVELOPERS.md state, by one command.

    python tests/benchmarks/bars.py OLD/bin/python NEW/bin/python
    python tests/benchmarks/bars.py OLD/bin/python NEW/bin/python --small --rounds 2 --only compare-256,sweep
    python tests/benchmarks/bars.py OLD/bin/python NEW/bin/python --without kernel --without accuracy

Both work on the scenarios of this folder, in turns, so that whatever else the machine does hits both alike. Rows are
medians of wall time and of processor time over all cores, and the ratio of new to old. `first` begins without any kept
kernel and ends with an answer; every other command has run once before it is measured. Where an installation stands in
a copy of the repository, its own `speed.py` then sets its kernel beside SciPy, SUNDIALS CVODE and diffrax on one core,
and its `accuracy.py` prints how close its launches come; `--small` has both work on fewer cars. A library that is not
installed beside an interpreter is named in place of its row. Nothing is asserted: machines differ, so only the ratios
of one sitting count.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import tempfile
import time
from collections.abc import Mapping
from pathlib import Path
from statistics import median

import typer

SCENARIO = str(Path(__file__).parents[2] / "scenarios/road-coupe.toml")
MANY, FEW = {"pairs": "20000", "cases": "10000"}, {"pairs": "2000", "cases": "1000"}
_SWEPT = ("--vary", "curve", "--vary", "gear set", "--vary", "tyre", "--vary", "body.mass: 1400 kg to 1700 kg")
_SWEEP = ("sweep", SCENARIO, "-o", "launches.sqlite", "--quiet", *_SWEPT, "--sample", "{cases}")
COMMANDS: dict[str, tuple[str, ...]] = {
    "first": ("compare", SCENARIO),
    "help": ("--help",),
    "check": ("check", SCENARIO),
    "run": ("run", SCENARIO),
    "compare": ("compare", SCENARIO, "--cases", "0"),
    "compare-256": ("compare", SCENARIO, "--cases", "256"),
    "sweep": (*_SWEEP, "--where", "body.mass < 2000 kg"),
    "sweep-loads": (*_SWEEP, "--where", "peak torque gearbox input < 750 N m"),
    "odds": ("odds", SCENARIO, "--cases", "{pairs}", "--quiet"),
    "plateau": ("plateau", SCENARIO, "--quiet"),
    "report": ("report", SCENARIO, "--quiet", "--output", "page.html"),
}
"""What is timed: `sweep` ranks by time alone, `sweep-loads` keeps to a torque as well; both run on all cores."""

SCRIPTS: dict[str, tuple[str, tuple[str, ...]]] = {
    "kernel": ("speed.py", ("--cars", "60", "--batch", "64", "--without", "scipy")),
    "accuracy": ("accuracy.py", ("--cars", "60", "--edge", "15")),
}
"""Each with what it is given where the sizes are small."""
_FRESH = 3  # most times that everything is compiled


def surroundings(cache: str) -> dict[str, str]:
    """The environment of an installed package: its modules are kept as byte code, here apart from its source."""
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    kept["PYTHONPYCACHEPREFIX"] = str(Path(tempfile.gettempdir()) / "simlaunch-byte-code")
    return {**kept, "SIMLAUNCH_CACHE": cache} if cache else kept


def timed(python: str, arguments: tuple[str, ...], *, fresh: bool) -> tuple[float, float]:
    """Wall and processor time of one call in a folder of its own [s]."""
    with tempfile.TemporaryDirectory() as folder:  # not that of this package: the package is that of the interpreter
        command = [python, "-m", "simlaunch", *arguments]
        where, begin = surroundings(folder if fresh else ""), time.perf_counter()
        child = subprocess.Popen(command, cwd=folder, env=where, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
        assert child.stderr is not None
        said = child.stderr.read().decode(errors="replace")
        _, status, used = os.wait4(child.pid, 0)
        wall = time.perf_counter() - begin
    if os.waitstatus_to_exitcode(status) not in (0, 4):
        raise SystemExit(f"{' '.join(command)} ended with {os.waitstatus_to_exitcode(status)}: {said[-400:]}")
    return wall, used.ru_utime + used.ru_stime


def row(name: str, pythons: tuple[str, str], rounds: int, sizes: Mapping[str, str]) -> str:
    """Line of the table for one command."""
    arguments = tuple(part.format(**sizes) if "{" in part else part for part in COMMANDS[name])
    fresh, taken = name == "first", {python: list[tuple[float, float]]() for python in pythons}
    for turn in range(min(rounds, _FRESH) if fresh else rounds + 1):
        for python in pythons:
            times = timed(python, arguments, fresh=fresh)
            if turn or fresh:  # otherwise the first call may compile
                taken[python].append(times)
    (old_wall, old_cpu), (new_wall, new_cpu) = (
        tuple(median(times[k] for times in taken[python]) for k in (0, 1)) for python in pythons
    )
    walls, cpus = f"{old_wall:8.2f} {new_wall:8.2f}", f"{old_cpu:8.2f} {new_cpu:8.2f}"
    return f"{name:<12} {walls} {new_wall / old_wall:6.2f}   {cpus} {new_cpu / old_cpu:6.2f}"


def _root(python: str) -> Path:
    """The copy of the repository that an installation stands in."""
    ask = [python, "-c", "import simlaunch; print(simlaunch.__file__)"]
    with tempfile.TemporaryDirectory() as folder:
        said = subprocess.run(ask, cwd=folder, capture_output=True, text=True, check=True)
    return Path(said.stdout.strip()).parents[1]


def printed(python: str, script: str, *sizes: str) -> str:
    """What a script of the installation's own benchmarks prints, or why it cannot be run."""
    file = _root(python) / "tests" / "benchmarks" / script
    if not file.exists():
        return f"{file} is not there"
    done = subprocess.run(
        [python, str(file), *sizes], env=surroundings(""), capture_output=True, text=True, check=False
    )
    return (
        done.stdout.rstrip() if done.returncode == 0 else f"{script} ended with {done.returncode}: {done.stderr[-400:]}"
    )


def main() -> None:
    """Print the table, then what the scripts of both installations print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("old")
    parser.add_argument("new")
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--only", help="commands, with commas between them; nothing else is run then")
    parser.add_argument("--small", action="store_true", help="a tenth of the cases, and a fifth of the cars")
    parser.add_argument("--without", action="append", default=[], choices=[*COMMANDS, *SCRIPTS], help="leave out")
    given = parser.parse_args()
    names = given.only.split(",") if given.only else list(COMMANDS)
    typer.echo(f"{'':<12} {'wall [s]':>17} {'':>6}   {'processor [s]':>17}")
    typer.echo(f"{'command':<12} {'old':>8} {'new':>8} {'ratio':>6}   {'old':>8} {'new':>8} {'ratio':>6}")
    for name in names:
        if name not in given.without:
            typer.echo(row(name, (given.old, given.new), given.rounds, FEW if given.small else MANY))
    for name, (script, sizes) in SCRIPTS.items() if not given.only else ():
        for which, python in (("old", given.old), ("new", given.new)) if name not in given.without else ():
            typer.echo(f"\n{name}, {which}\n{printed(python, script, *(sizes if given.small else ()))}")


if __name__ == "__main__":
    main()
