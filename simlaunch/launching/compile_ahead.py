"""Compiles every kernel, half of them in a second process, since the compiler works on one core.

The loop of a launch takes about as long to compile as all the rest together, and either half stands on its own.
"""

from __future__ import annotations

import subprocess
from pathlib import Path

import numpy as np

from simlaunch.compiled import compile_for, is_kept
from simlaunch.compiled.kept import carry, not_kept
from simlaunch.metrics import many
from simlaunch.metrics.above import integral_above
from simlaunch.metrics.ceiling import grip_limits
from simlaunch.metrics.crossing import first_time, value_at
from simlaunch.metrics.energy import audit
from simlaunch.metrics.grip import grip_use
from simlaunch.metrics.marks import marks
from simlaunch.metrics.parts import part_peaks
from simlaunch.physics.table import values_at
from simlaunch.processes import python, surroundings
from simlaunch.record import CAR, blank
from simlaunch.simulation import channels, histories, kernel, prepare
from simlaunch.simulation.bench import make_bench
from simlaunch.simulation.trace import Trace

_REST = "from simlaunch.launching.compile_ahead import compile_the_rest; compile_the_rest()"
_SAMPLES = 3


def is_done() -> bool:
    """Whether everything is compiled that any launch goes through.

    Returns
    -------
    bool
        True where the loop and the largest part of the rest are kept.
    """
    return is_kept(kernel.run_compiled) and is_kept(many.measure_each)


def announcement() -> str:
    """What is said while everything is compiled, and that it will be again where nothing can be kept.

    Returns
    -------
    str
        A sentence without a stop.
    """
    return not_kept() or "compiling the launch kernel once (about 40 s)"


def compile_together(*, for_scipy: bool = False) -> None:
    """Compile the loop of a launch here and the rest in a second process.

    Whatever the second process fails to make, for want of memory say, is compiled here at its first call.

    Parameters
    ----------
    for_scipy : bool
        Compile what the method needs that goes through SciPy, too.
    """
    helper = None if not_kept() else _start()
    _compile_the_loop()
    if for_scipy:
        _compile_for_scipy()
    if helper is not None:
        helper.wait()


def compile_into(package: str) -> None:
    """Compile every kernel into a package that is being built.

    Parameters
    ----------
    package : str
        Folder that will be the package.
    """
    compile_together(for_scipy=True)
    carry(Path(package))


def _start() -> subprocess.Popen[bytes] | None:
    """The second process, where the system grants one."""
    command, nothing = python("-c", _REST), subprocess.DEVNULL
    try:
        return subprocess.Popen(command, env=surroundings(), stdin=nothing, stdout=nothing, stderr=nothing)
    except OSError:
        return None


def _compile_the_loop() -> None:
    bench = make_bench(capacity=_SAMPLES)
    parts = (bench.phase[0], bench.accuracy, bench.work, bench.samples, bench.log)
    compile_for(kernel.run_compiled, blank(), *parts)


def _compile_for_scipy() -> None:
    """Compile what the method needs that goes through SciPy."""
    work, phase = kernel.launch_work(), make_bench(capacity=_SAMPLES).phase[0]
    compile_for(kernel.compiled_rates, 0.0, work.state, blank(), phase, work.state)
    compile_for(kernel.compiled_events, 0.0, work.state, blank(), phase, work.state)


def compile_the_rest() -> None:
    """Compile what a launch needs before and after its loop: derived numbers, channels, measures of one and of many."""
    car, bench = blank(), make_bench(capacity=_SAMPLES)
    work, phase, samples = bench.work, bench.phase[0], bench.samples
    derived = np.zeros((_SAMPLES, len(channels.DERIVED_CHANNELS)))
    compile_for(prepare.complete, car, work, phase)
    compile_for(prepare.begin, car, work, phase)
    compile_for(
        channels.derive, samples.time, samples.state, samples.segment, bench.log.phase, car, work, derived, (True, True)
    )
    wheels = np.zeros((_SAMPLES, len(channels.WHEEL_CHANNELS) * len(channels.SIDES)))
    compile_for(
        channels.derive_wheels, samples.time, samples.state, samples.segment, bench.log.phase, 0, car, work, wheels
    )
    values_at(car.engine.torque, samples.time)
    compile_for(grip_limits, np.zeros(_SAMPLES), 1.0, car, np.zeros((_SAMPLES, 3)))
    named = {name: samples.state[:, index].copy() for name, index in channels.STATE_CHANNELS.items()}
    named |= {name: derived[:, i].copy() for i, name in enumerate(channels.DERIVED_CHANNELS)}
    still = Trace(np.arange(_SAMPLES, dtype=np.float64), named, ())
    integral_above(still.time, still.time, still.time)
    first_time(still, "speed", 1.0)
    value_at(still, "speed", 1.0)
    marks(still)
    grip_use(still, (False, True), (0.3, 0.3))
    audit(still)
    part_peaks(still)
    many.compile_measuring()
    cars, ending = np.zeros(1, CAR), np.zeros(1, np.int64)
    compile_for(histories.follow_each, cars, 1.0, bench, np.zeros((1, 1, 1)), ending)
