"""Compiles what a first launch needs, half of it in a second process, since the compiler works on one core.

The loop of a launch takes about as long to compile as all the rest together, and either half stands on its own.
"""

from __future__ import annotations

import subprocess

import numpy as np

from simlaunch.compiled import compile_for, not_kept, take_in
from simlaunch.metrics.above import integral_above
from simlaunch.metrics.ceiling import grip_limits
from simlaunch.metrics.energy import audit
from simlaunch.metrics.grip import grip_use
from simlaunch.metrics.marks import marks
from simlaunch.metrics.parts import part_peaks
from simlaunch.physics.table import values_at
from simlaunch.processes import python, surroundings
from simlaunch.record import blank
from simlaunch.simulation import channels, kernel, prepare
from simlaunch.simulation.bench import make_bench
from simlaunch.simulation.trace import Trace

_REST = "from simlaunch.launching.compile_ahead import compile_the_rest; compile_the_rest()"
_SAMPLES = 3


def compile_together() -> None:
    """Compile the loop of a launch here and the rest in a second process, and take over what that one has made.

    Whatever the second process fails to make, for want of memory say, is compiled here at its first call.
    """
    helper = None if not_kept() else _start()
    _compile_the_loop()
    if helper is not None:
        helper.wait()
        take_in()


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


def compile_the_rest() -> None:
    """Compile what a launch needs before and after its loop: derived numbers, channels, measures."""
    car, bench = blank(), make_bench(capacity=_SAMPLES)
    work, phase, samples = bench.work, bench.phase[0], bench.samples
    derived = np.zeros((_SAMPLES, len(channels.DERIVED_CHANNELS)))
    compile_for(prepare.complete, car, work, phase)
    compile_for(prepare.begin, car, work, phase)
    compile_for(
        channels.derive, samples.time, samples.state, samples.segment, bench.log.phase, car, work, derived, True
    )
    compile_for(values_at, car.engine.torque, samples.time)
    compile_for(grip_limits, np.zeros(_SAMPLES), 1.0, car, np.zeros((_SAMPLES, 2)))
    named = {name: samples.state[:, index].copy() for name, index in channels.STATE_CHANNELS.items()}
    named |= {name: derived[:, i].copy() for i, name in enumerate(channels.DERIVED_CHANNELS)}
    still = Trace(np.arange(_SAMPLES, dtype=np.float64), named, ())
    integral_above(still.time, still.time, still.time)
    marks(still)
    grip_use(still, (False, True), (0.3, 0.3))
    audit(still)
    part_peaks(still)
